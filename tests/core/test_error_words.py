"""An error reads as sentences, whatever marks its parts end with."""

from __future__ import annotations

import pytest

from tunnelsite.core.errors import TunnelsiteError


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        (("x is 3",), "x is 3."),
        (("is x in feet?", "a unit", "say --unit ft."), "is x in feet? Expected: a unit. Fix: say --unit ft."),
        (("x is 3", "", "is it 4?"), "x is 3. Fix: is it 4?"),
        (("x is 3 ...", "4"), "x is 3. Expected: 4."),
    ],
)
def test_parts_are_sentences(parts, words):
    assert str(TunnelsiteError(*parts)) == words
