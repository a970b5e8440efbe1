"""What becomes of each option on drawn grounds, in words: its score there counts the doubt of the water, the score that ranks does not."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tunnelsite.core import amounts
from tunnelsite.scan.firmness.rank_shares import RankShares
from tunnelsite.scan.firmness.verdict import share_words
from tunnelsite.scan.ranked_run import RankedRun

LOST = 2.0  # points worth telling: more than the 0 to 2 of most options on real ground (ours)
REJECTED = 0.05  # share of the draws worth telling (ours)
MARKS_LOST = 0.1  # marks on water worth telling (ours)
WATER: dict[str, Callable[[float, bool], str]] = {
    "drainage": lambda value, feet: f"more than {amounts.land(value, feet=feet)} of land drains through the pad",
    "ponding": lambda value, feet: f"water stands more than {amounts.depth(value, feet=feet)} deep on it",
    "flow_beside": lambda value, feet: f"more than {amounts.land(value, feet=feet)} of land drains past it",
}


def drawn_words(result: RankedRun, shares: RankShares, rank: int) -> str:
    """What the errors of the heights may make of an option, in a sentence; empty where they change little.

    Arguments: result; shares, of its draws; rank of the option.
    """
    at = rank - 1
    choice = result.choices[at]
    scan = result.scans[choice.scan]
    wet = []
    for judge in result.judges:
        high = shares.wet_high.get(judge.id, np.empty(0))[at:rank]
        if not len(high) or not np.isfinite(high[0]):
            continue
        here, there = judge.rubric.marks(np.array([scan.measures[judge.id][choice.item], high[0]]))
        if here - there >= MARKS_LOST:
            wet.append(WATER[judge.id](float(high[0]), scan.house.feet))
    parts = []
    if choice.score - shares.score_mean[at] >= LOST or wet:
        parts.append(f"it scores {shares.score_mean[at]:.1f} on average")
    if shares.out[at] >= REJECTED:
        parts.append(f"a limit rejects it {share_words(float(shares.out[at]))} of the time")
    if wet:
        parts.append(f"one time in ten {' and '.join(wet)}")
    if not parts:
        return ""
    *others, last = parts
    return f"Within the errors of the heights {', and '.join([', '.join(others), last] if others else parts)}."
