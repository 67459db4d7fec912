"""What does the trade say beside the figures of a site?

Bands of common practice, not targets: a figure outside its band asks for a reason. They were gathered for
conventional high-rise flats; a method with fewer trades may well lie below.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from model.core.errors import RangeError
from model.site.operation import SiteUse


@dataclass(frozen=True, slots=True)
class Band:
    """What the trade says: low, likely and high, with where it comes from."""

    label: str
    unit: str
    low: float
    likely: float
    high: float
    mark: str
    source: str


VEHICLES_PER_100_M2: Final = Band(
    "Vehicles for 100 m² gross", "no.", 11, 18, 30, "DERIVED",
    "Loads by material for conventional high-rise flats above ground: 6 to 8 bulk lorries and services, "
    "kitchens, finishes, plant, waste and vans; no published count was found",
)  # fmt: skip
VEHICLES_PER_FLAT: Final = Band(
    "Vehicles for a flat", "no.", 10, 17, 28, "DERIVED", "The same for 75 m² net, some 95 m² gross"
)
PEAK_TO_AVERAGE_VEHICLES: Final = Band(
    "Vehicles, busiest day over average day", "-", 1.5, 2.0, 2.5, "PRACTICE", "Common practice, no source"
)
PEAK_TO_AVERAGE_PEOPLE: Final = Band(
    "People on site, peak over average", "-", 1.4, 1.6, 2.0, "PRACTICE", "Common practice, no source"
)


@dataclass(frozen=True, slots=True)
class CheckValue:
    """A figure of the model beside a band of the trade."""

    band: Band
    value: float

    @property
    def within(self) -> bool:
        """Whether the figure lies in the band."""
        return self.band.low <= self.value <= self.band.high


def vehicles_per_100_m2(vehicles: float, gross_m2: float) -> float:
    """Return vehicles over gross area.

    Parameters
    ----------
    vehicles : float
        All vehicles, vans among them, without operatives' own. [no., >= 0]
    gross_m2 : float
        Gross floor area. [m2, > 0]

    Returns
    -------
    float
        [no. for 100 m2]

    Raises
    ------
    RangeError
        If vehicles are negative or the area is not above 0.
    """
    if not vehicles >= 0 or not gross_m2 > 0:
        raise RangeError(
            f"Vehicles must be 0 or more and the gross area above 0 m2; got {vehicles:g} vehicles "
            f"for {gross_m2:g} m2. Give the area of the storeys they serve."
        )
    return 100.0 * vehicles / gross_m2


def check_values(site: SiteUse) -> tuple[CheckValue, ...]:
    """Put the figures of a site beside what the trade says.

    Parameters
    ----------
    site : SiteUse

    Returns
    -------
    tuple of CheckValue
        Vehicles for 100 m2 and for a flat, busiest over average day, people peak over average.
    """
    by_date = site.loads_by_date
    takeoff = site.plan.takeoff
    busy = np.flatnonzero(by_date)
    open_dates = site.plan.conditions.open_dates[busy[0] : busy[-1] + 1].sum() if busy.size else 0.0
    average_day = site.loads_total / max(float(open_dates), 1.0)
    figures = (
        (VEHICLES_PER_100_M2, vehicles_per_100_m2(site.loads_total, float(takeoff.gross_m2.sum()))),
        (VEHICLES_PER_FLAT, site.loads_total / float(takeoff.flats.sum())),
        (PEAK_TO_AVERAGE_VEHICLES, site.loads_peak_day / average_day if average_day > 0 else 0.0),
        (PEAK_TO_AVERAGE_PEOPLE, site.peak_to_average),
    )
    return tuple(CheckValue(band, value) for band, value in figures)
