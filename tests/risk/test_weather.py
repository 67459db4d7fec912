"""Weather by date: expected on average, persistent, nested, the same for every method.

Means are taken a month at a time within each draw; draws are independent, so the spread between them gives
the standard error whatever the persistence. A mean must lie within four and a half of its own errors.
"""

import csv
import datetime as dt
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from model import load_scenario
from model.core.calendar import HORIZON_DAYS, month_of_dates
from model.core.errors import RangeError
from model.inputs.assumption import Values, read_library
from model.inputs.climate import PLACES, read_climate, shares_left
from model.inputs.method import CALENDARS
from model.physics.weather import hours_lost
from model.programme.conditions import Conditions, expected_conditions, hook_heights
from model.quantities.takeoff import measure
from model.risk.weather import Latent, conditions_of, latent_weather, scores, weather_parts

ERRORS = 4.5
"""Standard errors allowed: some hundreds of means are compared at a time."""

DATES = 730
DRAWS = 300
SEED = 20270104
VALUES = Values(read_library()).with_overrides(
    {
        key: (value, "so that every kind of hour is there")
        for key, value in (("crane.evening_hours", 1.5), ("site.saturday_share", 0.5))
    }
)
DRAWN = {"share", "hook_ordinary", "hook_large", "hook_evening"}


def published(name: str) -> list[dict[str, str]]:
    path = Path(__file__).parents[1] / "published" / f"{name}.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def with_values(**changes: float) -> Values:
    return VALUES.with_overrides(
        {key.replace("__", "."): (value, "for this test") for key, value in changes.items()}
    )


@cache
def scenario_at(place: str):
    path = Path(__file__).parents[2] / "scenarios" / "large.toml"
    scenario = load_scenario(path, today=dt.date(2026, 11, 25))
    return scenario.with_changes(development=replace(scenario.development, place=place))


@cache
def expected_at(place: str) -> Conditions:
    scenario = scenario_at(place)
    return expected_conditions(scenario, VALUES, measure(scenario, VALUES).layout)


@cache
def drawn_at(place: str) -> list[Conditions]:
    expected = expected_at(place)
    parts = weather_parts(expected, VALUES, DATES)
    return [conditions_of(expected, parts, latent_weather(SEED, draw, DATES)) for draw in range(DRAWS)]


def plain(share=(), flown=(), large=(), dates=DATES, start=dt.date(2029, 1, 1)) -> Conditions:
    """Conditions of a site that never closes: calendars by share kept, cranes by share flown."""

    def spread(rows, hours=1.0):
        rows = [np.broadcast_to(np.asarray(row, dtype=float), dates) for row in rows]
        return np.array(rows).reshape(len(rows), dates) * hours

    ones = np.ones(dates)
    return Conditions(
        start=start,
        open_week=ones,
        share=spread(share),
        open_dates=ones,
        open_before=np.arange(dates + 1.0),
        release=np.ones((2, dates)),
        hook_paid=spread([1.0] * len(flown), 8.0),
        hook_ordinary=spread(flown, 8.0),
        hook_large=spread(large or flown, 8.0),
        hook_evening=spread(flown, 1.5),
        hoist_hours=np.zeros((1, dates)),
        mean_share=np.ones(len(share)),
        mean_hook=np.ones(len(flown)),
        mean_open=1.0,
        mean_release=np.ones(2),
    )


def draws_of(expected, values=VALUES, draws=DRAWS, dates=DATES):
    parts = weather_parts(expected, values, dates)
    return [conditions_of(expected, parts, latent_weather(SEED, draw, dates)) for draw in range(draws)]


def monthly(rows, month, use):
    """Mean of each row over the dates of each month, shape (..., 12)."""
    return np.stack([rows[..., use & (month == m)].mean(axis=-1) for m in range(12)], axis=-1)


