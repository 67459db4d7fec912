"""Where on the plane of two inputs do the two methods come out even?

A grid of differences over two ranges, and the line on which they are zero, straight between the points of the
grid. Where dates move the figure goes by steps and the line is no sharper than the grid. A point that cannot
be worked out is left open, with its reason, and no line is drawn beside it.

Signs as in `compare`: money is the second less the first; weeks are positive where the second is sooner.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.compare import Comparison
from model.core.errors import ModelError, RangeError
from model.core.units import is_money
from model.explain.breakeven import FIGURE_WORDS, FIGURES, plain
from model.explain.outcomes import Outcome, Runs, check_figure
from model.explain.rerun import Progress
from model.explain.roots import in_a_line
from model.inputs.wording import in_unit

Floats = NDArray[np.float64]
Line = tuple[tuple[float, float], ...]

MOST_POINTS: Final = 101
"""Most points along one side of a grid."""


@dataclass(frozen=True)
class Axis:
    """One of the two inputs.

    Attributes
    ----------
    key, label, unit : str
        Of the library record.
    now : float
        Its present value, which may lie outside the values tried.
    values : tuple of float
        Values tried, rising.
    moved : tuple of str
        Ids of the methods for which it is moved.
    """

    key: str
    label: str
    unit: str
    now: float
    values: tuple[float, ...]
    moved: tuple[str, ...]


@dataclass(frozen=True)
class TwoWay:
    """Differences over two inputs.

    Attributes
    ----------
    x, y : Axis
    of, unit : str
        One of `FIGURES`, and its unit.
    first, second : str
        Ids of the methods.
    now : float
        The difference as it stands.
    outcomes : tuple of tuple of Outcome or None
        ``outcomes[j][i]`` at ``x.values[i]`` and ``y.values[j]``; None where it cannot be worked out.
    zero : tuple of tuple of (float, float)
        Lines of (x, y) along which the difference is zero; a closed one ends where it begins.
    refused : tuple of (float, float, str)
        x, y and reason of what cannot be worked out.
    """

    x: Axis
    y: Axis
    of: str
    unit: str
    first: str
    second: str
    now: float
    outcomes: tuple[tuple[Outcome | None, ...], ...]
    zero: tuple[Line, ...]
    refused: tuple[tuple[float, float, str], ...]

    @property
    def figures(self) -> tuple[tuple[float | None, ...], ...]:
        """The difference at each point, rows by y; None where it cannot be worked out. [GBP or weeks]"""
        return tuple(
            tuple(None if outcome is None else outcome.of(self.of) for outcome in row)
            for row in self.outcomes
        )

    @property
    def words(self) -> str:
        """What the grid shows, in a sentence or two."""
        figures = [figure for row in self.figures for figure in row if figure is not None]
        what = FIGURE_WORDS.get(self.of, self.of)
        if not figures:
            return f"The {what} cannot be worked out at any point. {self.refused[0][2]}"
        ahead = sum(figure > 0 for figure in figures)
        better = "has the higher" if is_money(self.unit) else "is sooner to the"
        text = f"{self.second} {better} {what} at {ahead} of {len(figures)} points"
        if not self.zero:
            text += ", and the two come out even nowhere between them"
        text += f": {self.said(min(figures))} to {self.said(max(figures))}."
        if self.refused:
            count = len(self.refused)
            text += f" {count} point{'' if count == 1 else 's'} cannot be worked out: {self.refused[0][2]}"
        return text

    def said(self, figure: float) -> str:
        """Return a difference with its unit."""
        return f"{plain(round(figure) if is_money(self.unit) else round(figure, 1))} {self.unit}"

    def frame(self) -> pd.DataFrame:
        """Return one row a point: x, y, figure, first, second (each method's own); missing if refused."""
        rows = [
            {
                "x": x,
                "y": y,
                "figure": None if outcome is None else outcome.of(self.of),
                "first": None if outcome is None else outcome.first.of(self.of),
                "second": None if outcome is None else outcome.second.of(self.of),
            }
            for y, row in zip(self.y.values, self.outcomes, strict=True)
            for x, outcome in zip(self.x.values, row, strict=True)
        ]
        return pd.DataFrame(rows, columns=["x", "y", "figure", "first", "second"])

    def as_json(self) -> dict[str, Any]:
        """Return the grid as the command line prints it."""
        axes = {
            name: {
                "key": axis.key,
                "label": axis.label,
                "unit": axis.unit,
                "now": axis.now,
                "values": list(axis.values),
                "moved_for": list(axis.moved),
            }
            for name, axis in (("x", self.x), ("y", self.y))
        }
        return {
            "of": self.of,
            "unit": self.unit,
            "first": self.first,
            "second": self.second,
            **axes,
            "now": self.now,
            "figures": [list(row) for row in self.figures],
            "zero": [[list(point) for point in line] for line in self.zero],
            "refused": [{"x": x, "y": y, "reason": said} for x, y, said in self.refused],
            "words": self.words,
        }


def two_way(
    comparison: Comparison,
    key_x: str,
    key_y: str,
    points: tuple[int, int] = (9, 9),
    of: str = "profit",
    *,
    span_x: tuple[float, float] | None = None,
    span_y: tuple[float, float] | None = None,
    progress: Progress | None = None,
) -> TwoWay:
    """Work the two methods over a grid of two records.

    Dates are planned once for each value of a record that they rest on, not once a point, where the other is
    a price.

    Parameters
    ----------
    comparison : Comparison
    key_x, key_y : str
        Two library records.
    points : tuple of int
        Values along x and y. [2 to 101]
    of : str
        One of `FIGURES`.
    span_x, span_y : tuple of float, optional
        Least and greatest value, in the record's unit; the range of the record without.
    progress : callable, optional
        Told points done and points in all.

    Returns
    -------
    TwoWay

    Raises
    ------
    RangeError
        If a key or the figure is not known, the keys are the same, or a span or the number of points cannot
        be.
    """
    check_figure(of)
    if key_x == key_y:
        raise RangeError(f"Both inputs are {key_x!r}. Give two different records.")
    runs = Runs(comparison)
    x = _axis(runs, key_x, points[0], span_x)
    y = _axis(runs, key_y, points[1], span_y)
    found: dict[tuple[int, int], Outcome] = {}
    refused = []
    places = [(i, j) for j in range(len(y.values)) for i in range(len(x.values))]
    if runs.only_priced(key_y) and not runs.only_priced(key_x):  # one column of dates after another
        places.sort()
    for done, (i, j) in enumerate(places, start=1):
        try:
            found[i, j] = runs.at({key_x: x.values[i], key_y: y.values[j]})
        except ModelError as error:
            refused.append((x.values[i], y.values[j], in_a_line(error)))
        if progress is not None:
            progress(done, len(places))
    outcomes = tuple(tuple(found.get((i, j)) for i in range(len(x.values))) for j in range(len(y.values)))
    figures = [[math.nan if one is None else one.of(of) for one in row] for row in outcomes]
    return TwoWay(
        x=x,
        y=y,
        of=of,
        unit=FIGURES[of],
        first=comparison.first.method.id,
        second=comparison.second.method.id,
        now=runs.now.of(of),
        outcomes=outcomes,
        zero=level_lines(x.values, y.values, figures),
        refused=tuple(refused),
    )


def _axis(runs: Runs, key: str, points: int, span: tuple[float, float] | None) -> Axis:
    record = runs.record(key)
    low, high = span if span is not None else (record.low, record.high)
    least, most = record.allowed()
    if not 2 <= points <= MOST_POINTS:
        raise RangeError(f"{key} would be tried at {points} values; give 2 to {MOST_POINTS}.")
    if span is None and low == high:
        raise RangeError(
            f"The range of {key} has no width: it is {plain(low)}{in_unit(record.unit)}. "
            "Give a span of values."
        )
    if not least <= low < high <= most:
        raise RangeError(
            f"{key} cannot be tried from {low:g} to {high:g}; {least:g} to {most:g} has a meaning. "
            "Give two values between them, the lower one first."
        )
    return Axis(
        key=key,
        label=record.label,
        unit=record.unit,
        now=runs.value(key),
        values=tuple(float(value) for value in np.linspace(low, high, points)),
        moved=tuple(case.method.id for case in runs.moved(key)),
    )


def level_lines(
    x: Sequence[float], y: Sequence[float], figures: Sequence[Sequence[float]] | Floats, level: float = 0.0
) -> tuple[Line, ...]:
    """Return the lines along which a figure known on a grid is at a level, by marching squares.

    Each cell is crossed where the sign of figure less level changes along its edges, straight between; a
    corner on the level counts as above it. Where all four edges are crossed, the mean of the corners says
    which two belong together.

    Parameters
    ----------
    x, y : sequence of float
        Rising.
    figures : array, shape (y, x)
        NaN where it is not known: no line is drawn through a cell with such a corner.
    level : float

    Returns
    -------
    tuple of tuple of (float, float)
        Lines of two points or more, longest first; a closed one ends where it begins.

    References
    ----------
    Lorensen, W. E. and Cline, H. E. 1987, Marching cubes: a high resolution 3D surface construction
    algorithm, *Computer Graphics* 21(4), 163-169; its plane counterpart.

    Examples
    --------
    >>> level_lines([0.0, 1.0], [0.0, 1.0], [[-1.0, 1.0], [-1.0, 1.0]])
    (((0.5, 0.0), (0.5, 1.0)),)
    """
    field = np.asarray(figures, dtype=float) - level
    if field.shape != (len(y), len(x)):
        raise RangeError(
            f"A grid of {len(y)} by {len(x)} figures is needed for {len(x)} values of x and {len(y)} of y; "
            f"got {' by '.join(map(str, field.shape))}. Give one row for each value of y."
        )
    segments = [
        segment
        for j in range(len(y) - 1)
        for i in range(len(x) - 1)
        for segment in _through(field[j : j + 2, i : i + 2], i, j)
    ]
    lines = (tuple(_place(edge, x, y, field) for edge in edges) for edges in _joined(segments))
    whole = (_without_repeats(line) for line in lines)
    return tuple(sorted((line for line in whole if len(line) > 1), key=lambda line: (-len(line), line)))


Edge = tuple[int, int, int]
"""Column and row of its first corner, and 0 along x or 1 along y."""


def _through(corner: Floats, i: int, j: int) -> list[tuple[Edge, Edge]]:
    """Return the pairs of edges that the level joins in one cell; `corner` is (y, x)."""
    if not np.all(np.isfinite(corner)):
        return []
    above = corner >= 0
    bottom, top, left, right = (i, j, 0), (i, j + 1, 0), (i, j, 1), (i + 1, j, 1)
    crossed = [
        edge
        for edge, one, other in (
            (bottom, above[0, 0], above[0, 1]),
            (top, above[1, 0], above[1, 1]),
            (left, above[0, 0], above[1, 0]),
            (right, above[0, 1], above[1, 1]),
        )
        if one != other
    ]
    if len(crossed) < 4:
        return [(crossed[0], crossed[1])] if crossed else []
    if (corner.mean() >= 0) == above[0, 0]:  # the middle belongs to this corner and the opposite one
        return [(bottom, right), (top, left)]
    return [(bottom, left), (top, right)]


def _place(edge: Edge, x: Sequence[float], y: Sequence[float], field: Floats) -> tuple[float, float]:
    """Return where the level crosses an edge."""
    i, j, along_y = edge
    one, other = field[j, i], field[j + along_y, i + 1 - along_y]
    part = float(one / (one - other))
    if along_y:
        return float(x[i]), float(y[j] + part * (y[j + 1] - y[j]))
    return float(x[i] + part * (x[i + 1] - x[i])), float(y[j])


def _joined(segments: Sequence[tuple[Edge, Edge]]) -> list[list[Edge]]:
    """Join pairs of edges end to end; each edge is in two pairs at most."""
    beside: dict[Edge, list[Edge]] = {}
    for one, other in segments:
        beside.setdefault(one, []).append(other)
        beside.setdefault(other, []).append(one)
    lines = []
    for start in [*(edge for edge in beside if len(beside[edge]) == 1), *beside]:  # open lines from an end
        line = [start]
        while beside[line[-1]]:
            following = beside[line[-1]].pop()
            beside[following].remove(line[-1])
            line.append(following)
        if len(line) > 1:
            lines.append(line)
    return lines


def _without_repeats(line: Line) -> Line:
    """Drop a point that repeats the one before: the level runs through a corner of the grid."""
    return (line[0], *(point for before, point in pairwise(line) if point != before))
