"""The programme in words: what holds a date, what tells two methods apart, what does a slip or a change do?

Takes plain frames and figures of the model and sets them in sentences and tables; a loss is said in the voice
of a gain. Nothing here computes a programme or knows Streamlit.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from dashboard.parts.answer import Figures, Named, Names
from dashboard.parts.strokes import listed
from dashboard.parts.theme import Html, table, text
from model.core.words import day, money, weeks

DATES: Final = {"ready": "Ready", "weathertight": "Weathertight", "topped_out": "Topped out"}
"""Dates whose causes can be asked for, and how they are called."""

SAID: Final = {"ready": "ready", "weathertight": "weathertight", "topped_out": "topped out"}

PARTS: Final = {
    "planned start": ("planned start", "The scenario starts this block so long after the site opens."),
    "work": ("work", "Hands on the task that decided, counted in whole shifts."),
    "set lag": ("set lag", "Days the sequence itself puts between two tasks."),
    "closed": ("closed days", "Weekends, holidays and shutdowns while a task was in hand or about to begin."),
    "weather": ("weather", "Rain, wind or cold left less than a shift to work in."),
    "crane": ("crane", "The hook was with others, or gave the task fewer hours than it asked for."),
    "hoist": ("hoist", "The hoist was with others, or gave the task fewer hours than it asked for."),
    "kept clear": ("kept clear", "People stand away from the face while a large lift passes."),
    "wait": (
        "set waits",
        "Nobody works: checks before a pour, drying, inspection, rooms behind left-out bays.",
    ),
    "cure": ("concrete gaining strength", "Until it may be stood on, loaded, struck, or its props let go."),
    "back-prop": ("props below", "The floors under a pour could not yet carry it."),
    "deck set": ("deck set", "No set of deck forms was free."),
    "separation": ("kept apart", "Inside work keeps its storeys clear of live work above."),
    "factory": ("factory", "The panels were not made yet."),
    "approval": (
        "approval",
        "Length from memory of common practice; local codes and licensed practice decide.",
    ),
    "access": ("access", "A hoist bay, a left-out bay or the ground outside had to be cleared first."),
    "gang": ("gang", "The trade's gang was still at work elsewhere."),
    "start": ("start on site", "Nothing held it but the start."),
}
"""What each part of a date is called, and what it means."""

SHORT: Final = {"cure": "concrete", "planned start": "planned start", "kept clear": "large lifts"}
"""Names of parts for beside a picture, where they differ."""

_MORE: Final = {
    "planned start": "before the block's planned start",
    "work": "on work",
    "set lag": "on set lags",
    "closed": "on closed days",
    "weather": "lost to weather",
    "crane": "waiting for the crane",
    "hoist": "waiting for the hoist",
    "kept clear": "standing clear of large lifts",
    "wait": "on set waits",
    "cure": "waiting for concrete to gain strength",
    "back-prop": "waiting for props below",
    "deck set": "waiting for a deck set",
    "separation": "keeping clear of work above",
    "factory": "waiting for the factory",
    "approval": "waiting for approval",
    "access": "waiting for access",
}

LEAST_SAID: Final = 0.25
"""Differences below this are left out of the sentence. [weeks]"""

LEAST_SHOWN_WEEKS, LEAST_SHOWN_MONEY = 0.05, 1000.0
"""A week's slip that costs less than both, in every method, stands in the table only. [weeks, currency]"""

COLD: Final = (
    "Young concrete in the cold gains strength up to about three times slower than at 20 °C (a supplier's "
    "published comparison: 3 days at 5 °C against 1 at 20 °C). Striking here therefore uses the slower "
    "Sadgrove rate, and on site must rest on tests."
)
PROPS: Final = (
    "The release of props is a planning figure; the temporary-works engineer decides when a prop may go."
)
APPROVALS: Final = (
    "Approval times are from memory of common practice (mark MEMORY in the register); local codes and "
    "licensed practice decide."
)
BELOW: Final = (
    "Sections handed over while work goes on above mean people living below live work: fire, escape, lifting "
    "and protection are for licensed people and local codes to accept, and may not be accepted at all."
)


# ------------------------------------------------------------------------------------- made of causes


def tenths(days: Sequence[float]) -> list[float]:
    """Return days as weeks to a tenth that add up to their sum to a tenth.

    Parameters
    ----------
    days : sequence of float
        [days]

    Returns
    -------
    list of float
        Rounded down, the tenths left over given to the largest remainders. [weeks]

    Examples
    --------
    >>> tenths([7.3, 7.3, 7.3])  # 1.043 weeks each, 3.129 in all
    [1.1, 1.0, 1.0]
    """
    exact = np.asarray(days, dtype=float) / 0.7
    floor = np.floor(exact + 1e-9)
    over = round(exact.sum()) - int(floor.sum())
    order = np.argsort(-(exact - floor), kind="stable")
    floor[order[:over]] += 1
    return [float(value) / 10 for value in floor]


