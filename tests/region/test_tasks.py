"""Which parcels are screened together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyproj
import pytest
import shapely

from tunnelsite.core.layers import Features
from tunnelsite.region import tasks
from tunnelsite.region.tasks import Squares, grid_size, lonlat_boxes, tasks_of

HALO_M = 1000.0
AUTO = Squares(None, HALO_M, 1.0)


def county(side_m: float, apart_m: float) -> Features:
    """Parcels of 50 m x 40 m on a lattice."""
    at = np.arange(0.0, side_m, apart_m)
    east, north = (a.ravel() for a in np.meshgrid(600_000 + at, 4_600_000 + at))
    boxes = shapely.box(east, north, east + 50, north + 40)
    return Features(boxes, {}, pyproj.CRS("EPSG:32617"), "parcels", "0" * 64, ())


def found(parcels: Features, squares: Squares) -> list[list[int]]:
    names = [str(k) for k in range(len(parcels))]
    made = tasks_of(parcels, names, squares, {}, np.zeros(len(parcels), int))
    groups = [task.parcels.tolist() for task in made]
    assert sorted(k for group in groups for k in group) == list(range(len(parcels)))
    assert groups == sorted(groups) and [task.number for task in made] == list(range(len(made)))
    return groups


def test_a_task_is_as_large_as_a_worker_takes_easily() -> None:
    parcels = county(9000.0, 150.0)
    boxes = lonlat_boxes(parcels)
    fine, coarse = found(parcels, AUTO), found(parcels, replace(AUTO, cell_m=5.0))
    assert len(coarse) < len(fine) <= len(found(parcels, replace(AUTO, size_m=2000.0)))
    for group in coarse:
        rows, cols = grid_size(boxes[group], HALO_M, 5.0)
        assert rows * cols <= tasks.MOST_CELLS and len(group) <= tasks.MOST_PARCELS
    for group in (
        fine
    ):  # with cells of 1 m only the smallest squares are small enough, but for what is left at the county's edge
        rows, cols = grid_size(boxes[group], HALO_M, 1.0)
        assert rows * cols <= tasks.MOST_CELLS


def test_a_small_region_is_one_task_wherever_the_squares_lie() -> None:
    strewn = county(9000.0, 600.0)
    assert len(found(strewn, replace(AUTO, cell_m=5.0))) == 1
    assert len(found(strewn, replace(AUTO, cell_m=5.0, size_m=8000.0))) > 1


def test_no_task_is_wider_than_its_local_grid_holds_true() -> None:
    wide = county(20_000.0, 2000.0)
    boxes = lonlat_boxes(wide)
    for group in found(wide, replace(AUTO, cell_m=10.0)):
        assert max(grid_size(boxes[group], 0.0, 1.0)) <= tasks.WIDEST_M


def test_a_task_that_fails_is_halved_until_its_parcels_are_few(monkeypatch: pytest.MonkeyPatch) -> None:
    parcels = county(1500.0, 150.0)  # 10 x 10
    names = [str(k) for k in range(len(parcels))]
    (whole,) = tasks_of(parcels, names, replace(AUTO, cell_m=5.0), {}, np.zeros(len(parcels), int))
    halves = tasks.smaller_tasks(parcels, names, [whole], {}, 7)
    assert [len(half.parcels) for half in halves] == [50, 50] and [half.number for half in halves] == [7, 8]
    assert sorted(np.concatenate([half.parcels for half in halves])) == list(range(100))
    west, east = (shapely.total_bounds(parcels.geometry[half.parcels]) for half in halves)
    assert west[2] < east[0] or west[3] < east[1]  # land round them is halved, too
    few = replace(halves[0], parcels=halves[0].parcels[: tasks.FEW])
    alone = tasks.smaller_tasks(parcels, names, [few], {}, 0)
    assert [task.parcels.tolist() for task in alone] == [[k] for k in few.parcels.tolist()]
    every = tasks.all_smaller_tasks(parcels, names, [whole], {})
    assert {task.key for task in halves} < {task.key for task in every}
    assert {k for task in every if len(task.parcels) == 1 for k in task.parcels} == set(range(100))


def test_many_parcels_are_shared_out(monkeypatch: pytest.MonkeyPatch) -> None:
    parcels = county(3900.0, 75.0)
    coarse = replace(AUTO, cell_m=5.0)
    whole = found(parcels, coarse)
    monkeypatch.setattr(tasks, "MOST_PARCELS", max(map(len, whole)) - 1)
    assert len(found(parcels, coarse)) > len(whole)


def test_a_size_that_is_asked_for_stands() -> None:
    parcels = county(600.0, 150.0)
    assert found(parcels, Squares(0.0, HALO_M, 1.0)) == [[k] for k in range(len(parcels))]
    assert len(found(parcels, Squares(200.0, HALO_M, 1.0))) > len(found(parcels, AUTO))


def test_the_grid_round_parcels_is_theirs_and_the_halo() -> None:
    rows, cols = grid_size(lonlat_boxes(county(160.0, 150.0)), HALO_M, 2.0)  # 200 m x 190 m
    assert rows == pytest.approx((190 + 2 * HALO_M) / 2, rel=0.01)
    assert cols == pytest.approx((200 + 2 * HALO_M) / 2, rel=0.01)
