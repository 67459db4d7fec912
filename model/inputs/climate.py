"""What is the weather like at a place, and what does it leave of a working date?

Monthly climate of five British places, from `library/climate.csv`. Daily-threshold counts are
published for Heathrow only; elsewhere they follow by rule from what the place does have, and say so
(`Climate.marks`). Wind outside London is London's, scaled by a recalled annual mean.

The share that weather leaves of a working date is an expectation by month. It knows nothing of the
hour at which it rains; wind is left to the hook hours (`model.physics.weather`) and never counted here.

Temperatures in °C, counts in days per calendar month, wind in m/s.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.core.errors import AssumptionError, RangeError
from model.physics.maturity import MONTH_DAYS

Array12 = NDArray[np.float64]

MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

PLACES: Final = ("london", "manchester", "glasgow", "cardiff", "east_midlands")
"""Places with a climate, the first the one that daily counts and hourly wind are known for."""

_ABOUT: Final = {
    "london": ("London", "ENG", "Heathrow 1991-2020"),
    "manchester": ("Manchester", "ENG", "Ringway 1981-2004"),
    "glasgow": ("Glasgow", "SCT", "Paisley 1991-2020"),
    "cardiff": ("Cardiff", "WLS", "Bute Park 1991-2020"),
    "east_midlands": ("East Midlands", "ENG", "Sutton Bonington 1991-2020"),
}

FEW_FROSTS_DAYS: Final = 2.0
"""Below this many frosts a month at Heathrow a ratio of frosts says little, and the year's is used. [days]"""

CLASS_EVENTS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "inside": (),
        "open": ("rain1", "rain5", "rain10", "frost", "tmax3"),
        "rain": ("rain1", "rain5", "rain10", "frost", "tmax3"),
        "pour": ("rain5", "rain10", "tmax3"),
        "masonry": ("rain1", "rain5", "rain10", "tmin3", "tmax3"),
    }
)
"""Calendar classes and the events that cost each of them time, one record ``weather.CLASS.EVENT`` each."""

_RAIN: Final = frozenset({"rain1", "rain5", "rain10"})


@dataclass(frozen=True, eq=False)
class Climate:
    """Monthly climate of a place; every array runs January to December and is not to be written to.

    Attributes
    ----------
    place : str
        One of `PLACES`.
    label : str
        Name for the reader.
    subdivision : str
        ``ENG``, ``WLS`` or ``SCT``, for bank holidays.
    station : str
        Where and when temperatures were measured.
    tmean : array
        Mean temperature. [°C]
    frost_days : array
        Days with a minimum below 0 °C. [days per month]
    rain1_days, rain5_days, rain10_days : array
        Days with 1, 5, 10 mm of rain or more. [days per month]
    cold_tmax3_days, cold_tmin3_days, cold_tmean5_days : array
        Days with a maximum below 3 °C, a minimum below 3 °C, a mean below 5 °C. [days per month]
    wind_day_ms : array
        Mean wind in working hours at 10 m on open ground. [m/s]
    marks, sources : mapping of str to str
        Mark of evidence and source, by name of the array.
    """

    place: str
    label: str
    subdivision: str
    station: str
    tmean: Array12
    frost_days: Array12
    rain1_days: Array12
    rain5_days: Array12
    rain10_days: Array12
    cold_tmax3_days: Array12
    cold_tmin3_days: Array12
    cold_tmean5_days: Array12
    wind_day_ms: Array12
    marks: Mapping[str, str] = field(repr=False)
    sources: Mapping[str, str] = field(repr=False)


@dataclass(frozen=True, eq=False)
class _Row:
    """One line of the table."""

    months: Array12
    year: float
    mark: str
    source: str


def read_climate(place: str) -> Climate:
    """Read the climate of a place.

    Parameters
    ----------
    place : str
        One of `PLACES`.

    Returns
    -------
    Climate
        The same object each time.

    Raises
    ------
    RangeError
        If the place is not one of `PLACES`.
    """
    if place not in PLACES:
        raise RangeError(
            f"Place must be one of {', '.join(PLACES)}; got {place!r}. "
            "Choose the one with the nearest climate, in the right country for bank holidays."
        )
    return _climate(place)


def event_days(climate: Climate) -> dict[str, Array12]:
    """Days of each weather event, no day standing in two of rain nor in two of cold for a class.

    Parameters
    ----------
    climate : Climate

    Returns
    -------
    dict of str to array, shape (12,)
        Days per month: ``rain1`` (1 to 5 mm), ``rain5`` (5 to 10 mm), ``rain10`` (10 mm or more);
        ``tmax3`` (maximum below 3 °C); and, of the days left, ``tmin3`` (minimum below 3 °C and mean
        below 5 °C) and ``frost`` (minimum below 0 °C), of which a class uses one.

    Notes
    -----
    Days with minimum below 3 °C *and* mean below 5 °C are taken as the fewer of the two counts, which
    is the most there can be.
    """
    cold = climate.cold_tmax3_days
    return {
        "rain1": climate.rain1_days - climate.rain5_days,
        "rain5": climate.rain5_days - climate.rain10_days,
        "rain10": climate.rain10_days,
        "tmax3": cold,
        "tmin3": np.maximum(np.minimum(climate.cold_tmin3_days, climate.cold_tmean5_days) - cold, 0.0),
        "frost": np.maximum(climate.frost_days - cold, 0.0),
    }


