"""How sure: what if things turn out otherwise, what moves the answer most, and what would have to be true?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard import state
from dashboard.parts import money_words, sure_charts, sure_words, theme, why_charts
from dashboard.parts.fields import label_of
from dashboard.parts.layout import chart, download, figures_behind, html, problems
from dashboard.runs import Run, Told, Work, breaking
from model.core.errors import ModelError
from model.explain.must_be_true import MustBeTrue, what_must_be_true
from model.explain.sensitivity import Sensitivities, one_at_a_time
from model.explain.two_way import TwoWay, two_way
from model.inputs.assumption import read_library
from model.report import sure_frames
from model.risk import engine
from model.risk.result import Risk

RUNS, SEED = 2000, 1
"""Draws and seed unless the reader asks for others."""

FEWEST, MOST = 100, 20000

EVERY: Final = 0.5
"""How often the page looks how far a run is. [s]"""

MOST_KEPT: Final = 4
"""Scenarios whose results a sitting keeps."""

SIDE: Final = 7
"""Values along each side of a map."""

OF: Final = {"profit": "Profit", "last handover": "Last handover", "first handover": "First handover"}
"""Differences that single inputs may be ranked by, in the words of `model.explain`."""

_KEPT: Final = "sure_kept"

_column = st.column_config


Name = tuple[str | float, ...]
"""What a run is of: ``("draws",)``, ``("singles",)``, ``("map", x, y, of)``, ``("true", kind, amount)``."""


@dataclass
class Kept:
    """What a sitting has of one scenario: runs under way, what came of them, what could not be done."""

    found: dict[Name, Any] = field(default_factory=dict)
    runs: dict[Name, Run] = field(default_factory=dict)
    refused: dict[Name, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A run that has ended, and its figures."""

    risk: Risk
    figures: dict[str, Any]


DRAWS: Final[Name] = ("draws",)
SINGLES: Final[Name] = ("singles",)


def show() -> None:
    """Show chances and ranges, then what moves the answer, where it turns, what would have to be true."""
    shown = state.shown()
    html(money_words.css(), why_charts.css())
    kept = _kept(shown)
    drawn = kept.found.get(DRAWS)
    _answer(shown, drawn)
    _draws(shown, kept)
    if drawn is not None:
        _results(shown, drawn)
    _singles()
    _map()
    _true()
    html(theme.section("Words used here", "The same stand where a dotted line invites to point."))
    with st.expander("Every word"):
        html(sure_words.glossary())


def _kept(shown: state.Shown) -> Kept:
    """Return what this sitting has of the present scenario; runs of others are let go."""
    every: dict[str, Kept] = st.session_state.setdefault(_KEPT, {})
    key = f"{shown.scenario.fingerprint()} {shown.scenario!r}"
    kept = every.pop(key, None) or Kept()
    every[key] = kept  # the last used stands last
    for old in list(every)[:-MOST_KEPT]:
        del every[old]
    for other in every.values():
        if other is not kept:
            for run in other.runs.values():
                run.cancel()
            other.runs.clear()
    return kept


def _answer(shown: state.Shown, drawn: Drawn | None) -> None:
    names = shown.names
    if drawn is None:
        html(theme.sentence(*sure_words.before(shown.figures, names), under=[WHAT]))
        return
    figures = drawn.figures
    html(
        theme.sentence(
            *sure_words.headline(figures, names),
            under=sure_words.lead(figures, names, _expected(shown, drawn.risk)),
        )
    )


def _expected(shown: state.Shown, risk: Risk) -> str:
    """Say where the expected case stands among the draws."""
    expected = shown.figures["difference"]["weeks_to_last_handover"]
    return sure_words.say_expected(expected, sure_frames.as_good(risk, expected), shown.names[1])


WHAT: Final = (
    "A draw is one way it may turn out: the pace of each trade, hook minutes, the factory, sales, prices, "
    "interest, "
    "the weather of every date, and now and then a crane out of use or a maker that fails. All methods meet "
    "the same "
    "luck."
)


# --------------------------------------------------------------------------------------------- draws


def _draws(shown: state.Shown, kept: Kept) -> None:
    """Ask for a run, or show how far it is."""
    if DRAWS in kept.runs:
        _watched(DRAWS, "draws")
        return
    _refused(kept, DRAWS)
    with st.container(horizontal=True, vertical_alignment="bottom", key="ask_draws"):
        runs = st.number_input("Draws", FEWEST, MOST, RUNS, step=500, key="risk_runs", width=150)
        seed = st.number_input(
            "Seed", 0, None, SEED, step=1, key="risk_seed", width=150, help=sure_words.TERMS["Seed"]
        )
        comparison = shown.comparison

        def work(told: Told, stop: Callable[[], bool]) -> Risk:
            return engine.simulate(comparison, int(runs), int(seed), stop=stop, progress=told)

        again = "Draw again" if DRAWS in kept.found else "Draw"
        st.button(again, key="risk_start", type="primary", on_click=_start, args=(kept, DRAWS, work))


