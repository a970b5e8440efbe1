"""The horizon at a point of a site: a wall in closed form, true north on a turned grid, names and heights of what stands there."""

import numpy as np
import pyproj
import pytest
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import Grid, covering_grid, local_crs
from tunnelsite.core.layers import Features
from tunnelsite.core.site import Frame
from tunnelsite.plans.sunchart.site_horizon import _Eye, horizon_at, surface_horizon
from tunnelsite.scan.far_ground import FarGround
from tunnelsite.scan.surface import add_surface

LON, LAT = -78.0, 43.0


def _frame(bearing_deg: float = 90.0, obstacle=None, columns=None) -> Frame:
    crs = local_crs(pyproj.CRS("EPSG:4326"), LON, LAT)
    grid = covering_grid(crs, (-150.0, -150.0, 150.0, 150.0), 1.0, bearing_deg)
    ground = np.zeros(grid.shape, np.float32)
    features = None
    if obstacle is not None:
        moved = shapely.transform(obstacle, lambda p: np.column_stack(grid.from_map(p[:, 0], p[:, 1])))
        features = Features(
            np.array([moved], object), {k: np.array([v], object) for k, v in columns.items()}, grid.crs, "obstacles"
        )
    frame = Frame(
        grid, 200.0, {"ground": ground}, {"ground": "m"}, np.empty(0, object), [], LON, LAT, obstacles=features
    )
    add_surface(frame)
    return frame


@pytest.mark.parametrize("bearing", [90.0, 60.0])
def test_wall_to_the_south(bearing):
    """10 m tall, 30 m to the true south of the point, 200 m long: tan h = 9 cos(azimuth) / 30 with the eye at 1 m."""
    wall = shapely.box(-100, -40, 100, -30)
    found = horizon_at(_frame(bearing, wall, {"height_m": 10.0, "what": "barn <b>"}), LON, LAT, 1.0)
    azimuth = found.surface.azimuth_deg
    facing = np.abs(azimuth - 180) < 60
    expected = np.degrees(np.arctan(9 / (30.5 / np.cos(np.radians(azimuth[facing] - 180)))))
    assert np.abs(found.surface.elevation_deg[facing] - expected).max() < 1.0  # cells of 1 m at 30 m
    at_south = int(np.argmin(np.abs(azimuth - 180)))
    assert found.surface.distance_m[at_south] == pytest.approx(30.5, abs=1.0)
    assert found.surface.standing_m[at_south] == pytest.approx(10.0) and found.surface.what[at_south] == "barn <b>"
    assert found.surface.elevation_deg[np.abs(azimuth - 180) > 85].max() == 0.0
    assert (found.ground.elevation_deg == 0).all()
    assert found.place.altitude_m == pytest.approx(200.0)


def test_point_under_a_tree_is_said():
    found = horizon_at(_frame(90.0, shapely.Point(0, 0), {"height_m": 12.0, "what": "oak"}), LON, LAT, 1.0)
    assert any("12.0 m tall stands on this very point" in note for note in found.notes)


def test_point_off_the_data_is_refused():
    for lon, lat in ((LON + 0.1, LAT), (LON, LAT - 0.1)):
        with pytest.raises(UsageError, match="no elevation"):
            horizon_at(_frame(), lon, lat, 1.0)
    frame = _frame()
    frame.ground[:] = np.nan
    with pytest.raises(UsageError, match="no elevation"):
        horizon_at(frame, LON, LAT, 1.0)


@pytest.mark.parametrize(("toward_deg", "down", "right"), [(0, -1, 0), (90, 0, 1), (180, 1, 0), (270, 0, -1)])
def test_a_far_ridge_stands_as_high_as_its_distance_says(toward_deg: int, down: int, right: int) -> None:
    """120 m tall, 20 cells of 50 m away, one cell wide and long enough to look straight: the earth's curve takes 0.03 m off."""
    frame = _frame()
    cell, reach = 50.0, 41
    heights = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    rows, cols = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    heights[(rows * down + cols * right) == 20] = 120.0
    eye = frame.grid.centre(150, 150)
    far = Grid(frame.grid.crs_wkt, cell, *heights.shape, eye[0] - (reach + 0.5) * cell, eye[1] + (reach + 0.5) * cell)
    seen = _Eye(frame, (150, 150), 1.0, np.arange(0.0, 360.0, 0.5)).far(FarGround(far, heights, ()))
    assert seen.horizon_deg[2 * toward_deg] == pytest.approx(np.degrees(np.arctan(119.0 / 1000.0)), abs=0.2)
    assert seen.distance_m[2 * toward_deg] == pytest.approx(1000.0, abs=cell / 2 + 1)


@pytest.mark.parametrize(("south_m", "east_m"), [(0.0, 0.0), (15.0, -20.0), (25.0, 25.0)])
def test_far_land_serves_for_a_place_between_its_cells(south_m: float, east_m: float) -> None:
    """A ridge 120 m tall, 950 to 1,050 m north of a cell's centre, seen from beside it: never farther off than the place is."""
    frame = _frame()
    cell, reach = 50.0, 41
    heights = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    heights[reach - 20] = 120.0
    along, across = frame.grid.centre(150, 150)
    corner = along - east_m - (reach + 0.5) * cell, across + south_m + (reach + 0.5) * cell
    far = FarGround(Grid(frame.grid.crs_wkt, cell, *heights.shape, *corner), heights, ())
    seen = surface_horizon(frame, (LON, LAT), 1.0, np.array([0.0, 180.0]), far=far)
    assert seen.elevation_deg[0] == pytest.approx(np.degrees(np.arctan(119.0 / (1000.0 + south_m))), abs=0.03)
    assert seen.elevation_deg[1] == 0.0
