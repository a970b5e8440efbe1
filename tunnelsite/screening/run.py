"""The screening: prepare -> measure -> judge -> rank -> refine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tunnelsite.core import catalogue
from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import TunnelsiteError, UsageError
from tunnelsite.core.house import House, Pad
from tunnelsite.core.layers import Layer
from tunnelsite.core.one_process import refuse_forked
from tunnelsite.core.plug_ins import PlugInFailed
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.site import Frame, Site
from tunnelsite.core.wind import WindRose
from tunnelsite.criteria.reach import reach
from tunnelsite.io.read.named_files import with_named_files
from tunnelsite.processes.outlines_given import OUTLINES
from tunnelsite.scan.beyond import beyond_layers
from tunnelsite.scan.data_checks import check_data, check_houses
from tunnelsite.scan.doubts import doubt_surface
from tunnelsite.scan.engine import Judge, Scan, scanned
from tunnelsite.scan.far_ground import far_ground
from tunnelsite.scan.judge import scores
from tunnelsite.scan.lamps import add_night_light
from tunnelsite.scan.localise import frame_grid, localised
from tunnelsite.scan.open_ground import bars, open_ground
from tunnelsite.scan.pitch_error import stated_error
from tunnelsite.scan.ranking import RankRules, ranked
from tunnelsite.scan.refine import broken_rules
from tunnelsite.scan.soils import add_soils
from tunnelsite.scan.steady import steady_scores
from tunnelsite.scan.surface import add_surface, outline_edges
from tunnelsite.screening.cost import refuse_shortage
from tunnelsite.screening.crop_sun import sun_table
from tunnelsite.screening.needs import given_for, left_out
from tunnelsite.screening.not_assessed import Gap, gaps
from tunnelsite.screening.python_call import houses_asked, settings_asked, told_houses
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import Settings, settings_from


def screen(
    site: Site,
    houses: House | Sequence[House] | None = None,
    *,
    crop_months: str | None = None,
    settings: Settings | None = None,
    progress: Progress = silent,
) -> Result:
    """Score every placement of every house on every parcel of a site and rank the best that do not overlap.

    Arguments:
        site: from `read_site`.
        houses: one house or several that compete; default: those of the settings.
        crop_months: `10-01:04-30`; default: that of the settings.
        settings: everything else; default: `Settings()`.
        progress: called with (what is being done, share done 0..1).
    Return: Result; an empty ranking with reasons is a result too.
    Errors: InputRefused, UsageError, ResourceShortage.
    """
    settings = settings_asked(settings)
    wanted = houses_asked(site, houses, settings)
    site = with_named_files(site, settings.parameter)
    if crop_months is not None:
        settings = settings.model_copy(update={"crop_months": settings_from({"crop_months": crop_months}).crop_months})
    settings = told_houses(settings, wanted)
    skipped: list[str] = []  # plug-ins that cannot be used; the run goes on without them and says so
    judges = judges_of(site, settings, wanted[0].kind, skipped.append)
    refuse_shortage(site, settings, len(judges))
    doubts = check_houses(site, settings.cell_m, wanted)
    refuse_forked()
    frames: dict[float, Frame] = {}
    while True:
        try:
            scans = _scans(site, settings, wanted, (judges, frames), progress)
            break
        except PlugInFailed as problem:  # without it everything is as if it had never been there
            judges = _without(judges, problem, skipped)
    for frame in frames.values():
        frame.notes += [*doubts, *skipped]
    result = judged(site, settings, scans, judges, gaps(site, settings, judges, skipped.append))
    return replace(result, left_out=skipped)


def _scans(
    site: Site,
    settings: Settings,
    houses: Sequence[House],
    known: tuple[list[Judge], dict[float, Frame]],
    progress: Progress,
) -> list[Scan]:
    """A scan of every house on every bearing; frames that were made stay in `known`."""
    judges, frames = known
    scans: list[Scan] = []
    for bearing in settings.bearings:
        if bearing not in frames:
            frames[bearing] = prepared(site, settings, bearing, judges, progress)
        frame = frames[bearing]
        barred = bars(frame, settings.clearance_m)
        for house in houses:
            pad = Pad.around(house, settings.apron_m)
            ground = open_ground(frame, pad, settings.setback_m, barred)
            scans.append(scanned(frame, (house, pad), ground, judges, settings.pad_pitch, progress))
    return scans


def _without(judges: list[Judge], problem: PlugInFailed, skipped: list[str]) -> list[Judge]:
    left = [judge for judge in judges if judge.id != problem.plug_in]
    if len(left) == len(judges) or not any(judge.rubric.weight > 0 for judge in left):
        raise problem
    skipped.append(f"criterion {problem.plug_in!r} of a plug-in was left out of this run: {problem.problem}")
    return left


def judged(site: Site, settings: Settings, scans: list[Scan], judges: list[Judge], missing: list[Gap]) -> Result:
    """Score, rank and refine what was measured; no terrain is computed here."""
    refuse_forked()
    here = [scan.frame.store.kept(scores(scan, judges, settings.combine)) for scan in scans]
    scored = [steady_scores(scan, values, settings.shift_m) for scan, values in zip(scans, here, strict=True)]
    result = Result(site, settings, scans, judges, scored, here, [], missing)

    def sound(scan: Scan, item: int) -> bool:
        return not broken_rules(scan, item, settings.setback_m, settings.clearance_m)

    result.choices = ranked(scans, scored, RankRules(settings.top, result.apart_m, settings.per_parcel), sound)
    left = sum(len(values) for values in scored)
    if left and not result.choices and not any(map(site.store.finite, scored)):
        weighted = ", ".join(judge.id for judge in judges if judge.rubric.weight > 0)
        text = f"{left:,} placements passed every limit, but none of what has a weight ({weighted}) could be assessed there"
        result.notes.append(text)
    return result


def judges_of(site: Site, settings: Settings, kind: str, report: catalogue.Report = lambda text: None) -> list[Judge]:
    """The criteria of a run with their rubrics and parameters. Errors: UsageError for unknown names."""
    found = [*catalogue.criteria(report), *(reach(name) for name, item in site.services.items() if len(item))]
    known = {criterion.id: criterion for criterion in found}
    for given in (settings.weight, settings.rubric, settings.parameter):
        for name in given:
            if name not in known:
                raise UsageError(f"there is no criterion {name!r}", ", ".join(known), nearest(name, known))
    judges = []
    for criterion in found:
        if "asked" in criterion.needs and not (
            settings.weight.get(criterion.id, 0) > 0 or criterion.id in settings.rubric
        ):
            continue
        unmet = [need for need in criterion.needs if need != "asked" and not given_for(need, site, settings)]
        if unmet:
            left_out(criterion.id, unmet, settings, report)
            continue
        rubric = settings.rubric_for(criterion.id, criterion.rubric(kind))
        given = dict(settings.parameter.get(criterion.id, {}))
        if any(parameter.id == "shrink" for parameter in criterion.description.parameters):
            given.setdefault("shrink", settings.shrink)
        if any(parameter.id == "wanted_deg" for parameter in criterion.description.parameters):
            given.setdefault("wanted_deg", settings.bearing_deg)
        if criterion.id == "standing" and criterion.id not in settings.rubric:
            rubric = settings.rubric_for(criterion.id, _limited(rubric, settings.standing_limit_m))
        if criterion.id == "water_like" and settings.keep_water_like:
            rubric = _limited(rubric, None)
        judges.append(Judge(criterion, rubric, criterion.description.checked(given)))
    if not any(judge.rubric.weight > 0 for judge in judges):
        raise UsageError("every weight is 0", "at least one weight above 0", "raise a weight")
    return judges


def _limited(rubric, limit):
    return replace(rubric, limit=limit)


def framed(site: Site, settings: Settings, bearing_deg: float) -> Frame:
    """The frame of one ridge bearing with the layers that need no process. Errors: InputRefused."""
    grid = frame_grid(site, bearing_deg=bearing_deg, cell_m=settings.cell_m, halo_m=settings.halo_m)
    frame = localised(site, grid)
    frame.error = stated_error(frame, *settings.error)
    check_data(site, frame, settings.halo_m)
    add_surface(frame, settings.bare_transmission)
    add_soils(frame)
    add_night_light(frame)
    return frame


def prepared(site: Site, settings: Settings, bearing_deg: float, judges: list[Judge], progress: Progress) -> Frame:
    """The frame of one ridge bearing with every layer that the criteria read. Errors: InputRefused."""
    progress("local grid", 0.0)
    frame = framed(site, settings, bearing_deg)
    grid = frame.grid
    progress("local grid", 1.0)

    def resting(what: str, share: float) -> None:
        frame.store.rest()
        progress(what, share)

    wanted = {spec.id for judge in judges for spec in judge.criterion.description.reads}
    processes = catalogue.processes(frame.notes.append)
    for process in reversed(processes):  # what makes a wanted layer may read what only an earlier process makes
        if {spec.id for spec in process.description.makes} & wanted - frame.layers.keys():
            wanted |= {spec.id for spec in process.description.reads if not spec.optional}
    for process in processes:
        makes = {spec.id for spec in process.description.makes}
        if not makes & wanted - frame.layers.keys():
            continue
        inputs = {
            spec.id: Layer(frame.layers[spec.id], spec.unit, spec.title, (grid.cell_m, grid.cell_m))
            for spec in process.description.reads
            if spec.id in frame.layers
        }
        if any(spec.id == "sun" for spec in process.description.reads):
            inputs["sun"] = Layer(sun_table(site, frame, settings), "deg, deg, Wh/m2, 1, 1", "sun of the crop months")
        if any(spec.id == OUTLINES.id for spec in process.description.reads):
            inputs[OUTLINES.id] = Layer(outline_edges(frame), OUTLINES.unit, OUTLINES.title)
        if site.drained is not None and any(spec.id == "upslope_beyond_m2" for spec in process.description.reads):
            inputs |= beyond_layers(site.drained(), frame)
        parameters = process_parameters(process.id, frame, settings, site.wind)
        if process.id == "season_light" and site.far_dem is not None:
            far = far_ground(site.far_dem, frame, settings.far_reach_m)
            frame.notes += far.notes
            inputs["far_ground"] = Layer(far.heights, "m", "far ground", (far.grid.cell_m, far.grid.cell_m))
            parameters |= dict(zip(("far_south_m", "far_east_m"), far.corner_m(grid), strict=True))
        try:
            made = process(inputs, parameters, resting)
        except TunnelsiteError as problem:
            if process.id in catalogue.BUILT_IN_PROCESSES:
                raise
            frame.notes.append(f"process {process.id!r} of a plug-in was skipped: {problem}")
            continue
        halves = {spec.id for spec in process.description.makes if spec.half}
        for name in list(made):  # one by one and by no other name, so that what is kept in a file leaves memory here
            if name not in frame.layers:
                values = made[name].values
                frame.keep(name, values.astype(np.float16) if name in halves else values, made[name].unit)
                del values
            del made[name]
    doubt_surface(frame, site.dem.name)
    return frame


def process_parameters(process_id: str, frame: Frame, settings: Settings, wind: WindRose | None = None) -> dict:
    """What a built-in process has to be told about the site."""
    if process_id == "wind_shelter" and wind is not None:
        return {"winds": wind.text(), "bearing_deg": frame.grid.bearing_deg}
    if process_id in ("level_patches", "raised_ground"):
        return {"step_m": frame.step_m}
    if process_id == "noon_sun":
        light = {"light_height_m": settings.light_height_m}
        return {"latitude_deg": frame.lat_deg, "bearing_deg": frame.grid.bearing_deg} | light
    if process_id != "season_light":
        return {}
    return {
        "bearing_deg": frame.grid.bearing_deg,
        "azimuths": settings.azimuths,
        "light_height_m": settings.light_height_m,
    }
