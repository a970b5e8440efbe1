"""The plan again from heights measured in the field, and the check of the finished pad."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from scipy import special

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.stakes import DesignPlane, Stake
from tunnelsite.core.units import INCH_M
from tunnelsite.core.wording import capital

FINISHED_SLOPE = 1.0 / 192.0  # 3/4 in per 12 ft; common practice, no source
READING_SD_M = 0.0015  # one height read with a builder's level at these distances; common practice, no source
SURE = 0.95  # one-sided confidence of a verdict


@dataclass(frozen=True)
class MeasuredStakes:
    """Stakes with a measured height, and the names that found no partner.

    Attributes: stakes [n]; height_m float64 [n]; unused, stations of the book that are no stakes; open, stakes not
    read.
    """

    stakes: tuple[Stake, ...]
    height_m: np.ndarray
    unused: tuple[str, ...]
    open: tuple[str, ...]


@dataclass(frozen=True)
class FittedPlane:
    """Least-squares plane of measured points.

    Attributes:
        level_m: at the centre of the house [m]; slope_along, slope_across: fractions.
        se_along, se_across: standard errors of the slopes: the larger of what the residuals and what the reading
        error give.
        rms_m: root mean square of the residuals with n - 3 degrees of freedom, NaN for three points [m].
        worst_m: residual of the point farthest off [m]; worst_index, which one. freedom: n - 3.
    """

    level_m: float
    slope_along: float
    slope_across: float
    se_along: float
    se_across: float
    rms_m: float
    worst_m: float
    worst_index: int
    freedom: int


@dataclass(frozen=True)
class MeasuredPlan:
    """The grading plan from measured heights.

    Attributes:
        natural: plane of the ground. design: the finished pad.
        cut_m: cut (+) or fill (-) at each stake [m], NaN outside the pad. area_m2: the part of the pad nearest to
        each stake.
        cut_m3, fill_m3: sums of the two.
    """

    natural: FittedPlane
    design: DesignPlane
    cut_m: np.ndarray
    area_m2: np.ndarray
    cut_m3: float
    fill_m3: float


@dataclass(frozen=True)
class SlopeCheck:
    """One direction of the finished pad: slope and standard error (fractions), `within`, `over` or `undecided`, and
    words."""

    slope: float
    standard_error: float
    state: str
    words: str


def joined(heights_m: Mapping[str, float], stakes: list[Stake]) -> MeasuredStakes:
    """Stakes and the heights read at them, joined by label (letter case and spaces aside).

    Arguments: heights_m, by station, from `LevelRun.heights_m`; stakes, of one house.
    Errors: InputRefused if two labels or two stations are the same, or if nothing matches.
    """
    names = [_key(stake.label) for stake in stakes]
    read = {_key(station): height for station, height in heights_m.items()}
    if len(set(names)) != len(names) or len(read) != len(heights_m):
        raise InputRefused("two stakes or stations have the same name", "different names", "rename one of them")
    found = [stake for stake, name in zip(stakes, names, strict=True) if name in read]
    unused = tuple(station for station in heights_m if _key(station) not in set(names))
    if not found:
        raise InputRefused(
            f"no station of the level book ({', '.join(list(heights_m)[:5])} ...) is a stake",
            f"labels as on the stake-out sheet, such as {stakes[0].label if stakes else 'NE'}",
            "use the labels of the sheet",
        )
    left = tuple(stake.label for stake, name in zip(stakes, names, strict=True) if name not in read)
    return MeasuredStakes(tuple(found), np.array([read[_key(stake.label)] for stake in found]), unused, left)


def fitted_plane(
    along_m: np.ndarray, across_m: np.ndarray, height_m: np.ndarray, reading_sd_m: float = READING_SD_M
) -> FittedPlane:
    """Least-squares plane of points, with standard errors of its slopes.

    Arguments: along_m, across_m, height_m [n], from the centre of the house [m]; reading_sd_m [m], error of one height.
    Errors: InputRefused for fewer than three points, points on one line, or values that are not finite.
    Source: ordinary least squares; the covariance is s^2 (A'A)^-1, with s never taken below `reading_sd_m`, since a few
    points can fit by luck.
    """
    u, v, z = (np.asarray(values, float) for values in (along_m, across_m, height_m))
    if not (u.shape == v.shape == z.shape and u.ndim == 1) or not np.isfinite([u, v, z]).all():
        raise InputRefused("measured points with missing values", "finite heights, one a stake", "leave them out")
    design = np.column_stack([np.ones(len(u)), u - u.mean(), v - v.mean()]) if len(u) else np.empty((0, 3))
    spread = np.linalg.svd(design[:, 1:], compute_uv=False) if len(u) >= 3 else np.zeros(2)
    if len(u) < 3 or spread[1] < 1e-6 * spread[0] or spread[0] == 0:
        raise InputRefused(
            f"{len(u)} measured points, fewer than three or all on one line",
            "three points that span the pad, better the whole grid",
            "read more stakes",
        )
    inverse = np.linalg.inv(design.T @ design)
    datum = z.mean()
    level, along, across = inverse @ (design.T @ (z - datum))
    residual = z - datum - design @ np.array([level, along, across])
    freedom = len(u) - 3
    rms = math.sqrt(float(residual @ residual) / freedom) if freedom else math.nan
    sd = max(reading_sd_m, rms) if freedom else reading_sd_m
    worst = int(np.argmax(np.abs(residual)))
    return FittedPlane(
        float(level + datum - along * u.mean() - across * v.mean()), float(along), float(across),
        sd * math.sqrt(inverse[1, 1]), sd * math.sqrt(inverse[2, 2]), rms, float(residual[worst]), worst, freedom,
    )  # fmt: skip


def measured_plan(
    measured: MeasuredStakes, pad_size: tuple[float, float], max_slope: float = FINISHED_SLOPE, shrink: float = 1.0
) -> MeasuredPlan:
    """The plan recomputed from measured heights: plane, clipped slopes, level that balances, cut or fill at each stake.

    Each stake stands for the part of the pad nearest to it (on a full grid: quarter cells at corners, half cells at
    edges, the usual grid rule).

    Arguments: measured, from `joined`; pad_size (length, width) [m]; max_slope, of the finished pad [fraction]; shrink,
    cubic metres of cut for one of compacted fill.
    Errors: InputRefused for points that fix no plane or none inside the pad; UsageError for settings that cannot be
    meant.
    Source: least-squares land grading [@scaloppi-willardson-1986]; clipping and shrink are added here.
    """
    if not (0 <= max_slope < 1 and 0 < shrink < 10):
        raise UsageError(f"slope {max_slope}, shrink {shrink}", "a slope below 1, a shrink of 0 to 10", "correct them")
    u, v = (np.array([getattr(stake, name) for stake in measured.stakes]) for name in ("u_m", "v_m"))
    inside = (np.abs(u) <= pad_size[0] / 2 + 1e-6) & (np.abs(v) <= pad_size[1] / 2 + 1e-6)
    if not inside.any():
        raise InputRefused("no measured stake lies on the pad", "readings at grid stakes", "read the grid")
    plane = fitted_plane(u[inside], v[inside], measured.height_m[inside])
    along, across = (min(max(slope, -max_slope), max_slope) for slope in (plane.slope_along, plane.slope_across))
    areas = np.zeros(len(u))
    areas[inside] = nearest_areas_m2(u[inside], v[inside], pad_size)
    above = measured.height_m - along * u - across * v
    level = _balanced_level(above[inside], areas[inside], shrink)
    cut = np.where(inside, above - level, np.nan)
    there = np.where(inside, cut, 0.0)
    volumes = [float(areas @ np.maximum(sign * there, 0.0)) for sign in (1, -1)]
    return MeasuredPlan(plane, DesignPlane(level, along, across), cut, areas, *volumes)


def nearest_areas_m2(along_m: np.ndarray, across_m: np.ndarray, pad_size: tuple[float, float]) -> np.ndarray:
    """The area of the pad that lies nearest to each point [m2] (Voronoi cells cut at the pad); points that coincide
    share one."""
    pad = shapely.box(-pad_size[0] / 2, -pad_size[1] / 2, pad_size[0] / 2, pad_size[1] / 2)
    places, which, count = np.unique(
        np.round(np.column_stack([along_m, across_m]), 4), axis=0, return_inverse=True, return_counts=True
    )
    if len(places) == 1:
        return np.full(len(which), pad.area / count[0])
    cells = shapely.get_parts(shapely.voronoi_polygons(shapely.multipoints(places), extend_to=pad))
    points = shapely.points(places)
    tree = shapely.STRtree(cells)
    owner, cell = tree.query(points, predicate="within")
    areas = np.zeros(len(places))
    areas[owner] = shapely.area(shapely.intersection(cells[cell], pad))
    return (areas / count)[which.ravel()]


def check_as_built(
    plane: FittedPlane, pad_size: tuple[float, float], limit: float = FINISHED_SLOPE
) -> tuple[SlopeCheck, SlopeCheck]:
    """The finished pad against the tolerance, along and across.

    A slope counts as within (over) only where it stays so with 95 % confidence (one-sided, Student's t); else it is
    undecided
    and more readings are asked for.

    Arguments: plane, of the finished ground, from `fitted_plane`; pad_size (length, width) [m]; limit [fraction].
    """
    # With few points the residuals say little about the error: Student's t widens the doubt; three points give none
    # at all.
    factor = float(special.stdtrit(plane.freedom, SURE) if plane.freedom else special.ndtri(SURE))
    found = []
    for words, slope, error, side in (
        ("along the ridge", plane.slope_along, plane.se_along, pad_size[0]),
        ("across the ridge", plane.slope_across, plane.se_across, pad_size[1]),
    ):
        doubt = factor * error
        if abs(slope) + doubt <= limit:
            state, verdict = "within", "within tolerance"
        elif abs(slope) - doubt > limit:
            state, verdict = "over", "OVER the tolerance"
        else:
            state, verdict = "undecided", "too near the tolerance to tell: read more points"
        fall = abs(slope) * side
        text = (
            f"{verdict} {words}: {100 * slope:+.3f} % (standard error {100 * error:.3f} %), "
            f"tolerance {100 * limit:.3f} %; "
            f"{1000 * fall:.0f} mm ({fall / INCH_M:.1f} in) over {side:.1f} m"
        )
        found.append(SlopeCheck(slope, error, state, capital(text)))
    return found[0], found[1]


def _balanced_level(above_m: np.ndarray, areas_m2: np.ndarray, shrink: float) -> float:
    """The level at which cut = shrink x fill: exact, since the balance is a broken straight line with its bends at
    the points."""
    order = np.argsort(above_m)
    z, w = above_m[order], areas_m2[order]

    def gap(level: float) -> float:
        d = z - level
        return float(w @ np.where(d > 0, d, shrink * d))

    # gap falls from >= 0 at the lowest point to <= 0 at the highest; find the straight piece that holds the root.
    low, high = 0, len(z) - 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if gap(z[middle]) > 0 else (low, middle)
    first, second = gap(z[low]), gap(z[high])
    return float(z[low] if first == second else z[low] + (z[high] - z[low]) * first / (first - second))


def _key(label: str) -> str:
    return " ".join(label.split()).casefold()
