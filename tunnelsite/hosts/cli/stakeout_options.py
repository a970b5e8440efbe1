"""Options of `stakeout` beyond those of the inputs."""

from __future__ import annotations

import argparse

from tunnelsite.hosts.cli.arguments import whole

PLANES = ("least-squares", "least-volume")


def add_candidate_options(command: argparse.ArgumentParser) -> None:
    """Which candidate of which screening; shared by the commands that go on from one."""
    command.add_argument("--sites", metavar="FILE", help="GeoPackage of the screening")
    command.add_argument("--rank", type=whole("--rank", 1, 10_000), metavar="NUMBER", help="which of its candidates")


def add_options(command: argparse.ArgumentParser) -> None:
    """The options of `stakeout` beyond those of the inputs."""
    add_candidate_options(command)
    command.add_argument(
        "--out",
        action="append",
        metavar="FILE",
        help="sheet to write, .csv, .gpx, .geojson, .dxf, .html or .gpkg; repeatable (default stakes.csv)",
    )
    command.add_argument("--title", metavar="TEXT", help="title of the sheet")
    command.add_argument(
        "--date", metavar="YYYY-MM-DD", help="day in the field, for the compass bearing (default: none is given)"
    )
    command.add_argument("--post-spacing", metavar="LENGTH", help="widest space between ground posts (default 4ft)")
    command.add_argument("--boards", metavar="LENGTH", help="batter boards beyond the pad (default 2.4m)")
    command.add_argument("--bench-mark", metavar="LENGTH", help="bench mark beyond the pad (default 6m)")
    command.add_argument(
        "--plane",
        choices=PLANES,
        help="finished pad: least squares as screened (default), or the plane that moves the least earth",
    )
    command.add_argument(
        "--grading",
        metavar="FILE",
        help="NAME.json that `grading` wrote: the stakes get the finished heights of that plan",
    )
    command.add_argument(
        "--level-book", metavar="FILE", help="CSV of readings at the stakes: the plan is made again from them"
    )
    command.add_argument("--level-unit", choices=("m", "ft", "us-ft"), help="unit of the readings (no default)")
    command.add_argument(
        "--bench-height",
        metavar="HEIGHT",
        help="height of the mark on which the book starts, as 100ft; a bare number is in the unit of --level-unit",
    )
    command.add_argument(
        "--known-height", action="append", metavar="STATION=HEIGHT", help="another known mark, to close on; repeatable"
    )
    command.add_argument(
        "--as-built", action="store_true", help="the readings are of the finished pad: check it against the tolerance"
    )