def agrees(drawn, expected, sharp):
    """Means over the first axis agree with what is expected, and are known closely enough to tell."""
    error = drawn.std(axis=0, ddof=1) / math.sqrt(drawn.shape[0])
    off = np.abs(drawn.mean(axis=0) - expected)
    assert np.all(off <= ERRORS * error + 1e-12), float(np.max(off / (error + 1e-12)))
    assert error.max() < sharp


# Means


@pytest.mark.parametrize("place", PLACES)
def test_every_class_of_work_keeps_its_monthly_share(place):
    expected = expected_at(place)
    month = month_of_dates(expected.start, DATES)
    full = expected.open_week[:DATES] == 1.0
    left = shares_left(read_climate(place), VALUES)
    kept = np.stack([monthly(c.share[:, :DATES], month, full) for c in drawn_at(place)])
    agrees(kept, np.stack([left[name] for name in CALENDARS]), sharp=0.01)


@pytest.mark.parametrize("place", PLACES)
def test_every_crane_flies_its_monthly_hours_in_both_classes(place):
    scenario, expected = scenario_at(place), expected_at(place)
    month = month_of_dates(expected.start, DATES)
    full = expected.open_week[:DATES] == 1.0
    heights = hook_heights(scenario, VALUES, measure(scenario, VALUES).layout)
    wind = read_climate(place).wind_day_ms
    for name, field in (("ordinary", "hook_ordinary"), ("large", "hook_large"), ("ordinary", "hook_evening")):
        flies = [
            1 - hours_lost(wind, z, scenario.development.terrain, VALUES[f"weather.gust_limit_{name}"])
            for z in heights
        ]
        calm = getattr(expected, field)[:, :DATES]
        flown = np.stack(
            [
                monthly(getattr(c, field)[:, :DATES] / np.where(full, calm, 1.0), month, full)
                for c in drawn_at(place)
            ]
        )  # over the date's own expected hours: 1 on average
        agrees(flown * np.array(flies), np.array(flies), sharp=0.02)


def test_saturday_is_kept_in_part_or_lost_whole():
    expected = expected_at("glasgow")
    week = expected.open_week[:DATES]
    part = (week > 0) & (week < 1)
    assert part.sum() > 50
    seen = {float(x) for c in drawn_at("glasgow")[:50] for x in np.unique(c.share[:, :DATES][:, part])}
    assert seen == {0.0, *np.unique(week[part]).tolist()}


def test_no_work_and_no_hook_on_a_closed_date():
    expected = expected_at("glasgow")
    closed = np.flatnonzero(expected.open_week[:DATES] == 0)
    for c in drawn_at("glasgow")[:20]:
        assert not c.share[:, closed].any()
        assert not c.hook_ordinary[:, closed].any()
        assert not c.hook_evening[:, closed].any()


@pytest.mark.parametrize(
    "case", sorted({(r["terrain"], r["limit_is"]) for r in published("wind_hours_lost")})
)
def test_hours_lost_in_london_come_out_of_the_draws(case):
    # The tables of tests/published, through the draws: a crane for each limit and height
    terrain, limit_is = case
    rows = [r for r in published("wind_hours_lost") if (r["terrain"], r["limit_is"]) == case]
    cranes = sorted({(float(r["limit"]), float(r["height_m"])) for r in rows})
    wind = read_climate("london").wind_day_ms
    month = month_of_dates(dt.date(2029, 1, 1), DATES)
    flown = [1 - hours_lost(wind, z, terrain, limit, limit_is)[month] for limit, z in cranes]
    draws = draws_of(plain(flown=flown))
    lost = 100 * np.stack([1 - monthly(c.hook_ordinary / 8, month, month >= 0) for c in draws])
    year = lost.mean(axis=2, keepdims=True)
    mean = np.concatenate([lost, year], axis=2)
    error = mean.std(axis=0, ddof=1) / math.sqrt(DRAWS)
    # The monthly means of the wind are printed to 0.01 m/s: half a step either way
    around = [
        [100 * hours_lost(wind + half, z, terrain, limit, limit_is) for limit, z in cranes]
        for half in (-0.005, 0.005)
    ]
    play = (np.array(around[1]) - np.array(around[0])) / 2
    for row in rows:
        c = cranes.index((float(row["limit"]), float(row["height_m"])))
        m = 12 if row["month"] == "year" else int(row["month"]) - 1
        slack = float(row["half_step"]) + (play[c].mean() if m == 12 else play[c, m])
        expected = float(row["expected_pct"])
        assert abs(mean[:, c, m].mean() - expected) <= ERRORS * error[c, m] + slack, row


