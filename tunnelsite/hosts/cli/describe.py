"""`describe`: every tool with its arguments as data, for programs that build forms of their own from it.

It is made from the parser of the command line itself and from the settings behind its options, so it cannot say anything else than
`--help` does.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from tunnelsite.core.describe import Parameter
from tunnelsite.core.needs import FACTS
from tunnelsite.core.process import Process
from tunnelsite.core.wording import capital
from tunnelsite.hosts.cli.streams import answer, say, tell
from tunnelsite.settings.field import Field, fields_of

GROUPS = {
    "Find a place": {
        "screen": "Screen a farm",
        "check": "Check inputs and settings",
        "rescore": "Rank again with other weights",
        "region": "Screen many parcels",
    },
    "Understand the answer": {
        "explain": "Explain a place",
        "compare": "Compare screenings or candidates",
        "robustness": "How firm the ranking is",
    },
    "Plan the house": {
        "sunchart": "Sun chart",
        "grading": "Grading and drainage plan",
        "stakeout": "Stakes for the field",
        "layout": "Block of several houses",
        "cost": "Cost table",
    },
    "Hand over": {"report": "Report page", "export": "Export to open formats"},
}
PROCESSES = "Terrain, water and light"
# What is written where the option itself does not say so by its kind: ending, or None for a folder.
WRITTEN = {"png": ".png", "pdf": ".pdf", "checklists": ".html", "phone": ".html", "csv": "", "to": None, "parts": None}
ENDINGS = {
    "sunchart": ".svg",
    "stakeout": ".html",
    "report": ".html",
    "cost": ".csv",
}  # of --out; all others write a GeoPackage
READ = {"SITES": "sites", "KEPT": "kept", "DEM": "raster", "PARCELS": "features"}
# What a form calls an argument that is no setting, where the name of its option says too little without the command line.
TITLES = {
    "again": "Run to repeat",
    "at": "Place",
    "csv": "Tables",
    "dem": "Ground",
    "dem_crs": "Coordinate system",
    "first": "Screening",
    "kept": "Kept run",
    "out": "Write to",
    "pdf": "PDF",
    "png": "Picture as PNG",
    "project": "Project file",
    "rank": "Rank of the candidate",
    "ranks": "Ranks of the candidates",
    "run": "Kept run",
    "second": "Another screening",
    "sites": "Screening",
    "to": "Folder to write to",
}


@dataclass(frozen=True)
class Argument:
    """One argument of a tool.

    Attributes: name; words, what goes before the value on the command line, empty for a place in the order; join, put in front of the
    value itself; kind: raster, features, sites (GeoPackage of a screening), kept (a kept run), project, file, point (longitude and
    latitude, two words), text, number, whole, flag, choice, list and table (a line each, NAME=VALUE), new_file, new_folder; title; help;
    section; ending of a new file; choices; default, in words.
    """

    name: str
    words: tuple[str, ...]
    kind: str
    title: str
    help: str
    section: str = ""
    join: str = ""
    required: bool = False
    repeatable: bool = False
    ending: str = ""
    choices: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    default: str = ""


@dataclass(frozen=True)
class DescribedTool:
    """One tool: the words that call it, its group, its title, what it does, and its arguments in order."""

    id: str
    command: tuple[str, ...]
    group: str
    title: str
    help: str
    arguments: tuple[Argument, ...]


def describe(given: argparse.Namespace) -> int:
    """Print every tool of the command line and of the catalogue, plug-ins' included."""
    from importlib.metadata import version

    known = [asdict(tool) for tool in tools()]
    found = {"program": "tunnelsite", "version": version("tunnelsite"), "tools": known}
    if given.json:
        answer(found, str, as_json=True)
        return 0
    for tool in known:
        say(f"{' '.join(tool['command'])}: {tool['help']}")
    return 0


def tools() -> list[DescribedTool]:
    """The tools that take files and give files: commands first, then the processes of the catalogue."""
    from tunnelsite.core import catalogue
    from tunnelsite.hosts.cli.options import parser

    top = parser()
    commands = next(item for item in top._actions if isinstance(item, argparse._SubParsersAction))
    words = {item.dest: item.help or "" for item in commands._choices_actions}
    found = [
        DescribedTool(name, (name,), group, title, words[name], tuple(_arguments(name, commands.choices[name])))
        for group, titles in GROUPS.items()
        for name, title in titles.items()
        if name in commands.choices
    ]
    run = {argument.name: argument for argument in _arguments("run", commands.choices["run"])}
    return [*found, *(_process(process, run) for process in catalogue.processes(tell))]


