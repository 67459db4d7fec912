"""Why a date is what it is, and float: hand figures, printed floats, and the paths of shipped schemes."""

import csv
import datetime as dt
import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.inputs.method import CAUSES, read_catalogue
from model.programme import causes
from model.programme.causes import (
    CLOSED,
    HOOK,
    KEPT_CLEAR,
    PATH_CAUSES,
    PATH_COLUMNS,
    TRADE_COLUMNS,
    WEATHER,
    WORK,
    date_parts,
    float_by_trade,
    float_days,
    gang_sequence,
    latest_finish,
    path_to,
    realised_lags,
    split_elapsed,
    split_wait,
    trace,
)
from model.programme.kernel import CALENDAR, PROPS, STRIKE, WORKING

ROWS = list(
    csv.DictReader(
        (Path(__file__).parents[1] / "published" / "cpm.csv").read_text(encoding="utf-8").splitlines()
    )
)
LENGTHS = {"seven activities": 16.0, "arrow network": 20.0}
PLANS = [(name, method) for name in ("two_storey", "pitch") for method in (0, 1)]


def array(*values):
    return np.array(values, dtype=float)


def whole(*values):
    return np.array(values, dtype=np.int64)


@cache
def _path(plan, task):
    return path_to(plan, task)


@pytest.fixture(params=PLANS, ids=lambda p: f"{p[0]} {p[1]}")
def plan(compared, request):
    name, method = request.param
    return compared(name).cases[method].plan


def ends_of_events(plan):
    """Every event in every block: where it has happened in the whole block."""
    network = plan.network
    last = {}
    for task in np.flatnonzero(network.group >= network.activities):
        key = (network.group[task], network.block[task])
        if key not in last or plan.finish[task] > plan.finish[last[key]]:
            last[key] = int(task)
    return list(last.values())


def some_tasks(plan):
    """Ends of all events, and every 97th task or, in a small plan, every task."""
    each = 1 if plan.network.size < 1000 else 97
    return ends_of_events(plan) + list(range(0, plan.network.size, each))


# Time cut into dates


def test_a_stretch_is_cut_at_midnight():
    # 1.5 to 4.25: half of date 1, dates 2 and 3, a quarter of date 4; 2.0 to 3.0 is date 2 alone.
    stretch, date, elapsed = date_parts(array(1.5, 2.0), array(4.25, 3.0))
    assert stretch.tolist() == [0, 0, 0, 0, 1]
    assert date.tolist() == [1, 2, 3, 4, 2]
    assert elapsed.tolist() == [0.5, 1.0, 1.0, 0.25, 1.0]


def test_a_stretch_of_no_length_has_no_parts():
    stretch, date, elapsed = date_parts(array(3.5, 7.0), array(3.5, 7.0))
    assert stretch.size == date.size == elapsed.size == 0


# In hand


def test_a_week_in_hand_is_split_as_by_hand():
    # Friday from noon: 0.5 of a date of which weather leaves 0.9: 0.45 done, 0.05 weather.
    # Saturday open half a shift, weather leaves 0.45: 0.45 done, 0.5 closed, 0.05 weather.
    # Sunday: closed. Monday: 0.9 to be had, hook for 0.3 only: 0.6 waiting for it, 0.1 weather.
    # Tuesday: a tenth of the 0.9 lost under large lifts: 0.09 kept clear, 0.81 done.
    got = split_elapsed(
        array(0.5, 1, 1, 1, 1),
        array(1, 0.5, 0, 1, 1),
        array(0.9, 0.45, 0, 0.9, 0.9),
        array(0, 0, 0, 0, 0.1),
        array(0.45, 0.45, 0, 0.3, 0.81),
    )
    expected = np.zeros((5, 5))
    expected[WORK] = 0.45, 0.45, 0, 0.3, 0.81
    expected[CLOSED] = 0, 0.5, 1, 0, 0
    expected[WEATHER] = 0.05, 0.05, 0, 0.1, 0.1
    expected[HOOK] = 0, 0, 0, 0.6, 0
    expected[KEPT_CLEAR] = 0, 0, 0, 0, 0.09
    assert got == pytest.approx(expected, abs=1e-12)


