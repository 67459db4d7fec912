"""What would have to be true for the second method to come out at a target?

Every input that can reach the target by itself within its own range, and the value nearest to the present one
at which it does; then pairs of the inputs that move the figure most without reaching it alone. The ranges are
the library's: what needs a value outside them is not among the answers. Where nothing reaches the target, the
closest that can be had is named.

Of a pair the best corner of the two ranges is tried and, where it reaches the target, the point nearest to
the present values, in units of range, on the way of steepest change; what only the inside of both ranges
could reach is not looked for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

from model.compare import Comparison
from model.core.errors import ModelError, RangeError
from model.core.units import is_money
from model.explain.breakeven import FIGURE_WORDS, FIGURES, plain
from model.explain.outcomes import Ask, Outcome, Runs, work_all
from model.explain.rerun import Progress
from model.explain.roots import Kind, Search, crossed, in_a_line
from model.explain.sensitivity import Point, Sensitivities, Sensitivity, one_at_a_time
from model.explain.workers import MapFunction
from model.inputs.wording import in_unit

MOST_CLOSED: Final = 12
"""Single inputs of which the value at the target is looked for; more that reach it are only named."""

MOST_PAIRED: Final = 8
"""Inputs of which every pair is tried."""

STEP_SHARE: Final = 1e-3
"""Width of the answer over the way to the end of the range, where dates move by steps."""

SMOOTH_SHARE: Final = 1e-9
"""The same where only prices move."""

ZERO: Final = {"GBP": 0.01, "weeks": 1e-6, "%": 1e-6}
"""How near the target counts as on it: a penny, about half a second."""

ASKS: Final = {"percent": "%", "weeks": "weeks", "more": "GBP"}
"""What a target may ask for, and its unit."""


@dataclass(frozen=True, slots=True)
class Target:
    """What the second method is to come to against the first.

    Attributes
    ----------
    of : str
        One of `FIGURES`.
    asks : str
        One of `ASKS`: so many per cent of the first method's weeks sooner, weeks sooner, or money more.
    amount : float
        [%, weeks or GBP]
    """

    of: str
    asks: str
    amount: float

    @property
    def unit(self) -> str:
        """Unit of the amount."""
        return ASKS[self.asks]

    def figure(self, outcome: Outcome) -> float:
        """Return what an outcome comes to, in the target's unit."""
        return outcome.saving_pct(self.of) if self.asks == "percent" else outcome.of(self.of)

    def said(self, figure: float) -> str:
        """Return a figure in words: money more or less, time sooner or later, or even."""
        if abs(figure) <= ZERO[self.unit]:
            return "even"
        if self.asks == "more":
            return f"{plain(round(abs(figure)), 15)} GBP {'more' if figure >= 0 else 'less'}"
        size = plain(round(abs(figure), 1))
        unit = " %" if self.asks == "percent" else " week" if size == "1" else " weeks"
        return f"{size}{unit} {'sooner' if figure >= 0 else 'later'}"


@dataclass(frozen=True)
class Way:
    """One input or two, and the values that bring the figure to the target.

    Attributes
    ----------
    keys, labels, units : tuple of str
    now, values : tuple of float or str
        Present values, and those that do it; words of a choice.
    said : tuple of str
        The values in words.
    figure : float
        What it then comes to, in the target's unit.
    distance : float
        How far from the present values, in units of range: 1 is the width of a range. Of two inputs, the root
        of the sum of squares.
    """

    keys: tuple[str, ...]
    labels: tuple[str, ...]
    units: tuple[str, ...]
    now: tuple[float | str, ...]
    values: tuple[float | str, ...]
    said: tuple[str, ...]
    figure: float
    distance: float

    @property
    def words(self) -> str:
        """The values in a phrase."""
        return " and ".join(f"{label} at {said}" for label, said in zip(self.labels, self.said, strict=True))

    def as_json(self) -> dict[str, Any]:
        """Return the way as the command line prints it."""
        return {
            "keys": list(self.keys),
            "labels": list(self.labels),
            "units": list(self.units),
            "now": list(self.now),
            "values": list(self.values),
            "figure": self.figure,
            "distance": self.distance,
            "words": self.words,
        }


