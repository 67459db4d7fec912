"""Charts: how do the methods compare over time, storey by storey, week by week and month by month?

Each function takes a plain frame and the colours of one mode, and returns a figure; beside each stands a
function that says the same in one sentence. Nothing here knows Streamlit or the model. A method is told by
its colour and its rule; lines are labelled where they end or peak, so that no legend has to be read.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.parts.marks import Mark, mark
from dashboard.parts.theme import FONT_STACK, mix
from model.core.errors import RangeError

Colours = Mapping[str, str]

CONFIG: dict[str, Any] = {"displayModeBar": False, "displaylogo": False, "scrollZoom": False, "responsive": True}
"""Configuration for every chart on the page: no toolbar, and the page scrolls under a finger."""

_LEFT, _RIGHT, _TOP, _BOTTOM = 44, 14, 30, 30
_TEXT, _NOTE = 13, 12


# ------------------------------------------------------------------------------ storeys against time


def storeys_against_time(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw the line of balance: one panel for each block, all methods over each other.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, block, storey, stage, start, finish``: one row for each storey and stage; storeys
        counted from 1, start and finish as dates.
    colours : mapping
        Tokens of one mode, as `dashboard.parts.theme.tokens`.

    Returns
    -------
    Figure
        A stage climbs from the floor of its first storey to the ceiling of its last; a level stretch is a
        wait between storeys. Stages are named at the head of the first method's lines and at the foot of
        the second's.

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    _need(frame, ["method", "role", "block", "storey", "stage", "start", "finish"], "storeys against time")
    blocks = _in_order(frame["block"])
    heights = [52 + 7.5 * max(6, int(_rows(frame, block=block)["storey"].max())) for block in blocks]
    figure, axes = _panels(heights, colours, titles=blocks)
    methods = _methods(frame)
    for row, block in enumerate(blocks, start=1):
        for place, (label, known) in enumerate(methods):
            one = _rows(frame, block=block, method=label)
            for stage in _in_order(one["stage"]):
                x, y, said = _climb(one[one["stage"] == stage])
                _line(figure, x, y, known, colours, row, hover=[f"{label}, {stage}: {words}" for words in said])
                _name_stage(figure, x, y, stage, place, colours[known.role], row)
        top = int(_rows(frame, block=block)["storey"].max())
        _axis(figure, axes[row - 1], row, range=[-_head(top), top + _head(top)], tickvals=_storey_ticks(top))
    _label_y(figure, "storey", colours)
    return figure


def say_storeys(frame: pd.DataFrame) -> str:
    """Say in one sentence when each method ends its last stage on each block."""
    _need(frame, ["method", "role", "block", "stage", "finish"], "storeys against time")
    clauses = []
    for block in _in_order(frame["block"]):
        ends = [
            f"{label} on {_day(rows['finish'].max())}"
            for label, _ in _methods(frame)
            if len(rows := _rows(frame, block=block, method=label))
        ]
        clauses.append(f"{block}: {_listed(ends)}")
    stages = _listed(_in_order(frame["stage"]))
    return f"Storeys against time for {stages}. Last storey done, {'; '.join(clauses)}."


# ------------------------------------------------------------------------------------ week by week


def people_by_week(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw the operatives on site by week, with each method's peak named.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, week, operatives``; a week is the date of its first day.
    colours : mapping
        Tokens of one mode.

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    return _weekly(frame, "operatives", "operatives", colours)


def say_people(frame: pd.DataFrame) -> str:
    """Say in one sentence how many operatives each method has at its peak, and when."""
    return _say_weekly(frame, "operatives", "Operatives on site by week", "{:,.0f} operatives")


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
    _need(frame, ["method", "role", "crane", "week", "used", "available"], "hook hours")
    over = frame[frame["used"] > frame["available"] + 1e-6]
    if len(over):
        first = over.iloc[0]
        raise RangeError(
            f"Crane {first['crane']!r} uses {first['used']:g} hook hours in the week of {_day(first['week'])}, "
            f"but has {first['available']:g}. Hours used cannot be above hours available: check the frame."
        )
    cranes = _in_order(frame["crane"])
    figure, axes = _panels([170.0] * len(cranes), colours, titles=cranes)
    most = float(frame["available"].max())
    for row, crane in enumerate(cranes, start=1):
        for label, known in _methods(frame):
            one = _rows(frame, crane=crane, method=label).sort_values("week")
            if not len(one):
                continue
            there = _steps(one["week"], one["available"])
            limit = dict(color=mix(colours[known.role], colours["ground"], 0.55), width=1, dash="1px,3px", shape="hv")
            figure.add_scatter(
                x=there[0], y=there[1], mode="lines", line=limit, hoverinfo="skip", **_at(row)
            )
            shares = [
                f"{label}, week of {_day(week)}: {used:,.0f} h of {there:,.0f} h"
                for week, used, there in zip(one["week"], one["used"], one["available"], strict=True)
            ]
            _stepped(figure, one["week"], one["used"], known, colours, row, hover=shares)
        _axis(figure, axes[row - 1], row, range=[0, most * 1.18], nticks=4)
    _label_y(figure, "hook hours a week; fine line: hours there are", colours)
    return figure


def say_hook_hours(frame: pd.DataFrame) -> str:
    """Say in one sentence how many hook hours each method uses and how full its busiest week is."""
    _need(frame, ["method", "role", "crane", "week", "used", "available"], "hook hours")
    clauses = []
    for label, _ in _methods(frame):
        one = _rows(frame, method=label)
        open_weeks = one[one["available"] > 0]
        share = 100 * (open_weeks["used"] / open_weeks["available"]).max() if len(open_weeks) else 0.0
        clauses.append(f"{label} {one['used'].sum():,.0f} h, {share:.0f} % of the hours there are in its fullest week")
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
    _need(frame, ["method", "role", "month_end", "cost", "receipts", "debt"], "cash flow")
    scale, unit = _scale(frame[["cost", "receipts", "debt"]].to_numpy().max(), money)
    figure, axes = _panels([230.0, 190.0], colours, titles=[f"debt, {unit}", f"receipts above, costs below, {unit}"])
    methods = _methods(frame)
    for place, (label, known) in enumerate(methods):
        one = _rows(frame, method=label).sort_values("month_end")
        debt = one["debt"] / scale
        said = [f"{label}, {_day(m)}: debt {_money(d, money)}" for m, d in zip(one["month_end"], one["debt"], strict=True)]
        _line(figure, one["month_end"], debt, known, colours, 1, hover=said)
        peak = one.loc[one["debt"].idxmax()]
        words = f"{label}: {_money(peak['debt'], money)}"
        _flag(figure, peak["month_end"], peak["debt"] / scale, words, colours[known.role], 1, place, len(methods))
        for column, sign, what in (("receipts", 1, "receipts"), ("cost", -1, "costs")):
            hover = [
                f"{label}, {_day(m)}: {what} {_money(v, money)}"
                for m, v in zip(one["month_end"], one[column], strict=True)
            ]
            _bars(figure, one["month_end"], sign * one[column] / scale, known, colours, 2, hover)
    figure.update_layout(barmode="group", bargap=0.25, bargroupgap=0.1)
    _axis(figure, axes[0], 1, rangemode="tozero", nticks=5)
    _axis(figure, axes[1], 2, nticks=5)
    _zero(figure, 2, colours)
    return figure


def say_cash(frame: pd.DataFrame, money: str = "£") -> str:
    """Say in one sentence how high each method's debt goes, when, and when it is paid off."""
    _need(frame, ["method", "role", "month_end", "debt"], "cash flow")
    clauses = []
    for label, _ in _methods(frame):
        one = _rows(frame, method=label).sort_values("month_end")
        peak = one.loc[one["debt"].idxmax()]
        later = one[(one["month_end"] > peak["month_end"]) & (one["debt"] <= 0.005)]
        end = f"paid off by {_day(later['month_end'].iloc[0])}" if len(later) else "not paid off in this span"
        clauses.append(f"{label} at most {_money(peak['debt'], money)} on {_day(peak['month_end'])}, {end}")
    return f"Debt by month: {'; '.join(clauses)}."


