"""Cuts: how is a length of time or a sum drawn as a strip cut by cause, or as a line with dates marked on it?

Like a dimension line on a drawing: the strip is to scale, every cut is named below it with a fine leader. The
names are laid out for three widths; the page's style shows the one that fits. Plain
values in, HTML out; nothing here knows Streamlit or the model.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from dashboard.parts.marks import mark
from dashboard.parts.theme import Html, method_name, text
from model.core.words import money

SHEET_PX, TABLE_PX, PHONE_PX = 1080.0, 660.0, 316.0
"""Widths at which names are kept apart: a wide page, a narrow one, a telephone. [px]"""

INSIDE_PX: Final = 6.4
"""Mean width of a letter within a piece. [px]"""

LETTER_PX: Final = 6.7
"""Mean width of a letter of a name. [px]"""

LEAST_NAMED: Final = 0.95
"""Pieces shorter than this are named by hovering and in the table only. [weeks]"""

LEAST_SHARE: Final = 0.008
"""The same of a sum, over the longest strip. [-]"""


@dataclass(frozen=True)
class Measure:
    """What the length of a piece stands for.

    Parameters
    ----------
    short, long : callable
        Take a length to words: beside its name, and when pointed at.
    least : callable
        Takes the longest strip to the length below which a piece is not named.
    """

    short: Callable[[float], str]
    long: Callable[[float], str]
    least: Callable[[float], float]


WEEKS: Final = Measure(lambda size: f"{size:.1f}", lambda size: f"{size:.1f} weeks", lambda _: LEAST_NAMED)
POUNDS: Final = Measure(money, money, lambda longest: LEAST_SHARE * longest)


@dataclass(frozen=True)
class Piece:
    """A part of a strip.

    Parameters
    ----------
    kind : str
        Part of a date, which gives the fill.
    name : str
        What it is called.
    size : float
        [weeks, or pounds]
    note : str
        What it means; shown when pointed at.
    group : str
        Pieces of one group in a row are named together on a telephone; empty for none.
    """

    kind: str
    name: str
    size: float
    note: str = ""
    group: str = ""


@dataclass(frozen=True)
class Strip:
    """One method's strip.

    Parameters
    ----------
    label, role : str
        Of the method.
    total : str
        What the whole comes to, in words.
    pieces : sequence of Piece
        In order; those of no length are left out.
    tick : float
        Length at which a tick stands on the strip; none at 0.
    """

    label: str
    role: str
    total: str
    pieces: Sequence[Piece]
    tick: float = 0.0


def strips(each: Sequence[Strip], said: str, measure: Measure = WEEKS) -> Html:
    """Return strips under one another, to one scale.

    Parameters
    ----------
    each : sequence of Strip
    said : str
        The same in words, for whoever cannot see it.
    measure : Measure
    """
    longest = max(sum(max(piece.size, 0.0) for piece in strip.pieces) for strip in each) or 1.0
    body = "".join(_strip(strip, longest, measure) for strip in each)
    return Html(f'<div class="sp-cuts" role="img" aria-label="{text(said)}">{body}</div>')


def _strip(strip: Strip, longest: float, measure: Measure) -> str:
    pieces = [piece for piece in strip.pieces if piece.size > 0]
    at, spans = 0.0, []
    for piece in pieces:
        left, wide = 100 * at / longest, 100 * piece.size / longest
        side = "sp-tip-left" if left > 55 else ""
        tip = f"<b>{measure.long(piece.size)}</b> {text(piece.name)}"
        tip += f"<br>{text(piece.note)}" if piece.note else ""
        inside = ""
        if _fits(piece, longest, measure):
            named = f"<b>{measure.short(piece.size)}</b> {text(piece.name)}"
            inside = f'<span class="sp-inside"><span>{named}</span></span>'
        spans.append(
            f'<span class="sp-piece sp-fill-{_dashed(piece.kind)}" tabindex="-1" '
            f'style="left:{left:.3f}%;width:{wide:.3f}%">{inside}'
            f'<span class="sp-tip {side}">{tip}</span></span>'
        )
        at += piece.size
    head = (
        f'<p class="sp-cut-head">{method_name(strip.label, strip.role)}<span>{text(strip.total)}</span></p>'
        '<i class="sp-rule" aria-hidden="true"></i>'
    )
    together = _grouped(pieces)
    if strip.tick > 0:
        spans.append(f'<span class="sp-tick" style="left:{100 * strip.tick / longest:.3f}%"></span>')
    names = (
        _names(pieces, longest, SHEET_PX, "sp-sheet", measure, within=True)
        + _names(together, longest, TABLE_PX, "sp-narrower", measure)
        + _names(together, longest, PHONE_PX, "sp-phone", measure)
    )
    return (
        f'<div class="sp-cut {_role(strip.role)}">{head}'
        f'<div class="sp-cut-strip">{"".join(spans)}</div>{names}</div>'
    )


def _grouped(pieces: Sequence[Piece]) -> list[Piece]:
    """Return pieces with neighbours of one group taken together."""
    together: list[Piece] = []
    for piece in pieces:
        if piece.group and together and together[-1].group == piece.group:
            size = together[-1].size + piece.size
            together[-1] = Piece(piece.kind, piece.group, size, group=piece.group)
        else:
            name = piece.group or piece.name
            together.append(Piece(piece.kind, name, piece.size, group=piece.group))
    return together


def _fits(piece: Piece, longest: float, measure: Measure) -> bool:
    """Return whether a piece's name can stand within it on a wide page, on at most two lines."""
    room = SHEET_PX * piece.size / longest - 12
    words = f"{measure.short(piece.size)} {piece.name}"
    return room >= INSIDE_PX * max(0.58 * len(words), *(len(word) for word in words.split()))


