"""Volumes of earth by the methods a surveyor checks by hand: end areas, prismoids, grid corners, cell prisms.

Any one unit of length serves, as long as areas are in its square; the names say metres because the project works in them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def trapezoid_area(depth_m: ArrayLike, base_m: float, run_per_rise: float) -> np.ndarray:
    """Cross section [m2] of a cut or channel: flat base, equal side slopes.

    Arguments: depth_m, depth at the middle [m]; base_m [m]; run_per_rise of both sides (1.5 means 1.5:1).
    Source: geometry, A = d (b + m d).
    """
    depth = np.asarray(depth_m, float)
    return np.asarray(depth * (base_m + run_per_rise * depth))


def end_area_volume(areas_m2: ArrayLike, spacing_m: ArrayLike) -> float:
    """Volume [m3] by average end areas, V = sum L (A1 + A2) / 2.

    Arguments: areas_m2, cross sections one after another [n]; spacing_m, one distance or n - 1 of them [m].
    Errors: ValueError for fewer than two sections, or amounts that are negative or not finite.
    Source: [@vose-1857]. It may give too much OR too little [@deakin-hunter-2009]: a pyramid comes out
    1.5 times too large, a waist too small.
    """
    areas, lengths = _sections(areas_m2, spacing_m)
    return float((lengths * (areas[:-1] + areas[1:])).sum() / 2.0)


def prism_volumes(depths_m: ArrayLike, areas_m2: ArrayLike) -> tuple[float, float]:
    """Cut and fill [m3] of prisms: one depth, cut (+) or fill (-) [m], and one area [m2] a cell.

    Source: grid method with cell-centre heights, as in `kernels.terrain.grading`.
    """
    depths = np.asarray(depths_m, float)
    volumes = np.broadcast_to(areas_m2, depths.shape) * depths
    return float(volumes[depths > 0].sum()), float(-volumes[depths < 0].sum())


def _sections(areas_m2: ArrayLike, spacing_m: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    areas = np.asarray(areas_m2, float)
    if areas.ndim != 1 or areas.size < 2 or not (np.isfinite(areas) & (areas >= 0)).all():
        raise ValueError(f"areas have shape {areas.shape}; expected a row of at least two, finite and not negative")
    given = np.asarray(spacing_m, float)
    if given.shape not in ((), (areas.size - 1,)) or not (np.isfinite(given) & (given > 0)).all():
        raise ValueError(f"spacing has shape {given.shape}; expected one or {areas.size - 1} positive distances")
    return areas, np.broadcast_to(given, (areas.size - 1,)).astype(float)
