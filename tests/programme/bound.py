"""What is the least time in which a small development could be done, whatever the order?

A proof from below for the day-by-day schedule. The same tasks, links with their lags, gangs and hook hours
are put to a constraint solver (ortools CP-SAT), which shares no line with the scheduler. What it proves is a
lower bound of any schedule that keeps our rules, ours among them. Nothing here is used by the model.

The model is a relaxation: every schedule that keeps the rules, ours included, is one of its solutions after
rounding every instant down to the grid, so its least makespan is never above ours. Step by step:

1. *Open axis.* Let s(t) count the open dates before the instant t, the part of an open date included. It
   never decreases, so what holds in order of t holds in order of s(t). Work moves on open dates only.
2. *Grid.* S = floor(q s), R = floor(q t), q ticks a date. From t2 >= t1 + lag follows
   R2 >= R1 + floor(q lag), since floor(a + b) >= floor(a) + floor(b). Whole dates (q = 1) would be valid too,
   but lose up to a date for each task of a chain: with them nine small developments were proved to within
   12 % of our dates, with quarters of a date 5 %, with 96ths 2 %.
3. *Links.* Working lags are lengths on the open axis. Calendar lags and releases are lengths of R. R and S of
   one instant differ by the closed dates before its run of open dates: one 0-1 variable a run. A release
   counts as the shortest of the dates of its run.
4. *Work.* A task takes at least the shortest stretch of the open axis that holds its work on its own
   calendar, over all starts its window allows. The window is what is left between a forward and a backward
   pass, the latter from our own makespan; a schedule that is no longer than ours fits into it.
5. *Gangs.* A gang keeps a task from its start to its end, so spans on the open axis with one gang do not
   overlap, rounded down or not; in a pool of k gangs at no tick more than k are running. A span may be
   shortened to its least length without breaking any of this.
6. *Hook.* A task's hook hours fall on dates it touches. In hundredths of an hour, need rounded down and
   supply rounded up, on each date: large loads <= large hours, all loads <= all hours, and no task lifts more
   than its rate times the share of a shift of that date. Real hours that fit can be made whole ones that fit:
   the limits are nested, so this is a flow with whole bounds, and such a flow has a whole solution.
   On its first and last date a lift goes on for part of the date only, and lifts that part of its rate.
7. *Left out.* Booked shares of the hook, the least hook time to start a lift, hoists, the rule that a gang
   never waits for a better task: each is a limit on our schedule alone and can only make ours longer.

When the solver runs out of effort, the best bound it has proved by then is used instead of the optimum. Our
own dates, rounded down, are put to the relaxation too: `contains` must find that they solve it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from model.programme.plan import order_tasks

CALENDAR, WORKING, STRIKE, PROPS = 0, 1, 2, 3
LARGE = 2
NEAR = 1e-6
TICKS = 96
"""Ticks of a date."""
HOOK_UNIT = 100
"""Units of a hook hour."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Case:
    """A development and its schedule, as plain arrays.

    Attributes
    ----------
    work, hook : array, one a task
        Shifts of work (0 for an event); hook hours.
    crane, lift_class, calendar, pool : array of int, one a task
    before, after, lag, kind : array, one a link
    share : array, shape (calendars, dates)
    open_dates : array, one a date
    release : array, shape (2, dates)
    ordinary, large : array, shape (cranes, dates)
    gangs : array of int, one a pool
    start, finish, gang : array, one a task
        Our schedule.
    moved_task, moved_date, moved_work, moved_hook : array
        Our progress by task and date.
    """

    work: Floats
    hook: Floats
    crane: Ints
    lift_class: Ints
    calendar: Ints
    pool: Ints
    before: Ints
    after: Ints
    lag: Floats
    kind: Ints
    share: Floats
    open_dates: Floats
    release: Floats
    ordinary: Floats
    large: Floats
    gangs: Ints
    start: Floats
    finish: Floats
    gang: Ints
    moved_task: Ints
    moved_date: Ints
    moved_work: Floats
    moved_hook: Floats

    @property
    def makespan(self) -> float:
        """When everything is done. [days]"""
        return float(self.finish.max())

    @property
    def size(self) -> int:
        """Tasks with work."""
        return int((self.work > 0).sum())

    @property
    def dates(self) -> int:
        """Dates looked at: those of our schedule and a margin."""
        return min(int(np.ceil(self.makespan)) + 40, self.open_dates.size)


