"""Why is a date what it is, and how much room is there before it moves?

A path goes from an event back to the start on site, always to what fixed the start: the gang that came
free, else the link that was last to be met. Every day between is put under one cause, so that the days of
a path add up to the event's instant. Float is the room a task has in the schedule as it came out: links
and the order of each gang's work are held, cranes and hoists are not ("before crane sharing"). What a slip
truly costs comes from scheduling again.

Nothing here schedules. Instants and durations in days, closed dates included.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.compiled import compiled
from model.core.errors import RangeError
from model.inputs.method import CAUSES, read_catalogue
from model.programme.kernel import CALENDAR, EPS, LARGE, STRIKE, after_lag, late_start, topological
from model.programme.plan import Plan

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PATH_CAUSES: Final = (
    "work",
    "closed",
    "weather",
    "crane",
    "hoist",
    "kept clear",
    *(word for word in CAUSES if word != "work"),
)
"""What a day on a path may be put under. Lags of links whose word is "work" come under "work"."""

PATH_COLUMNS: Final = (
    "from_day", "to_day", "start date", "finish date", "what", "block", "storey", "zone", "trade", "cause",
    "days",
)  # fmt: skip

TRADE_COLUMNS: Final = ("trade", "float_days", "task", "what", "block", "storey", "zone")

WORK, CLOSED, WEATHER, HOOK, KEPT_CLEAR = range(5)
"""Rows of `split_elapsed` and `split_wait`; HOOK is waiting for a crane or a hoist."""


@dataclass(frozen=True)
class Step:
    """One stretch of a path: a task in hand, or what lies between two tasks.

    Attributes
    ----------
    task : int
        Task in hand, or the task waited for.
    label : str
        Activity; for what lies between, "the one before to this one".
    block, storey, zone, trade : str, int, int, str
        Of the task; empty or 0 where they do not apply.
    kind : str
        ``work`` or ``between``.
    start, finish : float
        Instants. [days from start on site]
    days : mapping of str to float
        Days by cause, in order of `PATH_CAUSES`, those without days left out. [days]
    """

    task: int
    label: str
    block: str
    storey: int
    zone: int
    trade: str
    kind: Literal["work", "between"]
    start: float
    finish: float
    days: Mapping[str, float]


@dataclass(frozen=True)
class Path:
    """What an instant is made of, from the start on site on.

    Attributes
    ----------
    task : int
        Event or task it leads to.
    instant : float
        When that has happened. [days from start on site]
    steps : tuple of Step
        In order of time, without gaps; stretches of no length (events) are left out.
    days : mapping of str to float
        Days by cause: all of `PATH_CAUSES`; they add up to the instant. [days]
    trade_days : mapping of str to float
        Days of work in hand on the path by trade; with the lags under "work" they make ``days["work"]``.
        [days]
    site_start : date
        Start on site.
    """

    task: int
    instant: float
    steps: tuple[Step, ...]
    days: Mapping[str, float]
    trade_days: Mapping[str, float]
    site_start: dt.date

    def frame(self) -> pd.DataFrame:
        """Return the path in order of time.

        Returns
        -------
        DataFrame
            One row for each cause of each step, columns as `PATH_COLUMNS`: the step's first and last
            instant [days from start on site] and dates, what it is, where, who, the cause and its days.
            The days add up to the instant.
        """
        rows = [
            (
                step.start,
                step.finish,
                self.site_start + dt.timedelta(days=int(step.start + EPS)),
                self.site_start + dt.timedelta(days=max(int(np.ceil(step.finish - EPS)) - 1, 0)),
                step.label,
                step.block,
                step.storey,
                step.zone,
                step.trade,
                cause,
                days,
            )
            for step in self.steps
            for cause, days in step.days.items()
        ]
        return pd.DataFrame(rows, columns=list(PATH_COLUMNS))


def path_to(plan: Plan, task: int) -> Path:
    """Follow what fixed the instant of an event or task back to the start on site.

    Inside a task each date's part is split by `split_elapsed`. Between tasks the lag of the link is put
    whole under the link's word, closed dates within it included; waiting after that (or after the gang
    came free) is split by `split_wait`.

    Parameters
    ----------
    plan : Plan
    task : int
        Place of the event or task in the network.

    Returns
    -------
    Path

    Raises
    ------
    RangeError
        If the network has no such task.
    """
    network = plan.network
    if not 0 <= task < network.size:
        raise RangeError(
            f"There is no task {task}: the programme has tasks 0 to {network.size - 1}. "
            "Take one from the rows of the plan, or from the tasks of an event."
        )
    chain = trace(task, plan.bound_task, plan.bound_link, network.before)
    start, finish = plan.start[chain], plan.finish[chain]
    freed = np.concatenate([[0.0], finish[:-1]])  # end of what fixed each start
    # a gap before work of less than this is rounding, and goes with the work
    gap = start - freed > np.where(plan.tasks.work[chain] > 0, EPS, 0.0)
    begin = np.where(gap, start, freed)
    within = _within(plan, chain, begin)
    between = _between(plan, chain, freed, gap)

    names = _Names(plan)
    steps: list[Step] = []
    label = "Start on site"
    for k, i in enumerate(map(int, chain)):
        before, label = label, names.label(i)
        if gap[k]:
            steps.append(
                names.step(i, f"{before} to {label}", "between", float(freed[k]), float(start[k]), between[k])
            )
        if finish[k] > begin[k]:
            steps.append(names.step(i, label, "work", float(begin[k]), float(finish[k]), within[k]))
    trade_days: dict[str, float] = {}
    for step_of in steps:
        if step_of.kind == "work":
            trade_days[step_of.trade] = trade_days.get(step_of.trade, 0.0) + step_of.days.get("work", 0.0)
    total = (within + between).sum(axis=0)
    return Path(
        task=task,
        instant=float(plan.finish[task]),
        steps=tuple(steps),
        days=dict(zip(PATH_CAUSES, total.tolist(), strict=True)),
        trade_days=trade_days,
        site_start=plan.start_date,
    )


def trace(task: int, bound_task: Ints, bound_link: Ints, before: Ints) -> Ints:
    """Return the tasks that fixed each other's starts, the earliest first.

    Parameters
    ----------
    task : int
        Last of them.
    bound_task, bound_link : array of int, one a task
        Task whose gang held the start back, and link that fixed when it was ready; -1 for none.
    before : array of int, one a link
        What each link follows.

    Returns
    -------
    array of int
        Ends with `task`; begins with a task that waited for nothing.
    """
    chain = [task]
    while True:
        last = chain[-1]
        if bound_task[last] >= 0:
            chain.append(int(bound_task[last]))
        elif bound_link[last] >= 0:
            chain.append(int(before[bound_link[last]]))
        else:
            return np.array(chain[::-1], dtype=np.int64)


def date_parts(start: Floats, finish: Floats) -> tuple[Ints, Ints, Floats]:
    """Cut stretches of time at every midnight.

    Parameters
    ----------
    start, finish : array, shape (n,)
        Instants; a stretch that does not finish after its start has no parts. [days]

    Returns
    -------
    stretch, date : array of int
        Which stretch each part belongs to, and its date.
    elapsed : array
        Length of each part. [days]
    """
    first = np.floor(start).astype(np.int64)
    count = np.where(finish > start, np.ceil(finish).astype(np.int64) - first, 0)
    stretch = np.repeat(np.arange(start.size), count)
    date = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[stretch]
    elapsed = np.minimum(finish[stretch], date + 1.0) - np.maximum(start[stretch], date)
    return stretch, date, elapsed


def split_elapsed(
    elapsed: Floats, open_share: Floats, share: Floats, kept_clear: Floats, done: Floats
) -> Floats:
    r"""Split the time a task is in hand, date by date, by what it went into.

    Of a part :math:`e` of a date on which the site is open for :math:`w` of a shift, the weather leaves
    :math:`f`, a large lift overhead takes :math:`k` of that, and :math:`x` shifts are done:

    .. math:: e = \underbrace{x}_{work} + \underbrace{e (1 - w)}_{closed} + \underbrace{e (w - f)}_{weather}
        + \underbrace{e f k}_{kept\ clear} + \underbrace{e f (1 - k) - x}_{hook}

    Parameters
    ----------
    elapsed : array, one a part
        Part of the date. [days, 0 to 1]
    open_share : array
        Share of a shift the site is open, without weather.
    share : array
        Share of a shift that can be worked, not above `open_share`.
    kept_clear : array
        Share of the work lost under large lifts.
    done : array
        Work done. [shifts]

    Returns
    -------
    array, shape (5, parts)
        Rows WORK, CLOSED, WEATHER, HOOK, KEPT_CLEAR; columns add up to `elapsed`. Waiting for the hook of
        less than a billionth of a day is rounding and counts as work. [days]

    Raises
    ------
    RangeError
        If a share is outside 0 to 1 or more can be worked than the site is open, or if more is done than
        a part allows.
    """
    if np.any(
        (share < 0) | (share > open_share + EPS) | (open_share > 1) | (kept_clear < 0) | (kept_clear > 1)
    ):
        raise RangeError(
            "Shares of a date must keep 0 <= what the weather leaves <= what the site is open <= 1, and the "
            "share kept clear 0 to 1; found one outside. Give the shares of the same dates for all of them."
        )
    waited = elapsed * share * (1.0 - kept_clear) - done
    if np.any(waited < -1e-6):
        worst = int(waited.argmin())
        raise RangeError(
            f"{done[worst]:g} shifts of work were put into a part of a date that allows "
            f"{done[worst] + waited[worst]:g}. No task does more than its calendar allows: give the progress "
            "and the shares of one and the same schedule."
        )
    parts = np.empty((5, elapsed.size))
    parts[CLOSED] = elapsed * (1.0 - open_share)
    parts[WEATHER] = elapsed * (open_share - share)
    parts[HOOK] = np.where(waited > EPS, waited, 0.0)
    parts[KEPT_CLEAR] = elapsed * share * kept_clear
    parts[WORK] = elapsed - parts[CLOSED:].sum(axis=0)
    return parts


def split_wait(elapsed: Floats, open_share: Floats, share: Floats, kept_clear: Floats) -> Floats:
    """Put the time a task waits to start, date by date, under what stood in the way.

    A date counts whole: closed where the site is closed; weather where it is open and nothing of the
    task's calendar is left; kept clear where large lifts take all that is left; the hook otherwise.

    Parameters
    ----------
    elapsed, open_share, share, kept_clear : array, one a part
        As in `split_elapsed`.

    Returns
    -------
    array, shape (5, parts)
        Rows as in `split_elapsed`; nothing under WORK. [days]
    """
    closed = open_share <= 0
    weather = ~closed & (share <= 0)
    clear = ~closed & ~weather & (kept_clear >= 1)
    parts = np.zeros((5, elapsed.size))
    for row, here in (
        (CLOSED, closed),
        (WEATHER, weather),
        (KEPT_CLEAR, clear),
        (HOOK, ~(closed | weather | clear)),
    ):
        parts[row, here] = elapsed[here]
    return parts


def float_days(plan: Plan, to: str = "block") -> Floats:
    """Return how far each task may slip before a handover moves: before crane sharing.

    Backward pass over the links and over the order in which each gang did its tasks, elapsed days and lags
    held as they came out. Cranes and hoists are not held, nor waits for an open date: a task ahead of such
    a wait shows the wait as float.

    Parameters
    ----------
    plan : Plan
    to : str
        ``block``: every block is to be ready when it is. ``last``: the last block is to be ready when it
        is, and the others no later than that.

    Returns
    -------
    array, one a task
        Infinite where no block waits for the task to be ready. Less than a billionth of a day either side
        of 0 is rounding and is 0. [days]

    Raises
    ------
    RangeError
        If `to` is another word.
    """
    if to not in ("block", "last"):
        raise RangeError(
            f"Float cannot be measured to {to!r}. It is measured to 'block', each block's own handover, or "
            "to 'last', the last handover of all: give one of these words."
        )
    network = plan.network
    limit = np.full(network.size, np.inf)
    handovers = network.tasks_of("event:ready")
    limit[handovers] = plan.finish[handovers] if to == "block" else plan.last_handover
    lag = realised_lags(
        plan.finish,
        network.before,
        plan.links.lag,
        plan.links.kind,
        plan.conditions.open_dates,
        plan.conditions.open_before,
        plan.conditions.release,
    )
    earlier, later = gang_sequence(plan.gang, plan.start)
    latest = latest_finish(
        np.concatenate([network.before, earlier]),
        np.concatenate([network.after, later]),
        np.concatenate([lag, np.zeros(earlier.size)]),
        plan.finish - plan.start,
        limit,
    )
    room = latest - plan.finish
    return np.where(np.abs(room) < EPS, 0.0, room)


def float_by_trade(plan: Plan, to: str = "block") -> pd.DataFrame:
    """Return the least float of each trade that has work: before crane sharing.

    Parameters
    ----------
    plan : Plan
    to : str
        As in `float_days`.

    Returns
    -------
    DataFrame
        Columns as `TRADE_COLUMNS`, least first: the trade, its least float [days], and the first task in
        time that has no more than that, with what and where it is.
    """
    room = float_days(plan, to)
    names = _Names(plan)
    tasks = np.flatnonzero(plan.tasks.work > 0)
    tasks = tasks[np.lexsort((plan.start[tasks], room[tasks]))]
    _trades, first = np.unique(plan.tasks.trade[tasks], return_index=True)
    rows = []
    for i in map(int, tasks[np.sort(first)]):
        block, storey, zone, trade = names.place(i)
        rows.append((trade, float(room[i]), i, names.label(i), block, storey, zone))
    return pd.DataFrame(rows, columns=list(TRADE_COLUMNS))


def latest_finish(before: Ints, after: Ints, lag: Floats, days: Floats, limit: Floats) -> Floats:
    """Return the latest finish of each task that keeps every limit: a backward pass.

    Parameters
    ----------
    before, after : array of int, one a link, in any order
        `after` starts when `before` has finished and the lag has passed.
    lag : array, one a link
        [days]
    days : array, one a task
        Duration. [days]
    limit : array, one a task
        Latest finish imposed from outside; infinite for none. [days]

    Returns
    -------
    array, one a task
        Infinite for a task from which no limit is reached. [days]

    Raises
    ------
    RangeError
        If the links form a ring.

    References
    ----------
    Kelley and Walker 1959, *Critical-path planning and scheduling*, Proc. Eastern Joint Computer
    Conference, 160-173.
    """
    size = days.size
    by_before = np.argsort(before, kind="stable")
    pointers = np.searchsorted(before[by_before], np.arange(size + 1)).astype(np.int64)
    followers = after[by_before]
    count = np.bincount(after, minlength=size).astype(np.int64)
    order = topological(count, pointers, followers, np.arange(size))
    if order.size < size:
        raise RangeError(
            f"The links go round in a ring: {size - order.size} of {size} tasks have no latest finish. "
            "Give links that all lead forward in time."
        )
    return np.asarray(late_start(order, pointers, followers, lag[by_before], days, limit) + days)


def gang_sequence(gang: Ints, start: Floats) -> tuple[Ints, Ints]:
    """Return each task and the next its gang did, as two arrays of tasks.

    Parameters
    ----------
    gang : array of int, one a task
        -1 for none.
    start : array, one a task
        [days]
    """
    order = np.lexsort((start, gang))
    order = order[gang[order] >= 0]
    same = gang[order[1:]] == gang[order[:-1]]
    return order[:-1][same], order[1:][same]


@compiled
def realised_lags(
    finish: Floats,
    before: Ints,
    lag: Floats,
    kind: Ints,
    open_dates: Floats,
    open_before: Floats,
    release: Floats,
) -> Floats:
    """Return the days each link's lag takes after what it follows finished as it did.

    Parameters
    ----------
    finish : array, one a task
        [days]
    before, lag, kind : array, one a link
        As in the kernel.
    open_dates, open_before, release : array
        As in the kernel.

    Returns
    -------
    array, one a link
        Closed dates within included. [days]
    """
    days = np.empty(before.size)
    for e in range(before.size):
        if kind[e] == CALENDAR:
            days[e] = lag[e]
        else:
            at = finish[before[e]]
            row = kind[e] - STRIKE
            days[e] = after_lag(at, lag[e], kind[e], open_dates, open_before, release, row) - at
    return days


def _within(plan: Plan, chain: Ints, begin: Floats) -> Floats:
    """Days in hand of each task of a chain by cause, one row a task. [days]"""
    step, date, elapsed = date_parts(begin, plan.finish[chain])
    split = split_elapsed(elapsed, *_shares(plan, chain[step], date), _moved(plan, chain[step], date))
    return _by_cause(plan, chain, step, split)


def _between(plan: Plan, chain: Ints, freed: Floats, gap: NDArray[np.bool_]) -> Floats:
    """Days before each task of a chain by cause, lag and waiting, one row a task. [days]"""
    ready = np.where(plan.bound_task[chain] >= 0, freed, plan.ready[chain])
    step, date, elapsed = date_parts(ready, np.where(gap, plan.start[chain], ready))
    days = _by_cause(plan, chain, step, split_wait(elapsed, *_shares(plan, chain[step], date)))
    lagged = np.flatnonzero(gap & (ready > freed))
    word = plan.network.cause[plan.bound_link[chain[lagged]]]
    place = np.array([PATH_CAUSES.index(name) for name in CAUSES])
    days[lagged, place[word]] += ready[lagged] - freed[lagged]
    return days


def _shares(plan: Plan, task: Ints, date: Ints) -> tuple[Floats, Floats, Floats]:
    """Open share, share of the task's calendar and share kept clear, for tasks on dates."""
    _hours, exposed, kept_clear = _hoists_and_clearing(plan)
    block = plan.network.block[task]
    clears = exposed[task] & (block >= 0)
    return (
        plan.conditions.open_week[date],
        plan.conditions.share[plan.tasks.calendar[task], date],
        np.where(clears, kept_clear[block, date], 0.0),
    )


