"""How are uncertain figures drawn, and how far may what comes out of the draws be trusted?

Three-point distributions by their inverses, stratified draws, correlation within groups, percentiles
with their standard errors, rank correlations. Pure functions of arrays; nothing here knows what a
factor stands for.

Draw r of column c is a function of the seed, r, c and the number of runs alone: never of how many columns
stand beside it, of chunks or of threads. The number of runs is part of the design: 2,000 runs are not
the first 2,000 of 4,000, since each is stratified over its own number.

Shares of probability lie above 0 and below 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError

Floats = NDArray[np.float64]

PERT_WEIGHT: Final = 4.0
"""Weight of the likely value in the mean of three points, (low + 4 likely + high) / 6."""

STREAMS: Final = ("order", "jitter", "weather", "storeys", "events")
"""Uses of random numbers; each has streams of its own, so that no two ever share one."""

_LEAST: Final = 2.0**-53
_MOST: Final = 1.0 - 2.0**-53
"""Ends of what a draw may be: the nearest to 0 and to 1 that the stratified draws can come."""

_FEWEST: Final = 10
"""Below this many results a percentile's error is not worth stating."""


@dataclass(frozen=True, slots=True)
class Percentiles:
    """Mean and percentiles of a sample, with standard errors; in the unit of the sample.

    Attributes
    ----------
    mean, p10, p50, p80, p90 : float
        Mean; values not passed in 10, 50, 80 and 90 % of runs.
    se_p50, se_p80 : float
        Standard errors of the 50 and 80 % points (`standard_error_of_percentile`).
    """

    mean: float
    p10: float
    p50: float
    p80: float
    p90: float
    se_p50: float
    se_p80: float


def generator(seed: int, stream: str, number: int = 0) -> np.random.Generator:
    """Return the random numbers of one use, for one draw or one column.

    Parameters
    ----------
    seed : int
        Seed of the whole run. [>= 0]
    stream : str
        One of `STREAMS`.
    number : int
        Draw or column. [>= 0]

    Returns
    -------
    numpy.random.Generator
        Equal arguments give equal numbers; unequal ones give independent numbers.

    Raises
    ------
    RangeError
        If the seed or the number is below zero, or the stream unknown.
    """
    if seed < 0 or number < 0:
        raise RangeError(
            f"Seed and number of a draw must be whole numbers from 0; got {seed} and {number}. "
            "Any seed serves; keep it to have the same draws again."
        )
    if stream not in STREAMS:
        raise RangeError(
            f"A stream of random numbers must be one of {', '.join(STREAMS)}; got {stream!r}. "
            "Add the new use to the end of the list."
        )
    place = np.random.SeedSequence(int(seed), spawn_key=(STREAMS.index(stream), int(number)))
    return np.random.Generator(np.random.PCG64(place))


def pert_ppf(
    u: ArrayLike, low: ArrayLike, mode: ArrayLike, high: ArrayLike, lamb: float = PERT_WEIGHT
) -> Floats:
    r"""Value that a beta-PERT variable stays below with a given probability.

    .. math:: X = a + (b - a)\,B, \quad B \sim \mathrm{Beta}\Big(1 + \lambda\frac{m - a}{b - a},\;
              1 + \lambda\frac{b - m}{b - a}\Big)

    Mean (a + λ m + b) / (λ + 2), variance (mean - a)(b - mean) / (λ + 3).

    Parameters
    ----------
    u : float or array
        Probability. [0 to 1]
    low, mode, high : float or array
        Least, likely and greatest value, in any one unit; all three equal gives a constant.
    lamb : float
        Weight of the likely value. [-, >= 0; 0 is flat]

    Returns
    -------
    array
        Unit of `low`.

    Raises
    ------
    RangeError
        If low <= mode <= high does not hold, a probability lies outside 0 to 1 or the weight is negative.

    Notes
    -----
    Wider than the normal of classic PERT, whose standard deviation is set at (high - low) / 6: midway
    between the ends the beta's is (high - low) / 5.29.

    References
    ----------
    Malcolm, Roseboom, Clark and Fazar (1959), "Application of a technique for research and development
    program evaluation", Operations Research 7(5), 646-669.
    Vose, *Risk Analysis*, for the weight as a parameter.

    Examples
    --------
    >>> float(pert_ppf(0.5, 10, 20, 30))
    20.0
    """
    from scipy.special import betaincinv

    p, a, m, b = _three_points(u, low, mode, high)
    if not lamb >= 0:
        raise RangeError(
            f"The weight of the likely value must be 0 or more; got {lamb:g}. The usual weight is 4."
        )
    width = b - a
    some = np.where(width > 0, width, 1.0)
    below, above = 1.0 + lamb * (m - a) / some, 1.0 + lamb * (b - m) / some
    return np.asarray(a + width * betaincinv(below, above, p))


