"""`describe --json`: the command line as data. What a form would send is what the parser takes."""

from __future__ import annotations

import argparse
import json

import pytest

from tunnelsite.core import catalogue
from tunnelsite.hosts.cli.arguments import parsed
from tunnelsite.hosts.cli.describe import Argument, DescribedTool, tools
from tunnelsite.hosts.cli.main import main
from tunnelsite.hosts.cli.options import parser

TOOLS = {tool.id: tool for tool in tools()}
WORDS = {
    "flag": [], "point": ["-78.1", "43.0"], "number": ["0.5"], "whole": ["3"], "text": ["1"], "list": ["a"], "table": ["a.b=1"],
    "raster": ["dem.tif"], "features": ["p.gpkg"], "sites": ["s.gpkg"], "kept": ["k.npz"], "project": ["farm.toml"],
    "file": ["f.csv"], "new_folder": ["out"],
}  # fmt: skip


def test_the_answer_is_json(capsys) -> None:
    assert main(["describe", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["program"] == "tunnelsite" and [tool["id"] for tool in found["tools"]] == list(TOOLS)


def test_no_title_is_an_abbreviation_of_the_command_line() -> None:
    """A planner met the fields `Dem`, `Out`, `Png`, `Csv` and `At` in the desktop GIS."""
    titles = {one.title for tool in TOOLS.values() for one in tool.arguments}
    assert not titles & {"Dem", "Out", "Png", "Csv", "Pdf", "At", "To", "Kept", "Sites", "Dem crs"}
    assert {"Ground", "Screening", "Rank of the candidate", "Write to"} <= titles


def test_every_process_and_every_command_of_files_is_there() -> None:
    assert {f"run_{process.description.id}" for process in catalogue.processes()} < TOOLS.keys()
    top = parser()
    commands = next(item for item in top._actions if isinstance(item, argparse._SubParsersAction)).choices
    not_forms = {"demo", "init", "gather", "processes", "run", "serve", "desk", "describe", "gis-plugin"}
    assert commands.keys() - TOOLS.keys() == not_forms


@pytest.mark.parametrize("tool", TOOLS.values(), ids=lambda tool: tool.id)
def test_every_argument_is_taken_by_the_parser(tool: DescribedTool) -> None:
    """Each alone, beside those that are required, as a form writes it: `--option=value`."""
    needed = [word for one in tool.arguments if one.required for word in _words(one)]
    for one in tool.arguments:
        if not one.required and (one.words or not any(other.words == () for other in tool.arguments if other.required)):
            parsed(parser(tool.command[0]), [*tool.command, *needed, *_words(one)])


@pytest.mark.parametrize(
    ("tool", "name", "kind"),
    [
        ("screen", "dem", "raster"),
        ("screen", "surface", "raster"),
        ("screen", "structures", "features"),
        ("screen", "out", "new_file"),
        ("screen", "rasters", "new_folder"),
        ("screen", "house", "list"),
        ("screen", "azimuths", "whole"),
        ("explain", "at", "point"),
        ("grading", "sites", "sites"),
        ("rescore", "kept", "kept"),
        ("run_slope", "input", "raster"),
        ("run_slope", "output", "new_file"),
        ("run_slope", "as_unit", "choice"),
    ],
)
def test_kinds(tool: str, name: str, kind: str) -> None:
    assert {one.name: one.kind for one in TOOLS[tool].arguments}[name] == kind


def test_a_new_file_ends_as_its_command_wants_it() -> None:
    out = {tool.id: one.ending for tool in TOOLS.values() for one in tool.arguments if one.name == "out"}
    assert (out["screen"], out["cost"], out["sunchart"], out["report"]) == (".gpkg", ".csv", ".svg", ".html")


def _words(one: Argument) -> list[str]:
    values = [one.choices[0]] if one.kind == "choice" else WORDS.get(one.kind, [f"new{one.ending}"])
    if one.kind in ("flag", "point"):
        return [*one.words, *values]
    return [f"{one.words[0]}={one.join}{value}" if one.words else one.join + value for value in values]
