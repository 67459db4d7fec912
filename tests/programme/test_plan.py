"""Whole plans of the shipped schemes: gangs, order, conditions, and what cannot be planned."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from model import load_scenario
from model.core.errors import ScenarioError, ScheduleError
from model.inputs.method import Link, read_catalogue
from model.inputs.reading import read_tables
from model.pipeline import plan_method
from model.programme import schedule
from model.programme.conditions import backprop_levels
from model.programme.kernel import CALENDAR
from model.programme.network import Rules, build_network, whole
from model.quantities import measure

FOLDER = Path(__file__).parents[2] / "scenarios"
SCENARIOS = ("two_storey", "pitch", "large")
RULES = Rules(
    separation=1, facade=2, lift=2, occupied=3, backprop=2, sets=3, call_off=3, core_ahead=3,
    finished_share=0.8, between_props=False,
)  # fmt: skip


@pytest.fixture(params=SCENARIOS)
def plans(compared, request):
    return [case.plan for case in compared(request.param).cases]


def one_block(**block):
    tables = {
        "development": {"name": "One", "place": "london", "start": "2027-03-01"},
        "blocks": [{"name": "Only", "storeys": 5, "flats_per_storey": 6, **block}],
    }
    return read_tables(tables)


# Gangs


def test_no_trade_has_more_gangs_than_the_market_supplies(plans):
    for plan in plans:
        for (trade, _block), count in zip(plan.gangs.pools, plan.gangs.counts, strict=True):
            most = (
                plan.values[f"trade.{trade}.most_gangs"] if plan.values[f"trade.{trade}.gangs"] == 0 else 99
            )
            assert 1 <= count <= most, trade


def test_every_trade_with_work_has_gangs_in_its_block(plans):
    for plan in plans:
        working = plan.tasks.work > 0
        pool = plan.gangs.pool_of[plan.tasks.trade[working], plan.network.block[working]]
        assert np.all(pool >= 0)
        first = plan.gangs.pointers
        gang = plan.gang[working]
        assert np.all((gang >= first[pool]) & (gang < first[pool + 1]))


def test_trades_tied_to_a_block_have_gangs_of_their_own_in_each(plans):
    catalogue = read_catalogue()
    for plan in plans:
        for trade, block in plan.gangs.pools:
            assert (block < 0) == catalogue.trades[trade].travels, trade


def test_gangs_set_by_hand_are_kept():
    scenario = (
        one_block().with_override("trade.dryliners.gangs", 3).with_override("trade.carpenters.gangs", 2)
    )
    plan = plan_method(scenario, scenario.method("open_frame"))
    by_trade = plan.gangs.by_trade()
    assert by_trade["dryliners"] == 3
    assert by_trade["carpenters"] == 2


def test_the_frame_has_as_many_gangs_in_every_method(compared):
    catalogue = read_catalogue()
    frame = {name for name, trade in catalogue.trades.items() if trade.frame}
    for name in SCENARIOS:
        first, second = (case.plan.gangs.by_trade() for case in compared(name).cases)
        for trade in frame & set(first) & set(second):
            assert first[trade] == second[trade], (name, trade)


def test_the_pace_is_no_faster_than_what_bounds_it(plans):
    for plan in plans:
        assert np.all(plan.gangs.pace_days > 0)
        assert set(plan.gangs.bound_by) <= {"frame gangs", "chain from pour to pour", "crane", "deck sets"}


# Order


def test_nothing_goes_before_what_it_follows(plans):
    for plan in plans:
        network = plan.network
        assert np.all(plan.rank[network.before] < plan.rank[network.after])
        assert sorted(plan.rank.tolist()) == list(range(network.size))


def test_priority_of_each_block_is_another_order(compared):
    plan = compared("pitch").first.plan
    scenario = plan.scenario
    apart = scenario.with_changes(development=replace(scenario.development, priority="each block"))
    other = plan_method(apart, apart.method("open_frame"))
    assert not np.array_equal(other.rank, plan.rank)
    assert other.first_handover <= plan.first_handover + 7.0


# Links and rules


def test_every_link_is_kept(plans):
    for plan in plans:
        network, lag = plan.network, plan.links.lag
        fixed = plan.links.kind == CALENDAR
        end = plan.finish[network.before] + np.where(fixed, lag, 0.0)
        assert np.all(plan.start[network.after] >= end - 1e-6)


def test_links_stay_within_a_block_but_for_those_of_the_site(plans):
    for plan in plans:
        network = plan.network
        same = network.block[network.before] == network.block[network.after]
        of_site = (network.block[network.before] < 0) | (network.block[network.after] < 0)
        assert np.all(same | of_site)


def test_props_under_a_slab_stay_through_the_pours_above(plans):
    # The props under slab s + 1 go after the pours of the next n slabs, or the roof slab at the most.
    for plan in plans:
        levels = backprop_levels(plan.values)
        network = plan.network
        props = network.tasks_of("activity:props_out")
        slabs = network.tasks_of("event:slab_poured")
        poured = {}
        for task in slabs.tolist():
            place = (network.block[task], network.storey[task], network.zone[task])
            poured[tuple(map(int, place))] = plan.finish[task]
        for task in props.tolist():
            block, storey, zone = (int(x[task]) for x in (network.block, network.storey, network.zone))
            top = plan.takeoff.layout.storeys[block] + 1
            above = min(storey + 1 + levels, top)
            assert plan.start[task] >= poured[block, above, zone] - 1e-9


def test_inside_work_waits_for_the_same_slabs_above_in_every_method(compared):
    for name in SCENARIOS:
        for case in compared(name).cases:
            plan = case.plan
            separation = whole(plan.values["site.separation_storeys"])
            network = plan.network
            slabs = network.tasks_of("event:slab_poured")
            for task in network.tasks_of("activity:partition_frame").tolist():
                block, storey = int(network.block[task]), int(network.storey[task])
                level = min(storey + 1 + separation, plan.takeoff.layout.storeys[block] + 1)
                mine = (network.block[slabs] == block) & (network.storey[slabs] == level)
                mine &= network.zone[slabs] == network.zone[task]
                assert plan.start[task] >= plan.finish[slabs[mine]].max() - 1e-9


def test_a_ring_of_links_is_named():
    catalogue = read_catalogue()
    activities = catalogue.activities_of(catalogue.methods["open_frame"])
    steel = catalogue.activities["slab_rebar"]
    back = replace(steel, after=(*steel.after, Link(event=False, name="slab_pour")))
    ringed = replace(catalogue, activities={**catalogue.activities, "slab_rebar": back})
    with pytest.raises(
        ScheduleError, match=r"round in a ring.*slab_(pour|rebar).*Take one of these links out"
    ):
        build_network((3,), (1,), (((1, 3, 1, 1, 1),),), (False,), activities, RULES, ringed)


def test_an_activity_that_follows_one_the_method_has_not_is_refused():
    catalogue = read_catalogue()
    activities = catalogue.activities_of(catalogue.methods["open_frame"])
    lone = tuple(name for name in activities if name != "slab_rebar")
    with pytest.raises(ScheduleError, match=r"'slab_pour' follows 'slab_rebar'.*belong together"):
        build_network((3,), (1,), (((1, 3, 1, 1, 1),),), (False,), lone, RULES, catalogue)


@pytest.mark.parametrize(("value", "expected"), [(0.0, 0), (0.49, 0), (0.5, 1), (1.0, 1), (2.5, 3), (3.2, 3)])
def test_counted_rules_are_rounded_half_up(value, expected):
    assert whole(value) == expected


def test_structure_is_kept_between_cases_of_one_shape(compared):
    first, second = (load_scenario(FOLDER / "pitch.toml") for _ in range(2))
    dearer = second.with_override("activity.slab_rebar.hours", 20.0)
    plans = [plan_method(scenario, scenario.methods[0]) for scenario in (first, dearer)]
    assert plans[0].network is plans[1].network
    assert plans[0].finish.max() != plans[1].finish.max()


# Conditions


def test_hook_hours_of_large_loads_are_part_of_those_of_all_and_those_of_what_is_paid(plans):
    for plan in plans:
        c = plan.conditions
        assert np.all(c.hook_large <= c.hook_ordinary + 1e-12)
        assert np.all(c.hook_ordinary <= c.hook_paid + 1e-12)
        assert np.all(c.hook_paid[:, c.open_week == 0] == 0)
        assert np.all(c.share <= c.open_week[np.newaxis, :] + 1e-12)


def test_a_taller_block_has_no_more_hook_hours(compared):
    c = compared("pitch").first.plan.conditions
    assert np.all(np.diff(c.mean_hook) <= 0)  # 8, 14 and 22 storeys, a crane each


def test_release_takes_longest_from_a_pour_in_winter(plans):
    for plan in plans:
        c = plan.conditions
        month = (np.datetime64(c.start) + np.arange(1461)).astype("datetime64[M]").astype(int) % 12
        by_month = np.array([[row[:1461][month == m].mean() for m in range(12)] for row in c.release])
        assert np.all(by_month.argmax(axis=1) % 11 <= 1)  # December, January or February
        assert np.all(np.isin(by_month.argmin(axis=1), (5, 6, 7)))
        assert np.all(c.release[1] >= c.release[0])


# What cannot be planned


def test_a_load_that_may_never_fly_ends_the_programme_with_the_task_named():
    scenario = load_scenario(FOLDER / "two_storey.toml").with_changes(overrides={})
    calm = plan_method(scenario, scenario.method("panelised"))
    assert calm.last_handover > 0
    still = scenario.values("panelised").with_overrides({"weather.gust_limit_large": (1e-6, "")})
    takeoff = measure(scenario, still, ("outer", "separating"))
    words = r"not finished after 15 years: \d+ tasks.*panel.*storey 1.*hook hours.*hook and hoist limits"
    with pytest.raises(ScheduleError, match=words):
        schedule(scenario, scenario.method("panelised"), still, takeoff)


def test_too_few_deck_sets_say_how_many_are_needed():
    scenario = one_block()
    values = scenario.values("open_frame").with_overrides({"option.deck.loose_props.sets": (1.0, "")})
    with pytest.raises(
        ScenarioError, match=r"1 deck sets.*waits for ever with fewer than 3 sets.*to 3 or more"
    ):
        schedule(scenario, scenario.method("open_frame"), values, measure(scenario, values))


def test_options_that_do_not_go_together_say_which(compared):
    scenario = one_block()
    pairs = [o for o in read_catalogue().options.values() if o.goes_with]
    assert pairs
    option = pairs[0]
    element, allowed = option.goes_with[0]
    wrong = next(o for e, o in read_catalogue().options if e == element and o not in allowed)
    method = scenario.method("panelised")
    options = {**dict(method.options), option.element: option.id, element: wrong}
    values = scenario.values(method)
    bad = replace(method, options=tuple(options.items()))
    with pytest.raises(ScenarioError, match=rf"cannot be used with {element} = '{wrong}'"):
        schedule(scenario, bad, values, measure(scenario, values, ("outer", "separating")))