def of_plan(plan: Any) -> Case:
    """Take a plan of the model apart."""
    tasks, network, conditions = plan.tasks, plan.network, plan.conditions
    return Case(
        work=tasks.work,
        hook=np.where(tasks.crane >= 0, tasks.hook, 0.0),
        crane=tasks.crane,
        lift_class=tasks.lift_class,
        calendar=tasks.calendar,
        pool=np.where(tasks.work > 0, plan.gangs.pool_of[tasks.trade, network.block], -1),
        before=network.before,
        after=network.after,
        lag=plan.links.lag,
        kind=plan.links.kind,
        share=conditions.share,
        open_dates=conditions.open_dates,
        release=conditions.release,
        ordinary=conditions.hook_ordinary,
        large=conditions.hook_large,
        gangs=plan.gangs.counts,
        start=plan.start,
        finish=plan.finish,
        gang=plan.gang,
        moved_task=plan.moved_task,
        moved_date=plan.moved_date,
        moved_work=plan.moved_work,
        moved_hook=plan.moved_hook,
    )


def of_net(net: Any, site: Any, done: Any) -> Case:
    """Take a small network of the tests and its schedule apart."""
    return Case(
        work=net.of("work"),
        hook=net.of("hook"),
        **{name: net.of(name, np.int64) for name in ("crane", "lift_class", "calendar", "pool")},
        before=np.array([link.before for link in net.links], dtype=np.int64),
        after=np.array([link.after for link in net.links], dtype=np.int64),
        lag=net.lags,
        kind=np.array([link.kind for link in net.links], dtype=np.int64),
        share=site.share,
        open_dates=site.open_dates,
        release=site.release,
        ordinary=site.ordinary,
        large=site.large,
        gangs=np.array(site.gangs, dtype=np.int64),
        start=done.start,
        finish=done.finish,
        gang=done.gang,
        moved_task=done.task,
        moved_date=done.date,
        moved_work=done.work,
        moved_hook=done.hook,
    )


def rank_of(net: Any, shares: Floats, lags: Floats) -> Ints:
    """Order a small network by the model's own ordering code.

    Parameters
    ----------
    net : Net
        Network of the tests.
    shares : array, one a calendar
        Mean share of a shift.
    lags : array, one a link
        [days]

    Returns
    -------
    array of int, one a task
        Place in the order; ties go to the lowest number.
    """
    size = len(net.tasks)
    count, pointers, after = net.arrays
    zeros = np.zeros(size, dtype=np.int64)
    network = SimpleNamespace(
        size=size,
        order=net.order(),
        succ_ptr=pointers,
        after=after,
        pred_count=count,
        storey=zeros,
        zone=zeros,
        group=np.arange(size),
        groups=tuple(range(size)),
    )
    tasks = SimpleNamespace(work=net.of("work"), calendar=net.of("calendar", np.int64), trade=zeros)
    conditions = SimpleNamespace(mean_share=np.asarray(shares, dtype=float))
    return order_tasks(network, tasks, lags, conditions, np.array([False]), False)  # type: ignore[arg-type]


def mean_lags(net: Any, site: Any) -> Floats:
    """Lags of a small network at the mean calendar of its site. [days]"""
    by_kind = {STRIKE: site.release[0].mean(), PROPS: site.release[1].mean()}
    return np.array(
        [
            by_kind.get(link.kind, link.lag / site.open_dates.mean() if link.kind == WORKING else link.lag)
            for link in net.links
        ]
    )


