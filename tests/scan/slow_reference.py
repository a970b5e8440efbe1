"""A slow, obvious screening: one placement at a time, with shapely and numpy only. What the engine is held to."""

from __future__ import annotations

import functools
import math

import numpy as np
import shapely


def axis_weights(size_cells: float) -> dict[int, float]:
    """Share of each cell (by offset from the middle one) that a line of this length covers, by clipping intervals."""
    weights = {}
    reach = math.ceil(size_cells / 2 + 0.5)
    for k in range(-reach, reach + 1):
        share = min(k + 0.5, size_cells / 2) - max(k - 0.5, -size_cells / 2)
        if share > 1e-9:
            weights[k] = share
    return weights


def covered(values: np.ndarray, row: int, col: int, size: tuple[float, float], cell_m: float):
    """(value, weight, u, v) of every covered cell of a rectangle (length, width) [m], or None if one is missing."""
    along, across = axis_weights(size[0] / cell_m), axis_weights(size[1] / cell_m)
    r, c = row + np.array(list(across)), col + np.array(list(along))
    if r.min() < 0 or c.min() < 0 or r.max() >= values.shape[0] or c.max() >= values.shape[1]:
        return None
    block = values[np.ix_(r, c)].astype(float)
    if not np.isfinite(block).all():
        return None
    weight = np.outer(list(across.values()), list(along.values()))
    v, u = np.meshgrid((row - r) * cell_m, (c - col) * cell_m, indexing="ij")
    return np.column_stack([block.ravel(), weight.ravel(), u.ravel(), v.ravel()])


def plane(cells: np.ndarray) -> tuple[float, float, float, float]:
    """(mean, slope along, slope across, rms) by weighted least squares with numpy.linalg.lstsq."""
    z, w, u, v = cells.T
    root = np.sqrt(w)
    design = np.column_stack([np.ones_like(u), u, v]) * root[:, None]
    (level, along, across), *_ = np.linalg.lstsq(design, z * root, rcond=None)
    rest = z - (level + along * u + across * v)
    return level, along, across, math.sqrt((w * rest**2).sum() / w.sum())


def earthwork(cells: np.ndarray, cell_m: float, pitch: float, shrink: float) -> tuple[float, float, float, float]:
    """(cut m3, fill m3, deepest cut, highest fill) to the clipped plane whose level balances by bisection."""
    z, w, u, v = cells.T
    level, along, across, _ = plane(cells)
    tilt = np.clip(along, -pitch, pitch) * u + np.clip(across, -pitch, pitch) * v
    low, high = (z - tilt).min() - 1, (z - tilt).max() + 1
    for _ in range(60):  # metres halved 60 times are finer than a double
        level = (low + high) / 2
        rest = z - tilt - level
        cut, fill = (w * np.maximum(rest, 0)).sum(), (w * np.maximum(-rest, 0)).sum()
        low, high = (level, high) if cut > shrink * fill else (low, level)
    return cut * cell_m**2, fill * cell_m**2, max(rest.max(), 0.0), max((-rest).max(), 0.0)


@functools.cache
def _grown(parcel: shapely.Geometry) -> shapely.Geometry:
    return shapely.buffer(parcel, 1e-7)


def fits(pad, parcel, setback_m: float, barred: list[tuple[shapely.Geometry, float]]) -> bool:
    """Whether a pad lies inside a parcel's setback and clear of everything barred, by shapely alone."""
    if not _grown(parcel).covers(pad):
        return False
    if setback_m and shapely.distance(pad, shapely.boundary(parcel)) < setback_m - 1e-7:
        return False
    inner = shapely.buffer(pad, -1e-6, join_style="mitre")
    for geometry, distance in barred:
        if distance and shapely.distance(pad, geometry) < distance - 1e-7:
            return False
        if not distance and inner.intersects(geometry):
            return False
    return True
