"""What do the two methods come to with something changed?

Dates and money of both for any records set, priced over months that hold both, and nothing worked that the
change cannot reach. The figures are those of comparing the changed scenario.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final

from model.compare import Case, Comparison
from model.core.errors import ModelError, RangeError
from model.explain.breakeven import FIGURES
from model.explain.reach import Reach, check_settings, planned_with, reach_of
from model.explain.rerun import Change, Progress, priced, reaches_plan, replanned
from model.explain.roots import Kind, in_a_line
from model.explain.workers import BATCH, MapFunction
from model.inputs.assumption import Assumption
from model.inputs.scenario import Scenario
from model.inputs.wording import nearest
from model.money import Account, common_grid
from model.money.grid import MonthGrid
from model.pipeline import compare_methods, plan_method
from model.programme import Plan

WEEK_DAYS: Final = 7.0

COUNTS: Final = ("no.", "storeys", "people")
"""Units of what is counted in whole numbers, where a record's range is."""

REPAID: Final = 0.005
"""Debt at the end of the months below which a loan counts as repaid: half a penny. [GBP]"""


@dataclass(frozen=True, slots=True)
class Own:
    """One method's own figures.

    Attributes
    ----------
    weeks_to_first_handover, weeks_to_last_handover : float
        From the start on site. [weeks]
    profit, npv : float
        [GBP]
    """

    weeks_to_first_handover: float
    weeks_to_last_handover: float
    profit: float
    npv: float

    def of(self, figure: str) -> float:
        """Return one of `FIGURES`, the method's own. [GBP or weeks]"""
        return float(getattr(self, _ATTRIBUTES[figure]))


@dataclass(frozen=True, slots=True)
class Outcome:
    """Figures of the two methods, and the second against the first.

    Money is the second less the first; weeks are positive where the second is sooner.
    """

    first: Own
    second: Own

    @property
    def weeks_to_first_handover(self) -> float:
        """Weeks by which the second method's first handover is sooner."""
        return self.first.weeks_to_first_handover - self.second.weeks_to_first_handover

    @property
    def weeks_to_last_handover(self) -> float:
        """Weeks by which the second method's last handover is sooner."""
        return self.first.weeks_to_last_handover - self.second.weeks_to_last_handover

    @property
    def profit(self) -> float:
        """Profit of the second method less that of the first. [GBP]"""
        return self.second.profit - self.first.profit

    @property
    def npv(self) -> float:
        """Net present value of the second method less that of the first. [GBP]"""
        return self.second.npv - self.first.npv

    def of(self, figure: str) -> float:
        """Return the difference in one of `FIGURES`. [GBP or weeks]"""
        return float(getattr(self, _ATTRIBUTES[figure]))

    def saving_pct(self, figure: str) -> float:
        """Return weeks by which the second method is sooner, over the first method's weeks. [%]"""
        return 100.0 * self.of(figure) / self.first.of(figure)

    def as_json(self) -> dict[str, Any]:
        """Return the difference and each method's own figures, as the command line prints them."""
        own = {
            name: {
                "weeks_to_first_handover": figures.weeks_to_first_handover,
                "weeks_to_last_handover": figures.weeks_to_last_handover,
                "profit": figures.profit,
                "npv": figures.npv,
            }
            for name, figures in (("first", self.first), ("second", self.second))
        }
        difference = {name: getattr(self, name) for name in _ATTRIBUTES.values()}
        return {**difference, **own}


_ATTRIBUTES: Final = {
    "profit": "profit",
    "npv": "npv",
    "first handover": "weeks_to_first_handover",
    "last handover": "weeks_to_last_handover",
}


def check_figure(of: str) -> None:
    """Refuse a figure that is not one of `FIGURES`."""
    if of not in FIGURES:
        raise RangeError(f"The figure {of!r} is not known. Give one of {', '.join(FIGURES)}.")


@dataclass(frozen=True)
class Ask:
    """What is to be changed: records, something else, or the zones of each block.

    Attributes
    ----------
    settings : tuple of (str, float)
        Library records and their values, in the record's unit.
    change : Change or None
        What is no record: the order of work, cranes.
    zones : tuple of int
        Zones of each block's slabs; empty leaves them.
    """

    settings: tuple[tuple[str, float], ...] = ()
    change: Change | None = None
    zones: tuple[int, ...] = ()


