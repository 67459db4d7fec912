"""Money of a comparison as tidy frames with plain columns, ready to be drawn or tabled.

As `model.report.frames`: each function turns a `Comparison` into one frame, methods under one another, and
computes nothing that a stage has not computed. Sums in pounds; what is not known is None, never NaN.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from typing import Any, Final

import numpy as np
import pandas as pd

from model.compare import Case, Comparison
from model.explain.breakeven import ready_break_evens
from model.explain.rerun import Progress
from model.inputs.method import read_catalogue
from model.money.account import redesign_share
from model.money.benchmarks import reconcile, spend_curve
from model.money.curves import curve_note, dhss, quarter_third
from model.money.payments import ahead_of_fixing, factory_payments
from model.money.week import CAUSES

MEASURED, CONTINGENCY, BOND, SITE, FEES, LAND, FINANCE = PARTS = (
    "measured work", "contingency", "bond", "site costs", "fees", "land", "finance",
)  # fmt: skip
"""Parts of the cost plan, in its order; together they are all costs."""

RETURNS: Final = (
    ("profit", "Profit", "GBP"),
    ("profit_on_cost", "Profit on cost", "%"),
    ("profit_on_value", "Profit on value", "%"),
    ("npv", "Net present value at the hurdle", "GBP"),
    ("irr", "Rate of return", "% a year"),
    ("equity_irr", "Rate of return of the equity", "% a year"),
    ("mirr", "Modified rate of return", "% a year"),
    ("peak_equity", "Most equity at one time", "GBP"),
    ("peak_debt", "Most debt at one time", "GBP"),
    ("value", "Gross development value", "GBP"),
    ("receipts", "Receipts, costs of selling taken off", "GBP"),
    ("cost", "All costs", "GBP"),
    ("presold", "Reserved by their handover, of flats for sale", "%"),
)
"""What comes out of a method: name, label, unit."""

CURVE_POINTS: Final = 201
"""Points of a curve of spend, drawn or published."""

SITE_KINDS: Final = ("time", "plant", "fixed", "value")
"""Site costs: what runs with time, plant on hire (with time too), what is fixed, what goes by value."""

KINDS_OF_SITE: Final = {
    "time": "Site costs that run with time",
    "plant": "Plant on hire, with time",
    "fixed": "Fixed site costs",
    "value": "Site costs by value",
}


def _together(rows: Callable[[Case], pd.DataFrame], comparison: Comparison) -> pd.DataFrame:
    """Put the frames of all methods under one another, the method's label in front."""
    parts = [rows(case).assign(method=case.method.label) for case in comparison.cases]
    whole = pd.concat(parts, ignore_index=True)
    return whole[["method", *(column for column in whole.columns if column != "method")]]


# ------------------------------------------------------------------------------------------- returns


def returns(comparison: Comparison) -> pd.DataFrame:
    """Return what comes out: columns method, name, figure, value (None without), unit, reason.

    A reason is a sentence that says why there is no figure, naming every rate where there are several.
    """
    return _together(_returns, comparison)


def _returns(case: Case) -> pd.DataFrame:
    account = case.account
    presold = account.cash.income.presold_share
    found: dict[str, tuple[float | None, str]] = {
        "profit": (account.profit, ""),
        "profit_on_cost": (account.profit_on_cost_pct, ""),
        "profit_on_value": (account.profit_on_value_pct, "The development is worth nothing."),
        "npv": (account.npv, ""),
        "irr": _per_cent(*account.irr),
        "equity_irr": _per_cent(*account.equity_irr),
        "mirr": _per_cent(account.mirr, "Nothing is paid, or nothing received."),
        "peak_equity": (account.peak_equity, ""),
        "peak_debt": (account.peak_debt, ""),
        "value": (account.value, ""),
        "receipts": (account.receipts, ""),
        "cost": (account.cost_of("total"), ""),
        "presold": _per_cent(presold, "No flat is sold one by one."),
    }
    rows = [
        (name, label, found[name][0], unit, found[name][1] if found[name][0] is None else "")
        for name, label, unit in RETURNS
    ]
    return _as_given(rows, ["name", "figure", "value", "unit", "reason"])


