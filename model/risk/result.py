"""How early, how late, how dear: what the draws of a comparison come to.

Percentiles with the error of having drawn only so many, chances, and which figure drives the difference.
Weeks and savings are positive where the second method is sooner; money is the second less the first. Draws
are common to all methods, so differences are taken run by run.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from model.compare import Comparison
from model.compare.contrast import tool_version
from model.core.errors import RangeError
from model.inputs.method import read_catalogue
from model.risk.bias import SENTENCE, allowances, optimism_bias
from model.risk.factors import EVENTS, FACTORS, PRICES, Draws, on_site_trades
from model.risk.money import last_of_blocks
from model.risk.sampling import percentiles, rank_correlations

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FEWEST_RUNS: Final = 10
"""Below this there are no percentiles."""

WEEK: Final = 7.0

MEASURES: Final = ("weeks_to_first_handover", "weeks_to_last_handover", "profit", "npv")

DRIVEN: Final = {"weeks": "weeks_to_last_handover", "profit": "profit"}
"""Differences whose drivers are told."""


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What the draws of one method come to, one row a run; written once a run is priced.

    Attributes
    ----------
    id, label : str
    handovers : array, shape (runs, sections)
        [days from start on site]
    profit, npv : array, shape (runs,)
        [GBP]
    """

    id: str
    label: str
    handovers: Floats
    profit: Floats
    npv: Floats


@dataclass(frozen=True)
class Driver:
    """How far one figure goes with a difference between two methods, over the draws.

    Attributes
    ----------
    key : str
        Record, or what the figure belongs to.
    label : str
        In the reader's words.
    on : str
        ``weeks`` or ``profit``.
    rank_correlation : float
        Above 0: the more of it, the more the second method gains. [-1 to 1]
    """

    key: str
    label: str
    on: str
    rank_correlation: float


