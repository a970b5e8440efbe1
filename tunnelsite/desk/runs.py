"""The runs that were kept in the folder: their list, what differs between them, and which one is shown."""

from __future__ import annotations

import contextlib
import json
import shutil
import tomllib
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from tunnelsite.core.errors import UsageError
from tunnelsite.desk.answers import Missing
from tunnelsite.desk.messages import Pin, RunEntry
from tunnelsite.desk.project import FARM, Project
from tunnelsite.desk.setting_words import setting_title, setting_value
from tunnelsite.desk.sheet import season_words
from tunnelsite.io.write.staging import write_whole

FORM = "%Y-%m-%d_%H%M%S"
ANSWER = "answer.json"
NOT_SET = "not set"
DRAWN = "drawn"  # the desk names its own drawing: no choice of the user's


def new_run_id(project: Project) -> str:
    """A name for a run of now that no other run has."""
    name = datetime.now().strftime(FORM)
    while (project.runs / name).exists():
        name += "a"
    return name


def clear_halves(project: Project) -> None:
    """Take away what a killed run left behind."""
    for folder in (project.runs, project.packet):
        for part in folder.glob(".*.partial") if folder.is_dir() else ():
            shutil.rmtree(part, ignore_errors=True)


def run_folders(project: Project) -> list[Path]:
    """Kept runs, the newest first."""
    if not project.runs.is_dir():
        return []
    return sorted(
        (one for one in project.runs.iterdir() if (one / ANSWER).is_file() and one.name[0] != "."), reverse=True
    )


def run_folder(project: Project, run: str) -> Path:
    """The folder of a run. Errors: Missing."""
    found = next((one for one in run_folders(project) if one.name == run), None)
    if found is None:
        raise Missing(f"there is no run {run[:40]!r}", "a run of the list", "choose one of them")
    return found


def kept_answer(project: Project, run: str) -> dict[str, Any]:
    """The answer of a kept run. Errors: Missing; UsageError for a damaged file."""
    try:
        found: dict[str, Any] = json.loads((run_folder(project, run) / ANSWER).read_text("utf-8"))
        return found
    except ValueError as problem:
        raise UsageError(
            f"the answer of run {run} cannot be read ({problem})", "the file as it was written", "run again"
        ) from None


def run_settings(project: Project, run: str) -> dict[str, Any]:
    """The project file of a kept run, as values. Errors: Missing, UsageError."""
    try:
        return tomllib.loads((run_folder(project, run) / FARM).read_text("utf-8"))
    except (OSError, ValueError) as problem:
        raise UsageError(
            f"the settings of run {run} cannot be read ({problem})", "the file as it was written", "run again"
        ) from None


def differences(first: dict[str, Any], second: dict[str, Any]) -> list[dict[str, str]]:
    """Settings that differ: name, its title, and both values in words."""
    flat = [_flat(values) for values in (first, second)]
    names = [
        name for name in dict.fromkeys([*flat[0], *flat[1]]) if name != DRAWN and flat[0].get(name) != flat[1].get(name)
    ]
    return [
        {"name": name, "title": setting_title(name)}
        | {side: setting_value(name, values.get(name, NOT_SET)) for side, values in zip("ab", flat, strict=True)}
        for name in names
    ]


def change_words(changes: list[dict[str, str]]) -> list[str]:
    """What differs, each in a line."""
    return [f"{one['title']}: {one['a']} → {one['b']}" for one in changes]


def _flat(values: dict[str, Any], before: str = "") -> dict[str, str]:
    found: dict[str, str] = {}
    for name, value in values.items():
        if isinstance(value, dict):
            found |= _flat(value, f"{before}{name}.")
        else:
            found[before + name] = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
    return found


def run_entries(project: Project) -> list[RunEntry]:
    """The list of runs, the newest first, each with what differs from the one before it."""
    folders = run_folders(project)
    found = []
    for number, folder in enumerate(folders):
        try:
            answer, settings = kept_answer(project, folder.name), run_settings(project, folder.name)
            before = run_settings(project, folders[number + 1].name) if number + 1 < len(folders) else settings
            changes = change_words(differences(before, settings))
            houses = settings.get("house", "30x96ft")
            said = setting_value("house", ", ".join(houses) if isinstance(houses, list) else houses)
            best = answer["options"][0]["score"] if answer["options"] else None
            words = f"{when(folder.name)}: {said}, crops {season_words(str(settings.get('crop_months', '')))}"
            size = sum(file.stat().st_size for file in folder.iterdir())
            found.append(
                RunEntry(
                    id=folder.name, words=words, options=len(answer["options"]), best=best, changes=changes, bytes=size
                )
            )
        except (UsageError, OSError, KeyError, TypeError) as problem:
            found.append(
                RunEntry(id=folder.name, words=f"{folder.name}: cannot be read ({problem})", options=0, best=None)
            )
    return found


def when(name: str) -> str:
    """The moment of a run in words, from its id."""
    try:
        moment = datetime.strptime(name[: len("2026-01-01_000000")], FORM)
    except ValueError:
        return name
    return f"{moment.day} {moment:%b %H:%M}"


class OptionsFile:
    """options.json: which run is shown, pins, names and notes."""

    def __init__(self, project: Project) -> None:
        self._file = project.options

    def read(self) -> dict[str, Any]:
        """What is kept; empty where nothing is or the file is broken (a broken one is set aside)."""
        try:
            found = json.loads(self._file.read_text("utf-8"))
            return found if isinstance(found, dict) else {}
        except FileNotFoundError:
            return {}
        except ValueError:
            self._file.replace(self._file.with_suffix(".broken.json"))
            return {}

    def fingerprint_of(self, run: str) -> str | None:
        """What the project was like when a run began."""
        found = self.read().get("fingerprint", {}).get(run)
        return None if found is None else str(found)

    def mark_current(self, run: str, fingerprint: str) -> None:
        """Remember which run is shown and what the project was like when it began. Errors: OutputFailed."""
        prints = self.read().get("fingerprint", {})
        self.change({"current": run, "fingerprint": prints | {run: fingerprint}})

    def pins(self) -> list[Pin]:
        """The pinned places, A first; what cannot be read is left out."""
        found = []
        for _, pin in sorted(self.read().get("pins", {}).items()):
            with contextlib.suppress(ValidationError):
                found.append(Pin(**pin))
        return found

    def change(self, new: dict[str, Any]) -> None:
        """Keep more. Errors: OutputFailed."""
        write_whole(self._file, json.dumps(self.read() | new, indent=2, ensure_ascii=False) + "\n", overwrite=True)
