"""When is the measured work paid for, and how much goes to the panel maker before his panels are fixed?

Work is paid as it progresses, with a lag, retention withheld. The panel maker's part is paid in four
steps: at the order, as panels are made, as they are delivered, and on fixing like all other work. What is
paid ahead may stand under a bond; goods not yet on site are safe only if they are listed, set apart and
marked, insured, and their title has passed to the client (vesting), which lawyers settle, not this tool.

Nothing here knows about sales or loans. Days are counted from the start on site; money in pounds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.errors import RangeError
from model.money.costs import WorkCosts
from model.money.grid import DAYS_PER_MONTH, MonthGrid, spread, spread_evenly
from model.programme import Plan

Floats = NDArray[np.float64]

DAYS_PER_YEAR = 365.0
"""Bonds are charged by the day, as sterling loans are. [days]"""

DAYS_PER_WORKING_DAY = 7 / 5
"""A week of five working days."""


def order_day(plan: Plan) -> float:
    """Return the day the panels are ordered, after a redesign where the scheme was drawn without. [days]"""
    v = plan.values
    late = v["late.redesign"] + v["approval.change"] if plan.scenario.development.late_adoption else 0.0
    return (v["factory.order"] + late) * 7.0


def makes_panels(plan: Plan) -> bool:
    """Say whether any option of the method is made in a factory."""
    return any(option.panels for option in plan.option_of.values())


@dataclass(frozen=True)
class Steps:
    """Shares of the panel maker's part that are paid before fixing. [-]"""

    deposit: float
    stage: float
    delivery: float

    @property
    def ahead(self) -> float:
        """All that is paid before fixing."""
        return self.deposit + self.stage + self.delivery


def payment_steps(plan: Plan) -> Steps:
    """Return how the panel maker is paid.

    Raises
    ------
    RangeError
        If the steps come to more than the price.
    """
    v = plan.values
    deposit, stage = (v[f"money.factory_{name}_pct"] / 100 for name in ("deposit", "stage"))
    if deposit + stage > 1 + 1e-12:
        raise RangeError(
            f"The panel maker would be paid {deposit + stage:.0%} of the price before delivery: deposit "
            f"{deposit:.0%}, stages {stage:.0%}. They may come to 100 % at most: lower "
            "money.factory_deposit_pct or money.factory_stage_pct."
        )
    steps = Steps(deposit, stage, (1 - deposit - stage) * v["money.factory_delivery_pct"] / 100)
    return steps


def measured_cash(
    plan: Plan, work: WorkCosts, grid: MonthGrid, *, paid_ahead: bool = True
) -> dict[str, Floats]:
    """Return the cost of measured work by line and month of payment, retention still withheld.

    Parameters
    ----------
    plan : Plan
    work : WorkCosts
    grid : MonthGrid
    paid_ahead : bool
        Whether the panel maker is paid ahead of fixing; without, all is paid as it is fixed, to ask what
        paying ahead costs.

    Returns
    -------
    dict of str to array, one a month
        ``construction`` and ``premium``, contingency included. [GBP]
    """
    v = plan.values
    contingency = 1 + v["money.contingency_pct"] / 100
    retained = v["money.retention_pct"] / 100
    moved = plan.moved_work / plan.tasks.work[plan.moved_task]
    dates = np.arange(int(plan.moved_date.max()) + 1)
    day = dates + 1.0 + v["money.payment_lag_days"]
    steps = payment_steps(plan) if paid_ahead else Steps(0.0, 0.0, 0.0)
    own = work.reference + work.premium
    held = np.divide(own - work.supply * steps.ahead, own, out=np.ones_like(own), where=own > 0)
    total = float(work.supply.sum())
    early = _ahead(plan, work, grid, steps)
    lines = {}
    for name, amount in (("construction", work.reference), ("premium", work.premium)):
        paid = amount * (held - retained) * contingency
        by_date = np.bincount(plan.moved_date, moved * paid[plan.moved_task], minlength=dates.size)
        part = np.divide(amount, own, out=np.zeros_like(own), where=own > 0)
        supplied = float((work.supply * part).sum())
        lines[name] = spread(day, by_date, grid.ends_day) + early * contingency * (
            supplied / total if total else 0.0
        )
    return lines


