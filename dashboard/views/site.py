"""Site: who and what must it carry, and does it bear it?"""

from __future__ import annotations

import streamlit as st

from dashboard import state
from dashboard.parts import answer, charts, site_charts, theme
from dashboard.parts.answer import Figures
from dashboard.parts.fields import record_field
from dashboard.parts.layout import chart, download, html, problems
from model.report.site_frames import site_figures
from model.site.deliveries import FACTOR_SET
from model.site.welfare import PORTABLE_PEOPLE

_column = st.column_config
_whole = _column.NumberColumn
_week = _column.DateColumn("Week of", format="D MMM YYYY")
_date = _column.DateColumn("Date", format="D MMM YYYY")


def show() -> None:
    """Show which trades change, and below it all that the site carries."""
    shown = state.shown()
    extra = site_figures(shown.comparison)
    figures = answer.with_site(shown.figures, extra)
    html(
        theme.sentence(
            *answer.site_answer(figures, shown.names), under=answer.site_lead(figures, shown.names)
        )
    )
    _trades(shown, extra["changed"])
    _people(shown, figures)
    _welfare(shown, figures)
    _hooks(shown, figures)
    _hoists(shown, figures)
    _bays(shown, figures)
    _stored(shown, figures)
    _edges(shown, figures)
    _transport(shown)
    _bands(shown)


def _lines(shown: state.Shown, figures: Figures, lines: tuple[answer.Line, ...]) -> None:
    html(answer.contrast_table(figures, shown.names, lines))


def _trades(shown: state.Shown, changed: Figures) -> None:
    frame = shown.frame("site trades")
    if len(site_charts.trades_that_change(frame)):
        html(theme.section("Trades that leave, arrive and change"))
        chart(
            "trades-by-week",
            site_charts.trades(frame, shown.colours),
            site_charts.say_trades(frame),
            frame,
            shown.names,
            {
                "method": "Method",
                "trade": "Trade",
                "week": _week,
                "people": _whole("People", format="%.1f"),
                "days": _whole("Operative-days in all", format="%.0f"),
            },
        )
    else:
        html(theme.section("Trades", "Both methods have the same trades, with as much work."))
    html(answer.changed_lists(changed, shown.names))


def _people(shown: state.Shown, figures: Figures) -> None:
    html(
        theme.section(
            "People",
            "Operatives, logistics, managers, crane and hoist crews. A gang that waits for the crane or the "
            "weather is on site too.",
        )
    )
    frame = shown.frame("site people")
    chart(
        "people-by-week",
        site_charts.people(frame, shown.colours),
        site_charts.say_people(frame),
        frame,
        shown.names,
        {
            "method": "Method",
            "week": _week,
            "operatives": _whole("People, mean of open days", format="%.0f"),
            "average": _whole("Average of all", format="%.0f"),
        },
    )
    _lines(shown, figures, answer.SITE_PEOPLE)


def _welfare(shown: state.Shown, figures: Figures) -> None:
    html(
        theme.section(
            "Welfare",
            "For the most people at once. WCs, urinals and basins from HSE L24, tables 1 and 2; above 100 "
            f"people their last step is carried on, from memory. One portable toilet to {PORTABLE_PEOPLE} "
            "people in a week of 40 h, HSE; a longer week asks for more. Seats, areas and cabins are "
            "practice and can be changed under Assumptions.",
        ),
        answer.welfare_table(figures, shown.names),
    )


def _hooks(shown: state.Shown, figures: Figures) -> None:
    html(
        theme.section("Hook hours", "What the cranes lift, month by month, against the hours they can fly."),
        theme.caution(
            "Hours lost to wind follow from planning limits. The lift plan and the appointed person decide "
            "what may be lifted in which wind."
        ),
        '<ul class="sp-fills" aria-label="Uses">'
        '<li><i class="sp-fill"></i>frame</li><li><i class="sp-fill sp-hatched"></i>wall panels</li>'
        '<li><i class="sp-fill sp-hollow"></i>other loads</li>'
        '<li><i class="sp-fill sp-limit"></i>hours there are, evenings among them</li></ul>',
    )
    frame = shown.frame("site hooks")
    hours = {use: _whole(f"{words.capitalize()}, h", format="%.1f") for use, words in _USES.items()}
    chart(
        "hook-hours-by-use",
        site_charts.hook_by_use(frame, shown.colours),
        site_charts.say_hook_by_use(frame),
        frame,
        shown.names,
        {
            "method": "Method",
            "month": _column.DateColumn("Month from", format="D MMM YYYY"),
            **hours,
            "used": _whole("Used, h", format="%.1f"),
            "available": _whole("There are, h", format="%.1f"),
            "evening": _whole("Evenings, h", format="%.1f"),
        },
    )
    _lines(shown, figures, answer.SITE_LIFTING)
    html('<h3 class="sp-sub">Crane by crane</h3>')
    cranes = shown.frame("site cranes")
    chart(
        "hook-hours-by-crane",
        charts.hook_hours(cranes, shown.colours),
        charts.say_hook_hours(cranes),
        cranes,
        shown.names,
        {
            "method": "Method",
            "crane": "Crane",
            "week": _week,
            "used": _whole("Hours used", format="%.1f"),
            "available": _whole("Hours there are", format="%.1f"),
        },
    )


