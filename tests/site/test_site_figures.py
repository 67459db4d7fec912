"""Bays, roads, edges, hooks, weeks and trades: printed rows, sums by hand, and counts made a second way."""

import csv
import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from model import compare_methods, load_scenario
from model.core.errors import RangeError
from model.inputs.assumption import Values, read_library
from model.inputs.method import read_catalogue
from model.site import trades_changed
from model.site.changes import changed
from model.site.checks import (
    PEAK_TO_AVERAGE_PEOPLE,
    VEHICLES_PER_100_M2,
    CheckValue,
    check_values,
    vehicles_per_100_m2,
)
from model.site.deliveries import (
    FACTOR_SET,
    FACTOR_YEAR,
    Loads,
    bay_minutes,
    bay_minutes_available,
    haulage,
    haulage_kgco2e,
    read_deliveries,
)
from model.site.edges import last_by_storey

ROOT = Path(__file__).parents[2]
PUBLISHED = ROOT / "tests" / "published"
LIBRARY = Values(read_library())
SCENARIOS = ("two_storey", "pitch")


def published(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()))


@pytest.fixture(params=SCENARIOS)
def cases(compared, request):
    return compared(request.param).cases


def loads_of(*deliveries: tuple[str, int, float]) -> Loads:
    """Loads of some materials: material, date, vehicles."""
    ids = [delivery.id for delivery in read_deliveries()]
    material = np.array([ids.index(name) for name, _date, _loads in deliveries])
    date = np.array([day for _name, day, _loads in deliveries])
    number = np.array([loads for _name, _date, loads in deliveries], dtype=float)
    return Loads(
        date, np.zeros_like(date), material, np.zeros_like(date), number, number, np.ones_like(number)
    )


# Bays


@pytest.mark.parametrize("row", published("site_bay_minutes"), ids=lambda row: row["delivery"])
def test_minutes_on_the_bay_are_those_of_the_table(row):
    record = read_library().records[f"delivery.{row['delivery']}.bay"]
    got = (record.low, record.value, record.high)
    assert got == (float(row["low"]), float(row["likely"]), float(row["high"])), row["source"]


def test_bay_minutes_by_hand():
    # 11 mixers x 25 min and a lorry of steel x 60 on date 3; 2 panel lorries x 60 and a van x 15 on date 5;
    # two bays for 7 h of 60 min, 0.8 of it: 672 min.
    loads = loads_of(
        ("slab_concrete", 3, 11), ("slab_steel", 3, 1), ("panels_outer", 5, 2), ("paint", 5, 1)
    )  # fmt: skip
    assert bay_minutes(loads, LIBRARY, 7).tolist() == [0, 0, 0, 335, 0, 135, 0]
    assert bay_minutes_available(LIBRARY) == pytest.approx(672.0, rel=1e-12)


def test_bay_minutes_of_a_site_are_vehicles_times_the_minutes_of_each(cases):
    for case in cases:
        site, values = case.site, case.plan.values
        frame = site.loads.frame(case.plan)
        frame["minutes"] = frame["loads"] * [values[f"delivery.{name}.bay"] for name in frame["delivery"]]
        by_date = frame.groupby("date")["minutes"].sum()
        assert site.bay_minutes_by_date.sum() == pytest.approx(frame["minutes"].sum(), rel=1e-12)
        assert site.bay_minutes_peak_day == by_date.max()
        assert by_date[site.bay_minutes_peak_date.isoformat()] == by_date.max()
        assert site.bay_days_over == (by_date > site.bay_minutes_available).sum()
        vehicles = frame.groupby("date")["loads"].sum()
        assert site.loads_days_over == (vehicles > site.bay_capacity_per_day).sum()


def test_longer_open_bays_leave_fewer_days_over(compared):
    site = compared("pitch").first.site
    days = []
    for bays in (1.0, 2.0, 4.0):
        values = site.plan.values.with_overrides({"site.bays": (bays, "")})
        days.append(replace(site, plan=replace(site.plan, values=values)).bay_days_over)
    assert days[0] > days[1] > days[2]


# Roads


@pytest.mark.parametrize("row", published("site_factors"), ids=lambda r: f"{r['key']} {r['figure']}")
def test_emission_factors_are_those_printed(row):
    assert getattr(read_library()[row["key"]], row["figure"]) == float(row["printed"]), row["source"]
    assert str(FACTOR_YEAR) in FACTOR_SET
    assert str(FACTOR_YEAR) in read_library()[row["key"]].source


