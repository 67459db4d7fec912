"""The credit of each element: it adds up, depends on no order, and is what every order gives on average."""

from __future__ import annotations

import datetime as dt
import shutil
from contextlib import contextmanager
from dataclasses import replace
from itertools import combinations, permutations
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import model.inputs.assumption as assumption_module
from model import load_scenario
from model.core.errors import ScenarioError, ScheduleError
from model.explain import players as players_module
from model.explain.credit import explain, shared_out
from model.explain.players import MEASURES, OTHER, Owners, Player, players_of, switched
from model.inputs.assumption import read_library
from model.inputs.method import read_catalogue
from model.inputs.reading import read_scenario
from model.money.costs import read_site_costs
from model.pipeline import build_cases
from model.site.deliveries import read_deliveries

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "model" / "inputs" / "library"
TODAY = dt.date(2026, 11, 25)
SITE = '[development]\nname = "Sample Yard"\nplace = "london"\nstart = 2027-04-05\n'
WEEKS = {"weeks_to_first_handover", "weeks_to_last_handover"}
WALLS = {"outer_wall": "panel_before_deck", "separating_wall": "panel"}


def method(name, like="open_frame", overrides=None, **options):
    """A method as a file writes it."""
    chosen = "\n".join(f'{element} = "{option}"' for element, option in options.items())
    figures = "\n".join(f'"{key}" = {value}' for key, value in (overrides or {}).items())
    return (
        f'[[methods]]\nid = "{name}"\nlike = "{like}"\n[methods.options]\n{chosen}\n'
        f"[methods.overrides]\n{figures}\n"
    )


def scenario_of(*methods, storeys=(3,), late=False):
    blocks = "".join(
        f'[[blocks]]\nname = "B{k}"\nstoreys = {s}\nflats_per_storey = 5\n' for k, s in enumerate(storeys)
    )
    site = SITE + ("late_adoption = true\n" if late else "")
    return read_scenario(site + blocks + "".join(methods), today=TODAY)


def near(value, scale):
    """To 1e-9 of the sizes that were added."""
    return pytest.approx(value, rel=1e-9, abs=1e-9 * max(scale, 1.0))


def adds_up(explanation):
    for name, measure in explanation.measures.items():
        scale = sum(abs(each.credit) for each in measure.credits)
        assert sum(each.credit for each in measure.credits) == near(measure.total, scale), name
        assert sum(each.credit for each in measure.groups) == near(measure.total, scale), name
        for each in measure.credits:
            assert each.least - 1e-6 <= each.credit <= each.most + 1e-6, (name, each)
            assert each.least <= min(each.alone_first, each.added_last), (name, each)
            assert each.most >= max(each.alone_first, each.added_last), (name, each)


# Adding up


@pytest.mark.parametrize("name", ["two_storey", "pitch", "large"])
def test_credits_add_up_to_the_difference_of_the_comparison(compared, name):
    comparison = compared(name)
    found = explain(comparison)
    difference = comparison.difference()
    assert list(found.measures) == list(MEASURES)
    for measure in found.measures.values():
        assert measure.total == near(difference[measure.name], abs(difference[measure.name])), measure.name
    adds_up(found)
    walls = found.measures["weeks_to_last_handover"].groups[0]
    assert walls.alone_first == pytest.approx(comparison.walls_only.weeks_to_last_handover, abs=1e-12)


CHOICES = {
    element: sorted(name for e, name in read_catalogue().options if e == element)
    for element in ("core", "verticals", "deck", "separating_wall", "bathrooms", "completion")
}