def shares_left(climate: Climate, values: Mapping[str, float]) -> dict[str, Array12]:
    """Share of a working date that weather is expected to leave, by calendar class.

    Parameters
    ----------
    climate : Climate
    values : mapping of str to float
        Share of a day lost to an event, by key ``weather.CLASS.EVENT``. [0 to 1]

    Returns
    -------
    dict of str to array, shape (12,)
        By class of `CLASS_EVENTS`: ``inside`` (nothing lost), ``open`` (work in the open and lifting:
        rain and frost, never wind), ``rain`` (sheathing, membrane, roofing, sealing), ``pour``
        (concrete), ``masonry`` (bricklaying). [0 to 1]

    Raises
    ------
    RangeError
        If a share lies outside 0 to 1.

    Notes
    -----
    Rain and cold are taken as independent of each other: what rain leaves, cold leaves a share of.
    """
    days = event_days(climate)
    left: dict[str, Array12] = {}
    for name, events in CLASS_EVENTS.items():
        dry, mild = np.ones(12), np.ones(12)
        for event in events:
            kept = dry if event in _RAIN else mild
            kept -= _share(values, f"weather.{name}.{event}") * days[event] / _LENGTHS
        left[name] = dry * mild
    return left


_LENGTHS: Final = np.array(MONTH_DAYS)


def _share(values: Mapping[str, float], key: str) -> float:
    share = values[key]
    if not 0.0 <= share <= 1.0:
        raise RangeError(
            f"{key} is the share of a day lost and must be 0 to 1; got {share:g}. Write 50 % as 0.50."
        )
    return share


@lru_cache(maxsize=len(PLACES))
def _climate(place: str) -> Climate:
    """Put a climate together: what the table has, then what follows from it by rule."""
    label, subdivision, station = _ABOUT[place]
    table = _table()
    own = {measure: row for (where, measure), row in table.items() if where == place}
    london = {measure: row for (where, measure), row in table.items() if where == PLACES[0]}
    wet = own["rain1_days"].months / london["rain1_days"].months
    cold = _cold_ratio(own["frost_days"], london["frost_days"])
    blow = own["wind_mean_kn"].year / london["wind_mean_kn"].year
    rules: dict[str, tuple[Array12 | float, str, str]] = {
        "rain5_days": (wet, "DERIVED", "Heathrow's count times the month's ratio of days with 1 mm or more"),
        "rain10_days": (wet, "DERIVED", "Heathrow's count times the month's ratio of days with 1 mm or more"),
        "cold_tmax3_days": (cold, "DERIVED", "Heathrow's count times the ratio of frost days"),
        "cold_tmin3_days": (cold, "DERIVED", "Heathrow's count times the ratio of frost days"),
        "cold_tmean5_days": (cold, "DERIVED", "Heathrow's count times the ratio of frost days"),
        "wind_day_ms": (blow, "MEMORY", "London's monthly wind times the ratio of annual means, recalled"),
    }
    rows = {measure: own[measure] for measure in ("tmean", "frost_days", "rain1_days")}
    for measure, (ratio, mark, source) in rules.items():
        base = london[measure]
        rows[measure] = own.get(measure) or _Row(_still(base.months * ratio), np.nan, mark, source)
    return Climate(
        place,
        label,
        subdivision,
        station,
        **{measure: row.months for measure, row in rows.items()},
        marks=MappingProxyType({measure: row.mark for measure, row in rows.items()}),
        sources=MappingProxyType({measure: row.source for measure, row in rows.items()}),
    )


def _cold_ratio(own: _Row, london: _Row) -> Array12:
    """Frost days over Heathrow's, by month where Heathrow has enough of them, else by year."""
    enough = london.months >= FEW_FROSTS_DAYS
    of_year = own.months.sum() / london.months.sum()
    return np.where(enough, own.months / np.where(enough, london.months, 1.0), of_year)


@lru_cache(maxsize=1)
def _table() -> dict[tuple[str, str], _Row]:
    """Read the table: one row per place and measure."""
    path = resources.files("model.inputs") / "library" / "climate.csv"
    rows: dict[tuple[str, str], _Row] = {}
    for line in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
        key = (line["place"], line["measure"])
        if key in rows or not (line["mark"] and line["source"]):
            raise AssumptionError(
                f"climate.csv, {key[0]} {key[1]}: each measure of a place stands once, with a mark and "
                "a source. Remove the repeated line or fill in what is missing."
            )
        months = _still(np.array([float(line[month] or "nan") for month in MONTHS]))
        rows[key] = _Row(months, float(line["year"]), line["mark"], line["source"])
    return rows


def _still(array: Array12) -> Array12:
    array.flags.writeable = False
    return array
