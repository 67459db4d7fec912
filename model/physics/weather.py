"""Wind at the hook: in what share of working hours is it above a limit?

From the mean wind on open ground to the wind at hook height over the site's own terrain, and from
there to the share of hours in which a gust, or the hourly mean, passes a limit. Whether a limit is
a gust or a mean outweighs every other choice here, so it is always stated.

A planning figure. The profile is the standard's for strong wind, the spread of hourly means is
Rayleigh's, and an hour counts as lost when its expected 3-second peak passes the limit: a little
on the careful side. It knows nothing of shelter, funnelling or the load on the hook; the lift plan and the
anemometer govern.

Speeds in m/s, heights in m above ground, shares 0 to 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError

GREATEST_HEIGHT_M: Final = 200.0
"""Height to which the logarithmic profile holds. EN 1991-1-4:2005, 4.3.2(1). [m]"""

TERRAIN_FACTOR: Final = 0.19
TERRAIN_EXPONENT: Final = 0.07
OPEN_ROUGHNESS_M: Final = 0.05
"""k_r = 0.19 (z0 / 0.05)^0.07. EN 1991-1-4:2005, exp. (4.5)."""

GUST_COEFFICIENT: Final = 7.0
"""Peak pressure = (1 + 7 I_v) times mean pressure. EN 1991-1-4:2005, exp. (4.8)."""

REFERENCE_HEIGHT_M: Final = 10.0
"""Height of the mean wind that is given, on open ground. EN 1991-1-4:2005, 4.2(1). [m]"""

RAYLEIGH_SHAPE: Final = 2.0
"""Weibull shape at which hourly mean winds follow Rayleigh's distribution. [-]"""

AREA_RULE_M2_PER_T: Final = 1.2
"""Drag area per tonne above which the permitted wind falls. FEM 5.016 and EN 13000 (as quoted). [m2/t]"""

LimitIs = Literal["gust", "mean"]


@dataclass(frozen=True, slots=True)
class Roughness:
    """A terrain category of EN 1991-1-4:2005, table 4.1.

    Attributes
    ----------
    category : str
        ``0`` to ``IV``.
    label : str
        What the ground is like.
    length_m : float
        Roughness length z0. [m]
    least_height_m : float
        Height z_min below which the wind is taken as constant. [m]
    """

    category: str
    label: str
    length_m: float
    least_height_m: float


ROUGHNESS: Final[dict[str, Roughness]] = {
    "sea": Roughness("0", "sea or open coast", 0.003, 1.0),
    "flat": Roughness("I", "lakes, or flat ground without obstacles", 0.01, 1.0),
    "open": Roughness("II", "low vegetation, scattered obstacles", 0.05, 2.0),
    "suburb": Roughness("III", "villages, suburbs, forest", 0.3, 5.0),
    "town": Roughness("IV", "15 % or more built over, mean height above 15 m", 1.0, 10.0),
}
"""Terrain categories by the names used here. EN 1991-1-4:2005, table 4.1."""

TERRAINS: Final = ("open", "suburb", "town")
"""What may be chosen for a site."""


def roughness_factor(height_m: float, terrain: str) -> float:
    r"""Mean wind at a height over a terrain, over the basic wind velocity.

    .. math:: c_r(z) = k_r \ln(z / z_0), \quad k_r = 0.19\,(z_0 / 0.05)^{0.07}

    Parameters
    ----------
    height_m : float
        Height above ground. [m, above 0, up to 200]
    terrain : str
        A key of `ROUGHNESS`.

    Returns
    -------
    float
        [-]

    Raises
    ------
    RangeError
        If the terrain is unknown or the height is outside the profile.

    Notes
    -----
    The United Kingdom's national annex replaces the formula by charts with distance from the sea
    and upwind of the town; the formula serves for planning.

    References
    ----------
    EN 1991-1-4:2005, *Wind actions*, CEN, 4.3.2, exp. (4.4) and (4.5), table 4.1.

    Examples
    --------
    >>> round(roughness_factor(60, "town"), 4)
    0.9594
    """
    ground = _ground(terrain)
    factor: float = TERRAIN_FACTOR * (ground.length_m / OPEN_ROUGHNESS_M) ** TERRAIN_EXPONENT
    return factor * math.log(_profile_height(height_m, ground) / ground.length_m)


