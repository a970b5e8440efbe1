"""An invented house on an invented slope, put together by the code under test."""

from __future__ import annotations

import datetime

import pyproj

from tunnelsite.core.grid import covering_grid, local_crs
from tunnelsite.core.house import House, Pad
from tunnelsite.core.stakes import DesignPlane
from tunnelsite.plans.stakeout.sheet import HouseToStake, StakingOptions, stake_sheet


def example_sheet(
    title="North field, house 1", size="30x96ft", bearing_deg=90.0, crs="EPSG:26918", lonlat=(-75.6, 42.4), fixed=()
):
    """A sheet for tests."""
    house = House.parse(size)
    pad = Pad.around(house, 1.5)
    grid = covering_grid(local_crs(pyproj.CRS("EPSG:4326"), *lonlat), (-60, -60, 60, 60), 1.0, bearing_deg)

    def ground_at(along, across):
        return 412.0 + 0.008 * along - 0.011 * across + 0.0006 * across**2

    placed = HouseToStake(grid, 5.0, -3.0, ground_at, "Heights from the elevation model, to be levelled in the field")
    plane = DesignPlane(412.1, 1 / 192, -1 / 192)
    options = StakingOptions(date=datetime.date(2026, 11, 25), fixed_points=fixed)
    return stake_sheet(title, house, pad, placed, plane, pyproj.CRS(crs), options)
