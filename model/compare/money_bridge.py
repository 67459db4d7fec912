"""Where does the difference of profit of two finished accounts come from, in money?

The cash of both as lines on the same months, switched from one to the other (`model.compare.bridge`).
Contrasts finished accounts; runs no programme. Sums in pounds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.compare.bridge import Bridge, Flows, in_every_order, in_order
from model.core.errors import RangeError
from model.money import Account
from model.money.grid import MonthGrid, spread, spread_evenly
from model.money.loan import finance
from model.money.payments import measured_cash, order_day
from model.programme import Plan

Floats = NDArray[np.float64]

MEASURED: Final = "construction"
"""The measured work at the prices of what is replaced: mostly the same for both, at other dates."""

WORKS: Final = (MEASURED, "premium", "paid ahead")
"""Lines of the measured work."""

LEAST_SUM: Final = 0.5
"""A line that comes to less has no mean day. [GBP]"""


@dataclass(frozen=True, eq=False)
class MoneyBridge(Bridge):
    """The way from one account to another.

    Attributes
    ----------
    works_day, construction_day, receipts_day : tuple of (float or None)
        Mean day of the money of the measured work, of construction alone as if nothing were paid ahead, and
        of receipts, in the first and the second; None without any. [days from start on site]
    presold : tuple of (float or None)
        Share of the flats for sale reserved by their handover; None where none are sold one by one. [-]
    """

    works_day: tuple[float | None, float | None]
    construction_day: tuple[float | None, float | None]
    receipts_day: tuple[float | None, float | None]
    presold: tuple[float | None, float | None]


def money_bridge(first: Account, second: Account, order: Sequence[str] | None = None) -> MoneyBridge:
    """Split the difference of two accounts among the lines of their cash.

    Parameters
    ----------
    first, second : Account
        Priced on the same months.
    order : sequence of str, optional
        As in `in_order`; without it every order is averaged.

    Returns
    -------
    MoneyBridge
        Steps ``premium`` (price over what is replaced), ``paid ahead`` (the maker of panels paid before
        they are fixed: earlier dates, and the bond), ``construction``, ``preliminaries`` (without plant),
        ``plant``, ``fees``, ``land``, ``receipts``; those that differ.

    Raises
    ------
    RangeError
        If the accounts stand on different months.
    """
    if first.grid != second.grid:
        raise RangeError(
            f"The first account counts months {first.grid.first} to {first.grid.last}, the second "
            f"{second.grid.first} to {second.grid.last}. Price both on one grid: common_grid makes it."
        )
    a, b = _flows(first), _flows(second)
    bridge = in_every_order(a, b) if order is None else in_order(a, b, order)

    def days(lines: Callable[[Flows], list[Floats]]) -> tuple[float | None, float | None]:
        ends = first.grid.ends_day
        one, other = (mean_day(np.sum(lines(side), axis=0), ends) for side in (a, b))
        return one, other

    return MoneyBridge(
        bridge.steps,
        bridge.first,
        bridge.second,
        bridge.ordered,
        works_day=days(lambda side: [side.costs[name] for name in WORKS]),
        construction_day=days(lambda side: [side.costs[MEASURED]]),
        receipts_day=days(lambda side: list(side.receipts.values())),
        presold=(first.cash.income.presold_share, second.cash.income.presold_share),
    )


def mean_day(line: Floats, ends_day: Floats) -> float | None:
    """Return the mean day of a line of cash, each pound counted once; None where it comes to nothing.

    Parameters
    ----------
    line : array, one a month
        [GBP]
    ends_day : array, one a month
        [days]

    Returns
    -------
    float or None
        [days]

    Examples
    --------
    >>> mean_day(np.array([1.0, 3.0]), np.array([0.0, 40.0]))
    30.0
    """
    total = float(line.sum())
    return float(line @ ends_day) / total if total > LEAST_SUM else None


def lines_of(account: Account) -> dict[str, Floats]:
    """Return the lines of an account by month; all but ``receipts`` are costs. [GBP]

    What is paid ahead of fixing is taken out of construction and premium, which then stand as if all work
    were paid for as it is done; plant is taken out of the preliminaries. Any other line stays as it is.
    """
    lines, ends = dict(account.cash.costs), account.grid.ends_day
    actual = measured_cash(account.plan, account.work, account.grid)
    as_done = measured_cash(account.plan, account.work, account.grid, paid_ahead=False)
    ahead = {name: actual[name] - as_done[name] for name in ("construction", "premium")}
    ahead["premium"] += spread([order_day(account.plan)], [account.bond], ends)
    costs, lag = account.cash.time_costs, account.plan.values["money.payment_lag_days"]
    hired = costs.plant
    plant = spread_evenly(costs.start[hired] + lag, costs.finish[hired] + lag, costs.amount[hired], ends)
    return {
        "premium": lines.pop("premium") - ahead["premium"],
        "paid ahead": ahead["construction"] + ahead["premium"],
        "construction": lines.pop("construction") - ahead["construction"],
        "preliminaries": lines.pop("preliminaries") - plant,
        "plant": plant,
        **lines,
        "receipts": account.cash.receipts,
    }


@dataclass(frozen=True)
class Agreed:
    """The terms on which an account is financed; equal where the figures behind them are.

    Attributes
    ----------
    terms : tuple of (str, float)
        Figures of money that the loans, the equity and the hurdle rest on.
    """

    terms: tuple[tuple[str, float], ...]
    plan: Plan = field(compare=False, repr=False)
    grid: MonthGrid = field(compare=False, repr=False)

    @property
    def hurdle(self) -> float:
        """Effective rate of the present value. [-, a year]"""
        return self.plan.values["money.hurdle_pct"] / 100

    def finance(self, costs: Floats, receipts: Floats) -> Floats:
        """Return interest and fees of each row of costs and receipts by month. [GBP]"""
        run = finance(self.plan, self.grid, costs, receipts, costs.sum(axis=-1))
        return np.asarray(run.interest_total + run.fees_total)


TERMS: Final = (
    "equity", "debt_rate", "base_rate", "arrangement", "exit", "non_utilisation", "hurdle", "mezzanine",
    "mezzanine_rate", "mezzanine_arrangement", "mezzanine_exit",
)  # fmt: skip
"""Records of money, without ``money.`` and ``_pct``, that the financing rests on."""


def _flows(account: Account) -> Flows:
    costs = lines_of(account)
    receipts = costs.pop("receipts")
    terms = tuple((name, account.plan.values[f"money.{name}_pct"]) for name in TERMS)
    agreed = Agreed(terms, account.plan, account.grid)
    return Flows(costs, {"receipts": receipts}, agreed)