def _ahead(plan: Plan, work: WorkCosts, grid: MonthGrid, steps: Steps) -> Floats:
    """Payments to the panel maker before fixing, by month, before contingency. [GBP]"""
    total = float(work.supply.sum())
    ends = grid.ends_day
    if total == 0.0 or steps.ahead == 0.0:
        return np.zeros(ends.size)
    made = plan.network.tasks_of("activity:make_panels")
    weight = plan.tasks.amount[made] / plan.tasks.amount[made].sum()
    fixed = _fixed_by_date(plan, work)
    delivered = _delivered_day(plan, np.arange(fixed.size)) + plan.values["money.payment_lag_days"]
    return (
        spread([order_day(plan)], [steps.deposit * total], ends)
        + spread_evenly(plan.start[made], plan.finish[made], steps.stage * total * weight, ends)
        + spread(delivered, steps.delivery * fixed, ends)
    )


def valued_by_day(plan: Plan, work: WorkCosts) -> Floats:
    """Return the value of the measured work day by day, the panel maker's part when he is owed it.

    Parameters
    ----------
    plan : Plan
    work : WorkCosts

    Returns
    -------
    array, one a date
        Before lag, retention and contingency; what falls before the start on site counts on date 0. [GBP]
    """
    steps = payment_steps(plan)
    own = (work.reference + work.premium - work.supply * steps.ahead) / np.maximum(plan.tasks.work, 1e-300)
    value = np.bincount(plan.moved_date, (plan.moved_work * own[plan.moved_task])).astype(float)
    total = float(work.supply.sum())
    if total == 0.0:
        return value
    made = plan.network.tasks_of("activity:make_panels")
    weight = plan.tasks.amount[made] / plan.tasks.amount[made].sum()
    first = math.floor(min(order_day(plan), float(plan.start[made].min()), -7.0))
    days = np.arange(first, value.size + 1.0)
    fixed = _fixed_by_date(plan, work)
    early = (
        spread([order_day(plan)], [steps.deposit * total], days)
        + spread_evenly(plan.start[made], plan.finish[made], steps.stage * total * weight, days)
        + spread(_delivered_day(plan, np.arange(fixed.size)), steps.delivery * fixed, days)
    )
    before = int(np.searchsorted(days, 0.0))
    value += early[before : before + value.size]
    value[0] += float(early[:before].sum())
    value[-1] += float(early[before + value.size :].sum())
    return value


def _fixed_by_date(plan: Plan, work: WorkCosts) -> Floats:
    """Panel maker's part of what is fixed on each date. [GBP]"""
    done = plan.moved_work / plan.tasks.work[plan.moved_task] * work.supply[plan.moved_task]
    return np.asarray(np.bincount(plan.moved_date, done), dtype=float)


def _delivered_day(plan: Plan, date: NDArray[np.int64]) -> Floats:
    """Day on which what is fixed on a date is delivered: its end, less the working days panels come ahead."""
    return np.asarray(date + 1.0 - plan.values["site.panels_ahead"] * DAYS_PER_WORKING_DAY)


