"""What do a hundred drawn programmes cost and earn, all at once?

The same cash as `model.money` gives one plan, with the draws on a leading axis: work paid as it progresses,
date by date; site costs between their own events; retention, fees, land; receipts and loans by the functions
of `model.money` themselves. Work costs what the expected case's does, however long it takes: more hours in a
task are the trade's own; what a longer programme costs is its time-related items, inflation and interest.

Three things of a market are drawn: rate of sales and lettings, prices and rents, interest. Where the maker of
panels fails, his part of the price of what is still to come rises, paid as the rest of it is.

Money in pounds, days from the start on site.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.compare import Case
from model.core.compiled import compiled
from model.core.errors import RangeError
from model.money.account import DAYS_PER_YEAR as INFLATION_YEAR_DAYS
from model.money.account import purchase_day, redesign_share
from model.money.costs import (
    WEEK_DAYS,
    WorkCosts,
    extra_deck_sets,
    read_fixed_costs,
    read_site_costs,
    site_scale,
)
from model.money.facility import FacilityRun, Mezzanine, run_facility
from model.money.forward import forward_price, forward_receipts
from model.money.grid import DAYS_PER_MONTH, MonthGrid, grid_for, spread, spread_evenly
from model.money.income import offered, section_values, sections_of
from model.money.loan import monthly_rates
from model.money.payments import (
    DAYS_PER_WORKING_DAY,
    DAYS_PER_YEAR,
    makes_panels,
    order_day,
    payment_steps,
)
from model.money.receipts import (
    Completions,
    affordable_receipts,
    net_operating_income,
    price_path_factor,
    sale_days,
    sale_receipts,
)
from model.money.rent import Lettings, lettings, rent_receipts
from model.money.returns import npv
from model.programme import Plan
from model.risk.factors import dearer_share

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LAST_FINISH, FIRST_FINISH, FIRST_START = 0, 1, 2
"""What is wanted of some tasks."""

CONSTRUCTION, PREMIUM, SUPPLY, FORWARD, FORWARD_SUPPLY = range(5)
"""Sums by date: what is paid as work goes on, the panel maker's part of what is fixed, and price and panel
maker's part of the blocks sold forward, by which their buyer pays."""

_BY_BLOCK: Final = (
    # instant: event, which of its tasks, what of them
    ("ground_slab", "slab_poured", "first", LAST_FINISH),
    ("third_slab", "slab_poured", "third", LAST_FINISH),
    ("top_slab", "slab_poured", "top", LAST_FINISH),
    ("hoist_struck", "hoist_struck", "all", LAST_FINISH),
    ("access_up", "access_up", "all", FIRST_FINISH),
    ("access_full", "access_up", "all", LAST_FINISH),
    ("access_gone", "access_gone", "all", LAST_FINISH),
)


@dataclass(frozen=True, eq=False)
class Watch:
    """Instants of a plan that dates and prices are made of.

    Attributes
    ----------
    names : tuple of str
        Of each instant; those of a name stand together: one a section, block, crane or task.
    tasks : tuple of array of int
        Tasks of each; without tasks it never comes.
    what : array of int
        LAST_FINISH, FIRST_FINISH or FIRST_START of them.
    """

    names: tuple[str, ...]
    tasks: tuple[Ints, ...]
    what: Ints

    def place(self, name: str) -> slice:
        """Return where the instants of a name stand."""
        first = self.names.index(name)
        return slice(first, first + self.names.count(name))


