"""Programme: when is each storey of each block done, and at what pace?"""

from __future__ import annotations

import streamlit as st

from dashboard import state
from dashboard.parts import answer, charts, theme
from dashboard.parts.layout import chart, html
from model.inputs.method import read_catalogue


def show() -> None:
    """Show storeys against time, the dates of every block, and gangs."""
    shown = state.shown()
    figures, names = shown.figures, shown.names
    html(
        theme.sentence(*answer.programme_answer(figures, names), under=[answer.factory_line(figures, names)])
    )
    html(
        theme.section(
            "Storeys against time",
            "A band is one stage of work climbing the block, its heavy edge the finish of each storey. "
            "A steeper band is a faster pace.",
        )
    )
    frame = shown.frame("storeys")
    date = st.column_config.DateColumn
    chart(
        "storeys-against-time",
        charts.storeys_against_time(frame, shown.colours),
        charts.say_storeys(frame),
        frame,
        names,
        {
            "method": "Method",
            "block": "Block",
            "storey": "Storey",
            "stage": "Stage",
            "start": date("Start", format="D MMM YYYY"),
            "finish": date("Finish", format="D MMM YYYY"),
            "trade": "Trade that ends it",
            "why": "What held it",
        },
    )
    html(
        theme.section("Dates", "Ready: approved and fit to be lived in, as local codes decide."),
        answer.dates_table(figures, names),
    )
    trades = {name: trade.label for name, trade in read_catalogue().trades.items()}
    html(
        theme.section("Gangs", "Places a trade can work at once; the same rule sets them for every method."),
        answer.gangs_table(figures, names, trades),
    )
