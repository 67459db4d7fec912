"""What a scenario file says, and how what is wrong with it is said.

The rules of the format are those of TOML 1.0.0 (toml.io, 2021) and of the scenario file itself;
expected sentences are written out in full, so that a message cannot rot unseen.
"""

import contextlib
import datetime as dt
import io
import os
import re
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from model.core.errors import ScenarioError
from model.inputs.reading import load_scenario, read_scenario, read_tables
from model.inputs.scenario import Section
from model.inputs.syntax import LARGEST_BYTES
from model.inputs.wording import nearest

TODAY = dt.date(2026, 11, 25)
SITE = '[development]\nname = "Sample Yard"\nplace = "london"\nstart = 2027-04-05\n'
EAST = '[[blocks]]\nname = "East"\nstoreys = 8\nflats_per_storey = 9\n'
WEST = EAST.replace("East", "West")
LEAST = SITE + EAST
MINIMUM = (
    "The least a scenario needs is [development] with name, place and start, "
    "and one [[blocks]] with storeys and flats_per_storey."
)


def read(text):
    return read_scenario(text, "it.toml", today=TODAY)


def problems(text):
    with pytest.raises(ScenarioError, match=r"^The scenario has \d+ problems?:\n") as caught:
        read(text)
    return [str(problem) for problem in caught.value.problems]


def test_the_minimum_is_enough_and_compares_the_two_ready_methods():
    scenario = read(LEAST)
    assert scenario.development.start == dt.date(2027, 4, 5)
    assert [method.id for method in scenario.methods] == ["open_frame", "panelised"]
    assert (scenario.flats, scenario.warnings, scenario.served[0].blocks) == (72, (), ("East",))


def test_a_block_without_a_name_is_called_by_its_number():
    assert read(LEAST.replace('name = "East"\n', "")).blocks[0].name == "Block 1"


def test_dates_may_be_written_as_text():
    assert read(LEAST.replace("2027-04-05", '"2027-04-05"')) == read(LEAST)


@pytest.mark.parametrize(
    "same",
    [
        b"\xef\xbb\xbf" + LEAST.encode(),
        LEAST.replace("\n", "\r\n"),
        LEAST.replace("\n", "\r\n").encode(),
        "# first\n" + LEAST + "# last",
        "notes = '''\n'''\n" + LEAST,
    ],
    ids=["byte order mark", "CRLF", "CRLF bytes", "comments", "empty notes"],
)
def test_what_carries_no_meaning_changes_nothing(same):
    assert read(same) == read(LEAST)
    assert read(same).fingerprint() == read(LEAST).fingerprint()


