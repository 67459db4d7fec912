"""Draws against printed three-point examples and independent libraries.

Where a figure is drawn it must lie within four of its own standard errors, and half a printed step.
"""

import csv
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from model.core.errors import RangeError
from model.risk.sampling import (
    STREAMS,
    correlated,
    generator,
    latin_hypercube,
    percentiles,
    pert_ppf,
    rank_correlations,
    standard_error_of_percentile,
    triangular_ppf,
)

ERRORS = 4
"""Standard errors allowed."""

RUNS = 100_000
MIDDLES = (np.arange(4000) + 0.5) / 4000
CHAINS = {
    "drywall": np.array(
        [(3, 4, 6), (1, 1, 2), (3, 5, 6), (1, 1, 2), (2, 3, 4), (2, 3, 4), (2, 3, 5)], dtype=float
    ),
    "four of 20 days": np.array([(15, 20, 25)] * 4, dtype=float),
}


def published(name: str) -> list[dict[str, str]]:
    path = Path(__file__).parents[1] / "published" / f"{name}.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


ACTIVITIES = published("risk_pert")


def points(row):
    return [float(row[name]) for name in ("low", "likely", "high")]


shares = st.floats(min_value=0.001, max_value=0.999)
three = st.lists(st.floats(min_value=-1000, max_value=1000), min_size=3, max_size=3).map(sorted)


# Three points


@pytest.mark.parametrize("row", ACTIVITIES, ids=lambda row: row["case"])
def test_pert_has_the_printed_mean(row):
    # Midpoint rule over the probability: the mean of the distribution to 1e-4 of its width
    got = pert_ppf(MIDDLES, *points(row)).mean()
    assert got == pytest.approx(float(row["mean"]), rel=0, abs=float(row["mean_step"])), row["source"]


@pytest.mark.parametrize("row", ACTIVITIES, ids=lambda row: row["case"])
def test_pert_has_the_mean_and_variance_of_its_formula_and_scipy_agrees(row):
    low, mode, high = points(row)
    for lamb in (1.0, 4.0, 9.0):
        x = pert_ppf(MIDDLES, low, mode, high, lamb)
        mean = (low + lamb * mode + high) / (lamb + 2)
        assert x.mean() == pytest.approx(mean, rel=0, abs=1e-4 * (high - low))
        assert x.var() == pytest.approx((mean - low) * (high - mean) / (lamb + 3), rel=2e-3)
        shape = (1 + lamb * (mode - low) / (high - low), 1 + lamb * (high - mode) / (high - low))
        assert x == pytest.approx(stats.beta(*shape, loc=low, scale=high - low).ppf(MIDDLES), rel=1e-9)


def test_beta_is_wider_than_the_classic_sixth_of_the_range_midway_between_the_ends():
    sd = pert_ppf(MIDDLES, 9, 12, 15).std()
    assert sd == pytest.approx(6 / math.sqrt(28), rel=1e-3)
    assert sd > 1.0  # printed: variance 1.000


@pytest.mark.parametrize("row", published("risk_paths"), ids=lambda row: row["paths"])
def test_chance_of_a_printed_path_comes_out_of_the_draws(row):
    # Classic PERT: normal with the printed te and ((high - low) / 6) squared of each activity.
    paths = row["paths"].split()
    parts = [a for a in ACTIVITIES if a["path"] in paths]
    low, mode, high = np.array([points(a) for a in parts]).T
    te, variance = (low + 4 * mode + high) / 6, ((high - low) / 6) ** 2
    for a, var in zip(parts, variance, strict=True):
        assert var == pytest.approx(float(a["variance"]), rel=0, abs=float(a["variance_step"]))
    drawn = te + np.sqrt(variance) * stats.norm.ppf(latin_hypercube(RUNS, len(parts), 7))
    sums = np.stack([drawn[:, [a["path"] == path for a in parts]].sum(axis=1) for path in paths])
    if row["mean"]:
        assert sums[0].mean() == pytest.approx(float(row["mean"]), rel=0, abs=0.05)
        error = ERRORS * float(row["variance"]) * math.sqrt(2 / RUNS)
        got = sums[0].var()
        assert got == pytest.approx(float(row["variance"]), abs=error + float(row["variance_step"]))
    if row["chance"]:
        expected = float(row["chance"])
        error = ERRORS * math.sqrt(expected * (1 - expected) / RUNS)
        got = np.all(sums <= float(row["days"]), axis=0).mean()
        assert got == pytest.approx(expected, abs=error + float(row["half_step"])), row["source"]


