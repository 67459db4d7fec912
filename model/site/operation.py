"""Who and what is on site, day by day?

Stage: `operate(plan) -> SiteUse`. Trades and packages are counted from activities that exist, people and
hook hours from the schedule's progress, loads from quantities. Nothing is estimated twice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.calendar import monthly_anniversary
from model.inputs.method import read_catalogue
from model.programme import Plan
from model.programme.kernel import LARGE
from model.site.deliveries import Loads, bay_capacity, call_off, haulage_kgco2e

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SiteUse:
    """People, lifts and loads of one method.

    Attributes
    ----------
    plan : Plan
    trades, packages : tuple of str
        On site, with work to do.
    operative_days_by_trade : mapping of str to float
        People x shifts worked.
    worked, present : array, shape (trades, dates)
        Operative-days worked; operatives on site (a gang waiting for the crane is there too).
    support : array, shape (dates,)
        Logistics, attendance, management, crane and hoist crews beside them.
    hours_per_m2 : float
        Paid hours over gross area: operatives on site, waiting or not, and their support. [h/m2]
    open_edge_hours : float
        Operative hours on a storey whose outer wall does not stand along its edge yet. [h]
    hook_used, hook_large_used : array, shape (cranes, dates)
        Hook hours of all lifts, and of large-area loads among them.
    crane_from, crane_to : array, one a crane
        First lift and last lift. [days]; NaN where it lifts nothing.
    lifts : float
        By crane.
    loads : Loads
    panels : float
    """

    plan: Plan
    trades: tuple[str, ...]
    packages: tuple[str, ...]
    operative_days_by_trade: Mapping[str, float]
    worked: Floats
    present: Floats
    support: Floats
    hours_per_m2: float
    open_edge_hours: float
    hook_used: Floats
    hook_large_used: Floats
    crane_from: Floats
    crane_to: Floats
    lifts: float
    loads: Loads
    panels: float

    @property
    def operative_days(self) -> float:
        """People x shifts worked, all trades."""
        return float(sum(self.operative_days_by_trade.values()))

    @property
    def peak_operatives(self) -> float:
        """Most operatives on site on one date, logistics and management included."""
        return float((self.present.sum(axis=0) + self.support).max())

    @property
    def hook_hours(self) -> float:
        """Hook hours of all cranes. [h]"""
        return float(self.hook_used.sum())

    @cached_property
    def by_month(self) -> Floats:
        """Hook hours used and available by crane and month on site, shape (2, cranes, months). [h]"""
        last = max(math.ceil(self.plan.last_handover), 1)
        start = self.plan.start_date
        ends: list[int] = []
        month = 1
        while not ends or ends[-1] < last:
            ends.append((monthly_anniversary(start, month) - start).days)
            month += 1
        begins = [0, *ends[:-1]]
        available = self.available
        used = np.add.reduceat(self.hook_used[:, : ends[-1]], begins, axis=1)
        could = np.add.reduceat(available[:, : ends[-1]], begins, axis=1)
        return np.stack([used, could])

    @cached_property
    def available(self) -> Floats:
        """Hook hours available by crane and date while the crane is on hire. [h]"""
        dates = np.arange(self.hook_used.shape[1])
        on_hire = (dates >= np.floor(self.crane_from)[:, None]) & (dates < self.crane_to[:, None])
        return np.where(on_hire, self.plan.conditions.hook_ordinary, 0.0)

    @property
    def peak_month_utilisation(self) -> float:
        """Hook hours used over available in the busiest crane-month. [share]"""
        used, could = self.by_month
        full = could > 0.25 * could.max()
        return float((used[full] / could[full]).max()) if full.any() else 0.0

    @property
    def cranes_needed(self) -> int:
        """Cranes that the busiest month's hook hours ask for, all cranes together."""
        used, _could = self.by_month
        peak = int(used.sum(axis=0).argmax())
        month_days = 365.25 / 12
        one = float(self.plan.conditions.mean_hook.mean()) * month_days
        return max(1, math.ceil(used[:, peak].sum() / one - 1e-9)) if used.sum() > 0 else 0

    @property
    def wind_lost_hook_hours(self) -> float:
        """Paid hook hours lost to wind while cranes are on hire. [h]"""
        flown = self.plan.conditions.hook_ordinary
        lost = self.plan.conditions.hook_paid - flown
        return float(np.where(self.available > 0, lost, 0.0).sum())

    @property
    def loads_total(self) -> float:
        """Vehicles in all."""
        return float(self.loads.loads.sum())

    @property
    def loads_peak_day(self) -> float:
        """Vehicles on the busiest date."""
        return float(self.loads.by_date(1).max())

    @property
    def bay_capacity_per_day(self) -> int:
        """Vehicles the bays take in a day."""
        return bay_capacity(self.plan.values)

    @property
    def transport_kgco2e(self) -> float:
        """Haulage and operatives' travel. [kgCO2e]"""
        values = self.plan.values
        days = self.operative_days * self.plan.values["site.labour_present"] + float(self.support.sum())
        travel = days * 2 * values["travel.distance"] * values["travel.per_person_km"]
        return haulage_kgco2e(self.loads, values) + travel

    def operatives_frame(self) -> pd.DataFrame:
        """Columns date, block, trade, operatives: operative-days worked on each date."""
        plan = self.plan
        trades = np.array(list(read_catalogue().trades), dtype=object)
        names = np.array(plan.takeoff.layout.names, dtype=object)
        trade = plan.tasks.trade[plan.moved_task]
        on_site = _on_site()[trade]
        frame = pd.DataFrame(
            {
                "date": (np.datetime64(plan.start_date) + plan.moved_date[on_site]).astype(str),
                "block": names[plan.network.block[plan.moved_task[on_site]]],
                "trade": trades[trade[on_site]],
                "operatives": (plan.moved_work * plan.tasks.people[plan.moved_task])[on_site],
            }
        )
        return frame.groupby(["date", "block", "trade"], as_index=False)[["operatives"]].sum()


