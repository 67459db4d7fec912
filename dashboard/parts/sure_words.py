"""How sure it is, in words: chances counted, percentiles with what they may be off by, one draw opened.

Takes figures as `storeypace risk` prints them and frames of `model.report.sure_frames`. Nothing here computes
a result or knows Streamlit.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from dashboard.parts.answer import HALF_A_DAY, Figures, Named, Names
from dashboard.parts.theme import Html, method_name, table, text
from model.core.words import day, money, sooner, weeks

TERMS: Final = {
    "draw": "One way it may turn out: every uncertain figure takes a value within its range, the weather of "
    "each "
    "date is drawn, and all methods are worked out with the same luck.",
    "P10": "In 10 draws of 100 the figure is this or less.",
    "P50": "The middle: as many draws below as above.",
    "P80": "In 80 draws of 100 the figure is this or less; of a date, it is ready by then.",
    "P90": "In 90 draws of 100 the figure is this or less.",
    "Standard error": "How far a percentile would typically move if the same number of draws were made again "
    "with "
    "another seed.",
    "Rank correlation": "How closely one thing follows another by order: 1 or −1 always, 0 not at all.",
    "Longstop": "The date by which the last handover is owed; buyers may withdraw after it.",
    "Seed": "A number that fixes the luck: the same seed and number of draws give the same figures again.",
    "Optimism bias": "By how much estimates of past projects turned out too low, as published.",
}
"""Words explained where they are pointed at and once more at the foot of the page."""

FIGURES: Final = {
    "weeks_to_first_handover": "First handover",
    "weeks_to_last_handover": "Last handover",
    "profit": "Profit",
    "npv": "Net present value",
}

BIAS: Final = (
    "Published overruns of past projects can stand in place of P80, never on top of it: that would count the "
    "same "
    "risk twice. Take the middle draw with a published overrun, or P80 of the draws."
)

REVIEW: Final = (
    "Review of Large Public Procurement in the UK, for HM Treasury, July 2002, table 2, at the outline "
    "stage; 50 "
    "public projects of all kinds, whose time overran by 7 % in the middle and 15 % on average. Time is "
    "added to the "
    "whole time on site; capital cost is shown as published and is in no figure here."
)

NO_ORDER: Final = (
    "These are values for which the sum comes out, not values to build by: when props may go, how many "
    "people fit, "
    "what may be lifted in which wind is for the engineers and licensed people of the job."
)

SAFETY: Final = (
    "Weather and hook hours are drawn to compare dates. They say nothing of whether a lift may be made: the "
    "lift "
    "plan, the crane's own limits and the people licensed for it decide that on the day."
)


def term(words: str, label: str = "") -> Html:
    """Return a word that explains itself when pointed at.

    Parameters
    ----------
    words : str
        One of `TERMS`.
    label : str
        How it is written here, where that differs.
    """
    return Html(f'<abbr title="{text(TERMS[words])}">{text(label or words)}</abbr>')


def glossary() -> Html:
    """Return every word with what it means."""
    items = "".join(
        f"<dt>{text(words[:1].upper() + words[1:])}</dt><dd>{text(said)}</dd>"
        for words, said in TERMS.items()
    )
    return Html(f'<dl class="sp-terms">{items}</dl>')


def of_100(share: float) -> str:
    """Return a chance as a count: '34 of 100', 'none', 'fewer than 1 of 100', 'all'.

    Examples
    --------
    >>> of_100(0.342), of_100(0.0), of_100(0.002), of_100(1.0)
    ('34 of 100', 'none', 'fewer than 1 of 100', 'all')
    """
    if share <= 0 or share >= 1:
        return "all" if share >= 1 else "none"
    if share < 0.005:
        return "fewer than 1 of 100"
    return f"{min(100 * share, 99.4):.0f} of 100"


def gap_weeks(value: float) -> str:
    """Return weeks sooner, or later, as a short figure: '+2.5', '−0.4', '0'."""
    return f"{value:+.1f}".replace("-", "−") if abs(value) >= 0.05 else "0"


def gap_money(value: float) -> str:
    """Return a sum more, or less, as a short figure."""
    return f"{'+' if value > 0 else ''}{money(value)}" if abs(value) >= 0.5 else "0"


# ----------------------------------------------------------------------------------------- the answer


def before(figures: Figures, names: Names) -> list[str]:
    """Return what is known before any draw: the expected case alone."""
    late, profit = (figures["difference"][k] for k in ("weeks_to_last_handover", "profit"))
    return [
        "If all goes as is likely, the last flats are ready ",
        f"{sooner(late)} with ",
        names[1].said,
        " and profit is " + _more(profit) + "; draws show how sure that is.",
    ]


def headline(drawn: Figures, names: Names) -> list[str]:
    """Return chances, and the range of eight draws in ten, in one sentence."""
    late = drawn["difference"]["weeks_to_last_handover"]
    later, lower = (of_100(drawn["difference"][chance]) for chance in ("chance_later", "chance_dearer"))
    return [
        f"In eight draws of ten, the last flats are ready {_between(late['p10'], late['p90'])} with ",
        names[1].said,
        " than with ",
        names[0].said,
        f"; they are later in {later}, and profit is lower in {lower}.",
    ]


def _between(p10: float, p90: float) -> str:
    """Say a range of weeks: 'between 3 weeks later and 2 weeks sooner'."""
    if (p10 < 0) == (p90 < 0) and min(abs(p10), abs(p90)) >= HALF_A_DAY:
        least, most = sorted((p10, p90), key=abs)
        return f"between {weeks(least)} and {weeks(most)} {'sooner' if p90 > 0 else 'later'}"
    return f"between {sooner(p10)} and {sooner(p90)}"


def _more(amount: float) -> str:
    return "the same" if abs(amount) < 0.5 else f"{money(abs(amount))} {'higher' if amount > 0 else 'lower'}"


def lead(drawn: Figures, names: Names, expected: str = "") -> list[str]:
    """Return the range of profit and the chances of passing the longstop, in quiet sentences."""
    profit = drawn["difference"]["profit"]
    parts = [
        f"The difference of profit lies between {gap_money(profit['p10'])} and {gap_money(profit['p90'])} in "
        "eight "
        f"draws of ten, {gap_money(profit['p50'])} in the middle. "
    ]
    parts += [expected] if expected else []
    chances = [(name, drawn["methods"][name.id]["chance_past_longstop"]) for name in names]
    if all(chance is not None for _name, chance in chances):
        told = " and ".join(f"{of_100(chance)} with {name.plainly}" for name, chance in chances)
        parts.append(f"The longstop date is passed in {told}. ")
    done = f"{drawn['runs_done']:,} of " if drawn["runs_done"] < drawn["runs"] else ""
    early = ", stopped early" if done else ""
    parts.append(
        f"{done}{drawn['runs']:,} draws, seed {drawn['seed']}{early}; the same luck for every method."
    )
    return parts


def say_spread(points: Mapping[str, Any], names: Names, figure: str) -> str:
    """Say a drawn difference in words: middle, eight in ten, P80, and what the middle may be off by."""
    if figure == "profit":
        write, off = gap_money, _about_money
        whole = "Profit with"
    else:
        write, off = sooner, _about_weeks
        whole = "Last handover with" if figure.endswith("last_handover") else "First handover with"
    return (
        f"{whole} {names[1].plainly}, against {names[0].plainly}: {write(points['p50'])} in the middle, "
        f"{write(points['p10'])} to {write(points['p90'])} in eight draws of ten; two draws of ten do better "
        "than "
        f"{write(points['p80'])} (P80). Another seed would move the middle by {off(points['se_p50'])} "
        "and "
        f"P80 by {off(points['se_p80'])} (standard errors)."
    )


def _about_weeks(value: float) -> str:
    said = weeks(value)
    return said if said.startswith("less") else f"about {said}"


def _about_money(value: float) -> str:
    return f"about {money(value)}"


def say_expected(expected: float, share_as_good: float, name: Named) -> str:
    """Say where the case in which all goes as is likely stands among the draws.

    Parameters
    ----------
    expected : float
        Weeks sooner at the last handover. [weeks]
    share_as_good : float
        Share of the draws in which the second method does as well or better. [0 to 1]
    name : Named
        The second method.
    """
    return (
        f"If all goes as is likely it is {sooner(expected)} with {name.plainly}; as well or better in "
        f"{of_100(share_as_good)}. "
    )


def percentiles_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return percentiles of every figure, each with its standard error where it has one.

    Parameters
    ----------
    frame : DataFrame
        As `sure_frames.percentiles`.
    names : sequence of Named
    """
    known: dict[str, Named] = {name.id: name for name in names}
    rows = []
    for row in frame.to_dict("records"):
        whose = known.get(str(row["whose"]))
        in_money = row["figure"] in ("profit", "npv")
        gap = whose is None
        what = FIGURES.get(str(row["figure"]), f"{row['block']} ready")
        label = method_name(whose.label, whose.role) if whose else "difference"
        cells = [_written(row[point], in_money, gap) for point in ("p10", "p50", "p80", "p90", "mean")]
        for place, point in ((1, "se_p50"), (2, "se_p80")):
            if row[point] is not None:
                cells[place] = Html(
                    f"{text(cells[place])} <small>± {text(_written(row[point], in_money, False))}</small>"
                )
        rows.append([what, label, *cells])
    heads = ["", "", "P10", "P50", "P80", "P90", "mean"]
    return Html(f'<div class="sp-many">{table(heads, rows, numeric=range(2, 7))}</div>')


