"""A new ranking from stored measures: weights, curves and limits change, terrain is not computed again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.core.rubric import Rubric
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.settings import settings_from

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
    settings = result.settings if top is None else result.settings.model_copy(update={"top": top})
    return judged(result.site, settings, [_within(scan, judges) for scan in result.scans], judges)


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


def _within(scan: Scan, judges: list[Judge]) -> Scan:
    """The scan without the placements that the new limits reject."""
    keep = np.ones(len(scan.index), bool)
    for judge in judges:
        keep &= ~judge.rubric.beyond(scan.measures[judge.id])
    if keep.all():
        return scan
    measures = {name: values[keep] for name, values in scan.measures.items()}
    return replace(scan, index=scan.index[keep], owner=scan.owner[keep], measures=measures)
