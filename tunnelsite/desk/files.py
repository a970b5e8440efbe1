"""The files of a project folder as the sheet lists them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from tunnelsite.desk.messages import FileEntry
from tunnelsite.desk.page_words import on_the_page
from tunnelsite.desk.project import DRAWN, FARM, OPTIONS, Project
from tunnelsite.desk.roles import proposed, used_as
from tunnelsite.io.read.file_facts import LISTS, RASTERS, VECTORS, WEATHER, FileFacts, file_facts

MOST_LISTED = 200
NO_SYSTEM = "has no coordinate system"
STATE_IT = " Or use it and give its code as “Coordinate system” under Ground."
SHOWN = (*RASTERS, *VECTORS, *WEATHER, *LISTS)


def file_entries(project: Project, raw: Mapping[str, Any]) -> list[FileEntry]:
    """Every data file of the folder itself. Arguments: project; raw, its settings as written."""
    own = (DRAWN, FARM, OPTIONS)
    found = [one for one in sorted(project.folder.iterdir()) if one.suffix.lower() in SHOWN and one.name not in own]
    return [_entry(one, raw) for one in found if one.name[0] != "." and one.is_file()][:MOST_LISTED]


def _entry(path: Path, raw: Mapping[str, Any]) -> FileEntry:
    state = path.stat()
    facts = _facts(path, state.st_mtime_ns, state.st_size)
    role, distance = used_as(raw, path.name)
    stateable = facts.kind == "raster" and all(NO_SYSTEM in words for words in facts.problems)
    problems = [on_the_page(words) + STATE_IT * stateable for words in facts.problems]
    broken = bool(problems) and not stateable
    guess, why = (None, "") if role is not None or broken else proposed(path, facts, raw)
    return FileEntry(name=path.name, kind=facts.kind, used_as=role, proposed=guess, proposed_why=why, facts=list(facts.facts),
                     distance_m=distance, problems=problems, size_bytes=state.st_size)  # fmt: skip


@lru_cache(maxsize=512)
def _facts(path: Path, changed_ns: int, size: int) -> FileFacts:
    return file_facts(path)
