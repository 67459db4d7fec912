"""Check values of the trade beside the model's own figures; `python tests/check_values.py` prints them.

What the trade says is common practice without a source unless a row says otherwise. Every block counts
from its own start. A row outside its range is not hidden: it says why.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from model import compare_methods, load_scenario
from model.compare import Case, Comparison
from model.inputs.method import read_catalogue
from model.programme.kernel import FRAME_USE, PANEL_USE
from model.site.deliveries import read_deliveries

ROOT = Path(__file__).parents[1]
TODAY = dt.date(2026, 11, 25)

BAND_WEEKS = {  # storeys: (low, likely, high), site start to handover of one conventional block
    5.5: (48, 65, 90),
    10: (62, 85, 115),
    15: (75, 100, 135),
    20: (85, 115, 155),
    30: (105, 145, 195),
    40: (125, 175, 235),
}
"""Weeks by storeys: common practice, no source."""

BRICKLAYERS_OF_GANG = 2 / 3
"""Two bricklayers and a labourer."""

PLATE_M2 = 650.0
"""Middle of the plates, 500 to 800 m2, that the cycle of 5 to 10 days is for."""

WITH_OUTPUTS = {
    "core_forms", "column_forms", "core_rebar", "column_rebar", "core_pour", "column_pour",
    "column_set", "deck_props", "deck_panels", "deck_tables", "slab_rebar", "slab_pour", "access",
    "wall_frame", "sheathing", "insulation", "windows", "balcony_doors", "lining", "brickwork",
    "panel_set", "panel_set_edge", "panel_joints", "panel_joints_edge", "separating_built",
    "separating_set", "partition_frame", "close_walls", "ceilings", "taping", "services_first",
    "services_second", "levelling", "bathrooms_built", "kitchens", "joinery", "floors", "mist",
    "decoration", "flat_completion",
}  # fmt: skip
"""Activities for which the table of working outputs has a row."""

TABLE_LIFTS = ((70, 6), (60, 6), (5, 6), (2, 25), (86, 8), (4, 6), (14, 6), (10, 8), (6, 8))
"""Lifts of a storey of 855 m2 and minutes of each, as the table of activities gives them for the frame:
wall and column forms, their concrete, their steel, stairs, deck, edges, slab steel, strike, props."""

TABLE_HOOK = sum(lifts * minutes for lifts, minutes in TABLE_LIFTS) / 60 / 0.855
"""What that table adds up to. [h per 1,000 m2]"""


@dataclass(frozen=True)
class Row:
    """One check value: what the trade says and what each method gives."""

    label: str
    unit: str
    low: float | None
    high: float | None
    figures: dict[str, float | None]
    half_step: float = 0.5
    why: str = ""

    def outside(self) -> list[str]:
        """Return the methods whose figure lies outside the range, by half a unit of its last digit."""
        low = -np.inf if self.low is None else self.low - self.half_step
        high = np.inf if self.high is None else self.high + self.half_step
        return [name for name, x in self.figures.items() if x is not None and not low <= x <= high]

    @property
    def trade(self) -> str:
        """The range in words."""
        if self.low is None and self.high is None:
            return "reported"
        if self.low is None:
            return f"up to {self.high:g}"
        if self.high is None or self.low == self.high:
            return f"{self.low:g}"
        return f"{self.low:.3g} to {self.high:.3g}"


def rows(comparison: Comparison) -> list[Row]:
    """Return every check value for a comparison.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    list of Row
        One a check value, figures by the id of the method.
    """
    cases = comparison.cases

    def row(label, unit, low, high, figure, half_step=0.5, why="", only=None):
        figures = {case.method.id: figure(case) for case in cases if only is None or only(case)}
        return Row(label, unit, low, high, figures, half_step, why)

    per_lift = "Separating panels take 12 minutes and outer panels 15, where the trade says 15 for all."
    found = [
        row(f"Storey cycle, scaled to a plate of {PLATE_M2:g} m²", "working days", 5, 10, cycle_working_days),
        row(
            "Frame people at work in a block, mean while it rises", "people", 20, 24, frame_crew,
            why="The same gangs: precast columns and panel decking leave them less to do.",
        ),
        row(
            "Frame hook time, no double handling", "h per 1,000 m²", 45, 65, frame_hook,
            why=f"The lifts and minutes of the table of activities add to {TABLE_HOOK:.0f}: it has no row "
            "for bundles of services, plant and sundries, some 60 lifts, and most take 6 minutes, not 8; "
            "below 40 m the hook travels less than its minutes hold.",
        ),
        row(
            "Panel lifts of a storey", "no.", 72, 72, panel_lifts, only=has_panels,
            why="32 outer and 42 separating panels: whole panels in each zone; more on larger plates.",
        ),
        row("Panel hook time of a storey", "h", 18, 18, panel_hours, only=has_panels, why=per_lift),
        row("Panel hook time of a flat", "h", 2.0, 2.0, panel_hours_of_flat, 0.05, per_lift, has_panels),
        row("Minutes of a panel lift", "min", 6, 25, panel_minutes, only=has_panels),
        row(
            "Flats' walls on a panel lorry", "no.", 3, 3, flats_on_a_lorry, only=has_panels,
            why="The trade's 24 panels a lorry fit for thin separating panels; eight outer ones of 0.3 to "
            "0.45 m fill it, and the last lorry of a storey goes part full.",
        ),
        row("Panels made in the busiest week", "no.", None, 135, panels_made, only=has_panels),
        row("Panels set in the busiest week", "no.", None, None, panels_set, only=has_panels),
        row(
            "Productive hours, activities with an output of the trade", "h/m²", 8.5, 8.5, productive_hours,
            0.05, "Loose props take 0.3 h/m² more than the system deck of the table; panels leave out "
            "framing, windows, lining and separating walls.",
        ),
        row("Paid hours, everybody on site", "h/m²", 16, 32, lambda case: case.site.hours_per_m2),
        row(
            "People on a storey, most at once", "per 20 m²", None, 1, people_on_storey, 0.05,
            "Room is kept task by task: forms and steel of columns and core are worked side by side.",
        ),
        row("Working time of storeys with more than 1 for 20 m²", "%", None, None, crowded_time),
        row(
            "Bricklayers in a block while there is brickwork", "people", 5, 6, bricklayers,
            why="One travelling pool of gangs serves several blocks at the pace of their frames.",
        ),
    ]  # fmt: skip
    for b, name in enumerate(cases[0].takeoff.layout.names):
        storeys = cases[0].takeoff.layout.storeys[b]
        low, _likely, high = band_weeks(storeys)
        conventional = [case for case in cases if case.method.like == "open_frame"]
        weeks = {case.method.id: float(block_weeks(case)[b]) for case in conventional}
        found.append(Row(f"Start to handover, {name}, {storeys} storeys", "weeks", low, high, weeks))
    for b, name in enumerate(cases[0].takeoff.layout.names):
        said = "The trade says 4 with loose props and 2 with panels: common practice, no source."
        lags = {case.method.id: float(case.lag_storeys[b]) for case in cases}
        known = {method: lag if np.isfinite(lag) else None for method, lag in lags.items()}
        found.append(Row(f"Inside trades below the deck, {name}", "storeys", None, None, known, 0.5, said))
    return found


def band_weeks(storeys: float) -> tuple[float, float, float]:
    """Return the band of weeks for a conventional block, between the rows of `BAND_WEEKS`."""
    x = list(BAND_WEEKS)
    low, likely, high = (
        float(np.interp(storeys, x, column)) for column in zip(*BAND_WEEKS.values(), strict=True)
    )
    return low, likely, high


def has_panels(case: Case) -> bool:
    """Say whether a method fixes panels."""
    return case.site.panels > 0


def block_weeks(case: Case) -> np.ndarray:
    """Weeks from each block's own start to its handover."""
    starts = case.plan.start[case.plan.network.tasks_of("activity:substructure")]
    return (case.plan.ready_by_block - starts) / 7


