"""How is what was found in a file said, and where are problems gathered?

Short, one-line words for any value TOML can hold, the nearest known word to a misspelt one, and the
list that problems and warnings are put on as they are met.
"""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Mapping, Sequence
from typing import Any

from model.core.errors import Problem


class Findings:
    """Problems and warnings as they are met."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self.warnings: list[str] = []
        self._guesses = 40  # a nearest key is looked for so many times: a file of nonsense stays quick

    def add(self, where: str, found: str, allowed: str, remedy: str = "") -> None:
        self.problems.append(Problem(where, found, allowed, remedy))

    def warn(self, where: str, words: str) -> None:
        self.warnings.append(f"{where}: {words}")

    def near(self, word: str, known: Sequence[str], prefix: str = "") -> str:
        """Return a sentence naming the nearest known word, while the store of guesses lasts.

        A prefix that the file leaves out is left out of the answer too.
        """
        if not known or self._guesses <= 0:
            return ""
        self._guesses -= 1
        return f"The nearest known one is {nearest(word, known).removeprefix(prefix)!r}."


def nearest(word: str, known: Sequence[str]) -> str:
    """Return the known word nearest to what was written.

    Parameters
    ----------
    word : str
        As found in the file.
    known : sequence of str
        At least one.

    Returns
    -------
    str
        The closest by matching runs of letters, capitals apart.
    """
    folded: dict[str, str] = {}
    for item in known:
        folded.setdefault(item.casefold(), item)
    target = word.casefold()[:80]
    close = difflib.get_close_matches(target, folded, n=1, cutoff=0.6)
    return folded[(close or difflib.get_close_matches(target, folded, n=1, cutoff=0.0))[0]]


def clip(text: str, most: int = 60) -> str:
    return text if len(text) <= most else f"{text[: most - 3]}..."


def shown(value: Any) -> str:
    """Return a value as a message shows it: short, on one line, as TOML would write it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return repr(clip(value))
    if isinstance(value, int):
        return figure(value)
    if isinstance(value, float):
        return f"{value:.1f}" if value.is_integer() and abs(value) < 1e15 else f"{value:g}"
    if isinstance(value, Mapping):
        return f"a table with {', '.join(clip(str(key), 20) for key in list(value)[:3])}" if value else "{}"
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value):,}"
    return clip(str(value))


def kind_of(value: Any) -> str:
    kinds = (
        (bool, "a true-or-false value"),
        (str, "text"),
        (int, "a whole number"),
        (float, "a decimal number"),
        (dt.datetime, "a date with a time"),
        (dt.date, "a date"),
        (dt.time, "a time"),
        (Mapping, "a table"),
        (list, "a list"),
    )
    return next((words for kind, words in kinds if isinstance(value, kind)), "something else")


def figure(value: Any) -> str:
    """Return a number in plain figures, or a date as it is written."""
    if isinstance(value, int) and value.bit_length() > 64:
        return "a number of more than 19 digits"
    if isinstance(value, float) and not (value.is_integer() and abs(value) < 1e15):
        return f"{value:g}"
    if isinstance(value, (int, float)):
        return f"{int(value):,}" if abs(value) >= 10_000 else str(int(value))
    return str(value)


def in_unit(unit: str) -> str:
    """Return a unit as it follows a figure; a bare number, a share and a count have none."""
    return "" if unit in ("", "-", "share", "no.") else f" {unit}"
