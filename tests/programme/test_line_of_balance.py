"""Repeated floors and units: the textbook line of balance, worked here, against the day-by-day schedule.

Formulae: *Modern Construction Management*, chapter on line of balance. The model has none of them: gangs are
sized by pace and dates come from the schedule. A line of balance never lets a gang wait; the schedule does,
so it is never later, and the same where a line of balance starts each trade as soon as the first unit allows.
"""

from __future__ import annotations

import csv
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

PUBLISHED = Path(__file__).parents[1] / "published"
WEEK_DAYS, DAY_HOURS = 5.0, 8.0


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()))


TRADES = rows("lob_trades")
FLOORS = rows("lob_continuous")


def worked(row: dict[str, str]) -> dict[str, float]:
    """Gang, rate, times of a trade: G = R Q / (h D), Ra = R Ga / G, t = Q / (n h), T = (N - 1) D / Ra."""
    hours, team = float(row["hours"]), float(row["team"])
    gang = float(row["rate"]) * hours / (DAY_HOURS * WEEK_DAYS)
    actual = team * math.ceil(gang / team - 1e-9)
    rate = float(row["rate"]) * actual / gang
    return {
        "gang": gang,
        "actual_gang": actual,
        "actual_rate": rate,
        "unit_days": hours / (team * DAY_HOURS),
        "spread": (float(row["units"]) - 1) * WEEK_DAYS / rate,
    }


def starts(trades: list[dict[str, float]], buffer: float) -> list[float]:
    """Start of each trade on the first unit: the buffer is kept at the first unit or at the last."""
    found = [0.0]
    for one, two in pairwise(trades):
        at = found[-1] + one["unit_days"] + buffer
        if two["spread"] < one["spread"]:
            at += one["spread"] - two["spread"]
        found.append(at)
    return found


def half_step(printed: str) -> float:
    digits = len(printed.split(".")[1]) if "." in printed else 0
    return 0.5 * 10.0**-digits + 1e-9


@pytest.mark.parametrize("row", TRADES, ids=lambda row: f"{row['example']} {row['trade']}")
@pytest.mark.parametrize("figure", ["gang", "actual_gang", "actual_rate", "unit_days", "spread"])
def test_gang_rate_and_times_of_a_trade_are_those_published(row, figure):
    expected = pytest.approx(float(row[figure]), rel=0, abs=half_step(row[figure]))
    assert worked(row)[figure] == expected, row["source"]


HOUSING = [row for row in TRADES if row["example"] == "housing"]


@pytest.mark.parametrize("place", range(len(HOUSING)))
def test_a_trade_begins_and_ends_as_the_diagram_says(place):
    trades = [worked(row) for row in HOUSING]
    row, trade = HOUSING[place], trades[place]
    first = starts(trades, float(row["buffer"]))[place]
    found = {
        "first_start": first,
        "first_finish": first + trade["unit_days"],
        "last_start": first + trade["spread"],
        "last_finish": first + trade["spread"] + trade["unit_days"],
    }
    for figure, value in found.items():
        assert value == pytest.approx(float(row[figure]), rel=0, abs=half_step(row[figure])), row["source"]


def gangs_of(row: dict[str, str]) -> int:
    return round(worked(row)["actual_gang"] / float(row["team"]))


@pytest.mark.parametrize("row", TRADES, ids=lambda row: f"{row['example']} {row['trade']}")
def test_units_that_come_at_the_rate_of_a_trade_spread_as_the_formula_says(kit, row):
    # Whole gangs, each with a unit to itself: the rate of k gangs is a unit every t / k.
    trade, gangs, units = worked(row), gangs_of(row), int(row["units"])
    each = trade["unit_days"] / gangs
    assert each == pytest.approx(WEEK_DAYS / trade["actual_rate"], rel=1e-12)
    tasks = (kit.Task(work=0.0, pool=-1), *(kit.Task(work=trade["unit_days"]) for _ in range(units)))
    links = tuple(kit.Link(0, k + 1, lag=k * each) for k in range(units))
    done = kit.Net(tasks, links).run(kit.always(gangs=(gangs,)))
    assert done.start[-1] - done.start[1] == pytest.approx(trade["spread"], abs=1e-6)
    assert done.start[1:] == pytest.approx(np.arange(units) * each, abs=1e-6)


def flow(days: list[float], gangs: list[int], units: int, buffer: float, arrival: float) -> np.ndarray:
    """Finishes by unit and trade where gangs may wait, by a recursion: first come, first served."""
    finish = np.zeros((units, len(days)))
    for t, (d, k) in enumerate(zip(days, gangs, strict=True)):
        free = [0.0] * k
        for unit in range(units):
            ready = unit * arrival if t == 0 else finish[unit, t - 1] + buffer
            gang = min(range(k), key=free.__getitem__)
            free[gang] = finish[unit, t] = max(ready, free[gang]) + d
    return finish


