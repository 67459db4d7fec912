"""Development: what is built, where, how, and for what money?

Every change is tried at once. What can be worked out becomes the answer at the head of the page; what
cannot is said beside its fields, and the last good answer stays.
"""

from __future__ import annotations

from dataclasses import fields as fields_of
from typing import Any

import streamlit as st

from dashboard import state
from dashboard.parts import answer, edits, theme
from dashboard.parts.fields import record_field
from dashboard.parts.layout import html, problems
from dashboard.shipped import shipped
from dashboard.views.case import keep_buttons
from model.inputs.climate import PLACES, read_climate
from model.inputs.method import read_catalogue
from model.inputs.scenario import PRIORITIES, TERRAINS, Block, Method

MONEY = (
    "money.price",
    "money.land",
    "money.debt_rate_pct",
    "money.equity_pct",
    "money.reservations_per_month",
    "money.sales_launch_months",
    "money.contingency_pct",
    "money.factory_deposit_pct",
    "money.factory_stage_pct",
)
SITE = (
    "factory.output",
    "factory.order",
    "factory.lead",
    "site.bays",
    "crane.utilisation",
    "crane.booked_panels",
    "site.separation_storeys",
    "site.productive_hours",
    "site.saturday_share",
)
TERRAIN_WORDS = {"town": "Town", "suburb": "Suburb", "open": "Open country"}
PRIORITY_WORDS = {"together": "What holds up the last handover", "each block": "What holds up its own block"}

DETAILS = {
    "name": "Name",
    "storeys": "Storeys",
    "flats_per_storey": "Flats a storey",
    "start_weeks": "Starts after, weeks",
    "zones": "Pours a slab",
    "cores": "Cores",
    "storey_height_m": "Storey height, m",
    "flat_area_m2": "Flat, m²",
    "plate_depth_m": "Plate depth, m",
    "plate_area_m2": "Plate, m²",
    "facade_length_m": "Facade a storey, m",
    "separating_length_m": "Separating walls a storey, m",
    "glazing_pct": "Openings, %",
    "substructure_weeks": "To ground slab, weeks",
    "hoists": "Hoists",
    "price_gbp_m2": "Sale price, £/m²",
}
FIRST_DETAILS = ("name", "storeys", "flats_per_storey", "start_weeks", "zones")


def show() -> None:
    """Show the answer, and below it everything it is worked out from."""
    now = state.sitting()
    with st.container(key="answer"):
        shown = state.shown()
        html(
            '<div class="sp-short">',
            theme.sentence(*answer.short_answer(shown.figures, shown.names)),
            _refused(now.refusal),
            "</div>",
        )
    if now.refusal.problems and now.draft != now.scenario:
        st.button("Go back to the last good answer", on_click=state.take_back, key="take_back")
    problems(now.refusal.title, now.refusal.under("programme", "scenario", "notes"))
    _scenario(now)
    _development(now)
    _blocks(now)
    _methods(now)
    _records("Money", "The same for every method.", MONEY, now, "money")
    _records("Site and factory", "", SITE, now, "site", "overrides")


def _refused(refusal: state.Refusal) -> theme.Html:
    count = len(refusal.problems)
    if not count:
        return theme.Html("")
    listed = f"{refusal.title}: {count} problem{'' if count == 1 else 's'}, listed below. "
    return theme.caution(listed + "This is the last good answer.")


# --------------------------------------------------------------------------------------- scenario


def _scenario(now: state.Sitting) -> None:
    html(theme.section("Scenario", "Start from one that is like yours, or open a file you saved."))
    pick, upload, keep = st.columns([2, 2, 1.4], gap="large")
    titles = shipped()
    with pick:
        key = f"shipped:{now.stamp}"
        st.selectbox(
            "Examples",
            list(titles),
            index=list(titles).index(now.name) if now.name in titles else None,
            format_func=titles.__getitem__,
            placeholder=now.name,
            key=key,
            on_change=_open_shipped,
            args=(key,),
        )
    with upload:
        key = f"upload:{now.stamp}"
        st.file_uploader("Open a scenario file", type="toml", key=key, on_change=_open_upload, args=(key,))
    with keep:
        keep_buttons(state.shown())
    problems(now.refusal.title, now.refusal.under("file"))


