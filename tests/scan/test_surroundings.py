"""Water, way in, room and lee of a house against slow references on small grids."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from tests.scan.grounds import features
from tunnelsite.core.grid import Grid
from tunnelsite.core.house import House, Pad
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.scan.free_ground import FREE_M, TURN_M, Land, NextHouse, door_rooms_m, next_houses, rectangles_at
from tunnelsite.scan.lee import DRIFT_HEIGHTS, LEAST_M, Wind, lee
from tunnelsite.scan.open_ground import Bar
from tunnelsite.scan.way_in import water_head_m, way_in

HOUSE = House(5.0, 12.0)
PAD = Pad.around(HOUSE, 1.0)


def frame(
    ground: np.ndarray, *, cell: float = 1.0, standing: np.ndarray | None = None, bearing: float = 90.0, **services
):
    """A frame that starts at (0, rows) in along and across; heights above a datum of 0."""
    rows, cols = ground.shape
    layers = {"ground": ground.astype(np.float32)}
    if standing is not None:
        layers["standing_m"] = standing.astype(np.float32)
    grid = Grid("", cell, rows, cols, 0.0, rows * cell, bearing)
    return SimpleNamespace(
        grid=grid,
        whole=None,
        ground=layers["ground"],
        layers=layers,
        services={k: features(v) for k, v in services.items()},
    )


def footprint(middle: tuple[float, float]) -> shapely.Polygon:
    return shapely.box(*rectangles_at(np.array([middle]), HOUSE.length_m, HOUSE.width_m)[0])


def plane(rows: int, cols: int, along: float, across: float) -> np.ndarray:
    """Heights that rise by `along` to the east and `across` to the north, 0 at the lower left corner."""
    row, col = np.mgrid[0:rows, 0:cols]
    return along * (col + 0.5) + across * (rows - row - 0.5)


def test_head_is_the_height_of_the_nearest_source_above_the_house() -> None:
    ground = plane(60, 80, 0.05, -0.02)
    taps = [shapely.Point(70.0, 50.0), shapely.Point(45.0, 30.0)]
    here = frame(ground, water=taps)
    middle = (30.0, 30.0)
    assert water_head_m(here, footprint(middle), 0.05 * 30 - 0.02 * 30) == pytest.approx(0.05 * 15, abs=1e-6)
    line = frame(ground, water=[shapely.LineString([(0, 55), (80, 55)])])
    assert water_head_m(line, footprint(middle), 0.0) == pytest.approx(0.05 * 30 - 0.02 * 55, abs=1e-6)
    away = frame(ground, water=[shapely.Point(-20.0, 30.0)])
    assert math.isnan(water_head_m(away, footprint(middle), 0.0))
    assert math.isnan(water_head_m(frame(ground), footprint(middle), 0.0))


def test_way_in_matches_a_walk_along_the_line() -> None:
    row, col = np.mgrid[0:90, 0:120]
    ground = 0.03 * col + np.sin(col / 9.0) + 0.6 * np.cos(row / 7.0)
    road = shapely.LineString([(5, 0), (9, 90)])
    here, middle = frame(ground, road=[road]), (80.0, 40.0)
    found = way_in(here, footprint(middle))
    door = shapely.Point(80.0 - HOUSE.length_m / 2, 40.0)
    start = road.interpolate(road.project(door))
    length = start.distance(door)
    assert not found.east_end and found.length_m == pytest.approx(length)

    def height(share: float) -> float:
        along, across = start.x + share * (door.x - start.x), start.y + share * (door.y - start.y)
        r, c = 90 - across - 0.5, along - 0.5
        top, left = math.floor(r), math.floor(c)
        down, right = r - top, c - left
        return float(
            ground[top, left] * (1 - down) * (1 - right)
            + ground[top, left + 1] * (1 - down) * right
            + ground[top + 1, left] * down * (1 - right)
            + ground[top + 1, left + 1] * down * right
        )

    assert found.mean_pct == pytest.approx(100 * (height(1.0) - height(0.0)) / length, abs=1e-3)
    slow = max(abs(height(share + 10 / length) - height(share)) * 10 for share in np.linspace(0, 1 - 10 / length, 2000))
    assert found.steepest_pct == pytest.approx(slow, rel=0.05)
    uphill = way_in(frame(plane(60, 80, 0.10, 0.0), access=[shapely.Point(10, 30)]), footprint((40.0, 30.0)))
    assert uphill.mean_pct == pytest.approx(10.0, abs=1e-3) and uphill.steepest_pct == pytest.approx(10.0, abs=1e-3)
    down = way_in(frame(plane(60, 80, 0.10, 0.0), road=[shapely.Point(70, 30)]), footprint((40.0, 30.0)))
    assert down.east_end and down.mean_pct == pytest.approx(-10.0, abs=1e-3)
    assert way_in(frame(ground), footprint(middle)) is None


@pytest.mark.parametrize("from_deg", [0.0, 37.0, 90.0, 180.0, 251.0, 300.0])
@pytest.mark.parametrize("bearing", [90.0, 60.0])
def test_lee_matches_a_search_of_every_cell(from_deg: float, bearing: float) -> None:
    rng = np.random.default_rng(int(from_deg))
    standing = np.where(rng.random((120, 140)) < 0.004, rng.uniform(1.0, 9.0, (120, 140)), 0.0)
    here, middle = frame(np.zeros((120, 140)), standing=standing, bearing=bearing), (70.3, 60.2)
    found = lee(here, HOUSE, middle, Wind(from_deg, float(standing.max())))
    turn = math.radians(from_deg - bearing)
    up = (math.cos(turn), -math.sin(turn))
    house = footprint(middle)
    far = shapely.union_all([house, shapely.transform(house, lambda xy: xy + 400 * np.array(up))]).convex_hull
    best = math.inf
    for row, col in np.argwhere(standing >= LEAST_M).tolist():
        cell = shapely.box(col, 120 - row - 1, col + 1, 120 - row)
        part = shapely.intersection(cell, far)
        if shapely.area(part) < 0.05 or shapely.intersects(cell, house):  # rays half a cell apart pass corners by
            continue
        corners = shapely.get_coordinates(part)
        reach = [shapely.LineString([corner, corner - 500 * np.array(up)]).intersection(house) for corner in corners]
        away = min(
            shapely.distance(shapely.Point(c), one) for c, one in zip(corners, reach, strict=True) if not one.is_empty
        )
        best = min(best, away / standing[row, col])
    if best > DRIFT_HEIGHTS:
        assert found.heights == DRIFT_HEIGHTS and math.isnan(found.away_m)
    else:
        assert found.heights == pytest.approx(best, abs=1.0 / LEAST_M)


def test_what_stands_downwind_or_is_low_casts_no_drift() -> None:
    standing = np.zeros((100, 100))
    standing[20, :] = 6.0  # a row of trees to the north
    here = frame(np.zeros((100, 100)), standing=standing)
    north = lee(here, HOUSE, (50.0, 50.0), Wind(0.0, 6.0))
    assert north.away_m == pytest.approx(79 - 52.5, abs=0.5) and north.heights == pytest.approx(north.away_m / 6)
    assert lee(here, HOUSE, (50.0, 50.0), Wind(180.0, 6.0)).heights == DRIFT_HEIGHTS
    standing[20, :] = 2.9
    low = frame(np.zeros((100, 100)), standing=standing)
    assert lee(low, HOUSE, (50.0, 50.0), Wind(0.0, 2.9)).heights == DRIFT_HEIGHTS


def test_main_wind_is_the_middle_of_the_fan_and_the_fullest_sector_of_a_rose() -> None:
    assert WindRose.prevailing(310.0).main_deg == pytest.approx(310.0)
    assert WindRose.prevailing(5.0).main_deg == pytest.approx(5.0)
    rose = WindRose(np.array([0.0, 90.0, 270.0, 292.5, 315.0]), np.array([0.3, 0.1, 0.2, 0.2, 0.2]))
    assert rose.main_deg == pytest.approx(292.5)


def next_house(land: Land, middle: tuple[float, float], sizes: tuple[House, Pad], clearance: float) -> NextHouse:
    return next_houses(land, np.array([middle]), sizes, clearance)[0]


def door_room_m(land: Land, middle: tuple[float, float], house: House, east_end: bool | None) -> float:
    return float(door_rooms_m(land, np.array([middle]), house, [east_end])[0])


def slow_free(land: Land, start, axis: int, sign: int, reach: float, step: float = 0.1) -> float:
    """Push the rectangle outward step by step until it touches anything."""
    free = 0.0
    while free + step <= reach:
        swept = list(start)
        swept[axis + (2 if sign > 0 else 0)] += sign * (free + step)
        swept[axis + (0 if sign > 0 else 2)] = start[axis + (2 if sign > 0 else 0)]
        box = shapely.buffer(shapely.box(*swept), -2e-3, join_style="mitre")
        if not land.area[0].contains(box) or any(
            shapely.distance(box, one) < bar.distance_m if bar.distance_m else shapely.intersects(box, one)
            for bar in land.bars
            for one in bar.source
        ):
            break
        grid = land.frame.grid
        standing = land.frame.layers["standing_m"]
        cells = [
            shapely.box(c, grid.rows - r - 1, c + 1, grid.rows - r) for r, c in np.argwhere(standing > land.tall_m)
        ]
        if any(shapely.intersects(box, cell) for cell in cells):
            break
        free += step
    return free


@pytest.mark.parametrize("seed", range(6))
def test_room_for_the_next_house_matches_pushing_a_pad_step_by_step(seed: int) -> None:
    rng = np.random.default_rng(seed)
    standing = np.where(rng.random((90, 120)) < 0.0006, 4.0, 0.5)
    area = shapely.buffer(shapely.box(8, 8, 112, 82), -rng.uniform(0, 8))
    barn = shapely.box(*(float(v) for v in (20, 60, 32, 70)))
    pipe = shapely.LineString([(10.0, rng.uniform(15, 25)), (100.0, 20.0)])
    sources = np.array([barn], object), np.array([pipe], object)
    land = Land(
        frame(np.zeros((90, 120)), standing=standing),
        np.array([area]),
        [Bar("structures", sources[0], 3.6576), Bar("keep_out:pipe", sources[1])],
        1.0,
    )
    middle, clearance = (float(rng.uniform(45, 75)), float(rng.uniform(38, 50))), 3.6576
    found = next_house(land, middle, (HOUSE, PAD), clearance)
    start = rectangles_at(np.array([middle]), PAD.length_m, PAD.width_m)[0]
    beside = 1.0 + max(slow_free(land, start, 1, sign, 99.0) for sign in (1, -1))
    end = 1.0 + max(slow_free(land, start, 0, sign, 99.0) for sign in (1, -1))
    assert found.beside_m == pytest.approx(beside, abs=0.12) and found.end_m == pytest.approx(end, abs=0.12)
    if abs(beside - (clearance + PAD.width_m)) > 0.2:
        assert found.fits_beside is (beside > clearance + PAD.width_m)
    if abs(end - (clearance + PAD.length_m)) > 0.2:
        assert found.fits_end is (end > clearance + PAD.length_m)
    assert found.words in ("beside", "end to end", "beside or end to end", "none")


def test_many_houses_at_once_find_what_each_finds_alone() -> None:
    rng = np.random.default_rng(7)
    ground = np.where(rng.random((90, 120)) < 0.0003, np.nan, 0.0)
    here = frame(ground, standing=np.where(rng.random((90, 120)) < 0.0004, 4.0, 0.5))
    areas = np.array([shapely.box(8, 8, 112, 82), shapely.box(-40, -40, 60, 90), shapely.box(30, -20, 200, 200)])
    wall = Bar("structures", np.array([shapely.box(20, 60, 32, 70), shapely.box(90, 5, 95, 9)], object), 3.0)
    middles = rng.uniform((-10, -10), (130, 100), (40, 2))
    of, ends = rng.integers(0, 3, 40), [(True, False, None)[k] for k in rng.integers(0, 3, 40)]
    found = next_houses(Land(here, areas[of], [wall], 1.0), middles, (HOUSE, PAD), 3.0)
    doors = door_rooms_m(Land(here, areas[of], [wall], 1.0), middles, HOUSE, ends)
    for k, middle in enumerate(middles.tolist()):
        alone = Land(here, areas[of[k] : of[k] + 1], [wall], 1.0)
        assert found[k] == next_house(alone, middle, (HOUSE, PAD), 3.0)
        assert doors[k] == door_room_m(alone, middle, HOUSE, ends[k])
    assert 0 < np.mean([room.beside_m > 5 for room in found]) < 1 and len(np.unique(doors)) > 5


def test_open_land_is_free_as_far_as_is_looked_and_the_door_is_the_one_asked_for() -> None:
    wide = Land(frame(np.zeros((400, 400))), np.array([shapely.box(0, 0, 400, 400)]), [], 1.0)
    room = next_house(wide, (200.0, 200.0), (HOUSE, PAD), 3.0)
    assert (room.beside_m, room.end_m) == (FREE_M, FREE_M) and room.words == "beside or end to end"
    shed = Bar("structures", np.array([shapely.box(216.0, 190, 220, 210)], object))
    tight = Land(wide.frame, wide.area, [shed], 1.0)
    assert door_room_m(tight, (200.0, 200.0), HOUSE, True) == pytest.approx(10.0)
    assert door_room_m(tight, (200.0, 200.0), HOUSE, False) == TURN_M == door_room_m(tight, (200.0, 200.0), HOUSE, None)
    edge = Land(
        frame(np.zeros((40, 40))), np.array([shapely.box(-50, -50, 50, 50)]), [], 1.0
    )  # the land reaches beyond the data
    assert next_house(edge, (20.0, 20.0), (HOUSE, PAD), 3.0).beside_m == pytest.approx(40 - 22.5)


@pytest.mark.parametrize(("spare_m", "fits"), [(0.0, True), (0.4, True), (-0.05, False), (-3.0, False)])
def test_a_second_pad_fits_from_its_own_size_on_beside_and_end_to_end(spare_m: float, fits: bool) -> None:
    """A field with room to the left of the house, or beyond its end, for exactly a second pad and a little more or less."""
    clearance, (along, across) = 3.0, (60.0, 60.0)
    ground, half = frame(np.zeros((120, 200))), (PAD.length_m / 2, PAD.width_m / 2)
    left = across + HOUSE.width_m / 2 + clearance + PAD.width_m + spare_m
    field = shapely.box(along - half[0], across - half[1], along + half[0], left)
    beside = next_house(Land(ground, np.array([field]), [], 1.0), (along, across), (HOUSE, PAD), clearance)
    assert (beside.fits_beside, beside.fits_end) == (fits, False)
    end = along + HOUSE.length_m / 2 + clearance + PAD.length_m + spare_m
    field = shapely.box(along - half[0], across - half[1], end, across + half[1])
    ahead = next_house(Land(ground, np.array([field]), [], 1.0), (along, across), (HOUSE, PAD), clearance)
    assert (ahead.fits_beside, ahead.fits_end) == (False, fits)
