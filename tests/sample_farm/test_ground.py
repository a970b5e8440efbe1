"""The sample farm's planted ground: bench, pond, hollow, road bank, stream, slopes.

Measured from the files alone (pyproj.Geod for directions, richdem for water), not with what made them.
"""

import numpy as np
import pytest
import rasterio
import richdem
import shapely
from pyproj import Geod, Transformer
from scipy.ndimage import gaussian_filter, label

WGS84 = Geod(ellps="WGS84")


def test_grid_north_is_well_off_true_north(farm):
    centre = farm.truths["terrace"]["centre"]
    to_lonlat = Transformer.from_crs(farm.truths["crs"], 4326, always_xy=True)
    north = to_lonlat.transform(centre["easting"], centre["northing"] + 1000)
    bearing, _, _ = WGS84.inv(centre["lon"], centre["lat"], *north)
    assert bearing == pytest.approx(farm.truths["grid_convergence_deg"], abs=0.005)
    assert bearing > 1.5


def test_terrace_runs_true_east_west(farm):
    terrace = farm.truths["terrace"]
    south_east, north_east, north_west, south_west = ((corner["lon"], corner["lat"]) for corner in terrace["corners"])
    for west, east in ((south_west, south_east), (north_west, north_east)):
        out, back, length = WGS84.inv(*west, *east)
        assert (out + back % 360 - 180) / 2 == pytest.approx(terrace["bearing_deg"], abs=0.02)
        assert length == pytest.approx(terrace["length_m"], abs=0.05)
    assert WGS84.inv(*south_east, *north_east)[2] == pytest.approx(terrace["width_m"], abs=0.05)


def around_terrace(farm, reach_m):
    """Cells within `reach_m` of the terrace's centre: metres true east and north of it, and height."""
    rows, cols = np.nonzero(farm.cells_in(farm.place("terrace").buffer(reach_m)))
    to_lonlat = Transformer.from_crs(farm.truths["crs"], 4326, always_xy=True)
    lon, lat = to_lonlat.transform(*rasterio.transform.xy(farm.transform, rows, cols))
    centre = farm.truths["terrace"]["centre"]
    here = np.full(len(lon), centre["lon"]), np.full(len(lon), centre["lat"])
    bearing, _, distance = WGS84.inv(*here, lon, lat)
    bearing = np.radians(bearing)
    return distance * np.sin(bearing), distance * np.cos(bearing), farm.dem[rows, cols]


def residuals_in_rectangle(cells, size_m, bearing_deg):
    """Fitted (level, rise east, rise north) and residuals [m] of cells in a rectangle about the centre."""
    east, north, height = cells
    turn = np.radians(bearing_deg)
    along = east * np.sin(turn) + north * np.cos(turn)
    across = north * np.sin(turn) - east * np.cos(turn)
    held = (abs(along) < size_m[0] / 2) & (abs(across) < size_m[1] / 2)
    design = np.column_stack([np.ones(held.sum()), east[held], north[held]])
    plane, *_ = np.linalg.lstsq(design, height[held], rcond=None)
    return plane, height[held] - design @ plane


def test_terrace_is_the_planted_plane_within_the_finished_tolerance(farm):
    terrace = farm.truths["terrace"]
    size = terrace["length_m"], terrace["width_m"]
    (_, east, north), _ = residuals_in_rectangle(around_terrace(farm, 40), size, terrace["bearing_deg"])
    # Errors of 3.5 cm shared over a few metres leave about 0.02 % along and 0.04 % across 68 x 34 m.
    assert 100 * east == pytest.approx(terrace["rise_to_true_east_pct"], abs=0.08)
    assert 100 * north == pytest.approx(terrace["rise_to_true_north_pct"], abs=0.12)
    assert max(abs(east), abs(north)) < 0.005
    assert terrace["length_m"] > 96 * 0.3048 + 12 and terrace["width_m"] > 30 * 0.3048 + 12


