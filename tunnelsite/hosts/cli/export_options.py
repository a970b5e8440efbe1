"""Options of `export`."""

from __future__ import annotations

import argparse


def add_options(command: argparse.ArgumentParser) -> None:
    """What `export` is told."""
    command.add_argument("sites", metavar="SITES", help="GeoPackage of a screening, a grading plan or a layout")
    command.add_argument("--to", required=True, metavar="FOLDER", help="folder for the files, new or old")
    command.add_argument(
        "--as",
        dest="formats",
        default="geojson,kml,gpx,csv",
        metavar="FORMAT,...",
        help="of geojson, kml, gpx, csv, dxf, geoparquet, sld, stac (default geojson,kml,gpx,csv)",
    )
    command.add_argument(
        "--rasters", metavar="DIR", help="folder of `screen --rasters`: its rasters join the STAC item"
    )
    command.add_argument(
        "--asset", action="append", default=[], metavar="FILE", help="report or picture for the STAC item; repeatable"
    )
    command.add_argument("--overwrite", action="store_true", help="replace files that exist")
    command.add_argument("--json", action="store_true", help="a machine-readable summary on stdout")
