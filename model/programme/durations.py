"""How much work, how many people, how many hook hours does each task take?

work (shifts) = quantity x hours a unit x learning x (1 + rework) / (people x productive hours).
Nothing here knows when anything happens.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.core.errors import Problem, ScenarioError
from model.inputs.assumption import Values
from model.inputs.method import CALENDARS, CAUSES, LIFT_CLASSES, USES, Activity, Catalogue
from model.inputs.scenario import Scenario
from model.physics.lifting import Point, Speeds, cycle_minutes
from model.programme.kernel import LARGE
from model.programme.network import Network
from model.quantities.takeoff import TakeOff

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SHIFTS_PER_WEEK = 5.0

PICK_RADIUS_M: Final = 25.0
PLACE_RADIUS_M: Final = 30.0
PICK_HEIGHT_M: Final = 1.5
"""A quarter turn from lorry to slab: the plan of the check values of hook cycles by level."""

_WAITED_FOR_WORK = (CAUSES.index("factory"), CAUSES.index("wait"))
"""Causes of a time that only passes where there is work: nothing is made again, nothing inspected."""

_SHARES = ("amount", "work", "settled", "people", "hook", "lifts", "hoist_hours")
_PLACES = ("crane", "trade", "hoist", "face")


@dataclass(frozen=True, eq=False)
class Tasks:
    """Figures of the tasks of a network, one value a task; events hold zeros.

    Attributes
    ----------
    amount : array
        Quantity consumed, in the unit of the activity's quantity.
    work, settled : array
        Shifts of work, with learning and without. [shifts]
    people : array
        People on the task. [people]
    hook, lifts : array
        Hook hours and lifts by crane. [h, no.]
    hoist_hours : array
        Hoist hours. [h]
    crane, lift_class, use, hoist, face, calendar, trade : array of int
        Crane, hoist, face and trade are -1 for none; others as in the kernel.
    """

    amount: Floats
    work: Floats
    settled: Floats
    people: Floats
    hook: Floats
    lifts: Floats
    hoist_hours: Floats
    crane: Ints
    lift_class: Ints
    use: Ints
    hoist: Ints
    face: Ints
    calendar: Ints
    trade: Ints


def work_out(
    network: Network,
    takeoff: TakeOff,
    values: Values,
    catalogue: Catalogue,
    block_crane: Ints,
    scenario: Scenario,
) -> Tasks:
    """Put figures to the tasks of a network.

    Parameters
    ----------
    network : Network
    takeoff : TakeOff
    values : Values
    catalogue : Catalogue
    block_crane : array of int
        Crane that serves each block.
    scenario : Scenario
        For the order in which blocks start (learning of trades that travel).

    Returns
    -------
    Tasks
    """
    n = network.size
    tasks = Tasks(
        **{name: np.zeros(n) for name in _SHARES},  # type: ignore[arg-type]
        **{name: np.full(n, -1, dtype=np.int64) for name in _PLACES},  # type: ignore[arg-type]
        **{name: np.zeros(n, dtype=np.int64) for name in ("lift_class", "use", "calendar")},  # type: ignore[arg-type]
    )
    trades = {name: k for k, name in enumerate(catalogue.trades)}
    lifting = _lifting(takeoff, values)
    before = _storeys_before(scenario, values)
    place = 0
    for name in network.groups[: network.activities]:
        activity = catalogue.activities[name.split(":")[1]]
        amount = takeoff.amount(activity.consumes, activity.scope)
        at = slice(place, place + amount.size)
        place += amount.size
        people = _people(activity, values, takeoff)
        settled = _settled_shifts(activity, values, amount, people)
        tasks.amount[at] = amount
        tasks.people[at] = people
        tasks.settled[at] = settled
        tasks.work[at] = settled * _learning(
            activity, values, network.storey[at], before[network.block[at]], catalogue
        )
        tasks.trade[at] = trades[activity.trade]
        tasks.calendar[at] = CALENDARS.index(activity.calendar)
        block = network.block[at]
        if activity.lifts:
            _lift(tasks, at, activity, values, amount, lifting, block_crane[block], network.storey[at], block)
        if activity.exposed or LIFT_CLASSES.index(activity.lift_class or "ordinary") + 1 == LARGE:
            tasks.face[at] = block
    return tasks


@dataclass(frozen=True, eq=False)
class Lifting:
    """How goods go up.

    Attributes
    ----------
    hoists : array of bool, one a block
        Whether the block has a hoist.
    by_crane_only : array of bool, one a block
        Whether it is tall enough for a hoist and has none: everything goes by crane.
    top : array of int, one a block
        Level of its roof.
    crane_extra, hoist_trip : array, shape (blocks, levels)
        Minutes of hook travel to a level beyond those a lift's record holds; minutes of hoist travel up and
        back.
    least_hook_min : float
        Travel alone at the records' own height, for checks. [min]
    """

    hoists: NDArray[np.bool_]
    by_crane_only: NDArray[np.bool_]
    top: Ints
    crane_extra: Floats
    hoist_trip: Floats
    least_hook_min: float


def _lifting(takeoff: TakeOff, values: Values) -> Lifting:
    layout = takeoff.layout
    tall = np.array(layout.storeys) >= values["site.hoist_storeys"]
    hoists = takeoff.amount("hoists_no", "block") > 0
    level = np.arange(max(layout.storeys) + 2)
    height = np.array(layout.storey_heights)[:, None] * np.maximum(level - 1, 0)
    key = tuple(
        values[f"crane.{name}"]
        for name in ("hoist_up", "hoist_down", "trolley", "slew", "alpha", "beta", "record_height")
    )
    travel, at_record = _travel_minutes(tuple(map(float, height.ravel())), key)
    return Lifting(
        hoists=hoists,
        by_crane_only=tall & ~hoists,
        top=np.array(layout.storeys, dtype=np.int64) + 1,
        crane_extra=np.array(travel).reshape(height.shape) - at_record,
        hoist_trip=2.0 * height / values["hoist.speed"],
        least_hook_min=at_record,
    )


@lru_cache(maxsize=64)
def _travel_minutes(heights: tuple[float, ...], key: tuple[float, ...]) -> tuple[tuple[float, ...], float]:
    """Hook travel there and back to each height, and to the height the records are for. [min]

    Pick and place on plan as in the check values of hook cycles: 25 m and 30 m from the mast, a quarter turn.
    """
    up, down, trolley, slew, alpha, beta, record_height = key
    speeds = Speeds(up, down, trolley, slew)

    def minutes(height: float) -> float:
        pick, place = Point(PICK_RADIUS_M, 0.0, PICK_HEIGHT_M), Point(0.0, PLACE_RADIUS_M, height)
        return cycle_minutes(pick, place, speeds, 0.0, alpha=alpha, beta=beta)

    found = {height: minutes(height) for height in set(heights)}
    return tuple(found[height] for height in heights), minutes(record_height)


def _lift(
    tasks: Tasks,
    at: slice,
    activity: Activity,
    values: Values,
    amount: Floats,
    lifting: Lifting,
    crane: Ints,
    storey: Ints,
    block: Ints,
) -> None:
    """Put lifts, hook and hoist hours to the tasks of an activity."""
    minutes = values[f"{activity.key}.hook"]
    if minutes <= lifting.least_hook_min:
        raise ScenarioError(
            [
                Problem(
                    f"{activity.key}.hook",
                    f"{minutes:g} minutes a lift",
                    f"The travel of the hook alone takes {lifting.least_hook_min:.1f} minutes "
                    f"to {values['crane.record_height']:g} m and back.",
                    "Give the minutes from hooking on to the hook's return, or faster cranes.",
                )
            ]
        )
    share = np.where(lifting.by_crane_only[block], 1.0, values[f"{activity.key}.crane_share"])
    if activity.skip_share:
        share = share * values[activity.skip_share]
    all_lifts = amount * values[f"{activity.key}.lifts"]
    tasks.lifts[at] = all_lifts * share
    level = np.where(storey > 0, storey, lifting.top[block])  # work on a whole block is taken to its roof
    tasks.hook[at] = tasks.lifts[at] * (minutes + lifting.crane_extra[block, level]) / 60.0
    tasks.crane[at] = crane
    tasks.lift_class[at] = 1 + LIFT_CLASSES.index(activity.lift_class)
    tasks.use[at] = USES.index(activity.use)
    if not activity.skip_share:
        trip = values["hoist.handling"] + lifting.hoist_trip[block, level]
        hours = all_lifts * (1.0 - share) * trip / 60.0 * lifting.hoists[block]
        tasks.hoist_hours[at] = hours
        tasks.hoist[at] = np.where(hours > 0, block, -1)


def people_on(gang: float, most: float, area_m2: Floats, space_m2: float) -> Floats:
    """Return how many people work on a task: gangs together, up to what the zone holds. [people]

    Parameters
    ----------
    gang : float
        People in a gang.
    most : float
        Most people of the trade in a zone.
    area_m2 : array
        Floor area of the zone. [m2]
    space_m2 : float
        Floor area each person needs. [m2/person]
    """
    if gang <= 0:
        return np.zeros_like(area_m2)
    room = np.floor(np.minimum(most, area_m2 / space_m2) + 1e-9)
    return np.maximum(room, gang)


def _people(activity: Activity, values: Values, takeoff: TakeOff) -> Floats:
    key = activity.key
    area = takeoff.amount("gross_m2", activity.scope)
    gang = values[f"{key}.gang"]
    if activity.timed_by != "hours":
        return np.full(area.size, gang)
    return people_on(gang, values[f"{key}.most"], area, values[f"site.space_{activity.space}"])


def _settled_shifts(activity: Activity, values: Values, amount: Floats, people: Floats) -> Floats:
    if activity.timed_by == "weeks":
        return amount * values[f"{activity.key}.weeks"] * SHIFTS_PER_WEEK
    if activity.timed_by == "output":
        return amount / values[activity.output] * SHIFTS_PER_WEEK
    each = values[f"{activity.key}.hours"]
    if f"{activity.key}.skip_hours" in values.library.records:  # placed by skip and by pump in shares
        each += values[activity.skip_share] * (values[f"{activity.key}.skip_hours"] - each)
    hours = amount * each * (1 + values["site.rework"])
    return hours / (people * values["site.productive_hours"] * values["site.labour_present"])


def learning_factor(repetitions: Floats, rate: float, settled_at: float) -> Floats:
    """Return hours over settled hours for the n-th storey a gang does.

    Parameters
    ----------
    repetitions : array
        1 for the first storey.
    rate : float
        Hours after each doubling. [share]
    settled_at : float
        Storey from which output is settled.

    Returns
    -------
    array
        1 from the settled storey on.

    References
    ----------
    UN/ECE 1965, *Effect of repetition on building operations and processes on site* (from memory).
    """
    reached = np.minimum(repetitions, settled_at) / settled_at
    return np.asarray(rate ** np.log2(reached), dtype=float)


def _learning(
    activity: Activity, values: Values, storey: Ints, before: Floats, catalogue: Catalogue
) -> Floats | float:
    if not activity.learns or activity.scope == "block":
        return 1.0
    kept = before if catalogue.trades[activity.trade].travels else 0.0
    return learning_factor(
        np.asarray(storey + kept, dtype=float), values["site.learning"], values["site.learning_storeys"]
    )


def block_order(scenario: Scenario, values: Values) -> Ints:
    """Return the blocks in the order in which they start."""
    starts = [
        values["block.start_weeks"] if b.start_weeks is None else b.start_weeks for b in scenario.blocks
    ]
    return np.argsort(starts, kind="stable")


def _storeys_before(scenario: Scenario, values: Values) -> Floats:
    """Return, for each block, the storeys of the blocks that start before it."""
    order = block_order(scenario, values)
    storeys = np.array([block.storeys for block in scenario.blocks], dtype=float)
    before = np.zeros(storeys.size)
    before[order] = np.cumsum(storeys[order]) - storeys[order]
    return before


def lag_days(network: Network, values: Values, per_block: Mapping[str, Floats], work: Floats) -> Floats:
    """Return the lag of each link, in days or working days as its kind says.

    Parameters
    ----------
    network : Network
    values : Values
        Records named by the links; weeks are turned into days.
    per_block : mapping of str to array
        Records a block may set for itself, one value a block.
    work : array, one a task
        An activity with nothing to do is waited for, but nobody waits a time after it. [shifts]

    Returns
    -------
    array, one a link
        0 or more: a sum of weeks before the start on site is past by then.
    """
    made = np.zeros(network.before.size)
    block = np.empty_like(network.after_block)
    block[network.made] = network.after_block
    for segment in network.segments:
        at = slice(segment.first, segment.last)
        for key in segment.keys:
            days = 7.0 if values.library[key].unit.startswith("weeks") else 1.0
            made[at] += days * (per_block[key][block[at]] if key in per_block else values[key])
    lag = np.maximum(made[network.made], 0.0)  # ordered early enough, panels wait to be called off
    idle = (network.group < network.activities) & (work <= 0.0)
    apart = np.isin(network.cause, _WAITED_FOR_WORK) & (idle[network.after] | idle[network.before])
    lag[apart] = 0.0
    return lag