def cycle_working_days(case: Case) -> float:
    """Median cycle of the blocks in working days, for a plate of `PLATE_M2`."""
    plates = case.takeoff.by_block["plate_m2"] / np.maximum(case.takeoff.by_block["block_no"], 1)
    return float(np.median(case.cycle_days * case.plan.conditions.mean_open * PLATE_M2 / plates))


def at_once(start: np.ndarray, finish: np.ndarray, people: np.ndarray) -> float:
    """Most people at once over spans of time."""
    times = np.concatenate([finish - 1e-9, start])
    change = np.concatenate([-people, people])
    order = np.argsort(times, kind="stable")
    return float(np.cumsum(change[order]).max(initial=0.0))


def _by_storey(case: Case) -> list[tuple[np.ndarray, float]]:
    """Tasks with people on every storey, and its floor area. [m2]"""
    network, layout = case.plan.network, case.takeoff.layout
    there = (case.plan.tasks.work > 0) & (case.plan.tasks.people > 0)
    first = layout.storey_starts
    places = zip(layout.zone_block[first], layout.zone_storey[first], strict=True)
    return [
        (np.flatnonzero(there & (network.block == block) & (network.storey == storey)), float(area))
        for (block, storey), area in zip(places, case.takeoff.amount("gross_m2", "storey"), strict=True)
    ]


