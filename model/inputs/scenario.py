"""What is to be built, where, when, and which ways of building it are compared?

Frozen descriptions only: nothing here reads a file (`model.inputs.reading`), writes one
(`model.inputs.writing`) or measures a wall. A figure left as None is taken from the library record
``block.<name without its unit>`` by whoever measures. Lengths are metres, areas square metres,
money pounds, times weeks; every name carries its unit.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache
from importlib import resources
from typing import Any, Final

from model.core.errors import AssumptionError, Problem, ScenarioError
from model.inputs.assumption import Library, Values, read_library

TERRAINS: Final = ("town", "suburb", "open")
"""What the wind has crossed on its way to the site."""

PRIORITIES: Final = ("together", "each block")
"""Whether work goes first to what holds up the last handover, or to what holds up its own block."""

HANDOVERS: Final = ("block", "each core")
"""Whether a block is handed over whole, or each of its cores by itself."""

OWN: Final = ("own_stair", "own_lift", "own_riser", "own_access")
"""What people who live below a building site need for themselves, kept apart from the work."""

TENURES: Final = ("sale", "rent", "forward sale")
"""How the flats of a block earn: sold one by one, let and then sold whole, or sold whole before building."""

RENT_EXITS: Final = ("stabilised", "fixed date")
"""When flats let are sold whole: once they are full in practice, or on one date for every method."""

COMPARED: Final = ("open_frame", "panelised")
"""Ready methods compared where a scenario names none."""

SETTING_TABLES: Final = ("money", "site")
"""Tables of a scenario file that set the records whose keys begin with their name."""

Setting = tuple[float, str]
"""A value, in its record's unit, and the reason given for it."""

Overrides = tuple[tuple[str, Setting], ...]
"""Settings by library key, in order of key; ``dict(overrides)`` looks one up."""


@dataclass(frozen=True)
class Storeys:
    """A range of storeys with another plan: a podium, a set-back, a penthouse.

    Attributes
    ----------
    first, last : int
        Storeys, counted from 1 at the ground, both included.
    flats_per_storey : int or None
        Flats on each of them; None keeps the block's.
    plate_area_m2 : float or None
        Gross area of each. [m2]
    facade_length_m : float or None
        Outside wall of each, on plan. [m]
    separating_length_m : float or None
        Walls between flats of each, on plan. [m]
    """

    first: int
    last: int
    flats_per_storey: int | None = None
    plate_area_m2: float | None = None
    facade_length_m: float | None = None
    separating_length_m: float | None = None


@dataclass(frozen=True)
class Section:
    """Storeys handed over together, while the work goes on above them.

    Attributes
    ----------
    first, last : int
        Storeys, counted from 1 at the ground, both included.
    own_stair, own_lift, own_riser, own_access : bool
        Whether the design gives those who live there a stair, a lift, risers and a way in of their
        own, kept apart from the work above; owed below the topmost section.
    """

    first: int
    last: int
    own_stair: bool = False
    own_lift: bool = False
    own_riser: bool = False
    own_access: bool = False


