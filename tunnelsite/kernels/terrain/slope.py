"""Slope, aspect and hillshade from the 3x3 window of Horn (1981).

Arrays are [row, col], row 0 = north, col 0 = west, NaN = no data. A window that is not complete (raster edge,
or any of its nine cells not finite) gives NaN: the ground beyond an edge is unknown, not flat.

Source: Horn, B.K.P. (1981) Hill shading and the reflectance map, Proceedings of the IEEE 69(1):14-47
[@horn-1981].
"""

import math

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import FAST_INNER
from tunnelsite.kernels.shared import shared

# atan(t) in degrees for t in 0..1 is t * polynomial(t * t): near-minimax fit, within 0.000003 degree in
# float64. Finer is wasted on float32, whose spacing near 360 degrees is 0.00003.
_ATAN_DEG = (57.29574144443041, -19.096603541985463, 11.428540209343241, -7.969057350036826,
             5.524571095021319, -3.2035388502376074, 1.2526541168645748, -0.23230927047401867)  # fmt: skip


@njit(inline="always")
def _gradient(nw, n, ne, w, centre, e, sw, s, se, per_east, per_north):
    # Differences first: neighbouring heights on a 500 m datum differ exactly in float32, their sums do not.
    # The outer differences are added to each other first, so a mirrored window gives the mirrored gradient to
    # the bit.
    east = (((ne - nw) + (se - sw)) + ((e - w) + (e - w))) * per_east
    north = (((nw - sw) + (ne - se)) + ((n - s) + (n - s))) * per_north
    # 0, but NaN as soon as one cell is not finite
    gap = (centre - centre) + ((east - east) + (north - north))
    return east + gap, north + gap


@njit(**FAST_INNER, forceinline=True)  # fused: the polynomial alone, the gradient stays equal to the bit in a mirror
def _downslope_azimuth(east, north, atan, right_angle, zero):
    # Branch-free so that it runs in vector registers; 0/0 = NaN, because the aspect of level ground is undefined.
    across, along = abs(east), abs(north)
    steep = across > along
    t = (along if steep else across) / (across if steep else along)
    u = t * t
    p = ((((((atan[7] * u + atan[6]) * u + atan[5]) * u + atan[4]) * u + atan[3]) * u + atan[2]) * u + atan[1]) * u
    angle = t * (p + atan[0])
    angle = right_angle - angle if steep else angle
    half = right_angle + right_angle
    angle = half - angle if north > zero else angle  # downslope is against the gradient
    angle = (half + half) - angle if east > zero else angle
    return angle - (half + half) if angle >= half + half else angle


@njit(inline="always")
def _on_rim(row, result):
    # NaN where the window is never complete, and whether that is all of the row. Done where the rows are shared out: memory
    # is handed over when it is first touched, which would take one thread as long as the rest.
    rows, cols = result.shape
    whole = row == 0 or row == rows - 1 or cols < 3
    if whole:
        result[row] = np.nan
    else:
        result[row, 0] = np.nan
        result[row, cols - 1] = np.nan
    return whole


@shared
def _fill_slope_aspect(mine, ground, per_east, per_north, atan, right_angle, zero, slope, aspect):
    cols = ground.shape[1]
    for row in range(mine[0], mine[1]):
        if _on_rim(row, slope) | _on_rim(row, aspect):
            continue
        a, b, c = ground[row - 1], ground[row], ground[row + 1]
        nw, n, ne, w, o, e = a[:-2], a[1:-1], a[2:], b[:-2], b[1:-1], b[2:]
        sw, s, se = c[:-2], c[1:-1], c[2:]
        slope_row, aspect_row = slope[row, 1:-1], aspect[row, 1:-1]
        for k in range(cols - 2):
            east, north = _gradient(nw[k], n[k], ne[k], w[k], o[k], e[k], sw[k], s[k], se[k], per_east, per_north)
            slope_row[k] = np.sqrt(east * east + north * north)
            aspect_row[k] = _downslope_azimuth(east, north, atan, right_angle, zero)


@shared
def _fill_slope(mine, ground, per_east, per_north, slope):
    cols = ground.shape[1]
    for row in range(mine[0], mine[1]):
        if _on_rim(row, slope):
            continue
        a, b, c = ground[row - 1], ground[row], ground[row + 1]
        nw, n, ne, w, o, e = a[:-2], a[1:-1], a[2:], b[:-2], b[1:-1], b[2:]
        sw, s, se = c[:-2], c[1:-1], c[2:]
        slope_row = slope[row, 1:-1]
        for k in range(cols - 2):
            east, north = _gradient(nw[k], n[k], ne[k], w[k], o[k], e[k], sw[k], s[k], se[k], per_east, per_north)
            slope_row[k] = np.sqrt(east * east + north * north)


@shared
def _fill_hillshade(mine, ground, per_east, per_north, sun, zero, one, shade):
    # sun = 255 x the unit vector to the sun: east, north, up
    cols = ground.shape[1]
    for row in range(mine[0], mine[1]):
        if _on_rim(row, shade):
            continue
        a, b, c = ground[row - 1], ground[row], ground[row + 1]
        nw, n, ne, w, o, e = a[:-2], a[1:-1], a[2:], b[:-2], b[1:-1], b[2:]
        sw, s, se = c[:-2], c[1:-1], c[2:]
        shade_row = shade[row, 1:-1]
        for k in range(cols - 2):
            east, north = _gradient(nw[k], n[k], ne[k], w[k], o[k], e[k], sw[k], s[k], se[k], per_east, per_north)
            lit = (sun[2] - sun[0] * east - sun[1] * north) / np.sqrt(one + (east * east + north * north))
            shade_row[k] = np.maximum(lit, zero)  # unlike max(), keeps NaN


