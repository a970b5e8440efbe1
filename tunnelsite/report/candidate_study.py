"""What a report computes for one ranked candidate beyond the screening: earthwork, drainage, horizon and light."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.core.site import Frame
from tunnelsite.drawing.markup import plain_name
from tunnelsite.plans.drainage.plan import DrainageSettings, drainage_plan
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.error import earthwork_error
from tunnelsite.plans.grading.plan import grading_plan
from tunnelsite.plans.grading.words import drainage_summary, grading_summary
from tunnelsite.plans.limits import site_limits
from tunnelsite.plans.place import Place
from tunnelsite.plans.plan import Plan
from tunnelsite.plans.sunchart.plan import sun_chart_in
from tunnelsite.plans.sunchart.view import SunView
from tunnelsite.scan.pitch_error import counted_error, stated_error
from tunnelsite.scan.refine import placement

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

TITLE_LETTERS = 44  # a longer name would run over the edge of a picture
DRAWS = 100


@dataclass(frozen=True)
class Study:
    """One candidate, studied.

    Attributes:
        rank; row, its columns in `candidates`. title: rank, parcel and house in words, shortened.
        plan, drainage: or None. grading, water: their numbers, or None. chart: or None.
        missing: what could not be planned and why, by `grading`, `drainage`, `sun`.
    """

    rank: int
    row: Mapping[str, Any]
    title: str
    plan: Any = None
    drainage: Any = None
    grading: Mapping[str, Any] | None = None
    water: Mapping[str, Any] | None = None
    sun: Plan | None = None
    missing: Mapping[str, str] = field(default_factory=dict)


def studied(result: Result, rank: int, view: SunView | None) -> Study:
    """Plan and look round at one candidate; what cannot be done is said, not raised.

    Arguments: result; rank, from 1; view, or None where the surface is not known (a run kept without its inputs).
    """
    row = result.rows[rank - 1]
    title = f"Candidate {rank}, {shortened(str(row['parcel']))}, {row['house']}"
    missing: dict[str, str] = {}
    plan = drainage = grading = water = chart = None
    try:
        plan, grading = _earthwork(result, rank)
    except TunnelsiteError as problem:
        missing["grading"] = missing["drainage"] = str(problem)
    if plan is not None:
        try:
            drainage, water = _drainage(result, rank, plan)
        except TunnelsiteError as problem:
            missing["drainage"] = str(problem)
    if view is None:
        missing["sun"] = "the kept run holds no surface: name the screening's inputs (--project) to have the sun charts"
    else:
        try:
            chart = sun_chart_in(view, replace(result.option(rank), title=title))
        except TunnelsiteError as problem:
            missing["sun"] = str(problem)
    return Study(rank, row, title, plan, drainage, grading, water, chart, missing)


def shortened(name: str, letters: int = TITLE_LETTERS) -> str:
    """A name that fits a picture; the whole of it stands in the text."""
    return plain_name(name, letters)


def place_of(result: Result, rank: int) -> tuple[Place, shapely.Geometry]:
    """Where a candidate stands, and the parcel that holds it in the grid's along and across [m]."""
    choice = result.choices[rank - 1]
    scan = result.scans[choice.scan]
    row, col, _, _ = placement(scan, choice.item)
    return Place(scan.frame.grid, row, col, scan.house, scan.pad), scan.frame.parcels[scan.owner[choice.item]]


def _earthwork(result: Result, rank: int):
    """(grading plan, its numbers). Errors: InputRefused, as `grading_plan`."""
    place, parcel = place_of(result, rank)
    frame, settings = result.scans[result.choices[rank - 1].scan].frame, result.settings
    error = counted_error(frame, (place.row, place.col), stated_error(frame, *settings.error))
    limits = _limits(result, frame, parcel)
    ground = frame.ground.astype(np.float64) + frame.datum_m
    asked = EarthRule(max_slope=settings.pad_pitch, shrink=settings.shrink)
    plan = grading_plan(ground, place, asked, limits, error)
    spread = earthwork_error(plan, error, DRAWS)
    return plan, grading_summary(plan, spread)


def _limits(result: Result, frame: Frame, parcel: shapely.Geometry):
    return site_limits(frame, parcel, result.settings.clearance_m, result.settings.setback_m)


def _drainage(result: Result, rank: int, plan):
    """(drainage plan, its numbers). Errors: InputRefused, as `drainage_plan`."""
    asked = DrainageSettings()
    frame = result.scans[result.choices[rank - 1].scan].frame
    found = drainage_plan(plan, asked, _limits(result, frame, place_of(result, rank)[1]))
    return found, drainage_summary(found, plan.place, asked.storm)
