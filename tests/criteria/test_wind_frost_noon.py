"""Wind, cold air and noon sun as criteria of whole screenings, against cases worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from tests.criteria.doubles import criteria_of, measured
from tests.scan.grounds import features, hills, site
from tunnelsite import screen
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.layers import Layer
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.processes import noon_sun, wind_shelter
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_900.0, 4_700_100.0
HOUSE = House(6.0, 12.0, kind="container")


def settings(**more):
    return settings_from(
        {"halo": "30m", "crop_months": "06-10:06-20", "kind": "container", "top": 3, "azimuths": 8} | more
    )


def hedge(north_edge: float = NORTH, height: float = 6.0):
    """A north-south hedge 4 m wide with its east side at WEST + 24."""
    return features([shapely.box(WEST + 20, NORTH - 115, WEST + 24, north_edge)], name="hedge", height_m=[height])


def measure(result, name: str, east: float, south: float) -> float:
    """The measure of the placement centred nearest to a spot."""
    scan = result.scans[0]
    rows, cols = np.divmod(scan.index, scan.frame.grid.cols)
    along, across = scan.frame.grid.centre(rows, cols)
    lon, lat = scan.frame.grid.lonlat(along, across)
    from pyproj import Transformer

    e, n = Transformer.from_crs(4326, 32617, always_xy=True).transform(lon, lat)
    return float(scan.measures[name][np.argmin(np.hypot(e - WEST - east, n - NORTH + south))])


def test_wind_shelter_behind_a_hedge_by_hand() -> None:
    """H = 6 m: 45 m behind is 7.5 H, shelter 0.75 straight behind; the 45 deg fan looks along longer ways."""
    farm = site(np.full((120, 260), 100.0), obstacles=hedge(), wind=WindRose(np.array([270.0]), np.array([1.0])))
    result = measured(farm, HOUSE, settings(), "wind")
    assert measure(result, "wind", 24 + 45, 60) == pytest.approx(0.75, abs=0.03)
    assert measure(result, "wind", 24 + 20, 60) == 1.0
    assert measure(result, "wind", 10, 60) == 0.0
    fan = screen(
        site(np.full((120, 260), 100.0), obstacles=hedge(), wind=WindRose.prevailing(270)), HOUSE, settings=settings()
    )
    ways = [45 / math.cos(math.radians(a)) / 6 for a in (-20, -10, 0, 10, 20)]
    expected = np.mean([1 - 0.5 * (way - 5) / 5 for way in ways])
    assert measure(fan, "wind", 24 + 45, 60) == pytest.approx(expected, abs=0.03)
    other = measured(
        site(np.full((120, 260), 100.0), obstacles=hedge(), wind=WindRose.prevailing(90)), HOUSE, settings(), "wind"
    )
    assert measure(other, "wind", 24 + 45, 60) == 0.0
    assert fan.rows[0]["wind_shelter"] is not None and "score_wind" in fan.rows[0]


def test_wind_is_not_assessed_without_wind_or_without_knowing_what_stands() -> None:
    ground = hills(70, 80, 3)
    for more in ({"wind": WindRose.prevailing(270)}, {"obstacles": hedge()}):
        assert "wind" not in criteria_of(site(ground, **more), settings())
    with pytest.raises(UsageError, match="wind"):
        criteria_of(site(ground), settings(weight={"wind": 2}))


def test_the_same_wind_whichever_way_the_grid_is_turned() -> None:
    """A true direction stays a true direction on the grid of another ridge bearing."""
    farm = site(100 + 0.001 * np.mgrid[0:200, 0:200][1], obstacles=hedge(), wind=WindRose.prevailing(270))
    result = measured(farm, HOUSE, settings(bearing_tolerance=40, bearing_step=40), "wind")
    found = {}
    for scan in result.scans:
        grid = scan.frame.grid
        east, north = grid.to_map(*grid.centre(*np.divmod(scan.index, grid.cols)))
        spot = np.argmin(np.hypot(east + 45, north - 40))  # from the middle of the farm: about 28 m behind the hedge
        assert np.hypot(east + 45, north - 40)[spot] < 1
        found[grid.bearing_deg] = float(scan.measures["wind"][spot])
    assert len(found) == 3
    assert max(found.values()) - min(found.values()) < 0.05 and 0.5 < min(found.values()) < 1.0


def test_winds_as_text() -> None:
    away, share = wind_shelter.winds("270:3, 0, 450:1")
    assert away.tolist() == [270, 0, 90] and share == pytest.approx([0.6, 0.2, 0.2])
    again = wind_shelter.winds(WindRose.prevailing(5.0).text())
    assert again[0].tolist() == [345, 355, 5, 15, 25] and again[1] == pytest.approx([0.2] * 5)
    for wrong in ("", "west", "270:-1", "10:0", "nan"):
        with pytest.raises(UsageError):
            wind_shelter.winds(wrong)


def test_cold_air_in_a_hollow() -> None:
    """A bowl 3 m deep and 90 m wide on a slope of 1 %: its middle is a frost pocket, the open slope is none."""
    r, c = np.mgrid[0:160, 0:220]
    ground = 100 + 0.01 * c - 3.0 * np.clip(1 - (np.hypot(r - 80, c - 80) / 45) ** 2, 0, None)
    result = measured(
        site(ground), HOUSE, settings(rubric={"ponding": {"limit": "none"}, "drainage": {"limit": "none"}}), "cold_air"
    )
    assert 2.0 < measure(result, "cold_air", 80, 80) < 3.0
    assert measure(result, "cold_air", 180, 60) == pytest.approx(0, abs=1e-3)
    marks = next(judge.rubric for judge in result.judges if judge.id == "cold_air").marks(
        np.array([0.0, 0.3, 1.65, 3, 4, np.nan])
    )
    assert marks[:5] == pytest.approx([1, 1, 0.5, 0, 0]) and np.isnan(marks[5])


@pytest.mark.parametrize("lat", [66.0, 52.0, 42.0, 30.0, 20.0, 5.0, 0.0, -10.0, -35.0, -55.0, -66.0])
def test_noon_sun_against_spa(lat) -> None:
    """Highest sun of the solstice by NREL SPA (pvlib), to 0.02 deg, and the side it stands on."""
    import pandas as pd
    from pvlib import solarposition

    day = "2025-12-21" if lat >= 0 else "2025-06-21"
    times = pd.date_range(f"{day} 11:00", f"{day} 13:00", freq="10s", tz="UTC")
    path = solarposition.spa_python(times, lat, 0.0, pressure=101_000, temperature=10)
    top = path.iloc[int(np.argmax(path["apparent_elevation"]))]
    azimuth, elevation = noon_sun.noon_sun(lat)
    assert elevation == pytest.approx(top["apparent_elevation"], abs=0.02)
    assert math.cos(math.radians(azimuth - top["azimuth"])) > 0.999
    assert azimuth == (180.0 if lat >= 0 else 0.0)


def test_noon_altitudes_of_the_shared_table() -> None:
    """Dec 21 noon altitude without refraction: 32 N 34.56, 40 N 26.56, 49 N 17.56 (derived); refraction lifts by < 0.1."""
    for lat, plain in ((32, 34.56), (35, 31.56), (40, 26.56), (44, 22.56), (49, 17.56)):
        assert 0 < noon_sun.noon_sun(lat)[1] - plain < 0.1


def test_polar_night_has_no_noon() -> None:
    assert noon_sun.noon_sun(68.0) is None and noon_sun.noon_sun(-80.0) is None
    assert noon_sun.noon_sun(67.0)[1] > 0  # refraction lifts it over the horizon
    flat = Layer(np.zeros((5, 5), np.float32), "m", "")
    made = noon_sun.PROCESS({"ground": flat, "surface": flat}, {"latitude_deg": 75.0})["noon_sun"]
    assert np.isnan(made.values).all() and "Polar night" in made.title


def test_noon_shadow_of_a_wall() -> None:
    """40 N, wall 6 m high along the south: shadow 6 m x 2.00 (derived: 26.56 deg) from 1 m up: 5 / tan(26.6) = 10.0 m."""
    wall = np.zeros((60, 40), np.float32)
    wall[50, :] = 6.0
    ground = np.zeros_like(wall)
    layers = {"ground": Layer(ground, "m", ""), "surface": Layer(wall, "m", "")}
    lit = noon_sun.PROCESS(layers, {"latitude_deg": 40.0})["noon_sun"].values[:, 20]
    assert (lit[40:50] == 0).sum() == pytest.approx(10, abs=1) and (lit[:38] == 1).all() and (lit[51:] == 1).all()
    south = noon_sun.PROCESS(layers, {"latitude_deg": -40.0})["noon_sun"].values[:, 20]
    assert (south[51:] == 0).sum() == 9 and (south[:50] == 1).all()
    turned = {"ground": Layer(ground.T.copy(), "m", ""), "surface": Layer(wall[::-1].T.copy(), "m", "")}
    west = noon_sun.PROCESS(turned, {"latitude_deg": 40.0, "bearing_deg": 0.0})["noon_sun"].values[20]
    assert (west == 0).sum() == (lit == 0).sum()


def test_noon_share_of_the_footprint() -> None:
    result = screen(site(np.full((70, 80), 100.0)), HOUSE, settings=settings())
    assert result.rows[0]["noon_clear_dec"] == 1.0
    assert "score_noon" not in result.rows[0]  # weight 0: `sun` counts the noon already


def test_crowned_ground_is_wanted_and_a_dished_floor_is_not() -> None:
    """Centre 0.1 m above the long sides across the ridge: crown +0.1 and full marks; 0.1 m below: -0.1 and a quarter (by hand)."""
    rows = np.mgrid[0:120, 0:120][0]
    marks, crowns = [], []
    for sign in (1, 0, -1):
        ground = 100 - sign * 0.1 * ((rows - 60) / 3.0) ** 2  # the house is 6 m wide
        result = measured(site(ground), HOUSE, settings(shift="0m", rubric={"ponding": {"limit": "none"}}), "crown")
        scan = result.scans[0]
        middle = np.flatnonzero(
            scan.index == (scan.frame.grid.rows // 2) * scan.frame.grid.cols + scan.frame.grid.cols // 2
        )[0]
        crown = next(judge.rubric for judge in result.judges if judge.id == "crown")
        crowns.append(float(scan.measures["crown"][middle]))
        marks.append(float(crown.marks(np.array(crowns[-1]))))
    assert crowns == pytest.approx([0.1, 0.0, -0.1], abs=0.01)
    assert marks == pytest.approx([1.0, 0.75, 0.25], abs=0.05)
