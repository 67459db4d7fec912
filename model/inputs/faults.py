"""How is a fault in a table of a scenario file said?

Every kind of fault that pydantic finds is put into the user's words: where, what was found, what is
allowed and why, what to do. A key that stands misspelt is reported once, not as missing too.
"""

from __future__ import annotations

import datetime as dt
import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from model.inputs.shapes import DATE_WHY, MOST_ROWS, SHAPES, WRITTEN, Wanted, as_date
from model.inputs.syntax import DATES
from model.inputs.wording import Findings, clip, figure, in_unit, kind_of, shown

Part = TypeVar("Part", bound=BaseModel)


def unknown_key(where: str, key: str, known: Sequence[str], owner: str, found: Findings) -> None:
    """Say that a key is not known, and where it belongs or which known one is nearest."""
    home = next((WRITTEN[n] for n, shape in SHAPES.items() if key in shape.model_fields), None)
    if key in WRITTEN:
        elsewhere = f"It is a table of its own: write {WRITTEN[key]} on a line by itself."
    else:
        elsewhere = f"It belongs under {home}." if home else found.near(key, known)
    found.add(clip(where, 120), "this key is not known", f"{owner} knows {', '.join(known)}.", elsewhere)


def checked(shape: type[Part], row: Any, where: str, table: str, found: Findings) -> Part | None:
    """Return a table in its shape, or None after putting every fault into words."""
    try:
        return shape.model_validate(row)
    except ValidationError as error:
        faults = error.errors(include_url=False)
    strays = [(f["loc"][:-1], str(f["loc"][-1])) for f in faults if f["type"] == "extra_forbidden"][:100]
    for fault in faults:
        if fault["type"] == "missing" and _misspelt(fault["loc"], strays):
            continue  # the unknown key that stands for it is reported
        _say(fault, shape, where, table, found)
    return None


def _misspelt(loc: tuple[int | str, ...], strays: list[tuple[tuple[int | str, ...], str]]) -> bool:
    return any(
        parent == loc[:-1] and difflib.SequenceMatcher(None, stray[:80], str(loc[-1])).ratio() > 0.7
        for parent, stray in strays
    )


def _say(fault: ErrorDetails, shape: type[BaseModel], where: str, table: str, found: Findings) -> None:
    """Put one fault of a table into the user's words."""
    wanted, owner, path = _wanted(fault["loc"], shape, table)
    value, kind = fault["input"], fault["type"]
    place = where + path
    if kind == "extra_forbidden":
        known = list(SHAPES[owner].model_fields)
        unknown_key(place, str(fault["loc"][-1]), known, WRITTEN[owner], found)
    elif kind == "missing":
        example = f"Add {wanted.example}." if wanted.example else ""
        found.add(place, "this key is missing", f"It takes {wanted}. {wanted.why}", example)
    elif kind in ("greater_than_equal", "less_than_equal"):
        say_range(place, value, wanted, found)
    elif kind == "finite_number" or (isinstance(value, float) and not math.isfinite(value)):
        found.add(place, f"{shown(value)} is not a finite number", f"It takes {wanted}. {wanted.why}")
    elif kind == "not_a_date":
        words = clip(value) if isinstance(value, str) else f"{shown(value)} ({kind_of(value)})"
        found.add(place, f"{words} is not a date", DATES)
    elif kind in ("string_too_short", "too_short") and isinstance(value, str):
        found.add(place, "the text is empty", f"{wanted.why} It takes {wanted}.")
    elif kind in ("string_too_long", "too_long") and isinstance(value, str):
        found.add(place, f"the text has {len(value):,} characters", f"It takes {wanted}.", "Shorten it.")
    elif kind in ("too_short", "too_long"):
        count = "1 entry" if len(value) == 1 else f"{len(value):,} entries"
        found.add(place, f"the list has {count}", f"It takes {wanted}. {wanted.why}")
    elif kind == "not_one_line":
        found.add(
            place, f"{shown(value)} holds a line break or control character", "It is one line of plain text."
        )
    elif kind == "not_an_id":
        found.add(
            place,
            f"{shown(value)} is not an id",
            "An id is a letter, then letters, figures, _ or -.",
            "Put the words to be shown in label.",
        )
    else:  # every kind of wrong type
        found.add(
            place, f"{shown(value)} is {kind_of(value)}", f"It takes {wanted}.", remedy_for(value, wanted)
        )


