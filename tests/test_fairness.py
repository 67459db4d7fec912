"""Both sides are worked by one rule, on one record; a method differs in nothing but its options.

The rules are chapter 3 of the model's own page ("fairness rules"). Where a library is changed, a copy of
its files is read in place of the shipped one: no code knows of the change.
"""

from __future__ import annotations

import re
import shutil
import tomllib
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import model.inputs.assumption as assumption_module
from model import build_case, compare_methods, load_scenario
from model.core.errors import ScenarioError
from model.inputs.assumption import read_library
from model.inputs.method import read_catalogue
from model.inputs.reading import read_scenario
from model.inputs.scenario import ready_method, ready_methods
from model.money.costs import read_site_costs
from model.pipeline import plan_method
from model.programme.conditions import backprop_levels
from model.site.deliveries import read_deliveries

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "model" / "inputs" / "library"
LIBRARY = read_library()
CATALOGUE = read_catalogue()
READY = [ready_method(name, LIBRARY) for name in ready_methods(LIBRARY)]
WEEK = 7.0

OPTION_KEYS = {
    "label", "replaces", "activities", "keeps_set", "sets", "priced_by", "rate", "extra_thickness", "panels",
    "appearance", "access_included", "goes_with", "props_left", "caution",
}  # fmt: skip
"""What may stand in an option: how it is made, what it holds, what it costs; no rule of the site."""

ACTIVITY_KEYS = {
    "label", "trade", "scope", "consumes", "calendar", "lift_class", "use", "learns", "space", "hours",
    "weeks", "output", "gang", "most", "lifts", "hook", "crane_share", "after", "raises", "note",
    "figures", "exposed", "skip_share", "skip_hours", "when",
}  # fmt: skip

SITE_RULES = {
    "site.separation_storeys", "site.facade_separation", "site.lift_separation", "site.space_frame",
    "site.space_inside", "site.productive_hours", "site.labour_present", "site.rework", "site.learning",
    "approval.before_occupation", "approval.before_occupation_low", "approval.power",
    "concrete.backprop_share_one", "concrete.backprop_share_two", "concrete.release_ratio",
    "crane.utilisation", "site.occupied_separation", "site.props_to_work_between", "site.face_kept_clear",
}  # fmt: skip


# One record for shared work


def test_a_ready_method_is_a_choice_of_options_and_nothing_else():
    assert {method.id for method in READY} >= {"open_frame", "open_frame_best", "panelised"}
    for name, table in LIBRARY.data["method"].items():
        assert set(table) == {"label", "role", "options"}, name
        assert set(table["options"]) == set(CATALOGUE.elements), name
    assert all(method.overrides == () for method in READY)


def test_methods_are_worked_from_the_same_figures(compared):
    first, *others = compared("pitch").cases
    for case in others:
        assert dict(case.plan.values) == dict(first.plan.values)


def test_an_activity_two_methods_share_takes_the_same_work_in_both(compared):
    """Same amount, same people, same shifts, same hook hours, task by task."""
    first, second = (case.plan.frame.set_index("task") for case in compared("pitch").cases)
    shared = first.index.intersection(second.index)
    shared = shared[first.loc[shared, "quantity"] != ""]
    assert len(set(first.loc[shared, "activity"])) > 30
    for column in ("amount", "people", "work_days", "hook_hours", "calendar", "trade", "lift_class"):
        assert (first.loc[shared, column] == second.loc[shared, column]).all(), column


def test_every_activity_stands_once_in_the_library():
    lines = (FOLDER / "activities.toml").read_text(encoding="utf-8").splitlines()
    names = [match[1] for line in lines if (match := re.fullmatch(r"\[activity\.(\w+)\]", line))]
    assert sorted(names) == sorted(CATALOGUE.activities)
    twins = [
        (a.id, b.id)
        for a in CATALOGUE.activities.values()
        for b in CATALOGUE.activities.values()
        if a.id < b.id and a.label == b.label
    ]
    assert twins == []


