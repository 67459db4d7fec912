"""Charts of the money: where it goes, what a week is worth, what is paid ahead, how it is spent.

As `dashboard.parts.charts`: each function takes a plain frame and returns a figure, or HTML where text and
bars say it better; beside each stands a function that says the same in words. A method is told by colour and
rule, and a difference has the colour of the method it favours.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dashboard.parts import cuts
from dashboard.parts.answer import Named, Names
from dashboard.parts.marks import Mark, mark
from dashboard.parts.strokes import (
    NOTE,
    Colours,
    Peak,
    at,
    day,
    draw_line,
    listed,
    methods_of,
    money_words,
    name_peaks,
    need,
    panels,
    plain,
    rows_of,
    say_scale,
    scale_of,
    set_axis,
)
from dashboard.parts.theme import Html, mix, text
from model.core.errors import RangeError
from model.core.words import money

WHERE: Final = {
    "land": ("Land", "cure"),
    "construction": ("Construction", "work"),
    "premium": ("Premium", "factory"),
    "preliminaries": ("Site costs", "wait"),
    "fees": ("Fees", "weather"),
    "finance": ("Finance", "crane"),
    "profit": ("Profit", "closed"),
}
"""Where receipts go, in order: words, and the fill of a strip."""

SITE_FILLS: Final = {
    "time": ("With time", "work"),
    "plant": ("Plant, with time", "crane"),
    "fixed": ("Fixed", "wait"),
    "value": ("By value", "cure"),
}
"""Kinds of site costs: words and fill of a strip."""

CAUSE_WORDS: Final = {
    "interest": "Interest on the loans",
    "preliminaries": "Site costs that run with time",
    "plant": "Plant on hire",
    "receipts": "Receipts",
    "premium": "Premium",
}

HALF_POUND: Final = 0.5
"""Below this a sum is none. [GBP]"""


def signed(amount: float) -> str:
    """Return a change of a sum, with its sign; '0' for none."""
    return "0" if abs(amount) < HALF_POUND else f"{'+' if amount > 0 else ''}{money(amount)}"


# ---------------------------------------------------------------------------------- where money goes


def money_goes(frame: pd.DataFrame, names: Names) -> Html:
    """Draw what the receipts of each method pay for, a strip for each, to one scale.

    Parameters
    ----------
    frame : DataFrame
        ``method, part, amount``, parts as in `WHERE`. [GBP]
    names : sequence of Named
    """
    need(frame, ["method", "part", "amount"], "where the money goes")
    each = []
    for name in names:
        amounts = _by(frame, name, "part", "amount")
        pieces = [
            cuts.Piece(fill, label, amounts.get(part, 0.0), kind_of_money(part), _phone_group(part))
            for part, (label, fill) in WHERE.items()
        ]
        short = amounts.get("profit", 0.0) < -HALF_POUND
        tick = sum(amounts.values()) if short else 0.0
        each.append(cuts.Strip(name.label, name.role, _receipts_words(amounts), pieces, tick))
    return cuts.strips(each, say_money_goes(frame, names), cuts.POUNDS)


def kind_of_money(part: str) -> str:
    """Return what a part holds, in a few words."""
    return {
        "land": "With stamp duty, legal costs and holding until the start on site.",
        "construction": "Measured work at the price of what is replaced, with contingency.",
        "premium": "What the method's own options cost beyond that, with contingency and bond.",
        "preliminaries": "The site while it stands: team, plant, welfare, insurances.",
        "fees": "Professional fees.",
        "finance": "Interest and finance fees.",
        "profit": "What is left.",
    }[part]


def _phone_group(part: str) -> str:
    return "Site costs and fees" if part in ("preliminaries", "fees") else ""


def _receipts_words(amounts: Mapping[str, float]) -> str:
    profit = amounts.get("profit", 0.0)
    receipts = money(sum(amounts.values()))
    if profit < -HALF_POUND:
        return f"receipts {receipts}, up to the tick: {money(-profit)} short of all costs"
    return f"receipts {receipts}, of which profit {money(profit)}"


def say_money_goes(frame: pd.DataFrame, names: Names) -> str:
    """Say what the receipts of each method pay for."""
    clauses = []
    for name in names:
        amounts = _by(frame, name, "part", "amount")
        parts = [
            f"{label} {money(amounts[part])}"
            for part, (label, _) in WHERE.items()
            if part != "profit" and amounts.get(part, 0.0) >= HALF_POUND
        ]
        clauses.append(f"{name.label}, {_receipts_words(amounts)}: {', '.join(parts)}")
    return f"{'. '.join(clauses)}."


def site_costs(frame: pd.DataFrame, names: Names) -> Html:
    """Draw site costs of each method by kind: with time, plant, fixed, by value.

    Parameters
    ----------
    frame : DataFrame
        ``method, kind, amount``. [GBP]
    names : sequence of Named
    """
    need(frame, ["method", "kind", "amount"], "site costs")
    each, said = [], []
    for name in names:
        amounts = _by(frame, name, "kind", "amount")
        total = sum(amounts.values())
        with_time = sum(amounts.get(kind, 0.0) for kind in ("time", "plant"))
        share = 100 * with_time / total if total > 0 else 0.0
        whole = f"{money(total)}, {share:.0f} % of it runs with time"
        pieces = [
            cuts.Piece(fill, words, amounts.get(kind, 0.0)) for kind, (words, fill) in SITE_FILLS.items()
        ]
        each.append(cuts.Strip(name.label, name.role, whole, pieces))
        said.append(f"{name.label}: {whole}")
    return cuts.strips(each, f"Site costs. {'; '.join(said)}.", cuts.POUNDS)


# -------------------------------------------------------------------------------------- bars in HTML


def gauges(
    rows: Sequence[tuple[str, Sequence[tuple[Named, float]]]],
    write: Callable[[float], str],
    ends: tuple[float, float] | None = None,
) -> str:
    """Return rows of bars about a nought, to one scale: gains to its right, losses to its left.

    Parameters
    ----------
    rows : sequence of (str, sequence of (Named, float))
        What a row is of, and a bar for each method.
    write : callable
        Takes a length to words.
    ends : tuple of float, optional
        Least and greatest length of the scale; those of the rows if not given.
    """
    values = [value for _label, each in rows for _name, value in each]
    low, high = ends or (min(values, default=0.0), max(values, default=0.0))
    low, high = min(low, 0.0), max(high, 0.0)
    span = (high - low) or 1.0
    nought = 100 * -low / span
    body = []
    for label, each in rows:
        bars = "".join(
            f'<div class="sp-gauge"><span class="sp-gauge-way {_role(name.role)}" '
            f'style="--sp-nought:{nought:.2f}%">{_stretch(value, low, span)}</span>'
            f'<span class="sp-gauge-words">{text(write(value))}'
            f'<span class="sp-aloud"> {text(name.label)}</span></span></div>'
            for name, value in each
        )
        body.append(f'<div class="sp-gauge-row"><p>{text(label)}</p><div>{bars}</div></div>')
    return "".join(body)


def _stretch(value: float, low: float, span: float) -> str:
    left, wide = 100 * (min(value, 0.0) - low) / span, 100 * abs(value) / span
    return f'<i class="sp-rule" style="left:{left:.2f}%;width:{wide:.2f}%"></i>' if wide >= 0.05 else ""


def two_views(frame: pd.DataFrame, names: Names) -> Html:
    """Draw what a week is worth to the client and to the builder, side by side on one scale, by cause.

    Parameters
    ----------
    frame : DataFrame
        ``method, cause, client, builder``. [GBP]
    names : sequence of Named
    """
    need(frame, ["method", "cause", "client", "builder"], "what a week is worth")
    ends = (float(frame[["client", "builder"]].to_numpy().min()), float(_most(frame)))
    sides = []
    for column, heading in (("client", "To the client"), ("builder", "To the builder")):
        rows = []
        for cause, words in CAUSE_WORDS.items():
            values = [(name, _by(frame, name, "cause", column).get(cause, 0.0)) for name in names]
            if any(abs(value) >= HALF_POUND for _, value in values):
                label = (
                    f"{words}, {'passed on' if column == 'client' else 'kept'}" if _shared(cause) else words
                )
                rows.append((label, values))
        sums = "".join(
            f'<p class="{_role(name.role)}"><b>{text(money(_sum_of(frame, name, column)))}</b> '
            f"{text(name.label)}</p>"
            for name in names
        )
        nothing = "" if rows else '<p class="sp-note">Nothing.</p>'
        sides.append(
            f'<div class="sp-side"><h3>{heading}</h3><div class="sp-side-sums">{sums}</div>'
            f"{gauges(rows, signed, ends)}{nothing}</div>"
        )
    return Html(f'<div class="sp-sides">{"".join(sides)}</div>')


def _shared(cause: str) -> bool:
    """Say whether builder and client part what a cause is worth."""
    return cause in ("preliminaries", "plant")


def _most(frame: pd.DataFrame) -> float:
    return float(frame[["client", "builder"]].to_numpy().max())


def _sum_of(frame: pd.DataFrame, name: Named, column: str) -> float:
    return float(frame.loc[frame["method"] == name.label, column].sum())


def line_differences(frame: pd.DataFrame, names: Names) -> Html:
    """Draw by how much each line of the cost plan is dearer, or cheaper, with the second method.

    Parameters
    ----------
    frame : DataFrame
        ``method, line, sum``. [GBP]
    names : sequence of Named

    Returns
    -------
    Html
        Lines that differ by half a thousandth of all costs or more, greatest first; each bar in the colour
        of the cheaper method.
    """
    need(frame, ["method", "line", "sum"], "the cost plan")
    rows = [(line, [(names[1 if gap < 0 else 0], gap)]) for line, gap in differing_lines(frame, names)]
    if not rows:
        return Html('<p class="sp-note">No line of the cost plan differs by as much as a thousandth.</p>')
    said = f"More with {names[1].plainly} to the right, less to the left; the colour is that of the cheaper"
    return Html(
        f'<div class="sp-wide" role="group" aria-label="{text(say_line_differences(frame, names))}">'
        f'<p class="sp-bars-unit">{text(said)}</p>{gauges(rows, signed)}</div>'
    )


def differing_lines(frame: pd.DataFrame, names: Names) -> list[tuple[str, float]]:
    """Return the lines that differ and by how much, the second method less the first, greatest first."""
    one, other = (_by(frame, name, "line", "sum") for name in names[:2])
    least = 0.0005 * max(sum(one.values()), sum(other.values()))
    gaps = {line: other.get(line, 0.0) - one.get(line, 0.0) for line in {**one, **other}}
    return sorted(
        ((line, gap) for line, gap in gaps.items() if abs(gap) >= max(least, HALF_POUND)),
        key=lambda item: -abs(item[1]),
    )


def say_line_differences(frame: pd.DataFrame, names: Names) -> str:
    """Say which lines of the cost plan differ, and by how much."""
    told = [f"{line} {signed(gap)}" for line, gap in differing_lines(frame, names)]
    if not told:
        return "No line of the cost plan differs."
    return f"With {names[1].plainly}, against {names[0].plainly}: {'; '.join(told)}."


# --------------------------------------------------------------------------------- earlier and later


def week_curve(frame: pd.DataFrame, colours: Colours, currency: str = "£") -> go.Figure:
    """Draw what handovers moved by some weeks are worth, to the client and, below, to the builder.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, weeks, client, builder``; weeks below 0 are sooner. [weeks, GBP]
    colours : mapping
        Tokens of one mode.
    currency : str

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    need(frame, ["method", "role", "weeks", "client", "builder"], "the curve of weeks")
    most = float(np.abs(frame[["client", "builder"]].to_numpy()).max())
    scale, unit = scale_of(most, currency)
    figure, axes = panels(
        [260.0, 150.0], colours, titles=[f"to the client, {unit}", f"to the builder, {unit}"], gaps=[48.0]
    )
    tops = {}
    for row, column in enumerate(("client", "builder"), start=1):
        for label, known in methods_of(frame):
            one = rows_of(frame, method=label).sort_values("weeks")
            said = [
                f"{label}, {weeks_moved(weeks)}: {signed_words(value, currency)}"
                for weeks, value in zip(one["weeks"], one[column], strict=True)
            ]
            draw_line(figure, one["weeks"], one[column] / scale, _nested(known), colours, row, hover=said)
        tops[column] = float(np.abs(frame[column].to_numpy()).max()) / scale or 1.0
        set_axis(figure, axes[row - 1], range=[-1.12 * tops[column], 1.12 * tops[column]], nticks=5)
        _nought(figure, row, colours)
    first, last = float(frame["weeks"].min()), float(frame["weeks"].max())
    ticks = [first, *(t for t in (-8.0, -4.0, 0.0, 4.0, 8.0) if first < t < last), last]
    for row in (1, 2):
        words = ["as it is" if t == 0 else f"{abs(t):g}" for t in ticks]
        _linear(figure, row, ticks, words, (first - 0.4, last + 0.4))
    for x, anchor, words in ((0, "left", "weeks sooner"), (1, "right", "weeks later")):
        figure.add_annotation(
            x=x, y=0, xref="paper", yref="paper", text=words, xanchor=anchor, yanchor="top", yshift=-24,
            showarrow=False, font={"size": NOTE, "color": colours["quiet"]},
        )  # fmt: skip
    _corner(figure, frame, last, "client", colours, currency, right=False)
    _corner(figure, frame, first, "client", colours, currency, right=True)
    return figure


