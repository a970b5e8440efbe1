"""How often each candidate takes each rank when weights and elevation errors are drawn at random together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tunnelsite.core.criterion import Criterion
from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.errors import UsageError
from tunnelsite.core.site import Frame
from tunnelsite.scan.combine import UNKNOWN_MARK, WAYS, combined
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.firmness.drawn_ground import Drawn, drawn_measures, reading_only
from tunnelsite.scan.firmness.drawn_water import FLOW, Wet, drawn_water
from tunnelsite.scan.firmness.other_weights import (
    TOLERANCE,
    both_within,
    candidates_over_shifts,
    drawn_weights,
    weighted_means,
)
from tunnelsite.scan.marks import marks_of
from tunnelsite.scan.pitch_error import PitchError, pitch_error, stated_error
from tunnelsite.scan.ranked_run import RankedRun

INTERVAL = (0.05, 0.95)
HIGH = 0.9  # share of the drawn grounds with less water
WET_FIRST = 10  # options round which water is routed again; those farther down hardly ever come first


@dataclass(frozen=True)
class DrawPlan:
    """What is drawn: errors of the elevations, of standard deviation `sd_m` and range `range_m` [m], None = not stated; `draws`,
    `seed`, `concentration` of the weights (see `drawn_weights`), `k` of the top."""

    sd_m: float | None = None
    range_m: float | None = None
    draws: int = 200
    seed: int = 1
    concentration: float = 50.0
    k: int = 3


@dataclass(frozen=True)
class RankShares:
    """Shares of draws for the candidates in the order of the ranking (n of them).

    Attributes:
        shares: rank acceptability, float64 [n, n]: how often candidate i takes rank r + 1; equal scores share their ranks.
        first, top: how often at rank 1, and among the best k. out: how often a limit rejects it on the drawn ground; a
            candidate that is out takes no rank. behind: how often it stays behind candidate 1, equal scores half.
        first_by_weights, first_by_errors: rank 1 where weights alone, or errors alone, are drawn.
        mean_rank: over the draws in which it is not out, NaN where it always is.
        score_low, score_high: its score 0-100 in 5 and 95 % of all draws.
        score_mean: its mean score 0-100 over the drawn grounds, weights as given; 0 where a limit rejects it.
        wet_high: by criterion on water, what it measures at the exact place on no more than one drawn ground in ten, float64 [n],
            NaN where water was not routed again.
        within: how often both slopes of the ground are within 1/192. within_exact: the same in closed form.
        pitch_sd_pct: standard deviations [%] of the slopes along and across, [n, 2], in closed form.
        flags: what a reader should not miss of each candidate, joined by `; `.
        errors: of the ground of each candidate.
        redrawn: criteria that were measured again on the drawn grounds. spread: criteria whose true values were drawn round
            their measures, by their standard errors.
    """

    plan: DrawPlan
    shares: np.ndarray
    first: np.ndarray
    top: np.ndarray
    out: np.ndarray
    behind: np.ndarray
    first_by_weights: np.ndarray
    first_by_errors: np.ndarray
    mean_rank: np.ndarray
    score_low: np.ndarray
    score_high: np.ndarray
    score_mean: np.ndarray
    wet_high: Mapping[str, np.ndarray]
    within: np.ndarray
    within_exact: np.ndarray
    pitch_sd_pct: np.ndarray
    flags: tuple[str, ...]
    errors: tuple[PitchError, ...]
    redrawn: tuple[str, ...]
    spread: tuple[str, ...]


def rank_shares(result: RankedRun, criteria: Sequence[Criterion], plan: DrawPlan) -> RankShares:
    """Draw grounds and weights, measure, mark and rank the candidates again each time.

    Arguments: result of a screening, or of a kept run; criteria of the catalogue, of which those that read the ground and
    nothing else are measured again, and round the first ten those on water, for which flow is routed again. What else has a
    standard error is drawn by it; the rest of what a run measures (sun, distances) stays as it is. plan.
    Errors: UsageError where there is no candidate.
    Source: rank acceptability index of SMAA-2 [@smaa-2].
    """
    if not result.choices:
        raise UsageError("the run has no candidates", "a run with at least one", "screen again with other limits")
    errors = _errors(result, plan)
    redrawn = _redrawn(result, criteria)
    drawn = _drawn(result, errors, redrawn, plan)
    weights = np.array([judge.rubric.weight for judge in result.judges])
    random = drawn_weights(weights, plan.concentration, plan.draws, plan.seed)
    way, beyond = result.settings.combine, drawn.beyond
    both = ranked_scores(drawn.marks, random, way, beyond)
    lone = ranked_scores(candidates_over_shifts(result).counted.T[None], random, way)
    fixed = ranked_scores(drawn.marks, np.broadcast_to(weights / weights.sum(), random.shape), way, beyond)
    shares, mean_rank = acceptability(both)
    within = (np.abs(drawn.pads.slope_along) <= TOLERANCE) & (np.abs(drawn.pads.slope_across) <= TOLERANCE)
    rounded = np.round(both, 8)
    return RankShares(
        plan,
        shares,
        shares[:, 0],
        shares[:, : plan.k].sum(axis=1),
        beyond.mean(axis=0),
        ((rounded < rounded[:, :1]) + 0.5 * (rounded == rounded[:, :1])).mean(axis=0),
        acceptability(lone)[0][:, 0],
        acceptability(fixed)[0][:, 0],
        mean_rank,
        *_interval(np.where(np.isfinite(both), 100 * both, np.nan)),
        np.where(np.isfinite(fixed), 100 * fixed, 0.0).mean(axis=0),
        drawn.wet_high,
        within.mean(axis=0),
        np.array([both_within(row, error.both) for row, error in zip(result.rows, errors, strict=True)]),
        100 * np.array([error.both for error in errors]),
        tuple(row["flags"] for row in result.rows),
        tuple(errors),
        tuple(judge.id for judge in redrawn),
        drawn.spread,
    )


def acceptability(scores: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rank acceptability of scores [draws, n], -inf = takes no rank: shares [n, n], and mean rank [n], NaN = never takes one.

    Scores equal to eight decimals share the ranks that they take together.
    """
    draws, count = scores.shape
    shares, ranks = np.zeros((count, count + 1)), np.full((draws, count), np.nan)
    for draw, row in enumerate(np.round(scores, 8)):
        values, place, equal = np.unique(-row, return_inverse=True, return_counts=True)
        before = (np.cumsum(equal) - equal)[place]
        placed = np.flatnonzero(np.isfinite(values[place]))
        part = 1.0 / equal[place[placed]]
        shares[placed, before[placed]] += part
        shares[placed, before[placed] + equal[place[placed]]] -= part
        ranks[draw, placed] = before[placed] + (equal[place[placed]] + 1) / 2
    known = np.isfinite(ranks)
    total = np.where(known, ranks, 0.0).sum(axis=0)
    mean = np.divide(total, known.sum(axis=0), out=np.full(count, np.nan), where=known.any(axis=0))
    return np.cumsum(shares, axis=1)[:, :-1] / draws, mean


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


