"""The screening put together from general-purpose libraries, the way an analyst would: the peer of `bench_whole_job`.

rasterio warps and burns, richdem fills and drains and gives slope and aspect (xarray-spatial where it is installed), pvlib gives the
sun, scipy.ndimage windows and distances, numpy the windows of the earthwork, shapely the geometry. None of them has horizons: those are a plain march of 200 m in numpy, every cell at
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
from tunnelsite.kernels.coverage import axis_weights

MARCH_M = 200.0
CROWN_PER_HEIGHT = 0.25  # radius of a tree drawn as a point
EYE_M = 1.0
BAND_ROWS, WINDOWS = 32, 512
COLD_SCALE_M, LEAST_STANDING_M, MOST_ROOM_M = 10.0, 1.0, 100.0


@dataclass
class Composed:
    """What the composed job gives: layers by name, measures of every placement, feasible placements, score; seconds by step."""

    layers: dict[str, np.ndarray] = field(default_factory=dict)
    measures: dict[str, np.ndarray] = field(default_factory=dict)
    fits: np.ndarray | None = None
    score: np.ndarray | None = None
    seconds: dict[str, float] = field(default_factory=dict)


def composed(site, grid, sizes, rubrics: dict, months: tuple[int, ...], azimuths: int, pad_pitch: float) -> Composed:
    """Do the job: site and grid as the screening has them, sizes (house, pad), rubrics by id, months with crops, slope of a pad."""
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
    _light(layers, site, grid, months, azimuths)
    step("shadow")
    layers["cold_pool"] = _cold_pool(layers["ground"], grid.cell_m)
    step("cold air")
    clear = layers["standing"] < LEAST_STANDING_M
    away = ndimage.distance_transform_edt(clear, sampling=grid.cell_m) if not clear.all() else MOST_ROOM_M
    layers["room"] = np.minimum(np.full(grid.shape, MOST_ROOM_M, np.float32), away)
    step("room")
    _measure(done, sizes, grid.cell_m)
    step("windows")
    done.fits = _fitting(site, grid, sizes[1])
    step("feasible")
    passed = _within(done.fits, done.measures, rubrics)
    _earthwork(done, passed, sizes[1], pad_pitch, grid.cell_m)
    step("earthwork")
    passed = _within(passed, done.measures, rubrics)
    done.score = _score(passed, done.measures, rubrics)
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


def _light(layers, site, grid, months, azimuths: int) -> None:
    """Share of the clear-sky beam of the months that the horizon leaves, and what is in the sun at noon of midwinter."""
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
    layers["beam_share"] = share
    noon = place.get_solarposition(pandas.date_range("2025-12-21", periods=1440, freq="min", tz="UTC")).nlargest(
        1, "elevation"
    )
    horizon = march(surface, eye, grid.cell_m, float(noon["azimuth"].iloc[0]))
    lit = horizon <= math.tan(math.radians(float(noon["apparent_elevation"].iloc[0])))
    layers["noon_sun"] = lit.astype(np.float32)


def _cold_pool(ground: np.ndarray, cell_m: float) -> np.ndarray:
    smooth = ndimage.uniform_filter(np.nan_to_num(ground, nan=0.0), round(COLD_SCALE_M / cell_m))
    with quiet():
        return np.asarray(richdem.FillDepressions(wrapped(smooth), epsilon=False)) - smooth


def march(surface: np.ndarray, eye: np.ndarray, cell_m: float, azimuth_deg: float) -> np.ndarray:
    """Tangent, at least 0, of the horizon within 200 m: the nearest cell at every cell length along the azimuth.

    A few rows at a time, which stay in the cache: twice as fast as whole arrays.
    """
    horizon, work = np.zeros_like(eye), np.empty((BAND_ROWS, eye.shape[1]), eye.dtype)
    rows, cols = eye.shape
    steps = range(1, int(MARCH_M / cell_m) + 1)
    north, east = math.cos(math.radians(azimuth_deg)), math.sin(math.radians(azimuth_deg))
    moves = [(-round(k * north), round(k * east), np.float32(1.0 / (k * cell_m))) for k in steps]
    for band in range(0, rows, BAND_ROWS):
        for down, right, per_m in moves:
            top, bottom = max(band, -down), min(band + BAND_ROWS, rows - down, rows)
            left, end = max(-right, 0), cols - max(right, 0)
            if top >= bottom:
                continue
            rise = work[: bottom - top, left:end]
            np.subtract(
                surface[top + down : bottom + down, left + right : end + right], eye[top:bottom, left:end], out=rise
            )
            rise *= per_m
            best = horizon[top:bottom, left:end]
            np.maximum(best, rise, out=best)
    return horizon


def _covered(size_m: float, cell_m: float) -> int:
    """How many cells a line of a size, centred on a cell, touches."""
    return 2 * math.ceil(size_m / cell_m / 2 - 0.5) + 1


def _measure(done: Composed, sizes, cell_m: float) -> None:
    """Measures of the footprint and the pad at every placement, but earthwork."""
    layers, (house, pad) = done.layers, sizes
    length, width = house.length_m / cell_m, house.width_m / cell_m
    ground = np.nan_to_num(layers["ground"], nan=0.0)
    _, along, across, rms = scipy_planes(ground, length, width)
    on_pad = _covered(pad.width_m, cell_m), _covered(pad.length_m, cell_m)
    under = _covered(house.width_m, cell_m), _covered(house.length_m, cell_m)

    def mean(name: str) -> np.ndarray:
        return ndimage.uniform_filter(np.nan_to_num(layers[name]), (round(width), round(length)))

    done.measures = {
        "standing": ndimage.maximum_filter(layers["standing"], on_pad),
        "pitch": 100 / cell_m * np.maximum(np.abs(along), np.abs(across)),
        "roughness": rms,
        "crown": _crown(ground, length, width),
        "drainage": ndimage.maximum_filter(layers["upslope"], on_pad),
        "ponding": ndimage.maximum_filter(layers["ponding"], on_pad),
        "season_sun": mean("beam_share"),
        "noon": mean("noon_sun"),
        "cold_air": mean("cold_pool"),
        "snow_room": ndimage.minimum_filter(layers["room"], under),
    }


def _crown(ground: np.ndarray, length: float, width: float) -> np.ndarray:
    """Height of the middle above the long edges by the quadratic across."""
    along, across = axis_weights(length), axis_weights(width)
    v = np.arange(across.size) - across.size // 2
    bow = across * (v**2 - (across * v**2).sum() / across.sum())
    found = ndimage.correlate1d(ndimage.correlate1d(ground - np.float64(ground.mean()), bow, 0), along, 1)
    return -((width / 2) ** 2) * found / ((bow * v**2).sum() * along.sum())


def _within(passed: np.ndarray, measures: dict, rubrics: dict) -> np.ndarray:
    """Those that no limit rejects."""
    for name, values in measures.items():
        rubric = rubrics[name]
        if rubric.limit is not None:
            passed = passed & (values >= rubric.limit if rubric.full_at > rubric.none_at else values <= rubric.limit)
    return passed


def _earthwork(done: Composed, passed: np.ndarray, pad, pad_pitch: float, cell_m: float) -> None:
    """Cut of every placement left, window by window: off its plane, each slope clipped, at the mean height, where cut is fill."""
    ground, sides = np.nan_to_num(done.layers["ground"]), (pad.width_m / cell_m, pad.length_m / cell_m)
    mean, along, across, _ = scipy_planes(ground, *sides[::-1])
    rows, cols = np.nonzero(passed)
    weights = [axis_weights(side) for side in sides]
    v, u = (np.arange(len(one), dtype=np.float32) - len(one) // 2 for one in weights)
    windows = np.lib.stride_tricks.sliding_window_view(ground, (len(v), len(u)))
    weight = np.outer(*weights).astype(np.float32)
    cut, deepest = np.empty(len(rows)), np.empty(len(rows))
    for first in range(0, len(rows), WINDOWS):
        part = slice(first, first + WINDOWS)
        at = rows[part], cols[part]
        z = windows[at[0] - len(v) // 2, at[1] - len(u) // 2]
        east, south = (
            np.clip(slope[at], -pad_pitch * cell_m, pad_pitch * cell_m).astype(np.float32) for slope in (along, -across)
        )
        z -= mean[at].astype(np.float32)[:, None, None]
        z -= (east[:, None] * u)[:, None, :]
        z -= (south[:, None] * v)[:, :, None]
        np.maximum(z, 0.0, out=z)
        cut[part], deepest[part] = np.einsum("nij,ij->n", z, weight), z.max(axis=(1, 2))
    for name, values in (("deepest_cut", deepest), ("earthwork", cut * cell_m**2 / pad.area_m2)):
        done.measures[name] = np.full(passed.shape, np.nan)
        done.measures[name][passed] = values


def _fitting(site, grid, pad) -> np.ndarray:
    """Placements whose pad lies in one parcel."""
    shapes = ((shape, number) for number, shape in enumerate(_moved(site, grid, site.parcels.geometry), 1))
    owner = features.rasterize(shapes, grid.shape, fill=0, transform=Affine(*grid.affine), dtype="uint8")
    covered = _covered(pad.width_m, grid.cell_m), _covered(pad.length_m, grid.cell_m)
    least, most = ndimage.minimum_filter(owner, covered), ndimage.maximum_filter(owner, covered)
    return (least == most) & (owner > 0)


def _score(passed: np.ndarray, measures: dict, rubrics: dict) -> np.ndarray:
    """Marks by straight lines and their weighted mean, 0-100; NaN where a limit rejects."""
    total, weight = np.zeros(passed.shape), 0.0
    for name, rubric in rubrics.items():
        if rubric.weight > 0:
            marks = np.clip((measures[name] - rubric.none_at) / (rubric.full_at - rubric.none_at), 0.0, 1.0)
            total += rubric.weight * marks
            weight += rubric.weight
    return np.where(passed, 100 * total / weight, np.nan)
