"""Marks of placements: what each measure is worth on average over its error."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Truth
from tunnelsite.core.rubric import Rubric
from tunnelsite.kernels.expected import expected_marks
from tunnelsite.scan.engine import Judge, Scan


def marks_of(scan: Scan, judge: Judge, items: slice | np.ndarray) -> np.ndarray:
    """Marks 0..1 of stored placements, float64 [n]; NaN = not assessed. Arguments: scan; judge; items, packed placements."""
    truth = scan.truths.get(judge.id)
    measure = _at(scan, scan.measures[judge.id], items).astype(np.float64)
    known = None if truth is None else Truth(*(_at(scan, column, items) for column in truth))
    return marks_from(judge.rubric, measure, known)


def _at(scan: Scan, column: np.ndarray, items: slice | np.ndarray) -> np.ndarray:
    """Values of a column. Places strewn over it draw nearly all of it into memory: no other is there meanwhile."""
    if isinstance(items, slice):
        return column[items]
    scan.frame.store.rest()
    values: np.ndarray = column[items]
    scan.frame.store.rest()
    return values


def marks_from(rubric: Rubric, measure: np.ndarray, truth: Truth | None) -> np.ndarray:
    """The same from a measure and what is known of its true value; `truth` None = the measure is exact."""
    if truth is None:
        return rubric.marks(measure)
    marks = expected_marks(truth.mean, truth.se, rubric.full_at, rubric.none_at)
    return np.where(np.isnan(measure), np.nan, marks)