def _by_cause(plan: Plan, chain: Ints, step: Ints, split: Floats) -> Floats:
    """Add the rows of a split up by step, under their words: the hook is what the task lifts by. [days]"""
    hours, _exposed, _kept_clear = _hoists_and_clearing(plan)
    by_hoist = (hours[chain] > 0) & (plan.tasks.hook[chain] <= 0)
    days = np.zeros((chain.size, len(PATH_CAUSES)))
    for row, word in ((WORK, "work"), (CLOSED, "closed"), (WEATHER, "weather"), (KEPT_CLEAR, "kept clear")):
        days[:, PATH_CAUSES.index(word)] = np.bincount(step, split[row], minlength=chain.size)
    hook = np.bincount(step, split[HOOK], minlength=chain.size)
    days[:, PATH_CAUSES.index("crane")] = np.where(by_hoist, 0.0, hook)
    days[:, PATH_CAUSES.index("hoist")] = np.where(by_hoist, hook, 0.0)
    return days


def _moved(plan: Plan, task: Ints, date: Ints) -> Floats:
    """Work done by tasks on dates, from the progress. [shifts]"""
    horizon = plan.conditions.open_week.size
    log = plan.moved_task * horizon + plan.moved_date  # ascending: by task, then date
    wanted = task * horizon + date
    at = np.minimum(np.searchsorted(log, wanted), log.size - 1)
    return np.where(log[at] == wanted, plan.moved_work[at], 0.0)


