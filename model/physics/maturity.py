"""Cold concrete: how many calendar days give the age it would have at 20 °C?

Air temperature stands in for that of the concrete, which is on the slow side for a thin slab: heat
of hydration, sun and enclosure are left out. Two rates are offered because they part in the cold:
the standard's (B.10) suits weeks, Sadgrove's is the more careful one for the first days. Published
supplier figures for striking at 5 °C agree with the second, so striking is timed by Sadgrove's and
prop release by B.10.

Temperatures in °C, ages and times in days.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError

Rate = Callable[[ArrayLike], NDArray[np.float64]]
"""Days of age at 20 °C gained in a day, as a function of temperature."""

B10_ACTIVATION_K: Final = 4000.0
B10_OFFSET: Final = 13.65
B10_KELVIN: Final = 273.0
"""Constants of EN 1992-1-1:2004, annex B, exp. (B.10); they give 0.9981 at 20 °C, not 1."""

SADGROVE_DATUM_DEGC: Final = -16.0
"""Temperature at which Sadgrove's rate is nil. CIRIA Report 136 (1995), appendix (recalled). [°C]"""

LEAST_DEGC: Final = 0.0
GREATEST_DEGC: Final = 80.0
"""Range of EN 1992-1-1:2004, annex B, B.1(3); Sadgrove's rule is held to the same. [°C]"""

MONTH_DAYS: Final = (31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0)
"""Mean length of the months of a year of 365.25 days. [days]"""

YEAR_DAYS: Final = 365.25

_LENGTHS: Final = np.array(MONTH_DAYS)
_STARTS: Final = np.concatenate(([0.0], np.cumsum(_LENGTHS)[:-1]))
_MIDS: Final = _STARTS + _LENGTHS / 2.0


def rate_b10(temperature_degc: ArrayLike) -> NDArray[np.float64]:
    r"""Days of 20 °C age gained in a day, by the standard.

    .. math:: \exp\{-[4000 / (273 + T) - 13.65]\}

    Parameters
    ----------
    temperature_degc : float or array, any shape
        Temperature of the concrete. [°C, 0 to 80]

    Returns
    -------
    array, same shape
        [-]

    Raises
    ------
    RangeError
        Outside 0 to 80 °C.

    References
    ----------
    EN 1992-1-1:2004, annex B, exp. (B.10); the same exponent in the fib Model Code 2010.

    Examples
    --------
    >>> round(float(rate_b10(5)), 4)
    0.4778
    """
    temperature = _checked(temperature_degc)
    return np.asarray(np.exp(B10_OFFSET - B10_ACTIVATION_K / (B10_KELVIN + temperature)))


def rate_sadgrove(temperature_degc: ArrayLike) -> NDArray[np.float64]:
    r"""Days of 20 °C age gained in a day, by Sadgrove's rule.

    .. math:: [(T + 16) / 36]^2

    Parameters
    ----------
    temperature_degc : float or array, any shape
        Temperature of the concrete. [°C, 0 to 80]

    Returns
    -------
    array, same shape
        1.0 at 20 °C; below B.10 in the cold. [-]

    Raises
    ------
    RangeError
        Outside 0 to 80 °C.

    References
    ----------
    CIRIA Report 136, *Formwork striking times*, 1995, appendix (formula recalled).
    """
    temperature = _checked(temperature_degc)
    return np.asarray(((temperature - SADGROVE_DATUM_DEGC) / (20.0 - SADGROVE_DATUM_DEGC)) ** 2)


def equivalent_age(temperatures_degc: ArrayLike, durations_days: ArrayLike, rate: Rate = rate_b10) -> float:
    """Age at 20 °C reached after a run of temperatures.

    Parameters
    ----------
    temperatures_degc, durations_days : array, same shape
        Temperature [°C] and how long it lasts [days, >= 0].
    rate : function
        `rate_b10` or `rate_sadgrove`.

    Returns
    -------
    float
        [days at 20 °C]

    Raises
    ------
    RangeError
        If the two differ in length or a duration is negative.

    References
    ----------
    EN 1992-1-1:2004, annex B, exp. (B.10).
    """
    temperatures = np.atleast_1d(np.asarray(temperatures_degc, dtype=float))
    durations = np.atleast_1d(np.asarray(durations_days, dtype=float))
    if temperatures.shape != durations.shape:
        raise RangeError(
            f"Each temperature needs one duration; got {temperatures.size} temperatures and "
            f"{durations.size} durations. Give both lists the same length."
        )
    if not np.all(durations >= 0):
        raise RangeError(
            f"A duration must be 0 days or more; got {float(durations.min()):g}. Give times forwards."
        )
    return float(np.sum(rate(temperatures) * durations))


