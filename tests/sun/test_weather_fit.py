"""Weather files that do not suit the sun: wrong time zones, the other hemisphere, stations far away; right ones pass."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.units import MONTH_DAYS
from tunnelsite.core.weather import Weather
from tunnelsite.sun.irradiance import weather_steps
from tunnelsite.sun.position import Observer, daylight_positions
from tunnelsite.sun.weather_fit import centre_h, dark_share

HOURS = np.arange(8760)


@functools.cache
def year(lat: float, lon: float, zone_h: float) -> Weather:
    """A clear year by plain geometry, each hour the mean over its sunny part: what a right file holds at sunrise and sunset."""
    start = np.datetime64("2025-01-01", "s").astype(np.int64) + HOURS * 3600 - round(zone_h * 3600)
    instants = start[:, None] + (np.arange(6) + 0.5) * 600
    _, elevation = daylight_positions(instants.ravel(), Observer(lat, lon))
    sine = np.sin(np.radians(np.maximum(elevation, 0.0))).reshape(8760, 6)
    beam = np.where(sine > 0, 900 * 0.7 ** (1 / np.maximum(sine, 0.05)) / 0.7, 0.0)
    diffuse = np.where(sine > 0, 60.0, 0.0).mean(axis=1)
    day = HOURS // 24 + 1
    month = np.searchsorted(np.cumsum(MONTH_DAYS), day) + 1
    whole = (beam * sine).mean(axis=1) + diffuse
    return Weather(start, month, day, beam.mean(axis=1), diffuse, whole, lat, lon, 100.0, zone_h, name="year.epw")


STATIONS = [
    (57.2, -2.2, 0.0),
    (36.1, -80.0, -5.0),
    (-34.0, 151.2, 10.0),
    (64.8, -147.9, -9.0),
    (2.0, 101.7, 8.0),
    (-54.8, -68.3, -3.0),
]


@pytest.mark.parametrize("station", STATIONS)
def test_right_files_pass_near_and_far(station) -> None:
    weather = year(*station)
    place = Observer(station[0], station[1], 100.0)
    assert dark_share(weather, place) < 1e-4 and abs(centre_h(weather)) < 0.15
    assert weather_steps(weather, replace(place, lat_deg=place.lat_deg * 0.97)).beam_wh.sum() > 0


WRONG_H = [-12, -6, -3, -2, -1, 1, 2, 3, 6, 11]


@pytest.mark.parametrize(
    ("station", "hours"),
    [*((STATIONS[0], h) for h in WRONG_H), *((one, h) for one in STATIONS[1:3] for h in (-6, -1, 1, 6))],
)
def test_a_wrong_time_zone_is_refused_in_words(station, hours: int) -> None:
    weather = year(*station)
    wrong = replace(weather, start_s=weather.start_s + hours * 3600, utc_offset_h=weather.utc_offset_h - hours)
    with pytest.raises(InputRefused, match=r"sun is down at its station|centred .* the sun's noon") as refused:
        weather_steps(wrong, Observer(station[0], station[1]))
    assert "time zone" in str(refused.value)


@pytest.mark.parametrize("station", [s for s in STATIONS if abs(s[0]) > 30])
def test_a_file_of_the_other_hemisphere_is_refused(station) -> None:
    weather = year(*station)
    with pytest.raises(InputRefused, match=r"km from the site in the other hemisphere"):
        weather_steps(weather, Observer(-station[0], station[1]))
    with pytest.raises(InputRefused, match="sun is down at its station"):  # a lost minus sign
        weather_steps(replace(weather, lat_deg=-weather.lat_deg), Observer(-station[0], station[1]))


def test_a_station_far_to_the_east_is_refused_with_the_distance() -> None:
    weather = year(45.0, 10.0, 1.0)
    assert any("79 km from the site" in note for note in weather_steps(weather, Observer(45.0, 9.0)).notes)
    with pytest.raises(
        InputRefused, match=r"3941 km from the site: \d+\.\d% of its beam falls in hours in which the sun is down"
    ):
        weather_steps(weather, Observer(45.0, 61.0))


def test_half_an_hour_is_noted_and_the_equator_has_no_hemispheres() -> None:
    weather = year(31.0, 77.0, 5.0)  # India keeps 5.5 h; files give whole hours
    assert not any("centred" in note for note in weather_steps(weather, Observer(31.0, 77.0)).notes)
    off = replace(weather, start_s=weather.start_s + 1800)
    assert any("doubt its time zone" in note for note in weather_steps(off, Observer(31.0, 77.0)).notes)
    weather_steps(year(1.0, 103.0, 7.0), Observer(-1.0, 103.0))
