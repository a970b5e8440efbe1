"""`grading`: numbers against a closed form, files against each other, and what is refused."""

import csv
import json
import xml.etree.ElementTree as ElementTree

import geopandas
import pytest
import shapely

from tests.hosts.screened import asked, refused, screened, screened_farm, tilted
from tests.whole_run.files import plain_farm
from tunnelsite.hosts.cli.main import main

SVG = "{http://www.w3.org/2000/svg}"
APRON_M = 1.2192
RISE = 0.015
QUICK = ("--draws", "20")


@pytest.fixture(scope="module")
def slope(tmp_path_factory):
    """A field that rises 1.5 % to the east, nothing else; the parcel is its lower part, so that water comes from above."""
    folder = tmp_path_factory.mktemp("slope")
    dem, parcels = plain_farm(folder, tilted(RISE, 0.0))
    land = geopandas.read_file(parcels)
    west, south, east, north = land.total_bounds
    lower = shapely.box(west, south, west + 0.4 * (east - west), north)
    land.set_geometry(land.geometry.intersection(lower)).to_file(folder / "lower.gpkg")
    return screened(folder, dem, folder / "lower.gpkg")


@pytest.fixture(scope="module")
def open_slope(slope, tmp_path_factory):
    """The same field where the owner's land goes on beyond the data, so that a swale's outlet is on it."""
    wide = tmp_path_factory.mktemp("wide") / "wide.gpkg"
    parcels = geopandas.read_file(slope[1])
    parcels.set_geometry(parcels.geometry.buffer(20, join_style="mitre")).to_file(wide)
    return slope[0], str(wide), slope[2]


def _go(farm, *words: str) -> list[str]:
    return ["grading", farm[0], farm[1], "--sites", farm[2], "--rank", "1", *QUICK, *words]


def test_earthwork_of_a_plane(slope, tmp_path, capsys):
    """Cut of a pad on a plane: (s - 1/192) L^2 W / 8, the other half is fill (derived; docs/method.md)."""
    summary = asked(capsys, *_go(slope, "--out", str(tmp_path / "g.gpkg"), "--no-swale"))
    found = summary["grading"]
    length, width = 15 + 2 * APRON_M, 6 + 2 * APRON_M
    cut = (RISE - 1 / 192) * length**2 * width / 8
    assert found["pad_cut_m3"] == pytest.approx(cut, rel=0.01)
    assert found["pad_fill_m3"] == pytest.approx(cut, rel=0.01)
    assert found["slope_along"] == pytest.approx(1 / 192, abs=1e-9)
    # cell centres stand for cells, so the outermost one is up to half a cell short of the pad's end
    assert found["max_cut_m"] == pytest.approx((RISE - 1 / 192) * length / 2, abs=RISE * 0.6)
    # a 3:1 slope meets ground that rises with it at 3 d / (1 - 3 x 0.03) from the end wall's edge (derived)
    deep = (RISE - 1 / 192) * length / 2
    assert found["side_slopes"]["widest_m"] == pytest.approx(3 * deep / (1 - 3 * RISE), rel=0.05)
    assert found["topsoil"]["stripped_m3"] == pytest.approx(0.15 * found["disturbed_m2"])
    assert summary["drainage"]["swale"] == []
    for name in ("cut_m3", "fill_m3"):
        span = found["uncertainty"][name]
        assert span["low"] <= found[name] <= span["high"]
    assert any("--elevation-error" in text for text in summary["assumed"])


