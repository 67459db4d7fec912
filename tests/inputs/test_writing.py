"""What is written reads back as the same scenario, and an edited text keeps its comments."""

import datetime as dt
import itertools
import tomllib
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from model.core.errors import ScenarioError
from model.inputs.assumption import read_library
from model.inputs.climate import PLACES
from model.inputs.reading import read_scenario
from model.inputs.scenario import (
    HANDOVERS,
    PRIORITIES,
    TERRAINS,
    Block,
    Crane,
    Development,
    Method,
    Scenario,
    Section,
    Storeys,
    in_order,
    ready_method,
    ready_methods,
)
from model.inputs.writing import write_scenario

LIBRARY = read_library()
DRAWS = {"max_examples": 80, "deadline": None, "suppress_health_check": [HealthCheck.too_slow]}


def maybe(strategy):
    return st.none() | strategy


def between(low, high):
    return st.floats(low, high, allow_nan=False) | st.integers(int(low) + 1, int(high)).map(float)


WORDS = (
    st.text(st.characters(exclude_categories=["C", "Zl", "Zp"]), min_size=1, max_size=12)
    .map(str.strip)
    .filter(bool)
)
REASONS = st.text(st.sampled_from("ab \"\\\n\t'é#=]["), max_size=12).map(lambda text: text.strip())
DAYS = st.dates(dt.date(2015, 1, 1), dt.date(2045, 12, 31))


@st.composite
def storeys_of(draw, storeys):
    cuts = sorted(draw(st.sets(st.integers(1, storeys + 1), max_size=4)))
    return tuple(
        Storeys(
            first,
            after - 1,
            draw(maybe(st.integers(1, 40))),
            separating_length_m=draw(maybe(between(0, 5000))),
        )
        for first, after in zip(cuts[::2], cuts[1::2], strict=False)
    )


@st.composite
def sections_of(draw, storeys):
    starts = sorted(draw(st.sets(st.integers(2, storeys), max_size=3))) if storeys > 1 else []
    if not starts:
        return ()
    cuts = [1, *starts, storeys + 1]
    *below, top = [(first, after - 1) for first, after in itertools.pairwise(cuts)]
    own = draw(st.lists(st.booleans(), min_size=4, max_size=4))
    return (*(Section(*span, True, True, True, True) for span in below), Section(*top, *own))


@st.composite
def blocks(draw, name):
    storeys = draw(st.integers(1, 60))
    handover = draw(st.sampled_from(HANDOVERS))
    least = 1 if handover == "block" else 2
    cores = draw(maybe(st.integers(least, 10)))
    zones = draw(maybe(st.integers(1 if handover == "block" else cores or least, 20)))
    return Block(
        name=name,
        storeys=storeys,
        flats_per_storey=draw(st.integers(1, 40)),
        start_weeks=draw(maybe(between(0, 520))),
        storey_height_m=draw(maybe(between(2.4, 6))),
        flat_area_m2=draw(maybe(between(10, 1000))),
        plate_depth_m=draw(maybe(between(5, 60))),
        glazing_pct=draw(maybe(between(0, 100))),
        separating_length_m=draw(maybe(between(0, 5000))),
        zones=zones,
        cores=cores,
        hoists=draw(maybe(st.integers(0, 4).map(float))),
        substructure_weeks=draw(maybe(between(0, 260))),
        price_gbp_m2=draw(maybe(between(0, 100_000))),
        ranges=draw(storeys_of(storeys)),
        handover=handover,
        sections=draw(sections_of(storeys)) if handover == "block" else (),
    )


@st.composite
def overrides(draw):
    settings_by_key = {}
    for key in draw(st.sets(st.sampled_from(sorted(LIBRARY.records)), max_size=4)):
        least, most = LIBRARY[key].allowed()
        settings_by_key[key] = (draw(between(least, most)), draw(REASONS))
    return in_order(settings_by_key)


@st.composite
def methods(draw):
    like = ready_method(draw(st.sampled_from(ready_methods(LIBRARY))), LIBRARY)
    deck = draw(st.sampled_from(sorted(LIBRARY.data["option"]["deck"])))
    options = tuple((element, deck if element == "deck" else option) for element, option in like.options)
    return Method("", draw(WORDS), like.id, options, draw(overrides()))


