"""What does it cost, what does it earn, and what is a week worth?

Stage: `price(plan, site_use, grid) -> Account`. Work is paid as it progresses, with a lag and retention
(`payments`); site costs while they run (`costs`); equity first, then one or two loans with interest rolled up
monthly (`loan`); receipts by sale, rent or forward sale (`income`). Cash dated by day is put on the monthly
grid by linear split between the two month-ends, so that a week is worth a week.

VAT is left out. Sums are nominal, in the scenario's currency, not rounded.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.calendar import monthly_anniversary
from model.core.errors import RangeError
from model.inputs.assumption import Values
from model.inputs.scenario import Scenario
from model.money.costs import FixedCosts, TimeCosts, WorkCosts, price_fixed, price_time, price_work
from model.money.facility import FacilityRun
from model.money.grid import DAYS_PER_MONTH, MonthGrid, grid_for, spread, spread_evenly
from model.money.income import Income, by_section, income_of, last_receipt
from model.money.lending import Breach
from model.money.loan import Committed, finance, lending_breaches
from model.money.payments import (
    bond_cost,
    makes_panels,
    measured_cash,
    most_unfixed,
    order_day,
    payment_steps,
    released,
)
from model.money.returns import (
    annual,
    irr_annual_effective,
    irr_roots,
    mirr,
    monthly_hurdle,
    npv,
    profit_on_cost,
    profit_on_value,
)
from model.money.week import CURVE_WEEKS, WeekValue, values_frame, week_value
from model.programme import Plan
from model.site import SiteUse

Floats = NDArray[np.float64]

COST_LINES: Final = ("construction", "premium", "preliminaries", "fees", "land")

WEEK_DAYS: Final = 7.0
DAYS_PER_YEAR: Final = 365.25


@dataclass(frozen=True, eq=False)
class Cash:
    """One pricing of a plan on the monthly grid.

    Attributes
    ----------
    costs : dict of str to array, one a month
        By `COST_LINES`. [GBP]
    time_costs : TimeCosts
    fixed_costs : FixedCosts
    income : Income
    facility : FacilityRun
    committed : Committed
        Loans and fees as agreed.
    """

    costs: dict[str, Floats]
    time_costs: TimeCosts
    fixed_costs: FixedCosts
    income: Income
    facility: FacilityRun
    committed: Committed

    @property
    def receipts(self) -> Floats:
        """Receipts net of the costs of selling, by month. [GBP]"""
        return self.income.net

    @cached_property
    def cost(self) -> Floats:
        """All costs before finance, by month. [GBP]"""
        total: Floats = np.sum(list(self.costs.values()), axis=0)
        return total

    @property
    def equity(self) -> float:
        """Equity committed. [GBP]"""
        return self.committed.equity

    @property
    def finance(self) -> float:
        """Interest and finance fees. [GBP]"""
        return float(self.facility.interest_total + self.facility.fees_total)

    @property
    def profit(self) -> float:
        """Receipts less all costs, finance included. [GBP]"""
        return float(self.receipts.sum() - self.cost.sum()) - self.finance


@dataclass(frozen=True, eq=False)
class Account:
    """Money of one method.

    Attributes
    ----------
    plan : Plan
    site_use : SiteUse
    grid : MonthGrid
    work : WorkCosts
    cash : Cash
    """

    plan: Plan
    site_use: SiteUse
    grid: MonthGrid
    work: WorkCosts
    cash: Cash

    @cached_property
    def week(self) -> WeekValue:
        """What a week earlier is worth, every handover moved."""
        return self._moved(-WEEK_DAYS)

    @cached_property
    def week_curve(self) -> pd.DataFrame:
        """Every handover moved by -12 to 12 weeks: columns weeks (negative is sooner), profit, npv, client,
        builder and the causes; changes against the plan. [GBP]
        """
        return values_frame(
            [float(weeks) for weeks in CURVE_WEEKS],
            [self._moved(WEEK_DAYS * weeks) for weeks in CURVE_WEEKS],
            "weeks",
        )

    @cached_property
    def week_by_block(self) -> pd.DataFrame:
        """Each block alone a week sooner: columns block, profit, npv, client, builder, causes. [GBP]"""
        layout = self.plan.takeoff.layout
        values = [
            self._moved(np.where(layout.section_block == b, -WEEK_DAYS, 0.0))
            for b in range(len(layout.names))
        ]
        frame = values_frame([0.0] * len(values), values, "block")
        return frame.assign(block=list(layout.names))

    @cached_property
    def _held(self) -> tuple[MonthGrid, Cash]:
        """The plan priced with its own loans and fees held, on months that hold handovers 12 weeks later.

        Fees held are paid like other costs, so what is moved is compared with this, not with `cash`.
        """
        plan = self.plan
        handovers = plan.ready_by_section + WEEK_DAYS * max(CURVE_WEEKS)
        last = max(last_receipt(plan, handovers), float(handovers.max()) + _afterwards(plan))
        first = float(self.grid.ends_day[0])
        grid = grid_for(plan.start_date, first, max(last, float(self.grid.ends_day[-1])))
        fees = np.zeros(grid.months.size)
        fees[: self.grid.months.size] = self.cash.committed.fees
        committed = Committed(self.cash.committed.equity, self.cash.committed.mezzanine, fees)
        return grid, _cash(plan, self.site_use, self.work, grid, plan.ready_by_section, committed)

    def _moved(self, days: float | Floats) -> WeekValue:
        """Worth of handovers moved by some days, work and loans held, on months long enough for both."""
        plan = self.plan
        handovers = plan.ready_by_section + days
        grid, now = self._held
        last = max(last_receipt(plan, handovers), float(handovers.max()) + _afterwards(plan))
        if last > grid.ends_day[-1]:
            raise RangeError(f"Handovers moved to day {handovers.max():g} fall outside the months of money.")
        moved = _cash(plan, self.site_use, self.work, grid, handovers, now.committed)
        v = plan.values
        return week_value(now, moved, v["money.hurdle_pct"] / 100, v["money.builder_share_pct"] / 100)

    @cached_property
    def unfixed(self) -> tuple[float, float]:
        """Most money paid to the panel maker for panels not yet fixed, and the day. [GBP, days]"""
        return most_unfixed(self.plan, self.work)

    @cached_property
    def bond(self) -> float:
        """Charge for the bond over payments ahead of fixing; part of the premium. [GBP]"""
        return bond_cost(self.plan, self.work)

    @property
    def deposit(self) -> float:
        """Deposit to the panel maker, with contingency left aside. [GBP]"""
        return float(self.work.supply.sum()) * payment_steps(self.plan).deposit

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
    def value(self) -> float:
        """Gross development value: prices before the costs of selling. [GBP]"""
        return self.cash.income.value

    @property
    def profit(self) -> float:
        """Receipts less all costs. [GBP]"""
        return self.cash.profit

    @property
    def profit_on_cost_pct(self) -> float:
        """Profit over all costs. [%]"""
        return float(100.0 * profit_on_cost(self.profit, self.cost_of("total")))

    @property
    def profit_on_value_pct(self) -> float | None:
        """Profit over gross development value; None where the development is worth nothing. [%]"""
        return float(100.0 * profit_on_value(self.profit, self.value)) if self.value > 0 else None

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

    @cached_property
    def equity_irr(self) -> tuple[float | None, str]:
        """Internal rate of return of the equity, effective a year, or None and why not."""
        return irr_annual_effective(self.cash.facility.equity_flows)

    @cached_property
    def irr_roots(self) -> tuple[float, ...]:
        """Every rate of return of the project found by the search, effective a year."""
        return tuple(annual(root) for root in irr_roots(self.project_flows))

    @cached_property
    def mirr(self) -> float | None:
        """Modified rate of return: costs brought back at the loan's interest, receipts carried forward at the
        hurdle; effective a year. None where the flows are all costs or all receipts.
        """
        v, flows = self.plan.values, self.project_flows
        if not (np.any(flows > 0) and np.any(flows < 0)):
            return None
        reinvest = float(monthly_hurdle(v["money.hurdle_pct"] / 100))
        return annual(mirr(flows, v["money.debt_rate_pct"] / 1200, reinvest))

    @property
    def peak_debt(self) -> float:
        """Highest loan balance. [GBP]"""
        return float(self.cash.facility.peak_debt)

    @property
    def peak_equity(self) -> float:
        """Most equity in the development at one time. [GBP]"""
        run = self.cash.facility
        return float(np.cumsum(run.drawn_equity - run.equity_out).max(initial=0.0))

    @property
    def interest(self) -> float:
        """Interest in all. [GBP]"""
        return float(self.cash.facility.interest_total)

    @cached_property
    def breaches(self) -> tuple[Breach, ...]:
        """Limits of the lenders that are passed."""
        return lending_breaches(self.plan, self.grid, self.cash.facility, self.cost_of("total"), self.value)

    def cashflow_frame(self) -> pd.DataFrame:
        """Columns month, ends_on, the cost lines, receipts, and the loans' movements; one row a month."""
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
                "mezzanine": run.mezzanine_debt,
            }
        )

    def receipts_frame(self) -> pd.DataFrame:
        """Columns section, kind, month, amount: receipts of each handover section by month."""
        plan = self.plan
        names = plan.takeoff.layout.section_names
        rows = [
            (names[section], kind, int(self.grid.months[k]), float(net[k]))
            for section, kind, net in by_section(plan, plan.ready_by_section, self.work, self.grid.ends_day)
            for k in np.flatnonzero(net)
        ]
        return pd.DataFrame(rows, columns=["section", "kind", "month", "amount"])

    def preliminaries_frame(self) -> pd.DataFrame:
        """Columns item, kind (time, plant, fixed, value), start, finish, weeks, amount; one row an item, its
        stretches together. [days, weeks, GBP]
        """
        time = self.cash.time_costs.frame().assign(kind=np.where(self.cash.time_costs.plant, "plant", "time"))
        both = pd.concat([time, self.cash.fixed_costs.frame()], ignore_index=True)
        both = both.assign(weeks=(both["finish"] - both["start"]) / WEEK_DAYS)
        found = both.groupby(["item", "kind"], sort=False, as_index=False).agg(
            start=("start", "min"), finish=("finish", "max"), weeks=("weeks", "sum"), amount=("amount", "sum")
        )
        return found


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
    last = max(
        max(
            plan.last_handover + _afterwards(plan),
            last_receipt(plan, plan.ready_by_section),
            float(plan.finish.max()) + plan.values["money.payment_lag_days"],
        )
        for plan in plans
    )
    return grid_for(plans[0].start_date, first, last + 31.0)


