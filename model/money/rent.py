"""When are homes for rent let, what do they earn until the building is sold, and what is it sold for?

One letting team lets at a steady pace whatever has been handed over, the first section in the order
first, and waits when nothing is left to let. A home is let at the middle of its share of the team's
time. The rent flows evenly from then until the exit, when a buyer pays for the income of the homes let
by that day.

The building is sold either once it is full in practice or on a fixed date; the result says which, and
how the operating costs are counted. The closed forms counted in whole months are in
`model.money.receipts`.

Nothing here knows how a section is built. Days are counted from the start on site; money is in any
currency; shares are 0 to 1. Sections stand on the last axis, with any axes before it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.compiled import compiled
from model.core.errors import RangeError
from model.money.checks import (
    checked_finite,
    checked_homes,
    checked_order,
    checked_per_section,
    checked_positive,
    checked_share,
)
from model.money.grid import DAYS_PER_MONTH, Floats, spread, spread_evenly
from model.money.receipts import (
    price_at_yield,
)

Number = TypeVar("Number", np.float64, np.int64)

MONTHS_PER_YEAR: Final = 12

_SAME_HOME: Final = 1e-9
"""Rounding allowed in counting homes. [no.]"""

_SAME_SHARE: Final = 1e-9
"""Rounding allowed where shares add to one. [-]"""


@dataclass(frozen=True, eq=False)
class Lettings:
    """The homes that are let, section after section as given, each section's in the order they are let.

    An entry is one home; the last of a section, or one whose letting is broken off for a section earlier
    in the order, may stand for a part of a home.

    Attributes
    ----------
    section : array of int, shape (entries,)
        Index of the home's section.
    day : array, shape (..., entries)
        Day from which it is let: the middle of its share of the team's time. [days from start on site]
    number : array, shape (..., entries)
        Homes an entry stands for; 0 where a run has fewer entries than another. [no.]
    homes : array of int, shape (sections,)
        Homes of each section, let or not. [no.]
    stabilised_share : float or array, shape (...)
        Share of the homes let once the building is full in practice. [-]
    lets_per_month : float or array, shape (...)
        Pace. [no./month]
    stabilised_day : array, shape (...)
        Day on which the last of those homes is let: the end of its share of the team's time.
        [days from start on site]
    """

    section: NDArray[np.int64]
    day: Floats
    number: Floats
    homes: NDArray[np.int64]
    stabilised_share: Floats
    lets_per_month: Floats
    stabilised_day: Floats

    def let_of_each(self, day: ArrayLike) -> Floats:
        """Return how much of each entry is let by a day, without a step while it is being let.

        Parameters
        ----------
        day : float or array, shape (...)
            [days from start on site]

        Returns
        -------
        array, shape (..., entries)
            [no.]
        """
        when = checked_finite("A day", day)[..., np.newaxis]
        pace = (self.lets_per_month / DAYS_PER_MONTH)[..., np.newaxis]
        return np.asarray(np.clip((when - self.day) * pace + self.number / 2, 0.0, self.number))

    def let_by(self, day: ArrayLike) -> Floats:
        """Return the homes let by a day, of shape (...), over all sections. [no.]"""
        return np.asarray(self.let_of_each(day).sum(axis=-1))


@dataclass(frozen=True, eq=False)
class RentReceipts:
    """What letting and then selling the building bring, by month.

    Attributes
    ----------
    rent : array, shape (..., months)
        Rent collected. [money]
    operating : array, shape (..., months)
        Costs of running the homes let. [money]
    exit_price : array, shape (..., months)
        Price the buyer pays, its own costs already off. [money]
    exit_cost : array, shape (..., months)
        Costs of selling the building. [money]
    net : array, shape (..., months)
        What reaches the development. [money]
    exit_day : array, shape (...)
        Day of the exit. [days from start on site]
    income : array, shape (...)
        Net operating income on which the price rests. [money a year]
    of_full_rent : bool
        Whether operating costs were counted on the full rent, empty homes among them.
    fixed_exit : bool
        Whether the exit was on a date given.
    """

    rent: Floats
    operating: Floats
    exit_price: Floats
    exit_cost: Floats
    net: Floats
    exit_day: Floats
    income: Floats
    of_full_rent: bool
    fixed_exit: bool

    @property
    def basis(self) -> str:
        """The conventions used, in a sentence to print beside the figures."""
        costs = "the full rent, empty homes included" if self.of_full_rent else "the rent collected"
        exit_at = (
            "a fixed date, priced on the homes let by then"
            if self.fixed_exit
            else "stabilisation, priced on the stabilised income"
        )
        return f"Operating costs are a share of {costs}; the exit is at {exit_at}."


def lettings(
    homes_per_section: Sequence[int],
    handover_days: ArrayLike,
    *,
    lets_per_month: ArrayLike,
    stabilised_share: ArrayLike,
    order: ArrayLike | None = None,
) -> Lettings:
    """Date the letting of every home, up to the share let once the building is full in practice.

    Parameters
    ----------
    homes_per_section : sequence of int, length sections
        Homes for rent in each section; a section may have none. [no., >= 0]
    handover_days : array, shape (..., sections)
        Handover of each section. [days from start on site]
    lets_per_month : float or array, shape (...)
        Homes let in a month over all sections. [no./month, > 0]
    stabilised_share : float or array, shape (...)
        Share of each section's homes let once it is full in practice. [-, above 0 to 1]
    order : array of int, shape (..., sections), optional
        Sections in the order they are let. One handed over after a section later in the order is taken
        up at once, and the other goes on after it. By default as they are handed over.

    Returns
    -------
    Lettings

    Raises
    ------
    RangeError
        If a count is not a whole number, the pace or the share is not above 0, the order leaves a
        section out, or a figure is not finite.

    Notes
    -----
    The team is never idle while a home handed over is still to let, so a late section loses none of the
    pace of the others, and how many homes are let by a day does not depend on the order. With the order
    held, nothing steps when a handover moves; without it, days change hands between two sections when
    their handovers change places. A month is 365.25 / 12 days.

    Examples
    --------
    >>> let = lettings([2, 1], [0.0, 300.0], lets_per_month=0.1, stabilised_share=1.0)
    >>> (let.day / DAYS_PER_MONTH).round(2).tolist()
    [5.0, 15.0, 25.0]
    """
    homes = checked_homes("homes for rent", homes_per_section)
    handover = checked_per_section("Handover days", handover_days, homes.size)
    pace = checked_positive("Lettings per month", checked_finite("Lettings per month", lets_per_month))
    share = checked_positive("The stabilised share", checked_share("The stabilised share", stabilised_share))
    if order is None:
        ranked = np.argsort(handover, axis=-1, kind="stable")
    else:
        ranked = checked_order(order, homes.size, "The order of letting", "sections")
    lead = np.broadcast_shapes(handover.shape[:-1], pace.shape, share.shape, ranked.shape[:-1])
    rows, shape = math.prod(lead), (*lead, homes.size)
    to_let = share[..., np.newaxis] * homes
    # A section may be broken off once for each of the others.
    most = np.ceil(to_let.reshape(-1, homes.size).max(axis=0) - _SAME_HOME).astype(np.int64)
    room = np.where(homes > 0, most + (0 if order is None else homes.size - 1), 0)
    first = np.concatenate([[0], np.cumsum(room)])
    number, day = np.zeros((2, rows, int(first[-1])))
    full = np.zeros(rows)
    _let(
        _rows(to_let, shape),
        _rows(handover, shape),
        _rows(ranked, shape),
        np.ascontiguousarray(np.broadcast_to(pace / DAYS_PER_MONTH, lead)).ravel(),
        first,
        day,
        number,
        full,
    )
    used = np.any(number > 0, axis=0)
    number, day = number[:, used], day[:, used]
    day = np.where(number > 0, day, full[:, np.newaxis])
    entries = int(used.sum())
    return Lettings(
        section=np.repeat(np.arange(homes.size), room)[used],
        day=day.reshape((*lead, entries)),
        number=number.reshape((*lead, entries)),
        homes=homes,
        stabilised_share=share,
        lets_per_month=pace,
        stabilised_day=full.reshape(lead),
    )


def rent_receipts(
    let: Lettings,
    ends_day: Floats,
    *,
    rent_per_month: ArrayLike,
    operating_share: ArrayLike,
    of_full_rent: bool = False,
    net_yield: ArrayLike,
    purchaser_cost_share: ArrayLike,
    exit_day: ArrayLike | None = None,
    exit_cost_share: ArrayLike = 0.0,
) -> RentReceipts:
    """Turn lettings into rent by month, and the building into its price.

    Parameters
    ----------
    let : Lettings
        From `lettings`.
    ends_day : array, shape (months,)
        Month-ends of the grid. [days from start on site]
    rent_per_month : float or array, shape (..., sections) or (..., 1)
        Rent of a home, of each section or of all alike. [money a month]
    operating_share : float or array, shape (...)
        Operating costs over the rent. [-, 0 to 1]
    of_full_rent : bool
        Whether the operating share already holds the empty homes, so that the income at stabilisation is
        the rent of all homes less that share of it.
    net_yield : float or array, shape (...)
        Net initial yield at which the building is sold. [-, > 0]
    purchaser_cost_share : float or array, shape (...)
        Purchaser's costs over the price paid. [-, 0 to 1]
    exit_day : float or array, shape (...), optional
        Fixed day of the exit; by default the day the building is full in practice.
        [days from start on site]
    exit_cost_share : float or array, shape (...)
        Costs of selling the building over its price. [-, 0 to 1]

    Returns
    -------
    RentReceipts

    Raises
    ------
    RangeError
        If a share is outside 0 to 1, a rent or the yield is not above 0, the rents do not fit the
        sections, an operating share of the full rent is less than the homes left empty, or the exit
        falls outside the grid.

    Notes
    -----
    Price = income a year / yield / (1 + purchaser's costs). The income is that of the homes let on the
    day of the exit: at stabilisation the stabilised income; on a fixed date before it, of what is let by
    then and no more, so that with nothing let the price is 0.

    With costs on the full rent a home let bears them for its part of the empty homes of a full building,
    but not for homes still to be let: each earns (1 - operating share) / stabilised share of its rent.

    Examples
    --------
    >>> let = lettings([200], [0.0], lets_per_month=26, stabilised_share=0.95)
    >>> money = rent_receipts(
    ...     let, DAYS_PER_MONTH * np.arange(13.0), rent_per_month=1700, operating_share=0.25,
    ...     net_yield=0.0475, purchaser_cost_share=0.018,
    ... )
    >>> round(float(money.income), 2), round(float(money.exit_price.sum()), 2)
    (2907000.0, 60117878.19)
    """
    fixed = exit_day is not None
    out = let.stabilised_day if exit_day is None else checked_finite("The day of the exit", exit_day)
    running = _operating_over_collected(let, operating_share, of_full_rent)
    cost = checked_share("The cost of the exit", exit_cost_share)[..., np.newaxis]
    each = _rent_of_each(let, rent_per_month)
    leaves = out[..., np.newaxis]
    begins = np.minimum(let.day, leaves)
    rent = spread_evenly(begins, leaves, let.number * each * (leaves - begins) / DAYS_PER_MONTH, ends_day)
    standing = let.let_of_each(out) if fixed else let.number
    income = MONTHS_PER_YEAR * (standing * each).sum(axis=-1) * (1 - running)
    price = price_at_yield(income, net_yield, purchaser_cost_share)
    sold = spread(leaves, price[..., np.newaxis], ends_day)
    operating = rent * running[..., np.newaxis]
    rent, operating, sold, paid = np.broadcast_arrays(rent, operating, sold, sold * cost)
    return RentReceipts(
        rent=rent,
        operating=operating,
        exit_price=sold,
        exit_cost=paid,
        net=rent - operating + sold - paid,
        exit_day=np.broadcast_to(out, rent.shape[:-1]),
        income=np.broadcast_to(income, rent.shape[:-1]),
        of_full_rent=of_full_rent,
        fixed_exit=fixed,
    )


def _operating_over_collected(let: Lettings, operating_share: ArrayLike, of_full_rent: bool) -> Floats:
    """Return operating costs over the rent collected from a home let, by either convention."""
    share = checked_share("The operating share", operating_share)
    if not of_full_rent:
        return share
    given, empty = np.broadcast_arrays(share, 1 - let.stabilised_share)
    short = given < empty - _SAME_SHARE
    if np.any(short):
        raise RangeError(
            f"An operating share of the full rent must hold the homes left empty, {empty[short].flat[0]:g}; "
            f"got {given[short].flat[0]:g}. Raise it, or give it as a share of the rent collected."
        )
    return np.asarray(np.maximum(1 - (1 - share) / let.stabilised_share, 0.0))


def _rent_of_each(let: Lettings, rent_per_month: ArrayLike) -> Floats:
    """Return the rent of each entry's home. [money a month]"""
    rent = checked_positive("The rent", checked_finite("The rent", rent_per_month))
    if rent.ndim == 0 or rent.shape[-1] == 1:
        return rent
    return checked_per_section("Rents", rent, let.homes.size)[..., let.section]


def _rows(value: NDArray[Number], shape: tuple[int, ...]) -> NDArray[Number]:
    """Return an array over the sections with its leading axes folded into one, contiguous."""
    return np.ascontiguousarray(np.broadcast_to(value, shape)).reshape(-1, shape[-1])


@compiled
def _let(
    to_let: Floats,
    handover: Floats,
    ranked: NDArray[np.int64],
    pace: Floats,
    first: NDArray[np.int64],
    day: Floats,
    number: Floats,
    full: Floats,
) -> None:
    """Write the day and number of each entry, and the day all are let; shapes (rows, sections or entries).

    The team takes the first section in the order that is handed over and not yet let, home by home, until
    it is let or one before it in the order is handed over.
    """
    rows, sections = to_let.shape
    for row in range(rows):
        left = to_let[row].copy()
        entry = first[:sections].copy()
        now = -np.inf
        while True:
            section = -1
            until = np.inf
            for place in range(sections):
                at = ranked[row, place]
                if left[at] <= _SAME_HOME:
                    continue
                if handover[row, at] <= now:
                    section = at
                    break
                until = min(until, handover[row, at])
            if section < 0:
                if until == np.inf:
                    break
                now = until
                continue
            while left[section] > _SAME_HOME and now < until:
                done = to_let[row, section] - left[section]
                home = np.floor(done + _SAME_HOME) + 1.0 - done  # what is left of the home begun
                if left[section] - home < _SAME_HOME:
                    home = left[section]
                ends = now + home / pace[row]
                if ends > until:
                    home = (until - now) * pace[row]
                    ends = until
                number[row, entry[section]] = home
                day[row, entry[section]] = (now + ends) / 2
                entry[section] += 1
                left[section] -= home
                now = ends
        full[row] = now
