"""Which single inputs move the comparison most?

Each record goes to the low and the high end of its own range, everything else held, and the two methods are
worked again; so are a few choices that are no record. One at a time: what two changes do together is asked in
`two_way`. The ranges are those of the library, so a long bar may be a wide range rather than a strong effect.

Signs as in `compare`: money is the second less the first; weeks are positive where the second is sooner.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import pandas as pd

from model.compare import Comparison
from model.explain.breakeven import FIGURES, plain
from model.explain.levers import MOST_TOGETHER
from model.explain.outcomes import Ask, Outcome, Runs, check_figure, work_all
from model.explain.rerun import Change, Progress
from model.explain.workers import MapFunction
from model.inputs.scenario import PRIORITIES, Scenario
from model.inputs.wording import in_unit

STILL: Final = {"GBP": 0.005, "weeks": 1e-9}
"""Swing below which a figure counts as not moved: half a penny; less than a millisecond."""

PRIORITY_WORDS: Final = {
    "together": "the last handover first",
    "each block": "each block's own handover first",
}


@dataclass(frozen=True, slots=True)
class Point:
    """A value of what is moved, and what comes of it.

    Attributes
    ----------
    value : float or str
        In the record's unit, or a word.
    said : str
        The value in words.
    outcome : Outcome
    """

    value: float | str
    said: str
    outcome: Outcome


@dataclass(frozen=True)
class Sensitivity:
    """One input at both ends of its range.

    Attributes
    ----------
    kind : str
        ``record`` of the library, or ``choice``.
    key, label, unit : str
        Of a choice, ``choice.`` and its name; its unit may be empty.
    evidence : str
        Grade of a record's evidence; empty for a choice.
    moved : tuple of str
        Ids of the methods for which it is moved; the second alone where the two hold values of their own.
    now : Point
        As it stands.
    low, high : Point or None
        At the ends; None where there is no such side, or the case cannot be worked out (`refused`).
    refused : tuple of (float or str, str)
        Values that cannot be worked out, and why.
    only_priced : bool
        Whether no date rests on it.
    """

    kind: Literal["record", "choice"]
    key: str
    label: str
    unit: str
    evidence: str
    moved: tuple[str, ...]
    now: Point
    low: Point | None
    high: Point | None
    refused: tuple[tuple[float | str, str], ...] = ()
    only_priced: bool = False

    @property
    def points(self) -> tuple[Point, ...]:
        """What could be worked out, from low to high; the present value need not lie between."""
        return tuple(point for point in (self.low, self.now, self.high) if point is not None)

    def swing(self, of: str) -> float:
        """Return the greatest less the least difference found, in one of `FIGURES`. [GBP or weeks]"""
        figures = [point.outcome.of(of) for point in self.points]
        return max(figures) - min(figures)

    def moves(self, of: str) -> tuple[float | None, float | None]:
        """Return what the low and the high end change the difference by. [GBP or weeks]"""
        now = self.now.outcome.of(of)
        low, high = (None if end is None else end.outcome.of(of) - now for end in (self.low, self.high))
        return low, high

    def as_json(self) -> dict[str, Any]:
        """Return the row as the command line prints it."""
        ends = {
            name: None
            if point is None
            else {"value": point.value, "said": point.said, **point.outcome.as_json()}
            for name, point in (("now", self.now), ("low", self.low), ("high", self.high))
        }
        return {
            "kind": self.kind,
            "key": self.key,
            "label": self.label,
            "unit": self.unit,
            "evidence": self.evidence,
            "moved_for": list(self.moved),
            "only_priced": self.only_priced,
            "swing": {of.replace(" ", "_"): self.swing(of) for of in FIGURES},
            **ends,
            "refused": [{"value": value, "reason": said} for value, said in self.refused],
        }


@dataclass(frozen=True)
class Sensitivities:
    """Every input moved by itself.

    Attributes
    ----------
    first, second : str
        Ids of the methods.
    now : Outcome
        As they stand.
    rows : tuple of Sensitivity
        In order of the records, choices last.
    unread : tuple of str
        Records asked for that neither method reads: they change nothing.
    fixed : tuple of str
        Records asked for whose range has no width about the present value.
    worked : int
        Cases worked.
    """

    first: str
    second: str
    now: Outcome
    rows: tuple[Sensitivity, ...]
    unread: tuple[str, ...]
    fixed: tuple[str, ...]
    worked: int

    def ranked(self, of: str = "profit") -> tuple[Sensitivity, ...]:
        """Return what moves a figure, the widest swing first; ties by key.

        Parameters
        ----------
        of : str
            One of `FIGURES`.

        Raises
        ------
        RangeError
            If the figure is not known.
        """
        check_figure(of)
        moving = [row for row in self.rows if row.swing(of) > STILL[FIGURES[of]]]
        return tuple(sorted(moving, key=lambda row: (-row.swing(of), row.key)))

    def row(self, key: str) -> Sensitivity:
        """Return the row of a key."""
        return next(row for row in self.rows if row.key == key)

    @property
    def refused(self) -> tuple[tuple[str, float | str, str], ...]:
        """Key, value and reason of every case that cannot be worked out."""
        return tuple((row.key, value, said) for row in self.rows for value, said in row.refused)

    def frame(self, of: str = "profit") -> pd.DataFrame:
        """Return the ranked rows for a chart or a table.

        Columns key, label, unit, evidence, low, now, high (values; words of a choice), at_low, at_now,
        at_high (the difference), swing, first_low, first_now, first_high, second_low, second_now,
        second_high (each method's own profit or weeks). Missing where there is no such side.
        """
        rows = []
        for row in self.ranked(of):
            ends = {"low": row.low, "now": row.now, "high": row.high}
            outcomes = {name: None if end is None else end.outcome for name, end in ends.items()}
            rows.append(
                {
                    "key": row.key,
                    "label": row.label,
                    "unit": row.unit,
                    "evidence": row.evidence,
                    **{name: None if end is None else end.value for name, end in ends.items()},
                    **{
                        f"at_{name}": None if outcome is None else outcome.of(of)
                        for name, outcome in outcomes.items()
                    },
                    "swing": row.swing(of),
                    **{
                        f"{which}_{name}": None if outcome is None else getattr(outcome, which).of(of)
                        for which in ("first", "second")
                        for name, outcome in outcomes.items()
                    },
                }
            )
        return pd.DataFrame(rows)

    def as_json(self, of: str = "profit") -> dict[str, Any]:
        """Return the ranked rows as the command line prints them."""
        return {
            "first": self.first,
            "second": self.second,
            "of": of,
            "now": self.now.as_json(),
            "rows": [row.as_json() for row in self.ranked(of)],
            "refused": [{"key": key, "value": value, "reason": said} for key, value, said in self.refused],
            "unread": list(self.unread),
            "fixed": list(self.fixed),
        }


def one_at_a_time(
    comparison: Comparison,
    keys: Sequence[str] | None = None,
    progress: Progress | None = None,
    *,
    map: MapFunction | None = None,
) -> Sensitivities:
    """Move each input to both ends of its range, everything else held.

    Records that neither method reads are left out, those that only prices read are priced again, and of the
    others only what rests on them is planned again. A record that the scenario sets keeps that value as its
    present one; the ends are the library's.

    Parameters
    ----------
    comparison : Comparison
    keys : sequence of str, optional
        Library records, or choices as ``choice.priority``, ``choice.zones``, ``choice.cranes.NAME``. Without
        them, every record that the two methods read and whose range has width, and every choice.
    progress : callable, optional
        Told cases done and cases in all.
    map : callable, optional
        One of `model.explain.workers`, to work in several processes or on a cluster, with the same results.

    Returns
    -------
    Sensitivities

    Raises
    ------
    RangeError
        If a key is not known.
    """
    runs = Runs(comparison)
    chosen = _records(runs, keys)
    choices = [choice for choice in _choices(runs) if keys is None or choice.key in keys]
    unread = tuple(key for key in chosen if not runs.reads(key))
    ends = {key: _ends(runs, key) for key in chosen if key not in unread}
    asks = [Ask(((key, value),)) for key, values in ends.items() for value in values]
    asks += [side.ask for choice in choices for side in choice.sides]
    answers = iter(work_all(runs, asks, progress, map))
    rows = [_record_row(runs, key, values, answers) for key, values in ends.items() if values]
    rows += [_choice_row(runs, choice, answers) for choice in choices]
    return Sensitivities(
        first=comparison.first.method.id,
        second=comparison.second.method.id,
        now=runs.now,
        rows=tuple(rows),
        unread=unread,
        fixed=tuple(key for key, values in ends.items() if not values),
        worked=len(asks),
    )


def _records(runs: Runs, keys: Sequence[str] | None) -> list[str]:
    """Return the records to move, in the library's order; keys that are not known are refused."""
    records = runs.comparison.second.plan.values.library.records
    if keys is None:
        return [key for key in records if runs.reads(key) and _ends(runs, key)]
    choices = {choice.key for choice in _choices(runs)}
    for key in keys:
        if key not in choices:
            runs.record(key)
    return list(dict.fromkeys(key for key in keys if key not in choices))


def _ends(runs: Runs, key: str) -> tuple[float, ...]:
    """Return the ends of a record's range that are not its present value, low first."""
    record = runs.record(key)
    if record.low == record.high:
        return ()
    return tuple(end for end in (record.low, record.high) if end != runs.value(key))


def _record_row(
    runs: Runs, key: str, ends: tuple[float, ...], answers: Iterator[Outcome | str]
) -> Sensitivity:
    """Return the row of a record from the answers at its ends, in their order."""
    record, value = runs.record(key), runs.value(key)
    now = Point(value, f"{plain(value)}{in_unit(record.unit)}", runs.now)
    points: dict[float, Point | None] = {value: now}
    refused: list[tuple[float | str, str]] = []
    for end in ends:
        answer = next(answers)
        if isinstance(answer, str):
            refused.append((end, answer))
        else:
            points[end] = Point(end, f"{plain(end)}{in_unit(record.unit)}", answer)
    return Sensitivity(
        kind="record",
        key=key,
        label=record.label,
        unit=record.unit,
        evidence=record.evidence,
        moved=tuple(case.method.id for case in runs.moved(key)),
        now=now,
        low=points.get(record.low),
        high=points.get(record.high),
        refused=tuple(refused),
        only_priced=runs.only_priced(key),
    )


@dataclass(frozen=True)
class _Side:
    """One other way a choice could go."""

    value: float | str
    said: str
    ask: Ask
    is_high: bool = True


@dataclass(frozen=True)
class _Choice:
    """What may be chosen otherwise, and is no record."""

    key: str
    label: str
    unit: str
    value: float | str
    said: str
    sides: tuple[_Side, ...]


def _choices(runs: Runs) -> tuple[_Choice, ...]:
    """Return the choices that the development has: order of work, zones, cranes."""
    scenario = runs.comparison.scenario
    return (*_priority(scenario), *_zones(runs), *_cranes(scenario))


def _priority(scenario: Scenario) -> Iterator[_Choice]:
    if len(scenario.blocks) < 2:
        return
    now = scenario.development.priority
    sides = tuple(
        _Side(word, PRIORITY_WORDS[word], Ask(change=Change(priority=word)))
        for word in PRIORITIES
        if word != now
    )
    yield _Choice("choice.priority", "Order of work", "", now, PRIORITY_WORDS[now], sides)


def _zones(runs: Runs) -> Iterator[_Choice]:
    """Yield one pour a slab more or fewer in every block, the same for every method."""
    zones = runs.comparison.first.takeoff.layout.zones

    sides = []
    for step in (-1, 1):
        numbers = tuple(max(number + step, 1) for number in zones)
        if numbers != zones:
            said = f"{', '.join(map(str, numbers))} (one {'more' if step > 0 else 'fewer'})"
            sides.append(_Side(float(step), said, Ask(zones=numbers), step > 0))
    said = ", ".join(map(str, zones))
    yield _Choice("choice.zones", "Zones a slab is poured in, by block", "no.", 0.0, said, tuple(sides))


def _cranes(scenario: Scenario) -> Iterator[_Choice]:
    for crane in scenario.served:
        sides = tuple(
            _Side(
                float(number),
                str(number),
                Ask(change=Change(crane_numbers={crane.name: number})),
                number > crane.number,
            )
            for number in (crane.number - 1, crane.number + 1)
            if 1 <= number <= MOST_TOGETHER
        )
        label = f"Cranes working together: {crane.name}"
        now = float(crane.number)
        yield _Choice(f"choice.cranes.{crane.name}", label, "no.", now, str(crane.number), sides)


def _choice_row(runs: Runs, choice: _Choice, answers: Iterator[Outcome | str]) -> Sensitivity:
    """Return the row of a choice from the answers of its sides, in their order."""
    points: dict[bool, Point] = {}
    refused: list[tuple[float | str, str]] = []
    for side in choice.sides:
        answer = next(answers)
        if isinstance(answer, str):
            refused.append((side.value, answer))
        else:
            points[side.is_high] = Point(side.value, side.said, answer)
    return Sensitivity(
        kind="choice",
        key=choice.key,
        label=choice.label,
        unit=choice.unit,
        evidence="",
        moved=tuple(case.method.id for case in runs.shown),
        now=Point(choice.value, choice.said, runs.now),
        low=points.get(False),
        high=points.get(True),
        refused=tuple(refused),
    )
