"""Money of whole cases: identities that must hold whatever the figures.

Sources: double-entry identities and the conventions stated in model/money/account.py; JCT-style payment
terms (valuation, final date, retention halves) are common practice as marked in the library. The plain
recomputations below are hand calculations written independently of the stage.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy_financial as npf
import pytest

from model import compare_methods, load_scenario
from model.inputs.reading import read_tables
from model.money.costs import read_site_costs
from model.pipeline import build_cases

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture(scope="module")
def cases():
    scenario = load_scenario(SCENARIOS / "pitch.toml")
    return build_cases(scenario, scenario.methods)


@pytest.fixture(scope="module", params=[0, 1], ids=["first", "second"])
def case(request, cases):
    return cases[request.param]


def test_sources_equal_uses_every_month(case):
    cash, run = case.account.cash, case.account.cash.facility
    uses = cash.cost + run.fees_finance + run.repaid + run.equity_out
    sources = cash.receipts + run.drawn_equity + run.drawn_debt
    assert uses == pytest.approx(sources, abs=0.01)


def test_the_loan_balance_adds_up_every_month(case):
    run = case.account.cash.facility
    before = np.concatenate([[0.0], run.debt[:-1]])
    assert run.debt == pytest.approx(before + run.drawn_debt + run.interest - run.repaid, abs=0.01)
    assert run.debt[-1] == pytest.approx(0.0, abs=0.01)


def test_construction_is_rate_times_quantity_with_contingency(case):
    plan = case.account.work.plan
    again = float((plan["reference_rate"] * plan["amount"]).sum())
    contingency = 1 + case.plan.values["money.contingency_pct"] / 100
    assert case.account.cost_of("construction") == pytest.approx(again * contingency, rel=1e-9)
    premium = float(((plan["rate"] - plan["reference_rate"]) * plan["amount"]).sum())
    bond = case.account.bond  # 0 without panels; recomputed below
    assert case.account.cost_of("premium") == pytest.approx(premium * contingency + bond, abs=0.01)


def test_the_bond_is_charged_by_the_day_on_what_stands_in_the_factory(cases):
    """On-demand bond that falls as panels are fixed (JCT-style listed items): money, days, rate over 365.

    The daily balance is added up again from the payments and the progress, one task at a time.
    """
    case = cases[1]
    plan, work, v = case.plan, case.account.work, case.plan.values
    supply = float(work.supply.sum())
    made = [k for k in plan.network.tasks_of("activity:make_panels") if plan.tasks.work[k] > 0]
    whole = float(sum(plan.tasks.amount[k] for k in made))
    fixed_on = np.zeros(int(plan.finish.max()) + 2)
    for task, date, moved in zip(plan.moved_task, plan.moved_date, plan.moved_work, strict=True):
        fixed_on[date] += moved / plan.tasks.work[task] * work.supply[task]
    order = v["factory.order"] * 7
    charge, balance_days = v["money.bond_rate_pct"] / 100 / 365, 0.0
    share = {step: v[f"money.factory_{step}_pct"] / 100 for step in ("deposit", "stage")}
    for day in range(min(int(np.floor(order)), 0), int(np.ceil(plan.finish.max())) + 1):
        paid = share["deposit"] * supply if day >= order else 0.0
        for k in made:
            part = min(max((day - plan.start[k]) / (plan.finish[k] - plan.start[k]), 0.0), 1.0)
            paid += share["stage"] * supply * plan.tasks.amount[k] / whole * part
        balance_days += paid - sum(share.values()) * fixed_on[: max(day, 0)].sum()
    assert case.account.bond == pytest.approx(balance_days * charge, rel=1e-9)
    assert cases[0].account.bond == 0.0


def test_premium_is_nil_where_every_option_is_its_own_reference(cases):
    assert cases[0].account.cost_of("premium") == 0.0
    assert cases[1].account.cost_of("premium") > 0.0


def test_site_costs_are_weeks_times_rate_and_cranes_stand_only_there(case):
    costs = case.account.cash.time_costs
    assert costs.amount == pytest.approx((costs.finish - costs.start) / 7 * costs.per_week)
    labels = [item.id for item in read_site_costs()]
    crane = costs.item == labels.index("cranes")
    weeks = float(((costs.finish - costs.start)[crane] / 7).sum())
    on_hire = float(np.nansum(case.site.crane_to - case.site.crane_from) / 7)
    assert weeks == pytest.approx(on_hire)


def test_retention_comes_back_whole(case):
    """3 % is withheld and released in two halves (JCT-style, library record), so nothing is left."""
    values = case.plan.values
    contingency = 1 + values["money.contingency_pct"] / 100
    paid = case.account.cost_of("construction")
    assert paid == pytest.approx(float(case.account.work.reference.sum()) * contingency, rel=1e-9)


def test_panels_are_paid_ahead_of_fixing(cases):
    """With deposit and stages at nil the same panels are paid for later: mean month of construction moves."""
    scenario = cases[1].plan.scenario
    later = scenario.with_override("money.factory_deposit_pct", 0.0).with_override(
        "money.factory_stage_pct", 0.0
    )
    _first, without = build_cases(later, later.methods)

    def mean_month(one):
        line = one.account.cash.costs["premium"]
        return float((line * one.account.grid.months).sum() / line.sum())

    assert mean_month(cases[1]) < mean_month(without) - 1.0


def test_npv_is_that_of_a_general_finance_library(case):
    monthly = (1 + case.plan.values["money.hurdle_pct"] / 100) ** (1 / 12) - 1
    assert case.account.npv == pytest.approx(npf.npv(monthly, case.account.project_flows), rel=1e-9)


def test_irr_is_that_of_a_general_finance_library(case):
    irr, _reason = case.account.irr
    assert irr == pytest.approx((1 + npf.irr(case.account.project_flows)) ** 12 - 1, rel=1e-6)


def test_profit_is_receipts_less_every_cost(case):
    account = case.account
    lines = [
        account.cost_of(n) for n in ("construction", "premium", "preliminaries", "fees", "land", "finance")
    ]
    assert account.profit == pytest.approx(account.receipts - sum(lines), abs=0.01)
    assert account.cost_of("total") == pytest.approx(sum(lines), abs=0.01)


def test_no_interest_and_no_fees_means_no_finance_cost(cases):
    scenario = cases[0].plan.scenario
    for key in ("debt_rate_pct", "arrangement_pct", "exit_pct", "non_utilisation_pct"):
        scenario = scenario.with_override(f"money.{key}", 0.0)
    for one in build_cases(scenario, scenario.methods):
        assert one.account.cost_of("finance") == 0.0


def test_a_week_is_the_difference_of_two_pricings_a_week_apart(case):
    """Receipts, interest and time-related items priced again with every handover seven days earlier."""
    week = case.account.week
    assert week.total == pytest.approx(
        week.interest + week.preliminaries + week.plant + week.receipts + week.premium
    )
    assert week.receipts == pytest.approx(0.0, abs=0.01)  # flat price, nothing let: the sum does not move
    assert week.premium == pytest.approx(0.0, abs=0.01)
    assert week.preliminaries > 0


def test_every_flat_is_sold_once(case):
    sold = case.account.cash.income.sales.sold
    assert float(sold.number.sum()) == pytest.approx(float(case.takeoff.flats.sum()))
    assert (sold.day[:, None] >= case.plan.ready_by_block[sold.block][:, None] + 28 - 1e-9).all()


def test_a_thicker_wall_takes_its_own_area_from_the_flats(cases):
    """50 mm on 138 m of facade is 6.9 m2 a storey (arithmetic: 0.05 x 138)."""
    scenario = cases[1].plan.scenario
    key = "option.outer_wall.panel_before_deck.extra_thickness"
    thicker = scenario.with_override(key, 0.05)
    _one, other = build_cases(thicker, thicker.methods)
    price = scenario.values(scenario.methods[1])["money.price"] * (
        1 - scenario.values(scenario.methods[1])["money.selling_pct"] / 100
    )
    storeys = sum(cases[1].takeoff.layout.storeys)
    lost = cases[1].account.receipts - other.account.receipts
    assert lost / price / storeys == pytest.approx(6.9, abs=0.05)


def test_panels_may_be_ordered_before_the_land_is_bought_and_their_deposit_is_paid_then():
    """40 weeks ahead is before a purchase nine months ahead: the months begin with the order."""
    tables = {
        "development": {"name": "Early", "place": "london", "start": "2027-03-01"},
        "blocks": [{"name": "A", "storeys": 4, "flats_per_storey": 6}],
        "overrides": {"factory.order": -40},
    }
    scenario = read_tables(tables)
    comparison = compare_methods(scenario)
    account = comparison.second.account
    assert account.grid.ends_day[0] <= -280 + 31
    deposit = float(account.work.supply.sum()) * account.plan.values["money.factory_deposit_pct"] / 100
    first = float((account.cash.costs["construction"] + account.cash.costs["premium"])[:3].sum())
    contingency = 1 + account.plan.values["money.contingency_pct"] / 100
    assert first == pytest.approx(deposit * contingency + account.bond, rel=1e-9)
    # ordered early enough, panels wait to be called off: nothing is made before the start on site
    assert (
        comparison.second.plan.start[comparison.second.plan.network.tasks_of("activity:make_panels")].min()
        >= 0
    )
