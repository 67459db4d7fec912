"""The development a hand can check: every date and every pound of `scenarios/two_storey.toml`.

The tables beside this file are hand calculations; nothing of the model went into them. Each figure has its
sum beside it. How to read them:

Day 0 is Monday 1 March 2027 and date n runs from n to n + 1, so a date is a Monday where n / 7 leaves 0,
and Saturday and Sunday, n / 7 leaving 5 and 6, are closed. A shift is eight hours for each person:
320 m2 x 0.9 h / (12 x 8 h) = 3 shifts. Nothing else stops work: no holiday, no weather, no learning, no
want of gangs or of the hook. A wait in working days counts open time only.

Striking and release of props are given to 0.05 day (`releases.csv`). They fall on weekends, so the work
that waits for them begins on the Monday exactly, and every other date is checked to 1e-6 day.

Money: month m ends on the m-th monthly anniversary of the start on site, which is also the day of purchase:
days 0, 31, 61, 92, 122, 153, 184, 214, 245, 275, 306, 337, 366. Work is paid 21 days after the end of the
date it is done on; a sum dated between two month-ends is split between them by nearness. Months 0 to 12.
"""

import csv
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
METHODS = ("open_frame", "panelised")
DAY = 1e-6
PENNY = 0.01
LAST_MONTH = 12


def table(name):
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def label(row):
    return "-".join(
        str(row[key]) for key in ("method", "activity", "event", "line", "storey", "month") if key in row
    )


def rows(name, **more):
    return [{**row, **more} for row in table(name)]


TASKS = [row for method in METHODS for row in rows(f"{method}_tasks", method=method)]
EVENTS = [row for method in METHODS for row in rows(f"{method}_events", method=method)]


@pytest.fixture(scope="module")
def cases(compared):
    return dict(zip(METHODS, compared("two_storey").cases, strict=True))


@pytest.fixture(scope="module")
def placed(cases):
    """Row of every task and event by method, name, storey and whether it is an event."""
    return {
        (method, row.activity, row.storey, row.trade == ""): row
        for method, case in cases.items()
        for row in case.plan.frame.itertuples()
    }


# Dates


@pytest.mark.parametrize("row", TASKS, ids=label)
def test_a_task_stands_where_the_hand_puts_it(placed, row):
    found = placed[row["method"], row["activity"], int(row["storey"]), False]
    for key, value in (
        ("amount", found.amount),
        ("people", found.people),
        ("shifts", found.work_days),
        ("start", found.start),
        ("finish", found.finish),
    ):
        assert value == pytest.approx(float(row[key]), rel=0, abs=DAY), (key, row["sum"])
    assert found.bound_by == row["bound_by"], row["sum"]


@pytest.mark.parametrize("row", EVENTS, ids=label)
def test_an_event_happens_when_the_hand_says(placed, row):
    found = placed[row["method"], row["event"], int(row["storey"]), True]
    assert found.finish == pytest.approx(float(row["instant"]), rel=0, abs=DAY), row["sum"]


def test_no_task_of_the_open_frame_is_left_out(placed):
    worked = {key[1:3] for key, row in placed.items() if key[0] == "open_frame" and row.work_days > 0}
    assert worked == {(row["activity"], int(row["storey"])) for row in table("open_frame_tasks")}
    assert len(worked) == 90


def test_tasks_of_the_panels_that_are_not_listed_stand_where_those_of_the_open_frame_do(placed):
    listed = {(row["activity"], int(row["storey"])) for row in table("panelised_tasks")}
    shared = {
        key[1:3]
        for key, row in placed.items()
        if key[0] == "panelised" and row.work_days > 0 and key[1:3] not in listed
    }
    # ground work, the core of storey 1, and what a Monday starts whatever the hour of the pour before
    assert shared == {
        ("substructure", 0),
        *((name, 1) for name in ("core_rebar", "core_forms", "core_pour", "stairs")),
        *((name, storey) for name in ("soffit_strike", "props_out") for storey in (1, 2)),
    }
    for name, storey in shared:
        own, other = (placed[method, name, storey, False] for method in METHODS)
        assert (own.start, own.finish) == pytest.approx((other.start, other.finish), rel=0, abs=DAY)


