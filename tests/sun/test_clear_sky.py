"""The light of a clear sky against pvlib, which it is written after."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pvlib import atmosphere, clearsky, irradiance

from tunnelsite.sun.clear_sky import air_mass, beyond_the_air, clear_sky, daily_turbidity
from tunnelsite.sun.position import Observer, midnight_s, pressure_pa

YEAR = np.arange(1, 366)
EVERYWHERE = [
    *(Observer(43.0, lon) for lon in (-180.0, -179.97, -90.04, 0.0, 90.05, 179.99, 180.0)),
    *(Observer(lat, 11.0) for lat in (-90.0, -89.99, -33.36, 0.0, 0.04, 89.97, 90.0)),
]


@pytest.mark.parametrize("place", EVERYWHERE, ids=lambda place: f"{place.lat_deg},{place.lon_deg}")
def test_turbidity_of_each_day_is_that_of_pvlib(place: Observer) -> None:
    noon = pd.to_datetime(midnight_s(YEAR, place.lon_deg) + 43_200, unit="s", utc=True)
    expected = clearsky.lookup_linke_turbidity(pd.DatetimeIndex(noon), place.lat_deg, place.lon_deg)
    np.testing.assert_allclose(daily_turbidity(YEAR, place), expected.to_numpy(), rtol=1e-12)


@pytest.mark.parametrize("altitude_m", [-400.0, 0.0, 350.0, 4200.0])
def test_light_is_that_of_pvlib(altitude_m: float) -> None:
    numbers = np.random.default_rng(7)
    elevation = np.concatenate([[1e-9, 0.01, 0.5, 90.0], numbers.uniform(0.0, 90.0, 2000)])
    turbidity, day = numbers.uniform(1.0, 8.0, len(elevation)), numbers.integers(1, 366, len(elevation))
    zenith = 90.0 - elevation
    pressure = atmosphere.alt2pres(altitude_m)
    mass = atmosphere.get_absolute_airmass(atmosphere.get_relative_airmass(zenith), pressure)
    expected = clearsky.ineichen(zenith, mass, turbidity, altitude_m, irradiance.get_extra_radiation(day))
    found = clear_sky(elevation, turbidity, day, altitude_m)
    np.testing.assert_allclose(found.beam, expected["dni"], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(found.diffuse, expected["dhi"], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(air_mass(elevation), atmosphere.get_relative_airmass(zenith), rtol=1e-12)
    np.testing.assert_allclose(beyond_the_air(day), irradiance.get_extra_radiation(day), rtol=1e-12)
    assert pressure_pa(altitude_m) == pressure
