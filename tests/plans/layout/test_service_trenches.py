"""Trenches from houses to services on open fields, where ways, joins and costs follow by hand."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely

from tests.scan.grounds import features
from tunnelsite.core.grid import covering_grid, local_crs
from tunnelsite.core.site import Frame
from tunnelsite.plans.layout.service_trenches import NO_WAY, service_trenches, trench_costs

TAP = shapely.Point(0.0, 0.0)
# two houses 60 m and 80 m east of the tap, one behind the other seen from there, far from the middle of the frame
HOUSES = [shapely.box(60, -4, 72, 4), shapely.box(80, -4, 92, 4)]


def frame_of(moved: tuple[float, float] = (0.0, 0.0), ground: np.ndarray | None = None, **more) -> Frame:
    """A frame of 1 m cells from 300 m south-west of a spot to 400 m north-east of it, a tap at the spot; own land everywhere."""
    east, north = moved
    crs = local_crs(pyproj.CRS("EPSG:4326"), -78.0, 43.0)
    bounds = (east - 300.0, north - 300.0, east + 400.0, north + 400.0)
    grid = covering_grid(crs, bounds, 1.0, 90.0)
    layers = {"ground": np.zeros(grid.shape, np.float32) if ground is None else ground}
    tap = features([shapely.Point(east, north)], grid.crs, "tap")
    land = np.array([shapely.box(*bounds)], object)
    return Frame(grid, 0.0, layers, {"ground": "m"}, land, ["Field"], -78.0, 43.0, services={"water": tap}, **more)


def moved_by(moved: tuple[float, float]) -> list[shapely.Polygon]:
    return [shapely.transform(house, lambda at: at + np.array(moved)) for house in HOUSES]


@pytest.mark.parametrize("moved", [(0.0, 0.0), (5000.0, 3000.0), (-5000.0, -3000.0)])
def test_trenches_share_a_trunk_unless_each_is_to_have_its_own(moved) -> None:
    frame, houses = frame_of(moved), moved_by(moved)
    near, far = (found[0] for found in service_trenches(frame, houses)[0])
    assert near.joins is None and near.trench.length_m == pytest.approx(60.0, abs=0.5)
    assert far.joins == 0 and far.trench.length_m < 30.0  # round the near house to its trench
    assert shapely.distance(far.line, near.line) < 1e-6 and not shapely.crosses(far.line, houses[0])
    alone = [found[0] for found in service_trenches(frame, houses, shared=False)[0]]
    assert [one.joins for one in alone] == [None, None]
    assert alone[1].trench.length_m == pytest.approx(
        81.0, abs=1.5
    )  # past the near house, whose corner is 4 m to the side
    for one, house in zip(alone, houses, strict=True):
        start, end = (shapely.get_point(one.line, at) for at in (0, -1))
        assert (
            shapely.distance(start, house) < 1e-6 and shapely.distance(end, frame.services["water"].geometry[0]) < 1e-6
        )
        assert one.straight_m == pytest.approx(shapely.distance(house, frame.services["water"].geometry[0]))
        assert one.straight_m - 1e-6 <= one.trench.shortest_m <= one.trench.length_m + 1e-6 and one.outside_m == 0.0


def test_a_metre_costs_what_the_user_says() -> None:
    (found,), _ = service_trenches(frame_of(), HOUSES[:1], {"water": 12.5})
    assert found[0].trench.cost == pytest.approx(12.5 * found[0].trench.length_m)
    (free,), _ = service_trenches(frame_of(), HOUSES[:1], {"power": 3.0})
    assert free[0].trench.cost is None


def test_a_wall_is_gone_round_and_land_of_others_is_counted() -> None:
    wall = features([shapely.box(30, -40, 31, 25)], name="structures")
    frame = frame_of(structures=wall)
    frame.parcels[0] = shapely.box(20, -300, 400, 400)  # the tap lies 20 m beyond the fence
    (found,), _ = service_trenches(frame, HOUSES[:1])
    length = np.hypot(30.5, 25) + np.hypot(29.5, 21)  # over the wall's north end, to the house's corner
    assert found[0].trench.length_m == pytest.approx(length, rel=0.04)
    assert not shapely.intersects(found[0].line, wall.geometry[0])
    assert found[0].outside_m == pytest.approx(
        shapely.length(found[0].line.intersection(shapely.box(-50, -50, 20, 60)))
    )


def test_ground_that_is_not_known_is_not_crossed() -> None:
    frame = frame_of()
    frame.layers["ground"][:, 330:332] = np.nan  # a strip 30 m east of the tap, from end to end
    (found,), _ = service_trenches(frame, HOUSES[:1])
    assert found[0].line is None and found[0].straight_m == pytest.approx(60.0)
    costs = trench_costs(frame, HOUSES[:1], {"water": 2.0})
    assert costs[400, 366] == 2.0 * NO_WAY and costs[400, 310] == pytest.approx(20.0, abs=3.0)
