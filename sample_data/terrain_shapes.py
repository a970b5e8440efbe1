"""Bare ground of the invented farm, and the surface that stands on it, as arrays.

Arrays are [row, col], row 0 = north, col 0 = west, 1 m cells; positions are in metres from the south-west
corner.
"""

import math

import farm_layout as layout
import numpy as np
from rasterio.features import rasterize
from rasterio.transform import from_origin
from scipy.ndimage import distance_transform_edt, gaussian_filter, gaussian_filter1d
from scipy.spatial import cKDTree

SIDE = layout.SIDE_M
TRANSFORM = from_origin(0, SIDE, 1, 1)
GROUND_STEP_M = 1 / 128
SURFACE_STEP_M = 1 / 16
"""Heights are multiples of a power of two: exact in float32, and far smaller on disk than centimetres."""


def cell_centres():
    """Easting and northing of every cell centre [m]."""
    along = np.arange(SIDE) + 0.5
    return np.meshgrid(along, along[::-1])


def inside(*outlines):
    """True where a cell's centre lies in one of the outlines."""
    return rasterize(outlines, (SIDE, SIDE), transform=TRANSFORM, dtype="uint8").astype(bool)


def smoothstep(part):
    """0 below 0, 1 above 1, smooth between."""
    part = np.clip(part, 0, 1)
    return part * part * (3 - 2 * part)


def bump(position, centre, spread_m):
    """Round bell of height 1 at `centre`."""
    return np.exp(-((position[0] - centre[0]) ** 2 + (position[1] - centre[1]) ** 2) / (2 * spread_m**2))


def near_line(line, position, reach_m):
    """Points 1 m apart on `line`, and each cell's distance [m] (inf beyond `reach_m`) and nearest point."""
    points = np.array([line.interpolate(at).coords[0] for at in np.arange(0, line.length, 1.0)])
    cells = np.column_stack([position[0].ravel(), position[1].ravel()])
    distance, nearest = cKDTree(points).query(cells, distance_upper_bound=reach_m)
    nearest = np.minimum(nearest, len(points) - 1)
    return points, distance.reshape(SIDE, SIDE), nearest.reshape(SIDE, SIDE)


def sampled(ground, points):
    """Height of the nearest cell at each point; points outside take the edge's."""
    row = np.clip((SIDE - points[:, 1]).astype(int), 0, SIDE - 1)
    return ground[row, np.clip(points[:, 0].astype(int), 0, SIDE - 1)]


def height_at_end(ground, line):
    """Height of the cell in which `line` ends."""
    return sampled(ground, np.array(line.coords[-1:]))[0]


def broad_country(position, rng):
    """Valley, its sides and the fields above, without works or channels [m]."""
    easting, northing = position
    north = northing - layout.valley_axis(easting) - layout.floor_half_width(easting)
    south = layout.valley_axis(easting) - layout.floor_half_width(easting) - northing
    side_m, far_side_m = 108 + 15 * np.sin(easting / 88), 112 + 24 * np.sin(easting / 67 + 2)
    ground = 181 - 0.006 * easting + 12.5 * smoothstep(north / side_m) + 9 * smoothstep(south / far_side_m)
    above = np.maximum(north - side_m, 0)
    ground += 0.025 * np.minimum(above, 150) + 0.010 * np.maximum(above - 150, 0)
    ground += 0.018 * np.maximum(south - 112, 0)
    ground += 1.6 * np.exp(-(((easting - 300) / 85) ** 2) - ((northing - 560) / 120) ** 2)
    ground += 4.6 * bump(position, layout.KNOLL_CENTRE, 42) + 2.0 * bump(position, (842, 838), 34)
    ground -= 2.5 * bump(position, layout.HOLLOW_CENTRE, 22) + 0.5 * bump(position, (186, 868), 15)
    for spread_m, height_m in ((60, 0.40), (14, 0.06)):
        waves = gaussian_filter(rng.standard_normal((SIDE, SIDE)), spread_m, mode="wrap")
        ground += waves * height_m / waves.std() * smoothstep((np.maximum(north, south) + 5) / 60)
    return gaussian_filter(ground, 5, mode="nearest")


def with_swale(ground, line, position, depth_m, spread_m):
    """Ground lowered by a broad hollow along `line`."""
    _, distance, _ = near_line(line, position, 4 * spread_m)
    return ground - depth_m * np.exp(-((np.minimum(distance, 4 * spread_m) / spread_m) ** 2))


def with_dell(ground, line, position, depth_m, spread_m):
    """Ground lowered along a dry side valley that fades out at its head and on the valley floor."""
    points, distance, nearest = near_line(line, position, 4 * spread_m)
    part = np.arange(len(points)) / len(points)
    depth = depth_m * smoothstep(part / 0.6) * smoothstep((1 - part) / 0.2)
    return ground - depth[nearest] * np.exp(-((np.minimum(distance, 4 * spread_m) / spread_m) ** 2))


