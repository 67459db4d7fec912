"""Money in words: which sentence, which table, which word explained stands beside each picture?

Takes frames of `model.report.money_frames` and the figures of a comparison. A loss is said in the voice of a
gain; the client's and the builder's view stand side by side and are never added. Nothing here computes a
result.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import pandas as pd

from dashboard.parts.answer import Figures, Named, Names, narrow
from dashboard.parts.fields import number, unit_words
from dashboard.parts.money_charts import CAUSE_WORDS, HALF_POUND, cause_words, range_words, signed, unit_value
from dashboard.parts.theme import Html, method_name, table, text
from model.core.words import day, money, weeks
from model.inputs.scenario import Scenario
from model.report.money_frames import PARTS

TERMS: Final = {
    "Profit on cost": "Profit over all costs, interest and finance fees among them.",
    "Profit on value": "Profit over the gross development value.",
    "Net present value at the hurdle": "What receipts less costs before finance are worth on the day the "
    "land is "
    "bought, later money taken down at the hurdle rate. Above nought, the development earns more than that "
    "rate.",
    "Rate of return": "Internal rate of return of the project: the effective yearly rate at which receipts "
    "less "
    "costs before finance are worth nought today. Flows that change sign more than once can have several.",
    "Rate of return of the equity": "The same of the money equity puts in and has back, after the loans.",
    "Modified rate of return": "One rate where there may be several of the plain kind: costs are brought "
    "back at "
    "the loan's interest, receipts carried forward at the hurdle.",
    "Most equity at one time": "The most of its own money the development has in it at one time. Equity is "
    "spent "
    "first.",
    "Most debt at one time": "Highest balance of the loans, interest rolled up, before the receipts of its "
    "month; so it "
    "may lie a little above the month-ends drawn below.",
    "Gross development value": "Prices of all flats before the costs of selling; for homes to let, what "
    "they are "
    "sold for.",
    "Receipts, costs of selling taken off": "All that comes in: sales, rent less operating costs, homes "
    "sold whole.",
    "Reserved by their handover, of flats for sale": "A flat that is reserved completes soon after its "
    "handover; only "
    "for these does an earlier handover bring money sooner.",
    "Contingency": "A share of measured work, taken as spent.",
    "Bond over payments ahead of fixing": "A guarantor's promise to pay back what was paid for panels that "
    "never "
    "come. Charged by the day on what is paid and not yet fixed.",
    "Holding the land": "Security, insurance and rates until work starts.",
    "Interest": "Rolled up monthly: added to the loan, not paid as it falls due.",
    "Finance fees": "For arranging the loans, for what is not drawn, and on paying back.",
    "Premium": "What the method's own options cost beyond what they replace.",
    "Preliminaries": "What a builder spends on running the site rather than on the building.",
    "Mezzanine": "A second loan, dearer, drawn after equity and paid back after the first.",
    "Damages": "What a builder owes for each week of delay, agreed beforehand.",
    "Vesting": "The passing of title in goods before they are on the site.",
}
"""Words of the trade, explained where they are pointed at and once more at the foot of the page."""

RETURNS_MORE_IS: Final = {
    "profit": 1, "profit_on_cost": 1, "profit_on_value": 1, "npv": 1, "irr": 1, "equity_irr": 1, "mirr": 1,
    "peak_equity": -1, "peak_debt": -1, "value": 1, "receipts": 1, "cost": -1, "presold": 1,
}  # fmt: skip
"""1 where more is better, -1 where less is."""

RECEIPT_WORDS: Final = {
    "sale": "Flats sold one by one",
    "affordable": "Affordable homes",
    "rent": "Rent, operating costs taken off",
    "exit": "Homes let, sold whole",
    "forward sale": "Forward sale",
}

TENURE_WORDS: Final = {
    "sale": "sold one by one",
    "rent": "let",
    "forward sale": "sold whole before they are built",
}

STEP_WORDS: Final = {
    "deposit": "At the order",
    "stage": "As panels are made",
    "delivery": "On delivery",
    "fixing": "On fixing, as all other work",
    "bond": "Charge for the bond",
}

PART_TOTALS: Final = {
    "measured work": ("Measured work", ("measured work",)),
    "bond": ("Construction with premium", ("measured work", "contingency", "bond")),
    "site costs": ("Site costs in all", ("site costs",)),
    "land": ("Land in all", ("land",)),
    "finance": ("Finance in all", ("finance",)),
}
"""After which part of the cost plan a sum stands, what it is called, and the parts it adds up."""

VESTING: Final = (
    "Panels paid for and still in the factory are the client's only if title has passed: listed in the "
    "contract, set "
    "apart and marked, insured, vested by a certificate. What such a certificate is worth should the maker "
    "fail is a "
    "question of law; lawyers draft and decide it, not this page."
)

HELD: Final = (
    "Every handover moves, and the site costs that run to it; measured work, the loans and their fees are "
    "held as "
    "they were agreed."
)


def css() -> str:
    """Return the style of the money's own pictures, to be placed on a page that shows them."""
    sheet = Path(__file__).with_name("money.css").read_text(encoding="utf-8")
    return f"<style>\n{sheet}</style>"


