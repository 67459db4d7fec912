"""The money view and its inputs: frames that add up, what is drawn, what is said, what an edit does."""

import datetime as dt
import re

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.parts import answer, charts, cuts, edits, money_charts, money_words
from dashboard.parts.answer import Named
from dashboard.parts.fields import replacing
from dashboard.parts.theme import tokens
from dashboard.shipped import MINIMAL, text_of
from dashboard.views import development
from model import compare_methods
from model.core.errors import RangeError, ScenarioError
from model.inputs.assumption import read_library
from model.inputs.reading import read_scenario
from model.inputs.scenario import TENURES
from model.report import money_frames

NAMES = (
    Named("open_frame", "Open frame", "open_frame", "open_frame"),
    Named("panelised", "Panels", "panels", "panelised"),
)
ROLES = {"Open frame": "open_frame", "Panels": "panels"}
OUTER, FRAMED = "option.outer_wall.panel_before_deck.rate", "option.outer_wall.framed.rate"


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


def plainly(html):
    return re.sub(r"<[^>]+>", "", str(html))


def said(page):
    bodies = [one.proto.body for one in page.get("html")]
    return plainly(" ".join(body for body in bodies if "<style" not in body))


def field(page, kind, label):
    return next(one for one in getattr(page, kind) if one.label == label)


def labels(page):
    return {one.label for one in page.number_input}


def written(more="", tail=""):
    """The pitch with keys for the development, and tables at the end."""
    return text_of("pitch.toml").replace("start = 2027-04-05", f"start = 2027-04-05\n{more}") + tail


@pytest.fixture(scope="module")
def pitch():
    return compare_methods(read_scenario(text_of("pitch.toml")))


@pytest.fixture(scope="module")
def let():
    return compare_methods(read_scenario(written('tenure = "rent"', "mezzanine_pct = 10\n")))


@pytest.fixture(scope="module")
def forward():
    return compare_methods(read_scenario(written('tenure = "forward sale"', "inflation_pct = 4\n")))


@pytest.fixture(params=["pitch", "let", "forward"])
def compared(request):
    return request.getfixturevalue(request.param)


def drawn(comparison, name):
    frame = money_frames.MONEY_FRAMES[name](comparison)
    return frame.assign(role=frame["method"].map(ROLES))


# --- frames: each adds up to what the account counts -------------------------------------------------


def test_the_cost_plan_adds_up_to_all_costs_and_measured_work_is_quantity_times_rate(compared):
    frame = drawn(compared, "money cost plan")
    for case in compared.cases:
        mine = frame[frame["method"] == case.method.label]
        assert mine["sum"].sum() == pytest.approx(case.account.cost_of("total"), rel=1e-12)
        work = mine[mine["part"] == money_frames.MEASURED]
        priced = work["quantity"] * work["rate"] * case.account.work.inflation
        assert work["sum"].to_numpy(dtype=float) == pytest.approx(priced.to_numpy(dtype=float), rel=1e-12)
        by_part = mine.groupby("part")["sum"].sum()
        assert by_part["land"] == pytest.approx(case.account.cost_of("land"))
        assert by_part["site costs"] == pytest.approx(case.account.cost_of("preliminaries"))


def test_what_the_receipts_pay_for_adds_up_to_the_receipts(compared):
    frame = drawn(compared, "money goes")
    for case in compared.cases:
        assert frame.loc[frame["method"] == case.method.label, "amount"].sum() == pytest.approx(
            case.account.receipts, rel=1e-9
        )


def test_receipts_by_kind_add_up_to_the_receipts(compared):
    frame = drawn(compared, "money receipts")
    for case in compared.cases:
        assert frame.loc[frame["method"] == case.method.label, "amount"].sum() == pytest.approx(
            case.account.receipts, rel=1e-9
        )
    assert set(frame["kind"]) <= set(money_words.RECEIPT_WORDS)


def test_a_weeks_causes_add_up_to_each_view(compared):
    frame = drawn(compared, "money week")
    for case in compared.cases:
        mine = frame[frame["method"] == case.method.label]
        assert mine["client"].sum() == pytest.approx(case.account.week.client, abs=0.01)
        assert mine["builder"].sum() == pytest.approx(case.account.week.builder, abs=0.01)


