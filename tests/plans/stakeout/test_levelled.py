"""A stake after it was levelled: its own reading or nothing, never the model's height in another system."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.io.stake_sheet_example import example_sheet
from tunnelsite.plans.grading.design_plane import DesignPlane
from tunnelsite.plans.stakeout.levelled import _point


def test_a_stake_has_the_height_that_was_read_or_none() -> None:
    corner = replace(example_sheet().of_kind("corner")[0], along_m=10.0, across_m=-4.0, finish_m=181.0, ground_m=182.0)
    design = DesignPlane(50.0, 0.005, -0.01)
    read = _point(corner, 50.3, design)
    assert (read.ground_m, read.finish_m) == pytest.approx((50.3, 50.09))
    assert read.cut_m == pytest.approx(0.21)
    open_ = _point(corner, None, design)
    assert open_.ground_m is None and open_.cut_m is None and open_.finish_m == pytest.approx(50.09)
    ground_only = _point(replace(corner, finish_m=None), 50.3, design)
    assert ground_only.ground_m == 50.3 and ground_only.finish_m is None and ground_only.cut_m is None
