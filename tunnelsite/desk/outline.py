"""The outline of a house on the map: footprint, pad, ridge and the middles of its ends, where the doors are."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from tunnelsite.core.grid import Grid
from tunnelsite.core.house import House, Pad
from tunnelsite.desk.features import on_the_map
from tunnelsite.desk.held import held
from tunnelsite.scan.refine import rectangle


def house_outline(grid: Grid, centre_m: tuple[float, float], house: House, pad: Pad) -> dict[str, Any]:
    """GeoJSON geometries of a house that stands along the grid. Arguments: centre_m, along and across [m]."""
    along, across = centre_m
    half = house.length_m / 2
    shapes = np.array(
        [
            rectangle(along, across, house.length_m, house.width_m),
            rectangle(along, across, pad.length_m, pad.width_m),
            shapely.linestrings([(along - half, across), (along + half, across)]),
        ],
        object,
    )
    footprint, apron, ridge = on_the_map(shapes, grid)
    doors = [list(end) for end in held(ridge)["coordinates"]]
    return {"footprint": footprint, "pad": apron, "ridge": ridge, "doors": doors}
