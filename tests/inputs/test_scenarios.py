"""The scenarios that come with the tool, and what a scenario says about itself."""

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest

from model.core.errors import AssumptionError, ScenarioError
from model.inputs.assumption import Library, read_library
from model.inputs.reading import load_scenario, read_scenario
from model.inputs.scenario import Crane, Section, default_label, ready_method, ready_methods
from model.inputs.writing import write_scenario

FOLDER = Path(__file__).parents[2] / "scenarios"
SHIPPED = sorted(FOLDER.glob("*.toml"))
TODAY = dt.date(2026, 11, 25)
TEXT = """
[development]
name = "Sample Yard"
place = "london"
start = 2027-04-05
[[blocks]]
name = "East"
storeys = 8
flats_per_storey = 9
[[blocks.ranges]]
storeys = [1, 2]
flats_per_storey = 4
[[blocks]]
name = "West"
storeys = 20
flats_per_storey = 9
"""


APART = (Section(1, 4, True, True, True, True), Section(5, 8))


@pytest.fixture(scope="module")
def scenario():
    return read_scenario(TEXT, today=TODAY)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_scenario_reads_without_a_warning_and_says_why_it_exists(path):
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# Why this file exists: ")
    assert "invented" in text.split("\n\n")[0]
    read = load_scenario(path, today=TODAY)
    odd = [warning for warning in read.warnings if "the range known for it" not in warning]
    assert odd == []
    assert path.stem == "two_storey" or read.warnings == ()  # a hand sets its world outside the ranges
    assert read_scenario(write_scenario(read)) == read


def test_three_scenarios_are_shipped():
    assert {path.stem for path in SHIPPED} >= {"two_storey", "pitch", "large"}


def test_the_two_storeys_start_on_a_monday_with_no_holidays():
    two = load_scenario(FOLDER / "two_storey.toml").development
    assert (two.start.weekday(), two.christmas_closure, two.bank_holidays) == (0, False, False)


def test_the_pitch_has_blocks_of_8_14_and_22_storeys():
    blocks = load_scenario(FOLDER / "pitch.toml").blocks
    assert [(block.storeys, block.flats_per_storey) for block in blocks] == [(8, 9), (14, 9), (22, 9)]


def test_the_large_one_has_about_1100_flats_in_six_blocks_and_shares_cranes():
    large = load_scenario(FOLDER / "large.toml")
    assert 1050 <= large.flats <= 1150
    assert (
        len(large.blocks),
        min(b.storeys for b in large.blocks),
        max(b.storeys for b in large.blocks),
    ) == (
        6,
        7,
        29,
    )
    assert sorted(len(crane.blocks) for crane in large.served) == [1, 1, 2, 2]


# What a scenario says about itself


def test_flats_follow_the_ranges(scenario):
    assert scenario.block("East").flats == 2 * 4 + 6 * 9
    assert [scenario.block("East").flats_on(storey) for storey in (1, 2, 3, 8)] == [4, 4, 9, 9]
    assert scenario.flats == 62 + 180


def test_without_cranes_each_block_has_its_own(scenario):
    assert scenario.cranes == ()
    assert scenario.served == (Crane("East", ("East",)), Crane("West", ("West",)))


def test_defaults_are_counted_down_as_values_are_given(scenario):
    figures = scenario.with_block("East", zones=2, storey_height_m=3.0)
    assert scenario.defaults_used - figures.defaults_used == 2
    assert scenario.defaults_used - scenario.with_override("site.rework", 0.03).defaults_used == 1
    shares = [
        scenario.with_block("East", hoists=2.0),
        scenario.with_block("East", handover="each core"),
        scenario.with_changes(development=replace(scenario.development, late_adoption=True)),
        scenario.with_changes(cranes=(Crane("A", ("East",), 2), Crane("B", ("West",)))),
    ]
    assert [scenario.defaults_used - other.defaults_used for other in shares] == [1, 1, 1, 1]
    assert scenario.with_block("East", sections=APART).defaults_used == scenario.defaults_used
    closed = replace(scenario.development, christmas_closure=False, client="Someone")
    assert scenario.defaults_used - scenario.with_changes(development=closed).defaults_used == 1


def test_a_fingerprint_ignores_words_and_sees_every_figure(scenario):
    same = [
        scenario.with_changes(notes="Seen by the board."),
        scenario.with_override("site.rework", read_library()["site.rework"].value, "as the library"),
        read_scenario(TEXT.replace('name = "East"\nstoreys = 8\n', 'storeys = 8\nname = "East"\n# why\n')),
    ]
    assert {other.fingerprint() for other in same} == {scenario.fingerprint()}
    different = [
        scenario,
        scenario.with_block("East", storeys=9),
        scenario.with_block("East", plate_depth_m=16.2),
        scenario.with_block("West", flats_per_storey=10),
        scenario.with_block("West", name="North"),
        scenario.with_changes(blocks=scenario.blocks[::-1]),
        scenario.with_changes(cranes=(Crane("A", ("East", "West")),)),
        scenario.with_changes(development=replace(scenario.development, start=dt.date(2027, 4, 6))),
        scenario.with_changes(development=replace(scenario.development, bank_holidays=False)),
        scenario.with_changes(development=replace(scenario.development, late_adoption=True)),
        scenario.with_changes(cranes=(Crane("A", ("East", "West"), 2),)),
        scenario.with_block("East", hoists=1.0),
        scenario.with_block("East", handover="each core"),
        scenario.with_block("East", sections=APART),
        scenario.with_block("East", sections=(APART[0], replace(APART[1], own_lift=True))),
        scenario.with_override("site.rework", 0.031),
        scenario.with_option("panelised", "deck", "loose_props"),
        scenario.with_changes(methods=scenario.methods[::-1]),
    ]
    prints = {other.fingerprint() for other in different}
    assert len(prints) == len(different)
    assert all(len(mark) == 64 and int(mark, 16) for mark in prints)


