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
from tunnelsite.plans.layout.trench import Trench, TrenchGround, burdened_lengths, step_graph, trenches

MOST_CELLS = 400_000  # of the ground searched; coarser cells are taken above it
MARGIN_M, MARGIN_SHARE = 60.0, 0.25  # round houses and services: how far a detour may lead
NO_WAY = 1e9  # metres: a trench that no ground lets through
A_LITTLE_MORE = 1.001  # a line along the edge between two cells touches both


@dataclass(frozen=True)
class ServiceTrench:
    """A trench from one house to one service.

    Attributes:
        trench: as found, its length and cost from the wall to the service. line: its way in the grid's along and across [m],
        None where there is none.
        straight_m: straight distance from the house to what it joins: the service, or the trench of another house [m].
        outside_m: how much of the way lies outside every parcel [m]: it needs an easement from the owner of that land.
        joins: number (from 0) of the house whose trench it joins; None = it goes to the service itself.
    """

    trench: Trench
    line: shapely.LineString | None
    straight_m: float
    outside_m: float = 0.0
    joins: int | None = None


@dataclass(frozen=True)
class _Land:
    """The ground searched: its grid, how many cells of the frame make one of its side and its first row and column there; where a
    trench may run, and the cells at which each service is tapped, bool [rows, cols]; shapes of the services."""

    grid: Grid
    factor: int
    corner: tuple[int, int]
    free: np.ndarray
    tapped: dict[str, np.ndarray]
    services: dict[str, np.ndarray]

    @property
    def place(self) -> Lattice:
        """Where its cells are."""
        return Lattice(self.grid.west_m, self.grid.north_m, self.grid.cell_m, self.grid.rows, self.grid.cols)


def _land(frame: Frame, near: Sequence[shapely.Geometry]) -> _Land:
    """The ground round shapes and the services nearest to them, without houses."""
    services = {name: item.geometry for name, item in frame.services.items() if len(item)}
    grid, factor, corner = _searched(frame.grid, near, services)
    place = Lattice(grid.west_m, grid.north_m, grid.cell_m, grid.rows, grid.cols)
    tapped = {name: _touched(geometry, place) for name, geometry in services.items()}
    known = _known(frame.ground, grid, factor, corner)
    free = known.copy()
    for barred in _barred(frame):
        free &= ~_touched(barred, place)
    for cells in tapped.values():
        free |= cells & known
    return _Land(grid, factor, corner, free, tapped, services)


