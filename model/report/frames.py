"""Results as tidy frames with plain columns, ready to be drawn or tabled.

Each function turns a `Comparison` into one frame, methods under one another; nothing is computed that a
stage has not computed. The column `role` is left to whoever draws: it follows from the methods.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.compare import Case, Comparison
from model.compare.case import PATH_EVENTS
from model.inputs.method import read_catalogue
from model.programme.causes import PATH_CAUSES, Step
from model.report.audit import assumptions

Floats = NDArray[np.float64]

FRAME, WALLS, FIT_OUT = STAGES = ("frame", "walls", "fit-out")
"""Stages of the storeys-against-time chart; the library says which element's work stands in which."""

WORK, CLOSED, PLANNED_START, SET_LAG = "work", "closed", "planned start", "set lag"
"""Parts of a date beside the words of `PATH_CAUSES`: work in hand is cut by trade; days before the start that
the scenario gives a block, and lags between tasks that carry the word of work, are nobody's work."""


def storeys_against_time(comparison: Comparison) -> pd.DataFrame:
    """Return when each stage of work is on each storey.

    Returns
    -------
    DataFrame
        Columns method, block, storey, stage, start, finish (dates); of the task that ends it: trade, gang
        ("2 of 3"), what, why (the cause word that fixed its start) and after (what that was, and where).
    """
    return pd.concat([_stages(case) for case in comparison.cases], ignore_index=True)


