"""Shelter from the wind behind what stands upwind."""

from __future__ import annotations

import numpy as np

from tunnelsite.kernels.light.horizon import horizon_tangent
from tunnelsite.kernels.shared import shared

# Distance downwind in heights of the barrier: shelter. Full within 5 H, half at 10 H, none from 30 H on.
DISTANCE_H = (5.0, 10.0, 30.0)
SHELTER = (1.0, 0.5, 0.0)


@shared
def _add_shelter(mine, tangent, share, total):
    """Add share x shelter (0..1) behind the barriers seen at these tangents, height over distance; NaN stays NaN.

    Whole within 5 H [@windbreak-nrcs]; protected to 10 H, some benefit to 20-30 H [@windbreak-purdue]. The straight lines between
    and the half at 10 H are common practice, no source. Shelter falls with d / H, so of all barriers only the one that looks
    steepest is needed, whatever their distances.
    """
    for k in range(mine[0], mine[1]):
        t = tangent[k]
        if t != t:
            total[k] = np.nan
        elif t * DISTANCE_H[0] >= 1.0:
            total[k] += share
        elif t * DISTANCE_H[2] > 1.0:
            away = 1.0 / t
            j = 0 if away < DISTANCE_H[1] else 1
            part = (away - DISTANCE_H[j]) / (DISTANCE_H[j + 1] - DISTANCE_H[j])
            total[k] += share * (SHELTER[j] + part * (SHELTER[j + 1] - SHELTER[j]))


def barriers(ground: np.ndarray, standing: np.ndarray, least_m: float) -> np.ndarray:
    """Tops [m] of what stands at least `least_m` above the ground, one cell wider all round; NaN elsewhere.

    Arguments: ground, standing: float32 [rows, cols] [m]. Return: float32 [rows, cols]. Widened so that no ray slips
    between the centres of two cells: a barrier seems up to one cell nearer than it is.
    """
    top = np.where(standing >= least_m, ground + standing, -np.inf).astype(np.float32)
    for axis in (0, 1):  # largest of three neighbours along one axis, then along the other
        first, last = (slice(None, -1), slice(1, None))
        ahead = (first, slice(None)) if axis == 0 else (slice(None), first)
        behind = (last, slice(None)) if axis == 0 else (slice(None), last)
        wide = top.copy()
        np.fmax(wide[ahead], top[behind], out=wide[ahead])
        np.fmax(wide[behind], top[ahead], out=wide[behind])
        top = wide
    top[~np.isfinite(top)] = np.nan
    return top


def wind_shelter(ground, standing, cell_m, azimuths_deg, shares, least_m=1.0):
    """Shelter 0..1 of every cell: mean over the winds of the shelter behind what stands upwind.

    Arguments:
        ground, standing: float32 [rows, cols] [m]: bare ground, and height of what stands on it; NaN = unknown.
        cell_m: [m]. azimuths_deg: [n] where each wind comes FROM, clockwise from the grid's upward columns.
        shares: [n], 0 or more, their weights; they need not add up to 1.
        least_m: lower things do not count [m].
    Return: float32 [rows, cols], NaN where the ground is unknown.
    Height is counted from the ground of the cell to the top of the barrier, so that a knoll is sheltered less, a hollow
    more. Bare hills do not count: the sources speak of barriers. Barriers count as dense, at any distance in the data;
    what stands on the cell itself shelters nothing there.
    Errors: ValueError if there is no wind, or as `horizon_tangent`.
    """
    shares = np.asarray(shares, np.float64)
    if len(shares) != len(azimuths_deg) or not (shares >= 0).all() or not shares.sum() > 0:
        raise ValueError("expected as many shares as azimuths, 0 or more, not all 0")
    ground = np.ascontiguousarray(ground, np.float32)
    top = barriers(ground, np.asarray(standing), least_m)
    total = np.where(np.isnan(ground), np.float32(np.nan), np.float32(0.0))
    if np.isnan(top).all():
        return total
    for azimuth, share in zip(azimuths_deg, shares / shares.sum(), strict=True):
        if share > 0:
            tangent = horizon_tangent(top, ground, cell_m, float(azimuth))
            _add_shelter(tangent.size, tangent.reshape(-1), np.float32(share), total.reshape(-1))
    return total