def _written(value: Any, in_money: bool, gap: bool) -> str:
    if value is None:
        return ""
    if in_money:
        return gap_money(float(value)) if gap else money(float(value))
    return gap_weeks(float(value)) if gap else f"{float(value):.1f}"


def say_errors(frame: pd.DataFrame, runs: int) -> str:
    """Say how far percentiles may be trusted with so many draws."""
    late = frame[(frame["whose"] == "difference") & (frame["figure"] == "weeks_to_last_handover")]
    if not len(late) or late["se_p80"].iloc[0] is None:
        return ""
    good = _about_weeks(float(late["se_p80"].iloc[0]))
    return (
        f"Standard errors stand beside P50 and P80, with {runs:,} draws. P80 of the weeks saved is good to "
        f"{good}; "
        "four times as many draws halve that."
    )


# --------------------------------------------------------------------------------------- one draw


def draw_table(rows: pd.DataFrame, names: Names) -> Html:
    """Return one draw as a small case: dates and sums of each method, and the second against the first.

    Parameters
    ----------
    rows : DataFrame
        As `sure_frames.draw_case`: figure, kind (``date`` or ``money``), a column for each id, difference.
    names : sequence of Named
    """
    out = []
    for row in rows.to_dict("records"):
        dated = row["kind"] == "date"
        cells = [day(row[name.id]) if dated else money(float(row[name.id])) for name in names]
        gap = row["difference"]
        better = names[1 if gap > 0 else 0]
        small = abs(gap) < (HALF_A_DAY if dated else 0.5)
        words = "the same" if small else method_name(sooner(gap) if dated else gap_money(gap), better.role)
        out.append([str(row["figure"]), *cells, words])
    heads = ["", *(name.label for name in names), "difference"]
    roles = {place: name.role for place, name in enumerate(names, start=1)}
    return Html(
        f'<div class="sp-many">{table(heads, out, numeric=range(1, len(names) + 2), roles=roles)}</div>'
    )


