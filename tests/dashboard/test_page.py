"""The page: what it opens on, what a change does, what it refuses, and what it says."""

import copy
import re
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.parts import answer, edits
from dashboard.parts.answer import Named
from dashboard.shipped import MINIMAL, shipped, text_of
from model.core.errors import ScenarioError
from model.inputs.reading import read_scenario
from model.inputs.scenario import Block

APP = Path(answer.__file__).resolve().parent.parent / "app.py"
NAMES = (
    Named("open_frame", "Open frame", "open_frame", "open_frame"),
    Named("panelised", "Panels", "panels", "panelised"),
)


def _view(name):
    import importlib

    from dashboard import state

    state.warm()
    importlib.import_module(f"dashboard.views.{name}").show()


def open_view(name):
    page = AppTest.from_function(_view, kwargs={"name": name}, default_timeout=90).run()
    assert not page.exception
    return page


def said(page):
    """Everything the page says in HTML, without tags."""
    bodies = [one.proto.body for one in page.get("html")]
    return re.sub(r"<[^>]+>", "", " ".join(body for body in bodies if "<style" not in body))


def headline(page):
    found = [one.proto.body for one in page.get("html") if "sp-sentence" in one.proto.body]
    return re.sub(r"<[^>]+>", "", re.search(r"<h1.*?</h1>", found[0]).group())


def field(page, kind, label):
    return next(one for one in getattr(page, kind) if one.label == label)


# --- every view ---------------------------------------------------------------------------------


def test_the_page_opens_on_the_pitch_and_answers_in_one_sentence():
    page = AppTest.from_file(str(APP), default_timeout=90).run()
    assert not page.exception
    assert headline(page).startswith("With panels the last flats are ready ")
    assert "Birdwater" in said(page)
    assert "licensed people and local codes decide" in said(page)


@pytest.mark.parametrize(
    ("view", "words"),
    [
        ("development", "Blocks"),
        ("programme", "Last storey done, Heron: Open frame on"),
        ("site", "Hook hours by week and crane: Open frame"),
        ("money", "VAT is left out"),
        ("assumptions", "values stand behind the answer"),
    ],
)
def test_each_view_shows_its_answer(view, words):
    page = open_view(view)
    assert headline(page)
    assert re.search(words, said(page))


# --- a change -----------------------------------------------------------------------------------


def test_another_storey_count_changes_the_answer_at_once():
    page = open_view("development")
    before = headline(page)
    field(page, "number_input", "Storeys").set_value(16).run()
    assert not page.exception
    assert headline(page) != before


def test_what_cannot_be_is_said_and_the_last_good_answer_stays():
    page = open_view("development")
    before = headline(page)
    field(page, "number_input", "Storeys").set_value(70).run()
    assert headline(page) == before
    assert "70 is outside 1 to 60 storeys" in said(page)
    field(page, "button", "Go back to the last good answer").click().run()
    assert "70 is outside" not in said(page)
    assert field(page, "number_input", "Storeys").value == 8


def test_two_changes_that_only_go_together_can_be_made_one_after_the_other():
    page = open_view("development")
    field(page, "selectbox", "Facade finish, Open frame").set_value("slips_on_panel").run()
    assert "does not go with" in said(page)
    field(page, "selectbox", "Outer wall, Open frame").set_value("panel_before_deck").run()
    assert "does not go with" not in said(page)
    assert field(page, "selectbox", "Facade finish, Open frame").value == "slips_on_panel"


def test_a_record_that_was_changed_says_so_and_goes_back_to_the_library():
    page = open_view("development")
    before = headline(page)
    label = "Interest on the loan, % a year"
    library = field(page, "number_input", label).value
    field(page, "number_input", label).set_value(library + 3).run()
    assert "changed by you" in said(page)
    assert headline(page) != before
    field(page, "button", f"Back to the library's {library:g}").click().run()
    assert "changed by you" not in said(page)
    assert headline(page) == before
    assert field(page, "number_input", label).value == library


def test_a_third_method_is_compared_and_left_out_again():
    page = open_view("development")
    field(page, "button", "Compare Best open frame too").click().run()
    assert not page.exception
    assert field(page, "selectbox", "Deck, Best open frame").value == "panel_decking"
    field(page, "button", "Leave out Best open frame").click().run()
    assert not any(one.label == "Deck, Best open frame" for one in page.selectbox)


