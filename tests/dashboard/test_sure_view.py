"""How sure it is: draws as windows, dates as ranges, ranked inputs, the map, runs beside the page, the "
"view."""

import datetime as dt
import gc
import re
import threading
import time

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard import runs
from dashboard.parts import sure_charts, sure_words
from dashboard.parts.answer import Named
from dashboard.parts.theme import tokens
from dashboard.shipped import text_of
from dashboard.views import sure
from model import compare_methods
from model.core.errors import RangeError
from model.inputs.reading import read_scenario
from model.report import sure_frames
from model.risk import engine
from model.risk.engine import case_of_draw, simulate

NAMES = (
    Named("open_frame", "Open frame", "open_frame", "open_frame"),
    Named("panelised", "Panels", "panels", "panelised"),
)


def _page_of(name):
    import importlib

    from dashboard import state

    state.warm()
    importlib.import_module(f"dashboard.views.{name}").show()


def plainly(html):
    return re.sub(r"<[^>]+>", "", str(html))


def said(page):
    bodies = [one.proto.body for one in page.get("html")]
    return plainly(" ".join(body for body in bodies if "<style" not in body))


def button(page, label):
    return next(one for one in page.button if one.label == label)


@pytest.fixture(scope="module")
def risk():
    return simulate(compare_methods(read_scenario(text_of("pitch.toml"))), 100, 3)


@pytest.fixture(scope="module")
def draws(risk):
    return sure_frames.draws(risk)


# --- frames -----------------------------------------------------------------------------------------


def test_differences_of_the_draws_are_those_of_the_run(risk, draws):
    gaps = sure_frames.differences_drawn(draws, "open_frame", "panelised")
    for figure in sure_frames.WHOLE:
        assert gaps[figure].to_numpy() == pytest.approx(risk.difference(figure), abs=1e-9)


def test_percentiles_hold_methods_blocks_and_the_difference(risk):
    frame = sure_frames.percentiles(risk.as_json())
    assert list(dict.fromkeys(frame["whose"])) == ["open_frame", "panelised", "difference"]
    one = frame[(frame["whose"] == "panelised") & (frame["block"] == "Swift")].iloc[0]
    assert one["p10"] <= one["p50"] <= one["p80"] <= one["p90"]
    assert one["p50"] == pytest.approx(float(np.median(risk.weeks_to_ready(1)[:, 2])), abs=0.2)


def test_an_instant_belongs_to_the_date_it_ends():
    start = dt.date(2027, 4, 5)
    assert sure_frames.on_date(start, 12.0 / 7) == start + dt.timedelta(days=11)
    assert sure_frames.on_date(start, 12.1 / 7) == start + dt.timedelta(days=12)


def test_a_draw_opened_has_the_dates_and_profit_of_its_full_case(risk, draws):
    number = risk.run_at("weeks_to_last_handover", 0.9)
    rows = sure_frames.draw_case(draws, number, ["open_frame", "panelised"], dt.date(2027, 4, 5))
    cases = case_of_draw(risk.comparison, number, 100, 3)
    last = rows[rows["figure"] == "Last handover"].iloc[0]
    profit = rows[rows["figure"] == "Profit"].iloc[0]
    for case in cases:
        assert last[case.method.id] == sure_frames.on_date(dt.date(2027, 4, 5), case.weeks_to_last_handover)
        assert profit[case.method.id] == pytest.approx(case.account.profit, abs=1.0)


def test_published_overruns_stand_in_place_of_p80_and_never_on_it(risk):
    frame = sure_frames.optimism(risk).set_index("basis")
    start, case = dt.date(2027, 4, 5), risk.comparison.first
    one = frame.loc["Expected case with an allowance: standard buildings"]
    # Review of Large Public Procurement in the UK, July 2002, table 2: standard buildings, 4 % of time
    assert (one["time_pct"], one["cost_pct"]) == (4.0, 24.0)
    assert one["Open frame"] == sure_frames.on_date(start, 1.04 * case.weeks_to_last_handover)
    assert frame.loc["Eight draws of ten (P80)", "time_pct"] is None
    assert "never on top of it" in sure_words.BIAS


def test_drivers_are_ranked_by_strength(risk):
    for on in ("weeks", "profit"):
        strength = sure_frames.drivers(risk.as_json(), on)["rank_correlation"].abs()
        assert list(strength) == sorted(strength, reverse=True)


