"""The screening: prepare -> measure -> judge -> rank -> refine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tunnelsite.core.house import House, Pad
from tunnelsite.core.one_process import refuse_forked
from tunnelsite.core.plug_ins import PlugInFailed
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.site import Frame, Site
from tunnelsite.io.read.named_files import with_named_files
from tunnelsite.scan.data_checks import check_houses, doubt_cells
from tunnelsite.scan.engine import Judge, Scan, scanned
from tunnelsite.scan.open_ground import bars, open_ground
from tunnelsite.screening.judges import judges_of
from tunnelsite.screening.layers import prepared
from tunnelsite.screening.not_assessed import gaps
from tunnelsite.screening.python_call import houses_asked, settings_asked, with_screened_houses
from tunnelsite.screening.rescoring import Measures
from tunnelsite.screening.result import Result, judged
from tunnelsite.screening.run_cost import refuse_shortage
from tunnelsite.screening.steep_ground import steep_gaps
from tunnelsite.settings.model import Settings, settings_from


def screen(
    site: Site,
    houses: House | Sequence[House] | None = None,
    *,
    crop_months: str | None = None,
    settings: Settings | None = None,
    progress: Progress = silent,
) -> Result:
    """Score every placement of every house on every parcel of a site and rank the best that stand apart.

    Args:
        site: from `read_site`.
        houses: one house or several that compete; default: those of the settings.
        crop_months: such as `10-01:04-30` or `Oct:Apr`; default: that of the settings.
        settings: everything else; default: `Settings()`.
        progress: called with (what is being done, share done 0..1).

    Returns:
        Result; an empty ranking with reasons is a result too.

    Raises:
        InputRefused: where the data cannot tell anything, in words.
        UsageError: for settings that cannot be.
        ResourceShortage: before anything is computed, where memory or disk would clearly not do.
    """
    settings = settings_asked(settings)
    wanted = houses_asked(site, houses, settings)
    site = with_named_files(site, settings.parameter)
    if crop_months is not None:
        settings = settings.model_copy(update={"crop_months": settings_from({"crop_months": crop_months}).crop_months})
    settings = with_screened_houses(settings, wanted)
    skipped: list[str] = []  # plug-ins that cannot be used; the run goes on without them and says so
    judges = judges_of(site, settings, wanted[0].kind, skipped.append)
    refuse_shortage(site, settings, len(judges))
    told = check_houses(site, settings.cell_m, wanted)
    refuse_forked()
    frames: dict[float, Frame] = {}
    while True:
        try:
            scans = _scans(site, settings, wanted, (judges, frames), progress)
            break
        except PlugInFailed as problem:  # without it everything is as if it had never been there
            judges = _without(judges, problem, skipped)
    for frame in frames.values():
        doubt_cells(frame, site.dem.name, wanted)
        frame.notes += [*told, *skipped]
    unseen = [*gaps(site, settings, judges, skipped.append), *steep_gaps(scans[0].frame)]
    result = judged(site, Measures(settings, scans, judges), unseen)
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
