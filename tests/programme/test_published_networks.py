"""The order of the tasks on published networks, followed by textbook schedule generators.

The order is the model's own (`order_tasks`: latest start, ties to the lowest number). The generators are
those of Kolisch & Hartmann 1999, section 2, and share nothing with the model. Tasks of these networks take
several units of one resource, or of several, which the day-by-day schedule does not know: a task has one gang
of one trade. So the schedule itself is compared with the parallel generator on networks of single units.
"""

from __future__ import annotations

import csv
import importlib.util
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model

PUBLISHED = Path(__file__).parents[1] / "published"


def _load():
    spec = importlib.util.spec_from_file_location("bound", Path(__file__).with_name("bound.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules["bound"] = module
    spec.loader.exec_module(module)
    return module


bound = _load()


@dataclass(frozen=True)
class Instance:
    """Tasks from 0, with whole days, units of each resource and followers."""

    capacity: tuple[int, ...]
    days: tuple[int, ...]
    needs: tuple[tuple[int, ...], ...]
    followers: tuple[tuple[int, ...], ...]

    @property
    def before(self) -> list[list[int]]:
        """What each task follows."""
        found: list[list[int]] = [[] for _ in self.days]
        for task, after in enumerate(self.followers):
            for follower in after:
                found[follower].append(task)
        return found


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()))


def numbers(text: str) -> tuple[int, ...]:
    return tuple(int(word) for word in text.split())


def instance(name: str) -> Instance:
    mine = [row for row in rows("rcpsp") if row["network"] == name]
    return Instance(
        capacity=numbers(mine[0]["capacity"]),
        days=tuple(int(row["days"]) for row in mine),
        needs=tuple(numbers(row["needs"]) for row in mine),
        followers=tuple(tuple(j - 1 for j in numbers(row["followers"])) for row in mine),
    )


NAMES = tuple(dict.fromkeys(row["network"] for row in rows("rcpsp")))
LENGTHS = rows("rcpsp_lengths")


def network(kit, of: Instance):
    """The tasks and links of an instance; its resources are left out."""
    return kit.Net(
        tuple(kit.Task(work=float(d)) for d in of.days),
        tuple(kit.Link(i, j) for i, after in enumerate(of.followers) for j in after),
    )


def order(kit, of: Instance, by: str) -> list[int]:
    """Tasks in order: by latest start from the model's own ordering code, by latest finish from its dates."""
    net = network(kit, of)
    if by == "latest start":
        return np.argsort(bound.rank_of(net, np.ones(1), net.lags)).tolist()
    finish = net.late(net.early().max()) + net.of("work")
    return net.order(np.argsort(np.lexsort((np.arange(finish.size), finish)))).tolist()


class Profile:
    """Units of each resource still free in each day."""

    def __init__(self, of: Instance) -> None:
        self.of = of
        self.free = np.tile(of.capacity, (sum(of.days) + 1, 1))

    def fits(self, task: int, start: int) -> bool:
        span = self.free[start : start + self.of.days[task]]
        return bool(np.all(span >= self.of.needs[task]))

    def take(self, task: int, start: int) -> None:
        self.free[start : start + self.of.days[task]] -= self.of.needs[task]


def serial(of: Instance, priority: list[int]) -> list[int]:
    """Serial generator: the best eligible task goes at its earliest fitting start."""
    place = {task: k for k, task in enumerate(priority)}
    before, profile = of.before, Profile(of)
    start: dict[int, int] = {}
    while len(start) < len(of.days):
        eligible = [t for t in range(len(of.days)) if t not in start and all(b in start for b in before[t])]
        task = min(eligible, key=place.__getitem__)
        at = max((start[b] + of.days[b] for b in before[task]), default=0)
        while not profile.fits(task, at):
            at += 1
        profile.take(task, at)
        start[task] = at
    return [start[t] for t in range(len(of.days))]


def parallel(of: Instance, priority: list[int]) -> list[int]:
    """Parallel generator: at each decision time eligible tasks start in order while resources last."""
    before, profile = of.before, Profile(of)
    start: dict[int, int] = {}
    now = 0
    while len(start) < len(of.days):
        started = True
        while started:
            started = False
            for task in priority:
                ready = all(b in start and start[b] + of.days[b] <= now for b in before[task])
                if task not in start and ready and profile.fits(task, now):
                    profile.take(task, now)
                    start[task] = now
                    started = True
        now = min((start[t] + of.days[t] for t in start if start[t] + of.days[t] > now), default=now + 1)
    return [start[t] for t in range(len(of.days))]


def length(of: Instance, start: list[int]) -> int:
    return max(s + d for s, d in zip(start, of.days, strict=True))


def best(of: Instance) -> int:
    """Least length, proved by a constraint solver."""
    model = cp_model.CpModel()
    most = sum(of.days)
    begin = [model.new_int_var(0, most, f"s{t}") for t in range(len(of.days))]
    spans = [model.new_fixed_size_interval_var(s, d, f"i{s}") for s, d in zip(begin, of.days, strict=True)]
    for task, after in enumerate(of.followers):
        for follower in after:
            model.add(begin[follower] >= begin[task] + of.days[task])
    for k, capacity in enumerate(of.capacity):
        model.add_cumulative(spans, [needs[k] for needs in of.needs], capacity)
    end = model.new_int_var(0, most, "end")
    for s, d in zip(begin, of.days, strict=True):
        model.add(end >= s + d)
    model.minimize(end)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return int(solver.objective_value)


