"""Light at a point: by brute force, at its limits, in every part of the world; weather file against its own columns."""

import pathlib

import numpy as np
import pvlib
import pytest

from tests.sun.horizons import flat_horizon
from tunnelsite.core.horizon import Horizon
from tunnelsite.core.sources import keys_of, source_words
from tunnelsite.io.read.weather import read_weather
from tunnelsite.sun.crops import COVERS, CROP_BANDS, against_band, daily_light_integral, default_transmission
from tunnelsite.sun.irradiance import clear_sky_steps, weather_steps
from tunnelsite.sun.position import Observer, daylight_positions, midnight_s, sun_positions
from tunnelsite.sun.received import light_received, midwinter_noon_clear
from tunnelsite.sun.weather_fit import distance_km

WINTER = ((10, 1), (4, 30))
YEAR = ((1, 1), (12, 31))
FARM = Observer(43.0, -78.0, 200.0)
# Typical-year file that pvlib carries (NREL TMY3, Greensboro NC), read as any user's file.
TMY3 = pathlib.Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


@pytest.fixture(scope="module")
def steps():
    return clear_sky_steps(FARM)


def test_flat_and_closed(steps):
    opened = light_received(flat_horizon(), steps, WINTER)
    assert opened.crop_months.beam_share == opened.crop_months.total_share == 1.0
    closed = light_received(Horizon(np.array([0.0]), np.array([90.0])), steps, WINTER)
    assert closed.crop_months.total_kwh == pytest.approx(0.0, abs=1e-12)
    assert closed.crop_months.total_share == pytest.approx(0.0, abs=1e-12)


def test_by_brute_force(steps):
    rng = np.random.default_rng(5)
    horizon = Horizon(np.arange(0, 360, 15.0), rng.uniform(0, 40, 24))
    found = light_received(horizon, steps, WINTER)
    beam = diffuse = 0.0
    for k in range(len(steps.day)):
        if not (steps.day[k] >= 274 or steps.day[k] <= 120):
            continue
        turn = steps.azimuth_deg[k] / 15.0
        low, high = horizon.elevation_deg[int(turn) % 24], horizon.elevation_deg[(int(turn) + 1) % 24]
        if steps.elevation_deg[k] > low + (high - low) * (turn % 1):
            beam += steps.beam_wh[k]
        diffuse += steps.diffuse_wh[k] * np.mean(np.cos(np.radians(horizon.elevation_deg)) ** 2)
    assert found.crop_months.beam_kwh == pytest.approx(beam / 1000, rel=1e-12)
    assert found.crop_months.diffuse_kwh == pytest.approx(diffuse / 1000, rel=1e-9)
    assert sum(month.beam_kwh for month in found.months) == pytest.approx(
        light_received(horizon, steps, YEAR).crop_months.beam_kwh, rel=1e-9
    )


@pytest.mark.parametrize("year", [1980, 2025, 2060])
def test_instants_passed_over_are_nights(year):
    """SPA at every instant, all over the earth: whenever the sun is up its place is the same to the bit."""
    for lat, lon in zip(np.linspace(-90, 90, 13), np.linspace(-180, 180, 13), strict=True):
        seconds = (midnight_s(np.arange(1, 366, 8), lon, year)[:, None] + np.arange(300, 86400, 1200)).ravel()
        place = Observer(lat, lon, 300.0)
        (azimuth, elevation), (found_azimuth, found) = sun_positions(seconds, place), daylight_positions(seconds, place)
        up = elevation > 0
        assert np.array_equal(up, found > 0)
        assert np.array_equal(elevation[up], found[up]) and np.array_equal(azimuth[up], found_azimuth[up])
        assert 0.3 < np.mean(found > -90) < 0.7 and elevation[found == -90].max() < -3


def test_some_days_are_those_days_of_the_year(steps):
    some = clear_sky_steps(FARM, of_days=[*range(274, 366), *range(1, 121)])
    inside = np.isin(steps.day, some.day)
    assert set(some.day) == {*range(274, 366), *range(1, 121)}
    for name in ("azimuth_deg", "elevation_deg", "month", "day", "beam_wh", "diffuse_wh"):
        assert np.array_equal(getattr(some, name), getattr(steps, name)[inside])


def test_the_year_of_one_place_is_reckoned_once_and_nobody_can_change_it():
    steps = clear_sky_steps(FARM)
    assert clear_sky_steps(FARM) is steps
    with pytest.raises(ValueError, match="read-only"):
        steps.beam_wh[0] = 1.0


