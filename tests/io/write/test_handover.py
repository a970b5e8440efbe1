"""A result in other formats: each file is opened again by a reader that shares nothing with the writer, and says the
same. What was not assessed stays unknown, and a name from the data is only ever a name."""

from __future__ import annotations

import csv
import json
import logging
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely

from tests.io.handover_example import HOSTILE, STAMP, example_tables, write_example
from tunnelsite.core.errors import InputRefused, OutputFailed, UsageError
from tunnelsite.core.table import Column, Table
from tunnelsite.io.formats import FORMATS
from tunnelsite.io.formats.stac_run import PROCESSING
from tunnelsite.io.formats.world import bounding_box, world_layer
from tunnelsite.io.read.stored import read_layers
from tunnelsite.io.write.handover import handover_files, write_handover

EAST, NORTH = 731_000.0, 4_765_000.0
CLEANED = [
    re.sub("[\u202a-\u202e\u2066-\u2069\x00-\x08\x0b\x0c\x0e-\x1f]", "\ufffd", name)
    .replace("\n", " ")
    .replace("\t", " ")
    for name in HOSTILE
]


@pytest.fixture(scope="module")
def handed(tmp_path_factory) -> Path:
    """The folder with every format of the example."""
    folder = tmp_path_factory.mktemp("handover")
    stored = read_layers(str(write_example(folder / "sites.gpkg")))
    written = write_handover(stored, folder, FORMATS, {}, overwrite=False)
    assert sorted(written) == sorted(handover_files(stored, folder, FORMATS).values())
    assert sorted(path.name for path in folder.iterdir()) == sorted(["sites.gpkg", *(path.name for path in written)])
    return folder


def lonlat(points: np.ndarray, system: str = "EPSG:26917") -> np.ndarray:
    """By pyproj alone."""
    change = pyproj.Transformer.from_crs(system, "EPSG:4326", always_xy=True)
    return np.column_stack(change.transform(*np.asarray(points, float).T))


# --- GeoJSON (RFC 7946)


def test_geojson_in_another_library(handed: Path) -> None:
    geojson = pytest.importorskip("geojson")
    for name, table in example_tables(EAST, NORTH).items():
        if table.geometry is None:
            assert not (handed / f"{name}.geojson").exists()
            continue
        found = geojson.loads((handed / f"{name}.geojson").read_text("ascii"))
        assert found.is_valid and "crs" not in found and len(found["features"]) == len(table)
        assert any("one-call" in words for words in found["cautions"])
    found = json.loads((handed / "candidates.geojson").read_text())
    rows = [feature["properties"] for feature in found["features"]]
    assert [row["parcel"] for row in rows] == list(HOSTILE)  # as data, to the letter
    assert rows[0]["score"] is None and rows[0]["night_lux"] is None and rows[1]["ground_m"] is None
    assert rows[-1]["tiles"] == 2**53 - 1 and [row["clear"] for row in rows[:3]] == [True, None, False]
    assert json.loads((handed / "stakes.geojson").read_text())["features"][1]["geometry"] is None


def test_geojson_places_rings_and_box(handed: Path) -> None:
    """3.1.6: outer rings counter-clockwise, holes clockwise; section 5: bbox; seven decimals are 1 cm."""
    tables = example_tables(EAST, NORTH)
    for name in ("candidates", "rejections"):
        found = json.loads((handed / f"{name}.geojson").read_text())
        for feature, shape in zip(found["features"], tables[name].geometry, strict=True):
            polygons = feature["geometry"]["coordinates"]
            for rings in [polygons] if feature["geometry"]["type"] == "Polygon" else polygons:
                assert all(ring[0] == ring[-1] for ring in rings)
                assert [shapely.is_ccw(shapely.linearrings(ring)) for ring in rings] == [True] + [False] * (
                    len(rings) - 1
                )
                assert all(len(place) == 2 and all(round(x, 7) == x for x in place) for ring in rings for place in ring)
            corners = lonlat(shapely.get_coordinates(shape))
            written = shapely.get_coordinates(shapely.from_geojson(json.dumps(feature["geometry"])))
            off = [np.abs(written - corner).max(axis=1).min() for corner in corners]
            assert max(off) <= 5.1e-8  # half the last decimal
        west, south, east, north = found["bbox"]
        assert (west, south) < (east, north) and found["bbox"] == [round(x, 7) for x in found["bbox"]]


