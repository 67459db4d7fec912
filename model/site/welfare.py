"""What must stand ready for the people on site: toilets, basins, canteen, drying room, offices, cabins?

Toilets and basins follow published tables. Regulations give the duty without numbers (CDM 2015, Sch. 2);
seats, areas and showers are common practice and stand in the library under ``welfare.*``.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from typing import Final

from model.core.errors import RangeError
from model.inputs.assumption import Values

MIXED_USE: Final = ((5, 1, 1), (25, 2, 2), (50, 3, 3), (75, 4, 4), (100, 5, 5))
"""People up to, WCs, basins: HSE L24 (ACoP to the Workplace Regulations 1992), reg. 21, table 1."""

MEN_ONLY: Final = ((15, 1, 1), (30, 2, 1), (45, 2, 2), (60, 3, 2), (75, 3, 3), (90, 4, 3), (100, 4, 4))
"""Men up to, WCs, urinals: HSE L24, reg. 21, table 2."""

MIXED_STEP: Final = 25
"""Above 100 people one more WC and basin for each of these or part: HSE L24, reg. 21, from memory."""

MEN_STEP: Final = 50
"""Above 100 men one more WC and urinal for each of these or part: HSE L24, reg. 21, from memory."""

PORTABLE_PEOPLE: Final = 7
"""People one portable toilet serves in a week of 40 h: HSE, construction welfare FAQ (page of 2021)."""


@dataclass(frozen=True, slots=True)
class Welfare:
    """What stands ready for a number of people.

    Attributes
    ----------
    people, staff : int
        On site at once; managers and engineers among them.
    wcs, basins : int
        Fixed, for mixed use.
    men_wcs, men_urinals : int
        Fixed, where only men use them, in place of `wcs`.
    portable_toilets : int
        Where no drain is had yet, in place of fixed ones.
    showers, canteen_seats, cabins : int
        Cabins for canteen, drying and offices, each in cabins of its own.
    canteen_m2, drying_m2, office_m2 : float
        Floor areas. [m2]
    """

    people: int
    staff: int
    wcs: int
    basins: int
    men_wcs: int
    men_urinals: int
    portable_toilets: int
    showers: int
    canteen_seats: int
    canteen_m2: float
    drying_m2: float
    office_m2: float
    cabins: int


def mixed_use(people: float) -> tuple[int, int]:
    """Return fixed WCs and basins for men and women together, or women only.

    Parameters
    ----------
    people : float
        Most people likely at once; part of a person counts whole. [people, >= 0]

    Returns
    -------
    tuple of int
        WCs and basins.

    Raises
    ------
    RangeError
        If the number is negative or no number.

    References
    ----------
    HSE L24, *Workplace health, safety and welfare*, ACoP, reg. 20 and 21, table 1; above 100 from memory.

    Examples
    --------
    >>> mixed_use(51)
    (4, 4)
    """
    return _from_table(people, MIXED_USE, MIXED_STEP)


def men_only(men: float) -> tuple[int, int]:
    """Return fixed WCs and urinals where only men use them. Basins stay those of `mixed_use`.

    Parameters
    ----------
    men : float
        Most men likely at once; part of a man counts whole. [people, >= 0]

    Returns
    -------
    tuple of int
        WCs and urinals.

    Raises
    ------
    RangeError
        If the number is negative or no number.

    References
    ----------
    HSE L24, *Workplace health, safety and welfare*, ACoP, reg. 20 and 21, table 2; above 100 from memory.
    """
    return _from_table(men, MEN_ONLY, MEN_STEP)


def portable_toilets(people: float) -> int:
    """Return portable toilets, one to seven people.

    Parameters
    ----------
    people : float
        Most people at once. [people, >= 0]

    Returns
    -------
    int

    Raises
    ------
    RangeError
        If the number is negative or no number.

    Notes
    -----
    The ratio is for a week of 40 hours. A longer week asks for more of them or for emptying more often;
    the source gives no figure. Flushing toilets come first where a drain is had.

    References
    ----------
    HSE, *Construction: welfare FAQ*, page of 2021.
    """
    return math.ceil(_whole(people) / PORTABLE_PEOPLE)


def welfare_for(people: float, staff: float, values: Values) -> Welfare:
    """Work out what stands ready for the people on site.

    Parameters
    ----------
    people : float
        Most people on site at once, staff among them. [people]
    staff : float
        Managers and engineers with a desk. [people]
    values : Values
        Records ``welfare.*``.

    Returns
    -------
    Welfare

    Raises
    ------
    RangeError
        If people or staff are negative, staff are more than people, or a record divides by nothing.
    """
    all_people, desks = _whole(people), _whole(staff)
    if desks > all_people:
        raise RangeError(
            f"Staff must be among the people on site; got {desks} staff of {all_people} people. "
            "Count managers and engineers in the people too."
        )
    seats = math.ceil(all_people / _positive(values, "welfare.sittings") - 1e-9)
    areas = (
        seats * values["welfare.canteen_area"],
        (all_people - desks) * values["welfare.drying_area"],
        desks * values["welfare.office_area"],
    )
    cabin = _positive(values, "welfare.cabin_area")
    wcs, basins = mixed_use(all_people)
    men_wcs, urinals = men_only(all_people)
    return Welfare(
        people=all_people,
        staff=desks,
        wcs=wcs,
        basins=basins,
        men_wcs=men_wcs,
        men_urinals=urinals,
        portable_toilets=portable_toilets(all_people),
        showers=math.ceil(all_people / _positive(values, "welfare.shower_people") - 1e-9),
        canteen_seats=seats,
        canteen_m2=areas[0],
        drying_m2=areas[1],
        office_m2=areas[2],
        cabins=sum(math.ceil(area / cabin - 1e-9) for area in areas),
    )


def _from_table(people: float, table: tuple[tuple[int, int, int], ...], step: int) -> tuple[int, int]:
    """Look up two counts; above the table both grow by one a step."""
    count = _whole(people)
    if count == 0:
        return 0, 0
    last, first, second = table[-1]
    if count > last:
        more = math.ceil((count - last) / step)
        return first + more, second + more
    _up_to, first, second = table[bisect_left([row[0] for row in table], count)]
    return first, second


def _whole(people: float) -> int:
    if not math.isfinite(people) or people < 0:
        raise RangeError(
            f"People on site must be 0 or more; got {people:g}. "
            "Give the most people likely on site at one time."
        )
    return math.ceil(people - 1e-9)


def _positive(values: Values, key: str) -> float:
    if values[key] <= 0:
        raise RangeError(
            f"{values.record(key).label} ({key}) must be above 0; got {values[key]:g}. "
            f"Set {key} within its range, {values.library[key].low:g} to {values.library[key].high:g}."
        )
    return values[key]