def triangular_ppf(u: ArrayLike, low: ArrayLike, mode: ArrayLike, high: ArrayLike) -> Floats:
    r"""Value that a triangular variable stays below with a given probability.

    .. math:: x = a + \sqrt{u (b - a)(m - a)} \ \text{ up to } u = (m - a)/(b - a), \quad
              x = b - \sqrt{(1 - u)(b - a)(b - m)} \ \text{ beyond}

    Mean (a + m + b) / 3, variance (a² + m² + b² - a m - a b - m b) / 18.

    Parameters
    ----------
    u : float or array
        Probability. [0 to 1]
    low, mode, high : float or array
        Least, likely and greatest value, in any one unit; all three equal gives a constant.

    Returns
    -------
    array
        Unit of `low`.

    Raises
    ------
    RangeError
        If low <= mode <= high does not hold or a probability lies outside 0 to 1.

    References
    ----------
    GAO-16-89G, *Schedule Assessment Guide*, December 2015: three points taken as a triangle.

    Examples
    --------
    >>> float(triangular_ppf(0.5, 15, 20, 25))
    20.0
    """
    p, a, m, b = _three_points(u, low, mode, high)
    width = b - a
    rising = a + np.sqrt(p * width * (m - a))
    falling = b - np.sqrt((1.0 - p) * width * (b - m))
    return np.asarray(np.where(p * width <= m - a, rising, falling))


def latin_hypercube(runs: int, columns: int, seed: int) -> Floats:
    """Draw stratified probabilities: in every column one draw in each of as many equal strata as runs.

    Parameters
    ----------
    runs : int
        Draws; part of the design, since it fixes the strata. [>= 1]
    columns : int
        Figures that vary. [>= 0]
    seed : int
        Equal seeds give equal bytes. [>= 0]

    Returns
    -------
    array, shape (runs, columns)
        [above 0, below 1]

    Raises
    ------
    RangeError
        If there is no run, or columns or seed are below zero.

    Notes
    -----
    The strata of each column are put in an order drawn for that column; the place of draw r within its
    stratum is the r-th number of a second stream of the column. So a further column changes no other.

    References
    ----------
    McKay, Beckman and Conover (1979), Technometrics 21(2), 239-245.
    """
    if runs < 1 or columns < 0:
        raise RangeError(
            f"Draws need one run or more and no fewer than 0 columns; got {runs} and {columns}. "
            "Ask for 2,000 runs or more where a percentile is to be quoted."
        )
    drawn = np.empty((runs, columns))
    for column in range(columns):
        stratum = generator(seed, "order", column).permutation(runs)
        drawn[:, column] = (stratum + generator(seed, "jitter", column).random(runs)) / runs
    return np.clip(drawn, _LEAST, _MOST)