@pytest.mark.parametrize("row", CHAINS["drywall"].tolist())
def test_triangle_has_the_mean_and_variance_of_its_formula_and_scipy_agrees(row):
    a, m, b = row
    x = triangular_ppf(MIDDLES, a, m, b)
    assert x.mean() == pytest.approx((a + m + b) / 3, rel=1e-5)
    assert x.var() == pytest.approx((a * a + m * m + b * b - a * m - a * b - m * b) / 18, rel=1e-3)
    assert x == pytest.approx(stats.triang((m - a) / (b - a), loc=a, scale=b - a).ppf(MIDDLES), rel=1e-12)


@cache
def chain(case, rho):
    low, mode, high = CHAINS[case].T
    u = correlated(latin_hypercube(RUNS, low.size, 11), [0] * low.size, rho)
    return triangular_ppf(u, low, mode, high).sum(axis=1)


@pytest.mark.parametrize("row", published("risk_three_point"), ids=lambda row: f"{row['case']} {row['rho']}")
def test_a_chain_of_three_point_activities_agrees(row):
    x = chain(row["case"], float(row["rho"]))
    n = x.size
    measure, expected = row["measure"], float(row["expected"])
    if measure == "mean":
        got, error = x.mean(), x.std() / math.sqrt(n)
    elif measure == "sd":
        got, error = x.std(), x.std() * math.sqrt((stats.kurtosis(x, fisher=False) - 1) / (4 * n))
    elif measure == "by_20":
        got, error = np.mean(x <= 20), math.sqrt(expected * (1 - expected) / n)
    else:
        q = float(measure[1:]) / 100
        got, error = np.quantile(x, q), standard_error_of_percentile(x, q)
    assert error < 0.01 * expected
    assert got == pytest.approx(expected, rel=0, abs=ERRORS * error + float(row["half_step"])), row["source"]


def linear_correlation(rank, one, other):
    """Linear correlation of two triangles tied by a normal copula, by quadrature apart from the draws."""
    r = 2 * math.sin(math.pi * rank / 6)
    node, weight = np.polynomial.hermite_e.hermegauss(80)
    weight = weight / weight.sum()
    x, w = np.meshgrid(node, node)
    each = np.outer(weight, weight)
    values = [
        stats.triang((m - a) / (b - a), loc=a, scale=b - a).ppf(stats.norm.cdf(z))
        for (a, m, b), z in ((one, x), (other, r * x + math.sqrt(1 - r * r) * w))
    ]
    means = [(each * v).sum() for v in values]
    spread = [math.sqrt((each * v * v).sum() - m * m) for v, m in zip(values, means, strict=True)]
    return ((each * values[0] * values[1]).sum() - means[0] * means[1]) / (spread[0] * spread[1])


def test_drywall_at_a_linear_correlation_of_0_3_has_the_worked_spread():
    # GAO-16-89G, table 2, as a chain: sd 2.030 where every pair has a linear correlation of 0.3 (by hand).
    # The same pair has a slightly lower rank correlation: found here by quadrature, then drawn.
    rows = CHAINS["drywall"]
    sd = np.sqrt([(a * a + m * m + b * b - a * m - a * b - m * b) / 18 for a, m, b in rows])
    pairs = [(i, j) for i in range(7) for j in range(i)]

    def shortfall(rank):
        cross = sum(linear_correlation(rank, rows[i], rows[j]) * sd[i] * sd[j] for i, j in pairs)
        return math.sqrt((sd**2).sum() + 2 * cross) - 2.030

    rank = optimize.brentq(shortfall, 0.2, 0.4, xtol=1e-4)
    assert 0.28 < rank < 0.30
    x = chain("drywall", rank)
    assert x.std() == pytest.approx(2.030, rel=0, abs=ERRORS * 2.03 / math.sqrt(2 * RUNS) + 5e-4)
    assert x.mean() == pytest.approx(21.0, abs=ERRORS * 2.03 / math.sqrt(RUNS))