def turbulence_intensity(height_m: float, terrain: str) -> float:
    """Standard deviation of the wind over its mean, 1 / ln(z / z0).

    Parameters
    ----------
    height_m, terrain
        As in `roughness_factor`.

    Returns
    -------
    float
        [-]

    References
    ----------
    EN 1991-1-4:2005, 4.4, exp. (4.7), with k_l = 1 and flat ground.
    """
    ground = _ground(terrain)
    return 1.0 / math.log(_profile_height(height_m, ground) / ground.length_m)


def gust_factor(height_m: float, terrain: str) -> float:
    """Peak gust of an hour over its mean wind, sqrt(1 + 7 I_v).

    Parameters
    ----------
    height_m, terrain
        As in `roughness_factor`.

    Returns
    -------
    float
        [-]

    References
    ----------
    EN 1991-1-4:2005, 4.5, exp. (4.8): the root of the factor on pressure.
    """
    return math.sqrt(1.0 + GUST_COEFFICIENT * turbulence_intensity(height_m, terrain))


def mean_wind_ratio(height_m: float, terrain: str) -> float:
    """Mean wind at a height over a terrain, over the mean wind at 10 m on open ground.

    Parameters
    ----------
    height_m, terrain
        As in `roughness_factor`.

    Returns
    -------
    float
        [-]
    """
    return roughness_factor(height_m, terrain) / roughness_factor(REFERENCE_HEIGHT_M, "open")


def gust_wind_ratio(height_m: float, terrain: str) -> float:
    """Peak gust at a height over a terrain, over the mean wind at 10 m on open ground.

    Parameters
    ----------
    height_m, terrain
        As in `roughness_factor`.

    Returns
    -------
    float
        [-]

    Examples
    --------
    >>> round(gust_wind_ratio(60, "town"), 4)
    1.5688
    """
    return mean_wind_ratio(height_m, terrain) * gust_factor(height_m, terrain)


def exceedance(speed_ms: ArrayLike, mean_ms: ArrayLike, shape: float = RAYLEIGH_SHAPE) -> NDArray[np.float64]:
    r"""Share of hours in which the hourly mean wind passes a speed.

    .. math:: P(V > v) = \exp\{-[v\,\Gamma(1 + 1/k) / \bar V]^k\}

    Parameters
    ----------
    speed_ms : float or array
        Speed in question. [m/s, >= 0]
    mean_ms : float or array
        Mean of the hourly means. [m/s, > 0]
    shape : float
        Weibull shape k; 2 is Rayleigh's distribution. [-, > 0]

    Returns
    -------
    array
        [0 to 1]

    Raises
    ------
    RangeError
        If a speed is negative, or a mean or the shape is not above zero.

    Examples
    --------
    >>> round(float(exceedance(8, 5)), 4)
    0.1339
    """
    speed, mean = np.asarray(speed_ms, dtype=float), np.asarray(mean_ms, dtype=float)
    if not np.all(mean > 0):
        raise RangeError(
            f"The mean wind must be above 0 m/s; got {float(mean.min()):g}. "
            "No site is without wind: take the mean of the nearest open station."
        )
    if not np.all(speed >= 0):
        raise RangeError(
            f"A wind speed must be 0 m/s or more; got {float(speed.min()):g}. Give it without direction."
        )
    if not shape > 0:
        raise RangeError(
            f"The Weibull shape must be above 0; got {shape:g}. British stations lie between 1.4 and 2.1."
        )
    return np.asarray(np.exp(-((speed * math.gamma(1.0 + 1.0 / shape) / mean) ** shape)))


