"""What is there once the ground was read."""

from __future__ import annotations

from typing import TypeVar

from tunnelsite.core.errors import UsageError

Held = TypeVar("Held")


class StillReading(UsageError):
    """The land is on its way: what was asked can be answered in a moment."""


def still_reading() -> StillReading:
    """The message while the land is read."""
    return StillReading(
        "the land is still being read", "the whole map", "wait a moment; the numbers follow by themselves"
    )


def held(one: Held | None) -> Held:
    """What is held. Errors: UsageError where nothing was read yet."""
    if one is None:
        raise UsageError("the ground was not read yet", "a map", "give a terrain model under Ground, and wait a moment")
    return one
