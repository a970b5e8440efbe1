"""What is still to be taken away, should the process have to end in the middle of its work.

A command's host sets an `Ending`; code that makes a temporary resource registers it here for as long as
it is there. From Python nothing is set, and then nothing is kept.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from contextvars import ContextVar


class Ending:
    """What an end in the middle has to do and to say.

    Attributes: kept, words on what is kept and how to go on; told, whether they have been printed; status, the exit status of
    a run that was asked to end, else None.
    """

    def __init__(self) -> None:
        self.kept = "every output is whole, new or as it was before; the same command starts again"
        self.told = False
        self.status: int | None = None
        self._undo: list[Callable[[], object]] = []

    @contextlib.contextmanager
    def named(self, undo: Callable[[], object]) -> Iterator[None]:
        """`undo` is called if the process has to end within the block; it may be called from another thread."""
        self._undo.append(undo)
        try:
            yield
        finally:
            self._undo.remove(undo)

    def take_away(self) -> None:
        """Undo what was made, the last first; what cannot be undone is left to the next run, which clears it."""
        for undo in reversed(list(self._undo)):
            with contextlib.suppress(Exception):
                undo()


OF_THIS_RUN: ContextVar[Ending | None] = ContextVar("OF_THIS_RUN", default=None)


def taken_away(undo: Callable[[], object]) -> contextlib.AbstractContextManager[None]:
    """For a `with` block: `undo` takes away what the block has made, should the process have to end within it."""
    ending = OF_THIS_RUN.get()
    return contextlib.nullcontext() if ending is None else ending.named(undo)


def stop_if_told_to() -> None:
    """Errors: KeyboardInterrupt where the run was asked to end and some library turned that into an error of its own."""
    ending = OF_THIS_RUN.get()
    if ending is not None and ending.status is not None:
        raise KeyboardInterrupt


def say_what_is_kept(words: str) -> None:
    """What an interrupted run prints: what is kept, and how to go on."""
    ending = OF_THIS_RUN.get()
    if ending is not None:
        ending.kept = words
