"""Shadows at the winter solstice and the gap between houses. All values DERIVED (geometry), the 1.65 multiple seen."""

import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.core.shade_gap import Roof, clear_gap_m, midwinter_gap_m, shade_reach
from tunnelsite.light.shadows import poleward_reach, shadow_multiple, sun_angles

# latitude: noon altitude, shadow / height at noon, north reach / height at 10 h solar; declination -23.44, no refraction (derived)
TABLE = {
    32: (34.56, 1.45, 1.64), 35: (31.56, 1.63, 1.85), 38: (28.56, 1.84, 2.11), 40: (26.56, 2.00, 2.31), 42: (24.56, 2.19, 2.55),
    44: (22.56, 2.41, 2.84), 45: (21.56, 2.53, 3.01), 47: (19.56, 2.81, 3.40), 49: (17.56, 3.16, 3.89),
}  # fmt: skip


@pytest.mark.parametrize("lat", TABLE)
def test_solstice_shadows(lat):
    altitude, multiple, reach = TABLE[lat]
    found = sun_angles(lat, -23.44, 12.0)[0]
    assert found == pytest.approx(altitude, abs=0.005)
    assert shadow_multiple(found) == pytest.approx(multiple, abs=0.006)
    assert poleward_reach(lat, -23.44, 10.0) == pytest.approx(reach, abs=0.006)
    assert poleward_reach(lat, -23.44, 14.0) == pytest.approx(poleward_reach(lat, -23.44, 10.0), rel=1e-12)
    assert poleward_reach(-lat, 23.44, 10.0) == pytest.approx(
        -reach, abs=0.006
    )  # south of the equator it reaches south


def test_published_multiple_is_the_ten_o_clock_reach():
    """Univ. of Arizona Cochise County, 32 N (seen): evergreens to the south at 1.65 x their height."""
    assert poleward_reach(32, -23.44, 10.0) == pytest.approx(1.65, abs=0.015)
    assert abs(shadow_multiple(sun_angles(32, -23.44, 12.0)[0]) - 1.65) > 0.15


def test_often_heard_two_and_a_half_heights():
    """2.5 times the height (memory) = 21.8 deg: noon at the solstice at 44.8 N (derived)."""
    assert shadow_multiple(21.8) == pytest.approx(2.5, abs=0.005)
    assert sun_angles(44.8, -23.44, 12.0)[0] == pytest.approx(21.8, abs=0.05)


@pytest.mark.parametrize(("lat", "noon_ft", "ten_to_two_ft"), [(40, 9.0, 12.7), (41.7, 10.9, None), (44, 13.9, 19.1)])
def test_gap_between_houses(lat, noon_ft, ten_to_two_ft):
    """12 ft ridge, 30 ft wide, E-W pair, 21 December (derived)."""
    house = Roof(12.0, 30.0, "gable")  # feet in, feet out: the formula knows no unit
    assert midwinter_gap_m(house, lat, 0.0) == pytest.approx(noon_ft, abs=0.05)
    assert midwinter_gap_m(house, -lat, 0.0) == pytest.approx(noon_ft, abs=0.05)
    if ten_to_two_ft is not None:
        assert midwinter_gap_m(house, lat, 2.0) == pytest.approx(ten_to_two_ft, abs=0.06)


@pytest.mark.parametrize("lat", TABLE)
def test_reach_of_ten_to_two_is_that_of_ten(lat):
    """For an E-W ridge the reach grows away from noon, so the largest over the hours is that of the last."""
    assert shade_reach(lat, 2.0)[0] == pytest.approx(poleward_reach(lat, -23.44, 10.0), rel=1e-9)


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
    assert shadow_multiple(0.0) is None
    with pytest.raises(UsageError, match="gable"):
        Roof(3.7, 9.1, "dome")
    with pytest.raises(UsageError):
        midwinter_gap_m(Roof(3.7, 9.1), 95.0, 0.0)
