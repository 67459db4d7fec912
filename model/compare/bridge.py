"""Where does the difference of profit of two sides of cash come from?

Both sides are lines of cash on the same months. Each line that differs is switched from the first side to
the second; what that changes of itself, of interest and fees, of profit and of present value is its step. A
step depends on what was switched before it, so it is averaged over every order of switching: the split then
depends on no order and adds up exactly. With a fixed order it is told as a story.

Nothing here knows what the lines are. Money is in any currency; more cost, interest and fees is positive.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, astuple, dataclass
from typing import Final, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.errors import RangeError
from model.core.shapley import every_subset, shapley
from model.money.returns import npv

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SAME: Final = 1e-8
"""Lines that differ by no more in any month are the same: the last digits of sums. [GBP]"""

LOAN: Final = "loan terms"
"""Step of the terms of the loan and the hurdle, where the two differ in them."""


class Funding(Protocol):
    """What the development's money costs, for any number of rows at once."""

    @property
    def hurdle(self) -> float:
        """Effective rate of the present value. [-, a year]"""

    def finance(self, costs: Floats, receipts: Floats) -> Floats:
        """Return interest and fees of each row of costs and receipts by month. [GBP]"""


@dataclass(frozen=True, eq=False)
class Flows:
    """One side of a bridge.

    Attributes
    ----------
    costs, receipts : mapping of str to array, one a month
        Lines by name, costs before finance. A name in both is one line. [GBP]
    funding : Funding
    """

    costs: Mapping[str, Floats]
    receipts: Mapping[str, Floats]
    funding: Funding


@dataclass(frozen=True, slots=True)
class Figures:
    """Figures of one side, or of a difference; profit is what cost and finance leave. [GBP]

    Attributes
    ----------
    cost : float
        Costs before finance, less receipts.
    finance : float
        Interest and fees of the loan.
    profit : float
    npv : float
        Of receipts less costs before finance.
    """

    cost: float
    finance: float
    profit: float
    npv: float

    def less(self, other: Figures) -> Figures:
        """Return these figures less others."""
        return Figures(*(a - b for a, b in zip(astuple(self), astuple(other), strict=True)))


@dataclass(frozen=True, eq=False)
class Bridge:
    """The way from one side to the other, step by step.

    Attributes
    ----------
    steps : mapping of str to Figures
        What each line changes; lines that do not differ have no step. They add up to `total`.
    first, second : Figures
        The two sides.
    ordered : bool
        Whether the steps were taken in one order, rather than averaged over every order.
    """

    steps: Mapping[str, Figures]
    first: Figures
    second: Figures
    ordered: bool

    @property
    def total(self) -> Figures:
        """Second side less first."""
        return self.second.less(self.first)

    def of(self, *causes: str) -> Figures:
        """Return what lines change together; nothing for lines that do not differ."""
        found = [astuple(self.steps[cause]) for cause in causes if cause in self.steps]
        return Figures(*(float(x) for x in np.sum(found, axis=0))) if found else NOTHING

    def frame(self) -> pd.DataFrame:
        """Columns cause, cost, finance, profit, npv; one row a step."""
        rows = [{"cause": cause, **asdict(step)} for cause, step in self.steps.items()]
        return pd.DataFrame(rows, columns=["cause", *Figures.__dataclass_fields__])


NOTHING: Final = Figures(0.0, 0.0, 0.0, 0.0)


def in_every_order(first: Flows, second: Flows) -> Bridge:
    """Split the difference of two sides among their lines, averaged over every order of switching.

    Parameters
    ----------
    first, second : Flows
        On the same months.

    Returns
    -------
    Bridge
        Its steps do not depend on the order of the lines.

    Raises
    ------
    RangeError
        If lines stand on different months, more than `MOST_PLAYERS` differ, or a set cannot be financed.
    """
    names = _differing(first, second)
    worth = _worth(first, second, names, every_subset(len(names)))
    return _bridge(names, shapley(worth), worth, ordered=False)


