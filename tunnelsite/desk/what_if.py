"""What if: a new answer from what was measured, where no terrain but its light has to be computed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from tunnelsite.core import catalogue
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import Pad
from tunnelsite.desk.other_season import relit
from tunnelsite.desk.setting_words import criterion_title, setting_title
from tunnelsite.processes.season_light import PROCESS
from tunnelsite.scan.engine import Scan, scanned
from tunnelsite.scan.open_ground import bars, open_ground
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import Settings

FREE = {
    "weight",
    "rubric",
    "top",
    "shift_m",
    "apart_m",
    "per_parcel",
    "combine",
    "house",
    "preset",
    "draws",
    "seed",
    "crop_months",
}
RUN_IT = "find places again with it: the old answer is kept"
RULES = ("full_at", "none_at", "limit", "weight")
WHY = {
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
        what = ", ".join(WHY.get(name, f"another value of “{setting_title(name)}”") for name in beyond)
        raise NeedsRun(f"{what} was not measured", "settings that need no terrain", RUN_IT)
    months = settings.crop_months != before.crop_months
    if months and _follows_the_season(result):
        raise NeedsRun(
            "a plug-in's layer of other months was not measured",
            "layers that follow no season",
            RUN_IT,
        )
    base = replace(result, settings=settings.model_copy(update={"weight": before.weight, "rubric": before.rubric}),
                   scans=_scans(result, settings, lit=months))  # fmt: skip
    weights, rubrics = _changes(result, settings)
    try:
        found = base.rescore(weights, rubrics)
    except UsageError as problem:
        raise NeedsRun(problem.given, problem.expected, RUN_IT) from None
    return found


def _scans(result: Result, settings: Settings, *, lit: bool) -> list[Scan]:
    """The scans that there are and those of sizes that are new, on the frames in memory. Arguments: lit, whether the light is of other
    months: then the frames carry it, and every scan is new."""
    known = {(id(scan.frame), scan.house): scan for scan in result.scans}
    frames = {id(scan.frame): scan.frame for scan in result.scans}
    found = []
    for key, before in frames.items():
        frame = relit(result.site, before, settings) if lit else before
        barred = bars(frame, settings.clearance_m)
        for house in settings.houses:
            scan = known.get((key, house))
            if scan is None or lit:
                pad = Pad.around(house, settings.apron_m)
                ground = scan.ground if scan is not None else open_ground(frame, pad, settings.setback_m, barred)
                scan = scanned(frame, (house, pad), ground, result.judges, settings.pad_pitch)
            found.append(scan)
    return found


def _follows_the_season(result: Result) -> bool:
    """Whether anything but the light was made for the crop months: a criterion, or a process whose layers are there."""
    layers = {name for scan in result.scans for name in scan.frame.layers}
    made = [
        one
        for one in catalogue.processes()
        if one.id != PROCESS.id and {spec.id for spec in one.description.makes} & layers
    ]
    about = [one.description for one in made] + [judge.criterion.description for judge in result.judges]
    facts = {parameter.id for one in about for parameter in one.parameters} | {
        spec.id for one in about for spec in one.reads
    }
    return bool(facts & {"crop_months", "sun"})


def _changes(result: Result, settings: Settings) -> tuple[dict[str, float], dict[str, Mapping[str, Any]]]:
    """Weights of all criteria and curves that differ. Errors: NeedsRun for a criterion that was not measured."""
    judges = {judge.id: judge for judge in result.judges}
    unknown = [name for name in (*settings.weight, *settings.rubric) if name not in judges]
    if unknown:
        raise NeedsRun(f"{criterion_title(unknown[0])} was not measured", "a criterion of the run", RUN_IT)
    weights: dict[str, float] = {}
    rubrics: dict[str, Mapping[str, Any]] = {}
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
