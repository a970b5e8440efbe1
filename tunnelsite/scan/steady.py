"""The steady score: what a house is worth that may stand a little off the place where it was planned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tunnelsite.kernels.disc_mean import disc_means, disc_weights
from tunnelsite.scan.combine import filled_marks
from tunnelsite.scan.engine import STRIP_CELLS, STRIP_ROWS, Judge, Scan
from tunnelsite.scan.marks import marks_of

SCORE_STEP = 1e-6  # scores closer than this are equal, so that rounding in the last bit never decides a rank
NEARLY = 0.95  # of its score: a house that may move so far loses nothing that a planner would mind (ours)
ROOM_CELLS = 1 << 20  # looked at together
FARTHEST_M = 30.0  # room to shift is not looked for beyond this: about one house length


class Scores(Protocol):
    """Scores of stored placements: an array, or what gives them as an array does (`scan.judge.ScoresHere`)."""

    def __getitem__(self, items: slice | np.ndarray, /) -> np.ndarray: ...


def steady_scores(scan: Scan, scored: Scores, shift_m: float) -> np.ndarray:
    """Mean score over shifts of the house up to `shift_m` in any direction.

    Arguments: scan; scored, expected score 0-100 at the exact place of each stored placement, float64 [n], NaN = nothing
    assessed; shift_m [m], 0 = the exact place only.
    Return: float64 [n], in whole steps of 1e-6; NaN where `scored` is. A placement that a limit or missing data rejected counts 0;
    places outside the parcel's open ground are left out, since a tape keeps the house inside those.
    """
    grid, store = scan.frame.grid, scan.frame.store
    radius = shift_m / grid.cell_m
    reach = len(disc_weights(radius)) // 2
    (result,) = store.columns([np.float64], len(scan.index))
    if reach == 0:
        for part in store.pieces(len(scan.index)):
            result.append(scored[part])
        return result.whole()
    step = max(1, STRIP_CELLS // grid.cols // STRIP_ROWS) * STRIP_ROWS
    for top in range(0, grid.rows, step):
        bottom = min(top + step, grid.rows)
        own = slice(*np.searchsorted(scan.index, [top * grid.cols, bottom * grid.cols]))
        if own.start == own.stop:
            continue
        rows = (max(top - reach, 0), min(bottom + reach, grid.rows))
        around = slice(*np.searchsorted(scan.index, [rows[0] * grid.cols, rows[1] * grid.cols]))
        owner = scan.ground.owner[rows[0] : rows[1]]
        worth = np.zeros(owner.shape)
        worth.flat[scan.index[around] - rows[0] * grid.cols] = scored[around]
        steady = disc_means(worth, owner, scan.index[own] - rows[0] * grid.cols, radius)
        result.append(np.round(steady / SCORE_STEP) * SCORE_STEP)
        store.rest()
    return result.whole()


@dataclass(frozen=True)
class Nearby:
    """Open ground within a shift of each of some placements.

    Attributes: items, int64 [m], stored placements there, those of the first placement first; of, int64 [m], rising: whose they are;
    weights, float64 [m], area of each inside the disc [cells]; rejected, float64 [n], area of the open places that a limit or missing data
    rejected.
    """

    items: np.ndarray
    of: np.ndarray
    weights: np.ndarray
    rejected: np.ndarray

    def sums(self, values: np.ndarray) -> np.ndarray:
        """Sums over what lies round each placement, float64 [n]. Arguments: values [m]."""
        return np.bincount(self.of, values, len(self.rejected))


def nearby(scan: Scan, items: np.ndarray, shift_m: float) -> Nearby:
    """What lies within a shift of stored placements, on the open ground of their own parcels. Arguments: items, int64 [n]; shift_m [m]."""
    grid = scan.frame.grid
    weights = disc_weights(shift_m / grid.cell_m)
    reach = len(weights) // 2
    row, col = np.divmod(scan.index[items], grid.cols)
    down, right = (axis.ravel() for axis in np.mgrid[-reach : reach + 1, -reach : reach + 1])
    rows, cols = row[:, None] + down, col[:, None] + right
    there = (rows >= 0) & (rows < grid.rows) & (cols >= 0) & (cols < grid.cols) & (weights.ravel() > 0)
    rows, cols = np.where(there, rows, 0), np.where(there, cols, 0)
    of, disc = np.nonzero(there & (scan.ground.owner[rows, cols] == scan.owner[items][:, None]))
    index, area = rows[of, disc] * np.int64(grid.cols) + cols[of, disc], weights.ravel()[disc]
    at = np.minimum(np.searchsorted(scan.index, index), len(scan.index) - 1)
    stored = scan.index[at] == index
    rejected = np.bincount(of[~stored], area[~stored], len(items))
    return Nearby(at[stored], of[stored], area[stored], rejected)


@dataclass(frozen=True)
class SteadyMarks:
    """Marks of placements over their shifts.

    Attributes: counted, float64 [n, criteria], what each criterion adds to the steady score, which is their weighted mean: half for
    spots where its mark is not known, 0 where a limit rejects; assessed, bool [n, criteria], whether it is known at the exact place;
    unknown, float64 [n, criteria], share of the spots where it is not known.
    """

    counted: np.ndarray
    assessed: np.ndarray
    unknown: np.ndarray

    @property
    def known(self) -> np.ndarray:
        """What counts where it was assessed, float64 [n, criteria], else NaN."""
        return np.where(self.assessed, self.counted, np.nan)

    def of(self, number: int) -> SteadyMarks:
        """Those of one placement, each [criteria]."""
        return SteadyMarks(self.counted[number], self.assessed[number], self.unknown[number])


def steady_marks(scan: Scan, items: np.ndarray, judges: list[Judge], shift_m: float) -> SteadyMarks:
    """Marks over the shifts of placements. Arguments: scan; items, int64 [n]; judges; shift_m [m]."""
    near = nearby(scan, items, shift_m)
    area = near.sums(near.weights) + near.rejected
    own = near.items == np.asarray(items)[near.of]
    shape = len(items), len(judges)
    found = SteadyMarks(np.empty(shape), np.empty(shape, bool), np.empty(shape))
    for k, judge in enumerate(judges):
        marks = marks_of(scan, judge, near.items)
        found.counted[:, k] = near.sums(near.weights * filled_marks(marks)) / area
        found.assessed[:, k] = near.sums(own & np.isfinite(marks)) > 0
        found.unknown[:, k] = near.sums(near.weights * np.isnan(marks)) / area
    return found


def lowest_scores(scan: Scan, scored: Scores, items: np.ndarray, shift_m: float) -> np.ndarray:
    """Lowest score 0-100 within the shift of placements, float64 [n]; 0 where a limit or missing data rejects."""
    near = nearby(scan, items, shift_m)
    lowest = np.full(len(items), np.nan)
    np.fmin.at(lowest, near.of, scored[near.items])
    return np.where(near.rejected > 0, 0.0, lowest)


def rooms_to_shift(scan: Scan, scored: Scores, items: np.ndarray, score: np.ndarray) -> np.ndarray:
    """How far [m] placements can move in any direction and still be offered with 95 % of their score.

    Arguments: scan; scored, at the exact places; items, int64 [n]; score, their own, 0-100, float64 [n].
    Return: float64 [n], distance to the nearest cell that is not open ground of its parcel, is rejected or scores less, less half a
    cell; at most 30 m are looked at.
    """
    grid = scan.frame.grid
    reach = _reach(scan)
    side = 2 * reach + 1
    apart = np.arange(-reach, reach + 1)
    away = (np.hypot(apart[:, None], apart) * grid.cell_m).ravel()
    order = np.argsort(away, kind="stable")
    order = order[away[order] <= FARTHEST_M + grid.cell_m / 2]
    ends = np.append(away[order], FARTHEST_M + grid.cell_m / 2)
    room = np.empty(len(items))
    step = max(ROOM_CELLS // side**2, 1)
    for first in range(0, len(items), step):
        part = slice(first, min(first + step, len(items)))
        good = _good_around(scan, scored, (items[part], score[part]), reach).reshape(-1, side**2)
        bad = ~good[:, order]
        nearest = np.where(bad.any(axis=1), bad.argmax(axis=1), len(order))
        room[part] = np.clip(ends[nearest] - grid.cell_m / 2, 0.0, FARTHEST_M)
    return room


def roomiest(scan: Scan, scored: Scores, items: np.ndarray) -> int:
    """Of placements with equal scores that which has most room to shift, the first of several; of very many, some all over are looked at.

    Arguments: scan; scored, by which the room is told; items, int64 [n], rising.
    """
    side = 2 * _reach(scan) + 1
    some = items[:: 1 + len(items) * side**2 // ROOM_CELLS]
    return int(some[np.argmax(rooms_to_shift(scan, scored, some, scored[some]))])


def _reach(scan: Scan) -> int:
    """How many cells room to shift is looked for to either side."""
    return int(np.ceil(FARTHEST_M / scan.frame.grid.cell_m))


def _good_around(scan: Scan, scored: Scores, ask: tuple[np.ndarray, np.ndarray], reach: int) -> np.ndarray:
    """bool [n, 2 * reach + 1, 2 * reach + 1]: cells round placements that are stored, of their parcel, and keep enough of their score.

    ask = (items, their scores)."""
    grid, (items, score) = scan.frame.grid, ask
    row, col = np.divmod(scan.index[items], grid.cols)
    rows = row[:, None] + np.arange(-reach, reach + 1)
    left, right = np.maximum(col - reach, 0)[:, None], np.minimum(col + reach, grid.cols - 1)[:, None]
    start, stop = (np.searchsorted(scan.index, rows * np.int64(grid.cols) + end) for end in (left, right + 1))
    outside = (rows < 0) | (rows >= grid.rows)
    count = np.where(outside, 0, stop - start).ravel()
    span = np.repeat(np.arange(count.size), count)
    stored = np.arange(len(span)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(start.ravel(), count)
    mine, down = np.divmod(span, 2 * reach + 1)
    fine = (scored[stored] >= NEARLY * score[mine]) & (scan.owner[stored] == scan.owner[items][mine])
    good = np.zeros((len(items), 2 * reach + 1, 2 * reach + 1), bool)
    mine, down, stored = mine[fine], down[fine], stored[fine]
    good[mine, down, scan.index[stored] % grid.cols - col[mine] + reach] = True
    return good
