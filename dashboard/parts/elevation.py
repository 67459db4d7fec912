"""Elevations: how far has each method come on a date?

Checks what is to be drawn, says it in words, and places the drawing on the page. The drawing itself lives
in ``elevation.js``: the date moves in the browser, without asking the server. Days are date numbers, counted
from 0 at the start; `date_number` turns an instant of the programme into one.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from functools import cache
from numbers import Real
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard.parts.marks import mark
from model.core.errors import RangeError

STATES = ("frame", "props", "open", "weathertight", "fitting", "finished", "lived")
"""States of a storey in order; a storey is in the furthest state whose day has come, before that in none."""

CLOSED = frozenset({"weathertight", "fitting", "finished", "lived"})
MOST_BLOCKS = 12
MOST_STOREYS = 60

Payload = Mapping[str, Any]


def date_number(finish: float) -> int:
    """Return the date on which something that ends at an instant is first seen done.

    Parameters
    ----------
    finish : float
        Instant, from 00:00 of the start on site. [days]

    Returns
    -------
    int
        ``ceil(finish) - 1``: what ends at 12.0 was done on date 11. Never below 0. [days]

    Examples
    --------
    >>> date_number(12.0), date_number(12.25)
    (11, 12)
    """
    if not math.isfinite(finish):
        raise RangeError(f"An instant of {finish} is on no date. Leave out what never happens, as None.")
    return max(0, math.ceil(finish) - 1)


def state_on(days: Mapping[str, float | None], day: float) -> str:
    """Return the state of a storey on a date.

    Parameters
    ----------
    days : mapping of state to day
        Day on which each state is reached; None or left out for never. [days]
    day : float
        Date asked about. [days]

    Returns
    -------
    str
        One of `STATES`, or ``none`` before the first.

    Examples
    --------
    >>> state_on({"frame": 10, "props": 12, "weathertight": 40}, 30)
    'props'
    """
    for state in reversed(STATES):
        reached = days.get(state)
        if reached is not None and reached <= day:
            return state
    return "none"


def count_on(method: Mapping[str, Any], day: float) -> dict[str, int]:
    """Count a method's storeys by state on a date.

    Returns
    -------
    dict
        A number for ``none`` and each of `STATES`, for ``closed`` (weathertight or further) and for
        ``storeys`` (all).
    """
    reached = Counter(state_on(days, day) for block in method["blocks"] for days in block["states"])
    count = {state: reached[state] for state in ("none", *STATES)}
    return count | {"closed": sum(reached[state] for state in CLOSED), "storeys": sum(reached.values())}


def say(payload: Payload, day: float | None = None) -> str:
    """Say in one sentence what the elevations show on a date.

    Parameters
    ----------
    payload : mapping
        As for `elevation`.
    day : float, optional
        Date asked about; the first one shown when left out. [days]
    """
    asked = payload["date"] if day is None else day
    shown = date.fromisoformat(payload["start"]) + timedelta(days=math.floor(asked))
    clauses = []
    for method in payload["methods"]:
        count = count_on(method, asked)
        lived = f"{count['lived'] or 'none'} lived in"
        clauses.append(f"{method['label']}: {lived}, {count['closed']} of {count['storeys']} weathertight")
    return f"On {shown.day} {shown:%B %Y}, storeys: {'; '.join(clauses)}."


def check(payload: Payload) -> None:
    """Refuse what cannot be drawn.

    Raises
    ------
    RangeError
        If a date cannot be read, methods do not show the same blocks, a block has another number of states
        than storeys, a size is not above zero, a day is not a number, or a crane stands at no block.
    """
    _check_start(payload.get("start"))
    _check_number("The span", payload.get("days"), least=1)
    _check_number("The date shown first", payload.get("date"), least=0)
    methods: Sequence[Mapping[str, Any]] = payload.get("methods", ())
    if not methods:
        raise RangeError("There is no method to draw. Give one or more under 'methods'.")
    shape = [block["name"] for block in methods[0]["blocks"]]
    for method in methods:
        mark(method["role"])
        names = [block["name"] for block in method["blocks"]]
        if names != shape:
            raise RangeError(
                f"{method['label']!r} shows the blocks {names}, but {methods[0]['label']!r} shows {shape}. "
                "Give every method the same blocks in the same order, so that they can be compared."
            )
        if not 1 <= len(names) <= MOST_BLOCKS:
            raise RangeError(
                f"{len(names)} blocks cannot be drawn side by side; 1 to {MOST_BLOCKS} can. Show fewer."
            )
        for block in method["blocks"]:
            _check_block(block)
        for crane in method.get("cranes", ()):
            _check_crane(crane, len(names))


def elevation(payload: Payload, key: str) -> None:
    """Draw the elevations of all methods on one date, with a slider and a play button.

    Parameters
    ----------
    payload : mapping
        ``start`` (ISO date), ``days`` (length of the span), ``date`` (day shown first) and ``methods``: for
        each ``label, role, blocks``, and optionally ``cranes`` and ``note_by_state`` (state to a sentence
        shown while a storey is in that state). A block has ``name, storeys, width_m, storey_height_m,
        ready`` and ``states``: for each storey, bottom up, a day or None for each of `STATES`. A crane has
        ``block`` (position), ``from`` and ``to``.
    key : str
        Name of this drawing on the page.

    Raises
    ------
    RangeError
        As `check`.
    """
    check(payload)
    plain = json.loads(json.dumps(payload, default=float))
    _component()(key=key, data=plain, width="stretch", height="content")


@cache
def _component() -> Any:
    here = Path(__file__).parent
    return st.components.v2.component(
        "storeypace_elevation",
        html='<div class="elevation"></div>',
        css=(here / "elevation.css").read_text(encoding="utf-8"),
        js=(here / "elevation.js").read_text(encoding="utf-8"),
    )


def _check_start(start: Any) -> None:
    try:
        date.fromisoformat(start)
    except (TypeError, ValueError):
        raise RangeError(f"{start!r} is not a start date. Write it as YYYY-MM-DD.") from None


def _check_number(what: str, value: Any, least: float) -> None:
    if isinstance(value, bool) or not isinstance(value, Real) or not math.isfinite(value):
        raise RangeError(f"{what} is {value!r}, which is not a number. Give a number of days.")
    if value < least:
        raise RangeError(f"{what} is {value:g} days, below {least:g}. Give {least:g} or more.")


def _check_block(block: Mapping[str, Any]) -> None:
    name, storeys = block["name"], block["storeys"]
    if not 1 <= storeys <= MOST_STOREYS:
        raise RangeError(f"Block {name!r} has {storeys} storeys; 1 to {MOST_STOREYS} can be drawn.")
    if len(block["states"]) != storeys:
        raise RangeError(
            f"Block {name!r} has {storeys} storeys but states for {len(block['states'])}. "
            "Give one entry for each storey, bottom up."
        )
    for size in ("width_m", "storey_height_m"):
        if not (math.isfinite(block[size]) and block[size] > 0):
            raise RangeError(f"Block {name!r}: {size} is {block[size]}. Give a length above 0 m.")
    days = [block["ready"], *(day for storey in block["states"] for day in storey.values())]
    for day in days:
        if day is not None:
            _check_number(f"Block {name!r}: a day", day, least=-math.inf)
    unknown = {state for storey in block["states"] for state in storey} - set(STATES)
    if unknown:
        raise RangeError(
            f"Block {name!r} names the states {sorted(unknown)}. The states are {', '.join(STATES)}."
        )


def _check_crane(crane: Mapping[str, Any], blocks: int) -> None:
    if not 0 <= crane["block"] < blocks:
        raise RangeError(
            f"A crane stands at block {crane['block']}, but blocks are counted from 0 to {blocks - 1}."
        )
    for end in ("from", "to"):
        _check_number(f"The hire of a crane, {end!r},", crane[end], least=-math.inf)
