"""Are the arguments of the receipts fit to be used? Each check returns an array, or says why not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError

Floats = NDArray[np.float64]


def checked_finite(name: str, value: ArrayLike) -> Floats:
    """Return the figures as an array; refuse any that is not finite, by the name given."""
    given = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(given)):
        raise RangeError(f"{name} must be a finite number; one is not. Check the programme behind it.")
    return given


def checked_positive(name: str, value: ArrayLike) -> Floats:
    """Return the figures as an array; refuse any that is not above 0, by the name given."""
    given = np.asarray(value, dtype=float)
    if not np.all(given > 0):
        raise RangeError(
            f"{name} must be above 0; got {given.min():g}. Without it no receipt can be dated or priced."
        )
    return given


def checked_share(name: str, value: ArrayLike) -> Floats:
    """Return the shares as an array; refuse any outside 0 to 1, by the name given."""
    given = np.asarray(value, dtype=float)
    if not np.all((given >= 0) & (given <= 1)):
        raise RangeError(
            f"{name} must be between 0 and 1, as a share and not per cent; "
            f"got {given.min():g} to {given.max():g}."
        )
    return given


def checked_notice(notice_days: ArrayLike) -> Floats:
    """Return the notice as an array; refuse less than 0 days."""
    notice = checked_finite("The notice", notice_days)
    if np.any(notice < 0):
        raise RangeError(f"The notice must be 0 days or more; got {notice.min():g}. Count it from handover.")
    return notice


def checked_homes(name: str, homes_per_section: Sequence[int]) -> NDArray[np.int64]:
    """Return the homes of each section; refuse parts of a home, fewer than none, and none at all."""
    given = np.asarray(homes_per_section, dtype=float)
    whole = np.isfinite(given) & (given >= 0) & (given == np.floor(given))
    if given.ndim != 1 or not np.all(whole) or given.sum() < 1:
        raise RangeError(
            f"Sections need {name} in whole numbers, 0 or more each and one in all at least; "
            f"got {given.tolist()}. Without any, leave this part of the receipts out."
        )
    return given.astype(np.int64)


def checked_per_section(name: str, value: ArrayLike, sections: int) -> Floats:
    """Return figures that stand for each section on the last axis; refuse others, by the name given."""
    given = checked_finite(name, value)
    if given.ndim == 0 or given.shape[-1] != sections:
        raise RangeError(f"{name} of shape {given.shape} do not fit {sections} sections. Give one for each.")
    return given


def checked_order(
    order: ArrayLike, count: int, name: str = "The order of sale", places: str = "blocks"
) -> NDArray[np.int64]:
    """Return an order of blocks or sections; refuse one that leaves any out or names one twice."""
    given = np.asarray(order, dtype=np.int64)
    if given.ndim == 0 or given.shape[-1] != count or np.any(np.sort(given, axis=-1) != np.arange(count)):
        raise RangeError(
            f"{name} must name each of the {count} {places} once, counted from 0; "
            f"got {given.tolist()}. Correct it, or leave it out to take them in order of handover."
        )
    return given