def _trades(case: Case, names: Iterable[str]) -> np.ndarray:
    """Tasks of some trades that have work."""
    catalogue = list(read_catalogue().trades)
    wanted = np.isin(case.plan.tasks.trade, [catalogue.index(name) for name in names])
    return wanted & (case.plan.tasks.work > 0)


def frame_crew(case: Case) -> float:
    """Mean people of the frame trades at work in a block, over its open dates while storeys are built."""
    plan = case.plan
    chosen = _trades(case, [name for name, trade in read_catalogue().trades.items() if trade.frame])
    chosen &= plan.network.storey > 0
    return float(np.mean(_at_work(case, chosen)))


def _at_work(case: Case, chosen: np.ndarray) -> list[float]:
    """Mean people at work in each block, over its open dates from first to last chosen task."""
    plan, means = case.plan, []
    for b in range(len(case.takeoff.layout.names)):
        mine = chosen & (plan.network.block == b)
        if mine.any():
            first, last = int(plan.start[mine].min()), int(np.ceil(plan.finish[mine].max()))
            days = plan.conditions.open_dates[first:last].sum()
            means.append(float((plan.tasks.people * plan.tasks.work)[mine].sum() / days))
    return means


def people_on_storey(case: Case) -> float:
    """Most people at once on any storey, for every 20 m2 of it."""
    plan = case.plan
    return max(
        at_once(plan.start[mine], plan.finish[mine], plan.tasks.people[mine]) * 20 / area
        for mine, area in _by_storey(case)
    )


def crowded_time(case: Case) -> float:
    """Share of the time with anybody on a storey in which there is more than one person for 20 m2. [%]"""
    plan, crowded, busy = case.plan, 0.0, 0.0
    for mine, area in _by_storey(case):
        times = np.concatenate([plan.start[mine], plan.finish[mine]])
        change = np.concatenate([plan.tasks.people[mine], -plan.tasks.people[mine]])
        order = np.argsort(times, kind="stable")
        people = np.round(np.cumsum(change[order]), 6)[:-1]
        lasts = np.diff(times[order])
        busy += float(lasts[people > 0].sum())
        crowded += float(lasts[people > area / 20].sum())
    return 100 * crowded / busy


def frame_hook(case: Case) -> float:
    """Hook hours of the frame for 1,000 m2 gross."""
    mine = (case.plan.tasks.use == FRAME_USE) & (case.plan.tasks.hook > 0)
    return float(case.plan.tasks.hook[mine].sum() / case.takeoff.gross_m2.sum() * 1000)


def _panel_tasks(case: Case) -> np.ndarray:
    """Panels set the first time; those made again are beside the trade's figure."""
    names = np.array(case.plan.activity_names(), dtype=object)
    return (case.plan.tasks.use == PANEL_USE) & (case.plan.tasks.hook > 0) & (names != "panel_remake")


