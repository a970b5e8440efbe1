"""The project folder: farm.toml edited so that the user's own comments stay, and the lock that keeps two desks apart."""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

import shapely
from shapely.geometry import shape

from tunnelsite.core.errors import OutputFailed, UsageError
from tunnelsite.desk.project_text import changed, parsed
from tunnelsite.io.read.files import layer_of
from tunnelsite.io.read.sample_data import sample_data
from tunnelsite.io.write.locks import exclusive_lock
from tunnelsite.io.write.staging import write_whole
from tunnelsite.settings.model import Settings, keep_out_parts, settings_from
from tunnelsite.settings.paths import PATH_KEYS
from tunnelsite.settings.project_file import COMMAND_LINE_ALONE, project_settings

FARM, DRAWN, OPTIONS, RUNS, PACKET = "farm.toml", "drawn.gpkg", "options.json", "runs", "packet"
FIRST_LINES = """\
# Project file of this farm. Every key is an option of `tunnelsite screen`.
# The desk edits it and keeps your comments.
"""
SAMPLE_FILES = (".tif", ".gpkg")


class Project:
    """A project folder.

    Attributes: folder. farm: the project file. drawn: what was drawn on the map.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self.farm, self.drawn = self.folder / FARM, self.folder / DRAWN
        self.options, self.runs, self.packet = (self.folder / name for name in (OPTIONS, RUNS, PACKET))

    @contextlib.contextmanager
    def held(self) -> Iterator[None]:
        """Keep every other desk off the folder. Errors: UsageError where one has it open, OutputFailed where no file can be made."""
        lock = exclusive_lock(self.folder / ".desk-lock", self.folder)
        try:
            lock.__enter__()
        except OutputFailed as problem:
            if "another run" not in problem.given:
                raise
            holder = problem.given.rpartition("(")[2].rstrip(")")
            raise UsageError(
                f"another desk has {self.folder} open ({holder})",
                "one desk for a folder; several tabs of one desk are fine",
                "use that desk's page, or end it there first",
            ) from None
        try:
            yield
        finally:
            lock.__exit__(None, None, None)

    @property
    def begun(self) -> bool:
        """Whether there is a project."""
        return self.farm.is_file()

    def begin(self, what: str) -> None:
        """Make a project of the folder: an empty one or the sample farm. Errors: UsageError where there is one; OutputFailed."""
        if self.begun:
            raise UsageError(
                f"{self.folder} holds a project already", "an empty folder", "go on with it, or choose another folder"
            )
        text = FIRST_LINES
        if what == "sample":
            source = sample_data()
            for file in sorted(source.iterdir()):
                if file.suffix in SAMPLE_FILES:
                    write_whole(self.folder / file.name, file.read_bytes(), overwrite=False)
            text = (source / FARM).read_text("utf-8")
        write_whole(self.farm, text, overwrite=False)  # last: before it there is no project

    def raw(self) -> dict[str, Any]:
        """The settings as they stand in farm.toml, paths as written. Errors: UsageError for a broken file."""
        return parsed(self.text(), self.farm).unwrap() if self.begun else {}

    @property
    def units(self) -> Literal["ft", "m"]:
        """`ft` or `m`: as chosen on the page, else `ft` where a house is given in feet; as it stands, even in a broken file."""
        with contextlib.suppress(OSError, ValueError, AttributeError):
            chosen = json.loads(self.options.read_text("utf-8")).get("units")
            if chosen in ("ft", "m"):
                return "ft" if chosen == "ft" else "m"
        try:
            houses = self.raw().get("house", "30x96ft")
        except UsageError:
            return "ft"
        return "ft" if "ft" in str(houses) else "m"

    def values(self) -> dict[str, Any]:
        """The settings with paths seen from here. Errors: UsageError."""
        return project_settings(self.farm)[0] if self.begun else {}

    def settings(self) -> Settings:
        """Checked settings. Errors: UsageError."""
        return settings_from(self.values())

    def change(self, new: Mapping[str, Any], clear: Sequence[str] = ()) -> None:
        """Change settings in farm.toml and leave the rest of it as it is. Errors: UsageError, and nothing is changed; OutputFailed."""
        self._check_files(new)
        text = self.text() if self.begun else FIRST_LINES
        write_whole(self.farm, changed(text, self.farm, new, clear), overwrite=True)

    def _check_files(self, new: Mapping[str, Any]) -> None:
        """Errors: UsageError for a file outside the folder, or a setting that is for the command line alone."""
        alone = next((name for name in COMMAND_LINE_ALONE if name in new), None)
        if alone is not None:
            raise UsageError(
                f"{alone} is no setting of a project", "settings of what is read and how it is judged", "leave it out"
            )
        for file in named_files(new):
            self.inside(file)

    def restore(self, text: str) -> None:
        """Put back a whole project file, such as that of an earlier run. Errors: OutputFailed."""
        write_whole(self.farm, text, overwrite=True)

    def fingerprint(self, drawn: Sequence[Mapping[str, Any]]) -> str:
        """Changes with the settings and with what was drawn, and comes back when they do: what was drawn and taken back is no change.

        Arguments: drawn, the features on the map, in any order.
        """
        try:
            settings: Any = {name: value for name, value in self.raw().items() if name != "drawn"}
        except UsageError:
            settings = self.farm.read_bytes().hex() if self.begun else ""
        shapes = sorted(json.dumps(_given(one), sort_keys=True) for one in drawn)
        return hashlib.sha256(json.dumps([settings, shapes], sort_keys=True, default=str).encode()).hexdigest()

    def text(self) -> str:
        """farm.toml as it stands. Errors: UsageError."""
        try:
            return self.farm.read_text("utf-8")
        except (OSError, ValueError) as problem:
            raise UsageError(f"{self.farm} cannot be read ({problem})", "a TOML file in UTF-8", "correct it") from None

    def inside(self, name: str) -> Path:
        """A file below the folder by its relative name. Errors: UsageError for a name that leads out of it."""
        path = (self.folder / name).resolve()
        if not path.is_relative_to(self.folder) or "\0" in name:
            raise UsageError(f"the file is {name[:80]!r}", "a file of the project folder", "choose one of the list")
        return path


def _given(feature: Mapping[str, Any]) -> Mapping[str, Any]:
    """A drawn feature without what was left empty, whichever way round its corners go: writing turns them."""
    about = {name: value for name, value in feature["properties"].items() if value not in (None, "")}
    return {"id": feature["id"], "shape": shapely.normalize(shape(feature["geometry"])).wkb_hex, "properties": about}


def named_files(raw: Mapping[str, Any]) -> list[str]:
    """The files that settings name, as written, without the layers of them. Arguments: raw, settings as in a project file."""
    keep_outs = raw.get("keep_out") or []
    named = [raw.get(name) for name in PATH_KEYS] + list((raw.get("service") or {}).values())
    named += [keep_out_parts(str(entry))[0] for entry in ([keep_outs] if isinstance(keep_outs, str) else keep_outs)]
    return list(dict.fromkeys(layer_of(file)[0] for file in named if isinstance(file, str)))
