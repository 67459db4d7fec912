"""How is the development financed: what is agreed with the lenders, and what does it come to?

Reads the money inputs and calls `model.money.facility`, which knows nothing of them. Rates are nominal a
year; the margin is the interest agreed less the base rate of today, and a path of the base rate moves both
loans.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.core.errors import RangeError
from model.inputs.assumption import Values
from model.inputs.scenario import Scenario
from model.money.facility import FacilityRun, Mezzanine, run_facility
from model.money.grid import MonthGrid
from model.money.lending import Breach, LendingLimits, breaches, rates_by_month
from model.programme import Plan

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Committed:
    """What was agreed before anything moved: a week's delay changes the interest, not the loans.

    Attributes
    ----------
    equity, mezzanine : float
        Equity, and most of the mezzanine loan. [GBP]
    fees : array, one a month
        Finance fees as they were charged. [GBP]
    """

    equity: float
    mezzanine: float
    fees: Floats


def monthly_rates(scenario: Scenario, rate_pct: float, values: Values, grid: MonthGrid) -> Floats:
    """Return a loan's interest of each month: flat, or its margin over the base rate's path. [-, a month]

    Parameters
    ----------
    scenario : Scenario
        Its development may hold a path of the base rate.
    rate_pct : float
        Interest at the base rate of today. [% a year]
    values : Values
    grid : MonthGrid

    Raises
    ------
    RangeError
        If the interest is below 0 in any month.
    """
    path = scenario.development.base_rate_path
    if not path:
        if rate_pct < 0:
            raise RangeError(
                f"Interest on a loan must be 0 % a year or more; got {rate_pct:g}. Set 0 or more."
            )
        return np.full(grid.months.size, rate_pct / 1200)
    steps = [(round(month), base) for month, base in path]
    return rates_by_month(steps, rate_pct - values["money.base_rate_pct"], grid.months)


def finance(
    plan: Plan,
    grid: MonthGrid,
    cost: Floats,
    receipts: Floats,
    total: Floats | float,
    committed: Committed | None = None,
) -> FacilityRun:
    """Finance costs and receipts: equity, then mezzanine, then the senior loan.

    Parameters
    ----------
    plan : Plan
        For its money inputs.
    grid : MonthGrid
    cost, receipts : array, shape (..., months)
        Costs before finance, and receipts net of the costs of selling; a cost below 0 is a receipt. [GBP]
    total : float or array, shape (...)
        All costs before finance, which equity and mezzanine are shares of. [GBP]
    committed : Committed, optional
        Loans and fees to hold.

    Returns
    -------
    FacilityRun
    """
    v = plan.values
    charged = float(committed is None)
    share = np.asarray(total, dtype=float) / 100
    equity = share * v["money.equity_pct"] if committed is None else committed.equity
    limit = share * v["money.mezzanine_pct"] if committed is None else committed.mezzanine
    mezzanine = None
    if v["money.mezzanine_pct"] > 0:
        mezzanine = Mezzanine(
            limit=limit,
            monthly_rate=monthly_rates(plan.scenario, v["money.mezzanine_rate_pct"], v, grid),
            arrangement_share=charged * v["money.mezzanine_arrangement_pct"] / 100,
            exit_share=charged * v["money.mezzanine_exit_pct"] / 100,
        )
    return run_facility(
        np.maximum(cost, 0.0) + (0.0 if committed is None else committed.fees),
        receipts + np.maximum(-cost, 0.0),
        equity=equity,
        monthly_rate=monthly_rates(plan.scenario, v["money.debt_rate_pct"], v, grid),
        arrangement_share=charged * v["money.arrangement_pct"] / 100,
        exit_share=charged * v["money.exit_pct"] / 100,
        non_utilisation_annual_share=charged * v["money.non_utilisation_pct"] / 100,
        mezzanine=mezzanine,
    )


def lending_breaches(
    plan: Plan, grid: MonthGrid, run: FacilityRun, total: float, value: float
) -> tuple[Breach, ...]:
    """Return the lenders' limits that are passed: loan to cost, loan to value, repayment.

    Parameters
    ----------
    plan : Plan
    grid : MonthGrid
    run : FacilityRun
    total : float
        All costs, finance included. [GBP]
    value : float
        Gross development value; no limit is held against a development that is worth nothing. [GBP]
    """
    v = plan.values
    limits = LendingLimits(
        cost_pct=v["money.limit_cost_pct"],
        value_pct=v["money.limit_value_pct"] if value > 0 else None,
        repaid_by_month=round(v["money.loan_term_months"]),
    )
    return breaches(run, total_cost=total, value=max(value, 1.0), months=grid.months, limits=limits)
