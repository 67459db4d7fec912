"""In which month does cash of a given day fall?

A month ends on a monthly anniversary of the start on site; all its flows are taken to fall on that
day. Cash with a day between two month-ends is split between them in proportion to nearness, so the
mean date of the money is kept: a week is worth a week, and nothing jumps where one month ends.

Nothing here knows what the money is for. Days are counted from 00:00 of the start on site; money is
in any currency. Every function works on the last axis and takes any axes before it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.calendar import monthly_anniversary
from model.core.compiled import compiled
from model.core.errors import RangeError

Floats = NDArray[np.float64]

DAYS_PER_MONTH: Final = 365.25 / 12
"""Mean month, for turning a rate per month into a rate per day. [days]"""

_SHORTEST_SPAN_DAYS: Final = 1e-3
"""Below this a span is paid at its middle: the difference of integrals would lose its digits. [days]"""


@dataclass(frozen=True)
class MonthGrid:
    """The months over which money is counted.

    Attributes
    ----------
    start : date
        Start on site: month 0 ends on it, so month 0 holds what is paid by the first day.
    first : int
        First month, zero or negative; the purchase comes before the start.
    last : int
        Last month, after the first.
    """

    start: dt.date
    first: int
    last: int

    def __post_init__(self) -> None:
        if self.first > 0:
            raise RangeError(
                f"The first month must be 0 or earlier; got {self.first}. "
                "Month 0 ends on the start on site: give the month of the purchase, counted back from it."
            )
        if self.last <= self.first:
            raise RangeError(
                f"The last month must come after the first, {self.first}; got {self.last}. "
                "Give the month in which the last payment or receipt falls."
            )

    @cached_property
    def months(self) -> NDArray[np.int64]:
        """Month numbers, `first` to `last`."""
        months = np.arange(self.first, self.last + 1, dtype=np.int64)
        months.flags.writeable = False
        return months

    @cached_property
    def ends_on(self) -> tuple[dt.date, ...]:
        """Date on which each month ends, the day held within the calendar month."""
        return tuple(monthly_anniversary(self.start, month) for month in range(self.first, self.last + 1))

    @cached_property
    def ends_day(self) -> Floats:
        """Day on which each month ends. [days from start on site]"""
        days = np.array([(day - self.start).days for day in self.ends_on], dtype=float)
        days.flags.writeable = False
        return days


def grid_for(start: dt.date, first_day: float, last_day: float) -> MonthGrid:
    """Return the shortest grid that holds two days and the start on site.

    Parameters
    ----------
    start : date
        Start on site.
    first_day, last_day : float
        Earliest and latest day on which money moves. [days from start on site]

    Returns
    -------
    MonthGrid

    Raises
    ------
    RangeError
        If the days are not finite or stand in the wrong order.

    Examples
    --------
    >>> grid = grid_for(dt.date(2027, 1, 31), -40.0, 60.0)
    >>> grid.first, grid.last
    (-2, 3)
    """
    if not (np.isfinite(first_day) and np.isfinite(last_day) and first_day <= last_day):
        raise RangeError(
            f"Money must move between two days in order; got {first_day:g} to {last_day:g}. "
            "Give the earliest day first, both in days from the start on site."
        )
    first, last = 0, 1
    while _end(start, first) > first_day:
        first -= max(int((_end(start, first) - first_day) // 31), 1)
    while _end(start, last) < last_day:
        last += max(int((last_day - _end(start, last)) // 31), 1)
    return MonthGrid(start, first, last)


def _end(start: dt.date, month: int) -> int:
    return (monthly_anniversary(start, month) - start).days


def spread(days: ArrayLike, amounts: ArrayLike, ends_day: Floats) -> Floats:
    """Put dated cash on the months, each sum split between the month-ends on either side.

    Parameters
    ----------
    days : float or array, shape (..., n)
        Day of each sum. [days from start on site]
    amounts : float or array, shape (..., n)
        The sums; broadcast with `days`. [money]
    ends_day : array, shape (months,)
        Month-ends of the grid, rising. [days]

    Returns
    -------
    array, shape (..., months)
        Money of each month. Its total, and its mean day, are those of the dated sums. [money]

    Raises
    ------
    RangeError
        If a day lies outside the grid, or a day or sum is not finite.

    Examples
    --------
    >>> spread([15.0], [100.0], np.array([0.0, 30.0, 60.0])).tolist()
    [50.0, 50.0, 0.0]
    """
    day, amount = np.broadcast_arrays(
        np.atleast_1d(np.asarray(days, dtype=float)), np.atleast_1d(np.asarray(amounts, dtype=float))
    )
    if not np.all(np.isfinite(amount)):
        raise RangeError("Every dated sum must be a finite number; one is not. Check the price behind it.")
    before, after = _between(day, ends_day)
    months, lead = ends_day.size, day.shape[:-1]
    rows = int(np.prod(lead))
    offset = np.arange(rows).reshape((*lead, 1)) * months
    slots = (before + offset).ravel()
    later = (amount * after).ravel()
    size = rows * months
    cash = np.bincount(slots, weights=amount.ravel() - later, minlength=size)
    cash += np.bincount(slots + 1, weights=later, minlength=size)
    return cash.reshape((*lead, months))


def spread_evenly(starts: ArrayLike, finishes: ArrayLike, amounts: ArrayLike, ends_day: Floats) -> Floats:
    """Put cash that flows evenly between two days on the months.

    The limit of `spread` for ever smaller sums: exact, and without a step when either day moves.

    Parameters
    ----------
    starts, finishes : float or array, shape (..., n)
        Days between which each sum flows; equal days are one payment. [days from start on site]
    amounts : float or array, shape (..., n)
        The sums; all three are broadcast. [money]
    ends_day : array, shape (months,)
        Month-ends of the grid, rising. [days]

    Returns
    -------
    array, shape (..., months)
        Money of each month. [money]

    Raises
    ------
    RangeError
        If a finish comes before its start, a day lies outside the grid, or a figure is not finite.

    Examples
    --------
    >>> spread_evenly([0.0], [60.0], [120.0], np.array([0.0, 30.0, 60.0])).tolist()
    [30.0, 60.0, 30.0]
    """
    start, finish, amount = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(item, dtype=float)) for item in (starts, finishes, amounts))
    )
    if np.any(finish < start):
        worst = int(np.argmax(start - finish))
        raise RangeError(
            f"Money cannot flow from day {start.flat[worst]:g} back to day {finish.flat[worst]:g}. "
            "Give the start first."
        )
    if not np.all(np.isfinite(amount)):
        raise RangeError("Every dated sum must be a finite number; one is not. Check the price behind it.")
    _inside(start, ends_day)
    _inside(finish, ends_day)
    lead, spans = start.shape[:-1], start.shape[-1]
    rows = int(np.prod(lead))
    cash = np.zeros((rows, ends_day.size))
    begin, end, money = (np.ascontiguousarray(item).reshape(rows, spans) for item in (start, finish, amount))
    _flow(begin, end, money, ends_day, cash)
    return cash.reshape((*lead, ends_day.size))


@compiled
def _flow(start: Floats, finish: Floats, amount: Floats, ends_day: Floats, cash: Floats) -> None:
    """Add even flows to the months; shapes (rows, spans), and (rows, months) for `cash`.

    Within one month a flow from share a to share b of it gives (b^2 - a^2) / 2 to the month-end after it.
    """
    last = ends_day.size - 2
    for row in range(start.shape[0]):
        for span in range(start.shape[1]):
            begin, end, money = start[row, span], finish[row, span], amount[row, span]
            short = end - begin < _SHORTEST_SPAN_DAYS
            if short:
                begin = end = (begin + end) / 2
            month = min(max(np.searchsorted(ends_day, begin, side="right") - 1, 0), last)
            if short:
                after = money * (begin - ends_day[month]) / (ends_day[month + 1] - ends_day[month])
                cash[row, month] += money - after
                cash[row, month + 1] += after
                continue
            pace = money / (end - begin)
            while month <= last and ends_day[month] < end:
                gap = ends_day[month + 1] - ends_day[month]
                a = max((begin - ends_day[month]) / gap, 0.0)
                b = min((end - ends_day[month]) / gap, 1.0)
                later = gap * (b * b - a * a) / 2
                cash[row, month] += pace * (gap * (b - a) - later)
                cash[row, month + 1] += pace * later
                month += 1


def _between(day: Floats, ends_day: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Return the month-end before each day, and the share that belongs to the one after it."""
    _inside(day, ends_day)
    before = np.clip(np.searchsorted(ends_day, day, side="right") - 1, 0, ends_day.size - 2)
    after = (day - ends_day[before]) / (ends_day[before + 1] - ends_day[before])
    return before.astype(np.int64), after


def _inside(day: Floats, ends_day: Floats) -> None:
    """Refuse a grid that does not rise, and days outside it."""
    if ends_day.ndim != 1 or ends_day.size < 2 or np.any(np.diff(ends_day) <= 0):
        raise RangeError(
            "A grid needs two month-ends or more, each later than the one before; "
            f"got {ends_day.size}. Make the grid with grid_for."
        )
    inside = (day >= ends_day[0]) & (day <= ends_day[-1])
    if not np.all(inside):
        found = float(day[~inside].flat[0])
        raise RangeError(
            f"Money is dated day {found:g}, outside the months counted, days {ends_day[0]:g} to "
            f"{ends_day[-1]:g}. Make the grid long enough to hold every payment and receipt."
        )