def term(words: str, label: str = "") -> Html:
    """Return a word of the trade that explains itself when pointed at.

    Parameters
    ----------
    words : str
        One of `TERMS`; any other is returned as it is.
    label : str
        How it is written here, where that differs.
    """
    shown = text(label or words)
    return Html(f'<abbr title="{text(TERMS[words])}">{shown}</abbr>') if words in TERMS else shown


def glossary() -> Html:
    """Return every word of the trade with what it means."""
    items = "".join(f"<dt>{text(words)}</dt><dd>{text(said)}</dd>" for words, said in TERMS.items())
    return Html(f'<dl class="sp-terms">{items}</dl>')


# ------------------------------------------------------------------------------------------- returns


def lead(figures: Figures, names: Names, scenario: Scenario) -> list[str]:
    """Return how the flats earn, and in what money the page speaks, in quiet sentences."""
    return [
        tenures(scenario),
        *_sold(figures, names),
        " Sums are in pounds of the prices' own dates; VAT is left out.",
    ]


def tenures(scenario: Scenario) -> str:
    """Return how the flats of the blocks earn, in one sentence."""
    of: dict[str, list[str]] = {}
    for block in scenario.blocks:
        of.setdefault(scenario.tenure_of(block), []).append(block.name)
    if len(of) == 1:
        return f"All flats are {TENURE_WORDS[next(iter(of))]}."
    parts = [f"those of {_and(blocks)} are {TENURE_WORDS[tenure]}" for tenure, blocks in of.items()]
    said = _and(parts)
    return f"Flats earn block by block: {said}."


def _sold(figures: Figures, names: Names) -> list[str]:
    """Say what is reserved by handover, and when homes let are sold whole."""
    parts = []
    presold = [(name, figures["methods"][name.id].get("presold_pct")) for name in names]
    if all(share is not None for _name, share in presold):
        parts.append(f" Reserved by their handover: {_each(presold, lambda share: f'{share:.0f} %')}.")
    exits = [(name, figures["methods"][name.id].get("homes_let_sold_on")) for name in names]
    if all(when is not None for _name, when in exits):
        when = _each(exits, lambda iso: day(dt.date.fromisoformat(iso)))
        parts.append(f" Homes let are sold whole on {when}.")
    return parts


def _each(found: Sequence[tuple[Named, Any]], write: Any) -> str:
    """Write one value for each method, or once where all have the same."""
    words = [write(value) for _name, value in found]
    if len(set(words)) == 1:
        return str(words[0])
    return _and([f"{one} with {name.plainly}" for one, (name, _value) in zip(words, found, strict=True)])


