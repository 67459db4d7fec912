"""Answers: what do the results say, in sentences, headline figures and one table?

Takes the figures of a comparison as `Comparison.as_json` gives them and sets them in words; a loss is said in
the voice of a gain. Nothing here computes a result or knows Streamlit.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from dashboard.parts.theme import Figure, Html, method_name, table, text
from model.core.words import day, money, sooner, weeks

Figures = Mapping[str, Any]

SAID: Final = {
    ("open_frame", "Open frame"): ("the ", "open frame"),
    ("open_frame_best", "Best open frame"): ("the ", "best open frame"),
    ("panelised", "Panels"): ("", "panels"),
}
"""How the ready methods are said within a sentence, by likeness and label: article and name."""

EVENTS: Final = ("start", "ground_slab", "topped_out", "weathertight", "ready")
"""Dates of a block, in order."""

HALF_A_DAY: Final = 0.5 / 7
"""Below this a difference of dates is none. [weeks]"""


@dataclass(frozen=True)
class Named:
    """A method as it is written and said.

    Parameters
    ----------
    id : str
        Its name in the scenario.
    label : str
        How it stands on its own.
    role : str
        Whose colour and rule it has.
    like : str
        The ready method it was made from.
    """

    id: str
    label: str
    role: str
    like: str

    @property
    def said(self) -> Html:
        """Its name within a sentence, in its colour, with its article."""
        article, name = SAID.get((self.like, self.label), ("", self.label))
        return Html(article + method_name(name, self.role))

    @property
    def plainly(self) -> str:
        """Its name within a quiet sentence, with its article."""
        return "".join(SAID.get((self.like, self.label), ("", self.label)))

    @property
    def bare(self) -> str:
        """Its name within a quiet note."""
        return SAID.get((self.like, self.label), ("", self.label))[1]

    @property
    def headed(self) -> Html:
        """Its label in its colour."""
        return method_name(self.label, self.role)


Names = Sequence[Named]


# ------------------------------------------------------------------------------------------ sentences


def answer(figures: Figures, names: Names) -> list[str]:
    """Return the one sentence: how much sooner or later, and what of it the walls alone do."""
    difference = figures["difference"]
    last = difference["weeks_to_last_handover"]
    return [*_dates(figures, names), _walls(last, difference["walls_only"]["weeks_to_last_handover"])]


def short_answer(figures: Figures, names: Names) -> list[str]:
    """Return dates and profit in one short sentence."""
    return [*_dates(figures, names), f", and profit is {_more(figures['difference']['profit'])}."]


def _dates(figures: Figures, names: Names) -> list[str]:
    difference = figures["difference"]
    last, first = difference["weeks_to_last_handover"], difference["weeks_to_first_handover"]
    one, other = names[0], names[1]
    several = len(difference["blocks"]) > 1
    which = "last flats" if several else "flats"
    than = " as with " if abs(last) < HALF_A_DAY else " than with "
    parts = ["With ", other.said, f" the {which} are ready {sooner(last)}", than, one.said]
    if several:
        same = abs(first) < HALF_A_DAY
        parts.append(f", the first {sooner(first) if not same else 'at the same time'}")
    return parts


def _walls(last: float, walls: float) -> str:
    """Return what the walls alone do, as the end of a sentence about the last handover."""
    if abs(walls) < HALF_A_DAY:
        return "; the walls alone change none of that." if abs(last) >= HALF_A_DAY else "."
    if last * walls > 0 and abs(walls) <= abs(last):
        return f"; {weeks(walls)} of that {_is(walls)} owed to the walls alone."
    return f"; with only the walls changed they would be ready {sooner(walls)}."


def _is(value: float) -> str:
    return "is" if weeks(value).startswith(("1 ", "less")) else "are"


def _more(amount: float) -> str:
    """Return a change of profit in words."""
    if abs(amount) < 0.5:
        return "the same"
    return f"{money(abs(amount))} {'higher' if amount > 0 else 'lower'}"


def lead(figures: Figures, names: Names) -> list[str]:
    """Return the quiet sentences under the answer: profit, other methods, values left at default."""
    one, other = (figures["methods"][name.id] for name in names[:2])
    difference = figures["difference"]["profit"]
    parts = [
        f"The client's profit is {_more(difference)}: {money(other['profit'])} with {names[1].plainly}, "
        f"{money(one['profit'])} with {names[0].plainly}. "
    ]
    parts += [_also(figures["methods"][name.id], name) for name in names[2:]]
    count = figures["defaults_used"]
    parts.append(f"{count:,} values stand at their default; each can be seen and changed.")
    return parts


def _also(method: Figures, name: Named) -> str:
    """Return date and profit of a further method in one sentence."""
    ready, profit = _date(method["last_handover"]), money(method["profit"])
    return f"With {name.plainly} the last flats are ready on {ready} and profit is {profit}. "


def programme_answer(figures: Figures, names: Names) -> list[str]:
    """Return the pace of the tallest block in one sentence."""
    one, other = (_slowest(figures["methods"][name.id]) for name in names[:2])
    parts = [
        f"In {one['name']}, a storey follows the last after {one['cycle_days']:.1f} days with ",
        names[0].said,
        f" and after {other['cycle_days']:.1f} with ",
        names[1].said,
    ]
    if one["lag_storeys"] is None or other["lag_storeys"] is None:
        return [*parts, "."]
    if one["lag_storeys"] == other["lag_storeys"]:
        lag = _count(one["lag_storeys"], "storey")
        return [*parts, f"; with both, inside work follows {lag} behind the deck."]
    lag = _count(other["lag_storeys"], "storey")
    return [*parts, f"; inside work follows {one['lag_storeys']:g} and {lag} behind the deck."]


def _slowest(method: Figures) -> Figures:
    """Return the block that is ready last."""
    blocks: Sequence[Figures] = method["blocks"]
    return max(blocks, key=lambda block: str(block["ready"]))


def site_answer(figures: Figures, names: Names) -> list[str]:
    """Return trades, people and hook hours in one sentence."""
    one, other = (figures["methods"][name.id] for name in names[:2])
    return [
        "With ",
        names[1].said,
        f" at most {other['peak_operatives']:,.0f} people are on site instead of "
        f"{one['peak_operatives']:,.0f}, in {other['trades']} trades instead of {one['trades']}, and cranes "
        f"are hooked on for {other['hook_hours']:,.0f} hours instead of {one['hook_hours']:,.0f}.",
    ]


def money_answer(figures: Figures, names: Names) -> list[str]:
    """Return profit, the price of the walls and the worth of a week in one sentence."""
    difference, week = figures["difference"], figures["methods"][names[0].id]["value_of_a_week"]
    premium = difference["premium"]
    dearer = f"the premium is {money(abs(premium))} {'higher' if premium > 0 else 'lower'}"
    said = f", {dearer}" if abs(premium) >= 0.5 else ""
    return [
        "Profit is ",
        f"{_more(difference['profit'])} with ",
        names[1].said,
        f"{said}, and a week sooner is worth {money(week['client'])} to the client.",
    ]


def register_answer(count: int, changed: int, chosen: int) -> list[str]:
    """Return how many values stand behind the answer, and on what."""
    mine = "one is" if changed == 1 else f"{changed or 'none'} {'are' if changed else 'is'}"
    return [
        f"{count:,} values stand behind the answer; {mine} changed in this scenario, "
        f"and {chosen:,} rest on choice or practice, not on a source."
    ]


# ------------------------------------------------------------------------------------- headline figures


def headline_figures(figures: Figures, names: Names) -> list[Figure]:
    """Return the five figures under the answer; a figure has the colour of the method it favours."""
    one, other = (figures["methods"][name.id] for name in names[:2])
    first, second = names[0], names[1]
    difference = figures["difference"]
    week = one["value_of_a_week"]
    return [
        Figure(
            _date(other["last_handover"]),
            "last handover",
            f"{first.bare} {_date(one['last_handover'])}",
            _favours(difference["weeks_to_last_handover"], first, second),
        ),
        Figure(money(week["client"]), "what one week is worth to the client", _causes(week)),
        Figure(
            _change(difference["hook_hours"], one["hook_hours"]),
            "crane hook hours",
            f"{other['hook_hours']:,.0f} h against {one['hook_hours']:,.0f} h: "
            f"{_verdict(-difference['hook_hours'])}",
            _favours(-difference["hook_hours"], first, second),
        ),
        Figure(
            f"{one['trades']} → {other['trades']}",
            "trades on site",
            f"operative-days {_change(difference['operative_days'], one['operative_days'])}: "
            f"{_verdict(-difference['operative_days'])}",
            _favours(-difference["trades"], first, second),
        ),
        Figure(
            _signed(difference["profit"]),
            "profit",
            f"premium {_signed(difference['premium'])}: {_verdict(-difference['premium'])}",
            _favours(difference["profit"], first, second),
        ),
    ]


def _causes(week: Figures) -> str:
    """Return what the client's worth of a week is made of: his own causes, and what the builder passes on."""
    own = ("interest", "receipts", "premium")
    causes = [(cause, week[cause]) for cause in own]
    causes.insert(1, ("site costs passed on", week["client"] - sum(week[cause] for cause in own)))
    return " · ".join(f"{label} {money(value)}" for label, value in causes if abs(value) >= 0.5)


