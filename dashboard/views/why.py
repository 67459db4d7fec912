"""Where it comes from: which part of the building brings which weeks and which money, and what differs at "
"all?"""

from __future__ import annotations

from typing import Final

import pandas as pd
import streamlit as st

from dashboard import state
from dashboard.parts import money_words, theme, why_charts
from dashboard.parts.layout import download, html
from model.explain.credit import Explanation
from model.report import sure_frames

OF: Final = "why_of"

ALL: Final = ""

_column = st.column_config


def show() -> None:
    """Show which part brings what, which parts need each other, and everything in which the methods "
    "differ."""
    shown = state.shown()
    names = shown.names
    html(money_words.css(), why_charts.css())
    explanation = _explained()
    mixtures = 2 ** len(explanation.players)
    html(
        theme.sentence(
            *why_charts.headline(sure_frames.groups(explanation), names),
            under=[why_charts.lead(len(explanation.players), mixtures), " ", why_charts.WEEKS_OF],
        )
    )
    if not explanation.players:
        html('<p class="sp-note">No record, option, link or calendar differs.</p>')
        return
    _shares()
    _differences()


def _explained() -> Explanation:
    """Return the explanation of the present scenario; with a bar of progress the first time."""
    place = st.empty()

    def told(done: int, runs: int) -> None:
        place.progress(min(1.0, done / max(runs, 1)), f"Mixture {done} of {runs} scheduled and priced")

    found = state.explained(told)
    place.empty()
    return found


# ------------------------------------------------------------------------------------------- shares


@st.fragment
def _shares() -> None:
    """Show what walls and the rest, then each part, add to a measure the reader picks."""
    names, explanation = state.shown().names, state.explained()
    html(
        theme.section(
            "Which part brings what",
            "Gains and losses alike, first the walls against everything else, then part by part.",
        )
    )
    measure = _asked_measure()
    total = explanation.measures[measure].total
    groups = _of(sure_frames.groups(explanation), measure)
    parts = _of(sure_frames.shares(explanation), measure)
    groups = groups[groups["label"] != ""]
    html(
        theme.method_key([(one.label, one.role) for one in names[:2]]),
        why_charts.share_key(),
        '<h3 class="sp-sub">Walls, and everything else</h3>',
        why_charts.shares(groups, names, measure, total),
        f'<p class="sp-note">{theme.text(why_charts.GROUPED)}</p>',
        '<h3 class="sp-sub">Part by part</h3>',
        why_charts.shares(parts, names, measure, total),
        f'<p class="sp-say">{theme.text(why_charts.say_shares(parts, names, measure, total))}</p>',
    )
    said = [*why_charts.say_pairs(sure_frames.pairs(explanation), measure)]
    said += why_charts.say_joined(sure_frames.joined(explanation))
    html("".join(f'<p class="sp-note">{theme.text(one)}</p>' for one in said))
    with st.expander("As tables: every share, and every two parts"):
        html(why_charts.shares_table(parts, measure, total))
        download("shares", sure_frames.shares(explanation))
        html(
            '<h3 class="sp-sub">Two parts at a time</h3>'
            '<p class="sp-note">Exchanged in the first method. What they do by meeting is what both do less '
            "what each does alone.</p>",
            why_charts.pairs_table(sure_frames.pairs(explanation), measure),
        )
        download("pairs-of-parts", sure_frames.pairs(explanation))


def _of(frame: pd.DataFrame, measure: str) -> pd.DataFrame:
    return frame[frame["measure"] == measure]


def _asked_measure() -> str:
    labels = {name: said.label for name, said in why_charts.MEASURES.items()}
    picked = st.segmented_control(
        "Of what", list(labels), default=next(iter(labels)), format_func=labels.__getitem__, key=OF,
        label_visibility="collapsed",
    )  # fmt: skip
    return picked or next(iter(labels))


# --------------------------------------------------------------------------------------- differences


@st.fragment
def _differences() -> None:
    """List everything in which the methods differ, and say that the rest is identical."""
    names, explanation = state.shown().names, state.explained()
    every = sure_frames.differences(explanation)
    own, same = sure_frames.with_effect(every), sure_frames.identical(explanation)
    html(
        theme.section(
            "Everything in which they differ",
            why_charts.say_own(len(own), len(every) - len(own), len(same)),
        ),
        f'<p class="sp-bars-unit">What becomes of {names[1].plainly} when one difference is taken away, all '
        "else as it is; in the colour of the method that the difference favours</p>",
        why_charts.own_table(own, names),
    )
    download("differences-with-effect", own.drop(columns=["parts", "searched"]))
    with st.expander(f"Every difference: {len(every):,}"):
        _list(every, names[0].label, names[1].label)
    with st.expander(f"Every value that is the same in both: {len(same):,}"):
        st.dataframe(
            same,
            hide_index=True,
            width="stretch",
            height=360,
            column_config={
                "key": None,
                "label": _column.TextColumn("What it is", width="large"),
                "value": _column.NumberColumn("Value", format="%.6g"),
                "unit": "Unit",
            },
            key="same_in_both",
        )
        download("identical-values", same)


def _list(every: pd.DataFrame, first: str, second: str) -> None:
    """Show the list of differences as far as the reader's words and choices let it."""
    words, part, kind = st.columns([2, 1.5, 1.5], gap="large", vertical_alignment="bottom")
    parts = list(dict.fromkeys(one for parts in every["parts"] for one in parts))
    kinds = list(dict.fromkeys(every["kind"]))
    with words:
        asked = st.text_input("Search", key="why_search", placeholder="crane, props, price, ...")
    with part:
        of = st.selectbox(
            "Part",
            [ALL, *parts],
            format_func=lambda one: one or "All parts",
            key=f"why_part_{'|'.join(parts)}",
        )
    with kind:
        what = st.selectbox(
            "Kind",
            [ALL, *kinds],
            format_func=lambda one: why_charts.KINDS.get(one, one) or "All kinds",
            key=f"why_kind_{'|'.join(kinds)}",
        )
    kept = why_charts.found(every, asked, of, what).sort_values("part", kind="stable")
    st.dataframe(
        why_charts.listed_table(kept),
        hide_index=True,
        width="stretch",
        height=480,
        column_config={
            "part": "Comes with",
            "kind": "Kind",
            "label": _column.TextColumn("What it is", width="large"),
            "first": first,
            "second": second,
            "set_equal": _column.TextColumn(f"{second} with it set equal", width="medium"),
            "key": None,
        },
        key="every_difference",
    )
    html(f'<p class="sp-note">{len(kept):,} of {len(every):,} differences.</p>')
    download("differences", kept.drop(columns=["parts", "searched"]))
