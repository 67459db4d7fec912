"""What does the development borrow, when does it pay it back, and what does that cost?

Equity is spent first, then the loan. All flows of a month fall at its end; interest is charged on
the balance at the beginning of the month and added to the loan. Receipts first meet the costs of
their month; what is left clears the loan, then the exit fee, then goes to equity. Surplus that
equity has had is put back before the loan is drawn again, so the retention released a year after
completion does not leave a debt nobody repays.

Nothing here knows where costs and receipts come from. Money is in any currency, rates are shares.
Every function works on the last axis, the months, and takes any axes before it: one run and ten
thousand are the same call.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.compiled import compiled
from model.core.errors import RangeError

Floats = NDArray[np.float64]

SETTLED: Final = 1e-7
"""How near the facility must come to the peak balance it has to cover. [money]"""

DAYS_PER_YEAR: Final = 365.0
"""Sterling loans: actual days over 365, fixed. [days]"""

MONTHS_PER_YEAR: Final = 12.0

OUTRUN: Final = 10_000.0
"""Peak balance over what is spent, beyond which the loan has run away and no figure of it has a meaning."""

_MOST_ROUNDS: Final = 60
_STEEPEST: Final = 0.9
"""Most that a pound of facility is taken to add to the peak balance when the next guess is made."""

_ROUNDING: Final = 0.005
"""Half a penny: what counts as nothing when a sum is checked against zero. [money]"""


@dataclass(frozen=True, eq=False)
class FacilityRun:
    """How costs and receipts are financed, month by month. All sums are positive.

    In every month ``costs + fees_finance + repaid + equity_out`` equals
    ``receipts + drawn_equity + drawn_debt``, and ``debt`` equals the debt before
    ``+ drawn_debt + interest - repaid``.

    Attributes
    ----------
    drawn_equity : array, shape (..., months)
        Put in by equity, surplus put back included. [money]
    drawn_debt : array, shape (..., months)
        Drawn on the loan: costs and non-utilisation fees. [money]
    interest : array, shape (..., months)
        Charged on the balance at the beginning of the month and added to the loan. [money]
    fees_finance : array, shape (..., months)
        Arrangement, non-utilisation and exit fees as charged. [money]
    repaid : array, shape (..., months)
        Repaid from receipts. [money]
    debt : array, shape (..., months)
        Balance at the end of the month. [money]
    equity_out : array, shape (..., months)
        Surplus to equity. [money]
    facility_size : array, shape (...)
        Sum the fees are charged on: the peak balance, found together with the fees. [money]
    peak_debt : array, shape (...)
        Highest balance, interest of the month included, before receipts reduce it. [money]
    interest_total, fees_total : array, shape (...)
        Sums over the months. [money]
    debt_at_end : array, shape (...)
        Balance that receipts never repaid; above zero, the scheme does not pay its lender. [money]
    exit_fee_unpaid : array, shape (...)
        Part of the exit fee for which receipts did not suffice. [money]
    rounds : int
        Passes over the months until the facility settled.
    residual : float
        Largest gap between facility and peak balance that was left, below `SETTLED` or rounding. [money]
    """

    drawn_equity: Floats
    drawn_debt: Floats
    interest: Floats
    fees_finance: Floats
    repaid: Floats
    debt: Floats
    equity_out: Floats
    facility_size: Floats
    peak_debt: Floats
    interest_total: Floats
    fees_total: Floats
    debt_at_end: Floats
    exit_fee_unpaid: Floats
    rounds: int
    residual: float

    @property
    def equity_flows(self) -> Floats:
        """Flows as equity sees them: out of the scheme less into it. [money]"""
        return self.equity_out - self.drawn_equity

    @property
    def repays(self) -> NDArray[np.bool_]:
        """Whether the loan and its exit fee are paid to the penny by the last month."""
        return (self.debt_at_end < _ROUNDING) & (self.exit_fee_unpaid < _ROUNDING)


@dataclass(frozen=True, eq=False)
class _Terms:
    """One facility for every row, months first. Rates are per month, fees per facility."""

    need: Floats
    rate: Floats
    equity: Floats
    arrangement: Floats
    exit: Floats
    unused: Floats


def run_facility(
    costs: ArrayLike,
    receipts: ArrayLike,
    *,
    equity: ArrayLike,
    monthly_rate: ArrayLike,
    arrangement_share: ArrayLike = 0.0,
    exit_share: ArrayLike = 0.0,
    non_utilisation_annual_share: ArrayLike = 0.0,
) -> FacilityRun:
    """Finance costs and receipts with equity first, then a loan.

    Parameters
    ----------
    costs : array, shape (..., months)
        Paid in each month, before finance. [money, >= 0]
    receipts : array, shape (..., months)
        Received in each month, net of the costs of selling. [money, >= 0]
    equity : float or array, shape (...)
        Equity committed; spent before the loan is drawn. [money, >= 0]
    monthly_rate : float or array, broadcast to (..., months)
        Interest for a month: the nominal annual rate over 12. One rate per row is written with a
        last axis of one. [-, 0 to 1]
    arrangement_share : float or array, shape (...)
        Share of the facility, charged in the first month. [-, 0 to 1]
    exit_share : float or array, shape (...)
        Share of the facility, charged when the full loan has been repaid, from receipts. [-, 0 to 1]
    non_utilisation_annual_share : float or array, shape (...)
        Share a year of what is not yet used of the facility, charged from the second month and
        drawn on the loan. [-, 0 to 1]

    Returns
    -------
    FacilityRun

    Raises
    ------
    RangeError
        If shapes do not fit, a sum is negative or not finite, a share is outside 0 to 1, or fees and
        interest feed each other so strongly that no facility covers them.

    Notes
    -----
    The arrangement fee is a share of the facility, the facility is the peak balance, and the peak
    balance holds the fee: solved by repetition until both agree within `SETTLED` (or the last digit
    the machine carries, above a thousand million).

    The unused part is the facility less the highest balance reached so far. A development loan is
    not revolving: what has been repaid does not become unused again. While the balance rises this
    is the facility less the balance before the month.

    References
    ----------
    RICS, *Valuation of development property*, 1st ed., 2019: cash-flow technique.

    Examples
    --------
    >>> run = run_facility([100.0, 0.0], [0.0, 200.0], equity=40.0, monthly_rate=0.01)
    >>> run.debt.tolist(), run.equity_out.tolist()
    ([60.0, 0.0], [0.0, 139.4])
    """
    cost, receipt = _flows(costs, receipts)
    lead, months = cost.shape[:-1], cost.shape[-1]
    terms = _Terms(
        need=_months_first(cost - receipt),
        rate=_monthly_rates(monthly_rate, lead, months),
        equity=_per_row("equity", equity, lead, np.inf),
        arrangement=_per_row("arrangement_share", arrangement_share, lead, 1.0),
        exit=_per_row("exit_share", exit_share, lead, 1.0),
        unused=_per_row("non_utilisation_annual_share", non_utilisation_annual_share, lead, 1.0)
        / MONTHS_PER_YEAR,
    )
    facility, rounds, residual = _settle(terms)
    rows = int(np.prod(lead))
    record = np.empty((7, months, rows))
    peak, exit_unpaid = _pass(terms, facility, record)
    drawn_equity, drawn_debt, interest, fees, repaid, debt, out = (
        np.ascontiguousarray(item.T).reshape((*lead, months)) for item in record
    )
    return FacilityRun(
        drawn_equity=drawn_equity,
        drawn_debt=drawn_debt,
        interest=interest,
        fees_finance=fees,
        repaid=repaid,
        debt=debt,
        equity_out=out,
        facility_size=facility.reshape(lead),
        peak_debt=peak.reshape(lead),
        interest_total=interest.sum(axis=-1),
        fees_total=fees.sum(axis=-1),
        debt_at_end=debt[..., -1].copy(),
        exit_fee_unpaid=exit_unpaid.reshape(lead),
        rounds=rounds,
        residual=residual,
    )


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


def _settle(terms: _Terms) -> tuple[Floats, int, float]:
    """Return the facility that its own peak balance fills, the passes taken and the gap left.

    The peak balance is very nearly a straight line of the facility, so each new guess is where the
    line through the last two would meet it.
    """
    facility = np.zeros(terms.equity.size)
    guess_before = peak_before = facility
    slope = np.zeros_like(facility)
    spent = np.maximum(terms.need, 0.0).sum(axis=0)
    for rounds in range(1, _MOST_ROUNDS + 1):
        peak, _ = _pass(terms, facility, None)
        if rounds == 1 and not np.all(peak <= OUTRUN * spent + SETTLED):
            raise RangeError(
                f"The loan grows beyond {OUTRUN:,.0f} times what is spent: interest outruns the receipts "
                f"over {terms.need.shape[0] / MONTHS_PER_YEAR:,.0f} years. Raise the reservations a month "
                "or the price, or lower the interest, so that sales repay the loan."
            )
        if not np.all(peak <= OUTRUN**2 * (spent + 1.0)):
            break  # the fees have run away with the loan
        gap = peak - facility
        if np.all(np.abs(gap) <= np.maximum(SETTLED, 4 * np.finfo(float).eps * peak)):
            return facility, rounds, float(np.abs(gap).max(initial=0.0))
        step = facility - guess_before
        moved = np.abs(step) > _ROUNDING
        np.divide(peak - peak_before, step, out=slope, where=moved)
        guess_before, peak_before = facility, peak
        facility = np.maximum(facility + gap / (1 - np.clip(slope, 0.0, _STEEPEST)), 0.0)
    raise RangeError(
        "The facility does not settle: each fee on it, and the interest on the fee, asks for a larger one. "
        "Fees must stay well below the loan; lower the rate or the fee, or shorten the months over which "
        "they grow: more reservations a month, an earlier sales launch."
    )


def _pass(terms: _Terms, facility: Floats, record: Floats | None) -> tuple[Floats, Floats]:
    """Go once through the months; return the peak balance and the exit fee left unpaid."""
    peak = np.zeros_like(facility)
    exit_due = terms.exit * facility
    kept = np.empty((7, 0, 0)) if record is None else record
    _through_the_months(
        terms.need,
        terms.rate,
        terms.unused,
        terms.equity.copy(),
        terms.arrangement * facility,
        facility,
        peak,
        exit_due,
        kept,
    )
    return peak, exit_due


@compiled
def _through_the_months(
    need_by_month: Floats,
    rate: Floats,
    unused_share: Floats,
    equity_left: Floats,
    fee: Floats,
    facility: Floats,
    peak: Floats,
    exit_due: Floats,
    record: Floats,
) -> None:
    """Run every row through the months; `equity_left`, `peak` and `exit_due` are worked on in place.

    Parameters
    ----------
    need_by_month, rate : array, shape (months, rows)
        Costs less receipts, and interest of a month. [money, -]
    unused_share, equity_left, fee, facility : array, shape (rows,)
        Non-utilisation fee of a month, equity, arrangement fee, facility. [-, money]
    peak, exit_due : array, shape (rows,)
        Highest balance so far; exit fee not yet paid. [money]
    record : array, shape (7, months, rows), or without months where nothing is recorded
        Drawn equity, drawn debt, interest, fees, repaid, debt, out to equity. [money]
    """
    months, rows = need_by_month.shape
    keeps = record.shape[1] > 0
    debt = np.zeros(rows)
    for month in range(months):
        for row in range(rows):
            interest = debt[row] * rate[month, row]
            need = need_by_month[month, row]
            charged, unused = 0.0, 0.0
            if month == 0:
                need += fee[row]
                charged = fee[row]
            else:
                unused = unused_share[row] * max(facility[row] - peak[row], 0.0)
            short, surplus = max(need, 0.0), max(-need, 0.0)
            from_equity = min(short, equity_left[row])
            drawn = short - from_equity + unused
            owed = debt[row] + interest + drawn
            peak[row] = max(peak[row], owed)
            repaid = min(owed, surplus)
            debt[row] = owed - repaid
            free = surplus - repaid  # above zero only where the debt is nil
            exit_paid = min(free, exit_due[row]) if peak[row] >= facility[row] - _ROUNDING else 0.0
            exit_due[row] -= exit_paid
            out = free - exit_paid
            equity_left[row] += out - from_equity
            if keeps:
                record[0, month, row] = from_equity
                record[1, month, row] = drawn
                record[2, month, row] = interest
                record[3, month, row] = unused + exit_paid + charged
                record[4, month, row] = repaid
                record[5, month, row] = debt[row]
                record[6, month, row] = out


def _flows(costs: ArrayLike, receipts: ArrayLike) -> tuple[Floats, Floats]:
    cost, receipt = np.asarray(costs, dtype=float), np.asarray(receipts, dtype=float)
    try:
        cost, receipt = np.broadcast_arrays(cost, receipt)
    except ValueError:
        raise RangeError(
            f"Costs of shape {cost.shape} and receipts of shape {receipt.shape} do not fit. "
            "Put both on the same months, and give as many rows of one as of the other."
        ) from None
    if cost.ndim == 0 or cost.shape[-1] == 0:
        raise RangeError("Costs and receipts need at least one month; got none. Give one figure a month.")
    for name, flow in (("Costs", cost), ("Receipts", receipt)):
        if not np.all(np.isfinite(flow)):
            raise RangeError(f"{name} must be finite in every month; one is not. Check the price behind it.")
        if np.any(flow < -_ROUNDING):
            raise RangeError(
                f"{name} must not be negative; got {flow.min():.2f} in a month. "
                "A cost that comes back is a receipt, and a receipt that is returned is a cost."
            )
    return cost, receipt


def _months_first(flow: Floats) -> Floats:
    return np.ascontiguousarray(flow.reshape(-1, flow.shape[-1]).T)


def _monthly_rates(monthly_rate: ArrayLike, lead: tuple[int, ...], months: int) -> Floats:
    rate = np.asarray(monthly_rate, dtype=float)
    _share_check("monthly_rate", rate, 1.0)
    try:
        full = np.broadcast_to(rate, (*lead, months))
    except ValueError:
        raise RangeError(
            f"Interest rates of shape {rate.shape} do not fit {months} months in rows of shape {lead}. "
            "Give one rate, one a month, or one a row with a last axis of one."
        ) from None
    return _months_first(full)


def _per_row(name: str, value: ArrayLike, lead: tuple[int, ...], most: float) -> Floats:
    given = np.asarray(value, dtype=float)
    _share_check(name, given, most)
    try:
        return np.broadcast_to(given, lead).reshape(-1).copy()
    except ValueError:
        raise RangeError(
            f"{name} of shape {given.shape} does not fit rows of shape {lead}. "
            "Give one figure, or one for each row."
        ) from None


def _share_check(name: str, value: Floats, most: float) -> None:
    if not np.all(np.isfinite(value)) or np.any(value < 0) or np.any(value > most):
        found = value[~(np.isfinite(value) & (value >= 0) & (value <= most))].flat[0]
        allowed = f"between 0 and {most:g}, as a share and not per cent" if np.isfinite(most) else "0 or more"
        raise RangeError(f"{name} must be {allowed}; got {found:g}. Correct it in the money inputs.")
