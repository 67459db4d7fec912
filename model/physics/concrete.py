"""Young concrete: how strong is it at an age, and when may what holds it up be taken away?

Formulae only. Nothing here knows what a block, a panel or a programme is, and nothing here
replaces the temporary-works design: the engineer decides when a slab is struck and how it is
propped. Ages are days at 20 °C; `model.physics.maturity` turns calendar days into those.

Strengths in N/mm2 (cylinder), loads in kN/m2, ages in days.
"""

from __future__ import annotations

import math
from enum import Enum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.core.errors import RangeError

REFERENCE_AGE_DAYS: Final = 28.0
"""Age at which the strength class is defined. EN 1992-1-1:2004, 3.1.2(2). [days]"""

MEAN_MARGIN_N_MM2: Final = 8.0
"""Mean less characteristic cylinder strength. EN 1992-1-1:2004, table 3.1. [N/mm2]"""

EARLIEST_CHARACTERISTIC_DAYS: Final = 3.0
"""Youngest age for which f_ck(t) may be had without tests. EN 1992-1-1:2004, 3.1.2(5). [days]"""

STRIKING_EXPONENT: Final = 0.6
"""Exponent of the striking rule for flat slabs thinner than 350 mm. *Guide to flat slab formwork
and falsework*, Concrete Society, 2003 (recalled, not checked in print). [-]"""

BS8110_LEAST_DEGC: Final = 0.0
BS8110_GREATEST_DEGC: Final = 25.0
"""Range of the formulae of BS 8110-1:1997, table 6.2. [°C]"""


class Cement(Enum):
    """Hardening class of the cement, with the coefficient s of EN 1992-1-1:2004, 3.1.2(6)."""

    RAPID = 0.20
    NORMAL = 0.25
    SLOW = 0.38

    @property
    def s(self) -> float:
        """Coefficient s. [-]"""
        return float(self.value)


class Formwork(Enum):
    """What is taken away, with its sum in the formulae of BS 8110-1:1997, table 6.2."""

    VERTICAL = ("vertical faces", 300.0 / 24.0)
    SLAB_SOFFIT = ("soffit to slabs, props left under", 100.0)
    BEAM_SOFFIT = ("soffit to beams, props left under", 250.0)
    SLAB_PROPS = ("props to slabs", 250.0)
    BEAM_PROPS = ("props to beams", 360.0)

    @property
    def degree_days(self) -> float:
        """Days times degrees above -10 °C. [°C days]"""
        return self.value[1]


def strength_ratio(age_days: ArrayLike, s: float) -> NDArray[np.float64]:
    r"""Mean compressive strength at an age, over mean strength at 28 days.

    .. math:: \beta_{cc}(t) = \exp\{s\,[1 - \sqrt{28 / t}\,]\}

    Parameters
    ----------
    age_days : float or array, any shape
        Age at 20 °C. [days, > 0]
    s : float
        Coefficient of the cement, `Cement.s`. [-, > 0]

    Returns
    -------
    array, same shape as `age_days`
        1.0 at 28 days, above 1.0 after. [-]

    Raises
    ------
    RangeError
        If any age or the coefficient is not above zero.

    Notes
    -----
    Holds for curing at 20 °C. Below three days the standard asks for tests: treat the result there
    as a guide, and never use it to excuse concrete that failed its cubes.

    References
    ----------
    EN 1992-1-1:2004, *Design of concrete structures*, CEN, 3.1.2(6), exp. (3.1) and (3.2).

    Examples
    --------
    >>> round(float(strength_ratio(7, Cement.NORMAL.s)), 4)
    0.7788
    """
    _check_s(s)
    age = np.asarray(age_days, dtype=float)
    if not np.all(age > 0):
        raise RangeError(
            f"Concrete age must be above 0 days; got {float(age.min()):g}. "
            "Count age from the end of the pour, not from the start of the floor."
        )
    return np.asarray(np.exp(s * (1.0 - np.sqrt(REFERENCE_AGE_DAYS / age))))


def age_at_ratio(ratio: float, s: float) -> float:
    r"""Age at 20 °C at which a share of the mean 28-day strength is reached.

    The inverse of `strength_ratio`: :math:`t = 28 / (1 - \ln(\beta) / s)^2`.

    Parameters
    ----------
    ratio : float
        Mean strength over mean 28-day strength. [-, above 0, below exp(s)]
    s : float
        Coefficient of the cement. [-, > 0]

    Returns
    -------
    float
        [days]

    Raises
    ------
    RangeError
        If the ratio is not above zero, or is one that the formula never reaches.

    References
    ----------
    EN 1992-1-1:2004, 3.1.2(6), exp. (3.2), solved for t.

    Examples
    --------
    >>> round(age_at_ratio(0.90, 0.25), 3)
    13.858
    """
    _check_s(s)
    if not 0.0 < ratio < math.exp(s):
        raise RangeError(
            f"A strength ratio must be above 0 and below exp(s) = {math.exp(s):.3f}, which concrete with "
            f"s = {s:g} never passes; got {ratio:g}. Ask for 1.00 or less, the strength at 28 days."
        )
    return float(REFERENCE_AGE_DAYS / (1.0 - math.log(ratio) / s) ** 2)


