"""What is a build method made of?

Reads activities, events, trades, elements, options and ready methods from the library tables.
A method is one option for each building element; everything else about it is data. No code here or
further on branches on the name of a method, an element or an option.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from model.core.errors import AssumptionError
from model.inputs.assumption import read_library

SCOPES: Final = ("zone", "storey", "section", "block", "site")
CAUSES: Final = (
    "work",
    "wait",
    "cure",
    "back-prop",
    "deck set",
    "separation",
    "factory",
    "approval",
    "access",
)
LAG_KINDS: Final = ("calendar", "working", "release")
RELEASES: Final = ("strike", "props")
CALENDARS: Final = ("inside", "open", "rain", "pour", "masonry")
LIFT_CLASSES: Final = ("ordinary", "large")
USES: Final = ("frame", "panels", "other")
LINK_CONDITIONS: Final = (
    "",
    "higher_risk",
    "lower_risk",
    "top_section",
    "lower_section",
    "between_props",
    "clear_of_props",
)
WORK_CONDITIONS: Final = ("", "late_adoption")


@dataclass(frozen=True, slots=True)
class Link:
    """What an activity or event follows.

    Attributes
    ----------
    event : bool
        Whether `name` is an event (else an activity).
    name : str
        What is followed.
    storey : str
        Storey offset as a whole number, or ``top``, ``first``, ``all``, or the key of a share of the storeys.
    plus, minus : str
        Name of a counted rule added to or taken from the offset; empty for none.
    lag : tuple of str
        Keys of the records whose sum is the lag; for `lag_kind` ``release`` the one name of the release.
    lag_kind : str
        One of `LAG_KINDS`.
    cause : str
        One of `CAUSES`.
    when : str
        Condition on the block's data; empty for always.
    """

    event: bool
    name: str
    storey: str = "0"
    plus: str = ""
    minus: str = ""
    lag: tuple[str, ...] = ()
    lag_kind: str = "calendar"
    cause: str = "work"
    when: str = ""


@dataclass(frozen=True, slots=True)
class Raise:
    """An event an activity raises: at its own storey plus `storey`, or at the first slab."""

    event: str
    storey: int = 0
    slab: str = ""
    lag: tuple[str, ...] = ()
    lag_kind: str = "calendar"
    cause: str = "work"


@dataclass(frozen=True, slots=True)
class Activity:
    """One kind of work. Figures stand in the library under `key`.

    Attributes
    ----------
    figures : str
        The activity whose figures it uses: the same work in another place of the sequence has one record.
    exposed : bool
        Whether it stands under large lifts on the face of its block and gives way to them.
    skip_share : str
        Key of the share of its concrete that goes by crane and skip; empty where that is no question.
    when : str
        One of `WORK_CONDITIONS`: the development it is needed on; empty for any.
    """

    id: str
    label: str
    trade: str
    scope: str
    consumes: str
    calendar: str
    lift_class: str
    use: str
    learns: bool
    space: str
    timed_by: str
    output: str
    after: tuple[Link, ...]
    raises: tuple[Raise, ...]
    figures: str
    exposed: bool
    skip_share: str
    when: str

    @property
    def key(self) -> str:
        """Where its figures stand in the library: its own, or those of the same work elsewhere."""
        return f"activity.{self.figures}"

    @property
    def lifts(self) -> bool:
        """Whether any of its goods go up by crane or hoist."""
        return bool(self.lift_class)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that has happened; no work of its own."""

    id: str
    label: str
    scope: str
    slab: bool
    after: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class Trade:
    """Who does the work, under which contracted package, tied to a block or travelling."""

    id: str
    label: str
    package: str
    travels: bool
    keeps_pace: bool
    frame: bool
    on_site: bool


@dataclass(frozen=True, slots=True)
class Option:
    """One way of making an element."""

    element: str
    id: str
    label: str
    replaces: str
    activities: tuple[str, ...]
    keeps_set: bool
    has_sets: bool
    panels: tuple[str, ...]
    has_extra_thickness: bool
    priced_by: str
    appearance: str
    access_included: bool
    goes_with: tuple[tuple[str, tuple[str, ...]], ...]
    has_props: bool
    caution: str

    @property
    def key(self) -> str:
        """Where its figures stand in the library."""
        return f"option.{self.element}.{self.id}"


