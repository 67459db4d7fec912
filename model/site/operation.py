"""Who and what is on site, day by day?

Stage: `operate(plan) -> SiteUse`. Trades and packages are counted from activities that exist, people and
hook hours from the schedule's progress, loads from quantities. Nothing is estimated twice.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.calendar import monthly_anniversary
from model.inputs.method import USES, read_catalogue
from model.programme import Plan
from model.programme.kernel import LARGE
from model.site.deliveries import (
    FACTOR_YEAR,
    Haulage,
    Loads,
    bay_capacity,
    bay_minutes,
    bay_minutes_available,
    call_off,
    haulage,
)
from model.site.edges import edge_open_for_lifts_hours, open_edge_hours
from model.site.stacks import StackLoad, stack_loads
from model.site.storage import PanelStore, store_panels
from model.site.welfare import Welfare, welfare_for

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
        return float(self.people_by_date.max())

    @cached_property
    def people_by_date(self) -> Floats:
        """Everybody on site on each date: operatives, waiting or not, and their support. [people]"""
        return np.asarray(self.present.sum(axis=0) + self.support, dtype=float)

    @property
    def peak_people_date(self) -> dt.date:
        """First date with most people on site."""
        return self._date(int(self.people_by_date.argmax()))

    @property
    def average_operatives(self) -> float:
        """Mean of everybody on site over the open dates from first to last with anybody there. [people]"""
        busy = np.flatnonzero(self.people_by_date > 0)
        if busy.size == 0:
            return 0.0
        span = slice(int(busy[0]), int(busy[-1]) + 1)
        open_dates = self.plan.conditions.open_dates[: self.people_by_date.size][span].sum()
        return float(self.people_by_date[span].sum() / open_dates)

    @property
    def peak_to_average(self) -> float:
        """Peak over average of everybody on site; published practice 1.4 to 2.0 (`model.site.checks`)."""
        return self.peak_operatives / self.average_operatives if self.average_operatives > 0 else 0.0

    @cached_property
    def operatives_by_week(self) -> Floats:
        """Everybody on site in the mean of the open dates of each week from the start on site. [people]"""
        dates = self.people_by_date.size
        begins = np.arange(0, dates, 7)
        people = np.add.reduceat(self.people_by_date, begins)
        open_dates = np.add.reduceat(self.plan.conditions.open_dates[:dates], begins)
        return np.divide(people, open_dates, out=np.zeros(begins.size), where=open_dates > 0)

    @property
    def idle_share(self) -> float:
        """Operative-days on site without work (crane, weather, parts of days) over those on site. [share]"""
        present = float(self.present.sum())
        return round(1.0 - float(self.worked.sum()) / present, 9) if present > 0 else 0.0

    @cached_property
    def welfare(self) -> Welfare:
        """What must stand ready for the most people on site, most managers and engineers among them."""
        values = self.plan.values
        staff = float(self.worked.sum(axis=0).max()) / values["site.management_ratio"]
        return welfare_for(self.peak_operatives, staff, values)

    @cached_property
    def hoist_used(self) -> Floats:
        """Hours the hoists of each block carry goods, shape (blocks, dates). [h]"""
        plan = self.plan
        blocks, dates = plan.conditions.hoist_hours.shape
        task = plan.moved_task
        carried = plan.tasks.hoist[task] >= 0
        code = plan.tasks.hoist[task[carried]] * dates + plan.moved_date[carried]
        used = np.bincount(code, plan.moved_hoist[carried], minlength=blocks * dates)
        return used.reshape(blocks, dates).astype(float)

    @property
    def hook_hours(self) -> float:
        """Hook hours of all cranes. [h]"""
        return float(self.hook_used.sum())

    @cached_property
    def by_month(self) -> Floats:
        """Hook hours used and available by crane and month on site, shape (2, cranes, months). [h]"""
        *begins, end = self._month_edges
        available = self.available
        used = np.add.reduceat(self.hook_used[:, :end], begins, axis=1)
        could = np.add.reduceat(available[:, :end], begins, axis=1)
        return np.stack([used, could])

    @cached_property
    def _month_edges(self) -> tuple[int, ...]:
        """First date of each month on site, and the date after the last. [days from start on site]"""
        last = max(math.ceil(self.plan.last_handover), 1)
        start = self.plan.start_date
        edges = [0]
        while edges[-1] < last:
            edges.append((monthly_anniversary(start, len(edges)) - start).days)
        return tuple(edges)

    @property
    def month_begins(self) -> tuple[dt.date, ...]:
        """First date of each month on site: months run from the day of the start."""
        return tuple(self._date(day) for day in self._month_edges[:-1])

    @cached_property
    def hook_by_use(self) -> Mapping[str, Floats]:
        """Hook hours of all cranes by use (frame, panels, other) and month on site. [h]"""
        plan = self.plan
        months = len(self._month_edges) - 1
        month = np.searchsorted(self._month_edges, plan.moved_date, side="right") - 1
        use = plan.tasks.use[plan.moved_task]
        rows = (plan.moved_hook > 0) & (plan.tasks.crane[plan.moved_task] >= 0) & (month < months)
        flat = np.bincount(use[rows] * months + month[rows], plan.moved_hook[rows], len(USES) * months)
        return dict(zip(USES, flat.reshape(len(USES), months).astype(float), strict=True))

    @property
    def peak_hook_month(self) -> dt.date | None:
        """First date of the month on site with most hook hours; None where nothing is lifted."""
        used, _could = self.by_month
        return self.month_begins[int(used.sum(axis=0).argmax())] if used.sum() > 0 else None

    @cached_property
    def available(self) -> Floats:
        """Hook hours available by crane and date while it is on hire, evenings among them. [h]"""
        dates = np.arange(self.hook_used.shape[1])
        on_hire = (dates >= np.floor(self.crane_from)[:, None]) & (dates < self.crane_to[:, None])
        conditions = self.plan.conditions
        return np.where(on_hire, conditions.hook_ordinary + conditions.hook_evening, 0.0)

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
        number = np.array([crane.number for crane in self.plan.scenario.served], dtype=float)
        one = float((self.plan.conditions.mean_hook / number).mean()) * month_days
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

    @cached_property
    def loads_by_date(self) -> Floats:
        """Vehicles on each date."""
        return self.loads.by_date(self.worked.shape[1])

    @property
    def loads_days_over(self) -> int:
        """Dates with more vehicles than the bays take."""
        return int((self.loads_by_date > self.bay_capacity_per_day).sum())

    @cached_property
    def bay_minutes_by_date(self) -> Floats:
        """Minutes vehicles stand on the bays on each date, each as long as its material takes. [min]"""
        return bay_minutes(self.loads, self.plan.values, self.worked.shape[1])

    @property
    def bay_minutes_peak_day(self) -> float:
        """Bay minutes on the busiest date. [min]"""
        return float(self.bay_minutes_by_date.max(initial=0.0))

    @property
    def bay_minutes_peak_date(self) -> dt.date:
        """First date with most bay minutes."""
        return self._date(int(self.bay_minutes_by_date.argmax()))

    @property
    def bay_minutes_available(self) -> float:
        """Bay minutes that can be used in a day. [min]"""
        return bay_minutes_available(self.plan.values)

    @property
    def bay_days_over(self) -> int:
        """Dates on which vehicles ask for more bay minutes than can be used."""
        return int((self.bay_minutes_by_date > self.bay_minutes_available + 1e-6).sum())

    @cached_property
    def panel_store(self) -> PanelStore:
        """Panels delivered, set and stored by date, and the ground they take."""
        return store_panels(self.plan, self.loads, self.plan.values)

    @cached_property
    def stack_loads(self) -> tuple[StackLoad, ...]:
        """Stacks of the goods of this method beside what a young slab may carry."""
        network = self.plan.network
        activities = {name.split(":")[1] for name in network.groups[: network.activities]}
        return stack_loads(self.plan.values, activities)

    @cached_property
    def edge_open_for_lifts_hours(self) -> float:
        """Crane hours with a guard rail off to let a load in (`model.site.edges`). [h]"""
        return edge_open_for_lifts_hours(self.plan)

    @cached_property
    def haulage(self) -> tuple[Haulage, ...]:
        """Vehicles, kilometres and emissions by kind of vehicle."""
        return haulage(self.loads, self.plan.values)

    @property
    def haulage_kgco2e(self) -> float:
        """Lorries and vans with goods, out laden and back empty. [kgCO2e]"""
        return float(sum(row.kgco2e for row in self.haulage))

    @property
    def travel_km(self) -> float:
        """Way to work and back of everybody employed on site. [person km]"""
        values = self.plan.values
        days = self.operative_days * values["site.labour_present"] + float(self.support.sum())
        return days * 2 * values["travel.distance"]

    @property
    def travel_kgco2e(self) -> float:
        """Everybody's way to work and back. [kgCO2e]"""
        return self.travel_km * self.plan.values["travel.per_person_km"]

    @property
    def transport_kgco2e(self) -> float:
        """Haulage and operatives' travel. [kgCO2e]"""
        return self.haulage_kgco2e + self.travel_kgco2e

    def transport_frame(self) -> pd.DataFrame:
        """Columns kind, vehicle, loads, distance_km (one way), km, kgco2e, factor_year.

        Haulage by kind of vehicle, vehicle kilometres; then travel to work, person kilometres, no loads.
        """
        rows = [("haulage", h.label, h.loads, h.distance_km, h.km, h.kgco2e) for h in self.haulage]
        way = self.plan.values["travel.distance"]
        rows.append(("travel", "To work and back", 0.0, way, self.travel_km, self.travel_kgco2e))
        columns = ["kind", "vehicle", "loads", "distance_km", "km", "kgco2e"]
        return pd.DataFrame(rows, columns=columns).assign(factor_year=FACTOR_YEAR)

    def _date(self, day: int) -> dt.date:
        return self.plan.start_date + dt.timedelta(days=day)

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
    crane_from, crane_to = on_hire(plan, used.shape[0])
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
        open_edge_hours=open_edge_hours(plan, operatives),
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
    first, last = on_hire(plan, plan.conditions.hook_ordinary.shape[0])
    for crane, begin, end in zip(plan.scenario.served, first, last, strict=True):
        crew = crane.number * plan.values["site.crane_crew"]
        crews += crew * ((date >= np.floor(begin)) & (date < end))
    if plan.network.has("event:hoist_struck"):
        hoists = plan.takeoff.amount("hoists_no", "block")
        begin, end = plan.event_by_block("water_stopped", "first"), plan.event_by_block("hoist_struck")
        carried = plan.tasks.hoist >= 0
        np.minimum.at(begin, plan.tasks.hoist[carried], np.floor(plan.start[carried]))
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


def on_hire(plan: Plan, cranes: int) -> tuple[Floats, Floats]:
    """First and last lift of each crane."""
    lifting = (plan.tasks.hook > 0) & (plan.tasks.crane >= 0)
    first, last = np.full(cranes, np.inf), np.full(cranes, -np.inf)
    np.minimum.at(first, plan.tasks.crane[lifting], plan.start[lifting])
    np.maximum.at(last, plan.tasks.crane[lifting], plan.finish[lifting])
    return np.where(np.isfinite(first), first, np.nan), np.where(np.isfinite(last), last, np.nan)
