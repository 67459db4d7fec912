"""Where does the difference between two methods come from, element by element?

Every element in which the methods differ is switched from the first to the second, alone and with every
choice of the others; each mixture is scheduled, operated and priced. The credit of an element is what it
adds, averaged over every order of switching (its Shapley value): it depends on no order and adds up exactly.
Beside it stands what it adds alone at the first method and last at the second, and the least and most in any
order, so that nobody need believe that the order was chosen.

Weeks are positive where the second method is sooner; everything else is the second less the first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.compare import Comparison
from model.compare.contrast import tool_version
from model.core.errors import ModelError, Problem, ScenarioError, ScheduleError
from model.core.shapley import every_subset, shapley
from model.explain.differences import effects_of, frame, said, set_equal, with_effects
from model.explain.listed import Difference, identical, list_differences
from model.explain.players import MEASURES, Player, Worked, players_of, switched, work_out, worked
from model.explain.rerun import Progress
from model.inputs.assumption import read_library
from model.inputs.method import read_catalogue
from model.inputs.scenario import Method, Scenario, ready_method, ready_methods

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

GROUPS: Final = ("walls", "rest")
"""The first split: players that hold a wall element, and all others."""


@dataclass(frozen=True, slots=True)
class Credit:
    """What a player, or a group of players, adds to a measure.

    Attributes
    ----------
    name : str
    credit : float
        Averaged over every order; of a group the sum of its players'.
    alone_first, added_last : float
        Switched first, in the first method; switched last, all others being the second's already.
    least, most : float
        Over every order; for a group over the two orders of the groups.
    """

    name: str
    credit: float
    alone_first: float
    added_last: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Pair:
    """How two players act on each other, both switched in the first method.

    Attributes
    ----------
    names : tuple of str
    alone : tuple of float
        What each adds alone.
    both : float
        What they add together.
    only_together : bool
        Whether neither is any use alone and both together are: each alone changes the measure for the worse
        or not at all, both together change it for the better.
    """

    names: tuple[str, str]
    alone: tuple[float, float]
    both: float
    only_together: bool

    @property
    def interaction(self) -> float:
        """Worth of both less the worth of each alone, at the first method."""
        return self.both - sum(self.alone)


@dataclass(frozen=True)
class Measure:
    """One measure, shared out.

    Attributes
    ----------
    name : str
        One of `MEASURES`.
    total : float
        The difference, weeks positive where the second is sooner.
    credits : tuple of Credit
        One a player; they add up to the total.
    groups : tuple of Credit
        One each of `GROUPS`; they add up to the total.
    pairs : tuple of Pair
    """

    name: str
    total: float
    credits: tuple[Credit, ...]
    groups: tuple[Credit, ...]
    pairs: tuple[Pair, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the measure as the command line prints it."""
        return {
            "total": self.total,
            "elements": {each.name: each.credit for each in self.credits},
            "pairs": [
                {
                    "elements": list(pair.names),
                    "interaction": pair.interaction,
                    "alone": list(pair.alone),
                    "both": pair.both,
                    "only_together": pair.only_together,
                }
                for pair in self.pairs
            ],
            **{
                of: {each.name: getattr(each, of) for each in self.credits}
                for of in ("alone_first", "added_last", "least", "most")
            },
            "groups": {
                each.name: {of: getattr(each, of) for of in ("credit", "alone_first", "added_last")}
                for each in self.groups
            },
        }


