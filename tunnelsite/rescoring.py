"""A new ranking from stored measures: weights, curves and limits change, terrain is not computed again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.core.rubric import Rubric
from tunnelsite.scan.engine import Judge, Scan, Tally, nearest_of_each
from tunnelsite.settings import Settings, settings_from

if TYPE_CHECKING:
    from tunnelsite.result import Result


def rescored(result: Result, weights: dict[str, float], rubrics: dict[str, dict[str, Any]], top: int | None) -> Result:
    """See `Result.rescore`."""
    from tunnelsite.screening import judged

    known = {judge.id: judge for judge in result.judges}
    for name in [*weights, *rubrics]:
        if name not in known:
            raise UsageError(f"there is no criterion {name!r}", ", ".join(known), nearest(name, known))
    changes = settings_from({"weight": weights, "rubric": rubrics})
    judges = []
    for judge in result.judges:
        rubric = changes.rubric_for(judge.id, judge.rubric)
        _not_looser(judge, rubric)
        judges.append(replace(judge, rubric=rubric))
    if not any(judge.rubric.weight > 0 for judge in judges):
        raise UsageError("every weight is 0", "at least one weight above 0", "raise a weight")
    return judged(
        result.site,
        _settings(result.settings, changes, top),
        [_within(scan, judges, result.judges) for scan in result.scans],
        judges,
        result.gaps,
    )


def _settings(old: Settings, changes: Settings, top: int | None) -> Settings:
    """The settings with which a screening would give the new ranking."""
    rubric = {name: dict(values) for name, values in old.rubric.items()}
    for name, values in changes.rubric.items():
        rubric[name] = rubric.get(name, {}) | values
    update = {"weight": {**old.weight, **changes.weight}, "rubric": rubric}
    return old.model_copy(update=update if top is None else {**update, "top": top})


def _not_looser(judge: Judge, rubric: Rubric) -> None:
    old, new = judge.rubric.limit, rubric.limit
    if old is None:
        return
    if judge.rubric.rises != rubric.rises:
        raise UsageError(f"{judge.id} would be judged the other way round", "the same direction", "screen again")
    if new is None or (new < old if rubric.rises else new > old):
        raise UsageError(
            f"the limit of {judge.id} would be loosened from {old:g} to {'none' if new is None else format(new, 'g')}",
            "a limit at least as strict, since what it rejected was not measured further",
            "screen again with the new limit",
        )


def _within(scan: Scan, judges: list[Judge], before: list[Judge]) -> Scan:
    """The scan without the placements that the new limits reject, and with them counted.

    What an old limit rejected stays counted where it was: a stricter limit of the same rule would have rejected it too. A
    placement that a later rule of the old run rejected was not kept, so it stays with that rule even if a new limit of an
    earlier one would have caught it first.
    """
    keep = np.ones(len(scan.index), bool)
    tallies = {rule: [replace(tally) for tally in found] for rule, found in scan.tallies.items()}
    limits = {judge.id: judge.rubric.limit for judge in before}
    for judge in judges:
        beyond = keep & judge.rubric.beyond(scan.measures[judge.id])
        if judge.id in tallies:
            _count(scan, judge, beyond, (keep, limits[judge.id]), tallies[judge.id])
        keep &= ~beyond
    return replace(scan, tallies=tallies).only(keep)


def _count(
    scan: Scan, judge: Judge, beyond: np.ndarray, was: tuple[np.ndarray, float | None], tally: list[Tally]
) -> None:
    """Put what a rule rejects now into the tally of each parcel; `was`: placements that came to it, and its old limit."""
    left, old_limit = was
    limit = judge.rubric.limit
    gone = np.bincount(scan.owner[~left], minlength=len(tally))
    where = np.flatnonzero(beyond)
    parcels = scan.owner[where]
    hit = np.bincount(parcels, minlength=len(tally))
    # nearer to the stricter limit than anything the looser one rejected
    first = nearest_of_each(parcels, np.abs(scan.measures[judge.id][where] - limit)) if len(where) else {}
    for parcel, known in enumerate(tally):
        known.tried -= int(gone[parcel])  # rejected by an earlier rule now
        known.rejected += int(hit[parcel])
        if limit is None or (limit == old_limit and not hit[parcel]):
            continue
        if parcel in first:
            item = where[first[parcel]]
            known.miss = float(scan.measures[judge.id][item])
            known.miss_row, known.miss_col = divmod(int(scan.index[item]), scan.frame.grid.cols)
