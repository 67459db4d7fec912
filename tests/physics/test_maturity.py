"""Age of concrete in the cold, against a library's tests, hand-worked tables and month tables."""

import csv
import datetime as dt
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.inputs.climate import PLACES, read_climate
from model.physics.concrete import age_at_ratio
from model.physics.maturity import (
    daily_temperature,
    days_to_age,
    equivalent_age,
    rate_b10,
    rate_sadgrove,
)

RATES = {"b10": rate_b10, "sadgrove": rate_sadgrove}
NEW_YEAR = dt.date(2026, 1, 1)


def published(name: str) -> list[dict[str, str]]:
    path = Path(__file__).parents[1] / "published" / f"{name}.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def agrees(got: float, row: dict[str, str]) -> None:
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


months = st.lists(st.floats(min_value=0, max_value=30), min_size=12, max_size=12)
rates = st.sampled_from([rate_b10, rate_sadgrove])


@pytest.mark.parametrize("row", published("maturity_rate"))
def test_rate_agrees(row):
    agrees(float(RATES[row["rate"]](float(row["temperature"]))), row)


@pytest.mark.parametrize("row", published("maturity_age"))
def test_equivalent_age_agrees(row):
    temperatures, durations = ([float(x) for x in row[key].split()] for key in ("temperatures", "durations"))
    agrees(equivalent_age(temperatures, durations), row)


@pytest.mark.parametrize("row", published("maturity_release"))
def test_pour_in_mid_month_agrees(row):
    # Heathrow and three others 1991-2020; Manchester's station closed in 2004, so an older, colder period.
    # Tolerance 0.2 d: the table starts at the exact middle of a month, the function at 00:00 of the 16th.
    age = age_at_ratio({"release": 0.90, "strike": 0.604}[row["what"]], 0.25)
    middle = dt.date(2026, int(row["month"]), 15 if row["month"] == "2" else 16)
    got = float(days_to_age(read_climate(row["place"]).tmean, middle, 1, age)[0])
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"])), row["source"]


def test_year_at_heathrow_runs_from_14_6_to_28_1_days():
    # Independent integration in 0.05 d steps: least 14.6 d about 12 July, most 28.1 d about 30 December
    # Hand calculation: the wait is longest where it starts and ends at one temperature; on the lines
    # December-January-February (5.95, 5.55, 5.82 °C) that is 4 or 5 January, by 0.01 d over 30 December
    got = days_to_age(read_climate("london").tmean, NEW_YEAR, 365, age_at_ratio(0.90, 0.25))
    assert got.min() == pytest.approx(14.6, abs=0.05)
    assert got.max() == pytest.approx(28.1, abs=0.05)
    assert abs(int(got.argmin()) - (dt.date(2026, 7, 12) - NEW_YEAR).days) <= 3
    assert NEW_YEAR + dt.timedelta(days=int(got.argmax())) in (dt.date(2026, 1, 4), dt.date(2026, 1, 5))
    assert got.max() - got[(dt.date(2026, 12, 30) - NEW_YEAR).days] < 0.02


def test_sadgrove_is_slower_than_the_standard_in_the_cold_by_the_published_ratio():
    # Ready-mix supplier: a beam struck at 3 days at 5 °C, 1 day at 20 °C, ratio 3.0; B.10 gives 2.09
    assert float(rate_sadgrove(20) / rate_sadgrove(5)) == pytest.approx(2.94, abs=0.005)
    assert float(rate_b10(20) / rate_b10(5)) == pytest.approx(2.09, abs=0.005)


def test_mid_month_has_the_mean_of_its_month():
    means = read_climate("london").tmean
    got = daily_temperature(means, NEW_YEAR, 365)
    for month in (1, 3, 5, 7, 8, 10, 12):  # 31 days: noon of the 16th is the middle
        assert got[(dt.date(2026, month, 16) - NEW_YEAR).days] == pytest.approx(means[month - 1], abs=1e-9)


def test_temperature_between_months_is_a_straight_line_across_the_year_end():
    # Hand calculation: mid-December to mid-January is 31 days; noon of 16 December + 15.5 d is half way
    means = [10.0, *[0.0] * 10, 20.0]
    got = daily_temperature(means, dt.date(2026, 12, 31), 2)
    assert got == pytest.approx([20 - 10 * 15 / 31, 20 - 10 * 16 / 31], abs=1e-9)


def test_twenty_degrees_is_the_calendar():
    got = days_to_age([20.0] * 12, NEW_YEAR, 10, 7.5, rate_sadgrove)
    assert got == pytest.approx(np.full(10, 7.5), abs=1e-9)


