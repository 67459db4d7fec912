"""Climbs: how does work climb each block, and on which way is a date reached?

Two charts with storeys upward and the calendar across. Each function takes plain frames and the colours of
one mode and returns a figure; beside each stands a function that says the same in one sentence. A method has
panels of its own, so that two that run close together, or six, can still be read. Nothing here knows
Streamlit or the model.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
import plotly.graph_objects as go

from dashboard.parts.cuts import flag_rows
from dashboard.parts.marks import Mark
from dashboard.parts.programme_words import PARTS
from dashboard.parts.strokes import (
    LEFT,
    NOTE,
    TEXT,
    Colours,
    at,
    day,
    draw_line,
    in_order,
    listed,
    methods_of,
    need,
    panels,
    plain,
    rows_of,
    set_axis,
)
from dashboard.parts.theme import mix

PHONE_PX: Final = 300.0
"""Width of the plot on a telephone, at which names are kept apart. [px]"""

LETTER_PX: Final = 6.3
"""Mean width of a letter at `NOTE`. [px]"""

HEAD, FOOT = 22.0, 10.0
"""Room over and under the storeys of a panel. [px]"""

BETWEEN, APART = 30.0, 90.0
"""Room between the panels of one block, and from a block to the next one. [px]"""

PAPER_PX: Final = 900.0
"""About the height all storeys together should take. [px]"""

TICK_PX: Final = 14.0
"""Room that the number of a storey takes. [px]"""

LEAST_LEG_SHARE: Final = 0.025
"""Steps of a whole block that take a smaller share of the span are named by hovering only."""

BLOCK_LINE: Final = 0
"""Storey of work that is of a block as a whole."""

LOB_COLUMNS: Final = ("method", "role", "block", "storey", "stage", "start", "finish")
WAY_COLUMNS: Final = (
    "method", "role", "step", "kind", "start", "finish", "from_day", "to_day", "what", "block", "storey",
    "trade", "part", "days",
)  # fmt: skip


# ------------------------------------------------------------------------------ storeys against time


def storeys_against_time(
    frame: pd.DataFrame, colours: Colours, pace: pd.DataFrame | None = None
) -> go.Figure:
    """Draw the line of balance: for each block a panel for each method, all on one time axis.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, block, storey, stage, start, finish``: one row for each storey and stage; storeys
        counted from 1, start and finish as dates. Where there are ``trade, gang, what, why, after``, they are
        told by pointing.
    colours : mapping
        Tokens of one mode, as `dashboard.parts.theme.tokens`.
    pace : DataFrame, optional
        ``method, block, cycle_days, lag_storeys, start, ready``: written over each panel; the day a block is
        ready is a line.

    Returns
    -------
    Figure
        A stage is a band: its left edge is the start of each storey, its right edge, in the method's rule,
        the finish; a steeper band is a faster pace. The first stage is open, the last hatched, those between
        tinted.

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    need(frame, LOB_COLUMNS, "storeys against time")
    blocks, methods = in_order(frame["block"]), methods_of(frame)
    found = [
        (block, label, known, rows)
        for block in blocks
        for label, known in methods
        if len(rows := rows_of(frame, block=block, method=label))
    ]
    tops = [int(rows["storey"].max()) for _b, _l, _k, rows in found]
    storey_px = min(9.0, max(4.5, PAPER_PX / sum(max(5, top) for top in tops)))
    if len(blocks) == 1:
        storey_px *= 1.6
    last_of_block = [n + 1 == len(found) or found[n + 1][0] != found[n][0] for n in range(len(found))]
    figure, axes = panels(
        [HEAD + FOOT + storey_px * max(5, top) for top in tops],
        colours,
        titles=[""] * len(found),
        gaps=[APART if last else BETWEEN for last in last_of_block[:-1]],
        dated=last_of_block,
    )
    figure.update_layout(margin_t=50, height=figure.layout.height + 20)
    span = _span(frame, pace)
    named: set[str] = set()
    for row, ((block, label, known, rows), top) in enumerate(zip(found, tops, strict=True), start=1):
        if block not in named:
            _write(
                figure,
                axes[row - 1],
                f"<b>{plain(block)}</b>, {top} {'storey' if top == 1 else 'storeys'}",
                colours["ink"],
                25,
                16,
            )
            named.add(block)
        one = None if pace is None else rows_of(pace, block=block, method=label)
        _write(figure, axes[row - 1], _pace_words(label, one), colours[known.role], 3)
        stages = [
            (stage, rows[rows["stage"] == stage].sort_values("storey")) for stage in in_order(frame["stage"])
        ]
        stages = [(stage, each) for stage, each in stages if len(each)]
        for place, (stage, each) in enumerate(stages):
            fill = "open" if place == 0 else "hatch" if place == len(stages) - 1 else "tint"
            _band(figure, each, f"{label}, {stage}", known, colours, row, fill)
            _name_stage(figure, each, stage, place, len(stages), colours[known.role], row)
        if one is not None and len(one):
            _ready(figure, pd.Timestamp(one["ready"].iloc[0]), span, colours[known.role], row)
        unit = storey_px * max(5, top) / max(1, top - 1)
        scale = [1 - FOOT / unit, top + HEAD / unit]
        set_axis(figure, axes[row - 1], range=scale, tickvals=_storey_ticks(top, storey_px))
    for row in range(1, len(found) + 1):
        suffix = "" if row == 1 else str(row)
        figure.update_layout({f"xaxis{suffix}": _calendar(colours, *span)})
    set_axis(figure, "xaxis", range=[span[0], span[1]])
    return figure


