"""A good block to start from, and bounds that show which candidates no best block can hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.plans.layout.cliques import STEP_M

STARTS = 64  # greedy blocks that are tried, each from another first house
OFFSETS = 8  # ways in which the ground is divided along each axis


@dataclass(frozen=True)
class Quota:
    """How many houses at most, and of each size; () = no limit by size."""

    houses: int
    of_size: tuple[int, ...] = ()

    def of(self, size: int) -> int:
        """How many houses of one size."""
        return self.of_size[size] if size < len(self.of_size) else self.houses


def first_of_each(low: np.ndarray, high: np.ndarray, size: np.ndarray, score: np.ndarray) -> np.ndarray:
    """Indices of the best candidate of each size at each place: another of the same kind can always be exchanged for
    it.

    Arguments: low, high [n, 2], grown rectangles [m]; size, score [n].
    """
    keys = np.column_stack([np.rint(low / STEP_M), np.rint(high / STEP_M), size]).astype(np.int64)
    order = np.argsort(-score, kind="stable")
    _, where = np.unique(keys[order], axis=0, return_index=True)
    return np.sort(order[where])


def greedy_block(low: np.ndarray, high: np.ndarray, size: np.ndarray, score: np.ndarray, quota: Quota) -> np.ndarray:
    """Indices of a sound block, the best of several that take the highest score first, each begun with another house.

    Arguments: low, high [n, 2], grown rectangles [m]; size, score [n]; quota.
    """
    order = np.argsort(-score, kind="stable")
    low, high = np.asfortranarray(low[order]), np.asfortranarray(high[order])
    size, score = size[order], score[order]
    best, most = np.empty(0, int), -1.0
    # Starts spread over the whole list: the best spots lie side by side and give the same block.
    for start in np.unique(
        np.linspace(0, len(score) - 1, min(STARTS, len(score))).astype(int) ** 2 // max(len(score) - 1, 1)
    ):
        block = _exchanged(_greedy_from(int(start), low, high, size, quota), low, high, size, score)
        total = float(score[block].sum())
        if total > most:
            best, most = block, total
    return order[best]


def _greedy_from(start: int, low: np.ndarray, high: np.ndarray, size: np.ndarray, quota: Quota) -> np.ndarray:
    free = np.ones(len(low), bool)
    left = {kind: quota.of(int(kind)) for kind in np.unique(size)}
    for kind, count in left.items():
        if count == 0:
            free &= size != kind
    chosen: list[int] = []
    item = start if free[start] else int(np.argmax(free))
    while free.any() and len(chosen) < quota.houses:
        chosen.append(item)
        left[size[item]] -= 1
        free &= _apart(low, high, item)
        free[item] = False
        if left[size[item]] == 0:
            free &= size != size[item]
        item = int(np.argmax(free))  # sorted: the first free one scores highest
    return np.array(chosen, int)


def _exchanged(block: np.ndarray, low: np.ndarray, high: np.ndarray, size: np.ndarray, score: np.ndarray) -> np.ndarray:
    """The block after single houses have been exchanged for better ones of their size, as long as that helps."""
    block = block.copy()
    clash = np.array([~_apart(low, high, item) for item in block], bool).reshape(len(block), len(score))
    count = clash.sum(0)
    better = True
    while better:
        better = False
        for k in range(len(block)):
            # Open to an exchange: what clashes with no other house; sorted, so the first is the best.
            able = (count == clash[k]) & (size == size[block[k]])
            best = int(np.argmax(able))
            if able[best] and score[best] > score[block[k]]:
                count -= clash[k]
                block[k], clash[k], better = best, ~_apart(low, high, best), True
                count += clash[k]
    return block


def _apart(low: np.ndarray, high: np.ndarray, item: int) -> np.ndarray:
    """Which rectangles do not overlap one of them."""
    east = (low[:, 0] >= high[item, 0] - STEP_M) | (high[:, 0] <= low[item, 0] + STEP_M)
    found: np.ndarray = east | (low[:, 1] >= high[item, 1] - STEP_M) | (high[:, 1] <= low[item, 1] + STEP_M)
    return found


def score_bounds(low: np.ndarray, high: np.ndarray, score: np.ndarray, houses: int) -> tuple[float, np.ndarray]:
    """Upper bounds on the total score of a block, over all and for a block that holds a given candidate.

    The ground is divided into boxes no larger than the smallest grown rectangle: candidates whose low corners share a
    box
    overlap, so a block takes one from each box at most, and no more than the sum of the best boxes. Several divisions
    are
    tried and the lowest bound kept. Exact reasoning: a candidate whose bound lies below a block at hand is in no best
    block.

    Arguments: low, high [n, 2], grown rectangles [m]; score [n], not negative; houses, how many at most.
    Returns: bound over all; bound for each candidate [n].
    """
    # Two rectangles overlap if each starts less than the other's size after it: so less than the smallest size apart
    # will do.
    side = (high - low).min(0) - 4 * STEP_M
    overall, with_each = np.inf, np.full(len(score), np.inf)
    origin = low.min(0)
    for east in range(OFFSETS):
        for north in range(OFFSETS):
            offset = side * np.array([east, north]) / OFFSETS
            box = np.floor((low - origin + offset) / side).astype(np.int64)
            _, which = np.unique(box, axis=0, return_inverse=True)
            which = which.ravel()
            best = np.zeros(which.max() + 1)
            np.maximum.at(best, which, score)
            order = np.argsort(-best, kind="stable")
            top = best[order]
            overall = min(overall, float(top[:houses].sum()))
            place = np.empty(len(order), int)
            place[order] = np.arange(len(order))
            # The best others: the first houses - 1 boxes, or one more where the candidate's own box is among them.
            others = np.where(place < houses - 1, top[:houses].sum() - best, top[: houses - 1].sum())
            np.minimum(with_each, score + others[which], out=with_each)
    return overall, with_each
