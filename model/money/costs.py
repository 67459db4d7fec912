"""What does the work cost, and what does the site cost while it stands?

The price of an option is a rate on one quantity, shared out over its tasks by their labour. Construction
holds the price of the option it replaces; the premium is the difference on the same quantities.
Time-related site costs run between events, item by item; crane hire stands only there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.core.errors import RangeError
from model.inputs.assumption import read_library
from model.inputs.method import read_catalogue
from model.programme import Plan
from model.site import SiteUse

Floats = NDArray[np.float64]
WEEK_DAYS = 7.0
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, eq=False)
class WorkCosts:
    """Price of the measured work by task.

    Attributes
    ----------
    reference, premium : array, one a task
        Price of the option replaced, and what this method's option costs beyond it. [GBP]
    supply : array, one a task
        Panel maker's part of both, paid for ahead of fixing. [GBP]
    plan : DataFrame
        Columns element, option, quantity, unit, amount, rate, reference_rate, reference, premium. Rates at
        the prices of their date, sums with `inflation`.
    inflation : float
        Prices at the middle of the works over those of the start. [-]
    """

    reference: Floats
    premium: Floats
    supply: Floats
    plan: pd.DataFrame
    inflation: float


def price_work(plan: Plan) -> WorkCosts:
    """Price the measured work of a plan.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    WorkCosts
        Sums over tasks equal rate times quantity, block by block.
    """
    catalogue, network, values = read_catalogue(), plan.network, plan.values
    blocks = len(plan.takeoff.layout.names)
    reference, premium, supply = (np.zeros(network.size) for _ in range(3))
    labour = plan.tasks.people * plan.tasks.work
    inflation = cost_inflation(plan)
    groups = [name.split(":")[1] for name in network.groups[: network.activities]]
    rows = []
    for element, name in plan.method.options:
        option = catalogue.options[element, name]
        replaced = catalogue.options[element, option.replaces]
        own = inflation * values[f"{option.key}.rate"] * plan.takeoff.amount(option.priced_by, "block")
        base = inflation * values[f"{replaced.key}.rate"] * plan.takeoff.amount(replaced.priced_by, "block")
        mine = [k for k, group in enumerate(groups) if plan.option_of[group] == option]
        tasks = np.flatnonzero(np.isin(network.group, mine) & (labour > 0))
        weight = labour[tasks]
        total = np.bincount(network.block[tasks], weight, minlength=blocks)
        share = weight / total[network.block[tasks]]
        reference[tasks] += share * base[network.block[tasks]]
        premium[tasks] += share * (own - base)[network.block[tasks]]
        if option.panels:
            supply[tasks] += share * own[network.block[tasks]] * values["money.factory_supply_pct"] / 100
        rows.append(
            {
                "element": element,
                "option": name,
                "quantity": option.priced_by,
                "unit": _unit_of(option.priced_by),
                "amount": float(plan.takeoff.amount(option.priced_by, "block").sum()),
                "rate": values[f"{option.key}.rate"],
                "reference_rate": values[f"{replaced.key}.rate"],
                "reference": float(base.sum()),
                "premium": float((own - base).sum()),
            }
        )
    return WorkCosts(reference, premium, supply, pd.DataFrame(rows), inflation)


def cost_inflation(plan: Plan) -> float:
    """Return prices at the middle of a method's own works over those of the start on site. [-]

    Measured to the middle of the time on site: a method that takes longer pays more of it.
    """
    rate = plan.values["money.inflation_pct"] / 100
    return float((1 + rate) ** (plan.last_handover / 2 / DAYS_PER_YEAR))


def _unit_of(quantity: str) -> str:
    """Return the unit a quantity's name ends in: ``facade_m2`` is in m2, ``bathrooms_no`` a number."""
    unit = quantity.rpartition("_")[2]
    return "no." if unit == "no" else unit


@dataclass(frozen=True, slots=True)
class SiteCost:
    """A time-related item. Figures: ``site_cost.<id>.*``; `times` is a record its rate is multiplied by."""

    id: str
    label: str
    per: str
    begins: str
    ends: str
    kind: str
    thins: bool
    times: str


@lru_cache(maxsize=1)
def read_site_costs() -> tuple[SiteCost, ...]:
    """Read the time-related items of the library."""
    return tuple(
        SiteCost(
            name,
            table["label"],
            table["per"],
            table["from"],
            table["to"],
            table["kind"],
            "thins" in table,
            table.get("times", ""),
        )
        for name, table in read_library().data["site_cost"].items()
    )