@dataclass(frozen=True)
class Block:
    """One building of the development.

    Attributes
    ----------
    name : str
        Unique in the development.
    storeys : int
        Storeys from the ground up.
    flats_per_storey : int
        Flats on each storey that no range changes.
    start_weeks : float or None
        Start of the block after the start on site. [weeks]
    storey_height_m : float or None
        Floor to floor. [m]
    flat_area_m2 : float or None
        Net internal area of a flat. [m2]
    plate_depth_m : float or None
        Depth of the plate. [m]
    plate_area_m2 : float or None
        Gross area of a storey. [m2]
    facade_length_m : float or None
        Outside wall of a storey, on plan. [m]
    glazing_pct : float or None
        Openings over facade area. [%]
    separating_length_m : float or None
        Walls between flats of a storey, on plan. [m]
    zones : int or None
        Pours that make up one slab.
    cores : int or None
        Stair and lift cores.
    hoists : float or None
        Hoists of the block, a whole number. [no.]
    substructure_weeks : float or None
        Piling, foundations and ground slab. [weeks]
    price_gbp_m2 : float or None
        Selling price of net internal area. [GBP/m2]
    ranges : tuple of Storeys
        Storeys with another plan, lowest first.
    handover : str
        One of `HANDOVERS`.
    tenure : str or None
        One of `TENURES`; None takes the development's.
    sections : tuple of Section
        Parts of the block handed over one after the other, lowest first; empty where it is handed
        over whole or core by core.
    """

    name: str
    storeys: int
    flats_per_storey: int
    start_weeks: float | None = None
    storey_height_m: float | None = None
    flat_area_m2: float | None = None
    plate_depth_m: float | None = None
    plate_area_m2: float | None = None
    facade_length_m: float | None = None
    glazing_pct: float | None = None
    separating_length_m: float | None = None
    zones: int | None = None
    cores: int | None = None
    hoists: float | None = None
    substructure_weeks: float | None = None
    price_gbp_m2: float | None = None
    ranges: tuple[Storeys, ...] = ()
    handover: str = "block"
    tenure: str | None = None
    sections: tuple[Section, ...] = ()

    def range_at(self, storey: int) -> Storeys | None:
        """Return the range a storey lies in, or None where the block's own plan holds."""
        return next((r for r in self.ranges if r.first <= storey <= r.last), None)

    def flats_on(self, storey: int) -> int:
        """Return the flats of one storey, counted from 1 at the ground."""
        found = self.range_at(storey)
        if found is None or found.flats_per_storey is None:
            return self.flats_per_storey
        return found.flats_per_storey

    @property
    def flats(self) -> int:
        """Flats of the block."""
        return sum(self.flats_on(storey) for storey in range(1, self.storeys + 1))


@dataclass(frozen=True)
class Crane:
    """A tower crane, or several working together, and the blocks served.

    Attributes
    ----------
    name : str
        Unique in the development.
    blocks : tuple of str
        Names of the blocks; each block is served by exactly one entry.
    number : int
        Tower cranes working together on these blocks.
    """

    name: str
    blocks: tuple[str, ...]
    number: int = 1


@dataclass(frozen=True)
class Method:
    """A way of building: one option for every element, and figures of its own.

    Attributes
    ----------
    id : str
        The scenario's own name for it, used in files.
    label : str
        How it is written on a page.
    like : str
        Ready method it was made from.
    options : tuple of (str, str)
        Element and option, complete, in the library's order of elements.
    overrides : tuple of (str, (float, str))
        Value and reason by library key, for this method alone.
    """

    id: str
    label: str
    like: str
    options: tuple[tuple[str, str], ...]
    overrides: Overrides = ()

    def option(self, element: str) -> str:
        """Return the option this method takes for an element."""
        return dict(self.options)[element]


