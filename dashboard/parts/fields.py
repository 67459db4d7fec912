"""Fields: how is one figure of the library asked for?

Label, unit, range and source come from the record, so that a field says what the figure is and on whose word
it stands.
"""

from __future__ import annotations

import streamlit as st

from dashboard import state
from dashboard.parts import edits, theme
from dashboard.parts.layout import html
from model.inputs.assumption import Assumption, read_library

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
_UNITS |= {"GBP/m2 week": "£/m² a week", "degC": "°C", "kN/m2": "kN/m²", "no./m2": "a m²"}


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
