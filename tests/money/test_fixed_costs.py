"""What the site costs besides the measured work: fixed items on dates of their own, and items that run.

Sources: hand calculations on the development of tests/hand, whose dates and month-ends are explained there
(month m ends on day 0, 31, 61, 92, 122, 153, 184, 214, 245, 275; payments come 21 days after what they are
for); shares of the heads of preliminaries as the library states them (NRM 1, group element 9). Events of the
larger development are read off the plan's own table of tasks, apart from the stage that prices them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.core.errors import RangeError
from model.inputs.assumption import read_library
from model.money import common_grid, price
from model.money.costs import VALUE_RELATED, read_fixed_costs, read_site_costs

PENNY = 0.01
DAY = 1e-6
METHODS = (0, 1)

SHARES = {
    "set_up": 0.18,
    "plant_up": 0.10,
    "plant_down": 0.09,
    "temporary_works": 0.29,
    "running": 0.27,
    "completion": 0.07,
}
"""The library's own, which `two_storey` overrides; they add to 1."""

# 3.3 % of 1,571,600 is 51,862.80, shared out; 0.7 % of the method's own price of the measured work: the same,
# or with panels 1,571,600 + 76,800 outer walls + 10,800 separating walls + 4,480 columns = 1,663,680
HAND = (
    {
        "Setting up: cabins, services, security": (0.0, 110.0, 9_335.304),  # to the ground slab
        "Cranes and hoists: bases, erection": (113.0, 113.0, 5_186.280),  # core bars are the first lift
        "Cranes and hoists: dismantling": (163.85, 163.85, 4_667.652),  # the last balcony
        "Temporary works: hoarding, gantries, designs": (0.0, 163.85, 15_040.212),
        "Management visits, surveys, tests, fees, permits": (0.0, 252.075, 14_002.956),
        "Completion: records, cleaning, handover": (252.075, 252.075, 3_630.396),  # one block, one day
        VALUE_RELATED: (0.0, 0.0, 11_001.200),
    },
    {
        "Setting up: cabins, services, security": (0.0, 110.0, 9_335.304),
        "Cranes and hoists: bases, erection": (113.0, 113.0, 5_186.280),
        "Cranes and hoists: dismantling": (158.865, 158.865, 4_667.652),
        "Temporary works: hoarding, gantries, designs": (0.0, 158.865, 15_040.212),
        "Management visits, surveys, tests, fees, permits": (0.0, 245.365, 14_002.956),
        "Completion: records, cleaning, handover": (245.365, 245.365, 3_630.396),
        VALUE_RELATED: (0.0, 0.0, 11_645.760),
    },
)

MONTHS = (
    (
        # value at 21: 10 of 31 days before month 1, 3,548.7742; set-up from 21 to 131, 84.866400 a day, ten
        # days of it on average at 26: 5/31 of 848.6640 = 136.8813; temporary works from 21 to 184.85,
        # 91.792566 a day: 5/31 of 917.9257 = 148.0525; running from 21 to 273.075, 55.550753 a day: 5/31 of
        # 555.5075 = 89.5980
        (0, 3_923.31),
        # value 21/31, 7,452.4258; set-up 26/31 of 848.6640 + 15 days x 84.8664 = 1,984.7787; temporary works
        # likewise 2,146.7616; running 1,299.1708
        (1, 12_883.14),
        # half of 30 and of 31 days: 30.5 x (84.866400 + 91.792566 + 55.550753)
        (2, 7_082.40),
        (3, 7_082.40),  # half of 31 and of 30 days
        # erection at 134, 19/31 of 5,186.28 = 3,178.6877; set-up 15 days and 26.5/31 of the nine to 131 =
        # 1,925.9198; 30.5 days of the other two, 2,799.6733 + 1,694.2980
        (4, 9_598.58),
        # erection 12/31, 2,007.5923; set-up 4.5/31 of nine days = 110.8738; 31 days of the others, 2,845.5696
        # + 1,722.0733
        (5, 6_686.11),
        # dismantling at 184.85, 29.15/30 of 4,667.652 = 4,535.4019; temporary works 15.5 days and 29.575/30
        # of the last 0.85 = 1,499.7031; running 1,694.2980
        (6, 7_729.40),
        # dismantling 0.85/30 = 132.2501; temporary works 0.425/30 of 0.85 days = 1.1053; running 1,694.2980
        (7, 1_827.65),
        # running 15.5 days and 15.9625/30 of the last 28.075 = 1,690.8671; completion at 273.075, 1.925/30 of
        # 3,630.396 = 232.9504
        (8, 1_923.82),
        (9, 4_127.20),  # running 14.0375/30 of 28.075 days = 729.7569; completion 28.075/30 = 3,397.4456
    ),
    (
        # with panels: value 3,756.6968 of 11,645.76; temporary works to 179.865, 94.672911 a day; running to
        # 266.365, 57.069901 a day; sums as above
        (0, 4_138.32),
        (1, 13_422.67),
        (2, 7_216.58),
        (3, 7_216.58),
        (4, 9_732.76),
        # dismantling at 179.865, 4.135/31 of 4,667.652 = 622.6045; temporary works 15.5 days and 17.5675/31
        # of the last 26.865 = 2,908.7516
        (5, 7_418.99),
        # dismantling 26.865/31 = 4,045.0475; temporary works 13.4325/31 of 26.865 days = 1,102.0663
        (6, 6_887.75),
        (7, 1_740.63),  # running alone, 30.5 days
        (8, 2_714.66),  # running 1,669.7100; completion at 266.365, 8.635/30 of 3,630.396 = 1,044.9490
        (9, 3_019.62),  # running 10.6825/30 of 21.365 days = 434.1718; completion 21.365/30 = 2,585.4470
    ),
)