def test_a_mile_is_the_row_for_a_mile():
    # DESNZ 2025 set, articulated above 33 t, average laden: 0.93421 a km, 1.50346 a mile of 1.609344 km.
    # Both are rounded to five digits: 0.000005 x 1.609344 + 0.000005.
    mile = LIBRARY.with_overrides(
        {
            "vehicle.artic.laden": (0.93421, ""),
            "vehicle.artic.empty": (0.93421, ""),
            "vehicle.artic.distance": (1.609344 / 2, ""),
        }
    )
    got = haulage_kgco2e(loads_of(("slab_steel", 0, 1)), mile)
    assert got == pytest.approx(1.50346, rel=0, abs=5e-6 * 2.609344)


@pytest.mark.parametrize("row", published("site_travel"), ids=lambda row: row["case"])
def test_travel_of_an_operative_is_its_modes_weighted(row):
    x = {name: float(value) for name, value in row.items() if name not in ("case", "figure", "source")}
    assert x["van"] + x["driver"] + x["passenger"] + x["rail"] == pytest.approx(1.0)
    by_mode = x["van"] * x["van_factor"] / x["van_people"] + x["driver"] * x["car_factor"]
    by_mode += x["rail"] * x["rail_factor"]  # who is given a lift adds nothing
    got = getattr(read_library()["travel.per_person_km"], row["figure"])
    assert got == pytest.approx(by_mode, rel=0, abs=x["half_step"]), row["source"]


def test_haulage_by_vehicle_by_hand():
    # 3 artics of two materials, 80 km: 480 km, 3 x 80 x (1.06921 + 0.64734) = 411.972 kg; 1 van, 25 km:
    # 50 km, 25 x 2 x 0.25561 = 12.7805 kg. DESNZ 2025 set.
    artic, van = haulage(loads_of(("slab_steel", 1, 2), ("studs", 2, 1), ("paint", 2, 1)), LIBRARY)
    assert (artic.label, artic.loads, artic.km) == ("Articulated lorry", 3, 480)
    assert artic.kgco2e == pytest.approx(411.972, rel=0, abs=5e-4)
    assert (van.vehicle, van.km, van.kgco2e) == ("van", 50, pytest.approx(12.7805, rel=0, abs=5e-5))


def test_haulage_and_travel_add_up_to_transport(cases):
    for case in cases:
        site, values = case.site, case.plan.values
        frame = site.transport_frame()
        assert frame["kgco2e"].sum() == pytest.approx(site.transport_kgco2e, rel=1e-12)
        assert frame["loads"].sum() == site.loads_total
        assert set(frame["factor_year"]) == {2025}
        assert list(frame["kind"].iloc[-1:]) == ["travel"]
        assert frame["kind"].eq("travel").sum() == 1
        assert site.haulage_kgco2e == pytest.approx(haulage_kgco2e(site.loads, values), rel=1e-12)
        people = site.operative_days * values["site.labour_present"] + site.support.sum()
        assert site.travel_km == pytest.approx(people * 2 * values["travel.distance"], rel=1e-12)


def test_panels_come_on_lorries_of_their_own(compared):
    framed, panelled = ({row.vehicle for row in case.site.haulage} for case in compared("pitch").cases)
    assert panelled - framed == {"panel_artic"}


# Edges


def test_hours_with_the_rail_off_by_hand(compared):
    # Dates of tests/hand. Panels: 15 a storey x 10 min = 2.5 h, all before the edge is closed at 115.1 and
    # 128.905; separating panels come down from above, goods come when the edge is closed. 2 x 2.5 = 5.
    framed, panelled = (case.site for case in compared("two_storey").cases)
    assert panelled.edge_open_for_lifts_hours == pytest.approx(5.0, rel=0, abs=1e-9)
    # Framed, edge closed at 143.8 and 157.8, by crane 0.35 of: wall frame 180 x 0.0276 x 7 min = 0.20286 h,
    # sheathing and insulation 180 x 0.0207 x 6 = 0.13041 each, windows 25 x 0.179 x 6 = 0.156625, doors
    # 4 x 8 = 0.186667: 0.806972 a storey. Scaffold 240 x 0.017 x 5 = 0.119, less the date of the pour:
    # 0.175 of 2 shifts on storey 1, 0.35 on storey 2: 0.1085875 and 0.098175.
    by_hand = 2 * 0.806972 + 0.1085875 + 0.098175
    assert framed.edge_open_for_lifts_hours == pytest.approx(by_hand, rel=0, abs=1e-6)


