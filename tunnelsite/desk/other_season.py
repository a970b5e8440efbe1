"""The land round the house in the hand in other crop months than the run's: only its light is computed again, by the run's own process."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tunnelsite.core.grid import transformer
from tunnelsite.core.layers import Layer
from tunnelsite.core.reproject import WGS84
from tunnelsite.core.site import Frame, Site
from tunnelsite.processes.season_light import PROCESS
from tunnelsite.processes.wanted_cells import WINDOWS
from tunnelsite.scan.spot import cell_at
from tunnelsite.screening.layers import made_by
from tunnelsite.settings.model import Settings

REACH_M = 200.0  # no measure of a house in the hand looks farther for its light
HELD_M = 60.0  # the house may move this far before the light is computed anew


def lit_near(site: Site, frame: Frame, settings: Settings, place: tuple[float, float]) -> Frame:
    """The land within REACH_M and HELD_M of a place, with the light of the settings' crop months: all of the frame casts its shade there.

    Arguments: site and frame, as screened; settings; place, longitude and latitude [deg]. Errors: UsageError for a place off the data.
    """
    rows, cols = _round(frame, place, REACH_M + HELD_M)
    window = np.array([[rows.start, rows.stop, cols.start, cols.stop]], np.float64)
    made = _light(site, frame, settings, {WINDOWS.id: Layer(window, WINDOWS.unit, WINDOWS.title)})
    layers = {name: values[rows, cols] for name, values in frame.layers.items()}
    layers |= {name: values[rows, cols].copy() for name, values in made.items()}
    size = rows.stop - rows.start, cols.stop - cols.start
    return replace(frame, grid=frame.grid.window(rows.start, cols.start, *size), layers=layers, notes=[])


def relit(site: Site, frame: Frame, settings: Settings) -> Frame:
    """A frame with the light of the settings' crop months, where it has light at all. Errors: those of the process."""
    return replace(frame, layers=frame.layers | _light(site, frame, settings, {}))


def _light(site: Site, frame: Frame, settings: Settings, given: dict[str, Layer]) -> dict[str, np.ndarray]:
    """The layers of light that a frame has, in other months."""
    there = [spec.id for spec in PROCESS.description.makes if spec.id in frame.layers]
    made = made_by(PROCESS, site, frame, settings, given=given) if there else {}
    return {name: made[name].values.astype(frame.layers[name].dtype) for name in there}


def lit_for(frame: Frame, place: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether land that was lit for a house at one place serves for another. Arguments: places, longitude and latitude [deg]."""
    change = transformer(WGS84, frame.grid.crs_wkt)
    (east, north), (other_east, other_north) = (change.transform(*at) for at in (place, other))
    return bool(np.hypot(east - other_east, north - other_north) <= HELD_M)


def _round(frame: Frame, place: tuple[float, float], half_m: float) -> tuple[slice, slice]:
    """Rows and columns of a square round a place, as far as the frame goes. Errors: UsageError for a place off the data."""
    row, col, _, _ = cell_at(frame, *place)
    grid, half = frame.grid, int(np.ceil(half_m / frame.grid.cell_m))
    rows = slice(max(0, row - half), min(grid.rows, row + half + 1))
    return rows, slice(max(0, col - half), min(grid.cols, col + half + 1))
