"""Trenches from every house of a plan to the services: where they may run, how long, by which way."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.ops import substring

from tunnelsite.core.grid import Grid
from tunnelsite.core.site import Frame, segments_of
from tunnelsite.kernels.clear_centres import Lattice, blocked_centres
from tunnelsite.kernels.polygon_mask import polygon_mask
from tunnelsite.siteplan.trench import Trench, TrenchGround, trenches

MOST_CELLS = 400_000  # of the ground searched; coarser cells are taken above it
MARGIN_M, MARGIN_SHARE = 60.0, 0.25  # round houses and services: how far a detour may lead
A_LITTLE_MORE = 1.001  # a line along the edge between two cells touches both


@dataclass(frozen=True)
class ServiceTrench:
    """A trench from one house to one service.

    Attributes:
        trench: as found, its length and cost from the wall to the service. line: its way in the grid's along and across [m],
        None where there is none.
        straight_m: straight distance from the house to the nearest feature of the service [m].
        outside_m: how much of the way lies outside every parcel [m]: it needs an easement of whoever owns that land.
    """

    trench: Trench
    line: shapely.LineString | None
    straight_m: float
    outside_m: float = 0.0


def service_trenches(
    frame: Frame, houses: Sequence[shapely.Polygon], prices: Mapping[str, float] | None = None
) -> tuple[list[list[ServiceTrench]], float]:
    """Trenches from each house to each service of the frame.

    A trench keeps off keep-outs and structures themselves (not their distances, which are for houses), off every house
    of the plan and off ground without data; the cells a service lies in can always be reached.

    Arguments: frame, with services; houses, footprints in the grid's along and across [m]; prices of a metre, by service.
    Return: a list for each house, in the order of the services; side of the cells searched [m].
    """
    services = {name: item.geometry for name, item in frame.services.items() if len(item)}
    if not services or not len(houses):
        return [[] for _ in houses], frame.grid.cell_m
    grid, factor, corner = _searched(frame.grid, houses, services)
    place = Lattice(grid.west_m, grid.north_m, grid.cell_m, grid.rows, grid.cols)
    tapped = {name: _touched(geometry, place) for name, geometry in services.items()}
    known = _known(frame.ground, grid, factor, corner)
    free = known.copy()
    for barred in _barred(frame):
        free &= ~_touched(barred, place)
    for cells in tapped.values():
        free |= cells & known
    built = np.zeros(grid.shape, bool)
    for house in houses:
        built |= _inside(house, place)
    free &= ~built
    found, land = [], shapely.union_all(np.asarray(frame.parcels, object))
    for house in houses:
        wall = blocked_centres(segments_of(house), grid.cell_m, grid.cell_m, place) & ~built
        ways = trenches(TrenchGround(free, grid.cell_m), wall, tapped, dict(prices or {}) or None)
        found.append([_service_trench(way, grid, (house, services[way.service], land), prices or {}) for way in ways])
    return found, grid.cell_m


def _searched(grid: Grid, houses, services) -> tuple[Grid, int, tuple[int, int]]:
    """Grid searched, how many cells of the frame make one of its side, and its first row and column in the frame."""
    near = [shapely.union_all(np.asarray(houses, object))]
    for geometry in services.values():
        near += [
            shapely.Point(shapely.get_coordinates(shapely.shortest_line(house, part))[1])
            for house in houses
            for part in [geometry[int(np.argmin(shapely.distance(house, geometry)))]]
        ]
    west, south, east, north = shapely.union_all(np.array(near, object)).bounds
    margin = MARGIN_M + MARGIN_SHARE * max(east - west, north - south)
    top = max(int((grid.north_m - north - margin) // grid.cell_m), 0)
    bottom = min(int((grid.north_m - south + margin) // grid.cell_m) + 1, grid.rows)
    left = max(int((west - margin - grid.west_m) // grid.cell_m), 0)
    right = min(int((east + margin - grid.west_m) // grid.cell_m) + 1, grid.cols)
    factor = max(1, math.ceil(math.sqrt((bottom - top) * (right - left) / MOST_CELLS)))
    part = grid.window(top, left, (bottom - top) // factor, (right - left) // factor)
    return replace(part, cell_m=grid.cell_m * factor), factor, (top, left)


def _known(ground: np.ndarray, grid: Grid, factor: int, corner: tuple[int, int]) -> np.ndarray:
    """Cells of the searched grid that hold known ground only."""
    top, left = corner
    part = np.isfinite(ground[top : top + grid.rows * factor, left : left + grid.cols * factor])
    return part.reshape(grid.rows, factor, grid.cols, factor).all(axis=(1, 3))


def _barred(frame: Frame):
    parts = [item.geometry for item in frame.keep_outs if len(item)]
    if frame.structures is not None and len(frame.structures):
        parts.append(frame.structures.geometry)
    return parts


def _inside(geometry, place: Lattice) -> np.ndarray:
    edges = segments_of(geometry)
    return polygon_mask(edges, place.west_m, place.north_m, place.cell_m, (place.rows, place.cols))


def _touched(geometry, place: Lattice) -> np.ndarray:
    """Cells that features touch: inside polygons, under lines and points."""
    parts = np.asarray(geometry, object)
    half = place.cell_m / 2 * A_LITTLE_MORE
    touched = blocked_centres(segments_of(parts), half, half, place)
    for polygon in parts[shapely.get_dimensions(parts) == 2]:
        touched |= _inside(polygon, place)
    return touched


def _service_trench(way: Trench, grid: Grid, ends: tuple, prices: Mapping[str, float]) -> ServiceTrench:
    """The way found, drawn from the wall itself to the service itself: cells alone leave up to 0.71 of one open at each end.

    Arguments: ends, the house, the features of the service and the parcels' land; prices of a metre, by service.
    """
    house, geometry, land = ends
    straight = float(shapely.distance(house, geometry).min())
    if not len(way.rows):
        return ServiceTrench(way, None, straight)
    points = np.column_stack(grid.centre(way.rows, way.cols))
    line = _to_the_ends(points, house, geometry)
    more = float(line.length) - way.length_m
    burdened = way.burdened_m + more
    price = prices.get(way.service)
    least = min(max(straight, way.shortest_m - math.sqrt(2) * grid.cell_m), float(line.length))
    cost = None if price is None else burdened * price
    whole = replace(way, length_m=float(line.length), shortest_m=least, burdened_m=burdened, cost=cost)
    return ServiceTrench(whole, line, straight, float(shapely.difference(line, land).length))


def _to_the_ends(points: np.ndarray, house, geometry: np.ndarray) -> shapely.LineString:
    """The polyline of cell centres [n, 2], from the wall on; it stops where it first meets the service, or goes on to it."""
    first, last = shapely.Point(points[0]), shapely.Point(points[-1])
    wall = shapely.get_coordinates(shapely.shortest_line(house, first))[0]
    line = shapely.LineString(np.vstack([wall, points]))
    service = geometry[int(np.argmin(shapely.distance(last, geometry)))]
    met = shapely.intersection(line, service)
    if not shapely.is_empty(met):
        along = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(met))).min()
        return substring(line, 0.0, float(along)) if along > 0 else shapely.LineString([wall, wall])
    tap = shapely.get_coordinates(shapely.shortest_line(last, service))[-1]
    return shapely.LineString(np.vstack([wall, points, tap]))