class Axis:
    """The open axis of a site: open dates laid end to end, and back.

    A run is a stretch of open dates, or the closed dates between two of them.
    """

    def __init__(self, open_dates: Floats, dates: int) -> None:
        flags = open_dates[:dates] > 0
        self.dates = dates
        self.open = np.flatnonzero(flags)
        self.before = np.concatenate([[0], np.cumsum(flags)]).astype(float)
        turns = [0, *(np.flatnonzero(np.diff(flags.astype(int))) + 1).tolist(), dates]
        self.spans = [(a, b, bool(flags[a])) for a, b in pairwise(turns)]

    def to_open(self, instant: Floats | float) -> Floats:
        """Open dates before an instant."""
        return np.asarray(np.interp(instant, np.arange(self.dates + 1), self.before))

    def earliest(self, place: float) -> float:
        """First instant with that many open dates before it. [days]"""
        if place <= NEAR:
            return 0.0
        date = int(self.open[int(np.ceil(place - NEAR)) - 1])
        return float(date + place - self.before[date])


def release_of(case: Case, kind: int, dates: slice) -> float:
    """Shortest release of pours on some dates. [days]"""
    return float(case.release[kind - STRIKE, dates].min())


def held(case: Case, link: int) -> float:
    """Instant at which a link lets its follower start, walked date by date. [days]"""
    end, kind, lag = case.finish[case.before[link]], case.kind[link], case.lag[link]
    if kind == CALENDAR:
        return float(end + lag)
    if kind in (STRIKE, PROPS):
        return float(end + case.release[kind - STRIKE, max(int(np.ceil(end - NEAR)) - 1, 0)])
    here, left = float(end), float(lag)
    while left > NEAR:
        step = int(here) + 1 - here
        use = step if case.open_dates[int(here)] > 0 else 0.0
        if use >= left:
            return here + left
        here, left = float(int(here) + 1), left - use
    return here


def breaches(case: Case) -> list[str]:
    """Limits our own dates do not satisfy, in words; empty when they satisfy all."""
    found = []
    for link in range(case.before.size):
        if case.start[case.after[link]] < held(case, link) - NEAR:
            found.append(f"link {case.before[link]} to {case.after[link]} is not kept")
    first = np.concatenate([[0], np.cumsum(case.gangs)])
    real = np.flatnonzero(case.work > 0)
    for gang in np.unique(case.gang[real]):
        mine = real[case.gang[real] == gang]
        mine = mine[np.argsort(case.start[mine], kind="stable")]
        if np.any(case.start[mine[1:]] < case.finish[mine[:-1]] - NEAR):
            found.append(f"gang {gang} is in two places")
    pool = case.pool[real]
    if np.any((case.gang[real] < first[pool]) | (case.gang[real] >= first[pool + 1])):
        found.append("a task is done by a gang of another trade")
    total = np.bincount(case.moved_task, case.moved_work, minlength=case.work.size)
    lifted = np.bincount(case.moved_task, case.moved_hook, minlength=case.work.size)
    if np.any(np.abs(total - case.work) > NEAR) or np.any(np.abs(lifted - case.hook) > NEAR):
        found.append("progress does not add up to the work")
    low = np.maximum(case.start[case.moved_task], case.moved_date)
    part = np.minimum(case.finish[case.moved_task], case.moved_date + 1) - low
    allowed = case.share[case.calendar[case.moved_task], case.moved_date] * part
    if np.any(case.moved_work > allowed + NEAR):
        found.append("a task does more on a date than the date allows")
    for crane in range(case.ordinary.shape[0]):
        rows = case.crane[case.moved_task] == crane
        wide = rows & (case.lift_class[case.moved_task] == LARGE)
        for name, which, most in (("all", rows, case.ordinary), ("large", wide, case.large)):
            used = np.bincount(case.moved_date[which], case.moved_hook[which], minlength=case.open_dates.size)
            if np.any(used > most[crane] + NEAR):
                found.append(f"crane {crane} passes its hours for {name} loads")
    return found


def least_length(total: Floats, work: float, low: float, high: float) -> float:
    """Shortest stretch of the open axis that holds some work, among starts from `low` to `high`.

    Parameters
    ----------
    total : array
        Shifts that can be worked before each open date; strictly growing.
    work : float
        [shifts]
    low, high : float
        Places on the open axis. [open dates]

    Notes
    -----
    The length is a piecewise linear function of the start that bends only where the start or the end is a
    whole place, so its least value is at one of those or at an end of the window.
    """
    places = np.arange(total.size, dtype=float)
    bends = np.interp(total - work, total, places)
    starts = np.concatenate([[low, high], places, bends])
    starts = starts[(starts >= low - NEAR) & (starts <= high + NEAR)]
    ends = np.interp(np.interp(starts, places, total) + work, total, places)
    whole = np.interp(starts, places, total) + work <= total[-1]
    return float((ends - starts)[whole].min())