def test_long_edges_stay_where_they_are_in_the_map(tmp_path) -> None:
    """A straight edge of a map is not straight in longitude and latitude: 3 km of it bend by 10 cm here."""
    line = shapely.LineString([(EAST, NORTH), (EAST + 3000, NORTH)])
    table = Table({"a": Column([1], "INTEGER")}, [line], "LineString")
    moved = world_layer("lines", table, pyproj.CRS("EPSG:26917")).geometry[0]
    along = lonlat([line.interpolate(d).coords[0] for d in np.linspace(0, 3000, 61)])
    straight = shapely.LineString(lonlat(line.coords))
    points = shapely.points(along)
    assert shapely.distance(straight, points).max() * 111_320 > 0.05
    assert shapely.distance(moved, points).max() * 111_320 < 0.02


@pytest.mark.parametrize("system", ["EPSG:3832", "EPSG:32701"])
def test_shapes_across_the_antimeridian_are_cut(tmp_path, system: str) -> None:
    """RFC 7946 3.1.9 and 5.2: two parts, and a box whose west is more than its east."""
    lon, lat = 180.0, -17.0
    east, north = pyproj.Transformer.from_crs("EPSG:4326", system, always_xy=True).transform(lon, lat)
    tables = {
        "candidates": Table(
            {"rank": Column([1], "INTEGER"), "parcel": Column(["far"], "TEXT")},
            [shapely.box(east - 20, north, east + 10, north + 9)],
            "Polygon",
        )
    }
    layer = world_layer("candidates", tables["candidates"], pyproj.CRS(system))
    parts = shapely.get_parts(layer.geometry[0])
    assert len(parts) == 2 and sorted(np.sign(part.centroid.x) for part in parts) == [-1, 1]
    assert max(abs(x) for x in shapely.get_coordinates(layer.geometry[0])[:, 0]) == 180.0
    assert shapely.is_ccw(shapely.get_exterior_ring(parts)).all()
    west, _, east_, _ = bounding_box(layer.geometry)
    assert west > 179.999 and east_ < -179.999
    assert sum(part.area for part in parts) == pytest.approx(shapely.Polygon(
        np.column_stack([lonlat(tables["candidates"].geometry[0].exterior.coords, system)[:, 0] % 360,
                         lonlat(tables["candidates"].geometry[0].exterior.coords, system)[:, 1]])).area, rel=1e-3)  # fmt: skip


def test_an_unsure_shift_is_said(tmp_path) -> None:
    """NAD27 (EPSG:26717) without its grids: PROJ states metres, and so do the files."""
    stored = read_layers(str(write_example(tmp_path / "sites.gpkg", "EPSG:26717")))
    write_handover(stored, tmp_path, ("geojson", "kml", "gpx", "stac"), {}, overwrite=False)
    notes = json.loads((tmp_path / "candidates.geojson").read_text())["place_notes"]
    assert len(notes) == 1 and "'NAD27' to 'WGS 84' is known to about" in notes[0]
    for name in ("sites.kml", "sites.gpx", "item.json"):
        assert "NAD27" in (tmp_path / name).read_text("utf-8")


# --- KML 2.2 (OGC 07-147r2)


def test_kml_against_the_schema_of_the_standard(handed: Path, tmp_path, caplog) -> None:
    """ogckml22.xsd as the package fastkml carries it."""
    validator = pytest.importorskip("fastkml.validator")
    assert validator.validate(file_to_validate=handed / "sites.kml")
    broken = tmp_path / "broken.kml"
    broken.write_text(
        (handed / "sites.kml").read_text("utf-8").replace("<visibility>1<", "<visibility>perhaps<"), "utf-8"
    )
    caplog.set_level(logging.CRITICAL)
    with pytest.raises(AssertionError, match="perhaps"):
        validator.validate(file_to_validate=broken)