@given(u=shares, more=st.floats(min_value=0, max_value=0.5), at=three)
@settings(max_examples=80, deadline=None)
def test_values_stay_within_their_ends_and_rise_with_probability(u, more, at):
    for ppf in (pert_ppf, triangular_ppf):
        first, then = ppf([u, min(u + more, 1.0)], *at)
        slack = 1e-9 * (1 + at[2] - at[0])
        assert at[0] - slack <= first <= then + slack <= at[2] + 2 * slack


@given(u=shares, value=st.floats(min_value=-1e6, max_value=1e6))
@settings(max_examples=30, deadline=None)
def test_one_value_three_times_is_a_constant(u, value):
    assert float(pert_ppf(u, value, value, value)) == value
    assert float(triangular_ppf(u, value, value, value)) == value


@given(u=shares, at=three)
@settings(max_examples=40, deadline=None)
def test_turning_the_points_round_turns_the_values_round(u, at):
    low, mode, high = at
    for ppf in (pert_ppf, triangular_ppf):
        turned = -float(ppf(1 - u, -high, -mode, -low))
        assert turned == pytest.approx(float(ppf(u, low, mode, high)), rel=1e-6, abs=1e-6 * (1 + high - low))


def test_points_may_differ_by_column():
    u = latin_hypercube(50, 2, 3)
    both = pert_ppf(u, [0, 10], [1, 11], [3, 15])
    assert np.array_equal(both[:, 1], pert_ppf(u[:, 1], 10, 11, 15))


@pytest.mark.parametrize("ppf", [pert_ppf, triangular_ppf])
@pytest.mark.parametrize("at", [(2, 1, 3), (1, 4, 3), (1, math.nan, 3), (1, 2, math.inf)])
def test_points_out_of_order_are_refused(ppf, at):
    with pytest.raises(RangeError, match=r"must rise from low to likely to high; got .* Put them in order"):
        ppf(0.5, *at)


@pytest.mark.parametrize("ppf", [pert_ppf, triangular_ppf])
@pytest.mark.parametrize("u", [-0.1, 1.1, math.nan])
def test_no_probability_is_refused(ppf, u):
    with pytest.raises(RangeError, match=r"probability must be 0 to 1; got .* Write 80 % as 0.80"):
        ppf(u, 1, 2, 3)


def test_negative_weight_is_refused():
    with pytest.raises(RangeError, match=r"weight of the likely value must be 0 or more; got -1"):
        pert_ppf(0.5, 1, 2, 3, -1)


# Draws


@given(runs=st.integers(1, 400), columns=st.integers(0, 5), seed=st.integers(0, 2**31))
@settings(max_examples=40, deadline=None)
def test_every_stratum_of_every_column_holds_one_draw(runs, columns, seed):
    u = latin_hypercube(runs, columns, seed)
    assert u.shape == (runs, columns)
    assert np.all((u > 0) & (u < 1))
    for column in range(columns):
        assert sorted(np.floor(u[:, column] * runs)) == list(range(runs))


def test_equal_seeds_give_equal_bytes_and_others_do_not():
    assert latin_hypercube(300, 6, 5).tobytes() == latin_hypercube(300, 6, 5).tobytes()
    assert not np.any(latin_hypercube(300, 6, 5) == latin_hypercube(300, 6, 6))


def test_a_further_column_changes_no_other():
    assert np.array_equal(latin_hypercube(300, 9, 5)[:, :4], latin_hypercube(300, 4, 5))


def test_place_within_the_stratum_does_not_depend_on_the_number_of_runs():
    # u = (stratum + jitter) / runs: runs u less its whole part is the jitter
    few, many = (latin_hypercube(runs, 3, 5) * runs % 1 for runs in (256, 1024))
    assert few == pytest.approx(many[:256], abs=1e-9)


def test_number_of_runs_is_part_of_the_design():
    assert not np.allclose(latin_hypercube(256, 1, 5), latin_hypercube(1024, 1, 5)[:256])


def test_columns_are_independent():
    u = latin_hypercube(20_000, 5, 2)
    off = np.corrcoef(u.T)[np.triu_indices(5, 1)]
    assert np.abs(off).max() < ERRORS / math.sqrt(20_000)


def test_stratified_mean_is_closer_than_that_of_plain_draws():
    # McKay, Beckman and Conover (1979): never worse for a function that rises in each input
    stratified = [pert_ppf(latin_hypercube(100, 3, s), 1, 2, 5).sum(axis=1).mean() for s in range(60)]
    plain = [pert_ppf(generator(s, "jitter").random((100, 3)), 1, 2, 5).sum(axis=1).mean() for s in range(60)]
    assert np.std(stratified) < 0.2 * np.std(plain)