@pytest.mark.parametrize("lat", [-90.0, -78.0, -43.0, -10.0, 0.0, 10.0, 43.0, 67.5, 80.0, 90.0])
def test_no_surprises_anywhere(lat):
    found = light_received(flat_horizon(), clear_sky_steps(Observer(lat, 170.0), 60), YEAR)
    for month in found.months:
        assert (month.beam_share is None) == bool(month.reason)
        assert month.beam_share in (None, 1.0)
        assert month.open_beam_kwh >= 0 and month.open_diffuse_kwh >= 0
    assert found.crop_months.total_share == 1.0
    assert any(month.reason == "the sun does not rise" for month in found.months) == (abs(lat) >= 78)
    share, reason = midwinter_noon_clear(flat_horizon(), Observer(lat, 170.0))
    assert (share is None) == bool(reason) == (abs(lat) > 75)


def test_hemispheres_mirror(steps):
    """A wall to the south takes in the north what a wall to the north takes in the south, half a year apart."""
    azimuth = np.arange(0, 360, 1.0)
    south_wall = np.degrees(np.arctan(np.tan(np.radians(30)) * np.maximum(np.cos(np.radians(azimuth - 180)), 0)))
    north_wall = np.roll(south_wall, 180)
    north = light_received(Horizon(azimuth, south_wall), clear_sky_steps(Observer(43, 0)), YEAR)
    south = light_received(Horizon(azimuth, north_wall), clear_sky_steps(Observer(-43, 0)), YEAR)
    assert north.crop_months.beam_share == pytest.approx(south.crop_months.beam_share, abs=0.02)
    assert north.months[11].beam_share == pytest.approx(south.months[5].beam_share, abs=0.05)
    assert north.months[5].beam_share == pytest.approx(south.months[11].beam_share, abs=0.05)
    assert north.months[11].beam_share < 0.35 < 0.9 < north.months[5].beam_share


@pytest.mark.parametrize(("top", "share"), [(23.0, 1.0), (24.9, 0.0)])
def test_midwinter_noon(top, share):
    """At 43 N the sun culminates between 23.6 and 25.2 deg in December."""
    found, reason = midwinter_noon_clear(Horizon(np.array([0.0]), np.array([top])), FARM)
    assert reason == ""
    assert found == share if share else found < 0.1


def test_weather_file_is_read_at_the_right_hour():
    """The file's own extraterrestrial column (NREL/TP-581-43156) is the sun in the right hour: an hour more or less would not fit."""
    from pvlib import iotools

    weather = read_weather(TMY3)
    top = iotools.read_tmy3(TMY3, map_variables=False)[0]["ETR (W/m^2)"].to_numpy()
    error = {}
    for shift in (-3600, 0, 3600):
        seconds = (weather.start_s[:, None] + shift + np.arange(5, 60, 10) * 60).ravel()
        elevation = sun_positions(seconds, Observer(weather.lat_deg, weather.lon_deg, weather.altitude_m))[1].reshape(
            -1, 6
        )
        distance = 1 + 0.033 * np.cos(2 * np.pi * weather.day / 365)
        ours = 1367.0 * distance * np.maximum(np.sin(np.radians(elevation)), 0).mean(axis=1)
        error[shift] = float(np.sqrt(np.mean((ours - top) ** 2)))
    assert error[0] < 12.0
    assert min(error[-3600], error[3600]) > 8 * error[0]


def test_weather_light_closes_with_the_files_own_sum():
    weather = read_weather(TMY3)
    found = weather_steps(weather, Observer(weather.lat_deg, weather.lon_deg, weather.altitude_m))
    assert found.beam_wh.sum() + found.diffuse_wh.sum() == pytest.approx(weather.global_wh.sum(), rel=5e-3)
    assert not any("km from the site" in note for note in found.notes)
    assert any("km from the site" in note for note in weather_steps(weather, FARM).notes)


def test_distance():
    assert distance_km(Observer(0, 0), Observer(0, 1)) == pytest.approx(111.19, abs=0.01)
    assert distance_km(Observer(10, 179.5), Observer(10, -179.5)) == pytest.approx(109.5, abs=0.1)


def test_daily_light_integral():
    """1 MJ of global radiation is 0.45 x 4.57 = 2.06 mol of PAR [@par-share] [@mol-per-mj]."""
    assert daily_light_integral(1.0) == pytest.approx(2.0565)
    assert daily_light_integral(10.0, 0.8) == pytest.approx(16.452)
    bands = {band.name: band for band in CROP_BANDS}
    assert [against_band(x, bands["leafy greens and herbs"]) for x in (11.9, 12.0, 60.0)] == [
        "below",
        "inside",
        "inside",
    ]
    assert [against_band(x, bands["tomato"]) for x in (19.9, 22.0, 30.1)] == ["below", "inside", "above"]
    assert all(keys_of(item.source) for item in (*CROP_BANDS, *COVERS))
    for cover in COVERS:
        share, source = default_transmission(cover.name)
        assert share == pytest.approx(0.875 * cover.transmission) and source_words(cover.source) in source
