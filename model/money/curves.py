"""How is the money spent over time, and is that how building work is usually paid?

Cumulative spend as a share of the whole against time as a share of the whole. Three published curves,
the curve of any dated spend, and how far apart two curves are. A published curve is a thing to look at
twice, never a pass or a fail: a study of 27 projects found parameters fitted to a project about ten times
nearer than those by size (Construction Management and Economics 10(5), 1992, pp. 397-413), and a factory
paid in advance makes an early curve as it should.

Formulae only. Nothing here knows what a block, a panel or a programme is. Time and money are shares, 0
to 1, unless said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError

Floats = NDArray[np.float64]
Curve = Callable[[Floats], Floats]


class Dhss(NamedTuple):
    """Parameters of `dhss`. [-]"""

    c: float
    k: float


DHSS: Final = Dhss(0.134, 3.884)
"""For works of about 3.5m at 1978 prices: 29.3m in 2025. SEEN, a worked example of the method.

DHSS expenditure forecasting method, Chartered Surveyor, BQS Quarterly, 1978 (the citation is MEMORY).
"""

DHSS_3M: Final = Dhss(0.110, 3.980)
DHSS_4M: Final = Dhss(0.159, 3.780)
"""For works of 3.0m and 4.0m at 1978 prices. MEMORY; between them lies the worked example, `DHSS`."""

BAND: Final = 0.10
"""How far a programme's curve may lie from the published ones before a reader is told. [-] PRACTICE."""

GRID_POINTS: Final = 1001
"""Points at which two curves are compared."""

_ROUNDING: Final = 1e-9


def dhss(x: ArrayLike, c: float = DHSS.c, k: float = DHSS.k) -> Floats:
    r"""Return the cumulative spend of the health department's forecasting method.

    .. math:: y(x) = x + C x^2 - C x - (6x^3 - 9x^2 + 3x) / K

    Parameters
    ----------
    x : float or array, any shape
        Share of the time gone. [-, 0 to 1]
    c, k : float
        Parameters. [-; -1 < c < 1, k >= 3 / (1 - abs(c))]

    Returns
    -------
    array, same shape as `x`
        Share of the money spent, 0 at the start and 1 at the end. [-]

    Raises
    ------
    RangeError
        If a share of time is outside 0 to 1, or spend would run backwards at an end.

    Notes
    -----
    The rate of spend is a parabola open downwards, so it is nowhere below nothing if it is not so at the
    ends, which is what the least `k` sees to.

    References
    ----------
    DHSS expenditure forecasting method, Chartered Surveyor, BQS Quarterly, 1978.

    Examples
    --------
    >>> dhss([0.0, 0.25, 0.5, 1.0]).round(6).tolist()
    [0.0, 0.152463, 0.4665, 1.0]
    """
    share = _time_share(x)
    _parameters_check(c, k)
    return np.asarray(share + c * share**2 - c * share - (6 * share**3 - 9 * share**2 + 3 * share) / k)


def quarter_third(x: ArrayLike) -> Floats:
    """Return the cumulative spend of a quarter in the first third, half in the second, a quarter in the last.

    Parameters
    ----------
    x : float or array, any shape
        Share of the time gone. [-, 0 to 1]

    Returns
    -------
    array, same shape as `x`
        Share of the money spent. [-]

    Notes
    -----
    Parabolas at the ends, a straight line between (the form is MEMORY, the points at the thirds SEEN).

    References
    ----------
    *Project Finance for Construction*, 6.3.1.

    Examples
    --------
    >>> quarter_third([0.0, 1 / 6, 0.5, 1.0]).round(6).tolist()
    [0.0, 0.0625, 0.5, 1.0]
    """
    share = _time_share(x)
    early, late = 9 * share**2 / 4, 1 - 9 * (1 - share) ** 2 / 4
    middle = 3 * share / 2 - 1 / 4
    return np.asarray(np.where(share < 1 / 3, early, np.where(share > 2 / 3, late, middle)))


def cosine(x: ArrayLike) -> Floats:
    """Return half a wave of cumulative spend.

    Parameters
    ----------
    x : float or array, any shape
        Share of the time gone. [-, 0 to 1]

    Returns
    -------
    array, same shape as `x`
        Share of the money spent. [-]

    References
    ----------
    "The origins of the S curve in business functions", 2012: y = (1 - cos(pi x)) / 2.

    Examples
    --------
    >>> cosine([0.0, 1 / 3, 0.5, 1.0]).round(6).tolist()
    [0.0, 0.25, 0.5, 1.0]
    """
    return np.asarray((1 - np.cos(np.pi * _time_share(x))) / 2)