@st.composite
def pairs_of_methods(draw):
    """Two methods that differ in one to three elements, walls with a finish that goes with them or not."""
    elements = draw(st.lists(st.sampled_from(sorted(CHOICES)), min_size=1, max_size=2, unique=True))
    one, other = {}, {}
    for element in elements:
        one[element], other[element] = draw(st.permutations(CHOICES[element]))[:2]
    wall = draw(st.sampled_from(["framed", "panel_before_deck", "panel_through_edge"]))
    other |= {"outer_wall": wall}
    if wall != "framed" and draw(st.booleans()):
        other |= {"finish": "slips_on_panel"}
    figures = draw(
        st.dictionaries(
            st.sampled_from(["site.rework", "factory.output", "activity.slab_rebar.hours"]),
            st.floats(0.02, 0.08),
            max_size=1,
        )
    )
    if "factory.output" in figures:
        figures["factory.output"] = 60.0
    if "activity.slab_rebar.hours" in figures:
        figures["activity.slab_rebar.hours"] = 14.0
    storeys = draw(st.lists(st.integers(2, 4), min_size=1, max_size=2))
    return scenario_of(method("a", **one), method("b", overrides=figures, **other), storeys=storeys)


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(pairs_of_methods())
def test_credits_add_up_for_any_two_methods(scenario):
    found = explain(scenario)
    first, second = build_cases(scenario, scenario.methods)
    weeks = first.weeks_to_last_handover - second.weeks_to_last_handover
    assert found.measures["weeks_to_last_handover"].total == near(weeks, abs(weeks))
    profit = second.account.profit - first.account.profit
    assert found.measures["profit"].total == near(profit, abs(first.account.profit))
    adds_up(found)
    named = [element for player in found.players for element in player.elements]
    assert len(named) == len(set(named))


# No order


def average_of_every_order(figures, players):
    """Independent of the model: every order walked through, what each adds averaged."""
    orders = list(permutations(players))
    credit = dict.fromkeys(players, 0.0)
    for order in orders:
        seen = frozenset()
        for player in order:
            credit[player] += (figures[seen | {player}] - figures[seen]) / len(orders)
            seen |= {player}
    return credit


def test_a_credit_is_what_every_order_gives_on_average():
    """Worked apart: every mixture spelt as a method of a file, all compared at once."""
    changed = {"deck": "traditional_timber", "separating_wall": "panel", "finish": "render"}
    sets = [frozenset(c) for n in range(4) for c in combinations(changed, n)]
    mixtures = [
        method(f"m{k}", **{element: changed[element] for element in chosen}) for k, chosen in enumerate(sets)
    ]
    scenario = scenario_of(*mixtures, storeys=(4, 6))
    cases = dict(zip(sets, build_cases(scenario, scenario.methods), strict=True))
    found = explain(scenario, "m0", f"m{len(sets) - 1}")
    assert [player.name for player in found.players] == list(changed)
    for name, of in (
        ("profit", lambda case: case.account.profit),
        ("npv", lambda case: case.account.npv),
        ("weeks_to_last_handover", lambda case: -case.weeks_to_last_handover),
        ("weeks_to_first_handover", lambda case: -case.weeks_to_first_handover),
        ("operative_days", lambda case: case.site.operative_days),
        ("hook_hours", lambda case: case.site.hook_hours),
    ):
        figures = {chosen: of(case) for chosen, case in cases.items()}
        expected = average_of_every_order(figures, list(changed))
        got = {each.name: each.credit for each in found.measures[name].credits}
        scale = max(abs(x) for x in figures.values())
        assert got == {player: near(credit, scale) for player, credit in expected.items()}, name
        assert any(abs(x) > 1e-3 for x in got.values()), name


def test_the_order_of_elements_and_of_their_options_in_the_file_changes_nothing():
    options = {"deck": "panel_decking", **WALLS}
    turned = dict(reversed(options.items()))
    one, other = (
        explain(scenario_of(method("a"), method("b", **chosen), storeys=(3,))) for chosen in (options, turned)
    )
    assert one.worth == pytest.approx(other.worth, rel=1e-9, abs=1e-6)
    assert (one.players, one.identical) == (other.players, other.identical)
    assert [row.key for row in one.differences] == [row.key for row in other.differences]
    scenario = scenario_of(method("a"), method("b", **options), storeys=(3,))
    by_hand = replace(scenario.methods[1], options=tuple(reversed(scenario.methods[1].options)))
    again = explain(scenario, scenario.methods[0], by_hand)
    assert [player.name for player in again.players] == [player.name for player in one.players]
    for name, measure in one.measures.items():
        for each, same in zip(measure.credits, again.measures[name].credits, strict=True):
            assert same.credit == near(each.credit, 1e4), name


