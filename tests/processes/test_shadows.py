"""Cast shadow and the hillshade that has it: closed form, the sun of a time, north that is not up."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer
from tunnelsite.kernels.terrain.slope import hillshade
from tunnelsite.processes.cast_shadow import PROCESS as SHADOW
from tunnelsite.processes.hillshade_shadowed import PROCESS as SHADED
from tunnelsite.sun.position import Observer, sun_positions, utc_seconds


def wall() -> np.ndarray:
    """Level ground with a wall 10 m tall and 60 m long, one cell thick, running east-west."""
    ground = np.zeros((80, 100), np.float32)
    ground[60, 20:80] = 10.0
    return ground


def run(process, ground, cell=(1.0, 1.0), **parameters):
    (layer,) = process({"ground": Layer(ground, "m", "", cell)}, parameters).values()
    return layer


@pytest.mark.parametrize(("elevation", "length"), [(45.0, 10), (30.0, 17), (20.0, 27)])
def test_the_shadow_is_as_long_as_geometry_says(elevation: float, length: int) -> None:
    """A wall of height H throws H / tan(elevation) with the sun square behind it."""
    shadow = run(SHADOW, wall(), azimuth_deg=180.0, elevation_deg=elevation).values
    dark = np.flatnonzero(shadow[:60, 50] == 1)
    assert length == math.floor(10 / math.tan(math.radians(elevation)) + 1e-9)
    assert dark.max() == 59 and abs(len(dark) - length) <= (elevation == 45.0)  # at 45 deg the tip is a tie
    assert (shadow[61:, 50] == 0).all() and (shadow[:, 5] == 0).all()


def test_no_data_below_the_horizon_and_the_eye() -> None:
    ground = wall()
    ground[3, 4] = np.nan
    night = run(SHADOW, ground, elevation_deg=-1.0)
    assert np.isnan(night.values[3, 4]) and np.nansum(night.values) == night.values.size - 1
    low, high = (run(SHADOW, ground, elevation_deg=30.0, light_height_m=eye).values for eye in (0.0, 5.0))
    assert np.nansum(high) < np.nansum(low)
    with pytest.raises(UsageError, match="square"):
        run(SHADOW, ground, (1.0, 2.0))


def test_the_sun_of_a_time() -> None:
    shadow = run(SHADOW, wall(), when_utc="2027-12-21T17:00Z", latitude_deg=43.0, longitude_deg=-78.0)
    azimuth, elevation = (
        float(v[0]) for v in sun_positions(np.array([utc_seconds("2027-12-21T12:00-05:00")]), Observer(43.0, -78.0))
    )
    assert f"azimuth {azimuth:.2f}, elevation {elevation:.2f}" in shadow.title
    asked = run(SHADOW, wall(), azimuth_deg=azimuth, elevation_deg=elevation)
    assert np.array_equal(shadow.values, asked.values)
    assert elevation == pytest.approx(23.5, abs=0.2) and 170 < azimuth < 180  # a quarter of an hour before noon
    with pytest.raises(UsageError, match="without a place"):
        run(SHADOW, wall(), when_utc="2027-12-21T17:00Z")
    with pytest.raises(UsageError, match=r"without its zone.*write 2027-12-21T17:00Z if it is UTC"):
        run(SHADOW, wall(), when_utc="2027-12-21T17:00", latitude_deg=43.0, longitude_deg=-78.0)
    for wrong in ("21 Dec", "2027-12-21", "2027-13-01T00:00", "1890-01-01T00:00"):
        with pytest.raises(UsageError, match="as 2027-12-21T17:00Z"):
            run(SHADOW, wall(), when_utc=wrong, latitude_deg=0.0, longitude_deg=0.0)


def test_surface_casts_and_ground_receives() -> None:
    ground = np.zeros((80, 100), np.float32)
    inputs = {"ground": Layer(ground, "m", ""), "surface": Layer(wall(), "m", "")}
    shadow = SHADOW(inputs, {"elevation_deg": 45.0})["cast_shadow"].values
    assert shadow[55, 50] == 1 and shadow[65, 50] == 0
    assert SHADED(inputs, {"elevation_deg": 45.0})["hillshade_shadowed"].values[55, 50] == 0


def test_north_that_is_not_up() -> None:
    """A raster turned a quarter: its up is true east, so a sun in the true east stands up the columns."""
    ground = wall()
    turned = run(SHADOW, ground, azimuth_deg=90.0, elevation_deg=30.0, bearing_deg=180.0).values
    assert np.array_equal(turned, run(SHADOW, ground, azimuth_deg=0.0, elevation_deg=30.0).values)
    assert turned[65, 50] == 1 and turned[55, 50] == 0


def test_hillshade_is_the_plain_one_out_of_the_shadow() -> None:
    rng = np.random.default_rng(1)
    ground = (30 * rng.random((40, 50))).astype(np.float32)
    found = run(SHADED, ground, azimuth_deg=135.0, elevation_deg=25.0).values
    plain = hillshade(ground, 1.0, 135.0, 25.0)
    shadow = run(SHADOW, ground, azimuth_deg=135.0, elevation_deg=25.0).values
    assert np.array_equal(np.isnan(found), np.isnan(plain))
    inner = np.isfinite(plain)
    assert np.array_equal(found[inner], np.where(shadow == 1, 0, plain)[inner])
    assert 0.05 < shadow[inner].mean() < 0.95