# --- windows ----------------------------------------------------------------------------------------


def panes(html, role):
    bays = re.findall(rf'<span class="sp-bay sp-m-{role} [^>]*>(.*?)</span>', html)
    return sum(bay.count("sp-pane") for bay in bays)


def drawn_windows(values, **points):
    return sure_charts.windows(values, NAMES, sure_words.gap_weeks, "said", points)


def test_windows_count_the_chance():
    values = np.concatenate([np.linspace(-5.0, -0.1, 300), np.linspace(0.1, 12.0, 700)])
    html = drawn_windows(list(values), p50=4.0)
    assert panes(html, "open-frame") == 30
    assert panes(html, "panels") == 70
    assert "Open frame better" in html
    assert "P50" in html


def test_a_window_never_straddles_even():
    html = drawn_windows([-0.01, 0.01, 3.0, 4.0])
    assert (panes(html, "open-frame"), panes(html, "panels")) == (1, 3)


def test_what_lies_far_out_stands_in_the_outermost_bay():
    values = [*np.linspace(1.0, 3.0, 99), 500.0]
    html = drawn_windows(values)
    assert panes(html, "panels") == 100
    assert "The last bay also holds what is above, up to +500.0." in plainly(html)
    assert html.count("sp-bay") <= 40


def test_even_far_away_is_not_drawn():
    html = drawn_windows(list(np.linspace(100.0, 101.0, 50)))
    assert "sp-even" not in html
    assert "No difference, 0, lies outside the picture, to the left." in html
    assert panes(html, "open-frame") == 0


def test_windows_without_a_draw_are_refused():
    with pytest.raises(RangeError, match=r"no draw to picture.*one or more"):
        drawn_windows([])


def test_draws_all_alike_can_be_pictured():
    assert panes(drawn_windows([0.0] * 20), "panels") == 20


# --- dates, drivers, ranked inputs, map --------------------------------------------------------------


def test_dates_stand_to_scale_on_one_axis(risk):
    dates = sure_frames.ready_dates(risk.as_json(), sure_charts.labels_of(NAMES), dt.date(2027, 4, 5))
    html = sure_charts.date_ranges(dates, NAMES, dt.date(2029, 10, 1))
    assert html.count("sp-middle") == 6
    row = dates.iloc[0]
    low, high = sure_charts._quarters(min(dates["p10"]), max(dates["p90"]))
    left = re.search(r'sp-middle" style="left:([\d.]+)%', html)[1]
    assert float(left) == pytest.approx(100 * (row["p50"] - low).days / (high - low).days, abs=0.005)
    assert sure_words.day(row["p50"]) in sure_charts.say_dates(dates, NAMES)


def test_the_longstop_is_drawn_where_it_lies_on_the_axis(risk):
    dates = sure_frames.ready_dates(risk.as_json(), sure_charts.labels_of(NAMES), dt.date(2027, 4, 5))
    middle = dates["p50"].iloc[-1]
    assert "longstop" in sure_charts.date_ranges(dates, NAMES, middle)
    assert "longstop" not in sure_charts.date_ranges(dates, NAMES, dt.date(2045, 1, 1))


def test_a_driver_has_the_colour_of_the_method_that_more_of_it_favours():
    frame = pd.DataFrame(
        [("a", "Hook minutes", -0.5), ("b", "Carpenters", 0.25)], columns=["key", "label", "rank_correlation"]
    )
    html = sure_charts.drivers(frame, NAMES, "Weeks saved")
    hook, wood = re.findall(r'<div class="sp-driver.*?</div>', html)
    assert "sp-m-open-frame" in hook
    assert "left:25.00%;width:25.00%" in hook
    assert "sp-m-panels" in wood
    assert "left:50.00%;width:12.50%" in wood
    assert "Weeks saved follows most: Hook minutes −0.50" in html


def single(label, unit, values, figures):
    low, now, high = values
    at_low, at_now, at_high = figures
    return {
        "key": label, "label": label, "unit": unit, "low": low, "now": now, "high": high, "at_low": at_low,
        "at_now": at_now, "at_high": at_high,
    }  # fmt: skip


RANKED = pd.DataFrame(
    [
        single("Price", "GBP/m2", (380.0, 520.0, 680.0), (2e6, -1e6, -4e6)),
        single("Order of work", "", (None, "together", "each block"), (None, -1e6, -2e6)),
    ]
)


