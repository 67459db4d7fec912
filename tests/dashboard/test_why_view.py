"""Where it comes from: shares that add up, ranges over orders, differences found by word, the view."""

import re

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.parts import why_charts
from dashboard.parts.answer import Named
from dashboard.shipped import MINIMAL, text_of
from model import compare_methods
from model.core.errors import RangeError
from model.explain.credit import explain
from model.inputs.assumption import read_library
from model.inputs.reading import read_scenario
from model.report import sure_frames

NAMES = (
    Named("open_frame", "Open frame", "open_frame", "open_frame"),
    Named("panelised", "Panels", "panels", "panelised"),
)


def _page_of(name, text=""):
    import importlib

    import streamlit

    from dashboard import state

    state.warm()
    if text and "opened" not in streamlit.session_state:
        streamlit.session_state["opened"] = state.open_text(text, "it.toml")
    importlib.import_module(f"dashboard.views.{name}").show()


def open_view(name, text=""):
    page = AppTest.from_function(_page_of, kwargs={"name": name, "text": text}, default_timeout=120).run()
    assert not page.exception
    return page


def plainly(html):
    return re.sub(r"<[^>]+>", "", str(html))


def said(page):
    bodies = [one.proto.body for one in page.get("html")]
    return plainly(" ".join(body for body in bodies if "<style" not in body))


@pytest.fixture(scope="module")
def explanation():
    return explain(compare_methods(read_scenario(text_of("pitch.toml"))))


def of(frame, measure):
    return frame[frame["measure"] == measure]


# --- frames -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("measure", list(why_charts.MEASURES))
def test_shares_and_groups_add_up_to_the_total(explanation, measure):
    total = explanation.measures[measure].total
    for frame in (sure_frames.shares(explanation), sure_frames.groups(explanation)):
        assert of(frame, measure)["credit"].sum() == pytest.approx(total, abs=1e-6)


def test_every_measure_that_is_explained_can_be_picked(explanation):
    assert set(why_charts.MEASURES) == set(explanation.measures)


def test_differences_and_identical_values_are_the_whole_library(explanation):
    every, same = sure_frames.differences(explanation), sure_frames.identical(explanation)
    listed = set(every[every["kind"].isin(["record", "rule"])]["key"])
    assert listed | set(same["key"]) == set(read_library().records)
    assert not listed & set(same["key"])


def test_differences_with_an_effect_stand_first_by_profit(explanation):
    own = sure_frames.with_effect(sure_frames.differences(explanation))
    sizes = [abs(x) for x in own["effect_profit"]]
    assert sizes == sorted(sizes, reverse=True)
    assert set(own["label"]) == {"Verticals", "Deck", "Outer wall", "Separating walls"}


# --- pictures and words -----------------------------------------------------------------------------


def share(label, credit, first, last, least, most):
    return {
        "label": label, "credit": credit, "alone_first": first, "added_last": last, "least": least,
        "most": most,
    }  # fmt: skip


def test_a_share_has_the_colour_of_the_method_it_favours_and_its_range():
    frame = pd.DataFrame(
        [share("Deck", 5.0, 6.0, 4.0, 3.0, 8.0), share("Outer wall", -3.0, -3.0, -3.0, -3.0, -3.0)]
    )
    html = why_charts.shares(frame, NAMES, "weeks_to_last_handover", 2.0)
    deck, wall, whole = re.findall(r'<div class="sp-share[ "].*?</div>', html)
    assert "sp-m-panels sp-r-bar" in deck
    assert "+3.0 to +8.0" in plainly(deck)
    assert "sp-m-open-frame sp-r-double" in wall
    assert "in any order" in plainly(wall)
    assert plainly(whole) == "All together+2.0 "
    least, most = 3.0, 8.0
    low, high = -3.0 - 0.03 * 11, 8.0 + 0.03 * 11
    span = re.search(r'sp-span" style="left:([\d.]+)%;width:([\d.]+)%', deck)
    assert float(span[1]) == pytest.approx(100 * (least - low) / (high - low), abs=0.005)
    assert float(span[2]) == pytest.approx(100 * (most - least) / (high - low), abs=0.005)


