"""Break-even: the root search on functions with known roots, then records and cranes worked by hand."""

import json
import math
from dataclasses import replace

import pytest

from model import compare_methods
from model.core.errors import RangeError
from model.explain.breakeven import (
    FIGURES,
    READY,
    break_even,
    plain,
    ready_break_evens,
    touches,
)
from model.explain.rerun import Change, replanned, rerun
from model.explain.roots import crossings

NO_LOAN = {f"money.{name}_pct": (0.0, "") for name in ("debt_rate", "arrangement", "exit", "non_utilisation")}
PANELS = "option.outer_wall.panel_before_deck.rate"
FACADE_M2 = 480.0  # scenarios/two_storey.toml: 75 m x 3.2 m x 2 storeys
CONTINGENCY = 1.05


@pytest.fixture
def comparison(compared):
    return compared("two_storey")


@pytest.fixture(scope="module")
def without_loan(compared):
    scenario = compared("two_storey").scenario
    return compare_methods(scenario.with_changes(overrides={**dict(scenario.overrides), **NO_LOAN}))


def difference(comparison, key, value, of="profit"):
    """What `compare` says of the scenario with one record set."""
    figures = compare_methods(comparison.scenario.with_override(key, value)).difference()
    return figures[
        {"first handover": "weeks_to_first_handover", "last handover": "weeks_to_last_handover"}.get(of, of)
    ]


# The search, on functions whose roots are known


def test_sine_crosses_at_every_multiple_of_pi():
    found = crossings(math.sin, 0.5, 10.0, points=9)
    assert [crossing.value for crossing in found] == pytest.approx(
        [math.pi, 2 * math.pi, 3 * math.pi], abs=1e-8
    )
    assert [(crossing.before, crossing.after) for crossing in found] == [(1, -1), (-1, 1), (1, -1)]
    assert all(crossing.holds for crossing in found)


def test_a_curve_above_zero_never_crosses():
    assert crossings(lambda x: x * x + 1.0, -1.0, 1.0) == ()
    assert crossings(lambda x: x * x + 1.0, -1.3, 1.0, points=20) == ()


@pytest.mark.parametrize("sign", [1, -1])
def test_a_curve_that_only_touches_zero_is_one_crossing_of_one_sign(sign):
    (found,) = crossings(lambda x: sign * (x - 0.3) ** 2, -1.0, 2.0)
    assert found.value == pytest.approx(0.3, abs=1e-4)  # a square hides its root below the root of rounding
    assert (found.before, found.after) == (sign, sign)


def test_two_roots_between_neighbouring_values_are_found_in_a_dip():
    found = crossings(lambda x: (x - 0.3) ** 2 - 1e-4, -1.0, 2.0, points=7, zero=1e-12)
    assert [crossing.value for crossing in found] == pytest.approx([0.29, 0.31], abs=1e-8)


def test_a_root_on_a_value_tried_is_counted_once():
    found = crossings(lambda x: x**3, -1.0, 1.0, points=5)
    assert [(crossing.low, crossing.high) for crossing in found] == [(0.0, 0.0)]


@pytest.mark.parametrize("kind", ["smooth", "steps"])
def test_a_step_is_two_values_with_the_leap_between_them(kind):
    (found,) = crossings(lambda x: -1.0 if x < math.sqrt(2) else 1.0, 0.0, 10.0, tol=1e-6, kind=kind)
    assert found.low < math.sqrt(2) <= found.high
    assert 0 < found.high - found.low <= 1e-6
    assert not found.holds


@pytest.mark.parametrize("kind", ["smooth", "steps"])
def test_a_level_stretch_on_zero_is_given_from_end_to_end(kind):
    (found,) = crossings(lambda x: max(2.0 - x, 0.0) + min(5.0 - x, 0.0), 0.0, 9.0, tol=1e-6, kind=kind)
    assert (found.low, found.high) == pytest.approx((2.0, 5.0), abs=2e-6)
    assert (found.holds, found.before, found.after) == (True, 1, -1)


def test_a_level_stretch_between_two_values_tried_is_found_on_the_way_down():
    (found,) = crossings(lambda x: float(round((4.3 - x) / 2)), 0.0, 10.0, points=2, tol=1e-6, kind="steps")
    assert (found.low, found.high) == pytest.approx((3.3, 5.3), abs=2e-6)
    assert found.holds