def test_terrace_in_the_heights_points_true_east(farm):
    """The flattest rectangle of the terrace's size lies along true east, not along grid east."""
    terrace = farm.truths["terrace"]
    cells = around_terrace(farm, 50)
    size = terrace["length_m"] + 2, terrace["width_m"] + 2
    bearings = np.arange(85, 95.1, 0.25)
    spread = [residuals_in_rectangle(cells, size, bearing)[1].std() for bearing in bearings]
    assert bearings[np.argmin(spread)] == pytest.approx(terrace["bearing_deg"], abs=0.8)


def test_survey_noise_is_like_lidar(farm):
    terrace = farm.truths["terrace"]
    outline = shapely.Polygon([(corner["easting"], corner["northing"]) for corner in terrace["corners"]])
    rows, cols = np.nonzero(farm.cells_in(outline))
    design = np.column_stack([np.ones(len(rows)), rows, cols])
    plane, *_ = np.linalg.lstsq(design, farm.dem[rows, cols], rcond=None)
    residual = np.full(farm.dem.shape, np.nan)
    residual[rows, cols] = farm.dem[rows, cols] - design @ plane
    assert 0.03 < np.nanstd(residual) < 0.06
    beside, apart = (np.nanmean(residual[:, lag:] * residual[:, :-lag]) / np.nanvar(residual) for lag in (1, 12))
    assert 0.2 < beside < 0.9
    assert abs(apart) < 0.2


def test_pond_is_exactly_flat_and_full(farm):
    west, south, east, north = farm.truths["pond"]["bbox"]
    level = farm.dem == farm.truths["pond"]["level_m"]
    rows, cols = np.nonzero(level & farm.cells_in(shapely.box(west, south, east, north)))
    assert 1200 < len(rows) < 2000
    easting, northing = rasterio.transform.xy(farm.transform, rows, cols)
    assert np.ptp(easting) > east - west - 3 and np.ptp(northing) > north - south - 3
    assert np.all(farm.filled[rows, cols] - farm.dem[rows, cols] < 0.15)


def test_hollow_is_closed_and_where_it_is_said_to_be(farm):
    near = farm.cells_in(farm.place("hollow").buffer(45))
    depth = np.where(near, farm.filled - farm.dem, 0)
    row, col = np.unravel_index(np.argmax(depth), depth.shape)
    deepest = shapely.Point(rasterio.transform.xy(farm.transform, row, col))
    assert depth.max() > 1.0
    assert (depth > 0.1).sum() > 1500
    assert deepest.distance(farm.place("hollow")) < 8


def test_road_bank_dams_the_tributary(farm):
    near = farm.cells_in(farm.place("culvert").buffer(30))
    assert (farm.filled - farm.dem)[near].max() > 0.6


def test_stream_drains_the_farm_to_the_east_edge(farm):
    area = np.array(richdem.FlowAccumulation(farm.routed, method="D8"))
    leaving = area[:, -3:].max()
    assert leaving > 0.6 * np.isfinite(farm.dem).sum()
    row = int(np.argmax(area[:, -3:].max(axis=1)))
    channel = area > 0.25 * leaving
    assert abs(row - 700) < 60
    assert channel.sum() > 500
    assert (farm.filled - farm.dem)[channel].max() < 0.3


def test_nothing_else_ponds_deeply(farm):
    deep, _ = label(np.nan_to_num(farm.filled - farm.dem) > 0.6, structure=np.ones((3, 3)))
    pools = {pool for pool in np.unique(deep[deep > 0]) if (deep == pool).sum() > 20}
    known = [set(deep[farm.cells_in(farm.place(name).buffer(30))]) - {0} for name in ("hollow", "culvert")]
    assert all(len(pools & found) == 1 for found in known)
    assert pools == pools & (known[0] | known[1])


def test_steep_parcel_is_steep_and_fields_are_gentle(farm):
    smooth = gaussian_filter(np.where(np.isnan(farm.dem), np.nanmedian(farm.dem), farm.dem), 4)
    slope_pct = 100 * np.hypot(*np.gradient(smooth))
    share = {name: np.mean(slope_pct[farm.cells_in(outline)] > 8) for name, outline in farm.parcels.geometry.items()}
    assert share.pop(farm.truths["steep"]["parcel"]) > 0.6
    assert max(share.values()) < 0.45
    field = slope_pct[farm.cells_in(farm.parcels.geometry["Upper Reach"])]
    assert 0.5 < np.median(field) < 3
