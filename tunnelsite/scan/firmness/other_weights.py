"""How firm a ranking is against other weights, and how sure a pitch is, in closed form.

Weights are drawn round those given; curves and limits stay. For errors in everything that is measured on the ground, see
`rank_shares`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy.special import ndtr

from tunnelsite.scan.combine import filled_marks
from tunnelsite.scan.engine import Judge
from tunnelsite.scan.pitch_error import PitchError, pitch_error
from tunnelsite.scan.ranked_run import RankedRun
from tunnelsite.scan.ranking import RankedPlacement
from tunnelsite.scan.steady import SteadyMarks, steady_marks

TOLERANCE = 1.0 / 192.0  # 3/4 in per 12 ft; common practice, no source


def candidate_marks(result: RankedRun) -> np.ndarray:
    """Marks of the ranked candidates over their shifts: float64 [criteria, candidates], NaN = not assessed."""
    return candidates_over_shifts(result).known.T


def candidates_over_shifts(result: RankedRun) -> SteadyMarks:
    """The same with what counts where a mark is not known: [candidates, criteria]."""
    return marks_over_shifts(result, result.choices, result.judges)


def marks_over_shifts(result: RankedRun, choices: Sequence[RankedPlacement], judges: Sequence[Judge]) -> SteadyMarks:
    """Marks of some placements over their shifts: [placements, criteria]."""
    shape = len(choices), len(judges)
    found = SteadyMarks(np.empty(shape), np.empty(shape, bool), np.empty(shape))
    of = np.array([choice.scan for choice in choices], np.int64)
    for number in np.unique(of).tolist():
        items = np.array([choice.item for choice in choices if choice.scan == number])
        marks = steady_marks(result.scans[number], items, list(judges), result.settings.shift_m)
        for whole, part in zip(vars(found).values(), vars(marks).values(), strict=True):
            whole[of == number] = part
    return found


def drawn_weights(weights: np.ndarray, concentration: float, draws: int, seed: int) -> np.ndarray:
    """Random weights round the given ones: float64 [draws, criteria], each row sums to 1.

    Arguments: weights [criteria], 0 or more; those of 0 stay 0; concentration, of the Dirichlet distribution whose mean is
    the given weights, 0 = any weights at all are equally likely (uniform over the simplex); draws; seed.
    Errors: ValueError where no weight is above 0 or a number is out of range.
    """
    weights = np.asarray(weights, np.float64)
    if not (weights >= 0).all() or weights.sum() <= 0 or not concentration >= 0 or draws < 1:
        raise ValueError(
            "weights of 0 or more with one above 0, concentration of 0 or more, draws of 1 or more expected"
        )
    counted = weights > 0
    share = weights[counted] / weights.sum()
    drawn = np.zeros((draws, len(weights)))
    drawn[:, counted] = np.random.default_rng(seed).dirichlet(
        concentration * share if concentration > 0 else np.ones(len(share)), draws
    )
    return drawn


def weighted_means(marks: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Scores 0..1 under drawn weights: float64 [draws, n], -inf where nothing with a weight was assessed.

    Arguments: marks [draws or 1, criteria, n], NaN = not assessed, counts half; weights [draws, criteria].
    """
    one = len(marks) == 1

    def summed(values: np.ndarray) -> np.ndarray:
        found: np.ndarray = weights @ values[0] if one else np.einsum("dc,dcn->dn", weights, values)
        return found

    total, some = summed(filled_marks(marks)), summed(~np.isnan(marks)) > 0
    return np.where(some, total / weights.sum(axis=1, keepdims=True), -np.inf)


def ranks_of(scores: np.ndarray) -> np.ndarray:
    """Rank 1..n of each column in each row [draws, n]; ties go to the earlier column."""
    order = np.argsort(-np.round(scores, 8), axis=1, kind="stable")
    ranks = np.empty_like(order)
    np.put_along_axis(ranks, order, np.arange(1, scores.shape[1] + 1)[None, :], axis=1)
    return ranks


def chance_within(slope: float, error: float, tolerance: float = TOLERANCE) -> float:
    """Probability that the true slope lies within +-tolerance when the measured one has a normal error [fractions]."""
    if error == 0:
        return float(abs(slope) <= tolerance)
    return float(ndtr((tolerance - slope) / error) - ndtr((-tolerance - slope) / error))


def pitch_errors(result: RankedRun) -> list[PitchError]:
    """How far the pitch of each candidate may be off, by the error of the elevations that the settings state or leave open."""
    found = []
    for choice in result.choices:
        scan = result.scans[choice.scan]
        at = divmod(int(scan.index[choice.item]), scan.frame.grid.cols)
        found.append(pitch_error(scan.frame, scan.house, at, result.error_of(scan)))
    return found


def both_within(row: Mapping[str, Any], errors: tuple[float, float]) -> float:
    """Probability that both slopes of a candidate are within 1/192, for normal errors, which are independent by symmetry.

    Arguments: row of `candidates`; errors along and across [fraction]; NaN where they or the slopes are not known.
    """
    if row["pitch_along_pct"] is None:
        return float("nan")
    slopes = (row["pitch_along_pct"] / 100, row["pitch_across_pct"] / 100)
    return float(np.prod([chance_within(slope, error) for slope, error in zip(slopes, errors, strict=True)]))