def say_storeys(frame: pd.DataFrame) -> str:
    """Say in one sentence when each method ends its last stage on each block."""
    need(frame, ["method", "role", "block", "stage", "finish"], "storeys against time")
    clauses = []
    for block in in_order(frame["block"]):
        ends = [
            f"{label} on {day(rows['finish'].max())}"
            for label, _ in methods_of(frame)
            if len(rows := rows_of(frame, block=block, method=label))
        ]
        clauses.append(f"{block}: {listed(ends)}")
    stages = listed(in_order(frame["stage"]))
    return f"Storeys against time for {stages}. Last storey done, {'; '.join(clauses)}."


def _span(frame: pd.DataFrame, pace: pd.DataFrame | None) -> tuple[pd.Timestamp, pd.Timestamp]:
    first, last = pd.Timestamp(frame["start"].min()), pd.Timestamp(frame["finish"].max())
    if pace is not None and len(pace):
        first, last = min(first, pace["start"].min()), max(last, pace["ready"].max())
    room = 0.02 * (last - first)
    return first - room, last + room


def _pace_words(label: str, one: pd.DataFrame | None) -> str:
    words = f"<b>{plain(label)}</b>"
    if one is None or not len(one):
        return words
    cycle, lag = float(one["cycle_days"].iloc[0]), float(one["lag_storeys"].iloc[0])
    said = "no lag to count" if pd.isna(lag) else f"{lag:g} {'storey' if lag == 1 else 'storeys'} of lag"
    return f"{words}  {cycle:.1f} days a storey, {said}"


def _write(figure: go.Figure, axis: str, words: str, colour: str, up: float, size: float = TEXT) -> None:
    figure.add_annotation(
        text=words, x=0, y=figure.layout[axis].domain[1], xref="paper", yref="paper", xanchor="left",
        yanchor="bottom", xshift=-LEFT, yshift=up, showarrow=False, font={"size": size, "color": colour},
    )  # fmt: skip


def _band(
    figure: go.Figure,
    stage: pd.DataFrame,
    name: str,
    known: Mark,
    colours: Colours,
    row: int,
    fill: str,
) -> None:
    """Draw a stage of one block: its area by state, its start fine, its finish in the method's rule."""
    storeys, starts, ends = list(stage["storey"]), list(stage["start"]), list(stage["finish"])
    colour = colours[known.role]
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    area: dict[str, Any] = {
        "x": [*starts, *reversed(ends), starts[0]],
        "y": [*storeys, *reversed(storeys), storeys[0]],
        "mode": "lines",
        "line": {"width": 0},
        "fill": "toself",
        "fillcolor": f"rgba({red},{green},{blue},{0.16 if fill == 'tint' else 0.05})",
    }
    if fill == "hatch":
        area["fillpattern"] = {
            "shape": "/",
            "size": 5,
            "solidity": 0.16,
            "fgcolor": colour,
            "bgcolor": "rgba(0,0,0,0)",
        }
    figure.add_scatter(**area, hoverinfo="skip", **at(row))
    said = [f"{name}{_told(one)}" for one in stage.to_dict("records")]
    fine = {"width": 0.75, "color": mix(colour, colours["ground"], 0.6)}
    figure.add_scatter(
        x=starts, y=storeys, mode="lines", line=fine, hovertext=[_broken(words) for words in said],
        hoverinfo="text", **at(row),
    )  # fmt: skip
    draw_line(figure, ends, storeys, known, colours, row, hover=said)


