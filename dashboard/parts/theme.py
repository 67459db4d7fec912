"""The look: which colours, which type, and how is a figure set on the page?

Paper and ink: one ground, one ink, hairlines instead of boxes, and colour kept for the methods. Nothing
here knows Streamlit or the model: functions take plain values and return escaped HTML or CSS as text.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from pathlib import Path

from dashboard.parts.marks import METHOD_MARKS, mark
from model.core.errors import RangeError

FONT = "Archivo"
FONT_STACK = f"{FONT}, 'Helvetica Neue', Helvetica, Arial, sans-serif"
FONTS_FOLDER = Path(__file__).resolve().parent.parent / "static" / "fonts"
"""TrueType and web fonts with their licence; the paper and the slides use the same folder."""

MODES = ("light", "dark")

_DRAWN: dict[str, dict[str, str]] = {
    "light": {
        "ground": "#FBF8F1",
        "ink": "#1E2B33",
        "quiet": "#5E6B70",
        "hairline": "#DAD3C4",
        "panels": "#0D6D66",
        "open_frame": "#B24A22",
        "open_frame_best": "#8A6A12",
        "lit": "#F6B73C",
    },
    "dark": {
        "ground": "#12181B",
        "ink": "#ECE7DC",
        "quiet": "#9FA8A6",
        "hairline": "#34403F",
        "panels": "#58BDB0",
        "open_frame": "#EC9465",
        "open_frame_best": "#DDB457",
        "lit": "#FFD97A",
    },
}


class Html(str):
    """Text that is already HTML; every other string is escaped before it reaches the page."""

    __slots__ = ()


@dataclass(frozen=True)
class Figure:
    """One headline figure.

    Parameters
    ----------
    value : str
        The figure as it is read, with its unit.
    label : str
        What it is.
    note : str
        What to hold it against; quiet.
    tone : str
        Role whose colour the value takes; empty for ink.
    """

    value: str
    label: str
    note: str = ""
    tone: str = ""


def mix(colour: str, other: str, share: float) -> str:
    """Mix two colours in the display's own scale.

    Parameters
    ----------
    colour, other : str
        Colours as ``#RRGGBB``.
    share : float
        Part of the first colour in the mixture. [-, 0 to 1]

    Raises
    ------
    RangeError
        If a colour is not six hexadecimal digits or the share is outside 0 to 1.

    Examples
    --------
    >>> mix("#000000", "#FFFFFF", 0.25)
    '#BFBFBF'
    """
    for given in (colour, other):
        if not re.fullmatch(r"#[0-9A-Fa-f]{6}", given):
            raise RangeError(
                f"{given!r} is not a colour. Write six hexadecimal digits after #, as in #1E2B33."
            )
    if not 0 <= share <= 1:
        raise RangeError(f"A share of {share:g} cannot be mixed. Give a share from 0 to 1.")
    pairs = zip(_channels(colour), _channels(other), strict=True)
    return "#" + "".join(f"{round(share * a + (1 - share) * b):02X}" for a, b in pairs)


def contrast(colour: str, ground: str) -> float:
    """Contrast ratio of two colours. [-, 1 to 21]

    References
    ----------
    W3C, *Web Content Accessibility Guidelines 2.2*, 2023: "contrast ratio" and "relative luminance".

    Examples
    --------
    >>> round(contrast("#000000", "#FFFFFF"), 6)
    21.0
    """
    lighter, darker = sorted((_luminance(colour), _luminance(ground)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@cache
def _tokens(mode: str) -> dict[str, str]:
    drawn = _DRAWN[mode]
    return drawn | {
        "wash": mix(drawn["ink"], drawn["ground"], 0.05),
        "fourth": mix(drawn["ink"], drawn["ground"], 0.8),
        "fifth": mix(drawn["panels"], drawn["ink"], 0.5),
        "sixth": mix(drawn["open_frame"], drawn["ink"], 0.5),
    }


def tokens(mode: str | None) -> dict[str, str]:
    """Return the colours of one mode, by name.

    Parameters
    ----------
    mode : {"light", "dark"} or None
        None, as before the browser has said which it shows, means light.

    Returns
    -------
    dict
        ``ground, ink, quiet, hairline, lit, wash`` and one entry for each role of `METHOD_MARKS`.

    Raises
    ------
    RangeError
        If the mode is neither light nor dark.
    """
    known = "light" if mode is None else mode
    if known not in MODES:
        raise RangeError(f"{mode!r} is not a mode of the page. Ask for 'light' or 'dark'.")
    return dict(_tokens(known))


def chart_colours(mode: str) -> list[str]:
    """Ten colours for the theme's own palette: the methods, ink, and tints of both.

    Ten, because the charting front end falls back to its own palette below that. All stand out from the
    ground by 3 to 1 or more, as shapes must (WCAG 2.2, 1.4.11).
    """
    colour = tokens(mode)
    ground, ink = colour["ground"], colour["ink"]
    named = [colour[name] for name in ("panels", "open_frame", "open_frame_best", "ink", "quiet")]
    faint = [mix(colour[name], ground, 0.8) for name in ("panels", "open_frame", "open_frame_best")]
    return [*named, *faint, mix(ink, ground, 0.75), mix(colour["quiet"], ground, 0.8)]


def css() -> str:
    """Return the page's style sheet, to be placed once on every page.

    Colours are given as light and dark pairs, so the sheet follows the page's mode by itself.
    """
    sheet = (Path(__file__).parent / "theme.css").read_text(encoding="utf-8")
    return f"<style>\n{variables()}\n{sheet}</style>"


def variables() -> str:
    """Return the colour and rule variables of every token and role as CSS."""
    light, dark = tokens("light"), tokens("dark")
    pairs = "".join(f"--sp-{_dashed(name)}:light-dark({light[name]},{dark[name]});" for name in light)
    plain = "".join(f"--sp-{_dashed(name)}:{light[name]};" for name in light)
    roles = "".join(
        f".sp-m-{_dashed(role)}{{--sp-method:var(--sp-{_dashed(role)})}}\n" for role in METHOD_MARKS
    )
    supported = "@supports (color:light-dark(red,red))"
    return f":root{{{plain}}}\n{supported}{{:root{{{pairs}}}}}\n@media print{{:root{{{plain}}}}}\n{roles}"


def text(value: object) -> Html:
    """Escape a value for the page; HTML made here passes unchanged."""
    return value if isinstance(value, Html) else Html(escape(str(value), quote=True))


def method_name(label: str, role: str) -> Html:
    """Return a method's name in its colour, underlined by its rule."""
    return Html(f'<span class="{_role_classes(role)} sp-name">{text(label)}</span>')