# Each case: what the file holds, and every problem in the words the user sees.
FILES = {
    "empty": ("", f"it.toml: the file is empty. {MINIMUM}"),
    "only comments": ("# one\n\n  # two\n", f"it.toml: the file is empty. {MINIMUM}"),
    "UTF-16": (
        LEAST.encode("utf-16"),
        "it.toml: the text is in UTF-16. A scenario file is in UTF-8. Save it as UTF-8.",
    ),
    "binary": (
        b"\x89PNG\x00\x01",
        "it.toml: this is a binary file, not text. A scenario is a text file in TOML. "
        "Check that this is the file you meant.",
    ),
    "Latin-1": (
        b"name = 'caf\xe9'",
        "it.toml: byte 12 is not UTF-8. A scenario file is text in UTF-8. "
        "Save it as UTF-8; letters with accents and the pound sign are the usual cause.",
    ),
    "half a surrogate pair": (
        "name = '\ud800'",
        "it.toml: character 9 is half of a pair and stands for nothing. A scenario file is text in UTF-8. "
        "Copy the text again from its source.",
    ),
    "too large": (
        "#" * (LARGEST_BYTES + 1),
        "it.toml: the file is too large. A scenario file has at most 1,000,000 bytes; "
        "a real one has a few thousand. Check that this is the file you meant.",
    ),
    "nested lists": (
        "a = " + "[" * 5000 + "]" * 5000,
        f"it.toml: tables or lists lie more than 12 deep. A scenario needs four levels at most. {MINIMUM} "
        "Check that this is the file you meant.",
    ),
    "digits": (
        f"a = {'9' * 5000}",
        "it.toml: a number has thousands of digits. No figure of a scenario needs more than fifteen digits. "
        "Shorten it.",
    ),
    "no equals sign": (
        "a = 1\nstoreys 8",
        "it.toml, line 2, column 9: a key without an equals sign, in 'storeys 8'. "
        "A scenario file is written in TOML. Write key = value.",
    ),
    "table not closed": (
        "[development\nname = 1",
        "it.toml, line 1, column 13: a table name that is not closed, in '[development'. "
        "A scenario file is written in TOML. Write [name].",
    ),
    "key twice": (
        LEAST + "storeys = 9\n",
        "it.toml, line 9, column 12: a key stands twice, in 'storeys = 9'. "
        "A scenario file is written in TOML. Keep one of the two lines.",
    ),
    "table twice": (
        SITE + SITE,
        "it.toml, line 5, column 13: a table stands twice, in '[development]'. A scenario file is written in "
        "TOML. Join the two tables, or use [[ ]] for a list of tables.",
    ),
    "quotes": (
        'name = "East',
        "it.toml, line 1, column 13: a text whose quotes are not closed, in 'name = \"East'. "
        "A scenario file is written in TOML. Close the quotes on the same line.",
    ),
    "bare word": (
        "name = East",
        "it.toml, line 1, column 8: no value that can be read, in 'name = East'. A scenario file is "
        "written in TOML. Put text in quotes; write true, false or a number plain.",
    ),
    "unit after a figure": (
        "height = 3 m",
        "it.toml, line 1, column 12: something after the end of the value, in 'height = 3 m'. "
        "A scenario file is written in TOML. Put text in quotes, and one key on a line.",
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_no_scenario_says_what_it_is(name):
    text, expected = FILES[name]
    assert problems(text) == [expected]


KNOWN_TO_A_RANGE = "storeys, flats_per_storey, plate_area_m2, facade_length_m, separating_length_m"
TOP = "A scenario knows development, blocks, cranes, methods, money, site, overrides, notes."
WHOLE = "It takes a whole number from 1 to 60 storeys."
YEARS = "Prices, outputs and climate are known for these years."
STOREYS = "They are counted from the ground; the outputs in the library end at 60."
ELEMENTS = (
    "substructure, core, verticals, deck, outer_wall, separating_wall, finish, bathrooms, balconies, roof, "
    "fit_out, completion"
)


def block(line="", **changed):
    text = EAST
    for key, value in changed.items():
        text = re.sub(rf"(?m)^{key} = .*\n", f"{key} = {value}\n" if value else "", text)
    return SITE + text + line


APART = "own_stair = true\nown_lift = true\nown_riser = true\nown_access = true\n"
LIVED_IN = (
    "People would live there below a building site: they need their own stair, lift, riser and way in, kept "
    "apart from the work; the fire and building-control authorities and licensed designers decide."
)


def section(first, last, own=APART):
    return f"[[blocks.sections]]\nstoreys = [{first}, {last}]\n{own}"


def crane(line):
    return LEAST + f'[[cranes]]\nname = "North"\nblocks = ["East"]\n{line}\n'


def start(value):
    return LEAST.replace("2027-04-05", value)


CONTENTS = {
    # the development
    "no development": (EAST, f"development: this table is missing. {MINIMUM} Add [development] to the file."),
    "no block": (SITE, f"blocks: there is no block. {MINIMUM} Add [[blocks]] to the file."),
    "30 February": (
        start("2027-02-30"),
        "development.start: 2027-02-30 is not a date. Write dates as YYYY-MM-DD.",
    ),
    "short date": (
        start("2027-4-5"),
        "development.start: 2027-4-5 is not a date. Write dates as YYYY-MM-DD.",
    ),
    "day first": (
        start("05/04/2027"),
        "development.start: 05/04/2027 is not a date. Write dates as YYYY-MM-DD.",
    ),
    "month in words": (
        start("5 April 2027"),
        "development.start: 5 April 2027 is not a date. Write dates as YYYY-MM-DD.",
    ),
    "date with a time": (
        start("2027-04-05T08:00:00"),
        "development.start: 2027-04-05 08:00:00 (a date with a time) is not a date. "
        "Write dates as YYYY-MM-DD.",
    ),
    "year alone": (
        start("2027"),
        "development.start: 2027 (a whole number) is not a date. Write dates as YYYY-MM-DD.",
    ),
    "start too early": (
        start("2014-12-31"),
        f"development.start: 2014-12-31 is outside 2015-01-01 to 2045-12-31. {YEARS} "
        "Set 2015-01-01 or later.",
    ),
    "start too late": (
        start("2046-01-01"),
        f"development.start: 2046-01-01 is outside 2015-01-01 to 2045-12-31. {YEARS} "
        "Set 2045-12-31 or earlier.",
    ),
    "bought after the start": (
        SITE + "purchase = 2027-04-06\n" + EAST,
        "development.purchase: 2027-04-06 is after the start on site, 2027-04-05. "
        "Land is bought before work starts on it. Set an earlier purchase, or leave it out.",
    ),
    "unknown place": (
        LEAST.replace("london", "Manchster"),
        "development.place: 'Manchster' is not one of london, manchester, glasgow, cardiff, east_midlands. "
        "Climate and bank holidays are known for these places only. The nearest known one is 'manchester'.",
    ),
    "unknown terrain": (
        SITE + 'terrain = "suburbs"\n' + EAST,
        "development.terrain: 'suburbs' is not one of town, suburb, open. It sets the wind at the hook. "
        "The nearest known one is 'suburb'.",
    ),
    "yes in words": (
        SITE + 'bank_holidays = "yes"\n' + EAST,
        "development.bank_holidays: 'yes' is text. It takes true or false. "
        "Write true or false without quotes.",
    ),
    "empty terrain": (
        SITE + 'terrain = " "\n' + EAST,
        "development.terrain: the text is empty. It sets the wind at the hook. "
        "It takes text from 1 to 20 characters.",
    ),
    "late in words": (
        SITE + 'late_adoption = "yes"\n' + EAST,
        "development.late_adoption: 'yes' is text. It takes true or false. "
        "Write true or false without quotes.",
    ),
    "closed on no date": (
        SITE + "extra_closed = [2027-12-24, 2027-02-30]\n" + EAST,
        "development.extra_closed[2]: 2027-02-30 is not a date. Write dates as YYYY-MM-DD.",
    ),
    # a block
    "400 storeys": (
        block(storeys="400"),
        f"blocks[1] 'East'.storeys: 400 is outside 1 to 60 storeys. {STOREYS} Set 60 or less.",
    ),
    "negative storeys": (
        block(storeys="-3"),
        f"blocks[1] 'East'.storeys: -3 is outside 1 to 60 storeys. {STOREYS} Set 1 or more.",
    ),
    "true storeys": (
        block(storeys="true"),
        f"blocks[1] 'East'.storeys: true is a true-or-false value. {WHOLE} For example storeys = 8.",
    ),
    "storeys in quotes": (
        block(storeys='"8"'),
        f"blocks[1] 'East'.storeys: '8' is text. {WHOLE} Write 8 without quotes.",
    ),
    "half a storey": (
        block(storeys="8.5"),
        f"blocks[1] 'East'.storeys: 8.5 is a decimal number. {WHOLE} For example storeys = 8.",
    ),
    "storeys 8.0": (
        block(storeys="8.0"),
        f"blocks[1] 'East'.storeys: 8.0 is a decimal number. {WHOLE} Write 8.",
    ),
    "nan storeys": (
        block(storeys="nan"),
        f"blocks[1] 'East'.storeys: nan is not a finite number. {WHOLE} {STOREYS}",
    ),
    "no storeys": (
        block(storeys=""),
        f"blocks[1] 'East'.storeys: this key is missing. {WHOLE} {STOREYS} Add storeys = 8.",
    ),
    "infinite height": (
        block("storey_height_m = inf\n"),
        "blocks[1] 'East'.storey_height_m: inf is not a finite number. It takes a number from 2.4 to 6 m. "
        "It is measured floor to floor.",
    ),
    "height with its unit": (
        block('storey_height_m = "3 m"\n'),
        "blocks[1] 'East'.storey_height_m: '3 m' is text. It takes a number from 2.4 to 6 m. "
        "Write the figure alone, without words or unit.",
    ),
    "true height": (
        block("storey_height_m = true\n"),
        "blocks[1] 'East'.storey_height_m: true is a true-or-false value. It takes a number from 2.4 to 6 m.",
    ),
    "height": (
        block("storey_height_m = 6.01\n"),
        "blocks[1] 'East'.storey_height_m: 6.01 is outside 2.4 to 6 m. It is measured floor to floor. "
        "Set 6 or less.",
    ),
    "date for a figure": (
        block("flat_area_m2 = 2027-02-30\n"),
        "blocks[1] 'East'.flat_area_m2: '2027-02-30' is text. It takes a number from 10 to 1000 m2. "
        "Write the figure alone, without words or unit.",
    ),
    "empty name": (
        block(name='" "'),
        "blocks[1].name: the text is empty. It tells the block from the others. "
        "It takes text from 1 to 60 characters.",
    ),
    "long name": (
        block(name=f'"{"a" * 61}"'),
        f"blocks[1] '{'a' * 27}...'.name: the text has 61 characters. "
        "It takes text from 1 to 60 characters. Shorten it.",
    ),
    "name on two lines": (
        block(name='"Ea\\\\nst"'),
        "blocks[1] 'Ea\\nst'.name: 'Ea\\nst' holds a line break or control character. "
        "It is one line of plain text.",
    ),
    "one bracket": (
        SITE + EAST.replace("[[blocks]]", "[blocks]"),
        "blocks: a table with name, storeys, flats_per_storey is a table, not a list of tables. "
        "Each one has a table of its own. Write [[blocks]] with two brackets.",
    ),
    "two of a name": (
        LEAST + EAST.replace("East", "EAST"),
        "blocks[2].name: 'EAST' is taken by blocks[1]. Results are listed under it, capitals apart. "
        "Give each its own.",
    ),
    "41 blocks": (
        SITE + "".join(EAST.replace("East", f"E{i}") for i in range(41)),
        "blocks: there are 41. At most 40 are read. Split the scenario.",
    ),
    "plate too small": (
        block("flat_area_m2 = 80\nplate_area_m2 = 719\n"),
        "blocks[1] 'East'.plate_area_m2: 719 m2 is less than 9 flats of 80 m2. "
        "Flats, walls, corridor and core all lie on the plate. "
        "Set a larger plate, fewer flats_per_storey or a smaller flat_area_m2.",
    ),
    "facade too short": (
        block("plate_area_m2 = 900\nfacade_length_m = 106.3\n"),  # circle: 2 sqrt(pi 900) = 106.35
        "blocks[1] 'East'.facade_length_m: 106.3 m cannot go round a plate of 900 m2. "
        "Even a circle of that area needs 106.3 m. Set a longer facade or a smaller plate.",
    ),
    # ranges of storeys
    "range above the roof": (
        LEAST + "[[blocks.ranges]]\nstoreys = [8, 9]\n",
        "blocks[1] 'East'.ranges[1].storeys: 8 to 9 is not a range of the storeys 1 to 8. "
        "A range is written lowest storey first and lies inside the block. For example storeys = [1, 2].",
    ),
    "range of one": (
        LEAST + "[[blocks.ranges]]\nstoreys = [1]\n",
        "blocks[1] 'East'.ranges[1].storeys: the list has 1 entry. It takes two whole numbers, first and "
        "last storey. Both storeys are included; the ground is 1.",
    ),
    "range in words": (
        LEAST + '[[blocks.ranges]]\nstoreys = [1, "top"]\n',
        "blocks[1] 'East'.ranges[1].storeys[2]: 'top' is text. It takes a whole number. "
        "Write the figure alone, without words or unit.",
    ),
    "ranges overlap": (
        LEAST + "[[blocks.ranges]]\nstoreys = [3, 4]\n[[blocks.ranges]]\nstoreys = [1, 3]\n",
        "blocks[1] 'East'.ranges: storeys 1 to 3 and 3 to 4 overlap. A storey has one plan. "
        "Start the upper range at 4, or end the lower one at 2.",
    ),
    # hoists and what is handed over at once
    "half a hoist": (
        block("hoists = 1.5\n"),
        "blocks[1] 'East'.hoists: 1.5 is a decimal number. It takes a whole number from 0 to 4 hoists.",
    ),
    "five hoists": (
        block("hoists = 5\n"),
        "blocks[1] 'East'.hoists: 5 is outside 0 to 4 hoists. They stand against the facade of one block. "
        "Set 4 or less.",
    ),
    "handover in other words": (
        block('handover = "cores"\n'),
        "blocks[1] 'East'.handover: 'cores' is not one of block, each core. "
        "It sets what is handed over at once. The nearest known one is 'each core'.",
    ),
    "empty handover": (
        block('handover = ""\n'),
        "blocks[1] 'East'.handover: the text is empty. It sets what is handed over at once. "
        "It takes text from 1 to 20 characters.",
    ),
    "one core apart": (
        block('handover = "each core"\ncores = 1\n'),
        "blocks[1] 'East'.cores: there is 1, with handover = \"each core\". "
        'Cores handed over each by itself are two or more. Set 2 or more, or handover = "block".',
    ),
    "fewer pours than cores": (
        block('handover = "each core"\ncores = 3\nzones = 2\n'),
        "blocks[1] 'East'.zones: 2 for 3 cores, with handover = \"each core\". "
        "A core handed over by itself needs "
        'a pour of its own on every storey. Set 3 or more, or handover = "block".',
    ),
    "one pour, cores left to the library": (
        block('handover = "each core"\nzones = 1\n'),
        "blocks[1] 'East'.zones: 1 for 2 cores or more, with handover = \"each core\". A core handed over by "
        'itself needs a pour of its own on every storey. Set 2 or more, or handover = "block".',
    ),
    "sections core by core": (
        block('handover = "each core"\n') + section(1, 4) + section(5, 8, ""),
        "blocks[1] 'East'.sections: they stand together with handover = \"each core\". "
        "A block is handed over core by core or section by section, not both. Leave out one of the two.",
    ),
    # sections
    "one section": (
        LEAST + section(1, 4),
        "blocks[1] 'East'.sections: there is only one. Sections part a block into two or more, handed over "
        "one after the other. Add another [[blocks.sections]], or leave it out to hand over the block whole.",
    ),
    "section above the roof": (
        LEAST + section(1, 4) + section(5, 9),
        "blocks[1] 'East'.sections[2].storeys: 5 to 9 is not a range of the storeys 1 to 8. "
        "A section is written lowest storey first and lies inside the block. For example storeys = [1, 2].",
    ),
    "section upside down": (
        LEAST + section(4, 1) + section(5, 8),
        "blocks[1] 'East'.sections[1].storeys: 4 to 1 is not a range of the storeys 1 to 8. "
        "A section is written lowest storey first and lies inside the block. For example storeys = [1, 2].",
    ),
    "sections not from the ground": (
        LEAST + section(2, 4) + section(5, 8),
        "blocks[1] 'East'.sections: storey 1 is in no section. Each storey from 1 to 8 lies in exactly one "
        "section. Widen a section beside it, or add another [[blocks.sections]].",
    ),
    "sections with a gap": (
        LEAST + section(1, 3) + section(6, 8),
        "blocks[1] 'East'.sections: storeys 4 to 5 are in no section. Each storey from 1 to 8 lies in "
        "exactly one section. Widen a section beside it, or add another [[blocks.sections]].",
    ),
    "sections short of the top": (
        LEAST + section(1, 3) + section(4, 7),
        "blocks[1] 'East'.sections: storey 8 is in no section. Each storey from 1 to 8 lies in exactly one "
        "section. Widen a section beside it, or add another [[blocks.sections]].",
    ),
    "sections overlap": (
        LEAST + section(1, 5) + section(4, 8),
        "blocks[1] 'East'.sections: storeys 1 to 5 and 4 to 8 overlap. Each storey from 1 to 8 lies in "
        "exactly one section. Start the upper one at 6.",
    ),
    "section in another": (
        LEAST + section(1, 8) + section(3, 4),
        "blocks[1] 'East'.sections: storeys 1 to 8 and 3 to 4 overlap. Each storey from 1 to 8 lies in "
        "exactly one section. Take one of the two out.",
    ),
    "section without a stair": (
        LEAST + section(1, 4, APART.replace("own_stair = true\n", "")) + section(5, 8),
        f"blocks[1] 'East'.sections[1]: own_stair is not set true. {LIVED_IN} Set it true if the design has "
        "it, or leave out all [[blocks.sections]] to hand over the block whole.",
    ),
    "section with a way in alone": (
        # written from the top down: the topmost is told by its storeys, not its place
        LEAST + section(5, 8, "") + section(1, 4, "own_lift = false\nown_access = true\n"),
        f"blocks[1] 'East'.sections[2]: own_stair, own_lift and own_riser are not set true. {LIVED_IN} Set "
        "each true if the design has it, or leave out all [[blocks.sections]] to hand over the block whole.",
    ),
    "stair in words": (
        LEAST + section(1, 4) + section(5, 8, 'own_stair = "yes"\n'),
        "blocks[1] 'East'.sections[2].own_stair: 'yes' is text. It takes true or false. "
        "Write true or false without quotes.",
    ),
    "section of no storeys": (
        LEAST + section(1, 4) + "[[blocks.sections]]\n",
        "blocks[1] 'East'.sections[2].storeys: this key is missing. It takes two whole numbers, first and "
        "last storey. Both storeys are included; the ground is 1. Add storeys = [1, 6].",
    ),
    "misspelt in a section": (
        LEAST + section(1, 4) + section(5, 8, "own_stairs = true\n"),
        "blocks[1] 'East'.sections[2].own_stairs: this key is not known. [[blocks.sections]] knows storeys, "
        "own_stair, own_lift, own_riser, own_access. The nearest known one is 'own_stair'.",
    ),
    "sections of no block": (
        LEAST + "[[sections]]\nstoreys = [1, 4]\n",
        f"sections: this key is not known. {TOP} It is a table of its own: write [[blocks.sections]] on a "
        "line by itself.",
    ),
    # unknown keys
    "misspelt in a range": (
        LEAST + "[[blocks.ranges]]\nstoreys = [1, 2]\nflats_per_story = 3\n",
        "blocks[1] 'East'.ranges[1].flats_per_story: this key is not known. "
        f"[[blocks.ranges]] knows {KNOWN_TO_A_RANGE}. The nearest known one is 'flats_per_storey'.",
    ),
    "misspelt table": (
        LEAST + "[[crane]]\nname = 'A'\n",
        f"crane: this key is not known. {TOP} The nearest known one is 'cranes'.",
    ),
    "key above its table": (
        "client = 'x'\n" + LEAST,
        f"client: this key is not known. {TOP} It belongs under [development].",
    ),
    # cranes
    "crane of no block": (
        LEAST + '[[cranes]]\nname = "North"\nblocks = ["Est"]\n',
        "cranes[1] 'North'.blocks: there is no block 'Est'. The blocks are East. "
        "The nearest known one is 'East'.",
    ),
    "no crane": (
        LEAST + WEST + '[[cranes]]\nname = "North"\nblocks = ["East"]\n',
        "cranes: block 'West' is served by no crane. A block is served by exactly one crane. Add its name to "
        "the blocks of one, or leave out all [[cranes]] for one crane a block.",
    ),
    "two cranes": (
        LEAST + '[[cranes]]\nname = "A"\nblocks = ["East"]\n[[cranes]]\nname = "B"\nblocks = ["East"]\n',
        "cranes[2] 'B'.blocks: block 'East' is already served by crane 'A'. "
        "A block is served by exactly one crane. Take it out of one of the two.",
    ),
    "cranes of one name": (
        LEAST + WEST + '[[cranes]]\nname="A"\nblocks=["East"]\n[[cranes]]\nname="a"\nblocks=["West"]\n',
        "cranes[2].name: 'a' is taken by cranes[1]. Results are listed under it, capitals apart. "
        "Give each its own.",
    ),
    "crane of nothing": (
        LEAST + '[[cranes]]\nname = "North"\nblocks = []\n',
        "cranes[1] 'North'.blocks: the list has 0 entries. It takes a list of block names. "
        "A crane serves at least one block.",
    ),
    "no cranes of a name": (
        crane("number = 0"),
        "cranes[1] 'North'.number: 0 is outside 1 to 4 cranes. "
        "It is the tower cranes working together on these blocks. Set 1 or more.",
    ),
    "cranes in words": (
        crane('number = "two"'),
        "cranes[1] 'North'.number: 'two' is text. It takes a whole number from 1 to 4 cranes. "
        "Write the figure alone, without words or unit.",
    ),
    "crane of text": (
        LEAST + '[[cranes]]\nname = "North"\nblocks = "East"\n',
        "cranes[1] 'North'.blocks: 'East' is text. It takes a list of block names. "
        'For example blocks = ["East"].',
    ),
    # overrides
    "unknown record of the site": (
        LEAST + "[site]\nshift_hour = 9\n",
        "site.shift_hour: the library has no such key. Only what the library holds can be set. "
        "The nearest known one is 'shift_hours'.",
    ),
    "unknown record": (
        LEAST + '[overrides]\n"crane.utilisaton" = 0.8\n',
        "overrides 'crane.utilisaton': the library has no such key. Only what the library holds can be set. "
        "The nearest known one is 'crane.utilisation'.",
    ),
    "share above one": (
        LEAST + "[site]\nrework = 1.5\n",
        "site.rework: 1.5 is outside 0 to 1. Beyond that it has no meaning (Share of work done again). "
        "Set 1 or less.",
    ),
    "order too long before the start": (
        LEAST + "[overrides]\nfactory.order = -105\n",
        "overrides 'factory.order': -105 is outside -104 to 520 weeks from start. Beyond that it has no "
        "meaning (Panel order after start on site). Set -104 or more.",
    ),
    "record in words": (
        LEAST + '[site]\nrework = "low"\n',
        "site.rework: 'low' is text. It takes a number from 0 to 1 (Share of work done again), "
        'alone or as { value = ..., why = "..." }. Write the figure alone, without words or unit.',
    ),
    "nan record": (
        LEAST + "[site]\nrework = nan\n",
        "site.rework: nan is not a finite number. It takes a number from 0 to 1 (Share of work done again), "
        'alone or as { value = ..., why = "..." }.',
    ),
    "reason without a value": (
        LEAST + '[site]\nrework = { why = "seen" }\n',
        "site.rework: no value is given. It takes a number from 0 to 1 (Share of work done again), "
        'alone or as { value = ..., why = "..." }.',
    ),
    "because": (
        LEAST + '[site]\nrework = { value = 0.03, because = "seen" }\n',
        "site.rework.because: this key is not known. A setting knows value and why.",
    ),
    "set twice": (
        LEAST + "[site]\nrework = 0.03\n[overrides]\nsite.rework = 0.03\n",
        "overrides 'site.rework': this key is set twice. A figure has one value. Keep one of the two.",
    ),
    "money is no table": (
        "money = 3\n" + LEAST,
        "money: 3 is a whole number. It takes a table. Write [money] on a line of its own, "
        "and its keys below.",
    ),
    # methods
    "one method": (
        LEAST + '[[methods]]\nid = "open_frame"\n',
        "methods: there is only one. A comparison needs two methods or more. Add another [[methods]], "
        "or leave out all of them to compare open_frame with panelised.",
    ),
    "like nothing": (
        LEAST + '[[methods]]\nid = "open_frame"\n[[methods]]\nid = "b"\n',
        "methods[2] 'b'.like: this key is missing. It names the method this one is made from: open_frame, "
        'open_frame_best, panelised. Add like = "open_frame".',
    ),
    "like a misspelt one": (
        LEAST + '[[methods]]\nid = "a"\nlike = "open_frame"\n[[methods]]\nid = "b"\nlike = "panelized"\n',
        "methods[2] 'b'.like: 'panelized' is not one of open_frame, open_frame_best, panelised, a. "
        "A method is like a ready or an earlier one. The nearest known one is 'panelised'.",
    ),
    "id of two words": (
        LEAST + '[[methods]]\nid="my own"\nlike="open_frame"\n[[methods]]\nid="b"\nlike="panelised"\n',
        "methods[1] 'my own'.id: 'my own' is not an id. An id is a letter, then letters, figures, _ or -. "
        "Put the words to be shown in label.",
    ),
    "two of an id": (
        LEAST + '[[methods]]\nid="b"\nlike="open_frame"\n[[methods]]\nid="b"\nlike="panelised"\n',
        "methods[2].id: 'b' is taken by methods[1]. Results are listed under it, capitals apart. "
        "Give each its own.",
    ),
    "unknown element": (
        LEAST + '[[methods]]\nid="open_frame"\noptions={dek="loose_props"}\n[[methods]]\nid="panelised"\n',
        f"methods[1] 'open_frame'.options: 'dek' is not an element: {ELEMENTS}. "
        "Options are chosen by element. The nearest known one is 'deck'.",
    ),
    "unknown option": (
        LEAST + '[[methods]]\nid="open_frame"\noptions={deck="loose_prop"}\n[[methods]]\nid="panelised"\n',
        "methods[1] 'open_frame'.options.deck: 'loose_prop' is not one of loose_props, panel_decking, "
        "table_forms, traditional_timber. The library knows these options of the element. "
        "The nearest known one is 'loose_props'.",
    ),
    "option of a number": (
        LEAST + '[[methods]]\nid="open_frame"\noptions={deck=1}\n[[methods]]\nid="panelised"\n',
        "methods[1] 'open_frame'.options.deck: 1 is a whole number. It takes text. Put it in quotes.",
    ),
    "options that do not go together": (
        LEAST
        + '[[methods]]\nid="open_frame"\n[[methods]]\nid="panelised"\noptions={finish="slips_on_wall"}\n',
        "methods[2] 'panelised'.options.finish: 'slips_on_wall' does not go with outer_wall = "
        "'panel_before_deck'. It goes with outer_wall = 'framed'. Change one of the two.",
    ),
    "override of a method": (
        LEAST
        + '[[methods]]\nid="open_frame"\n[methods.overrides]\nsite.rework=2\n[[methods]]\nid="panelised"\n',
        "methods[1] 'open_frame'.overrides 'site.rework': 2 is outside 0 to 1. "
        "Beyond that it has no meaning (Share of work done again). Set 1 or less.",
    ),
    "notes": ("notes = 3\n" + LEAST, "notes: 3 is a whole number. It takes text. Put it in quotes."),
}


@pytest.mark.parametrize("name", CONTENTS)
def test_a_wrong_value_says_where_what_why_and_how_to_put_right(name):
    text, expected = CONTENTS[name]
    assert problems(text) == [expected]


def test_a_misspelt_essential_is_reported_once_with_the_nearest_key():
    (only,) = problems(LEAST.replace("storeys = 8", "storys = 8"))
    assert only.startswith("blocks[1] 'East'.storys: this key is not known. [[blocks]] knows name, storeys, ")
    assert only.endswith(" The nearest known one is 'storeys'.")


def test_a_block_inside_the_development_is_sent_to_a_table_of_its_own():
    found = problems(SITE + "blocks = 3\n" + EAST)
    assert len(found) == 1
    assert found[0].endswith("It is a table of its own: write [[blocks]] on a line by itself.")


def test_five_mistakes_of_five_kinds_give_five_problems():
    text = (
        '[development]\nname = "Sample Yard"\nplace = "Lundon"\nstart = 2027-02-30\n'
        '[[blocks]]\nname = "East"\nstoreys = 400\nflats_per_storey = 9\n'
        '[[blocks]]\nname = "West"\nstoreys = 8\nflats_per_storey = 9\nglazing = 40\n'
        '[overrides]\n"site.rework" = -1\n'
    )
    where = [problem.split(":")[0] for problem in problems(text)]
    assert where == [
        "development.start",
        "development.place",
        "blocks[1] 'East'.storeys",
        "blocks[2] 'West'.glazing",
        "overrides 'site.rework'",
    ]


def test_several_wrong_dates_are_all_reported():
    text = SITE.replace("2027-04-05", "2027-02-30") + "purchase = 31/12/2026\n" + EAST
    assert [problem.split(" is ")[0] for problem in problems(text)] == [
        "development.start: 2027-02-30",
        "development.purchase: 31/12/2026",
    ]


def test_every_problem_of_sections_and_cranes_is_reported_at_once():
    text = (
        block('handover = "each core"\ncores = 1\nzones = 1\n')
        + section(2, 3, "own_stair = true\n")
        + section(5, 5)
        + section(6, 9)
        + WEST.replace("name =", 'handover = "flat"\nhoists = -1\nname =')
        + '[[cranes]]\nname = "A"\nblocks = ["East", "West"]\nnumber = 5\n'
    )
    assert [problem.split(": ")[0] for problem in problems(text)] == [
        "blocks[1] 'East'.sections[1]",
        "blocks[1] 'East'.sections[3].storeys",
        "blocks[1] 'East'.sections",
        "blocks[1] 'East'.cores",
        "blocks[1] 'East'.zones",
        "blocks[2] 'West'.hoists",
        "blocks[2] 'West'.handover",
        "cranes[1] 'A'.number",
    ]


# Warnings


@pytest.mark.parametrize(
    ("text", "warning"),
    [
        (
            start("2026-11-24"),
            "development.start: 2026-11-24 is in the past; today is 2026-11-25. It is used as given.",
        ),
        (
            block("flat_area_m2 = 19\n"),
            "blocks[1] 'East'.flat_area_m2: 19 m2 is outside the usual 20 to 250 m2. It is used as given.",
        ),
        (
            block("flat_area_m2 = 251\n"),
            "blocks[1] 'East'.flat_area_m2: 251 m2 is outside the usual 20 to 250 m2. It is used as given.",
        ),
        (
            LEAST + section(1, 6) + section(7, 8, ""),
            "blocks[1] 'East'.sections: storeys 1 to 6 are lived in below live work. "
            "Local codes and licensed practice decide whether that may be.",
        ),
        (
            block("glazing_pct = 81\n"),
            "blocks[1] 'East'.glazing_pct: 81 % is outside the usual 10 to 80 %. It is used as given.",
        ),
        (
            block("plate_depth_m = 30.5\n"),
            "blocks[1] 'East'.plate_depth_m: 30.5 m is outside the usual 8 to 30 m. It is used as given.",
        ),
        (
            LEAST + "[site]\nrework = 0.09\n",
            "site.rework: 0.09 is outside 0.01 to 0.08, the range known for it (Share of work done again; "
            "Common practice, no source). It is used as given.",
        ),
        (
            SITE
            + "".join(
                EAST.replace("East", f"E{i}").replace("= 8", "= 60").replace("= 9", "= 20") for i in range(3)
            ),
            "blocks: 3,600 flats in all is more than the usual 3,000 of one development.",
        ),
        (
            LEAST + '[[methods]]\nid="open_frame"\n[[methods]]\nid="panelised"\noptions={finish="render"}\n',
            "methods: the visible finishes differ (Open frame: brick; Panels: render), "
            "so prices are of different buildings.",
        ),
    ],
    ids=lambda value: value[:40] if value[:1] != "[" else "",
)
def test_what_is_legal_but_odd_is_read_with_a_warning(text, warning):
    assert read(text).warnings == (warning,)


def test_a_start_today_is_not_in_the_past():
    assert read(start("2026-11-25")).warnings == ()


# What is read


def test_sections_are_read_in_order_of_storey_whatever_the_order_of_the_file():
    (east,) = read(LEAST + section(5, 8, "own_lift = true\n") + section(2, 4) + section(1, 1)).blocks
    assert east.sections == (
        Section(1, 1, True, True, True, True),
        Section(2, 4, True, True, True, True),
        Section(5, 8, own_lift=True),
    )


def test_hoists_handover_cranes_and_late_adoption_are_read_and_stand_at_their_defaults_otherwise():
    plain = read(LEAST)
    (east,) = plain.blocks
    assert (east.hoists, east.handover, east.sections) == (None, "block", ())
    assert (plain.served[0].number, plain.development.late_adoption) == (1, False)
    given = SITE + "late_adoption = true\n" + crane("number = 2").removeprefix(SITE)
    given = given.replace('"East"\n', '"East"\nhoists = 0\nhandover = "each core"\ncores = 2\nzones = 2\n', 1)
    scenario = read(given)
    (east,) = scenario.blocks
    assert (east.hoists, east.handover) == (0.0, "each core")
    assert isinstance(east.hoists, float)
    assert (scenario.served[0].number, scenario.development.late_adoption) == (2, True)


def test_cores_and_pours_left_to_the_library_may_be_handed_over_by_core():
    assert read(block('handover = "each core"\n')).blocks[0].handover == "each core"
    assert read(block('handover = "each core"\nzones = 2\n')).warnings == ()


def test_settings_may_be_sugared_dotted_nested_or_quoted():
    ways = [
        "[site]\nrework = 0.04\n",
        "[overrides]\nsite.rework = 0.04\n",
        '[overrides]\n"site.rework" = 0.04\n',
        "[overrides.site]\nrework = 0.04\n",
        '[overrides.site.rework]\nvalue = 0.04\nwhy = ""\n',
        '[site]\nrework = { value = 0.04, why = "" }\n',
    ]
    assert {read(LEAST + way).overrides for way in ways} == {(("site.rework", (0.04, "")),)}


def test_panels_may_be_ordered_before_the_start_on_site():
    scenario = read(LEAST + "[overrides]\nfactory.order = -8\n")
    assert (scenario.values("panelised")["factory.order"], scenario.warnings) == (-8.0, ())
    assert scenario.as_tables()["overrides"] == {"factory.order": -8}
    early = read(LEAST + "[overrides]\nfactory.order = { value = -60.5, why = 'held back' }\n")
    assert early.overrides == (("factory.order", (-60.5, "held back")),)
    assert early.warnings[0].startswith(
        "overrides 'factory.order': -60.5 weeks from start is outside -40 to 52 weeks from start, the "
        "range known for it (Panel order after start on site; "
    )


def test_a_method_starts_from_an_earlier_one_and_keeps_what_it_does_not_change():
    scenario = read(
        LEAST
        + '[[methods]]\nid = "mine"\nlike = "open_frame"\noptions = { deck = "table_forms" }\n'
        + "overrides = { site.rework = 0.05 }\n"
        + '[[methods]]\nid = "two-more"\nlike = "mine"\noptions = { verticals = "precast" }\n'
    )
    mine, more = scenario.methods
    assert (more.like, more.label, more.overrides) == ("open_frame", "Two more", mine.overrides)
    changed = {element for element, option in more.options if mine.option(element) != option}
    assert changed == {"verticals"}
    assert scenario.values("mine")["site.rework"] == 0.05


def test_a_name_that_is_also_a_ready_method_s_means_the_ready_one_and_says_so():
    scenario = read(
        LEAST
        + '[[methods]]\nid="open_frame"\noptions={deck="table_forms"}\n'
        + '[[methods]]\nid="b"\nlike="open_frame"\n'
    )
    assert scenario.method("b").option("deck") == "loose_props"
    assert scenario.warnings == (
        "methods[2] 'b'.like: 'open_frame' is taken to be the library's, not this scenario's own.",
    )


def test_a_method_setting_beats_the_scenario_s():
    scenario = read(
        LEAST
        + "[site]\nrework = 0.02\n"
        + '[[methods]]\nid="open_frame"\n[[methods]]\nid="panelised"\noverrides={"site.rework"=0.01}\n'
    )
    assert [scenario.values(method)["site.rework"] for method in scenario.methods] == [0.02, 0.01]


# Files


def test_a_file_is_read_from_disk_and_from_standard_input(tmp_path, monkeypatch):
    path = tmp_path / "it.toml"
    path.write_text(LEAST, encoding="utf-8")
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(LEAST.encode())))
    assert load_scenario(path) == load_scenario(str(path)) == load_scenario("-") == read(LEAST)


