"""The best block of houses on given open ground: exact set packing, with its proof or the gap that is left."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from scipy import optimize, sparse

from tunnelsite.core.errors import UsageError
from tunnelsite.plans.layout.bounds import Quota, first_of_each, greedy_block, score_bounds
from tunnelsite.plans.layout.cliques import STEP_M, maximal_cliques
from tunnelsite.plans.layout.defaults import GAP_M

WAYS = ("score", "houses")  # highest total score | most houses first, then score


@dataclass(frozen=True)
class ScoredPlacements:
    """Candidate placements of one ridge bearing; sizes may mix.

    Attributes:
        along_m, across_m: centres [n] [m]. length_m, width_m: footprints [n] [m].
        score: [n], more is better, not negative. size: which size each one is, whole numbers from 0 [n].
        shade_left_m, shade_right_m: gap that each house needs on the left and right of its ridge so as to shade
        no other house [n] [m], from `shade_gap.clear_gap_m`; 0 = no shade rule.
    """

    along_m: np.ndarray
    across_m: np.ndarray
    length_m: np.ndarray
    width_m: np.ndarray
    score: np.ndarray
    size: np.ndarray
    shade_left_m: np.ndarray
    shade_right_m: np.ndarray

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            values = np.asarray(getattr(self, name), float)
            if values.ndim != 1 or len(values) != len(self.along_m) or not np.isfinite(values).all():
                raise UsageError(f"{name} of the placements", "one finite number for each placement", "correct it")
            if name not in ("along_m", "across_m") and (values < 0).any():
                raise UsageError(f"{name} of the placements is negative", "0 or more", "correct it")
            object.__setattr__(self, name, values.astype(int) if name == "size" else values)
        if (self.length_m <= 0).any() or (self.width_m <= 0).any():
            raise UsageError("a placement without length or width", "footprints of real houses", "correct it")

    def __len__(self) -> int:
        return len(self.along_m)

    def part(self, which: np.ndarray) -> ScoredPlacements:
        """Some of the placements."""
        return ScoredPlacements(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class LayoutRules:
    """What a block has to keep.

    Attributes:
        houses: how many at most. of_size: how many at most of each size, () = no limit.
        side_gap_m, end_gap_m: clear between long sides and between ends [m].
        way: `score` (highest total) or `houses` (most houses, then the highest total). time_limit_s: for the solver,
        about [s].
    """

    houses: int
    of_size: tuple[int, ...] = ()
    side_gap_m: float = GAP_M
    end_gap_m: float = GAP_M
    way: str = "score"
    time_limit_s: float = 60.0

    def __post_init__(self) -> None:
        gaps = (self.side_gap_m, self.end_gap_m)
        if not (self.houses >= 1 and all(0 <= gap < 1000 for gap in gaps) and self.time_limit_s > 0):
            raise UsageError(
                f"{self.houses} houses, gaps {gaps} m, {self.time_limit_s} s",
                "at least one house, gaps of 0 to 1000 m, a time limit above 0",
                "correct the rules",
            )
        if self.way not in WAYS or min(self.of_size, default=0) < 0:
            raise UsageError(f"{self.way!r}, {self.of_size} of each size", " or ".join(WAYS), "correct the rules")


@dataclass(frozen=True)
class Layout:
    """The houses chosen.

    Attributes:
        chosen: indices into the placements, in order. score: their total.
        houses_bound, score_bound: no block can have more houses, or (with as many houses) a higher total.
        proven: whether this block is the best there is. seconds: time taken. verdict: in words.
    """

    chosen: np.ndarray
    score: float
    houses_bound: int
    score_bound: float
    proven: bool
    seconds: float
    verdict: str


def best_layout(placements: ScoredPlacements, rules: LayoutRules) -> Layout:
    """The best set of houses that keep their gaps.

    Two houses go together if they lie apart by the end gap along the ridge, or across it by the largest of the side
    gap, what
    the one on the right shades to its left, and what the one on the left shades to its right. (Shade beyond a house's
    end is not
    counted.) Where houses of different sizes shade to BOTH sides, the largest right-hand gap is asked of all: safe, but
    then a better block may exist. Otherwise the answer is exact.

    Arguments: placements; rules.
    Errors: ResourceShortage for more candidates than can be handled, UsageError from the parts.
    Source: weighted set packing with all maximal clique inequalities, solved by HiGHS (scipy.optimize.milp);
    candidates are
    left out beforehand only where no best block can hold them (see `layout_bounds`). The solver looks at its clock
    now and
    then only and may overrun the limit on large problems.
    """
    start = time.perf_counter()
    if not len(placements):
        return Layout(np.empty(0, int), 0.0, 0, 0.0, True, 0.0, "No candidate placement.")
    low, high = grown_rectangles(placements, rules)
    quota = Quota(rules.houses, rules.of_size)
    kept = first_of_each(low, high, placements.size, placements.score)
    fallback = kept[greedy_block(low[kept], high[kept], placements.size[kept], placements.score[kept], quota)]
    ceiling, best_with = score_bounds(low[kept], high[kept], placements.score[kept], rules.houses)
    if rules.way == "score":
        kept = kept[best_with >= placements.score[fallback].sum() - 1e-9]
    part, cliques = placements.part(kept), maximal_cliques(low[kept], high[kept])
    limits = _limits(part, rules, cliques)
    if rules.way == "houses":
        count = _solve(np.ones(len(part)), limits, rules.time_limit_s / 2)
        most = int(np.floor(count.bound + 1e-6))
        fewest = max(len(fallback), 0 if count.chosen is None else len(count.chosen))
        limits.append(optimize.LinearConstraint(np.ones((1, len(part))), fewest, np.inf))
        best = _solve(part.score, limits, rules.time_limit_s / 2)
        options = [fallback, *(kept[found.chosen] for found in (count, best) if found.chosen is not None)]
        chosen = max(options, key=lambda one: (len(one), placements.score[one].sum()))
        counted = len(chosen) == most
    else:
        best = _solve(part.score, limits, rules.time_limit_s)
        options = [fallback, *([] if best.chosen is None else [kept[best.chosen]])]
        chosen = max(options, key=lambda one: placements.score[one].sum())
        most, counted = min(rules.houses, len(placements)), True
    chosen = np.sort(chosen)
    _check(chosen, placements, rules, low, high)
    total = float(placements.score[chosen].sum())
    proven = counted and min(best.bound, ceiling) <= total + 1e-6 * max(1.0, abs(total))
    bound = total if proven else min(best.bound, ceiling)
    words = _verdict(len(chosen), most if rules.way == "houses" else None, total, bound, proven)
    return Layout(chosen, total, most, bound, proven, time.perf_counter() - start, words)


def grown_rectangles(placements: ScoredPlacements, rules: LayoutRules) -> tuple[np.ndarray, np.ndarray]:
    """Rectangles that overlap exactly where two houses stand too close: low, high corners float64 [n, 2] [m]."""
    left, right = placements.shade_left_m, placements.shade_right_m
    gap = rules.side_gap_m
    # Needed between i (right) and j (left of it): max(gap, left_i, right_j). A sum of two parts only if right_j is
    # one value.
    gap = max(gap, float(right.max()))
    half = np.column_stack([placements.length_m + rules.end_gap_m, placements.width_m + gap]) / 2
    centre = np.column_stack([placements.along_m, placements.across_m])
    high = centre + half
    high[:, 1] += np.maximum(left - gap, 0.0)
    return centre - half, high


def _limits(part: ScoredPlacements, rules: LayoutRules, cliques: sparse.csr_array) -> list[optimize.LinearConstraint]:
    limits = [
        optimize.LinearConstraint(cliques, -np.inf, 1.0),
        optimize.LinearConstraint(np.ones((1, len(part))), -np.inf, rules.houses),
    ]
    for size, most in enumerate(rules.of_size):
        limits.append(optimize.LinearConstraint((part.size == size)[None].astype(float), -np.inf, most))
    return limits


@dataclass(frozen=True)
class _Solved:
    chosen: np.ndarray | None
    bound: float


def _solve(worth: np.ndarray, limits: list[optimize.LinearConstraint], time_limit_s: float) -> _Solved:
    found = optimize.milp(
        -worth, constraints=limits, bounds=optimize.Bounds(0, 1), integrality=np.ones(len(worth)),
        options={"time_limit": float(time_limit_s), "mip_rel_gap": 0.0},
    )  # fmt: skip
    chosen = None if found.x is None else np.flatnonzero(found.x > 0.5)
    bound = found.mip_dual_bound
    # Out of time before the first bound: all that is known is that no sum is larger than that of everything.
    bound = float(worth.sum()) if bound is None or not np.isfinite(bound) else -float(bound)
    return _Solved(chosen, bound)


def _check(
    chosen: np.ndarray, placements: ScoredPlacements, rules: LayoutRules, low: np.ndarray, high: np.ndarray
) -> None:
    """The solver works with tolerances; the block is tested again, pair by pair."""
    apart = (
        (low[chosen][:, None] >= high[chosen] - 2 * STEP_M) | (high[chosen][:, None] <= low[chosen] + 2 * STEP_M)
    ).any(2)
    np.fill_diagonal(apart, True)
    counts = [int((placements.size[chosen] == size).sum()) for size in range(len(rules.of_size))]
    if not apart.all() or len(chosen) > rules.houses or any(np.array(counts) > np.array(rules.of_size)):
        raise ArithmeticError("the solver returned a block that breaks its rules")


def _verdict(houses: int, most: int | None, total: float, bound: float, proven: bool) -> str:
    shown = f"{houses} house{'s' if houses != 1 else ''}, total score {total:.2f}"
    if proven:
        return f"{shown}: proven best among the candidates given."
    gap = f"no block scores above {bound:.2f} ({100 * (bound - total) / max(total, 1e-9):.1f} % more)"
    more = f"; no block has more than {most} houses" if most is not None and most > houses else ""
    return f"{shown}: the time ran out before it was proven best; {gap}{more}."
