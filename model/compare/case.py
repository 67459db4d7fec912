"""Everything known about one method of one scenario."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from model.inputs.scenario import Method
from model.money import Account
from model.money.payments import order_day
from model.programme import Plan
from model.programme.causes import Path, float_by_trade, path_to
from model.quantities import TakeOff
from model.site import SiteUse

WEEK = 7.0

PATH_EVENTS: Final = {"topped_out": "slab_poured", "weathertight": "weathertight", "ready": "ready"}
"""Dates of a block whose causes are told, and the event behind each."""


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
                f"{self.method.label}: receipts do not repay the loan; "
                f"{float(account.cash.facility.debt_at_end):,.0f} is left at the end."
            )
        unpaid = float(account.cash.facility.exit_fee_unpaid)
        if unpaid > 0.5:
            warnings.append(
                f"{self.method.label}: receipts do not pay the exit fee of the loan; {unpaid:,.0f} of it is "
                "left at the end and not in the costs."
            )
        warnings += [f"{self.method.label}: {breach.sentence}" for breach in account.breaches]
        if account.profit_on_value_pct is None:
            warnings.append(f"{self.method.label}: no profit on value: the development is worth nothing.")
        if account.mirr is None:
            warnings.append(
                f"{self.method.label}: no modified rate of return: nothing is paid, or nothing received."
            )
        equity_irr, equity_reason = account.equity_irr
        if equity_irr is None:
            warnings.append(f"{self.method.label}: no rate of return of the equity: {equity_reason}")
        if site.loads_peak_day > site.bay_capacity_per_day:
            warnings.append(
                f"{self.method.label}: {site.loads_peak_day:,.0f} vehicles on the busiest day, the bays take "
                f"{site.bay_capacity_per_day}: book pours on different days, "
                "open another bay or consolidate goods."
            )
        warnings += [
            f"{self.method.label}: {option.caution}"
            for option in {o.key: o for o in plan.option_of.values()}.values()
            if option.caution
        ]
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
            "cranes": sum(crane.number for crane in plan.scenario.served),
            "cranes_needed": site.cranes_needed,
            "lifts": site.lifts,
            "wind_lost_hook_hours": site.wind_lost_hook_hours,
            "loads": site.loads_total,
            "loads_peak_day": site.loads_peak_day,
            "bay_capacity_per_day": site.bay_capacity_per_day,
            "panels": site.panels,
            "transport_kgco2e": site.transport_kgco2e,
            "site": self._site(),
            "factory": self._factory(),
            "causes": self._causes(),
            "cost": {
                name: account.cost_of(name)
                for name in ("construction", "premium", "preliminaries", "fees", "land", "finance", "total")
            },
            "panel_prices": self._panel_prices(),
            "receipts": account.receipts,
            "profit": account.profit,
            "profit_on_cost_pct": account.profit_on_cost_pct,
            "npv": account.npv,
            "irr_pct": None if irr is None else 100 * irr,
            "irr_roots_pct": [100 * root for root in account.irr_roots],
            "equity_irr_pct": None if equity_irr is None else 100 * equity_irr,
            "mirr_pct": None if account.mirr is None else 100 * account.mirr,
            "profit_on_value_pct": account.profit_on_value_pct,
            "value": account.value,
            "income": {kind: float(net.sum()) for kind, net in account.cash.income.by_kind.items()},
            **self._sold(),
            "peak_equity": account.peak_equity,
            "lending": [
                {"limit": breach.kind, "found": breach.found, "allowed": breach.allowed}
                for breach in account.breaches
            ],
            "peak_debt": account.peak_debt,
            "interest": account.interest,
            "value_of_a_week": {
                "total": week.total,
                "interest": week.interest,
                "preliminaries": week.preliminaries,
                "plant": week.plant,
                "receipts": week.receipts,
                "premium": week.premium,
                "npv": week.npv,
                "client": week.client,
                "builder": week.builder,
                "damages_basis": week.damages_basis,
            },
        }

    def _panel_prices(self) -> list[dict[str, Any]]:
        """Price of each option made in a factory: by itself, and over what it replaces."""
        made = {option.element for option in self.plan.option_of.values() if option.panels}
        plan = self.account.work.plan
        return [
            {
                "element": row["element"],
                "unit": f"GBP/{row['unit']}",
                "rate": row["rate"],
                "replaces_rate": row["reference_rate"],
                "premium": row["rate"] - row["reference_rate"],
            }
            for row in plan[plan["element"].isin(sorted(made))].to_dict("records")
        ]

    def _sold(self) -> dict[str, Any]:
        """How flats are sold or let, as far as some are."""
        income = self.account.cash.income
        share, day = income.presold_share, income.exit_day
        return {
            **({} if share is None else {"presold_pct": 100 * share}),
            **({} if day is None else {"homes_let_sold_on": _shift(self.plan, day)}),
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
            blocks.append(
                {
                    "name": name,
                    "start": plan.date(starts[b] + 1.0).isoformat(),
                    **{event: plan.date(instants[b]).isoformat() for event, instants in events.items()},
                    "sections": self._sections(b),
                    "stricter_approvals": bool(self.takeoff.higher_risk[b]),
                    **self._apply_by(b, starts[b]),
                    "cycle_days": float(self.cycle_days[b]),
                    "lag_storeys": lag,
                }
            )
        return blocks

    def _sections(self, block: int) -> list[dict[str, Any]]:
        """Handover sections of a block, lowest first."""
        layout = self.takeoff.layout
        mine = np.flatnonzero(layout.section_block == block)
        return [
            {
                "name": layout.section_names[k],
                "storeys": list(layout.parts[block][n][:2]),
                "zones": list(layout.parts[block][n][2:4]),
                "flats": float(self.takeoff.section_flats[k]),
                "ready": self.plan.date(self.plan.ready_by_section[k]).isoformat(),
            }
            for n, k in enumerate(mine)
        ]

    def _apply_by(self, block: int, start: float) -> dict[str, str]:
        """Last day to apply for approval to start a block, where the stricter approvals apply."""
        if not self.takeoff.higher_risk[block]:
            return {}
        weeks = self.plan.values["approval.before_start"]
        return {"apply_to_start_by": _shift(self.plan, start - weeks * WEEK)}

    def _site(self) -> dict[str, Any]:
        """What the site needs beside people, hooks and loads."""
        site, welfare = self.site, self.site.welfare
        peak = site.peak_hook_month
        return {
            "average_operatives": site.average_operatives,
            "idle_share": site.idle_share,
            "welfare": {
                "people": welfare.people,
                "wcs": welfare.wcs,
                "basins": welfare.basins,
                "portable_toilets": welfare.portable_toilets,
                "cabins": welfare.cabins,
            },
            "bay_minutes_peak_day": site.bay_minutes_peak_day,
            "bay_minutes_available": site.bay_minutes_available,
            "bay_days_over": site.bay_days_over,
            "panels_stored_peak": site.panel_store.peak,
            "edge_open_for_lifts_hours": site.edge_open_for_lifts_hours,
            "hoist_hours": float(site.hoist_used.sum()),
            "peak_hook_month": None if peak is None else peak.isoformat(),
            "haulage_kgco2e": site.haulage_kgco2e,
            "travel_kgco2e": site.travel_kgco2e,
        }

    def path_to(self, block: int, event: str = "ready") -> Path:
        """Return why an event of a block is when it is: the last of its tasks, traced back to the start."""
        plan = self.plan
        tasks = plan.network.tasks_of(f"event:{event}")
        mine = tasks[plan.network.block[tasks] == block]
        return path_to(plan, int(mine[plan.finish[mine].argmax()]))

    def _causes(self) -> dict[str, Any]:
        """Why the dates are what they are: days by cause to the events of each block, and least float."""
        last = int(self.plan.ready_by_block.argmax())
        spare = float_by_trade(self.plan, to="last")
        return {
            "blocks": [
                {
                    "name": name,
                    **{word: days_by_cause(self.path_to(b, event)) for word, event in PATH_EVENTS.items()},
                }
                for b, name in enumerate(self.takeoff.layout.names)
            ],
            "last_handover": {
                "block": self.takeoff.layout.names[last],
                "days": days_by_cause(self.path_to(last)),
                "work_days_by_trade": dict(self.path_to(last).trade_days),
                "steps": self.path_to(last).frame().astype(str).to_dict("records"),
            },
            "float_before_crane_sharing": {
                str(trade): round(days, 6)
                for trade, days in zip(spare["trade"], spare["float_days"].to_numpy(dtype=float), strict=True)
                if np.isfinite(days)
            },
        }

    @cached_property
    def factory(self) -> Factory | None:
        """When panels are ordered, made and needed, and whether the factory binds; None without panels."""
        if not self.plan.network.has("activity:make_panels") or self.site.panels == 0:
            return None
        return factory_of(self.plan, self.path_to(int(self.plan.ready_by_block.argmax())))

    def _factory(self) -> dict[str, Any] | None:
        factory, plan = self.factory, self.plan
        if factory is None:
            return None
        amount, day = self.account.unfixed
        return {
            "panels": self.site.panels,
            "remade": float(self.takeoff.by_storey["remade_panels_no"].sum()),
            "first_made": plan.date(factory.first_made + 1.0).isoformat(),
            "last_made": plan.date(factory.last_made).isoformat(),
            "panels_per_week": plan.values["factory.output"],
            "ordered": _shift(plan, order_day(plan)),
            "order_by": _shift(plan, factory.order_by),
            "freeze_by": _shift(plan, factory.order_by - plan.values["factory.freeze"] * WEEK),
            "last_day_to_go_back": _shift(plan, order_day(plan) - 1.0),
            "going_back_then_costs": self.account.deposit,
            "most_unfixed": amount,
            "most_unfixed_on": _shift(plan, day),
            "bond": self.account.bond,
            "binds": factory.binds,
            **({} if factory.since is None else {"binds_since": _shift(plan, factory.since)}),
            "storeys_that_waited": factory.waited,
            "longest_wait_days": factory.longest_wait,
            "days_on_the_path_to_last_handover": factory.days_on_path,
        }


def days_by_cause(path: Path) -> dict[str, float]:
    """Return the days of a path by cause, the planned start of a block apart from work in hand.

    Parameters
    ----------
    path : Path

    Returns
    -------
    dict
        As `Path.days`, with ``planned start``: time between tasks that no hand works in. They add up to the
        date. [days]
    """
    planned = sum(step.days.get("work", 0.0) for step in path.steps if step.kind == "between")
    return {**path.days, "work": path.days["work"] - planned, "planned start": planned}


@dataclass(frozen=True, slots=True)
class Factory:
    """The factory's side of the panels. Days from start on site.

    Attributes
    ----------
    first_made, last_made : float
        First panel begun, last panel made.
    order_by : float
        Last day on which an order would not hold up the storey that asks first.
    waited : int
        Fixing tasks whose panels came last of all they waited for.
    longest_wait : float
        Longest of those waits. [days]
    since : float or None
        When the first of them could have begun but for its panels.
    days_on_path : float
        Days of the way to the last handover that are the factory's. [days]
    """

    first_made: float
    last_made: float
    order_by: float
    waited: int
    longest_wait: float
    since: float | None
    days_on_path: float

    @property
    def binds(self) -> bool:
        """Whether any storey waited for panels that could have been set."""
        return self.waited > 0


def factory_of(plan: Plan, last: Path) -> Factory:
    """Work out the factory's side of a plan with panels.

    Parameters
    ----------
    plan : Plan
    last : Path
        To the last handover.

    Returns
    -------
    Factory
    """
    network, values = plan.network, plan.values
    made = network.tasks_of("activity:make_panels")
    made = made[plan.tasks.work[made] > 0]
    from_here = np.isin(network.before, network.tasks_of("event:panels_here"))
    fixing = np.unique(network.after[from_here])
    fixing = fixing[plan.tasks.work[fixing] > 0]
    # what fixing waits for besides its panels says when they are needed, however late they come
    wanted = np.full(network.size, -np.inf)
    others = np.isin(network.after, fixing) & ~from_here
    np.maximum.at(wanted, network.after[others], plan.finish[network.before[others]] + plan.links.lag[others])
    first = fixing[wanted[fixing].argmin()]
    storey = made[
        (network.block[made] == network.block[first]) & (network.storey[made] == network.storey[first])
    ]
    making = float((plan.tasks.work[storey] / plan.conditions.mean_share[plan.tasks.calendar[storey]]).max())
    ahead = values["site.panels_ahead"] * WEEK / 5
    waits = plan.ready[fixing] - wanted[fixing]
    held = waits > 1.0 / 24.0  # an hour
    return Factory(
        first_made=float(plan.start[made].min()),
        last_made=float(plan.finish[made].max()),
        order_by=float(wanted[first]) - ahead - making - values["factory.lead"] * WEEK,
        waited=int(held.sum()),
        longest_wait=float(waits[held].max()) if held.any() else 0.0,
        since=float(wanted[fixing][held].min()) if held.any() else None,
        days_on_path=float(last.days.get("factory", 0.0)),
    )


def _shift(plan: Plan, day: float) -> str:
    """Return the date of a day before or after the start on site."""
    date = np.datetime64(plan.start_date) + int(np.floor(day))
    return str(date)


def _block_starts(plan: Plan) -> NDArray[np.float64]:
    tasks = plan.network.tasks_of("activity:substructure")
    result: NDArray[np.float64] = plan.start[tasks]
    return result
