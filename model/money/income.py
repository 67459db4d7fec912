"""What does the development earn, block by block, and when?

Flats for sale follow reservations and handover; homes to let fill up after handover and are sold whole once
full, or on one fixed date; a forward sale is paid in stages; affordable homes go to a housing provider at
handover. Every block has one of these, its sections dated by their own handover.

Nothing here knows about costs or loans. Days are counted from the start on site; money in pounds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.core.errors import RangeError
from model.money.costs import WorkCosts
from model.money.forward import forward_price, forward_receipts
from model.money.grid import DAYS_PER_MONTH, spread
from model.money.receipts import (
    Completions,
    affordable_receipts,
    net_operating_income,
    price_path_factor,
    sale_days,
    sale_receipts,
)
from model.money.rent import Lettings, lettings, rent_receipts
from model.programme import Plan
from model.quantities.takeoff import given

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

KINDS: Final = ("sale", "affordable", "rent", "exit", "forward sale")
"""Kinds: flats sold, affordable homes, rent less its costs, homes let sold whole, forward sale."""


@dataclass(frozen=True, eq=False)
class Income:
    """Receipts of a development.

    Attributes
    ----------
    by_kind : dict of str to array, one a month
        Net of the costs of selling and letting, by `KINDS`, in their order; only those that occur. [GBP]
    value : float
        Gross development value: prices before the costs of selling; rent before the exit left out. [GBP]
    sales : Sales
    let_section : array of int
        Sections to let, which the sections of `let` stand for.
    let : Lettings or None
    exit_day : float or None
        When homes let are sold whole. [days from start on site]
    """

    by_kind: dict[str, Floats]
    value: float
    sales: Sales
    let_section: Ints
    let: Lettings | None
    exit_day: float | None

    @cached_property
    def net(self) -> Floats:
        """All receipts by month. [GBP]"""
        return np.asarray(np.sum(list(self.by_kind.values()), axis=0))

    @property
    def presold_share(self) -> float | None:
        """Share of the flats for sale that were reserved by the handover of their section; None without."""
        sold = self.sales.sold
        if sold is None:
            return None
        flats = np.bincount(sold.block, sold.number)
        return float((sold.presold * flats).sum() / flats.sum())


def block_values(plan: Plan) -> Floats:
    """Return the price of all flats of each block: saleable area times price. [GBP]"""
    saleable = saleable_m2(plan)
    each = [given(block.price_gbp_m2, plan.values, "money.price") for block in plan.scenario.blocks]
    return np.asarray(saleable * np.array(each), dtype=float)


def section_values(plan: Plan) -> Floats:
    """Return the price of the flats handed over with each section: its block's, by number of flats. [GBP]"""
    block = plan.takeoff.layout.section_block
    share = plan.takeoff.section_flats / np.maximum(plan.takeoff.flats[block], 1.0)
    return np.asarray(block_values(plan)[block] * share, dtype=float)


def saleable_m2(plan: Plan) -> Floats:
    """Return the net area of each block less what a thicker wall takes. [m2]"""
    extra = sum(
        plan.values[f"{option.key}.extra_thickness"]
        for option in {option.key: option for option in plan.option_of.values()}.values()
        if option.has_extra_thickness
    )
    facade = np.add.reduceat(plan.takeoff.facade_m, plan.takeoff.layout.block_storey_starts)
    return plan.takeoff.net_m2 - facade * extra


def sections_of(plan: Plan, tenure: str) -> Ints:
    """Return the sections with flats whose block earns in a given way."""
    layout, scenario = plan.takeoff.layout, plan.scenario
    chosen = [scenario.tenure_of(block) == tenure for block in scenario.blocks]
    mine = np.array(chosen)[layout.section_block] & (plan.takeoff.section_flats > 0)
    return np.flatnonzero(mine)


@dataclass(frozen=True, eq=False)
class Sales:
    """Flats sold one by one, and affordable homes beside them, section by section."""

    market_section: Ints
    sold: Completions | None
    affordable_section: Ints
    affordable: Ints

    def of_section(self, section: int) -> Sales:
        """Return the sales of one section alone, dated as they are among all."""
        at, beside = np.flatnonzero(self.market_section == section), self.affordable_section == section
        sold = None
        if self.sold is not None and at.size:
            mine = self.sold.block == at[0]
            sold = Completions(
                np.zeros(int(mine.sum()), dtype=np.int64),
                self.sold.reserved_day[mine],
                self.sold.day[mine],
                self.sold.number[mine],
                self.sold.presold[at],
            )
        return Sales(self.market_section[at], sold, self.affordable_section[beside], self.affordable[beside])