def chain(kit, days: list[float], gangs: list[int], units: int, buffer: float, arrival: float, held=None):
    """Our schedule of repeated units; `held` keeps each trade off the site until then."""
    n = len(days)
    tasks = [kit.Task(work=d, pool=t) for _ in range(units) for t, d in enumerate(days)]
    gate = len(tasks)
    links = [kit.Link(u * n + t, u * n + t + 1, lag=buffer) for u in range(units) for t in range(n - 1)]
    links += [kit.Link(gate, u * n, lag=u * arrival) for u in range(units)]
    links += [kit.Link(gate, u * n + t, lag=at) for t, at in enumerate(held or []) for u in range(units)]
    tasks.append(kit.Task(work=0.0, pool=-1))
    rank = np.concatenate([np.arange(gate) + 1, [0]])
    return kit.Net(tuple(tasks), tuple(links)).run(kit.always(gangs=tuple(gangs)), rank)


def test_the_housing_example_flows_no_later_than_its_line_of_balance(kit):
    trades = [worked(row) for row in HOUSING]
    days = [trade["unit_days"] for trade in trades]
    gangs, units, buffer = [gangs_of(row) for row in HOUSING], int(HOUSING[0]["units"]), 5.0
    arrival = days[0] / gangs[0]
    done = chain(kit, days, gangs, units, buffer, arrival)
    finish = done.finish[:-1].reshape(units, len(days))
    assert finish == pytest.approx(flow(days, gangs, units, buffer, arrival), abs=1e-6)
    first = starts(trades, buffer)
    for t, trade in enumerate(trades):
        assert finish[0, t] <= first[t] + days[t] + 1e-6
        assert finish[-1, t] <= first[t] + trade["spread"] + days[t] + 1e-6
    slowest = max(trade["spread"] for trade in trades)
    least = sum(days) + buffer * (len(days) - 1) + slowest
    assert finish[-1, -1] < 114.79 - 1.0  # gangs that may wait gain more than a day here
    assert finish[-1, -1] == pytest.approx(
        least, abs=max(days)
    )  # within the unit in hand of the slowest trade


# Identical floors


def continuous(days: list[float], floors: int) -> float:
    """Length where no gang waits: sum d[:-1] + (N - 1) sum max(0, d[i] - d[i + 1]) + N d[-1]."""
    loss = sum(max(0.0, one - two) for one, two in pairwise(days))
    return sum(days[:-1]) + (floors - 1) * loss + floors * days[-1]


def held_starts(days: list[float], floors: int) -> list[float]:
    """Earliest start of each trade such that it never waits, floor by floor."""
    found = [0.0]
    for one, two in pairwise(days):
        found.append(max(found[-1] + (f + 1) * one - f * two for f in range(floors)))
    return found


@pytest.mark.parametrize("row", FLOORS, ids=lambda row: row["days"])
def test_identical_floors_in_flow_are_what_the_schedule_gives(kit, row):
    days, floors = [float(d) for d in row["days"].split()], int(row["floors"])
    expected = pytest.approx(float(row["flow"]), rel=0, abs=float(row["half_step"]))
    assert chain(kit, days, [1] * len(days), floors, 0.0, 0.0).finish.max() == expected, row["source"]


@pytest.mark.parametrize("row", FLOORS, ids=lambda row: row["days"])
def test_identical_floors_without_waiting_are_the_closed_form_and_the_schedule_of_trades_held_back(kit, row):
    days, floors = [float(d) for d in row["days"].split()], int(row["floors"])
    expected = pytest.approx(float(row["continuous"]), rel=0, abs=float(row["half_step"]))
    assert continuous(days, floors) == expected, row["source"]
    held = held_starts(days, floors)
    assert held[-1] + floors * days[-1] == expected
    done = chain(kit, days, [1] * len(days), floors, 0.0, 0.0, held)
    assert done.finish.max() == expected
    for t, d in enumerate(days):  # and indeed nobody waits
        mine = done.start[t : -1 : len(days)]
        assert np.diff(mine) == pytest.approx(np.full(floors - 1, d), abs=1e-6)


def test_two_gangs_on_the_slow_trade_balance_it(kit):
    # d = (4, 8, 4), k = (1, 2, 1), ten floors: 16 + 9 x max(d / k) = 52 (derived).
    done = chain(kit, [4.0, 8.0, 4.0], [1, 2, 1], 10, 0.0, 0.0)
    assert done.finish.max() == pytest.approx(52.0, abs=1e-9)


halves = st.integers(min_value=1, max_value=16).map(lambda k: k / 2)


@settings(max_examples=80, deadline=None)
@given(days=st.lists(halves, min_size=1, max_size=5), floors=st.integers(min_value=1, max_value=12))
def test_any_identical_floors_take_the_sum_and_the_slowest_trade_again_for_each_floor_more(kit, days, floors):
    done = chain(kit, days, [1] * len(days), floors, 0.0, 0.0)
    assert done.finish.max() == pytest.approx(sum(days) + (floors - 1) * max(days), abs=1e-6)


@settings(max_examples=80, deadline=None)
@given(
    trades=st.lists(st.tuples(halves, st.integers(min_value=1, max_value=3)), min_size=1, max_size=5),
    units=st.integers(min_value=1, max_value=12),
    buffer=st.sampled_from([0.0, 0.5, 2.0]),
)
def test_any_repeated_units_flow_as_a_recursion_says(kit, trades, units, buffer):
    days, gangs = [d for d, _k in trades], [k for _d, k in trades]
    done = chain(kit, days, gangs, units, buffer, 0.0)
    finish = done.finish[:-1].reshape(units, len(days))
    assert finish == pytest.approx(flow(days, gangs, units, buffer, 0.0), abs=1e-6)
