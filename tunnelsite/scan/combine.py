"""Marks of several criteria become one share; which candidates no other candidate beats on every mark."""

from __future__ import annotations

import numpy as np

WAYS = ("mean", "geometric", "lowest")
# The middle of what an unknown mark may be; expected marks tend to it as the error of a measure grows.
UNKNOWN_MARK = 0.5


def filled_marks(marks: np.ndarray) -> np.ndarray:
    """Marks with half of full marks where they are not known, NaN, so that no place gains by what the data do not show."""
    return np.where(np.isnan(marks), UNKNOWN_MARK, marks)


def combined(marks: np.ndarray, weights: np.ndarray, way: str = "mean") -> np.ndarray:
    """Combine the marks of criteria; one that could not be assessed counts half.

    Arguments: marks, float [criteria, n], 0..1, NaN = not assessed; weights, float [criteria], 0 or more; way: `mean`
    (weighted arithmetic mean: good marks make up for bad ones), `geometric` (weighted geometric mean: no marks in one
    weighted criterion give 0) or `lowest` (lowest mark among criteria with a weight above 0; weights do not grade it).
    Return: float64 [n], 0..1, NaN where nothing with a weight was assessed. Errors: ValueError for another way.
    """
    if way not in WAYS:
        raise ValueError(f"combine is {way!r}; one of {', '.join(WAYS)} is expected")
    marks, weights = np.asarray(marks, np.float64), np.asarray(weights, np.float64)
    counted = weights > 0
    marks, weights = marks[counted], weights[counted, None]
    some = ~np.isnan(marks).all(axis=0)
    values = filled_marks(marks)
    if way == "lowest":
        return np.where(some, np.min(values, axis=0, initial=np.inf), np.nan)
    if way == "geometric":
        with np.errstate(divide="ignore"):
            values = np.log(values)
    share = np.divide(np.sum(weights * values, axis=0), weights.sum(), out=np.full(some.shape, np.nan), where=some)
    found: np.ndarray = np.exp(share) if way == "geometric" else share
    return found


def dominance(marks: np.ndarray) -> np.ndarray:
    """Pareto front: True where no other candidate is at least as good on every mark and better on one.

    Arguments: marks, float [criteria, n]. A mark that is known of one of a pair alone may be the better or the worse: then neither beats
    the other.
    Return: bool [n].
    """
    marks = np.asarray(marks, np.float64)
    front = np.ones(marks.shape[1], bool)
    for item in range(marks.shape[1]):
        mine = marks[:, item, None]
        alike = (np.isnan(marks) == np.isnan(mine)).all(axis=0)
        worse, better = (marks < mine).any(axis=0), (marks > mine).any(axis=0)
        front[item] = not (alike & better & ~worse).any()
    return front
