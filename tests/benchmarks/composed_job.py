"""The screening of one in-ground house put together from general-purpose libraries: the peer of `bench_composed`.

rasterio reads and warps the DEM and burns obstacles and parcels, geopandas reads and writes features, xarray-spatial gives slope and aspect,
richdem fills hollows and accumulates flow (D8), `insolation` casts the shadow of each sun, scipy.ndimage takes moments, extremes and means
over every footprint, distances and the mean over shifts, numpy the earthwork, window by window, and scipy.stats the expected mark of the
pitch. Whatever a library does in float32 or as running sums is done so.

What it leaves out, each of which favours it, stands in `bench_composed`.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, field
from pathlib import Path

import geopandas
import numpy as np
import shapely
from affine import Affine
from rasterio import features
from scipy import ndimage, stats

from tests.benchmarks.bench_scan import scipy_planes
from tests.benchmarks.composed_layers import add_air_and_room, add_shares, add_terrain, cast, farm_read
from tunnelsite.core.grid import Grid
from tunnelsite.core.house import House, Pad
from tunnelsite.core.rubric import Rubric
from tunnelsite.kernels.coverage import axis_weights

BETWEEN = "light of the suns between"
BESIDE_M2, BESIDE_M = 10_000.0, 35 * 0.3048
WINDOWS = 512  # pads graded together, so that they stay in the cache


@dataclass(frozen=True)
class Errors:
    """What errors of the elevations come to, by our formulas: standard deviation assumed [m], lag and reach of the second differences
    [cells] that show how large it can be, their variance for an error of 1 m, standard errors of the two slopes for the assumed one, and
    what of the shape of a pad is taken for error, for an error of 1 m."""

    sd_m: float
    lag: int
    reach: int
    bend: float
    slopes: tuple[float, float]
    ripple: float


@dataclass(frozen=True)
class Asked:
    """The job: cells; house and pad; rubrics by criterion; suns (azimuth, elevation [deg], energy, month) a row, the first that of noon in
    midwinter (month 0); how many of the first make up a coarse series; errors; slope a pad may keep; what a shift weighs, cell by cell;
    least distance of two options [m]; options wanted."""

    grid: Grid
    house: House
    pad: Pad
    rubrics: dict[str, Rubric]
    suns: np.ndarray
    coarse: int
    errors: Errors
    pad_pitch: float
    shift: np.ndarray
    apart_m: float
    top: int


@dataclass
class Composed:
    """What comes of it: layers by name; measures of every placement; placements whose pad lies in a parcel, and those that pass every
    limit; score at the place and over shifts; seconds and
    processor time by step."""

    layers: dict[str, np.ndarray] = field(default_factory=dict)
    measures: dict[str, np.ndarray] = field(default_factory=dict)
    fits: np.ndarray | None = None
    passed: np.ndarray | None = None
    here: np.ndarray | None = None
    score: np.ndarray | None = None
    spent: dict[str, tuple[float, float]] = field(default_factory=dict)


def composed(folder: Path, asked: Asked) -> Composed:
    """Screen the farm of a folder (dem.tif, parcels.gpkg, obstacles.gpkg) and write its candidates there (composed.gpkg)."""
    done, last = Composed(), (time.perf_counter(), time.process_time())

    def step(name: str) -> None:
        nonlocal last
        now = time.perf_counter(), time.process_time()
        done.spent[name], last = (now[0] - last[0], now[1] - last[1]), now

    parcels = farm_read(folder, asked.grid, done.layers)
    step("read")
    add_terrain(done.layers, asked.grid.cell_m)
    step("slope, flow")
    lit: dict = {}
    cast(done.layers["surface"], asked.suns[: asked.coarse], asked.grid.cell_m, lit)
    step("light")
    cast(done.layers["surface"], asked.suns[asked.coarse :], asked.grid.cell_m, lit)
    step(BETWEEN)
    add_shares(done.layers, asked.suns, lit)
    add_air_and_room(done.layers, asked.grid.cell_m)
    step("air, distances")
    _measure(done, asked)
    step("windows")
    done.fits = _fitting(parcels, asked) & (done.measures["standing"] == 0.0)
    passed = _within(done.fits, done.measures, asked.rubrics)
    step("parcels, limits")
    _earthwork(done, passed, asked)
    done.passed = _within(passed, done.measures, asked.rubrics)
    step("earthwork")
    done.here = _score(done, asked)
    done.score = _steady(done, asked.shift)
    step("scores")
    _write(folder, done.score.copy(), asked, parcels.crs)
    step("ranking")
    return done


def _covered(size_m: float, cell_m: float) -> int:
    """How many cells a line of a size, centred on a cell, touches."""
    return 2 * math.ceil(size_m / cell_m / 2 - 0.5) + 1


def _measure(done: Composed, asked: Asked) -> None:
    """Measures of the footprint and the pad at every placement, but earthwork."""
    layers, house, pad, cell = done.layers, asked.house, asked.pad, asked.grid.cell_m
    length, width = house.length_m / cell, house.width_m / cell
    _, along, across, rms = scipy_planes(layers["ground"], length, width)
    on_pad = _covered(pad.width_m, cell), _covered(pad.length_m, cell)
    beside = tuple(cells + 2 * round(BESIDE_M / cell) for cells in on_pad)
    under = _covered(house.width_m, cell), _covered(house.length_m, cell)
    done.layers["error_share"] = _error_share(layers["ground"], asked.errors)

    def mean(name: str) -> np.ndarray:
        return ndimage.uniform_filter(layers[name], (round(width), round(length)))

    done.measures = {
        "standing": ndimage.maximum_filter(layers["standing"], on_pad),
        "pitch": 100 / cell * np.maximum(np.abs(along), np.abs(across)),
        "roughness": rms,
        "crown": _crown(layers["ground"], length, width),
        "drainage": ndimage.maximum_filter(layers["upslope"], on_pad),
        "ponding": ndimage.maximum_filter(layers["ponding"], on_pad),
        "drainage_distance": ndimage.minimum_filter(layers["from_lines"], on_pad),
        "flow_beside": ndimage.maximum_filter(np.where(layers["upslope"] >= BESIDE_M2, layers["upslope"], 0.0), beside),
        **{name: mean(name) for name in ("sun", "season_sun", "noon", "cold_air", "low_ground")},
        "snow_room": ndimage.minimum_filter(layers["room"], under),
    }


def _error_share(ground: np.ndarray, errors: Errors) -> np.ndarray:
    """What share of the assumed error lets the ground be as smooth as it is round each cell, by second differences."""
    lag, squares = errors.lag, np.zeros_like(ground)
    squares[lag:-lag] += (ground[2 * lag :] - 2 * ground[lag:-lag] + ground[: -2 * lag]) ** 2
    squares[:, lag:-lag] += (ground[:, 2 * lag :] - 2 * ground[:, lag:-lag] + ground[:, : -2 * lag]) ** 2
    mean = ndimage.uniform_filter(squares, 2 * errors.reach + 1) / 2
    return np.minimum(1.0, np.sqrt(np.maximum(mean, 0.0) / errors.bend) / errors.sd_m)


def _crown(ground: np.ndarray, length: float, width: float) -> np.ndarray:
    """Height of the middle above the long edges by the quadratic across."""
    along, across = axis_weights(length), axis_weights(width)
    v = np.arange(across.size) - across.size // 2
    bow = across * (v**2 - (across * v**2).sum() / across.sum())
    found = ndimage.correlate1d(ndimage.correlate1d(ground - np.float64(ground.mean()), bow, 0), along, 1)
    return -((width / 2) ** 2) * found / ((bow * v**2).sum() * along.sum())


def _fitting(parcels: geopandas.GeoDataFrame, asked: Asked) -> np.ndarray:
    """Placements whose pad lies in one parcel."""
    shapes = zip(parcels.geometry, range(1, len(parcels) + 1), strict=True)
    owner = features.rasterize(shapes, asked.grid.shape, transform=Affine(*asked.grid.affine), dtype="uint8")
    covered = _covered(asked.pad.width_m, asked.grid.cell_m), _covered(asked.pad.length_m, asked.grid.cell_m)
    least, most = ndimage.minimum_filter(owner, covered), ndimage.maximum_filter(owner, covered)
    return (least == most) & (owner > 0)


def _within(passed: np.ndarray, measures: dict, rubrics: dict[str, Rubric]) -> np.ndarray:
    """Those that no limit rejects."""
    for name, values in measures.items():
        if rubrics[name].limit is not None:
            passed = passed & ~rubrics[name].beyond(values)
    return passed


def _earthwork(done: Composed, passed: np.ndarray, asked: Asked) -> None:
    """Cut of every placement left, window by window: what of its shape is no error, and what it is too steep, where cut is fill."""
    ground, cell = done.layers["ground"], asked.grid.cell_m
    sides = asked.pad.width_m / cell, asked.pad.length_m / cell
    planes = scipy_planes(ground, *sides[::-1])
    rows, cols = np.nonzero(passed)
    mean, along, across, rms = (layer[rows, cols].astype(np.float32) for layer in planes)
    noise = asked.errors.ripple * asked.errors.sd_m * done.layers["error_share"][rows, cols]
    keep = np.sqrt(np.maximum(1.0 - (noise / np.maximum(rms, 1e-9)) ** 2, 0.0)).astype(np.float32)
    steep = asked.pad_pitch * cell
    east, south = (slope - np.clip(slope, -steep, steep) - keep * slope for slope in (along, -across))
    weights = [axis_weights(side) for side in sides]
    v, u = (np.arange(len(one), dtype=np.float32) - len(one) // 2 for one in weights)
    windows = np.lib.stride_tricks.sliding_window_view(ground, (len(v), len(u)))
    weight = np.outer(*weights).astype(np.float32)
    cut, deepest = np.empty(len(rows)), np.empty(len(rows))
    for first in range(0, len(rows), WINDOWS):
        part = slice(first, first + WINDOWS)
        z = windows[rows[part] - len(v) // 2, cols[part] - len(u) // 2]
        z -= mean[part, None, None]
        z *= keep[part, None, None]
        z += (east[part, None] * u)[:, None, :]
        z += (south[part, None] * v)[:, :, None]
        cut[part] = np.maximum(z, 0.0).reshape(len(z), -1) @ weight.ravel()
        _to_edges(z, sides)
        deepest[part] = z.max(axis=(1, 2), initial=0.0)
    for name, values in (("deepest_cut", deepest), ("earthwork", cut * cell**2 / asked.pad.area_m2)):
        done.measures[name] = np.full(passed.shape, np.nan)
        done.measures[name][passed] = values


def _to_edges(z: np.ndarray, sides: tuple[float, float]) -> None:
    """Windows [n, rows, cols] whose outer heights lie beyond the pad: those of its edges in their place. Arguments: sides of the pad [cells]."""
    for axis, side in enumerate(sides, 1):
        share = np.float32(1 - (z.shape[axis] // 2 - side / 2))
        turned = np.moveaxis(z, axis, 0)
        for outer, inner in ((0, 1), (-1, -2)):
            turned[outer] = turned[inner] + share * (turned[outer] - turned[inner])


def _score(done: Composed, asked: Asked) -> np.ndarray:
    """Weighted mean of the marks, 0-100: straight lines, of the pitch expected marks; NaN where a limit rejects."""
    here = done.passed
    total, whole = np.zeros(np.count_nonzero(here)), 0.0
    for name, values in done.measures.items():
        rubric = asked.rubrics[name]
        t = (values[here] - rubric.none_at) / (rubric.full_at - rubric.none_at)
        if name == "pitch":
            se = 100 * max(asked.errors.slopes) * done.layers["error_share"][here]
            s = np.maximum(se / abs(rubric.full_at - rubric.none_at), 1e-9)
            marks = s * (_psi(t / s) - _psi((t - 1) / s))
        else:
            marks = np.clip(t, 0.0, 1.0)
        total += rubric.weight * marks
        whole += rubric.weight
    score = np.full(here.shape, np.nan)
    score[here] = 100 * total / whole
    return score


def _psi(u: np.ndarray) -> np.ndarray:
    return u * stats.norm.cdf(u) + stats.norm.pdf(u)


def _steady(done: Composed, disc: np.ndarray) -> np.ndarray:
    """Mean over shifts inside the open ground, where what a limit rejects counts 0."""
    worth = ndimage.correlate(np.nan_to_num(done.here), disc, mode="constant")
    ground = ndimage.correlate(done.fits.astype(np.float64), disc, mode="constant")
    return np.where(done.passed, worth / np.maximum(ground, 1e-9), np.nan)


def _write(folder: Path, score: np.ndarray, asked: Asked, crs) -> None:
    """The best placements that stand apart, as rectangles."""
    cell, found = asked.grid.cell_m, []
    np.nan_to_num(score, copy=False, nan=-1.0)
    reach = [round(max(asked.apart_m, side) / cell) for side in (asked.pad.width_m, asked.pad.length_m)]
    while len(found) < asked.top and score.max() >= 0.0:
        row, col = np.unravel_index(score.argmax(), score.shape)
        found.append((row, col, score[row, col]))
        score[max(row - reach[0], 0) : row + reach[0] + 1, max(col - reach[1], 0) : col + reach[1] + 1] = -1.0
    rows, cols, best = np.array(found).reshape(-1, 3).T
    along, across = Affine(*asked.grid.affine) * (cols + 0.5, rows + 0.5)
    half = asked.house.length_m / 2, asked.house.width_m / 2
    boxes = shapely.box(along - half[0], across - half[1], along + half[0], across + half[1])
    table = geopandas.GeoDataFrame(
        {"rank": np.arange(len(best)) + 1, "score": best}, geometry=boxes, crs=asked.grid.crs_wkt
    )
    table.to_crs(crs).to_file(folder / "composed.gpkg", layer="candidates")