def test_a_rule_across_even_is_in_both_colours_and_the_answer_turns():
    html = sure_charts.ranked(RANKED, NAMES, sure_words.gap_money, "unit")
    price, order = re.findall(r'<div class="sp-share">.*?</div>', html)
    assert "sp-m-panels" in price
    assert "sp-m-open-frame" in price
    assert "the answer turns" in price
    assert "£380/m²: +£2.00m" in plainly(price)
    assert "sp-m-panels" not in order
    assert "each block: −£2.00m" in plainly(order)
    assert "the answer turns with: Price." in sure_charts.say_ranked(RANKED, sure_words.gap_money)


def test_the_list_of_ranked_inputs_holds_words_for_every_value():
    table = sure_charts.ranked_table(RANKED)
    assert list(table["now"]) == ["520", "together"]
    assert all(isinstance(x, str) for end in ("low", "now", "high") for x in table[end])


def test_the_map_draws_even_and_tells_the_methods_by_two_cues():
    frame = pd.DataFrame(
        [(0.0, 0.0, -1.0), (1.0, 0.0, 2.0), (0.0, 1.0, None), (1.0, 1.0, 4.0)], columns=["x", "y", "figure"]
    )
    colours = tokens("light")
    figure = sure_charts.two_way_map(
        frame, [((0.5, 0.0), (0.5, 1.0))], (("a", 0.5), ("b", 0.5)), NAMES, colours, sure_words.gap_money
    )
    by = {trace.meta: trace for trace in figure.data}
    assert list(by["even"].x) == [0.5, 0.5]
    assert len(by["refused"].x) == 1
    assert by["panels"].marker.color == colours["panels"]
    assert by["open_frame"].marker.color == colours["ground"]
    assert by["panels"].marker.size[1] > by["panels"].marker.size[0]
    words = sure_charts.say_two_way(frame, NAMES, True, sure_words.gap_money)
    assert "Panels better at 2 of 3 points" in words
    assert "1 cannot be worked out" in words


# --- words ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("p10", "p90", "words"),
    [
        (-8.8, -1.9, "between 1.9 weeks and 8.8 weeks later"),
        (1.5, 6.0, "between 1.5 weeks and 6 weeks sooner"),
        (-3.0, 2.0, "between 3 weeks later and 2 weeks sooner"),
        (-3.0, 0.0, "between 3 weeks later and at the same time"),
    ],
)
def test_a_range_is_said_nearest_first(p10, p90, words):
    assert sure_words._between(p10, p90) == words


def test_the_answer_counts_chances(risk):
    drawn = risk.as_json()
    words = plainly("".join(sure_words.headline(drawn, NAMES)))
    assert f"they are later in {sure_words.of_100(drawn['difference']['chance_later'])}" in words
    assert "In eight draws of ten" in words
    lead = "".join(sure_words.lead(drawn, NAMES))
    assert "100 draws, seed 3" in lead
    assert "stopped early" not in lead
    assert "40 of 100 draws, seed 3, stopped early" in "".join(
        sure_words.lead({**drawn, "runs_done": 40}, NAMES)
    )


def test_what_would_have_to_be_true_says_when_nothing_does():
    ways = pd.DataFrame(
        [("closest", "Price", "£520/m²", "£380/m²", 3.0, 0.5)],
        columns=["kind", "label", "now", "needed", "figure", "distance"],
    )
    words = sure_words.say_true(ways, "percent", 20.0, -1.4, 546, NAMES)
    assert "For 20 % sooner to the first handover with panels (1.4 % later as it stands)" in words
    assert "The closest that can be had is 3.0 % sooner, with Price at £380/m² instead of £520/m²." in words
    alone = ways.assign(kind="alone")
    assert "1 of 546 inputs does it alone" in sure_words.say_true(alone, "percent", 3.0, -1.4, 546, NAMES)
    assert "not values to build by" in sure_words.NO_ORDER


# --- runs beside the page -----------------------------------------------------------------------------


def slow(told, stop):
    for done in range(1, 1001):
        if stop():
            return None
        told(done, 1000, {"runs": done} if done >= 5 else None)
    return "done"


