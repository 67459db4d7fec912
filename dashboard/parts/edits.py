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
from model.inputs.scenario import OWN, Block, Crane, Scenario, Section, in_order, ready_method

GRID: Final = ("name", "storeys", "flats_per_storey", "start_weeks", "zones")
"""Figures of a block that stand in the table of blocks."""

WHOLE: Final = ("storeys", "flats_per_storey", "zones", "cores", "hoists")
"""Figures of a block that are counted."""

REASON: Final = "Set on the page."

MOST_COMPARED: Final = 6
"""Methods that have a mark of their own."""

WHOLE_BLOCK, BY_CORE, BY_SECTION = HANDED_OVER = ("block", "each core", "sections")
"""How a block is handed over: whole, core by core, or storeys by storeys from the ground up."""


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


def record_value(draft: Scenario, key: str) -> float:
    """Return the value of a library record in a draft, as every method without one of its own uses it."""
    settings = dict(draft.overrides)
    return settings[key][0] if key in settings else read_library()[key].value


def with_premium(draft: Scenario, key: str, reference: str, premium: float | None) -> Scenario:
    """Return the draft with the rate of an option set by what it costs beyond another's.

    Parameters
    ----------
    draft : Scenario
    key, reference : str
        Records of the option's rate, and of the rate of what it replaces, which stays.
    premium : float or None
        In the unit of both. None takes the option's rate back to the library.
    """
    if premium is None:
        return with_record(draft, key, None)
    return with_record(draft, key, round(record_value(draft, reference) + premium, 6))


PathSteps = tuple[tuple[float, float], ...]


def path_rows(path: PathSteps) -> pd.DataFrame:
    """Return the table of a path as it is first shown: columns month, value."""
    return pd.DataFrame(list(path), columns=["month", "value"]).astype("Float64")


def path_edited(base: PathSteps, edits: Mapping[str, Any]) -> tuple[PathSteps, int]:
    """Return a path as its table now shows it, in order of month, and how many rows lack a figure.

    Parameters
    ----------
    base : tuple of (float, float)
        The path the table was first shown with.
    edits : mapping
        As `with_grid`. A row that lacks a figure is not in the path.
    """
    changed = {int(row): columns for row, columns in edits.get("edited_rows", {}).items()}
    gone = {int(row) for row in edits.get("deleted_rows", ())}
    rows = [
        {"month": month, "value": value, **changed.get(place, {})}
        for place, (month, value) in enumerate(base)
        if place not in gone
    ]
    rows += [dict(row) for row in edits.get("added_rows", ())]
    steps: list[tuple[float, float]] = []
    lacking = 0
    for row in rows:
        month, value = (_figure(name, row.get(name)) for name in ("month", "value"))
        if month is not None and value is not None:
            steps.append((float(month), float(value)))
        elif month is not None or value is not None:
            lacking += 1
    return tuple(sorted(steps, key=lambda step: step[0])), lacking


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
    blocks[place] = _changed(blocks[place], _tidy(changes))
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
        (i, _changed(block, _tidy(by_row.get(i, {})))) for i, block in enumerate(base) if i not in gone
    ]
    for columns in edits.get("added_rows", ()):
        filled = {name: value for name, value in _tidy(columns).items() if value not in (None, "")}
        if filled:
            rows.append((None, _added(filled)))
    return _rebuilt(draft, rows, base)


def _changed(block: Block, changes: Mapping[str, Any]) -> Block:
    """Return a block with some figures changed; its topmost section goes on to the new top storey."""
    after = replace(block, **changes)
    if not block.sections or after.sections != block.sections or after.storeys == block.storeys:
        return after
    if not isinstance(after.storeys, int):
        return after
    sections = tuple(
        replace(section, last=after.storeys) if section.last == block.storeys else section
        for section in block.sections
    )
    return replace(after, sections=sections)


# ------------------------------------------------------------------------------------------- handover


def handed_over(block: Block) -> str:
    """Return which of `HANDED_OVER` a block is."""
    return BY_SECTION if block.sections else block.handover


