"""Sales that follow handover, and lettings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.money.grid import DAYS_PER_MONTH
from model.money.receipts import (
    let_by_month,
    monthly_sales,
    net_operating_income,
    sale_days,
    sale_receipts,
    stabilisation_month,
    value_at_yield,
)

ENDS = np.arange(0.0, 3700.0, 30.0)
PACE = {"launch_day": 180.0, "reservations_per_month": 10.0, "notice_days": 28.0}
handovers = st.lists(st.floats(min_value=300, max_value=900), min_size=3, max_size=3)
flats = st.lists(st.integers(min_value=1, max_value=40), min_size=3, max_size=3)


def test_sixty_flats_with_twenty_four_presold():
    # Hand calculation: 60 at 400,000, deposits of 10 %, three a month after handover.
    deposits, receipts = monthly_sales(60, 24, 3, 400_000, 0.1)
    assert deposits == pytest.approx(960_000, abs=1e-6)
    assert receipts == pytest.approx([9_840_000, *[1_200_000] * 11], abs=1e-6)
    assert deposits + receipts.sum() == pytest.approx(24_000_000, abs=1e-6)


def test_a_building_for_rent_fills():
    # Hand calculation: 200 homes, 26 a month, 95 %, rent 1,700.
    let = let_by_month(200, 26, 0.95, 12)
    assert let.tolist() == [26, 52, 78, 104, 130, 156, 182, 190, 190, 190, 190, 190]
    assert stabilisation_month(200, 26, 0.95) == 8
    rent = let * 1700
    assert rent[0] == 44_200
    assert rent[6] == 309_400
    assert rent[-1] == 323_000
    assert rent.sum() == 2_852_600


def test_income_and_value_of_a_building_for_rent():
    # Hand calculation: operating costs 25 %, yield 4.75 %, purchaser's costs 1.8 %.
    income = net_operating_income(200, 1700, 0.95, 0.25)
    assert income == pytest.approx(2_907_000, abs=1e-6)
    assert value_at_yield(income, 0.0475) == pytest.approx(61_200_000, abs=1e-6)
    assert value_at_yield(income, 0.0475, 0.018) == pytest.approx(60_117_878.19, abs=5e-3)
    full = net_operating_income(200, 1700, 0.95, 0.25, of_full_rent=True)
    assert full == pytest.approx(3_060_000, abs=1e-6)
    assert value_at_yield(full, 0.0475) == pytest.approx(64_421_052.63, abs=5e-3)


def test_income_of_a_week():
    # Hand calculation: 300 homes at 1,700, 95 %, 25 %.
    income = net_operating_income(300, 1700, 0.95, 0.25)
    assert income == pytest.approx(4_360_500, abs=1e-6)
    assert income / 52 == pytest.approx(83_855.77, abs=5e-3)


def test_reservations_run_at_the_given_rate_from_the_launch():
    # Hand calculation: ten a month, the first in the middle of the first tenth of a month.
    sold = sale_days([30], [0.0], **PACE)
    assert sold.reserved_day[0] == pytest.approx(180 + 0.05 * DAYS_PER_MONTH)
    assert np.diff(sold.reserved_day) == pytest.approx(np.full(29, DAYS_PER_MONTH / 10))


def test_blocks_are_reserved_in_the_order_of_their_handover():
    sold = sale_days([5, 5], [900.0, 600.0], **PACE)
    assert sold.reserved_day[sold.block == 1].max() < sold.reserved_day[sold.block == 0].min()
    held = sale_days([5, 5], [900.0, 600.0], order=[0, 1], **PACE)
    assert held.reserved_day[held.block == 0].max() < held.reserved_day[held.block == 1].min()


def test_flats_reserved_before_handover_wait_for_it_and_later_ones_do_not():
    # Hand calculation: a flat a day from day 0, handover on day 4, two days of notice.
    sold = sale_days([10], [4.0], launch_day=0.0, reservations_per_month=DAYS_PER_MONTH, notice_days=2.0)
    assert sold.day == pytest.approx([6, 6, 6, 6, 6, 6, 6.5, 7.5, 8.5, 9.5])
    assert sold.presold.tolist() == [0.4]


def test_a_cap_sends_the_rest_to_the_next_block():
    # Hand calculation: two flats a day, one a day in a block; then one block alone at one a day.
    sold = sale_days(
        [2, 4],
        [10.0, 20.0],
        launch_day=0.0,
        reservations_per_month=2 * DAYS_PER_MONTH,
        notice_days=0.0,
        cap_per_block_per_month=DAYS_PER_MONTH,
    )
    assert sold.reserved_day == pytest.approx([0.5, 1.5, 0.5, 1.5, 2.5, 3.5])


def test_what_the_first_block_leaves_goes_to_the_second_until_it_is_sold_out():
    # Hand calculation: three flats a day, two a day in a block, so the second sells one a day, then two.
    sold = sale_days(
        [4, 4],
        [10.0, 20.0],
        launch_day=0.0,
        reservations_per_month=3 * DAYS_PER_MONTH,
        notice_days=0.0,
        cap_per_block_per_month=2 * DAYS_PER_MONTH,
    )
    assert sold.reserved_day == pytest.approx([0.25, 0.75, 1.25, 1.75, 0.5, 1.5, 2.25, 2.75])


@settings(max_examples=50, deadline=None)
@given(flats=flats, handover=handovers, cap=st.one_of(st.none(), st.floats(min_value=1, max_value=20)))
def test_every_flat_is_sold_once_and_never_before_it_is_reserved_and_handed_over(flats, handover, cap):
    sold = sale_days(flats, handover, cap_per_block_per_month=cap, **PACE)
    assert np.bincount(sold.block, weights=sold.number).tolist() == flats
    assert np.all(sold.reserved_day > PACE["launch_day"])
    assert np.all(sold.day >= sold.reserved_day)
    assert np.all(sold.day >= np.array(handover)[sold.block] + 28)
    assert np.all((sold.presold >= 0) & (sold.presold <= 1))
    in_all = np.sort(sold.reserved_day)
    if cap is None:
        assert np.diff(in_all) == pytest.approx(np.full(sum(flats) - 1, DAYS_PER_MONTH / 10), abs=1e-6)
    for block in range(3):
        own = sold.reserved_day[sold.block == block]
        fastest = DAYS_PER_MONTH / min(10.0, cap or 10.0)
        assert np.all(np.diff(own) >= fastest - 1e-6)


@settings(max_examples=50, deadline=None)
@given(flats=flats, handover=handovers, days=st.floats(min_value=1e-4, max_value=60))
def test_a_later_handover_moves_no_completion_further_than_itself(flats, handover, days):
    order = np.argsort(handover)
    before = sale_days(flats, handover, order=order, **PACE)
    after = sale_days(flats, np.array(handover) + days, order=order, **PACE)
    moved = after.day - before.day
    assert np.all((moved >= -1e-9) & (moved <= days + 1e-9))


def test_a_day_of_handover_moves_the_money_of_presold_flats_by_a_day():
    def mean_day(handover):
        sold = sale_days([20], [handover], **PACE)
        net = sale_receipts(sold, [8e6], ENDS, selling_share=0.025).net
        return net @ ENDS / net.sum()

    assert mean_day(701.0) - mean_day(700.0) == pytest.approx(1.0, abs=1e-9)


def test_sooner_handover_gains_nothing_for_flats_not_yet_reserved():
    slow = {"launch_day": 800.0, "reservations_per_month": 2.0, "notice_days": 28.0}
    assert sale_days([20], [700.0], **slow).day.tolist() == sale_days([20], [600.0], **slow).day.tolist()


def test_receipts_add_up_to_the_value_less_the_costs_of_selling():
    sold = sale_days([8, 12], [500.0, 650.0], **PACE)
    money = sale_receipts(sold, [3.2e6, 6e6], ENDS, selling_share=0.025)
    assert money.gross.sum() == pytest.approx(9.2e6, abs=1e-6)
    assert money.selling.sum() == pytest.approx(0.025 * 9.2e6, abs=1e-6)
    assert money.net == pytest.approx(money.gross - money.selling, abs=1e-9)


def test_a_released_deposit_comes_at_reservation_and_changes_no_total():
    sold = sale_days([10], [900.0], **PACE)
    held = sale_receipts(sold, [4e6], ENDS, selling_share=0.0)
    released = sale_receipts(sold, [4e6], ENDS, selling_share=0.0, deposit_released_share=0.1)
    assert released.gross.sum() == pytest.approx(held.gross.sum(), abs=1e-6)
    assert held.gross[ENDS < 800].sum() == 0.0
    assert released.gross[ENDS < 800].sum() == pytest.approx(4e5, abs=1e-6)


def test_many_rows_are_sold_as_each_alone():
    source = np.random.default_rng(3)
    handover = source.uniform(400, 800, (30, 3))
    launch, rate = source.uniform(0, 300, 30), source.uniform(4, 15, 30)
    counts = [7, 12, 20]
    together = sale_days(
        counts,
        handover,
        launch_day=launch,
        reservations_per_month=rate,
        notice_days=28.0,
        cap_per_block_per_month=6.0,
    )
    values = np.array([2.8e6, 4.8e6, 8e6])
    money = sale_receipts(together, values, ENDS, selling_share=0.02)
    for row in range(30):
        alone = sale_days(
            counts,
            handover[row],
            launch_day=launch[row],
            reservations_per_month=rate[row],
            notice_days=28.0,
            cap_per_block_per_month=6.0,
        )
        assert together.day[row] == pytest.approx(alone.day, abs=1e-9)
        assert together.presold[row] == pytest.approx(alone.presold)
        net = sale_receipts(alone, values, ENDS, selling_share=0.02).net
        assert money.net[row] == pytest.approx(net, abs=1e-6)


def test_rows_may_differ_in_the_rate_alone():
    sold = sale_days([4], [10.0], launch_day=0.0, reservations_per_month=[1.0, 2.0], notice_days=0.0)
    assert sold.day.shape == (2, 4)
    assert sold.reserved_day[0] == pytest.approx(2 * sold.reserved_day[1])


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"flats_per_block": [0, 3]}, r"one flat for sale at least.*got \[0, 3\]"),
        ({"flats_per_block": [1.5, 3]}, "whole numbers"),
        ({"handover_day_per_block": [1.0]}, "do not fit 2 blocks"),
        ({"handover_day_per_block": [1.0, np.nan]}, "A handover day must be a finite number"),
        ({"reservations_per_month": 0.0}, "Reservations per month must be above 0; got 0"),
        ({"cap_per_block_per_month": -1.0}, "cap per block per month must be above 0; got -1"),
        ({"notice_days": -1.0}, "0 days or more; got -1"),
        ({"order": [0, 0]}, r"each of the 2 blocks once.*got \[0, 0\]"),
    ],
)
def test_sales_out_of_range_say_what_is_allowed(changed, message):
    usual = {"flats_per_block": [2, 3], "handover_day_per_block": [100.0, 200.0], **PACE}
    with pytest.raises(RangeError, match=message):
        sale_days(**{**usual, **changed})


def test_a_completion_after_the_last_month_is_refused():
    sold = sale_days([5], [4000.0], **PACE)
    with pytest.raises(RangeError, match="dated day 4028, outside"):
        sale_receipts(sold, [1e6], ENDS, selling_share=0.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda sold: sale_receipts(sold, [1e6, 1e6], ENDS, selling_share=0.0), "do not fit 1 blocks"),
        (lambda sold: sale_receipts(sold, [1e6], ENDS, selling_share=2.5), "selling share must be .*got 2.5"),
        (lambda sold: monthly_sales(10, 11, 1, 1.0), "Presold flats must be 0 to 10; got 11"),
        (lambda sold: monthly_sales(10, 1, 0, 1.0), "Sales per month must be above 0"),
        (lambda sold: let_by_month(0, 1, 0.9, 1), "got 0 homes, 1 months"),
        (lambda sold: let_by_month(5, 1, 95, 1), "stabilised share must be between 0 and 1"),
        (lambda sold: value_at_yield(1.0, 0.0), "The yield must be above 0; got 0"),
        (lambda sold: net_operating_income(1, 1, 1.2, 0.2), "Occupancy must be between 0 and 1"),
    ],
)
def test_money_out_of_range_says_what_is_allowed(call, message):
    sold = sale_days([5], [400.0], **PACE)
    with pytest.raises(RangeError, match=message):
        call(sold)