@dataclass(frozen=True, eq=False)
class Catalogue:
    """All activities, events, trades, elements, options and ready methods."""

    activities: Mapping[str, Activity]
    events: Mapping[str, Event]
    trades: Mapping[str, Trade]
    elements: Mapping[str, str]
    wall_elements: tuple[str, ...]
    stages: Mapping[str, str]
    options: Mapping[tuple[str, str], Option]
    methods: Mapping[str, Mapping[str, str]]
    method_labels: Mapping[str, str]
    method_roles: Mapping[str, str]

    def activities_of(self, options: Mapping[str, str]) -> tuple[str, ...]:
        """Return the activities of a choice of options, each once, in the order of the elements.

        Parameters
        ----------
        options : mapping of str to str
            Option by element.

        Returns
        -------
        tuple of str
        """
        seen: dict[str, None] = {}
        for element in self.elements:
            for activity in self.options[element, options[element]].activities:
                seen.setdefault(activity)
        return tuple(seen)

    def owner_of(self, options: Mapping[str, str]) -> dict[str, tuple[str, str]]:
        """Return the element and option that bring each activity in (the first that does)."""
        owners: dict[str, tuple[str, str]] = {}
        for element in self.elements:
            for activity in self.options[element, options[element]].activities:
                owners.setdefault(activity, (element, options[element]))
        return owners


@lru_cache(maxsize=1)
def read_catalogue() -> Catalogue:
    """Read the catalogue from the shipped library.

    Returns
    -------
    Catalogue

    Raises
    ------
    AssumptionError
        Naming the activity, event or option whose data cannot be used.
    """
    return catalogue_from(read_library().data)


def catalogue_from(data: Mapping[str, Any]) -> Catalogue:
    """Build a catalogue from raw library tables.

    Parameters
    ----------
    data : mapping
        Tables ``activity``, ``event``, ``trade``, ``element``, ``option``, ``method``.

    Returns
    -------
    Catalogue

    Raises
    ------
    AssumptionError
        If a name or word is not one the tables may use.
    """
    catalogue = Catalogue(
        activities={
            name: _activity(name, table, data["activity"]) for name, table in data["activity"].items()
        },
        events={
            name: Event(
                name,
                table["label"],
                table["scope"],
                bool(table.get("slab")),
                tuple(_links(table.get("after", ()))),
            )
            for name, table in data["event"].items()
        },
        trades={name: _trade(name, table) for name, table in data["trade"].items()},
        elements={name: table["label"] for name, table in data["element"].items()},
        wall_elements=tuple(name for name, table in data["element"].items() if table.get("wall")),
        stages={name: table["stage"] for name, table in data["element"].items()},
        options={
            (element, name): _option(element, name, table)
            for element, options in data["option"].items()
            for name, table in options.items()
        },
        methods={name: dict(table["options"]) for name, table in data["method"].items()},
        method_labels={name: table["label"] for name, table in data["method"].items()},
        method_roles={name: table.get("role", "") for name, table in data["method"].items()},
    )
    faults = list(_faults(catalogue))
    if faults:
        raise AssumptionError("The library of activities cannot be used: " + "; ".join(faults) + ".")
    return catalogue


def _activity(name: str, table: Mapping[str, Any], tables: Mapping[str, Any]) -> Activity:
    figures = tables.get(table.get("figures", name), table)
    return Activity(
        id=name,
        label=table["label"],
        trade=table["trade"],
        scope=table["scope"],
        consumes=table["consumes"],
        calendar=table["calendar"],
        lift_class=table.get("lift_class", ""),
        use=table.get("use", "other"),
        learns=bool(table.get("learns", True)),
        space=table.get("space", "inside"),
        timed_by="output" if "output" in figures else "weeks" if "weeks" in figures else "hours",
        output=table.get("output", ""),
        after=tuple(_links(table.get("after", ()))),
        raises=tuple(
            Raise(
                item["event"],
                int(item.get("storey", 0)),
                item.get("slab", ""),
                _keys(item.get("lag", "")),
                item.get("lag_kind", "calendar"),
                item.get("cause", "work"),
            )
            for item in table.get("raises", ())
        ),
        figures=table.get("figures", name),
        exposed=bool(table.get("exposed")),
        skip_share=table.get("skip_share", ""),
        when=table.get("when", ""),
    )


