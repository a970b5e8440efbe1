"""Water against pyflwdir. It compiles itself for ten seconds in each process that calls it: hence all of it here."""

from __future__ import annotations

import matplotlib.cbook
import numpy as np
import pyflwdir
import pytest
from pyflwdir import dem as pyflwdir_dem

from tests.kernels.water.test_drainage_lines import drained
from tests.kernels.water.test_flow import rough
from tunnelsite.kernels.water.drainage_lines import height_above_drainage
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.upslope import upslope_cells

NO_DATA = 247  # its code, where ours is 255


def by_pyflwdir(direction):
    return pyflwdir.from_array(np.where(direction == 255, np.uint8(NO_DATA), direction), ftype="d8", check_ftype=False)


@pytest.mark.parametrize(
    ("shape", "levels", "gaps"),
    [((83, 97), None, 0.0), ((83, 97), None, 0.03), ((401, 53), None, 0.01), ((401, 53), 6, 0.01)],
)
def test_filled_with_no_data_as_outlet(shape, levels, gaps):
    """fill_depressions, eight neighbours, outlets at the edge of the data; the larger ground is of several blocks of rows.

    As Python: to compile it takes four times as long.
    """
    ground = rough(*shape, 8, levels=levels, gaps=gaps)
    given_ground = np.where(np.isnan(ground), np.float32(-9999), ground)
    want, _ = pyflwdir_dem.fill_depressions.py_func(given_ground, outlets="edge", nodata=-9999.0, connectivity=8)
    valid = ~np.isnan(ground)
    assert np.array_equal(filled(ground)[valid], want[valid])


def test_upslope():
    direction = flow_direction(filled(rough(400, 300, 12, gaps=0.002)), 1.0)
    known = direction != 255
    assert np.array_equal(upslope_cells(direction)[0][known], by_pyflwdir(direction).upstream_area("cell")[known])


def test_open_dem_conserves_water():
    """Open data: the Jacksboro fault DEM that matplotlib carries (whole metres: large flats)."""
    full = filled(matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz")["elevation"])
    direction = flow_direction(full, 71.9, 92.6)
    cells, open_edge = upslope_cells(direction)
    assert cells[direction == 0].sum() == full.size
    assert np.array_equal(cells, by_pyflwdir(direction).upstream_area("cell"))
    assert 0.02 < open_edge.mean() < 0.9


def test_height_above_drainage():
    """Its HAND on the same directions and heights, wherever the way down meets a line."""
    ground, _, direction, area = drained(filled(rough(120, 140, 3)))
    least = 60.0
    want = by_pyflwdir(direction).hand((area >= least).astype(np.int8), ground.astype(np.float64))
    got = height_above_drainage(ground, np.zeros_like(ground), direction, area >= least, np.inf)
    known = np.isfinite(got)
    assert 0.5 < known.mean() < 1.0 and (got[known] > 1).any()
    np.testing.assert_allclose(got[known], want[known], atol=1e-4)
