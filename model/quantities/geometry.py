"""How much wall, slab and opening does a storey hold?

Small formulae on plain numbers and arrays; nothing here knows what a scenario or a method is.
Lengths in m, areas in m2, one value a storey.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from model.core.errors import RangeError

Floats = NDArray[np.float64]


def plate_length(area: Floats, depth: float) -> Floats:
    """Return the length of a rectangular plate, never shorter than it is deep.

    Parameters
    ----------
    area : array
        Gross area of each storey. [m2, > 0]
    depth : float
        Depth of the plate. [m, > 0]

    Returns
    -------
    array
        Longer side. [m]

    Raises
    ------
    RangeError
        If an area or the depth is not above zero.
    """
    if depth <= 0 or np.any(area <= 0):
        raise RangeError(
            f"A plate needs an area and a depth above 0; got depth {depth:g} m. Give both in the block."
        )
    return np.maximum(area / depth, np.sqrt(area))


def perimeter(area: Floats, depth: float) -> Floats:
    """Return the perimeter of a rectangular plate. [m]

    Parameters
    ----------
    area : array
        Gross area of each storey. [m2]
    depth : float
        Depth of the plate. [m]

    Examples
    --------
    >>> round(float(perimeter(np.array([855.0]), 16.2)[0]), 1)
    138.0
    """
    length = plate_length(area, depth)
    return 2 * (length + area / length)


def separating_length(
    flats: Floats, length: Floats, depth: Floats, corridor_width: float, cores: int, core_lined_m: float
) -> Floats:
    """Return the length of separating wall of a storey with flats either side of a corridor.

    Flats to the corridor (both sides), flats to each other, and the flat side of the cores.

    Parameters
    ----------
    flats : array
        Flats on each storey. [no.]
    length, depth : array
        Sides of the plate. [m]
    corridor_width : float
        [m]
    cores : int
        Cores of the block.
    core_lined_m : float
        Lined length round one core. [m]

    Returns
    -------
    array
        [m]
    """
    cross_walls = np.maximum(flats - 2, 0.0)
    return 2 * length + cross_walls * (depth - corridor_width) / 2 + cores * core_lined_m


def panel_count(wall_length: Floats, longest_m: float) -> NDArray[np.float64]:
    """Return how many panels a length of wall is cut into. [no.]

    Parameters
    ----------
    wall_length : array
        [m]
    longest_m : float
        Longest panel allowed by joints, lorry and crane. [m, > 0]
    """
    return np.ceil(np.round(wall_length / longest_m, 9))


def longest_panel(
    joint_m: float, lorry_m: float, heaviest_t: float, mass_kg_m2: float, height_m: float
) -> float:
    """Return the longest panel that joints, lorry and crane allow.

    Parameters
    ----------
    joint_m : float
        Spacing of joints the design wants. [m]
    lorry_m : float
        Longest panel a lorry takes. [m]
    heaviest_t : float
        Heaviest lift the crane is planned for. [t]
    mass_kg_m2 : float
        Areal mass with fixings. [kg/m2]
    height_m : float
        Panel height. [m]

    Returns
    -------
    float
        [m]
    """
    return min(joint_m, lorry_m, heaviest_t * 1000 / (mass_kg_m2 * height_m))
