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


def time_words(seconds: float) -> str:
    """A time in the unit that a person would use: `45 s`, `12 min`, `2 h`, `3.4 h`; what is shorter than a second is one."""
    if seconds < 119.5:
        return f"{max(seconds, 1.0):.0f} s"
    if seconds < 119.5 * 60:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h".replace(".0 h", " h") if seconds < 99.5 * 3600 else f"{seconds / 3600:,.0f} h"