@dataclass(frozen=True)
class Bound:
    """What the solver proved.

    Attributes
    ----------
    days : float
        No schedule is done before this instant. [days]
    gap : float
        How far our makespan lies above it. [share of the bound]
    proved : bool
        Whether the relaxation was solved to its end, or the bound is our own makespan.
    free_days : float
        Length of the network free of gangs and cranes. [days]
    contains_ours : bool
        Whether our own dates, rounded down to the grid, solve the relaxation: they must.
    seconds : float
    """

    days: float
    gap: float
    proved: bool
    free_days: float
    contains_ours: bool
    seconds: float


class Relaxation:
    """The constraint model of a case.

    Parameters
    ----------
    case : Case
    coupled : bool
        Whether a lift on its first and last date is limited to the part of the date it is in hand. Without,
        the bound is looser and found sooner.
    """

    def __init__(self, case: Case, coupled: bool = True) -> None:
        self.case = case
        self.coupled = coupled
        self.axis = Axis(case.open_dates, case.dates)
        self.model = cp_model.CpModel()
        self.real = case.work > 0
        self.totals = [
            np.concatenate([[0.0], np.cumsum(row[self.axis.open])])
            for row in np.atleast_2d(case.share[:, : case.dates])
        ]
        shares = case.share[:, : case.dates]
        if np.any((shares > 0) != (case.open_dates[: case.dates] > 0)):
            raise ValueError("Each calendar must be open on the open dates of the site and on no other.")
        self.ours_start = np.floor(TICKS * self.axis.to_open(case.start) + NEAR).astype(int)
        self.ours_end = np.floor(TICKS * self.axis.to_open(case.finish) + NEAR).astype(int)
        self.ours_real_start = np.floor(TICKS * case.start + NEAR).astype(int)
        self.ours_real_end = np.floor(TICKS * case.finish + NEAR).astype(int)
        self.incoming: list[list[int]] = [[] for _ in case.work]
        self.outgoing: list[list[int]] = [[] for _ in case.work]
        for link in range(case.before.size):
            self.incoming[case.after[link]].append(link)
            self.outgoing[case.before[link]].append(link)
        self._windows()
        self._variables()
        self._links()
        self._gangs()
        self._hooks()
        self.end = self.model.new_int_var(0, self.limit, "end")
        for task in range(case.work.size):
            if not self.outgoing[task]:
                self.model.add(self.end >= self.finish[task])
        self.model.minimize(self.end)

    # Windows: earliest and latest places of every start and end, on the open axis

    def _ordered(self) -> list[int]:
        missing = [len(links) for links in self.incoming]
        ready_now = [task for task, count in enumerate(missing) if count == 0]
        for task in ready_now:
            for link in self.outgoing[task]:
                follower = int(self.case.after[link])
                missing[follower] -= 1
                if missing[follower] == 0:
                    ready_now.append(follower)
        return ready_now

    def _gain(self, link: int, low: float, high: float) -> float:
        """Least advance on the open axis over a link, for ends between two instants. [open dates]"""
        case, kind, lag = self.case, int(self.case.kind[link]), float(self.case.lag[link])
        if kind == WORKING or (kind == CALENDAR and lag == 0):
            return lag
        if kind != CALENDAR:
            lag = release_of(case, kind, slice(max(int(low) - 1, 0), int(np.ceil(high)) + 1))
        points = np.arange(int(low), int(np.ceil(high)) + 1, dtype=float)
        points = np.concatenate([points, points - lag % 1.0, [low, high]])
        points = points[(points >= low - NEAR) & (points <= high + NEAR)]
        return float((self.axis.to_open(points + lag) - self.axis.to_open(points)).min())

    def _windows(self) -> None:
        case, axis = self.case, self.axis
        order = self._ordered()
        n = case.work.size
        most = float(axis.to_open(case.makespan))
        self.limit = int(np.floor(TICKS * most + NEAR))
        early, late = np.zeros(n), np.full(n, most)  # of starts; of ends
        self.least = np.zeros(n)
        self.gain = np.zeros(case.before.size)
        for _ in range(3):
            for task in order:
                if self.real[task]:
                    total, work = self.totals[case.calendar[task]], float(case.work[task])
                    low, high = early[task], late[task] - self.least[task]
                    length = least_length(total, work, low, max(low, high))
                    self.least[task] = max(length, self._hook_length(task, low, late[task]))
            for link in range(case.before.size):
                task = int(case.before[link])
                low = axis.earliest(early[task] + self.least[task])
                high = axis.earliest(late[task]) + (0.0 if self.real[task] else 1e-3)
                if not self.real[task]:  # an event may fall on the closed dates that follow
                    high = min(self._next_open(high), case.makespan)
                self.gain[link] = self._gain(link, low, max(low, high))
            for task in order:
                for link in self.incoming[task]:
                    i = int(case.before[link])
                    early[task] = max(early[task], early[i] + self.least[i] + self.gain[link])
            for task in reversed(order):
                for link in self.outgoing[task]:
                    j = int(case.after[link])
                    late[task] = min(late[task], late[j] - self.least[j] - self.gain[link])
        self.early, self.late = early, late
        self.critical = int(np.floor(TICKS * (early + self.least).max() + NEAR))

    def _next_open(self, instant: float) -> float:
        """Start of the first open date at or after an instant. [days]"""
        later = self.axis.open[self.axis.open >= instant - NEAR]
        return float(later[0]) if later.size else float(self.axis.dates)

    def _hook_length(self, task: int, low: float, high: float) -> float:
        """Shortest stretch in which the crane can give a task its hours, ends within a window. [open dates]

        On a date it gives the date's hours at most, and no more than the part of the date the task is in
        hand times its rate. Dates between the first and the last count whole, the two ends together make
        up what is left: at the best share of either, so that the stretch is never too long.
        """
        case = self.case
        if case.hook[task] <= 0 or case.crane[task] < 0:
            return 0.0
        first, last = int(low + NEAR), min(int(np.ceil(high - NEAR)), self.axis.open.size)
        dates = self.axis.open[first:last]
        supply = case.large if case.lift_class[task] == LARGE else case.ordinary
        speed = case.hook[task] / case.work[task] * case.share[case.calendar[task], dates]
        most = np.minimum(supply[case.crane[task], dates], speed)
        total = np.concatenate([[0.0], np.cumsum(most)])
        shortest = np.inf
        for count in range(2, dates.size + 1):
            whole = total[count - 1 : -1] - total[1 : -count + 1]  # of the dates between first and last
            ends = most[: -count + 1] + most[count - 1 :]
            left = np.maximum(case.hook[task] - whole, 0.0)
            best = np.maximum(speed[: -count + 1], speed[count - 1 :])
            span = count - 2 + left / best
            able = left <= ends + NEAR
            if able.any():
                shortest = min(shortest, float(span[able].min()))
            if count - 2 > shortest:
                break
        if np.any(most >= case.hook[task] - NEAR):  # within one date
            shortest = min(shortest, float((case.hook[task] / speed).min()))
        return shortest if np.isfinite(shortest) else 0.0

    # Variables

    def _variables(self) -> None:
        case, model = self.case, self.model
        self.size = np.floor(TICKS * self.least + NEAR).astype(int)
        self.start: list[Any] = []
        self.finish: list[Any] = []
        self.spans: list[Any] = []
        first = np.floor(TICKS * self.early + NEAR).astype(int)
        last = np.floor(TICKS * self.late + NEAR).astype(int)
        for task in range(case.work.size):
            begin = model.new_int_var(int(first[task]), int(last[task] - self.size[task]), f"s{task}")
            span = None
            end: Any = begin
            if not self.real[task]:
                pass  # an event ends where it begins
            elif case.hook[task] > 0 and case.crane[task] >= 0:
                end = model.new_int_var(int(first[task] + self.size[task]), int(last[task]), f"e{task}")
                length = model.new_int_var(int(self.size[task]), int(last[task] - first[task]), f"l{task}")
                span = model.new_interval_var(begin, length, end, f"i{task}")
            else:
                end = begin + int(self.size[task])
                span = model.new_fixed_size_interval_var(begin, int(self.size[task]), f"i{task}")
            self.start.append(begin)
            self.finish.append(end)
            self.spans.append(span)
        self.on_calendar: dict[tuple[int, bool], tuple[Any, list[tuple[Any, int, int]]]] = {}

    def _real(self, task: int, at_end: bool) -> tuple[Any, list[tuple[Any, int, int]]]:
        """Ticks from 00:00 of the start on site, for a start or an end, and the runs it may lie in."""
        if not self.real[task]:
            at_end = False
        key = (task, at_end)
        if key in self.on_calendar:
            return self.on_calendar[key]
        model, place = self.model, self.finish[task] if at_end else self.start[task]
        low = TICKS * (self.early[task] + (self.least[task] if at_end else 0.0)) - 1
        high = TICKS * (self.late[task] - (0.0 if at_end else self.least[task])) + 1
        runs = []
        for a, b, is_open in self.axis.spans:
            lowest, highest = TICKS * int(self.axis.before[a]), TICKS * int(self.axis.before[b])
            if highest < low or lowest > high or not (is_open or not self.real[task]):
                continue
            runs.append((model.new_bool_var(f"r{task}{at_end}{a}"), a, b))
        clock = model.new_int_var(0, TICKS * self.axis.dates, f"t{task}{at_end}")
        model.add_exactly_one(chosen for chosen, _a, _b in runs)
        for chosen, a, b in runs:
            if self.axis.before[b] > self.axis.before[a]:
                shift = TICKS * (a - int(self.axis.before[a]))
                model.add(clock == place + shift).only_enforce_if(chosen)
            else:
                model.add(place == TICKS * int(self.axis.before[a])).only_enforce_if(chosen)
        model.add(clock >= sum(TICKS * a * chosen for chosen, a, _b in runs))
        model.add(clock <= sum(TICKS * b * chosen for chosen, _a, b in runs))
        self.on_calendar[key] = clock, runs
        return clock, runs

    # Rules

    def _links(self) -> None:
        case, model = self.case, self.model
        for link in range(case.before.size):
            i, j = int(case.before[link]), int(case.after[link])
            kind, lag = int(case.kind[link]), float(case.lag[link])
            gain = int(np.floor(TICKS * self.gain[link] + NEAR))
            model.add(self.start[j] >= self.finish[i] + gain)
            if kind == WORKING or (kind == CALENDAR and lag == 0):
                continue
            clock_i, runs = self._real(i, True)
            clock_j, _ = self._real(j, False)
            if kind == CALENDAR:
                model.add(clock_j >= clock_i + int(np.floor(TICKS * lag + NEAR)))
                continue
            waits = [
                int(np.floor(TICKS * release_of(case, kind, slice(max(a - 1, 0), b + 1)) + NEAR))
                for _, a, b in runs
            ]
            model.add(clock_j >= clock_i + sum(w * c for w, (c, _a, _b) in zip(waits, runs, strict=True)))

    def _gangs(self) -> None:
        for pool, count in enumerate(self.case.gangs.tolist()):
            spans = [self.spans[task] for task in np.flatnonzero(self.real & (self.case.pool == pool))]
            if count == 1 and len(spans) > 1:
                self.model.add_no_overlap(spans)
            elif len(spans) > count:
                self.model.add_cumulative(spans, [1] * len(spans), count)

    def _hooks(self) -> None:
        case, model = self.case, self.model
        for crane in range(case.ordinary.shape[0]):
            lifts = np.flatnonzero((case.crane == crane) & (case.hook > 0) & self.real)
            by_date: dict[int, list[tuple[int, Any]]] = {}
            for task in map(int, lifts):
                parts = []
                rate = case.hook[task] / case.work[task]
                for k in range(int(self.early[task] + NEAR), int(np.ceil(self.late[task] - NEAR))):
                    date = int(self.axis.open[k])
                    supply = case.large if case.lift_class[task] == LARGE else case.ordinary
                    most = min(supply[crane, date], rate * case.share[case.calendar[task], date])
                    part = model.new_int_var(0, int(np.ceil(HOOK_UNIT * most - NEAR)), f"h{task}_{k}")
                    lifts_then = model.new_bool_var(f"m{task}_{k}")
                    model.add(part == 0).only_enforce_if(~lifts_then)
                    model.add(self.start[task] <= TICKS * (k + 1) - 1).only_enforce_if(lifts_then)
                    model.add(self.finish[task] >= TICKS * k).only_enforce_if(lifts_then)
                    full = int(np.ceil(HOOK_UNIT * rate * case.share[case.calendar[task], date] - NEAR))
                    touched_parts = (
                        (TICKS * (k + 1) - self.start[task], self.finish[task] + 1 - TICKS * k)
                        if self.coupled
                        else ()
                    )
                    for touched in touched_parts:
                        model.add(TICKS * part <= full * touched + TICKS - 1).only_enforce_if(lifts_then)
                    parts.append(part)
                    by_date.setdefault(k, []).append((task, part))
                model.add(sum(parts) >= int(np.floor(HOOK_UNIT * case.hook[task] + NEAR)))
            for k, rows in by_date.items():
                date = int(self.axis.open[k])
                for wide, supply in ((False, case.ordinary), (True, case.large)):
                    taken = [part for task, part in rows if not wide or case.lift_class[task] == LARGE]
                    if taken:
                        model.add(sum(taken) <= int(np.ceil(HOOK_UNIT * supply[crane, date] - NEAR)))

    # Solving

    def hint(self) -> list[tuple[Any, int]]:
        """Our own dates, rounded down to the grid."""
        lifts = self.real & (self.case.hook > 0) & (self.case.crane >= 0)
        given = [(self.start[task], int(self.ours_start[task])) for task in range(self.case.work.size)]
        given += [(self.finish[task], int(self.ours_end[task])) for task in map(int, np.flatnonzero(lifts))]
        for (task, at_end), (clock, _runs) in self.on_calendar.items():
            if not at_end:
                given.append((clock, int(self.ours_real_start[task])))
            elif lifts[task]:
                given.append((clock, int(self.ours_real_end[task])))
        return given


