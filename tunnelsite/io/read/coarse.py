"""A raster of heights as coarse as a map needs it, read without reading all of it where the file holds overviews."""

from __future__ import annotations

import math

import numpy as np
from rasterio.enums import Resampling

from tunnelsite.core.layers import SourceRaster
from tunnelsite.core.units import VERTICAL_UNITS_M
from tunnelsite.io.read.files import file_name
from tunnelsite.io.read.raster_header import RasterHeader, opened, reading
from tunnelsite.io.read.rasters import height_rules


def coarse_raster(
    header: RasterHeader, most_cells: int, vertical_unit: str | None = None, band: int | None = None
) -> SourceRaster:
    """All of a raster in at most `most_cells` cells, each the mean of those it covers; to be looked at, not to be judged.

    Arguments: header, from `raster_header`; vertical_unit and band, as `read_raster`. Errors: those of `read_raster`.
    """
    rules = height_rules(header, vertical_unit, band, None)
    chosen = header.bands[rules.band - 1]
    with reading(header.path, header.option), opened(header.path, header.driver) as source:
        every = max(1.0, math.sqrt(source.height * source.width / most_cells))
        shape = max(3, int(source.height / every)), max(3, int(source.width / every))
        cells = source.read(rules.band, out_shape=shape, masked=True, resampling=Resampling.average)
        scale = source.width / shape[1], source.height / shape[0]
    values = np.ma.filled(cells.astype(np.float64), np.nan) * chosen.scale + chosen.offset
    values *= VERTICAL_UNITS_M[rules.unit]
    datum = float(np.nanmin(values)) if np.isfinite(values).any() else 0.0
    a, b, c, d, e, f = header.affine
    affine = (a * scale[0], b * scale[1], c, d * scale[0], e * scale[1], f)
    return SourceRaster(
        (values - datum).astype(np.float32),
        affine,
        header.crs,
        datum,
        file_name(header.path),
        "",
        rules.unit,
        rules.notes,
    )
