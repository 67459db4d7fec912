"""When are the flats paid for, and how does that follow from handover?

Flats are reserved at a steady rate over the whole development from a launch date, whatever stands
by then; a flat is paid for at the later of its reservation and the handover of its block plus the
notice to complete. So an earlier handover brings forward the flats already reserved, no others:
those still to be reserved come at the market's pace. How many are sold before handover is a result.

The rest of the module are closed forms for sales and lettings counted in whole months.

Nothing here knows how a block is built. Days are counted from the start on site; money is in any
currency; shares are 0 to 1. Blocks stand on the last axis, with any axes before it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError
from model.money.grid import DAYS_PER_MONTH, Floats, spread

_SAME_FLAT: Final = 1e-9
"""Rounding allowed where one stretch of sales ends and the next begins. [no.]"""


@dataclass(frozen=True, eq=False)
class Completions:
    """The flats of the development, one entry each, block after block as given.

    Attributes
    ----------
    block : array of int, shape (flats,)
        Index of the flat's block.
    reserved_day : array, shape (..., flats)
        Day of reservation. [days from start on site]
    day : array, shape (..., flats)
        Day of legal completion, when the price is paid. [days from start on site]
    number : array, shape (flats,)
        Flats an entry stands for. [no.]
    presold : array, shape (..., blocks)
        Share of each block reserved by its handover. [-]
    """

    block: NDArray[np.int64]
    reserved_day: Floats
    day: Floats
    number: Floats
    presold: Floats


@dataclass(frozen=True, eq=False)
class SaleReceipts:
    """What selling brings, by month.

    Attributes
    ----------
    gross : array, shape (..., months)
        Prices paid. [money]
    selling : array, shape (..., months)
        Costs of selling. [money]
    net : array, shape (..., months)
        What reaches the development. [money]
    """

    gross: Floats
    selling: Floats
    net: Floats


def sale_days(
    flats_per_block: Sequence[int],
    handover_day_per_block: ArrayLike,
    *,
    launch_day: ArrayLike,
    reservations_per_month: ArrayLike,
    notice_days: ArrayLike,
    order: ArrayLike | None = None,
    cap_per_block_per_month: ArrayLike | None = None,
) -> Completions:
    """Date every flat's reservation and legal completion.

    Parameters
    ----------
    flats_per_block : sequence of int, length blocks
        Flats for sale in each block. [no., >= 1]
    handover_day_per_block : array, shape (..., blocks)
        Handover of each block. [days from start on site]
    launch_day : float or array, shape (...)
        Start of reservations. [days from start on site]
    reservations_per_month : float or array, shape (...)
        Flats reserved in a month over the development. [no./month, > 0]
    notice_days : float or array, shape (...)
        Handover to legal completion. [days, >= 0]
    order : array of int, shape (..., blocks), optional
        Blocks in the order they are offered; by default as they are handed over.
    cap_per_block_per_month : float or array, shape (...), optional
        Most that one block can sell in a month; what is over goes to the next block in the order.
        Without it all reservations go to one block at a time. [no./month, > 0]

    Returns
    -------
    Completions

    Raises
    ------
    RangeError
        If a block has no flats, a rate is not above 0, the order leaves a block out, or a figure is
        not finite.

    Notes
    -----
    A flat is reserved at the middle of its share of time: the first of ten a month on day 1.5 after
    the launch. With the order held, every completion moves no further than its handover does, and
    without a step. A month is 365.25 / 12 days.

    Examples
    --------
    >>> sold = sale_days([2], [100.0], launch_day=0.0, reservations_per_month=0.5, notice_days=10.0)
    >>> sold.day.tolist(), sold.presold.tolist()
    ([110.0, 110.0], [1.0])
    """
    flats = _flat_counts(flats_per_block)
    handover = _finite("A handover day", handover_day_per_block)
    if handover.ndim == 0 or handover.shape[-1] != flats.size:
        raise RangeError(
            f"Handover days of shape {handover.shape} do not fit {flats.size} blocks. Give one for each."
        )
    cap = np.inf if cap_per_block_per_month is None else cap_per_block_per_month
    rate = _above_zero("Reservations per month", reservations_per_month) / DAYS_PER_MONTH
    most = _above_zero("The cap per block per month", cap) / DAYS_PER_MONTH
    launch, notice = _finite("The launch day", launch_day), _finite("The notice", notice_days)
    if np.any(notice < 0):
        raise RangeError(f"The notice must be 0 days or more; got {notice.min():g}. Count it from handover.")
    lead = np.broadcast_shapes(handover.shape[:-1], rate.shape, most.shape, launch.shape, notice.shape)
    handover = np.broadcast_to(handover, (*lead, flats.size))
    ranked = np.argsort(handover, axis=-1, kind="stable") if order is None else _order(order, flats.size)
    if lead:
        waited = _reservation_days(
            flats,
            np.broadcast_to(ranked, handover.shape),
            np.broadcast_to(rate, lead),
            np.broadcast_to(most, lead),
        )
    else:
        waited = _kept_reservation_days(
            tuple(flats.tolist()), tuple(ranked.tolist()), float(rate), float(most)
        )
    reserved = waited + launch[..., np.newaxis]
    block = np.repeat(np.arange(flats.size), flats)
    handed = handover[..., block]
    sold_before = reserved <= handed
    edges = np.concatenate([[0], np.cumsum(flats)[:-1]])
    return Completions(
        block=block,
        reserved_day=reserved,
        day=np.maximum(reserved, handed + notice[..., np.newaxis]),
        number=np.ones(block.size),
        presold=np.add.reduceat(sold_before.astype(float), edges, axis=-1) / flats,
    )


def sale_receipts(
    sold: Completions,
    block_value: ArrayLike,
    ends_day: Floats,
    *,
    selling_share: ArrayLike,
    deposit_released_share: ArrayLike = 0.0,
) -> SaleReceipts:
    """Turn completions into money by month.

    Parameters
    ----------
    sold : Completions
        From `sale_days`.
    block_value : array, shape (..., blocks)
        Price of all flats of each block together; each flat of a block takes an equal part. [money]
    ends_day : array, shape (months,)
        Month-ends of the grid. [days from start on site]
    selling_share : float or array, shape (...)
        Agents, marketing and legal costs over the price, paid at completion. [-, 0 to 1]
    deposit_released_share : float or array, shape (...)
        Part of the price that reaches the development at reservation. A deposit is normally held by
        a stakeholder until completion, so nothing by default. [-, 0 to 1]

    Returns
    -------
    SaleReceipts

    Raises
    ------
    RangeError
        If a share is outside 0 to 1, or a completion falls outside the grid.

    Examples
    --------
    >>> sold = sale_days([1], [30.0], launch_day=0.0, reservations_per_month=1.0, notice_days=0.0)
    >>> sale_receipts(sold, [400.0], np.array([0.0, 30.0, 60.0]), selling_share=0.025).net.tolist()
    [0.0, 390.0, 0.0]
    """
    selling = _share("The selling share", selling_share)[..., np.newaxis]
    released = _share("The released deposit", deposit_released_share)[..., np.newaxis]
    value = _finite("A block's value", block_value)
    flats = np.bincount(sold.block, weights=sold.number)
    if value.ndim == 0 or value.shape[-1] != flats.size:
        raise RangeError(
            f"Values of shape {value.shape} do not fit {flats.size} blocks. Give one for each block."
        )
    price = (value / flats)[..., sold.block] * sold.number
    paid = spread(sold.day, price * (1 - released), ends_day)
    if np.any(released > 0):
        paid = paid + spread(sold.reserved_day, price * released, ends_day)
    costs = spread(sold.day, price * selling, ends_day)
    return SaleReceipts(gross=paid, selling=costs, net=paid - costs)


def monthly_sales(
    flats: int, presold: int, per_month: float, price: float, deposit_share: float = 0.0
) -> tuple[float, Floats]:
    """Return receipts of sales counted in whole months after handover.

    Flats sold before handover are paid for in the first month after it, beside that month's sales.

    Parameters
    ----------
    flats, presold : int
        Flats, and those sold before handover. [no.]
    per_month : float
        Sales a month after handover. [no./month, > 0]
    price : float
        Price of a flat. [money]
    deposit_share : float
        Deposit of the presold that was paid over before. [-, 0 to 1]

    Returns
    -------
    deposits : float
        Received before handover. [money]
    receipts : array, shape (months,)
        Received in each month after handover, until all are sold. [money]

    Examples
    --------
    >>> deposits, receipts = monthly_sales(4, 2, 1.0, 100.0, 0.1)
    >>> deposits, receipts.tolist()
    (20.0, [280.0, 100.0])
    """
    if not 0 <= presold <= flats or flats < 1:
        raise RangeError(f"Presold flats must be 0 to {flats}; got {presold}. Correct the count.")
    pace = float(_above_zero("Sales per month", per_month))
    deposit = float(_share("The deposit", deposit_share))
    left = flats - presold
    months = max(math.ceil(left / pace), 1)
    sold = np.diff(np.minimum(np.arange(months + 1) * pace, left))
    receipts = sold * price
    receipts[0] += (1 - deposit) * presold * price
    return deposit * presold * price, receipts


def let_by_month(homes: int, per_month: float, stabilised_share: float, months: int) -> Floats:
    """Return homes let at the end of each month after handover, as a building for rent fills.

    Parameters
    ----------
    homes : int
        Homes. [no., >= 1]
    per_month : float
        Lettings a month. [no./month, > 0]
    stabilised_share : float
        Share let once the building is full in practice. [-, 0 to 1]
    months : int
        Months to count. [no., >= 1]

    Returns
    -------
    array, shape (months,)
        Homes let. [no.]

    Examples
    --------
    >>> let_by_month(200, 26, 0.95, 9).tolist()
    [26.0, 52.0, 78.0, 104.0, 130.0, 156.0, 182.0, 190.0, 190.0]
    """
    if homes < 1 or months < 1:
        raise RangeError(f"Lettings need a home and a month at least; got {homes} homes, {months} months.")
    pace = float(_above_zero("Lettings per month", per_month))
    full = homes * float(_share("The stabilised share", stabilised_share))
    return np.asarray(np.minimum(np.arange(1, months + 1) * pace, full))


def stabilisation_month(homes: int, per_month: float, stabilised_share: float) -> int:
    """Return the month after handover in which a building for rent is full in practice.

    Parameters
    ----------
    homes, per_month, stabilised_share
        As for `let_by_month`.

    Returns
    -------
    int
        Month, counted from 1. [no.]

    Examples
    --------
    >>> stabilisation_month(200, 26, 0.95)
    8
    """
    pace = float(_above_zero("Lettings per month", per_month))
    return math.ceil(homes * float(_share("The stabilised share", stabilised_share)) / pace)


def net_operating_income(
    homes: float,
    rent_per_month: float,
    occupancy: float,
    operating_share: float,
    *,
    of_full_rent: bool = False,
) -> float:
    """Return the income of a year from homes for rent.

    Parameters
    ----------
    homes : float
        Homes. [no.]
    rent_per_month : float
        Rent of a home. [money a month]
    occupancy : float
        Share let and paid. [-, 0 to 1]
    operating_share : float
        Operating costs over the rent. [-, 0 to 1]
    of_full_rent : bool
        Whether the operating share already holds the empty homes, so that it is taken off the rent of
        all of them.

    Returns
    -------
    float
        Net operating income. [money a year]

    Examples
    --------
    >>> net_operating_income(200, 1700, 0.95, 0.25)
    2907000.0
    """
    let = 1.0 if of_full_rent else float(_share("Occupancy", occupancy))
    kept = 1 - float(_share("The operating share", operating_share))
    return float(round(homes * rent_per_month * 12 * let * kept, 6))


def value_at_yield(income: float, net_yield: float, purchaser_cost_share: float = 0.0) -> float:
    """Return what a buyer pays for an income.

    Parameters
    ----------
    income : float
        Net income. [money a year]
    net_yield : float
        Net initial yield. [-, > 0]
    purchaser_cost_share : float
        Purchaser's costs over the price paid. [-, 0 to 1]

    Returns
    -------
    float
        Price. [money]

    Notes
    -----
    The usual British way: income over yield is the gross value, and the price with the purchaser's
    costs on top makes it up. Some texts take the share off the gross value instead, which is less.

    Examples
    --------
    >>> round(value_at_yield(2907000, 0.0475, 0.018), 2)
    60117878.19
    """
    gross = income / float(_above_zero("The yield", net_yield))
    return gross / (1 + float(_share("Purchaser's costs", purchaser_cost_share)))


@lru_cache(maxsize=64)
def _kept_reservation_days(
    flats: tuple[int, ...], ranked: tuple[int, ...], rate: float, most: float
) -> Floats:
    """Days from launch to each flat's reservation: they do not depend on handover. Not to be written to."""
    days = _reservation_days(np.array(flats), np.array(ranked), np.asarray(rate), np.asarray(most))
    days.flags.writeable = False
    return days


