"""Sales that follow handover, affordable homes, and the closed forms, against hand-worked figures."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.money.grid import DAYS_PER_MONTH
from model.money.receipts import (
    affordable_receipts,
    let_by_month,
    monthly_sales,
    net_operating_income,
    price_at_yield,
    price_path_factor,
    sale_days,
    sale_receipts,
    stabilisation_month,
    value_at_yield,
)

ENDS = np.arange(0.0, 3700.0, 30.0)
PACE = {"launch_day": 180.0, "reservations_per_month": 10.0, "notice_days": 28.0}
handovers = st.lists(st.floats(min_value=300, max_value=900), min_size=3, max_size=3)
flats = st.lists(st.integers(min_value=1, max_value=40), min_size=3, max_size=3)
shares = st.floats(min_value=0, max_value=1)
VALUES = np.array([2.8e6, 4.8e6, 8e6])
PATH = [(0, 100), (18, 106), (40, 98)]


def worth(cash, ends=ENDS, monthly=0.008):
    """Present worth at a rate a month of thirty days."""
    return cash @ (1 + monthly) ** (-ends / 30)


def sold_and_paid(counts, handover, values=VALUES, ends=ENDS, **changed):
    """Sales with the order held, and their money by month."""
    sold = sale_days(counts, handover, order=np.arange(len(counts)), **PACE)
    return sale_receipts(sold, values, ends, **{"selling_share": 0.02, **changed})


def figures(case):
    """Hand-worked figures of a case, by what they are and the month."""
    file = Path(__file__).parents[1] / "published" / "finance_receipts.csv"
    with file.open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if row["case"] == case]
    return {(row["what"], int(row["month"] or 0)): row for row in rows}


def agrees(got, row):
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


def test_sales_in_whole_months_agree_with_the_hand_worked_case():
    # Hand calculation (CALC), finance_receipts.csv case T5.
    deposits, receipts = monthly_sales(60, 24, 3, 400_000, 0.1)
    rows = figures("T5")
    agrees(receipts.size, rows["months after handover", 0])
    agrees(deposits, rows["deposits", 0])
    for month, receipt in enumerate(receipts, 1):
        agrees(receipt, rows["receipt", month])
    agrees(deposits + receipts.sum(), rows["total", 0])


def test_dated_sales_add_to_the_hand_worked_case_at_every_month_end():
    # Case T5 by day: three a month from the launch, handed over after eight months, so that 24 are reserved;
    # 24 x 0.9 x 400,000 = 8,640,000 at handover and 1,200,000 in the month after it, 9,840,000 by its end.
    rows = figures("T5")
    handed = 8 * DAYS_PER_MONTH
    sold = sale_days([60], [handed], launch_day=0.0, reservations_per_month=3, notice_days=0.0)
    assert sold.presold[0] * 60 == pytest.approx(24)
    ends = DAYS_PER_MONTH * np.arange(25)
    money = sale_receipts(
        sold, [24e6], ends, selling_share=0.0, deposit_share=0.1, released_of_deposit_share=1.0
    )
    agrees(money.gross.sum(), rows["total", 0])
    early = sold.reserved_day <= handed
    agrees(early.sum() * 400_000 * 0.1, rows["deposits", 0])
    by_month = 0.0
    for month in range(1, 13):
        by_month += float(rows["receipt", month]["expected"])
        paid = sold.day <= handed + month * DAYS_PER_MONTH
        agrees(
            400_000 * (paid.sum() - 0.1 * (early & paid).sum()),
            {**rows["receipt", month], "expected": by_month},
        )


def test_lettings_and_income_in_whole_months_agree_with_the_hand_worked_case():
    # Hand calculation (CALC), finance_receipts.csv case T6.
    rows = figures("T6")
    let = let_by_month(200, 26, 0.95, 12)
    for month in range(1, 10):
        agrees(let[month - 1], rows["let", month])
    agrees(stabilisation_month(200, 26, 0.95), rows["stabilised month", 0])
    for month in (1, 7, 8, 12):
        agrees(let[month - 1] * 1700, rows["rent", month])
    agrees(let.sum() * 1700, rows["first year's rent", 0])
    agrees(net_operating_income(200, 1700, 1.0, 0.0), rows["full rent", 0])
    income = net_operating_income(200, 1700, 0.95, 0.25)
    agrees(income, rows["income", 0])
    agrees(value_at_yield(income, 0.0475), rows["price", 0])
    agrees(value_at_yield(income, 0.0475, 0.018), rows["price less purchaser's costs", 0])
    full = net_operating_income(200, 1700, 0.95, 0.25, of_full_rent=True)
    agrees(full, rows["income of full rent", 0])
    agrees(value_at_yield(full, 0.0475), rows["price of full rent", 0])
    both = price_at_yield([income, full], 0.0475, 0.0)
    assert both.tolist() == [value_at_yield(income, 0.0475), value_at_yield(full, 0.0475)]


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


def test_a_price_path_is_straight_between_its_points_and_level_outside():
    # Hand calculation: 100 % until month 3, then 2 % a month to 108 % in month 7, level after.
    months = np.array([[-2.0, 3.0, 4.0], [5.5, 7.0, 30.0]])
    got = price_path_factor(months * DAYS_PER_MONTH, [(3, 100), (7, 108)])
    assert got == pytest.approx(np.array([[1.0, 1.0, 1.02], [1.05, 1.08, 1.08]]), abs=1e-12)
    assert price_path_factor(55.0, [(12, 90)]) == pytest.approx(0.9)


def test_each_flat_is_sold_at_the_price_of_its_reservation():
    # Hand calculation: one flat a month at 1.0 and 1.1 of 300,000: reserved in months 0.5 and 1.5.
    sold = sale_days([2], [0.0], launch_day=0.0, reservations_per_month=1.0, notice_days=0.0)
    factor = price_path_factor(sold.reserved_day, [(0.5, 100), (1.5, 110)])
    ends = DAYS_PER_MONTH * np.array([0.0, 0.5, 1.5])
    money = sale_receipts(sold, [6e5], ends, selling_share=0.02, price_factor=factor)
    assert money.gross == pytest.approx([0, 3e5, 3.3e5], abs=1e-6)
    assert money.selling == pytest.approx([0, 6e3, 6.6e3], abs=1e-6)


def test_incentives_come_off_the_balance_and_a_deposit_may_be_partly_released():
    # Hand calculation: price 400,000, deposit 10 % on day 30, half of it released; 5 % given back on day 60.
    # Day 30: 400,000 x 0.1 x 0.5 = 20,000. Day 60: 400,000 x (1 - 0.05) - 20,000 = 360,000; selling 10,000.
    sold = sale_days([1], [60.0], launch_day=0.0, reservations_per_month=DAYS_PER_MONTH / 60, notice_days=0.0)
    money = sale_receipts(
        sold,
        [4e5],
        np.array([0.0, 30.0, 60.0]),
        selling_share=0.025,
        incentive_share=0.05,
        deposit_share=0.1,
        released_of_deposit_share=0.5,
    )
    assert money.gross == pytest.approx([0, 2e4, 3.6e5], abs=1e-6)
    assert money.net == pytest.approx([0, 2e4, 3.5e5], abs=1e-6)


def test_terms_of_sale_left_out_or_neutral_change_no_figure():
    sold = sale_days([7, 12, 20], [400.0, 500.0, 700.0], **PACE)
    for released in (0.0, 0.1):
        plain = sale_receipts(sold, VALUES, ENDS, selling_share=0.02, deposit_released_share=released)
        neutral = sale_receipts(
            sold,
            VALUES,
            ENDS,
            selling_share=0.02,
            deposit_released_share=released,
            price_factor=np.ones(39),
            incentive_share=0.0,
            released_of_deposit_share=0.0,
        )
        assert np.array_equal(plain.gross, neutral.gross)
        assert np.array_equal(plain.net, neutral.net)


@settings(max_examples=40, deadline=None)
@given(flats=flats, handover=handovers, deposit=st.floats(min_value=0.01, max_value=0.2), freed=shares)
def test_a_held_deposit_moves_no_cash_and_a_released_one_only_brings_it_forward(
    flats, handover, deposit, freed
):
    none = sold_and_paid(flats, handover)
    held = sold_and_paid(flats, handover, deposit_share=deposit)
    assert np.array_equal(held.net, none.net)
    some = sold_and_paid(flats, handover, deposit_share=deposit, released_of_deposit_share=freed)
    assert some.net.sum() == pytest.approx(none.net.sum(), rel=1e-12)
    assert np.all(np.cumsum(some.net) >= np.cumsum(none.net) - 1e-6)
    as_before = sold_and_paid(flats, handover, deposit_released_share=deposit * freed)
    assert np.array_equal(some.net, as_before.net)


@settings(max_examples=40, deadline=None)
@given(flats=flats, handover=handovers, other=handovers, incentive=shares)
def test_totals_at_a_flat_price_do_not_depend_on_when_the_money_falls(flats, handover, other, incentive):
    one = sold_and_paid(flats, handover, incentive_share=incentive)
    two = sold_and_paid(flats, other, incentive_share=incentive)
    # Hand calculation: 15,600,000 in all, less what is given back; selling 2 % of it.
    assert one.gross.sum() == pytest.approx(15.6e6 * (1 - incentive), abs=1e-4)
    assert one.gross.sum() == pytest.approx(two.gross.sum(), abs=1e-4)
    assert one.selling.sum() == pytest.approx(312e3, abs=1e-4)
    assert np.all(one.gross <= sold_and_paid(flats, handover).gross + 1e-6)


@settings(max_examples=40, deadline=None)
@given(flats=flats, handover=handovers, later=st.lists(st.floats(0, 200), min_size=3, max_size=3))
def test_a_later_handover_is_never_worth_more_at_a_flat_price(flats, handover, later):
    now = sold_and_paid(flats, handover)
    then = sold_and_paid(flats, np.add(handover, later))
    assert worth(then.net) <= worth(now.net) + 1e-6
    assert np.all(np.cumsum(then.net) <= np.cumsum(now.net) + 1e-4)


def test_money_moves_in_proportion_to_the_days_between_two_reservations():
    # Reservations of ten a month fall on days 180 + 1.52 + 3.04 k, the last of 40 on day 300.2; with handover
    # after it all the money moves: each of 40 flats of 100,000 by a thirtieth of its price a day.
    cash = [sold_and_paid([40], [719.0 - d], [4e6]).gross for d in (0.0, 1.0, 2.0)]
    assert cash[1] - cash[0] == pytest.approx((cash[2] - cash[0]) / 2, abs=1e-6)
    assert np.abs(cash[1] - cash[0]).max() == pytest.approx(4e6 / 30, abs=1e-6)
    # With handover between two reservations only the flats reserved by then move.
    day = [sale_days([40], [h], **PACE) for h in (240.0, 240.5, 241.0)]
    assert len({float(each.presold[0]) for each in day}) == 1
    some = [sold_and_paid([40], [h], [4e6]).gross for h in (240.0, 240.5, 241.0)]
    assert some[1] - some[0] == pytest.approx((some[2] - some[0]) / 2, abs=1e-6)
    assert np.any(np.abs(some[1] - some[0]) > 1e4)


def test_no_step_of_a_day_across_a_month_end_is_larger_than_another():
    # A month of 30 days ends on day 720, 28 days after handover on day 692.
    cash = np.array([sold_and_paid([40], [h], [4e6]).gross for h in np.arange(688.0, 697.0)])
    assert np.abs(np.diff(cash, axis=0)).max(axis=1) == pytest.approx(np.full(8, 4e6 / 30), abs=1e-6)
    assert np.diff(cash @ ENDS) == pytest.approx(np.full(8, 4e6), abs=1e-2)


@settings(max_examples=30, deadline=None)
@given(flats=flats, handover=handovers, months=st.integers(min_value=1, max_value=12))
def test_everything_whole_months_later_is_the_same_money_whole_months_later(flats, handover, months):
    later = months * 30.0
    plain = {"selling_share": 0.02, "deposit_share": 0.1, "released_of_deposit_share": 1.0}
    now = sale_receipts(sale_days(flats, handover, **PACE), VALUES, ENDS, **plain)
    moved = {**PACE, "launch_day": PACE["launch_day"] + later}
    then = sale_receipts(sale_days(flats, np.add(handover, later), **moved), VALUES, ENDS, **plain)
    assert then.net[months:] == pytest.approx(now.net[:-months], abs=1e-4)
    assert np.all(then.net[:months] == 0)
    one = affordable_receipts(flats, handover, VALUES, ENDS, 28.0, 0.6)
    two = affordable_receipts(flats, np.add(handover, later), VALUES, ENDS, 28.0, 0.6)
    assert two[months:] == pytest.approx(one[:-months], abs=1e-4)


def test_affordable_homes_are_paid_for_with_their_section():
    # Hand calculation: 10 of 2,000,000 at 60 % on days 90 + 30, a month-end; 5 of 1,200,000 on days 105 + 30,
    # half-way between two; the section between has none, and its handover is not looked at.
    got = affordable_receipts(
        [10, 0, 5], [90.0, 9e9, 105.0], [2e6, 0.0, 1.2e6], np.arange(0.0, 181.0, 30.0), 30.0, 0.6
    )
    assert got == pytest.approx([0, 0, 0, 0, 1.2e6 + 0.36e6, 0.36e6, 0], abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(handover=handovers, days=st.floats(min_value=0.1, max_value=90))
def test_affordable_money_moves_with_handover_and_keeps_its_total(handover, days):
    now = affordable_receipts([1, 2, 3], handover, VALUES, ENDS, 28.0, 0.6)
    then = affordable_receipts([1, 2, 3], np.add(handover, days), VALUES, ENDS, 28.0, 0.6)
    assert now.sum() == pytest.approx(0.6 * 15.6e6, abs=1e-4)
    assert (then - now) @ ENDS == pytest.approx(now.sum() * days, rel=1e-9)
    assert worth(then) < worth(now)


def test_many_rows_with_terms_of_sale_are_as_each_alone():
    source = np.random.default_rng(5)
    handover, launch = source.uniform(400, 800, (20, 3)), source.uniform(0, 300, 20)
    incentive, freed, notice = source.uniform(0, 0.1, (3, 20))
    counts = [7, 12, 20]
    steady = {"reservations_per_month": 9.0, "notice_days": 28.0}
    sold = sale_days(counts, handover, launch_day=launch, **steady)
    many = sale_receipts(
        sold,
        VALUES,
        ENDS,
        selling_share=0.02,
        price_factor=price_path_factor(sold.reserved_day, PATH),
        incentive_share=incentive,
        deposit_share=0.1,
        released_of_deposit_share=freed,
    )
    homes = affordable_receipts([1, 0, 4], handover, [1e6, 0, 2e6], ENDS, 300 * notice, incentive)
    for row in range(20):
        own = sale_days(counts, handover[row], launch_day=launch[row], **steady)
        alone = sale_receipts(
            own,
            VALUES,
            ENDS,
            selling_share=0.02,
            price_factor=price_path_factor(own.reserved_day, PATH),
            incentive_share=incentive[row],
            deposit_share=0.1,
            released_of_deposit_share=freed[row],
        )
        assert many.net[row] == pytest.approx(alone.net, abs=1e-6)
        one = affordable_receipts(
            [1, 0, 4], handover[row], [1e6, 0, 2e6], ENDS, 300 * notice[row], incentive[row]
        )
        assert homes[row] == pytest.approx(one, abs=1e-6)


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


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"price_factor": np.ones(4)}, r"Price factors of shape \(4,\) do not fit 5 flats"),
        ({"price_factor": 0.0}, "A price factor must be above 0; got 0"),
        ({"price_factor": np.nan}, "A price factor must be a finite number"),
        ({"incentive_share": 5.0}, "The incentive must be between 0 and 1.*got 5"),
        ({"deposit_share": -0.1}, "The deposit must be between 0 and 1.*got -0.1"),
        ({"released_of_deposit_share": 1.1}, "released part of the deposit must be between 0 and 1"),
        (
            {"deposit_released_share": 0.05, "deposit_share": 0.1},
            "stated twice: 0.05 of the price released at reservation, and 0.1 of the price paid",
        ),
        (
            {"incentive_share": 0.95, "deposit_share": 0.1, "released_of_deposit_share": 1.0},
            "take 1.05 of the price; together they can take 1 at most",
        ),
    ],
)
def test_terms_of_sale_out_of_range_say_what_is_allowed(changed, message):
    sold = sale_days([5], [400.0], **PACE)
    with pytest.raises(RangeError, match=message):
        sale_receipts(sold, [1e6], ENDS, selling_share=0.02, **changed)


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ([], r"needs a month and a per cent.*got \[\]"),
        ([(0, 100, 1)], "needs a month and a per cent"),
        ([(0, 100), (6, 101), (6, 102)], "must rise; got 6, then 6"),
        ([(0, 100), (np.nan, 101)], "A point of the path of prices must be a finite number"),
        ([(0, 100), (6, 0)], "price on the path, in % of today's, must be above 0; got 0"),
    ],
)
def test_a_path_of_prices_out_of_order_says_what_is_allowed(path, message):
    with pytest.raises(RangeError, match=message):
        price_path_factor([0.0], path)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"flats": [1.5, 2]}, r"affordable homes in whole numbers.*got \[1.5, 2.0\]"),
        ({"flats": [0, 0]}, "one in all at least"),
        ({"flats": [1, 0]}, "Section 1, counted from 0, has no affordable homes but a value"),
        ({"handover_days": [1.0]}, r"Handover days of shape \(1,\) do not fit 2 sections"),
        ({"values": 1e6}, r"Values of shape \(\) do not fit 2 sections"),
        ({"notice_days": -2.0}, "notice must be 0 days or more; got -2"),
        ({"price_share": 60.0}, "price over market value must be between 0 and 1.*got 60"),
        ({"handover_days": [100.0, 9000.0]}, "dated day 9028, outside"),
    ],
)
def test_affordable_homes_out_of_range_say_what_is_allowed(changed, message):
    usual = {
        "flats": [1, 2],
        "handover_days": [100.0, 200.0],
        "values": [1e6, 2e6],
        "ends_day": ENDS,
        "notice_days": 28.0,
        "price_share": 0.6,
    }
    with pytest.raises(RangeError, match=message):
        affordable_receipts(**{**usual, **changed})