def watch_of(plan: Plan) -> Watch:
    """Return the instants of a plan that dates and prices are made of."""
    network, tasks = plan.network, plan.tasks
    blocks = len(plan.takeoff.layout.names)
    found: list[tuple[str, Ints, int]] = [
        ("section", np.array([task]), LAST_FINISH) for task in network.tasks_of("event:ready")
    ]
    for name, event, which, what in _BY_BLOCK:
        ids = network.tasks_of(f"event:{event}") if network.has(f"event:{event}") else np.zeros(0, np.int64)
        block, level = network.block[ids], network.storey[ids]
        top = np.zeros(blocks, dtype=np.int64)
        np.maximum.at(top, block, level)
        mine = {
            "all": np.ones(ids.size, dtype=bool),
            "first": level <= 1,
            "third": level == np.minimum(3, top[block]),
            "top": level == top[block],
        }[which]
        found += [(name, ids[mine & (block == b)], what) for b in range(blocks)]
    lifting = (tasks.hook > 0) & (tasks.crane >= 0)
    for name, what in (("first_lift", FIRST_START), ("last_lift", LAST_FINISH)):
        for crane in range(plan.conditions.hook_ordinary.shape[0]):
            found.append((name, np.flatnonzero(lifting & (tasks.crane == crane)), what))
    made = _made(plan)
    found += [("made_from", np.array([task]), FIRST_START) for task in made]
    found += [("made_to", np.array([task]), LAST_FINISH) for task in made]
    names, ids_of, wanted = zip(*found, strict=True)
    return Watch(names, ids_of, np.array(wanted, dtype=np.int64))


def _made(plan: Plan) -> Ints:
    """Return the tasks in which panels are made."""
    if not plan.network.has("activity:make_panels"):
        return np.zeros(0, dtype=np.int64)
    made = plan.network.tasks_of("activity:make_panels")
    return made[plan.tasks.work[made] > 0]


@dataclass(frozen=True, eq=False)
class Prices:
    """What the draws of a method are priced by; worked out once.

    Attributes
    ----------
    plan : Plan
        The expected case.
    work : WorkCosts
        Its prices.
    watch : Watch
    paid : array, shape (tasks, sums)
        What each task adds to each sum once it is done. [GBP]
    """

    plan: Plan
    work: WorkCosts
    watch: Watch
    paid: Floats


def prices_of(case: Case) -> Prices:
    """Return what the draws of a method are priced by."""
    plan, work, v = case.plan, case.account.work, case.plan.values
    own = work.reference + work.premium
    steps = payment_steps(plan)
    held = np.divide(own - work.supply * steps.ahead, own, out=np.ones_like(own), where=own > 0)
    held = (held - v["money.retention_pct"] / 100) * (1 + v["money.contingency_pct"] / 100)
    sums = [work.reference * held, work.premium * held, work.supply]
    forward = sections_of(plan, "forward sale")
    if forward.size:
        mine = np.isin(plan.network.block, np.unique(plan.takeoff.layout.section_block[forward]))
        sums += [own * mine, work.supply * mine]
    return Prices(plan, work, watch_of(plan), np.stack(sums, axis=1))


@dataclass(frozen=True, eq=False)
class DrawnDates:
    """Programmes of one method, one row a draw.

    Attributes
    ----------
    instants : array, shape (draws, instants)
        As `Watch`; not a number where it never comes. [days]
    by_date : array, shape (draws, dates, sums)
        [GBP]
    end : array, shape (draws,)
        Last finish of all. [days]
    """

    instants: Floats
    by_date: Floats
    end: Floats


@dataclass(frozen=True, eq=False)
class Market:
    """What is drawn of the market, and of the panel maker's price; one value a draw.

    Attributes
    ----------
    sales, price : array
        Factors on rate of sales and lettings, on prices and rents. [-]
    interest : array
        Change of the interest on loans. [% a year]
    to_come : array
        Share of the panels still to come when their maker failed; 0 where he did not. [-]
    """

    sales: Floats
    price: Floats
    interest: Floats
    to_come: Floats


@dataclass(frozen=True, eq=False)
class _Batch:
    """Draws of a method on their way through pricing."""

    prices: Prices
    dates: DrawnDates
    market: Market

    @property
    def plan(self) -> Plan:
        return self.prices.plan

    @property
    def draws(self) -> int:
        return int(self.dates.end.size)

    def of(self, name: str) -> Floats:
        """Instants of a name, shape (draws, number)."""
        return self.dates.instants[:, self.prices.watch.place(name)]

    @property
    def handovers(self) -> Floats:
        """Of each section."""
        return self.of("section")

    @property
    def by_block(self) -> Floats:
        """Handover of each block."""
        return last_of_blocks(self.plan, self.handovers)

    @property
    def inflation(self) -> Floats:
        """Prices at the middle of the works over those of the start, as `cost_inflation`."""
        rate = self.plan.values["money.inflation_pct"] / 100
        return np.asarray((1 + rate) ** (self.by_block.max(axis=1) / 2 / INFLATION_YEAR_DAYS))

    @property
    def dearer(self) -> Floats:
        """Rise of the price of what is made in a factory."""
        values = self.plan.values
        return np.array([dearer_share(values, float(share)) for share in self.market.to_come])


