"""Places that are not in the list but would often be the best under other weights: every stored placement takes part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.decisions.compare import LEAST_OVERLAP
from tunnelsite.decisions.robustness import drawn_weights
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.judge import SCORE_STEP, footprint_corners

if TYPE_CHECKING:
    from tunnelsite.result import Result

PLACEMENTS_AT_ONCE = 4096  # with 1000 draws 33 MB of scores, whatever the size of the farm
LEAST_LOG = -1e6  # of a mark of 0 in a geometric mean: no weight that matters lets it score, and 0 x it is 0


@dataclass(frozen=True)
class Winner:
    """A place that is the best of all placements in some draws.

    Attributes: rank, of the listed candidate whose place it is, None = not in the list. scan, item: the placement that won
    most often there. share: of the draws. better: placements that score higher under the given weights.
    """

    rank: int | None
    scan: int
    item: int
    share: float
    better: int


def best_everywhere(result: Result, concentration: float = 50.0, draws: int = 500, seed: int = 1) -> list[Winner]:
    """Which place is the best of all when the weights are drawn at random, most often first.

    Arguments: result of a screening, or of a kept run; concentration, draws and seed, see `drawn_weights`.
    Return: winners; winning placements that share half of a footprint are one place, and it is a listed candidate's where it
    shares that much with the candidate. Shares sum to 1; nothing where no placement passed. With `combine` "lowest" weights
    do not grade, so the given order stays. Ties go to the placement that a screening would take.
    """
    weights = np.array([judge.rubric.weight for judge in result.judges])
    drawn = drawn_weights(weights, concentration, draws, seed)
    best, at = np.full(draws, -1), np.full((draws, 2), -1)
    for number, scan in enumerate(result.scans):
        for start in range(0, len(scan.index), PLACEMENTS_AT_ONCE):
            part = slice(start, start + PLACEMENTS_AT_ONCE)
            steps = _steps(_marks(scan, result.judges, part), drawn, result.settings.combine)
            top = steps.argmax(axis=1)
            value = steps[np.arange(draws), top]
            won = value > best
            best[won] = value[won]
            at[won] = np.column_stack([np.full(draws, number), start + top])[won]
    return _places(result, at[best >= 0], draws)


def _marks(scan: Scan, judges: list[Judge], part: slice) -> np.ndarray:
    return np.stack([judge.rubric.marks(scan.measures[judge.id][part].astype(np.float64)) for judge in judges])


def _steps(marks: np.ndarray, drawn: np.ndarray, way: str) -> np.ndarray:
    """Scores in whole steps, so that rounding decides nothing: int64 [draws, n], -1 where nothing was assessed."""
    assessed = ~np.isnan(marks)
    if way == "lowest":
        counted = drawn.any(axis=0)
        share = np.where(assessed, marks, np.inf)[counted].min(axis=0, initial=np.inf)
        share = np.broadcast_to(share, (len(drawn), marks.shape[1]))
        known = np.isfinite(share)
    else:
        values = np.where(assessed, marks, 1.0)
        if way == "geometric":
            values = np.log(values, out=np.full(values.shape, LEAST_LOG), where=values > 0)
        total = drawn @ np.where(assessed, values, 0.0)
        weight = np.broadcast_to(1.0, total.shape) if assessed.all() else drawn @ assessed
        known = weight > 0
        share = np.divide(total, weight, out=np.zeros_like(total), where=known)
        if way == "geometric":
            share = np.exp(share)
    return np.where(known, np.round(100 / SCORE_STEP * np.where(known, share, 0.0)), -1).astype(np.int64)


def _places(result: Result, at: np.ndarray, draws: int) -> list[Winner]:
    """Winning placements gathered into places."""
    if not len(at):
        return []
    kinds, count = np.unique(at, axis=0, return_counts=True)
    order = np.argsort(-count, kind="stable")
    listed = [_footprint(result, choice.scan, choice.item) for choice in result.choices]
    heads: list[tuple[int, int]] = []
    shapes: list[shapely.Geometry] = []
    shares: dict[tuple[int, int], int] = {}
    ranks: dict[tuple[int, int], int | None] = {}
    for k in order:
        scan, item = (int(value) for value in kinds[k])
        shape = _footprint(result, scan, item)
        rank = _same_place(shape, listed)
        head = _same_place(shape, shapes) if rank is None else None
        if rank is not None:
            key = next((one for one, known in ranks.items() if known == rank + 1), (scan, item))
        else:
            key = heads[head] if head is not None else (scan, item)
        if key not in shares:
            shares[key], ranks[key] = 0, None if rank is None else rank + 1
            if rank is None:
                heads.append(key)
                shapes.append(shape)
        shares[key] += int(count[k])
    found = [Winner(ranks[key], *key, number / draws, _better(result, *key)) for key, number in shares.items()]
    return sorted(found, key=lambda winner: -winner.share)


def _footprint(result: Result, scan: int, item: int) -> shapely.Geometry:
    """The footprint on the ground, in the map coordinates that all bearings share."""
    return shapely.polygons(footprint_corners(result.scans[scan], item))


def _same_place(shape: shapely.Geometry, others: list[shapely.Geometry]) -> int | None:
    if not others:
        return None
    least = np.minimum(shapely.area(shape), shapely.area(others))
    share = shapely.area(shapely.intersection(shape, np.array(others, object))) / least
    return int(np.argmax(share)) if share.max() >= LEAST_OVERLAP else None


def _better(result: Result, scan: int, item: int) -> int:
    own = result.scored[scan][item]
    return sum(int((values > own + SCORE_STEP / 2).sum()) for values in result.scored)