@dataclass(frozen=True, eq=False)
class Explanation:
    """Where the difference between two methods comes from.

    Attributes
    ----------
    scenario : Scenario
    first, second : Method
        Differences are the second against the first.
    players : tuple of Player
        What is switched.
    worth : array, shape (2^players, measures)
        Every mixture against the first method, in the order of `every_subset` and `MEASURES`.
    measures : mapping of str to Measure
    differences : tuple of Difference
    identical : tuple of str
        Keys of the records that are the same in both and stand in no difference.
    """

    scenario: Scenario
    first: Method
    second: Method
    players: tuple[Player, ...]
    worth: Floats
    measures: Mapping[str, Measure]
    differences: tuple[Difference, ...]
    identical: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the explanation as the command line prints it."""
        return {
            "storeypace": tool_version(),
            "scenario": {
                "name": self.scenario.development.name,
                "fingerprint": self.scenario.fingerprint(),
            },
            "from": self.first.id,
            "to": self.second.id,
            "players": [self._player(player) for player in self.players],
            "joined": {
                player.name: list(player.elements) for player in self.players if len(player.elements) > 1
            },
            "groups": {
                name: [player.name for player in self.players if player.wall == (name == GROUPS[0])]
                for name in GROUPS
            },
            "warnings": list(self.scenario.warnings),
            "measures": {name: measure.as_json() for name, measure in self.measures.items()},
            "differences": [row.as_json() for row in self.differences],
            "identical_records": len(self.identical),
        }

    def _player(self, player: Player) -> dict[str, Any]:
        options = read_catalogue().options
        return {
            "name": player.name,
            "label": player.label,
            "elements": list(player.elements),
            "from": {e: options[e, self.first.option(e)].label for e in player.elements},
            "to": {e: options[e, self.second.option(e)].label for e in player.elements},
            "settings": list(player.settings),
            "wall": player.wall,
        }

    def frame(self) -> pd.DataFrame:
        """Columns measure, element, credit, alone_first, added_last, least, most; one row a player."""
        columns = ["measure", "element", *list(Credit.__dataclass_fields__)[1:]]
        rows = [
            (name, *(getattr(each, field) for field in Credit.__dataclass_fields__))
            for name, measure in self.measures.items()
            for each in measure.credits
        ]
        return pd.DataFrame(rows, columns=columns)

    def differences_frame(self) -> pd.DataFrame:
        """Return the differences as a table, as `differences.csv` of the audit pack."""
        return frame(self.differences)


def explain(
    of: Comparison | Scenario,
    first: str | Method | None = None,
    second: str | Method | None = None,
    progress: Progress | None = None,
) -> Explanation:
    """Share the difference between two methods out to the elements in which they differ.

    Parameters
    ----------
    of : Comparison or Scenario
        A comparison saves working its methods again.
    first, second : str or Method, optional
        A method, its id in the scenario, or the id of a ready method; the scenario's first and second if
        left out.
    progress : callable, optional
        Told mixtures done and mixtures in all.

    Returns
    -------
    Explanation
        Same method twice: no players and zeros.

    Raises
    ------
    ScenarioError
        If a method is not known, both named at once.
    RangeError
        If more than ten players differ.
    ModelError
        If a method or a mixture of the two cannot be worked out.
    """
    scenario = of.scenario if isinstance(of, Comparison) else of
    start, end = chosen(scenario, first, second)
    parts = players_of(scenario, start, end)
    on = every_subset(len(parts))
    ends, known = _ends(of, scenario, start, end)
    mixtures = [switched(start, end, parts, row) for row in on]
    equal = set_equal(ends[0][0], ends[1][0], parts)
    results = work_out(scenario, [*mixtures, end, *equal.values()], known, progress)
    worth = _every(results[: len(on)], mixtures)
    second_figures, *others = results[len(on) :]
    effects = effects_of(second_figures, dict(zip(equal, others, strict=True)))
    rows = list_differences(ends[0][0], ends[1][0], parts)
    return Explanation(
        scenario=scenario,
        first=start,
        second=end,
        players=parts,
        worth=worth - worth[0],
        measures=shared_out(worth, parts),
        differences=with_effects(rows, parts, effects),
        identical=identical(ends[0][0], ends[1][0], rows),
    )


def chosen(
    scenario: Scenario, first: str | Method | None = None, second: str | Method | None = None
) -> tuple[Method, Method]:
    """Return the two methods that are meant. Parameters and errors as in `explain`."""
    found, problems = [], []
    ready = ready_methods(read_library())
    known = {name: ready_method(name, read_library()) for name in ready}
    known |= {method.id: method for method in scenario.methods}
    for place, given in enumerate((first, second)):
        if isinstance(given, Method):
            found.append(given)
        elif given is None:
            found.append(scenario.methods[place])
        elif given in known:
            found.append(known[given])
        else:
            problems.append(
                Problem(
                    ("--from", "--to")[place],
                    f"there is no method {given!r}",
                    f"There are: {', '.join(known)}.",
                    "Give one of these.",
                )
            )
    if problems:
        raise ScenarioError(problems)
    return found[0], found[1]


def _ends(
    of: Comparison | Scenario, scenario: Scenario, start: Method, end: Method
) -> tuple[tuple[Worked, Worked], list[Worked]]:
    """Return both methods worked, and everything that is worked already."""
    cases = [*of.cases, of.walls] if isinstance(of, Comparison) else []
    known: list[Worked] = [(case.plan, case.site) for case in cases]

    def work(method: Method) -> Worked:
        for plan, site in known:
            if plan.method == method:
                return plan, site
        known.append(worked(scenario, method))
        return known[-1]

    return (work(start), work(end)), known


def _every(results: Sequence[Floats | ModelError], mixtures: Sequence[Method]) -> Floats:
    """Return the figures of every mixture; no credit can be given with one missing."""
    figures = []
    for found, method in zip(results, mixtures, strict=True):
        if isinstance(found, ModelError):
            raise ScheduleError(
                f"The credit of each element needs every mixture of the two methods, and {method.label} "
                f"cannot be worked out. {said(found)} Compare with a method that lies between the two."
            ) from found
        figures.append(found)
    return np.array(figures)


def shared_out(worth: Floats, parts: Sequence[Player]) -> dict[str, Measure]:
    """Share every measure out to the players.

    Parameters
    ----------
    worth : array, shape (2^players, measures)
        Figures of every mixture, in the order of `every_subset` and `MEASURES`.
    parts : sequence of Player

    Returns
    -------
    dict of str to Measure
        The interaction of a pair is the worth of both less the worth of each alone, at the first method:
        what the two gain by meeting there, whatever the others would do later.
    """
    on = every_subset(len(parts))
    gained = worth - worth[0]
    credit = shapley(gained)
    walls = np.array([part.wall for part in parts], dtype=bool)
    names = [part.name for part in parts]
    measures = {}
    for m, (name, welcome) in enumerate(MEASURES.items()):
        value = gained[:, m]
        credits = tuple(_credit(names[k], k, float(credit[k, m]), value, on) for k in range(len(parts)))
        measures[name] = Measure(
            name=name,
            total=float(value[-1]),
            credits=credits,
            groups=tuple(
                _group(group, mine, credits, value)
                for group, mine in zip(GROUPS, (walls, ~walls), strict=True)
            ),
            pairs=tuple(
                _pair((names[a], names[b]), a, b, value, welcome)
                for a, b in combinations(range(len(parts)), 2)
            ),
        )
    return measures


def _credit(name: str, player: int, credit: float, value: Floats, on: Bools) -> Credit:
    with_it = np.flatnonzero(on[:, player])
    added = value[with_it] - value[with_it - (1 << player)]
    if added.min() == added.max():  # the same in every order is its own mean, to the last digit
        credit = float(added[0])
    return Credit(name, credit, float(added[0]), float(added[-1]), float(added.min()), float(added.max()))


def _group(name: str, mine: Bools, credits: Sequence[Credit], value: Floats) -> Credit:
    alone = int((1 << np.flatnonzero(mine)).sum())
    first = float(value[alone])
    last = float(value[-1] - value[value.size - 1 - alone])
    credit = sum((each.credit for each, holds in zip(credits, mine, strict=True) if holds), 0.0)
    return Credit(name, credit, first, last, min(first, last), max(first, last))


def _pair(names: tuple[str, str], a: int, b: int, value: Floats, welcome: bool) -> Pair:
    alone = float(value[1 << a]), float(value[1 << b])
    both = float(value[(1 << a) + (1 << b)])
    sign = 1 if welcome else -1
    only_together = max(sign * x for x in alone) <= 0 < sign * both
    return Pair(names, alone, both, only_together)
