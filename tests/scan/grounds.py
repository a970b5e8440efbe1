"""Small grounds and sites for tests, made in memory."""

from __future__ import annotations

import numpy as np
import pyproj
import shapely

from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.site import Site

UTM17 = pyproj.CRS(32617)


def features(shapes, crs=UTM17, name: str = "features", distance_m: float = 0.0, **columns) -> Features:
    """Features from shapely geometries."""
    geometry = np.empty(len(shapes), object)
    geometry[:] = shapes
    return Features(
        geometry, {key: np.array(values, object) for key, values in columns.items()}, crs, name, distance_m=distance_m
    )


def raster(
    heights: np.ndarray, west: float, north: float, cell: float = 1.0, crs=UTM17, datum_m: float | None = None
) -> SourceRaster:
    """A source raster from heights in metres; rows run south."""
    datum = float(np.round(np.nanmedian(heights))) if datum_m is None else datum_m
    values = (np.asarray(heights, float) - datum).astype(np.float32)
    return SourceRaster(values, (cell, 0.0, west, 0.0, -cell, north), crs, datum)


def site(
    heights: np.ndarray, shapes=None, *, cell: float = 1.0, west: float = 499_900.0, north: float = 4_700_100.0, **more
) -> Site:
    """A site on the central meridian of UTM 17 N (so that the local grid is hardly turned); one parcel over everything
    where none is given."""
    rows, cols = heights.shape
    if shapes is None:
        shapes = [shapely.box(west + 1, north - (rows - 1) * cell, west + (cols - 1) * cell, north - 1)]
    return Site(raster(heights, west, north, cell), features(shapes, name="parcels"), **more)


def hills(rows: int, cols: int, seed: int, rise: float = 0.6) -> np.ndarray:
    """Smooth random ground with a little noise, about 100 m above the sea."""
    rng = np.random.default_rng(seed)
    r, c = np.mgrid[0:rows, 0:cols]
    z = 100 + 0.004 * c - 0.006 * r
    for _ in range(4):
        period, phase, way = rng.uniform(20, 60), rng.uniform(0, 6.3), rng.uniform(0, 3.1)
        z = z + rise * rng.uniform(0.1, 0.5) * np.sin((c * np.cos(way) + r * np.sin(way)) * 6.283 / period + phase)
    return z + rng.normal(0, 0.01, z.shape)
