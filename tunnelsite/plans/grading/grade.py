"""The grading plan of any place: earth to move, where its water goes, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.errors import TunnelsiteError, given_or
from tunnelsite.core.placement import Placement
from tunnelsite.core.plan_kind import LAYER, PICTURE, TABLE, Content, PlanKind
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.site import Site
from tunnelsite.core.table import REAL, TEXT, Column, Table
from tunnelsite.core.units import FOOT_M
from tunnelsite.drawing.contours import contour_interval
from tunnelsite.io.formats.plan_styles import plan_styles
from tunnelsite.plans.candidate import Candidate, standing
from tunnelsite.plans.drainage.plan import DrainagePlan, drainage_plan
from tunnelsite.plans.grading.asked import drainage_settings, earth_rule, elevation_error
from tunnelsite.plans.grading.error import EarthworkError, earthwork_error
from tunnelsite.plans.grading.layers import areas_table, lines_table, station_columns, station_rows, stations_table
from tunnelsite.plans.grading.map import MapData, grading_map_svg
from tunnelsite.plans.grading.plan import GradingPlan, grading_plan
from tunnelsite.plans.grading.profiles import profiles_svg
from tunnelsite.plans.grading.settings import GradingSettings
from tunnelsite.plans.grading.words import drainage_summary, grading_summary, profile_rows
from tunnelsite.plans.plan import Lineage, Plan
from tunnelsite.plans.run_table import plan_run_table
from tunnelsite.plans.stakeout.stations import stations

LEAST_CONTOUR_M = 0.1  # below it contours draw the noise of the elevation model
FOOTER = (
    "A plan from elevation data, not a survey: level the pad before earth is moved. Have buried utilities marked before any digging.",
    "Local codes and permits rule; retaining, drainage across boundaries and loads need licensed practice.",
)
STEM = "grading"
FILES = {
    "layers": ".gpkg",
    "map": "-map.svg",
    "profiles": "-profiles.svg",
    "profile_table": "-profiles.csv",
    "station_table": "-stations.csv",
    "summary": ".json",
}
WORDS = ("profile", "label", "kind", "care")  # columns of the sheets that hold words


@dataclass(frozen=True)
class Graded:
    """One place, graded.

    Attributes:
        found: the place on its frame. settings: what was asked. earth: the earthwork. spread: how sure it is.
        water: the drainage, None where it cannot be planned; no_water: why. error: of the elevations; assumed: what was assumed of it.
    """

    found: Candidate
    settings: GradingSettings
    earth: GradingPlan
    spread: EarthworkError
    water: DrainagePlan | None
    no_water: TunnelsiteError | None
    error: ErrorModel
    assumed: tuple[str, ...]

    @property
    def interval_m(self) -> float:
        """Contour interval: as asked, or by the relief."""
        unit_m = FOOT_M if self.earth.place.house.feet else 1.0
        return self.settings.contours_m or contour_interval(self.earth.natural_near(), LEAST_CONTOUR_M, unit_m)

    @property
    def earth_numbers(self) -> dict[str, Any]:
        """The earthwork, ready for JSON."""
        return grading_summary(self.earth, self.spread)

    @property
    def water_numbers(self) -> dict[str, Any] | None:
        """The drainage, ready for JSON; None = not planned."""
        if self.water is None:
            return None
        return drainage_summary(self.water, self.found.place, drainage_settings(self.settings).storm)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to heed, each once."""
        return tuple(dict.fromkeys([*self.earth.warnings, *(self.water.warnings if self.water is not None else ())]))


def grade(site: Site, place: Placement, settings: GradingSettings | None = None, progress: Progress = silent) -> Plan:
    """Earthwork and drainage of one house at a place.

    Args:
        site: as read.
        place: anywhere on the DEM; its settings say the apron, the finished pitch, the shrink factor, what is kept clear and the error
            of the heights.
        settings: of the plan.
        progress: called with (what is being done, share done 0..1).

    Returns:
        Plan with the layers `lines`, `areas`, `stations`, the pictures `map` and `profiles`, the tables `profile_table`,
        `station_table` and `run`; its `detail` is `Graded`.

    Raises:
        InputRefused: where ground under the pad is not known, where side slopes leave the data or never meet the ground, or where
            water cannot be planned.
        UsageError: for settings that do not suit the house.
    """
    return grade_of(standing(site, place), settings, progress)


