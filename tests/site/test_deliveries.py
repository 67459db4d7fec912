"""Loads, bays and haulage: printed rows, whole vehicles, and loads against the work they serve."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.inputs.assumption import Values, read_library
from model.site.deliveries import Loads, bay_capacity, call_off, haulage_kgco2e, read_deliveries

PUBLISHED = Path(__file__).parents[1] / "published"
LIBRARY = Values(read_library())
SCENARIOS = ("two_storey", "pitch", "large")


def published(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()))


def bays(count: float, hours: float, slot: float, use: float = 0.8) -> int:
    given_by_hand = {"bays": count, "bay_hours": hours, "bay_slot": slot, "bay_use": use}
    return bay_capacity(LIBRARY.with_overrides({f"site.{k}": (v, "") for k, v in given_by_hand.items()}))


@pytest.mark.parametrize("row", published("site_bay_capacity"), ids=lambda r: f"{r['bays']}x{r['hours']}h")
def test_bays_take_the_vehicles_of_the_table(row):
    got = bays(float(row["bays"]), float(row["hours"]), float(row["slot_min"]))
    assert got == int(row["expected"]), row["source"]


def test_the_library_books_two_bays_for_fourteen_vehicles():
    assert bay_capacity(LIBRARY) == 14  # 2 bays, 7 h, 45 min, 0.8: in the table


@given(
    count=st.integers(min_value=1, max_value=4),
    hours=st.floats(min_value=5.5, max_value=10),
    slot=st.floats(min_value=30, max_value=60),
    use=st.floats(min_value=0.7, max_value=0.85),
)
def test_more_bays_hours_or_use_never_lower_the_capacity(count, hours, slot, use):
    here = bays(count, hours, slot, use)
    assert here <= count * hours * 60 / slot
    assert bays(count + 1, hours, slot, use) >= here
    assert bays(count, hours + 1, slot, use) >= here
    assert bays(count, hours, slot, min(use + 0.05, 1.0)) >= here
    assert bays(count, hours, slot + 5, use) <= here


def one_load(vehicle: str) -> Loads:
    material = next(k for k, delivery in enumerate(read_deliveries()) if delivery.vehicle == vehicle)
    one, none = np.ones(1), np.zeros(1, dtype=np.int64)
    return Loads(none, none, np.array([material]), none, one, one, one)


@pytest.mark.parametrize("row", published("site_haulage"), ids=lambda row: row["vehicle"])
def test_a_round_trip_is_out_laden_and_back_empty(row):
    vehicle = row["vehicle"]
    assert LIBRARY[f"vehicle.{vehicle}.laden"] == float(row["out_laden"])
    assert LIBRARY[f"vehicle.{vehicle}.empty"] == float(row["back_empty"])
    there = LIBRARY.with_overrides({f"vehicle.{vehicle}.distance": (float(row["distance_km"]), "")})
    got = haulage_kgco2e(one_load(vehicle), there)
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


def test_no_distance_no_emission_and_twice_the_distance_twice_as_much():
    def at(distance: float) -> float:
        return haulage_kgco2e(
            one_load("artic"), LIBRARY.with_overrides({"vehicle.artic.distance": (distance, "")})
        )

    assert at(0.0) == 0.0
    assert at(120.0) == pytest.approx(2 * at(60.0), rel=1e-12)


def delivered(plan, loads):
    """Loads and amount by material, block and call-off, from the rows."""
    return [
        (delivery, loads.material == k)
        for k, delivery in enumerate(read_deliveries())
        if np.any(loads.material == k)
    ]


@pytest.mark.parametrize("name", SCENARIOS)
def test_vehicles_are_the_quantity_over_the_load_rounded_up(compared, name):
    for case in compared(name).cases:
        plan, loads = case.plan, case.site.loads
        tasks, network = plan.tasks, plan.network
        for delivery, mine in delivered(plan, loads):
            who = network.tasks_of(f"activity:{delivery.activity}")
            who = who[tasks.work[who] > 0]
            key = f"delivery.{delivery.id}"
            size = plan.values[f"{key}.per_load"]
            if delivery.called:
                size *= plan.values["load.part_called"]
            calls: dict[tuple[int, ...], float] = {}
            for task in who.tolist():
                place = (int(network.block[task]), int(network.storey[task]))
                call = (*place, int(network.zone[task])) if delivery.by_pour else place
                amount = float(tasks.amount[task]) * plan.values[f"{key}.per_unit"]
                calls[call] = calls.get(call, 0.0) + amount
            expected = sum(math.ceil(round(amount / size, 9)) for amount in calls.values())
            assert loads.loads[mine].sum() == expected, delivery.id
            assert loads.amount[mine].sum() == pytest.approx(sum(calls.values()), rel=1e-9)
            assert loads.amount[mine].max() <= size * (1 + 1e-9)


@pytest.mark.parametrize("name", SCENARIOS)
def test_loads_come_on_open_dates_and_not_after_the_work_is_done(compared, name):
    for case in compared(name).cases:
        plan, loads = case.plan, case.site.loads
        assert np.all((plan.conditions.open_dates[loads.date] > 0) | (loads.date == 0))
        for delivery, mine in delivered(plan, loads):
            who = plan.network.tasks_of(f"activity:{delivery.activity}")
            for block in np.unique(loads.block[mine]):
                last = plan.finish[who][plan.network.block[who] == block].max()
                assert loads.date[mine & (loads.block == block)].max() <= last, delivery.id


def test_every_day_adds_up_to_all_vehicles(compared):
    site = compared("pitch").first.site
    by_date = site.loads.by_date(2000)
    assert by_date.sum() == site.loads_total
    assert by_date.max() == site.loads_peak_day
    frame = site.loads.frame(site.plan)
    assert frame["loads"].sum() == site.loads_total
    assert frame.groupby("date")["loads"].sum().max() == site.loads_peak_day


def test_larger_loads_are_never_more_vehicles(compared):
    plan = compared("two_storey").first.plan
    scenario = plan.scenario
    totals = []
    for part in (0.35, 0.5, 0.7):
        values = scenario.with_override("load.part_called", part).values(plan.method)
        totals.append(call_off(with_values(plan, values)).loads.sum())
    assert totals[0] > totals[1] > totals[2]


def with_values(plan, values):
    from dataclasses import replace

    return replace(plan, values=values)


def test_panels_take_the_place_of_what_they_displace(compared):
    # The rows a panel displaces: steel, board, insulation, windows. The rest is common to both.
    def materials(case):
        return {read_deliveries()[k].id for k in np.unique(case.site.loads.material)}

    framed, panelled = (materials(case) for case in compared("pitch").cases)
    assert {"panels_outer", "panels_separating"} <= panelled - framed
    assert framed - panelled
    assert {"slab_concrete", "slab_steel"} <= framed & panelled
