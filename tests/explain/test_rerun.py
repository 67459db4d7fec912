"""One thing changed and worked again: the same as doing it by hand, and nothing else moves."""

from dataclasses import replace

import numpy as np
import pytest

from model.core.errors import RangeError
from model.explain.rerun import (
    Change,
    as_measured,
    extra_shifts,
    priced,
    replanned,
    rerun,
    with_gangs,
)
from model.pipeline import plan_method
from model.programme.durations import SHIFTS_PER_WEEK

SCENARIOS = ("two_storey", "pitch", "large")
DAY = 1e-6


@pytest.fixture(params=SCENARIOS)
def cases(compared, request):
    return compared(request.param).cases


@pytest.fixture
def case(compared):
    return compared("two_storey").first


def task_of(plan, name, storey=0):
    tasks = plan.network.tasks_of(f"activity:{name}")
    (task,) = tasks[plan.network.storey[tasks] == storey]
    return int(task)


def test_nothing_changed_gives_every_date_again(cases):
    for case in cases:
        plan = rerun(case, Change(), dates_only=True)
        assert plan is not case.plan
        for name in ("ready", "start", "finish", "gang", "bound_link", "bound_task", "moved_work"):
            assert np.array_equal(getattr(plan, name), getattr(case.plan, name)), name


def test_planning_with_nothing_new_gives_every_date_and_pound_again(cases):
    for case in cases:
        again = rerun(case, Change(priority=case.plan.scenario.development.priority), case.account.grid)
        assert np.array_equal(again.plan.finish, case.plan.finish)
        assert again.account.profit == case.account.profit


def test_a_record_set_is_the_record_set_in_the_scenario(compared):
    comparison = compared("pitch")
    key, value = "site.rework", 0.10
    by_hand = comparison.scenario.with_override(key, value)
    for case in comparison.cases:
        plan = rerun(case, Change("More done twice", settings={key: value}), dates_only=True)
        assert np.array_equal(plan.finish, plan_method(by_hand, by_hand.method(case.method.id)).finish)
        assert plan.values.overrides[key] == (value, "More done twice")
        assert plan.last_handover > case.plan.last_handover


def test_the_other_order_of_work_is_the_one_set_in_the_scenario(compared):
    comparison = compared("pitch")
    development = replace(comparison.scenario.development, priority="each block")
    by_hand = comparison.scenario.with_changes(development=development)
    plan = rerun(comparison.first, Change(priority="each block"), dates_only=True)
    assert np.array_equal(plan.finish, plan_method(by_hand, by_hand.methods[0]).finish)


# tests/hand/open_frame_tasks.csv: nine tenths of commissioning take 27 shifts from Thu 199.075 to 238.075, a
# Monday; 14 days later the block is ready, 252.075.
@pytest.mark.parametrize(
    ("shifts", "handover"),
    [
        (1, 253.075),  # Tue 239.075 + 14
        (4, 256.075),  # Fri 242.075 + 14
        (5, 259.075),  # one shift past Fri 243: Mon 245.075, + 14
        (7.5, 261.575),  # Mon 245.075 + 2.5 = Wed 247.575, + 14
    ],
)
def test_work_more_in_the_critical_task_moves_the_handover_by_its_working_days(case, shifts, handover):
    task = task_of(case.plan, "commissioning_most")
    plan = rerun(case, Change(extra_work={task: shifts}), dates_only=True)
    assert plan.last_handover == pytest.approx(handover, rel=0, abs=DAY)


def test_work_more_changes_no_hook_hour_and_no_price_of_the_work(compared):
    case = compared("pitch").second
    task = int(case.plan.tasks.hook.argmax())
    changed = rerun(case, Change(extra_work={task: SHIFTS_PER_WEEK}))
    assert changed.plan.moved_hook.sum() == pytest.approx(case.plan.moved_hook.sum(), rel=1e-9)
    assert changed.account.work.reference == pytest.approx(case.account.work.reference, rel=1e-9)
    assert changed.account.cost_of("construction") == pytest.approx(
        case.account.cost_of("construction"), rel=1e-9
    )