def _per_cent(share: float | None, reason: str) -> tuple[float | None, str]:
    return (None if share is None else 100.0 * share), reason


def _as_given(rows: Iterable[tuple[Any, ...]], columns: list[str]) -> pd.DataFrame:
    """Return rows as a frame that keeps None as None."""
    return pd.DataFrame(list(rows), columns=columns, dtype=object)


def money_goes(comparison: Comparison) -> pd.DataFrame:
    """Return what the receipts pay for: columns method, part, amount; the last part is profit, or loss below
    0. The parts add up to the receipts.
    """
    return _together(_money_goes, comparison)


def _money_goes(case: Case) -> pd.DataFrame:
    account = case.account
    lines = ("construction", "premium", "preliminaries", "fees", "land", "finance")
    rows = [(line, account.cost_of(line)) for line in lines]
    return pd.DataFrame([*rows, ("profit", account.profit)], columns=["part", "amount"])


# ---------------------------------------------------------------------------------- what a week is worth


def week_by_cause(comparison: Comparison) -> pd.DataFrame:
    """Return what a week sooner is worth: columns method, cause, client, builder.

    Two views, never to be added: the builder's saving on site is parted between the two.
    """
    return _together(_week_by_cause, comparison)


def _week_by_cause(case: Case) -> pd.DataFrame:
    week = case.account.week
    shared = ("preliminaries", "plant")
    rows = []
    for cause in CAUSES:
        amount = float(getattr(week, cause))
        passed = week.passed_share if cause in shared else 1.0
        rows.append((cause, passed * amount, (1.0 - passed) * amount))
    return pd.DataFrame(rows, columns=["cause", "client", "builder"])


def week_curve(comparison: Comparison) -> pd.DataFrame:
    """Return the worth of handovers moved by -12 to 12 weeks: columns as `Account.week_curve`, and method."""
    return _together(lambda case: case.account.week_curve, comparison)


def week_by_block(comparison: Comparison) -> pd.DataFrame:
    """Return each block alone a week sooner: columns as `Account.week_by_block`, and method."""
    return _together(lambda case: case.account.week_by_block, comparison)


# ---------------------------------------------------------------------------------------- cost plan


def cost_plan(comparison: Comparison) -> pd.DataFrame:
    """Return the cost plan in full.

    Returns
    -------
    DataFrame
        Columns method, part (one of `PARTS`), line, option, quantity, unit, rate, sum: measured work by
        element at quantity times rate and `WorkCosts.inflation`, then what comes on top. Quantity, unit
        and rate are None but for measured work. Sums add up to all costs.
    """
    return _together(_cost_plan, comparison)


def _cost_plan(case: Case) -> pd.DataFrame:
    account, plan = case.account, case.plan
    catalogue, values, run = read_catalogue(), case.plan.values, case.account.cash.facility
    work = account.work.plan
    own = [float(x) for x in (work["reference"] + work["premium"]).to_numpy()]
    rows: list[tuple[Any, ...]] = [
        (
            MEASURED,
            catalogue.elements[str(item["element"])],
            catalogue.options[str(item["element"]), str(item["option"])].label,
            float(item["amount"]),
            item["unit"],
            float(item["rate"]),
            amount,
        )
        for item, amount in zip(work.to_dict("records"), own, strict=True)
    ]

    def more(part: str, line: str, amount: float) -> None:
        rows.append((part, line, "", None, None, None, amount))

    more(CONTINGENCY, "Contingency", sum(own) * values["money.contingency_pct"] / 100)
    if account.bond:
        more(BOND, "Bond over payments ahead of fixing", account.bond)
    site = account.preliminaries_frame()
    by_kind = site.groupby("kind")["amount"].sum()
    for kind in SITE_KINDS:
        if kind in by_kind.index:
            more(SITE, KINDS_OF_SITE[kind], float(by_kind[kind]))
    again = float(account.work.reference.sum()) * redesign_share(plan)
    more(FEES, "Professional fees", account.cost_of("fees") - again)
    if again:
        more(FEES, "Fee for drawing again", again)
    price = values["money.land"] * float(plan.takeoff.flats.sum())
    duty = price * values["money.stamp_duty_pct"] / 100
    more(LAND, "Price of the land", price)
    more(LAND, "Stamp duty and legal costs of the land", duty)
    more(LAND, "Holding the land", account.cost_of("land") - price - duty)
    more(FINANCE, "Interest", float(run.interest_total))
    more(FINANCE, "Finance fees", float(run.fees_total))
    return _as_given(rows, ["part", "line", "option", "quantity", "unit", "rate", "sum"])


