"""Light of lamps against the inverse square law and what a full moon gives."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tunnelsite.kernels.light.illuminance import Lamps, lamp_light


def one_lamp(row, col, height, lumens, downward=False) -> Lamps:
    return Lamps(*(np.array([v], float) for v in (row, col, height, lumens, downward)))


def test_inverse_square_law() -> None:
    """5000 cd at 10 m, normal incidence: 50 lx [@inverse-square]."""
    lumens = 5000.0 * 4 * math.pi  # the lamp that gives 5000 cd in every direction
    ground = np.zeros((41, 41), np.float32)
    lux = lamp_light(ground, ground, 1.0, one_lamp(20, 20, 10.0, lumens))
    assert lux[20, 20] == pytest.approx(50.0, rel=1e-6)
    assert lux[20, 30] == pytest.approx(5000 / 200, rel=1e-6)
    level = lamp_light(ground, ground, 1.0, one_lamp(20, 20, 10.0, lumens), horizontal=True)
    assert level[20, 30] == pytest.approx(5000 / 200 * math.cos(math.pi / 4), rel=1e-6)


def test_a_downward_lamp_lights_a_level_field_with_all_its_lumens() -> None:
    """Sum of horizontal illuminance x area -> lumens; the far field beyond the grid is R^2-law: h^2 / (h^2 + R^2) of them."""
    ground = np.zeros((401, 401), np.float32)
    lux = lamp_light(ground, ground, 0.5, one_lamp(200, 200, 5.0, 1000.0, True), least_lux=1e-6, horizontal=True)
    r, c = np.mgrid[-200:201, -200:201] * 0.5
    inside = np.hypot(r, c) <= 95
    assert lux[inside].sum() * 0.25 == pytest.approx(1000.0 * 95**2 / (95**2 + 25), rel=2e-3)


def test_moonlight_and_the_bands() -> None:
    """A typical full moon [@moon-kyba] keeps full marks, a foot-candle [@foot-definitions] has none."""
    from tunnelsite.criteria.night_light import NIGHT_LIGHT

    rubric = NIGHT_LIGHT.rubric("any")
    assert rubric.marks(np.array([0.1]))[0] == 1.0
    assert rubric.marks(np.array([1 / 0.3048**2]))[0] == 0.0
    assert rubric.weight == 0.0
