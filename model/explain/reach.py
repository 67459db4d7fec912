"""Which records does each stage of a plan ask for, and what is the plan with some of them changed?

A stage is a function of the records it asks for: one that nobody asked for cannot change it. Who asks is
noted once a plan; after that only the work of the activities behind a changed record is put to figures again,
and gangs, order and schedule only where what they rest on is new. The dates are those of planning anew, to
the last digit (a test compares them for every record).
"""

from __future__ import annotations

import sys
from collections.abc import ItemsView, Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from threading import Lock
from typing import Any, Final

import numpy as np

from model.explain.rerun import Change, replanned
from model.inputs.assumption import Values
from model.inputs.method import read_catalogue
from model.inputs.scenario import Method, in_order
from model.money import common_grid, price
from model.programme import Plan, schedule
from model.programme.conditions import Conditions, expected_conditions
from model.programme.durations import Tasks, lag_days, work_out
from model.programme.gangs import Gangs, size_gangs
from model.programme.network import Network, whole
from model.programme.plan import mean_lags, order_tasks, run_plan
from model.quantities import measure
from model.site import SiteUse

CONDITIONS: Final = ("weather.", "concrete.", "crane.", "hoist.", "site.", "geometry.slab")
"""Beginnings of the keys that conditions by date are kept apart by."""

_DURATIONS: Final = "model.programme.durations"
_GANGS: Final = "model.programme.gangs"

_SIZED_BY: Final = ("work", "settled", "hook", "crane", "use", "trade")
_ORDERED_BY: Final = ("work", "calendar", "trade")
_RUN_BY: Final = ("work", "hook", "crane", "lift_class", "use", "hoist_hours", "hoist", "face", "calendar",
                  "trade")  # fmt: skip

_ONE_AT_A_TIME: Final = Lock()
"""Held where conditions by date are made or looked up: their store is not made for two threads."""


@dataclass(frozen=True, eq=False)
class Reach:
    """Records that the stages of a plan ask for.

    Attributes
    ----------
    planned : frozenset of str
        All that is asked for on the way to the dates.
    anew : frozenset of str
        Of these, what asks for planning from the quantities on: quantities, counted rules, waits.
    work : mapping of str to tuple of int
        Activities, as places in the network's groups, whose figures rest on a record.
    sized : frozenset of str
        What is asked for when gangs are sized.
    priced : frozenset of str
        What is asked for when the plan is priced, and for the months of money.
    """

    planned: frozenset[str]
    anew: frozenset[str]
    work: Mapping[str, tuple[int, ...]]
    sized: frozenset[str]
    priced: frozenset[str]

    @property
    def read(self) -> frozenset[str]:
        """All records that dates or money rest on."""
        return self.planned | self.priced


class _Asked(Values):
    """Values that note which module asks for which record."""

    __slots__ = ("asked",)

    def __init__(self, values: Values) -> None:
        super().__init__(values.library, values.overrides)
        self.asked: set[tuple[str, str]] = set()

    def __getitem__(self, key: str) -> float:
        self.asked.add((str(sys._getframe(1).f_globals["__name__"]), key))
        return super().__getitem__(key)

    def items(self) -> ItemsView[str, float]:
        """All records: asked for by conditions alone, to be kept apart by them (`CONDITIONS`)."""
        return self._numbers.items()

    def taken(self) -> set[tuple[str, str]]:
        """Return who asked for what since the last time."""
        asked, self.asked = self.asked, set()
        return asked