def say_draw(share: int, on: str, number: int) -> str:
    """Say which draw is opened."""
    of = "weeks saved at the last handover" if on == "weeks" else "difference of profit"
    return (
        f"Draw {number:,}: of all draws, the one whose {of} lies nearest to P{share}. A draw is one way it "
        "may turn "
        "out; others with the same result look different."
    )


# ------------------------------------------------------------------------------------ optimism bias


def optimism_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return the last handover by the draws and by published overruns, one beside the other."""
    rows = []
    for row in frame.to_dict("records"):
        time, cost = row["time_pct"], row["cost_pct"]
        rows.append(
            [
                str(row["basis"]),
                "" if time is None else f"+{time:g} %",
                "" if cost is None else f"+{cost:g} %",
                *(day(row[name.label]) for name in names),
            ]
        )
    heads = ["", "time", "capital cost", *(name.label for name in names)]
    roles = {place: name.role for place, name in enumerate(names, start=3)}
    return Html(
        f'<div class="sp-many">{table(heads, rows, numeric=range(1, len(names) + 3), roles=roles)}</div>'
    )


# ------------------------------------------------------------------------------------- while it runs


def say_running(done: int, of: int, waiting: bool, what: str = "draws") -> str:
    """Say how far a run is."""
    if waiting:
        return "Waiting for another run on this server to end …"
    return f"{done:,} of {of:,} {what}" if of else "Getting ready …"


def first_words(so_far: Mapping[str, Any], names: Names) -> str:
    """Say what the first draws show, as a first look.

    Parameters
    ----------
    so_far : mapping
        ``runs`` and the percentiles of the difference, as in the figures of a whole run.
    names : sequence of Named
    """
    late, profit = (so_far["difference"][k] for k in ("weeks_to_last_handover", "profit"))
    return (
        f"First look, after {so_far['runs']:,} draws: with {names[1].plainly} {sooner(late['p50'])} in the "
        "middle, "
        f"{sooner(late['p10'])} to {sooner(late['p90'])} in eight of ten; profit {gap_money(profit['p10'])} "
        "to "
        f"{gap_money(profit['p90'])}. These will still move."
    )


def longstop_of(figures: Figures) -> dt.date | None:
    """Return the longstop date of a comparison, if it has one."""
    owed = figures.get("longstop")
    return dt.date.fromisoformat(owed) if owed else None


# ------------------------------------------------------------------------------- what must be true


def aim_words(kind: str, amount: float) -> str:
    """Return a target in words: '15 % sooner to the first handover', '£1.00m more profit'."""
    if kind == "percent":
        return f"{abs(amount):g} % {'sooner' if amount >= 0 else 'later'} to the first handover"
    if abs(amount) < 0.5:
        return "the same profit"
    return f"{money(abs(amount))} {'more' if amount > 0 else 'less'} profit"


def aim_figure(kind: str, amount: float) -> str:
    """Return what something comes to, in the target's unit."""
    if kind == "percent":
        return f"{abs(amount):.1f} % {'sooner' if amount >= 0 else 'later'}" if abs(amount) >= 0.05 else "0 %"
    return gap_money(amount)


