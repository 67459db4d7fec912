"""Money of any figures: identities that hold whatever is paid, earned, borrowed and agreed.

Sources: double entry (sources are uses, parts are the whole), closed forms of each line of cost from rates,
quantities and shares alone, and the conventions stated in model/money/account.py. Figures are drawn from the
library's ranges and half as far again on either side; the plans of the development of tests/hand stand, so
that only money is worked again.
"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import event, example, given, reject, settings
from hypothesis import strategies as st

from model.compare import money_bridge
from model.core.errors import RangeError
from model.inputs.assumption import read_library
from model.inputs.scenario import RENT_EXITS, TENURES
from model.money import common_grid, price
from model.money.account import COST_LINES, purchase_day
from model.money.facility import OUTRUN

PENNY = 0.01
MEAN_YEAR = 365.25

SHARES = {
    "equity_pct", "mezzanine_pct", "retention_pct", "affordable_pct", "affordable_price_pct", "operating_pct",
    "stabilised_pct", "fees_before_start_pct", "builder_share_pct", "deposit_pct", "deposit_released_pct",
    "factory_supply_pct", "limit_cost_pct", "limit_value_pct", "forward_discount_pct",
}  # fmt: skip
"""Records that are parts of a whole: 0 to 100."""

FREE = (
    "land", "stamp_duty_pct", "fees_pct", "contingency_pct", "fixed_preliminaries_pct",
    "value_preliminaries_pct", "payment_lag_days", "retention_pct", "defects_months", "debt_rate_pct",
    "equity_pct", "arrangement_pct", "exit_pct", "non_utilisation_pct", "hurdle_pct", "price", "selling_pct",
    "sales_launch_months", "reservations_per_month", "notice_weeks", "cap_per_block_per_month",
    "builder_share_pct", "factory_supply_pct", "fees_before_start_pct", "bond_rate_pct", "holding_pct",
    "inflation_pct", "mezzanine_pct", "mezzanine_rate_pct", "mezzanine_arrangement_pct",
    "mezzanine_exit_pct", "limit_cost_pct", "limit_value_pct", "loan_term_months", "deposit_pct",
    "deposit_released_pct", "incentives_pct", "affordable_pct", "affordable_price_pct", "rent",
    "lets_per_month", "stabilised_pct", "operating_pct", "yield_pct", "purchaser_pct", "rent_exit_cost_pct",
    "forward_discount_pct", "purchase_months_before_start",
)  # fmt: skip
"""Records that are drawn; the steps of a forward sale and of the panel maker are drawn together."""

LEAST = {
    "limit_cost_pct": 1.0,
    "limit_value_pct": 1.0,
    "stabilised_pct": 5.0,
    "yield_pct": 0.5,
    "price": 100.0,
    "rent": 10.0,
    "reservations_per_month": 0.3,
    "cap_per_block_per_month": 0.3,
    "lets_per_month": 0.3,
}
"""Below these a figure has no meaning, or what is built is never sold."""


def reach(key):
    """From half a range below a record's range to half a range above it, as far as it has a meaning."""
    record = read_library().records[f"money.{key}"]
    half = (record.high - record.low) / 2
    least = max(record.low - half, LEAST.get(key, 0.0))
    return st.floats(least, min(record.high + half, 100.0 if key in SHARES else np.inf))


class Pair(tuple):
    """The cases of both methods, said in short where an example is printed."""

    def __repr__(self):
        return "cases"


@st.composite
def steps(draw, *names):
    """Parts that come to a hundred per cent at most."""
    parts = [draw(st.floats(0.0, 100.0)) for _name in (*names, "rest")]
    whole = max(sum(parts), 1e-9)
    return {name: 100.0 * part / whole for name, part in zip(names, parts, strict=False)}


@st.composite
def path(draw, low, high):
    """Steps at whole months that rise."""
    months = sorted(draw(st.sets(st.integers(-6, 40), max_size=4)))
    return tuple((float(month), draw(st.floats(low, high))) for month in months)


@st.composite
def money(draw):
    """Figures of money, and how the development earns and borrows."""
    # a few at a time as they are in the library, so that examples stay small and all meet in time
    left = draw(st.sets(st.sampled_from(FREE)))
    figures = {key: draw(reach(key)) for key in FREE if key not in left}
    figures |= draw(steps("factory_deposit_pct", "factory_stage_pct"))
    figures["factory_delivery_pct"] = draw(st.floats(0.0, 100.0))
    figures |= draw(steps("forward_land_pct", "forward_stage_pct"))
    figures["rent_exit_months"] = draw(st.floats(4.0, 60.0))  # before any handover, too
    development = {
        "tenure": draw(st.sampled_from(TENURES)),
        "rent_exit": draw(st.sampled_from(RENT_EXITS)),
        "base_rate_path": draw(path(0.0, 9.0)),
        "price_path": draw(path(60.0, 150.0)),
        "purchase": draw(st.sampled_from(["as it is", None])),
    }
    return figures, development


