"""Hook travel and lift cycles against hand-worked cases."""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.physics.lifting import Point, Speeds, cycle_minutes, hook_travel

LITERATURE = {"hoist": 60.0, "trolley": 53.3, "slew": 7.57 / (2 * math.pi)}
"""Tam, Tong & Chan 2001, recalled: 60 m/min, 53.3 m/min, 7.57 rad/min."""

SETS = {  # speeds, beta, handling of a general lift and of a finished panel
    "fast": (Speeds(80, 100, 80, 0.8), 0.25, {"general": 2.5, "panel": 9.0}),
    "usual": (Speeds(50, 70, 50, 0.6), 0.5, {"general": 4.0, "panel": 15.0}),
    "slow": (Speeds(30, 45, 35, 0.5), 1.0, {"general": 7.0, "panel": 25.0}),
}


def published(name: str) -> list[dict[str, str]]:
    path = Path(__file__).parents[1] / "published" / f"{name}.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def place(text: str) -> Point:
    return Point(*(float(part) for part in text.split()))


coordinates = st.floats(min_value=-60, max_value=60)
points = st.builds(Point, coordinates, coordinates, st.floats(min_value=0, max_value=150))
shares = st.floats(min_value=0, max_value=1)


@pytest.mark.parametrize("row", published("lifting_travel"))
def test_travel_agrees(row):
    move = hook_travel(
        place(row["start"]),
        place(row["end"]),
        alpha=float(row["alpha"] or 0),
        beta=float(row["beta"] or 0),
        **LITERATURE,
    )
    expected, step = float(row["expected"]), float(row["half_step"])
    assert getattr(move, row["what"]) == pytest.approx(expected, rel=0, abs=step), row["source"]


@pytest.mark.parametrize("row", published("lifting_cycle"))
def test_cycle_agrees(row):
    speeds, beta, handling = SETS[row["speeds"]]
    got = cycle_minutes(
        Point(25, 0, 1.5),
        Point(0, 30, 3.15 * (int(row["level"]) - 1)),
        speeds,
        handling[row["load"]],
        alpha=0.25,
        beta=beta,
    )
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


def test_hook_at_the_mast_does_not_slew():
    move = hook_travel(Point(0, 0, 0), Point(0, 30, 0), alpha=0, beta=0, **LITERATURE)
    assert move.angle_rad == 0
    assert move.total_min == pytest.approx(30 / 53.3)


def test_place_is_measured_from_the_mast():
    here = hook_travel(Point(30, 0, 2), Point(0, 40, 14), alpha=0.25, beta=1, **LITERATURE)
    there = hook_travel(
        Point(130, 50, 2), Point(100, 90, 14), alpha=0.25, beta=1, mast=(100, 50), **LITERATURE
    )
    assert there.total_min == pytest.approx(here.total_min, abs=1e-9)


def test_allowance_is_on_the_travel_only():
    # Hand calculation: 40 m up and down at 80 and 40 m/min is 0.5 + 1.0 min; 10 % on that, and 4 min
    speeds = Speeds(80, 40, 50, 0.6)
    got = cycle_minutes(Point(20, 0, 0), Point(20, 0, 40), speeds, 4.0, alpha=0.25, beta=1, allowance=0.10)
    assert got == pytest.approx(1.5 * 1.1 + 4.0, abs=1e-9)


@given(start=points, end=points, alpha=shares, beta=shares)
@settings(max_examples=60, deadline=None)
def test_travel_lies_between_together_and_one_after_the_other(start, end, alpha, beta):
    move = hook_travel(start, end, alpha=alpha, beta=beta, **LITERATURE)
    parts = (move.trolley_min, move.slew_min, move.hoist_min)
    assert max(parts) - 1e-9 <= move.total_min <= sum(parts) + 1e-9
    assert 0 <= move.angle_rad <= math.pi + 1e-12


@given(start=points, end=points, alpha=shares, beta=shares)
@settings(max_examples=60, deadline=None)
def test_way_back_is_as_long_as_the_way_there(start, end, alpha, beta):
    there = hook_travel(start, end, alpha=alpha, beta=beta, **LITERATURE)
    back = hook_travel(end, start, alpha=alpha, beta=beta, **LITERATURE)
    assert back.total_min == pytest.approx(there.total_min, abs=1e-9)


@given(start=points, end=points, lower=shares, higher=shares, other=shares)
@settings(max_examples=60, deadline=None)
def test_less_overlap_never_shortens_the_travel(start, end, lower, higher, other):
    lower, higher = sorted((lower, higher))
    for name, fixed in (("alpha", "beta"), ("beta", "alpha")):
        short, long = (
            hook_travel(start, end, **{name: value, fixed: other}, **LITERATURE).total_min
            for value in (lower, higher)
        )
        assert long >= short - 1e-12


def test_speed_of_nothing_is_refused():
    with pytest.raises(
        RangeError, match=r"crane speed trolley must be above 0; got 0\. Take it from the crane's data"
    ):
        Speeds(50, 70, 0, 0.6)


@pytest.mark.parametrize("name", ["alpha", "beta"])
@pytest.mark.parametrize("value", [-0.1, 1.1, float("nan")])
def test_overlap_outside_nought_to_one_is_refused(name, value):
    other = "beta" if name == "alpha" else "alpha"
    with pytest.raises(RangeError, match=rf"{name} must be 0 .* to 1 .*; got .*Take 0\.25"):
        hook_travel(Point(1, 0, 0), Point(2, 0, 0), **{name: value, other: 0.5}, **LITERATURE)


@pytest.mark.parametrize(
    ("handling", "allowance", "name"), [(-1.0, 0.0, "handling time"), (4.0, -0.1, "allowance on travel")]
)
def test_negative_handling_is_refused(handling, allowance, name):
    with pytest.raises(RangeError, match=rf"The {name} of a lift must be 0 or more; got -"):
        cycle_minutes(
            Point(1, 0, 0),
            Point(2, 0, 0),
            SETS["usual"][0],
            handling,
            alpha=0.25,
            beta=1,
            allowance=allowance,
        )
