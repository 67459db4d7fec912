"""How sure is it: draws as windows, dates as ranges, what moves the answer, where it turns.

As `dashboard.parts.charts`: each function takes plain frames and returns HTML, or a figure where there are
two axes; beside each stands a function that says the same in words. A hundred windows stand for all draws,
in the colour of the method each favours, so that a chance is counted and not read off a curve.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dashboard.parts import cuts
from dashboard.parts.answer import Named, Names
from dashboard.parts.fields import number, unit_words
from dashboard.parts.marks import mark
from dashboard.parts.strokes import Colours, need, panels, plain, set_axis
from dashboard.parts.theme import Html, mix, text
from model.core.errors import RangeError
from model.core.words import day

WINDOWS: Final = 100
"""Windows drawn: each stands for one draw in a hundred."""

BAYS: Final = 12
"""Bays aimed at for the middle nine tenths of the draws, so that a bay holds about ten windows."""

BEYOND: Final = 6
"""Bays drawn beyond those to either side; what lies further out stands in the outermost."""

LEAST_SIDE: Final = 15.0
"""Room below which a side of even is not named. [% of the width]"""

MOST_ROWS: Final = 12
"""Rows of a ranked picture; the rest stands in the table."""

POINTS: Final = {"p10": 10, "p50": 50, "p80": 80, "p90": 90}
"""Percentiles that are marked."""

Write = Callable[[float], str]


# ----------------------------------------------------------------------------------------- windows


def bay_width(low: float, high: float, bays: int = BAYS) -> float:
    """Return a round width that parts a range into about so many bays: 1, 2, 2.5 or 5 times a power of ten.

    Examples
    --------
    >>> bay_width(-3.0, 9.0), bay_width(0.0, 7.4e6)
    (1.0, 500000.0)
    """
    rough = (high - low) / bays if high > low else max(abs(high), 1.0) / bays
    size = 10.0 ** math.floor(math.log10(rough))
    return min(
        (size * step for step in (1.0, 2.0, 2.5, 5.0, 10.0)), key=lambda width: abs(math.log(width / rough))
    )


def windows(
    values: Sequence[float],
    names: Names,
    write: Write,
    said: str,
    points: Mapping[str, float],
    ahead: str = "better",
) -> Html:
    """Draw a hundred windows, one for each hundredth of the draws, in bays by size.

    Parameters
    ----------
    values : sequence of float
        A difference in every draw, above nought where it favours the second method.
    names : sequence of Named
    write : callable
        Takes a difference to a short figure.
    said : str
        The same in words, for whoever cannot see it.
    points : mapping of str to float
        Percentiles marked below, named as in `POINTS`.
    ahead : str
        What a method is on its side of even, in a word.
    """
    drawn = _hundredths(values)
    wide, first, last = _bays(drawn)
    bays = np.clip(np.floor(np.round(drawn / wide, 9)), first, last).astype(int)
    across = last - first + 1
    columns = []
    for bay in range(first, last + 1):
        count = int((bays == bay).sum())
        better = names[1 if bay >= 0 else 0]
        tip = f"{_bay_words(bay, wide, write)}: {count} of {len(drawn)}"
        panes = '<i class="sp-pane"></i>' * count
        columns.append(f'<span class="sp-bay {_role(better.role)}" title="{text(tip)}">{panes}</span>')
    nought = 100.0 * -first / across

    def place(value: float) -> float:
        return min(max(100.0 * (value / wide - first) / across, 0.0), 100.0)

    shown = 0.0 <= nought <= 100.0
    ground = f'<i class="sp-even" style="left:{nought:.2f}%"></i>' if shown else ""
    marks = [(place(points[p]), f"P{k}", write(points[p])) for p, k in POINTS.items() if p in points]
    return Html(
        f'<div class="sp-windows" role="img" aria-label="{text(said)}">'
        f'<div class="sp-sides-of" aria-hidden="true">{_sides(names, nought, ahead)}</div>'
        f'<div class="sp-front" style="--sp-bays:{across}">{ground}{"".join(columns)}</div>'
        f"{_scale(first, last, wide, write)}{_flags(marks)}</div>{_ends(drawn, wide, first, last, write)}"
    )


def _bays(drawn: np.ndarray) -> tuple[float, int, int]:
    """Return the width of a bay, and the first and the last bay; even is among them unless it is far away."""
    low, high = (float(x) for x in np.quantile(drawn, (0.05, 0.95)))
    wide = bay_width(low, high)
    inner = math.floor(low / wide), math.floor(high / wide)
    first = max(inner[0] - BEYOND, math.floor(float(drawn[0]) / wide))
    last = min(inner[1] + BEYOND, math.floor(float(drawn[-1]) / wide))
    if last + 1 >= -BEYOND and first <= BEYOND:
        first, last = min(first, -1), max(last, 0)
    return wide, first, last


def _bay_words(bay: int, wide: float, write: Write) -> str:
    return f"{write(bay * wide)} to {write((bay + 1) * wide)}"


def _ends(drawn: np.ndarray, wide: float, first: int, last: int, write: Write) -> str:
    """Say what the outermost bays hold beyond their own width."""
    said = []
    if drawn[0] < first * wide:
        said.append(f"The first bay also holds what is below, down to {write(float(drawn[0]))}.")
    if drawn[-1] > (last + 1) * wide:
        said.append(f"The last bay also holds what is above, up to {write(float(drawn[-1]))}.")
    if last < -1 or first > 0:
        said.append(f"No difference, 0, lies outside the picture, to the {'right' if last < 0 else 'left'}.")
    return f'<p class="sp-bars-unit">{text(" ".join(said))}</p>' if said else ""


def _hundredths(values: Sequence[float]) -> np.ndarray:
    """Return the middles of a hundred equal parts of the draws, or the draws where there are fewer."""
    drawn = np.sort(np.asarray(values, dtype=float))
    if not drawn.size:
        raise RangeError("There is no draw to picture. Ask for one or more.")
    if drawn.size <= WINDOWS:
        return drawn
    return np.quantile(drawn, (np.arange(WINDOWS) + 0.5) / WINDOWS)


def _sides(names: Names, nought: float, ahead: str) -> str:
    """Name the two sides of even, each over its own windows where there is room for it."""
    sides = []
    for name, room, place in (
        (names[0], min(nought, 100.0), f"right:{max(100 - nought, 0.0):.2f}%"),
        (names[1], 100 - max(nought, 0.0), f"left:{max(nought, 0.0):.2f}%"),
    ):
        if room >= LEAST_SIDE:
            sides.append(
                f'<span class="{_role(name.role)}" style="{place}">{text(name.label)} {text(ahead)}</span>'
            )
    return "".join(sides)


def _scale(first: int, last: int, wide: float, write: Write) -> str:
    """Return the scale under the ground: nought, and a few round figures to either side."""
    across = last - first + 1
    step = max(1, math.ceil(across / 8))
    ticks = [bay for bay in range(first, last + 2) if bay % step == 0]
    items = ""
    for bay in ticks:
        at = 100 * (bay - first) / across  # a figure at the edge stands within the sheet
        words = "even" if bay == 0 else write(bay * wide)
        odd = ' class="sp-odd"' if (bay // step) % 2 else ""
        items += f'<span{odd} style="left:{at:.2f}%;transform:translateX(-{at:.2f}%)">{text(words)}</span>'
    return f'<div class="sp-scale" aria-hidden="true">{items}</div>'


def _flags(marks: Sequence[tuple[float, str, str]]) -> str:
    """Return names below a line, each with a leader, for three widths of page. Places in per cent."""
    out = []
    for width, fits in (
        (cuts.SHEET_PX, "sp-sheet"), (cuts.TABLE_PX, "sp-narrower"), (cuts.PHONE_PX, "sp-phone"),
    ):  # fmt: skip
        ordered = sorted(marks)
        widths = [cuts.LETTER_PX * len(f"{bold} {words}") + 14 for _x, bold, words in ordered]
        stand = cuts.flag_rows([x / 100 * width for x, _b, _w in ordered], widths, width)
        items = "".join(
            f'<span class="sp-flag" style="left:{x:.3f}%;--sp-row:{row};--sp-shift:{shift:.0f}px">'
            f"<span><b>{text(bold)}</b> {text(words)}</span></span>"
            for (x, bold, words), (row, shift) in zip(ordered, stand, strict=True)
        )
        deep = 1 + max((row for row, _shift in stand), default=0)
        out.append(f'<div class="sp-flags {fits}" style="--sp-rows:{deep}" aria-hidden="true">{items}</div>')
    return "".join(out)


# ------------------------------------------------------------------------------------ dates as ranges


def date_ranges(frame: pd.DataFrame, names: Names, longstop: dt.date | None = None) -> Html:
    """Draw when each block is ready with each method: P10 to P90 as a rule, P50 a post, P80 a tick.

    Parameters
    ----------
    frame : DataFrame
        ``method, block, p10, p50, p80, p90``; dates.
    names : sequence of Named
    longstop : date, optional
        Drawn across where it lies on the axis.
    """
    need(frame, ["method", "block", *POINTS], "dates of the blocks")
    low, high = _quarters(min(frame["p10"]), max(frame["p90"]))
    span = (high - low).days

    def place(when: dt.date) -> float:
        return 100.0 * (when - low).days / span

    owed = longstop is not None and low <= longstop <= high
    line = f'<i class="sp-owed" style="left:{place(longstop):.2f}%"></i>' if owed and longstop else ""
    rows = []
    for block in dict.fromkeys(frame["block"]):
        for number_of, name in enumerate(names):
            one = frame[(frame["block"] == block) & (frame["method"] == name.label)]
            if not len(one):
                continue
            p10, p50, p80, p90 = (one[p].iloc[0] for p in POINTS)
            bar = (
                f'<i class="sp-rule" style="left:{place(p10):.2f}%;width:{place(p90) - place(p10):.2f}%"></i>'
                f'<i class="sp-middle" style="left:{place(p50):.2f}%"></i>'
                f'<i class="sp-eighty" style="left:{place(p80):.2f}%"></i>'
            )
            rows.append(
                f'<div class="sp-when {_role(name.role)}{"" if number_of else " sp-first-of"}">'
                f"<p>{text(block) if not number_of else ''}<span>{text(name.label)}</span></p>"
                f'<span class="sp-when-way {_role(name.role)}" aria-hidden="true">{line}{bar}</span>'
                f'<span class="sp-when-words"><b>{text(day(p50))}</b> {text(day(p10))} to '
                f"{text(day(p90))}</span></div>"
            )
    ticks = "".join(
        f'<span style="left:{place(when):.2f}%" class="{"sp-odd" if k % 2 else ""}">{when:%b} '
        f"{when.year}</span>"
        for k, when in enumerate(_ticks(low, high))
    )
    said = say_dates(frame, names)
    owes = (
        f'<span class="sp-owes" style="left:{place(longstop):.2f}%">longstop</span>'
        if owed and longstop
        else ""
    )
    return Html(
        f'<div class="sp-whens" role="group" aria-label="{text(said)}">'
        '<div class="sp-when sp-when-axis" aria-hidden="true"><p></p><span '
        f'class="sp-when-way">{ticks}{owes}</span>'
        f"<span></span></div>{''.join(rows)}</div>"
    )


def _quarters(first: dt.date, last: dt.date) -> tuple[dt.date, dt.date]:
    """Return the quarters that hold two dates: begin of the first, begin of the one after the last."""
    start = dt.date(first.year, 3 * ((first.month - 1) // 3) + 1, 1)
    month = 3 * ((last.month - 1) // 3) + 4
    return start, dt.date(last.year + (month > 12), month - 12 * (month > 12), 1)


def _ticks(low: dt.date, high: dt.date) -> list[dt.date]:
    """Return begins of quarters, of half years or of years: eight at most."""
    quarters = []
    when = low
    while when < high:
        quarters.append(when)
        month = when.month + 3
        when = dt.date(when.year + (month > 12), month - 12 * (month > 12), 1)
    for months in (3, 6, 12):
        kept = [one for one in quarters if (one.month - 1) % months == 0]
        if len(kept) <= 8:
            return kept
    return kept


def say_dates(frame: pd.DataFrame, names: Names) -> str:
    """Say when each block is ready in the middle draw, and between which dates in eight of ten."""
    clauses = []
    for block in dict.fromkeys(frame["block"]):
        for name in names:
            one = frame[(frame["block"] == block) & (frame["method"] == name.label)]
            for row in one.to_dict("records"):
                clauses.append(
                    f"{block}, {name.label}: {day(row['p50'])}, in eight of ten between {day(row['p10'])} "
                    "and "
                    f"{day(row['p90'])}"
                )
    return f"{'; '.join(clauses)}."


# ---------------------------------------------------------------------------- what the answer follows


def drivers(frame: pd.DataFrame, names: Names, heading: str) -> Html:
    """Draw how closely a difference follows each thing drawn, strongest first.

    Parameters
    ----------
    frame : DataFrame
        ``label, rank_correlation``. [-1 to 1]
    names : sequence of Named
    heading : str
    """
    body = []
    for row in frame.head(MOST_ROWS).to_dict("records"):
        rho = float(row["rank_correlation"])
        better = names[1 if rho > 0 else 0]
        left = 50.0 + 50.0 * min(rho, 0.0)
        body.append(
            f'<div class="sp-driver {_role(better.role)}"><p>{text(row["label"])}</p>'
            f'<span class="sp-share-way {_role(better.role)}" style="--sp-nought:50%" aria-hidden="true">'
            f'<i class="sp-rule" style="left:{left:.2f}%;width:{50 * abs(rho):.2f}%"></i></span>'
            f"<span>{text(f'{rho:+.2f}'.replace('-', '−'))}</span></div>"
        )
    nothing = "" if body else '<p class="sp-note">It follows nothing that was drawn.</p>'
    said = text(say_drivers(frame, heading))
    return Html(
        '<div class="sp-side" role="group" '
        f'aria-label="{said}"><h3>{text(heading)}</h3>{"".join(body)}{nothing}</div>'
    )


def say_drivers(frame: pd.DataFrame, heading: str) -> str:
    """Say what a difference follows most."""
    told = [
        f"{row['label']} {float(row['rank_correlation']):+.2f}".replace("-", "−")
        for row in frame.head(3).to_dict("records")
    ]
    return (
        f"{heading} follows most: {'; '.join(told)}."
        if told
        else f"{heading} follows nothing that was drawn."
    )


# ----------------------------------------------------------------------------------- one at a time


def ranked(frame: pd.DataFrame, names: Names, write: Write, unit: str) -> Html:
    """Draw the difference at both ends of each input's own range, widest first, in the colour it favours.

    Parameters
    ----------
    frame : DataFrame
        ``label, unit, low, now, high, at_low, at_now, at_high``, as `Sensitivities.frame`.
    names : sequence of Named
    write : callable
        Takes a difference to a short figure.
    unit : str
        What the length stands for.
    """
    need(frame, ["label", "unit", "low", "now", "high", "at_low", "at_now", "at_high"], "the ranked inputs")
    shown = frame.head(MOST_ROWS)
    ends = [float(x) for c in ("at_low", "at_now", "at_high") for x in shown[c] if _is(x)]
    low, high = min(0.0, *ends), max(0.0, *ends)
    room = 0.03 * ((high - low) or 1.0)
    low, high = low - room, high + room

    def place(value: float) -> float:
        return 100.0 * (value - low) / (high - low)

    rows = [_ranked_row(row, names, write, place) for row in shown.to_dict("records")]
    return Html(
        f'<div class="sp-shares sp-ranked" role="group" aria-label="{text(say_ranked(frame, write))}">'
        f'<p class="sp-bars-unit">{text(unit)}</p>{"".join(rows)}</div>'
    )


def _ranked_row(row: Mapping[str, Any], names: Names, write: Write, place: Callable[[float], float]) -> str:
    now = float(row["at_now"])
    known = {end: float(row[f"at_{end}"]) for end in ("low", "high") if _is(row[f"at_{end}"])}
    least, most = min(now, *known.values()), max(now, *known.values())
    pieces = ""
    for name, a, b in ((names[0], least, min(most, 0.0)), (names[1], max(least, 0.0), most)):
        if b > a:
            pieces += (
                f'<span class="{_role(name.role)}"><i class="sp-rule" style="left:{place(a):.2f}%;'
                f'width:{place(b) - place(a):.2f}%"></i></span>'
            )
    for end, value in known.items():
        kind = "sp-first" if end == "low" else "sp-last"
        pieces += f'<i class="{kind}" style="left:{place(value):.2f}%"></i>'
    turns = least < 0 < most
    said = " · ".join(f"{_value(row[end], row['unit'])}: {write(value)}" for end, value in known.items())
    return (
        f'<div class="sp-share"><p>{text(row["label"])}</p>'
        f'<span class="sp-share-way" style="--sp-nought:{place(0.0):.2f}%" aria-hidden="true">'
        f'<i class="sp-now" style="left:{place(now):.2f}%"></i>{pieces}</span>'
        f'<span class="sp-share-words">{text(said)}{"<b>the answer turns</b>" if turns else ""}</span></div>'
    )


def ranked_key() -> Html:
    """Return what the marks of the ranked picture stand for."""
    return Html(
        '<ul class="sp-fills sp-share-key">'
        '<li><i class="sp-key-first" aria-hidden="true"></i>at the low end of its range</li>'
        '<li><i class="sp-key-last" aria-hidden="true"></i>at the high end</li>'
        '<li><i class="sp-key-now" aria-hidden="true"></i>as it is</li>'
        '<li><i class="sp-key-even" aria-hidden="true"></i>no difference</li></ul>'
    )


def say_ranked(frame: pd.DataFrame, write: Write) -> str:
    """Say which inputs move the difference most, and which turn it."""
    if not len(frame):
        return "No input moves it."
    rows = frame.to_dict("records")
    told = []
    for row in rows[:3]:
        ends = [float(row[f"at_{end}"]) for end in ("low", "now", "high") if _is(row[f"at_{end}"])]
        told.append(f"{row['label']} ({write(min(ends))} to {write(max(ends))})")
    turning = [str(row["label"]) for row in rows if _turns(row)]
    turn = f"Within its own range the answer turns with: {'; '.join(turning)}." if turning else (
        "None of them, moved alone within its own range, turns the answer."
    )  # fmt: skip
    return f"Moved alone, most comes of {'; '.join(told)}. {turn}"


def _turns(row: Mapping[str, Any]) -> bool:
    ends = [float(row[f"at_{end}"]) for end in ("low", "now", "high") if _is(row[f"at_{end}"])]
    return min(ends) < 0 < max(ends)


def ranked_table(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the ranked inputs as they are listed: values as words, since a choice has no number."""
    words = {end: [_value(x, "") if _is(x) else "" for x in frame[end]] for end in ("low", "now", "high")}
    return frame.drop(columns="key").assign(unit=frame["unit"].map(unit_words), **words)