def _on_site() -> NDArray[np.bool_]:
    return np.array([trade.on_site for trade in read_catalogue().trades.values()])


def operate(plan: Plan) -> SiteUse:
    """Count what a plan uses on site.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    SiteUse
    """
    catalogue = read_catalogue()
    network, tasks, values = plan.network, plan.tasks, plan.values
    names = list(catalogue.trades)
    on_site = _on_site()
    dates = math.ceil(float(plan.finish.max())) + 1
    trade = tasks.trade[plan.moved_task]
    operatives = np.where(on_site[trade], plan.moved_work * tasks.people[plan.moved_task], 0.0)
    worked = np.bincount(trade * dates + plan.moved_date, operatives, minlength=len(names) * dates)
    worked = worked.reshape(len(names), dates).astype(float)
    present = _present(plan, on_site, dates)
    total = worked.sum(axis=0)
    support = total / values["site.logistics_ratio"] + total / values["site.management_ratio"]
    support += _plant_crews(plan, dates)
    days = {name: float(worked[k].sum()) for k, name in enumerate(names) if worked[k].sum() > 0}
    packages = tuple(dict.fromkeys(catalogue.trades[name].package for name in days))
    gross = float(plan.takeoff.gross_m2.sum())
    paid = (float(present.sum()) + float(support.sum())) * values["site.shift_hours"]
    used, large = _hook_by_date(plan, dates)
    crane_from, crane_to = _on_hire(plan, used.shape[0])
    has_panels = network.has("activity:make_panels")
    return SiteUse(
        plan=plan,
        trades=tuple(days),
        packages=packages,
        operative_days_by_trade=days,
        worked=np.asarray(worked, dtype=float),
        present=present,
        support=support,
        hours_per_m2=paid / gross,
        open_edge_hours=_open_edge(plan, operatives),
        hook_used=used,
        hook_large_used=large,
        crane_from=crane_from,
        crane_to=crane_to,
        lifts=float(tasks.lifts.sum()),
        loads=call_off(plan),
        panels=float(plan.takeoff.by_zone["panels_no"].sum()) if has_panels else 0.0,
    )


