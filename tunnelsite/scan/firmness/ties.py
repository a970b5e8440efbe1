"""Criteria that do not decide: what tells the options of a list apart, and what does not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tunnelsite.core.counting import listed
from tunnelsite.core.wording import capital, inside
from tunnelsite.scan.engine import Judge
from tunnelsite.scan.firmness.other_weights import candidate_marks
from tunnelsite.scan.ranked_run import RankedRun

SAME = 0.05  # points: shown as the same number, or the next
ALIKE = 0.01  # marks this close are equal to the eye: one point of a hundred (ours)
FULL, EVEN = ("earns full marks", "earn full marks"), ("is the same", "are the same")  # of one criterion, of several
COUNTS = ("no", "the", "both", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def undecided(result: RankedRun) -> list[str]:
    """What does not tell the listed options apart, as sentences: the score, and criteria with a weight; none for a list of one or none.

    Marks count as equal within 0.01 for all options. A criterion that was not assessed at some option is not in it.
    """
    if len(result.choices) < 2:
        return []
    marks = candidate_marks(result)
    full: list[Judge] = []
    even: list[Judge] = []
    none: list[Judge] = []
    for judge, row in zip(result.judges, marks, strict=True):
        if judge.rubric.weight > 0 and np.ptp(row) <= ALIKE:  # NaN is no answer, and not at most anything
            (full if row.min() >= 1 - ALIKE else none if row.max() <= ALIKE else even).append(judge)
    count = len(result.choices)
    return [*_alike(result), *_poor(none), *_sentence(full, FULL, count), *_sentence(even, EVEN, count)]


def _poor(judges: Sequence[Judge]) -> list[str]:
    """What is as bad as can be everywhere: it decides nothing, and the best place of such a list may be none to build on."""
    if not judges:
        return []
    earn, them = ("earns", "it") if len(judges) == 1 else ("earn", "them")
    return [f"{_start(judges)} {earn} no marks at any option: every place listed is poor in {them}, the first one too."]


def _alike(result: RankedRun) -> list[str]:
    """A sentence where the list ends among places with the same score."""
    first, last = result.choices[0].score, result.choices[-1].score
    same = sum(int(np.count_nonzero(np.asarray(values) > first - SAME)) for values in result.scored)
    if first - last >= SAME or same <= len(result.choices):
        return []
    return [
        f"{same:,} places have the score of option 1, to a tenth of a point: these data do not rank them, and the options are examples of "
        "that land."
    ]


def _sentence(judges: Sequence[Judge], what: tuple[str, str], count: int) -> list[str]:
    if not judges:
        return []
    number, do = (0, "it does") if len(judges) == 1 else (1, "they do")
    return [f"{_start(judges)} {what[number]} at {_all(count)}: {do} not decide."]


def _all(count: int) -> str:
    return f"all {COUNTS[count] if count < len(COUNTS) else count} options" if count > 2 else "both options"


def _start(judges: Sequence[Judge]) -> str:
    """The criteria at the start of a sentence."""
    names = listed([_name(judge) for judge in judges])
    return capital(names)


def _name(judge: Judge) -> str:
    return inside(judge.criterion.description.title)