def mean_strength(fck: float, age_days: float, s: float) -> float:
    """Mean cylinder strength at an age.

    Parameters
    ----------
    fck : float
        Characteristic cylinder strength at 28 days. [N/mm2, > 0]
    age_days : float
        Age at 20 °C. [days, > 0]
    s : float
        Coefficient of the cement. [-]

    Returns
    -------
    float
        (f_ck + 8) times the strength ratio. [N/mm2]

    References
    ----------
    EN 1992-1-1:2004, 3.1.2(6) and table 3.1.
    """
    if not fck > 0:
        raise RangeError(f"The strength class must be above 0 N/mm2; got {fck:g}. C30/37 has f_ck = 30.")
    return (fck + MEAN_MARGIN_N_MM2) * float(strength_ratio(age_days, s))


def characteristic_strength(fck: float, age_days: float, s: float) -> float:
    """Characteristic cylinder strength at an age.

    Parameters
    ----------
    fck : float
        Characteristic cylinder strength at 28 days. [N/mm2, > 0]
    age_days : float
        Age at 20 °C. [days, >= 3]
    s : float
        Coefficient of the cement. [-]

    Returns
    -------
    float
        f_cm(t) - 8 up to 28 days, f_ck from then on. [N/mm2]

    Raises
    ------
    RangeError
        Before three days, where the standard asks for tests, and where nothing is left of the
        mean strength once 8 N/mm2 are taken off.

    References
    ----------
    EN 1992-1-1:2004, 3.1.2(5).
    """
    if not age_days >= EARLIEST_CHARACTERISTIC_DAYS:
        raise RangeError(
            f"A characteristic strength needs an age of 3 days or more; got {age_days:g}. "
            "EN 1992-1-1, 3.1.2(5) asks for cubes before that: use test results."
        )
    mean = mean_strength(fck, age_days, s)
    if age_days >= REFERENCE_AGE_DAYS:
        return fck
    if mean <= MEAN_MARGIN_N_MM2:
        raise RangeError(
            f"Concrete with f_ck = {fck:g} N/mm2 and s = {s:g} has a mean strength of {mean:.1f} N/mm2 at "
            f"{age_days:g} days, no more than the margin of 8. Take a later age or a higher class."
        )
    return mean - MEAN_MARGIN_N_MM2


def bs8110_days(formwork: Formwork, temperature_degc: float) -> float:
    """Least time before formwork or props are taken away, by the withdrawn British table.

    Parameters
    ----------
    formwork : Formwork
        What is taken away.
    temperature_degc : float
        Surface temperature of the concrete. [°C, 0 to 25]

    Returns
    -------
    float
        [days]

    Raises
    ------
    RangeError
        Outside the range of the table.

    Notes
    -----
    Withdrawn in 2010, still quoted in specifications: here for comparison, nothing is timed by it.

    References
    ----------
    BS 8110-1:1997, *Structural use of concrete*, BSI, 6.2.6.3.1 and table 6.2 (as quoted).

    Examples
    --------
    >>> round(bs8110_days(Formwork.SLAB_PROPS, 7), 2)
    14.71
    """
    if not BS8110_LEAST_DEGC <= temperature_degc <= BS8110_GREATEST_DEGC:
        raise RangeError(
            f"BS 8110 table 6.2 holds from 0 to 25 °C; got {temperature_degc:g}. "
            "Use equivalent age (model.physics.maturity) outside that range."
        )
    return formwork.degree_days / (temperature_degc + 10.0)


def service_load(slab_kn_m2: float, superimposed_kn_m2: float, imposed_kn_m2: float) -> float:
    """Unfactored load a slab is designed to carry in use.

    Parameters
    ----------
    slab_kn_m2, superimposed_kn_m2, imposed_kn_m2 : float
        Own weight, finishes and partitions, people and furniture. [kN/m2, >= 0]

    Returns
    -------
    float
        [kN/m2]
    """
    _check_loads(slab_kn_m2, superimposed_kn_m2, imposed_kn_m2)
    return slab_kn_m2 + superimposed_kn_m2 + imposed_kn_m2


def striking_load_ratio(
    slab_kn_m2: float, superimposed_kn_m2: float, imposed_kn_m2: float, striking_kn_m2: float
) -> float:
    """Load on a slab when it is struck, over the load it is designed for (w / w_ser).

    Parameters
    ----------
    slab_kn_m2, superimposed_kn_m2, imposed_kn_m2 : float
        As in `service_load`. [kN/m2]
    striking_kn_m2 : float
        Load of people and stored things on the slab at that time. [kN/m2, >= 0]

    Returns
    -------
    float
        [-]

    Examples
    --------
    A slab of 225 mm at 25 kN/m3:

    >>> round(striking_load_ratio(5.625, 1.5, 1.5, 0.75), 3)
    0.739
    """
    _check_loads(striking_kn_m2)
    return (slab_kn_m2 + striking_kn_m2) / service_load(slab_kn_m2, superimposed_kn_m2, imposed_kn_m2)