def cost_rates(comparison: Comparison) -> pd.DataFrame:
    """Return costs by size: columns method, figure, per_m2, per_flat; a sum over the gross area, and over the
    flats. [GBP/m2, GBP/flat]
    """
    return _together(_cost_rates, comparison)


def _cost_rates(case: Case) -> pd.DataFrame:
    account, takeoff = case.account, case.takeoff
    gross, flats = float(takeoff.gross_m2.sum()), float(takeoff.flats.sum())
    work = account.cost_of("construction") + account.cost_of("premium")
    site = account.cost_of("preliminaries")
    sums = {
        "Construction with premium": work,
        "Site costs": site,
        "Contract: both together": work + site,
        "All costs": account.cost_of("total"),
    }
    rows = [(figure, amount / gross, amount / flats) for figure, amount in sums.items()]
    return pd.DataFrame(rows, columns=["figure", "per_m2", "per_flat"])


def preliminaries(comparison: Comparison) -> pd.DataFrame:
    """Return site costs by item: columns method, item, kind, start, finish (dates), weeks, amount."""
    return _together(_preliminaries, comparison)


def _preliminaries(case: Case) -> pd.DataFrame:
    found = case.account.preliminaries_frame()
    return found.assign(
        start=[_date(case, day) for day in found["start"]],
        finish=[_date(case, day) for day in found.finish],
    )


# ---------------------------------------------------------------------------------- month by month


def cash_by_month(comparison: Comparison) -> pd.DataFrame:
    """Return money by month.

    Returns
    -------
    DataFrame
        Columns method, month_end, cost (before finance), receipts, debt, mezzanine (part of it), equity:
        what it has had back less what it has put in, so that its lowest point is the most equity in the
        development and its end the profit. [GBP]
    """
    return _together(_cash_by_month, comparison)


def _cash_by_month(case: Case) -> pd.DataFrame:
    cash = case.account.cash
    run = cash.facility
    return pd.DataFrame(
        {
            "month_end": pd.to_datetime([day.isoformat() for day in case.account.grid.ends_on]),
            "cost": cash.cost,
            "receipts": cash.receipts,
            "debt": run.debt,
            "mezzanine": run.mezzanine_debt,
            "equity": np.cumsum(run.equity_out - run.drawn_equity),
        }
    )


def receipts_by_kind(comparison: Comparison) -> pd.DataFrame:
    """Return receipts: columns method, kind, month_end, amount; one row a month with any. [GBP]"""
    return _together(_receipts_by_kind, comparison)


def _receipts_by_kind(case: Case) -> pd.DataFrame:
    ends = [day.isoformat() for day in case.account.grid.ends_on]
    rows = [
        (kind, ends[k], float(net[k]))
        for kind, net in case.account.cash.income.by_kind.items()
        for k in np.flatnonzero(net)
    ]
    found = pd.DataFrame(rows, columns=["kind", "month_end", "amount"])
    return found.assign(month_end=pd.to_datetime(found["month_end"]))


# ------------------------------------------------------------------------------------- the panel maker


def paid_ahead(comparison: Comparison) -> pd.DataFrame:
    """Return money paid to the panel maker for panels not yet fixed: columns method, date, amount; methods
    with panels only. [GBP]
    """
    return _together(_paid_ahead, comparison)


def _paid_ahead(case: Case) -> pd.DataFrame:
    day, amount = ahead_of_fixing(case.plan, case.account.work)
    dates = [_date(case, float(one)) for one in day]
    return pd.DataFrame({"date": pd.to_datetime(dates), "amount": amount})