def _told(one: dict[str, Any]) -> str:
    """Say where, when, who and why then."""
    words = f": {one['block']}, storey {one['storey']}\n{day(one['start'])} to {day(one['finish'])}"
    if one.get("trade"):
        gang = f", gang {one['gang']}" if one.get("gang") else ""
        words += f"\nended by {one['trade']}{gang}:\n{one['what']}"
    if one.get("why"):
        words += f"\n{_held(str(one['why']), str(one.get('after') or ''))}"  # lines a telephone can hold
    return words


def _held(why: str, after: str) -> str:
    """Say what fixed the start of a task."""
    if why == "gang":
        return f"which waited for its gang, until then at\n{after}"
    if why == "work":
        return f"which could follow only\n{after}"
    return f"which was held by {PARTS[why][0]}" + (f"\nafter {after}" if after else "")


def _broken(words: str) -> str:
    return "<br>".join(plain(line) for line in words.split("\n"))


def _name_stage(
    figure: go.Figure, stage: pd.DataFrame, name: str, place: int, count: int, colour: str, row: int
) -> None:
    """Name a stage where there is room: the first on its left, the last on its right, others overhead."""
    suffix = "" if row == 1 else str(row)
    middle = (len(stage) - 1) // 2
    spot = {
        "left": (stage["start"].iloc[middle], stage["storey"].iloc[middle], "right", "bottom", -4, -2),
        "right": (stage["finish"].iloc[middle], stage["storey"].iloc[middle], "left", "top", 6, 2),
        "head": (stage["finish"].iloc[-1], stage["storey"].iloc[-1], "center", "bottom", 0, 2),
    }["left" if place == 0 else "right" if place == count - 1 else "head"]
    x, y, across, up, right, above = spot
    figure.add_annotation(
        x=x, y=y, xref=f"x{suffix}", yref=f"y{suffix}", text=plain(name), showarrow=False, xanchor=across,
        yanchor=up, xshift=right, yshift=above, font={"color": colour, "size": NOTE},
    )  # fmt: skip


def _ready(
    figure: go.Figure,
    ready: pd.Timestamp,
    span: tuple[pd.Timestamp, pd.Timestamp],
    colour: str,
    row: int,
) -> None:
    """Mark the day a block is ready as a line over all storeys, with its date."""
    suffix = "" if row == 1 else str(row)
    figure.add_shape(
        type="line", x0=ready, x1=ready, y0=0, y1=1, xref=f"x{suffix}", yref=f"y{suffix} domain",
        line={"color": colour, "width": 1},
    )  # fmt: skip
    words = f"ready {day(ready)}"
    room = (span[1] - ready) / (span[1] - span[0]) * PHONE_PX
    leftward = room < LETTER_PX * len(words)
    across, shift = ("right", -3) if leftward else ("left", 3)
    if leftward:  # on two lines, so as to stay clear of the work beside it
        words = words.replace(" ", "<br>", 1)
    figure.add_annotation(
        x=ready, y=0, xref=f"x{suffix}", yref=f"y{suffix} domain", text=words, showarrow=False, align=across,
        xanchor=across, xshift=shift, yanchor="bottom", yshift=1, font={"color": colour, "size": NOTE},
    )  # fmt: skip


def _calendar(colours: Colours, first: pd.Timestamp, last: pd.Timestamp) -> dict[str, Any]:
    """Return how months are ruled: fine dotted verticals that dates can be read down."""
    months = (last - first) / pd.Timedelta(days=30.4)
    every = next(step for step in (1, 3, 6, 12, 24, 60) if months / step <= 10)
    return {
        "showgrid": True,
        "gridcolor": colours["hairline"],
        "gridwidth": 1,
        "griddash": "1px,3px",
        "tick0": f"{first.year}-01-01",
        "dtick": f"M{every}",
    }


def _storey_ticks(top: int, storey_px: float) -> list[int]:
    step = next(step for step in (1, 2, 5, 10, 20) if top / step <= 6 and step * storey_px >= TICK_PX)
    return sorted({1 if step != 2 else 2, *range(step, top + 1, step)})


