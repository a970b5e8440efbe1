"""What is written in a file reads back as what it was, by readers that share nothing with the writer where there is one."""

from __future__ import annotations

import csv
import gzip
import io
import json
import math
import re
from pathlib import Path

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.core.layers import Features
from tunnelsite.core.stake_sheet import StakePoint
from tunnelsite.core.table import Column, Table
from tunnelsite.io.formats.csv_table import csv_text
from tunnelsite.io.formats.geojson import geojson_text
from tunnelsite.io.formats.geopackage import run_stamp, write_geopackage
from tunnelsite.io.formats.kml import kml_text
from tunnelsite.io.formats.layers_gpx import layers_gpx
from tunnelsite.io.formats.stake_sheets import stake_geojson, stake_gpx
from tunnelsite.io.formats.world import world_layer
from tunnelsite.io.read.field_horizon import read_field_readings
from tunnelsite.io.read.kept_arrays import stored_arrays
from tunnelsite.io.read.stored import read_layers
from tunnelsite.region.part import packed, unpacked
from tunnelsite.screening.kept_parts import _features_in, features_out
from tunnelsite.sun.field_horizon import measured_horizon

WGS84 = pyproj.CRS("EPSG:4326")
WORDS = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=15)  # control characters: test_handover.py
LON, LAT = st.floats(-179.9, 179.9), st.floats(-84, 84)
WHERE = st.tuples(st.floats(-179, 179), st.floats(-84, 84))  # one farm
FINITE = st.floats(allow_nan=False, allow_infinity=False)
STEP_DEG = 10.0**-7  # the last decimal in which places are written


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("round")


# --- places


@st.composite
def polygons(draw, place: tuple[float, float] = (-75.6, 42.4)) -> shapely.Polygon:
    """A convex polygon of some hundred metres near a place, sometimes with a hole, its ring either way round."""
    lon, lat = (value + draw(st.floats(-0.1, 0.1)) for value in place)
    size = draw(st.floats(1e-4, 1e-2))
    angles = sorted(draw(st.lists(st.floats(0, 6.2), min_size=5, max_size=9, unique_by=lambda a: round(a, 1))))
    ring = [(lon + size * math.cos(a), lat + size * math.sin(a)) for a in angles]
    hole = [[(lon + size / 50 * math.cos(a), lat + size / 50 * math.sin(a)) for a in angles]]
    whole = shapely.Polygon(
        ring, hole if draw(st.booleans()) and shapely.Polygon(ring).contains(shapely.Polygon(hole[0])) else []
    )
    return shapely.reverse(whole) if draw(st.booleans()) else whole


LAYERS = WHERE.flatmap(lambda place: st.lists(st.one_of(polygons(place), st.none()), min_size=1, max_size=5))


def layer_of(shapes: list, kind: str, **columns):
    values = columns or {"rank": Column(list(range(1, len(shapes) + 1)), "INTEGER")}
    return world_layer("candidates", Table(values, shapes, kind), WGS84)


@given(LAYERS)
def test_geojson(shapes: list) -> None:
    """RFC 7946 by `shapely.from_geojson`, which is GEOS: outer rings counter-clockwise (3.1.6), box (5), places to the last
    decimal; what has no place is null (3.2)."""
    found = json.loads(geojson_text(layer_of(shapes, "Polygon"), ["x"]))
    assert len(found["features"]) == len(shapes)
    parts = []
    for feature, shape in zip(found["features"], shapes, strict=True):
        if shape is None:
            assert feature["geometry"] is None
            continue
        back = shapely.from_geojson(json.dumps(feature["geometry"]))
        assert shapely.hausdorff_distance(back, shape) <= STEP_DEG
        assert back.exterior.is_ccw and not any(ring.is_ccw for ring in back.interiors)
        parts.append(back)
    if parts:
        assert found["bbox"] == pytest.approx(shapely.total_bounds(np.array(parts)).tolist(), abs=1e-12)


@given(st.lists(st.tuples(LON, LAT, st.one_of(st.none(), st.floats(-400, 8000))), min_size=1, max_size=6))
def test_gpx_in_another_library(points: list[tuple]) -> None:
    gpxpy = pytest.importorskip("gpxpy")
    columns = {
        "rank": Column([1] * len(points), "INTEGER"),
        "kind": Column(["corner"] * len(points), "TEXT"),
        "label": Column([f"c{k}" for k in range(len(points))], "TEXT"),
        "ground_m": Column([height for *_, height in points], "REAL"),
    }
    shapes = [shapely.Point(lon, lat) for lon, lat, _ in points]
    layer = world_layer("stakes", Table(columns, shapes, "Point"), WGS84)
    found = gpxpy.parse(layers_gpx([layer], "title", []))
    assert len(found.waypoints) == len(points)
    for mark, (lon, lat, height) in zip(found.waypoints, points, strict=True):
        assert (mark.longitude, mark.latitude) == pytest.approx((lon, lat), abs=STEP_DEG)
        assert mark.elevation == (None if height is None else pytest.approx(height, abs=0.005001))