def test_kml_in_other_readers(handed: Path) -> None:
    etree = pytest.importorskip("lxml.etree")
    tables = {name: table for name, table in example_tables(EAST, NORTH).items() if table.geometry is not None}
    space = "{http://www.opengis.net/kml/2.2}"
    root = etree.parse(handed / "sites.kml").getroot()
    folders = {folder.findtext(f"{space}name"): folder for folder in root.iter(f"{space}Folder")}
    assert {name: len(list(folder.iter(f"{space}Placemark"))) for name, folder in folders.items()} == {
        name: len(table) for name, table in tables.items()
    }
    styles = {f"#{style.get('id')}" for style in root.iter(f"{space}Style")}
    assert {url.text for url in root.iter(f"{space}styleUrl")} <= styles
    placemarks = list(folders["candidates"].iter(f"{space}Placemark"))
    for placemark, name, clean, shape in zip(placemarks, HOSTILE, CLEANED, tables["candidates"].geometry, strict=True):
        data = {one.get("name"): one.findtext(f"{space}value") for one in placemark.iter(f"{space}Data")}
        assert data["parcel"] == re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f]", "\ufffd", name)
        assert "night_lux" not in data  # not assessed: left out, never 0
        assert clean.strip() in placemark.findtext(f"{space}name")
        ring = placemark.findtext(f".//{space}outerBoundaryIs//{space}coordinates").split()
        points = np.array([place.split(",") for place in ring], float)
        assert shapely.is_ccw(shapely.linearrings(points))
        centre = shapely.Polygon(points).centroid
        assert np.allclose((centre.x, centre.y), lonlat([shape.centroid.coords[0]])[0], atol=1e-7)
    assert pyogrio.read_info(handed / "sites.kml", layer="stakes")["features"] in (2, 3)


def test_kml_runs_nothing_and_fetches_nothing(handed: Path) -> None:
    """A viewer takes a description for HTML: parsed as such, it holds line breaks and words, nothing else."""
    html = pytest.importorskip("lxml.html")
    etree = pytest.importorskip("lxml.etree")
    text = (handed / "sites.kml").read_text("utf-8")
    assert not re.search(r"<(href|Link|NetworkLink|Script|Icon)\b|<!\[CDATA\[|<!DOCTYPE|<!ENTITY", text)
    assert not re.search("[\u202a-\u202e\u2066-\u2069]", re.sub("<value>.*?</value>", "", text, flags=re.S))
    root = etree.fromstring(text.encode())
    for description in root.iter("{http://www.opengis.net/kml/2.2}description"):
        tags = {element.tag for element in html.fragment_fromstring(description.text or "", create_parent="div").iter()}
        assert tags <= {"div", "br"}
    assert {text.text for text in root.iter("{http://www.opengis.net/kml/2.2}text")} == {"$[description]"}


# --- GPX 1.1


def test_gpx_in_another_library(handed: Path) -> None:
    gpxpy = pytest.importorskip("gpxpy")
    found = gpxpy.parse((handed / "sites.gpx").read_text("utf-8"))
    shapes = example_tables(EAST, NORTH)["candidates"].geometry
    centres = [point for point in found.waypoints if point.type == "centre"]
    assert [point.name for point in centres] == [f"{k} {name}".strip() for k, name in enumerate(CLEANED, 1)]
    expected = lonlat([shape.centroid.coords[0] for shape in shapes])
    assert np.allclose([(point.longitude, point.latitude) for point in centres], expected, atol=6e-8)
    assert [point.elevation for point in centres] == [200.12, None] * 3  # unknown: no ele, never 0
    corners = [point for point in found.waypoints if point.type == "corner"]
    assert len(corners) == 1 and corners[0].description == "cut 0.10 m"  # the other corner has no place
    assert len(found.routes) == len(shapes) and all(len(route.points) == 5 for route in found.routes)
    assert [len(track.segments[0].points) for track in found.tracks] == [3]  # contours are no use to walk along
    assert "one-call" in found.description


# --- DXF


