"""Meridian convergence against published worked examples."""

from __future__ import annotations

import pyproj
import pytest

from tunnelsite.plans.stakeout.bearings import convergence_deg


def test_snyders_transverse_mercator() -> None:
    # [@snyder-1987]: Clarke 1866, central meridian -75, k0 0.9996, 40.5 N 73.5 W: x 127106.5, y
    # 4484124.4.
    # Convergence 0.97430 deg by PROJ; simple rule difference of longitude x sin(latitude): 0.97417.
    crs = pyproj.CRS("+proj=tmerc +lat_0=0 +lon_0=-75 +k=0.9996 +a=6378206.4 +es=0.00676866 +units=m +type=crs")
    found = convergence_deg(crs, -73.5, 40.5)
    assert found == pytest.approx(0.97430, abs=1e-5)
    place = pyproj.Proj(crs)(-73.5, 40.5)
    assert place == pytest.approx((127106.5, 4484124.4), abs=0.06)


def test_wisconsin_south_state_plane() -> None:
    # [@mahun-convergence] ch. K: NAD 83 Wisconsin South, longitude 89-43-53.76413 W: +0-11-03.9; it does not depend on latitude in a conic.
    lon = -(89 + 43 / 60 + 53.76413 / 3600)
    for lat in (42.6, 42.9064, 43.2):
        found = 3600 * convergence_deg(pyproj.CRS("EPSG:32154"), lon, lat)
        assert found == pytest.approx(11 * 60 + 3.9, abs=0.05)


def test_utm_zone_16() -> None:
    # [@mahun-convergence] ch. L: the same station in UTM zone 16: -1-51-37.6; its latitude 42.906362 N is solved back from that.
    lon = -(89 + 43 / 60 + 53.76403 / 3600)
    found = 3600 * convergence_deg(pyproj.CRS("EPSG:26916"), lon, 42.906362)
    assert found == pytest.approx(-(1 * 3600 + 51 * 60 + 37.6), abs=0.1)
