"""Spread of volumes under elevation error, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.plans.places import place, tilted
from tunnelsite.core.elevation_error import ErrorModel, drawn_waves, field_on
from tunnelsite.core.errors import UsageError
from tunnelsite.plans.grading.error import earthwork_error
from tunnelsite.plans.grading.plan import grading_plan


def net_volume_sd(weights, cell_m: float, error: ErrorModel) -> float:
    """Standard deviation [m3] of cut - fill of a pad under a fixed plane: propagation of variance over every pair of cells,
    sigma^2 cell^4 sum_ij w_i w_j exp(-(d_ij / range)^2)."""
    rows, cols = np.nonzero(weights)
    gap = cell_m * np.hypot(rows[:, None] - rows, cols[:, None] - cols)
    share = weights[rows, cols]
    return error.sd_m * cell_m**2 * math.sqrt(share @ np.exp(-((gap / error.range_m) ** 2)) @ share)


def test_fields_have_the_variance_and_correlation_they_claim() -> None:
    """2000 fields: a variance is good to 3 %, a mean of one volume over 4000 to 2.2 % (two standard deviations)."""
    numbers, grid = np.random.default_rng(1), place().grid
    blocks = (np.array([0, 7]), np.array([0, 11]), (12, 20))
    fields = np.array([field_on(drawn_waves(numbers, 4.0 * grid.cell_m), grid, *blocks) for _ in range(2000)])
    assert fields.var() == pytest.approx(1.0, abs=0.03)
    assert (fields[:, 0, :, 4:] * fields[:, 0, :, :-4]).mean() == pytest.approx(math.exp(-1), abs=0.04)
    assert (fields[:, 0, 4:, 4:] * fields[:, 0, :-4, :-4]).mean() == pytest.approx(math.exp(-2), abs=0.04)
    assert fields[:, 0, 7:, 11:] == pytest.approx(fields[:, 1, :5, :9])  # one field, wherever it is asked for


def test_spread_of_a_plan() -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.05, 0.0), where)
    near, far = (earthwork_error(plan, ErrorModel(0.05, k), draws=60, seed=4, site_benchmark=False) for k in (1.0, 8.0))
    assert near.cut_m3.planned == pytest.approx(plan.cut_m3)
    assert near.max_fill_m.planned == pytest.approx(plan.pad.max_fill_m)
    assert far.net_m3.sd > 2 * near.net_m3.sd  # correlated errors do not average out
    pad_alone = net_volume_sd(np.ones((9, 29)), 1.0, ErrorModel(0.05, 8.0))
    assert pad_alone * 0.8 < far.net_m3.sd < pad_alone * 1.6  # side slopes add to it
    for spread in (near.cut_m3, near.fill_m3, near.net_m3, near.max_cut_m):
        assert spread.low < spread.planned < spread.high
    assert near.no_daylight == 0.0


def test_levels_taken_on_the_pad_take_out_what_all_cells_share() -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.05, 0.0), where)
    datum, bench = (earthwork_error(plan, ErrorModel(0.1, 1000.0), draws=30, site_benchmark=k) for k in (False, True))
    assert datum.net_m3.sd > 0.1 * 261 * 0.7
    assert bench.net_m3.sd < 0.05 * datum.net_m3.sd
    assert datum.cut_m3.low >= 0.0
    assert bench.max_cut_m.sd < 0.05 * 0.1


def test_same_seed_same_answer_and_no_error_no_spread() -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.05, 0.0), where)
    one, two = (earthwork_error(plan, ErrorModel(0.05, 3.0), draws=5, seed=9) for _ in range(2))
    assert one == two
    none = earthwork_error(plan, ErrorModel(0.0, 3.0), draws=3)
    assert [none.cut_m3.sd, none.max_cut_m.sd] == pytest.approx([0.0, 0.0], abs=1e-12)


@pytest.mark.parametrize("asked", [(-0.1, 1.0, 10), (0.1, -1.0, 10), (0.1, 1.0, 1), (math.nan, 1.0, 10)])
def test_amounts_that_cannot_be_meant(asked) -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.0, 0.0), where)
    with pytest.raises(UsageError):
        earthwork_error(plan, ErrorModel(*asked[:2]), asked[2])