def say_true(frame: pd.DataFrame, kind: str, amount: float, now: float, tried: int, names: Names) -> str:
    """Say what could bring the second method to a target: one input, or two, or nothing within the ranges.

    Parameters
    ----------
    frame : DataFrame
        As `sure_frames.ways`.
    kind : {"percent", "more"}
    amount, now : float
        The target, and what it comes to as it stands. [% or GBP]
    tried : int
        Single inputs tried.
    names : sequence of Named
    """
    whole = f"For {aim_words(kind, amount)} with {names[1].plainly} ({aim_figure(kind, now)} as it stands), "
    alone = frame[frame["kind"].isin(("alone", "at its end"))]
    pairs, closest = frame[frame["kind"] == "pair"], frame[frame["kind"] == "closest"]
    if len(alone):
        row = alone.to_dict("records")[0]
        does = "does it alone within its range" if len(alone) == 1 else "do it alone within their ranges"
        return f"{whole}{len(alone)} of {tried} inputs {does}; the nearest is {_at(row)}."
    if len(pairs):
        nearest = _at(pairs.to_dict("records")[0])
        return f"{whole}no single input does within its range; two together do, the nearest {nearest}."
    none = f"{whole}no single input does within its range, nor do two of those that move it most"
    if len(closest):
        row = closest.to_dict("records")[0]
        best = aim_figure(kind, float(row["figure"]))
        return f"{none}. The closest that can be had is {best}, with {_at(row)}."
    return f"{none}."


def _at(row: Mapping[str, Any]) -> str:
    return f"{row['label']} at {row['needed']} instead of {row['now']}"


KIND_WORDS: Final = {
    "alone": "alone",
    "at its end": "alone, at the end of its range",
    "pair": "two together",
    "closest": "the closest there is",
}


def ways_table(frame: pd.DataFrame, kind: str) -> Html:
    """Return every way to a target: what, now, what it would have to be, what it then comes to."""
    rows = [
        [
            Html(f'{text(row["label"])}<span class="sp-meaning">{text(KIND_WORDS[str(row["kind"])])}</span>'),
            str(row["now"]),
            str(row["needed"]),
            aim_figure(kind, float(row["figure"])),
        ]
        for row in frame.to_dict("records")
    ]
    heads = ["", "now", "would have to be", "then"]
    return Html(f'<div class="sp-many">{table(heads, rows, numeric=(3,))}</div>')
