"""Is it worth it: present value, rates of return, profit over cost?

The first flow is never discounted. Hurdles are effective rates a year, loans nominal ones; the two
are turned into a month differently (`monthly_hurdle`, and the nominal rate over 12). Flows that
change sign more than once, as a late retention makes them, may have several rates of return: every
rate within a stated range is found, and one is reported only where it is the only one.

Nothing here knows what the flows are. Rates are shares. Functions said to take rows work on the last
axis, the months, and take any axes before it.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy_financial as npf
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError

Floats = NDArray[np.float64]

SCAN_LOW: Final = -0.05
SCAN_HIGH: Final = 0.20
"""Range of monthly rates searched for a rate of return. [-, a month]"""

SCAN_POINTS: Final = 501

_MOST_STEPS: Final = 60
_ROWS_AT_ONCE: Final = 2000
_SAME_ROOT: Final = 1e-9


def effective_rate(nominal: float, periods: int = 12) -> float:
    """Return the effective annual rate of a nominal one that is compounded within the year.

    Parameters
    ----------
    nominal : float
        Nominal rate. [-, a year]
    periods : int
        Times a year interest is added. [no., >= 1]

    Returns
    -------
    float
        Effective rate. [-, a year]

    Examples
    --------
    >>> round(effective_rate(0.1, 4), 12)
    0.103812890625
    """
    _periods_check(periods)
    return float((1 + nominal / periods) ** periods - 1)


def nominal_rate(effective: float, periods: int = 12) -> float:
    """Return the nominal annual rate that compounds to an effective one; inverse of `effective_rate`.

    Parameters
    ----------
    effective : float
        Effective rate. [-, a year, > -1]
    periods : int
        Times a year interest is added. [no., >= 1]

    Returns
    -------
    float
        Nominal rate. [-, a year]

    Examples
    --------
    >>> round(nominal_rate(0.025, 12), 10)
    0.0247180352
    """
    _periods_check(periods)
    return float(periods * ((1 + _above_total_loss(effective)) ** (1 / periods) - 1))


def monthly_hurdle(annual_effective: ArrayLike) -> Floats:
    """Return the rate a month that compounds to an effective annual hurdle.

    Parameters
    ----------
    annual_effective : float or array
        Hurdle. [-, a year, > -1]

    Returns
    -------
    array
        Rate. [-, a month]

    Examples
    --------
    >>> round(float(monthly_hurdle(0.10)), 9)
    0.00797414
    """
    return np.asarray((1 + _above_total_loss(annual_effective)) ** (1 / 12) - 1)


def discount_factor(annual_effective: ArrayLike, months: ArrayLike) -> Floats:
    """Return the present worth of one, received some months from now.

    Parameters
    ----------
    annual_effective : float or array
        Effective rate. [-, a year, > -1]
    months : float or array
        Time from now. [months]

    Returns
    -------
    array
        Factor. [-]

    References
    ----------
    HM Treasury, *The Green Book*, annex 6: factors at 3.5 % for whole years.

    Examples
    --------
    >>> round(float(discount_factor(0.035, 120)), 4)
    0.7089
    """
    return np.asarray((1 + _above_total_loss(annual_effective)) ** (-np.asarray(months, float) / 12))


def npv(flows: ArrayLike, annual_effective: ArrayLike) -> Floats:
    """Return net present value at the first month, which is not discounted.

    Parameters
    ----------
    flows : array, shape (..., months)
        Receipts less costs of each month. [money]
    annual_effective : float or array, shape (...)
        Hurdle, an effective rate. [-, a year, > -1]

    Returns
    -------
    array, shape (...)
        Net present value. [money]

    Notes
    -----
    A spreadsheet's NPV() discounts the first flow by one period; this is that figure times one plus
    the rate. One row goes through numpy-financial, many through a product with the factors.

    Examples
    --------
    >>> round(float(npv([-100.0] + [0.0] * 11 + [121.0], 0.10)), 9)
    10.0
    """
    flow = _checked(flows)
    rate = np.asarray(annual_effective, dtype=float)
    if flow.ndim == 1 and rate.ndim == 0:
        return np.asarray(npf.npv(float(monthly_hurdle(rate)), flow), dtype=float)
    months = np.arange(flow.shape[-1])
    if rate.ndim == 0:
        return np.asarray(flow @ discount_factor(rate, months))
    return np.asarray((flow * discount_factor(rate[..., np.newaxis], months)).sum(axis=-1))


def npv_dated(days: ArrayLike, amounts: ArrayLike, annual_effective: float) -> float:
    """Return net present value of dated flows at the first of them, actual days over 365.

    Parameters
    ----------
    days : array, shape (n,)
        Day of each flow, on any count of days; the first named is the date of the value. [days]
    amounts : array, shape (n,)
        The flows. [money]
    annual_effective : float
        Effective rate. [-, a year, > -1]

    Returns
    -------
    float
        Net present value. [money]

    References
    ----------
    OASIS, *Open Document Format*, OpenFormula: XNPV.

    Examples
    --------
    >>> round(npv_dated([0.0, 365.0], [-100.0, 121.0], 0.10), 9)
    10.0
    """
    day, amount = np.asarray(days, dtype=float), _checked(amounts)
    if day.shape != amount.shape or day.ndim != 1 or not np.all(np.isfinite(day)):
        raise RangeError(
            f"Every dated flow needs one day; got {day.size} days for {amount.size} flows. Give one of each."
        )
    growth = 1 + _above_total_loss(annual_effective)
    return float(amount @ growth ** (-(day - day[0]) / 365))


def irr_roots(flows: ArrayLike, low: float = SCAN_LOW, high: float = SCAN_HIGH) -> tuple[float, ...]:
    """Return every rate a month at which the flows are worth nothing.

    Parameters
    ----------
    flows : array, shape (months,)
        Receipts less costs. [money]
    low, high : float
        Range searched, in `SCAN_POINTS` steps. [-, a month, > -1]

    Returns
    -------
    tuple of float
        Rates at which the present value changes sign, rising. [-, a month]

    Notes
    -----
    Two rates within one step of the search, or one at which the value only touches nothing, are not
    seen.

    Examples
    --------
    >>> [round(rate, 9) for rate in irr_roots([-1000.0, 2300.0, -1320.0])]
    [0.1, 0.2]
    """
    flow = _checked(flows)
    if flow.ndim != 1:
        raise RangeError(f"One row of flows is asked for; got shape {flow.shape}. Use irr_many for many.")
    rates = _scan_rates(low, high)
    crossings = np.flatnonzero(_crossings(flow[np.newaxis], rates)[0])
    rows = np.repeat(flow[np.newaxis], crossings.size, axis=0)
    return tuple(float(rate) for rate in _refine(rows, rates[crossings], rates[crossings + 1]))


def irr_annual_effective(flows: ArrayLike) -> tuple[float | None, str]:
    """Return the internal rate of return, effective a year, or the reason why there is none to show.

    Parameters
    ----------
    flows : array, shape (months,)
        Receipts less costs. [money]

    Returns
    -------
    rate : float or None
        The rate, where exactly one was found. [-, a year]
    reason : str
        Empty with a rate; else a sentence that says why not, naming every rate found.

    Notes
    -----
    The figure shown is numpy-financial's, which takes the root nearest nothing; where a root outside
    the range searched lies nearer, the one found by the search is shown.

    Examples
    --------
    >>> rate, reason = irr_annual_effective([-100.0] + [0.0] * 11 + [112.0])
    >>> round(rate, 9), reason
    (0.12, '')
    """
    flow = _checked(flows)
    roots = irr_roots(flow)
    if not (np.any(flow > 0) and np.any(flow < 0)):
        kind = "payments" if np.any(flow < 0) else "receipts" if np.any(flow > 0) else "nothing"
        return None, f"There is no rate of return: the flows are {kind} throughout."
    if not roots:
        return None, (
            f"There is no rate of return between {SCAN_LOW:.0%} and {SCAN_HIGH:.0%} a month. "
            "Read the profit and the present value instead."
        )
    if len(roots) > 1:
        found = ", ".join(f"{annual(root):.2%}" for root in roots)
        return None, (
            f"There are {len(roots)} rates of return, {found} a year, because the flows change sign more "
            "than once. Read the present value and the modified rate instead."
        )
    shown = float(npf.irr(flow))
    return annual(shown if abs(shown - roots[0]) < _SAME_ROOT else roots[0]), ""


def irr_many(flows: ArrayLike) -> np.ma.MaskedArray[Any, np.dtype[np.float64]]:
    """Return the internal rate of return of many rows; masked where there is none, or several.

    Parameters
    ----------
    flows : array, shape (..., months)
        Receipts less costs. [money]

    Returns
    -------
    masked array, shape (...)
        Effective rate; masked exactly where `irr_annual_effective` gives a reason. [-, a year]

    Examples
    --------
    >>> irr_many([[-100.0, 101.0], [100.0, 101.0]]).mask.tolist()
    [False, True]
    """
    flow = _checked(flows)
    rows = flow.reshape(-1, flow.shape[-1])
    rates = _scan_rates(SCAN_LOW, SCAN_HIGH)
    monthly = np.zeros(rows.shape[0])
    single = np.zeros(rows.shape[0], dtype=bool)
    for first in range(0, rows.shape[0], _ROWS_AT_ONCE):
        part = slice(first, first + _ROWS_AT_ONCE)
        crossings = _crossings(rows[part], rates)
        one = crossings.sum(axis=1) == 1
        at = crossings.argmax(axis=1)[one]
        single[part] = one
        monthly[np.flatnonzero(one) + first] = _refine(rows[part][one], rates[at], rates[at + 1])
    return np.ma.MaskedArray(
        ((1 + monthly) ** 12 - 1).reshape(flow.shape[:-1]), mask=~single.reshape(flow.shape[:-1])
    )


def annual(monthly_rate: float) -> float:
    """Return the effective rate a year of a rate a month.

    Examples
    --------
    >>> round(annual(0.01), 9)
    0.12682503
    """
    return float((1 + monthly_rate) ** 12 - 1)


def mirr(flows: ArrayLike, finance_rate: float, reinvest_rate: float) -> float:
    """Return the modified internal rate of return, which is always single.

    Parameters
    ----------
    flows : array, shape (periods,)
        Receipts less costs. [money]
    finance_rate, reinvest_rate : float
        Rates at which payments are brought back, and receipts carried forward. [-, a period, > -1]

    Returns
    -------
    float
        Rate. [-, a period]

    Raises
    ------
    RangeError
        If the flows are all payments or all receipts.

    References
    ----------
    OASIS, *Open Document Format*, OpenFormula: MIRR.

    Examples
    --------
    >>> round(mirr([-100.0, 0.0, 121.0], 0.05, 0.05), 9)
    0.1
    """
    flow = _checked(flows)
    _above_total_loss([finance_rate, reinvest_rate])
    if flow.ndim != 1 or not (np.any(flow > 0) and np.any(flow < 0)):
        raise RangeError(
            "A modified rate of return needs a payment and a receipt in one row of flows; got only one kind. "
            "Read the profit instead."
        )
    return float(npf.mirr(flow, finance_rate, reinvest_rate))


def profit_on_cost(profit: ArrayLike, cost: ArrayLike) -> Floats:
    """Return profit over all costs, finance included.

    Parameters
    ----------
    profit, cost : float or array
        Profit, and all costs with interest and fees. [money; cost > 0]

    Returns
    -------
    array
        Share. [-]

    Examples
    --------
    >>> float(profit_on_cost(20.0, 100.0))
    0.2
    """
    return _over(profit, cost, "Cost")


def profit_on_value(profit: ArrayLike, value: ArrayLike) -> Floats:
    """Return profit over development value, the receipts before the costs of selling.

    Parameters
    ----------
    profit, value : float or array
        Profit, and gross development value. [money; value > 0]

    Returns
    -------
    array
        Share. [-]

    Examples
    --------
    >>> float(profit_on_value(20.0, 100.0))
    0.2
    """
    return _over(profit, value, "Development value")


def peak(balance: ArrayLike) -> Floats:
    """Return the highest balance over the months, 0 if none is above it.

    Parameters
    ----------
    balance : array, shape (..., months)
        Balance of each month. [money]

    Returns
    -------
    array, shape (...)
        Highest. [money]

    Examples
    --------
    >>> float(peak([0.0, 3.0, 1.0]))
    3.0
    """
    return np.asarray(_checked(balance).max(axis=-1, initial=0.0))


def _over(part: ArrayLike, whole: ArrayLike, name: str) -> Floats:
    below = np.asarray(whole, dtype=float)
    if np.any(~(below > 0)):
        raise RangeError(
            f"{name} must be above 0 to set a profit against it; got {below.min():g}. "
            "Check the cost and price inputs."
        )
    return np.asarray(np.asarray(part, dtype=float) / below)


def _checked(flows: ArrayLike) -> Floats:
    flow = np.asarray(flows, dtype=float)
    if flow.ndim == 0 or flow.shape[-1] == 0:
        raise RangeError("Flows need at least one month; got none. Give one figure a month.")
    if not np.all(np.isfinite(flow)):
        raise RangeError("Every flow must be a finite number; one is not. Check the price behind it.")
    return flow


def _above_total_loss(rate: ArrayLike) -> Floats:
    given = np.asarray(rate, dtype=float)
    if not np.all(given > -1) or not np.all(np.isfinite(given)):
        raise RangeError(
            f"A rate must lie above -1, the loss of everything; got {given.min():g}. "
            "Write ten per cent as 0.10."
        )
    return given


def _periods_check(periods: int) -> None:
    if periods < 1:
        raise RangeError(f"Interest must be added at least once a year; got {periods}. Give 12 for monthly.")


def _scan_rates(low: float, high: float) -> Floats:
    _above_total_loss([low, high])
    if low >= high:
        raise RangeError(f"The search must run from a lower rate to a higher; got {low:g} to {high:g}.")
    return np.linspace(low, high, SCAN_POINTS)


def _crossings(rows: Floats, rates: Floats) -> NDArray[np.bool_]:
    """Return, per row and step of the search, whether the present value changes sign in it."""
    worth = rows @ (1 + rates) ** -np.arange(rows.shape[1])[:, np.newaxis]
    above = worth > 0
    nothing = ~rows.any(axis=1, keepdims=True)
    return np.asarray((above[:, 1:] != above[:, :-1]) & ~nothing)


def _refine(rows: Floats, low: Floats, high: Floats) -> Floats:
    """Close in on the root between two rates: Newton's step while it stays inside, else halving."""
    low, high = low.copy(), high.copy()
    low_above = _worth(rows, low)[0] > 0
    rate = (low + high) / 2
    for _ in range(_MOST_STEPS):
        worth, slope = _worth(rows, rate)
        same = (worth > 0) == low_above
        low, high = np.where(same, rate, low), np.where(same, high, rate)
        step = np.divide(worth, slope, out=np.full_like(worth, np.inf), where=slope != 0)
        after = rate - step
        after = np.where((after >= low) & (after <= high), after, (low + high) / 2)
        moved = np.abs(after - rate)
        rate = after
        if np.all(moved <= 4 * np.finfo(float).eps * (1 + np.abs(rate))):
            break
    return rate


def _worth(rows: Floats, rate: Floats) -> tuple[Floats, Floats]:
    """Return the present value of each row at its own rate, and its slope, by Horner's rule."""
    factor = 1 / (1 + rate)
    worth, slope = np.zeros_like(factor), np.zeros_like(factor)
    for month in range(rows.shape[1] - 1, -1, -1):
        slope = slope * factor + worth
        worth = worth * factor + rows[:, month]
    return worth, -slope * factor**2