def test_the_same_method_twice_has_no_players_and_differs_in_nothing(compared):
    comparison = compared("two_storey")
    for found in (
        explain(comparison, "panelised", "panelised"),
        explain(comparison.scenario, "open_frame", "open_frame"),
    ):
        assert found.players == ()
        assert found.differences == ()
        assert {measure.total for measure in found.measures.values()} == {0.0}
        assert all(not measure.credits and not measure.pairs for measure in found.measures.values())
        assert all(each.credit == 0.0 for measure in found.measures.values() for each in measure.groups)
        assert len(found.identical) == len(read_library().records)


# A dummy


@contextmanager
def library_of(folder):
    """Read the library from another folder."""
    caches = (read_library, read_catalogue, read_deliveries, read_site_costs)
    own = assumption_module.resources
    try:
        assumption_module.resources = SimpleNamespace(files=lambda _package: folder)
        for cache in caches:
            cache.cache_clear()
        yield
    finally:
        assumption_module.resources = own
        for cache in caches:
            cache.cache_clear()


def test_an_option_that_differs_in_name_only_gets_nothing(tmp_path, compared):
    shutil.copytree(FOLDER, tmp_path / "library")
    path = tmp_path / "library" / "elements.toml"
    text = path.read_text(encoding="utf-8")
    begin = text.index("[option.roof.flat]")
    twin = text[begin : text.index("\n[", begin)].replace("option.roof.flat", "option.roof.twin")
    path.write_text(text.replace("\n[option.fit_out.", f"\n{twin}\n[option.fit_out.", 1), encoding="utf-8")
    with library_of(tmp_path):
        found = explain(scenario_of(method("a"), method("b", roof="twin", deck="panel_decking")))
    compared.cache_clear()  # its plans hold options of the library as it was read before
    assert [player.name for player in found.players] == ["deck", "roof"]
    for measure in found.measures.values():
        deck, roof = measure.credits
        assert (roof.credit, roof.alone_first, roof.added_last, roof.least, roof.most) == (0.0,) * 5
        assert deck.credit == measure.total
        assert [pair.interaction for pair in measure.pairs] == [0.0]
    assert found.measures["profit"].total != 0
    (row,) = (row for row in found.differences if row.key == "roof")
    assert (row.effect_weeks, row.effect_profit) == (0.0, 0.0)


# Players


def test_elements_whose_options_only_go_together_are_one_player():
    scenario = scenario_of(
        method("a", finish="slips_on_wall"),
        method("b", finish="slips_on_panel", deck="panel_decking", **WALLS),
    )
    found = explain(scenario)
    assert [player.name for player in found.players] == ["deck", "outer_wall+finish", "separating_wall"]
    joined = found.players[1]
    assert joined.label == "Outer wall with facade finish"
    assert (joined.elements, joined.wall) == (("outer_wall", "finish"), True)
    figures = found.as_json()
    assert figures["joined"] == {"outer_wall+finish": ["outer_wall", "finish"]}
    assert figures["groups"] == {"walls": ["outer_wall+finish", "separating_wall"], "rest": ["deck"]}
    assert "outer_wall+finish" in figures["measures"]["profit"]["elements"]
    adds_up(found)
    last = {each.name: each.added_last for each in found.measures["profit"].credits}
    rows = {row.key: row for row in found.differences if row.kind == "option"}
    assert set(rows) == {"deck", "outer_wall", "separating_wall", "finish"}
    for key in ("outer_wall", "finish"):
        assert rows[key].players == ("outer_wall+finish",)
        assert rows[key].effect_profit == near(-last["outer_wall+finish"], 1e6)