def _solver(effort: float) -> cp_model.CpSolver:
    """A solver that gives equal answers on equal machines and busy ones alike: its time is counted work."""
    solver = cp_model.CpSolver()
    solver.parameters.max_deterministic_time = effort
    solver.parameters.max_time_in_seconds = 60.0  # never reached, unless the machine stands still
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    return solver


def contains(case: Case) -> bool:
    """Whether our own dates, rounded down, solve the relaxation."""
    relaxed = Relaxation(case)
    for variable, value in relaxed.hint():
        relaxed.model.add(variable == value)
    return _solver(20.0).solve(relaxed.model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)


def lower_bound(case: Case, effort: float = 1.0) -> Bound:
    """Prove a lower bound of the makespan of a case.

    The looser model is solved first; what it proves is given to the tighter one.

    Parameters
    ----------
    case : Case
    effort : float
        Work the solver may do on each model. [the solver's own seconds, some six of a clock]

    Returns
    -------
    Bound
    """
    inside = contains(case)
    ticks, spent, status = 0, 0.0, cp_model.UNKNOWN
    for coupled in (False, True):
        relaxed = Relaxation(case, coupled)
        ticks = max(ticks, relaxed.critical)
        relaxed.model.add(relaxed.end >= ticks)
        for variable, value in relaxed.hint():
            relaxed.model.add_hint(variable, value)
        solver = _solver(effort)
        status = solver.solve(relaxed.model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.UNKNOWN):
            raise RuntimeError("The relaxation has no solution, yet our own schedule should be one.")
        if status != cp_model.UNKNOWN:
            ticks = max(ticks, int(np.ceil(solver.best_objective_bound - NEAR)))
        spent += solver.wall_time
        if ticks >= relaxed.limit:
            break
    days = relaxed.axis.earliest(ticks / TICKS)
    return Bound(
        days=days,
        gap=case.makespan / days - 1.0,
        proved=status == cp_model.OPTIMAL or ticks >= relaxed.limit,
        free_days=relaxed.axis.earliest(relaxed.critical / TICKS),
        contains_ours=inside,
        seconds=spent,
    )
