"""Bearings of the ridge: signs, refusals and an independent check of convergence by geodesics."""

from __future__ import annotations

import datetime
import math

import pyproj
import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.plans.stakeout.bearings import convergence_deg, decimal_year, declination, ridge_bearings

DAY = datetime.date(2026, 11, 25)
SPOT = (-75.6, 42.4)


@pytest.mark.parametrize(
    ("code", "lon", "lat"),
    [
        (26918, -75.6, 42.4), (26918, -77.9, 42.4), (32616, -89.7, 42.9), (2263, -73.9, 40.7), (5070, -120.0, 45.0),
        (3035, 24.0, 60.0), (32756, 151.2, -33.9), (3413, -100.0, 70.0),
    ],
)  # fmt: skip
def test_convergence_is_the_true_bearing_of_a_step_to_grid_north(code: int, lon: float, lat: float) -> None:
    # Independent of PROJ's factors: a short step along grid north, its azimuth by Karney's geodesic. Not conformal
    # systems (5070, 3035)
    # stretch east and north unlike, so there the meridian on the map is compared instead.
    crs = pyproj.CRS(code)
    to_map = pyproj.Transformer.from_crs(crs.geodetic_crs, crs, always_xy=True)
    geod = crs.get_geod()
    if {axis.direction.lower() for axis in crs.axis_info} != {"east", "north"}:
        with pytest.raises(UsageError, match="axes"):
            convergence_deg(crs, lon, lat)
        return
    end = geod.fwd(lon, lat, 0.0, 1.0)
    start_map, end_map = to_map.transform(lon, lat), to_map.transform(end[0], end[1])
    meridian = math.degrees(math.atan2(end_map[0] - start_map[0], end_map[1] - start_map[1]))
    assert convergence_deg(crs, lon, lat) == pytest.approx(-meridian, abs=2e-5)
    if code in (26918, 32616, 2263, 32756):
        back = to_map.transform(
            start_map[0], start_map[1] + 1.0 / crs.axis_info[0].unit_conversion_factor, direction="INVERSE"
        )
        azimuth, _, _ = geod.inv(lon, lat, *back)
        assert convergence_deg(crs, lon, lat) == pytest.approx(azimuth, abs=2e-5)


def test_grid_north_lies_east_of_true_north_east_of_the_central_meridian_in_the_north() -> None:
    assert convergence_deg(pyproj.CRS(32618), -74.0, 42.0) > 0 > convergence_deg(pyproj.CRS(32618), -76.0, 42.0)
    assert convergence_deg(pyproj.CRS(32718), -74.0, -42.0) < 0 < convergence_deg(pyproj.CRS(32718), -76.0, -42.0)


def test_bearings_from_the_three_norths_hang_together() -> None:
    found = ridge_bearings(90.0, SPOT, 400.0, pyproj.CRS(26918), DAY)
    assert found.grid_deg == pytest.approx(90.0 - found.convergence_deg)
    assert found.magnetic_deg == pytest.approx(90.0 - found.declination.declination_deg)
    # Western New York: grid north west of true, magnetic north far west of it, so both bearings are larger than 90.
    assert found.grid_deg > 90.3 and found.magnetic_deg > 100
    assert "WMM2025" in found.declination.words and "2026-11-25" in found.declination.words
    assert "2029-12-31" in found.declination.words and "west" in found.declination.words


def test_bearings_stay_on_the_circle() -> None:
    found = ridge_bearings(0.1, (-74.0, 42.0), 0.0, pyproj.CRS(32618), DAY)
    assert 359 < found.grid_deg < 360 and 0 <= found.magnetic_deg < 360


def test_without_a_day_no_compass_bearing_is_made_up() -> None:
    found = ridge_bearings(90.0, SPOT, 400.0, pyproj.CRS(26918))
    assert found.magnetic_deg is None and "no day was given" in " ".join(found.notes)


def test_without_a_grid_no_grid_bearing_is_made_up() -> None:
    for code in (4326, 2048):  # degrees; axes west and south
        spot = (20.0, -33.0) if code == 2048 else SPOT
        found = ridge_bearings(90.0, spot, 400.0, pyproj.CRS(code), DAY)
        assert found.grid_deg is None and found.convergence_deg is None
        assert "no grid bearing" in " ".join(found.notes)


@pytest.mark.parametrize("day", [datetime.date(2031, 6, 1), datetime.date(2030, 1, 1), datetime.date(2024, 12, 31)])
def test_the_magnetic_model_is_never_extrapolated(day: datetime.date) -> None:
    with pytest.raises(UsageError, match="2025-01-01 to 2029-12-31") as caught:
        declination(*SPOT, 400.0, day)
    assert caught.value.exit_status == 2


@pytest.mark.parametrize("day", [datetime.date(2025, 1, 1), datetime.date(2029, 12, 31)])
def test_the_whole_life_of_the_model_is_served(day: datetime.date) -> None:
    found = declination(*SPOT, 400.0, day)
    assert math.isfinite(found.declination_deg) and 0.2 < found.error_deg < 1 and abs(found.change_deg_per_year) < 1


def test_no_compass_at_a_magnetic_pole() -> None:
    with pytest.raises(UsageError, match="for a compass"):
        declination(139.0, 85.8, 0.0, DAY)  # near the north dip pole of 2025, where the model says so itself
    assert "doubtful" in declination(-110.0, 76.0, 0.0, DAY).note


@pytest.mark.parametrize("place", [(0, 91, 0), (400, 0, 0), (0, 0, 1e7), (math.nan, 0, 0), (0, 0, math.nan)])
def test_impossible_places_are_refused(place: tuple[float, float, float]) -> None:
    with pytest.raises(UsageError):
        declination(*place, DAY)


def test_longitudes_of_both_conventions_agree() -> None:
    assert declination(240, -80, 0, DAY).declination_deg == declination(-120, -80, 0, DAY).declination_deg


def test_decimal_years_count_the_days_of_their_year() -> None:
    assert decimal_year(datetime.date(2028, 1, 1)) == 2028.0
    assert decimal_year(datetime.date(2028, 12, 31)) == pytest.approx(2028 + 365 / 366)
    assert decimal_year(datetime.date(2027, 7, 2)) == pytest.approx(2027 + 182 / 365)
