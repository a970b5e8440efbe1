"""What a house without a score waits for, in every state of a desk."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from tunnelsite.desk.no_score import tap_words, what_to_do


@pytest.mark.parametrize(
    ("answer", "stale", "busy", "ended", "told"),
    [
        (None, False, False, None, "find places first"),
        (None, False, True, "running", "wait for the search that is going on"),
        ({}, False, True, "running", "wait for the search that is going on"),
        ({}, False, False, None, "wait a moment until the kept answer is measured again"),
        ({}, False, False, "waiting", "wait a moment until the kept answer is measured again"),
        ({}, True, False, None, "find places again, since the project was changed"),
        ({}, False, False, "failed", "find places again"),
        ({}, False, False, "cancelled", "find places again"),
    ],
)
def test_it_says_what_brings_the_score(answer, stale, busy, ended, told) -> None:
    progress = None if ended is None else SimpleNamespace(state=ended)
    desk = SimpleNamespace(answer=answer, stale=stale, runner=SimpleNamespace(busy=busy, progress=progress))
    assert what_to_do(desk) == told
    assert tap_words(desk).lower().startswith(f"{told}: then a click")
