"""What would this case be with one thing changed?

The one place in which a case is worked again. A gang more and work more leave quantities, network, waits,
conditions and order as they are: only the day-by-day schedule is run. A record that only prices read leaves
the whole plan and its use of the site as they are: only the pricing is done again. Cranes, hoists, the order
of work and all other records go through planning; nothing is written to text and checked again on the way.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from functools import lru_cache
from typing import Any, Final, Literal, overload

import numpy as np
from numpy.typing import NDArray

from model.compare import Case
from model.core.errors import RangeError
from model.inputs.method import read_catalogue
from model.inputs.scenario import PRIORITIES, Method, Scenario, in_order
from model.money import Account, common_grid, price
from model.money.grid import MonthGrid
from model.pipeline import plan_method
from model.programme import Plan, schedule
from model.programme.gangs import Gangs
from model.programme.plan import run_plan
from model.site import SiteUse, operate
from model.site.operation import on_hire

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]
"""Told how many runs of how many are done."""

EVERY_BLOCK: Final = -1
"""Block of a pool of gangs that travel."""

PRICED: Final = (
    "money.*",
    "site_cost.*",
    "fixed_cost.*",
    "scale.*",
    "option.*.rate",
    "option.*.extra_thickness",
    "late.fee_pct",
)
"""Records that only prices read, as patterns of their keys."""

COUNTED: Final = (
    "stack.*",
    "storage.*",
    "travel.*",
    "vehicle.*",
    "welfare.*",
    "delivery.*.bay",
    "site.bays",
    "site.bay_*",
    "approval.before_start",
    "factory.freeze",
)
"""Records that are read when a figure of a plan is asked for, from the values the plan holds by then."""


@dataclass(frozen=True, eq=False)
class Change:
    """What differs from a case.

    Attributes
    ----------
    label : str
        In the reader's words.
    settings : mapping of str to float
        Library records set on top of the case's own values, in the record's unit.
    gangs : mapping of (str, int) to int
        Gangs more (or fewer) in the pool of a trade and block; `EVERY_BLOCK` for a trade that travels.
    extra_work : mapping of int to float, or array, one a task
        Work more in a task, its hook hours unchanged. [shifts]
    priority : str or None
        Another order of work.
    crane_numbers : mapping of str to int
        Cranes working together, by name of the crane.
    hoists : mapping of str to int
        Hoists, by name of the block.
    """

    label: str = ""
    settings: Mapping[str, float] = field(default_factory=dict)
    gangs: Mapping[tuple[str, int], int] = field(default_factory=dict)
    extra_work: Mapping[int, float] | Floats = field(default_factory=dict)
    priority: str | None = None
    crane_numbers: Mapping[str, int] = field(default_factory=dict)
    hoists: Mapping[str, int] = field(default_factory=dict)


@overload
def rerun(
    case: Case, change: Change, grid: MonthGrid | None = None, dates_only: Literal[False] = False
) -> Case: ...


@overload
def rerun(
    case: Case, change: Change, grid: MonthGrid | None = None, *, dates_only: Literal[True]
) -> Plan: ...


def rerun(case: Case, change: Change, grid: MonthGrid | None = None, dates_only: bool = False) -> Case | Plan:
    """Work a case again with something changed, rebuilding only what the change reaches.

    Parameters
    ----------
    case : Case
    change : Change
    grid : MonthGrid, optional
        Months of money; without one, the shortest that holds the case and the changed case.
    dates_only : bool
        Stop once it is scheduled.

    Returns
    -------
    Case or Plan
        The changed case, or its plan where only dates are asked for.

    Raises
    ------
    RangeError
        If the change names what the case does not have, or a value without a meaning.
    ModelError
        If the changed programme cannot be worked out.
    """
    plan = replanned(case.plan, change)
    if dates_only:
        return plan
    return _case(case, change, plan, grid or common_grid([case.plan, plan]))


def rerun_together(
    cases: Sequence[Case], changes: Change | Sequence[Change], others: Sequence[Plan] = ()
) -> tuple[Case, ...]:
    """Work several cases again over one common horizon of money.

    Parameters
    ----------
    cases : sequence of Case
        At least one.
    changes : Change or sequence of Change
        One for all of them, or one for each.
    others : sequence of Plan
        Further plans that the months must hold.

    Returns
    -------
    tuple of Case

    Raises
    ------
    RangeError
        As `rerun`, or if there is not one change for each case.
    """
    each = [changes] * len(cases) if isinstance(changes, Change) else list(changes)
    if len(each) != len(cases):
        raise RangeError(f"{len(each)} changes were given for {len(cases)} cases. Give one, or one for each.")
    plans = [replanned(case.plan, change) for case, change in zip(cases, each, strict=True)]
    grid = common_grid([*plans, *others])
    return tuple(
        _case(case, change, plan, grid) for case, change, plan in zip(cases, each, plans, strict=True)
    )


@lru_cache(maxsize=4096)
def reaches_plan(key: str) -> bool:
    """Say whether a record is read on the way to a plan and its use of the site.

    Parameters
    ----------
    key : str
        Of a library record.

    Returns
    -------
    bool
        Whether a case with another value must be planned again. False where pricing is enough; a key that
        the library does not hold is taken to reach the plan.

    Examples
    --------
    >>> [reaches_plan(key) for key in ("money.debt_rate_pct", "option.core.climbing.rate", "factory.lead")]
    [False, False, True]
    """
    return not any(fnmatchcase(key, pattern) for pattern in (*PRICED, *COUNTED))


def replanned(plan: Plan, change: Change) -> Plan:
    """Return the plan with something changed. Parameters and errors as in `rerun`."""
    if change.settings or change.priority is not None or change.crane_numbers or change.hoists:
        plan = _planned(plan, change)
        if not change.gangs and not np.size(_given(change.extra_work)):
            return plan
    return run_plan(
        scenario=plan.scenario,
        method=plan.method,
        values=plan.values,
        takeoff=plan.takeoff,
        network=plan.network,
        tasks=replace(plan.tasks, work=plan.tasks.work + extra_shifts(plan, change.extra_work)),
        links=plan.links,
        conditions=plan.conditions,
        gangs=with_gangs(plan.gangs, change.gangs),
        rank=plan.rank,
        option_of=plan.option_of,
    )


def only_priced(change: Change) -> bool:
    """Say whether a change is of records that no plan reads, and of nothing else."""
    others = change.gangs or change.crane_numbers or change.hoists or change.priority is not None
    if not change.settings or others or np.size(_given(change.extra_work)):
        return False
    return not any(reaches_plan(key) for key in change.settings)


def priced(plan: Plan, site: SiteUse, grid: MonthGrid) -> Account:
    """Price a plan run again, without counting its people and loads, which no price rests on.

    Parameters
    ----------
    plan : Plan
    site : SiteUse
        Of the case that was changed; only the hire of its cranes is worked out anew.
    grid : MonthGrid

    Returns
    -------
    Account
    """
    begins, ends = on_hire(plan, plan.conditions.hook_ordinary.shape[0])
    return price(plan, replace(site, plan=plan, crane_from=begins, crane_to=ends), grid)


def as_measured(plan: Plan, change: Change) -> Plan:
    """Return a plan with more work in it as prices see it: slower progress on the work that was measured.

    The price of an option is shared out over its tasks by their labour. More labour in one task must not
    draw the price of the others into it.

    Parameters
    ----------
    plan : Plan
        Run with the change.
    change : Change

    Returns
    -------
    Plan
        The plan itself where no work is added.
    """
    extra = extra_shifts(plan, change.extra_work)
    if not extra.any():
        return plan
    work = plan.tasks.work - extra
    share = np.divide(work, plan.tasks.work, out=np.ones_like(work), where=extra > 0)
    return replace(
        plan, tasks=replace(plan.tasks, work=work), moved_work=plan.moved_work * share[plan.moved_task]
    )


def shared_grid(case: Case, plans: Sequence[Plan]) -> tuple[MonthGrid, Account]:
    """Return months that hold a case and its changed plans, and the case's account on them."""
    grid = common_grid([case.plan, *plans])
    return grid, case.account if grid == case.account.grid else priced(case.plan, case.site, grid)


