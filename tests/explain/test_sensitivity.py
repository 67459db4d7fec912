"""One at a time: closed forms without interest, and both ends against comparing the changed scenario."""

import pickle
from dataclasses import replace

import pandas as pd
import pytest

from model import compare_methods
from model.core.errors import RangeError
from model.explain.breakeven import FIGURES
from model.explain.sensitivity import one_at_a_time
from model.explain.workers import BATCH

NO_LOAN = {f"money.{name}_pct": (0.0, "") for name in ("debt_rate", "arrangement", "exit", "non_utilisation")}
PANELS, FRAMED = "option.outer_wall.panel_before_deck.rate", "option.outer_wall.framed.rate"
POUND_A_M2 = 480.0 * 1.05
"""What a pound a m2 of outer wall comes to: 75 m x 3.2 m x 2 storeys, 5 % contingency. [GBP]"""

NAMES = {"first handover": "weeks_to_first_handover", "last handover": "weeks_to_last_handover"}


@pytest.fixture
def comparison(compared):
    return compared("two_storey")


@pytest.fixture(scope="module")
def without_loan(compared):
    scenario = compared("two_storey").scenario
    return compare_methods(scenario.with_changes(overrides={**dict(scenario.overrides), **NO_LOAN}))


def assert_as_compared(outcome, comparison):
    """The outcome is what `compare` says of a scenario, to the penny and to the last digits of a week."""
    difference = comparison.difference()
    for of in FIGURES:
        got = difference[NAMES.get(of, of)]
        assert outcome.of(of) == pytest.approx(got, rel=1e-9, abs=1e-3), of
    for own, case in ((outcome.first, comparison.first), (outcome.second, comparison.second)):
        assert own.weeks_to_last_handover == case.weeks_to_last_handover
        assert own.weeks_to_first_handover == case.weeks_to_first_handover
        assert own.profit == pytest.approx(case.account.profit, rel=1e-9, abs=1e-3)
    assert outcome.saving_pct("first handover") == pytest.approx(difference["programme_saving_pct"])


# Closed forms


def test_profit_falls_by_the_area_for_each_pound_of_panel_where_nothing_is_financed(without_loan):
    row = one_at_a_time(without_loan, [PANELS]).row(PANELS)
    now = without_loan.second.account.profit - without_loan.first.account.profit
    assert (row.low.value, row.now.value, row.high.value) == (380.0, 520.0, 680.0)
    assert row.low.outcome.profit == pytest.approx(now + 140.0 * POUND_A_M2, abs=0.01)
    assert row.high.outcome.profit == pytest.approx(now - 160.0 * POUND_A_M2, abs=0.01)
    assert row.moves("profit") == pytest.approx((140.0 * POUND_A_M2, -160.0 * POUND_A_M2), abs=0.01)
    assert row.swing("profit") == pytest.approx(300.0 * POUND_A_M2, abs=0.01)
    assert row.low.outcome.first == row.now.outcome.first  # the open frame has no panels


def test_what_moves_both_alike_shows_in_their_own_figures_alone(without_loan):
    """Land at 20,000 to 150,000 a flat, 8 flats, 6.5 % duty; the two buy the same land."""
    found = one_at_a_time(without_loan, ["money.land"])
    row = found.row("money.land")
    for end, apart in ((row.low, 40_000.0), (row.high, -90_000.0)):
        for own, now in (
            (end.outcome.first, row.now.outcome.first),
            (end.outcome.second, row.now.outcome.second),
        ):
            assert own.profit - now.profit == pytest.approx(8 * 1.065 * apart, abs=0.01)
    assert row.swing("profit") == pytest.approx(0.0, abs=0.005)
    assert found.ranked("profit") == ()


# Against comparing anew


@pytest.mark.parametrize(
    "key",
    [
        "factory.lead",
        "money.debt_rate_pct",
        "activity.panel_set.hours",
        "wait.drying",
        "block.efficiency",
        "trade.dryliners.gangs",
        "money.defects_months",
    ],
)
def test_both_ends_are_those_of_comparing_the_changed_scenario(comparison, key):
    row = one_at_a_time(comparison, [key]).row(key)
    assert row.refused == ()
    for end in (row.low, row.high):
        assert_as_compared(end.outcome, compare_methods(comparison.scenario.with_override(key, end.value)))


