"""Words from data on their way to a terminal: file, parcel and service names come from others."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

_JOINERS = "\u200c\u200d"  # invisible, but part of the spelling in several scripts


def one_line(text: str) -> str:
    """`text` on one line: control characters, line breaks, codes that turn the direction of reading, and what is no letter of
    any alphabet are shown escaped, as `\\x1b`."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() or letter in _JOINERS else repr(letter)[1:-1] for letter in text)


def visible(text: str) -> str:
    """As `one_line`, but for the line breaks of the text itself."""
    return "\n".join(map(one_line, text.split("\n")))


def one_lined(value: Any) -> Any:
    """A value with every text in it on one line: in mappings, lists, tuples and dataclasses, however deep."""
    if isinstance(value, str):
        return one_line(value)
    if isinstance(value, Mapping):
        return {one_lined(name): one_lined(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return type(value)(map(one_lined, value))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        found = {part.name: one_lined(getattr(value, part.name)) for part in dataclasses.fields(value) if part.init}
        return dataclasses.replace(value, **found)
    return value