def test_equity_ends_at_the_profit_and_dips_by_the_most_of_it(pitch):
    frame = drawn(pitch, "money cash")
    for case in pitch.cases:
        mine = frame[frame["method"] == case.method.label]
        assert mine["equity"].iloc[-1] == pytest.approx(case.account.profit, abs=1.0)
        assert -mine["equity"].min() == pytest.approx(case.account.peak_equity, abs=1.0)


def test_site_costs_by_item_add_up(compared):
    frame = drawn(compared, "money preliminaries")
    for case in compared.cases:
        mine = frame.loc[frame["method"] == case.method.label]
        assert mine["amount"].sum() == pytest.approx(case.account.cost_of("preliminaries"), rel=1e-12)
        assert set(mine["kind"]) <= set(money_frames.SITE_KINDS)


def test_money_paid_ahead_peaks_where_the_account_says_and_only_with_panels(pitch):
    frame = drawn(pitch, "money paid ahead")
    assert set(frame["method"]) == {"Panels"}
    most, day = pitch.second.account.unfixed
    top = frame.iloc[int(frame["amount"].to_numpy().argmax())]
    assert top["amount"] == pytest.approx(most)
    assert top["date"] == pd.Timestamp(pitch.second.plan.start_date + dt.timedelta(days=int(day)))
    steps = drawn(pitch, "money maker").set_index("step")["amount"]
    assert list(steps.index) == ["deposit", "stage", "delivery", "fixing", "bond"]
    assert steps.drop("bond").sum() == pytest.approx(float(pitch.second.account.work.supply.sum()))
    assert steps["bond"] == pytest.approx(pitch.second.account.bond)


def test_a_missing_rate_is_none_with_its_reason_never_a_blank_number(forward):
    frame = drawn(forward, "money returns")
    irr = frame[frame["name"] == "irr"]
    assert list(irr["value"]) == [None, None]
    assert all("no rate of return" in reason for reason in irr["reason"])
    known = frame[frame["value"].map(lambda value: value is not None)]
    assert np.isfinite(known["value"].to_numpy(dtype=float)).all()
    assert (known["reason"] == "").all()


def test_both_published_curves_run_from_nothing_to_all():
    frame = money_frames.published_curves()
    assert frame["curve"].nunique() == 2
    for _name, one in frame.groupby("curve"):
        assert one["share"].iloc[0] == pytest.approx(0.0, abs=1e-12)
        assert one["share"].iloc[-1] == pytest.approx(1.0)
        assert (np.diff(one["share"]) >= -1e-12).all()


# --- pictures ------------------------------------------------------------------------------------------


def test_every_picture_of_the_money_is_drawn_in_both_modes(compared):
    for mode in ("light", "dark"):
        colours = tokens(mode)
        cash, curve = drawn(compared, "money cash"), drawn(compared, "money week curve")
        figures = [
            charts.cash(cash, colours),
            money_charts.week_curve(curve, colours),
            money_charts.paid_ahead(drawn(compared, "money paid ahead"), colours),
            money_charts.spend_curve(
                drawn(compared, "money spend"), money_frames.published_curves(), colours
            ),
        ]
        for figure in figures:
            assert {trace.meta for trace in figure.data if trace.meta} <= {"open_frame", "panels"}
            assert all(trace.hovertext is not None or trace.hoverinfo == "skip" for trace in figure.data)


def test_no_loan_no_panel_of_debt():
    frame = pd.DataFrame(
        {
            "method": "Panels", "role": "panels", "month_end": pd.to_datetime(["2027-05-01", "2027-06-01"]),
            "cost": [5.0, 1.0], "receipts": [0.0, 9.0], "debt": 0.0, "equity": [-5.0, 3.0],
        }
    )  # fmt: skip
    titles = [note.text for note in charts.cash(frame, tokens("light")).layout.annotations]
    assert not any("debt" in title for title in titles)
    assert "Panels draws no loan" in charts.say_cash(frame)
    assert "3 more had back than put in" in charts.say_cash(frame)