@dataclass(frozen=True)
class Development:
    """What all blocks share.

    Attributes
    ----------
    name : str
        Name of the development.
    place : str
        One of `model.inputs.climate.PLACES`: climate and bank holidays.
    start : date
        Start on site.
    purchase : date or None
        Purchase of the land; None leaves it to the library's months before the start.
    client : str
        For whom; printed only.
    terrain : str
        One of `TERRAINS`.
    priority : str
        One of `PRIORITIES`.
    christmas_closure : bool
        Whether the two-week winter closure is kept.
    bank_holidays : bool
        Whether the site closes on bank holidays.
    extra_closed : tuple of date
        Further closed dates, in order.
    late_adoption : bool
        Whether the scheme is already designed for the open frame, so that methods with panels must be
        designed anew first.
    tenure : str
        One of `TENURES`, for blocks that name none.
    rent_exit : str
        One of `RENT_EXITS`.
    longstop : date or None
        Date by which the last handover is owed; None leaves it to the library's weeks after the first
        method's own.
    base_rate_path : tuple of (float, float)
        Month after start on site, and base rate from then until the next step. [months, % a year]
    price_path : tuple of (float, float)
        Month after start on site, and prices then over those of today, straight between. [months, %]
    """

    name: str
    place: str
    start: dt.date
    purchase: dt.date | None = None
    client: str = ""
    terrain: str = "town"
    priority: str = "together"
    christmas_closure: bool = True
    bank_holidays: bool = True
    extra_closed: tuple[dt.date, ...] = ()
    late_adoption: bool = False
    tenure: str = "sale"
    rent_exit: str = "stabilised"
    longstop: dt.date | None = None
    base_rate_path: tuple[tuple[float, float], ...] = ()
    price_path: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Scenario:
    """A development, its blocks and cranes, the methods compared, and what is set by hand.

    Attributes
    ----------
    development : Development
    blocks : tuple of Block
        At least one.
    methods : tuple of Method
        At least two; differences are the second against the first.
    cranes : tuple of Crane
        As given; empty means one for each block. See `served`.
    overrides : tuple of (str, (float, str))
        Value and reason by library key, for every method.
    notes : str
        The author's own words; they change nothing.
    warnings : tuple of str
        What is allowed but odd. Not compared: it depends on the day of reading.
    """

    development: Development
    blocks: tuple[Block, ...]
    methods: tuple[Method, ...]
    cranes: tuple[Crane, ...] = ()
    overrides: Overrides = ()
    notes: str = ""
    warnings: tuple[str, ...] = field(default=(), compare=False)

    @property
    def served(self) -> tuple[Crane, ...]:
        """The cranes on site: those given, or one for each block, named after it."""
        return self.cranes or tuple(Crane(block.name, (block.name,)) for block in self.blocks)

    @property
    def flats(self) -> int:
        """Flats of the development."""
        return sum(block.flats for block in self.blocks)

    @property
    def defaults_used(self) -> int:
        """How many values stand at their default.

        Every figure and choice of a block, a crane entry or the development that was left alone, and
        every library record the scenario does not set; ``block.*`` records are counted block by block.
        """
        parts = sum(_left_alone(part) for part in (self.development, *self.blocks, *self.served))
        own = {key for key, _setting in self.overrides}
        records = sum(not key.startswith("block.") and key not in own for key in read_library().records)
        return parts + records

    def tenure_of(self, block: Block) -> str:
        """Return how the flats of a block earn: one of `TENURES`."""
        return block.tenure or self.development.tenure

    def block(self, name: str) -> Block:
        """Return the block of a name."""
        return next(block for block in self.blocks if block.name == name)

    def method(self, method_id: str) -> Method:
        """Return the method of an id."""
        return next(method for method in self.methods if method.id == method_id)

    def values(self, method: Method | str) -> Values:
        """Return the figures one method is worked from.

        Parameters
        ----------
        method : Method or str
            A method of this scenario, or its id.

        Returns
        -------
        Values
            The library, with the scenario's overrides, with the method's on top.
        """
        chosen = self.method(method) if isinstance(method, str) else method
        return Values(read_library(), {**dict(self.overrides), **dict(chosen.overrides)})

    def fingerprint(self) -> str:
        """Return what tells this scenario from any that could give other results.

        Returns
        -------
        str
            SHA-256, in hexadecimal, of canonical JSON of every resolved input and of the content of
            the library. Reasons, notes, comments and the order of keys do not change it.

        References
        ----------
        FIPS PUB 180-4, *Secure Hash Standard*, NIST, 2015.
        """
        return _fingerprint(self)

    def as_tables(self) -> dict[str, Any]:
        """Return the tables of a scenario file that reads back as this scenario.

        Returns
        -------
        dict
            What differs from the defaults, in the order of a file, as `tomllib` would give it.
        """
        return _tables(self)

    def with_changes(
        self,
        *,
        development: Development | None = None,
        blocks: tuple[Block, ...] | None = None,
        cranes: tuple[Crane, ...] | None = None,
        methods: tuple[Method, ...] | None = None,
        overrides: Mapping[str, Setting] | None = None,
        notes: str | None = None,
    ) -> Scenario:
        """Return the scenario with some parts replaced, checked as a file would be.

        Parameters
        ----------
        development, blocks, cranes, methods, notes
            The new part; None keeps the present one.
        overrides : mapping of str to (float, str), optional
            Every override of the new scenario, by key.

        Returns
        -------
        Scenario
            With its warnings worked out afresh.

        Raises
        ------
        ScenarioError
            With every problem of the changed scenario.
        """
        from model.inputs.reading import read_tables  # reading imports this module

        settings = self.overrides if overrides is None else in_order(overrides)
        changed = Scenario(
            development=self.development if development is None else development,
            blocks=self.blocks if blocks is None else tuple(blocks),
            methods=self.methods if methods is None else tuple(methods),
            cranes=self.cranes if cranes is None else tuple(cranes),
            overrides=settings,
            notes=self.notes if notes is None else notes,
        )
        return read_tables(_tables(changed))

    def with_override(self, key: str, value: float, why: str = "") -> Scenario:
        """Return the scenario with one library record set, for every method, and checked."""
        return self.with_changes(overrides={**dict(self.overrides), key: (value, why)})

    def without_override(self, key: str) -> Scenario:
        """Return the scenario with one library record back at the library's value."""
        return self.with_changes(overrides={k: v for k, v in self.overrides if k != key})

    def with_block(self, name: str, /, **changes: Any) -> Scenario:
        """Return the scenario with figures of one block changed, and checked.

        A new name is carried through to the cranes.
        """
        self._known("blocks", name, [block.name for block in self.blocks])
        blocks = tuple(replace(b, **changes) if b.name == name else b for b in self.blocks)
        new = changes.get("name", name)
        cranes = tuple(
            replace(crane, blocks=tuple(new if b == name else b for b in crane.blocks))
            for crane in self.cranes
        )
        return self.with_changes(blocks=blocks, cranes=cranes)

    def with_option(self, method_id: str, element: str, option: str) -> Scenario:
        """Return the scenario with one option of one method changed, and checked."""
        self._known("methods", method_id, [method.id for method in self.methods])
        method = self.method(method_id)
        options = {**dict(method.options), element: option}
        changed = replace(method, options=tuple(options.items()))
        return self.with_changes(methods=tuple(changed if m.id == method_id else m for m in self.methods))

    def _known(self, table: str, name: str, names: list[str]) -> None:
        if name not in names:
            raise ScenarioError(
                [Problem(table, f"there is none called {name!r}", f"There are: {', '.join(names)}.")]
            )