def _value(value: Any, unit: Any) -> str:
    """Return a value of an input with its unit: '£380/m²', '16 people', 'together'."""
    if isinstance(value, str):
        return value
    figure = number(round(float(value), 6)).replace("-", "−")
    if str(unit).startswith("GBP"):
        return f"£{figure}{str(unit).removeprefix('GBP').replace('m2', 'm²')}"
    return figure if unit in ("", "-", "no.", "share") else f"{figure} {unit_words(str(unit))}"


# ------------------------------------------------------------------------------------ two at a time


def two_way_map(
    frame: pd.DataFrame,
    zero: Sequence[Sequence[tuple[float, float]]],
    axes: tuple[tuple[str, float], tuple[str, float]],
    names: Names,
    colours: Colours,
    write: Write,
) -> go.Figure:
    """Draw the difference over two inputs: a pane for each point, as large as it, and the line of even.

    Parameters
    ----------
    frame : DataFrame
        ``x, y, figure``; figure missing where it cannot be worked out.
    zero : sequence of lines
        Each a sequence of (x, y): where the two methods come out even.
    axes : pair of (str, float)
        What x and y are, with unit, and their present values.
    names : sequence of Named
    colours : mapping
        Tokens of one mode.
    write : callable
        Takes a difference to a short figure.
    """
    need(frame, ["x", "y", "figure"], "two inputs at a time")
    figure, (axis,) = panels([430.0], colours, titles=[f"up: {axes[1][0]}"])
    known = frame[[_is(value) for value in frame["figure"]]]
    most = max((abs(float(value)) for value in known["figure"]), default=0.0) or 1.0
    for name, side in ((names[0], known[known["figure"] < 0]), (names[1], known[known["figure"] >= 0])):
        hollow = mark(name.role).hollow
        colour = colours[name.role]
        sizes = [6.0 + 24.0 * math.sqrt(abs(float(value)) / most) for value in side["figure"]]
        marker: dict[str, Any] = {
            "symbol": "square", "size": sizes, "opacity": 1.0,
            "color": colours["ground"] if hollow else colour,
            "line": {"color": colour, "width": 3 if hollow else 1},
        }  # fmt: skip
        hover = [
            f"{name.label} better: {write(float(value))}<br>{plain(axes[0][0])} {number(round(x, 6))}<br>"
            f"{plain(axes[1][0])} {number(round(y, 6))}"
            for x, y, value in zip(side["x"], side["y"], side["figure"], strict=True)
        ]
        figure.add_scatter(
            x=side["x"], y=side["y"], mode="markers", marker=marker, hovertext=hover, hoverinfo="text",
            meta=name.role,
        )  # fmt: skip
    for line in zero:
        figure.add_scatter(
            x=[x for x, _y in line], y=[y for _x, y in line], mode="lines", hoverinfo="text",
            hovertext="Here the two come out even", line={"color": colours["ink"], "width": 2.5}, meta="even",
        )  # fmt: skip
    _lost(figure, frame, colours)
    figure.add_scatter(
        x=[axes[0][1]], y=[axes[1][1]], mode="markers", hoverinfo="text",
        hovertext="As it is now", meta="now",
        marker={"symbol": "cross-thin", "size": 22, "line": {"color": colours["ink"], "width": 2.5}},
    )  # fmt: skip
    for axis_name, column, now in (("xaxis", "x", axes[0][1]), (axis, "y", axes[1][1])):
        low, high = min(float(frame[column].min()), now), max(float(frame[column].max()), now)
        room = 0.07 * (high - low or 1.0)
        set_axis(
            figure, axis_name, type="linear", tickformat="", nticks=7, range=[low - room, high + room],
            automargin=True,
        )  # fmt: skip
    figure.add_annotation(
        text=plain(f"across: {axes[0][0]}"), x=1, y=0, xref="paper", yref="paper", xanchor="right",
        yanchor="top", yshift=-24, showarrow=False,
        font={"size": 12, "color": mix(colours["ink"], colours["quiet"], 0.3)},
    )  # fmt: skip
    return figure


