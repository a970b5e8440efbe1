"""`init`: looks at the data in a folder, asks what it needs, and writes a project file with comments."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tunnelsite.core.errors import TunnelsiteError, UsageError
from tunnelsite.hosts.cli.streams import answer, prompt, say

if TYPE_CHECKING:
    from tunnelsite.desk.proposal import Proposal

# (setting, question, usual answer); an empty usual answer leaves the setting out
QUESTIONS = (
    ("house", "House, width x length", "30x96ft"),
    ("kind", "Crops in the field soil or in pots on a graded base (in-ground, container)", "in-ground"),
    ("crop_months", "Months with crops in it, first:last", "Oct:Apr"),
    ("bearing", "Ridge bearing from true north (90 or E-W is east-west)", "E-W"),
    ("setback", "Distance to keep from the parcels' own boundary", "20ft"),
    ("wind_from", "Prevailing wind from (such as NW; empty if not known)", ""),
)
TOP_WORDS = "Press Enter to take the value in brackets."


def init(given: argparse.Namespace) -> int:
    """Write `farm.toml` for the data that lie in a folder."""
    from tunnelsite.desk.proposal import PROJECT, project_text, propose
    from tunnelsite.io.write.staging import check_output_path, write_whole
    from tunnelsite.settings.field import fields_of
    from tunnelsite.settings.model import Settings, settings_from

    folder = Path(given.folder)
    target = folder / PROJECT
    proposal = propose(folder)
    check_output_path(target, overwrite=bool(given.overwrite))
    asking = not given.yes and not given.json
    if asking:
        say(f"{len(proposal.files)} files in the folder {folder.resolve().name}. {TOP_WORDS}")
        _ask_files(proposal)
    _settings(proposal, given, asking)
    settings_from(dict(proposal.settings))  # wrong answers are refused before anything is written
    comments = {one.key: one.words.help for one in fields_of(Settings)}
    write_whole(target, project_text(proposal, comments), overwrite=bool(given.overwrite))
    summary: dict[str, Any] = {
        "project": str(target),
        "files": [{"name": one.name, "used_as": _role(proposal, one.name), "why": one.why} for one in proposal.files],
        "missing": proposal.missing,
        "not_given": _not_given(proposal.settings),
    }
    answer(summary, _words, as_json=given.json)
    return 0


def _ask_files(proposal: Proposal) -> None:
    from tunnelsite.desk.roles import ROLES

    known = {role.id: role.title for role in ROLES}
    say("A file may be: " + ", ".join(f"{name} ({title.lower()})" for name, title in known.items()) + ", or none.")
    for one in proposal.files:
        facts = "; ".join(one.facts.problems or one.facts.facts)
        usual = one.role or "none"
        why = f" ({one.why})" if one.why else ""
        while True:
            said = _asked(f"{one.name}: {facts}{why}. Use as", usual)
            role = None if said == "none" else said
            try:
                if role != one.role:
                    proposal.use(one.name, role)
                if role == "keep_out":
                    distance = _asked("  Distance to keep from it", "0")
                    if distance not in ("0", ""):
                        proposal.use(one.name, role, distance)
                break
            except TunnelsiteError as problem:
                say(str(problem))


def _settings(proposal: Proposal, given: argparse.Namespace, asking: bool) -> None:
    """The remaining questions, each checked as it is answered."""
    from tunnelsite.settings.model import settings_from

    for name, question, usual in QUESTIONS:
        stated = getattr(given, name, None)
        while True:
            said = stated if stated is not None else _asked(question, usual) if asking else usual
            if not said:
                break
            value = [part.strip() for part in said.split(",")] if name == "house" else said
            try:
                settings_from({name: value})
            except TunnelsiteError as problem:
                if stated is not None or not asking:
                    raise
                say(str(problem))
                continue
            proposal.settings[name] = value
            break
    if given.elevation_unit:
        proposal.settings["elevation_unit"] = given.elevation_unit


def _asked(question: str, usual: str) -> str:
    """The answer from the keyboard; the end of input takes what is usual. Errors: UsageError for an endless answer."""
    prompt(f"{question} [{usual}]: ")
    said = sys.stdin.readline(1000)
    if not said:
        say("")
        return usual
    if len(said) >= 1000:
        raise UsageError("an answer has 1000 letters", "a short one", "answer again")
    return said.strip() or usual


def _role(proposal: Proposal, name: str) -> str | None:
    from tunnelsite.desk.roles import used_as

    return used_as(proposal.settings, name)[0]


# (settings of which one will do, what a run does without any of them)
WITHOUT = (
    (("surface", "obstacles"), "no surface model, trees or buildings: nothing but the ground shades the house"),
    (("structures",), "no structures: no clearance from buildings is kept"),
    (("keep_out",), "no keep-outs: roads, ponds, wetland, floodplain and lines are not kept clear of"),
    (("service",), "no water, power or road: how far they are is not judged"),
)


def _not_given(settings: Mapping[str, Any]) -> list[str]:
    """What a run without further files would not look at."""
    return [words for names, words in WITHOUT if not any(settings.get(name) for name in names)]


def _words(summary: dict[str, Any]) -> str:
    from tunnelsite.desk.proposal import TITLES

    lines = []
    for one in summary["files"]:
        title = "not used" if one["used_as"] is None else TITLES.get(one["used_as"], one["used_as"])
        lines.append(f"{one['name']}: {title}" + (f" ({one['why']})" if one["why"] else ""))
    lines += [f"missing: {words}" for words in summary["missing"]]
    lines += [f"not given: {words}" for words in summary["not_given"]]
    lines.append(f"written: {summary['project']}")
    following = (
        "tunnelsite check --project"
        if not summary["missing"]
        else "add what is missing, then: tunnelsite check --project"
    )
    return "\n".join([*lines, f"next: {following} {summary['project']}"])
