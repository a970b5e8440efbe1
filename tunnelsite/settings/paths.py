"""Where settings name files, and the same settings with these paths seen from another folder."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from tunnelsite.settings.field import path_keys
from tunnelsite.settings.fields import ScreeningFields
from tunnelsite.settings.kinds import File, Output

PATH_KEYS = path_keys(ScreeningFields, File) + path_keys(ScreeningFields, Output)
TABLES = ("service", "layer")
_ENDING = re.compile(r"(?<=.)[#@][^/\\#@]*\Z")  # a layer of the file, a distance or a unit


def anchored(given: Mapping[str, Any], folder: Path) -> dict[str, Any]:
    """The settings of a project file with its paths seen from where it lies, wherever the command is run.

    Of the parameters of criteria, which are texts of any kind, those are paths that name a file or folder there.
    """

    def anchor(text: str) -> str:
        return str(folder / text)

    def anchor_existing(text: str) -> str:
        return anchor(text) if _there(folder, text) else text

    return with_paths(given, anchor, anchor_existing)


def relative(given: Mapping[str, Any], folder: Path) -> dict[str, Any]:
    """The settings with their paths as they are seen from a folder; on another drive they stay whole."""
    top = os.path.abspath(folder)

    def seen(text: str) -> str:
        try:
            return Path(os.path.relpath(os.path.abspath(text), top)).as_posix()
        except ValueError:  # another drive
            return os.path.abspath(text)

    def seen_existing(text: str) -> str:
        return seen(text) if _there(Path(), text) else text

    return with_paths(given, seen, seen_existing)


def files_of(given: Mapping[str, Any]) -> list[str]:
    """Every file that the settings name, without distances, units and layers; of the parameters those that are there."""
    found: list[str] = []

    def keep(text: str) -> str:
        found.append(_file_of(Path(), text) or _shorter(text))
        return text

    def keep_existing(text: str) -> str:
        return keep(text) if _there(Path(), text) else text

    with_paths(given, keep, keep_existing)
    return list(dict.fromkeys(found))


def with_paths(
    given: Mapping[str, Any], change: Callable[[str], str], change_existing: Callable[[str], str]
) -> dict[str, Any]:
    """The settings with every path changed. Arguments: given; change, for paths; change_existing, for texts that may be one."""
    result = {name: change(value) if name in PATH_KEYS and value else value for name, value in given.items()}
    for table in TABLES:
        if table in given:
            result[table] = {name: change(value) for name, value in given[table].items()}
    if "keep_out" in given:
        keep_outs = given["keep_out"]
        result["keep_out"] = [change(value) for value in (keep_outs if isinstance(keep_outs, list) else [keep_outs])]
    if "parameter" in given:
        result["parameter"] = _texts_changed(given["parameter"], change_existing)
    return result


def _texts_changed(value: Any, change: Callable[[str], str]) -> Any:
    """The same texts, tables and lists with each text changed; a list of files may stand in one text, with commas."""
    if isinstance(value, str):
        parts = re.sub(r"[^,;\s][^,;]*", lambda part: change(part[0]), value)
        return parts if parts != value else change(value)
    if isinstance(value, Mapping):
        return {name: _texts_changed(one, change) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_texts_changed(one, change) for one in value]
    return value


def _there(folder: Path, text: str) -> bool:
    """Whether a text names a file, or a folder by more than a plain word."""
    file = _file_of(folder, text)
    return file is not None and ((folder / file).is_file() or bool(re.search(r"[/\\]", file)))


def _file_of(folder: Path, text: str) -> str | None:
    """The part of a text that names a file or folder that is there: all of it, or what stands before a layer, distance or unit."""
    while text and "\0" not in text:
        try:
            if (folder / text).exists():
                return text
        except OSError:  # longer than a name can be
            return None
        if text == _shorter(text):
            return None
        text = _shorter(text)
    return None


def _shorter(text: str) -> str:
    return _ENDING.sub("", text)
