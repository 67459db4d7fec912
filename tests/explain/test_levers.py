"""Single changes: what is tried, what is offered, and that each is what it says."""

import json
from itertools import pairwise

import numpy as np
import pytest

from model.core.errors import RangeError
from model.explain.levers import (
    LEAST_GAIN_WEEKS,
    Lever,
    Levers,
    best,
    gang_changes,
    most_gangs,
    other_changes,
    try_levers,
    waiting_pools,
)
from model.explain.rerun import Change, rerun
from model.inputs.method import read_catalogue
from model.inputs.reading import read_tables
from model.pipeline import build_case, plan_method

HALF_PENNY = 0.005


@pytest.fixture(scope="module")
def pitch(compared):
    return [(case, try_levers(case)) for case in compared("pitch").cases]


@pytest.fixture(scope="module")
def short_of_gangs():
    """One block whose dryliners and services are held to one gang each, which holds up the rest."""
    tables = {
        "development": {"name": "One", "place": "london", "start": "2027-03-01"},
        "blocks": [{"name": "Only", "storeys": 6, "flats_per_storey": 8}],
        "overrides": {"trade.dryliners.gangs": 1, "trade.services.gangs": 1},
    }
    scenario = read_tables(tables)
    return scenario, build_case(scenario, scenario.method("open_frame"))


def lever(weeks, cost=None, label=""):
    return Lever("gang", Change(label), 0.0, weeks, None if cost is None else -cost, cost)


def test_the_winning_gang_is_the_override_of_the_scenario(short_of_gangs):
    scenario, case = short_of_gangs
    offered = best(case)
    wins = [item for item in offered if item.kind == "gang"]
    assert wins
    for item in wins:
        ((trade, _block),) = item.change.gangs
        if read_catalogue().trades[trade].frame:
            continue  # as an override, other trades would be sized to the faster frame
        now = case.plan.gangs.by_trade()[trade]
        by_hand = scenario.with_override(f"trade.{trade}.gangs", now + 1)
        again = plan_method(by_hand, by_hand.method("open_frame"))
        assert case.plan.last_handover - again.last_handover == pytest.approx(7 * item.weeks_last, abs=1e-9)
        assert case.plan.first_handover - again.first_handover == pytest.approx(
            7 * item.weeks_first, abs=1e-9
        )
        return
    pytest.fail("no gang outside the frame was offered")


def test_no_gang_is_offered_beyond_what_the_market_supplies(compared):
    catalogue = read_catalogue()
    offered = 0
    for name in ("two_storey", "pitch", "large"):
        for case in compared(name).cases:
            plan = case.plan
            for kind, change in gang_changes(plan)[0]:
                assert kind == "gang"
                (((trade, block), more),) = change.gangs.items()
                count = int(plan.gangs.counts[plan.gangs.pools.index((trade, block))]) + more
                assert more == 1
                if catalogue.trades[trade].keeps_pace:
                    assert count <= plan.values[f"trade.{trade}.most_gangs"], trade
                assert catalogue.trades[trade].on_site
                offered += 1
    assert offered > 50


def test_a_trade_at_the_most_of_the_market_is_left_out(compared):
    plan = compared("large").first.plan
    full = [
        (trade, block)
        for (trade, block), count in zip(plan.gangs.pools, plan.gangs.counts, strict=True)
        if read_catalogue().trades[trade].keeps_pace and count >= plan.values[f"trade.{trade}.most_gangs"]
    ]
    assert full
    tried = [next(iter(change.gangs)) for _kind, change in gang_changes(plan)[0]]
    assert not set(full) & set(tried)
    assert most_gangs(plan, "carpenters", 2) == 3


def test_a_gang_where_none_is_waited_for_changes_no_date(compared):
    # what is left out of the trial is left out rightly
    for name in ("two_storey", "pitch"):
        for case in compared(name).cases:
            waits = waiting_pools(case.plan)
            assert not waits.all()
            for pool in np.flatnonzero(~waits).tolist():
                change = Change(gangs={case.plan.gangs.pools[pool]: 1})
                plan = rerun(case, change, dates_only=True)
                assert np.array_equal(plan.finish, case.plan.finish), case.plan.gangs.pools[pool]