# ------------------------------------------------------------------------------------------ frames


def _need(frame: pd.DataFrame, columns: Sequence[str], chart: str) -> None:
    missing = [column for column in columns if column not in frame.columns]
    if missing:
        raise RangeError(
            f"The frame for {chart} lacks {', '.join(missing)}. It needs the columns {', '.join(columns)}."
        )
    if not len(frame):
        raise RangeError(f"The frame for {chart} has no row. Give one or more, or leave the chart out.")


def _methods(frame: pd.DataFrame) -> list[tuple[str, Mark]]:
    pairs = frame[["method", "role"]].drop_duplicates()
    return [(str(label), mark(role)) for label, role in pairs.itertuples(index=False)]


def _rows(frame: pd.DataFrame, **wanted: str) -> pd.DataFrame:
    for column, value in wanted.items():
        frame = frame[frame[column] == value]
    return frame


def _in_order(column: pd.Series) -> list[str]:
    return list(dict.fromkeys(column))


def _climb(stage: pd.DataFrame) -> tuple[list[Any], list[float], list[str]]:
    """Points of one stage's climb, from floor to ceiling of each storey, and what to say at each."""
    x: list[Any] = []
    y: list[float] = []
    said: list[str] = []
    for storey, start, finish in stage.sort_values("storey")[["storey", "start", "finish"]].itertuples(index=False):
        x += [start, finish]
        y += [storey - 1, storey]
        said += [f"storey {storey}, {_day(start)} to {_day(finish)}"] * 2
    return x, y, said


