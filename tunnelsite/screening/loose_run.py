"""A run that is kept with looser limits than asked, so that later ones may be drawn, and cut to the land round the parcels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from tunnelsite.core.elevation_error import CELL_ERROR
from tunnelsite.core.grid import Grid
from tunnelsite.core.site import Frame, Site
from tunnelsite.io.read.named_files import with_named_files
from tunnelsite.scan.engine import Lost, Scan, Tally
from tunnelsite.scan.firmness.parcel_draws import shifted_limit
from tunnelsite.scan.losses import losses
from tunnelsite.screening.judges import judges_of
from tunnelsite.screening.providers import PARCEL_MARGIN_M
from tunnelsite.screening.python_call import houses_asked
from tunnelsite.screening.result import Result
from tunnelsite.screening.run import screen
from tunnelsite.settings.model import Settings

LOOSER = 0.25  # of each limit: farther off than a study is likely to ask for, and few more placements to keep
LAYERS = ("ground", CELL_ERROR, "open_edge", "standing_m", "worst_month", "ponding_m")


def screened_loosely(site: Site, settings: Settings) -> tuple[Result, Result]:
    """A screening with limits a quarter looser, with all that its limits rejected; and the same as the settings ask for it.

    Arguments: as of `screen`. Errors: as `screen`.
    """
    named = with_named_files(site, settings.parameter)
    judges = judges_of(named, settings, houses_asked(site, None, settings)[0].kind)
    limits = {judge.id: judge.rubric for judge in judges if judge.rubric.limit is not None}
    rubric = {name: dict(values) for name, values in settings.rubric.items()}
    for name, one in limits.items():
        changed = {"limit": shifted_limit(one, LOOSER).limit, "source": one.source}
        rubric[name] = rubric.get(name, {}) | changed
    loose = screen(site, settings=settings.model_copy(update={"rubric": rubric}))
    for scan in loose.scans:
        scan.lost = losses(scan, loose.judges, settings.pad_pitch)
    used = {judge.id for judge in loose.judges}
    asked = {name: {"limit": one.limit, "source": one.source} for name, one in limits.items() if name in used}
    return loose, replace(loose.rescore(rubrics=asked), settings=settings)


def as_asked(
    loose: Result,
    limits: Mapping[str, float | None],
    weights: Mapping[str, float] | None = None,
    rubrics: Mapping[str, Mapping[str, Any]] | None = None,
    top: int | None = None,
) -> Result:
    """A run kept by `screened_loosely` with the limits that were asked for, by criterion id, and further changes as `Result.rescore`."""
    wanted: dict[str, dict[str, Any]] = {name: {"limit": limit} for name, limit in limits.items() if limit is not None}
    for name, values in dict(rubrics or {}).items():
        wanted[name] = wanted.get(name, {}) | dict(values)
    sources = {judge.id: judge.rubric.source for judge in loose.judges}
    told = {name: {"source": sources[name]} | values if name in sources else values for name, values in wanted.items()}
    return loose.rescore(weights, told, top)


def cropped(result: Result) -> Result:
    """A result on no more of the land than its parcels and a pad's length round them."""
    frames: dict[int, tuple[Frame, tuple[slice, slice]]] = {}
    spare = PARCEL_MARGIN_M + max(scan.pad.length_m for scan in result.scans)
    scans = []
    for scan in result.scans:
        if id(scan.frame) not in frames:
            frames[id(scan.frame)] = _frame_within(scan.frame, spare)
        scans.append(_scan_within(scan, *frames[id(scan.frame)]))
    return replace(result, scans=scans)


def _frame_within(frame: Frame, spare_m: float) -> tuple[Frame, tuple[slice, slice]]:
    grid = frame.grid
    rows, cols = frame.cells_round(frame.parcels, spare_m)
    part = grid.window(rows.start, cols.start, rows.stop - rows.start, cols.stop - cols.start)
    layers = {name: np.ascontiguousarray(frame.layers[name][rows, cols]) for name in LAYERS if name in frame.layers}
    return replace(frame, grid=part, layers=layers), (rows, cols)


def _scan_within(scan: Scan, frame: Frame, window: tuple[slice, slice]) -> Scan:
    whole, part = scan.frame.grid, frame.grid
    rows, cols = window
    lost = {
        rule: Lost(_renumbered(one.index, whole, part, window), one.owner, one.measures)
        for rule, one in (scan.lost or {}).items()
    }
    tallies = {rule: [_moved(tally, rows.start, cols.start) for tally in found] for rule, found in scan.tallies.items()}
    nudged = scan.ground.nudged
    nudged = replace(nudged, index=_renumbered(nudged.index, whole, part, window))
    ground = replace(scan.ground, owner=scan.ground.owner[rows, cols], nudged=nudged)
    index = _renumbered(scan.index, whole, part, window)
    return replace(scan, frame=frame, index=index, tallies=tallies, ground=ground, lost=lost)


def _moved(tally: Tally, top: int, left: int) -> Tally:
    if tally.miss_row < 0:
        return tally
    return replace(tally, miss_row=tally.miss_row - top, miss_col=tally.miss_col - left)


def _renumbered(index: np.ndarray, whole: Grid, part: Grid, window: tuple[slice, slice]) -> np.ndarray:
    row, col = np.divmod(index, whole.cols)
    found: np.ndarray = (row - window[0].start) * np.int64(part.cols) + col - window[1].start
    return found
