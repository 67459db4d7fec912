"""How are figures, dates and differences written?

UK English, local date form, figures a reader can say aloud. Nothing here computes a result.
"""

from __future__ import annotations

import datetime as dt
import math


def money(amount: float, currency: str = "£") -> str:
    """Return a sum in a form to be read: 3 significant figures and a scale.

    Parameters
    ----------
    amount : float
        [currency units]
    currency : str
        Sign put before it.

    Examples
    --------
    >>> money(1_234_567), money(-45_600), money(0)
    ('£1.23m', '−£45.6k', '£0')
    """
    sign = "−" if amount < 0 and round(abs(amount)) > 0 else ""
    size = abs(amount)
    for limit, scale, unit in ((999_500_000, 1e9, "bn"), (999_500, 1e6, "m"), (999.5, 1e3, "k")):
        if size >= limit:
            return f"{sign}{currency}{_three(size / scale)}{unit}"
    return f"{sign}{currency}{size:,.0f}"


def _three(value: float) -> str:
    """Write a number below a thousand to three significant figures."""
    places = max(0, 2 - math.floor(math.log10(value))) if value > 0 else 0
    return f"{value:.{min(places, 2)}f}"


def day(date: dt.date) -> str:
    """Return a date as it is said. Example: ``day(date(2028, 5, 6))`` gives '6 May 2028'."""
    return f"{date.day} {date:%b} {date.year}"


def weeks(value: float) -> str:
    """Return a number of weeks, without its sign: '1 week', '4.5 weeks', 'less than a day'.

    Examples
    --------
    >>> weeks(1.0), weeks(-4.52), weeks(12.2)
    ('1 week', '4.5 weeks', '12 weeks')
    """
    size = abs(value)
    if size * 7 < 0.5:
        return "less than a day"
    if size < 0.95:
        days = round(size * 7)
        return f"{days} day{'' if days == 1 else 's'}"
    text = f"{size:.0f}" if size >= 9.95 else f"{size:.1f}".removesuffix(".0")
    return f"{text} week{'' if text == '1' else 's'}"


def sooner(value: float) -> str:
    """Return a difference of weeks in words: 'x sooner', 'x later' or 'at the same time'.

    Parameters
    ----------
    value : float
        Positive is sooner. [weeks]

    Examples
    --------
    >>> sooner(3.0), sooner(-3.0), sooner(0.0)
    ('3 weeks sooner', '3 weeks later', 'at the same time')
    """
    if abs(value) * 7 < 0.5:
        return "at the same time"
    return f"{weeks(value)} {'sooner' if value > 0 else 'later'}"
