"""What weather does each date get, in one run of many?

Expected conditions give every date of a month the same share of a shift and of the hook's hours. Here each
date is drawn: work of a class goes on as in the week or is lost whole, and the wind of the date decides
how many hook hours are flown. Wet or cold dates follow each other, and so do windy ones.

Over many draws every date keeps its expected share, for every class of work and both classes of lift, so
that what risk adds is spread and order, never a second allowance for weather. Classes are nested: a date
lost to a class that loses little is lost to all that lose more; hours fit for large loads are fit for
ordinary ones; and all cranes stand in the same wind.

What stays as expected: the week and its holidays, hoists, the days that young concrete takes (monthly mean
temperature), and every mean that gangs and order were settled by. A date lost to rain still has its hook
hours, as in expected conditions: wind acts on the hook, rain and frost on the work. Years that are wet or
windy from end to end are not drawn beyond what such sequences make of themselves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from model.core.calendar import HORIZON_DAYS
from model.core.compiled import compiled
from model.core.errors import RangeError
from model.programme.conditions import Conditions
from model.risk.sampling import generator

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Latent:
    """Random numbers of one draw, before any persistence; the same for every method.

    Attributes
    ----------
    noise : array, shape (days, 2)
        Independent normal scores by date: of rain and cold, and of wind. [-]
    """

    noise: Floats

    @property
    def days(self) -> int:
        """Dates drawn."""
        return int(self.noise.shape[0])


@dataclass(frozen=True, eq=False)
class WeatherParts:
    """What a method's weather is drawn by; not to be written to.

    Attributes
    ----------
    rain_persistence, wind_persistence : float
        Correlation of a date's score with that of the date before. [0 to below 1]
    together, noise_together : float
        Correlation of the two scores of a date, and of what is new in them. [-1 to 1]
    within : float
        Slope of an hour's wind on the date's, scores, over what is left to the hour. [-, >= 0]
    lost_above : array, shape (calendars, dates)
        Score of rain and cold above which the date is lost; infinite where nothing is lost.
    calm_ordinary, calm_large : array, shape (cranes, dates)
        Score of an hour's wind up to which loads fly, over what is left to the hour.
    evening : array, shape (cranes, dates)
        Hook hours of evening loading-out if there were no wind. [h]
    """

    rain_persistence: float
    wind_persistence: float
    together: float
    noise_together: float
    within: float
    lost_above: Floats
    calm_ordinary: Floats
    calm_large: Floats
    evening: Floats

    @property
    def dates(self) -> int:
        """Dates that may be drawn."""
        return int(self.lost_above.shape[1])


def weather_parts(
    expected: Conditions, values: Mapping[str, float], dates: int = HORIZON_DAYS
) -> WeatherParts:
    """Prepare the drawing of weather about expected conditions.

    Parameters
    ----------
    expected : Conditions
        Of one method.
    values : mapping of str to float
        That method's own values: the records ``risk.rain`` and ``risk.wind``.
    dates : int
        Dates that may be drawn; those after keep what is expected. [>= 1]

    Returns
    -------
    WeatherParts

    Raises
    ------
    RangeError
        If a persistence, a correlation or the number of dates is out of range.

    Notes
    -----
    Everything is read off the expected conditions themselves: what share of the open week each class
    is expected to keep, what share of paid hook hours to be flown. So the mean of the draws is what was
    expected whatever rule that came from.
    """
    if dates < 1:
        raise RangeError(f"Weather is drawn for one date or more; got {dates}. Give the dates that matter.")
    rain, wind = (_persistence(values, f"risk.{name}.persistence") for name in ("rain", "wind"))
    together = values["risk.wind.with_rain"]
    most = math.sqrt((1.0 - rain**2) * (1.0 - wind**2)) / (1.0 - rain * wind)
    if not -most <= together <= most:
        raise RangeError(
            f"risk.wind.with_rain must be {-most:.2f} to {most:.2f} where rain persists by {rain:g} and wind "
            f"by {wind:g}; got {together:g}. Scores that persist unequally cannot go together more closely."
        )
    of_date = values["risk.wind.of_date"]
    if not 0.0 <= of_date < 1.0:
        raise RangeError(
            f"risk.wind.of_date must be 0 or more and below 1; got {of_date:g}. "
            "It is the share of the hourly wind's spread that a whole date has in common."
        )
    left = 1.0 / math.sqrt(1.0 - of_date)
    at = slice(0, dates)
    week, paid = expected.open_week[at], expected.hook_paid[:, at]
    flown = _of(expected.hook_ordinary[:, at], paid)
    evening = _of(expected.hook_evening[:, at], np.where(flown > 0, flown, 1.0), most=math.inf)
    return WeatherParts(
        rain_persistence=rain,
        wind_persistence=wind,
        together=together,
        noise_together=together / most,
        within=math.sqrt(of_date) * left,
        lost_above=_score(_of(expected.share[:, at], week)),
        calm_ordinary=_score(flown) * left,
        calm_large=_score(np.minimum(_of(expected.hook_large[:, at], paid), flown)) * left,
        evening=evening,
    )


def latent_weather(seed: int, draw: int, days: int) -> Latent:
    """Draw the random numbers of one draw's weather, to be shared by every method.

    Parameters
    ----------
    seed : int
        Seed of the whole run. [>= 0]
    draw : int
        Number of the draw. [>= 0]
    days : int
        Dates. [>= 1]

    Returns
    -------
    Latent
        Equal arguments give equal bytes, in whatever order and on whatever thread; fewer days are the
        first of more.

    Raises
    ------
    RangeError
        If seed or draw are below zero or there are no days.
    """
    if days < 1:
        raise RangeError(f"Weather is drawn for one date or more; got {days}. Give the dates that matter.")
    return Latent(generator(seed, "weather", draw).standard_normal((days, 2)))


def scores(parts: WeatherParts, latent: Latent) -> Floats:
    r"""Scores of rain and cold, and of wind, by date: each persists, and the two go together.

    .. math:: z_t = \rho z_{t-1} + \sqrt{1 - \rho^2}\, e_t

    Parameters
    ----------
    parts : WeatherParts
    latent : Latent

    Returns
    -------
    array, shape (2, dates)
        Standard normal on every date; as many dates as both arguments hold.
    """
    noise = latent.noise[: parts.dates]
    return np.asarray(
        _persistent(
            noise, parts.rain_persistence, parts.wind_persistence, parts.together, parts.noise_together
        )
    )


def conditions_of(expected: Conditions, parts: WeatherParts, latent: Latent) -> Conditions:
    r"""Return the conditions of one draw.

    A date is lost to a class of work where its score of rain and cold passes the class's own limit. The
    share of hook hours flown is

    .. math:: \Phi\big((t - \sqrt{c}\,z) / \sqrt{1 - c}\big), \quad \Phi(t) = \text{share expected}

    with z the date's score of wind and c the share of the hourly wind's spread that belongs to the date:
    hourly winds keep the distribution that the expected hours came from (a Gaussian copula), so
    that the mean over draws is the expected share exactly.

    Parameters
    ----------
    expected : Conditions
        The method's expected conditions, from which `parts` were prepared.
    parts : WeatherParts
    latent : Latent
        Shared by the methods.

    Returns
    -------
    Conditions
        Drawn on as many dates as both `parts` and `latent` hold; as expected after.

    Raises
    ------
    RangeError
        If the parts were prepared for other calendars or cranes.
    """
    if (parts.lost_above.shape[0], parts.calm_large.shape[0]) != (
        expected.share.shape[0],
        expected.hook_paid.shape[0],
    ):
        raise RangeError(
            f"Weather was prepared for {parts.lost_above.shape[0]} calendars and {parts.calm_large.shape[0]} "
            f"cranes; got conditions of {expected.share.shape[0]} and {expected.hook_paid.shape[0]}. "
            "Prepare it from the same method's own expected conditions."
        )
    drawn = scores(parts, latent)
    share, ordinary, large, evening = (
        array.copy()
        for array in (expected.share, expected.hook_ordinary, expected.hook_large, expected.hook_evening)
    )
    _lose(drawn[0], parts.lost_above, expected.open_week, share)
    _fly(
        drawn[1],
        parts.within,
        parts.calm_ordinary,
        parts.calm_large,
        expected.hook_paid,
        parts.evening,
        ordinary,
        large,
        evening,
    )
    return replace(expected, share=share, hook_ordinary=ordinary, hook_large=large, hook_evening=evening)


def _persistence(values: Mapping[str, float], key: str) -> float:
    found = values[key]
    if not 0.0 <= found < 1.0:
        raise RangeError(
            f"{key} must be 0 or more and below 1; got {found:g}. "
            "It is the correlation of one date's weather with the date before."
        )
    return found


def _of(part: Floats, whole: Floats, most: float = 1.0) -> Floats:
    """Return the part over the whole, 1 where there is nothing to share; rounding alone may pass `most`."""
    some = whole > 0
    return np.where(some, np.minimum(part / np.where(some, whole, 1.0), most), 1.0)


def _score(share: Floats) -> Floats:
    """Return the normal score that is stayed below with a probability; infinite at 0 and 1."""
    from scipy.special import ndtri

    return np.asarray(ndtri(share))


@compiled
def _persistent(noise: Floats, rain: float, wind: float, together: float, noise_together: float) -> Floats:
    days = noise.shape[0]
    found = np.empty((2, days))
    fresh_rain, fresh_wind = math.sqrt(1.0 - rain * rain), math.sqrt(1.0 - wind * wind)
    apart = math.sqrt(max(1.0 - noise_together * noise_together, 0.0))
    wet = noise[0, 0]
    windy = together * noise[0, 0] + math.sqrt(max(1.0 - together * together, 0.0)) * noise[0, 1]
    found[0, 0], found[1, 0] = wet, windy
    for d in range(1, days):
        wet = rain * wet + fresh_rain * noise[d, 0]
        windy = wind * windy + fresh_wind * (noise_together * noise[d, 0] + apart * noise[d, 1])
        found[0, d], found[1, d] = wet, windy
    return found


@compiled
def _lose(score: Floats, lost_above: Floats, week: Floats, share: Floats) -> None:
    for c in range(lost_above.shape[0]):
        for d in range(score.size):
            share[c, d] = 0.0 if score[d] > lost_above[c, d] else week[d]


@compiled
def _fly(
    score: Floats,
    within: float,
    calm_ordinary: Floats,
    calm_large: Floats,
    paid: Floats,
    evening_paid: Floats,
    ordinary: Floats,
    large: Floats,
    evening: Floats,
) -> None:
    root = math.sqrt(0.5)
    for c in range(calm_large.shape[0]):
        for d in range(score.size):
            if paid[c, d] > 0.0:
                blown = within * score[d]
                flown = 0.5 * math.erfc((blown - calm_ordinary[c, d]) * root)
                ordinary[c, d] = paid[c, d] * flown
                evening[c, d] = evening_paid[c, d] * flown
                large[c, d] = min(
                    paid[c, d] * (0.5 * math.erfc((blown - calm_large[c, d]) * root)), ordinary[c, d]
                )
