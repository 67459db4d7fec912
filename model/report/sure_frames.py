"""Where a difference comes from and how sure it is, as tidy frames with plain columns.

As `model.report.frames`: each function turns a result of `model.explain` or `model.risk` into one frame, and
computes nothing that these have not computed. Sums in pounds; weeks positive where the second method is
sooner; what is not known is None.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

import numpy as np
import pandas as pd

from model.explain.breakeven import plain
from model.explain.credit import GROUPS, Explanation
from model.explain.must_be_true import MustBeTrue, Way
from model.explain.players import Player
from model.inputs.assumption import read_library
from model.inputs.wording import in_unit
from model.risk.bias import allowances, optimism_bias
from model.risk.result import Risk
from model.risk.sampling import percentiles as percentiles_of

SHARE: Final = ("credit", "alone_first", "added_last", "least", "most")
"""What is known of a share: its size, and its range over orders."""

POINTS: Final = ("mean", "p10", "p50", "p80", "p90", "se_p50", "se_p80")
"""What is known of a figure that was drawn: mean, percentiles, and standard errors of two of them."""

WHOLE: Final = ("weeks_to_first_handover", "weeks_to_last_handover", "profit", "npv")
"""Figures of a method, and of the difference, that are drawn."""


def shares(explanation: Explanation) -> pd.DataFrame:
    """Return what each part adds: columns measure, name, label, and `SHARE`; one row a part and measure."""
    label = {player.name: player.label for player in explanation.players}
    return pd.DataFrame(
        [
            (measure, each.name, label[each.name], *(getattr(each, of) for of in SHARE))
            for measure, found in explanation.measures.items()
            for each in found.credits
        ],
        columns=["measure", "name", "label", *SHARE],
    )


def groups(explanation: Explanation) -> pd.DataFrame:
    """Return what the walls add and what the rest adds: columns as `shares`.

    The label of walls names no element; that of the rest names its parts; empty where a group holds none.
    """
    walls = [player for player in explanation.players if player.wall]
    rest = [player for player in explanation.players if not player.wall]
    label = {GROUPS[0]: "The walls" if walls else "", GROUPS[1]: _and(rest)}
    return pd.DataFrame(
        [
            (measure, each.name, label[each.name], *(getattr(each, of) for of in SHARE))
            for measure, found in explanation.measures.items()
            for each in found.groups
        ],
        columns=["measure", "name", "label", *SHARE],
    )


def _and(players: Sequence[Player]) -> str:
    labels = [player.label for player in players]
    words = [labels[0], *(label[:1].lower() + label[1:] for label in labels[1:])] if labels else []
    return words[0] if len(words) == 1 else " and ".join([", ".join(words[:-1]), words[-1]]) if words else ""


def pairs(explanation: Explanation) -> pd.DataFrame:
    """Return how two parts act on each other.

    Columns measure, one, other (labels), alone_one, alone_other, both, interaction (both less each alone, at
    the first method), only_together.
    """
    label = {player.name: player.label for player in explanation.players}
    return pd.DataFrame(
        [
            (
                measure,
                *(label[name] for name in pair.names),
                *pair.alone,
                pair.both,
                pair.interaction,
                pair.only_together,
            )
            for measure, found in explanation.measures.items()
            for pair in found.pairs
        ],
        columns=[
            "measure", "one", "other", "alone_one", "alone_other", "both", "interaction", "only_together",
        ],
    )  # fmt: skip


def joined(explanation: Explanation) -> list[str]:
    """Return the labels of parts that hold several elements, exchanged together."""
    return [player.label for player in explanation.players if len(player.elements) > 1]


def differences(explanation: Explanation) -> pd.DataFrame:
    """Return everything in which the two methods differ.

    Returns
    -------
    DataFrame
        Columns kind, key, label, first, second (None where a method has none of it), unit, parts (labels),
        part (the same in one), effect_weeks, effect_profit (the second method with it set equal; None where
        that is told elsewhere), note, searched (all words in small letters).
    """
    label = {player.name: player.label for player in explanation.players}
    rows: list[tuple[Any, ...]] = []
    for row in explanation.differences:
        parts = tuple(label.get(name, name) for name in row.players)
        words = (row.label, row.key, row.kind, row.unit, *parts, str(row.first or ""), str(row.second or ""))
        rows.append(
            (
                row.kind, row.key, row.label, row.first, row.second, row.unit, parts, ", ".join(parts),
                row.effect_weeks, row.effect_profit, row.note, " ".join(words).lower(),
            )
        )  # fmt: skip
    columns = [
        "kind", "key", "label", "first", "second", "unit", "parts", "part", "effect_weeks", "effect_profit",
        "note", "searched",
    ]  # fmt: skip
    return _as_given(rows, columns)


def with_effect(found: pd.DataFrame) -> pd.DataFrame:
    """Return the differences that have an effect of their own, the greatest on profit first.

    Options that are exchanged together have one effect between them and stand in one row.
    """
    own = found[[value is not None for value in found["effect_profit"]]]
    rows: dict[tuple[str, ...], dict[str, Any]] = {}
    for row in own.to_dict("records"):
        place = ("option", str(row["part"])) if row["kind"] == "option" else ("", str(row["key"]))
        if place not in rows:
            rows[place] = {str(column): value for column, value in row.items()} | (
                {"label": row["part"]} if row["kind"] == "option" else {}
            )
        else:
            for side in ("first", "second"):
                rows[place][side] = f"{rows[place][side]} with {row[side]}"
    ranked = sorted(rows.values(), key=lambda row: (-abs(row["effect_profit"]), -abs(row["effect_weeks"])))
    return _as_given([tuple(row[c] for c in found.columns) for row in ranked], list(found.columns))


def identical(explanation: Explanation) -> pd.DataFrame:
    """Return the values that both methods share: columns key, label, value, unit."""
    library, values = read_library(), explanation.scenario.values(explanation.first)
    return pd.DataFrame(
        [(key, library[key].label, values[key], library[key].unit) for key in explanation.identical],
        columns=["key", "label", "value", "unit"],
    )


# --------------------------------------------------------------------------------------------- draws


def percentiles(figures: Mapping[str, Any]) -> pd.DataFrame:
    """Return what was drawn of each figure.

    Parameters
    ----------
    figures : mapping
        As `Risk.as_json`.

    Returns
    -------
    DataFrame
        Columns whose (a method's id, or ``difference``), figure, block (empty for the whole), and `POINTS`.
        Weeks from the start on site; of the difference, positive where the second method is sooner.
    """
    rows = []
    for name, method in (*figures["methods"].items(), ("difference", figures["difference"])):
        rows += [(name, of, "", *_points(method[of])) for of in WHOLE if of in method]
        rows += [
            (name, "weeks_to_ready", block["name"], *_points(block["weeks_to_ready"]))
            for block in method.get("blocks", [])
        ]
    return _as_given(rows, ["whose", "figure", "block", *POINTS])


def _points(drawn: Mapping[str, Any]) -> list[float | None]:
    return [None if drawn.get(point) is None else float(drawn[point]) for point in POINTS]


def ready_dates(figures: Mapping[str, Any], labels: Mapping[str, str], start: dt.date) -> pd.DataFrame:
    """Return when each block is ready with each method: columns method, block, p10, p50, p80, p90 (dates).

    Parameters
    ----------
    figures : mapping
        As `percentiles`.
    labels : mapping of str to str
        Label of each method by its id.
    start : date
        Start on site.
    """
    found = percentiles(figures)
    found = found[found["figure"] == "weeks_to_ready"]
    rows = [
        (labels[row["whose"]], row["block"], *(on_date(start, row[p]) for p in ("p10", "p50", "p80", "p90")))
        for row in found.to_dict("records")
    ]
    return pd.DataFrame(rows, columns=["method", "block", "p10", "p50", "p80", "p90"])


def on_date(start: dt.date, weeks: float) -> dt.date:
    """Return the date to which an instant belongs. [weeks from 00:00 of the start on site]

    Examples
    --------
    >>> on_date(dt.date(2027, 4, 5), 1.0)
    datetime.date(2027, 4, 11)
    """
    return start + dt.timedelta(days=math.ceil(round(7.0 * weeks, 9)) - 1)


def drivers(figures: Mapping[str, Any], on: str) -> pd.DataFrame:
    """Return what the difference follows most: columns key, label, rank_correlation, strongest first.

    Parameters
    ----------
    figures : mapping
        As `percentiles`.
    on : {"weeks", "profit"}
    """
    mine = [row for row in figures["drivers"] if row["on"] == on and row["rank_correlation"] is not None]
    mine.sort(key=lambda row: -abs(row["rank_correlation"]))
    columns = ["key", "label", "rank_correlation"]
    return pd.DataFrame([[row[column] for column in columns] for row in mine], columns=columns)


def optimism(risk: Risk) -> pd.DataFrame:
    """Return the last handover by the draws, and by published allowances for optimism in their place.

    Returns
    -------
    DataFrame
        Columns basis, time_pct (on the expected case's time on site; None where nothing is added), cost_pct
        (published beside it, or None), and a date for each method's label.
    """
    cases = risk.comparison.cases
    values = risk.comparison.first.plan.values
    start = risk.comparison.scenario.development.start
    rows: list[tuple[Any, ...]] = [
        ("The expected case", None, None, *(on_date(start, case.weeks_to_last_handover) for case in cases))
    ]
    for basis, of in (("Middle of the draws (P50)", "p50"), ("Eight draws of ten (P80)", "p80")):
        drawn = [percentiles_of(risk.of(k, "weeks_to_last_handover")) for k in range(len(cases))]
        rows.append((basis, None, None, *(on_date(start, getattr(each, of)) for each in drawn)))
    bases = [
        ("Standard buildings", values["optimism.standard_weeks"], values["optimism.standard_cost"]),
        ("Buildings of no standard kind", values["optimism.special_weeks"], values["optimism.special_cost"]),
    ]
    if 0.0 < values["optimism.special_share"] < 1.0:
        both = allowances(values)
        bases.append(("The two blended, as in the assumptions", both["weeks"], both["cost"]))
    for basis, time, cost in bases:
        dates = [on_date(start, optimism_bias(case.weeks_to_last_handover, time)) for case in cases]
        rows.append((f"Expected case with an allowance: {basis[:1].lower()}{basis[1:]}", time, cost, *dates))
    return _as_given(rows, ["basis", "time_pct", "cost_pct", *(case.method.label for case in cases)])


def as_good(risk: Risk, weeks: float) -> float:
    """Return the share of draws in which the last handover is at least so many weeks sooner. [0 to 1]"""
    return float(np.mean(risk.difference("weeks_to_last_handover") >= weeks))


def first_look(risk: Risk) -> dict[str, Any]:
    """Return percentiles of the differences in the draws done so far, as the figures of a whole run have "
    "them."""
    return {
        "runs": risk.runs_done,
        "difference": {
            figure: asdict(percentiles_of(risk.difference(figure)))
            for figure in ("weeks_to_last_handover", "profit")
        },
    }


def draws(risk: Risk) -> pd.DataFrame:
    """Return every draw that was done, one row each.

    Returns
    -------
    DataFrame
        Columns draw (numbered from 0), and for each method's id ``id:figure`` for each of `WHOLE` and
        ``id:ready BLOCK``. [weeks from the start on site, GBP]
    """
    columns: dict[str, Any] = {"draw": np.flatnonzero(risk.done)}
    for k, case in enumerate(risk.comparison.cases):
        name, ready = case.method.id, risk.weeks_to_ready(k)
        columns |= {f"{name}:{figure}": risk.of(k, figure) for figure in WHOLE}
        columns |= {f"{name}:ready {block}": ready[:, b] for b, block in enumerate(case.takeoff.layout.names)}
    return pd.DataFrame(columns)


def differences_drawn(draws: pd.DataFrame, first: str, second: str) -> pd.DataFrame:
    """Return the second method against the first in every draw.

    Parameters
    ----------
    draws : DataFrame
        As `draws`.
    first, second : str
        Ids of the methods.

    Returns
    -------
    DataFrame
        Columns draw and `WHOLE`; weeks positive where the second is sooner.
    """
    gaps: dict[str, pd.Series[float]] = {}
    for figure in WHOLE:
        more = draws[f"{second}:{figure}"].sub(draws[f"{first}:{figure}"])
        gaps[figure] = more if figure in ("profit", "npv") else -more
    return pd.DataFrame({"draw": draws["draw"], **gaps})


def draw_case(draws: pd.DataFrame, draw: int, ids: Sequence[str], start: dt.date) -> pd.DataFrame:
    """Return one draw as a small case.

    Parameters
    ----------
    draws : DataFrame
        As `draws`.
    draw : int
        Its number.
    ids : sequence of str
        Of the methods.
    start : date
        Start on site.

    Returns
    -------
    DataFrame
        Columns figure, kind (``date`` or ``money``), one a method's id, difference (second against first;
        weeks positive where the second is sooner).
    """
    one = draws[draws["draw"] == draw].iloc[0]
    blocks = [c.split(":ready ", 1)[1] for c in draws.columns if c.startswith(f"{ids[0]}:ready ")]
    figures = {f"ready {block}": f"{block} ready" for block in blocks} | {
        "weeks_to_first_handover": "First handover",
        "weeks_to_last_handover": "Last handover",
        "profit": "Profit",
        "npv": "Net present value",
    }
    rows: list[tuple[Any, ...]] = []
    for column, label in figures.items():
        values = [float(one[f"{name}:{column}"]) for name in ids]
        if column in ("profit", "npv"):
            rows.append((label, "money", *values, values[1] - values[0]))
        else:
            rows.append((label, "date", *(on_date(start, x) for x in values), values[0] - values[1]))
    return _as_given(rows, ["figure", "kind", *ids, "difference"])


# ------------------------------------------------------------------------------- what must be true


def ways(found: MustBeTrue) -> pd.DataFrame:
    """Return what brings the second method to a target.

    Parameters
    ----------
    found : MustBeTrue

    Returns
    -------
    DataFrame
        Columns kind (``alone``, ``at its end``: reaches it at an end of its range, ``pair``, ``closest``: the
        best there is where nothing reaches it), label, now, needed (in words), figure (what it then comes
        to, in the target's unit), distance (from the present values, in widths of range).
    """
    each: list[tuple[str, Way]] = [("alone", way) for way in found.singles]
    each += [("at its end", way) for way in found.also] + [("pair", way) for way in found.pairs]
    each += [("closest", found.closest)] if found.closest is not None else []
    rows = [
        (
            kind,
            " with ".join((way.labels[0], *(label[:1].lower() + label[1:] for label in way.labels[1:]))),
            " and ".join(_said(x, unit) for x, unit in zip(way.now, way.units, strict=True)),
            " and ".join(_in_words(said) for said in way.said),
            way.figure,
            way.distance,
        )
        for kind, way in each
    ]
    return _as_given(rows, ["kind", "label", "now", "needed", "figure", "distance"])


def _said(value: float | str, unit: str) -> str:
    return value if isinstance(value, str) else _in_words(f"{plain(value)}{in_unit(unit)}")


def _in_words(said: str) -> str:
    """Return a value as a page writes it: pounds by their sign, areas raised."""
    if " GBP" in said:
        number, _gbp, rest = said.partition(" GBP")
        said = f"£{number}{rest}"
    return said.replace("m2", "m²").replace("m3", "m³")


def _as_given(rows: Iterable[tuple[Any, ...]], columns: list[str]) -> pd.DataFrame:
    """Return rows as a frame that keeps None as None."""
    return pd.DataFrame(list(rows), columns=columns, dtype=object)