def _lost(figure: go.Figure, frame: pd.DataFrame, colours: Colours) -> None:
    lost = frame[[not _is(value) for value in frame["figure"]]]
    if len(lost):
        figure.add_scatter(
            x=lost["x"], y=lost["y"], mode="markers", hoverinfo="text", meta="refused",
            hovertext="Cannot be worked out",
            marker={"symbol": "x-thin", "size": 8, "line": {"color": colours["quiet"], "width": 1}},
        )  # fmt: skip


def say_two_way(frame: pd.DataFrame, names: Names, has_line: bool, write: Write) -> str:
    """Say at how many points of the map each method is better, and whether they come out even anywhere."""
    known = [float(value) for value in frame["figure"] if _is(value)]
    if not known:
        return "None of these points can be worked out."
    ahead = sum(value > 0 for value in known)
    even = (
        "The line is where the two come out even"
        if has_line
        else "Nowhere between them do the two come out even"
    )
    lost = len(frame) - len(known)
    cannot = f" {lost} cannot be worked out: crossed small." if lost else ""
    return (
        f"{names[1].label} better at {ahead} of {len(known)} points, from {write(min(known))} to "
        f"{write(max(known))}. {even}; the cross is where it stands now; the larger a pane, the larger the "
        f"difference.{cannot}"
    )


