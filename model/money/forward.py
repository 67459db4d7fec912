"""When does a buyer pay who agrees to take the finished building before it is built, and how much?

Part of the price at the contract, part as the works progress, the rest as each section is handed over.

Nothing here knows what the works are. Days are counted from the start on site; money is in any currency;
shares are 0 to 1. Sections and months stand on the last axis, with any axes before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from model.core.errors import RangeError
from model.money.checks import checked_finite, checked_notice, checked_per_section, checked_share
from model.money.grid import Floats, spread
from model.money.receipts import (
    price_at_yield,
)

_SAME_SHARE: Final = 1e-9
"""Rounding allowed where shares add to one. [-]"""


@dataclass(frozen=True, eq=False)
class ForwardReceipts:
    """What the buyer pays, by month.

    Attributes
    ----------
    contract : array, shape (..., months)
        Paid at the contract, as for the land. [money]
    stages : array, shape (..., months)
        Paid as the works progress. [money]
    handover : array, shape (..., months)
        Paid after the handover of each section. [money]
    net : array, shape (..., months)
        Sum of the three. [money]
    """

    contract: Floats
    stages: Floats
    handover: Floats
    net: Floats


def forward_receipts(
    price_per_section: ArrayLike,
    contract_day: ArrayLike,
    handover_days: ArrayLike,
    notice_days: ArrayLike,
    progress_by_month: ArrayLike,
    ends_day: Floats,
    *,
    land_share: ArrayLike,
    stage_share: ArrayLike,
) -> ForwardReceipts:
    """Date the payments of a forward sale.

    Parameters
    ----------
    price_per_section : array, shape (..., sections)
        Price of each section, as from `forward_price`. [money, >= 0]
    contract_day : float or array, shape (...)
        Day of the contract. [days from start on site]
    handover_days : array, shape (..., sections)
        Handover of each section. [days from start on site]
    notice_days : float or array, shape (...)
        Handover to payment. [days, >= 0]
    progress_by_month : array, shape (..., months)
        Part of the works done in each month of the grid, 1 in all. [-, >= 0]
    ends_day : array, shape (months,)
        Month-ends of the grid. [days from start on site]
    land_share : float or array, shape (...)
        Part of the price paid at the contract. [-, 0 to 1]
    stage_share : float or array, shape (...)
        Part of the price paid as the works progress; the two add to 1 at most. [-, 0 to 1]

    Returns
    -------
    ForwardReceipts

    Raises
    ------
    RangeError
        If the shares add to more than 1, a price or progress is negative, progress does not add to 1 or
        fit the months, an array does not fit the sections, or money falls outside the grid.

    Notes
    -----
    Nothing is paid before the contract: progress made and sections handed over by then are paid for on
    its day.

    Examples
    --------
    >>> paid = forward_receipts(
    ...     [100.0], 0.0, [60.0], 0.0, [0.0, 0.5, 0.5], np.array([0.0, 30.0, 60.0]),
    ...     land_share=0.2, stage_share=0.4,
    ... )
    >>> paid.net.tolist()
    [20.0, 20.0, 60.0]
    """
    price = checked_finite("The price of a section", price_per_section)
    sections = price.shape[-1] if price.ndim else 0
    if sections == 0 or np.any(price < 0):
        raise RangeError(
            f"A forward sale needs a price of 0 or more for each section; got {price.tolist()}. "
            "Give one for each section, together with its handover."
        )
    handover = checked_per_section("Handover days", handover_days, sections)
    signed = checked_finite("The day of the contract", contract_day)[..., np.newaxis]
    notice = checked_notice(notice_days)[..., np.newaxis]
    land = checked_share("The part of the price paid at the contract", land_share)[..., np.newaxis]
    stage = checked_share("The part of the price paid in stages", stage_share)[..., np.newaxis]
    if np.any(land + stage > 1 + _SAME_SHARE):
        raise RangeError(
            f"The buyer pays {(land + stage).max():g} of the price at the contract and in stages; it can be "
            "1 at most. Lower one of the two shares."
        )
    progress = _progress(progress_by_month, ends_day.size)
    whole = price.sum(axis=-1, keepdims=True)
    parts = np.broadcast_arrays(
        spread(signed, whole * land, ends_day),
        spread(np.maximum(ends_day, signed), whole * stage * progress, ends_day),
        spread(np.maximum(handover + notice, signed), price * (1 - land - stage), ends_day),
    )
    contract, stages, rest = parts
    return ForwardReceipts(contract=contract, stages=stages, handover=rest, net=contract + stages + rest)


def forward_price(
    income: ArrayLike, net_yield: ArrayLike, purchaser_cost_share: ArrayLike, discount_share: ArrayLike
) -> Floats:
    """Return what a buyer agrees to pay before the building is built.

    Parameters
    ----------
    income : float or array
        Net operating income of the stabilised building. [money a year]
    net_yield : float or array
        Net initial yield. [-, > 0]
    purchaser_cost_share : float or array
        Purchaser's costs over the price paid. [-, 0 to 1]
    discount_share : float or array
        Taken off the value for buying early. [-, 0 to 1]

    Returns
    -------
    array
        Price; the four are broadcast. [money]

    Examples
    --------
    >>> float(forward_price(50_000, 0.05, 0.0, 0.04))
    960000.0
    """
    value = price_at_yield(income, net_yield, purchaser_cost_share)
    return np.asarray(value * (1 - checked_share("The discount", discount_share)))


def _progress(progress_by_month: ArrayLike, months: int) -> Floats:
    """Return the progress of each month; refuse what is not the whole of the works on the grid."""
    progress = checked_finite("Progress", progress_by_month)
    if progress.ndim == 0 or progress.shape[-1] != months:
        raise RangeError(
            f"Progress of shape {progress.shape} does not fit {months} months. Put it on the same grid."
        )
    if np.any(progress < -_SAME_SHARE):
        raise RangeError(
            f"Progress of a month must be 0 or more; got {progress.min():g}. "
            "Give what is done in each month, not the total by it."
        )
    total = progress.sum(axis=-1)
    wrong = np.abs(total - 1) > _SAME_SHARE
    if np.any(wrong):
        raise RangeError(
            f"Progress must add to 1 over the months; got {float(total[wrong].flat[0]):g}. "
            "Divide what is done in each month by the whole of the works."
        )
    return progress
