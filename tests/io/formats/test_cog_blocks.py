"""A layer written block by block is the file that is written at once, to the byte; a block too many or too few is found."""

from __future__ import annotations

import shutil
import subprocess

import numpy as np
import pytest

from tests.io.formats.test_cog import run_child, some_grid, some_values, write
from tunnelsite.core.errors import OutputFailed
from tunnelsite.io.formats.cog_blocks import cog_by_blocks


def blocks_of(grid, high: int, wide: int):
    for row in range(0, grid.rows, high):
        for col in range(0, grid.cols, wide):
            yield slice(row, min(row + high, grid.rows)), slice(col, min(col + wide, grid.cols))


@pytest.mark.parametrize(("bearing", "overviews"), [(90.0, "average"), (63.0, "nearest"), (90.0, "max")])
def test_the_same_bytes_as_at_once(tmp_path, bearing, overviews):
    grid = some_grid(bearing_deg=bearing)
    values = some_values(grid)
    write(tmp_path / "whole.tif", grid, overviews=overviews)
    with cog_by_blocks(tmp_path / "blocks.tif", grid, title="Relief", overwrite=False, overviews=overviews) as writer:
        for rows, cols in reversed(list(blocks_of(grid, 300, 517))):
            writer.write(rows, cols, values[rows, cols].astype(np.float64))
        writer.unit = "m"
    assert (tmp_path / "blocks.tif").read_bytes() == (tmp_path / "whole.tif").read_bytes()
    assert len(list(tmp_path.iterdir())) == 2


@pytest.mark.parametrize("fault", ["missing", "twice", "infinite", "stopped"])
def test_nothing_is_left_of_what_is_not_whole(tmp_path, fault):
    grid = some_grid(60, 70)
    values = some_values(grid)
    (tmp_path / "x.tif").write_text("what was there before")
    with (
        pytest.raises({"infinite": ValueError, "stopped": KeyboardInterrupt}.get(fault, OutputFailed)),
        cog_by_blocks(tmp_path / "x.tif", grid, title="Relief", overwrite=True) as writer,
    ):
        parts = list(blocks_of(grid, 30, 70))
        parts = (
            parts[:1] if fault == "missing" else [*parts, (slice(0, 40), slice(0, 70))] if fault == "twice" else parts
        )
        for rows, cols in parts:
            writer.write(rows, cols, values[rows, cols] * (np.inf if fault == "infinite" else 1))
        if fault == "stopped":
            raise KeyboardInterrupt
    assert [path.read_text() for path in tmp_path.iterdir()] == ["what was there before"]


def test_room_is_asked_for_before_anything_is_written(tmp_path, monkeypatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda place: shutil._ntuple_diskusage(10**6, 9 * 10**5, 10**5))
    with (
        pytest.raises(OutputFailed, match="no room"),
        cog_by_blocks(tmp_path / "x.tif", some_grid(100, 100), title="Relief", overwrite=False),
    ):
        pytest.fail("the work was begun")
    assert not list(tmp_path.iterdir())


FULL = """
    import subprocess, sys
    from pathlib import Path
    from tests.io.faults import folder_state
    from tests.io.formats.test_cog import some_grid, some_values
    from tunnelsite.core.errors import OutputFailed
    from tunnelsite.io.write import staging
    from tunnelsite.io.formats.cog_blocks import cog_by_blocks
    staging._check_space = lambda target, need_bytes: None  # as if the need had been underestimated
    grid, folder = some_grid(), Path(sys.argv[1])
    for size in ("2m", "6m", "7m", "9m"):  # full while the cells, their coarser copies, or the finished file are written
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], check=True)
        (folder / "a.tif").write_bytes(b"old")
        try:
            with cog_by_blocks(folder / "a.tif", grid, title="x", overwrite=True) as writer:
                writer.unit = "m"
                writer.write(slice(0, grid.rows), slice(0, grid.cols), some_values(grid))
        except OutputFailed as error:
            print(error)
        assert folder_state(folder) == {"a.tif": b"old"}
        subprocess.run(["umount", folder], check=True)
"""


def test_a_disk_that_fills_on_the_way(tmp_path):
    unshare = ("unshare", "--user", "--map-root-user", "--mount")
    try:
        subprocess.run([*unshare, "mount", "-t", "tmpfs", "tmpfs", tmp_path], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no user namespaces to mount a small disk in")
    said = run_child(FULL, tmp_path, prefix=unshare).splitlines()
    assert len(said) == 4 and all("no room" in line and "needed" in line for line in said)
