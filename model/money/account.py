"""What does it cost, what does it earn, and what is a week worth?

Stage: `price(plan, site_use, grid) -> Account`. Work is paid as it progresses, with a lag and retention;
panels partly ahead of fixing; site costs while they run; equity first, then a loan with interest rolled
up monthly; sales by reservations and handover. Cash dated by day is put on the monthly grid by linear
split between the two month-ends, so that a week is worth a week.

VAT is left out. Sums are nominal, in the scenario's currency, not rounded.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.calendar import monthly_anniversary
from model.inputs.assumption import Values
from model.inputs.scenario import Scenario
from model.money.costs import TimeCosts, WorkCosts, price_time, price_work
from model.money.facility import FacilityRun, run_facility
from model.money.grid import DAYS_PER_MONTH, MonthGrid, grid_for, spread, spread_evenly
from model.money.receipts import Completions, sale_days, sale_receipts
from model.money.returns import irr_annual_effective, npv, profit_on_cost
from model.programme import Plan
from model.quantities.takeoff import given
from model.site import SiteUse

Floats = NDArray[np.float64]

COST_LINES: Final = ("construction", "premium", "preliminaries", "fees", "land")


@dataclass(frozen=True)
class WeekValue:
    """Change of profit when every handover is a week earlier, by cause; the total is their sum. [GBP]"""

    interest: float
    preliminaries: float
    plant: float
    receipts: float
    premium: float
    npv: float

    @property
    def total(self) -> float:
        """Sum of the causes."""
        return self.interest + self.preliminaries + self.plant + self.receipts + self.premium


@dataclass(frozen=True, eq=False)
class Cash:
    """One pricing of a plan on the monthly grid.

    Attributes
    ----------
    costs : dict of str to array, one a month
        By `COST_LINES`. [GBP]
    receipts : array, one a month
        Net of the costs of selling. [GBP]
    time_costs : TimeCosts
    sold : Completions
    facility : FacilityRun
    equity : float
        Equity committed. [GBP]
    """

    costs: dict[str, Floats]
    receipts: Floats
    time_costs: TimeCosts
    sold: Completions
    facility: FacilityRun
    equity: float

    @property
    def cost(self) -> Floats:
        """All costs before finance, by month."""
        total: Floats = np.sum(list(self.costs.values()), axis=0)
        return total

    @property
    def finance(self) -> float:
        """Interest and finance fees."""
        return float(self.facility.interest_total + self.facility.fees_total)

    @property
    def profit(self) -> float:
        """Receipts less all costs, finance included."""
        return float(self.receipts.sum() - self.cost.sum()) - self.finance


@dataclass(frozen=True, eq=False)
class Account:
    """Money of one method.

    Attributes
    ----------
    plan : Plan
    grid : MonthGrid
    work : WorkCosts
    cash : Cash
    week : WeekValue
    """

    plan: Plan
    grid: MonthGrid
    work: WorkCosts
    cash: Cash
    week: WeekValue

    @cached_property
    def unfixed(self) -> tuple[float, float]:
        """Most money paid to the panel maker for panels not yet fixed, and the day. [GBP, days]"""
        return most_unfixed(self.plan, self.work)

    @property
    def deposit(self) -> float:
        """Deposit to the panel maker, with contingency left aside. [GBP]"""
        return float(self.work.supply.sum()) * self.plan.values["money.factory_deposit_pct"] / 100

    def cost_of(self, line: str) -> float:
        """Return one line of the cost: a name of `COST_LINES`, ``finance`` or ``total``. [GBP]"""
        if line == "finance":
            return self.cash.finance
        if line == "total":
            return float(self.cash.cost.sum()) + self.cash.finance
        return float(self.cash.costs[line].sum())

    @property
    def receipts(self) -> float:
        """Receipts net of the costs of selling. [GBP]"""
        return float(self.cash.receipts.sum())

    @property
    def profit(self) -> float:
        """Receipts less all costs. [GBP]"""
        return self.cash.profit

    @property
    def profit_on_cost_pct(self) -> float:
        """Profit over all costs. [%]"""
        return float(100.0 * profit_on_cost(self.profit, self.cost_of("total")))

    @cached_property
    def project_flows(self) -> Floats:
        """Receipts less costs before finance, by month. [GBP]"""
        return self.cash.receipts - self.cash.cost

    @cached_property
    def npv(self) -> float:
        """Net present value of the project flows at the hurdle, at the purchase. [GBP]"""
        return float(npv(self.project_flows, self.plan.values["money.hurdle_pct"] / 100))

    @cached_property
    def irr(self) -> tuple[float | None, str]:
        """Project internal rate of return, effective a year, or None and why not."""
        return irr_annual_effective(self.project_flows)

    @property
    def peak_debt(self) -> float:
        """Highest loan balance. [GBP]"""
        return float(self.cash.facility.peak_debt)

    @property
    def interest(self) -> float:
        """Interest in all. [GBP]"""
        return float(self.cash.facility.interest_total)

    def cashflow_frame(self) -> pd.DataFrame:
        """Columns month, ends_on, the cost lines, receipts, and the loan's movements; one row a month."""
        run = self.cash.facility
        return pd.DataFrame(
            {
                "month": self.grid.months,
                "ends_on": [day.isoformat() for day in self.grid.ends_on],
                **self.cash.costs,
                "receipts": self.cash.receipts,
                "drawn_equity": run.drawn_equity,
                "drawn_debt": run.drawn_debt,
                "interest": run.interest,
                "fees_finance": run.fees_finance,
                "repaid": run.repaid,
                "debt": run.debt,
                "equity_out": run.equity_out,
            }
        )

    def receipts_frame(self) -> pd.DataFrame:
        """Columns section, kind, month, amount: receipts of each handover section by month."""
        plan = self.plan
        rows = []
        values, flats = section_values(plan), plan.takeoff.section_flats
        for b, name in enumerate(plan.takeoff.layout.section_names):
            if flats[b] == 0:
                continue
            mine = self.cash.sold.block == b
            each = values[b] / flats[b] * (1 - plan.values["money.selling_pct"] / 100)
            by_month = spread(
                self.cash.sold.day[mine], each * self.cash.sold.number[mine], self.grid.ends_day
            )
            for k in np.flatnonzero(by_month):
                rows.append((name, "sale", int(self.grid.months[k]), float(by_month[k])))
        return pd.DataFrame(rows, columns=["section", "kind", "month", "amount"])


