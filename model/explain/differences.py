"""What would each difference between two methods be worth if it were not there?

What setting it equal would do to the second method is worked out by running it again with the first's option
or value: weeks by which its last handover would come sooner, and change of its profit. Records, activities
and links that are there only because an option differs have no effect of their own: it is told once, at the
option.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.compare import Comparison
from model.core.errors import ModelError, ScenarioError
from model.explain.listed import Difference, list_differences
from model.explain.players import (
    LAST_HANDOVER,
    PROFIT,
    Player,
    differing_records,
    players_of,
    switched,
    with_settings,
    with_words,
    work_out,
)
from model.explain.rerun import Progress
from model.inputs.scenario import Method
from model.programme import Plan

Floats = NDArray[np.float64]
Effects = Mapping[str, tuple[float, float] | str]
"""Weeks and profit by player or record, or why there are none."""

COLUMNS: Final = (
    "kind",
    "key",
    "label",
    "first",
    "second",
    "unit",
    "element",
    "effect_weeks",
    "effect_profit",
)


def differences(comparison: Comparison, progress: Progress | None = None) -> pd.DataFrame:
    """Return everything in which the first two methods of a comparison differ, with its effect.

    Parameters
    ----------
    comparison : Comparison
    progress : callable, optional
        Told runs done and runs in all.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; one row a `Difference`.
    """
    first, second = comparison.first, comparison.second
    parts = players_of(comparison.scenario, first.method, second.method)
    rows = list_differences(first.plan, second.plan, parts)
    equal = set_equal(first.plan, second.plan, parts)
    results = work_out(
        comparison.scenario,
        [second.method, *equal.values()],
        [(case.plan, case.site) for case in (first, second)],
        progress,
    )
    return frame(
        with_effects(rows, parts, effects_of(results[0], dict(zip(equal, results[1:], strict=True))))
    )


def frame(rows: Iterable[Difference]) -> pd.DataFrame:
    """Return differences as a table: columns `COLUMNS`."""
    return pd.DataFrame([[getattr(row, name) for name in COLUMNS] for row in rows], columns=list(COLUMNS))


def set_equal(first: Plan, second: Plan, parts: Sequence[Player]) -> dict[str, Method]:
    """Return the second method with each player, and each differing record, as the first has it."""
    one, other = first.method, second.method
    without = {part.name: switched(one, other, parts, [each is not part for each in parts]) for part in parts}
    records = {key: with_settings(other, one, [key]) for key in differing_records(first.scenario, one, other)}
    return {**without, **records}


def effects_of(second: Floats | ModelError, equal: Mapping[str, Floats | ModelError]) -> Effects:
    """Return weeks sooner and profit more of the second method with each thing set equal.

    Parameters
    ----------
    second : array or ModelError
        `figures_of` the second method.
    equal : mapping of str to array or ModelError
        `figures_of` it with each thing set equal, by name.
    """
    effects: dict[str, tuple[float, float] | str] = {}
    for name, found in equal.items():
        if isinstance(second, ModelError):
            effects[name] = said(second)
        elif isinstance(found, ModelError):
            effects[name] = said(found)
        else:
            change = found - second
            effects[name] = float(change[LAST_HANDOVER]), float(change[PROFIT])
    return effects


def with_effects(
    rows: Iterable[Difference], parts: Sequence[Player], effects: Effects
) -> tuple[Difference, ...]:
    """Put effects to options and to records in which the methods differ; say of others where it is told."""
    by_name = {part.name: part for part in parts}
    told = []
    for row in rows:
        own = effects.get(row.players[0] if row.kind == "option" else row.key)
        if isinstance(own, tuple):
            row = replace(row, effect_weeks=own[0], effect_profit=own[1])
        elif own is not None:
            row = replace(row, note=own)
        else:
            row = replace(row, note=with_words([by_name[name] for name in row.players]))
        told.append(row)
    return tuple(told)


def said(error: ModelError) -> str:
    """Return what is wrong in one line, without the heading of a list of problems."""
    problems = error.problems if isinstance(error, ScenarioError) else (error,)
    return " ".join(" ".join(map(str, problems)).split())
