"""Assumptions: what does the answer rest on, within what range, on whose word?"""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import state
from dashboard.parts import answer, theme
from dashboard.parts.fields import label_of, record_field, unit_words
from dashboard.parts.layout import download, html, problems
from dashboard.views.case import CAUTION, warnings
from model.inputs.assumption import EVIDENCE, read_library

WEAK = ("practice", "chosen")
COLUMNS = {
    "key": "Key",
    "label": "What it is",
    "value": "Value",
    "low": "Low",
    "high": "High",
    "unit": "Unit",
    "evidence": "Evidence",
    "mark": "Had by",
    "overridden": "Changed",
    "why": "Why",
    "source": "Source",
    "shared": "Same for all methods",
}


def show() -> None:
    """Show every record, found by word, grade or change, and let any one be changed."""
    shown = state.shown()
    register = shown.frame("register")
    changed = register[register["overridden"] == "yes"]
    weak = register[register["evidence"].isin(WEAK)]
    html(
        theme.sentence(
            *answer.register_answer(len(register), len(changed), len(weak)),
            under=["Evidence, strongest first: standard, measured, published, practice, chosen."],
        )
    )
    _change_one()
    html(theme.section("Every value"))
    found = _search(register)
    st.dataframe(
        found[list(COLUMNS)],
        hide_index=True,
        width="stretch",
        height=560,
        column_config={
            **COLUMNS,
            "label": st.column_config.TextColumn("What it is", width="large"),
            "source": st.column_config.TextColumn("Source", width="medium"),
            "key": None,
        },
        key="register",
    )
    html(f'<p class="sp-note">{len(found):,} of {len(register):,} values.</p>')
    download("assumptions", found)
    warnings(shown)
    html(theme.section("What this does not decide"), theme.caution(CAUTION))


def _change_one() -> None:
    now = state.sitting()
    library = read_library()
    html(theme.section("Change any value"))
    left, right = st.columns(2, gap="large")
    with left:
        key = st.selectbox(
            "Which",
            list(library.records),
            index=None,
            format_func=lambda key: label_of(library[key]),
            placeholder="Type a word of it",
            key="which_record",
        )
    with right:
        if key:
            record_field(key)
    problems(now.refusal.title, [said for _where, said in now.refusal.problems])


def _search(register: pd.DataFrame) -> pd.DataFrame:
    words, grades, only = st.columns([2, 3, 1.2], gap="large", vertical_alignment="bottom")
    with words:
        asked = st.text_input("Search", key="search", placeholder="crane, price, cure, ...")
    with grades:
        wanted = st.pills("Evidence", EVIDENCE, selection_mode="multi", key="grades")
    with only:
        changed = st.toggle("Changed only", key="changed_only")
    found = register.assign(unit=register["unit"].map(unit_words))
    for word in asked.lower().split():
        text = found["key"] + " " + found["label"] + " " + found["source"] + " " + found["unit"]
        found = found[text.str.lower().str.contains(word, regex=False)]
    if wanted:
        found = found[found["evidence"].isin(wanted)]
    return found[found["overridden"] == "yes"] if changed else found
