"""What a development earns by tenure, from its plan to the months, against hand calculations.

Sources: hand calculations on the development of tests/hand: eight flats of 60 m2 at 6,500 a m2, 390,000 each,
handed over on day 252.075 by the open frame and 245.365 with panels; month m ends on day 0, 31, 61, 92, 122,
153, 184, 214, 245, 275, 306, 337, 366, 397, 427 for m = 0 to 14. A sum between two month-ends is split by
nearness. A month of a pace is 365.25 / 12 = 30.4375 days; flats are launched 6 of them after the start, on
182.625, and paid for 28 days after handover, so on 280.075 or 273.365, or when they are reserved. Selling
costs 2.5 %. Shares, yields and rents are the library's.
"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from model import compare_methods
from model.core.errors import RangeError, ScenarioError
from model.inputs.reading import read_tables
from model.money import common_grid, price
from model.pipeline import build_cases, plan_method
from model.site import operate

PENNY = 0.01
MONTH = 30.4375
METHODS = (0, 1)


@pytest.fixture(scope="module")
def cases(compared):
    return compared("two_storey").cases


def repriced(case, figures=None, **development):
    """The same plan with other figures of money."""
    scenario = replace(case.plan.scenario, development=replace(case.plan.scenario.development, **development))
    more = {f"money.{key}": (float(value), "") for key, value in (figures or {}).items()}
    plan = replace(case.plan, scenario=scenario, values=case.plan.values.with_overrides(more))
    return price(plan, replace(case.site, plan=plan), common_grid([plan]))


def months(account, kind):
    """Receipts of a kind that are more than nothing, by month."""
    found = account.cash.income.by_kind[kind]
    pairs = zip(account.grid.months.tolist(), found.tolist(), strict=True)
    return {month: amount for month, amount in pairs if abs(amount) > 1e-6}


def by_nearness(account, dated):
    """Dated sums on the month-ends around them, one by one."""
    ends, paid = account.grid.ends_day, np.zeros(account.grid.ends_day.size)
    for day, amount in dated:
        after = int(np.argmax(ends > day))
        later = (day - ends[after - 1]) / (ends[after] - ends[after - 1])
        paid[after - 1] += amount * (1 - later)
        paid[after] += amount * later
    return paid


def close(wanted, pennies=1):
    return pytest.approx(wanted, rel=0, abs=pennies * PENNY)


# Flats sold one by one, and affordable homes beside them


@pytest.mark.parametrize(
    ("method", "sold", "affordable"),
    [
        # 25 % of 8 is 2 homes at 60 % of 390,000, without costs of selling: 468,000. The other six bring
        # 2,340,000 x 0.975 = 2,281,500. 280.075 is 25.925 days before month 10 ends, of 31
        (0, {9: 1_907_996.37, 10: 373_503.63}, {9: 391_383.87, 10: 76_616.13}),
        # 273.365 is 1.635 days before month 9 ends, of 30
        (1, {8: 124_341.75, 9: 2_157_158.25}, {8: 25_506.00, 9: 442_494.00}),
    ],
)
def test_affordable_homes_stand_beside_flats_sold(cases, method, sold, affordable):
    account = repriced(cases[method], {"affordable_pct": 25})
    assert months(account, "sale") == close(sold)
    assert months(account, "affordable") == close(affordable)
    assert list(account.cash.income.by_kind) == ["sale", "affordable"]
    assert account.receipts == close(2_749_500.00)
    assert account.value == close(2_808_000.00)  # 2,340,000 + 468,000
    assert account.cash.income.presold_share == 1.0
    frame = account.receipts_frame().groupby(["section", "kind"])["amount"].sum()
    assert frame.to_dict() == close({("Only", "sale"): 2_281_500.00, ("Only", "affordable"): 468_000.00})


@pytest.mark.parametrize(
    ("share", "homes"),
    [(0, 0), (6, 0), (7, 1), (18, 1), (19, 2), (30, 2), (32, 3), (50, 4), (100, 8)],
    # 0.48, 0.56, 1.44, 1.52, 2.4, 2.56 homes
)
def test_affordable_homes_are_whole_ones(cases, share, homes):
    account = repriced(cases[0], {"affordable_pct": share})
    net = account.cash.income.by_kind
    assert float(np.sum(net.get("affordable", 0.0))) == close(homes * 234_000.0)
    assert float(np.sum(net.get("sale", 0.0))) == close((8 - homes) * 380_250.0)
    assert (account.cash.income.presold_share is None) == (homes == 8)


@pytest.mark.parametrize("method", METHODS)
def test_flats_reserved_after_handover_are_paid_for_when_they_are(cases, method):
    """One a month from 182.625, the first half a month after it: 197.84375, 228.28125, 258.71875 and so on.

    Two are reserved by day 252.075, and by 245.365. The third is paid for 28 days after handover, as they
    are; the others on their own day, 289.15625, 319.59375, 350.03125, 380.46875 and 410.90625, whoever built
    them.
    """
    account = repriced(cases[method], {"reservations_per_month": 1, "cap_per_block_per_month": 10})
    paid = months(account, "sale")
    late = {11: 376_126.04, 12: 373_641.09, 13: 381_463.84, 14: 176_261.72}
    if method == 0:
        # three at 280.075 and one at 289.15625: 380,250 x (3 x 25.925 + 16.84375) / 31 = 1,160,605.80
        late |= {9: 1_160_605.80, 10: 573_901.51}
    else:
        # three at 273.365, 1.635 / 30 of 1,140,750; the rest of it and 16.84375 / 31 of the fourth; its
        # 14.15625 / 31 and 17.40625 / 31 of the fifth
        late |= {8: 62_170.88, 9: 1_285_186.74, 10: 387_149.70}
    assert paid == close(late)
    assert account.cash.income.presold_share == 0.25
    assert account.receipts == close(3_042_000.00)


def test_prices_follow_their_path_to_the_day_of_reservation(cases):
    """A hundred per cent at the start, 112 a year later: one per cent a month.

    Ten a month from month 6, each in the middle of its tenth: months 6.05, 6.15 to 6.75, on average 6.4. So
    3,120,000 x 1.064 = 3,319,680, less 2.5 %: 3,236,688. Earlier handovers reserve nothing sooner.
    """
    for case in cases:
        account = repriced(case, price_path=((0.0, 100.0), (12.0, 112.0)))
        assert account.value == close(3_319_680.00)
        assert account.receipts == close(3_236_688.00)
    # level before the first point and after the last: all eight at 110
    level = repriced(cases[0], price_path=((7.0, 110.0), (8.0, 300.0)))
    assert level.value == close(3_432_000.00)


def test_a_released_deposit_comes_with_the_reservation_and_changes_no_total(cases):
    """10 % of the price, half of it released: 19,500 a flat on eight days 3.04375 apart from 184.146875.

    Those days are 86.4 days in all after the end of month 6, so 86.4 / 30 = 2.88 parts of 19,500 fall to
    month 7, 56,160, and 5.12 to month 6, 99,840. The rest, 3,042,000 - 156,000 = 2,886,000, comes on 280.075.
    """
    account = repriced(cases[0], {"deposit_pct": 10, "deposit_released_pct": 50})
    wanted = {6: 99_840.00, 7: 56_160.00, 9: 2_413_533.87, 10: 472_466.13}
    assert months(account, "sale") == close(wanted)
    assert account.receipts == close(3_042_000.00)
    assert account.value == close(3_120_000.00)
    held = repriced(cases[0], {"deposit_pct": 10, "deposit_released_pct": 0})
    assert months(held, "sale") == close(months(cases[0].account, "sale"))
    assert account.npv > held.npv
    assert account.interest < held.interest


def test_incentives_come_off_what_is_received_and_off_the_value(cases):
    """3,120,000 less 2 %: 3,057,600; the costs of selling are 2.5 % of the price before it, 78,000."""
    account = repriced(cases[0], {"incentives_pct": 2})
    assert account.value == close(3_057_600.00)
    assert account.receipts == close(2_979_600.00)


# Homes to let

LET = {"lets_per_month": 2, "stabilised_pct": 95}
"""Of eight homes 7.6 are let, two a month: full 3.8 months after handover, 115.6625 days."""


@pytest.mark.parametrize(
    ("method", "exit_day", "exit_months"),
    [
        # 367.7375 is 1.7375 days after month 12 ends, of 31; 361.0275 is 24.0275 days after month 11, of 29
        (0, 367.7375, {12: 1_850_664.43, 13: 109_885.67}),
        (1, 361.0275, {11: 336_166.74, 12: 1_624_383.36}),
    ],
)
def test_homes_let_are_sold_whole_once_they_are_full(cases, method, exit_day, exit_months):
    """Rent of 1,400 from the middle of each home's half month: 3.55 + 3.05 + ... + 0.55 months for seven, and
    0.15 of 0.6 of the last, 14.44 home-months: 20,216, of which a quarter runs them. Income of a year 7.6 x
    1,400 x 12 x 0.75 = 95,760, at 4.75 % 2,016,000, over 1.018 for the buyer's costs 1,980,353.63, less 1 %.
    """
    account = repriced(cases[method], LET, tenure="rent")
    income = account.cash.income
    assert income.exit_day == pytest.approx(exit_day, rel=0, abs=1e-6)
    assert list(income.by_kind) == ["rent", "exit"]
    assert float(income.by_kind["rent"].sum()) == close(15_162.00)
    assert months(account, "exit") == close(exit_months)
    assert account.value == close(1_980_353.63)
    assert account.receipts == close(15_162.00 + 1_960_550.10)
    assert income.presold_share is None


@pytest.mark.parametrize(
    ("method", "exit_months", "rent", "value"),
    [
        # month 15 is day 456.5625: full since 367.7375, 2.918275 months x 7.6 homes and 14.44 before:
        # 36.618891 home-months x 1,400 x 0.75
        (0, 15, 38_449.84, 1_980_353.63),
        (1, 15, 40_209.04, 1_980_353.63),  # 6.71 days more, 0.220452 months x 7.6 homes x 1,050
        # month 10 is 304.375, 1.718275 months after handover: 3.436550 homes let, three of them for 1.468275,
        # 0.968275 and 0.468275 months; 3.436550 x 12,600 a year / 0.0475 / 1.018
        (0, 10, 3_050.07, 895_471.70),
        # 1.938727 months: 3.877454 homes let, for 1.688727, 1.188727, 0.688727 and 0.188727 months
        (1, 10, 3_942.65, 1_010_359.17),
    ],
)
def test_homes_let_are_sold_on_a_fixed_date_for_what_is_let_by_then(cases, method, exit_months, rent, value):
    figures = {**LET, "rent_exit_months": exit_months}
    account = repriced(cases[method], figures, tenure="rent", rent_exit="fixed date")
    income = account.cash.income
    assert income.exit_day == pytest.approx(exit_months * MONTH, rel=0, abs=1e-9)
    assert float(income.by_kind["rent"].sum()) == close(rent)
    assert account.value == close(value)
    assert float(income.by_kind["exit"].sum()) == close(0.99 * value)


def test_a_fixed_date_is_one_for_both_methods_and_an_earlier_handover_lets_until_it(cases):
    figures = {**LET, "rent_exit_months": 15}
    first, second = (repriced(case, figures, tenure="rent", rent_exit="fixed date") for case in cases)
    assert first.cash.income.exit_day == second.cash.income.exit_day
    # 6.71 days of 7.6 homes at 1,400 x 0.75 a month
    assert second.receipts - first.receipts == close(6.71 / MONTH * 7.6 * 1_050)


# Forward sale


@pytest.mark.parametrize(
    ("method", "handed_over"),
    [
        # 15 % on 280.075 or 273.365: 279,378.39 split as above
        (0, {9: 233_641.44, 10: 45_736.95}),
        (1, {8: 15_226.12, 9: 264_152.27}),
    ],
)
def test_a_forward_sale_is_paid_for_at_the_start_as_work_goes_on_and_at_handover(cases, method, handed_over):
    """A home's income 1,400 x 12 x 0.95 x 0.75 = 11,970 at 4.75 % is 252,000, over 1.018 less 5 %: 235,167.
    Eight are 1,881,335.95, of which 99 % come after costs, 1,862,522.59: 15 % at the start, 70 % in stages.

    Piling is 3,600 a shift over 80 of them, five a week from the first day; a date counts at its end. In
    month 0 fall 353 / 31 = 11.387097 shifts and in month 1 11.612903 + 10.233333, of 1,571,600 for all
    of the works, or 1,663,680 with panels. The last work is done before month 8 ends, on 241.075 and 234.365.
    """
    account = repriced(cases[method], tenure="forward sale")
    net = 1_862_522.5933
    assert account.value == close(1_881_335.95)
    assert account.receipts == close(net)
    assert list(account.cash.income.by_kind) == ["forward sale"]
    paid = months(account, "forward sale")
    works = (1_571_600.0, 1_663_680.0)[method]
    assert paid[0] == close(net * (0.15 + 0.70 * 3_600 * 353 / 31 / works))
    assert paid[1] == close(net * 0.70 * 3_600 * (11.6129032258 + 10.2333333333) / works)
    if method == 0:
        assert paid[0] == close(313_385.76)  # 279,378.39 + 34,007.37
    for month in {9, 10} & set(handed_over):  # no work is left by then
        assert paid[month] == close(handed_over[month])
    assert max(paid) == max(handed_over)


def test_nothing_is_held_back_of_a_forward_sale_paid_at_the_start(cases):
    figures = {"forward_land_pct": 100, "forward_stage_pct": 0, "forward_discount_pct": 0}
    account = repriced(cases[0], figures, tenure="forward sale")
    assert months(account, "forward sale") == close({0: 1_980_353.6346 * 0.99}, 2)


def test_a_forward_sale_cannot_be_paid_more_than_once(cases):
    figures = {"forward_land_pct": 40, "forward_stage_pct": 70}
    with pytest.raises(RangeError, match=r"pays 1\.1 of the price at the contract and in stages"):
        repriced(cases[0], figures, tenure="forward sale")


# Several blocks

SITE = {"name": "Several", "place": "london", "start": "2027-03-01", "purchase": "2027-03-01"}


def block(name, **more):
    return {"name": name, "storeys": 2, "flats_per_storey": 4, "flat_area_m2": 60, **more}


def several(*blocks, **overrides):
    figures = {f"money.{key}": value for key, value in overrides.items()}
    return read_tables({"development": SITE, "blocks": list(blocks), "overrides": figures})


@pytest.fixture(scope="module")
def mixed():
    """One block for sale, one to let ten weeks later, one sold forward."""
    scenario = several(
        block("Sold"),
        block("Let", tenure="rent", start_weeks=10),
        block("Forward", tenure="forward sale", price_gbp_m2=9_999),
        lets_per_month=2,
    )
    return compare_methods(scenario)


@pytest.mark.parametrize("method", METHODS)
def test_each_block_earns_by_its_own_tenure(mixed, method):
    """Eight flats a block at the sums above, on the days their own blocks are handed over."""
    account = mixed.cases[method].account
    sold, let, forward = mixed.cases[method].plan.ready_by_block
    found = account.receipts_frame().groupby(["section", "kind"])["amount"].sum().to_dict()
    assert found == close(
        {
            ("Sold", "sale"): 3_042_000.00,
            ("Let", "rent"): 15_162.00,
            ("Let", "exit"): 1_960_550.10,
            ("Forward", "forward sale"): 1_862_522.59,
        }
    )
    kinds = account.cash.income.by_kind
    assert list(kinds) == ["sale", "rent", "exit", "forward sale"]
    # ten a month from 182.625: all eight are reserved by day 207
    assert sold > 207
    assert kinds["sale"] == close(by_nearness(account, [(sold + 28, 3_042_000.0)]))
    assert kinds["exit"] == close(by_nearness(account, [(let + 3.8 * MONTH, 1_960_550.0982)]))
    at_handover = by_nearness(account, [(forward + 28, 279_378.3890)])
    assert (kinds["forward sale"] >= at_handover - PENNY).all()
    assert account.cash.receipts == close(sum(kinds.values()))
    assert account.value == close(3_120_000.00 + 1_980_353.63 + 1_881_335.95, 2)


@pytest.mark.parametrize("method", METHODS)
def test_receipts_of_sections_add_up_by_month_and_kind(mixed, method):
    account = mixed.cases[method].account
    frame = account.receipts_frame()
    for kind, net in account.cash.income.by_kind.items():
        mine = frame[frame["kind"] == kind].groupby("month")["amount"].sum()
        assert mine.reindex(account.grid.months, fill_value=0.0).to_numpy() == close(net)


def test_the_same_months_stand_for_both_methods_and_hold_the_last_receipt_of_either(mixed):
    first, second = (case.account for case in mixed.cases)
    assert first.grid == second.grid
    alone = [common_grid([case.plan]) for case in mixed.cases]
    assert first.grid.last == max(grid.last for grid in alone)
    assert first.grid.first == min(grid.first for grid in alone)
    for account in (first, second):
        assert account.grid.ends_day[-1] >= account.cash.income.exit_day
        assert account.cashflow_frame()["month"].tolist() == first.cashflow_frame()["month"].tolist()


def test_a_late_fixed_date_makes_the_months_of_both_methods_longer(cases):
    scenario = cases[0].plan.scenario.with_override("money.rent_exit_months", 60.0)
    scenario = replace(
        scenario, development=replace(scenario.development, tenure="rent", rent_exit="fixed date")
    )
    first, second = (case.account for case in build_cases(scenario, scenario.methods))
    assert first.grid == second.grid
    # day 1826.25 is in month 60 or 61, and a month more is kept
    assert first.grid.last in (61, 62)
    assert first.grid.last > cases[0].account.grid.last


@pytest.fixture(scope="module")
def two_let():
    """Two blocks to let, the second half a year later."""
    scenario = several(
        block("First", tenure="rent"), block("Second", tenure="rent", start_weeks=26), lets_per_month=2
    )
    return build_cases(scenario, scenario.methods)


@pytest.mark.parametrize("method", METHODS)
def test_two_blocks_to_let_are_sold_together_and_each_has_its_own_rent(two_let, method):
    """The first is full 3.8 months after its handover and lets on until the second is full."""
    account = two_let[method].account
    early, late = two_let[method].plan.ready_by_block
    assert late - early > 3.8 * MONTH
    assert account.cash.income.exit_day == pytest.approx(late + 3.8 * MONTH, rel=0, abs=1e-6)
    found = account.receipts_frame().groupby(["section", "kind"])["amount"].sum().to_dict()
    assert found == close(
        {
            ("First", "rent"): 15_162.00 + (late - early) / MONTH * 7.6 * 1_050,
            ("First", "exit"): 1_960_550.10,
            ("Second", "rent"): 15_162.00,
            ("Second", "exit"): 1_960_550.10,
        }
    )
    kinds = account.cash.income.by_kind
    frame = account.receipts_frame()
    for kind in ("rent", "exit"):
        mine = frame[frame["kind"] == kind].groupby("month")["amount"].sum()
        assert mine.reindex(account.grid.months, fill_value=0.0).to_numpy() == close(kinds[kind])


def test_two_blocks_let_at_once_wait_for_the_one_team():
    """Two homes a month over both: the second is let after the first, and all are after 7.6 months."""
    scenario = several(block("First", tenure="rent"), block("Second", tenure="rent"), lets_per_month=2)
    case = build_cases(scenario, scenario.methods)[0]
    early, late = case.plan.ready_by_block
    assert early == late
    account = case.account
    assert account.cash.income.exit_day == pytest.approx(early + 7.6 * MONTH, rel=0, abs=1e-6)
    found = account.receipts_frame().query("kind == 'rent'").groupby("section")["amount"].sum().to_dict()
    # the first as alone and 3.8 months more of 7.6 homes
    assert found == close({"First": 15_162.00 + 3.8 * 7.6 * 1_050, "Second": 15_162.00})


# A block without flats


def without_flats(scenario, number):
    """The scenario with the flats of one block left out, which a file cannot say."""
    blocks = list(scenario.blocks)
    sizes = {
        "plate_area_m2": 320.0,
        "facade_length_m": 75.0,
        "separating_length_m": 60.0,
        "plate_depth_m": 16.0,
    }
    blocks[number] = replace(blocks[number], flats_per_storey=0, **sizes)
    return replace(scenario, blocks=tuple(blocks))


def test_a_file_cannot_leave_the_flats_of_a_block_out():
    with pytest.raises(ScenarioError, match=r"flats_per_storey: 0 is outside 1 to 40 flats"):
        several(block("Only", flats_per_storey=0))


@pytest.mark.parametrize("tenure", ["sale", "rent", "forward sale"])
def test_a_block_without_flats_costs_and_earns_nothing(tenure):
    scenario = several(block("Homes", tenure=tenure), block("Hall", tenure=tenure), lets_per_month=2)
    comparison = compare_methods(without_flats(scenario, 1))
    wanted = {"sale": 3_042_000.00, "rent": 15_162.00 + 1_960_550.10, "forward sale": 1_862_522.59}[tenure]
    for case in comparison.cases:
        assert case.takeoff.flats.tolist() == [8.0, 0.0]
        assert case.account.receipts == close(wanted)
        assert set(case.account.receipts_frame()["section"]) == {"Homes"}
        assert np.isfinite(case.account.week_by_block.drop(columns="block").to_numpy()).all()
    json.dumps(comparison.as_json(), allow_nan=False)


def test_a_development_without_flats_says_that_it_earns_nothing():
    scenario = without_flats(several(block("Hall")), 0)
    plan = plan_method(scenario, scenario.methods[0])
    with pytest.raises(RangeError, match=r"has no flats, so it earns nothing\. Give a block flats"):
        price(plan, operate(plan), common_grid([plan]))