def grade_of(found: Candidate, settings: GradingSettings | None = None, progress: Progress = silent) -> Plan:
    """The same for a place on its frame."""
    made = graded(found, settings, progress)
    if made.no_water is not None:
        raise made.no_water
    earth, summary, interval = made.earth, _summary(made), made.interval_m
    crs = found.crs
    stood = stations(earth, made.water)
    staked = stations_table(earth, stood, crs)
    maps = (lines_table(earth, made.water, interval, crs), areas_table(earth, crs), staked, _run(made))
    statement = f"Grading and drainage plan of {found.which} by tunnelsite."
    return Plan(
        GRADE.id,
        found.title,
        summary,
        {
            "map": grading_map_svg(MapData(found.title, earth, made.water, interval, FOOTER)),
            "profiles": profiles_svg(found.title, earth, FOOTER),
        },
        {
            "profile_table": _sheet(profile_rows(earth)),
            "station_table": _sheet(station_rows(earth, stood, staked), station_columns(feet=found.place.house.feet)),
        },
        maps,
        Lineage(
            crs,
            statement,
            {item.name: item.sha256 for item in found.site.inputs} | dict(found.placement.sources),
            plan_styles(),
        ),
        (*found.notes, *made.assumed),
        made.cautions,
        STEM,
        FILES,
        made,
    )


def graded(found: Candidate, settings: GradingSettings | None = None, progress: Progress = silent) -> Graded:
    """The earthwork and the water alone, without files and pictures; water that cannot be planned is reported in it, not raised."""
    asked = given_or(settings, GradingSettings)
    progress("earthwork", 0.2)
    error, assumed = elevation_error(found)
    limits = found.limits
    rule = earth_rule(asked, found.settings.pad_pitch, found.settings.shrink)
    earth = grading_plan(found.ground, found.place, rule, limits, error)
    progress("water", 0.0)
    water, problem = None, None
    try:
        water = drainage_plan(earth, drainage_settings(asked), limits)
    except TunnelsiteError as said:
        problem = said
    progress("uncertainty", 0.0)
    spread = earthwork_error(earth, error, asked.draws)
    return Graded(found, asked, earth, spread, water, problem, error, assumed)


def _summary(made: Graded) -> dict[str, Any]:
    found, error = made.found, made.error
    return {
        "title": found.title,
        "lon": found.lon_deg,
        "lat": found.lat_deg,
        "bearing_deg": found.placement.bearing_deg,
        "grading": made.earth_numbers,
        "drainage": made.water_numbers,
        "contour_interval_m": made.interval_m,
        "elevation_error": {"standard_error_m": error.sd_m, "alike_over_m": error.range_m},
        "assumed": list(made.assumed),
        "notes": list(found.notes),
        "cautions": list(made.cautions),
    }


def _run(made: Graded) -> Table:
    """The run table: where the place is from, and what was asked beside the defaults."""
    found, asked, usual = made.found, made.settings, GradingSettings()
    said = {"balance": asked.balance, "no_swale": asked.no_swale}
    said |= {
        field.name: getattr(asked, field.name)
        for field in fields(asked)
        if getattr(asked, field.name) != getattr(usual, field.name)
    }
    return plan_run_table(
        found.site, found.origin | said, [*found.notes, *made.assumed], made.cautions, found.placement.sources
    )


def _sheet(rows: Sequence[dict[str, Any]], heads: Sequence[str] = ()) -> Table:
    """A table of rows; heads, its columns where there is no row."""
    names = rows[0] if rows else heads
    columns = {name: Column([row[name] for row in rows], TEXT if name in WORDS else REAL) for name in names}
    return Table(columns)


GRADE = PlanKind(
    id="grade",
    title="Grading plan",
    text="Earth to move for one house and where its water goes: finished pad, side slopes, volumes with their error, swale, spreaders and "
    "what neighbours get.",
    source="earthwork-depths, earthwork-topsoil-cut, diversion-362, tr-55",
    settings=GradingSettings,
    make=grade,
    gives=(
        Content("lines", LAYER, "daylight line, swale, level spreaders, drain, flow paths and contours"),
        Content("areas", LAYER, "footprint, pad and disturbed ground"),
        Content("stations", LAYER, "stakes of swale, level spreaders and side slopes"),
        Content("map", PICTURE, "cut and fill from above, with contours before and after"),
        Content("profiles", PICTURE, "natural and finished ground along and across the ridge"),
        Content("profile_table", TABLE, "both profiles, point by point"),
        Content("station_table", TABLE, "the stakes with their places and heights"),
        Content("run", TABLE, "inputs, settings, notes, versions and cautions"),
    ),
    reads=("structures", "keep_out", "service"),
    follows=("apron", "pad_pitch", "shrink", "clearance", "setback", "elevation_error", "error_range"),
)