def with_gangs(gangs: Gangs, more: Mapping[tuple[str, int], int]) -> Gangs:
    """Return gangs with some pools made larger or smaller; no pool is sized anew for it.

    Parameters
    ----------
    gangs : Gangs
    more : mapping of (str, int) to int
        As in `Change`.

    Raises
    ------
    RangeError
        If a pool is not known, or would be left without a gang.
    """
    counts = gangs.counts.copy()
    for (trade, block), number in more.items():
        if (trade, block) not in gangs.pools:
            known = ", ".join(f"{name} {at}" for name, at in gangs.pools)
            raise RangeError(
                f"No gangs of {trade!r} are pooled for block {block}. There are: {known}. "
                f"Give one of these trades with its block, {EVERY_BLOCK} where the trade travels."
            )
        pool = gangs.pools.index((trade, block))
        if counts[pool] + number < 1:
            raise RangeError(
                f"{trade} in block {block} would have {counts[pool] + number} gangs; at least 1 is needed to "
                f"do its work. Take away {counts[pool] - 1} at most."
            )
        counts[pool] += number
    return replace(gangs, counts=counts)


def extra_shifts(plan: Plan, extra: Mapping[int, float] | Floats) -> Floats:
    """Return work more, one value a task. [shifts]

    Parameters
    ----------
    plan : Plan
    extra : mapping of int to float, or array
        As in `Change`.

    Raises
    ------
    RangeError
        If it is not finite, is negative, or falls on what is no task with work.
    """
    work = plan.tasks.work
    if isinstance(extra, Mapping):
        outside = [task for task in extra if not 0 <= task < work.size]
        if outside:
            raise RangeError(
                f"There is no task {outside[0]}; tasks are numbered 0 to {work.size - 1}. Give one of these."
            )
        shifts = np.zeros(work.size)
        shifts[list(extra)] = list(extra.values())
    else:
        shifts = np.asarray(extra, dtype=float)
        if shifts.shape != work.shape:
            raise RangeError(
                f"Extra work of {shifts.size} tasks was given for a plan of {work.size}. "
                "Give one value a task."
            )
    if not np.all(np.isfinite(shifts)) or np.any(shifts < 0):
        wrong = int(np.flatnonzero(~(np.isfinite(shifts) & (shifts >= 0)))[0])
        raise RangeError(
            f"Extra work of task {wrong} is {shifts[wrong]:g} shifts; it must be 0 or more. "
            "To take work away, change the record behind it."
        )
    if np.any((shifts > 0) & (work <= 0)):
        wrong = int(np.flatnonzero((shifts > 0) & (work <= 0))[0])
        raise RangeError(
            f"Task {wrong} is an event and has no work to add to. Give a task that somebody works on."
        )
    return shifts