def last_of_blocks(plan: Plan, handovers: Floats) -> Floats:
    """Return the handover of each block: the last of its sections; any axes before the sections. [days]"""
    layout = plan.takeoff.layout
    first = np.searchsorted(layout.section_block, np.arange(len(layout.names)))
    return np.asarray(np.maximum.reduceat(handovers, first, axis=-1))


def price_draws(
    prices: Sequence[Prices], dates: Sequence[DrawnDates], markets: Sequence[Market]
) -> list[tuple[Floats, Floats]]:
    """Price the same draws of several methods over common months.

    Parameters
    ----------
    prices, dates, markets : sequence
        Of each method, in the same order.

    Returns
    -------
    list of (array, array)
        Profit and net present value of each draw, method by method. [GBP]

    Raises
    ------
    RangeError
        If the interest of a draw falls below 0, or a loan runs away.

    Notes
    -----
    Months are those of the draws together. Only a loan that receipts never repay would tell: its interest
    runs to the last month.
    """
    batches = [_Batch(*each) for each in zip(prices, dates, markets, strict=True)]
    sold = [_Sold.of(batch) for batch in batches]
    grid = _months(batches, sold)
    return [_profit(batch, income, grid) for batch, income in zip(batches, sold, strict=True)]


def _months(batches: Sequence[_Batch], sold: Sequence[_Sold]) -> MonthGrid:
    """Return months that hold every movement of money, as `common_grid`."""
    first, last = 0.0, 0.0
    for batch, income in zip(batches, sold, strict=True):
        plan, v = batch.plan, batch.plan.values
        lag = v["money.payment_lag_days"]
        first = min(first, purchase_day(plan.scenario, v), order_day(plan) if makes_panels(plan) else 0.0)
        after = v["money.defects_months"] * DAYS_PER_MONTH + lag
        last = max(
            last, float(batch.by_block.max()) + after, income.last_day, float(batch.dates.end.max()) + lag
        )
    return grid_for(batches[0].plan.start_date, first, last + 31.0)


def _profit(batch: _Batch, sold: _Sold, grid: MonthGrid) -> tuple[Floats, Floats]:
    cost = _costs(batch, grid)
    receipts = sold.receipts(grid.ends_day)
    total = cost.sum(axis=-1)
    run = _finance(batch, grid, cost, receipts, total)
    flows = receipts - cost
    hurdle = np.full(batch.draws, batch.plan.values["money.hurdle_pct"] / 100)
    profit = receipts.sum(axis=-1) - total - run.interest_total - run.fees_total
    return np.asarray(profit), npv(flows, hurdle)


