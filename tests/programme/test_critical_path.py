"""Early and late dates: printed examples, and an independent longest path through the shipped schemes."""

import csv
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.programme.kernel import early_finish, late_start
from model.programme.plan import mean_lags

PUBLISHED = Path(__file__).parents[1] / "published"
LENGTHS = {"seven activities": (16, "A B D E G"), "arrow network": (20, "1-3 3-4 4-5 5-6")}
SCENARIOS = ("two_storey", "pitch", "large")


def published(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()))


ROWS = published("cpm")


def example(kit, name: str):
    rows = [row for row in ROWS if row["example"] == name]
    place = {row["task"]: k for k, row in enumerate(rows)}
    tasks = tuple(kit.Task(work=float(row["days"])) for row in rows)
    links = tuple(
        kit.Link(place[before], place[row["task"]]) for row in rows for before in row["after"].split()
    )
    return kit.Net(tasks, links), place


def dates(kit, name: str) -> dict[str, np.ndarray]:
    net, _place = example(kit, name)
    days, finish = net.of("work"), net.early()
    late = net.late(LENGTHS[name][0])
    follower = np.full(days.size, float(finish.max()))
    for link in net.links:
        follower[link.before] = min(follower[link.before], finish[link.after] - days[link.after])
    return {
        "early_start": finish - days,
        "early_finish": finish,
        "late_start": late,
        "late_finish": late + days,
        "total_float": late - (finish - days),
        "free_float": follower - finish,
    }


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['example']} {row['task']}")
def test_dates_and_floats_are_those_printed(kit, row):
    found = dates(kit, row["example"])
    task = example(kit, row["example"])[1][row["task"]]
    for figure, values in found.items():
        expected = pytest.approx(float(row[figure]), rel=0, abs=float(row["half_step"]))
        assert values[task] == expected, (figure, row["source"])


@pytest.mark.parametrize("name", LENGTHS)
def test_length_and_path_are_those_printed(kit, name):
    length, path = LENGTHS[name]
    found, place = dates(kit, name), example(kit, name)[1]
    assert found["early_finish"].max() == length
    tasks = sorted(place, key=place.__getitem__)
    critical = [task for task in tasks if found["total_float"][place[task]] == 0]
    assert sorted(critical) == sorted(path.split())


def test_a_scheme_with_gangs_to_spare_takes_its_critical_path(kit):
    # A gang for every task and no closed days: the day-by-day schedule is the critical path.
    for name, (length, _path) in LENGTHS.items():
        net, _place = example(kit, name)
        done = net.run(kit.always(gangs=(len(net.tasks),)))
        assert done.finish.max() == pytest.approx(length, abs=1e-9)
        assert done.finish == pytest.approx(net.early(), abs=1e-9)


def resource_free(plan):
    """Durations and lags at the mean calendar, as the order of the tasks is worked out from."""
    share = plan.conditions.mean_share[plan.tasks.calendar]
    days = np.divide(plan.tasks.work, share, out=np.zeros(share.size), where=plan.tasks.work > 0)
    return days, mean_lags(plan.links, plan.conditions)


def independent_finishes(network, days, lags) -> np.ndarray:
    """Earliest finishes by plain recursion over an order found by networkx."""
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(range(network.size))
    graph.add_edges_from(
        (int(b), int(a), {"lag": float(lag)})
        for b, a, lag in zip(network.before, network.after, lags, strict=True)
    )
    finish = [0.0] * network.size
    for task in nx.topological_sort(graph):
        ready = max((finish[b] + edge["lag"] for b, _t, edge in graph.in_edges(task, data=True)), default=0.0)
        finish[task] = ready + float(days[task])
    return np.array(finish)


