"""Blocks of houses: exact against exhaustive search, with every rule kept."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunnelsite.core.errors import ResourceShortage, UsageError
from tunnelsite.core.shade_gap import Roof, clear_gap_m, shade_reach
from tunnelsite.plans.layout import bounds as layout_bounds
from tunnelsite.plans.layout import cliques
from tunnelsite.plans.layout.cliques import maximal_cliques
from tunnelsite.plans.layout.packing import LayoutRules, ScoredPlacements, _verdict, best_layout

FOOT = 0.3048
SIZES = ((29.26, 9.14), (14.6, 6.1))


def _placements(seed: int, count: int, shade: float = 0.0, step: float = 3.0, kinds: int = 2) -> ScoredPlacements:
    rng = np.random.default_rng(seed)
    size = rng.integers(0, kinds, count)
    length, width = np.array(SIZES)[size].T
    along, across = np.round(rng.uniform(0, 70, count) / step) * step, np.round(rng.uniform(0, 45, count) / step) * step
    left = shade * width
    return ScoredPlacements(
        along, across, length, width, rng.uniform(0, 100, count).round(1), size, left, np.zeros(count)
    )


def _together(one: int, other: int, placements: ScoredPlacements, rules: LayoutRules) -> bool:
    """Slow and plain: may these two stand together?"""
    p = placements
    apart_along = abs(p.along_m[one] - p.along_m[other]) - (p.length_m[one] + p.length_m[other]) / 2
    apart_across = abs(p.across_m[one] - p.across_m[other]) - (p.width_m[one] + p.width_m[other]) / 2
    right, left = (one, other) if p.across_m[one] < p.across_m[other] else (other, one)
    needed = max(rules.side_gap_m, p.shade_left_m[right], p.shade_right_m[left])
    return apart_along >= rules.end_gap_m - 1e-5 or apart_across >= needed - 1e-5


def _blocks(placements: ScoredPlacements, rules: LayoutRules):
    """Every sound block, by brute force."""
    count = len(placements)
    fits = [[_together(i, j, placements, rules) for j in range(count)] for i in range(count)]
    for many in range(min(rules.houses, count) + 1):
        for block in itertools.combinations(range(count), many):
            sizes = [int((placements.size[list(block)] == k).sum()) for k in range(len(rules.of_size))]
            if all(n <= most for n, most in zip(sizes, rules.of_size, strict=True)) and all(
                fits[i][j] for i, j in itertools.combinations(block, 2)
            ):
                yield block


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 10**6), st.integers(1, 11), st.integers(1, 4), st.sampled_from(["score", "houses"]),
    st.sampled_from([(), (1, 2), (0, 3), (2, 1)]), st.sampled_from([0.0, 0.4, 0.9]),
)  # fmt: skip
def test_the_best_block_is_the_best_of_all(seed, count, houses, way, of_size, shade) -> None:
    placements = _placements(seed, count, shade)
    rules = LayoutRules(houses, of_size, way=way)
    found = best_layout(placements, rules)
    score = placements.score

    def worth(block) -> tuple:
        total = score[list(block)].sum()
        return (len(block), total) if way == "houses" else (total,)

    best = max(worth(block) for block in _blocks(placements, rules))
    assert worth(found.chosen) == pytest.approx(best, abs=1e-6)
    assert found.proven and found.score_bound == pytest.approx(found.score)
    assert "proven best" in found.verdict or not len(found.chosen)
    assert all(_together(i, j, placements, rules) for i, j in itertools.combinations(found.chosen, 2))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 30), st.sampled_from([1.0, 2.0, 0.0]))
def test_cliques_are_the_maximal_ones_of_the_conflict_graph(seed: int, count: int, step: float) -> None:
    """Against networkx-free brute force: Bron and Kerbosch on the pairs."""
    rng = np.random.default_rng(seed)
    low, size = rng.uniform(0, 20, (count, 2)), rng.uniform(2, 9, (count, 2))
    if step:
        low, size = np.round(low / step) * step, np.maximum(np.round(size / step), 1) * step
    high = low + size
    pairs = (np.minimum(high[:, None], high) - np.maximum(low[:, None], low) > 2e-6).all(2)
    np.fill_diagonal(pairs, False)
    expected: set[frozenset[int]] = set()

    def grow(clique: set, more: set, done: set) -> None:
        if not more and not done:
            expected.add(frozenset(clique))
        for item in list(more):
            near = set(np.flatnonzero(pairs[item]))
            grow(clique | {item}, more & near, done & near)
            more = more - {item}
            done = done | {item}

    grow(set(), set(range(count)), set())
    matrix = maximal_cliques(low, high)
    found = [frozenset(np.flatnonzero(row)) for row in matrix.toarray()]
    assert set(found) == expected and len(found) == len(expected)


def test_touching_rectangles_do_not_overlap() -> None:
    low = np.array([[0.0, 0.0], [0.1 + 0.2, 0.0], [0.0, 0.7]])
    high = np.array([[0.3, 0.7], [0.6, 0.7], [0.3, 1.4]])
    assert (maximal_cliques(low, high).toarray().sum(1) == 1).all()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 11), st.integers(1, 4))
def test_bounds_hold_for_every_block(seed: int, count: int, houses: int) -> None:
    placements, rules = _placements(seed, count), LayoutRules(houses)
    low = (
        np.column_stack([placements.along_m, placements.across_m])
        - np.column_stack([placements.length_m + rules.end_gap_m, placements.width_m + rules.side_gap_m]) / 2
    )
    high = 2 * np.column_stack([placements.along_m, placements.across_m]) - low
    overall, with_each = layout_bounds.score_bounds(low, high, placements.score, houses)
    for block in _blocks(placements, rules):
        total = placements.score[list(block)].sum()
        assert total <= overall + 1e-9
        assert all(total <= with_each[item] + 1e-9 for item in block)


def test_sides_and_ends_keep_their_own_gaps() -> None:
    n = 2
    ones, zeros = np.ones(n), np.zeros(n)
    for along, across, together in (
        (0.0, 9.14 + 3.6576, True),
        (0.0, 9.14 + 3.65, False),
        (29.26 + 6.0, 0.0, True),
        (29.26 + 5.99, 0.0, False),
    ):
        placements = ScoredPlacements(
            np.array([0, along]), np.array([0, across]), 29.26 * ones, 9.14 * ones, ones, zeros, zeros, zeros
        )
        found = best_layout(placements, LayoutRules(2, end_gap_m=6.0))
        assert len(found.chosen) == (2 if together else 1)


def test_shade_asks_for_room_on_its_own_side_only() -> None:
    # A tall house south (right) of a low one needs its shade gap, the other way round only the machine gap.
    ones = np.ones(2)
    for tall_first, together in ((True, False), (False, True)):
        left = np.array([8.0, 0.0]) if tall_first else np.array([0.0, 8.0])
        placements = ScoredPlacements(
            0 * ones, np.array([0.0, 9.14 + 5]), 29.26 * ones, 9.14 * ones, ones, 0 * ones, left, 0 * ones
        )
        assert len(best_layout(placements, LayoutRules(2)).chosen) == (2 if together else 1)


def test_more_houses_or_more_score() -> None:
    # One splendid spot in the middle against two fair ones that it would block.
    placements = ScoredPlacements(
        np.array([0.0, -8.0, 24.0]), np.zeros(3), np.full(3, 29.26), np.full(3, 9.14), np.array([100.0, 30.0, 31.0]),
        np.zeros(3), np.zeros(3), np.zeros(3),
    )  # fmt: skip
    rules = {"side_gap_m": 3.0, "end_gap_m": 2.0}
    assert best_layout(placements, LayoutRules(2, **rules)).chosen.tolist() == [0]
    assert best_layout(placements, LayoutRules(2, way="houses", **rules)).chosen.tolist() == [1, 2]


def test_a_lattice_of_a_thousand_is_proven() -> None:
    along, across = (values.ravel() for values in np.meshgrid(np.arange(40) * 2.0, np.arange(30) * 2.0))
    score = 70 + 20 * np.cos(along / 30) * np.sin(across / 20) + 5 * np.sin(along * across)
    n = len(along)
    placements = ScoredPlacements(
        along, across, np.full(n, 29.26), np.full(n, 9.14), score, np.zeros(n), np.zeros(n), np.zeros(n)
    )
    found = best_layout(placements, LayoutRules(4, time_limit_s=60))
    assert found.proven and len(found.chosen) == 4
    # No exchange of one house for another improves it.
    rules = LayoutRules(4)
    for out in found.chosen:
        rest = [item for item in found.chosen if item != out]
        able = [k for k in range(n) if all(_together(k, item, placements, rules) for item in rest)]
        assert score[able].max() <= score[out] + 1e-9


def test_out_of_time_says_so_and_is_still_sound() -> None:
    placements = _placements(3, 400, step=0.5, kinds=1)
    found = best_layout(placements, LayoutRules(6, time_limit_s=1e-3))
    assert len(found.chosen) >= 1 and found.score_bound >= found.score - 1e-9
    assert all(_together(i, j, placements, LayoutRules(6)) for i, j in itertools.combinations(found.chosen, 2))
    assert not found.proven and "time ran out" in found.verdict and "no block scores above" in found.verdict


def test_no_candidates_is_no_failure() -> None:
    empty = np.empty(0)
    found = best_layout(ScoredPlacements(*[empty] * 8), LayoutRules(3))
    assert len(found.chosen) == 0 and found.proven


def test_what_cannot_be_meant_is_refused(monkeypatch) -> None:
    for wrong in (
        {"houses": 0},
        {"side_gap_m": -1.0},
        {"end_gap_m": math.nan},
        {"way": "most"},
        {"of_size": (-1,)},
        {"time_limit_s": 0},
    ):
        with pytest.raises(UsageError):
            LayoutRules(**({"houses": 2} | wrong))
    one = np.ones(1)
    for wrong in (5, 2):  # score, length
        values = [one.copy() for _ in range(8)]
        values[4 if wrong == 5 else 2] = np.array([math.nan if wrong == 5 else 0.0])
        with pytest.raises(UsageError):
            ScoredPlacements(*values)
    monkeypatch.setattr(cliques, "MOST_CELLS", 10)
    with pytest.raises(ResourceShortage, match="lattice"):
        best_layout(_placements(1, 50), LayoutRules(2, way="houses"))


# Noon and 10 am / 2 pm reach per unit of height on 21 December (derived).
@pytest.mark.parametrize(
    ("lat", "noon", "ten"),
    [
        (32, 1.45, 1.64),
        (35, 1.63, 1.85),
        (38, 1.84, 2.11),
        (40, 2.00, 2.31),
        (42, 2.19, 2.55),
        (44, 2.41, 2.84),
        (45, 2.53, 3.01),
        (47, 2.81, 3.40),
        (49, 3.16, 3.89),
    ],
)
def test_reach_of_the_midwinter_shadow(lat: float, noon: float, ten: float) -> None:
    assert shade_reach(lat, 0)[0] == pytest.approx(noon, abs=0.0051)
    assert shade_reach(lat, 2)[0] == pytest.approx(ten, abs=0.0051)
    assert shade_reach(-lat, 2) == pytest.approx(shade_reach(lat, 2)[::-1])  # the southern midwinter, mirrored


@pytest.mark.parametrize(
    ("lat", "hours", "gap_ft"), [(40, 0, 9.0), (41.7, 0, 10.9), (44, 0, 13.9), (40, 2, 12.7), (44, 2, 19.0)]
)
def test_gap_between_houses_of_12_foot_ridge(lat: float, hours: float, gap_ft: float) -> None:
    # From the ridge alone [@shadow-geometry] (a gable without eaves); an arch is fuller and needs more.
    reach = shade_reach(lat, hours)[0]
    ridge, width = 12 * FOOT, 30 * FOOT
    assert clear_gap_m(Roof(ridge, width, "gable"), reach) / FOOT == pytest.approx(gap_ft, abs=0.1)
    assert clear_gap_m(Roof(ridge, width, "arch"), reach) > clear_gap_m(Roof(ridge, width, "gable"), reach) + 0.5


@given(st.floats(-60, 60), st.floats(0, 3), st.floats(0, 360))
def test_reach_is_the_largest_over_the_hours(lat: float, hours: float, bearing: float) -> None:
    """Reference: the sun's vector at many moments."""
    declination = math.radians(-23.44 if lat >= 0 else 23.44)
    phi = math.radians(lat)
    h = np.radians(15 * np.linspace(-hours, hours, 4001))
    east = -math.cos(declination) * np.sin(h)
    north = math.sin(declination) * math.cos(phi) - math.cos(declination) * np.cos(h) * math.sin(phi)
    up = math.sin(declination) * math.sin(phi) + math.cos(declination) * np.cos(h) * math.cos(phi)
    if up.min() <= 0.01:
        return
    azimuth = np.arctan2(east, north)
    altitude = np.arcsin(up)
    # The shadow points away from the sun; its part along the unit vector to the left of the ridge (bearing - 90).
    left = -np.cos(azimuth - math.radians(bearing - 90)) / np.tan(altitude)
    found = shade_reach(lat, hours, bearing)
    assert found[0] == pytest.approx(max(0, left.max()), rel=1e-5, abs=1e-5)
    assert found[1] == pytest.approx(max(0, (-left).max()), rel=1e-5, abs=1e-5)


