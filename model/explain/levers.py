"""Which single change gains most, and what does each week it gains cost?

One more gang, deck set, crane or hoist, goods lifted in the evening, a faster factory, another order of
work: each is tried alone, by dates; the few that gain most are then priced in full. Prices are those of the
library; nothing is typed in here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.compare import Case, money_bridge
from model.compare.money_words import say_interest
from model.core.errors import ModelError, RangeError
from model.explain.rerun import (
    EVERY_BLOCK,
    Change,
    Progress,
    block_name,
    replanned,
    shared_grid,
    trade_label,
)
from model.inputs.method import read_catalogue
from model.inputs.scenario import PRIORITIES
from model.money import Account, price
from model.programme import Plan
from model.programme.network import whole
from model.quantities.takeoff import given
from model.site import operate

WEEK_DAYS: Final = 7.0

LEAST_GAIN_WEEKS: Final = 0.1
"""A change that brings the last handover forward by less is not offered."""

FACTORY_STEP: Final = 1.25
"""Output of the factory tried, over what it makes now."""

MOST_TOGETHER: Final = 4
"""Most cranes of one entry, and hoists of one block, that a scenario file takes."""

EVENING: Final = "crane.evening_hours"
OUTPUT: Final = "factory.output"
HOISTS: Final = "block.hoists"

COST_LINES: Final = ("construction", "premium", "preliminaries", "fees")
"""Costs before finance that a change may move; land does not."""

LEFT_OUT: Final = (
    "a further gang's own travel, set-up and induction: work is priced by its quantity, whoever does it",
    "whether the gang, crane or hoist can be had, and whether there is room to stand it",
    "what the panel maker would ask for a faster output",
)
"""What the price of a change does not hold."""


@dataclass(frozen=True)
class Lever:
    """One change, and what it does.

    Attributes
    ----------
    kind : str
        What sort of change: gang, deck set, crane, hoist, evening, factory or order.
    change : Change
    weeks_first, weeks_last : float
        First and last handover earlier by; negative is later. [weeks]
    profit, cost : float or None
        Change of profit, and of costs before finance; None where the change was not priced. [GBP]
    explained : str
        Why interest rises although the works end sooner, where it does.
    """

    kind: str
    change: Change = field(compare=False)
    weeks_first: float
    weeks_last: float
    profit: float | None = None
    cost: float | None = None
    explained: str = ""

    @property
    def label(self) -> str:
        """The change in the reader's words."""
        return self.change.label

    @property
    def cost_per_week(self) -> float | None:
        """Cost before finance of each week the last handover gains; None with a `reason`. [GBP/week]"""
        return None if self.reason or self.cost is None else self.cost / self.weeks_last

    @property
    def reason(self) -> str:
        """Why there is no cost of a week gained; empty where there is one."""
        if self.weeks_last < LEAST_GAIN_WEEKS:
            return f"The last handover gains less than {LEAST_GAIN_WEEKS:g} week, so no week is bought."
        return "Not priced: other changes gain more." if self.cost is None else ""

    def as_json(self) -> dict[str, Any]:
        """Return the change as the command line prints it."""
        return {
            "kind": self.kind,
            "label": self.label,
            "weeks_gained_first_handover": self.weeks_first,
            "weeks_gained_last_handover": self.weeks_last,
            "profit": self.profit,
            "cost": self.cost,
            "cost_per_week": self.cost_per_week,
            "reason": self.reason,
            "explained": self.explained,
        }


