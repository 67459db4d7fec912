"""Months: where they end, and how dated cash is put on them."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.money.grid import MonthGrid, grid_for, spread, spread_evenly

GRID = MonthGrid(dt.date(2027, 3, 31), -12, 48)
ENDS = GRID.ends_day
days_inside = st.floats(min_value=float(ENDS[0]), max_value=float(ENDS[-1]) - 1)
money = st.floats(min_value=-1e7, max_value=1e7).map(lambda x: round(x, 2))


def test_months_end_on_anniversaries_and_the_day_is_held_within_the_month():
    grid = MonthGrid(dt.date(2027, 10, 31), -1, 5)
    assert grid.ends_on == (
        dt.date(2027, 9, 30),
        dt.date(2027, 10, 31),
        dt.date(2027, 11, 30),
        dt.date(2027, 12, 31),
        dt.date(2028, 1, 31),
        dt.date(2028, 2, 29),
        dt.date(2028, 3, 31),
    )
    assert grid.months.tolist() == [-1, 0, 1, 2, 3, 4, 5]
    assert grid.ends_day.tolist() == [-31, 0, 30, 61, 92, 121, 152]


def test_month_ends_cannot_be_written_to():
    with pytest.raises(ValueError, match="read-only"):
        GRID.ends_day[0] = 0.0


def test_money_midway_between_two_month_ends_is_halved():
    # Hand calculation: March 31 to April 30 is 30 days, day 15 is the middle.
    grid = MonthGrid(dt.date(2027, 3, 31), 0, 2)
    assert spread([15.0, 30.0], [100.0, 7.0], grid.ends_day).tolist() == [50.0, 57.0, 0.0]


def test_money_on_the_first_and_last_month_end_stays_there():
    cash = spread([ENDS[0], ENDS[-1]], [1.0, 2.0], ENDS)
    assert cash[0] == 1.0
    assert cash[-1] == 2.0
    assert cash.sum() == 3.0


@given(dated=st.lists(st.tuples(days_inside, money), min_size=1, max_size=20))
def test_spreading_keeps_the_sum_and_the_mean_day(dated):
    days, amounts = np.array(dated).T
    cash = spread(days, amounts, ENDS)
    size = np.abs(amounts).sum() + 1
    assert cash.sum() == pytest.approx(amounts.sum(), abs=1e-12 * size)
    assert cash @ ENDS == pytest.approx(amounts @ days, abs=1e-12 * size * 2000)


@given(dated=st.lists(st.tuples(days_inside, st.floats(min_value=1, max_value=1e6)), min_size=1, max_size=20))
def test_moving_every_day_by_one_moves_the_mean_day_by_one(dated):
    days, amounts = np.array(dated).T
    before, after = spread(days, amounts, ENDS), spread(days + 1, amounts, ENDS)
    mean_before, mean_after = before @ ENDS / before.sum(), after @ ENDS / after.sum()
    assert mean_after - mean_before == pytest.approx(1.0, abs=1e-9)


@given(month=st.integers(min_value=1, max_value=ENDS.size - 2), amount=st.floats(min_value=1, max_value=1e8))
def test_nothing_jumps_at_the_end_of_a_month(month, amount):
    just_before, just_after = (spread([ENDS[month] + step], [amount], ENDS) for step in (-1e-6, 1e-6))
    assert np.abs(just_after - just_before).max() < 1e-7 * amount


def test_many_rows_are_spread_as_each_alone():
    source = np.random.default_rng(1)
    days = source.uniform(ENDS[0], ENDS[-1], (3, 4, 6))
    amounts = source.uniform(0, 1e6, (3, 4, 6))
    together = spread(days, amounts, ENDS)
    assert together.shape == (3, 4, ENDS.size)
    for i in range(3):
        for j in range(4):
            assert together[i, j] == pytest.approx(spread(days[i, j], amounts[i, j], ENDS), abs=1e-6)


def test_rows_may_share_their_days():
    amounts = np.arange(6.0).reshape(2, 3)
    assert spread([1.0, 40.0, 90.0], amounts, ENDS).sum(axis=-1).tolist() == [3.0, 12.0]


@given(
    start=days_inside,
    length=st.floats(min_value=0, max_value=600),
    amount=st.floats(min_value=1, max_value=1e6),
)
def test_an_even_flow_is_the_limit_of_many_small_sums(start, length, amount):
    finish = min(start + length, float(ENDS[-1]))
    parts = 4000
    middles = start + (finish - start) * (np.arange(parts) + 0.5) / parts
    fine = spread(middles, np.full(parts, amount / parts), ENDS)
    assert spread_evenly(start, finish, amount, ENDS) == pytest.approx(fine, abs=1e-4 * amount)


def test_an_even_flow_over_one_month_falls_half_to_each_end():
    # Hand calculation: the mean of the share is one half.
    assert spread_evenly([0.0, 30.0], [30.0, 60.0], [100.0, 60.0], np.array([0.0, 30.0, 60.0])).tolist() == [
        50.0,
        80.0,
        30.0,
    ]


@given(day=days_inside)
def test_an_even_flow_of_no_length_is_one_payment(day):
    assert spread_evenly(day, day, 5.0, ENDS) == pytest.approx(spread(day, 5.0, ENDS), abs=1e-12)


def test_even_flows_of_many_rows_are_those_of_each_alone():
    starts, finishes = np.array([[0.0, 10.0], [5.0, 50.0]]), np.array([[30.0, 400.0], [9.0, 50.0]])
    together = spread_evenly(starts, finishes, [100.0, 200.0], ENDS)
    for row in range(2):
        alone = spread_evenly(starts[row], finishes[row], [100.0, 200.0], ENDS)
        assert together[row] == pytest.approx(alone, abs=1e-9)


@pytest.mark.parametrize("day", [-366.5, 5000.0, float("nan")])
def test_a_day_outside_the_months_says_so(day):
    with pytest.raises(RangeError, match=r"dated day .*outside the months counted.*long enough"):
        spread([0.0, day], [1.0, 1.0], ENDS)


def test_a_sum_that_is_no_number_is_refused():
    with pytest.raises(RangeError, match="finite number"):
        spread([0.0], [np.inf], ENDS)


def test_a_flow_that_runs_backwards_is_refused():
    with pytest.raises(RangeError, match="from day 9 back to day 5"):
        spread_evenly([9.0], [5.0], [1.0], ENDS)


def test_month_ends_must_rise():
    with pytest.raises(RangeError, match="later than the one before"):
        spread([0.0], [1.0], np.array([0.0, 0.0]))


@given(
    start=st.dates(min_value=dt.date(2015, 1, 1), max_value=dt.date(2045, 12, 31)),
    first=st.floats(min_value=-800, max_value=500),
    length=st.floats(min_value=0, max_value=5000),
)
def test_the_grid_is_the_shortest_that_holds_both_days_and_the_start(start, first, length):
    grid = grid_for(start, first, first + length)
    assert grid.ends_day[0] <= min(first, 0)
    assert grid.ends_day[-1] >= max(first + length, 0)
    assert grid.first == 0 or grid.ends_day[1] > first
    assert grid.last == 1 or grid.ends_day[-2] < first + length


def test_days_in_the_wrong_order_make_no_grid():
    with pytest.raises(RangeError, match="10 to 5"):
        grid_for(dt.date(2027, 1, 1), 10.0, 5.0)


def test_a_grid_begins_by_the_start_on_site():
    with pytest.raises(RangeError, match="0 or earlier; got 1"):
        MonthGrid(dt.date(2027, 1, 1), 1, 5)


def test_a_grid_has_two_months_at_least():
    with pytest.raises(RangeError, match="after the first, 0; got 0"):
        MonthGrid(dt.date(2027, 1, 1), 0, 0)
