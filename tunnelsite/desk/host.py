"""The desk itself: the project folder, the worker that shows it, and what every page has to know."""

from __future__ import annotations

import asyncio
import contextlib
from datetime import datetime
from typing import Any

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.desk.answers import Missing, problem_of
from tunnelsite.desk.background import Backgrounds
from tunnelsite.desk.events import Events
from tunnelsite.desk.files import file_entries
from tunnelsite.desk.gathers import Gathers
from tunnelsite.desk.held import held, still_reading
from tunnelsite.desk.map_drawing import MapDrawing
from tunnelsite.desk.messages import FileEntry, ModelState, Pin, RunCost, SettingChange, State, View
from tunnelsite.desk.newest import Newest
from tunnelsite.desk.packets import Packets, packet_entries
from tunnelsite.desk.page_words import message_of
from tunnelsite.desk.phone import Phones
from tunnelsite.desk.project import Project
from tunnelsite.desk.runner import Runner
from tunnelsite.desk.runs import OptionsFile, clear_halves, kept_answer, run_entries, run_folder, run_folders
from tunnelsite.desk.sheet import answer_lines, headings, questions
from tunnelsite.desk.worker import Worker, WorkerEnded

SHOWN_S = 0.7  # the pages fetch the bare ground first
REST_S = 0.4  # a drawing goes on: the features are read again when the hand rests


