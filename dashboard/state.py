"""The state of one sitting: which scenario is shown, what was refused, and what has been worked out?

The only place that touches the session's memory. Nothing of a user is kept in a module; what is shared
between sittings is worked out from a scenario alone and kept under the whole of it.
"""

from __future__ import annotations

import gc
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard.parts.answer import Named
from dashboard.parts.marks import assign_roles
from dashboard.parts.theme import tokens
from dashboard.shipped import OPENING, shipped, text_of
from model import compare_methods
from model.compare import Comparison
from model.core.errors import ModelError, ScenarioError
from model.explain.credit import Explanation, explain
from model.explain.rerun import Progress
from model.inputs.reading import read_scenario
from model.inputs.scenario import Block, Scenario
from model.inputs.writing import write_scenario
from model.report import frames
from model.report.money_frames import MONEY_FRAMES
from model.report.site_frames import SITE_FRAMES

_SITTING: Final = "sitting"

FRAMES: Final = {
    "storeys": frames.storeys_against_time,
    "loads": frames.loads_by_week,
    "register": frames.register,
    **SITE_FRAMES,
    **MONEY_FRAMES,
}


@dataclass(frozen=True)
class Refusal:
    """What could not be used, and why, in the user's words.

    Parameters
    ----------
    title : str
    problems : tuple of (str, str)
        Where, and the whole sentence.
    """

    title: str = ""
    problems: tuple[tuple[str, str], ...] = ()

    def under(self, *starts: str) -> tuple[str, ...]:
        """Return the problems whose place begins with one of some words."""
        return tuple(said for where, said in self.problems if where.startswith(starts))


@dataclass
class Sitting:
    """What one user has before them.

    Parameters
    ----------
    scenario : Scenario
        The one shown: it can be worked out.
    draft : Scenario
        The one asked for; as `scenario` unless something was refused.
    text : str
        The file it was opened from, whose comments a saved file keeps.
    name : str
        What that file is called.
    refusal : Refusal
        Problems of the draft, or of a file that was not opened.
    stamp, grid_stamp, detail_stamp, record_stamp : int
        Raised when all fields, the table of blocks, the fields of one block, or those of records are to be
        laid out afresh.
    base : tuple of Block
        The blocks that the table of blocks was first shown with.
    """

    scenario: Scenario
    draft: Scenario
    text: str
    name: str
    refusal: Refusal = field(default_factory=Refusal)
    stamp: int = 0
    grid_stamp: int = 0
    detail_stamp: int = 0
    record_stamp: int = 0
    base: tuple[Block, ...] = ()


