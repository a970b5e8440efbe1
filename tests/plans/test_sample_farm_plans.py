"""Plans on the invented sample farm: what was planted is what a plan finds."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import shapely

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import geographic_wkt, transformer
from tunnelsite.core.house import House, Pad
from tunnelsite.io.read.site import read_site
from tunnelsite.plans.drainage.plan import drainage_plan
from tunnelsite.plans.grading.error import earthwork_error
from tunnelsite.plans.grading.plan import grading_plan
from tunnelsite.plans.place import PlacedHouse
from tunnelsite.plans.site_limits import SiteLimits
from tunnelsite.scan.localise import frame_grid, localised

FOLDER = Path(__file__).resolve().parents[2] / "sample_data"


@pytest.fixture(scope="module")
def farm():
    """The farm on its local grid, and what was planted."""
    site = read_site(str(FOLDER / "dem.tif"), str(FOLDER / "parcels.gpkg"))
    frame = localised(site, frame_grid(site, bearing_deg=90, cell_m=None, halo_m=1000))
    return frame, json.loads((FOLDER / "truths.json").read_text("ascii"))


def at(frame, spot) -> PlacedHouse:
    to_grid = transformer(geographic_wkt(frame.grid.crs_wkt), frame.grid.crs_wkt)
    east, north = to_grid.transform(spot["lon"], spot["lat"])
    house = House.parse("30x96ft")
    row, col = (frame.grid.north_m - north) // frame.grid.cell_m, (east - frame.grid.west_m) // frame.grid.cell_m
    return PlacedHouse(frame.grid, int(row), int(col), house, Pad.around(house, 1.0))


def test_terrace_needs_only_its_own_noise_levelled(farm) -> None:
    """Planted at 0.10 % and 0.30 %, 3.5 cm rms of error: mean |error| over the pad is the earth to move."""
    frame, truths = farm
    place = at(frame, truths["terrace"]["centre"])
    bench = frame.parcels[frame.parcel_names.index("Lark Bench")]
    plan = grading_plan(frame.ground, place, None, SiteLimits(bench, bench))
    assert plan.pad.moved_m3 < 0.8 * 0.035 * place.pad.area_m2  # mean of |e| is 0.8 sigma, less what the plane takes up
    assert plan.slopes.cut_m3 + plan.slopes.fill_m3 < 0.5
    assert plan.over_parcel_m2 == pytest.approx(0.0)
    spread = earthwork_error(plan, ErrorModel(0.035, 4.0), draws=40)
    # The planted terrace needs no cut, so what is planned without a word on errors is all error: told of them the plan leaves most
    # of it out, and the interval reaches down to little.
    judged = grading_plan(frame.ground, place, None, SiteLimits(bench, bench), ErrorModel(0.035, 4.0))
    assert judged.cut_m3 < 0.25 * plan.cut_m3
    assert spread.cut_m3.low < 0.25 * plan.cut_m3 and spread.cut_m3.inflation < 0


def test_a_swale_below_a_slope_keeps_its_water_off_the_pad(farm) -> None:
    frame, _ = farm
    plan = grading_plan(frame.ground, at(frame, {"lon": -78.1470, "lat": 43.0070}))
    found = drainage_plan(plan)
    assert found.inflows_before[0].area_m2 > 10_000
    assert not found.inflows_after
    assert all(arm.daylight for arm in found.arms)
    assert found.intercepted_m2 > 10_000
    assert found.gains  # what it diverts leaves somewhere else
    assert found.border_after.area_m2.sum() == found.border_before.area_m2.sum()
    assert not any(shapely.intersects(arm.line, plan.outline) for arm in found.arms)


def test_unknown_corner_is_refused(farm) -> None:
    frame, _ = farm
    place = at(frame, {"lon": -78.1540, "lat": 43.0030})
    with pytest.raises(InputRefused):
        grading_plan(frame.ground, place)