def test_fewer_hook_hours_favour_the_second_method():
    frame = pd.DataFrame([share("Deck", -50.0, -50.0, -50.0, -50.0, -50.0)])
    html = why_charts.shares(frame, NAMES, "hook_hours", -50.0)
    assert "sp-m-panels" in html
    assert "sp-m-open-frame" not in html
    assert "deck 50 hook hours fewer" in why_charts.say_shares(frame, NAMES, "hook_hours", -50.0).lower()


def test_a_frame_of_shares_without_a_row_is_refused():
    empty = pd.DataFrame(columns=list(share("", 0, 0, 0, 0, 0)))
    with pytest.raises(RangeError, match=r"what each part adds has no row.*leave the chart out"):
        why_charts.shares(empty, NAMES, "profit", 0.0)


@pytest.mark.parametrize(
    ("late", "profit", "words"),
    [
        (-6.1, -4.76e6, "the walls cost 6.1 weeks and £4.76m"),
        (5.3, -61e3, "the walls gain 5.3 weeks and cost £61.0k"),
        (0.0, 2e5, "the walls gain £200k, and no date"),
        (2.0, 10.0, "the walls gain 2 weeks, and profit is the same"),
        (0.0, 0.0, "the walls change neither date nor profit"),
    ],
)
def test_the_answer_says_gains_and_losses_alike(late, profit, words):
    groups = pd.DataFrame(
        [
            ("weeks_to_last_handover", "walls", "The walls", late),
            ("profit", "walls", "The walls", profit),
        ],
        columns=["measure", "name", "label", "credit"],
    )
    assert plainly("".join(why_charts.headline(groups, NAMES))) == f"From the open frame to panels, {words}."


def test_pairs_that_pay_only_together_are_said():
    pairs = pd.DataFrame(
        [("profit", "Deck", "Outer wall", -1e4, 0.0, 3e4, 4e4, True)],
        columns=[
            "measure",
            "one",
            "other",
            "alone_one",
            "alone_other",
            "both",
            "interaction",
            "only_together",
        ],
    )
    (sentence,) = why_charts.say_pairs(pairs, "profit")
    assert sentence == (
        "Deck and outer wall pay only together: £30.0k more profit for both; alone, £10.0k less profit and "
        "no change."
    )
    assert why_charts.say_pairs(pairs, "loads") == ["No two parts pay only together in loads."]


def test_differences_are_found_by_every_word_part_and_kind(explanation):
    every = sure_frames.differences(explanation)
    found = why_charts.found(every, "hook balcony")
    assert len(found)
    assert all("hook" in words and "balcony" in words for words in found["searched"])
    part = why_charts.found(every, "", "Deck", "link")
    assert len(part)
    assert set(part["kind"]) == {"link"}
    assert all("Deck" in parts for parts in part["parts"])
    assert not len(why_charts.found(every, "no such thing anywhere"))


def test_setting_equal_is_told_once_and_otherwise_where(explanation):
    shown = why_charts.listed_table(sure_frames.differences(explanation))
    assert (shown["set_equal"] != "").all()
    assert shown["set_equal"].str.startswith("last handover ").sum() == 4
    assert "told with outer wall" in set(shown["set_equal"])
    assert "none" in set(shown["first"])


# --- the view ---------------------------------------------------------------------------------------


def test_the_view_answers_and_lists():
    page = open_view("why")
    words = said(page)
    assert "From the open frame to panels, the walls " in words
    assert "16 in all" in words
    assert "values are identical in both methods" in words
    assert "All together" in words
    before = words
    page.get("button_group")[0].set_value("profit").run()
    assert not page.exception
    assert "Profit more, £ with panels" in said(page)
    assert said(page) != before
    next(one for one in page.text_input if one.label == "Search").set_value("crane").run()
    assert not page.exception
    found = re.search(r"(\d+) of (\d+) differences", said(page))
    assert 0 < int(found[1]) < int(found[2])


def test_a_method_against_itself_has_nothing_to_share_out():
    methods = '\n[[methods]]\nid = "a"\nlike = "panelised"\n[[methods]]\nid = "b"\nlike = "panelised"\n'
    words = said(open_view("why", MINIMAL + methods))
    assert "there is no difference to share out" in words
    assert "No record, option, link or calendar differs." in words
