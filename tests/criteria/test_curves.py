"""What the texts beside the curves say, computed: a curve whose numbers change has to change its reason too."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.core import catalogue
from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.drainage.channels import normal_depth_m
from tunnelsite.plans.drainage.runoff import rational_peak_m3_s, roof_peak_m3_s
from tunnelsite.plans.drainage.storm import Storm
from tunnelsite.plans.drainage.swale import SwaleRule
from tunnelsite.plans.drainage.warnings import FREEBOARD_M

RUBRICS = {criterion.id: criterion.rubrics for criterion in catalogue.criteria()}


def marks(name: str, measure: float, kind: str = "any") -> float:
    return float(RUBRICS[name][kind].marks(np.float64(measure)))


def test_pitch_follows_the_words() -> None:
    """[@pitch-curve]: fine at 2 %, level it first from 5 % on, worth less the steeper it is up to where it is rejected."""
    rubric = RUBRICS["pitch"]["any"]
    assert marks("pitch", 100 / 192) == 1.0 and marks("pitch", 0.0) == 1.0
    assert marks("pitch", 2.0) == pytest.approx(5 / 6, abs=0.02)
    assert marks("pitch", 5.0) == pytest.approx(1 / 2, abs=0.03)
    assert marks("pitch", rubric.limit) == 0.0 and marks("pitch", 7.0) > 0


def test_roughness_is_the_cut_that_smoothing_takes() -> None:
    """[@roughness-curve]: mean of the positive part of normal deviates."""
    cut = np.maximum(np.random.default_rng(3).normal(size=400_000), 0).mean()
    rubric = RUBRICS["roughness"]["any"]
    assert cut == pytest.approx(0.4, abs=0.003)
    assert cut * rubric.full_at == pytest.approx(0.02, abs=0.001) and cut * rubric.none_at == pytest.approx(
        0.12, abs=0.001
    )


def test_drainage_by_what_a_swale_carries() -> None:
    """[@water-areas]."""
    rubric, swale = RUBRICS["drainage"]["any"], SwaleRule()
    share = Storm().coefficient
    assert share == 0.35

    def depth(area_m2: float) -> float:
        return normal_depth_m(swale.section, rational_peak_m3_s(share, 100.0, area_m2), swale.fall, swale.roughness)

    roof = roof_peak_m3_s(30 * 96 * FOOT_M**2, 100.0)
    assert (
        rational_peak_m3_s(share, 100.0, rubric.full_at) < roof < rational_peak_m3_s(share, 100.0, 2 * rubric.full_at)
    )
    assert 0.8 < depth(rubric.none_at) / (swale.depth_m - FREEBOARD_M) < 1.0
    assert depth(rubric.limit) > swale.depth_m


def test_sun_falls_with_the_light() -> None:
    """[@light-yield]: 0.7 to 1 % of yield for 1 % of light; at the foot of the curve that is 28 to 40 % of the crop."""
    rubric = RUBRICS["sun"]["any"]
    lost = 1 - rubric.none_at
    assert (0.7 * lost, 1.0 * lost) == pytest.approx((0.28, 0.40))
    assert marks("sun", (rubric.full_at + rubric.none_at) / 2) == pytest.approx(0.5)


def test_night_light_begins_at_a_typical_full_moon() -> None:
    """[@moon-kyba]: 0.05 to 0.1 lx."""
    assert marks("night_light", 0.1) == 1.0 > marks("night_light", 0.32) > 0 == marks("night_light", 1.0)


def test_reach_in_minutes_of_walking() -> None:
    """[@reach-distances]: there and back at 1.3 m/s."""
    from tunnelsite.criteria.reach import reach

    rubric = reach("water").rubrics["any"]
    assert 2 * rubric.none_at / 1.3 / 60 == pytest.approx(10, abs=0.5)
    assert 2 * 7 * 2 * rubric.none_at / 1.3 / 3600 == pytest.approx(2.4, abs=0.1)
    assert rubric.full_at == pytest.approx(100 * FOOT_M, abs=0.6)
