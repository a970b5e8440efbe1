"""Topographic factor of ASCE 7 against its constants and values [@asce7-kzt]."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tunnelsite.kernels.air.topographic_factor import section_factor, topographic_factor

FT = 0.3048


def at_crest(form: str, exposure: str, height: float = 50.0, steepness: float = 0.5) -> float:
    return float(topographic_factor(form, exposure, height, height / steepness, 0.0, 0.0))


@pytest.mark.parametrize(
    ("form", "c", "gamma", "mu"),
    [
        ("ridge", (1.30, 1.45, 1.55), 3.0, (1.5, 1.5)),
        ("escarpment", (0.75, 0.85, 0.95), 2.5, (1.5, 4.0)),
        ("hill", (0.95, 1.05, 1.15), 4.0, (1.5, 1.5)),
    ],
)
def test_constants_by_what_comes_out(form, c, gamma, mu) -> None:
    for exposure, constant in zip("BCD", c, strict=True):
        assert at_crest(form, exposure, steepness=0.3) == pytest.approx((1 + 0.3 * constant) ** 2, abs=1e-12)
    # K3 = exp(-gamma z / Lh); K2 falls to 0 at mu Lh up- and downwind
    high = float(topographic_factor(form, "C", 30.0, 100.0, 0.0, 20.0))
    assert math.sqrt(high) - 1 == pytest.approx(0.3 * c[1] * math.exp(-gamma * 0.2), abs=1e-12)
    for side, reach in zip((-1, 1), mu, strict=True):
        half = float(topographic_factor(form, "C", 30.0, 100.0, side * reach * 50.0, 0.0))
        assert math.sqrt(half) - 1 == pytest.approx(0.3 * c[1] / 2, abs=1e-12)
        assert float(topographic_factor(form, "C", 30.0, 100.0, side * reach * 100.0, 0.0)) == 1.0


@pytest.mark.parametrize(
    ("form", "exposure", "expected", "tolerance"),
    [
        ("ridge", "D", 3.15, 0.005),
        ("ridge", "C", 2.9756, 1e-4),  # by the formula
        ("escarpment", "C", 2.0306, 1e-4),  # by the formula
        ("hill", "C", 2.3256, 1e-4),  # by the formula
    ],
)
def test_factor_at_the_crest(form, exposure, expected, tolerance) -> None:
    assert at_crest(form, exposure) == pytest.approx(expected, abs=tolerance)


def test_escarpment_away_from_the_crest() -> None:
    """Escarpment, C, H/Lh 0.4, x/Lh 1 downwind, z/Lh 0.1: 1.43663 (derived)."""
    assert float(topographic_factor("escarpment", "C", 40.0, 100.0, 100.0, 10.0)) == pytest.approx(1.43663, abs=1e-4)


def test_thresholds() -> None:
    """1.0 for H/Lh < 0.2, or H under 15 ft (C, D) or 60 ft (B)."""
    assert at_crest("ridge", "C", steepness=0.199) == 1.0 < at_crest("ridge", "C", steepness=0.2)
    for exposure, least in (("B", 60 * FT), ("C", 15 * FT), ("D", 15 * FT)):
        assert at_crest("ridge", exposure, height=least - 0.01) == 1.0 < at_crest("ridge", exposure, height=least)


def test_steeper_than_a_half_counts_as_a_half_with_twice_the_height_for_its_length() -> None:
    steep = float(topographic_factor("hill", "C", 50.0, 50.0, 40.0, 5.0))
    assert steep == float(topographic_factor("hill", "C", 50.0, 100.0, 40.0, 5.0))


def test_wrong_words_and_lengths_are_refused() -> None:
    for wrong in (("cone", "C", 10, 20, 0, 0), ("hill", "A", 10, 20, 0, 0), ("hill", "C", 10, 0, 0, 0)):
        with pytest.raises(ValueError):
            topographic_factor(*wrong)


def test_section_of_a_ridge_by_hand() -> None:
    """A triangular ridge 40 m high on flat land, 100 m from foot to crest: H 40, Lh 50, H/Lh 0.8 -> 0.5 and 2 H."""
    along = np.arange(0, 601.0, 5.0)
    ground = np.maximum(40.0 - 0.4 * np.abs(along - 300.0), 0.0)
    crest = int(np.argmax(ground))
    assert section_factor(ground, 5.0, crest) == pytest.approx((1 + 1.45 * 0.5) ** 2)
    expected = float(topographic_factor("ridge", "C", 40.0, 50.0, 25.0, 0.0))
    assert section_factor(ground, 5.0, crest + 5) == pytest.approx(expected)
    assert section_factor(ground, 5.0, crest + 15) == 1.0  # lower half
    assert section_factor(ground, 5.0, 5) == 1.0
    assert section_factor(np.zeros(50), 5.0, 25) == 1.0


def test_section_of_an_escarpment_and_missing_ground() -> None:
    along = np.arange(0, 601.0, 5.0)
    ground = np.clip(0.3 * (along - 200.0), 0.0, 30.0)  # rises 30 m over 100 m, then level
    crest = int(np.argmax(ground))
    assert section_factor(ground, 5.0, crest) == pytest.approx((1 + 0.85 * 0.5) ** 2)
    ground[5] = np.nan
    assert section_factor(ground, 5.0, crest) == pytest.approx((1 + 0.85 * 0.5) ** 2)
    assert math.isnan(section_factor(ground, 5.0, 5))
