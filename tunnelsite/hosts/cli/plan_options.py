"""Options of the commands that go on from a screening, beyond settings: which place, and the files to write."""

from __future__ import annotations

import argparse

from tunnelsite.hosts.cli.arguments import whole
from tunnelsite.hosts.cli.setting_options import add_settings
from tunnelsite.io.formats import FORMATS, USUAL

SITES = "SITES.gpkg by an option: GeoPackage of a screening, whose settings and inputs are used"


def add_candidate(command: argparse.ArgumentParser) -> None:
    """Which candidate of which screening."""
    command.add_argument("--sites", metavar="FILE", help=SITES)
    command.add_argument("--rank", type=whole("--rank", 1, 10_000), metavar="NUMBER", help="which of its candidates")


def add_sunchart_options(command: argparse.ArgumentParser) -> None:
    """The place and the files of `sunchart`."""
    from tunnelsite.plans.sunchart.settings import SunChartSettings

    # two values, not one with a comma: argparse takes -78.1,43.0 for an option and -78.1 for a number
    command.add_argument("--at", nargs=2, metavar=("LON", "LAT"), help="a point, in degrees (WGS 84)")
    add_candidate(command)
    command.add_argument(
        "--out", default="sunchart.svg", metavar="FILE", help="picture to write (default sunchart.svg)"
    )
    command.add_argument("--png", metavar="FILE", help="the same picture as PNG (needs the extra `png`)")
    command.add_argument("--csv", metavar="STEM", help="also write STEM-hidden.csv, -hours, -horizon and -light")
    command.add_argument("--title", metavar="TEXT", help="title of the chart")
    add_settings(command, SunChartSettings)


def add_grading_options(command: argparse.ArgumentParser) -> None:
    """The candidate and the files of `grading`."""
    from tunnelsite.plans.grading.settings import GradingSettings

    add_candidate(command)
    command.add_argument(
        "--out",
        default="grading.gpkg",
        metavar="FILE",
        help="GeoPackage of lines, areas and stakes; the pictures and tables are written beside it as NAME-map.svg, "
        "NAME-profiles.svg, NAME-profiles.csv, NAME-stations.csv and NAME.json (default grading.gpkg)",
    )
    command.add_argument("--png", action="store_true", help="the pictures as PNG too (needs the extra `png`)")
    add_settings(command, GradingSettings)


def add_stakeout_options(command: argparse.ArgumentParser) -> None:
    """The candidate and the sheets of `stakeout`."""
    from tunnelsite.plans.stakeout.settings import StakeOutSettings

    add_candidate(command)
    text = "sheet to write, .csv, .gpx, .geojson, .dxf, .html or .gpkg; repeatable (default stakes.csv)"
    command.add_argument("--out", action="append", metavar="FILE", help=text)
    text = (
        "also a page for the phone: distance and bearing to each stake, a level book and a horizon to take home as CSV"
    )
    command.add_argument("--phone", metavar="FILE", help=text)
    command.add_argument("--title", metavar="TEXT", help="title of the sheet")
    add_settings(command, StakeOutSettings)


def add_layout_options(command: argparse.ArgumentParser) -> None:
    """The files of `layout`."""
    from tunnelsite.plans.layout.settings import LayoutSettings

    text = "GeoPackage to write, with a picture beside it (default layout.gpkg)"
    command.add_argument("--out", default="layout.gpkg", metavar="FILE", help=text)
    command.add_argument("--sites", metavar="FILE", help=SITES)
    add_settings(command, LayoutSettings, without=("price",))  # the screening's own


def add_cost_options(command: argparse.ArgumentParser) -> None:
    """The candidates and the files of `cost`."""
    from tunnelsite.plans.cost.settings import CostSettings

    command.add_argument("--sites", metavar="FILE", help=SITES)
    text = "which of its candidates, as 1,2,5 (default 1)"
    command.add_argument("--ranks", default="1", metavar="LIST", help=text)
    text = "table to write; the summary is written beside it as NAME.json (default cost.csv)"
    command.add_argument("--out", default="cost.csv", metavar="FILE", help=text)
    add_settings(command, CostSettings, without=("price",))  # the screening's own


def add_report_options(command: argparse.ArgumentParser) -> None:
    """The run and the files of `report`."""
    from tunnelsite.report.settings import ReportSettings

    command.add_argument("--out", default="report.html", metavar="FILE", help="page to write (default report.html)")
    command.add_argument("--sites", metavar="FILE", help=SITES)
    text = "a run kept with `screen --keep`, instead of screening; its inputs (--project) give the sun charts"
    command.add_argument("--run", metavar="FILE", help=text)
    command.add_argument("--pdf", metavar="FILE", help="the page as PDF too, printed by a Chromium browser")
    text = "checklists of the trade as a page of their own: what no elevation model answers, with boxes to tick"
    command.add_argument("--checklists", metavar="FILE", help=text)
    text = "the browser that prints it (default: TUNNELSITE_BROWSER, or the first found on the path)"
    command.add_argument("--browser", metavar="PROGRAM", help=text)
    add_settings(command, ReportSettings)


def add_export_options(command: argparse.ArgumentParser) -> None:
    """What `export` is given."""
    command.add_argument("sites", metavar="SITES", help="GeoPackage of a screening, a grading plan or a layout")
    command.add_argument("--to", required=True, metavar="FOLDER", help="folder for the files, new or old")
    usual = ",".join(USUAL)
    text = f"of {', '.join(FORMATS)} (default {usual})"
    command.add_argument("--as", dest="formats", default=usual, metavar="FORMAT,...", help=text)
    text = "folder of `screen --rasters`: its rasters join the STAC item"
    command.add_argument("--rasters", metavar="DIR", help=text)
    text = "report or picture for the STAC item; repeatable"
    command.add_argument("--asset", action="append", default=[], metavar="FILE", help=text)
    command.add_argument("--overwrite", action="store_true", help="replace files that exist")
    command.add_argument("--json", action="store_true", help="a machine-readable summary on stdout")
