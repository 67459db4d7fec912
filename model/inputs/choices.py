"""What does a scenario choose from the library: which figures, which options?

Overrides by library key, and methods made from the ready ones, each held against what the library
holds and what its unit allows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from model.inputs.assumption import Library
from model.inputs.faults import checked, choice, no_twins, place_of, remedy_for, rows_of
from model.inputs.scenario import (
    COMPARED,
    SETTING_TABLES,
    Method,
    Overrides,
    Setting,
    default_label,
    in_order,
    ready_method,
    ready_methods,
    sorted_options,
)
from model.inputs.shapes import MethodTable, SettingTable, Wanted
from model.inputs.wording import Findings, clip, figure, in_unit, kind_of, shown


def overrides_in(tables: Mapping[str, Any], library: Library, found: Findings) -> Overrides:
    """Return what the scenario sets for every method, by library key."""
    settings: dict[str, Setting] = {}
    for section in (*SETTING_TABLES, "overrides"):
        table = tables.get(section)
        if isinstance(table, Mapping):
            prefix = f"{section}." if section in SETTING_TABLES else ""
            _settings(table, section, prefix, settings, library, found)
    return in_order(settings)


def _settings(
    table: Mapping[str, Any],
    where: str,
    prefix: str,
    into: dict[str, Setting],
    library: Library,
    found: Findings,
) -> None:
    """Read a table of settings, nested or dotted, into values by key."""
    known = [key for key in library.records if key.startswith(prefix)] or list(library.records)
    leaves = sorted(_leaves(table, prefix, library), key=lambda leaf: leaf[0].endswith(PREMIUM))
    for rest, leaf in leaves:  # premiums last: they rest on rates that may be set beside them
        place = f"{where}.{clip(rest, 80)}" if prefix else f"{where} {clip(rest, 80)!r}"
        key = prefix + rest
        replaced = _replaced_rate(key, library)
        if replaced is not None:
            _premium(place, key, replaced, leaf, into, library, found)
            continue
        if key not in library.records:
            allowed = "Only what the library holds can be set."
            found.add(place, "the library has no such key", allowed, found.near(key, known, prefix))
            continue
        if key in into:
            found.add(place, "this key is set twice", "A figure has one value.", "Keep one of the two.")
            continue
        setting = _setting(place, key, leaf, library, found)
        if setting is not None:
            into[key] = setting


PREMIUM: Final = ".premium"
"""Last part of a key that gives an option's price over the price of what it replaces."""


def _replaced_rate(key: str, library: Library) -> str | None:
    """Return the rate a premium is counted from, or None where the key is no premium."""
    if not key.endswith(PREMIUM) or key.removesuffix(PREMIUM) + ".rate" not in library.records:
        return None
    _option, element, name = key.removesuffix(PREMIUM).split(".")
    other = library.data["option"][element][name]["replaces"]
    return None if other == name else f"option.{element}.{other}.rate"


def _premium(
    place: str,
    key: str,
    replaced: str,
    leaf: Any,
    into: dict[str, Setting],
    library: Library,
    found: Findings,
) -> None:
    """Turn a premium into the option's own rate, at the rate of what it replaces as this scenario has it."""
    rate = key.removesuffix(PREMIUM) + ".rate"
    if rate in into:
        found.add(
            place,
            f"{rate} is set beside it",
            "A price is given as a rate or as a premium over what it replaces.",
            "Keep one of the two.",
        )
        return
    base = into[replaced][0] if replaced in into else library[replaced].value
    table = dict(leaf) if isinstance(leaf, Mapping) else {"value": leaf}
    value = table.get("value")
    if isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value):
        unit = in_unit(library[rate].unit)
        table["value"] = base + value
        table.setdefault(
            "why", f"A premium of {figure(value)}{unit} over {figure(base)} ({library[replaced].label})."
        )
    setting = _setting(place, rate, table, library, found)
    if setting is not None:
        into[rate] = setting