def _hoists_and_clearing(plan: Plan) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """Hoist hours and exposure by task; share kept clear by block and date."""
    exposed = (plan.tasks.face >= 0) & (plan.tasks.lift_class != LARGE)
    return plan.tasks.hoist_hours, exposed, plan.kept_clear


class _Names:
    """What a task is called and where it is."""

    def __init__(self, plan: Plan) -> None:
        catalogue = read_catalogue()
        self.network = plan.network
        self.trade = plan.tasks.trade
        self.trades = list(catalogue.trades)
        self.blocks = (*plan.takeoff.layout.names, "")  # -1, the site, has none
        self.labels: list[str] = [
            catalogue.activities[name].label if kind == "activity" else catalogue.events[name].label
            for kind, name in (group.split(":") for group in plan.network.groups)
        ]

    def label(self, task: int) -> str:
        """Activity or event, as it is called."""
        return self.labels[int(self.network.group[task])]

    def place(self, task: int) -> tuple[str, int, int, str]:
        """Block, storey, zone and trade of a task."""
        network, trade = self.network, int(self.trade[task])
        return (
            self.blocks[int(network.block[task])],
            int(network.storey[task]),
            int(network.zone[task]),
            self.trades[trade] if trade >= 0 else "",
        )

    def step(
        self,
        task: int,
        label: str,
        kind: Literal["work", "between"],
        start: float,
        finish: float,
        days: Floats,
    ) -> Step:
        """Step of a path, the causes that have days named."""
        named = {PATH_CAUSES[k]: float(days[k]) for k in np.flatnonzero(days)}
        return Step(task, label, *self.place(task), kind, start, finish, named)