def test_the_mezzanine_is_a_fine_line_of_its_own(let):
    figure = charts.cash(drawn(let, "money cash"), tokens("light"))
    fine = [trace for trace in figure.data if trace.type == "scatter" and trace.line.dash == "2px,2px"]
    assert len(fine) == 2
    assert "mezzanine" in fine[0].hovertext[30]
    assert any("mezzanine" in note.text for note in figure.layout.annotations)


def test_where_money_goes_names_its_parts_and_ticks_off_what_is_not_paid_for(pitch, let):
    html = money_charts.money_goes(drawn(pitch, "money goes"), NAMES)
    for words in ("Land", "Construction", "Premium", "Site costs", "Profit"):
        assert words in html
    assert "sp-tick" not in html
    short = money_charts.money_goes(drawn(let, "money goes"), NAMES)
    assert "sp-tick" in short
    assert "short of all costs" in short


def test_a_strip_of_pounds_is_written_in_pounds_and_one_of_weeks_in_weeks():
    strip = [cuts.Strip("Panels", "panels", "all", [cuts.Piece("work", "Land", 2e6)])]
    assert "£2.00m</b> Land" in cuts.strips(strip, "", cuts.POUNDS)
    assert "2000000.0 weeks</b> Land" in cuts.strips(strip, "")


def test_client_and_builder_stand_side_by_side_and_nothing_adds_them(pitch):
    frame = drawn(pitch, "money week")
    week = pitch.second.account.week
    html = money_charts.two_views(frame, NAMES)
    client, builder = html.split("To the builder")
    assert money_charts.money(week.client) in client
    assert money_charts.money(week.builder) in builder
    both = money_charts.money(week.total)
    for shown in (html, money_words.week_table(frame, NAMES)):
        assert both not in shown
    assert "Interest on the loans" in client
    assert "Interest on the loans" not in builder


def test_a_loss_runs_to_the_left_of_nought_and_a_gain_to_its_right():
    rows = [("Up", [(NAMES[0], 30.0)]), ("Down", [(NAMES[1], -10.0)])]
    html = money_charts.gauges(rows, money_charts.signed)
    assert html.count("--sp-nought:25.00%") == 2
    assert "left:25.00%;width:75.00%" in html
    assert "left:0.00%;width:25.00%" in html
    assert "+£30" in html
    assert "−£10" in html


def test_a_line_is_in_the_colour_of_the_cheaper_method():
    frame = pd.DataFrame(
        {"method": ["Open frame", "Open frame", "Panels", "Panels"], "line": ["A", "B", "A", "B"],
         "sum": [100.0, 200.0, 150.0, 120.0]}
    )  # fmt: skip
    assert money_charts.differing_lines(frame, NAMES) == [("B", -80.0), ("A", 50.0)]
    dearer, cheaper = money_charts.line_differences(frame, NAMES).split('<div class="sp-gauge-row">')[1:]
    assert "sp-m-panels" in dearer
    assert "−£80" in dearer
    assert "sp-m-open-frame" in cheaper
    assert "+£50" in cheaper


def test_no_difference_is_said_in_words():
    frame = pd.DataFrame({"method": ["Open frame", "Panels"], "line": "A", "sum": 100.0})
    assert "No line of the cost plan differs" in money_charts.line_differences(frame, NAMES)


STEPS = pd.DataFrame(
    {"cause": ["premium", "paid ahead", "receipts"], "cost": [4.0, 0.0, 0.0], "finance": [1.0, 2.0, -3.0],
     "profit": [-5.0, -2.0, 3.0], "npv": [-4.0, -1.0, 2.0]}
)  # fmt: skip


def test_the_steps_lead_from_one_profit_to_the_other():
    html = money_charts.bridge(STEPS, NAMES, 20.0, 16.0)
    for words in ("Premium", "−£5", "Paid before fixing", "−£2", "Receipts", "+£3", "£20", "£16"):
        assert words in html
    gain = html.split("<p>Receipts</p>")[1]
    assert 'sp-gauge-way sp-m-panels sp-r-bar"' in gain.split("sp-gauge-words")[0]
    assert "Net present value" in money_charts.say_bridge_steps(STEPS, NAMES, 20.0, 17.0, "npv")
    table = plainly(money_words.bridge_table(STEPS))
    assert "Difference+£40−£4−£3" in table


