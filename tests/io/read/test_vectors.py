"""Reading parcels and other features, and carrying them to another coordinate system."""

import json
import shutil
import sqlite3
import struct
import time

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon, box

from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.core.grid import local_crs
from tunnelsite.core.layers import Features
from tunnelsite.core.reproject import STRAIGHT_M, centre_lonlat, reprojected
from tunnelsite.io.read import files
from tunnelsite.io.read.vectors import read_features

UTM = "EPSG:32615"


def save(path, shapes, crs=UTM, layer=None, **columns):
    frame = geopandas.GeoDataFrame(
        columns or {"name": [f"p{n}" for n in range(len(shapes))]}, geometry=list(shapes), crs=crs
    )
    driver = {
        ".gpkg": "GPKG",
        ".geojson": "GeoJSON",
        ".shp": "ESRI Shapefile",
        ".fgb": "FlatGeobuf",
        ".gml": "GML",
        ".kml": "KML",
    }
    settings = {"layer": layer} if layer else {}
    pyogrio.write_dataframe(frame, path, driver=driver[path.suffix], **settings)
    return path


def noted(features, words):
    return any(words in note for note in features.notes)


def features_of(shapes, crs):
    return Features(np.array(shapes, dtype=object), {}, pyproj.CRS(crs), "made")


@pytest.mark.parametrize("end", ["gpkg", "geojson", "shp", "fgb", "gml", "kml"])
def test_every_format_gives_the_same_parcels(tmp_path, end):
    shapes = [box(-93, 42, -92.99, 42.01), Polygon([(-93, 42.1), (-92.99, 42.1), (-93, 42.11)])]
    features = read_features(save(tmp_path / f"f.{end}", shapes, "EPSG:4326"), "PARCELS")
    assert (
        len(features) == 2 and features.crs.is_geographic and len(features.sha256) == 64 and features.name == f"f.{end}"
    )
    for read, made in zip(sorted(features.geometry, key=shapely.area), sorted(shapes, key=shapely.area), strict=True):
        assert shapely.equals(shapely.set_precision(read, 1e-9), shapely.set_precision(made, 1e-9))
    names = next(values for name, values in features.columns.items() if name.lower() == "name")
    assert sorted(names) == ["p0", "p1"]
    (tmp_path / "f.xsd").unlink(missing_ok=True)
    before = {path.name for path in tmp_path.iterdir()}
    read_features(tmp_path / f"f.{end}", "PARCELS")
    assert {path.name for path in tmp_path.iterdir()} == before  # nothing is written beside the input


def test_parcels_01_bow_tie_is_repaired_and_said(tmp_path):
    tie = Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
    features = read_features(save(tmp_path / "f.gpkg", [box(20, 0, 30, 10), tie]), "PARCELS")
    assert shapely.area(features.geometry).tolist() == [100, 50] and shapely.is_valid(features.geometry).all()
    assert noted(features, "feature 2 was repaired: Self-intersection") and noted(features, "area 0 before, 50 after")


def test_repair_keeps_ground_that_parts_share(tmp_path):
    shape = shapely.multipolygons([box(0, 0, 10, 10), box(5, 0, 15, 10)])
    features = read_features(save(tmp_path / "f.gpkg", [shape]), "PARCELS")
    assert shapely.area(features.geometry[0]) == 150
    spike = Polygon([(0, 0), (10, 0), (10, 10), (10, 20), (10, 10), (0, 10)])
    features = read_features(save(tmp_path / "g.gpkg", [spike]), "PARCELS")
    assert shapely.area(features.geometry[0]) == 100
    hole = Polygon([(0, 0), (10, 0), (10, 10), (0, 10)], [[(5, 5), (15, 5), (15, 6), (5, 6)]])  # a hole that sticks out
    features = read_features(save(tmp_path / "h.gpkg", [hole]), "PARCELS")
    assert shapely.is_valid(features.geometry[0]) and noted(features, "was repaired")