def test_whole_horizon_is_the_dates_one_by_one():
    means = read_climate("glasgow").tmean
    whole = days_to_age(means, NEW_YEAR, 400, 13.858)
    for day in (0, 59, 180, 399):
        alone = days_to_age(means, NEW_YEAR + dt.timedelta(days=day), 1, 13.858)
        assert whole[day] == pytest.approx(float(alone[0]), abs=1e-9)


def test_age_is_what_the_days_add_up_to():
    # Walk the dates one by one, an independent sum
    means, wanted = read_climate("cardiff").tmean, 6.0
    first = dt.date(2027, 11, 3)
    days = float(days_to_age(means, first, 1, wanted)[0])
    whole = int(days)
    temperatures = daily_temperature(means, first, whole + 1)
    assert equivalent_age(temperatures, [1.0] * whole + [days - whole]) == pytest.approx(wanted, abs=1e-9)


def test_fifteen_years_take_under_five_milliseconds():
    means = read_climate("london").tmean

    def once() -> float:
        start = time.perf_counter()
        days_to_age(means, NEW_YEAR, 5490, 13.858)
        return time.perf_counter() - start

    assert min(once() for _ in range(10)) < 0.005


@pytest.mark.parametrize("place", PLACES)
def test_winter_waits_longest_and_summer_least(place):
    got = days_to_age(read_climate(place).tmean, NEW_YEAR, 365, 13.858)
    month = (np.datetime64(NEW_YEAR) + np.arange(365)).astype("datetime64[M]").astype(int) % 12
    assert month[got.argmax()] in (11, 0)
    assert month[got.argmin()] in (6, 7)


@given(means=months, colder=months, age=st.floats(min_value=0.5, max_value=28), rate=rates)
@settings(max_examples=40, deadline=None)
def test_colder_never_shortens_a_release(means, colder, age, rate):
    cold = np.minimum(means, colder)
    warm = days_to_age(means, NEW_YEAR, 60, age, rate)
    assert np.all(days_to_age(cold, NEW_YEAR, 60, age, rate) >= warm - 1e-9)


@given(means=months, age=st.floats(min_value=0.5, max_value=28), more=st.floats(min_value=0.1, max_value=5))
@settings(max_examples=40, deadline=None)
def test_greater_age_takes_longer(means, age, more):
    assert np.all(days_to_age(means, NEW_YEAR, 60, age + more) > days_to_age(means, NEW_YEAR, 60, age))


@given(means=months, age=st.floats(min_value=0.5, max_value=28), rate=rates)
@settings(max_examples=40, deadline=None)
def test_later_pour_is_never_released_before_an_earlier_one(means, age, rate):
    released = np.arange(60) + days_to_age(means, NEW_YEAR, 60, age, rate)
    assert np.all(np.diff(released) > 0)


@pytest.mark.parametrize("rate", [rate_b10, rate_sadgrove])
@pytest.mark.parametrize("temperature", [-0.1, 80.1, float("nan")])
def test_frost_and_steam_are_refused(rate, temperature):
    with pytest.raises(RangeError, match=r"from 0 to 80 °C; got .*protect or heat it"):
        rate([10.0, temperature])


def test_lists_of_different_length_are_refused():
    with pytest.raises(
        RangeError, match=r"got 2 temperatures and 3 durations\. Give both lists the same length"
    ):
        equivalent_age([10, 12], [1, 1, 1])


def test_time_backwards_is_refused():
    with pytest.raises(RangeError, match=r"0 days or more; got -1\. Give times forwards"):
        equivalent_age([10, 12], [1, -1])


def test_eleven_months_are_refused():
    with pytest.raises(
        RangeError, match=r"Twelve monthly mean.*got 11 values of which 11 are numbers.*every month"
    ):
        daily_temperature([10.0] * 11, NEW_YEAR, 5)


def test_month_without_a_temperature_is_refused():
    with pytest.raises(RangeError, match=r"got 12 values of which 11 are numbers"):
        days_to_age([float("nan"), *[10.0] * 11], NEW_YEAR, 5, 3.0)


def test_no_dates_are_refused():
    with pytest.raises(RangeError, match=r"At least 1 date is needed; got 0"):
        daily_temperature([10.0] * 12, NEW_YEAR, 0)


@pytest.mark.parametrize("age", [0.0, -1.0, float("nan"), float("inf")])
def test_age_of_nothing_is_refused(age):
    with pytest.raises(RangeError, match=r"above 0 days at 20 °C; got .*strength ratio above 0"):
        days_to_age([10.0] * 12, NEW_YEAR, 5, age)


def test_horizon_of_no_dates_is_refused():
    with pytest.raises(RangeError, match=r"At least 1 date is needed; got 0"):
        days_to_age([10.0] * 12, NEW_YEAR, 0, 3.0)
