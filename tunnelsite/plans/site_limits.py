"""What bounds the earthwork of one house: the owner's land, ground that is not to be dug, and services that may be buried."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

LEAST_M2 = 0.01  # a smaller overlap is the rounding of two outlines that share an edge
Named = tuple[tuple[str, shapely.Geometry], ...]


@dataclass(frozen=True)
class SiteLimits:
    """Geometry in the grid's along and across [m].

    Attributes:
        parcel: the owner's land, None = not known. open_ground: that less its setback and what keep-outs and structures ask
            for, None = not known.
        barred: (name, geometry) of keep-outs and structures themselves, without their distances, which are for houses.
        services: (name, geometry) of lines and points that may be buried or overhead there.
    """

    parcel: shapely.Geometry | None = None
    open_ground: shapely.Geometry | None = None
    barred: Named = ()
    services: Named = ()

    def barred_by(self, shape: shapely.Geometry) -> list[str]:
        """Names of what must not be dug and a shape lies on."""
        return [name for name, geometry in self.barred if _meets(geometry, shape)]

    def services_on(self, shape: shapely.Geometry) -> list[tuple[str, shapely.Geometry]]:
        """(name, part of it on the shape) of the services on a shape."""
        return [(name, shapely.intersection(line, shape)) for name, line in self.services if _meets(line, shape)]


def _meets(geometry: shapely.Geometry, shape: shapely.Geometry) -> bool:
    """Whether two geometries share more than a touch: ground, or for points and lines anything at all."""
    if not shapely.intersects(geometry, shape):
        return False
    areal = min(shapely.get_dimensions(geometry), shapely.get_dimensions(shape)) == 2
    return not areal or shapely.intersection(geometry, shape).area > LEAST_M2


def points_along(geometry: shapely.Geometry, step_m: float) -> np.ndarray:
    """Points [n, 2] along lines (or corners of other geometries) no farther apart than a step [m]."""
    points: np.ndarray = shapely.get_coordinates(shapely.segmentize(geometry, step_m))
    return points
