"""The programme view: its pictures, the weeks that must add up, what is run again on demand, its cautions."""

import html
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from streamlit.testing.v1 import AppTest

from dashboard.parts import climbs, cuts
from dashboard.parts import programme_words as words
from dashboard.parts.answer import Named
from dashboard.parts.theme import tokens
from dashboard.shipped import text_of
from model import compare_methods
from model.compare.case import PATH_EVENTS
from model.inputs.reading import read_scenario
from model.report import frames

NAMES = (
    Named("open_frame", "Open frame", "open_frame", "open_frame"),
    Named("panelised", "Panels", "panels", "panelised"),
)
LIGHT = tokens("light")
SPLIT = """
[development]
name = "Split"
place = "london"
start = 2027-03-01
[[blocks]]
name = "Tall"
storeys = 8
flats_per_storey = 6
[[blocks.sections]]
storeys = [1, 3]
own_stair = true
own_lift = true
own_riser = true
own_access = true
[[blocks.sections]]
storeys = [4, 8]
[overrides.factory]
output = 8
"""


def _page():
    import importlib

    from dashboard import state

    state.warm()
    importlib.import_module("dashboard.views.programme").show()


def said(page):
    bodies = " ".join(one.proto.body for one in page.get("html") if "<style" not in one.proto.body)
    return html.unescape(re.sub(r"<[^>]+>", " ", bodies))


@pytest.fixture(scope="module")
def pitch():
    return compare_methods(read_scenario(text_of("pitch.toml")))


@pytest.fixture(scope="module")
def split():
    return compare_methods(read_scenario(SPLIT))


@pytest.mark.parametrize("date", PATH_EVENTS)
def test_the_weeks_of_a_date_add_up_to_it_for_every_block_and_method(pitch, date):
    for block, _name in enumerate(pitch.first.takeoff.layout.names):
        made = frames.date_made_of(pitch, block, date)
        shown = words.in_weeks(made)
        for case in pitch.cases:
            days = made.loc[made["method"] == case.method.label, "days"].sum()
            assert days == pytest.approx(case.path_to(block, PATH_EVENTS[date]).instant, abs=1e-6)
            tenths = shown.loc[shown["method"] == case.method.label, "weeks"].sum()
            assert tenths == pytest.approx(round(days / 0.7) / 10, abs=1e-9)


@given(days=st.lists(st.floats(min_value=0, max_value=400), min_size=1, max_size=20))
def test_tenths_of_weeks_add_up_and_none_is_off_by_more_than_a_tenth(days):
    found = words.tenths(days)
    assert sum(found) == pytest.approx(round(sum(days) / 0.7) / 10, abs=1e-6)
    assert all(abs(tenth - day / 7) <= 0.1 + 1e-9 for tenth, day in zip(found, days, strict=True))


def test_the_headline_says_the_last_block_later_or_sooner_and_what_differs_most(pitch):
    last = int(pitch.second.plan.ready_by_block.argmax())
    made = words.in_weeks(frames.date_made_of(pitch, last, "ready"))
    text = re.sub(r"<[^>]+>", "", "".join(str(part) for part in words.headline(made, NAMES, "Swift", True)))
    later = pitch.second.plan.last_handover > pitch.first.plan.last_handover
    assert ("later" in text) == later
    assert "Swift" in text
    gap = words.differences(made, "Open frame", "Panels")
    assert sum(weeks for _name, weeks in gap) == pytest.approx(
        (pitch.second.plan.last_handover - pitch.first.plan.last_handover) / 7, abs=0.11
    )


def test_a_strip_is_to_scale_and_names_every_cut(pitch):
    pieces = [
        cuts.Piece("work", "carpenters", 6.0),
        cuts.Piece("cure", "concrete", 3.0),
        cuts.Piece("x", "none", 0.0),
    ]
    drawn = str(cuts.strips([cuts.Strip("Panels", "panels", "9.0 weeks", pieces)], "Panels: 9 weeks"))
    widths = [float(wide) for wide in re.findall(r"width:([\d.]+)%", drawn)]
    assert widths[:2] == pytest.approx([200 / 3, 100 / 3], abs=0.01)
    assert "none" not in drawn
    assert 'aria-label="Panels: 9 weeks"' in drawn