def test_an_array_and_a_mapping_of_work_are_alike(case):
    task = task_of(case.plan, "brickwork", 2)
    array = np.zeros(case.plan.network.size)
    array[task] = 2.0
    one, other = (rerun(case, Change(extra_work=x), dates_only=True) for x in (array, {task: 2.0}))
    assert np.array_equal(one.finish, other.finish)


def test_progress_as_measured_adds_up_to_the_work_that_was_measured(case):
    change = Change(extra_work={task_of(case.plan, "brickwork", 2): 2.0})
    plan = as_measured(replanned(case.plan, change), change)
    assert plan.tasks.work == pytest.approx(case.plan.tasks.work)
    done = np.bincount(plan.moved_task, plan.moved_work, minlength=plan.network.size)
    assert done == pytest.approx(case.plan.tasks.work, rel=1e-9, abs=1e-9)


def test_priced_without_counting_people_is_priced_in_full(cases):
    for case in cases:
        change = Change(extra_work={int(case.plan.tasks.work.argmax()): SHIFTS_PER_WEEK})
        full = rerun(case, change)
        quick = priced(as_measured(replanned(case.plan, change), change), case.site, full.account.grid)
        assert quick.profit == full.account.profit


def test_a_gang_more_is_in_its_own_pool_only(case):
    gangs = case.plan.gangs
    pool = gangs.pools.index(("dryliners", -1))
    more = with_gangs(gangs, {("dryliners", -1): 1})
    assert (more.counts - gangs.counts).tolist() == [int(k == pool) for k in range(len(gangs.pools))]


def test_cranes_and_hoists_go_by_their_names(compared):
    case = compared("pitch").first
    with pytest.raises(RangeError, match=r"no crane called 'Elsewhere'.*There are: "):
        rerun(case, Change(crane_numbers={"Elsewhere": 2}))
    with pytest.raises(RangeError, match=r"no block called 'Elsewhere'.*There are: "):
        rerun(case, Change(hoists={"Elsewhere": 2}))
    with pytest.raises(RangeError, match=r"would have 0; give 1 or more"):
        rerun(case, Change(crane_numbers={case.plan.scenario.served[0].name: 0}))


def test_a_second_crane_gives_more_hook_hours(compared):
    case = compared("pitch").first
    name = case.plan.scenario.served[0].name
    plan = rerun(case, Change(crane_numbers={name: 2}), dates_only=True)
    assert plan.conditions.mean_hook[0] > case.plan.conditions.mean_hook[0]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (Change(settings={"site.nothing": 1.0}), r"no record 'site.nothing'.*assumptions page"),
        (Change(settings={"site.rework": -0.5}), r"site.rework would be -0.5; 0 to .*has a meaning"),
        (Change(priority="tallest"), r"'tallest' is not known. Give together or each block"),
        (Change(gangs={("dryliners", 0): 1}), r"No gangs of 'dryliners' are pooled for block 0.*There are"),
        (Change(gangs={("dryliners", -1): -9}), r"would have -\d gangs; at least 1 is needed"),
        (Change(extra_work={10**6: 1.0}), r"no task 1000000; tasks are numbered 0 to"),
        (Change(extra_work={0: -1.0}), r"task 0 is -1 shifts; it must be 0 or more"),
        (Change(extra_work={0: float("nan")}), r"task 0 is nan shifts; it must be 0 or more"),
        (Change(extra_work=np.zeros(3)), r"of 3 tasks was given for a plan of \d+. Give one value a task"),
    ],
)
def test_a_change_that_cannot_be_is_refused_with_its_reason(case, change, said):
    with pytest.raises(RangeError, match=said):
        rerun(case, change)


def test_no_work_is_added_to_an_event(case):
    event = int(case.plan.network.tasks_of("event:ready")[0])
    with pytest.raises(RangeError, match=rf"Task {event} is an event and has no work to add to"):
        extra_shifts(case.plan, {event: 1.0})
