"""Layers of a farm by general-purpose libraries: ground, slope, flow, light, cold air and distances, for `composed_job`."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import rasterio
import richdem
import xarray
import xrspatial
from affine import Affine
from insolation.insolf import doshade, normalvector
from rasterio import features
from rasterio.fill import fillnodata
from rasterio.warp import Resampling, reproject
from scipy import ndimage

from tests.benchmarks.bench_terrain import quiet, wrapped
from tunnelsite.core.grid import Grid

CROWN_PER_HEIGHT = 0.25  # radius of a tree drawn as a point
LINE_M2 = 50_000.0
SCALE_CELLS, ROUND_BLOCKS = 10, 25  # cold air: heights averaged over 10 m, land within 250 m
LEAST_STANDING_M, MOST_ROOM_M = 1.0, 100.0


def farm_read(folder: Path, grid: Grid, layers: dict) -> geopandas.GeoDataFrame:
    """Ground and what stands on it, on the grid; the parcels, in its system."""
    ground = np.full(grid.shape, np.nan, np.float32)
    with rasterio.open(folder / "dem.tif") as dem:
        places = {"src_transform": dem.transform, "src_crs": dem.crs, "dst_transform": Affine(*grid.affine)}
        reproject(
            dem.read(1),
            ground,
            **places,
            dst_crs=grid.crs_wkt,
            src_nodata=np.nan,
            dst_nodata=np.nan,
            resampling=Resampling.bilinear,
            num_threads=2,
        )
    fillnodata(ground, np.isfinite(ground), max_search_distance=3.0)  # the rim, which the DEM covers in part
    parcels, trees = (
        geopandas.read_file(folder / f"{name}.gpkg").to_crs(grid.crs_wkt) for name in ("parcels", "obstacles")
    )
    trees = trees.sort_values("height_m")  # where two meet, the taller is burnt last
    discs = trees.buffer(trees.height_m * CROWN_PER_HEIGHT)
    burnt = zip(discs, trees.height_m, strict=True)
    standing = features.rasterize(burnt, grid.shape, transform=Affine(*grid.affine), dtype="float32")
    layers.update(ground=ground, standing=standing, surface=ground + standing)
    return parcels


def add_terrain(layers: dict, cell_m: float) -> None:
    """Slope, aspect, contributing area and depth of hollows."""
    ground = layers["ground"]
    rows, cols = ground.shape
    at = {"y": np.arange(rows)[::-1] * cell_m, "x": np.arange(cols) * cell_m}
    raster = xarray.DataArray(ground, at, ("y", "x"))
    layers.update(slope=xrspatial.slope(raster).data, aspect=xrspatial.aspect(raster).data)
    with quiet():
        filled = np.asarray(richdem.FillDepressions(wrapped(ground), epsilon=True))
        cells = np.asarray(richdem.FlowAccumulation(wrapped(filled), method="D8"))
    layers.update(upslope=cells * cell_m**2, ponding=filled - ground)


def cast(surface: np.ndarray, suns: np.ndarray, cell_m: float, lit: dict) -> None:
    """Add the light of suns to that of their months. Arguments: suns, rows of azimuth, elevation [deg], energy, month; lit, by month."""
    for azimuth, elevation, energy, month in suns:
        shine = doshade(surface, cell_m, np.asarray(normalvector(90.0 - elevation, azimuth), np.float64))
        if month not in lit:
            lit[month] = np.zeros(surface.shape, np.float32)
        lit[month] += np.float32(energy) * shine


def add_shares(layers: dict, suns: np.ndarray, lit: dict) -> None:
    """Share of each month's beam that the shadows leave: the darkest month and the season; and who is in the sun at noon of midwinter."""
    layers["noon"] = lit.pop(0)
    beam = {month: suns[suns[:, 3] == month, 2].sum() for month in lit}
    layers["season_sun"] = sum(lit.values()) / np.float32(sum(beam.values()))
    layers["sun"] = np.minimum.reduce([lit[month] / np.float32(beam[month]) for month in lit])


def add_air_and_room(layers: dict, cell_m: float) -> None:
    """Cold air in hollows and on low ground; distances from what stands and from lines that gather water."""
    ground = layers["ground"]
    smooth = ndimage.uniform_filter(ground, SCALE_CELLS)
    with quiet():
        layers["cold_air"] = np.asarray(richdem.FillDepressions(wrapped(smooth), epsilon=False)) - smooth
    half = SCALE_CELLS // 2
    blocks = smooth[half::SCALE_CELLS, half::SCALE_CELLS]
    square = 2 * ROUND_BLOCKS + 1
    known = ndimage.uniform_filter(np.ones_like(blocks), square, mode="constant")  # of a square that the data cut off
    below = ndimage.uniform_filter(blocks, square, mode="constant") / known - blocks
    spread = ndimage.zoom(below, SCALE_CELLS, order=1, mode="nearest", grid_mode=True)
    short = [(0, max(side - grown, 0)) for side, grown in zip(ground.shape, spread.shape, strict=True)]
    layers["low_ground"] = np.pad(spread, short, "edge")[: ground.shape[0], : ground.shape[1]]
    away = ndimage.distance_transform_edt(layers["standing"] < LEAST_STANDING_M, sampling=cell_m)
    layers["room"] = np.minimum(away, MOST_ROOM_M)
    layers["from_lines"] = ndimage.distance_transform_edt(layers["upslope"] < LINE_M2, sampling=cell_m)
