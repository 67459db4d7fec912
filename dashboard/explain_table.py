"""Where the difference between two methods comes from, on a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from rich.console import Console
from rich.table import Table

from model.core.words import money, sooner

GROUPS: Final = {"walls": "walls", "rest": "everything else"}
"""The first split, in the reader's words."""

MOST_DIFFERENCES: Final = 8

SMALL: Final = {"weeks": 0.5 / 7, "money": 500.0}
"""Half a day, half a thousand: pairs that gain less are not told of. [weeks, GBP]"""

_SAID: Final = {
    "weeks_to_first_handover": "first handover",
    "weeks_to_last_handover": "last handover",
    "profit": "profit",
    "npv": "NPV",
}
"""Measures in which a pair may pay only together, worth a line."""


def explanation_table(figures: dict[str, Any], console: Console | None = None) -> None:
    """Print an explanation as JSON gives it: walls against the rest, elements, pairs, differences.

    Parameters
    ----------
    figures : dict
        As `Explanation.as_json`.
    console : rich.console.Console, optional
        Where to; standard output if left out.
    """
    out = console or Console(highlight=False, soft_wrap=True)
    measures, first, second = figures["measures"], figures["from"], figures["to"]
    out.print(figures["scenario"]["name"], markup=False)
    out.print(
        f"{second} against {first}: first handover {sooner(measures['weeks_to_first_handover']['total'])}, "
        f"last {sooner(measures['weeks_to_last_handover']['total'])}; "
        f"profit {_signed(measures['profit']['total'])}.",
        markup=False,
    )
    if not figures["players"]:
        out.print("The two are built alike; no record differs.")
        return
    out.print("Each part's share, averaged over every order in which parts may be switched.")
    out.print("Beside it what it adds alone first, and added last.")
    out.print()
    out.print(_shares(figures))
    out.print()
    out.print(_others(figures))
    out.print()
    pairs = list(_pairs(figures))
    for sentence in pairs or ["No two parts pay only together."]:
        out.print(sentence, markup=False)
    for sentence in _differences(figures):
        out.print(sentence, markup=False)
    for warning in figures["warnings"]:
        out.print(f"warning: {warning}", markup=False)


def _labels(figures: dict[str, Any]) -> dict[str, str]:
    return {player["name"]: player["label"] for player in figures["players"]}


def _shares(figures: dict[str, Any]) -> Table:
    """Last handover and profit: groups, then parts, then all together."""
    table = _table(
        "", "weeks sooner at the last handover", "alone, last", "profit more", "alone, last", fold=(1,)
    )
    weeks, profit = (figures["measures"][name] for name in ("weeks_to_last_handover", "profit"))
    for name, label in GROUPS.items():
        cells = [measure["groups"][name] for measure in (weeks, profit)]
        table.add_row(label, *_range(_weeks, **cells[0]), *_range(_signed, **cells[1]))
    table.add_row()
    for name, label in _labels(figures).items():
        cells = [
            {
                "credit": measure["elements"][name],
                "alone_first": measure["alone_first"][name],
                "added_last": measure["added_last"][name],
            }
            for measure in (weeks, profit)
        ]
        table.add_row(label, *_range(_weeks, **cells[0]), *_range(_signed, **cells[1]))
    table.add_row("together", _weeks(weeks["total"]), "", _signed(profit["total"]), "")
    return table


def _range(form: Any, credit: float, alone_first: float, added_last: float) -> tuple[str, str]:
    return form(credit), f"{form(alone_first)}, {form(added_last)}"


def _others(figures: dict[str, Any]) -> Table:
    """Shares of the other measures."""
    names = {
        "weeks_to_first_handover": ("weeks sooner at the first handover", _weeks),
        "hook_hours": ("hook hours", _count),
        "operative_days": ("operative-days", _count),
        "loads": ("loads", _count),
        "npv": ("NPV", _signed),
    }
    table = _table("", *(label for label, _form in names.values()), fold=(1,))
    measures = figures["measures"]
    for name, label in _labels(figures).items():
        table.add_row(label, *(form(measures[m]["elements"][name]) for m, (_l, form) in names.items()))
    table.add_row("together", *(form(measures[m]["total"]) for m, (_l, form) in names.items()))
    return table


def _table(*headers: str, fold: tuple[int, ...]) -> Table:
    table = Table(box=None, pad_edge=False)
    for place, header in enumerate(headers):
        table.add_column(
            header, justify="right" if place else "left", max_width=18 if place in fold else None
        )
    return table


def _pairs(figures: dict[str, Any]) -> Iterator[str]:
    """Say which two parts are of use together and neither alone."""
    labels = _labels(figures)
    for measure, said in _SAID.items():
        in_weeks = measure.startswith("weeks")
        form, small = (sooner, SMALL["weeks"]) if in_weeks else (_signed, SMALL["money"])
        for pair in figures["measures"][measure]["pairs"]:
            if pair["only_together"] and abs(pair["both"]) >= small:
                one, other = (labels[name] for name in pair["elements"])
                alone = " and ".join(form(x) for x in pair["alone"])
                yield (
                    f"{one} and {other[:1].lower() + other[1:]} pay only together: {said} "
                    f"{form(pair['both'])} for both, {alone} alone."
                )


def _differences(figures: dict[str, Any]) -> Iterator[str]:
    """Tell the differences that weigh most, and how many there are."""
    rows = figures["differences"]
    own = _once(figures, [row for row in rows if row["effect_profit"] is not None])
    own.sort(key=lambda row: (-abs(row["effect_profit"]), -abs(row["effect_weeks"]), row["key"]))
    yield f"The biggest differences, and {figures['to']} with each set equal:"
    for row in own[:MOST_DIFFERENCES]:
        unit = f" {row['unit']}" if row["unit"] not in ("", "-") else ""
        was, becomes = (x if isinstance(x, str) else f"{x:,g}" for x in (row["from"], row["to"]))
        yield (
            f"  {row['label']}: {becomes}{unit} in place of {was}{unit}; set equal, last handover "
            f"{sooner(row['effect_weeks'])}, profit {_signed(row['effect_profit'])}"
        )
    for row in rows:
        if row["effect_profit"] is None and row["kind"] == "option":
            change = f"{row['label']}: {row['to']} in place of {row['from']}"
            yield f"  {change}; cannot be set equal: {row['note']}"
    come_along = sum(row["effect_profit"] is None for row in rows)
    yield (
        f"{len(own)} {'difference of its' if len(own) == 1 else 'differences of their'} own, "
        f"{come_along:,} that come with {'it' if len(own) == 1 else 'them'} (all in the JSON); "
        f"the other {figures['identical_records']} records are the same in both."
    )


def _once(figures: dict[str, Any], rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Put options that only go together, and have one effect, into one row."""
    labels = _labels(figures)
    told: dict[str, dict[str, Any]] = {}
    for row in rows:
        if row["kind"] != "option":
            told[row["key"]] = row
        elif row["element"] not in told:
            told[row["element"]] = {**row, "label": labels[row["element"]]}
        else:
            joined = told[row["element"]]
            joined |= {side: f"{joined[side]} with {row[side]}" for side in ("from", "to")}
    return list(told.values())


def _signed(amount: float) -> str:
    return ("+" if round(amount) > 0 else "") + money(amount)


def _weeks(value: float) -> str:
    return _plus(value, 1)


def _count(value: float) -> str:
    return _plus(value, 0)


def _plus(value: float, places: int) -> str:
    """Write a difference with its sign, and nothing as nothing."""
    rounded = round(value, places) + 0.0
    return f"{rounded:+,.{places}f}".replace("-", "−") if rounded else "0"