def test_a_finish_that_goes_with_either_wall_is_a_player_of_its_own():
    scenario = scenario_of(method("a"), method("b", finish="render", **WALLS))
    names = [player.name for player in players_of(scenario, *scenario.methods)]
    assert names == ["outer_wall", "separating_wall", "finish"]


@pytest.mark.parametrize(
    ("options", "key", "value", "comes_with"),
    [
        ({}, "option.deck.loose_props.rate", 250, ["deck"]),  # an option's own record
        ({}, "activity.brickwork.hours", 1.4, ["finish"]),  # an activity of one element alone
        ({}, "delivery.bricks.per_load", 9000, ["finish"]),  # its loads
        ({}, "trade.roofers.most_gangs", 5, ["roof"]),  # a trade that works on one element alone
        ({}, "trade.carpenters.gangs", 3, [OTHER]),  # one that works on several
        ({}, "site.rework", 0.05, [OTHER]),  # a rule of the site
        ({}, "wait.grout", 2, [OTHER]),
        ({}, "factory.output", 50, [OTHER]),  # nothing that differs is made in a factory
        (WALLS, "factory.output", 50, ["outer_wall", "separating_wall"]),
        (WALLS, "factory.freeze", 6, ["outer_wall", "separating_wall"]),
        (WALLS, "money.factory_deposit_pct", 10, ["outer_wall", "separating_wall"]),
        (WALLS, "activity.make_panels.gang", 1, ["outer_wall", "separating_wall"]),
        ({"outer_wall": "panel_before_deck"}, "factory.output", 50, ["outer_wall"]),
        ({"separating_wall": "panel"}, "factory.output", 50, ["separating_wall"]),
    ],
)
def test_what_a_method_sets_for_itself_goes_with_what_it_describes(options, key, value, comes_with):
    scenario = scenario_of(method("a"), method("b", overrides={key: value}, **options))
    parts = players_of(scenario, *scenario.methods)
    assert [part.name for part in parts if key in part.settings] == comes_with
    assert {part.name for part in parts} == {*options, *comes_with}


def test_a_record_set_to_the_value_it_has_is_no_difference():
    value = read_library()["site.rework"].value
    scenario = scenario_of(method("a"), method("b", overrides={"site.rework": value}))
    assert players_of(scenario, *scenario.methods) == ()


def test_the_factory_comes_with_whichever_panels_are_switched_first():
    scenario = scenario_of(
        method("a"), method("b", overrides={"factory.output": 50}, deck="table_forms", **WALLS)
    )
    first, second = scenario.methods
    parts = players_of(scenario, first, second)
    assert [part.name for part in parts] == ["deck", "outer_wall", "separating_wall"]
    own = {on: dict(switched(first, second, parts, on).overrides) for on in np.ndindex(2, 2, 2)}
    for (deck, outer, separating), overrides in own.items():
        assert ("factory.output" in overrides) == bool(outer or separating), (deck, outer, separating)


def test_mixtures_take_options_and_records_of_the_right_side():
    one = {"site.rework": 0.04, "activity.brickwork.hours": 1.3}
    other = {"option.deck.table_forms.sets": 3, "activity.brickwork.hours": 1.5}
    scenario = scenario_of(method("a", overrides=one), method("b", overrides=other, deck="table_forms"))
    first, second = scenario.methods
    parts = players_of(scenario, first, second)
    assert [part.name for part in parts] == ["deck", "finish", OTHER]
    assert switched(first, second, parts, [0, 0, 0]) is first
    assert switched(first, second, parts, [1, 1, 1]) is second
    mixture = switched(first, second, parts, [1, 0, 0])
    figures = {key: value for key, (value, _why) in mixture.overrides}
    assert figures == {
        "site.rework": 0.04,
        "activity.brickwork.hours": 1.3,
        "option.deck.table_forms.sets": 3,
    }
    assert (mixture.option("deck"), mixture.label) == ("table_forms", "A with deck of B")
    figures = {key: value for key, (value, _why) in switched(first, second, parts, [0, 1, 1]).overrides}
    assert figures == {"activity.brickwork.hours": 1.5}