@pytest.mark.parametrize("row", published("wind_exceedance"))
def test_exceedance_of_a_wind_comes_out_of_the_draws(row):
    expected = float(row["expected"])
    flown = np.array([c.hook_ordinary.mean() / 8 for c in draws_of(plain(flown=[1 - expected]))])
    error = flown.std(ddof=1) / math.sqrt(DRAWS)
    assert error < 0.05 * expected
    assert 1 - flown.mean() == pytest.approx(expected, abs=ERRORS * error + float(row["half_step"]))


def test_hours_flown_on_a_date_follow_the_hours_own_wind():
    # Drawn hour by hour from the date's wind and the hour's own, apart from the formula
    c, z = 0.7, np.array([-2.0, -0.5, 0.0, 1.0, 2.5])
    expected = plain(flown=[0.75], dates=z.size)
    parts = weather_parts(expected, with_values(risk__wind__of_date=c, risk__wind__persistence=0.0), z.size)
    latent = Latent(np.column_stack([np.zeros(z.size), z / math.sqrt(1 - parts.together**2)]))
    got = conditions_of(expected, parts, latent).hook_ordinary[0] / 8
    hours = np.random.default_rng(1).standard_normal((200_000, 1))
    flown = np.mean(math.sqrt(c) * z + math.sqrt(1 - c) * hours <= stats.norm.ppf(0.75), axis=0)
    assert got == pytest.approx(flown, abs=ERRORS * 0.5 / math.sqrt(200_000))


def test_wind_of_the_hours_alone_gives_every_date_what_is_expected():
    expected = expected_at("london")
    parts = weather_parts(expected, with_values(risk__wind__of_date=0.0), DATES)
    got = conditions_of(expected, parts, latent_weather(SEED, 1, DATES))
    for name in ("hook_ordinary", "hook_large", "hook_evening"):
        assert getattr(got, name) == pytest.approx(getattr(expected, name), rel=1e-12)


def test_the_more_of_the_wind_is_the_dates_own_the_more_dates_differ():
    spread = [
        np.std([c.hook_large for c in draws_of(plain(flown=[0.7]), with_values(risk__wind__of_date=x), 60)])
        for x in (0.2, 0.5, 0.8, 0.99)
    ]
    assert spread == sorted(spread)
    assert spread[-1] == pytest.approx(8 * math.sqrt(0.7 * 0.3), rel=0.1)  # flown whole or not at all


# Persistence


def orthant(p, rho):
    """Chance that two dates in a row are lost, each with chance p: the corner of a normal pair."""
    limit = stats.norm.ppf(p)
    return float(stats.multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf([limit, limit]))


@pytest.mark.parametrize(("p", "rho"), list(product((0.02, 0.1, 0.3, 0.5), (0.0, 0.4, 0.8))))
def test_lost_dates_follow_each_other_as_a_normal_pair_does(p, rho):
    draws = draws_of(
        plain(share=[1 - p]), with_values(risk__rain__persistence=rho, risk__wind__with_rain=0.0)
    )
    lost = np.stack([c.share[0] == 0 for c in draws])
    both = (lost[:, 1:] & lost[:, :-1]).mean(axis=1)
    error = both.std(ddof=1) / math.sqrt(DRAWS)
    expected = orthant(p, rho)
    assert both.mean() == pytest.approx(expected, abs=ERRORS * error + 1e-6)
    assert error < 0.1 * expected or p < 0.05


