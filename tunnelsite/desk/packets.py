"""Packets: written one at a time in a process of its own, listed, and served from the folder."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.desk.answers import Conflict, Missing
from tunnelsite.desk.held import held
from tunnelsite.desk.job import BackgroundJob
from tunnelsite.desk.messages import PacketEntry, PacketFile, PacketProgress
from tunnelsite.desk.project import PACKET, RUNS, Project
from tunnelsite.desk.runs import FORM
from tunnelsite.io.write.whole_folder import half_of

if TYPE_CHECKING:
    from tunnelsite.desk.host import Desk

MOST_LISTED = 20
TITLES = {
    "index.html": "First page",
    "report.html": "Report",
    "options.gpkg": "Places (GeoPackage)",
    "project/farm.toml": "The project, with its files beside it",
}


class Packets:
    """Writes packets of a desk. Attributes: job."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.job = desk, BackgroundJob[PacketProgress](desk, "packet", self._clear)

    def start(self, letters: Sequence[str]) -> PacketProgress:
        """Start a packet. Errors: Conflict where one goes on or there is no kept run; Missing for a letter without a pin."""
        desk = self.desk
        self.job.free("a packet is being written")
        if desk.current is None:
            raise Conflict("there is no kept answer to write of", "a finished run", "find places first")
        pins: dict[str, dict[str, Any]] = {pin.letter: pin.model_dump(mode="json") for pin in desk.pins()}
        missing = [letter for letter in letters if letter not in pins]
        if missing:
            raise Missing(f"nothing is pinned as {', '.join(missing)}", "pinned places", "pin them first")
        name = f"{datetime.now():%Y-%m-%d_%H%M%S}"
        wanted = [pins[letter] for letter in sorted(set(letters))]
        given = {"folder": str(desk.project.folder), "run": desk.current, "pins": wanted, "name": name}
        begun = PacketProgress(state="running", words="starting", folder=f"{PACKET}/{name}")
        return self.job.start(begun, ("packet", given), lambda _: {"words": "the packet is written"})

    def _clear(self) -> None:
        shutil.rmtree(half_of(self.desk.project.folder / held(self.job.progress).folder), ignore_errors=True)


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