def test_whole_numbers_are_asked_alone():
    asked = []
    (found,) = crossings(lambda x: asked.append(x) or x - 17.5, 0.0, 40.0, points=5, kind="whole")
    assert (found.low, found.high, found.holds) == (17.0, 18.0, False)
    assert all(float(x).is_integer() for x in asked)
    assert len(asked) == len(set(asked)) < 15


def test_zero_everywhere_is_one_stretch():
    assert [(c.low, c.high) for c in crossings(lambda _x: 0.0, 1.0, 3.0)] == [(1.0, 3.0)]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((math.sin, 2.0, 1.0), r"between two finite values in order; got 2 and 1. Give the lower one first"),
        ((math.sin, 0.0, math.inf), r"two finite values in order; got 0 and inf"),
        ((math.sin, 0.0, 1.0, 1), r"2 points or more and a tolerance above 0; got 1 and 1e-09"),
        ((math.sin, 0.0, 1.0, 5, 0.0), r"2 points or more and a tolerance above 0; got 5 and 0"),
        ((lambda _x: math.nan, 0.0, 1.0), r"The function gives nan at 0, which is no figure to search in"),
    ],
)
def test_a_search_that_cannot_be_is_refused(arguments, said):
    with pytest.raises(RangeError, match=said):
        crossings(*arguments)


# Prices


def test_the_premium_is_the_difference_over_the_area_where_nothing_is_financed(without_loan):
    """A pound a m2 more on 480 m2 with 5 % contingency is 504 pounds of profit less, whenever it is paid."""
    profit = without_loan.second.account.profit - without_loan.first.account.profit
    answer = break_even(without_loan, PANELS)
    by_hand = 520.0 + profit / (FACADE_M2 * CONTINGENCY)
    assert answer.roots == pytest.approx((by_hand,), abs=1e-4)
    assert answer.difference_now == pytest.approx(profit)
    assert answer.found
    assert answer.beyond  # below 380, the low end of the library
    ready = next(one for one in ready_break_evens(without_loan) if one.key == PANELS)
    assert ready.relative_roots == pytest.approx((by_hand - 360.0,), abs=1e-4)  # 360 framed in place
    assert (ready.relative_to, ready.relative_label) == (360.0, "framed in place")


def test_a_target_is_a_pound_for_a_pound(without_loan):
    even, ahead = (break_even(without_loan, PANELS, target=x).roots[0] for x in (0.0, 10_080.0))
    assert even - ahead == pytest.approx(10_080.0 / (FACADE_M2 * CONTINGENCY), abs=1e-4)  # 20 pounds


@pytest.mark.parametrize("of", ["profit", "npv"])
@pytest.mark.parametrize("key", [PANELS, "option.deck.panel_decking.rate"])
def test_the_scenario_with_the_root_set_comes_out_even(comparison, of, key):
    answer = break_even(comparison, key, of=of)
    (root,) = answer.roots
    assert abs(difference(comparison, key, root, of)) < 1.0
    assert answer.difference_now == pytest.approx(comparison.difference()[of])


def test_a_record_both_share_is_moved_for_both(comparison):
    profit = comparison.second.account.profit - comparison.first.account.profit
    answer = break_even(comparison, "money.contingency_pct", target=profit + 500.0)
    assert answer.moved == ("open_frame", "panelised")
    assert difference(comparison, answer.key, answer.roots[0]) == pytest.approx(profit + 500.0, abs=1.0)


def test_a_method_with_its_own_value_is_moved_alone(comparison):
    scenario = comparison.scenario
    first, second = scenario.methods
    own = replace(second, overrides=(("money.price", (7000.0, "")),))
    changed = compare_methods(scenario.with_changes(methods=(first, own)))
    answer = break_even(changed, "money.price")
    assert answer.moved == ("panelised",)
    assert answer.value_now == 7000.0
    (root,) = answer.roots
    case = rerun(changed.second, Change(settings={answer.key: root}), changed.second.account.grid)
    assert case.account.profit == pytest.approx(changed.first.account.profit, abs=1.0)