def purchase_day(scenario: Scenario, values: Values) -> float:
    """Return the day the land is bought, negative before the start on site. [days]"""
    start = scenario.development.start
    if scenario.development.purchase is not None:
        return float((scenario.development.purchase - start).days)
    months = values["money.purchase_months_before_start"]
    whole_months = int(months)
    day = monthly_anniversary(start, -whole_months) - dt.timedelta(
        days=round((months - whole_months) * DAYS_PER_MONTH)
    )
    return float((day - start).days)


def common_grid(plans: Sequence[Plan]) -> MonthGrid:
    """Return one monthly grid that holds every movement of money of several methods.

    Parameters
    ----------
    plans : sequence of Plan
        Methods of one scenario.

    Returns
    -------
    MonthGrid
        From the purchase, or an order of panels before it, to the last sale or release of retention, and a
        month more.
    """
    first = min(
        min(purchase_day(plan.scenario, plan.values), order_day(plan) if makes_panels(plan) else 0.0)
        for plan in plans
    )
    last = 0.0
    for plan in plans:
        defects = plan.values["money.defects_months"] * DAYS_PER_MONTH
        lag = plan.values["money.payment_lag_days"]
        sold = _sales(plan, plan.ready_by_section)
        last = max(
            last, plan.last_handover + defects + lag, float(sold.day.max()), float(plan.finish.max()) + lag
        )
    return grid_for(plans[0].start_date, first, last + 31.0)


