"""What does each date allow: how much of a shift, how many hook hours, how soon is concrete released?

Expected conditions of a place: working week, bank holidays, winter closure, the share of a shift that
rain and cold are expected to leave by class of work, hook hours by crane after wind, and days to strike
and to release props by date of the pour. Wind acts on hook hours only; rain and frost on calendars only.
"""

from __future__ import annotations

import datetime as dt
from collections import OrderedDict
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.core.calendar import HORIZON_DAYS, month_of_dates, open_share
from model.inputs.assumption import Values
from model.inputs.climate import read_climate, shares_left
from model.inputs.method import CALENDARS
from model.inputs.scenario import Scenario
from model.physics.concrete import age_at_ratio, levels_of_backprops, striking_load_ratio, striking_ratio
from model.physics.maturity import days_to_age, rate_b10, rate_sadgrove
from model.physics.weather import hours_lost
from model.quantities.takeoff import Layout, given

Floats = NDArray[np.float64]

MEAN_DATES: Final = 4 * 365 + 1
"""Dates over which a mean year's calendar is taken: four years, so that months and holidays weigh fairly."""

_KEPT: OrderedDict[tuple[object, ...], Conditions] = OrderedDict()
_MOST_KEPT: Final = 32


@dataclass(frozen=True, eq=False)
class Conditions:
    """Expected conditions by date; not to be written to.

    Attributes
    ----------
    start : date
        Date 0.
    open_week : array, shape (dates,)
        Share of a shift the site is open, without weather.
    share : array, shape (calendars, dates)
        Share of a shift that can be worked, by class of `CALENDARS`.
    open_dates, open_before : array
        1.0 where the site is open; open dates before each date (one longer).
    release : array, shape (2, dates)
        Days from the date of a pour to striking and to release of props.
    hook_paid, hook_ordinary, hook_large : array, shape (cranes, dates)
        Paid hook hours; those in which lifts may fly; those in which large-area loads may.
    hook_evening : array, shape (cranes, dates)
        Hook hours of evening loading-out.
    hoist_hours : array, shape (blocks, dates)
        Hours the hoists of each block carry goods.
    mean_share : array, shape (calendars,)
        Mean share over a mean year, closed dates included.
    mean_hook : array, shape (cranes,)
        Mean hook hours a date.
    mean_open, mean_release : float, array of 2
        Open dates over dates; mean days to striking and release.
    """

    start: dt.date
    open_week: Floats
    share: Floats
    open_dates: Floats
    open_before: Floats
    release: Floats
    hook_paid: Floats
    hook_ordinary: Floats
    hook_large: Floats
    hook_evening: Floats
    hoist_hours: Floats
    mean_share: Floats
    mean_hook: Floats
    mean_open: float
    mean_release: Floats


def expected_conditions(scenario: Scenario, values: Values, layout: Layout) -> Conditions:
    """Work out expected conditions for a scenario.

    Parameters
    ----------
    scenario : Scenario
    values : Values
    layout : Layout
        For the height of each crane's hook.

    Returns
    -------
    Conditions
        Kept for equal inputs.
    """
    development = scenario.development
    hoists = tuple(given(block.hoists, values, "block.hoists") for block in scenario.blocks)
    key = (
        development.place,
        development.start,
        development.terrain,
        development.christmas_closure,
        development.bank_holidays,
        development.extra_closed,
        tuple((crane.name, crane.blocks, crane.number) for crane in scenario.served),
        hoists,
        layout.names,
        layout.storeys,
        layout.storey_heights,
        tuple(
            value
            for name, value in values.items()
            if name.startswith(("weather.", "concrete.", "crane.", "hoist.", "site.", "geometry.slab"))
        ),
    )
    if key in _KEPT:
        _KEPT.move_to_end(key)
        return _KEPT[key]
    found = _conditions(scenario, values, layout)
    _KEPT[key] = found
    while len(_KEPT) > _MOST_KEPT:
        _KEPT.popitem(last=False)
    return found


