"""Light of lamps against the inverse square law and public values (labels from the shared check values)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tunnelsite.kernels.illuminance import Lamps, illuminance, lamp_light, luminous_intensity


def one_lamp(row, col, height, lumens, downward=False) -> Lamps:
    return Lamps(*(np.array([v], float) for v in (row, col, height, lumens, downward)))


def test_inverse_square_law() -> None:
    """5000 cd at 10 m, normal incidence: 50 lx (derived)."""
    assert illuminance(5000.0, 10.0) == pytest.approx(50.0)
    assert illuminance(5000.0, 10.0, math.cos(math.radians(60))) == pytest.approx(25.0)
    lumens = 5000.0 * 4 * math.pi  # the lamp that gives 5000 cd in every direction
    ground = np.zeros((41, 41), np.float32)
    lux = lamp_light(ground, ground, 1.0, one_lamp(20, 20, 10.0, lumens))
    assert lux[20, 20] == pytest.approx(50.0, rel=1e-6)
    assert lux[20, 30] == pytest.approx(5000 / 200, rel=1e-6)
    level = lamp_light(ground, ground, 1.0, one_lamp(20, 20, 10.0, lumens), horizontal=True)
    assert level[20, 30] == pytest.approx(5000 / 200 * math.cos(math.pi / 4), rel=1e-6)


@pytest.mark.parametrize("downward", [False, True])
def test_all_lumens_of_a_lamp_arrive_somewhere(downward) -> None:
    """Intensity integrated over the sphere gives the lumens back."""
    edges = np.linspace(0, math.pi, 20_001)
    theta = (edges[1:] + edges[:-1]) / 2
    candela = luminous_intensity(800.0, np.cos(theta), downward)
    assert (candela * 2 * math.pi * np.sin(theta) * np.diff(edges)).sum() == pytest.approx(800.0, rel=1e-5)


def test_a_downward_lamp_lights_a_level_field_with_all_its_lumens() -> None:
    """Sum of horizontal illuminance x area -> lumens; the far field beyond the grid is R^2-law: h^2 / (h^2 + R^2) of them."""
    ground = np.zeros((401, 401), np.float32)
    lux = lamp_light(ground, ground, 0.5, one_lamp(200, 200, 5.0, 1000.0, True), least_lux=1e-6, horizontal=True)
    r, c = np.mgrid[-200:201, -200:201] * 0.5
    inside = np.hypot(r, c) <= 95
    assert lux[inside].sum() * 0.25 == pytest.approx(1000.0 * 95**2 / (95**2 + 25), rel=2e-3)


def test_moonlight_and_the_bands() -> None:
    """Full moon 0.25-0.27 lx (seen) lies under the first band, a foot-candle is 10.764 lx (memory)."""
    from tunnelsite.criteria.night_light import NIGHT_LIGHT

    rubric = NIGHT_LIGHT.rubric("any")
    assert rubric.marks(np.array([0.26]))[0] == 1.0
    assert rubric.marks(np.array([1 / 0.3048**2]))[0] == 0.0
    assert rubric.weight == 0.0