def test_repair_of_a_fine_ring_is_quick(tmp_path):
    """The other method of GEOS takes over 10 s here; the limit is generous so that it cannot flake."""
    angle = np.linspace(0, 2 * np.pi, 300_000)
    ring = np.column_stack([500000 + 1000 * np.cos(angle), 4600000 + 1000 * np.sin(angle)])
    ring[-1] = ring[0]
    ring[10:13] = ring[[12, 11, 10]]
    path = with_geometry(save(tmp_path / "f.gpkg", [box(0, 0, 1, 1)]), wkb_polygon(ring))
    started = time.perf_counter()
    features = read_features(path, "PARCELS")
    assert time.perf_counter() - started < 8 and noted(features, "repaired")
    assert shapely.area(features.geometry[0]) == pytest.approx(np.pi * 1e6, rel=1e-6)


def test_a_shape_without_area_is_dropped_and_said(tmp_path):
    flat = Polygon([(0, 0), (10, 0), (5, 0)])
    features = read_features(save(tmp_path / "f.gpkg", [box(0, 0, 1, 1), flat]), "PARCELS")
    assert len(features) == 1 and noted(features, "1 features without area were dropped (2)")
    assert len(features.columns["name"]) == 1


@pytest.mark.parametrize("wrong, words", [(LineString([(0, 0), (1, 1)]), "1 line"), (Point(0, 0), "1 point")])
def test_parcels_03_wrong_geometry(tmp_path, wrong, words):
    with pytest.raises(InputRefused, match=r"polygons"):
        read_features(save(tmp_path / "a.gpkg", [wrong]), "PARCELS")
    with pytest.raises(InputRefused, match=rf"{words} among 2 features.*Expected: polygons"):
        read_features(save(tmp_path / "b.geojson", [box(0, 0, 1, 1), wrong], "EPSG:4326"), "PARCELS")
    assert len(read_features(tmp_path / "b.geojson", "--keep-out", kinds=("polygon", "line", "point"))) == 2


def test_parcels_05_parts_stay_parts(tmp_path):
    shape = shapely.multipolygons([box(0, 0, 1, 1), box(5, 0, 6, 1)])
    assert shapely.get_num_geometries(read_features(save(tmp_path / "f.gpkg", [shape]), "PARCELS").geometry[0]) == 2


def test_parcels_07_and_09_overlap_and_slivers_come_through(tmp_path):
    shapes = [box(0, 0, 50, 50), box(0, 0, 50, 50), box(0, 0, 5, 100)]
    features = read_features(save(tmp_path / "f.gpkg", shapes), "PARCELS")
    assert len(features) == 3 and not features.notes


def wkb_polygon(vertices):
    return struct.pack("<BIII", 1, 3, 1, len(vertices)) + vertices.astype("<f8").tobytes()


def with_geometry(path, wkb, kind="GEOMETRY", m=0):
    """Put `wkb` into the first feature of a GeoPackage."""
    database = sqlite3.connect(path)
    for (name,) in database.execute("select name from sqlite_master where type='trigger'").fetchall():
        database.execute(f'drop trigger "{name}"')
    (table,) = database.execute("select table_name from gpkg_geometry_columns").fetchone()
    blob = b"GP\0\x01" + struct.pack("<i", 32615) + wkb
    database.execute(f'update "{table}" set geom=?', (blob,))
    database.execute("update gpkg_geometry_columns set geometry_type_name=?, m=?", (kind, m))
    database.commit()
    database.close()
    return path


def test_parcels_11_ring_of_many_vertices(tmp_path, monkeypatch):
    count = 400_000
    angle = np.linspace(0, 2 * np.pi, count)
    ring = np.column_stack([500000 + 1000 * np.cos(angle), 4600000 + 1000 * np.sin(angle)])
    ring[-1] = ring[0]
    path = with_geometry(save(tmp_path / "f.gpkg", [box(0, 0, 1, 1)]), wkb_polygon(ring))
    features = read_features(path, "PARCELS")
    assert shapely.get_num_coordinates(features.geometry[0]) == count
    monkeypatch.setattr(files, "available_bytes", lambda: 10_000_000)
    with pytest.raises(ResourceShortage, match=r"needs about .* MB"):
        read_features(path, "PARCELS")


