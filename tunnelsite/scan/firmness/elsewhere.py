"""Options that are not in the list but would often be the best under other weights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.scan.firmness.other_weights import drawn_weights, marks_over_shifts, ranks_of
from tunnelsite.scan.firmness.rank_shares import ranked_scores
from tunnelsite.scan.ranked_run import RankedRun
from tunnelsite.scan.ranking import RankedPlacement, RankRules, ranked
from tunnelsite.scan.steady import SCORE_STEP

OPTIONS = 200  # that take part in addition to those listed; an option far down the list wins under no weights near the given ones


@dataclass(frozen=True)
class Winner:
    """An option that is the best of all in some draws.

    Attributes: rank, of the listed candidate, None = not in the list. scan, item: the placement. share: of the draws.
    better: placements with a higher steady score under the given weights.
    """

    rank: int | None
    scan: int
    item: int
    share: float
    better: int


def best_everywhere(result: RankedRun, concentration: float = 50.0, draws: int = 500, seed: int = 1) -> list[Winner]:
    """Which option is the best of all when the weights are drawn at random, most often first.

    Arguments: result of a screening, or of a kept run; concentration, draws and seed, see `drawn_weights`.
    Return: winners among the listed candidates and the next 200 options, as far apart as those listed. Shares sum to 1; nothing
    where no placement passed. With `combine` "lowest" weights do not grade, so the given order stays.
    """
    if not result.choices:
        return []
    rules = RankRules(OPTIONS + len(result.choices), result.apart_m)
    listed = [(choice.scan, choice.item) for choice in result.choices]
    more = [choice for choice in ranked(result.scans, result.scored, rules) if (choice.scan, choice.item) not in listed]
    options = [*result.choices, *more]
    marks = marks_over_shifts(result, options, result.judges).counted.T
    weights = np.array([judge.rubric.weight for judge in result.judges])
    drawn = drawn_weights(weights, concentration, draws, seed)
    scores = ranked_scores(marks[None], drawn, result.settings.combine)
    shares = (ranks_of(scores) == 1).mean(axis=0)
    found = [
        Winner(k + 1 if k < len(listed) else None, one.scan, one.item, float(shares[k]), _better(result, one))
        for k, one in enumerate(options)
        if shares[k] > 0
    ]
    return sorted(found, key=lambda winner: -winner.share)


def _better(result: RankedRun, one: RankedPlacement) -> int:
    return sum(int((values > one.score + SCORE_STEP / 2).sum()) for values in result.scored)