def test_an_event_no_method_has_never_happens(compared):
    plan = compared("two_storey").first.plan
    assert last_by_storey(plan, "edge_closed")[0, 1:3] == pytest.approx([143.8, 157.8], rel=0, abs=1e-6)
    assert not last_by_storey(plan, "edge_painted").any()


def test_the_rail_is_never_off_longer_than_the_hook_works(cases):
    for case in cases:
        site = case.site
        frame_hours = float(site.hook_by_use["frame"].sum())
        assert 0 < site.edge_open_for_lifts_hours <= site.hook_hours - frame_hours + 1e-9


def test_a_wall_of_panels_takes_more_lifts_at_the_edge_and_fewer_hours_beside_it(compared):
    framed, panelled = (case.site for case in compared("pitch").cases)
    assert panelled.edge_open_for_lifts_hours > framed.edge_open_for_lifts_hours
    assert panelled.open_edge_hours < framed.open_edge_hours


# Hooks


def test_hook_hours_by_use_add_up_month_by_month(cases):
    for case in cases:
        site, plan = case.site, case.plan
        used, _could = site.by_month
        assert sum(site.hook_by_use.values()) == pytest.approx(used.sum(axis=0), rel=1e-9, abs=1e-9)
        for place, hours in enumerate(site.hook_by_use.values()):
            assert hours.sum() == pytest.approx(plan.tasks.hook[plan.tasks.use == place].sum(), rel=1e-9)
        assert (site.hook_by_use["panels"].sum() > 0) == (site.panels > 0)


def test_the_busiest_month_is_named_by_its_first_date(cases):
    for case in cases:
        site = case.site
        total = site.by_month[0].sum(axis=0)
        assert len(site.month_begins) == total.size
        assert site.month_begins[0] == case.plan.start_date
        assert site.peak_hook_month == site.month_begins[int(total.argmax())]
        begin = (site.peak_hook_month - case.plan.start_date).days
        assert site.hook_used[:, begin : begin + 31].sum() >= total.max() - 1e-9


# People


def test_weeks_are_the_mean_of_their_open_dates(compared):
    # Two storeys: site open Monday to Friday, no holidays. Week 16 holds days 112 to 116.
    site = compared("two_storey").first.site
    by_hand = site.people_by_date[112:117].sum() / 5
    assert site.operatives_by_week[16] == pytest.approx(by_hand, rel=1e-12)
    assert site.people_by_date[117:119].sum() == 0.0


def test_the_average_counts_every_open_date_from_first_to_last(cases):
    for case in cases:
        site = case.site
        days = float(site.present.sum() + site.support.sum())
        busy = np.flatnonzero(site.people_by_date)
        open_dates = case.plan.conditions.open_dates[busy[0] : busy[-1] + 1].sum()
        assert site.average_operatives * open_dates == pytest.approx(days, rel=1e-9)
        assert site.peak_to_average == pytest.approx(site.peak_operatives / site.average_operatives)
        assert site.peak_to_average >= 1
        peak = (site.peak_people_date - case.plan.start_date).days
        assert site.people_by_date[peak] == site.peak_operatives


def test_idle_is_who_is_there_and_does_not_work(compared):
    # Without weather, with ample hook and gangs, nobody waits.
    assert [case.site.idle_share for case in compared("two_storey").cases] == [0.0, 0.0]
    for case in compared("pitch").cases:
        site = case.site
        waiting = float((site.present - site.worked).sum())
        assert site.idle_share == pytest.approx(waiting / site.present.sum(), rel=0, abs=1e-8)
        assert 0 < site.idle_share < 0.45  # memory: 0.15 to 0.45 of paid time idle or non-productive


# Trades


def test_trades_kept_gone_and_new_are_those_of_the_options(compared):
    first, second = (case.site for case in compared("pitch").cases)
    told = trades_changed(first, second)
    assert told.trades.gone == ("Wall framers", "Sheathing and insulation fixers", "Window fixers")
    assert told.trades.new == ("Panel fixers",)
    assert (told.packages.gone, told.packages.new) == (("Facade framing", "Windows"), ("Wall panels",))
    labels = {trade.label for trade in read_catalogue().trades.values()}
    assert {*told.trades.kept, *told.trades.gone, *told.trades.new} <= labels
    assert len(told.trades.kept) + len(told.trades.gone) == len(first.trades)
    assert len(told.packages.kept) + len(told.packages.new) == len(second.packages)