def repriced(case, figures):
    """The same plan with other records."""
    values = case.plan.values.with_overrides({key: (float(v), "") for key, v in figures.items()})
    plan = replace(case.plan, values=values)
    return price(plan, replace(case.site, plan=plan), common_grid([plan]))


def shares(weights):
    return {f"fixed_cost.{name}.share": weight for name, weight in weights.items()}


LIBRARY = {
    **shares(SHARES),
    "money.fixed_preliminaries_pct": 3.3,
    "money.value_preliminaries_pct": 0.7,
    **{f"site_cost.{item.id}.rate": 0.0 for item in read_site_costs()},
}
"""Fixed preliminaries as the library has them, and nothing beside them."""


@pytest.fixture(scope="module")
def cases(compared):
    return compared("two_storey").cases


@pytest.fixture(scope="module")
def accounts(cases):
    return [repriced(case, LIBRARY) for case in cases]


# Fixed items


def test_the_shares_worked_by_hand_are_the_librarys():
    records = read_library().records
    assert {item.id: records[f"fixed_cost.{item.id}.share"].value for item in read_fixed_costs()} == SHARES
    assert (
        records["money.fixed_preliminaries_pct"].value,
        records["money.value_preliminaries_pct"].value,
    ) == (3.3, 0.7)


@pytest.mark.parametrize("method", METHODS)
def test_each_fixed_item_has_the_dates_and_the_sum_the_hand_finds(accounts, method):
    rows = accounts[method].cash.fixed_costs.frame().set_index("item")
    assert list(rows.index) == list(HAND[method])
    for label, (start, finish, amount) in HAND[method].items():
        assert rows.loc[label, "start"] == pytest.approx(start, rel=0, abs=DAY), label
        assert rows.loc[label, "finish"] == pytest.approx(finish, rel=0, abs=DAY), label
        assert rows.loc[label, "amount"] == pytest.approx(amount, rel=0, abs=PENNY), label
        assert rows.loc[label, "kind"] == ("value" if label == VALUE_RELATED else "fixed")


@pytest.mark.parametrize("method", METHODS)
def test_each_month_pays_what_the_hand_finds(accounts, method):
    account = accounts[method]
    by_month = dict(zip(account.grid.months.tolist(), account.cash.costs["preliminaries"], strict=True))
    for month, expected in MONTHS[method]:
        assert by_month.pop(month) == pytest.approx(expected, rel=0, abs=PENNY), month
    assert all(amount == 0.0 for amount in by_month.values())


def test_the_two_methods_pay_the_same_fixed_sum_and_their_own_for_insurance(accounts):
    """51,862.80 both; 0.7 % of the 92,080 that panels cost more is 644.56."""
    frames = [account.cash.fixed_costs.frame().groupby("kind")["amount"].sum() for account in accounts]
    assert frames[0]["fixed"] == pytest.approx(51_862.80, rel=0, abs=PENNY)
    assert frames[1]["fixed"] == pytest.approx(51_862.80, rel=0, abs=PENNY)
    assert frames[1]["value"] - frames[0]["value"] == pytest.approx(644.56, rel=0, abs=PENNY)


