"""How far the pitch of one placement may be off, by errors of the elevations and by ground that the model's cells hide."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from tunnelsite.core.elevation_error import ErrorModel, error_model
from tunnelsite.core.site import Frame
from tunnelsite.kernels.plane_error import (
    hidden_ground,
    second_difference_square,
    second_difference_variance,
    slope_error,
)
from tunnelsite.scan.engine import Scan

REACH_CELLS = 2  # ground this far round a placement, in cells of the model, says how rough it is there ...
LEAST_REACH_M = 10.0  # ... but at least this far

_hidden = lru_cache(maxsize=16)(hidden_ground)  # a few sizes and cells a run; each takes as long as thousands of looks


@dataclass(frozen=True)
class PitchError:
    """Errors of the two slopes of one placement, (along, across) [fraction], NaN = not known.

    Attributes: counted, the error of the elevations that was counted; elevation, standard deviation by it; hidden, by ground
    that the model's cells hide.
    """

    counted: ErrorModel
    elevation: tuple[float, float]
    hidden: tuple[float, float]

    @property
    def both(self) -> tuple[float, float]:
        """Standard errors along and across [fraction]; the two causes are independent."""
        along, across = (float(np.hypot(*parts)) for parts in zip(self.elevation, self.hidden, strict=True))
        return along, across

    def steeper_pct(self, along: float, across: float) -> float | None:
        """Standard error [%] of the steeper of two slopes, None = not known. Arguments: slopes along and across, in one unit."""
        error = 100 * self.both[0 if abs(along) > abs(across) else 1]
        return error if np.isfinite(error) else None


def stated_error(frame: Frame, sd_m: float | None, range_m: float | None) -> ErrorModel:
    """The error of the elevations on a frame, as stated or assumed. Arguments: frame; sd_m, range_m [m], None = not stated."""
    return error_model(sd_m, range_m, frame.dem_cell_m, frame.grid.cell_m)


def pitch_error(scan: Scan, item: int, stated: ErrorModel) -> PitchError:
    """How far the slopes of a placement may be off.

    Arguments: scan; item, packed placement; stated, from `stated_error`.
    Source: propagation of both through the least-squares plane (`kernels.plane_error`). What hides is judged by the second
    differences of the model over one and two of its own cells, less what the error of the elevations puts there. An
    error that was only assumed is not taken larger than lets the model be as smooth as it is round the placement, and what
    shows may as well be ground: the worse of the two readings counts (derived). Measured on real ground in
    docs/regions.md.
    """
    frame, house = scan.frame, scan.house
    cell, ground = frame.grid.cell_m, frame.ground
    own = frame.dem_cell_m or cell
    at = divmod(int(scan.index[item]), frame.grid.cols)
    counted = counted_error(frame, at, stated)
    sizes = (house.length_m, house.width_m, cell)
    sd, wide = counted.seen
    elevation = slope_error(*sizes, sd, wide)
    hidden = _hidden(*sizes, own)
    lags, reach = (hidden.lag_cells, 2 * hidden.lag_cells), _reach(max(own, cell), cell)
    seen = [second_difference_square(ground, at, lag, reach) for lag in lags]
    share = [sd**2 * second_difference_variance(lag * cell, wide) for lag in lags]
    found = hidden.slope_errors(*np.maximum(np.subtract(seen, share), 0.0))
    if stated.assumed:
        alone = hidden.slope_errors(*seen)
        found = tuple(
            float(np.sqrt(max(part**2, whole**2 - error**2)))
            for part, whole, error in zip(found, alone, elevation, strict=True)
        )
    return PitchError(counted, elevation, found)


def counted_error(frame: Frame, at: tuple[int, int], stated: ErrorModel) -> ErrorModel:
    """The error of the elevations that counts at a cell (row, col): as stated, or as assumed but no larger than the ground round
    it shows. Arguments: frame; at; stated, from `stated_error`."""
    if not stated.assumed:
        return stated
    cell, (sd, wide) = frame.grid.cell_m, stated.seen
    lag = max(1, round(stated.range_m / cell))
    shown = second_difference_square(frame.ground, at, lag, _reach(max(stated.range_m, cell), cell))
    share = np.sqrt(shown / second_difference_variance(lag * cell, wide)) / sd
    return replace(stated, sd_m=stated.sd_m * float(np.fmin(1.0, share)))


def _reach(scale_m: float, cell_m: float) -> int:
    return round(max(REACH_CELLS * scale_m, LEAST_REACH_M) / cell_m)
