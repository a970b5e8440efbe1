"""Options of `layout` beyond those of a screening."""

from __future__ import annotations

import argparse

from tunnelsite.hosts.cli.arguments import whole


def add_options(command: argparse.ArgumentParser) -> None:
    """The options of `layout` beyond those of a screening."""
    command.add_argument(
        "--out",
        default="layout.gpkg",
        metavar="FILE",
        help="GeoPackage to write, with a picture beside it (default layout.gpkg)",
    )
    command.add_argument("--houses", type=whole("--houses", 1, 1000), metavar="NUMBER", help="how many houses at most")
    command.add_argument(
        "--scattered", action="store_true", help="each house where it is best, wherever that is; else one compact block"
    )
    command.add_argument(
        "--aisle", metavar="LENGTH", help="room for machines between or along the rows' ends (default 20ft)"
    )
    command.add_argument(
        "--give",
        metavar="POINTS",
        help="mean points a block may give up for cheaper trenches, with --price (default 2)",
    )
    command.add_argument(
        "--mix",
        action="append",
        metavar="WxL=NUMBER",
        help="scattered: how many of one --house size at most; repeatable",
    )
    command.add_argument("--parcel", action="append", metavar="NAME", help="only on this parcel; repeatable")
    command.add_argument(
        "--first", choices=("score", "houses"), help="scattered: highest total score (default), or most houses first"
    )
    command.add_argument("--gap", metavar="LENGTH", help="clear between long sides (default 12ft)")
    command.add_argument("--end-gap", metavar="LENGTH", help="scattered: clear between ends (default as --gap)")
    command.add_argument(
        "--shade-from", metavar="HH:MM", help="no house shades the next from this solar time until as long after noon"
    )
    command.add_argument("--shade-day", metavar="MM-DD", help="day for --shade-from (default: midwinter)")
    command.add_argument(
        "--roof", choices=("arch", "gable"), default="arch", help="what casts the shade (default arch)"
    )
    command.add_argument("--eave", metavar="LENGTH", help="eave height of a gable (default 0)")
    command.add_argument("--time-limit", metavar="SECONDS", help="scattered: for the solver, about (default 60)")
