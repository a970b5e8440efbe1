"""Standard errors of the deepest cut and of the cut's depth, on made ground whose true cut is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from tests.scan.grounds import site
from tunnelsite import screen
from tunnelsite.core.house import House
from tunnelsite.settings.model import settings_from

HOUSE = House.parse("30x96ft")
GIVEN = {"halo": "0", "top": 1, "azimuths": 8, "elevation_error": "0.1m", "error_range": "5m", "shift": "0"}
FREE = {"deepest_cut": {"limit": "none"}, "pitch": {"limit": "none"}}


@pytest.mark.parametrize("slope", [0.0, 0.01])
def test_standard_errors_are_those_of_known_ground(slope: float) -> None:
    """A plane under errors of 0.10 m alike over 5 m: true cuts are 0 up to 1/192, beyond it that of the slope left over (derived)."""
    numbers = np.random.default_rng(3)
    error = gaussian_filter(numbers.normal(size=(360, 360)), 2.5, mode="wrap")
    heights = 100 + slope * np.arange(360)[None, :] + 0.1 * error / error.std()
    scan = screen(site(heights), HOUSE, settings=settings_from(GIVEN | {"rubric": FREE})).scans[0]
    row, col = np.divmod(scan.index, scan.frame.grid.cols)
    apart = (row % 20 == 0) & (col % 35 == 0)
    left = max(slope - 1 / 192, 0.0) * scan.pad.length_m
    for name, true in (("deepest_cut", left / 2), ("earthwork", left / 8)):
        truth = scan.truths[name]
        off, se = truth.mean[apart] - true, truth.se[apart]
        assert 0.65 < np.sqrt(np.mean(off**2)) / se.mean() < 1.35, name
        assert np.mean(np.abs(off) <= 1.645 * se) > 0.80, name
