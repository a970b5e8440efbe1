"""What stands on the pad: a drawn thing bars it, however low; a surface model from its limit on."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.scan.grounds import features, site
from tunnelsite import House, screen
from tunnelsite.decisions.explain import explain_everywhere
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_960.0, 4_700_060.0
SETTINGS = {"halo": "10m", "azimuths": 8, "top": 2, "crop_months": "03-01:09-30", "shift": "0m"}
HEDGE = shapely.LineString([(WEST + 40, NORTH - 2), (WEST + 40, NORTH - 58)])


def screened(**more):
    """A level field of 60 x 80 m."""
    ground = 100 - 0.002 * np.mgrid[0:60, 0:80][1]
    return screen(site(ground, west=WEST, north=NORTH, **more), House(5.0, 12.0), settings=settings_from(SETTINGS))


@pytest.mark.parametrize("height_m", [0.3, 1.55, 8.0])
def test_no_pad_lies_on_a_drawn_hedge_and_none_is_pushed_off_farther(height_m: float) -> None:
    result = screened(obstacles=features([HEDGE], name="hedge", height_m=[height_m], width_m=[1.0]))
    scan = result.scans[0]
    outline = shapely.buffer(scan.frame.outlines[0], -1e-6)
    along, across = scan.centre(scan.index)
    u, v = scan.pad.length_m / 2, scan.pad.width_m / 2
    pads = shapely.box(along - u, across - v, along + u, across + v)
    assert not shapely.intersects(pads, outline).any()
    assert 0 < shapely.distance(pads, outline).min() < 1.0
    rejected = {row["rule"]: row for row in result.tables["rejections"].rows}
    assert rejected["obstacles"]["rejected"] > 0 and "take it out of the file" in rejected["obstacles"]["reason"]
    middle = scan.frame.grid.lonlat(*scan.frame.grid.centre(30, 40))
    found = explain_everywhere(result, *map(float, middle))[0]
    assert next(rule.rule for rule in found.broken) == "obstacles" and found.rank is None
    assert "higher" not in found.words() and "would score" in found.words()


def test_clearance_is_told_for_the_pad_and_for_the_house() -> None:
    barn = features([shapely.box(WEST + 30, NORTH - 34, WEST + 40, NORTH - 26)], name="barn")
    result = screened(structures=barn)
    row, scan = result.rows[0], result.scans[0]
    found = explain_everywhere(result, row["lon"], row["lat"])[0]
    rule = next(one for one in found.rules if one.rule == "structures")
    assert rule.limit == pytest.approx(3.6576) and rule.value >= 3.6576 - 1e-3
    assert f"the house itself {row['clearance_m']:.2f} m" in rule.title
    apron = (scan.pad.width_m - scan.house.width_m) / 2
    assert rule.value + apron <= row["clearance_m"] + 1e-6 <= rule.value + apron * 2**0.5 + 2e-6
