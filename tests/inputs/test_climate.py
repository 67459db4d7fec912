"""Climate of five places, and what weather leaves of a working date."""

import csv
import re
import tomllib
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.calendar import bank_holidays
from model.core.errors import RangeError
from model.inputs.assumption import MARKS
from model.inputs.climate import CLASS_EVENTS, MONTHS, PLACES, event_days, read_climate, shares_left
from model.physics.maturity import MONTH_DAYS

ARRAYS = (
    "tmean",
    "frost_days",
    "rain1_days",
    "rain5_days",
    "rain10_days",
    "cold_tmax3_days",
    "cold_tmin3_days",
    "cold_tmean5_days",
    "wind_day_ms",
)
COUNTS = tuple(name for name in ARRAYS if name.endswith("_days"))
COLD_EVENTS = {"tmin3", "frost"}


def _weather_records() -> dict[str, dict[str, float]]:
    """Read the records of weather as plain tables, by key."""
    text = (resources.files("model.inputs") / "library" / "weather.toml").read_text(encoding="utf-8")
    found: dict[str, dict[str, float]] = {}
    for name, table in tomllib.loads(text)["weather"].items():
        if "value" in table:
            found[f"weather.{name}"] = table
        else:
            found.update({f"weather.{name}.{event}": record for event, record in table.items()})
    return found


RECORDS = _weather_records()
VALUES = {key: record["value"] for key, record in RECORDS.items()}
LENGTHS = np.array(MONTH_DAYS)
NOTHING_LOST = {f"weather.{name}.{event}": 0.0 for name, events in CLASS_EVENTS.items() for event in events}


def published(name: str) -> list[dict[str, str]]:
    path = Path(__file__).parents[1] / "published" / f"{name}.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def table_rows() -> list[dict[str, str]]:
    path = resources.files("model.inputs") / "library" / "climate.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("row", published("weather_year"))
def test_year_agrees_with_the_published_total(row):
    got = float(getattr(read_climate(row["place"]), row["measure"]).sum())
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"])), row["source"]


@pytest.mark.parametrize("row", table_rows(), ids=lambda row: f"{row['place']} {row['measure']}")
def test_every_line_of_the_table_adds_up_and_says_where_it_is_from(row):
    assert row["mark"] in MARKS
    assert row["source"]
    if row["Jan"]:
        months = np.array([float(row[month]) for month in MONTHS])
        mean = row["measure"] in ("tmean", "wind_day_ms")
        got = float((months * LENGTHS).sum() / 365.25) if mean else float(months.sum())
        # months are printed to 0.01, counts outside London to 0.1: twelve halves of that
        assert got == pytest.approx(float(row["year"]), abs=0.06 if mean else 0.6)


@pytest.mark.parametrize("place", PLACES)
def test_climate_is_whole(place):
    climate = read_climate(place)
    for name in ARRAYS:
        array = getattr(climate, name)
        assert array.shape == (12,)
        assert np.all(np.isfinite(array))
        assert climate.marks[name] in MARKS
        assert climate.sources[name]
    for name in COUNTS:
        assert np.all((getattr(climate, name) >= 0) & (getattr(climate, name) <= LENGTHS))


@pytest.mark.parametrize("place", PLACES)
def test_stricter_threshold_never_counts_more_days(place):
    climate = read_climate(place)
    assert np.all(climate.rain1_days >= climate.rain5_days)
    assert np.all(climate.rain5_days >= climate.rain10_days)
    assert np.all(climate.cold_tmin3_days >= climate.cold_tmax3_days)
    assert np.all(climate.cold_tmean5_days >= climate.cold_tmax3_days)


@pytest.mark.parametrize("place", PLACES)
def test_bank_holidays_are_known_for_the_place(place):
    assert len(bank_holidays(read_climate(place).subdivision, 2027, 2027)) >= 8


def test_places_lie_in_three_countries():
    assert [read_climate(place).subdivision for place in PLACES] == ["ENG", "ENG", "SCT", "WLS", "ENG"]


def test_same_object_is_given_each_time_and_cannot_be_written_to():
    climate = read_climate("london")
    assert read_climate("london") is climate
    with pytest.raises(ValueError, match="read-only"):
        climate.tmean[0] = 30.0
    with pytest.raises(ValueError, match="read-only"):
        read_climate("cardiff").rain5_days[0] = 30.0


def test_heathrow_is_counted_and_elsewhere_is_derived():
    assert {read_climate("london").marks[name] for name in ARRAYS} == {"SEEN"}
    for place in PLACES[1:]:
        marks = read_climate(place).marks
        assert {marks[name] for name in ("rain5_days", "rain10_days", "cold_tmax3_days")} == {"DERIVED"}
        assert marks["wind_day_ms"] == "MEMORY"
        assert marks["tmean"] == "SEEN"


def test_manchester_says_that_its_station_is_of_an_older_period():
    assert "2004" in read_climate("manchester").station
    assert "older and colder period" in read_climate("manchester").sources["tmean"]


def test_rain_elsewhere_follows_the_ratio_of_wet_days():
    # Hand calculation, Glasgow January: 4.33 x 16.9 / 11.60 = 6.308; 1.33 x 16.9 / 11.60 = 1.938
    glasgow = read_climate("glasgow")
    assert glasgow.rain5_days[0] == pytest.approx(6.308, abs=0.0005)
    assert glasgow.rain10_days[0] == pytest.approx(1.938, abs=0.0005)


