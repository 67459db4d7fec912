"""What does the development borrow, when does it pay it back, and what does that cost?

Equity is spent first, then a mezzanine where there is one, then the senior loan. All flows of a month
fall at its end; interest is charged on the balance at the beginning of the month and added to the
loan it is charged on. Receipts first meet the costs of their month; what is left clears the senior
loan, then its exit fee, then the mezzanine and its exit fee, then goes to equity. Surplus that
equity has had is put back before a loan is drawn again, so the retention released a year after
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

MONTHS_PER_YEAR: Final = 12.0

OUTRUN: Final = 10_000.0
"""Peak balance over what is spent, beyond which the loan has run away and no figure of it has a meaning."""

_MOST_ROUNDS: Final = 60
_STEEPEST: Final = 0.9
"""Most that a pound of facility is taken to add to the peak balance when the next guess is made."""

ROUNDING: Final = 0.005
"""Half a penny: what counts as nothing when a sum is checked against zero. [money]"""


@dataclass(frozen=True, eq=False)
class Mezzanine:
    """A junior loan: spent after equity and before the senior loan, repaid after the senior loan.

    Attributes
    ----------
    limit : float or array, shape (...)
        Most that is drawn over the whole life. Interest added to the loan does not count against it,
        and what has been repaid is not drawn again. [money, >= 0]
    monthly_rate : float or array, broadcast to (..., months)
        Interest for a month, as that of the senior loan. [-, 0 to 1]
    arrangement_share : float or array, shape (...)
        Share of the limit, drawn or not, charged in the first month: known beforehand, so nothing
        turns in a circle. [-, 0 to 1]
    exit_share : float or array, shape (...)
        Share of what has been drawn, charged once the mezzanine is repaid, from receipts. [-, 0 to 1]
    """

    limit: ArrayLike
    monthly_rate: ArrayLike
    arrangement_share: ArrayLike = 0.0
    exit_share: ArrayLike = 0.0


@dataclass(frozen=True, eq=False)
class FacilityRun:
    """How costs and receipts are financed, month by month. All sums are positive.

    Debt, interest, fees and repayments are those of senior loan and mezzanine together, unless said.
    In every month ``costs + fees_finance + repaid + equity_out`` equals
    ``receipts + drawn_equity + drawn_debt``, and ``debt`` equals the debt before
    ``+ drawn_debt + interest - repaid``.

    Attributes
    ----------
    drawn_equity : array, shape (..., months)
        Put in by equity, surplus put back included. [money]
    drawn_debt : array, shape (..., months)
        Drawn on the loans: costs and fees. [money]
    interest : array, shape (..., months)
        Charged on the balances at the beginning of the month and added to them. [money]
    fees_finance : array, shape (..., months)
        Arrangement, non-utilisation and exit fees as charged. [money]
    repaid : array, shape (..., months)
        Repaid from receipts. [money]
    debt : array, shape (..., months)
        Balance at the end of the month. [money]
    equity_out : array, shape (..., months)
        Surplus to equity. [money]
    mezzanine_drawn, mezzanine_interest, mezzanine_repaid, mezzanine_debt : array, shape (..., months)
        The part of the mezzanine in the sums above; nil without one. [money]
    facility_size : array, shape (...)
        Sum the fees of the senior loan are charged on: its peak balance, found together with the
        fees. [money]
    peak_debt : array, shape (...)
        Highest balance of both, interest of the month included, before receipts reduce it. [money]
    peak_senior, peak_mezzanine : array, shape (...)
        The same of each alone; the two need not fall in one month. [money]
    interest_total, fees_total : array, shape (...)
        Sums over the months. [money]
    debt_at_end : array, shape (...)
        Balance that receipts never repaid; above zero, the scheme does not pay its lenders. [money]
    exit_fee_unpaid : array, shape (...)
        Part of the exit fees for which receipts did not suffice. [money]
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
    mezzanine_drawn: Floats
    mezzanine_interest: Floats
    mezzanine_repaid: Floats
    mezzanine_debt: Floats
    facility_size: Floats
    peak_debt: Floats
    peak_senior: Floats
    peak_mezzanine: Floats
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
        """Whether the loans and their exit fees are paid to the penny by the last month."""
        return (self.debt_at_end < ROUNDING) & (self.exit_fee_unpaid < ROUNDING)


