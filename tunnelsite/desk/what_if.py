"""What if: a new answer from what was measured, where no terrain has to be computed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import Pad
from tunnelsite.scan.engine import Scan, scanned
from tunnelsite.scan.open_ground import bars, open_ground
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import Settings

FREE = {"weight", "rubric", "top", "shift_m", "apart_m", "per_parcel", "combine", "house", "preset", "draws", "seed"}
RULES = ("full_at", "none_at", "limit", "weight")
WHY = {
    "crop_months": "the light of other months",
    "bearing_deg": "another ridge bearing",
    "ridge_m": "another ridge height",
}


class NeedsRun(UsageError):
    """It cannot be answered from what was measured."""


def what_if(result: Result, settings: Settings) -> Result:
    """The answer with other settings. Errors: NeedsRun where terrain has to be computed for it; UsageError for wrong settings."""
    before = result.settings
    names = {name for name in Settings.model_fields if getattr(settings, name) != getattr(before, name)}
    beyond = sorted(names - FREE)
    if beyond:
        what = ", ".join(
            WHY.get(name, name.removesuffix("_m").removesuffix("_deg").replace("_", " ")) for name in beyond
        )
        raise NeedsRun(f"{what} was not measured", "settings that need no terrain", "run it: the old answer is kept")
    base = replace(result, settings=settings.model_copy(update={"weight": before.weight, "rubric": before.rubric}),
                   scans=_scans(result, settings))  # fmt: skip
    weights, rubrics = _changes(result, settings)
    try:
        found = base.rescore(weights, rubrics)
    except UsageError as problem:
        raise NeedsRun(problem.given, problem.expected, "run it: the old answer is kept") from None
    return found


def _scans(result: Result, settings: Settings) -> list[Scan]:
    """The scans that there are and those of sizes that are new, on the frames in memory."""
    known = {(id(scan.frame), scan.house): scan for scan in result.scans}
    frames = {id(scan.frame): scan.frame for scan in result.scans}
    found = []
    for key, frame in frames.items():
        barred = bars(frame, settings.clearance_m)
        for house in settings.houses:
            scan = known.get((key, house))
            if scan is None:
                pad = Pad.around(house, settings.apron_m)
                ground = open_ground(frame, pad, settings.setback_m, barred)
                scan = scanned(frame, (house, pad), ground, result.judges, settings.pad_pitch)
            found.append(scan)
    return found


def _changes(result: Result, settings: Settings) -> tuple[dict[str, float], dict[str, Mapping[str, Any]]]:
    """Weights of all criteria and curves that differ. Errors: NeedsRun for a criterion that was not measured."""
    judges = {judge.id: judge for judge in result.judges}
    unknown = [name for name in (*settings.weight, *settings.rubric) if name not in judges]
    if unknown:
        raise NeedsRun(f"{unknown[0]} was not measured", "a criterion of the run", "run it: the old answer is kept")
    weights, rubrics = {}, {}
    for name, judge in judges.items():
        wanted = settings.rubric_for(name, judge.criterion.rubric(settings.kind))
        weights[name] = wanted.weight
        if name in settings.rubric or name in result.settings.rubric:
            change = {
                part: getattr(wanted, part) for part in RULES if getattr(wanted, part) != getattr(judge.rubric, part)
            }
            if change:
                rubrics[name] = {part: "none" if value is None else value for part, value in change.items()}
    return weights, rubrics
