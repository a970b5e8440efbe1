"""Volumes: their symmetry and what they refuse."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.plans.grading.volumes import end_area_volume, prism_volumes


@given(st.lists(st.floats(0, 100), min_size=2, max_size=8), st.floats(0.1, 50))
def test_end_areas_do_not_depend_on_the_direction(areas: list[float], spacing: float) -> None:
    assert end_area_volume(areas, spacing) == pytest.approx(end_area_volume(areas[::-1], spacing), rel=1e-9, abs=1e-9)


def test_prisms_keep_cut_and_fill_apart() -> None:
    assert prism_volumes([[1.0, -2.0], [0.0, 0.5]], 3.0) == (4.5, 6.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: end_area_volume([1.0], 1.0),
        lambda: end_area_volume([1.0, -1.0], 1.0),
        lambda: end_area_volume([1.0, math.nan], 1.0),
        lambda: end_area_volume([1.0, 1.0], 0.0),
    ],
)
def test_amounts_that_cannot_be_meant(call) -> None:
    with pytest.raises(ValueError, match=r"expected|measure"):
        call()