def returns_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return what comes out of each method, the second against the first, and which each line favours.

    Parameters
    ----------
    frame : DataFrame
        As `money_frames.returns`.
    names : sequence of Named
    """
    rows = []
    for figure in dict.fromkeys(frame["name"]):
        one = frame[frame["name"] == figure].set_index("method")
        label, unit = str(one["figure"].iloc[0]), str(one["unit"].iloc[0])
        values = [one["value"].loc[name.label] for name in names]
        if all(value is None for value in values) and figure == "presold":
            continue
        written = ["none" if value is None else _written(float(value), unit) for value in values]
        rows.append([term(label), *written, *_gap(values, unit, RETURNS_MORE_IS[figure], names)])
    one_table = table(
        ["", *(name.label for name in names), "difference", "favours"],
        rows,
        numeric=range(1, len(names) + 2),
        roles={place: name.role for place, name in enumerate(names, start=1)},
    )
    return Html(f'<div class="sp-contrast">{one_table}</div>')


def _gap(values: Sequence[Any], unit: str, more_is: int, names: Names) -> list[str]:
    """Return the second against the first in the colour of the method it favours, and that method."""
    if values[0] is None or values[1] is None:
        return ["", ""]
    gap = float(values[1]) - float(values[0])
    said = signed(gap) if unit == "GBP" else f"{gap:+.1f}".replace("-", "−")
    if said in ("0", "+0.0", "−0.0"):
        return ["0", "neither"]
    better = names[1 if gap * more_is > 0 else 0]
    return [method_name(said, better.role), better.headed]


def _written(value: float, unit: str) -> str:
    return money(value) if unit == "GBP" else f"{value:.1f} %".replace("-", "−")


def reasons(frame: pd.DataFrame, names: Names) -> list[str]:
    """Return why a figure is missing, or stands for several, one sentence each; the same reason once."""
    missing = frame[(frame["reason"] != "") & (frame["name"] != "presold")]
    said: dict[str, list[tuple[str, str]]] = {}
    for row in missing.to_dict("records"):
        figure = str(row["figure"])
        said.setdefault(str(row["reason"]), []).append((figure[:1].lower() + figure[1:], str(row["method"])))
    sentences = []
    for reason, each in said.items():
        figures = _and(list(dict.fromkeys(figure for figure, _method in each)))
        methods = list(dict.fromkeys(method for _figure, method in each))
        whose = "" if len(methods) == len(names) > 1 else f", {_and(methods)}"
        sentences.append(f"{figures[:1].upper()}{figures[1:]}{whose}: {reason.replace('-', '−')}")
    return sentences


def say_longstop(figures: Figures, names: Names) -> str:
    """Say by which date the last handover is owed, and how long before, or after, it each method is done."""
    owed = dt.date.fromisoformat(figures["longstop"])
    gaps = [
        (name, (owed - dt.date.fromisoformat(figures["methods"][name.id]["last_handover"])).days / 7)
        for name in names
    ]
    room = _each(gaps, lambda gap: f"{weeks(gap)} {'before' if gap >= 0 else 'after'} it")
    return f"The last handover is owed by {day(owed)}, the longstop date; it is {room}."


def limits(sentences: Mapping[str, Sequence[str]], names: Names) -> Html:
    """Return the lenders' limits that are passed, or that none is.

    Parameters
    ----------
    sentences : mapping
        Method's id to a sentence for each limit passed.
    names : sequence of Named
    """
    passed = [f"<li>{name.headed}: {text(one)}</li>" for name in names for one in sentences.get(name.id, ())]
    if not passed:
        return Html('<p class="sp-note">No limit of the lenders is passed.</p>')
    return Html(
        '<div class="sp-problems" role="note"><p>Limits of the lenders that are passed</p>'
        f"<ul>{''.join(passed)}</ul></div>"
    )


# ------------------------------------------------------------------------------ what a week is worth


def week_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return a week's worth by cause, the client's view and the builder's side by side.

    Parameters
    ----------
    frame : DataFrame
        As `money_frames.week_by_cause`.
    names : sequence of Named
    """
    heads = [""] + [f"{view}, {name.label}" for view in ("client", "builder") for name in names]
    roles = {place: name.role for place, name in enumerate([*names, *names], start=1)}
    rows: list[list[str]] = []
    for cause, words in CAUSE_WORDS.items():
        mine = frame[frame["cause"] == cause].set_index("method")
        rows.append(
            [term(words), *(signed(float(mine[view].loc[name.label]))
                            for view in ("client", "builder") for name in names)]
        )  # fmt: skip
    sums = frame.groupby("method")[["client", "builder"]].sum()
    rows.append(
        ["A week sooner", *(signed(float(sums[view].loc[name.label]))
                            for view in ("client", "builder") for name in names)]
    )  # fmt: skip
    return _wide(table(heads, rows, numeric=range(1, 2 * len(names) + 1), roles=roles, total=True))


