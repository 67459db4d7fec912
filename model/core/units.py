"""Which units may a record carry?

The list is closed so that one thing is never spelt two ways. Values carrying a unit with a
natural bound (a share, a percentage) are checked against it when they are read or overridden.
"""

from __future__ import annotations

from typing import Final

HOURS_PER_MAN_DAY: Final = 8.0
"""A man-day in published outputs. [h]"""

UNITS: Final[dict[str, tuple[float, float]]] = {
    # unit: (least, greatest) value that has a meaning
    "-": (0.0, 1e6),
    "share": (0.0, 1.0),
    "%": (0.0, 1000.0),
    "% a year": (-20.0, 100.0),
    "no.": (0.0, 1e6),
    "h": (0.0, 1e5),
    "h a day": (0.0, 24.0),
    "min": (0.0, 1e4),
    "min/lift": (0.0, 600.0),
    "min/vehicle": (0.0, 1440.0),
    "days": (0.0, 3650.0),
    "working days": (0.0, 3650.0),
    "weeks": (0.0, 520.0),
    "weeks from start": (-104.0, 520.0),
    "months": (0.0, 240.0),
    "storeys": (0.0, 60.0),
    "people": (0.0, 1000.0),
    "m": (0.0, 10000.0),
    "m2": (0.0, 1e6),
    "m3": (0.0, 1e6),
    "t": (0.0, 1e5),
    "kg/m2": (0.0, 5000.0),
    "kg/m3": (0.0, 20000.0),
    "kN/m2": (0.0, 100.0),
    "kN/m3": (0.0, 100.0),
    "m/s": (0.0, 100.0),
    "kn": (0.0, 100.0),
    "km": (0.0, 20000.0),
    "m/min": (0.0, 1000.0),
    "rev/min": (0.0, 10.0),
    "degC": (-60.0, 60.0),
    "h/m2": (0.0, 100.0),
    "h/m": (0.0, 100.0),
    "h/m3": (0.0, 100.0),
    "h/t": (0.0, 1000.0),
    "h/no.": (0.0, 10000.0),
    "h/flat": (0.0, 10000.0),
    "h/storey": (0.0, 10000.0),
    "lifts/m2": (0.0, 100.0),
    "lifts/m": (0.0, 100.0),
    "lifts/m3": (0.0, 100.0),
    "lifts/t": (0.0, 100.0),
    "lifts/no.": (0.0, 100.0),
    "lifts/flat": (0.0, 1000.0),
    "lifts/storey": (0.0, 1000.0),
    "m2/flat": (0.0, 2000.0),
    "m2/person": (0.1, 1000.0),
    "m2/m2": (0.0, 1000.0),
    "no./flat": (0.0, 100.0),
    "no./storey": (0.0, 1000.0),
    "no./m2": (0.0, 1000.0),
    "no./week": (0.0, 100000.0),
    "no./month": (0.0, 100000.0),
    "m3/m2": (0.0, 100.0),
    "t/m2": (0.0, 100.0),
    "GBP": (-1e12, 1e12),
    "GBP/week": (0.0, 1e8),
    "GBP/m2": (0.0, 1e6),
    "GBP/m2 week": (0.0, 1e4),
    "GBP/m": (0.0, 1e6),
    "GBP/no.": (0.0, 1e8),
    "GBP/flat": (0.0, 1e8),
    "GBP/flat month": (0.0, 1e6),
    "kgCO2e/km": (0.0, 100.0),
}


def bounds(unit: str) -> tuple[float, float]:
    """Return the least and greatest value that has a meaning in a unit.

    Parameters
    ----------
    unit : str
        One of `UNITS`.

    Returns
    -------
    tuple of float
        Least and greatest value, in that unit.

    Raises
    ------
    KeyError
        If the unit is not in the closed list.
    """
    return UNITS[unit]


def is_money(unit: str) -> bool:
    """Say whether a unit is a sum or a rate of money, so that a price date is owed."""
    return unit.startswith("GBP")