@dataclass(frozen=True)
class Levers:
    """Every change tried, the one that gains most first.

    Attributes
    ----------
    tried : tuple of Lever
        By weeks the last handover gains; ties by cost.
    wanted : int
        How many were to be offered.
    needless : int
        Pools in which no task ever waits for a gang: a further one would change nothing.
    refused : tuple of (str, str)
        Changes that cannot be worked out, and why.
    left_out : tuple of str
        What the prices do not hold.
    """

    tried: tuple[Lever, ...]
    wanted: int
    needless: int
    refused: tuple[tuple[str, str], ...] = ()
    left_out: tuple[str, ...] = LEFT_OUT

    @property
    def offered(self) -> tuple[Lever, ...]:
        """The changes that gain most, priced; never one that gains less than `LEAST_GAIN_WEEKS`."""
        return tuple(lever for lever in self.tried if not lever.reason)[: self.wanted]

    @property
    def words(self) -> str:
        """What was tried and found, in a sentence."""
        gain = sum(lever.weeks_last >= LEAST_GAIN_WEEKS for lever in self.tried)
        tried = f"{len(self.tried)} single change{'' if len(self.tried) == 1 else 's'} tried"
        if gain == 0:
            return f"{tried}: none brings the last handover forward by {LEAST_GAIN_WEEKS:g} week or more."
        only = "only " if gain < self.wanted else ""
        gains = "gains" if gain == 1 else "gain"
        return f"{tried}: {only}{gain} {gains} {LEAST_GAIN_WEEKS:g} week or more at the last handover."

    def as_json(self) -> dict[str, Any]:
        """Return the changes offered as the command line prints them."""
        return {
            "words": self.words,
            "tried": len(self.tried),
            "offered": [lever.as_json() for lever in self.offered],
            "left_out": list(self.left_out),
        }

    def frame(self) -> pd.DataFrame:
        """Columns as the keys of a lever's JSON; one row a change tried."""
        columns = list(Lever("", Change(), 0.0, 0.0).as_json())
        return pd.DataFrame([lever.as_json() for lever in self.tried], columns=columns)


def best(case: Case, count: int = 3, progress: Progress | None = None) -> tuple[Lever, ...]:
    """Return the single changes that gain most at the last handover, priced. As `try_levers`."""
    return try_levers(case, count, progress).offered


def try_levers(case: Case, count: int = 3, progress: Progress | None = None) -> Levers:
    """Try every single change by dates, and price those that gain most.

    Parameters
    ----------
    case : Case
    count : int
        How many to offer. [>= 1]
    progress : callable, optional
        Told runs done and runs in all.

    Returns
    -------
    Levers

    Raises
    ------
    RangeError
        If fewer than one is asked for.
    """
    if count < 1:
        raise RangeError(f"{count} changes cannot be offered; ask for 1 or more.")
    gangs, needless = gang_changes(case.plan)
    changes = [*gangs, *other_changes(case.plan)]
    tried, refused = [], []
    for done, (kind, change) in enumerate(changes, start=1):
        try:
            plan = replanned(case.plan, change)
        except ModelError as error:
            refused.append((change.label, str(error)))
        else:
            tried.append(_gained(case.plan, plan, kind, change))
        if progress is not None:
            progress(done, len(changes))
    tried = _priced(case, sorted(tried, key=_rank), count)
    return Levers(tuple(tried), count, needless, tuple(refused))


def gang_changes(plan: Plan) -> tuple[list[tuple[str, Change]], int]:
    """Return one more gang in each pool that the market can supply, where a task ever waits for one.

    Where every task of a pool finds a gang free as soon as it is ready, a further gang stands idle from first
    to last and changes no date: such pools are counted, not run. A factory is not made of gangs.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    list of (str, Change)
        Kind and change.
    int
        Pools where a further gang is needless.
    """
    trades = read_catalogue().trades
    waits = waiting_pools(plan)
    changes: list[tuple[str, Change]] = []
    needless = 0
    for pool, ((trade, block), number) in enumerate(zip(plan.gangs.pools, plan.gangs.counts, strict=True)):
        if not trades[trade].on_site or number + 1 > most_gangs(plan, trade, int(number)):
            continue
        if not waits[pool]:
            needless += 1
            continue
        where = "" if block == EVERY_BLOCK else f", {block_name(plan, block)}"
        label = f"One more gang: {trade_label(trade)}{where}"
        changes.append(("gang", Change(label, gangs={(trade, block): 1})))
    return changes, needless


def most_gangs(plan: Plan, trade: str, now: int) -> int:
    """Return the most gangs of a pool: what the market supplies; one more where the gangs are fixed.

    Parameters
    ----------
    plan : Plan
    trade : str
    now : int
        Gangs of the pool.
    """
    key = f"trade.{trade}.most_gangs"
    return round(plan.values[key]) if key in plan.values else now + 1


