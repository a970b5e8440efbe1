"""Options of every command. No heavy import here: `--help` and usage errors come at once."""

from __future__ import annotations

import argparse
from typing import Any

from tunnelsite.hosts.cli import small_options as small
from tunnelsite.hosts.cli.arguments import Parser, whole
from tunnelsite.hosts.cli.export_options import add_options as add_export_options
from tunnelsite.hosts.cli.gather_options import add_options as add_gather_options
from tunnelsite.hosts.cli.grading_options import add_options as add_grading_options
from tunnelsite.hosts.cli.layout_options import add_options as add_layout_options
from tunnelsite.hosts.cli.region_options import add_options as add_region_options
from tunnelsite.hosts.cli.report_options import add_options as add_report_options
from tunnelsite.hosts.cli.screen_options import GRADING_OPTIONS, SCREEN_OPTIONS, SITE_OPTIONS, STAKEOUT_OPTIONS
from tunnelsite.hosts.cli.server_options import add_desk_options
from tunnelsite.hosts.cli.server_options import add_options as add_server_options
from tunnelsite.hosts.cli.stakeout_options import add_options as add_stakeout_options
from tunnelsite.hosts.cli.sunchart_options import add_options as add_sunchart_options

EPILOG = (
    "Exit status: 0 done, 2 wrong usage, 3 input refused, 4 not enough resources, 5 output not written, "
    "130 interrupted (143 by SIGTERM, 129 by SIGHUP). Lengths take m, cm, ft or in, as 20ft; without a unit they are metres."
)


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = Parser(
        "tunnelsite",
        description="Finds where a high tunnel or greenhouse should stand.",
        epilog=EPILOG,
        allow_abbrev=False,
    )
    top.add_argument("--version", action="version", version=_version())
    commands = top.add_subparsers(dest="name", required=True, metavar="COMMAND")
    for add in (
        _add_screen,
        _add_demo,
        _add_check,
        _add_sunchart,
        _add_explain,
        _add_small,
        _add_stakeout,
        _add_grading,
        _add_layout,
        _add_region,
        _add_export,
        _add_gather,
        _add_report,
        _add_processes,
        _add_run,
        _add_serve,
        _add_desk,
    ):
        add(commands)
    return top


def _add_screen(commands) -> None:
    text = "score every placement on every parcel and rank the best"
    screen = _command(commands, "screen", text, "screening", "screen")
    screen.add_argument("dem", nargs="?", metavar="DEM", help="bare-ground elevation raster (GeoTIFF or ESRI ASCII)")
    screen.add_argument(
        "parcels", nargs="?", metavar="PARCELS", help="parcel polygons (GeoPackage, GeoJSON, Shapefile)"
    )
    _screen_options(screen)


def _add_demo(commands) -> None:
    demo = _command(commands, "demo", "the same job on the invented farm in sample_data", "screening", "demo")
    demo.add_argument("--out", metavar="FILE", default="sites.gpkg", help="GeoPackage to write (default sites.gpkg)")
    demo.add_argument("--overwrite", action="store_true", help="replace the output if it exists")
    _talk(demo)


def _add_check(commands) -> None:
    check = _command(commands, "check", "check inputs and settings, compute nothing", "screening", "check")
    check.add_argument("dem", nargs="?", metavar="DEM")
    check.add_argument("parcels", nargs="?", metavar="PARCELS")
    _screen_options(check)


def _add_sunchart(commands) -> None:
    chart = _command(commands, "sunchart", "horizon, sun paths and light at one point", "sunchart", "sunchart")
    _input_options(chart)
    add_sunchart_options(chart)


def _add_explain(commands) -> None:
    text = "why a candidate is ranked where it is, or why a place is not offered"
    explain = _command(commands, "explain", text, "explain", "explain")
    explain.add_argument("dem", nargs="?", metavar="DEM")
    explain.add_argument("parcels", nargs="?", metavar="PARCELS")
    explain.add_argument("--at", nargs=2, metavar=("LON", "LAT"), help="a place in WGS 84 degrees")
    explain.add_argument(
        "--rank", type=whole("--rank", 1, 10_000), metavar="NUMBER", help="a candidate of the same screening"
    )
    _screen_options(explain, without=("--out", "--keep", "--rasters", "--dry-run"))


