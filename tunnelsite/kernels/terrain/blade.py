"""Ground as a blade meets it: finer cells are averaged over a square of about a blade's width, and looked at that far apart."""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.coverage import axis_weights, rectangle_moments

BLADE_M = (
    1.0  # what a box blade or a skid steer's bucket rides over or shaves off is narrower; common practice, no source
)
# Ripple that errors alone show differs from pad to pad; this much of its standard deviation is counted as error too, so that
# volumes of simulated ground come out without bias (tests/plans/grading/test_volumes_of_known_ground.py).
SPARE_DEVIATIONS = 2.0 / 3.0
# Errors alone show so many of its deviations more on one pad in 15, and on one in 700 (normal).
SURE_FROM, SURE_AT = 1.5, 3.0


def blade_step(cell_m: float) -> int:
    """How many cells lie between one height a blade feels and the next: 1 where cells are half a blade wide or wider."""
    return max(1, int(BLADE_M / cell_m + 1e-9))


def blade_ground(ground: np.ndarray, cell_m: float, rows: tuple[int, int] | None = None) -> np.ndarray:
    """Return the ground averaged over squares of a blade's width round every cell, in its own dtype.

    ground: [rows, columns] [m], NaN = no data. cell_m: side of a cell [m]. rows: first and past-the-last row wanted (default
    all). A square that is not wholly known leaves the cell's own height. Cells of half a blade or more stay as they are.
    """
    start, stop = rows or (0, ground.shape[0])
    if blade_step(cell_m) == 1:
        return ground[start:stop]
    weights = axis_weights(BLADE_M / cell_m)
    reach = weights.size // 2
    top, bottom = max(start - reach, 0), min(stop + reach, ground.shape[0])
    down = _averaged(ground[top:bottom], weights)[start - top : stop - top]
    whole = _averaged(down.T, weights).T
    return np.where(np.isfinite(whole), whole, ground[start:stop])


def _averaged(ground: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Weighted mean along the rows' axis, NaN where it leaves the array."""
    reach, count = weights.size // 2, ground.shape[0]
    out = np.full_like(ground, np.nan)
    if count > 2 * reach:
        inner = np.zeros((count - 2 * reach, ground.shape[1]), ground.dtype)
        for k, share in enumerate((weights / weights.sum()).astype(ground.dtype)):
            inner += share * ground[k : count - 2 * reach + k]
        out[reach : count - reach] = inner
    return out


class Ripple(NamedTuple):
    """What errors of the elevations alone show as ground off its plane under a pad.

    rms: root mean square off the plane for errors of standard deviation 1. freedom: how many independent errors that is.
    """

    rms: float
    freedom: float

    @property
    def counted(self) -> float:
        """Root mean square that is taken for error, for errors of standard deviation 1."""
        if self.rms == 0.0:
            return 0.0
        return self.rms * float(np.sqrt(1.0 + SPARE_DEVIATIONS * np.sqrt(2.0 / self.freedom)))

    def sure(self, kept: np.ndarray) -> np.ndarray:
        """How sure it is that the shape kept of a ground is no error: 0 up to `SURE_FROM` deviations of the mean square that errors show, 1
        from `SURE_AT`. Arguments: kept, share of its heights off the plane, as `kernels.terrain.grading`."""
        deviation = np.sqrt(2.0 / self.freedom)
        with np.errstate(divide="ignore"):
            beyond = ((1.0 + SPARE_DEVIATIONS * deviation) / (1.0 - kept**2) - 1.0) / deviation
        return np.where(kept > 0.0, np.clip((beyond - SURE_FROM) / (SURE_AT - SURE_FROM), 0.0, 1.0), 0.0 * kept)


def error_ripple(length_m: float, width_m: float, cell_m: float, range_m: float) -> Ripple:
    """Return what errors of correlation exp(-(d / range_m)^2) show under a pad as a blade meets it.

    length_m, width_m: pad [m]. cell_m: side of a cell [m]. range_m: 0 = every cell for itself.
    Exact for the rms: the errors' covariance is a product of one along and one across, and the plane's three sums are
    taken off it. freedom = (sum of variances)^2 / sum of squared covariances (Satterthwaite 1946, Biometrics Bulletin 2(6):110-114), the
    plane's sums taken as independent of the rest.
    """
    step = blade_step(cell_m)
    sizes = [size / (cell_m * step) for size in (length_m, width_m)]
    area, s_uu, s_vv = rectangle_moments(*sizes)[:3]
    parts = [_axis(size, cell_m, step, range_m) for size in sizes]
    (one_u, level_u, tilt_u, square_u), (one_v, level_v, tilt_v, square_v) = parts
    planes = [level_u * level_v, tilt_u * level_v * s_uu / area, level_u * tilt_v * s_vv / area]
    left = max(one_u * one_v - sum(planes), 0.0)
    squares = max(square_u * square_v - sum(part**2 for part in planes), 1e-12)
    return Ripple(float(np.sqrt(left)), max(left**2 / squares, 1.0))


def _axis(size: float, cell_m: float, step: int, range_m: float) -> tuple[float, float, float, float]:
    """Along one axis: variance of one averaged error, of the weighted mean, of the slope a node, and the mean squared covariance."""
    weights = axis_weights(size)
    at = (np.arange(weights.size) - weights.size // 2).astype(float)
    blade = axis_weights(BLADE_M / cell_m) if step > 1 else np.ones(1)
    inside = np.arange(blade.size) - blade.size // 2
    share = np.outer(blade, blade).ravel() / blade.sum() ** 2
    apart = np.subtract.outer(inside, inside).ravel()
    gap = (np.subtract.outer(at, at)[..., None] * step + apart) * cell_m
    alike = np.exp(-((gap / range_m) ** 2)) if range_m > 0 else (gap == 0.0).astype(float)
    cover = alike @ share
    level = weights / weights.sum()
    moment = (weights * at * at).sum()
    tilt = weights * at / moment if moment > 0 else np.zeros(at.size)
    square = float(level @ cover**2 @ level)
    return float(cover[0, 0]), float(level @ cover @ level), float(tilt @ cover @ tilt), square