def test_whole_and_decimal_spellings_of_a_measure_are_one_scenario():
    whole, decimal = (
        read_scenario(TEXT + f"storey_height_m = {height}\n[site]\nbays = {bays}\n")
        for height, bays in (("3", "3"), ("3.0", "3.0"))
    )
    assert whole == decimal
    assert whole.fingerprint() == decimal.fingerprint()


# Changes, as a page makes them


def test_sections_set_by_hand_are_checked_and_carry_their_caution(scenario):
    apart = scenario.with_block("East", sections=APART)
    assert apart.block("East").sections == APART
    (caution,) = set(apart.warnings) - set(scenario.warnings)
    assert caution.startswith("blocks[1] 'East'.sections: storeys 1 to 4 are lived in below live work.")
    assert apart.with_block("East", sections=()) == scenario
    with pytest.raises(ScenarioError, match=r"'East'\.sections\[1\]: own_riser is not set true\. People"):
        scenario.with_block("East", sections=(replace(APART[0], own_riser=False), APART[1]))
    with pytest.raises(ScenarioError, match=r"'East'\.sections: storey 9 is in no section\."):
        apart.with_block("East", storeys=9)
    with pytest.raises(ScenarioError, match=r"sections: they stand together with handover = \"each core\"\."):
        apart.with_block("East", handover="each core")


def test_hoists_are_a_whole_number(scenario):
    assert scenario.with_block("East", hoists=2).block("East").hoists == 2.0
    assert scenario.with_block("East", hoists=2) == scenario.with_block("East", hoists=2.0)
    with pytest.raises(ScenarioError, match=r"'East'\.hoists: 1\.5 is a decimal number\. It takes a whole"):
        scenario.with_block("East", hoists=1.5)


def test_several_cranes_stay_several_when_a_block_is_renamed(scenario):
    pair = scenario.with_changes(cranes=(Crane("A", ("East", "West"), 2),))
    assert pair.with_block("West", name="North").cranes == (Crane("A", ("East", "North"), 2),)


def test_a_change_is_checked_as_a_file_is(scenario):
    with pytest.raises(ScenarioError, match=r"blocks\[2\] 'West'\.storeys: 61 is outside 1 to 60 storeys"):
        scenario.with_block("West", storeys=61)
    with pytest.raises(ScenarioError, match=r"site\.rework: 2 is outside 0 to 1\."):
        scenario.with_override("site.rework", 2)
    with pytest.raises(ScenarioError, match="The nearest known one is 'rework'"):
        scenario.with_override("site.rewrok", 0.02)
    with pytest.raises(ScenarioError, match=r"options\.deck: 'tables' is not one of loose_props"):
        scenario.with_option("panelised", "deck", "tables")
    with pytest.raises(ScenarioError, match=r"storey_height_m: nan is not a finite number"):
        scenario.with_block("West", storey_height_m=float("nan"))


def test_a_change_of_something_that_is_not_there_names_what_is(scenario):
    with pytest.raises(ScenarioError, match=r"there is none called 'North'\. There are: East, West\."):
        scenario.with_block("North", storeys=5)
    with pytest.raises(ScenarioError, match=r"there is none called 'x'\. There are: open_frame, panelised\."):
        scenario.with_option("x", "deck", "table_forms")


def test_a_new_name_of_a_block_reaches_its_crane(scenario):
    shared = scenario.with_changes(cranes=(Crane("A", ("East", "West")),))
    assert shared.with_block("West", name="North").cranes == (Crane("A", ("East", "North")),)


def test_an_override_can_be_set_and_taken_back(scenario):
    there = scenario.with_override("site.rework", 0.05, "measured last year")
    assert there.overrides == (("site.rework", (0.05, "measured last year")),)
    assert there.values("open_frame")["site.rework"] == 0.05
    assert there.without_override("site.rework") == scenario


def test_a_changed_scenario_carries_its_own_warnings(scenario):
    assert len(scenario.with_override("site.rework", 0.2).warnings) == 1


def test_equal_scenarios_hash_alike_whatever_the_day(scenario):
    later = read_scenario(TEXT, today=dt.date(2040, 1, 1))
    assert later.warnings != scenario.warnings
    assert (later, hash(later)) == (scenario, hash(scenario))


# The library's methods


def test_ready_methods_have_an_option_for_every_element():
    library = read_library()
    assert set(ready_methods(library)) == {"open_frame", "open_frame_best", "panelised"}
    for name in ready_methods(library):
        method = ready_method(name, library)
        assert [element for element, _option in method.options] == list(library.data["element"])
        assert method.label == default_label(name, library)


def test_a_method_the_library_does_not_hold_is_named():
    with pytest.raises(AssumptionError, match=r"no method 'timber'; add \[method\.timber\] to it"):
        ready_method("timber", read_library())


def test_a_ready_method_without_an_option_for_an_element_is_named():
    data = {
        "element": {"deck": {}, "roof": {}},
        "method": {"half": {"label": "Half", "options": {"deck": "loose_props"}}},
    }
    with pytest.raises(AssumptionError, match=r"method half: no option is given for roof\."):
        ready_method("half", Library({}, data))
