"""How far the pitch of placements may be off, by errors of the elevations and by ground that the model's cells hide."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy import ndimage

from tunnelsite.core.elevation_error import CELL_ERROR, LIDAR_SD_M, RANGE_M, ErrorModel, error_model, measured_error
from tunnelsite.core.house import House, Pad
from tunnelsite.core.site import Frame
from tunnelsite.kernels.terrain.blade import Ripple, error_ripple
from tunnelsite.kernels.terrain.lone_things import lone_sd
from tunnelsite.kernels.terrain.plane_error import SlopeErrors, hidden_ground, second_difference_variance, slope_error
from tunnelsite.kernels.terrain.second_differences import mean_square_second_differences
from tunnelsite.scan.cutouts import Cutouts, cutouts

REACH_CELLS = 2  # ground this far round a placement, in cells of the model, says how rough it is there ...
LEAST_REACH_M = 10.0  # ... but at least this far
# Errors that no smoothness rules out, since they are correlated over more than a house: of lines of flight against one another
# [@usgs-swaths]. An assumed error is never taken for less.
SMOOTH_SD_M = 0.08 / np.sqrt(2.0)  # of one line, where two differ by 0.08 m (derived)
SMOOTH_RANGE_M = 50.0  # no source: a tenth of the width of a line, over which it sways and bends
WIDEST_CELL = 2 / 3  # of the house's width; a model of wider cells has not seen the ground under it (derived: its slope
# across then rests on fewer than two of the model's heights)

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


@dataclass(frozen=True)
class PitchErrors:
    """The same for many placements. Arrays, float64 [n] in the order of the grid.

    Attributes: sd_m, standard deviation of the elevations' errors that was counted; elevation and hidden, of the slopes.
    """

    sd_m: np.ndarray
    elevation: SlopeErrors
    hidden: SlopeErrors

    @property
    def both(self) -> SlopeErrors:
        """Standard errors of the slopes [fraction]; the two causes are independent."""
        return SlopeErrors(*(np.hypot(*parts) for parts in zip(self.elevation, self.hidden, strict=True)))


def stated_error(frame: Frame, sd_m: float | None, range_m: float | None) -> ErrorModel:
    """The error of the elevations on a frame: as stated, else as the survey's points tell it cell by cell, else as assumed.

    Arguments: frame; sd_m, range_m [m], None = not stated.
    """
    if sd_m is None and CELL_ERROR in frame.layers:
        if range_m is None and frame.error is not None and frame.error.measured:
            return frame.error  # a part of the frame counts the same
        known = frame.layers[CELL_ERROR][np.isfinite(frame.layers[CELL_ERROR])].astype(float)
        if known.size:
            usual = float(np.sqrt(np.mean(known**2)))
            return measured_error(usual, range_m, frame.dem_cell_m or frame.grid.cell_m, frame.step_m)
    return error_model(sd_m, range_m, frame.dem_cell_m, frame.grid.cell_m, frame.step_m)


def shows_pitch(frame: Frame, house: House) -> bool:
    """Whether the elevation model's cells are small enough to show how the ground lies under a house."""
    return (frame.dem_cell_m or frame.grid.cell_m) <= WIDEST_CELL * min(house.width_m, house.length_m)


def pitch_errors(
    frame: Frame, house: House, stated: ErrorModel, rows: tuple[int, int], wanted: np.ndarray
) -> PitchErrors:
    """How far the slopes of placements may be off.

    Arguments: frame; house; stated, from `stated_error`; rows, first and past-the-last; wanted, bool [rows, cols], which cells
    are asked for as centres; no value depends on the others.
    Source: propagation of both through the least-squares plane (`kernels.terrain.plane_error`). What hides is judged by the second
    differences of the model over one and two of its own cells, less what the error of the elevations puts there. An
    error that was only assumed is not taken larger than lets the model be as smooth as it is round the placement, and what
    shows may as well be ground: the worse of the two readings counts (derived). Measured on real ground in
    docs/regions.md.
    """
    return errors_of(frame, house, stated, rows, np.where(wanted, counted_shares(frame, stated, rows), np.nan))


