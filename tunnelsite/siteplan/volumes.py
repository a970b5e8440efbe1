"""Volumes of earth by the methods a surveyor checks by hand: end areas, prismoids, grid corners, cell prisms.

Any one unit of length serves, as long as areas are in its square; the names say metres because the project works in them.
"""

from __future__ import annotations

import numpy as np


def trapezoid_area(depth_m, base_m: float, run_per_rise: float):
    """Cross section [m2] of a cut or channel: flat base, equal side slopes.

    Arguments: depth_m, depth at the middle [m]; base_m [m]; run_per_rise of both sides (1.5 means 1.5:1).
    Source: geometry, A = d (b + m d).
    """
    depth = np.asarray(depth_m, float)
    return depth * (base_m + run_per_rise * depth)


def end_area_volume(areas_m2, spacing_m) -> float:
    """Volume [m3] by average end areas, V = sum L (A1 + A2) / 2.

    Arguments: areas_m2, cross sections one after another [n]; spacing_m, one distance or n - 1 of them [m].
    Errors: ValueError for fewer than two sections, or amounts that are negative or not finite.
    Source: Vose, Handbook of Railroad Construction (1857) s. 108 (seen). It may give too much OR too little (Deakin &
    Hunter 2009, seen): a pyramid comes out 1.5 times too large, a waist too small.
    """
    areas, lengths = _sections(areas_m2, spacing_m)
    return float((lengths * (areas[:-1] + areas[1:])).sum() / 2.0)


def prismoidal_volume(areas_m2, middle_areas_m2, spacing_m) -> float:
    """Volume [m3] by the prismoidal rule, V = sum L (A1 + 4 Am + A2) / 6.

    Arguments: areas_m2 [n]; middle_areas_m2, the section halfway along each part [n - 1] (of averaged dimensions, not the
    average area); spacing_m, one distance or n - 1 of them [m].
    Errors: ValueError as `end_area_volume`, or a wrong number of middle sections.
    Source: Simpson's rule; exact for prisms, wedges, pyramids and everything whose area is a cubic in distance.
    """
    areas, lengths = _sections(areas_m2, spacing_m)
    middle = np.asarray(middle_areas_m2, float)
    if middle.shape != lengths.shape or not (np.isfinite(middle) & (middle >= 0)).all():
        raise ValueError(f"middle areas have shape {middle.shape}; expected {lengths.size} amounts, none negative")
    return float((lengths * (areas[:-1] + 4.0 * middle + areas[1:])).sum() / 6.0)


def grid_corner_volume(depths_m, cell_area_m2: float, cells=None) -> float:
    """Net volume [m3] of a grid of levels (borrow-pit method), V = (A / 4)(S1 + 2 S2 + 3 S3 + 4 S4).

    Arguments: depths_m [rows + 1, cols + 1], cut (+) or fill (-) at the corners of the cells [m]; cell_area_m2 [m2]; cells
    [rows, cols] bool, which cells belong to the pit (default all). S1 ... S4 are sums over corners shared by 1 ... 4 cells.
    Errors: ValueError for shapes that do not fit or a corner in use without a depth.
    Source: the rule of surveying texts; Sk weighted by k is each cell's mean depth times its area.
    """
    depths = np.asarray(depths_m, float)
    if depths.ndim != 2 or min(depths.shape) < 2:
        raise ValueError(f"depths have shape {depths.shape}; expected corners of at least one cell, 2 x 2 or more")
    inside = np.ones((depths.shape[0] - 1, depths.shape[1] - 1), bool) if cells is None else np.asarray(cells, bool)
    if inside.shape != (depths.shape[0] - 1, depths.shape[1] - 1) or not (
        np.isfinite(cell_area_m2) and cell_area_m2 > 0
    ):
        raise ValueError(
            f"{inside.shape} cells of {cell_area_m2} for {depths.shape} corners; expected one row and column fewer, area > 0"
        )
    shared = np.zeros(depths.shape, int)
    for down in (0, 1):
        for right in (0, 1):
            shared[down : down + inside.shape[0], right : right + inside.shape[1]] += inside
    used = shared > 0
    if not np.isfinite(depths[used]).all():
        raise ValueError("a corner of a cell in use has no depth; measure it or leave its cells out")
    return float(cell_area_m2 / 4.0 * (shared[used] * depths[used]).sum())


def prism_volumes(depths_m, areas_m2) -> tuple[float, float]:
    """Cut and fill [m3] of prisms: one depth, cut (+) or fill (-) [m], and one area [m2] a cell.

    Source: grid method with cell-centre heights, as in `kernels.grading`.
    """
    depths = np.asarray(depths_m, float)
    volumes = np.broadcast_to(areas_m2, depths.shape) * depths
    return float(volumes[depths > 0].sum()), float(-volumes[depths < 0].sum())


def _sections(areas_m2, spacing_m) -> tuple[np.ndarray, np.ndarray]:
    areas = np.asarray(areas_m2, float)
    if areas.ndim != 1 or areas.size < 2 or not (np.isfinite(areas) & (areas >= 0)).all():
        raise ValueError(f"areas have shape {areas.shape}; expected a row of at least two, finite and not negative")
    given = np.asarray(spacing_m, float)
    if given.shape not in ((), (areas.size - 1,)) or not (np.isfinite(given) & (given > 0)).all():
        raise ValueError(f"spacing has shape {given.shape}; expected one or {areas.size - 1} positive distances")
    return areas, np.broadcast_to(given, (areas.size - 1,)).astype(float)