def test_parcels_13_z_m_and_curves(tmp_path):
    z = save(tmp_path / "z.gpkg", [shapely.force_3d(box(0, 0, 10, 10), 5)])
    features = read_features(z, "PARCELS")
    assert not shapely.has_z(features.geometry).any() and noted(features, "Z values of 1 features were dropped")
    m = np.array([[0, 0, 5], [10, 0, 5], [10, 10, 5], [0, 0, 5]], float)
    wkb = struct.pack("<BIII", 1, 2003, 1, 4) + m.astype("<f8").tobytes()
    features = read_features(with_geometry(save(tmp_path / "m.gpkg", [box(0, 0, 1, 1)]), wkb, "POLYGON", 1), "PARCELS")
    assert shapely.area(features.geometry[0]) == 50 and noted(features, "M values")
    circle = struct.pack("<BIIBII", 1, 10, 1, 1, 8, 5) + struct.pack("<10d", 0, 0, 100, 100, 200, 0, 100, -100, 0, 0)
    path = with_geometry(save(tmp_path / "c.gpkg", [box(0, 0, 1, 1)]), circle, "CURVEPOLYGON")
    features = read_features(path, "PARCELS")
    assert noted(features, "curves were replaced by straight edges")
    off = 100 - shapely.distance(shapely.boundary(features.geometry[0]), Point(100, 0))
    assert 0 <= off <= 100 * (1 - np.cos(np.radians(2))) + 1e-4  # chords of 4 degrees


GML = (
    '<?xml version="1.0"?><ogr:FeatureCollection xmlns:ogr="http://ogr.maptools.org/" xmlns:gml="http://www.opengis.net/gml/3.2">'
    '<ogr:featureMember><ogr:f gml:id="f.0"><ogr:geom>{}</ogr:geom></ogr:f></ogr:featureMember></ogr:FeatureCollection>'
)


def test_parcels_13_curves_in_gml_and_its_axis_order(tmp_path):
    path = tmp_path / "f.gml"
    path.write_text(GML.format(
        '<gml:Surface srsName="urn:ogc:def:crs:EPSG::32615"><gml:patches><gml:PolygonPatch><gml:exterior><gml:Ring><gml:curveMember>'
        "<gml:Curve><gml:segments><gml:Circle><gml:posList>0 0 100 100 200 0</gml:posList></gml:Circle></gml:segments></gml:Curve>"
        "</gml:curveMember></gml:Ring></gml:exterior></gml:PolygonPatch></gml:patches></gml:Surface>"
    ))  # fmt: skip
    features = read_features(path, "PARCELS")
    assert noted(features, "curves were replaced") and features.geometry[0].area == pytest.approx(np.pi * 1e4, rel=1e-3)
    path.write_text(GML.format(
        '<gml:Polygon srsName="urn:ogc:def:crs:EPSG::4326"><gml:exterior><gml:LinearRing><gml:posList>42 -93 42 -92 43 -92 42 -93'
        "</gml:posList></gml:LinearRing></gml:exterior></gml:Polygon>"
    ))  # fmt: skip
    features = read_features(path, "PARCELS")  # latitude comes first in this notation
    assert features.geometry[0].bounds == (-93, 42, -92, 43) and not noted(features, "curves")


def test_parcels_15_no_features(tmp_path):
    path = save(tmp_path / "f.gpkg", [], name=[])
    with pytest.raises(InputRefused, match="has no features"):
        read_features(path, "PARCELS")
    empty = read_features(path, "--keep-out", may_be_empty=True)
    assert len(empty) == 0 and noted(empty, "no features") and empty.crs.to_epsg() == 32615
    path = tmp_path / "f.geojson"
    path.write_text('{"type":"FeatureCollection","features":[]}')
    assert len(read_features(path, "--keep-out", may_be_empty=True)) == 0
    with pytest.raises(InputRefused, match="has no features"):
        read_features(path, "PARCELS")