def _steps(weeks: pd.Series, values: pd.Series) -> tuple[list[Any], list[float]]:
    """Weeks and values with the end of the last week, so that it is drawn as wide as the others."""
    return [*weeks, weeks.iloc[-1] + pd.Timedelta(days=7)], [*values, values.iloc[-1]]


# --------------------------------------------------------------------------------------- drawing


def _panels(heights: Sequence[float], colours: Colours, titles: Sequence[str]) -> tuple[go.Figure, list[str]]:
    """Return an empty figure of panels one under another on one time axis, and the names of their y axes."""
    gap = 40.0
    tall = sum(heights) + gap * (len(heights) - 1)
    figure = go.Figure()
    quiet, hairline = colours["quiet"], colours["hairline"]
    figure.update_layout(
        template=go.layout.Template(),
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": FONT_STACK, "size": _TEXT, "color": colours["ink"]},
        margin={"l": _LEFT, "r": _RIGHT, "t": _TOP, "b": _BOTTOM},
        height=round(tall + _TOP + _BOTTOM),
        showlegend=False,
        dragmode=False,
        hovermode="closest",
        hoverlabel={
            "bgcolor": colours["ground"],
            "bordercolor": colours["ink"],
            "font": {"family": FONT_STACK, "size": _TEXT, "color": colours["ink"]},
            "align": "left",
        },
    )
    names = []
    top = 1.0
    for row, height in enumerate(heights, start=1):
        bottom = max(0.0, top - height / tall)
        suffix = "" if row == 1 else str(row)
        names.append(f"yaxis{suffix}")
        figure.update_layout(
            {
                f"yaxis{suffix}": {
                    "domain": [bottom, top],
                    "anchor": f"x{suffix}",
                    "gridcolor": hairline,
                    "gridwidth": 1,
                    "griddash": "1px,4px",
                    "zeroline": False,
                    "showline": False,
                    "ticks": "",
                    "tickfont": {"size": _NOTE, "color": quiet},
                    "fixedrange": True,
                    "automargin": False,
                },
                f"xaxis{suffix}": {
                    "type": "date",
                    "anchor": f"y{suffix}",
                    "matches": None if row == 1 else "x",
                    "showgrid": False,
                    "zeroline": False,
                    "showline": True,
                    "linecolor": colours["ink"],
                    "linewidth": 1,
                    "ticks": "outside",
                    "ticklen": 4,
                    "tickcolor": quiet,
                    "tickfont": {"size": _NOTE, "color": quiet},
                    "showticklabels": row == len(heights),
                    "tickformat": "%b\n%Y",
                    "nticks": 10,
                    "fixedrange": True,
                    "automargin": False,
                },
            }
        )
        figure.add_annotation(
            text=f"<b>{_plain(titles[row - 1])}</b>",
            x=0, y=top, xref="paper", yref="paper", xanchor="left", yanchor="bottom",
            xshift=-_LEFT, yshift=4, showarrow=False, font={"size": _TEXT},
        )  # fmt: skip
        top = bottom - gap / tall
    return figure, names