def say_range(place: str, value: Any, wanted: Wanted, found: Findings) -> None:
    unit = in_unit(wanted.unit)
    low, high = figure(wanted.least), figure(wanted.most)
    below = value < wanted.least
    end = f"Set {low} or {'later' if isinstance(value, dt.date) else 'more'}."
    if not below:
        end = f"Set {high} or {'earlier' if isinstance(value, dt.date) else 'less'}."
    found.add(place, f"{shown(value)} is outside {low} to {high}{unit}", wanted.why, end)


def remedy_for(value: Any, wanted: Wanted) -> str:
    if "number" in wanted.words and isinstance(value, str):
        try:
            float(value)
        except ValueError:
            return "Write the figure alone, without words or unit."
        return f"Write {clip(value.strip())} without quotes."
    if wanted.words == "a whole number" and isinstance(value, float) and value.is_integer():
        return f"Write {int(value)}." if abs(value) < 1e15 else ""
    if wanted.words == "text" and not isinstance(value, (Mapping, list)):
        return "Put it in quotes."
    if wanted.words == "true or false":
        return "Write true or false without quotes."
    return f"For example {wanted.example}." if wanted.example else ""


def _wanted(loc: tuple[int | str, ...], shape: type[BaseModel], table: str) -> tuple[Wanted, str, str]:
    """Return what a place in a table takes, which table owns it, and its path as the file writes it."""
    wanted, owner, path = Wanted("a table of keys", example=f"{WRITTEN[table]} and its keys"), table, ""
    current: type[BaseModel] | None = shape
    for part in loc:
        if isinstance(part, int):
            path += f"[{part + 1}]"
            if current is None:
                items = "a whole number" if wanted.words.startswith("two whole") else wanted.words
                items = {
                    "a list of dates": "a date",
                    "a list of block names": "text",
                    "a list of pairs of numbers": "a pair of numbers",
                    "a pair of numbers": "a number",
                }.get(items, items)
                wanted = replace(wanted, words=items)
            continue
        path += f".{clip(part, 40)}"
        if current is not None and part in current.model_fields:
            extra: Any = current.model_fields[part].json_schema_extra
            wanted = extra["wanted"]
            current = wanted.inner
            owner = part if current is not None else owner
        elif wanted.words == "a table of element = option":
            wanted = Wanted("text", why="It is the name of an option.")
    return wanted, owner, path


def choice(
    where: str, word: str, known: Sequence[str], why: str, found: Findings, called: str = "one of"
) -> bool:
    if word in known:
        return True
    found.add(
        where,
        f"{shown(word)} is not {called} {', '.join(known)}",
        why,
        found.near(word, known),
    )
    return False


def date_or_none(value: Any) -> dt.date | None:
    try:
        day = as_date(value)
    except PydanticCustomError:
        return None
    return day if isinstance(day, dt.date) else None


def within(where: str, day: dt.date | None, least: dt.date, most: dt.date, found: Findings) -> None:
    if day is not None and not least <= day <= most:
        say_range(where, day, Wanted("a date", "", least, most, DATE_WHY), found)


def rows_of(tables: Mapping[str, Any], table: str, found: Findings) -> list[Any]:
    """Return the rows of a list of tables, or none after saying what stands there instead."""
    rows = tables.get(table, [])
    if not isinstance(rows, list):
        found.add(
            table,
            f"{shown(rows)} is {kind_of(rows)}, not a list of tables",
            f"Each one has a table of its own. Write [[{table}]] with two brackets.",
        )
        return []
    most = MOST_ROWS[table]
    if len(rows) > most:
        found.add(table, f"there are {len(rows):,}", f"At most {most} are read.", "Split the scenario.")
        return []
    return rows


def place_of(table: str, number: int, row: Any, key: str = "name") -> str:
    name = row.get(key) if isinstance(row, Mapping) else None
    if isinstance(name, str) and name.strip():
        return f"{table}[{number}] {clip(name.strip(), 30)!r}"
    return f"{table}[{number}]"


def no_twins(table: str, key: str, names: Sequence[str], found: Findings) -> None:
    seen: dict[str, int] = {}
    for number, name in enumerate(names, start=1):
        first = seen.setdefault(name.casefold(), number)
        if first != number:
            found.add(
                f"{table}[{number}].{key}",
                f"{shown(name)} is taken by {table}[{first}]",
                "Results are listed under it, capitals apart.",
                "Give each its own.",
            )
