"""In what do two methods of one scenario differ?

Options, records, activities, links and calendars, each with its size in both methods and the players it
comes with. Everything that is not listed is the same in both. Nothing here runs a case again.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from model.explain.players import OF_PANELS, OTHER, Owners, Player
from model.inputs.method import CALENDARS, CAUSES, RELEASES, read_catalogue
from model.inputs.scenario import Method
from model.programme import Plan
from model.programme.conditions import MEAN_DATES
from model.programme.kernel import CALENDAR, PROPS, STRIKE, WORKING
from model.site.deliveries import read_deliveries

Floats = NDArray[np.float64]

OF_A_METHOD: Final = ("activity", "option", "delivery", "trade")
"""First parts of keys that belong to what a method is made of; others are the same for every method."""

WHEN_LATE: Final = ("late.", "approval.change")
"""How keys begin that only matter where a scheme was drawn without panels."""

_LAGS: Final = {CALENDAR: "days", WORKING: "working days"}
_RELEASED: Final = {STRIKE: RELEASES[0], PROPS: RELEASES[1]}


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing in which two methods differ.

    Attributes
    ----------
    kind : str
        option; record (a figure of an option, activity, material or trade, or one the methods set apart);
        rule (a figure that is the same for every method and bears on the work of one only); activity; link;
        calendar.
    key : str
        Element, record, activity, "follower after followed", or calendar.
    label : str
        In the reader's words.
    first, second : str, float or None
        In each method; None where a method has none of it.
    unit : str
    players : tuple of str
        What it comes with.
    effect_weeks, effect_profit : float or None
        What setting it equal would do to the second method: its last handover sooner by, its profit more
        by; None where the effect is told elsewhere. [weeks, GBP]
    note : str
        Where it is told, or why there is none.
    """

    kind: str
    key: str
    label: str
    first: str | float | None
    second: str | float | None
    unit: str
    players: tuple[str, ...] = ()
    effect_weeks: float | None = None
    effect_profit: float | None = None
    note: str = ""

    @property
    def element(self) -> str:
        """Players it comes with, in one word."""
        return ", ".join(self.players)

    def as_json(self) -> dict[str, Any]:
        """Return the difference as the command line prints it."""
        return {
            "kind": self.kind,
            "element": self.element,
            "key": self.key,
            "label": self.label,
            "from": self.first,
            "to": self.second,
            "unit": self.unit,
            "effect_weeks": self.effect_weeks,
            "effect_profit": self.effect_profit,
            "note": self.note,
        }


def list_differences(first: Plan, second: Plan, parts: Sequence[Player]) -> tuple[Difference, ...]:
    """Return everything in which two methods differ, without effects.

    Parameters
    ----------
    first, second : Plan
        Two methods of one scenario.
    parts : sequence of Player
        Of `players_of`.

    Returns
    -------
    tuple of Difference
        Options, records, rules, activities, links, calendars.
    """
    records = list(_records(first, second, parts))
    return (
        *_options(first.method, second.method, parts),
        *(row for row in records if row.kind == "record"),
        *(row for row in records if row.kind == "rule"),
        *_activities(first, second, parts),
        *_links(first, second, parts),
        *_calendars(first, second, parts),
    )


def identical(first: Plan, second: Plan, rows: Iterable[Difference]) -> tuple[str, ...]:
    """Return the keys of every record that both methods take at the same value and no row tells of.

    Together with the rows these are all records of the library.
    """
    listed = {row.key for row in rows if row.kind in ("record", "rule")}
    one, other = first.values, second.values
    return tuple(key for key in sorted(one) if key not in listed and one[key] == other[key])


def _holding(elements: Iterable[str], parts: Sequence[Player]) -> tuple[str, ...]:
    """Return the players that hold any of some elements."""
    wanted = set(elements)
    return tuple(part.name for part in parts if wanted & set(part.elements))


def _options(first: Method, second: Method, parts: Sequence[Player]) -> Iterator[Difference]:
    catalogue = read_catalogue()
    for element, label in catalogue.elements.items():
        one, other = first.option(element), second.option(element)
        if one != other:
            was, becomes = (catalogue.options[element, name].label for name in (one, other))
            yield Difference("option", element, label, was, becomes, "", _holding([element], parts))


def _records(first: Plan, second: Plan, parts: Sequence[Player]) -> Iterator[Difference]:
    owners, named = Owners.read(), _named()
    before, after = (_Use.of(plan, named) for plan in (first, second))
    for key, record in sorted(first.values.library.records.items()):
        one, other = first.values[key], second.values[key]
        differ, used, uses_too = one != other, before.uses(key), after.uses(key)
        if differ or used != uses_too:
            players = tuple(part.name for part in parts if key in part.settings) or _holding(
                owners.of_record(key) or _elements_of(named.get(key, ()), first, second), parts
            )
            yield Difference(
                kind="record" if differ or key.partition(".")[0] in OF_A_METHOD else "rule",
                key=key,
                label=record.label,
                first=one if differ or used else None,
                second=other if differ or uses_too else None,
                unit=record.unit,
                players=players or _any_option(parts),
            )