@pytest.mark.parametrize("name", SCENARIOS)
@pytest.mark.parametrize("method", [0, 1])
def test_early_finishes_of_a_shipped_scheme_are_those_of_an_independent_pass(compared, name, method):
    plan = compared(name).cases[method].plan
    network = plan.network
    days, lags = resource_free(plan)
    got = early_finish(network.order, network.succ_ptr, network.after, lags, days, np.zeros(network.size))
    assert got == pytest.approx(independent_finishes(network, days, lags), rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("name", SCENARIOS)
def test_longest_path_of_a_shipped_scheme_is_that_of_networkx(compared, name):
    plan = compared(name).second.plan
    network = plan.network
    days, lags = resource_free(plan)
    graph = nx.DiGraph()
    graph.add_weighted_edges_from((k, "end", float(days[k])) for k in range(network.size))
    for before, after, lag in zip(network.before.tolist(), network.after.tolist(), lags, strict=True):
        weight = float(days[before] + lag)
        if not graph.has_edge(before, after) or graph[before][after]["weight"] < weight:
            graph.add_edge(before, after, weight=weight)
    got = early_finish(network.order, network.succ_ptr, network.after, lags, days, np.zeros(network.size))
    assert got.max() == pytest.approx(nx.dag_longest_path_length(graph), rel=1e-12)


@pytest.mark.parametrize("name", SCENARIOS)
def test_no_task_starts_late_before_it_starts_early(compared, name):
    for case in compared(name).cases:
        network = case.plan.network
        days, lags = resource_free(case.plan)
        links = (network.order, network.succ_ptr, network.after, lags, days)
        finish = early_finish(*links, np.zeros(network.size))
        late = late_start(*links, np.full(network.size, finish.max()))
        slack = late - (finish - days)
        assert slack.min() == pytest.approx(0.0, abs=1e-9)
        assert np.all(slack >= -1e-9)


@st.composite
def networks(draw):
    size = draw(st.integers(min_value=1, max_value=9))
    days = draw(st.lists(st.floats(min_value=0, max_value=9), min_size=size, max_size=size))
    pairs = [(i, j) for j in range(size) for i in range(j)]
    chosen = draw(st.lists(st.sampled_from(pairs), unique=True, max_size=14)) if pairs else []
    lags = draw(st.lists(st.floats(min_value=0, max_value=5), min_size=len(chosen), max_size=len(chosen)))
    return days, chosen, lags


@settings(max_examples=80, deadline=None)
@given(drawn=networks(), data=st.data())
def test_order_goes_by_rank_among_tasks_whose_predecessors_have_gone(kit, drawn, data):
    days, pairs, lags = drawn
    net = kit.Net(
        tuple(kit.Task(work=d) for d in days),
        tuple(kit.Link(i, j, lag) for (i, j), lag in zip(pairs, lags, strict=True)),
    )
    rank = data.draw(st.permutations(range(len(days))))
    order = net.order(rank).tolist()
    assert sorted(order) == list(range(len(days)))
    gone: set[int] = set()
    for task in order:
        free = [k for k in range(len(days)) if k not in gone and all(i in gone for i, j in pairs if j == k)]
        assert task == min(free, key=lambda k: rank[k])
        gone.add(task)


@settings(max_examples=80, deadline=None)
@given(drawn=networks())
def test_early_and_late_dates_agree_with_every_path(kit, drawn):
    days, pairs, lags = drawn
    net = kit.Net(
        tuple(kit.Task(work=d) for d in days),
        tuple(kit.Link(i, j, lag) for (i, j), lag in zip(pairs, lags, strict=True)),
    )
    following: dict[int, list[tuple[int, float]]] = {}
    for (i, j), lag in zip(pairs, lags, strict=True):
        following.setdefault(i, []).append((j, lag))

    def longest(task: int) -> float:
        return days[task] + max((lag + longest(j) for j, lag in following.get(task, [])), default=0.0)

    length = max(longest(k) for k in range(len(days)))
    early = net.early()
    assert early.max() == pytest.approx(length, abs=1e-9)
    assert net.late(length) == pytest.approx([length - longest(k) for k in range(len(days))], abs=1e-9)


def test_a_ring_leaves_its_tasks_without_an_order(kit):
    net = kit.Net((kit.Task(1.0),) * 4, (kit.Link(0, 1), kit.Link(1, 2), kit.Link(2, 1), kit.Link(2, 3)))
    assert net.order().tolist() == [0]