def test_without_any_share_there_is_no_item_to_go_to(cases):
    none = shares(dict.fromkeys(SHARES, 0.0))
    with pytest.raises(
        RangeError, match=r"no item to go to: every share under fixed_cost is 0\. Set one above 0, or money\."
    ):
        repriced(cases[0], none)
    account = repriced(cases[0], {**none, "money.fixed_preliminaries_pct": 0})
    assert account.cash.fixed_costs.amount.sum() == 0.0


@settings(max_examples=40, deadline=None)
@given(
    weights=st.lists(st.floats(0.0, 5.0), min_size=6, max_size=6).filter(lambda w: sum(w) > 1e-3),
    fixed=st.floats(0.0, 12.0),
    by_value=st.floats(0.0, 3.0),
    method=st.sampled_from(METHODS),
)
def test_whatever_the_weights_the_items_add_up(cases, weights, fixed, by_value, method):
    figures = dict(zip(SHARES, weights, strict=True))
    account = repriced(
        cases[method],
        {
            **LIBRARY,
            **shares(figures),
            "money.fixed_preliminaries_pct": fixed,
            "money.value_preliminaries_pct": by_value,
        },
    )
    rows = account.cash.fixed_costs.frame()
    own = 1_571_600.0 if method == 0 else 1_663_680.0
    sums = rows.groupby("kind")["amount"].sum()
    assert sums["fixed"] == pytest.approx(1_571_600.0 * fixed / 100, rel=1e-9, abs=1e-6)
    assert sums["value"] == pytest.approx(own * by_value / 100, rel=1e-9, abs=1e-6)
    assert account.cost_of("preliminaries") == pytest.approx(sums.sum(), rel=1e-9, abs=1e-6)
    each = rows[rows["kind"] == "fixed"]["amount"].to_numpy()
    assert each * sum(weights) == pytest.approx(
        np.array(weights) * 15_716.0 * fixed, rel=1e-9, abs=1e-6
    )  # only their proportion counts


# Items that run


@pytest.fixture(scope="module", params=METHODS, ids=["open frame", "panelised"])
def pitch(request, compared):
    return compared("pitch").cases[request.param]


def rows_of(case, name):
    costs = case.account.cash.time_costs
    label = next(item.label for item in read_site_costs() if item.id == name)
    frame = costs.frame()
    return frame[frame["item"] == label].reset_index(drop=True)


def events(case, name):
    """Instants of an event by block, as the plan's own table has them."""
    tasks = case.plan.frame
    return tasks[tasks["activity"] == name].groupby("block", sort=False)["finish"]


def rate(case, name):
    return case.plan.values[f"site_cost.{name}.rate"]


def scale(case):
    """396 flats over the 400 of the rates, to the power 0.7."""
    return (396 / 400) ** 0.7


def test_every_crane_is_paid_from_its_first_lift_to_its_last(pitch):
    tasks = pitch.plan.frame
    lifts = tasks[(tasks["hook_hours"] > 0) & (tasks["crane"] != "")].groupby("crane", sort=False)
    rows = rows_of(pitch, "cranes")
    cranes = [crane.name for crane in pitch.plan.scenario.served]
    assert rows["start"].tolist() == pytest.approx(lifts["start"].min()[cranes].tolist(), rel=0, abs=DAY)
    assert rows["finish"].tolist() == pytest.approx(lifts["finish"].max()[cranes].tolist(), rel=0, abs=DAY)
    assert set(rows["rate_per_week"]) == {rate(pitch, "cranes")}
    # gone with the last lift, which is before the block is handed over
    assert (rows["finish"].to_numpy() < pitch.plan.ready_by_block).all()


def test_the_scaffold_of_a_block_is_paid_half_while_it_goes_up_and_goes_with_its_facade(pitch):
    up, gone = events(pitch, "access_up"), events(pitch, "access_gone").max()
    first, full = up.min(), up.max()
    rows = rows_of(pitch, "scaffold")
    quantities = pitch.takeoff.frame
    area = quantities[quantities["quantity"] == "facade_m2"].groupby("block")["amount"].sum()
    expected = []
    for block in pitch.takeoff.layout.names:
        weekly = rate(pitch, "scaffold") * area[block]
        expected += [(first[block], full[block], weekly / 2), (full[block], gone[block], weekly)]
    found = rows[["start", "finish", "rate_per_week"]].to_numpy()
    assert found == pytest.approx(np.array(expected), rel=1e-9, abs=DAY)
    struck = pitch.plan.frame.query("activity == 'access_strike' and work_days > 0")
    assert gone.to_numpy() == pytest.approx(
        struck.groupby("block", sort=False)["finish"].max()[gone.index].to_numpy(), rel=0, abs=DAY
    )


