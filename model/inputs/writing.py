"""How is a scenario written to a file that gives the same scenario back?

A new file holds what differs from the defaults and nothing else. In an existing text only what has
changed is touched: comments, order and whatever already says the same stay as they are. What is
written is read back and compared before it is handed out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, MutableMapping, Sequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table, Whitespace

from model.core.errors import ScenarioError
from model.inputs.assumption import read_library
from model.inputs.reading import read_scenario
from model.inputs.scenario import SETTING_TABLES, Method, Overrides, Scenario, method_table


def write_scenario(scenario: Scenario, original_text: str | None = None) -> str:
    """Return the text of a scenario file.

    Parameters
    ----------
    scenario : Scenario
        What is to be written.
    original_text : str, optional
        The file it came from; its comments and order are kept. Without it a new text is made.

    Returns
    -------
    str
        TOML; `read_scenario` makes an equal scenario of it.

    Raises
    ------
    ScenarioError
        If `original_text` is not a scenario, or `scenario` is not one that could have been read.
    """
    if original_text is not None:
        text = original_text.removeprefix("\ufeff")
        old = read_scenario(text, "the original text")
        if old == scenario:
            return original_text
        for candidate in _edited(scenario, old, text):
            if _reads_as(candidate, scenario):
                return candidate
    text = _new_text(scenario)
    if not _reads_as(text, scenario):
        read_scenario(text)  # a scenario made by hand may break the rules of a file: say which
        raise AssertionError("a scenario that can be read must be written as it is")
    return text


def _reads_as(text: str, scenario: Scenario) -> bool:
    try:
        return read_scenario(text) == scenario
    except ScenarioError:
        return False


# ---------------------------------------------------------------------------------------------
# A new text


def _new_text(scenario: Scenario) -> str:
    document = tomlkit.document()
    for name, content in scenario.as_tables().items():
        _add(document, name, content)
    return tomlkit.dumps(document)


def _add(table: Any, name: str, content: Any) -> None:
    """Put content under a name: tables as tables, lists of tables as such, the rest as values."""
    if isinstance(content, Mapping) and "value" not in content:
        table[name] = _table(content)
    elif _is_rows(content):
        table[name] = _rows(content)
    else:
        table[name] = _value(content)


def _is_rows(content: Any) -> bool:
    return isinstance(content, list) and bool(content) and isinstance(content[0], Mapping)


def _table(content: Mapping[str, Any]) -> Table:
    table = tomlkit.table()
    for name, item in content.items():
        _add(table, name, item)
    return table


def _rows(content: Sequence[Mapping[str, Any]]) -> AoT:
    rows = tomlkit.aot()
    for item in content:
        rows.append(_table(item))
    return rows


def _value(content: Any) -> Any:
    """Return a plain value; a value with its reason goes on one line, several lines of text on several."""
    if isinstance(content, Mapping):
        inline = tomlkit.inline_table()
        inline.update(content)
        return inline
    if isinstance(content, str) and "\n" in content and not set(content) & set('"\\'):
        return tomlkit.string(f"{content}\n", multiline=True)
    return tomlkit.item(content)


# ---------------------------------------------------------------------------------------------
# An edited text


def _edited(new: Scenario, old: Scenario, text: str) -> Iterator[str]:
    """Yield edited texts, the gentlest first; each is to be read back before it is believed."""
    for methods in (_edit_methods, _replace_methods):
        try:
            document = tomlkit.parse(text)
            _edit(document, new, old)
            methods(document, new.methods, old.methods)
            yield tomlkit.dumps(document)
        except (TOMLKitError, KeyError, IndexError, TypeError, ValueError, AttributeError):
            continue  # a layout that cannot be edited: the next, plainer way is tried


def _edit(document: MutableMapping[str, Any], new: Scenario, old: Scenario) -> None:
    now, before = new.as_tables(), old.as_tables()
    if new.notes != old.notes:
        _edit_table(document, {"notes": new.notes} if new.notes else {}, {"notes": old.notes})
    _edit_table(document["development"], now["development"], before["development"])
    for name in ("blocks", "cranes"):
        _edit_rows(document, name, "name", now.get(name, []), before.get(name, []), _edit_row)
    _edit_settings(document, new.overrides, old.overrides)


def _edit_table(table: MutableMapping[str, Any], now: Mapping[str, Any], before: Mapping[str, Any]) -> None:
    """Change a table where what it says has changed."""
    for name in before.keys() - now.keys():
        table.pop(name, None)
    for name, content in now.items():
        if content == before.get(name):
            continue
        if _is_rows(content) and name in before and isinstance(table.get(name), AoT):
            _edit_storeys(table[name], content, before[name])
            continue
        if isinstance(content, Mapping) or _is_rows(content):
            table.pop(name, None)
        _add(table, name, content)


def _edit_row(table: Any, now: Mapping[str, Any], before: Mapping[str, Any]) -> None:
    """Change one of a list of tables; the words above the table that follows it stay there."""
    words = _taken_from_end(table)
    _edit_table(table, now, before)
    _last_of(table).extend(words)


def _last_of(table: Any) -> list[Any]:
    """Return all that stands in the last of the tables inside a table, or in the table itself."""
    body: list[Any] = table.value.body
    for key, item in reversed(body):
        if isinstance(item, (Table, AoT)) and item:
            return _last_of(item[-1] if isinstance(item, AoT) else item)
        if key is not None:
            break
    return body


def _taken_from_end(table: Any) -> list[Any]:
    """Take off the comments below the last key, from the first blank line on where there is one."""
    body = _last_of(table)
    start = len(body)
    while start and body[start - 1][0] is None and not isinstance(body[start - 1][1], (Table, AoT)):
        start -= 1
    blank = (i for i in range(start, len(body)) if isinstance(body[i][1], Whitespace))
    start = next(blank, start)
    words = body[start:]
    del body[start:]
    return words


def _edit_storeys(rows: Any, now: Sequence[Mapping[str, Any]], before: Sequence[Mapping[str, Any]]) -> None:
    """Change tables for ranges of storeys, each in its place; the text need not have them in order."""
    places = sorted(range(len(rows)), key=lambda place: list(rows[place]["storeys"]))
    for place, row, was in zip(places, now, before, strict=False):
        _edit_table(rows[place], row, was)
    for row in now[len(before) :]:
        rows.append(_table(row))
    for place in sorted(places[len(now) :], reverse=True):
        del rows[place]


def _edit_rows(
    document: MutableMapping[str, Any],
    name: str,
    key: str,
    now: Sequence[Mapping[str, Any]],
    before: Sequence[Mapping[str, Any]],
    edit: Callable[[Any, Any, Any], None],
) -> None:
    """Change a list of tables: rows are followed by name, or by place where one is renamed."""
    if now == before:
        return
    if not now or not before:
        document.pop(name, None)
        if now:
            document[name] = _rows(now)
        return
    rows = list(document[name])
    places = _followed([row[key] for row in now], [row[key] for row in before])
    kept: list[Any] = []
    for row, place in zip(now, places, strict=True):
        if place is None:
            kept.append(_table(row))
        else:
            edit(rows[place], row, before[place])
            kept.append(rows[place])
    if places != list(range(len(before))):
        fresh = tomlkit.aot()
        for row in kept:
            fresh.append(row)
        document[name] = fresh


def _followed(now: Sequence[str], before: Sequence[str]) -> list[int | None]:
    """Return for each present name the place it had before, None for a new one."""
    places: list[int | None] = [before.index(name) if name in before else None for name in now]
    if len(now) == len(before):
        renamed = [i for i, place in enumerate(places) if place is None and before[i] not in now]
        for i in renamed:
            places[i] = i
    return places


def _edit_settings(document: MutableMapping[str, Any], now: Overrides, before: Overrides) -> None:
    """Change the settings for every method, wherever the text has them."""
    new, old = dict(now), dict(before)
    for key in old.keys() - new.keys():
        _forget(document, key)
    for key, setting in new.items():
        if old.get(key) != setting and not _reset(document, key, setting):
            section, _dot, rest = key.partition(".")
            home, name = (section, rest) if section in SETTING_TABLES else ("overrides", key)
            if home not in document:
                document[home] = tomlkit.table()
            document[home][name] = _setting(setting)


def _setting(setting: tuple[float, str]) -> Any:
    value, why = setting
    number = int(value) if value.is_integer() and abs(value) < 1e15 else value
    return _value({"value": number, "why": why} if why else number)


def _homes(document: MutableMapping[str, Any], key: str) -> Iterator[tuple[MutableMapping[str, Any], str]]:
    """Yield the tables a setting may stand in, and what is left of its key there."""
    section, _dot, rest = key.partition(".")
    if section in SETTING_TABLES and section in document:
        yield document[section], rest
    if "overrides" in document:
        yield document["overrides"], key


def _found(table: MutableMapping[str, Any], key: str) -> tuple[MutableMapping[str, Any], str] | None:
    """Return the innermost table that holds a key written whole, dotted or nested, and its last name."""
    if key in table:
        return table, key
    for name, item in table.items():
        if isinstance(item, MutableMapping) and key.startswith(f"{name}."):
            found = _found(item, key[len(name) + 1 :])
            if found is not None:
                return found
    return None


def _reset(document: MutableMapping[str, Any], key: str, setting: tuple[float, str]) -> bool:
    for home, rest in _homes(document, key):
        found = _found(home, rest)
        if found is not None:
            table, name = found
            table[name] = _setting(setting)
            return True
    return False


def _forget(document: MutableMapping[str, Any], key: str) -> None:
    for home, rest in _homes(document, key):
        found = _found(home, rest)
        if found is not None:
            del found[0][found[1]]


# ---------------------------------------------------------------------------------------------
# Methods


def _edit_methods(
    document: MutableMapping[str, Any], now: Sequence[Method], before: Sequence[Method]
) -> None:
    """Change the methods one by one, each in the words it was written in."""
    if now == before:
        return
    if "methods" not in document:
        _replace_methods(document, now, before)
        return
    library = read_library()
    new = {method.id: method for method in now}
    old = {method.id: method for method in before}

    def edit(table: Any, row: Mapping[str, Any], was: Mapping[str, Any]) -> None:
        _edit_method(table, new[row["id"]], old[was["id"]])

    tables = [[method_table(method, library) for method in methods] for methods in (now, before)]
    _edit_rows(document, "methods", "id", tables[0], tables[1], edit)


def _edit_method(table: MutableMapping[str, Any], now: Method, before: Method) -> None:
    if now.id != before.id:
        table["id"] = now.id
    if now.label != before.label:
        table["label"] = now.label
    if now.like != before.like:
        table["like"] = now.like
    same = dict(before.options) if before.like == now.like else {}
    changed = {element: option for element, option in now.options if same.get(element) != option}
    if changed and "options" not in table:
        table["options"] = tomlkit.inline_table()
    for element, option in changed.items():
        table["options"][element] = option
    own = {"overrides": table.get("overrides", {})}
    new, old = dict(now.overrides), dict(before.overrides)
    for key in old.keys() - new.keys():
        _forget(own, key)
    for key, setting in new.items():
        if old.get(key) != setting and not _reset(own, key, setting):
            if "overrides" not in table:
                table["overrides"] = tomlkit.table()
            table["overrides"][key] = _setting(setting)


def _replace_methods(
    document: MutableMapping[str, Any], now: Sequence[Method], before: Sequence[Method]
) -> None:
    """Write all methods afresh, each like a ready one; comments inside them are lost."""
    if now != before:
        document.pop("methods", None)
        document["methods"] = _rows([method_table(method, read_library()) for method in now])