class Desk:
    """One project folder on the desk.

    Attributes: project; events; kept, options.json; version, counts every change that pages have to know of; model, whether the map can
    be asked for; looked, what was found when the data were read; shown, the worker that holds what is on the map; runner; answer, the
    one that is shown, and first_look, one of a coarse grid that stands for it meanwhile; in_hand, the questions of the hand.
    """

    def __init__(self, project: Project) -> None:
        self.project, self.events, self.kept, self.version = project, Events(), OptionsFile(project), 1
        self.model, self.notes = ModelState(state="none"), list[str]()
        self.looked: dict[str, Any] = {}
        self.shown: Worker | None = None
        self.answer: dict[str, Any] | None = None
        self.first_look: dict[str, Any] | None = None
        self.what_if: dict[str, Any] | None = None
        self.what_if_change: SettingChange | None = None
        self.cost: RunCost | None = None
        self.in_hand, self.charts = Newest(), Newest()
        self.runner, self.drawing, self.writing = Runner(self), MapDrawing(project), asyncio.Lock()
        self.packets, self.gathers = Packets(self), Gathers(self)
        self.phones, self.backgrounds = Phones(self), Backgrounds(self)
        self._spare: Worker | None = None
        self._again: asyncio.TimerHandle | None = None
        self._tasks: set[asyncio.Task[Any]] = set()

    async def start(self) -> None:
        """Start the workers and, where there is a project, read it."""
        clear_halves(self.project)
        self.runner.recall()
        self.shown = Worker()
        self.read_drawing()
        if self.project.begun:
            self.show_kept()
            self.look_again()

    def close(self) -> None:
        """End every process and every stream."""
        self.runner.cancel()
        self.packets.job.cancel()
        self.gathers.job.cancel()
        self.phones.stop()
        for worker in (self.shown, self._spare):
            if worker is not None:
                worker.kill()
        self.events.close()

    @property
    def current(self) -> str | None:
        """The run whose answer is shown."""
        return None if self.answer is None else self.answer["run"]

    @property
    def stale(self) -> bool:
        """Whether the project was changed since the answer."""
        return self.current is not None and self.kept.fingerprint_of(self.current) != self.fingerprint

    @property
    def fingerprint(self) -> str:
        """Of the project as it is now."""
        return self.project.fingerprint(self.drawing.features)

    def changed(self) -> None:
        """Tell every page that there is another state."""
        self.version += 1
        self.events.publish("state", {"version": self.version})

    def soon(self, work: Any) -> None:
        """Let something go on by itself."""
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def read_drawing(self) -> None:
        """Read what was drawn before. A file that cannot be read is set aside, never written over."""
        try:
            self.drawing.read()
        except TunnelsiteError as problem:
            aside = self.project.drawn.with_name(f"drawn-{datetime.now():%Y%m%d%H%M%S}.gpkg")
            self.project.drawn.rename(aside)
            self.notes.append(f"{message_of(problem)} It was set aside as {aside.name}.")

    def drawn(self) -> None:
        """Tell every page that something was drawn, and let the hand know of it."""
        self.events.publish("drawn", {"version": self.drawing.version})
        if self._again is not None:
            self._again.cancel()
        self._again = asyncio.get_running_loop().call_later(REST_S, self.refresh)
        self.changed()

    def refresh(self) -> None:
        """Let the worker read the features again, where it holds a map; the first field begins one."""
        if self.model.state == "ready":
            self.soon(self._refresh())
        elif self.model.state in ("none", "failed"):
            self.look_again()

    async def _refresh(self) -> None:
        with contextlib.suppress(TunnelsiteError):  # the next run says what is wrong
            if not await held(self.shown).ask("refresh", folder=str(self.project.folder)):
                self.look_again()
            await self.count_cost()

    async def count_cost(self) -> None:
        """Find out what a run would need now."""
        before, self.cost = self.cost, None
        with contextlib.suppress(TunnelsiteError):  # the run says what is wrong
            self.cost = await held(self.shown).ask("cost", folder=str(self.project.folder))
        if self.cost != before:
            self.changed()

    def take_spare(self) -> Worker:
        """A worker that has started already, where there is one."""
        worker, self._spare = self._spare, None
        return worker if worker is not None and worker.alive else Worker()

    def keep_spare(self) -> None:
        """Start a worker for the next run, so that it does not wait for it."""
        if self._spare is None or not self._spare.alive:
            self._spare = Worker()

    def look_again(self) -> None:
        """Read the project's data for the map, in the worker."""
        self.model = ModelState(state="reading", words="reading the ground")
        self.looked.pop("problem", None)  # what was asked may be answered now
        self.soon(self._look())

    async def _look(self) -> None:
        worker = self.shown
        if worker is None or not worker.alive:
            self.shown = worker = Worker()
        try:
            self.looked = await worker.ask("look", folder=str(self.project.folder))
            self.model = ModelState(state="ready" if self.looked.get("view") else "none")
        except TunnelsiteError as problem:
            self.looked = {"problem": problem_of(problem).model_dump()}
            self.model = ModelState(state="failed", words=message_of(problem))
        self.events.publish("model", self.model.model_dump())
        self.changed()
        await self.count_cost()
        if self.looked.get("more"):
            await asyncio.sleep(SHOWN_S)
            worker = held(self.shown)
            await self._look_more(worker)
            if worker is not self.shown:
                return  # an answer came meanwhile, with a worker of its own
        self.keep_spare()
        if self.model.state == "ready" and self.current is not None and not self.stale and not self.runner.busy:
            self.runner.start(keep=False, run=self.current)  # so that the hand can measure again

    async def say_in_units(self) -> None:
        """Say everything in the units that were chosen; nothing is measured again. Errors: those of the worker."""
        if self.model.state != "ready" or self.looked.get("more") or self.what_if is not None:
            self.look_again()
            return
        took = 0.0 if self.answer is None else self.answer["took_s"]
        found = await held(self.shown).ask("say_in_units", folder=str(self.project.folder), took_s=took)
        self.looked, self.answer = found["looked"], found["answer"] or self.answer
        self.events.publish("model", self.model.model_dump())
        self.events.publish("answer", {"run": self.current, "first_look": False})

    async def _look_more(self, worker: Worker) -> None:
        """Read what takes longer, once the bare ground is on the map."""
        try:
            found = await worker.ask("look_more", folder=str(self.project.folder))
        except TunnelsiteError as problem:
            if worker is self.shown and worker.alive:
                self.looked = self.looked | {"problem": problem_of(problem).model_dump()}
                self.changed()
            return
        if worker is self.shown:
            self.looked = found
            self.events.publish("model", self.model.model_dump())
            self.changed()

    def show(self, worker: Worker, found: dict[str, Any]) -> None:
        """Show what a worker has screened; the one that was shown before ends."""
        if self.shown is not None and self.shown is not worker:
            self.shown.kill()
        self.shown, self.first_look, self.what_if = worker, None, None
        self.answer = found["answer"] or self.answer
        self.looked, self.model = found["looked"], ModelState(state="ready")
        self.keep_spare()
        if found["answer"] is not None:
            self.kept.mark_current(found["answer"]["run"], self.runner.begun_with)
        self.events.publish("model", self.model.model_dump())
        self.events.publish("answer", {"run": self.current, "first_look": False})

    def show_kept(self) -> None:
        """Show the answer that was shown last, or the newest."""
        names = [folder.name for folder in run_folders(self.project)]
        run = self.kept.read().get("current")
        if names:
            try:
                self.answer = kept_answer(self.project, run if run in names else names[0])
            except TunnelsiteError:
                self.answer = None

    def open_run(self, run: str, settings: bool) -> None:
        """Go back to a kept run. Arguments: settings, whether its project file comes back too. Errors: Missing, OutputFailed."""
        folder = run_folder(self.project, run)
        self.answer, self.first_look = kept_answer(self.project, run), None
        self.what_if = self.what_if_change = None
        if settings:
            self.project.restore((folder / "farm.toml").read_text("utf-8"))
            self.kept.mark_current(run, self.kept.fingerprint_of(run) or self.fingerprint)  # drawings do not come back
            self.runner.forget()
            self.look_again()
        else:
            self.kept.change({"current": run})
        self.events.publish("answer", {"run": run, "first_look": False})
        self.changed()

    async def ask(self, what: str, **given: Any) -> Any:
        """Ask the worker that holds the map, or the one that takes its place. Errors: Missing; StillReading; those of the question."""
        if self.shown is None or self.model.state != "ready":
            if self.model.state == "reading":
                raise still_reading()
            raise Missing("there is no map yet", "a terrain model in the folder", "give one under Ground")
        if not self.shown.alive:
            self.look_again()
        asked = self.shown
        try:
            return await asked.ask(what, **given)
        except WorkerEnded:
            if self.shown is asked:
                raise
        return await self.ask(what, **given)

    async def state(self) -> State:
        """Everything the sheet shows."""
        project, view = self.project, self.looked.get("view")
        told = answer_lines(self.answer, self.stale, self.pins(), packet_entries(project))
        return State(
            version=self.version,
            folder=str(project.folder),
            name=project.folder.name,
            begun=project.begun,
            units=project.units,
            hemisphere="south" if self.looked.get("south") else "north",
            view=None if view is None else View(**view),
            headings=headings(project, self.looked, told, self.drawing.kinds),
            questions=questions(self.looked),
            model=self.model,
            run=self.runner.status,
            cost=self.cost,
            current=self.current,
            stale=self.stale,
            runs=run_entries(project),
            pins=self.pins(),
            packets=packet_entries(project),
            packet=self.packets.job.progress,
            phone=self.phones.shown,
            files=self._files(),
            drawn_version=self.drawing.version,
            notes=[*self.notes, *self.looked.get("notes", [])],
        )

    def pins(self) -> list[Pin]:
        """The pinned places, A first."""
        return self.kept.pins()

    def _files(self) -> list[FileEntry]:
        try:
            return file_entries(self.project, self.project.raw())
        except TunnelsiteError:  # a project file that is broken: the headings say so
            return file_entries(self.project, {})
