"""Errors of the elevations: their size and correlation length, and fields of them drawn at random."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tunnelsite.core import amounts
from tunnelsite.core.grid import Grid
from tunnelsite.core.height_step import LOUD_STEP_M, RANGE_STEPS, step_words

# Vertical accuracy of lidar of quality level 2, RMSEz [@usgs-ql2] [@asprs-2023].
LIDAR_SD_M = 0.10
# Coarser models: 0.82 m RMSE of the seamless 1/3 arc-second elevations of the conterminous United States against 25,000 surveyed
# points [@stoker-miller-2022]. A global model on 30 m cells is of the same size on open ground, 0.86 m, but it is a SURFACE model, with
# trees and roofs in it [@copernicus-glo30].
COARSE_SD_M = 0.82
LIDAR_CELL_M = 3.0  # wider cells are not taken for lidar
RANGE_M = 5.0  # no source: between the noise of a cell and the steps between flight lines
CELL_ERROR = "cell_error_m"  # id of the layer of standard errors, cell by cell, that the survey's points tell
HARMONICS = (
    128  # waves a field is made of; its variance is exact with any number, more make every single field more Gaussian
)
STEPS = 10  # of a field between which it is straight, to one range of its correlation


@dataclass(frozen=True)
class ErrorModel:
    """Errors of the elevations: Gaussian, stationary, of standard deviation `sd_m` [m] and correlation exp(-(d / range_m)^2);
    `range_m` 0 = every cell for itself. `assumed`: `sd_m` was not given. `own_m`: the model's own cell [m] where it is
    interpolated to finer ones, else 0. `step_m`: the step [m] that the heights were rounded to, else 0. `measured`: `sd_m` is the root
    mean square of a layer of errors, cell by cell (`CELL_ERROR`)."""

    sd_m: float
    range_m: float
    assumed: bool = False
    own_m: float = 0.0
    step_m: float = 0.0
    measured: bool = False

    @property
    def least_m(self) -> float:
        """The least standard deviation [m]: that of rounding, uniform over a step (derived: step / sqrt(12))."""
        return self.step_m / math.sqrt(12.0)

    @property
    def least_share(self) -> float:
        """The share of `sd_m` that rounding makes, below which no smooth ground brings it."""
        return self.least_m / self.sd_m if self.sd_m > 0 else 0.0

    @property
    def seen(self) -> tuple[float, float]:
        """Standard deviation and range [m] on the working grid. Interpolation between cells smooths: a tent of variance own^2 / 6
        along each axis widens range^2 by 2/3 own^2 and spares the sum of the correlation (derived; mean over places between
        the cells)."""
        if self.own_m <= 0 or self.range_m <= 0:
            return self.sd_m, self.range_m
        wide = float(np.sqrt(self.range_m**2 + 2 / 3 * self.own_m**2))
        return self.sd_m * self.range_m / wide, wide

    @property
    def words(self) -> str:
        """For people."""
        return self.words_in(feet=False)

    def words_in(self, *, feet: bool) -> str:
        """The same in the user's units."""
        far = amounts.in_unit(self.range_m, "m", feet=feet, figures=".3g")
        alike = f"correlated over {far}" if self.range_m > 0 else "independent from cell to cell"
        rounded = f", with heights in steps of {step_words(self.step_m)}" if self.step_m > 0 else ""
        how = " (assumed)" if self.assumed else " (by the scatter of the survey's points)" if self.measured else ""
        return f"errors of {amounts.in_unit(self.sd_m, 'm', feet=feet, figures='.2g')}, {alike}{rounded}{how}"

    def plain_words(self, *, feet: bool) -> str:
        """The same without the terms of statistics."""
        off = amounts.depth(self.sd_m, feet=feet)
        rounded = f", in steps of {step_words(self.step_m)}" if self.step_m >= LOUD_STEP_M else ""
        return f"about {off} up or down{rounded}{' (assumed)' if self.assumed else ''}"


