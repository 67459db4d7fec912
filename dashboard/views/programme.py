"""Programme: when is each storey of each block done, why then, and what would move it?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard import state
from dashboard.parts import answer, climbs, cuts, theme
from dashboard.parts import programme_words as words
from dashboard.parts.answer import Named
from dashboard.parts.layout import chart, download, figures_behind, html
from model.explain.levers import LEFT_OUT as CHANGES_LEAVE_OUT
from model.explain.levers import Levers, try_levers
from model.explain.slips import LEFT_OUT as SLIPS_LEAVE_OUT
from model.explain.slips import Slips, cost_of_slips
from model.inputs.method import read_catalogue
from model.report import frames

ALL: Final = "All blocks"

MOST_KEPT: Final = 4
"""Scenarios whose re-runs a sitting keeps."""

_RERUNS: Final = "programme_reruns"


def show() -> None:
    """Show storeys against time, causes of a date, slips, changes, the factory, dates and gangs."""
    shown = state.shown()
    figures, names = shown.figures, shown.names
    last = _last_block(shown)
    made = words.in_weeks(frames.date_made_of(shown.comparison, last, "ready"))
    blocks = [block.name for block in shown.scenario.blocks]
    html(
        theme.sentence(
            *words.headline(made, names, blocks[last], len(blocks) > 1),
            under=answer.programme_answer(figures, names),
        )
    )
    _storeys()
    _causes()
    _slips()
    _changes()
    _factory(shown)
    _dates(shown)
    trades = {name: trade.label for name, trade in read_catalogue().trades.items()}
    html(
        theme.section("Gangs", "Places a trade can work at once; the same rule sets them for every method."),
        answer.gangs_table(figures, names, trades),
    )


def _last_block(shown: state.Shown) -> int:
    """Return the block the second method has ready last."""
    return int(shown.comparison.second.plan.ready_by_block.argmax())


def _with_role(shown: state.Shown, frame: pd.DataFrame) -> pd.DataFrame:
    role_of = {named.label: named.role for named in shown.names}
    return frame.assign(role=frame["method"].map(role_of))


# --------------------------------------------------------------------------------- storeys, causes


@st.fragment
def _storeys() -> None:
    shown = state.shown()
    html(
        theme.section(
            "Storeys against time",
            "Each band is a stage climbing the block: its fine left edge the start of each storey, its heavy "
            "right edge the finish. Frame is open, walls are tinted, fit-out is hatched; a steeper band is a "
            "faster pace. Days a storey count from slab to slab with closed dates; storeys of lag are those "
            "between the deck and the inside work below it. Point at an edge to see who, when and why then.",
        )
    )
    blocks = [block.name for block in shown.scenario.blocks]
    picked = ALL
    if len(blocks) > 1:
        picked = (
            st.pills(
                "Blocks",
                [ALL, *blocks],
                default=ALL,
                key=_key("storeys", blocks),
                label_visibility="collapsed",
            )
            or ALL
        )
    frame, pace = shown.frame("storeys"), frames.pace(shown.comparison)
    if picked != ALL:
        frame, pace = frame[frame["block"] == picked], pace[pace["block"] == picked]
    date = st.column_config.DateColumn
    chart(
        "storeys-against-time",
        climbs.storeys_against_time(frame, shown.colours, pace),
        climbs.say_storeys(frame),
        frame,
        shown.names,
        {
            "method": "Method",
            "block": "Block",
            "storey": "Storey",
            "stage": "Stage",
            "start": date("Start", format="D MMM YYYY"),
            "finish": date("Finish", format="D MMM YYYY"),
            "trade": "Trade that ends it",
            "gang": "Gang",
            "what": "Its last task",
            "why": "What held that",
            "after": "After",
        },
    )


@st.fragment
def _causes() -> None:
    shown = state.shown()
    blocks = [block.name for block in shown.scenario.blocks]
    html(
        theme.section(
            "Why that date",
            "From the start on site to a date, following at every point what fixed the next: the gang that "
            "came free, the concrete, the hook, the calendar. The weeks add up to the date.",
        )
    )
    left, middle = st.columns([1, 1])
    with left:
        block = st.selectbox("Block", blocks, index=_last_block(shown), key=_key("why_block", blocks))
    with middle:
        picked = st.segmented_control(
            "Date", list(words.DATES), default="ready", format_func=words.DATES.__getitem__, key="why_date"
        )
    names = _methods(shown)
    date, place = picked or "ready", blocks.index(block)
    made = words.in_weeks(frames.date_made_of(shown.comparison, place, date))
    made = made[made["method"].isin([name.label for name in names])]
    pace = frames.pace(shown.comparison)
    when = {row["method"]: row[date] for row in pace[pace["block"] == block].to_dict("records")}
    html(
        f'<p class="sp-say">{theme.text(words.say_differences(made, *names[:2]))}</p>'
        if len(names) > 1
        else ""
    )
    strips = [
        cuts.Strip(name.label, name.role, _total(made, name, when[name.label], date), _pieces(made, name))
        for name in names
    ]
    html(cuts.strips(strips, words.say_made_of(made, names)))
    html(words.ledger(made, names, date))
    download(f"{block}-{date}-causes", made)
    way = _with_role(shown, frames.way_to_date(shown.comparison, place, date))
    way = way[way["method"].isin([name.label for name in names])]
    html(
        "<h3>The way to it</h3>"
        '<p class="sp-note">The same weeks in order of time, climbing the block: a full line where hands are '
        "at work, dots where the next task waits. The lowest line is work of the block as a whole.</p>"
    )
    _way(way, shown, names)


def _methods(shown: state.Shown) -> list[Named]:
    """Ask which methods to show where there are more than two."""
    every = list(shown.names)
    if len(every) < 3:
        return every
    labels = [name.label for name in every]
    picked = st.pills(
        "Methods", labels, default=labels, selection_mode="multi", key=_key("why_methods", labels)
    )
    return [name for name in every if name.label in picked] or every


def _total(made: pd.DataFrame, name: Named, when: pd.Timestamp, date: str) -> str:
    weeks = made.loc[made["method"] == name.label, "weeks"].sum()
    return f"{weeks:.1f} weeks from the start on site, {words.SAID[date]} {words.day(when)}"


def _pieces(made: pd.DataFrame, name: Named) -> list[cuts.Piece]:
    return [
        cuts.Piece(
            row["part"],
            words.short_name(row["part"], row["trade"]),
            row["weeks"],
            words.PARTS[row["part"]][1],
            "work" if row["part"] == "work" else "",
        )
        for row in made[made["method"] == name.label].to_dict("records")
    ]


def _way(way: pd.DataFrame, shown: state.Shown, names: list[Named]) -> None:
    date = st.column_config.DateColumn
    days = st.column_config.NumberColumn
    chart(
        "way-to-date",
        climbs.way_to_date(way, shown.colours),
        climbs.say_way(way),
        way,
        names,
        {
            "method": "Method",
            "step": "Step",
            "kind": "Work or between",
            "from_day": days("From day", format="%.1f"),
            "to_day": days("To day", format="%.1f"),
            "start": date("Start", format="D MMM YYYY"),
            "finish": date("Finish", format="D MMM YYYY"),
            "what": "What",
            "block": "Block",
            "storey": "Storey",
            "zone": "Zone",
            "trade": "Trade",
            "part": "Cause",
            "days": days("Days", format="%.2f"),
        },
    )


# ----------------------------------------------------------------------------------- run on demand


@dataclass
class Reruns:
    """What re-running one scenario has given so far.

    Parameters
    ----------
    slips : list of Slips
        One for each method; empty if not asked for.
    changes : list of Levers
        One for each method; empty if not asked for.
    """

    slips: list[Slips]
    changes: list[Levers]


def _reruns(shown: state.Shown) -> Reruns:
    """Return what this sitting has of the scenario shown."""
    kept: dict[str, Reruns] = st.session_state.setdefault(_RERUNS, {})
    key = f"{shown.scenario.fingerprint()} {shown.scenario!r}"
    found = kept.pop(key, None) or Reruns([], [])
    kept[key] = found  # the last used stands last
    for old in list(kept)[:-MOST_KEPT]:
        del kept[old]
    return found


def _asked(shown: state.Shown, key: str, label: str, each: Callable[..., Any]) -> list[Any]:
    """Offer a button; once pressed, run something for each method with a bar of progress."""
    place = st.empty()
    if not place.button(label, key=key):
        return []
    cases = shown.comparison.cases
    bar = place.progress(0.0, "Scheduling again …")
    found = []
    for n, case in enumerate(cases):
        label = case.method.label

        def told(done: int, runs: int, n: int = n, label: str = label) -> None:
            bar.progress(
                min(1.0, (n + done / max(runs, 1)) / len(cases)), f"{label}: {done} of {runs} schedules"
            )

        found.append(each(case, progress=told))
    place.empty()
    return found


@st.fragment
def _slips() -> None:
    shown = state.shown()
    html(
        theme.section(
            "If a trade loses a week",
            "One working week more is put into the task of each trade that has least room, and the whole is "
            "scheduled again. Float is the room before any handover moves, counted before cranes are shared: "
            "a slip can cost time in spite of float when it takes the hook at a worse moment.",
        )
    )
    kept = _reruns(shown)
    if not kept.slips:
        kept.slips = _asked(shown, "run_slips", "Work out what a week's slip costs", cost_of_slips)
    if not kept.slips:
        return
    slips = pd.concat(
        [one.frame().assign(method=name.label) for one, name in zip(kept.slips, shown.names, strict=True)],
        ignore_index=True,
    )
    html(f'<p class="sp-say">{theme.text(words.say_slips(slips, shown.names))}</p>')
    rows = []
    for label in words.slip_rows(slips):
        mine = slips[slips["label"] == label]
        bars = []
        for name in shown.names:
            for row in mine[mine["method"] == name.label].to_dict("records"):
                bars.append(cuts.Bar(name.label, name.role, float(row["weeks_last"]), words.say_slip(row)))
        rows.append((label, bars))
    html(cuts.bars(rows, "Weeks the last handover moves when the trade loses a week, and what that costs"))
    html(
        '<p class="sp-note">Trades not drawn can lose a week for nothing. A sum gained means that money is '
        "spent later while the flats sell no slower. "
        f"Not in it: {theme.text('; '.join(SLIPS_LEAVE_OUT))}.</p>"
    )
    with st.expander("Every trade"):
        html(words.slips_table(slips, shown.names))
        download("slips", slips)


@st.fragment
def _changes() -> None:
    shown = state.shown()
    html(
        theme.section(
            "The cheapest week",
            "One more gang, crane, hoist or deck set, an evening's loading-out, a faster factory, another "
            "order of work: each tried alone. The three that bring the last handover forward most are "
            "priced.",
        )
    )
    kept = _reruns(shown)
    if not kept.changes:
        kept.changes = _asked(shown, "run_changes", "Try every single change", try_levers)
    if not kept.changes:
        return
    rows = []
    longest = max((lever.weeks_last for levers in kept.changes for lever in levers.offered), default=0.0)
    for levers, name in zip(kept.changes, shown.names, strict=True):
        offered = [lever.as_json() for lever in levers.offered]
        said = words.say_changes(offered, levers.words, name)
        html(f'<p class="sp-say">{"".join(theme.text(part) for part in said)}</p>')
        if offered:
            bars = [
                (
                    lever["label"],
                    [
                        cuts.Bar(
                            name.label,
                            name.role,
                            lever["weeks_gained_last_handover"],
                            words.say_change(lever),
                        )
                    ],
                )
                for lever in offered
            ]
            html(
                cuts.bars(
                    bars, "Weeks gained at the last handover, and what they cost before finance", longest
                )
            )
        explained = [f"{lever['label']}: {lever['explained']}" for lever in offered if lever["explained"]]
        if explained:
            with st.expander(f"Why interest rises although the work ends sooner: {name.label}"):
                html("".join(f'<p class="sp-note">{theme.text(one)}</p>' for one in explained))
        rows.append(levers.frame().assign(method=name.label))
    every = pd.concat(rows, ignore_index=True)
    html(
        '<p class="sp-note">Cost is before finance; profit counts finance and receipts too, so time can be '
        f"gained and money lost. Not in it: {theme.text('; '.join(CHANGES_LEAVE_OUT))}.</p>"
    )
    figures_behind("single-changes", every[["method", *[c for c in every.columns if c != "method"]]])


# ----------------------------------------------------------------------------------- factory, dates


def _factory(shown: state.Shown) -> None:
    start = shown.scenario.development.start.isoformat()
    makers = [name for name in shown.names if shown.figures["methods"][name.id]["factory"]]
    for name in makers:
        factory = shown.figures["methods"][name.id]["factory"]
        other = next((one.plainly for one in shown.names if one not in makers), "a wall framed on site")
        said = words.say_factory(factory, other)
        points = words.factory_points(factory, start)
        items = "".join(f"<li>{theme.text(one)}</li>" for one in said)
        html(
            theme.section(
                "The factory" if len(makers) == 1 else f"The factory, {name.label}",
                f"{name.label}: the dates by which it must be told, and what it then holds.",
            ),
            cuts.calendar_line(points, name.role, "; ".join(f"{w} {words.day(d)}" for d, w in points)),
            f'<ul class="sp-facts">{items}</ul>',
        )
        figures_behind(f"factory-{name.id}", _pairs(factory))


def _pairs(factory: dict[str, Any]) -> pd.DataFrame:
    return pd.DataFrame(
        [(key.replace("_", " "), str(value)) for key, value in factory.items()], columns=["what", "value"]
    )


def _dates(shown: state.Shown) -> None:
    figures, names = shown.figures, shown.names
    html(
        theme.section("Dates", "Ready: approved and fit to be lived in, as local codes decide."),
        answer.dates_table(figures, names),
    )
    sections = words.has_sections(figures, names)
    if sections:
        html("<h3>Handed over in sections</h3>", words.sections_table(figures, names))
    download("dates", frames.pace(shown.comparison))
    cautions = [words.PROPS, words.COLD, words.APPROVALS, *([words.BELOW] if sections else [])]
    html(*(theme.caution(one) for one in cautions))


def _key(name: str, of: list[str]) -> str:
    """Return the key of a choice among some names: other names, another choice."""
    return f"{name}_{'|'.join(of)}"