def say_week(figures: Figures, names: Names) -> str:
    """Say what a week sooner is worth to either, and what share of the builder's saving is passed on."""
    worth = [(name, figures["methods"][name.id]["value_of_a_week"]) for name in names]
    client = _each(worth, lambda week: money(week["client"]))
    builder = _each(worth, lambda week: money(week["builder"]))
    kept = f"Of what is saved on site, the builder keeps {builder}."
    return f"A week sooner is worth {client} to the client. {kept}"


def say_damages(figures: Figures, names: Names) -> Html:
    """Say what damages are usually set from, and that it is not more money."""
    worth = [(name, figures["methods"][name.id]["value_of_a_week"]) for name in names]
    amount = _each(worth, lambda week: money(week["damages_basis"]))
    said = (
        f" for a late week are usually set from what the client loses: {text(amount)}, interest and "
        "receipts. It is "
        "part of the client's view, the same money seen from the other side, not on top of it."
    )
    return Html(f'<p class="sp-note">{term("Damages")}{said}</p>')


def blocks_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return what each block alone a week sooner is worth, client and builder side by side.

    Parameters
    ----------
    frame : DataFrame
        As `money_frames.week_by_block`.
    names : sequence of Named
    """
    heads = ["Block"] + [f"{v}, {name.label}" for v in ("client", "builder") for name in names]
    roles = {place: name.role for place, name in enumerate([*names, *names], start=1)}
    rows = []
    for block in dict.fromkeys(frame["block"]):
        mine = frame[frame["block"] == block].set_index("method")
        rows.append(
            [
                block,
                *(
                    signed(float(mine[view].loc[name.label]))
                    for view in ("client", "builder")
                    for name in names
                ),
            ]
        )
    return _wide(table(heads, rows, numeric=range(1, 2 * len(names) + 1), roles=roles))


def say_blocks(frame: pd.DataFrame, names: Names) -> str:
    """Say whose week the client gains most by, and that blocks do not add up to all of them."""
    clauses = []
    for name in names[:2]:
        mine = frame[frame["method"] == name.label]
        top = mine.iloc[int(mine["client"].to_numpy().argmax())]
        clauses.append(f"{top['block']} with {name.plainly}, {money(float(top['client']))}")
    return (
        f"To the client the dearest week is that of {_and(clauses)}. Blocks need not add up to all of them "
        "a week "
        "sooner: costs of the whole site end with the last handover."
    )


# ----------------------------------------------------------------------------------------- cost plan


def cost_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return the cost plan: each line with its quantity, and rate and sum of each method; it adds up.

    Parameters
    ----------
    frame : DataFrame
        As `money_frames.cost_plan`.
    names : sequence of Named
    """
    heads = ["", "Quantity"]
    roles = {}
    for name in names:
        roles[len(heads)], roles[len(heads) + 1] = name.role, name.role
        heads += [f"{name.label}, rate", "sum"]
    heads.append("difference")
    mine = [frame[frame["method"] == name.label].set_index("line") for name in names]
    rows: list[list[str]] = []
    for part in PARTS:
        rows += [
            _cost_row(line, mine, names) for line in dict.fromkeys(frame.loc[frame["part"] == part, "line"])
        ]
        if part in PART_TOTALS:
            label, parts = PART_TOTALS[part]
            rows.append(
                _sum_row(label, [float(one.loc[one["part"].isin(parts), "sum"].sum()) for one in mine], names)
            )
    rows.append(_sum_row("All costs", [float(one["sum"].sum()) for one in mine], names))
    return _wide(table(heads, rows, numeric=range(1, len(heads)), roles=roles, total=True))


def _cost_row(line: str, mine: Sequence[pd.DataFrame], names: Names) -> list[str]:
    found = [one.loc[line] if line in one.index else None for one in mine]
    options = list(dict.fromkeys(str(row["option"]) for row in found if row is not None and row["option"]))
    below = f'<span class="sp-meaning">{text("; ".join(options))}</span>' if options else ""
    quantities = list(
        dict.fromkeys(
            f"{row['quantity']:,.0f} {unit_words(str(row['unit']))}".strip()
            for row in found
            if row is not None and row["quantity"] is not None
        )
    )
    cells: list[str] = [Html(f"{term(line)}{below}"), " / ".join(quantities)]
    for row in found:
        rate = "" if row is None or row["rate"] is None else f"£{number(float(row['rate']))}"
        cells += [rate, money(0.0 if row is None else float(row["sum"]))]
    return [*cells, _dearer(*(0.0 if row is None else float(row["sum"]) for row in found[:2]), names)]