def _given(extra: Mapping[int, float] | Floats) -> Floats:
    return np.array(list(extra.values()), dtype=float) if isinstance(extra, Mapping) else np.asarray(extra)


def _case(case: Case, change: Change, plan: Plan, grid: MonthGrid) -> Case:
    """Return the case that a changed plan makes; its use of the site is counted anew only with new dates."""
    site = replace(case.site, plan=plan) if only_priced(change) else operate(plan)
    return Case(plan.method, plan.takeoff, plan, site, price(as_measured(plan, change), site, grid))


def _planned(plan: Plan, change: Change) -> Plan:
    """Plan again with another scenario and other records; quantities only where they may have changed.

    Records that no plan reads come with the values; where nothing else of planning changes, they are all
    that is new.
    """
    method, scenario = _method(plan.method, plan, change), _scenario(plan.scenario, change)
    if change.hoists or any(reaches_plan(key) for key in change.settings):
        return plan_method(scenario, method)
    values = scenario.values(method)
    if change.priority is None and not change.crane_numbers:
        return replace(plan, method=method, values=values)
    return schedule(scenario, method, values, plan.takeoff)


def _method(method: Method, plan: Plan, change: Change) -> Method:
    records = plan.values.library.records
    for key, value in change.settings.items():
        if key not in records:
            raise RangeError(
                f"The library holds no record {key!r}. "
                "Give the key of one that stands on the assumptions page."
            )
        least, most = records[key].allowed()
        if not least <= value <= most:
            raise RangeError(
                f"{key} would be {value:g}; {least:g} to {most:g} has a meaning. Give a value between them."
            )
    if not change.settings:
        return method
    more = {key: (float(value), change.label) for key, value in change.settings.items()}
    return replace(method, overrides=in_order({**dict(method.overrides), **more}))


def _scenario(scenario: Scenario, change: Change) -> Scenario:
    if change.priority is not None:
        if change.priority not in PRIORITIES:
            raise RangeError(f"The order {change.priority!r} is not known. Give {' or '.join(PRIORITIES)}.")
        scenario = replace(scenario, development=replace(scenario.development, priority=change.priority))
    if change.crane_numbers:
        cranes = _numbered(scenario.served, "number", change.crane_numbers, 1, "crane")
        scenario = replace(scenario, cranes=cranes)
    if change.hoists:
        blocks = _numbered(scenario.blocks, "hoists", change.hoists, 0, "block")
        scenario = replace(scenario, blocks=blocks)
    return scenario


def _numbered(
    parts: Sequence[Any], name: str, numbers: Mapping[str, int], least: int, word: str
) -> tuple[Any, ...]:
    """Return cranes or blocks with a number of theirs replaced, by the names they go by."""
    known = [part.name for part in parts]
    for given, number in numbers.items():
        if given not in known:
            raise RangeError(f"There is no {word} called {given!r}. There are: {', '.join(known)}.")
        if number < least:
            raise RangeError(f"The {word} {given!r} would have {number}; give {least} or more.")
    return tuple(
        replace(part, **{name: numbers[part.name]}) if part.name in numbers else part for part in parts
    )


def trade_label(trade: str) -> str:
    """Return a trade in the reader's words."""
    return read_catalogue().trades[trade].label


def block_name(plan: Plan, block: int) -> str:
    """Return a block's name; the site's own word where there is no block."""
    return "the site" if block < 0 else plan.takeoff.layout.names[block]
