"""Blunders and slips of the unit in a level book are found and named."""

from __future__ import annotations

import numpy as np
import pytest

from tests.plans.stakeout.test_measured_plan import GRID, U, V, _measured
from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.stakeout.measured_plan import fitted_plane
from tunnelsite.plans.stakeout.reading_doubts import doubted_readings, doubted_unit


def ground(seed: int = 1) -> np.ndarray:
    """A field that falls 1.5 % along and 1 % across, rough by 2 cm."""
    return 100.0 + 0.015 * U - 0.01 * V + np.random.default_rng(seed).normal(0.0, 0.02, U.size)


@pytest.mark.parametrize("blunder_m", [1.0, -1.0, 0.3048])
def test_a_blunder_in_one_reading_is_named_with_what_was_expected(blunder_m: float) -> None:
    read = ground()
    read[7] += blunder_m
    said = doubted_readings(_measured(read), feet=False)
    assert len(said) == 1
    assert said[0].startswith(f"{GRID[7].label} comes out at")
    assert ("less" in said[0]) == (blunder_m > 0)


def test_two_blunders_are_both_named_and_sound_readings_are_not() -> None:
    read = ground(2)
    read[3] += 0.8
    read[11] -= 1.2
    said = doubted_readings(_measured(read), feet=True)
    assert [words.split()[0] for words in said] == [GRID[11].label, GRID[3].label]
    assert not any(doubted_readings(_measured(ground(seed)), feet=False) for seed in range(30))


@pytest.mark.parametrize(("times", "named"), [(4.8, False), (5.2, True), (5.8, True)])
def test_on_rough_ground_five_times_the_scatter_of_the_others_is_a_blunder(times: float, named: bool) -> None:
    rng = np.random.default_rng(6)
    read = 100.0 + 0.015 * U - 0.01 * V + rng.normal(0.0, 0.05, U.size)
    others = np.delete(np.arange(U.size), 7)
    plane = fitted_plane(U[others], V[others], read[others])
    assert plane.rms_m > 0.03  # five times that is more than the least that counts
    read[7] = plane.level_m + plane.slope_along * U[7] + plane.slope_across * V[7] + times * plane.rms_m
    assert bool(doubted_readings(_measured(read), feet=False)) == named


@pytest.mark.parametrize(
    ("times", "words"), [(1 / FOOT_M, "feet taken for metres"), (FOOT_M, "metres"), (10, "decimal")]
)
def test_slips_of_the_unit_are_doubted(times: float, words: str) -> None:
    model = ground(4)
    assert words in doubted_unit(20.0 + times * (ground(5) - 100.0), model)
    assert doubted_unit(ground(5), model) is None
