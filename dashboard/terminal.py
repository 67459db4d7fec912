"""The comparison as a table on a terminal."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from rich.console import Console
from rich.table import Table

from model.core.words import day, money, sooner

Figure = Callable[[dict[str, Any]], str]


def comparison_table(figures: dict[str, Any], console: Console | None = None) -> None:
    """Print a comparison as JSON gives it.

    Parameters
    ----------
    figures : dict
        As `Comparison.as_json`.
    console : rich.console.Console, optional
        Where to; standard output if left out.
    """
    out = console or Console(highlight=False, soft_wrap=True)
    methods, difference = figures["methods"], figures["difference"]
    table = Table(title=figures["scenario"]["name"], title_justify="left", box=None, pad_edge=False)
    table.add_column("")
    for name in methods:
        table.add_column(name, justify="right")
    for label, figure in _ROWS:
        table.add_row(label, *(figure(method) for method in methods.values()))
    out.print(table)
    walls = difference["walls_only"]
    first, second = list(methods)[:2]
    out.print()
    out.print(
        f"{second} against {first}: "
        f"first handover {sooner(difference['weeks_to_first_handover'])} "
        f"({difference['programme_saving_pct']:+.1f} %), "
        f"last {sooner(difference['weeks_to_last_handover'])}; profit {_signed(difference['profit'])}."
    )
    out.print(
        f"Owed to the walls alone: first handover {sooner(walls['weeks_to_first_handover'])}, "
        f"last {sooner(walls['weeks_to_last_handover'])}; profit {_signed(walls['profit'])}."
    )
    for sentence in difference["money"]["said"]:
        out.print(sentence, markup=False)
    for name, method in methods.items():
        out.print(_why(name, method))
        if said := _ahead(name, method):
            out.print(said, markup=False)
    out.print(f"{figures['defaults_used']} values stand at their default.")
    for warning in figures["warnings"]:
        out.print(f"warning: {warning}", markup=False)


def _why(name: str, method: dict[str, Any]) -> str:
    """Say what the weeks to the last handover are made of, and whether the factory holds the site up."""
    last = method["causes"]["last_handover"]
    parts = sorted(last["days"].items(), key=lambda item: -item[1])
    made = ", ".join(f"{cause} {days / 7:.1f}" for cause, days in parts if days / 7 >= 0.05)
    said = f"{name}, weeks to the last handover ({last['block']}): {made}."
    factory = method["factory"]
    if factory and factory["binds"]:
        since = day(dt.date.fromisoformat(factory["binds_since"]))
        waited, weeks = factory["storeys_that_waited"], factory["longest_wait_days"] / 7
        parts_held = "a storey waits" if waited == 1 else f"{waited} parts of storeys wait"
        said += f" The factory holds the site up from {since}: {parts_held}, {weeks:.1f} weeks at most."
    return said


def _ahead(name: str, method: dict[str, Any]) -> str:
    """Say what is paid for panels before they are fixed, and who settles that it is safe."""
    factory = method["factory"]
    if not factory or not factory["most_unfixed"]:
        return ""
    on = day(dt.date.fromisoformat(factory["most_unfixed_on"]))
    prices = ", ".join(
        f"{one['element'].replace('_', ' ')} {one['rate']:,.0f} {one['unit']} "
        f"({one['premium']:+,.0f} over what it replaces)"
        for one in method["panel_prices"]
    )
    return (
        f"{name}: {prices}. Paid for panels not yet fixed: {money(factory['most_unfixed'])} at most, "
        f"on {on}; bond {money(factory['bond'])}. Title to goods in a factory (vesting) and bonds are for "
        "lawyers to settle."
    )


def _signed(amount: float) -> str:
    return ("+" if amount > 0 else "") + money(amount)


def _date(key: str) -> Figure:
    return lambda method: day(dt.date.fromisoformat(method[key]))


def _number(key: str, form: str = ",.0f") -> Figure:
    return lambda method: format(method[key], form)


def _sum(*keys: str) -> Figure:
    def figure(method: dict[str, Any]) -> str:
        value: Any = method
        for key in keys:
            value = value[key]
        return money(value)

    return figure


def _percent(key: str) -> Figure:
    return lambda method: "none" if method[key] is None else f"{method[key]:.1f}"


_ROWS: list[tuple[str, Figure]] = [
    ("first handover", _date("first_handover")),
    ("last handover", _date("last_handover")),
    ("weeks to first handover", _number("weeks_to_first_handover", ".1f")),
    ("weeks to last handover", _number("weeks_to_last_handover", ".1f")),
    ("trades", _number("trades")),
    ("packages", _number("packages")),
    ("operative-days", _number("operative_days")),
    ("peak on site", _number("peak_operatives")),
    ("paid hours a m2", _number("hours_per_m2", ".1f")),
    ("open-edge hours", _number("open_edge_hours")),
    ("hook hours", _number("hook_hours")),
    ("loads", _number("loads")),
    ("panels", _number("panels")),
    ("construction", _sum("cost", "construction")),
    ("premium", _sum("cost", "premium")),
    ("preliminaries", _sum("cost", "preliminaries")),
    ("finance", _sum("cost", "finance")),
    ("all costs", _sum("cost", "total")),
    ("receipts", _sum("receipts")),
    ("profit", _sum("profit")),
    ("profit on cost, %", _number("profit_on_cost_pct", ".1f")),
    ("development value", _sum("value")),
    ("NPV", _sum("npv")),
    ("IRR, % a year", _percent("irr_pct")),
    ("IRR of the equity, % a year", _percent("equity_irr_pct")),
    ("peak equity", _sum("peak_equity")),
    ("peak debt", _sum("peak_debt")),
    ("a week is worth", _sum("value_of_a_week", "total")),
    ("of it to the client", _sum("value_of_a_week", "client")),
    ("of it to the builder", _sum("value_of_a_week", "builder")),
]
