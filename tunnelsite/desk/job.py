"""One piece of work at a time in a process of its own: progress to every page, ended at once when the user says so."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from pydantic import BaseModel

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.desk.answers import Conflict, problem_of
from tunnelsite.desk.held import held
from tunnelsite.desk.worker import Worker

if TYPE_CHECKING:
    from tunnelsite.desk.host import Desk

Progress = TypeVar("Progress", bound=BaseModel)


class BackgroundJob(Generic[Progress]):
    """Work of a worker that a user waits for.

    Arguments: desk; event, under which pages hear of it; clear, takes away what ended work left half. Attributes: progress, of the
    work that goes on or ended last; busy, whether one goes on.
    """

    def __init__(self, desk: Desk, event: str, clear: Callable[[], None]) -> None:
        self.desk, self.event, self._clear = desk, event, clear
        self.progress: Progress | None = None
        self._worker: Worker | None = None

    @property
    def busy(self) -> bool:
        """Whether work goes on."""
        return self._worker is not None

    def free(self, what: str) -> None:
        """Errors: Conflict where work goes on."""
        if self.busy:
            raise Conflict(what, "one at a time", "wait for it, or cancel it")

    def start(
        self, progress: Progress, work: tuple[str, dict[str, Any]], done: Callable[[Any], dict[str, Any]]
    ) -> Progress:
        """Begin. Arguments: progress, to begin with; work, method of the worker and what it is given; done, turns what came of it
        into changes of the progress."""
        self.progress, self._worker = progress, self.desk.take_spare()
        self.desk.soon(self._follow(self._worker, work, done))
        return progress

    def cancel(self) -> bool:
        """End it at once. Return: whether there was anything to end."""
        worker, self._worker = self._worker, None
        if worker is None:
            return False
        worker.kill()
        self._clear()
        self._say({"state": "cancelled", "words": "cancelled; nothing was left half done"})
        self.desk.keep_spare()
        self.desk.changed()
        return True

    async def _follow(
        self, worker: Worker, work: tuple[str, dict[str, Any]], done: Callable[[Any], dict[str, Any]]
    ) -> None:
        what, given = work
        try:
            found = await worker.ask(what, self._heard, **given)
            change = done(found) | {"state": "done", "share": 1.0} if self._worker is worker else {}
        except TunnelsiteError as problem:
            said = problem_of(problem)
            change = {"state": "failed", "words": said.words, "problem": said}
            if self._worker is worker:
                self._clear()
        worker.kill()
        if self._worker is worker:
            self._worker = None
            self._say(change)
            self.desk.keep_spare()
            self.desk.changed()

    def _heard(self, message: dict[str, Any]) -> None:
        if self._worker is not None:
            self._say(message)

    def _say(self, change: dict[str, Any]) -> None:
        self.progress = progress = held(self.progress).model_copy(update=change)
        self.desk.events.publish(self.event, progress.model_dump(mode="json"))