@st.composite
def scenarios(draw):
    start = draw(DAYS)
    development = Development(
        name=draw(WORDS),
        place=draw(st.sampled_from(PLACES)),
        start=start,
        purchase=draw(maybe(st.dates(dt.date(2005, 1, 1), start))),
        client=draw(WORDS | st.just("")),
        terrain=draw(st.sampled_from(TERRAINS)),
        priority=draw(st.sampled_from(PRIORITIES)),
        christmas_closure=draw(st.booleans()),
        bank_holidays=draw(st.booleans()),
        extra_closed=tuple(sorted(draw(st.sets(DAYS, max_size=3)))),
        late_adoption=draw(st.booleans()),
    )
    names = draw(st.lists(WORDS, min_size=1, max_size=4, unique_by=str.casefold))
    cranes = ()
    if draw(st.booleans()):
        cut = draw(st.integers(0, len(names) - 1))
        groups = [group for group in (names[:cut], names[cut:]) if group]
        cranes = tuple(Crane(f"{i}", tuple(group), draw(st.integers(1, 4))) for i, group in enumerate(groups))
    ids = draw(st.sampled_from([("open_frame", "panelised"), ("a", "b"), ("x-1", "panelised", "open_frame")]))
    labels = draw(st.lists(WORDS, min_size=len(ids), max_size=len(ids), unique_by=str.casefold))
    compared = tuple(
        replace(draw(methods()), id=name, label=label) for name, label in zip(ids, labels, strict=True)
    )
    if draw(st.booleans()):
        compared = tuple(ready_method(name, LIBRARY) for name in ("open_frame", "panelised"))
    return Scenario(
        development,
        tuple(draw(blocks(name)) for name in names),
        compared,
        cranes,
        draw(overrides()),
        draw(REASONS),
    )


@given(scenarios())
@settings(**DRAWS)
def test_what_is_written_reads_back_the_same(scenario):
    text = write_scenario(scenario)
    again = read_scenario(text)
    assert again == scenario
    assert hash(again) == hash(scenario)
    assert again.fingerprint() == scenario.fingerprint()
    assert write_scenario(again) == text


@given(scenarios(), scenarios())
@settings(**DRAWS)
def test_any_text_can_be_edited_into_any_scenario(scenario, other):
    edited = write_scenario(scenario, write_scenario(other))
    assert read_scenario(edited) == scenario


TEXT = """\
# Heading, kept.
[development]
name = "Sample Yard"   # invented
place = "london"
start = "2027-04-05" # as text
terrain = "town"     # said though it is the default

# The low one.
[[blocks]]
name = "East"
storeys = 8          # above ground
flats_per_storey = 9

[[blocks.ranges]]    # podium
storeys = [1, 2]
flats_per_storey = 4

# The tall one.
[[blocks]]
name = "West"
storeys = 20
flats_per_storey = 9 # nine

[site]               # our rules
rework = 0.04        # measured
shift_hours = { value = 9, why = "planning condition" }

[overrides]
crane.utilisation = 0.85 # dotted

[[methods]]
id = "ours"          # as we build now
like = "open_frame"
options = { deck = "panel_decking" }

[[methods]]
id = "theirs"
like = "ours"        # with panels
[methods.options]
verticals = "precast" # bought in
"""


def differing_lines(before, after):
    old, new = before.splitlines(), after.splitlines()
    return [line for line in old if line not in new], [line for line in new if line not in old]


def test_an_unchanged_scenario_leaves_the_text_alone():
    assert write_scenario(read_scenario(TEXT), TEXT) == TEXT


