"""The development a hand can check, with one thing at a time taken from what keeps it simple.

`scenarios/two_storey.toml` has no learning, no weather, one zone, ample hook hours and gangs, and concrete
that waits for no working day. Each test below turns one of these on; the new dates are hand calculations
with their sums beside them, starting from the dates of `open_frame_tasks.csv` and `panelised_tasks.csv`.
Dates to 1e-6 day, but 0.05 day where the age of concrete decides on a working day.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from model.inputs.reading import load_scenario
from model.pipeline import plan_method

TWO_STOREY = Path(__file__).parents[2] / "scenarios" / "two_storey.toml"
HANDOVER = {"open_frame": 252.075, "panelised": 245.365}
DAY = 1e-6
AGE = 0.05


@pytest.fixture(scope="module")
def scenario():
    return load_scenario(TWO_STOREY)


def plan_of(scenario, method="open_frame", **settings):
    """Plan with records set, the dots of their keys written as two underscores."""
    chosen = {key.replace("__", "."): (value, "") for key, value in settings.items()}
    changed = scenario.with_changes(overrides={**dict(scenario.overrides), **chosen})
    return plan_method(changed, changed.method(method))


def times(plan, name, storey, zone=None):
    """Start and finish of a task or event."""
    frame = plan.frame
    here = (frame["activity"] == name) & (frame["storey"] == storey)
    if zone is not None:
        here &= frame["zone"] == zone
    (found,) = frame[here].itertuples()
    return found.start, found.finish


def released(plan, name, storey):
    """Instant from which concrete lets a task begin."""
    frame = plan.frame
    (task,) = frame[(frame["activity"] == name) & (frame["storey"] == storey)].index
    return float(plan.ready[task])


def exactly(*instants):
    return pytest.approx(instants, rel=0, abs=DAY)


@pytest.mark.parametrize("method", HANDOVER)
def test_nothing_turned_on_is_the_development_of_the_tables(scenario, method):
    assert plan_of(scenario, method).last_handover == pytest.approx(HANDOVER[method], rel=0, abs=DAY)


def test_learning_makes_the_first_storey_slower(scenario):
    plan = plan_of(scenario, site__learning=0.9, site__learning_storeys=2)
    # Storey 1 is one halving short of the settled storey 2: x 1 / 0.9.
    # Forms 1.6 / 0.9 = 1.777778 from 113: 114.777778; pour 0.3 / 0.9: 115.111111; struck + 0.625: 115.736111;
    # deck 3 / 0.9 = 3.333333 = 0.263889 Thu + 1 Fri + 2.069444 from Mon 119: 121.069444;
    # bars 2.5 / 0.9 = 2.777778: 123.847222; + 0.5 working = 0.152778 Fri + 0.347222 Mon: 126.347222;
    # pour 0.3 / 0.9: 126.680556
    assert times(plan, "slab_poured", 2)[1] == pytest.approx(126.680556, rel=0, abs=DAY)
    # Storey 2 as in the tables. + 1 working: 127.680556; forms 1.6: 129.280556; pour 0.3: 129.580556; +
    # 0.625: 130.205556; deck 3 = 0.794444 Fri + 2.205556 from Mon 133: 135.205556; bars 2.5: 137.705556; +
    # 0.5 working = 0.294444 Fri + 0.205556 Mon: 140.205556; pour 0.3: 140.505556
    assert times(plan, "slab_poured", 3)[1] == pytest.approx(140.505556, rel=0, abs=DAY)
    # Props: poured on date 140, middle of the wait 147.30: 19.03 - 0.30 x 9.80 / 31 = 18.935 degC;
    # exp(13.65 - 4000 / 291.935) = 0.9496; 13.858 / 0.9496 = 14.593; 140.506 + 14.593 = 155.099, a Tuesday
    assert released(plan, "props_out", 2) == pytest.approx(155.099, rel=0, abs=AGE)
    # Props out 0.25: 155.349; wall frame 1.8 + sheathing 0.9 + barriers 0.375 + 0.5 working: 158.924; + 7:
    # 165.924 (Fri); separating walls 2.25 over a weekend: 170.174; partitions 1.125: 171.299; services 3 over
    # a weekend: 176.299; + 1 working: 177.299; closed 0.9: 178.199; ceilings 2.4 over a weekend: 182.599;
    # taping 2.85: 185.449; mist 1.5: 186.949; kitchens 1.5 over a weekend: 190.449; joinery 2.25: 192.699;
    # floors 1.35 over a weekend: 196.049; decoration 2.125: 198.174; completion 2: 200.174; commissioning 27
    # over six weekends: 239.174; + 14: 253.174
    assert times(plan, "flat_completion", 2)[1] == pytest.approx(200.174, rel=0, abs=AGE)
    assert plan.last_handover == pytest.approx(253.174, rel=0, abs=AGE)


def test_props_that_stay_longer_cost_a_week(scenario):
    plan = plan_of(scenario, concrete__release_ratio=0.96)
    # 28 / (1 - ln 0.96 / 0.25)^2 = 20.691 days at 20 degC. Poured on date 137, middle of the wait 147.90:
    # 19.03 - 0.30 x 10.40 / 31 = 18.929 degC; exp(13.65 - 4000 / 291.929) = 0.9494; 20.691 / 0.9494 = 21.794;
    # 137.65 + 21.794 = 159.444, a Saturday: work begins on Monday 161 instead of Monday 154
    assert released(plan, "props_out", 2) == pytest.approx(159.444, rel=0, abs=AGE)
    assert times(plan, "props_out", 2) == exactly(161.0, 161.25)
    # all that follows is seven days later: 252.075 + 7
    assert plan.last_handover == pytest.approx(259.075, rel=0, abs=DAY)


def test_rain_slows_what_must_stay_dry(scenario):
    plan = plan_of(scenario, weather__rain__rain1=0.25, weather__rain__rain5=0.5, weather__rain__rain10=0.75)
    # August at Heathrow: 8.40 days of 1 mm or more, 3.63 of 5, 1.47 of 10. Lost of the class of membranes:
    # (0.25 x 4.77 + 0.5 x 2.16 + 0.75 x 1.47) / 31 = 3.375 / 31 = 0.108871; 0.891129 is left.
    # Sheathing of storey 2 from 156.05, date 156 being 4 August: 0.9 / 0.891129 = 1.009955
    assert times(plan, "sheathing", 2) == exactly(156.05, 157.059955)
    # barriers 0.375 + 0.5 working: 157.934955, later than the windows at 157.8: 0.109955 later than without
    # rain
    assert times(plan, "outer_closed", 2)[1] == pytest.approx(157.934955, rel=0, abs=DAY)
    # no weekend comes between: 252.075 + 0.109955
    assert plan.last_handover == pytest.approx(252.184955, rel=0, abs=DAY)


def test_a_second_zone_halves_the_work_and_shares_the_gangs(scenario):
    two = scenario.with_block("Only", zones=2)
    plan = plan_of(two, site__space_frame=13.5)
    # A zone of 160 m2 holds 160 / 13.5 = 11 people in the frame: forms 96 m2 x 0.8 h / (11 x 8 h) = 0.872727.
    # Both gangs of carpenters on core forms of zones 1 and 2, then on column forms 30 x 0.8 / 88 = 0.272727.
    for zone in (1, 2):
        assert times(plan, "core_forms", 1, zone) == exactly(113.0, 113.872727)
        assert times(plan, "column_forms", 1, zone) == exactly(113.872727, 114.145455)
        # steel fixers in the same way: 2.4 t x 20 h / 64 = 0.75, then 0.72 x 20 / 64 = 0.225
        assert times(plan, "core_rebar", 1, zone) == exactly(113.0, 113.75)
        assert times(plan, "column_rebar", 1, zone) == exactly(113.75, 113.975)
    # One gang of concretors takes them in turn: core 12 m3 x 0.5 / 40 = 0.15, columns 3.6 x 0.5 / 40 = 0.045
    assert times(plan, "core_pour", 1, 1) == exactly(113.872727, 114.022727)
    assert times(plan, "core_pour", 1, 2) == exactly(114.022727, 114.172727)
    assert times(plan, "column_pour", 1, 1) == exactly(114.172727, 114.217727)
    assert times(plan, "column_pour", 1, 2) == exactly(114.217727, 114.262727)
    # decks, a gang to each: columns + 0.625; 160 m2 x 0.9 h / 88 = 1.636364
    assert times(plan, "deck_props", 1, 1) == exactly(114.842727, 116.479091)
    assert times(plan, "deck_props", 1, 2) == exactly(114.887727, 116.524091)
    # bars 3.2 t x 18.75 / 48 = 1.25 over a weekend: 119.729091, 119.774091; + 0.5 working: 120.229091,
    # 120.274091; pour 32 m3 x 0.225 / 48 = 0.15, zone 2 once the concretors are free
    assert times(plan, "slab_pour", 1, 1) == exactly(120.229091, 120.379091)
    assert times(plan, "slab_pour", 1, 2) == exactly(120.379091, 120.529091)


def test_a_deck_that_needs_the_hook_all_day_waits_for_it(scenario):
    plan = plan_of(scenario, activity__deck_props__lifts=0.1, activity__deck_props__hook=60)
    # 320 x 0.1 = 32 lifts of an hour in 3 shifts: 10.666667 hook hours a shift, of which a date has eight:
    # 0.75 shift. Thu from 115.525: 0.475 (5.07 h; stairs take 0.83); Fri, Mon, Tue 0.75 each; 0.275 left for
    # Wed
    assert times(plan, "deck_props", 1) == exactly(115.525, 121.275)
    used = plan.moved_hook[plan.moved_date == 119].sum()
    assert used == pytest.approx(8.0, rel=0, abs=DAY)
    # bars 2.5: 123.775; + 0.5 working = 0.225 Fri + 0.275 Mon: 126.275; pour 0.3. Without the hook: 123.825
    assert times(plan, "slab_pour", 1) == exactly(126.275, 126.575)


def test_with_one_deck_set_the_next_deck_waits_for_striking(scenario):
    # Loads of 2.8 kN/m2 at striking: (7.8 / 9)^(1 / 0.6) = 0.7878; 28 / (1 - ln 0.7878 / 0.25)^2 = 7.333 days
    # at 20 degC. Poured on date 123, middle of the wait 127.05: 16.80 + 2.23 x 20.05 / 30.5 = 18.266 degC;
    # ((18.266 + 16) / 36)^2 = 0.9060; 7.333 / 0.9060 = 8.094; 123.805 + 8.094 = 131.899, a Saturday
    late = {"concrete__striking_load": 2.8}
    two, one = (
        plan_of(scenario, "panelised", option__deck__panel_decking__sets=sets, **late) for sets in (2, 1)
    )
    assert released(one, "soffit_strike", 1) == pytest.approx(131.899, rel=0, abs=AGE)
    assert times(one, "soffit_strike", 1) == exactly(133.0, 133.5)
    # with two sets the deck of storey 2 follows its panels, as in the tables
    assert times(two, "deck_panels", 2) == exactly(129.81, 134.31)
    assert times(two, "slab_pour", 2) == exactly(137.31, 137.61)
    # with one it follows the striking: 133.5 + 2.5: 136.0; bars 2.5 over a weekend: 140.5; + 0.5: 141.0; pour
    # 0.3
    assert times(one, "deck_panels", 2) == exactly(133.5, 136.0)
    assert times(one, "slab_pour", 2) == exactly(141.0, 141.3)


def test_a_wind_limit_of_large_lifts_slows_panels_and_nothing_else(scenario):
    still = {"weather__gust_limit_large": 3, "weather__hook_clearance_m": 10}
    plan = plan_of(scenario, "panelised", **still)
    # June: 5.27 m/s at 10 m in the open. Hook at 2 x 3.2 + 10 = 16.4 m in town: mean x 20^0.07 x ln 16.4 / ln
    # 200 = 0.651134; gust x sqrt(1 + 7 / ln 16.4) = 1.871478: 5.27 x 1.218583 = 6.421931 m/s. Lost: exp(-pi /
    # 4 x (3 / 6.421931)^2) = 0.842488. Of eight hours 1.260098 are left for large lifts.
    assert plan.conditions.hook_large[0, 114] == pytest.approx(1.260098, rel=0, abs=DAY)
    # 15 panels x 10 min = 2.5 h in 0.6 shift, 4.166667 h a shift. Date 114: 1.260098 h = 0.302424 shift; date
    # 115: 0.297576 shift, 1.239902 h
    assert times(plan, "panel_set", 1) == exactly(114.5, 115.297576)
    # Separating panels could start at 115.525, but 0.020196 h are left, less than half an hour: 116.0. 12 x
    # 12 min = 2.4 h in 0.48 shift, 5 h a shift. Fri 1.260098 h = 0.252020 shift; 0.227980 shift on Mon 119
    assert times(plan, "separating_set", 1) == exactly(116.0, 119.227980)
    assert times(plan, "deck_panels", 1)[0] == pytest.approx(119.227980, rel=0, abs=DAY)
    # what is no large lift goes on as in the tables
    assert times(plan, "core_pour", 1) == exactly(114.6, 114.9)
    # and the open frame, whose only large lifts are the balconies long before commissioning, hands over as
    # before
    assert plan_of(scenario, **still).last_handover == pytest.approx(252.075, rel=0, abs=DAY)


def test_with_one_gang_balcony_doors_wait_for_windows(scenario):
    plan = plan_of(scenario, trade__window_fixers__gangs=1)
    # wall frame 156.05; windows 1.75: 157.8; doors 1: 158.8, later than the barriers' 157.825
    assert times(plan, "balcony_doors", 2) == exactly(157.8, 158.8)
    assert times(plan, "outer_closed", 2)[1] == pytest.approx(158.8, rel=0, abs=DAY)
    # 0.975 later: drying ends 165.8 (Fri); the rest is the same work: 252.075 + 0.975 = 253.05
    assert plan.last_handover == pytest.approx(253.05, rel=0, abs=DAY)


def test_late_power_holds_up_commissioning(scenario):
    plan = plan_of(scenario, approval__power=39)
    # 39 x 7 = 273, a Monday; 27 shifts: five weeks to 308 and two more: 310; + 14
    assert times(plan, "commissioning_most", 0) == exactly(273.0, 310.0)
    assert plan.last_handover == pytest.approx(324.0, rel=0, abs=DAY)


def test_late_panels_hold_up_the_frame(scenario):
    plan = plan_of(scenario, "panelised", factory__lead=20)
    # 20 x 7 = 140, a Monday; made 141 and 142; + 2: 143 and 144. Panels of storey 1 at 143.0 instead of
    # 114.5, 0.6: 143.6; separating panels 0.48 after them: 144.08; deck 2.5 over a weekend: 148.58
    assert times(plan, "make_panels", 2) == exactly(141.0, 142.0)
    assert times(plan, "panel_set", 1) == exactly(143.0, 143.6)
    assert times(plan, "separating_set", 1) == exactly(143.6, 144.08)
    assert times(plan, "deck_panels", 1) == exactly(144.08, 148.58)


def test_bank_holidays_are_not_worked(scenario):
    kept = scenario.with_changes(development=replace(scenario.development, bank_holidays=True))
    plan = plan_of(kept)
    # Good Friday 26 March, Easter Monday 29 March, 3 May, 31 May 2027: four dates. Piling ends after 84
    # weekdays, 16 weeks and four dates: 112 + 4
    assert times(plan, "substructure", 0) == exactly(0.0, 116.0)
