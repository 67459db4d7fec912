"""Does the cost plan look like other people's?

Figures of one account beside published ones. Nothing is worked from a published figure and none decides
anything: outside its range means look again, and a sentence says where to look. The figures are data,
`library/benchmarks.toml`; here is only how our own are had.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import pandas as pd

from model.inputs.assumption import read_library
from model.money.account import Account
from model.money.costs import WEEK_DAYS, read_site_costs
from model.money.curves import SpendCurve, curve_of
from model.money.grid import spread_evenly
from model.money.payments import valued_by_day

COLUMNS: Final = (
    "figure", "ours", "low", "typical", "high", "unit", "price_date", "base", "source", "mark", "inside",
    "why",
)  # fmt: skip

_ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A published figure. `part` over `whole` is ours; `typical` is None where only a range is published."""

    id: str
    label: str
    part: str
    whole: str
    low: float
    typical: float | None
    high: float
    unit: str
    source: str
    mark: str
    base: str
    if_outside: Mapping[str, str]
    of: Mapping[str, tuple[str, ...]]
    items: tuple[str, ...]
    tenures: tuple[str, ...]
    price_date: str


@lru_cache(maxsize=1)
def read_benchmarks() -> tuple[Benchmark, ...]:
    """Read the published figures of the library."""
    return tuple(
        Benchmark(
            id=name,
            label=table["label"],
            part=table["part"],
            whole=table["whole"],
            low=float(table["low"]),
            typical=float(table["typical"]) if "typical" in table else None,
            high=float(table["high"]),
            unit=table["unit"],
            source=table["source"],
            mark=table["mark"],
            base=table["base"],
            if_outside=table["if_outside"],
            of={element: tuple(options) for element, options in table.get("of", {}).items()},
            items=tuple(table.get("items", ())),
            tenures=tuple(table.get("tenures", ())),
            price_date=table.get("price_date", ""),
        )
        for name, table in read_library().data["benchmark"].items()
    )


def reconcile(account: Account) -> pd.DataFrame:
    """Hold the cost plan of one method against published figures.

    Parameters
    ----------
    account : Account

    Returns
    -------
    DataFrame
        One row a figure, columns `COLUMNS`: ours, the published range and what it is a share of, and
        ``inside``, ``below`` or ``above``; `why` is a sentence where it is not inside, else empty.
        `typical` is NaN where only a range is published, `price_date` empty but for money.

    Notes
    -----
    A figure whose base is 0 is left out: no separating walls, no price of a metre of them. So are figures
    for a way of earning that no block has.
    """
    sums = _sums(account)
    scenario = account.plan.scenario
    tenures = {scenario.tenure_of(block) for block in scenario.blocks}
    rows = []
    for figure in read_benchmarks():
        whole = _whole(figure, account, sums)
        if whole <= 0 or not _applies(figure, account, tenures):
            continue
        ours = (100.0 if figure.unit == "%" else 1.0) * _part(figure, account, sums) / whole
        inside = _place(ours, figure.low, figure.high)
        rows.append(
            {
                "figure": figure.label,
                "ours": ours,
                "low": figure.low,
                "typical": float("nan") if figure.typical is None else figure.typical,
                "high": figure.high,
                "unit": figure.unit,
                "price_date": figure.price_date,
                "base": figure.base,
                "source": figure.source,
                "mark": figure.mark,
                "inside": inside,
                "why": _why(figure, ours, inside),
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def spend_curve(account: Account) -> SpendCurve:
    """Return how the contract is spent, from the start on site to the last handover.

    Measured work as it is done, the panel maker when he is owed, site costs while they run and the fixed
    preliminaries at their dates; before lag and retention, as published curves are.
    """
    value = valued_by_day(account.plan, account.work)
    last = int(np.ceil(account.plan.last_handover))
    days = np.arange(max(value.size, last) + 2.0)
    time, fixed = account.cash.time_costs, account.cash.fixed_costs
    spent = spread_evenly(
        np.concatenate([time.start, fixed.start]),
        np.concatenate([time.finish, fixed.finish]),
        np.concatenate([time.amount, fixed.amount]),
        days,
    )
    spent[1 : value.size + 1] += value
    return curve_of(days, np.maximum(spent, 0.0))


def _sums(account: Account) -> dict[str, float]:
    """Return the sums of the account that figures are made of. [GBP]"""
    plan = account.plan
    preliminaries = account.cost_of("preliminaries")
    contract = account.cost_of("construction") + account.cost_of("premium") + preliminaries
    measured = float((account.work.plan["reference"] + account.work.plan["premium"]).sum())
    return {
        "preliminaries": preliminaries,
        "contract": contract,
        "contract_weeks": contract * plan.last_handover / WEEK_DAYS,
        "contract_without_contingency": measured + preliminaries,
        "measured_work": measured,
        "time_costs": float(account.cash.time_costs.amount.sum()),
        "profit": account.profit,
        "value": account.value,
        "cost": account.cost_of("total"),
    }


def _applies(figure: Benchmark, account: Account, tenures: Collection[str]) -> bool:
    """Say whether the flats earn as the figure means, and the method is built of the options it prices."""
    if figure.tenures and not set(figure.tenures) & set(tenures):
        return False
    chosen = dict(account.plan.method.options)
    return all(
        element in chosen and chosen[element] in (options or chosen.values())
        for element, options in figure.of.items()
    )


def _part(figure: Benchmark, account: Account, sums: Mapping[str, float]) -> float:
    """Return the sum a figure is of. [GBP]"""
    if figure.part == "elements":
        work = account.work.plan[account.work.plan["element"].isin(list(figure.of))]
        return float((work["rate"] * work["amount"]).sum())
    if figure.part == "items":
        places = [k for k, item in enumerate(read_site_costs()) if item.id in figure.items]
        costs = account.cash.time_costs
        return float(costs.amount[np.isin(costs.item, places)].sum())
    return sums[figure.part]


def _whole(figure: Benchmark, account: Account, sums: Mapping[str, float]) -> float:
    """Return what a figure is a share of: a sum of the account, else a quantity of the take-off."""
    if figure.whole in sums:
        return sums[figure.whole]
    return float(account.plan.takeoff.amount(figure.whole, "block").sum())


def _place(ours: float, low: float, high: float) -> str:
    """Say where a figure lies against a range; at an end, to rounding, is inside."""
    if ours < low * (1 - _ROUNDING):
        return "below"
    return "above" if ours > high * (1 + _ROUNDING) else "inside"


def _why(figure: Benchmark, ours: float, inside: str) -> str:
    if inside == "inside":
        return ""
    return (
        f"{figure.label}: {ours:,.4g} {figure.unit} is {inside} the published {figure.low:,.4g} to "
        f"{figure.high:,.4g} {figure.unit}. {figure.if_outside[inside]}"
    )
