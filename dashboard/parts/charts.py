"""Charts: how do the methods compare over time, week by week and month by month?

Each function takes a plain frame and the colours of one mode, and returns a figure; beside each stands a
function that says the same in one sentence. Nothing here knows Streamlit or the model. A method is told by
its colour and its rule; lines are labelled where they end or peak, so that no legend has to be read.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.parts.marks import Mark
from dashboard.parts.strokes import (
    Colours,
    Peak,
    at,
    day,
    draw_bars,
    draw_line,
    draw_steps,
    draw_zero,
    in_order,
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
    step_points,
)
from dashboard.parts.theme import mix
from model.core.errors import RangeError

CONFIG: dict[str, Any] = {
    "displayModeBar": False,
    "displaylogo": False,
    "scrollZoom": False,
    "responsive": True,
}
"""Configuration for every chart on the page: no toolbar, and the page scrolls under a finger."""


# ------------------------------------------------------------------------------------ week by week


def loads_by_week(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw the lorry loads by week, with each method's peak named.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, week, loads``; a week is the date of its first day.
    colours : mapping
        Tokens of one mode.

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    return _weekly(frame, "loads", "loads", colours)


def say_loads(frame: pd.DataFrame) -> str:
    """Say in one sentence how many loads each method has in its busiest week and in all."""
    return _say_weekly(frame, "loads", "Lorry loads by week", "{:,.0f} loads", total="{:,.0f} in all")


def hook_hours(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw the hook hours used by week, one panel for each crane, under the hours there are.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, crane, week, used, available``. [h a week]
    colours : mapping
        Tokens of one mode.

    Returns
    -------
    Figure
        Hours used by each method in its colour and rule; hours available as a fine line in the same colour.

    Raises
    ------
    RangeError
        If a column is missing, there is no row, or more hours are used than there are.
    """
    need(frame, ["method", "role", "crane", "week", "used", "available"], "hook hours")
    over = frame[frame["used"] > frame["available"] + 1e-6]
    if len(over):
        first = over.iloc[0]
        raise RangeError(
            f"Crane {first['crane']!r} uses {first['used']:g} hook hours in the week of "
            f"{day(first['week'])}, but has {first['available']:g}. Hours used cannot be above hours "
            "available: check the frame."
        )
    cranes = in_order(frame["crane"])
    figure, axes = panels([170.0] * len(cranes), colours, titles=cranes)
    most = float(frame["available"].max())
    for row, crane in enumerate(cranes, start=1):
        for label, known in methods_of(frame):
            one = rows_of(frame, crane=crane, method=label).sort_values("week")
            if not len(one):
                continue
            there = step_points(one["week"], one["available"])
            limit = {"color": mix(colours[known.role], colours["ground"], 0.7), "width": 1, "dash": "2px,3px"}
            limit["shape"] = "hv"
            figure.add_scatter(x=there[0], y=there[1], mode="lines", line=limit, hoverinfo="skip", **at(row))
            shares = [
                f"{label}, week of {day(week)}: {used:,.0f} h of {there:,.0f} h"
                for week, used, there in zip(one["week"], one["used"], one["available"], strict=True)
            ]
            draw_steps(figure, one["week"], one["used"], known, colours, row, hover=shares)
        set_axis(figure, axes[row - 1], range=[0, most * 1.12], nticks=4)
    say_scale(figure, "hook hours a week; fine line: hours there are", colours)
    return figure


def say_hook_hours(frame: pd.DataFrame) -> str:
    """Say in one sentence how many hook hours each method uses and how full its busiest week is."""
    need(frame, ["method", "role", "crane", "week", "used", "available"], "hook hours")
    clauses = []
    for label, _ in methods_of(frame):
        one = rows_of(frame, method=label)
        open_weeks = one[one["available"] > 0]
        share = 100 * (open_weeks["used"] / open_weeks["available"]).max() if len(open_weeks) else 0.0
        clauses.append(
            f"{label} {one['used'].sum():,.0f} h, {share:.0f} % of the hours there are in its fullest week"
        )
    return f"Hook hours by week and crane: {'; '.join(clauses)}."


# ------------------------------------------------------------------------------------ month by month


