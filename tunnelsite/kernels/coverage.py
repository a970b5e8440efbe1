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

    @property
    def ends(self) -> tuple[int, float, float]:
        """Reach, weight of the last cell, and what the last but one weighs more: all that changes as a window slides.

        Without a fractional end that is 1 and 0; a line below one cell has no last but one.
        """
        if self.full < 0:
            return self.reach, 2.0 * self.edge, 0.0
        return (self.reach, self.edge, 1.0 - self.edge) if self.edge > 0.0 else (self.reach, 1.0, 0.0)


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