def test_an_earlier_purchase_begins_the_months_of_all_methods_earlier(comparison):
    development = replace(comparison.scenario.development, purchase=None)
    changed = compare_methods(comparison.scenario.with_changes(development=development))
    key = "money.purchase_months_before_start"
    row = one_at_a_time(changed, [key]).row(key)
    for end in (row.low, row.high):
        assert_as_compared(end.outcome, compare_methods(changed.scenario.with_override(key, end.value)))


@pytest.mark.parametrize("key", ["factory.lead", "money.debt_rate_pct"])
def test_a_loan_that_is_never_repaid_runs_to_the_end_of_the_months_of_all_methods(comparison, key):
    poor = compare_methods(comparison.scenario.with_override("money.price", 2000.0))
    assert poor.first.account.cash.facility.debt_at_end > 1000.0
    row = one_at_a_time(poor, [key]).row(key)
    for end in (row.low, row.high):
        assert_as_compared(end.outcome, compare_methods(poor.scenario.with_override(key, end.value)))


def test_a_record_that_the_scenario_sets_keeps_its_value_and_the_librarys_ends(comparison):
    changed = compare_methods(comparison.scenario.with_override("money.price", 14_000.0))
    row = one_at_a_time(changed, ["money.price"]).row("money.price")
    assert (row.low.value, row.now.value, row.high.value) == (3500.0, 14_000.0, 12_000.0)
    assert_as_compared(row.now.outcome, changed)
    assert_as_compared(row.high.outcome, compare_methods(changed.scenario.with_override("money.price", 12e3)))


def test_a_method_with_its_own_value_is_moved_alone(comparison):
    first, second = comparison.scenario.methods
    own = replace(second, overrides=(("money.price", (7000.0, "")),))
    changed = compare_methods(comparison.scenario.with_changes(methods=(first, own)))
    row = one_at_a_time(changed, ["money.price"]).row("money.price")
    assert row.moved == ("panelised",)
    assert row.now.value == 7000.0
    assert row.low.outcome.first == row.now.outcome.first
    assert row.low.outcome.second.profit < row.now.outcome.second.profit
    apart = replace(second, overrides=(("money.price", (3500.0, "")),))
    assert_as_compared(
        row.low.outcome, compare_methods(changed.scenario.with_changes(methods=(first, apart)))
    )


def test_choices_are_those_of_comparing_the_changed_scenario(comparison):
    scenario = comparison.scenario
    found = one_at_a_time(comparison, ["choice.zones", "choice.cranes.Only"])
    zones, cranes = found.row("choice.zones"), found.row("choice.cranes.Only")
    assert zones.low is None  # a slab is poured in one zone at least
    assert (zones.now.said, zones.high.said) == ("1", "2 (one more)")
    assert_as_compared(zones.high.outcome, compare_methods(scenario.with_block("Only", zones=2)))
    assert (cranes.low, cranes.high.value) == (None, 2.0)
    two = tuple(replace(crane, number=2) for crane in scenario.served)
    assert_as_compared(cranes.high.outcome, compare_methods(scenario.with_changes(cranes=two)))


def test_the_order_of_work_is_a_choice_where_there_are_several_blocks(compared):
    pitch = compared("pitch")
    row = one_at_a_time(pitch, ["choice.priority"]).row("choice.priority")
    assert (row.now.value, row.high.value) == ("together", "each block")
    development = replace(pitch.scenario.development, priority="each block")
    assert_as_compared(
        row.high.outcome, compare_methods(pitch.scenario.with_changes(development=development))
    )


# What is told


