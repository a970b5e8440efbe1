"""Light of the months at one point: which of them count as crop months, and the land beyond the frame."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scan.grounds import hills, site
from tests.scan.test_far_ground import far_with_ridge
from tunnelsite.desk.point_light import PointLight
from tunnelsite.screening.layers import framed
from tunnelsite.settings.model import settings_from
from tunnelsite.sun.season import crop_month_of


def light_of(crop_months: str, far_dem=None) -> tuple[PointLight, float, float]:
    """The light of a small farm, and the longitude and latitude of its middle."""
    settings = settings_from({"halo": "20m", "crop_months": crop_months, "far_reach": "12km"})
    land = site(hills(100, 120, 3), far_dem=far_dem)
    frame = framed(land, settings, 90.0)
    lon, lat = (float(value) for value in frame.grid.lonlat(0.0, 0.0))
    return PointLight(land, frame, settings), lon, lat


@pytest.mark.parametrize(
    ("crop_months", "judged"),
    [
        ("10-20:11-10", ["Oct", "Nov"]),  # neither holds the middle of its month
        ("02-14:02-20", ["Feb"]),
        ("12-01:01-05", ["Dec"]),  # too few days of January to be judged by itself
        ("10-01:04-30", ["Jan", "Feb", "Mar", "Apr", "Oct", "Nov", "Dec"]),
    ],
)
def test_crop_months_are_those_that_a_run_judges(crop_months: str, judged: list[str]) -> None:
    light, lon, lat = light_of(crop_months)
    found = light.months_at(lon, lat)
    assert [one["name"] for one in found["months"] if one["crop"]] == judged
    assert found["words"] != "no sun in the crop months"
    ends = tuple(tuple(int(part) for part in day.split("-")) for day in crop_months.split(":"))
    assert sorted({month for month in crop_month_of(ends).tolist() if month}) == [
        one["month"] for one in found["months"] if one["crop"]
    ]


def test_land_beyond_the_frame_shades_the_months_and_the_chart() -> None:
    """A ridge 2,000 m high 5 km south hides what stands below 21.8 degrees of the sun of December (24 at noon); the frame alone shows none of it."""
    far, away = far_with_ridge()
    (shaded, lon, lat), (bare, *_) = light_of("10-01:04-30", far), light_of("10-01:04-30")
    with_ridge, without = shaded.shares(lon, lat), bare.shares(lon, lat)
    assert without[11] > 0.9 and with_ridge[11] < 0.8 and with_ridge[5] == pytest.approx(without[5], abs=0.01)
    horizon = shaded.horizon(lon, lat, np.array([150.0, 180.0, 210.0]))
    assert horizon.elevation_deg[1] == pytest.approx(np.degrees(np.arctan(1999.0 / away)), abs=0.3)
    assert shaded.months_at(lon, lat)["darkest"] == 12
    assert shaded.in_months("12-01:12-31").shares(lon, lat) == with_ridge