def _reservation_days(
    flats: NDArray[np.int64], ranked: NDArray[np.int64], rate: Floats, most: Floats
) -> Floats:
    """Return the days from launch to each flat's reservation, blocks as given.

    Reservations are followed as a flow: between two sell-outs every block draws a constant rate, the
    earlier in the order first. There are at most as many such stretches as blocks.
    """
    blocks = flats.size
    lead = rate.shape
    now = np.zeros(lead)
    left = np.broadcast_to(flats.astype(float), (*lead, blocks)).copy()
    taken = np.zeros((*lead, blocks))
    edges = np.concatenate([[0], np.cumsum(flats)])
    days = np.zeros((*lead, int(edges[-1])))
    for _ in range(blocks):
        drawn = _shared_out(left, ranked, rate, most)
        active = drawn > 0
        lasts = np.divide(left, drawn, out=np.full_like(left, np.inf), where=active)
        length = lasts.min(axis=-1)
        length = np.where(np.isfinite(length), length, 0.0)
        for block in range(blocks):
            place = np.arange(flats[block]) + 0.5 - taken[..., block, np.newaxis]
            pace = drawn[..., block, np.newaxis]
            waited = np.divide(place, pace, out=np.zeros_like(place), where=pace > 0)
            here = (pace > 0) & (place >= -_SAME_FLAT)  # those of later stretches are written again
            part = days[..., edges[block] : edges[block + 1]]
            np.copyto(part, now[..., np.newaxis] + waited, where=here)
        gone = drawn * length[..., np.newaxis]
        sold_out = active & (lasts <= length[..., np.newaxis])
        taken = np.where(sold_out, flats, taken + gone)
        left = np.where(sold_out, 0.0, left - gone)
        now = now + length
    return days


