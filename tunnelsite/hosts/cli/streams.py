"""Standard output and standard error as a command finds them: closed, full, or read by a program that ends early."""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Callable
from typing import Any, TextIO

from tunnelsite.core.errors import OutputFailed
from tunnelsite.core.shown import one_line, one_lined, visible


class Answers:
    """Standard output for what a command answers: where it cannot be written, that is an error as for any other output.

    Errors of `write` and `flush`: OutputFailed; BrokenPipeError where the reader went away.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """As of any text stream; what steers a terminal is shown, not sent."""
        return int(self._tried(self._stream.write, visible(text)))

    def flush(self) -> None:
        """As of any text stream."""
        self._tried(self._stream.flush)

    def _tried(self, call: Callable[..., Any], *arguments: str) -> Any:
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


def say(*lines: str) -> None:
    """Show lines on standard output. What a name from data holds stays on its line."""
    sys.stdout.write("".join(f"{one_line(line)}\n" for line in lines))
    sys.stdout.flush()


def prompt(text: str) -> None:
    """A question on standard output, on one line that the answer ends."""
    sys.stdout.write(one_line(text))
    sys.stdout.flush()


def answer(found: Any, words: Callable[[Any], str], *, as_json: bool) -> None:
    """Show what a command has found on standard output.

    Arguments: found, values that JSON can hold, or for people only; words, which makes lines for people of it; as_json.
    """
    if as_json:
        say(*json.dumps(found, indent=2, allow_nan=False).split("\n"))
    else:
        say(*words(one_lined(found)).split("\n"))


def tell(*lines: str) -> None:
    """Show lines on standard error. A run must not end because its progress is not read."""
    steer("".join(f"{one_line(line)}\n" for line in lines))


def steer(text: str) -> None:
    """Send the program's own words to standard error, with what steers a terminal in them."""
    with contextlib.suppress(OSError):
        sys.stderr.write(text)
        sys.stderr.flush()