def _stages(case: Case) -> pd.DataFrame:
    """Return the stages of one method. The frame of a storey ends when the slab over it is poured."""
    plan, network = case.plan, case.plan.network
    names = np.array(case.takeoff.layout.names, dtype=object)
    trades = np.array([trade.label for trade in read_catalogue().trades.values()], dtype=object)
    causes = np.array(plan.bound_words(), dtype=object)
    start_date = np.datetime64(plan.start_date, "s")
    poured = _by_storey(case, "slab_poured")
    parts = []
    for stage in STAGES:
        tasks = _tasks_in(case, stage)
        tasks = tasks[network.zone[tasks] > 0]
        if stage == FRAME:
            tasks = tasks[plan.finish[tasks] <= poured[network.block[tasks], network.storey[tasks] + 1]]
        place = network.block[tasks] * 100 + network.storey[tasks]
        order = np.lexsort((plan.finish[tasks], place))
        last = tasks[order[np.append(np.flatnonzero(np.diff(place[order])), order.size - 1)]]
        begun = np.full(int(place.max()) + 1, np.inf)
        np.minimum.at(begun, place, plan.start[tasks])
        block, storey = network.block[last], network.storey[last]
        finish = poured[block, storey + 1] if stage == FRAME else plan.finish[last]
        start = begun[block * 100 + storey]
        held = [_held_by(case, int(task)) for task in last]
        parts.append(
            pd.DataFrame(
                {
                    "method": case.method.label,
                    "block": names[block],
                    "storey": storey,
                    "stage": stage,
                    "start": start_date + (start * 86_400).astype("timedelta64[s]"),
                    "finish": start_date + (finish * 86_400).astype("timedelta64[s]"),
                    "trade": trades[plan.tasks.trade[last]],
                    "gang": [_gang(case, int(task)) for task in last],
                    "what": [_label(case, int(task)) for task in last],
                    "why": causes[last],
                    "after": held,
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _label(case: Case, task: int) -> str:
    """Return what an activity or event is called."""
    network, catalogue = case.plan.network, read_catalogue()
    kind, name = network.groups[network.group[task]].split(":")
    return catalogue.activities[name].label if kind == "activity" else catalogue.events[name].label


def _gang(case: Case, task: int) -> str:
    """Return which gang of its pool has a task: "2 of 3"; empty where there is one, or none."""
    gangs, gang = case.plan.gangs, int(case.plan.gang[task])
    if gang < 0:
        return ""
    pool = int(np.searchsorted(gangs.pointers, gang, side="right")) - 1
    count = int(gangs.counts[pool])
    return f"{gang - int(gangs.pointers[pool]) + 1} of {count}" if count > 1 else ""


def _held_by(case: Case, task: int) -> str:
    """Return what fixed the start of a task and where that was; empty at the start on site."""
    plan, network = case.plan, case.plan.network
    before = int(plan.bound_task[task])
    if before < 0 and plan.bound_link[task] >= 0:
        before = int(network.before[plan.bound_link[task]])
    if before < 0:
        return ""
    places = []
    if network.block[before] >= 0 and network.block[before] != network.block[task]:
        places.append(case.takeoff.layout.names[int(network.block[before])])
    if network.storey[before] > 0:
        places.append(f"storey {int(network.storey[before])}")
    return ", ".join([_label(case, before), *places])


def pace(comparison: Comparison) -> pd.DataFrame:
    """Return the pace and the dates of each block.

    Returns
    -------
    DataFrame
        Columns method, block, storeys, cycle_days [days], lag_storeys (NaN where inside work starts after
        topping out), start, topped_out, weathertight, ready (last dates of work on each).
    """
    rows = []
    for case in comparison.cases:
        plan = case.plan
        starts = plan.start[plan.network.tasks_of("activity:substructure")]
        dates = {word: _instants(case, word) for word in PATH_EVENTS}
        for b, name in enumerate(case.takeoff.layout.names):
            rows.append(
                {
                    "method": case.method.label,
                    "block": name,
                    "storeys": case.takeoff.layout.storeys[b],
                    "cycle_days": float(case.cycle_days[b]),
                    "lag_storeys": float(case.lag_storeys[b]),
                    "start": pd.Timestamp(plan.date(float(starts[b]) + 1.0)),
                    **{word: pd.Timestamp(plan.date(float(found[b]))) for word, found in dates.items()},
                }
            )
    return pd.DataFrame(rows)


def _instants(case: Case, word: str) -> Floats:
    """Return when each block has reached a date of `PATH_EVENTS`. [days from start on site]"""
    tasks = case.plan.network.tasks_of(f"event:{PATH_EVENTS[word]}")
    found = np.zeros(len(case.takeoff.layout.names))
    np.maximum.at(found, case.plan.network.block[tasks], case.plan.finish[tasks])
    return found


def date_made_of(comparison: Comparison, block: int, date: str) -> pd.DataFrame:
    """Return what the time from the start on site to a date of a block is made of.

    Parameters
    ----------
    comparison : Comparison
    block : int
    date : str
        One of `PATH_EVENTS`.

    Returns
    -------
    DataFrame
        Columns method, part, trade, days: every method has the same rows, in the same order: work by trade,
        then its waits, closed dates last. The part is
        ``work`` for each trade, else a word of `PATH_CAUSES`, or one of `PLANNED_START` and `SET_LAG`. The
        days of a method add up to its date. [days]
    """
    found: dict[str, dict[tuple[str, str], float]] = {}
    for case in comparison.cases:
        parts: dict[tuple[str, str], float] = {}
        for step in case.path_to(block, PATH_EVENTS[date]).steps:
            for cause, days in step.days.items():
                key = _part(step, cause)
                parts[key] = parts.get(key, 0.0) + days
        found[case.method.label] = parts
    trades = list(dict.fromkeys(trade for one in found.values() for part, trade in one if part == WORK))
    order = [(PLANNED_START, ""), *((WORK, trade) for trade in trades), (SET_LAG, "")]
    order += [(cause, "") for cause in PATH_CAUSES if cause not in (WORK, CLOSED)]
    order.append((CLOSED, ""))
    rows = [
        (label, part, _trade_label(trade), one.get((part, trade), 0.0))
        for label, one in found.items()
        for part, trade in order
        if any((part, trade) in each for each in found.values())
    ]
    return pd.DataFrame(rows, columns=["method", "part", "trade", "days"])


def _part(step: Step, cause: str) -> tuple[str, str]:
    """Return the part of a date that days of a step belong to, and the trade whose work they are."""
    if cause != WORK:
        return cause, ""
    if step.kind == "work":
        return WORK, step.trade
    return (PLANNED_START if step.start == 0 else SET_LAG), ""


def _trade_label(trade: str) -> str:
    return read_catalogue().trades[trade].label if trade else ""


def way_to_date(comparison: Comparison, block: int, date: str) -> pd.DataFrame:
    """Return the steps on the way to a date of a block, in order of time.

    Parameters
    ----------
    comparison : Comparison
    block : int
    date : str
        One of `PATH_EVENTS`.

    Returns
    -------
    DataFrame
        One row for each part of each step, columns method, step (counted from 1), kind (``work`` or
        ``between``), from_day, to_day [days from start on site], start, finish (dates), what, block, storey,
        zone, trade, part, days. The days of a method add up to its date.
    """
    rows = []
    for case in comparison.cases:
        for n, step in enumerate(case.path_to(block, PATH_EVENTS[date]).steps, start=1):
            first, last = case.plan.date(step.start + 1.0), case.plan.date(step.finish)
            place = (step.label, step.block, step.storey, step.zone, _trade_label(step.trade))
            for cause, days in step.days.items():
                part, _trade = _part(step, cause)
                head = (case.method.label, n, step.kind, step.start, step.finish)
                rows.append((*head, pd.Timestamp(first), pd.Timestamp(last), *place, part, days))
    columns = ["method", "step", "kind", "from_day", "to_day", "start", "finish", "what", "block", "storey"]
    return pd.DataFrame(rows, columns=[*columns, "zone", "trade", "part", "days"])


def _weeks(case: Case, by_date: Floats, how: str) -> pd.DataFrame:
    """Fold a daily series into weeks from the start on site: ``mean`` over open dates, or ``sum``."""
    last = math.ceil(case.plan.last_handover)
    count = math.ceil(last / 7)
    series = np.zeros(count * 7)
    size = min(series.size, by_date.size)
    series[:size] = by_date[:size]
    weekly = series.reshape(count, 7).sum(axis=1)
    if how == "mean":
        open_dates = case.plan.conditions.open_dates[: count * 7].reshape(count, 7).sum(axis=1)
        weekly = np.divide(weekly, open_dates, out=np.zeros(count), where=open_dates > 0)
    week = pd.Timestamp(case.plan.start_date) + pd.to_timedelta(np.arange(count) * 7, unit="D")
    return pd.DataFrame({"method": case.method.label, "week": week, "value": weekly})


def loads_by_week(comparison: Comparison) -> pd.DataFrame:
    """Return vehicles by week: columns method, week, loads."""
    parts = [_weeks(case, case.site.loads.by_date(1), "sum") for case in comparison.cases]
    return pd.concat(parts, ignore_index=True).rename(columns={"value": "loads"})


def register(comparison: Comparison) -> pd.DataFrame:
    """Return every record as the first method uses it; columns as `model.report.audit.assumptions`."""
    return assumptions(comparison.first)


def elevation_payload(comparison: Comparison) -> dict[str, Any]:
    """Return what the elevations need: for each method and storey, the day on which each state begins.

    Returns
    -------
    dict
        ``start``, ``days``, ``date`` (the day shown first: the second method's first handover) and
        ``methods``, each with ``label``, ``blocks`` and ``cranes``. Days are whole dates from the start.
    """
    methods = [_elevation(case) for case in comparison.cases]
    lived = max(case.plan.last_handover + _notice(case) for case in comparison.cases)
    return {
        "start": comparison.scenario.development.start.isoformat(),
        "days": math.ceil(lived) + 14,
        "date": _date_number(comparison.second.plan.first_handover),
        "methods": methods,
    }


def _notice(case: Case) -> float:
    """Days from handover to people living there."""
    return case.plan.values["money.notice_weeks"] * 7.0


def _date_number(instant: float) -> int:
    return max(0, math.ceil(instant - 1e-9) - 1)


def _elevation(case: Case) -> dict[str, Any]:
    plan, layout = case.plan, case.takeoff.layout
    begun = _first_start(case, FRAME)
    fitting = _first_start(case, FIT_OUT)
    done = np.fmax(_by_storey(case, "finished"), _by_storey(case, "clad"))
    done = np.fmax(done, _by_storey(case, "behind_bays_done"))
    laid, released, closed = (_by_storey(case, name) for name in ("deck_laid", "deck_released", "enclosed"))
    gross = np.add.reduceat(case.takeoff.by_zone["gross_m2"], layout.storey_starts)
    blocks = []
    for b, name in enumerate(layout.names):
        ready = plan.ready_by_block[b]
        lived = ready + _notice(case)
        states = []
        for s in range(1, layout.storeys[b] + 1):
            inside = max(fitting[b, s], closed[b, s])
            states.append(
                {
                    "frame": _date_number(begun[b, s]),
                    "props": _date_number(laid[b, s]),
                    "open": _date_number(released[b, s]),
                    "weathertight": _date_number(closed[b, s]),
                    "fitting": _date_number(inside),
                    "finished": _date_number(done[b, s]),
                    "lived": _date_number(lived),
                }
            )
        first = layout.block_storey_starts[b]
        area = float(gross[first : first + layout.storeys[b]].max())
        blocks.append(
            {
                "name": name,
                "storeys": layout.storeys[b],
                "width_m": area / max(area**0.5 * 0.55, 12.0),
                "storey_height_m": layout.storey_heights[b],
                "ready": _date_number(ready),
                "states": states,
            }
        )
    return {"label": case.method.label, "blocks": blocks, "cranes": _cranes(case)}


def _cranes(case: Case) -> list[dict[str, int]]:
    names = list(case.takeoff.layout.names)
    height = dict(zip(names, case.takeoff.layout.storeys, strict=True))
    drawn = []
    for c, crane in enumerate(case.plan.scenario.served):
        begin, end = case.site.crane_from[c], case.site.crane_to[c]
        if math.isfinite(begin):
            tallest = max(crane.blocks, key=lambda name: height[name])
            drawn.append(
                {"block": names.index(tallest), "from": _date_number(begin), "to": _date_number(end)}
            )
    return drawn


def _grid(case: Case, fill: float) -> Floats:
    return np.full((len(case.takeoff.layout.names), max(case.takeoff.layout.storeys) + 2), fill)


def _by_storey(case: Case, event: str) -> Floats:
    """Return when an event has happened on the whole of each storey, by block and storey; NaN if never."""
    network = case.plan.network
    grid = _grid(case, np.nan)
    if network.has(f"event:{event}"):
        tasks = network.tasks_of(f"event:{event}")
        np.fmax.at(grid, (network.block[tasks], network.storey[tasks]), case.plan.finish[tasks])
    return grid


def _first_start(case: Case, stage: str) -> Floats:
    """Return when work of one stage begins on each storey, by block and storey."""
    network = case.plan.network
    tasks = _tasks_in(case, stage)
    grid = _grid(case, np.inf)
    np.minimum.at(grid, (network.block[tasks], network.storey[tasks]), case.plan.start[tasks])
    return grid


def _tasks_in(case: Case, stage: str) -> NDArray[np.int64]:
    """Return the tasks with work of one stage that stand on a storey."""
    stages = read_catalogue().stages
    network, plan = case.plan.network, case.plan
    mine = [
        k
        for k, name in enumerate(network.groups[: network.activities])
        if stages[plan.option_of[name.split(":")[1]].element] == stage
    ]
    return np.flatnonzero(np.isin(network.group, mine) & (plan.tasks.work > 0) & (network.storey > 0))