def test_features_without_geometry_are_dropped_with_their_columns(tmp_path):
    path = save(tmp_path / "f.gpkg", [box(0, 0, 1, 1), None, Polygon(), box(2, 2, 3, 3)])
    features = read_features(path, "PARCELS")
    assert features.columns["name"].tolist() == ["p0", "p3"] and features.columns["feature_id"].tolist() == [
        1,
        4,
    ]
    assert noted(features, "2 features without geometry were dropped (2, 3)")


def test_layers_are_chosen_never_guessed(tmp_path):
    path = save(tmp_path / "f.gpkg", [box(0, 0, 1, 1)], layer="fields")
    save(path, [Point(0, 0)], layer="wells")
    assert read_features(path, "PARCELS").name == "f.gpkg"  # the only layer of polygons
    save(path, [box(0, 0, 1, 1), box(2, 0, 3, 1)], layer="old fields")
    with pytest.raises(UsageError, match=r"several layers: fields, old fields.*FILE#fields"):
        read_features(path, "PARCELS")
    assert len(read_features(f"{path}#old fields", "PARCELS")) == 2
    assert len(read_features(path, "PARCELS", layer="fields")) == 1
    with pytest.raises(UsageError, match=r"no layer .x..*fields"):
        read_features(f"{path}#x", "PARCELS")
    with pytest.raises(InputRefused, match=r"no layer of lines"):
        read_features(path, "--wind", kinds=("line",))


def test_crs_missing_is_refused(tmp_path):
    with pytest.raises(InputRefused, match="no coordinate system"):
        read_features(save(tmp_path / "f.gpkg", [box(0, 0, 1, 1)], None), "PARCELS")
    path = save(tmp_path / "f.shp", [box(0, 0, 1, 1)])
    path.with_suffix(".prj").unlink()
    with pytest.raises(InputRefused, match=r"no coordinate system.*\.prj"):
        read_features(path, "PARCELS")
    for number in (0, -1):  # "undefined" in a GeoPackage
        shutil.copy(save(tmp_path / "u.gpkg", [box(0, 0, 1, 1)]), tmp_path / "v.gpkg")
        database = sqlite3.connect(tmp_path / "v.gpkg")
        database.execute(f"update gpkg_geometry_columns set srs_id={number}")
        database.execute(f"update gpkg_contents set srs_id={number}")
        database.commit()
        database.close()
        with pytest.raises(InputRefused, match="no coordinate system"):
            read_features(tmp_path / "v.gpkg", "PARCELS")


def test_geojson_in_metres_without_saying_so_is_refused(tmp_path):
    shape = {
        "type": "Polygon",
        "coordinates": [[[500000, 4600000], [500010, 4600000], [500010, 4600010], [500000, 4600000]]],
    }
    path = tmp_path / "f.geojson"
    path.write_text(json.dumps(shape))
    with pytest.raises(InputRefused, match=r"500000, 4\.6e\+06 although it is in degrees.*RFC 7946"):
        read_features(path, "PARCELS")
    path.write_text(json.dumps(shape | {"coordinates": [[[-93, 42], [-92, 42], [-92, 43], [-93, 42]]]}))
    assert read_features(path, "PARCELS").crs.to_epsg() == 4326


def test_lines_of_geojson_are_refused_not_cut_to_one(tmp_path):
    one = json.dumps({"type": "Feature", "properties": {}, "geometry": shapely.geometry.mapping(box(0, 0, 1, 1))})
    (tmp_path / "f.geojson").write_text(f"{one}\n{one}\n")
    with pytest.raises(InputRefused):
        read_features(tmp_path / "f.geojson", "PARCELS")