def _names(
    pieces: Sequence[Piece], longest: float, width: float, fits: str, measure: Measure, within: bool = False
) -> str:
    """Return the names below a strip, each with a leader; those that stand `within` their piece left out."""
    at, flags = 0.0, []
    least = measure.least(longest)
    for piece in pieces:
        if piece.size >= least and not (within and _fits(piece, longest, measure)):
            x = (at + min(piece.size / 2, 0.004 * longest)) / longest
            flags.append((x, measure.short(piece.size), piece.name))
        at += piece.size
    return _flags(flags, width, fits)


def _flags(flags: Sequence[tuple[float, str, str]], width: float, fits: str) -> str:
    stand = flag_rows([x * width for x, _b, _w in flags], [_long(f"{b} {w}") for _x, b, w in flags], width)
    items = "".join(
        f'<span class="sp-flag" style="left:{100 * x:.3f}%;--sp-row:{row};--sp-shift:{shift:.0f}px">'
        f"<span><b>{text(bold)}</b> {text(words)}</span></span>"
        for (x, bold, words), (row, shift) in zip(flags, stand, strict=True)
    )
    deep = 1 + max((row for row, _shift in stand), default=0)
    return f'<div class="sp-flags {fits}" style="--sp-rows:{deep}" aria-hidden="true">{items}</div>'