def sales_of(plan: Plan, handovers: Floats) -> Sales:
    """Date the sales, sections in the order they are `offered`.

    The cap on reservations of one block holds for each section.
    """
    v = plan.values
    mine = sections_of(plan, "sale")
    flats = np.round(plan.takeoff.section_flats[mine]).astype(np.int64)
    affordable = np.round(flats * v["money.affordable_pct"] / 100).astype(np.int64)
    market = flats - affordable
    chosen = mine[market > 0]
    sold = None
    if chosen.size:
        sold = sale_days(
            market[market > 0].tolist(),
            handovers[chosen],
            launch_day=v["money.sales_launch_months"] * DAYS_PER_MONTH,
            reservations_per_month=v["money.reservations_per_month"],
            notice_days=v["money.notice_weeks"] * 7.0,
            order=offered(plan, chosen),
            cap_per_block_per_month=v["money.cap_per_block_per_month"],
        )
    return Sales(chosen, sold, mine[affordable > 0], affordable[affordable > 0])


def offered(plan: Plan, sections: Ints) -> Ints:
    """Return the order in which some sections are sold or let: as their blocks start, smaller blocks first.

    Fixed before anything is built, so that nothing steps when two handovers change places.
    """
    v = plan.values
    starts = np.array([given(block.start_weeks, v, "block.start_weeks") for block in plan.scenario.blocks])
    block = plan.takeoff.layout.section_block[sections]
    return np.lexsort((np.arange(block.size), plan.takeoff.flats[block], starts[block]))


def let_of(plan: Plan, handovers: Floats) -> tuple[Ints, Lettings | None, float | None]:
    """Return the sections to let, when their homes are let, and when they are sold whole."""
    v = plan.values
    mine = sections_of(plan, "rent")
    if not mine.size:
        return mine, None, None
    let = lettings(
        np.round(plan.takeoff.section_flats[mine]).astype(np.int64).tolist(),
        handovers[mine],
        lets_per_month=v["money.lets_per_month"],
        stabilised_share=v["money.stabilised_pct"] / 100,
        order=offered(plan, mine),
    )
    if plan.scenario.development.rent_exit == "fixed date":
        return mine, let, v["money.rent_exit_months"] * DAYS_PER_MONTH
    return mine, let, float(let.stabilised_day)


def last_receipt(plan: Plan, handovers: Floats) -> float:
    """Return the last day on which something is received. [days from start on site]"""
    notice = plan.values["money.notice_weeks"] * 7.0
    sales = sales_of(plan, handovers)
    _mine, _let, exit_day = let_of(plan, handovers)
    days = [float(handovers.max()) + notice]
    if sales.sold is not None:
        days.append(float(sales.sold.day.max()))
    if exit_day is not None:
        days.append(exit_day)
    return max(days)


def income_of(plan: Plan, handovers: Floats, work: WorkCosts, ends_day: Floats) -> Income:
    """Return what the development earns with given handovers.

    Parameters
    ----------
    plan : Plan
    handovers : array, one a section
        May differ from the plan's, to ask what a week is worth. [days]
    work : WorkCosts
        Its progress sets the stages of a forward sale.
    ends_day : array
        Month-ends of the grid. [days]

    Returns
    -------
    Income

    Raises
    ------
    RangeError
        If the development has no flats.
    """
    sales = sales_of(plan, handovers)
    let_section, let, exit_day = let_of(plan, handovers)
    parts = [
        *_sold(plan, sales, handovers, ends_day),
        *_let(plan, let, exit_day, ends_day),
        *_sold_forward(plan, sections_of(plan, "forward sale"), handovers, work, ends_day),
    ]
    if not parts:
        raise RangeError(
            "The development has no flats, so it earns nothing. Give a block flats to hand over."
        )
    by_kind = {kind: net for kind, net, _value in parts}
    return Income(
        by_kind={kind: by_kind[kind] for kind in KINDS if kind in by_kind},
        value=sum(value for _kind, _net, value in parts),
        sales=sales,
        let_section=let_section,
        let=let,
        exit_day=exit_day,
    )


def by_section(
    plan: Plan, handovers: Floats, work: WorkCosts, ends_day: Floats
) -> Iterator[tuple[int, str, Floats]]:
    """Yield section, kind and net receipts by month; they add up to `income_of`. Arguments as there."""
    sales = sales_of(plan, handovers)
    let_section, let, exit_day = let_of(plan, handovers)
    forward = sections_of(plan, "forward sale")
    for section in range(handovers.size):
        mine = (
            *_sold(plan, sales.of_section(section), handovers, ends_day),
            *_let(plan, let, exit_day, ends_day, only=let_section == section),
            *_sold_forward(plan, forward[forward == section], handovers, work, ends_day),
        )
        yield from ((section, kind, net) for kind, net, _value in mine if net.any())


