"""When is everything done?

Stage: `schedule(scenario, method, values, takeoff) -> Plan`. Network, figures, gangs, order, then the
day-by-day schedule. An instant is a real number of days from 00:00 of the start on site; a finish of
exactly 12.0 belongs to date 11.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.calendar import date_of
from model.core.errors import Problem, ScenarioError, ScheduleError
from model.inputs.assumption import Values
from model.inputs.method import CALENDARS, CAUSES, LIFT_CLASSES, USES, Option, read_catalogue
from model.inputs.scenario import Method, Scenario
from model.programme.conditions import Conditions, backprop_levels, expected_conditions
from model.programme.durations import Tasks, lag_days, work_out
from model.programme.gangs import Gangs, size_gangs
from model.programme.kernel import (
    DONE,
    LARGE,
    LOG_FULL,
    PROPS,
    SHORT,
    STRIKE,
    TINY,
    WORKING,
    early_finish,
    late_start,
    next_needed,
    run_days,
    topological,
)
from model.programme.network import Network, Rules, build_network, whole
from model.quantities.takeoff import TakeOff, given, unit_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TASK_COLUMNS: Final = (
    "task", "block", "section", "storey", "zone", "activity", "element", "option", "trade", "gang",
    "people", "calendar", "quantity", "unit", "amount", "work_days", "crane", "lift_class",
    "hook_hours", "start", "finish", "bound_by", "cost", "operative_days",
    "use", "hoist_hours", "face", "figures",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Links:
    """Links of the network with their figures: in the network's order (by what comes before)."""

    lag: Floats
    kind: Ints