def in_order(settings: Mapping[str, Setting]) -> Overrides:
    """Return settings as a tuple in order of key, so that equal ones compare and hash alike."""
    return tuple(sorted((key, (value, why)) for key, (value, why) in settings.items()))


def ready_methods(library: Library) -> tuple[str, ...]:
    """Return the ids of the methods that the library brings."""
    return tuple(library.data.get("method", {}))


def ready_method(method_id: str, library: Library) -> Method:
    """Return one of the library's own methods.

    Parameters
    ----------
    method_id : str
        One of `ready_methods`.
    library : Library
        The shipped records and tables.

    Returns
    -------
    Method
        Like itself, with an option for every element and no overrides.

    Raises
    ------
    AssumptionError
        If the library holds no such method or it leaves an element without an option.
    """
    table = library.data.get("method", {}).get(method_id)
    if table is None:
        raise AssumptionError(f"The library holds no method {method_id!r}; add [method.{method_id}] to it.")
    missing = [element for element in library.data.get("element", {}) if element not in table["options"]]
    if missing:
        raise AssumptionError(f"Library method {method_id}: no option is given for {', '.join(missing)}.")
    return Method(method_id, table["label"], method_id, sorted_options(table["options"], library))


def sorted_options(options: Mapping[str, str], library: Library) -> tuple[tuple[str, str], ...]:
    """Return options in the library's order of elements, unknown elements last."""
    order = {element: place for place, element in enumerate(library.data.get("element", {}))}
    return tuple(sorted(options.items(), key=lambda item: (order.get(item[0], len(order)), item[0])))


def default_label(method_id: str, library: Library) -> str:
    """Return how a method without a label of its own is written."""
    table = library.data.get("method", {}).get(method_id)
    if table is not None:
        return str(table["label"])
    words = method_id.replace("_", " ").replace("-", " ").strip()
    return words[:1].upper() + words[1:]


def _tables(scenario: Scenario) -> dict[str, Any]:
    library = read_library()
    tables: dict[str, Any] = {}
    if scenario.notes:
        tables["notes"] = scenario.notes
    tables["development"] = _plain(scenario.development)
    tables["blocks"] = [_block_table(block) for block in scenario.blocks]
    if scenario.cranes:
        tables["cranes"] = [_plain(crane) for crane in scenario.cranes]
    for key, setting in scenario.overrides:
        section, _dot, rest = key.partition(".")
        if section in SETTING_TABLES and rest:
            tables.setdefault(section, {})[rest] = _leaf(setting)
        else:
            tables.setdefault("overrides", {})[key] = _leaf(setting)
    ready = ready_methods(library)
    if not set(COMPARED) <= set(ready) or scenario.methods != tuple(
        ready_method(m, library) for m in COMPARED
    ):
        tables["methods"] = [method_table(method, library) for method in scenario.methods]
    return tables


