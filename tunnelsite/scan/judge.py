"""Measures become marks, marks become a score; the best placements that do not overlap become the ranking."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tunnelsite.core.store import Store
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
    result = scan.frame.store.empty(scan.index.shape, np.float64)
    for part in scan.frame.store.pieces(len(result)):  # so that memory does not grow with the placements
        if combine == "mean":
            share = _weighted_mean(scan, weighted, part)
        else:
            marks = np.stack([_marks(scan, judge, part) for judge in weighted])
            share = combined(marks, np.array([judge.rubric.weight for judge in weighted]), combine)
        result[part] = np.round(100.0 * share / SCORE_STEP) * SCORE_STEP
    return result


def _marks(scan: Scan, judge: Judge, part: slice) -> np.ndarray:
    return judge.rubric.marks(scan.measures[judge.id][part].astype(np.float64))


def _weighted_mean(scan: Scan, weighted: list[Judge], part: slice) -> np.ndarray:
    """The same as `combined(..., "mean")`, one criterion at a time."""
    total = np.zeros(len(scan.index[part]))
    weight = np.zeros(len(total))
    for judge in weighted:
        marks = _marks(scan, judge, part)
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
    left = [Remaining(values, scan.frame.store) for scan, values in zip(scans, scored, strict=True)]
    chosen: list[Choice] = []
    while len(chosen) < top:
        best = [one.best() for one in left]
        worth = [score for _, score in best]
        if not worth or max(worth) == -np.inf:
            break
        pick = worth.index(max(worth))
        item = best[pick][0]
        if not sound(scans[pick], item):
            left[pick].drop(np.array([item]))
            continue
        chosen.append(Choice(pick, item, float(worth[pick])))
        corners = footprint_corners(scans[pick], item)
        for scan, one in zip(scans, left, strict=True):
            one.drop(_overlapping(scan, corners))
    return chosen


class Remaining:
    """Scores of the placements still to be had: only pieces that lost one are copied, and only they are searched again.

    Arguments: scored, float64 [n], NaN = not to be had; left as it is. store, where it lives.
    """

    def __init__(self, scored: np.ndarray, store: Store) -> None:
        self._scored, self._piece = scored, store.piece
        self._changed: dict[int, np.ndarray] = {}
        self._best = np.full((-(-len(scored) // self._piece), 2), -np.inf)  # score and place of each piece's first best
        for piece, part in enumerate(store.pieces(len(scored))):
            self._search(piece, scored[part])

    def _search(self, piece: int, values: np.ndarray) -> None:
        known = np.where(np.isnan(values), -np.inf, values)
        first = int(np.argmax(known))
        self._best[piece] = known[first], piece * self._piece + first

    def best(self) -> tuple[int, float]:
        """(place, score) of the first best placement left; (-1, -inf) where there is none."""
        if not len(self._best):
            return -1, -np.inf
        score, item = self._best[int(np.argmax(self._best[:, 0]))]
        return int(item), float(score)

    def drop(self, items: np.ndarray) -> None:
        """Put placements aside; items: int64, rising."""
        bounds = np.searchsorted(items, np.arange(len(self._best) + 1) * self._piece)
        for piece in np.flatnonzero(np.diff(bounds)):
            if piece not in self._changed:
                self._changed[piece] = self._scored[piece * self._piece : (piece + 1) * self._piece].copy()
            values = self._changed[piece]
            values[items[bounds[piece] : bounds[piece + 1]] - piece * self._piece] = -np.inf
            self._search(int(piece), values)


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