def test_a_methods_own_figure(comparison):
    answer = break_even(comparison, "money.price", method="open_frame")
    (root,) = answer.roots
    assert rerun(comparison.first, Change(settings={"money.price": root})).account.profit == pytest.approx(
        0.0, abs=1.0
    )
    assert answer.words.startswith("Sale price: the profit of open_frame is 0 GBP at ")
    last = break_even(comparison, "factory.lead", of="last handover", method="panelised")
    assert last.difference_now == comparison.second.weeks_to_last_handover


# What cannot be


def test_what_no_price_brings_even_says_what_was_found_at_both_ends(comparison):
    answer = break_even(comparison, "money.debt_rate_pct", allowed=(6.0, 18.0))
    assert (answer.found, answer.roots, answer.answer) == (False, (), "")
    assert (answer.low[0], answer.high[0]) == (6.0, 18.0)
    for value, figure in (answer.low, answer.high):
        assert difference(comparison, answer.key, value) == pytest.approx(figure)
    low, high = (f"{round(-figure):,}" for _value, figure in (answer.low, answer.high))
    assert answer.reason == (
        f"The difference of profit cannot be brought to 0 GBP in the range tried: −{low} GBP at 6 % a year, "
        f"−{high} GBP at 18 % a year."
    )


def test_values_without_a_meaning_are_named_and_not_searched_across(comparison):
    answer = break_even(comparison, "money.reservations_per_month")
    assert not answer.found
    assert answer.beyond
    assert [value for value, _said in answer.refused] == [0.0]
    assert "in the range known for it, nor beyond it" in answer.reason
    assert answer.reason.endswith(
        "At 0 no./month it cannot be worked out: Reservations per month must be above 0; got 0."
    )


def test_a_record_that_moves_nothing_says_so(comparison):
    answer = break_even(comparison, "option.bathrooms.pods.rate")
    assert not answer.found
    assert answer.moved == ()
    assert "does not move with it: " in answer.reason
    flat = break_even(comparison, "money.debt_rate_pct", of="npv", target=comparison.difference()["npv"])
    assert not flat.found  # the target is met, but not by the record
    assert flat.roots == ()