@dataclass(frozen=True, eq=False)
class Risk:
    """Drawn outcomes of a comparison.

    Attributes
    ----------
    comparison : Comparison
    draws : tuple of Draws
        One a method.
    with_weather : bool
        Whether dates got weather drawn.
    methods : tuple of Outcomes
    done : array of bool, shape (runs,)
        Runs that are priced; the others stand at 0.
    weather : array, shape (runs, 2)
        Share of open dates worked in the open, and of hook hours flown. [-]
    """

    comparison: Comparison
    draws: tuple[Draws, ...]
    with_weather: bool
    methods: tuple[Outcomes, ...]
    done: Bools
    weather: Floats

    @classmethod
    def empty(cls, comparison: Comparison, draws: tuple[Draws, ...], with_weather: bool) -> Risk:
        """Return a result without a run done."""
        runs = draws[0].design.runs
        methods = tuple(
            Outcomes(
                case.method.id,
                case.method.label,
                np.zeros((runs, case.plan.ready_by_section.size)),
                np.zeros(runs),
                np.zeros(runs),
            )
            for case in comparison.cases
        )
        return cls(comparison, draws, with_weather, methods, np.zeros(runs, dtype=bool), np.zeros((runs, 2)))

    @property
    def runs(self) -> int:
        """Runs of the design."""
        return int(self.done.size)

    @property
    def seed(self) -> int:
        """Seed of the design."""
        return self.draws[0].design.seed

    @property
    def runs_done(self) -> int:
        """Runs that are priced."""
        return int(self.done.sum())

    @property
    def complete(self) -> bool:
        """Whether every run is."""
        return bool(self.done.all())

    def write(
        self, method: int, runs: NDArray[np.int64], handovers: Floats, profit: Floats, npv: Floats
    ) -> None:
        """Write down some runs of a method."""
        mine = self.methods[method]
        mine.handovers[runs], mine.profit[runs], mine.npv[runs] = handovers, profit, npv

    def copy(self) -> Risk:
        """Return the result as it stands, to be looked at while more runs are done."""
        methods = tuple(
            replace(m, handovers=m.handovers.copy(), profit=m.profit.copy(), npv=m.npv.copy())
            for m in self.methods
        )
        return replace(self, methods=methods, done=self.done.copy(), weather=self.weather.copy())

    def with_part(self, other: Risk) -> Risk:
        """Return the runs of both results, of which each was a part of one design.

        Raises
        ------
        RangeError
            If they are not of one scenario, number of runs and seed.
        """
        mine, theirs = (
            (r.comparison.scenario.fingerprint(), r.runs, r.seed, r.with_weather) for r in (self, other)
        )
        if mine != theirs:
            raise RangeError(
                f"Parts of different simulations cannot be put together: {self.runs:,} runs of seed "
                f"{self.seed}, and {other.runs:,} of seed {other.seed}. Run both for the same scenario, runs "
                "and seed."
            )
        both = self.copy()
        runs = np.flatnonzero(other.done)
        for k, m in enumerate(other.methods):
            both.write(k, runs, m.handovers[runs], m.profit[runs], m.npv[runs])
        both.weather[runs] = other.weather[runs]
        both.done[runs] = True
        return both

    def of(self, method: int, measure: str) -> Floats:
        """Return a measure of a method, one value a run done; names as in `MEASURES`. [weeks, GBP]"""
        mine = self.methods[method]
        if measure == "weeks_to_first_handover":
            return np.asarray(mine.handovers[self.done].min(axis=1) / WEEK)
        if measure == "weeks_to_last_handover":
            return np.asarray(mine.handovers[self.done].max(axis=1) / WEEK)
        if measure not in MEASURES:
            raise RangeError(f"A measure is one of {', '.join(MEASURES)}; got {measure!r}.")
        return np.asarray(getattr(mine, measure)[self.done])

    def difference(self, measure: str) -> Floats:
        """Return the second method against the first, one value a run done; signs as in `compare`."""
        first, second = self.of(0, measure), self.of(1, measure)
        return first - second if measure.startswith("weeks") else second - first

    def weeks_to_ready(self, method: int) -> Floats:
        """Return when each block is ready, shape (runs done, blocks). [weeks]"""
        plan = self.comparison.cases[method].plan
        return last_of_blocks(plan, self.methods[method].handovers[self.done]) / WEEK

    def chance_past_longstop(self, method: int) -> float:
        """Return the share of runs whose last handover is after the longstop date."""
        start = self.comparison.scenario.development.start
        allowed = (self.comparison.longstop - start).days
        date = np.maximum(np.ceil(self.of(method, "weeks_to_last_handover") * WEEK - 1e-9) - 1, 0)
        return float(np.mean(date > allowed))

    @property
    def chance_later(self) -> float:
        """Share of runs in which the second method hands over last later than the first."""
        return float(np.mean(self.difference("weeks_to_last_handover") < 0))

    @property
    def chance_dearer(self) -> float:
        """Share of runs in which the second method earns less than the first."""
        return float(np.mean(self.difference("profit") < 0))

    def run_at(self, measure: str, share: float, method: int | None = None) -> int:
        """Return the run that stands at a percentile: open it with `case_of_draw`.

        Parameters
        ----------
        measure : str
            One of `MEASURES`.
        share : float
            0.5 for the middle. [0 to 1]
        method : int, optional
            Method whose own measure is meant; the difference if left out.

        Returns
        -------
        int
        """
        if not 0.0 <= share <= 1.0:
            raise RangeError(f"A percentile's share must be 0 to 1; got {share:g}. Write 80 % as 0.80.")
        figures = self.difference(measure) if method is None else self.of(method, measure)
        order = np.argsort(figures, kind="stable")
        return int(np.flatnonzero(self.done)[order[round(share * (order.size - 1))]])

    def drivers(self) -> tuple[Driver, ...]:
        """Return what drives the differences, the strongest first, for weeks and then for profit.

        A correlation within twice one over the root of the runs of nil may be chance.
        """
        found: list[Driver] = []
        for on, measure in DRIVEN.items():
            columns = [row for row in self._figures() if on != "weeks" or row[0] not in _MARKET]
            drawn = np.stack([values for _key, _label, values in columns], axis=1)[self.done]
            strength = rank_correlations(drawn, self.difference(measure))
            some = [
                Driver(key, label, on, float(r))
                for (key, label, _values), r in zip(columns, strength, strict=True)
                if r != 0.0
            ]
            found += sorted(some, key=lambda driver: -abs(driver.rank_correlation))
        return tuple(found)

    def _figures(self) -> Iterator[tuple[str, str, Floats]]:
        """Key, label and draws of every figure that can reach one of the methods."""
        draws, comparison = self.draws[1], self.comparison
        records, catalogue = comparison.first.plan.values.library.records, read_catalogue()
        makes = any(option.panels for case in comparison.cases for option in case.plan.option_of.values())
        for name in FACTORS:
            if makes or not name.startswith("factory"):
                label = records[f"risk.{name}.likely"].label.rpartition(",")[0]
                yield f"risk.{name}", label, draws.factors[name]
        for name in EVENTS:
            if makes or name != "maker":
                yield f"risk.{name}", _event_label(records[f"risk.{name}.chance"].label), draws.weeks[name]
        works = np.unique(np.concatenate([case.plan.tasks.trade for case in comparison.cases]))
        working = {list(catalogue.trades)[k] for k in works if k >= 0}
        for k, name in enumerate(on_site_trades()):
            if name in working:
                yield f"trade.{name}", f"Hours of {catalogue.trades[name].label}", draws.trades[:, k]
        scenario = comparison.scenario
        for kind, parts, weeks in (
            ("crane", [crane.name for crane in scenario.served], draws.crane_weeks),
            ("hoist", [block.name for block in scenario.blocks], draws.hoist_weeks),
        ):
            label = _event_label(records[f"risk.{kind}.chance"].label)
            for k, part in enumerate(parts):
                yield f"risk.{kind} {part}", f"{label}, {part}", weeks[:, k]
        yield "risk.rain", "Dates lost to rain and cold", -self.weather[:, 0]
        yield "risk.wind", "Hook hours lost to wind", -self.weather[:, 1]

    def as_json(self) -> dict[str, Any]:
        """Return the figures as the command line prints them.

        Raises
        ------
        RangeError
            If fewer than `FEWEST_RUNS` runs were done.
        """
        if self.runs_done < FEWEST_RUNS:
            raise RangeError(
                f"Only {self.runs_done} of {self.runs:,} runs were done before it was stopped; "
                f"{FEWEST_RUNS} are needed for any figure. Let it run longer."
            )
        scenario = self.comparison.scenario
        return {
            "storeypace": tool_version(),
            "scenario": {"name": scenario.development.name, "fingerprint": scenario.fingerprint()},
            "runs": self.runs,
            "runs_done": self.runs_done,
            "complete": self.complete,
            "seed": self.seed,
            "longstop": self.comparison.longstop.isoformat(),
            "methods": {m.id: self._method(k) for k, m in enumerate(self.methods)},
            "difference": {
                **{name: asdict(percentiles(self.difference(name))) for name in MEASURES[:3]},
                "chance_later": self.chance_later,
                "chance_dearer": self.chance_dearer,
            },
            "drivers": [asdict(driver) for driver in self.drivers()],
        }

    def _method(self, method: int) -> dict[str, Any]:
        case = self.comparison.cases[method]
        ready = self.weeks_to_ready(method)
        return {
            **{name: asdict(percentiles(self.of(method, name))) for name in MEASURES},
            "blocks": [
                {"name": name, "weeks_to_ready": asdict(percentiles(ready[:, b]))}
                for b, name in enumerate(case.takeoff.layout.names)
            ],
            "chance_past_longstop": self.chance_past_longstop(method),
            "optimism_bias": self._optimism(method),
        }

    def _optimism(self, method: int) -> dict[str, Any]:
        """The public allowance on the expected case, to stand beside the percentiles."""
        case = self.comparison.cases[method]
        pct = allowances(case.plan.values)
        return {
            "weeks_pct": pct["weeks"],
            "weeks_to_last_handover": optimism_bias(case.weeks_to_last_handover, pct["weeks"]),
            "cost_pct": pct["cost"],
            "said": SENTENCE,
        }


_MARKET: Final = frozenset(f"risk.{name}" for name in PRICES)


def _event_label(label: str) -> str:
    """Return what an event is called, of the label of its chance."""
    return label.partition(":")[0]