def price(plan: Plan, site_use: SiteUse, grid: MonthGrid) -> Account:
    """Price a plan.

    Parameters
    ----------
    plan : Plan
    site_use : SiteUse
    grid : MonthGrid
        From `common_grid`, one for all methods compared.

    Returns
    -------
    Account
    """
    work = price_work(plan)
    handovers = plan.ready_by_section
    measured = _measured_cash(plan, work, grid)
    cash = _cash(plan, site_use, work, grid, measured, handovers)
    sooner = _cash(plan, site_use, work, grid, measured, handovers - 7.0, committed=cash)
    return Account(plan, grid, work, cash, _week(plan, cash, sooner))


def _week(plan: Plan, now: Cash, sooner: Cash) -> WeekValue:
    """Difference of two pricings a week apart, by cause; fees of the committed facility do not move."""
    plant = [float(cash.time_costs.amount[cash.time_costs.plant].sum()) for cash in (now, sooner)]
    time = [float(cash.time_costs.amount.sum()) for cash in (now, sooner)]
    hurdle = plan.values["money.hurdle_pct"] / 100
    return WeekValue(
        interest=float(now.facility.interest_total - sooner.facility.interest_total),
        preliminaries=(time[0] - plant[0]) - (time[1] - plant[1]),
        plant=plant[0] - plant[1],
        receipts=float(sooner.receipts.sum() - now.receipts.sum()),
        premium=float(now.costs["premium"].sum() - sooner.costs["premium"].sum()),
        npv=float(npv(sooner.receipts - sooner.cost, hurdle) - npv(now.receipts - now.cost, hurdle)),
    )


def _measured_cash(plan: Plan, work: WorkCosts, grid: MonthGrid) -> dict[str, Floats]:
    """Cost of measured work by line and month of payment, retention still withheld."""
    v = plan.values
    contingency = 1 + v["money.contingency_pct"] / 100
    retained = v["money.retention_pct"] / 100
    moved = plan.moved_work / plan.tasks.work[plan.moved_task]
    dates = np.arange(int(plan.moved_date.max()) + 1)
    day = dates + 1.0 + v["money.payment_lag_days"]
    early = _paid_ahead(plan, work, grid)
    own = work.reference + work.premium
    ahead_share = (v["money.factory_deposit_pct"] + v["money.factory_stage_pct"]) / 100
    kept = np.divide(own - work.supply * ahead_share, own, out=np.ones_like(own), where=own > 0)
    total = float(work.supply.sum())
    lines = {}
    for name, amount in (("construction", work.reference), ("premium", work.premium)):
        paid = amount * (kept - retained) * contingency
        by_date = np.bincount(plan.moved_date, moved * paid[plan.moved_task], minlength=dates.size)
        part = np.divide(amount, own, out=np.zeros_like(own), where=own > 0)
        supplied = float((work.supply * part).sum())
        lines[name] = spread(day, by_date, grid.ends_day) + early * contingency * (
            supplied / total if total else 0.0
        )
    return lines


def _paid_ahead(plan: Plan, work: WorkCosts, grid: MonthGrid) -> Floats:
    """Deposit and stage payments to the panel maker, by month, before contingency. [GBP]"""
    total = float(work.supply.sum())
    if total == 0.0:
        return np.zeros(grid.ends_day.size)
    v = plan.values
    order = order_day(plan)
    made = plan.network.tasks_of("activity:make_panels")
    weight = plan.tasks.amount[made] / plan.tasks.amount[made].sum()
    deposit = total * v["money.factory_deposit_pct"] / 100
    stages = total * v["money.factory_stage_pct"] / 100
    return spread([order], [deposit], grid.ends_day) + spread_evenly(
        plan.start[made], plan.finish[made], stages * weight, grid.ends_day
    )