def _dearer(one: float, other: float, names: Names) -> str:
    """Return by how much the second is dearer, in the colour of the cheaper method."""
    said = signed(other - one)
    return said if said == signed(0.0) else method_name(said, names[1 if other < one else 0].role)


def _sum_row(label: str, sums: Sequence[float], names: Names) -> list[str]:
    def strong(words: str) -> Html:
        return Html(f"<strong>{text(words)}</strong>")

    cells: list[str] = [strong(label), ""]
    for amount in sums:
        cells += ["", strong(money(amount))]
    return [*cells, strong(_dearer(*sums[:2], names))]


def say_inflation(inflation: Mapping[str, float], names: Names) -> str:
    """Say what sums hold beyond rate times quantity; empty where prices stand still."""
    if all(abs(factor - 1) < 1e-9 for factor in inflation.values()):
        return ""
    found = [(name, inflation[name.id]) for name in names]
    more = _each(found, lambda factor: f"{100 * (factor - 1):.1f} %")
    return (
        f"Rates are at the prices of their date; sums hold {more} of rising prices, up to the middle of the "
        "works."
    )


def rates_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return costs for a square metre and for a flat, by method.

    Parameters
    ----------
    frame : DataFrame
        As `money_frames.cost_rates`.
    names : sequence of Named
    """
    heads = [""] + [f"{per}, {name.label}" for per in ("a m² gross", "a flat") for name in names]
    roles = {place: name.role for place, name in enumerate([*names, *names], start=1)}
    rows = []
    for figure in dict.fromkeys(frame["figure"]):
        mine = frame[frame["figure"] == figure].set_index("method")
        each = [f"£{float(mine['per_m2'].loc[name.label]):,.0f}" for name in names]
        each += [f"£{float(mine['per_flat'].loc[name.label]):,.0f}" for name in names]
        rows.append([figure, *each])
    return _wide(table(heads, rows, numeric=range(1, 2 * len(names) + 1), roles=roles))


def preliminaries_table(frame: pd.DataFrame, names: Names, labels: Mapping[str, str]) -> Html:
    """Return site costs item by item with the weeks they run, kinds under one another, adding up.

    Parameters
    ----------
    frame : DataFrame
        As `money_frames.preliminaries`.
    names : sequence of Named
    labels : mapping
        Kind to words.
    """
    heads = [""]
    roles = {}
    for name in names:
        roles[len(heads)], roles[len(heads) + 1] = name.role, name.role
        heads += [f"{name.label}, weeks", "sum"]
    heads.append("difference")
    rows: list[list[str]] = []
    for kind, words in labels.items():
        part = frame[frame["kind"] == kind]
        if not len(part):
            continue
        for item in dict.fromkeys(part["item"]):
            mine = part[part["item"] == item].set_index("method")
            cells = [str(item)]
            for name in names:
                there = name.label in mine.index
                weeks = float(mine["weeks"].loc[name.label]) if there else 0.0
                cells += [f"{weeks:,.0f}" if kind in ("time", "plant") and there else "",
                          money(float(mine["amount"].loc[name.label]) if there else 0.0)]  # fmt: skip
            rows.append([*cells, _dearer(*_first_two(mine["amount"], names), names)])
        rows.append(_kind_sum(words, part, names))
    rows.append(_kind_sum("All site costs", frame, names))
    return _wide(table(heads, rows, numeric=range(1, len(heads)), roles=roles, total=True))


def _kind_sum(words: str, part: pd.DataFrame, names: Names) -> list[str]:
    sums = part.groupby("method")["amount"].sum()
    cells: list[str] = [Html(f"<strong>{text(words)}</strong>")]
    for name in names:
        amount = float(sums.loc[name.label]) if name.label in sums.index else 0.0
        cells += ["", Html(f"<strong>{text(money(amount))}</strong>")]
    return [*cells, Html(f"<strong>{_dearer(*_first_two(sums, names), names)}</strong>")]


def _first_two(sums: pd.Series, names: Names) -> tuple[float, float]:
    one, other = (float(sums.loc[name.label]) if name.label in sums.index else 0.0 for name in names[:2])
    return one, other


# ------------------------------------------------------------------------------ receipts, panel maker


def receipts_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return receipts by kind, with the month of the first and the last, adding up.

    Parameters
    ----------
    frame : DataFrame
        As `money_frames.receipts_by_section`.
    names : sequence of Named
    """
    heads, roles = [""], {}
    for name in names:
        roles[len(heads)], roles[len(heads) + 1] = name.role, name.role
        heads += [f"{name.label}, from and to", "sum"]
    rows: list[list[str]] = []
    for kind, words in RECEIPT_WORDS.items():
        part = frame[frame["kind"] == kind]
        if len(part):
            cells = [words]
            for name in names:
                mine = part[part["method"] == name.label]
                cells += [_months(mine), money(float(mine["amount"].sum()))]
            rows.append(cells)
    totals = ["All receipts"]
    for name in names:
        totals += ["", money(float(frame.loc[frame["method"] == name.label, "amount"].sum()))]
    return _wide(table(heads, [*rows, totals], numeric=range(1, len(heads)), roles=roles, total=True))