def _links(items: Any) -> Iterator[Link]:
    for item in items:
        yield Link(
            event="event" in item,
            name=item.get("event") or item["activity"],
            storey=str(item.get("storey", 0)),
            plus=item.get("plus", ""),
            minus=item.get("minus", ""),
            lag=_keys(item.get("lag", "")),
            lag_kind=item.get("lag_kind", "calendar"),
            cause=item.get("cause", "work"),
            when=item.get("when", ""),
        )


def _keys(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split("+") if part.strip())


def _trade(name: str, table: Mapping[str, Any]) -> Trade:
    return Trade(
        id=name,
        label=table["label"],
        package=table["package"],
        travels=table["works_on"] == "site",
        keeps_pace=table["pace"] == "keep",
        frame=bool(table.get("frame")),
        on_site=not table.get("off_site", False),
    )


def _option(element: str, name: str, table: Mapping[str, Any]) -> Option:
    return Option(
        element=element,
        id=name,
        label=table["label"],
        replaces=table["replaces"],
        activities=tuple(table["activities"]),
        keeps_set=bool(table.get("keeps_set")),
        has_sets="sets" in table,
        panels=tuple(kind for kind, present in table.get("panels", {}).items() if present),
        has_extra_thickness="extra_thickness" in table,
        priced_by=table["priced_by"],
        appearance=table.get("appearance", ""),
        access_included=bool(table.get("access_included")),
        goes_with=tuple((key, tuple(names)) for key, names in table.get("goes_with", {}).items()),
        has_props="props_left" in table,
        caution=table.get("caution", ""),
    )


def _faults(catalogue: Catalogue) -> Iterator[str]:
    """Yield every name or word the tables use that is not known."""
    records = read_library().records
    for activity in catalogue.activities.values():
        at = f"activity {activity.id}"
        for word, known in (
            (activity.scope, SCOPES),
            (activity.calendar, CALENDARS),
            (activity.lift_class, ("", *LIFT_CLASSES)),
            (activity.use, USES),
            (activity.space, ("inside", "frame")),
            (activity.when, WORK_CONDITIONS),
        ):
            if word not in known:
                yield f"{at}: {word!r} is not one of {', '.join(known)}"
        if activity.figures not in catalogue.activities:
            yield f"{at}: takes its figures from the unknown activity {activity.figures!r}"
        if activity.skip_share and activity.skip_share not in records:
            yield f"{at}: {activity.skip_share!r} is not a record"
        if activity.trade not in catalogue.trades:
            yield f"{at}: trade {activity.trade!r} is not in the list of trades"
        for raised in activity.raises:
            if raised.event not in catalogue.events:
                yield f"{at}: raises the unknown event {raised.event!r}"
        yield from _link_faults(at, activity.after, catalogue, records)
    for event in catalogue.events.values():
        yield from _link_faults(f"event {event.id}", event.after, catalogue, records)
    for option in catalogue.options.values():
        for name in option.activities:
            if name not in catalogue.activities:
                yield f"option {option.element}.{option.id}: unknown activity {name!r}"
        if (option.element, option.replaces) not in catalogue.options:
            yield f"option {option.element}.{option.id}: replaces the unknown option {option.replaces!r}"


def _link_faults(
    at: str, links: tuple[Link, ...], catalogue: Catalogue, records: Mapping[str, Any]
) -> Iterator[str]:
    for link in links:
        if link.name not in (catalogue.events if link.event else catalogue.activities):
            yield f"{at}: follows the unknown {'event' if link.event else 'activity'} {link.name!r}"
        if link.cause not in CAUSES or link.lag_kind not in LAG_KINDS or link.when not in LINK_CONDITIONS:
            yield f"{at}: link to {link.name!r} uses an unknown cause, lag kind or condition"
        known = RELEASES if link.lag_kind == "release" else records
        for key in link.lag:
            if key not in known:
                yield f"{at}: link to {link.name!r} has the unknown lag {key!r}"
