"""A project proposed from the files that lie in a folder: what each is taken to be, and the project file that says so."""

from __future__ import annotations

import copy
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.desk.roles import ROLES, SINGLE, change_for, proposed, used_as
from tunnelsite.io.read.file_facts import LISTS, RASTERS, VECTORS, WEATHER, FileFacts, file_facts

PROJECT = "farm.toml"
SEEN = (*RASTERS, *VECTORS, *WEATHER, *LISTS)
OWN = (PROJECT, "sites.gpkg", "gathered.json", "drawn.gpkg")
TITLES = {role.id: role.title for role in ROLES}


@dataclass(frozen=True)
class ProposedFile:
    """A file of the folder: name; facts; role, as of `desk.roles`, or None; why, in words."""

    name: str
    facts: FileFacts
    role: str | None
    why: str


@dataclass
class Proposal:
    """A project in the making. Attributes: folder; files in the order of their names; settings as in a project file."""

    folder: Path
    files: list[ProposedFile]
    settings: dict[str, Any] = field(default_factory=dict)

    @property
    def missing(self) -> list[str]:
        """What a screening cannot do without and is not there, in words."""
        wanted = {"dem": "a terrain model of the bare ground", "parcels": "the fields, as polygons"}
        return [words for name, words in wanted.items() if not self.settings.get(name)]

    def use(self, name: str, role: str | None, distance: str = "") -> None:
        """Take a file for something else, or for nothing. Errors: UsageError for an unknown role."""
        for key, value in change_for(self.settings, name, role, distance).items():
            if isinstance(value, Mapping):
                table = self.settings.setdefault(key, {}) | value
                self.settings[key] = {service: file for service, file in table.items() if file is not None}
            elif value is None:
                self.settings.pop(key, None)
            else:
                self.settings[key] = value


def propose(folder: Path, given: Mapping[str, Any] | None = None, names: Collection[str] | None = None) -> Proposal:
    """What the files of a folder are taken to be, by their names, geometry and columns; the same for `init` and on the desk.

    Arguments: folder; given, settings that stand already: their files keep their roles; names, the files to look at, None for all.

    Errors: UsageError for no folder.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder} is no folder", "a folder with the data in it", "make it and put the data there")
    made = Proposal(folder, [], copy.deepcopy(dict(given or {})))
    for path in sorted(folder.iterdir()):
        wanted = names is None or path.name in names
        if wanted and path.suffix.lower() in SEEN and path.name not in OWN and path.name[0] != ".":
            _propose_one(made, path)
    return made


def _propose_one(made: Proposal, path: Path) -> None:
    """Find a role for a file and use it as that."""
    facts = file_facts(path)
    role = used_as(made.settings, path.name)[0]
    if role is not None or facts.problems:
        made.files.append(ProposedFile(path.name, facts, role, "used already" if role else ""))
        return
    role, why = proposed(path, facts, made.settings)
    taken = made.settings.get(role) if role in SINGLE else None
    if role is not None and role.startswith("service:"):
        taken = made.settings.get("service", {}).get(role.partition(":")[2])
    if taken:
        role, why = None, f"{taken} is used as that already"
    made.files.append(ProposedFile(path.name, facts, role, why))
    if role is not None:
        made.use(path.name, role)


def project_text(proposal: Proposal, comments: Mapping[str, str]) -> str:
    """A project file (TOML) with a comment beside each setting that has one."""
    lines = [
        "# Project file of tunnelsite. Every key is an option of `tunnelsite screen` without its dashes; what is given on the",
        "# command line wins. Files are found relative to this one. `tunnelsite screen --project farm.toml` runs it.",
        "",
    ]
    tables = {key: value for key, value in proposal.settings.items() if isinstance(value, Mapping)}
    for key, value in proposal.settings.items():
        if key in tables:
            continue
        lines += [f"# {comments[key]}"] if comments.get(key) else []
        lines.append(f"{key} = {_toml(value)}")
    for key, table in tables.items():
        lines += ["", f"[{key}]", *(f"{name} = {_toml(value)}" for name, value in table.items())]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    """A value as TOML 1.0 writes it: as JSON does, but for the one control character that JSON leaves as it is."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