@dataclass(frozen=True)
class MustBeTrue:
    """What brings the second method to a target.

    Attributes
    ----------
    target : Target
    first, second : str
        Ids of the methods.
    now : float
        The figure as it stands, in the target's unit.
    singles : tuple of Way
        Inputs that do it alone, the nearest first.
    also : tuple of Way
        Further inputs that do it at the end of their range, not closed in on.
    pairs : tuple of Way
        Two inputs together, neither of which does it alone, the nearest first.
    closest : Way or None
        The best found where nothing does it.
    tried, tried_pairs : int
        Inputs and pairs tried.
    refused : tuple of (str, str)
        Values met on the way that cannot be worked out, and why.
    """

    target: Target
    first: str
    second: str
    now: float
    singles: tuple[Way, ...]
    also: tuple[Way, ...]
    pairs: tuple[Way, ...]
    closest: Way | None
    tried: int
    tried_pairs: int
    refused: tuple[tuple[str, str], ...]

    @property
    def met(self) -> bool:
        """Whether it comes to the target as it stands."""
        return abs(self.now - self.target.amount) <= ZERO[self.target.unit]

    @property
    def words(self) -> str:
        """The answer in a few sentences."""
        what = FIGURE_WORDS.get(self.target.of, self.target.of)
        aim = f"{what} of {self.second} against {self.first} {self.target.said(self.target.amount)}"
        now = f"it is {self.target.said(self.now)} as it stands"
        if self.met:
            return f"The {aim}: {now}."
        if self.singles:
            alone = len(self.singles) + len(self.also)
            best = self.singles[0]
            text = (
                f"The {aim} ({now}): {alone} of {self.tried} inputs can bring it there alone within "
                f"{'its' if alone == 1 else 'their'} range. The nearest is {best.words}."
            )
        elif self.pairs:
            best = self.pairs[0]
            text = (
                f"The {aim} ({now}): no single input brings it there within its range, but two together do. "
                f"The nearest is {best.words}."
            )
        else:
            text = (
                f"The {aim} ({now}): no single input brings it there within its range, nor do two of those "
                "that move it most."
            )
            if self.closest is not None:
                said = self.target.said(self.closest.figure)
                text += f" The closest that can be had is {said}, with {self.closest.words}."
        return text

    def as_json(self) -> dict[str, Any]:
        """Return the answer as the command line prints it."""
        return {
            "of": self.target.of,
            "target": self.target.amount,
            "unit": self.target.unit,
            "first": self.first,
            "second": self.second,
            "now": self.now,
            "met": self.met,
            "singles": [way.as_json() for way in self.singles],
            "also": [way.as_json() for way in self.also],
            "pairs": [way.as_json() for way in self.pairs],
            "closest": None if self.closest is None else self.closest.as_json(),
            "inputs_tried": self.tried,
            "pairs_tried": self.tried_pairs,
            "refused": [{"where": where, "reason": said} for where, said in self.refused],
            "words": self.words,
        }


def read_target(target: Mapping[str, Any]) -> Target:
    """Read a target.

    Parameters
    ----------
    target : mapping
        ``of``, one of `FIGURES`, and one of ``percent`` or ``weeks`` (sooner; of a handover) or ``more``
        (money). Below 0, later or less: what makes the second method lose.

    Returns
    -------
    Target

    Raises
    ------
    RangeError
        If it is not such a mapping.

    Examples
    --------
    >>> read_target({"of": "first handover", "percent": 20}).said(20.0)
    '20 % sooner'
    """
    of = target.get("of")
    asks = ("more",) if is_money(FIGURES.get(str(of), "")) else ("percent", "weeks")
    given = [name for name in target if name != "of"]
    if of not in FIGURES or len(given) != 1 or given[0] not in asks:
        raise RangeError(
            f"A target must name a figure and how much of it; got {dict(target)}. Give one like "
            "{'of': 'first handover', 'percent': 20}, {'of': 'last handover', 'weeks': 4} or "
            f"{{'of': 'profit', 'more': 1e6}}; figures are {', '.join(FIGURES)}."
        )
    amount = target[given[0]]
    if isinstance(amount, bool) or not isinstance(amount, (int, float)) or not math.isfinite(amount):
        raise RangeError(
            f"The target must be a finite number of {ASKS[given[0]]}; got {amount!r}. "
            "Give 0 to come out even."
        )
    return Target(str(of), given[0], float(amount))