def _corner(
    figure: go.Figure,
    frame: pd.DataFrame,
    weeks: float,
    column: str,
    colours: Colours,
    currency: str,
    right: bool,
) -> None:
    """Write the values at one end of the curve into the empty corner beside it."""
    lines = [f"{weeks_moved(weeks)}:"]
    for label, known in methods_of(frame):
        one = frame[(frame["method"] == label) & (frame["weeks"] == weeks)]
        value = signed_words(float(one[column].iloc[0]), currency)
        lines.append(f"<b style='color:{colours[known.role]}'>{plain(label)} {plain(value)}</b>")
    figure.add_annotation(
        x=1 if right else 0, y=1 if right else 0, xref="x domain", yref="y domain", text="<br>".join(lines),
        xanchor="right" if right else "left", yanchor="top" if right else "bottom",
        align="right" if right else "left", xshift=-4 if right else 6, yshift=-4 if right else 4,
        showarrow=False, bgcolor=colours["ground"], borderpad=2,
    )  # fmt: skip


def weeks_moved(weeks: float) -> str:
    """Return by how much handovers are moved: '12 weeks sooner', 'as it is'."""
    if weeks == 0:
        return "as it is"
    count = f"{abs(weeks):g} week{'' if abs(weeks) == 1 else 's'}"
    return f"{count} {'sooner' if weeks < 0 else 'later'}"


