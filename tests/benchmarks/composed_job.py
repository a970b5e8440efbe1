"""The screening put together from general-purpose libraries, the way an analyst would: the peer of `bench_whole_job`.

rasterio warps and burns, richdem fills and drains and gives slope and aspect (xarray-spatial where it is quicker), pvlib gives the sun,
scipy.ndimage the windows and shapely the geometry. None of them has horizons: those are a plain march of 200 m in numpy, every cell at
each step. Whatever each can do in place or in float32 is done so.
"""

from __future__ import annotations

import importlib.util
import math
import time
from dataclasses import dataclass, field

import numpy as np
import pandas
import pvlib
import pyproj
import richdem
import shapely
from affine import Affine
from rasterio import features
from rasterio.crs import CRS
from rasterio.warp import Resampling, reproject
from scipy import ndimage

from tests.benchmarks.bench_scan import scipy_planes
from tests.benchmarks.bench_terrain import quiet, wrapped

MARCH_M = 200.0
CROWN_PER_HEIGHT = 0.25  # radius of a tree drawn as a point
EYE_M = 1.0


@dataclass
class Composed:
    """What the composed job gives: layers by name, measures of every placement, feasible placements, score; seconds by step."""

    layers: dict[str, np.ndarray] = field(default_factory=dict)
    measures: dict[str, np.ndarray] = field(default_factory=dict)
    fits: np.ndarray | None = None
    score: np.ndarray | None = None
    seconds: dict[str, float] = field(default_factory=dict)


def composed(site, grid, sizes, rubrics: dict, months: tuple[int, ...], azimuths: int) -> Composed:
    """Do the job: site and grid as the screening has them, sizes (house, pad), rubrics by id, months with crops."""
    done, last = Composed(), time.perf_counter()

    def step(name: str) -> None:
        nonlocal last
        now = time.perf_counter()
        done.seconds[name] = done.seconds.get(name, 0.0) + now - last
        last = now

    layers = done.layers
    layers["ground"], layers["surface"] = _warped(site, grid), None
    layers["standing"] = _standing(site, grid)
    layers["surface"] = layers["ground"] + layers["standing"]
    step("local grid")
    layers["slope"], layers["aspect"] = _slope_aspect(layers["ground"])
    step("slope, aspect")
    with quiet():
        filled = np.asarray(richdem.FillDepressions(wrapped(layers["ground"]), epsilon=True))
        step("fill")
        cells = np.asarray(richdem.FlowAccumulation(wrapped(filled), method="D8"))
    layers["upslope"], layers["ponding"] = cells * grid.cell_m**2, filled - layers["ground"]
    step("D8")
    layers["beam_share"] = _beam_share(layers, site, grid, months, azimuths)
    step("shadow")
    _measure(done, sizes, grid.cell_m)
    step("windows")
    done.fits = _fitting(site, grid, sizes[1])
    step("feasible")
    _score(done, rubrics)
    step("scores")
    return done


def _warped(site, grid) -> np.ndarray:
    ground = np.full(grid.shape, np.nan, np.float32)
    reproject(
        site.dem.values,
        ground,
        src_transform=Affine(*site.dem.affine),
        src_crs=CRS.from_wkt(site.dem.crs.to_wkt()),
        dst_transform=Affine(*grid.affine),
        dst_crs=CRS.from_wkt(grid.crs_wkt),
        src_nodata=math.nan,
        dst_nodata=math.nan,
        resampling=Resampling.bilinear,
        num_threads=2,
    )
    return ground


def _moved(site, grid, geometry):
    change = pyproj.Transformer.from_crs(site.parcels.crs, grid.crs_wkt, always_xy=True)
    return shapely.transform(geometry, change.transform, interleaved=False)


def _standing(site, grid) -> np.ndarray:
    """Trees as discs of their height."""
    tall = site.obstacles.columns["height_m"].astype(float)
    order = np.argsort(tall)  # where two meet, the taller is burnt last
    discs = shapely.buffer(_moved(site, grid, site.obstacles.geometry), tall * CROWN_PER_HEIGHT, quad_segs=8)
    shapes = zip(discs[order], tall[order], strict=True)
    return features.rasterize(shapes, grid.shape, fill=0.0, transform=Affine(*grid.affine), dtype="float32")


