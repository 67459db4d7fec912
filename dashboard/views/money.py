"""Money: what does each method cost, when is it paid, and what is a week worth?"""

from __future__ import annotations

import streamlit as st

from dashboard import state
from dashboard.parts import answer, charts, theme
from dashboard.parts.layout import chart, html
from model.inputs.method import read_catalogue

OTHER_LINES = {
    "preliminaries": "Site costs that run with time",
    "fees": "Fees",
    "land": "Land",
    "finance": "Finance",
}


def show() -> None:
    """Show cash by month, the cost plan, the worth of a week and the returns."""
    shown = state.shown()
    figures, names = shown.figures, shown.names
    html(
        theme.sentence(
            *answer.money_answer(figures, names),
            under=["Sums are in pounds of the prices' own dates. VAT is left out."],
        )
    )
    html(theme.section("Returns"), answer.returns_table(figures, names))
    html(
        theme.section("What one week is worth", "Every handover a week sooner, everything else as it is."),
        answer.week_table(figures, names),
    )
    html(theme.section("Debt, receipts and costs by month"))
    cash = shown.frame("cash")
    pounds = st.column_config.NumberColumn
    chart(
        "cash-by-month",
        charts.cash(cash, shown.colours),
        charts.say_cash(cash),
        cash,
        names,
        {
            "method": "Method",
            "month_end": st.column_config.DateColumn("Month ends", format="D MMM YYYY"),
            "cost": pounds("Costs, £", format="localized", step=1),
            "receipts": pounds("Receipts, £", format="localized", step=1),
            "debt": pounds("Debt, £", format="localized", step=1),
        },
    )
    html(theme.section("Cost plan", "Measured work by element with contingency, then what runs beside it."))
    plan = shown.frame("cost_plan")
    labels = {**read_catalogue().elements, **OTHER_LINES}
    html(answer.cost_table(plan, names, labels))