def waiting_pools(plan: Plan) -> NDArray[np.bool_]:
    """Say for each pool whether a task ever waits for a gang to be free."""
    held = np.flatnonzero(plan.bound_task >= 0)
    waits = np.zeros(len(plan.gangs.pools), dtype=bool)
    waits[plan.gangs.pool_of[plan.tasks.trade[held], plan.network.block[held]]] = True
    return waits


def other_changes(plan: Plan) -> Iterator[tuple[str, Change]]:
    """Yield kind and change of all that is not a gang, as far as the case has it."""
    yield from _deck_sets(plan)
    yield from _cranes(plan)
    yield from _hoists(plan)
    records = plan.values.library.records
    if plan.values[EVENING] < records[EVENING].high:
        hours = records[EVENING].high
        label = f"Evening loading-out, {hours:g} hours a day"
        yield "evening", Change(label, settings={EVENING: hours})
    if any(option.panels for option in plan.option_of.values()):
        output = FACTORY_STEP * plan.values[OUTPUT]
        label = f"Factory output {FACTORY_STEP - 1:.0%} up, to {output:,.0f} panels a week"
        yield "factory", Change(label, settings={OUTPUT: output})
    if len(plan.scenario.blocks) > 1:
        (other,) = (word for word in PRIORITIES if word != plan.scenario.development.priority)
        words = {"together": "the last handover first", "each block": "each block's own handover first"}
        yield "order", Change(f"Order of work: {words[other]}", priority=other)


def _deck_sets(plan: Plan) -> Iterator[tuple[str, Change]]:
    catalogue = read_catalogue()
    for choice in plan.method.options:
        option = catalogue.options[choice]
        if option.has_sets:
            sets = whole(plan.values[f"{option.key}.sets"]) + 1
            label = f"One more deck set a block: {option.label}, {sets} in place of {sets - 1}"
            yield "deck set", Change(label, settings={f"{option.key}.sets": float(sets)})


def _cranes(plan: Plan) -> Iterator[tuple[str, Change]]:
    for crane in plan.scenario.served:
        number = crane.number + 1
        if number <= MOST_TOGETHER:
            yield "crane", Change(f"One more crane: {crane.name}", crane_numbers={crane.name: number})


def _hoists(plan: Plan) -> Iterator[tuple[str, Change]]:
    for block in plan.scenario.blocks:
        number = round(given(block.hoists, plan.values, HOISTS)) + 1
        if block.storeys >= plan.values["site.hoist_storeys"] and number <= MOST_TOGETHER:
            yield "hoist", Change(f"One more hoist: {block.name}", hoists={block.name: number})


def _gained(plan: Plan, changed: Plan, kind: str, change: Change) -> Lever:
    return Lever(
        kind=kind,
        change=change,
        weeks_first=(plan.first_handover - changed.first_handover) / WEEK_DAYS,
        weeks_last=(plan.last_handover - changed.last_handover) / WEEK_DAYS,
    )


def _rank(lever: Lever) -> tuple[float, float]:
    """Most weeks first, to the second; ties by cost, unpriced last."""
    return -round(lever.weeks_last, 6), math.inf if lever.cost is None else lever.cost


def _priced(case: Case, levers: Sequence[Lever], count: int) -> list[Lever]:
    """Price the first few levers, and any that gain as much as the last of them; put in order again."""
    gain = [lever for lever in levers if lever.weeks_last >= LEAST_GAIN_WEEKS]
    few = [lever for lever in gain if _rank(lever) <= _rank(gain[min(count, len(gain)) - 1])]
    plans = [replanned(case.plan, lever.change) for lever in few]
    grid, account = shared_grid(case, plans)
    priced = [
        _price(lever, price(plan, operate(plan), grid), account)
        for lever, plan in zip(few, plans, strict=True)
    ]
    return sorted([*priced, *levers[len(few) :]], key=_rank)


def _price(lever: Lever, changed: Account, account: Account) -> Lever:
    cost = sum(changed.cost_of(line) - account.cost_of(line) for line in COST_LINES)
    bridge = money_bridge(account, changed)
    said = say_interest(bridge, lever.weeks_last, ("the plan as it is", "this change"))
    return replace(lever, profit=changed.profit - account.profit, cost=cost, explained=" ".join(said))
