"""Volumes by end areas, as a swale's is worked out, against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.plans.grading.volumes import end_area_volume, trapezoid_area

CUTS_FT = np.array([0.0, 5.0, 10.0, 15.0, 0.0])  # [@vose-1857]: base 20 ft, slopes 1.5:1, cuts at 50 ft


def test_vose_sections() -> None:
    """Printed 0, 137, 350, 637, 0 sq ft, truncated."""
    assert np.floor(trapezoid_area(CUTS_FT, 20.0, 1.5)).tolist() == [0, 137, 350, 637, 0]


def test_vose_average_end_areas() -> None:
    """Printed 56,200 cu ft from the truncated areas; 56,250 exact."""
    areas = trapezoid_area(CUTS_FT, 20.0, 1.5)
    assert end_area_volume(areas, 50.0) == pytest.approx(56_250, abs=1e-6)
    assert end_area_volume(np.floor(areas), 50.0) == pytest.approx(56_200, abs=1e-6)


def test_end_areas_of_a_pyramid_are_half_too_large() -> None:
    """[@webb-prismoidal]: the correction is half of the true volume, a third of base times height."""
    assert end_area_volume([12.0, 0.0], 7.0) == pytest.approx(1.5 * 12.0 * 7.0 / 3)


def test_end_areas_can_be_too_small() -> None:
    """[@deakin-hunter-2009]: not always too much. A section 3 x 1 that becomes 1 x 3 over a length of 6."""
    t = (np.arange(10_000) + 0.5) / 10_000
    exact = 6.0 * ((3 - 2 * t) * (1 + 2 * t)).mean()
    assert end_area_volume([3.0, 3.0], 6.0) < exact == pytest.approx(22.0, abs=1e-3)