def test_steps_that_do_not_add_up_are_refused():
    with pytest.raises(RangeError, match=r"steps come to -4, but -10 lie between .* Give every cause"):
        money_charts.bridge(STEPS, NAMES, 20.0, 10.0)


PUBLISHED = pd.DataFrame(
    {
        "method": ["Open frame", "Panels", "Panels"],
        "figure": ["Preliminaries", "Preliminaries", "Panel"],
        "ours": [16.0, 21.0, 520.0], "low": [12.0, 12.0, 380.0], "high": [18.0, 18.0, 680.0],
        "typical": [float("nan"), float("nan"), 500.0], "unit": ["%", "%", "GBP/m2"],
        "source": "A study", "mark": "SEEN", "inside": ["inside", "above", "inside"],
        "base": "Of the contract",
        "price_date": ["", "", "2025-06"], "why": ["", "Look again.", ""],
    }
)  # fmt: skip


def test_each_figure_stands_on_its_published_range():
    html = money_charts.against_published(PUBLISHED, NAMES)
    first, second = html.split('<div class="sp-range">')[1:]
    assert "published 12 to 18 %" in first
    assert "16.0 %</b></span> inside" in first
    assert "21.0 %</b></span> above" in first
    assert "sp-range-typical" not in first
    assert "published £380 to £680 a m²" in second
    assert second.count("sp-range-mark") == 1
    assert "sp-range-typical" in second
    sentence = money_charts.say_published(PUBLISHED, NAMES)
    assert "Open frame 1 of 1. Panels 1 of 2; outside: Preliminaries (above)" in sentence
    table = plainly(money_words.published_table(PUBLISHED, NAMES))
    assert "prices of 2025-06" in table
    assert "A study (SEEN)" in table


def test_a_curve_outside_the_band_says_so_and_where():
    time = np.linspace(0, 1, 11)
    published = pd.concat(
        [pd.DataFrame({"curve": name, "time": time, "share": time}) for name in ("One", "Other")]
    )
    early = np.minimum(1.0, time + np.where((time > 0.25) & (time < 0.35), 0.25, 0.0))
    frame = pd.concat(
        [
            pd.DataFrame({"method": "Open frame", "role": "open_frame", "time": time, "share": time}),
            pd.DataFrame({"method": "Panels", "role": "panels", "time": time, "share": early}),
        ]
    )
    sentence = money_charts.say_spend_curve(frame, published)
    assert "Open frame has spent 50 % half way and is within the band throughout" in sentence
    assert "Panels has spent 50 % half way and is above the band, furthest after 30 %" in sentence
    band = money_charts.spend_curve(frame, published, tokens("light")).data[0]
    assert max(band.y) == 100.0
    assert min(band.y) == 0.0


EVEN = pd.DataFrame(
    [
        ("Panels: price", "GBP/m2", 520.0, 291.4, (), -68.6, True, ""),
        ("Interest on the loan", "% a year", 9.0, 12.0, (30.0,), None, False, ""),
        ("Reservations", "no./month", 10.0, None, (), None, False,
         "Cannot be 0 GBP: −5,221 GBP at 6 no./month."),
    ],
    columns=["label", "unit", "now", "needed", "others", "over", "beyond", "reason"],
    dtype=object,
)  # fmt: skip


def test_what_must_be_true_is_drawn_nearest_first_and_told_in_pounds():
    html = money_charts.break_evens(EVEN, NAMES[1])
    near, far = html.split('<div class="sp-gauge-row">')[1:]
    assert "Interest on the loan" in near
    assert "+33 %" in near
    assert "−44 %" in far
    table = plainly(money_words.break_even_table(EVEN))
    assert "£68.6 a m² less than what it replaces; outside the range known for it" in table
    assert "Also at 30 % a year" in table
    assert "Cannot be £0: −£5,221 at 6 a month." in table
    assert "none would do" in table


def test_where_no_value_would_do_the_picture_says_so():
    none = EVEN[EVEN["label"] == "Reservations"]
    assert "No value of any one of them would do" in money_charts.break_evens(none, NAMES[1])