def _at(row: int) -> dict[str, str]:
    suffix = "" if row == 1 else str(row)
    return {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}"}


def _axis(figure: go.Figure, name: str, row: int, **settings: Any) -> None:
    figure.update_layout({name: settings})


def _line(
    figure: go.Figure,
    x: Iterable[Any],
    y: Iterable[float],
    known: Mark,
    colours: Colours,
    row: int,
    hover: Sequence[str],
    shape: str = "linear",
) -> None:
    """Draw a line in a method's colour and rule; a double line is a line with a light core."""
    xs, ys = list(x), list(y)
    line = {"color": colours[known.role], "width": known.width, "dash": known.dash, "shape": shape}
    said = [_plain(words) for words in hover]
    figure.add_scatter(
        x=xs, y=ys, mode="lines", line=line, hovertext=said, hoverinfo="text", meta=known.role, **_at(row)
    )
    if known.hollow:
        core = {"color": colours["ground"], "width": known.width / 3, "dash": "solid", "shape": shape}
        figure.add_scatter(x=xs, y=ys, mode="lines", line=core, hoverinfo="skip", **_at(row))


def _stepped(
    figure: go.Figure,
    weeks: pd.Series,
    values: pd.Series,
    known: Mark,
    colours: Colours,
    row: int,
    hover: Sequence[str],
) -> None:
    x, y = _steps(weeks, values)
    _line(figure, x, y, known, colours, row, hover=[*hover, hover[-1]], shape="hv")


def _bars(
    figure: go.Figure, x: pd.Series, y: pd.Series, known: Mark, colours: Colours, row: int, hover: Sequence[str]
) -> None:
    """Draw bars that carry the same two cues: filled for a plain rule, hollow or hatched for the others."""
    colour = colours[known.role]
    marker: dict[str, Any] = {"color": colour, "line": {"color": colour, "width": 1}}
    if known.hollow:
        marker["color"] = "rgba(0,0,0,0)"
    elif known.dash != "solid":
        marker["pattern"] = {"shape": "/", "fgcolor": colour, "bgcolor": colours["ground"], "size": 4}
    figure.add_bar(
        x=x, y=y, marker=marker, offsetgroup=known.role, hovertext=[_plain(words) for words in hover],
        hoverinfo="text", meta=known.role, **_at(row),
    )  # fmt: skip


def _weekly(frame: pd.DataFrame, column: str, unit: str, colours: Colours) -> go.Figure:
    _need(frame, ["method", "role", "week", column], f"{unit} by week")
    figure, axes = _panels([260.0], colours, titles=[f"{unit} by week"])
    methods = _methods(frame)
    for place, (label, known) in enumerate(methods):
        one = _rows(frame, method=label).sort_values("week")
        said = [
            f"{label}, week of {_day(week)}: {value:,.0f} {unit}"
            for week, value in zip(one["week"], one[column], strict=True)
        ]
        _stepped(figure, one["week"], one[column], known, colours, 1, hover=said)
        peak = one.loc[one[column].idxmax()]
        words = f"{label}: {peak[column]:,.0f}"
        middle = pd.Timestamp(peak["week"]) + pd.Timedelta(days=3.5)
        _flag(figure, middle, peak[column], words, colours[known.role], 1, place, len(methods))
    _axis(figure, axes[0], 1, range=[0, float(frame[column].max()) * 1.3 or 1.0], nticks=5)
    return figure


