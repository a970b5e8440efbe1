"""Whether a place stands on a dam, a levee or the bank of a road or railway: level ground, and none to build on."""

from __future__ import annotations

import numpy as np

from tunnelsite.core import amounts
from tunnelsite.scan.engine import Scan

WITHIN_M = 30.0  # to either side of the house's middle: the crest of a bank is hardly wider than a road with its shoulders (ours)
LEAST_M = 2.0  # that the ground falls within that distance; less is a field's rise or a headland (ours)
RUNS_ON = (
    0.5  # of that fall by which the crest may rise or fall over the same distance: a knoll falls on all sides (ours)
)
WAYS = 8  # directions in which it may run


def embankment_words(scan: Scan, row: int, col: int) -> str:
    """Whether the middle of a placement stands on a bank that runs on level, in words, empty where not. Arguments: row, col, of its middle.

    Such ground falls away on both sides and runs on between them. No map of roads is needed to see it, but one tells more.
    """
    fall_m = fall_beside(scan.frame.ground, row, col, scan.frame.grid.cell_m)
    if fall_m < LEAST_M:
        return ""
    feet = scan.house.feet
    within = amounts.away(WITHIN_M, feet=feet)
    return (
        f"may be a dam, a levee or the bank of a road or railway: it runs on level and falls {amounts.away(fall_m, feet=feet)} on both "
        f"sides within {within}"
    )


def fall_beside(ground: np.ndarray, row: int, col: int, cell_m: float) -> float:
    """How far [m] the ground falls on both sides of a cell, the lesser of the two, where it runs on level between them; 0 = it does not,
    or is not known. Arguments: ground, float32 [rows, cols] [m]; row; col; cell_m."""
    turn, away = np.arange(WAYS) * np.pi / WAYS, np.arange(1, int(WITHIN_M / cell_m) + 1)
    down, right = (
        row + np.outer(np.sin(turn), away).round().astype(int),
        col + np.outer(np.cos(turn), away).round().astype(int),
    )
    rows, cols = np.stack([down, 2 * row - down]), np.stack([right, 2 * col - right])  # [sides, ways, distances]
    known = (rows >= 0) & (rows < ground.shape[0]) & (cols >= 0) & (cols < ground.shape[1])
    rise = np.where(known, ground[np.where(known, rows, row), np.where(known, cols, col)] - ground[row, col], np.nan)
    falls = -np.fmin.reduce(rise, axis=2, initial=0.0).max(axis=0)
    runs_on = np.roll(np.abs(rise).max(axis=(0, 2)), -WAYS // 2) <= RUNS_ON * falls  # seen across
    return float(np.max(falls, where=runs_on, initial=0.0))
