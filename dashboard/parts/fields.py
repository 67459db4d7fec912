"""Fields: how is one figure of the library asked for?

Label, unit, range and source come from the record, so that a field says what the figure is and on whose word
it stands.
"""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from dashboard import state
from dashboard.parts import edits, theme
from dashboard.parts.layout import html
from model.inputs.assumption import Assumption, read_library
from model.inputs.method import Option, read_catalogue
from model.inputs.scenario import Scenario

_UNITS = {
    "GBP": "£",
    "GBP/m2": "£/m²",
    "GBP/flat": "£ a flat",
    "GBP/week": "£ a week",
    "m2": "m²",
    "m3": "m³",
}
_UNITS |= {"no.": "", "-": "", "no./week": "a week", "no./month": "a month"}
_UNITS |= {"GBP/no.": "£ each", "GBP/m": "£/m", "min/vehicle": "min a vehicle", "m2/person": "m² a person"}
_UNITS |= {
    "GBP/flat month": "£ a flat a month",
    "GBP/m2 week": "£/m² a week",
    "degC": "°C",
    "kN/m2": "kN/m²",
    "no./m2": "a m²",
}


def unit_words(unit: str) -> str:
    """Return a unit as it is read on the page."""
    return _UNITS.get(unit, unit)


def number(value: float) -> str:
    """Return a figure without trailing zeros, thousands apart."""
    return f"{value:,.10g}"


def label_of(record: Assumption) -> str:
    """Return label and unit of a record."""
    unit = "0 to 1" if record.unit == "share" else unit_words(record.unit)
    return f"{record.label}, {unit}" if unit else record.label


def about(record: Assumption) -> str:
    """Return range, evidence and source of a record."""
    unit = unit_words(record.unit)
    span = (
        f"Library: {number(record.value)}, from {number(record.low)} to {number(record.high)} {unit}".rstrip()
    )
    note = f" {record.note}" if record.note else ""
    return f"{span}.{note} Evidence: {record.evidence} ({record.mark}). Source: {record.source}."


def record_field(key: str, noted: bool = False) -> None:
    """Ask for one record, by key; say when it is not the library's, and offer to go back.

    Parameters
    ----------
    key : str
    noted : bool
        Whether the record's note stands below the field, not only in its help.
    """
    now = state.sitting()
    record = read_library()[key]
    settings = dict(now.draft.overrides)
    value, why = settings.get(key, (record.value, ""))
    least, most = record.allowed()
    field = f"record:{key}:{now.stamp}:{now.record_stamp}"
    decimals = _decimals(record, value)
    st.number_input(
        label_of(record),
        min_value=least,
        max_value=most,
        value=float(value),
        step=_step(record),
        format=f"%.{decimals}f",
        help=about(record).replace("$", "\\$"),
        key=field,
        on_change=_set,
        args=(key, field),
    )
    if noted and record.note:
        html(f'<p class="sp-field-note">{theme.text(record.note)}</p>')
    if key in settings:
        changed_mark(key, field, record, why)


def changed_mark(key: str, field: str, record: Assumption, why: str) -> None:
    """Say that a record is changed, why, and offer the library's value."""
    own = "changed by you" if why == edits.REASON else "changed in this scenario"
    reason = f": {why}" if why and why != edits.REASON else ""
    html(f'<p class="sp-changed"><strong>{own}</strong>{theme.text(reason)}</p>')
    st.button(
        f"Back to the library's {number(record.value)}",
        key=f"reset:{field}",
        type="tertiary",
        on_click=_reset,
        args=(key,),
    )


def replacing(draft: Scenario) -> list[Option]:
    """Return the options of a draft's methods that replace another one, those made in a factory first."""
    catalogue = read_catalogue()
    chosen = {
        catalogue.options[pair].key: catalogue.options[pair] for m in draft.methods for pair in m.options
    }
    found = [option for option in chosen.values() if option.replaces != option.id]
    return sorted(found, key=lambda option: not option.panels)