def _cash(
    plan: Plan,
    site_use: SiteUse,
    work: WorkCosts,
    grid: MonthGrid,
    measured: dict[str, Floats],
    handovers: Floats,
    committed: Cash | None = None,
) -> Cash:
    """Put one set of handovers, one a section, on the grid and finance it.

    With a pricing already committed to, its equity and its finance fees are held: a week's delay changes
    the interest, not the size of the loan that was agreed.
    """
    v, ends = plan.values, grid.ends_day
    lag = v["money.payment_lag_days"]
    last = float(handovers.max())
    by_block = np.full(len(plan.takeoff.layout.names), -np.inf)
    np.maximum.at(by_block, plan.takeoff.layout.section_block, handovers)
    time_costs = price_time(plan, site_use, by_block)
    value = float(work.reference.sum())
    fixed = value * v["money.fixed_preliminaries_pct"] / 100
    preliminaries = spread_evenly(
        time_costs.start + lag, time_costs.finish + lag, time_costs.amount, ends
    ) + spread_evenly([lag], [last + lag], [fixed], ends)
    bought = purchase_day(plan.scenario, v)
    fees = value * v["money.fees_pct"] / 100
    redesign = value * redesign_share(plan)
    before = fees * v["money.fees_before_start_pct"] / 100
    land = v["money.land"] * float(plan.takeoff.flats.sum()) * (1 + v["money.stamp_duty_pct"] / 100)
    costs = {
        "construction": measured["construction"] + _released(plan, work.reference, by_block, ends),
        "premium": measured["premium"] + _released(plan, work.premium, by_block, ends),
        "preliminaries": preliminaries,
        "fees": spread_evenly([min(bought, 0.0), 0.0], [0.0, last], [before, fees - before], ends)
        + spread([0.0], [redesign], ends),
        "land": spread([bought], [land], ends),
    }
    sold = _sales(plan, handovers)
    receipts = sale_receipts(sold, section_values(plan), ends, selling_share=v["money.selling_pct"] / 100).net
    total = float(sum(line.sum() for line in costs.values()))
    cost = np.sum(list(costs.values()), axis=0)
    equity = total * v["money.equity_pct"] / 100 if committed is None else committed.equity
    fees_held = np.zeros_like(cost) if committed is None else committed.facility.fees_finance
    charged = float(committed is None)
    facility = run_facility(
        np.maximum(cost, 0.0) + fees_held,
        receipts + np.maximum(-cost, 0.0),
        equity=equity,
        monthly_rate=v["money.debt_rate_pct"] / 1200,
        arrangement_share=charged * v["money.arrangement_pct"] / 100,
        exit_share=charged * v["money.exit_pct"] / 100,
        non_utilisation_annual_share=charged * v["money.non_utilisation_pct"] / 100,
    )
    return Cash(costs, receipts, time_costs, sold, facility, equity)


def order_day(plan: Plan) -> float:
    """Return the day the panels are ordered, after a redesign where the scheme was drawn without. [days]"""
    v = plan.values
    late = v["late.redesign"] + v["approval.change"] if plan.scenario.development.late_adoption else 0.0
    return (v["factory.order"] + late) * 7.0


def most_unfixed(plan: Plan, work: WorkCosts) -> tuple[float, float]:
    """Return the most money paid to the panel maker for panels not yet fixed, and when.

    Deposit at the order, stages as each storey is made; what is fixed no longer counts.

    Parameters
    ----------
    plan : Plan
    work : WorkCosts

    Returns
    -------
    amount : float
        0 without panels. [GBP]
    day : float
        [days from start on site]
    """
    total = float(work.supply.sum())
    if total == 0.0:
        return 0.0, 0.0
    v = plan.values
    deposit, stage = (v[f"money.factory_{name}_pct"] / 100 for name in ("deposit", "stage"))
    made = plan.network.tasks_of("activity:make_panels")
    made = made[plan.tasks.work[made] > 0]
    weight = plan.tasks.amount[made] / plan.tasks.amount[made].sum()
    first = min(math.floor(order_day(plan)), 0)
    day = np.arange(first, math.ceil(float(plan.finish.max())) + 1, dtype=float)
    paid = np.where(day >= order_day(plan), deposit * total, 0.0)
    begin, end = plan.start[made], plan.finish[made]
    part = np.clip((day[:, None] - begin) / np.maximum(end - begin, 1e-9), 0.0, 1.0)
    paid += stage * total * (part @ weight)
    done = plan.moved_work / plan.tasks.work[plan.moved_task] * work.supply[plan.moved_task]
    fixed = np.cumsum(np.bincount(plan.moved_date - first + 1, done, minlength=day.size))[: day.size]
    unfixed = paid - (deposit + stage) * fixed
    at = int(unfixed.argmax())
    return float(unfixed[at]), float(day[at])


