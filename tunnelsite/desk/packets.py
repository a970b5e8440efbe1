"""Packets: written one at a time in a process of its own, listed, and served from the folder."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.desk.answers import Conflict, Missing, problem_of
from tunnelsite.desk.messages import PacketEntry, PacketFile, PacketProgress
from tunnelsite.desk.project import PACKET, RUNS, Project
from tunnelsite.desk.runs import FORM
from tunnelsite.desk.worker import Worker
from tunnelsite.io.write.whole_folder import half_of

if TYPE_CHECKING:
    from tunnelsite.desk.host import Desk

MOST_LISTED = 20
TITLES = {
    "index.html": "First page",
    "report.html": "Report",
    "options.gpkg": "Places (GeoPackage)",
    "farm.toml": "Settings",
}


class Packets:
    """Writes packets of a desk. Attributes: progress, of the one that goes on or ended last."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.progress = desk, None
        self._worker: Worker | None = None

    def start(self, letters: Sequence[str]) -> PacketProgress:
        """Start a packet. Errors: Conflict where one goes on or there is no kept run; Missing for a letter without a pin."""
        desk = self.desk
        if self._worker is not None:
            raise Conflict("a packet is being written", "one at a time", "wait for it, or cancel it")
        if desk.current is None:
            raise Conflict("there is no kept answer to write of", "a finished run", "find places first")
        pins = {pin.letter: pin.model_dump(mode="json") for pin in desk.pins()}
        missing = [letter for letter in letters if letter not in pins]
        if missing:
            raise Missing(f"nothing is pinned as {', '.join(missing)}", "pinned places", "pin them first")
        name = f"{datetime.now():%Y-%m-%d_%H%M%S}"
        self.progress = PacketProgress(state="running", words="starting", folder=f"{PACKET}/{name}")
        self._worker = desk.take_spare()
        desk.soon(self._follow(self._worker, name, [pins[letter] for letter in sorted(set(letters))]))
        return self.progress

    def cancel(self) -> bool:
        """End the packet at once; nothing of it is left. Return: whether one was being written."""
        worker, self._worker = self._worker, None
        if worker is None:
            return False
        worker.kill()
        self._clear()
        self._say(self.progress.model_copy(update={"state": "cancelled", "words": "cancelled; nothing was kept of it"}))
        self.desk.changed()
        return True

    async def _follow(self, worker: Worker, name: str, pins: list[dict[str, Any]]) -> None:
        given = {"folder": str(self.desk.project.folder), "run": self.desk.current, "pins": pins, "name": name}
        try:
            await worker.ask("packet", self._heard, **given)
        except TunnelsiteError as problem:
            if self._worker is worker:
                told = problem_of(problem)
                self._clear()
                self._say(self.progress.model_copy(update={"state": "failed", "words": told.words, "problem": told}))
        else:
            if self._worker is worker:
                self._say(
                    self.progress.model_copy(update={"state": "done", "share": 1.0, "words": "the packet is written"})
                )
        worker.kill()
        if self._worker is worker:
            self._worker = None
            self.desk.keep_spare()
            self.desk.changed()

    def _clear(self) -> None:
        shutil.rmtree(half_of(self.desk.project.folder / self.progress.folder), ignore_errors=True)

    def _heard(self, message: dict[str, Any]) -> None:
        if self._worker is not None:
            self._say(self.progress.model_copy(update=message))

    def _say(self, progress: PacketProgress) -> None:
        self.progress = progress
        self.desk.events.publish("packet", progress.model_dump(mode="json"))


def packet_entries(project: Project) -> list[PacketEntry]:
    """The packets of a folder, the newest first."""
    if not project.packet.is_dir():
        return []
    folders = sorted((one for one in project.packet.iterdir() if one.is_dir() and one.name[0] != "."), reverse=True)
    return [_entry(project, folder) for folder in folders[:MOST_LISTED]]


def _entry(project: Project, folder: Path) -> PacketEntry:
    files = []
    for path in sorted(one for one in folder.rglob("*") if one.is_file()):
        beside = str(path.relative_to(folder))
        address = f"/files/{path.relative_to(project.folder).as_posix()}"
        files.append(PacketFile(path=address, title=TITLES.get(beside, beside), bytes=path.stat().st_size))
    first = next((one.path for one in files if one.path.endswith("/index.html")), None)
    try:
        words = f"{datetime.strptime(folder.name, FORM):%d %b %H:%M}"
    except ValueError:
        words = folder.name
    return PacketEntry(folder=f"{PACKET}/{folder.name}", words=words, open=first, files=files)


def packet_file(project: Project, path: str) -> Path:
    """A file of the packets or runs. Errors: Missing for anything else, whatever it is called."""
    nothing = Missing(f"there is no file {path[:80]!r}", "a file of a packet or a run", "choose one of the list")
    if "\0" in path or any(part.startswith(".") for part in path.split("/")):
        raise nothing
    found = (project.folder / path).resolve()
    roots = [(project.folder / name).resolve() for name in (PACKET, RUNS)]
    if not any(found.is_relative_to(root) for root in roots) or not found.is_file():
        raise nothing
    return found
