"""Spread of volumes under elevation error, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.siteplan.places import place, tilted
from tunnelsite.core.errors import UsageError
from tunnelsite.siteplan.grading_error import earthwork_error, error_field, net_volume_sd
from tunnelsite.siteplan.grading_plan import grading_plan


def test_fields_have_the_variance_and_correlation_they_claim() -> None:
    numbers = np.random.default_rng(1)
    fields = np.array([error_field(numbers, (60, 60), 4.0) for _ in range(300)])
    assert fields.var() == pytest.approx(1.0, abs=0.03)
    assert (fields[:, :, 4:] * fields[:, :, :-4]).mean() == pytest.approx(math.exp(-1), abs=0.03)
    assert (fields[:, 4:, 4:] * fields[:, :-4, :-4]).mean() == pytest.approx(math.exp(-2), abs=0.03)


@pytest.mark.parametrize("correlation_m", [0.0, 3.0, 12.0])
def test_net_volume_in_closed_form_against_draws(correlation_m: float) -> None:
    numbers = np.random.default_rng(2)
    weights = np.outer([0.5, 1, 1, 1, 0.5], [0.25, 1, 1, 1, 1, 1, 0.25])
    sums = [(weights * error_field(numbers, weights.shape, correlation_m / 2.0)).sum() * 4.0 * 0.1 for _ in range(4000)]
    assert np.std(sums) == pytest.approx(net_volume_sd(weights, 2.0, 0.1, correlation_m), rel=0.05)


def test_limits_of_the_closed_form() -> None:
    """Independent cells: sigma cell^2 sqrt(n); one error for the whole pad: sigma times its area."""
    weights = np.ones((9, 29))
    assert net_volume_sd(weights, 1.0, 0.1, 0.0) == pytest.approx(0.1 * math.sqrt(261))
    assert net_volume_sd(weights, 1.0, 0.1, 1e6) == pytest.approx(0.1 * 261)


def test_spread_of_a_plan() -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.05, 0.0), where)
    near, far = (earthwork_error(plan, 0.05, k, draws=60, seed=4, site_benchmark=False) for k in (1.0, 8.0))
    assert near.cut_m3.planned == pytest.approx(plan.cut_m3)
    assert near.max_fill_m.planned == pytest.approx(plan.pad.max_fill_m)
    assert far.net_m3.sd > 2 * near.net_m3.sd  # correlated errors do not average out
    pad_alone = net_volume_sd(np.ones((9, 29)), 1.0, 0.05, 8.0)
    assert pad_alone * 0.8 < far.net_m3.sd < pad_alone * 1.6  # side slopes add to it
    for spread in (near.cut_m3, near.fill_m3, near.net_m3, near.max_cut_m):
        assert spread.low < spread.planned < spread.high
    assert near.no_daylight == 0.0


def test_levels_taken_on_the_pad_take_out_what_all_cells_share() -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.05, 0.0), where)
    datum, bench = (earthwork_error(plan, 0.1, 1000.0, draws=30, site_benchmark=k) for k in (False, True))
    assert datum.net_m3.sd > 0.1 * 261 * 0.7
    assert bench.net_m3.sd < 0.05 * datum.net_m3.sd
    assert datum.cut_m3.low >= 0.0
    assert bench.max_cut_m.sd < 0.05 * 0.1


def test_same_seed_same_answer_and_no_error_no_spread() -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.05, 0.0), where)
    assert earthwork_error(plan, 0.05, 3.0, draws=5, seed=9) == earthwork_error(plan, 0.05, 3.0, draws=5, seed=9)
    none = earthwork_error(plan, 0.0, 3.0, draws=3)
    assert [none.cut_m3.sd, none.max_cut_m.sd] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_error_roughens_ground_and_so_adds_volume() -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.0, 0.0), where)
    assert earthwork_error(plan, 0.05, 0.0, draws=20).cut_m3.inflation > 0.1 * 0.05 * 261


@pytest.mark.parametrize("asked", [(-0.1, 1.0, 10), (0.1, -1.0, 10), (0.1, 1.0, 1), (math.nan, 1.0, 10)])
def test_amounts_that_cannot_be_meant(asked) -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.0, 0.0), where)
    with pytest.raises(UsageError):
        earthwork_error(plan, *asked)
