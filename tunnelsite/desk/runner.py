"""One run at a time, in a process of its own: progress to every page, cancelled at once, nothing half left."""

from __future__ import annotations

import contextlib
import shutil
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from tunnelsite.core.errors import OutputFailed, TunnelsiteError
from tunnelsite.desk.answers import Conflict, problem_of
from tunnelsite.desk.messages import RunProgress
from tunnelsite.desk.runs import new_run_id, when
from tunnelsite.desk.worker import Worker
from tunnelsite.io.write.whole_folder import half_of

if TYPE_CHECKING:
    from tunnelsite.desk.host import Desk

LAST_RUN = "last_run"  # in options.json


class Runner:
    """Starts, follows and ends runs of a desk.

    Attributes: progress, of the run that goes on or ended last; worker, its process, None where none goes on; failed, the last run of
    the user's where it failed, kept in options.json until the next one.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.worker: Worker | None = None
        self.progress: RunProgress | None = None
        self.failed: RunProgress | None = None
        self.begun_with = ""  # the project's fingerprint: what is changed during a run is not in its answer
        self._quiet = False  # measuring again what is kept already is no run for the user

    @property
    def busy(self) -> bool:
        """Whether a run of the user's goes on."""
        return self.worker is not None and not self._quiet

    def start(self, keep: bool = True, run: str | None = None) -> RunProgress:
        """Start a run. Arguments: keep, whether it is written; run, the id of a kept one that is only measured again.

        Errors: Conflict where one goes on; UsageError for settings that cannot be run.
        """
        desk = self.desk
        if self.busy:
            raise Conflict("a run goes on", "one run at a time", "wait for it, or cancel it")
        if self.worker is not None:
            self.cancel()
        if keep:
            desk.project.settings()
        self._quiet, self.begun_with = not keep, desk.fingerprint
        self.worker = worker = desk.take_spare()
        name = run or new_run_id(desk.project)
        self.progress = RunProgress(id=name, state="waiting", words="starting")
        desk.soon(self._follow(worker, self.progress, keep))
        if keep:
            self._keep(self.progress)
            self._say(self.progress)
        return self.progress

    @property
    def status(self) -> RunProgress | None:
        """What a page has to know when it is opened: the run that goes on, or how the last one failed."""
        return self.progress if self.busy else self.failed

    def recall(self) -> None:
        """How the last run failed, as an earlier desk kept it; one that went on when that desk ended has failed too."""
        with contextlib.suppress(ValidationError):
            last = RunProgress(**self.desk.kept.read().get(LAST_RUN) or {})
            cut_off = TunnelsiteError(
                "the desk ended in the middle of it", "", "find places again; what was drawn is safe"
            )
            self.failed = last if last.state == "failed" else _failed(last, cut_off)

    def forget(self) -> None:
        """Let go of how the last run failed: its settings are not those of the project any more."""
        self._keep(None)

    def _keep(self, progress: RunProgress | None) -> None:
        """Keep what the last run came to, so that it can be told after a reload."""
        self.failed = progress if progress is not None and progress.state == "failed" else None
        with contextlib.suppress(OutputFailed):  # a full disk must not hide why a run failed
            self.desk.kept.change({LAST_RUN: None if progress is None else progress.model_dump(mode="json")})

    def cancel(self) -> bool:
        """End the run at once. Return: whether one went on."""
        worker, self.worker = self.worker, None
        if worker is None:
            return False
        worker.kill()
        if self.progress is not None:
            shutil.rmtree(half_of(self.desk.project.runs / self.progress.id), ignore_errors=True)
            with contextlib.suppress(OSError):
                self.desk.project.runs.rmdir()  # where it holds nothing
            self.progress = self.progress.model_copy(
                update={"state": "cancelled", "words": "cancelled; nothing was kept of it"}
            )
            if not self._quiet:
                self._keep(None)
                self._say(self.progress)
                self.desk.changed()
        return True

    async def _follow(self, worker: Worker, progress: RunProgress, keep: bool) -> None:
        desk = self.desk
        try:
            found = await worker.ask("screen", self._heard, folder=str(desk.project.folder), run=progress.id, keep=keep)
        except TunnelsiteError as problem:
            worker.kill()
            if self.worker is worker:
                self.worker = None
                self._fail(progress, problem)
            return
        if self.worker is not worker:  # cancelled in the last moment
            return
        self.worker = None
        desk.show(worker, found)
        if keep:
            self._keep(None)
            self.progress = RunProgress(id=progress.id, state="done", share=1.0)
            self._say(self.progress)
        desk.changed()

    def _fail(self, progress: RunProgress, problem: TunnelsiteError) -> None:
        self.progress = _failed(progress, problem)
        shutil.rmtree(half_of(self.desk.project.runs / progress.id), ignore_errors=True)
        if not self._quiet:
            self._keep(self.progress)
            self._say(self.progress)
        self.desk.changed()

    def _heard(self, message: dict[str, Any]) -> None:
        if self.progress is None or message["id"] != self.progress.id or self._quiet or self.worker is None:
            return
        answer = message.pop("answer", None)
        if answer is not None:
            self.desk.first_look = answer
            self._say(self.progress.model_copy(update={"state": "first_look", "words": answer["first_look_words"]}))
            self.desk.events.publish("answer", {"run": self.progress.id, "first_look": True})
            return
        self.progress = RunProgress(**message)
        self._say(self.progress)

    def _say(self, progress: RunProgress) -> None:
        self.desk.events.publish("run", progress.model_dump(mode="json"))


def _failed(progress: RunProgress, problem: TunnelsiteError) -> RunProgress:
    told = problem_of(problem)
    words = f"The run of {when(progress.id)} failed: {told.words}"
    return progress.model_copy(update={"state": "failed", "words": words, "problem": told})
