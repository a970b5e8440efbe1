"""Words from data on their way to a terminal."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.core.shown import one_line, one_lined, visible


@dataclass(frozen=True)
class Found:
    name: str
    inside: tuple[str, ...]


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("\x1b[2J", "\\x1b[2J"),
        ("a\nb\r\tc", "a\\nb\\r\\tc"),
        ("\u202ereversed\u2066", "\\u202ereversed\\u2066"),
        ("\x9b31m", "\\x9b31m"),
        ("a\u2028b", "a\\u2028b"),
        ("Äcker Ж 田 می\u200cخواهم", "Äcker Ж 田 می\u200cخواهم"),
        ("\udcff", "\\udcff"),
    ],
)
def test_what_steers_a_terminal_is_shown(given: str, shown: str) -> None:
    assert one_line(given) == shown


@given(st.text())
def test_any_text_is_one_line_and_stays_so(text: str) -> None:
    line = one_line(text)
    assert len(f"{line}.".splitlines()) == 1 and one_line(line) == line
    assert visible(text).count("\n") == text.count("\n")


def test_values_however_deep() -> None:
    found = one_lined({"a\n": [("b\n", 1.5), None], "c": Found("d\n", ("e\n",))})
    assert found == {"a\\n": [("b\\n", 1.5), None], "c": Found("d\\n", ("e\\n",))}