def test_options_that_hold_the_same_work_name_the_same_activities():
    """All decks are poured, struck and released by one set of activities; only their laying differs."""
    decks = [set(o.activities) for (element, _name), o in CATALOGUE.options.items() if element == "deck"]
    common = set.intersection(*decks)
    assert {"slab_rebar", "slab_pour", "soffit_strike", "props_out"} <= common
    assert all(len(deck - common) == 1 for deck in decks)


# Rules of the site


def test_no_rule_of_the_site_stands_in_an_option_or_an_activity():
    assert set(LIBRARY.records) >= SITE_RULES
    for element, options in LIBRARY.data["option"].items():
        for name, table in options.items():
            assert set(table) <= OPTION_KEYS, f"option.{element}.{name}"
    for name, table in LIBRARY.data["activity"].items():
        assert set(table) <= ACTIVITY_KEYS, f"activity.{name}"
    for key in LIBRARY.records:
        if key.startswith("option."):
            assert key.rsplit(".", 1)[1] in {"rate", "sets", "extra_thickness", "props_left"}, key
    words = r"separation|backprop|space_|approval|productive|labour_present|rework|learning"
    strays = [
        k
        for k in LIBRARY.records
        if re.search(words, k) and not k.startswith(("site.", "approval.", "concrete.", "risk."))
    ]  # draws of risk are the same for every method
    assert strays == []


@pytest.mark.parametrize("rule", ["separation", "facade", "lift", "occupied"])
def test_whoever_waits_for_separation_waits_by_the_rule_of_the_site(rule):
    """No offset is written into a link beside the counted rule, which is one record for all."""
    links = [
        (item.id, link)
        for item in [*CATALOGUE.activities.values(), *CATALOGUE.events.values()]
        for link in item.after
        if link.plus == rule
    ]
    assert links
    assert {link.storey for _item, link in links} <= {"1", "top"}
    assert all(link.cause == "separation" for _item, link in links)


def test_all_facade_finishes_wait_alike():
    finishes = [o for (element, _name), o in CATALOGUE.options.items() if element == "finish"]
    for option in finishes:
        plus = {link.plus for name in option.activities for link in CATALOGUE.activities[name].after}
        assert "facade" in plus, option.id


def test_props_stay_through_as_many_pours_under_every_deck(compared):
    """Read from the networks themselves: pours by which the props of a slab are held."""
    for case in compared("pitch").cases:
        network = case.plan.network
        out = set(network.tasks_of("activity:props_out").tolist())
        poured = set(network.tasks_of("event:slab_poured").tolist())
        held = {
            int(network.storey[b] - network.storey[a])
            for b, a in zip(network.before, network.after, strict=True)
            if a in out and b in poured and network.storey[a] < 6
        }
        assert held == {1 + backprop_levels(case.plan.values)}, case.method.id


def test_separation_holds_as_many_slabs_in_every_method(compared):
    held = {}
    for case in compared("pitch").cases:
        network = case.plan.network
        inside = set(network.tasks_of("event:inside_open").tolist())
        poured = set(network.tasks_of("event:slab_poured").tolist())
        held[case.method.id] = {
            int(network.storey[b] - network.storey[a])
            for b, a in zip(network.before, network.after, strict=True)
            if a in inside and b in poured and network.storey[a] < 6
        }
    assert len({frozenset(offsets) for offsets in held.values()}) == 1
    assert set.union(*held.values()) == {1 + round(LIBRARY["site.separation_storeys"].value)}


@pytest.mark.parametrize("name", ["two_storey", "pitch"])
def test_the_frame_crew_is_the_same_heads_in_every_method(name):
    scenario = load_scenario(ROOT / "scenarios" / f"{name}.toml")
    crews = []
    for method in READY:
        gangs = plan_method(scenario, method).gangs.by_trade()
        crews.append({trade.id: gangs.get(trade.id) for trade in CATALOGUE.trades.values() if trade.frame})
    assert all(crew == crews[0] for crew in crews)
    assert None not in crews[0].values()


def test_ready_methods_look_the_same_from_the_street(compared):
    looks = {
        tuple(
            CATALOGUE.options[element, name].appearance
            for element, name in method.options
            if element == "finish"
        )
        for method in READY
    }
    assert looks == {("brick",)}
    assert not [warning for warning in compared("pitch").warnings if "finishes differ" in warning]