# ----------------------------------------------------------------------------- work beside the page


def _start(kept: Kept, name: Name, work: Work) -> None:
    kept.refused.pop(name, None)
    kept.runs[name] = Run(work)


def _refused(kept: Kept, name: Name) -> None:
    if name in kept.refused:
        problems("This cannot be worked out", kept.refused[name].splitlines())


def _watched(name: Name, what: str) -> None:
    """Show how far a run is, looking again and again until it has ended."""
    st.fragment(_watch, run_every=EVERY)(name, what)


def _watch(name: Name, what: str) -> None:
    """Show how far a run is; when it has ended, show the page anew."""
    shown = state.shown()
    kept = _kept(shown)
    run = kept.runs.get(name)
    if run is None:
        return
    if run.running:
        share = min(1.0, run.done / run.of) if run.of else 0.0
        st.progress(share, sure_words.say_running(run.done, run.of, run.waiting, what))
        st.button("Stop", key=f"stop_{name[0]}", on_click=run.cancel, disabled=run.stopped)
        if run.so_far is not None:
            look = sure_frames.first_look(run.so_far)
            html(f'<p class="sp-say">{theme.text(sure_words.first_words(look, shown.names))}</p>')
        return
    del kept.runs[name]
    if run.error is not None and not isinstance(run.error, ModelError):
        raise run.error
    if run.error is not None:
        kept.refused[name] = str(run.error)
    elif name == DRAWS and run.result is not None:
        if run.result.runs_done >= FEWEST:  # stopped early, a part may be worth a look
            kept.found[name] = Drawn(run.result, run.result.as_json())
    elif run.result is not None:
        kept.found[name] = run.result
    st.rerun()


def _asked(shown: state.Shown, name: Name, label: str, work: Callable[[Told], Any]) -> Any:
    """Offer a button that starts some work beside the page; return what came of it once there is anything."""
    kept = _kept(shown)
    if name in kept.found:
        return kept.found[name]
    if name in kept.runs:
        _watched(name, "cases")
        return None
    _refused(kept, name)

    def begin(told: Told, stop: Callable[[], bool]) -> Any:
        return work(breaking(told, stop))

    st.button(label, key=f"start_{name[0]}", on_click=_start, args=(kept, name, begin))
    return None


def _results(shown: state.Shown, result: Drawn) -> None:
    """Show what was drawn: differences, dates, what they follow, one draw opened, published overruns."""
    names, drawn = shown.names, result.figures
    start = shown.scenario.development.start
    draws = sure_frames.draws(result.risk)
    gaps = sure_frames.differences_drawn(draws, names[0].id, names[1].id)
    _spread(shown, drawn, draws, gaps)
    dates = sure_frames.ready_dates(drawn, sure_charts.labels_of(names), start)
    html(
        theme.section(
            "When each block is ready",
            sure_words.term("P10"), " to ", sure_words.term("P90"), " as a rule, ", sure_words.term("P50"),
            " the post on it, ", sure_words.term("P80"), " the fine tick; the date written first is P50.",
        ),
        theme.method_key([(one.label, one.role) for one in names]),
        sure_charts.date_ranges(dates, names, sure_words.longstop_of(shown.figures)),
        theme.caution(sure_words.SAFETY),
    )  # fmt: skip
    figures_behind("dates-drawn", dates, {"method": "Method", "block": "Block", **_date_columns()})
    _followed(drawn, shown)
    _one_draw(result.risk, draws, shown)
    _overruns(sure_frames.optimism(result.risk), shown)


def _date_columns() -> dict[str, Any]:
    return {p: _column.DateColumn(p.upper(), format="D MMM YYYY") for p in sure_charts.POINTS}


