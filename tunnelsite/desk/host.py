"""The desk itself: the project folder, the worker that shows it, and what every page has to know."""

from __future__ import annotations

import asyncio
from typing import Any

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.desk.answers import Missing, problem_of
from tunnelsite.desk.events import Events
from tunnelsite.desk.messages import ModelState, RunProgress, State, View
from tunnelsite.desk.project import Project
from tunnelsite.desk.sheet import headings, questions
from tunnelsite.desk.worker import Worker


class Desk:
    """One project folder on the desk.

    Attributes: project; events; version, counts every change that pages have to know of; model, whether the map can be asked for;
    looked, what was found when the data were read; shown, the worker that holds what is on the map.
    """

    def __init__(self, project: Project) -> None:
        self.project, self.events, self.version = project, Events(), 1
        self.model, self.looked = ModelState(state="none"), {}
        self.shown: Worker | None = None
        self.run: RunProgress | None = None
        self._tasks: set[asyncio.Task] = set()

    async def start(self) -> None:
        """Start the worker and, where there is a project, read it."""
        self.shown = Worker()
        if self.project.begun:
            self.look_again()

    def close(self) -> None:
        """End every process and every stream."""
        for worker in [self.shown]:
            if worker is not None:
                worker.kill()
        self.events.close()

    def changed(self) -> None:
        """Tell every page that there is another state."""
        self.version += 1
        self.events.publish("state", {"version": self.version})

    def soon(self, work: Any) -> None:
        """Let something go on by itself."""
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def look_again(self) -> None:
        """Read the project's data for the map, in the worker."""
        self.model = ModelState(state="reading", words="reading the ground")
        self.soon(self._look())

    async def _look(self) -> None:
        try:
            self.looked = await self.shown.ask("look", folder=str(self.project.folder))
            self.model = ModelState(
                state="ready" if self.looked.get("view") else "none", words=self.looked.get("words", "")
            )
        except TunnelsiteError as problem:
            self.looked = {"problem": problem_of(problem).model_dump()}
            self.model = ModelState(state="failed", words=str(problem))
        self.events.publish("model", self.model.model_dump())
        self.changed()

    async def ask(self, what: str, **given: Any) -> Any:
        """Ask the worker that holds what is on the map. Errors: Missing where there is none yet; those of the question."""
        if self.shown is None or self.model.state != "ready":
            raise Missing("there is no map yet", "a terrain model in the folder", "give one under Ground")
        return await self.shown.ask(what, **given)

    async def state(self) -> State:
        """Everything the sheet shows."""
        project = self.project
        view = self.looked.get("view")
        return State(
            version=self.version,
            folder=str(project.folder),
            name=project.folder.name,
            begun=project.begun,
            units=project.units,
            view=None if view is None else View(**view),
            headings=headings(project, self.looked, {}),
            questions=questions(self.looked),
            model=self.model,
            run=self.run,
        )
