"""Layers and measures in scratch files: the same run to the bit, and memory that is given back."""

from __future__ import annotations

import errno
import os
import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from tests.scan.grounds import features, hills, site
from tunnelsite import House, screen
from tunnelsite.core.errors import ResourceShortage
from tunnelsite.io.write.scratch import Scratch, ScratchColumn
from tunnelsite.kernels import bands as banded
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_900.0, 4_700_100.0


def farm():
    """Hills with a pond and a gap, two overlapping parcels, trees, a building, a line and wind."""
    ground = hills(420, 300, 3)
    ground[200:230, 150:190] = ground[200:230, 150:190].min()
    ground[300:303, 100:160] = np.nan
    parcels = [
        shapely.box(WEST + 5, NORTH - 410, WEST + 200, NORTH - 8),
        shapely.box(WEST + 150, NORTH - 400, WEST + 296, NORTH - 30),
    ]
    trees = shapely.points(WEST + np.linspace(10, 290, 20), NORTH - np.linspace(15, 400, 20) % 390 - 5)
    line = features([shapely.LineString([(WEST, NORTH - 150), (WEST + 300, NORTH - 170)])], name="line", distance_m=6.0)
    return site(
        ground,
        parcels,
        obstacles=features(list(trees), name="trees", height_m=np.linspace(4, 15, 20)),
        structures=features([shapely.box(WEST + 60, NORTH - 90, WEST + 75, NORTH - 80)], name="barn"),
        keep_outs=(line,),
    )


def test_a_run_in_scratch_files_and_bands_is_the_run_in_memory_to_the_bit(monkeypatch) -> None:
    settings = settings_from(
        {
            "azimuths": 12,
            "kind": "container",
            "bearing_tolerance": 30,
            "bearing_step": 30,
            "setback": "3m",
            "wind_from": 250,
        }
    )
    houses = [House.parse("20x48ft"), House.parse("14x30ft")]
    whole = screen(farm(), houses, settings=settings)
    assert len(whole.scans[0].index) > 1000 and len(whole.choices) > 3
    monkeypatch.setattr(banded, "BAND_ROWS", 128)
    for module in (
        "scan.open_ground",
        "processes.level_patches",
        "processes.cut_channels",
        "processes.cut_off_beds",
        "kernels.water.drainage_lines",
        "processes.noon_sun",
        "kernels.air.cold_pool",
    ):
        monkeypatch.setattr(
            f"tunnelsite.{module}.bands", lambda shape, cells=1: banded.bands(shape, 1)
        )  # many narrow bands
    given = farm()
    store = Scratch(from_bytes=1)
    store.piece = 1000
    given = replace(given, store=store, dem=replace(given.dem, values=store.kept(given.dem.values)))
    found = screen(given, houses, settings=settings)
    assert found.choices == whole.choices and repr(found.rows) == repr(whole.rows)
    for one, other in zip(found.scans, whole.scans, strict=True):
        assert repr(one.tallies) == repr(other.tallies)
        assert one.ground.inside.tolist() == other.ground.inside.tolist()
        assert {rule: lost.tolist() for rule, lost in one.ground.rejected.items()} == {
            rule: lost.tolist() for rule, lost in other.ground.rejected.items()
        }
        for ours, theirs in ((one.measures, other.measures), (one.frame.layers, other.frame.layers)):
            assert ours.keys() == theirs.keys()
            for name in ours:
                np.testing.assert_array_equal(ours[name], theirs[name], err_msg=name)
        np.testing.assert_array_equal(one.index, other.index)
        np.testing.assert_array_equal(one.owner, other.owner)


def test_what_is_kept_in_a_file_leaves_memory_and_comes_back() -> None:
    status = Path("/proc/self/status")
    if not status.is_file():
        pytest.skip("resident memory is read from /proc")

    def resident_bytes() -> int:
        line = next(text for text in status.read_text().splitlines() if text.startswith("VmRSS"))
        return 1024 * int(line.split()[1])

    store = Scratch(from_bytes=1000)
    before = resident_bytes()
    layer = store.empty((4000, 4000), np.float32)
    layer[:] = np.arange(4000, dtype=np.float32)
    assert resident_bytes() - before > 0.9 * layer.nbytes
    store.rest()
    assert resident_bytes() - before < 0.2 * layer.nbytes
    assert layer.sum(dtype=np.float64) == 4000 * np.arange(4000.0).sum()
    kept = store.kept(np.full((2000, 2000), 7, np.int32))
    assert kept.sum() == 28_000_000 and store.kept(kept) is kept and store.kept(layer[10:20]).base is not None


@pytest.mark.parametrize("from_bytes", [1, 1_000_000, 1 << 40])
def test_columns_are_their_pieces_one_after_the_other(from_bytes: int) -> None:
    pieces = [np.arange(k * 3, dtype=np.int64) for k in range(40)]
    sizes = [np.int64, np.int8, np.float32, np.float32]
    columns = Scratch(from_bytes).columns(sizes, sum(map(len, pieces)))
    for piece in pieces:
        columns[0].append(piece)
        columns[1].append(piece % 100)
        columns[3].append(np.full(len(piece), 5.0))  # and nothing at all in the third
    found = [column.whole() for column in columns]
    whole = np.concatenate(pieces)
    for values, expected in zip(found, [whole, whole % 100, [], np.full(len(whole), 5.0)], strict=True):
        np.testing.assert_array_equal(values, expected)
    assert [values.dtype for values in found] == sizes
    assert found[3].strides == (0,)  # one is kept where all are alike


def open_files() -> int:
    return len(os.listdir("/proc/self/fd"))


def test_the_columns_of_a_table_take_one_file_and_it_goes_with_the_last() -> None:
    if not Path("/proc/self/fd").is_dir():
        pytest.skip("open files are counted in /proc")
    before = open_files()
    columns = Scratch(1).columns([np.float32] * 30, 100)
    for k, column in enumerate(columns):
        column.append(np.arange(100) + k)
    found = [column.whole() for column in columns]
    assert open_files() - before == 1 and found[29][99] == 128.0
    del columns, column, found
    assert open_files() == before


def test_columns_stay_in_memory_where_the_disk_is_small_and_layers_do_not_need_it(monkeypatch) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda place: SimpleNamespace(free=1 << 16))
    store = Scratch(from_bytes=256_000)
    assert not isinstance(store.columns([np.float64], 10_000)[0], ScratchColumn)
    assert isinstance(store.columns([np.float64], 100)[0], ScratchColumn)  # it fits
    assert isinstance(store.columns([np.float64], 40_000)[0], ScratchColumn)  # a layer of this size would be in a file


def test_a_full_disk_says_so_before_anything_is_computed(monkeypatch) -> None:
    def full(*arguments):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "posix_fallocate", full, raising=False)
    for ask in (lambda: Scratch(1).empty((10, 10), np.float32), lambda: Scratch(1).kept(np.zeros(100))):
        with pytest.raises(ResourceShortage, match="TMPDIR"):
            ask()
