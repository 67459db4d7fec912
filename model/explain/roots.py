"""Where does a function of one figure cross a target?

A few values over the range first, then each change of sign is closed in on: to a root where the function is
smooth, to two neighbouring values where it moves by steps, to two whole numbers where it is counted. Values
that cannot be worked out are noted and not searched across. Nothing here knows what the figure is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from model.core.errors import ModelError, RangeError, ScenarioError

Function = Callable[[float], float]
Kind = Literal["smooth", "steps", "whole"]

POINTS: Final = 7
"""Values tried over a range before any crossing is closed in on."""

STEEPER: Final = 4.0
"""A dip is followed where it could reach zero if it were so many times as steep as its sides show."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a function meets zero.

    Attributes
    ----------
    low, high : float
        The same value, or the ends of a stretch.
    holds : bool
        Whether the function is zero from `low` to `high`; if not, it leaps over zero between them.
    before, after : int
        Sign of the function below and above; 0 where the search ends there.
    """

    low: float
    high: float
    holds: bool
    before: int
    after: int

    @property
    def value(self) -> float:
        """Middle of the stretch."""
        return (self.low + self.high) / 2


def crossings(
    function: Function,
    low: float,
    high: float,
    points: int = POINTS,
    tol: float = 1e-9,
    *,
    zero: float = 1e-9,
    kind: Kind = "smooth",
) -> tuple[Crossing, ...]:
    """Find where a function meets zero between two values.

    Parameters
    ----------
    function : callable
        Of one number.
    low, high : float
        Ends of the search, both tried.
    points : int
        Values tried before any crossing is closed in on, evenly spaced. [>= 2]
    tol : float
        Width to which a crossing is closed in on. [> 0]
    zero : float
        How near zero counts as zero.
    kind : str
        ``smooth``: the function has no steps to speak of; one it has all the same is reported as a stretch.
        ``steps``: it moves by steps. ``whole``: it is asked at whole numbers only.

    Returns
    -------
    tuple of Crossing
        In order. Two crossings between neighbouring values tried are found only where a smooth function
        dips towards zero between three of them.

    Raises
    ------
    RangeError
        If the ends are not two finite numbers in order, the points or the tolerance too few or small, or the
        function gives what is no finite number.

    References
    ----------
    Brent, R. P. 1973, *Algorithms for Minimization without Derivatives*, Prentice-Hall, chapters 4 and 5.

    Examples
    --------
    >>> [round(found.value, 6) for found in crossings(math.sin, 1.0, 7.0)]
    [3.141593, 6.283185]
    >>> crossings(lambda x: x * x + 1.0, -1.0, 1.0)
    ()
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise RangeError(
            f"A crossing is looked for between two finite values in order; got {low:g} and {high:g}. "
            "Give the lower one first."
        )
    if points < 2 or not tol > 0:
        raise RangeError(
            f"A search needs 2 points or more and a tolerance above 0; got {points} and {tol:g}. "
            "Correct the one that is too small."
        )
    at = np.linspace(low, high, points)
    if kind == "whole":
        at = np.unique(np.floor(at + 0.5))
    return Search(function, tol, zero, kind).between([float(x) for x in at])


