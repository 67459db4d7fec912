"""The cost plan beside published figures: figures carry over, bases are right, sentences are there."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from model.core.errors import ScenarioError
from model.core.units import UNITS, is_money
from model.inputs.assumption import MARKS, read_library
from model.inputs.method import read_catalogue
from model.inputs.scenario import TENURES
from model.money import common_grid, price
from model.money.benchmarks import COLUMNS, read_benchmarks, reconcile
from model.money.costs import read_site_costs
from model.pipeline import build_cases

FILE = Path(__file__).parents[2] / "model" / "inputs" / "library" / "benchmarks.toml"
RAW = tomllib.loads(FILE.read_text(encoding="utf-8"))["benchmark"]


@pytest.fixture(scope="module")
def accounts(compared):
    return [case.account for case in compared("pitch").cases]


def ours(account, id):
    frame = reconcile(account)
    label = RAW[id]["label"]
    return frame.set_index("figure").loc[label]


# -- the data ------------------------------------------------------------------------------------


def faults_of(table):
    low, high = table["low"], table["high"]
    if not low <= table.get("typical", low) <= high or not low < high:
        yield "no range"
    if table["unit"] not in UNITS:
        yield "no unit"
    if table["mark"] not in MARKS:
        yield "no mark"
    if min(len(table["source"]), len(table["base"])) < 12:
        yield "no source or base"
    if is_money(table["unit"]) != ("price_date" in table):
        yield "money without a date, or a date without money"
    if set(table["if_outside"]) != {"below", "above"}:
        yield "not both sentences"
    if not all(said.endswith(".") and len(said) > 20 for said in table["if_outside"].values()):
        yield "no sentence"


def test_every_published_figure_is_defensible():
    assert [(id, list(faults_of(table))) for id, table in RAW.items() if list(faults_of(table))] == []
    labels = [table["label"] for table in RAW.values()]
    assert len(labels) == len(set(labels)) == len(read_benchmarks()) >= 15


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"low": 500}, "no range"),
        ({"unit": "GBP a yard"}, "no unit"),
        ({"mark": "HEARD"}, "no mark"),
        ({"base": ""}, "no source or base"),
        ({"unit": "%"}, "money without a date"),
        ({"if_outside": {"below": "Look at it again, please."}}, "not both sentences"),
        ({"if_outside": {"below": "", "above": ""}}, "no sentence"),
    ],
)
def test_the_walk_sees_a_figure_that_is_not(change, fault):
    assert any(fault in said for said in faults_of({**RAW["frame"], **change}))


def test_every_name_a_figure_uses_is_in_the_library():
    options, items = read_catalogue().options, {item.id for item in read_site_costs()}
    for id, table in RAW.items():
        for element, names in table.get("of", {}).items():
            assert element in {one for one, _name in options}, id
            assert all((element, name) in options for name in names), id
        assert set(table.get("items", ())) <= items, id
        assert (table["part"] == "elements") == ("of" in table), id
        assert (table["part"] == "items") == ("items" in table), id
        assert set(table.get("tenures", ())) <= set(TENURES), id


def test_no_published_figure_is_a_record_nor_can_it_be_set_otherwise(accounts):
    assert "benchmark" in read_library().data
    assert not [key for key in read_library().records if key.startswith("benchmark")]
    with pytest.raises(ScenarioError, match=r"benchmark\.frame\.low"):
        accounts[0].plan.scenario.with_override("benchmark.frame.low", 1.0)


@pytest.mark.parametrize(
    ("id", "figures"),
    [
        # Structural Survey 21(1), 2003: 14.7 and 17.7; RICS news, 27 July 2018: 15.7 and 12.8.
        ("preliminaries_averages", (12.8, 14.7, 17.7)),
        ("preliminaries_guidance", (10, None, 15)),  # quantity surveyors' guidance notes
        ("preliminaries_of_works", (12, None, 18)),  # quantity surveyors' guidance notes
        ("preliminaries_high_rise", (12, 15, 20)),  # memory
        ("time_related_share", (65, 75, 85)),  # practice
        ("time_related_a_week", (0.07, 0.11, 0.16)),  # worked out, see below
        ("management", (0.95 * 30, 0.95 * 38, 0.95 * 50)),  # practice, part that grows with time
        ("plant", (0.8 * 12, 0.8 * 16, 0.8 * 25)),  # practice, part that grows with time
        ("frame", (270, 340, 430)),  # practice, 2025
        ("fit_out", (650, 850, 1100)),  # practice, 2025
        ("framed_wall", (430, 560, 720)),  # practice, 2025
        ("finished_panel", (380, 520, 680)),  # practice, 2025
        ("brick", (150, 200, 270)),  # practice, 2025
        ("slips", (90, 130, 190)),  # practice, 2025
        ("separating_built", (75, 100, 135)),  # practice, 2025
        ("separating_panel", (95, 130, 175)),  # practice, 2025
        ("return_on_value", (15, None, 20)),  # Planning practice guidance, Viability, para. 018
        ("return_on_cost", (10, None, 15)),  # guide to forward funding
    ],
)
def test_published_figures_carry_over_from_their_sources(id, figures):
    table = RAW[id]
    got = (table["low"], table.get("typical"), table["high"])
    assert [x is None for x in got] == [x is None for x in figures]
    assert [x for x in got if x] == pytest.approx([x for x in figures if x], rel=1e-12)


def test_all_four_averages_of_preliminaries_are_named_with_their_quarter():
    source = RAW["preliminaries_averages"]["source"]
    for figure in ("14.7 % in the second quarter of 2002", "17.7 % in the fourth of 1979",
                   "15.7 % in the third quarter of 2017", "12.8 % in the first of 2018"):  # fmt: skip
        assert figure in source


def test_the_share_of_a_week_is_what_the_other_shares_give():
    # 15 % of the contract, three quarters of it growing with time, over 100 weeks (hand calculation).
    assert RAW["time_related_a_week"]["typical"] == pytest.approx(15 * 0.75 / 100, rel=0, abs=5e-3)


# -- our own figures -----------------------------------------------------------------------------


def test_a_share_of_the_total_is_another_share_of_the_rest(accounts):
    # Estimating and Tendering for Construction Work, 3rd ed., 2004, fig. 18.3: 104,249 of 698,437.
    total = 104_249 / 698_437
    assert total == pytest.approx(0.149, rel=0, abs=5e-4)
    assert total / (1 - total) == pytest.approx(0.175, rel=0, abs=5e-4)
    for account in accounts:
        of_all = ours(account, "preliminaries_averages")["ours"] / 100
        of_works = ours(account, "preliminaries_of_works")["ours"] / 100
        assert of_works == pytest.approx(of_all / (1 - of_all), rel=1e-12)
        assert of_works == ours(account, "preliminaries_high_rise")["ours"] / 100
        # Contingency is in the contract sum of the guidance, and makes the share smaller.
        assert ours(account, "preliminaries_guidance")["ours"] / 100 < of_all


def test_shares_of_the_contract_are_those_of_its_lines(accounts):
    for account in accounts:
        lines = [account.cost_of(name) for name in ("construction", "premium", "preliminaries")]
        assert ours(account, "preliminaries_guidance")["ours"] == pytest.approx(100 * lines[2] / sum(lines))
        costs = account.cash.time_costs
        weekly = float((costs.per_week * (costs.finish - costs.start)).sum()) / 7
        assert ours(account, "time_related_share")["ours"] == pytest.approx(100 * weekly / lines[2])
        weeks = account.plan.last_handover / 7
        got = ours(account, "time_related_a_week")["ours"]
        assert got == pytest.approx(100 * weekly / sum(lines) / weeks)
        labels = costs.frame().groupby("item")["amount"].sum()
        team = ours(account, "management")["ours"]
        assert team == pytest.approx(100 * labels["Site team"] / lines[2])
        plant = [label for label in labels.index if label.startswith(("Tower", "Hoists", "Small", "Evening"))]
        assert len(plant) >= 3
        assert ours(account, "plant")["ours"] == pytest.approx(100 * labels[plant].sum() / lines[2])


def test_prices_of_elements_are_the_rates_of_the_method(accounts):
    """Hand sums of library rates: 55 + 45 + 240 for the frame, 7 more with precast columns."""
    rate = {key: read_library()[key].value for key in read_library().records if key.endswith(".rate")}
    frame = [
        rate["option.core.with_storey.rate"] + rate[f"option.verticals.{columns}.rate"] + deck
        for columns, deck in (
            ("cast", rate["option.deck.loose_props.rate"]),
            ("precast", rate["option.deck.panel_decking.rate"]),
        )
    ]
    assert frame == [340, 347]
    assert [ours(account, "frame")["ours"] for account in accounts] == pytest.approx(frame, rel=1e-12)
    assert ours(accounts[0], "framed_wall")["ours"] == pytest.approx(560, rel=1e-12)
    assert ours(accounts[1], "finished_panel")["ours"] == pytest.approx(520, rel=1e-12)
    assert ours(accounts[0], "separating_built")["ours"] == pytest.approx(100, rel=1e-12)
    assert ours(accounts[1], "separating_panel")["ours"] == pytest.approx(130, rel=1e-12)
    work = accounts[0].work.plan.set_index("element")
    rows = work.loc[["fit_out", "bathrooms", "completion"]]
    gross = float(accounts[0].plan.takeoff.gross_m2.sum())
    expected = float((rows["rate"] * rows["amount"]).sum()) / gross
    assert ours(accounts[0], "fit_out")["ours"] == pytest.approx(expected, rel=1e-12)


def test_a_price_is_held_against_the_option_it_is_for_and_no_other(accounts):
    first, second = ({*reconcile(account)["figure"]} for account in accounts)
    label = {id: table["label"] for id, table in RAW.items()}
    assert {label["framed_wall"], label["separating_built"]} <= first - second
    assert {label["finished_panel"], label["separating_panel"]} <= second - first
    assert label["brick"] in first & second
    assert label["slips"] not in first | second


def earning(account, tenure, **money):
    """The same plan with flats that earn in another way, and other figures of money."""
    scenario = replace(
        account.plan.scenario, development=replace(account.plan.scenario.development, tenure=tenure)
    )
    values = account.plan.values.with_overrides({f"money.{key}": (v, "") for key, v in money.items()})
    plan = replace(account.plan, scenario=scenario, values=values)
    return price(plan, replace(account.site_use, plan=plan), common_grid([plan]))


def test_the_return_is_that_of_how_the_flats_earn(accounts):
    sold, let = accounts[0], earning(accounts[0], "rent")
    label = {id: RAW[id]["label"] for id in ("return_on_value", "return_on_cost")}
    assert label["return_on_value"] in set(reconcile(sold)["figure"]) - set(reconcile(let)["figure"])
    assert label["return_on_cost"] in set(reconcile(let)["figure"]) - set(reconcile(sold)["figure"])
    assert ours(let, "return_on_cost")["ours"] == pytest.approx(let.profit_on_cost_pct, rel=1e-12)
    # Receipts come net of the costs of selling; the value does not.
    value = sold.receipts / (1 - sold.plan.values["money.selling_pct"] / 100)
    assert ours(sold, "return_on_value")["ours"] == pytest.approx(100 * sold.profit / value, rel=1e-12)


def test_a_figure_whose_base_is_nothing_is_left_out(accounts):
    label = RAW["return_on_value"]["label"]
    assert label in set(reconcile(accounts[0])["figure"])
    assert label not in set(reconcile(earning(accounts[0], "sale", price=0.0))["figure"])


def test_the_table_has_its_columns_and_a_sentence_for_every_figure_outside_and_no_other(accounts):
    for account in accounts:
        frame = reconcile(account)
        assert tuple(frame.columns) == COLUMNS
        assert np.isfinite(frame[["ours", "low", "high"]].to_numpy(dtype=float)).all()
        for row in frame.itertuples():
            place = "below" if row.ours < row.low else "above" if row.ours > row.high else "inside"
            assert row.inside == place
            assert (row.why == "") == (place == "inside")
            assert place in row.why or place == "inside"


@pytest.mark.parametrize(
    ("price", "place", "said"),
    [
        (100.0, "below", "200 GBP/m2 is below the published 270 to 430 GBP/m2. Prices set for this scheme"),
        (170.0, "inside", ""),  # 55 + 45 + 170 is 270, the very end
        (350.0, "above", "450 GBP/m2 is above the published 270 to 430 GBP/m2. Dearer decks"),
    ],
)
def test_a_price_set_for_the_scheme_moves_its_figure_out_and_says_where_to_look(accounts, price, place, said):
    scenario = accounts[0].plan.scenario.with_override("option.deck.loose_props.rate", price)
    case = build_cases(scenario, scenario.methods[:1])[0]
    row = ours(case.account, "frame")
    assert row["inside"] == place
    assert said in row["why"]
    assert row["ours"] == pytest.approx(100 + price, rel=1e-12)
    if place != "inside":
        assert row["why"].endswith(RAW["frame"]["if_outside"][place])