def test_half_the_dates_lost_has_a_closed_form():
    # Sheppard (1899): a normal pair shares a quadrant with chance 1/4 + arcsin(rho) / (2 pi), so the lost
    # dates correlate by 2 arcsin(rho) / pi
    rho = VALUES["risk.rain.persistence"]
    lost = np.stack([c.share[0] == 0 for c in draws_of(plain(share=[0.5]))]).astype(float)
    each = ((lost[:, 1:] - 0.5) * (lost[:, :-1] - 0.5)).mean(axis=1) / 0.25
    error = each.std(ddof=1) / math.sqrt(DRAWS)
    assert error < 0.01
    assert each.mean() == pytest.approx(2 * math.asin(rho) / math.pi, abs=ERRORS * error)


@pytest.mark.parametrize("place", PLACES)
def test_lost_dates_of_a_place_follow_each_other(place):
    # Two dates in a row, both open in full, with each month's own chance
    expected = expected_at(place)
    full = expected.open_week[:DATES] == 1.0
    month = month_of_dates(expected.start, DATES)
    pair = np.flatnonzero(full[1:] & full[:-1] & (month[1:] == month[:-1]))
    left = shares_left(read_climate(place), VALUES)
    for name in ("open", "rain", "masonry"):
        lost = np.stack([c.share[CALENDARS.index(name), :DATES] == 0 for c in drawn_at(place)])
        both = (lost[:, pair] & lost[:, pair + 1]).mean(axis=1)
        by_month = [orthant(1 - left[name][m], VALUES["risk.rain.persistence"]) for m in range(12)]
        error = both.std(ddof=1) / math.sqrt(DRAWS)
        assert both.mean() == pytest.approx(np.mean([by_month[m] for m in month[pair]]), abs=ERRORS * error)


def test_scores_are_standard_normal_persist_and_go_together_from_the_first_date():
    values = with_values(risk__rain__persistence=0.1, risk__wind__persistence=0.8, risk__wind__with_rain=0.4)
    parts = weather_parts(plain(share=[0.8], flown=[0.9], dates=60), values, 60)
    n = 4000
    drawn = np.stack([scores(parts, latent_weather(SEED, draw, 60)) for draw in range(n)])
    error = ERRORS / math.sqrt(n)
    assert np.abs(drawn.mean(axis=0)).max() < error
    assert drawn.var(axis=0) == pytest.approx(np.ones((2, 60)), abs=error * math.sqrt(2))
    for date in (0, 1, 5, 59):
        assert np.corrcoef(drawn[:, 0, date], drawn[:, 1, date])[0, 1] == pytest.approx(0.4, abs=error)
    for date in (1, 2, 59):
        for row, rho in ((0, 0.1), (1, 0.8)):
            found = np.corrcoef(drawn[:, row, date], drawn[:, row, date - 1])[0, 1]
            assert found == pytest.approx(rho, abs=error)
    assert np.corrcoef(drawn[:, 1, 9], drawn[:, 1, 7])[0, 1] == pytest.approx(0.64, abs=error)


def test_persistence_spreads_the_dates_lost_in_a_run_and_not_their_mean():
    totals = {}
    for rho in (0.0, 0.6):
        draws = draws_of(plain(share=[0.8]), with_values(risk__rain__persistence=rho), DRAWS, 200)
        totals[rho] = np.array([c.share[0, :200].sum() for c in draws])
    assert totals[0.0].std() == pytest.approx(math.sqrt(200 * 0.2 * 0.8), rel=ERRORS / math.sqrt(2 * DRAWS))
    assert totals[0.6].std() > 1.3 * totals[0.0].std()
    assert totals[0.6].mean() == pytest.approx(160, abs=ERRORS * totals[0.6].std() / math.sqrt(DRAWS))


# Nesting