@pytest.fixture(scope="module")
def cases(compared):
    return Pair(compared("two_storey").cases)


def repriced(cases, figures, development):
    """Both methods on their own plans with other figures, on one grid."""
    more = {f"money.{key}": (float(value), "") for key, value in figures.items()}
    changed = dict(development)
    if changed.pop("purchase", None) == "as it is":
        changed["purchase"] = cases[0].plan.scenario.development.purchase
    elif development:
        changed["purchase"] = None
    plans = []
    for case in cases:
        scenario = case.plan.scenario
        scenario = replace(scenario, development=replace(scenario.development, **changed))
        values = case.plan.values.with_overrides(more)
        plans.append(replace(case.plan, scenario=scenario, values=values))
    grid = common_grid(plans)
    found = []
    for case, plan in zip(cases, plans, strict=True):
        site = replace(case.site, plan=plan)
        found.append(replace(case, plan=plan, site=site, account=price(plan, site, grid)))
    return found


def worked(cases, drawn):
    """The cases, or the example left out where no loan can carry what is drawn, which must be said."""
    figures, development = drawn
    try:
        return repriced(cases, figures, development)
    except RangeError as error:
        said = str(error)
        event("refused: " + said[:40])
        assert (
            f"beyond {OUTRUN:,.0f} times what is spent" in said
            or "facility does not settle" in said
            or "the loan would bear" in said
            or "of the price; together they can take 1 at most" in said
        ), said
        reject()


def lines_by_hand(case):
    """Each line of cost from rates, quantities and shares."""
    plan, v = case.plan, case.plan.values
    start = plan.scenario.development.start
    inflation = (1 + v["money.inflation_pct"] / 100) ** (plan.last_handover / 2 / MEAN_YEAR)
    contingency = 1 + v["money.contingency_pct"] / 100
    # rate x quantity of the element replaced, from the head of scenarios/two_storey.toml
    open_frame = inflation * (
        900 * 320 + 55 * 640 + 45 * 640 + 240 * 640 + 360 * 480 + 100 * 360 + 200 * 480 + 6500 * 12 + 9000 * 8
        + 320 * 320 + 700 * 640 + 95 * 640
    )  # fmt: skip
    walls = (
        0.0 if not plan.network.has("activity:make_panels") else inflation * (160 * 480 + 30 * 360 + 7 * 640)
    )
    fixed = open_frame * v["money.fixed_preliminaries_pct"] / 100
    fixed += (open_frame + walls) * v["money.value_preliminaries_pct"] / 100
    crane = case.site.crane_to[0] - case.site.crane_from[0]
    tasks = plan.frame
    up = tasks[tasks["activity"] == "access_up"]["finish"]
    gone = tasks[tasks["activity"] == "access_gone"]["finish"].iloc[0]
    scaffold = 24 * (up.max() - up.min()) + 48 * (gone - up.max())
    running = 208 * plan.last_handover + 900 * crane + scaffold
    land = 8 * v["money.land"]
    bought = plan.scenario.development.purchase
    months = v["money.purchase_months_before_start"]
    ahead = (start - bought).days if bought else -purchase_day(plan.scenario, plan.values)
    assert bought or abs(ahead / 30.4375 - months) < 0.15
    held = v["money.holding_pct"] / 100 * ahead / MEAN_YEAR
    return {
        "construction": open_frame * contingency,
        "premium": walls * contingency + case.account.bond,
        "preliminaries": inflation * running + fixed,
        "fees": open_frame * v["money.fees_pct"] / 100,
        "land": land * (1 + v["money.stamp_duty_pct"] / 100 + held),
    }


def close(wanted, scale=0.0):
    """To the penny, or the last digits of sums that dwarf it."""
    return pytest.approx(wanted, rel=1e-10, abs=PENNY + 1e-10 * scale)


