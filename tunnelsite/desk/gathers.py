"""Fetching on request: first how large it would be, then the files, put to use where their place in the project is free."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.desk.answers import Missing, problem_of
from tunnelsite.desk.gather_files import sources_of, written
from tunnelsite.desk.gather_messages import GatherAsked, GatherProgress, SourceEntry, SourceList
from tunnelsite.desk.job import BackgroundJob
from tunnelsite.desk.proposal import TITLES
from tunnelsite.desk.roles import SINGLE, change_for
from tunnelsite.io.fetch.door import host_of
from tunnelsite.io.write.staging import temp_path

if TYPE_CHECKING:
    from tunnelsite.desk.host import Desk


class Gathers:
    """What is fetched for a desk. Attributes: job; asked, last; sized, what the user has seen the size of."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.job = desk, BackgroundJob[GatherProgress](desk, "gather", self._clear)
        self.sized: GatherAsked | None = None
        self.asked = GatherAsked()

    def sources(self) -> SourceList:
        """What the folder's sources file names."""
        try:
            known = sources_of(self.desk.project)
        except TunnelsiteError as problem:
            return SourceList(problem=problem_of(problem))
        found = [SourceEntry(name=name, kind=one.kind, licence=one.licence, note=one.note, host=host_of(one.address))
                 for name, one in known.items()]  # fmt: skip
        return SourceList(sources=found)

    def size(self, asked: GatherAsked) -> GatherProgress:
        """Ask how large it would be. Errors: Conflict."""
        self.job.free("data are being fetched")
        self.sized, self.asked = None, asked

        def done(found: dict[str, Any]) -> dict[str, Any]:
            self.sized = asked.model_copy(update={"replace": False})
            return found | {"words": "nothing was fetched yet"}

        given = {"folder": str(self.desk.project.folder), "asked": asked.model_dump()}
        begun = GatherProgress(step="size", words="asking the sources")
        return self.job.start(begun, ("gather_size", given), done)

    def fetch(self, asked: GatherAsked) -> GatherProgress:
        """Fetch what the user has seen the size of. Errors: Conflict; Missing where its size was not asked for."""
        self.job.free("data are being fetched")
        if self.sized != asked.model_copy(update={"replace": False}):
            raise Missing("how large this would be was not asked yet", "the size first", "ask how large it is")
        given = {"folder": str(self.desk.project.folder), "asked": asked.model_dump()}
        begun = GatherProgress(step="fetch", words="fetching")
        self.sized, self.asked = None, asked
        return self.job.start(begun, ("gather", given), self._use)

    def _use(self, files: list[dict[str, str]]) -> dict[str, Any]:
        """Use each file as what it was fetched for, where nothing else is."""
        desk = self.desk
        if not desk.project.begun:
            desk.project.begin("empty")
        said = []
        for one in files:
            raw = desk.project.raw()
            taken = (
                raw.get(one["role"])
                if one["role"] in SINGLE
                else (raw.get("service") or {}).get(one["role"].partition(":")[2])
            )
            use = f"used as: {TITLES[one['role']]}" if one["role"] else "not used yet"
            if one["role"] and not taken:
                desk.project.change(change_for(raw, one["name"], one["role"], None))
            elif taken and taken != one["name"]:
                use = f"not used, as {taken} is; choose it in the list of files"
            said.append(f"{one['words']}; {use}")
        desk.look_again()
        return {"files": said, "words": "fetched"}

    def _clear(self) -> None:
        for path in written(self.desk.project, self.asked):
            temp_path(path).unlink(missing_ok=True)
