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
from model.inputs.method import read_catalogue
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
    group : array of int
        Activity it serves: its place among the network's groups.
    loads, amount, per_load : array
        Vehicles; amount delivered and carried by one, in the material's unit.
    """

    date: NDArray[np.int64]
    block: NDArray[np.int64]
    material: NDArray[np.int64]
    group: NDArray[np.int64]
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
                "activity": [plan.network.groups[k].split(":")[1] for k in self.group],
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
    catalogue = read_catalogue()
    serves: dict[str, list[int]] = {}  # the same work in another place of the sequence takes the same goods
    for number_of, name in enumerate(network.groups[: network.activities]):
        activity = catalogue.activities[name.split(":")[1]]
        if activity.consumes == catalogue.activities[activity.figures].consumes:
            serves.setdefault(activity.figures, []).append(number_of)
    wanted = (
        (k, delivery, group)
        for k, delivery in enumerate(read_deliveries())
        for group in serves.get(delivery.activity, ())
    )
    for k, delivery, group_no in wanted:
        tasks = network.tasks_of(network.groups[group_no])
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
        parts.append([arrives, block[call], np.full(call.size, k), np.full(call.size, group_no)])
        carried = np.minimum(amount[call] - number * size, size)
        sums.append([np.ones(call.size), carried, np.full(call.size, size)])
    date, block, material, of_group = (
        np.concatenate(column).astype(np.int64) for column in zip(*parts, strict=True)
    )
    loads, amount, per_load = (np.concatenate(column) for column in zip(*sums, strict=True))
    return Loads(date, block, material, of_group, loads, amount, per_load)


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


def bay_minutes_available(values: Values) -> float:
    """Return the bay minutes of a day: bays x minutes open x share that can be used. [min]"""
    return values["site.bays"] * values["site.bay_hours"] * 60 * values["site.bay_use"]


def bay_minutes(loads: Loads, values: Values, dates: int) -> Floats:
    """Return the minutes vehicles stand on the bays, by date.

    Parameters
    ----------
    loads : Loads
    values : Values
        Minutes of each material, ``delivery.<id>.bay``.
    dates : int
        Dates to count, at least.

    Returns
    -------
    array, shape (dates,) or longer
        Sum of vehicles x minutes of their material. [min]
    """
    minutes = np.array([values[f"delivery.{delivery.id}.bay"] for delivery in read_deliveries()])
    return np.bincount(loads.date, loads.loads * minutes[loads.material], minlength=dates).astype(float)


FACTOR_YEAR: Final = 2025
"""Year of the set of emission factors under ``vehicle.*`` and ``travel.*`` of the library."""

FACTOR_SET: Final = (
    "UK Government GHG conversion factors for company reporting, DESNZ, 2025 set, tank to wheel"
)


@dataclass(frozen=True, slots=True)
class Haulage:
    """What one kind of vehicle drives.

    Attributes
    ----------
    vehicle, label : str
    loads : float
        Vehicles to site. [no.]
    distance_km, km : float
        One way; all of them, out and back. [km]
    kgco2e : float
        Out laden, back empty. [kgCO2e]
    """

    vehicle: str
    label: str
    loads: float
    distance_km: float
    km: float
    kgco2e: float


def haulage(loads: Loads, values: Values) -> tuple[Haulage, ...]:
    """Return what each kind of vehicle drives: out laden, back empty, no load found for the way back.

    Parameters
    ----------
    loads : Loads
    values : Values
        Distances and factors, ``vehicle.*``.

    Returns
    -------
    tuple of Haulage
        In the order of the library; vehicles that come at least once.

    References
    ----------
    `FACTOR_SET`: rows of 100 % and 0 % laden. Rows of average lading hold empty running already and are
    not doubled here.
    """
    deliveries = read_deliveries()
    count = np.bincount(loads.material, loads.loads, minlength=len(deliveries))
    by_vehicle: dict[str, float] = {}
    for delivery, number in zip(deliveries, count, strict=True):
        by_vehicle[delivery.vehicle] = by_vehicle.get(delivery.vehicle, 0.0) + float(number)
    found = []
    for vehicle, table in values.library.data["vehicle"].items():
        number = by_vehicle.get(vehicle, 0.0)
        if number > 0:
            distance, laden, empty = (
                values[f"vehicle.{vehicle}.{figure}"] for figure in ("distance", "laden", "empty")
            )
            there_and_back = 2 * number * distance
            emitted = number * distance * (laden + empty)
            found.append(Haulage(vehicle, table["label"], number, distance, there_and_back, emitted))
    return tuple(found)


def haulage_kgco2e(loads: Loads, values: Values) -> float:
    """Return the emissions of the lorries: out laden, back empty. [kgCO2e]"""
    return float(sum(row.kgco2e for row in haulage(loads, values)))
