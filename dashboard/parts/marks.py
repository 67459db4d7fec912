"""Marks: how is a method told from another, without relying on colour alone?

Every method carries two cues, its colour and its rule, and both are the same on every chart, table,
printed sheet and slide. The cues belong to a *role*; which method plays which role is data. Nothing here
knows what a panel or a frame is, and nothing branches on a method's name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from model.core.errors import RangeError


@dataclass(frozen=True)
class Mark:
    """The two cues of one role.

    Parameters
    ----------
    role : str
        Name of the role; also the end of the colour token and of the CSS class.
    rule : str
        Name of the rule drawn above and beside the method: ``bar``, ``double``, ``dashed``, ...
    dash : str
        The same rule as a line on a chart, in the chart library's words.
    width : float
        Line width on a chart. [px]
    hollow : bool
        Whether the line has a light core, which makes it a double line.
    """

    role: str
    rule: str
    dash: str
    width: float
    hollow: bool = False


METHOD_MARKS: dict[str, Mark] = {
    mark.role: mark
    for mark in (
        Mark("panels", "bar", "solid", 3.0),
        Mark("open_frame", "double", "solid", 4.5, hollow=True),
        Mark("open_frame_best", "dashed", "9px,5px", 2.5),
        Mark("fourth", "dotted", "2px,4px", 2.5),
        Mark("fifth", "dash_dot", "10px,4px,2px,4px", 2.5),
        Mark("sixth", "thin", "solid", 1.25),
    )
}
"""Role to mark, in the order in which free roles are given out."""

USUAL_ROLES: dict[str, str] = {
    "panelised": "panels",
    "open_frame": "open_frame",
    "open_frame_best": "open_frame_best",
}
"""The role that a method like one of the ready methods takes when it is free."""


def assign_roles(likes: Sequence[str]) -> list[str]:
    """Give each method of a comparison a role of its own.

    A method takes the usual role of the ready method it is like; the first comer keeps it. Methods left
    over take the free roles in order, and prefer one that no other ready method is known by.

    Parameters
    ----------
    likes : sequence of str, 1 to 6 entries
        For each method, in the order listed, the ready method it is like.

    Returns
    -------
    list of str
        One role for each entry, no two alike.

    Raises
    ------
    RangeError
        If there is no method, or more methods than marks.

    Examples
    --------
    >>> assign_roles(["open_frame", "panelised"])
    ['open_frame', 'panels']
    >>> assign_roles(["panelised", "panelised"])
    ['panels', 'fourth']
    """
    if not 1 <= len(likes) <= len(METHOD_MARKS):
        raise RangeError(
            f"{len(likes)} methods were to be drawn together; 1 to {len(METHOD_MARKS)} have a mark of their "
            "own. Choose fewer methods for this page."
        )
    roles: list[str | None] = []
    for like in likes:
        wanted = USUAL_ROLES.get(like)
        roles.append(wanted if wanted not in roles else None)
    usual = set(USUAL_ROLES.values())
    free = sorted((role for role in METHOD_MARKS if role not in roles), key=lambda role: role in usual)
    return [free.pop(0) if role is None else role for role in roles]


def mark(role: str) -> Mark:
    """Return the mark of a role.

    Raises
    ------
    RangeError
        If the role is not one of `METHOD_MARKS`.

    Examples
    --------
    >>> mark("open_frame").rule
    'double'
    """
    if role not in METHOD_MARKS:
        raise RangeError(
            f"{role!r} is not a role that has a mark. The roles are {', '.join(METHOD_MARKS)}; "
            "give each method one of them, for example with assign_roles."
        )
    return METHOD_MARKS[role]
