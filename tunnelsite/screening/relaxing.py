"""Where little passes: which limit costs most, what relaxing it would bring, and the least bad places all the same."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.rubric import Rubric
from tunnelsite.scan.engine import Judge, Scan, scanned
from tunnelsite.scan.judge import ScoresHere
from tunnelsite.scan.ranking import RankedPlacement, RankRules, near_placements, ranked
from tunnelsite.scan.refine import broken_rules
from tunnelsite.scan.steady import steady_scores

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

FEW = 5  # options; with fewer a planner wants to know which limits are in the way
FACTORS = (1.25, 1.5, 2.0, 3.0)  # how far each limit is tried relaxed; steps that a person would try (ours)
LEAST_WEIGHT = 1.0  # a broken limit counts against a compromise even where its criterion has no weight
LOWEST_LINE = -3.0  # marks run on below 0 beyond a limit, down to this: worse is no choice either way


@dataclass(frozen=True)
class Step:
    """One limit relaxed to `value`: how many more placements and options would pass, and the best steady score among them."""

    judge: Judge
    value: float
    placements: int
    options: int
    best_score: float


@dataclass(frozen=True)
class Break:
    """A limit that a compromise breaks, and the measure there."""

    judge: Judge
    measure: float

    @property
    def limit(self) -> float:
        """The limit, NaN where the criterion has none and nothing can break it."""
        return np.nan if self.judge.rubric.limit is None else self.judge.rubric.limit


@dataclass(frozen=True)
class Relaxation:
    """What relaxing would bring. Attributes: steps; compromises, a result whose choices are the compromises, best first; breaks,
    the limits that each of them breaks."""

    steps: list[Step]
    compromises: Result
    breaks: list[list[Break]]


@dataclass(frozen=True)
class _Loose:
    """All placements of a scan that a run would measure without the limits that may be relaxed. `beyond`, bool [limits, n]: which
    limits each breaks."""

    scan: Scan
    beyond: np.ndarray


def relaxation(result: Result) -> Relaxation | None:
    """What relaxing would bring; None where enough passes, where no limit rejected anything that may be relaxed, and for a kept
    run, whose layers are gone."""
    limited = [judge for judge in result.judges if judge.rubric.limit is not None and not judge.criterion.firm]
    wanted = min(FEW, result.settings.top)
    rejected = sum(tally.rejected for scan in result.scans for judge in limited for tally in scan.tallies[judge.id])
    layers = {spec.id for judge in result.judges for spec in judge.criterion.description.reads if not spec.optional}
    if len(result.choices) >= wanted or not rejected or not layers <= result.frame.layers.keys():
        return None
    free = [_freed(judge) if judge in limited else judge for judge in result.judges]
    loose = []
    for scan in result.scans:
        again = scanned(scan.frame, (scan.house, scan.pad), scan.ground, free, result.settings.pad_pitch)
        loose.append(_Loose(again, np.array([judge.rubric.beyond(again.measures[judge.id]) for judge in limited])))
    steps = [step for k in range(len(limited)) for step in _steps(result, loose, limited, k)]
    return Relaxation(steps, *_compromises(result, loose, limited, wanted))


def _freed(judge: Judge) -> Judge:
    return replace(judge, rubric=replace(judge.rubric, limit=None))


def relaxed_limits(rubric: Rubric) -> list[float]:
    """Values a limit is tried at, each looser than the one before; a limit of 0 is stepped by the width of its curve."""
    if rubric.limit is None:
        return []
    span = abs(rubric.limit) or abs(rubric.full_at - rubric.none_at)
    way = -1.0 if rubric.rises else 1.0
    return [float(f"{rubric.limit + way * (factor - 1) * span:.3g}") for factor in FACTORS]


def _steps(result: Result, loose: Sequence[_Loose], limited: Sequence[Judge], which: int) -> list[Step]:
    """One limit relaxed step by step, the others as they are."""
    judge, before, found = limited[which], 0, []
    others = [np.delete(one.beyond, which, axis=0).any(axis=0) for one in loose]
    now = sum(len(scan.index) for scan in result.scans)
    for value in relaxed_limits(judge.rubric):
        rubric = replace(judge.rubric, limit=value)
        parts = [
            one.scan.only(~other & ~rubric.beyond(one.scan.measures[judge.id]))
            for one, other in zip(loose, others, strict=True)
        ]
        more = sum(len(part.index) for part in parts) - now
        if more <= before:  # the next step brings nothing that this one does not
            continue
        before = more
        steady = [
            steady_scores(part, ScoresHere(part, result.judges, result.settings.combine), result.settings.shift_m)
            for part in parts
        ]
        options = ranked(parts, steady, _rules(result), _sound(result))
        best = max((choice.score for choice in options), default=np.nan)
        found.append(Step(judge, value, more, max(len(options) - len(result.choices), 0), best))
    return found


def _rules(result: Result) -> RankRules:
    return RankRules(result.settings.top, result.apart_m, result.settings.per_parcel)


def _sound(result: Result) -> Callable[[Scan, int], bool]:
    settings = result.settings
    return lambda scan, item: not broken_rules(scan, item, settings.setback_m, settings.clearance_m)


def _compromises(
    result: Result, loose: Sequence[_Loose], limited: Sequence[Judge], wanted: int
) -> tuple[Result, list[list[Break]]]:
    """The least bad places that break a limit, away from the options there are.

    Marks run on straight below 0 beyond a limit, so that a place that breaks it by little comes before one that breaks it by
    much, whatever else it has.
    """
    scans = [one.scan for one in loose]
    here, worth = [], []
    for one in loose:
        exact = ScoresHere(one.scan, result.judges, result.settings.combine)
        less = steady_scores(one.scan, exact[:] - _penalty(one, result.judges, limited), result.settings.shift_m)
        less = np.where(one.beyond.any(axis=0), less, np.nan)
        for choice in result.choices:
            less[near_placements(one.scan, result.scans[choice.scan], choice.item, result.apart_m)] = np.nan
        here.append(exact)
        worth.append(less)
    chosen = ranked(scans, worth, replace(_rules(result), top=wanted), _sound(result))
    breaks = [
        [
            Break(judge, float(scans[choice.scan].measures[judge.id][choice.item]))
            for judge, hit in zip(limited, loose[choice.scan].beyond[:, choice.item], strict=True)
            if hit
        ]
        for choice in chosen
    ]
    choices = [RankedPlacement(choice.scan, choice.item, max(choice.score, 0.0)) for choice in chosen]
    return replace(result, scans=scans, scored=worth, here=here, choices=choices, notes=[]), breaks


def _penalty(one: _Loose, judges: Sequence[Judge], limited: Sequence[Judge]) -> np.ndarray:
    """Points 0.. that broken limits cost on the scale of the score, float64 [n]."""
    total = sum(judge.rubric.weight for judge in judges)
    cost = np.zeros(len(one.scan.index))
    for judge, beyond in zip(limited, one.beyond, strict=True):
        rubric = judge.rubric
        line = (one.scan.measures[judge.id].astype(np.float64) - rubric.none_at) / (rubric.full_at - rubric.none_at)
        cost += np.where(beyond, max(rubric.weight, LEAST_WEIGHT) * -np.clip(line, LOWEST_LINE, 0.0), 0.0)
    return 100.0 * cost / total
