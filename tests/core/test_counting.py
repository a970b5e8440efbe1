"""Numbers of things in words."""

from __future__ import annotations

import pytest

from tunnelsite.core.counting import time_words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.0, "1 s"),
        (45.4, "45 s"),
        (119.4, "119 s"),
        (119.6, "2 min"),
        (7100.0, "118 min"),
        (7200.0, "2 h"),
        (9000.0, "2.5 h"),
        (72_100.0, "20 h"),
        (5e6, "1,389 h"),
    ],
)
def test_a_time_has_the_unit_that_a_person_would_use(seconds: float, words: str) -> None:
    assert time_words(seconds) == words
