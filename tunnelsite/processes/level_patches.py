"""Large patches of exactly level ground: what ponds, lakes and filled voids look like in an elevation model."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.level_patches import level_cells

TOLERANCE_M = 2e-4  # heights are float32 above a datum: equal ones stay equal to well below this through the warp
LOWER_M = 0.01  # a rim cell this much lower than the patch lets water out
SAME_HEIGHT_PATCHES = 3  # as many patches at one height are voids filled with a number, not benches or ponds
_RING = np.ones((3, 3), bool)


def _holds_water(ground: np.ndarray, label: np.ndarray, count: int, most_lower: float) -> np.ndarray:
    """bool [count + 1]: patches whose rim is hardly ever lower than they are; a bench falls away on its lower side."""
    level = np.zeros(count + 1)
    for rows in bands(label.shape):
        level[label[rows].ravel()] = ground[rows].ravel()
    total, low = np.zeros(count + 1, np.int64), np.zeros(count + 1)
    for rows in bands(label.shape):
        top, bottom = max(rows.start - 2, 0), rows.stop + 2  # the dilations reach two cells
        region = ndimage.grey_dilation(label[top:bottom], size=(3, 3))  # the windows' outer cells are level too
        outer = ndimage.grey_dilation(region, size=(3, 3))
        mine = slice(rows.start - top, rows.stop - top)
        rim = (outer[mine] > 0) & (region[mine] == 0) & np.isfinite(ground[rows])
        of = outer[mine][rim]
        lower = ground[rows][rim] < level[of] - LOWER_M
        total += np.bincount(of, minlength=count + 1)
        low += np.bincount(of, weights=lower, minlength=count + 1)
    share = low / np.maximum(total, 1)
    alike = np.round(level[1:] / TOLERANCE_M).astype(np.int64)
    _, place, times = np.unique(alike, return_inverse=True, return_counts=True)
    filled = np.concatenate([[False], times[place] >= SAME_HEIGHT_PATCHES])
    return (share <= most_lower) | filled


def _run(inputs, parameters, progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    values = np.ascontiguousarray(ground.values, np.float32)
    level = level_cells(values, np.float32(TOLERANCE_M))
    progress("level patches", 0.5)
    known = sum(int(np.count_nonzero(np.isfinite(values[rows]))) for rows in bands(values.shape))
    if level.sum() > parameters["most_share"] * known:
        level[:] = False  # most of the data is level: heights are rounded or the land is, and the sign means nothing
    if level.any():
        label, count = ndimage.label(level, structure=_RING)
        cells = sum(np.bincount(label[rows].ravel(), minlength=count + 1) for rows in bands(label.shape))
        small = cells * (ground.cell_m[0] * ground.cell_m[1]) < parameters["least_m2"]
        for rows in bands(label.shape):
            label[rows][small[label[rows]]] = 0
        wet = _holds_water(values, label, count, parameters["most_lower"])
        wet[0] = False
        for rows in bands(label.shape):
            level[rows] = wet[label[rows]]
        del label
        level = ndimage.binary_dilation(level, structure=_RING)
    progress("level patches", 1.0)
    return {"water_like": Layer(level.astype(np.float32), "1", "Looks like open water", ground.cell_m)}


PROCESS = Process(
    Description(
        "level_patches",
        "Level patches",
        "Marks patches whose heights are all equal and whose rim is not lower, as open water is in flattened elevation models, and "
        "level patches that recur at one height, as filled voids do.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(LayerSpec("water_like", "1", "1 = looks like open water"),),
        parameters=(
            Parameter("least_m2", "smallest patch", 100.0, "m2", 0.0, 1e9),
            Parameter("most_lower", "share of the rim that may be lower than the patch", 0.1, "1", 0.0, 1.0),
            Parameter("most_share", "share of the data above which the sign is not believed", 0.75, "1", 0.0, 1.0),
        ),
        source="hydro-flattening as in the USGS Lidar Base Specification (from memory)",
    ),
    _run,
)