@given(
    kept=st.lists(st.floats(0, 1), min_size=2, max_size=5),
    flown=st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=4),
    draw=st.integers(0, 1000),
)
@settings(max_examples=60, deadline=None)
def test_classes_are_nested_on_every_date(kept, flown, draw):
    kept, flown = sorted(kept), sorted(sorted(pair, reverse=True) for pair in flown)
    expected = plain(kept, [a for a, _b in flown], [b for _a, b in flown], dates=80)
    parts = weather_parts(expected, VALUES, 80)
    got = conditions_of(expected, parts, latent_weather(3, draw, 80))
    assert np.all(np.diff(got.share, axis=0) >= 0)  # a class that is kept more is kept whenever less is
    assert set(np.unique(got.share)) <= {0.0, 1.0}
    assert np.all(got.hook_large <= got.hook_ordinary)
    assert np.all(got.hook_ordinary <= got.hook_paid)
    assert np.all((got.hook_large >= 0) & np.isfinite(got.hook_large))
    assert np.all(np.diff(got.hook_ordinary, axis=0) >= -1e-12)  # one wind for all cranes
    assert got.hook_evening == pytest.approx(got.hook_ordinary * 1.5 / 8, abs=1e-12)


def test_inside_is_never_lost_and_what_is_never_kept_always_is():
    for draw in range(20):
        expected = plain(share=[1.0, 0.0], flown=[1.0, 0.0])
        parts = weather_parts(expected, VALUES, DATES)
        got = conditions_of(expected, parts, latent_weather(2, draw, DATES))
        assert got.share[0].all()
        assert not got.share[1].any()
        assert np.all(got.hook_ordinary[0] == 8.0)
        assert not got.hook_ordinary[1].any()
    assert all(np.array_equal(c.share[0], expected_at("london").open_week) for c in drawn_at("london")[:20])


def test_large_loads_fly_no_more_than_ordinary_ones_on_any_date_of_any_place():
    for place in PLACES:
        for c in drawn_at(place)[:60]:
            assert np.all(c.hook_large <= c.hook_ordinary)
            assert np.all(c.hook_ordinary <= c.hook_paid * (1 + 1e-15))


# Draws


def test_draws_are_the_same_in_any_order_and_on_two_threads():
    expected = expected_at("manchester")
    parts = weather_parts(expected, VALUES, DATES)

    def taken(draw):
        got = conditions_of(expected, parts, latent_weather(SEED, draw, DATES))
        return b"".join(getattr(got, name).tobytes() for name in sorted(DRAWN))

    forward = {draw: taken(draw) for draw in range(24)}
    backward = {draw: taken(draw) for draw in reversed(range(24))}
    with ThreadPoolExecutor(2) as pool:
        threaded = dict(zip(range(24), pool.map(taken, range(24)), strict=True))
    assert forward == backward == threaded
    assert len(set(forward.values())) == 24
    other = conditions_of(expected, parts, latent_weather(SEED + 1, 0, DATES))
    assert (
        other.share.tobytes()
        != conditions_of(expected, parts, latent_weather(SEED, 0, DATES)).share.tobytes()
    )


def test_fewer_days_are_the_first_of_more():
    assert np.array_equal(latent_weather(1, 5, 400).noise, latent_weather(1, 5, 900).noise[:400])


def test_dates_beyond_those_drawn_stay_as_expected():
    expected = expected_at("cardiff")
    few, many = (weather_parts(expected, VALUES, dates) for dates in (200, HORIZON_DAYS))
    assert (few.dates, many.dates) == (200, HORIZON_DAYS)
    by_parts = conditions_of(expected, few, latent_weather(1, 2, 900))
    by_latent = conditions_of(expected, many, latent_weather(1, 2, 200))
    whole = conditions_of(expected, many, latent_weather(1, 2, 900))
    for name in DRAWN:
        assert np.array_equal(getattr(by_parts, name), getattr(by_latent, name))
        assert np.array_equal(getattr(by_parts, name)[:, :200], getattr(whole, name)[:, :200])
        assert np.array_equal(getattr(by_parts, name)[:, 200:], getattr(expected, name)[:, 200:])
        assert not np.array_equal(getattr(whole, name)[:, 200:900], getattr(expected, name)[:, 200:900])


