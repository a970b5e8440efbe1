"""Numbers of things in words."""

from __future__ import annotations

from collections.abc import Sequence


def counted(count: int, noun: str, many: str = "") -> str:
    """`1 lamp`, `3 lamps`. Arguments: count; noun; many, its plural where that is not the noun with an s."""
    return f"{count:,} {noun if count == 1 else many or noun + 's'}"


def verb(count: int, one: str, many: str) -> str:
    """The form of a verb after a count: `verb(1, "lies", "lie")`."""
    return one if count == 1 else many


def listed(names: Sequence[str]) -> str:
    """Names in a row: `a`, `a and b`, `a, b and c`. Arguments: names, one or more."""
    *others, last = names
    return f"{', '.join(others)} and {last}" if others else last