class Runs:
    """The two methods of a comparison, worked with anything changed.

    Parameters
    ----------
    comparison : Comparison

    Attributes
    ----------
    now : Outcome
        As they stand.
    """

    def __init__(self, comparison: Comparison) -> None:
        self.comparison = comparison
        self.shown: tuple[Case, Case] = (comparison.first, comparison.second)
        self.others: tuple[Case, ...] = (*comparison.cases[2:], comparison.walls)
        self._reach = {case: reach_of(case.plan, case.site) for case in self.shown}
        self._latest: dict[Case, tuple[dict[str, float], tuple[Plan, bool]]] = {}
        self.now = Outcome(*(_own(case.plan, case.account) for case in self.shown))

    def record(self, key: str) -> Assumption:
        """Return a library record; one that is not known is refused, naming the nearest."""
        records = self.comparison.second.plan.values.library.records
        if key not in records:
            raise RangeError(
                f"The library holds no record {key!r}. "
                f"The nearest known one is {nearest(key, list(records))!r}."
            )
        return records[key]

    def value(self, key: str) -> float:
        """Return a record's present value: the second method's."""
        return self.comparison.second.plan.values[key]

    def moved(self, key: str) -> tuple[Case, ...]:
        """Return the cases for which a record is moved: all, or the second where it has its own value."""
        first, second = self.shown
        alone = first.plan.values[key] != second.plan.values[key]
        return (second,) if alone else (first, second)

    def reads(self, key: str) -> tuple[Case, ...]:
        """Return the cases for which a record is moved and whose dates or money rest on it."""
        return tuple(case for case in self.moved(key) if key in self._reach[case].read)

    def only_priced(self, key: str) -> bool:
        """Say whether no date of either method rests on a record."""
        return not any(key in self._reach[case].planned for case in self.moved(key))

    def kind(self, key: str) -> Kind:
        """Say how figures follow a record: smoothly where only prices read it, by steps or whole numbers."""
        record = self.record(key)
        counted = all(float(x).is_integer() for x in (record.low, record.value, record.high))
        if record.unit in COUNTS and counted:
            return "whole"
        return "smooth" if self.only_priced(key) else "steps"

    def at(self, settings: Mapping[str, float]) -> Outcome:
        """Return the outcome with some records set, as a scenario would set them.

        Parameters
        ----------
        settings : mapping of str to float
            In each record's unit.

        Raises
        ------
        ModelError
            If a value has no meaning, or the changed scenario cannot be worked out.
        """
        for key, value in settings.items():
            self.record(key)
            check_settings(self.comparison.second.plan, {key: value})
        return self._outcome(lambda case, anew: self._planned(case, self._settings(case, settings), anew))

    def answer(self, ask: Ask) -> Outcome:
        """Return the outcome of whatever is asked. Errors as `at`."""
        if ask.settings:
            return self.at(dict(ask.settings))
        if ask.zones:
            scenario = self.comparison.scenario
            blocks = tuple(
                replace(block, zones=zones) for block, zones in zip(scenario.blocks, ask.zones, strict=True)
            )
            divided = scenario.with_changes(blocks=blocks)
            return self._outcome(lambda case, anew: _Planned(_of(divided, case) if anew else case.plan))
        change = ask.change or Change()
        return self._outcome(lambda case, anew: _Planned(replanned(case.plan, change) if anew else case.plan))

    def _settings(self, case: Case, settings: Mapping[str, float]) -> dict[str, float]:
        """Return those of some settings that are made for a case."""
        second = self.comparison.second
        mine = {}
        for key, value in settings.items():
            alone = self.comparison.first.plan.values[key] != second.plan.values[key]
            if case is second if alone else case.plan.values[key] == second.plan.values[key]:
                mine[key] = value
        return mine

    def _planned(self, case: Case, settings: Mapping[str, float], anew: bool) -> _Planned:
        """Plan one case; `anew` is False for a case of which only the months of money are asked."""
        if not anew:
            more = {key: (value, "") for key, value in settings.items()}
            return _Planned(replace(case.plan, values=case.plan.values.with_overrides(more)))
        if case not in self._reach:
            return _Planned(replanned(case.plan, Change(settings=settings)) if settings else case.plan)
        reach: Reach = self._reach[case]
        prices = {key: value for key, value in settings.items() if not reaches_plan(key)}
        dates = {key: value for key, value in settings.items() if key not in prices}
        if not (prices and dates):
            plan, same = planned_with(case.plan, reach, settings)
        else:  # a grid asks for the same dates under one price after another
            if case not in self._latest or self._latest[case][0] != dates:
                self._latest[case] = dates, planned_with(case.plan, reach, dates)
            plan, same = self._latest[case][1]
            plan = replace(plan, values=plan.values.with_overrides({k: (v, "") for k, v in prices.items()}))
        return _Planned(plan, same and reach.priced.isdisjoint(settings))

    def _outcome(self, plan: Callable[[Case, bool], _Planned]) -> Outcome:
        """Price the two methods over common months.

        Months beyond the last repayment change nothing, so the cases that are not shown are planned again
        only where a loan is never repaid: interest then runs to the end of the months, which they share in.
        """
        shown = [plan(case, True) for case in self.shown]
        others = [plan(case, False).plan for case in self.others]
        accounts = self._accounts(shown, common_grid([*(one.plan for one in shown), *others]), False)
        if any(_unpaid(account) for account in accounts):
            others = [plan(case, True).plan for case in self.others]
            accounts = self._accounts(shown, common_grid([*(one.plan for one in shown), *others]), True)
        first, second = (_own(one.plan, account) for one, account in zip(shown, accounts, strict=True))
        return Outcome(first, second)

    def _accounts(self, shown: list[_Planned], grid: MonthGrid, exact: bool) -> list[Account]:
        """Price plans; a case that the change does not reach keeps its account where the months allow it."""
        accounts = []
        for case, one in zip(self.shown, shown, strict=True):
            known = case.account.grid
            longer = not exact and known.first == grid.first and not _unpaid(case.account)
            kept = one.same and (known == grid or longer)
            accounts.append(case.account if kept else priced(one.plan, case.site, grid))
        return accounts