Part = tuple[str, Floats, float]
"""Kind, net receipts by month, and what it adds to the development's value. [GBP]"""


def _sold(plan: Plan, sales: Sales, handovers: Floats, ends_day: Floats) -> Iterator[Part]:
    """Flats sold one by one, and affordable homes beside them."""
    v = plan.values
    each = section_values(plan) / np.maximum(plan.takeoff.section_flats, 1.0)
    sold = sales.sold
    if sold is not None:
        path = plan.scenario.development.price_path
        factor = price_path_factor(sold.reserved_day, path) if path else 1.0
        got = sale_receipts(
            sold,
            each[sales.market_section] * np.bincount(sold.block, sold.number),
            ends_day,
            selling_share=v["money.selling_pct"] / 100,
            price_factor=factor,
            incentive_share=v["money.incentives_pct"] / 100,
            deposit_share=v["money.deposit_pct"] / 100,
            released_of_deposit_share=v["money.deposit_released_pct"] / 100,
        )
        yield "sale", got.net, float(got.gross.sum())
    if sales.affordable_section.size:
        chosen = sales.affordable_section
        net = affordable_receipts(
            sales.affordable.tolist(),
            handovers[chosen],
            each[chosen] * sales.affordable,
            ends_day,
            v["money.notice_weeks"] * 7.0,
            v["money.affordable_price_pct"] / 100,
        )
        yield "affordable", net, float(net.sum())


def _let(
    plan: Plan,
    let: Lettings | None,
    exit_day: float | None,
    ends_day: Floats,
    only: NDArray[np.bool_] | None = None,
) -> Iterator[Part]:
    """Rent less operating costs, and the sale of homes let; `only` counts the homes of some sections."""
    if let is None or exit_day is None or (only is not None and not only.any()):
        return
    v = plan.values
    if only is not None:
        let = replace(let, number=np.where(only[let.section], let.number, 0.0))
    got = rent_receipts(
        let,
        ends_day,
        rent_per_month=v["money.rent"],
        operating_share=v["money.operating_pct"] / 100,
        net_yield=v["money.yield_pct"] / 100,
        purchaser_cost_share=v["money.purchaser_pct"] / 100,
        exit_day=exit_day,
        exit_cost_share=v["money.rent_exit_cost_pct"] / 100,
    )
    yield "rent", got.rent - got.operating, 0.0
    yield "exit", got.exit_price - got.exit_cost, float(got.exit_price.sum())


def _sold_forward(
    plan: Plan, chosen: Ints, handovers: Floats, work: WorkCosts, ends_day: Floats
) -> Iterator[Part]:
    """Sections sold before they are built, paid for at the start, as work goes on, and at handover."""
    if not chosen.size:
        return
    v = plan.values
    income = net_operating_income(
        1.0, v["money.rent"], v["money.stabilised_pct"] / 100, v["money.operating_pct"] / 100
    )
    each = forward_price(
        income,
        v["money.yield_pct"] / 100,
        v["money.purchaser_pct"] / 100,
        v["money.forward_discount_pct"] / 100,
    )
    got = forward_receipts(
        plan.takeoff.section_flats[chosen] * each,
        0.0,
        handovers[chosen],
        v["money.notice_weeks"] * 7.0,
        _progress(plan, work, sections_of(plan, "forward sale"), ends_day),
        ends_day,
        land_share=v["money.forward_land_pct"] / 100,
        stage_share=v["money.forward_stage_pct"] / 100,
    )
    net = got.net * (1 - v["money.rent_exit_cost_pct"] / 100)
    yield "forward sale", net, float(got.net.sum())


def _progress(plan: Plan, work: WorkCosts, sections: Ints, ends_day: Floats) -> Floats:
    """Share of the price of the works on the blocks of some sections that is done in each month. [-]"""
    blocks = np.unique(plan.takeoff.layout.section_block[sections])
    mine = np.isin(plan.network.block, blocks)
    price = np.where(mine, work.reference + work.premium, 0.0)
    done = price[plan.moved_task] * plan.moved_work / plan.tasks.work[plan.moved_task]
    by_date = np.bincount(plan.moved_date, done)
    by_month = spread(np.arange(by_date.size) + 1.0, by_date, ends_day)
    return np.asarray(by_month / by_month.sum())