def _leaves(table: Mapping[str, Any], prefix: str, library: Library) -> Iterator[tuple[str, Any]]:
    """Yield key and content of everything in a table that stands for a setting."""
    stack: list[tuple[str, Any]] = [(str(key), item) for key, item in reversed(list(table.items()))]
    while stack:
        path, item = stack.pop()
        if isinstance(item, Mapping) and "value" not in item and prefix + path not in library.records:
            stack.extend((f"{path}.{key}", child) for key, child in reversed(list(item.items())))
        else:
            yield path, item


def _setting(place: str, key: str, leaf: Any, library: Library, found: Findings) -> Setting | None:
    """Return value and reason of one setting, or None after saying what is wrong with it."""
    record = library[key]
    least, most = record.allowed()
    wanted = Wanted("a number", record.unit, least, most)
    takes = f'It takes {wanted} ({record.label}), alone or as {{ value = ..., why = "..." }}.'
    table = leaf if isinstance(leaf, Mapping) else {"value": leaf}
    try:
        raw = SettingTable.model_validate(table)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        stray = any(fault["type"] == "extra_forbidden" for fault in faults)
        for fault in faults:
            if not (stray and fault["type"] == "missing"):  # the stray key stands for it
                _say_setting(fault, place, takes, wanted, found)
        return None
    unit = in_unit(record.unit)
    if not least <= raw.value <= most:
        end = f"Set {figure(least)} or more." if raw.value < least else f"Set {figure(most)} or less."
        found.add(
            place,
            f"{figure(raw.value)} is outside {figure(least)} to {figure(most)}{unit}",
            f"Beyond that it has no meaning ({record.label}).",
            end,
        )
        return None
    if not record.low <= raw.value <= record.high:
        found.warn(
            place,
            f"{figure(raw.value)}{unit} is outside {figure(record.low)} to {figure(record.high)}{unit}, "
            f"the range known for it ({record.label}; {record.source}). It is used as given.",
        )
    return float(raw.value), raw.why


def _say_setting(fault: ErrorDetails, place: str, takes: str, wanted: Wanted, found: Findings) -> None:
    value, kind = fault["input"], fault["type"]
    name = str(fault["loc"][-1]) if fault["loc"] else ""
    if kind == "extra_forbidden":
        found.add(f"{place}.{clip(name, 40)}", "this key is not known", "A setting knows value and why.")
    elif kind == "missing":
        found.add(place, "no value is given", takes)
    elif kind == "finite_number":
        found.add(place, f"{shown(value)} is not a finite number", takes)
    elif kind == "string_too_long":
        found.add(f"{place}.why", f"the text has {len(value):,} characters", "It takes 500.", "Shorten it.")
    elif kind == "not_one_line":
        found.add(f"{place}.why", "the text holds a control character", "It takes lines of plain text.")
    elif name == "why":
        found.add(
            f"{place}.why", f"{shown(value)} is {kind_of(value)}", "It takes text.", "Put it in quotes."
        )
    else:
        found.add(place, f"{shown(value)} is {kind_of(value)}", takes, remedy_for(value, wanted))


def methods_in(tables: Mapping[str, Any], library: Library, found: Findings) -> tuple[Method, ...]:
    """Return the methods compared; the two ready ones where none is named.

    A name that is both a ready method's and an earlier one's of the scenario means the ready one.
    """
    rows = rows_of(tables, "methods", found)
    if not tables.get("methods"):
        return tuple(ready_method(method_id, library) for method_id in COMPARED)
    if len(rows) == 1:
        found.add(
            "methods",
            "there is only one",
            "A comparison needs two methods or more.",
            f"Add another [[methods]], or leave out all of them to compare {' with '.join(COMPARED)}.",
        )
    ready = {method_id: ready_method(method_id, library) for method_id in ready_methods(library)}
    earlier: dict[str, Method | None] = {}
    for number, row in enumerate(rows, start=1):
        name = row.get("id") if isinstance(row, Mapping) else None
        method = _method(number, row, {**ready, **earlier, **ready}, library, found)
        like = row.get("like") if isinstance(row, Mapping) else None
        if method is not None and like in ready and like in earlier and earlier[like] != ready[like]:
            where = place_of("methods", number, row, "id")
            found.warn(f"{where}.like", f"{like!r} is taken to be the library's, not this scenario's own.")
        earlier[name.strip() if isinstance(name, str) else f"{number}"] = method
    ids = [row["id"].strip() for row in rows if isinstance(row, Mapping) and isinstance(row.get("id"), str)]
    if len(ids) == len(rows):
        no_twins("methods", "id", ids, found)
    known = [method for method in earlier.values() if method is not None]
    if len(known) == len(rows):  # charts and tables are listed by label
        no_twins("methods", "label", [method.label for method in known], found)
    return tuple(method for method in earlier.values() if method is not None)