@dataclass(frozen=True)
class Search:
    """A function asked once at each value, and how near counts.

    Attributes
    ----------
    known : dict of float to float
        Every value asked, and the answer.
    """

    function: Function
    tol: float
    zero: float
    kind: Kind
    known: dict[float, float] = field(default_factory=dict)

    def __call__(self, x: float) -> float:
        if x not in self.known:
            answer = float(self.function(x))
            if not math.isfinite(answer):
                raise RangeError(f"The function gives {answer:g} at {x:g}, which is no figure to search in.")
            self.known[x] = answer
        return self.known[x]

    def sign(self, x: float) -> int:
        """Side of zero: -1, 0 or 1."""
        return 0 if abs(self(x)) <= self.zero else (1 if self(x) > 0 else -1)

    def between(self, at: Sequence[float]) -> tuple[Crossing, ...]:
        """Return every crossing that shows between neighbours of values in order."""
        found: list[Crossing] = []
        place, last = 0, len(at) - 1
        while place <= last:
            end = place
            while end < last and self.sign(at[place]) == 0 == self.sign(at[end + 1]):
                end += 1
            if self.sign(at[place]) == 0:
                found.append(self._stretch(at, place, end))
            elif place < last and self.sign(at[place + 1]) == -self.sign(at[place]):
                found.append(self._cross(at[place], at[place + 1]))
            place = end + 1
        if self.kind == "smooth":
            for left, middle, right in zip(at, at[1:], at[2:], strict=False):
                found += self._dip(left, middle, right)
        return tuple(sorted(found, key=lambda crossing: crossing.low))

    def _edge(self, inside: float, outside: float) -> tuple[float, float]:
        """Close in on where the sign of `inside` is lost on the way to `outside`."""
        sign = self.sign(inside)
        while abs(outside - inside) > (1.0 if self.kind == "whole" else self.tol):
            middle = (inside + outside) / 2
            middle = math.floor(middle) if self.kind == "whole" else middle
            if middle in (inside, outside):  # no number lies between them
                break
            if self.sign(middle) == sign:
                inside = middle
            else:
                outside = middle
        return inside, outside

    def _stretch(self, at: Sequence[float], first: int, last: int) -> Crossing:
        """Return the stretch of zero around values that are zero."""
        low, high = at[first], at[last]
        before = self.sign(at[first - 1]) if first > 0 else 0
        after = self.sign(at[last + 1]) if last + 1 < len(at) else 0
        if self.kind != "smooth" or first < last:
            low = self._edge(low, at[first - 1])[0] if before else low
            high = self._edge(high, at[last + 1])[0] if after else high
        return Crossing(low, high, True, before, after)

    def _cross(self, low: float, high: float) -> Crossing:
        """Close in on a change of sign."""
        before, after = self.sign(low), self.sign(high)
        if self.kind == "smooth":
            from scipy.optimize import brentq

            at = float(brentq(lambda x: self(x) * (self.sign(x) != 0), low, high, xtol=self.tol))
            if self.sign(at) == 0:
                return Crossing(at, at, True, before, after)
        inside, outside = self._edge(low, high)
        if self.sign(outside) == 0:
            return Crossing(outside, self._edge(outside, high)[0], True, before, after)
        return Crossing(inside, outside, False, before, after)

    def _dip(self, left: float, middle: float, right: float) -> list[Crossing]:
        """Return what lies in a dip towards zero: a touch, two crossings or nothing."""
        signs = {self.sign(x) for x in (left, middle, right)}
        sides, at_middle = (abs(self(left)), abs(self(right))), abs(self(middle))
        if len(signs) > 1 or 0 in signs or at_middle > min(sides) or at_middle == max(sides):
            return []
        steepest = max((sides[0] - at_middle) / (middle - left), (sides[1] - at_middle) / (right - middle))
        if at_middle > STEEPER * steepest * (right - left):
            return []
        from scipy.optimize import minimize_scalar

        (sign,) = signs
        lowest = minimize_scalar(
            lambda x: sign * self(float(x)),
            bounds=(left, right),
            method="bounded",
            options={"xatol": max(self.tol, 1e-7 * (right - left))},
        )
        at = float(lowest.x)
        if self.sign(at) == 0:
            return [Crossing(at, at, True, sign, sign)]
        return [] if self.sign(at) == sign else [self._cross(left, at), self._cross(at, right)]


def crossed(search: Search, values: Iterable[float], refused: dict[float, str]) -> tuple[Crossing, ...]:
    """Search between neighbours that can be worked out; what cannot is noted, and not searched across."""
    stretches: list[list[float]] = [[]]
    for value in values:
        try:
            search(value)
        except ModelError as error:
            refused[value] = in_a_line(error)
            stretches.append([])
        else:
            stretches[-1].append(value)
    return tuple(found for stretch in stretches if stretch for found in search.between(stretch))


def in_a_line(error: ModelError) -> str:
    problems = error.problems if isinstance(error, ScenarioError) else (error,)
    return " ".join(str(problem) for problem in problems)
