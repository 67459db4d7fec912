"""What do the methods come to over a whole grid of scenarios?

Every combination of the values given is worked as a scenario of its own, on the one path that `compare`
takes. Rows are the same whoever works them: this process, several, or the machines of a cluster (`run_many`
takes any map function). A row that cannot be worked out carries its reason and no figures.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np

from model.compare import Case, Comparison
from model.core.errors import ModelError, Problem, ScenarioError
from model.explain.workers import MapFunction
from model.inputs.assumption import read_library
from model.inputs.scenario import Block, Scenario
from model.inputs.wording import nearest
from model.pipeline import compare_methods

Row = tuple[str, ...]
OF_METHOD: Final = (
    "weeks_to_first_handover",
    "weeks_to_last_handover",
    "profit",
    "npv",
    "irr_pct",
    "peak_debt",
)
"""Columns of each method, after its id and a dot."""

OF_DIFFERENCE: Final = (
    "weeks_to_first_handover",
    "weeks_to_last_handover",
    "programme_saving_pct",
    "profit",
    "npv",
    "peak_debt",
)
"""Columns of the second method against the first, after ``difference`` and a dot; signs as in `compare`."""

MOST_ROWS: Final = 1_000_000

WHOLE: Final = ("storeys", "flats_per_storey", "zones", "cores", "hoists")
"""Figures of a block that are whole numbers."""

OF_BLOCK: Final = tuple(
    f.name for f in fields(Block) if f.name not in ("name", "ranges", "sections", "handover", "tenure")
)
"""Figures of a block that can be varied."""


@dataclass(frozen=True)
class Axis:
    """One input and its values.

    Attributes
    ----------
    key : str
        A library record; ``blocks.NAME.storeys`` or another figure of a block; ``cranes.NAME.number``;
        ``methods.ID.RECORD`` for one method alone.
    values : tuple of float
        In the order in which they are worked.
    """

    key: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class Grid:
    """Every combination of the values of some inputs; the last input goes fastest.

    Attributes
    ----------
    axes : tuple of Axis
    """

    axes: tuple[Axis, ...]

    @property
    def keys(self) -> tuple[str, ...]:
        """Inputs that are varied."""
        return tuple(axis.key for axis in self.axes)

    @property
    def size(self) -> int:
        """How many combinations there are."""
        return math.prod(len(axis.values) for axis in self.axes)

    def rows(self) -> Iterator[tuple[float, ...]]:
        """Yield every combination."""
        return itertools.product(*(axis.values for axis in self.axes))


def read_axis(text: str) -> Axis:
    """Read one input and its values.

    Parameters
    ----------
    text : str
        ``KEY=a:b:n``: n values from a to b, evenly spaced, both included; ``KEY=a`` for one.

    Returns
    -------
    Axis

    Raises
    ------
    ScenarioError
        If it is written otherwise.

    Examples
    --------
    >>> read_axis("money.debt_rate_pct=6:10:3")
    Axis(key='money.debt_rate_pct', values=(6.0, 8.0, 10.0))
    """
    key, equals, span = text.rpartition("=")
    parts = span.split(":")
    try:
        low, high = float(parts[0]), float(parts[1] if len(parts) == 3 else parts[0])
        count = int(parts[2]) if len(parts) == 3 else 1
    except ValueError:
        count, low, high = 0, math.nan, math.nan
    readable = bool(equals and key.strip()) and len(parts) in (1, 3) and count >= 1
    if not readable or not (math.isfinite(low) and math.isfinite(high)) or (count == 1 and low != high):
        raise ScenarioError(
            [
                Problem(
                    f"--vary {text}",
                    "this is no input with its values",
                    "It is written KEY=a:b:n for n values from a to b, both included, or KEY=a for one.",
                    "Write for example money.debt_rate_pct=6:10:5.",
                )
            ]
        )
    values = tuple(float(f"{value:.12g}") for value in np.linspace(low, high, count))
    return Axis(key.strip(), values)


def read_grid(scenario: Scenario, texts: Sequence[str]) -> Grid:
    """Read a grid, one text an input.

    Parameters
    ----------
    scenario : Scenario
    texts : sequence of str
        As `read_axis`.

    Returns
    -------
    Grid

    Raises
    ------
    ScenarioError
        With every problem of texts and grid.
    """
    axes: list[Axis] = []
    problems: list[Problem] = []
    for text in texts:
        try:
            axes.append(read_axis(text))
        except ScenarioError as error:
            problems += error.problems
    grid = Grid(tuple(axes))
    try:
        if axes or not problems:
            check_grid(scenario, grid)
    except ScenarioError as error:
        problems += error.problems
    if problems:
        raise ScenarioError(problems)
    return grid


def check_grid(scenario: Scenario, grid: Grid) -> None:
    """Refuse a grid that a scenario does not have the inputs for.

    Parameters
    ----------
    scenario : Scenario
    grid : Grid

    Raises
    ------
    ScenarioError
        With every problem: a key that is not known, or named twice; a count that is no whole number; too many
        rows.
    """
    problems = [problem for axis in grid.axes for problem in _problems(scenario, axis)]
    seen = set()
    for key in grid.keys:
        if key in seen:
            problems.append(
                Problem(f"--vary {key}", "it is varied twice", "Each input is varied once.", "Leave one out.")
            )
        seen.add(key)
    if not grid.axes:
        problems.append(Problem("--vary", "nothing is varied", "One input is needed at least.", "Name one."))
    if grid.size > MOST_ROWS:
        problems.append(
            Problem(
                "--vary",
                f"the grid has {grid.size:,} rows",
                f"{MOST_ROWS:,} can be worked at most.",
                "Take fewer values.",
            )
        )
    if problems:
        raise ScenarioError(problems)


def columns(scenario: Scenario, grid: Grid) -> Row:
    """Return the heads of the columns: inputs, figures of each method, the difference, the problem."""
    methods = [f"{method.id}.{name}" for method in scenario.methods for name in OF_METHOD]
    return (*grid.keys, *methods, *(f"difference.{name}" for name in OF_DIFFERENCE), "problem")


def changed(scenario: Scenario, keys: Sequence[str], values: Sequence[float]) -> Scenario:
    """Return the scenario of one row, checked as a file would be.

    Parameters
    ----------
    scenario : Scenario
    keys : sequence of str
        As in `Axis`.
    values : sequence of float
        One a key.

    Raises
    ------
    ScenarioError
        With every problem of the changed scenario.
    """
    overrides = dict(scenario.overrides)
    blocks = {block.name: block for block in scenario.blocks}
    cranes = {crane.name: crane for crane in scenario.served}
    methods = {method.id: method for method in scenario.methods}
    for key, value in zip(keys, values, strict=True):
        table, name, field = _parts(scenario, key)
        if table == "blocks":
            figure: dict[str, Any] = {field: int(value) if field in WHOLE else value}
            blocks[name] = replace(blocks[name], **figure)
        elif table == "cranes":
            cranes[name] = replace(cranes[name], number=int(value))
        elif table == "methods":
            own = {**dict(methods[name].overrides), field: (value, "")}
            methods[name] = replace(methods[name], overrides=tuple(sorted(own.items())))
        else:
            overrides[key] = (value, "")
    served = tuple(cranes.values())
    return scenario.with_changes(
        blocks=tuple(blocks.values()),
        cranes=scenario.cranes if served == scenario.served else served,
        methods=tuple(methods.values()),
        overrides=overrides,
    )


@dataclass(frozen=True)
class Task:
    """One row to be worked: all that another process needs."""

    scenario: Scenario
    keys: tuple[str, ...]
    values: tuple[float, ...]


def work_row(task: Task) -> Row:
    """Work one row.

    Parameters
    ----------
    task : Task

    Returns
    -------
    tuple of str
        Cells in the order of `columns`; figures with as many digits as read back unchanged.
    """
    cells = tuple(cell(value) for value in task.values)
    try:
        comparison = compare_methods(changed(task.scenario, task.keys, task.values))
    except ModelError as error:
        blank = len(task.scenario.methods) * len(OF_METHOD) + len(OF_DIFFERENCE)
        return (*cells, *[""] * blank, _one_line(error))
    figures = [figure for case in comparison.cases for figure in _of_method(case)]
    figures += _of_difference(comparison)
    return (*cells, *("" if figure is None else repr(figure) for figure in figures), _missing(comparison))


def cell(value: float) -> str:
    """Return a value of an input as its cell holds it; it reads back unchanged.

    Examples
    --------
    >>> cell(8.0), cell(6.25)
    ('8', '6.25')
    """
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def run_many(
    scenario: Scenario, grid: Grid, map: MapFunction = map, skip: int = 0, batch: int = 1
) -> Iterator[Row]:
    """Work every row of a grid, in order.

    Parameters
    ----------
    scenario : Scenario
    grid : Grid
    map : callable
        Takes a function and a sequence of tasks, gives the results in order: the built-in `map`, or one of
        `model.explain.workers`.
    skip : int
        Rows at the beginning that are not worked again.
    batch : int
        Rows given to `map` at once.

    Yields
    ------
    tuple of str
        As `work_row`.

    Raises
    ------
    ScenarioError
        As `check_grid`.
    """
    check_grid(scenario, grid)
    rows = itertools.islice(grid.rows(), skip, None)
    while values := list(itertools.islice(rows, batch)):
        yield from map(work_row, [Task(scenario, grid.keys, each) for each in values])


def _parts(scenario: Scenario, key: str) -> tuple[str, str, str]:
    """Return table, name and figure of a key; empty names for a library record."""
    if key not in read_library().records:
        table, _dot, rest = key.partition(".")
        if table == "methods":
            for method in scenario.methods:
                if rest.startswith(f"{method.id}."):
                    return table, method.id, rest[len(method.id) + 1 :]
        name, _dot, field = rest.rpartition(".")
        return table, name, field
    return "", "", key


def _known(scenario: Scenario) -> list[str]:
    """Return every key that can be varied but for those of one method alone."""
    blocks = [f"blocks.{block.name}.{field}" for block in scenario.blocks for field in OF_BLOCK]
    cranes = [f"cranes.{crane.name}.number" for crane in scenario.served]
    return [*read_library().records, *blocks, *cranes]


def _problems(scenario: Scenario, axis: Axis) -> Iterator[Problem]:
    """Yield what is wrong with one input of a grid."""
    where = f"--vary {axis.key}"
    table, name, field = _parts(scenario, axis.key)
    known = _known(scenario)
    own = table == "methods" and name and field in read_library().records
    if not own and axis.key not in known:
        prefix = f"methods.{name}." if table == "methods" and name else ""
        near = nearest(axis.key.removeprefix(prefix), known if not prefix else list(read_library().records))
        yield Problem(
            where,
            "this key is not known",
            f"The nearest known one is {prefix + near!r}.",
            "What can be varied: any library record, blocks.NAME.storeys and other figures of a block, "
            "cranes.NAME.number, and methods.ID.RECORD for one method alone.",
        )
        return
    if (table == "cranes" or (table == "blocks" and field in WHOLE)) and not all(
        value.is_integer() for value in axis.values
    ):
        broken = next(value for value in axis.values if not value.is_integer())
        yield Problem(
            where, f"{broken:g} is no whole number", "It is counted.", "Choose ends and steps that meet them."
        )
    if not table and all(axis.key in dict(method.overrides) for method in scenario.methods):
        yield Problem(
            where,
            "every method sets its own value",
            "So a value for all of them changes nothing.",
            f"Vary methods.{scenario.methods[1].id}.{axis.key}.",
        )


def _of_method(case: Case) -> tuple[float | None, ...]:
    account = case.account
    irr, _reason = account.irr
    return (
        case.weeks_to_first_handover,
        case.weeks_to_last_handover,
        float(account.profit),
        float(account.npv),
        None if irr is None else 100 * float(irr),
        float(account.peak_debt),
    )


def _of_difference(comparison: Comparison) -> tuple[float, ...]:
    first, second = comparison.first, comparison.second
    sooner = first.weeks_to_first_handover - second.weeks_to_first_handover
    return (
        sooner,
        first.weeks_to_last_handover - second.weeks_to_last_handover,
        100.0 * sooner / first.weeks_to_first_handover,
        *(
            float(getattr(second.account, name) - getattr(first.account, name))
            for name in ("profit", "npv", "peak_debt")
        ),
    )


def _missing(comparison: Comparison) -> str:
    """Say why a figure of a row that was worked out is missing; empty where none is."""
    reasons = ((case.method.id, case.account.irr) for case in comparison.cases)
    return " ".join(
        f"{name}: no internal rate of return: {reason}" for name, (irr, reason) in reasons if irr is None
    )


def _one_line(error: ModelError) -> str:
    problems = error.problems if isinstance(error, ScenarioError) else (error,)
    return " ".join(" ".join(str(problem) for problem in problems).split())
