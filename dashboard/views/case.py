"""The case: what do panels change for this development?"""

from __future__ import annotations

import streamlit as st

from dashboard import state
from dashboard.parts import answer, elevation, theme
from dashboard.parts.layout import cannot, html
from model.core.errors import ModelError

CAUTION = (
    "Lifting, props, fire, and people living below live work: licensed people and local codes decide. "
    "The dates here are for comparing methods, never an instruction to lift, strike, prop or occupy."
)


def show() -> None:
    """Show the answer, its five figures, the elevations and the table of gains and losses."""
    shown = state.shown()
    figures, names = shown.figures, shown.names
    html(
        place_line(shown),
        theme.sentence(*answer.answer(figures, names), under=answer.lead(figures, names)),
        theme.figure_row(answer.headline_figures(figures, names)),
    )
    try:
        payload = shown.elevation()
        elevation.elevation(payload, key=f"elevation-{shown.scenario.fingerprint()[:12]}")
        html(f'<p class="sp-aloud">{theme.text(elevation.say(payload))}</p>')
    except ModelError as error:
        cannot(error)
    html(theme.caution(CAUTION))
    html(
        theme.section(
            "Gains and losses",
            "The second method against the first. A difference has the colour of the method it favours.",
        )
    )
    html(answer.contrast_table(figures, names, answer.DATES + answer.PEOPLE + answer.LIFTING + answer.SUMS))
    warnings(shown)
    with st.container(horizontal=True, key="take_away"):
        keep_buttons(shown)


def place_line(shown: state.Shown) -> theme.Html:
    """Return what is compared, in one quiet line."""
    scenario = shown.scenario
    development = scenario.development
    blocks = ", ".join(f"{block.name} {block.storeys}" for block in scenario.blocks)
    storeys = "storeys" if len(scenario.blocks) > 1 or scenario.blocks[0].storeys > 1 else "storey"
    flats = "flat" if scenario.flats == 1 else "flats"
    client = f" for {development.client}" if development.client else ""
    return theme.Html(
        f'<p class="sp-place"><strong>{theme.text(development.name)}</strong>{theme.text(client)} · '
        f"{scenario.flats:,} {flats} · {theme.text(blocks)} {storeys}</p>"
    )


def warnings(shown: state.Shown) -> None:
    """List what is allowed but odd."""
    said = shown.figures["warnings"]
    if said:
        items = "".join(f"<li>{theme.text(one)}</li>" for one in said)
        html(theme.section("To look at"), f'<ul class="sp-list">{items}</ul>')


def keep_buttons(shown: state.Shown) -> None:
    """Offer the scenario and its figures as files."""
    name = shown.scenario.development.name.lower().replace(" ", "-")
    st.download_button(
        "Save this scenario",
        data=state.saved_text().encode("utf-8"),
        file_name=f"{name}.toml",
        mime="application/toml",
        key="save_toml",
        on_click="ignore",
        help="A text file; open it here again, or with the command line.",
    )
    st.download_button(
        "Save the comparison",
        data=shown.as_json().encode("utf-8"),
        file_name=f"{name}.json",
        mime="application/json",
        key="save_json",
        on_click="ignore",
        help="Every figure of every method, as JSON.",
    )