def price_fields(options: list[Option], comes_to: Mapping[str, str] | None = None) -> None:
    """Ask for the price of each option, as a rate and as a premium over what it replaces; either sets both.

    Parameters
    ----------
    options : list of Option
    comes_to : mapping of str to str, optional
        What the premium of an option comes to, by its key without ``option.``.
    """
    for option in options:
        _price(option, (comes_to or {}).get(option.key.removeprefix("option."), ""))


def _price(option: Option, comes_to: str) -> None:
    now, catalogue, library = state.sitting(), read_catalogue(), read_library()
    replaced = catalogue.options[option.element, option.replaces]
    key, reference = f"{option.key}.rate", f"{replaced.key}.rate"
    base, unit = edits.record_value(now.draft, reference), unit_words(library[key].unit)
    users = [method for method in now.draft.methods if method.option(option.element) == option.id]
    html(
        f'<p class="sp-price-of">{theme.text(option.label)}<small>'
        f"{theme.text(catalogue.elements[option.element])}: "
        f"with {theme.text(', '.join(method.label for method in users))}, in place of "
        f"{theme.text(replaced.label[:1].lower() + replaced.label[1:])} at £{number(base)}"
        f"{theme.text(unit.removeprefix('£'))}{theme.text(f': {comes_to}' if comes_to else '')}</small></p>"
    )
    rate, premium, _room = st.columns([2, 2, 1.5], gap="large")
    with rate:
        record_field(key)
    with premium:
        if option.priced_by == replaced.priced_by and library[key].unit == library[reference].unit:
            _premium(key, reference, base)
        else:
            html(
                '<p class="sp-field-note">Measured on another quantity than what it replaces: no premium a '
                "unit.</p>"
            )
    own = [method.label for method in users if key in dict(method.overrides)]
    if own:
        html(
            f'<p class="sp-field-note">{theme.text(", ".join(own))}: a price of its own is set in the '
            "scenario file; "
            "these fields do not reach it.</p>"
        )


def _premium(key: str, reference: str, base: float) -> None:
    """Ask for a rate as what it is above another; laid out afresh whenever the rate is another."""
    now, record = state.sitting(), read_library()[key]
    rate = edits.record_value(now.draft, key)
    value = round(rate - base, 6)
    least, most = record.allowed()
    field = f"premium:{key}:{now.stamp}:{now.record_stamp}:{rate:.10g}:{base:.10g}"
    st.number_input(
        f"Premium over what it replaces, {unit_words(record.unit)}",
        min_value=least - base,
        max_value=most - base,
        value=value,
        step=_step(record),
        format=f"%.{max(_decimals(record, rate), _decimals(record, base))}f",
        help="Sets the price to that of what it replaces and this much more; that of what it replaces stays.",
        key=field,
        on_change=_set_premium,
        args=(key, reference, field),
    )


def _set_premium(key: str, reference: str, field: str) -> None:
    now = state.sitting()
    now.record_stamp += 1
    state.propose(edits.with_premium(now.draft, key, reference, state.widget(field)))


def _set(key: str, field: str) -> None:
    state.propose(edits.with_record(state.sitting().draft, key, state.widget(field)))


def _reset(key: str) -> None:
    now = state.sitting()
    now.record_stamp += 1
    state.propose(edits.with_record(now.draft, key, None))


def _step(record: Assumption) -> float:
    """Return a step: 1 for what is counted, else about a twentieth of the range in round figures."""
    if all(x.is_integer() for x in (record.low, record.value, record.high)) and record.high < 1000:
        return 1.0
    aim = (record.high - record.low) / 20
    steps = [m * 10.0**p for p in range(-4, 7) for m in (1, 2, 5)]
    return next((step for step in steps if step >= aim * 0.999), steps[-1]) if aim > 0 else 1.0


def _decimals(record: Assumption, value: float) -> int:
    """Return decimals enough for the value, the library's and the step."""
    wanted = (value, record.value, _step(record))
    return next((d for d in range(5) if all(abs(round(x, d) - x) < 1e-9 for x in wanted)), 5)
