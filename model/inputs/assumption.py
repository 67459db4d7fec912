"""What is assumed, within what range, on whose word?

A record is one figure a reasonable person might choose differently: value, low, high, unit,
evidence grade, mark, source, note. All live as data in `library/*.toml`; the code reads them by key.
Numbers fixed by a standard are not here: they are constants beside their clause.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from importlib import resources
from typing import Any, Final

from model.core.errors import AssumptionError
from model.core.units import UNITS, bounds, is_money

EVIDENCE: Final = ("standard", "measured", "published", "practice", "chosen")
"""Grades of evidence, strongest first."""

MARKS: Final = ("SEEN", "SEEN-2", "MEMORY", "PRACTICE", "DERIVED")
"""How the figure was had: read in the source, read second-hand, remembered, practice, worked out."""

_DIVISORS: Final = frozenset(
    {
        "gang", "gangs", "per_load",  # the last part of a key; below, whole keys
        "block.core_area", "block.efficiency", "block.storey_height", "block.zone_area", "crane.hoist_down",
        "crane.hoist_up", "crane.slew", "crane.tie_spacing", "crane.trolley", "crane.utilisation",
        "factory.output", "hoist.speed", "geometry.column_area", "geometry.door_area", "geometry.window_area",
        "load.part_called", "panel.heaviest", "panel.longest", "panel.outer_length", "panel.outer_mass",
        "panel.separating_length", "panel.separating_mass", "scale.flats", "site.bay_slot",
        "site.labour_present", "site.learning", "site.learning_storeys", "site.logistics_ratio",
        "site.management_ratio", "site.productive_hours", "site.shift_hours", "stack.allowance_kn_m2",
        "storage.rack_panels", "welfare.cabin_area", "welfare.shower_people", "welfare.sittings", "footprint",
    }
)  # fmt: skip
"""Records something is divided by: near 0 they have no meaning, unless their own range holds it."""

_FIELD_WORDS: Final[dict[str, tuple[str, str]]] = {
    # last part of the key: (label, note) where a record inside an activity leaves them out
    "hours": ("labour hours per unit", "Settled output, before learning and rework."),
    "skip_hours": ("labour hours per unit, by crane and skip", "The share by skip is the site's own."),
    "weeks": ("duration", "Working weeks of the whole activity, its gang present throughout."),
    "gang": ("people in a gang", "One gang; several may join up to the most in a zone."),
    "most": ("most people in a zone", "Also held to the space each person needs."),
    "lifts": ("lifts per unit", "Lifts by crane and hoist together."),
    "hook": ("hook minutes per lift", "Hook on to release, without double handling."),
    "crane_share": ("share lifted by crane", "The rest goes by hoist or forklift."),
    "inspection": ("wait for inspection", "Between the end of the work and what follows it."),
    "rework": ("share of work done again", "Added to the hours of the activity."),
    "rate": ("price", "Labour, materials and the trade's own plant, before preliminaries."),
    "gangs": ("gangs", "Zones the trade can work at once, in each block or on the whole site."),
    "most_gangs": ("most gangs", "What the market is taken to supply."),
    "per_load": ("carried by one vehicle", "Nominal full load."),
    "bay": ("minutes on the unloading bay", "Arrival to departure."),
}


@dataclass(frozen=True, slots=True)
class Assumption:
    """One figure of the library.

    Attributes
    ----------
    key : str
        Dotted name, unique in the library.
    label : str
        What it is, in trade words.
    value, low, high : float
        Likely value and the ends of its range, as numbers: ``low <= value <= high``.
    unit : str
        One of `model.core.units.UNITS`.
    evidence : str
        One of `EVIDENCE`.
    mark : str
        One of `MARKS`.
    source : str
        Where the figure comes from.
    note : str
        How to read it.
    price_date : str
        Month of the price level of a money record, ``YYYY-MM``; empty otherwise.
    overridden : bool
        Whether the scenario sets another value.
    why : str
        The reason given for that.
    """

    key: str
    label: str
    value: float
    low: float
    high: float
    unit: str
    evidence: str
    mark: str
    source: str
    note: str = ""
    price_date: str = ""
    overridden: bool = False
    why: str = ""

    def __post_init__(self) -> None:
        faults = []
        if self.unit not in UNITS:
            faults.append(f"unit {self.unit!r} is not in the list of units")
        if not all(math.isfinite(x) for x in (self.low, self.value, self.high)):
            faults.append("low, value and high must be finite numbers")
        elif not self.overridden and not self.low <= self.value <= self.high:
            faults.append(f"low {self.low:g} <= value {self.value:g} <= high {self.high:g} does not hold")
        if self.evidence not in EVIDENCE:
            faults.append(f"evidence {self.evidence!r} is not one of {', '.join(EVIDENCE)}")
        if self.mark not in MARKS:
            faults.append(f"mark {self.mark!r} is not one of {', '.join(MARKS)}")
        if not self.source.strip():
            faults.append("a source is owed")
        if is_money(self.unit) and not self.price_date:
            faults.append("a money record owes a price date")
        if faults:
            raise AssumptionError(f"Library record {self.key}: {'; '.join(faults)}.")

    def with_value(self, value: float, why: str = "") -> Assumption:
        """Return the record as the scenario sets it.

        Parameters
        ----------
        value : float
            The scenario's value, in the record's unit.
        why : str
            The reason given.

        Returns
        -------
        Assumption
            Same record, marked as overridden.
        """
        return replace(self, value=float(value), overridden=True, why=why)

    def allowed(self) -> tuple[float, float]:
        """Return the least and greatest value that has a meaning, in the record's unit.

        What the model divides by has a meaning down to a tenth of the low end of its range.
        """
        least, most = bounds(self.unit)
        field = self.key.rsplit(".", 1)[-1]
        if self.low > 0 and (field in _DIVISORS or self.key in _DIVISORS):
            least = max(least, 1.0 if field == "gangs" else self.low / 10)
        return least, most


@dataclass(frozen=True)
class Library:
    """Everything read from `library/*.toml`.

    Attributes
    ----------
    records : mapping of str to Assumption
        Every figure, by key.
    data : mapping
        The raw tables (activities, options, trades, methods), for `model.inputs.method`.
    """

    records: Mapping[str, Assumption]
    data: Mapping[str, Any] = field(repr=False)

    def __getitem__(self, key: str) -> Assumption:
        return self.records[key]

    def __hash__(self) -> int:
        return id(self)


@lru_cache(maxsize=1)
def read_library() -> Library:
    """Read every record and table of the shipped library.

    Returns
    -------
    Library

    Raises
    ------
    AssumptionError
        Naming the record, if one is not fit to be used or a key is used twice.
    """
    records: dict[str, Assumption] = {}
    data: dict[str, Any] = {}
    folder = resources.files("model.inputs") / "library"
    for path in sorted(folder.iterdir(), key=lambda item: item.name):
        if path.name.endswith(".toml"):
            tables = tomllib.loads(path.read_text(encoding="utf-8"))
            defaults = tables.pop("defaults", {})
            for record in _records(tables, defaults):
                if record.key in records:
                    raise AssumptionError(
                        f"Library record {record.key} stands twice; {path.name} repeats it."
                    )
                records[record.key] = record
            _merge(data, tables)
    return Library(records, data)


def _records(tables: Mapping[str, Any], defaults: Mapping[str, Any]) -> Iterator[Assumption]:
    """Yield the record of every table that holds a value, at whatever depth."""
    stack: list[tuple[tuple[str, ...], Mapping[str, Any], Mapping[str, Any]]] = [((), tables, {})]
    while stack:
        path, table, parent = stack.pop()
        if "value" in table:
            yield _record(path, table, parent, defaults)
            continue
        for name, item in table.items():
            if isinstance(item, Mapping):
                stack.append(((*path, name), item, table))


def _record(
    path: tuple[str, ...], table: Mapping[str, Any], parent: Mapping[str, Any], defaults: Mapping[str, Any]
) -> Assumption:
    key = ".".join(path)
    words = _FIELD_WORDS.get(path[-1], ("", ""))
    owner = parent.get("label", "")
    label = table.get("label") or (f"{owner}: {words[0]}" if owner and words[0] else "")
    if not label:
        raise AssumptionError(f"Library record {key}: a label is owed.")
    merged = {**{k: parent[k] for k in ("evidence", "mark", "source", "price_date") if k in parent}, **table}
    unit = str(merged.get("unit", ""))
    value = float(merged["value"])
    return Assumption(
        key=key,
        label=label,
        value=value,
        low=float(merged.get("low", math.nan)),
        high=float(merged.get("high", math.nan)),
        unit=unit,
        evidence=str(merged.get("evidence", defaults.get("evidence", ""))),
        mark=str(merged.get("mark", defaults.get("mark", ""))),
        source=str(merged.get("source", defaults.get("source", ""))),
        note=str(merged.get("note", words[1])),
        price_date=str(merged.get("price_date", defaults.get("price_date", ""))) if is_money(unit) else "",
    )


def _merge(into: dict[str, Any], tables: Mapping[str, Any]) -> None:
    """Join tables of several files that share a top-level name."""
    for name, item in tables.items():
        if isinstance(item, Mapping) and isinstance(into.get(name), dict):
            _merge(into[name], item)
        else:
            into[name] = dict(item) if isinstance(item, Mapping) else item


class Values(Mapping[str, float]):
    """The figures one case is worked from: the library with a scenario's overrides.

    Parameters
    ----------
    library : Library
        The shipped records.
    overrides : mapping of str to (float, str)
        Value and reason by key; keys must be in the library.
    """

    __slots__ = ("_library", "_numbers", "_set")

    def __init__(self, library: Library, overrides: Mapping[str, tuple[float, str]] | None = None) -> None:
        self._library = library
        self._set = dict(overrides or {})
        self._numbers = {key: record.value for key, record in library.records.items()}
        self._numbers.update({key: float(value) for key, (value, _why) in self._set.items()})

    def __getitem__(self, key: str) -> float:
        return self._numbers[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._numbers)

    def __len__(self) -> int:
        return len(self._numbers)

    @property
    def library(self) -> Library:
        """The shipped records underneath."""
        return self._library

    @property
    def overrides(self) -> Mapping[str, tuple[float, str]]:
        """What is set differently from the library: value and reason by key."""
        return self._set

    def record(self, key: str) -> Assumption:
        """Return a record as this case uses it."""
        found = self._library.records[key]
        if key in self._set:
            value, why = self._set[key]
            return found.with_value(value, why)
        return found

    def with_overrides(self, more: Mapping[str, tuple[float, str]]) -> Values:
        """Return these values with further overrides on top."""
        return Values(self._library, {**self._set, **more}) if more else self