def _months(mine: pd.DataFrame) -> str:
    if not len(mine):
        return "none"
    first, last = mine["month_end"].min(), mine["month_end"].max()
    return f"{first:%b %Y}" if first == last else f"{first:%b %Y} to {last:%b %Y}"


def maker_table(frame: pd.DataFrame) -> Html:
    """Return how a panel maker is paid, step by step, and the bond over it.

    Parameters
    ----------
    frame : DataFrame
        As `money_frames.payments_to_maker`, of one method.
    """
    paid = frame[frame["step"] != "bond"]
    total = float(paid["amount"].sum()) or 1.0
    rows = [
        [
            STEP_WORDS[str(row["step"])],
            _dates(row["start"], row["last"]),
            money(float(row["amount"])),
            f"{100 * float(row['amount']) / total:.0f} %",
        ]
        for row in paid.to_dict("records")
    ]
    rows.append(["Panel maker's part in all", "", money(float(paid["amount"].sum())), "100 %"])
    heads = ["Step", "When", "Sum", "Share"]
    return narrow(table(heads, rows, numeric=range(1, 4), total=True))


def _dates(start: dt.date, finish: dt.date) -> str:
    return day(start) if start == finish else f"{day(start)} to {day(finish)}"


def say_maker(factory: Figures) -> list[str]:
    """Say what going back costs, and what the bond costs."""
    said = [
        f"From the order on {day(dt.date.fromisoformat(factory['ordered']))} going back costs the deposit, "
        f"{money(factory['going_back_then_costs'])}.",
    ]
    bond = factory.get("bond", 0.0)
    if bond >= HALF_POUND:
        said.append(f"A bond over what is paid ahead costs {money(bond)}; it stands in the premium.")
    else:
        said.append("No bond is charged: what is paid ahead is unsecured.")
    return said


# --------------------------------------------------------------------- difference, published, even


def bridge_table(frame: pd.DataFrame) -> Html:
    """Return what each cause changes: cost, finance, profit and present value, adding up.

    Parameters
    ----------
    frame : DataFrame
        ``cause, cost, finance, profit, npv``. [GBP]
    """
    columns = ("cost", "finance", "profit", "npv")
    rows = [
        [cause_words(str(row["cause"])), *(signed(float(row[column])) for column in columns)]
        for row in frame.to_dict("records")
    ]
    rows.append(["Difference", *(signed(float(frame[column].sum())) for column in columns)])
    heads = ["", "Costs less receipts", "Interest and fees", "Profit", "Net present value"]
    return _wide(table(heads, rows, numeric=range(1, 5), total=True))


