"""Wind at the hook against the standard, worked examples and an hours-lost table for London."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.inputs.climate import read_climate
from model.physics import weather
from model.physics.weather import (
    ROUGHNESS,
    TERRAINS,
    area_rule_limit,
    area_rule_warning,
    exceedance,
    gust_wind_ratio,
    hours_lost,
    roughness_factor,
    turbulence_intensity,
)

LONDON = read_climate("london").wind_day_ms


def published(name: str) -> list[dict[str, str]]:
    path = Path(__file__).parents[1] / "published" / f"{name}.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def agrees(got: float, row: dict[str, str]) -> None:
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


heights = st.floats(min_value=1, max_value=200)
limits = st.floats(min_value=4, max_value=30)
kinds = st.sampled_from(["gust", "mean"])
terrains = st.sampled_from(sorted(ROUGHNESS))


@pytest.mark.parametrize("row", published("wind_profile"))
def test_profile_agrees(row):
    agrees(getattr(weather, row["function"])(float(row["height_m"]), row["terrain"]), row)


@pytest.mark.parametrize("row", published("wind_terrain"))
def test_terrain_factor_agrees(row):
    # k_r = c_r I_v, since c_r = k_r ln(z / z0) and I_v = 1 / ln(z / z0)
    agrees(roughness_factor(50, row["terrain"]) * turbulence_intensity(50, row["terrain"]), row)


@pytest.mark.parametrize("row", published("wind_exceedance"))
def test_exceedance_agrees(row):
    agrees(float(exceedance(float(row["speed"]), float(row["mean"]), float(row["shape"]))), row)


@pytest.mark.parametrize("row", published("wind_large_loads"))
def test_area_rule_agrees(row):
    agrees(area_rule_limit(*(float(row[key]) for key in ("limit", "mass_t", "area_m2", "drag"))), row)


@pytest.mark.parametrize("row", published("wind_hours_lost"))
def test_hours_lost_in_london_agree(row):
    # The twelve means are printed to 0.01 m/s: the printed loss lies between those of half a step either way
    case = (float(row["height_m"]), row["terrain"], float(row["limit"]), row["limit_is"])
    calm, windy = (100 * hours_lost(LONDON + half, *case) for half in (-0.005, 0.005))
    month = slice(None) if row["month"] == "year" else int(row["month"]) - 1
    step, expected = float(row["half_step"]), float(row["expected_pct"])
    assert calm[month].mean() - step <= expected <= windy[month].mean() + step, row["source"]


def test_gust_or_mean_outweighs_everything_else():
    # Hook 60 m, town, 10 m/s: 30.0 % of hours as a gust, 4.1 % as an hourly mean
    assert hours_lost(LONDON, 60, "town", 10, "gust").mean() == pytest.approx(0.300, abs=0.002)
    assert hours_lost(LONDON, 60, "town", 10, "mean").mean() == pytest.approx(0.041, abs=0.0005)
    assert hours_lost(LONDON, 60, "town", 16.5, "mean").mean() < 0.001


def test_crane_limit_loses_four_percent_at_60_m():
    # Tower-crane limit 16.5 m/s: 1.6, 4.0, 5.9 % at 30, 60, 90 m
    got = [hours_lost(LONDON, z, "town", 16.5).mean() for z in (30, 60, 90)]
    assert got == pytest.approx([0.016, 0.040, 0.059], abs=0.001)


def test_february_is_windiest_and_august_calmest_of_the_first_ten_months():
    lost = hours_lost(LONDON, 60, "town", 16.5)[:10]
    assert int(lost.argmax()) == 1
    assert int(lost.argmin()) == 7


def test_below_the_least_height_wind_is_constant():
    # EN 1991-1-4:2005, 4.3.2(1): c_r(z) = c_r(z_min)
    assert roughness_factor(3, "town") == roughness_factor(10, "town")
    assert gust_wind_ratio(3, "town") == gust_wind_ratio(10, "town")
    assert roughness_factor(10.5, "town") > roughness_factor(10, "town")


def test_sites_are_chosen_from_three_terrains():
    assert [ROUGHNESS[terrain].category for terrain in TERRAINS] == ["II", "III", "IV"]


def test_shape_is_the_users_to_set():
    # Weibull shape of London's working hours about 2.15: fewer strong hours than Rayleigh's
    assert np.all(hours_lost(LONDON, 60, "town", 16.5, "gust", 2.15) < hours_lost(LONDON, 60, "town", 16.5))


@given(
    height=heights, more=st.floats(min_value=0.5, max_value=60), terrain=terrains, limit=limits, kind=kinds
)
@settings(max_examples=60, deadline=None)
def test_higher_hook_never_lowers_the_loss(height, more, terrain, limit, kind):
    higher = min(height + more, 200.0)
    low, high = (hours_lost(LONDON, z, terrain, limit, kind) for z in (height, higher))
    assert np.all(high >= low)


@given(
    height=heights, terrain=terrains, limit=limits, more=st.floats(min_value=0.1, max_value=10), kind=kinds
)
@settings(max_examples=60, deadline=None)
def test_higher_limit_lowers_the_loss(height, terrain, limit, more, kind):
    lost = hours_lost(LONDON, height, terrain, limit, kind)
    assert np.all(hours_lost(LONDON, height, terrain, limit + more, kind) < lost)


@given(height=heights, terrain=terrains, limit=limits)
@settings(max_examples=60, deadline=None)
def test_mean_limit_loses_less_than_the_same_gust_limit(height, terrain, limit):
    assert np.all(
        hours_lost(LONDON, height, terrain, limit, "mean") < hours_lost(LONDON, height, terrain, limit)
    )


@given(height=heights, terrain=terrains, limit=limits, kind=kinds)
@settings(max_examples=60, deadline=None)
def test_loss_is_a_share(height, terrain, limit, kind):
    lost = hours_lost(LONDON, height, terrain, limit, kind)
    assert lost.shape == (12,)
    assert np.all((lost > 0) & (lost < 1))


@given(height=st.floats(min_value=10, max_value=200))
@settings(max_examples=30, deadline=None)
def test_rougher_ground_slows_the_mean_wind(height):
    means = [roughness_factor(height, terrain) for terrain in ("sea", "flat", "open", "suburb", "town")]
    assert means == sorted(means, reverse=True)


@given(mass=st.floats(min_value=0.2, max_value=50), area=st.floats(min_value=0.5, max_value=40))
@settings(max_examples=40, deadline=None)
def test_area_rule_never_raises_the_limit(mass, area):
    limit = area_rule_limit(16.5, mass, area, 1.2)
    assert 0 < limit <= 16.5
    assert area_rule_limit(16.5, mass, 2 * area, 1.2) <= limit <= area_rule_limit(16.5, 2 * mass, area, 1.2)


def test_light_panel_declared_at_10_is_warned_of():
    # Area rule: 1.0 t, 9 m2, 16.5 m/s -> 5.50 m/s
    text = area_rule_warning(10, 16.5, 1.0, 9.0, 1.2)
    assert text is not None
    assert "1.0 t and 9 m2 is declared liftable up to 10 m/s" in text
    assert "would stop at 5.5 m/s. The lift plan decides." in text


def test_heavy_load_is_not_warned_of():
    # Area rule: 4 t, 12 m2, 20 m/s -> 11.55 m/s
    assert area_rule_warning(10, 20, 4.0, 12.0, 1.2) is None


def test_unknown_terrain_names_the_choices():
    with pytest.raises(
        RangeError, match=r"one of sea, flat, open, suburb, town; got 'city'\. Choose the nearest"
    ):
        hours_lost(LONDON, 60, "city", 16.5)


@pytest.mark.parametrize("height", [0.0, -3.0, 200.1, float("nan")])
def test_height_outside_the_profile_is_refused(height):
    with pytest.raises(RangeError, match=r"above 0 and up to 200 m; got .*wind study of the site"):
        roughness_factor(height, "town")


@pytest.mark.parametrize("limit", [0.0, -1.0, float("nan")])
def test_limit_of_nothing_is_refused(limit):
    with pytest.raises(RangeError, match=r"limit must be above 0 m/s; got .*crane or the lift plan"):
        hours_lost(LONDON, 60, "town", limit)


def test_limit_of_unknown_kind_is_refused():
    with pytest.raises(RangeError, match=r"'gust' or on the 'mean'; got 'peak'\. Ask which one is meant"):
        hours_lost(LONDON, 60, "town", 16.5, "peak")


@pytest.mark.parametrize("mean", [0.0, float("nan")])
def test_site_without_wind_is_refused(mean):
    with pytest.raises(RangeError, match=r"mean wind must be above 0 m/s; got .*nearest open station"):
        exceedance(8, [5.0, mean])


def test_wind_backwards_is_refused():
    with pytest.raises(RangeError, match=r"0 m/s or more; got -8\. Give it without direction"):
        exceedance(-8, 5)


def test_shape_of_nothing_is_refused():
    with pytest.raises(RangeError, match=r"shape must be above 0; got 0\. British stations"):
        exceedance(8, 5, 0)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ((0, 2, 9, 1.2), "limit"),
        ((16.5, 0, 9, 1.2), "mass"),
        ((16.5, 2, 0, 1.2), "area"),
        ((16.5, 2, 9, 0), "drag"),
    ],
)
def test_load_without_mass_or_area_is_refused(arguments, name):
    with pytest.raises(RangeError, match=rf"The {name}.* must be above 0; got 0\. Give the load as lifted"):
        area_rule_limit(*arguments)
