"""Large patches of exactly level ground: what ponds, lakes and filled voids look like in an elevation model."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.terrain.level_patches import level_cells
from tunnelsite.processes.pond_shapes import pond_blocks
from tunnelsite.processes.wanted_cells import WINDOWS, Wanted, wanted_of

TOLERANCE_M = 2e-4  # heights are float32 above a datum: equal ones stay equal to well below this through the warp
LOWER_M = 0.01  # a rim cell this much lower than the patch lets water out
BANK_STEPS = 1.5  # beside ground that was rounded the next cell is one step higher; a bank is more
BANK_SHARE = 0.5  # share of the rim that has to be a bank
SAME_HEIGHT_PATCHES = 3  # as many patches at one height are voids filled with a number, not benches or ponds
LEVELLED_M2 = (
    8_000.0  # larger water has to be levelled [@usgs-hydroflattening]; larger calm ground with a rim may be a field
)
FINE_CELL_M = 3.0  # coarser cells show neither calm nor rim
BLOCK_M = 2.0
_RING = np.ones((3, 3), bool)


@dataclass(frozen=True)
class _Rim:
    """By patch, float64 [count + 1]: its level [m], and the shares of its rim that lie lower and that are a bank."""

    level: np.ndarray
    lower: np.ndarray
    bank: np.ndarray


def _rims(ground: np.ndarray, label: np.ndarray, count: int, bank_m: float) -> _Rim:
    level = np.zeros(count + 1)
    for rows in bands(label.shape):
        level[label[rows].ravel()] = ground[rows].ravel()
    total, low, high = np.zeros(count + 1, np.int64), np.zeros(count + 1), np.zeros(count + 1)
    for rows in bands(label.shape):
        top, bottom = max(rows.start - 2, 0), rows.stop + 2  # the dilations reach two cells
        region = ndimage.grey_dilation(label[top:bottom], size=(3, 3))  # the windows' outer cells are level too
        outer = ndimage.grey_dilation(region, size=(3, 3))
        mine = slice(rows.start - top, rows.stop - top)
        rim = (outer[mine] > 0) & (region[mine] == 0) & np.isfinite(ground[rows])
        of = outer[mine][rim]
        rise = ground[rows][rim] - level[of]
        total += np.bincount(of, minlength=count + 1)
        low += np.bincount(of, weights=rise < -LOWER_M, minlength=count + 1)
        high += np.bincount(of, weights=rise > bank_m, minlength=count + 1)
    known = np.maximum(total, 1)
    return _Rim(level, low / known, high / known)


def _wet(rim: _Rim, patch: np.ndarray, most_lower: float, step_m: float) -> tuple[np.ndarray, np.ndarray]:
    """bool [count + 1] twice: patches that are water, and those that may be water or ground that was rounded.

    Arguments: rim; patch, numbers of the patches that count; most_lower; step_m, 0 = heights were not rounded. A patch
    whose rim is hardly ever lower holds water: a bench falls away on its lower side. Where heights were rounded, every
    valley floor is such a patch, at a height that others share: it is water only where most of its rim is a bank.
    """
    held = rim.lower <= most_lower
    alike = np.round(rim.level[1:] / TOLERANCE_M).astype(np.int64)
    _, place, times = np.unique(alike, return_inverse=True, return_counts=True)
    filled = np.concatenate([[False], times[place] >= SAME_HEIGHT_PATCHES])
    if step_m <= 0 or not len(patch):
        return held | filled, np.zeros(len(held), bool)
    phase = rim.level / step_m
    middle = np.angle(np.mean(np.exp(2j * np.pi * phase[patch]))) / (2 * np.pi)
    rounded = np.abs((phase - middle + 0.5) % 1.0 - 0.5) * step_m <= 2 * TOLERANCE_M + 0.01 * step_m
    banked = held & (rim.bank >= BANK_SHARE)
    return np.where(rounded, banked, held | filled), rounded & held & ~banked


def _add_ponds(ground: Layer, least_m2: float, wanted: Wanted | None, result: np.ndarray) -> None:
    """Mark small water that was not levelled (in place)."""
    cell_m, sizes_m2 = ground.cell_m, (least_m2, LEVELLED_M2)
    side = max(2, round(BLOCK_M / cell_m[0]))
    blocks = None if wanted is None else wanted.blocks(side, 1)  # of a patch that is wanted at least the shore is
    for row, col in np.argwhere(pond_blocks(ground.values, side, cell_m[0] * cell_m[1], sizes_m2, blocks)):
        result[row * side : row * side + side, col * side : col * side + side] = 1.0


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    values = np.ascontiguousarray(ground.values, np.float32)
    level = level_cells(values, np.float32(TOLERANCE_M))
    progress("level patches", 0.5)
    step = parameters["height_step_m"]
    known = sum(int(np.count_nonzero(np.isfinite(values[rows]))) for rows in bands(values.shape))
    if step <= 0 and level.sum() > parameters["most_share"] * known:
        level[:] = False  # most of the data is level: heights are rounded or the land is, and the sign means nothing
    result = np.zeros(values.shape, np.float32)
    if level.any():
        label, count = ndimage.label(level, structure=_RING)
        cells = sum(np.bincount(label[rows].ravel(), minlength=count + 1) for rows in bands(label.shape))
        small = cells * (ground.cell_m[0] * ground.cell_m[1]) < parameters["least_m2"]
        for rows in bands(label.shape):
            label[rows][small[label[rows]]] = 0
        rim = _rims(values, label, count, BANK_STEPS * step)
        wet, unsure = _wet(rim, np.flatnonzero(~small[1:]) + 1, parameters["most_lower"], step)
        for chosen, value in ((unsure, np.nan), (wet, 1.0)):
            chosen[0] = False
            if chosen.any():
                for rows in bands(label.shape):
                    level[rows] = chosen[label[rows]]
                result[ndimage.binary_dilation(level, structure=_RING)] = value
    if parameters["ponds"] == "yes" and step <= 0 and ground.cell_m[0] <= FINE_CELL_M:
        wanted = wanted_of(inputs, values.shape, "level_patches")
        _add_ponds(replace(ground, values=values), parameters["least_m2"], wanted, result)
    progress("level patches", 1.0)
    return {"water_like": Layer(result, "1", "Looks like open water", ground.cell_m)}


PROCESS = Process(
    Description(
        "level_patches",
        "Level patches",
        "Marks patches whose heights are all equal and whose rim is not lower, as open water is in flattened elevation models, and "
        "level patches that recur at one height, as filled voids do. Where heights were rounded to a step, ground looks so too: only "
        "patches with a bank round them are marked, the others are not known. On cells up to 3 m small water that was not levelled is "
        "looked for as well: a calm, nearly level patch of at most 8,000 m2 whose rim rises all round.",
        reads=(LayerSpec("ground", "m", "bare ground"), WINDOWS),
        makes=(LayerSpec("water_like", "1", "1 = looks like open water, no data = not known", half=True),),
        parameters=(
            Parameter("least_m2", "smallest patch", 100.0, "m2", 0.0, 1e9),
            Parameter("most_lower", "share of the rim that may be lower than the patch", 0.1, "1", 0.0, 1.0),
            supplied("height_step_m"),
            Parameter("ponds", "look for small water that was not levelled", "yes", choices=("yes", "no")),
            Parameter("most_share", "share of the data above which the sign is not believed", 0.75, "1", 0.0, 1.0),
        ),
        source="usgs-hydroflattening",
    ),
    _run,
)
