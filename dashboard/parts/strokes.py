"""Strokes: how is one line, one panel, one peak drawn, and one date or sum of money said?

The hand that `dashboard.parts.charts` draws with: panels on one time axis, a method's line in its colour and
rule, names set beside peaks. No frame of the model is known here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.parts.marks import Mark, mark
from dashboard.parts.theme import FONT_STACK
from model.core.errors import RangeError

Colours = Mapping[str, str]

LEFT, RIGHT, TOP, BOTTOM = 44, 14, 30, 46
"""Margins of every chart. [px]"""

TEXT, NOTE = 13, 12
"""Sizes of type on a chart. [px]"""

NARROW_PX = 520.0
"""Width at which names are kept apart; wider charts have room to spare. [px]"""

LETTER_PX = 6.6
"""Mean width of a letter at `TEXT`. [px]"""

ROW_SHARE = 0.1
"""Height of a row of names over the highest value. [-]"""


@dataclass(frozen=True)
class Peak:
    """A highest value that is named on a chart: whose, when, how high, in words."""

    label: str
    known: Mark
    when: pd.Timestamp
    value: float
    words: str


def need(frame: pd.DataFrame, columns: Sequence[str], chart: str) -> None:
    """Refuse a frame that lacks a column or has no row.

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    missing = [column for column in columns if column not in frame.columns]
    if missing:
        raise RangeError(
            f"The frame for {chart} lacks {', '.join(missing)}. It needs the columns {', '.join(columns)}."
        )
    if not len(frame):
        raise RangeError(f"The frame for {chart} has no row. Give one or more, or leave the chart out.")


def methods_of(frame: pd.DataFrame) -> list[tuple[str, Mark]]:
    """Return the methods of a frame in order, each with its mark."""
    pairs = frame[["method", "role"]].drop_duplicates()
    return [(str(label), mark(role)) for label, role in pairs.itertuples(index=False)]


def rows_of(frame: pd.DataFrame, **wanted: str) -> pd.DataFrame:
    """Return the rows that have some words in some columns."""
    for column, value in wanted.items():
        frame = frame[frame[column] == value]
    return frame


def in_order(column: pd.Series) -> list[str]:
    """Return the words of a column, each once, in order."""
    return list(dict.fromkeys(column))


def step_points(weeks: pd.Series, values: pd.Series) -> tuple[list[Any], list[float]]:
    """Weeks and values with the end of the last week, so that it is drawn as wide as the others."""
    return [*weeks, weeks.iloc[-1] + pd.Timedelta(days=7)], [*values, values.iloc[-1]]


def panels(
    heights: Sequence[float],
    colours: Colours,
    titles: Sequence[str],
    gaps: Sequence[float] | None = None,
    dated: Sequence[bool] | None = None,
) -> tuple[go.Figure, list[str]]:
    """Return an empty figure of panels one under another on one time axis, and the names of their y axes.

    Parameters
    ----------
    heights : sequence of float
        [px]
    colours : mapping
    titles : sequence of str
        One for each panel; none is written for an empty one.
    gaps : sequence of float, optional
        Room between each panel and the next; 40 each if not given. [px]
    dated : sequence of bool, optional
        Whether dates stand under each panel; only under the last if not given.
    """
    between = list(gaps) if gaps is not None else [40.0] * (len(heights) - 1)
    under = list(dated) if dated is not None else [False] * (len(heights) - 1) + [True]
    tall = sum(heights) + sum(between)
    figure = go.Figure()
    quiet, hairline = colours["quiet"], colours["hairline"]
    figure.update_layout(
        template=go.layout.Template(),
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": FONT_STACK, "size": TEXT, "color": colours["ink"]},
        margin={"l": LEFT, "r": RIGHT, "t": TOP, "b": BOTTOM},
        height=round(tall + TOP + BOTTOM),
        showlegend=False,
        dragmode=False,
        hovermode="closest",
        hoverlabel={
            "bgcolor": colours["ground"],
            "bordercolor": colours["ink"],
            "font": {"family": FONT_STACK, "size": TEXT, "color": colours["ink"]},
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
                    "tickfont": {"size": NOTE, "color": quiet},
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
                    "tickfont": {"size": NOTE, "color": quiet},
                    "showticklabels": under[row - 1],
                    "tickformat": "%b\n%Y",
                    "nticks": 10,
                    "fixedrange": True,
                    "automargin": False,
                },
            }
        )
        if titles[row - 1]:
            figure.add_annotation(
                text=f"<b>{plain(titles[row - 1])}</b>",
                x=0, y=top, xref="paper", yref="paper", xanchor="left", yanchor="bottom",
                xshift=-LEFT, yshift=4, showarrow=False, font={"size": TEXT},
            )  # fmt: skip
        top = bottom - (between[row - 1] if row < len(heights) else 0.0) / tall
    return figure, names


def at(row: int) -> dict[str, str]:
    suffix = "" if row == 1 else str(row)
    return {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}"}


def set_axis(figure: go.Figure, name: str, **settings: Any) -> None:
    figure.update_layout({name: settings})


