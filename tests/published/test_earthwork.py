"""Earthwork against published figures; labels as in the project's list of check values (seen, derived, memory)."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.siteplan.volumes import end_area_volume, grid_corner_volume, prismoidal_volume, trapezoid_area

YARD_FT3 = 27.0
# Vose, Handbook of Railroad Construction (1857) s. 108: base 20 ft, slopes 1.5:1, cuts at 50 ft (seen)
CUTS_FT = np.array([0.0, 5.0, 10.0, 15.0, 0.0])


def test_vose_sections() -> None:
    """Printed 0, 137, 350, 637, 0 sq ft, truncated (seen)."""
    assert np.floor(trapezoid_area(CUTS_FT, 20.0, 1.5)).tolist() == [0, 137, 350, 637, 0]


def test_vose_average_end_areas() -> None:
    """Printed 56,200 cu ft from the truncated areas (seen); 56,250 exact (recomputed)."""
    areas = trapezoid_area(CUTS_FT, 20.0, 1.5)
    assert end_area_volume(areas, 50.0) == pytest.approx(56_250, abs=1e-6)
    assert end_area_volume(np.floor(areas), 50.0) == pytest.approx(56_200, abs=1e-6)


def test_vose_prismoidal() -> None:
    """52,500 cu ft (derived); 2,083 against 1,944 cu yd."""
    middle = (CUTS_FT[:-1] + CUTS_FT[1:]) / 2
    areas, between = trapezoid_area(CUTS_FT, 20.0, 1.5), trapezoid_area(middle, 20.0, 1.5)
    volume = prismoidal_volume(areas, between, 50.0)
    assert volume == pytest.approx(52_500, abs=1e-6)
    assert volume / YARD_FT3 == pytest.approx(1_944, abs=1)


def test_end_areas_of_a_pyramid_are_half_too_large() -> None:
    """Webb, Railroad Construction: the correction is half of the true volume (seen)."""
    assert end_area_volume([12.0, 0.0], 7.0) / prismoidal_volume([12.0, 0.0], [3.0], 7.0) == pytest.approx(1.5)


def test_end_areas_can_be_too_small() -> None:
    """Deakin & Hunter 2009 (seen): not always too much. A section that narrows to a square edge, 3 x 1 to 1 x 3."""
    assert end_area_volume([3.0, 3.0], 6.0) < prismoidal_volume([3.0, 3.0], [4.0], 6.0)


def test_grid_corners() -> None:
    """3 x 3 levels at 50 ft: 30,000 cu ft = 1,111.11 cu yd (derived)."""
    volume = grid_corner_volume([[1, 2, 3], [2, 3, 4], [3, 4, 5]], 50.0 * 50.0)
    assert volume == pytest.approx(30_000, abs=1e-6)
    assert volume / YARD_FT3 == pytest.approx(1_111.11, abs=0.01)


def test_grid_of_four_cells_with_a_mean_cut_of_a_foot() -> None:
    """370.4 cu yd (seen: public civil calculator page)."""
    assert grid_corner_volume(np.ones((3, 3)), 2_500.0) / YARD_FT3 == pytest.approx(370.4, abs=0.05)