def signed_words(amount: float, currency: str) -> str:
    """Return a sum with its sign, as on a chart."""
    return f"{'+' if amount >= HALF_POUND else ''}{money(amount, currency)}"


def say_week_curve(frame: pd.DataFrame) -> str:
    """Say what both ends of the curve are worth, and whether late costs more than early gains."""
    need(frame, ["method", "role", "weeks", "client", "builder"], "the curve of weeks")
    clauses = []
    first, last = float(frame["weeks"].min()), float(frame["weeks"].max())
    for label, _ in methods_of(frame):
        one = rows_of(frame, method=label).set_index("weeks")
        early, late = one.loc[first], one.loc[last]
        bent = -float(late["client"]) / float(early["client"]) if early["client"] > 0 else 0.0
        steeper = f"; late costs {bent:.1f} times what early gains" if bent >= 1.05 else ""
        clauses.append(
            f"{label}, {weeks_moved(first)} {signed(float(early['client']))} to the client and "
            f"{signed(float(early['builder']))} to the builder, {weeks_moved(last)} "
            f"{signed(float(late['client']))} and {signed(float(late['builder']))}{steeper}"
        )
    return f"Two views, not to be added: {'. '.join(clauses)}."


# -------------------------------------------------------------------------------------- paid ahead


def paid_ahead(frame: pd.DataFrame, colours: Colours, currency: str = "£") -> go.Figure:
    """Draw the money paid to the panel maker for panels not yet fixed, day by day, its peak named.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, date, amount``. [GBP]
    colours : mapping
        Tokens of one mode.
    currency : str

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    need(frame, ["method", "role", "date", "amount"], "money paid ahead")
    scale, unit = scale_of(float(frame["amount"].max()), currency)
    figure, axes = panels([200.0], colours, titles=[f"paid and not yet fixed, {unit}"])
    peaks = []
    for label, known in methods_of(frame):
        one = rows_of(frame, method=label).sort_values("date")
        said = [
            f"{label}, {day(when)}: {money_words(amount, currency)}"
            for when, amount in zip(one["date"], one["amount"], strict=True)
        ]
        figure.add_scatter(
            x=one["date"], y=one["amount"] / scale, mode="lines", line={"width": 0}, fill="tozeroy",
            fillcolor=_faint(colours[known.role]), hoverinfo="skip", **at(1),
        )  # fmt: skip
        draw_line(figure, one["date"], one["amount"] / scale, known, colours, 1, hover=said)
        top = one.iloc[int(one["amount"].to_numpy().argmax())]
        words = f"{money_words(top['amount'], currency)}, {day(top['date'])}"
        peaks.append(Peak(label, known, pd.Timestamp(top["date"]), float(top["amount"]) / scale, words))
    set_axis(figure, axes[0], nticks=5)
    span = pd.Timestamp(frame["date"].min()), pd.Timestamp(frame["date"].max())
    name_peaks(figure, peaks, span, colours, 1)
    return figure


def say_paid_ahead(frame: pd.DataFrame) -> str:
    """Say how much is paid ahead of fixing at most, and when."""
    need(frame, ["method", "role", "date", "amount"], "money paid ahead")
    clauses = []
    for label, _ in methods_of(frame):
        one = rows_of(frame, method=label)
        top = one.iloc[int(one["amount"].to_numpy().argmax())]
        clauses.append(f"{label} {money(float(top['amount']))} on {day(top['date'])}")
    return f"Most money paid for panels not yet fixed: {'; '.join(clauses)}."


# ------------------------------------------------------------------- steps from one profit to the other


def bridge(frame: pd.DataFrame, names: Names, first: float, second: float, column: str = "profit") -> Html:
    """Draw the steps from the first method's profit to the second's, by cause.

    Parameters
    ----------
    frame : DataFrame
        ``cause`` and `column`: what each cause changes; together they are the difference. [GBP]
    names : sequence of Named
    first, second : float
        Profit, or present value, of the two. [GBP]
    column : str

    Raises
    ------
    RangeError
        If the steps do not lead from one to the other.
    """
    need(frame, ["cause", column], "where the difference comes from")
    steps = [float(x) for x in frame[column]]
    if abs(first + sum(steps) - second) > max(1.0, 1e-6 * abs(second)):
        raise RangeError(
            f"The steps come to {sum(steps):,.0f}, but {second - first:,.0f} lie between the two methods. "
            "Give every "
            "cause that differs."
        )
    levels = np.cumsum([first, *steps])
    low, high = float(levels.min()), float(levels.max())
    span = (high - low) or 1.0
    low, span = low - 0.04 * span, 1.08 * span

    def place(value: float) -> float:
        return 100 * (value - low) / span

    posts = "".join(f'<i class="sp-post" style="left:{place(value):.2f}%"></i>' for value in (first, second))

    def end(name: Named, value: float) -> str:
        own = f'<i class="sp-post sp-own" style="left:{place(value):.2f}%"></i>'
        return (
            f'<div class="sp-gauge-row sp-end {_role(name.role)}"><p>{text(name.headed)}</p>'
            f'<div class="sp-gauge"><span class="sp-gauge-way">{posts}{own}</span>'
            f'<span class="sp-gauge-words">{text(money(value))}</span></div></div>'
        )

    body = [end(names[0], first)]
    for cause, before, step in zip(frame["cause"], levels, steps, strict=False):
        better = names[1 if step > 0 else 0]
        left, wide = place(min(before, before + step)), 100 * abs(step) / span
        bar = f'<i class="sp-rule" style="left:{left:.2f}%;width:{max(wide, 0.3):.2f}%"></i>'
        body.append(
            f'<div class="sp-gauge-row"><p>{text(cause_words(str(cause)))}</p><div class="sp-gauge">'
            f'<span class="sp-gauge-way {_role(better.role)}">{posts}{bar}</span>'
            f'<span class="sp-gauge-words">{text(signed(step))}</span></div></div>'
        )
    body.append(end(names[1], second))
    said = say_bridge_steps(frame, names, first, second, column)
    return Html(f'<div class="sp-steps sp-wide" role="group" aria-label="{text(said)}">{"".join(body)}</div>')


def cause_words(cause: str) -> str:
    """Return a cause of a difference as it is headed."""
    known = {
        "paid ahead": "Paid before fixing",
        "construction": "Construction, earlier or later",
        "preliminaries": "Site costs without plant",
        "plant": "Plant on hire",
        "loan terms": "Terms of the loans",
    }
    return known.get(cause, cause[:1].upper() + cause[1:])


def say_bridge_steps(
    frame: pd.DataFrame, names: Names, first: float, second: float, column: str = "profit"
) -> str:
    """Say the steps from one method to the other."""
    what = {"profit": "Profit", "npv": "Net present value"}.get(column, column)
    told = [
        f"{cause_words(str(c))} {signed(float(x))}"
        for c, x in zip(frame["cause"], frame[column], strict=True)
    ]
    return (
        f"{what} {money(first)} with {names[0].plainly}; {'; '.join(told)}; {money(second)} with "
        f"{names[1].plainly}."
    )


# ---------------------------------------------------------------------- held against what is published


def against_published(frame: pd.DataFrame, names: Names) -> Html:
    """Draw each figure of the methods on its published range.

    Parameters
    ----------
    frame : DataFrame
        ``method, figure, ours, low, high, unit``, and perhaps ``typical``. Each has a scale of its own.
    names : sequence of Named
    """
    need(frame, ["method", "figure", "ours", "low", "high", "unit"], "published figures")
    rows = []
    for figure in dict.fromkeys(frame["figure"]):
        one = frame[frame["figure"] == figure]
        low, high, unit = float(one["low"].iloc[0]), float(one["high"].iloc[0]), str(one["unit"].iloc[0])
        ours = {name: _by(one, name, "figure", "ours").get(figure) for name in names}
        known = [value for value in ours.values() if value is not None]
        least, most = min([low, *known]), max([high, *known])
        room = 0.15 * ((most - least) or abs(most) or 1.0)
        least, most = (max(least - room, 0.0) if least >= 0 else least - room), most + room

        def place(value: float, least: float = least, most: float = most) -> str:
            return f"{100 * (value - least) / (most - least):.2f}%"

        typical = one["typical"].iloc[0] if "typical" in one.columns else None
        tick = (
            f'<i class="sp-range-typical" style="left:{place(float(typical))}"></i>' if _is(typical) else ""
        )
        deep = 100 / len(ours)
        marks = "".join(
            f'<i class="sp-range-mark {_role(name.role)}" '
            f'style="left:{place(value)};top:{deep * n:.1f}%;height:{deep:.1f}%"></i>'
            for n, (name, value) in enumerate(ours.items())
            if value is not None
        )
        wide = f"calc({place(high)} - {place(low)})"
        said = " · ".join(
            f'<span class="{_role(name.role)}"><b>{text(unit_value(value, unit))}</b></span> '
            f"{_lies(value, low, high)}"
            for name, value in ours.items()
            if value is not None
        )
        rows.append(
            f'<div class="sp-range"><p>{text(figure)}<small>published {text(range_words(low, high, unit))}'
            "</small></p>"
            f'<span class="sp-range-way" aria-hidden="true"><i class="sp-range-band" '
            f'style="left:{place(low)};width:{wide}"></i>{tick}{marks}</span>'
            f'<span class="sp-range-words">{said}</span></div>'
        )
    return Html(f'<div class="sp-ranges">{"".join(rows)}</div>')


def _is(value: Any) -> bool:
    return value is not None and value == value


def _lies(value: float, low: float, high: float) -> str:
    return "below" if value < low * (1 - 1e-9) else "above" if value > high * (1 + 1e-9) else "inside"


def range_words(low: float, high: float, unit: str) -> str:
    """Return a range with its unit as it is read: '£1,500 to £2,400 a m²'."""
    ends = [f"{x:,.4g}" if abs(x) < 1000 else f"{x:,.0f}" for x in (low, high)]
    if unit.startswith("GBP"):
        return f"£{ends[0]} to £{ends[1]}{_per(unit)}"
    return f"{ends[0]} to {ends[1]} {unit}".strip()


def _per(unit: str) -> str:
    return unit.removeprefix("GBP").replace("/", " a ").replace("m2", "m²")


def unit_value(value: float, unit: str) -> str:
    """Return a figure with its unit as it is read."""
    size = abs(value)
    number = f"{size:,.2g}" if size < 1 else f"{size:,.1f}" if size < 100 else f"{size:,.0f}"
    sign = "−" if value < 0 else ""
    if unit.startswith("GBP"):
        return f"{sign}£{number.removesuffix('.0')}{_per(unit)}"
    return f"{sign}{number} {unit}".strip()


def say_published(frame: pd.DataFrame, names: Names) -> str:
    """Say how many of each method's figures lie within what is published."""
    need(frame, ["method", "figure", "ours", "low", "high"], "published figures")
    clauses = []
    for name in names:
        one = frame[frame["method"] == name.label]
        lies = [_lies(a, b, c) for a, b, c in zip(one["ours"], one["low"], one["high"], strict=True)]
        outside = [
            f"{figure} ({where})"
            for figure, where in zip(one["figure"], lies, strict=True)
            if where != "inside"
        ]
        tail = f"; outside: {listed(outside)}" if outside else ""
        clauses.append(f"{name.label} {lies.count('inside')} of {len(lies)}{tail}")
    return f"Within the published range: {'. '.join(clauses)}."