def mean_drawn_share(c: float = DHSS.c) -> float:
    """Return the share of the money drawn on average over the time, under `dhss`.

    Parameters
    ----------
    c : float
        Parameter C. K does not matter: its term adds nothing over the whole time. [-, -1 < c < 1]

    Returns
    -------
    float
        1/2 - C/6. Times the sum, the rate and the time: interest before it compounds. [-]

    Examples
    --------
    >>> round(mean_drawn_share(0.134), 4)
    0.4777
    """
    if not abs(c) < 1:
        raise RangeError(f"C must lie between -1 and 1; got {c:g}. Use the published 0.134, or leave it out.")
    return 1 / 2 - c / 6


@dataclass(frozen=True, eq=False)
class SpendCurve:
    """Cumulative spend, straight between its points.

    Attributes
    ----------
    time : array
        Share of the time gone, 0 to 1, not falling. [-]
    share : array
        Share of the money spent by then, the day's own payment included. [-]
    """

    time: Floats
    share: Floats

    def __call__(self, x: ArrayLike) -> Floats:
        """Return the share spent at shares of the time. [-]"""
        return np.asarray(np.interp(_time_share(x), self.time, self.share))

    @property
    def mean_drawn(self) -> float:
        """Share of the money drawn on average over the time; `mean_drawn_share` of this curve. [-]"""
        steps = (self.share[1:] + self.share[:-1]) / 2
        return float(steps @ np.diff(self.time))


def curve_of(days: ArrayLike, amounts: ArrayLike, start: float | None = None) -> SpendCurve:
    """Return the curve of dated spend, from its first payment to its last.

    Parameters
    ----------
    days : array, shape (n,)
        Day of each payment, in any order. [days]
    amounts : array, shape (n,)
        Payments; nothing before the first and after the last above 0 counts. [money, >= 0]
    start : float, optional
        Day from which time counts, where payments are of work done before them: the month-end before the
        first. By default the first payment, which then stands at the start. [days]

    Returns
    -------
    SpendCurve

    Raises
    ------
    RangeError
        If days and payments do not match, a payment is below 0, or there are not two days to draw a
        curve between.

    Notes
    -----
    Published curves are of work as it is valued, to completion. Leave out retention released after it:
    a year's wait for the last of it would make any curve look early.

    Examples
    --------
    >>> curve = curve_of([0, 10, 40], [1.0, 1.0, 2.0])
    >>> curve.time.tolist(), curve.share.tolist()
    ([0.0, 0.25, 1.0], [0.25, 0.5, 1.0])
    """
    day, paid = _dated(days, amounts)
    spent = np.cumsum(paid)
    begins = float(day[0]) if start is None else float(start)
    if start is not None and not (np.isfinite(start) and start < day[0]):
        raise RangeError(
            f"Spend is counted from day {start:g}, but the first payment falls on day {day[0]:g}. "
            "Give a day before it, or none."
        )
    if not day[-1] > begins:
        raise RangeError(
            f"A curve needs payments on two days at least; all of the money is paid on day {day[0]:g}. "
            "Give the payments of the whole job, or the day from which time counts."
        )
    time = (day - begins) / (day[-1] - begins)
    share = spent / spent[-1]
    if start is not None:
        time, share = np.append(0.0, time), np.append(0.0, share)
    return SpendCurve(time, share)


class Gap(NamedTuple):
    """Where two curves are furthest apart: by how much (above 0: the first is higher), and when. [-]"""

    size: float
    at: float


def widest_gap(spend: Curve, other: Curve, points: int = GRID_POINTS) -> Gap:
    """Return the widest gap between two curves, on a fine grid.

    Parameters
    ----------
    spend, other : callable
        A `SpendCurve` or a published curve: share of the money at shares of the time.
    points : int
        Points of the grid, both ends included. [no., >= 2]

    Returns
    -------
    Gap

    Examples
    --------
    >>> gap = widest_gap(quarter_third, dhss)
    >>> round(gap.size, 3), gap.at
    (0.062, 0.735)
    """
    x = _grid(points)
    gap = np.asarray(spend(x)) - np.asarray(other(x))
    widest = int(np.abs(gap).argmax())
    return Gap(float(gap[widest]), float(x[widest]))