@settings(max_examples=40, deadline=None)
@given(drawn=money())
def test_money_balances_whatever_the_figures(cases, drawn):
    both = worked(cases, drawn)
    event(f"tenure {drawn[1]['tenure']}")
    for case in both:
        account, cash, run = case.account, case.account.cash, case.account.cash.facility
        scale = float(max(run.peak_debt, account.cost_of("total"), account.receipts))
        uses = cash.cost + run.fees_finance + run.repaid + run.equity_out
        sources = cash.receipts + run.drawn_equity + run.drawn_debt
        assert uses == close(sources, scale)
        before = np.concatenate([[0.0], run.debt[:-1]])
        assert run.debt == close(before + run.drawn_debt + run.interest - run.repaid, scale)
        assert (run.debt > -PENNY).all()

        left = float(run.debt[-1])
        assert float(run.debt_at_end) == left
        assert bool(run.repays) == (left < PENNY / 2 and float(run.exit_fee_unpaid) < PENNY / 2)
        said = []
        case_json = case.as_json(said)
        json.dumps(case_json, allow_nan=False)
        assert any("receipts do not repay the loan" in line for line in said) == (left > 0.5)
        event(f"repays {left <= 0.5}")

        by_hand = lines_by_hand(case)
        for line in COST_LINES:
            assert account.cost_of(line) == close(by_hand[line]), line
        total = sum(by_hand.values())
        assert float(cash.cost.sum()) == close(total)
        assert account.profit == close(
            account.receipts - total - float(run.interest.sum() + run.fees_finance.sum()), scale
        )
        committed = cash.equity
        assert committed == close(total * case.plan.values["money.equity_pct"] / 100)
        # what equity is short of what it has been given back is never more than what it committed
        assert account.peak_equity <= committed + PENNY + 1e-10 * scale
        assert (
            float(run.drawn_equity.sum()) <= committed + float(run.equity_out.sum()) + PENNY + 1e-10 * scale
        )
        assert float(run.mezzanine_drawn.sum()) <= cash.committed.mezzanine + PENNY

        frame = account.receipts_frame()
        assert set(frame["section"]) <= {"Only"}
        for kind, net in cash.income.by_kind.items():
            mine = frame[frame["kind"] == kind].groupby("month")["amount"].sum()
            assert mine.reindex(account.grid.months, fill_value=0.0).to_numpy() == close(net), kind
        assert set(frame["kind"]) <= set(cash.income.by_kind)
        by_month = frame.groupby("month")["amount"].sum().reindex(account.grid.months, fill_value=0.0)
        assert by_month.to_numpy() == close(cash.receipts)


@settings(max_examples=15, deadline=None)
@given(drawn=money())
def test_the_difference_of_profit_is_the_differences_of_its_lines(cases, drawn):
    first, second = worked(cases, drawn)
    a, b = first.account, second.account
    lines = (*COST_LINES, "finance")
    by_line = sum(b.cost_of(line) - a.cost_of(line) for line in lines)
    assert b.profit - a.profit == close(b.receipts - a.receipts - by_line)

    bridge = money_bridge(a, b)
    scale = float(max(a.cash.facility.peak_debt, b.cash.facility.peak_debt))
    allowed = PENNY + 1e-9 * scale
    parts = bridge.frame()
    assert parts["profit"].sum() == pytest.approx(b.profit - a.profit, rel=0, abs=allowed)
    assert parts["finance"].sum() == pytest.approx(
        b.cost_of("finance") - a.cost_of("finance"), rel=0, abs=allowed
    )
    assert parts["npv"].sum() == pytest.approx(b.npv - a.npv, rel=0, abs=allowed)
    cost = float(b.cash.cost.sum() - a.cash.cost.sum()) - (b.receipts - a.receipts)
    assert parts["cost"].sum() == pytest.approx(cost, rel=0, abs=allowed)
    own = parts.set_index("cause")["cost"]
    for cause, line in (("land", "land"), ("fees", "fees")):
        assert own.get(cause, 0.0) == close(b.cost_of(line) - a.cost_of(line)), cause
    plant = [float(x.cash.time_costs.amount[x.cash.time_costs.plant].sum()) for x in (a, b)]
    assert own.get("plant", 0.0) == close(plant[1] - plant[0])
    measured = sum(own.get(cause, 0.0) for cause in ("construction", "premium", "paid ahead"))
    change = sum(b.cost_of(line) - a.cost_of(line) for line in ("construction", "premium"))
    assert measured == close(change)