def test_coordinates_that_are_no_numbers(tmp_path):
    ring = np.array([[0, 0], [10, 0], [np.nan, 10], [0, 0]])
    path = with_geometry(save(tmp_path / "f.gpkg", [box(0, 0, 1, 1)]), wkb_polygon(ring))
    with pytest.raises(InputRefused, match=r"no numbers \(feature 1\)"):
        read_features(path, "PARCELS")


def test_output_17_columns_that_collide_are_kept_renamed(tmp_path):
    rows = {
        "id": [7],
        "FID": [8],
        "Geom": [9],
        "Name": ["a"],
        "name": ["b"],
        "source_id": [1],
        "feature_id": [3],
    }
    feature = {
        "type": "Feature",
        "properties": {k: v[0] for k, v in rows.items()},
        "geometry": shapely.geometry.mapping(box(0, 0, 1, 1)),
    }
    path = tmp_path / "f.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    features = read_features(path, "PARCELS")
    held = {name: values[0] for name, values in features.columns.items()}
    assert (
        held["source_FID"] == 8 and held["source_Geom"] == 9 and held["Name"] == "a" and held["source_feature_id"] == 3
    )
    assert held["name_2"] == "b" and {held["source_id"], held["source_id_2"]} == {7, 1}
    assert len({name.lower() for name in held}) == len(held) and noted(features, "column 'name' is kept as 'name_2'")


def test_shapefile_parts(tmp_path):
    path = save(tmp_path / "f.shp", [box(0, 0, 1, 1)])
    for part in (".shx", ".dbf"):
        aside = path.with_suffix(part).rename(tmp_path / "aside")
        with pytest.raises(InputRefused, match=rf"lacks f\{part} beside it"):
            read_features(path, "PARCELS")
        aside.rename(path.with_suffix(part))
    with pytest.raises(InputRefused, match=r"part of a Shapefile.*f\.shp"):
        read_features(tmp_path / "f.dbf", "PARCELS")


def test_gpx_points_and_tracks(tmp_path):
    path = tmp_path / "f.gpx"
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="45" lon="7"><name>well</name></wpt><trk><trkseg><trkpt lat="45" lon="7"/><trkpt lat="46" lon="7"/></trkseg></trk></gpx>'
    )
    assert read_features(path, "--service", kinds=("point",)).geometry[0].equals(Point(7, 45))
    assert len(read_features(path, "--service", kinds=("line",))) == 1
    with pytest.raises(InputRefused, match="no layer of polygons"):
        read_features(path, "PARCELS")


def test_crs_11_parcels_move_to_another_system_and_back(tmp_path):
    square = box(500000, 4600000, 500100, 4600100)
    there = reprojected(features_of([square], "EPSG:26915"), pyproj.CRS(4269))
    back = reprojected(there, pyproj.CRS(26915))
    assert shapely.hausdorff_distance(back.geometry[0], square) < 1e-3 and back.crs.to_epsg() == 26915
    same = reprojected(features_of([square], "EPSG:26915"), pyproj.CRS(26915))
    assert same.geometry[0].equals(square)
    shifted = reprojected(features_of([square], "EPSG:26915"), pyproj.CRS(4326))
    assert noted(shifted, "shift from the datum")


@pytest.mark.parametrize("lon, lat", [(-93.1, 42.0), (10.3, 68.0), (170.0, -44.0), (0.0, 0.0)])
@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857", "EPSG:3034", "EPSG:3035"])
def test_straight_edges_stay_straight_enough(lon, lat, crs):
    """Every point of an edge in the source lies within the tolerance of the reprojected edge."""
    if crs in ("EPSG:3034", "EPSG:3035") and lon != 10.3:
        return
    source = pyproj.CRS(crs)
    to_source = pyproj.Transformer.from_crs(4326, source, always_xy=True)
    east, north = to_source.transform(
        np.array([lon - 0.03, lon + 0.03, lon - 0.01]), np.array([lat, lat + 0.02, lat + 0.04])
    )
    triangle = Polygon(np.column_stack([east, north]))
    target = local_crs(source, lon, lat)
    moved = reprojected(features_of([triangle], source), target)
    change = pyproj.Transformer.from_crs(source, target, always_xy=True)
    fine = shapely.segmentize(triangle, triangle.length / 2000)
    points = np.column_stack(change.transform(*shapely.get_coordinates(fine).T))
    assert shapely.distance(shapely.points(points), shapely.boundary(moved.geometry[0])).max() <= STRAIGHT_M
    straight = Polygon(np.column_stack(change.transform(*shapely.get_coordinates(triangle).T)))
    if crs == "EPSG:4326" and abs(lat) > 40:  # without more vertices it would be metres off
        assert shapely.distance(shapely.points(points), shapely.boundary(straight)).max() > 10 * STRAIGHT_M


