"""A surface model given as the bare ground: doubted first, and no house on a roof."""

from __future__ import annotations

import numpy as np
import shapely

from tests.processes.test_raised_ground import field, town
from tests.scan.grounds import site
from tunnelsite import House, screen
from tunnelsite.scan.localise import frame_grid, localised
from tunnelsite.settings.model import settings_from

GIVEN = {"halo": "10m", "crop_months": "12-01:12-10", "azimuths": 8, "top": 8}
HOUSE = House(6, 15, kind="container")


def test_no_house_stands_on_a_roof_and_the_model_is_doubted() -> None:
    heights, above = town()
    land = site(heights)
    result = screen(land, HOUSE, settings=settings_from(GIVEN))
    assert (
        len(result.doubts) == 1 and "looks like a surface model" in result.doubts[0] and "--surface" in result.doubts[0]
    )
    frame = localised(site(above + 1.0), frame_grid(land, bearing_deg=90, cell_m=None, halo_m=10))
    scan = result.scans[0]
    for choice in result.choices:
        row, col = divmod(int(scan.index[choice.item]), scan.frame.grid.cols)
        under = frame.ground[row - 3 : row + 4, col - 8 : col + 9] + frame.datum_m - 1.0
        assert np.nanmax(under) < 1.0
    assert "heights may be of roofs and crowns" in result.rows[0]["flags"]
    rejected = {row["rule"]: row for row in result.tables["rejections"].rows if row["rejected"]}
    assert rejected["raised"]["reason"] and rejected["raised"]["rejected"] > 1000


def test_one_barn_in_a_terrain_model_is_kept_off_without_a_doubt() -> None:
    ground = field()
    ground[60:90, 60:80] += 6.0
    result = screen(site(ground), HOUSE, settings=settings_from(GIVEN))
    assert not result.doubts and "roofs" not in result.rows[0]["flags"]
    barn = shapely.box(499_900 + 60, 4_700_100 - 90, 499_900 + 80, 4_700_100 - 60)
    assert not result.candidates.geometry.intersects(barn).any()