def _any_option(parts: Sequence[Player]) -> tuple[str, ...]:
    """Players of options, for what nothing narrower is known of; other settings where there are none."""
    return tuple(part.name for part in parts if part.elements) or tuple(part.name for part in parts)


def uses(plan: Plan, key: str) -> bool:
    """Say whether the work of a method comes under a record.

    Records of activities, options, materials and trades it lacks do not bear on it, but for the price of what
    an option replaces; nor do waits and rules that only activities it lacks name, or what concerns a factory
    where nothing is made in one.
    """
    return _Use.of(plan, _named()).uses(key)


@dataclass(frozen=True, eq=False)
class _Use:
    """What a method is made of, as far as records ask for it."""

    options: frozenset[str]
    references: frozenset[str]  # prices of what they replace
    work: frozenset[str]
    groups: frozenset[str]
    trades: frozenset[str]
    deliveries: frozenset[str]
    panels: bool
    late: bool
    named: Mapping[str, tuple[str, ...]]

    @classmethod
    def of(cls, plan: Plan, named: Mapping[str, tuple[str, ...]]) -> _Use:
        catalogue = read_catalogue()
        network = plan.network
        options = [catalogue.options[choice] for choice in plan.method.options]
        activities = [
            catalogue.activities[name.split(":")[1]] for name in network.groups[: network.activities]
        ]
        work = frozenset(activity.figures for activity in activities)
        return cls(
            options=frozenset(option.key for option in options),
            references=frozenset(f"option.{option.element}.{option.replaces}.rate" for option in options),
            work=work,
            groups=frozenset(network.groups),
            trades=frozenset(trade for trade, _block in plan.gangs.pools),
            deliveries=frozenset(each.id for each in read_deliveries() if each.activity in work),
            panels=any(option.panels for option in options),
            late=plan.scenario.development.late_adoption,
            named=named,
        )

    def uses(self, key: str) -> bool:
        part, name = key.split(".")[:2]
        if key.startswith(WHEN_LATE):
            return self.late and self.panels
        if key.startswith(OF_PANELS):
            return self.panels
        if part in OF_A_METHOD:
            if part == "option":
                return key.rpartition(".")[0] in self.options or key in self.references
            return name in {"activity": self.work, "delivery": self.deliveries, "trade": self.trades}[part]
        return key not in self.named or any(group in self.groups for group in self.named[key])


def _named() -> dict[str, tuple[str, ...]]:
    """Return the groups whose lags, output or share by skip a record is, by its key."""
    catalogue = read_catalogue()
    named: dict[str, list[str]] = {}
    for activity in catalogue.activities.values():
        lags = [key for link in activity.after for key in link.lag]
        lags += [key for raised in activity.raises for key in raised.lag]
        for key in (*lags, activity.output, activity.skip_share):
            named.setdefault(key, []).append(f"activity:{activity.id}")
    for event in catalogue.events.values():
        for key in (key for link in event.after for key in link.lag):
            named.setdefault(key, []).append(f"event:{event.id}")
    return {key: tuple(groups) for key, groups in named.items()}


def _activities(first: Plan, second: Plan, parts: Sequence[Player]) -> Iterator[Difference]:
    """Activities of one method alone, or with another amount of work."""
    catalogue = read_catalogue()
    one, other = _work(first), _work(second)
    for name in catalogue.activities:
        a, b = one.get(name), other.get(name)
        if a == b:
            continue
        elements = _elements_of([f"activity:{name}"], first, second)
        yield Difference(
            "activity", name, catalogue.activities[name].label, a, b, "shifts", _holding(elements, parts)
        )


def _work(plan: Plan) -> dict[str, float]:
    """Return the shifts of work of each activity. [shifts]"""
    network = plan.network
    shifts = np.bincount(network.group, plan.tasks.work, minlength=len(network.groups))
    return {
        name.split(":")[1]: round(float(work), 9)
        for name, work in zip(network.groups[: network.activities], shifts, strict=False)
    }


def _elements_of(groups: Iterable[str], *plans: Plan) -> set[str]:
    """Return the elements whose options, in any of the methods, bring activities or raise events."""
    catalogue = read_catalogue()
    wanted = set(groups)
    found = set()
    for plan in plans:
        for element, option in plan.method.options:
            for name in catalogue.options[element, option].activities:
                raised = {f"event:{item.event}" for item in catalogue.activities[name].raises}
                if f"activity:{name}" in wanted or raised & wanted:
                    found.add(element)
    return found


def _links(first: Plan, second: Plan, parts: Sequence[Player]) -> Iterator[Difference]:
    """Pairs of activities or events whose links are not the same, link by link, in both methods."""
    one, other = _linked(first), _linked(second)
    for pair in sorted(one.keys() | other.keys()):
        a, b = one.get(pair), other.get(pair)
        if a is not None and b is not None and np.array_equal(a, b):
            continue
        after, before = (name.split(":")[1] for name in pair)
        yield Difference(
            kind="link",
            key=f"{after} after {before}",
            label=f"{_label(pair[0])} after {_lower(_label(pair[1]))}",
            first=None if a is None else _said(a),
            second=None if b is None else _said(b),
            unit="",
            players=_link_players(pair, first, second, parts),
        )


