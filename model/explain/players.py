"""What can be switched from one method to another, and what does every mixture of the two come to?

Players are the elements in which two methods differ, and *other settings*. A record that a method sets for
itself goes with an element where only that element's options bring what the record describes (its own
price, the hours of its work, its loads, its trade). What concerns panels and their maker comes with every
element that has them made: as soon as one of these is switched, whichever it is, the second method's figures
hold. That asks for no order. Rules of the site (waits, approvals, hours) belong to no element.

Every mixture is planned, operated and priced; all stand on one grid of months. One thread: two were measured
to be slower, since most of the time is not spent in compiled code.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.compare import Case
from model.core.errors import ModelError
from model.explain.rerun import Progress
from model.inputs.assumption import read_library
from model.inputs.method import Catalogue, read_catalogue
from model.inputs.scenario import Method, Scenario, in_order, sorted_options
from model.money import common_grid, price
from model.money.grid import MonthGrid
from model.pipeline import plan_method
from model.programme import Plan
from model.site import SiteUse, operate
from model.site.deliveries import read_deliveries

Floats = NDArray[np.float64]

OTHER: Final = "other settings"
"""Name of the player that holds what is tied to no element."""

MEASURES: Final = {
    # name: whether more is welcome
    "weeks_to_first_handover": True,
    "weeks_to_last_handover": True,
    "hook_hours": False,
    "operative_days": False,
    "loads": False,
    "trades": False,
    "profit": True,
    "npv": True,
}
"""What is explained, named as in a comparison: weeks positive where the second method is sooner."""

LAST_HANDOVER, PROFIT = (list(MEASURES).index(name) for name in ("weeks_to_last_handover", "profit"))

OF_PANELS: Final = ("factory.", "panel.", "late.", "money.factory_")
"""How keys of records begin that only matter where something is made in a factory."""

SPARE_MONTHS: Final = 12
"""Months of money beyond what the two methods need, so that slower mixtures are held too."""


@dataclass(frozen=True)
class Player:
    """What is switched together.

    Attributes
    ----------
    name : str
        Its element; several joined by ``+`` where their options only go together; or `OTHER`.
    label : str
        In the reader's words.
    elements : tuple of str
        In the library's order; empty for `OTHER`.
    settings : tuple of str
        Keys of records that take the second method's value with it. One may come with several players.
    wall : bool
        Whether one of its elements is a wall.
    """

    name: str
    label: str
    elements: tuple[str, ...]
    settings: tuple[str, ...] = ()
    wall: bool = False


@dataclass(frozen=True, eq=False)
class Owners:
    """Which elements bring what a record describes.

    Attributes
    ----------
    catalogue : Catalogue
    bring : mapping of str to set of (str, str)
        Element and option of every option that brings an activity, by the activity whose figures it takes.
    trades : mapping of str to set of str
        Those activities by trade.
    deliveries : mapping of str to str
        Activity of a material.
    """

    catalogue: Catalogue
    bring: Mapping[str, frozenset[tuple[str, str]]]
    trades: Mapping[str, frozenset[str]]
    deliveries: Mapping[str, str]

    @classmethod
    def read(cls) -> Owners:
        """Read them from the library."""
        catalogue = read_catalogue()
        bring: dict[str, set[tuple[str, str]]] = {}
        trades: dict[str, set[str]] = {}
        for choice, option in catalogue.options.items():
            for name in option.activities:
                activity = catalogue.activities[name]
                bring.setdefault(activity.figures, set()).add(choice)
                trades.setdefault(activity.trade, set()).add(activity.figures)
        return cls(
            catalogue,
            {work: frozenset(choices) for work, choices in bring.items()},
            {trade: frozenset(work) for trade, work in trades.items()},
            {delivery.id: delivery.activity for delivery in read_deliveries()},
        )

    @property
    def panel_elements(self) -> tuple[str, ...]:
        """Elements that can be had as panels."""
        return self._elements({choice for choice, option in self.catalogue.options.items() if option.panels})

    def of_record(self, key: str) -> tuple[str, ...]:
        """Return the elements a record belongs to; none for a rule of the site.

        One element, or all that can be had as panels for what concerns their making. What several elements
        use otherwise (a trade that works on two of them) belongs to none.
        """
        part, _dot, rest = key.partition(".")
        name = rest.partition(".")[0]
        if key.startswith(OF_PANELS):
            return self.panel_elements
        if part == "option":
            return (name,) if name in self.catalogue.elements else ()
        work = {
            "activity": {name},
            "delivery": {self.deliveries.get(name, "")},
            "trade": self.trades.get(name),
        }
        brought = {choice for each in work.get(part) or () for choice in self.bring.get(each, ())}
        elements = self._elements(brought)
        made = all(self.catalogue.options[choice].panels for choice in brought)
        return elements if made or len(elements) == 1 else ()

    def _elements(self, choices: Iterable[tuple[str, str]]) -> tuple[str, ...]:
        found = {element for element, _option in choices}
        return tuple(element for element in self.catalogue.elements if element in found)


def players_of(scenario: Scenario, first: Method, second: Method) -> tuple[Player, ...]:
    """Return what can be switched from one method to the other.

    Parameters
    ----------
    scenario : Scenario
    first, second : Method

    Returns
    -------
    tuple of Player
        In the library's order of elements, `OTHER` last. Every record in which the two differ comes with at
        least one. Elements whose options would not go together in some mixture are one player.
    """
    owners = Owners.read()
    elements = list(owners.catalogue.elements)
    chosen = {element for element in elements if first.option(element) != second.option(element)}
    settings: dict[str, tuple[str, ...]] = {}  # elements each record comes with; none: other settings
    for key in differing_records(scenario, first, second):
        mine = owners.of_record(key)
        switched_too = tuple(element for element in mine if element in chosen)
        settings[key] = switched_too or (mine if len(mine) == 1 else ())
    alone = {element for mine in settings.values() for element in mine} - chosen
    parts = [
        _player(joined, settings, owners.catalogue)
        for joined in _joined(first, second, [e for e in elements if e in chosen | alone], owners.catalogue)
    ]
    others = tuple(key for key, mine in settings.items() if not mine)
    return (*parts, *([Player(OTHER, "Other settings", (), others)] if others else []))


def differing_records(scenario: Scenario, first: Method, second: Method) -> tuple[str, ...]:
    """Return the keys of the records to which two methods give different values, in order."""
    one, other = scenario.values(first), scenario.values(second)
    keys = {key for method in (first, second) for key, _setting in method.overrides}
    return tuple(sorted(key for key in keys if one[key] != other[key]))


def _joined(
    first: Method, second: Method, elements: Sequence[str], catalogue: Catalogue
) -> list[tuple[str, ...]]:
    """Put elements together whose options would not go together if only one of them were switched."""
    group = {element: element for element in elements}
    for element in elements:
        for name in (first.option(element), second.option(element)):
            for other, allowed in catalogue.options[element, name].goes_with:
                both = {first.option(other), second.option(other)}
                if other in group and not both <= set(allowed):
                    mine, theirs = group[element], group[other]
                    group = {e: mine if leader == theirs else leader for e, leader in group.items()}
    return [
        tuple(e for e in elements if group[e] == leader)
        for leader in dict.fromkeys(group[e] for e in elements)
    ]


def _player(
    elements: tuple[str, ...], settings: Mapping[str, tuple[str, ...]], catalogue: Catalogue
) -> Player:
    leader, *others = (catalogue.elements[element] for element in elements)
    label = leader + (f" with {' and '.join(_lower(other) for other in others)}" if others else "")
    return Player(
        name="+".join(elements),
        label=label,
        elements=elements,
        settings=tuple(key for key, mine in settings.items() if set(mine) & set(elements)),
        wall=bool(set(elements) & set(catalogue.wall_elements)),
    )


def _lower(label: str) -> str:
    return label[:1].lower() + label[1:]


def with_words(parts: Sequence[Player]) -> str:
    """Return how something that comes with players is said: "with outer wall or separating walls"."""
    return f"with {' or '.join(_lower(part.label) for part in parts)}" if parts else ""


def switched(first: Method, second: Method, parts: Sequence[Player], on: Iterable[bool]) -> Method:
    """Return the first method with some players of the second.

    Parameters
    ----------
    first, second : Method
    parts : sequence of Player
        All of `players_of`.
    on : iterable of bool
        Whether each is the second's.

    Returns
    -------
    Method
        One of the two themselves where nothing or everything is switched.
    """
    taken = [part for part, switch in zip(parts, on, strict=True) if switch]
    if len(taken) in (0, len(parts)):
        return second if taken else first
    options, wanted = dict(first.options), dict(second.options)
    options |= {element: wanted[element] for part in taken for element in part.elements}
    said = ", ".join(_lower(part.label) for part in taken)
    return replace(
        with_settings(first, second, {key for part in taken for key in part.settings}),
        id=f"{first.id} with {said} of {second.id}",
        label=f"{first.label} with {said} of {second.label}",
        options=sorted_options(options, read_library()),
    )


def with_settings(method: Method, other: Method, keys: Iterable[str]) -> Method:
    """Return a method that takes some records as another does: set as there, or left alone as there."""
    own, theirs = dict(method.overrides), dict(other.overrides)
    for key in keys:
        own.pop(key, None)
        if key in theirs:
            own[key] = theirs[key]
    return replace(method, overrides=in_order(own))


def figures_of(case: Case) -> Floats:
    """Return the `MEASURES` of a case, weeks negative, so that the second less the first is what is said."""
    site, account = case.site, case.account
    return np.array(
        [
            -case.weeks_to_first_handover,
            -case.weeks_to_last_handover,
            site.hook_hours,
            site.operative_days,
            site.loads_total,
            len(site.trades),
            account.profit,
            account.npv,
        ],
        dtype=float,
    )


Worked = tuple[Plan, SiteUse]

_Key = tuple[frozenset[tuple[str, str]], tuple[tuple[str, float], ...]]


def _key(method: Method) -> _Key:
    """Return what makes two methods the same building: neither names nor reasons do."""
    return frozenset(method.options), tuple((key, value) for key, (value, _why) in method.overrides)


def worked(scenario: Scenario, method: Method) -> Worked:
    """Plan a method and count its site."""
    plan = plan_method(scenario, method)
    return plan, operate(plan)


def work_out(
    scenario: Scenario, methods: Sequence[Method], ends: Sequence[Worked], progress: Progress | None = None
) -> list[Floats | ModelError]:
    """Work methods through every stage, on one grid of months that holds them all.

    Parameters
    ----------
    scenario : Scenario
    methods : sequence of Method
        Any mixtures; equal ones are worked once.
    ends : sequence of (Plan, SiteUse)
        What is worked already, one at least.
    progress : callable, optional
        Told methods done and methods in all.

    Returns
    -------
    list of array or ModelError
        `figures_of` each, or why it cannot be worked out. Months after the last movement of money change a
        figure by the last digits of a sum at most, so all are as a comparison would give them.
    """
    held = {_key(plan.method): (plan, site) for plan, site in ends}
    wanted = {_key(method): method for method in reversed(methods)}
    grid = _longer(common_grid([plan for plan, _site in ends]), SPARE_MONTHS)
    done, in_all = 0, len(wanted)
    while True:
        found: dict[_Key, Floats | ModelError] = {}
        needed = grid
        for key, method in wanted.items():
            try:
                plan, site = held.get(key) or worked(scenario, method)
                needed = _joint(needed, common_grid([plan]))
                if needed == grid:  # else all is worked again on months that hold it
                    account = price(plan, site, grid)
                    found[key] = figures_of(Case(plan.method, plan.takeoff, plan, site, account))
            except ModelError as error:
                found[key] = error
            done += 1
            if progress is not None:
                progress(done, in_all)
        if needed == grid:
            return [found[_key(method)] for method in methods]
        grid, in_all = needed, in_all + len(wanted)


def _longer(grid: MonthGrid, months: int) -> MonthGrid:
    return MonthGrid(grid.start, grid.first, grid.last + months)


def _joint(one: MonthGrid, other: MonthGrid) -> MonthGrid:
    """Return the shortest grid that holds both."""
    return MonthGrid(one.start, min(one.first, other.first), max(one.last, other.last))