def error_model(
    sd_m: float | None, range_m: float | None, own_m: float, cell_m: float, step_m: float = 0.0
) -> ErrorModel:
    """The error of the elevations on a working grid; what was not stated is assumed by the model's own cell.

    Arguments: sd_m, range_m [m], None = not stated; own_m, the elevation model's own cell [m], 0 = not known; cell_m, the
    working cell [m]; step_m, the step that the heights were rounded to [m], 0 = none. A range that is not stated is `RANGE_M` or
    one cell of the model, whichever is more. Working cells finer than the model's own repeat its errors, so the range is at
    least one of the latter. Rounding counts whatever was stated: neither size nor range is less than its own
    (`core.height_step`), since on gentle ground all of a footprint is rounded alike and averaging over its cells does not help.
    """
    interpolated = own_m > 1.01 * cell_m
    length = max(RANGE_M, own_m or cell_m) if range_m is None else range_m
    length, own = (max(length, own_m), own_m) if interpolated else (length, 0.0)
    usual = LIDAR_SD_M if (own_m or cell_m) <= LIDAR_CELL_M else COARSE_SD_M
    found = ErrorModel(usual if sd_m is None else sd_m, max(length, RANGE_STEPS * step_m), sd_m is None, own, step_m)
    return replace(found, sd_m=max(found.sd_m, found.least_m))


def measured_error(sd_m: float, range_m: float | None, own_m: float, step_m: float = 0.0) -> ErrorModel:
    """Errors that the survey's points tell, each cell of the model for itself, as they are after interpolation to a working grid.

    Arguments: sd_m, root mean square of the cells' errors [m]; range_m, as stated, else None; own_m, the model's own cell [m];
    step_m, the step that the heights were rounded to [m], 0 = none. Of a range of own / sqrt(pi) an integral over the correlation is
    one cell's area (derived).
    """
    length = own_m / math.sqrt(math.pi) if range_m is None else range_m
    found = ErrorModel(sd_m, max(length, RANGE_STEPS * step_m), False, own_m, step_m, measured=True)
    return replace(found, sd_m=max(found.sd_m, found.least_m))


@dataclass(frozen=True)
class Waves:
    """A random field of variance 1 as a sum of waves: vectors, float64 [2, n], to the east and to the north [1/m]; swing, complex
    [n]."""

    vectors: np.ndarray
    swing: np.ndarray


def drawn_waves(numbers: np.random.Generator, range_m: float) -> Waves:
    """Waves of a Gaussian field with correlation exp(-(d / range_m)^2), range above 0 [m].

    Source: spectral method, wave vectors drawn from the spectrum of the correlation [@shinozuka-1991].
    """
    vectors = numbers.normal(0.0, np.sqrt(2.0) / range_m, (2, HARMONICS))  # spectrum of exp(-(d / range)^2)
    swing = numbers.normal(0.0, 1.0 / np.sqrt(HARMONICS), (2, HARMONICS))
    return Waves(vectors, swing[0] - 1j * swing[1])


def field_on(waves: Waves, grid: Grid, rows: np.ndarray, cols: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """The field at blocks of cells of a grid, float64 [n, *shape].

    Arguments: waves; grid; rows, cols [n], the upper left cell of each block; shape of a block.
    Grids that are turned against one another share the field. Where cells are far finer than its waves it is taken `STEPS` to a wave
    and runs straight between these, within 0.5 % of its standard deviation (root mean square, derived from its curvature of
    sqrt(12) / range^2).
    """
    along, across = grid.from_map(*waves.vectors)  # a wave vector turns with the grid
    start = grid.centre(rows, cols)
    phase = np.exp(1j * (np.outer(start[0], along) + np.outer(start[1], across))) * waves.swing
    waves_m = np.sqrt(2.0) / np.sqrt(np.mean(waves.vectors**2))
    step = max(1, int(waves_m / STEPS / grid.cell_m))
    knots = [np.arange(-(-(size - 1) // step) + 1) * step for size in shape]
    down = np.exp(-1j * np.outer(knots[0] * grid.cell_m, across))  # rows run south
    right = np.exp(1j * np.outer(along, knots[1] * grid.cell_m))
    left = phase[:, None, :] * down
    # one small product a block: one large one would start the threads of the library for a millisecond's work
    field = np.concatenate([left.real, left.imag], axis=-1) @ np.concatenate([right.real, -right.imag])
    if step == 1:
        return np.asarray(field)
    for axis, size in ((1, shape[0]), (2, shape[1])):
        knot, part = np.divmod(np.arange(size), step)
        share = part[:, None] / step if axis == 1 else part / step
        after = np.minimum(knot + 1, field.shape[axis] - 1)
        field = (1.0 - share) * field.take(knot, axis) + share * field.take(after, axis)
    return np.asarray(field)
