"""How would each method have turned out, run by run?

`simulate(comparison, runs, seed) -> Risk`. Every draw is one luck for all methods: factors, weather, events,
market. Its dates come from the same day-by-day schedule as a plan's, on a network without what decides no
date; its money from the same functions, a hundred draws at a time.

Draws are scheduled in short chunks on two threads (the compiled schedule lets other threads run) and priced
in batches of a fixed size, so that a result depends on seed and runs and on nothing else. A run can be
stopped between chunks: what was priced by then is returned, marked as incomplete.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from model.compare import Case, Comparison
from model.core.calendar import HORIZON_DAYS
from model.core.compiled import compiled
from model.core.errors import RangeError, ScheduleError
from model.inputs.method import CALENDARS
from model.money import common_grid, price
from model.programme import Plan
from model.programme.conditions import Conditions
from model.programme.kernel import DONE, LOG_FULL, SHORT, TINY, run_days
from model.programme.plan import cleared_per_hour, run_plan
from model.risk.factors import (
    Draws,
    Luck,
    Reach,
    design_of,
    drawn_links,
    drawn_tasks,
    drawn_values,
    draws_of,
    lags_of,
    luck_of,
    reach_of,
    with_failures,
)
from model.risk.money import (
    FIRST_START,
    LAST_FINISH,
    DrawnDates,
    Market,
    Prices,
    price_draws,
    prices_of,
)
from model.risk.result import FEWEST_RUNS, Risk
from model.risk.shorter import shorten
from model.risk.weather import Latent, conditions_of, latent_weather, weather_parts
from model.site import operate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Whole = NDArray[np.signedinteger[Any]]

DEFAULT_RUNS: Final = 2000
DEFAULT_SEED: Final = 1

BATCH: Final = 100
"""Draws priced at once. Fixed: a loan is settled for a batch together, to a ten-millionth of a pound."""

CHUNK: Final = 10
"""Draws a thread takes at a time: about a tenth of a second."""

FIRST_FIGURES: Final = 500
"""Draws after which percentiles are worth a look."""

WEATHER_RECORDS: Final = (
    "risk.rain.persistence",
    "risk.wind.persistence",
    "risk.wind.with_rain",
    "risk.wind.of_date",
)

SPARE_DATES: Final = 250
"""Dates drawn beyond one and a half times the expected case's; a programme that passes them is run again on
all fifteen years."""

Progress = Callable[[int, int, Risk | None], None]
"""Told how many draws of how many are done, and after `FIRST_FIGURES` what they come to so far."""


def simulate(
    comparison: Comparison,
    runs: int = DEFAULT_RUNS,
    seed: int = DEFAULT_SEED,
    *,
    part: range | None = None,
    chunk: int = CHUNK,
    threads: int = 2,
    weather: bool = True,
    stop: Callable[[], bool] | None = None,
    progress: Progress | None = None,
) -> Risk:
    """Draw how every method of a comparison may turn out.

    Parameters
    ----------
    comparison : Comparison
    runs : int
        Draws of the design; 2,000 or more where an 80 % point is quoted. [>= 10]
    seed : int
        Equal seeds give equal draws, and equal results to the last byte. [>= 0]
    part : range, optional
        Draws to run, one after the other; all of them if left out. Parts put together with
        `Risk.with_part` are the whole, to the byte where each begins on a multiple of `BATCH`.
    chunk : int
        Draws a thread takes at a time; changes no result. [>= 1]
    threads : int
        Changes no result. [>= 1]
    weather : bool
        Whether dates get weather drawn; else what is expected of them.
    stop : callable, optional
        Asked between chunks whether to stop.
    progress : callable, optional
        Told how far it is after each batch.

    Returns
    -------
    Risk
        Complete, or of the draws priced by the time it was stopped.

    Raises
    ------
    RangeError
        If an argument or a record of ``risk.*`` is out of range.
    ScheduleError
        If a drawn programme passes 15 years.
    """
    wanted = range(runs) if part is None else part
    _check_arguments(runs, wanted, chunk, threads)
    world = _World.of(comparison, runs, seed, weather)
    risk = Risk.empty(comparison, world.draws, weather)
    pool = _pool(threads)
    todo = [range(k, min(k + chunk, wanted.stop)) for k in range(wanted.start, wanted.stop, chunk)][::-1]
    going: set[Future[list[_Draw]]] = set()
    waiting: dict[int, dict[int, _Draw]] = {}
    done = 0
    try:
        while (todo or going) and not (stop is not None and stop()):
            while todo and len(going) < 2 * threads:
                going.add(pool.submit(world.run, todo.pop()))
            ended, going = wait(going, return_when=FIRST_COMPLETED)
            for draw in (draw for future in ended for draw in future.result()):
                waiting.setdefault(draw.run // BATCH, {})[draw.run] = draw
            for number in sorted(waiting):
                first = max(number * BATCH, wanted.start)
                last = min((number + 1) * BATCH, wanted.stop)
                if len(waiting[number]) == last - first:
                    batch = waiting.pop(number)
                    world.price([batch[run] for run in range(first, last)], risk)
                    done += last - first
                    if progress is not None:
                        progress(done, len(wanted), risk.copy() if done >= FIRST_FIGURES else None)
    finally:
        for future in going:
            future.cancel()
        wait(going)
    return risk


def case_of_draw(
    comparison: Comparison,
    run: int,
    runs: int = DEFAULT_RUNS,
    seed: int = DEFAULT_SEED,
    weather: bool = True,
) -> tuple[Case, ...]:
    """Open one draw as full cases, one a method, over one common horizon of money.

    Parameters
    ----------
    comparison : Comparison
    run : int
        Number of the draw, from 0.
    runs, seed, weather
        Of the simulation it belongs to.

    Returns
    -------
    tuple of Case
        Dates are those of the simulation; profit differs by rounding alone, and where a loan is never repaid
        by the months its interest runs.

    Raises
    ------
    RangeError
        If there is no such draw.
    """
    if not 0 <= run < runs:
        raise RangeError(f"Draws are numbered 0 to {runs - 1}; got {run}. Give one of these.")
    design = design_of(comparison.scenario, comparison.first.plan.values, runs, seed)
    latent = latent_weather(seed, run, HORIZON_DAYS)
    plans, priced = [], []
    for case in comparison.cases:
        reach = reach_of(case.plan)
        draws = draws_of(comparison.scenario, case.plan.values, design)
        luck = luck_of(reach, draws, run)
        drawn = case.plan.conditions
        if weather:
            drawn = conditions_of(drawn, weather_parts(drawn, case.plan.values), latent)
        plan = _full(reach, draws, luck, run, with_failures(drawn, luck))
        plans.append(plan)
        priced.append(_as_expected(plan, case.plan))
    grid = common_grid(plans)
    cases = []
    for plan, measured in zip(plans, priced, strict=True):
        site = operate(plan)
        cases.append(Case(plan.method, plan.takeoff, plan, site, price(measured, site, grid)))
    return tuple(cases)


def _full(reach: Reach, draws: Draws, luck: Luck, run: int, conditions: Conditions) -> Plan:
    """Schedule one draw of a method with everything kept."""
    plan = reach.plan
    factor = float(draws.factors["sale_price"][run])
    blocks = tuple(
        block if block.price_gbp_m2 is None else replace(block, price_gbp_m2=block.price_gbp_m2 * factor)
        for block in plan.scenario.blocks
    )
    return run_plan(
        scenario=replace(plan.scenario, blocks=blocks),
        method=plan.method,
        values=drawn_values(reach, draws, luck, run),
        takeoff=plan.takeoff,
        network=plan.network,
        tasks=drawn_tasks(reach, luck),
        links=drawn_links(reach, luck),
        conditions=conditions,
        gangs=plan.gangs,
        rank=plan.rank,
        option_of=plan.option_of,
    )


def _as_expected(plan: Plan, expected: Plan) -> Plan:
    """Return a drawn plan as prices see it: another pace of the work the expected case has.

    The price of an option is shared out over its tasks by their labour; a slow trade must not draw the price
    of the others into its own tasks.
    """
    share = np.divide(
        expected.tasks.work, plan.tasks.work, out=np.ones_like(plan.tasks.work), where=plan.tasks.work > 0
    )
    return replace(
        plan,
        tasks=replace(plan.tasks, work=expected.tasks.work),
        moved_work=plan.moved_work * share[plan.moved_task],
    )


def _check_arguments(runs: int, wanted: range, chunk: int, threads: int) -> None:
    if runs < FEWEST_RUNS:
        raise RangeError(
            f"At least {FEWEST_RUNS} runs are needed to tell one percentile from another; got {runs}. "
            f"Ask for {DEFAULT_RUNS:,} where a percentile is to be quoted."
        )
    if chunk < 1 or threads < 1:
        raise RangeError(f"Chunks and threads must be 1 or more; got {chunk} and {threads}.")
    if wanted.step != 1 or wanted.start < 0 or wanted.stop > runs:
        raise RangeError(f"Draws to run must lie in 0 to {runs}, one after the other; got {wanted}.")


@lru_cache(maxsize=4)
def _pool(threads: int) -> ThreadPoolExecutor:
    """One pool for the whole process: sessions share it, chunk by chunk."""
    return ThreadPoolExecutor(threads, thread_name_prefix="risk")


@dataclass(frozen=True, eq=False)
class _Draw:
    """One run of every method: its dates and sums, not yet priced.

    Attributes
    ----------
    run : int
    dates : tuple of _Dates
        One a method.
    weather : tuple of float
        Share of open dates worked in the open, and of paid hook hours flown, while the expected case lasts.
    """

    run: int
    dates: tuple[_Dates, ...]
    weather: tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Dates:
    """One run of one method; attributes as in `DrawnDates` and `Market`, without the axis of draws."""

    instants: Floats
    by_date: Floats
    end: float
    to_come: float


@dataclass(frozen=True, eq=False)
class _World:
    """A comparison as thousands of runs need it."""

    methods: tuple[Lean, ...]
    prices: tuple[Prices, ...]
    draws: tuple[Draws, ...]
    seed: int
    weather: bool

    @classmethod
    def of(cls, comparison: Comparison, runs: int, seed: int, weather: bool) -> _World:
        """Prepare a comparison."""
        scenario, cases = comparison.scenario, comparison.cases
        design = design_of(scenario, comparison.first.plan.values, runs, seed)
        prices = tuple(prices_of(case) for case in cases)
        draws = tuple(draws_of(scenario, case.plan.values, design) for case in cases)
        longest = max(case.plan.last_handover for case in cases)
        dates = min(math.ceil(1.5 * longest) + SPARE_DATES, HORIZON_DAYS)
        climates: dict[tuple[object, ...], Climate] = {}
        for case in cases:
            climates.setdefault(_sky_of(case.plan), Climate(case.plan, dates))
        methods = tuple(Lean.of(each, climates[_sky_of(each.plan)]) for each in prices)
        return cls(methods, prices, draws, seed, weather)

    def run(self, part: range) -> list[_Draw]:
        """Schedule some draws of every method."""
        return [self._run(run) for run in part]

    def _run(self, run: int) -> _Draw:
        sky = _Sky(self.seed, run, self.weather)
        dates = []
        for lean, draws in zip(self.methods, self.draws, strict=True):
            luck = luck_of(lean.reach, draws, run)
            drawn = lean.schedule(luck, with_failures(sky.over(lean.climate), luck))
            if drawn is None:  # past the dates drawn: again with all there are
                drawn = lean.schedule(luck, with_failures(sky.over(lean.climate.whole), luck))
            if drawn is None:
                raise ScheduleError(
                    f"Run {run} of {lean.reach.plan.method.label} is not finished after 15 years. "
                    "Narrow the ranges of risk.trades and of the weeks lost to events, or raise the gangs."
                )
            dates.append(drawn)
        return _Draw(run, tuple(dates), sky.seen(self.methods[0]))

    def price(self, batch: Sequence[_Draw], risk: Risk) -> None:
        """Price some draws, and write them down."""
        runs = np.array([draw.run for draw in batch])
        dates, markets = [], []
        for k, draws in enumerate(self.draws):
            mine = [draw.dates[k] for draw in batch]
            dates.append(_together(mine))
            markets.append(
                Market(
                    sales=draws.factors["sales_rate"][runs],
                    price=draws.factors["sale_price"][runs],
                    interest=draws.factors["interest"][runs],
                    to_come=np.array([each.to_come for each in mine]),
                )
            )
        for k, (profit, value) in enumerate(price_draws(self.prices, dates, markets)):
            sections = dates[k].instants[:, self.prices[k].watch.place("section")]
            risk.write(k, runs, sections, profit, value)
        risk.weather[runs] = [draw.weather for draw in batch]
        risk.done[runs] = True


def _together(dates: Sequence[_Dates]) -> DrawnDates:
    """Put draws on one axis, their sums by date on common dates."""
    longest = max(each.by_date.shape[0] for each in dates)
    by_date = np.zeros((len(dates), longest, dates[0].by_date.shape[1]))
    for k, each in enumerate(dates):
        by_date[k, : each.by_date.shape[0]] = each.by_date
    return DrawnDates(
        np.stack([each.instants for each in dates]), by_date, np.array([each.end for each in dates])
    )


class _Sky:
    """The weather of one run, over every method; methods with the same expected conditions share it."""

    def __init__(self, seed: int, run: int, drawn: bool) -> None:
        self._seed, self._run, self._drawn = seed, run, drawn
        self._latent: Latent | None = None
        self._kept: dict[int, Conditions] = {}

    def over(self, climate: Climate) -> Conditions:
        """Return the conditions of the run."""
        if not self._drawn:
            return climate.expected
        if id(climate) not in self._kept:
            if self._latent is None or self._latent.days < climate.dates:
                self._latent = latent_weather(self._seed, self._run, climate.dates)
            self._kept[id(climate)] = conditions_of(climate.expected, climate.parts, self._latent)
        return self._kept[id(climate)]

    def seen(self, lean: Lean) -> tuple[float, float]:
        """Share of open dates worked in the open, and of hook hours flown, while the expected case lasts."""
        conditions = self.over(lean.climate)
        last = math.ceil(lean.reach.plan.last_handover)
        worked = conditions.share[_OPEN, :last].sum() / conditions.open_week[:last].sum()
        flown = conditions.hook_ordinary[:, :last].sum() / conditions.hook_paid[:, :last].sum()
        return float(worked), float(flown)


_OPEN: Final = CALENDARS.index("open")


def _sky_of(plan: Plan) -> tuple[object, ...]:
    """What must be equal for two methods to share their drawn conditions."""
    return id(plan.conditions), *(plan.values[key] for key in WEATHER_RECORDS)


class Climate:
    """Expected conditions of the first dates of a plan, and what weather is drawn by about them."""

    def __init__(self, plan: Plan, dates: int) -> None:
        self._plan = plan
        self.dates = dates
        self.expected = _first_dates(plan.conditions, dates)
        self.parts = weather_parts(self.expected, plan.values, dates)

    @cached_property
    def whole(self) -> Climate:
        """The same on all fifteen years."""
        return self if self.dates == HORIZON_DAYS else Climate(self._plan, HORIZON_DAYS)


def _first_dates(whole: Conditions, dates: int) -> Conditions:
    """Return conditions cut off after some dates."""
    cut: dict[str, Any] = {
        name: np.ascontiguousarray(getattr(whole, name)[..., :dates])
        for name in (
            "open_week", "share", "open_dates", "release", "hook_paid", "hook_ordinary", "hook_large",
            "hook_evening", "hoist_hours",
        )
    }  # fmt: skip
    return replace(whole, open_before=whole.open_before[: dates + 1].copy(), **cut)


@dataclass(frozen=True, eq=False)
class Lean:
    """A method as thousands of schedules need it: tasks in the order served, nothing that decides no date.

    Attributes
    ----------
    reach : Reach
    climate : Climate
    trade, cell, work, hook, ... : array, one a task
        As in `Reach` and `Tasks`; a task without hook hours has no crane.
    trusted : array of bool, one a block
        Blocks whose hoists are enough in the expected case, with what a start asks for to spare. Their hoists
        are left out of the schedule, and counted afterwards.
    pred_count, succ_ptr, after, lag, lag_kind : array
        Links as the kernel takes them.
    varying, varied : array of int
        Links whose lag varies, and which of `Reach.link` each is.
    gangs, pool : array of int
        First gang of each pool; pool of each task.
    paid : array, shape (tasks, sums)
        As in `Prices`.
    ptr, place, what : array of int
        Tasks of each instant watched, one after the other, and what of them.
    """

    reach: Reach
    climate: Climate
    trade: Ints
    cell: Ints
    work: Floats
    hook: Floats
    crane: Whole
    lift_class: Whole
    use: Whole
    hoist_hours: Floats
    hoist: Whole
    face: Whole
    calendar: Whole
    trusted: Bools
    pred_count: Whole
    succ_ptr: Whole
    after: Whole
    lag: Floats
    lag_kind: Whole
    varying: Ints
    varied: Ints
    gangs: Whole
    pool: Whole
    paid: Floats
    ptr: Ints
    place: Ints
    what: Ints

    @classmethod
    def of(cls, prices: Prices, climate: Climate) -> Lean:
        """Prepare a method."""
        plan, watch = prices.plan, prices.watch
        reach = reach_of(plan)
        tasks, network, links = plan.tasks, plan.network, plan.links
        varies = np.zeros(network.before.size, dtype=bool)
        varies[reach.link] = True
        watched = np.zeros(network.size, dtype=bool)
        watched[np.concatenate(watch.tasks)] = True
        short = shorten(plan, varies, watched)
        at, link = short.task, short.link
        place = np.full(network.size, -1, dtype=np.int64)
        place[at] = np.arange(at.size)
        varying = np.flatnonzero(varies[link])
        pool = np.where(tasks.trade >= 0, plan.gangs.pool_of[tasks.trade, network.block], -1)
        return cls(
            reach=reach,
            climate=climate,
            trade=reach.trade[at],
            cell=reach.cell[at],
            work=tasks.work[at],
            hook=tasks.hook[at],
            crane=np.where(tasks.hook > 0, tasks.crane, -1)[at].astype(SHORT),
            lift_class=tasks.lift_class[at].astype(TINY),
            use=tasks.use[at].astype(TINY),
            hoist_hours=tasks.hoist_hours[at],
            hoist=tasks.hoist[at].astype(SHORT),
            face=tasks.face[at].astype(SHORT),
            calendar=tasks.calendar[at].astype(TINY),
            trusted=_hoists_enough(plan),
            pred_count=short.pred_count,
            succ_ptr=short.succ_ptr,
            after=short.after,
            lag=links.lag[link],
            lag_kind=links.kind[link].astype(TINY),
            varying=varying,
            varied=np.searchsorted(reach.link, link[varying]),
            gangs=plan.gangs.pointers.astype(np.int32),
            pool=pool[at].astype(SHORT),
            paid=prices.paid[at],
            ptr=np.concatenate([[0], np.cumsum([ids.size for ids in watch.tasks])]),
            place=place[np.concatenate(watch.tasks)],
            what=watch.what,
        )

    def schedule(self, luck: Luck, conditions: Conditions) -> _Dates | None:
        """Schedule one run; nothing where it passes the dates of the conditions.

        Parameters
        ----------
        luck : Luck
        conditions : Conditions
            Drawn, failures among them.
        """
        values = self.reach.plan.values
        work, hook = _scaled(self.work, self.hook, self.trade, self.cell, luck.trade, luck.storey, luck.hook)
        lag = self.lag.copy()
        lag[self.varying] = lags_of(self.reach, luck)[self.varied]
        trusted = self.trusted.copy()
        trusted[[block for block, _first, _again in luck.hoists]] = False
        least, dates = values["site.least_hook_start"], conditions.open_dates.size
        room = 4 * self.reach.plan.moved_task.size
        while True:
            outcome = run_days(
                work,
                hook,
                self.crane,
                self.lift_class,
                self.use,
                self.hoist_hours,
                np.where(trusted[self.hoist], SHORT(-1), self.hoist),
                self.face,
                self.calendar,
                self.pool,
                self.pred_count,
                self.succ_ptr,
                self.after,
                lag,
                self.lag_kind,
                conditions.share,
                conditions.open_dates,
                conditions.open_before,
                conditions.release,
                conditions.hook_ordinary,
                conditions.hook_large,
                conditions.hook_evening,
                conditions.hoist_hours,
                self.gangs,
                values["crane.booked_panels"],
                least,
                cleared_per_hour(values),
                room,
            )
            status, start, finish = outcome[0], outcome[2], outcome[3]
            if status == LOG_FULL:
                room *= 2
                continue
            end = float(finish.max())
            if status != DONE or end >= dates:  # what waits beyond the last date is not told apart
                return None
            by_date = np.zeros((math.floor(end) + 1, self.paid.shape[1]))
            enough = _spend(
                outcome[7], outcome[8], dates, work, self.paid, by_date,
                self.hoist, self.hoist_hours, trusted, conditions.hoist_hours, least,
            )  # fmt: skip
            if enough:
                instants = _read(start, finish, self.ptr, self.place, self.what)
                return _Dates(instants, by_date, end, luck.to_come)


def _hoists_enough(plan: Plan) -> Bools:
    """Say in which blocks no date of the expected case asks for more hoist hours than there are."""
    available = plan.conditions.hoist_hours
    blocks, dates = available.shape
    hoist = plan.tasks.hoist[plan.moved_task]
    mine = hoist >= 0
    used = np.bincount(
        hoist[mine] * dates + plan.moved_date[mine], plan.moved_hoist[mine], minlength=blocks * dates
    ).reshape(blocks, dates)
    spare = plan.values["site.least_hook_start"]
    return np.asarray(np.all((used <= 0.0) | (used + spare <= available), axis=1))


@compiled
def _scaled(
    work: Floats, hook: Floats, trade: Ints, cell: Ints, of_trade: Floats, of_storey: Floats, of_hook: float
) -> tuple[Floats, Floats]:
    """Work and hook hours of a run, as `drawn_tasks`."""
    new_work, new_hook = np.empty_like(work), np.empty_like(hook)
    for i in range(work.size):
        new_work[i] = work[i] * (of_trade[trade[i]] * of_storey[cell[i]])
        new_hook[i] = hook[i] * of_hook
    return new_work, new_hook


@compiled
def _spend(
    code: Ints,
    moved: Floats,
    dates: int,
    work: Floats,
    paid: Floats,
    by_date: Floats,
    hoist: Whole,
    hoist_hours: Floats,
    trusted: Bools,
    available: Floats,
    least: float,
) -> bool:
    """Add up by date what the progress of a run spends; say whether hoists left out were enough.

    Parameters
    ----------
    code, moved : array
        Progress as the kernel logs it: task * dates + date; shifts.
    dates : int
    work : array, one a task
        [shifts]
    paid : array, shape (tasks, sums)
        What each task adds to each sum once it is done.
    by_date : array, shape (dates, sums)
        Added to.
    hoist, hoist_hours : array, one a task
    trusted : array of bool, one a block
        Blocks whose hoists were left out; those that were not enough are struck off.
    available : array, shape (blocks, dates)
        [h]
    least : float
        What a start asks for to be left. [h]
    """
    used = np.zeros((trusted.size, available.shape[1]))
    for row in range(code.size):
        task, date = code[row] // dates, code[row] % dates
        share = moved[row] / work[task]
        for k in range(paid.shape[1]):
            by_date[date, k] += share * paid[task, k]
        h = hoist[task]
        if h >= 0 and trusted[h]:
            used[h, date] += share * hoist_hours[task]
    enough = True
    for h in range(trusted.size):
        if trusted[h]:
            for date in range(used.shape[1]):
                if used[h, date] > 0.0 and used[h, date] + least > available[h, date]:
                    trusted[h] = False
                    enough = False
                    break
    return enough


@compiled
def _read(start: Floats, finish: Floats, ptr: Ints, place: Ints, what: Ints) -> Floats:
    """Return the instants watched; not a number where there is no task to tell."""
    found = np.full(what.size, np.nan)
    for k in range(what.size):
        for e in range(ptr[k], ptr[k + 1]):
            at = start[place[e]] if what[k] == FIRST_START else finish[place[e]]
            if e == ptr[k] or (at > found[k] if what[k] == LAST_FINISH else at < found[k]):
                found[k] = at
    return found
