"""Every option of every element can be built, lifts before its crane goes, and does what its data says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from model import compare_methods
from model.inputs.method import read_catalogue
from model.inputs.reading import read_tables
from model.pipeline import plan_method
from model.site import operate

CATALOGUE = read_catalogue()
COMMON = "common practice, no source"


def tables(storeys=6, **overrides):
    return {
        "development": {"name": "Options", "place": "london", "start": "2027-03-01"},
        "blocks": [{"name": "Only", "storeys": storeys, "flats_per_storey": 6, "zones": 2}],
        "overrides": {key.replace("__", "."): value for key, value in overrides.items()},
    }


def with_options(scenario, like, **chosen):
    method = scenario.method(like)
    return replace(method, options=tuple((dict(method.options) | chosen).items()))


def choices():
    """Each option in a ready method it goes with: that of the walls it asks for."""
    for (element, name), option in CATALOGUE.options.items():
        like = "open_frame"
        for other, allowed in option.goes_with:
            if CATALOGUE.methods[like][other] not in allowed:
                like = "panelised"
        yield pytest.param(like, element, name, id=f"{element} {name}")


@pytest.mark.parametrize(("like", "element", "name"), list(choices()))
def test_every_option_can_be_built_and_lifts_nothing_once_the_crane_is_gone(like, element, name):
    scenario = read_tables(tables(storeys=18))
    plan = plan_method(scenario, with_options(scenario, like, **{element: name}))
    assert np.isfinite(plan.last_handover)
    tasks = plan.tasks
    gone = plan.start[plan.network.tasks_of("activity:crane_strike")][0]
    lifting = (tasks.hook > 0) & (tasks.crane >= 0)
    assert plan.finish[lifting].max() <= gone + 1e-6
    hoisting = tasks.hoist_hours > 0
    struck = [name for name in ("hoist_strike", "hoist_strike_early") if plan.network.has(f"activity:{name}")]
    if struck == ["hoist_strike"]:  # with a lift in the builder's use the last goods go by lift
        assert (
            plan.finish[hoisting].max()
            <= plan.start[plan.network.tasks_of("activity:hoist_strike")][0] + 1e-6
        )


def test_the_elements_have_the_options_the_trade_asks_for():
    wanted = {
        "verticals": {"cast", "precast"},
        "core": {"with_storey", "climbing"},
        "deck": {"loose_props", "panel_decking", "table_forms", "traditional_timber"},
        "outer_wall": {"framed", "panel_before_deck", "panel_through_edge"},
        "separating_wall": {"lined", "panel"},
        "finish": {"brick", "slips_on_panel", "slips_on_wall", "render"},
        "bathrooms": {"built", "pods"},
    }
    for element, names in wanted.items():
        assert {name for other, name in CATALOGUE.options if other == element} >= names


def test_a_core_that_climbs_ahead_stands_so_many_storeys_above_the_slab_and_no_more():
    scenario = read_tables(tables(storeys=10, site__core_ahead=3))
    plan = plan_method(scenario, with_options(scenario, "open_frame", core="climbing"))
    ordinary = plan_method(scenario, scenario.method("open_frame"))
    started = plan.start[plan.network.tasks_of("activity:core_forms_ahead")].reshape(10, 2)
    poured = plan.finish[plan.network.tasks_of("event:slab_poured")].reshape(11, 2)
    for s in range(1, 11):
        slab = max(s - 3, 1)
        assert np.all(started[s - 1] >= poured[slab - 1] - 1e-9)
    # it is ahead: walls of storey 5 begin before the slab they stand beside in the ordinary way is poured
    assert started[4].min() < poured[4].min()
    hours = [
        p.tasks.work[p.tasks.trade == list(CATALOGUE.trades).index("carpenters")].sum()
        for p in (plan, ordinary)
    ]
    assert hours[0] == pytest.approx(hours[1], rel=1e-12), "the same work, one record"


def test_the_same_work_elsewhere_in_the_sequence_takes_the_same_goods():
    """A core that climbs ahead is as much concrete and steel as one with the storey."""
    scenario = read_tables(tables(storeys=8))
    lorries = []
    for core in ("with_storey", "climbing"):
        plan = plan_method(scenario, with_options(scenario, "open_frame", core=core))
        frame = operate(plan).loads.frame(plan)
        core_goods = frame[frame["material"].isin(["Ready-mix, core walls", "Reinforcement, core"])]
        lorries.append(core_goods.groupby("material")["amount"].sum().round(6).to_dict())
    assert lorries[0] == lorries[1]
    assert len(lorries[0]) == 2


def test_traditional_timber_is_slow_and_says_so():
    """2.0 h/m2 against 0.8: a comparison against it flatters the other method (practice)."""
    scenario = read_tables(tables(storeys=12))
    timber = replace(with_options(scenario, "open_frame", deck="traditional_timber"), id="timber")
    against = scenario.with_changes(methods=(timber, scenario.method("panelised")))
    slow, plain = compare_methods(against).as_json(), compare_methods(scenario).as_json()
    assert any("flatters the other method" in warning for warning in slow["warnings"])
    assert not any("flatters" in warning for warning in plain["warnings"])
    weeks = [slow["methods"]["timber"], plain["methods"]["open_frame"]]
    assert weeks[0]["weeks_to_last_handover"] > weeks[1]["weeks_to_last_handover"] + 5


@pytest.mark.parametrize(("limit", "open_frame", "panelised"), [(0.0, 0, 0), (0.4, 0, 1), (0.6, 1, 1)])
def test_inside_trades_work_between_props_by_one_rule_of_the_site(limit, open_frame, panelised):
    """The site says how few props are few enough; the deck says how many it leaves."""
    scenario = read_tables(tables(site__props_to_work_between=limit))
    for like, between in (("open_frame", open_frame), ("panelised", panelised)):
        plan = plan_method(scenario, scenario.method(like))
        inside = plan.network.tasks_of("event:inside_open")
        struck = plan.network.tasks_of("event:deck_struck")
        released = plan.network.tasks_of("event:deck_released")
        into = plan.network.before[np.isin(plan.network.after, inside)]
        assert bool(np.isin(into, struck).any()) == bool(between)
        assert bool(np.isin(into, released).any()) != bool(between)


def test_crane_ties_leave_a_bay_out_above_the_height_a_crane_stands_alone():
    """Free to 45 m, tied every 20 m: 22 storeys of 3 m are tied at 45 and at 65 m, storeys 15 and 22."""
    scenario = read_tables(tables(storeys=22))
    plan = plan_method(scenario, scenario.method("open_frame"))
    tied = np.flatnonzero(plan.takeoff.by_storey["tie_bays_no"]) + 1
    assert tied.tolist() == [15, 22], COMMON
    bays = plan.tasks.amount[plan.network.tasks_of("activity:bay_framed")]
    assert bays[14] == bays[21] == 2.0
    assert bays[0] == 1.0
    low = read_tables(tables(storeys=15))  # 45 m
    assert plan_method(low, low.method("open_frame")).takeoff.by_storey["tie_bays_no"].sum() == 0


def test_a_second_crane_at_a_block_adds_hook_hours_less_what_neighbours_cost_each_other():
    """5 to 15 % for each overlapping neighbour (practice): two cranes are 1.8, three are 2.4."""
    scenario = read_tables(tables() | {"cranes": [{"name": "One", "blocks": ["Only"]}]})
    hours = {}
    for number in (1, 2, 3):
        cranes = tuple(replace(crane, number=number) for crane in scenario.cranes)
        plan = plan_method(scenario.with_changes(cranes=cranes), scenario.method("open_frame"))
        hours[number] = plan.conditions.hook_paid[0].max()
    assert hours[2] / hours[1] == pytest.approx(1.8)
    assert hours[3] / hours[1] == pytest.approx(2.4)


def test_saturday_mornings_bring_the_frame_forward():
    """Boroughs commonly allow 08:00 to 13:00 on Saturdays: half a shift. 5 over 5.5 days is 0.909."""
    top = [
        plan_method(s, s.method("open_frame")).event_by_block("slab_poured", "top")[0]
        for s in (read_tables(tables(storeys=18)), read_tables(tables(storeys=18, site__saturday_share=0.5)))
    ]
    assert top[1] / top[0] == pytest.approx(5 / 5.5, abs=0.02)