def _open_shipped(key: str) -> None:
    name = state.widget(key)
    if name:
        state.open_shipped(name)


def _open_upload(key: str) -> None:
    file = state.widget(key)
    if file is not None:
        state.open_text(file.getvalue(), file.name)


# ------------------------------------------------------------------------------------ development


def _development(now: state.Sitting) -> None:
    html(theme.section("Development"))
    given = now.draft.development
    one, two, three = st.columns(3, gap="large")
    with one:
        _asked(st.text_input, "name", "Name", value=given.name)
        _asked(st.text_input, "client", "Client", value=given.client)
    with two:
        places = list(PLACES)
        _asked(
            st.selectbox,
            "place",
            "Place",
            options=places,
            index=places.index(given.place) if given.place in places else 0,
            format_func=lambda place: read_climate(place).label,
            help="Climate and bank holidays.",
        )
        _asked(
            st.selectbox,
            "terrain",
            "Around the site",
            options=list(TERRAINS),
            index=TERRAINS.index(given.terrain),
            format_func=lambda word: TERRAIN_WORDS.get(word, word),
            help="What the wind has crossed sets the hours a hook can fly.",
        )
    with three:
        _asked(st.date_input, "start", "Start on site", value=given.start, format="DD/MM/YYYY")
        _asked(
            st.selectbox,
            "priority",
            "Work goes first to",
            options=list(PRIORITIES),
            index=PRIORITIES.index(given.priority),
            format_func=lambda word: PRIORITY_WORDS.get(word, word),
        )
    with st.container(horizontal=True):
        _asked(
            st.checkbox, "christmas_closure", "Shut over the winter holiday", value=given.christmas_closure
        )
        _asked(st.checkbox, "bank_holidays", "Shut on bank holidays", value=given.bank_holidays)
    problems(now.refusal.title, now.refusal.under("development"))


def _asked(field: Any, name: str, label: str, **how: Any) -> None:
    key = f"development:{name}:{state.sitting().stamp}"
    field(label, key=key, on_change=_set_development, args=(name, key), **how)


def _set_development(name: str, key: str) -> None:
    state.propose(edits.with_development(state.sitting().draft, **{name: state.widget(key)}))


# ----------------------------------------------------------------------------------------- blocks


def _blocks(now: state.Sitting) -> None:
    html(theme.section("Blocks", "Change a figure, or add and delete rows. Blank takes the library's value."))
    key = f"grid:{now.stamp}:{now.grid_stamp}"
    if state.widget(key) is None:
        now.base = now.draft.blocks
    st.data_editor(
        edits.grid_rows(now.base),
        key=key,
        placeholder="library",
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        on_change=_set_grid,
        args=(key,),
        column_config={
            "name": st.column_config.TextColumn(DETAILS["name"]),
            "storeys": st.column_config.NumberColumn(DETAILS["storeys"], step=1),
            "flats_per_storey": st.column_config.NumberColumn(DETAILS["flats_per_storey"], step=1),
            "start_weeks": st.column_config.NumberColumn(DETAILS["start_weeks"]),
            "zones": st.column_config.NumberColumn(DETAILS["zones"], step=1),
        },
    )
    problems(now.refusal.title, now.refusal.under("blocks", "cranes"))
    _one_block(now)


def _set_grid(key: str) -> None:
    now = state.sitting()
    state.propose(edits.with_grid(now.draft, now.base, state.widget(key)))
    now.detail_stamp += 1


def _one_block(now: state.Sitting) -> None:
    """Ask for every figure of one block."""
    blocks = now.draft.blocks
    if not blocks:
        return
    place = st.segmented_control(
        "One block in detail",
        range(len(blocks)),
        default=0,
        format_func=lambda i: blocks[i].name or f"Block {i + 1}",
        key=f"block:{now.stamp}:{len(blocks)}",
    )
    if place is None or place >= len(blocks):
        return
    block = blocks[place]
    _details(block, place, FIRST_DETAILS)
    with st.expander("Dimensions and price of this block"):
        _details(block, place, tuple(name for name in DETAILS if name not in FIRST_DETAILS))


def _details(block: Block, place: int, names: tuple[str, ...]) -> None:
    for start in range(0, len(names), 5):
        columns = st.columns(5, gap="medium")
        for column, name in zip(columns, names[start : start + 5], strict=False):
            with column:
                _detail(block, place, name)