def _say_weekly(frame: pd.DataFrame, column: str, title: str, value: str, total: str = "") -> str:
    _need(frame, ["method", "role", "week", column], title)
    clauses = []
    for label, _ in _methods(frame):
        one = _rows(frame, method=label)
        peak = one.loc[one[column].idxmax()]
        clause = f"{label} at most {value.format(peak[column])} in the week of {_day(peak['week'])}"
        clauses.append(f"{clause}, {total.format(one[column].sum())}" if total else clause)
    return f"{title}: {'; '.join(clauses)}."


def _flag(
    figure: go.Figure, x: Any, y: float, words: str, colour: str, row: int, place: int, methods: int
) -> None:
    """Name a peak above it; methods take turns in height, so that peaks side by side stay readable."""
    suffix = "" if row == 1 else str(row)
    figure.add_annotation(
        x=x, y=y, xref=f"x{suffix}", yref=f"y{suffix}", text=f"<b>{_plain(words)}</b>", font={"color": colour},
        showarrow=True, arrowhead=0, arrowwidth=1, arrowcolor=colour, ax=0, ay=-12 - 17 * (methods - 1 - place),
        xanchor="center", yanchor="bottom", standoff=2,
    )  # fmt: skip


def _name_stage(
    figure: go.Figure, x: Sequence[Any], y: Sequence[float], stage: str, place: int, colour: str, row: int
) -> None:
    """Name a stage at the head of the first method's line and at the foot of the second's."""
    if place > 1:
        return
    suffix = "" if row == 1 else str(row)
    end = -1 if place == 0 else 0
    figure.add_annotation(
        x=x[end], y=y[end], xref=f"x{suffix}", yref=f"y{suffix}", text=_plain(stage),
        font={"color": colour, "size": _NOTE}, showarrow=False, xanchor="center" if place == 0 else "left",
        yanchor="bottom" if place == 0 else "top", yshift=1 if place == 0 else 0, xshift=0 if place == 0 else 2,
    )  # fmt: skip


def _zero(figure: go.Figure, row: int, colours: Colours) -> None:
    suffix = "" if row == 1 else str(row)
    figure.update_layout({f"yaxis{suffix}": {"zeroline": True, "zerolinecolor": colours["ink"], "zerolinewidth": 1}})


def _label_y(figure: go.Figure, words: str, colours: Colours) -> None:
    figure.add_annotation(
        text=words, x=1, y=1, xref="paper", yref="paper", xanchor="right", yanchor="bottom", yshift=4,
        showarrow=False, font={"size": _NOTE, "color": colours["quiet"]},
    )  # fmt: skip


def _head(top: int) -> float:
    return max(1.0, top * 0.16)


def _storey_ticks(top: int) -> list[int]:
    step = next(step for step in (1, 2, 5, 10, 20) if top / step <= 6)
    return [0, *range(step, top + 1, step)]


# ----------------------------------------------------------------------------------------- words


def _plain(words: str) -> str:
    """Take the markup out of text: the charting library reads a few tags."""
    return str(words).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _day(when: date | datetime | pd.Timestamp) -> str:
    stamp = pd.Timestamp(when)
    return f"{stamp.day} {stamp:%b %Y}"


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _scale(most: float, money: str) -> tuple[float, str]:
    for size, sign in ((1e6, "m"), (1e3, "k")):
        if most >= size:
            return size, f"{money}{sign}"
    return 1.0, money


def _money(amount: float, money: str) -> str:
    size, unit = _scale(abs(amount), money)
    figure = f"{abs(amount) / size:,.1f}" if size == 1e6 else f"{abs(amount) / size:,.0f}"
    return f"{'−' if amount < 0 else ''}{money}{figure}{unit.removeprefix(money)}"