def _verdict(gain: float) -> str:
    if abs(gain) < 0.5:
        return "no change"
    return "this is better" if gain > 0 else "this is worse"


def _favours(gain: float, first: Named, second: Named) -> str:
    if abs(gain) < 1e-9:
        return ""
    return second.role if gain > 0 else first.role


def _change(difference: float, base: float) -> str:
    if not base:
        return f"{difference:+,.0f}".replace("-", "−")
    return f"{100 * difference / base:+.0f} %".replace("-", "−")


# ------------------------------------------------------------------------------------------ the table


@dataclass(frozen=True)
class Line:
    """One line of the table of methods.

    Parameters
    ----------
    label : str
    find : callable
        Takes the figures of a method to the one shown.
    write : callable
        Takes that to words.
    more_is : int
        1 where more is better, -1 where less is, 0 where neither is.
    gap : callable
        Takes a difference to words.
    """

    label: str
    find: Callable[[Figures], Any]
    write: Callable[[Any], str]
    more_is: int = -1
    gap: Callable[[float], str] | None = None


def _signed(amount: float) -> str:
    return ("+" if amount > 0 else "") + money(amount)


def _number(value: float) -> str:
    return f"{value:,.0f}"


def _gap(value: float) -> str:
    return f"{value:+,.0f}".replace("-", "−") if abs(value) >= 0.5 else "0"


