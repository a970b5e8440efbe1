"""Ctrl-C, and being asked to end by the system: within 3 s, whatever the run is doing.

Python hands a signal on between two of its own steps, and a kernel on a large grid is one step that can take minutes. So the
signal itself wakes a thread (`signal.set_wakeup_fd`), for which every kernel lets go of the interpreter. It gives the run
GRACE_S to end in the usual way, by an exception that every `with` answers; then it takes away what is unfinished and ends
the process itself. The work stays in the main thread: not all of numba's threading layers may be used from several at once.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import sys
import threading
import time
from collections.abc import Callable
from types import FrameType
from typing import NoReturn

from tunnelsite.core.ending import Ending

NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")  # each where the system has it
GRACE_S = 1.5
CLEARING_S = 1.0  # at most; what then is left is cleared by the next run
STDERR = 2


def listen(ending: Ending) -> Callable[[], None]:
    """From now on a signal ends this process, which runs one command; one that is ignored, as under `nohup`, stays ignored.

    Arguments: ending, what then has to be done. Return: what to call when the command has ended, after which no signal
    breaks into what Python still has to do.
    """
    if threading.current_thread() is not threading.main_thread():  # handlers belong to the main thread
        return lambda: None
    usual = (signal.SIG_DFL, signal.default_int_handler)
    numbers = [getattr(signal, name) for name in NAMES if hasattr(signal, name)]
    numbers = [number for number in numbers if signal.getsignal(number) in usual]
    heard, wake = os.pipe()
    if hasattr(os, "set_blocking"):  # Windows before Python 3.12 has none and wants none
        os.set_blocking(wake, False)
    signal.set_wakeup_fd(wake, warn_on_full_buffer=False)
    threading.Thread(target=_watch, args=(heard, frozenset(numbers), ending), name="signals", daemon=True).start()

    def settle() -> None:
        for number in numbers:
            signal.signal(number, _heard_already)

    def interrupt(number: int, frame: FrameType | None) -> None:
        settle()  # a second signal must not break off the clearing up
        ending.status = 128 + number  # as shells have it
        raise KeyboardInterrupt

    for number in numbers:
        signal.signal(number, interrupt)
    return settle


def words(ending: Ending) -> str:
    """The last line of an interrupted run."""
    new_line = "\n" if os.isatty(STDERR) else ""  # after the line of progress
    return f"{new_line}tunnelsite: interrupted; {ending.kept}."


def leave(ending: Ending) -> NoReturn:
    """Say the last word and end the process. What Python does at its own end is left out: it may take as long as any kernel,
    and what libraries print when they are broken off is of no use."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError):
            stream.flush()
    _say(ending)
    os._exit(128 + signal.SIGINT if ending.status is None else ending.status)


def _watch(heard: int, numbers: frozenset[int], ending: Ending) -> None:
    number = 0
    while number not in numbers:
        number = os.read(heard, 1)[0]
    time.sleep(GRACE_S)
    try:
        clearing = threading.Thread(target=ending.take_away, daemon=True)
        clearing.start()
        clearing.join(CLEARING_S)
        _say(ending)
    finally:
        os._exit(128 + number)


def _say(ending: Ending) -> None:
    """Once, not through sys.stderr, which the main thread may be holding, nor where the stream is closed."""
    if ending.told:
        return
    ending.told = True
    with contextlib.suppress(OSError):  # the terminal may be gone
        if os.name != "posix" or select.select([], [STDERR], [], 0)[1]:
            os.write(STDERR, f"{words(ending)}\n".encode(errors="backslashreplace"))


def _heard_already(number: int, frame: FrameType | None) -> None:
    """A handler, so that the thread is still woken by what comes after the end of the command."""
