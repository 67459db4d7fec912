"""Money: what comes of each method, what is a week worth and to whom, and what is it made of?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard import state
from dashboard.parts import answer, charts, money_charts, money_words, theme
from dashboard.parts.fields import price_fields, replacing
from dashboard.parts.layout import chart, download, figures_behind, html, problems
from model.money.curves import BAND
from model.report import money_frames

_column = st.column_config
_number = _column.NumberColumn
_date = _column.DateColumn


def show() -> None:
    """Show what comes of each method, then why, then what it is made of."""
    shown = state.shown()
    figures, names = shown.figures, shown.names
    html(money_words.css())
    html(
        theme.sentence(
            *answer.money_answer(figures, names), under=money_words.lead(figures, names, shown.scenario)
        )
    )
    _returns(shown)
    _difference()
    _week(shown)
    _cost_plan(shown)
    _prices(shown)
    _site_costs(shown)
    _cash(shown)
    _maker(shown)
    _must_be_true()
    _published(shown)
    html(theme.section("Words used here", "The same stand where a dotted line invites to point."))
    with st.expander("Every word"):
        html(money_words.glossary())


def _pounds(words: str) -> Any:
    return _number(words, format="localized", step=1)


# ------------------------------------------------------------------------------------------- returns


def _returns(shown: state.Shown) -> None:
    frame, names = shown.frame("money returns"), shown.names
    html(
        theme.section("What comes of it", "What the receipts pay for, to one scale, and what is left."),
        money_charts.money_goes(shown.frame("money goes"), names),
        money_words.returns_table(frame, names),
        "".join(f'<p class="sp-note">{theme.text(one)}</p>' for one in money_words.reasons(frame, names)),
        money_words.limits(
            {
                case.method.id: [one.sentence for one in case.account.breaches]
                for case in shown.comparison.cases
            },
            names,
        ),
        f'<p class="sp-note">{theme.text(money_words.say_longstop(shown.figures, names))}</p>',
    )
    download("returns", frame.drop(columns="role"))


# ------------------------------------------------------------------------------- what a week is worth


def _week(shown: state.Shown) -> None:
    figures, names = shown.figures, shown.names
    frame, curve = shown.frame("money week"), shown.frame("money week curve")
    html(
        theme.section(
            "What one week is worth",
            "Every handover a week sooner, seen by the client and by the builder: two views, never to be "
            "added. ",
            money_words.HELD,
        ),
        f'<p class="sp-say">{theme.text(money_words.say_week(figures, names))}</p>',
        theme.method_key([(one.label, one.role) for one in names]),
        money_charts.two_views(frame, names),
        money_words.say_damages(figures, names),
    )
    with st.expander("A week by cause, as a table"):
        html(money_words.week_table(frame, names))
        download("week-by-cause", frame.drop(columns="role"))
    html(
        '<h3 class="sp-sub">Weeks sooner and weeks later</h3>',
        f'<p class="sp-note">{theme.text(money_words.bent(shown.scenario))}</p>',
    )
    chart(
        "week-curve",
        money_charts.week_curve(curve, shown.colours),
        money_charts.say_week_curve(curve),
        curve,
        names,
        {
            "method": "Method",
            "weeks": _number("Weeks moved, sooner below 0", format="%.0f"),
            "profit": _pounds("Profit, £"),
            "npv": _pounds("Net present value, £"),
            "client": _pounds("To the client, £"),
            "builder": _pounds("To the builder, £"),
            **{cause: _pounds(f"{words}, £") for cause, words in money_charts.CAUSE_WORDS.items()},
        },
    )
    if len(shown.scenario.blocks) > 1:
        blocks = shown.frame("money week blocks")
        html(
            '<h3 class="sp-sub">Block by block</h3>',
            f'<p class="sp-note">{theme.text(money_words.say_blocks(blocks, names))}</p>',
            money_words.blocks_table(blocks, names),
        )
        download("week-by-block", blocks.drop(columns="role"))


# ----------------------------------------------------------------------------------------- cost plan


def _cost_plan(shown: state.Shown) -> None:
    frame, names = shown.frame("money cost plan"), shown.names
    inflation = {case.method.id: case.account.work.inflation for case in shown.comparison.cases}
    html(
        theme.section(
            "Cost plan",
            "Where the second method is dearer and where it is cheaper; below it every line, quantity "
            "times rate.",
        ),
        money_charts.line_differences(frame, names),
        f'<p class="sp-note">{theme.text(money_words.say_inflation(inflation, names))}</p>',
    )
    with st.expander("Every line of the cost plan", expanded=True):
        html(money_words.cost_table(frame, names))
        download("cost-plan", frame.drop(columns="role"))
    rates = shown.frame("money rates")
    html('<h3 class="sp-sub">For a square metre and for a flat</h3>', money_words.rates_table(rates, names))
    download("cost-by-size", rates.drop(columns="role"))


def _prices(shown: state.Shown) -> None:
    """Ask for the prices of what replaces something, each as a rate and as a premium."""
    comes_to: dict[str, str] = {}
    for case in shown.comparison.cases:
        comes_to |= money_words.premiums(case.account.work.plan)
    now = state.sitting()
    options = replacing(now.draft)
    panels = [option for option in options if option.panels]
    others = [option for option in options if not option.panels]
    if not options:
        return
    html(
        theme.section(
            "What panels cost" if panels else "What takes the place of something costs",
            "As a price, and as a premium over what is replaced: change either and the other follows. "
            "Everything "
            "on this page is worked out again.",
        )
    )
    price_fields(panels or others, comes_to)
    if panels and others:
        with st.expander("What else replaces something"):
            price_fields(others, comes_to)
    problems(now.refusal.title, now.refusal.under("overrides 'option", "programme"))


def _site_costs(shown: state.Shown) -> None:
    frame, names = shown.frame("money preliminaries"), shown.names
    labels = money_frames.KINDS_OF_SITE
    html(
        theme.section(
            "What the site costs while it stands",
            "Of the ",
            money_words.term("Preliminaries", "preliminaries"),
            ", a part runs with time and shrinks with it, a part is fixed, and a part goes by the value of "
            "the works.",
        ),
        money_charts.site_costs(frame, names),
    )
    with st.expander("Item by item"):
        html(
            '<p class="sp-note">Weeks of all cranes, hoists and blocks together.</p>',
            money_words.preliminaries_table(frame, names, labels),
        )
        download("site-costs", frame.drop(columns="role"))


# -------------------------------------------------------------------------------- cash, panel maker


def _cash(shown: state.Shown) -> None:
    cash, names = shown.frame("money cash"), shown.names
    if not charts.has_mezzanine(cash):
        cash = cash.drop(columns="mezzanine")
    html(
        theme.section(
            "Debt, equity, receipts and costs by month",
            "Equity is spent first and had back last; its account dips by what it has put in and ends at "
            "the profit.",
        )
    )
    chart(
        "cash-by-month",
        charts.cash(cash, shown.colours),
        charts.say_cash(cash),
        cash,
        names,
        {
            "method": "Method",
            "month_end": _date("Month ends", format="D MMM YYYY"),
            "cost": _pounds("Costs, £"),
            "receipts": _pounds("Receipts, £"),
            "debt": _pounds("Debt, £"),
            "mezzanine": _pounds("Of it mezzanine, £"),
            "equity": _pounds("Equity, had back less put in, £"),
        },
    )
    receipts = shown.frame("money receipts")
    html('<h3 class="sp-sub">What comes in</h3>', money_words.receipts_table(receipts, names))
    figures_behind(
        "receipts-by-kind",
        receipts.drop(columns="role"),
        {
            "method": "Method",
            "kind": "Kind",
            "month_end": _date("Month ends", format="D MMM YYYY"),
            "amount": _pounds("Sum, £"),
        },
    )


def _maker(shown: state.Shown) -> None:
    """Show what is paid for panels before they are fixed, where a method has any."""
    ahead, paid = shown.frame("money paid ahead"), shown.frame("money maker")
    makers = [name for name in shown.names if shown.figures["methods"][name.id]["factory"]]
    if not makers or not len(ahead):
        return
    html(
        theme.section(
            "Paid before panels are fixed",
            "The panel maker is paid ahead of other trades. What is paid for panels that do not yet stand "
            "is at risk.",
        )
    )
    chart(
        "paid-ahead",
        money_charts.paid_ahead(ahead, shown.colours),
        money_charts.say_paid_ahead(ahead),
        ahead,
        makers,
        {
            "method": "Method",
            "date": _date("Date", format="D MMM YYYY"),
            "amount": _pounds("Paid and not fixed, £"),
        },
    )
    for name in makers:
        said = money_words.say_maker(shown.figures["methods"][name.id]["factory"])
        items = "".join(f"<li>{theme.text(one)}</li>" for one in said)
        head = f'<h3 class="sp-sub">{name.headed}</h3>' if len(makers) > 1 else ""
        html(
            f'{head}<ul class="sp-facts">{items}</ul>',
            money_words.maker_table(paid[paid["method"] == name.label]),
        )
    html(theme.caution(money_words.term("Vesting"), ". ", money_words.VESTING))
    download("payments-to-the-panel-maker", paid.drop(columns="role"))


# ------------------------------------------------------- difference, what must be true, published figures


@st.fragment
def _difference() -> None:
    """Show where the difference in money comes from."""
    shown = state.shown()
    figures, names = shown.figures, shown.names
    steps, said = (
        pd.DataFrame(figures["difference"]["money"]["steps"]),
        figures["difference"]["money"]["said"],
    )
    html(theme.section("Where the difference in money comes from", *said[:1]))
    if not len(steps):
        html('<p class="sp-note">The two methods do not differ in money.</p>')
        return
    column = _asked_figure()
    one, other = (float(figures["methods"][name.id][column]) for name in names[:2])
    html(
        '<p class="sp-bars-unit">From one to the other, cause by cause, interest and fees included, '
        "averaged over every order of switching; each in the colour of the method it favours</p>",
        money_charts.bridge(steps, names, one, other, column),
        "".join(f'<p class="sp-note">{theme.text(one)}</p>' for one in _beyond_the_picture(said)),
    )
    with st.expander("Cause by cause, as a table"):
        html(money_words.bridge_table(steps))
        download("where-the-money-comes-from", steps)


def _beyond_the_picture(said: Sequence[str]) -> list[str]:
    """Return the sentences on a difference that neither heading nor picture has said yet."""
    return [one for one in said[1:] if not one.startswith("Profit by cause")]


def _asked_figure() -> str:
    """Ask whether profit or present value is split."""
    words = {"profit": "Profit", "npv": "Net present value"}
    picked = st.segmented_control(
        "Of what", list(words), default="profit", format_func=words.__getitem__, key="bridge_of",
        label_visibility="collapsed",
    )  # fmt: skip
    return picked or "profit"


@st.fragment
def _must_be_true() -> None:
    """Show what would have to be true for the first two methods to come out even, worked out on request."""
    shown = state.shown()
    first, second = shown.names[0], shown.names[1]
    html(
        theme.section(
            "What would have to be true",
            f"One figure is moved at a time until {second.plainly} and {first.plainly} leave the same "
            "profit; all else "
            "as it is. Each step schedules and prices again.",
        )
    )
    kept: dict[str, pd.DataFrame] = st.session_state.setdefault(_EVEN, {})
    key = f"{shown.scenario.fingerprint()} {shown.scenario!r}"
    if key not in kept:
        found = _worked_out(shown)
        if found is None:
            return
        kept[key] = found
        for old in list(kept)[:-MOST_KEPT]:
            del kept[old]
    html(money_charts.break_evens(kept[key], second), money_words.break_even_table(kept[key]))
    download("what-would-have-to-be-true", kept[key])


_EVEN: Final = "money_break_evens"

MOST_KEPT: Final = 4
"""Scenarios whose answers a sitting keeps."""


def _worked_out(shown: state.Shown) -> pd.DataFrame | None:
    """Offer a button; once pressed, work out with a bar of progress."""
    place = st.empty()
    if not place.button("Work out what would have to be true", key="run_break_evens"):
        return None
    bar = place.progress(0.0, "Trying values …")

    def told(done: int, steps: int) -> None:
        bar.progress(min(1.0, done / max(steps, 1)), f"{done} of {steps} questions answered")

    found = money_frames.break_evens(shown.comparison, told)
    place.empty()
    return found


def _published(shown: state.Shown) -> None:
    """Show the cost plan and the curve of spend beside what is published."""
    names, figures = shown.names, shown.frame("money published")
    html(
        theme.section(
            "Held against published figures",
            "Other people's figures: their range tinted, their usual value a hairline. They decide "
            "nothing; outside "
            "means look again.",
        ),
        theme.method_key([(one.label, one.role) for one in names]),
        money_charts.against_published(figures, names),
        f'<p class="sp-note">{theme.text(money_charts.say_published(figures, names))}</p>',
    )
    why = [one for one in dict.fromkeys(figures["why"]) if one]
    with st.expander("Why outside, and whose figures"):
        items = "".join(f"<li>{theme.text(one)}</li>" for one in why)
        html(
            f'<ul class="sp-facts">{items}</ul>' if items else "", money_words.published_table(figures, names)
        )
        download("published-figures", figures.drop(columns="role"))
    spend, curves = shown.frame("money spend"), money_frames.published_curves()
    html(
        '<h3 class="sp-sub">How the money is spent over the time</h3>'
        '<p class="sp-note">From the start on site to the last handover, before payment lag and retention. '
        "A factory "
        "paid ahead makes an early curve, as it should.</p>"
    )
    chart(
        "spend-curve",
        money_charts.spend_curve(spend, curves, shown.colours, BAND),
        " ".join(
            [money_charts.say_spend_curve(spend, curves, BAND), *money_frames.spend_notes(shown.comparison)]
        ),
        pd.concat(
            [spend.drop(columns="role"), curves.rename(columns={"curve": "method"})], ignore_index=True
        ),
        names,
        {
            "method": "Method or published curve",
            "time": _number("Share of the time", format="%.3f"),
            "share": _number("Share of the money", format="%.3f"),
        },
    )