def correlated(u: ArrayLike, groups: Sequence[int], rho: float) -> Floats:
    r"""Tie columns of a group together, each still uniform: a Gaussian copula.

    A group's normal scores z become :math:`\sqrt{1-r}\,z_j + (\sqrt{1 - r + n r} - \sqrt{1 - r})\,\bar z`:
    one shared factor, the group's own mean score, and what is left of each column. Every two of the n
    columns then correlate by :math:`r = 2 \sin(\pi\rho/6)`, which makes their rank correlation ρ.

    Parameters
    ----------
    u : array, shape (runs, columns)
        Independent probabilities. [above 0, below 1]
    groups : sequence of int, one a column
        Columns of equal number move together; a number below zero stands alone.
    rho : float
        Rank correlation (Spearman) between two columns of a group. [0 to 1]

    Returns
    -------
    array, shape (runs, columns)
        Columns that stand alone are passed on as they are.

    Raises
    ------
    RangeError
        If the correlation or a probability is out of range, or the groups do not fit the columns.

    Notes
    -----
    Marginals stay uniform, but no longer one draw to a stratum.

    References
    ----------
    Kruskal (1958), "Ordinal measures of association", JASA 53, 814-861: rank correlation of a normal pair.
    """
    from scipy.special import ndtr, ndtri

    p = np.array(u, dtype=float)
    if not 0.0 <= rho <= 1.0:
        raise RangeError(
            f"The correlation within a group must be 0 to 1; got {rho:g}. "
            "Related trades are usually put at 0.2 to 0.3."
        )
    if p.ndim != 2 or p.shape[1] != len(groups):
        raise RangeError(
            f"Each column owes one group; got {len(groups)} groups for draws of shape {p.shape}. "
            "Give a number below zero to a column that stands alone."
        )
    if not np.all((p > 0.0) & (p < 1.0)):
        raise RangeError(
            "Draws to be correlated must lie above 0 and below 1; some do not. "
            "Take them from latin_hypercube."
        )
    r = 1.0 if rho == 1.0 else 2.0 * math.sin(math.pi * rho / 6.0)
    own = math.sqrt(max(1.0 - r, 0.0))
    number = np.asarray(groups, dtype=np.int64)
    for group in np.unique(number[number >= 0]):
        columns = np.flatnonzero(number == group)
        if columns.size > 1 and r > 0.0:
            score = ndtri(p[:, columns])
            shared = math.sqrt(max(1.0 - r + columns.size * r, 0.0)) - own
            p[:, columns] = ndtr(own * score + shared * score.mean(axis=1, keepdims=True))
    return np.asarray(np.clip(p, _LEAST, _MOST))


def standard_error_of_percentile(sample: ArrayLike, q: float) -> float:
    """Standard error of a percentile of a sample, whatever its distribution.

    By order statistics: which of the sorted results the percentile is follows a binomial law, so results
    are weighted by the beta distribution of that place (Maritz and Jarrett); nothing is assumed of the
    shape, and no density is estimated.

    Parameters
    ----------
    sample : array, shape (n,)
        Results of independent runs, 10 or more. [any unit, finite]
    q : float
        Probability of the percentile. [above 0, below 1]

    Returns
    -------
    float
        Unit of the sample.

    Raises
    ------
    RangeError
        If there are too few results, one is not finite, or the probability is out of range.

    Notes
    -----
    For independent runs. Stratified draws do no worse than that, and usually better, so it errs upwards.

    References
    ----------
    Maritz and Jarrett (1978), "A note on estimating the variance of the sample median", JASA 73, 194-196;
    places as in Harrell and Davis (1982), Biometrika 69, 635-640.
    """
    from scipy.special import betainc

    ordered = np.sort(_sound(sample))
    n = ordered.size
    if n < _FEWEST:
        raise RangeError(
            f"The error of a percentile needs {_FEWEST} results or more; got {n}. Ask for more runs."
        )
    if not 0.0 < q < 1.0:
        raise RangeError(
            f"A percentile's probability must be above 0 and below 1; got {q:g}. Write 80 % as 0.80."
        )
    edges = betainc(q * (n + 1), (1.0 - q) * (n + 1), np.arange(n + 1) / n)
    weight = np.diff(edges)
    deviation = ordered - weight @ ordered
    return float(math.sqrt(weight @ deviation**2))


