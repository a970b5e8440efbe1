"""Whether each parcel still has room for a house, and how good its best place is, when weights, limits and heights are drawn at random."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np
from scipy.sparse import csr_array, vstack

from tunnelsite.core.rubric import Rubric
from tunnelsite.scan.combine import combined
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.firmness.other_weights import drawn_weights
from tunnelsite.scan.firmness.rank_shares import ranked_scores
from tunnelsite.scan.marks import marks_of
from tunnelsite.scan.ranked_run import RankedRun
from tunnelsite.scan.steady import SCORE_STEP, nearby

VALUES_AT_ONCE = 2_000_000  # draws times placements: some 150 MB, however many draws are asked for
PLACEMENTS_AT_ONCE = 50_000  # whose surroundings are looked at together


@dataclass(frozen=True)
class ParcelPlan:
    """What is drawn for the parcels of a region.

    Attributes:
        draws: how many.
        seed: of the draws.
        concentration: of the weights round the given ones, 0 = any weights at all; None = the weights stay.
        limit_range: share by which each limit may be stricter or looser, evenly, 0 = the limits stay.
        heights: whether the ground is drawn.
    """

    draws: int = 500
    seed: int = 1
    concentration: float | None = 50.0
    limit_range: float = 0.1
    heights: bool = True


def shifted_limit(rubric: Rubric, share: float) -> Rubric:
    """A rubric whose limit is looser by a share of itself, stricter where the share is below 0; never so strict that it rejects
    what earns full marks. A limit of 0, or none, stays."""
    if rubric.limit is None:
        return rubric
    return Rubric(
        rubric.full_at, rubric.none_at, float(_shifted(rubric, np.array(share))), rubric.weight, rubric.source
    )


def _shifted(rubric: Rubric, share: np.ndarray) -> np.ndarray:
    if rubric.limit is None:
        return np.full(share.shape, np.nan)
    looser = abs(rubric.limit) * share
    if rubric.rises:
        return np.minimum(rubric.limit - looser, rubric.full_at)
    return np.maximum(rubric.limit + looser, rubric.full_at)


def limits_drawn(judges: Sequence[Judge], plan: ParcelPlan) -> np.ndarray:
    """The limit of each criterion in each draw, float64 [draws, criteria], NaN = has none. Arguments: judges with the limits as asked."""
    shares = np.random.default_rng((plan.seed, 2)).uniform(-1.0, 1.0, (plan.draws, len(judges))) * plan.limit_range
    found = np.full(shares.shape, np.nan)
    for k, judge in enumerate(judges):
        if judge.rubric.limit is not None:
            found[:, k] = _shifted(judge.rubric, shares[:, k])
    return found


def weights_drawn(judges: Sequence[Judge], plan: ParcelPlan) -> np.ndarray:
    """The weight of each criterion in each draw, float64 [draws, criteria]."""
    weights = np.array([judge.rubric.weight for judge in judges])
    if plan.concentration is None:
        return np.broadcast_to(weights / weights.sum(), (plan.draws, len(weights)))
    return drawn_weights(weights, plan.concentration, plan.draws, plan.seed)


@dataclass(frozen=True)
class _Choice:
    """The place that the model puts first in each parcel in each draw: scan and item, int64 [parcels, draws], -1 = there is none; score
    0-100 [parcels, draws]; passes, whether the model lets it pass."""

    scan: np.ndarray
    item: np.ndarray
    score: np.ndarray
    passes: np.ndarray

    def better(self, other: _Choice) -> _Choice:
        """The better of two choices of each parcel: what passes before what does not, then by score, then the first."""
        mine = (self.passes > other.passes) | ((self.passes == other.passes) & (self.score >= other.score))
        pairs = zip(vars(self).values(), vars(other).values(), strict=True)
        return _Choice(*(np.where(mine, one, two) for one, two in pairs))

    def for_all(self, draws: int) -> _Choice:
        """The same for so many draws, where one stands for all."""
        return (
            self
            if self.item.shape[1] == draws
            else _Choice(*(np.repeat(one, draws, axis=1) for one in vars(self).values()))
        )


@dataclass(frozen=True)
class _Drawn:
    """Weights [draws, criteria] and limits [draws, criteria] of a plan, and how many draws they stand for: 1 row may stand for all."""

    weights: np.ndarray
    limits: np.ndarray
    draws: int

    @classmethod
    def of(cls, judges: Sequence[Judge], plan: ParcelPlan) -> _Drawn:
        """What a plan draws; one row where neither weights nor limits are drawn."""
        same = plan.concentration is None and plan.limit_range == 0
        some = replace(plan, draws=1) if same else plan
        return cls(weights_drawn(judges, some), limits_drawn(judges, some), plan.draws)


def parcel_draws(
    result: RankedRun, judges: Sequence[Judge], plans: Mapping[str, ParcelPlan], number: int
) -> dict[str, dict[str, np.ndarray]]:
    """Draw weights, limits and grounds, and put a house on every parcel each time where the model would put it.

    In each draw the model ranks all placements of a parcel again, with the drawn weights and limits, by the steady score; then the
    ground at the first of them is drawn. Where none passes it takes the one that is best by the given weights, which may still pass on
    the drawn ground. Drawn are the true values of measures with a standard error (`Scan.truths`): as normal numbers, one for
    all criteria that read nothing but the ground, one for each of the others. What has no standard error stays as measured.

    Arguments: result, measured with limits at least as loose as the loosest drawn, whatever its ranking; judges, the same criteria
    with the weights, curves and limits as asked; plans by name; number, of this part of a region: other parts draw other grounds.
    Return: by plan and house, float64 [parcels, draws], score 0-100 on the drawn ground, NaN where the house does not pass there.
    Errors: ValueError where a limit is drawn looser than what the run kept.
    """
    drawn = {name: _Drawn.of(judges, plan) for name, plan in plans.items()}
    for one in drawn.values():
        _check_kept(result, one.limits)
    found: dict[str, dict[str, np.ndarray]] = {name: {} for name in plans}
    for at, house in enumerate(dict.fromkeys(scan.house.name for scan in result.scans)):
        which = [k for k, scan in enumerate(result.scans) if scan.house.name == house]
        scenes = [_Scene(result, k, judges) for k in which]
        for name, plan in plans.items():
            choice = reduce(_Choice.better, (scene.choices(drawn[name]) for scene in scenes))
            scores = np.full(choice.score.shape, np.nan)
            numbers = np.random.default_rng((plan.seed, 3, number, at)) if plan.heights else None
            normal = _normal_numbers(judges, scores.shape, numbers)
            for scene in scenes:
                mine = choice.scan == scene.number
                scores[mine] = scene.on_ground(choice, mine, normal, drawn[name])
            found[name][house] = scores
    return found


def _normal_numbers(
    judges: Sequence[Judge], shape: tuple[int, ...], numbers: np.random.Generator | None
) -> dict[str, np.ndarray]:
    """By criterion, standard normal numbers [parcels, draws]; none where the ground is not drawn."""
    if numbers is None:
        return {}
    ground = numbers.standard_normal(shape)
    alone = {judge.id: {spec.id for spec in judge.criterion.description.reads} == {"ground"} for judge in judges}
    return {name: ground if only else numbers.standard_normal(shape) for name, only in alone.items()}


def _check_kept(result: RankedRun, limits: np.ndarray) -> None:
    for judge, drawn in zip(result.judges, limits.T, strict=True):
        kept = judge.rubric.limit
        if kept is not None and not (drawn >= kept if judge.rubric.rises else drawn <= kept).all():
            raise ValueError(f"the limit of {judge.id} is drawn looser than {kept:g}, with which the run was kept")


class _Scene:
    """The placements of one scan, parcel by parcel."""

    def __init__(self, result: RankedRun, number: int, judges: Sequence[Judge]) -> None:
        self.number, self._way, self._judges = number, result.settings.combine, judges
        scan = result.scans[number]
        order = np.argsort(scan.owner, kind="stable")
        self._scan, self._count = scan, len(scan.frame.parcel_names)
        self._items = order
        self._starts = np.searchsorted(scan.owner[order], np.arange(self._count + 1))
        self._shifts, self._area = _shift_weights(scan, order, result.settings.shift_m)
        self._counted = np.array([judge.rubric.weight > 0 for judge in judges])
        counted = [judge for judge in judges if judge.rubric.weight > 0]
        self._marks = np.stack([marks_of(scan, judge, order) for judge in counted])

    def choices(self, drawn: _Drawn) -> _Choice:
        """What the model chooses in each draw."""
        shape = (self._count, len(drawn.weights))
        found = _Choice(np.full(shape, -1), np.full(shape, -1), np.full(shape, -np.inf), np.zeros(shape, bool))
        if not len(self._items):
            return found.for_all(drawn.draws)
        given = np.array([judge.rubric.weight for judge in self._judges if judge.rubric.weight > 0])
        plain = combined(self._marks, given, self._way)
        otherwise = self._best(np.ones((1, len(plain)), bool), plain[None])[0][:, 0]
        step = max(1, VALUES_AT_ONCE // len(self._items))
        for start in range(0, shape[1], step):
            part = slice(start, start + step)
            here = ranked_scores(self._marks[None], drawn.weights[part][:, self._counted], self._way)
            here = np.where(np.isfinite(here), here, np.nan)
            place, score = self._best(self._passing(drawn.limits[part]), here)
            passes = place >= 0
            instead = np.append(here, np.full((len(here), 1), np.nan), axis=1)[:, otherwise].T
            place = np.where(passes, place, otherwise[:, None])
            found.item[:, part] = np.append(self._items, -1)[place]
            found.scan[:, part] = np.where(place >= 0, self.number, -1)
            found.score[:, part] = np.where(passes, score, _steps(np.where(np.isfinite(instead), instead, -np.inf)))
            found.passes[:, part] = passes
        return found.for_all(drawn.draws)

    def on_ground(
        self, choice: _Choice, mine: np.ndarray, normal: Mapping[str, np.ndarray], drawn: _Drawn
    ) -> np.ndarray:
        """Scores 0-100 of chosen places on drawn grounds, NaN where a limit rejects them.

        Arguments: choice; mine, bool [parcels, draws], n of them true; normal, numbers by criterion [parcels, draws]; drawn.
        Return: float64 [n]."""
        scan, items, draw = self._scan, choice.item[mine], np.nonzero(mine)[1] % len(drawn.weights)
        counted = [judge for judge in self._judges if judge.rubric.weight > 0]
        here = (
            np.stack([marks_of(scan, judge, items) for judge in counted]) if len(items) else np.empty((len(counted), 0))
        )
        there, out = here.copy(), np.zeros(len(items), bool)
        for k, judge in enumerate(self._judges):
            value = scan.measures[judge.id][items].astype(np.float64)
            if judge.id in scan.truths and judge.id in normal:
                truth = scan.truths[judge.id]
                true = truth.mean[items] + truth.se[items] * normal[judge.id][mine]
                known = np.isfinite(true) & np.isfinite(value)
                value = np.where(known, true, value)
                if judge in counted:
                    row = there[counted.index(judge)]
                    row[:] = np.where(known, judge.rubric.marks(value), row)
            out |= _beyond(judge, value, drawn.limits[draw, k])
        weights = drawn.weights[draw][:, self._counted]
        moved = _each_combined(there, weights, self._way) - _each_combined(here, weights, self._way)
        return np.where(out, np.nan, np.clip(choice.score[mine] + 100.0 * moved, 0.0, 100.0))

    def _passing(self, limits: np.ndarray) -> np.ndarray:
        """What passes the limits of some draws: bool [draws, placements]."""
        found = np.ones((len(limits), len(self._items)), bool)
        for judge, drawn in zip(self._judges, limits.T, strict=True):
            if np.isfinite(drawn).all():
                found &= ~_beyond(judge, self._scan.measures[judge.id][self._items].astype(np.float64), drawn[:, None])
        return found

    def _best(self, passes: np.ndarray, here: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The best place of each parcel by the steady score, [parcels, draws], -1 = none, and its score 0-100.

        Arguments: passes, bool [draws, n]; here, float64 [draws, n], share at the exact place, NaN = nothing assessed."""
        counts = passes & np.isfinite(here)
        total, unknown = self._shifts @ np.where(counts, here, 0.0).T, (passes & np.isnan(here)).T
        area = self._area[:, None] - (self._shifts @ unknown.astype(np.float64) if unknown.any() else 0.0)
        steady = np.where(counts.T, _steps(np.divide(total, area, out=np.zeros_like(total), where=area > 0)), -np.inf)
        place = np.full((self._count, len(passes)), -1)
        score = np.full(place.shape, -np.inf)
        for parcel, (start, stop) in enumerate(zip(self._starts[:-1], self._starts[1:], strict=True)):
            if stop > start:
                first = steady[start:stop].argmax(axis=0)
                score[parcel] = np.take_along_axis(steady[start:stop], first[None], axis=0)[0]
                place[parcel] = np.where(np.isfinite(score[parcel]), start + first, -1)
        return place, score