def _costs(batch: _Batch, grid: MonthGrid) -> Floats:
    """All costs before finance, shape (draws, months), as `cost_lines`."""
    plan, v, work, ends = batch.plan, batch.plan.values, batch.prices.work, grid.ends_day
    lag = v["money.payment_lag_days"]
    contingency = 1 + v["money.contingency_pct"] / 100
    prices = batch.inflation / work.inflation  # of this draw's time, over the expected case's
    by_block, dearer = batch.by_block, batch.dearer
    reference = float(work.reference.sum()) * prices
    factory = work.supply / max(v["money.factory_supply_pct"] / 100, 1e-300)  # options made in a factory
    own = reference + (float(work.premium.sum()) + dearer * float(factory.sum())) * prices

    # work as it goes on, retention held back, and given back later
    sums = [by_month(batch.dates.by_date, k, 1.0 + lag, ends) for k in (CONSTRUCTION, PREMIUM, SUPPLY)]
    steps = payment_steps(plan)
    of_factory = v["money.factory_supply_pct"] / 100
    held = (1 - of_factory * steps.ahead - v["money.retention_pct"] / 100) * contingency
    more = dearer * held / max(of_factory, 1e-300)
    cost = (sums[CONSTRUCTION] + sums[PREMIUM] + more[:, None] * sums[SUPPLY]) * prices[:, None]
    blocks = by_block.shape[1]
    retained, retained_more = (
        np.bincount(plan.network.block + 1, amount, minlength=blocks + 1)[1:]
        for amount in (work.reference + work.premium, factory)
    )
    given_back = (retained + dearer[:, None] * retained_more) * prices[:, None]
    given_back = given_back * (v["money.retention_pct"] / 100 * contingency / 2)
    late = by_block + v["money.defects_months"] * DAYS_PER_MONTH
    cost += spread(by_block + lag, given_back, ends) + spread(late + lag, given_back, ends)
    cost += _ahead(batch, prices * (1 + dearer), contingency, ends)

    # the site while it stands, and what it costs once
    start, finish, amount = _time_rows(batch)
    cost += spread_evenly(start + lag, finish + lag, amount, ends)
    start, finish, amount = _fixed_rows(batch, reference, own)
    cost += spread_evenly(start + lag, finish + lag, amount, ends)

    # fees, land
    bought = purchase_day(plan.scenario, v)
    fees = reference * v["money.fees_pct"] / 100
    before = fees * v["money.fees_before_start_pct"] / 100
    last = by_block.max(axis=1)
    nil = np.zeros(batch.draws)
    cost += spread_evenly(
        np.stack([nil + min(bought, 0.0), nil], 1),
        np.stack([nil, last], 1),
        np.stack([before, fees - before], 1),
        ends,
    )
    cost += spread(nil[:, None], reference[:, None] * redesign_share(plan), ends)
    land = v["money.land"] * float(plan.takeoff.flats.sum())
    holding = land * v["money.holding_pct"] / 100 * max(-bought, 0.0) / INFLATION_YEAR_DAYS
    cost += spread([bought], [land * (1 + v["money.stamp_duty_pct"] / 100)], ends)
    cost += spread_evenly([min(bought, 0.0)], [0.0], [holding], ends)
    return cost


def _ahead(batch: _Batch, prices: Floats, contingency: float, ends: Floats) -> Floats:
    """Payments to the panel maker before fixing, and the bond over them, by month."""
    plan, v = batch.plan, batch.plan.values
    total = float(batch.prices.work.supply.sum())
    if total == 0.0:
        return np.zeros((batch.draws, ends.size))
    steps, order, lag = payment_steps(plan), order_day(plan), v["money.payment_lag_days"]
    amount = plan.tasks.amount[_made(plan)]
    weight = amount / amount.sum()
    begin, end = batch.of("made_from"), batch.of("made_to")
    early = v["site.panels_ahead"] * DAYS_PER_WORKING_DAY  # panels come before they are fixed
    paid = (
        spread([order], [steps.deposit * total], ends)
        + spread_evenly(begin, end, steps.stage * total * weight, ends)
        + steps.delivery * by_month(batch.dates.by_date, SUPPLY, 1.0 + lag - early, ends)
    )
    last = np.ceil(batch.dates.end)
    day_sums = _days_ahead(
        np.ascontiguousarray(batch.dates.by_date[:, :, SUPPLY]),
        steps.deposit + steps.stage,
        steps.delivery,
        early - lag,
        last,
    )
    day_sums += steps.stage * total * (_days_made(begin, end, last) * weight).sum(axis=1)
    day_sums += steps.deposit * total * (last - np.ceil(order) + 1.0)
    bond = day_sums / DAYS_PER_YEAR * v["money.bond_rate_pct"] / 100
    together = paid * contingency + spread(np.full((batch.draws, 1), order), bond[:, None], ends)
    return np.asarray(together * prices[:, None])


