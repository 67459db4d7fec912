"""What does a scenario file say, and what is wrong with it?

From bytes to a `Scenario`: bytes to tables (`model.inputs.syntax`), tables to checked parts
(`model.inputs.shapes`), parts against each other (`model.inputs.checks`) and against the library
(`model.inputs.choices`). Every problem found is reported at once, in the user's words. Nothing but
`ScenarioError` leaves this module on bad input.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from pydantic_core import PydanticCustomError

from model.core.errors import ScenarioError
from model.inputs.assumption import Values, read_library
from model.inputs.checks import blocks_in, check_plates, cranes_in, development_in, odd_sizes
from model.inputs.choices import appearances, methods_in, overrides_in
from model.inputs.faults import unknown_key
from model.inputs.scenario import SETTING_TABLES, Scenario
from model.inputs.shapes import lines
from model.inputs.syntax import LARGEST_BYTES, MINIMUM, decoded, parsed, refusal, too_large
from model.inputs.wording import Findings, kind_of, shown

_TOP: Final = ("development", "blocks", "cranes", "methods", "money", "site", "overrides", "notes")


def load_scenario(path: str | Path, *, today: dt.date | None = None) -> Scenario:
    """Read a scenario file.

    Parameters
    ----------
    path : str or Path
        The file; ``-`` reads standard input.
    today : date, optional
        Day of reading, against which a start in the past is told; the present day by default.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        With every problem found: the file cannot be had, is too large, is not text or not TOML, or
        says what cannot be.
    """
    name = str(path)
    if name == "-":
        return read_scenario(sys.stdin.buffer.read(LARGEST_BYTES + 1), "standard input", today=today)
    try:
        place = Path(path)
        if place.is_dir():
            raise refusal(name, "is a folder", "Name the scenario file inside it.")
        size = place.stat().st_size
        if size > LARGEST_BYTES:
            raise too_large(name, size)
        with place.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise refusal(name, "there is no such file", "Check the path and the spelling.") from None
    except PermissionError:
        raise refusal(
            name, "this file may not be read", "Ask for the right to read it, or copy it."
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refusal(name, f"cannot be read ({reason})", "Check the path.") from None
    return read_scenario(content, place.name, today=today)


def read_scenario(text: str | bytes, name: str = "scenario", *, today: dt.date | None = None) -> Scenario:
    """Read the text of a scenario file.

    Parameters
    ----------
    text : str or bytes
        TOML; bytes are UTF-8, with or without a byte order mark.
    name : str
        How messages call the file.
    today : date, optional
        Day of reading; the present day by default.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        With every problem found.

    Examples
    --------
    >>> text = '''
    ... [development]
    ... name = "Sample Yard"
    ... place = "london"
    ... start = 2027-04-05
    ... [[blocks]]
    ... name = "East"
    ... storeys = 8
    ... flats_per_storey = 9
    ... '''
    >>> read_scenario(text).flats
    72
    """
    return read_tables(parsed(decoded(text, name), name), today=today)


def read_tables(tables: Mapping[str, Any], *, today: dt.date | None = None) -> Scenario:
    """Check the tables of a scenario file and make a scenario of them.

    Parameters
    ----------
    tables : mapping
        As `tomllib` gives them.
    today : date, optional
        Day of reading; the present day by default.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        With every problem found.
    """
    library = read_library()
    found = Findings()
    _top_level(tables, found)
    development = development_in(tables.get("development"), found, today or dt.date.today())
    blocks = blocks_in(tables, found)
    cranes = cranes_in(tables, blocks, found)
    overrides = overrides_in(tables, library, found)
    methods = methods_in(tables, library, found)
    notes = _notes(tables.get("notes", ""), found)
    whole = [block for block in blocks if block is not None]
    check_plates(whole, Values(library, dict(overrides)), found)
    if found.problems or development is None:
        raise ScenarioError(found.problems)
    odd_sizes(whole, found)
    appearances(methods, library, found)
    return Scenario(
        development, tuple(whole), methods, cranes, overrides, notes, tuple(dict.fromkeys(found.warnings))
    )


def _top_level(tables: Mapping[str, Any], found: Findings) -> None:
    for key in tables:
        if key not in _TOP:
            unknown_key(key, key, _TOP, "A scenario", found)
    if "development" not in tables:
        found.add("development", "this table is missing", MINIMUM, "Add [development] to the file.")
    for table in ("development", *SETTING_TABLES, "overrides"):
        if table in tables and not isinstance(tables[table], Mapping):
            found.add(table, f"{shown(tables[table])} is {kind_of(tables[table])}", _a_table(table))


def _a_table(table: str) -> str:
    return f"It takes a table. Write [{table}] on a line of its own, and its keys below."


def _notes(value: Any, found: Findings) -> str:
    if not isinstance(value, str):
        found.add("notes", f"{shown(value)} is {kind_of(value)}", "It takes text.", "Put it in quotes.")
        return ""
    if len(value) > 20_000:
        found.add(
            "notes", f"the text has {len(value):,} characters", "It takes 20,000 at most.", "Shorten it."
        )
        return ""
    tidy = value.replace("\r\n", "\n").strip()
    try:
        return lines(tidy)
    except PydanticCustomError:
        found.add(
            "notes", "the text holds a control character", "It takes lines of plain text.", "Delete it."
        )
        return ""
