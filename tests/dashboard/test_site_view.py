"""The site view and the inputs beside it: what it shows, what an edit makes of a draft, what is said."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.parts import answer, edits, site_charts
from dashboard.parts.answer import Named
from dashboard.parts.theme import tokens
from dashboard.shipped import MINIMAL, text_of
from model import compare_methods
from model.core.errors import RangeError, ScenarioError
from model.inputs.method import read_catalogue
from model.inputs.reading import read_scenario
from model.inputs.scenario import Crane, Section
from model.report import site_frames
from model.site.checks import check_values

NAMES = (
    Named("open_frame", "Open frame", "open_frame", "open_frame"),
    Named("panelised", "Panels", "panels", "panelised"),
)
ROLES = {"Open frame": "open_frame", "Panels": "panels"}


def _page_of(name, text=""):
    import importlib

    import streamlit

    from dashboard import state

    state.warm()
    if text and "opened" not in streamlit.session_state:
        streamlit.session_state["opened"] = state.open_text(text, "it.toml")
    importlib.import_module(f"dashboard.views.{name}").show()


def open_view(name, text=""):
    page = AppTest.from_function(_page_of, kwargs={"name": name, "text": text}, default_timeout=90).run()
    assert not page.exception
    return page


def said(page):
    bodies = [one.proto.body for one in page.get("html")]
    return re.sub(r"<[^>]+>", "", " ".join(body for body in bodies if "<style" not in body))


def field(page, kind, label):
    return next(one for one in getattr(page, kind) if one.label == label)


def headline(page):
    found = next(one.proto.body for one in page.get("html") if "sp-sentence" in one.proto.body)
    return re.search(r"<h1.*?</h1>", found).group()


@pytest.fixture(scope="module")
def pitch():
    return compare_methods(read_scenario(text_of("pitch.toml")))


@pytest.fixture(scope="module")
def evening():
    """Panels with 1.5 h of evening loading-out and two cranes together on two blocks."""
    base = read_scenario(text_of("pitch.toml"))
    cranes = (Crane("Pair", ("Heron", "Teal"), 2), Crane("Swift", ("Swift",)))
    return compare_methods(base.with_changes(cranes=cranes).with_override("crane.evening_hours", 1.5))


def drawn(comparison, name):
    frame = site_frames.SITE_FRAMES[name](comparison)
    return frame.assign(role=frame["method"].map(ROLES)) if "method" in frame else frame


# --- frames: each adds up to what the site counts --------------------------------------------------


def test_hook_hours_by_use_and_month_add_up_to_all_hook_hours(pitch, evening):
    for comparison in (pitch, evening):
        frame = drawn(comparison, "site hooks")
        for case in comparison.cases:
            one = frame[frame["method"] == case.method.label]
            assert one["used"].sum() == pytest.approx(case.site.hook_hours, rel=1e-9)
            assert (one["used"] <= one["available"] + one["evening"] + 1e-6).all()


def test_no_crane_lifts_more_in_a_week_than_its_hours_with_evenings(evening):
    frame = drawn(evening, "site cranes")
    assert set(frame["crane"]) == {"Pair, 2 cranes", "Swift"}
    assert (frame["used"] <= frame["available"] + 1e-6).all()
    assert drawn(evening, "site hooks")["evening"].sum() > 0


def test_bay_minutes_days_over_are_those_of_the_site(pitch):
    frame = drawn(pitch, "site bays")
    for case in pitch.cases:
        one = frame[frame["method"] == case.method.label]
        assert (one["minutes"] > one["available"] + 1e-6).sum() == case.site.bay_days_over
        assert one["vehicles"].sum() == case.site.loads_total
        assert one["minutes"].max() == case.site.bay_minutes_peak_day


def test_panels_on_site_by_day_stand_in_whole_racks(pitch):
    frame = drawn(pitch, "site panels")
    store = pitch.second.site.panel_store
    assert set(frame["method"]) == {"Panels"}
    assert frame["panels"].max() == store.peak
    assert frame["area_m2"].max() == store.area_m2
    assert (frame["racks"] * store.rack_panels >= frame["panels"] - 1e-6).all()


def test_hours_of_hoists_add_up_and_stay_within(pitch):
    frame = drawn(pitch, "site hoists")
    for case in pitch.cases:
        one = frame[frame["method"] == case.method.label]
        assert one["used"].sum() == pytest.approx(case.site.hoist_used.sum(), rel=1e-9)
    assert (frame["used"] <= frame["available"] + 1e-6).all()


def test_a_low_block_without_a_hoist_has_no_hoist_hours():
    low = compare_methods(read_scenario(text_of("two_storey.toml")))
    assert len(drawn(low, "site hoists")) == 0
    assert site_frames.site_figures(low)["methods"]["panelised"]["hoist_hours_available"] == 0.0


def test_people_of_all_trades_and_their_support_are_the_people_of_a_week(pitch):
    weekly = drawn(pitch, "site people")
    for case in pitch.cases:
        one = weekly[weekly["method"] == case.method.label]["operatives"].to_numpy()
        assert one == pytest.approx(case.site.operatives_by_week[: one.size], rel=1e-9)
        trades = drawn(pitch, "site trades")
        mine = trades[trades["method"] == case.method.label]
        assert mine["trade"].nunique() == len(case.site.trades)
        days = mine.drop_duplicates("trade")["days"].sum()
        assert days == pytest.approx(case.site.operative_days, rel=1e-9)


def test_bands_are_those_of_the_checks(pitch):
    frame = drawn(pitch, "site bands")
    values = [check.value for case in pitch.cases for check in check_values(case.site)]
    assert list(frame["value"]) == values


def test_travel_and_haulage_add_up_to_transport(pitch):
    frame = drawn(pitch, "site transport")
    for case in pitch.cases:
        total = frame[frame["method"] == case.method.label]["kgco2e"].sum()
        assert total == pytest.approx(case.site.transport_kgco2e, rel=1e-9)


# --- charts ---------------------------------------------------------------------------------------


def test_trades_that_change_are_sorted_into_leave_arrive_fewer_and_more():
    days = {"A": (10, 0), "B": (0, 7), "C": (100, 96), "D": (100, 80), "E": (20, 60)}
    rows = [("One", t, d[0]) for t, d in days.items() if d[0]] + [
        ("Two", t, d[1]) for t, d in days.items() if d[1]
    ]
    told = site_charts.trades_that_change(pd.DataFrame(rows, columns=["method", "trade", "days"]))
    assert list(zip(told["trade"], told["change"], strict=True)) == [
        ("A", "leaves"),
        ("B", "arrives"),
        ("D", "fewer"),
        ("E", "more"),
    ]


def test_trades_of_one_method_do_not_change():
    with pytest.raises(RangeError, match="Trades change between two methods; the frame holds one"):
        site_charts.trades_that_change(pd.DataFrame({"method": ["One"], "trade": ["A"], "days": [1.0]}))


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize(
    ("name", "draw", "say"),
    [
        ("site trades", site_charts.trades, site_charts.say_trades),
        ("site people", site_charts.people, site_charts.say_people),
        ("site hooks", site_charts.hook_by_use, site_charts.say_hook_by_use),
        ("site hoists", site_charts.hoists, site_charts.say_hoists),
        ("site bays", site_charts.bays, site_charts.say_bays),
        ("site panels", site_charts.panels_stored, site_charts.say_panels_stored),
    ],
)
def test_each_chart_carries_both_cues_and_says_the_same(pitch, mode, name, draw, say):
    frame = drawn(pitch, name)
    colours = tokens(mode)
    figure = draw(frame, colours)
    for role in set(frame["role"]):
        mine = [trace for trace in figure.data if trace.meta == role]
        assert mine, role
    for label in set(frame["method"]):
        assert label in say(frame) or name == "site trades"
    with pytest.raises(RangeError, match="lacks method"):
        draw(frame.drop(columns="method"), colours)


def test_the_first_trade_of_the_chart_has_its_name(pitch):
    figure = site_charts.trades(drawn(pitch, "site trades"), tokens("light"))
    words = [note.text for note in figure.layout.annotations]
    for trade in ("Window fixers", "Panel fixers", "Dryliners"):
        assert any(f"<b>{trade}</b>" in one for one in words)


def test_every_hook_bar_is_told_by_its_fill(pitch):
    figure = site_charts.hook_by_use(drawn(pitch, "site hooks"), tokens("light"))
    bars = [trace for trace in figure.data if trace.type == "bar" and trace.meta == "panels"]
    shapes = [(bar.marker.pattern.shape, bar.marker.color == tokens("light")["ground"]) for bar in bars]
    assert shapes == [(None, False), ("/", False), (None, True)]


def test_a_method_within_the_bays_is_said_to_be(pitch):
    frame = drawn(pitch, "site bays").assign(minutes=100.0)
    assert site_charts.say_bays(frame).count("never over the line") == 2


# --- words and tables -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def figures(pitch):
    return answer.with_site(pitch.as_json(), site_frames.site_figures(pitch))


def test_more_and_less_are_said_in_one_voice(figures):
    lead = "".join(answer.site_lead(figures, NAMES))
    less, more = lead.split(" There is more of: ")
    assert "operative-days" in less
    assert "crane hook hours" in more
    assert "hours with a rail off to let a lift in" in more


def test_edges_say_where_panels_are_worse(figures):
    words = answer.say_edges(figures, NAMES)
    assert re.search(r"people work \d+ % fewer hours at an open edge", words)
    assert words.endswith("this is worse.")


def test_a_line_that_favours_nobody_says_neither(figures):
    told = {"methods": {"open_frame": {"a": 1.0}, "panelised": {"a": 9.0}}}
    line = answer.Line("A", lambda method: method["a"], str, 0, str)
    assert "neither" in answer.contrast_table(told, NAMES, [line])


def test_what_leaves_and_arrives_stands_under_the_method_it_goes_with(pitch):
    changed = site_frames.site_figures(pitch)["changed"]
    words = re.sub(r"<[^>]+>", "|", answer.changed_lists(changed, NAMES))
    assert re.search(r"Leave with the open frame\|+Wall framers", words)
    assert re.search(r"Arrive with panels\|+Panel fixers", words)


def test_a_figure_outside_its_band_is_explained(pitch):
    frame = drawn(pitch, "site bands")
    outside = [
        label for label in dict.fromkeys(frame["label"]) if not frame[frame["label"] == label]["within"].all()
    ]
    told = answer.say_bands(frame)
    assert len(told) == len(outside)
    inside = frame.assign(within=True)
    assert answer.say_bands(inside) == []
    table = re.sub(r"<[^>]+>", "|", answer.bands_table(frame, NAMES))
    assert re.search(r"Vehicles for 100 m² gross\|+[\d.]+\|+[\d.]+\|+11 to 30\|+inside", table)


def test_transport_tables_add_up(pitch):
    frame = drawn(pitch, "site transport")
    loads = re.sub(r"<[^>]+>", "|", answer.transport_table(frame, NAMES, "loads"))
    one, other = (case.site.loads_total for case in pitch.cases)
    assert re.search(rf"In all\|+{one:,.0f}\|+{other:,.0f}\|", loads)
    assert "To work and back" not in loads
    assert "To work and back, 30 km" in answer.transport_table(frame, NAMES, "kgco2e")


# --- the view ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["pitch.toml", "two_storey.toml"])
def test_the_site_view_shows_every_part(name):
    words = said(open_view("site", text_of(name)))
    for part in (
        "Trades that leave, arrive and change",
        "HSE L24",
        "The lift plan and the appointed person decide",
        "Hook hours by use and month",
        "Hook hours by week and crane: Open frame",
        "Bay minutes by day: Open frame",
        "Panels stored on site: Panels at most",
        "The temporary-works engineer decides",
        "at an open edge",
        "DESNZ, 2025 set",
        "Beside what the trade says",
    ):
        assert part in words, part


def test_the_site_view_stands_with_evenings_and_cranes_together():
    text = text_of("pitch.toml") + (
        '\n[[cranes]]\nname = "Pair"\nblocks = ["Heron", "Teal"]\nnumber = 2\n'
        '\n[[cranes]]\nname = "Swift"\nblocks = ["Swift"]\n\n[overrides]\n"crane.evening_hours" = 1.5\n'
    )
    page = open_view("site", text)
    assert page.session_state["opened"]
    assert "Hook hours by use and month" in said(page)


def test_a_method_against_itself_changes_no_trade():
    text = text_of("pitch.toml") + (
        '\n[[methods]]\nid = "a"\nlike = "open_frame"\n\n[[methods]]\nid = "b"\nlike = "open_frame"\n'
        'label = "The same"\n'
    )
    words = said(open_view("site", text))
    assert "Both methods have the same trades, with as much work." in words
    assert "Leave with" in words


def test_the_load_a_young_slab_may_carry_is_changed_on_the_site_view():
    page = open_view("site")
    label = "Load a young slab may carry while work goes on, kN/m²"
    field(page, "number_input", label).set_value(2.0).run()
    assert not page.exception
    assert "changed by you" in said(page)


# --- edits ------------------------------------------------------------------------------------------


@pytest.fixture
def draft():
    return read_scenario(text_of("pitch.toml"))


def test_a_block_taken_over_leaves_its_crane_and_one_let_go_gets_its_own(draft):
    shared = edits.with_crane(draft, 0, blocks=("Heron", "Teal"))
    assert [(c.name, c.blocks) for c in shared.cranes] == [
        ("Heron", ("Heron", "Teal")),
        ("Swift", ("Swift",)),
    ]
    assert shared.with_changes().cranes == shared.cranes
    back = edits.with_crane(shared, 0, blocks=("Heron",))
    assert {c.name: c.blocks for c in back.served} == {name: (name,) for name in ("Heron", "Teal", "Swift")}


def test_cranes_as_without_any_are_left_out(draft):
    several = edits.with_crane(draft, 2, number=2)
    assert several.cranes[2] == Crane("Swift", ("Swift",), 2)
    assert edits.with_crane(several, 2, number=1).cranes == ()


def test_a_crane_of_its_own_takes_a_name_not_yet_used(draft):
    named = edits.with_crane(edits.with_crane(draft, 0, blocks=("Heron", "Teal")), 0, name="Swift 2")
    named = edits.with_crane(named, 1, name="Teal")
    apart = edits.with_crane(named, 0, blocks=("Heron",))
    assert len({crane.name for crane in apart.cranes}) == 3
    assert apart.with_changes().cranes == apart.cranes


def test_sections_start_with_nothing_said_to_be_kept_apart_and_are_refused(draft):
    parted = edits.with_handover(draft, 2, edits.BY_SECTION)
    assert parted.blocks[2].sections == (Section(1, 11), Section(12, 22))
    with pytest.raises(ScenarioError, match="own_stair, own_lift, own_riser and own_access are not set true"):
        parted.with_changes()


def apart(draft):
    parted = edits.with_handover(draft, 2, edits.BY_SECTION)
    for name in ("own_stair", "own_lift", "own_riser", "own_access"):
        parted = edits.with_section(parted, 2, 0, **{name: True})
    return parted


def test_a_section_that_meets_another_still_meets_it(draft):
    moved = edits.with_section(apart(draft), 2, 0, last=8)
    assert [(s.first, s.last) for s in moved.blocks[2].sections] == [(1, 8), (9, 22)]
    back = edits.with_section(moved, 2, 1, first=12)
    assert [(s.first, s.last) for s in back.blocks[2].sections] == [(1, 11), (12, 22)]
    assert back.with_changes().blocks[2].sections == back.blocks[2].sections


def test_sections_are_parted_and_left_out(draft):
    three = edits.with_one_section_more(apart(draft), 2)
    assert [(s.first, s.last) for s in three.blocks[2].sections] == [(1, 11), (12, 17), (18, 22)]
    low = edits.without_section(three, 2, 0)
    assert [(s.first, s.last) for s in low.blocks[2].sections] == [(1, 17), (18, 22)]
    whole = edits.without_section(low, 2, 1)
    assert edits.handed_over(whole.blocks[2]) == edits.WHOLE_BLOCK


def test_the_topmost_section_goes_on_to_a_new_top_storey(draft):
    taller = edits.with_grid(apart(draft), apart(draft).blocks, {"edited_rows": {2: {"storeys": 24}}})
    assert taller.blocks[2].sections[-1] == Section(12, 24)
    assert taller.with_changes().blocks[2].storeys == 24


def test_core_by_core_has_two_cores_and_a_pour_to_each(draft):
    few = replace(draft, blocks=(replace(draft.blocks[0], zones=1), *draft.blocks[1:]))
    by_core = edits.with_handover(few, 0, edits.BY_CORE).blocks[0]
    assert (by_core.handover, by_core.cores, by_core.zones) == ("each core", 2, 2)
    assert edits.with_handover(draft, 0, edits.BY_CORE).with_changes().blocks[0].handover == "each core"


# --- the inputs on the page -------------------------------------------------------------------------


def test_sections_are_refused_beside_their_fields_until_all_is_ticked():
    page = open_view("development", MINIMAL)
    before = headline(page)
    field(page, "selectbox", "Handed over").set_value(edits.BY_SECTION).run()
    words = said(page)
    assert "Own stair, own lift, own risers and own way in are not ticked" in words
    assert words.count("are not ticked") == 1
    assert "licensed designers decide" in words
    assert headline(page) == before
    for label in ("Own stair", "Own lift", "Own risers", "Own way in"):
        field(page, "checkbox", label).check().run()
    assert "not ticked" not in said(page)
    assert "Not in the answer yet" not in said(page)


def test_each_core_by_itself_is_taken():
    page = open_view("development", MINIMAL)
    field(page, "selectbox", "Handed over").set_value(edits.BY_CORE).run()
    assert not page.exception
    assert "Not in the answer yet" not in said(page)
    assert field(page, "number_input", "Cores").value == 2


def test_cranes_working_together_change_the_answer_or_are_refused():
    page = open_view("development")
    field(page, "number_input", "Working together, Swift").set_value(5).run()
    assert "5 is outside 1 to 4 cranes" in said(page)
    field(page, "number_input", "Working together, Swift").set_value(2).run()
    assert "is outside" not in said(page)
    page.multiselect[0].set_value(["Heron", "Teal"]).run()
    assert not page.exception
    assert [one.label for one in page.multiselect] == ["Blocks served by Heron", "Blocks served by Swift"]


def test_late_adoption_says_what_it_does_and_asks_for_its_figures():
    page = open_view("development", MINIMAL)
    before = headline(page)
    assert "weeks of redesign" in said(page)
    field(page, "checkbox", "Already designed for the open frame").check().run()
    assert headline(page) != before
    field(page, "number_input", "Late adoption: redesign for panels, weeks").set_value(12.0).run()
    assert "12 weeks of redesign" in said(page)


def test_the_caution_of_a_chosen_option_is_shown():
    cautioned = [(key, option) for key, option in read_catalogue().options.items() if option.caution]
    assert cautioned
    (element, name), option = cautioned[0]
    page = open_view("development", MINIMAL)
    assert option.caution not in said(page)
    label = f"{read_catalogue().elements[element]}, Open frame"
    field(page, "selectbox", label).set_value(name).run()
    assert option.caution.replace("'", "&#x27;") in said(page)


def test_options_of_an_element_come_from_the_library():
    page = open_view("development", MINIMAL)
    for element, label in read_catalogue().elements.items():
        known = [name for of, name in read_catalogue().options if of == element]
        if len(known) > 1:
            assert field(page, "selectbox", f"{label}, Panels").options == [
                read_catalogue().options[element, name].label for name in known
            ]


def test_panels_are_ordered_before_the_start_on_site():
    page = open_view("development", MINIMAL)
    field(page, "number_input", "Panel order after start on site, weeks from start").set_value(-10.0).run()
    assert not page.exception
    assert "changed by you" in said(page)


def test_hoists_of_a_block_are_asked_for():
    page = open_view("development")
    field(page, "number_input", "Hoists, Swift").set_value(2).run()
    assert not page.exception
    assert "Not in the answer yet" not in said(page)
    field(page, "number_input", "Hoists, Swift").set_value(9).run()
    assert "9 is outside 0 to 4 hoists" in said(page)


def test_every_week_of_the_trades_lies_within_the_programme(pitch):
    frame = drawn(pitch, "site trades")
    for case in pitch.cases:
        weeks = frame[frame["method"] == case.method.label]["week"]
        last = np.datetime64(case.plan.start_date) + int(case.plan.last_handover)
        assert weeks.max() <= pd.Timestamp(last)


def test_the_site_view_shows_a_third_method_too():
    text = text_of("pitch.toml") + "".join(
        f'\n[[methods]]\nid = "{name}"\nlike = "{name}"\n'
        for name in ("open_frame", "panelised", "open_frame_best")
    )
    words = said(open_view("site", text))
    assert "Best open frame" in words
    assert re.search(r"Bay minutes by day: Open frame .* Panels .* Best open frame ", words)