part = st.floats(min_value=0, max_value=1)


@settings(max_examples=100, deadline=None)
@given(
    parts=st.lists(st.tuples(part.filter(lambda e: e > 0), part, part, part, part), min_size=1, max_size=8)
)
def test_time_in_hand_adds_up_and_no_part_of_it_is_below_nothing(parts):
    elapsed, open_share, left, clear, effort = np.array(parts).T
    share = open_share * left
    done = effort * elapsed * share * (1 - clear)
    got = split_elapsed(elapsed, open_share, share, clear, done)
    assert got.sum(axis=0) == pytest.approx(elapsed, abs=1e-12)
    assert got.min() >= -1e-12
    assert got[WORK] == pytest.approx(done, abs=2e-9)
    waiting = split_wait(elapsed, open_share, share, clear)
    assert waiting.sum(axis=0) == pytest.approx(elapsed, abs=1e-12)
    assert np.count_nonzero(waiting, axis=0).tolist() == [1] * elapsed.size


def test_more_work_than_a_date_allows_is_refused():
    with pytest.raises(RangeError, match=r"0\.8 shifts of work.*allows 0\.45.*one and the same schedule"):
        split_elapsed(array(0.5), array(1), array(0.9), array(0), array(0.8))


@pytest.mark.parametrize(
    ("open_share", "share", "clear"), [(0.5, 0.9, 0.0), (1.1, 0.9, 0.0), (1.0, -0.1, 0.0), (1.0, 0.5, 1.2)]
)
def test_shares_that_cannot_be_are_refused(open_share, share, clear):
    with pytest.raises(RangeError, match=r"0 <= what the weather leaves <= what the site is open <= 1"):
        split_elapsed(array(1), array(open_share), array(share), array(clear), array(0))


# Waiting to start


def test_waiting_goes_whole_to_what_stood_in_the_way():
    # closed; open and rained off; large lifts all day; half-open Saturday without a hook; free but no hook
    got = split_wait(
        array(0.5, 1, 1, 1, 0.25), array(0, 1, 1, 0.5, 1), array(0, 0, 0.9, 0.4, 1), array(0, 0, 1, 0.1, 0)
    )
    expected = np.zeros((5, 5))
    expected[CLOSED, 0] = 0.5
    expected[WEATHER, 1] = 1
    expected[KEPT_CLEAR, 2] = 1
    expected[HOOK, 3:] = 1, 0.25
    assert got.tolist() == expected.tolist()


# What fixed what


def example(kit, name):
    rows = [row for row in ROWS if row["example"] == name]
    place = {row["task"]: k for k, row in enumerate(rows)}
    tasks = tuple(kit.Task(work=float(row["days"])) for row in rows)
    links = tuple(
        kit.Link(place[before], place[row["task"]]) for row in rows for before in row["after"].split()
    )
    return kit.Net(tasks, links), place


@pytest.mark.parametrize(
    ("name", "path"), [("seven activities", "A B D E G"), ("arrow network", "1-3 3-4 4-5 5-6")]
)
def test_the_chain_of_a_printed_example_is_its_critical_path(kit, name, path):
    # Lecture handout, Example 1; Introduction to Management Science, ch. 8 (see published/cpm.csv)
    net, place = example(kit, name)
    done = net.run(kit.always(gangs=(len(net.tasks),)))
    before = whole(*(link.before for link in net.links))
    last = int(done.finish.argmax())
    chain = trace(last, done.bound_task, done.bound_link, before)
    names = {k: task for task, k in place.items()}
    assert [names[k] for k in chain.tolist()] == path.split()


def test_a_gang_goes_before_a_link():
    # 2 follows 0 by a link, but the gang came from 1 later
    assert trace(2, whole(-1, -1, 1), whole(-1, -1, 0), whole(0)).tolist() == [1, 2]
    assert trace(2, whole(-1, -1, -1), whole(-1, -1, 0), whole(0)).tolist() == [0, 2]