def percentiles(sample: ArrayLike) -> Percentiles:
    """Sum a sample up: mean, percentiles and how far they may be off.

    Parameters
    ----------
    sample : array, shape (n,)
        Results of independent runs, 10 or more. [any unit, finite]

    Returns
    -------
    Percentiles
        By linear interpolation between the sorted results.

    Raises
    ------
    RangeError
        If there are too few results or one is not finite.
    """
    x = _sound(sample)
    se_p50, se_p80 = (standard_error_of_percentile(x, q) for q in (0.5, 0.8))
    p10, p50, p80, p90 = (float(point) for point in np.quantile(x, (0.1, 0.5, 0.8, 0.9)))
    return Percentiles(float(x.mean()), p10, p50, p80, p90, se_p50, se_p80)


def rank_correlations(inputs: ArrayLike, output: ArrayLike) -> Floats:
    """Rank correlation (Spearman) of each column with a result, equal values sharing their mean rank.

    Parameters
    ----------
    inputs : array, shape (runs, columns)
        What was drawn. [any unit, finite]
    output : array, shape (runs,)
        What came out. [any unit, finite]

    Returns
    -------
    array, shape (columns,)
        [-1 to 1]; 0 for a column that never changes, and for all if the result never does: what stays
        the same explains nothing.

    Raises
    ------
    RangeError
        If shapes do not fit or a value is not finite.

    References
    ----------
    Spearman (1904), "The proof and measurement of association between two things".
    """
    x, y = np.asarray(inputs, dtype=float), np.asarray(output, dtype=float)
    if x.ndim != 2 or y.ndim != 1 or x.shape[0] != y.size or y.size < 2:
        raise RangeError(
            f"Rank correlation needs a row of inputs for each of two results or more; got inputs of shape "
            f"{x.shape} and results of shape {y.shape}. Give runs down, figures across."
        )
    _sound(x.ravel())
    ranked = _ranks(_sound(y))
    ranked = ranked - ranked.mean()
    found = np.zeros(x.shape[1])
    for column in range(x.shape[1]):
        own = _ranks(x[:, column])
        own = own - own.mean()
        size = math.sqrt((own @ own) * (ranked @ ranked))
        if size > 0.0:
            found[column] = (own @ ranked) / size
    return np.clip(found, -1.0, 1.0)


def _ranks(values: Floats) -> Floats:
    """Return the rank of each value from 1, equal values sharing their mean rank."""
    _distinct, place, count = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2.0)[place])


def _three_points(
    u: ArrayLike, low: ArrayLike, mode: ArrayLike, high: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the arguments as arrays, found fit to be used."""
    p, a, m, b = (np.asarray(x, dtype=float) for x in (u, low, mode, high))
    finite = np.all(np.isfinite(a)) and np.all(np.isfinite(b))
    if not (finite and np.all(a <= m) and np.all(m <= b)):
        raise RangeError(
            f"Three points must rise from low to likely to high; got {_few(a)}, {_few(m)}, {_few(b)}. "
            "Put them in order; give one value three times for a figure that does not vary."
        )
    if not np.all((p >= 0.0) & (p <= 1.0)):
        raise RangeError(f"A probability must be 0 to 1; got {_few(p)}. Write 80 % as 0.80.")
    return p, a, m, b


def _few(values: Floats) -> str:
    """Return the first few of an array in figures."""
    return " / ".join(f"{x:g}" for x in values.ravel()[:3])


def _sound(sample: ArrayLike) -> Floats:
    """Return a sample as an array, found finite."""
    x = np.asarray(sample, dtype=float)
    if x.ndim != 1 or not np.all(np.isfinite(x)):
        raise RangeError(
            "Results must be one row of finite numbers; some are not. "
            "Leave out runs that have no result, and say how many."
        )
    return x