def _tenth(value: float) -> str:
    return f"{value:,.1f}"


def _gap_tenth(value: float) -> str:
    return f"{value:+,.1f}".replace("-", "−") if abs(value) >= 0.05 else "0"


def _key(*keys: str) -> Callable[[Figures], Any]:
    def find(method: Figures) -> Any:
        value: Any = method
        for key in keys:
            value = value[key]
        return value

    return find


DATES: Final = (
    Line("First handover, weeks from start", _key("weeks_to_first_handover"), _tenth, -1, _gap_tenth),
    Line("Last handover, weeks from start", _key("weeks_to_last_handover"), _tenth, -1, _gap_tenth),
)
PEOPLE: Final = (
    Line("Trades", _key("trades"), _number, -1, _gap),
    Line("Packages let separately", _key("packages"), _number, -1, _gap),
    Line("Operative-days", _key("operative_days"), _number, -1, _gap),
    Line("Most people on site", _key("peak_operatives"), _number, -1, _gap),
    Line("Paid hours for a m² of floor", _key("hours_per_m2"), _tenth, -1, _gap_tenth),
    Line("Hours worked at an open edge", _key("open_edge_hours"), _number, -1, _gap),
)
LIFTING: Final = (
    Line("Crane hook hours", _key("hook_hours"), _number, -1, _gap),
    Line("Hook hours lost to wind", _key("wind_lost_hook_hours"), _number, -1, _gap),
    Line("Cranes the busiest month asks for", _key("cranes_needed"), _number, -1, _gap),
    Line("Lorry loads", _key("loads"), _number, -1, _gap),
    Line("Loads on the busiest day", _key("loads_peak_day"), _number, -1, _gap),
    Line("Travel and haulage, kg CO₂e", _key("transport_kgco2e"), _number, -1, _gap),
)
SITE_PEOPLE: Final = (
    *PEOPLE[:4],
    Line("Average over the open days", _key("average_operatives"), _number, -1, _gap),
    Line("Peak over average", _key("peak_to_average"), _tenth, -1, _gap_tenth),
    Line("Time on site without work, %", _key("idle_share_pct"), _tenth, -1, _gap_tenth),
    PEOPLE[4],
)
SITE_LIFTING: Final = (
    LIFTING[0],
    Line("for the frame", _key("hook", "frame"), _number, -1, _gap),
    Line("for wall panels", _key("hook", "panels"), _number, -1, _gap),
    Line("for other loads", _key("hook", "other"), _number, -1, _gap),
    LIFTING[1],
    Line("Evening hours there are", _key("evening_hook_hours"), _number, 0, _gap),
    Line("Cranes on site", _key("cranes"), _number, -1, _gap),
    LIFTING[2],
    Line("Fullest month of one crane, %", _key("fullest_crane_month_pct"), _number, -1, _gap),
)
SITE_HOISTS: Final = (
    Line("Hoists", _key("hoists"), _number, -1, _gap),
    Line("Hours of goods", _key("hoist_hours"), _number, -1, _gap),
    Line("Hours there are", _key("hoist_hours_available"), _number, 0, _gap),
)
SITE_BAYS: Final = (
    LIFTING[3],
    LIFTING[4],
    Line("Bay minutes on the busiest day", _key("bay_minutes_peak_day"), _number, -1, _gap),
    Line("Bay minutes a day there are", _key("bay_minutes_available"), _number, 0, _gap),
    Line("Days that ask for more", _key("bay_days_over"), _number, -1, _gap),
)
SITE_STORE: Final = (
    Line("Panels stored at most", _key("panels_stored_peak"), _number, -1, _gap),
    Line("Racks", _key("racks"), _number, -1, _gap),
    Line("Ground they take, m²", _key("rack_area_m2"), _number, -1, _gap),
)
SITE_EDGES: Final = (
    PEOPLE[5],
    Line("Hours with a rail off to let a lift in", _key("edge_open_for_lifts_hours"), _number, -1, _gap),
)
WELFARE: Final = (
    ("Most people at once, rounded up", "people"),
    ("WCs, used by all", "wcs"),
    ("Basins", "basins"),
    ("or WCs, men only", "men_wcs"),
    ("and urinals", "men_urinals"),
    ("or portable toilets, no drain yet", "portable_toilets"),
    ("Showers, where owed", "showers"),
    ("Canteen seats", "canteen_seats"),
    ("Canteen, m²", "canteen_m2"),
    ("Drying and changing, m²", "drying_m2"),
    ("Offices, m²", "office_m2"),
    ("Cabins", "cabins"),
)
"""What stands ready: how it is called, and its name in `model.site.welfare.Welfare`."""

