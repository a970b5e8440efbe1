"""What is there once the ground was read."""

from __future__ import annotations

from typing import TypeVar

from tunnelsite.core.errors import UsageError

Held = TypeVar("Held")


def held(one: Held | None) -> Held:
    """What is held. Errors: UsageError where nothing was read yet."""
    if one is None:
        raise UsageError("the ground was not read yet", "a map", "give a terrain model under Ground, and wait a moment")
    return one
