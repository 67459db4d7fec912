"""What does a week's slip of each trade cost?

One working week more is put into the task of each trade that has the least float, and the schedule is run
again: gangs and cranes answer as they would. Nothing here prices the slipped work itself.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.compare import Case
from model.core.errors import ModelError
from model.explain.rerun import (
    Change,
    Progress,
    as_measured,
    block_name,
    priced,
    replanned,
    shared_grid,
    trade_label,
)
from model.inputs.method import read_catalogue
from model.programme import Plan
from model.programme.causes import float_days
from model.programme.durations import SHIFTS_PER_WEEK

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WEEK_DAYS: Final = 7.0

LEFT_OUT: Final = (
    "the trade's own cost of the extra week and any damages claimed for it",
    "what others would do to make up time: gangs and order stay as they are",
)
"""What the cost of a slip does not hold."""


@dataclass(frozen=True, slots=True)
class Slip:
    """A week more in one task of a trade.

    Attributes
    ----------
    trade, label : str
        Its id, and its name in the reader's words.
    task : int
        Number of the task in the plan.
    block : str
    storey, zone : int
        0 where they do not apply.
    activity : str
        In the reader's words.
    float_days : float or None
        What the task could slip before the last handover moves, before crane sharing; None where no
        handover waits for it. [days]
    weeks_first, weeks_last : float
        First and last handover later by; negative is earlier. [weeks]
    cost : float or None
        Loss of profit; negative is a gain. None with a reason. [GBP]
    reason : str
        Why there is no cost.
    """

    trade: str
    label: str
    task: int
    block: str
    storey: int
    zone: int
    activity: str
    float_days: float | None
    weeks_first: float
    weeks_last: float
    cost: float | None
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """Return the slip as the command line prints it."""
        return {
            "trade": self.trade,
            "label": self.label,
            "block": self.block,
            "storey": self.storey,
            "zone": self.zone,
            "activity": self.activity,
            "float_days": self.float_days,
            "weeks_later_first_handover": self.weeks_first,
            "weeks_later_last_handover": self.weeks_last,
            "cost": self.cost,
            "reason": self.reason,
        }


@dataclass(frozen=True)
class Slips:
    """A week's slip of every trade, the dearest first.

    Attributes
    ----------
    rows : tuple of Slip
    shifts : float
        Work more in each task. [shifts]
    left_out : tuple of str
        What the costs do not hold.
    """

    rows: tuple[Slip, ...]
    shifts: float = SHIFTS_PER_WEEK
    left_out: tuple[str, ...] = LEFT_OUT

    def as_json(self) -> dict[str, Any]:
        """Return the slips as the command line prints them."""
        return {
            "working_days": self.shifts,
            "trades": [row.as_json() for row in self.rows],
            "left_out": list(self.left_out),
        }

    def frame(self) -> pd.DataFrame:
        """Columns as the fields of `Slip`; one row a trade."""
        return pd.DataFrame([asdict(row) for row in self.rows], columns=list(Slip.__dataclass_fields__))


def cost_of_slips(case: Case, progress: Progress | None = None) -> Slips:
    """Work out what a week's slip of each trade costs.

    Parameters
    ----------
    case : Case
    progress : callable, optional
        Told runs done and runs in all.

    Returns
    -------
    Slips
        Every trade that has work, whoever makes goods elsewhere among them; all on the same months of money.
    """
    plan = case.plan
    spare = float_days(plan, to="last")
    tasks = slipped_tasks(plan, spare)
    plans: list[Plan | str] = []
    for done, task in enumerate(tasks.values(), start=1):
        plans.append(_slipped(plan, task))
        if progress is not None:
            progress(done, len(tasks))
    grid, account = shared_grid(case, [slipped for slipped in plans if isinstance(slipped, Plan)])
    rows = []
    for (trade, task), slipped in zip(tasks.items(), plans, strict=True):
        cost, weeks, reason = None, (0.0, 0.0), ""
        if isinstance(slipped, Plan):
            measured = as_measured(slipped, _slip(task))
            cost = account.profit - priced(measured, case.site, grid).profit
            weeks = (
                (slipped.first_handover - plan.first_handover) / WEEK_DAYS,
                (slipped.last_handover - plan.last_handover) / WEEK_DAYS,
            )
        else:
            reason = slipped
        rows.append(_row(plan, trade, task, spare[task], weeks, cost, reason))
    return Slips(tuple(sorted(rows, key=lambda row: (-(row.cost or 0.0), row.trade))))


def slipped_tasks(plan: Plan, spare: Floats) -> dict[str, int]:
    """Return the task of each trade that can slip least: the first to start of those with the least float.

    Parameters
    ----------
    plan : Plan
    spare : array, one a task
        Float. [days]

    Returns
    -------
    dict of str to int
        In the order of the trades.
    """
    order = np.lexsort((np.arange(spare.size), plan.start, np.round(spare, 6)))
    working = order[plan.tasks.work[order] > 0]
    trades, first = np.unique(plan.tasks.trade[working], return_index=True)
    names = list(read_catalogue().trades)
    return {names[k]: int(working[at]) for k, at in zip(trades, first, strict=True) if k >= 0}


def _slip(task: int) -> Change:
    return Change("A week's slip", extra_work={task: SHIFTS_PER_WEEK})


def _slipped(plan: Plan, task: int) -> Plan | str:
    """Return the plan with a week more in a task, or why there is none."""
    try:
        return replanned(plan, _slip(task))
    except ModelError as error:
        return str(error)


def _row(
    plan: Plan,
    trade: str,
    task: int,
    spare: float,
    weeks: tuple[float, float],
    cost: float | None,
    reason: str,
) -> Slip:
    network = plan.network
    name = network.groups[network.group[task]].split(":")[1]
    return Slip(
        trade=trade,
        label=trade_label(trade),
        task=task,
        block=block_name(plan, int(network.block[task])),
        storey=int(network.storey[task]),
        zone=int(network.zone[task]),
        activity=read_catalogue().activities[name].label,
        float_days=round(float(spare), 9) + 0.0 if math.isfinite(spare) else None,
        weeks_first=weeks[0],
        weeks_last=weeks[1],
        cost=cost,
        reason=reason,
    )
