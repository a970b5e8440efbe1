"""Options of every command. No heavy import here: `--help` and usage errors come at once."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tunnelsite.core.wording import capital
from tunnelsite.hosts.cli import small_options as small
from tunnelsite.hosts.cli.arguments import Parser, whole
from tunnelsite.hosts.cli.gather_options import add_options as add_gather_options
from tunnelsite.hosts.cli.plan_options import (
    SITES,
    add_cost_options,
    add_export_options,
    add_grading_options,
    add_layout_options,
    add_report_options,
    add_stakeout_options,
    add_sunchart_options,
)
from tunnelsite.hosts.cli.project_values import GOING_ON
from tunnelsite.hosts.cli.region_options import add_options as add_region_options
from tunnelsite.hosts.cli.screen_options import CHART, COST, GRADING, STAKEOUT, add_screen_settings
from tunnelsite.hosts.cli.server_options import add_desk_options
from tunnelsite.hosts.cli.server_options import add_options as add_server_options

# Answers that `init` may be given beforehand.
INIT_ANSWERS = (
    ("house", "house size, as 30x96ft; several with commas"),
    ("kind", "in-ground or container"),
    ("crop_months", "months with crops, as Oct:Apr"),
    ("bearing", "ridge bearing from true north, as 90 or E-W"),
    ("setback", "distance from the parcels' own boundary, as 20ft"),
    ("wind_from", "prevailing wind, as NW"),
)
GROUND = "SITES.gpkg | DEM PARCELS | --project FILE"
EPILOG = (
    "Exit status: 0 done, 2 wrong usage, 3 input refused, 4 not enough resources, 5 output not written, "
    "130 interrupted (143 by SIGTERM, 129 by SIGHUP). Lengths take m, cm, ft or in, as 20ft; without a unit they are metres."
)


def parser(only: str | None = None) -> argparse.ArgumentParser:
    """The whole command line. Arguments: only, the command that is wanted, which need not wait for all others; one that is not
    there gives the list of commands without their options (None = all with their options)."""
    top = Parser(
        "tunnelsite",
        description="Finds where a high tunnel or greenhouse should stand.",
        epilog=EPILOG,
        allow_abbrev=False,
    )
    top.add_argument("--version", action="version", version=_version())
    commands = top.add_subparsers(dest="name", metavar="COMMAND")
    for one in [one for one in COMMANDS if one.name == only] or COMMANDS:
        command = _command(commands, one)
        if only in (None, one.name):
            one.add_options(command)
    return top


def _screen(command: argparse.ArgumentParser) -> None:
    add_screen_settings(command)
    _again(command)


def _again(command: argparse.ArgumentParser) -> None:
    text = "repeat the run that wrote this GeoPackage, by its own settings, and say what differs (--out: NAME-again.gpkg beside it)"
    command.add_argument("--again", metavar="FILE", help=text)
    command.add_argument("--dry-run", action="store_true", help="check inputs, say what it will cost; compute nothing")
    _talk(command)


def _demo(command: argparse.ArgumentParser) -> None:
    command.add_argument("--out", metavar="FILE", default="sites.gpkg", help="GeoPackage to write (default sites.gpkg)")
    command.add_argument("--overwrite", action="store_true", help="replace the output if it exists")
    _talk(command, json=False)


def _sunchart(command: argparse.ArgumentParser) -> None:
    add_screen_settings(command, only=CHART)
    add_sunchart_options(command)
    _talk(command)


def _explain(command: argparse.ArgumentParser) -> None:
    command.add_argument("--at", nargs=2, metavar=("LON", "LAT"), help="a place in WGS 84 degrees")
    rank = whole("--rank", 1, 10_000)
    command.add_argument("--rank", type=rank, metavar="NUMBER", help="a candidate of the same screening")
    command.add_argument("--sites", metavar="FILE", help=SITES)
    add_screen_settings(command, without=("out", "keep", "rasters"), shown=())
    _talk(command)


def _stakeout(command: argparse.ArgumentParser) -> None:
    add_screen_settings(command, only=STAKEOUT)
    add_stakeout_options(command)
    _talk(command)


def _grading(command: argparse.ArgumentParser) -> None:
    add_screen_settings(command, only=GRADING)
    add_grading_options(command)
    _talk(command)


def _cost(command: argparse.ArgumentParser) -> None:
    add_screen_settings(command, only=COST)
    add_cost_options(command)
    _talk(command)


def _layout(command: argparse.ArgumentParser) -> None:
    add_screen_settings(command, without=("out", "top", "keep", "rasters"), shown=("price", "overwrite"))
    add_layout_options(command)
    _talk(command)


def _region(command: argparse.ArgumentParser) -> None:
    add_screen_settings(command, without=("out", "top", "keep", "rasters", "around", "whole"))
    add_region_options(command)
    _again(command)


def _export(command: argparse.ArgumentParser) -> None:
    add_export_options(command)
    _talk(command, json=False)


def _gather(command: argparse.ArgumentParser) -> None:
    add_gather_options(command)
    _talk(command)


def _init(command: argparse.ArgumentParser) -> None:
    command.add_argument("folder", nargs="?", default=".", metavar="FOLDER", help="where the data lie (default: here)")
    command.add_argument("--yes", action="store_true", help="ask nothing, take every proposal")
    for name, words in INIT_ANSWERS:
        command.add_argument(f"--{name.replace('_', '-')}", dest=name, metavar="ANSWER", help=words)
    command.add_argument("--elevation-unit", metavar="UNIT", help="unit of heights where the files do not say")
    command.add_argument("--overwrite", action="store_true", help="replace farm.toml if it exists")
    _talk(command)


def _report(command: argparse.ArgumentParser) -> None:
    add_report_options(command)
    add_screen_settings(command, without=("out", "keep", "rasters"), shown=("price", "overwrite"))
    _talk(command)


def _run(command: argparse.ArgumentParser) -> None:
    small.add_run_options(command)
    _talk(command, json=False)


def _small(add: Callable[[argparse.ArgumentParser], None]) -> Callable[[argparse.ArgumentParser], None]:
    def add_options(command: argparse.ArgumentParser) -> None:
        add(command)
        _talk(command, json=False)

    return add_options


def _describe(command: argparse.ArgumentParser) -> None:
    command.add_argument("--json", action="store_true", help="as JSON")


def _gis_plugin(command: argparse.ArgumentParser) -> None:
    text = "folder that holds the plug-ins of QGIS (in QGIS: Settings, User Profiles, Open Active Profile Folder; then python/plugins)"
    command.add_argument("--install", metavar="DIR", help=text)
    command.add_argument("--zip", metavar="FILE", help="or a zip file to install from")
    command.add_argument("--overwrite", action="store_true", help="replace the zip file if it exists")


def _none(command: argparse.ArgumentParser) -> None:
    """A command without options."""


@dataclass(frozen=True)
class Command:
    """A command: its name, what it does, the module of `hosts.cli` and the function in it, and what adds its options."""

    name: str
    text: str
    module: str
    function: str
    add_options: Callable[[argparse.ArgumentParser], None]


COMMANDS = (
    Command("screen", "score every placement on every parcel and rank the best", "screening", "screen", _screen),
    Command("demo", "the same job on the invented farm in sample_data", "screening", "demo", _demo),
    Command("check", "check inputs and settings, compute nothing", "screening", "check", _screen),
    Command("sunchart", "horizon, sun paths and light at one point", "sunchart", "sunchart", _sunchart),
    Command(
        "explain",
        "why a candidate is ranked where it is, or why a place is not offered",
        "explain",
        "explain",
        _explain,
    ),
    *(Command(name, text, module, name, _small(add)) for name, text, module, add in small.COMMANDS),
    Command(
        "stakeout",
        "stakes, bearings and squaring of one candidate for the field; the plan again from a level book",
        "stakeout",
        "stakeout",
        _stakeout,
    ),
    Command("grading", "grading and drainage plan of one candidate, with pictures", "grading", "grading", _grading),
    Command("cost", "what the work at candidates costs, at your own unit prices", "cost", "cost", _cost),
    Command("layout", "the best block of several houses, and trenches to the services", "layout", "layout", _layout),
    Command(
        "region",
        "screen many parcels, task by task, on one or many workers; a broken run goes on where it stopped",
        "region",
        "region",
        _region,
    ),
    Command(
        "export",
        "a finished screening or plan as GeoJSON, KML, GPX, CSV, DXF, GeoParquet, SLD, STAC",
        "export",
        "export",
        _export,
    ),
    Command("init", "look at the data in a folder, ask what is needed, write a project file", "init", "init", _init),
    Command(
        "gather",
        "elevation, surface and features round a place from sources you name; the only command that uses a network",
        "gather",
        "gather",
        _gather,
    ),
    Command("report", "a screening as one page: map, ranking, a card per candidate", "report", "report", _report),
    Command("describe", "every tool with its arguments, as data for programs", "describe", "describe", _describe),
    Command("processes", "list the geoprocessing tools and their parameters", "process", "list_processes", _none),
    Command("run", "run one process on a raster", "process", "run_process", _run),
    Command(
        "serve",
        "offer the screening and the processes over HTTP (OGC API - Processes)",
        "serve",
        "serve",
        add_server_options,
    ),
    Command("gis-plugin", "the tools for the processing toolbox of QGIS", "gis_plugin", "gis_plugin", _gis_plugin),
    Command("desk", "the whole job on a map in the browser, on this machine", "desk", "desk", add_desk_options),
)


def _command(commands: argparse._SubParsersAction[Any], about: Command) -> argparse.ArgumentParser:
    def call(given: argparse.Namespace) -> Any:
        from importlib import import_module  # a command imports what it needs and no more

        return getattr(import_module(f"tunnelsite.hosts.cli.{about.module}"), about.function)(given)

    description = f"{capital(about.text)}."
    usage = f"tunnelsite {about.name} {GROUND} [options]" if about.name in GOING_ON else None
    command: argparse.ArgumentParser = commands.add_parser(
        about.name, help=about.text, description=description, epilog=EPILOG, allow_abbrev=False, usage=usage
    )
    command.set_defaults(command=call)
    return command


def _talk(command: argparse.ArgumentParser, json: bool = True) -> None:
    if json:
        command.add_argument("--json", action="store_true", help="a machine-readable summary on stdout")
    command.add_argument("-q", "--quiet", action="store_true", help="no progress")
    command.add_argument("-v", "--verbose", action="store_true", help="say more")


def _version() -> str:
    from tunnelsite import __version__

    return f"tunnelsite {__version__}"
