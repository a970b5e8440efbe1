"""A screening on the desk: a first look where the exact one takes long, the exact one, and its files, whole or not at all."""

from __future__ import annotations

import json
import os
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import OutputFailed
from tunnelsite.core.site import Site
from tunnelsite.desk.answer import Told, answer_of
from tunnelsite.desk.measures import Units
from tunnelsite.desk.project import FARM, Project
from tunnelsite.desk.steps import Clock
from tunnelsite.io.read.site import inputs_unchanged, site_from
from tunnelsite.screening.cost import estimated, work_of
from tunnelsite.screening.kept_run import keep_run
from tunnelsite.screening.result import Result
from tunnelsite.screening.run import screen
from tunnelsite.settings.model import Settings

FIRST_LOOK_FROM_S = 5.0
COARSER, COARSEST_M = 3.0, 4.0  # a first look has a ninth of the cells; wider ones do not show how a house would stand
USUAL_CRITERIA = 25
SITES, KEPT, ANSWER = "sites.gpkg", "run.npz", "answer.json"
Says = Callable[[dict[str, Any]], None]


@dataclass(frozen=True)
class Screened:
    """A finished screening: site, result, and the message that tells it."""

    site: Site
    result: Result
    answer: dict[str, Any]


def screened(project: Project, run: str, says: Says, keep: bool) -> Screened:
    """Screen a project as the command line does.

    Arguments: project; run, its id; says, called with progress and the first look; keep, whether it is written to `runs/`.
    Errors: those of the readers and of the screening; OutputFailed; nothing half is left.
    """
    begun, text = time.monotonic(), project.text()
    settings, units = project.settings(), Units(project.units == "ft")
    start = {"id": run, "state": "running"}
    clock = Clock(says, len(settings.bearings), [house.name for house in settings.houses], start)
    clock("local grid", 0.0)
    site = site_from(settings)
    if keep:
        _first_look(site, settings, run, says, units)
    result = screen(site, settings=settings, progress=clock)
    inputs_unchanged(site)
    clock("ranking", 1.0)
    clock("how firm", 0.0)
    answer = answer_of(result, Told(run, time.monotonic() - begun), units)
    clock("how firm", 1.0)
    if keep:
        clock("writing", 0.0)
        write_run(project, run, (result, answer, text))
        clock("writing", 1.0)
    return Screened(site, result, answer)


def _first_look(site: Site, settings: Settings, run: str, says: Says, units: Units) -> None:
    """An answer on wider cells, where the exact one takes more than a few seconds; it goes to the page and nowhere else."""
    grid, work = work_of(site, settings, USUAL_CRITERIA)
    cell = min(COARSER * grid.cell_m, COARSEST_M)
    if estimated(work).seconds < FIRST_LOOK_FROM_S or cell < 1.5 * grid.cell_m:
        return
    begun = time.monotonic()
    coarse = screen(site, settings=settings.model_copy(update={"cell_m": cell, "bearing_tolerance_deg": 0.0}))
    answer = answer_of(coarse, Told(run, time.monotonic() - begun, first_look=True), units)
    says({"id": run, "state": "first_look", "answer": answer})


def write_run(project: Project, run: str, made: tuple[Result, dict[str, Any], str]) -> Path:
    """Write a run beside its place and put it there. Arguments: made, result, its message and the project file's text."""
    result, answer, text = made
    target, part = project.runs / run, project.runs / f".{run}.partial"
    try:
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True)
        result.write(part / SITES)
        keep_run(result, part / KEPT, overwrite=False)
        (part / FARM).write_text(text, "utf-8")
        (part / ANSWER).write_text(json.dumps(answer, allow_nan=False), "utf-8")
        os.rename(part, target)
    except OSError as problem:
        raise OutputFailed(f"the run could not be written to {target} ({problem.strerror})", "room in the project folder",
                           "make room and run again; the answer was not kept") from None  # fmt: skip
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return target