def sentence(*parts: str, under: Iterable[str] = ()) -> Html:
    """Return the page's answer: the largest type there is.

    Parameters
    ----------
    *parts : str or Html
        Pieces of the sentence, joined as they stand; plain strings are escaped.
    under : iterable of str or Html, optional
        Pieces of the quiet sentence below.
    """
    below = _join(under)
    quiet = f'<p class="sp-lead">{below}</p>' if below else ""
    return Html(f'<div class="sp-answer"><h1 class="sp-sentence">{_join(parts)}</h1>{quiet}</div>')


def lead(*parts: str) -> Html:
    """Return a quiet paragraph of running text."""
    return Html(f'<p class="sp-lead">{_join(parts)}</p>')


def section(title: str, *note: str) -> Html:
    """Return the heading of a part of a page, under a hairline, with a quiet note."""
    quiet = f'<p class="sp-note">{_join(note)}</p>' if note else ""
    return Html(f'<div class="sp-section"><h2>{text(title)}</h2>{quiet}</div>')


def caution(*parts: str) -> Html:
    """Return a sentence that hands a decision to the people who are licensed to take it."""
    return Html(f'<p class="sp-caution" role="note">{_join(parts)}</p>')


def figure_row(figures: Sequence[Figure]) -> Html:
    """Return three to five headline figures between hairlines.

    Raises
    ------
    RangeError
        If there are fewer than one or more than six figures; a longer list is a table.
    """
    if not 1 <= len(figures) <= 6:
        raise RangeError(
            f"{len(figures)} headline figures were given. Show 1 to 6 in a row; set more as a table."
        )
    return Html(
        f'<dl class="sp-figures" data-count="{len(figures)}">{"".join(_figure(one) for one in figures)}</dl>'
    )


