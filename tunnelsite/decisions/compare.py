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


def in_words(pairs: Sequence[Pair]) -> str:
    """How far two rankings agree, in a sentence or two."""
    both = [pair for pair in pairs if pair.rank_a is not None and pair.rank_b is not None]
    first, second = (sum(getattr(pair, name) is not None for pair in pairs) for name in ("rank_a", "rank_b"))
    if not both:
        return f"no place is in both rankings ({first} and {second} candidates)"
    said = [
        f"{len(both)} {'place is' if len(both) == 1 else 'places are'} in both rankings ({first} and {second} candidates)"
    ]
    same = sum(pair.rank_a == pair.rank_b for pair in both)
    moved = max(both, key=lambda pair: abs(pair.rank_b - pair.rank_a))
    said.append(f"{same} keep{'s its' if same == 1 else ' their'} rank" if same < len(both) else "all keep their rank")
    if moved.rank_a != moved.rank_b:
        said.append(f"the largest move is from {moved.rank_a} to {moved.rank_b}")
    top = next((pair for pair in both if pair.rank_a == 1), None)
    if top is None:
        said.append("the first one's best place is not in the second")
    elif top.rank_b != 1:
        said.append(f"the first one's best place is {top.rank_b} in the second")
    return "; ".join(said)
