"""How is a difference shared out among what made it, whatever the order it is told in?

Players are switched on one by one; what each adds is averaged over every order of switching. Nothing here
knows what the players or their worth are.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MOST_PLAYERS: Final = 10
"""Players switched one by one; every further one doubles the sets. [no.]"""


def every_subset(players: int) -> Bools:
    """Return every set of players: row r has player k where bit k of r is set.

    Examples
    --------
    >>> every_subset(2).astype(int).tolist()
    [[0, 0], [1, 0], [0, 1], [1, 1]]
    """
    if not 0 <= players <= MOST_PLAYERS:
        raise RangeError(
            f"{players} parts differ; at most {MOST_PLAYERS} are switched one by one. "
            "Put some of them together."
        )
    return np.asarray((np.arange(2**players)[:, np.newaxis] >> np.arange(players)) & 1, dtype=bool)


def shapley(worth: ArrayLike) -> Floats:
    """Return what each player adds, averaged over every order in which they may come.

    Parameters
    ----------
    worth : array, shape (2^n, ...)
        Worth of every set, in the order of `every_subset`.

    Returns
    -------
    array, shape (n, ...)
        Sums over the players to the worth of all less the worth of none.

    References
    ----------
    L. S. Shapley, "A value for n-person games", *Contributions to the Theory of Games* II, 1953.

    Examples
    --------
    >>> shapley([0.0, 1.0, 2.0, 5.0]).tolist()
    [2.0, 3.0]
    """
    value = np.asarray(worth, dtype=float)
    players = value.shape[0].bit_length() - 1 if value.ndim else -1
    if players < 0 or value.shape[0] != 2**players:
        raise RangeError(
            f"A worth is wanted for every set of players, 1, 2, 4, 8, ... of them; got shape {value.shape}. "
            "Work out the sets of every_subset."
        )
    return np.asarray(np.tensordot(_shares(players), value, axes=1))


@lru_cache(maxsize=MOST_PLAYERS + 1)
def _shares(players: int) -> Floats:
    """Return the weight of every set in what each player adds, shape (n, 2^n).

    Of all orders, |S|! (n - |S| - 1)! / n! have exactly the set S before a player.
    """
    on = every_subset(players)
    size = on.sum(axis=1)
    orders = [math.factorial(k) * math.factorial(players - 1 - k) for k in range(players)]
    before = np.array([*orders, 0.0]) / math.factorial(players)
    return np.asarray(np.where(on, before[size - 1][:, np.newaxis], -before[size][:, np.newaxis]).T)