def ahead_of_fixing(plan: Plan, work: WorkCosts) -> tuple[Floats, Floats]:
    """Return the money paid to the panel maker for panels not yet fixed, day by day.

    Parameters
    ----------
    plan : Plan
    work : WorkCosts

    Returns
    -------
    day : array
        From the order (or the start on site) to the end of the works; empty without panels. [days]
    amount : array
        Deposit at the order, stages as each storey is made, then the share due on delivery; what is fixed no
        longer counts. [GBP]
    """
    total = float(work.supply.sum())
    if total == 0.0:
        return np.zeros(0), np.zeros(0)
    steps = payment_steps(plan)
    made = plan.network.tasks_of("activity:make_panels")
    made = made[plan.tasks.work[made] > 0]
    weight = plan.tasks.amount[made] / plan.tasks.amount[made].sum()
    first = min(math.floor(order_day(plan)), 0)
    day = np.arange(first, math.ceil(float(plan.finish.max())) + 1, dtype=float)
    paid = np.where(day >= order_day(plan), steps.deposit * total, 0.0)
    begin, end = plan.start[made], plan.finish[made]
    part = np.clip((day[:, None] - begin) / np.maximum(end - begin, 1e-9), 0.0, 1.0)
    paid += steps.stage * total * (part @ weight)
    so_far = np.cumsum(_fixed_by_date(plan, work))
    dates = np.arange(so_far.size)
    fixed = np.interp(day, dates + 1.0, so_far, left=0.0)
    lag = plan.values["money.payment_lag_days"]
    delivered = np.interp(day, _delivered_day(plan, dates) + lag, so_far, left=0.0)
    # a delivery is paid for some weeks after it, mostly when its panels stand already
    on_site = steps.delivery * np.maximum(delivered - fixed, 0.0)
    return day, paid - (steps.deposit + steps.stage) * fixed + on_site


def most_unfixed(plan: Plan, work: WorkCosts) -> tuple[float, float]:
    """Return the most money paid to the panel maker for panels not yet fixed, and when.

    Returns
    -------
    amount : float
        0 without panels. [GBP]
    day : float
        [days from start on site]
    """
    day, amount = ahead_of_fixing(plan, work)
    if day.size == 0:
        return 0.0, 0.0
    at = int(amount.argmax())
    return float(amount[at]), float(day[at])


def bond_cost(plan: Plan, work: WorkCosts) -> float:
    """Return the charge for a bond over what is paid ahead of fixing, from day to day. [GBP]"""
    _day, amount = ahead_of_fixing(plan, work)
    return float(amount.sum()) / DAYS_PER_YEAR * plan.values["money.bond_rate_pct"] / 100


def released(plan: Plan, amount: Floats, handovers: Floats, ends_day: Floats) -> Floats:
    """Return retention released by month: half at the handover of each block, half after the defects period.

    Parameters
    ----------
    plan : Plan
    amount : array, one a task
        Price of the work the retention was withheld from, without contingency. [GBP]
    handovers : array, one a block
        [days]
    ends_day : array
        Month-ends of the grid. [days]
    """
    v = plan.values
    held = v["money.retention_pct"] / 100 * amount * (1 + v["money.contingency_pct"] / 100)
    by_block = np.bincount(plan.network.block + 1, held, minlength=handovers.size + 1)[1:]
    late = handovers + v["money.defects_months"] * DAYS_PER_MONTH
    days = np.concatenate([handovers, late]) + v["money.payment_lag_days"]
    return spread(days, np.concatenate([by_block, by_block]) / 2, ends_day)


def factory_payments(plan: Plan, work: WorkCosts) -> pd.DataFrame:
    """Return what the panel maker is paid, step by step, and the bond over it.

    Returns
    -------
    DataFrame
        Columns step (deposit, stage, delivery, fixing, bond), start, finish [days], amount [GBP], contingency
        and retention left aside; empty without panels.
    """
    total = float(work.supply.sum())
    rows: list[tuple[str, float, float, float]] = []
    if total > 0:
        steps = payment_steps(plan)
        order, lag = order_day(plan), plan.values["money.payment_lag_days"]
        made = plan.network.tasks_of("activity:make_panels")
        weight = plan.tasks.amount[made] / plan.tasks.amount[made].sum()
        dates = np.flatnonzero(_fixed_by_date(plan, work))
        brought = _delivered_day(plan, dates) + lag
        fixed = dates + 1.0 + lag
        rows.append(("deposit", order, order, steps.deposit * total))
        rows += [
            ("stage", float(plan.start[k]), float(plan.finish[k]), float(steps.stage * total * part))
            for k, part in zip(made, weight, strict=True)
        ]
        rows.append(("delivery", float(brought[0]), float(brought[-1]), steps.delivery * total))
        rows.append(("fixing", float(fixed[0]), float(fixed[-1]), (1 - steps.ahead) * total))
        rows.append(("bond", order, order, bond_cost(plan, work)))
    return pd.DataFrame(rows, columns=["step", "start", "finish", "amount"])