@given(LAYERS)
def test_kml_places(shapes: list) -> None:
    layer = layer_of(shapes, "Polygon")
    rings = [ring for shape in shapes if shape is not None for ring in [shape.exterior, *shape.interiors]]
    found = re.findall(r"<outerBoundaryIs>.*?</outerBoundaryIs>|<innerBoundaryIs>.*?</innerBoundaryIs>",
                       kml_text([layer], "t", []), re.DOTALL)  # fmt: skip
    assert len(found) == len(rings)
    for text, ring in zip(found, rings, strict=True):
        pairs = re.search(r"<coordinates>(.*?)</coordinates>", text, re.DOTALL)[1].split()
        back = shapely.LinearRing([tuple(map(float, pair.split(",")[:2])) for pair in pairs])
        assert shapely.hausdorff_distance(back, ring) <= STEP_DEG


@given(
    LON,
    LAT,
    st.lists(
        st.tuples(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3), FINITE.filter(lambda v: abs(v) < 9000)),
        min_size=1,
        max_size=6,
    ),
)
def test_stake_sheets_in_other_readers(lon: float, lat: float, offsets: list[tuple[float, float, float]]) -> None:
    """GPX by gpxpy, GeoJSON by the standard library: nine decimals, 0.1 mm."""
    gpxpy = pytest.importorskip("gpxpy")
    corners = [(-1e-4, -1e-4), (1e-4, -1e-4), (1e-4, 1e-4), (-1e-4, 1e-4)]
    points = [StakePoint("corner", f"C{k}", 0, 0, 0, 0, lon + x, lat + y) for k, (x, y) in enumerate(corners)]
    points += [
        StakePoint("grid", f"G{k}", 1, 2, 3, 4, lon + x, lat + y, z, z, 0.0) for k, (x, y, z) in enumerate(offsets)
    ]
    sheet = _sheet(tuple(points))
    for mark, point in zip(gpxpy.parse(stake_gpx(sheet)).waypoints, points, strict=True):
        assert (mark.longitude, mark.latitude) == pytest.approx((point.lon_deg, point.lat_deg), abs=1e-9)
        assert mark.elevation == (None if point.ground_m is None else pytest.approx(point.ground_m, abs=5.001e-4))
    features = json.loads(stake_geojson(sheet))["features"][1:]
    for feature, point in zip(features, points, strict=True):
        assert feature["geometry"]["coordinates"] == pytest.approx([point.lon_deg, point.lat_deg], abs=1e-9)
        height = feature["properties"]["ground_m"]
        assert height == (None if point.ground_m is None else pytest.approx(point.ground_m, abs=5.001e-5))


def _sheet(points: tuple[StakePoint, ...]):
    from dataclasses import replace

    from tests.io.stake_sheet_example import example_sheet

    return replace(_EXAMPLE[0] if _EXAMPLE else _EXAMPLE.append(example_sheet()) or _EXAMPLE[0], points=points)


_EXAMPLE: list = []


# --- tables


@st.composite
def tables(draw) -> dict[str, Column]:
    count = draw(st.integers(0, 6))
    kinds = {
        "REAL": FINITE,
        "INTEGER": st.integers(-(2**53), 2**53),
        "BOOLEAN": st.booleans(),
        "TEXT": WORDS,
    }
    names = draw(st.lists(st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True), min_size=1, max_size=5, unique=True))
    found = {}
    for name in names:
        kind = draw(st.sampled_from(sorted(kinds)))
        values = draw(st.lists(st.one_of(st.none(), kinds[kind]), min_size=count, max_size=count))
        found[name] = Column(values, kind)
    return found


@given(tables())
def test_csv_by_the_standard_library(columns: dict[str, Column]) -> None:
    """RFC 4180: floats to the last bit, what is unknown as an empty cell, words less the apostrophe of a formula."""
    rows = list(csv.reader(io.StringIO(csv_text(Table(columns)), newline=""), strict=True))
    assert rows[0] == list(columns)
    for k, column in enumerate(columns.values()):
        for cells, value in zip(rows[1:], column.values, strict=True):
            assert _as(cells[k], column.kind) == ("" if value is None else value)


def _as(cell: str, kind: str):
    if not cell:
        return ""
    if kind == "TEXT":
        return cell[1:] if re.match(r"'[=+\-@\t\r\n＝＋－＠]", cell) else cell
    return {"REAL": float, "INTEGER": int, "BOOLEAN": lambda text: text == "True"}[kind](cell)


