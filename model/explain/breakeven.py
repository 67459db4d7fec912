"""At which value of one figure do the two methods come out even?

Any library record, and the number of cranes, is moved until a difference of the second method against the
first meets a target: a few values over its range first, then each change of sign is closed in on. Dates move
by steps, so that an answer there is two neighbouring values with the target between them. Where the target
cannot be reached, that is the answer, with what was found at both ends.

Signs as in `compare`: money is the second less the first; weeks are positive where the second is sooner.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from model.compare import Case, Comparison
from model.core.errors import RangeError
from model.core.units import is_money
from model.explain.levers import MOST_TOGETHER
from model.explain.rerun import Change, Progress, priced, reaches_plan, replanned
from model.explain.roots import POINTS, Crossing, Kind, Search, crossed
from model.inputs.assumption import Assumption
from model.inputs.method import Option, read_catalogue
from model.inputs.wording import in_unit, nearest
from model.money import common_grid
from model.money.payments import makes_panels
from model.programme import Plan

WEEK_DAYS: Final = 7.0

FIGURES: Final = {
    "profit": "GBP",
    "npv": "GBP",
    "first handover": "weeks",
    "last handover": "weeks",
}
"""What may be brought even, and its unit."""

FIGURE_WORDS: Final = {"npv": "net present value"}

READY: Final = {
    "premium": "What panels may cost beyond what they replace",
    "factory": "How late the factory may be",
    "reservations": "How slowly flats may be reserved",
    "interest": "What the loan may cost",
    "formwork": "What the deck may cost, in money or in hours",
    "cranes": "How many cranes",
}
"""Questions asked where no record is named."""

OUTSIDE: Final = 3
"""Values tried on each side of the range where nothing crosses within it."""

MOST_COUNTED: Final = 24
"""Widest range of a count of which every whole number is tried; so much further out, at most, is looked."""

LATEST: Final = 52.0
"""How late a factory is tried: a year. [weeks]"""

STEP_SHARE: Final = 1e-3
"""Width of the answer over the width of the range, where dates move by steps."""

SMOOTH_SHARE: Final = 1e-10
"""The same where only prices move."""

ZERO: Final = {"GBP": 0.01, "weeks": 1e-6}
"""How near the target counts as on it: a penny, about half a second."""

_COUNTS: Final = ("no.", "storeys", "people")


@dataclass(frozen=True)
class BreakEven:
    """At which value of a record a figure meets its target.

    Attributes
    ----------
    topic : str
        One of `READY`; ``record`` for a record that was named.
    key, label, unit : str
        The record that is moved; of the cranes, ``cranes.`` and the name of the crane.
    of : str
        One of `FIGURES`.
    first, second : str
        Ids of the methods; the difference is the second against the first. `first` is empty where the figure
        is the second's own.
    moved : tuple of str
        Ids of the methods for which the record is moved.
    value_now, difference_now, target : float
        Value of the record; the figure at it, and what it is to be.
    crossings : tuple of Crossing
        Where the figure meets the target.
    kind : str
        ``smooth``, ``steps`` or ``whole``: how the figure follows the record.
    tried : tuple of (float, float)
        Values tried before closing in, and the figure at each.
    known : tuple of float
        Range known for it.
    beyond : bool
        Whether values outside the range known for the record were tried.
    refused : tuple of (float, str)
        Values that cannot be worked out, and why.
    evaluations : int
        How many times the methods were worked again.
    relative_to : float or None
        A value from which the record is better counted, called `relative_label`.
    """

    topic: str
    key: str
    label: str
    unit: str
    of: str
    first: str
    second: str
    moved: tuple[str, ...]
    value_now: float
    difference_now: float
    target: float
    crossings: tuple[Crossing, ...]
    kind: Kind
    tried: tuple[tuple[float, float], ...]
    known: tuple[float, float]
    beyond: bool
    refused: tuple[tuple[float, str], ...]
    evaluations: int
    relative_to: float | None = None
    relative_label: str = ""

    @property
    def found(self) -> bool:
        """Whether the target is met anywhere; not where the record moves nothing."""
        return bool(self.crossings) and not self.flat

    @property
    def flat(self) -> bool:
        """Whether the figure is the same at every value tried."""
        figures = [figure for _value, figure in self.tried] + [self.difference_now]
        return max(figures) - min(figures) <= ZERO[FIGURES[self.of]]

    @property
    def roots(self) -> tuple[float, ...]:
        """Values of the record at which the figure meets the target; of a count, the first past it."""
        if not self.found:
            return ()
        return tuple(
            found.value if found.holds or self.kind != "whole" else found.high for found in self.crossings
        )

    @property
    def relative_roots(self) -> tuple[float, ...]:
        """`roots` counted from `relative_to`; none where there is no such value."""
        return () if self.relative_to is None else tuple(root - self.relative_to for root in self.roots)

    @property
    def low(self) -> tuple[float, float]:
        """Lowest value tried, and the figure there."""
        return self.tried[0]

    @property
    def high(self) -> tuple[float, float]:
        """Highest value tried, and the figure there."""
        return self.tried[-1]

    @property
    def what(self) -> str:
        """The figure in words."""
        words = FIGURE_WORDS.get(self.of, self.of)
        if not self.first:
            return f"{words} of {self.second}"
        if is_money(FIGURES[self.of]):
            return f"difference of {words}"
        return f"{words} of {self.second} against {self.first}"

    @property
    def reason(self) -> str:
        """Why no value brings the figure to its target; empty where one does."""
        if self.found:
            return ""
        within = [(value, figure) for value, figure in self.tried if self.known[0] <= value <= self.known[1]]
        (low, at_low), (high, at_high) = (within[0], within[-1]) if within else (self.low, self.high)
        if self.flat:
            why = (
                f"The {self.what} does not move with it: {self.said_figure(at_low)} at every value from "
                f"{self.said(low)} to {self.said(high)}."
            )
        else:
            where = " in the range known for it, nor beyond it" if self.beyond else " in the range tried"
            why = (
                f"The {self.what} cannot be brought to {self.said_figure(self.target)}{where}: "
                f"{self.said_figure(at_low)} at {self.said(low)}, {self.said_figure(at_high)} at "
                f"{self.said(high)}."
            )
            if self.kind == "whole" and len(self.tried) > 2:
                why += f" One by one: {self.one_by_one}."
        if self.refused:
            value, said = self.refused[0]
            more = len(self.refused) - 1
            also = f" and {more} more value{'' if more == 1 else 's'}" if more else ""
            why += f" At {self.said(value)}{also} it cannot be worked out: {said.split('. ')[0].rstrip('.')}."
        return why

    @property
    def words(self) -> str:
        """The answer in a sentence or two."""
        if not self.found:
            return f"{self.label}: {self.reason[:1].lower()}{self.reason[1:]}"
        target = self.said_figure(self.target)
        answers = " and ".join(
            f"{'is' if found.holds else 'passes'} {target} {self._said_crossing(found)}"
            for found in self.crossings
        )
        text = (
            f"{self.label}: the {self.what} {answers}; "
            f"{self.said_figure(self.difference_now)} at {self.said(self.value_now)} now."
        )
        return f"{text} That is outside the range known for it." if self.beyond else text

    @property
    def answer(self) -> str:
        """Every value at which the figure meets the target, with its unit; empty where there is none."""
        texts = (self._said_crossing(found) for found in self.crossings) if self.found else ()
        return "; ".join(text.removeprefix("at ") for text in texts)

    @property
    def one_by_one(self) -> str:
        """The figure at each value tried."""
        return ", ".join(f"{self.said_figure(figure)} at {self.said(value)}" for value, figure in self.tried)

    def said(self, value: float) -> str:
        """Return a value of the record with its unit."""
        return f"{plain(value)}{in_unit(self.unit)}"

    def said_figure(self, figure: float) -> str:
        """Return a figure that is brought even with its unit."""
        if is_money(FIGURES[self.of]):
            return f"{plain(round(figure), 15)} {FIGURES[self.of]}"
        size = round(abs(figure), 1)
        text = f"{plain(size)} week{'' if size == 1 else 's'}"
        if not self.first or size == 0:
            return text
        return f"{text} {'sooner' if figure > 0 else 'later'}"

    def _said_crossing(self, found: Crossing) -> str:
        ends = plain(found.low, 5), plain(found.high, 5)
        if found.low == found.high or ends[0] == ends[1]:
            text = f"at {self.said(found.value)}"
        else:
            text = (
                f"{'from' if found.holds else 'between'} {ends[0]} {'to' if found.holds else 'and'} {ends[1]}"
            )
            text += in_unit(self.unit)
        if self.relative_to is None:
            return text
        apart = found.value - self.relative_to
        side = "less" if apart < 0 else "more"
        return f"{text}, {plain(abs(apart), 3)}{in_unit(self.unit)} {side} than {self.relative_label}"

    def as_json(self) -> dict[str, Any]:
        """Return the answer as the command line prints it."""
        return {
            "topic": self.topic,
            "key": self.key,
            "label": self.label,
            "unit": self.unit,
            "of": self.of,
            "figure_unit": FIGURES[self.of],
            "first": self.first or None,
            "second": self.second,
            "moved_for": list(self.moved),
            "value_now": self.value_now,
            "figure_now": self.difference_now,
            "target": self.target,
            "found": self.found,
            "roots": [
                {
                    "value": root,
                    "low": found.low,
                    "high": found.high,
                    "holds": found.holds,
                    "from_relative": None if self.relative_to is None else root - self.relative_to,
                }
                for root, found in zip(self.roots, self.crossings, strict=False)
            ],
            "relative_to": self.relative_to,
            "relative_label": self.relative_label,
            "reason": self.reason,
            "words": self.words,
            "low": {"value": self.low[0], "figure": self.low[1]},
            "high": {"value": self.high[0], "figure": self.high[1]},
            "beyond_known_range": self.beyond,
            "tried": [{"value": value, "figure": figure} for value, figure in self.tried],
            "refused": [{"value": value, "reason": said} for value, said in self.refused],
            "evaluations": self.evaluations,
        }


def plain(value: float, digits: int = 4) -> str:
    """Return a number in plain figures, to some significant digits.

    Examples
    --------
    >>> plain(0.03125), plain(1234567.0), plain(-20.0), plain(0.0)
    ('0.03125', '1,234,567', '−20', '0')
    """
    if value == 0:
        return "0"
    places = min(max(digits - 1 - math.floor(math.log10(abs(value))), 0), 12)
    text = f"{value:,.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text.strip("-0.") == "" else text.replace("-", "−")


@dataclass(frozen=True)
class _Question:
    """What is moved, over which range, and how it changes a case."""

    topic: str
    key: str
    label: str
    unit: str
    now: float
    known: tuple[float, float]
    meaning: tuple[float, float]
    kind: Kind
    change: Callable[[float], Change]
    moved: tuple[bool, ...]
    relative_to: float | None = None
    relative_label: str = ""


def break_even(
    comparison: Comparison,
    key: str,
    *,
    of: str = "profit",
    target: float = 0.0,
    allowed: tuple[float, float] | None = None,
    method: str | None = None,
) -> BreakEven:
    """Find the value of a library record at which a figure meets a target.

    The record is moved for both methods, as a scenario would set it. Where they hold different values of it,
    it is moved for the second alone.

    Parameters
    ----------
    comparison : Comparison
    key : str
        Of any record of the library.
    of : str
        One of `FIGURES`: the difference of the second method against the first. Money is the second less
        the first; weeks are positive where the second is sooner.
    target : float
        What the figure is to be. [GBP or weeks]
    allowed : tuple of float, optional
        Least and greatest value tried; without it the range known for the record and, where nothing is found
        there, values further out as far as they have a meaning.
    method : str, optional
        Id of a method whose own figure is meant (money, or weeks from the start on site), moved alone.

    Returns
    -------
    BreakEven

    Raises
    ------
    RangeError
        If the key, the figure or the method is not known, or a value has no meaning.
    ModelError
        If no value of the record can be worked out.
    """
    question = _of_record(comparison, key, "record", method)
    if allowed is not None:
        question = _within(question, allowed)
    return _answer(comparison, question, of, target, method)


def ready_break_evens(
    comparison: Comparison, of: str = "profit", progress: Progress | None = None, *, target: float = 0.0
) -> tuple[BreakEven, ...]:
    """Answer the questions of `READY`, as far as the two methods have what they ask about.

    Parameters
    ----------
    comparison : Comparison
    of : str
        As in `break_even`; of dates, only what moves them is asked.
    progress : callable, optional
        Told questions done and questions in all.
    target : float
        As in `break_even`.

    Returns
    -------
    tuple of BreakEven
    """
    _check(comparison, of, target, None)
    questions = list(_questions(comparison, of))
    answers = []
    for done, question in enumerate(questions, start=1):
        answers.append(_answer(comparison, question, of, target, None))
        if progress is not None:
            progress(done, len(questions))
    return tuple(answers)


def _questions(comparison: Comparison, of: str) -> Iterator[_Question]:
    """Yield the ready questions, in the order of `READY`; of dates, only what moves them."""
    second, dates = comparison.second, not is_money(FIGURES[of])
    options = [read_catalogue().options[choice] for choice in second.method.options]
    if not dates:
        for option in options:
            if option.panels and option.replaces != option.id:
                yield _premium(comparison, option)
    if any(makes_panels(case.plan) for case in (comparison.first, second)):
        question = _of_record(comparison, "factory.lead", "factory", None, "planned")
        late = (question.now, min(question.now + LATEST, question.meaning[1]))
        yield _within(question, late)
    if not dates:
        yield _of_record(comparison, "money.reservations_per_month", "reservations", None)
        yield _of_record(comparison, "money.debt_rate_pct", "interest", None)
    for option in options:
        if option.has_sets:
            for key in _hours(option) if dates else [f"{option.key}.rate"]:
                yield _of_record(comparison, key, "formwork", None)
    yield from _cranes(comparison)


def _premium(comparison: Comparison, option: Option) -> _Question:
    replaced = read_catalogue().options[option.element, option.replaces]
    values = comparison.second.plan.values
    label = replaced.label[:1].lower() + replaced.label[1:]
    question = _of_record(comparison, f"{option.key}.rate", "premium", None, label)
    return _counted_from(question, values[f"{replaced.key}.rate"])


def _hours(option: Option) -> list[str]:
    """Return the labour records of the work that no other option of the element brings."""
    catalogue = read_catalogue()
    shared = {
        name
        for other in catalogue.options.values()
        if other.element == option.element and other.id != option.id
        for name in other.activities
    }
    own = [catalogue.activities[name] for name in option.activities if name not in shared]
    return [f"{activity.key}.hours" for activity in own if activity.timed_by == "hours"]


def _cranes(comparison: Comparison) -> Iterator[_Question]:
    for crane in comparison.scenario.served:
        ends = (1.0, float(max(MOST_TOGETHER, crane.number)))

        def change(number: float, name: str = crane.name) -> Change:
            return Change(crane_numbers={name: round(number)})

        yield _Question(
            topic="cranes",
            key=f"cranes.{crane.name}",
            label=f"Cranes working together: {crane.name}",
            unit="no.",
            now=float(crane.number),
            known=ends,
            meaning=ends,
            kind="whole",
            change=change,
            moved=(True,) * (len(comparison.cases) + 1),
        )


def _of_record(
    comparison: Comparison, key: str, topic: str, method: str | None, relative_label: str = ""
) -> _Question:
    """Ask about a library record; counted from its present value where a label for that is given."""
    case = _case_of(comparison, method)
    records = case.plan.values.library.records
    if key not in records:
        raise RangeError(
            f"The library holds no record {key!r}. The nearest known one is {nearest(key, list(records))!r}."
        )
    record, now = records[key], case.plan.values[key]
    alone = method is not None or comparison.first.plan.values[key] != now
    plans = [other.plan for other in (*comparison.cases, comparison.walls)]
    moved = tuple(
        plan is case.plan if alone else plan.values[key] == now and touches(plan, key) for plan in plans
    )
    return _Question(
        topic=topic,
        key=key,
        label=record.label,
        unit=record.unit,
        now=now,
        known=(min(record.low, now), max(record.high, now)),
        meaning=record.allowed(),
        kind=_kind(record),
        change=lambda value: Change(settings={key: value}),
        moved=moved,
        relative_to=now if relative_label else None,
        relative_label=relative_label,
    )


def _counted_from(question: _Question, value: float) -> _Question:
    return replace(question, relative_to=value)


def _within(question: _Question, allowed: tuple[float, float]) -> _Question:
    """Return the question over another range."""
    low, high = allowed
    least, most = question.meaning
    if not least <= low < high <= most:
        raise RangeError(
            f"{question.key} cannot be looked for from {low:g} to {high:g}; {least:g} to {most:g} has a "
            "meaning. Give two values between them, the lower one first."
        )
    return replace(question, known=allowed, meaning=allowed)


def _kind(record: Assumption) -> Kind:
    """Say how figures follow a record: smoothly where only prices read it, else by steps."""
    counted = all(float(x).is_integer() for x in (record.low, record.value, record.high))
    if record.unit in _COUNTS and counted and record.high - record.low <= MOST_COUNTED:
        return "whole"
    return "steps" if reaches_plan(record.key) else "smooth"


def touches(plan: Plan, key: str) -> bool:
    """Say whether a plan can depend on a record: not on those of an option or work that it lacks.

    Parameters
    ----------
    plan : Plan
    key : str
        Of a library record.

    Returns
    -------
    bool
        True where it is not known.
    """
    table, *rest = key.split(".")
    catalogue = read_catalogue()
    if table == "option":
        chosen = catalogue.options[rest[0], plan.method.option(rest[0])]
        return rest[1] in (chosen.id, chosen.replaces)
    if table == "factory":
        return makes_panels(plan)
    if table == "activity":
        names = (name.split(":")[1] for name in plan.network.groups[: plan.network.activities])
        return rest[0] in {catalogue.activities[name].figures for name in names}
    return True


def _case_of(comparison: Comparison, method: str | None) -> Case:
    if method is None:
        return comparison.second
    for case in comparison.cases:
        if case.method.id == method:
            return case
    known = ", ".join(case.method.id for case in comparison.cases)
    raise RangeError(f"No method {method!r} is compared. There are: {known}. Give one of these.")


def _check(comparison: Comparison, of: str, target: float, method: str | None) -> None:
    if of not in FIGURES:
        raise RangeError(f"The figure {of!r} is not known. Give one of {', '.join(FIGURES)}.")
    if not math.isfinite(target):
        raise RangeError(
            f"The target must be a finite number of {FIGURES[of]}; got {target:g}. Give 0 to come out even."
        )
    _case_of(comparison, method)


class _Runs:
    """The figure that is brought even, less its target, at any value of what is moved."""

    def __init__(
        self, comparison: Comparison, question: _Question, of: str, target: float, method: str | None
    ) -> None:
        self.question, self.of, self.target = question, of, target
        self.cases = (*comparison.cases, comparison.walls)
        self.shown: tuple[Case, ...] = (comparison.first, comparison.second)
        if method is not None:
            self.shown = (_case_of(comparison, method),)
        self.worked = 0

    def __call__(self, value: float) -> float:
        if value == self.question.now:
            return self.now
        self.worked += 1
        change = self.question.change(value)
        money = is_money(FIGURES[self.of])
        plans = {
            case: replanned(case.plan, change) if moved else case.plan
            for case, moved in zip(self.cases, self.question.moved, strict=True)
            if money or case in self.shown
        }
        if money:
            return self._apart([self._money(case, plans) for case in self.shown])
        return self._apart([_weeks(plans[case], self.of) for case in self.shown])

    @property
    def now(self) -> float:
        """The figure as it stands, less the target."""
        if is_money(FIGURES[self.of]):
            return self._apart([float(getattr(case.account, self.of)) for case in self.shown])
        return self._apart([_weeks(case.plan, self.of) for case in self.shown])

    def _money(self, case: Case, plans: dict[Case, Plan]) -> float:
        grid = common_grid(list(plans.values()))
        same = plans[case] is case.plan and grid == case.account.grid
        account = case.account if same else priced(plans[case], case.site, grid)
        return float(getattr(account, self.of))

    def _apart(self, figures: Sequence[float]) -> float:
        if len(figures) == 1:
            return figures[0] - self.target
        first, second = figures
        apart = second - first if is_money(FIGURES[self.of]) else first - second
        return apart - self.target


def _weeks(plan: Plan, of: str) -> float:
    day = plan.first_handover if of == "first handover" else plan.last_handover
    return day / WEEK_DAYS


def _answer(
    comparison: Comparison, question: _Question, of: str, target: float, method: str | None
) -> BreakEven:
    """Try the range known, then what lies beyond it, and close in on every crossing."""
    _check(comparison, of, target, method)
    runs = _Runs(comparison, question, of, target, method)
    low, high = question.known
    width = (high - low) or abs(high) or 1.0
    share = SMOOTH_SHARE if question.kind == "smooth" else STEP_SHARE
    search = Search(runs, share * width, ZERO[FIGURES[of]], question.kind)
    refused: dict[float, str] = {}
    values = _values(question)
    found = crossed(search, values, refused)
    beyond = not found and question.meaning != question.known
    if beyond:
        values = sorted({*values, *_outside(question)})
        found = crossed(search, values, refused)
    worked = [value for value in values if value not in refused]
    if not worked:
        raise RangeError(
            f"{question.key} cannot be worked out at any value from {low:g} to {high:g}: "
            f"{next(iter(refused.values()))}"
        )
    ids = [case.method.id for case in runs.shown]
    names = [case.method.id for case in runs.cases]
    return BreakEven(
        topic=question.topic,
        key=question.key,
        label=question.label,
        unit=question.unit,
        of=of,
        first=ids[0] if method is None else "",
        second=ids[-1],
        moved=tuple(
            name for name, moved in zip(names[:-1], question.moved, strict=False) if moved and name in ids
        ),
        value_now=question.now,
        difference_now=runs.now + target,
        target=target,
        crossings=found,
        kind=question.kind,
        tried=tuple((value, search.known[value] + target) for value in worked),
        known=question.known,
        beyond=beyond,
        refused=tuple(refused.items()),
        evaluations=runs.worked,
        relative_to=question.relative_to,
        relative_label=question.relative_label,
    )


def _values(question: _Question) -> list[float]:
    """Return the values tried over the range known, the present one among them."""
    low, high = question.known
    if question.kind == "whole" and high - low <= MOST_COUNTED:
        spread = np.arange(math.ceil(low), math.floor(high) + 1, dtype=float)
    else:
        spread = np.linspace(low, high, POINTS)
    values = {float(value) for value in spread}
    return sorted(values | {question.now}) if low <= question.now <= high else sorted(values)


def _outside(question: _Question) -> list[float]:
    """Return values further out, each side, as far as they have a meaning."""
    (low, high), (least, most) = question.known, question.meaning
    if question.kind == "whole":
        least, most = max(least, low - MOST_COUNTED), min(most, high + MOST_COUNTED)
    out = [*_outward(low, least), *_outward(high, most)]
    return [float(math.floor(x + 0.5)) for x in out] if question.kind == "whole" else out


def _outward(edge: float, limit: float) -> list[float]:
    """Return values from the edge of a range to a limit: by equal ratios, or by equal steps through zero."""
    if edge == limit:
        return []
    if edge > 0 and limit > 0:
        spread = np.geomspace(edge, limit, OUTSIDE + 1)[1:]
    else:
        spread = np.linspace(edge, limit, OUTSIDE + 1)[1:]
    return [*(float(x) for x in spread[:-1]), float(limit)]
