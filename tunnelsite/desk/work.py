"""The worker's own side: holds one farm (`Bench`), answers question after question, ends with the desk that started it."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any


def work_on(pipe: Connection) -> None:
    """Answer what comes through the pipe until it is closed."""
    threading.Thread(target=_end_with_the_desk, daemon=True).start()
    _quiet_interrupts()
    from tunnelsite.core.errors import TunnelsiteError
    from tunnelsite.desk.bench import Bench

    bench = Bench()
    while True:
        try:
            number, what, given = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            value = (
                getattr(bench, what)(**given, told=_teller(pipe, number))
                if what in Bench.TELLING
                else getattr(bench, what)(**given)
            )
            answer = (number, "done", value)
        except TunnelsiteError as problem:
            answer = (number, "failed", problem)
        except MemoryError:
            from tunnelsite.core.errors import ResourceShortage

            answer = (
                number,
                "failed",
                ResourceShortage("the memory ran out", "room for the farm's arrays", "choose a coarser cell"),
            )
        except Exception as problem:
            answer = (
                number,
                "failed",
                TunnelsiteError(f"the desk met a fault of its own: {type(problem).__name__}: {problem}"),
            )
        pipe.send(answer)


def _teller(pipe: Connection, number: int) -> Callable[[dict[str, Any]], None]:
    return lambda value: pipe.send((number, "told", value))


def _end_with_the_desk() -> None:
    """End when the desk was killed: it could not say so. It need not be what this process was forked from."""
    desk = multiprocessing.parent_process()
    if desk is not None:
        desk.join()
        os._exit(1)


def _quiet_interrupts() -> None:
    """Ctrl+C in the terminal is for the desk, which then ends this process."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
