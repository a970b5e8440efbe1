"""The horizon of one point of a site: of the bare ground and of the surface, with what stands in each direction."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import transformer, true_bearing
from tunnelsite.core.horizon import Horizon
from tunnelsite.core.layers import SourceRaster
from tunnelsite.core.site import Frame
from tunnelsite.kernels.light.horizon import HorizonProfile, Rays, earth_drop_per_m, horizon_profile
from tunnelsite.plans.sunchart.crowns_seen import crowns_seen
from tunnelsite.scan.far_ground import FarGround, far_ground
from tunnelsite.scan.surface import obstacle_shapes
from tunnelsite.sun.position import Observer
from tunnelsite.sun.season import BareTrees

AZIMUTHS = 720
STANDS_M = 0.5  # less above the ground than this is the ground
NEAR_OBSTACLE_CELLS = 1.5  # the sample that blocks lies beside the obstacle's outline by up to this much
GROUND, UNNAMED = "ground", "trees or buildings"


@dataclass(frozen=True)
class PointHorizon:
    """What is seen from one point.

    Attributes: place; ground, horizon of the bare ground; surface, of ground and what stands on it; eye_m above the ground; notes.
    """

    place: Observer
    ground: Horizon
    surface: Horizon
    eye_m: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Surroundings:
    """What else bears on a point's horizon.

    Attributes: bare, when deciduous trees are bare, or None. far_dem, coarser land beyond the frame, or None; far_reach_m,
        how far it counts.
    """

    bare: BareTrees | None = None
    far_dem: SourceRaster | None = None
    far_reach_m: float = 30_000.0


def horizon_at(
    frame: Frame, lon_deg: float, lat_deg: float, eye_m: float, around: Surroundings | None = None
) -> PointHorizon:
    """The horizon at a WGS 84 position of a frame that has its surface (`scan.surface.add_surface`).

    The eye stands over the centre of the nearest cell. Earth curvature and refraction are in; land beyond the data counts as level.
    Crowns that pass light are foliage of the surface's horizon.

    Arguments: frame; lon_deg, lat_deg [deg]; eye_m above the ground [m], where the light is wanted; around.
    Errors: UsageError where the point lies off the elevation data; InputRefused as `far_ground` and `crowns_seen`.
    """
    grid, around = frame.grid, around or Surroundings()
    along, across = grid.from_map(*transformer("EPSG:4326", grid.crs_wkt).transform(lon_deg, lat_deg))
    row, col = _cell(frame, along, across, (lon_deg, lat_deg))
    ground_here = float(frame.ground[row, col])
    turn = true_bearing(grid, along, across) - 90.0  # how far the rows are off true east at this very point
    azimuth = np.arange(AZIMUTHS) * (360.0 / AZIMUTHS)
    view = _Eye(frame, (row, col), ground_here + eye_m, (azimuth - turn) % 360.0)
    notes, beyond = [], None
    standing = float(frame.layers["surface"][row, col]) - ground_here
    if standing > eye_m:
        notes.append(f"something {standing:.1f} m tall stands on this very point: the chart is what is seen past it")
    if around.far_dem is not None:
        far = far_ground(around.far_dem, frame, around.far_reach_m, grid.centre(row, col))
        beyond = view.far(far)
        notes += far.notes
    bare_ground, everything = (view.seen(frame.layers[name], beyond) for name in ("ground", "surface"))
    what, tall = _what_stands(frame, *view.cells(everything))
    low = everything.horizon_deg <= 0  # behind a level horizon nothing stands in the way
    tall = np.where(low, 0.0, tall)
    names = tuple(GROUND if hidden else name for name, hidden in zip(what, low, strict=True))
    ground = Horizon(azimuth, bare_ground.horizon_deg, bare_ground.distance_m, np.zeros(AZIMUTHS), (GROUND,) * AZIMUTHS)
    foliage = crowns_seen(frame, grid.centre(row, col), view.eye, view.on_grid_deg, around.bare)
    solid = everything if foliage is None else view.seen(frame.layers["surface_leafless"], beyond)
    surface = Horizon(azimuth, solid.horizon_deg, everything.distance_m, tall, names, foliage)
    spot = Observer(float(lat_deg), float(lon_deg), ground_here + frame.datum_m)
    return PointHorizon(spot, ground, surface, eye_m, tuple(notes))


def surface_horizon(
    frame: Frame,
    place: tuple[float, float],
    eye_m: float,
    azimuth_deg: np.ndarray,
    bare: BareTrees | None = None,
    far: FarGround | None = None,
) -> Horizon:
    """The horizon of the surface of a frame, towards some azimuths, for light that is wanted at once.

    It is that of `horizon_at` there, without what stands in each direction.

    Arguments: frame, that has its surface; place, WGS 84 (longitude, latitude) [deg]; eye_m above the ground [m]; azimuth_deg, clockwise
        from true north, rising [n]; bare, when deciduous trees are bare; far, land beyond the frame, which may serve for many places.
    Errors: UsageError where the point lies off the elevation data.
    """
    grid = frame.grid
    along, across = grid.from_map(*transformer("EPSG:4326", grid.crs_wkt).transform(*place))
    row, col = _cell(frame, along, across, place)
    turn = true_bearing(grid, along, across) - 90.0
    view = _Eye(frame, (row, col), float(frame.ground[row, col]) + eye_m, (azimuth_deg - turn) % 360.0)
    foliage = crowns_seen(frame, grid.centre(row, col), view.eye, view.on_grid_deg, bare)
    beyond = None if far is None else view.far(far)
    seen = view.seen(frame.layers["surface" if foliage is None else "surface_leafless"], beyond)
    return Horizon(azimuth_deg, seen.horizon_deg, seen.distance_m, foliage=foliage)


def _cell(frame: Frame, along: float, across: float, lonlat: tuple[float, float]) -> tuple[int, int]:
    """(row, col) of the nearest cell. Errors: UsageError off the data."""
    grid = frame.grid
    place = np.array([(grid.north_m - across) / grid.cell_m - 0.5, (along - grid.west_m) / grid.cell_m - 0.5])
    row, col = (int(value) for value in np.round(place)) if np.isfinite(place).all() else (-1, -1)
    if not (0 <= row < grid.rows and 0 <= col < grid.cols and np.isfinite(frame.ground[row, col])):
        raise UsageError(
            f"the point {lonlat[0]:.6f}, {lonlat[1]:.6f} has no elevation",
            "longitude, latitude of a point on the site",
            "choose a point on the DEM",
        )
    return row, col


@dataclass(frozen=True)
class _Eye:
    """An eye on a frame: its cell, height above the datum [m], and directions clockwise from the grid's up [deg]."""

    frame: Frame
    cell: tuple[int, int]
    eye: float
    on_grid_deg: np.ndarray

    def seen(self, layer: np.ndarray, beyond: HorizonProfile | None) -> HorizonProfile:
        """The profile of one layer, 0 where nothing rises above level, or of the far land where that is higher."""
        rays = Rays(drop_per_m=earth_drop_per_m())
        found = horizon_profile(layer, *self.cell, self.eye, self.frame.grid.cell_m, self.on_grid_deg, rays)
        found = found._replace(horizon_deg=np.nan_to_num(found.horizon_deg))
        if beyond is None:
            return found
        higher = beyond.horizon_deg > found.horizon_deg
        return HorizonProfile(*(np.where(higher, theirs, ours) for theirs, ours in zip(beyond, found, strict=True)))

    def far(self, far: FarGround) -> HorizonProfile:
        """The profile of the land beyond. Where the eye stands beside the centre of the nearest of its cells, what is seen from there is
        as much nearer or farther as the eye is."""
        along, across = self.frame.grid.centre(*self.cell)
        cell, rays = far.grid.cell_m, Rays(drop_per_m=earth_drop_per_m())
        row, col = round((far.grid.north_m - across) / cell - 0.5), round((along - far.grid.west_m) / cell - 0.5)
        found = horizon_profile(far.heights, row, col, self.eye, cell, self.on_grid_deg, rays)
        centre = far.grid.centre(row, col)
        east, north = along - float(centre[0]), across - float(centre[1])
        if math.hypot(east, north) > 1e-6 * cell:
            angle = np.radians(self.on_grid_deg)
            away = np.maximum(found.distance_m - north * np.cos(angle) - east * np.sin(angle), cell / 2)
            tangent = np.maximum((found.blocker_m - self.eye) / away - rays.drop_per_m * away, 0.0)
            found = found._replace(horizon_deg=np.degrees(np.arctan(tangent)), distance_m=away)
        return found._replace(horizon_deg=np.nan_to_num(found.horizon_deg))

    def cells(self, seen: HorizonProfile) -> tuple[np.ndarray, np.ndarray]:
        """(row, col) of what blocks each direction, NaN where it lies beyond the frame."""
        away, angle = seen.distance_m / self.frame.grid.cell_m, np.radians(self.on_grid_deg)
        row, col = self.cell[0] - away * np.cos(angle), self.cell[1] + away * np.sin(angle)
        rows, cols = self.frame.grid.shape
        inside = (row > -1) & (row < rows) & (col > -1) & (col < cols)
        return np.where(inside, row, np.nan), np.where(inside, col, np.nan)