@given(tables(), LAYERS)
def test_a_geopackage_by_the_reader_of_export(folder: Path, columns: dict[str, Column], shapes: list) -> None:
    path = folder / "t.gpkg"
    places = {"rank": Column(list(range(len(shapes))), "INTEGER")}
    given_tables = {"plain": Table(columns), "places": Table(places, shapes, "Polygon")}
    words = {"styles": {}, "lineage_xml": "<a/>", "cautions": ["one", "two"], "overwrite": True, "stamp": run_stamp()}
    write_geopackage(path, given_tables, crs=WGS84, **words)
    stored = read_layers(str(path))
    assert stored.cautions == ("one", "two") and stored.crs.equals(WGS84)
    for back, shape in zip(stored.tables["places"].geometry, shapes, strict=True):
        assert (back is None and shape is None) or shapely.equals_exact(back, shape, 0.0)
    for name, column in columns.items():
        back = _by_any_name(stored.tables["plain"].columns, name)
        for value, old in zip(back.values, column.values, strict=True):
            missing = value is None or value != value
            assert missing if old is None else value == old, (name, column.kind)


def _by_any_name(columns: dict[str, Column], name: str) -> Column:
    """A column whose name the format reserves is stored under another; its old one stands in the description."""
    return (
        columns[name] if name in columns else next(c for c in columns.values() if f"Named {name!r} in" in c.description)
    )


# --- this program's own files


@given(
    st.lists(st.one_of(polygons(), st.just(shapely.Polygon())), max_size=5),
    st.tuples(WORDS, WORDS),
    st.sampled_from([None, "EPSG:4326", "EPSG:26917", "EPSG:2263"]),
    st.floats(0, 1e4),
)
def test_features_of_a_kept_run(shapes: list, words: tuple[str, str], system: str | None, distance_m: float) -> None:
    geometry = np.empty(len(shapes), object)
    geometry[:] = shapes
    crs = None if system is None else pyproj.CRS(system)
    features = Features(geometry, {}, crs, words[0], "ab" * 32, (words[1], "note"), distance_m)
    arrays: dict[str, np.ndarray] = {}
    about = json.loads(json.dumps(features_out(features, "k", arrays)))
    back = _features_in(about, "k", arrays)
    assert len(back) == len(shapes)
    assert all(shapely.equals_exact(one, other, 0.0) for one, other in zip(back.geometry, shapes, strict=True))
    assert (back.name, back.sha256, back.notes, back.distance_m) == (
        features.name,
        features.sha256,
        features.notes,
        distance_m,
    )
    assert back.crs == crs


@given(
    st.dictionaries(
        st.from_regex(r"[a-z0-9][a-z0-9._]{0,12}", fullmatch=True),
        st.tuples(
            st.sampled_from(["float32", "float64", "int64", "int32", "uint8", "bool"]),
            st.lists(st.integers(0, 5), max_size=3),
            st.integers(0, 2**31),
        ),
        max_size=4,
    )
)
def test_arrays_of_a_kept_run(folder: Path, wanted: dict) -> None:
    arrays = {
        name: np.random.default_rng(seed).normal(0, 100, shape).astype(kind)
        for name, (kind, shape, seed) in wanted.items()
    }
    np.savez_compressed(folder / "a.npz", **arrays)
    back = stored_arrays(folder / "a.npz")
    assert back.keys() == arrays.keys()
    for name, values in arrays.items():
        assert back[name].dtype == values.dtype and np.array_equal(back[name], values, equal_nan=True)


JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(-(2**53), 2**53), FINITE, st.text(max_size=8)),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=5), inner, max_size=3)),
    max_leaves=8,
)


@given(st.dictionaries(st.text(max_size=6).filter(lambda name: name not in ("key", "format")), JSON, max_size=4))
def test_parts_of_a_region(part: dict) -> None:
    data = packed({**part, "key": "k"})
    back = unpacked(data, "k")
    assert {name: back[name] for name in part} == part and data == packed({**part, "key": "k"})
    assert json.loads(gzip.decompress(data)) == back


@given(
    st.lists(
        st.tuples(st.floats(0, 359.999), st.floats(0, 90)),
        min_size=3,
        max_size=40,
        unique_by=lambda pair: round(pair[0], 6),
    ),
    st.sampled_from([None, *range(-180, 181, 7)]),
    st.sampled_from([",", ";"]),
    st.sampled_from(["utf-8", "utf-8-sig"]),
)
def test_a_horizon_measured_in_the_field(folder: Path, readings: list, declination, comma: str, encoding: str) -> None:
    lines = [comma.join(["Remark", "elevation_deg", " azimuth_deg "])]
    lines += [comma.join([f"r{k}", repr(elevation), repr(azimuth)]) for k, (azimuth, elevation) in enumerate(readings)]
    (folder / "h.csv").write_text("# measured\n\n" + "\n".join(lines) + "\n", encoding)
    north = "true" if declination is None else "magnetic"
    found = measured_horizon(read_field_readings(folder / "h.csv"), north=north, declination_deg=declination).horizon
    wanted = sorted(((azimuth + (declination or 0)) % 360.0, elevation) for azimuth, elevation in readings)
    assert found.azimuth_deg.tolist() == [azimuth for azimuth, _ in wanted]
    assert found.elevation_deg.tolist() == [elevation for _, elevation in wanted]
