"""Lamps of the site become a layer of night light."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from tunnelsite.core.counting import counted, verb
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Features
from tunnelsite.core.site import Frame
from tunnelsite.kernels.light.illuminance import Lamps, lamp_light

USUAL_HEIGHT_M = 5.0  # of a yard lamp whose height is not given; common practice, no source
LIGHT_HEIGHT_M = 1.0
LEAST_LUX = 0.01  # fainter lamps are left out: a tenth of a typical full moon [@moon-kyba]
MOST_LUMENS = 1e7


def add_night_light(frame: Frame, light_height_m: float = LIGHT_HEIGHT_M) -> None:
    """Give the frame the layer `night_lux` [lx] from its lamps; nothing where there are none. Needs `surface`.

    Errors: InputRefused for lamps without sensible lumens.
    """
    if frame.lamps is None or not len(frame.lamps):
        return
    lamps = _on_grid(frame, frame.lamps)
    eye = frame.ground + np.float32(light_height_m)
    light = lamp_light(frame.layers["surface"], eye, frame.grid.cell_m, lamps, LEAST_LUX)
    frame.keep("night_lux", light, "lx")
    frame.notes.append(
        f"night light from the {counted(len(lamps.row), 'lamp')} of {frame.lamps.name} alone, on leaves facing each, "
        f"{light_height_m:g} m above "
        f"the ground, each where it gives {LEAST_LUX:g} lx or more; trees and buildings hide light, sky glow is not in it"
    )


def column(features: Features, name: str) -> np.ndarray | None:
    """A column by its name in any case, or None."""
    return next((values for key, values in features.columns.items() if key.lower() == name), None)


def numbers(values: np.ndarray) -> np.ndarray:
    """The values as floats; what is empty or no number is NaN."""

    def plain(value: Any) -> float:
        try:
            return float(value)
        except (TypeError, ValueError):
            return np.nan

    return np.array([plain(value) for value in values], float)


def lumens(lamps: Features) -> np.ndarray:
    """The lumens of each lamp [lm]. Errors: InputRefused where they are missing or not sensible."""
    given = column(lamps, "lumens")
    if given is None:
        raise InputRefused(
            f"{lamps.name} has the columns {', '.join(lamps.columns) or 'none'}",
            "a column lumens",
            "add the light of each lamp; see its label or data sheet",
        )
    result = numbers(given)
    bad = ~(np.isfinite(result) & (result >= 0) & (result <= MOST_LUMENS))
    if bad.any():
        first = int(np.argmax(bad))
        raise InputRefused(
            f"{lamps.name} has {int(bad.sum())} lamps without sensible lumens, the first is feature {first + 1} with {given[first]!r}",
            f"0 to {MOST_LUMENS:g} lm",
            "fill in the column; an unknown lamp is not a dark one",
        )
    return result


def _on_grid(frame: Frame, lamps: Features) -> Lamps:
    """The lamps inside the grid, as the kernel wants them; what was assumed or left out is noted."""
    grid, light = frame.grid, lumens(lamps)
    owner = np.repeat(np.arange(len(lamps)), shapely.get_num_coordinates(lamps.geometry))
    place = shapely.get_coordinates(lamps.geometry)
    per_point = np.bincount(
        owner, minlength=len(lamps)
    )  # a multipoint of n shares its lumens: it is one entry of the file
    stated = column(lamps, "height_m")
    height = np.full(len(lamps), np.nan) if stated is None else numbers(stated)
    guessed = ~(height > 0)
    height = np.where(guessed, USUAL_HEIGHT_M, height)
    shape = column(lamps, "light")
    downward = (
        np.zeros(len(lamps), bool) if shape is None else np.array([str(v).strip().lower() == "downward" for v in shape])
    )
    row = (grid.north_m - place[:, 1]) / grid.cell_m - 0.5
    col = (place[:, 0] - grid.west_m) / grid.cell_m - 0.5
    i, j = np.rint(row).astype(int), np.rint(col).astype(int)
    inside = (i >= 0) & (i < grid.rows) & (j >= 0) & (j < grid.cols)
    i, j = i.clip(0, grid.rows - 1), j.clip(0, grid.cols - 1)
    inside &= np.isfinite(frame.ground[i, j])
    top = np.fmax(frame.ground[i, j] + height[owner], frame.layers["surface"][i, j])
    raised = inside & (top > frame.ground[i, j] + height[owner] + 0.01)
    _note_lamps(frame, lamps.name, int(guessed.sum()), int((~inside).sum()), int(raised.sum()))
    share = (light / np.maximum(per_point, 1))[owner]
    return Lamps(*(values[inside] for values in (row, col, top, share, downward[owner].astype(float))))


def _note_lamps(frame: Frame, name: str, guessed: int, off: int, high: int) -> None:
    """Note lamps without a height, off the data and inside something that stands."""
    if guessed:
        has = verb(guessed, "has", "have")
        frame.notes.append(
            f"{counted(guessed, 'lamp')} of {name} {has} no height_m: {USUAL_HEIGHT_M:g} m was taken (common practice)"
        )
    if off:
        lies, was = (verb(off, *two) for two in (("lies", "lie"), ("was", "were")))
        frame.notes.append(f"{counted(off, 'lamp')} of {name} {lies} off the data and {was} left out")
    if high:
        lies = verb(high, "lies", "lie")
        frame.notes.append(
            f"{counted(high, 'lamp')} of {name} {lies} inside a tree or building: taken to its top, so that it is not hidden"
        )
