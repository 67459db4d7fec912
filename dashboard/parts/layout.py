"""Layout: how do a sentence, a chart with its figures, and a list of problems stand on a page?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
import plotly.graph_objects as go
import streamlit as st

from dashboard.parts import charts, theme
from dashboard.parts.answer import Named
from model.core.errors import ModelError


def html(*parts: str) -> None:
    """Put HTML made by `dashboard.parts.theme` on the page."""
    st.html("".join(parts))


def chart(
    name: str,
    figure: go.Figure,
    said: str,
    frame: pd.DataFrame,
    names: Sequence[Named],
    columns: dict[str, Any] | None = None,
) -> None:
    """Show a chart with its key, the same in a sentence, its figures and their file.

    Parameters
    ----------
    name : str
        For the file, and for the page to tell its charts apart.
    figure : Figure
    said : str
        What the chart shows, in words.
    frame : DataFrame
        The figures behind it.
    names : sequence of Named
    columns : dict, optional
        How each column is headed and written.
    """
    html(theme.method_key([(one.label, one.role) for one in names]))
    st.plotly_chart(figure, width="stretch", theme=None, config=charts.CONFIG, key=f"chart_{name}")
    html(f'<p class="sp-note">{theme.text(said)}</p>')
    figures_behind(name, frame.drop(columns="role", errors="ignore"), columns)


def figures_behind(name: str, frame: pd.DataFrame, columns: dict[str, Any] | None = None) -> None:
    """Show the figures behind a chart, shut at first, with their file."""
    with st.expander("Figures behind this"):
        st.dataframe(frame, hide_index=True, column_config=columns, width="stretch", key=f"table_{name}")
        download(name, frame)


def download(name: str, frame: pd.DataFrame) -> None:
    """Offer figures as a CSV file."""
    st.download_button(
        "Download as CSV",
        data=lambda: frame.to_csv(index=False).encode("utf-8-sig"),
        file_name=f"storeypace-{name}.csv",
        mime="text/csv",
        key=f"csv_{name}",
        on_click="ignore",
    )


def problems(title: str, said: Sequence[str]) -> None:
    """List what cannot be used, each in a sentence of its own."""
    if said:
        items = "".join(f"<li>{theme.text(one)}</li>" for one in said)
        html(f'<div class="sp-problems" role="alert"><p>{theme.text(title)}</p><ul>{items}</ul></div>')


def cannot(error: ModelError) -> None:
    """Say why something cannot be shown; the rest of the page stands."""
    problems("This cannot be shown", str(error).splitlines())
