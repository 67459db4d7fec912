"""How long is work done at an open edge, and how long is the guard rail off to let a load in?

An edge is open until the outer wall stands along it (event ``edge_closed``). Both figures count storey by
storey, from the schedule's progress; which activities matter is read from their data.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from model.inputs.method import USES, read_catalogue
from model.programme import Plan
from model.programme.kernel import LARGE

Floats = NDArray[np.float64]

_CLOSED = "edge_closed"


def last_by_storey(plan: Plan, event: str) -> Floats:
    """Return when an event has happened in all zones of each storey, or slab.

    Parameters
    ----------
    plan : Plan
    event : str

    Returns
    -------
    array, shape (blocks, storeys + 2)
        Instants; 0 where the method has no such event. [days]
    """
    network = plan.network
    last = np.zeros((len(plan.takeoff.layout.names), int(network.storey.max()) + 2))
    if network.has(f"event:{event}"):
        events = network.tasks_of(f"event:{event}")
        np.maximum.at(last, (network.block[events], network.storey[events]), plan.finish[events])
    return last


def open_edge_hours(plan: Plan, operatives: Floats) -> float:
    """Return operative hours on a storey before its outer wall stands along the edge.

    Parameters
    ----------
    plan : Plan
    operatives : array, one a row of progress
        Operative-days worked.

    Returns
    -------
    float
        [h]; 0 for a method that never closes an edge.
    """
    open_then = _edge_open(plan, plan.moved_task, plan.moved_date)
    return float(operatives[open_then].sum() * plan.values["site.productive_hours"])


def edge_open_for_lifts_hours(plan: Plan) -> float:
    """Return crane hours during which a guard rail is off because a load comes in at an open edge.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    float
        Hook hours. [h]; 0 for a method that never closes an edge.

    Notes
    -----
    A load comes in at the edge of a storey whose outer wall does not stand yet

    - where it is set along the edge: large loads of the use "panels" whose activity closes the edge, and
    - where it goes through the edge because the slab over is there already: large loads of the use "panels"
      and all loads of the use "other", loaded out by crane.

    Loads of the frame land on the deck from above, and large loads that are set inside a storey before the
    slab over is poured come down from above too: their rails stay. Goods for the outside (a scaffold) are
    counted with those loaded out, so the figure is not too low. The hoist has gates of its own.
    """
    catalogue = read_catalogue()
    names = plan.network.groups[: plan.network.activities]
    closes = np.array(
        [
            any(raised.event == _CLOSED for raised in catalogue.activities[name.split(":")[1]].raises)
            for name in names
        ]
        + [False] * (len(plan.network.groups) - len(names))
    )
    rows = np.flatnonzero(plan.moved_hook > 0)
    task, date = plan.moved_task[rows], plan.moved_date[rows]
    tasks, network = plan.tasks, plan.network
    panels = (tasks.use[task] == USES.index("panels")) & (tasks.lift_class[task] == LARGE)
    goods = tasks.use[task] == USES.index("other")
    poured = last_by_storey(plan, "slab_poured")
    over = np.minimum(network.storey[task] + 1, poured.shape[1] - 1)
    roofed = poured[network.block[task], over] <= date
    here = (panels & closes[network.group[task]]) | ((panels | goods) & roofed)
    return float(plan.moved_hook[rows][here & _edge_open(plan, task, date)].sum())


def _edge_open(plan: Plan, task: NDArray[np.int64], date: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Say of each task and date whether the task is on a storey whose edge is open then."""
    closed = last_by_storey(plan, _CLOSED)
    block, storey = plan.network.block[task], plan.network.storey[task]
    on_storey = (block >= 0) & (storey > 0)
    return on_storey & (date < closed[block, storey])
