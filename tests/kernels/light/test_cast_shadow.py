"""Cast shadow for one sun position: published shadow lengths and the limits of day."""

import numpy as np
import pytest

from tunnelsite.kernels.light.horizon import cast_shadow


@pytest.mark.parametrize(("elevation", "ratio"), [(34.56, 1.45), (26.56, 2.00), (19.56, 2.81)])
def test_noon_shadow_length(elevation, ratio):
    """21 December noon at 32, 40 and 47 N: shadow / height [@shadow-geometry], no refraction."""
    surface = np.zeros((400, 9), np.float32)
    surface[300:303] = 50.0
    shadow = cast_shadow(surface, np.zeros_like(surface), 0.5, 180.0, elevation)
    length = 0.5 * np.count_nonzero(shadow[:300, 4])
    assert length / 50.0 == pytest.approx(ratio, abs=0.012)
    assert not shadow[303:].any()


def test_shadow_at_night_overhead_and_for_unknown_observers():
    surface = np.zeros((5, 5), np.float32)
    surface[2, 2] = 9.0
    eye = np.zeros_like(surface)
    eye[0, 0] = np.nan
    assert cast_shadow(surface, eye, 1.0, 10.0, -1.0).sum() == 24
    assert not cast_shadow(surface, eye, 1.0, 10.0, 90.0).any()