def work_all(
    runs: Runs, asks: Sequence[Ask], progress: Progress | None = None, map: MapFunction | None = None
) -> list[Outcome | str]:
    """Work many cases.

    Parameters
    ----------
    runs : Runs
    asks : sequence of Ask
    progress : callable, optional
        Told cases done and cases in all.
    map : callable, optional
        One of `model.explain.workers`; without one, this process works them one after the other.

    Returns
    -------
    list of Outcome or str
        In the order asked; of what cannot be worked out, the reason.
    """
    if map is None:
        found: Iterable[list[Outcome | str]] = (_answers(runs, [ask]) for ask in asks)
    else:
        batches = (tuple(asks[first : first + BATCH]) for first in range(0, len(asks), BATCH))
        found = map(_work, [(runs.comparison.scenario, batch) for batch in batches])
    answers: list[Outcome | str] = []
    for batch in found:
        for answer in batch:
            answers.append(answer)
            if progress is not None:
                progress(len(answers), len(asks))
    return answers


def _answers(runs: Runs, asks: Sequence[Ask]) -> list[Outcome | str]:
    answers: list[Outcome | str] = []
    for ask in asks:
        try:
            answers.append(runs.answer(ask))
        except ModelError as error:
            answers.append(in_a_line(error))
    return answers


def _work(task: tuple[Scenario, tuple[Ask, ...]]) -> list[Outcome | str]:
    """Work some cases of a scenario in another process."""
    scenario, asks = task
    return _answers(_runs_of(scenario), asks)


@lru_cache(maxsize=1)
def _runs_of(scenario: Scenario) -> Runs:
    return Runs(compare_methods(scenario))


def _of(scenario: Scenario, case: Case) -> Plan:
    return plan_method(scenario, case.method)


@dataclass(frozen=True, slots=True)
class _Planned:
    """A plan, and whether neither it nor anything its price rests on is new."""

    plan: Plan
    same: bool = False


def _unpaid(account: Account) -> bool:
    return float(account.cash.facility.debt_at_end) > REPAID


def _own(plan: Plan, account: Account) -> Own:
    return Own(
        plan.first_handover / WEEK_DAYS,
        plan.last_handover / WEEK_DAYS,
        float(account.profit),
        float(account.npv),
    )