def _detail(block: Block, place: int, name: str) -> None:
    value = getattr(block, name)
    now = state.sitting()
    key = f"detail:{place}:{name}:{now.stamp}:{now.detail_stamp}"
    label, args = DETAILS[name], (place, name, key)
    if name == "name":
        st.text_input(label, value=value or "", key=key, on_change=_set_detail, args=args)
    elif name in edits.WHOLE:
        st.number_input(
            label, value=value, step=1, placeholder="library", key=key, on_change=_set_detail, args=args
        )
    else:
        st.number_input(
            label,
            value=None if value is None else float(value),
            step=1.0,
            format="%g",
            placeholder="library",
            key=key,
            on_change=_set_detail,
            args=args,
        )


def _set_detail(place: int, name: str, key: str) -> None:
    now = state.sitting()
    state.propose(edits.with_block(now.draft, place, **{name: state.widget(key)}))
    now.grid_stamp += 1


# ---------------------------------------------------------------------------------------- methods


def _methods(now: state.Sitting) -> None:
    html(
        theme.section(
            "Methods",
            "A method is one option for each element. Differences are the second against the first.",
        )
    )
    with st.container(key="methods"):
        _options(now)
    _compared(now)
    problems(now.refusal.title, now.refusal.under("methods"))


def _options(now: state.Sitting) -> None:
    """Ask for the option of each element that has more than one, a column for each method."""
    catalogue = read_catalogue()
    methods = now.draft.methods
    names = {named.id: named for named in state.shown().names}
    heads = st.columns([1.1] + [2] * len(methods), gap="large")
    for column, method in zip(heads[1:], methods, strict=True):
        with column:
            said = names[method.id].headed if method.id in names else theme.text(method.label)
            html(f'<p class="sp-method-head">{said}</p>')
    for element, label in catalogue.elements.items():
        options = [option for of, option in catalogue.options if of == element]
        if len(options) > 1:
            _element(element, label, options, methods, now.stamp)


def _element(element: str, label: str, options: list[str], methods: tuple[Method, ...], stamp: int) -> None:
    catalogue = read_catalogue()
    row = st.columns([1.1] + [2] * len(methods), gap="large", vertical_alignment="center")
    with row[0]:
        html(f'<p class="sp-element">{theme.text(label)}</p>')
    for column, method in zip(row[1:], methods, strict=True):
        with column:
            key = f"option:{method.id}:{element}:{stamp}"
            st.selectbox(
                f"{label}, {method.label}",
                options,
                index=options.index(method.option(element)),
                format_func=lambda option: catalogue.options[element, option].label,
                key=key,
                on_change=_set_option,
                args=(method.id, element, key),
            )


def _set_option(method_id: str, element: str, key: str) -> None:
    state.propose(edits.with_option(state.sitting().draft, method_id, element, state.widget(key)))


def _compared(now: state.Sitting) -> None:
    """Offer to compare the ready methods that are not, and to leave out the third and further."""
    catalogue = read_catalogue()
    ids = [method.id for method in now.draft.methods]
    with st.container(horizontal=True, key="compared"):
        for ready, label in catalogue.method_labels.items():
            if ready not in ids and len(ids) < edits.MOST_COMPARED:
                st.button(f"Compare {label} too", key=f"add:{ready}", on_click=_add, args=(ready,))
        for method in now.draft.methods[2:]:
            st.button(f"Leave out {method.label}", key=f"drop:{method.id}", on_click=_drop, args=(method.id,))


def _add(ready: str) -> None:
    state.propose(edits.with_method(state.sitting().draft, ready))


def _drop(method_id: str) -> None:
    state.propose(edits.without_method(state.sitting().draft, method_id))


# ---------------------------------------------------------------------------------------- records


def _records(title: str, note: str, keys: tuple[str, ...], now: state.Sitting, *places: str) -> None:
    html(theme.section(title, *([note] if note else [])))
    for start in range(0, len(keys), 3):
        for column, key in zip(st.columns(3, gap="large"), keys[start : start + 3], strict=False):
            with column:
                record_field(key)
    problems(now.refusal.title, now.refusal.under(*places))


assert set(DETAILS) == {f.name for f in fields_of(Block)} - {"ranges", "sections", "handover"}