def _what_stands(frame: Frame, row: np.ndarray, col: np.ndarray) -> tuple[list[str], np.ndarray]:
    """Name and height above the ground [m] of what blocks each direction: the ground, an obstacle with a name, or something."""
    known = np.isfinite(row)
    r, c = (np.where(known, np.nan_to_num(values), 0).round().astype(int) for values in (row, col))
    around = frame.layers["standing_m"]
    tall = np.zeros(len(row))
    for down in (-1, 0, 1):  # a sample between cells may owe its height to any of its neighbours
        for right in (-1, 0, 1):
            value = around[np.clip(r + down, 0, around.shape[0] - 1), np.clip(c + right, 0, around.shape[1] - 1)]
            tall = np.fmax(tall, value)
    tall = np.where(known & (tall >= STANDS_M), tall, 0.0)
    names = [GROUND if value == 0 else UNNAMED for value in tall]
    features = frame.obstacles
    if features is None or not len(features):
        return names, tall
    shapes, heights = obstacle_shapes(features)
    column = next(
        (values for name, values in features.columns.items() if name.lower() in ("what", "name", "kind")), None
    )
    tree = shapely.STRtree(shapes)
    along, across = frame.grid.centre(row, col)
    for k in np.flatnonzero(tall > 0):
        near = tree.query(
            shapely.Point(along[k], across[k]), predicate="dwithin", distance=NEAR_OBSTACLE_CELLS * frame.grid.cell_m
        )
        near = [int(i) for i in near if abs(heights[i] - tall[k]) < max(2.0, 0.5 * heights[i])]
        if near:
            best = max(near, key=lambda i: heights[i])
            names[k] = str(column[best]) if column is not None and column[best] is not None else "obstacle"
    return names, tall