@pytest.mark.parametrize(
    ("key", "named", "said"),
    [
        ("money.pric", {}, r"no record 'money.pric'. The nearest known one is 'money.price'"),
        (
            "money.price",
            {"of": "weeks"},
            r"'weeks' is not known. Give one of profit, npv, first handover, last",
        ),
        (
            "money.price",
            {"target": math.nan},
            r"must be a finite number of GBP; got nan. Give 0 to come out even",
        ),
        ("money.price", {"method": "x"}, r"No method 'x' is compared. There are: open_frame, panelised"),
        (
            "money.price",
            {"allowed": (9.0, 3.0)},
            r"from 9 to 3; 0 to 1e\+06 has a meaning. .*lower one first",
        ),
        ("site.rework", {"allowed": (0.0, 2.0)}, r"looked for from 0 to 2; 0 to 1 has a meaning"),
        ("money.price", {"allowed": (0.0, math.nan)}, r"looked for from 0 to nan"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_its_reason(comparison, key, named, said):
    with pytest.raises(RangeError, match=said):
        break_even(comparison, key, **named)


def test_a_record_that_can_be_worked_out_nowhere_says_why(comparison):
    with pytest.raises(
        RangeError,
        match=r"sets cannot be worked out at any value from 0 to 1: methods 'open_frame'.*0 deck sets",
    ):
        break_even(comparison, "option.deck.loose_props.sets", of="last handover", allowed=(0.0, 1.0))


# Dates


@pytest.mark.parametrize("of", ["first handover", "last handover"])
def test_the_bracket_of_a_date_has_the_target_between_its_ends(comparison, of):
    answer = break_even(comparison, "factory.lead", of=of)
    (found,) = answer.crossings
    assert not found.holds
    below, above = (difference(comparison, "factory.lead", x, of) for x in (found.low, found.high))
    assert below > 0 > above  # the panels are sooner with the shorter lead, later with the longer
    assert found.high - found.low <= 0.001 * (30.0 - 12.0) + 1e-12
    assert found.low < answer.roots[0] < found.high


def test_late_panels_are_counted_from_what_is_planned(comparison):
    """scenarios/two_storey.toml: first panel at 84, after 12 weeks; the slab it stands on is there at 110."""
    answer = ready_break_evens(comparison, "last handover")[0]
    assert (answer.key, answer.topic, answer.relative_to) == ("factory.lead", "factory", 12.0)
    assert answer.relative_roots[0] == pytest.approx(answer.roots[0] - 12.0)
    assert answer.low[0] == 12.0
    assert answer.words.endswith("more than planned; 1 week sooner at 12 weeks now.")


def test_weeks_by_which_the_second_is_to_be_sooner(comparison):
    now = comparison.difference()["weeks_to_last_handover"]
    answer = break_even(comparison, "factory.lead", of="last handover", target=-3.0)
    assert answer.difference_now == pytest.approx(now)
    assert answer.roots[0] > break_even(comparison, "factory.lead", of="last handover").roots[0]
    assert "passes 3 weeks later between" in answer.words


# The ready questions


def test_the_ready_questions_of_money_and_of_dates(compared):
    pitch = compared("pitch")
    told = []
    answers = ready_break_evens(pitch, "profit", lambda done, of: told.append((done, of)))
    assert [answer.topic for answer in answers] == [
        "premium", "premium", "factory", "reservations", "interest", "formwork", "cranes", "cranes", "cranes",
    ]  # fmt: skip
    assert set(READY) == {answer.topic for answer in answers}
    assert told == [(n, 9) for n in range(1, 10)]
    dates = ready_break_evens(pitch, "last handover")
    assert [answer.topic for answer in dates] == ["factory", "formwork", "cranes", "cranes", "cranes"]
    assert dates[1].key == "activity.deck_panels.hours"


def test_methods_without_panels_are_not_asked_about_panels(compared):
    scenario = compared("two_storey").scenario
    first = scenario.methods[0]
    twice = scenario.with_changes(methods=(first, replace(first, id="again", label="Again")))
    answers = ready_break_evens(compare_methods(twice))
    assert [answer.topic for answer in answers] == ["reservations", "interest", "formwork", "cranes"]
    assert not any(answer.found for answer in answers)  # the same method twice is even everywhere
    assert all("does not move with it: 0 GBP" in answer.reason for answer in answers)


def test_cranes_are_tried_one_by_one_for_both_methods(compared):
    pitch = compared("pitch")
    answer = next(one for one in ready_break_evens(pitch, "first handover") if one.key == "cranes.Heron")
    assert [number for number, _figure in answer.tried] == [1.0, 2.0, 3.0, 4.0]
    for number, figure in answer.tried:
        change = Change(crane_numbers={"Heron": int(number)})
        first, second = (replanned(case.plan, change).first_handover for case in pitch.cases)
        assert figure == pytest.approx((first - second) / 7.0)
    signs = [figure > 0 for _number, figure in answer.tried]
    assert answer.roots == tuple(float(n + 2) for n in range(3) if signs[n] != signs[n + 1])


# How it is told


def test_every_answer_can_be_written_as_json_and_said_with_its_unit(comparison):
    for of, unit in FIGURES.items():
        for answer in ready_break_evens(comparison, of):
            figures = json.loads(json.dumps(answer.as_json(), allow_nan=False))
            assert figures["found"] == bool(figures["roots"]) == (figures["reason"] == "")
            assert f" {unit.removesuffix('s')}" in answer.words
            assert answer.words.startswith(f"{answer.label}: the ")
            assert figures["evaluations"] >= len(figures["tried"]) - 1


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0, "0"),
        (1234567.0, "1,234,567"),
        (0.000123456, "0.0001235"),
        (-9.5, "−9.5"),
        (99.995, "100"),
        (1e-15, "0"),
    ],
)
def test_a_number_is_written_plainly(value, said):
    assert plain(value) == said


def test_a_plan_does_not_depend_on_what_it_lacks(compared):
    """All records of options, work and a factory that a method lacks at another value: the same again."""
    for case in compared("two_storey").cases:
        records = case.plan.values.library.records
        lacking = [key for key in records if not touches(case.plan, key)]
        settings = {key: records[key].high for key in lacking}
        assert sum(case.plan.values[key] != value for key, value in settings.items()) > 20
        again = rerun(case, Change(settings=settings), case.account.grid)
        assert again.plan.finish.tolist() == case.plan.finish.tolist()
        assert again.account.profit == case.account.profit
        assert again.account.npv == case.account.npv
