"""Hilltops: a warning where the ground speeds the wind up."""

from __future__ import annotations

import math

import numpy as np

from tunnelsite.core.site import Frame
from tunnelsite.kernels.topographic_factor import section_factor

REACHES_M = (50.0, 100.0, 200.0, 400.0, 800.0)  # a small knoll on the flank of a great hill is a feature of its own
EVERY_DEG = (0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0)  # upwind ground by 45 deg sectors [@asce7-sectors]
LEAST_FACTOR = 1.15  # a warning below a seventh more pressure would stand on every rise; common practice, no source
SPACING_CELLS = 2.0


def speed_up(
    frame: Frame, along_m: float, across_m: float, from_deg: tuple[float, ...] = EVERY_DEG
) -> tuple[float, float]:
    """(greatest topographic factor Kzt, direction the wind comes from [deg]) at a spot, for a warning only.

    Arguments: frame; along_m, across_m [m]; from_deg, directions tried, from true north. Exposure C and the ground itself
    (z = 0) are taken; features as `section_factor` reads them within 50 to 800 m. (NaN, NaN) where the ground is unknown.
    """
    grid = frame.grid
    step = max(SPACING_CELLS * grid.cell_m, 2.0)
    best = (math.nan, math.nan)
    for azimuth in from_deg:
        turn = math.radians(azimuth - (grid.bearing_deg - 90.0))
        for reach in REACHES_M:
            count = int(reach / step)
            away = np.arange(-count, count + 1) * -step  # the first is farthest upwind
            heights = _nearest(frame, along_m + away * math.sin(turn), across_m + away * math.cos(turn))
            factor = section_factor(heights, step, count)
            if factor > best[0] or math.isnan(best[0]):
                best = (factor, azimuth if not math.isnan(factor) else math.nan)
    return best


def speed_up_words(factor: float, from_deg: float) -> str:
    """The warning in words, or nothing."""
    if not factor >= LEAST_FACTOR:
        return ""
    what = f"hilltop: wind pressure up to about {factor:.1f} times (from {from_deg:g} deg; screening of ASCE 7 Kzt)"
    return what + ", have wind loads confirmed"


def _nearest(frame: Frame, along: np.ndarray, across: np.ndarray) -> np.ndarray:
    grid = frame.grid
    row = np.floor((grid.north_m - across) / grid.cell_m).astype(int)
    col = np.floor((along - grid.west_m) / grid.cell_m).astype(int)
    inside = (row >= 0) & (row < grid.rows) & (col >= 0) & (col < grid.cols)
    found = frame.ground[row.clip(0, grid.rows - 1), col.clip(0, grid.cols - 1)].astype(np.float64)
    return np.where(inside, found, np.nan)