def test_a_file_that_is_not_there_says_so(tmp_path):
    with pytest.raises(ScenarioError, match=r"none\.toml: there is no such file\. Check the path and the"):
        load_scenario(tmp_path / "none.toml")


def test_a_folder_is_not_a_file(tmp_path):
    with pytest.raises(ScenarioError, match=r": is a folder\. Name the scenario file inside it\."):
        load_scenario(tmp_path)


def test_a_file_that_may_not_be_read_says_so(tmp_path, monkeypatch):
    path = tmp_path / "it.toml"
    path.write_text(LEAST, encoding="utf-8")

    def refuse(*_args, **_more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)
    with pytest.raises(ScenarioError, match=r"it\.toml: this file may not be read\. Ask for the right"):
        load_scenario(path)


@pytest.mark.parametrize("path", ["a\0b", "x" * 5000])
def test_a_path_that_cannot_be_is_refused(path):
    with pytest.raises(ScenarioError, match=r": cannot be read \(.+\)\. Check the path\."):
        load_scenario(path)


def test_a_file_of_50_megabytes_is_refused_by_its_size(tmp_path, monkeypatch):
    path = tmp_path / "large.toml"
    with path.open("wb") as file:
        os.truncate(file.fileno(), 50_000_000)
    monkeypatch.setattr("pathlib.Path.open", lambda *_: pytest.fail("the file was opened"))
    with pytest.raises(ScenarioError, match=r"the file holds 50,000,000 bytes\. .* at most 1,000,000 bytes"):
        load_scenario(path)


