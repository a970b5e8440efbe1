"""Shadows at the winter solstice and the gap between houses. [@shadow-geometry]."""

import math

import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.core.shade_gap import Roof, clear_gap_m, midwinter_gap_m, shade_reach

# latitude: noon altitude, shadow / height at noon, north reach / height at 10 h solar; declination -23.44, no refraction
TABLE = {
    32: (34.56, 1.45, 1.64), 35: (31.56, 1.63, 1.85), 38: (28.56, 1.84, 2.11), 40: (26.56, 2.00, 2.31), 42: (24.56, 2.19, 2.55),
    44: (22.56, 2.41, 2.84), 45: (21.56, 2.53, 3.01), 47: (19.56, 2.81, 3.40), 49: (17.56, 3.16, 3.89),
}  # fmt: skip


@pytest.mark.parametrize("lat", TABLE)
def test_solstice_shadows(lat):
    altitude, multiple, reach = TABLE[lat]
    for hemisphere in (1, -1):  # each has its own midwinter: December or June
        side = 0 if hemisphere > 0 else 1  # the shadow falls to the north, or south of the equator to the south
        noon, ten = shade_reach(hemisphere * lat, 0.0), shade_reach(hemisphere * lat, 2.0)
        assert math.degrees(math.atan(1 / noon[side])) == pytest.approx(altitude, abs=0.005)
        assert noon[side] == pytest.approx(multiple, abs=0.006) and ten[side] == pytest.approx(reach, abs=0.006)
        assert noon[1 - side] == ten[1 - side] == 0.0


def test_published_multiple_is_noon_at_35_north():
    """[@trees-arizona], 32 N: evergreens to the south at 1.65 x their height; noon there asks for 1.45."""
    assert shade_reach(35.2, 0.0)[0] == pytest.approx(1.65, abs=0.01)
    assert shade_reach(32.0, 0.0)[0] == pytest.approx(1.45, abs=0.01)


@pytest.mark.parametrize(("lat", "noon_ft", "ten_to_two_ft"), [(40, 9.0, 12.7), (41.7, 10.9, None), (44, 13.9, 19.1)])
def test_gap_between_houses(lat, noon_ft, ten_to_two_ft):
    """12 ft ridge, 30 ft wide, E-W pair, 21 December."""
    house = Roof(12.0, 30.0, "gable")  # feet in, feet out: the formula knows no unit
    assert midwinter_gap_m(house, lat, 0.0) == pytest.approx(noon_ft, abs=0.05)
    assert midwinter_gap_m(house, -lat, 0.0) == pytest.approx(noon_ft, abs=0.05)
    if ten_to_two_ft is not None:
        assert midwinter_gap_m(house, lat, 2.0) == pytest.approx(ten_to_two_ft, abs=0.06)


def test_gap_of_a_round_house_by_brute_force():
    """The shadow of a half-ellipse ends where the lowest sun ray that still touches it meets the ground: tried point by point."""
    import numpy as np

    for reach in (0.3, 1.0, 2.0, 4.0):
        angle = np.linspace(0, np.pi, 200_001)
        brute = (15 * np.cos(angle) + reach * (4 + 8 * np.sin(angle))).max() - 15
        assert clear_gap_m(Roof(12.0, 30.0, "arch", 4.0), reach) == pytest.approx(brute, abs=1e-6)
    assert clear_gap_m(Roof(12, 30, "arch"), 2.0) > clear_gap_m(Roof(12, 30, "gable"), 2.0)


def test_gap_without_sun():
    assert midwinter_gap_m(Roof(3.7, 9.1), 70.0, 0.0) is midwinter_gap_m(Roof(3.7, 9.1), -70.0, 2.0) is None
    with pytest.raises(UsageError, match="gable"):
        Roof(3.7, 9.1, "dome")
    with pytest.raises(UsageError):
        midwinter_gap_m(Roof(3.7, 9.1), 95.0, 0.0)