def test_cold_elsewhere_follows_the_ratio_of_frosts():
    # Hand calculation, Glasgow: January 1.77 x 8.53 / 6.80 = 2.220
    # April by the year: 4.70 x 35.77 / 27.03 = 6.220
    glasgow = read_climate("glasgow")
    assert glasgow.cold_tmax3_days[0] == pytest.approx(2.220, abs=0.0005)
    assert glasgow.cold_tmin3_days[3] == pytest.approx(6.220, abs=0.0005)


def test_wind_elsewhere_is_londons_scaled():
    # Hand calculation, Cardiff: 9.5 / 8.7 kn; January 5.48 -> 5.984 m/s
    assert read_climate("cardiff").wind_day_ms[0] == pytest.approx(5.984, abs=0.0005)


def test_unknown_place_names_the_choices():
    with pytest.raises(
        RangeError, match=r"london, manchester, glasgow, cardiff, east_midlands; got 'leeds'.*nearest"
    ):
        read_climate("leeds")


@pytest.mark.parametrize("place", PLACES)
def test_day_stands_in_one_event_of_rain_and_one_of_cold(place):
    climate = read_climate(place)
    days = event_days(climate)
    assert days["rain1"] + days["rain5"] + days["rain10"] == pytest.approx(climate.rain1_days)
    for event, most in (("frost", climate.frost_days), ("tmin3", climate.cold_tmin3_days)):
        assert np.all(days["tmax3"] + days[event] <= np.maximum(most, climate.cold_tmax3_days) + 1e-9)
    assert all(np.all(counted >= 0) for counted in days.values())


def test_class_uses_one_threshold_of_morning_cold():
    assert all(len(COLD_EVENTS & set(events)) <= 1 for events in CLASS_EVENTS.values())


def test_library_holds_one_record_for_every_event_of_every_class_and_no_other():
    shares = {key for key in RECORDS if key.count(".") == 2}
    assert shares == set(NOTHING_LOST)
    assert all(
        0 <= RECORDS[key]["low"] <= RECORDS[key]["value"] <= RECORDS[key]["high"] <= 1 for key in shares
    )


def test_worse_rain_costs_no_less():
    for name, events in CLASS_EVENTS.items():
        cost = [
            VALUES[f"weather.{name}.{event}"] for event in ("rain1", "rain5", "rain10") if event in events
        ]
        assert cost == sorted(cost)


def test_inside_work_loses_nothing():
    assert np.all(shares_left(read_climate("glasgow"), VALUES)["inside"] == 1.0)


def test_masonry_in_a_london_january():
    # Hand calculation: rain ((4.33 - 1.33) x 0.5 + 1.33) / 31 = 0.0913
    # cold (1.77 + (12.93 - 1.77) x 0.5) / 31 = 0.2371
    left = shares_left(read_climate("london"), VALUES)["masonry"][0]
    assert left == pytest.approx((1 - 0.0913) * (1 - 0.2371), abs=0.0001)


def test_pours_lost_in_london_stay_within_the_sum_of_the_counts():
    # Counts added without overlap: 1.77 + 1.33 = 3.1 days in January, 1.33 in June
    left = shares_left(read_climate("london"), VALUES)["pour"]
    assert 31 * (1 - left[0]) == pytest.approx(3.1, abs=0.1)
    assert 31 * (1 - left[0]) < 3.1
    assert 30 * (1 - left[5]) == pytest.approx(1.33, abs=0.005)


def test_outdoor_winter_in_london_lies_within_practice():
    # Practice: November to February leave 0.85 to 0.95 of outdoor work
    left = shares_left(read_climate("london"), VALUES)["open"]
    for month in (10, 11, 0, 1):
        assert 0.85 <= left[month] <= 0.95


@pytest.mark.parametrize("place", PLACES)
def test_winter_and_wet_trades_lose_most(place):
    left = shares_left(read_climate(place), VALUES)
    assert list(left) == ["inside", "open", "rain", "pour", "masonry"]
    assert all(np.all((share > 0) & (share <= 1)) for share in left.values())
    assert np.all(left["rain"] < left["open"])
    for name in ("open", "rain", "pour", "masonry"):
        assert left[name][[11, 0, 1]].mean() < left[name][[5, 6, 7]].mean()


@given(
    place=st.sampled_from(PLACES),
    key=st.sampled_from(sorted(NOTHING_LOST)),
    less=st.floats(min_value=0, max_value=1),
    more=st.floats(min_value=0, max_value=1),
)
@settings(max_examples=60, deadline=None)
def test_event_that_costs_more_leaves_no_more_of_its_own_class(place, key, less, more):
    less, more = sorted((less, more))
    climate, own = read_climate(place), key.split(".")[1]
    dear, cheap = (shares_left(climate, {**VALUES, key: share}) for share in (more, less))
    assert np.all(dear[own] <= cheap[own] + 1e-12)
    assert all(np.array_equal(dear[name], cheap[name]) for name in CLASS_EVENTS if name != own)


def test_nothing_lost_leaves_the_whole_date():
    left = shares_left(read_climate("manchester"), NOTHING_LOST)
    assert all(np.all(share == 1.0) for share in left.values())


def test_wind_is_not_counted():
    # A wind that blows twice as hard would change the hook hours, never these shares
    assert not any(re.search("wind|gust", key) for key in NOTHING_LOST)


def test_share_above_one_is_refused():
    with pytest.raises(
        RangeError, match=r"weather\.masonry\.rain5 is the share.*0 to 1; got 50\. Write 50 % as 0\.50"
    ):
        shares_left(read_climate("london"), {**VALUES, "weather.masonry.rain5": 50.0})
