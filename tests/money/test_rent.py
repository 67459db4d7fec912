"""Homes for rent: letting by one team, rent until the exit, and the price of the building."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.money.grid import DAYS_PER_MONTH
from model.money.rent import lettings, rent_receipts

MONTHS = DAYS_PER_MONTH * np.arange(61.0)
A_DAY = {"lets_per_month": DAYS_PER_MONTH, "stabilised_share": 1.0}
SALE = {"rent_per_month": 1700.0, "operating_share": 0.25, "net_yield": 0.0475, "purchaser_cost_share": 0.018}

counts = st.lists(st.integers(min_value=0, max_value=30), min_size=3, max_size=3).filter(any)
handovers = st.lists(st.floats(min_value=100, max_value=500), min_size=3, max_size=3)
paces = st.floats(min_value=3, max_value=60)
full = st.floats(min_value=0.5, max_value=1.0)
orders = st.permutations([0, 1, 2])


def figures(case):
    """Hand-worked figures of a case, by what they are and the month."""
    file = Path(__file__).parents[1] / "published" / "finance_receipts.csv"
    with file.open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if row["case"] == case]
    return {(row["what"], int(row["month"] or 0)): row for row in rows}


def agrees(got, row):
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


def worth(cash, monthly=0.008):
    return cash @ (1 + monthly) ** -np.arange(cash.shape[-1])


def test_one_section_let_by_day_agrees_with_the_hand_worked_case():
    # Hand calculation (CALC), finance_receipts.csv case T6, with handover at a month-end.
    rows = figures("T6")
    let = lettings([200], [3 * DAYS_PER_MONTH], lets_per_month=26, stabilised_share=0.95)
    for month in range(1, 10):
        end = (3 + month) * DAYS_PER_MONTH
        agrees(let.let_by(end), rows["let", month])
        agrees(let.number[let.day <= end].sum(), rows["let", month])
    stabilised = let.stabilised_day / DAYS_PER_MONTH - 3
    assert stabilised == pytest.approx(190 / 26, abs=1e-9)
    agrees(np.ceil(stabilised), rows["stabilised month", 0])
    gross = rent_receipts(let, MONTHS, **{**SALE, "purchaser_cost_share": 0.0})
    agrees(gross.income, rows["income", 0])
    agrees(gross.exit_price.sum(), rows["price", 0])
    net = rent_receipts(let, MONTHS, **SALE)
    agrees(net.exit_price.sum(), rows["price less purchaser's costs", 0])
    whole = rent_receipts(let, MONTHS, **{**SALE, "purchaser_cost_share": 0.0}, of_full_rent=True)
    agrees(whole.income, rows["income of full rent", 0])
    agrees(whole.exit_price.sum(), rows["price of full rent", 0])


def test_once_full_a_month_of_rent_is_that_of_the_hand_worked_case():
    # Case T6: 323,000 a month once stabilised. Two exits a month apart, both after that, differ by it.
    rows = figures("T6")
    let = lettings([200], [0.0], lets_per_month=26, stabilised_share=0.95)
    exits = [rent_receipts(let, MONTHS, **SALE, exit_day=m * DAYS_PER_MONTH).rent for m in (11, 12)]
    agrees(exits[1].sum() - exits[0].sum(), rows["rent", 12])
    # The flow over the filling: 190 let evenly by month 190/26, so that many months at half of 323,000; then
    # 323,000 a month to month 12: 323,000 x (12 - 190/52) = 2,695,807.69.
    assert exits[1].sum() == pytest.approx(2_695_807.69, abs=5e-3)


def test_the_team_goes_on_to_a_section_that_waits_for_it():
    # Hand calculation: one a day; three from day 0, then two that stand from day 1.
    let = lettings([3, 2], [0.0, 1.0], **A_DAY)
    assert let.day == pytest.approx([0.5, 1.5, 2.5, 3.5, 4.5])
    assert let.section.tolist() == [0, 0, 0, 1, 1]
    assert let.stabilised_day == pytest.approx(5)


def test_the_team_waits_for_a_late_section_and_loses_no_pace():
    # Hand calculation: three let by day 3; the other two from day 10.
    let = lettings([3, 2], [0.0, 10.0], **A_DAY)
    assert let.day == pytest.approx([0.5, 1.5, 2.5, 10.5, 11.5])
    assert let.stabilised_day == pytest.approx(12)
    assert [float(let.let_by(day)) for day in (-1, 1.25, 7, 11, 40)] == pytest.approx([0, 1.25, 3, 4, 5])


def test_a_section_earlier_in_the_order_is_taken_up_as_it_is_handed_over():
    # Hand calculation: section 1 first in the order but handed over on day 1.25. Until then a home and a
    # quarter of section 0; then both homes of section 1; then three quarters, and the third home.
    let = lettings([3, 2], [0.0, 1.25], order=[1, 0], **A_DAY)
    assert let.section.tolist() == [0, 0, 0, 0, 1, 1]
    assert let.number == pytest.approx([1, 0.25, 0.75, 1, 1, 1])
    assert let.day == pytest.approx([0.5, 1.125, 3.625, 4.5, 1.75, 2.75])


def test_only_the_stabilised_share_of_each_section_is_let():
    # Hand calculation: 0.75 of 3 is two homes and a quarter, let in 2.25 days; of 2, one and a half.
    let = lettings([3, 0, 2], [0.0, 99.0, 0.0], lets_per_month=DAYS_PER_MONTH, stabilised_share=0.75)
    assert let.number == pytest.approx([1, 1, 0.25, 1, 0.5])
    assert let.day == pytest.approx([0.5, 1.5, 2.125, 2.75, 3.5])
    assert let.section.tolist() == [0, 0, 0, 2, 2]
    assert let.stabilised_day == pytest.approx(3.75)


@settings(max_examples=60, deadline=None)
@given(homes=counts, handover=handovers, pace=paces, share=full, order=orders)
def test_the_team_is_never_idle_while_a_home_waits(homes, handover, pace, share, order):
    a_day = pace / DAYS_PER_MONTH
    by_handover = lettings(homes, handover, lets_per_month=pace, stabilised_share=share)
    held = lettings(homes, handover, lets_per_month=pace, stabilised_share=share, order=order)
    free, spans = -np.inf, []
    for section in sorted(range(3), key=lambda at: handover[at]):  # first come, first served
        start = max(free, handover[section])
        free = start + share * homes[section] / a_day if homes[section] else free
        spans.append((start, share * homes[section]))
    assert by_handover.stabilised_day == pytest.approx(free, abs=1e-6)
    assert held.stabilised_day == pytest.approx(free, abs=1e-6)
    for day in np.linspace(90, free + 10, 23):
        expected = sum(min(max((day - start) * a_day, 0.0), number) for start, number in spans)
        assert by_handover.let_by(day) == pytest.approx(expected, abs=1e-6)
        assert held.let_by(day) == pytest.approx(expected, abs=1e-6)
    for let in (by_handover, held):
        assert np.all(let.day >= np.array(handover)[let.section])
        assert np.bincount(let.section, let.number, minlength=3) == pytest.approx(
            share * np.array(homes), abs=1e-6
        )
        assert np.all((let.number > 0) & (let.number <= 1 + 1e-9))


@settings(max_examples=60, deadline=None)
@given(homes=counts, handover=handovers, order=orders, section=st.integers(0, 2), days=st.floats(1e-3, 60))
def test_a_later_handover_moves_the_lettings_by_no_more_than_itself(homes, handover, order, section, days):
    late = np.array(handover)
    late[section] += days
    now = lettings(homes, handover, order=order, lets_per_month=20, stabilised_share=0.95)
    then = lettings(homes, late, order=order, lets_per_month=20, stabilised_share=0.95)
    home_days = then.number @ then.day - now.number @ now.day
    assert -1e-6 <= home_days <= 0.95 * sum(homes) * days + 1e-6
    for day in (200.0, 300.0, 500.0):
        lost = now.let_by(day) - then.let_by(day)
        assert -1e-6 <= lost <= 20 / DAYS_PER_MONTH * days + 1e-6


def test_rent_flows_from_the_day_let_to_the_exit():
    # Hand calculation: a home a day from day 10, two homes at 1 a day each, sold on day 12 when both are let:
    # 1.5 + 0.5 = 2 of rent, half of it spent. Income 2 x 365.25 x 0.5 = 365.25 a year; at 5 %, 7,305.
    let = lettings([2], [10.0], **A_DAY)
    money = rent_receipts(
        let,
        np.array([0.0, 12.0, 24.0]),
        rent_per_month=DAYS_PER_MONTH,
        operating_share=0.5,
        net_yield=0.05,
        purchaser_cost_share=0.0,
        exit_cost_share=0.01,
    )
    assert money.exit_day == pytest.approx(12)
    assert money.income == pytest.approx(365.25)
    assert money.rent.sum() == pytest.approx(2)
    # Means of the rent: day 11.25 for 1.5, day 11.75 for 0.5; on the grid (1.5 x 11.25 + 0.5 x 11.75) / 12.
    assert money.rent == pytest.approx([2 - 22.75 / 12, 22.75 / 12, 0], abs=1e-9)
    assert money.operating == pytest.approx(money.rent / 2)
    assert money.exit_price == pytest.approx([0, 7305, 0])
    assert money.exit_cost == pytest.approx([0, 73.05, 0])
    assert money.net == pytest.approx(money.rent / 2 + [0, 7305 - 73.05, 0])


def test_a_fixed_date_before_the_building_is_full_is_priced_on_what_is_let():
    # Hand calculation: one a day from day 0; by day 2.5 two and a half of four; rent 2 + 1 of whole homes.
    let = lettings([4], [0.0], **A_DAY)
    terms = {"operating_share": 0.0, "net_yield": 0.05, "purchaser_cost_share": 0.0}
    money = rent_receipts(let, np.array([0.0, 30.0]), rent_per_month=DAYS_PER_MONTH, exit_day=2.5, **terms)
    assert money.income == pytest.approx(2.5 * 365.25)
    assert money.rent.sum() == pytest.approx(3.0)
    empty = rent_receipts(let, np.array([-9.0, 30.0]), rent_per_month=100.0, exit_day=-1.0, **terms)
    assert empty.net.tolist() == [0.0, 0.0]


def test_the_two_ways_to_count_operating_costs_are_printed_and_differ_by_the_empty_homes():
    # Hand calculation: a quarter of the full rent holds the 5 % left empty, so 0.2 / 0.95 of what is paid
    # is spent; the income is 0.75 / 0.95 of the rent of the homes let, against 0.75 of it.
    let = lettings([200], [0.0], lets_per_month=26, stabilised_share=0.95)
    of_collected = rent_receipts(let, MONTHS, **SALE)
    of_full = rent_receipts(let, MONTHS, **SALE, of_full_rent=True, exit_day=400.0)
    assert of_full.operating.sum() / of_full.rent.sum() == pytest.approx(0.2 / 0.95)
    assert of_full.income / of_collected.income == pytest.approx(1 / 0.95)
    assert of_collected.basis == (
        "Operating costs are a share of the rent collected; "
        "the exit is at stabilisation, priced on the stabilised income."
    )
    assert of_full.basis == (
        "Operating costs are a share of the full rent, empty homes included; "
        "the exit is at a fixed date, priced on the homes let by then."
    )
    least = rent_receipts(let, MONTHS, **{**SALE, "operating_share": 0.05}, of_full_rent=True)
    assert least.operating.sum() == pytest.approx(0.0, abs=1e-6)


def test_sections_may_differ_in_rent():
    # Hand calculation: homes let on days 0.5 and 1.5, sold on day 2; 1.5 days at 100, half a day at 300.
    let = lettings([1, 1], [0.0, 0.0], **A_DAY)
    terms = {"operating_share": 0.0, "net_yield": 0.05, "purchaser_cost_share": 0.0}
    rents = DAYS_PER_MONTH * np.array([100.0, 300.0])
    money = rent_receipts(let, np.array([0.0, 30.0]), rent_per_month=rents, **terms)
    assert money.rent.sum() == pytest.approx(300.0)
    assert money.income == pytest.approx(400 * 365.25)


@settings(max_examples=40, deadline=None)
@given(homes=counts, handover=handovers, months=st.integers(1, 12), fixed=st.booleans())
def test_everything_whole_months_later_is_the_same_money_whole_months_later(homes, handover, months, fixed):
    def money(later):
        days = later * DAYS_PER_MONTH
        let = lettings(homes, np.add(handover, days), lets_per_month=20, stabilised_share=0.95)
        return rent_receipts(let, MONTHS, **SALE, exit_day=450.0 + days if fixed else None)

    now, then = money(0), money(months)
    assert then.net[months:] == pytest.approx(now.net[:-months], abs=1e-4)
    assert np.all(then.net[:months] == 0)
    assert then.income == pytest.approx(now.income, abs=1e-4)
    assert then.exit_day - now.exit_day == pytest.approx(months * DAYS_PER_MONTH, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(homes=counts, handover=handovers, days=st.floats(0, 60))
def test_all_of_it_later_is_never_worth_more_and_adds_to_the_same(homes, handover, days):
    terms = {"lets_per_month": 20, "stabilised_share": 0.95}
    now = rent_receipts(lettings(homes, handover, **terms), MONTHS, **SALE)
    then = rent_receipts(lettings(homes, np.add(handover, days), **terms), MONTHS, **SALE)
    assert then.net.sum() == pytest.approx(now.net.sum(), rel=1e-9)
    assert worth(then.net) <= worth(now.net) + 1e-4


@settings(max_examples=40, deadline=None)
@given(homes=counts, handover=handovers, order=orders, section=st.integers(0, 2), days=st.floats(0, 60))
def test_before_a_fixed_exit_a_later_section_brings_no_more_and_loses_in_proportion(
    homes, handover, order, section, days
):
    late = np.array(handover)
    late[section] += days
    terms = {"lets_per_month": 20, "stabilised_share": 0.95, "order": order}
    now = rent_receipts(lettings(homes, handover, **terms), MONTHS, **SALE, exit_day=420.0)
    then = rent_receipts(lettings(homes, late, **terms), MONTHS, **SALE, exit_day=420.0)
    lost = now.income - then.income
    assert -1e-4 <= lost <= 20 / DAYS_PER_MONTH * days * 1700 * 12 * 0.75 + 1e-4


def test_a_day_of_handover_moves_the_money_by_a_day_across_a_month_end():
    # A home a day; handed over on days 27 to 34 about a month-end on day 30.4, sold when full.
    terms = {**A_DAY, "stabilised_share": 0.95}
    cash = []
    for day in np.arange(27.0, 35.0):
        cash.append(rent_receipts(lettings([20, 9], [day, day], **terms), MONTHS, **SALE).net)
    moved = np.diff(np.array(cash) @ MONTHS)
    assert moved == pytest.approx(np.full(7, cash[0].sum()), rel=1e-9)
    # A day is 1 / 30.4 of the way between two month-ends for every part of the money.
    assert np.abs(np.diff(cash, axis=0)).max() <= cash[0].sum() / DAYS_PER_MONTH + 1e-6


def test_money_moves_in_proportion_to_the_days():
    # Hand calculation: five homes let by day 45, sold on day 55; a day sooner earns 5 x 1,700 x 0.75 a month.
    rent = [
        rent_receipts(lettings([5], [day], **A_DAY), MONTHS, **SALE, exit_day=55.0).net.sum()
        for day in (40.0, 39.0, 38.0)
    ]
    assert np.diff(rent) == pytest.approx(np.full(2, 5 * 1700 * 0.75 / DAYS_PER_MONTH), abs=1e-6)
    # Sold when full, between two month-ends: the price moves by 1 / 30.4 of itself a day, either way.
    price = [
        rent_receipts(lettings([5], [day], **A_DAY), MONTHS, **SALE).exit_price for day in (40.0, 39.0, 38.0)
    ]
    assert price[1] - price[0] == pytest.approx((price[2] - price[0]) / 2, abs=1e-6)
    assert np.abs(price[1] - price[0]).max() == pytest.approx(price[0].sum() / DAYS_PER_MONTH, abs=1e-6)


def test_many_rows_are_let_as_each_alone():
    source = np.random.default_rng(11)
    handover = source.uniform(100, 500, (15, 3))
    pace, share = source.uniform(8, 40, 15), source.uniform(0.85, 1.0, 15)
    out, rent = source.uniform(300, 900, 15), source.uniform(900, 2500, (15, 3))
    costs, price_yield = source.uniform(0.2, 0.35, 15), source.uniform(0.04, 0.06, 15)
    for order in (None, [2, 0, 1]):
        for exit_day in (None, out):
            let = lettings([20, 7, 31], handover, lets_per_month=pace, stabilised_share=share, order=order)
            many = rent_receipts(
                let,
                MONTHS,
                rent_per_month=rent,
                operating_share=costs,
                of_full_rent=True,
                net_yield=price_yield,
                purchaser_cost_share=0.018,
                exit_day=exit_day,
            )
            for row in range(15):
                own = lettings(
                    [20, 7, 31],
                    handover[row],
                    lets_per_month=pace[row],
                    stabilised_share=share[row],
                    order=order,
                )
                alone = rent_receipts(
                    own,
                    MONTHS,
                    rent_per_month=rent[row],
                    operating_share=costs[row],
                    of_full_rent=True,
                    net_yield=price_yield[row],
                    purchaser_cost_share=0.018,
                    exit_day=None if exit_day is None else out[row],
                )
                kept = let.number[row] > 0
                assert let.day[row, kept] == pytest.approx(own.day, abs=1e-9)
                assert let.section[kept].tolist() == own.section.tolist()
                assert many.net[row] == pytest.approx(alone.net, abs=1e-4)
                assert many.exit_day[row] == pytest.approx(alone.exit_day)
                assert many.income[row] == pytest.approx(alone.income)


def test_rows_may_differ_in_one_figure_alone():
    let = lettings([20], [100.0], lets_per_month=20, stabilised_share=0.95)
    money = rent_receipts(let, MONTHS, **{**SALE, "net_yield": [0.04, 0.05]})
    assert money.net.shape == money.rent.shape == (2, 61)
    assert money.exit_day.shape == money.income.shape == (2,)
    assert money.exit_price[0].sum() == pytest.approx(1.25 * money.exit_price[1].sum())
    dear = rent_receipts(let, MONTHS, **{**SALE, "rent_per_month": [[1000.0], [2000.0]]})
    assert 2 * dear.net[0] == pytest.approx(dear.net[1])


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"homes_per_section": [0, 0]}, r"homes for rent in whole numbers.*got \[0.0, 0.0\]"),
        ({"homes_per_section": [2, -1]}, "0 or more each"),
        ({"handover_days": [1.0]}, r"Handover days of shape \(1,\) do not fit 2 sections"),
        ({"handover_days": [1.0, np.inf]}, "Handover days must be a finite number"),
        ({"lets_per_month": 0.0}, "Lettings per month must be above 0; got 0"),
        ({"lets_per_month": np.inf}, "Lettings per month must be a finite number"),
        ({"stabilised_share": 95.0}, "stabilised share must be between 0 and 1.*got 95"),
        ({"stabilised_share": 0.0}, "stabilised share must be above 0; got 0"),
        ({"order": [1, 1]}, r"The order of letting must name each of the 2 sections once.*got \[1, 1\]"),
    ],
)
def test_lettings_out_of_range_say_what_is_allowed(changed, message):
    usual = {
        "homes_per_section": [2, 3],
        "handover_days": [0.0, 10.0],
        "lets_per_month": 5.0,
        "stabilised_share": 0.95,
    }
    with pytest.raises(RangeError, match=message):
        lettings(**{**usual, **changed})


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"rent_per_month": 0.0}, "The rent must be above 0; got 0"),
        ({"rent_per_month": [1.0, 2.0, 3.0]}, r"Rents of shape \(3,\) do not fit 2 sections"),
        ({"operating_share": 25.0}, "operating share must be between 0 and 1.*got 25"),
        (
            {"operating_share": 0.02, "of_full_rent": True},
            "must hold the homes left empty, 0.05; got 0.02. Raise it",
        ),
        ({"net_yield": 0.0}, "The yield must be above 0; got 0"),
        ({"purchaser_cost_share": 1.8}, "Purchaser's costs must be between 0 and 1.*got 1.8"),
        ({"exit_cost_share": -0.01}, "cost of the exit must be between 0 and 1.*got -0.01"),
        ({"exit_day": np.nan}, "The day of the exit must be a finite number"),
        ({"exit_day": 9000.0}, "dated day 9000, outside"),
    ],
)
def test_rent_out_of_range_says_what_is_allowed(changed, message):
    let = lettings([20, 20], [30.0, 60.0], lets_per_month=20, stabilised_share=0.95)
    with pytest.raises(RangeError, match=message):
        rent_receipts(let, MONTHS, **{**SALE, **changed})


def test_a_day_that_is_not_finite_counts_no_homes():
    let = lettings([2], [0.0], **A_DAY)
    with pytest.raises(RangeError, match="A day must be a finite number"):
        let.let_by(np.nan)