@pytest.mark.parametrize(
    ("draw", "columns"),
    [
        (lambda f: money_charts.money_goes(f, NAMES), "method, part, amount"),
        (lambda f: money_charts.two_views(f, NAMES), "method, cause, client, builder"),
        (lambda f: money_charts.week_curve(f, tokens("light")), "method, role, weeks, client, builder"),
        (lambda f: money_charts.paid_ahead(f, tokens("light")), "method, role, date, amount"),
        (lambda f: money_charts.break_evens(f, NAMES[1]), "label, now, needed"),
    ],
)
def test_a_frame_that_lacks_a_column_is_refused_by_name(draw, columns):
    with pytest.raises(RangeError, match=f"lacks .* It needs the columns {columns}"):
        draw(pd.DataFrame({"else": [1.0]}))


def test_the_curve_says_both_ends_and_whether_it_bends():
    frame = pd.DataFrame(
        {"method": "Panels", "role": "panels", "weeks": [-2.0, 0.0, 2.0], "client": [100.0, 0.0, -150.0],
         "builder": [10.0, 0.0, -10.0]}
    )  # fmt: skip
    sentence = money_charts.say_week_curve(frame)
    assert sentence.startswith("Two views, not to be added: Panels, 2 weeks sooner +£100 to the client")
    assert "2 weeks later −£150 and −£10; late costs 1.5 times what early gains" in sentence


# --- words ---------------------------------------------------------------------------------------------


def test_damages_are_the_same_money_not_on_top(pitch):
    figures = pitch.as_json()
    note = plainly(money_words.say_damages(figures, NAMES))
    assert "usually set from what the client loses" in note
    assert "the same money seen from the other side, not on top of it" in note
    basis = figures["methods"]["panelised"]["value_of_a_week"]["damages_basis"]
    assert money_charts.money(basis) in note


def test_the_answer_is_what_a_week_is_worth_to_the_client(pitch):
    figures = pitch.as_json()
    client = money_charts.money(figures["methods"]["open_frame"]["value_of_a_week"]["client"])
    assert f"a week sooner is worth {client} to the client" in plainly(
        "".join(answer.money_answer(figures, NAMES))
    )
    headline = answer.headline_figures(figures, NAMES)[1]
    assert (headline.value, headline.label) == (client, "what one week is worth to the client")
    assert "site costs passed on" in headline.note


def test_several_rates_of_return_are_all_said_once():
    reason = (
        "There are 2 rates of return, 3.00%, 21.00% a year, because the flows change sign more than once."
    )
    frame = pd.DataFrame(
        [
            ("Open frame", "irr", "Rate of return", None, "% a year", reason),
            ("Panels", "irr", "Rate of return", None, "% a year", reason),
            ("Panels", "equity_irr", "Rate of return of the equity", None, "% a year", "None found."),
        ],
        columns=["method", "name", "figure", "value", "unit", "reason"],
        dtype=object,
    )
    one, other = money_words.reasons(frame, NAMES)
    assert one.startswith("Rate of return: There are 2 rates of return, 3.00%, 21.00% a year")
    assert other == "Rate of return of the equity, Panels: None found."


def test_a_rate_that_is_missing_has_no_difference(forward):
    table = money_words.returns_table(drawn(forward, "money returns"), NAMES)
    row = re.search(r"<tr><th[^>]*><abbr[^>]*>Rate of return</abbr>.*?</tr>", table).group()
    assert plainly(row) == "Rate of returnnonenone"


def test_returns_favour_less_debt_and_more_profit(pitch):
    table = money_words.returns_table(drawn(pitch, "money returns"), NAMES)
    rows = re.findall(r"<tr><th.*?</tr>", table)
    debt = next(row for row in rows if "Most debt" in row)
    one, other = (case.account.peak_debt for case in pitch.cases)
    assert debt.count("Panels" if other < one else "Open frame") == 1


def test_tenures_are_said_block_by_block_where_they_differ():
    whole = read_scenario(written('tenure = "rent"'))
    assert money_words.tenures(whole) == "All flats are let."
    parts = whole.with_block("Heron", tenure="sale")
    assert money_words.tenures(parts) == (
        "Flats earn block by block: those of Heron are sold one by one and those of Teal and Swift are let."
    )


