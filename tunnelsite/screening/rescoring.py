"""A new ranking from stored measures: weights, curves and limits change, terrain is not computed again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.core.rubric import Rubric
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.losses import limited_again, losses
from tunnelsite.settings.model import Settings, settings_from


@dataclass(frozen=True)
class Measures:
    """What a ranking is made of: settings, scans of what passed every limit, and judges."""

    settings: Settings
    scans: list[Scan]
    judges: list[Judge]


def tightened(
    old: Measures, weights: dict[str, float], rubrics: dict[str, dict[str, Any]], top: int | None = None
) -> Measures:
    """The measures under other weights, curves and stricter limits. Arguments and errors: see `Result.rescore`."""
    known = {judge.id: judge for judge in old.judges}
    for name in [*weights, *rubrics]:
        if name not in known:
            raise UsageError(f"there is no criterion {name!r}", ", ".join(known), nearest(name, known))
    changes = settings_from({"weight": weights, "rubric": rubrics})
    judges = []
    for judge in old.judges:
        rubric = changes.rubric_for(judge.id, judge.rubric)
        _not_looser(judge, rubric)
        judges.append(replace(judge, rubric=rubric))
    if not any(judge.rubric.weight > 0 for judge in judges):
        raise UsageError("every weight is 0", "at least one weight above 0", "raise a weight")
    scans = [_within(scan, judges, old.judges, old.settings.pad_pitch) for scan in old.scans]
    return Measures(_settings(old.settings, changes, top), scans, judges)


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


def _within(scan: Scan, judges: list[Judge], before: list[Judge], pad_pitch: float) -> Scan:
    """The scan without the placements that the new limits reject, counted as a screening with these limits counts them."""
    if [judge.rubric.limit for judge in judges] == [judge.rubric.limit for judge in before]:
        return scan
    return limited_again(scan, losses(scan, before, pad_pitch), judges)
