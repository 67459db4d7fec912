"""How much of everything, where?

Stage: `measure(scenario, values) -> TakeOff`. Quantities by block, storey and zone, before any
method is chosen; a method only decides which of them are consumed. Zones add up to the block.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.errors import Problem, RangeError, ScenarioError
from model.inputs.assumption import Values
from model.inputs.scenario import Block, Scenario
from model.quantities.geometry import (
    longest_panel,
    panel_count,
    perimeter,
    plate_length,
    separating_length,
)

Floats = NDArray[np.float64]

Part = tuple[int, int, int, int, int]
"""A handover section: first and last storey, first and last zone, 1 if it goes to the top of the block."""

UNITS_OF = {
    "m2": "m2",
    "m3": "m3",
    "t": "t",
    "m": "m",
    "no": "no.",
    "weeks": "weeks",
}


@dataclass(frozen=True, eq=False)
class Layout:
    """Where things are: blocks, storeys, zones, and how the flat arrays are laid out.

    Arrays by zone run over blocks, then storeys bottom up, then zones.
    """

    names: tuple[str, ...]
    storeys: tuple[int, ...]
    zones: tuple[int, ...]
    storey_heights: tuple[float, ...]
    parts: tuple[tuple[Part, ...], ...]

    @cached_property
    def section_block(self) -> NDArray[np.int64]:
        """Block of every handover section."""
        return np.repeat(np.arange(len(self.names)), [len(of_block) for of_block in self.parts])

    @cached_property
    def section_names(self) -> tuple[str, ...]:
        """Name of every handover section: the block's own, or with its storeys or core."""
        return tuple(
            section_name(name, of_block, k)
            for name, of_block in zip(self.names, self.parts, strict=True)
            for k in range(len(of_block))
        )

    @cached_property
    def zone_block(self) -> NDArray[np.int64]:
        """Block of every zone."""
        return np.repeat(
            np.arange(len(self.names)), [s * z for s, z in zip(self.storeys, self.zones, strict=True)]
        )

    @cached_property
    def zone_storey(self) -> NDArray[np.int64]:
        """Storey (1-based) of every zone."""
        return np.concatenate(
            [np.repeat(np.arange(1, s + 1), z) for s, z in zip(self.storeys, self.zones, strict=True)]
        )

    @cached_property
    def zone_number(self) -> NDArray[np.int64]:
        """Zone (1-based) of every zone."""
        return np.concatenate(
            [np.tile(np.arange(1, z + 1), s) for s, z in zip(self.storeys, self.zones, strict=True)]
        )

    @cached_property
    def storey_starts(self) -> NDArray[np.int64]:
        """First zone of every storey, over all blocks."""
        per_storey = np.concatenate(
            [np.full(s, z, dtype=np.int64) for s, z in zip(self.storeys, self.zones, strict=True)]
        )
        return np.concatenate([[0], np.cumsum(per_storey)[:-1]]).astype(np.int64)

    @cached_property
    def block_starts(self) -> NDArray[np.int64]:
        """First zone of every block."""
        sizes = [s * z for s, z in zip(self.storeys, self.zones, strict=True)]
        return np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.int64)

    @cached_property
    def block_storey_starts(self) -> NDArray[np.int64]:
        """First storey of every block."""
        return np.concatenate([[0], np.cumsum(self.storeys)[:-1]]).astype(np.int64)


