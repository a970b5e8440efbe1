"""The ranking's rules: options stand apart, every size shows its best, parcels have their share, ties have an order."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tunnelsite.core.grid import Grid
from tunnelsite.core.house import House, Pad
from tunnelsite.core.store import Store
from tunnelsite.scan import ranking
from tunnelsite.scan.engine import Scan
from tunnelsite.scan.ranking import RankedPlacement, RankRules, footprint_corners, near_placements, ranked
from tunnelsite.scan.tight_ground import Nudged

ROWS, COLS = 40, 60


def scan(house: House, bearing: float = 90.0, owner: np.ndarray | None = None, nudged: Nudged | None = None) -> Scan:
    """A scan in which every cell is a placement, none of them measured."""
    grid = Grid("", 1.0, ROWS, COLS, 0.0, float(ROWS), bearing)
    count = ROWS * COLS
    owner = np.zeros(count, np.int32) if owner is None else owner
    frame = SimpleNamespace(grid=grid, store=Store())
    ground = SimpleNamespace(nudged=nudged or Nudged.none())
    return Scan(frame, house, Pad.around(house, 0.0), np.arange(count), owner, {}, {}, ground)


def some_nudged(rng: np.random.Generator) -> Nudged:
    """A tenth of the cells with a house beside their middle."""
    index = np.flatnonzero(rng.random(ROWS * COLS) < 0.1)
    row, col = np.divmod(index, COLS)
    off = rng.uniform(-0.5, 0.5, (2, len(index)))
    return Nudged(index, col + 0.5 + off[0], ROWS - row - 0.5 + off[1])


def slow(scans, scored, apart: float, top: int) -> list[tuple[int, int]]:
    """The greedy list by comparing every placement with every chosen one; of equal scores the roomier comes first."""
    import shapely

    order = sorted(
        ((k, i) for k, values in enumerate(scored) for i in np.flatnonzero(np.isfinite(values))),
        key=lambda one: (-scored[one[0]][one[1]], one[0], -slow_room(scored[one[0]], one[1]), one[1]),
    )
    chosen, shapes = [], []
    for k, item in order:
        shape = shapely.polygons(footprint_corners(scans[k], item))
        if all(
            shapely.area(shapely.intersection(shape, other)) < 1e-9
            and shapely.distance(shape.centroid, other.centroid) > apart - 1e-9
            for other in shapes
        ):
            chosen.append((k, int(item)))
            shapes.append(shape)
        if len(chosen) == top:
            break
    return chosen


def slow_room(values: np.ndarray, item: int) -> float:
    """Distance from a cell to the nearest that has less than 95 % of its score, none, or lies beyond the grid, to half a cell of 30 m."""
    row, col = np.mgrid[-1 : ROWS + 1, -1 : COLS + 1]
    good = np.pad(values.reshape(ROWS, COLS) >= 0.95 * values[item], 1)
    return min(np.hypot(row - item // COLS, col - item % COLS)[~good].min(), 30.5)


@pytest.mark.parametrize("apart", [0.0, 7.0, 13.5])
@pytest.mark.parametrize("bearings", [(90.0,), (90.0, 60.0)])
def test_the_list_is_the_greedy_one(apart: float, bearings) -> None:
    rng = np.random.default_rng(3)
    scans = [scan(House(3.0, 6.0), bearing, nudged=some_nudged(rng)) for bearing in bearings]
    scored = [np.round(rng.random(ROWS * COLS) * 100, 1) for _ in scans]  # rounded: many ties
    scored[0][rng.random(ROWS * COLS) < 0.3] = np.nan
    found = ranked(scans, scored, RankRules(8, apart))
    assert [(choice.scan, choice.item) for choice in found] == slow(scans, scored, apart, 8)
    assert [choice.score for choice in found] == sorted((choice.score for choice in found), reverse=True)


@pytest.mark.parametrize("apart", [0.0, 6.0, 13.5])
def test_what_lies_near_is_the_same_looked_at_one_by_one_and_by_spans_of_cells(apart: float, monkeypatch) -> None:
    rng = np.random.default_rng(5)
    one, two = (scan(house, nudged=some_nudged(rng)) for house in (House(3.0, 6.0), House(4.5, 10.0)))
    one = one.only(rng.random(ROWS * COLS) < 0.7)
    two = replace(two, frame=one.frame)
    found = {}
    for few in (0, 1 << 20):
        monkeypatch.setattr(ranking, "FEW", few)
        found[few] = [
            near_placements(which, other, item, apart)
            for which in (one, two)
            for other in (one, two)
            for item in range(0, len(other.index), 97)
        ]
    for slow_one, quick in zip(*found.values(), strict=True):
        assert len(quick) and np.array_equal(slow_one, quick)


def test_ties_go_to_the_earlier_scan_then_to_most_room_then_north_then_west() -> None:
    """Level ground of one score, with a hole in it: the house stands in the middle of it, not at its northern edge."""
    scans = [scan(House(3.0, 6.0), 90.0), scan(House(3.0, 6.0), 90.0)]
    values = np.full((ROWS, COLS), np.nan)
    values[3:14, 5:25] = 50.0
    values[8, 10] = 40.0
    found = ranked(scans, [values.ravel()] * 2, RankRules(5, 4.0))
    assert [(one.scan, one.item) for one in found] == slow(scans, [values.ravel()] * 2, 4.0, 5)
    assert found[0] == RankedPlacement(0, 8 * COLS + 16, 50.0)


def test_of_very_many_ties_some_all_over_are_looked_at() -> None:
    found = ranked([scan(House(3.0, 6.0))], [np.full(ROWS * COLS, 50.0)], RankRules(1))
    assert slow_room(np.full(ROWS * COLS, 50.0), found[0].item) >= 18.0  # 20 m in the very middle


def test_the_best_of_every_size_is_in_the_list() -> None:
    rng = np.random.default_rng(5)
    small, large = House(3.0, 6.0, name="small"), House(6.0, 12.0, name="large")
    scored = [50 + 50 * rng.random(ROWS * COLS), 10 + 20 * rng.random(ROWS * COLS)]
    scored[1][np.argmax(scored[0])] = 45.0  # the best place of the large one is that of the small one
    found = ranked([scan(small), scan(large)], scored, RankRules(4, 8.0))
    assert len(found) == 4
    assert found[0].item == np.argmax(scored[0]) and found[0].scan == 0
    assert found[-1] == RankedPlacement(1, int(np.argmax(scored[1])), 45.0)
    assert len(ranked([scan(small), scan(large)], scored, RankRules(1, 8.0))) == 2


def test_a_parcel_has_no_more_than_its_share() -> None:
    owner = (np.arange(ROWS * COLS) % COLS >= COLS // 2).astype(np.int32)
    scored = np.where(owner == 0, 80.0, 40.0) + np.random.default_rng(1).random(ROWS * COLS)
    found = ranked([scan(House(3.0, 6.0), owner=owner)], [scored], RankRules(6, 7.0, per_parcel=2))
    assert [int(owner[choice.item]) for choice in found] == [0, 0, 1, 1]


def test_an_unsound_place_is_passed_over() -> None:
    scored = np.random.default_rng(2).random(ROWS * COLS)
    best = int(np.argmax(scored))
    found = ranked([scan(House(3.0, 6.0))], [scored], RankRules(3), lambda one, item: item != best)
    assert best not in [choice.item for choice in found] and len(found) == 3