def published_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return each figure beside its published range, where it lies, and on whose word.

    Parameters
    ----------
    frame : DataFrame
        ``method, figure, ours, low, high, unit, source, mark, inside`` and perhaps ``base``, ``price_date``.
    names : sequence of Named
    """
    rows = []
    for figure in dict.fromkeys(frame["figure"]):
        one = frame[frame["figure"] == figure]
        first, by_method = one.iloc[0], one.set_index("method")
        unit = str(first["unit"])
        dated = (
            f", prices of {first['price_date']}"
            if "price_date" in one.columns and first["price_date"]
            else ""
        )
        base = str(first["base"]) if "base" in one.columns else ""
        label = Html(f"{text(figure)}<span class='sp-meaning'>{text(base)}</span>" if base else text(figure))
        ours = [
            unit_value(float(by_method["ours"].loc[name.label]), unit)
            if name.label in by_method.index
            else "none"
            for name in names
        ]
        where = list(dict.fromkeys(_place(by_method["inside"].loc[name.label]) for name in names
                                   if name.label in by_method.index))  # fmt: skip
        span = f"{range_words(float(first['low']), float(first['high']), unit)}{dated}"
        rows.append([label, *ours, span, ", ".join(where), f"{first['source']} ({first['mark']})"])
    roles = {place: name.role for place, name in enumerate(names, start=1)}
    heads = ["", *(name.label for name in names), "published", "lies", "source"]
    return _wide(table(heads, rows, numeric=range(1, len(names) + 2), roles=roles))


def _place(inside: Any) -> str:
    """Return where a figure lies: its word, or that of yes or no."""
    return inside if isinstance(inside, str) else ("inside" if inside else "outside")


def break_even_table(frame: pd.DataFrame) -> Html:
    """Return what each figure is now, what it would have to be, and why not where none would do.

    Parameters
    ----------
    frame : DataFrame
        As `money_frames.break_evens`.
    """
    rows = []
    for row in frame.to_dict("records"):
        unit, needed = str(row["unit"]), row["needed"]
        known = needed is not None and needed == needed
        note = _note(row, unit) if known else _in_pounds(str(row["reason"]))
        label = Html(f'{text(row["label"])}<span class="sp-meaning">{text(note)}</span>')
        rows.append([label, _plain(row["now"], unit), _plain(needed, unit) if known else "none would do"])
    return _wide(table(["", "now", "would have to be"], rows, numeric=(1, 2)))


def _in_pounds(words: str) -> str:
    """Return a sentence of the model in the page's way of writing sums and units."""
    words = re.sub(r"(−?)([\d,.]*\d) GBP(?!/)", r"\1£\2", words)
    for unit in ("GBP/m2", "no./month", "no./week"):
        words = words.replace(unit, unit_words(unit))
    return words


def _note(row: Mapping[Any, Any], unit: str) -> str:
    """Return what else there is to say of a value that would do."""
    parts = []
    over = row.get("over")
    if over is not None and over == over:
        side = "more" if over >= 0 else "less"
        parts.append(f"{_plain(abs(over), unit)} {side} than what it replaces")
    others = row.get("others") or ()
    if others:
        parts.append(f"also at {_and([_plain(one, unit) for one in others])}")
    if row.get("beyond"):
        parts.append("outside the range known for it")
    return "; ".join(parts)[:1].upper() + "; ".join(parts)[1:]


def _plain(value: Any, unit: str) -> str:
    """Return a figure to four significant figures with its unit."""
    if value is None or value != value:
        return "none"
    words = unit_words(unit)
    size = abs(float(value))
    sign = "−" if float(value) < 0 else ""
    figure = f"{size:,.4g}" if size < 10_000 else f"{size:,.0f}"
    if words.startswith("£"):
        return f"{sign}£{figure}{words.removeprefix('£').replace('/', ' a ')}"
    return f"{sign}{figure} {words}".strip()


def _wide(one: Html) -> Html:
    """Return a table of many columns, whose headings break where the page is narrow."""
    return Html(f'<div class="sp-many">{one}</div>')


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def bent(scenario: Scenario) -> str:
    """Say why a week is not worth the same wherever it falls."""
    if any(scenario.tenure_of(block) == "sale" for block in scenario.blocks):
        return (
            "The line bends: the sooner a handover, the fewer flats are reserved by then and the less "
            "another week brings "
            "in; the later, the more money waits for it."
        )
    return "Where the line bends, a week is not worth the same wherever it falls."


def premiums(frame: pd.DataFrame) -> dict[str, str]:
    """Return what each option that replaces another comes to, by its name within its element.

    Parameters
    ----------
    frame : DataFrame
        As `WorkCosts.plan`.
    """
    return {
        f"{row['element']}.{row['option']}": f"{signed(float(row['premium']))} over "
        f"{float(row['amount']):,.0f} "
        f"{unit_words(str(row['unit']))}, before contingency"
        for row in frame.to_dict("records")
    }
