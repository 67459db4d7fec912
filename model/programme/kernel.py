"""When does everything happen? Order of the tasks, then the schedule, day by day.

Compiled numerical code on flat arrays; what the arrays mean is written in `model.programme.plan`.
An instant is a real number of days from 00:00 of the start on site; date n is [n, n + 1).

On each date the tasks in hand and the ready tasks are taken in order. A ready task starts when a gang
of its trade is free and, if it lifts, enough hook time of its class is left. It moves on by the least
of: work left, the share of a shift the rest of the date allows, the hook and hoist time left. A task
that ends within a date frees its gang and its followers at that instant. Nothing is reserved ahead.
Work under large lifts gives way for part of a date, by what flew over it on the site's last open date.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.core.compiled import compiled, lean

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Whole = NDArray[np.signedinteger[Any]]
"""Integers of any length."""

CALENDAR, WORKING, STRIKE, PROPS = 0, 1, 2, 3
"""Kinds of lag."""

NO_LIFT, ORDINARY, LARGE = 0, 1, 2
"""Lift classes."""

FRAME_USE, PANEL_USE, OTHER_USE = 0, 1, 2
"""Uses of the hook, for the booked shares; evening loading-out is for other lifts."""

SHORT, TINY = np.int16, np.int8
"""Integers of cranes, hoists, faces and pools; of classes and kinds."""

EPS = 1e-9

DONE, HORIZON_PASSED, LOG_FULL = 0, 1, 2
"""How a run of `run_days` ended."""


@lean
def _push(keys: Floats, items: Ints, size: int, key: float, item: int) -> int:
    """Put an item into a binary heap by key, then item number; return the new size."""
    i = size
    while i > 0:
        parent = (i - 1) >> 1
        if keys[parent] < key or (keys[parent] == key and items[parent] <= item):
            break
        keys[i] = keys[parent]
        items[i] = items[parent]
        i = parent
    keys[i] = key
    items[i] = item
    return size + 1


@lean
def _pop(keys: Floats, items: Ints, size: int) -> int:
    """Take the first item off a binary heap (read it from place 0 before); return the new size."""
    size -= 1
    key = keys[size]
    item = items[size]
    i = 0
    while True:
        child = 2 * i + 1
        if child >= size:
            break
        right = child + 1
        if right < size and (
            keys[right] < keys[child] or (keys[right] == keys[child] and items[right] < items[child])
        ):
            child = right
        if key < keys[child] or (key == keys[child] and item <= items[child]):
            break
        keys[i] = keys[child]
        items[i] = items[child]
        i = child
    keys[i] = key
    items[i] = item
    return size


@compiled
def topological(pred_count: Ints, succ_ptr: Ints, succ: Ints, rank: Ints) -> Ints:
    """Order tasks by rank among those whose predecessors are all ordered.

    Parameters
    ----------
    pred_count : array of int, shape (n,)
        Number of links into each task.
    succ_ptr, succ : array of int
        Followers of task i are ``succ[succ_ptr[i]:succ_ptr[i + 1]]``.
    rank : array of int, shape (n,)
        Smaller goes first.

    Returns
    -------
    array of int
        Tasks in order; shorter than n if the links form a ring.
    """
    n = pred_count.size
    missing = pred_count.astype(np.int32)
    keys = np.empty(n + 1)
    items = np.empty(n + 1, dtype=np.int64)
    size = 0
    for i in range(n):
        if missing[i] == 0:
            size = _push(keys, items, size, float(rank[i]), i)
    order = np.empty(n, dtype=np.int64)
    count = 0
    while size > 0:
        i = items[0]
        size = _pop(keys, items, size)
        order[count] = i
        count += 1
        for e in range(succ_ptr[i], succ_ptr[i + 1]):
            j = succ[e]
            missing[j] -= 1
            if missing[j] == 0:
                size = _push(keys, items, size, float(rank[j]), j)
    return order[:count]


@compiled
def early_finish(order: Ints, succ_ptr: Ints, succ: Ints, lag: Floats, days: Floats, start: Floats) -> Floats:
    """Earliest finish of each task with no limit on gangs or cranes.

    Parameters
    ----------
    order : array of int
        Topological order.
    succ_ptr, succ, lag : array
        Links, lag in days.
    days : array, shape (n,)
        Duration of each task. [days]
    start : array, shape (n,)
        Earliest start imposed from outside; minus infinity leaves a task unreached. [days]

    Returns
    -------
    array, shape (n,)
        Minus infinity where a task is not reached.
    """
    begin = start.copy()
    finish = np.empty(start.size)
    for k in range(order.size):
        i = order[k]
        finish[i] = begin[i] + days[i]
        for e in range(succ_ptr[i], succ_ptr[i + 1]):
            candidate = finish[i] + lag[e]
            if candidate > begin[succ[e]]:
                begin[succ[e]] = candidate
    return finish


@compiled
def late_start(
    order: Ints, succ_ptr: Ints, succ: Ints, lag: Floats, days: Floats, latest_finish: Floats
) -> Floats:
    """Latest start of each task with no limit on gangs or cranes.

    Parameters
    ----------
    order : array of int
        Topological order.
    succ_ptr, succ, lag : array
        Links, lag in days.
    days : array, shape (n,)
        Duration of each task. [days]
    latest_finish : array, shape (n,)
        Latest finish imposed from outside. [days]

    Returns
    -------
    array, shape (n,)
    """
    result = np.empty(latest_finish.size)
    for k in range(order.size - 1, -1, -1):
        i = order[k]
        finish = latest_finish[i]
        for e in range(succ_ptr[i], succ_ptr[i + 1]):
            candidate = result[succ[e]] - lag[e]
            if candidate < finish:
                finish = candidate
        result[i] = finish - days[i]
    return result


@compiled
def next_needed(order: Ints, succ_ptr: Ints, succ: Ints, work: Floats, early: Floats) -> Floats:
    """Earliest start of the work that follows each task, through whatever events lie between.

    Parameters
    ----------
    order : array of int
        Topological order.
    succ_ptr, succ : array of int
        Links.
    work : array, shape (n,)
        0 for an event.
    early : array, shape (n,)
        Earliest start of each task. [days]

    Returns
    -------
    array, shape (n,)
        Infinite where no work follows. [days]
    """
    result = np.full(work.size, np.inf)
    for k in range(order.size - 1, -1, -1):
        i = order[k]
        for e in range(succ_ptr[i], succ_ptr[i + 1]):
            j = succ[e]
            candidate = early[j] if work[j] > 0 else result[j]
            result[i] = min(result[i], candidate)
    return result


@lean
def after_lag(
    instant: float, lag: float, kind: int, open_dates: Floats, open_before: Floats, release: Floats, row: int
) -> float:
    """Instant a lag after another.

    Parameters
    ----------
    instant : float
        End of what is followed. [days]
    lag : float
        [days; working days for kind WORKING; unused for releases]
    kind : int
        CALENDAR, WORKING, STRIKE or PROPS.
    open_dates : array
        1.0 where the site is open on the date.
    open_before : array, one longer
        Open dates before each date.
    release : array, shape (rows, dates)
        Days from the date of a pour to its release.
    row : int
        Row of `release`.
    """
    if kind == CALENDAR:
        return instant + lag
    horizon = open_dates.size
    if kind == WORKING:
        if lag <= 0.0:
            return instant
        date = min(int(instant), horizon - 1)
        target = open_before[date] + (instant - date) * open_dates[date] + lag
        low = date
        high = min(date + 1, horizon)
        while high < horizon and open_before[high] < target - EPS:
            low = high
            high = min(2 * high - date, horizon)
        while low < high:  # first date boundary with at least the target behind it
            middle = (low + high) >> 1
            if open_before[middle] >= target - EPS:
                high = middle
            else:
                low = middle + 1
        if open_before[low] <= target + EPS or low == 0:
            return float(low)
        return float(low - (open_before[low] - target))
    date = int(np.ceil(instant - EPS)) - 1
    date = min(max(date, 0), horizon - 1)
    return float(instant + release[row, date])


@lean
def _insert(items: Whole, first: int, size: int, item: int) -> int:
    """Put a task into the list kept in order from a place on; return the new size."""
    k = first + size
    while k > first and items[k - 1] > item:
        items[k] = items[k - 1]
        k -= 1
    items[k] = item
    return size + 1


@lean
def _let_go(
    stack: Whole,
    top: int,
    work: Floats,
    ready: Floats,
    start: Floats,
    finish: Floats,
    state: NDArray[np.int8],
    bound_link: Whole,
    missing: Whole,
    succ_ptr: Whole,
    succ: Whole,
    lag: Floats,
    lag_kind: Whole,
    open_dates: Floats,
    open_before: Floats,
    release: Floats,
    today: int,
    on_date: Whole,
    next_on_date: Whole,
    ready_keys: Floats,
    ready_items: Whole,
    ready_size: int,
) -> tuple[int, int]:
    """Tell the followers of the finished tasks on the stack, and through events their followers.

    What becomes ready today goes on the heap of ready tasks, what becomes so later on the list of its date.
    Returns the new size of the heap and how many events happened.
    """
    happened = 0
    while top > 0:
        top -= 1
        i = stack[top]
        for e in range(succ_ptr[i], succ_ptr[i + 1]):
            j = succ[e]
            kind = lag_kind[e]
            at = finish[i] + lag[e]
            if kind != CALENDAR:
                at = after_lag(finish[i], lag[e], kind, open_dates, open_before, release, kind - STRIKE)
            if at > ready[j] or bound_link[j] < 0:
                ready[j] = max(at, ready[j])
                bound_link[j] = e
            missing[j] -= 1
            if missing[j] == 0:
                if work[j] <= 0.0:
                    start[j] = ready[j]
                    finish[j] = ready[j]
                    state[j] = 3
                    happened += 1
                    stack[top] = j
                    top += 1
                else:
                    date = int(ready[j] + EPS)
                    if date <= today:
                        ready_size = _push(ready_keys, ready_items, ready_size, ready[j], j)
                    elif date < on_date.size:
                        next_on_date[j] = on_date[date]
                        on_date[date] = j
    return ready_size, happened


@compiled
def run_days(
    work: Floats,
    hook: Floats,
    crane: Whole,
    lift_class: Whole,
    use: Whole,
    hoist_hours: Floats,
    hoist: Whole,
    face: Whole,
    calendar: Whole,
    pool: Whole,
    pred_count: Whole,
    succ_ptr: Whole,
    succ: Whole,
    lag: Floats,
    lag_kind: Whole,
    share: Floats,
    open_dates: Floats,
    open_before: Floats,
    release: Floats,
    hook_ordinary: Floats,
    hook_large: Floats,
    hook_evening: Floats,
    hoist_available: Floats,
    gang_ptr: Whole,
    booked_panels: float,
    least_hook_start: float,
    cleared_per_hour: float,
    log_size: int,
) -> tuple[int, Floats, Floats, Floats, Whole, Whole, Whole, Whole, Floats, Floats, int]:
    """Schedule every task, date by date.

    Tasks come in the order in which they are served: task 0 goes first. Short integers are meant for what
    is counted in tens (`SHORT`, `TINY`): a third of a schedule's time is waiting for memory.

    Parameters
    ----------
    work : array, shape (n,)
        Shifts of work; 0 for an event.
    hook : array, shape (n,)
        Hook hours, spread evenly over the work.
    crane, lift_class, use : array of int, shape (n,)
        Crane (-1 for none), lift class, use of the hook.
    hoist_hours : array, shape (n,)
        Hoist hours, spread evenly over the work.
    hoist, face : array of int, shape (n,)
        Hoist (-1 for none). Block over which the task's large lifts fly, or under whose large lifts it
        works (-1 for neither).
    calendar, pool : array of int, shape (n,)
        Calendar class, pool of gangs (-1 for an event).
    pred_count, succ_ptr, succ, lag, lag_kind : array
        Links.
    share : array, shape (calendars, dates)
        Share of a shift that can be worked on each date.
    open_dates, open_before : array
        1.0 on dates the site is open; open dates before each date (one longer).
    release : array, shape (2, dates)
        Days to strike and to release of props, by date of the pour.
    hook_ordinary, hook_large : array, shape (cranes, dates)
        Hook hours of all lifts together, and those in which large-area loads may fly.
    hook_evening : array, shape (cranes, dates)
        Hook hours after the day's work, for ordinary lifts of neither frame nor panels.
    hoist_available : array, shape (blocks, dates)
        Hoist hours of each block; its first axis is also that of `face`.
    gang_ptr : array of int
        Gangs of pool p are ``gang_ptr[p]`` to ``gang_ptr[p + 1] - 1``.
    booked_panels : float
        Share of the hook booked for panels on dates when the frame lifts too.
    least_hook_start : float
        Hook or hoist hours that must be left for a task to start.
    cleared_per_hour : float
        Share of a date that work under large lifts loses for each hour they flew over the block on the
        last open date before.
    log_size : int
        Room for the progress log.

    Returns
    -------
    status : int
        DONE, HORIZON_PASSED or LOG_FULL.
    ready, start, finish : array, shape (n,)
        Instants. [days]
    gang, bound_link, bound_task : array of int, shape (n,)
        Gang that did it; the link that fixed when it was ready (-1 for none); the task on the same gang
        that held the start back beyond that (-1 for none).
    log_code : array of int; log_work, log_hook : array
        Progress: task * dates + date, shifts and hook hours moved; a task may have two rows on a date.
    undone : int
        Tasks not finished within the horizon.
    """
    n = work.size
    horizon = open_dates.size
    cranes = hook_ordinary.shape[0]
    blocks = hoist_available.shape[0]
    pools = gang_ptr.size - 1
    gangs = gang_ptr[pools]

    ready = np.zeros(n)
    start = np.full(n, -1.0)
    finish = np.full(n, -1.0)
    gang = np.full(n, -1, dtype=np.int32)
    bound_link = np.full(n, -1, dtype=np.int32)
    bound_task = np.full(n, -1, dtype=np.int32)
    left = work.copy()
    hook_left = hook.copy()
    missing = pred_count.astype(np.int32)
    state = np.zeros(n, dtype=np.int8)  # 0 not ready, 1 waiting, 2 in hand, 3 done, 4 left alone till it ends
    resume = np.zeros(n)
    stopped_by_hook = np.full(n, -1, dtype=np.int32)  # last date on which hook time stopped it

    gang_task = np.full(gangs, -1, dtype=np.int64)
    gang_free_at = np.zeros(gangs)
    gang_last = np.full(gangs, -1, dtype=np.int64)
    free_gangs = np.zeros(pools, dtype=np.int64)
    waiting_in = np.zeros(pools, dtype=np.int64)
    to_come = np.zeros(pools, dtype=np.int64)
    wait_ptr = np.zeros(pools + 1, dtype=np.int64)  # tasks that wait for a gang, pool by pool, in order
    wait_items = np.empty(n, dtype=np.int32)
    for i in range(n):
        if pool[i] >= 0:
            wait_ptr[pool[i] + 1] += 1
    for p in range(pools):
        free_gangs[p] = gang_ptr[p + 1] - gang_ptr[p]
        wait_ptr[p + 1] += wait_ptr[p]
    wait_from = wait_ptr[:pools].copy()  # the first of each pool that still waits

    ready_keys = np.empty(n + 1)
    ready_items = np.empty(n + 1, dtype=np.int64)
    ready_size = 0
    on_date = np.full(horizon, -1, dtype=np.int64)  # first of the tasks that become ready on each date
    next_on_date = np.empty(n, dtype=np.int32)
    ends_on = np.full(horizon, -1, dtype=np.int64)  # first of the tasks left alone that end on each date
    next_ends = np.empty(n, dtype=np.int32)
    freed_keys = np.empty(n + 1)
    freed_items = np.empty(n + 1, dtype=np.int64)
    freed_size = 0
    stack = np.empty(n + 1, dtype=np.int64)

    active = np.empty(n + 1, dtype=np.int64)
    active_size = 0
    left_ordinary = np.zeros(cranes)
    left_large = np.zeros(cranes)
    left_panels = np.zeros(cranes)
    left_others = np.zeros(cranes)
    left_evening = np.zeros(cranes)
    left_hoist = np.zeros(blocks)
    flown = np.zeros(blocks)  # hours of large lifts over each block on this date
    clear = np.ones(blocks)  # share of a date left to work under large lifts
    frame_lifts = np.zeros(cranes, dtype=np.int64)
    panel_lifts = np.zeros(cranes, dtype=np.int64)

    log_code = np.empty(log_size, dtype=np.int64)
    log_work = np.empty(log_size)
    log_hook = np.empty(log_size)
    rows = 0
    undone = n

    # tasks that follow nothing
    top = 0
    for i in range(n):
        if missing[i] == 0:
            if work[i] <= 0.0:
                start[i] = 0.0
                finish[i] = 0.0
                state[i] = 3
                undone -= 1
                stack[top] = i
                top += 1
            else:
                next_on_date[i] = on_date[0]
                on_date[0] = i

    ready_size, happened = _let_go(
        stack, top, work, ready, start, finish, state, bound_link, missing, succ_ptr, succ, lag, lag_kind,
        open_dates, open_before, release, -1, on_date, next_on_date, ready_keys, ready_items, ready_size,
    )  # fmt: skip
    undone -= happened

    status = DONE
    date = 0
    looked = 0  # first date whose list has not been looked at
    while undone > 0:
        if date >= horizon:
            status = HORIZON_PASSED
            break
        if open_dates[date] <= 0.0:  # nothing moves; what becomes ready joins on the next open date
            date += 1
            continue
        day_start = float(date)
        day_end = day_start + 1.0
        # tasks ready by the start of the date join those in hand
        for day in range(looked, date + 1):
            i = on_date[day]
            while i >= 0:
                if ready[i] <= day_start + EPS:
                    active_size = _insert(active, 0, active_size, i)
                    state[i] = 1
                    p = pool[i]
                    waiting_in[p] = _insert(wait_items, wait_from[p], waiting_in[p], i)
                else:
                    ready_size = _push(ready_keys, ready_items, ready_size, ready[i], i)
                i = next_on_date[i]
        looked = date + 1
        i = ends_on[date]
        while i >= 0:
            active_size = _insert(active, 0, active_size, i)
            state[i] = 2
            i = next_ends[i]

        for c in range(cranes):
            left_ordinary[c] = hook_ordinary[c, date]
            left_large[c] = hook_large[c, date]
            left_evening[c] = hook_evening[c, date]
            frame_lifts[c] = 0
            panel_lifts[c] = 0
        for b in range(blocks):
            left_hoist[b] = hoist_available[b, date]
            clear[b] = max(1.0 - cleared_per_hour * flown[b], 0.0)
            flown[b] = 0.0
        for k in range(active_size):
            i = active[k]
            if hook_left[i] > EPS and crane[i] >= 0:
                if use[i] == PANEL_USE:
                    panel_lifts[crane[i]] += 1
                elif use[i] == FRAME_USE:
                    frame_lifts[crane[i]] += 1
        shared = False
        for c in range(cranes):
            if frame_lifts[c] > 0 and panel_lifts[c] > 0:
                left_panels[c] = booked_panels * left_ordinary[c]
                left_others[c] = left_ordinary[c] - left_panels[c]
                shared = True
            else:
                left_panels[c] = left_ordinary[c]
                left_others[c] = left_ordinary[c]

        freed_size = 0
        to_come[:] = 0
        for phase in range(2):
            if phase == 1:
                if not shared:
                    break
                for c in range(cranes):  # what either use left of its booking is released
                    left_panels[c] = left_ordinary[c]
                    left_others[c] = left_ordinary[c]
            sweep = 0  # place in the sweep over active tasks; events follow once it is through
            pool_now = -1  # pool whose waiting tasks are being offered a freed gang
            place = 0  # of the next of them
            instant = day_start
            freed_at = day_start
            while True:
                # choose the next task to try
                if sweep < active_size and pool_now < 0:
                    i = active[sweep]
                    sweep += 1
                    instant = day_start
                    if phase == 1 and stopped_by_hook[i] != date:
                        continue
                    if state[i] == 2:
                        instant = resume[i] if phase == 1 else day_start
                    elif state[i] == 1:
                        if free_gangs[pool[i]] - to_come[pool[i]] <= 0:
                            continue
                        instant = max(day_start, ready[i])
                    else:
                        continue
                elif pool_now >= 0:
                    if place >= waiting_in[pool_now] or free_gangs[pool_now] == 0:
                        pool_now = -1
                        continue
                    i = wait_items[wait_from[pool_now] + place]
                    place += 1
                    # in the second phase a task may wait that is ready only later in the date
                    instant = max(freed_at, ready[i])
                else:
                    sweep = active_size
                    next_ready = ready_keys[0] if ready_size > 0 else 1e18
                    next_freed = freed_keys[0] if freed_size > 0 else 1e18
                    if min(next_ready, next_freed) >= day_end - EPS:
                        break
                    if next_freed < next_ready - EPS:
                        freed_at = next_freed
                        p = freed_items[0]
                        to_come[p] -= 1
                        freed_size = _pop(freed_keys, freed_items, freed_size)
                        if waiting_in[p] > 0:
                            pool_now = p
                            place = 0
                        continue
                    instant = next_ready
                    i = ready_items[0]
                    ready_size = _pop(ready_keys, ready_items, ready_size)
                    active_size = _insert(active, 0, active_size, i)
                    sweep = active_size
                    state[i] = 1
                    p = pool[i]
                    waiting_in[p] = _insert(wait_items, wait_from[p], waiting_in[p], i)
                    if free_gangs[pool[i]] - to_come[pool[i]] <= 0:
                        continue

                f = share[calendar[i], date]
                b = face[i]
                if b >= 0 and lift_class[i] != LARGE:
                    f *= clear[b]
                if f <= 0.0:
                    continue
                c = crane[i]
                available = 1e18
                evening = False
                if c >= 0 and hook_left[i] > EPS:
                    available = left_panels[c] if use[i] == PANEL_USE else left_others[c]
                    available = min(available, left_ordinary[c])
                    if lift_class[i] == LARGE:
                        available = min(available, left_large[c])
                    elif use[i] == OTHER_USE and left_evening[c] > 0.0:
                        available += left_evening[c]
                        evening = True
                h = hoist[i]
                carried = left_hoist[h] if h >= 0 else 1e18
                if state[i] == 1:
                    if available < min(least_hook_start, hook_left[i]) - EPS or available <= EPS:
                        stopped_by_hook[i] = date
                        continue
                    if h >= 0 and (carried <= EPS or carried < min(least_hook_start, hoist_hours[i]) - EPS):
                        continue
                    p = pool[i]
                    chosen = -1
                    best = 1e18
                    for g in range(gang_ptr[p], gang_ptr[p + 1]):
                        if gang_task[g] < 0:
                            at = max(instant, gang_free_at[g])
                            if at < best - EPS:
                                best = at
                                chosen = g
                    if chosen < 0 or best >= day_end - EPS:
                        continue
                    instant = best
                    gang_task[chosen] = i
                    free_gangs[p] -= 1
                    waiting_in[p] -= 1
                    k = wait_from[p]
                    while wait_items[k] != i:
                        k += 1
                    while k > wait_from[p]:
                        wait_items[k] = wait_items[k - 1]
                        k -= 1
                    wait_from[p] += 1
                    if pool_now >= 0:
                        place -= 1
                    gang[i] = chosen
                    if gang_free_at[chosen] > ready[i] + EPS:
                        bound_task[i] = gang_last[chosen]
                    start[i] = instant
                    state[i] = 2
                possible = f * (day_end - instant)
                done = min(left[i], possible)
                if h >= 0:
                    rate = hoist_hours[i] / work[i]
                    if carried < done * rate:
                        done = carried / rate
                lifted = 0.0
                if available < 1e17:
                    rate = hook[i] / work[i]
                    if available < done * rate:
                        done = available / rate
                        stopped_by_hook[i] = date
                    lifted = min(done * rate, hook_left[i])
                    hook_left[i] -= lifted
                    by_day = lifted
                    if evening:
                        by_day = max(lifted - left_evening[c], 0.0)
                        left_evening[c] = max(left_evening[c] - lifted, 0.0)
                    left_ordinary[c] -= by_day
                    if lift_class[i] == LARGE:
                        left_large[c] -= by_day
                        if b >= 0:
                            flown[b] += by_day
                    if use[i] == PANEL_USE:
                        left_panels[c] -= by_day
                    else:
                        left_others[c] -= by_day
                if h >= 0:
                    left_hoist[h] -= done * (hoist_hours[i] / work[i])
                left[i] -= done
                resume[i] = instant + done / f
                if done > 0.0:
                    if rows >= log_size:
                        status = LOG_FULL
                        break
                    log_code[rows] = i * horizon + date
                    log_work[rows] = done
                    log_hook[rows] = lifted
                    rows += 1
                if left[i] > EPS and h < 0 and c < 0 and (b < 0 or lift_class[i] == LARGE):
                    # nothing but its calendar holds it: its dates follow, and it comes back on its last
                    day = date + 1
                    while day < horizon:
                        f = share[calendar[i], day]
                        if left[i] - f <= EPS:
                            break
                        if f > 0.0:
                            if rows >= log_size:
                                status = LOG_FULL
                                break
                            left[i] -= f
                            log_code[rows] = i * horizon + day
                            log_work[rows] = f
                            log_hook[rows] = 0.0
                            rows += 1
                        day += 1
                    if status != DONE:
                        break
                    state[i] = 4
                    if day < horizon:
                        next_ends[i] = ends_on[day]
                        ends_on[day] = i
                if left[i] <= EPS:
                    moment = min(resume[i], day_end)
                    finish[i] = moment
                    state[i] = 3
                    undone -= 1
                    g = gang[i]
                    gang_task[g] = -1
                    gang_free_at[g] = moment
                    gang_last[g] = i
                    free_gangs[pool[i]] += 1
                    if moment < day_end - EPS:
                        to_come[pool[i]] += 1
                        freed_size = _push(freed_keys, freed_items, freed_size, moment, pool[i])
                    stack[0] = i
                    ready_size, happened = _let_go(
                        stack, 1, work, ready, start, finish, state, bound_link, missing,
                        succ_ptr, succ, lag, lag_kind, open_dates, open_before, release,
                        date, on_date, next_on_date, ready_keys, ready_items, ready_size,
                    )  # fmt: skip
                    undone -= happened
            if status != DONE:
                break
        if status != DONE:
            break
        kept = 0
        for k in range(active_size):
            if state[active[k]] < 3:
                active[kept] = active[k]
                kept += 1
        active_size = kept
        date += 1
    return (
        status,
        ready,
        start,
        finish,
        gang,
        bound_link,
        bound_task,
        log_code[:rows],
        log_work[:rows],
        log_hook[:rows],
        undone,
    )
