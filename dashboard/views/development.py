"""Development: what is built, where, how, and for what money?

Every change is tried at once. What can be worked out becomes the answer at the head of the page; what
cannot is said beside its fields, and the last good answer stays.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import fields as fields_of
from typing import Any

import streamlit as st

from dashboard import state
from dashboard.parts import answer, edits, money_words, theme
from dashboard.parts.fields import number, price_fields, record_field, replacing
from dashboard.parts.layout import html, problems
from dashboard.shipped import shipped
from dashboard.views.case import keep_buttons
from model.inputs.assumption import read_library
from model.inputs.climate import PLACES, read_climate
from model.inputs.method import read_catalogue
from model.inputs.scenario import (
    OWN,
    PRIORITIES,
    RENT_EXITS,
    TENURES,
    TERRAINS,
    Block,
    Crane,
    Development,
    Method,
    Scenario,
    Section,
)


@dataclass(frozen=True)
class Group:
    """Records of the money that belong together.

    Parameters
    ----------
    title : str
    keys : tuple of str
    where : tuple of str
        Tenures of which one must occur; empty where the records always count.
    """

    title: str
    keys: tuple[str, ...]
    where: tuple[str, ...] = ()


FIRST_MONEY = ("land", "debt_rate_pct", "equity_pct", "contingency_pct")
"""What a rough idea of money holds, whatever the tenure; beside it, what each tenure earns by."""

FIRST_OF = {
    "sale": ("price", "reservations_per_month"),
    "rent": ("rent", "lets_per_month", "yield_pct"),
    "forward sale": ("rent", "yield_pct"),
}

MONEY = (
    Group(
        "Selling flats one by one",
        (
            "sales_launch_months",
            "cap_per_block_per_month",
            "notice_weeks",
            "selling_pct",
            "deposit_pct",
            "deposit_released_pct",
            "incentives_pct",
        ),
        ("sale",),
    ),
    Group("Affordable homes", ("affordable_pct", "affordable_price_pct"), ("sale",)),
    Group(
        "Homes let, and sold whole",
        ("stabilised_pct", "operating_pct", "purchaser_pct", "rent_exit_months", "rent_exit_cost_pct"),
        ("rent", "forward sale"),
    ),
    Group(
        "Forward sale",
        ("forward_discount_pct", "forward_land_pct", "forward_stage_pct"),
        ("forward sale",),
    ),
    Group(
        "Payments to the panel maker",
        (
            "factory_deposit_pct",
            "factory_stage_pct",
            "factory_delivery_pct",
            "factory_supply_pct",
            "bond_rate_pct",
        ),
    ),
    Group(
        "Loans and their limits",
        (
            "arrangement_pct",
            "exit_pct",
            "non_utilisation_pct",
            "mezzanine_pct",
            "mezzanine_rate_pct",
            "mezzanine_arrangement_pct",
            "mezzanine_exit_pct",
            "base_rate_pct",
            "limit_cost_pct",
            "limit_value_pct",
            "loan_term_months",
        ),
    ),
    Group("Buying and holding the land", ("purchase_months_before_start", "stamp_duty_pct", "holding_pct")),
    Group(
        "Prices and payment of the work",
        (
            "inflation_pct",
            "fees_pct",
            "fees_before_start_pct",
            "fixed_preliminaries_pct",
            "value_preliminaries_pct",
            "payment_lag_days",
            "retention_pct",
            "defects_months",
        ),
    ),
    Group("A week, the hurdle and the longstop", ("builder_share_pct", "hurdle_pct", "longstop_weeks")),
)
SITE = (
    "site.productive_hours",
    "site.saturday_share",
    "site.bays",
    "site.separation_storeys",
    "site.props_to_work_between",
    "site.occupied_separation",
)
LIFTING = (
    "crane.utilisation",
    "crane.booked_panels",
    "crane.evening_hours",
    "crane.skip_slabs",
    "crane.skip_verticals",
    "crane.overlap_loss",
)
FACTORY = (
    "factory.order",
    "factory.lead",
    "factory.output",
    "factory.damaged",
    "factory.remake",
    "factory.freeze",
)
APPROVALS = (
    "approval.before_start",
    "approval.before_occupation",
    "approval.before_occupation_low",
    "approval.power",
    "approval.change",
)
FACTORY_NOTE = "An order placed before the start on site is a number of weeks below 0."
APPROVALS_NOTE = "Waits as planned for; the authorities and local codes decide."
LATE = ("late.redesign", "late.fee_pct", "late.consolidated")
HANDOVER_WORDS = {
    edits.WHOLE_BLOCK: "The whole block at once",
    edits.BY_CORE: "Each core by itself",
    edits.BY_SECTION: "Storeys from the ground up, in sections",
}
OWN_WORDS = {
    "own_stair": "Own stair",
    "own_lift": "Own lift",
    "own_riser": "Own risers",
    "own_access": "Own way in",
}
TENURE_WORDS = {
    "sale": "Flats sold one by one",
    "rent": "Homes let, then sold whole",
    "forward sale": "Sold whole before they are built",
}
RENT_EXIT_WORDS = {"stabilised": "Once full in practice", "fixed date": "On one date for every method"}
PATHS = {
    "base_rate_path": (
        "Base rate over time",
        "From month",
        "% a year",
        "Months after the start on site. Each row holds until the next; both loans keep their margin over "
        "it. Empty: as it is today.",
    ),
    "price_path": (
        "Sale prices over time",
        "Month",
        "Of today's, %",
        "Months after the start on site. Straight between rows, by the day a flat is reserved. 100 is "
        "today. Empty: as they are today.",
    ),
}
"""Paths of a development: what each is called, its two columns, and how it is read."""

MONEY_WHERES = r"development\.(tenure|rent_exit|longstop|base_rate_path|price_path)"
"""Figures of the development that are asked for under Money."""

TERRAIN_WORDS = {"town": "Town", "suburb": "Suburb", "open": "Open country"}
PRIORITY_WORDS = {"together": "What holds up the last handover", "each block": "What holds up its own block"}

FILE_WORDS = {
    "own_riser": "own risers",
    "own_access": "own way in",
    "own_": "own ",
    "not set true": "not ticked",
    "Set each true": "Tick each",
    "Set it true": "Tick it",
    "another [[blocks.sections]]": "another section",
    "all [[blocks.sections]]": "the sections",
    "lower money.factory_deposit_pct or money.factory_stage_pct": "lower one of the two",
    "or leave it out": "or leave it blank",
}
"""What a scenario file calls what is asked for here: the words of a problem, and those of the fields."""

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
    html(money_words.css())
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
    maker = _of_the_maker(now.refusal)
    beside = [said for said in now.refusal.under("programme", "scenario", "notes") if said not in maker]
    problems(now.refusal.title, beside)
    _scenario(now)
    _development(now)
    _blocks(now)
    _cranes(now)
    _methods(now)
    _money(now)
    _records("Site", "Rules of the site, the same for every method.", SITE, now, "site", noted=True)
    _records("Factory", FACTORY_NOTE, FACTORY, now, "overrides 'factory", noted=True)
    _records("Approvals", APPROVALS_NOTE, APPROVALS, now, "overrides 'approval", noted=True)
    problems(now.refusal.title, _elsewhere(now.refusal))


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
        _asked(st.checkbox, "late_adoption", "Already designed for the open frame", value=given.late_adoption)
    _late(now)
    said = [said for where, said in now.refusal.problems if where.startswith("development")
            and not re.match(MONEY_WHERES, where)]  # fmt: skip
    problems(now.refusal.title, said)


def _late(now: state.Sitting) -> None:
    """Say what late adoption does, and ask for its figures where it holds."""
    given, library = dict(now.draft.overrides), read_library()
    redesign, change, fee, share = (
        given[key][0] if key in given else library[key].value
        for key in ("late.redesign", "approval.change", "late.fee_pct", "late.consolidated")
    )
    html(
        '<p class="sp-note">A method with panels is then designed again first: '
        f"{number(redesign)} weeks of redesign, {number(change)} weeks of waiting for the change to be "
        f"approved, a fee of {number(fee)} % of the price of construction, and {number(100 * share)} % of "
        "the outer wall can still be panels; the rest is framed by hand.</p>"
    )
    if now.draft.development.late_adoption:
        _fields(LATE, noted=True)


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
    shown = _one_block(now)
    beside = _beside_handover(now.refusal, shown)
    problems(now.refusal.title, [said for said in now.refusal.under("blocks") if said not in beside])


def _set_grid(key: str) -> None:
    now = state.sitting()
    state.propose(edits.with_grid(now.draft, now.base, state.widget(key)))
    now.detail_stamp += 1


def _one_block(now: state.Sitting) -> int | None:
    """Ask for every figure of one block; return which it is."""
    blocks = now.draft.blocks
    if not blocks:
        return None
    place = st.segmented_control(
        "One block in detail",
        range(len(blocks)),
        default=0,
        format_func=lambda i: blocks[i].name or f"Block {i + 1}",
        key=f"block:{now.stamp}:{len(blocks)}",
    )
    if place is None or place >= len(blocks):
        return None
    block = blocks[place]
    _details(block, place, FIRST_DETAILS)
    _handover(now, block, place)
    with st.expander("Dimensions and price of this block"):
        _details(block, place, tuple(name for name in DETAILS if name not in (*FIRST_DETAILS, "hoists")))
    return place


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


# --------------------------------------------------------------------------------------- handover


def _handover(now: state.Sitting, block: Block, place: int) -> None:
    """Ask how one block is handed over, and for its sections."""
    key = f"handover:{place}:{now.stamp}:{now.detail_stamp}"
    how = edits.handed_over(block)
    one, two, _room = st.columns([2, 2, 1], gap="medium")
    with two:
        _tenure_of(now, block, place)
    with one:
        st.selectbox(
            "Handed over",
            list(edits.HANDED_OVER),
            index=edits.HANDED_OVER.index(how) if how in edits.HANDED_OVER else 0,
            format_func=HANDOVER_WORDS.__getitem__,
            key=key,
            on_change=_set_handover,
            args=(place, key),
            help="A core handed over by itself has a pour of its own on every storey.",
        )
    _said_beside(now.refusal, rf"blocks\[{place + 1}\][^.]*\.handover")
    if not block.sections:
        return
    html(
        theme.caution(
            "People would live below a building site. A tick says that the design gives them what it names, "
            "kept apart from the work. Fire and building-control authorities and licensed designers decide "
            "whether that may be; slabs poured above them first stand under Site."
        )
    )
    for number_, section in enumerate(block.sections):
        _section(now, place, number_, section, len(block.sections))
    _said_beside(now.refusal, rf"blocks\[{place + 1}\][^.]*\.sections$")
    st.button("Part the topmost in two", key=f"section:{place}:more", on_click=_more_sections, args=(place,))


def _tenure_of(now: state.Sitting, block: Block, place: int) -> None:
    """Ask how the flats of one block earn; blank takes what holds for the development."""
    key = f"tenure:{place}:{now.stamp}:{now.detail_stamp}"
    whole = f"As the development: {_lower(TENURE_WORDS[now.draft.development.tenure])}"
    st.selectbox(
        "Its flats",
        ["", *TENURES],
        index=TENURES.index(block.tenure) + 1 if block.tenure in TENURES else 0,
        format_func=lambda tenure: TENURE_WORDS.get(tenure, whole),
        key=key,
        on_change=_set_tenure,
        args=(place, key),
    )


def _set_tenure(place: int, key: str) -> None:
    _of_block(edits.with_block(state.sitting().draft, place, tenure=state.widget(key) or None))


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]


def _section(now: state.Sitting, place: int, number_: int, section: Section, count: int) -> None:
    """Ask for the storeys of one section, and for what those who live there have for themselves."""
    stamp = f"{place}:{number_}:{now.stamp}:{now.detail_stamp}"
    with st.container(key=f"section_{place}_{number_}"):
        span, own, out = st.columns([2, 4, 1], gap="medium", vertical_alignment="bottom")
        with span:
            first, last = st.columns(2, gap="small")
            for column, name, label in ((first, "first", "Storeys from"), (last, "last", "to")):
                with column:
                    key = f"section:{stamp}:{name}"
                    st.number_input(
                        label,
                        value=getattr(section, name),
                        step=1,
                        key=key,
                        on_change=_set_section,
                        args=(place, number_, name, key),
                    )
        with own, st.container(horizontal=True):
            for name in OWN:
                key = f"section:{stamp}:{name}"
                st.checkbox(
                    OWN_WORDS[name],
                    value=getattr(section, name),
                    key=key,
                    on_change=_set_section,
                    args=(place, number_, name, key),
                )
        with out:
            st.button("Leave out", key=f"section:{stamp}:out", on_click=_drop_section, args=(place, number_))
    _said_beside(now.refusal, rf"blocks\[{place + 1}\][^.]*\.sections\[{number_ + 1}\]")


def _set_handover(place: int, key: str) -> None:
    _of_block(edits.with_handover(state.sitting().draft, place, state.widget(key)))


def _set_section(place: int, number_: int, name: str, key: str) -> None:
    value = state.widget(key)
    if value is not None:
        _of_block(edits.with_section(state.sitting().draft, place, number_, **{name: value}))


def _more_sections(place: int) -> None:
    _of_block(edits.with_one_section_more(state.sitting().draft, place))


def _drop_section(place: int, number_: int) -> None:
    _of_block(edits.without_section(state.sitting().draft, place, number_))


def _of_block(draft: Scenario) -> None:
    """Try a draft in which a block was changed beside its fields, and lay those out afresh."""
    now = state.sitting()
    state.propose(draft)
    now.detail_stamp += 1
    now.grid_stamp += 1


def _said_beside(refusal: state.Refusal, pattern: str) -> None:
    """List the problems of one place beside its fields, without the place."""
    said = [said.removeprefix(f"{where}: ") for where, said in refusal.problems if re.match(pattern, where)]
    problems(refusal.title, _in_words(said))


def _in_words(said: list[str]) -> list[str]:
    """Return problems in the words of the fields."""
    for written, asked in FILE_WORDS.items():
        said = [one.replace(written, asked) for one in said]
    return [one[:1].upper() + one[1:] for one in said]


def _beside_handover(refusal: state.Refusal, place: int | None) -> set[str]:
    """Return the problems that stand beside the handover of the block shown."""
    if place is None:
        return set()
    pattern = rf"blocks\[{place + 1}\][^.]*\.(handover$|sections(\[\d+\]|$))"
    return {said for where, said in refusal.problems if re.match(pattern, where)}


# ----------------------------------------------------------------------------------------- cranes


def _cranes(now: state.Sitting) -> None:
    """Ask for the cranes, the blocks each serves, and the hoists of each block."""
    html(
        theme.section(
            "Cranes and hoists",
            "Each block is served by one entry: a crane, or several working together. Cranes whose jibs "
            "sweep the same blocks keep clear of each other and lose time by it.",
        ),
        theme.caution(
            "How many cranes may work together, where they stand and in which wind they lift is for the lift "
            "plan and the appointed person to decide."
        ),
    )
    names = [block.name for block in now.draft.blocks]
    if all(names) and len(set(names)) == len(names):
        for place, crane in enumerate(now.draft.served):
            _crane(now, place, crane, names)
    problems(now.refusal.title, now.refusal.under("cranes"))
    blocks = now.draft.blocks
    for start in range(0, len(blocks), 6):
        for column, place in zip(st.columns(6, gap="medium"), range(start, len(blocks)), strict=False):
            with column:
                _hoists(blocks[place], place, now)
    _fields(LIFTING, noted=True)
    problems(now.refusal.title, now.refusal.under("overrides 'crane"))


def _crane(now: state.Sitting, place: int, crane: Crane, names: list[str]) -> None:
    stamp = f"{place}:{now.stamp}:{now.grid_stamp}:{now.detail_stamp}:{len(now.draft.served)}"
    one, two, three = st.columns([1.5, 1.5, 3], gap="large", vertical_alignment="bottom")
    with one:
        key = f"crane:{stamp}:name"
        st.text_input("Crane", value=crane.name, key=key, on_change=_set_crane, args=(place, "name", key))
    with two:
        key = f"crane:{stamp}:number"
        st.number_input(
            f"Working together, {crane.name}",
            value=crane.number,
            step=1,
            key=key,
            on_change=_set_crane,
            args=(place, "number", key),
            help="Tower cranes on these blocks, 1 to 4.",
        )
    with three:
        key = f"crane:{stamp}:blocks"
        st.multiselect(
            f"Blocks served by {crane.name}",
            names,
            default=[name for name in crane.blocks if name in names],
            key=key,
            on_change=_set_crane,
            args=(place, "blocks", key),
            help="A block taken here leaves the crane it had; one let go gets a crane of its own.",
        )


def _set_crane(place: int, name: str, key: str) -> None:
    now, value = state.sitting(), state.widget(key)
    if value is None:
        return
    state.propose(edits.with_crane(now.draft, place, **{name: tuple(value) if name == "blocks" else value}))
    now.detail_stamp += 1


def _hoists(block: Block, place: int, now: state.Sitting) -> None:
    key = f"hoists:{place}:{now.stamp}:{now.detail_stamp}"
    st.number_input(
        f"Hoists, {block.name or f'Block {place + 1}'}",
        value=None if block.hoists is None else int(block.hoists),
        step=1,
        placeholder="library",
        key=key,
        on_change=_set_detail,
        args=(place, "hoists", key),
        help="0 to 4; a low block has none, as the library says.",
    )


def _elsewhere(refusal: state.Refusal) -> list[str]:
    """Return the problems of records that are asked for nowhere on this view."""
    shown = ("overrides 'factory", "overrides 'approval", "overrides 'crane")
    return [
        said
        for where, said in refusal.problems
        if where.startswith("overrides") and not where.startswith(shown)
    ]


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
    cautions = [catalogue.options[element, method.option(element)].caution for method in methods]
    if any(cautions):
        below = st.columns([1.1] + [2] * len(methods), gap="large")
        for column, words in zip(below[1:], cautions, strict=True):
            if words:
                with column:
                    html(theme.caution(words))


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


# ------------------------------------------------------------------------------------------ money


def _money(now: state.Sitting) -> None:
    """Ask how flats earn, for a rough idea of money, then group by group for the rest."""
    html(
        theme.section(
            "Money", "The same for every method. What is not asked for here stands under Assumptions."
        )
    )
    given = now.draft.development
    earns = tenures_of(now.draft)
    one, two, three = st.columns(3, gap="large")
    with one:
        _asked(
            st.selectbox,
            "tenure",
            "Flats are",
            options=list(TENURES),
            index=TENURES.index(given.tenure),
            format_func=TENURE_WORDS.__getitem__,
            help="For blocks that do not say otherwise in their own details.",
        )
    if "rent" in earns:
        with two:
            _asked(
                st.selectbox,
                "rent_exit",
                "Homes let are sold whole",
                options=list(RENT_EXITS),
                index=RENT_EXITS.index(given.rent_exit),
                format_func=RENT_EXIT_WORDS.__getitem__,
            )
    with three if "rent" in earns else two:
        _asked(
            st.date_input,
            "longstop",
            "Longstop date, if agreed",
            value=given.longstop,
            format="DD/MM/YYYY",
            help="Date by which the last handover is owed. Blank: some weeks after the first method's own.",
        )
    first = first_money(earns)
    _fields(first)
    _said_beside(now.refusal, MONEY_WHERES)
    said: set[str] = set()
    for group in MONEY:
        keys = tuple(f"money.{key}" for key in group.keys if f"money.{key}" not in first)
        if group.where and not earns & set(group.where):
            continue
        if group.title == "Homes let, and sold whole" and not _on_a_date(given, earns):
            keys = tuple(key for key in keys if key != "money.rent_exit_months")
        with st.expander(group.title):
            _fields(keys, noted=True)
        found = [one for where, one in now.refusal.problems if where.split(" ")[0] in keys]
        if "money.factory_deposit_pct" in keys:
            found += _in_words(_of_the_maker(now.refusal))
        problems(now.refusal.title, found)
        said |= set(found)
    with st.expander("Base rate and sale prices over time"):
        for column, name in zip(st.columns(2, gap="large"), PATHS, strict=True):
            with column:
                _path(now, name)
    options = replacing(now.draft)
    if options:
        with st.expander("Prices of panels, and of what else replaces something"):
            price_fields(options)
    problems(now.refusal.title, [one for one in now.refusal.under("money") if one not in said])


def tenures_of(draft: Scenario) -> set[str]:
    """Return how the flats of a draft earn: one or more of `TENURES`."""
    return {draft.tenure_of(block) for block in draft.blocks}


def first_money(earns: set[str]) -> tuple[str, ...]:
    """Return the records a rough idea of money holds, with those that the ways of earning need."""
    own = [key for tenure in TENURES if tenure in earns for key in FIRST_OF[tenure]]
    return tuple(f"money.{key}" for key in dict.fromkeys([*own, *FIRST_MONEY]))


def _on_a_date(given: Development, earns: set[str]) -> bool:
    return given.rent_exit == "fixed date" and "rent" in earns


def _of_the_maker(refusal: state.Refusal) -> list[str]:
    """Return the problem that the panel maker would be paid more than the price, which pricing finds."""
    return [said for said in refusal.under("programme") if "panel maker would be paid" in said]


def _path(now: state.Sitting, name: str) -> None:
    """Ask for a path in a small table, one row a step."""
    title, month, value, note = PATHS[name]
    key = f"path:{name}:{now.stamp}"
    bases: dict[str, edits.PathSteps] = st.session_state.setdefault("path_bases", {})
    if state.widget(key) is None:
        bases[key] = getattr(now.draft.development, name)
    html(f'<p class="sp-element">{theme.text(title)}</p><p class="sp-note">{theme.text(note)}</p>')
    st.data_editor(
        edits.path_rows(bases[key]),
        key=key,
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        on_change=_set_path,
        args=(name, key),
        column_config={
            "month": st.column_config.NumberColumn(month, step=1),
            "value": st.column_config.NumberColumn(value),
        },
    )
    _steps, lacking = edits.path_edited(bases[key], _done(key))
    if lacking:
        rows = "One row lacks a figure and is" if lacking == 1 else f"{lacking} rows lack a figure and are"
        html(f'<p class="sp-field-note">{rows} not used yet.</p>')


def _done(key: str) -> Mapping[str, Any]:
    """Return what was done to a table since it was first shown."""
    done: Mapping[str, Any] = state.widget(key) or {}
    return done


def _set_path(name: str, key: str) -> None:
    steps, _lacking = edits.path_edited(st.session_state["path_bases"][key], _done(key))
    state.propose(edits.with_development(state.sitting().draft, **{name: steps}))


# ---------------------------------------------------------------------------------------- records


def _records(
    title: str, note: str, keys: tuple[str, ...], now: state.Sitting, *places: str, noted: bool = False
) -> None:
    html(theme.section(title, *([note] if note else [])))
    _fields(keys, noted)
    problems(now.refusal.title, now.refusal.under(*places))


def _fields(keys: tuple[str, ...], noted: bool = False) -> None:
    """Ask for some records, three in a row."""
    for start in range(0, len(keys), 3):
        for column, key in zip(st.columns(3, gap="large"), keys[start : start + 3], strict=False):
            with column:
                record_field(key, noted)


assert set(DETAILS) == {f.name for f in fields_of(Block)} - {"ranges", "sections", "handover", "tenure"}