def trench_costs(frame: Frame, near: Sequence[shapely.Geometry], prices: Mapping[str, float]) -> np.ndarray:
    """Cost of the cheapest trenches from each cell of the frame to every service that has a price, float64 [rows, cols].

    Arguments: frame; near, shapes whose surroundings are searched; prices of a metre, by service. Where a service cannot be reached
    the cost is NO_WAY, so that such places come last.
    """
    land, total = _land(frame, near), np.zeros(frame.grid.shape)
    graph = step_graph(TrenchGround(land.free, land.grid.cell_m))
    row, col = (np.arange(size) - first for size, first in zip(frame.grid.shape, land.corner, strict=True))
    there = np.ix_(
        *(np.clip(at // land.factor, 0, most - 1) for at, most in zip((row, col), land.free.shape, strict=True))
    )
    for name, price in prices.items():
        if name in land.tapped:
            total += price * np.nan_to_num(burdened_lengths(graph, land.tapped[name] & land.free)[there], posinf=NO_WAY)
    return total


def service_trenches(
    frame: Frame, houses: Sequence[shapely.Polygon], prices: Mapping[str, float] | None = None, *, shared: bool = True
) -> tuple[list[list[ServiceTrench]], float]:
    """Trenches from each house to each service of the frame.

    A trench keeps off keep-outs and structures themselves (not their distances, which are for houses), off every house
    of the plan and off ground without data; the cells a service lies in can always be reached. Shared trenches make one net a
    service: the house that is nearest digs the trunk, and each next one joins what is there where that is nearest
    (Takahashi & Matsuyama 1980, Mathematica Japonica 24:573-577: at most twice as long as the shortest net there can be).

    Arguments: frame, with services; houses, footprints in the grid's along and across [m]; prices of a metre, by service; shared,
    False = each house has a trench of its own.
    Return: a list for each house, in the order of the services; side of the cells searched [m].
    """
    if not any(len(item) for item in frame.services.values()) or not len(houses):
        return [[] for _ in houses], frame.grid.cell_m
    land = _land(frame, houses)
    built = np.zeros(land.grid.shape, bool)
    for house in houses:
        built |= _inside(house, land.place)
    ground = TrenchGround(land.free & ~built, land.grid.cell_m)
    graph = step_graph(ground)
    around = land.grid.cell_m
    walls = [blocked_centres(segments_of(house), around, around, land.place) & ~built for house in houses]
    parcels = shapely.union_all(np.asarray(frame.parcels, object))
    found: list[list[ServiceTrench]] = [[] for _ in houses]
    for name, geometry in land.services.items():
        price = None if prices is None or name not in prices else {name: prices[name]}
        net, shapes, left = land.tapped[name].copy(), geometry, list(range(len(houses)))
        joins: list[int] = []  # houses whose trench made each line of the net
        while left:
            away = burdened_lengths(graph, net & ground.free)
            k = min(left, key=lambda one: float(away[walls[one]].min(initial=np.inf)))
            for one in [k] if shared else left:
                way = trenches(ground, walls[one], {name: net}, price, graph)[0]
                trench = _service_trench(way, land.grid, (houses[one], shapes, parcels), prices or {})
                found[one].append(replace(trench, joins=_joined(trench.line, shapes, len(geometry), joins)))
            if not shared:
                break
            left.remove(k)
            line = found[k][-1].line
            if line is not None:
                drawn = np.array([line], object)
                shapes = np.concatenate([shapes, drawn])
                joins.append(k)
                net |= _touched(drawn, land.place) & ground.free
    return found, land.grid.cell_m


def _joined(line: shapely.LineString | None, shapes: np.ndarray, own: int, joins: Sequence[int]) -> int | None:
    """The house whose trench a line ends at, None = the service itself (the first `own` shapes)."""
    if line is None or not joins:
        return None
    at = int(np.argmin(shapely.distance(shapely.get_point(line, -1), shapes)))
    return None if at < own else joins[at - own]


def _searched(
    grid: Grid, houses: Sequence[shapely.Polygon], services: Mapping[str, np.ndarray]
) -> tuple[Grid, int, tuple[int, int]]:
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
    found: np.ndarray = part.reshape(grid.rows, factor, grid.cols, factor).all(axis=(1, 3))
    return found


def _barred(frame: Frame) -> list[np.ndarray]:
    parts = [item.geometry for item in frame.keep_outs if len(item)]
    if frame.structures is not None and len(frame.structures):
        parts.append(frame.structures.geometry)
    return parts


def _inside(geometry: shapely.Geometry | np.ndarray, place: Lattice) -> np.ndarray:
    edges = segments_of(geometry)
    return polygon_mask(edges, place.west_m, place.north_m, place.cell_m, (place.rows, place.cols))


def _touched(geometry: np.ndarray, place: Lattice) -> np.ndarray:
    """Cells that features touch: inside polygons, under lines and points."""
    parts = np.asarray(geometry, object)
    half = place.cell_m / 2 * A_LITTLE_MORE
    touched = blocked_centres(segments_of(parts), half, half, place)
    for polygon in parts[shapely.get_dimensions(parts) == 2]:
        touched |= _inside(polygon, place)
    return touched


def _service_trench(
    way: Trench, grid: Grid, ends: tuple[shapely.Polygon, np.ndarray, shapely.Geometry], prices: Mapping[str, float]
) -> ServiceTrench:
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


def _to_the_ends(points: np.ndarray, house: shapely.Polygon, geometry: np.ndarray) -> shapely.LineString:
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