def daily_temperature(monthly_mean_degc: ArrayLike, first_date: dt.date, days: int) -> NDArray[np.float64]:
    """Mean temperature expected on each date: a straight line from mid-month to mid-month.

    Parameters
    ----------
    monthly_mean_degc : array, shape (12,)
        Mean temperature of January to December. [°C]
    first_date : date
        First date wanted.
    days : int
        How many dates. [>= 1]

    Returns
    -------
    array, shape (days,)
        Temperature at noon of each date, in a year of 365.25 days. [°C]

    Raises
    ------
    RangeError
        If there are not twelve finite means, or no dates.
    """
    means = _twelve(monthly_mean_degc)
    _check_dates(days)
    dates = np.datetime64(first_date, "D") + np.arange(days)
    months = dates.astype("datetime64[M]")
    first = months.astype("datetime64[D]")
    length = ((months + 1).astype("datetime64[D]") - first).astype(np.int64)
    gone = ((dates - first).astype(np.int64) + 0.5) / length
    month = months.astype(np.int64) % 12
    return np.asarray(np.interp(_STARTS[month] + gone * _LENGTHS[month], _MIDS, means, period=YEAR_DAYS))


def days_to_age(
    monthly_mean_degc: ArrayLike, first_date: dt.date, days: int, age20_days: float, rate: Rate = rate_b10
) -> NDArray[np.float64]:
    """Calendar days until concrete poured at 00:00 of each date has an age at 20 °C.

    Parameters
    ----------
    monthly_mean_degc : array, shape (12,)
        Mean air temperature of January to December. [°C, 0 to 80]
    first_date : date
        First date of pour.
    days : int
        How many dates.
    age20_days : float
        Age wanted, from `model.physics.concrete.age_at_ratio`. [days at 20 °C, > 0]
    rate : function
        `rate_b10` for the release of props, `rate_sadgrove` for striking.

    Returns
    -------
    array, shape (days,)
        [calendar days]

    Raises
    ------
    RangeError
        If the age is not above zero, or a month lies outside the range of the rate.

    Notes
    -----
    The temperature is constant within a date. Age is summed over the horizon once, and the date on
    which each pour has gained enough is read back from that sum.

    Examples
    --------
    At a steady 20 °C Sadgrove's age is the calendar's:

    >>> float(days_to_age([20.0] * 12, dt.date(2026, 7, 1), 1, 3.0, rate_sadgrove)[0])
    3.0
    """
    if not (age20_days > 0 and math.isfinite(age20_days)):
        raise RangeError(
            f"The age wanted must be above 0 days at 20 °C; got {age20_days:g}. "
            "Take it from a strength ratio above 0."
        )
    _check_dates(days)
    slowest = float(rate(_twelve(monthly_mean_degc)).min())
    beyond = math.ceil(age20_days / slowest) + 1
    gained = np.concatenate(
        ([0.0], np.cumsum(rate(daily_temperature(monthly_mean_degc, first_date, days + beyond))))
    )
    pours = np.arange(days, dtype=float)
    reached = np.interp(gained[:days] + age20_days, gained, np.arange(gained.size, dtype=float))
    return np.asarray(reached - pours)


def _check_dates(days: int) -> None:
    if days < 1:
        raise RangeError(f"At least 1 date is needed; got {days}. Give the length of the horizon in days.")


def _twelve(monthly: ArrayLike) -> NDArray[np.float64]:
    means = np.asarray(monthly, dtype=float)
    if means.shape != (12,) or not np.all(np.isfinite(means)):
        raise RangeError(
            f"Twelve monthly mean temperatures are needed, January first; got {means.size} values "
            f"of which {int(np.isfinite(means).sum())} are numbers. Fill in every month."
        )
    return means


def _checked(temperature_degc: ArrayLike) -> NDArray[np.float64]:
    temperature = np.asarray(temperature_degc, dtype=float)
    outside = temperature[~((temperature >= LEAST_DEGC) & (temperature <= GREATEST_DEGC))]
    if outside.size:
        raise RangeError(
            f"Concrete hardens by these rules from 0 to 80 °C; got {float(outside[0]):g}. "
            "Below that it may freeze: protect or heat it, and give the temperature it is kept at."
        )
    return temperature