def slope_aspect(ground, cell_m, cell_north_m=None):
    """Return the slope and the downslope direction of the ground at every cell.

    Arguments:
        ground: (rows, cols) ground heights [m], row 0 = north, NaN = no data. float32 and float64 keep their
            precision, anything else is read as float64.
        cell_m: cell spacing [m]; west to east where cell_north_m is given.
        cell_north_m: north to south spacing [m] where it differs.
    Returns:
        slope: (rows, cols) rise over run [-]; NaN where the 3x3 window is incomplete.
        aspect: (rows, cols) direction in which the ground falls [degrees clockwise from north, 0 <= aspect <
            360]; NaN where the window is incomplete and where the gradient is exactly zero (level ground
            is undefined).
    Raises:
        ValueError: ground is not two-dimensional, or a spacing is not a positive number.
    Source: Horn (1981), weights 1-2-1 over 8 cells. Departures: incomplete windows are NaN; the arc tangent
        is a polynomial (aspect within 0.0002 degree).
    """
    ground, per_east, per_north = _prepared(ground, cell_m, cell_north_m, 1.0)
    number = ground.dtype.type
    slope, aspect = np.empty_like(ground), np.empty_like(ground)
    atan = tuple(number(a) for a in _ATAN_DEG)
    _fill_slope_aspect(len(ground), ground, per_east, per_north, atan, number(90), number(0), slope, aspect)
    return slope, aspect


def slope(ground, cell_m, cell_north_m=None):
    """Return the slope of the ground [rise over run]; see `slope_aspect`,
    whose first result it equals to the bit.
    """
    ground, per_east, per_north = _prepared(ground, cell_m, cell_north_m, 1.0)
    result = np.empty_like(ground)
    _fill_slope(len(ground), ground, per_east, per_north, result)
    return result


def aspect(ground, cell_m, cell_north_m=None):
    """Return the downslope direction [degrees clockwise from north]; see `slope_aspect`,
    whose second result it is.
    """
    return slope_aspect(ground, cell_m, cell_north_m)[1]


def hillshade(ground, cell_m, sun_azimuth_deg, sun_elevation_deg, z_factor=1.0):
    """Return how brightly each cell is lit by the sun at one position, without cast shadows.

    Arguments:
        ground: (rows, cols) ground heights, row 0 = north, NaN = no data.
        cell_m: cell spacing of square cells [m].
        sun_azimuth_deg: direction of the sun [degrees clockwise from north].
        sun_elevation_deg: height of the sun [degrees above the horizon].
        z_factor: metres in one unit of height, or an exaggeration [-].
    Returns: (rows, cols) float32, 0 (turned away from the sun) to 255 (square to it), not rounded; NaN where
        the 3x3 window is incomplete.
    Raises: ValueError as `slope_aspect`, or a sun position or z_factor that is not finite.
    Source: Horn (1981), Lambertian reflectance: 255 times the cosine between the sun and the surface normal,
        below 0 set to 0.
    """
    if not (math.isfinite(sun_azimuth_deg) and math.isfinite(sun_elevation_deg) and math.isfinite(z_factor)):
        raise ValueError(
            f"sun at azimuth {sun_azimuth_deg}, elevation {sun_elevation_deg} degrees, z_factor {z_factor}: "
            "expected finite numbers"
        )
    ground, per_east, per_north = _prepared(ground, cell_m, None, z_factor)
    number = ground.dtype.type
    azimuth, elevation = math.radians(sun_azimuth_deg), math.radians(sun_elevation_deg)
    level = 255.0 * math.cos(elevation)
    sun = (level * math.sin(azimuth), level * math.cos(azimuth), 255.0 * math.sin(elevation))
    shade = np.empty(ground.shape, np.float32)
    _fill_hillshade(
        len(ground), ground, per_east, per_north, tuple(number(s) for s in sun), number(0), number(1), shade
    )
    return shade


def _prepared(ground, cell_m, cell_north_m, z_factor):
    # Ground the kernels can read, and what turns their weighted differences into rise over run.
    ground = np.asarray(ground)
    if ground.ndim != 2:
        raise ValueError(f"ground has {ground.ndim} dimension(s) (shape {ground.shape}); expected rows x columns")
    if cell_north_m is None:
        cell_north_m = cell_m
    for name, spacing in (("cell_m", cell_m), ("cell_north_m", cell_north_m)):
        if not (math.isfinite(spacing) and spacing > 0):
            raise ValueError(f"{name} is {spacing}; expected a positive spacing in metres")
    dtype = ground.dtype if ground.dtype in (np.float32, np.float64) else np.float64
    ground = np.ascontiguousarray(ground, dtype=dtype)
    number = ground.dtype.type
    return ground, number(z_factor / (8.0 * cell_m)), number(z_factor / (8.0 * cell_north_m))