def test_dxf_in_its_library(handed: Path) -> None:
    ezdxf = pytest.importorskip("ezdxf")
    drawing = ezdxf.readfile(handed / "sites.dxf")
    assert drawing.dxfversion == "AC1009" and not drawing.audit().has_errors
    space = drawing.modelspace()
    count = {
        layer: len(space.query(f'*[layer=="{layer}"]')) for layer in ("CANDIDATES", "PADS", "REJECTIONS", "LINES_SWALE")
    }
    assert count == {"CANDIDATES": 6, "PADS": 1, "REJECTIONS": 2, "LINES_SWALE": 1}  # an outline and its hole, once
    outlines = space.query('POLYLINE[layer=="CANDIDATES"]')
    for outline, shape in zip(outlines, example_tables(EAST, NORTH)["candidates"].geometry, strict=True):
        drawn = shapely.Polygon([(corner.dxf.location.x, corner.dxf.location.y) for corner in outline.vertices])
        assert outline.is_closed and drawn.symmetric_difference(shape).area < 1e-3
    heights = {round(point.dxf.location.z, 3) for point in space.query("POINT")}
    assert heights == {201.5, 0.0}
    words = [text.dxf.text for text in space.query("TEXT")]
    assert any("metre" in line and "UTM zone 17N" in line for line in words) and any(
        "one-call" in line for line in words
    )
    assert all(line.isascii() and line.isprintable() for line in words)
    raw = (handed / "sites.dxf").read_bytes()
    assert b"%%u" not in raw and b"\x08" not in raw


def test_dxf_in_degrees_is_refused_before_anything_is_written(tmp_path) -> None:
    stored = read_layers(str(write_example(tmp_path / "sites.gpkg", "EPSG:4326", (-78.15, 43.0))))
    (tmp_path / "out").mkdir()
    with pytest.raises(UsageError, match="degrees"):
        write_handover(stored, tmp_path / "out", ("geojson", "dxf"), {}, overwrite=False)
    assert not list((tmp_path / "out").iterdir())


# --- CSV (RFC 4180)


