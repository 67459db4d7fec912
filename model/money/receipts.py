"""When are the flats paid for, and how does that follow from handover?

Flats are reserved at a steady rate over the whole development from a launch date, whatever stands
by then; a flat is paid for at the later of its reservation and the handover of its block plus the
notice to complete. So an earlier handover brings forward the flats already reserved, no others:
those still to be reserved come at the market's pace. How many are sold before handover is a result.
Affordable homes have no pace: a housing provider pays for a section's as it is handed over.

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
from model.money.checks import (
    checked_finite,
    checked_homes,
    checked_notice,
    checked_order,
    checked_per_section,
    checked_positive,
    checked_share,
)
from model.money.grid import DAYS_PER_MONTH, Floats, spread

_SAME_FLAT: Final = 1e-9
"""Rounding allowed where one stretch of sales ends and the next begins. [no.]"""

_SAME_SHARE: Final = 1e-9
"""Rounding allowed where shares add to one. [-]"""


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
        Prices paid, less what is given back to buyers. [money]
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
    handover = checked_finite("A handover day", handover_day_per_block)
    if handover.ndim == 0 or handover.shape[-1] != flats.size:
        raise RangeError(
            f"Handover days of shape {handover.shape} do not fit {flats.size} blocks. Give one for each."
        )
    cap = np.inf if cap_per_block_per_month is None else cap_per_block_per_month
    rate = checked_positive("Reservations per month", reservations_per_month) / DAYS_PER_MONTH
    most = checked_positive("The cap per block per month", cap) / DAYS_PER_MONTH
    launch, notice = checked_finite("The launch day", launch_day), checked_notice(notice_days)
    lead = np.broadcast_shapes(handover.shape[:-1], rate.shape, most.shape, launch.shape, notice.shape)
    handover = np.broadcast_to(handover, (*lead, flats.size))
    ranked = (
        np.argsort(handover, axis=-1, kind="stable") if order is None else checked_order(order, flats.size)
    )
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
    price_factor: ArrayLike = 1.0,
    incentive_share: ArrayLike = 0.0,
    deposit_share: ArrayLike = 0.0,
    released_of_deposit_share: ArrayLike = 0.0,
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
        Agents, marketing and legal costs over the price before incentives, paid at completion.
        [-, 0 to 1]
    deposit_released_share : float or array, shape (...)
        Part of the price that reaches the development at reservation. A deposit is normally held by
        a stakeholder until completion, so nothing by default. [-, 0 to 1]
    price_factor : float or array, shape (..., flats)
        Price on the day of reservation over the price in `block_value`, as from `price_path_factor`.
        [-, > 0]
    incentive_share : float or array, shape (...)
        Part of the price given back to buyers at completion. [-, 0 to 1]
    deposit_share : float or array, shape (...)
        Part of the price a buyer pays at reservation. [-, 0 to 1]
    released_of_deposit_share : float or array, shape (...)
        Part of the deposit that reaches the development at reservation; the rest is held until
        completion and is no cash before it. [-, 0 to 1]

    Returns
    -------
    SaleReceipts

    Raises
    ------
    RangeError
        If a share is outside 0 to 1, a price factor is not above 0 or does not fit the flats, the
        released deposit is stated both ways, it exceeds the price less the incentive, or money falls
        outside the grid.

    Notes
    -----
    What is released may be stated as a part of the price (`deposit_released_share`) or as a part of the
    deposit (`deposit_share` and `released_of_deposit_share`), not both. An incentive comes off the balance
    paid at completion, so it takes nothing from the deposit.

    Examples
    --------
    >>> sold = sale_days([1], [30.0], launch_day=0.0, reservations_per_month=1.0, notice_days=0.0)
    >>> sale_receipts(sold, [400.0], np.array([0.0, 30.0, 60.0]), selling_share=0.025).net.tolist()
    [0.0, 390.0, 0.0]
    """
    selling = checked_share("The selling share", selling_share)[..., np.newaxis]
    released = _released(deposit_released_share, deposit_share, released_of_deposit_share)[..., np.newaxis]
    incentive = checked_share("The incentive", incentive_share)[..., np.newaxis]
    at_completion = 1 - incentive - released
    if np.any(at_completion < -_SAME_SHARE):
        raise RangeError(
            f"An incentive and a released deposit take {1 - at_completion.min():g} of the price; together "
            "they can take 1 at most. Lower the incentive, or release less of the deposit."
        )
    value = checked_finite("A block's value", block_value)
    flats = np.bincount(sold.block, weights=sold.number)
    if value.ndim == 0 or value.shape[-1] != flats.size:
        raise RangeError(
            f"Values of shape {value.shape} do not fit {flats.size} blocks. Give one for each block."
        )
    price = (value / flats)[..., sold.block] * sold.number * _price_factor(price_factor, sold.block.size)
    paid = spread(sold.day, price * at_completion, ends_day)
    if np.any(released > 0):
        paid = paid + spread(sold.reserved_day, price * released, ends_day)
    costs = spread(sold.day, price * selling, ends_day)
    return SaleReceipts(gross=paid, selling=costs, net=paid - costs)


