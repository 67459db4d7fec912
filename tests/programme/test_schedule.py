"""The day-by-day schedule on cases a hand can work: floors in a row, closed days, lags, hook hours."""

import csv
from pathlib import Path

import numpy as np
import pytest

from model.programme.kernel import (
    CALENDAR,
    FRAME_USE,
    HORIZON_PASSED,
    LARGE,
    ORDINARY,
    PANEL_USE,
    PROPS,
    STRIKE,
    WORKING,
    after_lag,
)

PUBLISHED = Path(__file__).parents[1] / "published"
FLOORS = list(csv.DictReader((PUBLISHED / "lob_floors.csv").read_text(encoding="utf-8").splitlines()))


def floors_in_a_row(kit, days, gangs, floors):
    """Every trade works every floor once, bottom up, behind the trade before it."""
    trades = len(days)
    tasks = tuple(kit.Task(work=days[t], pool=t) for _ in range(floors) for t in range(trades))
    links = tuple(
        kit.Link(floor * trades + t, floor * trades + t + 1)
        for floor in range(floors)
        for t in range(trades - 1)
    )
    return kit.Net(tasks, links).run(kit.always(gangs=gangs))


@pytest.mark.parametrize("row", FLOORS, ids=lambda row: row["case"])
def test_identical_floors_take_the_closed_form(kit, row):
    days = [float(d) for d in row["days"].split()]
    gangs = tuple(int(k) for k in row["gangs"].split())
    done = floors_in_a_row(kit, days, gangs, int(row["floors"]))
    expected = pytest.approx(float(row["expected"]), rel=0, abs=float(row["half_step"]))
    assert done.finish.max() == expected, row["source"]


@pytest.mark.parametrize("row", FLOORS, ids=lambda row: row["case"])
def test_the_slowest_trade_never_waits_once_it_has_begun(kit, row):
    # The closed form holds because the trade of the greatest d / k works without a gap.
    days = [float(d) for d in row["days"].split()]
    gangs = [int(k) for k in row["gangs"].split()]
    done = floors_in_a_row(kit, days, tuple(gangs), int(row["floors"]))
    slow = int(np.argmax([d / k for d, k in zip(days, gangs, strict=True)]))
    mine = slice(slow, None, len(days))
    per_gang = int(row["floors"]) / gangs[slow] * days[slow]
    assert done.finish[mine].max() - done.start[mine].min() == pytest.approx(
        per_gang + (gangs[slow] - 1) * days[slow] / gangs[slow], abs=1e-6
    )


WEEK = np.array([1.0, 1, 1, 1, 1, 0, 0] * 60)  # date 0 is a Monday
EASTER = WEEK.copy()
EASTER[[4, 7]] = 0.0  # Good Friday and Easter Monday of the first week-end
LAGS = [  # all worked by hand
    (WEEK, 3.0, 1.0, WORKING, 4.0, "one day from Wednesday night is Thursday night"),
    (WEEK, 5.0, 1.0, WORKING, 8.0, "one day from Friday night is Monday night"),
    (WEEK, 4.5, 0.5, WORKING, 5.0, "half a day from Friday noon is Friday night"),
    (WEEK, 4.75, 0.5, WORKING, 7.25, "what Friday does not give, Monday does"),
    (WEEK, 4.5, 2.0, WORKING, 8.5, "two days from Friday noon: half Friday, Monday, half Tuesday"),
    (WEEK, 5.5, 1.0, WORKING, 8.0, "a closed Saturday gives nothing"),
    (WEEK, 7.0, 0.25, WORKING, 7.25, "Monday morning"),
    (WEEK, 2.0, 10.0, WORKING, 16.0, "ten days hold two week-ends unless they end on one"),
    (WEEK, 5.5, 0.0, WORKING, 5.5, "no lag, no wait"),
    (EASTER, 4.0, 1.0, WORKING, 9.0, "Thursday night over Easter is Tuesday night"),
    (WEEK, 4.5, 2.0, CALENDAR, 6.5, "calendar days run through the week-end"),
    (WEEK, 5.0, 0.0, CALENDAR, 5.0, "no lag, no wait"),
]


