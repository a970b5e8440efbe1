"""Horizon of land beyond a fine grid, taken from a coarser grid round it and brought to the fine grid's cells.

The coarse horizon is computed at the coarse cells that cover the fine grid, for two heights of the eye that enclose
those of the fine cells nearby. The tangent to one blocker falls in a straight line as the eye rises, and the horizon, the
largest of many such lines, is convex: between the two heights the straight line through both is exact while one blocker
makes the horizon, and otherwise a little too high, never too low. Between coarse cells it is bilinear.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.light.horizon import FLAT_EARTH, Rays, grid_pair, seen_by, tangents_ahead
from tunnelsite.kernels.light.horizon_rays import march
from tunnelsite.kernels.options import PLAIN
from tunnelsite.kernels.shared import shared

_NARROW_M = 1e-3  # eyes closer together than this see the same


class FarView(NamedTuple):
    """Far horizons at coarse cells that cover a fine grid.

    `tangent` float32 [n azimuths, 2, R, C], for the lower and the higher eye; `eye` float32 [2, R, C] [m]; `place` = row and
    column, in this window's cells (whole numbers are cell centres), of the fine grid's outer corner; `ratio` fine cell / coarse cell.
    """

    tangent: np.ndarray
    eye: np.ndarray
    place: tuple[float, float]
    ratio: float


def far_view(
    far: np.ndarray, observer: np.ndarray, cells_m: tuple[float, float], corner_m: tuple[float, float],
    azimuths_deg: np.ndarray, rays: Rays = FLAT_EARTH,
) -> FarView:  # fmt: skip
    """Horizon of the far land towards every azimuth, as the fine grid's observers see it.

    Arguments: far [F, G] [m], coarse heights, NaN where the fine grid knows better; observer [rows, cols] [m above the
    same datum], eyes on the fine grid, NaN: none; cells_m = (fine, coarse) [m]; corner_m = how far the fine grid's outer
    first corner lies (south, east) of the coarse grid's [m]; azimuths_deg [n] [degrees clockwise from the grids' up direction].
    Return: FarView; memory n x 2 x (coarse cells over the fine grid).
    Errors: ValueError where the coarse grid does not cover the fine one with a cell to spare, or as `horizon_tangent`.
    """
    fine_m, coarse_m = cells_m
    far, _ = grid_pair(far, far, coarse_m)
    observer, _ = grid_pair(observer, observer, fine_m)
    first = [value / coarse_m for value in corner_m]
    last = [first[k] + observer.shape[k] * fine_m / coarse_m for k in (0, 1)]
    low = [int(np.floor(value - 0.5)) - 1 for value in first]  # one cell beyond the bilinear neighbours
    high = [int(np.ceil(value + 0.5)) + 1 for value in last]
    if min(low) < 0 or high[0] > far.shape[0] or high[1] > far.shape[1]:
        raise ValueError(
            f"the coarse grid of {far.shape} cells does not cover the fine one, rows {low[0]}..{high[0]}, columns {low[1]}..{high[1]}."
        )
    place = (first[0] - low[0] - 0.5, first[1] - low[1] - 0.5)
    shape = (high[0] - low[0], high[1] - low[1])
    eye = _widened(_extremes(observer, place[0], place[1], fine_m / coarse_m, shape))
    ways = [march(azimuth) for azimuth in np.asarray(azimuths_deg, np.float64)]
    tangent = np.empty((len(ways), 2, *shape), np.float32)
    eyes = np.full(far.shape, np.nan, np.float32)
    for which in (0, 1):
        eyes[low[0] : high[0], low[1] : high[1]] = eye[which]
        seen = [seen_by((far, eyes), None, (low[0], high[0], low[1], high[1]), turn=turn) for turn in (False, True)]
        for k, way in enumerate(ways):
            tangent[k, which] = tangents_ahead(seen[way.transposed], coarse_m, way, rays)
    return FarView(tangent, eye, place, fine_m / coarse_m)


def raise_to_far(
    view: FarView, observer: np.ndarray, first: tuple[int, int] = (0, 0)
) -> Callable[[int, np.ndarray, tuple[int, int]], None]:
    """What raises, in place, horizon tangents towards azimuth number k to those of the far land.

    Arguments: view; observer, of whom it is; first, row and column of the first of them in a larger grid. Called with k, the tangents
    [rows, cols] and the row and column of their own first cell in that grid.
    """
    observer = np.ascontiguousarray(observer, np.float32)

    def raised(k: int, tangent: np.ndarray, at: tuple[int, int] = first) -> None:
        down, right = at[0] - first[0], at[1] - first[1]
        eyes = np.ascontiguousarray(observer[down : down + tangent.shape[0], right : right + tangent.shape[1]])
        place = view.place[0] + down * view.ratio, view.place[1] + right * view.ratio
        _raise(len(tangent), tangent, eyes, view.tangent[k], view.eye, *place, view.ratio)

    return raised


@njit(**PLAIN)
def _extremes(observer, row0, col0, ratio, shape):
    """Lowest and highest observer in each coarse cell; NaN where there is none."""
    out = np.full((2, shape[0], shape[1]), np.nan, np.float32)
    for r in range(observer.shape[0]):
        i = int(np.floor(row0 + (r + 0.5) * ratio + 0.5))
        for c in range(observer.shape[1]):
            e = observer[r, c]
            if e != e:
                continue
            j = int(np.floor(col0 + (c + 0.5) * ratio + 0.5))
            if not (out[0, i, j] <= e):
                out[0, i, j] = e
            if not (out[1, i, j] >= e):
                out[1, i, j] = e
    return out


def _widened(eye: np.ndarray) -> np.ndarray:
    """Extremes over 3 x 3 coarse cells, so that they enclose every fine eye that a cell is a bilinear neighbour of."""
    padded = np.pad(eye, ((0, 0), (1, 1), (1, 1)), constant_values=np.nan)
    rows, cols = eye.shape[1:]
    out = eye.copy()
    for down in range(3):
        for right in range(3):
            part = padded[:, down : down + rows, right : right + cols]
            out[0], out[1] = np.fmin(out[0], part[0]), np.fmax(out[1], part[1])
    return out


@shared
def _raise(mine, tangent, observer, far, eye, row0, col0, ratio):
    for r in range(mine[0], mine[1]):
        y = row0 + (r + 0.5) * ratio
        i = int(np.floor(y))
        fy = y - i
        for c in range(tangent.shape[1]):
            e = observer[r, c]
            if e != e:
                continue
            x = col0 + (c + 0.5) * ratio
            j = int(np.floor(x))
            fx = x - j
            total = 0.0
            for di in range(2):
                wy = fy if di else 1.0 - fy
                for dj in range(2):
                    w = wy * (fx if dj else 1.0 - fx)
                    if w == 0.0:
                        continue
                    low, high = far[0, i + di, j + dj], far[1, i + di, j + dj]
                    spread = eye[1, i + di, j + dj] - eye[0, i + di, j + dj]
                    part = (e - eye[0, i + di, j + dj]) / spread if spread > _NARROW_M else 0.0
                    total += w * (low + part * (high - low))
            if total > tangent[r, c]:
                tangent[r, c] = total