@dataclass(frozen=True, eq=False)
class TakeOff:
    """Quantities of a development.

    Attributes
    ----------
    layout : Layout
    by_zone : mapping of str to array
        Quantity of every zone; the name ends in its unit (``_m2``, ``_m3``, ``_t``, ``_m``, ``_no``).
    by_storey, by_block : mapping of str to array
        Quantities that only have a meaning for a storey or a block.
    gross_m2, net_m2, flats : array, one value a block
    section_flats : array, one value a section
        Flats handed over with each section; those behind a hoist bay come with the top one.
    higher_risk : array of bool
        Whether the stricter approvals apply to the block.
    facade_m : array, by storey over all blocks
        Facade length, for what a thicker wall takes from the saleable area.
    """

    layout: Layout
    by_zone: Mapping[str, Floats]
    by_storey: Mapping[str, Floats]
    by_block: Mapping[str, Floats]
    gross_m2: Floats
    net_m2: Floats
    flats: Floats
    section_flats: Floats
    higher_risk: NDArray[np.bool_]
    facade_m: Floats

    def amount(self, quantity: str, scope: str) -> Floats:
        """Return a quantity at a scope: one value a zone, storey, section or block.

        Parameters
        ----------
        quantity : str
            Name of the quantity.
        scope : str
            ``zone``, ``storey``, ``section`` (each has what its block has) or ``block``.

        Returns
        -------
        array
        """
        if scope == "zone":
            return self.by_zone[quantity]
        if scope == "storey":
            if quantity in self.by_storey:
                return self.by_storey[quantity]
            return np.add.reduceat(self.by_zone[quantity], self.layout.storey_starts)
        if scope == "section":
            return self.amount(quantity, "block")[self.layout.section_block]
        if quantity in self.by_block:
            return self.by_block[quantity]
        if quantity in self.by_storey:
            return np.add.reduceat(self.by_storey[quantity], self.layout.block_storey_starts)
        return np.add.reduceat(self.by_zone[quantity], self.layout.block_starts)

    @cached_property
    def frame(self) -> pd.DataFrame:
        """Columns block, storey, zone, quantity, unit, amount; 0 for a whole block or storey."""
        layout = self.layout
        names = np.array(layout.names, dtype=object)
        parts = [
            pd.DataFrame(
                {
                    "block": names[layout.zone_block],
                    "storey": layout.zone_storey,
                    "zone": layout.zone_number,
                    "quantity": quantity,
                    "unit": unit_of(quantity),
                    "amount": amounts,
                }
            )
            for quantity, amounts in self.by_zone.items()
        ]
        storey_block = np.repeat(np.arange(len(names)), layout.storeys)
        storey_number = np.concatenate([np.arange(1, s + 1) for s in layout.storeys])
        parts += [
            pd.DataFrame(
                {
                    "block": names[storey_block],
                    "storey": storey_number,
                    "zone": 0,
                    "quantity": quantity,
                    "unit": unit_of(quantity),
                    "amount": amounts,
                }
            )
            for quantity, amounts in self.by_storey.items()
        ]
        parts += [
            pd.DataFrame(
                {
                    "block": names,
                    "storey": 0,
                    "zone": 0,
                    "quantity": quantity,
                    "unit": unit_of(quantity),
                    "amount": amounts,
                }
            )
            for quantity, amounts in self.by_block.items()
        ]
        return pd.concat(parts, ignore_index=True)


def unit_of(quantity: str) -> str:
    """Return the unit a quantity's name ends in."""
    return UNITS_OF[quantity.rsplit("_", 1)[1]]


def measure(scenario: Scenario, values: Values, panels: tuple[str, ...] = ()) -> TakeOff:
    """Measure a development.

    Parameters
    ----------
    scenario : Scenario
        Blocks as described; what a block leaves out comes from `values`.
    values : Values
        Library figures with the overrides of the scenario.
    panels : tuple of str
        Kinds of panel the method has made (``outer``, ``separating``); their sum is ``panels_no``.

    Returns
    -------
    TakeOff
    """
    late = scenario.development.late_adoption and bool(panels)
    blocks = [
        _measure_block(block, values, values["late.consolidated"] if late else 1.0)
        for block in scenario.blocks
    ]
    layout = Layout(
        names=tuple(block.name for block in scenario.blocks),
        storeys=tuple(block.storeys for block in scenario.blocks),
        zones=tuple(measured.zones for measured in blocks),
        storey_heights=tuple(measured.storey_height for measured in blocks),
        parts=tuple(measured.parts for measured in blocks),
    )
    by_zone = {key: np.concatenate([b.zone[key] for b in blocks]) for key in blocks[0].zone}
    by_zone["panels_no"] = sum(
        (by_zone[f"{kind}_panels_no"] for kind in panels), np.zeros(layout.zone_block.size)
    )
    by_storey = {key: np.concatenate([b.storey[key] for b in blocks]) for key in blocks[0].storey}
    made = np.add.reduceat(by_zone["panels_no"], layout.storey_starts)
    by_storey["remade_panels_no"] = whole_in_turn(
        made * values["factory.damaged"], layout.block_storey_starts
    )
    return TakeOff(
        layout=layout,
        by_zone=by_zone,
        by_storey=by_storey,
        by_block={key: np.array([b.block[key] for b in blocks]) for key in blocks[0].block},
        gross_m2=np.array([b.gross for b in blocks]),
        net_m2=np.array([b.net for b in blocks]),
        flats=np.array([b.flats for b in blocks]),
        section_flats=np.concatenate([b.section_flats for b in blocks]),
        higher_risk=np.array([b.higher_risk for b in blocks]),
        facade_m=np.concatenate([b.facade_m for b in blocks]),
    )


