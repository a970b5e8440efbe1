"""Rasters: the layout of a Cloud Optimized GeoTIFF checked byte by byte without GDAL, and never half a
file."""

from __future__ import annotations

import dataclasses
import itertools
import json
import os
import struct
import subprocess
import sys
import textwrap
import zlib
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
import rasterio.io

from tests.io.faults import Faults, folder_state
from tunnelsite.core.errors import OutputFailed
from tunnelsite.core.grid import Grid, local_crs
from tunnelsite.io.formats import cog
from tunnelsite.io.formats.cog import write_cog
from tunnelsite.io.formats.overviews import way_of

ROOT = Path(__file__).resolve().parents[3]


def some_grid(rows: int = 700, cols: int = 1300, bearing_deg: float = 90.0, system: str = "EPSG:26915") -> Grid:
    wkt = local_crs(pyproj.CRS.from_user_input(system), -93.61, 42.03).to_wkt()
    return Grid(wkt, 1.0, rows, cols, -cols // 2, rows // 2, bearing_deg)


def some_values(grid: Grid) -> np.ndarray:
    values = np.random.default_rng(7).normal(1.5, 0.4, grid.shape).astype(np.float32)
    values[: grid.rows // 5, : grid.cols // 5] = np.nan
    return values


def write(path: Path, grid: Grid | None = None, **changes) -> None:
    grid = grid or some_grid()
    write_cog(path, some_values(grid), grid, **{"unit": "m", "title": "Relief", "overwrite": True, **changes})


# --- an independent reader: TIFF 6.0 (Adobe 1992) and the layout of OGC 21-026 with GDAL's ghost area
# (https://gdal.org/en/stable/drivers/raster/cog.html, "File format details") [@cog]

SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 12: 8, 16: 8}
CODES = {1: "B", 3: "H", 4: "I", 12: "d", 16: "Q"}


def tiff(data: bytes) -> list[dict]:
    """Every directory of a little-endian TIFF or BigTIFF: its offset and its tags as tuples or bytes."""
    assert data[:2] == b"II"
    big = {42: False, 43: True}[struct.unpack("<H", data[2:4])[0]]
    place = struct.unpack("<Q" if big else "<I", data[8:16] if big else data[4:8])[0]
    directories = []
    while place:
        count = struct.unpack("<Q" if big else "<H", data[place : place + (8 if big else 2)])[0]
        entry, width = place + (8 if big else 2), 20 if big else 12
        tags = {}
        for at in range(entry, entry + count * width, width):
            tag, kind, length = struct.unpack("<HHQ" if big else "<HHI", data[at : at + width - (8 if big else 4)])
            inline, size = at + width - (8 if big else 4), SIZES[kind] * length
            if size > (8 if big else 4):
                inline = struct.unpack("<Q" if big else "<I", data[inline : inline + (8 if big else 4)])[0]
            raw = data[inline : inline + size]
            tags[tag] = struct.unpack(f"<{length}{CODES[kind]}", raw) if kind in CODES else raw
        directories.append({"offset": place, "end": entry + count * width, "tags": tags})
        end = entry + count * width
        place = struct.unpack("<Q" if big else "<I", data[end : end + (8 if big else 4)])[0]
    return directories


def decoded_tile(data: bytes, tags: dict, index: int) -> np.ndarray:
    """One tile: deflate, then the floating-point predictor (TIFF technical note 3) undone by hand."""
    start, count, width, height = tags[324][index], tags[325][index], tags[322][0], tags[323][0]
    raw = np.frombuffer(zlib.decompress(data[start : start + count]), np.uint8).reshape(height, 4 * width)
    planes = np.cumsum(raw, axis=1, dtype=np.uint8).reshape(
        height, 4, width
    )  # differences along the row, then most significant byte first
    return np.ascontiguousarray(planes.transpose(0, 2, 1)).view(">f4").reshape(height, width).astype(np.float32)


@pytest.mark.parametrize("bearing_deg", [90.0, 60.0, 0.0])
@pytest.mark.parametrize("shape", [(700, 1300), (3, 2), (512, 512), (1, 2100)])
def test_the_layout_is_that_of_a_cloud_optimized_geotiff(tmp_path, bearing_deg, shape):
    grid = some_grid(*shape, bearing_deg)
    write(tmp_path / "a.tif", grid)
    data = (tmp_path / "a.tif").read_bytes()
    directories = tiff(data)
    sizes = [(one["tags"][257][0], one["tags"][256][0]) for one in directories]
    assert sizes[0] == shape
    assert len(sizes) == 1 + max(0, int(np.ceil(np.log2(max(shape) / 512)))), "overviews down to one tile"
    for level, size in enumerate(sizes):
        assert all(abs(side - full / 2**level) < 1 for side, full in zip(size, shape, strict=True)), (
            "each half the one before"
        )
    assert [one["tags"].get(254, (0,))[0] for one in directories] == [0] + [1] * (len(sizes) - 1)  # reduced resolution
    offsets = [one["offset"] for one in directories]
    tiles = [one["tags"][324] for one in directories]
    assert offsets == sorted(offsets) and max(one["end"] for one in directories) < min(map(min, tiles)), (
        "directories before data"
    )
    for finer, coarser in itertools.pairwise(tiles):
        assert max(coarser) < min(finer), "coarse overviews come first, so that a picture needs few bytes"
    for one in directories:
        tags = one["tags"]
        assert (tags[322], tags[323], tags[258], tags[339], tags[277]) == (
            (512,),
            (512,),
            (32,),
            (3,),
            (1,),
        )  # tile, bits, float, bands
        assert (tags[259], tags[317], tags[42113].rstrip(b"\0")) == (
            (8,),
            (3,),
            b"nan",
        )  # deflate, predictor, no data
    check_ghost_area(data, tiles, [one["tags"][325] for one in directories])
    transform = directories[0]["tags"]
    assert (34264 in transform) != (33550 in transform) and (34264 in transform) == (
        bearing_deg != 90.0
    )  # matrix, or pixel scale


def check_ghost_area(data: bytes, tiles: list[tuple[int, ...]], counts: list[tuple[int, ...]]) -> None:
    header = data.index(b"GDAL_STRUCTURAL_METADATA_SIZE=")
    assert header in (8, 16)  # straight after the header of TIFF or BigTIFF
    size = int(data[header + 30 : header + 36])
    ghost = data[header + 43 : header + 43 + size].decode()
    assert {
        "LAYOUT=IFDS_BEFORE_DATA",
        "BLOCK_ORDER=ROW_MAJOR",
        "BLOCK_LEADER=SIZE_AS_UINT4",
        "KNOWN_INCOMPATIBLE_EDITION=NO",
    } <= {line.strip() for line in ghost.splitlines()}
    for starts, lengths in zip(tiles, counts, strict=True):
        assert list(starts) == sorted(starts)
        for start, length in zip(starts, lengths, strict=True):
            assert struct.unpack("<I", data[start - 4 : start]) == (length,)  # leader
            assert data[start + length : start + length + 4] == data[start + length - 4 : start + length]  # trailer


def test_cells_decoded_without_gdal_are_those_given(tmp_path):
    grid = some_grid()
    write(tmp_path / "a.tif", grid)
    data, values = (tmp_path / "a.tif").read_bytes(), some_values(grid)
    tags = tiff(data)[0]["tags"]
    across = -(-grid.cols // 512)
    for index in range(len(tags[324])):
        row, col = index // across * 512, index % across * 512
        wanted = values[row : row + 512, col : col + 512]
        assert np.array_equal(
            decoded_tile(data, tags, index)[: wanted.shape[0], : wanted.shape[1]], wanted, equal_nan=True
        )


@pytest.mark.parametrize("shape", [(1, 1), (512, 512), (513, 1300), (2100, 700)])
def test_another_program_finds_no_fault(tmp_path, shape):
    """rio-cogeo, strict: neither errors nor warnings."""
    cogeo = pytest.importorskip("rio_cogeo")
    write(tmp_path / "a.tif", some_grid(*shape))
    assert cogeo.cog_validate(tmp_path / "a.tif", strict=True) == (True, [], [])


# --- what is stored


@pytest.mark.parametrize("bearing_deg", [90.0, 75.0])
@pytest.mark.parametrize("system", ["EPSG:26915", "EPSG:4326", "EPSG:6318", "EPSG:2154", "EPSG:4979", "EPSG:7844"])
def test_place_unit_words_and_statistics_read_back(tmp_path, bearing_deg, system):
    grid = some_grid(40, 60, bearing_deg, system)
    values = some_values(grid)
    write(tmp_path / "a.tif", grid)
    assert list(folder_state(tmp_path)) == ["a.tif"]
    with rasterio.open(tmp_path / "a.tif") as file:
        assert np.array_equal(file.read(1), values, equal_nan=True) and np.isnan(file.nodata)
        assert file.units == ("m",) and file.descriptions == ("Relief",)
        # the corner and a cell in the middle lie where the grid says
        for row, col in ((0, 0), (17, 23)):
            along, across = grid.west_m + col * grid.cell_m, grid.north_m - row * grid.cell_m
            assert np.allclose(file.transform @ (col, row), grid.to_map(along, across), atol=1e-6, rtol=0)
        back = pyproj.CRS.from_wkt(file.crs.to_wkt())
        assert len(back.axis_info) == 2 and back.ellipsoid == grid.crs.ellipsoid
        lon, lat = pyproj.Transformer.from_crs(back, back.geodetic_crs, always_xy=True).transform(
            *grid.to_map(10.0, 5.0)
        )
        assert np.allclose((lon, lat), grid.lonlat(10.0, 5.0), atol=1e-9, rtol=0)
        tags, there = file.tags(1), values[np.isfinite(values)].astype(float)
        assert float(tags["STATISTICS_MINIMUM"]) == there.min() and float(tags["STATISTICS_MAXIMUM"]) == there.max()
        assert float(tags["STATISTICS_MEAN"]) == pytest.approx(there.mean(), rel=1e-12)
        assert float(tags["STATISTICS_STDDEV"]) == pytest.approx(there.std(), rel=1e-12)
        assert float(tags["STATISTICS_VALID_PERCENT"]) == pytest.approx(100 * there.size / values.size, rel=1e-3)


def test_a_layer_without_any_data_is_written(tmp_path):
    grid = some_grid(30, 20)
    write_cog(tmp_path / "a.tif", np.full(grid.shape, np.nan), grid, unit="1", title="Nothing", overwrite=False)
    with rasterio.open(tmp_path / "a.tif") as file:
        assert np.isnan(file.read(1)).all() and file.tags(1) == {"STATISTICS_VALID_PERCENT": "0"}


def test_overviews_are_means_of_what_is_there_or_one_of_the_cells(tmp_path):
    grid = some_grid(8, 1200)
    values = np.tile(np.array([[350.0, 10.0], [np.nan, 10.0]], np.float32), (4, 600))
    for overviews, allowed in (
        ("average", {(350 + 10 + 10) / 3}),
        ("nearest", {350.0, 10.0, np.nan}),
        ("mode", {10.0}),
        ("max", {350.0}),
    ):
        write_cog(tmp_path / "a.tif", values, grid, unit="deg", title="Aspect", overwrite=True, overviews=overviews)
        with rasterio.open(tmp_path / "a.tif", overview_level=0) as file:
            seen = file.read(1)
        assert all(any(np.isclose(cell, one, equal_nan=True) for one in allowed) for cell in np.unique(seen)), overviews


def test_wrong_arguments_are_refused(tmp_path):
    grid = some_grid(30, 20)
    for values, changes, words in (
        (np.zeros((20, 30)), {}, "the grid is"),
        (np.full((30, 20), np.inf), {}, "infinite"),
        (np.full((30, 20), 1e300), {}, "infinite"),
        (np.zeros((30, 20)), {"overviews": "cubic"}, "overviews"),
    ):
        with pytest.raises(ValueError, match=words):
            write_cog(tmp_path / "a.tif", values, grid, unit="m", title="A", overwrite=True, **changes)
    assert folder_state(tmp_path) == {}


def test_output_19_the_same_input_gives_the_same_bytes(tmp_path, monkeypatch):
    write(tmp_path / "a.tif")
    monkeypatch.setenv("GDAL_NUM_THREADS", "ALL_CPUS")
    monkeypatch.setenv("GDAL_PAM_ENABLED", "YES")
    write(tmp_path / "b.tif")
    write(tmp_path / "b.tif")
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()
    assert list(folder_state(tmp_path)) == ["a.tif", "b.tif"]


# --- faults


@pytest.mark.parametrize("old", [None, b"old"])
def test_every_call_in_turn_fails(tmp_path, monkeypatch, old):
    grid = some_grid(20, 30)
    write(tmp_path / "good.tif", grid)
    good, path, hits = (tmp_path / "good.tif").read_bytes(), tmp_path / "out" / "a.tif", set()
    path.parent.mkdir()
    for fail_at in range(1, 100):
        path.unlink(missing_ok=True)
        if old is not None:
            path.write_bytes(old)
        faults = Faults(fail_at)
        with monkeypatch.context() as patch:
            faults.wrap_files(patch)
            faults.wrap(patch, rasterio, "open")
            faults.wrap(patch, cog, "verify_cog")
            failed = False
            try:
                write(path, grid)
            except OutputFailed:
                failed = True
        expected = ({} if old is None else {"a.tif": old}) if failed else {"a.tif": good}
        assert folder_state(path.parent) == expected, faults.hit
        hits.add(faults.hit)
        if not faults.hit:
            break
    assert not faults.hit and hits >= {"replace", "fsync", "open", "verify_cog", "scandir"}


@pytest.mark.parametrize(
    "damage", ["cell", "truncated", "zeroed", "overview", "unit", "place", "system", "datum", "not a COG"]
)
def test_a_driver_that_writes_something_else_is_found_out(tmp_path, monkeypatch, damage):
    path, honest = tmp_path / "a.tif", cog._in_memory
    path.write_bytes(b"old")

    def dishonest(cells, grid, unit, title, overviews):
        if damage == "cell":
            cells = cells.copy()
            cells[-1, -1] += np.float32(1e-3)
        if damage == "place":
            grid = some_grid(grid.rows + 4, grid.cols).window(1, 0, grid.rows, grid.cols)
        if damage == "system":
            grid = dataclasses.replace(grid, crs_wkt=local_crs(pyproj.CRS.from_epsg(26915), -93.62, 42.03).to_wkt())
        if damage == "datum":
            grid = dataclasses.replace(grid, crs_wkt=local_crs(pyproj.CRS.from_epsg(6318), -93.61, 42.03).to_wkt())
        data = bytearray(honest(cells, grid, "ft" if damage == "unit" else unit, title, overviews).getbuffer())
        tags = tiff(bytes(data))[-1 if damage == "overview" else 0]["tags"]
        if damage in ("zeroed", "overview"):
            data[tags[324][-1] : tags[324][-1] + tags[325][-1]] = bytes(tags[325][-1])
        if damage == "truncated":
            del data[-5000:]
        if damage == "not a COG":
            data = data.replace(b"LAYOUT=IFDS_BEFORE_DATA", b"LAYOUT=ANYTHING_AT_ALL!")
        return rasterio.io.MemoryFile(bytes(data))

    monkeypatch.setattr(cog, "_in_memory", dishonest)
    with pytest.raises(OutputFailed):
        write(path)
    assert folder_state(tmp_path) == {"a.tif": b"old"}


SWEEP = """
    import json, resource, signal, sys
    from pathlib import Path
    from tests.io.faults import folder_state
    from tests.io.formats.test_cog import write
    from tunnelsite.core.errors import OutputFailed
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    path, results = Path(sys.argv[1]), []
    for limit in map(int, sys.argv[2:]):
        path.write_bytes(b"old")
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
        try:
            write(path)
            outcome = "written"
        except OutputFailed as error:
            outcome = str(error)
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        state = folder_state(path.parent)
        results.append([outcome, list(state), len(state.get(path.name, b""))])
    print(json.dumps(results))
"""

FULL = """
    import subprocess, sys
    from pathlib import Path
    folder = Path(sys.argv[1])
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", folder], check=True)
    from tests.io.faults import folder_state
    from tests.io.formats.test_cog import write
    from tunnelsite.core.errors import OutputFailed
    from tunnelsite.io.write import staging
    (folder / "a.tif").write_bytes(b"old")
    try:
        write(folder / "a.tif")
    except OutputFailed as error:
        print(error)
    staging._check_space = lambda target, need_bytes: None  # as if the need had been underestimated
    try:
        write(folder / "a.tif")
    except OutputFailed as error:
        print(error)
    assert folder_state(folder) == {"a.tif": b"old"}
"""


def run_child(code: str, *arguments: object, prefix: tuple[str, ...] = ()) -> str:
    command = [*prefix, sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)]
    # GDAL's own threads as well: they are what hides a full disk elsewhere
    environment = {**os.environ, "GDAL_NUM_THREADS": "ALL_CPUS"}
    return subprocess.run(
        command, capture_output=True, text=True, check=True, cwd=ROOT, timeout=120, env=environment
    ).stdout


@pytest.mark.skipif(os.name != "posix", reason="limits of POSIX")
def test_output_01_files_that_cannot_grow_leave_the_old_output(tmp_path):
    write(tmp_path / "whole.tif")
    size = (tmp_path / "whole.tif").stat().st_size
    (tmp_path / "out").mkdir()
    limits = [0, 1000, size // 2, size - 1, 4 * size]
    results = json.loads(run_child(SWEEP, tmp_path / "out" / "a.tif", *limits))
    for limit, (outcome, names, length) in zip(limits, results, strict=True):
        assert names == ["a.tif"] and length == (size if outcome == "written" else 3), limit
    assert [outcome == "written" for outcome, *_ in results] == [False] * 4 + [True]


def test_output_01_a_disk_that_is_really_full(tmp_path):
    unshare = ("unshare", "--user", "--map-root-user", "--mount")
    try:
        subprocess.run([*unshare, "mount", "-t", "tmpfs", "tmpfs", tmp_path], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no user namespaces to mount a small disk in; the limit on file size covers the same calls")
    early, late = run_child(FULL, tmp_path, prefix=unshare).splitlines()
    assert "needed" in early and "free" in early and "no room" in early
    assert "needed" in late and "free" in late and "no room" in late


@pytest.mark.parametrize(
    ("shape", "system"),
    [*((shape, "EPSG:26915") for shape in ((1300, 900), (1, 2100), (40, 60))), ((700, 513), "EPSG:4326")],
)
def test_overviews_of_the_largest_cell_keep_a_stream(tmp_path, shape, system):
    """Every overview cell is the largest of its block, by a plain loop over blocks; all else is as in any other file of ours."""
    cogeo = pytest.importorskip("rio_cogeo")
    grid = some_grid(*shape, 75.0, system)
    values = some_values(grid)
    values[:, min(7, shape[1] - 1)] = 1e6  # one cell wide, from end to end
    words = {"unit": "m2", "title": "Water & <land>", "overwrite": True}
    write_cog(tmp_path / "mean.tif", values, grid, **words)
    write_cog(tmp_path / "max.tif", values, grid, overviews="max", **words)
    assert cogeo.cog_validate(tmp_path / "max.tif", strict=True) == (True, [], [])
    with rasterio.open(tmp_path / "mean.tif") as mean, rasterio.open(tmp_path / "max.tif") as largest:
        for name in ("profile", "units", "descriptions", "crs", "transform"):
            assert str(getattr(mean, name)) == str(getattr(largest, name)), name
        drop = {"OVERVIEW_RESAMPLING"}
        for where in ({}, {"bidx": 1}, {"ns": "IMAGE_STRUCTURE"}):
            tags = [{k: v for k, v in one.tags(**where).items() if k not in drop} for one in (mean, largest)]
            assert tags[0] == tags[1]
        assert mean.overviews(1) == largest.overviews(1)
        count = len(largest.overviews(1))
    for level in range(count):
        with rasterio.open(tmp_path / "max.tif", overview_level=level) as file:
            seen, step = file.read(1), 2 ** (level + 1)
        for row in range(0, seen.shape[0], 37):
            for col in range(0, seen.shape[1], 29):
                block = values[row * step : (row + 1) * step, col * step : (col + 1) * step]
                want = np.nan if np.isnan(block).all() else np.nanmax(block)
                assert np.array_equal(seen[row, col], want, equal_nan=True)
        assert (seen == 1e6).any(axis=1).all()


def test_how_layers_are_made_coarser() -> None:
    assert [way_of(name) for name in ("aspect", "water_like", "upslope_m2", "ground")] == [
        "nearest",
        "mode",
        "max",
        "average",
    ]
