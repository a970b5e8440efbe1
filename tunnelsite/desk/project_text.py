"""Changes in the text of a project file that leave the user's comments and order as they are (tomlkit)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array

from tunnelsite.core.errors import UsageError
from tunnelsite.settings.model import settings_from


def parsed(text: str, file: Path) -> tomlkit.TOMLDocument:
    """The document of a text. Errors: UsageError naming the file where it is no TOML."""
    try:
        return tomlkit.parse(text)
    except (TOMLKitError, ValueError, RecursionError) as problem:
        raise UsageError(
            f"{file}: {problem}", "TOML, each name once", "correct that line; nothing was changed"
        ) from None


def changed(text: str, file: Path, new: Mapping[str, Any], clear: Sequence[str] = ()) -> str:
    """The text with settings changed and others taken out.

    Arguments: text; file, for messages; new, settings by name, a table's entries one by one (`None` takes one out); clear, names to
    take out, `table.entry` for one entry.
    Errors: UsageError for a setting that is not known or cannot be so.
    """
    document = parsed(text, file)
    for name in clear:
        table, _, key = name.partition(".")
        if not key:
            document.pop(name, None)
        elif table in document:
            _put(document, table, {key: None})
    for name, value in new.items():
        _put(document, name, value)
    settings_from(document.unwrap())
    return tomlkit.dumps(document)


def _put(holder: Any, name: str, value: Any) -> None:
    old = holder.get(name)
    if value is None:
        holder.pop(name, None)
    elif isinstance(value, Mapping):
        if not isinstance(old, Mapping):
            holder[name] = tomlkit.table()
        for key, item in value.items():
            _put(holder[name], key, item)
        if not holder[name]:
            holder.pop(name)
    elif isinstance(value, list) and isinstance(old, Array):
        _put_entries(old, value)
    elif old != value:
        holder[name] = value


def _put_entries(array: Array, wanted: list[Any]) -> None:
    """Take out and append, so that what stays keeps its comment."""
    for at in reversed(range(len(array))):
        if array[at] not in wanted:
            del array[at]
    for value in wanted:
        if value not in array:
            array.append(value)
    if list(array) != wanted:  # another order
        array.clear()
        array.extend(wanted)
