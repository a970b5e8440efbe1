"""The GeoPackage: to the standard, the same bytes for the same input, NULL for what was not assessed, old
or new but never half."""

from __future__ import annotations

import contextlib
import sqlite3
import time
from pathlib import Path

import numpy as np
import pandas
import pyogrio
import pyproj
import pytest
import shapely

from tests.io.faults import folder_state
from tests.io.geopackage_requirements import broken_requirements
from tunnelsite.core.errors import OutputFailed, UsageError
from tunnelsite.core.grid import local_crs
from tunnelsite.core.table import Column, Table
from tunnelsite.io.formats import geopackage
from tunnelsite.io.formats.geopackage import run_stamp, write_geopackage
from tunnelsite.io.formats.styles import candidates_sld, pads_sld, stakes_sld

STAMP = "2023-11-14T22:13:20.000Z"
UTM15 = pyproj.CRS.from_epsg(26915)
LINEAGE = '<gmd:LI_Lineage xmlns:gmd="http://www.isotc211.org/2005/gmd"><gmd:statement/></gmd:LI_Lineage>'
CAUTIONS = ("Have buried utilities marked before any digging.", "Keep clear of overhead lines.")


def some_tables(count: int = 4) -> dict[str, Table]:
    """Invented results: two layers of polygons, one of points, an empty one and two tables."""
    west = 478_000.0 + 40 * np.arange(count)
    footprint = shapely.box(west, 4_649_000.0, west + 29.26, 4_649_009.14)
    return {
        "candidates": Table(
            {
                "rank": Column(np.arange(1, count + 1), "INTEGER", "Rank"),
                "score": Column(np.linspace(91.5, 80.25, count), "REAL", "Score", "1", "0 to 100, more is better."),
                "parcel": Column([f"Nord {i} ő" for i in range(count)], "TEXT", "Parcel"),
                "night_lux": Column([None] * count, "REAL", "Light at night", "lx"),
                "tiles": Column([None] * count, "INTEGER"),
                "flags": Column([None] * count, "TEXT"),
                "feasible": Column([True, None] * (count // 2), "BOOLEAN"),
                "beam_share": Column([0.9, np.nan] * (count // 2), "REAL", "Share of the beam", "1"),
            },
            footprint,
            "Polygon",
            "Candidates",
            "Footprints, best first.",
        ),
        "pads": Table(
            {"cut_m3": Column([12.5], "REAL", "Cut", "m3")},
            [footprint[0].buffer(1, join_style="mitre")],
            "Polygon",
        ),
        "stakes": Table(
            {
                "kind": Column(["corner"] * 3, "TEXT"),
                "cut_m": Column([0.1, -0.2, None], "REAL", "Cut (+) or fill (-)", "m"),
            },
            [shapely.Point(478_000, 4_649_000, 288.5), None, shapely.Point(478_029.26, 4_649_000)],
            "Point",
        ),
        "rejections": Table(
            {"rule": Column([], "TEXT"), "tried": Column([], "INTEGER"), "nearest": Column([], "REAL")},
            [],
            "Polygon",
        ),
        "criteria": Table({"id": Column(["pitch", "sun"], "TEXT"), "weight": Column([1.0, 2], "REAL", "Weight", "1")}),
        "run": Table({"key": Column(["input", "caution"], "TEXT"), "value": Column(["dem.tif", CAUTIONS[0]], "TEXT")}),
    }


def write(path: Path, tables: dict[str, Table] | None = None, **changes) -> None:
    tables = some_tables() if tables is None else tables
    styles = {"candidates": candidates_sld([80, 85, 90, 95]), "pads": pads_sld(), "stakes": stakes_sld()}
    options = {
        "crs": UTM15,
        "styles": {name: style for name, style in styles.items() if name in tables},
        "lineage_xml": LINEAGE,
        "cautions": CAUTIONS,
        "overwrite": True,
        "stamp": STAMP,
    }
    write_geopackage(path, tables, **{**options, **changes})


def query(path: Path, statement: str) -> list[tuple]:
    with contextlib.closing(sqlite3.connect(path)) as database:
        return database.execute(statement).fetchall()


# --- the standard


def test_the_file_meets_the_main_requirements_of_the_standard(tmp_path):
    write(tmp_path / "sites.gpkg")
    assert broken_requirements(tmp_path / "sites.gpkg") == []
    assert list(folder_state(tmp_path)) == ["sites.gpkg"]


@pytest.mark.parametrize(
    ("damage", "number"),
    [
        ("PRAGMA application_id = 1", "2"),
        ("PRAGMA user_version = 1", "2"),
        ("PRAGMA journal_mode = WAL", "1"),
        ("CREATE TABLE stray (a INTEGER PRIMARY KEY)", "4"),
        ("ALTER TABLE candidates ADD COLUMN a VARCHAR", "5"),
        (
            "INSERT INTO gpkg_metadata_reference VALUES ('table', 'pads', NULL, NULL, '2023-11-14', 99, 1)",
            "7",
        ),
        ("ALTER TABLE gpkg_contents ADD COLUMN a TEXT", "13"),
        ("DELETE FROM gpkg_spatial_ref_sys WHERE srs_id = -1", "11"),
        ("UPDATE gpkg_contents SET min_x = 1 WHERE table_name = 'pads'", "13"),
        ("UPDATE gpkg_contents SET table_name = 'nothing' WHERE table_name = 'run'", "14"),
        ("UPDATE gpkg_contents SET last_change = '14 Nov 2023'", "15"),
        ("UPDATE gpkg_contents SET srs_id = 99 WHERE table_name = 'pads'", "16"),
        ("DELETE FROM gpkg_geometry_columns WHERE table_name = 'pads'", "22"),
        ("UPDATE gpkg_geometry_columns SET geometry_type_name = 'POINT' WHERE table_name = 'pads'", "24"),
        ("UPDATE gpkg_geometry_columns SET srs_id = 4326 WHERE table_name = 'pads'", "146"),
        ("DELETE FROM gpkg_extensions WHERE extension_name = 'gpkg_metadata'", "140"),
        ("DELETE FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'", "141"),
        ("DROP TRIGGER rtree_pads_geom_insert", "77"),
        ("DELETE FROM rtree_pads_geom", "77"),
        ("UPDATE gpkg_extensions SET scope = 'read-write' WHERE table_name = 'pads'", "76"),
        ("UPDATE gpkg_metadata_reference SET reference_scope = 'TABLE'", "96"),
        ("UPDATE gpkg_metadata_reference SET table_name = 'pads'", "97"),
        ("UPDATE gpkg_metadata_reference SET column_name = 'a'", "98"),
        ("UPDATE gpkg_metadata_reference SET row_id_value = 1", "99"),
        ("UPDATE gpkg_metadata_reference SET timestamp = 'now'", "100"),
        ("UPDATE gpkg_metadata_reference SET md_parent_id = md_file_id", "102"),
        ("DELETE FROM gpkg_metadata_reference", "95"),
        ("UPDATE gpkg_data_columns SET column_name = 'a' WHERE table_name = 'pads'", "105"),
        ("DROP TABLE gpkg_data_column_constraints", "107"),
    ],
)
def test_the_helper_for_requirements_notices(tmp_path, damage, number):
    """A check that cannot fail is none: each damage must be found under its own requirement."""
    write(tmp_path / "sites.gpkg")
    query_and_commit(tmp_path / "sites.gpkg", damage)
    assert number in {
        part for line in broken_requirements(tmp_path / "sites.gpkg") for part in line.split(":")[0].split(", ")
    }


@pytest.mark.parametrize(
    ("at", "byte", "number"),
    [(0, 0x51, "19"), (2, 1, "19"), (3, 0xFF, "19"), (4, 1, "33"), (9, 7, "19"), (41, 2, "32")],
)
def test_the_helper_for_requirements_notices_damaged_geometry(tmp_path, at, byte, number):
    path = tmp_path / "sites.gpkg"
    write(path)
    blob = bytearray(query(path, "SELECT geom FROM pads")[0][0])
    if at == 41:  # the type in the well-known binary: a polygon of one ring turned into a collection
        blob = blob[:40] + shapely.to_wkb(
            shapely.LineString([(478_000, 4_649_000), (478_001, 4_649_001)]), byte_order=1
        )
    else:
        blob[at] = byte
    with contextlib.closing(sqlite3.connect(path)) as database:
        for (trigger,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{trigger}"')
        database.execute("UPDATE pads SET geom = ?", (bytes(blob),))
        database.commit()
    assert any(line.startswith(f"{number}:") for line in broken_requirements(path))


def query_and_commit(path: Path, statement: str) -> None:
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.execute(statement)
        database.commit()


# --- what is stored


def test_what_was_not_assessed_is_null_and_types_stay(tmp_path):
    path = tmp_path / "sites.gpkg"
    write(path)
    types = {row[1]: row[2] for row in query(path, "PRAGMA table_info(candidates)")}
    assert types == {
        "fid": "INTEGER", "geom": "POLYGON", "rank": "INTEGER", "score": "REAL", "parcel": "TEXT",
        "night_lux": "REAL", "tiles": "INTEGER",
        "flags": "TEXT", "feasible": "BOOLEAN", "beam_share": "REAL",
    }  # fmt: skip
    stored = query(
        path,
        "SELECT typeof(night_lux), typeof(tiles), typeof(flags), feasible, beam_share FROM candidates",
    )
    assert stored == [("null", "null", "null", 1, 0.9), ("null", "null", "null", None, None)] * 2
    assert query(path, "SELECT count(*), count(geom) FROM stakes") == [(3, 2)]
    assert {row[1]: row[2] for row in query(path, "PRAGMA table_info(rejections)")} == {
        "fid": "INTEGER", "geom": "POLYGON", "rule": "TEXT", "tried": "INTEGER", "nearest": "REAL",
    }  # fmt: skip


def test_geopandas_reads_back_exactly_what_was_given(tmp_path):
    tables = some_tables()
    write(tmp_path / "sites.gpkg", tables)
    frame = pyogrio.read_dataframe(tmp_path / "sites.gpkg", layer="candidates")
    assert frame.crs == UTM15 and shapely.equals_exact(frame.geometry.values, tables["candidates"].geometry, 0).all()
    assert frame["score"].tolist() == np.linspace(91.5, 80.25, 4).tolist() and frame["parcel"].tolist() == [
        f"Nord {i} ő" for i in range(4)
    ]
    stakes = pyogrio.read_dataframe(tmp_path / "sites.gpkg", layer="stakes")
    assert not stakes.geometry.has_z.any() and stakes.geometry.isna().tolist() == [False, True, False]
    layers = pyogrio.list_layers(tmp_path / "sites.gpkg")
    assert layers[:, 0].tolist() == [*tables, "layer_styles"]
    assert layers[:, 1].tolist() == ["Polygon", "Polygon", "Point", "Polygon", None, None, None]


def test_styles_lineage_cautions_and_words_travel_with_the_file(tmp_path):
    path = tmp_path / "sites.gpkg"
    write(path)
    assert query(path, "SELECT md_scope, md_standard_uri, mime_type, metadata FROM gpkg_metadata WHERE id < 3") == [
        ("dataset", "http://www.isotc211.org/2005/gmd", "text/xml", LINEAGE),
        ("dataset", "http://purl.org/dc/terms/description", "text/plain", "\n".join(CAUTIONS)),
    ]
    styles = query(
        path,
        "SELECT table_name, md_scope, mime_type, metadata = styleSLD, f_geometry_column, useAsDefault, "
        "substr(styleQML, 1, 5) FROM gpkg_metadata m JOIN gpkg_metadata_reference ON md_file_id = m.id "
        "JOIN layer_styles ON f_table_name = table_name",
    )
    assert styles == [
        (name, "style", "application/vnd.ogc.sld+xml", 1, "geom", 1, "<qgis")
        for name in ("candidates", "pads", "stakes")
    ]
    assert query(
        path,
        "SELECT title, description FROM gpkg_data_columns WHERE table_name = 'candidates' AND column_name = 'score'",
    ) == [("Score", "0 to 100, more is better. Unit: 1.")]
    assert query(path, "SELECT description FROM gpkg_contents WHERE table_name = 'candidates'") == [
        ("Footprints, best first.",)
    ]
    assert pyogrio.read_info(path, layer="candidates")["fields"].tolist()[:2] == ["rank", "score"]


def test_output_17_colliding_and_odd_columns_are_kept_under_another_name(tmp_path):
    names = [
        "fid",
        "geom",
        "ID",
        "id",
        'a"b',
        "a;DROP TABLE pads;--",
        "select",
        "a b",
        "ő",
        "x\ny",
        "a'b",
        "[c]",
        "%s",
    ]
    tables = {"odd": Table({name: Column([name], "TEXT") for name in names}, [shapely.Point(0, 0)], "Point")}
    write(tmp_path / "sites.gpkg", tables)
    assert broken_requirements(tmp_path / "sites.gpkg") == []
    row = query(tmp_path / "sites.gpkg", "SELECT * FROM odd")[0]
    assert list(row[2:]) == names
    columns = [row[1] for row in query(tmp_path / "sites.gpkg", "PRAGMA table_info(odd)")]
    assert columns[2:6] == ["fid_1", "geom_1", "ID", "id_1"]
    renamed = query(
        tmp_path / "sites.gpkg",
        "SELECT title, description FROM gpkg_data_columns WHERE column_name = 'fid_1'",
    )
    assert renamed == [("fid", "Named 'fid' in the source.")]


def test_values_from_files_keep_their_kind_and_are_stored_whole(tmp_path):
    values = {
        "i8": np.array([1, -1], "i1"), "u4": np.array([4_000_000_000, 0], "u4"), "f4": np.array([0.1,
        np.nan], "f4"),
        "masked": np.ma.array([1, 2], mask=[False, True]), "day": np.array(["2024-02-29", "NaT"], "M8[D]"),
        "mixed": np.array([1, "a"], object), "nullable": pandas.array([1, None], dtype="object"),
        "text": ["a\0b", "\ud800"],
        "long": ["x" * 300_000, ""], "no": np.array([False, True]),
    }  # fmt: skip
    kinds = {"f": "REAL", "i": "INTEGER", "u": "INTEGER", "b": "BOOLEAN"}
    columns = {
        name: Column(column, kinds.get(np.asarray(column).dtype.kind, "TEXT")) for name, column in values.items()
    }
    write(tmp_path / "sites.gpkg", {"t": Table(columns)})
    assert [row[1:] for row in query(tmp_path / "sites.gpkg", "SELECT * FROM t")] == [
        (1, 4_000_000_000, float(np.float32(0.1)), 1, "2024-02-29", "1", "1", "a\ufffdb", "x" * 300_000, 0),
        (-1, 0, None, None, None, "a", None, "?", "", 1),
    ]


@pytest.mark.parametrize(
    ("column", "words"),
    [
        (Column([np.inf], "REAL"), "infinite"),
        (Column([1.5], "INTEGER"), "not INTEGER"),
        (Column([2**70], "INTEGER"), "not INTEGER"),
        (Column(["a"], "REAL"), "not REAL"),
        (Column([2], "BOOLEAN"), "not BOOLEAN"),
        (Column([1, 2], "REAL"), "unequal length"),
    ],
)
def test_values_that_break_their_column_are_refused(tmp_path, column, words):
    (tmp_path / "sites.gpkg").write_bytes(b"old")
    with pytest.raises(ValueError, match=words):
        write(tmp_path / "sites.gpkg", {"t": Table({"a": column, "b": Column([1], "REAL")})})
    assert folder_state(tmp_path) == {"sites.gpkg": b"old"}


def test_tables_that_break_their_description_are_refused(tmp_path):
    path, one = tmp_path / "sites.gpkg", {"a": Column([1], "REAL")}
    for tables, words in (
        ({"t": Table(one, [shapely.Point(0, np.nan)], "Point")}, "not finite"),
        ({"t": Table(one, [shapely.Point(0, 0)], "Polygon")}, "POINT, not Polygon"),
        ({"gpkg_t": Table(one)}, "reserves"),
        ({'t"; DROP': Table(one)}, "lower-case"),
        ({"layer_styles": Table(one)}, "reserves"),
    ):
        with pytest.raises(ValueError, match=words):
            write(path, tables)
    with pytest.raises(ValueError, match="styles for"):
        write(path, {"t": Table(one)}, styles={"t": pads_sld()})
    with pytest.raises(ValueError, match="well-formed"):
        write(path, lineage_xml="<a>")
    with pytest.raises(ValueError, match="stamp"):
        write(path, stamp="today")
    with pytest.raises(UsageError, match=r"\.gpkg"):
        write(tmp_path / "sites.shp")
    with pytest.raises(ValueError, match="kind of"):
        Column([], "FLOAT")
    assert folder_state(tmp_path) == {}


# --- coordinate systems

CUSTOM = 'PROJCS["farm grid",GEOGCS["NAD83",DATUM["North_American_Datum_1983",SPHEROID["GRS 1980",6378137,298.257222101]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",42.03],PARAMETER["central_meridian",-93.61],PARAMETER["scale_factor",0.99995],PARAMETER["false_easting",1000],PARAMETER["false_northing",2000],UNIT["US survey foot",0.304800609601219]]'


@pytest.mark.parametrize(
    ("given", "stored"),
    [
        ("EPSG:26915", 26915),
        ("EPSG:4326", 4326),
        ("EPSG:2154", 2154),
        ("EPSG:3435", 3435),  # US survey feet
        ("EPSG:26915+5703", 26915),  # compound: with NAVD88 heights
        ("EPSG:4979", 4326),  # three-dimensional
        ("EPSG:6319", 6318),
        (CUSTOM, None),
        ("local", None),
        ("+proj=omerc +lat_0=42 +lonc=-93 +alpha=30 +gamma=0 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m", None),
        (
            "+proj=tmerc +lat_0=0 +lon_0=-93 +k=0.9996 +x_0=500001 +y_0=0 +datum=NAD83 +units=m",
            None,
        ),  # UTM zone 15, but for 1 m
    ],
)
def test_any_coordinate_system_survives(tmp_path, given, stored):
    crs = local_crs(UTM15, -93.61, 42.03) if given == "local" else pyproj.CRS.from_user_input(given)
    write(
        tmp_path / "sites.gpkg",
        {"t": Table({"a": Column([1], "REAL")}, [shapely.box(10.25, 20.5, 30, 40)], "Polygon")},
        crs=crs,
    )
    assert broken_requirements(tmp_path / "sites.gpkg") == []
    srs = query(tmp_path / "sites.gpkg", "SELECT srs_id FROM gpkg_geometry_columns")[0][0]
    assert srs == stored if stored else srs >= 100_000  # GDAL numbers systems without a code from there
    frame = pyogrio.read_dataframe(tmp_path / "sites.gpkg")
    assert not frame.crs.is_compound and len(frame.crs.axis_info) == 2
    flat = crs.sub_crs_list[0] if crs.is_compound else pyproj.CRS.from_wkt(crs.to_wkt()).to_2d()
    to_degrees = [pyproj.Transformer.from_crs(one, one.geodetic_crs, always_xy=True) for one in (flat, frame.crs)]
    places = [np.array(one.transform([10.25, 30], [20.5, 40])) for one in to_degrees]
    assert np.abs(places[0] - places[1]).max() < 1e-9 and frame.crs.ellipsoid == flat.ellipsoid


def test_a_system_that_reads_back_as_another_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(geopackage, "_crs_text", lambda crs: "EPSG:26916")
    with pytest.raises(OutputFailed, match="cannot be stored"):
        write(tmp_path / "sites.gpkg")
    assert folder_state(tmp_path) == {}


# --- output-19: the same bytes


def test_output_19_the_same_input_gives_the_same_bytes(tmp_path, monkeypatch):
    write(tmp_path / "a.gpkg")
    time.sleep(0.01)
    monkeypatch.setenv("OGR_CURRENT_DATE", "1999-01-01T00:00:00Z")
    write(tmp_path / "b.gpkg")
    write(tmp_path / "b.gpkg")  # over an older one
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()


def test_output_19_only_the_stamp_differs_between_two_runs(tmp_path):
    stamps = ("2023-11-14T22:13:20.000Z", "2031-01-01T00:00:00.123Z")
    for name, stamp in zip("ab", stamps, strict=True):
        write(tmp_path / f"{name}.gpkg", stamp=stamp)
    a, b = (
        (tmp_path / f"{name}.gpkg").read_bytes().replace(stamp.encode(), b"")
        for name, stamp in zip("ab", stamps, strict=True)
    )
    assert a == b


def test_output_19_many_rows_whose_index_gdal_builds_in_another_thread(tmp_path):
    west = np.arange(120_000.0)
    table = Table({"a": Column(west, "REAL")}, shapely.points(west, -west), "Point")
    for name in "ab":
        write(tmp_path / f"{name}.gpkg", {"t": table})
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()


def test_run_stamp():
    assert run_stamp({"SOURCE_DATE_EPOCH": "1700000000"}) == STAMP
    assert len(run_stamp({})) == len(STAMP) and run_stamp({}).endswith("Z")
    for wrong in ("yesterday", "1e9", "9" * 30):
        with pytest.raises(UsageError, match="SOURCE_DATE_EPOCH"):
            run_stamp({"SOURCE_DATE_EPOCH": wrong})