def test_a_run_tells_how_far_it_is_and_ends_with_its_result():
    run = runs.Run(slow)
    assert run.wait(20)
    assert (run.done, run.of, run.result, run.error) == (1000, 1000, "done", None)
    assert run.so_far == {"runs": 1000}
    assert not run.running


def test_a_cancelled_run_stops_soon_and_has_no_result():
    run = runs.Run(slow)
    while run.done < 3:
        time.sleep(0.005)
    run.cancel()
    assert run.wait(2)
    assert run.result is None
    assert run.done < 1000


def test_work_that_cannot_ask_is_ended_where_it_reports():
    run = runs.Run(lambda told, stop: slow(runs.breaking(told, stop), lambda: False))
    while run.done < 3:
        time.sleep(0.005)
    run.cancel()
    assert run.wait(2)
    assert (run.result, run.error) == (None, None)


def test_a_run_that_nobody_holds_stops_by_itself():
    ended = threading.Event()

    def work(told, stop):
        try:
            return slow(told, stop)
        finally:
            ended.set()

    run = runs.Run(work)
    while run.done < 3:
        time.sleep(0.005)
    del run
    gc.collect()
    assert ended.wait(1)


def test_runs_take_turns():
    first, second = runs.Run(slow), runs.Run(slow)
    while first.done < 3:
        time.sleep(0.005)
    assert second.waiting
    first.cancel()
    assert second.wait(20)
    assert second.result == "done"


def test_a_fault_reaches_the_page():
    def broken(told, stop):
        raise RangeError("The seed is below 0. Give 0 or more.")

    run = runs.Run(broken)
    assert run.wait(5)
    assert str(run.error).startswith("The seed is below 0")


# --- the view -----------------------------------------------------------------------------------------


def opened(monkeypatch, work):
    monkeypatch.setattr(engine, "simulate", work)
    page = AppTest.from_function(_page_of, kwargs={"name": "sure"}, default_timeout=120).run()
    assert not page.exception
    return page


def test_before_any_draw_the_expected_case_is_said(monkeypatch):
    page = opened(monkeypatch, simulate)
    words = said(page)
    assert "If all goes as is likely, the last flats are ready" in words
    assert {"Draw", "Move every input", "Look for it"} <= {one.label for one in page.button}


def test_draws_are_worked_beside_the_page_and_shown(monkeypatch):
    asked = []

    def work(comparison, runs, seed, stop, progress):
        asked.append((runs, seed))
        return simulate(comparison, 100, seed, stop=stop, progress=progress)

    page = opened(monkeypatch, work)
    next(one for one in page.number_input if one.label == "Seed").set_value(7).run()
    button(page, "Draw").click().run()
    for _ in range(240):
        if any(one.label == "Draw again" for one in page.button):
            break
        time.sleep(0.25)
        page.run()
    assert not page.exception
    assert asked == [(sure.RUNS, 7)]
    words = said(page)
    for heading in (
        "Weeks saved, and profit",
        "When each block is ready",
        "What the difference follows",
        "One draw opened",
        "Beside published overruns",
    ):
        assert heading in words
    assert "100 draws, seed 7" in words
    page.get("button_group")[1].set_value(90).run()
    assert not page.exception
    assert "lies nearest to P90" in said(page)


def test_a_run_can_be_stopped_and_the_page_answers_meanwhile(monkeypatch):
    begun = threading.Event()

    def work(comparison, runs, seed, stop, progress):
        begun.set()
        while not stop():
            progress(120, runs, None)

    page = opened(monkeypatch, work)
    button(page, "Draw").click().run()
    assert begun.wait(10)
    page.run()
    assert not page.exception
    button(page, "Stop").click().run()
    for _ in range(40):
        if any(one.label == "Draw" for one in page.button):
            break
        time.sleep(0.1)
        page.run()
    assert not page.exception
    assert "If all goes as is likely" in said(page)


def test_what_cannot_be_drawn_is_said(monkeypatch):
    def work(comparison, runs, seed, stop, progress):
        raise RangeError("The record risk.hook.low is above its likely value. Give 1 or less.")

    page = opened(monkeypatch, work)
    button(page, "Draw").click().run()
    for _ in range(40):
        if "risk.hook.low" in said(page):
            break
        time.sleep(0.1)
        page.run()
    assert not page.exception
    assert "The record risk.hook.low is above its likely value" in said(page)
