"""Standard output and standard error as a command finds them: closed, full, or read by somebody who goes away."""

from __future__ import annotations

import contextlib
import os
import sys
from typing import Any, TextIO

from tunnelsite.core.errors import OutputFailed


class Answers:
    """Standard output for what a command answers: where it cannot be written, that is told as of any other output.

    Errors of `write` and `flush`: OutputFailed; BrokenPipeError where the reader went away.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """As of any text stream."""
        return self._tried(self._stream.write, text)

    def flush(self) -> None:
        """As of any text stream."""
        self._tried(self._stream.flush)

    def _tried(self, call, *arguments):
        try:
            return call(*arguments)
        except OSError as problem:
            with contextlib.suppress(OSError, ValueError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), self._stream.fileno())  # else it is tried again at the end
            if isinstance(problem, BrokenPipeError):
                raise
            raise OutputFailed(
                f"the answer cannot be written to standard output ({problem.strerror})",
                "a place with room for it",
                "send it elsewhere; files that this run has written are whole",
            ) from None


def ready_streams() -> None:
    """Standard streams that are there and take every letter: a name that the terminal's encoding lacks is shown escaped."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:  # closed by who started this: the next file opened would be taken for it, and be written into
            os.open(os.devnull, os.O_RDWR)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115 (open as long as the program runs)
        elif hasattr(getattr(sys, name), "reconfigure"):
            getattr(sys, name).reconfigure(errors="backslashreplace")


def tell(text: str) -> None:
    """Show words on standard error. A run must not end because nobody reads how far it is."""
    with contextlib.suppress(OSError):
        sys.stderr.write(text)
        sys.stderr.flush()