@dataclass(frozen=True, eq=False)
class _Measured:
    zones: int
    parts: tuple[Part, ...]
    section_flats: Floats
    storey_height: float
    gross: float
    net: float
    flats: float
    higher_risk: bool
    facade_m: Floats
    zone: dict[str, Floats]
    storey: dict[str, Floats]
    block: dict[str, float]


def given(value: float | None, values: Values, key: str) -> float:
    """Return a block's own figure, or the library's where the block is silent."""
    return values[key] if value is None else float(value)


def section_name(block: str, parts: tuple[Part, ...], place: int) -> str:
    """Return the name of a handover section: the block's own, or with its storeys or core."""
    if len(parts) == 1:
        return block
    first, last, *_rest, top = parts[place]
    if top and parts[0][4]:  # every section goes to the top: they stand side by side
        return f"{block} core {place + 1}"
    return f"{block} storeys {first}-{last}"


def whole_in_turn(expected: Floats, starts: NDArray[np.int64]) -> Floats:
    """Return whole numbers whose running sums follow those of the expected ones: one panel in fifty, in turn.

    Parameters
    ----------
    expected : array
        Expected numbers, bottom up, block after block. [no.]
    starts : array of int
        First place of each block; the count begins anew there.

    Returns
    -------
    array
        [no.]

    Examples
    --------
    >>> whole_in_turn(np.array([0.6, 0.6, 0.6, 0.6]), np.array([0])).tolist()
    [0.0, 1.0, 0.0, 1.0]
    """
    running = np.cumsum(expected)
    sizes = np.diff([*starts, expected.size])
    running -= np.repeat((running - expected)[starts], sizes)
    reached = np.floor(running + 1e-9)
    result = np.diff(reached, prepend=0.0)
    result[starts] = reached[starts]
    return result


def handover_parts(block: Block, zones: int, cores: int) -> tuple[Part, ...]:
    """Return the handover sections of a block: whole, core by core, or in ranges of storeys.

    Parameters
    ----------
    block : Block
    zones, cores : int
        Of each storey.

    Returns
    -------
    tuple of Part
        Cores share the zones out in order.

    Raises
    ------
    ScenarioError
        If cores are to be handed over one by one and there are not two, or not a zone to each.
    """
    if block.handover == "each core":
        if cores < 2 or zones < cores:
            raise ScenarioError(
                [
                    Problem(
                        f"blocks {block.name!r}.handover",
                        f"each core, with {cores} core{'s' if cores > 1 else ''} and "
                        f"{zones} zone{'s' if zones > 1 else ''}",
                        "It takes two cores or more, and at least a zone to each.",
                        "Give `cores` and `zones`, or hand the block over whole.",
                    )
                ]
            )
        edges = [round(k * zones / cores) for k in range(cores + 1)]
        return tuple((1, block.storeys, a + 1, b, 1) for a, b in pairwise(edges))
    if block.sections:
        return tuple(
            (part.first, part.last, 1, zones, int(part.last == block.storeys)) for part in block.sections
        )
    return ((1, block.storeys, 1, zones, 1),)


