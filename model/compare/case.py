"""Everything known about one method of one scenario."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.inputs.scenario import Method
from model.money import Account
from model.programme import Plan
from model.quantities import TakeOff
from model.site import SiteUse

WEEK = 7.0


@dataclass(frozen=True, eq=False)
class Case:
    """One method, worked through every stage.

    Attributes
    ----------
    method : Method
    takeoff : TakeOff
    plan : Plan
    site : SiteUse
    account : Account
    """

    method: Method
    takeoff: TakeOff
    plan: Plan
    site: SiteUse
    account: Account

    @property
    def weeks_to_first_handover(self) -> float:
        """Start on site to the first block ready. [weeks]"""
        return self.plan.first_handover / WEEK

    @property
    def weeks_to_last_handover(self) -> float:
        """Start on site to the last block ready. [weeks]"""
        return self.plan.last_handover / WEEK

    @cached_property
    def cycle_days(self) -> NDArray[np.float64]:
        """Median dates from slab to slab of each block, closed dates included. [days]"""
        network = self.plan.network
        slabs = network.tasks_of("event:slab_poured")
        cycles = []
        for b, storeys in enumerate(self.takeoff.layout.storeys):
            mine = slabs[network.block[slabs] == b]
            poured = np.zeros(storeys + 2)
            np.maximum.at(poured, network.storey[mine], self.plan.finish[mine])
            cycles.append(float(np.median(np.diff(poured[1:]))))
        return np.array(cycles)

    @cached_property
    def lag_storeys(self) -> NDArray[np.float64]:
        """Storeys between the deck being worked and inside work starting below, median of each block."""
        network, plan = self.plan.network, self.plan
        slabs = network.tasks_of("event:slab_poured")
        lags = []
        for b, storeys in enumerate(self.takeoff.layout.storeys):
            mine = slabs[network.block[slabs] == b]
            poured = np.zeros(storeys + 2)
            np.maximum.at(poured, network.storey[mine], plan.finish[mine])
            inside = np.full(storeys + 1, np.inf)
            started = np.flatnonzero(
                (network.block == b) & (network.group == network.groups.index("activity:partition_frame"))
            )
            np.minimum.at(inside, network.storey[started], plan.start[started])
            below = [s for s in range(1, storeys + 1) if inside[s] < poured[storeys + 1]]
            at_deck = [int((poured[1:] <= inside[s]).sum()) - s for s in below]
            lags.append(float(np.median(at_deck)) if at_deck else float("nan"))
        return np.array(lags)

    def as_json(self, warnings: list[str]) -> dict[str, Any]:
        """Return the figures of the method, as the command line prints them.

        Parameters
        ----------
        warnings : list of str
            A figure that cannot be had adds its reason here.

        Returns
        -------
        dict
        """
        plan, site, account = self.plan, self.site, self.account
        irr, reason = account.irr
        if irr is None:
            warnings.append(f"{self.method.label}: no internal rate of return: {reason}")
        if account.cash.facility.debt_at_end > 0.5:
            warnings.append(
                f"{self.method.label}: sales do not repay the loan; "
                f"{float(account.cash.facility.debt_at_end):,.0f} is left at the end."
            )
        if site.loads_peak_day > site.bay_capacity_per_day:
            warnings.append(
                f"{self.method.label}: {site.loads_peak_day:,.0f} vehicles on the busiest day, the bays take "
                f"{site.bay_capacity_per_day}: book pours on different days, "
                "open another bay or consolidate goods."
            )
        week = account.week
        return {
            "like": self.method.like,
            "options": dict(self.method.options),
            "gangs": plan.gangs.by_trade(),
            "blocks": self._blocks(warnings),
            "first_handover": plan.date(plan.first_handover).isoformat(),
            "last_handover": plan.date(plan.last_handover).isoformat(),
            "weeks_to_first_handover": self.weeks_to_first_handover,
            "weeks_to_last_handover": self.weeks_to_last_handover,
            "trades": len(site.trades),
            "packages": len(site.packages),
            "operative_days": site.operative_days,
            "peak_operatives": site.peak_operatives,
            "hours_per_m2": site.hours_per_m2,
            "open_edge_hours": site.open_edge_hours,
            "hook_hours": site.hook_hours,
            "hook_utilisation_peak_month": site.peak_month_utilisation,
            "cranes": len(plan.scenario.served),
            "cranes_needed": site.cranes_needed,
            "lifts": site.lifts,
            "wind_lost_hook_hours": site.wind_lost_hook_hours,
            "loads": site.loads_total,
            "loads_peak_day": site.loads_peak_day,
            "bay_capacity_per_day": site.bay_capacity_per_day,
            "panels": site.panels,
            "transport_kgco2e": site.transport_kgco2e,
            "factory": self._factory(),
            "cost": {
                name: account.cost_of(name)
                for name in ("construction", "premium", "preliminaries", "fees", "land", "finance", "total")
            },
            "receipts": account.receipts,
            "profit": account.profit,
            "profit_on_cost_pct": account.profit_on_cost_pct,
            "npv": account.npv,
            "irr_pct": None if irr is None else 100 * irr,
            "peak_debt": account.peak_debt,
            "interest": account.interest,
            "value_of_a_week": {
                "total": week.total,
                "interest": week.interest,
                "preliminaries": week.preliminaries,
                "plant": week.plant,
                "receipts": week.receipts,
                "premium": week.premium,
            },
        }

    def _blocks(self, warnings: list[str]) -> list[dict[str, Any]]:
        plan = self.plan
        events: Mapping[str, NDArray[np.float64]] = {
            "ground_slab": plan.event_by_block("slab_poured", "first"),
            "topped_out": plan.event_by_block("slab_poured", "top"),
            "weathertight": plan.event_by_block("weathertight"),
            "ready": plan.ready_by_block,
        }
        starts = _block_starts(plan)
        blocks = []
        for b, name in enumerate(self.takeoff.layout.names):
            lag: float | None = float(self.lag_storeys[b])
            if not np.isfinite(self.lag_storeys[b]):
                lag = None
                warnings.append(
                    f"{self.method.label}, {name}: inside work starts only after topping out, "
                    "so there are no storeys of lag to count."
                )
            storeys = [1, self.takeoff.layout.storeys[b]]
            ready = plan.date(events["ready"][b]).isoformat()
            blocks.append(
                {
                    "name": name,
                    "start": plan.date(starts[b] + 1.0).isoformat(),
                    **{event: plan.date(instants[b]).isoformat() for event, instants in events.items()},
                    "sections": [{"storeys": storeys, "ready": ready}],
                    "cycle_days": float(self.cycle_days[b]),
                    "lag_storeys": lag,
                }
            )
        return blocks

    def _factory(self) -> dict[str, Any] | None:
        """Order, last safe days to order and freeze, first and last panel; None without panels."""
        plan, network = self.plan, self.plan.network
        if not network.has("activity:make_panels") or self.site.panels == 0:
            return None
        made = network.tasks_of("activity:make_panels")
        here = network.tasks_of("event:panels_here")
        from_here = np.isin(network.before, here)
        fixing = np.unique(network.after[from_here])
        # what fixing waits for besides its panels says when they are needed, however late they come
        wanted = np.full(network.size, -np.inf)
        others = np.isin(network.after, fixing) & ~from_here
        np.maximum.at(wanted, network.after[others], plan.finish[network.before[others]])
        first = fixing[wanted[fixing].argmin()]
        values = plan.values
        storey = made[
            (network.block[made] == network.block[first]) & (network.storey[made] == network.storey[first])
        ]
        making = float(
            (plan.tasks.work[storey] / plan.conditions.mean_share[plan.tasks.calendar[storey]]).max()
        )
        ahead = values["site.panels_ahead"] * WEEK / 5
        order_by = float(wanted[first]) - ahead - making - values["factory.lead"] * WEEK
        return {
            "panels": self.site.panels,
            "first_made": plan.date(float(plan.start[made].min()) + 1.0).isoformat(),
            "last_made": plan.date(float(plan.finish[made].max())).isoformat(),
            "panels_per_week": values["factory.output"],
            "ordered": _shift(plan, values["factory.order"] * WEEK),
            "order_by": _shift(plan, order_by),
            "freeze_by": _shift(plan, order_by - values["factory.freeze"] * WEEK),
        }


def _shift(plan: Plan, day: float) -> str:
    """Return the date of a day before or after the start on site."""
    date = np.datetime64(plan.start_date) + int(np.floor(day))
    return str(date)


def _block_starts(plan: Plan) -> NDArray[np.float64]:
    tasks = plan.network.tasks_of("activity:substructure")
    result: NDArray[np.float64] = plan.start[tasks]
    return result
