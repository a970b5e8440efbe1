"""Options of `grading` beyond those of the inputs."""

from __future__ import annotations

import argparse

from tunnelsite.hosts.cli.stakeout_options import add_candidate_options

# option, metavar, help
EARTH = (
    ("--deepest-cut", "LENGTH", "the pad is cut no deeper than this anywhere"),
    ("--cut-slope", "NUMBER", "side slopes in cut, run for each unit of rise (default 3)"),
    ("--fill-slope", "NUMBER", "side slopes in fill (default 3)"),
    ("--topsoil", "LENGTH", "topsoil stripped from all disturbed ground (default 0.15m)"),
    ("--base", "LENGTH", "compacted base over the pad of a container house (default 0)"),
    ("--base-loose", "NUMBER", "loose m3 to order for one compacted m3 of base (default 1)"),
    ("--crown", "SLOPE", "fall from the ridge line to each side, container houses (default 0)"),
    ("--apron-fall", "SLOPE", "fall of the apron away from the house (default 0)"),
    ("--draws", "NUMBER", "draws of that error for the intervals of the volumes (default 200)"),
)
WATER = (
    ("--swale-depth", "LENGTH", "least depth of the swale (default 0.3m)"),
    ("--swale-fall", "SLOPE", "least fall of its bottom (default 0.5 %%)"),
    ("--swale-bottom", "LENGTH", "width of its bottom (default 0.6m)"),
    ("--swale-side", "NUMBER", "its side slopes, run for each unit of rise (default 3)"),
    ("--spreader", "LENGTH", "longest level spreader at the swale's outlets, 0 = none (default 100ft)"),
    ("--rain", "RATE", "rain intensity over about the time of concentration, as 4in/h or 100mm/h"),
    ("--runoff-share", "NUMBER", "share of that rain which runs off (default 0.35)"),
    ("--roof-rain", "RATE", "10-year 5-minute rain intensity, for the roof"),
    ("--curve-number", "NUMBER", "curve number of the land uphill, with --burst and --two-year-rain"),
    ("--burst", "DEPTH/MINUTES", "one burst of rain, as 1.2in/30min"),
    ("--two-year-rain", "LENGTH", "2-year 24-hour rain, for the time of concentration"),
)


def add_options(command: argparse.ArgumentParser) -> None:
    """The options of `grading` beyond those of the inputs."""
    add_candidate_options(command)
    command.add_argument(
        "--out",
        default="grading.gpkg",
        metavar="FILE",
        help="GeoPackage of lines, areas and stakes; the pictures and tables are written beside it as NAME-map.svg, "
        "NAME-profiles.svg, NAME-profiles.csv, NAME-stations.csv and NAME.json (default grading.gpkg)",
    )
    command.add_argument("--png", action="store_true", help="the pictures as PNG too (needs the extra `png`)")
    command.add_argument("--contours", metavar="LENGTH", help="contour interval (default: chosen by the relief)")
    command.add_argument(
        "--balance",
        choices=("pad", "whole", "none"),
        default="pad",
        help="cut makes the fill on the pad (default), on pad and side slopes, or is not balanced",
    )
    command.add_argument("--no-swale", action="store_true", help="plan without a swale")
    for option, metavar, text in (*EARTH, *WATER):
        command.add_argument(option, metavar=metavar, help=text)