def test_without_keys_every_record_that_is_read_is_moved_and_every_choice(comparison, monkeypatch):
    counted = []

    def count(_runs, asks, _progress, _map):
        counted.append(len(asks))
        return ["Not worked."] * len(asks)

    monkeypatch.setattr("model.explain.sensitivity.work_all", count)
    found = one_at_a_time(comparison)
    keys = {row.key for row in found.rows}
    assert counted == [found.worked]
    assert {PANELS, FRAMED, "money.price", "factory.lead", "weather.open.rain1"} <= keys
    assert {"choice.zones", "choice.cranes.Only"} <= keys
    assert "choice.priority" not in keys  # one block
    assert not any(key.startswith(("delivery.", "welfare.", "travel.")) for key in keys)
    assert "activity.brick_slips.hours" not in keys  # of an option that neither method takes
    assert 400 < len(found.rows) < len(comparison.first.plan.values)
    assert len(found.refused) == found.worked
    assert found.row(PANELS).low is None


def test_records_nobody_reads_and_ranges_without_width_are_named(comparison):
    fixed = "geometry.higher_risk_height"
    found = one_at_a_time(comparison, ["travel.distance", "money.land", fixed])
    assert found.unread == ("travel.distance",)
    assert [row.key for row in found.rows] == ["money.land"]
    assert found.fixed == (fixed,)


def test_what_cannot_be_worked_out_is_listed_with_its_reason(compared):
    scenario = compared("two_storey").scenario.with_override("money.factory_deposit_pct", 50.0)
    row = one_at_a_time(compare_methods(scenario), ["money.factory_stage_pct"]).row("money.factory_stage_pct")
    ((value, said),) = row.refused
    assert value == 60.0
    assert said.startswith("The panel maker would be paid 110% of the price before delivery")
    assert row.high is None
    assert row.low.outcome.profit != row.now.outcome.profit
    assert row.swing("profit") == abs(row.low.outcome.profit - row.now.outcome.profit)
    assert row.moves("profit")[1] is None


def test_ranked_by_swing_for_money_and_for_weeks(comparison):
    found = one_at_a_time(comparison, ["money.land", PANELS, FRAMED, "factory.lead", "wait.drying"])
    swings = [row.swing("profit") for row in found.ranked("profit")]
    assert swings == sorted(swings, reverse=True)
    assert found.ranked("profit")[0].key == PANELS
    assert [row.key for row in found.ranked("last handover")] == ["factory.lead", "wait.drying"]
    assert not found.row("factory.lead").only_priced
    assert found.row(PANELS).only_priced
    with pytest.raises(RangeError, match=r"The figure 'cost' is not known. Give one of profit, npv"):
        found.ranked("cost")


def test_the_frame_holds_differences_and_each_methods_own_figures(comparison):
    found = one_at_a_time(comparison, [PANELS, "factory.lead", "choice.zones"])
    frame = found.frame("profit").set_index("key")
    assert list(frame.index) == [row.key for row in found.ranked("profit")]
    panels = frame.loc[PANELS]
    assert panels["at_low"] == pytest.approx(panels["second_low"] - panels["first_low"])
    assert panels["at_now"] == pytest.approx(comparison.difference()["profit"])
    assert pd.isna(frame.loc["choice.zones", "at_low"])
    json = found.as_json("last handover")
    assert [row["key"] for row in json["rows"]] == ["factory.lead", "choice.zones"]
    assert json["rows"][0]["high"]["first"]["weeks_to_last_handover"] == pytest.approx(
        comparison.first.weeks_to_last_handover
    )


def test_progress_is_told_to_the_last_case_and_it_does_not_matter_who_works_them(comparison):
    keys = [PANELS, FRAMED, "money.land", "wait.drying", "factory.lead", "choice.zones", "choice.cranes.Only"]
    told, elsewhere = [], []
    here = one_at_a_time(comparison, keys, lambda done, of: told.append((done, of)))
    assert told == [(n, here.worked) for n in range(1, here.worked + 1)]
    assert here.worked > BATCH

    def travelled(function, tasks):
        """Work what can be sent to another process, and bring back what can be sent from it."""
        for task in tasks:
            elsewhere.append(task)
            yield pickle.loads(pickle.dumps(pickle.loads(pickle.dumps(function))(task)))

    there = one_at_a_time(comparison, keys, map=travelled)
    assert len(elsewhere) == 2
    assert there == here


def test_a_key_that_is_not_known_names_the_nearest(comparison):
    with pytest.raises(RangeError, match=r"no record 'factry.lead'. The nearest known one is 'factory.lead'"):
        one_at_a_time(comparison, ["factry.lead"])
