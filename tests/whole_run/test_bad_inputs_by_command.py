"""Kinds of bad input through the real command line, `main`: the exit status, a message that holds what was given,
what is expected and how to fix it, and the output that was there before.

The case itself, in depth, is tested where the row is named in `test_bad_input_rows.py`; here is what a person at the keyboard meets.
"""

from __future__ import annotations

import json
import math
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import rasterio
import shapely
from rasterio.transform import Affine

from tests.io.faults import folder_state
from tests.io.rasters_made import write as write_bands
from tests.io.test_hostile_files import BOMBS, huge_tiff
from tests.whole_run.files import NORTH, UTM17, WEST, gentle, write_dem, write_parcels
from tunnelsite.core.units import FOOT_M
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.write import locks

ROOT = Path(__file__).resolve().parents[2]
ROWS, COLS = 60, 70
QUICK = ("--house", "6x15m", "--azimuths", "8", "--halo", "5m", "--top", "2", "--kind", "container", "-q")
HERE = Affine(1, 0, WEST, 0, -1, NORTH)
FIELD = shapely.box(WEST + 3, NORTH - ROWS + 3, WEST + COLS - 3, NORTH - 3)
OLD = b"what was there before"


def dem(folder: Path, heights: np.ndarray | None = None, transform: Affine = HERE, crs=UTM17, **profile) -> None:
    write_dem(folder / "dem.tif", gentle(ROWS, COLS) if heights is None else heights, transform, crs, **profile)


def parcels(folder: Path, *shapes, crs=UTM17, **columns) -> None:
    write_parcels(folder / "parcels.gpkg", list(shapes) or [FIELD], crs, **columns)


def command(*more: str) -> list[str]:
    return ["screen", "dem.tif", "parcels.gpkg", *QUICK, "--out", "s.gpkg", "--overwrite", *more]