# Backward pass


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['example']} {row['task']}")
def test_latest_finishes_and_floats_are_those_printed(kit, row):
    net, place = example(kit, row["example"])
    before = whole(*(link.before for link in net.links))
    after = whole(*(link.after for link in net.links))
    mixed = np.random.default_rng(1).permutation(before.size)  # links come in any order
    limit = np.full(len(net.tasks), LENGTHS[row["example"]])
    latest = latest_finish(before[mixed], after[mixed], net.lags, net.of("work"), limit)
    tolerance = float(row["half_step"])
    task = place[row["task"]]
    assert latest[task] == pytest.approx(float(row["late_finish"]), rel=0, abs=tolerance), row["source"]
    room = latest[task] - net.early()[task]
    assert room == pytest.approx(float(row["total_float"]), rel=0, abs=tolerance), row["source"]


def test_one_day_more_than_its_float_moves_the_end(kit):
    # Seven activities: C has a float of 1. A gang for every task, no closed dates.
    net, place = example(kit, "seven activities")
    for more, end in ((0.0, 16.0), (1.0, 16.0), (1.5, 16.5)):
        tasks = list(net.tasks)
        tasks[place["C"]] = replace(tasks[place["C"]], work=tasks[place["C"]].work + more)
        done = kit.Net(tuple(tasks), net.links).run(kit.always(gangs=(len(tasks),)))
        assert done.finish.max() == pytest.approx(end, abs=1e-9)


def test_a_gang_that_goes_on_takes_the_float_of_a_link():
    # 0 (2 days) then 1 (3 days) by one gang; 2 (1 day) by another, after 0 and a lag of 0.5.
    # All end by 5: 1 may end at 5 so 0 at 2 (by the gang); by the link alone 0 could end at 3.5.
    gang, start, days = whole(0, 0, 1), array(0, 2, 2.5), array(2, 3, 1)
    earlier, later = gang_sequence(gang, start)
    assert (earlier.tolist(), later.tolist()) == ([0], [1])
    limit = np.full(3, 5.0)
    by_link = latest_finish(whole(0), whole(2), array(0.5), days, limit)
    assert by_link.tolist() == [3.5, 5, 5]
    both = latest_finish(whole(0, *earlier), whole(2, *later), array(0.5, 0), days, limit)
    assert both.tolist() == [2, 5, 5]


def test_gangs_go_in_order_of_time_and_events_have_none():
    earlier, later = gang_sequence(whole(1, -1, 0, 1, 0, -1, 1), array(9, 0, 3, 1, 2, 4, 5))
    assert list(zip(earlier.tolist(), later.tolist(), strict=True)) == [(4, 2), (3, 6), (6, 0)]


def test_a_task_nothing_waits_for_has_no_latest_finish():
    latest = latest_finish(whole(0), whole(1), array(1), array(1, 2, 3), array(np.inf, 10, np.inf))
    assert latest.tolist() == [7, 10, np.inf]


def test_a_ring_has_no_latest_finishes():
    with pytest.raises(RangeError, match=r"go round in a ring: 2 of 3 tasks.*lead forward in time"):
        latest_finish(whole(0, 1, 2), whole(1, 2, 1), np.zeros(3), np.ones(3), np.full(3, 9.0))


def test_lags_take_the_days_they_took():
    # Dates 0 to 4 open, 5 and 6 closed, 7 on open. From 4.5, 2 working days end at 8.5: 4 days.
    # Release is read at the date of the pour: 4.5 is on date 4 (14 and 24 days); 4.0 ends date 3.
    open_dates = array(*([1] * 5), 0, 0, *([1] * 5))
    release = np.stack([10.0 + np.arange(12), 20.0 + np.arange(12)])
    got = realised_lags(
        array(4.5, 4.0),
        whole(0, 0, 0, 0, 1),
        array(3, 2, 0, 0, 0),
        whole(CALENDAR, WORKING, STRIKE, PROPS, STRIKE),
        open_dates,
        np.concatenate([[0.0], np.cumsum(open_dates)]),
        release,
    )
    assert got.tolist() == [3, 4, 14, 24, 13]


# Paths of shipped schemes