def _shift_weights(scan: Scan, items: np.ndarray, shift_m: float) -> tuple[csr_array, np.ndarray]:
    """Sparse [n, n]: area of each placement within the shift of each other; and float64 [n], all open ground there [cells].

    Arguments: items, int64 [n], all placements in an order of their own."""
    place = np.empty(len(items), np.int64)
    place[items] = np.arange(len(items))
    parts, area = [], []
    for start in range(0, len(items), PLACEMENTS_AT_ONCE):
        some = items[start : start + PLACEMENTS_AT_ONCE]
        near = nearby(scan, some, shift_m)
        cells = (near.weights, (near.of, place[near.items]))
        parts.append(csr_array(cells, shape=(len(some), len(items))))
        area.append(near.sums(near.weights) + near.rejected)
    return vstack(parts, "csr"), np.concatenate(area)


def _steps(share: np.ndarray) -> np.ndarray:
    """Scores 0-100 in whole steps, so that ties are ties."""
    return np.round(100.0 * share / SCORE_STEP) * SCORE_STEP


def _beyond(judge: Judge, value: np.ndarray, limit: np.ndarray) -> np.ndarray:
    """True where a drawn limit rejects, in single precision as in the scan; NaN = there is none, or nothing was assessed."""
    measure, drawn = value.astype(np.float32), limit.astype(np.float32)
    return measure < drawn if judge.rubric.rises else measure > drawn


def _each_combined(marks: np.ndarray, weights: np.ndarray, way: str) -> np.ndarray:
    """Shares 0..1 of places [n] that each have weights of their own. Arguments: marks [criteria, n]; weights [n, criteria]."""
    return ranked_scores(marks.T[:, :, None], weights, way)[:, 0]
