"""Two rankings side by side: places that appear in both, changes of rank and score, settings that differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

LEAST_OVERLAP = 0.5  # of the smaller footprint: two candidates are the same place


@dataclass(frozen=True)
class Pair:
    """A place of one run and its counterpart in the other; None where it has none. `overlap` is the shared area as a
    share of the smaller footprint; `score_change` is second minus first."""

    rank_a: int | None
    rank_b: int | None
    overlap: float
    score_change: float | None


def paired(first, scores_a: Sequence[float], second, scores_b: Sequence[float]) -> list[Pair]:
    """Match the footprints of two rankings, largest overlap first, each at most once.

    Arguments: first, second, shapely polygons in one projected coordinate system, in order of rank; scores of each.
    Return: pairs in order of the first ranking, then what only the second holds.
    """
    a, b = np.asarray(first, object), np.asarray(second, object)
    share = np.zeros((len(a), len(b)))
    if len(a) and len(b):
        least = np.minimum(shapely.area(a)[:, None], shapely.area(b)[None, :])
        share = shapely.area(shapely.intersection(a[:, None], b[None, :])) / least
    match: dict[int, int] = {}
    for flat in np.argsort(-share, axis=None, kind="stable"):
        i, j = divmod(int(flat), len(b))
        if share[i, j] < LEAST_OVERLAP:
            break
        if i not in match and j not in match.values():
            match[i] = j
    pairs = [
        Pair(i + 1, match[i] + 1, float(share[i, match[i]]), float(scores_b[match[i]] - scores_a[i]))
        if i in match
        else Pair(i + 1, None, 0.0, None)
        for i in range(len(a))
    ]
    return pairs + [Pair(None, j + 1, 0.0, None) for j in range(len(b)) if j not in match.values()]


def differing(a: Mapping[str, Any], b: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
    """Settings whose values differ, as (first, second); None where one run does not state it."""
    return {key: (a.get(key), b.get(key)) for key in sorted({*a, *b}) if a.get(key) != b.get(key)}
