"""Marks become a score at every place; see `scan.steady` for the score that ranks and `scan.ranking` for the ranking."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.scan.combine import combined, filled_marks
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.marks import marks_of
from tunnelsite.scan.steady import SCORE_STEP


@dataclass(frozen=True)
class ScoresHere:
    """Expected score 0-100 of every placement where it stands: 100 x the combined marks; NaN where no criterion is known.

    Indexed like an array, float64 [n], in whole steps of 1e-6, so that ties are ties. Scores are worked out where they are asked for:
    kept, they would take as much memory as two measures. Arguments: scan; judges; combine, see `scan.combine.combined`.
    """

    scan: Scan
    judges: list[Judge]
    combine: str = "mean"

    def __len__(self) -> int:
        return len(self.scan.index)

    def __getitem__(self, items: slice | np.ndarray | int) -> np.ndarray:
        if isinstance(items, slice) and items.step in (None, 1):
            first, stop, _ = items.indices(len(self))
            parts = self.scan.frame.store.pieces(stop - first)  # so that memory does not grow with the placements
            found = [self._scored(slice(first + part.start, min(first + part.stop, stop))) for part in parts]
            return np.concatenate(found) if found else np.empty(0)
        items = np.arange(len(self))[items] if isinstance(items, slice) else np.asarray(items)
        if items.dtype == np.bool_:
            items = np.flatnonzero(items)
        return self._scored(items.ravel()).reshape(items.shape)[()]

    def __array__(self, dtype: type | None = None, copy: bool | None = None) -> np.ndarray:
        return self[:].astype(dtype or np.float64, copy=False)

    def _scored(self, part: slice | np.ndarray) -> np.ndarray:
        weighted = [judge for judge in self.judges if judge.rubric.weight > 0]
        if self.combine == "mean":
            share = _weighted_mean(self.scan, weighted, part)
        else:
            marks = np.stack([marks_of(self.scan, judge, part) for judge in weighted])
            share = combined(marks, np.array([judge.rubric.weight for judge in weighted]), self.combine)
        found: np.ndarray = np.round(100.0 * share / SCORE_STEP) * SCORE_STEP
        return found


def _weighted_mean(scan: Scan, weighted: list[Judge], part: slice | np.ndarray) -> np.ndarray:
    """The same as `combined(..., "mean")`, one criterion at a time."""
    total = np.zeros(len(scan.index[part]))
    some = np.zeros(len(total), bool)
    for judge in weighted:
        marks = marks_of(scan, judge, part)
        some |= ~np.isnan(marks)
        total += judge.rubric.weight * filled_marks(marks)
    whole = sum(judge.rubric.weight for judge in weighted)
    found: np.ndarray = np.divide(total, whole, out=np.full(len(total), np.nan), where=some)
    return found