def test_everything_else_stays_as_expected_and_the_expected_is_not_written_to():
    expected = expected_at("cardiff")
    before = {field.name: np.array(getattr(expected, field.name)) for field in fields(Conditions)}
    got = conditions_of(expected, weather_parts(expected, VALUES), latent_weather(1, 0, DATES))
    assert {field.name for field in fields(Conditions)} > DRAWN
    for field in fields(Conditions):
        assert np.array_equal(getattr(expected, field.name), before[field.name])
        if field.name not in DRAWN:
            assert getattr(got, field.name) is getattr(expected, field.name)


def test_methods_share_the_weather_and_each_feels_it_by_its_own_figures():
    scenario = scenario_at("london")
    layout = measure(scenario, VALUES).layout
    own = {
        "same": VALUES,
        "tender": with_values(weather__rain__rain1=0.5),
        "panels": with_values(weather__gust_limit_large=8.0),
    }
    expected = {name: expected_conditions(scenario, values, layout) for name, values in own.items()}
    parts = {name: weather_parts(expected[name], own[name], DATES) for name in own}
    again = weather_parts(expected_at("london"), VALUES, DATES)
    fewer = 0
    for draw in range(40):
        latent = latent_weather(SEED, draw, DATES)
        got = {name: conditions_of(expected[name], parts[name], latent) for name in own}
        twin = conditions_of(expected_at("london"), again, latent)
        for name in DRAWN:
            assert np.array_equal(getattr(got["same"], name), getattr(twin, name))
        lost_more = got["tender"].share < got["same"].share
        assert np.all(got["tender"].share[:, :DATES] <= got["same"].share[:, :DATES])
        assert not lost_more[[c for c, name in enumerate(CALENDARS) if name != "rain"]].any()
        fewer += lost_more[:, :DATES].sum()
        assert np.array_equal(got["panels"].share, got["same"].share)
        assert np.array_equal(got["panels"].hook_ordinary, got["same"].hook_ordinary)
        assert np.all(got["panels"].hook_large[:, :DATES] <= got["same"].hook_large[:, :DATES])
    assert fewer > 0


# What cannot be


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"risk__rain__persistence": 1.0}, r"risk\.rain\.persistence must be 0 or more and below 1; got 1\."),
        ({"risk__wind__persistence": -0.1}, r"risk\.wind\.persistence must be 0 or more .*; got -0\.1"),
        ({"risk__wind__of_date": 1.0}, r"risk\.wind\.of_date must be 0 or more and below 1; got 1\."),
        (
            {"risk__rain__persistence": 0.0, "risk__wind__persistence": 0.9, "risk__wind__with_rain": 0.5},
            r"with_rain must be -0\.44 to 0\.44 where rain persists by 0 and wind by 0\.9; got 0\.5",
        ),
    ],
)
def test_weather_that_cannot_be_says_so(changes, said):
    with pytest.raises(RangeError, match=said):
        weather_parts(plain([0.9], [0.9]), with_values(**changes))


def test_no_dates_and_strange_parts_are_refused():
    expected = plain([0.9], [0.9])
    with pytest.raises(RangeError, match=r"one date or more; got 0\."):
        weather_parts(expected, VALUES, 0)
    with pytest.raises(RangeError, match=r"one date or more; got -3\."):
        latent_weather(1, 1, -3)
    with pytest.raises(RangeError, match=r"whole numbers from 0; got 1 and -1"):
        latent_weather(1, -1, 10)
    parts = weather_parts(plain([0.9, 0.8], [0.9]), VALUES)
    with pytest.raises(RangeError, match=r"for 2 calendars and 1 cranes; got conditions of 1 and 1\."):
        conditions_of(expected, parts, latent_weather(1, 1, 10))
