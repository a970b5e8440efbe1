"""The half-cylinder of film: Fresnel's values, a table of single days computed twice, and the seasons of a place [@film-model]."""

import numpy as np
import pytest

from tunnelsite.sun.film import LABEL, FilmLight, film_transmission, floor_transmission, sky_transmission
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer

# latitude: E-W and N-S on 21 December; gain of E-W in per cent on 21 December, decl -17, equinox, 21 June: beam alone, its strength
# 0.7 ** (1 / sin h) ** 0.678 [@beam-meinel]
TABLE = {
    32: (0.917, 0.855, 7, 4, -3, -5),
    40: (0.920, 0.816, 13, 7, -1, -5),
    44: (0.921, 0.786, 17, 10, 0, -5),
    48: (0.921, 0.746, 24, 13, 1, -5),
}


def day(lat, declination, bearing):
    """Beam on the floor over beam on open ground for one day: hour angles from sunrise to sunset."""
    lat, decl = np.radians([lat, declination])
    sunset = np.arccos(np.clip(-np.tan(lat) * np.tan(decl), -1, 1))
    hour = ((np.arange(480) + 0.5) / 240 - 1) * sunset
    up = np.sin(lat) * np.sin(decl) + np.cos(lat) * np.cos(decl) * np.cos(hour)
    north = np.cos(lat) * np.sin(decl) - np.sin(lat) * np.cos(decl) * np.cos(hour)
    azimuth = np.degrees(np.arctan2(-np.cos(decl) * np.sin(hour), north))
    beam = up * 0.7 ** ((1 / up) ** 0.678)
    return float((floor_transmission(azimuth, np.degrees(np.arcsin(up)), bearing) * beam).sum() / beam.sum())


@pytest.mark.parametrize("lat", TABLE)
def test_table(lat):
    east_west, north_south, *gains = TABLE[lat]
    assert day(lat, -23.44, 90) == pytest.approx(east_west, abs=0.003)
    assert day(lat, -23.44, 0) == pytest.approx(north_south, abs=0.003)
    assert day(-lat, 23.44, 0) == pytest.approx(north_south, abs=0.003)
    for declination, gain in zip((-23.44, -17, 0, 23.44), gains, strict=True):
        assert 100 * (day(lat, declination, 90) / day(lat, declination, 0) - 1) == pytest.approx(gain, abs=1.0)


@pytest.mark.parametrize(("off", "loss"), [(10, -0.2), (20, -1), (30, -3), (45, -8), (90, -11)])
def test_turned_off_east_west(off, loss):
    """The figures of [@bearing-beam-model]."""
    found = 100 * (day(40, -23.44, 90 - off) / day(40, -23.44, 90) - 1)
    assert found == pytest.approx(loss, abs=0.6)
    assert day(40, -23.44, 90 + off) == pytest.approx(day(40, -23.44, 90 - off), rel=1e-9)  # morning is afternoon


def test_normal_incidence_and_grazing():
    assert float(film_transmission(1.0)) == pytest.approx((1 - 0.04) / (1 + 0.04), abs=1e-12)  # ((n - 1) / (n + 1))^2
    assert float(film_transmission(0.0)) == pytest.approx(0.0, abs=1e-12)
    assert "not published" in LABEL


def test_floor_by_rays_followed_to_the_film():
    """A ray from a point of the floor is walked towards the sun until it leaves the half-cylinder."""
    azimuth, elevation, bearing = 40.0, 25.0, 100.0
    sun = np.array(
        [np.cos(np.radians(elevation)) * np.sin(np.radians(azimuth - bearing)), np.sin(np.radians(elevation))]
    )  # across the ridge, up
    passed = []
    for start in (np.arange(100) + 0.5) / 50 - 1:
        low, high = 0.0, 4.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if np.hypot(start + middle * sun[0], middle * sun[1]) < 1 else (low, middle)
        normal = np.array([start + low * sun[0], low * sun[1]])
        passed.append(float(film_transmission(normal @ sun)))
    found = floor_transmission(np.array([azimuth]), np.array([elevation]), bearing)
    assert found == pytest.approx(np.mean(passed), abs=1e-9)


def test_sky_is_the_mean_over_random_directions():
    rng = np.random.default_rng(5)
    elevation = np.degrees(np.arcsin(np.sqrt(rng.random(40_000))))
    for bearing in (0.0, 37.0):
        found = floor_transmission(rng.uniform(0, 360, 40_000), elevation, bearing).mean()
        assert sky_transmission() == pytest.approx(found, abs=0.002)


def test_a_season_lies_between_the_sky_and_the_beam():
    place, period = Observer(44.0, 0.0), ((12, 1), (12, 31))
    steps = clear_sky_steps(place)
    inside = steps.month == 12
    beam, sky = steps.beam_wh[inside].sum(), steps.diffuse_wh[inside].sum()
    passed = floor_transmission(steps.azimuth_deg[inside], steps.elevation_deg[inside], 90.0) @ steps.beam_wh[inside]
    found = FilmLight.of(steps, 90.0).share(period)
    assert found == pytest.approx((passed + sky_transmission() * sky) / (beam + sky), rel=1e-9)
    assert min(passed / beam, sky_transmission()) < found < max(passed / beam, sky_transmission())
    assert FilmLight.of(clear_sky_steps(Observer(80.0, 0.0)), 90.0).share(period) is None