def _slope_aspect(ground: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    if importlib.util.find_spec("xrspatial"):
        import xarray
        import xrspatial

        rows, cols = ground.shape
        places = {"y": np.arange(rows)[::-1] * 1.0, "x": np.arange(cols) * 1.0}
        layer = xarray.DataArray(ground, places, ("y", "x"))
        return np.tan(np.radians(xrspatial.slope(layer).data)), xrspatial.aspect(layer).data
    with quiet():
        layer = wrapped(ground)
        return tuple(np.asarray(richdem.TerrainAttribute(layer, name)) for name in ("slope_riserun", "aspect"))


def _beam_share(layers, site, grid, months, azimuths: int) -> np.ndarray:
    """Share of the clear-sky beam of the months that the horizon leaves, by directions: energy above each horizon angle."""
    lon, lat = (float(value) for value in grid.lonlat(0.0, 0.0))
    place = pvlib.location.Location(lat, lon, altitude=site.dem.datum_m)
    when = pandas.date_range("2025-01-01 00:05", "2025-12-31 23:55", freq="10min", tz="UTC")
    when = when[np.isin(when.month, months)]
    sun, sky = place.get_solarposition(when), place.get_clearsky(when, model="ineichen")
    height = sun["apparent_elevation"].to_numpy()
    up = height > 0
    tangent, beam = np.tan(np.radians(height[up])), (sky["dni"].to_numpy() * np.sin(np.radians(height)))[up]
    sector = np.round(sun["azimuth"].to_numpy()[up] / (360 / azimuths)).astype(int) % azimuths
    share = np.zeros(grid.shape, np.float32)
    eye, surface = layers["ground"] + np.float32(EYE_M), np.nan_to_num(layers["surface"], nan=-1e6)
    for k in np.unique(sector):
        mine = sector == k
        order = np.argsort(tangent[mine])
        energy = np.cumsum(beam[mine][order][::-1])[::-1]  # what stands above each height of the sun
        horizon = march(surface, eye, grid.cell_m, k * 360 / azimuths)
        share += np.interp(horizon, tangent[mine][order], energy / beam.sum(), right=0.0).astype(np.float32)
    return share


def march(surface: np.ndarray, eye: np.ndarray, cell_m: float, azimuth_deg: float) -> np.ndarray:
    """Tangent, at least 0, of the horizon within 200 m: the nearest cell at every cell length along the azimuth."""
    horizon, work = np.zeros_like(eye), np.empty_like(eye)
    rows, cols = eye.shape
    north, east = math.cos(math.radians(azimuth_deg)), math.sin(math.radians(azimuth_deg))
    for k in range(1, int(MARCH_M / cell_m) + 1):
        down, right = -round(k * north), round(k * east)
        here = slice(max(-down, 0), rows - max(down, 0)), slice(max(-right, 0), cols - max(right, 0))
        there = slice(max(down, 0), rows - max(-down, 0)), slice(max(right, 0), cols - max(-right, 0))
        rise = work[here]
        np.subtract(surface[there], eye[here], out=rise)
        rise *= np.float32(1.0 / (k * cell_m))
        np.maximum(horizon[here], rise, out=horizon[here])
    return horizon


def _measure(done: Composed, sizes, cell_m: float) -> None:
    """Measures of the footprint and the pad at every placement."""
    layers, (house, pad) = done.layers, sizes
    length, width = house.length_m / cell_m, house.width_m / cell_m
    ground = np.nan_to_num(layers["ground"], nan=0.0)
    _, along, across, rms = scipy_planes(ground, length, width)
    covered = tuple(2 * math.ceil(side / cell_m / 2 - 0.5) + 1 for side in (pad.width_m, pad.length_m))
    done.measures = {
        "standing": ndimage.maximum_filter(layers["standing"], covered),
        "pitch": 100 / cell_m * np.maximum(np.abs(along), np.abs(across)),
        "roughness": rms,
        "drainage": ndimage.maximum_filter(layers["upslope"], covered),
        "ponding": ndimage.maximum_filter(layers["ponding"], covered),
        "sun": ndimage.uniform_filter(np.nan_to_num(layers["beam_share"]), (round(width), round(length))),
    }


def _fitting(site, grid, pad) -> np.ndarray:
    """Placements whose pad lies in one parcel."""
    shapes = ((shape, number) for number, shape in enumerate(_moved(site, grid, site.parcels.geometry), 1))
    owner = features.rasterize(shapes, grid.shape, fill=0, transform=Affine(*grid.affine), dtype="uint8")
    covered = tuple(2 * math.ceil(side / grid.cell_m / 2 - 0.5) + 1 for side in (pad.width_m, pad.length_m))
    least, most = ndimage.minimum_filter(owner, covered), ndimage.maximum_filter(owner, covered)
    return (least == most) & (owner > 0)


def _score(done: Composed, rubrics: dict) -> None:
    """Marks by straight lines, their weighted mean where no limit rejects."""
    total, weight, passed = np.zeros(done.fits.shape), 0.0, done.fits.copy()
    for name, rubric in rubrics.items():
        values = done.measures[name]
        if rubric.limit is not None:
            passed &= values >= rubric.limit if rubric.full_at > rubric.none_at else values <= rubric.limit
        if rubric.weight > 0:
            total += rubric.weight * np.clip((values - rubric.none_at) / (rubric.full_at - rubric.none_at), 0.0, 1.0)
            weight += rubric.weight
    done.score = np.where(passed, 100 * total / weight, np.nan)