def test_finishes_that_differ_are_told():
    scenario = _scenario(method("a", "open_frame"), method("b", "panelised", finish="render"))
    assert any("the visible finishes differ" in warning for warning in scenario.warnings)
    alike = _scenario(method("a", "open_frame"), method("b", "panelised", finish="slips_on_panel"))
    assert not any("the visible finishes differ" in warning for warning in alike.warnings)


# The same on both sides


def method(name, like, **options):
    chosen = "".join(f'{element} = "{option}"\n' for element, option in options.items())
    return f'[[methods]]\nid = "{name}"\nlike = "{like}"\n' + (
        f"[methods.options]\n{chosen}" if chosen else ""
    )


def _scenario(*methods, name="two_storey"):
    return read_scenario("\n".join([(ROOT / "scenarios" / f"{name}.toml").read_text("utf-8"), *methods]))


def figures(item):
    """Every number of nested tables and lists."""
    if isinstance(item, dict):
        for value in item.values():
            yield from figures(value)
    elif isinstance(item, list):
        for value in item:
            yield from figures(value)
    elif not isinstance(item, str):
        yield item


@pytest.mark.parametrize("like", ["open_frame", "panelised"])
@pytest.mark.parametrize("name", ["two_storey", "pitch"])
def test_the_same_method_on_both_sides_differs_in_nothing(name, like):
    compared = compare_methods(_scenario(method("one", like), method("other", like), name=name)).as_json()
    found = list(figures(compared["difference"]))
    assert len(found) >= 16
    assert found == [0.0] * len(found)
    assert compared["methods"]["one"] == compared["methods"]["other"]


def test_turning_the_sides_round_turns_every_difference_round():
    there = compare_methods(_scenario(method("a", "open_frame"), method("b", "panelised")))
    back = compare_methods(_scenario(method("b", "panelised"), method("a", "open_frame")))
    one, other = there.difference(), back.difference()
    for key in one:
        if key not in ("walls_only", "programme_saving_pct", "blocks", "money"):
            assert one[key] == -other[key], key
    steps = [{step.pop("cause"): step for step in told["money"]["steps"]} for told in (one, other)]
    for cause, step in steps[0].items():
        turned = {name: -value for name, value in steps[1][cause].items()}
        assert step == pytest.approx(turned, rel=1e-9, abs=1e-6), cause
    assert {m: case.as_json([]) for m, case in zip("ab", there.cases, strict=True)} == {
        m: case.as_json([]) for m, case in zip("ba", back.cases, strict=True)
    }


# Hybrids and more than two methods


def test_a_hybrid_and_a_third_method_are_worked_like_any_other():
    scenario = _scenario(
        method("open_frame", "open_frame"),
        method("outside_only", "open_frame_best", outer_wall="panel_before_deck"),
        method("panelised", "panelised"),
    )
    comparison = compare_methods(scenario)
    told = comparison.as_json()
    assert list(told["methods"]) == ["open_frame", "outside_only", "panelised"]
    panels = [case.site.panels for case in comparison.cases]
    assert panels[0] == 0 < panels[1] < panels[2]
    assert told["methods"]["outside_only"]["options"]["separating_wall"] == "lined"
    assert told["difference"]["weeks_to_last_handover"] == pytest.approx(
        comparison.cases[0].weeks_to_last_handover - comparison.cases[1].weeks_to_last_handover, abs=1e-12
    )
    alone = build_case(scenario, scenario.methods[2])
    assert alone.weeks_to_last_handover == comparison.cases[2].weeks_to_last_handover


def test_a_third_method_moves_no_date_of_the_two_before_it():
    two = compare_methods(_scenario(method("a", "open_frame"), method("b", "panelised")))
    three = compare_methods(
        _scenario(method("a", "open_frame"), method("b", "panelised"), method("c", "open_frame_best"))
    )
    for one, other in zip(two.cases, three.cases[:2], strict=True):
        assert (one.plan.finish == other.plan.finish).all()
        assert one.account.profit == pytest.approx(other.account.profit, abs=0.01)