def method_key(methods: Sequence[tuple[str, str]]) -> Html:
    """Return the key of a chart: each method's name with its rule.

    Parameters
    ----------
    methods : sequence of (label, role)
        In the order listed.
    """
    items = "".join(
        f'<li class="{_role_classes(role)}"><i class="sp-rule" aria-hidden="true"></i>{text(label)}</li>'
        for label, role in methods
    )
    return Html(f'<ul class="sp-key">{items}</ul>')


def table(
    headings: Sequence[str],
    rows: Iterable[Sequence[object]],
    *,
    numeric: Iterable[int] = (),
    roles: Mapping[int, str] | None = None,
    caption: str = "",
    total: bool = False,
) -> Html:
    """Return a table set in tabular figures; it scrolls within itself where the page is narrow.

    Parameters
    ----------
    headings : sequence of str
        One for each column.
    rows : iterable of sequences
        Cells as they are read; plain strings are escaped.
    numeric : iterable of int
        Columns set to the right, counted from 0.
    roles : mapping of int to str, optional
        Column to role: its heading carries the method's colour and rule.
    caption : str
        What the table holds.
    total : bool
        Whether the last row adds up the others.

    Raises
    ------
    RangeError
        If a row has more or fewer cells than there are headings.
    """
    right, played = set(numeric), roles or {}
    head = "".join(_heading(i, words, right, played) for i, words in enumerate(headings))
    filled = [list(row) for row in rows]
    for n, row in enumerate(filled, start=1):
        if len(row) != len(headings):
            raise RangeError(
                f"Row {n} of the table has {len(row)} cells under {len(headings)} headings. "
                "Give one cell for each heading."
            )
    body = "".join(
        f"<tr{_total_class(total and n == len(filled))}>{_cells(row, right)}</tr>"
        for n, row in enumerate(filled, start=1)
    )
    title = f"<caption>{text(caption)}</caption>" if caption else ""
    label = text(caption or ", ".join(headings))
    return Html(
        f'<div class="sp-table" tabindex="0" role="region" aria-label="{label}"><table>{title}'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _figure(figure: Figure) -> str:
    tone = f"{_role_classes(figure.tone)} sp-toned" if figure.tone else ""
    note = f'<dd class="sp-figure-note">{text(figure.note)}</dd>' if figure.note else ""
    return (
        f'<div class="sp-figure"><dt>{text(figure.label)}</dt>'
        f'<dd class="sp-figure-value {tone}">{text(figure.value)}</dd>{note}</div>'
    )


def _heading(column: int, words: str, right: set[int], roles: Mapping[int, str]) -> str:
    said = method_name(words, roles[column]) if column in roles else text(words)
    return f'<th scope="col" class="{_cell_class(column, right)}">{said}</th>'


def _cells(row: Sequence[object], right: set[int]) -> str:
    first = f'<th scope="row" class="{_cell_class(0, right)}">{text(row[0])}</th>' if row else ""
    return first + "".join(
        f'<td class="{_cell_class(i, right)}">{text(cell)}</td>' for i, cell in enumerate(row) if i
    )


def _cell_class(column: int, right: set[int]) -> str:
    return "sp-number" if column in right else "sp-words"


def _total_class(is_total: bool) -> str:
    return ' class="sp-total"' if is_total else ""


def _role_classes(role: str) -> str:
    known = mark(role)
    return f"sp-m-{_dashed(known.role)} sp-r-{_dashed(known.rule)}"


def _dashed(name: str) -> str:
    return name.replace("_", "-")


def _join(parts: Iterable[str]) -> str:
    return "".join(text(part) for part in parts)


def _channels(colour: str) -> list[int]:
    return [int(colour[start : start + 2], 16) for start in (1, 3, 5)]


def _luminance(colour: str) -> float:
    parts = [channel / 255 for channel in _channels(colour)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