def spend_curve(
    frame: pd.DataFrame, published: pd.DataFrame, colours: Colours, band: float = 0.10
) -> go.Figure:
    """Draw the share of the money spent against the share of the time gone, over two published curves.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, time, share``, both 0 to 1.
    published : DataFrame
        ``curve, time, share``; every curve at the same times.
    colours : mapping
        Tokens of one mode.
    band : float
        How far a curve may lie from the published ones without a word about it. [-]

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    need(frame, ["method", "role", "time", "share"], "the curve of spend")
    need(published, ["curve", "time", "share"], "the published curves of spend")
    figure, axes = panels([300.0], colours, titles=["share of the money spent, %"])
    each = published.pivot_table(index="time", columns="curve", values="share", sort=False).sort_index()
    low = np.clip(each.min(axis=1) - band, 0.0, 1.0) * 100
    high = np.clip(each.max(axis=1) + band, 0.0, 1.0) * 100
    time = 100 * each.index.to_numpy()
    figure.add_scatter(
        x=[*time, *time[::-1]], y=[*high, *low[::-1]], mode="lines", line={"width": 0}, fill="toself",
        fillcolor=_faint(colours["ink"], 0.1), hoverinfo="skip", **at(1),
    )  # fmt: skip
    for number, name in enumerate(each.columns):
        dash = ("solid", "5px,3px", "1px,3px")[number % 3]
        figure.add_scatter(
            x=time, y=100 * each[name], mode="lines", hoverinfo="text",
            line={"color": colours["quiet"], "width": 1.25, "dash": dash},
            hovertext=[f"{plain(str(name))}: {100 * y:.0f} % after {x:.0f} % of the time"
                       for x, y in zip(time, each[name], strict=True)], **at(1),
        )  # fmt: skip
    for label, known in methods_of(frame):
        one = rows_of(frame, method=label).sort_values("time")
        said = [
            f"{label}: {100 * share:.0f} % after {100 * gone:.0f} % of the time"
            for gone, share in zip(one["time"], one["share"], strict=True)
        ]
        draw_line(figure, 100 * one["time"], 100 * one["share"], _finer(known), colours, 1, hover=said)
    ticks = [0.0, 25.0, 50.0, 75.0, 100.0]
    _linear(figure, 1, ticks, [f"{t:g} %" for t in ticks], (-1.0, 101.0))
    set_axis(figure, axes[0], range=[0, 103], tickvals=ticks)
    key = " · ".join(
        f"{('full', 'dashed', 'dotted')[number % 3]}: {plain(str(name))}"
        for number, name in enumerate(each.columns)
    )
    figure.add_annotation(
        text=f"{key}<br>tint: {band:g} either side", x=1, y=0, xref="x domain", yref="y domain",
        xanchor="right", yanchor="bottom", align="right", xshift=-4, yshift=6, showarrow=False,
        bgcolor=colours["ground"],
        font={"size": NOTE, "color": colours["quiet"]},
    )  # fmt: skip
    say_scale(figure, "against share of the time", colours)
    return figure


def say_spend_curve(frame: pd.DataFrame, published: pd.DataFrame, band: float = 0.10) -> str:
    """Say how much each method has spent half way, and where it leaves the band, if it does."""
    need(frame, ["method", "role", "time", "share"], "the curve of spend")
    each = published.pivot_table(index="time", columns="curve", values="share", sort=False).sort_index()
    low, high = each.min(axis=1) - band, each.max(axis=1) + band
    clauses = []
    for label, _ in methods_of(frame):
        one = rows_of(frame, method=label).sort_values("time")
        half = float(np.interp(0.5, one["time"], one["share"]))
        ours = np.interp(each.index.to_numpy(), one["time"], one["share"])
        over, under = float((ours - high).max()), float((low - ours).max())
        where = "within the band throughout"
        if max(over, under) > 1e-9:
            away = (ours - high) if over >= under else (low - ours)
            when = 100 * float(each.index[int(np.argmax(away))])
            where = (
                f"{'above' if over >= under else 'below'} the band, furthest after {when:.0f} % of the time"
            )
        clauses.append(f"{label} has spent {100 * half:.0f} % half way and is {where}")
    return f"{'; '.join(clauses)}."


# ------------------------------------------------------------------------------- what must be true


def break_evens(frame: pd.DataFrame, name: Named) -> Html:
    """Draw by how much each figure would have to change for the methods to come out even, nearest first.

    Parameters
    ----------
    frame : DataFrame
        ``label, now, needed``; needed is None where no value would do.
    name : Named
        Whose colour the bars have.
    """
    need(frame, ["label", "now", "needed"], "what would have to be true")
    rows = sorted(_shares(frame), key=lambda row: abs(row[1]))
    if not rows:
        return Html('<p class="sp-note">No value of any one of them would do.</p>')
    bars = gauges([(label, [(name, share)]) for label, share in rows], _per_cent)
    said = "Change it would take, per cent of what is now; what is 0 now stands in the table only."
    return Html(f'<div class="sp-wide"><p class="sp-bars-unit">{said}</p>{bars}</div>')


def _per_cent(change: float) -> str:
    return f"{change:+,.0f} %".replace("-", "−")


def _shares(frame: pd.DataFrame) -> list[tuple[str, float]]:
    """Return the change needed of each figure that has one, over what it is now. [%]"""
    return [
        (str(row["label"]), 100 * (float(row["needed"]) - float(row["now"])) / abs(float(row["now"])))
        for row in frame.to_dict("records")
        if _is(row["needed"]) and _is(row["now"]) and float(row["now"])
    ]


# ------------------------------------------------------------------------------------------- strokes


def _by(frame: pd.DataFrame, name: Named, key: str, value: str) -> dict[str, float]:
    """Return the sums of one method by a column, in order."""
    mine = frame[frame["method"] == name.label]
    found: dict[str, float] = {}
    for word, amount in zip(mine[key], mine[value], strict=True):
        found[str(word)] = found.get(str(word), 0.0) + float(amount)
    return found


def _role(role: str) -> str:
    known = mark(role)
    return f"sp-m-{known.role.replace('_', '-')} sp-r-{known.rule.replace('_', '-')}"


def _finer(known: Mark) -> Mark:
    return Mark(known.role, known.rule, known.dash, known.width * 0.8, known.hollow)


def _nested(known: Mark) -> Mark:
    """Return a mark whose plain line fits within a double one: the curves often lie on each other."""
    width = known.width * 1.3 if known.hollow else known.width * 0.6
    return Mark(known.role, known.rule, known.dash, width, known.hollow)


def _faint(colour: str, share: float = 0.14) -> str:
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    return f"rgba({red},{green},{blue},{share:g})"


def _nought(figure: go.Figure, row: int, colours: Colours) -> None:
    """Draw a line at nothing gained and nothing lost."""
    suffix = "" if row == 1 else str(row)
    figure.add_shape(
        type="line", x0=0, x1=1, xref=f"x{suffix} domain", y0=0, y1=0, yref=f"y{suffix}",
        line={"color": mix(colours["ink"], colours["ground"], 0.6), "width": 1}, layer="below",
    )  # fmt: skip


def _linear(
    figure: go.Figure, row: int, ticks: Sequence[float], words: Sequence[str], span: tuple[float, float]
) -> None:
    """Make the horizontal axis of a panel one of plain numbers."""
    suffix = "" if row == 1 else str(row)
    set_axis(
        figure, f"xaxis{suffix}", type="linear", tickvals=list(ticks), ticktext=list(words), tickformat="",
        range=list(span),
    )  # fmt: skip