def hours_lost(
    day_mean_10m: ArrayLike,
    hook_height_m: float,
    terrain: str,
    limit_ms: float,
    limit_is: LimitIs = "gust",
    shape: float = RAYLEIGH_SHAPE,
) -> NDArray[np.float64]:
    """Share of working hours in which the wind at the hook passes a limit.

    Parameters
    ----------
    day_mean_10m : array, shape (12,) or any
        Mean wind in working hours at 10 m on open ground, by month. [m/s, > 0]
    hook_height_m : float
        Height of the hook. [m, above 0, up to 200]
    terrain : str
        ``open``, ``suburb`` or ``town`` (or another key of `ROUGHNESS`).
    limit_ms : float
        Limit. [m/s, > 0]
    limit_is : ``gust`` or ``mean``
        Whether the limit is on the 3-second gust or on the hourly mean, both at the hook.
    shape : float
        Weibull shape of the hourly means. [-]

    Returns
    -------
    array, same shape as `day_mean_10m`
        Share of working hours lost. [0 to 1]

    Raises
    ------
    RangeError
        If the limit is not above zero or its kind is not stated.

    Notes
    -----
    A gust limit counts an hour as lost whole when its expected peak passes the limit: an upper bound.

    References
    ----------
    EN 1991-1-4:2005, 4.3 to 4.5, for the profile and the peak.
    """
    if not limit_ms > 0:
        raise RangeError(
            f"A wind limit must be above 0 m/s; got {limit_ms:g}. "
            "Take the limit of the crane or the lift plan."
        )
    if limit_is not in ("gust", "mean"):
        raise RangeError(
            f"A wind limit is on the 'gust' or on the 'mean'; got {limit_is!r}. Ask which one is meant."
        )
    ratio = gust_wind_ratio if limit_is == "gust" else mean_wind_ratio
    return exceedance(limit_ms / ratio(hook_height_m, terrain), day_mean_10m, shape)


def area_rule_limit(limit_ms: float, mass_t: float, area_m2: float, drag: float) -> float:
    r"""Wind at which a large light load should stay on the ground, by the area rule.

    .. math:: v = v_t \sqrt{1.2\,m / (c_w A)}, \quad \text{never above } v_t

    Parameters
    ----------
    limit_ms : float
        Limit of the crane for ordinary loads, v_t. [m/s, > 0]
    mass_t : float
        Mass on the hook, m. [t, > 0]
    area_m2 : float
        Projected area, A. [m2, > 0]
    drag : float
        Drag coefficient, c_w; 1.1 to 1.4 for a flat plate. [-, > 0]

    Returns
    -------
    float
        [m/s, gust or mean as `limit_ms` is]

    Raises
    ------
    RangeError
        If an argument is not above zero.

    Notes
    -----
    Written for mobile cranes. For light panels it falls so low that few would be lifted by it, which
    is not what sites do: it warns, it never schedules. The limit declared in the lift plan governs.

    References
    ----------
    FEM 5.016, *Guideline: safety issues in wind turbine installation and transportation*, and
    EN 13000, mobile cranes: 1.2 m2/t (as quoted; root form confirmed by a loader-crane manual).

    Examples
    --------
    >>> round(area_rule_limit(16.5, 2.0, 9.0, 1.2), 2)
    7.78
    """
    for name, value in (("limit", limit_ms), ("mass", mass_t), ("area", area_m2), ("drag coefficient", drag)):
        if not value > 0:
            raise RangeError(
                f"The {name} of a load in the wind must be above 0; got {value:g}. Give the load as lifted."
            )
    return limit_ms * min(1.0, math.sqrt(AREA_RULE_M2_PER_T * mass_t / (drag * area_m2)))


def area_rule_warning(
    declared_ms: float, limit_ms: float, mass_t: float, area_m2: float, drag: float
) -> str | None:
    """Say so where the limit declared for a large load is above the area rule.

    Parameters
    ----------
    declared_ms : float
        Limit declared for the load. [m/s]
    limit_ms, mass_t, area_m2, drag : float
        As in `area_rule_limit`.

    Returns
    -------
    str or None
        A sentence, or nothing where the declared limit is within the rule.
    """
    rule = area_rule_limit(limit_ms, mass_t, area_m2, drag)
    if declared_ms <= rule:
        return None
    return (
        f"A load of {mass_t:.1f} t and {area_m2:.0f} m2 is declared liftable up to {declared_ms:g} m/s; "
        f"the area rule for mobile cranes (1.2 m2 of drag area a tonne) would stop at {rule:.1f} m/s. "
        "The lift plan decides."
    )


def _ground(terrain: str) -> Roughness:
    if terrain not in ROUGHNESS:
        raise RangeError(
            f"Terrain must be one of {', '.join(ROUGHNESS)}; got {terrain!r}. Choose the nearest."
        )
    return ROUGHNESS[terrain]


def _profile_height(height_m: float, ground: Roughness) -> float:
    """Return the height at which the profile is read: z_min below z_min, by the standard."""
    if not 0.0 < height_m <= GREATEST_HEIGHT_M:
        raise RangeError(
            f"The wind profile holds above 0 and up to 200 m; got {height_m:g} m. "
            "Higher hooks need the wind study of the site."
        )
    return max(height_m, ground.least_height_m)