def _arguments(command: str, options: argparse.ArgumentParser) -> Iterator[Argument]:
    given: Mapping[type, tuple[str, ...]] = options.get_default("settings_given") or {}
    fields = {
        field.key: field for settings, keys in given.items() for field in fields_of(settings) if field.key in keys
    }
    for group in options._action_groups:
        for item in group._group_actions:
            if item.dest == "help":
                continue
            field = fields.get(item.dest)
            yield _argument(
                command, item, field, (group.title or "") if field is not None and field.words.section else ""
            )


def _argument(command: str, item: argparse.Action, field: Field | None, section: str) -> Argument:
    kind, facts = _kind(command, item, field)
    plain = TITLES.get(item.dest, item.dest.replace("_", " ").capitalize())
    title = field.words.title if field is not None else plain
    default = (
        field.default_words
        if field is not None
        else ("" if item.default in (None, False) or item.default == [] else str(item.default))
    )
    return Argument(
        item.dest,
        tuple(item.option_strings[-1:]),
        kind,
        title,
        (item.help or "").replace("%%", "%"),
        section,
        required=item.required and item.nargs != "?",
        repeatable=isinstance(item, argparse._AppendAction),
        default=default,
        **facts,
    )  # fmt: skip


def _kind(command: str, item: argparse.Action, field: Field | None) -> tuple[str, dict[str, Any]]:
    from tunnelsite.settings import kinds

    words = None if field is None else field.words
    if item.nargs == 0:
        return "flag", {}
    if item.nargs == 2:
        return "point", {}
    if item.choices:
        return "choice", {"choices": tuple(map(str, item.choices))}
    if isinstance(words, kinds.Choice):
        return "choice", {"choices": words.choices}
    if isinstance(words, kinds.File):
        return (words.of if words.of in ("raster", "features") else "file"), {}
    if isinstance(words, kinds.Output):
        return ("new_folder", {}) if item.metavar == "DIR" else ("new_file", {"ending": _ending(command, item)})
    if isinstance(words, kinds.ByName | kinds.Several):
        return ("table" if isinstance(words, kinds.ByName) else "list"), {}
    if type(words) in (kinds.Number, kinds.Share, kinds.Turn, kinds.Whole):
        return ("whole" if isinstance(words, kinds.Whole) else "number"), _bounds(words)
    return _plain_kind(command, item)


def _plain_kind(command: str, item: argparse.Action) -> tuple[str, dict[str, Any]]:
    if item.dest == "out" or item.dest in WRITTEN:
        ending = WRITTEN.get(item.dest, ENDINGS.get(command, ".gpkg"))
        return ("new_folder", {}) if ending is None else ("new_file", {"ending": ending})
    if item.dest == "sites":
        return "sites", {}
    if item.dest == "project":
        return "project", {}
    if isinstance(item.metavar, str) and item.metavar in READ:
        return READ[item.metavar], {}
    if item.metavar == "FILE":
        return "file", {}
    return "text", {}


def _ending(command: str, item: argparse.Action) -> str:
    return ".npz" if item.dest == "keep" else ENDINGS.get(command, ".gpkg")


def _bounds(words: Any) -> dict[str, float]:
    schema: Mapping[str, Any] = words.schema()
    return {name: schema[key] for name, key in (("least", "minimum"), ("most", "maximum")) if key in schema}


def _process(process: Process, run: Mapping[str, Argument]) -> DescribedTool:
    about = process.description
    source = Argument("input", (), "raster", "Ground", "elevation raster", required=True)
    target = Argument("output", (), "new_file", "Layer", "raster to write", required=True, ending=".tif")
    layers = tuple(spec.id for spec in about.makes)
    given: tuple[Argument, ...] = (run["elevation_unit"], run["dem_crs"], run["band"])
    if any(spec.is_table for spec in about.reads):
        given = (run["crop_months"], *given)
    choice = Argument(
        "layer", ("--layer",), "choice", "Layer to write", "which of its layers", choices=layers, default=layers[0]
    )
    arguments = (source, target, *([choice] if len(layers) > 1 else []), *map(_parameter, about.parameters), *given)
    return DescribedTool(f"run_{about.id}", ("run", about.id), PROCESSES, about.title, about.text, arguments)


def _parameter(one: Parameter) -> Argument:
    kind = {bool: "flag", int: "whole", float: "number", str: "text"}[type(one.default)]
    default = "" if one.id in FACTS or one.default != one.default else str(one.default)
    title = f"{one.title} [{one.unit}]" if one.unit else one.title
    kind = "choice" if one.choices else ("choice" if kind == "flag" else kind)
    choices = one.choices or (("true", "false") if isinstance(one.default, bool) else ())
    return Argument(one.id, ("--set",), kind, capital(title), "", join=f"{one.id}=", choices=choices, default=default)