def test_an_example_is_opened():
    page = open_view("development")
    field(page, "selectbox", "Examples").set_value("two_storey.toml").run()
    assert not page.exception
    assert field(page, "text_input", "Name").value == "Two storeys"
    assert "the flats are ready" in headline(page)


def test_a_file_with_problems_is_not_opened_and_every_problem_is_listed():
    page = open_view("development")
    before = headline(page)
    wrong = MINIMAL.replace("storeys = 8", "storeys = 0").replace('"london"', '"atlantis"')
    page.file_uploader[0].upload("wrong.toml", wrong.encode()).run()
    assert headline(page) == before
    assert "wrong.toml was not opened" in said(page)
    assert "0 is outside 1 to 60 storeys" in said(page)
    assert "atlantis" in said(page)


def test_a_file_is_opened():
    page = open_view("development")
    page.file_uploader[0].upload("mine.toml", MINIMAL.encode()).run()
    assert not page.exception
    assert field(page, "text_input", "Name").value == "Sample Yard"


def test_two_sittings_do_not_see_each_other():
    mine, yours = open_view("development"), open_view("development")
    before = headline(yours)
    field(mine, "number_input", "Storeys").set_value(16).run()
    assert headline(mine) != before
    assert headline(yours.run()) == before


def test_any_value_can_be_changed_from_the_list():
    page = open_view("assumptions")
    field(page, "selectbox", "Which").set_value("money.equity_pct").run()
    field(page, "number_input", "Equity, %").set_value(30.0).run()
    assert not page.exception
    assert "changed by you" in said(page)


def test_the_search_finds_values_by_word():
    page = open_view("assumptions")
    every = len(page.dataframe[0].value)
    field(page, "text_input", "Search").set_value("interest loan").run()
    found = page.dataframe[0].value
    assert 0 < len(found) < every
    assert "Interest on the loan" in set(found["label"])


def test_the_reason_of_one_scenario_is_never_shown_for_another():
    def page_of(text):
        from dashboard import state
        from dashboard.views import assumptions

        state.open_text(text, "it.toml")
        assumptions.show()

    def reason(why):
        text = f'{MINIMAL}\n[money]\nprice = {{ value = 5000, why = "{why}" }}\n'
        page = AppTest.from_function(page_of, kwargs={"text": text}, default_timeout=90).run()
        register = page.dataframe[0].value.set_index("key")
        return register.loc["money.price", "why"]

    assert (reason("Said by me."), reason("Said by you.")) == ("Said by me.", "Said by you.")


# --- edits --------------------------------------------------------------------------------------


@pytest.fixture
def large():
    return read_scenario(text_of("large.toml"))


def test_the_table_of_blocks_edits_adds_and_deletes(large):
    done = {
        "edited_rows": {0: {"storeys": 10.0, "name": "Heath"}},
        "added_rows": [{"name": "Gull", "storeys": 6, "flats_per_storey": 8}, {}],
        "deleted_rows": [1],
    }
    draft = edits.with_grid(large, large.blocks, done).with_changes()
    assert [block.name for block in draft.blocks] == [
        "Heath",
        *(block.name for block in large.blocks[2:]),
        "Gull",
    ]
    assert draft.blocks[0].storeys == 10
    assert draft.cranes[0].blocks == ("Heath",)
    assert draft.cranes[-1].blocks == ("Gull",)


def test_an_edit_of_the_table_keeps_what_the_table_does_not_show(large):
    podium = next(i for i, block in enumerate(large.blocks) if block.ranges)
    draft = edits.with_grid(large, large.blocks, {"edited_rows": {podium: {"start_weeks": 30}}})
    assert draft.blocks[podium].ranges == large.blocks[podium].ranges
    assert draft.blocks[podium].cores == large.blocks[podium].cores


def test_a_new_block_without_storeys_is_told_so(large):
    draft = edits.with_grid(large, large.blocks, {"added_rows": [{"name": "Gull"}]})
    with pytest.raises(ScenarioError, match=r"'Gull'\.storeys: this key is missing"):
        draft.with_changes()


def test_the_table_shows_the_blocks_and_blank_for_the_library(large):
    rows = edits.grid_rows(large.blocks)
    assert list(rows["storeys"]) == [block.storeys for block in large.blocks]
    assert rows["zones"].isna().sum() == sum(block.zones is None for block in large.blocks)


