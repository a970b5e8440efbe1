"""Crowns that pass light, seen from one point: between which angles they stand in each direction and what they let through."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.horizon import Foliage
from tunnelsite.kernels.light.horizon import earth_drop_per_m
from tunnelsite.scan.surface import obstacle_shapes
from tunnelsite.sun.season import BareTrees, monthly_transmission

if TYPE_CHECKING:
    from tunnelsite.core.layers import Features
    from tunnelsite.core.site import Frame

UNDER_M = 0.01  # a crown nearer than this is overhead


def crowns_seen(
    frame: Frame, place_m: tuple[float, float], eye: float, on_grid_deg: np.ndarray, bare: BareTrees | None
) -> Foliage | None:
    """The crowns of a frame's obstacles that pass light, each an upright prism over its outline from `crown_base_m` to `height_m`.

    A ray is in a crown if it lies above the crown's lower edge where it leaves the outline and below its top where it enters.
    Several crowns in one direction count as one band from the lowest base to the highest top that passes what the densest
    passes: never too much light. Trunks are left out. Exact from the outlines, not from cells.

    Arguments: frame with its surface; place_m, along and across [m]; eye, height above the frame's datum [m]; on_grid_deg,
    directions clockwise from the grid's up [deg] [n]; bare, when trees are bare.
    Return: Foliage over the directions, or None without such crowns. Errors: InputRefused for a base above the top.
    """
    if frame.obstacles is None or frame.crowns is None or not frame.crowns.kinds:
        return None
    chosen = np.flatnonzero(frame.crowns.of_obstacle)
    shapes, tall = obstacle_shapes(frame.obstacles)
    base = crown_bases(frame.obstacles, tall)
    ray, which, near, far = _crossings(shapes[chosen], place_m, on_grid_deg)
    which = chosen[which]
    ground = _ground_under(frame, place_m, on_grid_deg[ray], (near + far) / 2)
    known = np.isfinite(ground)
    ray, which, near, far, ground = (values[known] for values in (ray, which, near, far, ground))
    drop = earth_drop_per_m()
    with np.errstate(divide="ignore", invalid="ignore"):
        top = np.degrees(np.arctan((ground + tall[which] - eye) / near - drop * near))
        low = np.degrees(np.arctan((ground + base[which] - eye) / far - drop * far))
    top[(near < UNDER_M) & (ground + tall[which] > eye)] = 90.0
    up = (top > 0) & (top > low)
    count = len(on_grid_deg)
    highest, lowest, passes = np.full(count, -90.0), np.full(count, 90.0), np.ones((12, count))
    np.maximum.at(highest, ray[up], top[up])
    np.minimum.at(lowest, ray[up], low[up])
    monthly = np.array([monthly_transmission(kind, bare) for kind in frame.crowns.kinds])
    for month in range(12):
        np.minimum.at(passes[month], ray[up], monthly[frame.crowns.of_obstacle[which[up]] - 1, month])
    return Foliage(highest, lowest, passes)


def crown_bases(obstacles: Features, tall: np.ndarray) -> np.ndarray:
    """Height of each crown's lower edge above the ground [m], 0 where `crown_base_m` is empty. Errors: InputRefused."""
    column = next((values for name, values in obstacles.columns.items() if name.lower() == "crown_base_m"), None)
    base = np.zeros(len(tall))
    for k, value in enumerate([] if column is None else column):
        try:
            base[k] = 0.0 if value is None or value == "" or value != value else float(value)
        except (TypeError, ValueError):
            base[k] = -1.0
        if not 0.0 <= base[k] < tall[k]:
            raise InputRefused(
                f"{obstacles.name}: crown_base_m of feature {k + 1} is {value!r} under a height of {tall[k]:g} m",
                "0 or more and less than height_m",
                "correct it, or leave it empty for a crown down to the ground",
            )
    return base


def _crossings(
    shapes: np.ndarray, place_m: tuple[float, float], on_grid_deg: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(direction, shape, distance where the ray enters, where it leaves last [m]) for every ray that meets a shape."""
    origin = np.array(place_m)
    boxes = shapely.bounds(shapes).reshape(-1, 2, 2)
    reach = float(np.hypot(*np.abs(boxes - origin).max(axis=(0, 1)))) + 1.0
    angle = np.radians(on_grid_deg)
    ends = origin + reach * np.column_stack([np.sin(angle), np.cos(angle)])
    rays = shapely.linestrings(np.stack([np.broadcast_to(origin, ends.shape), ends], axis=1))
    ray, which = shapely.STRtree(shapes).query(rays, predicate="intersects")
    points, owner = shapely.get_coordinates(shapely.intersection(rays[ray], shapes[which]), return_index=True)
    away = np.hypot(*(points - origin).T)
    near, far = np.full(len(ray), np.inf), np.zeros(len(ray))
    np.minimum.at(near, owner, away)
    np.maximum.at(far, owner, away)
    return ray, which, near, far


def _ground_under(
    frame: Frame, place_m: tuple[float, float], on_grid_deg: np.ndarray, away_m: np.ndarray
) -> np.ndarray:
    grid, angle = frame.grid, np.radians(on_grid_deg)
    row = np.floor((grid.north_m - (place_m[1] + away_m * np.cos(angle))) / grid.cell_m).astype(int)
    col = np.floor((place_m[0] + away_m * np.sin(angle) - grid.west_m) / grid.cell_m).astype(int)
    inside = (row >= 0) & (row < grid.rows) & (col >= 0) & (col < grid.cols)
    found = np.full(len(row), np.nan)
    found[inside] = frame.ground[row[inside], col[inside]]
    return found