OUTSIDE: Final = {
    "Vehicles, busiest day over average day": "Every load is called off as the work needs it and none is "
    "held back; deliveries spread over the week would bring this down.",
    "People on site, peak over average": "Blocks that are fitted out at one time add their gangs up; "
    "spreading them would cost time.",
}
"""Why a figure may lie outside its band."""

SUMS: Final = (
    Line("Construction before premium", _key("cost", "construction"), money, -1, _signed),
    Line("Premium", _key("cost", "premium"), money, -1, _signed),
    Line("Site costs that run with time", _key("cost", "preliminaries"), money, -1, _signed),
    Line("Finance", _key("cost", "finance"), money, -1, _signed),
    Line("Peak debt", _key("peak_debt"), money, -1, _signed),
    Line("Net present value", _key("npv"), money, 1, _signed),
    Line("Profit", _key("profit"), money, 1, _signed),
)


def contrast_table(figures: Figures, names: Names, lines: Sequence[Line], caption: str = "") -> Html:
    """Return methods side by side, the second against the first, and which of the two each line favours.

    Parameters
    ----------
    figures : mapping
        As `Comparison.as_json`.
    names : sequence of Named
        In the scenario's order.
    lines : sequence of Line
    caption : str
    """
    one = table(
        ["", *(name.label for name in names), "difference", "favours"],
        [_contrast_row(figures, names, line) for line in lines],
        numeric=range(1, len(names) + 2),
        roles={place: name.role for place, name in enumerate(names, start=1)},
        caption=caption,
    )
    return Html(f'<div class="sp-contrast">{one}</div>')