# ------------------------------------------------------------------------------------- way to a date


def way_to_date(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw the way to a date: the steps that fixed each other, climbing the block along the calendar.

    Parameters
    ----------
    frame : DataFrame
        As `model.report.frames.way_to_date`, with ``role``: one row for each part of each step.
    colours : mapping
        Tokens of one mode.

    Returns
    -------
    Figure
        A panel for each method. Work in hand is drawn in the method's rule, what lies between as a fine
        dotted line; what is of the block as a whole stands on the lowest line and is named under it.

    Raises
    ------
    RangeError
        If a column is missing or there is no row.
    """
    need(frame, WAY_COLUMNS, "the way to a date")
    methods = methods_of(frame)
    top = int(frame["storey"].max())
    storey_px = min(9.0, max(4.5, 170.0 / max(top, 1)))
    first, last = frame["start"].min(), frame["finish"].max()
    span = (last - first) / pd.Timedelta(days=1) or 1.0
    steps = {label: _steps(rows_of(frame, method=label)) for label, _known in methods}
    legs = {label: _legs(one, span) for label, one in steps.items()}
    feet = [16.0 + 14.0 * (1 + max((leg.row for leg in legs[label]), default=0)) for label, _k in methods]
    base = storey_px * max(5, top)
    figure, axes = panels(
        [HEAD + foot + base for foot in feet],
        colours,
        titles=[""] * len(methods),
        gaps=[72.0] * (len(methods) - 1),
        dated=[True] * len(methods),
    )
    for row, ((label, known), foot) in enumerate(zip(methods, feet, strict=True), start=1):
        colour = colours[known.role]
        end = frame.loc[frame["method"] == label, "finish"].max()
        _write(figure, axes[row - 1], f"<b>{plain(label)}</b>  to {day(end)}", colour, 3)
        _walk(figure, steps[label], label, known, colours, row)
        for leg in legs[label]:
            _name_leg(figure, leg, colour, row)
        unit = base / max(1, top)
        ticks = (
            [BLOCK_LINE, *(tick for tick in _storey_ticks(top, storey_px) if tick > 1)]
            if top
            else [BLOCK_LINE]
        )
        set_axis(
            figure,
            axes[row - 1],
            range=[-foot / unit, top + HEAD / unit],
            tickvals=ticks,
            ticktext=["block", *map(str, ticks[1:])],
        )
        figure.update_layout({f"xaxis{'' if row == 1 else row}": _calendar(colours, first, last)})
    room = 0.02 * (last - first)
    set_axis(figure, "xaxis", range=[first - room, last + room])
    return figure


def say_way(frame: pd.DataFrame) -> str:
    """Say in one sentence how many steps each method's way has, and its longest."""
    need(frame, WAY_COLUMNS, "the way to a date")
    clauses = []
    for label, _known in methods_of(frame):
        steps = _steps(rows_of(frame, method=label))
        longest = steps.assign(days=steps["to_day"] - steps["from_day"]).nlargest(3, "days", keep="first")
        said = [f"{_called(one)} {one['days'] / 7:.1f} weeks" for one in longest.to_dict("records")]
        clauses.append(f"{label}, {len(steps)} steps, longest {listed(said)}")
    return f"The way to the date: {'; '.join(clauses)}."


def _steps(rows: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each step, its parts said in words."""
    parts: dict[int, list[str]] = {}
    for one in rows.itertuples():
        parts.setdefault(int(one.step), []).append(f"{PARTS[str(one.part)][0]} {float(one.days):.1f}")  # type: ignore[arg-type]
    steps = rows.drop_duplicates("step")
    return steps.assign(parts=[", ".join(parts[int(step)]) for step in steps["step"]])


def _walk(
    figure: go.Figure, steps: pd.DataFrame, label: str, known: Mark, colours: Colours, row: int
) -> None:
    """Draw the steps: first all as one fine line, then those of work in the method's rule."""
    fine = {"width": 1, "color": colours[known.role], "dash": "1px,2px"}
    x: list[Any] = []
    y: list[Any] = []
    said: list[str] = []
    work_x: list[Any] = []
    work_y: list[Any] = []
    work_said: list[str] = []
    zero = steps["start"].iloc[0] - pd.Timedelta(days=float(steps["from_day"].iloc[0]))
    zero = zero.normalize()
    for one in steps.to_dict("records"):
        ends = [zero + pd.Timedelta(days=one["from_day"]), zero + pd.Timedelta(days=one["to_day"])]
        words = _step_words(one, label)
        x += ends
        y += [one["storey"]] * 2
        said += [words] * 2
        if one["kind"] == "work":
            work_x += [*ends, None]
            work_y += [one["storey"]] * 2 + [None]
            work_said += [words] * 2 + [""]
    told = [_broken(words) for words in said]
    figure.add_scatter(x=x, y=y, mode="lines", line=fine, hovertext=told, hoverinfo="text", **at(row))
    draw_line(figure, work_x, work_y, known, colours, row, hover=work_said)


def _step_words(one: dict[str, Any], label: str) -> str:
    place = [word for word in (one["block"], f"storey {one['storey']}" if one["storey"] else "") if word]
    who = f"\n{one['trade']}" if one["kind"] == "work" and one["trade"] else ""
    return (
        f"{label}: {one['what']}\n{', '.join(place)}{who}\n{day(one['start'])} to {day(one['finish'])}"
        f"\ndays: {one['parts']}"
    )


@dataclass(frozen=True)
class Leg:
    """The name of a long step of a whole block: where its leader stands, in which row, on which side."""

    when: pd.Timestamp
    words: str
    row: int
    leftward: bool


def _legs(steps: pd.DataFrame, span: float) -> list[Leg]:
    """Return how the long steps of a whole block are named.

    Early ones run to the right from their start, late ones to the left from their finish, so that none leaves
    a telephone; where the two groups would meet, the late ones stand lower.
    """
    whole = steps[
        (steps["storey"] == BLOCK_LINE) & (steps["to_day"] - steps["from_day"] >= LEAST_LEG_SHARE * span)
    ]
    sides: dict[bool, list[tuple[float, Any, str]]] = {False: [], True: []}
    for one in whole.to_dict("records"):
        late = one["from_day"] + one["to_day"] > span
        edge = "to_day" if late else "from_day"
        when = one["start"] if not late else one["finish"]
        reached = one[edge] / span * PHONE_PX
        words, length = _called(one), (one["to_day"] - one["from_day"]) / 7
        said = f"{words}, {length:.1f} weeks"
        if LETTER_PX * len(said) > (reached if late else PHONE_PX - reached):
            said = f"{words.split(',')[0]}, {length:.1f} weeks"
        sides[late].append((one[edge] / span * PHONE_PX, when, said))
    early, late_ones = sides[False], sides[True][::-1]
    legs: list[Leg] = []
    deepest, reach = -1, 0.0
    for leftward, group in ((False, early), (True, late_ones)):
        places = [PHONE_PX - x if leftward else x for x, _when, _words in group]
        widths = [LETTER_PX * len(words) + 6 for _x, _when, words in group]
        rows = [row for row, _shift in flag_rows(places, widths, 10 * PHONE_PX)]
        ends = [x + wide for x, wide in zip(places, widths, strict=True)]
        below = 0
        if leftward and ends and PHONE_PX - max(ends) < reach:
            below = deepest + 1
        for (_x, when, words), row in zip(group, rows, strict=True):
            legs.append(Leg(when, words, row + below, leftward))
        deepest, reach = max(rows, default=-1), max(ends, default=0.0)
    return legs


def _called(one: dict[str, Any]) -> str:
    """Return what a step is called: its task, or the cause that takes most of what lies between two."""
    if one["kind"] == "work":
        return str(one["what"])
    parts = [part.rsplit(" ", 1) for part in one["parts"].split(", ")]
    return str(max(parts, key=lambda part: float(part[1]))[0])


def _name_leg(figure: go.Figure, leg: Leg, colour: str, row: int) -> None:
    suffix = "" if row == 1 else str(row)
    down = 9 + 14 * leg.row
    figure.add_shape(
        type="line", x0=leg.when, x1=leg.when, xref=f"x{suffix}", yref=f"y{suffix}", ysizemode="pixel",
        yanchor=0, y0=-3, y1=-down - 9, line={"color": colour, "width": 0.75},
    )  # fmt: skip
    figure.add_annotation(
        x=leg.when, y=0, xref=f"x{suffix}", yref=f"y{suffix}", text=plain(leg.words), showarrow=False,
        xanchor="right" if leg.leftward else "left", xshift=-3 if leg.leftward else 3, yanchor="middle",
        yshift=-down, font={"color": colour, "size": NOTE},
    )  # fmt: skip
