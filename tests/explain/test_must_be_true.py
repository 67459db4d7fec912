"""What must be true: closed forms without interest; else the values found, compared as scenarios."""

import math

import pytest

from model import compare_methods
from model.core.errors import RangeError
from model.explain.must_be_true import what_must_be_true
from model.explain.sensitivity import one_at_a_time

NO_LOAN = {f"money.{name}_pct": (0.0, "") for name in ("debt_rate", "arrangement", "exit", "non_utilisation")}
PANELS, FRAMED = "option.outer_wall.panel_before_deck.rate", "option.outer_wall.framed.rate"
POUND_A_M2 = 480.0 * 1.05
"""What a pound a m2 of outer wall comes to: 75 m x 3.2 m x 2 storeys, 5 % contingency. [GBP]"""

DATES = [
    "factory.lead",
    "wait.drying",
    "activity.wall_frame.most",
    "activity.separating_built.hours",
    "activity.separating_built.most",
    "activity.panel_joints.hours",
]


@pytest.fixture
def comparison(compared):
    return compared("two_storey")


@pytest.fixture(scope="module")
def without_loan(compared):
    scenario = compared("two_storey").scenario
    return compare_methods(scenario.with_changes(overrides={**dict(scenario.overrides), **NO_LOAN}))


@pytest.fixture(scope="module")
def walls(without_loan):
    return one_at_a_time(without_loan, [PANELS, FRAMED, "money.land"])


@pytest.fixture(scope="module")
def dates(compared):
    return one_at_a_time(compared("two_storey"), DATES)


def difference(comparison, way):
    scenario = comparison.scenario
    for key, value in zip(way.keys, way.values, strict=True):
        scenario = scenario.with_override(key, value)
    return compare_methods(scenario).difference()


def test_a_price_that_reaches_the_target_alone_is_the_target_over_the_area(without_loan, walls):
    """20,160 pounds are 40 a m2: panels at 480, or framed in place at 400."""
    now = without_loan.difference()["profit"]
    found = what_must_be_true(without_loan, {"of": "profit", "more": now + 20_160.0}, swings=walls)
    values = {way.keys[0]: way.values[0] for way in found.singles}
    assert values == pytest.approx({PANELS: 480.0, FRAMED: 400.0}, abs=1e-4)
    assert {way.keys[0]: way.distance for way in found.singles} == pytest.approx(
        {PANELS: 40 / 300, FRAMED: 40 / 170}, abs=1e-6
    )
    assert [way.keys[0] for way in found.singles] == [PANELS, FRAMED]  # the nearer first
    assert found.pairs == ()  # land moves both alike
    assert found.closest is None
    assert found.words.startswith(f"The profit of panelised against open_frame {-now - 20_160:,.0f} GBP less")
    assert "2 of 3 inputs can bring it there alone within their range" in found.words
    assert "The nearest is Finished panels, set before the deck over: price at 480 GBP/m2." in found.words


def test_what_makes_the_second_method_lose_is_asked_by_a_lower_target(without_loan, walls):
    now = without_loan.difference()["profit"]
    found = what_must_be_true(without_loan, {"of": "profit", "more": now - 25_200.0}, swings=walls)
    values = {way.keys[0]: way.values[0] for way in found.singles}
    assert values == pytest.approx({PANELS: 570.0, FRAMED: 310.0}, abs=1e-4)


def test_of_two_prices_the_nearest_point_is_at_the_foot_of_the_line(without_loan, walls):
    """90,000 pounds: more than either brings alone (70,560 and 45,360).

    In units of range the gains are 151,200 and 85,680, so the foot is at 90,000 / (151,200^2 + 85,680^2) of
    them each, within both ranges.
    """
    gains = {PANELS: 300 * POUND_A_M2, FRAMED: 170 * POUND_A_M2}
    now = without_loan.difference()["profit"]
    found = what_must_be_true(without_loan, {"of": "profit", "more": now + 90_000.0}, swings=walls)
    assert found.singles == ()
    (pair,) = found.pairs
    size = math.hypot(*gains.values())
    share = {key: 90_000.0 * gain / size**2 for key, gain in gains.items()}
    assert dict(zip(pair.keys, pair.values, strict=True)) == pytest.approx(
        {PANELS: 520.0 - 300 * share[PANELS], FRAMED: 360.0 + 170 * share[FRAMED]}, abs=1e-3
    )
    assert pair.distance == pytest.approx(90_000.0 / size, abs=1e-6)
    assert pair.figure == pytest.approx(now + 90_000.0, abs=0.02)
    assert "no single input brings it there within its range, but two together do" in found.words


def test_where_one_end_is_met_first_the_other_goes_further(without_loan, walls):
    """110,000 pounds: panels at their lowest bring 70,560, framing the rest of 39,440 at 438.25."""
    now = without_loan.difference()["profit"]
    found = what_must_be_true(without_loan, {"of": "profit", "more": now + 110_000.0}, swings=walls)
    (pair,) = found.pairs
    assert dict(zip(pair.keys, pair.values, strict=True)) == pytest.approx(
        {PANELS: 380.0, FRAMED: 360.0 + 39_440.0 / POUND_A_M2}, abs=1e-3
    )


