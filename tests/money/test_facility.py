"""The loans: equity first, rolled-up interest, circular fee, cash sweep, a mezzanine, lending limits."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.money.facility import FacilityRun, Mezzanine, run_facility
from model.money.lending import (
    LendingLimits,
    breaches,
    half_rule_interest,
    rates_by_month,
    week_of_interest,
)
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

mezzanines = st.builds(
    Mezzanine,
    limit=st.integers(min_value=0, max_value=30_000_000).map(float),
    monthly_rate=st.floats(min_value=0, max_value=0.02),
    arrangement_share=st.floats(min_value=0, max_value=0.03),
    exit_share=st.floats(min_value=0, max_value=0.03),
)
layered = st.builds(lambda scheme, mezzanine: {**scheme, "mezzanine": mezzanine}, schemes, mezzanines)
FREE = {"arrangement_share": 0.0, "exit_share": 0.0, "non_utilisation_annual_share": 0.0}


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


# -- a mezzanine between equity and the senior loan ---------------------------------------------


def two_layers():
    """Senior 2 % a month, 1 % in and out; mezzanine 50 at 3 % a month, 2 % in and out; equity 80."""
    return run_facility(
        [97.98, 40.0, 89.8, 0.0, 0.0],
        [0.0, 0.0, 0.0, 110.0, 160.0],
        equity=80.0,
        monthly_rate=0.02,
        arrangement_share=0.01,
        exit_share=0.01,
        mezzanine=Mezzanine(50.0, 0.03, arrangement_share=0.02, exit_share=0.02),
    )


# Hand calculation, every sum; the senior facility is 102, its peak in month 3.
# Month 0: fees 1 % of 102 = 1.02 and 2 % of 50 = 1.00; to pay 97.98 + 2.02 = 100 = 80 equity + 20 mezzanine.
# Month 1: interest 3 % of 20 = 0.6; 40 = 30 mezzanine, now at its limit of 50, + 10 senior.
#          Mezzanine 20 + 0.6 + 30 = 50.6; senior 10.
# Month 2: interest 3 % of 50.6 = 1.518 and 2 % of 10 = 0.2; senior draws 89.8.
#          Mezzanine 52.118; senior 10 + 0.2 + 89.8 = 100.
# Month 3: interest 3 % of 52.118 = 1.56354 and 2 % of 100 = 2. Owed 53.68154 + 102 = 155.68154, the peak.
#          Receipts 110 = 102 senior + 1.02 senior exit fee + 6.98 mezzanine, which leaves 46.70154.
# Month 4: interest 3 % of 46.70154 = 1.4010462; owed 48.1025862.
#          Receipts 160 = 48.1025862 mezzanine + 2 % of 50 = 1.00 its exit fee + 110.8974138 equity.
@pytest.mark.parametrize(
    ("flow", "expected"),
    [
        ("drawn_equity", [80.0, 0, 0, 0, 0]),
        ("drawn_debt", [20.0, 40.0, 89.8, 0, 0]),
        ("interest", [0, 0.6, 1.718, 3.56354, 1.4010462]),
        ("fees_finance", [2.02, 0, 0, 1.02, 1.0]),
        ("repaid", [0, 0, 0, 108.98, 48.1025862]),
        ("debt", [20.0, 60.6, 152.118, 46.70154, 0]),
        ("equity_out", [0, 0, 0, 0, 110.8974138]),
        ("mezzanine_drawn", [20.0, 30.0, 0, 0, 0]),
        ("mezzanine_interest", [0, 0.6, 1.518, 1.56354, 1.4010462]),
        ("mezzanine_repaid", [0, 0, 0, 6.98, 48.1025862]),
        ("mezzanine_debt", [20.0, 50.6, 52.118, 46.70154, 0]),
    ],
)
def test_two_layers_worked_by_hand(flow, expected):
    # The senior facility settles within 1e-7, and with it every sum.
    assert getattr(two_layers(), flow) == pytest.approx(expected, rel=0, abs=2e-7)


def test_totals_of_two_layers_worked_by_hand():
    # Hand calculation: 7.2825862 of interest, 4.04 of fees; profit 270 - 227.78 - 7.2825862 - 4.04.
    run = two_layers()
    for got, expected in [
        (run.facility_size, 102.0),
        (run.peak_senior, 102.0),
        (run.peak_mezzanine, 53.68154),
        (run.peak_debt, 155.68154),
        (run.interest_total, 7.2825862),
        (run.fees_total, 4.04),
        (run.equity_flows.sum(), 30.8974138),
        (run.debt_at_end, 0.0),
        (run.exit_fee_unpaid, 0.0),
    ]:
        assert float(got) == pytest.approx(expected, rel=0, abs=5e-7)
    assert run.repays


def test_a_mezzanine_nobody_draws_costs_its_arrangement_fee_and_no_more():
    run = run_facility(
        [60.0, 0.0],
        [0.0, 100.0],
        equity=80.0,
        monthly_rate=0.01,
        mezzanine=Mezzanine(50.0, 0.03, arrangement_share=0.02, exit_share=0.02),
    )
    assert run.fees_finance.tolist() == [1.0, 0.0]
    assert run.equity_out.tolist() == [0.0, 100.0]
    assert float(run.peak_debt) == 0.0


def test_what_the_mezzanine_was_repaid_is_not_drawn_again():
    # Hand calculation: 50 repaid in month 1, so the senior loan pays the 40 of month 2.
    run = run_facility(
        [50.0, 0.0, 40.0, 0.0],
        [0.0, 50.0, 0.0, 60.0],
        equity=0.0,
        monthly_rate=0.0,
        mezzanine=Mezzanine(50.0, 0.0),
    )
    assert run.mezzanine_drawn.tolist() == [50.0, 0, 0, 0]
    assert run.mezzanine_debt.tolist() == [50.0, 0, 0, 0]
    assert run.debt.tolist() == [50.0, 0, 40.0, 0]
    assert float(run.peak_senior) == 40.0


def test_an_exit_fee_of_the_mezzanine_left_unpaid_is_shown():
    # Hand calculation: 2 % of 50 is 1, and 0.4 is left of the receipts.
    run = run_facility(
        [50.0, 0.0],
        [0.0, 50.4],
        equity=0.0,
        monthly_rate=0.0,
        mezzanine=Mezzanine(50.0, 0.0, exit_share=0.02),
    )
    assert float(run.exit_fee_unpaid) == pytest.approx(0.6, abs=1e-12)
    assert float(run.debt_at_end) == 0.0
    assert not run.repays


def figures(run):
    return {field.name: getattr(run, field.name) for field in fields(FacilityRun)}


@settings(max_examples=60, deadline=None)
@given(scheme=schemes, mezzanine=mezzanines)
def test_a_mezzanine_of_nil_changes_nothing(scheme, mezzanine):
    nil = Mezzanine(0.0, mezzanine.monthly_rate, mezzanine.arrangement_share, exit_share=mezzanine.exit_share)
    alone, beside = figures(run_facility(**scheme)), figures(run_facility(**scheme, mezzanine=nil))
    for name, figure in alone.items():
        assert np.array_equal(figure, beside[name]), name
    assert np.array_equal(alone["peak_senior"], alone["peak_debt"])
    junior = [name for name in alone if "mezzanine" in name]
    assert len(junior) == 5
    assert not any(np.any(alone[name]) for name in junior)


@settings(max_examples=80, deadline=None)
@given(scheme=layered)
def test_both_identities_hold_over_both_layers(scheme):
    run = run_facility(**scheme)
    assert identities(run, scheme["costs"], scheme["receipts"]) < 1e-6
    before = np.concatenate([[0.0], run.mezzanine_debt[:-1]])
    own = before + run.mezzanine_drawn + run.mezzanine_interest - run.mezzanine_repaid - run.mezzanine_debt
    assert np.abs(own).max() < 1e-6
    assert run.mezzanine_interest == pytest.approx(before * scheme["mezzanine"].monthly_rate, rel=1e-12)
    senior = run.debt - run.mezzanine_debt
    senior_interest = run.interest - run.mezzanine_interest
    assert senior_interest[1:] == pytest.approx(senior[:-1] * scheme["monthly_rate"], rel=1e-9, abs=1e-6)
    for name, flow in figures(run).items():
        assert np.min(flow) >= 0, name


@settings(max_examples=80, deadline=None)
@given(scheme=layered)
def test_the_mezzanine_is_spent_before_the_senior_loan_and_repaid_after_it(scheme):
    run = run_facility(**scheme)
    limit = scheme["mezzanine"].limit
    senior = run.debt - run.mezzanine_debt
    assert np.all(senior[run.mezzanine_repaid > 0] < 1e-6)
    assert np.all(run.debt[run.equity_out > 0] < 1e-6)
    assert run.mezzanine_drawn.sum() <= limit + 1e-6
    # What the senior loan draws while the mezzanine is not used up is the fee on its unused part only.
    unused = scheme["non_utilisation_annual_share"] / 12 * run.facility_size
    left = run.mezzanine_drawn.cumsum() < limit - 1e-6
    assert np.all((run.drawn_debt - run.mezzanine_drawn)[left] <= unused + 1e-6)


@settings(max_examples=60, deadline=None)
@given(scheme=layered)
def test_peaks_are_the_highest_balances_before_receipts(scheme):
    run = run_facility(**scheme)
    senior = (run.debt + run.repaid) - (run.mezzanine_debt + run.mezzanine_repaid)
    for peak, balance in [
        (run.peak_debt, run.debt + run.repaid),
        (run.peak_mezzanine, run.mezzanine_debt + run.mezzanine_repaid),
        (run.peak_senior, senior),
        (run.facility_size, senior),
    ]:
        assert float(peak) == pytest.approx(balance.max(), abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(scheme=layered)
def test_equity_and_peak_debt_cover_the_peak_need(scheme):
    run = run_facility(**scheme)
    need = (scheme["costs"] - scheme["receipts"]).cumsum().max()
    assert scheme["equity"] + float(run.peak_debt) >= need - 1e-6


@settings(max_examples=60, deadline=None)
@given(scheme=layered)
def test_without_rates_and_fees_finance_costs_nothing(scheme):
    free = {**scheme, **FREE, "monthly_rate": 0.0, "mezzanine": Mezzanine(scheme["mezzanine"].limit, 0.0)}
    run = run_facility(**free)
    assert float(run.interest_total) == 0.0
    assert float(run.fees_total) == 0.0


@settings(max_examples=80, deadline=None)
@given(scheme=layered)
def test_lenders_are_paid_in_full_or_the_run_says_they_are_not(scheme):
    run = run_facility(**scheme)
    owed = float(run.debt[-1] + run.exit_fee_unpaid)
    if run.repays:
        assert owed < 0.01
        paid = float(run.interest_total + run.fees_total)
        profit = scheme["receipts"].sum() - scheme["costs"].sum() - paid
        assert float(run.equity_flows.sum()) == pytest.approx(profit, abs=0.01)
    else:
        assert owed >= 0.005
        assert run.debt[-1] == 0 or run.equity_out[-1] == 0


@settings(max_examples=60, deadline=None)
@given(scheme=layered, more=st.floats(min_value=1e-4, max_value=0.01), junior=st.booleans())
def test_interest_of_two_layers_rises_with_either_rate(scheme, more, junior):
    layer = Mezzanine(scheme["mezzanine"].limit, scheme["mezzanine"].monthly_rate)
    free = {**scheme, **FREE, "mezzanine": layer}
    dearer = (
        {"mezzanine": Mezzanine(layer.limit, layer.monthly_rate + more)}
        if junior
        else {"monthly_rate": scheme["monthly_rate"] + more}
    )
    low, high = run_facility(**free), run_facility(**{**free, **dearer})
    owed = low.mezzanine_debt if junior else low.debt - low.mezzanine_debt
    assert high.interest_total >= low.interest_total - 1e-6
    if owed[:-1].max() > 1:
        assert high.interest_total > low.interest_total


@pytest.mark.parametrize("month", [17, 18, 20, 22])
@pytest.mark.parametrize("layer", [None, Mezzanine(8e6, 0.012, 0.02, 0.02)], ids=["senior", "two layers"])
def test_profit_moves_continuously_while_a_receipt_moves_to_the_next_month(month, layer):
    """200 steps of 60,000; a jump would show as an exit fee of 200,000."""
    costs, receipts = np.zeros(30), np.zeros(30)
    costs[:18], costs[29] = 2e6, 3e5
    receipts[[18, 20, 23, 26]] = [8e6, 12e6, 14e6, 9e6]
    steps = np.linspace(0.0, 1.0, 201)
    moved = np.tile(receipts, (steps.size, 1))
    moved[:, month] += 12e6 * (1 - steps)
    moved[:, month + 1] += 12e6 * steps
    run = run_facility(
        costs,
        moved,
        equity=1e7,
        monthly_rate=0.0075,
        arrangement_share=0.015,
        exit_share=0.01,
        non_utilisation_annual_share=0.01,
        mezzanine=layer,
    )
    assert run.repays.all()
    change = np.diff(run.equity_flows.sum(axis=-1))
    # A pound a month later costs at most a month at the dearer rate and, where it raises the facility, the
    # fees in and out of it and its unused part of 18 months, all with interest.
    assert np.all(change <= 1e-6)
    assert np.all(change >= -60_000 * (0.012 + 0.015 + 0.01 + 0.015) * 1.2)
    assert change.sum() < 0


def test_many_rows_of_two_layers_are_financed_as_each_alone():
    costs, receipts, equity, rate = many()
    fees = {"arrangement_share": 0.015, "exit_share": 0.01, "non_utilisation_annual_share": 0.01}
    limit = np.where(np.arange(40) % 4 == 0, 0.0, np.linspace(0, 1e7, 40))
    path = np.linspace(0.01, 0.02, 60)
    together = run_facility(
        costs,
        receipts,
        equity=equity,
        monthly_rate=rate,
        **fees,
        mezzanine=Mezzanine(limit, path, np.linspace(0, 0.02, 40), 0.01),
    )
    for row in range(40):
        alone = run_facility(
            costs[row],
            receipts[row],
            equity=equity[row],
            monthly_rate=rate[row],
            **fees,
            mezzanine=Mezzanine(limit[row], path, np.linspace(0, 0.02, 40)[row], 0.01),
        )
        for name, figure in figures(alone).items():
            if name not in ("rounds", "residual"):
                assert getattr(together, name)[row] == pytest.approx(figure, abs=1e-5), name


def test_leading_axes_of_two_layers_keep_their_shape():
    costs, receipts, _, _ = many(6)
    run = run_facility(
        costs.reshape(2, 3, 60),
        receipts.reshape(2, 3, 60),
        equity=1e6,
        monthly_rate=0.0075,
        mezzanine=Mezzanine([1e6, 2e6, 0.0], 0.01),
    )
    assert run.mezzanine_debt.shape == (2, 3, 60)
    assert run.peak_mezzanine.shape == run.peak_senior.shape == (2, 3)
    assert run.mezzanine_drawn.sum(axis=-1) == pytest.approx(np.array([[1e6, 2e6, 0.0]] * 2))


def test_a_mezzanine_that_sales_cannot_repay_is_refused_before_it_overflows():
    costs, receipts = np.zeros(1_200), np.full(1_200, 100.0)
    costs[0] = 1_000_000.0
    with pytest.raises(RangeError, match=r"interest outruns the receipts.*Raise the reservations a month"):
        run_facility(costs, receipts, equity=0.0, monthly_rate=0.0, mezzanine=Mezzanine(2e6, 0.01))


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"limit": -1.0}, "mezzanine limit must be 0 or more; got -1"),
        ({"limit": np.inf}, "mezzanine limit must be 0 or more; got inf"),
        ({"limit": [1.0, 2.0]}, r"mezzanine limit of shape \(2,\) does not fit"),
        ({"monthly_rate": 12.0}, "mezzanine monthly_rate must be between 0 and 1.*not per cent; got 12"),
        ({"monthly_rate": [0.1, 0.1, 0.1]}, "do not fit 2 months"),
        ({"arrangement_share": 2.0}, "mezzanine arrangement_share must be between 0 and 1"),
        ({"exit_share": np.nan}, "mezzanine exit_share must be between 0 and 1.*got nan"),
    ],
)
def test_a_mezzanine_out_of_range_says_what_is_allowed(changed, message):
    layer = Mezzanine(**{"limit": 1.0, "monthly_rate": 0.01, **changed})
    with pytest.raises(RangeError, match=message):
        run_facility([1.0, 1.0], [0.0, 3.0], equity=0.0, monthly_rate=0.01, mezzanine=layer)


# -- a base rate that steps ---------------------------------------------------------------------


def test_a_base_rate_holds_from_its_month_until_the_next_step():
    # Hand calculation: 3.75 + 4.25 = 8, 3.5 + 4.25 = 7.75, 5 + 4.25 = 9.25 % a year, over 1,200.
    rates = rates_by_month([(0, 3.75), (3, 3.5), (6, 5.0)], 4.25, np.arange(-2, 8))
    expected = np.array([8.0] * 5 + [7.75] * 3 + [9.25] * 2) / 1200
    assert rates == pytest.approx(expected, rel=1e-14)


def test_a_single_step_is_the_flat_rate_to_the_last_digit():
    costs, receipts, equity, _ = many(3)
    flat = run_facility(costs, receipts, equity=equity, monthly_rate=9.0 / 1200)
    path = run_facility(
        costs, receipts, equity=equity, monthly_rate=rates_by_month([(0, 5.0)], 4.0, np.arange(60))
    )
    assert path.interest == pytest.approx(flat.interest, rel=1e-13)


def test_a_negative_base_rate_is_allowed_while_the_loan_still_bears_interest():
    assert rates_by_month([(0, -0.5)], 2.0, [[0, 1], [2, 3]]) == pytest.approx(np.full((2, 2), 1.5 / 1200))


@pytest.mark.parametrize(
    ("path", "margin", "months", "message"),
    [
        ([], 4.0, [0], "base rate has no steps. Give at least one"),
        ([(6, 4.0), (3, 4.5)], 4.0, [0], "forward in time; month 3 stands after month 6"),
        ([(3, 4.0), (3, 4.5)], 4.0, [0], "month 3 stands after month 3. Put them in order, no two"),
        ([(0, 4.0), (2.5, 4.5)], 4.0, [0], "stands at month 2.5, which is not a month"),
        ([(np.nan, 4.0)], 4.0, [0], "stands at month nan, which is not a month"),
        ([(0, np.inf)], 4.0, [0], "base rate from month 0 must be a number of % a year; got inf"),
        ([(0, 4.0)], np.nan, [0], "margin over the base rate must be a number of % a year; got nan"),
        ([(0, 4.0), (9, -5.0)], 4.0, [0], "From month 9 the loan would bear -1 % a year.*below 0"),
        ([(0, 4.0)], 4.0, [0.5], "counted in whole numbers; got float64"),
    ],
)
def test_a_rate_path_out_of_order_says_how_to_put_it_right(path, margin, months, message):
    with pytest.raises(RangeError, match=message):
        rates_by_month(path, margin, months)


# -- lending limits -----------------------------------------------------------------------------


@pytest.fixture
def lent():
    """Debt of 60 drawn in month 0 and repaid in month 2, at 0.5 % a month; the months are -1 to 3."""
    return run_facility([40.0, 60.0, 0, 0, 0], [0, 0, 0, 200.0, 0], equity=40.0, monthly_rate=0.005)


NUMBERS = [-1, 0, 1, 2, 3]


def flags(run, cost_pct=None, value_pct=None, by=None, months=NUMBERS):
    limits = LendingLimits(cost_pct, value_pct, by)
    return breaches(run, total_cost=100.6015, value=200.0, months=months, limits=limits)


def test_a_scheme_within_every_limit_has_no_flag(lent):
    assert flags(lent, 61.0, 31.0, 2) == ()
    assert flags(lent) == ()


def test_debt_over_cost_is_flagged_with_what_puts_it_right(lent):
    # Hand calculation: 60 x 1.005^2 = 60.6015 at the peak over 100.6015 of costs; 55 % of them is 55.33.
    (breach,) = flags(lent, cost_pct=55.0)
    assert breach.kind == "loan to cost"
    assert breach.found == pytest.approx(60.6015 / 100.6015 * 100, rel=1e-12)
    assert breach.allowed == 55.0
    assert breach.sentence == (
        "At its peak the debt is 60.2 % of all costs; the lenders allow 55 %. "
        "About 6 more of equity puts it right."
    )


def test_debt_over_value_is_flagged_with_what_puts_it_right(lent):
    # Hand calculation: 60.6015 / 200 = 30.3 %; 30 % of 200 is 60; 60.6015 / 0.3 = 202.
    (breach,) = flags(lent, value_pct=30.0)
    assert breach.kind == "loan to value"
    assert breach.found == pytest.approx(30.30075, rel=1e-12)
    assert breach.sentence == (
        "At its peak the debt is 30.3 % of development value; the lenders allow 30 %. "
        "About 1 more of equity puts it right, or a value of 202."
    )


def test_a_share_just_over_its_limit_reads_differently_from_it(lent):
    # Hand calculation: 60.6015 / 100.6015 = 60.239 %.
    (breach,) = flags(lent, cost_pct=60.2)
    assert "60.24 % of all costs; the lenders allow 60.2 %" in breach.sentence


def test_a_penny_within_the_limit_is_no_breach(lent):
    exact = float(lent.peak_debt) / 200.0 * 100
    assert flags(lent, value_pct=exact) == ()


def test_debt_repaid_late_is_flagged_with_the_month_and_the_months_lost(lent):
    (breach,) = flags(lent, by=0)
    assert (breach.kind, breach.found, breach.allowed) == ("longstop", 2, 0)
    assert breach.sentence == (
        "The debt is repaid for good in month 2; the lenders allow until month 0. Handovers or sales 2 "
        "months sooner, or a date that much later agreed with the lenders, put it right."
    )
    assert "sales 1 month sooner" in flags(lent, by=1)[0].sentence


def test_a_balance_that_is_nil_for_a_while_is_not_repaid_for_good():
    run = run_facility([60.0, 0, 50.0, 0, 0], [0, 60.0, 0, 0, 90.0], equity=0.0, monthly_rate=0.0)
    assert flags(run, by=1)[0].found == 3
    assert flags(run, by=3) == ()


def test_debt_never_repaid_is_flagged_whatever_month_is_allowed():
    run = run_facility([100.0, 0, 0, 0, 0], [0, 0, 60.0, 0, 0], equity=0.0, monthly_rate=0.0)
    for by in (1, 48):
        (breach,) = flags(run, by=by)
        assert breach.found is None
        assert breach.sentence.startswith(
            "The debt is never repaid: 40 is still owed at the end of month 3, the last of the cash flow; "
            f"the lenders allow until month {by}."
        )


def test_a_scheme_without_debt_breaks_no_limit():
    run = run_facility([40.0, 0, 0, 0, 0], [0, 0, 60.0, 0, 0], equity=50.0, monthly_rate=0.01)
    assert flags(run, 1.0, 1.0, -5) == ()


def test_the_mezzanine_counts_towards_the_limits_and_flags_keep_their_order():
    breach = breaches(
        two_layers(),
        total_cost=239.1025862,
        value=270.0,
        months=range(5),
        limits=LendingLimits(60.0, 55.0, 3),
    )
    assert [found.kind for found in breach] == ["loan to cost", "loan to value", "longstop"]
    # Hand calculation: 155.68154 / 239.1025862 and / 270.
    assert [found.found for found in breach] == pytest.approx([65.11077, 57.65983, 4], rel=0, abs=5e-6)


def rows_of_two():
    return run_facility(np.ones((2, 5)), np.zeros((2, 5)), equity=0.0, monthly_rate=0.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda run: flags(rows_of_two()), r"one run; got rows of shape \(2,\). Pass one row"),
        (lambda run: flags(run, months=[0, 1]), "run has 5 months; got 2 month numbers"),
        (lambda run: flags(run, months=[0, 1, 1, 2, 3]), "each higher than the one before"),
        (
            lambda run: flags(run, cost_pct=0.65),
            "most debt over costs must lie between 1 and 100 %; got 0.65",
        ),
        (
            lambda run: flags(run, value_pct=np.nan),
            "most debt over value must lie between 1 and 100 %; got nan",
        ),
        (
            lambda run: breaches(
                run, total_cost=0.0, value=1.0, months=NUMBERS, limits=LendingLimits(None, None, None)
            ),
            "Costs must be above 0 to set a debt against it; got 0",
        ),
        (
            lambda run: breaches(
                run, total_cost=1.0, value=np.inf, months=NUMBERS, limits=LendingLimits(None, None, None)
            ),
            "Value must be above 0 to set a debt against it; got inf",
        ),
    ],
)
def test_limits_that_cannot_be_held_against_a_run_say_why(lent, call, message):
    with pytest.raises(RangeError, match=message):
        call(lent)


def test_a_loan_repaid_and_drawn_again_to_the_same_height_settles():
    """Repaid from 100 in month 1, drawn again to 100 in month 2: one fee on the peak, paid when first repaid.

    By hand: month 1 receives 150, repays 100 and the fee of 1, so 49 go to equity. Month 2 spends 149.50: 49
    put back, 100.50 drawn, half a pound above the first peak, on which a further 0.005 is due in month 3.
    """
    run = run_facility(
        [100.0, 0.0, 149.5, 0.0], [0.0, 150.0, 0.0, 300.0], equity=0.0, monthly_rate=0.0, exit_share=0.01
    )
    assert run.fees_finance == pytest.approx([0, 1.0, 0, 0.005], abs=1e-9)
    assert run.equity_out == pytest.approx([0, 49.0, 0, 199.495], abs=1e-9)
    assert float(run.facility_size) == pytest.approx(100.5, abs=1e-6)
    assert run.repays
