"""How often each candidate takes each rank when weights and elevation errors are drawn at random together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.criterion import Criterion
from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.errors import UsageError
from tunnelsite.core.site import Frame
from tunnelsite.decisions.drawn_ground import Drawn, drawn_measures, ground_only
from tunnelsite.decisions.robustness import (
    TOLERANCE,
    both_within,
    candidate_marks,
    drawn_weights,
    ranks_of,
    weighted_means,
)
from tunnelsite.scan.combine import WAYS, combined
from tunnelsite.scan.marks import marks_of
from tunnelsite.scan.pitch_error import PitchError, pitch_error, stated_error

if TYPE_CHECKING:
    from tunnelsite.result import Result

INTERVAL = (0.05, 0.95)


@dataclass(frozen=True)
class DrawPlan:
    """What is drawn: errors of the elevations, of standard deviation `sd_m` and range `range_m` [m], None = not stated; `draws`,
    `seed`, `concentration` of the weights (see `drawn_weights`), `k` of the top."""

    sd_m: float | None = None
    range_m: float | None = None
    draws: int = 500
    seed: int = 1
    concentration: float = 50.0
    k: int = 3


@dataclass(frozen=True)
class RankShares:
    """Shares of draws for the candidates in the order of the ranking (n of them).

    Attributes:
        shares: rank acceptability, float64 [n, n]: how often candidate i takes rank r + 1.
        first, top: how often at rank 1, and among the best k. out: how often a limit rejects it on the drawn ground; a
            candidate that is out takes no rank.
        first_by_weights, first_by_errors: rank 1 where weights alone, or errors alone, are drawn.
        mean_rank: over the draws in which it is not out, NaN where it always is.
        score_low, score_high: its score 0-100 in 5 and 95 % of all draws.
        within: how often both slopes of the ground are within 1/192. within_exact: the same in closed form.
        pitch_sd_pct: standard deviations [%] of the slopes along and across, [n, 2], in closed form.
        errors: of the ground of each candidate.
        redrawn: criteria that were measured again on the drawn grounds.
    """

    plan: DrawPlan
    shares: np.ndarray
    first: np.ndarray
    top: np.ndarray
    out: np.ndarray
    first_by_weights: np.ndarray
    first_by_errors: np.ndarray
    mean_rank: np.ndarray
    score_low: np.ndarray
    score_high: np.ndarray
    within: np.ndarray
    within_exact: np.ndarray
    pitch_sd_pct: np.ndarray
    errors: tuple[PitchError, ...]
    redrawn: tuple[str, ...]


def rank_shares(result: Result, criteria: Sequence[Criterion], plan: DrawPlan) -> RankShares:
    """Draw grounds and weights, measure, mark and rank the candidates again each time.

    Arguments: result of a screening, or of a kept run; criteria of the catalogue, of which those that read the ground and
    nothing else are measured again; what else a run measures (water, sun, distances) stays as it is. plan.
    Errors: UsageError where there is no candidate.
    Source: rank acceptability index of SMAA-2 [@smaa-2].
    """
    if not result.choices:
        raise UsageError("the run has no candidates", "a run with at least one", "screen again with other limits")
    judges = ground_only(result.judges, criteria)
    chosen = [(result.scans[choice.scan], choice.item) for choice in result.choices]
    errors = [
        pitch_error(
            scan.frame, scan.house, divmod(int(scan.index[item]), scan.frame.grid.cols), _stated(scan.frame, plan)
        )
        for scan, item in chosen
    ]
    drawn = drawn_measures(chosen, errors, judges, (plan.draws, plan.seed), result.settings.pad_pitch)
    marks, beyond = _marks(result, judges, drawn)
    weights = np.array([judge.rubric.weight for judge in result.judges])
    random = drawn_weights(weights, plan.concentration, plan.draws, plan.seed)
    way = result.settings.combine
    both = ranked_scores(marks, random, way, beyond)
    lone = ranked_scores(candidate_marks(result)[None], random, way)
    fixed = ranked_scores(marks, np.broadcast_to(weights / weights.sum(), random.shape), way, beyond)
    ranks, scores = ranks_of(both), np.where(np.isfinite(both), 100 * both, np.nan)
    ranks = np.where(beyond, 0, ranks)
    count = len(chosen)
    shares = np.stack([(ranks == rank).mean(axis=0) for rank in range(1, count + 1)], axis=1)
    placed = ranks > 0
    within = (np.abs(drawn.slope_along) <= TOLERANCE) & (np.abs(drawn.slope_across) <= TOLERANCE)
    return RankShares(
        plan,
        shares,
        shares[:, 0],
        shares[:, : plan.k].sum(axis=1),
        beyond.mean(axis=0),
        (ranks_of(lone) == 1).mean(axis=0),
        np.where(beyond, 0, ranks_of(fixed) == 1).mean(axis=0),
        np.divide(ranks.sum(axis=0), placed.sum(axis=0), out=np.full(count, np.nan), where=placed.any(axis=0)),
        *_interval(scores),
        within.mean(axis=0),
        np.array([both_within(row, error.both) for row, error in zip(result.rows, errors, strict=True)]),
        100 * np.array([error.both for error in errors]),
        tuple(errors),
        tuple(judge.id for judge in judges),
    )


def ranked_scores(marks: np.ndarray, weights: np.ndarray, way: str, beyond: np.ndarray | None = None) -> np.ndarray:
    """Scores 0..1 [draws, n] by one of the ways to combine marks; -inf where nothing was assessed or a limit rejects.

    Arguments: marks [draws or 1, criteria, n]; weights [draws, criteria]; way, of `combined`; beyond, bool [draws, n].
    """
    if way not in WAYS:
        raise ValueError(f"combine is {way!r}; one of {', '.join(WAYS)} is expected")
    if way == "mean":
        scores = weighted_means(marks, weights)
    else:
        each = np.broadcast_to(marks, (len(weights), *marks.shape[1:]))
        found = [combined(one, row, way) for one, row in zip(each, weights, strict=True)]
        scores = np.where(np.isnan(found), -np.inf, found)
    return scores if beyond is None else np.where(beyond, -np.inf, scores)


def _marks(result: Result, judges, drawn: Drawn) -> tuple[np.ndarray, np.ndarray]:
    """Marks [draws, criteria, n] with the criteria measured again in their places; what a limit rejects [draws, n].

    A mark is that over the shifts of the house, moved by what the drawn ground makes of the mark at the exact place.
    """
    fixed = candidate_marks(result)
    marks = np.repeat(fixed[None], len(drawn.slope_along), axis=0)
    beyond = np.zeros(drawn.slope_along.shape, bool)
    place = {judge.id: k for k, judge in enumerate(result.judges)}
    for judge in judges:
        measure = drawn.measures[judge.id]
        here = [marks_of(result.scans[c.scan], judge, np.array([c.item]))[0] for c in result.choices]
        marks[:, place[judge.id]] = np.clip(marks[:, place[judge.id]] + judge.rubric.marks(measure) - here, 0.0, 1.0)
        beyond |= judge.rubric.beyond(measure)
    return marks, beyond


def _stated(frame: Frame, plan: DrawPlan) -> ErrorModel:
    """The error of the elevations as the plan states it; what it leaves open is that of the run."""
    if plan.sd_m is None and plan.range_m is None and frame.error is not None:
        return frame.error
    return stated_error(frame, plan.sd_m, plan.range_m)


def _interval(scores: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    found = np.full((2, scores.shape[1]), np.nan)
    for k, column in enumerate(scores.T):
        known = column[np.isfinite(column)]
        if len(known):
            found[:, k] = np.quantile(known, INTERVAL)
    return found[0], found[1]