def test_turning_the_methods_round_turns_gone_and_new_round(compared):
    first, second = (case.site for case in compared("pitch").cases)
    there, back = trades_changed(first, second), trades_changed(second, first)
    assert (there.trades.gone, there.trades.new) == (back.trades.new, back.trades.gone)
    same = trades_changed(first, first)
    assert (same.trades.gone, same.trades.new, same.packages.gone, same.packages.new) == ((), (), (), ())


def test_names_are_sorted_into_three():
    told = changed(("a", "b", "c"), ("d", "c", "a"))
    assert (told.kept, told.gone, told.new) == (("a", "c"), ("b",), ("d",))


# Beside the trade


@pytest.mark.parametrize("row", published("site_bulk_loads"), ids=lambda row: row["item"])
def test_bulk_lorries_of_a_hundred_square_metres(row):
    loads = float(row["quantity"]) / LIBRARY[f"delivery.{row['delivery']}.per_load"]
    assert loads == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


def test_bulk_lorries_add_up_to_seven():
    # Derived build-up of bulk lorries for 100 m2 gross: 7.04, of which ready-mix 83 %.
    rows = published("site_bulk_loads")
    loads = [float(row["quantity"]) / LIBRARY[f"delivery.{row['delivery']}.per_load"] for row in rows]
    assert sum(loads) == pytest.approx(7.04, rel=0, abs=0.005)
    assert loads[0] / sum(loads) == pytest.approx(0.83, rel=0, abs=0.005)


def test_vehicles_lie_in_the_band_of_the_trade(compared):
    # Derived band for conventional high-rise flats: 11 / 18 / 30 vehicles for 100 m2 gross.
    assert (VEHICLES_PER_100_M2.low, VEHICLES_PER_100_M2.likely, VEHICLES_PER_100_M2.high) == (11, 18, 30)
    for name in SCENARIOS:
        site = compared(name).first.site
        per_100_m2 = check_values(site)[0]
        by_hand = 100 * site.loads_total / site.plan.takeoff.gross_m2.sum()
        assert per_100_m2.value == pytest.approx(by_hand, rel=1e-12)
        assert per_100_m2.within


def test_a_figure_outside_its_band_is_told():
    assert (PEAK_TO_AVERAGE_PEOPLE.low, PEAK_TO_AVERAGE_PEOPLE.high) == (1.4, 2.0)  # practice
    told = [CheckValue(PEAK_TO_AVERAGE_PEOPLE, x).within for x in (1.3, 1.4, 1.6, 2.0, 2.1)]
    assert told == [False, True, True, True, False]


def test_check_values_are_the_site_s_own(compared):
    site = compared("pitch").first.site
    _per_area, per_flat, busiest, people = (check.value for check in check_values(site))
    assert per_flat == pytest.approx(site.loads_total / site.plan.takeoff.flats.sum())
    assert people == site.peak_to_average
    by_date = site.loads.by_date(1)
    days = np.flatnonzero(by_date)
    open_dates = site.plan.conditions.open_dates[days[0] : days[-1] + 1].sum()
    assert busiest == pytest.approx(by_date.max() / (by_date.sum() / open_dates), rel=1e-12)


def test_vehicles_for_no_area_are_refused():
    assert vehicles_per_100_m2(30, 200) == 15
    with pytest.raises(RangeError, match=r"got 5 vehicles for 0 m2\. Give the area"):
        vehicles_per_100_m2(5, 0)
    with pytest.raises(RangeError, match=r"got -5 vehicles for 10 m2"):
        vehicles_per_100_m2(-5, 10)


def test_figures_beside_the_comparison_are_worked_out_only_when_asked_for():
    """Comparing must not get slower by them."""
    site = compare_methods(
        load_scenario(ROOT / "scenarios" / "two_storey.toml", today=dt.date(2026, 11, 25))
    ).first.site
    lazy = ("welfare", "panel_store", "stack_loads", "edge_open_for_lifts_hours", "hook_by_use")
    assert not set(lazy) & set(vars(site))
    assert site.welfare.people > 0
    assert "welfare" in vars(site)