def carved(ground, line, position, shape):
    """Ground with a channel cut along `line`: shape = (depth, bed width, bank slope, end height or None)."""
    depth_m, bed_m, bank, end_m = shape
    points, distance, nearest = near_line(line, position, 30)
    bed = gaussian_filter1d(sampled(ground, points), 12, mode="nearest") - depth_m
    bed = np.minimum.accumulate(bed) - 0.0005 * np.arange(len(bed))
    if end_m is not None:
        bed = np.maximum(bed, end_m)
    profile = bed[nearest] + bank * np.maximum(distance - bed_m / 2, 0)
    return np.where(np.isfinite(distance), np.minimum(ground, profile), ground)


def with_road(ground, position):
    """Ground with the road: bank in the dips, shallow cutting on the rises; a culvert does not show."""
    points, distance, nearest = near_line(layout.road_line(), position, 40)
    level = gaussian_filter1d(sampled(ground, points), 45, mode="nearest") + 0.15
    beyond = np.maximum(distance - 3.5, 0)
    made = np.clip(ground, level[nearest] - beyond / 2, level[nearest] + beyond / 3)
    crossfall = 0.02 * np.maximum(3.5 - distance, 0)
    return np.where(np.isfinite(distance), made + crossfall, ground)


def with_terrace(ground, position):
    """Ground with the level bench: a plane set in true north's frame, run out at 1 in 6 to the slope."""
    turn = math.radians(layout.convergence_deg(layout.TERRACE_CENTRE))
    east, north = position[0] - layout.TERRACE_CENTRE[0], position[1] - layout.TERRACE_CENTRE[1]
    true_east, true_north = (
        east * math.cos(turn) + north * math.sin(turn),
        north * math.cos(turn) - east * math.sin(turn),
    )
    half_length, half_width = layout.TERRACE_SIZE_M[0] / 2, layout.TERRACE_SIZE_M[1] / 2
    beyond = np.hypot(np.maximum(abs(true_east) - half_length, 0), np.maximum(abs(true_north) - half_width, 0))
    level = ground[beyond == 0].mean()
    plane = level + (layout.TERRACE_RISE_PCT[0] * true_east + layout.TERRACE_RISE_PCT[1] * true_north) / 100
    return np.clip(ground, plane - beyond / 6, plane + beyond / 6)


def with_pond(ground):
    """Ground with the pond's basin, its banks and the water's level [m]; the outlet is cut at that level."""
    pond = inside(layout.pond_outline())
    beyond = distance_transform_edt(~pond)
    lowest_shore = np.quantile(ground[(beyond > 0) & (beyond < 3)], 0.05)
    level = round((lowest_shore - 0.15) / GROUND_STEP_M) * GROUND_STEP_M
    dug = np.minimum(ground, level + 0.10 + 0.16 * beyond)
    dug = np.where((beyond < 7) & (dug < level + 0.35), np.maximum(dug, level + 0.35 - 0.08 * beyond), dug)
    return np.where(pond, level, dug), pond, level


def bare_ground(rng):
    """Heights of the bare ground [m], NaN in the unsurveyed corner, and a mask of the pond."""
    position = cell_centres()
    ground = broad_country(position, rng)
    ground = with_swale(ground, layout.rill_line(), position, 1.3, 26)
    for line, depth_m, spread_m in layout.dells():
        ground = with_dell(ground, line, position, depth_m, spread_m)
    ground = with_terrace(gaussian_filter(ground, 2, mode="nearest"), position)
    ground = carved(ground, layout.stream_line(), position, (1.3, 3.0, 0.9, None))
    rill, outlet = layout.rill_line(), layout.pond_outlet_line()
    ground = carved(ground, rill, position, (0.6, 0.8, 0.5, height_at_end(ground, rill)))
    ground = with_road(ground, position)
    ground, pond, level = with_pond(ground)
    ground = carved(ground, outlet, position, (0.2, 1.0, 0.5, height_at_end(ground, outlet)))
    ground += survey_noise(rng, inside(*layout.woods()))
    ground = np.round(ground / GROUND_STEP_M) * GROUND_STEP_M
    ground[pond] = level
    ragged = gaussian_filter(rng.standard_normal((SIDE, SIDE)), 3, mode="wrap") * 60
    return np.where(position[0] + position[1] + ragged < 70, np.nan, ground), pond


def survey_noise(rng, wooded):
    """Lidar-like errors [m]: part shared over a few metres, part of each cell's own; larger under trees."""
    shared = gaussian_filter(rng.standard_normal((SIDE, SIDE)), 1.2, mode="wrap")
    own = rng.standard_normal((SIDE, SIDE))
    return (0.027 * shared / shared.std() + 0.022 * own) * np.where(wooded, 1.6, 1.0)


