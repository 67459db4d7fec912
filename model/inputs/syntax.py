"""Which tables does a text hold, if it is a TOML text of fair size?

Bytes to plain tables: size, encoding, TOML and depth, before anything is asked about the meaning.
A date that cannot be is put in quotes and handed on, so that it is reported with everything else.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any, Final

from model.core.errors import Problem, ScenarioError
from model.inputs.wording import clip, shown

LARGEST_BYTES: Final = 1_000_000
"""Largest scenario file that is read. [bytes]"""

DEEPEST: Final = 12
"""Deepest nesting of tables and lists that is read."""

DATES: Final = "Write dates as YYYY-MM-DD."
MINIMUM: Final = (
    "The least a scenario needs is [development] with name, place and start, "
    "and one [[blocks]] with storeys and flats_per_storey."
)


def refusal(name: str, found: str, allowed: str, remedy: str = "") -> ScenarioError:
    return ScenarioError([Problem(name, found, allowed, remedy)])


def too_large(name: str, size: int | None = None) -> ScenarioError:
    found = f"the file holds {size:,} bytes" if size else "the file is too large"
    allowed = f"A scenario file has at most {LARGEST_BYTES:,} bytes; a real one has a few thousand."
    return refusal(name, found, allowed, "Check that this is the file you meant.")


def decoded(text: str | bytes, name: str) -> str:
    """Return the text of a file of fair size in UTF-8."""
    try:
        content = text.encode("utf-8") if isinstance(text, str) else text
    except UnicodeEncodeError as error:
        raise refusal(
            name,
            f"character {error.start + 1:,} is half of a pair and stands for nothing",
            "A scenario file is text in UTF-8.",
            "Copy the text again from its source.",
        ) from None
    if len(content) > LARGEST_BYTES:
        raise too_large(name)
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise refusal(name, "the text is in UTF-16", "A scenario file is in UTF-8.", "Save it as UTF-8.")
    if b"\0" in content:
        raise refusal(
            name,
            "this is a binary file, not text",
            "A scenario is a text file in TOML.",
            "Check that this is the file you meant.",
        )
    try:
        plain = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise refusal(
            name,
            f"byte {error.start + 1:,} is not UTF-8",
            "A scenario file is text in UTF-8.",
            "Save it as UTF-8; letters with accents and the pound sign are the usual cause.",
        ) from None
    if all(not line.strip() or line.lstrip().startswith("#") for line in plain.splitlines()):
        raise refusal(name, "the file is empty", MINIMUM)
    return plain


_DATE_LIKE: Final = re.compile(
    r"[0-9]{1,4}([-/.])[0-9]{1,2}\1[0-9]{1,4}(?:[Tt ][0-9:.]+)?|[0-9]{1,2} [A-Za-z]{3,9} [0-9]{4}"
)
_LONG_KEY: Final = re.compile(r"(?<![\w\"'.-])(?:[\w\"'-]+[ \t]*\.[ \t]*){20}")
_MOST_DATES_MENDED: Final = 50

_SYNTAX: Final = (
    # in the parser's message, what it means, what to do
    ("Invalid date", "this is no date", DATES),
    ("Cannot overwrite a value", "a key stands twice", "Keep one of the two lines."),
    ("Duplicate inline table key", "a key stands twice", "Keep one of the two."),
    ("Cannot declare", "a table stands twice", "Join the two tables, or use [[ ]] for a list of tables."),
    ("Cannot mutate", "a table that is closed is added to", "Write all its keys in one place."),
    ("Cannot redefine", "a key stands twice", "Keep one of the two lines."),
    ("Expected '='", "a key without an equals sign", "Write key = value."),
    (
        "Expected newline",
        "something after the end of the value",
        "Put text in quotes, and one key on a line.",
    ),
    ("Expected ']]'", "a table name that is not closed", "Write [[name]]."),
    ("Expected ']'", "a table name that is not closed", "Write [name]."),
    ("Unclosed array", "a list that is not closed", "Separate with commas and end with ]."),
    ("Unclosed inline table", "a table in braces that is not closed", "End it with } on the same line."),
    ("Unterminated string", "a text whose quotes are not closed", "Close the quotes on the same line."),
    ('Expected "\'"', "a text whose quotes are not closed", "Close the quotes on the same line."),
    ("Unescaped", "a backslash that means nothing", "Write \\\\, or use single quotes."),
    ("Illegal character", "a character that may not stand here", "Delete it, or close the quotes before it."),
    ("Found invalid character", "a character that may not stand here", "Delete it and type it again."),
    ("Invalid initial character", "a name that starts with no letter or figure", "Put the name in quotes."),
    (
        "Invalid value",
        "no value that can be read",
        "Put text in quotes; write true, false or a number plain.",
    ),
    ("Invalid statement", "neither a key nor a table", "Write key = value or [table]."),
)


def parsed(text: str, name: str) -> dict[str, Any]:
    """Return the tables of a TOML text, impossible dates left as text for the shapes to refuse."""
    if _LONG_KEY.search(text):
        raise _too_deep(name)
    for _attempt in range(_MOST_DATES_MENDED):
        try:
            tables = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            mended = _date_in_quotes(text, str(error))
            if mended is None:
                raise _syntax_error(text, str(error), name) from None
            text = mended
        except RecursionError:
            raise _too_deep(name) from None
        except ValueError:  # the interpreter's limit on the digits of a whole number
            allowed = "No figure of a scenario needs more than fifteen digits."
            raise refusal(name, "a number has thousands of digits", allowed, "Shorten it.") from None
        else:
            if _depth_passes(tables, DEEPEST):
                raise _too_deep(name)
            return tables
    raise refusal(name, f"more than {_MOST_DATES_MENDED} values are no dates", DATES)


def _too_deep(name: str) -> ScenarioError:
    return refusal(
        name,
        f"tables or lists lie more than {DEEPEST} deep",
        f"A scenario needs four levels at most. {MINIMUM}",
        "Check that this is the file you meant.",
    )


def _depth_passes(tables: Mapping[str, Any], limit: int) -> bool:
    level: list[Any] = [tables]
    for _depth in range(limit):
        level = [
            child
            for item in level
            for child in (item.values() if isinstance(item, Mapping) else item)
            if isinstance(child, (Mapping, list))
        ]
        if not level:
            return False
    return True


def _position(text: str, message: str) -> tuple[int, int]:
    """Return line and column of a parser's message, both from 1."""
    match = re.search(r"at line ([0-9]+), column ([0-9]+)", message)
    if match:
        return int(match[1]), int(match[2])
    lines = text.rstrip().split("\n")
    return len(lines), len(lines[-1]) + 1


def _date_in_quotes(text: str, message: str) -> str | None:
    """Return the text with the date-like word at a syntax error put in quotes, or None."""
    line_number, column = _position(text, message)
    lines = text.split("\n")
    line = lines[line_number - 1]
    for match in _DATE_LIKE.finditer(line):
        before = line[: match.start()].rstrip()
        if match.start() < column <= match.end() + 1 and before.endswith(("=", "[", ",")):
            lines[line_number - 1] = f'{line[: match.start()]}"{match[0]}"{line[match.end() :]}'
            return "\n".join(lines)
    return None


def _syntax_error(text: str, message: str, name: str) -> ScenarioError:
    line_number, column = _position(text, message)
    line = text.split("\n")[line_number - 1].strip()
    other = (f"this is not TOML ({clip(message, 80)})", "Compare it with the files in scenarios/.")
    meaning, remedy = next(((words, cure) for part, words, cure in _SYNTAX if part in message), other)
    return refusal(
        f"{name}, line {line_number:,}, column {column:,}",
        f"{meaning}, in {shown(line)}" if line else meaning,
        "A scenario file is written in TOML.",
        remedy,
    )