def flats_of_parts(flats: Floats, parts: tuple[Part, ...], zones: int, bays: float) -> Floats:
    """Return the flats handed over with each section, whole numbers that add up to the block's.

    Parameters
    ----------
    flats : array, one a storey
    parts : tuple of Part
    zones : int
        Of each storey.
    bays : float
        Hoist bays a storey: a flat behind each waits for the hoist to go, with the top of the block.
    """
    share = np.array(
        [flats[a - 1 : b].sum() * (z2 - z1 + 1) / zones for a, b, z1, z2, _top in parts], dtype=float
    )
    for k, (first, last, _z1, _z2, top) in enumerate(parts):
        if not top:
            behind = min(bays * (last - first + 1), share[k])
            share[k] -= behind
            share[-1] += behind
    return np.diff(np.round(np.cumsum(share)), prepend=0.0)


def _measure_block(block: Block, v: Values, consolidated: float) -> _Measured:
    s = block.storeys
    height = given(block.storey_height_m, v, "block.storey_height")
    flat_area = given(block.flat_area_m2, v, "block.flat_area")
    depth = given(block.plate_depth_m, v, "block.plate_depth")
    glazing = v["block.glazing"] if block.glazing_pct is None else block.glazing_pct / 100
    flats = np.full(s, float(block.flats_per_storey))
    area_given = np.full(s, np.nan if block.plate_area_m2 is None else float(block.plate_area_m2))
    facade_given = np.full(s, np.nan if block.facade_length_m is None else float(block.facade_length_m))
    separating_given = np.full(
        s, np.nan if block.separating_length_m is None else float(block.separating_length_m)
    )
    for plan in block.ranges:
        at = slice(plan.first - 1, plan.last)
        if plan.flats_per_storey is not None:
            flats[at] = plan.flats_per_storey
            area_given[at] = np.nan
        for target, value in (
            (area_given, plan.plate_area_m2),
            (facade_given, plan.facade_length_m),
            (separating_given, plan.separating_length_m),
        ):
            if value is not None:
                target[at] = value
    net = flats * flat_area
    gross = np.where(np.isnan(area_given), net / v["block.efficiency"], area_given)
    length = plate_length(gross, depth)
    facade_m = np.where(np.isnan(facade_given), perimeter(gross, depth), facade_given)
    zones = block.zones or max(1, round(float(gross.max()) / v["block.zone_area"]))
    cores = block.cores or max(1, round(float(gross.max()) / v["block.core_area"]))
    clear = height - v["geometry.slab_thickness"]
    separating_m = np.where(
        np.isnan(separating_given),
        separating_length(
            flats, length, gross / length, v["geometry.corridor_width"], cores, v["geometry.core_lined_m"]
        ),
        separating_given,
    )
    per_zone = _storey_quantities(v, flats, net, gross, facade_m, separating_m, height, clear, glazing, cores)
    for key, amount in per_zone.items():
        if not np.all(amount >= 0):
            raise RangeError(
                f"Block {block.name!r}: {key} comes to {float(amount.min()):,.3g} on a storey, below 0. "
                f"Check storey height {height:g} m, slab thickness {v['geometry.slab_thickness']:g} m, plate "
                f"depth {depth:g} m and corridor width {v['geometry.corridor_width']:g} m."
            )
    zone = {key: np.repeat(amount / zones, zones) for key, amount in per_zone.items()}
    outer = longest_panel(
        v["panel.outer_length"],
        v["panel.longest"],
        v["panel.heaviest"],
        v["panel.outer_mass"] * (1 + v["panel.extra_mass"]),
        height,
    )
    separating = longest_panel(
        v["panel.separating_length"],
        v["panel.longest"],
        v["panel.heaviest"],
        v["panel.separating_mass"] * (1 + v["panel.extra_mass"]),
        clear,
    )
    zone["outer_panels_no"] = np.ceil(panel_count(zone["facade_m"], outer) * consolidated - 1e-9)
    zone["hand_wall_m2"] = zone["solid_m2"] * (1.0 - consolidated)
    zone["separating_panels_no"] = panel_count(zone["separating_m"], separating)
    zone["outer_joints_m"] = zone["outer_panels_no"] * height + zone["facade_m"]
    zone["finish_joints_m"] = zone["outer_panels_no"] * height
    zone["separating_joints_m"] = zone["separating_panels_no"] * clear + zone["separating_m"]
    hoists = given(block.hoists, v, "block.hoists") * float(s >= v["site.hoist_storeys"])
    parts = handover_parts(block, zones, cores)
    tied_at = np.arange(v["crane.free_standing"], s * height - 1e-9, v["crane.tie_spacing"])
    ties = np.isin(np.arange(1, s + 1), np.ceil(tied_at / height - 1e-9)).astype(float)
    lift_block = float(s >= v["geometry.lift_storeys"])
    cars = lift_block * cores * v["geometry.lift_cars"]
    return _Measured(
        zones=zones,
        parts=parts,
        section_flats=flats_of_parts(flats, parts, zones, hoists),
        storey_height=height,
        gross=float(gross.sum()),
        net=float(net.sum()),
        flats=float(flats.sum()),
        higher_risk=s >= v["geometry.higher_risk_storeys"]
        or (s - 1) * height >= v["geometry.higher_risk_height"],
        facade_m=facade_m,
        zone=zone,
        storey={
            "hoist_bays_no": np.full(s, hoists),
            "tie_bays_no": ties,
            "late_bays_no": hoists + ties,
            "lift_cars_no": np.full(s, cars),
        },
        block={
            "substructure_weeks": given(block.substructure_weeks, v, "block.substructure_weeks"),
            "plate_m2": float(gross.max()),
            "block_no": 1.0,
            "hoists_no": hoists,
            "craned_no": 1.0,
            "lifts_no": lift_block,
        },
    )


