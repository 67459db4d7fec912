"""What do lenders ask, and is it kept: rates that follow the base rate, limits on the loans, rules of thumb?

Nothing here knows where costs and receipts come from. Money is in any currency, rates are shares unless said
to be in per cent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError
from model.money.facility import MONTHS_PER_YEAR, ROUNDING, FacilityRun

Floats = NDArray[np.float64]

DAYS_PER_YEAR: Final = 365.0
"""Sterling loans: actual days over 365, fixed. [days]"""


@dataclass(frozen=True)
class LendingLimits:
    """What the lenders allow; None where a limit is not asked for.

    Attributes
    ----------
    cost_pct, value_pct : float or None
        Most debt at the peak, over all costs with finance and over development value. [%, 1 to 100]
    repaid_by_month : int or None
        Month at whose end the debt is to be nil for good. [month number]
    """

    cost_pct: float | None
    value_pct: float | None
    repaid_by_month: int | None

    def __post_init__(self) -> None:
        for name, share in (("costs", self.cost_pct), ("value", self.value_pct)):
            if share is not None and not 1.0 <= share <= 100.0:
                raise RangeError(
                    f"The most debt over {name} must lie between 1 and 100 %; got {share:g}. "
                    "Write sixty-five per cent as 65, or leave the limit out."
                )


@dataclass(frozen=True)
class Breach:
    """A limit of the lenders that a scheme does not keep. A flag: the figures stand as they are.

    Attributes
    ----------
    kind : str
        Which limit.
    found, allowed : float
        What the scheme comes to and what is allowed: per cent, or a month number. `found` is None
        where the debt is never repaid. [% or month number]
    sentence : str
        The same in words, and what would put it right.
    """

    kind: Literal["loan to cost", "loan to value", "longstop"]
    found: float | None
    allowed: float
    sentence: str


def rates_by_month(base_path: Sequence[tuple[int, float]], margin: float, months: ArrayLike) -> Floats:
    """Return the interest of each month when the base rate steps and the margin over it stays.

    Parameters
    ----------
    base_path : sequence of (month, base rate)
        Month from which a base rate holds, until the next step; before the first step, its rate holds
        too. Months are whole numbers and rise. [month number, % a year]
    margin : float
        What the lender asks over the base rate. [% a year]
    months : array of int, any shape
        Month numbers. [month number]

    Returns
    -------
    array, same shape as `months`
        Nominal rate over 12, as `run_facility` takes it. [-, a month]

    Raises
    ------
    RangeError
        If a figure is not finite, the months do not rise, or base rate and margin are together below
        nil.

    Examples
    --------
    >>> [round(rate, 6) for rate in rates_by_month([(0, 3.5), (2, 5.0)], 4.0, [-1, 0, 1, 2, 3]).tolist()]
    [0.00625, 0.00625, 0.00625, 0.0075, 0.0075]
    """
    wanted = np.asarray(months)
    if wanted.dtype.kind not in "iu":
        raise RangeError(
            f"Months are counted in whole numbers; got {wanted.dtype} figures. Give the number of each month."
        )
    if not np.isfinite(margin):
        raise RangeError(f"The margin over the base rate must be a number of % a year; got {margin:g}.")
    if len(base_path) == 0:
        raise RangeError(
            "The base rate has no steps. Give at least one: a month, and the rate in % a year from then on."
        )
    for month, base in base_path:
        if not np.isfinite(month) or month != int(month):
            raise RangeError(
                f"A step of the base rate stands at month {month:g}, which is not a month. "
                "Give the whole number of the month from which the rate holds."
            )
        if not np.isfinite(base):
            raise RangeError(
                f"The base rate from month {month:g} must be a number of % a year; got {base:g}. "
                "Correct that step."
            )
        if base + margin < 0:
            raise RangeError(
                f"From month {month:g} the loan would bear {base + margin:g} % a year: a base rate of "
                f"{base:g} % with a margin of {margin:g} %. It must not be below 0; correct the step or the "
                "margin."
            )
    steps = [int(month) for month, _ in base_path]
    for before, after in pairwise(steps):
        if after <= before:
            raise RangeError(
                f"The steps of the base rate must go forward in time; month {after} stands after month "
                f"{before}. Put them in order, no two in one month."
            )
    yearly = np.array([base + margin for _, base in base_path], dtype=float)
    held = np.maximum(np.searchsorted(steps, wanted, side="right") - 1, 0)
    return np.asarray(yearly[held] / 100.0 / MONTHS_PER_YEAR)


def week_of_interest(balance: ArrayLike, annual_rate: ArrayLike) -> Floats:
    """Return simple interest on a balance for seven days.

    Parameters
    ----------
    balance : float or array
        Loan outstanding. [money]
    annual_rate : float or array
        Nominal rate. [-, a year]

    Returns
    -------
    array
        Interest of a week, actual days over 365. [money]

    Examples
    --------
    >>> round(float(week_of_interest(40e6, 0.085)), 2)
    65205.48
    """
    return np.asarray(np.asarray(balance, float) * np.asarray(annual_rate, float) * 7.0 / DAYS_PER_YEAR)


def half_rule_interest(
    cost: float, annual_rate: float, build_months: float, void_months: float, periods_per_year: int = 12
) -> tuple[float, float]:
    """Return interest by the traditional rule, to hold a monthly result against.

    Half the cost bears interest over the build, the whole cost over the void or sale after it.

    Parameters
    ----------
    cost : float
        Cost base, without interest. [money]
    annual_rate : float
        Nominal rate. [-, a year]
    build_months, void_months : float
        Length of the build, and of the void after it. [months, >= 0]
    periods_per_year : int
        How often interest is added; 4 for quarterly. [no.]

    Returns
    -------
    tuple of float
        Interest of the build and of the void, neither bearing interest on the other. [money]

    Notes
    -----
    A symmetrical spend has a mean drawn share of one half, so the rule is near for a short build and
    wrong for a front-loaded one. Only a check: the programme decides.

    References
    ----------
    *Property Development*, ch. 3, example 3.3 (basic residual).
    """
    if min(cost, build_months, void_months) < 0 or periods_per_year < 1:
        raise RangeError(
            f"Cost {cost:g}, build {build_months:g} and void {void_months:g} months must not be negative, "
            f"and interest is added at least once a year; got {periods_per_year}. Correct the figure."
        )
    growth = 1 + annual_rate / periods_per_year

    def interest(share: float, months: float) -> float:
        return float(cost * share * (growth ** (periods_per_year * months / MONTHS_PER_YEAR) - 1))

    return interest(0.5, build_months), interest(1.0, void_months)


def breaches(
    run: FacilityRun, *, total_cost: float, value: float, months: ArrayLike, limits: LendingLimits
) -> tuple[Breach, ...]:
    """Return the limits of the lenders that one run does not keep; none of them stops anything.

    Parameters
    ----------
    run : FacilityRun
        One row, without axes before the months.
    total_cost : float
        All costs, interest and fees included. [money, > 0]
    value : float
        Development value, before the costs of selling. [money, > 0]
    months : array of int, shape (months,)
        Number of each month of the run, rising. [month number]
    limits : LendingLimits

    Returns
    -------
    tuple of Breach
        In the order loan to cost, loan to value, longstop.

    Raises
    ------
    RangeError
        If more than one row is given, the months do not fit it, or cost or value is not above 0.

    Notes
    -----
    The debt is senior loan and mezzanine together, at its highest and with interest. A penny over a
    limit is the first that counts. Debt that outlasts the cash flow has no receipts left to repay it and
    breaks the longstop, whatever month that names.

    Examples
    --------
    >>> from model.money.facility import run_facility
    >>> run = run_facility([100.0, 0.0], [0.0, 200.0], equity=40.0, monthly_rate=0.01)
    >>> limits = LendingLimits(cost_pct=55.0, value_pct=65.0, repaid_by_month=1)
    >>> found = breaches(run, total_cost=100.6, value=200.0, months=[0, 1], limits=limits)
    >>> [(breach.kind, round(breach.found, 1), breach.allowed) for breach in found]
    [('loan to cost', 60.2, 55.0)]
    """
    month = np.asarray(months)
    if run.debt.ndim != 1:
        raise RangeError(
            f"Lending limits are held against one run; got rows of shape {run.debt.shape[:-1]}. Pass one row."
        )
    if month.shape != run.debt.shape or np.any(np.diff(month) <= 0):
        raise RangeError(
            f"The run has {run.debt.size} months; got {month.size} month numbers. "
            "Give one number a month, each higher than the one before."
        )
    peak = float(run.peak_debt)
    found = [
        _over_share("loan to cost", peak, "Costs", "all costs", total_cost, limits.cost_pct),
        _over_share("loan to value", peak, "Value", "development value", value, limits.value_pct),
        _overdue(run.debt, month, limits.repaid_by_month),
    ]
    return tuple(breach for breach in found if breach is not None)


def _over_share(
    kind: Literal["loan to cost", "loan to value"],
    debt: float,
    name: str,
    phrase: str,
    base: float,
    allowed: float | None,
) -> Breach | None:
    """Return the breach of a limit that is a share of costs or of value."""
    if not (np.isfinite(base) and base > 0):
        raise RangeError(f"{name} must be above 0 to set a debt against it; got {base:g}. Check the inputs.")
    if allowed is None or debt <= base * allowed / 100 + ROUNDING:
        return None
    share = debt / base * 100
    more = ceil(debt - base * allowed / 100)
    remedy = f"About {more:,d} more of equity puts it right"
    if kind == "loan to value":
        remedy += f", or a value of {debt / allowed * 100:,.0f}"
    return Breach(
        kind,
        share,
        allowed,
        f"At its peak the debt is {_percent_beside(share, allowed)} % of {phrase}; "
        f"the lenders allow {allowed:g} %. {remedy}.",
    )


def _percent_beside(share: float, allowed: float) -> str:
    """Return a share with as many digits as it takes to read differently from the one allowed."""
    digits = 1
    while digits < 6 and round(share, digits) <= allowed:
        digits += 1
    return f"{share:.{digits}f}"


def _overdue(debt: Floats, month: NDArray[np.int_], allowed: int | None) -> Breach | None:
    """Return the breach of a date by which the debt is to be repaid."""
    if allowed is None:
        return None
    owing = np.flatnonzero(debt >= ROUNDING)
    nil_from = int(owing[-1]) + 1 if owing.size else 0
    if nil_from == debt.size:
        return Breach(
            "longstop",
            None,
            allowed,
            f"The debt is never repaid: {debt[-1]:,.0f} is still owed at the end of month {month[-1]}, the "
            f"last of the cash flow; the lenders allow until month {allowed}. More receipts, lower costs or "
            "more equity put it right.",
        )
    found = int(month[nil_from])
    late = found - allowed
    if not owing.size or late <= 0:
        return None
    return Breach(
        "longstop",
        found,
        allowed,
        f"The debt is repaid for good in month {found}; the lenders allow until month {allowed}. Handovers "
        f"or sales {late} month{'s' if late > 1 else ''} sooner, or a date that much later agreed with the "
        "lenders, put it right.",
    )
