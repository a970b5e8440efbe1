"""Why a house in the hand has no score yet, and what brings it: a search, or the end of the one that goes on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tunnelsite.core.wording import capital

if TYPE_CHECKING:
    from tunnelsite.desk.host import Desk

TAP = "then a click says why a house is not offered here, or what costs it points. You can try one by hand now."


def what_to_do(desk: Desk) -> str:
    """What a score waits for. A kept answer holds only its numbers; the ground under it is measured again when the desk is opened."""
    ended = desk.runner.progress is not None and desk.runner.progress.state in ("failed", "cancelled")
    if desk.runner.busy:
        return "wait for the search that is going on"
    if desk.answer is None:
        return "find places first"
    if desk.stale:
        return "find places again, since the project was changed"
    return "find places again" if ended else "wait a moment until the kept answer is measured again"


def tap_words(desk: Desk) -> str:
    """The same for a click on the map."""
    return f"{capital(what_to_do(desk))}: {TAP}"
