"""World Magnetic Model 2025 against NOAA/NCEI's own test values."""

from __future__ import annotations

import datetime

import pytest

from tunnelsite.plans.stakeout.bearings import declination

# year, km above WGS 84, latitude, longitude, declination [deg]: [@wmm2025-tests].
TEST_VALUES = [
    (2025.0, 0, 80, 0, 1.28),
    (2025.0, 0, 0, 120, -0.16),
    (2025.0, 0, -80, 240, 68.78),
    (2025.0, 100, 80, 0, 0.85),
    (2025.0, 100, 0, 120, -0.15),
    (2025.0, 100, -80, 240, 68.21),
    (2027.5, 0, 80, 0, 2.59),
    (2027.5, 0, 0, 120, -0.24),
    (2027.5, 0, -80, 240, 68.49),
    (2027.5, 100, 80, 0, 2.16),
    (2027.5, 100, 0, 120, -0.23),
    (2027.5, 100, -80, 240, 67.93),
]


@pytest.mark.parametrize(("year", "km", "lat", "lon", "d"), TEST_VALUES)
def test_our_declination_is_the_published_one(year, km, lat, lon, d) -> None:
    # 2027.5 falls at noon of 2 July; the day's start is half a day off, far below the tolerance.
    day = datetime.date(2025, 1, 1) if year == 2025.0 else datetime.date(2027, 7, 2)
    assert declination(lon, lat, 1000.0 * km, day).declination_deg == pytest.approx(d, abs=0.01)


def test_yearly_change_is_the_published_difference() -> None:
    # Derived from two published rows at 80 N, 0 E: (2.59 - 1.28) / 2.5 years, each rounded to 0.01.
    found = declination(0, 80, 0, datetime.date(2026, 4, 1))
    assert found.change_deg_per_year == pytest.approx((2.59 - 1.28) / 2.5, abs=0.01)
