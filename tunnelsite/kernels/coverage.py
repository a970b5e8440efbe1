"""Exact fractional coverage of a rectangle on a lattice of square cells, and its moments.

A rectangle `length_cells` by `width_cells` is centred on a cell centre. Along each axis the cells wholly
inside
weigh 1 and the cell at either end weighs its overlap, so the weights are separable and symmetric and sum to
the area.
Positions in moments are cell centres, in cells, from the middle.
"""

from typing import NamedTuple

import numpy as np

# An overlap this close to 0 or 1 cell is a rounding error of a unit conversion (30 ft / 0.3 m), not a sliver
# of ground.
SNAP_CELLS = 1e-9


class AxisCoverage(NamedTuple):
    """Weights along one axis: 1 for offsets |k| <= full, `edge` at +-reach, 0 beyond.

    `reach` is the largest offset with weight > 0. A rectangle narrower than a cell has full = -1 and reach =
    0: both
    of its "ends" are halves of the middle cell. Without a fractional end, edge = 0 and reach = full.
    """

    full: int
    reach: int
    edge: float


def axis_coverage(size_cells: float) -> AxisCoverage:
    """Return the weights of cells under a line of `size_cells` [cells] centred on a cell centre.

    Raises ValueError if `size_cells` is not a positive finite number.
    """
    size = float(size_cells)
    if not (np.isfinite(size) and size > 0.0):
        raise ValueError(f"rectangle size is {size_cells!r} cells; expected a positive number (size in metres / cell)")
    half = size / 2.0
    full = int(np.floor(half - 0.5 + SNAP_CELLS))
    edge = half - (full + 0.5) if full >= 0 else half
    if full >= 0 and edge <= SNAP_CELLS:
        return AxisCoverage(full, full, 0.0)
    return AxisCoverage(full, full + 1, edge)


def axis_weights(size_cells: float) -> np.ndarray:
    """Return float64 weights [2 * reach + 1] of the covered cells along one axis; they sum to
    `size_cells`."""
    axis = axis_coverage(size_cells)
    weights = np.ones(2 * axis.reach + 1)
    if axis.edge > 0.0:
        weights[0] = weights[-1] = axis.edge
    if axis.full < 0:
        weights[0] = 2.0 * axis.edge
    return weights


class RectangleMoments(NamedTuple):
    """Moments of the coverage, lengths in cells: u along the columns, v across (rows), p = v^2 -
    mean(v^2)."""

    area: float  # sum of w
    along: float  # sum of w u^2
    across: float  # sum of w v^2
    mean_v2: float  # across / area
    crown: float  # sum of w p^2


def rectangle_moments(length_cells: float, width_cells: float) -> RectangleMoments:
    """Return the moments of a rectangle `length_cells` along columns by `width_cells` along rows."""
    along, across = axis_weights(length_cells), axis_weights(width_cells)
    u = np.arange(along.size) - along.size // 2
    v = np.arange(across.size) - across.size // 2
    area = along.sum() * across.sum()
    s_uu = (along * u**2).sum() * across.sum()
    s_vv = (across * v**2).sum() * along.sum()
    mean_v2 = s_vv / area
    return RectangleMoments(area, s_uu, s_vv, mean_v2, (across * (v**2 - mean_v2) ** 2).sum() * along.sum())


def elevation_slope_error(
    sigma_m: float, length_cells: float, width_cells: float, cell_m: float
) -> tuple[float, float]:
    """Return the standard errors of the plane's slopes along and across [fraction] from an elevation error a
    cell.

    sigma_m: standard deviation of the elevation error of one cell [m], e.g. the RMSEz of a lidar survey.
    Error propagation through the weighted plane: var = sigma^2 sum(w^2 u^2) / sum(w u^2)^2 (derived), which
    is
    sigma^2 / sum(u^2) for whole cells. Errors of cells are taken as INDEPENDENT; those of real DEMs are
    correlated
    over several cells, so the true error is larger. NaN across an axis with one cell, where no slope is
    defined.
    """
    along, across, _ = _squared_weight_terms(length_cells, width_cells)
    moments = rectangle_moments(length_cells, width_cells)
    errors = []
    for squared, moment in ((along, moments.along), (across, moments.across)):
        errors.append(sigma_m * np.sqrt(squared) / moment / cell_m if moment > 0.0 else np.nan)
    return errors[0], errors[1]


def slope_standard_error(
    rms_m: np.ndarray | float, length_cells: float, width_cells: float, cell_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return the ordinary-least-squares standard errors of the slopes along and across [fraction] from the
    residuals.

    rms_m: area-weighted rms of the residuals of the plane [m], any shape.
    The variance of one cell is estimated without bias: E[sum w r^2] = sigma^2 (sum w - sum w^2 / sum w -
    sum w^2 u^2 / sum w u^2 - sum w^2 v^2 / sum w v^2) (derived), which is the usual n - 3 for whole cells.
    Assumes
    INDEPENDENT errors of equal size: real ground and real lidar are correlated, so this is a lower bound.
    NaN where the rectangle leaves no degree of freedom.
    """
    moments = rectangle_moments(length_cells, width_cells)
    along, across, freedom = _squared_weight_terms(length_cells, width_cells)
    rms = np.asarray(rms_m)
    errors = []
    for squared, moment in ((along, moments.along), (across, moments.across)):
        usable = moment > 0.0 and freedom > 1e-9
        scale = np.sqrt(moments.area / freedom * squared) / moment / cell_m if usable else np.nan
        errors.append(rms * rms.dtype.type(scale) if rms.dtype.kind == "f" else rms * scale)
    return errors[0], errors[1]


def _squared_weight_terms(length_cells: float, width_cells: float) -> tuple[float, float, float]:
    """Return sum(w^2 u^2), sum(w^2 v^2) and the residual degrees of freedom of a plane."""
    along, across = axis_weights(length_cells), axis_weights(width_cells)
    u = np.arange(along.size) - along.size // 2
    v = np.arange(across.size) - across.size // 2
    moments = rectangle_moments(length_cells, width_cells)
    squared_u = (along**2 * u**2).sum() * (across**2).sum()
    squared_v = (across**2 * v**2).sum() * (along**2).sum()
    freedom = moments.area - (along**2).sum() * (across**2).sum() / moments.area
    freedom -= squared_u / moments.along if moments.along > 0.0 else 0.0
    freedom -= squared_v / moments.across if moments.across > 0.0 else 0.0
    return squared_u, squared_v, freedom