def draw_line(
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
    said = ["<br>".join(plain(line) for line in words.split("\n")) for words in hover]
    figure.add_scatter(
        x=xs, y=ys, mode="lines", line=line, hovertext=said, hoverinfo="text", meta=known.role, **at(row)
    )
    if known.hollow:
        core = {"color": colours["ground"], "width": known.width / 3, "dash": "solid", "shape": shape}
        figure.add_scatter(x=xs, y=ys, mode="lines", line=core, hoverinfo="skip", **at(row))


def draw_steps(
    figure: go.Figure,
    weeks: pd.Series,
    values: pd.Series,
    known: Mark,
    colours: Colours,
    row: int,
    hover: Sequence[str],
) -> None:
    x, y = step_points(weeks, values)
    draw_line(figure, x, y, known, colours, row, hover=[*hover, hover[-1]], shape="hv")


def draw_bars(
    figure: go.Figure,
    x: pd.Series,
    y: pd.Series,
    known: Mark,
    colours: Colours,
    row: int,
    hover: Sequence[str],
) -> None:
    """Draw bars that carry the same two cues: filled for a plain rule, hollow or hatched for the others."""
    colour = colours[known.role]
    marker: dict[str, Any] = {"color": colour, "line": {"color": colour, "width": 1}}
    if known.hollow:
        marker["color"] = "rgba(0,0,0,0)"
    elif known.dash != "solid":
        marker["pattern"] = {"shape": "/", "fgcolor": colour, "bgcolor": colours["ground"], "size": 4}
    figure.add_bar(
        x=x, y=y, marker=marker, offsetgroup=known.role, hovertext=[plain(words) for words in hover],
        hoverinfo="text", meta=known.role, **at(row),
    )  # fmt: skip


def draw_zero(figure: go.Figure, row: int, colours: Colours) -> None:
    suffix = "" if row == 1 else str(row)
    figure.update_layout(
        {f"yaxis{suffix}": {"zeroline": True, "zerolinecolor": colours["ink"], "zerolinewidth": 1}}
    )


def say_scale(figure: go.Figure, words: str, colours: Colours) -> None:
    figure.add_annotation(
        text=words, x=1, y=1, xref="paper", yref="paper", xanchor="right", yanchor="bottom", yshift=4,
        showarrow=False, font={"size": NOTE, "color": colours["quiet"]},
    )  # fmt: skip


def name_peaks(
    figure: go.Figure,
    peaks: Sequence[Peak],
    span: tuple[pd.Timestamp, pd.Timestamp],
    colours: Colours,
    row: int,
) -> None:
    """Name each method's peak above the lines, with a fine leader down to it.

    Names stand in as few rows as keep them clear of each other and of each other's leaders.
    """
    suffix = "" if row == 1 else str(row)
    most = max((peak.value for peak in peaks), default=0.0) or 1.0
    days = (span[1] - span[0]) / pd.Timedelta(days=1) or 1.0
    places = [(peak.when - span[0]) / pd.Timedelta(days=1) / days for peak in peaks]
    widths = [LETTER_PX * (len(peak.label) + len(peak.words) + 2) / NARROW_PX for peak in peaks]
    rows, leftward = stand_apart(places, widths)
    for peak, line, left in zip(peaks, rows, leftward, strict=True):
        colour = colours[peak.known.role]
        level = most * (1.06 + ROW_SHARE * line)
        figure.add_shape(
            type="line",
            x0=peak.when,
            x1=peak.when,
            y0=peak.value,
            y1=level,
            xref=f"x{suffix}",
            yref=f"y{suffix}",
            line={"color": colour, "width": 1},
        )
        figure.add_annotation(
            x=peak.when,
            y=level,
            xref=f"x{suffix}",
            yref=f"y{suffix}",
            text=f"<b>{plain(peak.label)}</b> {plain(peak.words)}",
            font={"color": colour},
            showarrow=False,
            xanchor="right" if left else "left",
            xshift=-4 if left else 4,
            yanchor="middle",
        )
    figure.update_layout({f"yaxis{suffix}": {"range": [0, most * (1.12 + ROW_SHARE * max(rows, default=0))]}})


def stand_apart(places: Sequence[float], widths: Sequence[float]) -> tuple[list[int], list[bool]]:
    """Return a row, counted upward, and a side (left or not) for each name.

    The earlier names run to the left of their leaders and the later ones to the right, so that the two
    groups never meet; within a group the outer names stand lower. Where the groups part is chosen so that
    fewest names leave the chart, then so that fewest rows are needed.
    """
    order = sorted(range(len(places)), key=lambda name: places[name])
    best: tuple[tuple[int, int], list[int], list[bool]] | None = None
    for split in range(len(order) + 1):
        rows, left = [0] * len(order), [False] * len(order)
        outside = 0
        for group, sign in ((order[:split], -1), (order[split:][::-1], 1)):
            standing: list[int] = []
            for name in group:
                room = widths[name] + 1e-9  # names that just meet count as touching
                inner = [rows[other] for other in standing if sign * (places[other] - places[name]) < room]
                rows[name], left[name] = 1 + max(inner, default=-1), sign < 0
                outside += not 0 <= places[name] + sign * widths[name] <= 1
                standing.append(name)
        cost = (outside, max(rows, default=0))
        if best is None or cost < best[0]:
            best = (cost, rows, left)
    return ([], []) if best is None else best[1:]


def plain(words: str) -> str:
    """Take the markup out of text: the charting library reads a few tags."""
    return str(words).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def day(when: date | datetime | pd.Timestamp) -> str:
    stamp = pd.Timestamp(when)
    return f"{stamp.day} {stamp:%b %Y}"


def listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def scale_of(most: float, money: str) -> tuple[float, str]:
    for size, sign in ((1e6, "m"), (1e3, "k")):
        if most >= size:
            return size, f"{money}{sign}"
    return 1.0, money


def money_words(amount: float, money: str) -> str:
    size, unit = scale_of(abs(amount), money)
    figure = f"{abs(amount) / size:,.1f}" if size == 1e6 else f"{abs(amount) / size:,.0f}"
    return f"{'−' if amount < 0 else ''}{money}{figure}{unit.removeprefix(money)}"