def _contrast_row(figures: Figures, names: Names, line: Line) -> list[str]:
    """Return one line; the difference is written in the colour and rule of the method it favours."""
    values = [line.find(figures["methods"][name.id]) for name in names]
    gap = float(values[1]) - float(values[0])
    said = (line.gap or _gap)(gap)
    written = [line.write(value) for value in values]
    if said in ("0", money(0)) or not line.more_is:
        return [line.label, *written, said, "neither"]
    better = names[1 if gap * line.more_is > 0 else 0]
    return [line.label, *written, method_name(said, better.role), better.headed]


def dates_table(figures: Figures, names: Names) -> Html:
    """Return the dates of every block by method, cycle and lag beside them."""
    rows = []
    for place, block in enumerate(figures["difference"]["blocks"]):
        for name in names:
            found = figures["methods"][name.id]["blocks"][place]
            dates = [_date(found[event]) for event in EVENTS]
            lag = "none" if found["lag_storeys"] is None else f"{found['lag_storeys']:g}"
            rows.append([block["name"], name.headed, *dates, f"{found['cycle_days']:.1f}", lag])
    headings = ["Block", "Method", "Start", "Ground slab", "Topped out", "Weathertight", "Ready"]
    return table([*headings, "Days a storey", "Storeys of lag"], rows, numeric=range(2, 9))


def gangs_table(figures: Figures, names: Names, label_of: Mapping[str, str]) -> Html:
    """Return gangs by trade and method."""
    gangs = [figures["methods"][name.id]["gangs"] for name in names]
    trades = [trade for trade in label_of if any(trade in one for one in gangs)]
    rows = [
        [label_of[trade], *(str(one[trade]) if trade in one else "none" for one in gangs)] for trade in trades
    ]
    roles = {place: name.role for place, name in enumerate(names, start=1)}
    heads = ["Trade", *(name.label for name in names)]
    return narrow(table(heads, rows, numeric=range(1, len(names) + 1), roles=roles))


def narrow(one: Html) -> Html:
    """Return a table of few columns no wider than it can be read across."""
    return Html(f'<div class="sp-narrow">{one}</div>')


def _date(iso: str) -> str:
    return day(dt.date.fromisoformat(iso))


def _count(value: float, noun: str) -> str:
    return f"{value:g} {noun}{'' if value == 1 else 's'}"


# ------------------------------------------------------------------------------------------- the site


def with_site(figures: Figures, site: Figures) -> Figures:
    """Return the figures with those of `model.report.site_frames.site_figures` beside them, by method."""
    methods = {key: {**method, **site["methods"][key]} for key, method in figures["methods"].items()}
    return {**figures, "methods": methods}


