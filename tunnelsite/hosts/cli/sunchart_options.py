"""Options of `sunchart` beyond those of the inputs."""

from __future__ import annotations

import argparse

from tunnelsite.hosts.cli.arguments import whole


def add_options(command: argparse.ArgumentParser) -> None:
    """The options of `sunchart` beyond those of the inputs."""
    # two values, not one with a comma: argparse takes -78.1,43.0 for an option and -78.1 for a number
    command.add_argument("--at", nargs=2, metavar=("LON", "LAT"), help="the point, in degrees (WGS 84)")
    command.add_argument("--sites", metavar="FILE", help="GeoPackage of a screening, for --rank")
    command.add_argument(
        "--rank", type=whole("--rank", 1, 10_000), metavar="NUMBER", help="chart the centre of this candidate"
    )
    command.add_argument(
        "--out", default="sunchart.svg", metavar="FILE", help="picture to write (default sunchart.svg)"
    )
    command.add_argument("--png", metavar="FILE", help="the same picture as PNG (needs the extra `png`)")
    command.add_argument("--csv", metavar="STEM", help="also write STEM-hidden.csv, -hours, -horizon and -light")
    command.add_argument("--title", metavar="TEXT", help="title of the chart")
    command.add_argument(
        "--utc-offset", metavar="HOURS", help="tell the time by the clock, hours ahead of UTC (default: solar time)"
    )
    command.add_argument("--days", metavar="MM-DD,...", help="days to draw (default: every month's 21st)")
    command.add_argument(
        "--field-horizon",
        metavar="FILE",
        help="CSV of azimuth_deg, elevation_deg from compass and clinometer, to compare with",
    )
    command.add_argument(
        "--north", choices=("true", "magnetic"), help="what the azimuths of the field horizon were read from"
    )
    command.add_argument("--declination", metavar="DEG", help="of the compass, east positive, for --north magnetic")
    command.add_argument(
        "--date", metavar="YYYY-MM-DD", help="day of the compass readings: declination by the World Magnetic Model 2025"
    )
    command.add_argument(
        "--use-field", action="store_true", help="draw and count with the field horizon instead of the computed one"
    )
    command.add_argument("--cover-transmission", metavar="SHARE", help="of the light that reaches the crops (0-1)")
