"""`run` on a raster that is too large to be held: read, computed and written part by part, the same file to the byte."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, write_dem
from tunnelsite.core import catalogue
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import GroundTiles, silent
from tunnelsite.hosts import process_tiles
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.read import height_blocks
from tunnelsite.io.read.mosaic import mosaic
from tunnelsite.processes import contributing_area, filled_ground

ROWS, COLS = 410, 230
TILED = ("slope", "aspect", "hillshade", "contributing_area", "filled_ground")


def ground() -> np.ndarray:
    """Rough ground with hollows, level patches and holes, float32 metres."""
    r, c = np.mgrid[0:ROWS, 0:COLS]
    noise = np.random.default_rng(3).normal(0, 0.3, (ROWS, COLS))
    heights = 300 + 0.02 * c - 0.03 * r + 4 * np.sin(c / 25) * np.cos(r / 31) + noise
    heights[100:180, 60:130] = heights[100:180, 60:130].round()
    heights[200:260, 50:110] = 297.0
    heights[[5, 128, 255, 300], 20:60] = -9999
    return heights.astype(np.float32)


@pytest.fixture(scope="module")
def dem(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("dem")
    for name, rows in (("a.tif", slice(0, 150)), ("b.tif", slice(150, ROWS))):
        (folder / "tiles").mkdir(exist_ok=True)
        place = Affine(2, 0, WEST, 0, -2, NORTH - 2 * rows.start)
        write_dem(folder / "tiles" / name, ground()[rows], place, UTM17, nodata=-9999)
    return write_dem(folder / "dem.tif", ground(), Affine(2, 0, WEST, 0, -2, NORTH), UTM17, nodata=-9999)


@pytest.fixture
def large(monkeypatch):
    """Everything is too large, and tiles are small."""
    monkeypatch.setattr(process_tiles, "FROM_BYTES", 1)
    monkeypatch.setattr(height_blocks, "SURVEY_CELLS", 9999)
    for module in (contributing_area, filled_ground):
        monkeypatch.setattr(module, "TILE", 150)


ASKED = [
    ("slope",),
    ("slope", "--set", "as_unit=deg"),
    ("aspect",),
    ("hillshade", "--set", "exaggeration=3"),
    *(("contributing_area", "--layer", name) for name in ("upslope_m2", "open_edge", "ponding_m")),
    *(("filled_ground", "--layer", name) for name in ("filled", "ponding_m")),
]


@pytest.mark.parametrize("asked", ASKED, ids=" ".join)
def test_parts_give_the_same_file_as_the_whole(dem, tmp_path, large, monkeypatch, capsys, asked) -> None:
    name, *words = asked
    assert main(["run", name, str(dem), str(tmp_path / "parts.tif"), *words]) == 0
    parts = capsys.readouterr()
    monkeypatch.setattr(process_tiles, "FROM_BYTES", 1 << 60)
    capsys.readouterr()
    assert main(["run", name, str(dem), str(tmp_path / "whole.tif"), *words]) == 0
    whole = capsys.readouterr()
    assert (tmp_path / "parts.tif").read_bytes() == (tmp_path / "whole.tif").read_bytes()
    notes = [{line for line in said.err.splitlines() if line.startswith("note:")} for said in (parts, whole)]
    assert notes[0] == notes[1] and parts.out.replace("parts.tif", "whole.tif") == whole.out
    assert sorted(path.name for path in tmp_path.iterdir()) == ["parts.tif", "whole.tif"]


@pytest.mark.parametrize("name", TILED)
def test_no_part_is_large_and_every_cell_is_written_once(name, monkeypatch) -> None:
    """What bounds the memory: the cells asked for at a time do not grow with the raster's rows."""
    for module in (contributing_area, filled_ground):
        monkeypatch.setattr(module, "TILE", 150)
    heights, asked, written = ground() - np.float32(300), [], np.zeros((ROWS, COLS), int)

    def read(rows: slice, cols: slice) -> np.ndarray:
        asked.append((rows.stop - rows.start) * (cols.stop - cols.start))
        return heights[rows, cols]

    def write(rows: slice, cols: slice, layers: dict[str, Layer]) -> None:
        written[rows, cols] += 1
        assert {layer.values.shape for layer in layers.values()} == {written[rows, cols].shape}

    process = catalogue.process(name)
    tiled = process.by_tiles
    if name in (
        "slope",
        "aspect",
        "hillshade",
    ):  # bands of 4 million cells: the raster is one, but not where a band is smaller
        monkeypatch.setattr(
            "tunnelsite.processes.by_rows.bands",
            lambda shape: (slice(k, min(k + 150, ROWS)) for k in range(0, ROWS, 150)),
        )
    tiled.run(GroundTiles((ROWS, COLS), (2.0, 2.0), read), process.description.checked({}), write, silent)
    assert (written == 1).all() and max(asked) <= 152 * COLS


def test_a_folder_of_tiles_is_one_raster(dem, tmp_path, large, monkeypatch) -> None:
    for size in (1, 1 << 60):
        monkeypatch.setattr(process_tiles, "FROM_BYTES", size)
        for given in (dem, dem.parent / "tiles"):
            assert main(["run", "slope", str(given), str(tmp_path / f"{given.name}-{size}.tif"), "-q"]) == 0
    assert len({path.read_bytes() for path in tmp_path.iterdir()}) == 1


def test_what_needs_the_whole_still_gets_it(dem, tmp_path, large) -> None:
    for words in (("contributing_area", "--set", "method=d-infinity"), ("cold_air_pools",)):
        out = tmp_path / f"{words[0]}.tif"
        assert main(["run", words[0], str(dem), str(out), *words[1:], "-q"]) == 0 and out.exists()


def test_refusals_and_breaks_leave_nothing(dem, tmp_path, large, monkeypatch, capsys) -> None:
    blocks, process = height_blocks.height_blocks(mosaic(str(dem))), catalogue.process("slope")
    wanted = process_tiles.LayerOutput(process.description.makes[0], tmp_path / "x.tif", False)

    def broken(self, rows: slice, cols: slice) -> np.ndarray:
        raise MemoryError

    with monkeypatch.context() as patch, pytest.raises(MemoryError):
        patch.setattr(height_blocks.HeightBlocks, "read", broken)
        process_tiles.run_by_tiles(process, blocks, {}, wanted, silent)
    assert not list(tmp_path.iterdir())
    degrees = write_dem(dem.parent / "degrees.tif", ground(), Affine(1e-5, 0, -78, 0, -1e-5, 42), "EPSG:4326")
    assert main(["run", "slope", str(degrees), str(tmp_path / "x.tif"), "-q"]) == 2
    assert "is in degrees" in capsys.readouterr().err and not list(tmp_path.iterdir())