def test_reprojected_refuses_what_has_no_place():
    with pytest.raises(InputRefused, match=r"have no place in"):
        reprojected(
            features_of([box(0, 0, 1, 1), box(1e12, 0, 1e12 + 1, 1)], UTM),
            local_crs(pyproj.CRS(UTM), -93, 42),
        )


def antimeridian_shapes():
    whole = Polygon([(179.99, -17.0), (-179.99, -17.0), (-179.99, -16.99), (179.99, -16.99)])
    split = shapely.multipolygons([box(179.99, -17.0, 180, -16.99), box(-180, -17.0, -179.99, -16.99)])
    return {"whole": whole, "split": split}


@pytest.mark.parametrize("name", ["whole", "split"])
def test_crs_19_antimeridian(tmp_path, name):
    path = save(tmp_path / "f.gpkg", [antimeridian_shapes()[name]], "EPSG:4326")
    features = read_features(path, "PARCELS")
    west, _, east, _ = shapely.total_bounds(features.geometry)
    assert east - west < 0.03 and noted(features, "antimeridian") and shapely.is_valid(features.geometry).all()
    lon, lat = centre_lonlat(features)
    assert abs(abs(lon) - 180) < 1e-9 and lat == pytest.approx(-16.995)
    moved = reprojected(features, local_crs(features.crs, lon, lat))
    area, _ = pyproj.Geod(ellps="WGS84").geometry_area_perimeter(box(179.98, -17.0, 180, -16.99))
    assert shapely.area(moved.geometry[0]) == pytest.approx(abs(area), rel=1e-5)
    back = reprojected(moved, pyproj.CRS(4326))
    west, _, east, _ = shapely.total_bounds(back.geometry)
    assert east - west < 0.03
    both = features_of([box(179.98, -17, 179.99, -16.99), box(-179.99, -17, -179.98, -16.99)], "EPSG:4326")
    assert abs(abs(centre_lonlat(both)[0]) - 180) < 1e-9


def test_centre_needs_a_link_to_the_earth():
    site = pyproj.CRS.from_wkt('LOCAL_CS["site",UNIT["metre",1]]')
    with pytest.raises(InputRefused, match="no link"):
        centre_lonlat(features_of([box(0, 0, 1, 1)], site))
    with pytest.raises(InputRefused, match=r"nothing links|no way"):
        reprojected(features_of([box(0, 0, 1, 1)], site), pyproj.CRS(4326))


def test_lines_and_points_are_carried_too():
    mixed = features_of(
        [Point(-93, 42), LineString([(-93, 42), (-92.9, 42)]), box(-93, 42, -92.99, 42.01)], "EPSG:4326"
    )
    moved = reprojected(mixed, local_crs(mixed.crs, -93, 42))
    assert [shape.geom_type for shape in moved.geometry] == ["Point", "LineString", "Polygon"]
    assert shapely.get_num_coordinates(moved.geometry[1]) > 10
    assert moved.geometry[1].length == pytest.approx(pyproj.Geod(ellps="WGS84").geometry_length(LineString(
        [(-93 + 0.1 * n / 1000, 42) for n in range(1001)])), rel=1e-5)  # fmt: skip