def reach_of(plan: Plan, site: SiteUse) -> Reach:
    """Note which records each stage of a plan asks for, by working it once more.

    Parameters
    ----------
    plan : Plan
    site : SiteUse
        Of the same case, for the hire of cranes.

    Returns
    -------
    Reach
    """
    values = _Asked(plan.values)
    takeoff = measure(plan.scenario, values, _panels(plan.method))
    measured = {key for _module, key in values.taken()}
    with _ONE_AT_A_TIME:
        expected_conditions(plan.scenario, plan.values, plan.takeoff.layout)  # so that they are known below
        again = schedule(plan.scenario, plan.method, values, takeoff)
    asked = values.taken()
    lag_days(plan.network, values, {}, plan.tasks.work)
    lags = {key for _module, key in values.taken()}
    work: dict[str, list[int]] = {}
    for group in range(plan.network.activities):
        work_out(_part(plan.network, (group,))[0], plan.takeoff, values, *_for_work(plan))
        for key in {key for _module, key in values.taken()}:
            work.setdefault(key, []).append(group)
    grid = common_grid([again])
    account = price(again, replace(site, plan=again), grid)
    _figures = account.profit, account.npv
    priced = {key for _module, key in values.taken()}
    planned = {key for _module, key in asked} | measured | lags
    planned |= {key for key in plan.values if key.startswith(CONDITIONS)}
    figured = {key for module, key in asked if module == _DURATIONS}
    others = {key for module, key in asked if module not in (_DURATIONS, _GANGS)}
    anew = measured | lags | others | (figured - set(work))
    return Reach(
        frozenset(planned),
        frozenset(anew),
        {key: tuple(groups) for key, groups in work.items()},
        frozenset(key for module, key in asked if module == _GANGS),
        frozenset(priced),
    )


def planned_with(plan: Plan, reach: Reach, settings: Mapping[str, float]) -> tuple[Plan, bool]:
    """Return a plan with some records changed.

    Parameters
    ----------
    plan : Plan
    reach : Reach
        Of the plan.
    settings : mapping of str to float
        Library records and their values, in the record's unit.

    Returns
    -------
    Plan
        As `model.explain.rerun.replanned` makes it.
    bool
        Whether nothing in it is new but the values: no date, no work and no quantity.

    Raises
    ------
    RangeError, ModelError
        As `model.explain.rerun.replanned`.
    """
    settings = {key: value for key, value in settings.items() if plan.values.get(key) != value}
    if not settings:
        return plan, True
    check_settings(plan, settings)
    if not reach.planned.isdisjoint(settings) and not reach.anew.isdisjoint(settings):
        with _ONE_AT_A_TIME:
            return replanned(plan, Change(settings=settings)), False
    method = _set_in(plan.method, settings)
    values = plan.values.with_overrides({key: (float(value), "") for key, value in settings.items()})
    plan = replace(plan, method=method, values=values)
    if reach.planned.isdisjoint(settings):
        return plan, True
    tasks = _tasks(plan, sorted({group for key in settings for group in reach.work.get(key, ())}))
    conditions = _conditions(plan) if any(key.startswith(CONDITIONS) for key in settings) else plan.conditions
    return _scheduled(plan, tasks, conditions, not reach.sized.isdisjoint(settings))


def check_settings(plan: Plan, settings: Mapping[str, float]) -> None:
    """Raise what planning with some records would raise of a key or value that cannot be."""
    for key, value in settings.items():
        records = plan.values.library.records
        if key in records:
            least, most = records[key].allowed()
            if least <= value <= most:
                continue
        replanned(plan, Change(settings={key: value}))  # says why not


def _scheduled(plan: Plan, tasks: Tasks, conditions: Conditions, size_anew: bool) -> tuple[Plan, bool]:
    """Run a plan with other values, work or conditions again, as far as they ask for it."""
    same_weather = conditions is plan.conditions
    gangs, rank = plan.gangs, plan.rank
    if size_anew or not (same_weather and _equal(tasks, plan.tasks, _SIZED_BY)):
        gangs = _sized(plan, tasks, conditions)
    if not (same_weather and _equal(tasks, plan.tasks, _ORDERED_BY)):
        off_site = np.array([not trade.on_site for trade in read_catalogue().trades.values()])
        each_block = plan.scenario.development.priority == "each block"
        lags = mean_lags(plan.links, conditions)
        rank = order_tasks(plan.network, tasks, lags, conditions, off_site, each_block)
    if (
        same_weather
        and _equal(tasks, plan.tasks, _RUN_BY)
        and np.array_equal(gangs.counts, plan.gangs.counts)
    ):
        return replace(plan, tasks=tasks, gangs=gangs), tasks is plan.tasks
    run = run_plan(
        plan.scenario,
        plan.method,
        plan.values,
        plan.takeoff,
        plan.network,
        tasks,
        plan.links,
        conditions,
        gangs,
        rank,
        plan.option_of,
    )
    return run, False