@dataclass(frozen=True, eq=False)
class Plan:
    """The schedule of one method.

    Attributes
    ----------
    scenario : Scenario
    method : Method
    values : Values
    takeoff : TakeOff
    network : Network
    tasks : Tasks
    links : Links
    conditions : Conditions
    gangs : Gangs
    rank : array of int, one a task
        Place in the order.
    ready, start, finish : array, one a task
        Instants. [days from start on site]
    gang : array of int
        Gang, unique on the site; -1 for events.
    bound_link, bound_task : array of int
        Link that fixed when a task was ready; task whose gang held its start back further (-1 for none).
    moved_task, moved_date : array of int; moved_work, moved_hook : array
        Progress: one row for each date a task moved. [shifts, h]
    option_of : mapping of str to Option
        Option that brings each activity in.
    """

    scenario: Scenario
    method: Method
    values: Values
    takeoff: TakeOff
    network: Network
    tasks: Tasks
    links: Links
    conditions: Conditions
    gangs: Gangs
    rank: Ints
    ready: Floats
    start: Floats
    finish: Floats
    gang: Ints
    bound_link: Ints
    bound_task: Ints
    moved_task: Ints
    moved_date: Ints
    moved_work: Floats
    moved_hook: Floats
    option_of: Mapping[str, Option]

    @property
    def start_date(self) -> dt.date:
        """Start on site."""
        return self.scenario.development.start

    def date(self, instant: float) -> dt.date:
        """Return the date on which something finishing at an instant is done."""
        return date_of(self.start_date, instant)

    def event_by_block(self, event: str, storey: str = "all") -> Floats:
        """Return when an event has happened in the whole of each block.

        Parameters
        ----------
        event : str
            Name of the event.
        storey : str
            ``all``, ``first`` or ``top`` storey (or slab).

        Returns
        -------
        array, one a block
            Instants; NaN where the method has no such event.
        """
        blocks = len(self.takeoff.layout.names)
        if not self.network.has(f"event:{event}"):
            return np.full(blocks, np.nan)
        tasks = self.network.tasks_of(f"event:{event}")
        block, level = self.network.block[tasks], self.network.storey[tasks]
        result = np.full(blocks, -np.inf)
        top = np.zeros(blocks, dtype=np.int64)
        np.maximum.at(top, block, level)
        keep = {"all": np.ones(tasks.size, dtype=bool), "first": level <= 1, "top": level == top[block]}[
            storey
        ]
        np.maximum.at(result, block[keep], self.finish[tasks[keep]])
        return result

    @cached_property
    def ready_by_block(self) -> Floats:
        """When each block is ready for occupation. [days from start on site]"""
        return self.event_by_block("ready")

    @cached_property
    def ready_by_section(self) -> Floats:
        """When each handover section is ready for occupation. [days from start on site]"""
        return self.finish[self.network.tasks_of("event:ready")]

    @cached_property
    def kept_clear(self) -> Floats:
        """Share of each date that work under large lifts loses, shape (blocks, dates).

        By what flew over the block on the last open date before.
        """
        blocks, dates = self.conditions.hoist_hours.shape
        large = self.tasks.lift_class[self.moved_task] == LARGE
        block = self.network.block[self.moved_task[large]]
        flown = np.bincount(
            block * dates + self.moved_date[large], self.moved_hook[large], minlength=blocks * dates
        ).reshape(blocks, dates)
        open_dates = np.flatnonzero(self.conditions.open_dates)
        result = np.zeros((blocks, dates))
        result[:, open_dates[1:]] = np.minimum(flown[:, open_dates[:-1]] * cleared_per_hour(self.values), 1.0)
        return result

    @cached_property
    def moved_hoist(self) -> Floats:
        """Hoist hours of each row of progress. [h]"""
        tasks = self.tasks
        rate = np.divide(tasks.hoist_hours, tasks.work, out=np.zeros_like(tasks.work), where=tasks.work > 0)
        return self.moved_work * rate[self.moved_task]

    @property
    def first_handover(self) -> float:
        """Earliest section ready. [days from start on site]"""
        return float(self.ready_by_section.min())

    @property
    def last_handover(self) -> float:
        """Latest block ready. [days from start on site]"""
        return float(self.ready_by_block.max())

    def section_names(self) -> NDArray[np.object_]:
        """Return the handover section of every task: its own, or those of its block together."""
        layout, network = self.takeoff.layout, self.network
        names = np.array([*layout.names, ""], dtype=object)[network.block]
        own = np.array(layout.section_names, dtype=object)
        first = np.searchsorted(layout.section_block, np.arange(len(layout.names)))
        mine = network.section > 0
        names[mine] = own[first[network.block[mine]] + network.section[mine] - 1]
        return np.asarray(names)

    def activity_names(self) -> list[str]:
        """Return the activity or event of every task."""
        names = [name.split(":")[1] for name in self.network.groups]
        return [names[k] for k in self.network.group]

    @cached_property
    def frame(self) -> pd.DataFrame:
        """Every task, events included; columns as `TASK_COLUMNS` but the cost, which money adds.

        Behind them: `use` of the hook; hoist hours; `face`, the block over which its large lifts fly or
        under whose it works; `figures`, the activity whose records it takes.
        """
        catalogue = read_catalogue()
        network, tasks = self.network, self.tasks
        names = self.activity_names()
        is_event = network.group >= network.activities
        blocks = np.array([*self.takeoff.layout.names, ""], dtype=object)
        trades = np.array([*catalogue.trades, ""], dtype=object)
        cranes = np.array([*(crane.name for crane in self.scenario.served), ""], dtype=object)
        classes = np.array(["", *LIFT_CLASSES], dtype=object)
        option = [self.option_of.get(name) for name in names]
        block, section = blocks[network.block], self.section_names()
        lifts = tasks.hook > 0
        work = tasks.work > 0
        return pd.DataFrame(
            {
                "task": [
                    f"{part or 'site'}/{s}/{z}/{name}"
                    for part, s, z, name in zip(section, network.storey, network.zone, names, strict=True)
                ],
                "block": block,
                "section": section,
                "storey": network.storey,
                "zone": network.zone,
                "activity": names,
                "element": ["" if item is None else item.element for item in option],
                "option": ["" if item is None else item.id for item in option],
                "trade": trades[np.where(is_event, -1, tasks.trade)],
                "gang": ["" if g < 0 else f"G{g + 1}" for g in self.gang],
                "people": tasks.people,
                "calendar": np.where(is_event, "", np.array(CALENDARS, dtype=object)[tasks.calendar]),
                "quantity": [
                    catalogue.activities[name].consumes if name in catalogue.activities and not event else ""
                    for name, event in zip(names, is_event, strict=True)
                ],
                "unit": [
                    "" if event else unit_of(catalogue.activities[name].consumes)
                    for name, event in zip(names, is_event, strict=True)
                ],
                "amount": tasks.amount,
                "work_days": tasks.work,
                "crane": cranes[np.where(lifts, tasks.crane, -1)],
                "lift_class": classes[np.where(lifts, tasks.lift_class, 0)],
                "hook_hours": tasks.hook,
                "start": self.start,
                "finish": self.finish,
                "bound_by": self.bound_words(),
                "operative_days": np.where(work, tasks.people * tasks.work, 0.0),
                "use": np.where(lifts, np.array(USES, dtype=object)[tasks.use], ""),
                "hoist_hours": tasks.hoist_hours,
                "face": blocks[tasks.face],
                "figures": [
                    catalogue.activities[name].figures if name in catalogue.activities and not event else ""
                    for name, event in zip(names, is_event, strict=True)
                ],
            }
        )

    def bound_words(self) -> list[str]:
        """Return, for each task, the cause that fixed its start: a link's word, or the trade's gang."""
        words = []
        for task in range(self.network.size):
            if self.bound_task[task] >= 0:
                words.append("gang")
            elif self.bound_link[task] >= 0:
                words.append(CAUSES[self.network.cause[self.bound_link[task]]])
            else:
                words.append("start")
        return words