def redesign_share(plan: Plan) -> float:
    """Return the fee of drawing again for panels over the price of construction; 0 but for late adoption."""
    late = plan.scenario.development.late_adoption and makes_panels(plan)
    return plan.values["late.fee_pct"] / 100 if late else 0.0


def makes_panels(plan: Plan) -> bool:
    """Say whether any option of the method is made in a factory."""
    return any(option.panels for option in plan.option_of.values())


def _released(plan: Plan, amount: Floats, handovers: Floats, ends: Floats) -> Floats:
    """Retention released by month: half at the handover of each block, half after the defects period."""
    v = plan.values
    held = v["money.retention_pct"] / 100 * amount * (1 + v["money.contingency_pct"] / 100)
    by_block = np.bincount(plan.network.block + 1, held, minlength=handovers.size + 1)[1:]
    late = handovers + v["money.defects_months"] * DAYS_PER_MONTH
    days = np.concatenate([handovers, late]) + v["money.payment_lag_days"]
    return spread(days, np.concatenate([by_block, by_block]) / 2, ends)


def block_values(plan: Plan) -> Floats:
    """Return the price of all flats of each block: saleable area times price. [GBP]"""
    saleable = saleable_m2(plan)
    each = [given(block.price_gbp_m2, plan.values, "money.price") for block in plan.scenario.blocks]
    return np.asarray(saleable * np.array(each), dtype=float)


def section_values(plan: Plan) -> Floats:
    """Return the price of the flats handed over with each section: its block's, by number of flats. [GBP]"""
    block = plan.takeoff.layout.section_block
    share = plan.takeoff.section_flats / plan.takeoff.flats[block]
    return np.asarray(block_values(plan)[block] * share, dtype=float)


def saleable_m2(plan: Plan) -> Floats:
    """Return the net area of each block less what a thicker wall takes. [m2]"""
    extra = sum(
        plan.values[f"{option.key}.extra_thickness"]
        for option in {option.key: option for option in plan.option_of.values()}.values()
        if option.has_extra_thickness
    )
    facade = np.add.reduceat(plan.takeoff.facade_m, plan.takeoff.layout.block_storey_starts)
    return plan.takeoff.net_m2 - facade * extra


def _sales(plan: Plan, handovers: Floats) -> Completions:
    """Date the sales; sections are offered in a fixed order: as their blocks start, smaller blocks first.

    The cap on reservations of one block holds for each section.
    """
    v = plan.values
    starts = np.array([given(block.start_weeks, v, "block.start_weeks") for block in plan.scenario.blocks])
    block = plan.takeoff.layout.section_block
    order = np.lexsort((np.arange(block.size), plan.takeoff.flats[block], starts[block]))
    return sale_days(
        [round(flats) for flats in plan.takeoff.section_flats],
        handovers,
        launch_day=v["money.sales_launch_months"] * DAYS_PER_MONTH,
        reservations_per_month=v["money.reservations_per_month"],
        notice_days=v["money.notice_weeks"] * 7.0,
        order=order,
        cap_per_block_per_month=v["money.cap_per_block_per_month"],
    )