def _spread(shown: state.Shown, drawn: dict[str, Any], draws: pd.DataFrame, gaps: pd.DataFrame) -> None:
    names, found = shown.names, sure_frames.percentiles(drawn)
    html(
        theme.section(
            "Weeks saved, and profit",
            "A hundred windows for all draws, each for one in a hundred, in bays by size and in the colour "
            "of the "
            "method that does better. Count them.",
        ),
        theme.method_key([(one.label, one.role) for one in names[:2]]),
    )
    for figure, heading, ahead, write in (
        ("weeks_to_last_handover", "Weeks saved at the last handover", "sooner", sure_words.gap_weeks),
        ("profit", "Difference of profit", "ahead", sure_words.gap_money),
    ):
        points = drawn["difference"][figure]
        said = sure_words.say_spread(points, names, figure)
        html(
            f'<h3 class="sp-sub">{heading}</h3>',
            sure_charts.windows(list(gaps[figure]), names, write, said, points, ahead),
            f'<p class="sp-note">{theme.text(said)}</p>',
        )
    with st.expander("Every figure drawn, with standard errors"):
        html(
            f'<p class="sp-note">{theme.text(sure_words.say_errors(found, drawn["runs"]))} Weeks from the '
            "start on "
            "site; of the difference, weeks sooner.</p>",
            sure_words.percentiles_table(found, names),
        )
        download("percentiles", found)
        html('<p class="sp-note">Every draw, one row each:</p>')
        download("draws", draws)


def _followed(drawn: dict[str, Any], shown: state.Shown) -> None:
    late, profit = (sure_frames.drivers(drawn, on) for on in ("weeks", "profit"))
    html(
        theme.section(
            "What the difference follows",
            sure_words.term("Rank correlation"),
            " of what was drawn with the difference: right where more of it favours the second method, left "
            "where "
            "it favours the first.",
        ),
        '<div class="sp-sides">',
        sure_charts.drivers(late, shown.names, "Weeks saved"),
        sure_charts.drivers(profit, shown.names, "Difference of profit"),
        "</div>",
    )
    figures_behind("drivers", pd.concat([late.assign(of="weeks"), profit.assign(of="profit")]))


@st.fragment
def _one_draw(risk: Risk, draws: pd.DataFrame, shown: state.Shown) -> None:
    html(theme.section("One draw opened", "What such an outcome looks like, date by date."))
    with st.container(horizontal=True, key="pick_draw"):
        on = st.segmented_control(
            "By", ["weeks", "profit"], default="weeks", key="draw_on",
            format_func={"weeks": "By weeks saved", "profit": "By profit"}.__getitem__,
            label_visibility="collapsed",
        )  # fmt: skip
        share = st.segmented_control(
            "At", [10, 50, 90], default=50, key="draw_at", format_func=lambda p: f"P{p}",
            label_visibility="collapsed",
        )  # fmt: skip
    of, at = on or "weeks", share or 50
    figure = "profit" if of == "profit" else "weeks_to_last_handover"
    number = risk.run_at(figure, at / 100)
    ids = [name.id for name in shown.names]
    case = sure_frames.draw_case(draws, number, ids, shown.scenario.development.start)
    html(
        f'<p class="sp-note">{theme.text(sure_words.say_draw(at, of, number))}</p>',
        sure_words.draw_table(case, shown.names),
    )
    download("one-draw", case)


def _overruns(frame: pd.DataFrame, shown: state.Shown) -> None:
    html(
        theme.section("Beside published overruns", sure_words.BIAS),
        sure_words.optimism_table(frame, shown.names),
        f'<p class="sp-note">{sure_words.term("Optimism bias")}: {theme.text(sure_words.REVIEW)}</p>',
    )
    download("published-overruns", frame)


# ------------------------------------------------------------------------------------ one at a time


@st.fragment
def _singles() -> None:
    """Rank single inputs, each over its own range, worked out on request."""
    shown = state.shown()
    names = shown.names
    html(
        theme.section(
            "What moves the answer most",
            "Each input alone goes to the low and the high end of its own range, all else as it is, and both "
            "methods are worked again. A long rule may be a wide range rather than a strong effect.",
        )
    )
    comparison = shown.comparison
    found: Sensitivities | None = _asked(
        shown, SINGLES, "Move every input", lambda told: one_at_a_time(comparison, progress=told)
    )
    if found is None:
        return
    of = _picked_figure("singles_of")
    frame, write = found.frame(of), _write(of)
    if not len(frame):
        html('<p class="sp-note">No input moves it.</p>')
        return
    what = f"{OF[of]} with {names[1].plainly} against {names[0].plainly}"
    html(
        theme.method_key([(one.label, one.role) for one in names[:2]]),
        sure_charts.ranked_key(),
        sure_charts.ranked(frame, names, write, f"{what}; right of the line {names[1].plainly} better"),
        f'<p class="sp-note">{theme.text(sure_charts.say_ranked(frame, write))}</p>',
    )
    figures_behind(f"single-inputs-{of.replace(' ', '-')}", sure_charts.ranked_table(frame))


def _picked_figure(key: str) -> str:
    picked = st.segmented_control(
        "Of what", list(OF), default="profit", format_func=OF.__getitem__, key=key,
        label_visibility="collapsed",
    )  # fmt: skip
    return picked or "profit"


