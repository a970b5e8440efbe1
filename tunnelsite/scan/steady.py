"""The steady score: what a house is worth that may stand a little off the place where it was planned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.kernels.disc_mean import disc_means, disc_weights
from tunnelsite.scan.engine import STRIP_CELLS, STRIP_ROWS, Judge, Scan
from tunnelsite.scan.marks import marks_of

SCORE_STEP = 1e-6  # scores closer than this are equal, so that rounding in the last bit never decides a rank
NEARLY = 0.95  # of its score: a house that may move so far loses nothing that a planner would mind (ours)
FARTHEST_M = 30.0  # room to shift is not looked for beyond this: about one house length


def steady_scores(scan: Scan, scored: np.ndarray, shift_m: float) -> np.ndarray:
    """Mean score over shifts of the house up to `shift_m` in any direction.

    Arguments: scan; scored, expected score 0-100 at the exact place of each stored placement, float64 [n], NaN = nothing
    assessed; shift_m [m], 0 = the exact place only.
    Return: float64 [n], in whole steps of 1e-6; NaN where `scored` is. A placement that a limit or missing data rejected counts 0;
    places outside the parcel's open ground are left out, since a tape keeps the house inside those.
    """
    grid, store = scan.frame.grid, scan.frame.store
    radius = shift_m / grid.cell_m
    reach = len(disc_weights(radius)) // 2
    if reach == 0:
        return scored
    result = store.empty(scan.index.shape, np.float64)
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
        means = disc_means(worth, owner, radius)
        steady = means.flat[scan.index[own] - rows[0] * grid.cols]
        result[own] = np.round(steady / SCORE_STEP) * SCORE_STEP
        store.rest()
    return store.kept(result)


@dataclass(frozen=True)
class Nearby:
    """Open ground within a shift of one placement.

    Attributes: items, int64 [n], stored placements there; weights, float64 [n], area of each inside the disc [cells];
    rejected, the same of open places that a limit or missing data rejected.
    """

    items: np.ndarray
    weights: np.ndarray
    rejected: float


def nearby(scan: Scan, item: int, shift_m: float) -> Nearby:
    """What lies within a shift of a stored placement, on the open ground of its own parcel."""
    grid = scan.frame.grid
    weights = disc_weights(shift_m / grid.cell_m)
    reach = len(weights) // 2
    row, col = divmod(int(scan.index[item]), grid.cols)
    down, right = (axis.ravel() for axis in np.mgrid[-reach : reach + 1, -reach : reach + 1])
    rows, cols = row + down, col + right
    there = (rows >= 0) & (rows < grid.rows) & (cols >= 0) & (cols < grid.cols) & (weights.ravel() > 0)
    rows, cols, area = rows[there], cols[there], weights.ravel()[there]
    mine = scan.ground.owner[rows, cols] == scan.owner[item]
    index, area = rows[mine] * np.int64(grid.cols) + cols[mine], area[mine]
    at = np.searchsorted(scan.index, index)
    stored = np.append(scan.index, -1)[at] == index
    return Nearby(at[stored], area[stored], float(area[~stored].sum()))


def steady_marks(scan: Scan, item: int, judges: list[Judge], shift_m: float) -> np.ndarray:
    """Mark of each criterion over the shifts of a placement, float64 [criteria], NaN = not assessed: their weighted mean is the
    steady score. Where a limit rejects, every criterion counts 0."""
    near = nearby(scan, item, shift_m)
    found = np.full(len(judges), np.nan)
    for k, judge in enumerate(judges):
        marks = marks_of(scan, judge, near.items)
        known = np.isfinite(marks)
        if known.any() and np.isfinite(marks[near.items == item]).all():
            found[k] = (near.weights * marks)[known].sum() / (near.weights[known].sum() + near.rejected)
    return found


def lowest_score(scan: Scan, scored: np.ndarray, item: int, shift_m: float) -> float:
    """Lowest score 0-100 within the shift of a placement; 0 where a limit or missing data rejects."""
    near = nearby(scan, item, shift_m)
    return 0.0 if near.rejected > 0 else float(np.nanmin(scored[near.items]))


def room_to_shift(scan: Scan, scored: np.ndarray, item: int, score: float) -> float:
    """How far [m] a placement can move in any direction and still be offered with 95 % of its score.

    Arguments: scan; scored, at the exact places; item; score, its own, 0-100.
    Return: distance to the nearest cell that is not open ground of its parcel, is rejected or scores less, less half a cell;
    at most 30 m are looked at.
    """
    grid = scan.frame.grid
    row, col = divmod(int(scan.index[item]), grid.cols)
    reach = int(np.ceil(FARTHEST_M / grid.cell_m))
    rows = np.arange(row - reach, row + reach + 1)
    cols = np.arange(col - reach, col + reach + 1)
    good = np.zeros((rows.size, cols.size), bool)
    for k, one in enumerate(rows):
        if not 0 <= one < grid.rows:
            continue
        first, last = (
            one * np.int64(grid.cols) + max(cols[0], 0),
            one * np.int64(grid.cols) + min(cols[-1], grid.cols - 1),
        )
        part = slice(*np.searchsorted(scan.index, [first, last + 1]))
        fine = (scored[part] >= NEARLY * score) & (scan.owner[part] == scan.owner[item])
        good[k, scan.index[part][fine] - one * np.int64(grid.cols) - cols[0]] = True
    away = np.hypot(rows[:, None] - row, cols - col) * grid.cell_m
    nearest = away[~good].min(initial=FARTHEST_M + grid.cell_m / 2)
    return float(max(min(nearest - grid.cell_m / 2, FARTHEST_M), 0.0))