def test_where_nothing_reaches_it_the_closest_is_named(without_loan, walls):
    now = without_loan.difference()["profit"]
    found = what_must_be_true(without_loan, {"of": "profit", "more": 1e6}, swings=walls)
    assert (found.singles, found.also, found.pairs) == ((), (), ())
    assert dict(zip(found.closest.keys, found.closest.values, strict=True)) == {PANELS: 380.0, FRAMED: 450.0}
    assert found.closest.figure == pytest.approx(now + 230 * POUND_A_M2, abs=0.02)
    assert difference(without_loan, found.closest)["profit"] == pytest.approx(found.closest.figure, abs=0.01)
    assert "nor do two of those that move it most. The closest that can be had is" in found.words
    assert f"{now + 230 * POUND_A_M2:,.0f} GBP more" in found.words
    assert found.as_json()["closest"]["values"] == list(found.closest.values)


@pytest.mark.parametrize("percent", [4.0, 5.0])
def test_per_cent_sooner_is_of_the_first_methods_own_weeks(comparison, dates, percent):
    """The open frame's weeks move too, so the answer is checked by comparing the scenario it makes."""
    found = what_must_be_true(comparison, {"of": "first handover", "percent": percent}, swings=dates)
    assert found.now == pytest.approx(comparison.difference()["programme_saving_pct"])
    assert found.singles
    for way in found.singles:
        saved = difference(comparison, way)["programme_saving_pct"]
        assert saved == pytest.approx(way.figure, abs=1e-9)
        assert saved >= percent - 1e-6
        (key,), (value,), (now,) = way.keys, way.values, way.now
        record = comparison.first.plan.values.library.records[key]
        assert record.low <= value <= record.high
        back = (
            value + (now - value) * 0.01 if record.unit != "people" else value + math.copysign(1, now - value)
        )
        scenario = comparison.scenario.with_override(key, back)
        assert compare_methods(scenario).difference()["programme_saving_pct"] < percent  # none nearer does


def test_pairs_of_dates_hold_when_compared(comparison, dates):
    most = max(point.outcome.weeks_to_first_handover for row in dates.rows for point in row.points)
    target = {"of": "first handover", "weeks": most + 0.2}
    found = what_must_be_true(comparison, target, swings=dates)
    assert found.singles == ()
    assert found.pairs
    assert [way.distance for way in found.pairs] == sorted(way.distance for way in found.pairs)
    for way in found.pairs:
        weeks = difference(comparison, way)["weeks_to_first_handover"]
        assert weeks == pytest.approx(way.figure, abs=1e-9)
        assert weeks >= most + 0.2 - 1e-6


def test_what_is_so_already_is_said(comparison, dates):
    weeks = comparison.difference()["weeks_to_first_handover"]
    found = what_must_be_true(comparison, {"of": "first handover", "weeks": weeks}, swings=dates)
    assert found.met
    assert (found.singles, found.pairs, found.closest) == ((), (), None)
    assert found.words == (
        "The first handover of panelised against open_frame 1 week sooner: it is 1 week sooner as it stands."
    )


def test_a_choice_can_be_the_answer(compared):
    pitch = compared("pitch")
    swings = one_at_a_time(pitch, ["choice.zones"])
    row = swings.row("choice.zones")
    weeks = row.low.outcome.weeks_to_last_handover
    assert weeks < pitch.difference()["weeks_to_last_handover"]
    found = what_must_be_true(pitch, {"of": "last handover", "weeks": weeks + 0.5}, swings=swings)
    (way,) = found.singles
    assert (way.keys, way.values) == (("choice.zones",), (-1.0,))
    assert "(one fewer)" in found.words


def test_progress_is_told_part_by_part_and_swings_are_found_without_being_given(comparison, monkeypatch):
    told = []
    monkeypatch.setattr(
        "model.explain.must_be_true.one_at_a_time",
        lambda compared, progress, map: one_at_a_time(compared, DATES, progress, map=map),
    )
    what_must_be_true(
        comparison, {"of": "first handover", "percent": 4}, lambda done, of: told.append((done, of))
    )
    assert told[0] == (1, told[0][1])
    assert all(1 <= done <= of for done, of in told)
    ends = [done == of for done, of in told]
    assert sum(ends) >= 2
    assert ends[-1]


@pytest.mark.parametrize(
    ("target", "said"),
    [
        (
            {"of": "cost", "more": 1.0},
            r"must name a figure and how much of it; got \{'of': 'cost', 'more': 1.0",
        ),
        ({"of": "profit", "percent": 20}, r"Give one like \{'of': 'first handover', 'percent': 20\}"),
        ({"of": "first handover", "more": 1e6}, r"must name a figure and how much of it"),
        ({"of": "first handover", "weeks": 1, "percent": 2}, r"must name a figure and how much of it"),
        ({"percent": 20}, r"must name a figure and how much of it"),
        ({"of": "profit", "more": math.inf}, r"must be a finite number of GBP; got inf. Give 0 to come out"),
        ({"of": "last handover", "weeks": "four"}, r"must be a finite number of weeks; got 'four'"),
    ],
)
def test_a_target_that_is_none_is_refused(comparison, target, said):
    with pytest.raises(RangeError, match=said):
        what_must_be_true(comparison, target)