def test_files_agree_with_the_summary(slope, tmp_path, capsys):
    out = tmp_path / "plan.gpkg"
    summary = asked(capsys, *_go(slope, "--out", str(out), "--elevation-error", "0.05m", "--error-range", "3m"))
    assert summary["assumed"] == []
    assert {path.name for path in tmp_path.glob("[!.]*")} == {
        "plan.gpkg", "plan-map.svg", "plan-profiles.svg", "plan-profiles.csv", "plan-stations.csv", "plan.json",
    }  # fmt: skip
    assert json.loads((tmp_path / "plan.json").read_text()) == summary
    areas = geopandas.read_file(out, layer="areas").set_index("kind")
    assert areas.loc["disturbed ground"].geometry.area == pytest.approx(summary["grading"]["disturbed_m2"], rel=1e-3)
    assert areas.loc["pad"].geometry.area == pytest.approx(summary["grading"]["pad_m2"], rel=1e-3)
    lines = geopandas.read_file(out, layer="lines")
    daylight = lines[lines["kind"] == "daylight"].geometry.iloc[0]
    assert shapely.Polygon(daylight.coords).area == pytest.approx(areas.loc["disturbed ground"].geometry.area, rel=1e-9)
    swale = lines[lines["kind"] == "swale"]
    assert len(swale) == len(summary["drainage"]["swale"]) == 0  # the parcel is too small for one
    assert any(text.startswith("No swale is offered") for text in summary["cautions"])
    # before grading the contours of a plane are straight lines square to its fall, as far apart as interval / slope
    before = lines[lines["kind"] == "contour before"]
    assert summary["contour_interval_m"] >= 0.1
    spans = [line.bounds[2] - line.bounds[0] for line in before.geometry]
    assert max(spans) < 4.0
    run = geopandas.read_file(out, layer="run")
    assert {"input", "setting", "caution", "version"} <= set(run["kind"])
    rows = list(csv.DictReader((tmp_path / "plan-profiles.csv").read_text().splitlines()))
    along = [row for row in rows if row["profile"] == "along"]
    middle = next(row for row in along if float(row["distance_m"]) == 0)
    assert float(middle["finished_m"]) == pytest.approx(summary["grading"]["level_m"], abs=1e-3)
    assert float(middle["natural_m"]) - float(middle["finished_m"]) == pytest.approx(float(middle["cut_m"]), abs=2e-4)


def test_pictures_can_be_read_out_and_hold_what_they_say(slope, tmp_path, capsys):
    asked(capsys, *_go(slope, "--out", str(tmp_path / "plan.gpkg")))
    for name in ("map", "profiles"):
        root = ElementTree.parse(tmp_path / f"plan-{name}.svg").getroot()
        assert root.get("role") == "img" and root.get("aria-labelledby") == "title desc"
        assert root.find(f"{SVG}title").text and len(root.find(f"{SVG}desc").text) > 60
        text = (tmp_path / f"plan-{name}.svg").read_text("utf-8")
        assert "nan" not in text.lower().replace("nance", "") and "http://" not in text.replace(SVG[1:-1], "")
        words = " ".join(element.text or "" for element in root.iter(f"{SVG}text"))
        assert "not a survey" in words and "30x96ft" not in words and "6x15m" in words
    assert "url(#fill-hatch)" in (tmp_path / "plan-map.svg").read_text("utf-8")


def test_rain_gives_peak_flows_and_none_gives_none(open_slope, tmp_path, capsys):
    out = ["--out", str(tmp_path / "g.gpkg"), "--overwrite"]
    dry = asked(capsys, *_go(open_slope, *out))["drainage"]
    lines, areas = (geopandas.read_file(tmp_path / "g.gpkg", layer=name) for name in ("lines", "areas"))
    swale, disturbed = lines[lines["kind"] == "swale"], areas[areas["kind"] == "disturbed ground"]
    assert len(swale) == len(dry["swale"]) >= 1
    assert not swale.intersects(disturbed.geometry.iloc[0]).any()
    assert dry["roof_peak_m3_s"] is None and all(arm["peak_m3_s"] is None for arm in dry["swale"])
    wet = asked(capsys, *_go(open_slope, *out, "--rain", "4in/h", "--roof-rain", "150mm/h", "--runoff-share", "0.5"))[
        "drainage"
    ]
    # rational method, Q = C i A, worked by hand: 4 in/h = 101.6 mm/h; roof C = 1
    assert wet["roof_peak_m3_s"] == pytest.approx(0.150 / 3600 * 6 * 15)
    for arm in wet["swale"]:
        assert arm["peak_m3_s"] == pytest.approx(0.5 * 0.1016 / 3600 * arm["drains_m2"])


def test_name_from_data_is_only_text(tmp_path, capsys):
    dem, parcels, sites = screened_farm(tmp_path, tilted(0.01, 0.004))
    named = geopandas.read_file(sites, layer="candidates")
    named["parcel"] = "<script>&\"'"
    named.to_file(sites, layer="candidates", driver="GPKG", mode="w")
    asked(capsys, *_go((dem, parcels, sites), "--out", str(tmp_path / "g.gpkg")))
    root = ElementTree.parse(tmp_path / "g-map.svg").getroot()
    assert "<script>&\"'" in root.find(f"{SVG}title").text
    assert root.find(f".//{SVG}script") is None