def _add_small(commands) -> None:
    for name, text, module, add in small.COMMANDS:
        command = _command(commands, name, text, module, name)
        add(command)
        _talk(command)


def _add_stakeout(commands) -> None:
    text = "stakes, bearings and squaring of one candidate for the field; the plan again from a level book"
    command = _command(commands, "stakeout", text, "stakeout", "stakeout")
    _input_options(command, STAKEOUT_OPTIONS)
    _service_option(command)
    add_stakeout_options(command)


def _add_grading(commands) -> None:
    text = "grading and drainage plan of one candidate, with pictures"
    command = _command(commands, "grading", text, "grading", "grading")
    _input_options(command, GRADING_OPTIONS)
    _keep_out_option(command)
    _service_option(command)
    add_grading_options(command)


def _add_layout(commands) -> None:
    text = "the best block of several houses, and trenches to the services"
    command = _command(commands, "layout", text, "layout", "layout")
    command.add_argument("dem", nargs="?", metavar="DEM")
    command.add_argument("parcels", nargs="?", metavar="PARCELS")
    _screen_options(command, without=("--out", "--top", "--keep", "--rasters", "--dry-run"))
    add_layout_options(command)


def _add_region(commands) -> None:
    text = "screen many parcels, task by task, on one or many workers; a broken run goes on where it stopped"
    command = _command(commands, "region", text, "region", "region")
    command.add_argument("dem", nargs="?", metavar="DEM", help="elevation raster, or a folder of tiles")
    command.add_argument("parcels", nargs="?", metavar="PARCELS", help="parcel polygons")
    _screen_options(command, without=("--out", "--top", "--keep", "--rasters"))
    add_region_options(command)


def _add_export(commands) -> None:
    text = "a finished screening or plan as GeoJSON, KML, GPX, CSV, DXF, GeoParquet, SLD, STAC"
    command = _command(commands, "export", text, "export", "export")
    add_export_options(command)
    _talk(command)


def _add_gather(commands) -> None:
    text = "elevation, surface and features round a place from sources you name; the only command that uses a network"
    command = _command(commands, "gather", text, "gather", "gather")
    add_gather_options(command)
    command.add_argument("--json", action="store_true", help="machine-readable")
    _talk(command)


def _add_report(commands) -> None:
    words = ("report", "a screening as one page: map, ranking, a card a candidate", "report", "report")
    command = _command(commands, *words)
    add_report_options(command)
    _screen_options(command, without=("--out", "--keep", "--rasters", "--dry-run"))


def _add_processes(commands) -> None:
    text = "list the geoprocessing tools and their parameters"
    _command(commands, "processes", text, "process", "list_processes")


def _add_run(commands) -> None:
    run = _command(commands, "run", "run one process on a raster", "process", "run_process")
    small.add_run_options(run)
    _talk(run)


def _add_serve(commands) -> None:
    text = "offer the screening and the processes over HTTP (OGC API - Processes)"
    add_server_options(_command(commands, "serve", text, "serve", "serve"))


def _add_desk(commands) -> None:
    text = "the whole job on a map in the browser, on this machine"
    add_desk_options(_command(commands, "desk", text, "desk", "desk"))


def _input_options(command: argparse.ArgumentParser, options: tuple[str, ...] = SITE_OPTIONS) -> None:
    """What a command needs that looks at a site without screening it."""
    command.add_argument("dem", nargs="?", metavar="DEM")
    command.add_argument("parcels", nargs="?", metavar="PARCELS")
    command.add_argument("--project", metavar="FILE", help="project file (TOML); the command line wins")
    for option, metavar, text in SCREEN_OPTIONS:
        if option in options:
            command.add_argument(option, metavar=metavar, help=text)
    command.add_argument("--overwrite", action="store_true", default=None, help="replace outputs that exist")
    command.add_argument("--json", action="store_true", help="a machine-readable summary on stdout")
    _talk(command)


