"""Thinning: the block found and the bound always hold the true best block between them."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.plans.layout.packing import LayoutRules, ScoredPlacements, best_layout
from tunnelsite.plans.layout.thinned import thinned_layout

CELL = 0.5


def _field(seed: int, sizes: int) -> ScoredPlacements:
    """Houses of about 3 x 6 cells on a field of 24 x 16 cells with smooth random scores."""
    numbers = np.random.default_rng(seed)
    row, col = np.nonzero(numbers.random((16, 24)) < 0.8)
    score = 50 + 20 * np.sin(row / 3 + numbers.random()) + 15 * np.cos(col / 4) + numbers.normal(0, 4, row.size)
    size = numbers.integers(0, sizes, row.size)
    one = np.ones(row.size)
    left = one * numbers.choice([0.0, 1.3])
    return ScoredPlacements(
        3.0 + col * CELL, 7.0 - row * CELL, (3.0 + size) * one, 1.5 + 0.5 * size, np.abs(score), size, left, 0 * one
    )


@given(st.integers(0, 10_000), st.integers(1, 2), st.integers(2, 5))
def test_bound_and_block_hold_the_best_between_them(seed, sizes, houses):
    placements = _field(seed, sizes)
    rules = LayoutRules(houses, side_gap_m=0.5, end_gap_m=0.5)
    best = best_layout(placements, rules)
    found = thinned_layout(placements, rules, CELL, most=40)
    assert best.proven
    assert found.layout.score <= best.score + 1e-6 <= found.layout.score_bound + 2e-6
    assert found.layout.score >= 0.9 * best.score  # measured: 0.96 at the worst of these
    assert found.layout.score == placements.score[found.layout.chosen].sum()


def test_nothing_is_thinned_where_all_can_be_tried():
    placements, rules = _field(3, 1), LayoutRules(3)
    found = thinned_layout(placements, rules, CELL)
    assert found.boxes == 1 and found.layout.proven
    assert found.layout.score == best_layout(placements, rules).score


def test_most_houses_first():
    placements = _field(4, 1)
    for most in (15_000, 40):
        rules = LayoutRules(99, way="houses", side_gap_m=0.5, end_gap_m=0.5)
        best, found = best_layout(placements, rules), thinned_layout(placements, rules, CELL, most)
        assert len(found.layout.chosen) <= len(best.chosen) <= found.layout.houses_bound
        assert found.layout.score_bound >= best.score - 1e-6


def test_none_at_all():
    none = np.empty(0)
    found = thinned_layout(ScoredPlacements(*[none] * 8), LayoutRules(3), CELL)
    assert len(found.layout.chosen) == 0 and found.given == 0
