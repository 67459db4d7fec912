"""What does the second method change against the first, and how much of it is the walls'?

Contrasts finished cases; runs nothing. A positive number of weeks or a positive saving means the second
method is sooner; sums of money and counts are the second less the first.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from model.compare.case import Case
from model.compare.money_bridge import money_bridge
from model.compare.money_words import say_bridge
from model.inputs.scenario import Scenario


@dataclass(frozen=True)
class WallsOnly:
    """What only the wall elements of the second method change in the first."""

    weeks_to_first_handover: float
    weeks_to_last_handover: float
    profit: float


@dataclass(frozen=True, eq=False)
class Comparison:
    """Cases of a scenario side by side.

    Attributes
    ----------
    scenario : Scenario
    cases : tuple of Case
        In the scenario's order; differences are the second against the first.
    walls : Case
        The first method with the wall elements of the second.
    warnings : tuple of str
    """

    scenario: Scenario
    cases: tuple[Case, ...]
    walls: Case
    warnings: tuple[str, ...]

    @property
    def first(self) -> Case:
        """The method compared against."""
        return self.cases[0]

    @property
    def second(self) -> Case:
        """The method compared."""
        return self.cases[1]

    @property
    def longstop(self) -> dt.date:
        """Date by which the last handover is owed: the scenario's, else weeks after the first method's."""
        given = self.scenario.development.longstop
        if given is not None:
            return given
        plan = self.first.plan
        return plan.date(plan.last_handover + plan.values["money.longstop_weeks"] * 7.0)

    @property
    def walls_only(self) -> WallsOnly:
        """The part of the difference owed to the wall elements alone."""
        return WallsOnly(
            self.first.weeks_to_first_handover - self.walls.weeks_to_first_handover,
            self.first.weeks_to_last_handover - self.walls.weeks_to_last_handover,
            self.walls.account.profit - self.first.account.profit,
        )

    def difference(self) -> dict[str, Any]:
        """Return the second method against the first, as the command line prints it."""
        return difference(self.first, self.second, self.walls_only)

    def as_json(self) -> dict[str, Any]:
        """Return the whole comparison, as the command line prints it."""
        warnings = list(self.warnings)
        for case in self.cases:
            last = case.plan.date(case.plan.last_handover)
            if last > self.longstop:
                warnings.append(
                    f"{case.method.label}: the last handover, {last}, is past the longstop "
                    f"date, {self.longstop}. Agree a later date, or see what brings it forward."
                )
        methods = {case.method.id: case.as_json(warnings) for case in self.cases}
        return {
            "storeypace": tool_version(),
            "scenario": {
                "name": self.scenario.development.name,
                "fingerprint": self.scenario.fingerprint(),
            },
            "defaults_used": self.scenario.defaults_used,
            "longstop": self.longstop.isoformat(),
            "warnings": list(dict.fromkeys(warnings)),
            "methods": methods,
            "difference": self.difference(),
        }


def difference(first: Case, second: Case, walls_only: WallsOnly) -> dict[str, Any]:
    """Contrast two cases.

    Parameters
    ----------
    first, second : Case
    walls_only : WallsOnly

    Returns
    -------
    dict
        Weeks and saving positive where the second is sooner; everything else second less first.
    """
    a, b = first.account, second.account
    weeks = first.weeks_to_first_handover
    return {
        "weeks_to_first_handover": weeks - second.weeks_to_first_handover,
        "weeks_to_last_handover": first.weeks_to_last_handover - second.weeks_to_last_handover,
        "programme_saving_pct": 100.0 * (weeks - second.weeks_to_first_handover) / weeks,
        "walls_only": {
            "weeks_to_first_handover": walls_only.weeks_to_first_handover,
            "weeks_to_last_handover": walls_only.weeks_to_last_handover,
            "profit": walls_only.profit,
        },
        "blocks": [
            {"name": name, "weeks_to_ready": float(one - other) / 7.0}
            for name, one, other in zip(
                first.takeoff.layout.names, first.plan.ready_by_block, second.plan.ready_by_block, strict=True
            )
        ],
        "trades": len(second.site.trades) - len(first.site.trades),
        "hook_hours": second.site.hook_hours - first.site.hook_hours,
        "loads": second.site.loads_total - first.site.loads_total,
        "operative_days": second.site.operative_days - first.site.operative_days,
        "interest": b.interest - a.interest,
        "preliminaries": b.cost_of("preliminaries") - a.cost_of("preliminaries"),
        "premium": b.cost_of("premium") - a.cost_of("premium"),
        "profit": b.profit - a.profit,
        "npv": b.npv - a.npv,
        "peak_debt": b.peak_debt - a.peak_debt,
        "money": _money(first, second),
    }


def _money(first: Case, second: Case) -> dict[str, Any]:
    """Where the difference of profit comes from, by line of cash, and in words."""
    bridge = money_bridge(first.account, second.account)
    names = first.method.label, second.method.label
    sooner_first = first.weeks_to_first_handover - second.weeks_to_first_handover
    sooner_last = first.weeks_to_last_handover - second.weeks_to_last_handover
    return {
        "steps": bridge.frame().to_dict("records"),
        "said": say_bridge(bridge, sooner_first, sooner_last, names),
    }


def tool_version() -> str:
    """Return the installed version of the tool."""
    try:
        return version("storeypace")
    except PackageNotFoundError:  # run from a folder that was never installed
        return "unknown"
