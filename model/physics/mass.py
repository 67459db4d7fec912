"""A wall in kilograms: what does a square metre weigh, and what hangs on the hook?

Sums only. It knows no products: layers are given by thickness and density, or by their mass per
square metre, and come from the library.

Areal mass in kg/m2, loads in t.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from model.core.errors import RangeError

GLASS_KG_M3: Final = 2500.0
"""Density of soda-lime float glass. EN 572-1. [kg/m3]"""


def layer_mass(thickness_mm: float, density_kg_m3: float) -> float:
    """Areal mass of a solid layer.

    Parameters
    ----------
    thickness_mm : float
        [mm, >= 0]
    density_kg_m3 : float
        [kg/m3, >= 0]

    Returns
    -------
    float
        [kg/m2]

    Examples
    --------
    >>> layer_mass(12, GLASS_KG_M3)
    30.0
    """
    _check("thickness", thickness_mm)
    _check("density", density_kg_m3)
    return thickness_mm / 1000.0 * density_kg_m3


def build_up_mass(layers_kg_m2: Iterable[float]) -> float:
    """Areal mass of a wall from that of its layers.

    Parameters
    ----------
    layers_kg_m2 : iterable of float
        Areal mass of each layer, repeated as often as it is built. [kg/m2, >= 0]

    Returns
    -------
    float
        [kg/m2]
    """
    layers = list(layers_kg_m2)
    for layer in layers:
        _check("areal mass of a layer", layer)
    return math.fsum(layers)


def gross_areal_mass(opaque_kg_m2: float, glazed_kg_m2: float, glazed_share: float) -> float:
    """Areal mass of a wall with windows, over its whole area.

    Parameters
    ----------
    opaque_kg_m2, glazed_kg_m2 : float
        Areal mass of the solid wall and of the windows with their frames. [kg/m2, >= 0]
    glazed_share : float
        Windows over whole area. [0 to 1]

    Returns
    -------
    float
        [kg/m2]

    Raises
    ------
    RangeError
        If the share is outside 0 to 1.

    Examples
    --------
    >>> round(gross_areal_mass(100.0, 47.0, 0.30), 1)
    84.1
    """
    _check("areal mass of the solid wall", opaque_kg_m2)
    _check("areal mass of the windows", glazed_kg_m2)
    if not 0.0 <= glazed_share <= 1.0:
        raise RangeError(
            f"The glazed share of a wall must be 0 to 1; got {glazed_share:g}. Write 30 % as 0.30."
        )
    return (1.0 - glazed_share) * opaque_kg_m2 + glazed_share * glazed_kg_m2


def panel_mass_t(area_m2: float, areal_kg_m2: float, addition: float = 0.0) -> float:
    """Mass of a panel.

    Parameters
    ----------
    area_m2 : float
        Whole area of the panel, windows included. [m2, >= 0]
    areal_kg_m2 : float
        Areal mass over that area. [kg/m2, >= 0]
    addition : float
        Bracing, lifting points and moisture, as a share. [-, >= 0]

    Returns
    -------
    float
        [t]

    Examples
    --------
    >>> round(panel_mass_t(7.2 * 2.9, 84.1, 0.05), 2)
    1.84
    """
    _check("area of a panel", area_m2)
    _check("areal mass of a panel", areal_kg_m2)
    _check("addition for bracing and moisture", addition)
    return area_m2 * areal_kg_m2 * (1.0 + addition) / 1000.0


def hook_load_t(panel_t: float, beam_t: float) -> float:
    """Mass on the hook: the panel with the lifting beam and slings.

    Parameters
    ----------
    panel_t, beam_t : float
        [t, >= 0]

    Returns
    -------
    float
        [t]
    """
    _check("mass of a panel", panel_t)
    _check("mass of the lifting beam", beam_t)
    return panel_t + beam_t


def _check(name: str, value: float) -> None:
    if not (value >= 0 and math.isfinite(value)):
        raise RangeError(f"The {name} must be 0 or more; got {value:g}. Leave out what is not there.")