def payments_to_maker(comparison: Comparison) -> pd.DataFrame:
    """Return how the panel maker is paid: columns method, step, start, last (dates), amount.

    Steps as in `factory_payments`, the stages of making together; contingency and retention left aside.
    """
    return _together(_payments_to_maker, comparison)


def _payments_to_maker(case: Case) -> pd.DataFrame:
    found = factory_payments(case.plan, case.account.work)
    by_step = found.groupby("step", sort=False)
    together = pd.DataFrame(
        {"start": by_step.start.min(), "last": by_step.finish.max(), "amount": by_step.amount.sum()}
    ).reset_index()
    return together.assign(
        start=[_date(case, day) for day in together["start"]],
        last=[_date(case, day) for day in together["last"]],
    )


# ------------------------------------------------------- difference, published figures, what must be true


def against_published(comparison: Comparison) -> pd.DataFrame:
    """Return figures of the cost plan beside published ones: columns method, and those of `reconcile`."""
    return _together(lambda case: reconcile(case.account), comparison)


def spend(comparison: Comparison) -> pd.DataFrame:
    """Return how the contract is spent: columns method, time, share, both 0 to 1. [-]"""
    return _together(_spend, comparison)


def _spend(case: Case) -> pd.DataFrame:
    time = np.linspace(0.0, 1.0, CURVE_POINTS)
    return pd.DataFrame({"time": time, "share": spend_curve(case.account)(time)})


def published_curves() -> pd.DataFrame:
    """Return two published curves of spend: columns curve, time, share, both 0 to 1. [-]"""
    time = np.linspace(0.0, 1.0, CURVE_POINTS)
    each = {"health department, 1978": dhss(time), "a quarter, a half, a quarter": quarter_third(time)}
    return pd.concat(
        [pd.DataFrame({"curve": name, "time": time, "share": share}) for name, share in each.items()],
        ignore_index=True,
    )


def spend_notes(comparison: Comparison) -> list[str]:
    """Return a sentence for each method whose spend leaves the band about the published curves."""
    notes = [(case.method.label, curve_note(spend_curve(case.account))) for case in comparison.cases]
    return [f"{label}: {note}" for label, note in notes if note]


def break_evens(comparison: Comparison, progress: Progress | None = None) -> pd.DataFrame:
    """Return what would have to be true for both methods to leave the same profit, one figure at a time.

    Parameters
    ----------
    comparison : Comparison
    progress : callable, optional
        Told how many of how many questions are answered.

    Returns
    -------
    DataFrame
        Columns label, unit, now, needed (the nearest value that does, or None), others (further values),
        over (needed over what it replaces, or None), beyond (whether outside the range known for it), reason
        (why no value does, else empty).
    """
    rows = []
    for answer in ready_break_evens(comparison, "profit", progress):
        roots = sorted(answer.roots, key=lambda root: abs(root - answer.value_now))
        over = None if answer.relative_to is None or not roots else roots[0] - answer.relative_to
        rows.append(
            (
                answer.label,
                answer.unit,
                answer.value_now,
                roots[0] if roots else None,
                tuple(roots[1:]),
                over,
                bool(roots) and answer.beyond,
                answer.reason,
            )
        )
    return _as_given(rows, ["label", "unit", "now", "needed", "others", "over", "beyond", "reason"])


def _date(case: Case, day: float) -> dt.date:
    """Return the date of a day from the start on site, before it where negative."""
    return case.plan.start_date + dt.timedelta(days=int(np.floor(day)))


MONEY_FRAMES: Final = {
    "money returns": returns,
    "money goes": money_goes,
    "money week": week_by_cause,
    "money week curve": week_curve,
    "money week blocks": week_by_block,
    "money cost plan": cost_plan,
    "money rates": cost_rates,
    "money preliminaries": preliminaries,
    "money cash": cash_by_month,
    "money receipts": receipts_by_kind,
    "money paid ahead": paid_ahead,
    "money maker": payments_to_maker,
    "money published": against_published,
    "money spend": spend,
}
"""Frames of the money by name."""