def _storey_quantities(
    v: Values,
    flats: Floats,
    net: Floats,
    gross: Floats,
    facade_m: Floats,
    separating_m: Floats,
    height: float,
    clear: float,
    glazing: float,
    cores: int,
) -> dict[str, Floats]:
    """Quantities of each storey that are shared out over its zones by area."""
    facade = facade_m * height
    openings = glazing * facade
    doors = np.minimum(flats * v["geometry.balconies"], openings / v["geometry.door_area"])
    windows = np.maximum(openings - doors * v["geometry.door_area"], 0.0) / v["geometry.window_area"]
    columns = np.array([math.ceil(round(area / v["geometry.column_area"], 9)) for area in gross], dtype=float)
    column_m3 = columns * v["geometry.column_width"] * v["geometry.column_length"] * clear
    core_forms = np.full_like(gross, cores * v["geometry.core_forms_m"] * clear)
    core_m3 = core_forms / 2 * v["geometry.core_wall_thickness"]
    slab_m3 = gross * v["geometry.slab_thickness"]
    separating = separating_m * clear
    partitions = net * v["geometry.partitions"]
    solid = facade - openings
    return {
        "gross_m2": gross,
        "deck_m2": gross,
        "flats_no": flats,
        "slab_m3": slab_m3,
        "slab_rebar_t": slab_m3 * v["geometry.slab_rebar"] / 1000,
        "slab_edge_m": facade_m,
        "columns_no": columns,
        "column_forms_m2": columns * 2 * (v["geometry.column_width"] + v["geometry.column_length"]) * clear,
        "column_m3": column_m3,
        "column_rebar_t": column_m3 * v["geometry.vertical_rebar"] / 1000,
        "core_forms_m2": core_forms,
        "core_m3": core_m3,
        "core_rebar_t": core_m3 * v["geometry.vertical_rebar"] / 1000,
        "stair_flights_no": np.full_like(gross, cores * v["geometry.stair_flights"]),
        "facade_m": facade_m,
        "facade_m2": facade,
        "solid_m2": solid,
        "windows_no": windows,
        "balcony_doors_no": doors,
        "balconies_no": flats * v["geometry.balconies"],
        "bathrooms_no": flats * v["geometry.bathrooms"],
        "separating_m": separating_m,
        "separating_m2": separating,
        "partitions_m2": partitions,
        "ceilings_m2": net,
        "floors_m2": net,
        "boards_m2": 2 * partitions + 2 * separating + solid + net,
        "corridor_m2": gross * v["geometry.corridor_share"],
    }
