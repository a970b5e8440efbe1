"""Measures become marks, marks become a score; the best placements that do not overlap become the ranking."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tunnelsite.kernels.clear_centres import Lattice, overlapping_centres
from tunnelsite.scan.combine import combined
from tunnelsite.scan.engine import Judge, Scan

SCORE_STEP = 1e-6  # scores closer than this are equal, so that rounding in the last bit never decides a rank


def scores(scan: Scan, judges: list[Judge], combine: str = "mean") -> np.ndarray:
    """Score 0-100 of every placement: 100 x the combined marks over what was assessed; NaN if nothing was.

    Arguments: scan; judges; combine, see `scan.combine.combined`.
    Return: float64 [n], in whole steps of 1e-6, so that ties are ties.
    """
    weighted = [judge for judge in judges if judge.rubric.weight > 0]
    if combine == "mean":
        share = _weighted_mean(scan, weighted)
    else:
        marks = np.stack([judge.rubric.marks(scan.measures[judge.id].astype(np.float64)) for judge in weighted])
        share = combined(marks, np.array([judge.rubric.weight for judge in weighted]), combine)
    return np.round(100.0 * share / SCORE_STEP) * SCORE_STEP


def _weighted_mean(scan: Scan, weighted: list[Judge]) -> np.ndarray:
    """The same as `combined(..., "mean")`, one criterion at a time, so that memory does not grow with their number."""
    total = np.zeros(len(scan.index))
    weight = np.zeros(len(scan.index))
    for judge in weighted:
        marks = judge.rubric.marks(scan.measures[judge.id].astype(np.float64))
        assessed = ~np.isnan(marks)
        total[assessed] += judge.rubric.weight * marks[assessed]
        weight[assessed] += judge.rubric.weight
    return np.divide(total, weight, out=np.full(len(total), np.nan), where=weight > 0)


@dataclass(frozen=True)
class Choice:
    """One ranked placement: which scan, which of its packed placements, and its score."""

    scan: int
    item: int
    score: float


def ranked(
    scans: list[Scan], scored: list[np.ndarray], top: int, sound: Callable[[Scan, int], bool] = lambda scan, item: True
) -> list[Choice]:
    """The best `top` placements over all scans, best first, such that no two footprints overlap.

    Greedy: the best placement left is taken and every placement that overlaps it is put aside. Equal scores go to the
    earlier scan (houses and bearings in the order given), then to the placement farther north, then farther west.
    A placement that is not `sound` (the exact vector test) is passed over.
    """
    left = [values.copy() for values in scored]
    for values in left:
        values[np.isnan(values)] = -np.inf
    chosen: list[Choice] = []
    while len(chosen) < top:
        best = [int(np.argmax(values)) if len(values) else -1 for values in left]
        worth = [left[k][item] if item >= 0 else -np.inf for k, item in enumerate(best)]
        if not worth or max(worth) == -np.inf:
            break
        pick = worth.index(max(worth))
        if not sound(scans[pick], best[pick]):
            left[pick][best[pick]] = -np.inf
            continue
        choice = Choice(pick, best[pick], float(worth[pick]))
        chosen.append(choice)
        corners = footprint_corners(scans[pick], choice.item)
        for scan, values in zip(scans, left, strict=True):
            values[_overlapping(scan, corners)] = -np.inf
    return chosen


def footprint_corners(scan: Scan, item: int) -> np.ndarray:
    """Easting and northing [m, local projection] of the footprint's corners: float64 [4, 2], counter-clockwise from
    the west (start) end's right-hand corner."""
    grid = scan.frame.grid
    along, across = grid.centre(*divmod(int(scan.index[item]), grid.cols))
    u = np.array([-0.5, 0.5, 0.5, -0.5]) * scan.house.length_m
    v = np.array([-0.5, -0.5, 0.5, 0.5]) * scan.house.width_m
    return np.column_stack(grid.to_map(along + u, across + v))


def _overlapping(scan: Scan, corners: np.ndarray) -> np.ndarray:
    """Packed positions of the scan's placements whose footprint overlaps the given one."""
    grid, house = scan.frame.grid, scan.house
    outline = np.column_stack(grid.from_map(corners[:, 0], corners[:, 1]))
    place = Lattice(grid.west_m, grid.north_m, grid.cell_m, *grid.shape)
    spans = overlapping_centres(outline, house.length_m / 2, house.width_m / 2, place)
    start = np.searchsorted(scan.index, spans[:, 0] * grid.cols + spans[:, 1])
    stop = np.searchsorted(scan.index, spans[:, 0] * grid.cols + spans[:, 2])
    return np.concatenate([np.arange(a, b) for a, b in zip(start, stop, strict=True)] or [np.empty(0, np.int64)])
