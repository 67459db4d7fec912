"""Two inputs: the level line on functions with a known zero set, then prices in closed form, dates anew."""

import math
from itertools import pairwise

import numpy as np
import pytest

from model import compare_methods
from model.core.errors import RangeError
from model.explain import reach
from model.explain.two_way import level_lines, two_way

NO_LOAN = {f"money.{name}_pct": (0.0, "") for name in ("debt_rate", "arrangement", "exit", "non_utilisation")}
PANELS, FRAMED = "option.outer_wall.panel_before_deck.rate", "option.outer_wall.framed.rate"
POUND_A_M2 = 480.0 * 1.05
"""What a pound a m2 of outer wall comes to: 75 m x 3.2 m x 2 storeys, 5 % contingency. [GBP]"""


@pytest.fixture
def comparison(compared):
    return compared("two_storey")


@pytest.fixture(scope="module")
def without_loan(compared):
    scenario = compared("two_storey").scenario
    return compare_methods(scenario.with_changes(overrides={**dict(scenario.overrides), **NO_LOAN}))


def grid_of(function, x, y):
    return [[function(a, b) for a in x] for b in y]


# The line, on functions with a known zero set


def test_a_circle_is_one_closed_line_at_its_radius():
    """The chord of an arc of angle h / r stands off it by h^2 / 8 r at most, and so does the field's."""
    x = y = np.linspace(-2.0, 2.0, 41)
    (line,) = level_lines(x, y, grid_of(lambda a, b: a * a + b * b - 1.0, x, y))
    assert line[0] == line[-1]
    assert len(line) > 60
    for a, b in line:
        assert math.hypot(a, b) == pytest.approx(1.0, abs=0.1**2 / 2)
    around = sum(math.hypot(c - a, d - b) for (a, b), (c, d) in pairwise(line))
    assert around == pytest.approx(2 * math.pi, rel=2e-3)


def test_a_plane_is_crossed_on_its_own_straight_line():
    x, y = [0.0, 1.0, 3.0, 4.0], [-1.0, 0.5, 2.0]
    (line,) = level_lines(x, y, grid_of(lambda a, b: 2 * a - 3 * b - 1.7, x, y))
    assert all(2 * a - 3 * b == pytest.approx(1.7, abs=1e-12) for a, b in line)
    ends = sorted((line[0], line[-1]))
    assert ends[0] == pytest.approx((0.0, -1.7 / 3))
    assert ends[1] == pytest.approx((7.7 / 2, 2.0))


def test_another_level_is_another_line():
    x = y = [0.0, 2.0]
    (line,) = level_lines(x, y, grid_of(lambda a, _b: a, x, y), 0.5)
    assert sorted(line) == [(0.5, 0.0), (0.5, 2.0)]


def test_two_hills_have_two_lines_and_a_level_field_none():
    x = y = np.linspace(-3.0, 3.0, 25)

    def hills(a, b):
        return math.exp(-((a - 1.5) ** 2) - b * b) + math.exp(-((a + 1.5) ** 2) - b * b) - 0.5

    lines = level_lines(x, y, grid_of(hills, x, y))
    assert len(lines) == 2
    assert all(line[0] == line[-1] for line in lines)
    assert level_lines(x, y, grid_of(lambda _a, _b: 1.0, x, y)) == ()


@pytest.mark.parametrize(("middle", "joined"), [(1.0, "low"), (-1.0, "high")])
def test_in_a_saddle_the_middle_says_which_edges_belong_together(middle, joined):
    """Corners + - / - +: with a high middle the low corners are cut off, with a low one the high corners."""
    high, low = (3.0, -1.0) if middle > 0 else (1.0, -3.0)
    lines = level_lines([0.0, 1.0], [0.0, 1.0], [[high, low], [low, high]])
    assert len(lines) == 2
    cut = [(1.0, 0.0), (0.0, 1.0)] if joined == "low" else [(0.0, 0.0), (1.0, 1.0)]
    for corner in cut:
        assert any(
            all(
                math.dist(point, corner) < 0.75 + 1e-12 and 0.0 in np.subtract(point, corner)
                for point in line
            )
            for line in lines
        )


def test_a_line_through_corners_of_the_grid_has_no_point_twice():
    x = y = [-1.0, 0.0, 1.0]
    (line,) = level_lines(x, y, grid_of(lambda a, b: a - b, x, y))
    assert len(set(line)) == len(line)
    assert all(a == pytest.approx(b) for a, b in line)


def test_no_line_is_drawn_beside_what_is_not_known():
    x, y = [0.0, 1.0, 2.0, 3.0], [0.0, 1.0, 2.0, 3.0]
    figures = np.array(grid_of(lambda _a, b: b - 1.5, x, y))
    figures[1, 2] = math.nan
    lines = level_lines(x, y, figures)
    assert lines == (((0.0, 1.5), (1.0, 1.5)),)


