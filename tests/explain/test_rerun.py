"""One thing changed and worked again: the same as doing it by hand, and nothing else moves."""

import sys
from dataclasses import fields, replace

import numpy as np
import pytest

from model.core.errors import RangeError
from model.explain.rerun import (
    Change,
    as_measured,
    extra_shifts,
    only_priced,
    priced,
    reaches_plan,
    replanned,
    rerun,
    rerun_together,
    with_gangs,
)
from model.inputs.assumption import Values, read_library
from model.inputs.method import read_catalogue
from model.inputs.scenario import ready_method, ready_methods
from model.money import common_grid, price
from model.pipeline import compare_methods, plan_method
from model.programme import conditions
from model.programme.durations import SHIFTS_PER_WEEK
from model.site import operate

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


# Records that only prices read


class Recorder(Values):
    """Values that remember which keys were read.

    `items` is not remembered: the conditions go through all of it only to know equal inputs by.
    """

    read: set = set()  # noqa: RUF012 -- one for all methods of a test

    def __getitem__(self, key):
        self.read.add(key)
        return super().__getitem__(key)

    def record(self, key):
        self.read.add(key)
        return super().record(key)

    def items(self):
        return list(self._numbers.items())

    @property
    def overrides(self):
        raise AssertionError("a stage of the model looked at what is overridden")


def every_choice():
    """The ready methods, and as many more as it takes for every option to stand in one that can be built."""
    library, catalogue = read_library(), read_catalogue()
    methods = [ready_method(name, library) for name in ready_methods(library)]
    for element, name in catalogue.options:
        if all(dict(method.options)[element] != name for method in methods):
            options = {**dict(methods[0].options), element: name}
            for other, allowed in catalogue.options[element, name].goes_with:
                options[other] = allowed[0]
            methods.append(replace(methods[0], id=f"with {name}", options=tuple(options.items())))
    return methods


def test_every_option_stands_in_a_method_that_is_tried():
    tried = {choice for method in every_choice() for choice in method.options}
    assert tried == set(read_catalogue().options)


def forget():
    """Clear whatever the model keeps of earlier runs, the library and its tables apart."""
    conditions._KEPT.clear()
    for name, module in list(sys.modules.items()):
        if name.startswith("model."):
            for word, item in list(vars(module).items()):
                if hasattr(item, "cache_clear") and not word.startswith("read_"):
                    item.cache_clear()


@pytest.fixture(scope="module")
def read(compared):
    """Keys read on the way to the plans and site uses of every method, and by the prices of them."""
    patch = pytest.MonkeyPatch()
    patch.setattr("model.inputs.scenario.Values", Recorder)
    planned, priced_from = set(), set()
    try:
        for name in ("two_storey", "pitch"):
            scenario = compared(name).scenario
            for late in (False, True):
                development = replace(scenario.development, late_adoption=late)
                changed = replace(scenario, development=development)
                for method in every_choice():
                    forget()
                    Recorder.read = set()
                    plan = plan_method(changed, method)
                    site = operate(plan)
                    planned |= Recorder.read
                    Recorder.read = set()
                    price(plan, site, common_grid([plan]))
                    priced_from |= Recorder.read
    finally:
        patch.undo()
        Recorder.read = set()
    return planned, priced_from


def test_no_plan_reads_a_record_that_is_said_to_reach_none(read):
    planned, _priced = read
    assert len(planned) > 500
    assert {key for key in planned if not reaches_plan(key)} == set()


def test_whatever_only_prices_read_is_said_to_reach_no_plan(read):
    planned, priced_from = read
    assert len(priced_from - planned) > 50
    assert {key for key in priced_from - planned if reaches_plan(key)} == set()


@pytest.mark.parametrize("key", ["factory.order", "factory.lead", "block.start_weeks", "crane.evening_hours"])
def test_what_both_plan_and_prices_read_reaches_the_plan(key):
    assert reaches_plan(key)


def test_what_the_library_does_not_hold_is_taken_to_reach_the_plan():
    assert reaches_plan("weather.unheard_of")


def moved_records(values):
    """Every record that reaches no plan, at another value that has a meaning."""
    records = values.library.records
    ends = {key: (records[key].low, records[key].high) for key in records if not reaches_plan(key)}
    return {key: high if values[key] != high else low for key, (low, high) in ends.items() if low < high}


def test_all_of_them_changed_at_once_leave_plan_and_site_to_the_last_bit(compared):
    for name in ("two_storey", "pitch"):
        scenario = compared(name).scenario
        for case in compared(name).cases:
            settings = moved_records(case.plan.values)
            assert len(settings) > 100
            method = replace(case.method, overrides=tuple((key, (x, "")) for key, x in settings.items()))
            forget()
            plan = plan_method(scenario, method)
            for one, other in ((plan, case.plan), (operate(plan), case.site), (plan.tasks, case.plan.tasks)):
                for field in fields(one):
                    if isinstance(getattr(other, field.name), np.ndarray):
                        assert np.array_equal(
                            getattr(one, field.name), getattr(other, field.name), equal_nan=True
                        ), field.name