def cash(frame: pd.DataFrame, colours: Colours, money: str = "£") -> go.Figure:
    """Draw the debt of each method by month, below it equity's own account, then receipts and costs.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, month_end, cost, receipts, debt``, all positive; ``mezzanine``, part of the debt, and
        ``equity``, had back less put in, where they are to be drawn. [currency]
    colours : mapping
        Tokens of one mode.
    money : str
        Sign of the currency.

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    need(frame, ["method", "role", "month_end", "cost", "receipts", "debt"], "cash flow")
    owed, own = bool((frame["debt"] > 0.5).any()), "equity" in frame.columns
    sums = ["cost", "receipts", "debt", *(["equity"] if own else [])]
    scale, unit = scale_of(frame[sums].abs().to_numpy().max(), money)
    drawn = {
        "debt": (230.0, f"debt, {unit}", owed or not own),
        "equity": (190.0, f"equity: put in below the line, had back above it, {unit}", own),
        "flows": (190.0, f"receipts above, costs below, {unit}", True),
    }
    shown = {name: (height, title) for name, (height, title, there) in drawn.items() if there}
    row_of = {name: row for row, name in enumerate(shown, start=1)}
    figure, axes = panels(
        [height for height, _ in shown.values()], colours, titles=[title for _, title in shown.values()]
    )
    peaks = []
    for label, known in methods_of(frame):
        one = rows_of(frame, method=label).sort_values("month_end")
        if "debt" in shown:
            peaks.append(_debt(figure, one, label, known, colours, scale, money))
        if own:
            _equity(figure, one, label, known, colours, (scale, row_of["equity"]), money)
        for column, sign, what in (("receipts", 1, "receipts"), ("cost", -1, "costs")):
            hover = [
                f"{label}, {day(m)}: {what} {money_words(v, money)}"
                for m, v in zip(one["month_end"], one[column], strict=True)
            ]
            bars = sign * one[column] / scale
            draw_bars(figure, one["month_end"], bars, known, colours, row_of["flows"], hover)
    figure.update_layout(barmode="group", bargap=0.25, bargroupgap=0.1)
    for axis in axes:
        set_axis(figure, axis, nticks=5)
    if "debt" in shown:
        name_peaks(figure, peaks, _span(frame["month_end"]), colours, 1)
    draw_zero(figure, row_of["flows"], colours)
    if own:
        draw_zero(figure, row_of["equity"], colours)
        set_axis(figure, axes[row_of["equity"] - 1], rangemode="tozero")
    if has_mezzanine(frame):
        say_scale(figure, "fine line: the mezzanine's part", colours)
    first, end = _span(frame["month_end"])
    set_axis(figure, "xaxis", range=[first - pd.Timedelta(days=20), end + pd.Timedelta(days=20)])
    return figure


def has_mezzanine(frame: pd.DataFrame) -> bool:
    """Say whether a second loan is drawn in a cash flow."""
    return "mezzanine" in frame.columns and bool((frame["mezzanine"] > 0.5).any())


def _debt(
    figure: go.Figure,
    one: pd.DataFrame,
    label: str,
    known: Mark,
    colours: Colours,
    scale: float,
    money: str,
) -> Peak:
    """Draw the debt of one method, the mezzanine's part of it as a fine line; return its peak."""
    months = list(zip(one["month_end"], one["debt"], strict=True))
    said = [f"{label}, {day(month)}: debt {money_words(debt, money)}" for month, debt in months]
    draw_line(figure, one["month_end"], one["debt"] / scale, known, colours, 1, hover=said)
    if has_mezzanine(one):
        part = [
            f"{plain(label)}, {day(m)}: mezzanine {money_words(d, money)}"
            for m, d in zip(one["month_end"], one["mezzanine"], strict=True)
        ]
        figure.add_scatter(
            x=one["month_end"], y=one["mezzanine"] / scale, mode="lines", hovertext=part, hoverinfo="text",
            line={"color": colours[known.role], "width": 1, "dash": "2px,2px"}, **at(1),
        )  # fmt: skip
    peak = one.iloc[int(one["debt"].to_numpy().argmax())]
    words = money_words(peak["debt"], money)
    return Peak(label, known, pd.Timestamp(peak["month_end"]), float(peak["debt"] / scale), words)


