"""A window of a frame at another bearing: the same places, seen along other axes."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely

from tests.scan.grounds import features
from tunnelsite.core.grid import covering_grid, local_crs
from tunnelsite.core.house import House
from tunnelsite.core.site import Frame
from tunnelsite.scan.lee import Wind, lee
from tunnelsite.scan.turned import turned
from tunnelsite.scan.way_in import heights_at


def frame_of() -> Frame:
    """A plane with a layer of its own in every cell, a parcel and a tree."""
    crs = local_crs(pyproj.CRS("EPSG:4326"), -78.0, 43.0)
    grid = covering_grid(crs, (-60.0, -50.0, 70.0, 50.0), 1.0, 90.0)
    rows, cols = np.mgrid[0 : grid.rows, 0 : grid.cols]
    along, across = grid.centre(rows, cols)
    layers = {
        "ground": (0.02 * along - 0.01 * across).astype(np.float32),
        "own": (1000.0 * rows + cols).astype(np.float32),
        "count": (rows + cols).astype(np.int32),
        "drains_to": (rows % 8).astype(np.uint8),
    }
    parcel = np.array([shapely.box(-30, -20, 40, 30)], object)
    tree = features([shapely.Point(12.0, -7.0)], grid.crs, "trees", height_m=[9.0])
    units = dict.fromkeys(layers, "m")
    return Frame(grid, 0.0, layers, units, parcel, ["Field"], -78.0, 43.0, obstacles=tree, no_data={"drains_to": 255})


@pytest.mark.parametrize("bearing_deg", [90.0, 60.0, 0.0, 117.5])
@pytest.mark.parametrize("centre", [(0.5, 0.5), (20.5, -15.5), (66.5, 40.5)])
def test_every_cell_holds_what_lies_at_its_place(bearing_deg: float, centre: tuple[float, float]) -> None:
    frame = frame_of()
    found = turned(frame, bearing_deg, centre, 15.2)
    grid, old = found.grid, frame.grid
    assert grid.bearing_deg == bearing_deg and grid.shape == (31, 31)  # 15 cells each way and the one in the middle
    assert grid.to_map(*grid.centre(15, 15)) == pytest.approx(old.to_map(*centre))
    rows, cols = np.mgrid[0:31, 0:31]
    along, across = old.from_map(*grid.to_map(*grid.centre(rows, cols)))
    west, south, east, north = old.bounds
    inside = (along > west + 0.5) & (along < east - 0.5) & (across > south + 0.5) & (across < north - 0.5)
    assert found.layers["ground"][inside] == pytest.approx((0.02 * along - 0.01 * across)[inside], abs=1e-5)
    row, col = np.floor(old.north_m - across).astype(int), np.floor(along - old.west_m).astype(int)
    sure = inside & (abs(np.stack([across, along]) % 1.0 - 0.5) < 0.49).all(0)  # not on the line between two cells
    assert np.array_equal(found.layers["own"][sure], (1000.0 * row + col)[sure])
    assert np.array_equal(found.layers["count"][sure], (row + col)[sure])
    beyond = (along < west) | (along > east) | (across < south) | (across > north)
    assert np.isnan(found.layers["own"][beyond]).all() and np.isnan(found.layers["ground"][beyond]).all()
    assert not found.layers["count"][beyond].any() and (found.layers["drains_to"][beyond] == 255).all()


@pytest.mark.parametrize("bearing_deg", [60.0, 135.0])
def test_shapes_keep_their_place_on_the_map(bearing_deg: float) -> None:
    frame = frame_of()
    found = turned(frame, bearing_deg, (0.5, 0.5), 20.0)
    for new, old in ((found.parcels[0], frame.parcels[0]), (found.obstacles.geometry[0], frame.obstacles.geometry[0])):
        at, was = shapely.get_coordinates(new), shapely.get_coordinates(old)
        assert np.column_stack(found.grid.to_map(*at.T)) == pytest.approx(np.column_stack(frame.grid.to_map(*was.T)))
    assert found.obstacles.columns["height_m"].tolist() == [9.0]


@pytest.mark.parametrize("bearing_deg", [90.0, 60.0])
def test_heights_and_trees_beyond_a_window_are_those_of_the_whole_frame(bearing_deg: float) -> None:
    """A road, a source of water or a windbreak lies farther away than a house tried at another bearing is measured on."""
    frame = frame_of()
    frame.layers["standing_m"] = np.zeros(frame.grid.shape, np.float32)
    frame.layers["standing_m"][:10] = 12.0  # trees along the north edge
    found = turned(frame, bearing_deg, (0.5, 0.5), 15.0)
    far = np.array([-50.0, 60.0]), np.array([-40.0, 30.0])  # along and across on the whole frame
    there = found.grid.from_map(*frame.grid.to_map(*far))
    np.testing.assert_allclose(heights_at(found, *there), 0.02 * far[0] - 0.01 * far[1], atol=1e-4)
    wind, house = Wind(0.0, 12.0), House(6.0, 6.0)
    behind = lee(found, house, found.grid.centre(15, 15), wind)
    assert behind.away_m == pytest.approx(lee(frame, house, (0.5, 0.5), wind).away_m, abs=1.5)