@dataclass(frozen=True, eq=False)
class Shown:
    """What a page shows: the results of the present scenario, and how methods are told apart."""

    scenario: Scenario
    comparison: Comparison
    figures: Mapping[str, Any]
    names: tuple[Named, ...]
    colours: Mapping[str, str]

    def frame(self, name: str) -> pd.DataFrame:
        """Return one of `FRAMES`, with the role of each method beside it where there is one."""
        found = _frame(self.scenario, name)
        if "method" not in found.columns:
            return found
        role_of = {named.label: named.role for named in self.names}
        return found.assign(role=found["method"].map(role_of))

    def elevation(self) -> dict[str, Any]:
        """Return what the elevations need, each method with its role."""
        payload = frames.elevation_payload(self.comparison)
        for method, named in zip(payload["methods"], self.names, strict=True):
            method["role"] = named.role
        return payload

    def as_json(self) -> str:
        """Return all figures as the command line writes them."""
        return json.dumps(self.figures, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


# --------------------------------------------------------------------------------- worked out once


@st.cache_resource(show_spinner="Getting ready. The first start after installation takes about 20 seconds.")
def warm() -> bool:
    """Compile what the schedule needs, once for this server, and settle the memory it takes."""
    compare_methods(read_scenario(text_of("two_storey.toml"), "two_storey.toml"))
    gc.collect()
    gc.freeze()  # the server collects after every run: what stays for good need not be looked at again
    return True


def _key(scenario: Scenario) -> str:
    """Return what tells a scenario from any other, reasons and notes included."""
    return f"{scenario.fingerprint()} {scenario!r}"


@st.cache_resource(max_entries=6, show_spinner=False, hash_funcs={Scenario: _key})
def _results(scenario: Scenario) -> tuple[Comparison, Mapping[str, Any]]:
    comparison = compare_methods(scenario)
    return comparison, comparison.as_json()


@st.cache_data(max_entries=96, show_spinner=False, hash_funcs={Scenario: _key})
def _frame(scenario: Scenario, name: str) -> pd.DataFrame:
    comparison, _figures = _results(scenario)
    return FRAMES[name](comparison)


@st.cache_resource(max_entries=6, show_spinner=False, hash_funcs={Scenario: _key})
def _explanations(scenario: Scenario) -> list[Explanation]:
    """Return where the explanation of a scenario is kept: nothing, or the one."""
    return []


# ------------------------------------------------------------------------------------- the sitting


def sitting() -> Sitting:
    """Return what this user has before them; at first the scenario the page opens on."""
    if _SITTING not in st.session_state:
        name = OPENING if OPENING in shipped() else next(iter(shipped()))
        text = text_of(name)
        scenario = read_scenario(text, name)
        st.session_state[_SITTING] = Sitting(scenario, scenario, text, name)
    found: Sitting = st.session_state[_SITTING]
    return found


def shown() -> Shown:
    """Return the results of the present scenario, worked out at most once.

    Raises
    ------
    ModelError
        If the programme cannot be worked out.
    """
    scenario = sitting().scenario
    comparison, figures = _results(scenario)
    roles = assign_roles([method.like for method in scenario.methods])
    names = tuple(
        Named(method.id, method.label, role, method.like)
        for method, role in zip(scenario.methods, roles, strict=True)
    )
    return Shown(scenario, comparison, figures, names, tokens(st.context.theme.type))


def explained(progress: Progress | None = None) -> Explanation:
    """Return where the difference of the present scenario's methods comes from, worked out at most once.

    Parameters
    ----------
    progress : callable, optional
        Told mixtures done and mixtures in all, the first time.

    Raises
    ------
    ModelError
        If a mixture of the methods cannot be worked out.
    """
    scenario = sitting().scenario
    kept = _explanations(scenario)
    if not kept:
        comparison, _figures = _results(scenario)
        kept.append(explain(comparison, progress=progress))
    return kept[0]


def propose(draft: Scenario) -> bool:
    """Take a draft as the scenario if it can be worked out; keep the last good one if not.

    Parameters
    ----------
    draft : Scenario
        Need not be right.

    Returns
    -------
    bool
        Whether it was taken.
    """
    now = sitting()
    now.draft = draft
    try:
        good = draft.with_changes()
        _results(good)
    except ModelError as error:
        now.refusal = _refusal("Not in the answer yet", error)
        return False
    now.scenario = now.draft = good
    now.refusal = Refusal()
    return True


def take_back() -> None:
    """Go back to the scenario shown, and forget what was refused."""
    now = sitting()
    now.draft, now.refusal = now.scenario, Refusal()
    now.stamp += 1


def open_text(text: bytes | str, name: str) -> bool:
    """Open a scenario file; if it has problems, keep what is shown and list them.

    Parameters
    ----------
    text : bytes or str
    name : str
        What the file is called.

    Returns
    -------
    bool
        Whether it was opened.
    """
    now = sitting()
    try:
        scenario = read_scenario(text, name)
        _results(scenario)
    except ModelError as error:
        now.refusal = _refusal(f"{name} was not opened", error, place="file")
        return False
    kept = text.decode("utf-8-sig") if isinstance(text, bytes) else text
    st.session_state[_SITTING] = Sitting(scenario, scenario, kept, name, stamp=now.stamp + 1)
    return True


def open_shipped(name: str) -> bool:
    """Open a scenario that comes with the tool."""
    return open_text(text_of(name), name)


def saved_text() -> str:
    """Return the present scenario as a file, with the comments of the one it was opened from."""
    now = sitting()
    return write_scenario(now.scenario, now.text)


def widget(key: str, default: Any = None) -> Any:
    """Return what stands in a field."""
    return st.session_state.get(key, default)


def _refusal(title: str, error: ModelError, place: str = "") -> Refusal:
    """Return a refusal; `place` stands before every problem's own where one is given."""
    if isinstance(error, ScenarioError):
        return Refusal(title, tuple((place or p.where, str(p)) for p in error.problems))
    return Refusal(title, ((place or "programme", str(error)),))
