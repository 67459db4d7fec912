"""What no stage asks for changes nothing; what is planned again in part is as if it were planned anew."""

from dataclasses import fields
from typing import ClassVar

import numpy as np
import pytest

from model.core.errors import RangeError
from model.explain import reach as reach_module
from model.explain.reach import CONDITIONS, planned_with, reach_of
from model.explain.rerun import Change, priced, replanned
from model.inputs.assumption import Values
from model.programme.conditions import expected_conditions
from model.programme.durations import Tasks

OF_PLAN = (
    "rank", "ready", "start", "finish", "gang", "bound_link", "bound_task",
    "moved_task", "moved_date", "moved_work", "moved_hook",
)  # fmt: skip

KINDS = [
    "activity.partition_frame.hours",  # work of one activity
    "activity.panel_set.hook",  # its hook hours alone
    "activity.commissioning_most.gang",  # people alone: no date moves, shares of prices do
    "activity.deck_panels.most",
    "activity.partition_frame.lifts",  # by hoist
    "trade.carpenters.gangs",  # gangs alone
    "trade.painters.most_gangs",
    "site.shift_hours",  # read by work, conditions and schedule
    "site.productive_hours",
    "site.separation_storeys",  # a counted rule
    "site.bays",  # read only when asked for
    "crane.utilisation",
    "hoist.speed",
    "weather.gust_limit_large",
    "weather.open.rain1",
    "concrete.release_ratio",
    "concrete.imposed",  # moves the levels of back-propping
    "wait.drying",
    "approval.power",
    "factory.lead",
    "factory.output",
    "geometry.partitions",
    "block.efficiency",
    "panel.outer_length",
    "option.deck.panel_decking.sets",
    "money.price",
    "vehicle.rigid.distance",
]


@pytest.fixture(scope="module")
def reached(compared):
    return [(case, reach_of(case.plan, case.site)) for case in compared("two_storey").cases]


def ends(case, key):
    record = case.plan.values.library.records[key]
    return {record.low, record.high} - {case.plan.values[key]}


@pytest.mark.parametrize("key", KINDS)
def test_a_plan_with_one_record_changed_is_that_of_planning_anew(reached, key):
    if key not in reached[0][0].plan.values:
        pytest.fail(f"the library no longer holds {key}")
    for case, reach in reached:
        for value in ends(case, key):
            found, same = planned_with(case.plan, reach, {key: value})
            anew = replanned(case.plan, Change(settings={key: value}))
            assert found.values == anew.values
            for name in OF_PLAN:
                assert np.array_equal(getattr(found, name), getattr(anew, name)), name
            for field in fields(Tasks):
                one, other = getattr(found.tasks, field.name), getattr(anew.tasks, field.name)
                assert np.array_equal(one, other), field.name
            assert np.array_equal(found.gangs.counts, anew.gangs.counts)
            if same and key not in reach.priced:
                assert priced(anew, case.site, case.account.grid).profit == case.account.profit


def test_several_records_together_are_as_if_planned_anew(reached):
    settings = {
        "activity.partition_frame.hours": 0.5,
        "trade.dryliners.gangs": 1.0,
        "weather.open.rain5": 0.9,
    }
    for case, reach in reached:
        found, same = planned_with(case.plan, reach, settings)
        anew = replanned(case.plan, Change(settings=settings))
        assert not same
        assert np.array_equal(found.finish, anew.finish)
        assert found.last_handover != case.plan.last_handover


def test_what_nobody_asks_for_makes_no_new_plan(reached, monkeypatch):
    def never(*_arguments, **_named):
        raise AssertionError("planned again")

    for name in ("replanned", "run_plan", "work_out", "size_gangs"):
        monkeypatch.setattr(reach_module, name, never)
    for case, reach in reached:
        unread = sorted(set(case.plan.values) - reach.read)
        assert len(unread) > 300
        for key in unread[::25]:
            for value in ends(case, key):
                found, same = planned_with(case.plan, reach, {key: value})
                assert same
                assert found.finish is case.plan.finish
                assert found.values[key] == value


def test_methods_ask_for_the_work_they_have(reached):
    (_, first), (_, second) = reached
    assert "activity.panel_set.hours" not in first.read
    assert "activity.panel_set.hours" in second.read
    assert "activity.wall_frame.hours" in first.read
    assert "activity.wall_frame.hours" not in second.read
    assert "money.price" in first.priced
    assert "money.price" not in first.planned


class Noted(str):
    """A key that notes which beginnings it is compared with."""

    __slots__ = ()
    asked: ClassVar[set] = set()

    def startswith(self, *arguments):
        Noted.asked.add(arguments[0])
        return super().startswith(*arguments)


def test_conditions_are_kept_apart_by_the_records_that_are_taken_to_reach_them(reached):
    class Names(Values):
        __slots__ = ()

        def items(self):
            return [(Noted(key), value) for key, value in self._numbers.items()]

    plan = reached[0][0].plan
    Noted.asked.clear()
    values = Names(plan.values.library, plan.values.overrides)
    assert expected_conditions(plan.scenario, values, plan.takeoff.layout) is not None
    assert {CONDITIONS} == Noted.asked


def test_a_value_without_a_meaning_is_refused_as_planning_refuses_it(reached):
    case, reach = reached[0]
    with pytest.raises(RangeError, match=r"activity.partition_frame.hours would be -1; 0 to 100 has a mean"):
        planned_with(case.plan, reach, {"activity.partition_frame.hours": -1.0})
    with pytest.raises(RangeError, match=r"holds no record 'money.pric'"):
        planned_with(case.plan, reach, {"money.pric": 1.0})