def _equity(
    figure: go.Figure,
    one: pd.DataFrame,
    label: str,
    known: Mark,
    colours: Colours,
    place: tuple[float, int],
    money: str,
) -> None:
    """Draw what equity has had back less what it has put in, by scale and in the row of `place`."""
    scale, row = place
    said = [
        f"{label}, {day(m)}: equity {'has had' if e >= 0 else 'has in it'} {money_words(abs(e), money)}"
        f"{' more than it put in' if e >= 0 else ''}"
        for m, e in zip(one["month_end"], one["equity"], strict=True)
    ]
    draw_line(figure, one["month_end"], one["equity"] / scale, known, colours, row, hover=said)


def say_cash(frame: pd.DataFrame, money: str = "£") -> str:
    """Say in one sentence how high each method's debt goes, when, and when it is paid off."""
    need(frame, ["method", "role", "month_end", "debt"], "cash flow")
    clauses = []
    for label, _ in methods_of(frame):
        one = rows_of(frame, method=label).sort_values("month_end")
        peak = one.iloc[int(one["debt"].to_numpy().argmax())]
        if peak["debt"] <= 0.005:
            clauses.append(f"{label} draws no loan")
            continue
        later = one[(one["month_end"] > peak["month_end"]) & (one["debt"] <= 0.005)]
        end = f"paid off by {day(later['month_end'].iloc[0])}" if len(later) else "not paid off in this span"
        clauses.append(
            f"{label} at most {money_words(peak['debt'], money)} on {day(peak['month_end'])}, {end}"
        )
    return f"Debt by month: {'; '.join(clauses)}.{_say_equity(frame, money)}"


def _say_equity(frame: pd.DataFrame, money: str) -> str:
    """Say how much equity is in the development at most, and what it ends with."""
    if "equity" not in frame.columns:
        return ""
    clauses = []
    for label, _ in methods_of(frame):
        one = rows_of(frame, method=label).sort_values("month_end")
        low = one.iloc[int(one["equity"].to_numpy().argmin())]
        end = float(one["equity"].iloc[-1])
        clauses.append(
            f"{label} at most {money_words(max(-low['equity'], 0.0), money)} in it, by "
            f"{day(low['month_end'])}, "
            f"{money_words(abs(end), money)} {'more had back than put in' if end >= 0 else 'not had back'} "
            "at the end"
        )
    return f" Equity: {'; '.join(clauses)}."


# ------------------------------------------------------------------------------------------ frames


def _weekly(frame: pd.DataFrame, column: str, unit: str, colours: Colours) -> go.Figure:
    need(frame, ["method", "role", "week", column], f"{unit} by week")
    figure, axes = panels([260.0], colours, titles=[f"{unit} by week"])
    peaks = []
    for label, known in methods_of(frame):
        one = rows_of(frame, method=label).sort_values("week")
        said = [
            f"{label}, week of {day(week)}: {value:,.0f} {unit}"
            for week, value in zip(one["week"], one[column], strict=True)
        ]
        draw_steps(figure, one["week"], one[column], known, colours, 1, hover=said)
        peak = one.iloc[int(one[column].to_numpy().argmax())]
        middle = pd.Timestamp(peak["week"]) + pd.Timedelta(days=3.5)
        peaks.append(Peak(label, known, middle, float(peak[column]), f"{peak[column]:,.0f}"))
    set_axis(figure, axes[0], nticks=5)
    name_peaks(figure, peaks, _span(frame["week"]), colours, 1)
    return figure


def _say_weekly(frame: pd.DataFrame, column: str, title: str, value: str, total: str = "") -> str:
    need(frame, ["method", "role", "week", column], title)
    clauses = []
    for label, _ in methods_of(frame):
        one = rows_of(frame, method=label)
        peak = one.iloc[int(one[column].to_numpy().argmax())]
        clause = f"{label} at most {value.format(peak[column])} in the week of {day(peak['week'])}"
        clauses.append(f"{clause}, {total.format(one[column].sum())}" if total else clause)
    return f"{title}: {'; '.join(clauses)}."


def _span(when: pd.Series) -> tuple[pd.Timestamp, pd.Timestamp]:
    return pd.Timestamp(when.min()), pd.Timestamp(when.max())