def flag_rows(places: Sequence[float], widths: Sequence[float], width: float) -> list[tuple[int, float]]:
    """Return the row of the name of each mark on a line, counted down, and how far it is moved to the left.

    A name begins at its leader, or further left where it would leave the sheet. It stands below every name
    whose leader it would cross; names of one row never touch. Where two names near the edge would each have
    to stand below the other, the upper one covers the other's leader.

    Parameters
    ----------
    places : sequence of float
        Of the leaders, ascending. [px]
    widths : sequence of float
        Of the names. [px]
    width : float
        Of the sheet. [px]

    Returns
    -------
    list of (int, float)
        Row, and the name's shift: 0 or less. [px]
    """
    begins = [max(0.0, min(x, width - wide)) for x, wide in zip(places, widths, strict=True)]
    rows: dict[int, int] = {}
    for i in reversed(range(len(places))):
        end = begins[i] + widths[i]
        free = [
            row
            for row in range(len(places) + 1)
            if not any(rows[j] == row and begins[i] < begins[j] + widths[j] and begins[j] < end for j in rows)
        ]
        clear = [
            row
            for row in free
            if not any(
                (rows[j] >= row and begins[i] - 1 < places[j] < end)
                or (rows[j] < row and begins[j] - 1 < places[i] < begins[j] + widths[j])
                for j in rows
            )
        ]
        rows[i] = (clear or free)[0]
    return [(rows[i], begins[i] - places[i]) for i in range(len(places))]


def calendar_line(points: Sequence[tuple[dt.date, str]], role: str, said: str) -> Html:
    """Return dates marked on a line to scale.

    Parameters
    ----------
    points : sequence of (date, str)
        In order of time.
    role : str
        Whose line it is.
    said : str
        The same in words.
    """
    first, last = points[0][0], points[-1][0]
    span = max((last - first).days, 1)
    flags = [((when - first).days / span, f"{when.day} {when:%b %Y}", words) for when, words in points]
    marks = "".join(f'<span class="sp-tick" style="left:{100 * x:.3f}%"></span>' for x, _b, _w in flags)
    names = "".join(
        _flags(flags, width, fits)
        for width, fits in ((SHEET_PX, "sp-sheet"), (TABLE_PX, "sp-narrower"), (PHONE_PX, "sp-phone"))
    )
    return Html(
        f'<div class="sp-cuts" role="img" aria-label="{text(said)}"><div class="sp-cut {_role(role)}">'
        f'<i class="sp-rule" aria-hidden="true"></i><div class="sp-line">{marks}</div>{names}</div></div>'
    )


@dataclass(frozen=True)
class Bar:
    """One method's bar of a row.

    Parameters
    ----------
    label, role : str
        Of the method.
    size : float
        Length; nothing is drawn for 0 or less.
    words : str
        What it comes to.
    """

    label: str
    role: str
    size: float
    words: str


def bars(rows: Sequence[tuple[str, Sequence[Bar]]], unit: str, longest: float = 0.0) -> Html:
    """Return rows of bars, one for each method, to one scale, each with its words.

    Parameters
    ----------
    rows : sequence of (str, sequence of Bar)
        What the row is of.
    unit : str
        What the length stands for, in words.
    longest : float
        Length that fills the room, where rows are to have the scale of others; 0 for the longest of these.
    """
    most = max([longest, *(bar.size for _name, each in rows for bar in each)]) or 1.0
    body = "".join(
        f'<div class="sp-bars-row"><p>{text(name)}</p>'
        f"<div>{''.join(_bar(bar, most) for bar in each)}</div></div>"
        for name, each in rows
    )
    return Html(f'<div class="sp-bars"><p class="sp-bars-unit">{text(unit)}</p>{body}</div>')


def _bar(bar: Bar, most: float) -> str:
    wide = 100 * max(bar.size, 0.0) / most
    none = "" if wide >= 0.5 else " sp-bar-none"
    return (
        f'<div class="sp-bar {_role(bar.role)}"><span class="sp-bar-way {_role(bar.role)}{none}">'
        f'<i class="sp-rule" style="width:{wide:.2f}%"></i></span>'
        f'<span class="sp-bar-words"><b>{text(bar.label)}</b> {text(bar.words)}</span></div>'
    )


def _long(words: str) -> float:
    return LETTER_PX * len(words) + 14


def _role(role: str) -> str:
    known = mark(role)
    return f"sp-m-{_dashed(known.role)} sp-r-{_dashed(known.rule)}"


def _dashed(words: str) -> str:
    return words.replace("_", "-").replace(" ", "-")