def test_the_words_of_a_path_are_the_splits_and_the_links():
    assert PATH_CAUSES[:6] == ("work", "closed", "weather", "crane", "hoist", "kept clear")
    assert set(CAUSES) <= set(PATH_CAUSES)
    assert len(set(PATH_CAUSES)) == len(PATH_CAUSES)


def test_the_days_of_a_path_add_up_to_the_instant(plan):
    for task in some_tasks(plan):
        path = _path(plan, task)
        assert path.instant == plan.finish[task]
        assert tuple(path.days) == PATH_CAUSES
        assert math.fsum(path.days.values()) == pytest.approx(path.instant, rel=0, abs=1e-9)
        assert min(path.days.values()) >= -1e-9


def test_steps_follow_each_other_without_a_gap(plan):
    for task in some_tasks(plan):
        path = _path(plan, task)
        at = 0.0
        for step in path.steps:
            assert step.start == at
            assert step.finish > step.start
            assert math.fsum(step.days.values()) == pytest.approx(step.finish - step.start, rel=0, abs=1e-9)
            at = step.finish
        assert at == path.instant


def test_the_steps_make_the_totals(plan):
    for task in plan.network.tasks_of("event:ready"):
        path = _path(plan, int(task))
        for cause, days in path.days.items():
            by_step = math.fsum(step.days.get(cause, 0.0) for step in path.steps)
            assert by_step == pytest.approx(days, abs=1e-9), cause
        in_hand = [step for step in path.steps if step.kind == "work"]
        for trade, days in path.trade_days.items():
            assert days == pytest.approx(
                math.fsum(s.days.get("work", 0.0) for s in in_hand if s.trade == trade), abs=1e-9
            )
        lags = math.fsum(s.days.get("work", 0.0) for s in path.steps if s.kind == "between")
        assert sum(path.trade_days.values()) + lags == pytest.approx(path.days["work"], abs=1e-9)


def test_work_in_hand_is_all_the_work_of_the_task(plan):
    # one shift done is one day of work, whatever the date allows
    for task in plan.network.tasks_of("event:ready"):
        for step in _path(plan, int(task)).steps:
            if step.kind == "work":
                assert step.days["work"] == pytest.approx(plan.tasks.work[step.task], abs=1e-6), step.label


def test_steps_say_what_where_and_who(plan):
    frame, catalogue = plan.frame, read_catalogue()
    for task in plan.network.tasks_of("event:ready"):
        for step in _path(plan, int(task)).steps:
            row = frame.iloc[step.task]
            assert (step.block, step.storey, step.zone, step.trade) == tuple(
                row[["block", "storey", "zone", "trade"]]
            )
            label = {**catalogue.activities, **catalogue.events}[row["activity"]].label
            assert step.label == label if step.kind == "work" else step.label.endswith(f" to {label}")


def test_closed_dates_and_weather_on_a_path_are_those_of_the_calendar(plan):
    # plain recount, date by date, of two causes of every task in hand on the path to the last handover
    last = plan.network.tasks_of("event:ready")[-1]
    for step in _path(plan, int(last)).steps:
        if step.kind == "between":
            continue
        share = plan.conditions.share[plan.tasks.calendar[step.task]]
        closed = weather = 0.0
        for date in range(math.floor(step.start), math.ceil(step.finish)):
            elapsed = min(step.finish, date + 1) - max(step.start, date)
            closed += elapsed * (1 - plan.conditions.open_week[date])
            weather += elapsed * (plan.conditions.open_week[date] - share[date])
        assert step.days.get("closed", 0.0) == pytest.approx(closed, abs=1e-9)
        assert step.days.get("weather", 0.0) == pytest.approx(weather, abs=1e-9)


def test_a_lag_is_under_the_word_of_its_link(plan):
    links = 0
    for task in plan.network.tasks_of("event:ready"):
        for step in _path(plan, int(task)).steps:
            if step.kind == "work":
                continue
            link = plan.bound_link[step.task]
            if plan.bound_task[step.task] >= 0:
                assert not set(step.days) & {*CAUSES}
                continue
            lag = plan.ready[step.task] - plan.finish[plan.network.before[link]]
            word = CAUSES[plan.network.cause[link]]
            assert step.days.get(word, 0.0) == pytest.approx(lag, abs=1e-9)
            if lag > 0 and plan.links.kind[link] == CALENDAR:
                assert lag == pytest.approx(plan.links.lag[link], abs=1e-9)
                links += 1
    assert links > 0