@pytest.mark.parametrize(
    ("change", "lost", "gained"),
    [
        (
            lambda s: s.with_block("West", storeys=21),
            ["storeys = 20"],
            ["storeys = 21"],
        ),
        (
            lambda s: s.with_block("East", storeys=9),
            ["storeys = 8          # above ground"],
            ["storeys = 9          # above ground"],
        ),
        (
            lambda s: s.with_block("East", zones=3),
            [],
            ["zones = 3"],
        ),
        (
            lambda s: s.with_block("West", name="North"),
            ['name = "West"'],
            ['name = "North"'],
        ),
        (
            lambda s: s.with_changes(development=replace(s.development, start=dt.date(2027, 5, 3))),
            ['start = "2027-04-05" # as text'],
            ["start = 2027-05-03 # as text"],
        ),
        (
            lambda s: s.with_changes(development=replace(s.development, terrain="open")),
            ['terrain = "town"     # said though it is the default'],
            ['terrain = "open"     # said though it is the default'],
        ),
        (
            lambda s: s.with_override("site.rework", 0.05),
            ["rework = 0.04        # measured"],
            ["rework = 0.05        # measured"],
        ),
        (
            lambda s: s.with_override("site.shift_hours", 10, "new condition"),
            ['shift_hours = { value = 9, why = "planning condition" }'],
            ['shift_hours = {value = 10, why = "new condition"}'],
        ),
        (
            lambda s: s.with_override("crane.utilisation", 0.8),
            ["crane.utilisation = 0.85 # dotted"],
            ["crane.utilisation = 0.8 # dotted"],
        ),
        (
            lambda s: s.with_override("site.bays", 3),
            [],
            ["bays = 3"],
        ),
        (
            lambda s: s.without_override("site.rework"),
            ["rework = 0.04        # measured"],
            [],
        ),
        (
            lambda s: s.with_option("theirs", "verticals", "cast"),
            ['verticals = "precast" # bought in'],
            ['verticals = "cast" # bought in'],
        ),
        (
            lambda s: s.with_changes(notes="Seen by the board."),
            [],
            ['notes = "Seen by the board."'],
        ),
    ],
)
def test_an_edit_touches_only_its_own_line(change, lost, gained):
    scenario = change(read_scenario(TEXT))
    text = write_scenario(scenario, TEXT)
    assert read_scenario(text) == scenario
    assert differing_lines(TEXT, text) == (lost, gained)


SECTIONS = """
[[blocks.sections]]  # people move in here first
storeys = [1, 6]
own_stair = true     # in the north-east corner
own_lift = true
own_riser = true
own_access = true

[[blocks.sections]]
storeys = [7, 20]    # the rest

# Both on one.
[[cranes]]
name = "Both"
blocks = ["East", "West"]
number = 2           # two masts

[site]               # our rules
"""
WITH_SECTIONS = TEXT.replace("\n[site]               # our rules\n", SECTIONS)


def test_an_edit_beside_sections_leaves_them_and_their_comments_alone():
    scenario = read_scenario(WITH_SECTIONS)
    assert write_scenario(scenario, WITH_SECTIONS) == WITH_SECTIONS
    for changes, lost, gained in (
        ({"storey_height_m": 3.2, "hoists": 2}, [], ["storey_height_m = 3.2", "hoists = 2"]),
        ({"flats_per_storey": 8}, ["flats_per_storey = 9 # nine"], ["flats_per_storey = 8 # nine"]),
    ):
        changed = scenario.with_block("West", **changes)
        text = write_scenario(changed, WITH_SECTIONS)
        assert read_scenario(text) == changed
        old, new = differing_lines(WITH_SECTIONS, text)
        assert (old, sorted(new)) == (lost, sorted(gained))


@pytest.mark.parametrize("block", ["East", "West"])
@pytest.mark.parametrize("original", [TEXT, WITH_SECTIONS], ids=["plain", "with sections"])
@pytest.mark.parametrize("top", [None, 3, 5])
def test_sections_come_change_and_go_and_what_stands_around_them_stays(original, block, top):
    scenario = read_scenario(original)
    storeys = scenario.block(block).storeys
    sections = () if top is None else (Section(1, top, True, True, True, True), Section(top + 1, storeys))
    changed = scenario.with_block(block, sections=sections)
    text = write_scenario(changed, original)
    assert read_scenario(text) == changed
    around = ("# above ground", "# podium", "# nine", "# our rules", "# as we build now")
    for comment in around:
        assert comment in text
    assert '\n\n# The tall one.\n[[blocks]]\nname = "West"\n' in text
    assert ("\n\n# Both on one.\n[[cranes]]\n" in text) == (original == WITH_SECTIONS)
    again = write_scenario(scenario, text)
    assert read_scenario(again) == scenario
    assert all(comment in again for comment in around)


def test_a_section_is_changed_in_its_place_whatever_the_order_of_the_text():
    scenario = read_scenario(WITH_SECTIONS)
    first, rest = scenario.block("West").sections
    higher = scenario.with_block("West", sections=(replace(first, last=8), replace(rest, first=9)))
    cut = WITH_SECTIONS.index("[[blocks.sections]]"), WITH_SECTIONS.index("\n# Both")
    lower, upper = WITH_SECTIONS[slice(*cut)].split("\n\n")
    turned = f"{WITH_SECTIONS[: cut[0]]}{upper}\n{lower}\n{WITH_SECTIONS[cut[1] :]}"
    assert read_scenario(turned) == scenario
    for original in (WITH_SECTIONS, turned):
        text = write_scenario(higher, original)
        assert read_scenario(text) == higher
        assert differing_lines(original, text) == (
            sorted(("storeys = [1, 6]", "storeys = [7, 20]    # the rest"), key=original.index),
            sorted(("storeys = [1, 8]", "storeys = [9, 20]    # the rest"), key=text.index),
        )


