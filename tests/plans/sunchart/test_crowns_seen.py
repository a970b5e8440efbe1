"""Crowns seen from a point: the prism in closed form, the space under it, months, and the light against the screening's."""

import numpy as np
import pyproj
import pytest
import shapely

from tests.scan.grounds import features
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import covering_grid, local_crs
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import LAYERS
from tunnelsite.core.site import Frame
from tunnelsite.plans.sunchart.site_horizon import Surroundings, horizon_at
from tunnelsite.processes.season_light import PROCESS
from tunnelsite.scan.surface import add_surface
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.received import light_received
from tunnelsite.sun.season import bare_trees, season_sun

SUN = LAYERS["sun"]

LON, LAT = -78.0, 43.0
YEAR = ((1, 1), (12, 31))


def frame_of(shapes, lat: float = LAT, rise: tuple[float, float] = (0.0, 0.0), **columns) -> Frame:
    """Shapes on ground that rises to the east and to the north, as fractions."""
    crs = local_crs(pyproj.CRS("EPSG:4326"), LON, lat)
    grid = covering_grid(crs, (-80.0, -80.0, 80.0, 80.0), 1.0, 90.0)
    row, col = np.mgrid[0 : grid.rows, 0 : grid.cols]
    ground = (rise[0] * (col - 80) + rise[1] * (80 - row)).astype(np.float32)
    trees = features(shapes, grid.crs, "trees", **columns)
    frame = Frame(grid, 200.0, {"ground": ground}, {"ground": "m"}, np.empty(0, object), [], LON, lat, obstacles=trees)
    add_surface(frame)
    return frame


def seen(frame: Frame, eye: float = 1.0, lat: float = LAT):
    return horizon_at(frame, LON, lat, eye, Surroundings(bare_trees(lat))).surface


EYE = (0.5, -0.5)  # the centre of the nearest cell


def test_a_prism_in_closed_form():
    """Square 6 m, 20 m south of the eye, crown from 4 to 12 m: base at atan(3 / 26 m), top at atan(11 / 20 m) due south."""
    box = shapely.box(EYE[0] - 3, EYE[1] - 26, EYE[0] + 3, EYE[1] - 20)
    horizon = seen(frame_of([box], height_m=[12.0], crown_base_m=[4.0], kind=["deciduous"]))
    south = int(np.argmin(np.abs(horizon.azimuth_deg - 180)))
    crown = horizon.foliage
    assert crown.top_deg[south] == pytest.approx(np.degrees(np.arctan(11 / 20)), abs=0.01)
    assert crown.base_deg[south] == pytest.approx(np.degrees(np.arctan(3 / 26)), abs=0.01)
    wide = np.degrees(np.arctan(3 / 20))
    there = crown.top_deg > crown.base_deg
    assert np.abs(horizon.azimuth_deg[there] - 180).max() == pytest.approx(wide, abs=0.51)
    assert horizon.elevation_deg.max() == 0.0  # nothing solid
    suns = ([180.0] * 5, [3.0, 20.0, 20.0, 30.0, 6.0], [1, 1, 7, 1, 7])
    assert horizon.beam_factor(*suns).tolist() == pytest.approx([1.0, 0.58, 0.0, 1.0, 1.0])


@pytest.mark.parametrize(("toward_deg", "east", "north"), [(90, 1, 0), (180, 0, -1), (270, -1, 0)])
@pytest.mark.parametrize("rise", [0.1, -0.1])
def test_on_a_slope_a_crown_stands_on_the_ground_under_it(toward_deg: int, east: int, north: int, rise: float):
    middle = EYE[0] + 23 * east, EYE[1] + 23 * north
    box = shapely.box(middle[0] - 3, middle[1] - 3, middle[0] + 3, middle[1] + 3)
    slope = rise * east, rise * north  # up the way to the tree, or down
    horizon = seen(frame_of([box], rise=slope, height_m=[12.0], crown_base_m=[4.0], kind=["deciduous"]))
    at, crown = int(np.argmin(np.abs(horizon.azimuth_deg - toward_deg))), horizon.foliage
    assert crown.top_deg[at] == pytest.approx(np.degrees(np.arctan((11 + 23 * rise) / 20)), abs=0.1)
    assert crown.base_deg[at] == pytest.approx(np.degrees(np.arctan((3 + 23 * rise) / 26)), abs=0.3)


