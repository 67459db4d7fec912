"""How hard do stacked goods press on a young slab?

Load under a stack is its mass times gravity over its footprint; beside it stands what the slab may carry
while work goes on, which the temporary-works engineer decides. Loads in kN/m2.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from model.core.errors import RangeError
from model.inputs.assumption import Values
from model.site.deliveries import read_deliveries

GRAVITY: Final = 9.80665
"""Standard acceleration of gravity, 3rd CGPM 1901. [m/s2]"""


@dataclass(frozen=True, slots=True)
class StackLoad:
    """One kind of goods stacked on a slab.

    Attributes
    ----------
    goods : str
    mass_t, footprint_m2 : float
        Of one stack. [t, m2]
    load_kn_m2, allowance_kn_m2 : float
        Under the stack; what the slab may carry. [kN/m2]
    """

    goods: str
    mass_t: float
    footprint_m2: float
    load_kn_m2: float
    allowance_kn_m2: float

    @property
    def over(self) -> bool:
        """Whether the stack presses harder than the slab may carry."""
        return self.load_kn_m2 > self.allowance_kn_m2

    @property
    def slab_m2(self) -> float:
        """Slab over which the stack must be spread, or kept clear round it, to stay within. [m2]"""
        return max(self.footprint_m2, self.mass_t * GRAVITY / self.allowance_kn_m2)

    @property
    def caution(self) -> str:
        """What to mind, in a sentence; empty where the stack is within."""
        if not self.over:
            return ""
        return (
            f"{self.goods}: {self.load_kn_m2:.1f} kN/m² under the stack, "
            f"{self.allowance_kn_m2:.2g} kN/m² allowed on a young slab. Spread it on bearers, "
            f"no more than one to {self.slab_m2:.0f} m², or prop the slab; "
            "the temporary-works engineer decides."
        )


def stack_load(mass_t: float, footprint_m2: float) -> float:
    """Return the load under a stack.

    Parameters
    ----------
    mass_t : float
        Mass of the stack. [t, >= 0]
    footprint_m2 : float
        Area it stands on. [m2, > 0]

    Returns
    -------
    float
        Mass x gravity / area. [kN/m2]

    Raises
    ------
    RangeError
        If the mass is negative or the footprint not above 0.

    Examples
    --------
    >>> round(stack_load(1.85, 2.88), 2)
    6.3
    """
    if not mass_t >= 0 or not footprint_m2 > 0:
        raise RangeError(
            f"A stack has a mass of 0 t or more and a footprint above 0 m2; got {mass_t:g} t "
            f"on {footprint_m2:g} m2. Set both under stack.goods within their ranges."
        )
    return mass_t * GRAVITY / footprint_m2


def stack_loads(values: Values, activities: Collection[str]) -> tuple[StackLoad, ...]:
    """Return the stacks of the goods that some activities consume.

    Parameters
    ----------
    values : Values
        Records ``stack.*``.
    activities : collection of str
        Activities of the plan.

    Returns
    -------
    tuple of StackLoad
        Heaviest under the stack first.

    Raises
    ------
    RangeError
        If the allowance or a footprint is not above 0.
    """
    allowance = values["stack.allowance_kn_m2"]
    if allowance <= 0:
        raise RangeError(
            f"The load a young slab may carry must be above 0 kN/m2; got {allowance:g}. "
            "Set stack.allowance_kn_m2 to what the temporary-works engineer allows."
        )
    here = {delivery.id for delivery in read_deliveries() if delivery.activity in activities}
    found = []
    for name, table in values.library.data["stack"]["goods"].items():
        if here.intersection(table["deliveries"]):
            mass, area = (values[f"stack.goods.{name}.{figure}"] for figure in ("mass", "footprint"))
            found.append(StackLoad(table["label"], mass, area, stack_load(mass, area), allowance))
    return tuple(sorted(found, key=lambda stack: -stack.load_kn_m2))
