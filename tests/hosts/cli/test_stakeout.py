"""`stakeout`: the candidate is found again to the millimetre, and what was levelled decides."""

import csv
import hashlib
import json
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely

from tests.hosts.screened import asked, level_book, refused, screened_farm, tilted
from tests.whole_run.files import UTM17, gentle, plain_farm, write_dem
from tunnelsite.hosts.cli.main import main

FARM = Path(__file__).resolve().parents[3] / "sample_data"


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    return screened_farm(tmp_path_factory.mktemp("farm"))


def _go(farm, *words: str) -> list[str]:
    return ["stakeout", farm[0], farm[1], "--sites", farm[2], "--rank", "1", "--overwrite", *words]


def _stakes(path: Path) -> dict[str, dict[str, str]]:
    return {row["label"]: row for row in csv.DictReader(path.read_text("utf-8").splitlines())}


def _corners(path: Path) -> shapely.Polygon:
    rows = [row for row in _stakes(path).values() if row["kind"] == "corner"]
    return shapely.Polygon([(float(row["easting"]), float(row["northing"])) for row in rows])


def _footprint(sites: str, rank: int = 1) -> shapely.Polygon:
    found = geopandas.read_file(sites, layer="candidates")
    return found[found["rank"] == rank].geometry.iloc[0]


def test_candidate_and_its_plane_are_found_again(farm, tmp_path, capsys):
    """Corners against the footprint the screening wrote, plane and volumes against its pads (another way of computing)."""
    out = tmp_path / "s.csv"
    for rank in (1, 2, 3):
        words = _go(farm, "--out", str(out))
        words[words.index("--rank") + 1] = str(rank)
        summary = asked(capsys, *words)
        assert shapely.hausdorff_distance(_corners(out), _footprint(farm[2], rank)) < 1e-3
        pads = geopandas.read_file(farm[2], layer="pads")
        pad = pads[pads["rank"] == rank].iloc[0]
        plan = summary["elevation_model_plan"]
        assert plan["level_m"] == pytest.approx(pad["level_m"], abs=1e-4)
        assert 100 * plan["slope_along"] == pytest.approx(pad["slope_along_pct"], abs=1e-4)
        assert plan["cut_m3"] == pytest.approx(pad["cut_m3"], abs=1e-2)
        assert not [note for note in summary["notes"] if "NOT" in note or "differs" in note or "moved" in note]


def test_turned_ridge(tmp_path, capsys):
    farm = screened_farm(tmp_path, None, "--bearing", "62", "--bearing-tolerance", "5", "--bearing-step", "5")
    summary = asked(capsys, *_go(farm, "--out", str(tmp_path / "s.csv")))
    assert shapely.hausdorff_distance(_corners(tmp_path / "s.csv"), _footprint(farm[2])) < 1e-3
    screened = geopandas.read_file(farm[2], layer="candidates").iloc[0]
    assert summary["bearing_deg"] == pytest.approx(screened["bearing_deg"], abs=1e-3)


def test_another_elevation_model_is_named_and_the_place_stays(farm, tmp_path, capsys):
    from rasterio.transform import Affine

    heights = gentle() + np.float32(0.5)
    other = write_dem(tmp_path / "dem.tif", heights, Affine(1, 0, 700_000.0, 0, -1, 4_700_000.0), UTM17)
    out = tmp_path / "s.csv"
    summary = asked(capsys, *_go((str(other), *farm[1:]), "--cell", "0.7m", "--out", str(out)))
    notes = " ".join(summary["notes"])
    assert "dem.tif is NOT the DEM of the screening (its contents differ)" in notes
    assert "the grid was moved" in notes and "cell is 0.7" in notes and "differs from the screening" in notes
    assert shapely.hausdorff_distance(_corners(out), _footprint(farm[2])) < 1e-3


