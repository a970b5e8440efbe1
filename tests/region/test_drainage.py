"""Water that comes from beyond a task's halo: the raster drained tile by tile against the raster drained whole, and the task
against one screening of all the land."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import pytest
import rasterio
from rasterio.transform import Affine
from scipy.ndimage import maximum_filter

from tests.region import small_tiles
from tests.region.farms import COLS, ROWS, ground, tile
from tests.region.valleys import ASKED, CELL_M, valley, valley_farm
from tests.whole_run.files import NORTH, UTM17, WEST, write_dem
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.process import silent
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.read.files import require_memory
from tunnelsite.io.read.height_blocks import height_blocks
from tunnelsite.io.read.mosaic import mosaic
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.upslope import upslope_cells
from tunnelsite.region import drainage, whole_dem, worker_pool
from tunnelsite.region.inputs import read_region, task_inputs, task_site
from tunnelsite.region.screened import RegionPlan, planned
from tunnelsite.region.whole_dem import drained_region, spacing_m
from tunnelsite.region.worker_pool import Hands, WorkerPool
from tunnelsite.screening.judges import judges_of
from tunnelsite.screening.layers import prepared
from tunnelsite.settings.model import settings_from

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def _many_tiles(monkeypatch):
    monkeypatch.setattr(drainage, "TILE", small_tiles.TILE)
    monkeypatch.setattr(
        worker_pool.os, "cpu_count", lambda: 1
    )  # handing small tiles to several threads takes longer than the work


def drained(path: Path, parts: Path, who: WorkerPool | None = None, windows=None) -> drainage.Drainage:
    parts.mkdir(exist_ok=True)
    blocks = height_blocks(mosaic(str(path)))
    found = drainage.drainage_of(blocks, spacing_m(blocks), "1", parts)
    rows, cols = blocks.shape
    with Hands(who or WorkerPool(0), 2) as hands:
        drainage.drained(found, windows or [(slice(0, rows), slice(0, cols))], hands, silent)
    return found


def test_a_small_raster_in_one_piece_gives_the_files_of_its_tiles(tmp_path: Path, monkeypatch) -> None:
    """A few tiles are drained at once; asked for one of them, only that one is kept."""
    dem = write_dem(tmp_path / "dem.tif", ground(), Affine(1, 0, WEST, 0, -1, NORTH), UTM17, nodata=-9999)
    tiled = drained(dem, tmp_path / "tiled")
    assert not drainage.is_small(tiled.tiles.shape) and (tiled.tiles.folder / "levels.npy").exists()
    monkeypatch.setattr(drainage, "AT_ONCE", len(list(tiled.tiles.folder.glob("tile-*"))))
    whole = drained(dem, tmp_path / "whole")
    for path in tiled.tiles.folder.glob("tile-*"):
        assert (whole.tiles.folder / path.name).read_bytes() == path.read_bytes()
    part = drained(dem, tmp_path / "part", windows=[(slice(0, 10), slice(0, 10))])
    assert [path.name for path in part.tiles.folder.iterdir()] == ["tile-0.zip"]


def test_tiles_on_a_worker_equal_the_whole_to_the_bit(tmp_path: Path) -> None:
    """Files cut anyhow, drained here or on a worker: one answer, that of the kernels on the raster in one piece."""
    dem = write_dem(tmp_path / "dem.tif", ground(), Affine(1, 0, WEST, 0, -1, NORTH), UTM17, nodata=-9999)
    heights = height_blocks(mosaic(str(dem))).read(slice(0, ROWS), slice(0, COLS))
    full = filled(heights)
    direction = flow_direction(full, 1.0)
    cells, open_edge = upslope_cells(direction)
    one = drained(dem, tmp_path / "here")
    two = drained(tile(tmp_path / "tiles", ground(), 100, 130, 3), tmp_path / "there", WorkerPool(1))
    for name in sorted(path.name for path in one.tiles.folder.glob("tile-*")):
        assert (one.tiles.folder / name).read_bytes() == (two.tiles.folder / name).read_bytes()
    for rows, cols in ((slice(0, ROWS), slice(0, COLS)), (slice(57, 63), slice(119, 301))):
        found = two.tiles.read(rows, cols)
        expected = (direction, cells.astype(np.float32), open_edge, full - heights)
        for layer, whole in zip((found.direction, found.cells, found.open_edge, found.depth), expected, strict=True):
            np.testing.assert_array_equal(layer, whole[rows, cols])
        east, north = found.affine[2], found.affine[5]
        assert (east, north) == (WEST + cols.start, NORTH - rows.start)


def test_only_what_is_looked_at_is_kept_and_what_is_there_is_not_done_again(tmp_path: Path) -> None:
    dem = write_dem(tmp_path / "dem.tif", ground(), Affine(1, 0, WEST, 0, -1, NORTH), UTM17, nodata=-9999)
    first = drained(dem, tmp_path / "parts", windows=[(slice(10, 40), slice(100, 130))])
    folder = first.tiles.folder
    assert sorted(path.name for path in folder.glob("tile-*")) == ["tile-1.zip", "tile-2.zip"]
    kept = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    spoilt = folder / "tile-2.zip"
    spoilt.write_bytes(spoilt.read_bytes()[:-30])  # as a machine that lost power leaves it
    more = drained(dem, tmp_path / "parts", windows=[(slice(10, 70), slice(100, 130))])
    again = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    assert {name for name in again if kept.get(name) != again[name]} == {f"tile-{k}.zip" for k in (2, 7, 8)}
    data = bytearray(spoilt.read_bytes())
    data[200:230] = b"x" * 30  # whole by its length, not by its contents: said, never used
    spoilt.write_bytes(data)
    with pytest.raises(InputRefused, match=r"tile-2\.zip"):
        more.tiles.read(slice(0, 60), slice(100, 180))
    damaged = folder / "spills-0.zip"
    damaged.write_bytes(b"PK")
    (folder / "levels.npy").unlink()
    drained(dem, tmp_path / "parts", windows=[(slice(0, ROWS), slice(0, COLS))])
    assert (folder / "tile-23.zip").exists()


def frame_of(files: tuple[Path, Path], parts: Path, halo: str, drain: bool, bearing: float = 90.0, **more):
    """The layers of the only task of a region."""
    settings = settings_from(
        {"dem": str(files[0]), "parcels": str(files[1]), "halo": halo, "bearing": bearing} | ASKED | more
    )
    region = read_region(settings)
    tasks, _ = planned(region, settings, RegionPlan(0.0))
    water = None
    if drain:
        parts.mkdir(exist_ok=True)
        with Hands(WorkerPool(0), 1) as hands:
            water = drained_region(region, settings, tasks, parts, hands, silent)
    site = task_site(task_inputs(region, tasks[0].parcels, settings, water), settings)
    judges = [one for one in judges_of(site, settings, "in-ground") if one.id in ("drainage", "ponding", "wetness")]
    return prepared(site, settings, bearing, judges, silent)


def on_the_same_cells(whole, part, name: str) -> np.ndarray:
    """A layer of the wide frame where the narrow one lies; both grids have one centre and their edges on whole cells."""
    row = round((whole.grid.north_m - part.grid.north_m) / whole.grid.cell_m)
    col = round((part.grid.west_m - whole.grid.west_m) / whole.grid.cell_m)
    return whole.layers[name][row : row + part.grid.rows, col : col + part.grid.cols]


@pytest.mark.parametrize("bearing", [90.0, 60.0])
def test_a_valley_from_beyond_the_halo(tmp_path: Path, bearing: float) -> None:
    """Within 2 % of one screening of all the land for the largest area, a cell aside; without it six sevenths are lost."""
    files = valley_farm(tmp_path, valley())
    whole = frame_of(files, tmp_path, "5km", drain=False, bearing=bearing)
    part = frame_of(files, tmp_path / "parts", "60m", drain=True, bearing=bearing)
    alone = frame_of(files, tmp_path, "60m", drain=False, bearing=bearing)
    known = np.isfinite(part.layers["upslope_m2"])
    inner = maximum_filter(~known, 3) == 0
    truth, found, lost = (
        np.where(inner, layer, 0.0)
        for layer in (
            on_the_same_cells(whole, part, "upslope_m2"),
            part.layers["upslope_m2"],
            alone.layers["upslope_m2"],
        )
    )
    assert truth.max() > 700_000 and lost.max() < 0.15 * truth.max()
    assert found.max() == pytest.approx(truth.max(), rel=0.02)
    for mine, other in ((truth, found), (found, truth)):  # every stream of one is in the other, within a cell
        stream = mine > 100_000
        beside = maximum_filter(other, 5)
        assert stream.sum() > 20 and np.mean(np.abs(beside[stream] / mine[stream] - 1) < 0.1) > 0.9
    # where nothing comes from beyond, the task's own drainage stays what it is
    own = np.isfinite(found) & inner & (found == lost)
    assert own.sum() > 0.4 * inner.sum() and (found >= lost).all()
    # and what is a lower bound is what that is in the whole, not whatever crosses the task's border
    shares = [
        layer[inner].mean()
        for layer in (on_the_same_cells(whole, part, "open_edge"), part.layers["open_edge"], alone.layers["open_edge"])
    ]
    assert shares[0] == shares[1] == 0.0 and shares[2] > 0.3


def test_a_hollow_that_goes_on_beyond_the_halo_is_filled_to_its_rim(tmp_path: Path) -> None:
    files = valley_farm(tmp_path, valley(hollow=True))
    whole = frame_of(files, tmp_path, "5km", drain=False)
    part = frame_of(files, tmp_path / "parts", "20m", drain=True)
    alone = frame_of(files, tmp_path, "20m", drain=False)
    truth, inner = on_the_same_cells(whole, part, "ponding_m"), np.s_[8:-8, 8:-8]
    assert truth[inner].max() > 2.0
    assert np.abs(part.layers["ponding_m"] - truth)[inner].max() < 0.02
    assert np.abs(alone.layers["ponding_m"] - truth)[inner].max() > 1.0


def test_wetness_takes_it_too(farm, tmp_path: Path) -> None:
    """ln(a / tan b): where the stream runs the index is higher by the logarithm of what comes from beyond."""
    wet = {"weight": {"wetness": 1.0}}
    part = frame_of(farm, tmp_path / "parts", "60m", drain=True, **wet).layers
    alone = frame_of(farm, tmp_path, "60m", drain=False, **wet).layers
    stream = (part["upslope_m2"] > 500_000) & np.isfinite(part["wetness"])
    assert stream.sum() > 20 and (part["wetness"] >= alone["wetness"])[np.isfinite(part["wetness"])].all()
    slope = part["upslope_m2"][stream] / CELL_M / np.exp(part["wetness"][stream].astype(float))
    assert np.median((part["wetness"] - alone["wetness"])[stream]) > 2
    assert (slope >= 0.00099).all() and np.median(slope) == pytest.approx(0.01, rel=0.5)  # of the valley's floor


def test_a_raster_in_degrees(tmp_path: Path) -> None:
    """Cells that are not square: areas in m2 by the geodesic size of the cells (pyproj.Geod), within 3 % of the metric raster's."""
    files = valley_farm(tmp_path, valley())
    metric = frame_of(files, tmp_path / "metric", "60m", drain=True).layers["upslope_m2"]
    with rasterio.open(files[0]) as source:
        heights = source.read(1)
        change = pyproj.Transformer.from_crs(UTM17, "EPSG:4326", always_xy=True)
        corners = np.array(change.transform(*np.array(source.transform @ (np.array([0, 160]), np.array([0, 500])))))
    # no warp: the same rows and columns over the box of longitude and latitude, turned by the 1.6 deg of convergence
    step = (corners[0, 1] - corners[0, 0]) / 160, (corners[1, 1] - corners[1, 0]) / 500
    place = Affine(step[0], 0, corners[0, 0], 0, step[1], corners[1, 0])
    (tmp_path / "degrees").mkdir()
    dem = write_dem(tmp_path / "degrees" / "dem.tif", heights, place, "EPSG:4326")
    found = frame_of((dem, files[1]), tmp_path / "parts", "60m", drain=True).layers["upslope_m2"]
    geod = pyproj.Geod(ellps="WGS84")
    east = geod.inv(*corners[:, 0], corners[0, 0] + step[0], corners[1, 0])[2]
    north = geod.inv(*corners[:, 0], corners[0, 0], corners[1, 0] + step[1])[2]
    assert np.nanmax(found) / (east * north) == pytest.approx(np.nanmax(metric) / 16.0, rel=0.03)


