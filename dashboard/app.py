"""The page: which views there are, and what stands on all of them."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import state
from dashboard.parts import theme
from dashboard.parts.layout import cannot, html
from dashboard.views import assumptions, case, development, money, programme, site, sure, why
from model.core.errors import ModelError

VIEWS = (
    st.Page(case.show, title="The case", url_path="case", default=True),
    st.Page(development.show, title="Development", url_path="development"),
    st.Page(programme.show, title="Programme", url_path="programme"),
    st.Page(site.show, title="Site", url_path="site"),
    st.Page(money.show, title="Money", url_path="money"),
    st.Page(why.show, title="Where it comes from", url_path="why"),
    st.Page(sure.show, title="How sure", url_path="sure"),
    st.Page(assumptions.show, title="Assumptions", url_path="assumptions"),
)


def main() -> None:
    """Set the page up and show the view asked for; a problem of the model is said, the page stays."""
    icon = Path(__file__).with_name("static") / "mark.svg"
    st.set_page_config(page_title="Storeypace", page_icon=str(icon), layout="wide")
    view = st.navigation(list(VIEWS), position="top")
    html(theme.css())
    state.warm()
    try:
        view.run()
    except ModelError as error:
        cannot(error)


main()
