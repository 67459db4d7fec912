"""Which dates are worked, and how much of each?

Date arithmetic in one place. An instant is a real number of days counted from 00:00 of the start
on site; date n is the interval [n, n + 1). A finish of exactly 12.0 belongs to date 11.

Bank holidays come from the `holidays` package; dates more than about two years ahead follow the
rules in force and are a forecast, since a government may proclaim or move a day.
"""

from __future__ import annotations

import datetime as dt
import math
from functools import lru_cache
from typing import Final

import holidays
import numpy as np
from numpy.typing import NDArray

HORIZON_DAYS: Final = 15 * 366
"""How far a programme may run before it is called impossible: 15 years. [days]"""

DAYS_PER_WEEK: Final = 7.0


@lru_cache(maxsize=64)
def bank_holidays(subdivision: str, first_year: int, last_year: int) -> frozenset[dt.date]:
    """Return the weekday bank holidays of a part of the United Kingdom.

    Parameters
    ----------
    subdivision : str
        ``ENG``, ``WLS``, ``SCT`` or ``NIR``.
    first_year, last_year : int
        Calendar years, both included.

    Returns
    -------
    frozenset of date
        Bank holidays falling on Monday to Friday, substitute days included.

    References
    ----------
    Banking and Financial Dealings Act 1971, schedule 1, through the `holidays` package.
    """
    found = holidays.country_holidays("GB", subdiv=subdivision, years=range(first_year, last_year + 1))
    return frozenset(day for day in found if day.weekday() < 5)


def christmas_closure(year: int) -> tuple[dt.date, dt.date]:
    """Return the Monday and the Friday that bound the winter closure starting in a year.

    The closure is the two whole Monday-to-Friday weeks that hold the Christmas, Boxing Day and
    New Year public holidays (substitute days included).

    Parameters
    ----------
    year : int
        Year of the Christmas in question.

    Returns
    -------
    tuple of date
        First Monday and last Friday of the closure.

    Notes
    -----
    Derived rule. It reproduces the closure reported for winter 2006/07 (Fri 22 Dec 2006 to
    Mon 8 Jan 2007); a contractor may choose another.
    """
    christmas = _observed(dt.date(year, 12, 25))
    first_monday = christmas - dt.timedelta(days=christmas.weekday())
    return first_monday, first_monday + dt.timedelta(days=11)


def _observed(day: dt.date) -> dt.date:
    """Move a Saturday or Sunday to the Monday after, as a substitute day is."""
    return day + dt.timedelta(days=(7 - day.weekday()) if day.weekday() > 4 else 0)


@lru_cache(maxsize=64)
def open_share(
    start: dt.date,
    days: int,
    subdivision: str,
    saturday_share: float,
    christmas: bool,
    extra_closed: tuple[dt.date, ...] = (),
    bank_holidays_closed: bool = True,
) -> NDArray[np.float64]:
    """Return, for every date, the share of a shift for which the site is open.

    Parameters
    ----------
    start : date
        Start on site; date 0.
    days : int
        Number of dates. [days]
    subdivision : str
        Part of the United Kingdom, for bank holidays.
    saturday_share : float
        Share of a shift worked on a Saturday. [-, 0 to 1]
    christmas : bool
        Whether the two-week winter closure is kept, with the Saturdays on either side of it.
    extra_closed : tuple of date
        Further closed dates.
    bank_holidays_closed : bool
        Whether bank holidays are closed.

    Returns
    -------
    array, shape (days,)
        1.0 on a full shift, 0.0 on a closed date. Not to be written to: it is shared.
    """
    dates = np.datetime64(start) + np.arange(days)
    weekday = (dates.astype("datetime64[D]").view("int64") - 4) % 7  # 1970-01-01 was a Thursday
    share = np.where(weekday < 5, 1.0, np.where(weekday == 5, saturday_share, 0.0))
    last_year = (start + dt.timedelta(days=days)).year
    closed: set[dt.date] = set(extra_closed)
    if bank_holidays_closed:
        closed |= bank_holidays(subdivision, start.year, last_year)
    if christmas:
        for year in range(start.year - 1, last_year + 1):
            monday, friday = christmas_closure(year)
            closed |= {monday + dt.timedelta(days=i) for i in range(-2, (friday - monday).days + 3)}
    offsets = [(day - start).days for day in closed]
    share[[i for i in offsets if 0 <= i < days]] = 0.0
    share.flags.writeable = False
    return share


def month_of_dates(start: dt.date, days: int) -> NDArray[np.int64]:
    """Return the month of every date, 0 for January.

    Parameters
    ----------
    start : date
        Date 0.
    days : int
        Number of dates.

    Returns
    -------
    array of int, shape (days,)
    """
    dates = np.datetime64(start) + np.arange(days)
    return dates.astype("datetime64[M]").astype("int64") % 12


def date_of(start: dt.date, finish: float) -> dt.date:
    """Return the date on which something that finishes at an instant is done.

    Parameters
    ----------
    start : date
        Start on site.
    finish : float
        Instant. [days from 00:00 of start on site]

    Returns
    -------
    date
        ``start + ceil(finish) - 1``, never before the start itself.
    """
    return start + dt.timedelta(days=max(math.ceil(finish - 1e-9) - 1, 0))


def monthly_anniversary(start: dt.date, months: int) -> dt.date:
    """Return the m-th monthly anniversary of a date, the day held within the month.

    Parameters
    ----------
    start : date
        Date of month 0.
    months : int
        Number of months after (before, if negative).

    Returns
    -------
    date
        For example 31 January plus one month is 28 or 29 February.
    """
    index = start.year * 12 + start.month - 1 + months
    year, month = divmod(index, 12)
    after = dt.date(year + (month == 11), (month + 1) % 12 + 1, 1)
    last = (after - dt.timedelta(days=1)).day
    return dt.date(year, month + 1, min(start.day, last))