def test_a_grid_of_another_shape_is_refused():
    with pytest.raises(RangeError, match=r"A grid of 2 by 3 figures is needed .* got 3 by 2. Give one row"):
        level_lines([0.0, 1.0, 2.0], [0.0, 1.0], np.zeros((3, 2)))


# Prices, in closed form where nothing is financed


def test_two_prices_of_the_outer_wall_come_out_even_on_a_straight_line(without_loan):
    """The difference of profit falls by 504 a pound of panel and rises by as much a pound framed in place."""
    now = without_loan.second.account.profit - without_loan.first.account.profit
    found = two_way(without_loan, PANELS, FRAMED, (5, 4))
    assert found.now == pytest.approx(now)
    for y, row in zip(found.y.values, found.figures, strict=True):
        for x, figure in zip(found.x.values, row, strict=True):
            assert figure == pytest.approx(now + POUND_A_M2 * ((y - 360.0) - (x - 520.0)), abs=0.01)
    (line,) = found.zero
    for x, y in line:
        assert x - y == pytest.approx(160.0 + now / POUND_A_M2, abs=1e-4)
    assert found.words.startswith("panelised has the higher profit at ")


def test_prices_alone_are_priced_and_nothing_is_planned(without_loan, monkeypatch):
    def never(*_arguments, **_named):
        raise AssertionError("planned again")

    comparison = without_loan
    found = two_way(comparison, PANELS, "money.debt_rate_pct", (2, 2))
    for name in ("replanned", "run_plan"):
        monkeypatch.setattr(reach, name, never)
    assert two_way(comparison, PANELS, "money.debt_rate_pct", (2, 2)) == found
    assert found.zero == ()


@pytest.mark.parametrize("keys", [("factory.lead", "money.price"), ("money.price", "factory.lead")])
def test_dates_are_planned_once_for_each_value_under_every_price(comparison, monkeypatch, keys):
    planned = []
    once = reach.replanned
    monkeypatch.setattr(reach, "replanned", lambda *arguments: planned.append(1) or once(*arguments))
    two_way(comparison, *keys, (3, 3))
    assert len(planned) == 2  # 12 weeks is as it stands, and the open frame has no factory


@pytest.mark.parametrize("of", ["profit", "first handover", "npv"])
def test_each_point_is_that_of_comparing_the_changed_scenario(comparison, of):
    found = two_way(comparison, "factory.lead", "money.debt_rate_pct", (3, 2), of, span_x=(12.0, 28.0))
    names = {"first handover": "weeks_to_first_handover"}
    for j, i in ((0, 0), (1, 2)):
        x, y = found.x.values[i], found.y.values[j]
        scenario = comparison.scenario.with_override("factory.lead", x).with_override(
            "money.debt_rate_pct", y
        )
        difference = compare_methods(scenario).difference()
        assert found.figures[j][i] == pytest.approx(difference[names.get(of, of)], rel=1e-9, abs=1e-3)
    assert found.x.values == (12.0, 20.0, 28.0)
    if of == "first handover":
        assert found.figures[0] == found.figures[1]  # money moves no date


def test_points_that_cannot_be_worked_out_are_open_and_have_a_reason(compared):
    pitch = compared("pitch")
    told = []
    found = two_way(
        pitch,
        "money.factory_deposit_pct",
        "money.factory_stage_pct",
        (3, 2),
        span_x=(10.0, 90.0),
        progress=lambda done, of: told.append((done, of)),
    )
    assert told == [(n, 6) for n in range(1, 7)]
    assert len(found.refused) == sum(figure is None for row in found.figures for figure in row) > 0
    x, y, said = found.refused[0]
    assert x + y > 100.0
    assert said.startswith("The panel maker would be paid ")
    assert f"{len(found.refused)} point" in found.words
    frame = found.frame()
    assert frame["figure"].isna().sum() == len(found.refused)
    assert len(frame) == 6
    assert found.as_json()["refused"][0]["reason"] == said


@pytest.mark.parametrize(
    ("arguments", "named", "said"),
    [
        (("money.pric", "money.land"), {}, r"no record 'money.pric'. The nearest known one is 'money.price'"),
        (("money.land", "money.land"), {}, r"Both inputs are 'money.land'. Give two different"),
        (("money.land", "money.price", (1, 9)), {}, r"money.land would be tried at 1 values; give 2 to 101"),
        (("money.land", "money.price", (9, 9), "cost"), {}, r"The figure 'cost' is not known"),
        (
            ("money.land", "money.debt_rate_pct"),
            {"span_y": (5.0, 500.0)},
            r"money.debt_rate_pct cannot be tried from 5 to 500; -20 to 100 has a meaning",
        ),
        (
            ("money.land", "geometry.higher_risk_height"),
            {},
            r"The range of geometry.higher_risk_height has no width: it is 18 m. Give a span",
        ),
    ],
)
def test_a_grid_that_cannot_be_is_refused(comparison, arguments, named, said):
    with pytest.raises(RangeError, match=said):
        two_way(comparison, *arguments, **named)