def striking_ratio(w_over_wser: float) -> float:
    """Strength needed to strike a flat slab, over its specified strength.

    Parameters
    ----------
    w_over_wser : float
        Unfactored load at striking over unfactored design service load. [-, above 0, up to 1]

    Returns
    -------
    float
        Early over specified strength. [-]

    Raises
    ------
    RangeError
        If the slab would carry more than it is designed for.

    Notes
    -----
    For slabs thinner than 350 mm. The exponent is recalled, not checked in print.

    References
    ----------
    *Guide to flat slab formwork and falsework*, Concrete Society, 2003: w/w_ser <= (f_c/f_cu)^0.6.

    Examples
    --------
    >>> round(striking_ratio(0.739), 3)
    0.604
    """
    if not 0.0 < w_over_wser <= 1.0:
        raise RangeError(
            f"Load at striking over design load must be above 0 and no more than 1; got {w_over_wser:g}. "
            "A slab that would carry more than it is designed for may not be struck: leave it propped."
        )
    return float(w_over_wser ** (1.0 / STRIKING_EXPONENT))


def load_under_next_pour(slab_kn_m2: float, construction_kn_m2: float, share: float) -> float:
    """Load on the slab that supports the next pour.

    Parameters
    ----------
    slab_kn_m2 : float
        Own weight of a slab, the same above and below. [kN/m2]
    construction_kn_m2 : float
        Formwork and people on the new pour together. [kN/m2]
    share : float
        Part of the new pour that the supporting slab keeps; the rest goes down the back-props. [0 to 1]

    Returns
    -------
    float
        [kN/m2]

    References
    ----------
    *Guide to flat slab formwork and falsework*, Concrete Society, 2003, method one (shares recalled).
    """
    _check_loads(slab_kn_m2, construction_kn_m2)
    if not 0.0 <= share <= 1.0:
        raise RangeError(
            f"The share of a new pour kept by the slab under it must be 0 to 1; got {share:g}. "
            "Write 70 % as 0.70."
        )
    return slab_kn_m2 + share * (slab_kn_m2 + construction_kn_m2)


def levels_of_backprops(
    slab_kn_m2: float,
    superimposed_kn_m2: float,
    imposed_kn_m2: float,
    construction_kn_m2: float,
    share_one_level: float,
    share_two_levels: float,
) -> int:
    """Number of further pours through which the props of a slab stay.

    One level of back-props is enough where the supporting slab, with what it keeps of the new pour,
    stays within its design service load; otherwise two.

    Parameters
    ----------
    slab_kn_m2, superimposed_kn_m2, imposed_kn_m2 : float
        As in `service_load`. [kN/m2]
    construction_kn_m2 : float
        Formwork (about 0.5) and people (about 1.5) on the new pour together. [kN/m2]
    share_one_level, share_two_levels : float
        Part of a new pour kept by the supporting slab with one and with two levels. [0 to 1]

    Returns
    -------
    int
        1 or 2.

    Raises
    ------
    RangeError
        If a second level would load the supporting slab more than one does.

    Notes
    -----
    The guide goes no further than two levels. Where the load passes the design load even then
    (`load_under_next_pour` with `share_two_levels`), as it does for most slabs of flats, the
    temporary-works engineer decides; two stands here for planning.

    References
    ----------
    *Guide to flat slab formwork and falsework*, Concrete Society, 2003, method one.

    Examples
    --------
    >>> levels_of_backprops(5.625, 1.5, 1.5, 2.0, 0.70, 0.65)
    2
    """
    if not share_two_levels <= share_one_level:
        raise RangeError(
            f"With two levels of back-props the supporting slab keeps {share_two_levels:g} of a pour, "
            f"more than the {share_one_level:g} it keeps with one. "
            "Set the share for two levels at or below that for one."
        )
    load_under_next_pour(slab_kn_m2, construction_kn_m2, share_two_levels)  # refuses a share outside 0 to 1
    load = load_under_next_pour(slab_kn_m2, construction_kn_m2, share_one_level)
    return 1 if load <= service_load(slab_kn_m2, superimposed_kn_m2, imposed_kn_m2) else 2


def _check_s(s: float) -> None:
    if not 0 < s <= 1:
        raise RangeError(
            f"The cement coefficient s must be {'at most 1' if s > 1 else 'above 0'}; got {s:g}. "
            "EN 1992-1-1, 3.1.2(6) gives 0.20 (rapid), 0.25 (normal) and 0.38 (slow)."
        )


def _check_loads(*loads: float) -> None:
    for load in loads:
        if not (load >= 0 and math.isfinite(load)):
            raise RangeError(f"A load on a slab must be 0 kN/m2 or more; got {load:g}. Give loads downwards.")