def with_handover(draft: Scenario, place: int, how: str) -> Scenario:
    """Return the draft with one block handed over another way.

    Parameters
    ----------
    draft : Scenario
    place : int
        Which block, counted from 0.
    how : str
        One of `HANDED_OVER`. By section starts with two of about half the storeys, in which nothing is yet
        said to be kept apart. Core by core gives the block two cores and a pour to each, if it has fewer.
    """
    block = draft.blocks[place]
    if how == BY_SECTION:
        half = max(1, (block.storeys or 2) // 2)
        sections = (Section(1, half), Section(half + 1, max(block.storeys or 2, half + 1)))
        return with_block(draft, place, handover=WHOLE_BLOCK, sections=sections)
    if how == BY_CORE:
        cores = max(block.cores or 2, 2)
        zones = block.zones if block.zones is None or block.zones >= cores else cores
        return with_block(draft, place, handover=BY_CORE, sections=(), cores=cores, zones=zones)
    return with_block(draft, place, handover=WHOLE_BLOCK, sections=())


def with_section(draft: Scenario, place: int, number: int, **changes: Any) -> Scenario:
    """Return the draft with one section of one block changed; a section that met it still meets it.

    Parameters
    ----------
    draft : Scenario
    place, number : int
        Which block and which of its sections, counted from 0.
    **changes
        ``first``, ``last`` or one of `OWN`.
    """
    sections = list(draft.blocks[place].sections)
    before = sections[number]
    after = sections[number] = replace(before, **changes)
    for other, section in enumerate(sections):
        if other != number and section.first == before.last + 1:
            sections[other] = replace(section, first=after.last + 1)
        elif other != number and section.last == before.first - 1:
            sections[other] = replace(section, last=after.first - 1)
    return with_block(draft, place, sections=tuple(sections))


def with_one_section_more(draft: Scenario, place: int) -> Scenario:
    """Return the draft with the topmost section of one block parted in two."""
    *lower, top = draft.blocks[place].sections
    middle = (top.first + top.last) // 2
    own = {key: getattr(top, key) for key in OWN}
    parted = (Section(top.first, middle, **own), Section(middle + 1, max(top.last, middle + 1)))
    return with_block(draft, place, sections=(*lower, *parted))


def without_section(draft: Scenario, place: int, number: int) -> Scenario:
    """Return the draft without one section; the one beside it takes its storeys, the last but one both."""
    sections = list(draft.blocks[place].sections)
    gone = sections.pop(number)
    if len(sections) < 2:
        return with_handover(draft, place, WHOLE_BLOCK)
    if number:
        sections[number - 1] = replace(sections[number - 1], last=gone.last)
    else:
        sections[0] = replace(sections[0], first=gone.first)
    return with_block(draft, place, sections=tuple(sections))


# --------------------------------------------------------------------------------------------- cranes


def with_crane(draft: Scenario, place: int, **changes: Any) -> Scenario:
    """Return the draft with one entry of cranes changed; every block stays served by exactly one.

    Parameters
    ----------
    draft : Scenario
    place : int
        Which of `Scenario.served`, counted from 0.
    **changes
        ``name``, ``number`` or ``blocks``. A block taken over leaves the entry it had; a block let go gets
        a crane of its own; an entry without blocks is gone.
    """
    cranes = list(draft.served)
    cranes[place] = replace(cranes[place], **changes)
    taken = set(cranes[place].blocks)
    kept = [
        crane if i == place else replace(crane, blocks=tuple(b for b in crane.blocks if b not in taken))
        for i, crane in enumerate(cranes)
    ]
    return replace(
        draft, cranes=_as_given(_with_own([c for c in kept if c.blocks], draft.blocks), draft.blocks)
    )


def _with_own(cranes: Sequence[Crane], blocks: Sequence[Block]) -> tuple[Crane, ...]:
    """Give every block that no crane serves one of its own, under a name not yet used."""
    served = {name for crane in cranes for name in crane.blocks}
    found = list(cranes)
    for block in blocks:
        if block.name is None or block.name in served:
            continue
        used = {crane.name for crane in found}
        names = [block.name, *(f"{block.name} {number}" for number in range(2, 100))]
        found.append(Crane(next(name for name in names if name not in used), (block.name,)))
    return tuple(found)


def _as_given(cranes: tuple[Crane, ...], blocks: Sequence[Block]) -> tuple[Crane, ...]:
    """Return no cranes where they are what a file without any means: one to each block."""
    return () if cranes == tuple(Crane(block.name, (block.name,)) for block in blocks) else cranes


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
    return replace(draft, blocks=blocks, cranes=_with_own(cranes, blocks))
