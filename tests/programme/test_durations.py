"""Work, people, learning and hook hours of the tasks: by hand, and against the records one by one."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.core.errors import ScenarioError
from model.inputs.method import CALENDARS, LIFT_CLASSES, read_catalogue
from model.inputs.reading import read_tables
from model.pipeline import plan_method
from model.programme.durations import SHIFTS_PER_WEEK, block_order, learning_factor, people_on

TRADE = "Facts of the trade, common practice"


def small(override=None, **block):
    tables = {
        "development": {"name": "One zone", "place": "london", "start": "2027-03-01"},
        "blocks": [{"name": "Only", "storeys": 3, "flats_per_storey": 3, "zones": 1, **block}],
    }
    scenario = read_tables(tables)
    for key, value in (override or {}).items():
        scenario = scenario.with_override(key, value)
    return plan_method(scenario, scenario.method("panelised"))


@pytest.mark.parametrize(
    ("flats", "facade", "panel", "panels", "hours"),
    [(2, 57.6, 7.2, 8, 2.0), (3, 110.4, 4.6, 24, 6.0)],
    ids=["the walls of a flat", "three flats a trailer"],
)
def test_hook_time_of_panels(flats, facade, panel, panels, hours):
    # Derived: 8 panels x 15 min = 2.0 h, 24 panels x 15 min = 6.0 h; facade cut into panels of equal length.
    level = {"crane.beta": 0.0, "crane.hoist_up": 1000.0, "crane.hoist_down": 1000.0}  # no time for height
    plan = small({"panel.outer_length": panel, **level}, flats_per_storey=flats, facade_length_m=facade)
    tasks = plan.network.tasks_of("activity:panel_set")
    assert plan.tasks.lifts[tasks].tolist() == pytest.approx([panels] * 3, abs=1e-9), TRADE
    assert plan.tasks.hook[tasks].tolist() == pytest.approx([hours] * 3, abs=1e-9), TRADE


def test_thirty_four_panels_a_day_of_a_crane():
    # Derived: a 10 h day at 0.85 and 15 min a panel is 34 panels.
    plan = small({"crane.utilisation": 0.85})
    paid = plan.conditions.hook_paid[0]
    minutes = plan.values["activity.panel_set.hook"]
    assert paid.max() * 60 / minutes == pytest.approx(34.0, abs=1e-9), TRADE


@pytest.mark.parametrize(
    ("gang", "most", "area", "space", "expected"),
    [
        (4, 12, 428.0, 13.5, 12),  # the trade's own limit
        (6, 16, 150.0, 13.5, 11),  # 11.1 people have room
        (6, 16, 40.0, 13.5, 6),  # never less than a gang
        (2, 8, 176.0, 22.0, 8),  # exactly eight have room
        (0, 0, 428.0, 13.5, 0),  # a factory has nobody on the storey
    ],
)
def test_people_fill_a_zone_up_to_the_trades_limit_and_the_room(gang, most, area, space, expected):
    assert people_on(gang, most, np.array([area]), space).tolist() == [expected]


@given(
    area=st.floats(min_value=60, max_value=2000),
    gang=st.integers(min_value=1, max_value=6),
    more=st.integers(min_value=0, max_value=12),
)
def test_people_have_the_room_they_need_or_are_one_gang(area, gang, more):
    people = float(people_on(gang, gang + more, np.array([area]), 22.0)[0])
    assert people == round(people)
    assert gang <= people <= gang + more
    assert people == gang or people <= area / 22.0 + 1e-6


def test_learning_by_hand():
    # Hand calculation at 0.93 and four storeys: 0.93^-2, 0.93^-1, 0.93^log2(3/4), then settled.
    got = learning_factor(np.array([1.0, 2, 3, 4, 9]), 0.93, 4.0)
    assert got == pytest.approx([1.156203, 1.075269, 1.030578, 1.0, 1.0], abs=5e-7)


@given(rate=st.floats(min_value=0.8, max_value=1.0), settled=st.integers(min_value=1, max_value=8))
def test_a_storey_is_never_slower_than_the_one_below_and_settles(rate, settled):
    factor = learning_factor(np.arange(1.0, 30.0), rate, float(settled))
    assert np.all(np.diff(factor) <= 1e-12)
    assert np.all(factor[settled - 1 :] == 1.0)


def by_hand(plan, task: int) -> tuple[float, float, float]:
    """Shifts, hook hours and hoist hours of one task, from its record and the take-off."""
    network, values = plan.network, plan.values
    activity = read_catalogue().activities[plan.activity_names()[task]]
    amount = plan.tasks.amount[task]
    key = activity.key
    if activity.timed_by == "weeks":
        shifts = amount * values[f"{key}.weeks"] * SHIFTS_PER_WEEK
    elif activity.timed_by == "output":
        shifts = amount / values[activity.output] * SHIFTS_PER_WEEK
    else:
        hours = amount * values[f"{key}.hours"] * (1 + values["site.rework"])
        shifts = hours / (plan.tasks.people[task] * values["site.productive_hours"])
        shifts /= values["site.labour_present"]
    if activity.learns and activity.scope not in ("section", "block"):
        done = float(network.storey[task])
        if read_catalogue().trades[activity.trade].travels:
            starts = [block.start_weeks or 0.0 for block in plan.scenario.blocks]
            here = int(network.block[task])
            before = [b for b, start in enumerate(starts) if (start, b) < (starts[here], here)]
            done += sum(plan.scenario.blocks[b].storeys for b in before)
        settled = values["site.learning_storeys"]
        shifts *= values["site.learning"] ** math.log2(min(done, settled) / settled)
    hook = hoist = 0.0
    if activity.lifts:
        by_skip = values[activity.skip_share] if activity.skip_share else 1.0
        lifts = amount * values[f"{key}.lifts"]
        by_crane = lifts * values[f"{key}.crane_share"] * by_skip
        block = plan.scenario.blocks[int(network.block[task])]
        level = int(network.storey[task]) or block.storeys + 1
        height = (level - 1) * 3.0
        hook = by_crane * (values[f"{key}.hook"] + travel(values, height) - travel(values, 40.0)) / 60
        if not activity.skip_share:
            trip = values["hoist.handling"] + 2 * height / values["hoist.speed"]
            hoist = (lifts - by_crane) * trip / 60
    return shifts, hook, hoist


def travel(values, height: float) -> float:
    """Minutes of the hook to a height and back: a quarter turn from 25 m to 30 m, from 1.5 m up."""
    trolley, slew = 5 / values["crane.trolley"], 0.25 / values["crane.slew"]
    level = max(trolley, slew) + values["crane.alpha"] * min(trolley, slew)
    minutes = 0.0
    for speed in ("crane.hoist_up", "crane.hoist_down"):
        rise = abs(height - 1.5) / values[speed]
        minutes += max(level, rise) + values["crane.beta"] * min(level, rise)
    return minutes


@pytest.mark.parametrize("method", [0, 1])
def test_every_task_takes_what_its_record_says(compared, method):
    plan = compared("pitch").cases[method].plan
    names = plan.activity_names()
    for task in range(0, plan.network.size, 7):
        if plan.network.group[task] >= plan.network.activities:
            assert plan.tasks.work[task] == plan.tasks.hook[task] == 0.0
            continue
        shifts, hook, hoist = by_hand(plan, task)
        assert plan.tasks.hoist_hours[task] == pytest.approx(hoist, rel=1e-9), names[task]
        assert plan.tasks.work[task] == pytest.approx(shifts, rel=1e-9), names[task]
        assert plan.tasks.hook[task] == pytest.approx(hook, rel=1e-9), names[task]


# facts: hook cycles by level, pick (25, 0, 1.5), place (0, 30, 3.15 (n - 1)), alpha 0.25, beta 0.5; derived.
CYCLES = [(5, 5.1, 16.1), (10, 5.4, 16.4), (20, 6.4, 17.4), (30, 7.5, 18.5), (40, 8.6, 19.6)]


@pytest.mark.parametrize(("level", "general", "panel"), CYCLES)
def test_a_lift_takes_longer_with_height_as_the_published_form_of_hook_travel_has_it(level, general, panel):
    """Travel of the cycles, handling 4 and 15 minutes: the same minutes for a panel as for any load."""
    plan = small(storeys=40, storey_height_m=3.15)
    tasks = plan.network.tasks_of("activity:panel_set")
    minutes = 60 * plan.tasks.hook[tasks] / plan.tasks.lifts[tasks]
    travels = travel(plan.values, 3.15 * (level - 1))
    assert travels + 4 == pytest.approx(general, abs=0.05)
    assert travels + 15 == pytest.approx(panel, abs=0.05)
    record = plan.values["activity.panel_set.hook"] - travel(plan.values, 40.0)
    assert minutes[level - 1] == pytest.approx(record + travels, rel=1e-9)


def test_a_tall_block_without_a_hoist_takes_everything_up_by_crane_and_a_low_one_by_neither():
    """Low blocks unload by telehandler: facts of the trade, common practice."""
    with_hoist, without = small(storeys=6), small(storeys=6, hoists=0)
    low = small(storeys=3)
    for plan, by_hoist in ((with_hoist, True), (without, False), (low, False)):
        assert bool((plan.tasks.hoist_hours > 0).any()) == by_hoist
    brick = without.network.tasks_of("activity:brickwork")
    assert with_hoist.tasks.hook[brick].sum() == 0.0
    assert without.tasks.lifts[brick] == pytest.approx(
        without.tasks.amount[brick] * without.values["activity.brickwork.lifts"]
    )


def test_a_lift_shorter_than_its_own_travel_is_refused():
    with pytest.raises(
        ScenarioError, match=r"activity\.panel_set\.hook.*travel of the hook alone takes 1\.8 minutes"
    ):
        small({"activity.panel_set.hook": 1.0})


@pytest.mark.parametrize(("share", "hours"), [(0.0, 0.20), (1.0, 0.42), (0.5, 0.31)])
def test_a_slab_by_skip_takes_the_crane_and_more_labour(share, hours):
    """12 m3 an hour by a crew of five against 30 by pump and six: common practice, no source."""
    plan = small({"crane.skip_slabs": share, "site.learning": 1.0, "site.rework": 0.0})
    pour = plan.network.tasks_of("activity:slab_pour")
    each = plan.values["site.productive_hours"] * plan.values["site.labour_present"]
    assert plan.tasks.work[pour] * plan.tasks.people[pour] * each == pytest.approx(
        plan.tasks.amount[pour] * hours
    )
    assert plan.tasks.lifts[pour] == pytest.approx(plan.tasks.amount[pour] * 0.8 * share)


def test_every_task_has_the_calendar_and_lift_class_of_its_activity(compared):
    plan = compared("two_storey").second.plan
    names, catalogue = plan.activity_names(), read_catalogue()
    trades = list(catalogue.trades)
    for task in np.flatnonzero(plan.tasks.work > 0):
        activity = catalogue.activities[names[task]]
        assert CALENDARS[plan.tasks.calendar[task]] == activity.calendar
        assert trades[plan.tasks.trade[task]] == activity.trade
        if plan.tasks.hook[task] > 0:
            assert LIFT_CLASSES[plan.tasks.lift_class[task] - 1] == activity.lift_class
            assert plan.tasks.crane[task] >= 0


def test_substructure_takes_its_weeks_and_panels_the_factorys_pace(compared):
    # Hand calculation: 20 weeks are 100 shifts; panels at 135 a week are 27 a shift.
    plan = compared("pitch").second.plan
    weeks = plan.network.tasks_of("activity:substructure")
    assert plan.tasks.work[weeks].tolist() == [100.0] * 3
    made = plan.network.tasks_of("activity:make_panels")
    assert plan.tasks.work[made] == pytest.approx(plan.tasks.amount[made] / 27.0, rel=1e-12)


def test_blocks_learn_in_the_order_in_which_they_start(compared):
    scenario = compared("pitch").scenario
    values = scenario.values("open_frame")
    assert block_order(scenario, values).tolist() == [0, 1, 2]
    later = scenario.with_block("Heron", start_weeks=30.0)
    assert block_order(later, values).tolist() == [1, 2, 0]


@given(share=st.floats(min_value=0.5, max_value=0.95))
def test_hours_of_an_activity_move_its_work_and_nothing_elses(share):
    base = small()
    quick = small({"activity.slab_rebar.hours": 22 * share})
    mine = base.network.tasks_of("activity:slab_rebar")
    ratio = 22 * share / base.values["activity.slab_rebar.hours"]
    assert quick.tasks.work[mine] == pytest.approx(base.tasks.work[mine] * ratio, rel=1e-9)
    others = np.ones(base.network.size, dtype=bool)
    others[mine] = False
    assert np.array_equal(quick.tasks.work[others], base.tasks.work[others])
    assert np.array_equal(quick.tasks.hook, base.tasks.hook)