def test_sections_may_be_more_or_fewer():
    scenario = read_scenario(WITH_SECTIONS)
    first, rest = scenario.block("West").sections
    middle = replace(first, first=7, last=9)
    three = scenario.with_block("West", sections=(first, middle, replace(rest, first=10)))
    text = write_scenario(three, WITH_SECTIONS)
    assert read_scenario(text) == three
    fewer = write_scenario(scenario, text)
    assert read_scenario(fewer) == scenario
    for kept in (
        "# people move in here first",
        "# in the north-east corner",
        "\n\n# Both on one.\n[[cranes]]\n",
    ):
        assert kept in text
        assert kept in fewer


def test_the_number_of_cranes_is_written_only_where_it_is_not_one():
    scenario = read_scenario(WITH_SECTIONS)
    (both,) = scenario.cranes
    three = scenario.with_changes(cranes=(replace(both, number=3),))
    text = write_scenario(three, WITH_SECTIONS)
    assert differing_lines(WITH_SECTIONS, text) == (
        ["number = 2           # two masts"],
        ["number = 3           # two masts"],
    )
    alone = scenario.with_changes(cranes=(replace(both, number=1),))
    assert differing_lines(WITH_SECTIONS, write_scenario(alone, WITH_SECTIONS)) == (
        ["number = 2           # two masts"],
        [],
    )
    assert tomllib.loads(write_scenario(alone))["cranes"] == [{"name": "Both", "blocks": ["East", "West"]}]


def test_sections_are_written_as_a_hand_would():
    text = write_scenario(read_scenario(WITH_SECTIONS))
    assert tomllib.loads(text)["blocks"][1]["sections"] == [
        {"storeys": [1, 6], "own_stair": True, "own_lift": True, "own_riser": True, "own_access": True},
        {"storeys": [7, 20]},
    ]
    assert text.count("[[blocks.sections]]") == 2


def test_blocks_may_come_and_go():
    scenario = read_scenario(TEXT)
    east, west = scenario.blocks
    fewer = scenario.with_changes(blocks=(west,))
    more = scenario.with_changes(blocks=(east, replace(east, name="Middle"), west))
    for changed in (fewer, more):
        text = write_scenario(changed, TEXT)
        assert read_scenario(text) == changed
        assert "# nine" in text
        assert "# as we build now" in text


def test_a_change_that_others_build_on_is_written_so_that_they_keep_theirs():
    scenario = read_scenario(TEXT).with_option("ours", "deck", "table_forms")
    assert scenario.method("theirs").option("deck") == "panel_decking"
    text = write_scenario(scenario, TEXT)
    assert read_scenario(text) == scenario
    assert "# Heading, kept." in text


def test_a_new_text_says_nothing_that_is_default():
    scenario = read_scenario(TEXT)
    plain = scenario.with_changes(
        methods=tuple(ready_method(name, LIBRARY) for name in ("open_frame", "panelised")), overrides={}
    )
    tables = tomllib.loads(write_scenario(plain))
    assert sorted(tables) == ["blocks", "development"]
    assert sorted(tables["development"]) == ["name", "place", "start"]


def test_line_ends_and_byte_order_mark_of_an_edited_text_do_not_matter():
    scenario = read_scenario(TEXT).with_block("West", storeys=21)
    text = write_scenario(scenario, "\ufeff" + TEXT.replace("\n", "\r\n"))
    assert read_scenario(text) == scenario
    assert "# Heading, kept." in text


def test_an_original_that_is_no_scenario_is_refused():
    with pytest.raises(ScenarioError, match="the original text: the file is empty"):
        write_scenario(read_scenario(TEXT), "")


def test_a_scenario_that_no_file_could_hold_is_refused():
    scenario = read_scenario(TEXT)
    tall = replace(scenario, blocks=(replace(scenario.blocks[0], storeys=99),))
    with pytest.raises(ScenarioError, match="99 is outside 1 to 60 storeys"):
        write_scenario(tall)
