"""A tower-crane lift: how long does the hook take there and back?

Hook travel for a crane with a trolley on a level jib. It knows nothing of wind, queues, waiting or
how much of a day the hook is busy (that is utilisation, applied once, elsewhere), nor of jibs that
luff. Handling times, the greater part of a panel's cycle, are given to it.

Positions in m, speeds in m/min and revolutions a minute, times in minutes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from model.core.errors import RangeError


class Point(NamedTuple):
    """A place of the hook. [m]"""

    x: float
    y: float
    z: float


@dataclass(frozen=True, slots=True)
class Speeds:
    """Speeds of a crane.

    Attributes
    ----------
    hoist_loaded, hoist_empty : float
        Hoisting, with and without load. [m/min, > 0]
    trolley : float
        Trolley along the jib. [m/min, > 0]
    slew : float
        Slewing. [revolutions/min, > 0]
    """

    hoist_loaded: float
    hoist_empty: float
    trolley: float
    slew: float

    def __post_init__(self) -> None:
        for name in ("hoist_loaded", "hoist_empty", "trolley", "slew"):
            speed = getattr(self, name)
            if not (speed > 0 and math.isfinite(speed)):
                raise RangeError(
                    f"The crane speed {name} must be above 0; got {speed:g}. "
                    "Take it from the crane's data sheet."
                )


@dataclass(frozen=True, slots=True)
class Travel:
    """One way of the hook.

    Attributes
    ----------
    angle_rad : float
        Slew angle, the shorter way round. [rad, 0 to pi]
    trolley_min, slew_min, hoist_min : float
        Time of each movement alone. [min]
    total_min : float
        Time of all, as far as they run together. [min]
    """

    angle_rad: float
    trolley_min: float
    slew_min: float
    hoist_min: float
    total_min: float


def hook_travel(
    start: Point,
    end: Point,
    *,
    hoist: float,
    trolley: float,
    slew: float,
    alpha: float,
    beta: float,
    mast: tuple[float, float] = (0.0, 0.0),
) -> Travel:
    r"""Time of the hook from one place to another.

    .. math::
        T_h = \max(T_a, T_w) + \alpha \min(T_a, T_w), \quad
        T = \max(T_h, T_v) + \beta \min(T_h, T_v)

    Parameters
    ----------
    start, end : Point
        Places of the hook. [m]
    hoist, trolley : float
        Speeds. [m/min, > 0]
    slew : float
        Speed. [revolutions/min, > 0]
    alpha : float
        Trolley and slew: 0 together, 1 one after the other. [0 to 1]
    beta : float
        Horizontal and vertical: 0 together, 1 one after the other. [0 to 1]
    mast : (float, float)
        Plan position of the crane. [m]

    Returns
    -------
    Travel

    Raises
    ------
    RangeError
        If a speed is not above zero, or alpha or beta is outside 0 to 1.

    References
    ----------
    Zhang, Harris, Olomolaiye & Holt, "Location optimization for a group of tower cranes", *Journal of
    Construction Engineering and Management* 125(2), ASCE, 1999, 115-122 (equations recalled).

    Examples
    --------
    >>> near, far = Point(20, 0, 0), Point(45, 0, 0)
    >>> move = hook_travel(near, far, hoist=60, trolley=53.3, slew=1.2, alpha=0.25, beta=1)
    >>> round(move.total_min, 3)
    0.469
    """
    speeds = Speeds(hoist, hoist, trolley, slew)
    _check_together("alpha", alpha)
    _check_together("beta", beta)
    angle = _slew_angle(start, end, mast)
    trolley_min = abs(_radius(end, mast) - _radius(start, mast)) / speeds.trolley
    slew_min = angle / (2.0 * math.pi * speeds.slew)
    hoist_min = abs(end.z - start.z) / speeds.hoist_loaded
    level = _together(trolley_min, slew_min, alpha)
    return Travel(angle, trolley_min, slew_min, hoist_min, _together(level, hoist_min, beta))


def cycle_minutes(
    pick: Point,
    place: Point,
    speeds: Speeds,
    handling_min: float,
    *,
    alpha: float,
    beta: float,
    mast: tuple[float, float] = (0.0, 0.0),
    allowance: float = 0.0,
) -> float:
    """Time of a whole lift: hook on, travel, land and release, travel back empty.

    Parameters
    ----------
    pick, place : Point
        Where the load is taken up and where it is set down. [m]
    speeds : Speeds
        Of the crane.
    handling_min : float
        Hooking on, landing, fixing and releasing together. [min, >= 0]
    alpha, beta, mast
        As in `hook_travel`.
    allowance : float
        Addition to the travel for acceleration and clearance, as a share of it. [-, >= 0]

    Returns
    -------
    float
        [min]

    Raises
    ------
    RangeError
        If the handling time or the allowance is negative.

    References
    ----------
    Zhang, Harris, Olomolaiye & Holt, 1999, as in `hook_travel`: loaded, empty, loading, unloading.
    """
    for name, value in (("handling time", handling_min), ("allowance on travel", allowance)):
        if not value >= 0:
            raise RangeError(
                f"The {name} of a lift must be 0 or more; got {value:g}. Give what a lift takes on site."
            )
    there, back = (
        hook_travel(
            start,
            end,
            hoist=hoist,
            trolley=speeds.trolley,
            slew=speeds.slew,
            alpha=alpha,
            beta=beta,
            mast=mast,
        ).total_min
        for start, end, hoist in ((pick, place, speeds.hoist_loaded), (place, pick, speeds.hoist_empty))
    )
    return (there + back) * (1.0 + allowance) + handling_min


def _together(first: float, second: float, overlap: float) -> float:
    return max(first, second) + overlap * min(first, second)


def _radius(point: Point, mast: tuple[float, float]) -> float:
    return math.hypot(point.x - mast[0], point.y - mast[1])


def _slew_angle(start: Point, end: Point, mast: tuple[float, float]) -> float:
    """Return the angle between two radii; none where the hook hangs at the mast itself."""
    ax, ay = start.x - mast[0], start.y - mast[1]
    bx, by = end.x - mast[0], end.y - mast[1]
    return abs(math.atan2(ax * by - ay * bx, ax * bx + ay * by))


def _check_together(name: str, value: float) -> None:
    if not 0.0 <= value <= 1.0:
        raise RangeError(
            f"{name} must be 0 (movements at the same time) to 1 (one after the other); got {value:g}. "
            "Take 0.25 for trolley with slew and 0.5 to 1 for hoisting with the rest."
        )
