"""What the curves decide: each criterion's curve made half and twice as wide, and the candidates ranked again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.rubric import Rubric
from tunnelsite.core.sources import keys_of, sources
from tunnelsite.core.wording import inside
from tunnelsite.scan.firmness.other_weights import candidates_over_shifts, marks_over_shifts, ranks_of, weighted_means

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

WIDTHS = (0.5, 2.0)


@dataclass(frozen=True)
class CurveEffect:
    """One criterion: `narrow_first`, `wide_first`, the rank of the candidate that leads with a curve half and twice as wide; `moved`, the
    most ranks that a candidate moves; `ours`, whether the numbers of the curve are this project's choice."""

    criterion: str
    narrow_first: int
    wide_first: int
    moved: int
    ours: bool


def stretched(rubric: Rubric, width: float) -> Rubric:
    """The curve with its foot moved away from full marks (width above 1) or towards them; the limit stays."""
    return replace(rubric, none_at=rubric.full_at + width * (rubric.none_at - rubric.full_at))


def curve_effects(result: Result) -> list[CurveEffect]:
    """The effect of every curve with a weight on the order of the candidates, the largest first; none where one leads alone."""
    if len(result.choices) < 2:
        return []
    marks = candidates_over_shifts(result).counted.T
    weights = np.array([[judge.rubric.weight for judge in result.judges]], float)
    before = ranks_of(weighted_means(marks[None], weights))[0]
    found = []
    for k, judge in enumerate(result.judges):
        if judge.rubric.weight <= 0:
            continue
        first: list[int] = []
        moved = 0
        for width in WIDTHS:
            other = [replace(judge, rubric=stretched(judge.rubric, width))]
            changed = marks.copy()
            changed[k] = marks_over_shifts(result, result.choices, other).counted[:, 0]
            ranks = ranks_of(weighted_means(changed[None], weights))[0]
            first.append(int(np.argmin(ranks)) + 1)
            moved = max(moved, int(np.abs(ranks - before).max()))
        ours = any(sources()[key].label == "ours" for key in keys_of(judge.rubric.source))
        found.append(CurveEffect(judge.id, first[0], first[1], moved, ours))
    return sorted(found, key=lambda one: (one.narrow_first == 1 and one.wide_first == 1, -one.moved))


def curve_words(effects: list[CurveEffect], titles: Mapping[str, str]) -> list[str]:
    """For people: which curves change the first option, and which move any. Arguments: effects; titles of the criteria by id."""
    leads = [
        f"{inside(titles[one.criterion])} ({'half as wide' if one.narrow_first != 1 else 'twice as wide'}: candidate "
        f"{one.narrow_first if one.narrow_first != 1 else one.wide_first} first)"
        for one in effects
        if (one.narrow_first, one.wide_first) != (1, 1)
    ]
    moves = [
        f"{inside(titles[one.criterion])} by {one.moved}"
        for one in effects
        if one.moved and one.narrow_first == one.wide_first == 1
    ]
    return [
        "curves half or twice as wide, one at a time: "
        + (f"the first option hangs on {', '.join(leads)}" if leads else "none changes the first option")
        + (f"; ranks move with {', '.join(moves)}" if moves else "")
    ]