def test_every_record_of_an_option_or_an_activity_belongs_somewhere_or_to_several():
    owners = Owners.read()
    for key in read_library().records:
        found = owners.of_record(key)
        part = key.split(".")[0]
        if part in ("option", "activity", "delivery"):
            assert found, key
        elif part in ("site", "wait", "approval", "concrete", "weather", "crane"):
            assert (found == ()) or key.startswith("approval.change"), key
    assert owners.panel_elements == ("outer_wall", "separating_wall")


# Worth shared out


def measures_of(profit, count, walls=()):
    parts = [Player(f"p{k}", f"P{k}", (f"p{k}",), (), k in walls) for k in range(count)]
    worth = np.zeros((2**count, len(MEASURES)))
    worth[:, list(MEASURES).index("profit")] = profit
    worth[:, list(MEASURES).index("hook_hours")] = profit
    return shared_out(worth, parts)


def test_the_runway_is_paid_for_as_published():
    """S. C. Littlechild and G. Owen, "A simple expression for the Shapley value in a special case",
    *Management Science* 20 (1973): each stretch is shared by those who need it. Runways of 1, 2 and 3:
    1/3; 1/3 + 1/2; 1/3 + 1/2 + 1.
    """
    cost = [max((k + 1 for k in range(3) if row >> k & 1), default=0) for row in range(8)]
    found = measures_of(cost, 3, walls=(2,))["profit"]
    assert [each.credit for each in found.credits] == pytest.approx([1 / 3, 5 / 6, 11 / 6], rel=1e-12)
    assert [(each.alone_first, each.added_last) for each in found.credits] == [(1, 0), (2, 0), (3, 1)]
    assert [(each.least, each.most) for each in found.credits] == [(0, 1), (0, 2), (1, 3)]
    walls, rest = found.groups
    assert (walls.credit, walls.alone_first, walls.added_last) == (pytest.approx(11 / 6), 3, 1)
    assert (rest.credit, rest.alone_first, rest.added_last) == (pytest.approx(7 / 6), 2, 0)
    assert {pair.names: pair.interaction for pair in found.pairs} == {
        ("p0", "p1"): -1,
        ("p0", "p2"): -1,
        ("p1", "p2"): -2,
    }


def test_gloves_pay_only_in_pairs():
    """L. S. Shapley, "A value for n-person games" (1953), for one left glove and two right ones: the left
    gets 2/3, each right 1/6. A left and a right pay only together; two rights never do.
    """
    worth = [float(row & 1 and row & 6 > 0) for row in range(8)]
    found = measures_of(worth, 3)
    assert [each.credit for each in found["profit"].credits] == pytest.approx(
        [2 / 3, 1 / 6, 1 / 6], rel=1e-12
    )
    flagged = {pair.names for pair in found["profit"].pairs if pair.only_together}
    assert flagged == {("p0", "p1"), ("p0", "p2")}
    assert not any(pair.only_together for pair in found["hook_hours"].pairs)  # more hours are not welcome


def test_a_pair_that_pays_without_the_other_is_not_flagged():
    (pair,) = measures_of([0, -2, 1, 4], 2)["profit"].pairs
    assert (pair.alone, pair.both, pair.interaction, pair.only_together) == ((-2, 1), 4, 5, False)
    (pair,) = measures_of([0, -2, 0, 4], 2)["profit"].pairs
    assert pair.only_together
    (pair,) = measures_of([0, -2, -1, 0], 2)["profit"].pairs
    assert (pair.interaction, pair.only_together) == (3, False)