def test_only_tasks_that_lift_wait_for_the_crane(plan):
    found = 0
    for task in some_tasks(plan):
        for step in _path(plan, task).steps:
            if "crane" in step.days:
                found += 1
                assert plan.tasks.hook[step.task] > 0, step.label
    assert found > 0 or plan.network.size < 1000  # the pitch waits for its cranes, two storeys do not


def test_hoist_and_clearance_come_under_their_own_words(compared, monkeypatch):
    # As if half of every date were kept clear in block 0 and dryliners' goods went up by hoist: a task that
    # did all the calendar allows has then done too much, so its progress is halved too.
    plan = compared("two_storey").second.plan
    task = int(plan.network.tasks_of("event:ready")[0])
    trade = plan.tasks.trade == list(read_catalogue().trades).index("dryliners")
    hours = np.where(trade & (plan.tasks.hook <= 0), 8.0, 0.0)
    clear = np.full((1, plan.conditions.open_week.size), 0.5)
    exposed = np.ones(plan.network.size, dtype=bool)
    monkeypatch.setattr(causes, "_hoists_and_clearing", lambda _plan: (hours, exposed, clear))
    plain = path_to(replace(plan, moved_work=plan.moved_work * 0.5), task)
    assert plain.days["kept clear"] == pytest.approx(plain.days["work"], abs=1e-6)
    slow = path_to(replace(plan, moved_work=plan.moved_work * 0.25), task)
    hoisted = {step.task for step in slow.steps if step.days.get("hoist", 0.0) > 0}
    assert hoisted == {step.task for step in slow.steps if step.kind == "work" and hours[step.task] > 0}
    assert hoisted
    expected = sum(0.25 * plan.tasks.work[i] for i in hoisted)
    assert slow.days["hoist"] == pytest.approx(expected, abs=1e-6)
    assert math.fsum(slow.days.values()) == pytest.approx(slow.instant, abs=1e-9)


def test_the_frame_tells_the_path_in_order_of_time(plan):
    path = _path(plan, int(plan.network.tasks_of("event:ready")[-1]))
    frame = path.frame()
    assert tuple(frame.columns) == PATH_COLUMNS
    assert len(frame) == sum(len(step.days) for step in path.steps)
    assert frame["days"].sum() == pytest.approx(path.instant, abs=1e-9)
    assert frame["from_day"].is_monotonic_increasing
    assert frame["start date"].iloc[0] == plan.start_date
    assert frame["finish date"].iloc[-1] == plan.date(path.instant)
    assert set(frame["cause"]) <= set(PATH_CAUSES)
    for row in frame.itertuples():
        assert row[3] == plan.start_date + dt.timedelta(days=math.floor(row.from_day + 1e-9))
        assert row[4] == plan.date(row.to_day)


def test_the_start_on_site_has_a_path_of_no_steps(plan):
    path = path_to(plan, int(plan.network.tasks_of("event:site_start")[0]))
    assert path.instant == 0
    assert path.steps == ()
    assert set(path.days.values()) == {0.0}
    assert path.frame().empty


@pytest.mark.parametrize("task", [-1, 10**6])
def test_a_task_that_is_not_there_has_no_path(compared, task):
    with pytest.raises(RangeError, match=rf"no task {task}: the programme has tasks 0 to \d+.*Take one from"):
        path_to(compared("two_storey").first.plan, task)


# Float of shipped schemes


@pytest.mark.parametrize("to", ["block", "last"])
def test_float_is_never_below_nothing(plan, to):
    room = float_days(plan, to)
    assert not np.isnan(room).any()
    assert room.min() == 0.0
    assert np.all(float_days(plan, "last") >= float_days(plan, "block") - 1e-9)