@settings(max_examples=10, deadline=None)
@given(drawn=money(), weeks=st.integers(1, 12), sooner=st.booleans())
def test_the_value_of_a_week_is_the_sum_of_its_causes(cases, drawn, weeks, sooner):
    weeks = -weeks if sooner else weeks
    for case in worked(cases, drawn):
        account = case.account
        scale = float(account.cash.facility.peak_debt)
        week = account.week
        causes = (week.interest, week.preliminaries, week.plant, week.receipts, week.premium)
        assert week.total == close(sum(causes))
        assert week.client + week.builder == close(week.total)
        assert week.damages_basis == close(week.interest + week.receipts)

        none = account._moved(0.0)
        still = (*(getattr(none, name) for name in ("interest", "preliminaries", "plant")), none.receipts)
        assert still == pytest.approx((0.0,) * 4, rel=0, abs=1e-6 + 1e-12 * scale)
        assert (none.premium, none.npv) == pytest.approx((0.0, 0.0), rel=0, abs=1e-6 + 1e-12 * scale)

        # one block: moved alone it is moved with all the others
        alone = account.week_by_block
        assert alone["profit"].tolist() == close([week.total])
        moved = account._moved(7.0 * weeks)
        assert moved.client + moved.builder == close(moved.total)
        # site items run 208 a day, at the prices of the middle of the works
        v = case.plan.values
        assert moved.premium == close(0.0)
        inflation = (1 + v["money.inflation_pct"] / 100) ** (case.plan.last_handover / 2 / MEAN_YEAR)
        assert moved.site == close(-208 * 7 * weeks * inflation)


@settings(max_examples=15, deadline=None)
@given(drawn=money())
@example(drawn=({}, {}))
def test_money_that_costs_nothing_costs_nothing(cases, drawn):
    figures, development = drawn
    free = dict.fromkeys(
        ("debt_rate_pct", "arrangement_pct", "exit_pct", "non_utilisation_pct", "mezzanine_rate_pct",
         "mezzanine_arrangement_pct", "mezzanine_exit_pct"),
        0.0,
    )  # fmt: skip
    figures = {**figures, **free}
    development = {**development, "base_rate_path": ()}
    for case in worked(cases, (figures, development)):
        account, run = case.account, case.account.cash.facility
        assert account.cost_of("finance") == 0.0
        assert account.profit == close(account.receipts - float(account.cash.cost.sum()))
        # what is borrowed is paid back, and no more
        assert float(run.drawn_debt.sum() - run.repaid.sum()) == close(float(run.debt_at_end))
        assert account.week.interest == close(0.0)
        # equity is left with the profit, unless the lenders are left with a loss
        kept = float(run.equity_flows.sum())
        assert kept - float(run.debt_at_end) == close(account.profit)


@pytest.mark.parametrize("tenure", TENURES)
def test_a_scheme_that_never_repays_says_so(cases, tenure):
    """A price and a rent far too low: what is left of the loan is counted, warned of and a breach."""
    figures = {"price": 500.0, "rent": 60.0, "mezzanine_pct": 10.0}
    for case in repriced(cases, figures, {"tenure": tenure, "purchase": "as it is"}):
        run = case.account.cash.facility
        assert not run.repays
        assert float(run.debt_at_end) > 100_000
        assert case.account.cashflow_frame()["debt"].iloc[-1] == float(run.debt_at_end)
        said = []
        figures_of = json.loads(json.dumps(case.as_json(said), allow_nan=False))
        left = f"{float(run.debt_at_end):,.0f}"
        assert any(f"receipts do not repay the loan; {left} is left" in line for line in said)
        assert any("never repaid" in line for line in said)
        assert [limit["found"] for limit in figures_of["lending"] if limit["limit"] == "longstop"] == [None]
        assert figures_of["irr_pct"] is None
        assert figures_of["profit"] < 0


def test_an_exit_fee_that_is_never_paid_is_said(cases):
    """3,600 a m2 repays the loan and leaves too little for 2 % of it: profit is shown without the fee."""
    figures = {"price": 3_600.0, "exit_pct": 2.0, "defects_months": 0.0}
    case = repriced(cases, figures, {})[0]
    run = case.account.cash.facility
    assert float(run.debt_at_end) < PENNY
    assert float(run.exit_fee_unpaid) > 30_000
    assert not run.repays
    said = []
    case.as_json(said)
    assert any("exit fee" in line for line in said)


def test_homes_sold_before_they_are_handed_over_earn_nothing_and_say_so(cases):
    """A fixed date in month 5, before any handover: no rent and no price, and no figure that is none."""
    development = {"tenure": "rent", "rent_exit": "fixed date", "purchase": "as it is"}
    for case in repriced(cases, {"rent_exit_months": 5.0}, development):
        assert case.account.receipts == 0.0
        assert case.account.value == 0.0
        said = []
        figures = json.loads(json.dumps(case.as_json(said), allow_nan=False))
        assert figures["profit_on_value_pct"] is None
        assert figures["mirr_pct"] is None
        assert any("the development is worth nothing" in line for line in said)


def test_a_scheme_that_repays_says_nothing_of_the_kind(cases):
    for case in cases:
        said = []
        case.as_json(said)
        assert bool(case.account.cash.facility.repays)
        assert not any("repay" in line for line in said)
