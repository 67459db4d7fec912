"""How the flats earn, paths of rates and prices, premiums: read, refused and written back."""

from __future__ import annotations

import datetime as dt

import pytest

from model.core.errors import ScenarioError
from model.inputs.reading import read_scenario
from model.inputs.writing import write_scenario

TODAY = dt.date(2026, 11, 25)
HEAD = '[development]\nname = "Sample Yard"\nplace = "london"\nstart = 2027-04-05\n'
BLOCK = '[[blocks]]\nname = "East"\nstoreys = 8\nflats_per_storey = 9\n'


def read(development="", block="", rest=""):
    return read_scenario(f"{HEAD}{development}\n{BLOCK}{block}\n{rest}", today=TODAY)


def problems(**parts):
    with pytest.raises(ScenarioError) as caught:
        read(**parts)
    return [str(problem) for problem in caught.value.problems]


def test_without_a_word_flats_are_sold_at_todays_prices_and_rates():
    development = read().development
    assert (development.tenure, development.rent_exit, development.longstop) == ("sale", "stabilised", None)
    assert (development.base_rate_path, development.price_path) == ((), ())


def test_what_is_chosen_comes_back_from_a_file_written_anew():
    scenario = read(
        'tenure = "rent"\nrent_exit = "fixed date"\nlongstop = 2030-06-30\n'
        "base_rate_path = [[0, 3.75], [12, 3.25]]\nprice_path = [[0, 100], [24, 104.5]]",
        'tenure = "forward sale"',
    )
    assert scenario.development.base_rate_path == ((0.0, 3.75), (12.0, 3.25))
    assert scenario.tenure_of(scenario.blocks[0]) == "forward sale"
    assert read_scenario(write_scenario(scenario), today=TODAY) == scenario


def test_an_edited_file_keeps_its_comments():
    text = f'{HEAD}# kept\ntenure = "rent"\n{BLOCK}'
    scenario = read_scenario(text, today=TODAY)
    changed = scenario.with_override("money.rent", 1500.0, "Asked locally.")
    written = write_scenario(changed, text)
    assert "# kept" in written
    assert read_scenario(written, today=TODAY) == changed


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        (
            {"development": 'tenure = "let"'},
            r"development.tenure: 'let' is not one of sale, rent, forward sale",
        ),
        (
            {"block": 'tenure = "rented"'},
            "blocks[1] 'East'.tenure: 'rented' is not one of sale, rent, forward",
        ),
        (
            {"development": 'rent_exit = "soon"'},
            "development.rent_exit: 'soon' is not one of stabilised, fixed",
        ),
        ({"development": "longstop = 2027-04-05"}, "development.longstop: 2027-04-05 is not after the start"),
        ({"development": "base_rate_path = [[0, 3.75], [12]]"}, "base_rate_path[2]: there is 1 figure"),
        (
            {"development": "base_rate_path = [[12, 3], [6, 4]]"},
            "base_rate_path[2]: month 6 does not come after",
        ),
        ({"development": "base_rate_path = [[0, 99]]"}, "base_rate_path[1]: 99 is outside -2 to 30"),
        ({"development": "base_rate_path = [[0.5, 3]]"}, "base_rate_path[1]: 0.5 is not a whole month"),
        ({"development": "price_path = [[0, 5]]"}, "price_path[1]: 5 is outside 10 to 400"),
        ({"development": 'price_path = [[0, "x"]]'}, "price_path[1][2]: 'x' is text. It takes a number."),
    ],
)
def test_what_cannot_be_is_said_with_its_place(parts, said):
    assert any(said in problem for problem in problems(**parts))


def test_a_premium_is_counted_from_the_rate_of_what_it_replaces():
    key = "option.outer_wall.panel_before_deck"
    scenario = read(rest=f'[overrides]\n"{key}.premium" = 120\n"option.outer_wall.framed.rate" = 400\n')
    value, why = dict(scenario.overrides)[f"{key}.rate"]
    assert value == 520.0
    assert why.startswith("A premium of 120 GBP/m2 over 400 (")
    alone = read(rest=f'[overrides]\n"{key}.premium" = {{ value = -10, why = "Offered." }}\n')
    framed = alone.values("panelised")["option.outer_wall.framed.rate"]
    assert dict(alone.overrides)[f"{key}.rate"] == (framed - 10, "Offered.")


def test_a_premium_beside_its_own_rate_or_of_a_reference_is_refused():
    key = "option.outer_wall.panel_before_deck"
    both = problems(rest=f'[overrides]\n"{key}.premium" = 120\n"{key}.rate" = 500\n')
    assert any(f"{key}.rate is set beside it. A price is given as a rate or as a premium" in p for p in both)
    own = problems(rest='[overrides]\n"option.outer_wall.framed.premium" = 120\n')
    assert any("the library has no such key" in p for p in own)
    words = problems(rest=f'[overrides]\n"{key}.premium" = "much"\n')
    assert any("'much' is text" in p for p in words)