def test_hoists_stand_from_the_third_slab_until_they_are_struck(pitch):
    tasks = pitch.plan.frame
    third = tasks[(tasks["activity"] == "slab_poured") & (tasks["storey"] == 3)]
    rows = rows_of(pitch, "hoists")
    names = list(pitch.takeoff.layout.names)
    assert rows["start"].tolist() == pytest.approx(
        third.groupby("block")["finish"].max()[names].tolist(), rel=0, abs=DAY
    )
    assert rows["finish"].tolist() == pytest.approx(
        events(pitch, "hoist_struck").max()[names].tolist(), rel=0, abs=DAY
    )


@pytest.mark.parametrize("name", ["team", "security", "logistics"])
def test_the_site_thins_out_block_by_block_and_ends_with_the_last_handover(pitch, name):
    """Three blocks: at the first and the second handover half of the share that may leave goes."""
    thins = {"team": 0.3, "security": 0.0, "logistics": 0.4}[name]
    ready = sorted(events(pitch, "ready").max().tolist())
    rows = rows_of(pitch, name)
    assert rows["start"].tolist() == pytest.approx([0.0, *ready[:-1]], rel=0, abs=DAY)
    assert rows["finish"].tolist() == pytest.approx(ready, rel=0, abs=DAY)
    weekly = rate(pitch, name) * scale(pitch)
    assert rows["rate_per_week"].tolist() == pytest.approx(
        [weekly, weekly * (1 - thins / 2), weekly * (1 - thins)], rel=1e-9
    )


def test_every_item_is_accounted_for_and_is_weeks_times_rate(pitch):
    frame = pitch.account.cash.time_costs.frame()
    none = {"evening", "deck_sets"}  # no evenings are worked, no deck sets beyond the usual
    assert set(frame["item"]) == {item.label for item in read_site_costs() if item.id not in none}
    weeks = (frame["finish"] - frame["start"]) / 7
    assert frame["amount"].to_numpy() == pytest.approx((weeks * frame["rate_per_week"]).to_numpy(), rel=1e-12)
    whole = pitch.account.preliminaries_frame().groupby("kind")["amount"].sum()
    assert whole[["time", "plant"]].sum() == pytest.approx(frame["amount"].sum(), rel=1e-9)
    assert whole.sum() == pytest.approx(pitch.account.cost_of("preliminaries"), rel=1e-9)


def test_each_crane_bears_its_own_erection_and_dismantling(pitch):
    """Three cranes, a third each, on the days of their own first and last lifts."""
    frame = pitch.account.cash.fixed_costs.frame()
    cranes = rows_of(pitch, "cranes")
    whole = float(pitch.account.work.reference.sum()) * 3.3 / 100
    for label, share, column in (
        ("Cranes and hoists: bases, erection", 0.10, "start"),
        ("Cranes and hoists: dismantling", 0.09, "finish"),
    ):
        rows = frame[frame["item"] == label]
        assert rows["start"].tolist() == pytest.approx(cranes[column].tolist(), rel=0, abs=DAY)
        assert rows["finish"].tolist() == rows["start"].tolist()
        assert rows["amount"].tolist() == pytest.approx([whole * share / 3] * 3, rel=1e-9)


def test_setting_up_lasts_until_the_last_ground_slab_and_completion_from_first_to_last_handover(pitch):
    frame = pitch.account.cash.fixed_costs.frame().set_index("item")
    ground = pitch.plan.frame.query("activity == 'slab_poured' and storey == 1")["finish"].max()
    lifts = rows_of(pitch, "cranes")["finish"].max()
    ready = events(pitch, "ready").max()
    spans = {
        "Setting up: cabins, services, security": (0.0, ground),
        "Temporary works: hoarding, gantries, designs": (0.0, lifts),
        "Management visits, surveys, tests, fees, permits": (0.0, ready.max()),
        "Completion: records, cleaning, handover": (ready.min(), ready.max()),
    }
    for label, (start, finish) in spans.items():
        assert frame.loc[label, "start"] == pytest.approx(start, rel=0, abs=DAY), label
        assert frame.loc[label, "finish"] == pytest.approx(finish, rel=0, abs=DAY), label