def _afterwards(plan: Plan) -> float:
    """Days from the last handover to the last payment: the defects period, and the lag. [days]"""
    return plan.values["money.defects_months"] * DAYS_PER_MONTH + plan.values["money.payment_lag_days"]


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

    Raises
    ------
    RangeError
        If the panel maker would be paid more than the price, the loans run away, or a figure has no meaning.
    """
    work = price_work(plan)
    return Account(plan, site_use, grid, work, _cash(plan, site_use, work, grid, plan.ready_by_section))


def _cash(
    plan: Plan,
    site_use: SiteUse,
    work: WorkCosts,
    grid: MonthGrid,
    handovers: Floats,
    committed: Committed | None = None,
) -> Cash:
    """Put one set of handovers, one a section, on the grid and finance it.

    With loans already committed to, they and their fees are held: a week's delay changes the interest, not
    the size of the loan that was agreed.
    """
    by_block = np.full(len(plan.takeoff.layout.names), -np.inf)
    np.maximum.at(by_block, plan.takeoff.layout.section_block, handovers)
    time_costs = price_time(plan, site_use, by_block)
    fixed_costs = price_fixed(plan, site_use, by_block, work)
    costs = cost_lines(plan, work, grid, time_costs, fixed_costs, by_block)
    income = income_of(plan, handovers, work, grid.ends_day)
    cost = np.sum(list(costs.values()), axis=0)
    total = float(cost.sum())
    run = finance(plan, grid, cost, income.net, total, committed)
    if committed is None:
        v = plan.values
        committed = Committed(
            total * v["money.equity_pct"] / 100, total * v["money.mezzanine_pct"] / 100, run.fees_finance
        )
    return Cash(costs, time_costs, fixed_costs, income, run, committed)


def cost_lines(
    plan: Plan,
    work: WorkCosts,
    grid: MonthGrid,
    time_costs: TimeCosts,
    fixed_costs: FixedCosts,
    handovers: Floats,
) -> dict[str, Floats]:
    """Return costs before finance by line and month.

    Parameters
    ----------
    plan : Plan
    work : WorkCosts
    grid : MonthGrid
    time_costs : TimeCosts
    fixed_costs : FixedCosts
    handovers : array, one a block
        [days]

    Returns
    -------
    dict of str to array, one a month
        By `COST_LINES`. [GBP]
    """
    v, ends = plan.values, grid.ends_day
    lag, last = v["money.payment_lag_days"], float(handovers.max())
    measured = measured_cash(plan, work, grid)
    value = float(work.reference.sum())
    bought = purchase_day(plan.scenario, v)
    fees = value * v["money.fees_pct"] / 100
    before = fees * v["money.fees_before_start_pct"] / 100
    price_of_land = v["money.land"] * float(plan.takeoff.flats.sum())
    holding = price_of_land * v["money.holding_pct"] / 100 * max(-bought, 0.0) / DAYS_PER_YEAR
    order = order_day(plan) if makes_panels(plan) else 0.0
    return {
        "construction": measured["construction"] + released(plan, work.reference, handovers, ends),
        "premium": measured["premium"]
        + released(plan, work.premium, handovers, ends)
        + spread([order], [bond_cost(plan, work)], ends),
        "preliminaries": spread_evenly(
            time_costs.start + lag, time_costs.finish + lag, time_costs.amount, ends
        )
        + spread_evenly(fixed_costs.start + lag, fixed_costs.finish + lag, fixed_costs.amount, ends),
        "fees": spread_evenly([min(bought, 0.0), 0.0], [0.0, last], [before, fees - before], ends)
        + spread([0.0], [value * redesign_share(plan)], ends),
        "land": spread([bought], [price_of_land * (1 + v["money.stamp_duty_pct"] / 100)], ends)
        + spread_evenly([min(bought, 0.0)], [0.0], [holding], ends),
    }


def redesign_share(plan: Plan) -> float:
    """Return the fee of drawing again for panels over the price of construction; 0 but for late adoption."""
    late = plan.scenario.development.late_adoption and makes_panels(plan)
    return plan.values["late.fee_pct"] / 100 if late else 0.0