# ------------------------------------------------------------------------------- what must be true


def distances(frame: pd.DataFrame, name: Named, most: int = 10) -> Html:
    """Draw how far inputs have to go for a target, nearest first, in widths of their own ranges.

    Parameters
    ----------
    frame : DataFrame
        ``label, now, needed, distance``.
    name : Named
        Whose target it is.
    most : int
        Rows drawn.
    """
    need(frame, ["label", "now", "needed", "distance"], "what would have to be true")
    longest = max([1.0, *(float(x) for x in frame["distance"])])
    rows = [
        (
            f"{row['label']}",
            [cuts.Bar(f"{row['needed']}", name.role, float(row["distance"]), f"instead of {row['now']}")],
        )
        for row in frame.head(most).to_dict("records")
    ]
    return cuts.bars(rows, "How far it has to go: the whole width is the width of its range", longest)


# -------------------------------------------------------------------------------------------- strokes


def _role(role: str) -> str:
    known = mark(role)
    return f"sp-m-{known.role.replace('_', '-')} sp-r-{known.rule.replace('_', '-')}"


def _is(value: Any) -> bool:
    return value is not None and value == value


def labels_of(names: Sequence[Named]) -> dict[str, str]:
    """Return the label of each method by its id."""
    return {name.id: name.label for name in names}
