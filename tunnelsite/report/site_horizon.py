"""The horizon of one point of a site: of the bare ground and of the surface, with what stands in each direction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import transformer, true_bearing
from tunnelsite.core.horizon import Horizon
from tunnelsite.core.site import Frame
from tunnelsite.kernels.horizon import Rays, earth_drop_per_m, horizon_profile
from tunnelsite.light.sun import Place
from tunnelsite.scan.surface import obstacle_shapes

AZIMUTHS = 720
STANDS_M = 0.5  # less above the ground than this is the ground
NEAR_OBSTACLE_CELLS = 1.5  # the sample that blocks lies beside the obstacle's outline by up to this much
GROUND, UNNAMED = "ground", "standing, unnamed"


@dataclass(frozen=True)
class PointHorizon:
    """What is seen from one point.

    Attributes: place; ground, horizon of the bare ground; surface, of ground and what stands on it; eye_m above the ground; notes.
    """

    place: Place
    ground: Horizon
    surface: Horizon
    eye_m: float
    notes: tuple[str, ...] = ()


def horizon_at(frame: Frame, lon_deg: float, lat_deg: float, eye_m: float) -> PointHorizon:
    """The horizon at a WGS 84 position of a frame that has its surface (`scan.surface.add_surface`).

    The eye stands over the centre of the nearest cell. Earth curvature and refraction are in; land beyond the data counts as level.

    Arguments: frame; lon_deg, lat_deg [deg]; eye_m above the ground [m], where the light is wanted.
    Errors: UsageError where the point lies off the elevation data.
    """
    grid = frame.grid
    along, across = grid.from_map(*transformer("EPSG:4326", grid.crs_wkt).transform(lon_deg, lat_deg))
    place = np.array([(grid.north_m - across) / grid.cell_m - 0.5, (along - grid.west_m) / grid.cell_m - 0.5])
    row, col = (int(value) for value in np.round(place)) if np.isfinite(place).all() else (-1, -1)
    if not (0 <= row < grid.rows and 0 <= col < grid.cols and np.isfinite(frame.ground[row, col])):
        raise UsageError(
            f"the point {lon_deg:.6f}, {lat_deg:.6f} has no elevation",
            "longitude, latitude of a point on the site",
            "choose a point on the DEM",
        )
    ground_here = float(frame.ground[row, col])
    turn = true_bearing(grid, along, across) - 90.0  # how far the rows are off true east at this very point
    azimuth = np.arange(AZIMUTHS) * (360.0 / AZIMUTHS)
    on_grid = (azimuth - turn) % 360.0
    notes = []
    standing = float(frame.layers["surface"][row, col]) - ground_here
    if standing > eye_m:
        notes.append(f"something {standing:.1f} m tall stands on this very point: the chart is what is seen past it")
    rays = Rays(drop_per_m=earth_drop_per_m())
    horizons = []
    for layer in (frame.ground, frame.layers["surface"]):
        seen = horizon_profile(layer, row, col, ground_here + eye_m, grid.cell_m, on_grid, rays)
        cells = seen.distance_m / grid.cell_m
        r, c = row - cells * np.cos(np.radians(on_grid)), col + cells * np.sin(np.radians(on_grid))
        horizons.append((np.nan_to_num(seen.horizon_deg), seen.distance_m, r, c))
    what, tall = _what_stands(frame, *horizons[1][2:])
    low = horizons[1][0] <= 0  # behind a level horizon nothing stands in the way
    tall = np.where(low, 0.0, tall)
    what = tuple(GROUND if hidden else name for name, hidden in zip(what, low, strict=True))
    ground = Horizon(azimuth, horizons[0][0], horizons[0][1], np.zeros(AZIMUTHS), (GROUND,) * AZIMUTHS)
    surface = Horizon(azimuth, horizons[1][0], horizons[1][1], tall, what)
    spot = Place(float(lat_deg), float(lon_deg), ground_here + frame.datum_m)
    return PointHorizon(spot, ground, surface, eye_m, tuple(notes))


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