def in_order(first: Flows, second: Flows, order: Sequence[str] | None = None) -> Bridge:
    """Split the difference of two sides among their lines, switched one after another.

    Parameters
    ----------
    first, second : Flows
        On the same months.
    order : sequence of str, optional
        Names of the lines that differ, and `LOAN` where the loans differ; others may stand in it. By default
        as they are given.

    Returns
    -------
    Bridge
        Its steps depend on the order.

    Raises
    ------
    RangeError
        If lines stand on different months, or the order leaves out one that differs.
    """
    names = _differing(first, second)
    if order is not None:
        left = [name for name in names if name not in order]
        if left or len(set(order)) < len(order):
            raise RangeError(
                f"The order must name each line that differs once; got {', '.join(order) or 'none'} for "
                f"{', '.join(names)}. Give every one of these, none twice."
            )
        names = [name for name in order if name in names]
    steps = np.tri(len(names) + 1, len(names), -1, dtype=bool)
    worth = _worth(first, second, names, steps)
    return _bridge(names, np.diff(worth, axis=0), worth, ordered=True)


def _bridge(names: Sequence[str], steps: Floats, worth: Floats, *, ordered: bool) -> Bridge:
    """Put the figures of steps and of the two ends, the first and last row, in their places."""
    return Bridge(
        {name: _figures(step) for name, step in zip(names, steps, strict=True)},
        _figures(worth[0]),
        _figures(worth[-1]),
        ordered,
    )


def _figures(row: Floats) -> Figures:
    cost, finance, worth = (float(x) for x in row)
    return Figures(cost, finance, -cost - finance, worth)


def _differing(first: Flows, second: Flows) -> list[str]:
    """Return the names of the lines that differ, as given, and the loan last."""
    given = [
        line for side in (first, second) for lines in (side.costs, side.receipts) for line in lines.items()
    ]
    for name, line in given:
        if not np.all(np.isfinite(line)):
            raise RangeError(
                f"Every month of a line must be a finite sum; {name} has one that is not. "
                "Check the price behind it."
            )
    sizes = {np.shape(line) for _name, line in given}
    if len(sizes) != 1 or len(next(iter(sizes))) != 1:
        raise RangeError(
            f"Lines of both sides must stand on the same months; got shapes {sorted(sizes)}. "
            "Price both methods on one grid."
        )
    sides = (first.costs, second.costs), (first.receipts, second.receipts)
    names = dict.fromkeys(name for lines in sides for side in lines for name in side)
    differ = [
        name for name in names if any(np.abs(_line(b, name) - _line(a, name)).max() > SAME for a, b in sides)
    ]
    return differ if first.funding == second.funding else [*differ, LOAN]


def _line(lines: Mapping[str, Floats], name: str) -> Floats:
    """Return a line, or nothing where a side has none of the name."""
    return np.asarray(lines.get(name, 0.0), dtype=float)


def _worth(first: Flows, second: Flows, names: Sequence[str], on: Bools) -> Floats:
    """Return cost less receipts, finance and present value of every row of switches, shape (rows, 3).

    All rows are financed together, in one call (one for each loan where the loans differ).
    """
    lines = [name for name in names if name != LOAN]
    kept = on[:, [names.index(name) for name in lines]].astype(float)

    def switched(a: Mapping[str, Floats], b: Mapping[str, Floats]) -> Floats:
        shape = np.shape(next(iter([*first.costs.values(), *first.receipts.values()])))
        base = np.zeros(shape) + sum(_line(a, name) for name in a)
        change = np.array([np.zeros(shape) + _line(b, name) - _line(a, name) for name in lines])
        return np.asarray(base + kept @ change.reshape(len(lines), *shape))

    costs, receipts = switched(first.costs, second.costs), switched(first.receipts, second.receipts)
    loan = on[:, names.index(LOAN)] if LOAN in names else np.zeros(len(on), dtype=bool)
    worth = np.empty((len(on), 3))
    worth[:, 0] = costs.sum(axis=1) - receipts.sum(axis=1)
    for funding, rows in ((first.funding, ~loan), (second.funding, loan)):
        if rows.any():
            worth[rows, 1] = funding.finance(costs[rows], receipts[rows])
            worth[rows, 2] = npv(receipts[rows] - costs[rows], funding.hurdle)
    return worth
