"""Where more work or a longer wait can never give an earlier date, and how often a list schedule breaks that.

Without limits on gangs and cranes every date is a longest path, which cannot shrink when a length grows.
With them it can: a list schedule may end later for less work (R. L. Graham, *Bounds on multiprocessing timing
anomalies*, SIAM J. Appl. Math. 17, 1969). The first is promised and checked; the second is measured.
"""

from __future__ import annotations

import importlib.util
import os
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model import load_scenario
from model.pipeline import plan_method
from model.programme.kernel import CALENDAR, PROPS, STRIKE, WORKING

HERE = Path(__file__)
DATES = 1500
NEAR = 1e-6

slow = pytest.mark.skipif(
    os.environ.get("STOREYPACE_SLOW") != "1", reason="a measurement: set STOREYPACE_SLOW=1"
)


def _load(name):
    spec = importlib.util.spec_from_file_location(name, HERE.with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


# Promised


@st.composite
def free_networks(draw):
    """Networks in which each task has gangs to spare and no crane, on a site of closed and wet dates."""
    size = draw(st.integers(min_value=2, max_value=10))
    works = st.sampled_from([0.0, 0.25, 0.6, 1.0, 1.7, 3.0, 6.5])
    tasks = [(draw(works), draw(st.integers(min_value=0, max_value=1))) for _ in range(size)]
    links = []
    for j in range(1, size):
        for i in draw(st.sets(st.integers(min_value=0, max_value=j - 1), max_size=3)):
            lag = draw(st.sampled_from([0.0, 0.0, 0.5, 1.0, 2.25, 7.0]))
            links.append((i, j, lag, draw(st.sampled_from([CALENDAR, WORKING, STRIKE, PROPS]))))
    return tasks, links, draw(st.integers(min_value=0, max_value=2**32 - 1))


def built(kit, drawn):
    tasks, links, seed = drawn
    rng = np.random.default_rng(seed)
    week = ((np.arange(DATES) + rng.integers(0, 7)) % 7 < 5).astype(float)
    week[rng.integers(0, DATES, 40)] = 0.0
    colder = np.arange(DATES) / DATES
    site = kit.Site(
        share=week * np.stack([np.ones(DATES), rng.choice([0.4, 0.8, 1.0], DATES)]),
        open_dates=week,
        ordinary=np.zeros((1, DATES)),
        large=np.zeros((1, DATES)),
        # Read by the date of the pour. In spring a real one steps down by a tenth of a day at midnight.
        release=np.stack([2.0 + 30.0 * colder, 9.0 + 90.0 * colder]),
        gangs=(len(tasks),),
    )
    net = kit.Net(
        tuple(kit.Task(work=work, calendar=calendar) for work, calendar in tasks),
        tuple(kit.Link(*link) for link in links),
    )
    return net, site


def is_never_earlier(one, two):
    """Whether no task of the second schedule starts or ends before it does in the first."""
    return np.all(two.finish >= one.finish - NEAR) and np.all(two.start >= one.start - NEAR)


def test_the_comparison_sees_an_earlier_date(kit):
    one = kit.Net((kit.Task(2.0),)).run(kit.always())
    two = kit.Net((kit.Task(1.0),)).run(kit.always())
    assert is_never_earlier(two, one)
    assert not is_never_earlier(one, two)


@settings(max_examples=120, deadline=None)
@given(drawn=free_networks(), data=st.data())
def test_more_work_never_finishes_anything_earlier(kit, drawn, data):
    net, site = built(kit, drawn)
    which = data.draw(st.integers(min_value=0, max_value=len(net.tasks) - 1))
    more = data.draw(st.sampled_from([0.05, 0.5, 1.0, 4.0]))
    tasks = list(net.tasks)
    tasks[which] = replace(tasks[which], work=tasks[which].work + more)
    assert is_never_earlier(net.run(site), kit.Net(tuple(tasks), net.links).run(site))


@settings(max_examples=120, deadline=None)
@given(drawn=free_networks(), data=st.data())
def test_a_longer_lag_never_lets_anything_go_earlier(kit, drawn, data):
    net, site = built(kit, drawn)
    if not net.links:
        return
    which = data.draw(st.integers(min_value=0, max_value=len(net.links) - 1))
    more = data.draw(st.sampled_from([0.05, 0.5, 1.0, 4.0]))
    links = list(net.links)
    links[which] = replace(links[which], lag=links[which].lag + more)
    assert is_never_earlier(net.run(site), kit.Net(net.tasks, tuple(links)).run(site))


@settings(max_examples=100, deadline=None)
@given(drawn=free_networks(), data=st.data())
def test_another_closed_date_never_lets_anything_go_earlier(kit, drawn, data):
    net, site = built(kit, drawn)
    date = data.draw(st.integers(min_value=0, max_value=40))
    open_dates, share = site.open_dates.copy(), site.share.copy()
    open_dates[date] = 0.0
    share[:, date] = 0.0
    assert is_never_earlier(net.run(site), net.run(replace(site, open_dates=open_dates, share=share)))


@settings(max_examples=100, deadline=None)
@given(drawn=free_networks(), data=st.data())
def test_worse_weather_never_lets_anything_go_earlier(kit, drawn, data):
    net, site = built(kit, drawn)
    kept = data.draw(st.sampled_from([0.3, 0.7, 0.95]))
    first = data.draw(st.integers(min_value=0, max_value=30))
    share = site.share.copy()
    share[:, first : first + 14] *= kept
    assert is_never_earlier(net.run(site), net.run(replace(site, share=share)))


def test_what_is_poured_a_date_later_is_never_released_earlier(compared):
    for name in ("two_storey", "pitch", "large"):
        for case in compared(name).cases:
            assert np.diff(case.plan.conditions.release, axis=1).min() > -1.0


@settings(max_examples=100, deadline=None)
@given(drawn=free_networks(), days=st.sampled_from([0.1, 1.0, 6.0]))
def test_slower_concrete_never_lets_anything_go_earlier(kit, drawn, days):
    net, site = built(kit, drawn)
    assert is_never_earlier(net.run(site), net.run(replace(site, release=site.release + days)))


@settings(max_examples=100, deadline=None)
@given(drawn=free_networks(), data=st.data())
def test_one_more_link_never_lets_anything_go_earlier(kit, drawn, data):
    net, site = built(kit, drawn)
    after = data.draw(st.integers(min_value=1, max_value=len(net.tasks) - 1))
    before = data.draw(st.integers(min_value=0, max_value=after - 1))
    links = (*net.links, kit.Link(before, after))
    assert is_never_earlier(net.run(site), kit.Net(net.tasks, links).run(site))


@settings(max_examples=100, deadline=None)
@given(drawn=free_networks(), seed=st.integers(min_value=0, max_value=999))
def test_the_order_is_nothing_to_those_who_have_gangs_to_spare(kit, drawn, seed):
    net, site = built(kit, drawn)
    rank = np.argsort(net.order(np.random.default_rng(seed).permutation(len(net.tasks))))
    assert net.run(site, rank).finish == pytest.approx(net.run(site).finish, abs=NEAR)


# Measured


def test_less_work_can_end_later_as_graham_showed(kit):
    # Graham 1969: nine tasks on three machines end at 12, and at 13 with a unit less work in each.
    times, order = (3, 2, 2, 2, 4, 4, 4, 4, 9), range(9)
    links = (kit.Link(0, 8), *(kit.Link(3, k) for k in (4, 5, 6, 7)))

    def makespan(change, gangs=3, kept=links):
        tasks = tuple(kit.Task(work=float(t + change)) for t in times)
        return kit.Net(tasks, kept).run(kit.always(gangs=(gangs,)), list(order)).finish.max()

    assert makespan(0) == 12
    assert makespan(-1) == 13
    assert makespan(0, gangs=4) == 15
    assert (
        makespan(0, kept=tuple(link for link in links if (link.before, link.after) not in ((3, 4), (3, 5))))
        == 16
    )


def told(name, moves, record_property, capsys):
    """Print and record how changes for the better moved a last date. [days, later above 0]"""
    moves = np.array(moves)
    later = moves[moves > 0.01]
    figures = {
        "changes": moves.size,
        "later": later.size,
        "rate": later.size / moves.size,
        "mean_later": float(later.mean()) if later.size else 0.0,
        "max_later": float(moves.max()),
        "mean_move": float(moves.mean()),
    }
    for key, value in figures.items():
        record_property(f"{name} {key}", value)
    with capsys.disabled():
        print(f"\n{name}: {figures['later']} of {figures['changes']} later ({figures['rate']:.1%}), "
              f"then by {figures['mean_later']:.2f} days in the mean and {figures['max_later']:.2f} at most; "
              f"mean move of all {figures['mean_move']:+.2f} days")  # fmt: skip
    return figures


@slow
def test_how_often_a_small_development_ends_later_for_a_change_for_the_better(kit, record_property, capsys):
    nets = _load("test_bound")
    shorter, stronger = [], []
    for seed in range(30):
        net, site = nets.development(kit, seed)
        rng = np.random.default_rng(seed)

        before = nets.run(net, site).finish.max()
        real = [k for k, task in enumerate(net.tasks) if task.work > 0]
        for which in rng.choice(real, 10, replace=False):
            tasks = list(net.tasks)
            task = tasks[which]
            tasks[which] = replace(task, work=0.9 * task.work, hook=0.9 * task.hook)
            now = nets.run(kit.Net(tuple(tasks), net.links), site)
            shorter.append(now.finish.max() - before)
        for pool in rng.choice(len(site.gangs), 4, replace=False):
            gangs = tuple(k + (p == pool) for p, k in enumerate(site.gangs))
            stronger.append(nets.run(net, replace(site, gangs=gangs)).finish.max() - before)
    work = told("a tenth less work in one task", shorter, record_property, capsys)
    gang = told("one gang more in one trade", stronger, record_property, capsys)
    assert work["changes"] >= 200
    assert work["rate"] < 0.15
    assert gang["rate"] < 0.15
    assert work["mean_move"] < 0.0
    assert gang["mean_move"] < 0.0


@slow
def test_how_often_a_block_of_the_pitch_is_later_for_a_change_for_the_better(record_property, capsys):
    scenario = load_scenario(HERE.parents[2] / "scenarios" / "pitch.toml")
    shorter, shorter_last, stronger, stronger_last = [], [], [], []
    for method in scenario.methods[:2]:
        before = plan_method(scenario, method)
        names = [name.split(":")[1] for name in before.network.groups[: before.network.activities]]
        for name in names:
            key = f"activity.{name}.hours"
            if key not in before.values:
                continue
            now = plan_method(scenario.with_override(key, 0.9 * before.values[key]), method)
            shorter += (now.ready_by_block - before.ready_by_block).tolist()
            shorter_last.append(now.last_handover - before.last_handover)
        counts: dict[str, int] = {}
        for (trade, _block), count in zip(before.gangs.pools, before.gangs.counts.tolist(), strict=True):
            counts[trade] = max(count, counts.get(trade, 0))
        for trade, count in counts.items():  # one more than in any block
            now = plan_method(scenario.with_override(f"trade.{trade}.gangs", count + 1.0), method)
            stronger += (now.ready_by_block - before.ready_by_block).tolist()
            stronger_last.append(now.last_handover - before.last_handover)
    rates = [
        told(f"pitch: {what}", moves, record_property, capsys)
        for what, moves in (
            ("a tenth less work in one activity, blocks", shorter),
            ("a tenth less work in one activity, last handover", shorter_last),
            ("one gang more in one trade, blocks", stronger),
            ("one gang more in one trade, last handover", stronger_last),
        )
    ]
    assert rates[0]["changes"] >= 200
    assert all(figures["rate"] < 0.25 for figures in rates)
    assert all(figures["max_later"] < 21.0 for figures in rates)
