"""Panels on the ground by hand, from dates a hand has worked out, and stacks on a young slab."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from model.core.errors import RangeError
from model.inputs.assumption import Values, read_library
from model.inputs.method import read_catalogue
from model.site.deliveries import call_off, read_deliveries
from model.site.stacks import stack_load, stack_loads
from model.site.storage import PANEL_VEHICLE, PanelStore, racks_for, store_panels

PUBLISHED = Path(__file__).parents[1] / "published"
LIBRARY = Values(read_library())


def published(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()))


def test_panels_of_two_storeys_by_hand(compared):
    # Dates of tests/hand/panelised_tasks.csv; panels come two open dates before their lorry is needed.
    # Storey 1: 15 outer panels x 12.8 = 192 m2 in lorries of 105: two, needed at 114.5 and 114.8, both on
    # Monday 112; 12 separating panels in one, needed at 115.525, on Tuesday 113. Set: outer 114.5 to 115.1,
    # 0.5 / 0.6 of 15 = 12.5 on 114, 2.5 on 115; separating 115.525 to 116.005, 0.475 / 0.48 of 12 = 11.875
    # on 115, the rest on 116. Storey 2 the same from 126 on, all set within their dates: 128 and 129.
    store = compared("two_storey").second.site.panel_store
    by_hand = {112: 15, 113: 27, 114: 14.5, 115: 0.125, 116: 0, 126: 15, 127: 27, 128: 12, 129: 0}
    assert {d: float(store.stored[d]) for d in by_hand} == pytest.approx(by_hand, rel=0, abs=1e-6)
    assert store.stored.sum() == pytest.approx(sum(by_hand.values()), rel=0, abs=1e-6)
    assert (store.peak, store.peak_date, store.racks, store.area_m2) == (27, 113, 3, 120)
    assert store.panel_days == pytest.approx(110.625, rel=0, abs=1e-6)


@pytest.mark.parametrize("name", ["two_storey", "pitch"])
def test_every_panel_comes_is_set_and_leaves_the_racks(compared, name):
    for case in compared(name).cases:
        store = case.site.panel_store
        assert store.delivered.sum() == pytest.approx(case.site.panels, rel=1e-9)
        assert store.placed.sum() == pytest.approx(case.site.panels, rel=1e-9)
        assert store.stored[-1] == 0.0
        assert store.short == 0.0
        assert (store.peak > 0) == (case.site.panels > 0)


def test_panels_ahead_of_need_stand_longer(compared):
    plan = compared("two_storey").second.plan
    nights = []
    for ahead in (0.0, 2.0, 5.0):
        values = plan.values.with_overrides({"site.panels_ahead": (ahead, "")})
        moved = replace(plan, values=values)
        nights.append(store_panels(moved, call_off(moved), values).panel_days)
    assert nights[0] < nights[1] < nights[2]


def test_panels_set_ahead_of_their_lorry_are_told_not_hidden():
    store = PanelStore(np.array([0.0, 4.0, 6.0]), np.array([3.0, 0.0, 7.0]), 10, 40)
    assert store.stored.tolist() == [0.0, 1.0, 0.0]
    assert (store.peak, store.short) == (1.0, 3.0)


def test_the_panel_lorry_carries_what_is_counted_in_panels_and_nothing_else():
    activities = read_catalogue().activities
    for delivery in read_deliveries():
        counted = activities[delivery.activity].consumes.endswith("_panels_no")
        assert counted == (delivery.vehicle == PANEL_VEHICLE), delivery.id


def test_racks_are_whole():
    assert [racks_for(n, 10) for n in (0, 1, 10, 11)] == [0, 1, 1, 2]
    with pytest.raises(RangeError, match=r"got 5 panels in racks of 0\. Set storage\.rack_panels"):
        racks_for(5, 0)
    with pytest.raises(RangeError, match=r"got -1 panels in racks of 10"):
        racks_for(-1, 10)


@pytest.mark.parametrize("row", published("site_stacks"), ids=lambda row: row["goods"])
def test_a_stack_presses_with_its_mass_on_its_footprint(row):
    got = stack_load(float(row["mass_t"]), float(row["footprint_m2"]))
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


def test_records_of_stacks_hold_the_masses_they_are_derived_from():
    # Boards: 60 to 72 of 2.4 x 1.2 m give 170 to 205 m2, 1.7 to 2.0 t a pallet; bricks: 390 x 2.1 kg to
    # 500 x 2.4 kg; panels: ten of 12.8 m2 at 84 kg/m2 and of 11.9 m2 at 64 kg/m2, 5 % more. [t]
    record = read_library().records
    boards, bricks = record["stack.goods.boards.mass"], record["stack.goods.bricks.mass"]
    assert (boards.low, boards.high) == (1.7, 2.0)
    assert (bricks.low, bricks.high) == pytest.approx((0.390 * 2.1, 0.500 * 2.4), rel=0, abs=0.005)
    for name, delivery, mass in (
        ("outer_panels", "panels_outer", "panel.outer_mass"),
        ("separating_panels", "panels_separating", "panel.separating_mass"),
    ):
        area = record[f"delivery.{delivery}.per_unit"].value
        each = area * record[mass].value * (1 + record["panel.extra_mass"].value) / 1000
        held = record["storage.rack_panels"].value * each
        assert record[f"stack.goods.{name}.mass"].value == pytest.approx(held, rel=0, abs=0.05), name


def test_a_stack_over_the_allowance_says_how_far_it_must_be_spread():
    (bricks,) = stack_loads(LIBRARY, {"brickwork"})
    # 1.0 t x 9.80665 / 1.5 kN/m2 = 6.54 m2, against 0.7 m2 under the pack
    assert bricks.over
    assert bricks.slab_m2 == pytest.approx(6.54, rel=0, abs=0.005)
    assert "14.0 kN/m² under the stack, 1.5 kN/m² allowed" in bricks.caution
    assert "no more than one to 7 m², or prop the slab; the temporary-works engineer" in bricks.caution
    (strong,) = stack_loads(LIBRARY.with_overrides({"stack.allowance_kn_m2": (20.0, "")}), {"brickwork"})
    assert (strong.over, strong.caution, strong.slab_m2) == (False, "", 0.7)


def test_only_goods_of_the_method_are_stacked_and_the_heaviest_comes_first(compared):
    framed, panelled = (case.site.stack_loads for case in compared("pitch").cases)
    goods = [{stack.goods for stack in side} for side in (framed, panelled)]
    assert goods[1] - goods[0] == {"Outer wall panels, one rack", "Separating wall panels, one rack"}
    assert goods[0] <= goods[1]
    for side in (framed, panelled):
        loads = [stack.load_kn_m2 for stack in side]
        assert loads == sorted(loads, reverse=True)
    assert stack_loads(LIBRARY, set()) == ()


def test_every_stack_names_deliveries_there_are():
    known = {delivery.id for delivery in read_deliveries()}
    for name, table in read_library().data["stack"]["goods"].items():
        assert table["deliveries"], name
        assert set(table["deliveries"]) <= known, name


def test_a_stack_on_nothing_is_refused():
    with pytest.raises(RangeError, match=r"got 1 t on 0 m2\. Set both under stack\.goods"):
        stack_load(1.0, 0.0)
    with pytest.raises(RangeError, match=r"got -1 t on 2 m2"):
        stack_load(-1.0, 2.0)
    with pytest.raises(RangeError, match=r"above 0 kN/m2; got 0\. Set stack\.allowance_kn_m2"):
        stack_loads(LIBRARY.with_overrides({"stack.allowance_kn_m2": (0.0, "")}), {"brickwork"})