@pytest.mark.parametrize("deck", ["loose_props", "panel_decking", "table_forms"])
@pytest.mark.parametrize("wall", ["framed", "panel_before_deck", "panel_through_edge"])
def test_every_deck_goes_with_every_wall(deck, wall):
    scenario = _scenario(method("a", "open_frame"), method("b", "open_frame", deck=deck, outer_wall=wall))
    plan = plan_method(scenario, scenario.methods[1])
    assert plan.last_handover > 0


def test_options_that_cannot_go_together_are_refused_by_name():
    with pytest.raises(ScenarioError, match=r"'slips_on_panel' does not go with outer_wall = 'framed'"):
        _scenario(method("a", "open_frame"), method("b", "open_frame", finish="slips_on_panel"))


def test_walls_alone_change_the_walls_alone(compared):
    comparison = compared("pitch")
    walls, first = dict(comparison.walls.method.options), dict(comparison.first.method.options)
    assert {element for element in walls if walls[element] != first[element]} == set(CATALOGUE.wall_elements)
    told = comparison.walls_only
    assert told.weeks_to_last_handover == (
        comparison.first.weeks_to_last_handover - comparison.walls.weeks_to_last_handover
    )


def test_a_finish_that_only_its_own_wall_carries_comes_with_the_wall():
    scenario = _scenario(
        method("a", "open_frame", finish="slips_on_wall"), method("b", "panelised", finish="slips_on_panel")
    )
    walls = compare_methods(scenario).walls.method
    assert (walls.option("outer_wall"), walls.option("finish")) == ("panel_before_deck", "slips_on_panel")
    assert walls.option("deck") == "loose_props"


# Changed libraries


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


@pytest.fixture
def copied(tmp_path):
    """A copy of the library's files, to be changed."""
    shutil.copytree(FOLDER, tmp_path / "library")
    return tmp_path


def split(folder, name):
    """Split an activity into two, one after the other, each with half of the hours and lifts."""
    path = folder / "library" / "activities.toml"
    text = path.read_text(encoding="utf-8")
    begin = text.index(f"[activity.{name}]\n")
    end = text.index("\n[activity.", begin) + 1 if "\n[activity." in text[begin + 1 :] else len(text)
    record = text[begin:end]
    for field in ("hours", "lifts"):
        record = re.sub(
            rf"^({field} = {{) value = ([\d.]+), low = ([\d.]+), high = ([\d.]+)",
            lambda m: f"{m[1]} " + ", ".join(
                f"{word} = {float(m[k]) / 2!r}" for word, k in (("value", 2), ("low", 3), ("high", 4))
            ),
            record,
            flags=re.MULTILINE,
        )  # fmt: skip
    links = re.search(r"^after = \[\n.*?^\]\n", record, flags=re.MULTILINE | re.DOTALL)[0]
    first = record.replace(f"[activity.{name}]", f"[activity.{name}_begun]")
    first = re.sub(r'^label = "', 'label = "Begin: ', first, flags=re.MULTILINE)
    first = re.sub(r"^raises = \[\n.*?^\]\n", "", first, flags=re.MULTILINE | re.DOTALL)
    second = record.replace(links, f'after = [\n  {{ activity = "{name}_begun", cause = "work" }},\n]\n')
    path.write_text(text[:begin] + first + "\n" + second + text[end:], encoding="utf-8")
    elements = folder / "library" / "elements.toml"
    options = elements.read_text(encoding="utf-8")
    listed = re.sub(
        r"^activities = .*$",
        lambda m: m[0].replace(f'"{name}"', f'"{name}_begun", "{name}"'),
        options,
        flags=re.MULTILINE,
    )
    elements.write_text(listed, encoding="utf-8")


@pytest.mark.parametrize("name", ["sheathing", "services_first", "slab_rebar", "deck_panels", "ceilings"])
def test_splitting_an_activity_in_two_moves_handover_by_less_than_a_week(compared, copied, name):
    whole = compared("pitch")
    split(copied, name)
    with library_of(copied):
        assert {name, f"{name}_begun"} <= set(read_catalogue().activities)
        scenario = load_scenario(ROOT / "scenarios" / "pitch.toml")
        for case in whole.cases:
            plan = plan_method(scenario, scenario.method(case.method.id))
            if not case.plan.network.has(f"activity:{name}"):
                assert (plan.ready_by_block == case.plan.ready_by_block).all()
                continue
            assert plan.network.size > case.plan.network.size
            assert plan.tasks.hook.sum() == pytest.approx(case.plan.tasks.hook.sum(), rel=1e-9)
            moved = abs(plan.ready_by_block - case.plan.ready_by_block)
            assert moved.max() < WEEK, f"{case.method.id}: {moved}"


