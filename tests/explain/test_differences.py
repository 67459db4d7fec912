"""Everything in which two methods differ is listed, the rest is the same in both, and effects are re-runs."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import fields

import numpy as np
import pandas as pd
import pytest

from model.explain.credit import explain
from model.explain.differences import COLUMNS, differences, effects_of, set_equal, with_effects
from model.explain.listed import identical, list_differences, uses
from model.explain.players import OTHER, players_of, work_out
from model.explain.rerun import Change, rerun
from model.inputs.assumption import Values, read_library
from model.inputs.reading import read_scenario
from model.inputs.scenario import Scenario
from model.money import common_grid, price
from model.pipeline import build_cases, compare_methods, plan_method
from model.programme import conditions
from model.report.audit import write_audit
from model.site import operate

TODAY = dt.date(2026, 11, 25)
SITE = '[development]\nname = "Sample Yard"\nplace = "london"\nstart = 2027-04-05\n'
BLOCK = '[[blocks]]\nname = "East"\nstoreys = 3\nflats_per_storey = 5\n'
A = '[[methods]]\nid = "a"\nlike = "open_frame"\n'
MIXED = """
[[methods]]
id = "b"
like = "open_frame"
[methods.options]
outer_wall = "panel_before_deck"
finish = "slips_on_panel"
[methods.overrides]
"site.rework" = 0.06
"factory.output" = 60
"activity.brickwork.hours" = 1.4
"option.deck.loose_props.rate" = 260
"crane.utilisation" = 0.75
"option.deck.table_forms.rate" = 300
"""


def read(*parts, development=""):
    return read_scenario(SITE + development + BLOCK + "".join(parts), today=TODAY)


@pytest.fixture(scope="module")
def mixed():
    return explain(read(A, MIXED))


@pytest.fixture(scope="module")
def cases(mixed):
    return build_cases(mixed.scenario, [mixed.first, mixed.second])


def by_key(rows, kind):
    return {row.key: row for row in rows if row.kind == kind}


# Everything else is the same


class Watched(Values):
    """Figures that remember which of them were read."""

    def __init__(self, library, overrides):
        super().__init__(library, overrides)
        self.read = set()

    def __getitem__(self, key):
        self.read.add(key)
        return super().__getitem__(key)

    def items(self):
        """All of them, for the key under which conditions are kept: that is no use of any."""
        return dict(self._numbers).items()


class WatchedScenario(Scenario):
    """A scenario whose methods are worked from figures that remember."""

    def values(self, method):
        chosen = self.method(method) if isinstance(method, str) else method
        return Watched(read_library(), {**dict(self.overrides), **dict(chosen.overrides)})


def read_by(scenario, method):
    """Every figure read on the way through all stages, and its value."""
    conditions._KEPT.clear()  # what is kept from another case would be read by nobody
    watched = WatchedScenario(**{f.name: getattr(scenario, f.name) for f in fields(scenario)})
    plan = plan_method(watched, method)
    site = operate(plan)
    account = price(plan, site, common_grid([plan]))
    assert np.isfinite([account.profit, account.npv, site.loads_total, site.hook_hours]).all()
    return {key: plan.values[key] for key in sorted(plan.values.read)}


LATE = "late_adoption = true\n"
EVERY_OTHER = """
[[methods]]
id = "b"
like = "open_frame"
[methods.options]
core = "climbing"
deck = "table_forms"
outer_wall = "panel_through_edge"
bathrooms = "pods"
finish = "render"
completion = "lift_in_use"
"""


@pytest.mark.parametrize(
    "scenario",
    [read(), read(A, MIXED), read(A, EVERY_OTHER), read(A, EVERY_OTHER, development=LATE)],
    ids=["ready methods", "own records", "other options", "late adoption"],
)
def test_whatever_is_read_is_the_same_in_both_or_is_listed(scenario):
    first, second = (plan_method(scenario, method) for method in scenario.methods)
    rows = list_differences(first, second, players_of(scenario, first.method, second.method))
    listed = by_key(rows, "record") | by_key(rows, "rule")
    same = set(identical(first, second, rows))
    assert same | set(listed) == set(read_library().records)
    assert not same & set(listed)
    one, other = (read_by(scenario, method) for method in scenario.methods)
    assert len(one.keys() & other.keys()) > 400
    for key in one.keys() & other.keys():
        assert one[key] == other[key] or key in listed, key
    alone = one.keys() ^ other.keys()
    assert len(alone) > 20
    assert alone <= set(listed)
    for row in (listed[key] for key in alone):
        assert row.first != row.second, row.key
        assert row.players, row.key


def test_each_is_listed_with_what_brings_it(compared):
    first, second = (case.plan for case in compared("pitch").cases)
    rows = list_differences(first, second, players_of(first.scenario, first.method, second.method))
    assert len({(row.kind, row.key) for row in rows}) == len(rows)
    assert {row.kind for row in rows} == {"option", "record", "rule", "activity", "link"}
    told = by_key(rows, "record") | by_key(rows, "rule") | by_key(rows, "activity") | by_key(rows, "link")
    for key, players in {
        "activity.wall_frame.hours": ("outer_wall",),
        "option.deck.panel_decking.sets": ("deck",),
        "delivery.panels_separating.per_load": ("separating_wall",),
        "trade.wall_framers.most_gangs": ("outer_wall",),
        "factory.lead": ("outer_wall", "separating_wall"),
        "wait.grout": ("verticals",),
        "panel_set": ("outer_wall",),
        "make_panels": ("outer_wall", "separating_wall"),
        "deck_laid after deck_props": ("deck",),
        "panel_set after panels_here": ("outer_wall", "separating_wall"),
        "verticals_fixed after column_grout": ("verticals",),
    }.items():
        assert told[key].players == players, key
    grout = told["wait.grout"]
    assert (grout.kind, grout.first, grout.second, grout.unit) == ("rule", None, 1.0, "days")
    assert told["factory.lead"].first is None
    work = first.tasks.work[first.network.tasks_of("activity:wall_frame")].sum()
    assert (told["wall_frame"].first, told["wall_frame"].second) == (pytest.approx(work, rel=1e-9), None)
    assert told["make_panels"].element == "outer_wall, separating_wall"


def test_links_are_compared_one_by_one():
    """A deck set more: the deck waits for a storey further down, and for one storey fewer."""
    second = A.replace('"a"', '"b"') + '[methods.overrides]\n"option.deck.loose_props.sets" = 4\n'
    scenario = read_scenario(SITE + BLOCK.replace("storeys = 3", "storeys = 6") + A + second, today=TODAY)
    plans = [plan_method(scenario, method) for method in scenario.methods]
    zones = plans[0].takeoff.layout.zones[0]
    rows = list_differences(*plans, players_of(scenario, *scenario.methods))
    (row,) = by_key(rows, "link").values()
    assert row.key == "deck_props after props_out"
    assert row.first == f"{3 * zones} links, 3 storeys below, 0 days, deck set"
    assert row.second == f"{2 * zones} links, 4 storeys below, 0 days, deck set"
    assert row.players == ("deck",)
    assert [(row.kind, row.key) for row in rows] == [
        ("record", "option.deck.loose_props.sets"),
        ("link", "deck_props after props_out"),
    ]


def test_calendars_that_differ_are_listed_with_their_means(mixed, cases):
    rows = by_key(mixed.differences, "calendar")
    assert set(rows) == {"hook East ordinary lifts", "hook East large-area lifts"}
    row = rows["hook East ordinary lifts"]
    assert row.first == pytest.approx(float(cases[0].plan.conditions.mean_hook[0]), rel=1e-12)
    assert row.second == pytest.approx(float(cases[1].plan.conditions.mean_hook[0]), rel=1e-12)
    assert (row.unit, row.players, row.note) == ("h a day", (OTHER,), "with other settings")


def test_what_only_late_adoption_asks_for_is_not_told_otherwise():
    for late in (False, True):
        scenario = read(development=LATE if late else "")
        first, second = (plan_method(scenario, method) for method in scenario.methods)
        for key in ("late.redesign", "late.consolidated", "approval.change"):
            assert (uses(first, key), uses(second, key)) == (False, late), key


# Effects


def test_an_option_set_equal_is_the_second_method_without_it(mixed, cases):
    """Worked apart: the methods spelt in a file, and compared."""
    without = MIXED.replace('outer_wall = "panel_before_deck"\nfinish = "slips_on_panel"', "")
    without = without.replace('"factory.output" = 60\n', "").replace('"activity.brickwork.hours" = 1.4\n', "")
    scenario = read(A, without)
    second, equal = cases[1], build_cases(scenario, scenario.methods)[1]
    rows = by_key(mixed.differences, "option")
    assert set(rows) == {"outer_wall", "finish"}
    for row in rows.values():
        assert row.effect_weeks == pytest.approx(
            second.weeks_to_last_handover - equal.weeks_to_last_handover, abs=1e-9
        )
        assert row.effect_profit == pytest.approx(equal.account.profit - second.account.profit, rel=1e-9)
    assert abs(rows["finish"].effect_profit) > 1000


@pytest.mark.parametrize("key", ["site.rework", "factory.output", "option.deck.loose_props.rate"])
def test_a_record_set_equal_is_the_second_method_run_again_with_it(mixed, cases, key):
    value, second = read_library()[key].value, cases[1]
    changed = rerun(second, Change("Equal", settings={key: value}), second.account.grid)
    row = by_key(mixed.differences, "record")[key]
    assert (row.first, row.second) == (value, dict(mixed.second.overrides)[key][0])
    assert row.effect_weeks == pytest.approx(
        second.weeks_to_last_handover - changed.weeks_to_last_handover, abs=1e-9
    )
    assert row.effect_profit == pytest.approx(
        changed.account.profit - second.account.profit, rel=1e-9, abs=1e-3
    )
    if key != "factory.output":
        assert abs(row.effect_profit) > 10


def test_effects_are_told_once(mixed):
    """At options and at records set apart; what comes with an option says so."""
    own = {row.key for row in mixed.differences if row.effect_profit is not None}
    assert own == {"outer_wall", "finish", *dict(mixed.second.overrides)}
    rows = by_key(mixed.differences, "record")
    assert rows["activity.panel_set.hours"].note == "with outer wall with facade finish"
    assert rows["activity.panel_set.hours"].effect_weeks is None
    assert rows["option.deck.table_forms.rate"].effect_profit == 0.0  # neither method has them
    assert all(row.note == "" for row in mixed.differences if row.key in own)


def test_what_cannot_be_set_equal_says_why():
    """Two sets are enough by the second's own rule of back-props; by the first's the deck waits for ever."""
    second = (
        A.replace('"a"', '"b"')
        + '[methods.overrides]\n"concrete.backprop_share_one" = 0.3\n"concrete.backprop_share_two" = 0.3\n'
        + '"option.deck.loose_props.sets" = 2\n'
    )
    comparison = compare_methods(read(A, second))
    table = differences(comparison).set_index("key")
    assert np.isfinite(table.loc["option.deck.loose_props.sets", "effect_profit"])
    assert np.isnan(table.loc["concrete.backprop_share_one", "effect_profit"])
    plans = [case.plan for case in comparison.cases]
    parts = players_of(comparison.scenario, *comparison.scenario.methods)
    equal = set_equal(*plans, parts)["concrete.backprop_share_one"]
    (failed,) = work_out(comparison.scenario, [equal], [(plans[1], comparison.second.site)])
    effects = effects_of(np.zeros(8), {"concrete.backprop_share_one": failed})
    told = by_key(with_effects(list_differences(*plans, parts), parts, effects), "record")
    assert told["concrete.backprop_share_one"].note.startswith(
        "methods 'b', option.deck.loose_props.sets: 2 deck sets. A deck of loose props"
    )


# The audit pack


def test_differences_of_the_audit_pack_are_those_of_the_explanation(mixed, tmp_path):
    told = []
    comparison = compare_methods(mixed.scenario)
    write_audit(comparison, tmp_path / "pack", lambda done, of: told.append((done, of)))
    listed = pd.read_csv(tmp_path / "pack" / "differences.csv")
    assert tuple(listed.columns) == COLUMNS
    assert COLUMNS[:6] == ("kind", "key", "label", "first", "second", "unit")
    assert told[-1][0] == told[-1][1] == len(told)
    expected = pd.read_csv(io.StringIO(mixed.differences_frame().to_csv(index=False)))
    for column in COLUMNS[:7]:
        assert (
            listed[column].fillna("").astype(str).tolist() == expected[column].fillna("").astype(str).tolist()
        )
    for column in COLUMNS[7:]:
        assert listed[column].to_numpy() == pytest.approx(expected[column].to_numpy(), abs=1e-6, nan_ok=True)


def test_differences_of_one_method_are_none(compared):
    comparison = compared("two_storey")
    found = explain(comparison, "panelised", "panelised")
    assert found.differences_frame().empty
    assert list(found.differences_frame().columns) == list(COLUMNS)
