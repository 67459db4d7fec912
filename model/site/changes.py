"""Which trades and packages does one method no longer need, and which does it bring?"""

from __future__ import annotations

from dataclasses import dataclass

from model.inputs.method import read_catalogue
from model.site.operation import SiteUse


@dataclass(frozen=True, slots=True)
class Changed:
    """Names in both, in the first only, in the second only; each in the order of its method."""

    kept: tuple[str, ...]
    gone: tuple[str, ...]
    new: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TradesChanged:
    """Trades and packages of a second method against a first, by their labels."""

    trades: Changed
    packages: Changed


def trades_changed(first: SiteUse, second: SiteUse) -> TradesChanged:
    """Compare the trades and packages of two methods.

    Parameters
    ----------
    first, second : SiteUse

    Returns
    -------
    TradesChanged
        Kept and gone as the first has them, new as the second brings them.
    """
    labels = {name: trade.label for name, trade in read_catalogue().trades.items()}
    one, other = (tuple(labels[name] for name in use.trades) for use in (first, second))
    return TradesChanged(changed(one, other), changed(first.packages, second.packages))


def changed(first: tuple[str, ...], second: tuple[str, ...]) -> Changed:
    """Sort names into kept, gone and new.

    Parameters
    ----------
    first, second : tuple of str

    Returns
    -------
    Changed

    Examples
    --------
    >>> changed(("a", "b"), ("b", "c"))
    Changed(kept=('b',), gone=('a',), new=('c',))
    """
    return Changed(
        kept=tuple(name for name in first if name in second),
        gone=tuple(name for name in first if name not in second),
        new=tuple(name for name in second if name not in first),
    )