@pytest.mark.parametrize("row", table("releases"), ids=label)
def test_concrete_is_released_on_the_weekend_the_hand_says(cases, placed, row):
    plan = cases[row["method"]].plan
    task = placed[row["method"], row["activity"], int(row["storey"]), False]
    released = float(plan.ready[task.Index])
    assert released == pytest.approx(float(row["released"]), rel=0, abs=0.05), row["sum"]
    assert released % 7 > 5
    assert task.start == pytest.approx(7 * (released // 7 + 1), rel=0, abs=DAY)


def test_handover_is_a_week_less_a_few_hours_sooner_with_panels(cases):
    open_frame, panelised = (cases[method] for method in METHODS)
    # commissioning 238.075 + 14; 8 Nov 2027 is day 252
    assert open_frame.plan.last_handover == pytest.approx(252.075, rel=0, abs=DAY)
    assert open_frame.plan.date(252.075).isoformat() == "2027-11-08"
    # commissioning 231.365 + 14; 1 Nov 2027 is day 245
    assert panelised.plan.last_handover == pytest.approx(245.365, rel=0, abs=DAY)
    assert panelised.plan.date(245.365).isoformat() == "2027-11-01"
    # walls closed at 155.365 instead of 157.825 and no separating walls of 2.25 shifts to build before
    # partitions (two days of a weekend among them): 2.46 + 4.25 = 6.71 days
    saved = open_frame.weeks_to_last_handover - panelised.weeks_to_last_handover
    assert 7 * saved == pytest.approx(6.71, rel=0, abs=DAY)


def test_trades_that_keep_pace_need_one_gang(cases):
    # From pour to pour 9.825 and 9.805 shifts (123.825 to 137.65: 13.825 days less two weekends). No trade
    # that keeps pace has as many on a storey: tilers 5, joiners 3.75, bricklayers 3.5, tapers 2.85 are the
    # most.
    pairs = ("carpenters", "steel_fixers", "sealers", "services", "painters", "logistics")
    many = dict.fromkeys(pairs, 2) | {"dryliners": 3}
    open_frame, panelised = (cases[method].plan.gangs.by_trade() for method in METHODS)
    assert {trade: gangs for trade, gangs in open_frame.items() if gangs > 1} == many | {"window_fixers": 2}
    assert {trade: gangs for trade, gangs in panelised.items() if gangs > 1} == many


@pytest.mark.parametrize(
    ("method", "date", "hours"),
    [
        # core forms 192 x 0.18 x 0.1 h / 1.6 = 2.16; core bars 4.8 x 0.714 x 0.1 / 1.5 = 0.22848; column bars
        # 1.44 x 0.714 x 0.1 = 0.102816; column forms 60 x 0.18 x 0.1 = 1.08; column pour 7.2 x 0.8 x 0.1 =
        # 0.576
        ("open_frame", 113, 4.147296),
        # core forms 0.6 x 2.16 = 1.296; core bars 0.5 x 0.22848 = 0.11424; core pour 24 x 0.8 x 0.1 = 1.92;
        # columns 10 x 12 min = 2; half of the date's panels 0.5 / 0.6 x 15 x 10 min = 2.083333
        ("panelised", 114, 7.413573),
    ],
)
def test_the_busiest_date_of_the_hook_stays_below_its_eight_hours(cases, method, date, hours):
    plan = cases[method].plan
    used = [float(plan.moved_hook[plan.moved_date == day].sum()) for day in range(250)]
    assert used.index(max(used)) == date
    assert max(used) == pytest.approx(hours, rel=0, abs=DAY)
    assert plan.conditions.hook_ordinary[0, date] == pytest.approx(8.0, rel=0, abs=1e-9)


# Money of the open frame


@pytest.fixture(scope="module")
def account(cases):
    return cases["open_frame"].account


@pytest.fixture(scope="module")
def months(account):
    return account.cashflow_frame().set_index("month")


MONTHS = table("cash_months")


@pytest.mark.parametrize("row", MONTHS, ids=label)
def test_cash_of_a_month_is_what_the_hand_finds(months, row):
    found = float(months.loc[int(row["month"]), row["line"]])
    assert found == pytest.approx(float(row["expected"]), rel=0, abs=PENNY), row["sum"]


def test_nothing_else_is_paid_in_the_first_twelve_months(months):
    listed = {(int(row["month"]), row["line"]) for row in MONTHS}
    first = months.loc[0:LAST_MONTH].drop(columns="ends_on")
    assert list(first.index) == list(range(LAST_MONTH + 1))
    assert {
        (month, line) for line in first for month in first.index if abs(first.loc[month, line]) >= PENNY
    } == listed


def test_the_price_of_each_task_is_its_share_of_the_labour(account, placed):
    by_task = {}
    for row in table("cash_work"):
        key = row["activity"], int(row["storey"])
        by_task[key] = by_task.get(key, 0.0) + float(row["cost"])
    for (name, storey), cost in by_task.items():
        task = placed["open_frame", name, storey, False].Index
        assert float(account.work.reference[task]) * 1.05 == pytest.approx(cost, rel=0, abs=PENNY), (
            name,
            storey,
        )
    # 288,000 + 35,200 + 28,800 + 153,600 + 172,800 + 36,000 + 96,000 + 78,000 + 72,000 + 102,400 + 448,000 +
    # 60,800 = 1,571,600, and 5 % of contingency
    assert sum(by_task.values()) == pytest.approx(1_650_180.00, rel=0, abs=PENNY)
    assert account.cost_of("construction") == pytest.approx(1_650_180.00, rel=0, abs=PENNY)


def test_tables_of_work_and_time_add_up_to_the_months():
    expected = {(int(row["month"]), row["line"]): float(row["expected"]) for row in MONTHS}
    paid = dict.fromkeys(expected, 0.0)
    for row in table("cash_work"):
        paid[int(row["month"]), "construction"] += 0.97 * float(row["this_month"])
        paid[int(row["month"]) + 1, "construction"] += 0.97 * float(row["next_month"])
    for row in table("cash_time"):
        paid[int(row["month"]), row["line"]] += float(row["this_month"])
        paid[int(row["month"]) + 1, row["line"]] += float(row["next_month"])
    paid[8, "construction"] += 24_752.70 * 1.925 / 30  # half of the retention, at 273.075
    paid[9, "construction"] += 24_752.70 * 28.075 / 30
    paid[0, "fees"] += 78_580.00  # half of the fees, on the first day
    for key, sum_of_rows in paid.items():
        if key[1] in ("construction", "preliminaries", "fees"):
            assert sum_of_rows == pytest.approx(expected[key], rel=0, abs=PENNY), key


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # site 208 x 252.075 = 52,431.60; crane from 113 to 163.85, 900 x 50.85 = 45,765.00; scaffold from
        # 127.825 to 141.65, 24 x 13.825 = 331.80, and to 164.1, 48 x 22.45 = 1,077.60; fixed 4 % of 1,571,600
        # = 62,864.00
        ("preliminaries", 162_470.00),
        ("fees", 157_160.00),  # 10 % of 1,571,600
        ("land", 511_200.00),  # 60,000 x 8 x 1.065
        ("premium", 0.00),
    ],
)
def test_a_line_of_cost_adds_up(account, line, expected):
    assert account.cost_of(line) == pytest.approx(expected, rel=0, abs=PENNY)


def test_the_loan_is_what_equity_leaves(account):
    # costs 1,650,180 + 162,470 + 157,160 + 511,200 = 2,481,010, of which 35 % is equity
    assert account.cash.equity == pytest.approx(868_353.50, rel=0, abs=PENNY)
    # the loan at the end of month 8 and a month's interest: 1,607,223.94 x 1.01
    assert account.peak_debt == pytest.approx(1_623_296.18, rel=0, abs=PENNY)
    # 368.24 + 1,815.95 + 5,899.22 + 12,224.47 + 15,396.71 + 16,072.24
    assert account.interest == pytest.approx(51_776.82, rel=0, abs=PENNY)
    # 3,042,000 - 2,481,010 - interest 51,776.82 - fee 16,232.96
    assert account.profit == pytest.approx(492_980.22, rel=0, abs=2 * PENNY)