def stamp_tree(height, place, tree):
    """Raise `height` [m above ground] to a crown at (easting, northing): tree = (height, radius, base)."""
    top, radius, base = tree
    reach = math.ceil(radius)
    col, row = int(place[0]), int(SIDE - place[1])
    rows = slice(max(row - reach, 0), min(row + reach + 1, SIDE))
    cols = slice(max(col - reach, 0), min(col + reach + 1, SIDE))
    north = SIDE - (np.arange(rows.start, rows.stop) + 0.5) - place[1]
    east = np.arange(cols.start, cols.stop) + 0.5 - place[0]
    part = (north[:, None] ** 2 + east[None, :] ** 2) / radius**2
    crown = np.where(part <= 1, top - 0.6 * (top - base) * part, 0)
    height[rows, cols] = np.maximum(height[rows, cols], crown)


def forest(rng):
    """Trees of the woods and of the stream's banks as (easting, northing, height, radius)."""
    east, north = np.meshgrid(np.arange(2.5, SIDE, 5.0), np.arange(2.5, SIDE, 5.0))
    east = np.clip((east + rng.uniform(-2, 2, east.shape)).ravel(), 0, SIDE - 0.01)
    north = np.clip((north + rng.uniform(-2, 2, north.shape)).ravel(), 0.01, SIDE - 0.01)
    rows, cols = (SIDE - north).astype(int), east.astype(int)
    points = np.array(layout.stream_line().coords)
    banks = cKDTree(points).query(np.column_stack([east, north]))[0]
    wooded = inside(*layout.woods())[rows, cols] & (rng.random(east.size) < 0.88)
    grove = np.sin(east / 47) + np.sin(north / 29 + east / 83) > 0.5
    by_stream = (banks > 3.5) & (banks < 13) & grove & (rng.random(east.size) < 0.5)
    height = np.clip(rng.normal(np.where(wooded, 16, 12), 3), 8, 22)
    radius = 0.9 + 0.13 * height + rng.uniform(-0.3, 0.5, east.size)
    keep = wooded | by_stream
    return np.column_stack([east, north, height, radius])[keep]


def stamp_building(height, outline, ridge_m, eaves_m):
    """Raise `height` to a gabled roof: ridge along the outline's long side."""
    corners = np.array(outline.exterior.coords)[:4]
    sides = np.diff(np.vstack([corners, corners[:1]]), axis=0)
    long_side = sides[np.argmax(np.hypot(*sides.T))]
    across = np.array([-long_side[1], long_side[0]]) / np.hypot(*long_side)
    half = np.ptp(corners @ across) / 2
    position = cell_centres()
    off = abs((position[0] - outline.centroid.x) * across[0] + (position[1] - outline.centroid.y) * across[1])
    roof = ridge_m - (ridge_m - eaves_m) * np.minimum(off / half, 1)
    np.copyto(height, np.maximum(height, roof), where=inside(outline))


def what_stands(rng):
    """Height above ground [m] of woods, hedge, single trees and buildings."""
    height = np.zeros((SIDE, SIDE))
    for east, north, top, radius in forest(rng):
        stamp_tree(height, (east, north), (top, radius, 0.4 * top))
    rough = rng.normal(0, 0.35, height.shape)
    line, top, width = layout.hedge()
    hedge = inside(line.buffer(width / 2, cap_style="flat"))
    height = np.where(hedge, np.maximum(height, top - abs(rng.normal(0, 0.5, height.shape))), height)
    height = np.where(height > 2, height + rough, height)
    for east, north, top, radius, base, _ in layout.single_trees():
        stamp_tree(height, (east, north), (top, radius, base))
    for _, outline, ridge, eaves in layout.buildings():
        stamp_building(height, outline, ridge, eaves)
    return height


def surface(ground, pond, rng):
    """Ground plus what stands on it [m], and (row, col) of the planted cells that dip below the ground."""
    height = what_stands(rng)
    grass = abs(rng.normal(0, 0.03, height.shape))
    top = np.ceil((ground + np.where(pond, 0, np.maximum(height, grass))) / SURFACE_STEP_M) * SURFACE_STEP_M
    top[pond] = ground[pond]
    sound = np.flatnonzero(np.isfinite(ground) & ~pond)
    flaws = np.sort(rng.choice(sound, 40, replace=False))
    dip = np.ceil(rng.uniform(0.5, 7.0, flaws.size) / SURFACE_STEP_M) * SURFACE_STEP_M
    top.flat[flaws] = np.floor(ground.flat[flaws] / SURFACE_STEP_M) * SURFACE_STEP_M - dip
    return top, np.column_stack(np.unravel_index(flaws, ground.shape))
