"""What a week is worth: by cause, to whom, and without a jump.

Sources: double entry (parts add to the whole); the conventions of liquidated damages, which stand in place of
lost rent or interest and are never added to them (a surveyors' online guide to setting damages, read); simple
interest by the day, actual days over 365 (sterling loans, common practice). Invented scenarios only.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model import load_scenario
from model.money import common_grid, price
from model.money.week import CAUSES, CURVE_WEEKS
from model.pipeline import build_case

SCENARIOS = Path(__file__).parents[2] / "scenarios"
TODAY = dt.date(2026, 11, 25)


@pytest.fixture(scope="module")
def pitch():
    scenario = load_scenario(SCENARIOS / "pitch.toml", today=TODAY)
    return build_case(scenario, scenario.methods[1])


@pytest.fixture(scope="module")
def small():
    scenario = load_scenario(SCENARIOS / "two_storey.toml", today=TODAY)
    return build_case(scenario, scenario.methods[0])


def repriced(case, settings_=None, **development):
    """The same plan with other figures of money."""
    scenario = replace(case.plan.scenario, development=replace(case.plan.scenario.development, **development))
    values = case.plan.values.with_overrides({key: (float(v), "") for key, v in (settings_ or {}).items()})
    plan = replace(case.plan, scenario=scenario, values=values)
    return price(plan, replace(case.site, plan=plan), common_grid([plan]))


def test_the_causes_add_up_and_client_and_builder_share_them(pitch):
    week = pitch.account.week
    assert week.total == pytest.approx(sum(getattr(week, cause) for cause in CAUSES), abs=1e-6)
    assert week.client + week.builder == pytest.approx(week.total, abs=1e-6)
    assert week.builder == pytest.approx(
        0.5 * (week.preliminaries + week.plant), abs=1e-6
    )  # half is passed on


@pytest.mark.parametrize(("share", "of_site"), [(0, 1.0), (25, 0.75), (100, 0.0)])
def test_the_builder_keeps_what_he_does_not_pass_on(pitch, share, of_site):
    week = repriced(pitch, {"money.builder_share_pct": share}).week
    assert week.builder == pytest.approx(of_site * week.site, abs=1e-6)
    assert week.total == pytest.approx(pitch.account.week.total, abs=1e-6)


def test_damages_are_the_clients_own_loss_and_never_on_top(pitch):
    week = pitch.account.week
    assert week.damages_basis == pytest.approx(week.interest + week.receipts)
    assert week.damages_basis <= week.client <= week.total


def test_site_costs_of_a_week_are_the_rates_of_what_still_stands(pitch):
    """Time-related costs that run to a handover, each at its weekly rate: by hand from the library's table.

    When every block moves by a week, the team and the rest of the site stand a week less before the first is
    finished, so at the full rate; cranes, hoists and scaffold go with their work and stay.
    """
    v = pitch.plan.values
    scale = (pitch.plan.takeoff.flats.sum() / v["scale.flats"]) ** v["scale.exponent"]
    rates = {
        item: v[f"site_cost.{item}.rate"] * scale
        for item in ("team", "welfare", "hoarding", "security", "logistics", "power", "cleaning")
    }
    week = pitch.account.week
    assert week.preliminaries == pytest.approx(sum(rates.values()), abs=0.01)
    assert week.plant == pytest.approx(v["site_cost.small_plant.rate"] * scale, abs=0.01)


def test_handovers_that_do_not_move_are_worth_nothing(pitch):
    curve = pitch.account.week_curve.set_index("weeks")
    assert list(curve.index) == [float(week) for week in CURVE_WEEKS]
    assert np.abs(curve.loc[0.0].to_numpy()).max() < 1e-6
    assert curve.loc[-1.0, "profit"] == pytest.approx(pitch.account.week.total, abs=1e-6)


def test_a_handover_moves_money_in_proportion_and_without_a_jump(pitch):
    """Day by day over ten weeks, across two month-ends: no day is worth half as much again as the middle.

    Months of 28 to 31 days bear a twelfth of the interest each, so a day may differ by a tenth; flats
    reserved before the handover add to it as it moves.
    """
    profit = [pitch.account._moved(float(day)).total for day in range(-35, 36)]
    steps = -np.diff(profit)
    assert steps.min() > 0
    assert steps.max() < 1.5 * np.median(steps)
    assert steps.min() > 0.6 * np.median(steps)
    part = [pitch.account._moved(-day / 8).total for day in range(9)]
    assert np.diff(part) == pytest.approx(np.full(8, part[-1] / 8), rel=0.02)


def test_receipts_a_day_sooner_save_a_day_of_interest(small):
    """One receipt against a loan that it does not clear, worked by hand, compounding to the last month.

    Eight flats at 390,000 less 2.5 % are 3,042,000, paid 28 days after handover, all reserved by then. A day
    sooner puts 1 / (days of the month) of them a month earlier, which saves one per cent of it (12 % a year),
    rolled up to the end. Half the retention of 3 % of construction with contingency, 21 days after handover,
    and the other half twelve months later, come a day sooner too and cost the same way.
    """
    free = {f"site_cost.{item}.rate": 0.0 for item in SITE}
    free |= {f"money.{key}": 0.0 for key in ("equity_pct", "arrangement_pct", "fees_pct")}
    free |= {"money.fixed_preliminaries_pct": 0.0, "money.land": 800_000.0}
    account = repriced(small, free)
    grid, held = account._held
    ends, last = grid.ends_day, grid.ends_day.size - 1
    assert held.facility.debt.min() >= 0
    assert held.facility.debt[-1] > 0, "the sums below hold while the loan is never cleared"

    def worth(amount, day):
        month = int(np.searchsorted(ends, day))
        assert day - 1 > ends[month - 1], "the day before must lie in the same month"
        return 0.01 * 1.01 ** (last - month) * amount / (ends[month] - ends[month - 1])

    handover = float(small.plan.ready_by_block.max())
    retained = 0.03 * account.work.reference.sum() * 1.05 / 2
    by_hand = worth(3_042_000.0, handover + 28)
    by_hand -= worth(retained, handover + 21) + worth(retained, handover + 21 + 365.25)
    assert account._moved(-1.0).interest == pytest.approx(by_hand, rel=1e-6)


SITE = ("team", "welfare", "hoarding", "security", "logistics", "power", "small_plant", "cleaning")


def test_each_block_alone_adds_up_to_about_all_blocks(pitch):
    """Interest is charged on one loan, so blocks are not quite independent: a few per cent at most."""
    each = pitch.account.week_by_block
    assert list(each["block"]) == ["Heron", "Teal", "Swift"]
    assert each["profit"].sum() == pytest.approx(pitch.account.week.total, rel=0.05)


@settings(max_examples=25, deadline=None)
@given(
    rate=st.floats(0.0, 14.0),
    pace=st.floats(0.3, 30.0),
    launch=st.floats(0.0, 12.0),
    passed=st.floats(0.0, 100.0),
    equity=st.floats(0.0, 60.0),
)
def test_a_later_handover_never_raises_profit(small, rate, pace, launch, passed, equity):
    """Whole months, a flat price, no rent, no cap on a block, hurdle and loan at one rate or none.

    Costs that come later with the handover (retention, fees) are smaller than the receipts it delays.
    """
    account = repriced(
        small,
        {
            "money.debt_rate_pct": rate,
            "money.reservations_per_month": pace,
            "money.cap_per_block_per_month": 1000.0,
            "money.sales_launch_months": launch,
            "money.builder_share_pct": passed,
            "money.equity_pct": equity,
            "money.price": 9000.0,
        },
    )
    profit = [account._moved(28.0 * months).total for months in range(-2, 3)]
    assert np.all(np.diff(profit) <= 0.01)
