"""Marks of several criteria become one share; which candidates no other candidate beats on every mark."""

from __future__ import annotations

import numpy as np

WAYS = ("mean", "geometric", "lowest")


def combined(marks: np.ndarray, weights: np.ndarray, way: str = "mean") -> np.ndarray:
    """Combine marks over the criteria that were assessed.

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
    assessed = ~np.isnan(marks)
    some = assessed.any(axis=0)
    if way == "lowest":
        return np.where(some, np.min(np.where(assessed, marks, np.inf), axis=0, initial=np.inf), np.nan)
    total = np.sum(weights * assessed, axis=0)
    values = np.where(assessed, marks, 1.0)
    if way == "geometric":
        with np.errstate(divide="ignore"):
            values = np.log(values)
    summed = np.sum(np.where(assessed, weights * values, 0.0), axis=0)
    share = np.divide(summed, total, out=np.full(total.shape, np.nan), where=some)
    found: np.ndarray = np.exp(share) if way == "geometric" else share
    return found


def dominance(marks: np.ndarray) -> np.ndarray:
    """Pareto front: True where no other candidate is at least as good on every mark and better on one.

    Arguments: marks, float [criteria, n]. A pair is compared on the marks both have; a pair with none in common is not.
    Return: bool [n]. With gaps "beats" is not transitive, so every member of a ring may be beaten.
    """
    marks = np.asarray(marks, np.float64)
    front = np.ones(marks.shape[1], bool)
    for item in range(marks.shape[1]):
        mine = marks[:, item, None]
        common = ~np.isnan(marks) & ~np.isnan(mine)
        worse = (common & (marks < mine)).any(axis=0)
        better = (common & (marks > mine)).any(axis=0)
        front[item] = not (better & ~worse).any()
    return front