def test_what_is_let_says_when_it_is_sold_whole_and_nothing_of_reservations(let):
    lead = "".join(money_words.lead(let.as_json(), NAMES, let.scenario))
    assert "All flats are let. Homes let are sold whole on " in lead
    assert "Reserved" not in lead
    assert "VAT is left out" in lead


def test_limits_passed_are_said_for_each_method_or_that_none_is(let):
    passed = {case.method.id: [one.sentence for one in case.account.breaches] for case in let.cases}
    html = plainly(money_words.limits(passed, NAMES))
    assert html.count("the lenders allow 60 %") == 2
    assert "No limit of the lenders is passed" in money_words.limits({}, NAMES)


def test_the_longstop_is_said_before_and_after():
    figures = {
        "longstop": "2029-06-01",
        "methods": {
            "open_frame": {"last_handover": "2029-05-04"},
            "panelised": {"last_handover": "2029-06-15"},
        },
    }
    sentence = money_words.say_longstop(figures, NAMES)
    assert "owed by 1 Jun 2029, the longstop date" in sentence
    assert "4 weeks before it with the open frame and 2 weeks after it with panels" in sentence


def test_words_of_the_trade_explain_themselves_and_all_stand_at_the_foot():
    assert 'title="A share of measured work' in money_words.term("Contingency")
    assert money_words.term("Roof") == "Roof"
    foot = plainly(money_words.glossary())
    assert all(words in foot for words in money_words.TERMS)


def test_inflation_is_said_only_where_there_is_some(forward):
    assert money_words.say_inflation({"open_frame": 1.0, "panelised": 1.0}, NAMES) == ""
    factors = {case.method.id: case.account.work.inflation for case in forward.cases}
    assert "of rising prices" in money_words.say_inflation(factors, NAMES)


def test_the_cost_table_sums_each_part_and_all(pitch):
    table = plainly(money_words.cost_table(drawn(pitch, "money cost plan"), NAMES))
    for words in (
        "Measured work",
        "Construction with premium",
        "Site costs in all",
        "Land in all",
        "Finance in all",
    ):
        assert words in table
    order = [
        table.index(words) for words in ("Contingency", "Bond over", "Construction with premium", "All costs")
    ]
    assert order == sorted(order)
    for case in pitch.cases:
        assert money_charts.money(case.account.cost_of("total")) in table


def test_title_to_goods_in_the_factory_is_left_to_lawyers():
    assert "lawyers draft and decide it, not this page" in money_words.VESTING


# --- edits ---------------------------------------------------------------------------------------------


@pytest.fixture
def draft():
    return read_scenario(text_of("pitch.toml"))


def test_a_premium_sets_the_rate_to_what_is_replaced_and_more(draft):
    base = edits.record_value(draft, FRAMED)
    after = edits.with_premium(draft, OUTER, FRAMED, 90.0)
    assert dict(after.overrides)[OUTER] == (base + 90.0, edits.REASON)
    assert FRAMED not in dict(after.overrides)


def test_a_premium_rests_on_the_rate_as_the_scenario_has_it(draft):
    dearer = edits.with_record(draft, FRAMED, 400.0)
    after = edits.with_premium(dearer, OUTER, FRAMED, 90.0)
    assert edits.record_value(after, OUTER) == 490.0
    assert edits.record_value(after, FRAMED) == 400.0


def test_a_premium_that_gives_the_librarys_rate_is_no_override(draft):
    library = read_library()
    away = edits.with_premium(draft, OUTER, FRAMED, 1.0)
    back = edits.with_premium(away, OUTER, FRAMED, library[OUTER].value - library[FRAMED].value)
    assert OUTER not in dict(back.overrides)
    assert OUTER not in dict(edits.with_premium(away, OUTER, FRAMED, None).overrides)


def test_options_that_replace_something_come_with_panels_first(draft):
    found = replacing(draft)
    made = [bool(option.panels) for option in found]
    assert made == sorted(made, reverse=True)
    assert OUTER.removesuffix(".rate") in {option.key for option in found}
    assert all(option.replaces != option.id for option in found)


