"""Small worlds a hand can follow, one mechanism of the site in each, with whole timetables.

All times are hand calculations with their sums beside them; dates 5 and 6, 12 and 13, ... are closed where
the world keeps a week. Worlds of the development start from `scenarios/two_storey.toml`, whose own dates
are in the tables of this folder.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from model.compare.case import Factory, factory_of
from model.inputs.reading import load_scenario, read_tables
from model.inputs.scenario import Section
from model.pipeline import build_case, plan_method
from model.programme.causes import path_to
from model.programme.kernel import FRAME_USE, LARGE, ORDINARY, PANEL_USE, PROPS

TWO_STOREY = Path(__file__).parents[2] / "scenarios" / "two_storey.toml"


def timetable(done, digits=6):
    return [
        (round(float(a), digits), round(float(b), digits))
        for a, b in zip(done.start, done.finish, strict=True)
    ]


def exactly(*pairs):
    return [pytest.approx(pair, rel=0, abs=1e-6) for pair in pairs]


# The crane


def test_one_crane_serves_two_blocks(kit):
    # Eight hook hours a date. A lifts 6 h a shift, B 4 h; A goes first.
    # Dates 0 and 1: A takes 6 h, B is left 2 h and does half a shift. Date 2: B first (4 h), A's next task is
    # left 4 of 6 h and does 2/3; date 3: 1/3 of a date. B's next task lifts nothing.
    lift = {"crane": 0, "lift_class": ORDINARY, "use": FRAME_USE}
    net = kit.Net(
        (
            kit.Task(2.0, pool=0, hook=12.0, **lift),
            kit.Task(2.0, pool=1, hook=8.0, **lift),
            kit.Task(1.0, pool=0, hook=6.0, **lift),
            kit.Task(1.0, pool=1),
        ),
        (kit.Link(0, 2), kit.Link(1, 3)),
    )
    alone = net.run(kit.always(30, hours=8.0, gangs=(1, 1)))
    assert timetable(alone) == exactly((0, 2), (0, 3), (2, 10 / 3), (3, 4))
    together = net.run(
        kit.always(30, hours=8.0 * 1.8, gangs=(1, 1))
    )  # two cranes, a tenth lost to each other
    assert timetable(together) == exactly((0, 2), (0, 2), (2, 3), (2, 3))


def test_wind_stops_large_lifts_while_ordinary_lifts_go_on(kit):
    # No large load may fly on dates 1 and 2. Panels: date 0, then 3 and 4. Frame: dates 0, 1, 2. Both fit a
    # day.
    large = np.full((1, 30), 8.0)
    large[0, 1:3] = 0.0
    net = kit.Net(
        (
            kit.Task(3.0, pool=0, hook=9.0, crane=0, lift_class=LARGE, use=PANEL_USE),
            kit.Task(3.0, pool=1, hook=9.0, crane=0, lift_class=ORDINARY, use=FRAME_USE),
        )
    )
    done = net.run(kit.always(30, gangs=(1, 1), large=large, booked_panels=0.5))
    assert timetable(done) == exactly((0, 5), (0, 3))


def test_evening_hours_are_for_goods_that_are_neither_frame_nor_panels(kit):
    # The frame wants all eight hours for three dates. With 1.5 h an evening, goods of 6 h at 4 h a shift do
    # 0.375 a date: 1.125 shifts in three dates, the last 0.375 on date 3, when the hook is free.
    lift = {"crane": 0, "lift_class": ORDINARY}
    net = kit.Net(
        (
            kit.Task(3.0, pool=0, hook=24.0, use=FRAME_USE, **lift),
            kit.Task(1.5, pool=1, hook=6.0, **lift),
        )
    )
    plain = net.run(kit.always(30, gangs=(1, 1)))
    assert timetable(plain) == exactly((0, 3), (3, 4.5))
    evening = net.run(kit.always(30, gangs=(1, 1), evening=np.full((1, 30), 1.5)))
    assert timetable(evening) == exactly((0, 3), (0, 3.375))
    frame_twice = kit.Net((net.tasks[0], kit.Task(1.5, pool=1, hook=6.0, use=FRAME_USE, **lift)))
    assert timetable(frame_twice.run(kit.always(30, gangs=(1, 1), evening=np.full((1, 30), 1.5)))) == exactly(
        (0, 3), (3, 4.5)
    )


def test_work_on_a_face_gives_way_to_large_lifts_of_the_day_before(kit):
    # Panels fly 4 h on each of dates 0, 1, 2. A quarter of the faces over a shift of ten hours: 0.025 an
    # hour.
    # Brick: 1 + 0.9 + 0.9 + 0.9 = 3.7 in four dates (date 3 still follows a date of flights), then 0.3.
    net = kit.Net(
        (
            kit.Task(3.0, pool=0, hook=12.0, crane=0, lift_class=LARGE, use=PANEL_USE, face=0),
            kit.Task(4.0, pool=1, face=0),
            kit.Task(4.0, pool=2),
        )
    )
    done = net.run(kit.always(30, gangs=(1, 1, 1), cleared_per_hour=0.25 / 10))
    assert timetable(done) == exactly((0, 3), (0, 4.3), (0, 4))


def test_a_weekend_between_does_not_give_the_face_back(kit):
    # Flights on Friday (date 4) are what Monday (date 7) gives way to: 0.9 on Monday, 0.1 of Tuesday.
    net = kit.Net(
        (
            kit.Task(1.0, pool=0, hook=4.0, crane=0, lift_class=LARGE, use=PANEL_USE, face=0),
            kit.Task(1.0, pool=1, face=0),
            kit.Task(4.0, pool=2),
        ),
        (kit.Link(2, 0), kit.Link(0, 1)),
    )
    done = net.run(kit.week(60, gangs=(1, 1, 1), cleared_per_hour=0.25 / 10))
    assert timetable(done) == exactly((4, 5), (7, 8.1), (0, 4))


# Hoists


def test_a_hoist_carries_so_much_a_date_and_no_more(kit):
    # Six hours a date. Boards want 4 h a shift, kitchens 4 h: boards first, kitchens are left 2 h: half a
    # shift.
    # Dates 0, 1: boards done; kitchens 1.0. Date 2: 1.0. Another block's hoist is its own.
    net = kit.Net(
        (
            kit.Task(2.0, pool=0, hoist=0, hoist_hours=8.0),
            kit.Task(2.0, pool=1, hoist=0, hoist_hours=8.0),
            kit.Task(2.0, pool=2, hoist=1, hoist_hours=8.0),
        )
    )
    site = kit.always(30, gangs=(1, 1, 1), hoists=np.full((2, 30), 6.0))
    assert timetable(net.run(site)) == exactly((0, 2), (0, 3), (0, 2))


# Decks


def decks(kit, release_days, sets, storeys=7):
    """Deck (3 dates) and pour (5) of each storey; props out (half a date) frees the set for `sets` above."""
    tasks, links = [], []
    for p in range(storeys):
        tasks += [kit.Task(3.0, pool=0), kit.Task(5.0, pool=1), kit.Task(0.5, pool=2)]
        deck, pour, out = 3 * p, 3 * p + 1, 3 * p + 2
        links += [kit.Link(deck, pour), kit.Link(pour, out, kind=PROPS)]
        if p > 0:
            links.append(kit.Link(pour - 3, deck))
        if p >= sets:
            links.append(kit.Link(out - 3 * sets, deck))
    release = np.stack([np.full(300, 4.0), np.full(300, float(release_days))])
    done = kit.Net(tuple(tasks), tuple(links)).run(kit.always(300, gangs=(1, 1, 9), release=release))
    return [round(float(done.finish[3 * p + 1]), 6) for p in range(storeys)]


def test_deck_sets_stall_in_winter_and_not_in_summer(kit):
    # A storey takes 8. Released 14 dates after the pour: the set of storey 1 is free at 8 + 14 + 0.5 = 22.5,
    # before storey 4 wants it at 24: a pour every 8.
    assert decks(kit, 14, sets=3) == [8, 16, 24, 32, 40, 48, 56]
    # 28 dates: free at 36.5, 44.5, 52.5: storeys 4, 5, 6 are poured 8 later; that of storey 4, poured at
    # 44.5, is
    # free at 73: storey 7 at 81.
    assert decks(kit, 28, sets=3) == [8, 16, 24, 44.5, 52.5, 60.5, 81]
    # a set more: storey 5 waits for the first (36.5), 6 for the second, 7 for the third (52.5), each 8
    # after the last
    assert decks(kit, 28, sets=4) == [8, 16, 24, 32, 44.5, 52.5, 60.5]


@pytest.mark.parametrize(
    ("start", "stalls"), [("2027-12-06", False), ("2027-07-05", True)], ids=["summer", "winter"]
)
def test_a_frame_waits_for_its_deck_sets_in_winter_and_not_in_summer(start, stalls):
    """Released at about 14 and 28 days: common practice, no source. A quick frame, from twenty weeks on."""
    scenario = read_tables(
        {
            "development": {"name": "Season", "place": "london", "start": start},
            "blocks": [{"name": "Only", "storeys": 7, "flats_per_storey": 3, "zones": 1}],
            "overrides": {
                "site.learning": 1.0,
                "trade.carpenters.gangs": 3,
                "trade.steel_fixers.gangs": 3,
                "activity.deck_props.hours": 0.6,
            },
        }
    )
    plan = plan_method(scenario, scenario.method("open_frame"))
    decked = plan.network.tasks_of("activity:deck_props")
    words = np.array(plan.bound_words(), dtype=object)
    assert bool((words[decked] == "deck set").any()) == stalls


# The development


@pytest.fixture(scope="module")
def scenario():
    return load_scenario(TWO_STOREY)


def changed(scenario, **settings):
    chosen = {key.replace("__", "."): (value, "") for key, value in settings.items()}
    return scenario.with_changes(overrides={**dict(scenario.overrides), **chosen})


def times(plan, name, storey, section=""):
    frame = plan.frame
    here = (frame["activity"] == name) & (frame["storey"] == storey)
    if section:
        here &= frame["section"] == section
    (found,) = frame[here].itertuples()
    return found.start, found.finish


def near(*instants):
    return pytest.approx(instants, rel=0, abs=1e-6)


def own(first, last):
    return Section(first, last, own_stair=True, own_lift=True, own_riser=True, own_access=True)


def test_a_section_is_handed_over_below_live_work(scenario):
    split = changed(scenario, trade__commissioning__gangs=2).with_block(
        "Only", sections=(own(1, 1), own(2, 2))
    )
    plan = plan_method(split, split.method("open_frame"))
    low, high = "Only storeys 1-1", "Only storeys 2-2"
    # Flats of storey 1 at 185.075, a Thursday: 0.925 + Fri 1, five weeks from Mon 189 are 25, Mon 224 0.075.
    assert times(plan, "commissioning_most", 0, low) == near(185.075, 224.075)
    # Mon 0.925, Tue 1, Wed 1, Thu 0.075
    assert times(plan, "commissioning_last", 0, low) == near(224.075, 227.075)
    assert times(plan, "approved", 0, low)[1] == pytest.approx(238.075, abs=1e-6)  # 224.075 + 14
    # nothing of the top is waited for: not the grounds (234.1), not the roof; the top slab is poured at
    # 137.65
    assert times(plan, "ready", 0, low)[1] == pytest.approx(238.075, abs=1e-6)
    # storey 2 as the block before: 199.075, 238.075, 252.075
    assert times(plan, "commissioning_most", 0, high) == near(199.075, 238.075)
    assert times(plan, "ready", 0, high)[1] == pytest.approx(252.075, abs=1e-6)
    assert plan.ready_by_block.tolist() == [pytest.approx(252.075)]
    assert plan.first_handover == pytest.approx(238.075)
    case = build_case(split, split.method("open_frame"))
    assert [s["ready"] for s in case.as_json([])["blocks"][0]["sections"]] == ["2027-10-25", "2027-11-08"]
    sold = case.account.receipts_frame()
    assert set(sold["section"]) == {low, high}
    assert sold["amount"].sum() == pytest.approx(case.account.receipts, rel=1e-9)


def test_one_gang_of_commissioning_makes_sections_later_than_the_block(scenario):
    """Two sections are commissioned twice: with one gang the first waits for the second."""
    split = scenario.with_block("Only", sections=(own(1, 1), own(2, 2)))
    plan = plan_method(split, split.method("open_frame"))
    low, high = "Only storeys 1-1", "Only storeys 2-2"
    assert times(plan, "commissioning_most", 0, low) == near(185.075, 224.075)
    # Mon 0.925 + 4, four weeks 20 to Fri 256, Mon 1, Tue 1, Wed 0.075
    assert times(plan, "commissioning_most", 0, high) == near(224.075, 261.075)
    # Wed 0.925, Thu, Fri, Mon 0.075; then Mon 0.925, Tue, Wed, Thu 0.075
    assert times(plan, "commissioning_last", 0, low) == near(261.075, 266.075)
    assert times(plan, "commissioning_last", 0, high) == near(266.075, 269.075)
    assert times(plan, "ready", 0, low)[1] == pytest.approx(266.075, abs=1e-6)
    assert times(plan, "ready", 0, high)[1] == pytest.approx(275.075, abs=1e-6)  # approval 261.075 + 14


def test_people_move_in_only_when_so_many_slabs_stand_above(scenario):
    low = "Only storeys 1-1"
    split = changed(scenario, site__occupied_separation=1).with_block("Only", sections=(own(1, 1), own(2, 2)))
    plan = plan_method(split, split.method("open_frame"))
    frame = plan.frame
    (ready,) = frame[(frame["activity"] == "ready") & (frame["section"] == low)].index
    before = plan.network.before[plan.network.after == ready]
    held = frame.loc[before][frame.loc[before]["activity"] == "slab_poured"]
    assert held["storey"].tolist() == [3]  # ceiling of storey 1 is slab 2, and one slab above it


def test_a_hoist_bay_is_closed_late_and_from_the_top(scenario):
    late = changed(scenario, site__hoist_storeys=2, wait__bay_rooms=35)
    plan = plan_method(late, late.method("open_frame"))
    # goods in with the floors at 192.95 (Thu); five shifts: 0.05, Fri 1, Mon to Wed 3 = 4.05, Thu 0.95
    assert times(plan, "hoist_strike", 0) == near(192.95, 199.95)
    # 14 h / (3 x 8 h) = 0.583333: Thu 0.05, Fri 0.533333; the storey below: Fri 0.466667, Mon 0.116667
    assert times(plan, "bay_framed", 2) == near(199.95, 200.533333)
    assert times(plan, "bay_framed", 1) == near(200.533333, 203.116667)
    # 35 working days: Fri 0.466667 + 30 in six weeks to Fri 242, + Mon 245 .. Thu 248, Fri 0.533333;
    # Mon 0.883333 + 4 + 30 in six weeks to Fri 249, + Mon 0.116667
    assert times(plan, "behind_bays_done", 2)[1] == pytest.approx(249.533333, abs=1e-6)
    assert times(plan, "behind_bays_done", 1)[1] == pytest.approx(252.116667, abs=1e-6)
    # the last tenth waits for them: Mon 0.883333, Tue 1, Wed 1, Thu 0.116667
    assert times(plan, "commissioning_last", 0) == near(252.116667, 255.116667)
    assert plan.last_handover == pytest.approx(255.116667, abs=1e-6)
    path = path_to(plan, int(plan.network.tasks_of("event:ready")[0]))
    # 252.116667 - 203.116667: the rooms behind the bay are 49 days of the way to the handover
    assert path.days["access"] == pytest.approx(49.0, abs=1e-6)


def test_a_lift_in_the_builders_use_lets_the_hoist_go_before_the_last_goods(scenario):
    # Without lifts the fit-out of lifts is no work, there at 182 with the power. Ceilings of storey 2 are the
    # last: 182.65 in the tables (or see the frame); clad 163.35; roof 147.65.
    late = changed(scenario, site__hoist_storeys=2)
    with_lift = late.with_option("open_frame", "completion", "lift_in_use")
    plan = plan_method(with_lift, with_lift.method("open_frame"))
    ceilings = times(plan, "ceilings", 2)[1]
    assert times(plan, "hoist_strike_early", 0)[0] == pytest.approx(max(182.0, ceilings), abs=1e-6)
    assert times(plan, "hoist_strike_early", 0)[0] < 192.95


def test_a_factory_that_cannot_keep_up(scenario):
    slow = changed(scenario, factory__output=6)
    plan = plan_method(slow, slow.method("panelised"))
    # 27 panels at 6 a week are 22.5 shifts. From Mon 84: four weeks to 110.0, Mon, Tue, half of Wed: 114.5;
    # 0.5 + Thu + Fri, then four weeks from Mon 119: 145.0
    assert times(plan, "make_panels", 1) == near(84.0, 114.5)
    assert times(plan, "make_panels", 2) == near(114.5, 145.0)
    # two working days ahead: Wed 0.5, Thu 1, Fri 0.5; Mon, Tue
    assert times(plan, "panels_here", 1)[1] == pytest.approx(116.5, abs=1e-6)
    assert times(plan, "panels_here", 2)[1] == pytest.approx(149.0, abs=1e-6)
    # columns stand at 114.5: panels of storey 1 wait two days, those of storey 2 longer
    first = min(times(plan, name, 1)[0] for name in ("panel_set", "separating_set"))
    second = min(times(plan, name, 2)[0] for name in ("panel_set", "separating_set"))
    assert (first, second) == near(116.5, 149.0)
    factory = factory_of(plan, path_to(plan, int(plan.network.tasks_of("event:ready")[0])))
    assert isinstance(factory, Factory)
    assert factory.binds
    assert factory.since == pytest.approx(114.5, abs=1e-6)
    assert factory.last_made == pytest.approx(145.0, abs=1e-6)
    assert factory.days_on_path > 30.0
    # columns of storey 2 stand two working days and half a one after slab 2
    slab = times(plan, "slab_poured", 2)[1]
    wanted = max(times(plan, name, 2)[1] for name in ("edge_survey", "verticals_ready"))
    assert factory.longest_wait == pytest.approx(149.0 - wanted, abs=1e-6)
    assert slab < wanted < 149.0


def test_a_factory_that_keeps_up_binds_nothing(scenario):
    plan = plan_method(scenario, scenario.method("panelised"))
    factory = factory_of(plan, path_to(plan, int(plan.network.tasks_of("event:ready")[0])))
    assert (factory.binds, factory.waited, factory.since) == (False, 0, None)
    # Storey 1 wants its panels at 114.5 (columns): two working days earlier is 112.5 (Mon); made in one
    # shift.
    assert factory.first_made == pytest.approx(84.0)


def test_one_panel_in_so_many_is_made_again_and_the_brick_waits_for_it(scenario):
    # 54 panels at one in 27: one in each storey. Set 115.1 (Thu): 25 working days are 0.9 + Fri 1 + 20 in
    # four
    # weeks from Mon 119 to 145 + Mon 147, Tue 148, Wed 149 + 0.1: 150.1.
    again = changed(scenario, factory__damaged=1 / 27)
    plan = plan_method(again, again.method("panelised"))
    assert plan.takeoff.by_storey["remade_panels_no"].tolist() == [1.0, 1.0]
    set_at = times(plan, "panel_set", 1)[1]
    assert set_at == pytest.approx(115.1, abs=1e-6)
    # one panel, 1.6 h for five people of eight hours
    assert times(plan, "panel_remake", 1) == near(150.1, 150.1 + 1.6 / 40)
    assert times(plan, "clad", 1)[1] >= 150.14 - 1e-9


def test_late_adoption_orders_after_the_redesign_and_frames_some_of_the_wall_by_hand(scenario):
    from dataclasses import replace

    late = scenario.with_changes(development=replace(scenario.development, late_adoption=True))
    plan = plan_method(late, late.method("panelised"))
    # order 0 + redesign 10 + answer 6 + lead 12 weeks = 196, a Monday
    assert times(plan, "make_panels", 1)[0] == pytest.approx(196.0, abs=1e-6)
    # 15 of 100 m2 no longer fit: 180 m2 x 0.15
    assert plan.takeoff.by_zone["hand_wall_m2"].tolist() == [pytest.approx(27.0)] * 2
    assert plan.takeoff.by_zone["outer_panels_no"].tolist() == [13.0, 13.0]  # 15 x 0.85 = 12.75
    open_frame = plan_method(late, late.method("open_frame"))
    assert not open_frame.network.has("activity:hand_wall")
    assert open_frame.last_handover == pytest.approx(252.075, abs=1e-6)
    early, with_fee = (build_case(s, s.method("panelised")) for s in (scenario, late))
    value = float(with_fee.account.work.reference.sum())
    assert with_fee.account.cost_of("fees") - early.account.cost_of("fees") == pytest.approx(
        0.006 * value, rel=1e-6
    )