def _link_players(
    pair: tuple[str, str], first: Plan, second: Plan, parts: Sequence[Player]
) -> tuple[str, ...]:
    """What a link comes with: the side that only one method has, else either side, else any player."""
    plans = (first, second)
    apart = [name for name in pair if first.network.has(name) != second.network.has(name)]
    for groups in (apart, pair):
        found = _holding(_elements_of(groups, *plans), parts)
        if found:
            return found
    return _any_option(parts)


def _linked(plan: Plan) -> dict[tuple[str, str], Floats]:
    """Return the links of a plan by follower and followed.

    One row a link: block, storey and zone of what is followed, of what follows; lag, its kind, cause.
    """
    network, links = plan.network, plan.links
    before, after = network.before, network.after
    rows = np.column_stack(
        [
            *(
                place[side]
                for side in (before, after)
                for place in (network.block, network.storey, network.zone)
            ),
            network.section[after],
            links.lag,
            links.kind,
            network.cause,
        ]
    ).astype(float)
    code = network.group[after] * len(network.groups) + network.group[before]
    order = np.lexsort((*rows.T, code))
    code, rows = code[order], rows[order]
    edges = np.flatnonzero(np.diff(code, prepend=-1, append=-1))
    names = network.groups
    return {
        (names[code[a] // len(names)], names[code[a] % len(names)]): rows[a:b] for a, b in pairwise(edges)
    }


def _said(rows: Floats) -> str:
    """Say how many links there are, over how many storeys, how long they wait and for what."""
    count = f"{len(rows):,} link{'' if len(rows) == 1 else 's'}"
    causes = " and ".join(CAUSES[int(cause)] for cause in np.unique(rows[:, 9]))
    waits = [
        _RELEASED.get(int(kind)) or f"{_span(rows[rows[:, 8] == kind, 7])} {_LAGS[int(kind)]}"
        for kind in np.unique(rows[:, 8])
    ]
    return f"{count}, {_storeys(rows)}, {' and '.join(waits)}, {causes}"


def _storeys(rows: Floats) -> str:
    """Say where what is followed stands from what follows; levels are slabs where slabs are poured."""
    if not (rows[:, 1] > 0).all() or not (rows[:, 4] > 0).all():
        return "by block"
    below = np.unique(rows[:, 4] - rows[:, 1])
    if below.size > 1 and below[0] < 0 < below[-1]:
        return "all storeys"
    if not below.any():
        return "same storey"
    size = np.abs(below)
    plural = "" if size.max() == 1 else "s"
    return f"{_span(size)} storey{plural} {'below' if below[-1] > 0 else 'above'}"


def _span(values: Floats) -> str:
    least, most = float(values.min()), float(values.max())
    return f"{least:g}" if least == most else f"{least:g} to {most:g}"


def _label(group: str) -> str:
    kind, name = group.split(":")
    catalogue = read_catalogue()
    return catalogue.activities[name].label if kind == "activity" else catalogue.events[name].label


def _lower(label: str) -> str:
    return label[:1].lower() + label[1:]


def _calendars(first: Plan, second: Plan, parts: Sequence[Player]) -> Iterator[Difference]:
    """Calendars, hook and hoist hours and releases that are not the same on every date."""
    players = tuple(part.name for part in parts if part.name == OTHER) or tuple(
        part.name for part in parts if part.settings
    )
    for (key, label, unit, one), (*_same, other) in zip(_by_date(first), _by_date(second), strict=True):
        if not np.array_equal(one, other):
            was, becomes = (float(line[:MEAN_DATES].mean()) for line in (one, other))
            yield Difference("calendar", key, label, was, becomes, unit, players)


def _by_date(plan: Plan) -> Iterator[tuple[str, str, str, Floats]]:
    """Yield what each date allows: key, label, unit, and a figure for each date."""
    conditions, blocks = plan.conditions, plan.takeoff.layout.names
    for name, share in zip(CALENDARS, conditions.share, strict=True):
        yield name, f"Calendar of work: {name}", "share", share
    yield "site", "Dates on which the site is open", "share", conditions.open_dates
    for words, lines in (
        ("ordinary lifts", conditions.hook_ordinary),
        ("large-area lifts", conditions.hook_large),
        ("the evening", conditions.hook_evening),
    ):
        for crane, hours in zip(plan.scenario.served, lines, strict=True):
            yield f"hook {crane.name} {words}", f"Hook hours for {words}, {crane.name}", "h a day", hours
    for block, hours in zip(blocks, conditions.hoist_hours, strict=True):
        yield f"hoist {block}", f"Hoist hours, {block}", "h a day", hours
    for name, days in zip(RELEASES, conditions.release, strict=True):
        yield name, f"Pour to {name}", "days", days
