"""Ties to fixed points, round offsets and the longitude and latitude of stakes."""

from __future__ import annotations

import pyproj
import pytest

from tests.io.stake_sheet_example import example_sheet
from tunnelsite.core.errors import UsageError
from tunnelsite.io.formats.stake_page import page_html
from tunnelsite.plans.stakeout.plan import _fixed_points
from tunnelsite.plans.stakeout.sheet import FixedPoint

BARN = FixedPoint("barn <corner>", -75.6004, 42.4003)


@pytest.mark.parametrize("bearing_deg", [90.0, 37.0])
def test_ties_are_geodesic_distances(bearing_deg) -> None:
    """Against the geodesic on the ellipsoid (Karney 2013, as in pyproj.Geod): within 0.1 mm on a farm."""
    sheet = example_sheet(bearing_deg=bearing_deg, fixed=(BARN,))
    corners = {point.label: point for point in sheet.of_kind("corner")}
    assert len(sheet.ties) == len(corners) == 4
    for tie in sheet.ties:
        corner = corners[tie.corner]
        away = pyproj.Geod(ellps="WGS84").inv(BARN.lon_deg, BARN.lat_deg, corner.lon_deg, corner.lat_deg)[2]
        assert tie.distance_m == pytest.approx(away, abs=1e-3)


@pytest.mark.parametrize(("size", "offset_m", "first"), [("30x96ft", 5 * 0.3048, "ft"), ("9x30m", 1.5, "m")])
def test_offsets_are_round_in_the_users_unit_and_stand_first(size, offset_m, first) -> None:
    sheet = example_sheet(size=size, fixed=(BARN,))
    far = max(point.along_m for point in sheet.of_kind("offset"))
    assert far - sheet.pad_length_m / 2 == pytest.approx(offset_m)
    page = page_html(sheet)
    assert "Longitude and latitude" in page and f"{sheet.points[0].lat_deg:.7f}" in page
    assert "barn &lt;corner&gt;" in page and "barn <corner>" not in page
    ties = page.split("Ties to fixed points")[1].split("</table>")[0]
    assert (" ft" in ties.split(" (")[0]) == (first == "ft")


@pytest.mark.parametrize("text", ["barn", "=1,2", "barn=1", "barn=1,2,3", "barn=200,10", "barn=a,b"])
def test_a_point_that_is_none_is_refused(text) -> None:
    with pytest.raises(UsageError):
        _fixed_points([text])


def test_a_point_beyond_any_tape_is_refused() -> None:
    with pytest.raises(UsageError, match="away"):
        example_sheet(fixed=(FixedPoint("far", -75.6, 42.5),))
