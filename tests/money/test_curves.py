"""Curves of spend against printed points, and against the programme's own arithmetic."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.money import curves
from model.money.curves import (
    BAND,
    DHSS,
    DHSS_3M,
    DHSS_4M,
    SpendCurve,
    cosine,
    curve_note,
    curve_of,
    dhss,
    mean_drawn_share,
    quarter_third,
    widest_gap,
)
from model.money.facility import run_facility
from model.money.lending import half_rule_interest

FOLDER = Path(__file__).parents[1] / "published"
PUBLISHED = [dhss, quarter_third, cosine]
slants = st.floats(min_value=-0.9, max_value=0.9)


def published(name):
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return [pytest.param(row, id=next(iter(row.values()))) for row in csv.DictReader(file)]


@pytest.mark.parametrize("row", published("finance_curves"))
def test_a_curve_agrees_with_the_printed_point(row):
    parameters = [float(row[name]) for name in ("c", "k") if row[name]]
    got = float(getattr(curves, row["curve"])(float(row["x"]), *parameters))
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"])), row["source"]


MONTHS = [row.values[0] for row in published("finance_dhss_months")]
PAID = np.array([float(row["amount"]) for row in MONTHS])
TOTAL = 29_289_000


def test_the_spend_of_every_month_agrees_with_the_printed_figure():
    got = TOTAL * np.diff(dhss(np.arange(19) / 18))
    half_steps = [float(row["half_step"]) for row in MONTHS]
    assert (np.abs(got - PAID) <= half_steps).all(), MONTHS[0]["source"]
    assert got.sum() == pytest.approx(TOTAL, rel=1e-12)


def test_the_worked_example_lies_between_its_neighbours():
    # 29,289,000 at prices 8.413 times those of 1978 is 3.48156m (printed); straight line between the rows.
    share = 3.48156 - 3.0
    for name in ("c", "k"):
        low, high = getattr(DHSS_3M, name), getattr(DHSS_4M, name)
        got = low + share * (high - low)
        assert got == pytest.approx(getattr(DHSS, name), rel=0, abs=5e-4), name


def test_the_two_published_curves_are_never_further_apart_than_printed():
    # Project Finance for Construction and the worked example: .062 (hand calculation).
    gap = widest_gap(quarter_third, dhss)
    assert gap.size == pytest.approx(0.062, rel=0, abs=5e-4)
    assert widest_gap(dhss, quarter_third) == (-gap.size, gap.at)
    x = np.linspace(0, 1, 1001)
    assert np.abs(quarter_third(x) - dhss(x)).max() == gap.size


def test_the_worked_example_draws_less_than_half_on_average():
    # 1/2 - 0.134 / 6 (hand calculation).
    assert mean_drawn_share() == pytest.approx(0.4777, rel=0, abs=5e-5)


@given(c=slants, above=st.floats(min_value=0, max_value=20))
def test_mean_drawn_share_is_the_area_under_the_curve_whatever_k(c, above):
    # Four points of Gauss's rule are exact for a cubic.
    nodes, weights = np.polynomial.legendre.leggauss(4)
    area = float(weights @ dhss((nodes + 1) / 2, c, 3 / (1 - abs(c)) + above)) / 2
    assert mean_drawn_share(c) == pytest.approx(area, abs=1e-12)


@given(c=slants, above=st.floats(min_value=0, max_value=20))
def test_spend_never_runs_backwards(c, above):
    y = dhss(np.linspace(0, 1, 201), c, 3 / (1 - abs(c)) + above)
    assert np.diff(y).min() >= -1e-12
    assert y[[0, -1]] == pytest.approx([0, 1], abs=1e-12)


def test_spend_would_run_backwards_below_the_least_k():
    # By hand: at C = 0.25 the least K is 4; a tenth less and the first hundredth is below nothing.
    assert float(dhss(1e-3, 0.25, 4.0)) > 0
    x = 1e-3
    assert x + 0.25 * x**2 - 0.25 * x - (6 * x**3 - 9 * x**2 + 3 * x) / 3.6 < 0
    with pytest.raises(
        RangeError, match=r"K must be 4 or more where C is 0\.25.*got 3\.6.*0\.134 and 3\.884"
    ):
        dhss(x, 0.25, 3.6)


@pytest.mark.parametrize("curve", PUBLISHED)
def test_published_curves_take_any_shape_and_begin_and_end_where_the_job_does(curve):
    grid = np.linspace(0, 1, 12).reshape(3, 4)
    assert curve(grid).shape == (3, 4)
    assert curve(0.5).shape == ()
    assert curve([0.0, 1.0]) == pytest.approx([0, 1], abs=1e-15)
    assert np.diff(curve(np.linspace(0, 1, 500))).min() > 0


@pytest.mark.parametrize("curve", [quarter_third, cosine])
def test_a_symmetrical_curve_draws_a_half_on_average(curve):
    x = np.linspace(0, 1, 101)
    assert curve(x) + curve(1 - x) == pytest.approx(np.ones(101), abs=1e-12)
    assert SpendCurve(x, curve(x)).mean_drawn == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize("rate", [0.02, 0.03, 0.04])
def test_interest_by_the_mean_drawn_share_is_near_the_monthly_loan(rate):
    # For two years at a low rate: sum x rate x time x mean drawn share, before it compounds; the loan is
    # drawn at month-ends, on average half a month later than the curve.
    cost = TOTAL * np.diff(dhss(np.arange(25) / 24))
    run = run_facility(cost, np.zeros(24), equity=0.0, monthly_rate=rate / 12)
    quick = TOTAL * rate * 24 / 12 * mean_drawn_share()
    assert quick == pytest.approx(float(run.interest_total), rel=0.05)
    half, _ = half_rule_interest(TOTAL, rate, 24, 0)
    assert quick < half


# -- the curve of dated spend --------------------------------------------------------------------


def test_spend_of_the_worked_example_follows_its_own_curve():
    spend = curve_of(np.arange(1, 19), PAID, start=0)
    months = np.arange(19) / 18
    assert spend(months) == pytest.approx(dhss(months), abs=18 * 0.5 / TOTAL)
    # Between two months the line cuts the corner: at most a step's square over 8 of the curvature.
    steepest = np.abs(2 * DHSS.c - (36 * np.linspace(0, 1, 99) - 18) / DHSS.k).max()
    assert abs(widest_gap(spend, dhss).size) <= steepest / 18**2 / 8 + 18 * 0.5 / TOTAL
    assert spend.mean_drawn == pytest.approx(mean_drawn_share(), abs=1e-3)
    assert curve_note(spend) == ""


dated = st.lists(
    st.tuples(st.integers(min_value=0, max_value=900), st.integers(min_value=0, max_value=10**7)),
    min_size=2,
    max_size=40,
).filter(lambda rows: len({day for day, paid in rows if paid > 0}) > 1)


@settings(max_examples=80, deadline=None)
@given(rows=dated, factor=st.sampled_from([0.01, 3.0]), later=st.integers(min_value=-300, max_value=300))
def test_order_units_and_date_of_the_spend_do_not_matter(rows, factor, later):
    day, paid = np.array(rows, dtype=float).T
    curve = curve_of(day, paid)
    x = np.linspace(0, 1, 37)
    turned = curve_of(day[::-1] + later, paid[::-1] * factor)
    assert turned(x) == pytest.approx(curve(x), abs=1e-9)
    assert np.diff(curve.share).min() >= 0
    assert np.diff(curve.time).min() > 0
    assert (curve.time[0], curve.time[-1], curve.share[-1]) == (0.0, 1.0, 1.0)
    assert 0 <= curve.mean_drawn <= 1
    for at, share in zip(curve.time, curve.share, strict=True):
        when = day[paid > 0].min() + at * np.ptp(day[paid > 0])
        assert share == pytest.approx(paid[day <= when + 1e-6].sum() / paid.sum(), abs=1e-9)


def test_days_without_payment_count_between_the_first_and_the_last_and_not_outside():
    curve = curve_of([0, 10, 20, 30, 40], [0.0, 1.0, 0.0, 1.0, 0.0])
    assert curve.time.tolist() == [0.0, 0.5, 1.0]
    assert curve.share.tolist() == [0.5, 0.5, 1.0]


def test_a_front_loaded_curve_is_told_with_its_figures_and_is_no_fault():
    # Hand calculation: four fifths half way; 46.65 % and 50 % on the published curves; mean of two
    # trapezia (0 + 0.8) / 4 + (0.8 + 1) / 4 = 0.65.
    note = curve_note(curve_of([50, 100], [80.0, 20.0], start=0))
    assert note == (
        "Spend runs ahead of the usual course of building work: 80 % of the money is paid when 50 % of the "
        "time is gone, against 47 % and 50 % on two published curves, so outside the 10 points to either "
        "side of both. On average 65 % is drawn, against 48 % and 50 %, so interest comes out above the "
        "rule of half the cost. Payments to a factory before its panels are fixed do this and are no fault."
    )


def test_a_back_loaded_curve_is_told_with_its_figures():
    # Hand calculation as above, a fifth half way: mean 0.2 / 4 + 1.2 / 4 = 0.35.
    note = curve_note(curve_of([50, 100], [20.0, 80.0], start=0))
    assert note.startswith("Spend runs behind the usual course of building work: 20 % of the money is paid ")
    assert "when 50 % of the time is gone, against 47 % and 50 %" in note
    assert "On average 35 % is drawn" in note
    assert note.endswith("whether early work or site costs are missing.")


def test_a_curve_beside_one_published_curve_alone_is_not_told():
    x = np.linspace(0, 1, 1001)
    low, high = dhss(x), quarter_third(x)
    for share in (low, high, (low + high) / 2):
        assert curve_note(SpendCurve(x, share), band=1e-6) == ""
    beside = np.clip(np.minimum(low, high) - 0.09, 0, 1)
    beside[-1] = 1.0
    assert abs(widest_gap(SpendCurve(x, beside), quarter_third).size) > BAND
    assert curve_note(SpendCurve(x, beside)) == ""
    assert "runs behind" in curve_note(SpendCurve(x, beside), band=0.08)


def test_a_wider_band_tells_less():
    curve = curve_of([50, 100], [80.0, 20.0], start=0)
    assert curve_note(curve, band=0.29) != ""
    assert curve_note(curve, band=0.31) == ""  # 0.80 against 0.50


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: dhss(1.01), r"0 to 1; got 1\.01.*Divide the days gone"),
        (lambda: dhss([0.5, -0.1]), r"0 to 1; got -0\.1"),
        (lambda: dhss(np.nan), "0 to 1; got nan"),
        (lambda: dhss(0.5, 1.0), "C must lie between -1 and 1; got 1"),
        (lambda: dhss(0.5, -0.4, 4.9), r"K must be 5 or more where C is -0\.4.*got 4\.9"),
        (lambda: dhss(0.5, 0.1, np.inf), "K must be .* got inf"),
        (lambda: quarter_third(2.0), "0 to 1; got 2"),
        (lambda: cosine(-1.0), "0 to 1; got -1"),
        (lambda: mean_drawn_share(-1.5), r"C must lie between -1 and 1; got -1\.5"),
        (lambda: mean_drawn_share(np.nan), "C must lie between -1 and 1; got nan"),
        (lambda: curve_of([0, 1], [1.0]), "2 days for 1 payments"),
        (lambda: curve_of([0, np.inf], [1.0, 1.0]), "finite number"),
        (lambda: curve_of([0, 1], [1.0, -2.0]), "not be below 0; got -2.*Leave receipts out"),
        (lambda: curve_of([0, 1], [0.0, 0.0]), "no payment is above 0"),
        (lambda: curve_of([3, 3, 9], [1.0, 1.0, 0.0]), "two days at least.*paid on day 3"),
        (lambda: curve_of([3, 9], [1.0, 1.0], start=3), "counted from day 3.*falls on day 3.*day before it"),
        (lambda: curve_of([3, 9], [1.0, 1.0], start=-np.inf), "counted from day -inf"),
        (lambda: curve_of([3, 9], [1.0, 1.0])(1.2), r"0 to 1; got 1\.2"),
        (lambda: widest_gap(dhss, cosine, 1), "two points at least; got 1"),
        (lambda: curve_note(curve_of([3, 9], [1.0, 1.0]), band=0.0), "must be above 0; got 0.*ten points"),
    ],
)
def test_figures_out_of_range_say_what_is_allowed(call, message):
    with pytest.raises(RangeError, match=message):
        call()
