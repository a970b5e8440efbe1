"""Our sun positions, noon and clear-sky light against published worked examples; the library under them has tests of its own."""

import numpy as np
import pandas as pd
import pytest

from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer, declination_deg, solar_noon_s, sun_positions

SITE = (39.742476, -105.1786, 1830.14)


def test_worked_example_of_the_algorithm():
    """[@reda-andreas-2003]: 2003-10-17 12:30:30 UTC-7, zenith 50.111622, azimuth 194.340241 at 820 mbar, 11 C, delta T 67 s.

    Our standing assumptions (12 C, standard pressure, delta T of 2025) move this sun by less than 0.002 deg.
    """
    instant = pd.Timestamp("2003-10-17 12:30:30", tz="Etc/GMT+7").timestamp()
    azimuth, elevation = sun_positions(np.array([instant]), Observer(*SITE))
    assert azimuth[0] == pytest.approx(194.340241, abs=1e-3)
    assert 90 - elevation[0] == pytest.approx(50.111622, abs=2e-3)


def test_declination_of_meeus():
    """[@meeus-examples] 25.b, 1992-10-13 0 h TD (TD - UT 59 s): -7 deg 47' 01.74"."""
    instant = pd.Timestamp("1992-10-13", tz="UTC").timestamp() - 59
    assert declination_deg(np.array([instant]))[0] == pytest.approx(-(7 + 47 / 60 + 1.74 / 3600), abs=2e-4)


def test_noon_by_the_equation_of_time_of_meeus():
    """[@meeus-examples] 28.b: +13 min 42.7 s at 0 h on 1992-10-13; half a day before, at noon of the 12th, 13.58 min."""
    noon = solar_noon_s(286, Observer(51.48, 0.0), year=1992)[0]  # day 286 of the 366-day year 1992 is 12 October
    early = (pd.Timestamp("1992-10-12 12:00", tz="UTC").timestamp() - noon) / 60
    assert early == pytest.approx(13.58, abs=0.1)


def test_solar_time_of_duffie_and_beckman():
    """[@duffie-beckman-examples] 1.5.1: Madison, 10:30 Central Standard Time on 3 February is 10:19 solar time."""
    noon = solar_noon_s(34, Observer(43.1, -89.4))[0]
    clock = pd.Timestamp("2025-02-03 10:30", tz="Etc/GMT+6").timestamp()
    assert 720 + (clock - noon) / 60 == pytest.approx(10 * 60 + 19, abs=1)


def test_extraterrestrial_sum_of_fao56():
    """[@fao56] example 8: Ra 32.2 MJ m-2 at 20 S on 3 September; 25.1 at 22.9 S on 15 May: from our sun, minute by minute."""
    for lat, day, distance, expected in ((-20.0, "2025-09-03", 0.985, 32.2), (-22.9, "2025-05-15", 0.977, 25.1)):
        minutes = pd.Timestamp(day, tz="UTC").timestamp() + 60.0 * (np.arange(1440) + 0.5)
        _, elevation = sun_positions(minutes, Observer(lat, 0.0))
        total = 0.0820 * distance * np.sin(np.radians(np.maximum(elevation, 0.0))).sum()
        assert total == pytest.approx(expected, rel=0.006)  # refraction, and the text's declination to 0.001 rad


def test_clear_sky_by_its_formula():
    """[@ineichen-perez-2002]: global light on the horizontal written out again, at sea level, with the step's own turbidity."""
    from pvlib import atmosphere, clearsky, irradiance

    place = Observer(43.0, -78.0)
    steps = clear_sky_steps(place, 60, of_days=[172])
    middle = int(np.argmax(steps.elevation_deg))
    sine = np.sin(np.radians(steps.elevation_deg[middle]))
    when = pd.DatetimeIndex(["2025-06-21 17:00"], tz="UTC")
    turbidity = float(clearsky.lookup_linke_turbidity(when, place.lat_deg, place.lon_deg).iloc[0])
    airmass = float(atmosphere.get_relative_airmass(90 - steps.elevation_deg[middle]))
    extra = irradiance.get_extra_radiation(172)
    ghi = 0.868 * extra * sine * np.exp(-0.0387 * airmass * turbidity)
    assert steps.beam_wh[middle] + steps.diffuse_wh[middle] == pytest.approx(ghi, rel=0.02)