def curve_note(spend: SpendCurve, band: float = BAND) -> str:
    """Return a sentence where spend leaves the band around both published curves, else nothing.

    Parameters
    ----------
    spend : SpendCurve
        Of the cost-loaded programme.
    band : float
        Width to either side. [-, > 0]

    Returns
    -------
    str
        Which way, when and by how much. A remark, not a fault.

    Examples
    --------
    >>> curve_note(curve_of([1, 2, 3, 4], [1.0, 2.0, 2.0, 1.0], start=0))
    ''
    """
    if not band > 0:
        raise RangeError(
            f"The band to either side of the published curves must be above 0; got {band:g}. "
            "Use 0.10 for ten points."
        )
    x = _grid(GRID_POINTS)
    ours, first, second = spend(x), dhss(x), quarter_third(x)
    ahead, behind = ours - np.maximum(first, second), np.minimum(first, second) - ours
    outside = np.maximum(ahead, behind)
    widest = int(outside.argmax())
    if outside[widest] <= band + _ROUNDING:
        return ""
    early = bool(ahead[widest] > behind[widest])
    return (
        f"Spend runs {'ahead of' if early else 'behind'} the usual course of building work: "
        f"{100 * ours[widest]:.0f} % of the money is paid when {100 * x[widest]:.0f} % of the time is gone, "
        f"against {100 * first[widest]:.0f} % and {100 * second[widest]:.0f} % on two published curves, "
        f"so outside the {100 * band:.0f} points to either side of both. "
        f"On average {100 * spend.mean_drawn:.0f} % is drawn, against {100 * mean_drawn_share():.0f} % "
        f"and 50 %, so interest comes out {'above' if spend.mean_drawn > 0.5 else 'below'} the rule of half "
        "the cost. "
        + (
            "Payments to a factory before its panels are fixed do this and are no fault."
            if early
            else "See whether costly work comes late, or whether early work or site costs are missing."
        )
    )


def _grid(points: int) -> Floats:
    if points < 2:
        raise RangeError(f"Curves are compared at two points at least; got {points}. Leave it out for 1,001.")
    return np.linspace(0.0, 1.0, points)


def _dated(days: ArrayLike, amounts: ArrayLike) -> tuple[Floats, Floats]:
    """Return the days from the first payment to the last, in order and each once, with what is paid."""
    day, paid = np.asarray(days, dtype=float), np.asarray(amounts, dtype=float)
    if day.ndim != 1 or day.shape != paid.shape:
        raise RangeError(
            f"Every payment needs one day; got {day.size} days for {paid.size} payments. Give one of each."
        )
    if not (np.all(np.isfinite(day)) and np.all(np.isfinite(paid))):
        raise RangeError(
            "Every day and payment must be a finite number; one is not. Check the price behind it."
        )
    if np.any(paid < 0):
        raise RangeError(
            f"Payments must not be below 0; got {paid.min():g}. Leave receipts out, and money returned."
        )
    if not np.any(paid > 0):
        raise RangeError(
            "There is nothing to draw a curve of: no payment is above 0. Give the spend of a job."
        )
    first, last = day[paid > 0].min(), day[paid > 0].max()
    inside = (day >= first) & (day <= last)
    each, place = np.unique(day[inside], return_inverse=True)
    return each, np.asarray(np.bincount(place, paid[inside]), dtype=float)


def _time_share(x: ArrayLike) -> Floats:
    share = np.asarray(x, dtype=float)
    if not np.all((share >= 0) & (share <= 1)):
        wrong = share[~((share >= 0) & (share <= 1))].flat[0]
        raise RangeError(
            f"A share of the time gone must be 0 to 1; got {wrong:g}. "
            "Divide the days gone by the days from the first payment to the last."
        )
    return share


def _parameters_check(c: float, k: float) -> None:
    if not abs(c) < 1:
        raise RangeError(f"C must lie between -1 and 1; got {c:g}. Use the published 0.134, or leave it out.")
    least = 3 / (1 - abs(c))
    if not (k >= least - _ROUNDING and np.isfinite(k)):
        raise RangeError(
            f"K must be {least:.4g} or more where C is {c:g}, or money would come back at an end of the job; "
            f"got {k:g}. Use the published pair 0.134 and 3.884, or leave both out."
        )