def test_the_way_to_a_date_is_drawn_for_each_method_and_told_in_words(pitch):
    role_of = {"Open frame": "open_frame", "Panels": "panels"}
    way = frames.way_to_date(pitch, 2, "ready")
    way = way.assign(role=way["method"].map(role_of))
    figure = climbs.way_to_date(way, LIGHT)
    assert len({trace.yaxis for trace in figure.data}) == 2
    for case in pitch.cases:
        mine = way[way["method"] == case.method.label]
        assert mine["days"].sum() == pytest.approx(case.plan.ready_by_block[2], abs=1e-6)
        assert case.method.label in climbs.say_way(way)


def test_a_factory_that_binds_is_said_to_with_since_when_and_one_that_does_not_is_not(pitch, split):
    slow = " ".join(words.say_factory(split.second.as_json([])["factory"], "the open frame"))
    assert "the factory holds the site up from" in slow
    assert "This is worse than a wall framed on" in slow
    quick = " ".join(words.say_factory(pitch.second.as_json([])["factory"], "the open frame"))
    assert "the factory holds nothing up" in quick
    for text in (slow, quick):
        assert "go back" in text
        assert "deposit" in text
        assert "made twice" in text


def test_sections_are_listed_with_their_storeys_and_flats(split):
    figures = split.as_json()
    assert words.has_sections(figures, NAMES)
    table = re.sub(r"<[^>]+>", " ", str(words.sections_table(figures, NAMES)))
    assert "Tall storeys 1-3" in table
    assert "Tall storeys 4-8" in table


def test_the_view_shows_pictures_words_and_cautions_and_runs_again_on_demand():
    page = AppTest.from_function(_page, default_timeout=120).run()
    assert not page.exception
    text = said(page)
    for words_of in (
        "Storeys against time",
        "Why that date",
        "If a trade loses a week",
        "The factory",
        "Gangs",
    ):
        assert words_of in text
    for caution in (words.PROPS, words.COLD, words.APPROVALS):
        assert caution in re.sub(r"\s+", " ", text)
    assert "weeks later" not in next(iter(re.findall(r"If a trade loses a week.*?The cheapest week", text)))
    next(one for one in page.button if one.label == "Work out what a week's slip costs").click().run()
    next(one for one in page.button if one.label == "Try every single change").click().run()
    assert not page.exception
    again = said(page)
    assert re.search(r"a week lost by .* is dearest", again)
    assert re.search(r"single changes tried", again)


# --- what is drawn ------------------------------------------------------------------------------


@given(
    names=st.lists(
        st.tuples(st.floats(min_value=0, max_value=316), st.floats(min_value=20, max_value=200)),
        min_size=1,
        max_size=12,
    )
)
def test_names_of_cuts_stay_on_the_sheet_and_never_touch_in_a_row(names):
    places, widths = zip(*sorted(names), strict=True)
    stand = cuts.flag_rows(places, widths, 316.0)
    spans = [
        (x + shift, x + shift + w, row) for x, w, (row, shift) in zip(places, widths, stand, strict=True)
    ]
    for n, (start, end, row) in enumerate(spans):
        assert start >= -1e-6
        assert end <= 316.0 + 1e-6
        for other in spans[n + 1 :]:
            assert row != other[2] or end <= other[0] + 1e-6 or other[1] <= start + 1e-6


def test_names_with_room_stand_beside_each_other_in_one_row():
    assert cuts.flag_rows([0, 100, 200], [90, 90, 90], 316.0) == [(0, 0), (0, 0), (0, 0)]


def test_a_name_that_would_cross_a_leader_stands_below_that_name():
    (left, _), (right, _) = cuts.flag_rows([0, 50], [90, 90], 316.0)
    assert left > right


def test_strips_and_bars_of_six_methods_carry_both_cues():
    roles = ["panels", "open_frame", "open_frame_best", "fourth", "fifth", "sixth"]
    each = [cuts.Strip(role, role, "1.0 weeks", [cuts.Piece("work", "x", 1.0)]) for role in roles]
    bars = [("Painters", [cuts.Bar(role, role, 1.0, "1.0 weeks later") for role in roles])]
    for drawn in (cuts.strips(each, "six"), cuts.bars(bars, "weeks")):
        for colour in ("panels", "open-frame", "open-frame-best", "fourth", "fifth", "sixth"):
            assert f"sp-m-{colour} " in drawn
        for rule in ("bar", "double", "dashed", "dotted", "dash-dot", "thin"):
            assert re.search(rf"sp-r-{rule}\b", drawn)