def what_must_be_true(
    comparison: Comparison,
    target: Mapping[str, Any],
    progress: Progress | None = None,
    *,
    swings: Sensitivities | None = None,
    map: MapFunction | None = None,
) -> MustBeTrue:
    """Find what brings the second method to a target, one input or two.

    Parameters
    ----------
    comparison : Comparison
    target : mapping
        As in `read_target`.
    progress : callable, optional
        Told steps done and steps in all, of one part after the other: single inputs (unless `swings` brings
        them), their values at the target, pairs.
    swings : Sensitivities, optional
        Of the same comparison, where it was worked before.
    map : callable, optional
        As in `one_at_a_time`.

    Returns
    -------
    MustBeTrue

    Raises
    ------
    RangeError
        If the target is not one.
    """
    wanted = read_target(target)
    found = swings if swings is not None else one_at_a_time(comparison, progress=progress, map=map)
    search = _Search(Runs(comparison), wanted, wanted.figure(found.now))
    ends = [] if search.side == 0 else [end for row in found.rows for end in search.ends(row)]
    reaching = sorted((end for end in ends if search.reached(end.figure)), key=lambda end: -end.gain)
    closed = _nearest_of_each(reaching[:MOST_CLOSED])
    singles = []
    for done, end in enumerate(closed, start=1):
        singles.append(search.closed_in(end))
        if progress is not None:
            progress(done, len(closed))
    named = {end.row.key for end in closed}
    also = [end for end in _nearest_of_each(reaching[MOST_CLOSED:]) if end.row.key not in named]
    movers = _movers(ends, {end.row.key for end in reaching})
    pairs, corners = _pairs(search, movers, progress, map)
    nothing = search.side != 0 and not reaching and not pairs
    tried = [*corners, *(end.way for end in ends)]
    return MustBeTrue(
        target=wanted,
        first=comparison.first.method.id,
        second=comparison.second.method.id,
        now=search.now,
        singles=tuple(sorted(singles, key=lambda way: way.distance)),
        also=tuple(end.way for end in also),
        pairs=tuple(sorted(pairs, key=lambda way: way.distance)),
        closest=max(tried, key=lambda way: search.side * way.figure) if nothing and tried else None,
        tried=len(found.rows),
        tried_pairs=len(movers) * (len(movers) - 1) // 2,
        refused=tuple(search.refused),
    )


@dataclass(frozen=True)
class _End:
    """One end of an input's range.

    Attributes
    ----------
    row : Sensitivity
    point : Point
    figure : float
        In the target's unit.
    gain : float
        What it brings towards the target; below 0, away from it.
    distance : float
        From the present value, in units of range; 1 for a choice.
    """

    row: Sensitivity
    point: Point
    figure: float
    gain: float
    distance: float

    @property
    def way(self) -> Way:
        """The end itself as a way."""
        return _way([self.row], [self.point.value], [self.point.said], self.figure, self.distance)


class _Search:
    """How near the target anything comes, and the values at which it is met.

    Attributes
    ----------
    side : int
        1 where the figure is to rise, -1 where it is to fall, 0 where it is at the target.
    refused : list of (str, str)
        Where a value met on the way cannot be worked out, and why.
    """

    def __init__(self, runs: Runs, target: Target, now: float) -> None:
        self.runs, self.target, self.now = runs, target, now
        self.zero = ZERO[target.unit]
        gap = target.amount - now
        self.side = 0 if abs(gap) <= self.zero else (1 if gap > 0 else -1)
        self.refused: list[tuple[str, str]] = []

    def reached(self, figure: float) -> bool:
        """Say whether a figure is at the target or past it."""
        return self.side * (figure - self.target.amount) >= -self.zero

    def ends(self, row: Sensitivity) -> list[_End]:
        """Return the ends of an input's range that could be worked out."""
        ends = []
        for point in (row.low, row.high):
            if point is not None and point is not row.now:
                figure = self.target.figure(point.outcome)
                distance = 1.0
                if row.kind == "record":
                    distance = abs(_number(point) - _number(row.now)) / self.width(row)
                ends.append(_End(row, point, figure, self.side * (figure - self.now), distance))
        return ends

    def width(self, row: Sensitivity) -> float:
        """Return the width of a record's range."""
        record = self.runs.record(row.key)
        return record.high - record.low

    def closed_in(self, end: _End) -> Way:
        """Return the value nearest to the present one at which an input reaches the target."""
        row = end.row
        if row.kind == "choice":
            return end.way
        now, last = _number(row.now), _number(end.point)
        kind: Kind = self.runs.kind(row.key)
        value, figure = self._crossed(lambda x: {row.key: x}, now, last, kind, end.way.words) or (
            last,
            end.figure,
        )
        distance = abs(value - now) / self.width(row)
        return _way([row], [value], [f"{plain(value)}{in_unit(row.unit)}"], figure, distance)

    def both(self, one: _End, other: _End, part: float | None = None) -> dict[str, float]:
        """Return the values of two inputs at a part of the way to the corner; at the corner without one.

        Each goes as its own effect over its range tells, and no further than its end.
        """
        settings = {}
        for end in (one, other):
            now, last = _number(end.row.now), _number(end.point)
            gone = 1.0 if part is None else min(part * end.gain / end.distance**2, 1.0)
            value = now + gone * (last - now)
            if gone < 1 and self.runs.kind(end.row.key) == "whole":
                value = math.ceil(value) if last > now else math.floor(value)
            settings[end.row.key] = float(value)
        return settings

    def closed_in_on(self, one: _End, other: _End) -> Way:
        """Return the point nearest to the present values at which two inputs reach the target."""
        far = max(end.distance**2 / end.gain for end in (one, other))
        smooth = all(self.runs.only_priced(end.row.key) for end in (one, other))
        words = f"{one.way.words} and {other.way.words}"
        found = self._crossed(
            lambda part: self.both(one, other, part), 0.0, far, "smooth" if smooth else "steps", words
        )
        part = None if found is None else found[0]
        return self.way_of(one, other, self.both(one, other, part))

    def way_of(
        self, one: _End, other: _End, settings: Mapping[str, float], figure: float | None = None
    ) -> Way:
        """Return two inputs at some values as a way."""
        rows = [one.row, other.row]
        if figure is None:
            figure = self.target.figure(self.runs.at(settings))
        apart = [(settings[row.key] - _number(row.now)) / self.width(row) for row in rows]
        said = [f"{plain(settings[row.key])}{in_unit(row.unit)}" for row in rows]
        return _way(rows, [settings[row.key] for row in rows], said, figure, math.hypot(*apart))

    def _crossed(
        self,
        settings: Callable[[float], Mapping[str, float]],
        begin: float,
        end: float,
        kind: Kind,
        words: str,
    ) -> tuple[float, float] | None:
        """Return the place from `begin` to `end` where the target is first met, and the figure there."""

        def short(x: float) -> float:
            outcome = self.runs.now if x == begin else self.runs.at(settings(x))
            return self.target.figure(outcome) - self.target.amount

        share = SMOOTH_SHARE if kind == "smooth" else STEP_SHARE
        search = Search(short, share * abs(end - begin), self.zero, kind)
        refused: dict[float, str] = {}
        try:
            found = crossed(search, sorted((begin, end)), refused)
        except ModelError as error:
            self.refused.append((words, in_a_line(error)))
            return None
        if not found:
            return None
        first = found[0] if end > begin else found[-1]
        if end > begin:
            at = first.low if first.holds else first.high
        else:
            at = first.high if first.holds else first.low
        return float(at), search(at) + self.target.amount


