"""A process of its own that holds a farm in memory and answers questions on it; killed, it leaves nothing half."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import multiprocessing
import sys
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.desk.work import work_on

Told = Callable[[dict[str, Any]], None]


class WorkerEnded(TunnelsiteError):
    """The process ended before it had answered."""


class Worker:
    """Starts at once; its questions are answered one after the other.

    Arguments: none. Errors of the questions come out of `ask` as they were raised, `WorkerEnded` where the process is gone.
    """

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._pipe, theirs = multiprocessing.Pipe()
        self._process: BaseProcess | None = None
        self._numbers = itertools.count()
        self._waiting: dict[int, tuple[asyncio.Future[Any], Told | None]] = {}
        self._ended = False
        threading.Thread(target=self._live, args=(theirs,), daemon=True).start()

    @property
    def alive(self) -> bool:
        """Whether it can be asked."""
        return not self._ended

    async def ask(self, what: str, told: Told | None = None, **given: Any) -> Any:
        """The answer of a method of `tunnelsite.desk.work`. Arguments: what, its name; told, called with what it says meanwhile."""
        if self._ended:
            raise ended()
        number = next(self._numbers)
        future: asyncio.Future[Any] = self._loop.create_future()
        self._waiting[number] = (future, told)
        try:
            self._pipe.send((number, what, given))
        except OSError:
            self._end()
        return await future

    def kill(self) -> None:
        """End it at once; where it is just being started, as soon as it is."""
        self._end()
        if self._process is not None and self._process.is_alive():
            self._process.kill()

    def _live(self, theirs: Connection) -> None:
        """Start the process, which the first one of a desk makes wait, and hear it until it ends."""
        try:
            with theirs:
                self._process = started(theirs)
            if self._ended:
                self._process.kill()
            with contextlib.suppress(EOFError, OSError):
                while True:
                    self._loop.call_soon_threadsafe(self._hear, self._pipe.recv())
        finally:
            with contextlib.suppress(RuntimeError):  # the loop is closed
                self._loop.call_soon_threadsafe(self._end)

    def _hear(self, message: tuple[int, str, Any]) -> None:
        number, kind, value = message
        future, told = self._waiting.get(number, (None, None))
        if kind == "told":
            if told is not None:
                told(value)
            return
        self._waiting.pop(number, None)
        if future is None or future.done():
            return
        if kind == "done":
            future.set_result(value)
        else:
            future.set_exception(value)

    def _end(self) -> None:
        self._ended = True
        for future, _ in self._waiting.values():
            if not future.done():
                future.set_exception(ended())
        self._waiting.clear()


def started(pipe: Connection) -> BaseProcess:
    """A process that answers what comes through the other end of the pipe.

    On Linux it is forked from one that has imported what is needed and computes nothing, which takes a hundredth of a start from
    nothing; elsewhere that is not safe, since macOS's own libraries start threads (Python's documentation of multiprocessing,
    "Contexts and start methods"). Where it cannot be forked, for one below a folder of temporary files with too long a name for
    a socket, it starts from nothing. Errors: OSError.
    """
    if sys.platform == "linux":
        with contextlib.suppress(OSError):
            return _started("forkserver", pipe)
    return _started("spawn", pipe)


def _started(how: str, pipe: Connection) -> BaseProcess:
    context: Any = multiprocessing.get_context(how)
    context.set_forkserver_preload(["tunnelsite.desk.bench"])
    process: BaseProcess = context.Process(target=work_on, args=(pipe,), daemon=True, name="tunnelsite desk worker")
    process.start()
    return process


def ended() -> WorkerEnded:
    """The message where a process is gone."""
    return WorkerEnded(
        "the process that held the farm has ended", "a running process", "try again; what was drawn is safe"
    )