def _sized(plan: Plan, tasks: Tasks, conditions: Conditions) -> Gangs:
    sets, keeps_set = 0, False
    for option in {option.key: option for option in plan.option_of.values()}.values():
        if option.has_sets:
            sets, keeps_set = whole(plan.values[f"{option.key}.sets"]), option.keeps_set
    return size_gangs(
        plan.network,
        tasks,
        mean_lags(plan.links, conditions),
        conditions,
        read_catalogue(),
        plan.values,
        plan.takeoff.layout.storeys,
        _for_work(plan)[1],
        sets,
        keeps_set,
    )


def _tasks(plan: Plan, groups: list[int]) -> Tasks:
    """Return the tasks with those of some activities put to figures again; the same object if none is new."""
    if not groups:
        return plan.tasks
    network, at = _part(plan.network, tuple(groups))
    part = work_out(network, plan.takeoff, plan.values, *_for_work(plan))
    new: dict[str, Any] = {}
    for field in fields(Tasks):
        mine, old = getattr(part, field.name), getattr(plan.tasks, field.name)
        if not np.array_equal(mine, old[at]):
            new[field.name] = old.copy()
            new[field.name][at] = mine
    return replace(plan.tasks, **new) if new else plan.tasks


def _conditions(plan: Plan) -> Conditions:
    """Return the conditions of a plan's values; those it has where they are equal."""
    with _ONE_AT_A_TIME:
        found = expected_conditions(plan.scenario, plan.values, plan.takeoff.layout)
    names = tuple(field.name for field in fields(Conditions))
    return plan.conditions if _equal(found, plan.conditions, names) else found


def _equal(one: Any, other: Any, names: tuple[str, ...]) -> bool:
    """Say whether two records hold the same in some fields."""
    pairs = ((getattr(one, name), getattr(other, name)) for name in names)
    return one is other or all(a is b or np.array_equal(a, b) for a, b in pairs)


@lru_cache(maxsize=512)
def _part(network: Network, groups: tuple[int, ...]) -> tuple[Network, np.ndarray[Any, Any]]:
    """Return a network of some activities alone, and where their tasks stand in the whole one."""
    at = np.flatnonzero(np.isin(network.group, groups))
    part = replace(
        network,
        groups=tuple(network.groups[group] for group in groups),
        activities=len(groups),
        group=np.searchsorted(groups, network.group[at]),
        **{name: getattr(network, name)[at] for name in ("block", "section", "storey", "zone")},
    )
    return part, at


def _for_work(plan: Plan) -> tuple[Any, Any, Any]:
    """Return what `work_out` takes beside values: the catalogue, each block's crane, the scenario."""
    scenario = plan.scenario
    crane_of = {name: k for k, crane in enumerate(scenario.served) for name in crane.blocks}
    block_crane = np.array([crane_of[block.name] for block in scenario.blocks], dtype=np.int64)
    return read_catalogue(), block_crane, scenario


def _panels(method: Method) -> tuple[str, ...]:
    options = read_catalogue().options
    return tuple(kind for choice in method.options for kind in options[choice].panels)


def _set_in(method: Method, settings: Mapping[str, float]) -> Method:
    more = {key: (float(value), "") for key, value in settings.items()}
    return replace(method, overrides=in_order({**dict(method.overrides), **more}))
