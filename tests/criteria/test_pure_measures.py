"""Measures are pure functions of what the placements show: each on a few numbers, by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from tests.criteria.doubles import Plain
from tunnelsite.core.house import House, Pad
from tunnelsite.criteria import drainage_lines, earthwork, ground, soils
from tunnelsite.criteria.bearing import off_bearing
from tunnelsite.criteria.reach import reach
from tunnelsite.kernels.expected import SlopeExcess, expected_excess
from tunnelsite.kernels.terrain.blade import Ripple
from tunnelsite.kernels.terrain.grading import Grading
from tunnelsite.kernels.terrain.plane_error import SlopeErrors
from tunnelsite.kernels.terrain.planes import Planes

NAN = math.nan
PAD = Pad.around(House(6.0, 12.0), 1.0)  # 14 m by 8 m
OFF = SlopeErrors(np.array([[0.01]]), np.array([[0.02]]))


def plane(along: list[float], across: list[float], **more: float) -> Planes:
    rows = {name: np.full((1, len(along)), more.get(name, 0.0)) for name in Planes._fields}
    return Planes(**rows | {"slope_along": np.array([along]), "slope_across": np.array([across])})


def test_pitch_is_the_steeper_slope_whichever_way_it_falls():
    seen = Plain(plane=lambda: plane([0.01, -0.04, NAN], [-0.03, 0.02, 0.05]))
    assert ground.pitch(seen)[0, :2] == pytest.approx([3.0, 4.0])


def test_true_pitch_of_level_ground_is_more_than_was_measured():
    seen = Plain(plane=lambda: plane([0.0], [0.0]), slope_errors=lambda: OFF)
    truth = ground.true_pitch(seen, np.zeros((1, 1)))
    assert 1.0 < truth.mean[0, 0] < 3.0 and truth.se[0, 0] > 0  # the larger of two normal deviates of 1 % and 2 %


@pytest.mark.parametrize("measure", [ground.roughness, ground.crown])
def test_what_the_model_cannot_show_is_not_assessed(measure):
    shown = {"plane": lambda: plane([0.0], [0.0], rms_m=0.1, crown_m=0.1), "frame": SimpleNamespace(step_m=0.0)}
    assert measure(Plain(**shown, shows_ground=True)) == pytest.approx(np.array([[0.1]]))
    assert np.isnan(measure(Plain(**shown, shows_ground=False)))
    coarse = SimpleNamespace(step_m=0.2)  # 0.2 / sqrt(12) = 5.8 cm of rounding hides what is looked for
    assert np.isnan(measure(Plain(**shown | {"frame": coarse}, shows_ground=True)))


def test_soil_that_is_partly_unknown_counts_only_where_the_known_part_is_bad_already():
    """Well drained, unknown beside well drained, unknown beside poorly drained, unknown alone."""
    seen = Plain({"drainage_class": [2, NAN, NAN, NAN], "drainage_least": [2, 2, 5, 0]})
    np.testing.assert_array_equal(soils.drainage_class(seen), [[2, NAN, 5, NAN]])
    seen = Plain({"hydrologic_group": [1, NAN, NAN], "hydrologic_least": [1, 3, 4]})
    np.testing.assert_array_equal(soils.hydrologic_group(seen), [[1, NAN, 4]])


def test_heights_above_water_err_by_two_heights():
    truth = drainage_lines.true_height(Plain(elevation_sd=lambda: np.array([[0.1]])), np.array([[1.2]]))
    assert truth.mean == 1.2 and truth.se == pytest.approx(0.1 * math.sqrt(2))


@pytest.mark.parametrize("kept", [0.0, 1.0])
def test_earthwork_is_a_depth_over_the_pad_and_errs_by_its_tilt(kept: float):
    """Ground surely too steep both ways: cut at the corners of the tilt alone where its shape is taken for error, as measured where it is
    not."""
    known = {"cut_m3": 11.2, "fill_m3": 9.0, "max_cut_m": 0.3, "max_fill_m": 0.2, "kept": kept}
    graded = Grading(**{name: np.array([[known.get(name, NAN)]]) for name in Grading._fields})
    asked = []
    beyond = SlopeExcess(
        *(expected_excess(np.array([slope]), se[0], 0.005) for slope, se in zip((0.105, 0.205), OFF, strict=True))
    )
    seen = Plain(slope_excess=lambda: beyond, grading=lambda shrink: asked.append(shrink) or graded, pad=PAD, slope_errors=lambda: OFF, pad_pitch=0.005, feasible=lambda: np.ones((1, 1), bool),
                 plane=lambda: plane([0.105], [0.205]), pad_ripple=lambda: Ripple(1.0, 10.0), elevation_sd=lambda: np.array([[0.1]]))  # fmt: skip
    assert earthwork.cut_depth(seen, 1.2) == pytest.approx(11.2 / (14 * 8)) and asked == [1.2]
    assert earthwork.deepest_cut(seen, 1.0) == 0.3
    truth = earthwork.true_deepest_cut(seen, np.array([[0.3]]), 1.0)
    assert truth.mean == pytest.approx(0.3 if kept else 0.1 * 14 / 2 + 0.2 * 8 / 2)
    assert truth.se == pytest.approx(math.hypot(0.01 * 14 / 2, 0.02 * 8 / 2, earthwork.DEEPEST_BY_HEIGHT * 0.1))


def test_ridges_are_compared_without_their_ends():
    seen = Plain(feasible=lambda: np.ones((1, 1), bool))
    for bearing, wanted, off in ((90, 90, 0), (175, 5, 10), (0, 180, 0), (15, 155, 40), (0, 90, 90), (-30, 175, 25)):
        assert off_bearing(seen, bearing, wanted) == off


def test_reach_asks_for_its_own_service():
    seen = Plain(frame=SimpleNamespace(services={"water": "taps", "road": "lanes"}), distance=lambda features: features)
    assert reach("road").measure(seen) == "lanes"