def asked_of(files: tuple[Path, Path], folder: Path) -> list[str]:
    folder.mkdir(exist_ok=True)
    words = ["region", *map(str, files), "--house", "9x30m", "--azimuths", "8", "--crop-months", "12-01:12-31"]
    return [*words, "--halo", "60m", "--workers", "0", "-q", "--out", str(folder / "r.gpkg")]


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> tuple[Path, Path]:
    return valley_farm(tmp_path_factory.mktemp("valley"), valley())


@pytest.fixture(scope="module")
def screened(farm, tmp_path_factory) -> Path:
    """The valley's farm, screened in one go with one tile."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1790000000")
        folder = tmp_path_factory.mktemp("screened")
        assert main(asked_of(farm, folder)) == 0
    return folder


def test_outputs_say_how_far_water_was_followed(farm, screened, tmp_path: Path) -> None:
    assert main([*asked_of(farm, tmp_path), "--drainage", "halo"]) == 0
    rejected = {}
    for folder, mode, said in (
        (screened, "all", "water was followed over all of dem.tif"),
        (tmp_path, "halo", "a lower bound in valleys"),
    ):
        run = pyogrio.read_dataframe(folder / "r.gpkg", layer="run", read_geometry=False)
        assert any(said in text for text in run.value[run.kind == "note"])
        assert run.value[run.name == "drainage"].tolist() == [mode]
        assert json.loads((folder / "r-manifest.json").read_text())["settings"]["drainage"] == mode
        assert bool(list((folder / "r.parts").glob("drainage-*/tile-*"))) == (mode == "all")
        table = pyogrio.read_dataframe(folder / "r.gpkg", layer="rejections", read_geometry=False)
        rejected[mode] = table.rejected[table.rule.str.contains("drainage")].sum()
    assert rejected["all"] > rejected["halo"]  # the stream bars pads that a task alone would have offered


def test_what_would_not_fit_is_refused_before_it_is_drained(farm, tmp_path: Path, monkeypatch, capsys) -> None:
    monkeypatch.setattr(whole_dem.shutil, "disk_usage", lambda place: shutil._ntuple_diskusage(10**9, 10**9, 10**4))
    assert main(asked_of(farm, tmp_path)) == 4
    said = capsys.readouterr().err
    assert "of disk in" in said and "--drainage halo" in said
    assert not list(tmp_path.glob("r.parts/drainage-*")) and not (tmp_path / "r.gpkg").exists()
    monkeypatch.undo()
    monkeypatch.setattr(whole_dem, "require_memory", lambda need, what, fix: require_memory(10**15, what, fix))
    assert main(asked_of(farm, tmp_path)) == 4 and "of memory" in capsys.readouterr().err


def test_a_damaged_dem_is_said_with_a_way_round(farm, tmp_path: Path, capsys) -> None:
    """Water cannot be followed over land that cannot be read; tasks that do not need it can still be screened."""
    folder = tmp_path / "tiles"
    folder.mkdir()
    for row in (0, 250):
        place = Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH - row * CELL_M)
        write_dem(folder / f"{250 - row}.tif", valley()[row : row + 250], place, UTM17)
    spoilt = folder / "250.tif"
    data = spoilt.read_bytes()
    spoilt.write_bytes(data[: len(data) // 2])
    assert main(asked_of((folder, farm[1]), tmp_path)) == 3
    said = capsys.readouterr().err
    assert "250.tif" in said and "--drainage halo" in said
    assert main([*asked_of((folder, farm[1]), tmp_path), "--drainage", "halo"]) == 0


def test_a_run_that_was_killed_while_it_drained_goes_on(farm, screened, tmp_path: Path, monkeypatch) -> None:
    """The same bytes as in one go, and in one tile; what was finished is not done again."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790000000")
    words = asked_of(farm, tmp_path)
    running = subprocess.Popen(
        [sys.executable, "-m", "tests.region.small_tiles", *words],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        start_new_session=True,
        stderr=subprocess.DEVNULL,
    )
    parts, until = tmp_path / "r.parts", time.monotonic() + 240
    while len(list(parts.glob("drainage-*/steps-*"))) < 3 and running.poll() is None and time.monotonic() < until:
        time.sleep(0.005)
    os.killpg(running.pid, signal.SIGKILL)
    running.wait()
    done = {path: path.stat().st_mtime_ns for path in parts.glob("drainage-*/s*.zip")}
    assert len(done) > 27 and not (tmp_path / "r.gpkg").exists()
    assert main(words) == 0
    assert all(path.stat().st_mtime_ns == then for path, then in done.items())
    for name in ("r.gpkg", "r-manifest.json"):
        assert (tmp_path / name).read_bytes() == (screened / name).read_bytes()
