"""What comes by road, when, and does the bay take it?

loads = ceil(quantity / (load x part-load factor)), by material and call-off, on dates ahead of use: the
loads of a call-off follow one another as the work they serve goes on. Concrete is called off pour by
pour, everything else storey by storey.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.inputs.assumption import Values, read_library
from model.programme import Plan

Floats = NDArray[np.float64]

_AHEAD: Final = {"none": "", "panels": "site.panels_ahead", "goods": "site.goods_ahead"}


@dataclass(frozen=True, slots=True)
class Delivery:
    """One material: which activity consumes it and how it travels. Figures: ``delivery.<id>.*``."""

    id: str
    label: str
    activity: str
    vehicle: str
    called: bool
    ahead: str
    by_pour: bool
    unit: str


@lru_cache(maxsize=1)
def read_deliveries() -> tuple[Delivery, ...]:
    """Read the materials of the library."""
    library = read_library()
    return tuple(
        Delivery(
            id=name,
            label=table["label"],
            activity=table["activity"],
            vehicle=table["vehicle"],
            called=table["part"] == "called",
            ahead=_AHEAD[table.get("ahead", "goods")],
            by_pour=table.get("call_off") == "pour",
            unit=library[f"delivery.{name}.per_load"].unit,
        )
        for name, table in library.data["delivery"].items()
    )


@dataclass(frozen=True, eq=False)
class Loads:
    """Vehicles, one row each.

    Attributes
    ----------
    date : array of int
        Date of arrival. [days from start on site]
    block : array of int
    material : array of int
        Place in `read_deliveries`.
    loads, amount, per_load : array
        Vehicles; amount delivered and carried by one, in the material's unit.
    """

    date: NDArray[np.int64]
    block: NDArray[np.int64]
    material: NDArray[np.int64]
    loads: Floats
    amount: Floats
    per_load: Floats

    def by_date(self, dates: int) -> Floats:
        """Return vehicles on each date."""
        return np.bincount(self.date, self.loads, minlength=dates).astype(float)

    def frame(self, plan: Plan) -> pd.DataFrame:
        """Columns date, block, material, loads, amount, unit, per_load, delivery, activity.

        `delivery` names the records ``delivery.<id>.*``, `activity` whose quantity the amount is worked from.
        """
        deliveries = read_deliveries()
        names = np.array(plan.takeoff.layout.names, dtype=object)
        start = np.datetime64(plan.start_date)
        return pd.DataFrame(
            {
                "date": (start + self.date).astype(str),
                "block": names[self.block],
                "material": [deliveries[k].label for k in self.material],
                "loads": self.loads,
                "amount": self.amount,
                "unit": [deliveries[k].unit for k in self.material],
                "per_load": self.per_load,
                "delivery": [deliveries[k].id for k in self.material],
                "activity": [deliveries[k].activity for k in self.material],
            }
        )


def call_off(plan: Plan) -> Loads:
    """Work out the vehicles of a plan.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    Loads
    """
    network, values = plan.network, plan.values
    open_dates = np.flatnonzero(plan.conditions.open_dates)
    parts: list[list[NDArray[np.int64]]] = []
    sums: list[list[Floats]] = []
    for k, delivery in enumerate(read_deliveries()):
        if not network.has(f"activity:{delivery.activity}"):
            continue
        tasks = network.tasks_of(f"activity:{delivery.activity}")
        tasks = tasks[plan.tasks.work[tasks] > 0]
        if tasks.size == 0:
            continue
        key = f"delivery.{delivery.id}"
        group = network.block[tasks] * 1000 + network.storey[tasks]
        label = np.arange(tasks.size) if delivery.by_pour else np.unique(group, return_inverse=True)[1]
        amount = np.bincount(label, plan.tasks.amount[tasks]).astype(float) * values[f"{key}.per_unit"]
        first, last = np.full(amount.size, np.inf), np.zeros(amount.size)
        np.minimum.at(first, label, plan.start[tasks])
        np.maximum.at(last, label, plan.finish[tasks])
        block = np.zeros(amount.size, dtype=np.int64)
        block[label] = network.block[tasks]
        size = values[f"{key}.per_load"] * (values["load.part_called"] if delivery.called else 1.0)
        ahead = values[delivery.ahead] if delivery.ahead else 0.0
        count = np.ceil(np.round(amount / size, 9)).astype(np.int64)
        call = np.repeat(np.arange(amount.size), count)
        number = np.arange(call.size) - np.repeat(np.cumsum(count) - count, count)
        needed = first[call] + (last - first)[call] * number / count[call]
        open_before = np.searchsorted(open_dates, np.floor(needed + 1e-9), side="right") - 1
        arrives = open_dates[np.maximum(open_before - round(ahead), 0)]
        parts.append([arrives, block[call], np.full(call.size, k)])
        carried = np.minimum(amount[call] - number * size, size)
        sums.append([np.ones(call.size), carried, np.full(call.size, size)])
    date, block, material = (np.concatenate(column).astype(np.int64) for column in zip(*parts, strict=True))
    loads, amount, per_load = (np.concatenate(column) for column in zip(*sums, strict=True))
    return Loads(date, block, material, loads, amount, per_load)


def bay_capacity(values: Values) -> int:
    """Return how many vehicles the bays take in a day.

    Parameters
    ----------
    values : Values

    Returns
    -------
    int
        floor(bays x minutes open / minutes booked x share that can be used). [vehicles]
    """
    slots = values["site.bays"] * values["site.bay_hours"] * 60 / values["site.bay_slot"]
    return math.floor(slots * values["site.bay_use"] + 1e-9)


def haulage_kgco2e(loads: Loads, values: Values) -> float:
    """Return the emissions of the lorries: out laden, back empty. [kgCO2e]"""
    per_load = np.array(
        [
            values[f"vehicle.{d.vehicle}.distance"]
            * (values[f"vehicle.{d.vehicle}.laden"] + values[f"vehicle.{d.vehicle}.empty"])
            for d in read_deliveries()
        ]
    )
    return float((loads.loads * per_load[loads.material]).sum())