def price_path_factor(days: ArrayLike, path: Sequence[tuple[float, float]]) -> Floats:
    """Return the price on given days over today's, read off a path of prices.

    Parameters
    ----------
    days : float or array, any shape
        Days, as of reservation. [days from start on site]
    path : sequence of (month, price)
        Months after the start on site, rising, and the price in each, straight between them and level
        before the first and after the last. [months, % of today's price]

    Returns
    -------
    array, same shape as `days`
        [-]

    Raises
    ------
    RangeError
        If the path is empty, not of pairs, does not rise in its months or falls to 0, or a day is not
        finite.

    Notes
    -----
    A month is 365.25 / 12 days, whatever calendar month it falls in.

    Examples
    --------
    >>> price_path_factor(DAYS_PER_MONTH * np.array([-1.0, 6.0, 24.0]), [(0, 100), (12, 104)]).tolist()
    [1.0, 1.02, 1.04]
    """
    day = checked_finite("A day", days)
    if len(path) == 0 or any(len(point) != 2 for point in path):
        raise RangeError(
            f"A path of prices needs a month and a per cent of today's price at each point; "
            f"got {list(path)}. Give one point at least, such as (0, 100)."
        )
    month, percent = checked_finite("A point of the path of prices", path).T
    if np.any(np.diff(month) <= 0):
        at = int(np.argmax(np.diff(month) <= 0))
        raise RangeError(
            f"The months of a path of prices must rise; got {month[at]:g}, then {month[at + 1]:g}. "
            "Put the points in order, one for each month: a jump in a day is not a path."
        )
    checked_positive("A price on the path, in % of today's,", percent)
    return np.asarray(np.interp(day / DAYS_PER_MONTH, month, percent / 100))


def affordable_receipts(
    flats: Sequence[int],
    handover_days: ArrayLike,
    values: ArrayLike,
    ends_day: Floats,
    notice_days: ArrayLike,
    price_share: ArrayLike,
) -> Floats:
    """Return what a housing provider pays for the affordable homes, section by section, by month.

    They are bought together under one contract, so there is no selling pace and no cost of selling.

    Parameters
    ----------
    flats : sequence of int, length sections
        Affordable homes in each section; a section may have none. [no., >= 0]
    handover_days : array, shape (..., sections)
        Handover of each section. [days from start on site]
    values : array, shape (..., sections)
        Market value of all affordable homes of each section together, 0 where it has none. [money]
    ends_day : array, shape (months,)
        Month-ends of the grid. [days from start on site]
    notice_days : float or array, shape (...)
        Handover to payment. [days, >= 0]
    price_share : float or array, shape (...)
        Price paid over the market value. [-, 0 to 1]

    Returns
    -------
    array, shape (..., months)
        [money]

    Raises
    ------
    RangeError
        If a count is not a whole number, an array does not fit the sections, a section without
        affordable homes has a value for them, the notice is negative, the share is outside 0 to 1, or
        money falls outside the grid.

    Examples
    --------
    >>> affordable_receipts([2, 0], [20.0, 50.0], [1e3, 0.0], np.array([0.0, 30.0, 60.0]), 10.0, 0.6).tolist()
    [0.0, 600.0, 0.0]
    """
    homes = checked_homes("affordable homes", flats)
    handover = checked_per_section("Handover days", handover_days, homes.size)
    value = checked_per_section("Values", values, homes.size)
    stray = (homes == 0) & np.any(value != 0, axis=tuple(range(value.ndim - 1)))
    if np.any(stray):
        raise RangeError(
            f"Section {int(np.argmax(stray))}, counted from 0, has no affordable homes but a value for them. "
            "Give 0, or the number of homes."
        )
    share = checked_share("The price over market value", price_share)[..., np.newaxis]
    notice = checked_notice(notice_days)[..., np.newaxis]
    held = homes > 0
    return spread(handover[..., held] + notice, value[..., held] * share, ends_day)


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
    pace = float(checked_positive("Sales per month", per_month))
    deposit = float(checked_share("The deposit", deposit_share))
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
    pace = float(checked_positive("Lettings per month", per_month))
    full = homes * float(checked_share("The stabilised share", stabilised_share))
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
    pace = float(checked_positive("Lettings per month", per_month))
    return math.ceil(homes * float(checked_share("The stabilised share", stabilised_share)) / pace)


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
    let = 1.0 if of_full_rent else float(checked_share("Occupancy", occupancy))
    kept = 1 - float(checked_share("The operating share", operating_share))
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
    return float(price_at_yield(income, net_yield, purchaser_cost_share))


def price_at_yield(income: ArrayLike, net_yield: ArrayLike, purchaser_cost_share: ArrayLike = 0.0) -> Floats:
    """Return what a buyer pays for each of many incomes; `value_at_yield` over arrays of any one shape.

    Parameters
    ----------
    income, net_yield, purchaser_cost_share : float or array
        As for `value_at_yield`; the three are broadcast.

    Returns
    -------
    array
        Price. [money]

    Examples
    --------
    >>> price_at_yield([100.0, 200.0], 0.05).tolist()
    [2000.0, 4000.0]
    """
    gross = checked_finite("The income", income) / checked_positive("The yield", net_yield)
    return np.asarray(gross / (1 + checked_share("Purchaser's costs", purchaser_cost_share)))


def _released(of_price: ArrayLike, deposit: ArrayLike, of_deposit: ArrayLike) -> Floats:
    """Return the part of the price released at reservation, stated in one of two ways."""
    direct = checked_share("The released deposit", of_price)
    paid = checked_share("The deposit", deposit)
    freed = checked_share("The released part of the deposit", of_deposit)
    if np.any(direct > 0) and np.any(paid > 0):
        raise RangeError(
            f"The deposit is stated twice: {direct.max():g} of the price released at reservation, and "
            f"{paid.max():g} of the price paid, a part of it released. Leave one of them out."
        )
    return direct + paid * freed


def _price_factor(price_factor: ArrayLike, flats: int) -> Floats:
    """Return the price of each flat over today's."""
    factor = checked_positive("A price factor", checked_finite("A price factor", price_factor))
    if factor.ndim and factor.shape[-1] != flats:
        raise RangeError(
            f"Price factors of shape {factor.shape} do not fit {flats} flats. Give one for each flat, "
            "or one number for all."
        )
    return factor


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