def _present(plan: Plan, on_site: NDArray[np.bool_], dates: int) -> Floats:
    """Operatives on site by trade and date: people x the part of the open date their task is in hand."""
    tasks = plan.tasks
    who = np.flatnonzero((tasks.work > 0) & on_site[tasks.trade])
    first = np.floor(plan.start[who]).astype(np.int64)
    last = np.ceil(plan.finish[who] - 1e-9).astype(np.int64)
    count = np.maximum(last - first, 1)
    row = np.repeat(np.arange(who.size), count)
    date = first[row] + np.arange(row.size) - np.repeat(np.cumsum(count) - count, count)
    part = np.minimum(plan.finish[who][row], date + 1) - np.maximum(plan.start[who][row], date)
    people = tasks.people[who][row] * part * plan.conditions.open_dates[date]
    flat = np.bincount(tasks.trade[who][row] * dates + date, people, minlength=on_site.size * dates)
    return flat.reshape(on_site.size, dates).astype(float)


def _plant_crews(plan: Plan, dates: int) -> Floats:
    """Crane operators, slingers and hoist operators on each open date."""
    crews = np.zeros(dates)
    date = np.arange(dates)
    first, last = _on_hire(plan, plan.conditions.hook_ordinary.shape[0])
    for begin, end in zip(first, last, strict=True):
        crews += plan.values["site.crane_crew"] * ((date >= np.floor(begin)) & (date < end))
    if plan.network.has("activity:hoist_strike"):
        hoists = plan.takeoff.amount("hoists_no", "block")
        begin, end = plan.event_by_block("water_stopped", "first"), plan.event_by_block("hoist_struck")
        for b, present in enumerate(hoists):
            crews += plan.values["site.hoist_operators"] * present * ((date >= begin[b]) & (date < end[b]))
    return crews * plan.conditions.open_week[:dates]


def _hook_by_date(plan: Plan, dates: int) -> tuple[Floats, Floats]:
    cranes = plan.conditions.hook_ordinary.shape[0]
    horizon = plan.conditions.hook_ordinary.shape[1]
    crane = plan.tasks.crane[plan.moved_task]
    lifting = (crane >= 0) & (plan.moved_hook > 0)
    code = crane[lifting] * horizon + plan.moved_date[lifting]
    hours = plan.moved_hook[lifting]
    large = plan.tasks.lift_class[plan.moved_task[lifting]] == LARGE
    used = np.bincount(code, hours, minlength=cranes * horizon).reshape(cranes, horizon)
    of_large = np.bincount(code, hours * large, minlength=cranes * horizon).reshape(cranes, horizon)
    return used.astype(float), of_large.astype(float)


def _on_hire(plan: Plan, cranes: int) -> tuple[Floats, Floats]:
    """First and last lift of each crane."""
    lifting = (plan.tasks.hook > 0) & (plan.tasks.crane >= 0)
    first, last = np.full(cranes, np.inf), np.full(cranes, -np.inf)
    np.minimum.at(first, plan.tasks.crane[lifting], plan.start[lifting])
    np.maximum.at(last, plan.tasks.crane[lifting], plan.finish[lifting])
    return np.where(np.isfinite(first), first, np.nan), np.where(np.isfinite(last), last, np.nan)


def _open_edge(plan: Plan, operatives: Floats) -> float:
    """Operative hours on a zone or storey before its outer wall stands along the edge."""
    network = plan.network
    if not network.has("event:edge_closed"):
        return 0.0
    blocks, most = len(plan.takeoff.layout.names), int(network.storey.max()) + 2
    closed = np.full((blocks, most), 0.0)
    events = network.tasks_of("event:edge_closed")
    np.maximum.at(closed, (network.block[events], network.storey[events]), plan.finish[events])
    task = plan.moved_task
    block, storey = network.block[task], network.storey[task]
    here = (block >= 0) & (storey > 0)
    open_then = np.zeros(task.size, dtype=bool)
    open_then[here] = plan.moved_date[here] < closed[block[here], storey[here]]
    return float(operatives[open_then].sum() * plan.values["site.productive_hours"])