def test_csv_in_the_standard_library(handed: Path) -> None:
    tables = example_tables(EAST, NORTH)
    for name, table in tables.items():
        raw = (handed / f"{name}.csv").read_bytes()
        assert raw.endswith(b"\r\n") and not raw.startswith(b"\xef\xbb\xbf")
        with open(handed / f"{name}.csv", encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file, strict=True))
        assert len(rows) == len(table) and all(None not in row and None not in row.values() for row in rows)
    with open(handed / "candidates.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    # an apostrophe in front keeps a spreadsheet from running a name; all else is to the letter
    assert [row["parcel"] for row in rows] == [("'" if name.startswith("=") else "") + name for name in HOSTILE]
    assert {row["night_lux"] for row in rows} == {""} and rows[0]["score"] == "" and rows[1]["score"] == "88.25"
    for row, shape in zip(rows, tables["candidates"].geometry, strict=True):
        assert shapely.from_wkt(row["wkt"]).symmetric_difference(shape).area < 1e-2
    with open(handed / "stakes.csv", encoding="utf-8", newline="") as file:
        stakes = list(csv.DictReader(file))
    assert (stakes[0]["easting"], stakes[0]["northing"]) == (repr(EAST), repr(NORTH)) and stakes[1]["easting"] == ""
    assert np.allclose((float(stakes[0]["lon"]), float(stakes[0]["lat"])), lonlat([(EAST, NORTH)])[0], atol=6e-8)


# --- GeoParquet 1.1.0


def test_geoparquet_metadata_and_values_in_pyarrow_alone(handed: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    tables = example_tables(EAST, NORTH)
    for name, table in tables.items():
        found = parquet.read_table(handed / f"{name}.parquet")
        assert len(found) == len(table)
        if table.geometry is None:
            assert b"geo" not in (found.schema.metadata or {})
            continue
        geo = json.loads(found.schema.metadata[b"geo"])
        assert geo["version"] == "1.1.0" and geo["primary_column"] == "geom"
        column = geo["columns"]["geom"]
        assert column["encoding"] == "WKB" and column["covering"]["bbox"]["xmin"] == ["bbox", "xmin"]
        assert pyproj.CRS.from_json_dict(column["crs"]).equals(pyproj.CRS("EPSG:26917"))
        shapes = shapely.from_wkb(found["geom"].to_pylist())
        assert all(
            a == b or (a is not None and a.equals_exact(b, 0)) for a, b in zip(shapes, table.geometry, strict=True)
        )
    found = parquet.read_table(handed / "candidates.parquet")
    assert found["parcel"].to_pylist() == list(HOSTILE) and found["night_lux"].null_count == len(HOSTILE)
    assert found["tiles"].to_pylist() == [None] * 5 + [2**53 - 1] and found["clear"].to_pylist()[:3] == [
        True,
        None,
        False,
    ]
    assert {str(found.schema.field(name).type) for name in ("rank", "tiles")} == {"int64"}


# --- SLD


def test_styles_are_those_of_the_file(handed: Path) -> None:
    etree = pytest.importorskip("lxml.etree")
    for name in ("candidates", "pads", "stakes", "rejections", "lines", "trenches"):
        root = etree.parse(handed / f"{name}.sld").getroot()
        assert root.tag == "{http://www.opengis.net/sld}StyledLayerDescriptor"
        assert root.findtext(".//{*}NamedLayer/{*}Name") == name


# --- STAC 1.1.0


@pytest.mark.filterwarnings("ignore:.*LocalValidator:DeprecationWarning")
def test_item_in_pystac_with_the_schemas_it_carries(handed: Path) -> None:
    """The core schema is validated offline; extensions are checked against their own text below."""
    pystac = pytest.importorskip("pystac")
    local = pytest.importorskip("pystac.validation.local_validator")
    item = json.loads((handed / "item.json").read_text())
    assert not list(local.LocalValidator().item_validator(item["stac_version"]).iter_errors(item))
    broken = {**item, "bbox": [1, 2]}
    assert list(local.LocalValidator().item_validator(item["stac_version"]).iter_errors(broken))
    found = pystac.Item.from_file(str(handed / "item.json"))
    assert found.datetime.isoformat() == STAMP.replace(".000Z", "+00:00")
    assert {Path(asset.get_absolute_href()).name for asset in found.assets.values()} == {
        path.name for path in handed.iterdir()
    } - {"item.json", "collection.json"}


@pytest.mark.filterwarnings("ignore:.*LocalValidator:DeprecationWarning")
def test_the_item_and_its_collection_find_each_other(handed: Path) -> None:
    pystac = pytest.importorskip("pystac")
    local = pytest.importorskip("pystac.validation.local_validator")
    stored = json.loads((handed / "collection.json").read_text())
    assert not list(local.LocalValidator().collection_validator(stored["stac_version"]).iter_errors(stored))
    assert list(
        local.LocalValidator().collection_validator(stored["stac_version"]).iter_errors(stored | {"extent": {}})
    )
    collection = pystac.Collection.from_file(str(handed / "collection.json"))
    (item,) = collection.get_items()
    assert item.get_collection() is collection and item.collection_id == collection.id
    assert item.get_root() is collection and collection.extent.spatial.bboxes == [item.bbox]


def test_item_says_what_made_it(handed: Path) -> None:
    """STAC processing extension 1.2.0, README "Fields": software is an object of versions by name; no other `processing:` fields."""
    item = json.loads((handed / "item.json").read_text())
    told = item["properties"]
    allowed = {"expression", "lineage", "level", "facility", "software", "version", "datetime"}
    assert {name.split(":")[1] for name in told if name.startswith("processing:")} <= allowed
    assert told["processing:software"] and all(isinstance(one, str) for one in told["processing:software"].values())
    assert PROCESSING in item["stac_extensions"] and told["processing:datetime"] == told["datetime"]
    for one in told["tunnelsite:inputs"]:
        assert re.fullmatch("[a-f0-9]{64}", one["sha256"]) and one["sha256"] in told["processing:lineage"]


def test_item_says_where_and_what(handed: Path) -> None:
    """[@stac-file]: size a whole number, checksum a multihash in lower-case hexadecimal (12 20 =
    SHA-256); proj:code, authority:code or null."""
    import hashlib

    item = json.loads((handed / "item.json").read_text())
    west, south, east, north = item["bbox"]
    assert item["properties"]["proj:code"] == "EPSG:26917"
    hull = shapely.from_geojson(json.dumps(item["geometry"]))
    assert np.allclose(hull.bounds, (west, south, east, north), atol=2e-7) and hull.exterior.is_ccw
    for table in example_tables(EAST, NORTH).values():
        for shape in table.geometry if table.geometry is not None else ():
            if shape is not None:
                assert hull.buffer(2e-7).contains(shapely.Point(lonlat([shape.centroid.coords[0]])[0]))
    fields = {key for part in (item["properties"], *item["assets"].values()) for key in part if ":" in key}
    fields = {field for field in fields if not field.startswith(("processing:", "tunnelsite:"))}
    assert fields == {"proj:code", "file:size", "file:checksum"}  # the schemas of both allow no unknown field
    for asset in item["assets"].values():
        assert re.fullmatch("[a-f0-9]+", asset["file:checksum"]) and isinstance(asset["file:size"], int)
        data = (handed / asset["href"]).read_bytes()
        assert asset["file:size"] == len(data) and asset["file:checksum"] == "1220" + hashlib.sha256(data).hexdigest()
        assert asset["type"] and asset["roles"]


# --- whole or not at all


@pytest.mark.parametrize("form", FORMATS)
def test_nothing_is_replaced_without_leave_and_a_failed_check_leaves_the_old(tmp_path, monkeypatch, form: str) -> None:
    from tunnelsite.io.write import handover as writing

    stored = read_layers(str(write_example(tmp_path / "sites.gpkg")))
    first = next(iter(handover_files(stored, tmp_path, (form,)).values()))
    first.write_bytes(b"old")
    with pytest.raises(OutputFailed, match="exists already"):
        write_handover(stored, tmp_path, (form,), {}, overwrite=False)

    def fails(path: Path, **_) -> None:
        raise OSError("damaged")

    for check in (
        "check_geojson",
        "check_kml",
        "check_gpx",
        "check_csv",
        "check_dxf",
        "check_parquet",
        "check_sld",
        "check_item",
    ):
        monkeypatch.setattr(writing, check, fails)
    with pytest.raises(OutputFailed, match="damaged"):
        write_handover(stored, tmp_path, (form,), {}, overwrite=True)
    assert first.read_bytes() == b"old" and sorted(p.name for p in tmp_path.iterdir()) == sorted(
        [first.name, "sites.gpkg"]
    )


def test_each_check_notices(handed: Path, tmp_path) -> None:
    """A check that cannot fail is none: a file cut in half is found out."""
    from tunnelsite.io.write import handover as writing

    stored = read_layers(str(handed / "sites.gpkg"))
    world = {name: world_layer(name, table, stored.crs) for name, table in stored.places.items()}
    for what, (name, form) in writing.named_files(stored, [f for f in FORMATS if f != "stac"]).items():
        data = (handed / name).read_bytes()
        (tmp_path / name).write_bytes(data[: len(data) // 2])
        with pytest.raises((OSError, ValueError, pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError)):
            writing.piece_of(stored, world, what).check(tmp_path / name)
        assert form in FORMATS


def test_a_layer_named_like_a_path_stays_in_the_folder(tmp_path) -> None:
    stored = read_layers(str(write_example(tmp_path / "sites.gpkg")))
    table = stored.tables["candidates"]
    names = ["../out", "/etc/x", "a/b", "A\\b", "nul", "candidates", "CANDIDATES"]
    odd = replace(stored, tables=dict.fromkeys(names, table), styles={"../style": stored.styles["pads"]})
    (tmp_path / "in").mkdir()
    written = write_handover(odd, tmp_path / "in", FORMATS, {}, overwrite=False)
    assert {path.parent for path in written} == {tmp_path / "in"} and all(path.is_file() for path in written)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in", "sites.gpkg"]
    stems = [path.stem.casefold() for path in written if path.suffix == ".geojson"]
    assert len(set(stems)) == len(names) and "nul" not in stems


def test_what_is_no_result_is_refused(tmp_path) -> None:
    for name, content in (
        ("a.gpkg", b"SQLite format 3\0" + bytes(200)),
        ("a.geojson", b'{"type":"Feature"}'),
        ("b.gpkg", b""),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(InputRefused):
            read_layers(str(tmp_path / name))


def test_reading_keeps_words_units_and_kinds(handed: Path) -> None:
    stored = read_layers(str(handed / "sites.gpkg"))
    given = example_tables(EAST, NORTH)
    assert list(stored.tables) == list(given) and stored.changed == STAMP
    for name, table in given.items():
        for column, words in table.columns.items():
            found = stored.tables[name].columns[column]
            assert (found.kind, found.unit) == (words.kind, words.unit)
            for a, b in zip(found.values, words.values, strict=True):
                missing = a is None or (isinstance(a, float) and math.isnan(a))
                assert missing if b is None else a == b or str(a) == str(b)
