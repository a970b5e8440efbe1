"""Valid files with bits flipped, parts cut out, repeated or swapped for hostile words: read or refused, never anything else.

Longer campaigns of such changes (25 000 files of 20 kinds) met no other outcome; these few keep it so.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from pathlib import Path

import geopandas
import pyproj
import pytest
import shapely

from tests.io.mutations import mutated
from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm
from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.core.table import Column, Table
from tunnelsite.core.units import MONTH_DAYS
from tunnelsite.io.formats.geopackage import run_stamp, write_geopackage
from tunnelsite.io.read.field_horizon import read_field_readings
from tunnelsite.io.read.level_books import read_level_book, read_planned_pad
from tunnelsite.io.read.rasters import raster_header, read_raster
from tunnelsite.io.read.sites_file import read_candidate, read_run
from tunnelsite.io.read.stored import read_layers
from tunnelsite.io.read.vectors import read_features
from tunnelsite.io.read.weather import read_weather
from tunnelsite.io.read.wind_rose import read_wind_rose
from tunnelsite.plans.stakeout.level_book import parse_level_book, reduce_level_book
from tunnelsite.region.part import packed, unpacked
from tunnelsite.settings.model import settings_from
from tunnelsite.settings.project_file import project_settings
from tunnelsite.sun.field_horizon import measured_horizon

TIMES = {"y.epw": 20}  # a year takes longer than the rest together
SLOWEST_S = 20.0  # far above what any of them takes, on the busiest machine
TOML = b'dem="d.tif"\nhouse=["30x96ft"]\nkeep_out=["a.gpkg@3m"]\ntop=3\n[service]\nwater="w.gpkg"\n[weight]\nsun=2\n'
HORIZON = b"azimuth_deg,elevation_deg,note\n0,5,a\n45,3.5,b\n90,10,c\n180,0,d\n270,-1,e\n"
LEVEL = b"station,backsight,intermediate,foresight,remarks\nBM,1.600,,,start\nTP1,1.5,,1.1,turn\ncentre,,1.3,,\nBM,,,1.6,back\n"
PLAN = (
    b'{"lon": -78.15, "lat": 43.01, "grading": {"pad_m2": 367.1, "level_m": 196.7, "slope_along": -0.001, "slope_across": 0.003, '
    b'"crown": 0, "apron_fall": 0.02, "base_m": 0, "pad_cut_m3": 4.1, "pad_fill_m3": 4.1, "max_cut_m": 0.05, "max_fill_m": 0.16}}'
)


def _level(path: Path) -> None:
    sightings = parse_level_book(read_level_book(path).text, "m", str(path))
    reduce_level_book(sightings, {sightings[0].station: 100.0}).heights_m()


def _sites(path: Path) -> None:
    """As the commands after a screening read it; the file is any GeoPackage of this program."""
    read_layers(str(path))
    read_run(str(path))
    read_candidate(str(path), 1)


def _year() -> bytes:
    """An EPW of invented numbers: 35 columns, of which 12 to 15 are radiation, 20 and 21 the wind [@epw]."""
    head = [
        "LOCATION,Somewhere,NC,USA,TMY3,723170,36.1,-79.95,-5.0,273.0",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
    ]
    head += [
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,",
        "COMMENTS 2,",
        "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
    ]
    hours = [
        (month, day, hour)
        for month, days in enumerate(MONTH_DAYS, 1)
        for day in range(1, days + 1)
        for hour in range(1, 25)
    ]
    rows = [
        f"1990,{m},{d},{h},0,?9" + ",0" * 7 + f",{h * 9},{h * 8},{h * 3}" + ",0" * 4 + f",{h * 10},2.5" + ",0" * 13
        for m, d, h in hours
    ]
    return "\n".join(head + rows).encode() + b"\n"


READERS: dict[str, Callable[[Path], object]] = {
    "d.tif": lambda path: read_raster(raster_header(path)),
    "p.gpkg": lambda path: read_features(path, "PARCELS"),
    "p.geojson": lambda path: read_features(path, "PARCELS"),
    "p.fgb": lambda path: read_features(path, "PARCELS"),
    "p.kml": lambda path: read_features(path, "PARCELS"),
    "p.gml": lambda path: read_features(path, "PARCELS"),
    "p.shp": lambda path: read_features(path, "PARCELS"),
    "w.gpx": lambda path: read_features(path, "--service", kinds=("point",)),
    "d.asc": lambda path: read_raster(raster_header(path, crs=UTM17)),
    "s.gpkg": _sites,
    "y.epw": lambda path: (read_weather(path), read_wind_rose(path)),
    "part": lambda path: unpacked(path.read_bytes(), "key"),
    "p.toml": lambda path: settings_from(project_settings(path)[0]),
    "h.csv": lambda path: measured_horizon(read_field_readings(path), north="true"),
    "l.csv": _level,
    "g.json": read_planned_pad,
}


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("whole")
    dem, parcels = plain_farm(folder, gentle(24, 30), compress="deflate")
    found = {"d.tif": dem.read_bytes(), "p.gpkg": parcels.read_bytes()}
    table = geopandas.read_file(parcels)
    for name, driver, epsg in (
        ("p.geojson", "GeoJSON", 4326),
        ("p.fgb", "FlatGeobuf", 32617),
        ("p.kml", "KML", 4326),
        ("p.gml", "GML", 32617),
    ):
        table.to_crs(epsg).to_file(folder / name, driver=driver)
        found[name] = (folder / name).read_bytes()
    table.to_file(folder / "p.shp")
    for ending in ("shp", "shx", "dbf", "prj"):
        found[f"p.{ending}"] = (folder / f"p.{ending}").read_bytes()
    points = table.to_crs(4326).set_geometry(table.to_crs(4326).geometry.representative_point())[["geometry"]]
    points.to_file(folder / "w.gpx", driver="GPX")
    heights = "\n".join(" ".join(f"{value:.2f}" for value in row) for row in gentle(24, 30))
    asc = f"ncols 30\nnrows 24\nxllcorner {WEST}\nyllcorner {NORTH - 24}\ncellsize 1\nnodata_value -9999\n{heights}\n"
    found |= {"w.gpx": (folder / "w.gpx").read_bytes(), "d.asc": asc.encode(), "y.epw": _year()}
    found["s.gpkg"] = _screening(folder / "s.gpkg")
    found["part"] = packed(
        {"key": "key", "parcels": [{"parcel": f"p{k}", "tried": k} for k in range(40)], "notes": ["n"]}
    )
    return found | {"p.toml": TOML, "h.csv": HORIZON, "l.csv": LEVEL, "g.json": PLAN}


def _screening(path: Path) -> bytes:
    """The least that the commands after a screening ask for."""
    columns = {
        "rank": 1,
        "parcel": "p",
        "house": "6x15m",
        "width_m": 6.0,
        "length_m": 15.0,
        "bearing_deg": 90.0,
        "lon": -78.5,
        "lat": 42.4,
    }
    row = {
        name: Column([value], {int: "INTEGER", str: "TEXT", float: "REAL"}[type(value)])
        for name, value in columns.items()
    }
    shape = [shapely.box(WEST, NORTH - 6, WEST + 15, NORTH)]
    run = {name: Column([f"{name} {k}" for k in range(20)], "TEXT") for name in ("kind", "name", "value", "detail")}
    tables = {
        "candidates": Table(row, shape, "Polygon"),
        "pads": Table({"rank": row["rank"]}, shape, "Polygon"),
        "run": Table(run),
    }
    words = {"styles": {}, "lineage_xml": "<a/>", "cautions": ["c"], "overwrite": True, "stamp": run_stamp()}
    write_geopackage(path, tables, crs=pyproj.CRS(UTM17), **words)
    return path.read_bytes()


@pytest.mark.parametrize("name", READERS)
def test_read_or_refused_in_time(tmp_path: Path, whole, name: str) -> None:
    path, chance = tmp_path / name, random.Random(name)
    for part in ("shx", "dbf", "prj") if name == "p.shp" else ():
        (tmp_path / f"p.{part}").write_bytes(whole[f"p.{part}"])
    path.write_bytes(whole[name])
    READERS[name](path)
    refused = 0
    for _ in range(TIMES.get(name, 60)):
        path.write_bytes(mutated(whole[name], chance))
        started = time.monotonic()
        try:
            READERS[name](path)
        except TunnelsiteError as problem:
            refused += 1
            assert problem.given and problem.expected and problem.fix
        assert time.monotonic() - started < SLOWEST_S
    assert refused > 5