def test_markup_in_a_name_is_shown_not_obeyed():
    piece = cuts.Piece("work", "<i>x</i>", 5.0)
    drawn = cuts.strips([cuts.Strip("<b>P</b>", "panels", "5.0 weeks", [piece])], "<b>P</b>")
    assert "<b>P</b>" not in drawn
    assert "<i>x</i>" not in drawn


def test_the_weeks_printed_on_a_strip_and_in_its_table_are_the_same_and_add_up(pitch):
    made = words.in_weeks(frames.date_made_of(pitch, 2, "ready"))
    table = words.ledger(made, NAMES, "ready")
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", table.split("<tbody>")[1])
    numbers = [[float(cell) for cell in re.findall(r'sp-number">([\d.]+)<', row)[:2]] for row in rows]
    *parts, total = numbers
    for column, case in enumerate(pitch.cases):
        assert sum(row[column] for row in parts) == pytest.approx(total[column], abs=1e-9)
        assert total[column] == pytest.approx(case.plan.ready_by_block[2] / 7, abs=0.05)


def test_a_cause_on_one_way_only_is_told_as_such_and_stays_out_of_the_headline(pitch):
    made = words.in_weeks(frames.date_made_of(pitch, 2, "ready"))
    one_way = made.copy()
    gone = (one_way["method"] == "Panels") & (one_way["part"] == "approval")
    assert float(one_way.loc[gone, "weeks"].sum()) > 1.0
    one_way.loc[gone, "weeks"] = 0.0
    told = words.say_differences(one_way, *NAMES)
    assert "On the way with one method only:" in told
    assert "approval (12.0 weeks) with the open frame" in told
    assert "less waiting for approval" not in told
    assert "approval" not in "".join(words.headline(one_way, NAMES, "Swift", True))


def test_what_held_a_task_is_said_by_its_kind():
    assert climbs._held("gang", "Brickwork, storey 3") == (
        "which waited for its gang, until then at\nBrickwork, storey 3"
    )
    assert climbs._held("work", "Decoration, storey 2") == "which could follow only\nDecoration, storey 2"
    assert climbs._held("cure", "Slab poured, storey 4") == (
        "which was held by concrete gaining strength\nafter Slab poured, storey 4"
    )


def test_the_hover_of_the_way_says_who_where_when_and_what_took_the_days(pitch):
    way = frames.way_to_date(pitch, 2, "ready")
    way = way.assign(role=way["method"].map({"Open frame": "open_frame", "Panels": "panels"}))
    figure = climbs.way_to_date(way, LIGHT)
    told = [text for trace in figure.data if trace.hovertext is not None for text in trace.hovertext]
    piling = next(text for text in told if "Panels: Piling, foundations and ground slab" in text)
    for word in ("Swift", "Groundworkers", " to ", "days: ", "work", "closed days"):
        assert word in piling


def test_no_change_that_gains_is_said_in_words():
    said_of = "".join(words.say_changes([], "4 single changes tried: none gains.", NAMES[1]))
    assert re.sub(r"<[^>]+>", "", said_of) == "With panels: 4 single changes tried: none gains."


def test_a_slip_that_gains_money_is_said_as_plainly_as_one_that_loses():
    row = {"reason": "", "weeks_last": 1.04, "cost": 43_000.0, "float_days": 0.0}
    assert words.say_slip(row) == "1.0 weeks later · £43.0k lost · float none"
    row |= {"cost": -43_000.0, "weeks_last": -0.3, "float_days": 21.0}
    assert words.say_slip(row) == "0.3 weeks sooner · £43.0k gained · float 3.0 weeks"
    assert words.say_slip(row | {"float_days": None}).endswith("no handover waits")


def test_dates_of_the_factory_that_fall_on_one_day_share_a_mark(pitch):
    points = words.factory_points(pitch.second.as_json([])["factory"], "2027-04-05")
    days = [when for when, _words in points]
    assert days == sorted(set(days))