@pytest.mark.parametrize(
    ("words", "status", "expected"),
    [
        (["--cut-slope", "0"], 2, "run per rise"),
        (["--topsoil", "3m"], 2, "0 to 1 m"),
        (["--rain", "100"], 2, "4in/h"),
        (["--rain", "100/h"], 2, "4in/h"),
        (["--burst", "1in/30min"], 2, "--curve-number"),
        (["--burst", "1in"], 2, "DEPTH/MINUTES"),
        (["--curve-number", "75", "--burst", "1in/30min"], 2, "--two-year-rain"),
        (["--crown", "2 %"], 2, "container"),
        (["--draws", "3"], 2, "20 to 10000"),
        (["--elevation-error", "60m"], 2, "elevation error"),
        (["--out", "plan.svg"], 2, ".gpkg"),
        (["--rank", "7"], 2, "one of the 3 ranks"),
    ],
)
def test_refusals_leave_nothing_behind(slope, tmp_path, monkeypatch, capsys, words, status, expected):
    monkeypatch.chdir(tmp_path)
    found, message = refused(capsys, *_go(slope, *words))
    assert found == status, message
    assert expected in message
    assert not list(tmp_path.glob("[!.]*"))


def test_one_file_in_the_way_stops_all(slope, tmp_path, capsys):
    (tmp_path / "g-map.svg").write_text("mine")
    status, message = refused(capsys, *_go(slope, "--out", str(tmp_path / "g.gpkg")))
    assert status == 2 and "exists already" in message
    assert [path.name for path in tmp_path.glob("[!.]*")] == ["g-map.svg"]
    assert (tmp_path / "g-map.svg").read_text() == "mine"


def test_services_and_keep_outs_in_the_way_are_named(slope, tmp_path, capsys):
    """A water line through the middle of the pad, and a barn that touches its east side; drawn by hand, read from files."""
    site = geopandas.read_file(slope[2], layer="candidates").iloc[[0]].to_crs(geopandas.read_file(slope[1]).crs)
    middle, crs = site.geometry.iloc[0].centroid, site.crs
    line = shapely.LineString([(middle.x + 2, middle.y - 40), (middle.x + 2, middle.y + 40)])
    barn = shapely.box(middle.x + 8.8, middle.y - 3, middle.x + 14, middle.y + 3)
    for name, shape in (("water", line), ("barn", barn)):
        geopandas.GeoSeries([shape], crs=crs).to_file(tmp_path / f"{name}.gpkg")
    words = ["--service", f"water={tmp_path}/water.gpkg", "--structures", f"{tmp_path}/barn.gpkg"]
    out = ["--out", str(tmp_path / "g.gpkg"), "--overwrite"]
    found = asked(capsys, *_go(slope, *out, *words))
    conflicts = found["grading"]["conflicts"]
    assert any(text.startswith("NOT BUILDABLE AS DRAWN") and "structures" in text for text in conflicts)
    assert any("lies across the service water" in text for text in conflicts)
    assert found["cautions"][: len(conflicts)] == conflicts
    clear = asked(capsys, *_go(slope, *out))
    assert clear["grading"]["conflicts"] == []


def test_stations_of_the_sheet_are_those_of_the_layer(open_slope, tmp_path, capsys):
    asked(capsys, *_go(open_slope, "--out", str(tmp_path / "g.gpkg")))
    layer = geopandas.read_file(tmp_path / "g.gpkg", layer="stations")
    rows = list(csv.DictReader((tmp_path / "g-stations.csv").read_text().splitlines()))
    assert {"swale", "slope stake"} <= set(layer["kind"]) and len(layer) == len(rows)
    for row, (_, stake) in zip(rows, layer.iterrows(), strict=True):
        assert row["label"] == stake["label"] and "buried lines" in row["care"]
        assert float(row["cut_m"]) == pytest.approx(float(row["ground_m"]) - float(row["finish_m"]), abs=2e-4)
        assert (float(row["easting"]), float(row["northing"])) == pytest.approx(
            (stake.geometry.x, stake.geometry.y), abs=1e-3
        )
        assert float(row["cut_m"]) == pytest.approx(stake["cut_m"], abs=1e-4)
    # the drawing of the same stakes
    pytest.importorskip("ezdxf")
    assert main(["export", str(tmp_path / "g.gpkg"), "--to", str(tmp_path / "ex"), "--as", "dxf", "-q"]) == 0
    drawn = (tmp_path / "ex" / "g.dxf").read_text("ascii")
    assert "\nswale 1-1\n" in drawn.replace("\r", "") and "None" not in drawn
