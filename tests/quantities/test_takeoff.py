"""The take-off: the storey the outputs were gathered for, sums, ranges, and what must hold for any block."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.inputs.reading import load_scenario, read_tables
from model.quantities import measure

SCENARIOS = Path(__file__).parents[2] / "scenarios"
TRADE = "Facts of the trade, common practice: the storey of nine flats the outputs were gathered for"
STOREY = {  # quantity: (figure, share it may differ by, why)
    "flats_no": (9, 0.0, "counted"),
    "gross_m2": (855, 0.001, "95 m2 a flat"),
    "facade_m": (138, 0.001, "printed to the metre"),
    "facade_m2": (415, 0.005, "138 m x 3.0 m is 414"),
    "solid_m2": (290, 0.005, "printed to ten"),
    "windows_no": (56, 0.01, "counted; the model holds part windows"),
    "balcony_doors_no": (9, 0.0, "counted"),
    "separating_m2": (490, 0.01, "printed to ten"),
    "partitions_m2": (500, 0.01, "printed to ten"),
    "ceilings_m2": (675, 0.0, "75 m2 a flat"),
    "slab_m3": (192, 0.005, "printed to the m3"),
    "slab_rebar_t": (21, 0.01, "printed to the tonne"),
    "columns_no": (28, 0.04, "one column either way, whole columns over the plate"),
    "core_forms_m2": (222, 0.005, "printed to the m2"),
    "separating_panels_no": (41, 0.04, "one panel a zone either way"),
    "separating_joints_m": (300, 0.025, "printed to ten"),
    "bathrooms_no": (13, 0.01, "counted; the model holds 1.45 a flat"),
    "corridor_m2": (100, 0.005, "printed to ten"),
}


def scenario(**block):
    tables = {
        "development": {"name": "Measured", "place": "london", "start": "2027-03-01"},
        "blocks": [{"name": "Only", "storeys": 6, "flats_per_storey": 9, **block}],
    }
    return read_tables(tables)


def take_off(override=None, **block):
    one = scenario(**block)
    for key, value in (override or {}).items():
        one = one.with_override(key, value)
    return measure(one, one.values(one.methods[0]), ("outer", "separating"))


@pytest.fixture(scope="module")
def storey():
    found = take_off()
    return {key: float(found.amount(key, "storey")[2]) for key in found.by_zone}


@pytest.mark.parametrize("quantity", STOREY)
def test_the_storey_of_nine_flats(storey, quantity):
    figure, share, why = STOREY[quantity]
    assert storey[quantity] == pytest.approx(figure, rel=share + 1e-12), f"{TRADE}: {why}"


def test_outer_panels_of_the_storey_lie_in_the_range_of_the_trade(storey):
    assert 24 <= storey["outer_panels_no"] <= 35, TRADE


def test_core_walls_and_columns_together_are_near_the_trades_forms(storey):
    # 390 m2 of column and core forms, 7 t of vertical steel; printed to ten and to the tonne.
    assert storey["column_forms_m2"] + storey["core_forms_m2"] == pytest.approx(390, rel=0.03), TRADE
    assert storey["column_rebar_t"] + storey["core_rebar_t"] == pytest.approx(7, abs=0.5), TRADE


blocks = st.fixed_dictionaries(
    {
        "storeys": st.integers(min_value=1, max_value=12),
        "flats_per_storey": st.integers(min_value=2, max_value=16),
        "zones": st.integers(min_value=1, max_value=4),
        "cores": st.integers(min_value=1, max_value=3),
        "glazing_pct": st.floats(min_value=20, max_value=45),
        "plate_depth_m": st.floats(min_value=12, max_value=20),
        "flat_area_m2": st.floats(min_value=45, max_value=110),
    }
)


@settings(max_examples=40, deadline=None)
@given(block=blocks)
def test_zones_add_up_to_the_storeys_and_the_storeys_to_the_block(block):
    found = take_off(**block)
    for key, amounts in found.by_zone.items():
        assert np.all(amounts >= 0), key
        assert amounts.size == block["storeys"] * block["zones"]
        storeys, whole = found.amount(key, "storey"), found.amount(key, "block")
        assert storeys.size == block["storeys"]
        assert storeys.sum() == pytest.approx(amounts.sum(), rel=1e-12)
        assert whole.tolist() == pytest.approx([amounts.sum()], rel=1e-12)
    assert found.flats[0] == pytest.approx(block["storeys"] * block["flats_per_storey"])


@settings(max_examples=40, deadline=None)
@given(block=blocks)
def test_walls_are_what_the_plate_and_its_openings_leave(block):
    found = take_off(**block)
    v = found.by_zone
    values = scenario(**block).values("open_frame")
    facade = v["facade_m"] * values["block.storey_height"]
    openings = v["windows_no"] * values["geometry.window_area"]
    openings = openings + v["balcony_doors_no"] * values["geometry.door_area"]
    assert v["facade_m2"] == pytest.approx(facade, rel=1e-12)
    assert v["solid_m2"] + openings == pytest.approx(facade, rel=1e-9)
    assert openings == pytest.approx(facade * block["glazing_pct"] / 100, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(block=blocks)
def test_panels_are_the_wall_they_replace(block):
    # Cut at the longest panel, the panels of a zone cover its wall and leave less than one panel over.
    found = take_off(**block)
    v, values = found.by_zone, scenario(**block).values("panelised")
    clear = values["block.storey_height"] - values["geometry.slab_thickness"]
    for kind, length, height in (
        ("outer", v["facade_m"], values["block.storey_height"]),
        ("separating", v["separating_m"], clear),
    ):
        longest = values[f"panel.{kind}_length"]
        count = v[f"{kind}_panels_no"]
        assert np.all(count == np.round(count))
        assert np.all(count * longest >= length - 1e-6)
        assert np.all((count - 1) * longest < length)
        assert v[f"{kind}_joints_m"] == pytest.approx(count * height + length, rel=1e-12)
    assert v["panels_no"].tolist() == (v["outer_panels_no"] + v["separating_panels_no"]).tolist()
    assert v["separating_m2"] == pytest.approx(v["separating_m"] * clear, rel=1e-12)


@settings(max_examples=25, deadline=None)
@given(block=blocks, more=st.integers(min_value=1, max_value=6))
def test_another_flat_on_a_storey_never_lessens_the_work_inside(block, more):
    fewer = take_off(**block)
    larger = take_off(**{**block, "flats_per_storey": block["flats_per_storey"] + more})
    for key in ("gross_m2", "slab_m3", "partitions_m2", "ceilings_m2", "boards_m2", "columns_no", "flats_no"):
        assert larger.amount(key, "block")[0] >= fewer.amount(key, "block")[0] - 1e-9


def test_a_range_of_storeys_has_its_own_plan():
    plan = {"storeys": [5, 6], "flats_per_storey": 4, "facade_length_m": 80.0, "separating_length_m": 60.0}
    found = take_off(ranges=[{"storeys": [1, 2], "flats_per_storey": 6}, plan])
    assert found.amount("flats_no", "storey").tolist() == pytest.approx([6, 6, 9, 9, 4, 4])
    assert found.facade_m[4:].tolist() == [80.0, 80.0]
    assert found.amount("facade_m", "storey")[4:] == pytest.approx([80.0, 80.0])
    assert found.amount("separating_m", "storey")[4:] == pytest.approx([60.0, 60.0])
    net = 75.0 * 6
    assert found.amount("ceilings_m2", "storey")[0] == pytest.approx(net)


def test_a_plate_area_given_for_the_block_does_not_stand_for_a_range_with_other_flats():
    found = take_off(plate_area_m2=900.0, ranges=[{"storeys": [6, 6], "flats_per_storey": 3}])
    gross = found.amount("gross_m2", "storey")
    assert gross[:5] == pytest.approx([900.0] * 5)
    assert gross[5] == pytest.approx(3 * 75 / 0.789, rel=1e-9)


def test_what_the_block_says_goes_before_the_library():
    found = take_off(
        plate_area_m2=800.0, facade_length_m=120.0, separating_length_m=150.0, storey_height_m=3.2
    )
    assert found.amount("gross_m2", "storey") == pytest.approx([800.0] * 6)
    assert found.amount("facade_m2", "storey") == pytest.approx([384.0] * 6)
    assert found.amount("separating_m2", "storey") == pytest.approx([150.0 * (3.2 - 0.225)] * 6)


def test_a_block_of_two_plates_has_a_zone_for_every_pour():
    # Common practice: one pour is 430 m2, so 855 m2 is two and 1,700 m2 is four.
    assert take_off().layout.zones == (2,)
    assert take_off(plate_area_m2=1700.0).layout.zones == (4,)
    assert take_off(flats_per_storey=3).layout.zones == (1,)


@pytest.mark.parametrize(
    ("storeys", "height", "higher"), [(6, 3.0, False), (7, 3.0, True), (6, 3.4, False), (6, 3.61, True)]
)
def test_stricter_approvals_start_at_seven_storeys_or_eighteen_metres(storeys, height, higher):
    # Building Safety Act 2022, s. 65: 18 m or seven storeys, measured to the top floor.
    found = take_off(storeys=storeys, storey_height_m=height)
    assert bool(found.higher_risk[0]) is higher


def test_low_blocks_have_no_hoist_and_no_lift():
    low, middle, high = (take_off(storeys=s) for s in (2, 3, 4))
    assert [x.by_block["lifts_no"][0] for x in (low, middle, high)] == [0.0, 1.0, 1.0]
    assert [x.by_block["hoists_no"][0] for x in (low, middle, high)] == [0.0, 0.0, 1.0]
    assert high.by_storey["hoist_bays_no"].tolist() == [1.0] * 4


def test_a_slab_thicker_than_the_storey_is_refused():
    with pytest.raises(RangeError, match=r"below 0\. Check storey height"):
        take_off({"geometry.slab_thickness": 3.5})


@pytest.mark.parametrize("name", ["two_storey", "pitch", "large"])
def test_quantities_do_not_depend_on_the_method(name):
    one = load_scenario(SCENARIOS / f"{name}.toml")
    first, second = (measure(one, one.values(method)) for method in one.methods)
    for key, amounts in first.by_zone.items():
        assert np.array_equal(amounts, second.by_zone[key]), key


def test_the_frame_of_quantities_holds_every_amount_once(compared):
    found = compared("pitch").second.takeoff
    frame = found.frame
    sums = frame.groupby("quantity")["amount"].sum()
    for key, amounts in {**found.by_zone, **found.by_storey, **found.by_block}.items():
        assert sums[key] == pytest.approx(float(amounts.sum()), rel=1e-12), key
    assert not frame.duplicated(["block", "storey", "zone", "quantity"]).any()
