"""Which tasks are there, and what follows what?

Builds the tasks and links of all blocks from the activities and events of a method. The structure
depends only on the shape of the development, the set of activities and a few counted rules, so it is
kept between cases; figures (hours, lags) are put in by `model.programme.durations`.

Storeys are counted from 1 at the ground. Slab 1 is on the ground, slab s + 1 is the ceiling of storey
s, slab S + 1 the roof. An offset above the top slab means the top slab; below the first it drops the link.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.core.errors import ScheduleError
from model.inputs.method import CAUSES, Activity, Catalogue, Event, Link
from model.programme.kernel import CALENDAR, PROPS, STRIKE, WORKING, topological

Ints = NDArray[np.int64]

Part = tuple[int, int, int, int, int]
"""A handover section: first and last storey, first and last zone, 1 if it goes to the top of the block."""

_KIND: Final = {"calendar": CALENDAR, "working": WORKING}
_RELEASE: Final = {"strike": STRIKE, "props": PROPS}


@dataclass(frozen=True, slots=True)
class Rules:
    """Whole-number rules of the site and the method that move links by storeys.

    Attributes
    ----------
    separation, facade, lift, occupied : int
        Slabs poured above a ceiling before inside work, facade finish, lift rails follow; before people
        move in below.
    backprop : int
        Further pours through which props stay.
    sets : int
        Deck sets of a block.
    call_off : int
        Storeys ahead of fixing at which panels are called off.
    core_ahead : int
        Storeys a core that climbs ahead may stand above the slab it starts from.
    finished_share : float
        Share of storeys finished before commissioning starts.
    between_props : bool
        Whether inside trades may work between the props the deck leaves.
    """

    separation: int
    facade: int
    lift: int
    occupied: int
    backprop: int
    sets: int
    call_off: int
    core_ahead: int
    finished_share: float
    between_props: bool

    def offset(self, name: str) -> int:
        """Return a rule by the word links use for it."""
        return int({
            "separation": self.separation,
            "facade": self.facade,
            "lift": self.lift,
            "occupied": self.occupied,
            "core_ahead": self.core_ahead,
            "backprop": self.backprop,
            "sets": self.sets,
            "call_off": self.call_off,
        }[name])  # fmt: skip


@dataclass(frozen=True)
class Segment:
    """A run of links that share their lag keys and kind."""

    first: int
    last: int
    keys: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Network:
    """Tasks (events among them) and links, without figures.

    Attributes
    ----------
    groups : tuple of str
        Activities, then events.
    activities : int
        How many of the groups are activities.
    scopes : tuple of str
        Scope of each group.
    first : mapping of str to array
        First task of a group in each block (``activity:name`` or ``event:name``).
    group, block, section, storey, zone : array of int, one a task
        Block is -1 for the site; section, storey and zone are 0 where they do not apply.
    before, after : array of int, one a link, in order of `before`
    lag_kind, cause : array of int, one a link
        Kind as in the kernel, place in `CAUSES`.
    segments : tuple of Segment
        Lag keys, on links in the order they were made; `made` takes them there.
    made : array of int
        Place in the making order of each link.
    after_block : array of int
        Block of what follows, by link.
    succ_ptr, pred_count : array of int
    order : array of int
        One topological order, to prove there is no ring and for forward passes.
    """

    groups: tuple[str, ...]
    activities: int
    scopes: tuple[str, ...]
    first: Mapping[str, Ints]
    group: Ints
    block: Ints
    section: Ints
    storey: Ints
    zone: Ints
    before: Ints
    after: Ints
    lag_kind: Ints
    cause: Ints
    segments: tuple[Segment, ...]
    made: Ints
    after_block: Ints
    succ_ptr: Ints
    pred_count: Ints
    order: Ints

    @property
    def size(self) -> int:
        """Number of tasks, events included."""
        return int(self.group.size)

    def tasks_of(self, name: str) -> Ints:
        """Return the tasks of a group, in order of block, storey, zone: groups lie one after another."""
        group = self.groups.index(name)
        first, last = np.searchsorted(self.group, (group, group + 1))
        return np.arange(first, last)

    def has(self, name: str) -> bool:
        """Say whether a group is in the network."""
        return name in self.first


@lru_cache(maxsize=64)
def build_network(
    storeys: tuple[int, ...],
    zones: tuple[int, ...],
    parts: tuple[tuple[Part, ...], ...],
    higher_risk: tuple[bool, ...],
    activities: tuple[str, ...],
    rules: Rules,
    catalogue: Catalogue,
) -> Network:
    """Build the tasks and links of a development for a set of activities.

    Parameters
    ----------
    storeys, zones : tuple of int
        Of each block.
    parts : tuple of tuple of Part
        Handover sections of each block.
    higher_risk : tuple of bool
        Whether the stricter approvals apply to each block.
    activities : tuple of str
        Activities of the method, in order of element.
    rules : Rules
    catalogue : Catalogue

    Returns
    -------
    Network

    Raises
    ------
    ScheduleError
        If links form a ring (it is named), or follow an activity the method does not have.
    """
    return _Builder(storeys, zones, parts, higher_risk, activities, rules, catalogue).build()


class _Builder:
    """Collects groups and links of one network."""

    def __init__(
        self,
        storeys: tuple[int, ...],
        zones: tuple[int, ...],
        parts: tuple[tuple[Part, ...], ...],
        higher_risk: tuple[bool, ...],
        activities: tuple[str, ...],
        rules: Rules,
        catalogue: Catalogue,
    ) -> None:
        self.storeys = np.array(storeys, dtype=np.int64)
        self.zones = np.array(zones, dtype=np.int64)
        self.part_count = np.array([len(of_block) for of_block in parts], dtype=np.int64)
        self.part_first = np.cumsum(self.part_count) - self.part_count
        self.parts = np.array([part for of_block in parts for part in of_block], dtype=np.int64)
        self.risk = np.array(higher_risk, dtype=bool)
        self.rules = rules
        self.chosen = [catalogue.activities[name] for name in activities]
        self.events = _present_events(self.chosen, catalogue)
        self.first: dict[str, Ints] = {}
        self.levels: dict[str, Ints] = {}
        self.scope: dict[str, str] = {}
        self.members: dict[str, tuple[Ints, Ints, Ints, Ints]] = {}
        self.section: dict[str, Ints] = {}
        self.befores: list[Ints] = []
        self.afters: list[Ints] = []
        self.kinds: list[Ints] = []
        self.causes: list[Ints] = []
        self.segments: list[Segment] = []
        self.links = 0
        self.size = 0

    def build(self) -> Network:
        for activity in self.chosen:
            self._group(f"activity:{activity.id}", activity.scope, False)
        for event in self.events.values():
            self._group(f"event:{event.id}", event.scope, event.slab)
        for activity in self.chosen:
            self._follow(f"activity:{activity.id}", activity.after)
            for raised in activity.raises:
                link = Link(
                    event=False,
                    name=activity.id,
                    storey=str(-raised.storey),
                    lag=raised.lag,
                    lag_kind=raised.lag_kind,
                    cause=raised.cause,
                )
                self._join(f"event:{raised.event}", f"activity:{activity.id}", link, slab=raised.slab)
        for event in self.events.values():
            self._follow(f"event:{event.id}", event.after)
        return self._finish()

    def _group(self, name: str, scope: str, slab: bool) -> None:
        blocks = np.arange(self.storeys.size)
        levels = self.storeys + int(slab)
        per_block = {
            "zone": levels * self.zones,
            "storey": levels,
            "section": self.part_count,
            "block": np.ones_like(levels),
            "site": np.ones(1, dtype=np.int64),
        }[scope]
        starts = self.size + np.concatenate([[0], np.cumsum(per_block)[:-1]])
        self.first[name] = starts if scope != "site" else np.full(self.storeys.size, self.size)
        self.levels[name] = levels
        self.scope[name] = scope
        count = int(per_block.sum())
        ids = self.size + np.arange(count)
        if scope == "site":
            block = np.full(1, -1)
            storey = zone = within = np.zeros(1, dtype=np.int64)
        else:
            block = np.repeat(blocks, per_block)
            within = np.arange(count) - np.repeat(np.cumsum(per_block) - per_block, per_block)
            if scope == "zone":
                storey, zone = within // self.zones[block] + 1, within % self.zones[block] + 1
            elif scope == "storey":
                storey, zone = within + 1, np.zeros(count, dtype=np.int64)
            else:  # a section or a block
                storey = zone = np.zeros(count, dtype=np.int64)
        self.members[name] = (ids, block, storey, zone)
        self.section[name] = within + 1 if scope == "section" else np.zeros(count, dtype=np.int64)
        self.size += count

    def _follow(self, name: str, links: tuple[Link, ...]) -> None:
        for link in links:
            target = f"{'event' if link.event else 'activity'}:{link.name}"
            if target not in self.first:
                if link.event:
                    continue  # nothing in this method raises it: there is nothing to wait for
                raise ScheduleError(
                    f"{name.split(':')[1]!r} follows {link.name!r}, which the chosen options do not bring. "
                    "Choose options that belong together."
                )
            self._join(name, target, link)

    def _join(self, name: str, target: str, link: Link, slab: str = "") -> None:
        after, block, storey, zone = self.members[name]
        keep = self._holds(name, link.when)
        if slab == "first":
            keep &= storey == 1
        after, block, storey, zone = after[keep], block[keep], storey[keep], zone[keep]
        scope = self.scope[target]
        if scope == "site":
            before = np.repeat(self.first[target][:1], after.size)
        elif scope == "block":
            before = self.first[target][block]
        elif scope == "section" and self.scope[name] == "section":
            before = self.first[target][block] + self.section[name][keep] - 1
        elif scope == "section":  # a block waits for all of its sections
            count = self.part_count[block]
            before = np.repeat(self.first[target][block], count) + _ranges(count)
            after = np.repeat(after, count)
        elif self.scope[name] == "section":
            after, before = self._in_section(target, link, after, block, self.section[name][keep])
        else:
            after, block, level, zone = self._levels(name, target, link, after, block, storey, zone)
            if scope == "storey":
                before = self.first[target][block] + level - 1
            elif self.scope[name] == "zone":
                before = self.first[target][block] + (level - 1) * self.zones[block] + zone - 1
            else:
                count = self.zones[block]
                base = self.first[target][block] + (level - 1) * count
                before = np.repeat(base, count) + _ranges(count)
                after = np.repeat(after, count)
        self._add(before, after, link)

    def _holds(self, name: str, when: str) -> NDArray[np.bool_]:
        """Say for which members of a group the condition of a link holds."""
        _after, block, _storey, _zone = self.members[name]
        everywhere = np.ones(block.size, dtype=bool)
        if when in ("higher_risk", "lower_risk"):
            return np.asarray(self.risk[block] == (when == "higher_risk"))
        if when in ("top_section", "lower_section"):
            part = self.part_first[block] + self.section[name] - 1
            return np.asarray((self.parts[part, 4] == 1) == (when == "top_section"))
        if when in ("between_props", "clear_of_props"):
            return everywhere & (self.rules.between_props == (when == "between_props"))
        return everywhere

    def _in_section(
        self, target: str, link: Link, after: Ints, block: Ints, section: Ints
    ) -> tuple[Ints, Ints]:
        """Links of sections to storeys or zones: all of the section, or one level of it."""
        part = self.parts[self.part_first[block] + section - 1]
        top = self.levels[target][block]
        slab = top - self.storeys[block]  # 1 where levels are slabs, one more than storeys
        low, high = part[:, 0].copy(), part[:, 1] + slab
        if link.storey == "all":
            low = np.where(low > 1, low + slab, low)  # the slab between two sections is the lower one's
        elif link.storey in ("top", "first"):
            level = high if link.storey == "top" else low
            level = level + (self.rules.offset(link.plus) if link.plus else 0)
            level = level - (self.rules.offset(link.minus) if link.minus else 0)
            low = high = np.clip(level, part[:, 0], top)
        else:  # a share of the storeys, from the lowest
            reached = np.ceil(self.rules.finished_share * (high - low + 1) - 1e-9).astype(np.int64)
            low = high = low + np.maximum(reached, 1) - 1
        count = high - low + 1
        row = np.repeat(np.arange(after.size), count)
        level = low[row] + _ranges(count)
        if self.scope[target] == "storey":
            return after[row], self.first[target][block[row]] + level - 1
        width = part[row, 3] - part[row, 2] + 1
        start = self.first[target][block[row]] + (level - 1) * self.zones[block[row]] + part[row, 2] - 1
        return np.repeat(after[row], width), np.repeat(start, width) + _ranges(width)

    def _levels(
        self, name: str, target: str, link: Link, after: Ints, block: Ints, storey: Ints, zone: Ints
    ) -> tuple[Ints, Ints, Ints, Ints]:
        """Storey or slab of what is followed, for each follower."""
        top = self.levels[target][block]
        if link.storey == "all":
            return np.repeat(after, top), np.repeat(block, top), _ranges(top) + 1, np.repeat(zone, top)
        if link.storey == "top":
            below = self.rules.offset(link.minus) if link.minus else 0
            return after, block, np.maximum(top - below, 1), zone
        if link.storey == "first":
            return after, block, np.ones_like(top), zone
        if not link.storey.lstrip("-").isdigit():
            share = self.rules.finished_share
            level = np.maximum(np.ceil(share * top - 1e-9), 1).astype(np.int64)
            return after, block, level, zone
        offset = int(link.storey)
        offset += self.rules.offset(link.plus) if link.plus else 0
        offset -= self.rules.offset(link.minus) if link.minus else 0
        level = storey + offset
        keep = level >= 1
        if target == name or (target.startswith("activity:") and name.startswith("event:")):
            keep &= level <= top  # an activity does not follow itself; events are raised where they belong
        level = np.minimum(level, top)
        return after[keep], block[keep], level[keep], zone[keep]

    def _add(self, before: Ints, after: Ints, link: Link) -> None:
        count = before.size
        if count == 0:
            return
        kind = _RELEASE[link.lag[0]] if link.lag_kind == "release" else _KIND[link.lag_kind]
        keys = () if link.lag_kind == "release" else link.lag
        self.befores.append(before)
        self.afters.append(after)
        self.kinds.append(np.full(count, kind if keys or link.lag_kind == "release" else CALENDAR))
        self.causes.append(np.full(count, CAUSES.index(link.cause)))
        self.segments.append(Segment(self.links, self.links + count, keys))
        self.links += count

    def _finish(self) -> Network:
        names = tuple(self.first)
        group = np.concatenate([np.full(self.members[n][0].size, k) for k, n in enumerate(names)])
        block = np.concatenate([self.members[n][1] for n in names])
        section = np.concatenate([self.section[n] for n in names])
        storey = np.concatenate([self.members[n][2] for n in names])
        zone = np.concatenate([self.members[n][3] for n in names])
        before = np.concatenate(self.befores)
        after = np.concatenate(self.afters)
        made = np.argsort(before, kind="stable")
        before, after = before[made], after[made]
        succ_ptr = np.searchsorted(before, np.arange(self.size + 1)).astype(np.int64)
        pred_count = np.bincount(after, minlength=self.size).astype(np.int64)
        rank = np.lexsort((np.arange(self.size), group, storey))
        place = np.empty(self.size, dtype=np.int64)
        place[rank] = np.arange(self.size)
        order = topological(pred_count, succ_ptr, after, place)
        if order.size < self.size:
            raise ScheduleError(self._ring(names, group, storey, before, after, order))
        return Network(
            groups=names,
            activities=len(self.chosen),
            scopes=tuple(self.scope[n] for n in names),
            first=self.first,
            group=group,
            block=block,
            section=section,
            storey=storey,
            zone=zone,
            before=before,
            after=after,
            lag_kind=np.concatenate(self.kinds)[made],
            cause=np.concatenate(self.causes)[made],
            segments=tuple(self.segments),
            made=made,
            after_block=block[after],
            succ_ptr=succ_ptr,
            pred_count=pred_count,
            order=order,
        )

    def _ring(
        self, names: tuple[str, ...], group: Ints, storey: Ints, before: Ints, after: Ints, order: Ints
    ) -> str:
        """Name one ring among the tasks that could not be ordered."""
        stuck = np.ones(self.size, dtype=bool)
        stuck[order] = False
        earlier = {int(a): int(b) for b, a in zip(before, after, strict=True) if stuck[a] and stuck[b]}
        task = next(iter(earlier))
        seen: list[int] = []
        while task not in seen:
            seen.append(task)
            task = earlier[task]
        ring = [*seen[seen.index(task) :], task]
        words = [f"{names[group[i]].split(':')[1]} (storey {storey[i]})" for i in reversed(ring)]
        return (
            "The links go round in a ring, so nothing in it can start: "
            + " -> ".join(words)
            + ". Take one of these links out, or give it a lower storey."
        )


def _ranges(counts: Ints) -> Ints:
    """Return 0..count-1 for each count, one after another."""
    total = int(counts.sum())
    result: Ints = np.arange(total) - np.repeat(np.cumsum(counts) - counts, counts)
    return result


def _present_events(chosen: list[Activity], catalogue: Catalogue) -> dict[str, Event]:
    """Return the events that something in the method raises, or that follow something present."""
    activities = {activity.id for activity in chosen}
    present = {raised.event for activity in chosen for raised in activity.raises}
    present.add("site_start")
    growing = True
    while growing:
        growing = False
        for event in catalogue.events.values():
            if event.id not in present and any(
                link.name in (present if link.event else activities) for link in event.after
            ):
                present.add(event.id)
                growing = True
    return {name: event for name, event in catalogue.events.items() if name in present}


def whole(value: float) -> int:
    """Return a counted rule as a whole number of storeys, rounding half up."""
    return math.floor(value + 0.5)
