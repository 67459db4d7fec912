"""How many panels stand on site, and on how much ground?

Panels delivered less panels set, at the end of each date. Deliveries come from the loads, setting from the
progress of the activities that consume them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.core.errors import RangeError
from model.inputs.assumption import Values
from model.programme import Plan
from model.site.deliveries import Loads, read_deliveries

Floats = NDArray[np.float64]

PANEL_VEHICLE: Final = "panel_artic"
"""Vehicle of the materials that are panels, under ``vehicle.*`` of the library."""


@dataclass(frozen=True, eq=False)
class PanelStore:
    """Panels on site by date.

    Attributes
    ----------
    delivered, placed : array, shape (dates,)
        Panels that come and panels that are set on each date. [no.]
    rack_panels, rack_m2 : float
        Panels a rack holds, and the ground it takes. [no., m2]
    """

    delivered: Floats
    placed: Floats
    rack_panels: float
    rack_m2: float

    @cached_property
    def _balance(self) -> Floats:
        return np.round(np.cumsum(self.delivered) - np.cumsum(self.placed), 6)

    @cached_property
    def stored(self) -> Floats:
        """Panels that stand on site at the end of each date. [no.]"""
        return np.maximum(self._balance, 0.0)

    @property
    def peak(self) -> float:
        """Most panels stored at the end of a date. [no.]"""
        return float(self.stored.max(initial=0.0))

    @property
    def peak_date(self) -> int:
        """First date with the most panels stored. [days from start on site]"""
        return int(self.stored.argmax()) if self.stored.size else 0

    @property
    def racks(self) -> int:
        """Racks the most panels ask for."""
        return racks_for(self.peak, self.rack_panels)

    @property
    def area_m2(self) -> float:
        """Ground the racks take, with the way round them. [m2]"""
        return self.racks * self.rack_m2

    @property
    def panel_days(self) -> float:
        """Panels x nights stored."""
        return float(self.stored.sum())

    @property
    def short(self) -> float:
        """Most panels set ahead of their lorry: loads of a storey come at an even pace. [no.]

        Above 0 only where panels are delivered less than a day or two ahead: some lorries must come sooner.
        """
        return float(np.maximum(-self._balance, 0.0).max(initial=0.0))


def racks_for(panels: float, rack_panels: float) -> int:
    """Return the racks a number of panels asks for.

    Parameters
    ----------
    panels : float
        Panels stored. [no., >= 0]
    rack_panels : float
        Panels a rack holds. [no., > 0]

    Returns
    -------
    int

    Raises
    ------
    RangeError
        If panels are negative or a rack holds none.
    """
    if not panels >= 0 or not rack_panels > 0:
        raise RangeError(
            f"Racks are worked out for 0 panels or more, in racks that hold some; got {panels:g} panels "
            f"in racks of {rack_panels:g}. Set storage.rack_panels to the panels a rack holds."
        )
    return math.ceil(panels / rack_panels - 1e-9)


def store_panels(plan: Plan, loads: Loads, values: Values) -> PanelStore:
    """Work out the panels on site.

    Parameters
    ----------
    plan : Plan
    loads : Loads
    values : Values
        Records ``storage.*`` and ``delivery.*``.

    Returns
    -------
    PanelStore
        All zeros where no panels come.
    """
    dates = math.ceil(float(plan.finish.max())) + 1
    delivered, placed = np.zeros(dates), np.zeros(dates)
    network, tasks = plan.network, plan.tasks
    for k, delivery in enumerate(read_deliveries()):
        mine = loads.material == k
        if delivery.vehicle != PANEL_VEHICLE or not mine.any():
            continue
        number = loads.amount[mine] / values[f"delivery.{delivery.id}.per_unit"]
        delivered += np.bincount(loads.date[mine], number, minlength=dates)
        setting = np.zeros(network.size, dtype=bool)
        setting[network.tasks_of(f"activity:{delivery.activity}")] = True
        rows = np.flatnonzero(setting[plan.moved_task])
        task = plan.moved_task[rows]
        done = tasks.amount[task] * plan.moved_work[rows] / tasks.work[task]
        placed += np.bincount(plan.moved_date[rows], done, minlength=dates)
    return PanelStore(delivered, placed, values["storage.rack_panels"], values["storage.rack_area"])