@dataclass(frozen=True, eq=False)
class _Terms:
    """The loans of every row, months first. Rates are per month; fees are shares of the facility, but
    `junior_fee` is a sum, and `junior_exit` a share of what is drawn. Without a mezzanine its rates
    have no months."""

    need: Floats
    rate: Floats
    equity: Floats
    arrangement: Floats
    exit: Floats
    unused: Floats
    junior_limit: Floats
    junior_rate: Floats
    junior_fee: Floats
    junior_exit: Floats


@dataclass(frozen=True, eq=False)
class _Peaks:
    """What one pass over the months leaves of every row. [money]"""

    senior: Floats
    junior: Floats
    total: Floats
    exit_unpaid: Floats


def run_facility(
    costs: ArrayLike,
    receipts: ArrayLike,
    *,
    equity: ArrayLike,
    monthly_rate: ArrayLike,
    arrangement_share: ArrayLike = 0.0,
    exit_share: ArrayLike = 0.0,
    non_utilisation_annual_share: ArrayLike = 0.0,
    mezzanine: Mezzanine | None = None,
) -> FacilityRun:
    """Finance costs and receipts with equity first, then a mezzanine if there is one, then a loan.

    Parameters
    ----------
    costs : array, shape (..., months)
        Paid in each month, before finance. [money, >= 0]
    receipts : array, shape (..., months)
        Received in each month, net of the costs of selling. [money, >= 0]
    equity : float or array, shape (...)
        Equity committed; spent before a loan is drawn. [money, >= 0]
    monthly_rate : float or array, broadcast to (..., months)
        Interest for a month: the nominal annual rate over 12. One rate per row is written with a
        last axis of one. [-, 0 to 1]
    arrangement_share : float or array, shape (...)
        Share of the facility, charged in the first month. [-, 0 to 1]
    exit_share : float or array, shape (...)
        Share of the highest balance so far, charged from receipts whenever the loan is repaid; a further
        share falls due if it is drawn beyond that later. In all, of the facility. [-, 0 to 1]
    non_utilisation_annual_share : float or array, shape (...)
        Share a year of what is not yet used of the facility, charged from the second month and
        drawn on the loan. [-, 0 to 1]
    mezzanine : Mezzanine, optional
        Junior loan between equity and the senior one, to which every parameter above belongs. None,
        or a limit of nil, leaves the senior loan alone.

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
    is the facility less the balance before the month. The fee on it is drawn on the senior loan, also
    while equity and mezzanine are being spent; arrangement fees are spent as costs are.

    Surplus that comes before the senior loan has reached its peak pays the exit fee on the balance reached
    and repays the mezzanine, once the senior balance is nil.

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
    limit, junior_rate, junior_fee, junior_exit = _junior_terms(mezzanine, lead, months)
    terms = _Terms(
        need=_months_first(cost - receipt),
        rate=_monthly_rates("monthly_rate", monthly_rate, lead, months),
        equity=_per_row("equity", equity, lead, np.inf),
        arrangement=_per_row("arrangement_share", arrangement_share, lead, 1.0),
        exit=_per_row("exit_share", exit_share, lead, 1.0),
        unused=_per_row("non_utilisation_annual_share", non_utilisation_annual_share, lead, 1.0)
        / MONTHS_PER_YEAR,
        junior_limit=limit,
        junior_rate=junior_rate,
        junior_fee=junior_fee,
        junior_exit=junior_exit,
    )
    facility, rounds, residual = _settle(terms)
    record = np.empty((11 if terms.junior_rate.size else 7, months, facility.size))
    peaks = _pass(terms, facility, record)
    flows = [np.ascontiguousarray(item.T).reshape((*lead, months)) for item in record]
    flows += [np.zeros((*lead, months)) for _ in range(11 - len(flows))]
    drawn_equity, drawn_debt, interest, fees, repaid, debt, out = flows[:7]
    return FacilityRun(
        drawn_equity=drawn_equity,
        drawn_debt=drawn_debt,
        interest=interest,
        fees_finance=fees,
        repaid=repaid,
        debt=debt,
        equity_out=out,
        mezzanine_drawn=flows[7],
        mezzanine_interest=flows[8],
        mezzanine_repaid=flows[9],
        mezzanine_debt=flows[10],
        facility_size=facility.reshape(lead),
        peak_debt=peaks.total.reshape(lead),
        peak_senior=peaks.senior.reshape(lead),
        peak_mezzanine=peaks.junior.reshape(lead),
        interest_total=interest.sum(axis=-1),
        fees_total=fees.sum(axis=-1),
        debt_at_end=debt[..., -1].copy(),
        exit_fee_unpaid=peaks.exit_unpaid.reshape(lead),
        rounds=rounds,
        residual=residual,
    )


def _settle(terms: _Terms) -> tuple[Floats, int, float]:
    """Return the facility that its own peak balance fills, the passes taken and the gap left.

    The peak balance is very nearly a straight line of the facility, so each new guess is where the
    line through the last two would meet it.
    """
    facility = np.zeros(terms.equity.size)
    guess_before = peak_before = facility
    slope = np.zeros_like(facility)
    spent = np.maximum(terms.need, 0.0).sum(axis=0) + terms.junior_fee
    for rounds in range(1, _MOST_ROUNDS + 1):
        peaks = _pass(terms, facility, None)
        peak = peaks.senior
        if rounds == 1 and not np.all(peaks.total <= OUTRUN * spent + SETTLED):
            raise RangeError(
                f"The loan grows beyond {OUTRUN:,.0f} times what is spent: interest outruns the receipts "
                f"over {terms.need.shape[0] / MONTHS_PER_YEAR:,.0f} years. Raise the reservations a month "
                "or the price, or lower the interest, so that sales repay the loan."
            )
        if not np.all(peaks.total <= OUTRUN**2 * (spent + 1.0)):
            break  # the fees have run away with the loan
        gap = peak - facility
        if np.all(np.abs(gap) <= np.maximum(SETTLED, 4 * np.finfo(float).eps * peak)):
            return facility, rounds, float(np.abs(gap).max(initial=0.0))
        step = facility - guess_before
        moved = np.abs(step) > ROUNDING
        np.divide(peak - peak_before, step, out=slope, where=moved)
        guess_before, peak_before = facility, peak
        facility = np.maximum(facility + gap / (1 - np.clip(slope, 0.0, _STEEPEST)), 0.0)
    raise RangeError(
        "The facility does not settle: each fee on it, and the interest on the fee, asks for a larger one. "
        "Fees must stay well below the loan; lower the rate or the fee, or shorten the months over which "
        "they grow: more reservations a month, an earlier sales launch."
    )


def _pass(terms: _Terms, facility: Floats, record: Floats | None) -> _Peaks:
    """Go once through the months, keeping every flow where a record is given."""
    senior, exit_due = np.zeros_like(facility), np.zeros_like(facility)
    junior, junior_exit_due = np.zeros_like(facility), np.zeros_like(facility)
    layered, total = terms.junior_rate.size > 0, np.zeros_like(facility)
    _through_the_months(
        terms.need,
        terms.rate,
        terms.unused,
        terms.equity.copy(),
        terms.arrangement * facility,
        facility,
        terms.exit,
        senior,
        exit_due,
        layered,
        terms.junior_rate,
        terms.junior_limit.copy(),
        terms.junior_fee,
        terms.junior_exit,
        junior,
        total,
        junior_exit_due,
        np.empty((7, 0, 0)) if record is None else record,
    )
    return _Peaks(senior, junior, total if layered else senior.copy(), exit_due + junior_exit_due)


@compiled
def _through_the_months(
    need_by_month: Floats,
    rate: Floats,
    unused_share: Floats,
    equity_left: Floats,
    fee: Floats,
    facility: Floats,
    exit_share: Floats,
    peak: Floats,
    exit_due: Floats,
    layered: bool,
    junior_rate: Floats,
    junior_left: Floats,
    junior_fee: Floats,
    junior_exit: Floats,
    junior_peak: Floats,
    total_peak: Floats,
    junior_exit_due: Floats,
    record: Floats,
) -> None:
    """Run every row through the months; what is left or due, and the peaks, are worked on in place.

    Parameters
    ----------
    need_by_month, rate : array, shape (months, rows)
        Costs less receipts, and interest of a month on the senior loan. [money, -]
    unused_share, equity_left, fee, facility, exit_share : array, shape (rows,)
        Non-utilisation fee of a month, equity, arrangement fee, facility, exit fee. [-, money, -]
    peak, exit_due : array, shape (rows,)
        Highest senior balance so far; its exit fee not yet paid. [money]
    layered : bool
        Whether there is a mezzanine; without, what follows but the record is left alone.
    junior_rate : array, shape (months, rows)
        Interest of a month on the mezzanine. [-]
    junior_left, junior_fee, junior_exit : array, shape (rows,)
        What may still be drawn on it, its arrangement fee, its exit fee. [money, money, -]
    junior_peak, total_peak, junior_exit_due : array, shape (rows,)
        Highest balance of it and of both together; its exit fee not yet paid. [money]
    record : array, shape (7 or 11, months, rows), or without months where nothing is recorded
        Drawn equity, drawn debt, interest, fees, repaid, debt, out to equity; with a mezzanine its
        own drawn, interest, repaid, debt. [money]
    """
    months, rows = need_by_month.shape
    keeps = record.shape[1] > 0
    debt, junior_debt = np.zeros(rows), np.zeros(rows)
    for month in range(months):
        for row in range(rows):
            interest = debt[row] * rate[month, row]
            need = need_by_month[month, row]
            charged, unused = 0.0, 0.0
            if month == 0:
                charged = fee[row] + junior_fee[row]
                need += charged
            else:
                unused = unused_share[row] * max(facility[row] - peak[row], 0.0)
            short, surplus = max(need, 0.0), max(-need, 0.0)
            from_equity = min(short, equity_left[row])
            short -= from_equity
            from_junior = min(short, junior_left[row]) if layered else 0.0
            drawn = short - from_junior + unused
            owed = debt[row] + interest + drawn
            exit_due[row] += exit_share[row] * max(owed - peak[row], 0.0)
            peak[row] = max(peak[row], owed)
            repaid = min(owed, surplus)
            debt[row] = owed - repaid
            free = surplus - repaid  # above zero only where the debt is nil
            exit_paid = min(free, exit_due[row])
            exit_due[row] -= exit_paid
            out = free - exit_paid
            junior_interest, junior_repaid = 0.0, 0.0
            if layered:
                junior_interest = junior_debt[row] * junior_rate[month, row]
                junior_owed = junior_debt[row] + junior_interest + from_junior
                junior_left[row] -= from_junior
                junior_exit_due[row] += junior_exit[row] * from_junior
                junior_peak[row] = max(junior_peak[row], junior_owed)
                total_peak[row] = max(total_peak[row], owed + junior_owed)
                junior_repaid = min(junior_owed, out)
                junior_debt[row] = junior_owed - junior_repaid
                free = out - junior_repaid  # above zero only where neither is owed any more
                junior_exit_paid = min(free, junior_exit_due[row])
                junior_exit_due[row] -= junior_exit_paid
                exit_paid += junior_exit_paid
                out = free - junior_exit_paid
            equity_left[row] += out - from_equity
            if keeps:
                record[0, month, row] = from_equity
                record[1, month, row] = drawn + from_junior
                record[2, month, row] = interest + junior_interest
                record[3, month, row] = unused + exit_paid + charged
                record[4, month, row] = repaid + junior_repaid
                record[5, month, row] = debt[row] + junior_debt[row]
                record[6, month, row] = out
                if layered:
                    record[7, month, row] = from_junior
                    record[8, month, row] = junior_interest
                    record[9, month, row] = junior_repaid
                    record[10, month, row] = junior_debt[row]


def _junior_terms(
    mezzanine: Mezzanine | None, lead: tuple[int, ...], months: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return limit, rates, arrangement fee and share of the exit fee of a mezzanine, row by row."""
    nil = np.zeros(int(np.prod(lead)))
    if mezzanine is None:
        return nil, np.empty((0, 0)), nil, nil
    limit = _per_row("mezzanine limit", mezzanine.limit, lead, np.inf)
    rates = _monthly_rates("mezzanine monthly_rate", mezzanine.monthly_rate, lead, months)
    fee = limit * _per_row("mezzanine arrangement_share", mezzanine.arrangement_share, lead, 1.0)
    share = _per_row("mezzanine exit_share", mezzanine.exit_share, lead, 1.0)
    return limit, rates, fee, share


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
        if np.any(flow < -ROUNDING):
            raise RangeError(
                f"{name} must not be negative; got {flow.min():.2f} in a month. "
                "A cost that comes back is a receipt, and a receipt that is returned is a cost."
            )
    return cost, receipt


def _months_first(flow: Floats) -> Floats:
    return np.ascontiguousarray(flow.reshape(-1, flow.shape[-1]).T)


def _monthly_rates(name: str, monthly_rate: ArrayLike, lead: tuple[int, ...], months: int) -> Floats:
    rate = np.asarray(monthly_rate, dtype=float)
    _share_check(name, rate, 1.0)
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