def _days_made(begin: Floats, end: Floats, last: Floats) -> Floats:
    """Sum over whole days up to the last of the share made by then, which grows evenly."""
    first, full = np.ceil(begin), np.ceil(end)
    number = np.maximum(full - first, 0.0)
    partly = number * ((first + full - 1.0) / 2 - begin) / np.maximum(end - begin, 1e-9)
    return np.asarray(partly + np.maximum(last[:, None] - full + 1.0, 0.0))


@compiled
def _days_ahead(supply: Floats, before_fixing: float, delivery: float, ahead: float, last: Floats) -> Floats:
    """Money-days of what is delivered and not fixed, less those of what is fixed and was paid before.

    Parameters
    ----------
    supply : array, shape (draws, dates)
        Panel maker's part of what is fixed on each date. [GBP]
    before_fixing, delivery : float
        Shares paid as deposit and stages, and on delivery. [-]
    ahead : float
        Days between the payment for a delivery and its fixing; below 0 where it is paid afterwards. [days]
    last : array, shape (draws,)
        Last day counted. [days]
    """
    draws, dates = supply.shape
    whole = int(np.floor(ahead))
    part = ahead - whole
    found = np.zeros(draws)
    so_far = np.empty(dates)
    for draw in range(draws):
        total = 0.0
        for date in range(dates):
            total += supply[draw, date]
            so_far[date] = total
        for day in range(min(1, 1 - whole), int(last[draw]) + 1):
            fixed = 0.0 if day < 1 else so_far[min(day, dates) - 1]
            place = day - 1 + whole
            paid = 0.0
            if place >= 0:
                low = so_far[min(place, dates - 1)]
                paid = low + part * (so_far[min(place + 1, dates - 1)] - low)
            found[draw] += delivery * max(paid - fixed, 0.0) - before_fixing * fixed
    return found


def by_month(by_date: Floats, which: int, after_days: float, ends_day: Floats) -> Floats:
    """Put sums by date on the months, each some days after its date, as `spread` does.

    Parameters
    ----------
    by_date : array, shape (draws, dates, sums)
        [GBP]
    which : int
        Sum.
    after_days : float
        From 00:00 of the date to the payment. [days]
    ends_day : array, shape (months,)
        Month-ends of the grid. [days]

    Returns
    -------
    array, shape (draws, months)
        [GBP]
    """
    found = np.zeros((by_date.shape[0], ends_day.size))
    _fill_months(by_date[:, :, which], after_days, ends_day, found)
    return found


@compiled
def _fill_months(by_date: Floats, after_days: float, ends_day: Floats, found: Floats) -> None:
    for draw in range(by_date.shape[0]):
        month = 0
        for date in range(by_date.shape[1]):
            amount = by_date[draw, date]
            if amount != 0.0:
                day = date + after_days
                while month < ends_day.size - 2 and ends_day[month + 1] <= day:
                    month += 1
                later = amount * (day - ends_day[month]) / (ends_day[month + 1] - ends_day[month])
                found[draw, month] += amount - later
                found[draw, month + 1] += later


def _instants(batch: _Batch) -> Mapping[str, Floats]:
    """Return the instants between which site costs run, shape (draws, number), as in `model.money.costs`."""
    by_block = batch.by_block
    return {
        "start": np.zeros((batch.draws, 1)),
        "first_handover": by_block.min(axis=1, keepdims=True),
        "last_handover": by_block.max(axis=1, keepdims=True),
        **{name: batch.of(name) for name in ("first_lift", "last_lift", *(row[0] for row in _BY_BLOCK))},
    }


