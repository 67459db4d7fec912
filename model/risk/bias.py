"""What would the public sector's allowance for optimism make of the same programme and cost?

A percentage put on an early estimate because estimates of projects past turned out too low, from a review of
large public procurement in the United Kingdom. It stands for all that was not foreseen, and so do drawn
percentiles: either the expected case with the allowance, or the 80 % point, never one on top of the other.
"""

from __future__ import annotations

from collections.abc import Mapping

from model.core.errors import RangeError

SENTENCE = (
    "An allowance for optimism is another way of saying what the 80 % point says: use one or the other, "
    "never both. It comes from large public projects of all kinds and knows nothing of this programme."
)


def optimism_bias(weeks: float, pct: float) -> float:
    """Return a duration with an allowance for optimism.

    Parameters
    ----------
    weeks : float
        As estimated. [weeks]
    pct : float
        Allowance. [%, >= 0]

    Returns
    -------
    float
        [weeks]

    References
    ----------
    *Review of Large Public Procurement in the UK*, for HM Treasury, July 2002.

    Examples
    --------
    >>> optimism_bias(100.0, 4.0)
    104.0
    """
    if not pct >= 0:
        raise RangeError(f"An allowance for optimism must be 0 % or more; got {pct:g}. 0 leaves it out.")
    return weeks * (1.0 + pct / 100.0)


def blended(standard: float, special: float, special_share: float) -> float:
    """Return the allowance of a project of which a share, by value, is not of a standard kind.

    Parameters
    ----------
    standard, special : float
        Allowance for standard buildings, and for others. [%]
    special_share : float
        [-, 0 to 1]

    Returns
    -------
    float
        [%]

    Examples
    --------
    >>> round(blended(24.0, 51.0, 0.3), 1), round(blended(4.0, 39.0, 0.3), 1)
    (32.1, 14.5)
    """
    if not 0.0 <= special_share <= 1.0:
        raise RangeError(f"A share must be 0 to 1, and not per cent; got {special_share:g}.")
    return special_share * special + (1.0 - special_share) * standard


def allowances(values: Mapping[str, float]) -> dict[str, float]:
    """Return the allowances a scenario's records come to.

    Parameters
    ----------
    values : mapping of str to float
        Records ``optimism.*``.

    Returns
    -------
    dict
        ``weeks`` and ``cost``. [%]
    """
    share = values["optimism.special_share"]
    return {
        name: blended(values[f"optimism.standard_{name}"], values[f"optimism.special_{name}"], share)
        for name in ("weeks", "cost")
    }
