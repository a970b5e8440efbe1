"""Options of the commands that need few: rescore, compare, robustness, run."""

from __future__ import annotations

import argparse

from tunnelsite.hosts.cli.arguments import whole
from tunnelsite.hosts.cli.kept_regions import add_pool_options

KEPT = "file of `tunnelsite screen --keep`, or the GeoPackage of `tunnelsite region --keep`"


def _add(command: argparse.ArgumentParser, *keys: str) -> None:
    """Settings of the kept run that may be changed; what is not given stays as it was."""
    from tunnelsite.hosts.cli.setting_options import add_settings
    from tunnelsite.settings.fields import ScreeningFields  # pydantic: only where the settings are needed

    add_settings(command, ScreeningFields, only=keys, kept="as in the run")


def add_rescore_options(command: argparse.ArgumentParser) -> None:
    """Options of `rescore`."""
    command.add_argument("kept", metavar="KEPT", help=KEPT)
    command.add_argument("--out", required=True, metavar="FILE", help="GeoPackage to write")
    _add(command, "weight", "rubric", "top")
    add_pool_options(command)
    command.add_argument("--overwrite", action="store_true", help="replace the output if it exists")
    command.add_argument("--json", action="store_true", help="a machine-readable summary on stdout")


def add_compare_options(command: argparse.ArgumentParser) -> None:
    """Options of `compare`."""
    command.add_argument("first", metavar="SITES", help="GeoPackage of a screening")
    command.add_argument("second", nargs="?", metavar="SITES", help="GeoPackage of another")
    text = "candidates of the one run to set side by side, as 1,2,5; the others are compared with the first of them"
    command.add_argument("--ranks", metavar="LIST", help=text)
    command.add_argument("--json", action="store_true", help="machine-readable")


def add_robustness_options(command: argparse.ArgumentParser) -> None:
    """Options of `robustness`."""
    command.add_argument("kept", metavar="KEPT", help=KEPT)
    text = "GeoPackage to write: places and shares of every rank; of a region its parcels and the table `sensitivity`"
    command.add_argument("--out", metavar="FILE", help=text)
    _add(command, "draws", "seed", "elevation_error", "error_range")
    text = "how closely random weights keep to the given ones (default 50); 0 = any weights are equally likely"
    command.add_argument("--concentration", metavar="NUMBER", help=text)
    text = "of a region: by how much each limit may be stricter or looser, up to 25 %% (default 10 %%)"
    command.add_argument("--limit-range", metavar="SHARE", help=text)
    add_pool_options(command)
    command.add_argument("--overwrite", action="store_true", help="replace the output if it exists")
    command.add_argument("--json", action="store_true", help="machine-readable")


def add_run_options(command: argparse.ArgumentParser) -> None:
    """Options of `run`."""
    command.add_argument("process", metavar="NAME", help="see `tunnelsite processes`")
    command.add_argument("input", metavar="IN", help="elevation raster")
    command.add_argument("output", metavar="OUT", help="raster to write (COG)")
    command.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", help="a parameter; repeatable")
    command.add_argument("--layer", metavar="ID", help="which of the process's layers to write (default: the first)")
    command.add_argument(
        "--crop-months", metavar="FIRST:LAST", default="01-01:12-31", help="for processes that read the sun"
    )
    command.add_argument(
        "--elevation-unit", metavar="UNIT", help="m, ft, us-ft, dm or cm, where the raster does not say"
    )
    command.add_argument("--dem-crs", metavar="CRS", help="coordinate system where the raster does not say")
    command.add_argument(
        "--band", type=whole("--band", 1, 65_535), metavar="NUMBER", help="band, where there are several"
    )
    command.add_argument("--overwrite", action="store_true", help="replace the output if it exists")


# name (also of the function), what it does, module, its options
COMMANDS = (
    (
        "rescore",
        "rank a kept run again with other weights, curves or limits; no terrain is computed",
        "ranking",
        add_rescore_options,
    ),
    ("compare", "two screenings, or candidates of one, side by side", "ranking", add_compare_options),
    (
        "robustness",
        "how firm the ranking of a kept run is: random weights and errors of the elevations",
        "robustness",
        add_robustness_options,
    ),
)
