"""The best compact block against trying everything, placement by placement."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from tunnelsite.plans.layout.compact_block import BlockGround, BlockRules, arrangements, best_compact


def slow(score, cost, clear, pitch, rules: BlockRules):
    """Most houses, then highest total (or, with costs, cheapest within what may be given up), by trying everything."""
    for houses in range(rules.houses, 0, -1):
        found = []
        for across, along in arrangements(houses):
            for r, c in np.ndindex(score.shape):
                slots = [(r + i * pitch[0], c + j * pitch[1]) for i in range(across) for j in range(along)]
                if any(a >= score.shape[0] or b >= score.shape[1] for a, b in slots):
                    continue
                middle = r + (across - 1) * pitch[0] // 2
                if houses > 1 and along == 1:
                    half = -(-pitch[1] // 2)
                    sides = [c - half, c + half]
                    if not any(0 <= b < score.shape[1] and clear[middle, b] for b in sides):
                        continue
                if along > 1 and not all(clear[middle, c + j * pitch[1] + pitch[1] // 2] for j in range(along - 1)):
                    continue
                for some in itertools.combinations(slots, houses):
                    values = [score[a, b] for a, b in some]
                    if np.isfinite(values).all():
                        known = [cost[a, b] for a, b in slots if np.isfinite(score[a, b])]
                        found.append((sum(values), min(known)))
        if found:
            top = max(total for total, _ in found)
            able = [price for total, price in found if total >= top - rules.give * houses - 1e-9]
            return houses, top, min(able)
    return None


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("houses", [1, 2, 3, 5])
def test_block_is_the_best_of_all(seed: int, houses: int) -> None:
    rng = np.random.default_rng(seed)
    score = np.where(rng.random((13, 14)) < 0.85, rng.uniform(40, 100, (13, 14)), np.nan)
    cost, clear = rng.uniform(0, 500, score.shape), rng.random(score.shape) < 0.8
    pitch, rules = (3, 5), BlockRules(houses, 1.0, 2.0, give=4.0)
    wanted = slow(score, cost, clear, pitch, rules)
    plain = best_compact(BlockGround(score, None, lambda deep, wide: clear, pitch, (2, 3)), rules)
    priced = best_compact(BlockGround(score, cost, lambda deep, wide: clear, pitch, (2, 3)), rules)
    assert len(plain.cells) == len(priced.cells) == wanted[0]
    assert plain.score == pytest.approx(wanted[1]) == pytest.approx(plain.best_score)
    assert score[tuple(plain.cells.T)].sum() == pytest.approx(plain.score)
    assert score[tuple(priced.cells.T)].sum() == pytest.approx(priced.score)
    assert priced.cost == pytest.approx(wanted[2])
    assert priced.score >= wanted[1] - rules.give * wanted[0] - 1e-6
    steps = np.unique(plain.cells - plain.cells.min(axis=0), axis=0)
    assert (steps % pitch == 0).all()


def test_fewer_houses_where_there_is_no_room_for_all_and_none_where_there_is_none() -> None:
    score = np.full((7, 9), np.nan)
    rules = BlockRules(4, 1.0, 2.0)
    clear = np.ones(score.shape, bool)
    ground = BlockGround(score, None, lambda deep, wide: clear, (3, 5), (2, 3))
    assert best_compact(ground, rules) is None
    score[0, 0] = score[3, 0] = 50.0
    assert best_compact(ground, rules).cells.tolist() == [[0, 0], [3, 0]]


def test_arrangements_hold_all_houses_in_few_rows() -> None:
    assert arrangements(4) == [(4, 1), (2, 2)]
    assert arrangements(1) == [(1, 1)]
    for houses in range(1, 60):
        for across, along in arrangements(houses):
            assert across * along >= houses > across * (along - 1)
