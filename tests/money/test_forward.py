"""A forward sale: the contract, stages with the works, and the rest with each section."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.money.forward import forward_price, forward_receipts

ENDS = np.arange(-60.0, 1201.0, 30.0)
PRICES = np.array([10e6, 20e6, 5e6])
TERMS = {"land_share": 0.2, "stage_share": 0.5}

handovers = st.lists(st.floats(min_value=300, max_value=900), min_size=3, max_size=3)
shares = st.floats(min_value=0, max_value=0.5)
progresses = st.lists(st.floats(0.0, 1.0), min_size=ENDS.size, max_size=ENDS.size).filter(
    lambda x: sum(x) > 1
)


def even(first=2, last=26):
    """Works done evenly in the months after `first`, counted along the grid."""
    progress = np.zeros(ENDS.size)
    progress[first + 1 : last + 1] = 1 / (last - first)
    return progress


def pay(handover=(500.0, 600.0, 700.0), contract=0.0, progress=None, notice=28.0, **terms):
    progress = even() if progress is None else progress
    return forward_receipts(PRICES, contract, handover, notice, progress, ENDS, **{**TERMS, **terms})


def worth(cash, monthly=0.008):
    return cash @ (1 + monthly) ** (-ENDS / 30)


def test_a_forward_sale_worked_by_hand():
    # Hand calculation: sections at 100 and 300, contract on day 15. 400 x 0.1 = 40, half to each month-end;
    # stages 400 x 0.5 = 200: a quarter by day 30, a quarter by day 60, half by day 90; the rest 0.4: 40 on
    # day 75 + 15, and 120 on day 90 + 15, half to each month-end.
    paid = forward_receipts(
        [100.0, 300.0],
        15.0,
        [75.0, 90.0],
        15.0,
        [0.0, 0.25, 0.25, 0.5, 0.0],
        np.arange(0.0, 121.0, 30.0),
        land_share=0.1,
        stage_share=0.5,
    )
    assert paid.contract == pytest.approx([20, 20, 0, 0, 0], abs=1e-9)
    assert paid.stages == pytest.approx([0, 50, 50, 100, 0], abs=1e-9)
    assert paid.handover == pytest.approx([0, 0, 0, 100, 60], abs=1e-9)
    assert paid.net == pytest.approx([20, 70, 50, 200, 60], abs=1e-9)


def test_works_done_before_the_contract_are_paid_for_at_it():
    # Hand calculation: stages of 17.5m, a quarter by day 30, one by day 60, half by day 90. The contract
    # comes on day 45, half-way between month-ends: the first quarter is paid then, half to each side.
    progress = np.zeros(ENDS.size)
    progress[[3, 4, 5]] = 0.25, 0.25, 0.5  # days 30, 60 and 90
    paid = pay(contract=45.0, progress=progress)
    assert ENDS[[3, 4, 5]].tolist() == [30, 60, 90]
    assert paid.stages[[3, 4, 5]] == pytest.approx(17.5e6 * np.array([0.125, 0.375, 0.5]), abs=1e-6)
    assert paid.net[ENDS < 30].tolist() == [0.0, 0.0, 0.0]
    late = pay(contract=1000.0)
    assert late.net[ENDS < 990].sum() == 0.0
    assert late.net.sum() == pytest.approx(35e6, abs=1e-6)


def test_the_price_of_a_forward_sale_is_the_value_less_a_discount():
    # Hand calculation: 2,907,000 / 0.0475 = 61,200,000; / 1.018 = 60,117,878.19 (finance_receipts.csv, T6);
    # less 5 %, 57,111,984.28.
    price = forward_price(2_907_000, 0.0475, 0.018, [0.0, 0.05])
    assert price == pytest.approx([60_117_878.19, 57_111_984.28], abs=5e-3)


@settings(max_examples=50, deadline=None)
@given(handover=handovers, land=shares, stage=shares, progress=progresses, contract=st.floats(-60, 900))
def test_the_whole_price_is_paid_once_whenever_it_falls(handover, land, stage, progress, contract):
    paid = pay(handover, contract, np.array(progress) / sum(progress), land_share=land, stage_share=stage)
    assert paid.net.sum() == pytest.approx(35e6, abs=1e-2)
    assert paid.contract.sum() == pytest.approx(land * 35e6, abs=1e-2)
    assert paid.stages.sum() == pytest.approx(stage * 35e6, abs=1e-2)
    assert paid.net == pytest.approx(paid.contract + paid.stages + paid.handover, abs=1e-6)
    assert paid.net[contract - 30 >= ENDS].sum() == 0.0


@settings(max_examples=50, deadline=None)
@given(handover=handovers, later=st.lists(st.floats(0, 200), min_size=3, max_size=3))
def test_a_later_handover_is_never_worth_more(handover, later):
    now, then = pay(handover), pay(np.add(handover, later))
    assert worth(then.net) <= worth(now.net) + 1e-6
    assert (then.net - now.net) @ ENDS == pytest.approx(0.3 * PRICES @ later, rel=1e-9, abs=1e-2)


def test_a_day_of_handover_or_contract_is_worth_a_day_across_a_month_end():
    # Handover and 28 days' notice pass the month-end on day 540; 0.3 x 35m moves 1/30 of a month a day.
    cash = np.array([pay((d, d, d)).net for d in np.arange(508.0, 517.0)])
    assert np.abs(np.diff(cash, axis=0)).max(axis=1) == pytest.approx(np.full(8, 10.5e6 / 30), abs=1e-6)
    assert cash[2] - cash[0] == pytest.approx(2 * (cash[1] - cash[0]), abs=1e-6)
    signed = np.array([pay(contract=d).net for d in np.arange(25.0, 36.0)])
    assert np.abs(np.diff(signed, axis=0)).max() <= 35e6 * 0.7 / 30 + 1e-6
    assert np.all(np.diff(signed @ ENDS) > 0)


@settings(max_examples=30, deadline=None)
@given(handover=handovers, months=st.integers(min_value=1, max_value=8))
def test_everything_whole_months_later_is_the_same_money_whole_months_later(handover, months):
    now = pay(handover, 10.0, even(2, 20))
    then = pay(np.add(handover, 30.0 * months), 10.0 + 30.0 * months, even(2 + months, 20 + months))
    assert then.net[months:] == pytest.approx(now.net[:-months], abs=1e-4)
    assert np.all(then.net[:months] == 0)


def test_many_rows_are_paid_as_each_alone():
    source = np.random.default_rng(2)
    handover, contract = source.uniform(300, 900, (12, 3)), source.uniform(-60, 400, 12)
    notice, land = source.uniform(0, 60, 12), source.uniform(0, 0.4, 12)
    prices, progress = source.uniform(1e6, 9e6, (12, 3)), source.dirichlet(np.ones(ENDS.size), 12)
    many = forward_receipts(
        prices, contract, handover, notice, progress, ENDS, land_share=land, stage_share=0.5
    )
    for row in range(12):
        alone = forward_receipts(
            prices[row],
            contract[row],
            handover[row],
            notice[row],
            progress[row],
            ENDS,
            land_share=land[row],
            stage_share=0.5,
        )
        assert many.net[row] == pytest.approx(alone.net, abs=1e-6)
    some = pay(land_share=[0.1, 0.2])
    assert some.contract.shape == some.stages.shape == some.net.shape == (2, ENDS.size)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"price_per_section": [1e6, -1.0]}, r"price of 0 or more for each section; got \[1000000.0, -1.0\]"),
        ({"price_per_section": 1e6}, "price of 0 or more for each section; got 1000000.0"),
        ({"handover_days": [1.0]}, r"Handover days of shape \(1,\) do not fit 2 sections"),
        ({"contract_day": np.nan}, "day of the contract must be a finite number"),
        ({"contract_day": -500.0}, "dated day -500, outside"),
        ({"notice_days": -1.0}, "notice must be 0 days or more; got -1"),
        ({"land_share": 0.6, "stage_share": 0.5}, "pays 1.1 of the price at the contract and in stages"),
        ({"land_share": 20.0}, "paid at the contract must be between 0 and 1.*got 20"),
        ({"stage_share": -0.5}, "paid in stages must be between 0 and 1.*got -0.5"),
        ({"progress_by_month": [0.5, 0.5]}, r"Progress of shape \(2,\) does not fit 43 months"),
        ({"progress_by_month": even() * 0.9}, "must add to 1 over the months; got 0.9"),
        (
            {"progress_by_month": np.diff(even(), prepend=0.0)},
            "Progress of a month must be 0 or more; got -0.04",
        ),
    ],
)
def test_forward_sales_out_of_range_say_what_is_allowed(changed, message):
    usual = {
        "price_per_section": [1e6, 2e6],
        "contract_day": 0.0,
        "handover_days": [500.0, 600.0],
        "notice_days": 28.0,
        "progress_by_month": even(),
        "ends_day": ENDS,
        **TERMS,
    }
    with pytest.raises(RangeError, match=message):
        forward_receipts(**{**usual, **changed})


@pytest.mark.parametrize(
    ("income", "net_yield", "discount", "message"),
    [
        (1.0, 0.0, 0.0, "The yield must be above 0; got 0"),
        (np.inf, 0.05, 0.0, "The income must be a finite number"),
        (1.0, 0.05, 4.0, "The discount must be between 0 and 1.*got 4"),
    ],
)
def test_a_forward_price_out_of_range_says_what_is_allowed(income, net_yield, discount, message):
    with pytest.raises(RangeError, match=message):
        forward_price(income, net_yield, 0.018, discount)
