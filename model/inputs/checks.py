"""Do the parts of a development agree with each other?

The development, its blocks and its cranes, each in its shape, then held against one another: names,
dates, ranges of storeys, what is handed over at once, who is served by which crane, whether the flats
fit on the plate. What is legal but odd becomes a warning.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from model.inputs.assumption import Values
from model.inputs.climate import PLACES
from model.inputs.faults import checked, choice, date_or_none, no_twins, place_of, rows_of, within
from model.inputs.scenario import (
    HANDOVERS,
    OWN,
    PRIORITIES,
    RENT_EXITS,
    TENURES,
    TERRAINS,
    Block,
    Crane,
    Development,
    Section,
    Storeys,
)
from model.inputs.shapes import (
    EARLIEST,
    LATEST,
    BlockTable,
    CraneTable,
    DevelopmentTable,
    SectionTable,
    StoreysTable,
)
from model.inputs.syntax import MINIMUM
from model.inputs.wording import Findings, clip, figure, nearest, shown

MOST_FLATS: Final = 3000
"""Flats beyond which one development is unusual, and worth a warning. [flats]"""


def development_in(row: Any, found: Findings, today: dt.date) -> Development | None:
    if not isinstance(row, Mapping):
        return None
    before = len(found.problems)
    raw = checked(DevelopmentTable, row, "development", "development", found)
    # words and dates are held against what is known even where another key is at fault
    for key, known, why in (
        ("place", PLACES, "Climate and bank holidays are known for these places only."),
        ("terrain", TERRAINS, "It sets the wind at the hook."),
        ("priority", PRIORITIES, "It sets whose work goes first."),
        ("tenure", TENURES, "It sets how the flats earn."),
        ("rent_exit", RENT_EXITS, "It sets when flats let are sold whole."),
    ):
        word = row.get(key)
        if isinstance(word, str) and word.strip():
            choice(f"development.{key}", word.strip(), known, why, found)
    start, purchase = date_or_none(row.get("start")), date_or_none(row.get("purchase"))
    longstop = date_or_none(row.get("longstop"))
    within("development.start", start, EARLIEST, LATEST, found)
    within("development.purchase", purchase, dt.date(2005, 1, 1), LATEST, found)
    for number, day in enumerate(row.get("extra_closed", []) if raw else [], start=1):
        where = f"development.extra_closed[{number}]"
        within(where, date_or_none(day), EARLIEST, dt.date(2065, 12, 31), found)
    if start is not None and purchase is not None and purchase > start:
        found.add(
            "development.purchase",
            f"{purchase} is after the start on site, {start}",
            "Land is bought before work starts on it.",
            "Set an earlier purchase, or leave it out.",
        )
    if start is not None and longstop is not None and longstop <= start:
        found.add(
            "development.longstop",
            f"{longstop} is not after the start on site, {start}",
            "It is the date by which the last handover is owed.",
            "Set a later date, or leave it out.",
        )
    if raw is not None:
        for key, least, most, what in _PATHS:
            _path(f"development.{key}", getattr(raw, key), least, most, what, found)
    if raw is None or len(found.problems) > before:
        return None
    if raw.start < today:
        found.warn("development.start", f"{raw.start} is in the past; today is {today}. It is used as given.")
    fields = {name: getattr(raw, name) for name in DevelopmentTable.model_fields}
    fields |= {key: tuple((float(a), float(b)) for a, b in fields[key]) for key, *_rest in _PATHS}
    return Development(**{**fields, "extra_closed": tuple(sorted(set(raw.extra_closed)))})


def _path(
    place: str, path: Sequence[Sequence[float]], least: float, most: float, what: str, found: Findings
) -> None:
    """Check the steps of a path: pairs, months that rise, figures with a meaning."""
    before = -math.inf
    for number, pair in enumerate(path, start=1):
        where = f"{place}[{number}]"
        if len(pair) != 2:
            count = "1 figure" if len(pair) == 1 else f"{len(pair)} figures"
            found.add(
                where, f"there is {count}", f"A step is two: the month after start on site, and {what}."
            )
            continue
        month, value = pair
        if month != round(month):
            found.add(
                where, f"{figure(month)} is not a whole month", "Steps begin with a month.", "Round it."
            )
        if not -240 <= month <= 480 or month <= before:
            found.add(
                where,
                f"month {figure(month)} does not come after the step before it, or lies outside -240 to 480",
                "Steps stand in order of time.",
                "Put them in order, one a month at most.",
            )
        if not least <= value <= most:
            found.add(
                where, f"{figure(value)} is outside {figure(least)} to {figure(most)}", f"It is {what}."
            )
        before = max(before, month)


_PATHS: Final = (
    ("base_rate_path", -2.0, 30.0, "the base rate from then on, in % a year"),
    ("price_path", 10.0, 400.0, "prices then over those of today, in %"),
)
"""Paths of a development: least and greatest figure with a meaning, and what it is."""


def blocks_in(tables: Mapping[str, Any], found: Findings) -> list[Block | None]:
    """Return the blocks in order, None where one is at fault."""
    rows = rows_of(tables, "blocks", found)
    if not rows and isinstance(tables.get("blocks", []), list) and len(tables.get("blocks", [])) == 0:
        found.add("blocks", "there is no block", MINIMUM, "Add [[blocks]] to the file.")
    blocks = [_block(number, row, found) for number, row in enumerate(rows, start=1)]
    no_twins("blocks", "name", names_of(rows, "Block"), found)
    return blocks


def _block(number: int, row: Any, found: Findings) -> Block | None:
    where = place_of("blocks", number, row)
    raw = checked(BlockTable, row, where, "blocks", found)
    word = row.get("handover") if isinstance(row, Mapping) else None
    if isinstance(word, str) and word.strip():
        choice(f"{where}.handover", word.strip(), HANDOVERS, "It sets what is handed over at once.", found)
    word = row.get("tenure") if isinstance(row, Mapping) else None
    if isinstance(word, str) and word.strip():
        choice(f"{where}.tenure", word.strip(), TENURES, "It sets how the flats earn.", found)
    if raw is None:
        return None
    ranges = [_range(where, i, item, raw.storeys, found) for i, item in enumerate(raw.ranges, start=1)]
    whole = sorted((r for r in ranges if r is not None), key=lambda r: r.first)
    for lower, upper in itertools.pairwise(whole):
        if upper.first <= lower.last:
            found.add(
                f"{where}.ranges",
                f"storeys {lower.first} to {lower.last} and {upper.first} to {upper.last} overlap",
                "A storey has one plan.",
                f"Start the upper range at {lower.last + 1}, or end the lower one at {upper.first - 1}.",
            )
    fields = {name: getattr(raw, name) for name in BlockTable.model_fields}
    fields["name"] = raw.name or f"Block {number}"
    sections = _sections(where, raw, found)
    _by_core(where, raw, found)
    return Block(**{**_floats(fields, Block), "ranges": tuple(whole), "sections": sections})


def _range(where: str, number: int, raw: StoreysTable, storeys: int, found: Findings) -> Storeys | None:
    if not _inside(f"{where}.ranges[{number}].storeys", raw.storeys, storeys, "range", found):
        return None
    fields = {name: getattr(raw, name) for name in StoreysTable.model_fields if name != "storeys"}
    return Storeys(*raw.storeys, **_floats(fields, Storeys))


def _inside(place: str, span: Sequence[int], storeys: int, word: str, found: Findings) -> bool:
    """Check that first and last storey, in this order, lie in the block."""
    first, last = span
    if 1 <= first <= last <= storeys:
        return True
    found.add(
        place,
        f"{figure(first)} to {figure(last)} is not a range of the storeys 1 to {storeys}",
        f"A {word} is written lowest storey first and lies inside the block.",
        f"For example storeys = [1, {min(2, storeys)}].",
    )
    return False


def _sections(where: str, raw: BlockTable, found: Findings) -> tuple[Section, ...]:
    """Return the parts handed over one after the other, lowest first, after checking that they may be."""
    if not raw.sections:
        return ()
    top = max(raw.sections, key=lambda item: item.storeys)
    whole = []
    for number, item in enumerate(raw.sections, start=1):
        place = f"{where}.sections[{number}]"
        if item is not top:
            _kept_apart(place, item, found)
        if _inside(f"{place}.storeys", item.storeys, raw.storeys, "section", found):
            first, last = item.storeys
            whole.append(Section(first, last, **{key: getattr(item, key) for key in OWN}))
    whole.sort(key=lambda section: (section.first, section.last))
    if len(raw.sections) == 1:
        found.add(
            f"{where}.sections",
            "there is only one",
            "Sections part a block into two or more, handed over one after the other.",
            "Add another [[blocks.sections]], or leave it out to hand over the block whole.",
        )
    elif len(whole) == len(raw.sections):
        _one_on_another(f"{where}.sections", whole, raw.storeys, found)
        lived_in = _storeys(1, top.storeys[0] - 1)
        found.warn(
            f"{where}.sections",
            f"{lived_in} lived in below live work. Local codes and licensed practice decide "
            "whether that may be.",
        )
    return tuple(whole)


def _kept_apart(place: str, section: SectionTable, found: Findings) -> None:
    """Check that those who live below the work have all that they need for themselves."""
    lacking = [key for key in OWN if not getattr(section, key)]
    if not lacking:
        return
    *others, last = lacking
    words = f"{', '.join(others)} and {last} are" if others else f"{last} is"
    found.add(
        place,
        f"{words} not set true",
        "People would live there below a building site: they need their own stair, lift, riser and way in, "
        "kept apart from the work; the fire and building-control authorities and licensed designers decide.",
        f"Set {'each' if others else 'it'} true if the design has it, or leave out all [[blocks.sections]] "
        "to hand over the block whole.",
    )


def _one_on_another(place: str, sections: Sequence[Section], storeys: int, found: Findings) -> None:
    """Check that sections in order of storey go from the ground to the top without gap or overlap."""
    rule = f"Each storey from 1 to {storeys} lies in exactly one section."
    gap = "Widen a section beside it, or add another [[blocks.sections]]."
    below = Section(0, 0)
    for section in sections:
        if section.first > below.last + 1:
            found.add(place, f"{_storeys(below.last + 1, section.first - 1)} in no section", rule, gap)
        elif section.first <= below.last:
            found.add(
                place,
                f"storeys {below.first} to {below.last} and {section.first} to {section.last} overlap",
                rule,
                f"Start the upper one at {below.last + 1}."
                if section.last > below.last
                else "Take one of the two out.",
            )
        below = max(below, section, key=lambda item: item.last)
    if below.last < storeys:
        found.add(place, f"{_storeys(below.last + 1, storeys)} in no section", rule, gap)


def _storeys(first: int, last: int) -> str:
    return f"storey {first} is" if first == last else f"storeys {first} to {last} are"


def _by_core(where: str, raw: BlockTable, found: Findings) -> None:
    """Check what is given of a block whose cores are handed over each by itself."""
    if raw.handover != "each core":
        return
    if raw.sections:
        found.add(
            f"{where}.sections",
            'they stand together with handover = "each core"',
            "A block is handed over core by core or section by section, not both.",
            "Leave out one of the two.",
        )
    if raw.cores == 1:
        found.add(
            f"{where}.cores",
            'there is 1, with handover = "each core"',
            "Cores handed over each by itself are two or more.",
            'Set 2 or more, or handover = "block".',
        )
    least = max(raw.cores or 2, 2)
    if raw.zones is not None and raw.zones < least:
        found.add(
            f"{where}.zones",
            f"{raw.zones} for {least} cores{' or more' if raw.cores is None else ''}, "
            'with handover = "each core"',
            "A core handed over by itself needs a pour of its own on every storey.",
            f'Set {least} or more, or handover = "block".',
        )


def _floats(fields: dict[str, Any], record: type) -> dict[str, Any]:
    """Turn whole numbers into floats where the record holds measures: 3 m and 3.0 m are one value."""
    kinds = record.__annotations__
    return {
        name: float(value) if isinstance(value, int) and str(kinds[name]).startswith("float") else value
        for name, value in fields.items()
    }


def names_of(rows: Sequence[Any], word: str) -> list[str]:
    """Return the names of rows as written, a number standing for a name left out."""
    names = []
    for number, row in enumerate(rows, start=1):
        name = row.get("name") if isinstance(row, Mapping) else None
        names.append(name.strip() if isinstance(name, str) and name.strip() else f"{word} {number}")
    return names


def cranes_in(tables: Mapping[str, Any], blocks: list[Block | None], found: Findings) -> tuple[Crane, ...]:
    rows = rows_of(tables, "cranes", found)
    raws = [
        checked(CraneTable, row, place_of("cranes", n, row), "cranes", found)
        for n, row in enumerate(rows, start=1)
    ]
    names = names_of(rows, "Crane")
    no_twins("cranes", "name", names, found)
    cranes = tuple(
        Crane(name, tuple(raw.blocks), raw.number)
        for name, raw in zip(names, raws, strict=True)
        if raw is not None
    )
    if rows and len(cranes) == len(rows) and blocks:
        _service(rows, cranes, names_of(rows_of(tables, "blocks", Findings()), "Block"), found)
    return cranes


def _service(rows: Sequence[Any], cranes: Sequence[Crane], blocks: Sequence[str], found: Findings) -> None:
    """Check that every block is served by exactly one crane."""
    server: dict[str, str] = {}
    guessed: set[str] = set()
    for number, (row, crane) in enumerate(zip(rows, cranes, strict=True), start=1):
        where = f"{place_of('cranes', number, row)}.blocks"
        for name in crane.blocks:
            if name not in blocks:
                guessed.add(nearest(name, blocks))
                allowed = f"The blocks are {', '.join(clip(block, 30) for block in blocks)}."
                found.add(where, f"there is no block {shown(name)}", allowed, found.near(name, blocks))
            elif name in server:
                found.add(
                    where,
                    f"block {shown(name)} is already served by crane {shown(server[name])}",
                    "A block is served by exactly one crane.",
                    "Take it out of one of the two.",
                )
            else:
                server[name] = crane.name
    for name in blocks:
        if name not in server and name not in guessed:
            found.add(
                "cranes",
                f"block {shown(name)} is served by no crane",
                "A block is served by exactly one crane.",
                "Add its name to the blocks of one, or leave out all [[cranes]] for one crane a block.",
            )


def check_plates(blocks: Sequence[Block], values: Values, found: Findings) -> None:
    """Check that the flats fit on the plate and that the facade can go round it."""
    area_of_flat = values.get("block.flat_area", 0.0)
    for number, block in enumerate(blocks, start=1):
        where = f"blocks[{number}] {block.name!r}"
        flat = area_of_flat if block.flat_area_m2 is None else block.flat_area_m2
        plans = [(where, block.flats_per_storey, block.plate_area_m2, block.facade_length_m)]
        for i, item in enumerate(block.ranges, start=1):
            plans.append(
                (
                    f"{where}.ranges[{i}]",
                    block.flats_per_storey if item.flats_per_storey is None else item.flats_per_storey,
                    block.plate_area_m2 if item.plate_area_m2 is None else item.plate_area_m2,
                    block.facade_length_m if item.facade_length_m is None else item.facade_length_m,
                )
            )
        for place, flats, plate, facade in plans:
            _plate(place, flats, flat, plate, facade, found)


def _plate(
    place: str, flats: int, flat_m2: float, plate_m2: float | None, facade_m: float | None, found: Findings
) -> None:
    if plate_m2 is None:
        return
    if flats * flat_m2 > plate_m2:
        found.add(
            f"{place}.plate_area_m2",
            f"{figure(plate_m2)} m2 is less than {flats} flats of {figure(flat_m2)} m2",
            "Flats, walls, corridor and core all lie on the plate.",
            "Set a larger plate, fewer flats_per_storey or a smaller flat_area_m2.",
        )
    shortest = 2.0 * math.sqrt(math.pi * plate_m2)
    if facade_m is not None and facade_m < shortest:
        found.add(
            f"{place}.facade_length_m",
            f"{figure(facade_m)} m cannot go round a plate of {figure(plate_m2)} m2",
            f"Even a circle of that area needs {shortest:.1f} m.",
            "Set a longer facade or a smaller plate.",
        )


_ODD: Final[tuple[tuple[str, float, float, str], ...]] = (
    # key, usual least, usual most, unit: beyond these a block is legal but worth a second look
    ("flat_area_m2", 20, 250, "m2"),
    ("plate_depth_m", 8, 30, "m"),
    ("glazing_pct", 10, 80, "%"),
    ("storey_height_m", 2.6, 4.5, "m"),
    ("substructure_weeks", 4, 104, "weeks"),
    ("start_weeks", 0, 260, "weeks"),
    ("price_gbp_m2", 1000, 40_000, "GBP/m2"),
)


def odd_sizes(blocks: Sequence[Block], found: Findings) -> None:
    for number, block in enumerate(blocks, start=1):
        for key, least, most, unit in _ODD:
            value = getattr(block, key)
            if value is not None and not least <= value <= most:
                found.warn(
                    f"blocks[{number}] {block.name!r}.{key}",
                    f"{figure(value)} {unit} is outside the usual {figure(least)} to {figure(most)} {unit}. "
                    "It is used as given.",
                )
    flats = sum(block.flats for block in blocks)
    if flats > MOST_FLATS:
        found.warn(
            "blocks", f"{flats:,} flats in all is more than the usual {MOST_FLATS:,} of one development."
        )