def test_least_volume_plane_moves_no_more(farm, tmp_path, capsys):
    out = str(tmp_path / "s.csv")
    plans = [asked(capsys, *_go(farm, "--out", out, "--plane", name)) for name in ("least-squares", "least-volume")]
    moved = [plan["elevation_model_plan"]["cut_m3"] + plan["elevation_model_plan"]["fill_m3"] for plan in plans]
    assert moved[1] <= moved[0] + 1e-6


def _level_farm(folder: Path, capsys, along: float, across: float, misclosure_m: float = 0.0, *words: str):
    """A farm, and a book of readings at every grid stake on a plane of these slopes, bench at 100 m."""
    farm = screened_farm(folder, tilted(0.002, 0.001))
    out = folder / "s.csv"
    assert main(_go(farm, "--out", str(out), "-q")) == 0
    capsys.readouterr()
    grid = [row for row in _stakes(out).values() if row["kind"] == "grid"]
    place = {row["label"]: (float(row["along_m"]), float(row["across_m"])) for row in grid}
    heights = {label: 100.0 + along * u + across * v for label, (u, v) in place.items()}
    book = folder / "book.csv"
    book.write_text(level_book(heights, 100.4, misclosure_m))
    level = ["--level-book", str(book), "--level-unit", "m", "--bench-height", "100.4m", "--out", str(out), *words]
    return asked(capsys, *_go(farm, *level)), _stakes(out), heights


def test_plan_again_from_the_level_book(tmp_path, capsys):
    """Ground rises 1.2 % along: the pad is clipped to 1/192 and cut = fill about its middle (derived)."""
    layers = tmp_path / "stakes.gpkg"
    summary, stakes, heights = _level_farm(tmp_path, capsys, 0.012, 0.001, 0.0, "--out", str(layers))
    plan = summary["measured_plan"]
    assert plan["slope_along"] == pytest.approx(1 / 192, abs=1e-9)
    assert plan["slope_across"] == pytest.approx(0.001, abs=1e-5)
    assert plan["level_m"] == pytest.approx(100.0, abs=1e-3)
    assert plan["cut_m3"] == pytest.approx(plan["fill_m3"], rel=1e-6)
    assert summary["level_book"]["closes"] and "levelled in the field" in summary["heights"]
    for label, height in heights.items():
        u = float(stakes[label]["along_m"])
        assert float(stakes[label]["ground_m"]) == pytest.approx(height, abs=2e-4)
        assert float(stakes[label]["cut_m"]) == pytest.approx((0.012 - 1 / 192) * u, abs=1e-3)
    assert stakes["NE offset along"]["ground_m"] == ""  # not read: no height of another system is mixed in
    assert "as_built" not in summary
    run = pyogrio.read_dataframe(layers, layer="run").query("kind == 'input'").set_index("name")["value"]
    for name in ("book.csv", "sites.gpkg"):
        assert run[name] == f"sha256 {hashlib.sha256((tmp_path / name).read_bytes()).hexdigest()}"


@pytest.mark.parametrize(
    ("along", "misclosure_m", "within", "verdict"),
    [
        (0.003, 0.0, True, "within the tolerance"),
        (0.010, 0.0, False, "OVER the tolerance"),
        (1 / 192, 0.0, False, "too near the tolerance"),
        (0.003, 0.05, False, "does not close"),
    ],
)
def test_as_built(tmp_path, capsys, along, misclosure_m, within, verdict):
    summary, _, _ = _level_farm(tmp_path, capsys, along, 0.0, misclosure_m, "--as-built")
    assert summary["as_built"]["within"] is within
    assert verdict in summary["as_built"]["verdict"]
    assert summary["as_built"]["limit"] == pytest.approx(1 / 192)


