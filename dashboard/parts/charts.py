"""Charts: how do the methods compare over time, week by week and month by month?

Each function takes a plain frame and the colours of one mode, and returns a figure; beside each stands a
function that says the same in one sentence. Nothing here knows Streamlit or the model. A method is told by
its colour and its rule; lines are labelled where they end or peak, so that no legend has to be read.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

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
    """Draw the debt of each method by month, and below it receipts upward and costs downward.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, month_end, cost, receipts, debt``; all amounts positive. [currency]
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
    scale, unit = scale_of(frame[["cost", "receipts", "debt"]].to_numpy().max(), money)
    figure, axes = panels(
        [230.0, 190.0], colours, titles=[f"debt, {unit}", f"receipts above, costs below, {unit}"]
    )
    peaks = []
    for label, known in methods_of(frame):
        one = rows_of(frame, method=label).sort_values("month_end")
        debt = one["debt"] / scale
        said = [
            f"{label}, {day(m)}: debt {money_words(d, money)}"
            for m, d in zip(one["month_end"], one["debt"], strict=True)
        ]
        draw_line(figure, one["month_end"], debt, known, colours, 1, hover=said)
        peak = one.iloc[int(one["debt"].to_numpy().argmax())]
        words = money_words(peak["debt"], money)
        peaks.append(Peak(label, known, pd.Timestamp(peak["month_end"]), float(peak["debt"] / scale), words))
        for column, sign, what in (("receipts", 1, "receipts"), ("cost", -1, "costs")):
            hover = [
                f"{label}, {day(m)}: {what} {money_words(v, money)}"
                for m, v in zip(one["month_end"], one[column], strict=True)
            ]
            draw_bars(figure, one["month_end"], sign * one[column] / scale, known, colours, 2, hover)
    figure.update_layout(barmode="group", bargap=0.25, bargroupgap=0.1)
    set_axis(figure, axes[0], nticks=5)
    set_axis(figure, axes[1], nticks=5)
    name_peaks(figure, peaks, _span(frame["month_end"]), colours, 1)
    draw_zero(figure, 2, colours)
    first, last = _span(frame["month_end"])
    set_axis(figure, "xaxis", range=[first - pd.Timedelta(days=20), last + pd.Timedelta(days=20)])
    return figure


def say_cash(frame: pd.DataFrame, money: str = "£") -> str:
    """Say in one sentence how high each method's debt goes, when, and when it is paid off."""
    need(frame, ["method", "role", "month_end", "debt"], "cash flow")
    clauses = []
    for label, _ in methods_of(frame):
        one = rows_of(frame, method=label).sort_values("month_end")
        peak = one.iloc[int(one["debt"].to_numpy().argmax())]
        later = one[(one["month_end"] > peak["month_end"]) & (one["debt"] <= 0.005)]
        end = f"paid off by {day(later['month_end'].iloc[0])}" if len(later) else "not paid off in this span"
        clauses.append(
            f"{label} at most {money_words(peak['debt'], money)} on {day(peak['month_end'])}, {end}"
        )
    return f"Debt by month: {'; '.join(clauses)}."


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