def test_evergreens_and_houses_stay_solid():
    tree = shapely.Point(EYE[0], EYE[1] - 23)
    for kind in ("evergreen", None):
        horizon = seen(frame_of([tree], height_m=[12.0], crown_radius_m=[3.0], crown_base_m=[4.0], kind=[kind]))
        assert horizon.foliage is None and horizon.elevation_deg.max() > 20


def test_behind_a_bare_tree_a_barn_still_hides():
    tree, barn = shapely.Point(EYE[0], EYE[1] - 23), shapely.box(-20, -60, 20, -50)
    horizon = seen(
        frame_of([tree, barn], height_m=[12.0, 10.0], crown_radius_m=[3.0, None], kind=["deciduous", "barn"])
    )
    assert horizon.beam_factor([180.0] * 2, [5.0, 15.0], [1, 1]).tolist() == pytest.approx([0.0, 0.58])
    assert horizon.beam_factor([165.0], [15.0], [1]).tolist() == [1.0]


def test_under_a_tree_and_in_the_tropics():
    tree = shapely.Point(*EYE).buffer(4.0)
    horizon = seen(frame_of([tree], height_m=[12.0], crown_base_m=[4.0], kind=["deciduous"]))
    assert (horizon.foliage.top_deg == 90.0).all()
    assert horizon.foliage.base_deg == pytest.approx(np.full(720, np.degrees(np.arctan(3 / 4))), abs=0.5)
    wet = seen(frame_of([tree], 5.0, height_m=[12.0], kind=["deciduous"]), lat=5.0)
    assert (wet.foliage.transmission[:, wet.foliage.top_deg > 0] == 0.0).all()


def test_the_densest_crown_counts():
    shapes = [shapely.Point(EYE[0], EYE[1] - d).buffer(3.0) for d in (15, 30)]
    found = seen(frame_of(shapes, height_m=[8.0, 30.0], kind=["deciduous"] * 2, transmission_leaf_off=[0.7, 0.3]))
    south = int(np.argmin(np.abs(found.azimuth_deg - 180)))
    assert found.foliage.transmission[0, south] == pytest.approx(0.3)


@pytest.mark.parametrize("base", [12.0, 13.0, -1.0, "low"])
def test_a_base_above_the_top_is_refused(base):
    with pytest.raises(InputRefused, match="crown_base_m of feature 1"):
        seen(frame_of([shapely.Point(0, -20)], height_m=[12.0], crown_base_m=[base], kind=["deciduous"]))


@pytest.mark.parametrize("lat", [43.0, -38.0])
def test_the_point_and_the_farm_get_the_same_light(lat):
    """Crowns down to the ground: the chart's share (outlines, months) against the screening's (cells, days)."""
    toward = -1 if lat > 0 else 1
    row = shapely.box(-30, *sorted((toward * 16.0, toward * 22.0)), 30)
    row = shapely.box(-30, min(toward * 16, toward * 22), 30, max(toward * 16, toward * 22))
    frame = frame_of([row], lat, height_m=[11.0], kind=["deciduous"])
    horizon = seen(frame, lat=lat)
    point = light_received(
        horizon, clear_sky_steps(horizon_at(frame, LON, lat, 1.0).place), YEAR
    ).crop_months.beam_share
    from tunnelsite.sun.position import Observer

    sun = season_sun(clear_sky_steps(Observer(lat, LON, 200.0)), YEAR, bare_trees(lat), frame.crowns.kinds)
    inputs = {name: Layer(frame.layers[name], "m", "") for name in ("ground", "surface", "surface_leafless")}
    share = PROCESS(inputs | {"sun": Layer(sun, SUN.unit, SUN.title)}, {"azimuths": 360})["beam_share"].values[80, 80]
    assert 0.6 < point < 0.97
    assert point == pytest.approx(share, abs=0.012)