def site_lead(figures: Figures, names: Names) -> list[str]:
    """Return on which figures of the site the second method is worse, in the voice of a gain."""
    lines = {
        "crane hook hours": LIFTING[0],
        "hours lost to wind": LIFTING[1],
        "hours with a rail off to let a lift in": SITE_EDGES[1],
        "ground for stored panels": SITE_STORE[2],
        "people at once": PEOPLE[3],
        "operative-days": PEOPLE[2],
        "hours at an open edge": SITE_EDGES[0],
        "lorry loads": LIFTING[3],
        "days that ask for more bay time than there is": SITE_BAYS[4],
        "travel and haulage": LIFTING[5],
    }
    one, other = (figures["methods"][name.id] for name in names[:2])
    gaps = {words: float(line.find(other)) - float(line.find(one)) for words, line in lines.items()}
    more = [words for words, gap in gaps.items() if gap >= 0.5]
    fewer = [words for words, gap in gaps.items() if gap <= -0.5]
    second = names[1].plainly
    parts = [f"With {second} there is less of: {_and(fewer)}. " if fewer else ""]
    parts.append(f"There is more of: {_and(more)}." if more else "")
    return [part for part in parts if part]


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def changed_lists(changed: Figures, names: Names) -> Html:
    """Return what leaves with the first method, what arrives with the second, and what stays.

    Parameters
    ----------
    changed : mapping
        ``trades`` and ``packages``, each with ``gone``, ``new`` and ``kept``.
    names : sequence of Named
    """
    first, second = names[0], names[1]
    parts = []
    for word, said in (("trades", "Trades"), ("packages", "Packages let separately")):
        told = changed[word]
        before = len(told["kept"]) + len(told["gone"])
        after = len(told["kept"]) + len(told["new"])
        head = f"{text(said)} <span>{before} → {after}</span>"
        parts.append(f'<h3 class="sp-changes-of">{head}</h3>')
        parts.append('<div class="sp-changes">')
        parts.append(_changes(f"Leave with {first.plainly}", told["gone"], first.role))
        parts.append(_changes(f"Arrive with {second.plainly}", told["new"], second.role))
        parts.append(_changes("Stay", [", ".join(told["kept"])] if told["kept"] else [], ""))
        parts.append("</div>")
    return Html("".join(parts))


def _changes(heading: str, items: Sequence[str], role: str) -> str:
    head = method_name(heading, role) if role else text(heading)
    listed = "".join(f"<li>{text(item)}</li>" for item in items) or "<li>none</li>"
    return f'<div><p class="sp-changes-head">{head}</p><ul>{listed}</ul></div>'


def welfare_table(figures: Figures, names: Names) -> Html:
    """Return what must stand ready for the people on site, by method."""
    rows = []
    for label, key in WELFARE:
        values = [figures["methods"][name.id]["welfare"][key] for name in names]
        rows.append([label, *(_number(value) for value in values), _gap(values[1] - values[0])])
    roles = {place: name.role for place, name in enumerate(names, start=1)}
    heads = ["", *(name.label for name in names), "difference"]
    return narrow(table(heads, rows, numeric=range(1, len(names) + 2), roles=roles))


def bands_table(bands: pd.DataFrame, names: Names) -> Html:
    """Return figures of the site beside the bands of the trade, and where each lies.

    Parameters
    ----------
    bands : DataFrame
        ``method, label, value, low, high``.
    names : sequence of Named
    """
    rows = []
    for label in dict.fromkeys(bands["label"]):
        one = bands[bands["label"] == label].set_index("method")
        low, high = float(one["low"].iloc[0]), float(one["high"].iloc[0])
        values = [float(one.loc[name.label, "value"]) for name in names]
        where = list(dict.fromkeys(_beside(value, low, high) for value in values))
        said = where[0] if len(where) == 1 else ", ".join(_beside(value, low, high) for value in values)
        rows.append([label, *(_tenth(value) for value in values), f"{low:g} to {high:g}", said])
    roles = {place: name.role for place, name in enumerate(names, start=1)}
    heads = ["", *(name.label for name in names), "the trade says", "lies"]
    return table(heads, rows, numeric=range(1, len(names) + 2), roles=roles)


def _beside(value: float, low: float, high: float) -> str:
    return "below" if value < low else "above" if value > high else "inside"