@pytest.fixture
def asked(tmp_path, monkeypatch, capsys):
    """Runs commands in a folder that holds a DEM, parcels and an output from before."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(
        locks, "_locked", lambda target: False
    )  # asks in a process of its own; tests/hosts/test_every_output.py
    dem(tmp_path)
    parcels(tmp_path)
    (tmp_path / "s.gpkg").write_bytes(OLD)

    def ask(*words: str) -> tuple[int, str, str]:
        capsys.readouterr()
        status = main([*words])
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return status, said.out, said.err

    return ask


# --- refused: (what is made, the words of the command or None for `screen`, exit statuses of the plan, what the message holds)


@dataclass(frozen=True)
class Refused:
    """One row that is refused."""

    make: Callable[[Path], object]
    statuses: tuple[int, ...]
    words: str
    asked: tuple[str, ...] = ()


def _nothing(folder: Path) -> None:
    """The files of the fixture will do."""


def _truncated(folder: Path) -> None:
    dem(folder, np.random.default_rng(1).normal(200, 5, (ROWS, COLS)).astype(np.float32))
    whole = (folder / "dem.tif").read_bytes()
    (folder / "dem.tif").write_bytes(whole[: len(whole) // 2])


def _huge(folder: Path) -> None:
    huge_tiff(folder / "huge.tif")
    (folder / "huge.tfw").write_text(f"1\n0\n0\n-1\n{WEST}\n{NORTH}\n")


def _sparse(folder: Path) -> None:
    with rasterio.open(
        folder / "dem.tif", "w", driver="GTiff", width=600_000, height=600_000, count=1, dtype="float32", crs=UTM17, tiled=True,
        blockxsize=2048, blockysize=2048, SPARSE_OK=True, BIGTIFF="YES", transform=HERE,
    ) as target:  # fmt: skip
        target.write(gentle(ROWS, COLS), 1, window=rasterio.windows.Window(0, 0, COLS, ROWS))


def _vrt(folder: Path, inside: str = "") -> None:
    band = inside or f"<SimpleSource><SourceFilename>{folder / 'real.tif'}</SourceFilename></SimpleSource>"
    shutil.copy(folder / "dem.tif", folder / "real.tif")
    kind = ' subClass="VRTDerivedRasterBand"' if inside else ""
    (folder / "dem.tif").write_text(
        f'<VRTDataset rasterXSize="{COLS}" rasterYSize="{ROWS}"><SRS>{UTM17}</SRS><GeoTransform>{WEST},1,0,{NORTH},0,-1</GeoTransform>'
        f'<VRTRasterBand dataType="Float32" band="1"{kind}>{band}</VRTRasterBand></VRTDataset>'
    )


def _vrt_with_code(folder: Path) -> None:
    code = f"def harm(*a, **b):\n    open({str(folder / 'marker')!r}, 'w')\n"
    _vrt(folder, "<PixelFunctionLanguage>Python</PixelFunctionLanguage><PixelFunctionType>harm</PixelFunctionType>"
                 f"<PixelFunctionCode><![CDATA[{code}]]></PixelFunctionCode>")  # fmt: skip


def _nan_place(folder: Path) -> None:
    place = np.array([1.0, 1.0, 0.0]).tobytes()
    data = (folder / "dem.tif").read_bytes()
    assert data.count(place) == 1
    (folder / "dem.tif").write_bytes(data.replace(place, np.array([math.nan, 1.0, 0.0]).tobytes()))


def _antimeridian(folder: Path) -> None:
    dem(folder, None, Affine(1e-5, 0, 179.9997, 0, -1e-5, -17.0), "EPSG:4326")
    shapes = [
        shapely.box(179.99975, -17.0005, 179.9999, -17.0001),
        shapely.box(-179.9999, -17.0005, -179.9997, -17.0001),
    ]
    parcels(folder, *shapes, crs="EPSG:4326")


def _bomb(folder: Path) -> None:
    (folder / "parcels.gpkg").write_text(BOMBS["arrays.geojson"])


def _lidar(folder: Path) -> None:
    (folder / "dem.tif").write_bytes(b"LASF" + bytes(400))


def _project(text: str) -> Callable[[Path], object]:
    return lambda folder: (folder / "farm.toml").write_text(text)


RUN_SLOPE = ("run", "slope", "huge.tif", "s.gpkg.tif", "--dem-crs", UTM17)
WITH_PROJECT = (*command(), "--project", "farm.toml")
CHART = ("sunchart", "dem.tif", "parcels.gpkg", "--at", "-78.5684", "42.4262", "--halo", "5m", "--out", "s.svg",
         "--field-horizon", "h.csv", "--north", "magnetic", "--date", "2031-03-15", "-q")  # fmt: skip
REFUSED = {
    "dem-file-01": Refused(_nothing, (3,), r"DEM.*no file.*nowhere\.tif", tuple(w.replace("dem.tif", "nowhere.tif") for w in command())),
    "dem-file-03": Refused(lambda folder: (folder / "dem.tif").write_bytes(b""), (3,), r"dem\.tif' is empty"),
    "dem-file-05": Refused(_truncated, (3,), r"damaged: the block of rows \d+-\d+|cut off"),
    "dem-file-07": Refused(_huge, (4,), r"1000000 rows x 1000000 columns.*TB", RUN_SLOPE),
    "dem-file-09": Refused(_sparse, (4,), r"600000 rows x 600000 columns.*TB", ("run", "slope", "dem.tif", "o.tif")),
    "dem-file-11": Refused(_vrt, (3,), r"VRT.*side by side.*gdal_translate"),
    "dem-file-13": Refused(_vrt_with_code, (3,), "VRTDerivedRasterBand"),
    "dem-file-15": Refused(_nothing, (2,), "is data, not the path", tuple(w.replace("dem.tif", '{"type":"x"}') for w in command())),
    "dem-file-17": Refused(_nothing, (2,), "virtual path", tuple(w.replace("dem.tif", "/vsizip/a.zip/d.tif") for w in command())),
    "dem-file-19": Refused(lambda folder: write_bands(folder / "dem.tif", np.full((3, ROWS, COLS), 9, "uint8"), crs=UTM17, transform=HERE),
                           (2,), r"3 bands: 1 .*--band"),
    "dem-file-21": Refused(lambda folder: dem(folder, gentle(ROWS, COLS).astype("complex64")), (3,), "complex"),
    "crs-01": Refused(lambda folder: dem(folder, crs=None), (3,), r"no coordinate system.*never guessed.*--dem-crs"),
    "crs-13": Refused(lambda folder: parcels(folder, shapely.box(WEST + 1e5, NORTH, WEST + 1e5 + 90, NORTH + 90)), (3,),
                      r"do not meet.* apart"),
    "crs-15": Refused(lambda folder: dem(folder, crs='LOCAL_CS["plant grid",UNIT["metre",1]]'), (3,), "coordinate system"),
    "crs-19": Refused(_antimeridian, (3,), "180 degree meridian"),
    "grid-05": Refused(_nan_place, (3,), r"geotransform|where it lies"),
    "grid-07": Refused(lambda folder: dem(folder, transform=Affine(30, 0, WEST, 0, -30, NORTH + 900)), (3,), r"wider than a house.*--cell"),
    "grid-09": Refused(lambda folder: dem(folder, np.ones((2, 2), np.float32)), (3,), "2 rows and 2 columns"),
    "values-05": Refused(lambda folder: dem(folder, np.full((ROWS, COLS), -9999, np.float32), nodata=-9999), (3,),
                         r"no (height|data|valid|cell)"),
    "parcels-03": Refused(lambda folder: parcels(folder, shapely.LineString([(WEST, NORTH), (WEST + 9, NORTH - 9)])), (3,),
                          r"1 line.*polygons"),
    "parcels-15": Refused(lambda folder: parcels(folder, shapely.Polygon()), (3,), r"no (features|parcel|polygon)|without (geometry|shape)|empty"),
    "parcels-17": Refused(_bomb, (3,), "JSON|nested|damaged"),
    "config-01": Refused(_project('dem = "dem.tif"\nlenght_m = 3\n'), (2,), r"farm\.toml:2: unknown setting 'lenght_m'", WITH_PROJECT),
    "config-03": Refused(_nothing, (2,), "1 to 1000 m", command("--house", "-1x5m")),
    "config-05": Refused(_nothing, (2,), "weight of sun is -1", command("--weight", "sun=-1")),
    "config-07": Refused(_project("top = 1\ntop = 2\n"), (2,), r"farm\.toml.*(overwrite|twice|line 2)", WITH_PROJECT),
    "config-09": Refused(_nothing, (2,), r"with a comma.*decimal point.*0\.5", command("--setback", "0,5")),
    "config-13": Refused(lambda folder: (folder / "h.csv").write_text("azimuth_deg,elevation_deg\n0,1\n90,2\n180,3\n270,1\n"), (2,),
                         "2025-01-01 to 2029-12-31", CHART),
    "output-07": Refused(_nothing, (2,), r"s\.gpkg exists already.*--overwrite", tuple(w for w in command() if w != "--overwrite")),
    "output-09": Refused(_nothing, (5,), r"folder .*missing is missing.*create it", command("--out", "missing/s.gpkg")),
    "layers-03": Refused(_lidar, (3,), "lidar point file"),
}  # fmt: skip


@pytest.mark.parametrize("row", REFUSED)
def test_refused(asked, tmp_path, row) -> None:
    case = REFUSED[row]
    case.make(tmp_path)
    before = folder_state(tmp_path)
    started = time.process_time()
    status, _, said = asked(*(case.asked or command()))
    assert status in case.statuses and re.search(case.words, said), (status, said)
    assert said.startswith("tunnelsite: ") and said.count("\n") == 1 and "Expected: " in said and len(said) < 1500, said
    assert "Fix: " in said or said.rstrip().endswith("?"), said
    assert folder_state(tmp_path) == before, "something was lost, or left behind"
    assert time.process_time() - started < 20


# --- done, and what it has to say


def screened(asked, tmp_path: Path, *more: str) -> dict:
    """The summary of a screening that is done; its output has taken the place of the old one."""
    status, told, said = asked(*command("--json", *more))
    assert status == 0, said
    assert (tmp_path / "s.gpkg").read_bytes() != OLD and "candidates" in {
        name for name, _ in pyogrio.list_layers(tmp_path / "s.gpkg")
    }
    return json.loads(told)


def places(summary: dict) -> list[tuple[float, float]]:
    return [(row["lon"], row["lat"]) for row in summary["candidates"]]


def notes(summary: dict) -> str:
    return " | ".join(summary["notes"])


def _hole(dtype: str = "float32", value: float = -9999) -> np.ndarray:
    heights = np.round(gentle(ROWS, COLS) * 4) / 4 if dtype == "uint8" else gentle(ROWS, COLS)
    heights = (heights - 150 if dtype == "uint8" else heights).astype(dtype)
    heights[20:26, 30:38] = value
    return heights


def test_no_data_of_every_kind_is_the_same_hole(asked, tmp_path) -> None:
    """Rows values-01, values-03, dem-file-23: declared, NaN, or as a mask of the file."""
    found = {}
    for name in ("declared", "nan", "mask"):
        if name == "mask":
            heights = gentle(ROWS, COLS)
            mask = np.where(np.isnan(_hole(value=math.nan)), 0, 255).astype("uint8")
            write_bands(tmp_path / "dem.tif", heights, mask=mask, crs=UTM17, transform=HERE)
        else:
            dem(
                tmp_path, _hole(value=math.nan if name == "nan" else -9999), nodata=math.nan if name == "nan" else -9999
            )
        summary = screened(asked, tmp_path)
        found[name] = places(summary), summary["placements_scored"]
        assert summary["placements_scored"] < 2093 and all(row["roughness_m"] < 0.05 for row in summary["candidates"])
    assert found["declared"] == found["nan"] == found["mask"]
    dem(tmp_path, _hole("uint8", 255), nodata=255)
    assert screened(asked, tmp_path, "--elevation-unit", "m")["placements_scored"] <= found["nan"][1]


def test_dem_file_09_a_small_farm_on_a_very_large_raster(asked, tmp_path) -> None:
    _sparse(tmp_path)
    assert screened(asked, tmp_path)["candidates"]


def test_dem_file_25_changed_while_it_was_read(asked, tmp_path, monkeypatch) -> None:
    from tunnelsite.screening import run as screening

    honest = screening.screen

    def meanwhile(*arguments, **options):
        result = honest(*arguments, **options)
        dem(tmp_path, gentle(ROWS, COLS) + 1)
        return result

    monkeypatch.setattr(screening, "screen", meanwhile)
    status, _, said = asked(*command())
    assert status == 3 and "dem.tif" in said and "changed" in said
    assert (tmp_path / "s.gpkg").read_bytes() == OLD and sorted(os.listdir(tmp_path)) == [
        "dem.tif",
        "parcels.gpkg",
        "s.gpkg",
    ]


@pytest.mark.skipif(os.name != "posix", reason="modes of POSIX")
def test_dem_file_27_no_permission(capsys) -> None:
    with tempfile.TemporaryDirectory() as name:  # not tmp_path: others cannot enter pytest's folders
        folder = Path(name)
        dem(folder)
        parcels(folder)
        (folder / "s.gpkg").write_bytes(OLD)
        for path, mode in ((folder, 0o777), *((path, 0o666) for path in folder.iterdir()), (folder / "dem.tif", 0)):
            os.chmod(path, mode)
        words = [
            word if word not in ("dem.tif", "parcels.gpkg", "s.gpkg") else str(folder / word) for word in command()
        ]
        root = os.geteuid() == 0
        try:
            if root:
                os.seteuid(65534)
            status = main(words)
        finally:
            if root:
                os.seteuid(0)
        said = capsys.readouterr().err
        assert (
            status == 3
            and "dem.tif" in said
            and "permission denied" in said
            and (folder / "s.gpkg").read_bytes() == OLD
        )


@pytest.mark.parametrize("epsg", [2263, 2222])
def test_crs_05_and_09_feet_on_the_map(asked, tmp_path, epsg) -> None:
    area = pyproj.CRS(epsg).area_of_use
    west, north = pyproj.Transformer.from_crs(4326, epsg, always_xy=True).transform(
        (area.west + area.east) / 2, (area.south + area.north) / 2
    )
    dem(tmp_path, transform=Affine(3, 0, west, 0, -3, north), crs=f"EPSG:{epsg}")
    parcels(tmp_path, shapely.box(west + 9, north - 3 * ROWS + 9, west + 3 * COLS - 9, north - 9), crs=f"EPSG:{epsg}")
    for more in ([], ["--dry-run"]):
        status, _, told = asked(*command(*more))
        assert status == 3 and "are they in feet or in metres" in told and "--elevation-unit" in told
    summary = screened(asked, tmp_path, "--elevation-unit", "m")
    assert summary["candidates"][0]["width_m"] == 6.0 and "taken as m, as stated" in notes(summary)
    found = pyogrio.read_dataframe(tmp_path / "s.gpkg", layer="candidates")
    unit = pyproj.CRS(epsg).axis_info[0].unit_conversion_factor
    assert found.crs.to_epsg() == epsg and found.area.iloc[0] == pytest.approx(90 / unit**2, rel=0.002)


def test_crs_03_degrees(asked, tmp_path) -> None:
    step = 1e-5
    dem(tmp_path, transform=Affine(step, 0, -79.0, 0, -step, 43.0), crs="EPSG:4326")
    parcels(tmp_path, shapely.box(-79 + 3 * step, 43 - 57 * step, -79 + 67 * step, 43 - 3 * step), crs="EPSG:4326")
    assert screened(asked, tmp_path)["candidates"]


def test_crs_07_the_vertical_unit_is_echoed(asked, tmp_path) -> None:
    dem(tmp_path, (gentle(ROWS, COLS) / FOOT_M).astype(np.float32))
    assert "heights taken as m: the file does not say (assumed metres)" in notes(screened(asked, tmp_path))
    status, told, _ = asked(*command("--dry-run"))
    assert status == 0 and "assumed metres" in told
    stated = screened(asked, tmp_path, "--elevation-unit", "ft")
    assert "as stated" in notes(stated) and stated["candidates"][0]["ground_m"] == pytest.approx(200, abs=2)


def test_crs_11_and_17_other_systems(asked, tmp_path) -> None:
    here = screened(asked, tmp_path)
    parcel = geopandas.GeoSeries([shapely.segmentize(FIELD, 10)], crs=UTM17).to_crs(4326).iloc[0]
    parcels(tmp_path, parcel, crs="EPSG:4326")
    there = screened(asked, tmp_path)
    assert np.array(places(there)) == pytest.approx(np.array(places(here)), abs=1e-6)
    assert pyogrio.read_dataframe(tmp_path / "s.gpkg", layer="candidates").crs.to_epsg() == 4326
    # six degrees off the middle of the zone the grid leans by 4 degrees; the ridge does not
    east, north = pyproj.Transformer.from_crs(4326, UTM17, always_xy=True).transform(-75.0, 43.0)
    dem(tmp_path, transform=Affine(1, 0, east, 0, -1, north))
    parcels(tmp_path, shapely.box(east + 3, north - 57, east + 67, north - 3))
    row = screened(asked, tmp_path)["candidates"][0]
    shape = pyogrio.read_dataframe(tmp_path / "s.gpkg", layer="candidates").to_crs(4326).geometry[0]
    corners = shapely.get_coordinates(shape)
    bearing, _, _ = pyproj.Geod(ellps="WGS84").inv(*corners[:-1].T, *corners[1:].T)
    assert row["bearing_deg"] == pytest.approx(90, abs=0.01) and min(abs(np.abs(bearing) - 90)) < 0.05


def test_grid_01_and_03_other_grids(asked, tmp_path) -> None:
    here = screened(asked, tmp_path)
    dem(tmp_path, gentle(ROWS, COLS)[::-1].copy(), Affine(1, 0, WEST, 0, 1, NORTH - ROWS))
    assert screened(asked, tmp_path)["candidates"] == here["candidates"]
    r, c = np.mgrid[0 : ROWS // 2, 0:COLS]
    dem(tmp_path, (100 + 0.01 * c - 0.02 * 2 * r).astype(np.float32), Affine(1, 0, WEST, 0, -2, NORTH))
    row = screened(asked, tmp_path)["candidates"][0]
    assert math.hypot(row["pitch_along_pct"], row["pitch_across_pct"]) == pytest.approx(math.hypot(1, 2), rel=2e-3)


def test_values_07_to_13_grounds_that_deceive(asked, tmp_path) -> None:
    flat = np.full((ROWS, COLS), 50.0, np.float32)
    dem(tmp_path, flat)
    assert screened(asked, tmp_path)["candidates"][0]["pitch_along_pct"] == 0
    spike = flat.copy()
    spike[ROWS // 2, COLS // 2] += 3
    seam = flat.copy()
    seam[:, COLS // 2 :] += 0.3
    for heights in (spike, seam):
        dem(tmp_path, heights)
        assert all(row["relief_m"] < 0.25 for row in screened(asked, tmp_path, "--kind", "in-ground")["candidates"])
    lake = gentle(ROWS, COLS)
    lake[15:45, 20:50] = 199.0
    dem(tmp_path, lake)
    summary = screened(asked, tmp_path)
    assert "water_like" in {row["rule"] for row in summary["rejections"] if row["rejected"]}


def test_parcels_01_05_07_13_shapes_that_need_mending(asked, tmp_path) -> None:
    west, east, south, north = WEST + 3, WEST + 67, NORTH - 57, NORTH - 3
    tie = shapely.Polygon([(west, south), (east, north), (east, south), (west, north)])
    parcels(tmp_path, tie)
    assert "was repaired" in notes(screened(asked, tmp_path))
    left, right = shapely.box(west, south, west + 30, north), shapely.box(west + 30.5, south, east, north)
    parcels(tmp_path, shapely.MultiPolygon([left, right]))
    screened(asked, tmp_path)
    for pad in pyogrio.read_dataframe(tmp_path / "s.gpkg", layer="pads").geometry:
        assert shapely.buffer(left, 1e-4).covers(pad) != shapely.buffer(right, 1e-4).covers(pad)
    parcels(tmp_path, FIELD, FIELD)
    assert {row["parcel"] for row in screened(asked, tmp_path)["candidates"]} == {"p0"}
    parcels(tmp_path, shapely.force_3d(FIELD, 5))
    assert "Z values of 1 features were dropped" in notes(screened(asked, tmp_path))


def test_parcels_09_a_sliver_says_why(asked, tmp_path) -> None:
    parcels(tmp_path, shapely.box(WEST + 10, NORTH - 55, WEST + 15, NORTH - 5))
    summary = screened(asked, tmp_path)
    assert summary["candidates"] == []
    assert "too narrow: 5.00 m (16 ft 5 in) at its widest" in " ".join(row["reason"] for row in summary["rejections"])


def test_parcels_11_a_ring_of_very_many_vertices(asked, tmp_path, monkeypatch) -> None:
    angle = np.linspace(0, 2 * np.pi, 100_000, endpoint=False)
    ring = np.column_stack([WEST + 35 + 26 * np.cos(angle), NORTH - 30 + 26 * np.sin(angle)])
    parcels(tmp_path, shapely.Polygon(ring))
    assert screened(asked, tmp_path)["candidates"]
    (tmp_path / "s.gpkg").write_bytes(OLD)
    monkeypatch.setattr("tunnelsite.io.read.files.available_bytes", lambda: 1_000_000)
    status, _, said = asked(*command())
    assert status == 4 and "needs about" in said and "Expected: " in said and (tmp_path / "s.gpkg").read_bytes() == OLD


def test_config_11_southern_hemisphere_and_polar_night(asked, tmp_path) -> None:
    for crs, lat, months in (("EPSG:32717", -35.0, "all"), ("EPSG:32633", 71.0, "12-01:12-31")):
        east, north = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(-81.0 if lat < 0 else 15.0, lat)
        dem(tmp_path, transform=Affine(1, 0, east, 0, -1, north), crs=crs)
        parcels(tmp_path, shapely.box(east + 3, north - 57, east + 67, north - 3), crs=crs)
        summary = screened(asked, tmp_path, *(["--crop-months", months] if months != "all" else []))
        row = summary["candidates"][0]
        assert row["lat"] == pytest.approx(lat, abs=0.01)
        assert row["beam_share"] is None if lat > 0 else row["beam_share"] > 0.9


HOSTILE = (
    "../../etc/x",
    "CON",
    "a/b",
    "trailing.",
    '=HYPERLINK("http://example.invalid")',
    "+1",
    "@SUM(A1)",
    "\u202etxt",
)


def test_output_11_13_17_words_and_columns_from_data(asked, tmp_path) -> None:
    """Names that are paths or formulas, and columns that the format keeps for itself, all the way to the CSV."""
    shapes = [
        shapely.box(WEST + 3 + 16 * k, NORTH - y - 25, WEST + 19 + 16 * k, NORTH - y) for y in (3, 32) for k in range(4)
    ]
    columns = {
        "parcel": HOSTILE,
        "id": list("76543210"),
        "FID": range(8),
        "Geom": list("abcdefgh"),
        "name": ["=1", "-2"] * 4,
    }
    land = geopandas.GeoDataFrame(columns, geometry=shapes, crs=UTM17).to_crs(4326)
    (tmp_path / "parcels.gpkg").unlink()
    land.to_file(tmp_path / "parcels.gpkg", driver="GeoJSON")  # what a file is, its first bytes say
    found = screened(asked, tmp_path, "--house", "5x10m", "--top", "8", "--per-parcel", "1")
    assert {row["parcel"] for row in found["candidates"]} == set(HOSTILE)
    status, _, said = asked("export", "s.gpkg", "--to", "out", "--as", "csv,geojson", "--overwrite")
    assert status == 0, said
    cells = (tmp_path / "out" / "candidates.csv").read_text("utf-8")
    assert not re.search(r"(^|,)\"?[=+@]", cells, re.MULTILINE)
    assert {path.name for path in tmp_path.iterdir()} == {"dem.tif", "parcels.gpkg", "s.gpkg", "out"}
    assert all(re.fullmatch(r"[a-z_]+\.(csv|geojson)", path.name) for path in (tmp_path / "out").iterdir())


def test_output_19_and_run_09_the_same_bytes_whatever_the_threads_and_the_time_zone(
    asked, tmp_path, monkeypatch
) -> None:
    import numba

    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    screened(asked, tmp_path)
    first = (tmp_path / "s.gpkg").read_bytes()
    threads = numba.get_num_threads()
    monkeypatch.setenv("TZ", "Asia/Kathmandu")
    time.tzset()
    try:
        numba.set_num_threads(1)
        screened(asked, tmp_path)
    finally:
        numba.set_num_threads(threads)
        monkeypatch.delenv("TZ")
        time.tzset()
    assert (tmp_path / "s.gpkg").read_bytes() == first
    run = pyogrio.read_dataframe(tmp_path / "s.gpkg", layer="run", read_geometry=False)
    assert run[run.name == "finished"].value.item() == "2023-11-14T22:13:20Z"


def test_layers_01_and_05_blank_classes_and_empty_layers(asked, tmp_path) -> None:
    """Also that such a run can be kept and ranked again."""
    empty = geopandas.GeoDataFrame({"what": []}, geometry=geopandas.GeoSeries([], crs=UTM17), crs=UTM17)
    empty.to_file(tmp_path / "empty.gpkg", engine="pyogrio", geometry_type="Polygon")
    soils = geopandas.GeoDataFrame({"drainage": ["", "  "]}, geometry=[FIELD, FIELD.buffer(5)], crs=UTM17)
    soils.to_file(tmp_path / "soils.gpkg", engine="pyogrio")
    layers = (
        "--soils",
        "soils.gpkg",
        "--service",
        "water=empty.gpkg",
        "--keep-out",
        "empty.gpkg",
        "--structures",
        "empty.gpkg",
    )
    summary = screened(asked, tmp_path, *layers, "--keep", "k.npz")
    row = summary["candidates"][0]
    assert row["reach_water_m"] is None and row.get("score_soil_drainage") is None and "no features" in notes(summary)
    status, told, said = asked("rescore", "k.npz", "--out", "again.gpkg", "--json")
    assert status == 0, said
    assert places(json.loads(told)) == places(summary)


# --- in a process of its own


def process(tmp_path: Path, *words: str, **options) -> subprocess.Popen:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, "-m", "tunnelsite", *words], cwd=tmp_path, env=environment, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options,
    )  # fmt: skip


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_output_03_killed_while_it_writes(asked, tmp_path) -> None:
    """The whole program is killed once it has begun to write; the same command then ends, with nothing left of the first."""
    words = [word for word in command("--keep", "k.npz", "--rasters", "layers") if word != "-q"]
    running = process(tmp_path, *words)
    try:
        while "writing" not in (line := running.stderr.readline()):
            assert line, "it ended before it wrote"
        running.send_signal(signal.SIGKILL)
    finally:
        running.kill()
        running.communicate()
    assert running.returncode == -signal.SIGKILL
    state = folder_state_of_files(tmp_path)
    assert state["s.gpkg"] == OLD or "candidates" in {name for name, _ in pyogrio.list_layers(tmp_path / "s.gpkg")}
    status, _, said = asked(*words)
    assert status == 0, said
    names = set(os.listdir(tmp_path)) | set(os.listdir(tmp_path / "layers"))
    assert not [name for name in names if name.startswith(".")] and {"s.gpkg", "k.npz", "ground.tif"} <= names


def folder_state_of_files(folder: Path) -> dict[str, bytes]:
    return {
        path.name: path.read_bytes() for path in folder.iterdir() if path.is_file() and not path.name.startswith(".")
    }


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="RLIMIT_AS as Linux has it")
def test_run_05_little_address_space(asked, tmp_path) -> None:
    import resource

    dem(tmp_path, np.zeros((6500, 6500), np.float32), compress="deflate", tiled=True, blockxsize=512, blockysize=512)
    most = 3 << 29  # the libraries alone map most of a gigabyte
    running = process(
        tmp_path, "run", "slope", "dem.tif", "o.tif", preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (most, most))
    )  # fmt: skip
    _, said = running.communicate(timeout=300)
    assert running.returncode in (0, 4) and "Traceback" not in said, said
    assert running.returncode == 0 or ("memory" in said and not (tmp_path / "o.tif").exists())
