"""An error reads as sentences, whatever marks its parts end with."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tunnelsite.core.errors import TunnelsiteError, UsageError, refuse_other


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


class Explanation:
    """A kind whose name begins with a vowel."""


@pytest.mark.parametrize(
    ("given", "kinds", "words"),
    [
        (1, (Explanation,), "place is a whole number. Expected: an Explanation."),
        (0.5, (int,), "place is a number. Expected: a whole number."),
        (None, (str,), "place is nothing. Expected: text."),
        ("a", (Explanation, int), "place is text. Expected: an Explanation or a whole number."),
        ((1, 2), (Explanation, str, os.PathLike), "place is a list. Expected: an Explanation or a path."),
        (Path("a"), (str,), "place is a path. Expected: text."),
        (Explanation(), (bool,), "place is an Explanation. Expected: yes or no."),
    ],
)
def test_types_are_named_in_plain_english(given, kinds, words):
    with pytest.raises(UsageError) as refused:
        refuse_other(given, "place", *kinds)
    assert str(refused.value).startswith(words)