@pytest.mark.parametrize(("open_dates", "instant", "lag", "kind", "expected", "why"), LAGS)
def test_a_lag_ends_when_a_hand_says(open_dates, instant, lag, kind, expected, why):
    before = np.concatenate([[0.0], np.cumsum(open_dates)])
    release = np.zeros((2, open_dates.size))
    got = after_lag(instant, lag, kind, open_dates, before, release, kind - STRIKE)
    assert got == pytest.approx(expected, abs=1e-9), why


@pytest.mark.parametrize("lag", [0.25, 1.0, 3.5, 40.0, 137.25])
@pytest.mark.parametrize("instant", [0.0, 0.5, 4.999, 5.0, 6.3, 11.75, 200.1])
def test_a_working_lag_holds_that_many_open_days(instant, lag):
    before = np.concatenate([[0.0], np.cumsum(WEEK)])
    end = after_lag(instant, lag, WORKING, WEEK, before, np.zeros((2, WEEK.size)), -1)
    fine = np.arange(instant, end, 0.0005)
    passed = WEEK[fine.astype(int)].sum() * 0.0005
    assert passed == pytest.approx(lag, abs=0.002)


def test_a_release_is_read_on_the_date_the_pour_ends():
    # Finished at exactly 12.0 means date 11; a moment later is date 12.
    days = np.arange(WEEK.size, dtype=float)
    release = np.stack([days, 2 * days])
    before = np.concatenate([[0.0], np.cumsum(WEEK)])
    for kind, instant, expected in (
        (STRIKE, 12.0, 12.0 + 11),
        (STRIKE, 12.01, 12.01 + 12),
        (PROPS, 12.0, 12.0 + 22),
        (PROPS, 0.0, 0.0),
    ):
        got = after_lag(instant, 0.0, kind, WEEK, before, release, kind - STRIKE)
        assert got == pytest.approx(expected, abs=1e-9)


def test_a_release_holds_back_what_follows_the_pour(kit):
    site = kit.always()
    site.release[0, 2] = 6.5
    net = kit.Net((kit.Task(3.0), kit.Task(1.0)), (kit.Link(0, 1, kind=STRIKE),))
    done = net.run(site)
    assert done.start[1] == pytest.approx(9.5, abs=1e-9)  # poured at 3.0, on date 2


def test_work_stops_over_the_week_end(kit):
    # Five shifts from a Thursday morning: Thursday, Friday, Monday, Tuesday, Wednesday.
    net = kit.Net((kit.Task(3.0), kit.Task(5.0)), (kit.Link(0, 1),))
    done = net.run(kit.week())
    assert done.finish.tolist() == pytest.approx([3.0, 10.0], abs=1e-9)
    mine = done.task == 1
    assert done.date[mine].tolist() == [3, 4, 7, 8, 9]


def test_a_follower_of_friday_night_starts_on_monday(kit):
    net = kit.Net((kit.Task(5.0), kit.Task(1.0)), (kit.Link(0, 1),))
    done = net.run(kit.week())
    assert done.ready[1] == pytest.approx(5.0, abs=1e-9)
    assert done.start[1] == pytest.approx(7.0, abs=1e-9)


def test_half_a_shift_a_day_takes_twice_as_long(kit):
    site = kit.always()
    site.share[:] = 0.5
    assert kit.Net((kit.Task(3.0),)).run(site).finish[0] == pytest.approx(6.0, abs=1e-9)


def test_a_task_that_ends_within_a_date_frees_its_gang_then(kit):
    net = kit.Net((kit.Task(1.25), kit.Task(0.5), kit.Task(1.0)))
    done = net.run(kit.always())
    assert done.start.tolist() == pytest.approx([0.0, 1.25, 1.75], abs=1e-9)
    assert done.bound_task.tolist() == [-1, 0, 1]


def test_rank_says_who_has_the_gang_first(kit):
    net = kit.Net((kit.Task(2.0), kit.Task(3.0)))
    assert net.run(kit.always(), rank=[1, 0]).start.tolist() == [3.0, 0.0]