def found(kit, name: str, what: str) -> float:
    of = instance(name)
    if what == "critical path":
        return float(network(kit, of).early().max())
    if what == "optimum":
        return best(of)
    generator, by = what.split(" ", 1)
    return length(of, {"serial": serial, "parallel": parallel}[generator](of, order(kit, of, by)))


@pytest.mark.parametrize("row", LENGTHS, ids=lambda row: f"{row['network']} {row['what']}")
def test_lengths_are_those_published(kit, row):
    expected = pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"]))
    assert found(kit, row["network"], row["what"]) == expected, row["source"]


@pytest.mark.parametrize("name", NAMES)
def test_the_data_of_a_network_hang_together(name):
    of = instance(name)
    assert all(len(needs) == len(of.capacity) for needs in of.needs)
    assert all(n <= c for needs in of.needs for n, c in zip(needs, of.capacity, strict=True))
    assert all(j > i for i, after in enumerate(of.followers) for j in after)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("generator", [serial, parallel])
def test_a_generated_schedule_keeps_links_and_resources(kit, name, generator):
    of = instance(name)
    start = generator(of, order(kit, of, "latest start"))
    for i, after in enumerate(of.followers):
        assert all(start[j] >= start[i] + of.days[i] for j in after)
    for day in range(length(of, start)):
        used = np.sum(
            [n for n, s, d in zip(of.needs, start, of.days, strict=True) if s <= day < s + d], axis=0
        )
        assert np.all(used <= of.capacity)


@pytest.mark.parametrize("name", NAMES)
def test_the_order_is_latest_start_with_ties_to_the_lowest_number(kit, name):
    # Latest starts by a recursion of their own; then the least among what is eligible, again and again.
    of = instance(name)

    def tail(task: int) -> int:
        return of.days[task] + max((tail(j) for j in of.followers[task]), default=0)

    late = [-tail(task) for task in range(len(of.days))]
    gone: list[int] = []
    while len(gone) < len(of.days):
        eligible = [t for t in range(len(of.days)) if t not in gone and all(b in gone for b in of.before[t])]
        gone.append(min(eligible, key=lambda t: (late[t], t)))
    assert order(kit, of, "latest start") == gone


def single_units(kit, of: Instance, priority: list[int]) -> tuple[list[float], float]:
    """Our day-by-day schedule of an instance in which each task takes one unit of one resource."""
    tasks = tuple(
        kit.Task(work=float(d), pool=needs.index(1) if d else -1)
        for d, needs in zip(of.days, of.needs, strict=True)
    )
    net = kit.Net(tasks, network(kit, of).links)
    rank = np.argsort(priority)
    done = net.run(kit.always(gangs=of.capacity), rank)
    return done.start.tolist(), float(done.finish.max())


def test_six_jobs_on_six_machines_take_no_less_than_the_known_least(kit):
    # Machines of one unit are gangs: the schedule can be run, and the lower bound must be the optimum, 55.
    of = instance("ft06")
    priority = order(kit, of, "latest start")
    start, makespan = single_units(kit, of, priority)
    assert start == parallel(of, priority)
    assert makespan >= 55
    tasks = tuple(
        kit.Task(work=float(d), pool=needs.index(1)) for d, needs in zip(of.days, of.needs, strict=True)
    )
    net, site = kit.Net(tasks, network(kit, of).links), kit.always(gangs=of.capacity)
    proved = bound.lower_bound(bound.of_net(net, site, net.run(site, np.argsort(priority))))
    assert proved.proved
    assert proved.days == pytest.approx(55, abs=1e-9)


@st.composite
def instances(draw):
    """Up to fourteen tasks, each on one unit of one of up to three resources."""
    resources = draw(st.integers(min_value=1, max_value=3))
    capacity = tuple(
        draw(st.lists(st.integers(min_value=1, max_value=3), min_size=resources, max_size=resources))
    )
    size = draw(st.integers(min_value=1, max_value=14))
    days = tuple(draw(st.lists(st.integers(min_value=1, max_value=7), min_size=size, max_size=size)))
    which = draw(st.lists(st.integers(min_value=0, max_value=resources - 1), min_size=size, max_size=size))
    needs = tuple(tuple(int(k == r) for k in range(resources)) for r in which)
    followers = tuple(
        tuple(sorted(draw(st.sets(st.integers(min_value=i + 1, max_value=size - 1), max_size=3))))
        if i < size - 1
        else ()
        for i in range(size)
    )
    return Instance(capacity, days, needs, followers)


@settings(max_examples=150, deadline=None)
@given(of=instances())
def test_day_by_day_is_the_parallel_generator_where_each_task_takes_one_unit(kit, of):
    priority = order(kit, of, "latest start")
    start, makespan = single_units(kit, of, priority)
    assert start == pytest.approx(parallel(of, priority), abs=1e-9)
    assert makespan == length(of, parallel(of, priority))