@dataclass(frozen=True, eq=False)
class TimeCosts:
    """Time-related site costs: one row for each stretch at one rate.

    Attributes
    ----------
    item : array of int
        Place in `read_site_costs`.
    start, finish : array
        [days from start on site]
    per_week : array
        [GBP/week]
    plant : array of bool
        Whether the item is plant (cranes, hoists, scaffold) rather than preliminaries.
    """

    item: NDArray[np.int64]
    start: Floats
    finish: Floats
    per_week: Floats
    plant: NDArray[np.bool_]

    @property
    def amount(self) -> Floats:
        """Sum of each row. [GBP]"""
        return (self.finish - self.start) / WEEK_DAYS * self.per_week

    def frame(self) -> pd.DataFrame:
        """Columns item, start, finish, rate_per_week, amount."""
        labels = [item.label for item in read_site_costs()]
        return pd.DataFrame(
            {
                "item": [labels[k] for k in self.item],
                "start": self.start,
                "finish": self.finish,
                "rate_per_week": self.per_week,
                "amount": self.amount,
            }
        )


def price_time(plan: Plan, site_use: SiteUse, handovers: Floats) -> TimeCosts:
    """Price the site while it stands.

    Parameters
    ----------
    plan : Plan
    site_use : SiteUse
    handovers : array, one a block
        Handover of each block; may differ from the plan's, to ask what a week is worth. [days]

    Returns
    -------
    TimeCosts
    """
    values = plan.values
    scale = site_scale(plan)
    days = _days(plan, site_use, handovers)
    inflation = cost_inflation(plan)
    rows: list[tuple[int, float, float, float, bool]] = []
    for k, item in enumerate(read_site_costs()):
        rate = inflation * values[f"site_cost.{item.id}.rate"] * (values[item.times] if item.times else 1.0)
        for start, finish, per_week in _stretches(item, rate, plan, days, handovers, scale):
            if finish > start and per_week > 0:
                rows.append((k, start, finish, per_week, item.kind == "plant"))
    if not rows:
        empty = np.zeros(0)
        return TimeCosts(empty.astype(np.int64), empty, empty, empty, empty.astype(bool))
    item_no, begin, end, weekly, plant = zip(*rows, strict=True)
    return TimeCosts(np.array(item_no), np.array(begin), np.array(end), np.array(weekly), np.array(plant))


@dataclass(frozen=True, slots=True)
class FixedCost:
    """A fixed item of the preliminaries; its share is the record ``fixed_cost.<id>.share``."""

    id: str
    label: str
    begins: str
    ends: str


@lru_cache(maxsize=1)
def read_fixed_costs() -> tuple[FixedCost, ...]:
    """Read the fixed items of the library."""
    return tuple(
        FixedCost(name, table["label"], table["from"], table["to"])
        for name, table in read_library().data["fixed_cost"].items()
    )


VALUE_RELATED = "Insurances, bonds, warranties"
"""Label of the part of the preliminaries that goes by the value of the works."""


@dataclass(frozen=True, eq=False)
class FixedCosts:
    """Preliminaries that do not grow with time: one row for each payment or even flow.

    Attributes
    ----------
    label : tuple of str
        Item of each row.
    kind : tuple of str
        ``fixed`` or ``value``.
    start, finish : array
        Days between which it is spent; equal for one payment. [days from start on site]
    amount : array
        [GBP]
    """

    label: tuple[str, ...]
    kind: tuple[str, ...]
    start: Floats
    finish: Floats
    amount: Floats

    def frame(self) -> pd.DataFrame:
        """Columns item, kind, start, finish, amount."""
        return pd.DataFrame(
            {
                "item": self.label,
                "kind": self.kind,
                "start": self.start,
                "finish": self.finish,
                "amount": self.amount,
            }
        )


def price_fixed(plan: Plan, site_use: SiteUse, handovers: Floats, work: WorkCosts) -> FixedCosts:
    """Share the fixed preliminaries out to their items and dates, and add what goes by value.

    Parameters
    ----------
    plan : Plan
    site_use : SiteUse
    handovers : array, one a block
        [days]
    work : WorkCosts

    Returns
    -------
    FixedCosts
        Fixed items add up to ``money.fixed_preliminaries_pct`` of the price of the options replaced, the same
        for every method; the part by value is ``money.value_preliminaries_pct`` of the method's own price.

    Raises
    ------
    RangeError
        If every share is 0 while there is something to share out.
    """
    values = plan.values
    days = _days(plan, site_use, handovers)
    items = read_fixed_costs()
    weight = np.array([values[f"fixed_cost.{item.id}.share"] for item in items])
    total = float(work.reference.sum()) * values["money.fixed_preliminaries_pct"] / 100
    if total > 0 and weight.sum() <= 0:
        raise RangeError(
            "Fixed preliminaries have no item to go to: every share under fixed_cost is 0. Set one above 0, "
            "or money.fixed_preliminaries_pct to 0."
        )
    rows: list[tuple[str, str, float, float, float]] = []
    for item, part in zip(items, total * weight / max(float(weight.sum()), 1e-300), strict=True):
        spans = _spans(days[item.begins], days[item.ends], float(handovers.max()))
        rows += [(item.label, "fixed", start, finish, part / len(spans)) for start, finish in spans]
    own = float((work.reference + work.premium).sum())
    rows.append((VALUE_RELATED, "value", 0.0, 0.0, own * values["money.value_preliminaries_pct"] / 100))
    label, kind, start, finish, amount = zip(*rows, strict=True)
    return FixedCosts(label, kind, np.array(start), np.array(finish), np.array(amount))