@dataclass(frozen=True)
class _DrawnMarks:
    """Marks [draws, criteria, n] on drawn grounds; what a limit rejects there, bool [draws, n]; measures of the pads; criteria
    drawn by their standard errors; `RankShares.wet_high`."""

    marks: np.ndarray
    beyond: np.ndarray
    pads: Drawn
    spread: tuple[str, ...]
    wet_high: Mapping[str, np.ndarray]


def _redrawn(result: RankedRun, criteria: Sequence[Criterion]) -> list[Judge]:
    """Criteria that are measured again: those of the pad's ground, and those of its water where the run kept what that takes."""
    wet = all(name in scan.frame.layers for scan in result.scans for name in FLOW)
    return reading_only(result.judges, criteria, FLOW[:3] if wet else ("ground",))


def _drawn(result: RankedRun, errors: list[PitchError], redrawn: list[Judge], plan: DrawPlan) -> _DrawnMarks:
    """Marks with the criteria measured again in their places.

    A mark is that over the shifts of the house, moved by what the drawn ground makes of the mark at the exact place; on water
    the mark over the shifts is itself taken on the drawn ground. For spots where a mark is not known it is drawn by `unknown_marks`.
    """
    draws = (plan.draws, plan.seed)
    chosen = [(result.scans[choice.scan], choice.item) for choice in result.choices]
    dry = [judge for judge in redrawn if [spec.id for spec in judge.criterion.description.reads] == ["ground"]]
    wet = [judge for judge in redrawn if judge not in dry]
    pads = drawn_measures(chosen, errors, dry, draws, result.settings.pad_pitch)
    water = drawn_water(chosen[:WET_FIRST], errors[:WET_FIRST], wet, draws, result.settings) if wet else {}
    numbers = np.random.default_rng((plan.seed, 1))
    steady = candidates_over_shifts(result)
    marks = np.repeat(steady.counted.T[None], plan.draws, axis=0)
    unknown = np.repeat(steady.unknown.T[None], plan.draws, axis=0)
    beyond = np.zeros(marks.shape[::2], bool)
    spread = []
    rows = zip(result.judges, np.moveaxis(marks, 1, 0), np.moveaxis(unknown, 1, 0), strict=True)
    for judge, place, share in rows:
        if judge.id in water:
            _soak(place, share, water[judge.id])
            beyond[:, : len(chosen[:WET_FIRST])] |= judge.rubric.beyond(water[judge.id].measure)
        elif judge.id in pads.measures:
            measure = pads.measures[judge.id]
            _move(place, share, judge.rubric.marks(measure) - _marks_here(result, judge))
            beyond |= judge.rubric.beyond(measure)
        elif any(judge.id in scan.truths for scan, _ in chosen):
            true = np.array([_truth(scan, judge.id, item) for scan, item in chosen])
            value = true[:, 0] + true[:, 1] * numbers.standard_normal(place.shape)
            _move(place, share, judge.rubric.marks(value) - _marks_here(result, judge))
            beyond |= judge.rubric.beyond(value)
            spread.append(judge.id)
    marks += (unknown_marks(len(result.judges), plan)[..., None] - UNKNOWN_MARK) * unknown
    high = {name: _high(found.measure, len(chosen)) for name, found in water.items()}
    return _DrawnMarks(marks, beyond, pads, tuple(spread), high)