def _method(
    number: int, row: Any, bases: Mapping[str, Method | None], library: Library, found: Findings
) -> Method | None:
    where = place_of("methods", number, row, "id")
    before = len(found.problems)
    raw = checked(MethodTable, row, where, "methods", found)
    table = row if isinstance(row, Mapping) else {}
    options = {
        element: option.strip()
        for element, option in _mapping(table.get("options")).items()
        if isinstance(option, str) and _option(where, element, option.strip(), library, found)
    }
    settings: dict[str, Setting] = {}
    _settings(_mapping(table.get("overrides")), f"{where}.overrides", "", settings, library, found)
    like = raw.like or raw.id if raw is not None else None
    if like is None or not _like(where, like, raw, bases, found) or len(found.problems) > before:
        return None
    base = bases[like]
    if raw is None or base is None:
        return None
    options = {**dict(base.options), **options}
    _go_together(where, options, library, found)
    return Method(
        id=raw.id,
        label=raw.label or default_label(raw.id, library),
        like=base.like,
        options=sorted_options(options, library),
        overrides=in_order({**dict(base.overrides), **settings}),
    )


def _mapping(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _like(
    where: str, like: str, raw: MethodTable | None, bases: Mapping[str, Method | None], found: Findings
) -> bool:
    if like in bases:
        return True
    if raw is not None and raw.like is None:
        found.add(
            f"{where}.like",
            "this key is missing",
            f"It names the method this one is made from: {', '.join(bases)}.",
            f'Add like = "{next(iter(bases))}".',
        )
        return False
    return choice(f"{where}.like", like, tuple(bases), "A method is like a ready or an earlier one.", found)


def _option(where: str, element: str, option: str, library: Library, found: Findings) -> bool:
    elements = tuple(library.data.get("element", {}))
    place = f"{where}.options"
    if not choice(place, element, elements, "Options are chosen by element.", found, "an element:"):
        return False
    known = tuple(library.data.get("option", {}).get(element, {}))
    return choice(
        f"{place}.{element}", option, known, "The library knows these options of the element.", found
    )


def _go_together(where: str, options: Mapping[str, str], library: Library, found: Findings) -> None:
    """Check that options which need another element made in a certain way have it so."""
    for element, option in options.items():
        for other, names in library.data["option"][element][option].get("goes_with", {}).items():
            if options[other] not in names:
                found.add(
                    f"{where}.options.{element}",
                    f"{option!r} does not go with {other} = {options[other]!r}",
                    f"It goes with {other} = {' or '.join(map(repr, names))}.",
                    "Change one of the two.",
                )


def appearances(methods: Sequence[Method], library: Library, found: Findings) -> None:
    """Warn where methods would not look alike: their prices then compare different buildings."""
    options = library.data.get("option", {})
    looks: dict[str, str] = {}
    for method in methods:
        seen = [options[element][option].get("appearance") for element, option in method.options]
        looks[method.label] = ", ".join(sorted({str(look) for look in seen if look}))
    if len(set(looks.values())) > 1:
        words = "; ".join(f"{label}: {look or 'not said'}" for label, look in looks.items())
        found.warn("methods", f"the visible finishes differ ({words}), so prices are of different buildings.")