def _storeys(case: Case) -> int:
    return sum(case.takeoff.layout.storeys)


def panel_lifts(case: Case) -> float:
    """Panel lifts of a storey, mean of all."""
    return float(case.plan.tasks.lifts[_panel_tasks(case)].sum() / _storeys(case))


def panel_hours(case: Case) -> float:
    """Panel hook hours of a storey, mean of all."""
    return float(case.plan.tasks.hook[_panel_tasks(case)].sum() / _storeys(case))


def panel_hours_of_flat(case: Case) -> float:
    """Panel hook hours of a flat, mean of all."""
    return float(case.plan.tasks.hook[_panel_tasks(case)].sum() / case.takeoff.flats.sum())


def panel_minutes(case: Case) -> float:
    """Hook minutes of a panel lift, mean of all, travel by height among them."""
    mine = _panel_tasks(case)
    return float(60 * case.plan.tasks.hook[mine].sum() / case.plan.tasks.lifts[mine].sum())


def flats_on_a_lorry(case: Case) -> float:
    """Flats whose walls a panel lorry carries, mean of all."""
    vehicles = np.array([delivery.vehicle for delivery in read_deliveries()], dtype=object)
    loads = case.site.loads
    panel_loads = loads.loads[vehicles[loads.material] == "panel_artic"].sum()
    return float(case.takeoff.flats.sum() / panel_loads)


def panels_made(case: Case) -> float:
    """Panels that leave the factory in its busiest seven days."""
    return _busiest_week(case, case.plan.network.group == _group(case, "make_panels"))


def panels_set(case: Case) -> float:
    """Panels lifted into place in the busiest seven days."""
    return _busiest_week(case, _panel_tasks(case))


def _group(case: Case, activity: str) -> int:
    return case.plan.network.groups.index(f"activity:{activity}")


def _busiest_week(case: Case, chosen: np.ndarray) -> float:
    """Amount of some tasks done in the busiest seven days."""
    plan = case.plan
    rows_of = chosen[plan.moved_task]
    task, date = plan.moved_task[rows_of], plan.moved_date[rows_of]
    number = plan.tasks.amount[task] * plan.moved_work[rows_of] / plan.tasks.work[task]
    return float(np.convolve(np.bincount(date, number), np.ones(7)).max())


def productive_hours(case: Case) -> float:
    """Settled hours of work for a square metre, before rework, of the activities of `WITH_OUTPUTS`."""
    plan, values = case.plan, case.plan.values
    groups = [k for k, name in enumerate(plan.network.groups) if name.split(":")[1] in WITH_OUTPUTS]
    mine = np.isin(plan.network.group, groups) & (plan.tasks.work > 0)
    shifts = (plan.tasks.people * plan.tasks.settled)[mine].sum()
    hours = shifts * values["site.productive_hours"] * values["site.labour_present"]
    return float(hours / (1 + values["site.rework"]) / case.takeoff.gross_m2.sum())


def bricklayers(case: Case) -> float | None:
    """Bricklayers at work in a block, mean over its open dates from first to last brick; None without any."""
    means = _at_work(case, _trades(case, ["bricklayers"]))
    return float(np.mean(means)) * BRICKLAYERS_OF_GANG if means else None


def table(found: Iterable[Row]) -> str:
    """Return rows as text in columns."""
    lines = []
    for row in found:
        figures = "  ".join(
            f"{name} {'-' if x is None else format(x, ',.1f')}" for name, x in row.figures.items()
        )
        mark = f"  outside: {', '.join(row.outside())}" if row.outside() else ""
        lines.append(f"{row.label:<57} {row.trade:>10} {row.unit:<14} {figures}{mark}")
        if row.why and (row.outside() or row.trade == "reported"):
            lines.append(f"    {row.why}")
    return "\n".join(lines)


def compared(name: str) -> Comparison:
    """Compare the methods of a shipped scenario."""
    return compare_methods(load_scenario(ROOT / "scenarios" / f"{name}.toml", today=TODAY))


if __name__ == "__main__":
    for scenario in ("pitch", "large"):
        print(scenario)
        print(table(rows(compared(scenario))))
