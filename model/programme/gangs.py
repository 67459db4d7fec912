"""How many gangs of each trade, so that nobody holds up the frame and nobody stands about?

The pace of a block is the slowest of: what its frame gangs can do, the chain of frame work from pour
to pour, what its crane can lift, what its deck sets allow; for the middle storey, settled, at the mean
calendar of a year. Trades that keep pace get as many gangs as that takes, up to what the market supplies;
one that is tied to a block and works between a pour and the pour above gets a gang to each zone, as the
frame trades do, or it would hold up the frame while its gang is in the other zone.
Worked out once, before scheduling; shown; may be fixed by hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.inputs.assumption import Values
from model.inputs.method import Catalogue
from model.programme.conditions import Conditions
from model.programme.durations import Tasks
from model.programme.kernel import FRAME_USE, PANEL_USE, early_finish, late_start
from model.programme.network import Network

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Gangs:
    """Gangs by trade and block, and the pace they were sized for.

    Attributes
    ----------
    pools : tuple of (str, int)
        Trade and block (-1 for a trade that travels) of each pool that has work.
    counts : array of int
        Gangs of each pool.
    pool_of : array of int, shape (trades, blocks)
        Pool of a trade in a block; -1 where it has no work.
    pace_days : array, one a block
        Dates a storey, closed dates included. [days]
    bound_by : tuple of str
        Which of the four set the pace of each block.
    """

    pools: tuple[tuple[str, int], ...]
    counts: Ints
    pool_of: Ints
    pace_days: Floats
    bound_by: tuple[str, ...]

    def by_trade(self) -> dict[str, int]:
        """Return gangs by trade, over all blocks."""
        total: dict[str, int] = {}
        for (trade, _block), count in zip(self.pools, self.counts, strict=True):
            total[trade] = total.get(trade, 0) + int(count)
        return total

    @property
    def pointers(self) -> Ints:
        """First gang of each pool, and one past the last."""
        return np.concatenate([[0], np.cumsum(self.counts)]).astype(np.int64)


def size_gangs(
    network: Network,
    tasks: Tasks,
    mean_lag: Floats,
    conditions: Conditions,
    catalogue: Catalogue,
    values: Values,
    storeys: tuple[int, ...],
    block_crane: Ints,
    sets: int,
    keeps_set: bool,
) -> Gangs:
    """Size the gangs of every trade.

    Parameters
    ----------
    network : Network
    tasks : Tasks
    mean_lag : array
        Lag of each link at the mean calendar. [days]
    conditions : Conditions
    catalogue : Catalogue
    values : Values
    storeys : tuple of int
        Storeys of each block.
    block_crane : array of int
        Crane of each block.
    sets : int
        Deck sets of a block; 0 where the deck has none.
    keeps_set : bool
        Whether a set stays until its props are out.

    Returns
    -------
    Gangs
    """
    blocks = len(storeys)
    trade_names = list(catalogue.trades)
    days = np.divide(
        tasks.settled,
        conditions.mean_share[tasks.calendar],
        out=np.zeros(network.size),
        where=tasks.settled > 0,
    )
    middle = np.array([math.ceil(s / 2) for s in storeys], dtype=np.int64)
    here = (network.block >= 0) & (network.storey > 0)
    here &= network.storey == middle[np.maximum(network.block, 0)]
    per_storey = np.zeros((len(trade_names), blocks))
    at = np.flatnonzero(here & (tasks.trade >= 0))
    np.add.at(per_storey, (tasks.trade[at], network.block[at]), days[at])

    fixed = np.array([_gangs_set(name, values) for name in trade_names], dtype=np.int64)
    pace = np.zeros((4, blocks))
    frame = [k for k, name in enumerate(trade_names) if catalogue.trades[name].frame]
    pace[0] = (per_storey[frame] / np.maximum(fixed[frame], 1)[:, None]).max(axis=0)
    zones_in_chain = np.zeros((len(trade_names), blocks))
    for b in range(blocks):
        chain = _in_chain(network, tasks, days, mean_lag, b, int(middle[b]))
        zones_in_chain[np.unique(tasks.trade[chain]), b] = _zones(network, b)
        pace[1, b], pace[3, b] = _chains(network, tasks, days, mean_lag, b, int(middle[b]), sets, keeps_set)
    lifts = here & (tasks.crane >= 0) & ((tasks.use == FRAME_USE) | (tasks.use == PANEL_USE))
    hook = np.bincount(network.block[lifts], tasks.hook[lifts], minlength=blocks)
    served = np.bincount(block_crane, minlength=conditions.mean_hook.size)
    pace[2] = hook / (conditions.mean_hook[block_crane] / served[block_crane])
    slowest = pace.max(axis=0)
    words = ("frame gangs", "chain from pour to pour", "crane", "deck sets")

    pools: list[tuple[str, int]] = []
    counts: list[int] = []
    pool_of = np.full((len(trade_names), blocks), -1, dtype=np.int64)
    has_work = np.zeros((len(trade_names), blocks), dtype=bool)
    busy = (tasks.trade >= 0) & (tasks.work > 0)
    has_work[tasks.trade[busy], network.block[busy]] = True
    for k, name in enumerate(trade_names):
        trade = catalogue.trades[name]
        if not has_work[k].any():
            continue
        if trade.travels:
            need = float((per_storey[k] / slowest).sum())
            pool_of[k, has_work[k]] = len(pools)
            pools.append((name, -1))
            counts.append(_count(need, fixed[k], name, values))
        else:
            for b in map(int, np.flatnonzero(has_work[k])):
                pool_of[k, b] = len(pools)
                pools.append((name, b))
                need = max(float(per_storey[k, b] / slowest[b]), float(zones_in_chain[k, b]))
                counts.append(_count(need, fixed[k], name, values))
    return Gangs(
        pools=tuple(pools),
        counts=np.array(counts, dtype=np.int64),
        pool_of=pool_of,
        pace_days=slowest,
        bound_by=tuple(words[k] for k in pace.argmax(axis=0)),
    )


def _gangs_set(name: str, values: Values) -> int:
    """Gangs set for a trade; 0 means that it keeps pace."""
    return round(values[f"trade.{name}.gangs"])


def _count(need: float, fixed: int, name: str, values: Values) -> int:
    if fixed > 0:
        return int(fixed)
    return max(1, min(math.ceil(need - 1e-9), round(values[f"trade.{name}.most_gangs"])))


def _slab(network: Network, block: int, storey: int) -> int:
    """Return the first zone of a slab."""
    return int(network.first["event:slab_poured"][block]) + (storey - 1) * _zones(network, block)


def _zones(network: Network, block: int) -> int:
    """Return how many zones a slab has."""
    slabs = network.tasks_of("event:slab_poured")
    return int(((network.block[slabs] == block) & (network.storey[slabs] == 1)).sum())


def _in_chain(
    network: Network, tasks: Tasks, days: Floats, mean_lag: Floats, block: int, storey: int
) -> Ints:
    """Return the tasks of one zone that stand between its pour and the pour above."""
    below, above = _slab(network, block, storey), _slab(network, block, storey + 1)
    start = np.full(network.size, -np.inf)
    start[below] = 0.0
    reached = early_finish(network.order, network.succ_ptr, network.after, mean_lag, days, start)
    limit = np.full(network.size, np.inf)
    limit[above] = 0.0
    reaches = late_start(network.order, network.succ_ptr, network.after, mean_lag, days, limit)
    return np.flatnonzero(np.isfinite(reached) & np.isfinite(reaches) & (tasks.work > 0))


def _chains(
    network: Network,
    tasks: Tasks,
    days: Floats,
    mean_lag: Floats,
    block: int,
    storey: int,
    sets: int,
    keeps_set: bool,
) -> tuple[float, float]:
    """Longest chains of one zone: pour to pour above, and deck start to strike shared by the sets."""
    per_level = _zones(network, block)
    below, above = _slab(network, block, storey), _slab(network, block, storey + 1)
    cycle = _longest(network, days, mean_lag, below, above)
    if sets == 0:
        return cycle, 0.0
    laid = "event:deck_laid"
    struck = "activity:props_out" if keeps_set else "activity:soffit_strike"
    offset = (storey - 1) * per_level
    begin = int(network.first[laid][block]) + offset
    end = int(network.first[struck][block]) + offset
    deck = max(
        (days[i] for i in network.before[network.after == begin] if tasks.work[i] > 0),
        default=0.0,
    )
    return cycle, (deck + _longest(network, days, mean_lag, begin, end)) / sets


def _longest(network: Network, days: Floats, mean_lag: Floats, begin: int, end: int) -> float:
    """Longest time from the end of one task to the end of another; 0 if there is no way."""
    start = np.full(network.size, -np.inf)
    start[begin] = -days[begin]
    finish = early_finish(network.order, network.succ_ptr, network.after, mean_lag, days, start)
    return float(max(finish[end], 0.0))
