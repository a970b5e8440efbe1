"""Day length and the ten-hour part of the year against published values and SPA's own sunrise."""

import datetime

import numpy as np
import pytest
from pvlib import spa

from tunnelsite.sun.day_length import day_length_hours, short_days, year_of_day_lengths
from tunnelsite.sun.position import Observer


def test_fao56_example_8_and_9():
    """[@fao56]: 20 S, decl 0.120 rad: sunset hour angle 1.527 rad, N 11.7 h."""
    hours = float(day_length_hours(-20, np.degrees(0.120), "geometric"))
    assert hours * np.pi / 24 == pytest.approx(1.527, abs=5e-4)
    assert hours == pytest.approx(11.7, abs=0.05)


def test_fao56_rio_daylight():
    """[@fao56]: Rio, May: N = 10.9 h."""
    assert float(
        day_length_hours(-22.9, np.degrees(0.409 * np.sin(2 * np.pi * 135 / 365 - 1.39)), "geometric")
    ) == pytest.approx(10.9, abs=0.05)


def test_salinas():
    """Salinas CA (36.68 N, 121.66 W) below 10 h from 24 Nov 2014 to 17 Jan 2015 [@ten-hours-salinas]. Almanac definition."""
    found = short_days(Observer(36.68, -121.66), winter_of=2014)
    assert found.first == datetime.date(2014, 11, 24)
    assert found.last == datetime.date(2015, 1, 17)
    geometric = short_days(Observer(36.68, -121.66), winter_of=2014, definition="geometric")
    assert geometric.first < datetime.date(2014, 11, 20)  # the definition moves it by six days: it has to be stated


@pytest.mark.parametrize(("definition", "latitude"), [("geometric", 30.84), ("almanac", 32.7)])
def test_latitude_of_the_ten_hour_solstice(definition, latitude):
    assert short_days(Observer(latitude + 0.1, -100), definition=definition).days > 0
    nothing = short_days(Observer(latitude - 0.1, -100), definition=definition)
    assert nothing.first is None and "no day" in nothing.reason


@pytest.mark.parametrize("lat", [-64.0, -45.0, -20.0, 0.0, 30.0, 43.0, 55.0, 65.0])
def test_almanac_definition_against_spa_sunrise(lat):
    midnight = np.datetime64("2025-01-01", "s").astype(np.int64) + np.arange(0, 365, 7) * 86_400
    _, rise, sunset = spa.transit_sunrise_sunset(midnight.astype(float), lat, 0.0, 69, 1)
    ours = year_of_day_lengths(Observer(lat, 0.0))[::7]
    assert np.abs((sunset - rise) / 3600 - ours).max() < 1.5 / 60  # a day's drift of the declination


def test_poles_and_polar_circle():
    for definition in ("geometric", "almanac"):
        lengths = day_length_hours(
            np.array([90.0, 90.0, -90.0, 80.0, 80.0]), np.array([-23.0, 23.0, 23.0, -23.0, 23.0]), definition
        )
        assert lengths.tolist() == [0.0, 24.0, 0.0, 0.0, 24.0]
    assert np.isfinite(year_of_day_lengths(Observer(89.9, 10.0))).all()
    south = short_days(Observer(-45.0, 170.0), winter_of=2025)
    assert south.first.month == 5 and south.last.month in (7, 8)
    assert len(year_of_day_lengths(Observer(40.0, 0.0), year=2024)) == 366