def test_an_endless_file_is_refused_after_its_first_megabyte():
    with pytest.raises(ScenarioError, match=r"zero: the file is too large\."):
        load_scenario("/dev/zero")


# Hostile and random input


@pytest.mark.parametrize(
    "text",
    [
        "a" + ".a" * 450_000 + " = 1",
        "x" * 900_000,
        "a = " + "{b = " * 3000 + "1" + "}" * 3000,
        SITE + EAST + "".join(f"k{i} = 1\n" for i in range(60_000)),
        LEAST + "[overrides]\n" + "".join(f"k{i} = 1\n" for i in range(60_000)),
        SITE + "blocks = [" + "{}," * 200_000 + "]",
        f"a = 0x{'f' * 900_000}\n" + LEAST,
        block(storeys=f"0x{'f' * 4000}"),
        block(f"flat_area_m2 = 0x{'f' * 4000}\n"),
        LEAST + f"[site]\nrework = 0x{'f' * 4000}\n",
        "d = [" + "2027-02-30, " * 70_000 + "]",
    ],
    ids=[
        "dotted key", "one word", "braces", "keys of a block", "overrides", "blocks", "hexadecimal",
        "hexadecimal storeys", "hexadecimal area", "hexadecimal setting", "dates",
    ],
)  # fmt: skip
def test_a_file_meant_to_hurt_is_refused_within_seconds(text):
    began = time.perf_counter()
    assert problems(text)
    assert time.perf_counter() - began < 10


