"""The best compact block: houses in rows on one parcel, each a gap or an aisle from the next; every position is tried."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tunnelsite.core.errors import UsageError
from tunnelsite.plans.layout.defaults import AISLE_M, GIVE_POINTS

MOST_ROWS = 2  # of a small block: one row, or two along one aisle; more only for blocks that would be longer than wide
NOWHERE = -1e6  # score of a place where no house can stand


@dataclass(frozen=True)
class BlockRules:
    """What a compact block has to keep. houses: how many at most. side_gap_m, between long sides; aisle_m, between the ends of two
    rows and along one end of a single row [m]. give: mean points that cheaper trenches may cost."""

    houses: int
    side_gap_m: float
    aisle_m: float = AISLE_M
    give: float = GIVE_POINTS

    def __post_init__(self) -> None:
        if not (
            1 <= self.houses <= 1000 and 0 <= self.side_gap_m < 1000 and 0 <= self.aisle_m < 1000 and self.give >= 0
        ):
            raise UsageError(
                f"{self}", "1 to 1000 houses, gaps and aisles of 0 to 1000 m, 0 or more points", "correct it"
            )


@dataclass(frozen=True)
class BlockGround:
    """What is known of every cell as the middle of one house, along columns and across rows.

    Attributes: score, float64 [rows, cols], NaN = no house can stand there; trench_cost, float64 [rows, cols], of a trench from there
    to the services, None = without prices; aisle(rows of cells, cells along), bool [rows, cols]: a strip of that size with its
    middle there is clear; pitch, cells from one house to the next across and along; size, cells of a house across and along.
    """

    score: np.ndarray
    trench_cost: np.ndarray | None
    aisle: Callable[[int, int], np.ndarray]
    pitch: tuple[int, int]
    size: tuple[int, int]


@dataclass(frozen=True)
class FoundBlock:
    """A block. cells: row and column of each house, int64 [n, 2]. across, along: houses side by side, and rows of them. score: total.
    best_score: no block of as many houses scores more in total. cost: of the trunk, 0 without prices."""

    cells: np.ndarray
    across: int
    along: int
    score: float
    best_score: float
    cost: float


def arrangements(houses: int) -> list[tuple[int, int]]:
    """(side by side, rows): one row or two along an aisle, more rows only where a block of many houses asks for them."""
    rows = range(1, max(MOST_ROWS, math.isqrt(houses)) + 1)
    found = [(-(-houses // along), along) for along in rows if along <= houses]
    return [(across, along) for across, along in found if across * (along - 1) < houses]


def best_compact(ground: BlockGround, rules: BlockRules) -> FoundBlock | None:
    """The best block with as many houses as there is room for; None where not one house can stand.

    Every position of every arrangement is tried, so the answer is exact for blocks whose houses stand a whole number of cells apart.
    Without trench costs it has the highest total score; with them it is the cheapest of those within `give` points a house of it.
    Slots may stay empty where an arrangement has more of them than houses.
    """
    for houses in range(min(rules.houses, int(np.isfinite(ground.score).sum())), 0, -1):
        best: tuple[float, FoundBlock] | None = None
        total = -math.inf
        for plan in arrangements(houses):
            worth, _ = _worth(ground, rules, plan, houses)
            total = max(total, float(worth.max(initial=-math.inf)))
        if total < 0:
            continue
        for plan in arrangements(houses):
            worth, cost = _worth(ground, rules, plan, houses)
            able = worth >= total - (rules.give * houses if ground.trench_cost is not None else 0.0) - 1e-9
            if not able.any():
                continue
            rank = np.where(able, cost - 1e-9 * np.maximum(worth, 0.0), np.inf)  # of equal costs the higher score
            at = np.unravel_index(int(np.argmin(rank)), rank.shape)
            if best is None or rank[at] < best[0]:
                cells = _cells(ground, plan, at, houses)
                best = float(rank[at]), FoundBlock(cells, *plan, float(worth[at]), total, float(cost[at]))
        if best is not None:
            return best[1]
    return None


def _slots(ground: BlockGround, plan: tuple[int, int]) -> Iterator[tuple[int, int]]:
    """Offset [cells] of each slot from the first one, north-west."""
    for i in range(plan[0]):
        for j in range(plan[1]):
            yield i * ground.pitch[0], j * ground.pitch[1]


def _shape(ground: BlockGround, plan: tuple[int, int]) -> tuple[int, int]:
    rows, cols = ground.score.shape
    return max(rows - (plan[0] - 1) * ground.pitch[0], 0), max(cols - (plan[1] - 1) * ground.pitch[1], 0)


def _worth(ground: BlockGround, rules: BlockRules, plan: tuple[int, int], houses: int) -> tuple[np.ndarray, np.ndarray]:
    """Total score of the best `houses` slots and trunk cost, for each place of the first slot; below 0 = no block there."""
    shape, empty = _shape(ground, plan), plan[0] * plan[1] - houses
    total, worst = np.zeros(shape), np.full((empty, *shape), np.inf)  # worst: the slots that stay empty
    cost = np.full(shape, np.inf if ground.trench_cost is not None else 0.0)
    for down, right in _slots(ground, plan):
        part = (slice(down, down + shape[0]), slice(right, right + shape[1]))
        value = np.where(np.isfinite(ground.score[part]), ground.score[part], NOWHERE)
        total += value
        for k in range(empty):
            worst[k], value = np.minimum(worst[k], value), np.maximum(worst[k], value)
        if ground.trench_cost is not None:
            cost = np.minimum(cost, np.where(np.isfinite(ground.score[part]), ground.trench_cost[part], np.inf))
    total -= worst.sum(axis=0)
    if houses > 1:
        total[~_reached(ground, rules, plan, shape)] = NOWHERE
    return total, cost


def _reached(ground: BlockGround, rules: BlockRules, plan: tuple[int, int], shape: tuple[int, int]) -> np.ndarray:
    """Where machines reach every house: clear aisles between rows, or along one end of a single row."""
    if rules.aisle_m <= 0 or not min(shape):
        return np.ones(shape, bool)
    deep, wide = (plan[0] - 1) * ground.pitch[0] + ground.size[0], ground.pitch[1] - ground.size[1]
    clear, down = ground.aisle(deep, wide), (plan[0] - 1) * ground.pitch[0] // 2
    cols = clear.shape[1]

    def seen(right: int) -> np.ndarray:
        found = np.zeros(shape, bool)
        left, stop = max(-right, 0), min(shape[1], cols - right)
        if left < stop:
            found[:, left:stop] = clear[down : down + shape[0], left + right : stop + right]
        return found

    half = -(-ground.pitch[1] // 2)
    if plan[1] == 1:
        either: np.ndarray = seen(half) | seen(-half)
        return either
    values: np.ndarray = np.logical_and.reduce(
        [seen(j * ground.pitch[1] + ground.pitch[1] // 2) for j in range(plan[1] - 1)]
    )
    return values


def _cells(ground: BlockGround, plan: tuple[int, int], at: Sequence[np.intp], houses: int) -> np.ndarray:
    """Row and column of the best slots of a block."""
    cells = np.array([(at[0] + down, at[1] + right) for down, right in _slots(ground, plan)], np.int64)
    score = np.nan_to_num(ground.score[tuple(cells.T)], nan=NOWHERE)
    return cells[np.sort(np.argsort(-score, kind="stable")[:houses])]