@pytest.mark.parametrize(
    ("words", "status", "expected"),
    [
        (["--rank", "9"], 2, "one of the 3 ranks"),
        (["--rank", "0"], 2, "from 1 to"),
        (["--out", "s.txt"], 2, ".geojson"),
        (["--date", "25.11.2026"], 2, "YYYY-MM-DD"),
        (["--date", "2050-01-01"], 2, "2050"),
        (["--post-spacing", "4"], 0, ""),
        (["--post-spacing", "40m"], 2, "post spacing"),
        (["--as-built"], 2, "--level-book"),
        (["--bench-height", "100m"], 2, "--level-book"),
        (["--level-book", "b.csv"], 2, "--level-unit"),
        (["--level-book", "b.csv", "--level-unit", "m"], 2, "--bench-height"),
        (["--level-book", "b.csv", "--level-unit", "m", "--bench-height", "100"], 3, "cannot be read"),
        (["--sites", "absent.gpkg"], 3, "no file"),
    ],
)
def test_refusals_leave_nothing_behind(farm, tmp_path, capsys, words, status, expected):
    given = ["stakeout", farm[0], farm[1], "--sites", farm[2], "--rank", "1", *words]
    if "--out" in words:
        given[given.index("s.txt")] = str(tmp_path / "s.txt")
    else:
        given += ["--out", str(tmp_path / "s.csv")]
    found, message = refused(capsys, *given)
    assert found == status, message
    assert expected in message
    assert status == 0 or not list(tmp_path.glob("[!.]*"))


def test_a_file_that_is_no_screening(farm, tmp_path, capsys):
    status, message = refused(capsys, "stakeout", farm[0], farm[1], "--sites", farm[1], "--rank", "1")
    assert status in (2, 3)
    assert "candidates" in message or "layout" in message


def test_parcels_that_do_not_hold_it(farm, tmp_path, capsys):
    """Other parcels on the same ground: the place stays, and it is said."""
    _, parcels = plain_farm(tmp_path)
    moved = geopandas.read_file(parcels)
    moved.geometry = moved.geometry.scale(0.1, 0.1, origin=(700_010.0, 4_699_990.0))
    moved.to_file(tmp_path / "small.gpkg")
    summary = asked(capsys, *_go((farm[0], str(tmp_path / "small.gpkg"), farm[2]), "--out", str(tmp_path / "s.csv")))
    notes = " ".join(summary["notes"])
    assert "small.gpkg is NOT the parcels file" in notes and "holds the candidate" in notes
    assert shapely.hausdorff_distance(_corners(tmp_path / "s.csv"), _footprint(farm[2])) < 2e-3


