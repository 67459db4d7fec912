"""Where the difference comes from, in pictures and words: what each part adds, alone and in every order.

Takes frames of `model.report.sure_frames`; gains and losses have equal weight, each in the colour of the
method it favours. Nothing here computes a result or knows Streamlit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from dashboard.parts.answer import HALF_A_DAY, Names
from dashboard.parts.fields import number, unit_words
from dashboard.parts.marks import mark
from dashboard.parts.strokes import need
from dashboard.parts.theme import Html, method_name, table, text
from model.core.words import money, sooner, weeks


@dataclass(frozen=True)
class Measured:
    """How one measure is said.

    Parameters
    ----------
    label : str
        On the button that picks it.
    what : str
        Within a sentence.
    gain : int
        1 where more favours the second method, -1 where less does.
    least : float
        Below this a difference is none. [unit of the measure]
    write : callable
        Takes a signed difference to a short figure.
    say : callable
        Takes it to words within a sentence.
    unit : str
        What a bar's length stands for.
    """

    label: str
    what: str
    gain: int
    least: float
    write: Callable[[float], str]
    say: Callable[[float], str]
    unit: str


def _weeks(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−") if abs(value) >= 0.05 else "0"


def _pounds(value: float) -> str:
    return f"{'+' if value > 0 else ''}{money(value)}" if abs(value) >= 0.5 else "0"


def _count(value: float) -> str:
    return f"{value:+,.0f}".replace("-", "−") if abs(value) >= 0.5 else "0"


def _more(noun: str) -> Callable[[float], str]:
    def say(value: float) -> str:
        size = f"{abs(value):,.0f}"
        return f"{size} {noun} {'more' if value > 0 else 'fewer'}" if size != "0" else f"no {noun} more"

    return say


def _profit(what: str) -> Callable[[float], str]:
    def say(value: float) -> str:
        return f"{money(abs(value))} {'more' if value > 0 else 'less'} {what}"

    return say


MEASURES: Final = {
    "weeks_to_last_handover": Measured(
        "Last handover", "last handover", 1, HALF_A_DAY, _weeks, sooner, "Weeks sooner at the last handover"
    ),
    "weeks_to_first_handover": Measured(
        "First handover",
        "first handover",
        1,
        HALF_A_DAY,
        _weeks,
        sooner,
        "Weeks sooner at the first handover",
    ),
    "profit": Measured("Profit", "profit", 1, 500.0, _pounds, _profit("profit"), "Profit more, £"),
    "npv": Measured(
        "Net present value",
        "net present value",
        1,
        500.0,
        _pounds,
        _profit("net present value"),
        "Net present value more, £",
    ),
    "hook_hours": Measured(
        "Hook hours", "hook hours", -1, 0.5, _count, _more("hook hours"), "Hours more on the crane's hook"
    ),
    "operative_days": Measured(
        "Operative-days",
        "operative-days",
        -1,
        0.5,
        _count,
        _more("operative-days"),
        "Days' work more, one person each",
    ),
    "loads": Measured("Loads", "loads", -1, 0.5, _count, _more("loads"), "Lorry loads more"),
    "trades": Measured("Trades", "trades", -1, 0.5, _count, _more("trades"), "Trades more on site"),
}
"""Measures shared out, in the order of the buttons."""

KINDS: Final = {
    "option": "What is chosen",
    "record": "A figure of one method's own work",
    "rule": "A rule for all that bears on one method's work only",
    "activity": "Work",
    "link": "What follows what",
    "calendar": "Dates and hours that can be worked",
}
"""Kinds of difference, as they are read."""

WEEKS_OF: Final = "Weeks are those of the last handover."


def css() -> str:
    """Return the style of these pictures, to be placed on a page that shows them."""
    sheet = Path(__file__).with_name("sure.css").read_text(encoding="utf-8")
    return f"<style>\n{sheet}</style>"


# --------------------------------------------------------------------------------------- the answer


def headline(groups: pd.DataFrame, names: Names) -> list[str]:
    """Return in one sentence what the walls do and what the rest does, to the last handover and to profit.

    Parameters
    ----------
    groups : DataFrame
        ``measure, name, label, credit``: one row for each of `GROUPS` and measure.
    names : sequence of Named
    """
    need(groups, ["measure", "name", "label", "credit"], "walls against the rest")
    parts = ["From ", names[0].said, " to ", names[1].said]
    earned = {row["name"]: float(row["credit"]) for row in _of(groups, "profit")}
    clauses = [
        f"{_changing(row)} {_does(float(row['credit']), earned[row['name']])}"
        for row in _of(groups, "weeks_to_last_handover")
        if row["label"]
    ]
    if not clauses:
        return [*parts, ", nothing is built otherwise: there is no difference to share out."]
    return [*parts, f", {'; '.join(clauses)}."]


def _of(groups: pd.DataFrame, measure: str) -> list[dict[str, Any]]:
    return groups[groups["measure"] == measure].to_dict("records")


def _changing(row: dict[str, Any]) -> str:
    return _lower(str(row["label"]))


def _does(late: float, profit: float) -> str:
    """Say what a group does to the last handover and to profit: 'cost 6.1 weeks and £4.8m of profit'."""
    same_date, same_money = abs(late) < HALF_A_DAY, abs(profit) < MEASURES["profit"].least
    earns = "gain" if profit > 0 else "cost"
    if same_date:
        return (
            "change neither date nor profit" if same_money else f"{earns} {money(abs(profit))}, and no date"
        )
    brings = "gain" if late > 0 else "cost"
    if same_money:
        return f"{brings} {weeks(late)}, and profit is the same"
    also = "" if brings == earns else f"{earns} "
    return f"{brings} {weeks(late)} and {also}{money(abs(profit))}"


def lead(players: int, mixtures: int) -> str:
    """Say how the shares are had."""
    if not players:
        return "The two methods are built alike."
    parts = "1 part differs" if players == 1 else f"{players} parts differ"
    return (
        f"{parts}; every mixture of the two methods, {mixtures} in all, was scheduled and priced. A part's "
        "share is what it adds, averaged over every order in which parts can be exchanged (its Shapley "
        "value): it depends on no order, and shares add up exactly."
    )


# ------------------------------------------------------------------------------- bars and their ranges


def shares(frame: pd.DataFrame, names: Names, measure: str, total: float) -> Html:
    """Draw what each part adds to a measure, with its range over orders, and all together.

    Parameters
    ----------
    frame : DataFrame
        ``label, credit, alone_first, added_last, least, most``; one row a part.
    names : sequence of Named
    measure : str
        One of `MEASURES`.
    total : float
        What the credits add up to.
    """
    need(frame, ["label", "credit", "alone_first", "added_last", "least", "most"], "what each part adds")
    said = MEASURES[measure]
    ends = [*frame["least"], *frame["most"], *frame["credit"], total]
    low, high = min(0.0, *map(float, ends)), max(0.0, *map(float, ends))
    room = 0.03 * ((high - low) or 1.0)
    low, high = low - room, high + room

    def place(value: float) -> float:
        return 100 * (value - low) / (high - low)

    rows = [
        _share_row(
            str(row["label"]),
            float(row["credit"]),
            (float(row["least"]), float(row["most"])),
            (float(row["alone_first"]), float(row["added_last"])),
            names,
            said,
            place,
        )
        for row in frame.to_dict("records")
    ]
    rows.append(_share_row("All together", total, None, None, names, said, place))
    aloud = text(say_shares(frame, names, measure, total))
    return Html(
        f'<div class="sp-shares" role="group" aria-label="{aloud}"><p class="sp-bars-unit">'
        f"{text(_unit(said, names))}</p>{''.join(rows)}</div>"
    )


def _unit(said: Measured, names: Names) -> str:
    return f"{said.unit} with {names[1].plainly}; each bar in the colour of the method it favours"


def _share_row(
    label: str,
    credit: float,
    span: tuple[float, float] | None,
    ends: tuple[float, float] | None,
    names: Names,
    said: Measured,
    place: Callable[[float], float],
) -> str:
    better = names[1 if credit * said.gain > 0 else 0]
    left, wide = place(min(credit, 0.0)), place(abs(credit)) - place(0.0)
    bar = f'<i class="sp-rule" style="left:{left:.2f}%;width:{wide:.2f}%"></i>' if wide > 0.05 else ""
    marks, quiet = "", ""
    if span is not None and ends is not None:
        if place(span[1]) - place(span[0]) > 0.05:
            marks = (
                f'<i class="sp-span" style="left:{place(span[0]):.2f}%;'
                f'width:{place(span[1]) - place(span[0]):.2f}%"></i>'
                f'<i class="sp-first" style="left:{place(ends[0]):.2f}%"></i>'
                f'<i class="sp-last" style="left:{place(ends[1]):.2f}%"></i>'
            )
            quiet = f"<small>{text(said.write(span[0]))} to {text(said.write(span[1]))}</small>"
        else:
            quiet = "<small>in any order</small>"
    role = _role(better.role) if abs(credit) >= said.least else ""
    end = " sp-all" if span is None else ""
    return (
        f'<div class="sp-share{end}"><p>{text(label)}</p>'
        f'<span class="sp-share-way {role}" style="--sp-nought:{place(0.0):.2f}%" aria-hidden="true">'
        f"{bar}{marks}</span>"
        f'<span class="sp-share-words {role}"><b>{text(said.write(credit))}</b> {quiet}</span></div>'
    )


def share_key() -> Html:
    """Return what the marks on a bar stand for."""
    return Html(
        '<ul class="sp-fills sp-share-key">'
        '<li><i class="sp-key-bar" aria-hidden="true"></i>its share</li>'
        '<li><i class="sp-key-span" aria-hidden="true"></i>least to most, over every order</li>'
        '<li><i class="sp-key-first" aria-hidden="true"></i>exchanged alone, first</li>'
        '<li><i class="sp-key-last" aria-hidden="true"></i>exchanged last, all else being changed</li></ul>'
    )


def say_shares(frame: pd.DataFrame, names: Names, measure: str, total: float) -> str:
    """Say what each part adds, in words, and what they come to."""
    said = MEASURES[measure]
    told = []
    for row in sorted(frame.to_dict("records"), key=lambda row: -abs(float(row["credit"]))):
        credit = float(row["credit"])
        if abs(credit) >= said.least:
            told.append(f"{_lower(str(row['label']))} {said.say(credit)}")
    whole = said.say(total) if abs(total) >= said.least else f"no change of {said.what}"
    if not told:
        return f"No part changes the {said.what}."
    return f"{_upper('; '.join(told))}. Together, with {names[1].plainly}: {whole}."


def shares_table(frame: pd.DataFrame, measure: str, total: float) -> Html:
    """Return the shares as a table."""
    said = MEASURES[measure]
    rows = [
        [
            str(row["label"]),
            *(
                said.write(float(row[column]))
                for column in ("credit", "alone_first", "added_last", "least", "most")
            ),
        ]
        for row in frame.to_dict("records")
    ]
    rows.append(["All together", said.write(total), "", "", "", ""])
    return Html(
        '<div class="sp-many">'
        + table(
            ["", "share", "alone, first", "exchanged last", "least", "most"],
            rows,
            numeric=range(1, 6),
            total=True,
        )
        + "</div>"
    )


# ------------------------------------------------------------------------------------- pairs, merged


GROUPED: Final = (
    "A group's share adds up those of its parts. Its range is that of exchanging the whole group at once, "
    "before "
    "or after everything else, so a share may lie outside it."
)


def say_pairs(pairs: pd.DataFrame, measure: str) -> list[str]:
    """Say which two parts pay only together, in one measure; that none does if so.

    Parameters
    ----------
    pairs : DataFrame
        ``measure, one, other, alone_one, alone_other, both, only_together``; labels of the parts.
    measure : str
    """
    said = MEASURES[measure]
    mine = pairs[(pairs["measure"] == measure) & pairs["only_together"]]
    told = [
        f"{row['one']} and {_lower(str(row['other']))} pay only together: {said.say(float(row['both']))} for "
        f"both; alone, {_alone(float(row['alone_one']), said)} and {_alone(float(row['alone_other']), said)}."
        for row in mine.to_dict("records")
        if abs(float(row["both"])) >= said.least
    ]
    return told or [f"No two parts pay only together in {said.what}."]


def _alone(value: float, said: Measured) -> str:
    return said.say(value) if abs(value) >= said.least else "no change"


def pairs_table(pairs: pd.DataFrame, measure: str) -> Html:
    """Return what two parts do alone and together."""
    said = MEASURES[measure]
    rows = [
        [
            f"{row['one']} and {_lower(str(row['other']))}",
            *(said.write(float(row[c])) for c in ("alone_one", "alone_other", "both", "interaction")),
        ]
        for row in pairs[pairs["measure"] == measure].to_dict("records")
    ]
    return Html(
        '<div class="sp-many">'
        + table(["", "the one alone", "the other alone", "both", "by meeting"], rows, numeric=range(1, 5))
        + "</div>"
    )


def say_joined(joined: Sequence[str]) -> list[str]:
    """Say which elements are exchanged together because their options go together only."""
    return [
        f"{label}: exchanged together, since their options do not go with each other one by one."
        for label in joined
    ]


# ---------------------------------------------------------------------------------------- differences


def own_table(frame: pd.DataFrame, names: Names) -> Html:
    """Return the differences that have an effect of their own, and what the second method is without each.

    Parameters
    ----------
    frame : DataFrame
        As `sure_frames.differences`; rows with ``effect_weeks`` and ``effect_profit``.
    names : sequence of Named
    """
    rows = []
    for row in frame.to_dict("records"):
        late, profit = float(row["effect_weeks"]), float(row["effect_profit"])
        rows.append(
            [
                str(row["label"]),
                _value(row["first"], row["unit"]),
                _value(row["second"], row["unit"]),
                _effect(late, HALF_A_DAY, sooner(late), names),
                _effect(profit, MEASURES["profit"].least, _pounds(profit), names),
            ]
        )
    heads = [
        "",
        names[0].label,
        names[1].label,
        "last handover, set equal",
        "profit, set equal",
    ]
    return Html(
        '<div class="sp-many">'
        + table(heads, rows, numeric=(4,), roles={1: names[0].role, 2: names[1].role})
        + "</div>"
    )


def _effect(value: float, least: float, words: str, names: Names) -> str:
    """Return what setting equal does, in the colour of the method the difference favours: the opposite."""
    if abs(value) < least:
        return "no change"
    return method_name(words, names[0 if value > 0 else 1].role)


def _value(value: Any, unit: Any) -> str:
    if value is None or value != value:
        return "none"
    return value if isinstance(value, str) else f"{number(round(float(value), 4))} {_unit_of(unit)}".strip()


def _unit_of(unit: Any) -> str:
    return "" if unit in ("", "-") else unit_words(str(unit))


def say_own(own: int, others: int, same: int) -> str:
    """Say how many differences there are and that everything else is identical."""
    alone = (
        "1 difference has an effect of its own"
        if own == 1
        else f"{own} differences have effects of their own"
    )
    return (
        f"{alone}; {others:,} more come with them. The other {same:,} values are identical in both methods, "
        "to "
        "the last digit: what two methods both do is one record."
    )


def found(frame: pd.DataFrame, words: str, part: str = "", kind: str = "") -> pd.DataFrame:
    """Return the differences that hold every word asked for, of one part and kind where these are given."""
    kept = frame
    for word in words.lower().split():
        kept = kept[kept["searched"].str.contains(word, regex=False)]
    if part:
        kept = kept[[part in parts for parts in kept["parts"]]]
    return kept[kept["kind"] == kind] if kind else kept


def listed_table(frame: pd.DataFrame) -> pd.DataFrame:
    """Return differences as they are shown in a list: words for both values, what setting equal does."""
    return pd.DataFrame(
        {
            "part": frame["part"],
            "kind": [KINDS.get(str(kind), str(kind)) for kind in frame["kind"]],
            "label": frame["label"],
            "first": [_value(value, unit) for value, unit in zip(frame["first"], frame["unit"], strict=True)],
            "second": [
                _value(value, unit) for value, unit in zip(frame["second"], frame["unit"], strict=True)
            ],
            "set_equal": [_told(row) for row in frame.to_dict("records")],
            "key": frame["key"],
        }
    )


def _told(row: dict[str, Any]) -> str:
    late, profit = row["effect_weeks"], row["effect_profit"]
    if late is None or late != late:
        note = str(row["note"])
        return f"told {note}" if note.startswith("with ") else note
    return f"last handover {sooner(float(late))}, profit {_pounds(float(profit))}"


# ------------------------------------------------------------------------------------------- strokes


def _role(role: str) -> str:
    known = mark(role)
    return f"sp-m-{known.role.replace('_', '-')} sp-r-{known.rule.replace('_', '-')}"


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