def _conditions(scenario: Scenario, values: Values, layout: Layout) -> Conditions:
    development = scenario.development
    climate = read_climate(development.place)
    days = HORIZON_DAYS
    week = open_share(
        development.start,
        days,
        climate.subdivision,
        values["site.saturday_share"],
        development.christmas_closure,
        development.extra_closed,
        development.bank_holidays,
    )
    month = month_of_dates(development.start, days)
    left = shares_left(climate, values)
    share = np.stack([week * left[name][month] for name in CALENDARS])
    open_dates = (week > 0).astype(float)
    open_before = np.concatenate([[0.0], np.cumsum(open_dates)])
    paid, ordinary, large, evening = _hook_hours(scenario, values, layout, climate.wind_day_ms, week, month)
    hoists = np.array([given(block.hoists, values, "block.hoists") for block in scenario.blocks])
    hoists = np.where(np.array(layout.storeys) >= values["site.hoist_storeys"], hoists, 0.0)
    release = np.stack(
        [
            days_to_age(climate.tmean, development.start, days, age, rate)
            for age, rate in ((striking_age(values), rate_sadgrove), (props_age(values), rate_b10))
        ]
    )
    mean = slice(0, MEAN_DATES)
    return Conditions(
        start=development.start,
        open_week=week,
        share=share,
        open_dates=open_dates,
        open_before=open_before,
        release=release,
        hook_paid=paid,
        hook_ordinary=ordinary,
        hook_large=large,
        hook_evening=evening,
        hoist_hours=hoists[:, None] * values["hoist.goods_hours"] * week,
        mean_share=share[:, mean].mean(axis=1),
        mean_hook=ordinary[:, mean].mean(axis=1),
        mean_open=float(open_dates[mean].mean()),
        mean_release=release[:, mean].mean(axis=1),
    )


def _hook_hours(
    scenario: Scenario, values: Values, layout: Layout, wind: Floats, week: Floats, month: NDArray[np.int64]
) -> tuple[Floats, Floats, Floats, Floats]:
    paid_hours = values["crane.utilisation"] * week
    paid, ordinary, large, evening = [], [], [], []
    heights = hook_heights(scenario, values, layout)
    for crane, height in zip(scenario.served, heights, strict=True):
        lost = [
            hours_lost(
                wind, height, scenario.development.terrain, values[f"weather.gust_limit_{name}"], "gust"
            )
            for name in ("ordinary", "large")
        ]
        flies = 1.0 - lost[0]
        flies_large = np.minimum(
            1.0 - lost[1], flies
        )  # a load that may not fly at all may not fly when large
        together = cranes_together(crane.number, values["crane.overlap_loss"])
        hours = together * paid_hours * values["site.shift_hours"]
        paid.append(hours)
        ordinary.append(hours * flies[month])
        large.append(hours * flies_large[month])
        evening.append(together * paid_hours * values["crane.evening_hours"] * flies[month])
    return np.stack(paid), np.stack(ordinary), np.stack(large), np.stack(evening)


def cranes_together(number: int, overlap_loss: float) -> float:
    """Return what cranes that work together lift, over what one lifts alone.

    Parameters
    ----------
    number : int
        Cranes whose jibs sweep the same blocks. [>= 1]
    overlap_loss : float
        Share of its time each loses to keeping clear of each neighbour.

    Examples
    --------
    >>> cranes_together(1, 0.1), cranes_together(2, 0.1)
    (1.0, 1.8)
    """
    return number * max(1.0 - overlap_loss * (number - 1), 0.0)


def hook_heights(scenario: Scenario, values: Values, layout: Layout) -> list[float]:
    """Return the hook height of each crane: the tallest block it serves, and a clearance. [m]"""
    height = {
        name: storeys * each
        for name, storeys, each in zip(layout.names, layout.storeys, layout.storey_heights, strict=True)
    }
    return [
        max(height[block] for block in crane.blocks) + values["weather.hook_clearance_m"]
        for crane in scenario.served
    ]


def slab_weight(values: Values) -> float:
    """Return the weight of a slab. [kN/m2]"""
    return values["geometry.slab_thickness"] * values["concrete.unit_weight"]


def striking_age(values: Values) -> float:
    """Return the age at 20 °C at which a soffit may be struck. [days]

    Planning figure: the temporary-works engineer decides from tests on the concrete.
    """
    ratio = striking_load_ratio(
        slab_weight(values),
        values["concrete.superimposed"],
        values["concrete.imposed"],
        values["concrete.striking_load"],
    )
    return age_at_ratio(striking_ratio(ratio), values["concrete.cement_s"])


def props_age(values: Values) -> float:
    """Return the age at 20 °C at which props may be released. [days]

    Planning figure: the temporary-works engineer decides.
    """
    return age_at_ratio(values["concrete.release_ratio"], values["concrete.cement_s"])


def backprop_levels(values: Values) -> int:
    """Return the further pours through which props stay: the same rule for every deck. [storeys]"""
    return levels_of_backprops(
        slab_weight(values),
        values["concrete.superimposed"],
        values["concrete.imposed"],
        values["concrete.formwork_load"] + values["concrete.working_load"],
        values["concrete.backprop_share_one"],
        values["concrete.backprop_share_two"],
    )