def test_streams_never_share_numbers():
    first = [generator(4, stream, number).random() for stream in STREAMS for number in range(20)]
    assert len(set(first)) == len(first)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: latin_hypercube(0, 3, 1), r"one run or more .*; got 0 and 3\. Ask for 2,000"),
        (lambda: latin_hypercube(5, -1, 1), r"no fewer than 0 columns; got 5 and -1"),
        (lambda: latin_hypercube(5, 1, -1), r"whole numbers from 0; got -1 and 0\. Any seed serves"),
        (lambda: generator(1, "dice"), r"one of order, .*; got 'dice'\. Add the new use"),
        (lambda: correlated([[0.5, 0.5]], [0, 0], 1.2), r"must be 0 to 1; got 1\.2\. Related trades"),
        (lambda: correlated([[0.5, 0.5]], [0], 0.2), r"owes one group; got 1 groups .*\(1, 2\)"),
        (lambda: correlated([[0.5, 1.0]], [0, 0], 0.2), r"above 0 and below 1; some do not"),
    ],
)
def test_draws_that_cannot_be_made_say_so(call, said):
    with pytest.raises(RangeError, match=said):
        call()


# Correlation


@pytest.mark.parametrize("rho", [0.0, 0.25, 0.6, 0.95])
def test_rank_correlation_within_a_group_is_what_was_asked_for_and_nought_outside(rho):
    # Standard error of a rank correlation of a normal pair: below 1.06 (1 - rho^2) / sqrt(n) + rounding
    n = 40_000
    u = correlated(latin_hypercube(n, 6, 9), [0, 0, 0, 1, 1, -1], rho)
    found = stats.spearmanr(u).statistic
    error = ERRORS * 1.06 / math.sqrt(n)
    inside = [found[0, 1], found[0, 2], found[1, 2], found[3, 4]]
    outside = [*found[:3, 3:].ravel(), found[3, 5], found[4, 5]]
    assert inside == pytest.approx([rho] * 4, abs=max(error * (1 - rho * rho), 1e-3))
    assert outside == pytest.approx([0.0] * len(outside), abs=error)


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.8, 1.0])
def test_marginals_stay_uniform(rho):
    u = correlated(latin_hypercube(20_000, 4, 13), [2, 2, 2, 2], rho)
    for column in u.T:
        assert stats.kstest(column, "uniform").pvalue > 1e-3


def test_full_correlation_makes_one_of_all_and_a_column_alone_is_left_as_it_was():
    u = latin_hypercube(500, 4, 1)
    tied = correlated(u, [0, 0, 0, -1], 1.0)
    assert np.ptp(tied[:, :3], axis=1) == pytest.approx(0.0, abs=1e-12)
    assert np.array_equal(tied[:, 3], u[:, 3])
    assert np.array_equal(correlated(u, [0, 1, 2, 3], 0.9), u)
    assert np.array_equal(correlated(u, [0, 0, 0, 0], 0.0), u)


def test_correlation_widens_a_chain_and_leaves_its_mean():
    spread = [chain("four of 20 days", rho).std() for rho in (0.0, 0.3, 0.6, 1.0)]
    assert spread == sorted(spread)
    means = [chain("four of 20 days", rho).mean() for rho in (0.0, 0.3, 0.6, 1.0)]
    assert means == pytest.approx([80] * 4, abs=ERRORS * 8.16 / math.sqrt(RUNS))


# Percentiles


@pytest.mark.parametrize("q", [0.1, 0.5, 0.8, 0.95])
def test_error_of_a_percentile_agrees_with_another_library(q):
    # Places differ by about one in n between authors: 2 % at 2,000 results
    x = generator(3, "jitter").gamma(3.0, size=2000)
    reference = float(stats.mstats.mjci(x, prob=[q])[0])
    assert standard_error_of_percentile(x, q) == pytest.approx(reference, rel=0.02)


