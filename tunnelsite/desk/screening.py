"""A screening on the desk: a first look where the exact one takes long, the exact one, and its files, whole or not at all."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tunnelsite.core.site import Site
from tunnelsite.desk.answer import Told, answer_of
from tunnelsite.desk.measures import Units
from tunnelsite.desk.project import FARM, Project
from tunnelsite.desk.steps import ProgressMessages
from tunnelsite.io.read.site import inputs_unchanged, site_from
from tunnelsite.io.write.staging import write_whole
from tunnelsite.io.write.whole_folder import whole_folder
from tunnelsite.screening.kept_run import keep_run
from tunnelsite.screening.result import Result
from tunnelsite.screening.run import screen
from tunnelsite.screening.run_cost import estimated, work_of
from tunnelsite.settings.model import Settings

FIRST_LOOK_FROM_S, HOW_FIRM_S = 5.0, 5.0  # an exact answer also says how firm the lead is
COARSER, COARSEST_M = 3.0, 4.0  # a first look has a ninth of the cells; wider ones do not show how a house would stand
USUAL_CRITERIA = 25
SITES, KEPT, ANSWER = "sites.gpkg", "run.npz", "answer.json"
Says = Callable[[dict[str, Any]], None]


@dataclass(frozen=True)
class Screened:
    """A finished screening: site, result, and the message that tells it, None where it was only measured again."""

    site: Site
    result: Result
    answer: dict[str, Any] | None


def screened(project: Project, run: str, says: Says, keep: bool) -> Screened:
    """Screen a project as the command line does.

    Arguments: project; run, its id; says, called with progress and the first look; keep, whether it is written to `runs/`.
    Errors: those of the readers and of the screening; OutputFailed; nothing half is left.
    """
    begun, text = time.monotonic(), project.text()
    settings, units = project.settings(), Units(project.units == "ft")
    start = {"id": run, "state": "running"}
    clock = ProgressMessages(says, len(settings.bearings), [house.name for house in settings.houses], start)
    clock("local grid", 0.0)
    site = site_from(settings)
    if keep:
        _first_look(site, settings, run, says, units)
    result = screen(site, settings=settings, progress=clock)
    inputs_unchanged(site)
    if not keep:
        return Screened(site, result, None)
    clock("ranking", 1.0)
    clock("how firm", 0.0)
    answer = answer_of(result, Told(run, time.monotonic() - begun), units)
    clock("how firm", 1.0)
    clock("writing", 0.0)
    write_run(project, run, (result, answer, text))
    clock("writing", 1.0)
    return Screened(site, result, answer)


def _first_look(site: Site, settings: Settings, run: str, says: Says, units: Units) -> None:
    """An answer on wider cells, where the exact one takes more than a few seconds; it goes to the page and nowhere else."""
    grid, work = work_of(site, settings, USUAL_CRITERIA)
    cell = min(COARSER * grid.cell_m, COARSEST_M)
    if estimated(work).seconds + HOW_FIRM_S < FIRST_LOOK_FROM_S or cell < 1.5 * grid.cell_m:
        return
    begun = time.monotonic()
    coarse = screen(site, settings=settings.model_copy(update={"cell_m": cell, "bearing_tolerance_deg": 0.0}))
    answer = answer_of(coarse, Told(run, time.monotonic() - begun, first_look=True), units)
    says({"id": run, "state": "first_look", "answer": answer})


def write_run(project: Project, run: str, made: tuple[Result, dict[str, Any], str]) -> Path:
    """Write a run beside its place and put it there. Arguments: made, result, its message and the project file's text."""
    result, answer, text = made
    with whole_folder(project.runs / run) as part:
        result.write(part / SITES)
        keep_run(result, part / KEPT, overwrite=False)
        write_whole(part / FARM, text, overwrite=False)
        write_whole(part / ANSWER, json.dumps(answer, allow_nan=False), overwrite=False)
    return project.runs / run