def schedule(scenario: Scenario, method: Method, values: Values, takeoff: TakeOff) -> Plan:
    """Schedule a method.

    Parameters
    ----------
    scenario : Scenario
    method : Method
    values : Values
        Figures of this method.
    takeoff : TakeOff

    Returns
    -------
    Plan

    Raises
    ------
    ScheduleError
        If the programme passes 15 years, or the links form a ring.
    ScenarioError
        If the method's options or deck sets cannot work together.
    """
    catalogue = read_catalogue()
    options = dict(method.options)
    chosen = {element: catalogue.options[element, name] for element, name in options.items()}
    rules, sets, keeps_set = _rules(method, chosen, values)
    holds = {"": True, "late_adoption": scenario.development.late_adoption}
    activities = tuple(
        name for name in catalogue.activities_of(options) if holds[catalogue.activities[name].when]
    )
    layout = takeoff.layout
    network = build_network(
        layout.storeys,
        layout.zones,
        layout.parts,
        tuple(bool(x) for x in takeoff.higher_risk),
        activities,
        rules,
        catalogue,
    )
    conditions = expected_conditions(scenario, values, layout)
    block_crane = _block_crane(scenario)
    tasks = work_out(network, takeoff, values, catalogue, block_crane, scenario)
    per_block = {
        "block.start_weeks": np.array(
            [given(b.start_weeks, values, "block.start_weeks") for b in scenario.blocks]
        ),
        # without a hoist no bay is left out, and nothing waits behind one
        "wait.bay_rooms": values["wait.bay_rooms"] * (takeoff.amount("hoists_no", "block") > 0),
    }
    if not scenario.development.late_adoption:  # nothing has to be drawn or asked for again
        per_block |= {key: np.zeros(len(layout.names)) for key in ("late.redesign", "approval.change")}
    links = Links(lag=lag_days(network, values, per_block, tasks.work), kind=network.lag_kind)
    mean_lag = mean_lags(links, conditions)
    gangs = size_gangs(
        network, tasks, mean_lag, conditions, catalogue, values, layout.storeys, block_crane, sets, keeps_set
    )
    off_site = np.array([not trade.on_site for trade in catalogue.trades.values()])
    each_block = scenario.development.priority == "each block"
    rank = order_tasks(network, tasks, mean_lag, conditions, off_site, each_block)
    owners = catalogue.owner_of(options)
    return run_plan(
        scenario,
        method,
        values,
        takeoff,
        network,
        tasks,
        links,
        conditions,
        gangs,
        rank,
        {name: catalogue.options[owners[name]] for name in activities},
    )