def reaches_a_handover(plan):
    network = plan.network
    reaches = np.zeros(network.size, dtype=bool)
    reaches[network.tasks_of("event:ready")] = True
    edges = [*zip(network.before, network.after, strict=True)]
    edges += zip(*gang_sequence(plan.gang, plan.start), strict=True)
    while True:
        more = [b for b, a in edges if reaches[a] and not reaches[b]]
        if not more:
            return reaches
        reaches[more] = True


def test_float_has_an_end_where_a_handover_waits_for_the_task(plan):
    assert np.array_equal(np.isfinite(float_days(plan)), reaches_a_handover(plan))


def test_float_leaves_every_link_and_gang_its_room(plan):
    # all tasks as late as their float allows: links and gangs still kept, handovers where they were
    room = float_days(plan)
    reached = np.isfinite(room)
    start, finish = plan.start + room, plan.finish + room
    network, conditions = plan.network, plan.conditions
    lag = realised_lags(
        plan.finish,
        network.before,
        plan.links.lag,
        plan.links.kind,
        conditions.open_dates,
        conditions.open_before,
        conditions.release,
    )
    keep = reached[network.before] & reached[network.after]
    assert np.all((start[network.after] - finish[network.before] - lag)[keep] >= -1e-6)
    earlier, later = gang_sequence(plan.gang, plan.start)
    keep = reached[earlier] & reached[later]
    assert np.all((start[later] - finish[earlier])[keep] >= -1e-6)
    handovers = network.tasks_of("event:ready")
    assert finish[handovers] == pytest.approx(plan.finish[handovers], abs=1e-9)


def test_the_end_of_a_path_has_no_float_until_it_waits(plan):
    # from the handover back to the first wait for a date or a hook, links and gangs alone hold the path
    room = float_days(plan)
    held = 0
    for task in plan.network.tasks_of("event:ready"):
        for i in trace(int(task), plan.bound_task, plan.bound_link, plan.network.before)[::-1]:
            assert room[i] == pytest.approx(0.0, abs=1e-6)
            held += 1
            freed = plan.finish[plan.bound_task[i]] if plan.bound_task[i] >= 0 else plan.ready[i]
            if plan.start[i] - freed > 1e-9:
                break
    assert held > 3 * plan.network.tasks_of("event:ready").size


def test_a_task_ahead_of_a_wait_shows_the_wait_as_float(compared):
    # Two storeys, panels: props come out once the slab is released, on a closed date; all before it on the
    # path may slip to the Monday.
    plan = compared("two_storey").second.plan
    path = _path(plan, int(plan.network.tasks_of("event:ready")[0]))
    waits = [k for k, step in enumerate(path.steps) if step.kind == "between" and "closed" in step.days]
    assert len(waits) == 1
    wait = path.steps[waits[0]]
    room = float_days(plan)
    ahead = [step.task for step in path.steps[: waits[0]]]
    assert ahead
    assert room[ahead] == pytest.approx(np.full(len(ahead), wait.days["closed"]), abs=1e-9)


def test_float_is_measured_to_a_known_handover(compared):
    with pytest.raises(RangeError, match=r"measured to 'first'.*'block'.*'last'.*give one of these words"):
        float_days(compared("two_storey").first.plan, "first")


@pytest.mark.parametrize("to", ["block", "last"])
def test_each_trade_has_its_least_float_once(plan, to):
    frame, room = float_by_trade(plan, to), float_days(plan, to)
    names = list(read_catalogue().trades)
    assert tuple(frame.columns) == TRADE_COLUMNS
    assert sorted(frame["trade"]) == sorted({names[k] for k in plan.tasks.trade[plan.tasks.work > 0]})
    assert frame["float_days"].is_monotonic_increasing
    for row in frame.itertuples():
        mine = (plan.tasks.trade == names.index(row.trade)) & (plan.tasks.work > 0)
        assert row.float_days == room[mine].min() == room[row.task]
        least = mine & (room == row.float_days)
        assert plan.start[row.task] == plan.start[least].min()
        assert row.what == read_catalogue().activities[plan.frame["activity"].iloc[row.task]].label
