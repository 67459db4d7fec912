"""What the site carries, as tidy frames and plain figures, ready to be drawn or tabled.

As `model.report.frames`: each function turns a `Comparison` into one frame, methods under one another, or
into figures by method; nothing is counted that `model.site` has not counted. The column `role` is left to
whoever draws.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.compare import Case, Comparison
from model.inputs.method import USES, read_catalogue
from model.site import SiteUse
from model.site.changes import trades_changed
from model.site.checks import check_values
from model.site.storage import racks_for

Floats = NDArray[np.float64]


# ------------------------------------------------------------------------------------ folding by week


def _weeks_of(case: Case) -> tuple[int, pd.DatetimeIndex]:
    """Return the number of weeks from the start on site to the last handover, and their first dates."""
    count = math.ceil(math.ceil(case.plan.last_handover) / 7)
    start = pd.Timestamp(case.plan.start_date)
    return count, pd.DatetimeIndex(start + pd.to_timedelta(np.arange(count) * 7, unit="D"))


def _by_week(case: Case, by_date: Floats) -> Floats:
    """Return a daily series as weeks of seven dates, shape (weeks, 7), zeros after its end."""
    count, _weeks = _weeks_of(case)
    series = np.zeros(count * 7)
    size = min(series.size, by_date.size)
    series[:size] = by_date[:size]
    return series.reshape(count, 7)


def _mean_of_open_dates(case: Case, by_date: Floats) -> Floats:
    open_dates = _by_week(case, case.plan.conditions.open_dates).sum(axis=1)
    total = _by_week(case, by_date).sum(axis=1)
    mean: Floats = np.divide(total, open_dates, out=np.zeros(total.size), where=open_dates > 0)
    return mean


# --------------------------------------------------------------------------------------------- people


def people_by_week(comparison: Comparison) -> pd.DataFrame:
    """Return everybody on site in the mean of a week's open dates, and the mean of the whole time.

    Returns
    -------
    DataFrame
        Columns method, week (its first date), operatives, average. [people]
    """
    parts = []
    for case in comparison.cases:
        _count, weeks = _weeks_of(case)
        people = _mean_of_open_dates(case, case.site.people_by_date)
        parts.append(
            pd.DataFrame(
                {
                    "method": case.method.label,
                    "week": weeks,
                    "operatives": people,
                    "average": case.site.average_operatives,
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def trades_by_week(comparison: Comparison) -> pd.DataFrame:
    """Return the people of each trade in the mean of a week's open dates.

    Returns
    -------
    DataFrame
        Columns method, trade, week, people, days (operative-days worked in all, the same on each row of a
        trade). Weeks from the first to the last with anybody of the trade there; trades in library order.
    """
    labels = [trade.label for trade in read_catalogue().trades.values()]
    names = list(read_catalogue().trades)
    parts = []
    for case in comparison.cases:
        _count, weeks = _weeks_of(case)
        days = case.site.operative_days_by_trade
        for k, name in enumerate(names):
            if name not in days:
                continue
            people = _mean_of_open_dates(case, case.site.present[k])
            busy = np.flatnonzero(people > 1e-9)
            if busy.size == 0:
                continue
            span = slice(int(busy[0]), int(busy[-1]) + 1)
            parts.append(
                pd.DataFrame(
                    {
                        "method": case.method.label,
                        "trade": labels[k],
                        "week": weeks[span],
                        "people": people[span],
                        "days": days[name],
                    }
                )
            )
    return pd.concat(parts, ignore_index=True)


# --------------------------------------------------------------------------------------------- lifting


def hook_by_month(comparison: Comparison) -> pd.DataFrame:
    """Return hook hours of all cranes by use and month on site. [h]

    Returns
    -------
    DataFrame
        Columns method, month (its first date), one for each of `USES`, used, available (ordinary hours),
        evening (hours of evening loading-out there are).
    """
    parts = []
    for case in comparison.cases:
        site = case.site
        _used, could = site.by_month
        frame = pd.DataFrame({"method": case.method.label, "month": pd.to_datetime(list(site.month_begins))})
        for use in USES:
            frame[use] = site.hook_by_use[use]
        frame["used"] = frame[list(USES)].sum(axis=1)
        frame["available"] = could.sum(axis=0)
        frame["evening"] = _sum_by_month(case, _evening(site).sum(axis=0))
        parts.append(frame)
    return pd.concat(parts, ignore_index=True)


def _evening(site: SiteUse) -> Floats:
    """Evening hook hours by crane and date while the crane is on hire. [h]"""
    on_hire = site.available > 0
    evening = site.plan.conditions.hook_evening[:, : on_hire.shape[1]]
    return np.where(on_hire, evening, 0.0)


def _sum_by_month(case: Case, by_date: Floats) -> Floats:
    start = case.plan.start_date
    begins = [(day - start).days for day in case.site.month_begins]
    edges = [*begins, by_date.size]
    return np.array([by_date[a:b].sum() for a, b in itertools.pairwise(edges)])


def hook_by_crane(comparison: Comparison) -> pd.DataFrame:
    """Return hook hours by crane and week against those there are, evening loading-out among them. [h]

    Returns
    -------
    DataFrame
        Columns method, crane, week, used, available; weeks in which the crane is on hire.
    """
    parts = []
    for case in comparison.cases:
        _count, weeks = _weeks_of(case)
        evening = _evening(case.site)
        for c, crane in enumerate(case.plan.scenario.served):
            used = _by_week(case, case.site.hook_used[c]).sum(axis=1)
            could = _by_week(case, case.site.available[c] + evening[c]).sum(axis=1)
            name = f"{crane.name}, {crane.number} cranes" if crane.number > 1 else crane.name
            frame = pd.DataFrame(
                {
                    "method": case.method.label,
                    "crane": name,
                    "week": weeks,
                    "used": used,
                    "available": could,
                }
            )
            parts.append(frame[frame["available"] > 0])
    return pd.concat(parts, ignore_index=True)


def _hoists_stand(case: Case) -> NDArray[np.bool_]:
    """Say for each block and date whether its hoists stand: from the first goods or closed storey on."""
    site = case.site
    used = site.hoist_used
    date = np.arange(used.shape[1])
    stand = np.zeros(used.shape, dtype=bool)
    has = case.takeoff.amount("hoists_no", "block") > 0
    if not has.any():
        return stand
    closed = case.plan.event_by_block("water_stopped", "first")
    struck = case.plan.event_by_block("hoist_struck")
    for b in np.flatnonzero(has):
        busy = np.flatnonzero(used[b])
        begin, end = math.floor(closed[b]), math.ceil(struck[b])
        if busy.size:
            begin, end = min(begin, int(busy[0])), max(end, int(busy[-1]) + 1)
        stand[b] = (date >= begin) & (date < end)
    return stand


def hoists_by_week(comparison: Comparison) -> pd.DataFrame:
    """Return hours the hoists carry goods, by block and week, and the hours there are for goods. [h]

    Returns
    -------
    DataFrame
        Columns method, block, week, used, available; weeks in which the hoists of the block stand. Empty
        where no block has a hoist.
    """
    columns = ["method", "block", "week", "used", "available"]
    parts = [pd.DataFrame(columns=columns)]
    for case in comparison.cases:
        _count, weeks = _weeks_of(case)
        used, stand = case.site.hoist_used, _hoists_stand(case)
        could = np.where(stand, case.plan.conditions.hoist_hours[:, : stand.shape[1]], 0.0)
        for b, name in enumerate(case.takeoff.layout.names):
            frame = pd.DataFrame(
                {
                    "method": case.method.label,
                    "block": name,
                    "week": weeks,
                    "used": _by_week(case, used[b]).sum(axis=1),
                    "available": _by_week(case, could[b]).sum(axis=1),
                }
            )
            parts.append(frame[frame["available"] > 0])
    return pd.concat([part for part in parts if len(part)] or parts, ignore_index=True)[columns]


# --------------------------------------------------------------------------------- lorries and panels


def bays_by_date(comparison: Comparison) -> pd.DataFrame:
    """Return the minutes vehicles stand on the bays by date, beside those that can be used.

    Returns
    -------
    DataFrame
        Columns method, date, vehicles, minutes, available; dates on which a vehicle comes. [min]
    """
    parts = []
    for case in comparison.cases:
        site = case.site
        minutes, vehicles = site.bay_minutes_by_date, site.loads_by_date
        busy = np.flatnonzero(vehicles[: minutes.size] > 0)
        parts.append(
            pd.DataFrame(
                {
                    "method": case.method.label,
                    "date": pd.Timestamp(case.plan.start_date) + pd.to_timedelta(busy, unit="D"),
                    "vehicles": vehicles[busy],
                    "minutes": minutes[busy],
                    "available": site.bay_minutes_available,
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def panels_by_date(comparison: Comparison) -> pd.DataFrame:
    """Return the panels that stand on site at the end of each date, in racks on so much ground.

    Returns
    -------
    DataFrame
        Columns method, date, panels, racks, area_m2; from the first panel delivered to the last one set.
        Empty where no method has panels.
    """
    columns = ["method", "date", "panels", "racks", "area_m2"]
    parts = [pd.DataFrame(columns=columns)]
    for case in comparison.cases:
        store = case.site.panel_store
        here = np.flatnonzero((store.delivered > 0) | (store.stored > 0))
        if here.size == 0:
            continue
        date = np.arange(int(here[0]), int(here[-1]) + 2)
        date = date[date < store.stored.size]
        racks = np.array([racks_for(float(panels), store.rack_panels) for panels in store.stored[date]])
        parts.append(
            pd.DataFrame(
                {
                    "method": case.method.label,
                    "date": pd.Timestamp(case.plan.start_date) + pd.to_timedelta(date, unit="D"),
                    "panels": store.stored[date],
                    "racks": racks,
                    "area_m2": racks * store.rack_m2,
                }
            )
        )
    return pd.concat([part for part in parts if len(part)] or parts, ignore_index=True)[columns]


def stacks(comparison: Comparison) -> pd.DataFrame:
    """Return how hard stacked goods press on a young slab.

    Returns
    -------
    DataFrame
        Columns goods, methods (tuple of labels), mass_t, footprint_m2, load_kn_m2, allowance_kn_m2, slab_m2
        (slab a stack has to itself to stay within the allowance), caution. Heaviest first.
    """
    found: dict[tuple[Any, ...], list[str]] = {}
    for case in comparison.cases:
        for stack in case.site.stack_loads:
            key = (
                stack.goods,
                stack.mass_t,
                stack.footprint_m2,
                stack.load_kn_m2,
                stack.allowance_kn_m2,
                stack.slab_m2,
                stack.caution,
            )
            found.setdefault(key, []).append(case.method.label)
    columns = [
        "goods",
        "mass_t",
        "footprint_m2",
        "load_kn_m2",
        "allowance_kn_m2",
        "slab_m2",
        "caution",
        "methods",
    ]
    frame = pd.DataFrame([(*key, tuple(labels)) for key, labels in found.items()], columns=columns)
    return frame.sort_values("load_kn_m2", ascending=False, ignore_index=True)


def transport(comparison: Comparison) -> pd.DataFrame:
    """Return haulage by kind of vehicle, and travel to work.

    Returns
    -------
    DataFrame
        Columns method, kind, vehicle, loads, distance_km (one way), km, kgco2e, factor_year; vehicle
        kilometres of haulage, person kilometres of travel.
    """
    parts = [
        case.site.transport_frame().assign(method=case.method.label)[
            ["method", "kind", "vehicle", "loads", "distance_km", "km", "kgco2e", "factor_year"]
        ]
        for case in comparison.cases
    ]
    return pd.concat(parts, ignore_index=True)


def bands(comparison: Comparison) -> pd.DataFrame:
    """Return figures of the site beside what the trade says.

    Returns
    -------
    DataFrame
        Columns method, label, value, low, likely, high, within, mark, source.
    """
    rows = [
        (
            case.method.label,
            check.band.label,
            check.value,
            check.band.low,
            check.band.likely,
            check.band.high,
            check.within,
            check.band.mark,
            check.band.source,
        )
        for case in comparison.cases
        for check in check_values(case.site)
    ]
    columns = ["method", "label", "value", "low", "likely", "high", "within", "mark", "source"]
    return pd.DataFrame(rows, columns=columns)


SITE_FRAMES: Final[Mapping[str, Callable[[Comparison], pd.DataFrame]]] = {
    "site people": people_by_week,
    "site trades": trades_by_week,
    "site hooks": hook_by_month,
    "site cranes": hook_by_crane,
    "site hoists": hoists_by_week,
    "site bays": bays_by_date,
    "site panels": panels_by_date,
    "site stacks": stacks,
    "site transport": transport,
    "site bands": bands,
}
"""Every frame of this module, by a name."""


# --------------------------------------------------------------------------------------------- figures


def site_figures(comparison: Comparison) -> dict[str, Any]:
    """Return figures of the site that stand beside `Comparison.as_json`.

    Returns
    -------
    dict
        ``changed`` (the second method against the first: trades and packages kept, gone and new) and
        ``methods``: by id, people, welfare, cranes, hoists, bays, panels stored, edges and carbon.
    """
    told = trades_changed(comparison.first.site, comparison.second.site)
    changed = {
        word: {"kept": list(one.kept), "gone": list(one.gone), "new": list(one.new)}
        for word, one in (("trades", told.trades), ("packages", told.packages))
    }
    return {"changed": changed, "methods": {case.method.id: _of_method(case) for case in comparison.cases}}


def _of_method(case: Case) -> dict[str, Any]:
    site = case.site
    welfare = site.welfare
    store = site.panel_store
    lifting = np.isfinite(site.crane_from)
    stand = _hoists_stand(case)
    goods = np.where(stand, case.plan.conditions.hoist_hours[:, : stand.shape[1]], 0.0)
    return {
        "peak_people_date": site.peak_people_date,
        "average_operatives": site.average_operatives,
        "peak_to_average": site.peak_to_average,
        "idle_share_pct": 100 * site.idle_share,
        "welfare": {name: getattr(welfare, name) for name in welfare.__slots__},
        "hook": {use: float(site.hook_by_use[use].sum()) for use in USES},
        "cranes": sum(
            crane.number for crane, here in zip(case.plan.scenario.served, lifting, strict=True) if here
        ),
        "fullest_crane_month_pct": 100 * site.peak_month_utilisation,
        "peak_hook_month": site.peak_hook_month,
        "evening_hook_hours": float(_evening(site).sum()),
        "hoists": float(case.takeoff.amount("hoists_no", "block").sum()),
        "hoist_hours": float(site.hoist_used.sum()),
        "hoist_hours_available": float(goods.sum()),
        "bay_minutes_peak_day": site.bay_minutes_peak_day,
        "bay_minutes_peak_date": site.bay_minutes_peak_date,
        "bay_minutes_available": site.bay_minutes_available,
        "bay_days_over": site.bay_days_over,
        "load_days": int((site.loads_by_date > 0).sum()),
        "panels": site.panels,
        "panels_stored_peak": store.peak,
        "panels_stored_date": case.plan.start_date + dt.timedelta(days=store.peak_date),
        "racks": store.racks,
        "rack_area_m2": store.area_m2,
        "edge_open_for_lifts_hours": site.edge_open_for_lifts_hours,
        "haulage_kgco2e": site.haulage_kgco2e,
        "travel_kgco2e": site.travel_kgco2e,
    }