def _shared_out(left: Floats, ranked: NDArray[np.int64], rate: Floats, most: Floats) -> Floats:
    """Return the rate each block draws while it has flats left, first in the order first."""
    drawn = np.zeros_like(left)
    spare = rate.copy()
    for place in range(left.shape[-1]):
        block = ranked[..., place, np.newaxis]
        here = np.take_along_axis(left, block, axis=-1)[..., 0] > 0
        draws = np.where(here, np.minimum(spare, most), 0.0)
        np.put_along_axis(drawn, block, draws[..., np.newaxis], axis=-1)
        spare = spare - draws
    return drawn


def _flat_counts(flats_per_block: Sequence[int]) -> NDArray[np.int64]:
    given = np.asarray(flats_per_block)
    counts = given.astype(np.int64)
    if counts.ndim != 1 or counts.size == 0 or np.any(counts < 1) or np.any(counts != given):
        raise RangeError(
            f"Each block needs one flat for sale at least, in whole numbers; got {given.tolist()}. "
            "Leave a block without flats out of the sale."
        )
    return counts


def _order(order: ArrayLike, blocks: int) -> NDArray[np.int64]:
    given = np.asarray(order, dtype=np.int64)
    if given.ndim == 0 or given.shape[-1] != blocks or np.any(np.sort(given, axis=-1) != np.arange(blocks)):
        raise RangeError(
            f"The order of sale must name each of the {blocks} blocks once, counted from 0; "
            f"got {given.tolist()}. Correct it, or leave it out to sell in order of handover."
        )
    return given


def _finite(name: str, value: ArrayLike) -> Floats:
    given = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(given)):
        raise RangeError(f"{name} must be a finite number; one is not. Check the programme behind it.")
    return given


def _above_zero(name: str, value: ArrayLike) -> Floats:
    given = np.asarray(value, dtype=float)
    if not np.all(given > 0):
        raise RangeError(
            f"{name} must be above 0; got {given.min():g}. Without sales there is no receipt to date."
        )
    return given


def _share(name: str, value: ArrayLike) -> Floats:
    given = np.asarray(value, dtype=float)
    if not np.all((given >= 0) & (given <= 1)):
        raise RangeError(
            f"{name} must be between 0 and 1, as a share and not per cent; "
            f"got {given.min():g} to {given.max():g}."
        )
    return given
