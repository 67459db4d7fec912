"""Charts of the site: which trades change, who is there, what do hooks, hoists and bays carry?

As `dashboard.parts.charts`: each function takes a plain frame and the colours of one mode, and returns a
figure; beside each stands a function that says the same in words. A method is told by colour and rule.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import pandas as pd
import plotly.graph_objects as go

from dashboard.parts.marks import Mark
from dashboard.parts.strokes import (
    Colours,
    Peak,
    at,
    day,
    draw_line,
    draw_steps,
    listed,
    methods_of,
    name_peaks,
    need,
    panels,
    plain,
    say_scale,
    set_axis,
)
from dashboard.parts.theme import mix
from model.core.errors import RangeError

FEWEST: Final = 0.05
"""Change of a trade's operative-days from which it is drawn. [share]"""

_PEOPLE_PX: Final = 270.0
"""Height that the tallest weeks of all trades drawn share out. [px]"""

_NAME_PX: Final = 24.0
"""Room above each trade for its name. [px]"""

USE_WORDS: Final = {"frame": "frame", "panels": "wall panels", "other": "other loads"}


# --------------------------------------------------------------------------------- trades that change


def trades_that_change(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the trades whose work differs between the first two methods.

    Parameters
    ----------
    frame : DataFrame
        ``method, trade, days``, any number of rows a trade and method.

    Returns
    -------
    DataFrame
        Columns trade, first, second (operative-days), change (``leaves``, ``arrives``, ``fewer``, ``more``):
        those that leave first, then those that arrive, then by the size of the change.
    """
    need(frame, ["method", "trade", "days"], "trades that change")
    labels = list(dict.fromkeys(frame["method"]))
    if len(labels) < 2:
        raise RangeError("Trades change between two methods; the frame holds one. Give a frame of both.")
    days = frame.groupby(["trade", "method"], sort=False)["days"].max().astype(float).unstack(fill_value=0.0)
    first, second = days[labels[0]], days[labels[1]]
    rows = []
    for trade in days.index:
        one, other = float(first[trade]), float(second[trade])
        if one == 0 and other == 0:
            continue
        if other == 0:
            change = "leaves"
        elif one == 0:
            change = "arrives"
        elif abs(other - one) < FEWEST * one:
            continue
        else:
            change = "fewer" if other < one else "more"
        rows.append((str(trade), one, other, change))
    told = pd.DataFrame(rows, columns=["trade", "first", "second", "change"])
    order = {word: place for place, word in enumerate(("leaves", "arrives", "fewer", "more"))}
    told = told.assign(place=told["change"].map(order), size=-(told["second"] - told["first"]).abs())
    return told.sort_values(["place", "size"], ignore_index=True).drop(columns=["place", "size"])


def trades(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw the trades that change, one under another on one scale of people, week by week.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, trade, week, people, days``; a week is the date of its first day.
    colours : mapping
        Tokens of one mode.

    Raises
    ------
    RangeError
        If a column is missing, there is no row, or no trade changes.
    """
    need(frame, ["method", "role", "trade", "week", "people", "days"], "trades by week")
    told = trades_that_change(frame)
    if not len(told):
        raise RangeError(
            "No trade changes between the first two methods. Say so in words and leave the chart out."
        )
    most = frame.groupby("trade")["people"].max()
    scale = _PEOPLE_PX / float(most[told["trade"]].sum())
    heights = [max(10.0, scale * float(most[trade])) for trade in told["trade"]]
    figure, _axes = panels(
        [sum(heights) + _NAME_PX * len(heights)], colours, titles=["people by week, one scale"]
    )
    level = 0.0
    for (trade, one, other, change), height in zip(
        told.itertuples(index=False, name=None), heights, strict=True
    ):
        level -= _NAME_PX + height
        figure.add_shape(
            type="line", x0=0, x1=1, xref="paper", y0=level, y1=level, yref="y",
            line={"color": colours["hairline"], "width": 1}, layer="below",
        )  # fmt: skip
        for label, known in methods_of(frame):
            rows = frame[(frame["method"] == label) & (frame["trade"] == trade)].sort_values("week")
            if not len(rows):
                continue
            _ridge(figure, rows, level, scale, known, colours, f"{label}, {trade}")
        figure.add_annotation(
            x=0, xref="paper", y=level + height + 3, yref="y", xanchor="left", yanchor="bottom", xshift=-4,
            text=f"<b>{plain(trade)}</b>  <span style='color:{colours['quiet']}'>"
            f"{plain(_changed_words(one, other, change))}</span>",
            showarrow=False, align="left", bgcolor=colours["ground"], borderpad=1,
        )  # fmt: skip
    set_axis(figure, "yaxis", range=[level - 6, 0], showgrid=False, showticklabels=False)
    figure.update_layout(margin={"l": 6, "r": 6})
    figure.layout.annotations[0].update(xshift=0)
    say_scale(figure, "in words: operative-days", colours)
    return figure


def _ridge(
    figure: go.Figure,
    rows: pd.DataFrame,
    level: float,
    scale: float,
    known: Mark,
    colours: Colours,
    name: str,
) -> None:
    """Draw one trade of one method: a faint fill and its line in the method's rule."""
    weeks = [*rows["week"], rows["week"].iloc[-1] + pd.Timedelta(days=7)]
    tops = [level + scale * people for people in [*rows["people"], rows["people"].iloc[-1]]]
    x = [weeks[0], *weeks, weeks[-1]]
    y = [level, *tops, level]
    said = [
        f"{name}, week of {day(week)}: {people:,.0f} people"
        for week, people in zip(rows["week"], rows["people"], strict=True)
    ]
    figure.add_scatter(
        x=x, y=y, mode="lines", line={"width": 0, "shape": "hv"}, fill="toself",
        fillcolor=_faint(colours[known.role], 0.14), hoverinfo="skip", **at(1),
    )  # fmt: skip
    draw_line(figure, x, y, _finer(known), colours, 1, hover=[said[0], *said, said[-1], said[-1]], shape="hv")


def _changed_words(one: float, other: float, change: str) -> str:
    if change == "leaves":
        return f"{one:,.0f} → none"
    if change == "arrives":
        return f"none → {other:,.0f}"
    return f"{one:,.0f} → {other:,.0f}"


def say_trades(frame: pd.DataFrame) -> str:
    """Say which trades leave, arrive, and work fewer or more days under the second method."""
    told = trades_that_change(frame)
    clauses = []
    for change, words in (
        ("leaves", "Leave"),
        ("arrives", "Arrive"),
        ("fewer", "Fewer operative-days"),
        ("more", "More operative-days"),
    ):
        rows = told[told["change"] == change]
        if len(rows):
            named = [
                f"{trade} ({_changed_words(one, other, change)})"
                for trade, one, other, _ in rows.itertuples(index=False, name=None)
            ]
            clauses.append(f"{words}: {listed(named)}.")
    same = int(frame["trade"].nunique()) - len(told)
    clauses.append(f"{same} trades work as many days as before, within one in twenty.")
    return " ".join(clauses)


# --------------------------------------------------------------------------------------------- people


def people(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw everybody on site by week, each method's peak named, its average a fine line.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, week, operatives, average``.
    colours : mapping
        Tokens of one mode.
    """
    need(frame, ["method", "role", "week", "operatives", "average"], "people by week")
    figure, axes = panels([250.0], colours, titles=["people by week"])
    peaks = []
    for label, known in methods_of(frame):
        one = frame[frame["method"] == label].sort_values("week")
        said = [
            f"{label}, week of {day(week)}: {value:,.0f} people"
            for week, value in zip(one["week"], one["operatives"], strict=True)
        ]
        _level(figure, one["week"], float(one["average"].iloc[0]), known, colours)
        draw_steps(figure, one["week"], one["operatives"], _finer(known), colours, 1, hover=said)
        peaks.append(_peak(one, "week", "operatives", label, known, "{:,.0f}", 3.5))
    set_axis(figure, axes[0], nticks=5)
    name_peaks(figure, peaks, _span(frame["week"]), colours, 1)
    say_scale(figure, "fine line: average", colours)
    return figure


def say_people(frame: pd.DataFrame) -> str:
    """Say how many people each method has in its fullest week, and on average."""
    need(frame, ["method", "role", "week", "operatives", "average"], "people by week")
    clauses = []
    for label, _ in methods_of(frame):
        one = frame[frame["method"] == label]
        top = one.iloc[int(one["operatives"].to_numpy().argmax())]
        clauses.append(
            f"{label} {top['operatives']:,.0f} people in the week of {day(top['week'])}, "
            f"{top['average']:,.0f} on average"
        )
    return (
        f"Fullest week, mean of its open days: {'; '.join(clauses)}. The peak of one day stands in the table."
    )


# ------------------------------------------------------------------------------------- hooks and hoists


def hook_by_use(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw hook hours by use and month, a panel for each method, under the hours there are.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, month, frame, panels, other, used, available, evening``. [h]
    colours : mapping
        Tokens of one mode.
    """
    need(frame, ["method", "role", "month", *USE_WORDS, "used", "available", "evening"], "hook hours by use")
    methods = methods_of(frame)
    figure, axes = panels([150.0] * len(methods), colours, titles=[label for label, _ in methods])
    most = float((frame["available"] + frame["evening"]).max()) or 1.0
    wide = 25 * 86_400_000
    for row, (label, known) in enumerate(methods, start=1):
        one = frame[frame["method"] == label].sort_values("month")
        one = one[one["available"] + one["evening"] + one["used"] > 0]
        if not len(one):
            continue
        colour = colours[known.role]
        middle = one["month"] + pd.Timedelta(days=15)
        for use, words in USE_WORDS.items():
            figure.add_bar(
                x=middle, y=one[use], width=wide, marker=_fill(use, colour, colours["ground"]),
                hovertext=[f"{label}, month from {day(m)}: {words} {h:,.0f} h of {u:,.0f} h used"
                           for m, h, u in zip(one["month"], one[use], one["used"], strict=True)],
                hoverinfo="text", meta=known.role, **at(row),
            )  # fmt: skip
        there = one["available"] + one["evening"]
        ends = [*one["month"], one["month"].iloc[-1] + pd.Timedelta(days=30)]
        limit = {"color": colours["ink"], "width": 1, "dash": "2px,3px", "shape": "hv"}
        figure.add_scatter(
            x=ends, y=[*there, there.iloc[-1]], mode="lines", line=limit, hoverinfo="text",
            hovertext=[f"{label}: {h:,.0f} h there are" for h in [*there, there.iloc[-1]]], **at(row),
        )  # fmt: skip
        set_axis(figure, axes[row - 1], range=[0, most * 1.08], nticks=4)
        figure.layout.annotations[row - 1].update(font={"color": colour})
    figure.update_layout(barmode="stack", bargap=0.2)
    say_scale(figure, "hook hours a month, all cranes", colours)
    return figure


def _fill(use: str, colour: str, ground: str) -> dict[str, Any]:
    """Return how a use is filled: the frame solid, panels hatched, other loads hollow."""
    filled: dict[str, Any] = {"color": colour, "line": {"color": colour, "width": 1}}
    if use == "panels":
        filled["pattern"] = {"shape": "/", "fgcolor": colour, "bgcolor": ground, "size": 5, "solidity": 0.4}
    elif use == "other":
        filled["color"] = ground
    return filled


def say_hook_by_use(frame: pd.DataFrame) -> str:
    """Say how many hook hours each use takes, and how full the fullest month is."""
    need(frame, ["method", "role", "month", *USE_WORDS, "used", "available", "evening"], "hook hours by use")
    clauses = []
    for label, _ in methods_of(frame):
        one = frame[frame["method"] == label]
        uses = [f"{words} {one[use].sum():,.0f}" for use, words in USE_WORDS.items() if one[use].sum() >= 0.5]
        top = one.iloc[int(one["used"].to_numpy().argmax())]
        there = float(top["available"] + top["evening"])
        share = f", {100 * top['used'] / there:.0f} % of the hours there are" if there > 0 else ""
        clauses.append(
            f"{label} {one['used'].sum():,.0f} h ({', '.join(uses) or 'none'}); busiest month from "
            f"{day(top['month'])}, {top['used']:,.0f} h{share}"
        )
    return f"Hook hours by use and month: {'. '.join(clauses)}."


def hoists(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw the hours hoists carry goods by week under the hours there are for goods.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, block, week, used, available``. [h]
    colours : mapping
        Tokens of one mode.
    """
    total = hoists_together(frame)
    figure, axes = panels([170.0], colours, titles=["hours of goods by week, all hoists"])
    most = float(total["available"].max()) or 1.0
    for label, known in methods_of(total):
        one = total[total["method"] == label].sort_values("week")
        fine = {"color": mix(colours[known.role], colours["ground"], 0.7), "width": 1, "dash": "2px,3px"}
        weeks = [*one["week"], one["week"].iloc[-1] + pd.Timedelta(days=7)]
        figure.add_scatter(
            x=weeks, y=[*one["available"], one["available"].iloc[-1]], mode="lines",
            line={**fine, "shape": "hv"}, hoverinfo="skip", **at(1),
        )  # fmt: skip
        said = [
            f"{label}, week of {day(week)}: {used:,.1f} h of {there:,.0f} h"
            for week, used, there in zip(one["week"], one["used"], one["available"], strict=True)
        ]
        draw_steps(figure, one["week"], one["used"], _finer(known), colours, 1, hover=said)
    set_axis(figure, axes[0], range=[0, most * 1.1], nticks=4)
    say_scale(figure, "fine line: hours there are", colours)
    return figure


def hoists_together(frame: pd.DataFrame) -> pd.DataFrame:
    """Add the hoists of all blocks up by method and week."""
    need(frame, ["method", "role", "block", "week", "used", "available"], "hoists by week")
    return frame.groupby(["method", "role", "week"], sort=False, as_index=False)[["used", "available"]].sum()


def say_hoists(frame: pd.DataFrame) -> str:
    """Say how full the hoists are in the fullest week of any block."""
    need(frame, ["method", "role", "block", "week", "used", "available"], "hoists by week")
    clauses = []
    for label, _ in methods_of(frame):
        one = frame[frame["method"] == label]
        top = one.iloc[int((one["used"] / one["available"]).to_numpy().argmax())]
        clauses.append(
            f"{label} {one['used'].sum():,.0f} h, fullest at {top['block']} in the week of "
            f"{day(top['week'])}, {100 * top['used'] / top['available']:.0f} % of the hours there are"
        )
    return f"Goods by hoist: {'; '.join(clauses)}."


# ------------------------------------------------------------------------------------- bays and panels


def bays(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw the bay minutes of each week's busiest day against the minutes that can be used.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, date, vehicles, minutes, available``. [min]
    colours : mapping
        Tokens of one mode.
    """
    need(frame, ["method", "role", "date", "minutes", "available"], "bay minutes")
    figure, axes = panels([230.0], colours, titles=["bay minutes by week"])
    begin = frame["date"].min()
    peaks = []
    for label, known in methods_of(frame):
        one = frame[frame["method"] == label]
        week = begin + pd.to_timedelta(((one["date"] - begin).dt.days // 7) * 7, unit="D")
        most = one.groupby(week)["minutes"].max()
        every = pd.date_range(most.index[0], most.index[-1], freq="7D")
        found = pd.DataFrame({"week": every, "minutes": most.reindex(every, fill_value=0.0).to_numpy()})
        said = [
            f"{label}, week of {day(when)}: {value:,.0f} min on its busiest day"
            for when, value in zip(found["week"], found["minutes"], strict=True)
        ]
        draw_steps(figure, found["week"], found["minutes"], _finer(known), colours, 1, hover=said)
        peaks.append(_peak(found, "week", "minutes", label, known, "{:,.0f}", 3.5))
    set_axis(figure, axes[0], nticks=5)
    name_peaks(figure, peaks, _span(frame["date"]), colours, 1)
    for there in sorted(set(frame["available"])):
        figure.add_shape(
            type="line", x0=0, x1=1, xref="paper", y0=there, y1=there, yref="y",
            line={"color": colours["ink"], "width": 1.25},
        )  # fmt: skip
    levels = listed([f"{there:,.0f}" for there in sorted(set(frame["available"]))])
    say_scale(figure, f"busiest day; line: {levels} there are", colours)
    return figure


def say_bays(frame: pd.DataFrame) -> str:
    """Say on how many days lorries ask for more bay time than there is, and how much on the worst."""
    need(frame, ["method", "role", "date", "vehicles", "minutes", "available"], "bay minutes")
    clauses = []
    for label, _ in methods_of(frame):
        one = frame[frame["method"] == label]
        top = one.iloc[int(one["minutes"].to_numpy().argmax())]
        over = int((one["minutes"] > one["available"] + 1e-6).sum())
        passes = f"over the line on {over} of {len(one)} days with lorries" if over else "never over the line"
        clauses.append(
            f"{label} {passes}; busiest day {day(top['date'])}, {top['vehicles']:,.0f} vehicles, "
            f"{top['minutes']:,.0f} of {top['available']:,.0f} min"
        )
    return f"Bay minutes by day: {'. '.join(clauses)}."


def panels_stored(frame: pd.DataFrame, colours: Colours) -> go.Figure:
    """Draw the panels that stand on site at the end of each date.

    Parameters
    ----------
    frame : DataFrame
        ``method, role, date, panels, racks, area_m2``.
    colours : mapping
        Tokens of one mode.
    """
    need(frame, ["method", "role", "date", "panels", "racks", "area_m2"], "panels on site")
    figure, axes = panels([170.0], colours, titles=["panels on site at the end of each day"])
    peaks = []
    for label, known in methods_of(frame):
        one = frame[frame["method"] == label].sort_values("date")
        said = [
            f"{label}, {day(when)}: {count:,.0f} panels in {racks:.0f} racks on {area:,.0f} m²"
            for when, count, racks, area in zip(
                one["date"], one["panels"], one["racks"], one["area_m2"], strict=True
            )
        ]
        draw_line(figure, one["date"], one["panels"], _finer(known), colours, 1, hover=said, shape="hv")
        top = one.iloc[int(one["panels"].to_numpy().argmax())]
        words = f"{top['panels']:,.0f} panels, {top['racks']:.0f} racks, {top['area_m2']:,.0f} m²"
        peaks.append(Peak(label, known, pd.Timestamp(top["date"]), float(top["panels"]), words))
    set_axis(figure, axes[0], nticks=4)
    name_peaks(figure, peaks, _span(frame["date"]), colours, 1)
    return figure


def say_panels_stored(frame: pd.DataFrame) -> str:
    """Say how many panels stand on site at most, in how many racks, and on how much ground."""
    need(frame, ["method", "role", "date", "panels", "racks", "area_m2"], "panels on site")
    clauses = []
    for label, _ in methods_of(frame):
        one = frame[frame["method"] == label]
        top = one.iloc[int(one["panels"].to_numpy().argmax())]
        clauses.append(
            f"{label} at most {top['panels']:,.0f} on {day(top['date'])}, in {top['racks']:.0f} racks on "
            f"{top['area_m2']:,.0f} m² of ground"
        )
    return f"Panels stored on site: {'; '.join(clauses)}."


# --------------------------------------------------------------------------------------------- common


def _finer(known: Mark) -> Mark:
    """Return a mark with a finer line: weeks that go up and down stand close on a telephone."""
    return replace(known, width=known.width * (0.9 if known.hollow else 0.75))


def _level(figure: go.Figure, weeks: pd.Series, value: float, known: Mark, colours: Colours) -> None:
    """Draw a fine line at one height across a method's weeks."""
    fine = {"color": mix(colours[known.role], colours["ground"], 0.7), "width": 1, "dash": "2px,3px"}
    ends = [weeks.iloc[0], weeks.iloc[-1] + pd.Timedelta(days=7)]
    figure.add_scatter(x=ends, y=[value, value], mode="lines", line=fine, hoverinfo="skip", **at(1))


def _peak(
    one: pd.DataFrame, when: str, column: str, label: str, known: Mark, words: str, shift_days: float
) -> Peak:
    top = one.iloc[int(one[column].to_numpy().argmax())]
    middle = pd.Timestamp(top[when]) + pd.Timedelta(days=shift_days)
    return Peak(label, known, middle, float(top[column]), words.format(top[column]))


def _faint(colour: str, alpha: float) -> str:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"rgba({red},{green},{blue},{alpha})"


def _span(when: pd.Series) -> tuple[pd.Timestamp, pd.Timestamp]:
    return pd.Timestamp(when.min()), pd.Timestamp(when.max())