def _block_table(block: Block) -> dict[str, Any]:
    table = _plain(block)
    for name in ("ranges", "sections"):  # tables of their own, so below all keys
        rows = [_plain(row) for row in table.pop(name, [])]
        if rows:
            table[name] = [{"storeys": [row.pop("first"), row.pop("last")], **row} for row in rows]
    return table


def method_table(method: Method, library: Library) -> dict[str, Any]:
    """Return a method as a file writes it: what differs from the ready method it is like."""
    table: dict[str, Any] = {"id": method.id, "like": method.like}
    if method.label != default_label(method.id, library):
        table["label"] = method.label
    known = method.like in ready_methods(library)
    base = dict(ready_method(method.like, library).options) if known else {}
    options = {element: option for element, option in method.options if base.get(element) != option}
    if options:
        table["options"] = options
    if method.overrides:
        table["overrides"] = {key: _leaf(setting) for key, setting in method.overrides}
    return table


def _leaf(setting: Setting) -> Any:
    value, why = setting
    return {"value": _figure(value), "why": why} if why else _figure(value)


def _figure(value: Any) -> Any:
    """Write 12.0 as 12, as a hand would; leave anything else alone."""
    return int(value) if isinstance(value, float) and value.is_integer() and abs(value) < 1e15 else value


def _plain(record: Any) -> dict[str, Any]:
    """Return the fields of a record that differ from their defaults."""
    table = {}
    for f in fields(record):
        value = getattr(record, f.name)
        if value is None or (f.default == value and isinstance(value, type(f.default))):
            continue
        table[f.name] = _listed(value)
    return table


def _listed(value: Any) -> Any:
    """Return tuples as lists, at whatever depth, and figures as a hand would write them."""
    return [_listed(item) for item in value] if isinstance(value, tuple) else _figure(value)


@lru_cache(maxsize=256)
def _fingerprint(scenario: Scenario) -> str:
    library = read_library()
    content = {
        "development": _canonical(_all(scenario.development)),
        "blocks": _canonical([_all(block) for block in scenario.blocks]),
        "cranes": _canonical([_all(crane) for crane in scenario.cranes]),
        "methods": [
            {
                "id": method.id,
                "label": method.label,
                "like": method.like,
                "options": dict(method.options),
                "values": _canonical(dict(scenario.values(method))),
            }
            for method in scenario.methods
        ],
        "library": _library_digest(library),
    }
    return _digest(content)


@lru_cache(maxsize=2)
def _library_digest(library: Library) -> str:
    """Return the digest of every table and every data file of the library, comments apart."""
    folder = resources.files("model.inputs") / "library"
    files = {
        path.name: [line for line in path.read_text("utf-8").splitlines() if not line.startswith("#")]
        for path in folder.iterdir()
        if path.name.endswith(".csv")
    }
    return _digest({"tables": _canonical(library.data), "files": files})


def _digest(content: Any) -> str:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _left_alone(record: Any) -> int:
    """Count the figures and choices of a record that stand at their default; lists and words are none."""
    return sum(getattr(record, f.name) == f.default and f.default not in ((), "") for f in fields(record))


def _all(record: Any) -> dict[str, Any]:
    return {f.name: getattr(record, f.name) for f in fields(record)}


def _canonical(item: Any) -> Any:
    """Return an item as JSON can hold it, one spelling for each number and date."""
    if isinstance(item, Mapping):
        return {str(key): _canonical(value) for key, value in item.items()}
    if isinstance(item, (list, tuple)):
        return [_canonical(value) for value in item]
    if isinstance(item, (Storeys, Section)):
        return _canonical(_all(item))
    if isinstance(item, dt.date):
        return item.isoformat()
    if isinstance(item, bool) or not isinstance(item, (int, float)):
        return item
    return float(item) + 0.0
