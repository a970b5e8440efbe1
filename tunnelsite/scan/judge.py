"""Marks become a score at every place; see `scan.steady` for the score that ranks and `scan.ranking` for the ranking."""

from __future__ import annotations

import numpy as np

from tunnelsite.scan.combine import combined
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.marks import marks_of
from tunnelsite.scan.steady import SCORE_STEP


def scores(scan: Scan, judges: list[Judge], combine: str = "mean") -> np.ndarray:
    """Expected score 0-100 of every placement where it stands: 100 x the combined marks over what was assessed; NaN if nothing was.

    Arguments: scan; judges; combine, see `scan.combine.combined`.
    Return: float64 [n], in whole steps of 1e-6, so that ties are ties.
    """
    weighted = [judge for judge in judges if judge.rubric.weight > 0]
    result = scan.frame.store.empty(scan.index.shape, np.float64)
    for part in scan.frame.store.pieces(len(result)):  # so that memory does not grow with the placements
        if combine == "mean":
            share = _weighted_mean(scan, weighted, part)
        else:
            marks = np.stack([marks_of(scan, judge, part) for judge in weighted])
            share = combined(marks, np.array([judge.rubric.weight for judge in weighted]), combine)
        result[part] = np.round(100.0 * share / SCORE_STEP) * SCORE_STEP
    return result


def _weighted_mean(scan: Scan, weighted: list[Judge], part: slice) -> np.ndarray:
    """The same as `combined(..., "mean")`, one criterion at a time."""
    total = np.zeros(len(scan.index[part]))
    weight = np.zeros(len(total))
    for judge in weighted:
        marks = marks_of(scan, judge, part)
        assessed = ~np.isnan(marks)
        total += np.where(assessed, judge.rubric.weight * marks, 0.0)  # to add to some of an array takes far longer
        weight += judge.rubric.weight * assessed
    found: np.ndarray = np.divide(total, weight, out=np.full(len(total), np.nan), where=weight > 0)
    return found