# What is told on the way, and what cannot be done


def test_progress_ends_with_all_of_all():
    scenario = scenario_of(method("a"), method("b", deck="panel_decking", overrides={"site.rework": 0.05}))
    told = []
    explain(scenario, progress=lambda done, of: told.append((done, of)))
    assert told == [(k + 1, 4) for k in range(4)]  # none, deck, settings, both; set equal is among them


def test_figures_do_not_depend_on_how_many_months_of_money_are_held(monkeypatch):
    """Slower mixtures than either method are then found too late, and all is worked on longer months."""
    scenario = scenario_of(method("a"), method("b", **WALLS))
    whole = explain(scenario)
    grids = []
    own = players_module.price
    monkeypatch.setattr(players_module, "price", lambda *given: grids.append(given[2]) or own(*given))
    explain(scenario)
    monkeypatch.setattr(players_module, "SPARE_MONTHS", -3)
    again = explain(scenario)
    assert again.worth == pytest.approx(whole.worth, rel=1e-9, abs=1e-6)
    first, second = set(grids[:4]), set(grids[4:])  # every mixture on one grid, then on a shorter one
    assert len(grids) == 8
    assert len(first) == len(second) == 1
    assert second.pop().last < first.pop().last


def test_methods_that_are_not_known_are_all_named():
    scenario = scenario_of(method("a"), method("b", **WALLS))
    with pytest.raises(ScenarioError, match=r"2 problems") as caught:
        explain(scenario, "c", "d")
    said = [str(problem) for problem in caught.value.problems]
    assert said[0].startswith("--from: there is no method 'c'. There are: ")
    assert said[1].startswith("--to: there is no method 'd'. There are: ")
    assert " a, b." in said[0]


def test_ready_methods_may_be_meant_by_their_name():
    scenario = scenario_of(method("a"), method("b", **WALLS))
    found = explain(scenario, "open_frame_best", "b")
    assert (found.first.id, found.second.id) == ("open_frame_best", "b")
    assert [player.name for player in found.players] == ["verticals", "deck", "outer_wall", "separating_wall"]


def test_a_mixture_that_cannot_be_worked_out_is_named():
    """With the site's own back-props a deck of loose props needs three sets; with weaker rules two do."""
    two_sets = {
        "option.deck.loose_props.sets": 2,
        "concrete.backprop_share_two": 0.3,
        "concrete.backprop_share_one": 0.3,
    }
    scenario = scenario_of(method("a", deck="table_forms"), method("b", overrides=two_sets))
    build_cases(scenario, scenario.methods)  # both methods by themselves are sound
    with pytest.raises(ScheduleError, match=r"every mixture.*A with deck of B cannot.*2 deck sets"):
        explain(scenario)


def test_json_is_as_promised(compared):
    found = explain(compared("two_storey")).as_json()
    assert (found["from"], found["to"]) == ("open_frame", "panelised")
    assert set(found["scenario"]) == {"name", "fingerprint"}
    measure = found["measures"]["profit"]
    assert {"total", "elements", "pairs"} <= set(measure)
    assert set(measure["elements"]) == {"verticals", "deck", "outer_wall", "separating_wall"}
    assert len(measure["pairs"]) == 6
    assert {"elements", "interaction"} <= set(measure["pairs"][0])
    for row in found["differences"]:
        assert {"key", "label", "from", "to", "unit", "effect_weeks", "effect_profit"} <= set(row)


def test_a_scenario_read_afresh_gives_the_same_as_its_comparison(compared):
    scenario = load_scenario(ROOT / "scenarios" / "two_storey.toml", today=TODAY)
    one, other = explain(scenario), explain(compared("two_storey"))
    assert one.worth == pytest.approx(other.worth, rel=1e-9, abs=1e-6)
    assert [row.key for row in one.differences] == [row.key for row in other.differences]
    assert (one.players, one.identical) == (other.players, other.identical)