def errors_of(frame: Frame, house: House, stated: ErrorModel, rows: tuple[int, int], shares: np.ndarray) -> PitchErrors:
    """The same where the shares of the stated error that count are known, from `counted_shares`; NaN where none is asked for."""
    cell = frame.grid.cell_m
    own = max(frame.dem_cell_m or cell, cell)
    sizes = (house.length_m, house.width_m, cell)
    wanted = ~np.isnan(shares)
    share = shares[wanted]
    sd, wide = stated.seen
    elevation = SlopeErrors(*(share * part for part in slope_error(*sizes, sd, wide)))
    hidden = _hidden(*sizes, frame.dem_cell_m or cell)
    lags = (hidden.lag_cells, 2 * hidden.lag_cells)
    seen = [mean_square_second_differences(frame.ground, lag, _reach(own, cell), rows)[wanted] for lag in lags]
    noise = [(share * sd) ** 2 * second_difference_variance(lag * cell, wide) for lag in lags]
    found = hidden.slope_errors(*(np.maximum(whole - part, 0.0) for whole, part in zip(seen, noise, strict=True)))
    if stated.assumed:
        alone, smooth = hidden.slope_errors(*seen), slope_error(*sizes, SMOOTH_SD_M, SMOOTH_RANGE_M)
        found = SlopeErrors(
            *(
                np.sqrt(np.maximum(part**2, np.maximum(whole, least) ** 2 - error**2))
                for part, whole, least, error in zip(found, alone, smooth, elevation, strict=True)
            )
        )
    return PitchErrors(share * stated.sd_m, elevation, found)


def placement_errors(
    frame: Frame, house: House, at: tuple[np.ndarray, np.ndarray], stated: ErrorModel
) -> list[PitchError]:
    """The same for the placements centred on some cells. Arguments: frame; house; at, rows and columns, int64 [n]; stated, from
    `stated_error`."""
    found = []
    for window, one in _near(frame, at, stated):
        errors = pitch_errors(window, house, stated, (0, len(one.ground)), one.middles())
        parts = np.stack([*errors.elevation, *errors.hidden]).T.tolist()
        models = [replace(stated, sd_m=sd) for sd in errors.sd_m.tolist()]
        found += [
            PitchError(model, tuple(part[:2]), tuple(part[2:])) for model, part in zip(models, parts, strict=True)
        ]
    return found


def pitch_error(frame: Frame, house: House, at: tuple[int, int], stated: ErrorModel) -> PitchError:
    """The same for one placement."""
    return placement_errors(frame, house, _one(at), stated)[0]


def counted_share(frame: Frame, at: tuple[np.ndarray, np.ndarray], stated: ErrorModel) -> np.ndarray:
    """What share of the stated error counts round some cells, float64 [n]: all of it where it was stated, of what was assumed no
    more than the ground round it shows. Arguments: as `placement_errors`."""
    parts = [
        counted_shares(window, stated, (0, len(one.ground)))[one.rows, one.col]
        for window, one in _near(frame, at, stated)
    ]
    return np.concatenate(parts) if parts else np.empty(0)


def counted_error(frame: Frame, at: tuple[int, int], stated: ErrorModel) -> ErrorModel:
    """The error of the elevations that counts at a cell (row, col): as stated, or as assumed but no larger than the ground round
    it shows. Arguments: frame; at; stated, from `stated_error`."""
    return replace(stated, sd_m=stated.sd_m * float(counted_share(frame, _one(at), stated)[0]))