def say_bands(bands: pd.DataFrame) -> list[str]:
    """Return a sentence on each band that some method lies outside of."""
    said = []
    for label in dict.fromkeys(bands["label"]):
        one = bands[(bands["label"] == label) & ~bands["within"].astype(bool)]
        if not len(one):
            continue
        low, high = float(one["low"].iloc[0]), float(one["high"].iloc[0])
        clauses = [
            f"{method} {value:.1f}, {_beside(value, low, high)} {low:g} to {high:g}"
            for method, value in zip(one["method"], one["value"], strict=True)
        ]
        why = OUTSIDE.get(str(label), "") if bool((one["value"] > high).all()) else ""
        said.append(f"{label}: {'; '.join(clauses)}. {why}".rstrip())
    return said


def stacks_table(stacks: pd.DataFrame, names: Names) -> Html:
    """Return how hard stacked goods press on a young slab, beside what it may carry.

    Parameters
    ----------
    stacks : DataFrame
        ``goods, mass_t, load_kn_m2, allowance_kn_m2, slab_m2, methods``.
    names : sequence of Named
    """
    headed = {name.label: name.headed for name in names}
    rows = [
        [
            f"{row['goods']}, {row['mass_t']:.2g} t",
            f"{row['load_kn_m2']:.1f}",
            f"{row['allowance_kn_m2']:.2g}",
            f"{row['slab_m2']:,.0f}" if row["load_kn_m2"] > row["allowance_kn_m2"] else "as it is",
            Html(", ".join(headed[label] for label in row["methods"])),
        ]
        for row in stacks.to_dict("records")
    ]
    headings = ["Stack", "kN/m²", "allowed", "spread, m²", "with"]
    return table(headings, rows, numeric=range(1, 4))


def transport_table(transport: pd.DataFrame, names: Names, column: str) -> Html:
    """Return vehicles, or emissions, by kind of vehicle and method, adding up.

    Parameters
    ----------
    transport : DataFrame
        ``method, kind, vehicle, loads, distance_km, km, kgco2e``.
    names : sequence of Named
    column : str
        ``loads`` or ``kgco2e``, which is written in tonnes.
    """
    labels = [name.label for name in names]
    sums = transport.groupby(["vehicle", "method"], sort=False)[column].sum()
    wide = sums.unstack(fill_value=0.0)[labels] * (1.0 if column == "loads" else 0.001)
    write, gap = (_number, _gap) if column == "loads" else (_tenth, _gap_tenth)
    in_order = transport.sort_values("kind", kind="stable")  # haulage before travel
    rows = []
    for vehicle, one in in_order.groupby("vehicle", sort=False):
        if column == "loads" and one["kind"].iloc[0] != "haulage":
            continue
        values = [float(value) for value in wide.loc[vehicle]]
        label = f"{vehicle}, {float(one['distance_km'].iloc[0]):g} km"
        rows.append([label, *map(write, values), gap(values[1] - values[0])])
    totals = [float(value) for value in wide.sum()]
    rows.append(["In all", *map(write, totals), gap(totals[1] - totals[0])])
    roles = {place: name.role for place, name in enumerate(names, start=1)}
    headings = ["Loads" if column == "loads" else "t CO₂e", *labels, "difference"]
    return table(headings, rows, numeric=range(1, len(names) + 2), roles=roles, total=True)


def say_edges(figures: Figures, names: Names) -> str:
    """Return in one sentence who works longer at an open edge, and whose rails are off longer."""
    one, other = (figures["methods"][name.id] for name in names[:2])
    work = _times(other["open_edge_hours"], one["open_edge_hours"])
    rail, base = other["edge_open_for_lifts_hours"], one["edge_open_for_lifts_hours"]
    return (
        f"With {names[1].plainly} people work {work} at an open edge. A rail is off to let a lift in for "
        f"{rail:,.0f} h against {base:,.0f} h: {_verdict(base - rail)}."
    )


def _times(value: float, base: float) -> str:
    if abs(value - base) < 0.5:
        return "as many hours"
    if base <= 0 or value <= 0:
        return f"{value:,.0f} h instead of {base:,.0f} h"
    share = value / base
    if share >= 2:
        return f"{share:.1f} times the hours"
    return f"{100 * abs(share - 1):.0f} % {'more' if share > 1 else 'fewer'} hours"
