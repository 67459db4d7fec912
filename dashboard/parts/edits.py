"""Edits: what does one change on the page make of a scenario?

Pure functions from a draft to a draft. A draft may be wrong for a while (a block without storeys, a finish
its wall cannot carry): nothing is checked here, so that two changes which only go together can be made one
after the other. Checking is `Scenario.with_changes`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from model.inputs.assumption import read_library
from model.inputs.scenario import Block, Crane, Scenario, in_order, ready_method

GRID: Final = ("name", "storeys", "flats_per_storey", "start_weeks", "zones")
"""Figures of a block that stand in the table of blocks."""

WHOLE: Final = ("storeys", "flats_per_storey", "zones", "cores", "hoists")
"""Figures of a block that are counted."""

REASON: Final = "Set on the page."

MOST_COMPARED: Final = 6
"""Methods that have a mark of their own."""


def with_development(draft: Scenario, **changes: Any) -> Scenario:
    """Return the draft with figures of the development changed."""
    return replace(draft, development=replace(draft.development, **changes))


def with_record(draft: Scenario, key: str, value: float | None) -> Scenario:
    """Return the draft with a library record set for every method.

    Parameters
    ----------
    draft : Scenario
    key : str
    value : float or None
        In the record's unit. None, and the library's own value, take the record back to the library.
    """
    settings = dict(draft.overrides)
    if value is None or value == read_library()[key].value:
        settings.pop(key, None)
    elif key not in settings or settings[key][0] != value:
        settings[key] = (float(value), REASON)
    return replace(draft, overrides=in_order(settings))


def with_option(draft: Scenario, method_id: str, element: str, option: str) -> Scenario:
    """Return the draft with one option of one method changed."""
    methods = tuple(
        replace(method, options=tuple((e, option if e == element else o) for e, o in method.options))
        if method.id == method_id
        else method
        for method in draft.methods
    )
    return replace(draft, methods=methods)


def with_method(draft: Scenario, ready_id: str) -> Scenario:
    """Return the draft with a ready method compared too, in the last place."""
    return replace(draft, methods=(*draft.methods, ready_method(ready_id, read_library())))


def without_method(draft: Scenario, method_id: str) -> Scenario:
    """Return the draft without a method."""
    return replace(draft, methods=tuple(m for m in draft.methods if m.id != method_id))


def with_block(draft: Scenario, place: int, **changes: Any) -> Scenario:
    """Return the draft with figures of one block changed.

    Parameters
    ----------
    draft : Scenario
    place : int
        Which block, counted from 0.
    **changes
        Field to value; None leaves a figure to the library.
    """
    blocks = list(draft.blocks)
    blocks[place] = replace(blocks[place], **_tidy(changes))
    return _rebuilt(draft, [(i, block) for i, block in enumerate(blocks)], draft.blocks)


def grid_rows(blocks: Sequence[Block]) -> pd.DataFrame:
    """Return the table of blocks as it is first shown: one row for each, columns `GRID`."""
    rows = pd.DataFrame([[getattr(block, field) for field in GRID] for block in blocks], columns=list(GRID))
    kinds = {field: "Int64" if field in WHOLE else "Float64" for field in GRID if field != "name"}
    return rows.astype(kinds)


def with_grid(draft: Scenario, base: Sequence[Block], edits: Mapping[str, Any]) -> Scenario:
    """Return the draft with the blocks as the table now shows them.

    Parameters
    ----------
    draft : Scenario
    base : sequence of Block
        The blocks the table was first shown with.
    edits : mapping
        ``edited_rows`` (row to changed columns), ``added_rows`` (columns of each) and ``deleted_rows``: all
        that was done to the table since.
    """
    changed: Mapping[Any, Mapping[str, Any]] = edits.get("edited_rows", {})
    by_row = {int(row): columns for row, columns in changed.items()}
    gone = {int(row) for row in edits.get("deleted_rows", ())}
    rows: list[tuple[int | None, Block]] = [
        (i, replace(block, **_tidy(by_row.get(i, {})))) for i, block in enumerate(base) if i not in gone
    ]
    for columns in edits.get("added_rows", ()):
        filled = {name: value for name, value in _tidy(columns).items() if value not in (None, "")}
        if filled:
            rows.append((None, _added(filled)))
    return _rebuilt(draft, rows, base)


def _added(filled: Mapping[str, Any]) -> Block:
    """Return a new block; what it lacks is left for the check to name."""
    blank: dict[str, Any] = {"name": None, "storeys": None, "flats_per_storey": None}
    return Block(**{**blank, **filled})


def _tidy(columns: Mapping[str, Any]) -> dict[str, Any]:
    """Return figures as a file would hold them: whole numbers where counted, None where blank."""
    return {name: _figure(name, value) for name, value in columns.items() if name != "_index"}


def _figure(name: str, value: Any) -> Any:
    if value is None or value is pd.NA or (isinstance(value, float) and value != value):
        return None
    if name in WHOLE and isinstance(value, float) and value.is_integer():
        return int(value)
    return value


def _rebuilt(draft: Scenario, rows: Sequence[tuple[int | None, Block]], base: Sequence[Block]) -> Scenario:
    """Return the draft with these blocks; given cranes keep serving theirs, a new block gets its own."""
    blocks = tuple(block for _place, block in rows)
    if not draft.cranes:
        return replace(draft, blocks=blocks)
    new_name = {base[place].name: block.name for place, block in rows if place is not None}
    cranes = [
        replace(crane, blocks=kept)
        for crane in draft.cranes
        if (kept := tuple(new_name.get(name, name) for name in crane.blocks if name in new_name))
    ]
    served = {name for crane in cranes for name in crane.blocks}
    cranes += [Crane(b.name, (b.name,)) for b in blocks if b.name is not None and b.name not in served]
    return replace(draft, blocks=blocks, cranes=tuple(cranes))