def _spans(begins: Floats, ends: Floats, last: float) -> list[tuple[float, float]]:
    """Pair the days of an item: one span a crane or block where both go by it, else from first to last."""
    if begins.size == ends.size:
        spans = [
            (float(a), float(b))
            for a, b in zip(begins, ends, strict=True)
            if np.isfinite(a) and np.isfinite(b) and b >= a
        ]
        if spans:
            return spans
    known = begins[np.isfinite(begins)], ends[np.isfinite(ends)]
    start = float(known[0].min()) if known[0].size else 0.0
    finish = float(known[1].max()) if known[1].size else last
    return [(start, max(start, finish))]


def site_scale(plan: Plan) -> float:
    """Return weekly site costs of this site over those of the site the rates are for."""
    values = plan.values
    flats = float(plan.takeoff.flats.sum())
    return float((flats / values["scale.flats"]) ** values["scale.exponent"])


def _stretches(
    item: SiteCost, rate: float, plan: Plan, days: Mapping[str, Floats], handovers: Floats, scale: float
) -> list[tuple[float, float, float]]:
    """Return (start, finish, GBP a week) of each stretch of an item."""
    begins, ends = days[item.begins], days[item.ends]
    if item.per == "site":
        thins = plan.values[f"site_cost.{item.id}.thins"] if item.thins else 0.0
        steps = np.sort(handovers)
        leave = thins / max(steps.size - 1, 1)
        edges = [float(begins[0]), *(float(x) for x in steps)]
        return [(edges[n], edges[n + 1], rate * scale * (1 - leave * n)) for n in range(steps.size)]
    if item.per == "facade_m2":
        area = plan.takeoff.amount("facade_m2", "block")
        full = days["access_full"]
        return [
            stretch
            for b in range(area.size)
            if np.isfinite(begins[b]) and np.isfinite(ends[b])
            for stretch in (
                (float(begins[b]), float(full[b]), rate * area[b] / 2),
                (float(full[b]), float(ends[b]), rate * area[b]),
            )
        ]
    present = {
        "hoist": plan.takeoff.amount("hoists_no", "block"),
        "crane": np.array([float(crane.number) for crane in plan.scenario.served]),
        "block": np.ones(handovers.size),
        "extra_deck_set": extra_deck_sets(plan) * plan.takeoff.amount("plate_m2", "block"),
    }[item.per]
    return [
        (float(begins[n]), float(ends[n]), rate * float(present[n]))
        for n in range(begins.size)
        if np.isfinite(begins[n]) and np.isfinite(ends[n])
    ]


def extra_deck_sets(plan: Plan) -> float:
    """Return deck sets beyond the number whose hire the deck's price holds."""
    options = {option.key: option for option in plan.option_of.values() if option.has_sets}
    records = plan.values.library.records
    return sum(max(plan.values[f"{key}.sets"] - records[f"{key}.sets"].value, 0.0) for key in options)


def _days(plan: Plan, site_use: SiteUse, handovers: Floats) -> Mapping[str, Floats]:
    """Return the instants between which items run: one for the site, a block or a crane."""
    network = plan.network
    blocks = len(plan.takeoff.layout.names)
    third = np.full(blocks, np.nan)
    slabs = network.tasks_of("event:slab_poured")
    third_slab = slabs[
        network.storey[slabs] == np.minimum(3, _top(network.storey[slabs], network.block[slabs]))
    ]
    np.fmax.at(third, network.block[third_slab], plan.finish[third_slab])
    first_up, full = np.full(blocks, np.nan), np.full(blocks, np.nan)
    if network.has("event:access_up"):
        up = network.tasks_of("event:access_up")
        np.fmin.at(first_up, network.block[up], plan.finish[up])
        np.fmax.at(full, network.block[up], plan.finish[up])
    return {
        "start": np.zeros(1),
        "first_handover": np.array([handovers.min()]),
        "last_handover": np.array([handovers.max()]),
        "first_lift": site_use.crane_from,
        "last_lift": site_use.crane_to,
        "third_slab": third,
        "ground_slab": plan.event_by_block("slab_poured", "first"),
        "top_slab": plan.event_by_block("slab_poured", "top"),
        "hoist_struck": plan.event_by_block("hoist_struck"),
        "access_up": first_up,
        "access_full": full,
        "access_gone": plan.event_by_block("access_gone"),
    }


def _top(level: NDArray[np.int64], block: NDArray[np.int64]) -> NDArray[np.int64]:
    top = np.zeros(int(block.max()) + 1, dtype=np.int64)
    np.maximum.at(top, block, level)
    return top[block]