def unknown_marks(criteria: int, plan: DrawPlan) -> np.ndarray:
    """Marks of what the data do not show, float64 [draws, criteria]: between none and full, evenly, for all options alike, since what
    is not known of several is mostly the same water or soil."""
    steps = np.tile((np.arange(plan.draws) + 0.5) / plan.draws, (criteria, 1))
    return np.random.default_rng((plan.seed, 2)).permuted(steps, axis=1).T


def _move(place: np.ndarray, unknown: np.ndarray, by: np.ndarray) -> None:
    """Move the marks of one criterion [draws, n], of which a share is that of spots where it is not known; NaN moves nothing."""
    half = UNKNOWN_MARK * unknown
    place[:] = half + np.clip(place - half + (1.0 - unknown) * np.nan_to_num(by), 0.0, 1.0 - unknown)


def _soak(place: np.ndarray, unknown: np.ndarray, wet: Wet) -> None:
    """Put marks of water on drawn grounds, and their unknown shares, into those of one criterion [draws, n]; `wet` is of the first few."""
    first, known = wet.mark.shape[1], np.isfinite(wet.mark)
    for whole, part in ((place, wet.mark), (unknown, wet.unknown)):
        whole[:, :first] = np.where(known, part, whole[:, :first])


def _high(measures: np.ndarray, count: int) -> np.ndarray:
    """What the measures [draws, the first few of count] exceed in one draw of ten [count]; NaN where they are not known in all."""
    found = np.full(count, np.nan)
    found[: measures.shape[1]] = np.quantile(measures, HIGH, axis=0)
    return found


def _marks_here(result: RankedRun, judge: Judge) -> np.ndarray:
    """Marks of the candidates at their exact places [n]."""
    return np.array([marks_of(result.scans[c.scan], judge, np.array([c.item]))[0] for c in result.choices])


def _truth(scan: Scan, name: str, item: int) -> tuple[float, float]:
    """Mean and standard error of the true value of a measure."""
    truth = scan.truths[name]
    return float(truth.mean[item]), float(truth.se[item])


def _errors(result: RankedRun, plan: DrawPlan) -> list[PitchError]:
    """How far the ground of each candidate may be off."""
    found = []
    for choice in result.choices:
        scan = result.scans[choice.scan]
        at = divmod(int(scan.index[choice.item]), scan.frame.grid.cols)
        found.append(pitch_error(scan.frame, scan.house, at, _stated(scan.frame, plan)))
    return found


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
