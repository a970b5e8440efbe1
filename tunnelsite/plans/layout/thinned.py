"""Blocks of houses among very many candidates: thinned where that is needed, with a bound that holds for all of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tunnelsite.plans.layout.bounds import Quota, first_of_each, greedy_block, score_bounds
from tunnelsite.plans.layout.packing import Layout, LayoutRules, ScoredPlacements, best_layout, grown_rectangles

MOST = (
    2_000  # candidates the solver answers for in seconds; with more it gives worse blocks in the same time (measured)
)
POLISHES = 6


@dataclass(frozen=True)
class ThinnedLayout:
    """The block and how it was found.

    Attributes:
        layout: indices refer to all placements; its bounds hold for all of them.
        given, tried: candidates before, and those the solver saw.
        boxes: side of the boxes of which only the best candidate was tried [cells]; 1 = none was left out.
    """

    layout: Layout
    given: int
    tried: int
    boxes: int


def thinned_layout(placements: ScoredPlacements, rules: LayoutRules, cell_m: float, most: int = MOST) -> ThinnedLayout:
    """The best block of houses, or a good one and a bound on how much better any other can be.

    Candidates that no best block can hold are left out first (exact). Where more than `most` remain, only the best one
    of each box of k x k cells is tried, and the block found is improved among all candidates near it. The bound is that
    of a relaxed problem: every box with the best score in it, its house smaller by k - 1 cells each way. Whatever houses
    keep their distance, so do the smaller ones in the middle of their boxes, so no block of the full problem scores
    above the best block of the relaxed one.

    Arguments: placements on a lattice of `cell_m` [m]; rules; most, candidates for the solver.
    Errors: as `best_layout`.
    """
    if rules.of_size:  # bounds count on no more houses than all sizes together may have
        rules = replace(rules, houses=min(rules.houses, max(sum(rules.of_size), 1)))
    if rules.way == "houses":
        by_score = thinned_layout(placements, replace(rules, way="score"), cell_m, most)
        if len(by_score.layout.chosen) == rules.houses:  # no layout has more houses, and none scores higher
            return by_score
    kept, greedy, ceiling = _possible(placements, rules)
    if rules.way == "houses":  # a block with more houses may hold any candidate
        kept = np.arange(len(placements))
    if len(kept) <= most or placements.width_m.min() < 2 * cell_m:  # too narrow to be made smaller
        found = best_layout(placements.part(kept), rules)
        return ThinnedLayout(replace(found, chosen=kept[found.chosen]), len(placements), len(kept), 1)
    part = placements.part(kept)
    place = np.full(len(placements), -1)
    place[kept] = np.arange(len(kept))
    widest = int(min(part.width_m.min(), part.length_m.min()) / cell_m) - 1
    for k in range(2, max(widest, 2) + 1):
        best, boxes = _boxed(part, cell_m, k)
        if len(best) <= most:
            break
    half = replace(rules, time_limit_s=rules.time_limit_s / 2)
    found = best_layout(part.part(best), half)
    start = replace(found, chosen=best[found.chosen])
    if (place[greedy] >= 0).all():
        start = max(
            start,
            replace(found, chosen=place[greedy], score=float(placements.score[greedy].sum())),
            key=lambda one: (len(one.chosen) if rules.way == "houses" else 0, one.score),
        )
    found = _polished(part, start, half, k * cell_m)
    bound = best_layout(_relaxed(part, best, boxes, cell_m, k), half)
    bound = replace(bound, score_bound=min(bound.score_bound, ceiling))
    return ThinnedLayout(_judged(found, bound, rules, kept), len(placements), len(best), k)


def _possible(placements: ScoredPlacements, rules: LayoutRules) -> tuple[np.ndarray, np.ndarray, float]:
    """Candidates that a block of the highest score may hold, as in `best_layout`, a sound block, and a bound on scores."""
    if not len(placements):
        return np.empty(0, int), np.empty(0, int), 0.0
    low, high = grown_rectangles(placements, rules)
    kept = first_of_each(low, high, placements.size, placements.score)
    quota = Quota(rules.houses, rules.of_size)
    block = kept[greedy_block(low[kept], high[kept], placements.size[kept], placements.score[kept], quota)]
    ceiling, best_with = score_bounds(low[kept], high[kept], placements.score[kept], rules.houses)
    return kept[best_with >= placements.score[block].sum() - 1e-9], block, ceiling


def _boxed(part: ScoredPlacements, cell_m: float, k: int) -> tuple[np.ndarray, np.ndarray]:
    """Index of the best candidate of each box and size, and the box (along, across) it lies in, in whole boxes."""
    at = np.column_stack([part.along_m - part.along_m.min(), part.across_m - part.across_m.min()])
    boxes = np.floor(np.rint(at / cell_m) / k + 1e-9).astype(np.int64)
    order = np.argsort(-part.score, kind="stable")
    _, first = np.unique(np.column_stack([boxes, part.size])[order], axis=0, return_index=True)
    best = np.sort(order[first])
    return best, boxes[best]


def _relaxed(part: ScoredPlacements, best: np.ndarray, boxes: np.ndarray, cell_m: float, k: int) -> ScoredPlacements:
    """One candidate a box, in its middle, smaller by k - 1 cells, with the best score in the box."""
    middle = (boxes * k + (k - 1) / 2) * cell_m
    smaller = (k - 1) * cell_m
    chosen = part.part(best)
    return replace(
        chosen,
        along_m=part.along_m.min() + middle[:, 0],
        across_m=part.across_m.min() + middle[:, 1],
        length_m=chosen.length_m - smaller,
        width_m=chosen.width_m - smaller,
    )


def _polished(part: ScoredPlacements, found: Layout, rules: LayoutRules, near_m: float) -> Layout:
    """The block moved to the best of all candidates round its houses, as long as that helps."""
    for _ in range(POLISHES):
        close = np.zeros(len(part), bool)
        for one in found.chosen:
            close |= (np.abs(part.along_m - part.along_m[one]) <= near_m) & (
                np.abs(part.across_m - part.across_m[one]) <= near_m
            )
        near = np.flatnonzero(close)
        if not len(near):
            return found
        again = best_layout(part.part(near), rules)
        if (len(again.chosen), again.score) <= (len(found.chosen), found.score + 1e-9):
            return found
        found = replace(again, chosen=near[again.chosen])
    return found


def _judged(found: Layout, bound: Layout, rules: LayoutRules, kept: np.ndarray) -> Layout:
    """The block with the relaxed problem's bounds, which hold for every block, and words for them."""
    top = max(bound.score_bound, found.score)
    houses = len(found.chosen)
    proven = rules.way == "score" and top <= found.score + 1e-6 * max(1.0, found.score)
    shown = f"{houses} house{'s' if houses != 1 else ''}, total score {found.score:.2f}"
    if proven:
        words = f"{shown}: proven best."
    else:
        more = 100 * (top - found.score) / max(found.score, 1e-9)
        words = f"{shown}: not proven best; no block scores above {top:.2f} ({more:.1f} % more)"
        if rules.way == "houses" and bound.houses_bound > houses:
            words += f", none has more than {bound.houses_bound} houses"
        words += "."
    most = bound.houses_bound if rules.way == "houses" else found.houses_bound
    return Layout(kept[found.chosen], found.score, most, top, proven, found.seconds + bound.seconds, words)