def test_a_record_set_to_the_librarys_value_is_no_override(large):
    key = "money.equity_pct"
    changed = edits.with_record(large, key, 12.5)
    assert dict(changed.overrides)[key] == (12.5, edits.REASON)
    library = large.values(large.methods[0]).library[key].value
    assert key not in dict(edits.with_record(changed, key, library).overrides)


def test_a_record_left_as_it_is_keeps_its_reason(large):
    value, why = dict(large.overrides)["money.price"]
    assert dict(edits.with_record(large, "money.price", value).overrides)["money.price"] == (value, why)


def test_without_given_cranes_each_block_keeps_its_own():
    scenario = read_scenario(MINIMAL)
    more = edits.with_grid(scenario, scenario.blocks, {"added_rows": [{"storeys": 5, "flats_per_storey": 4}]})
    assert more.cranes == ()
    assert more.with_changes().blocks[1] == Block(more.with_changes().blocks[1].name, 5, 4)


# --- sentences ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def figures():
    from model import compare_methods

    return compare_methods(read_scenario(text_of("pitch.toml"))).as_json()


def plainly(parts):
    return re.sub(r"<[^>]+>", "", "".join(parts))


@pytest.mark.parametrize(
    ("last", "first", "walls", "expected"),
    [
        (
            13,
            10,
            4,
            "13 weeks sooner than|the first 10 weeks sooner; 4 weeks of that are owed to the walls alone.",
        ),
        (
            -3,
            -1,
            -5,
            "3 weeks later than|the first 1 week later; with only the walls changed they would be ready "
            "5 weeks later.",
        ),
        (0, 0, 0, "at the same time as|the first at the same time."),
        (2, -2, 0, "2 weeks sooner than|the first 2 weeks later; the walls alone change none of that."),
        (1, 1, 1, "1 week sooner than|the first 1 week sooner; 1 week of that is owed to the walls alone."),
    ],
)
def test_a_loss_is_said_in_the_words_of_a_gain(figures, last, first, walls, expected):
    told = copy.deepcopy(figures)
    told["difference"]["weeks_to_last_handover"] = last
    told["difference"]["weeks_to_first_handover"] = first
    told["difference"]["walls_only"]["weeks_to_last_handover"] = walls
    how, rest = expected.split("|")
    whole = f"With panels the last flats are ready {how} with the open frame, {rest}"
    assert plainly(answer.answer(told, NAMES)) == whole


def test_a_name_given_by_hand_is_said_as_it_was_given_and_escaped():
    named = Named("mine", "Mine <b>", "fourth", "panelised")
    assert "Mine &lt;b&gt;" in named.said


def test_headline_figures_take_the_colour_of_the_method_they_favour(figures):
    told = copy.deepcopy(figures)
    told["difference"] |= {"weeks_to_last_handover": 3.0, "hook_hours": 700.0, "trades": 0, "profit": -1e6}
    tones = [figure.tone for figure in answer.headline_figures(told, NAMES)]
    assert tones == ["panels", "", "open_frame", "", "open_frame"]


def test_each_line_of_gains_and_losses_names_the_better_method(figures):
    told = copy.deepcopy(figures)
    told["methods"]["open_frame"]["hook_hours"] = 1500.0
    told["methods"]["panelised"]["hook_hours"] = 2300.0
    rows = answer.contrast_table(told, NAMES, [answer.LIFTING[0], answer.SUMS[-1]])
    first, second = re.findall(r"<tr>(.*?)</tr>", rows.split("<tbody>")[1])
    assert "+800" in first
    assert first.endswith('sp-name">Open frame</span></td>')
    better = told["methods"]["panelised"]["profit"] > told["methods"]["open_frame"]["profit"]
    assert f">{'Panels' if better else 'Open frame'}</span></td>" in second


# --- what is shipped ----------------------------------------------------------------------------


def test_a_package_without_its_scenarios_opens_on_the_least_one(tmp_path):
    assert list(shipped(tmp_path)) == ["minimal.toml"]
    assert read_scenario(text_of("minimal.toml", tmp_path)).flats == 72


def test_the_shipped_scenarios_are_the_files_of_the_folder():
    folder = Path(answer.__file__).resolve().parents[2] / "scenarios"
    assert set(shipped()) == {path.name for path in folder.glob("*.toml")}
