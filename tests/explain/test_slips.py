"""A week's slip of each trade: what has float moves nothing, what has none moves the handover."""

import json
from dataclasses import asdict
from itertools import pairwise

import numpy as np
import pytest

from model.explain.rerun import Change, rerun
from model.explain.slips import cost_of_slips
from model.inputs.method import read_catalogue
from model.programme.causes import float_days
from model.programme.durations import SHIFTS_PER_WEEK

DAY = 1e-6
HALF_PENNY = 0.005


@pytest.fixture(scope="module")
def two_storeys(compared):
    return [(case, cost_of_slips(case)) for case in compared("two_storey").cases]


@pytest.fixture(scope="module")
def pitch(compared):
    return [(case, cost_of_slips(case)) for case in compared("pitch").cases]


def test_every_trade_with_work_has_its_row(pitch):
    catalogue = read_catalogue()
    for case, slips in pitch:
        tasks = case.plan.tasks
        working = {list(catalogue.trades)[k] for k in np.unique(tasks.trade[tasks.work > 0])}
        assert {row.trade for row in slips.rows} == working
        assert len(slips.rows) == len(working)
    assert any(not catalogue.trades[row.trade].on_site for row in pitch[1][1].rows)


def test_a_slip_within_the_float_moves_no_handover(two_storeys):
    # one gang to a trade is enough, and the hook is never short: nothing but links and gangs holds work up
    for case, slips in two_storeys:
        within = [row for row in slips.rows if row.float_days >= 7.0]
        assert len(within) >= 6
        for row in within:
            assert row.weeks_last == 0.0, (case.method.id, row.label)
            assert row.weeks_first == 0.0, (case.method.id, row.label)


def test_a_slip_without_float_moves_the_handover_by_a_week(two_storeys):
    # five working days are seven dates, whatever the weekday
    for case, slips in two_storeys:
        without = [row for row in slips.rows if row.float_days == 0.0]
        assert len(without) >= 6
        for row in without:
            assert row.weeks_last == pytest.approx(1.0, rel=0, abs=DAY), (case.method.id, row.label)


# tests/hand/open_frame_tasks.csv, storey 2: commissioning and flats are what the handover waits for. Services
# end at 192.1, the flats begin at 197.075. Bathrooms end at 186.5, floors begin at 191.6. Levelling ends at
# 176.65 and cures for 2 days; bathrooms begin at 179.5 and can wait as long as the float of their own.
@pytest.mark.parametrize(
    ("activity", "storey", "expected"),
    [
        ("commissioning_most", 0, 0.0),
        ("flat_completion", 2, 0.0),
        ("services_second", 2, 197.075 - 192.1),
        ("bathrooms_built", 2, 191.6 - 186.5),
        ("levelling", 2, 179.5 + 5.1 - (176.65 + 2)),
    ],
)
def test_float_is_what_a_hand_takes_from_the_table(two_storeys, activity, storey, expected):
    plan = two_storeys[0][0].plan
    tasks = plan.network.tasks_of(f"activity:{activity}")
    (task,) = tasks[plan.network.storey[tasks] == storey]
    assert float_days(plan, to="last")[task] == pytest.approx(expected, rel=0, abs=DAY)


def test_no_task_has_less_than_no_float(compared):
    for name in ("two_storey", "pitch", "large"):
        for case in compared(name).cases:
            spare = float_days(case.plan, to="last")
            assert spare.min() == pytest.approx(0.0, abs=DAY)
            ready = case.plan.network.tasks_of("event:ready")
            assert spare[ready] == pytest.approx(case.plan.last_handover - case.plan.finish[ready], abs=DAY)


def test_the_task_is_the_one_of_its_trade_with_the_least_float(pitch):
    for case, slips in pitch:
        spare, tasks = float_days(case.plan, to="last"), case.plan.tasks
        names = list(read_catalogue().trades)
        for row in slips.rows:
            assert names[tasks.trade[row.task]] == row.trade
            mine = (tasks.trade == names.index(row.trade)) & (tasks.work > 0)
            assert spare[row.task] <= spare[mine].min() + DAY


def test_the_cost_is_the_profit_lost_when_the_case_is_worked_again(pitch):
    for case, slips in pitch:
        for row in (slips.rows[0], slips.rows[-1]):
            slipped = rerun(case, Change(extra_work={row.task: SHIFTS_PER_WEEK}))
            assert row.cost == pytest.approx(
                case.account.profit - slipped.account.profit, rel=0, abs=HALF_PENNY
            )
            later = slipped.weeks_to_last_handover - case.weeks_to_last_handover
            assert row.weeks_last == pytest.approx(later, rel=0, abs=DAY)


def test_the_dearest_slip_stands_first(pitch):
    for _case, slips in pitch:
        assert all(one.cost >= next_one.cost for one, next_one in pairwise(slips.rows))
        assert slips.rows[0].cost > 0.0


def test_figures_are_finite_and_the_frame_holds_the_rows(pitch):
    for _case, slips in pitch:
        told = json.loads(json.dumps(slips.as_json(), allow_nan=False))
        assert [row["trade"] for row in told["trades"]] == [row.trade for row in slips.rows]
        assert told["working_days"] == SHIFTS_PER_WEEK
        assert slips.frame()["cost"].tolist() == [row.cost for row in slips.rows]
        assert list(slips.frame().columns) == list(asdict(slips.rows[0]))


def test_progress_is_told_to_the_end(compared):
    told = []
    slips = cost_of_slips(compared("two_storey").first, lambda done, of: told.append((done, of)))
    count = len(slips.rows)
    assert told == [(k, count) for k in range(1, count + 1)]
