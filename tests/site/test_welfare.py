"""Toilets by the printed tables, the rest by hand from the records."""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.inputs.assumption import Values, read_library
from model.site.welfare import men_only, mixed_use, portable_toilets, welfare_for

PUBLISHED = Path(__file__).parents[1] / "published"
LIBRARY = Values(read_library())
TABLES = {"mixed": mixed_use, "men": men_only}


def published(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("row", published("site_toilets"), ids=lambda r: f"{r['table']} {r['people']}")
def test_toilets_are_those_of_the_printed_table(row):
    got = TABLES[row["table"]](int(row["people"]))
    assert got == (int(row["first"]), int(row["second"])), row["source"]


@pytest.mark.parametrize("row", published("site_portable_toilets"), ids=lambda row: row["people"])
def test_one_portable_toilet_serves_seven(row):
    assert portable_toilets(int(row["people"])) == int(row["expected"]), row["source"]


@given(people=st.integers(min_value=0, max_value=2000))
def test_one_person_more_never_means_fewer_toilets(people):
    for count in (mixed_use, men_only):
        assert all(more >= few for few, more in zip(count(people), count(people + 1), strict=True))
    assert portable_toilets(people + 1) >= portable_toilets(people) >= people / 7


def test_part_of_a_person_counts_whole():
    assert mixed_use(25.2) == mixed_use(26) == (3, 3)
    assert welfare_for(25.2, 0.4, LIBRARY).people == 26
    assert welfare_for(25.2, 0.4, LIBRARY).staff == 1


def test_the_welfare_of_sixty_people_by_hand():
    # 60 people, 6 of them staff, likely values: 30 seats x 1.2 = 36 m2, two cabins of 30; 54 operatives x
    # 0.75 = 40.5 m2, two cabins; 6 x 6.5 = 39 m2, two cabins; showers 60 / 30. Common practice, no source.
    got = welfare_for(60, 6, LIBRARY)
    assert (got.wcs, got.basins, got.men_wcs, got.men_urinals, got.portable_toilets) == (4, 4, 3, 2, 9)
    assert (got.canteen_seats, got.showers, got.cabins) == (30, 2, 6)
    assert (got.canteen_m2, got.drying_m2, got.office_m2) == pytest.approx((36.0, 40.5, 39.0), rel=1e-12)


def test_nobody_on_site_needs_nothing():
    got = welfare_for(0, 0, LIBRARY)
    assert (got.wcs, got.showers, got.canteen_seats, got.cabins, got.drying_m2) == (0, 0, 0, 0, 0.0)


@pytest.mark.parametrize("number", [-1, math.nan])
def test_people_that_cannot_be_counted_are_refused(number):
    for count in (mixed_use, men_only, portable_toilets, lambda n: welfare_for(n, 0, LIBRARY)):
        with pytest.raises(RangeError, match=r"must be 0 or more; got (-1|nan)\. Give the most people"):
            count(number)


def test_staff_must_be_among_the_people():
    with pytest.raises(RangeError, match=r"got -2\. Give the most"):
        welfare_for(10, -2, LIBRARY)
    with pytest.raises(RangeError, match=r"got 11 staff of 10 people\. Count managers"):
        welfare_for(10, 11, LIBRARY)


@pytest.mark.parametrize("key", ["sittings", "cabin_area", "shower_people"])
def test_a_record_that_divides_by_nothing_is_refused(key):
    with pytest.raises(RangeError, match=rf"\(welfare\.{key}\) must be above 0; got 0\. Set welfare\.{key}"):
        welfare_for(10, 1, LIBRARY.with_overrides({f"welfare.{key}": (0.0, "")}))


def test_a_site_is_equipped_for_its_busiest_date(compared):
    for case in compared("pitch").cases:
        site, welfare = case.site, case.site.welfare
        assert welfare.people == math.ceil(site.peak_operatives)
        most_worked = site.worked.sum(axis=0).max()
        assert welfare.staff == math.ceil(most_worked / case.plan.values["site.management_ratio"])
        assert welfare == welfare_for(welfare.people, welfare.staff, case.plan.values)