def test_a_path_is_put_in_order_and_a_row_that_lacks_a_figure_is_not_in_it():
    base = ((0.0, 3.75), (24.0, 3.0))
    done = {
        "edited_rows": {1: {"value": 3.25}},
        "added_rows": [{"month": 12, "value": 3.5}, {"month": 36}, {}],
        "deleted_rows": [],
    }
    assert edits.path_edited(base, done) == (((0.0, 3.75), (12.0, 3.5), (24.0, 3.25)), 1)
    assert edits.path_edited(base, {"deleted_rows": [0, 1]}) == ((), 0)
    assert list(edits.path_rows(base).columns) == ["month", "value"]


def test_a_path_out_of_range_is_refused_with_its_row(draft):
    wrong = edits.with_development(draft, base_rate_path=((0.0, 45.0),))
    with pytest.raises(ScenarioError, match=r"base_rate_path\[1\]: 45 is outside -2 to 30"):
        wrong.with_changes()


def test_a_block_takes_a_tenure_of_its_own_and_gives_it_back(draft):
    own = edits.with_block(draft, 0, tenure="rent").with_changes()
    assert own.tenure_of(own.blocks[0]) == "rent"
    assert own.tenure_of(own.blocks[1]) == "sale"
    assert edits.with_block(own, 0, tenure=None).with_changes() == draft


def test_every_money_record_asked_for_is_in_the_library_and_none_twice():
    library = read_library().records
    groups = [key for group in development.MONEY for key in group.keys]
    assert len(groups) == len(set(groups))
    for earns in ({"sale"}, {"rent"}, {"forward sale"}, set(TENURES)):
        first = development.first_money(earns)
        assert len(first) == len(set(first))
        assert not set(first) & {f"money.{key}" for key in groups}
        assert all(key in library for key in first)
    assert all(f"money.{key}" in library for key in groups)


# --- the views -----------------------------------------------------------------------------------------


ORDER = (
    "What comes of it",
    "Where the difference in money comes from",
    "What one week is worth",
    "Cost plan",
    "What panels cost",
    "What the site costs while it stands",
    "Debt, equity, receipts and costs by month",
    "Paid before panels are fixed",
    "What would have to be true",
    "Held against published figures",
    "Words used here",
)


def headings(page):
    bodies = [one.proto.body for one in page.get("html")]
    return [plainly(found) for body in bodies for found in re.findall(r"<h2>.*?</h2>", body)]


def test_the_money_is_told_in_order():
    page = open_view("money")
    assert headings(page) == list(ORDER)
    words = said(page)
    assert "measured work, the loans and their fees are held" in words
    assert "All flats are sold one by one" in words
    assert "Reserved by their handover" in words


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('tenure = "rent"', "Homes let, sold whole"),
        ('tenure = "rent"\nrent_exit = "fixed date"', "Homes let are sold whole on 5 Apr 2031."),
        ('tenure = "forward sale"', "All flats are sold whole before they are built"),
    ],
)
def test_the_money_of_every_tenure_is_shown(more, words):
    page = open_view("money", written(more))
    assert headings(page) == list(ORDER)
    assert words in said(page)


def test_without_panels_nothing_is_said_of_a_panel_maker():
    methods = '\n[[methods]]\nid = "open_frame"\n[[methods]]\nid = "open_frame_best"\n'
    page = open_view("money", MINIMAL + methods)
    shown = headings(page)
    assert "Paid before panels are fixed" not in shown
    assert "What panels cost" not in shown
    assert "What takes the place of something costs" in shown
    assert "Block by block" not in said(page)


def test_a_third_method_stands_in_every_table():
    methods = "".join(
        f'\n[[methods]]\nid = "{one}"\n' for one in ("open_frame", "panelised", "open_frame_best")
    )
    page = open_view("money", MINIMAL + methods)
    assert said(page).count("Best open frame") >= 8


