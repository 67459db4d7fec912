"""How much work, how many people, how many hook hours does each task take?

work (shifts) = quantity x hours a unit x learning x (1 + rework) / (people x productive hours).
Nothing here knows when anything happens.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.inputs.assumption import Values
from model.inputs.method import CALENDARS, LIFT_CLASSES, USES, Activity, Catalogue
from model.inputs.scenario import Scenario
from model.programme.network import Network
from model.quantities.takeoff import TakeOff

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SHIFTS_PER_WEEK = 5.0


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
    crane, lift_class, use, calendar, trade : array of int
        Crane and trade are -1 for none; others as in the kernel.
    """

    amount: Floats
    work: Floats
    settled: Floats
    people: Floats
    hook: Floats
    lifts: Floats
    crane: Ints
    lift_class: Ints
    use: Ints
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
        **{name: np.zeros(n) for name in ("amount", "work", "settled", "people", "hook", "lifts")},  # type: ignore[arg-type]
        **{name: np.full(n, -1, dtype=np.int64) for name in ("crane", "trade")},  # type: ignore[arg-type]
        **{name: np.zeros(n, dtype=np.int64) for name in ("lift_class", "use", "calendar")},  # type: ignore[arg-type]
    )
    trades = {name: k for k, name in enumerate(catalogue.trades)}
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
        if activity.lifts:
            key = f"activity.{activity.id}"
            lifts = amount * values[f"{key}.lifts"] * values[f"{key}.crane_share"]
            tasks.lifts[at] = lifts
            tasks.hook[at] = lifts * values[f"{key}.hook"] / 60.0
            tasks.crane[at] = block_crane[network.block[at]]
            tasks.lift_class[at] = 1 + LIFT_CLASSES.index(activity.lift_class)
            tasks.use[at] = USES.index(activity.use)
    return tasks


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
    key = f"activity.{activity.id}"
    area = takeoff.amount("gross_m2", activity.scope)
    gang = values[f"{key}.gang"]
    if activity.timed_by != "hours":
        return np.full(area.size, gang)
    return people_on(gang, values[f"{key}.most"], area, values[f"site.space_{activity.space}"])


def _settled_shifts(activity: Activity, values: Values, amount: Floats, people: Floats) -> Floats:
    if activity.timed_by == "weeks":
        return amount * values[f"activity.{activity.id}.weeks"] * SHIFTS_PER_WEEK
    if activity.timed_by == "output":
        return amount / values[activity.output] * SHIFTS_PER_WEEK
    hours = amount * values[f"activity.{activity.id}.hours"] * (1 + values["site.rework"])
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


def lag_days(network: Network, values: Values, per_block: Mapping[str, Floats]) -> Floats:
    """Return the lag of each link, in days or working days as its kind says.

    Parameters
    ----------
    network : Network
    values : Values
        Records named by the links; weeks are turned into days.
    per_block : mapping of str to array
        Records a block may set for itself, one value a block.

    Returns
    -------
    array, one a link
    """
    made = np.zeros(network.before.size)
    block = np.empty_like(network.after_block)
    block[network.made] = network.after_block
    for segment in network.segments:
        at = slice(segment.first, segment.last)
        for key in segment.keys:
            days = 7.0 if values.library[key].unit == "weeks" else 1.0
            made[at] += days * (per_block[key][block[at]] if key in per_block else values[key])
    return made[network.made]