def test_every_kind_of_change_the_case_has_is_tried(pitch):
    for case, levers in pitch:
        kinds = {item.kind for item in levers.tried}
        wanted = {"gang", "deck set", "order"}
        wanted |= {"factory"} if case.site.panels > 0 else set()
        wanted |= {"crane", "hoist", "evening"}
        assert kinds == wanted
        assert levers.refused == ()


def test_one_block_has_no_other_order_of_blocks(short_of_gangs):
    assert "order" not in {kind for kind, _change in other_changes(short_of_gangs[1].plan)}


def test_a_deck_set_more_is_one_set_more(compared):
    plan = compared("pitch").first.plan
    (change,) = (change for kind, change in other_changes(plan) if kind == "deck set")
    ((key, value),) = change.settings.items()
    assert key.endswith(".sets")
    assert value == plan.values[key] + 1


def test_what_is_offered_gains_most_and_is_priced_in_full(pitch, short_of_gangs):
    _scenario, short = short_of_gangs
    for case, levers in [*pitch, (short, try_levers(short))]:
        gains = [item.weeks_last for item in levers.tried]
        assert all(one >= other - 1e-6 for one, other in pairwise(gains))
        enough = sum(gain >= LEAST_GAIN_WEEKS for gain in gains)
        assert len(levers.offered) == min(enough, 3)
        for item in levers.offered:
            changed = rerun(case, item.change)
            assert 7 * item.weeks_last == pytest.approx(
                case.plan.last_handover - changed.plan.last_handover, abs=1e-9
            )
            assert item.profit == pytest.approx(
                changed.account.profit - case.account.profit, rel=0, abs=HALF_PENNY
            )
            cost = float(changed.account.cash.cost.sum() - case.account.cash.cost.sum())
            assert item.cost == pytest.approx(cost, rel=0, abs=HALF_PENNY)
            assert item.cost_per_week == pytest.approx(item.cost / item.weeks_last)


def test_levers_that_gain_alike_go_by_their_cost():
    tried = sorted(
        [lever(2.0, 50.0, "dear"), lever(2.0, 10.0, "cheap"), lever(3.0, 90.0, "fast")],
        key=lambda item: (-item.weeks_last, item.cost),
    )
    assert [item.label for item in Levers(tuple(tried), 2, 0).offered] == ["fast", "cheap"]


def test_a_change_that_gains_too_little_is_not_offered_and_says_why():
    slow = lever(LEAST_GAIN_WEEKS - 0.01, 5.0)
    assert slow.cost_per_week is None
    assert "gains less than 0.1 week" in slow.reason
    assert Levers((slow,), 3, 0).offered == ()
    assert Levers((slow,), 3, 0).words == (
        "1 single change tried: none brings the last handover forward by 0.1 week or more."
    )


def test_fewer_than_were_asked_for_is_said():
    levers = Levers((lever(1.0, 5.0), lever(0.0)), 3, 0)
    assert levers.words == "2 single changes tried: only 1 gains 0.1 week or more at the last handover."
    many = Levers(tuple(lever(1.0, 5.0) for _ in range(3)), 3, 0)
    assert many.words == "3 single changes tried: 3 gain 0.1 week or more at the last handover."


def test_a_change_that_was_not_priced_says_so():
    assert lever(1.0).reason == "Not priced: other changes gain more."
    assert lever(1.0).cost_per_week is None


def test_none_asked_for_is_refused(compared):
    with pytest.raises(RangeError, match=r"0 changes cannot be offered; ask for 1 or more"):
        best(compared("two_storey").first, 0)


def test_figures_are_finite_and_progress_is_told_to_the_end(compared):
    told = []
    levers = try_levers(compared("pitch").second, progress=lambda done, of: told.append((done, of)))
    assert told == [(k, len(levers.tried)) for k in range(1, len(levers.tried) + 1)]
    assert json.loads(json.dumps(levers.as_json(), allow_nan=False))["tried"] == len(levers.tried)
    frame = levers.frame()
    assert len(frame) == len(levers.tried)
    assert frame["weeks_gained_last_handover"].tolist() == [item.weeks_last for item in levers.tried]
