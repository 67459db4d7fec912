"""Bank holidays, the winter closure, working days and monthly anniversaries."""

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.core.calendar import (
    bank_holidays,
    christmas_closure,
    date_of,
    month_of_dates,
    monthly_anniversary,
    open_share,
)

PUBLISHED = Path(__file__).parents[1] / "published"
ONE_OFF = dt.date(2026, 6, 15)
"""Scotland, proclaimed for one year; not in the government file the table was read from."""

starts = st.dates(min_value=dt.date(2015, 1, 1), max_value=dt.date(2045, 12, 31))


def published(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()))


def dates(text: str) -> set[dt.date]:
    return {dt.date.fromisoformat(day) for day in text.split()}


@pytest.mark.parametrize("row", published("calendar_bank_holidays"), ids=lambda r: f"{r['part']} {r['year']}")
def test_weekday_bank_holidays_are_those_listed(row):
    year = int(row["year"])
    found = set(bank_holidays(row["part"], year, year))
    assert found - {ONE_OFF} == dates(row["dates"]), row["source"]


def test_the_one_known_difference_is_a_day_in_scotland_in_2026():
    listed = {
        part: set().union(
            *(dates(row["dates"]) for row in published("calendar_bank_holidays") if row["part"] == part)
        )
        for part in ("ENG", "WLS", "SCT")
    }
    found = {part: set(bank_holidays(part, 2026, 2030)) for part in listed}
    assert found["SCT"] - listed["SCT"] == {ONE_OFF}
    assert all(found[part] == listed[part] for part in ("ENG", "WLS"))


def test_no_bank_holiday_falls_on_a_week_end():
    assert all(day.weekday() < 5 for part in ("ENG", "SCT", "NIR") for day in bank_holidays(part, 2015, 2060))


@pytest.mark.parametrize("row", published("calendar_closure"), ids=lambda row: row["year"])
def test_the_winter_closure_is_that_listed(row):
    first, last = christmas_closure(int(row["year"]))
    assert (first.isoformat(), last.isoformat()) == (row["first"], row["last"]), row["source"]
    reopen = dt.date.fromisoformat(row["reopen"])
    share = open_share(first, 30, "ENG", 0.5, True)
    assert share[: (reopen - first).days].sum() == 0.0
    assert share[(reopen - first).days] == 1.0


@pytest.mark.parametrize("year", range(2015, 2061))
def test_the_closure_is_two_working_weeks_that_hold_the_holidays(year):
    first, last = christmas_closure(year)
    assert (first.weekday(), last.weekday(), (last - first).days) == (0, 4, 11)
    seasonal = [
        day
        for day in bank_holidays("ENG", year, year + 1)
        if dt.date(year, 12, 20) < day < dt.date(year + 1, 1, 6)
    ]
    assert len(seasonal) == 3
    assert all(first <= day <= last for day in seasonal)


def open_dates(year: int, part: str, *, closure: bool, holidays: bool = True, saturday: float = 0.0):
    days = 366 if year % 4 == 0 else 365
    return open_share(dt.date(year, 1, 1), days, part, saturday, closure, (), holidays)


@pytest.mark.parametrize("row", published("calendar_working_days"), ids=lambda row: row["year"])
def test_working_days_are_as_counted(row):
    year = int(row["year"])
    counted = {
        "weekdays": open_dates(year, "ENG", closure=False, holidays=False),
        "ew_open": open_dates(year, "ENG", closure=False),
        "ew_with_closure": open_dates(year, "ENG", closure=True),
        "sct_open": open_dates(year, "SCT", closure=False),
        "sct_with_closure": open_dates(year, "SCT", closure=True),
    }
    for name, share in counted.items():
        assert share.sum() == int(row[name]), (name, row["source"])


@pytest.mark.parametrize("row", published("calendar_working_days"), ids=lambda row: row["year"])
def test_site_hours_of_a_year_are_as_counted(row):
    share = open_dates(int(row["year"]), "ENG", closure=True, saturday=0.5)
    assert 10 * share.sum() == int(row["ew_hours"]), row["source"]


def test_a_date_closed_by_hand_is_closed():
    start = dt.date(2027, 3, 1)
    share = open_share(start, 14, "ENG", 0.0, False, (dt.date(2027, 3, 3), dt.date(2030, 1, 1)))
    assert np.flatnonzero(share).tolist() == [0, 1, 3, 4, 7, 8, 9, 10, 11]


def test_a_calendar_is_shared_and_cannot_be_written_to():
    share = open_share(dt.date(2027, 3, 1), 14, "ENG", 0.0, False)
    with pytest.raises(ValueError, match="read-only"):
        share[0] = 0.0


@given(start=starts)
def test_the_week_day_of_every_date_is_kept(start):
    share = open_share(start, 21, "ENG", 0.25, False, (), False)
    for n, part in enumerate(share):
        weekday = (start + dt.timedelta(days=n)).weekday()
        assert part == (1.0 if weekday < 5 else 0.25 if weekday == 5 else 0.0)


@given(start=starts, days=st.integers(min_value=1, max_value=900))
def test_the_month_of_every_date_is_that_of_the_calendar(start, days):
    months = month_of_dates(start, days)
    assert months.tolist() == [(start + dt.timedelta(days=n)).month - 1 for n in range(days)]


@pytest.mark.parametrize(
    ("finish", "expected"),
    [(0.0, 1), (0.2, 1), (1.0, 1), (1.0 + 1e-12, 1), (1.001, 2), (11.5, 12), (12.0, 12), (12.01, 13)],
)
def test_a_finish_on_the_stroke_of_midnight_belongs_to_the_date_before(finish, expected):
    assert date_of(dt.date(2027, 3, 1), finish) == dt.date(2027, 3, expected)


@pytest.mark.parametrize(
    ("months", "expected"),
    [
        (0, "2027-01-31"),
        (1, "2027-02-28"),
        (2, "2027-03-31"),
        (3, "2027-04-30"),
        (12, "2028-01-31"),
        (13, "2028-02-29"),
        (-1, "2026-12-31"),
        (-2, "2026-11-30"),
        (-11, "2026-02-28"),
    ],
)
def test_anniversaries_of_the_last_of_a_month_stay_within_the_month(months, expected):
    assert monthly_anniversary(dt.date(2027, 1, 31), months).isoformat() == expected


@given(start=starts, months=st.integers(min_value=-60, max_value=240))
def test_an_anniversary_is_that_many_months_on_with_the_day_held(start, months):
    day = monthly_anniversary(start, months)
    assert (day.year - start.year) * 12 + day.month - start.month == months
    next_day = day + dt.timedelta(days=1)
    assert day.day == start.day or (day.day < start.day and next_day.month != day.month)