def _number(point: Point) -> float:
    """Return the value of a record."""
    return float(point.value)


def _way(
    rows: Sequence[Sensitivity],
    values: Sequence[float | str],
    said: Sequence[str],
    figure: float,
    distance: float,
) -> Way:
    return Way(
        keys=tuple(row.key for row in rows),
        labels=tuple(row.label for row in rows),
        units=tuple(row.unit for row in rows),
        now=tuple(row.now.value for row in rows),
        values=tuple(values),
        said=tuple(said),
        figure=figure,
        distance=distance,
    )


def _nearest_of_each(ends: Sequence[_End]) -> list[_End]:
    """Return one end an input: the nearer where both reach the target."""
    nearest: dict[str, _End] = {}
    for end in ends:
        if end.row.key not in nearest or end.distance < nearest[end.row.key].distance:
            nearest[end.row.key] = end
    return list(nearest.values())


def _movers(ends: Sequence[_End], alone: set[str]) -> list[_End]:
    """Return the better end of the records that bring most towards the target without reaching it."""
    better: dict[str, _End] = {}
    for end in sorted(ends, key=lambda end: (-end.gain, end.row.key)):
        if end.row.kind == "record" and end.gain > 0 and end.row.key not in alone:
            better.setdefault(end.row.key, end)
    return list(better.values())[:MOST_PAIRED]


def _pairs(
    search: _Search, movers: Sequence[_End], progress: Progress | None, map: MapFunction | None
) -> tuple[list[Way], list[Way]]:
    """Return pairs that reach the target, closed in on, and every corner tried."""
    pairs = list(combinations(movers, 2))
    asks = [Ask(tuple(search.both(*pair).items())) for pair in pairs]
    answers = work_all(search.runs, asks, progress, map)
    corners, reaching = [], []
    for pair, answer in zip(pairs, answers, strict=True):
        if isinstance(answer, str):
            search.refused.append((" and ".join(end.way.words for end in pair), answer))
            continue
        figure = search.target.figure(answer)
        corners.append(search.way_of(*pair, search.both(*pair), figure))
        if search.reached(figure):
            reaching.append(pair)
    closed = []
    for done, pair in enumerate(reaching, start=1):
        closed.append(search.closed_in_on(*pair))
        if progress is not None:
            progress(done, len(reaching))
    return closed, corners
