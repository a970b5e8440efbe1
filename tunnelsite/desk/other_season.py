"""The land round the house in the hand in other crop months than the run's: only its light is computed again, by the run's own process."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tunnelsite.core.grid import transformer
from tunnelsite.core.reproject import WGS84
from tunnelsite.core.site import Frame, Site
from tunnelsite.processes.season_light import PROCESS
from tunnelsite.scan.spot import cell_at
from tunnelsite.screening.layers import made_by
from tunnelsite.settings.model import Settings

REACH_M = 200.0  # what stands farther away than this casts no shade on a house that is only tried
HELD_M = 60.0  # the house may move this far before the light is computed anew


def lit_near(site: Site, frame: Frame, settings: Settings, place: tuple[float, float]) -> Frame:
    """The land within REACH_M and HELD_M of a place, with the light of the settings' crop months.

    Arguments: site and frame, as screened; settings; place, longitude and latitude [deg]. Errors: UsageError for a place off the data.
    """
    return relit(site, _cut(frame, place, REACH_M + HELD_M), settings)


def relit(site: Site, frame: Frame, settings: Settings) -> Frame:
    """A frame with the light of the settings' crop months, where it has light at all. Errors: those of the process."""
    there = [spec.id for spec in PROCESS.description.makes if spec.id in frame.layers]
    if not there:
        return frame
    made = made_by(PROCESS, site, frame, settings)
    return replace(
        frame, layers=frame.layers | {name: made[name].values.astype(frame.layers[name].dtype) for name in there}
    )


def lit_for(frame: Frame, place: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether land that was lit for a house at one place serves for another. Arguments: places, longitude and latitude [deg]."""
    change = transformer(WGS84, frame.grid.crs_wkt)
    (east, north), (other_east, other_north) = (change.transform(*at) for at in (place, other))
    return bool(np.hypot(east - other_east, north - other_north) <= HELD_M)


def _cut(frame: Frame, place: tuple[float, float], half_m: float) -> Frame:
    """A frame's cells within a square round a place. Errors: UsageError for a place off the data."""
    row, col, _, _ = cell_at(frame, *place)
    grid, half = frame.grid, int(np.ceil(half_m / frame.grid.cell_m))
    top, left = max(0, row - half), max(0, col - half)
    rows, cols = min(grid.rows, row + half + 1) - top, min(grid.cols, col + half + 1) - left
    part = slice(top, top + rows), slice(left, left + cols)
    layers = {name: values[part] for name, values in frame.layers.items()}
    return replace(frame, grid=grid.window(top, left, rows, cols), layers=layers, notes=[])
