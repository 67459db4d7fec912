"""The loan: equity first, rolled-up interest, circular fee, cash sweep."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.money.facility import half_rule_interest, run_facility, week_of_interest
from model.money.returns import effective_rate

amounts = st.lists(st.integers(min_value=0, max_value=5_000_000), min_size=30, max_size=30)
schemes = st.fixed_dictionaries(
    {
        "costs": amounts.map(lambda x: np.array(x, dtype=float) * (np.arange(30) < 20)),
        "receipts": amounts.map(lambda x: np.array(x, dtype=float) * (np.arange(30) > 10) * 1.5),
        "equity": st.integers(min_value=0, max_value=40_000_000).map(float),
        "monthly_rate": st.floats(min_value=0, max_value=0.02),
        "arrangement_share": st.floats(min_value=0, max_value=0.03),
        "exit_share": st.floats(min_value=0, max_value=0.02),
        "non_utilisation_annual_share": st.floats(min_value=0, max_value=0.02),
    }
)


def test_equal_draws_at_the_end_of_each_month_roll_up_to_the_annuity():
    # Closed form 1m ((1.0075)^12 - 1) / 0.0075 (hand calculation).
    run = run_facility(np.full(12, 1e6), np.zeros(12), equity=0.0, monthly_rate=0.09 / 12)
    assert float(run.debt[-1]) == pytest.approx(12_507_586.356131, rel=0, abs=5e-7)
    assert float(run.interest_total) == pytest.approx(507_586.36, rel=0, abs=5e-3)


def test_equal_draws_at_the_beginning_of_each_month_bear_a_month_more():
    # Closed form of the annuity due (hand calculation).
    run = run_facility(np.append(np.full(12, 1e6), 0.0), np.zeros(13), equity=0.0, monthly_rate=0.09 / 12)
    assert float(run.debt[-1]) == pytest.approx(12_601_393.253802, rel=0, abs=5e-7)
    assert float(run.interest_total) == pytest.approx(601_393.25, rel=0, abs=5e-3)


def test_a_loan_held_six_months_more_goes_on_rolling_up():
    costs = np.append(np.full(12, 1e6), np.zeros(6))
    run = run_facility(costs, np.zeros(18), equity=0.0, monthly_rate=0.09 / 12)
    assert float(run.debt_at_end) == pytest.approx(13_081_087.146310, rel=0, abs=5e-7)
    assert float(run.interest_total) == pytest.approx(1_081_087.15, rel=0, abs=5e-3)
    assert not run.repays


def test_the_traditional_rule_for_the_same_loan():
    # Hand calculation: half of 12m for a year, interest added once and monthly.
    once, monthly = (half_rule_interest(12e6, 0.09, 12, 0, times)[0] for times in (1, 12))
    assert once == pytest.approx(540_000, rel=0, abs=5e-3)
    assert monthly == pytest.approx(562_841.39, rel=0, abs=5e-3)


def test_a_week_of_interest():
    # Hand calculation: 40m at 8.5 % for 7 of 365 days.
    assert float(week_of_interest(40e6, 0.085)) == pytest.approx(65_205.48, rel=0, abs=5e-3)


def test_a_week_of_interest_under_other_readings_of_the_rate():
    # Hand calculation: compounding monthly over 12/52 month; 8.5 % read as an effective rate.
    monthly = 40e6 * ((1 + effective_rate(0.085, 12)) ** (1 / 52) - 1)
    assert monthly == pytest.approx(65_207.22, rel=0, abs=5e-3)
    assert float(week_of_interest(40e6, 0.085)) < monthly


def identities(run, costs, receipts):
    """Return the largest breach of the two monthly identities."""
    uses = costs + run.fees_finance + run.repaid + run.equity_out
    sources = receipts + run.drawn_equity + run.drawn_debt
    before = np.concatenate([np.zeros((*run.debt.shape[:-1], 1)), run.debt[..., :-1]], axis=-1)
    balance = before + run.drawn_debt + run.interest - run.repaid - run.debt
    return max(np.abs(uses - sources).max(), np.abs(balance).max())


@settings(max_examples=60, deadline=None)
@given(scheme=schemes)
def test_sources_are_uses_and_the_balance_adds_up_every_month(scheme):
    run = run_facility(**scheme)
    assert identities(run, scheme["costs"], scheme["receipts"]) < 1e-6
    flows = (run.drawn_equity, run.drawn_debt, run.interest, run.fees_finance, run.repaid, run.debt)
    assert all(flow.min() >= 0 for flow in (*flows, run.equity_out))


@settings(max_examples=60, deadline=None)
@given(scheme=schemes)
def test_interest_is_charged_on_the_balance_at_the_beginning_of_the_month(scheme):
    run = run_facility(**scheme)
    assert run.interest[0] == 0
    assert run.interest[1:] == pytest.approx(run.debt[:-1] * scheme["monthly_rate"], rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(scheme=schemes)
def test_the_facility_is_the_peak_balance_and_the_fees_are_shares_of_it(scheme):
    run = run_facility(**scheme)
    facility = float(run.facility_size)
    highest = (run.debt + run.repaid).max()
    assert facility == pytest.approx(highest, abs=2e-7)
    assert float(run.peak_debt) == pytest.approx(highest, abs=1e-9)
    exit_paid = scheme["exit_share"] * facility - float(run.exit_fee_unpaid)
    unused = run.debt.cumsum() * 0.0
    reached = np.maximum.accumulate(run.debt + run.repaid)
    unused[1:] = np.maximum(facility - reached[:-1], 0) * scheme["non_utilisation_annual_share"] / 12
    expected = scheme["arrangement_share"] * facility + unused.sum() + exit_paid
    assert float(run.fees_total) == pytest.approx(expected, abs=1e-4)


@settings(max_examples=60, deadline=None)
@given(scheme=schemes)
def test_profit_is_receipts_less_costs_and_finance_once_the_loan_is_repaid(scheme):
    run = run_facility(**scheme)
    paid = run.interest_total + run.fees_total
    profit = scheme["receipts"].sum() - scheme["costs"].sum() - paid
    assert float(run.equity_flows.sum()) == pytest.approx(float(profit + run.debt_at_end), abs=1e-5)


@settings(max_examples=40, deadline=None)
@given(scheme=schemes)
def test_a_rate_of_nil_costs_no_interest(scheme):
    run = run_facility(**{**scheme, "monthly_rate": 0.0})
    assert float(run.interest_total) == 0.0


@settings(max_examples=40, deadline=None)
@given(scheme=schemes, more=st.floats(min_value=1e-4, max_value=0.01))
def test_interest_rises_with_the_rate(scheme, more):
    low = run_facility(**scheme)
    high = run_facility(**{**scheme, "monthly_rate": scheme["monthly_rate"] + more})
    borrows = run_facility(**{**scheme, "monthly_rate": 0.0}).debt[:-1].max() > 1
    if borrows:
        assert high.interest_total > low.interest_total
    else:
        assert high.interest_total == pytest.approx(low.interest_total, abs=2.0)


@settings(max_examples=40, deadline=None)
@given(scheme=schemes)
def test_receipts_a_month_later_never_lower_the_interest(scheme):
    later = {**scheme, "receipts": np.roll(scheme["receipts"], 1)}
    later["receipts"][0] = 0.0
    sooner = {**scheme, "receipts": np.append(scheme["receipts"][:-1], 0.0)}
    free = {"arrangement_share": 0.0, "exit_share": 0.0, "non_utilisation_annual_share": 0.0}
    slow, fast = run_facility(**{**later, **free}), run_facility(**{**sooner, **free})
    assert slow.interest_total >= fast.interest_total - 1e-6


@settings(max_examples=40, deadline=None)
@given(scheme=schemes, factor=st.floats(min_value=0.01, max_value=100))
def test_everything_scales_with_the_money(scheme, factor):
    run = run_facility(**scheme)
    scaled = run_facility(
        **{**scheme, **{name: scheme[name] * factor for name in ("costs", "receipts", "equity")}}
    )
    assert scaled.equity_out == pytest.approx(run.equity_out * factor, rel=1e-9, abs=1e-3 * (1 + factor))
    assert scaled.debt == pytest.approx(run.debt * factor, rel=1e-9, abs=1e-3 * (1 + factor))


def many(rows=40, months=60):
    source = np.random.default_rng(7)
    costs, receipts = np.zeros((rows, months)), np.zeros((rows, months))
    costs[:, :30] = source.uniform(0, 1e6, (rows, 30))
    receipts[:, 25:50] = source.uniform(0, 1.6e6, (rows, 25))
    equity = source.uniform(0, 1e7, rows)
    rate = source.uniform(0.005, 0.01, (rows, 1))
    return costs, receipts, equity, rate


def test_many_rows_are_financed_as_each_alone():
    costs, receipts, equity, rate = many()
    fees = {"arrangement_share": 0.015, "exit_share": 0.01, "non_utilisation_annual_share": 0.01}
    together = run_facility(costs, receipts, equity=equity, monthly_rate=rate, **fees)
    assert identities(together, costs, receipts) < 1e-6
    for row in range(costs.shape[0]):
        alone = run_facility(costs[row], receipts[row], equity=equity[row], monthly_rate=rate[row, 0], **fees)
        assert together.debt[row] == pytest.approx(alone.debt, abs=1e-5)
        assert together.equity_out[row] == pytest.approx(alone.equity_out, abs=1e-5)


def test_leading_axes_keep_their_shape():
    costs, receipts, _, _ = many(6)
    run = run_facility(costs.reshape(2, 3, 60), receipts.reshape(2, 3, 60), equity=1e6, monthly_rate=0.0075)
    assert run.debt.shape == (2, 3, 60)
    assert run.facility_size.shape == (2, 3)


def test_a_rate_may_change_from_month_to_month():
    # Hand calculation: 100 at 1 % then at 2 %.
    run = run_facility([100.0, 0.0, 0.0], np.zeros(3), equity=0.0, monthly_rate=[0.5, 0.01, 0.02])
    assert float(run.debt_at_end) == pytest.approx(100 * 1.01 * 1.02, rel=1e-12)


def test_the_unused_part_is_charged_from_the_second_month_until_the_loan_is_full():
    # Hand calculation, 12 % a year of the unused part, no interest: F = 200 + fee, fee = 0.01 (F - 100).
    run = run_facility(
        [100.0, 100.0, 0.0, 0.0],
        [0.0, 0.0, 150.0, 150.0],
        equity=0.0,
        monthly_rate=0.0,
        non_utilisation_annual_share=0.12,
    )
    fee = (0.01 * 100) / 0.99
    assert run.fees_finance == pytest.approx([0, fee, 0, 0], abs=1e-7)
    assert float(run.facility_size) == pytest.approx(200 + fee, abs=1e-7)


def test_the_exit_fee_waits_for_the_full_loan_to_be_repaid():
    # The first 20 are repaid in month 1, but the loan reaches its peak of 100 only in month 2.
    run = run_facility(
        [20.0, 0.0, 100.0, 0.0], [0.0, 20.0, 0.0, 300.0], equity=0.0, monthly_rate=0.0, exit_share=0.01
    )
    assert run.fees_finance == pytest.approx([0, 0, 0, 1.0], abs=1e-9)
    assert float(run.equity_out[-1]) == pytest.approx(199.0, abs=1e-9)


def test_surplus_is_put_back_before_the_loan_is_drawn_again():
    # Hand calculation: 50 of retention a year after the loan is repaid.
    run = run_facility([100.0, 0.0, 50.0], [0.0, 200.0, 0.0], equity=30.0, monthly_rate=0.0)
    assert run.equity_out.tolist() == [0, 130.0, 0]
    assert run.drawn_equity.tolist() == [30.0, 0, 50.0]
    assert run.drawn_debt.tolist() == [70.0, 0, 0]
    assert run.repays


def test_receipts_of_a_month_meet_its_costs_first():
    run = run_facility([100.0, 60.0], [0.0, 90.0], equity=0.0, monthly_rate=0.0)
    assert run.drawn_debt.tolist() == [100.0, 0.0]
    assert run.repaid.tolist() == [0.0, 30.0]
    assert float(run.debt_at_end) == 70.0


def test_a_debt_that_receipts_cannot_repay_is_shown():
    run = run_facility([100.0, 0.0], [0.0, 60.0], equity=0.0, monthly_rate=0.01, exit_share=0.02)
    assert float(run.debt_at_end) == pytest.approx(41.0, abs=1e-9)
    assert float(run.exit_fee_unpaid) == pytest.approx(0.02 * 101.0, abs=1e-9)
    assert not run.repays


def test_enough_equity_needs_no_loan_and_pays_no_fee():
    run = run_facility(
        [100.0, 0.0],
        [0.0, 150.0],
        equity=100.0,
        monthly_rate=0.01,
        arrangement_share=0.02,
        exit_share=0.01,
        non_utilisation_annual_share=0.01,
    )
    assert float(run.facility_size) == 0.0
    assert float(run.fees_total) == 0.0
    assert run.equity_out.tolist() == [0.0, 150.0]


def test_the_facility_says_how_it_settled():
    costs, receipts, equity, rate = many()
    run = run_facility(costs, receipts, equity=equity, monthly_rate=rate, arrangement_share=0.015)
    assert 2 <= run.rounds <= 10
    assert run.residual <= 1e-7


def test_fees_that_outgrow_the_loan_are_refused():
    # A pound of fee at 20 % a month for 60 months grows past the facility that should pay it.
    with pytest.raises(RangeError, match=r"does not settle.*lower the rate or the fee"):
        run_facility(np.ones(60), np.zeros(60), equity=0.0, monthly_rate=0.2, arrangement_share=0.02)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"costs": [1.0, -5.0]}, r"Costs must not be negative; got -5\.00"),
        ({"receipts": [0.0, np.nan]}, "Receipts must be finite"),
        ({"receipts": [0.0, 1.0, 2.0]}, "do not fit.*same months"),
        ({"costs": 3.0, "receipts": 3.0}, "at least one month"),
        ({"equity": -1.0}, "equity must be 0 or more; got -1"),
        ({"equity": [1.0, 2.0, 3.0]}, r"equity of shape \(3,\) does not fit"),
        ({"monthly_rate": 9.0}, "monthly_rate must be between 0 and 1.*not per cent; got 9"),
        ({"monthly_rate": [0.1, 0.1, 0.1]}, "do not fit 2 months"),
        ({"arrangement_share": 1.5}, "arrangement_share must be between 0 and 1"),
        ({"exit_share": np.nan}, "exit_share must be between 0 and 1.*got nan"),
        ({"non_utilisation_annual_share": -0.1}, "non_utilisation_annual_share must be"),
    ],
)
def test_inputs_out_of_range_say_what_is_allowed(changed, message):
    scheme = {"costs": [1.0, 1.0], "receipts": [0.0, 3.0], "equity": 0.0, "monthly_rate": 0.01}
    with pytest.raises(RangeError, match=message):
        run_facility(**{**scheme, **changed})


def test_the_traditional_rule_refuses_a_negative_length():
    with pytest.raises(RangeError, match="void -1 months must not be negative"):
        half_rule_interest(1e6, 0.09, 12, -1)


@pytest.mark.parametrize("months", [1_200, 3_000, 40_000])
def test_a_loan_that_sales_cannot_repay_is_refused_before_it_overflows(months):
    """12 % a year doubles in 70 months (rule of 72, hand calculation): 1,200 months is 17 doublings."""
    costs, receipts = np.zeros(months), np.full(months, 100.0)
    costs[0] = 1_000_000.0
    with pytest.raises(RangeError, match=r"interest outruns the receipts.*Raise the reservations a month"):
        run_facility(costs, receipts, equity=0.0, monthly_rate=0.01)