PRICES = {
    "one rate": {"option.outer_wall.framed.rate": 395.0},
    "the loan": {"money.debt_rate_pct": 11.5, "money.arrangement_pct": 2.0},
    "months of money": {"money.defects_months": 6.0, "money.reservations_per_month": 6.5},
    "a thicker wall": {"option.outer_wall.panel_before_deck.extra_thickness": 0.05},
    "the site": {"site_cost.team.rate": 51_000.0, "scale.exponent": 0.9, "site.bays": 1.0},
}


@pytest.mark.parametrize("settings", PRICES.values(), ids=PRICES)
def test_prices_alone_are_what_a_full_rebuild_gives(compared, settings):
    comparison = compared("pitch")
    assert only_priced(Change(settings=settings))
    for case in comparison.cases:
        again = rerun(case, Change("Prices", settings=settings))
        plan = plan_method(comparison.scenario, again.method)
        site = operate(plan)
        rebuilt = price(plan, site, common_grid([case.plan, plan]))
        assert rebuilt.grid == again.account.grid
        for figure in ("profit", "npv", "interest", "peak_debt", "receipts", "week"):
            assert getattr(again.account, figure) == getattr(rebuilt, figure), figure
        assert (again.plan.first_handover, again.plan.last_handover) == (
            plan.first_handover,
            plan.last_handover,
        )
        assert again.site.hook_hours == site.hook_hours
        assert again.site.bay_capacity_per_day == site.bay_capacity_per_day
        assert again.account.profit != case.account.profit or "extra_thickness" in str(settings)


def test_prices_alone_keep_the_plan_and_hold_the_new_values(compared):
    case = compared("pitch").second
    again = rerun(case, Change("Dearer", settings={"money.debt_rate_pct": 11.0}))
    for name in ("takeoff", "network", "tasks", "conditions", "finish", "moved_work"):
        assert getattr(again.plan, name) is getattr(case.plan, name), name
    assert again.site.worked is case.site.worked
    assert again.site.plan is again.account.plan is again.plan
    assert again.plan.values.overrides["money.debt_rate_pct"] == (11.0, "Dearer")
    assert dict(again.plan.method.overrides) == dict(again.method.overrides)
    assert case.plan.values["money.debt_rate_pct"] != 11.0


def test_no_plan_is_made_where_pricing_is_enough(compared, monkeypatch):
    def refuse(*_arguments, **_named):
        raise AssertionError("it was planned again")

    for name in ("plan_method", "schedule", "run_plan", "operate"):
        monkeypatch.setattr(sys.modules["model.explain.rerun"], name, refuse)
    case = compared("pitch").first
    assert rerun(case, Change(settings={"money.price": 5000.0})).account.profit > case.account.profit
    with pytest.raises(AssertionError, match="it was planned again"):
        rerun(case, Change(settings={"factory.lead": 24.0}))


def test_a_price_with_another_order_of_work_or_gang_is_both(compared):
    comparison, settings = compared("pitch"), {"money.debt_rate_pct": 11.0}
    case, grid = comparison.first, comparison.first.account.grid
    for change in (Change(priority="each block"), Change(gangs={("dryliners", -1): 1})):
        alone = rerun(case, change, grid)
        both = rerun(case, replace(change, settings=settings), grid)
        assert np.array_equal(both.plan.finish, alone.plan.finish)
        prices = rerun(alone, Change(settings=settings), grid)
        assert both.account.profit == prices.account.profit != alone.account.profit


@pytest.mark.parametrize("settings", [{"money.reservations_per_month": 6.5}, {"factory.order": -30.0}])
def test_a_record_both_share_goes_to_both_as_in_the_scenario(compared, settings):
    comparison = compared("pitch")
    ((key, value),) = settings.items()
    by_hand = compare_methods(comparison.scenario.with_override(key, value))
    first, second = rerun_together(
        comparison.cases,
        Change(settings=settings),
        [replanned(comparison.walls.plan, Change(settings=settings))],
    )
    assert first.account.grid == by_hand.first.account.grid
    assert (first.account.profit, second.account.npv) == (
        by_hand.first.account.profit,
        by_hand.second.account.npv,
    )


def test_each_case_may_have_a_change_of_its_own(compared):
    comparison = compared("two_storey")
    dearer = Change(settings={"option.outer_wall.framed.rate": 400.0})
    first, second = rerun_together(comparison.cases, [dearer, Change(settings={"money.price": 6500.0})])
    assert first.account.profit < comparison.first.account.profit
    assert second.account.profit == pytest.approx(comparison.second.account.profit, rel=1e-12)
    with pytest.raises(RangeError, match=r"3 changes were given for 2 cases. Give one, or one for each"):
        rerun_together(comparison.cases, [dearer] * 3)