def test_price_and_premium_of_panels_follow_each_other():
    page = open_view("money")
    before = said(page)
    price = "Finished panels, set before the deck over: price, £/m²"
    premium = "Premium over what it replaces, £/m²"
    field(page, "number_input", premium).set_value(100.0).run()
    assert not page.exception
    base = read_library()[FRAMED].value
    assert field(page, "number_input", price).value == base + 100.0
    assert "changed by you" in said(page)
    assert said(page) != before
    field(page, "number_input", price).set_value(base + 40.0).run()
    assert field(page, "number_input", premium).value == 40.0
    field(page, "button", f"Back to the library's {read_library()[OUTER].value:g}").click().run()
    assert field(page, "number_input", premium).value == read_library()[OUTER].value - base
    assert "changed by you" not in said(page)


def test_a_price_of_one_methods_own_is_said_beside_the_fields():
    methods = (
        '\n[[methods]]\nid = "open_frame"\n[[methods]]\nid = "panelised"\n'
        f'[methods.overrides]\n"{OUTER}" = 480\n'
    )
    page = open_view("money", MINIMAL + methods)
    assert "Panels: a price of its own is set in the scenario file; these fields do not reach it." in said(
        page
    )


def test_what_must_be_true_is_worked_out_on_request_and_kept(monkeypatch):
    asked = []

    def work_out(comparison, progress):
        asked.append(comparison)
        progress(1, 2)
        return EVEN

    monkeypatch.setattr(money_frames, "break_evens", work_out)
    page = open_view("money")
    assert not asked
    field(page, "button", "Work out what would have to be true").click().run()
    assert not page.exception
    assert "less than what it replaces" in said(page)
    page.run()
    assert len(asked) == 1
    assert "less than what it replaces" in said(page)


def test_break_evens_of_the_model_come_as_a_frame(monkeypatch, pitch):
    from model.explain.breakeven import ready_break_evens

    answers = [one for one in ready_break_evens(pitch) if one.topic == "premium"][:2]
    monkeypatch.setattr(money_frames, "ready_break_evens", lambda *_: answers)
    frame = money_frames.break_evens(pitch)
    assert list(frame["label"]) == [one.label for one in answers]
    for row, one in zip(frame.to_dict("records"), answers, strict=True):
        assert (row["needed"] is None) == (not one.roots)
        assert bool(row["reason"]) == (not one.roots)


def test_the_rent_is_asked_for_only_where_something_is_let():
    page = open_view("development")
    assert "Rent, £ a flat a month" not in labels(page)
    assert "Reservations, a month" in labels(page)
    field(page, "selectbox", "Flats are").set_value("rent").run()
    assert not page.exception
    assert "Rent, £ a flat a month" in labels(page)
    assert "Reservations, a month" not in labels(page)
    assert "Homes let are sold whole, after the start on site, months" not in labels(page)
    field(page, "selectbox", "Homes let are sold whole").set_value("fixed date").run()
    assert "Homes let are sold whole, after the start on site, months" in labels(page)
    field(page, "selectbox", "Flats are").set_value("forward sale").run()
    assert "Discount of a forward sale, %" in labels(page)


def test_one_block_may_be_let_alone_and_then_both_groups_are_asked_for():
    page = open_view("development")
    field(page, "selectbox", "Its flats").set_value("rent").run()
    assert not page.exception
    assert {"Rent, £ a flat a month", "Reservations, a month"} <= labels(page)
    field(page, "selectbox", "Its flats").set_value("").run()
    assert "Rent, £ a flat a month" not in labels(page)


def test_a_longstop_before_the_start_is_said_beside_its_field():
    page = open_view("development")
    field(page, "date_input", "Longstop date, if agreed").set_value(dt.date(2027, 1, 4)).run()
    words = said(page)
    assert "2027-01-04 is not after the start on site" in words
    assert "or leave it blank" in words
    assert "development.longstop" not in words


def test_a_panel_maker_paid_more_than_the_price_is_said_in_the_words_of_the_fields():
    page = open_view("development")
    field(page, "number_input", "Deposit to the panel maker at order, %").set_value(70.0).run()
    words = said(page)
    assert "The panel maker would be paid 110% of the price before delivery" in words
    assert "lower one of the two" in words
    assert "money.factory" not in words
    field(page, "button", "Go back to the last good answer").click().run()
    assert "would be paid" not in said(page)