def run_plan(
    scenario: Scenario,
    method: Method,
    values: Values,
    takeoff: TakeOff,
    network: Network,
    tasks: Tasks,
    links: Links,
    conditions: Conditions,
    gangs: Gangs,
    rank: Ints,
    option_of: Mapping[str, Option],
) -> Plan:
    """Run the day-by-day schedule with gangs and order given. Parameters as in `Plan`."""
    served = _Served.of(network, rank)
    order = served.order
    pool = np.where(tasks.trade >= 0, gangs.pool_of[tasks.trade, network.block], -1)
    room = int(min(np.ceil(tasks.work / 0.2).sum(), 400.0 * network.size)) + 4 * network.size
    while True:
        outcome = run_days(
            tasks.work[order],
            tasks.hook[order],
            tasks.crane[order].astype(SHORT),
            tasks.lift_class[order].astype(TINY),
            tasks.use[order].astype(TINY),
            tasks.hoist_hours[order],
            tasks.hoist[order].astype(SHORT),
            tasks.face[order].astype(SHORT),
            tasks.calendar[order].astype(TINY),
            pool[order].astype(SHORT),
            network.pred_count[order],
            served.succ_ptr,
            served.after,
            links.lag[served.links],
            links.kind[served.links].astype(TINY),
            conditions.share,
            conditions.open_dates,
            conditions.open_before,
            conditions.release,
            conditions.hook_ordinary,
            conditions.hook_large,
            conditions.hook_evening,
            conditions.hoist_hours,
            gangs.pointers,
            values["crane.booked_panels"],
            values["site.least_hook_start"],
            cleared_per_hour(values),
            room,
        )
        if outcome[0] != LOG_FULL:
            break
        room *= 2
    status, ready, start, finish, gang, bound_link, bound_task, code, work, hook, undone = outcome
    ready, start, finish = ready[rank], start[rank], finish[rank]
    gang, bound_link, bound_task = (
        values_of[rank].astype(np.int64) for values_of in (gang, bound_link, bound_task)
    )
    if status != DONE:
        raise ScheduleError(_too_long(network, tasks, finish, undone, takeoff))
    bound_link = np.where(bound_link >= 0, served.links[bound_link], -1)
    bound_task = np.where(bound_task >= 0, order[bound_task], -1)
    horizon = conditions.open_dates.size
    code = order[code // horizon] * horizon + code % horizon
    code, work, hook = _one_row_a_date(code, work, hook, horizon)
    return Plan(
        scenario=scenario,
        method=method,
        values=values,
        takeoff=takeoff,
        network=network,
        tasks=tasks,
        links=links,
        conditions=conditions,
        gangs=gangs,
        rank=rank,
        ready=ready,
        start=start,
        finish=finish,
        gang=gang,
        bound_link=bound_link,
        bound_task=bound_task,
        moved_task=code // horizon,
        moved_date=code % horizon,
        moved_work=work,
        moved_hook=hook,
        option_of=option_of,
    )


@dataclass(frozen=True, eq=False)
class _Served:
    """A network with its tasks in the order in which they are served, so that neighbours lie together.

    Attributes
    ----------
    order : array of int
        Task at each place.
    links : array of int
        Link of the network at each place.
    succ_ptr, after : array of int
        Followers by place.
    """

    order: Ints
    links: Ints
    succ_ptr: Ints
    after: Ints

    @classmethod
    def of(cls, network: Network, rank: Ints) -> _Served:
        """Renumber the tasks of a network by their place in the order."""
        order = np.empty_like(rank)
        order[rank] = np.arange(rank.size)
        count = np.diff(network.succ_ptr)[order]
        succ_ptr = np.concatenate([[0], np.cumsum(count)])
        links = np.repeat(network.succ_ptr[order] - succ_ptr[:-1], count) + np.arange(network.after.size)
        return cls(order, links, succ_ptr, rank[network.after[links]])


def _one_row_a_date(code: Ints, work: Floats, hook: Floats, horizon: int) -> tuple[Ints, Floats, Floats]:
    """Join the rows of a task that moved twice on a date; rows come by date and leave by task, then date."""
    task = code // horizon
    if task.max(initial=0) < 2**16:  # short integers are sorted by digit, several times as fast
        task = task.astype(np.uint16)
    order = np.argsort(task, kind="stable")
    code, work, hook = code[order], work[order], hook[order]
    first = np.concatenate([[True], code[1:] != code[:-1]])
    at = np.flatnonzero(first)
    return code[at], np.add.reduceat(work, at), np.add.reduceat(hook, at)


def cleared_per_hour(values: Values) -> float:
    """Return the share of a date that work on a face loses for an hour of large lifts over the block.

    A lift keeps its share of the block's faces clear while it flies.
    """
    return values["site.face_kept_clear"] / values["site.shift_hours"]


def mean_lags(links: Links, conditions: Conditions) -> Floats:
    """Return each lag at the mean calendar of a year. [days]"""
    lag = np.where(links.kind == WORKING, links.lag / conditions.mean_open, links.lag)
    lag = np.where(links.kind == STRIKE, conditions.mean_release[0], lag)
    return np.where(links.kind == PROPS, conditions.mean_release[1], lag)


def order_tasks(
    network: Network,
    tasks: Tasks,
    mean_lag: Floats,
    conditions: Conditions,
    off_site: NDArray[np.bool_],
    each_block: bool,
) -> Ints:
    """Return each task's place in the order: by latest start in the network free of gangs and cranes.

    Work off site goes in the order in which the site first asks for it: a factory makes what is needed
    next, and does not stock one block while another waits.

    Parameters
    ----------
    network : Network
    tasks : Tasks
    mean_lag : array
        Lag of each link at the mean calendar. [days]
    conditions : Conditions
    off_site : array of bool, one a trade
        Trades that work elsewhere.
    each_block : bool
        Measure back from each block's own handover instead of the development's last.

    Returns
    -------
    array of int
        0 goes first; a task never goes before what it follows. Ties by storey, element, zone.
    """
    days = np.divide(
        tasks.work, conditions.mean_share[tasks.calendar], out=np.zeros(network.size), where=tasks.work > 0
    )
    free = early_finish(
        network.order, network.succ_ptr, network.after, mean_lag, days, np.zeros(network.size)
    )
    limit = np.full(network.size, float(free.max()))
    if each_block:
        for task in network.tasks_of("event:ready"):
            limit[network.block == network.block[task]] = free[task]
    late = late_start(network.order, network.succ_ptr, network.after, mean_lag, days, limit)
    elsewhere = off_site[tasks.trade] & (tasks.work > 0) & (tasks.trade >= 0)
    needed = next_needed(network.order, network.succ_ptr, network.after, tasks.work, free - days)
    late[elsewhere] = needed[elsewhere]
    element = network.storey * len(network.groups) + network.group
    tie = element * (int(network.zone.max(initial=0)) + 1) + network.zone
    wanted = np.lexsort((tie, np.round(late, 6)))  # ties beyond that stay in order of task
    place = np.empty(network.size, dtype=np.int64)
    place[wanted] = np.arange(network.size)
    order = topological(network.pred_count, network.succ_ptr, network.after, place)
    rank = np.empty(network.size, dtype=np.int64)
    rank[order] = np.arange(network.size)
    return rank


def _block_crane(scenario: Scenario) -> Ints:
    crane_of = {name: k for k, crane in enumerate(scenario.served) for name in crane.blocks}
    return np.array([crane_of[block.name] for block in scenario.blocks], dtype=np.int64)


def _rules(method: Method, chosen: Mapping[str, Option], values: Values) -> tuple[Rules, int, bool]:
    """Return the counted rules of a method, its deck sets and whether a set stays till the props are out."""
    problems = []
    for option in chosen.values():
        for element, allowed in option.goes_with:
            if chosen[element].id not in allowed:
                problems.append(
                    Problem(
                        f"methods '{method.id}'.options.{option.element}",
                        f"{option.id!r} ({option.label}) cannot be used "
                        f"with {element} = {chosen[element].id!r}",
                        f"It goes with {element} = {' or '.join(repr(name) for name in allowed)}.",
                        f"Choose another option for {option.element} or for {element}.",
                    )
                )
    backprop = backprop_levels(values)
    sets, keeps_set, between_props = 0, False, False
    for option in chosen.values():
        if option.has_props:
            between_props = values[f"{option.key}.props_left"] <= values["site.props_to_work_between"]
        if option.has_sets:
            sets, keeps_set = whole(values[f"{option.key}.sets"]), option.keeps_set
            if sets < (backprop + 1 if keeps_set else 1):
                problems.append(
                    Problem(
                        f"methods '{method.id}', {option.key}.sets",
                        f"{sets} deck sets",
                        f"A deck of {option.label.lower()} stays until {backprop} further slabs are poured, "
                        f"so the next deck waits for ever with fewer than {backprop + 1} sets."
                        if keeps_set
                        else "At least 1 set is needed to lay a deck.",
                        f"Set {option.key}.sets to {backprop + 1 if keeps_set else 1} or more.",
                    )
                )
    if problems:
        raise ScenarioError(problems)
    rules = Rules(
        separation=whole(values["site.separation_storeys"]),
        facade=whole(values["site.facade_separation"]),
        lift=whole(values["site.lift_separation"]),
        backprop=backprop,
        sets=sets,
        call_off=whole(values["factory.call_off_storeys"]),
        occupied=whole(values["site.occupied_separation"]),
        core_ahead=whole(values["site.core_ahead"]),
        finished_share=values["site.finished_share"],
        between_props=between_props,
    )
    return rules, sets, keeps_set


def _too_long(network: Network, tasks: Tasks, finish: Floats, undone: int, takeoff: TakeOff) -> str:
    """Say which task is largest among those that wait for nothing but gang, crane or weather."""
    left = finish < 0
    held = np.zeros(network.size, dtype=bool)
    held[network.after[left[network.before]]] = True
    task = int(np.where(left & ~held, tasks.work, -1.0).argmax())
    name = network.groups[network.group[task]].split(":")[1]
    catalogue = read_catalogue()
    activity = catalogue.activities.get(name)
    label = activity.label if activity else name
    block = takeoff.layout.names[network.block[task]] if network.block[task] >= 0 else "the site"
    key = (
        f"activity.{name}.{activity.timed_by}"
        if activity and activity.timed_by != "output"
        else "factory.output"
    )
    hook = f", {tasks.hook[task]:,.1f} hook hours" if tasks.hook[task] > 0 else ""
    hook += f", {tasks.hoist_hours[task]:,.1f} hoist hours" if tasks.hoist_hours[task] > 0 else ""
    return (
        f"The programme is not finished after 15 years: {undone:,} tasks are left. "
        f"The largest that could go on is '{label}' in {block}, storey {network.storey[task]}: "
        f"{tasks.work[task]:,.0f} shifts for {tasks.people[task]:g} people{hook}. Look at {key}, "
        "at the gangs of its trade, and at the weather, hook and hoist limits."
    )
