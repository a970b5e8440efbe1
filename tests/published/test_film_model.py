"""The half-cylinder film model against the project's own table: DERIVED twice, not published. The tolerance covers
rounding and the beam's weight."""

import pytest

from tunnelsite.light.film import LABEL, day_transmission, east_west_gain, film_transmission

# latitude: E-W and N-S on 21 December; gain of E-W in per cent on 21 December, decl -17, equinox, 21 June
TABLE = {
    32: (0.917, 0.855, 7, 4, -3, -5),
    40: (0.920, 0.816, 13, 7, -1, -5),
    44: (0.921, 0.786, 17, 10, 0, -5),
    48: (0.921, 0.746, 24, 13, 1, -5),
}


@pytest.mark.parametrize("lat", TABLE)
def test_table(lat):
    east_west, north_south, *gains = TABLE[lat]
    assert day_transmission(lat, -23.44, 90) == pytest.approx(east_west, abs=0.003)
    assert day_transmission(lat, -23.44, 0) == pytest.approx(north_south, abs=0.003)
    for declination, gain in zip((-23.44, -17, 0, 23.44), gains, strict=True):
        assert 100 * east_west_gain(lat, declination) == pytest.approx(gain, abs=1.0)


@pytest.mark.parametrize(("off", "loss"), [(10, -0.2), (20, -1), (30, -3), (45, -8), (90, -11)])
def test_turned_off_east_west(off, loss):
    found = 100 * (day_transmission(40, -23.44, 90 - off) / day_transmission(40, -23.44, 90) - 1)
    assert found == pytest.approx(loss, abs=0.6)
    assert day_transmission(40, -23.44, 90 + off) == pytest.approx(
        day_transmission(40, -23.44, 90 - off), rel=1e-9
    )  # morning is afternoon


def test_normal_incidence_and_grazing():
    assert float(film_transmission(1.0)) == pytest.approx(
        (1 - 0.04) / (1 + 0.04), abs=1e-12
    )  # r = ((n-1)/(n+1))^2 = 0.04
    assert float(film_transmission(0.0)) == pytest.approx(0.0, abs=1e-12)
    assert "not published" in LABEL


def test_hemispheres_and_polar_night():
    assert day_transmission(-44, 23.44, 90) == pytest.approx(day_transmission(44, -23.44, 90), rel=1e-9)
    assert day_transmission(80, -23.44, 90) is None
    assert east_west_gain(80, -23.44) is None
    assert 0.7 < day_transmission(90, 23.44, 90) < 1
