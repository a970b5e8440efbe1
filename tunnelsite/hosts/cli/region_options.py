"""Options of `region` beyond those of a screening."""

from __future__ import annotations

import argparse

from tunnelsite.hosts.cli.kept_regions import add_pool_options


def add_options(command: argparse.ArgumentParser) -> None:
    """Options of `region`."""
    command.add_argument("--out", metavar="FILE", help="GeoPackage to write (default region.gpkg)")
    command.add_argument("--top", metavar="NUMBER", help="candidates kept for each parcel (default 3)")
    text = "side of the squares whose parcels share a local grid (default: small regions whole, else 8, 4 or 2 km); 0m = each parcel alone"
    command.add_argument("--group-size", metavar="LENGTH", help=text)
    text = "how far water is followed: `all` the land of the DEM, once, before the parcels (default), or no farther than each task's `halo`"
    command.add_argument("--drainage", choices=("all", "halo"), help=text)
    text = "column of the parcels (township, soil, owner class): adds the layer `groups` and a map, NAME-groups.svg"
    command.add_argument("--group-by", metavar="COLUMN", help=text)
    text = "also write the best score in blocks of this size as a raster beside the GeoPackage, NAME-suitability.tif"
    command.add_argument("--suitability", metavar="LENGTH", help=text)
    add_pool_options(command)
    text = "also keep every placement's measures in the folder of finished tasks, for `robustness` and `rescore` of the GeoPackage"
    command.add_argument("--keep", dest="keep_runs", action="store_true", help=text)
    command.add_argument(
        "--parquet", action="store_true", help="candidates and parcels as GeoParquet too (extra `parquet`)"
    )
    text = "the same for every task as soon as it is done, in the folder NAME-partitions (extra `parquet`)"
    command.add_argument("--partitions", action="store_true", help=text)