BLOCKWORK = """
[option.outer_wall.blockwork]
label = "Insulated blockwork"
replaces = "framed"
activities = ["blockwork", "windows", "balcony_doors", "bay_framed", "wall_frame"]
priced_by = "facade_m2"
rate = { value = 330, low = 280, high = 450, unit = "GBP/m2" }

[method.masonry]
label = "Masonry"
role = "open frame"
options = { %s }
"""
BLOCKS = """
[activity.blockwork]
label = "Blockwork of the outer wall"
trade = "bricklayers"
scope = "zone"
consumes = "solid_m2"
calendar = "masonry"
hours = { value = 0.9, low = 0.7, high = 1.3, unit = "h/m2" }
gang = { value = 3, low = 2, high = 4, unit = "people" }
most = { value = 9, low = 3, high = 12, unit = "people" }
after = [{ event = "deck_released", cause = "cure" }]
raises = [{ event = "outer_closed" }, { event = "wall_backing_ready" }, { event = "lining_ready" }]
"""


def test_an_option_and_a_method_are_added_as_data_without_touching_code(copied):
    base = {**LIBRARY.data["method"]["open_frame"]["options"], "outer_wall": "blockwork"}
    chosen = ", ".join(f'{element} = "{option}"' for element, option in base.items())
    with (copied / "library" / "elements.toml").open("a", encoding="utf-8") as file:
        file.write(BLOCKWORK % chosen)
    with (copied / "library" / "activities.toml").open("a", encoding="utf-8") as file:
        file.write(BLOCKS)
    with library_of(copied):
        assert "masonry" in ready_methods(read_library())
        scenario = _scenario(method("masonry", "masonry"), method("panelised", "panelised"), name="pitch")
        comparison = compare_methods(scenario)
        masonry = comparison.first
        assert masonry.plan.network.has("activity:blockwork")
        assert masonry.weeks_to_last_handover > 52
        assert masonry.account.cost_of("premium") < 0  # cheaper than the wall it replaces
        work = masonry.account.work.plan.set_index("element").loc["outer_wall"]
        assert work["option"] == "blockwork"
        assert masonry.as_json([])["options"]["outer_wall"] == "blockwork"
    assert "masonry" not in ready_methods(read_library())


def test_a_name_the_new_data_does_not_know_is_told(copied):
    from model.core.errors import AssumptionError

    path = copied / "library" / "activities.toml"
    path.write_text(path.read_text("utf-8") + BLOCKS.replace("deck_released", "deck_gone"), encoding="utf-8")
    with (
        library_of(copied),
        pytest.raises(AssumptionError, match=r"activity blockwork: follows the unknown event 'deck_gone'"),
    ):
        read_catalogue()


def test_a_method_of_the_scenario_may_have_figures_of_its_own_and_they_are_told_apart():
    scenario = _scenario(method("a", "open_frame"), method("b", "open_frame"))
    own = replace(scenario.methods[1], overrides=(("site.rework", (0.08, "a test")),))
    changed = scenario.with_changes(methods=(scenario.methods[0], own))
    first, second = (changed.values(m) for m in changed.methods)
    assert {key for key in first if first[key] != second[key]} == {"site.rework"}


def test_the_copy_of_the_library_is_the_library(copied):
    """The way libraries are changed here changes nothing by itself."""
    with library_of(copied):
        assert read_library() is not LIBRARY
        assert read_library().records == LIBRARY.records
        names = {path.name for path in (copied / "library").glob("*.toml")}
        assert all(tomllib.loads((copied / "library" / name).read_text("utf-8")) for name in names)
    assert read_catalogue().methods == CATALOGUE.methods