def _write(of: str) -> Callable[[float], str]:
    return sure_words.gap_money if of == "profit" else sure_words.gap_weeks


# ------------------------------------------------------------------------------------ two at a time


@st.fragment
def _map() -> None:
    """Map any two inputs, with the line on which the methods come out even."""
    shown = state.shown()
    names, library = shown.names, read_library()
    html(
        theme.section(
            "Where the answer turns",
            "Two inputs over their ranges: the larger a pane, the larger the difference, in the colour of "
            "the "
            "method it favours; the line is where the two come out even.",
        )
    )
    keys = _ranged(shown)
    left, right, which = st.columns([2, 2, 1.4], gap="large", vertical_alignment="bottom")
    with left:
        x = st.selectbox(
            "Across", keys, _place(keys, FIRST_X), format_func=lambda k: label_of(library[k]), key="map_x"
        )
    with right:
        y = st.selectbox(
            "Up", keys, _place(keys, FIRST_Y), format_func=lambda k: label_of(library[k]), key="map_y"
        )
    with which:
        of = st.selectbox("Of what", list(OF), format_func=OF.__getitem__, key="map_of")
    if x == y:
        html('<p class="sp-note">Choose two different inputs.</p>')
        return
    comparison = shown.comparison
    found: TwoWay | None = _asked(
        shown,
        ("map", x, y, of),
        f"Work {SIDE * SIDE} cases",
        lambda told: two_way(comparison, x, y, (SIDE, SIDE), of, progress=told),
    )
    if found is None:
        return
    write = _write(of)
    frame = found.frame()
    axes = ((label_of(library[x]), found.x.now), (label_of(library[y]), found.y.now))
    chart(
        "two-inputs",
        sure_charts.two_way_map(frame, found.zero, axes, names, shown.colours, write),
        sure_charts.say_two_way(frame, names, bool(found.zero), write),
        frame,
        names[:2],
        {
            "x": axes[0][0],
            "y": axes[1][0],
            "figure": f"{OF[of]}, difference",
            "first": names[0].label,
            "second": names[1].label,
        },
    )


FIRST_X, FIRST_Y = "option.outer_wall.panel_before_deck.rate", "factory.output"
"""Inputs the map opens on, where the methods read them."""


def _ranged(shown: state.Shown) -> list[str]:
    """Return the records whose range has width, those that moved most first where that is known."""
    library = read_library()
    singles: Sensitivities | None = _kept(shown).found.get(SINGLES)
    first = [row.key for row in singles.ranked("profit") if row.kind == "record"] if singles else []
    rest = [key for key, record in library.records.items() if record.low < record.high and key not in first]
    return [*first, *rest]


def _place(keys: list[str], wanted: str) -> int:
    return keys.index(wanted) if wanted in keys else 0


# ------------------------------------------------------------------------------- what must be true


@st.fragment
def _true() -> None:
    """Ask for a target, and show what would bring the second method to it."""
    shown = state.shown()
    first, second = shown.names[:2]
    html(
        theme.section(
            "What would have to be true",
            f"Choose what {second.plainly} should bring against {first.plainly}. Every input is tried within "
            "its own "
            "range, alone and then in pairs, until it does; all else as it is.",
        )
    )
    kinds = {"percent": "First handover sooner, %", "more": "Profit higher, £"}
    left, right, _rest = st.columns([1.6, 1.2, 2], gap="large", vertical_alignment="bottom")
    with left:
        kind = st.selectbox("Target", list(kinds), format_func=kinds.__getitem__, key="true_kind")
    with right:
        if kind == "percent":
            amount = st.number_input("By so many %", -50.0, 75.0, 10.0, step=1.0, key="true_pct")
        else:
            amount = st.number_input("By so many £", -1e9, 1e9, 0.0, step=1e5, key="true_sum", format="%.0f")
    comparison, swings = shown.comparison, _kept(shown).found.get(SINGLES)
    target = {"of": "first handover" if kind == "percent" else "profit", kind: float(amount)}
    found: MustBeTrue | None = _asked(
        shown,
        ("true", str(kind), float(amount)),
        "Look for it",
        lambda told: what_must_be_true(comparison, target, told, swings=swings),
    )
    if found is None:
        return
    frame = sure_frames.ways(found)
    said = sure_words.say_true(frame, str(kind), float(amount), found.now, found.tried, shown.names)
    html(f'<p class="sp-say">{theme.text(said)}</p>')
    if not len(frame):
        return
    html(sure_charts.distances(frame, second), theme.caution(sure_words.NO_ORDER))
    with st.expander("Every way, as a table"):
        html(sure_words.ways_table(frame, str(kind)))
        download("what-would-have-to-be-true", frame)