def _time_rows(batch: _Batch) -> tuple[Floats, Floats, Floats]:
    """Start, finish and amount of every stretch of time-related site costs, shape (draws, rows)."""
    plan, v = batch.plan, batch.plan.values
    days, inflation, scale = _instants(batch), batch.inflation, site_scale(plan)
    rows: list[tuple[Floats, Floats, float]] = []
    for item in read_site_costs():
        rate = v[f"site_cost.{item.id}.rate"] * (v[item.times] if item.times else 1.0)
        begins, ends = days[item.begins], days[item.ends]
        if item.per == "site":
            thins = v[f"site_cost.{item.id}.thins"] if item.thins else 0.0
            steps = np.sort(batch.by_block, axis=1)
            number = steps.shape[1]
            edges = np.concatenate([begins[:, :1], steps], axis=1)
            leave = thins / max(number - 1, 1)
            rows += [(edges[:, n], edges[:, n + 1], rate * scale * (1 - leave * n)) for n in range(number)]
        elif item.per == "facade_m2":
            area = plan.takeoff.amount("facade_m2", "block")
            full = days["access_full"]
            for b in range(area.size):
                rows += [
                    (begins[:, b], np.where(np.isfinite(ends[:, b]), full[:, b], np.nan), rate * area[b] / 2),
                    (np.where(np.isfinite(begins[:, b]), full[:, b], np.nan), ends[:, b], rate * area[b]),
                ]
        else:
            present = {
                "hoist": plan.takeoff.amount("hoists_no", "block"),
                "crane": np.array([float(crane.number) for crane in plan.scenario.served]),
                "block": np.ones(batch.by_block.shape[1]),
                "extra_deck_set": extra_deck_sets(plan) * plan.takeoff.amount("plate_m2", "block"),
            }[item.per]
            rows += [(begins[:, n], ends[:, n], rate * float(present[n])) for n in range(begins.shape[1])]
    start, finish = (np.stack([row[k] for row in rows], axis=1) for k in (0, 1))
    runs = np.isfinite(start) & np.isfinite(finish) & (finish > start)
    start, finish = np.where(runs, start, 0.0), np.where(runs, finish, 0.0)
    weekly = np.array([row[2] for row in rows]) * inflation[:, None]
    return start, finish, (finish - start) / WEEK_DAYS * weekly


def _fixed_rows(batch: _Batch, reference: Floats, own: Floats) -> tuple[Floats, Floats, Floats]:
    """Start, finish and amount of preliminaries that do not grow with time, shape (draws, rows)."""
    v, days = batch.plan.values, _instants(batch)
    items = read_fixed_costs()
    weight = np.array([v[f"fixed_cost.{item.id}.share"] for item in items])
    total = reference * v["money.fixed_preliminaries_pct"] / 100
    if weight.sum() <= 0 and np.any(total > 0):
        raise RangeError(
            "Fixed preliminaries have no item to go to: every share under fixed_cost is 0. Set one above 0, "
            "or money.fixed_preliminaries_pct to 0."
        )
    last = batch.by_block.max(axis=1)
    rows = []
    for item, share in zip(items, weight / max(float(weight.sum()), 1e-300), strict=True):
        rows += list(_spans(days[item.begins], days[item.ends], last, total * share))
    nil = np.zeros((batch.draws, 1))
    rows.append((nil, nil, (own * v["money.value_preliminaries_pct"] / 100)[:, None]))
    start, finish, amount = (np.concatenate([row[k] for row in rows], axis=1) for k in range(3))
    return start, finish, amount


def _spans(
    begins: Floats, ends: Floats, last: Floats, amount: Floats
) -> Iterator[tuple[Floats, Floats, Floats]]:
    """Pair the days of an item: a span a crane or block where both go by it, else from first to last."""
    paired = np.zeros(last.size)
    if begins.shape == ends.shape:
        with np.errstate(invalid="ignore"):
            runs = np.isfinite(begins) & np.isfinite(ends) & (ends >= begins)
        paired = runs.sum(axis=1)
        each = amount / np.maximum(paired, 1)
        yield np.where(runs, begins, 0.0), np.where(runs, ends, 0.0), np.where(runs, each[:, None], 0.0)
    first, final = np.isfinite(begins), np.isfinite(ends)
    start = np.where(first.any(axis=1), np.where(first, begins, np.inf).min(axis=1), 0.0)
    finish = np.where(final.any(axis=1), np.where(final, ends, -np.inf).max(axis=1), last)
    alone = paired == 0
    start = np.where(alone, start, 0.0)
    finish = np.where(alone, np.maximum(start, finish), 0.0)
    yield start[:, None], finish[:, None], np.where(alone, amount, 0.0)[:, None]