def only_scenario_error(source):
    with contextlib.suppress(ScenarioError):
        read_scenario(source, today=TODAY)


@given(st.binary(max_size=400))
@settings(max_examples=200, deadline=None)
def test_no_bytes_escape_as_anything_else(content):
    only_scenario_error(content)


MORE_LINES = r"""
[[cranes]]
blocks = ["East"]
number = 2
[[blocks.ranges]]
storeys = [1, 2]
[[blocks.sections]]
own_stair = true
handover = "each core"
[[methods]]
id = "a"
like = "panelised"
options = { deck = 1 }
[methods.overrides]
"site.rework" = 0
[site]
rework = true
[overrides]
a.b.c = 1
start = 2027-2-30
storeys = 1e400
zones = 9223372036854775808
x = [[[[]]]]
name = '''
=
"""
PIECES = st.sampled_from([*LEAST.splitlines(), *WEST.splitlines(), *MORE_LINES.splitlines(), "\x7f"])


@given(st.lists(PIECES, max_size=14).map("\n".join))
@settings(max_examples=300, deadline=None)
def test_no_shuffled_lines_escape_as_anything_else(text):
    only_scenario_error(text)


LEAVES = (
    st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.dates()
    | st.datetimes()
    | st.times()
    | st.sampled_from(["london", "open_frame", "East", "2027-04-05"])
)
KEY_NAMES = """
development blocks cranes methods money site overrides notes name place start purchase extra_closed storeys
flats_per_storey ranges sections own_stair handover hoists number
plate_area_m2 facade_length_m id like label options deck value why site.rework rework
"""
KEYS = st.sampled_from(KEY_NAMES.split()) | st.text(max_size=5)
TREES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=5),
    max_leaves=25,
)


@given(st.dictionaries(KEYS, TREES, max_size=6))
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_tables_escape_as_anything_else(tables):
    sound = read(LEAST).as_tables()
    for source in (tables, {**sound, **tables}):
        with contextlib.suppress(ScenarioError):
            read_tables(source, today=TODAY)


def test_the_nearest_word_is_found_whatever_the_capitals():
    assert nearest("LONDON", ("glasgow", "london")) == "london"
    assert nearest("zzz", ("glasgow", "london")) in ("glasgow", "london")


def test_two_methods_may_not_be_written_alike():
    text = (
        '[development]\nname = "A"\nplace = "london"\nstart = 2028-01-03\n'
        '[[blocks]]\nname = "B"\nstoreys = 3\nflats_per_storey = 4\n'
        '[[methods]]\nid = "one"\nlike = "open_frame"\nlabel = "Usual"\n'
        '[[methods]]\nid = "two"\nlike = "panelised"\nlabel = "usual"\n'
    )
    with pytest.raises(ScenarioError, match=r"methods\[2\]\.label: 'usual' is taken by methods\[1\]"):
        read_scenario(text)