def test_an_event_passes_on_the_latest_of_what_it_follows(kit):
    net = kit.Net(
        (kit.Task(2.0), kit.Task(3.0, pool=1), kit.Task(0.0, pool=-1), kit.Task(1.0)),
        (kit.Link(0, 2, lag=4.0), kit.Link(1, 2), kit.Link(2, 3)),
    )
    done = net.run(kit.always(gangs=(1, 1)))
    assert done.finish[2] == pytest.approx(6.0, abs=1e-9)
    assert done.start[3] == pytest.approx(6.0, abs=1e-9)
    assert net.links[done.bound_link[2]].before == 0


def test_hook_hours_hold_a_lifting_task_back(kit):
    # 2 shifts with 20 hook hours, 10 h a shift, on a crane of 8 h a day: 8, 8 and 4 h (hand calculation).
    net = kit.Net((kit.Task(2.0, hook=20.0, crane=0, lift_class=ORDINARY),))
    done = net.run(kit.always())
    assert done.hook.tolist() == pytest.approx([8.0, 8.0, 4.0], abs=1e-9)
    assert done.finish[0] == pytest.approx(2.4, abs=1e-9)  # the last 0.4 shift is not held back


def test_large_loads_have_fewer_hours_and_leave_the_rest_to_others(kit):
    site = kit.always(gangs=(1, 1))
    site.large[:] = 2.0
    net = kit.Net(
        (
            kit.Task(1.0, pool=0, hook=6.0, crane=0, lift_class=LARGE, use=PANEL_USE),
            kit.Task(1.0, pool=1, hook=6.0, crane=0, lift_class=ORDINARY),
        )
    )
    done = net.run(site)
    large = done.task == 0
    assert done.hook[large].tolist() == pytest.approx([2.0, 2.0, 2.0], abs=1e-9)
    assert done.finish[1] == pytest.approx(1.0, abs=1e-9)


def test_panels_keep_their_booked_share_while_the_frame_lifts(kit):
    # 8 h, 40 % booked for panels: the frame, first in rank, takes 4.8 h and the panels 3.2 h a day.
    net = kit.Net(
        (
            kit.Task(1.0, pool=0, hook=9.6, crane=0, lift_class=ORDINARY, use=FRAME_USE),
            kit.Task(1.0, pool=1, hook=6.4, crane=0, lift_class=LARGE, use=PANEL_USE),
        )
    )
    done = net.run(kit.always(gangs=(1, 1)))
    frame, panels = done.hook[done.task == 0], done.hook[done.task == 1]
    assert frame[0] == pytest.approx(4.8, abs=1e-9)
    assert panels[0] == pytest.approx(3.2, abs=1e-9)


def test_what_either_use_leaves_of_its_booking_goes_to_the_other(kit):
    net = kit.Net(
        (
            kit.Task(1.0, pool=0, hook=12.0, crane=0, lift_class=ORDINARY, use=FRAME_USE),
            kit.Task(1.0, pool=1, hook=1.0, crane=0, lift_class=LARGE, use=PANEL_USE),
        )
    )
    done = net.run(kit.always(gangs=(1, 1)))
    first_day = done.date == 0
    assert done.hook[first_day & (done.task == 0)].sum() == pytest.approx(7.0, abs=1e-9)
    assert done.hook[first_day & (done.task == 1)].sum() == pytest.approx(1.0, abs=1e-9)


def test_no_new_lift_is_begun_with_less_hook_time_left_than_is_asked(kit):
    net = kit.Net(
        (
            kit.Task(1.0, pool=0, hook=7.75, crane=0, lift_class=ORDINARY),
            kit.Task(1.0, pool=1, hook=4.0, crane=0, lift_class=ORDINARY),
        )
    )
    assert net.run(kit.always(gangs=(1, 1), least_hook_start=0.5)).start[1] == pytest.approx(1.0, abs=1e-9)
    assert net.run(kit.always(gangs=(1, 1), least_hook_start=0.0)).start[1] == pytest.approx(0.0, abs=1e-9)


def test_a_lift_that_no_day_allows_passes_the_horizon(kit):
    site = kit.always(dates=50)
    site.large[:] = 0.0
    done = kit.Net((kit.Task(1.0, hook=1.0, crane=0, lift_class=LARGE),)).run(site)
    assert done.status == HORIZON_PASSED
    assert done.finish[0] == -1.0