@dataclass(frozen=True, eq=False)
class _Sold:
    """What a batch earns, dated but not yet on months.

    Attributes
    ----------
    batch : _Batch
    sales : Completions or None
    affordable : tuple of (array, array)
        Sections with affordable homes, and their number.
    let : Lettings or None
    exit_day : array, shape (draws,), or None
        When homes let are sold whole. [days]
    """

    batch: _Batch
    chosen: Ints
    sales: Completions | None
    affordable: tuple[Ints, Ints]
    let: Lettings | None
    exit_day: Floats | None

    @classmethod
    def of(cls, batch: _Batch) -> _Sold:
        """Date the sales and lettings of a batch, as `sales_of` and `let_of`."""
        plan, v, market = batch.plan, batch.plan.values, batch.market
        mine = sections_of(plan, "sale")
        flats = np.round(plan.takeoff.section_flats[mine]).astype(np.int64)
        affordable = np.round(flats * v["money.affordable_pct"] / 100).astype(np.int64)
        open_market = flats - affordable
        chosen = mine[open_market > 0]
        sales = None
        if chosen.size:
            sales = sale_days(
                open_market[open_market > 0].tolist(),
                batch.handovers[:, chosen],
                launch_day=v["money.sales_launch_months"] * DAYS_PER_MONTH,
                reservations_per_month=v["money.reservations_per_month"] * market.sales,
                notice_days=v["money.notice_weeks"] * 7.0,
                order=offered(plan, chosen),
                cap_per_block_per_month=v["money.cap_per_block_per_month"] * market.sales,
            )
        rented = sections_of(plan, "rent")
        let, exit_day = None, None
        if rented.size:
            let = lettings(
                np.round(plan.takeoff.section_flats[rented]).astype(np.int64).tolist(),
                batch.handovers[:, rented],
                lets_per_month=v["money.lets_per_month"] * market.sales,
                stabilised_share=v["money.stabilised_pct"] / 100,
                order=offered(plan, rented),
            )
            exit_day = let.stabilised_day
            if plan.scenario.development.rent_exit == "fixed date":
                exit_day = np.full(batch.draws, v["money.rent_exit_months"] * DAYS_PER_MONTH)
        return cls(batch, chosen, sales, (mine[affordable > 0], affordable[affordable > 0]), let, exit_day)

    @property
    def last_day(self) -> float:
        """Last day on which something is received, of all draws, as `last_receipt`. [days]"""
        notice = self.batch.plan.values["money.notice_weeks"] * 7.0
        days = [float(self.batch.handovers.max()) + notice]
        days += [float(self.sales.day.max())] if self.sales is not None else []
        days += [float(self.exit_day.max())] if self.exit_day is not None else []
        return max(days)

    def receipts(self, ends_day: Floats) -> Floats:
        """Return receipts net of the costs of selling by month, shape (draws, months), as `income_of`."""
        parts = [*self._flats(ends_day), *self._homes_let(ends_day), *self._forward(ends_day)]
        if not parts:
            raise RangeError(
                "The development has no flats, so it earns nothing. Give a block flats to hand over."
            )
        total = parts[0].copy()
        for part in parts[1:]:
            total += part
        return np.asarray(total * self.batch.market.price[:, None])

    def _flats(self, ends_day: Floats) -> Iterator[Floats]:
        plan, v = self.batch.plan, self.batch.plan.values
        each = section_values(plan) / np.maximum(plan.takeoff.section_flats, 1.0)
        if self.sales is not None:
            path = plan.scenario.development.price_path
            yield sale_receipts(
                self.sales,
                each[self.chosen] * np.bincount(self.sales.block, self.sales.number),
                ends_day,
                selling_share=v["money.selling_pct"] / 100,
                price_factor=price_path_factor(self.sales.reserved_day, path) if path else 1.0,
                incentive_share=v["money.incentives_pct"] / 100,
                deposit_share=v["money.deposit_pct"] / 100,
                released_of_deposit_share=v["money.deposit_released_pct"] / 100,
            ).net
        sections, homes = self.affordable
        if sections.size:
            yield affordable_receipts(
                homes.tolist(),
                self.batch.handovers[:, sections],
                each[sections] * homes,
                ends_day,
                v["money.notice_weeks"] * 7.0,
                v["money.affordable_price_pct"] / 100,
            )

    def _homes_let(self, ends_day: Floats) -> Iterator[Floats]:
        if self.let is None or self.exit_day is None:
            return
        v = self.batch.plan.values
        yield rent_receipts(
            self.let,
            ends_day,
            rent_per_month=v["money.rent"] * np.ones(1),
            operating_share=v["money.operating_pct"] / 100,
            net_yield=v["money.yield_pct"] / 100,
            purchaser_cost_share=v["money.purchaser_pct"] / 100,
            exit_day=self.exit_day,
            exit_cost_share=v["money.rent_exit_cost_pct"] / 100,
        ).net

    def _forward(self, ends_day: Floats) -> Iterator[Floats]:
        batch, plan, v = self.batch, self.batch.plan, self.batch.plan.values
        chosen = sections_of(plan, "forward sale")
        if not chosen.size:
            return
        income = net_operating_income(
            1.0, v["money.rent"], v["money.stabilised_pct"] / 100, v["money.operating_pct"] / 100
        )
        each = forward_price(
            income,
            v["money.yield_pct"] / 100,
            v["money.purchaser_pct"] / 100,
            v["money.forward_discount_pct"] / 100,
        )
        more = batch.dearer / max(v["money.factory_supply_pct"] / 100, 1e-300)
        done = by_month(batch.dates.by_date, FORWARD, 1.0, ends_day)
        done += more[:, None] * by_month(batch.dates.by_date, FORWARD_SUPPLY, 1.0, ends_day)
        got = forward_receipts(
            plan.takeoff.section_flats[chosen] * each,
            0.0,
            batch.handovers[:, chosen],
            v["money.notice_weeks"] * 7.0,
            done / done.sum(axis=1, keepdims=True),
            ends_day,
            land_share=v["money.forward_land_pct"] / 100,
            stage_share=v["money.forward_stage_pct"] / 100,
        )
        yield np.asarray(got.net * (1 - v["money.rent_exit_cost_pct"] / 100))