@pytest.mark.parametrize(
    ("law", "q"), [(stats.norm, 0.5), (stats.norm, 0.8), (stats.expon, 0.8), (stats.uniform, 0.9)]
)
def test_error_of_a_percentile_is_what_repeated_samples_show(law, q):
    # sqrt(q (1 - q) / n) / density, and the spread of 800 samples' own percentiles: within 4 errors of each
    n, repeats = 500, 800
    samples = law.ppf(generator(8, "jitter").random((repeats, n)))
    theory = math.sqrt(q * (1 - q) / n) / law.pdf(law.ppf(q))
    seen = np.quantile(samples, q, axis=1).std()
    said = np.array([standard_error_of_percentile(x, q) for x in samples])
    assert seen == pytest.approx(theory, rel=ERRORS / math.sqrt(2 * repeats))
    assert said.mean() == pytest.approx(theory, rel=0.04)  # of order 1/n, and 0.01 of chance
    assert said.std() < 0.25 * theory


def test_2000_draws_put_p80_within_3_percent_of_the_spread():
    # 1.4 sd / sqrt(n) for a normal: sqrt(0.8 x 0.2) / 0.2800 = 1.43
    x = stats.norm.ppf(generator(2, "jitter").random(2000))
    assert 0.025 < standard_error_of_percentile(x, 0.8) < 0.040


def test_summary_is_what_numpy_says():
    x = generator(5, "jitter").gamma(2.0, size=999)
    got = percentiles(x)
    assert [got.mean, got.p10, got.p50, got.p80, got.p90] == pytest.approx(
        [x.mean(), *np.percentile(x, [10, 50, 80, 90])], rel=1e-12
    )
    assert (got.se_p50, got.se_p80) == tuple(standard_error_of_percentile(x, q) for q in (0.5, 0.8))


def test_a_result_that_never_changes_has_no_error():
    got = percentiles(np.full(50, 3.5))
    assert (got.mean, got.p10, got.p90) == (3.5, 3.5, 3.5)
    assert got.se_p80 == pytest.approx(0.0, abs=1e-12)


@given(scale=st.floats(0.1, 100), shift=st.floats(-100, 100), q=st.floats(0.05, 0.95))
@settings(max_examples=30, deadline=None)
def test_error_scales_with_the_unit_and_not_with_the_origin(scale, shift, q):
    x = generator(6, "jitter").gamma(2.0, size=200)
    moved = standard_error_of_percentile(scale * x + shift, q)
    assert moved == pytest.approx(scale * standard_error_of_percentile(x, q), rel=1e-6)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: percentiles([1.0] * 9), r"needs 10 results or more; got 9\. Ask for more runs"),
        (lambda: percentiles([]), r"needs 10 results or more; got 0"),
        (lambda: percentiles([1.0] * 20 + [math.nan]), r"finite numbers; some are not\. Leave out runs"),
        (lambda: standard_error_of_percentile(np.arange(20), 1.0), r"above 0 and below 1; got 1\."),
        (lambda: rank_correlations(np.ones((3, 2)), [1, 2]), r"inputs of shape \(3, 2\) .* \(2,\)"),
        (lambda: rank_correlations([[1.0], [math.inf]], [1, 2]), r"finite numbers; some are not"),
    ],
)
def test_samples_that_cannot_be_summed_up_say_so(call, said):
    with pytest.raises(RangeError, match=said):
        call()


# Drivers


@given(st.lists(st.tuples(st.integers(0, 5), st.floats(-5, 5), st.integers(0, 3)), min_size=4, max_size=40))
@settings(max_examples=60, deadline=None)
def test_rank_correlation_agrees_with_another_library_ties_and_all(rows):
    table = np.array(rows, dtype=float)
    got = rank_correlations(table[:, :2], table[:, 2])
    for column in range(2):
        if np.ptp(table[:, column]) > 0 and np.ptp(table[:, 2]) > 0:
            reference = stats.spearmanr(table[:, column], table[:, 2]).statistic
            assert got[column] == pytest.approx(reference, abs=1e-12)
        else:
            assert got[column] == 0.0


def test_a_driver_is_found_whatever_the_shape_of_its_effect():
    u = latin_hypercube(2000, 3, 1)
    found = rank_correlations(u, np.exp(8 * u[:, 1]))
    assert found[1] == pytest.approx(1.0, abs=1e-12)
    assert np.abs(found[[0, 2]]).max() < ERRORS / math.sqrt(2000)
    assert rank_correlations(u, -u[:, 0])[0] == pytest.approx(-1.0, abs=1e-12)
