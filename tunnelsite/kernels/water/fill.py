"""Depression-filled ground, exact to the bit.

Arrays are [row, col], row 0 = north, NaN = no data. Water leaves the raster over its edge and into no data
alike: what lies beyond is unknown, and an outlet is the assumption that invents no lake there.

Source: Barnes, Lehman & Mulla (2014) Priority-Flood, Computers & Geosciences 62:117-127 [@barnes-2014], for what the filled surface is;
`catchments` says how it is found.
"""

import numpy as np

from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.shared import shared
from tunnelsite.kernels.water.catchments import raise_hollows

LARGEST = 2**31 - 1  # cells; the kernels index cells with int32


def filled(ground, pause=lambda: None):
    """Return the ground with every depression filled to the level at which it spills.

    Arguments: ground: (rows, cols) ground heights [m], row 0 = north; NaN (or infinite) = no data. float32
        and float64 keep their precision, anything else is read as float64. pause(): called once the ground is
        copied and not looked at any more, so that a ground that lives in a file may leave memory.
    Returns: (rows, cols) the lowest surface at or above the ground from which every cell drains over the
        raster edge or into no data without going up; NaN where there is no data. Depressions come out level
        (no gradient is imposed).
    Raises: ValueError: ground is not two-dimensional, or has more than 2**31 - 1 cells.
    Source: Barnes et al. (2014). The filled surface is unique: how it is found does not matter to it.
    """
    padded = with_rim(ground)
    pause()
    return filled_inside(padded)


def filled_inside(padded):
    """Fill heights with a rim of NaN (from `with_rim` or `rimmed`), which are used up, and return what lies inside the rim."""
    rows, cols = padded.shape
    if rows > 2 and cols > 2:
        raise_hollows(padded)
    return without_rim(padded)


def without_rim(padded):
    """Return what lies inside a rim one cell wide, moved together in the same memory: the padded array is used up."""
    rows, cols = padded.shape[0] - 2, padded.shape[1] - 2
    inside = padded.reshape(-1)[: rows * cols].reshape(rows, cols)
    for row in range(rows):
        inside[row] = padded[row + 1, 1:-1]  # each row moves towards the start, over rows that have moved already
    return inside


def ponding_depth(ground, filled_ground=None):
    """Return how deep water would stand on the ground before it spills [m].

    Arguments: ground: (rows, cols) ground heights [m]; filled_ground: `filled(ground)` if it is at hand.
    Returns: (rows, cols) depth [m], 0 outside depressions, NaN where there is no data.
    Raises: ValueError as `filled`, or filled_ground of another shape.
    """
    ground = np.asarray(ground)
    if filled_ground is None:
        filled_ground = filled(ground)
    if np.shape(filled_ground) != ground.shape:
        raise ValueError(
            f"filled_ground has shape {np.shape(filled_ground)}, the ground {ground.shape}; expected the same"
        )
    return filled_ground - ground


def with_rim(ground):
    """Return a float copy of a 2-D array with one more cell of NaN all round,
    and NaN for whatever is not finite.
    """
    ground = np.asarray(ground)
    if ground.ndim != 2:
        raise ValueError(f"ground has {ground.ndim} dimension(s) (shape {ground.shape}); expected rows x columns")
    padded = rimmed(ground.shape, ground.dtype if ground.dtype in (np.float32, np.float64) else np.float64)
    for rows in bands(ground.shape):
        _copy_finite(
            rows.stop - rows.start,
            np.ascontiguousarray(ground[rows], padded.dtype),
            padded[rows.start + 1 : rows.stop + 1, 1:-1],
        )
    return padded


@shared
def _copy_finite(mine, values, out):
    for row in range(mine[0], mine[1]):
        for col in range(values.shape[1]):
            value = values[row, col]
            out[row, col] = value if np.isfinite(value) else np.nan


def refuse_larger(shape):
    """Raises ValueError: more cells, with a rim round them, than flow can be traced over."""
    rows, cols = shape
    if (rows + 2) * (cols + 2) > LARGEST:
        raise ValueError(
            f"{rows} x {cols} cells are more than the {LARGEST} that flow can be traced over at once; "
            "use a larger cell or split the area by watershed"
        )


def rimmed(shape, dtype):
    """Return an array to be filled with heights of this shape, with a rim of NaN one cell wide round it.

    Raises: ValueError: more cells than flow can be traced over.
    """
    refuse_larger(shape)
    rows, cols = shape
    padded = np.empty((rows + 2, cols + 2), dtype)
    for rim in (padded[:1], padded[-1:], padded[:, :1], padded[:, -1:]):
        rim[...] = np.nan
    return padded