@given(st.floats(1, 8), st.floats(3, 15), st.floats(0.1, 6), st.sampled_from(["arch", "gable"]), st.floats(0, 1))
def test_gap_is_where_the_last_ray_meets_the_ground(
    ridge: float, width: float, reach: float, shape: str, eave: float
) -> None:
    """Reference: the shadow of many points of the roof."""
    y = np.linspace(-width / 2, width / 2, 20001)
    if shape == "arch":
        z, eave_m = ridge * np.sqrt(np.maximum(1 - (2 * y / width) ** 2, 0)), 0.0
    else:
        eave_m = eave * ridge
        z = ridge - (ridge - eave_m) * np.abs(2 * y / width)
    assert clear_gap_m(Roof(ridge, width, shape, eave_m), reach) == pytest.approx(
        (y + reach * z).max() - width / 2, rel=1e-4, abs=1e-4
    )


def test_no_sun_no_gap() -> None:
    with pytest.raises(UsageError, match="not up"):
        shade_reach(70, 0)
    with pytest.raises(UsageError, match="not up"):
        shade_reach(45, 6)
    with pytest.raises(UsageError):
        Roof(3.0, 9.0, "dome")


def test_an_unproven_block_says_how_much_better_one_may_be() -> None:
    words = _verdict(2, 3, total=80.0, bound=100.0, proven=False)
    assert "2 houses, total score 80.00" in words and "scores above 100.00 (25.0 % more)" in words
    assert "no block has more than 3 houses" in words
    assert "proven best" in _verdict(1, None, 80.0, 80.0, True) and "1 house," in _verdict(1, None, 80.0, 80.0, True)


@pytest.mark.parametrize(
    ("low", "high"),
    [(np.zeros((3, 2)), np.ones((2, 2))), (np.zeros((2, 2)), np.array([[1.0, 1], [1, 0]])), (np.zeros(2), np.ones(2))],
)
def test_rectangles_without_size_or_mate_are_refused(low, high) -> None:
    with pytest.raises(ValueError, match="expected"):
        maximal_cliques(low, high)