_USES = site_charts.USE_WORDS


def _hoists(shown: state.Shown, figures: Figures) -> None:
    frame = shown.frame("site hoists")
    if not len(frame):
        html(theme.section("Hoists", "No block is tall enough to have a hoist, or none was given one."))
        return
    html(
        theme.section(
            "Hoists",
            "Goods by hoist from the first closed storey on; the rest of the day a hoist carries people.",
        )
    )
    chart(
        "hoist-hours-by-week",
        site_charts.hoists(frame, shown.colours),
        site_charts.say_hoists(frame),
        frame,
        shown.names,
        {
            "method": "Method",
            "block": "Block",
            "week": _week,
            "used": _whole("Hours used", format="%.1f"),
            "available": _whole("Hours there are", format="%.1f"),
        },
    )
    _lines(shown, figures, answer.SITE_HOISTS)


def _bays(shown: state.Shown, figures: Figures) -> None:
    html(
        theme.section(
            "Lorries and bays",
            "Each vehicle stands on a bay as long as its load takes. The programme does not hold a load back "
            "for want of a bay: on a day above the line deliveries are spread, or more bays found.",
        )
    )
    frame = shown.frame("site bays")
    chart(
        "bay-minutes-by-day",
        site_charts.bays(frame, shown.colours),
        site_charts.say_bays(frame),
        frame,
        shown.names,
        {
            "method": "Method",
            "date": _date,
            "vehicles": _whole("Vehicles", format="%.0f"),
            "minutes": _whole("Bay minutes", format="%.0f"),
            "available": _whole("There are", format="%.0f"),
        },
    )
    _lines(shown, figures, answer.SITE_BAYS)
    loads = shown.frame("loads")
    chart(
        "loads-by-week",
        charts.loads_by_week(loads, shown.colours),
        charts.say_loads(loads),
        loads,
        shown.names,
        {"method": "Method", "week": _week, "loads": _whole("Loads", format="%.0f")},
    )


def _stored(shown: state.Shown, figures: Figures) -> None:
    html(theme.section("Stored on the ground and on the slabs"))
    frame = shown.frame("site panels")
    if len(frame):
        chart(
            "panels-on-site",
            site_charts.panels_stored(frame, shown.colours),
            site_charts.say_panels_stored(frame),
            frame,
            shown.names,
            {
                "method": "Method",
                "date": _date,
                "panels": _whole("Panels", format="%.0f"),
                "racks": _whole("Racks", format="%.0f"),
                "area_m2": _whole("Ground, m²", format="%.0f"),
            },
        )
        _lines(shown, figures, answer.SITE_STORE)
    html('<h3 class="sp-sub">Stacks on a young slab</h3>')
    stacks = shown.frame("site stacks")
    side, room = st.columns([1, 2.4], gap="large")
    with side:
        record_field("stack.allowance_kn_m2")
        problems(state.sitting().refusal.title, state.sitting().refusal.under("overrides", "programme"))
    with room:
        html(
            answer.stacks_table(stacks, shown.names),
            theme.caution(
                "A stack that presses harder than the slab may carry is spread on bearers or the slab is "
                "propped. The temporary-works engineer decides, from the slab as it stands on the day."
            ),
        )
        download("stacks", stacks.assign(methods=stacks["methods"].map(", ".join)))


def _edges(shown: state.Shown, figures: Figures) -> None:
    html(theme.section("Open edges", answer.say_edges(figures, shown.names)))
    _lines(shown, figures, answer.SITE_EDGES)
    html(
        theme.lead(
            "An edge is open until the outer wall stands along it. A rail comes off where a panel is set "
            "along the edge, and where goods are loaded out through it under the slab above."
        )
    )


def _transport(shown: state.Shown) -> None:
    frame = shown.frame("site transport")
    html(
        theme.section(
            "Haulage and travel",
            f"Out laden, back empty; everybody's way to work and back. Factors: {FACTOR_SET}. "
            "Distances, one way, are chosen; the suppliers of the job decide them.",
        ),
    )
    loads, carbon = st.columns(2, gap="large")
    with loads:
        html(answer.transport_table(frame, shown.names, "loads"))
    with carbon:
        html(answer.transport_table(frame, shown.names, "kgco2e"))
    download("haulage-and-travel", frame.drop(columns="role", errors="ignore"))


def _bands(shown: state.Shown) -> None:
    frame = shown.frame("site bands")
    html(
        theme.section(
            "Beside what the trade says",
            "Bands of practice gathered for high-rise flats built the usual way, not targets. A figure "
            "outside its band asks for a reason.",
        ),
        answer.bands_table(frame, shown.names),
        "".join(f'<p class="sp-note">{theme.text(one)}</p>' for one in answer.say_bands(frame)),
    )
    download("beside-the-trade", frame.drop(columns="role", errors="ignore"))