def _finance(batch: _Batch, grid: MonthGrid, cost: Floats, receipts: Floats, total: Floats) -> FacilityRun:
    """Finance costs and receipts of each draw at its own interest, as `finance`."""
    plan, v, change = batch.plan, batch.plan.values, batch.market.interest
    share = total / 100
    mezzanine = None
    if v["money.mezzanine_pct"] > 0:
        mezzanine = Mezzanine(
            limit=share * v["money.mezzanine_pct"],
            monthly_rate=_rates(plan, grid, "money.mezzanine_rate_pct", change),
            arrangement_share=v["money.mezzanine_arrangement_pct"] / 100,
            exit_share=v["money.mezzanine_exit_pct"] / 100,
        )
    return run_facility(
        np.maximum(cost, 0.0),
        receipts + np.maximum(-cost, 0.0),
        equity=share * v["money.equity_pct"],
        monthly_rate=_rates(plan, grid, "money.debt_rate_pct", change),
        arrangement_share=v["money.arrangement_pct"] / 100,
        exit_share=v["money.exit_pct"] / 100,
        non_utilisation_annual_share=v["money.non_utilisation_pct"] / 100,
        mezzanine=mezzanine,
    )


def _rates(plan: Plan, grid: MonthGrid, key: str, change: Floats) -> Floats:
    """Interest of each draw and month, shape (draws, months). [-, a month]"""
    rate = monthly_rates(plan.scenario, plan.values[key], plan.values, grid) + change[:, None] / 1200
    if rate.min() < 0:
        raise RangeError(
            f"{key} of {plan.values[key]:g} % would fall to {1200 * rate.min():g} % a year in a draw; "
            "interest must be 0 or more. Raise risk.interest.low, or the interest."
        )
    return np.asarray(rate)
