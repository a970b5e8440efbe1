"""What is drawn: checked, on disk at once, the same after a restart, and the same to the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.desk.fields import field_project
from tunnelsite.core.errors import OutputFailed, TunnelsiteError, UsageError
from tunnelsite.desk import map_drawing as module
from tunnelsite.desk.map_drawing import MapDrawing, checked
from tunnelsite.io.read.site import site_from

LON, LAT = -81.0, 40.0  # only the shape counts here


def feature(what: str, kind: str, points: Any, **about: Any) -> dict[str, Any]:
    return {"type": "Feature", "geometry": {"type": kind, "coordinates": points}, "properties": {"what": what, **about}}


def ring(side: float = 1e-4) -> list:
    return [[[LON, LAT], [LON + side, LAT], [LON + side, LAT + side], [LON, LAT]]]


EVERYTHING = {
    "a": feature("field", "Polygon", ring(), name="Nord"),
    "b": feature("keep_out", "Polygon", ring(), distance_m="10 ft"),
    "c": feature("building", "Polygon", ring(), height_m="20ft"),
    "d": feature("tree", "Point", [LON, LAT], height_m="40 ft", crown_m=6),
    "e": feature("tree_line", "LineString", ring()[0][:2], height_m=8, width_m=3),
    "f": feature("wall", "LineString", ring()[0][:2], height_m="2m"),
    "g": feature("service", "Point", [LON, LAT], service="water"),
    "h": feature("road", "LineString", ring()[0][:2], distance_m=""),
    "i": feature("lamp", "Point", [LON, LAT], lumens=4000, height_m=5),
}


def test_everything_that_can_be_drawn_comes_back_after_a_restart(tmp_path: Path) -> None:
    project = field_project(tmp_path)
    first = MapDrawing(project)
    for name, given in EVERYTHING.items():
        first.put(name, given)
    again = MapDrawing(project)
    again.read()
    found = {one["id"]: one for one in again.collection()["features"]}
    wanted = {one["id"]: one for one in first.collection()["features"]}
    assert found == wanted and found["d"]["properties"]["height_m"] == pytest.approx(12.192)
    assert found["b"]["properties"]["distance_m"] == pytest.approx(3.048)
    assert project.raw()["drawn"] == "drawn.gpkg" and "# kept by hand" in project.text()


def test_drawn_things_are_part_of_the_site(tmp_path: Path) -> None:
    project = field_project(tmp_path)
    drawing = MapDrawing(project)
    for name, given in EVERYTHING.items():
        drawing.put(name, given)
    site = site_from(project.settings())
    assert len(site.parcels) == 2 and len(site.structures) == 1 and len(site.obstacles) == 4 and len(site.lamps) == 1
    assert [round(item.distance_m, 3) for item in site.keep_outs] == [3.048]
    assert set(site.services) == {"water", "road"}
    assert site.named[-1].name == "drawn.gpkg" and len(site.named[-1].sha256) == 64


def test_taking_out_and_putting_back_is_what_was(tmp_path: Path) -> None:
    drawing = MapDrawing(field_project(tmp_path))
    drawing.put("d", EVERYTHING["d"])
    before = drawing.collection()["features"]
    drawing.remove("d")
    assert drawing.collection()["features"] == []
    drawing.put("d", EVERYTHING["d"])
    assert drawing.collection()["features"] == before


@pytest.mark.parametrize(
    "given",
    [
        feature("tree", "Point", [LON, LAT]),
        feature("tree", "Point", [LON, LAT], height_m="tall"),
        feature("tree", "Point", [LON, LAT], height_m=-3),
        feature("tree", "Polygon", ring(), height_m=3),
        feature("pond", "Point", [LON, LAT]),
        feature("tree", "Point", [float("nan"), LAT], height_m=3),
        feature("tree", "Point", [500, LAT], height_m=3),
        feature("field", "Polygon", [[[0, 0], [1, 1], [0, 0]]]),
        feature("service", "Point", [LON, LAT], service="../x"),
        {"properties": {"what": "tree", "height_m": 3}},
        {"geometry": {"type": "Point"}, "properties": {"what": "tree", "height_m": 3}},
        {"geometry": 3, "properties": "x"},
    ],
)
def test_what_cannot_be_drawn_is_refused_in_words(given: dict[str, Any]) -> None:
    with pytest.raises(UsageError) as refused:
        checked("x", given)
    assert refused.value.expected and refused.value.fix


def test_full_disk_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawing = MapDrawing(field_project(tmp_path))
    drawing.put("d", EVERYTHING["d"])
    before, content = drawing.collection(), drawing.project.drawn.read_bytes()

    def full(*given: Any) -> None:
        raise OutputFailed("no room")

    monkeypatch.setattr(module, "write_drawn", full)
    with pytest.raises(OutputFailed):
        drawing.put("e", EVERYTHING["e"])
    assert drawing.collection() == before and drawing.project.drawn.read_bytes() == content


def test_broken_drawing_is_not_taken_for_an_empty_one(tmp_path: Path) -> None:
    project = field_project(tmp_path)
    project.drawn.write_bytes(b"no GeoPackage at all, but somebody's work")
    with pytest.raises(TunnelsiteError):
        MapDrawing(project).read()
    assert project.drawn.read_bytes().startswith(b"no GeoPackage")