def in_weeks(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the parts of a date with a column of weeks to a tenth; each method's add up to its total.

    Parameters
    ----------
    frame : DataFrame
        As `model.report.frames.date_made_of`.
    """
    shown = frame.copy()
    for _method, rows in frame.groupby("method", sort=False):
        shown.loc[rows.index, "weeks"] = tenths(rows["days"].tolist())
    return shown


def part_name(part: str, trade: str = "") -> str:
    """Return how a part of a date is called; work by its trade."""
    return trade if trade else PARTS[part][0]


def short_name(part: str, trade: str = "") -> str:
    """Return how a part of a date is called beside a picture."""
    return trade.lower() if trade else SHORT.get(part, PARTS[part][0])


def differences(frame: pd.DataFrame, first: str, second: str) -> list[tuple[str, float]]:
    """Return by how many weeks a second method's parts exceed a first's, the largest difference first.

    Parameters
    ----------
    frame : DataFrame
        As `in_weeks`.
    first, second : str
        Labels of methods.
    """
    weeks_of = frame.groupby(["method", "part"], sort=False)["weeks"].sum()
    found = [
        (part, round(float(weeks_of.get((second, part), 0.0) - weeks_of.get((first, part), 0.0)), 1))
        for part in dict.fromkeys(frame["part"])
    ]
    return sorted(found, key=lambda one: -abs(one[1]))


def say_differences(frame: pd.DataFrame, first: Named, second: Named) -> str:
    """Say which causes differ most between two methods."""
    found = _told_apart(frame, first.label, second.label)
    more = [f"{gap:.1f} weeks more {_MORE[part]}" for part, gap in found if gap > 0][:2]
    less = [f"{-gap:.1f} weeks less {_MORE[part]}" for part, gap in found if gap < 0][:2]
    start = f"With {second.plainly} the way there holds "
    against = f" than with {first.plainly}"
    aside = _say_absent(frame, first, second)
    if not more and not less:
        return f"{start}the same in every part{' as' + against[5:]}, to within a quarter of a week.{aside}"
    if more and less:
        return f"{start}{listed(more)}{against}, and {listed(less)}.{aside}"
    return f"{start}{listed(more or less)}{against}.{aside}"


def _told_apart(frame: pd.DataFrame, first: str, second: str) -> list[tuple[str, float]]:
    """Return the differences worth a word, of parts that both ways pass through."""
    absent = {part for part, *_rest in _absent(frame, first, second)}
    found = differences(frame, first, second)
    return [(part, gap) for part, gap in found if abs(gap) >= LEAST_SAID and part not in absent]


def _absent(frame: pd.DataFrame, first: str, second: str) -> list[tuple[str, str, float]]:
    """Return the parts of a week or more that only one way passes through: which, whose, and how long."""
    weeks_of = frame.groupby(["part", "method"], sort=False)["weeks"].sum()
    found = []
    for part in dict.fromkeys(frame["part"]):
        sizes = {label: float(weeks_of.get((part, label), 0.0)) for label in (first, second)}
        whose = max(sizes, key=lambda label: sizes[label])
        if min(sizes.values()) < LEAST_SHOWN_WEEKS and sizes[whose] >= 1.0:
            found.append((str(part), whose, sizes[whose]))
    return found


def _say_absent(frame: pd.DataFrame, first: Named, second: Named) -> str:
    """Say which parts only one way passes through, and that the other method has them all the same."""
    names = {first.label: first, second.label: second}
    found = _absent(frame, first.label, second.label)
    if not found:
        return ""
    said = [f"{PARTS[part][0]} ({size:.1f} weeks) with {names[whose].plainly}" for part, whose, size in found]
    return (
        f" On the way with one method only: {listed(said)}. Where a cause is off the way it is not gone: "
        "something else takes longer meanwhile."
    )


def headline(frame: pd.DataFrame, names: Names, block: str, several: bool) -> list[str]:
    """Return how much sooner or later the last block is ready, and the cause that tells most.

    Parameters
    ----------
    frame : DataFrame
        As `in_weeks`, of that block's handover.
    names : sequence of Named
    block : str
    several : bool
        Whether there are other blocks.
    """
    first, second = names[0], names[1]
    days = frame.groupby("method", sort=False)["days"].sum()
    gap = float(days[second.label] - days[first.label]) / 7
    who = f"{block}, the last block, is" if several else f"{block} is"
    if abs(gap) * 7 < 0.5:
        parts: list[str] = [f"{who} ready at the same time with ", second.said, " as with ", first.said]
    else:
        how = f"{weeks(gap)} {'later' if gap > 0 else 'sooner'}"
        parts = [f"{who} ready {how} with ", second.said, " than with ", first.said]
    found = _told_apart(frame, first.label, second.label)
    more = next((f"{weeks(size)} more {_MORE[part]}" for part, size in found if size > 0), "")
    less = next((f"{weeks(size)} less {_MORE[part]}" for part, size in found if size < 0), "")
    said = [one for one in (more, less) if one]
    if gap < 0:
        said.reverse()
    return [*parts, f": {', but '.join(said)}." if said else "."]


def ledger(frame: pd.DataFrame, names: Names, date: str) -> Html:
    """Return the parts of a date as a table that adds up: the picture in figures, and its key.

    Parameters
    ----------
    frame : DataFrame
        As `in_weeks`.
    names : sequence of Named
        The methods shown, in order.
    date : str
        A key of `DATES`.
    """
    wide = frame.pivot_table(
        index=["part", "trade"], columns="method", values="weeks", aggfunc="sum", sort=False, fill_value=0.0
    )
    wide = wide[[name.label for name in names]]
    wide = wide[(wide >= 0.05).any(axis=1)]
    several = len(names) > 1
    rows: list[list[str]] = []
    for (part, trade), amounts in zip(wide.index, wide.to_numpy(), strict=True):
        name = part_name(str(part), str(trade))
        meaning = "" if trade else f'<span class="sp-meaning">{text(PARTS[str(part)][1])}</span>'
        key = Html(
            f'<span class="sp-part"><span class="sp-swatch sp-fill-{_dashed(str(part))}" aria-hidden="true">'
            f"</span><span>{text(_capital(name))}{meaning}</span></span>"
        )
        gap = [_signed_tenth(amounts[1] - amounts[0])] if several else []
        rows.append([key, *(f"{value:.1f}" for value in amounts), *gap])
    totals = wide.to_numpy().sum(axis=0)
    gap = [_signed_tenth(totals[1] - totals[0])] if several else []
    rows.append([f"Start on site to {SAID[date]}, weeks", *(f"{value:.1f}" for value in totals), *gap])
    heads = ["", *(name.label for name in names), *(["difference"] if several else [])]
    roles = {place: name.role for place, name in enumerate(names, start=1)}
    caption = "Weeks by cause. Work is cut by the trade in hand; the rest is nobody's work."
    one = table(heads, rows, numeric=range(1, len(heads)), roles=roles, total=True, caption=caption)
    return Html(f'<div class="sp-ledger">{one}</div>')


def say_made_of(frame: pd.DataFrame, names: Names) -> str:
    """Say each method's weeks by cause in one sentence, for whoever cannot see the strips."""
    clauses = []
    for name in names:
        rows = frame[frame["method"] == name.label]
        parts = rows.groupby("part", sort=False)["weeks"].sum()
        said = [f"{PARTS[str(part)][0]} {value:.1f}" for part, value in parts.items() if value >= 0.05]
        clauses.append(f"{name.label} {parts.sum():.1f} weeks: {listed(said)}")
    return f"{'; '.join(clauses)}."


# ------------------------------------------------------------------------------------- slips, changes


def slip_rows(slips: pd.DataFrame) -> list[str]:
    """Return the trades a week's slip of which costs something, the dearest first.

    Parameters
    ----------
    slips : DataFrame
        ``method, label, weeks_last, cost`` and more, as `Slips.frame`.
    """
    worst = slips.assign(size=slips["cost"].fillna(0.0)).groupby("label")["size"].max()
    weeks_of = slips.groupby("label")["weeks_last"].max()
    shown = worst[(worst >= LEAST_SHOWN_MONEY) | (weeks_of >= LEAST_SHOWN_WEEKS)]
    return list(shown.sort_values(ascending=False, kind="stable").index)


def say_slip(row: Mapping[str, Any]) -> str:
    """Say what a week's slip of one trade does: weeks, money, float."""
    if row["reason"]:
        return str(row["reason"])
    later = float(row["weeks_last"])
    when = "the last handover keeps its date"
    if abs(later) >= LEAST_SHOWN_WEEKS:
        when = f"{later:.1f} weeks later" if later > 0 else f"{-later:.1f} weeks sooner"
    cost = float(row["cost"])
    spent = "costs nothing" if abs(cost) < 500 else f"{money(abs(cost))} {'lost' if cost > 0 else 'gained'}"
    spare = row["float_days"]
    room = "no handover waits" if spare is None or pd.isna(spare) else f"float {_days(float(spare))}"
    return f"{when} · {spent} · {room}"


def say_slips(slips: pd.DataFrame, names: Names) -> str:
    """Say which trade's slip is dearest in each method, and how many could slip a week for nothing."""
    clauses = []
    for name in names:
        mine = slips[slips["method"] == name.label]
        worst = mine.sort_values("cost", ascending=False).iloc[0]
        free = int(((mine["weeks_last"] < LEAST_SHOWN_WEEKS) & (mine["cost"] < LEAST_SHOWN_MONEY)).sum())
        clauses.append(
            f"with {name.plainly} a week lost by {_small(str(worst['label']))} is dearest, "
            f"{money(float(worst['cost']))}, and {free} of {len(mine)} trades can lose a week for nothing"
        )
    return _capital("; ".join(clauses)) + "."


def slips_table(slips: pd.DataFrame, names: Names) -> Html:
    """Return float, weeks and money of a week's slip for every trade and method."""
    rows = []
    order = slips.assign(size=slips["cost"].fillna(0.0)).groupby("label")["size"].max()
    for label in order.sort_values(ascending=False, kind="stable").index:
        cells = [str(label)]
        for name in names:
            found = slips[(slips["label"] == label) & (slips["method"] == name.label)]
            if not len(found):
                cells += ["none", "", ""]
                continue
            row = found.iloc[0]
            spare = row["float_days"]
            cells.append("–" if spare is None or pd.isna(spare) else f"{float(spare) / 7:.1f}")
            cells.append(_signed_tenth(float(row["weeks_last"])) if not row["reason"] else "–")
            cells.append(money(float(row["cost"])) if not row["reason"] else "–")
        rows.append(cells)
    heads = ["Trade"]
    roles = {}
    for name in names:
        roles[len(heads)] = name.role
        heads += [f"{name.label}: float, weeks", "later, weeks", "cost"]
    return table(heads, rows, numeric=range(1, len(heads)), roles=roles)


def say_change(lever: Mapping[str, Any]) -> str:
    """Say what one change gains, what each week costs and what becomes of the profit."""
    per_week, profit = float(lever["cost_per_week"]), float(lever["profit"])
    price = f"{money(abs(per_week))} {'saved' if per_week < 0 else 'spent'} for each"
    gain = "profit the same" if abs(profit) < 500 else f"profit {_more(profit)}"
    return f"{lever['weeks_gained_last_handover']:.1f} weeks · {price} · {gain}"


def say_changes(levers: Sequence[Mapping[str, Any]], words: str, name: Named) -> list[str]:
    """Say the change that buys a week cheapest, or that none does."""
    if not levers:
        return ["With ", name.said, f": {_small(words)}"]
    best = min(levers, key=lambda lever: float(lever["cost_per_week"]))
    per_week, profit = float(best["cost_per_week"]), float(best["profit"])
    price = f"{money(abs(per_week))} {'saved' if per_week < 0 else 'spent'} before finance for each week"
    gain = "the client's profit is the same" if abs(profit) < 500 else f"profit is {_more(profit)}"
    lost = ", so it buys time, not money" if profit < -500 else ""
    gained = f"{best['weeks_gained_last_handover']:.1f} weeks at the last handover"
    return [
        "The cheapest week with ",
        name.said,
        f": {_small(str(best['label']))}. It gains {gained}, {price}; {gain}{lost}. {words}",
    ]


# ------------------------------------------------------------------------------------ factory, dates


def factory_points(factory: Mapping[str, Any], site_start: str) -> list[tuple[dt.date, str]]:
    """Return the dates of the factory in order, each with its words."""
    found = [
        (factory["freeze_by"], "freeze the design by"),
        (factory["last_day_to_go_back"], "last day to go back"),
        (factory["ordered"], "ordered"),
        (factory["order_by"], "last safe order"),
        (site_start, "start on site"),
        (factory["first_made"], "first panel"),
        (factory["most_unfixed_on"], f"most unfixed, {money(float(factory['most_unfixed']))}"),
        (factory["last_made"], "last panel"),
    ]
    if factory.get("binds_since"):
        found.append((factory["binds_since"], "storeys begin to wait"))
    together: dict[str, list[str]] = {}
    for when, words in found:
        together.setdefault(when, []).append(words)
    return [(dt.date.fromisoformat(when), ", ".join(together[when])) for when in sorted(together)]


def say_factory(factory: Mapping[str, Any], other: str) -> list[str]:
    """Say what the factory asks of the client, a sentence for each matter.

    Parameters
    ----------
    factory : mapping
        As a method's ``factory`` in `Comparison.as_json`.
    other : str
        The method gone back to, as it is said.
    """
    late = factory["ordered"] > factory["order_by"]
    order = f"{factory['panels']:,.0f} panels are ordered on {_date(factory['ordered'])}"
    gap = (dt.date.fromisoformat(factory["order_by"]) - dt.date.fromisoformat(factory["ordered"])).days
    safe = f"the last day that holds nothing up is {_date(factory['order_by'])}"
    room = f"{weeks(gap / 7)} too late: {safe}" if late else f"{weeks(gap / 7)} in hand: {safe}"
    freeze = f"for that the design is frozen by {_date(factory['freeze_by'])}"
    back = (
        f"Until {_date(factory['last_day_to_go_back'])} the client can go back to {other} and owe the maker "
        f"nothing; from the order on, going back costs the deposit, "
        f"{money(float(factory['going_back_then_costs']))}, and whatever the redesign takes."
    )
    unfixed = (
        f"Most money paid to the maker for panels not yet on the building: "
        f"{money(float(factory['most_unfixed']))}, on {_date(factory['most_unfixed_on'])}. If the maker "
        "failed that day, that is what stands at risk."
    )
    remade = (
        f"About {factory['remade']:,.0f} panels are made twice: damaged or refused, and replaced while the "
        "opening is sheeted."
    )
    return [f"{order}, {room}; {freeze}.", back, unfixed, remade, _say_binding(factory)]


def _say_binding(factory: Mapping[str, Any]) -> str:
    output = f"{factory['panels_per_week']:,.0f} panels a week"
    if not factory["binds"]:
        return f"At {output} the factory holds nothing up: no storey waits for panels it could have set."
    waited = factory["storeys_that_waited"]
    path = float(factory["days_on_the_path_to_last_handover"]) / 7
    on_path = (
        f"{weeks(path)} of the way to the last handover are the factory's"
        if path * 7 >= 0.5
        else "none of it is on the way to the last handover"
    )
    return (
        f"At {output} the factory holds the site up from {_date(factory['binds_since'])}: {waited} "
        f"{'part of a storey waits' if waited == 1 else 'parts of storeys wait'} for panels, at most "
        f"{weeks(float(factory['longest_wait_days']) / 7)}; {on_path}. This is worse than a wall framed on "
        "site, which waits for no factory."
    )


def has_sections(figures: Figures, names: Names) -> bool:
    """Return whether any block is handed over in more than one section."""
    return any(
        len(block["sections"]) > 1 for name in names for block in figures["methods"][name.id]["blocks"]
    )


def sections_table(figures: Figures, names: Names) -> Html:
    """Return the handover sections of every block that has more than one."""
    rows = []
    for place, block in enumerate(figures["methods"][names[0].id]["blocks"]):
        for n, section in enumerate(block["sections"] if len(block["sections"]) > 1 else []):
            low, high = section["storeys"]
            dates = []
            for name in names:
                mine = figures["methods"][name.id]["blocks"][place]["sections"]
                dates.append(_date(mine[n]["ready"]) if n < len(mine) else "none")
            storeys = f"{low}" if low == high else f"{low} to {high}"
            rows.append([block["name"], section["name"], storeys, f"{section['flats']:,.0f}", *dates])
    heads = ["Block", "Section", "Storeys", "Flats", *(f"Ready, {name.label}" for name in names)]
    roles = {place: name.role for place, name in enumerate(names, start=4)}
    return table(heads, rows, numeric=range(2, len(heads)), roles=roles)


def _more(amount: float) -> str:
    if abs(amount) < 500:
        return "the same"
    return f"{money(abs(amount))} {'higher' if amount > 0 else 'lower'}"


def _signed_tenth(value: float) -> str:
    return "0" if abs(value) < 0.05 else f"{value:+.1f}".replace("-", "−")


def _days(value: float) -> str:
    if value < 0.05:
        return "none"
    return f"{value / 7:.1f} weeks" if value >= 10 else f"{value:.1f} days"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _small(words: str) -> str:
    return words[:1].lower() + words[1:]


def _dashed(words: str) -> str:
    return words.replace(" ", "-")


def _date(iso: str) -> str:
    return day(dt.date.fromisoformat(iso))
