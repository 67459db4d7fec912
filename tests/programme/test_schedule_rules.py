"""Rules no schedule may break, re-checked by code that shares nothing with the scheduler."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.programme.kernel import CALENDAR, FRAME_USE, LARGE, ORDINARY, OTHER_USE, PANEL_USE, WORKING

DATES = 900
NEAR = 1e-6


def working_end(instant: float, lag: float, open_dates) -> float:
    """Walk date by date until the open dates have used the lag up."""
    date, left = math.floor(instant), lag
    here = instant
    while left > NEAR:
        part = date + 1 - here if open_dates[date] > 0 else 0.0
        if part >= left - NEAR:
            return here + left
        left -= part
        date += 1
        here = float(date)
    return here


def breaches(net, site, done) -> list[str]:
    """Every rule broken, in words; the limits are those of `site`."""
    found = []
    tasks = net.tasks
    for link in net.links:
        end = done.finish[link.before]
        needed = end + link.lag if link.kind == CALENDAR else working_end(end, link.lag, site.open_dates)
        if done.start[link.after] < needed - NEAR:
            found.append(f"link {link.before}->{link.after} not kept")
    first = np.concatenate([[0], np.cumsum(site.gangs)])
    rows: dict[int, list[tuple[int, float, float]]] = {k: [] for k in range(len(tasks))}
    for task, date, work, hook in zip(done.task, done.date, done.work, done.hook, strict=True):
        rows[int(task)].append((int(date), float(work), float(hook)))
    spans: dict[int, list[tuple[float, float]]] = {}
    for k, task in enumerate(tasks):
        if task.work <= 0:
            continue
        gang = int(done.gang[k])
        if not first[task.pool] <= gang < first[task.pool + 1]:
            found.append(f"task {k} is done by a gang of another trade")
        spans.setdefault(gang, []).append((done.start[k], done.finish[k]))
        if abs(sum(work for _d, work, _h in rows[k]) - task.work) > NEAR:
            found.append(f"progress of task {k} is not its work")
        if task.crane >= 0 and abs(sum(hook for *_x, hook in rows[k]) - task.hook) > NEAR:
            found.append(f"lifts of task {k} are not its hook hours")
        for date, work, hook in rows[k]:
            part = min(done.finish[k], date + 1) - max(done.start[k], date)
            if work > site.share[task.calendar, date] * part + NEAR:
                found.append(f"task {k} does more on date {date} than the date allows")
            if abs(hook - (work * task.hook / task.work if task.crane >= 0 else 0.0)) > NEAR:
                found.append(f"task {k} does not lift evenly")
    for gang, times in spans.items():
        times.sort()
        if any(after[0] < before[1] - NEAR for before, after in pairwise(times)):
            found.append(f"gang {gang} is in two places")
    for crane in range(site.ordinary.shape[0]):
        used, large = np.zeros(DATES), np.zeros(DATES)
        for k, task in enumerate(tasks):
            for date, _work, hook in rows[k] if task.crane == crane else []:
                used[date] += hook
                large[date] += hook if task.lift_class == LARGE else 0.0
        if np.any(used > site.ordinary[crane] + NEAR):
            found.append(f"crane {crane} lifts longer than it can")
        if np.any(large > site.large[crane] + NEAR):
            found.append(f"crane {crane} lifts large loads in too much wind")
    return found


@st.composite
def schemes(draw):
    """Networks of up to twelve tasks on a site of two calendars and two cranes, with days of little hook."""
    pools = draw(st.integers(min_value=1, max_value=3))
    gangs = tuple(draw(st.lists(st.integers(min_value=1, max_value=2), min_size=pools, max_size=pools)))
    size = draw(st.integers(min_value=1, max_value=12))
    tasks = []
    for _ in range(size):
        work = draw(st.sampled_from([0.0, 0.125, 0.3, 0.5, 1.0, 1.7, 2.0, 4.0]))
        hook = draw(st.sampled_from([0.0, 0.0, 0.4, 2.0, 7.0])) if work > 0 else 0.0
        tasks.append(
            {
                "work": work,
                "pool": draw(st.integers(min_value=0, max_value=pools - 1)) if work > 0 else -1,
                "hook": hook,
                "crane": draw(st.integers(min_value=0, max_value=1)) if hook > 0 else -1,
                "lift_class": draw(st.sampled_from([ORDINARY, LARGE])) if hook > 0 else 0,
                "use": draw(st.sampled_from([FRAME_USE, PANEL_USE, OTHER_USE])),
                "calendar": draw(st.integers(min_value=0, max_value=1)),
            }
        )
    links = []
    for j in range(1, size):
        for i in draw(st.lists(st.integers(min_value=0, max_value=j - 1), unique=True, max_size=3)):
            lag = draw(st.sampled_from([0.0, 0.0, 0.5, 1.0, 2.25]))
            links.append((i, j, lag, draw(st.sampled_from([CALENDAR, WORKING]))))
    seed = draw(st.integers(min_value=0, max_value=2**32 - 1))
    least = draw(st.sampled_from([0.0, 0.25, 0.5]))
    return gangs, tasks, links, seed, least


def built(kit, scheme):
    gangs, tasks, links, seed, least = scheme
    rng = np.random.default_rng(seed)
    week = (np.arange(DATES) % 7 < 5).astype(float)
    week[rng.integers(0, DATES, 40)] = 0.0
    share = week * np.stack([np.ones(DATES), rng.choice([0.3, 0.8, 1.0], DATES)])
    ordinary = week * rng.choice([1.5, 4.0, 8.0], (2, DATES))
    large = ordinary * rng.choice([0.0, 0.5, 1.0], (2, DATES))
    site = kit.Site(
        share=share,
        open_dates=week,
        ordinary=ordinary,
        large=large,
        release=np.zeros((2, DATES)),
        gangs=gangs,
        least_hook_start=least,
    )
    net = kit.Net(tuple(kit.Task(**task) for task in tasks), tuple(kit.Link(*link) for link in links))
    return net, site, rng.permutation(len(tasks))


def in_order(net, rank):
    """Turn any order into one in which no task goes before what it follows."""
    order = net.order(rank)
    place = np.empty(order.size, dtype=np.int64)
    place[order] = np.arange(order.size)
    return place


@settings(max_examples=150, deadline=None)
@given(scheme=schemes())
def test_no_schedule_breaks_a_rule(kit, scheme):
    net, site, rank = built(kit, scheme)
    done = net.run(site, in_order(net, rank))
    assert done.status == kit.DONE
    assert np.all(done.finish >= done.start - NEAR)
    assert np.all(done.start >= done.ready - NEAR)
    assert breaches(net, site, done) == []


@settings(max_examples=60, deadline=None)
@given(scheme=schemes())
def test_a_task_without_lifts_waits_for_its_gang_and_for_nothing_else(kit, scheme):
    net, site, rank = built(kit, scheme)
    done = net.run(site, in_order(net, rank))
    for k, task in enumerate(net.tasks):
        if task.work <= 0 or task.hook > 0 or done.bound_task[k] >= 0:
            continue
        date = math.floor(done.ready[k] + NEAR)
        while site.share[task.calendar, date] <= 0:
            date += 1
        assert done.start[k] == pytest.approx(max(done.ready[k], date), abs=NEAR)


@settings(max_examples=60, deadline=None)
@given(scheme=schemes())
def test_what_held_a_task_back_explains_when_it_was_ready_and_started(kit, scheme):
    net, site, rank = built(kit, scheme)
    done = net.run(site, in_order(net, rank))
    for k in range(len(net.tasks)):
        if done.bound_link[k] < 0:
            assert done.ready[k] == 0.0
        else:
            link = net.links[done.bound_link[k]]
            end = done.finish[link.before]
            held = end + link.lag if link.kind == CALENDAR else working_end(end, link.lag, site.open_dates)
            assert link.after == k
            assert done.ready[k] == pytest.approx(held, abs=NEAR)
        if done.bound_task[k] >= 0:
            other = done.bound_task[k]
            assert done.gang[other] == done.gang[k]
            assert done.ready[k] < done.finish[other] <= done.start[k] + NEAR


@settings(max_examples=30, deadline=None)
@given(scheme=schemes())
def test_equal_inputs_give_equal_schedules(kit, scheme):
    net, site, rank = built(kit, scheme)
    one, two = (net.run(site, in_order(net, rank)) for _ in range(2))
    for name in ("start", "finish", "gang", "task", "date", "work", "hook"):
        assert np.array_equal(getattr(one, name), getattr(two, name))


@settings(max_examples=40, deadline=None)
@given(scheme=schemes())
def test_a_crane_beyond_all_need_is_no_crane(kit, scheme):
    net, site, rank = built(kit, scheme)
    endless = kit.Site(**{**vars(site), "ordinary": site.ordinary * 0 + 1e6, "large": site.large * 0 + 1e6})
    bare = kit.Net(
        tuple(kit.Task(**{**vars(task), "hook": 0.0, "crane": -1, "lift_class": 0}) for task in net.tasks),
        net.links,
    )
    place = in_order(net, rank)
    assert net.run(endless, place).finish == pytest.approx(bare.run(site, place).finish, abs=NEAR)


def test_the_checker_sees_a_scheduler_that_ignores_wind(kit):
    calm = kit.always(dates=DATES, gangs=(1,))
    windy = kit.Site(**{**vars(calm), "large": calm.large * 0.25})
    net = kit.Net((kit.Task(1.0, hook=6.0, crane=0, lift_class=LARGE, use=PANEL_USE),))
    assert breaches(net, windy, net.run(calm)) == ["crane 0 lifts large loads in too much wind"]
    assert breaches(net, windy, net.run(windy)) == []


def test_the_checker_sees_a_gang_in_two_places_and_a_broken_link(kit):
    site = kit.always(dates=DATES, gangs=(1,))
    free = kit.Site(**{**vars(site), "gangs": (2,)})
    net = kit.Net((kit.Task(2.0), kit.Task(2.0)))
    done = net.run(free)
    done.gang[:] = 0
    assert breaches(net, site, done) == ["gang 0 is in two places"]
    bound = kit.Net((kit.Task(2.0), kit.Task(2.0)), (kit.Link(0, 1, lag=1.0),))
    assert breaches(bound, free, net.run(free)) == ["link 0->1 not kept"]


def test_the_checker_sees_work_on_a_closed_day(kit):
    seven = kit.always(dates=DATES)
    five = kit.week(dates=DATES)
    done = kit.Net((kit.Task(7.0),)).run(seven)
    found = breaches(kit.Net((kit.Task(7.0),)), five, done)
    assert found == [f"task 0 does more on date {date} than the date allows" for date in (5, 6)]
