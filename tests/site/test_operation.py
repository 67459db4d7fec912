"""People, hook hours and travel: counted twice, by the stage and by hand from the progress."""

import numpy as np
import pytest

from model.inputs.method import read_catalogue
from model.programme.kernel import LARGE
from model.site.deliveries import haulage_kgco2e

SCENARIOS = ("two_storey", "pitch", "large")


@pytest.fixture(params=SCENARIOS)
def cases(compared, request):
    return compared(request.param).cases


def on_site_rows(plan):
    """Progress rows of trades that are on site."""
    trades = list(read_catalogue().trades.values())
    here = np.array([trade.on_site for trade in trades])
    return here[plan.tasks.trade[plan.moved_task]]


def test_operative_days_are_people_times_shifts_worked(cases):
    for case in cases:
        plan, site = case.plan, case.site
        rows = on_site_rows(plan)
        by_hand = float((plan.moved_work * plan.tasks.people[plan.moved_task])[rows].sum())
        assert site.operative_days == pytest.approx(by_hand, rel=1e-12)
        assert site.worked.sum() == pytest.approx(by_hand, rel=1e-12)
        tasks = plan.tasks
        trades = list(read_catalogue().trades)
        for name, days in site.operative_days_by_trade.items():
            mine = tasks.trade == trades.index(name)
            assert days == pytest.approx(float((tasks.people * tasks.work)[mine].sum()), rel=1e-9), name


def test_the_frame_of_operatives_adds_up_by_trade(cases):
    for case in cases:
        frame = case.site.operatives_frame()
        by_trade = frame.groupby("trade")["operatives"].sum()
        for name, days in case.site.operative_days_by_trade.items():
            assert by_trade[name] == pytest.approx(days, rel=1e-9), name
        assert set(by_trade.index) == set(case.site.trades)


def test_who_works_is_on_site(cases):
    # A gang may wait for the crane or for weather, so it is there at least as long as it works.
    for case in cases:
        worked, present = case.site.worked, case.site.present
        assert np.all(present >= worked - 1e-6)


def test_nobody_is_on_site_on_a_closed_date(cases):
    for case in cases:
        closed = case.plan.conditions.open_week[: case.site.worked.shape[1]] == 0
        assert case.site.worked[:, closed].sum() == 0.0
        assert case.site.present[:, closed].sum() == 0.0


def test_peak_operatives_is_the_busiest_date_with_its_support(cases):
    for case in cases:
        site = case.site
        total = site.present.sum(axis=0) + site.support
        assert site.peak_operatives == pytest.approx(float(total.max()))
        values = case.plan.values
        worked = site.worked.sum(axis=0)
        served = worked / values["site.logistics_ratio"] + worked / values["site.management_ratio"]
        assert np.all(site.support >= served - 1e-9)


def test_paid_hours_are_everybody_on_site_for_the_length_of_the_day(cases):
    for case in cases:
        site = case.site
        gross = case.takeoff.gross_m2.sum()
        paid = (site.present.sum() + site.support.sum()) * case.plan.values["site.shift_hours"]
        assert site.hours_per_m2 == pytest.approx(float(paid / gross), rel=1e-12)


def test_hook_hours_are_those_of_the_tasks_and_within_each_crane_and_date(cases):
    for case in cases:
        plan, site = case.plan, case.site
        assert site.hook_hours == pytest.approx(float(plan.tasks.hook.sum()), rel=1e-9)
        dates = site.hook_used.shape[1]
        conditions = plan.conditions
        assert np.all(site.hook_used <= conditions.hook_ordinary[:, :dates] + 1e-6)
        assert np.all(site.hook_large_used <= conditions.hook_large[:, :dates] + 1e-6)
        large = plan.tasks.lift_class == LARGE
        assert site.hook_large_used.sum() == pytest.approx(float(plan.tasks.hook[large].sum()), rel=1e-9)


def test_months_hold_every_hook_hour_up_to_the_last_handover(cases):
    for case in cases:
        used, could = case.site.by_month
        assert used.sum() == pytest.approx(case.site.hook_hours, rel=1e-9)
        assert np.all(used <= could + 1e-6)
        assert 0.0 < case.site.peak_month_utilisation <= 1.0


def test_lifts_are_the_tasks_own(cases):
    for case in cases:
        assert case.site.lifts == pytest.approx(float(case.plan.tasks.lifts.sum()))
        assert case.site.lifts > 0


def test_trades_and_packages_are_those_with_work(cases):
    catalogue = read_catalogue()
    for case in cases:
        packages = {catalogue.trades[name].package for name in case.site.trades}
        assert packages == set(case.site.packages)
        assert len(case.site.packages) <= len(case.site.trades)


def test_emissions_are_haulage_and_the_way_to_work_and_back(cases):
    # 30 km each way: the operatives employed, and those who serve them.
    for case in cases:
        site, values = case.site, case.plan.values
        people = site.operative_days * values["site.labour_present"] + site.support.sum()
        travel = people * 2 * values["travel.distance"] * values["travel.per_person_km"]
        whole = haulage_kgco2e(site.loads, values) + travel
        assert site.transport_kgco2e == pytest.approx(float(whole), rel=1e-9)


def test_panels_on_site_are_those_of_the_take_off(compared):
    framed, panelled = compared("pitch").cases
    assert framed.site.panels == 0.0
    made = panelled.takeoff.by_zone
    assert panelled.site.panels == made["outer_panels_no"].sum() + made["separating_panels_no"].sum()
    assert panelled.site.hook_hours > framed.site.hook_hours
