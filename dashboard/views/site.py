"""Site: how many people, lifts and loads, and who lets them?"""

from __future__ import annotations

import streamlit as st

from dashboard import state
from dashboard.parts import answer, charts, theme
from dashboard.parts.layout import chart, html
from model.inputs.method import read_catalogue


def show() -> None:
    """Show people, hook hours and loads by week, trades and packages."""
    shown = state.shown()
    figures, names = shown.figures, shown.names
    html(theme.sentence(*answer.site_answer(figures, names)))
    html(answer.contrast_table(figures, names, answer.PEOPLE + answer.LIFTING))

    week = st.column_config.DateColumn("Week of", format="D MMM YYYY")
    whole = st.column_config.NumberColumn
    html(
        theme.section(
            "People", "Operatives, logistics and management on site, mean of each week's open days."
        )
    )
    people = shown.frame("people")
    chart(
        "people-by-week",
        charts.people_by_week(people, shown.colours),
        charts.say_people(people),
        people,
        names,
        {"method": "Method", "week": week, "operatives": whole("Operatives", format="%.0f")},
    )
    html(theme.section("Hook hours", "What each crane lifts in a week against the hours it can fly."))
    hooks = shown.frame("hooks")
    chart(
        "hook-hours-by-week",
        charts.hook_hours(hooks, shown.colours),
        charts.say_hook_hours(hooks),
        hooks,
        names,
        {
            "method": "Method",
            "crane": "Crane",
            "week": week,
            "used": whole("Hours used", format="%.1f"),
            "available": whole("Hours there are", format="%.1f"),
        },
    )
    html(theme.section("Lorry loads"))
    loads = shown.frame("loads")
    chart(
        "loads-by-week",
        charts.loads_by_week(loads, shown.colours),
        charts.say_loads(loads),
        loads,
        names,
        {"method": "Method", "week": week, "loads": whole("Loads", format="%.0f")},
    )
    html(theme.section("Trades and packages", "Work that exists, counted; nobody is left out."))
    sites = [case.site for case in shown.comparison.cases]
    label_of = {name: trade.label for name, trade in read_catalogue().trades.items()}
    html(
        answer.listed_table("Trade", [[label_of[name] for name in site.trades] for site in sites], names),
        answer.listed_table("Package", [site.packages for site in sites], names),
    )