@pytest.mark.parametrize(
    ("kind", "words"),
    [("in-ground", ()), ("container", ("--crown", "2 %", "--apron-fall", "3 %", "--base", "0.2m"))],
)
def test_stakes_of_a_grading_plan_have_its_heights(tmp_path, capsys, kind, words):
    """Finished heights of the sheet against the plan's own profile along the ridge and across it, in the files of both."""
    from tests.plans.places import place, rough

    ground = rough(place(rows=90, cols=110), 2, relief_m=0.8).astype(np.float32) + np.float32(150)
    farm = screened_farm(tmp_path, ground, "--kind", kind)
    dem, parcels, sites = farm
    plan = tmp_path / "plan.json"
    common = [dem, parcels, "--sites", sites, "--rank", "1"]
    asked(capsys, "grading", *common, "--out", str(tmp_path / "plan.gpkg"), "--draws", "20", *words)
    summary = asked(capsys, *_go(farm, "--out", str(tmp_path / "s.csv"), "--grading", str(plan)))
    assert any("those of the grading plan" in note for note in summary["notes"])
    assert any("subgrade lies 20 cm (7 3/4 in) lower" in note for note in summary["notes"]) == (kind == "container")
    graded = json.loads(plan.read_text())["grading"]
    assert summary["elevation_model_plan"]["level_m"] == graded["level_m"]
    assert summary["elevation_model_plan"]["cut_m3"] == graded["pad_cut_m3"]
    with open(tmp_path / "plan-profiles.csv", encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    compared = 0
    for stake in _stakes(tmp_path / "s.csv").values():
        along, across = (float(stake[name]) for name in ("along_m", "across_m"))
        if not stake["finish_m"] or min(abs(along), abs(across)) > 1e-6:
            continue
        way, at = ("along", along) if abs(across) <= 1e-6 else ("across", across)
        line = [
            (float(row["distance_m"]), float(row["finished_m"]))
            for row in rows
            if row["profile"] == way and row["finished_m"]
        ]
        edge = 7.5 + 1.2192 if way == "along" else 3 + 1.2192
        inside = [pair for pair in line if abs(pair[0]) <= edge]
        if abs(at) <= min(abs(inside[0][0]), abs(inside[-1][0])):
            compared += 1
            assert float(stake["finish_m"]) == pytest.approx(np.interp(at, *zip(*inside, strict=True)), abs=0.006)
    assert compared >= 2
    # without the plan the sheet says that its heights are its own
    own = asked(capsys, *_go(farm, "--out", str(tmp_path / "t.csv")))
    assert any("give its JSON (--grading)" in note for note in own["notes"])


def test_a_plan_of_another_place_or_no_plan_is_refused(farm, tmp_path, capsys):
    plan = tmp_path / "plan.json"
    numbers = dict.fromkeys(
        ("pad_m2", "level_m", "slope_along", "slope_across", "crown", "apron_fall", "base_m", "pad_cut_m3", "pad_fill_m3",
         "max_cut_m", "max_fill_m"), 0.0,
    )  # fmt: skip
    out = str(tmp_path / "s.csv")
    for text, expected in (
        (json.dumps({"lon": 0.0, "lat": 0.0, "grading": numbers}), "is the plan of a pad"),
        (json.dumps({"lon": 0.0, "lat": 0.0, "grading": numbers | {"crown": "x"}}), "crown is 'x'"),
        (
            '{"lon": 0, "lat": 0, "grading": ' + json.dumps(numbers).replace('"level_m": 0.0', '"level_m": NaN') + "}",
            "level_m is 'nan'",
        ),
        ("[]", "no grading plan"),
        ("{", "no grading plan"),
        ("", "is empty"),
    ):
        plan.write_text(text)
        status, said = refused(capsys, *_go(farm, "--out", out, "--grading", str(plan)))
        assert status == 3 and expected in said and not (tmp_path / "s.csv").exists()
    status, said = refused(capsys, *_go(farm, "--out", out, "--grading", str(plan), "--plane", "least-volume"))
    assert status == 2 and "--grading and --plane" in said


def test_stakes_on_land_of_others_and_over_a_service_are_named(farm, tmp_path, capsys):
    """A bench mark 60 m off stands beyond the parcel; a water line through the house, and one that passes 40 m away."""
    site = geopandas.read_file(farm[2], layer="candidates").iloc[0]
    parcels = geopandas.read_file(farm[1])
    centre = geopandas.GeoSeries(
        [site.geometry.centroid], crs=geopandas.read_file(farm[2], layer="candidates").crs
    ).to_crs(parcels.crs)[0]
    lines = {"near": shapely.LineString([(centre.x, centre.y - 60), (centre.x, centre.y + 60)])}
    lines["far"] = shapely.affinity.translate(lines["near"], 40, 0)
    words = []
    for name, line in lines.items():
        geopandas.GeoSeries([line], crs=parcels.crs).to_file(tmp_path / f"{name}.gpkg")
        words += ["--service", f"{name}={tmp_path / name}.gpkg"]
    notes = asked(capsys, *_go(farm, "--out", str(tmp_path / "s.csv"), *words, "--bench-mark", "150m"))["notes"]
    assert any("beyond the parcel's edge: BM." in note for note in notes)
    assert any("lies across the service near" in note and "exposed by hand" in note for note in notes)
    assert not any("service far" in note for note in notes)
    inside = asked(capsys, *_go(farm, "--out", str(tmp_path / "s.csv")))["notes"]
    assert not any("beyond the parcel" in note or "lies across" in note for note in inside)
