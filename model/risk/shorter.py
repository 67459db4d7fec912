"""Which events and links decide nothing, so that thousands of schedules can be run without them?

A network says more than dates need. An event that only passes on when something was finished can be left
out, its followers waiting for what it waited for; a link from a task that must be done anyway before
another predecessor begins decides nothing. Both are taken out once a case. What is left gives every task
the very start and finish of the whole network, in every draw: nothing here rests on how long work takes
or on how long a lag is, but that no lag is below 0 and that lags said to be nil stay so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from model.core.compiled import compiled
from model.programme import Plan
from model.programme.kernel import CALENDAR, WORKING

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Whole = NDArray[np.signedinteger[Any]]
Bools = NDArray[np.bool_]

MOST_PASSES: Final = 20
"""Passes over the events; each takes out what the one before made possible."""

MOST_LOOKED_AT: Final = 400
"""Tasks looked at behind a task for another way from one of its predecessors."""


@dataclass(frozen=True, eq=False)
class Shorter:
    """Tasks in the order in which they are served, and the links between them that decide something.

    Attributes
    ----------
    task : array of int
        Task of the network at each place.
    succ_ptr, after, pred_count : array of int
        Followers by place, as the kernel takes them.
    link : array of int
        Link of the network whose lag and kind each link carries.
    """

    task: Ints
    succ_ptr: Whole
    after: Whole
    pred_count: Whole
    link: Ints


def shorten(plan: Plan, varying: Bools, watched: Bools) -> Shorter:
    """Take out of a network what decides no date.

    Parameters
    ----------
    plan : Plan
    varying : array of bool, one a link
        Links whose lag is not that of the plan in every draw.
    watched : array of bool, one a task
        Events whose instants are wanted.

    Returns
    -------
    Shorter
        Starts and finishes of the tasks left are those of the whole network. All work is left.
    """
    network, links = plan.network, plan.links
    order = np.argsort(plan.rank)
    rank = plan.rank
    by_place = np.lexsort((np.arange(network.before.size), rank[network.after], rank[network.before]))
    before, after = rank[network.before[by_place]], rank[network.after[by_place]]
    kind, lag = links.kind[by_place], links.lag[by_place]
    steady = (kind == CALENDAR) & ~varying[by_place]
    keep = (plan.tasks.work > 0) | watched
    left, source, target, carried = _shorten(
        before,
        after,
        np.where(steady, lag, -1.0),
        np.where(steady & (lag <= 0.0), 0, np.where((kind == CALENDAR) | (kind == WORKING), 1, 2)),
        keep[order],
    )
    place = np.cumsum(left) - 1
    source, target = place[source], place[target]
    sort = np.lexsort((target, source))
    source, target, carried = source[sort], target[sort], carried[sort]
    tasks = int(left.sum())
    return Shorter(
        task=order[left],
        succ_ptr=np.searchsorted(source, np.arange(tasks + 1)).astype(np.int32),
        after=target.astype(np.int32),
        pred_count=np.bincount(target, minlength=tasks).astype(np.int32),
        link=by_place[carried],
    )


NIL, RISING, LOOSE = 0, 1, 2
"""Links: nil; later after what is later; neither (what is poured later may harden sooner)."""

SOURCE, TARGET, CARRIED, NEXT_OUT, NEXT_IN, ALIVE = range(6)
"""Columns of the table of links: tasks joined, link whose lag it carries, next of each task, whether left."""


@compiled
def _shorten(
    before: Ints, after: Ints, steady_lag: Floats, nature: Ints, keep: Bools
) -> tuple[Bools, Ints, Ints, Ints]:
    """Return tasks left, and source, target and link carried of the links left.

    Parameters
    ----------
    before, after : array of int, one a link
    steady_lag : array, one a link
        Lag of a calendar link that never varies; below 0 for others. [days]
    nature : array of int, one a link
        NIL, RISING or LOOSE.
    keep : array of bool, one a task
        Tasks that must be left.
    """
    tasks = keep.size
    room = 4 * before.size + tasks  # links taken out stay in their lists and are passed over
    table = np.empty((room, 6), np.int64)
    first = np.full((2, tasks), -1)  # last link made out of and into each task
    size = 0
    for e in range(before.size):
        size = _join(before[e], after[e], e, steady_lag, nature, table, first, size)
    left = np.ones(tasks, np.bool_)
    into, out = np.empty(room, np.int64), np.empty(room, np.int64)
    for _ in range(MOST_PASSES):
        changed = False
        for event in range(tasks):
            if keep[event] or not left[event]:
                continue
            ins = _alive(first[1, event], NEXT_IN, table, into)
            outs = _alive(first[0, event], NEXT_OUT, table, out)
            if ins == 0 or ins * outs > min(ins + outs, room - size):
                continue
            if not _passes_on(into[:ins], out[:outs], table, nature):
                continue
            left[event] = False
            changed = True
            for a in range(ins):
                table[into[a], ALIVE] = 0
                for b in range(outs):
                    table[out[b], ALIVE] = 0
                    link = table[out[b], CARRIED]
                    if nature[link] == NIL:
                        link = table[into[a], CARRIED]
                    size = _join(
                        table[into[a], SOURCE],
                        table[out[b], TARGET],
                        link,
                        steady_lag,
                        nature,
                        table,
                        first,
                        size,
                    )
        if not changed:
            break
    _drop_needless(left, table, first, nature)
    found = np.flatnonzero(table[:size, ALIVE])
    return left, table[found, SOURCE], table[found, TARGET], table[found, CARRIED]


@compiled
def _alive(link: int, following: int, table: Ints, found: Ints) -> int:
    """Write the links of a list that are left; return how many."""
    count = 0
    while link >= 0:
        if table[link, ALIVE]:
            found[count] = link
            count += 1
        link = table[link, following]
    return count


@compiled
def _passes_on(into: Ints, out: Ints, table: Ints, nature: Ints) -> bool:
    """Say whether an event's followers may wait for its predecessors instead, to the last digit.

    Of two links one after the other one must be nil. Where the second is not, the latest of several
    predecessors must be the one that counts after it too.
    """
    for a in into:
        for b in out:
            one, other = nature[table[a, CARRIED]], nature[table[b, CARRIED]]
            if other != NIL and (one != NIL or (other == LOOSE and into.size > 1)):
                return False
    return True


@compiled
def _join(
    before: int, after: int, link: int, steady_lag: Floats, nature: Ints, table: Ints, first: Ints, size: int
) -> int:
    """Add a link unless one beside it is never shorter; drop those beside it that never are longer.

    Returns the links made so far.
    """
    e = first[1, after]
    while e >= 0:
        if table[e, ALIVE] and table[e, SOURCE] == before:
            other = table[e, CARRIED]
            both = steady_lag[link] >= 0.0 and steady_lag[other] >= 0.0
            if nature[link] == NIL or (both and steady_lag[link] <= steady_lag[other]):
                return size
            if nature[other] == NIL or (both and steady_lag[other] <= steady_lag[link]):
                table[e, ALIVE] = 0
        e = table[e, NEXT_IN]
    table[size, SOURCE], table[size, TARGET], table[size, CARRIED] = before, after, link
    table[size, NEXT_OUT], table[size, NEXT_IN], table[size, ALIVE] = first[0, before], first[1, after], 1
    first[0, before], first[1, after] = size, size
    return size + 1


@compiled
def _drop_needless(left: Bools, table: Ints, first: Ints, nature: Ints) -> None:
    """Take out nil links from what must be done anyway before another predecessor begins."""
    seen = np.full(left.size, -1)
    queue = np.empty(MOST_LOOKED_AT + left.size, np.int64)
    into = np.empty(table.shape[0], np.int64)
    for task in range(left.size):
        ins = _alive(first[1, task], NEXT_IN, table, into)
        if not left[task] or ins < 2:
            continue
        for k in range(ins):
            queue[k] = table[into[k], SOURCE]
        place, size = 0, ins
        while place < size:
            e = first[1, queue[place]]
            place += 1
            while e >= 0 and size < ins + MOST_LOOKED_AT:
                if table[e, ALIVE] and seen[table[e, SOURCE]] != task:
                    seen[table[e, SOURCE]] = task
                    queue[size] = table[e, SOURCE]
                    size += 1
                e = table[e, NEXT_IN]
        for k in range(ins):
            if nature[table[into[k], CARRIED]] == NIL and seen[table[into[k], SOURCE]] == task:
                table[into[k], ALIVE] = 0
