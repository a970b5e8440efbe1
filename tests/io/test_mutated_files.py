"""Valid files with bits flipped, parts cut out, repeated or swapped for hostile words: read or refused, never anything else.

Longer campaigns of such changes (22 000 files of 14 kinds) met no other outcome; these few keep it so.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from pathlib import Path

import geopandas
import pytest

from tests.io.mutations import mutated
from tests.whole_run.files import gentle, plain_farm
from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.io.field_horizon import read_field_horizon
from tunnelsite.io.level_books import read_level_book_text
from tunnelsite.io.rasters import raster_header, read_raster
from tunnelsite.io.vectors import read_features
from tunnelsite.settings import project_settings, settings_from
from tunnelsite.siteplan.level_book import parse_level_book, reduce_level_book

SLOWEST_S = 20.0  # far above what any of them takes, on the busiest machine
TOML = b'dem="d.tif"\nhouse=["30x96ft"]\nkeep_out=["a.gpkg@3m"]\ntop=3\n[service]\nwater="w.gpkg"\n[weight]\nsun=2\n'
HORIZON = b"azimuth_deg,elevation_deg,note\n0,5,a\n45,3.5,b\n90,10,c\n180,0,d\n270,-1,e\n"
LEVEL = b"station,backsight,intermediate,foresight,remarks\nBM,1.600,,,start\nTP1,1.5,,1.1,turn\ncentre,,1.3,,\nBM,,,1.6,back\n"


def _level(path: Path) -> None:
    sightings = parse_level_book(read_level_book_text(path), "m", str(path))
    reduce_level_book(sightings, {sightings[0].station: 100.0}).heights_m()


READERS: dict[str, Callable[[Path], object]] = {
    "d.tif": lambda path: read_raster(raster_header(path)),
    "p.gpkg": lambda path: read_features(path, "PARCELS"),
    "p.geojson": lambda path: read_features(path, "PARCELS"),
    "p.fgb": lambda path: read_features(path, "PARCELS"),
    "p.kml": lambda path: read_features(path, "PARCELS"),
    "p.gml": lambda path: read_features(path, "PARCELS"),
    "p.toml": lambda path: settings_from(project_settings(path)[0]),
    "h.csv": lambda path: read_field_horizon(path, north="true"),
    "l.csv": _level,
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
    return found | {"p.toml": TOML, "h.csv": HORIZON, "l.csv": LEVEL}


@pytest.mark.parametrize("name", READERS)
def test_read_or_refused_in_time(tmp_path: Path, whole, name: str) -> None:
    path, chance = tmp_path / name, random.Random(name)
    path.write_bytes(whole[name])
    READERS[name](path)
    refused = 0
    for _ in range(60):
        path.write_bytes(mutated(whole[name], chance))
        started = time.monotonic()
        try:
            READERS[name](path)
        except TunnelsiteError as problem:
            refused += 1
            assert problem.given and problem.expected and problem.mend
        assert time.monotonic() - started < SLOWEST_S
    assert refused > 5