def _command(commands, name: str, text: str, module: str, function: str) -> argparse.ArgumentParser:
    def call(given: argparse.Namespace) -> Any:
        from importlib import import_module  # a command imports what it needs and no more

        return getattr(import_module(f"tunnelsite.hosts.cli.{module}"), function)(given)

    command = commands.add_parser(
        name, help=text, description=text[0].upper() + text[1:] + ".", epilog=EPILOG, allow_abbrev=False
    )
    command.set_defaults(command=call)
    return command


def _screen_options(command: argparse.ArgumentParser, without: tuple[str, ...] = ()) -> None:
    command.add_argument("--project", metavar="FILE", help="project file (TOML); the command line wins")
    command.add_argument(
        "--house", action="append", metavar="WxL", help="30x96ft or 9.1x29.3m; repeatable: sizes compete"
    )
    for option, metavar, text in SCREEN_OPTIONS:
        if option not in without:
            command.add_argument(option, metavar=metavar, help=text)
    _keep_out_option(command)
    _service_option(command)
    command.add_argument(
        "--weight", action="append", metavar="CRITERION=NUMBER", help="weight of a criterion; repeatable"
    )
    command.add_argument("--zero-is-nodata", action="store_true", default=None, help="heights of exactly 0 are voids")
    command.add_argument(
        "--keep-water-like", action="store_true", default=None, help="allow level patches and calm ones inside a rim"
    )
    command.add_argument("--overwrite", action="store_true", default=None, help="replace outputs that exist")
    if "--dry-run" not in without:
        text = "check inputs, say what it will cost; compute nothing"
        command.add_argument("--dry-run", action="store_true", help=text)
    command.add_argument("--json", action="store_true", help="a machine-readable summary on stdout")
    _talk(command)


def _keep_out_option(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--keep-out", action="append", metavar="FILE[@DISTANCE]", help="where nothing may stand; repeatable"
    )


def _service_option(command: argparse.ArgumentParser) -> None:
    text = "a raster or features of your own, read by criteria under that name; repeatable"
    command.add_argument("--layer", action="append", metavar="NAME=FILE[@UNIT]", help=text)
    command.add_argument(
        "--service", action="append", metavar="NAME=FILE", help="water, power, fuel, road ...; repeatable"
    )


def _talk(command: argparse.ArgumentParser) -> None:
    command.add_argument("-q", "--quiet", action="store_true", help="no progress")
    command.add_argument("-v", "--verbose", action="store_true", help="say more")


def _version() -> str:
    from tunnelsite import __version__

    return f"tunnelsite {__version__}"


def project_values(given: argparse.Namespace) -> dict[str, Any]:
    """Settings from the project file and the command line, the command line winning. Errors: UsageError."""
    from tunnelsite.core.errors import UsageError
    from tunnelsite.settings.project_file import project_settings

    values: dict[str, Any] = project_settings(given.project)[0] if given.project else {}
    names = ["dem", "parcels", "house", "keep_out", "zero_is_nodata", "keep_water_like", "overwrite"]
    names += [option[2:].replace("-", "_") for option, _, _ in SCREEN_OPTIONS]
    values |= {name: getattr(given, name) for name in names if getattr(given, name, None) is not None}
    for name, form, convert in (
        ("service", "NAME=FILE", str),
        ("layer", "NAME=FILE", str),
        ("weight", "CRITERION=NUMBER", _number),
    ):
        pairs = getattr(given, name, None) or []
        if pairs:
            values[name] = dict(values.get(name, {}))
        seen: set[str] = set()
        for pair in pairs:
            key, equals, value = pair.partition("=")
            if not equals or not key.strip() or not value.strip():
                raise UsageError(f"--{name} is {pair!r}", form, f"write it as {form}")
            if key in seen:
                raise UsageError(f"--{name} {key} is given twice", "each name once", "leave one out")
            seen.add(key)
            values[name][key] = convert(value)
    return values


def _number(text: str) -> float:
    from tunnelsite.core.units import number

    return number(text, "--weight")