def _one(at: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    row, col = at
    return np.array([row]), np.array([col])


def ripple_of(error: ErrorModel, pad: Pad, cell_m: float) -> Ripple:
    """What errors of the elevations alone show as ground off its plane under a pad, for each metre of their standard deviation; see
    `kernels.terrain.blade`. Arguments: error; pad; cell_m, of the working grid."""
    sd, wide = error.seen
    found = error_ripple(pad.length_m, pad.width_m, cell_m, wide)
    return found._replace(rms=found.rms * (sd / error.sd_m if error.sd_m > 0 else 0.0))


def lone_error(error: ErrorModel, cell_m: float) -> float:
    """Standard deviation [m] of one height against those round it that errors alone make, and no less than rounding does; where the
    error is only assumed, what shows round there decides (`kernels.terrain.lone_things`)."""
    return max(0.0 if error.assumed else lone_sd(cell_m, *error.seen), error.least_m)


def counted_shares(frame: Frame, stated: ErrorModel, rows: tuple[int, int]) -> np.ndarray:
    """What share of the stated error counts round each cell of some rows, float64 [rows, cols]: all of it where one was given; where the
    points tell it, that of the cells round there."""
    if stated.measured:
        found: np.ndarray = np.maximum(_local_share(frame, stated, rows), stated.least_share)
        return found
    if not stated.assumed:
        return np.ones((rows[1] - rows[0], frame.grid.cols))
    cell, (sd, wide) = frame.grid.cell_m, stated.seen
    lag = max(1, round(stated.range_m / cell))
    shown = mean_square_second_differences(frame.ground, lag, _reach(max(stated.range_m, cell), cell), rows)
    share = np.fmin(1.0, np.sqrt(shown / second_difference_variance(lag * cell, wide)) / sd)
    return np.fmax(share, stated.least_share)


def _local_share(frame: Frame, stated: ErrorModel, rows: tuple[int, int]) -> np.ndarray:
    """Root mean square of the cells' own errors round each cell of some rows, as a share of the usual one. Where no cell round there
    has one, as much as makes the error of a plane that which is assumed for lidar."""
    reach = _reach(frame.dem_cell_m or frame.grid.cell_m, frame.grid.cell_m)
    first, last = max(rows[0] - reach, 0), min(rows[1] + reach, frame.grid.rows)
    errors = frame.layers[CELL_ERROR][first:last].astype(float)
    known = np.isfinite(errors)
    sums = [
        ndimage.uniform_filter(part, 2 * reach + 1, mode="constant")
        for part in (np.where(known, errors, 0.0) ** 2, known * 1.0)
    ]
    squares, share = (part[rows[0] - first : rows[1] - first] for part in sums)
    assumed = LIDAR_SD_M * RANGE_M / stated.range_m if stated.range_m > 0 else LIDAR_SD_M
    there = share > 1e-9  # running sums leave their rounding behind
    mean = np.divide(squares, share, out=np.zeros_like(squares), where=there)
    return np.where(there, np.sqrt(np.maximum(mean, 0.0)), assumed) / stated.sd_m


def near_cells(frame: Frame, stated: ErrorModel) -> int:
    """How many cells round a placement's centre say how rough the ground is there."""
    cell = frame.grid.cell_m
    return 2 * _reach(max(frame.dem_cell_m or cell, stated.range_m, cell), cell) + 2  # a reach and two lags


def _near(frame: Frame, at: tuple[np.ndarray, np.ndarray], stated: ErrorModel) -> Iterator[tuple[Frame, Cutouts]]:
    """Stacks of the ground that says how rough it is round some cells, as frames."""
    spare = near_cells(frame, stated)
    for one in cutouts(frame.ground, at, (spare, spare)):
        errors = {CELL_ERROR: one.stacked(frame.layers[CELL_ERROR])} if CELL_ERROR in frame.layers else {}
        grid = frame.grid.window(0, 0, *one.ground.shape)
        yield replace(frame, grid=grid, layers={"ground": one.ground} | errors), one


def _reach(scale_m: float, cell_m: float) -> int:
    return round(max(REACH_CELLS * scale_m, LEAST_REACH_M) / cell_m)
