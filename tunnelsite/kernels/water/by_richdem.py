"""Drainage by richdem, from filling to contributing area: a second engine, and the reference of the built-in one.

It sends water to the lowest neighbour whatever the distance, takes holes in the data for lakes, and lets nothing drain within the
outermost cells (docs/decisions/0002-flow-engine.md). It works on one core and holds nine numbers a cell meanwhile.
"""

import numpy as np

from tunnelsite.kernels.water.flow import NO_DATA

NOTHING = -1e30  # stands for no data
# Codes of `flow` in the order of richdem's neighbours: W NW N NE E SE S SW.
CODES = np.array([16, 32, 64, 128, 1, 2, 4, 8], np.uint8)
METHODS = {"d8": "D8", "d-infinity": "Dinf"}


def filled(ground: np.ndarray) -> np.ndarray:
    """The ground with every hollow level with its rim, of the ground's own type. ground: [rows, cols] [m], NaN = no data."""
    import richdem  # only where it is asked for

    result = np.array(richdem.FillDepressions(_wrapped(ground), epsilon=False, in_place=False))
    return np.where(np.isfinite(ground), result, np.nan).astype(ground.dtype)


def accumulated(ground: np.ndarray, method: str) -> tuple[np.ndarray, np.ndarray]:
    """(cells that drain through each cell, its own included, float64, NaN = no data; the neighbour each drains to, codes of `flow`).

    Arguments: ground [rows, cols] [m], NaN = no data; method, `d8` or `d-infinity`, in which water is shared by two while the codes
    stay those of D8. Level ground is tilted towards its outlets by the least that numbers show.
    Source: richdem's FillDepressions (epsilon), FlowAccumulation and FlowProportions.
    """
    import richdem

    sloping = richdem.FillDepressions(_wrapped(ground), epsilon=True, in_place=False)
    cells = np.array(richdem.FlowAccumulation(sloping, method=METHODS[method]), np.float64)
    shares = np.asarray(richdem.FlowProportions(sloping, method="D8"))
    direction = np.where(shares[..., 0] == 0, CODES[shares[..., 1:].argmax(axis=-1)], np.uint8(0))
    missing = ~np.isfinite(ground)
    direction[missing], cells[missing] = NO_DATA, np.nan
    return cells, direction


def _wrapped(ground: np.ndarray):
    import richdem

    heights = np.where(np.isfinite(ground), ground, NOTHING).astype(np.float64)
    return richdem.rdarray(heights, no_data=NOTHING, geotransform=[0, 1, 0, 0, 0, -1])
