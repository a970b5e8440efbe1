"""Explanations, robustness and combinations against brute force and against the run itself."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter

from tests.scan.grounds import features, hills, site
from tunnelsite import Settings, screen
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.decisions.explain import explain_everywhere, explain_rank
from tunnelsite.kernels.terrain.plane_error import slope_error
from tunnelsite.kernels.terrain.planes import rectangle_planes
from tunnelsite.scan.combine import combined, dominance
from tunnelsite.scan.firmness.other_weights import (
    both_within,
    candidate_marks,
    chance_within,
    drawn_weights,
    pitch_errors,
    weighted_means,
)
from tunnelsite.scan.firmness.rank_shares import acceptability
from tunnelsite.scan.refine import where


@pytest.fixture(scope="module")
def result():
    barn = features([shapely.box(499_930, 4_700_040, 499_940, 4_700_050)], name="barn")
    ground = hills(90, 110, 3)
    return screen(site(ground, structures=barn), House(6, 12), settings=Settings(halo_m=20, top=8, setback_m=3))


def test_every_candidate_is_explained_with_its_own_score(result):
    assert result.choices
    for rank, choice in enumerate(result.choices, 1):
        told = explain_rank(result, rank)
        assert told.rank == rank and not told.broken
        assert told.score == pytest.approx(choice.score, abs=2e-6)
        assert sum(r.points or 0 for r in told.rules) == pytest.approx(told.score_here)
        scan = result.scans[choice.scan]
        for rule in told.rules:
            if rule.rule in scan.measures:
                stored = scan.measures[rule.rule][choice.item]
                assert (
                    np.isnan(stored) if rule.value is None else rule.value == pytest.approx(stored, rel=1e-5, abs=1e-6)
                )
        at = where(scan, choice.item)
        assert explain_everywhere(result, at["lon"], at["lat"])[0].rank == rank


def test_explanation_agrees_with_the_scan_at_random_places(result):
    scan, rng = result.scans[0], np.random.default_rng(5)
    grid, passing = scan.frame.grid, set(scan.index.tolist())
    for row, col in zip(rng.integers(0, grid.rows, 60), rng.integers(0, grid.cols, 60), strict=True):
        lon, lat = grid.lonlat(*grid.centre(row, col))
        told = explain_everywhere(result, float(lon), float(lat))[0]
        assert (not told.broken) == (int(row) * grid.cols + int(col) in passing), told.words()
        assert all(rule.change for rule in told.broken)


def test_places_off_the_data_and_unknown_ranks_are_refused(result):
    for lon, lat in ((0.0, 0.0), (200.0, 10.0)):
        with pytest.raises(UsageError):
            explain_everywhere(result, lon, lat)[0]
    with pytest.raises(UsageError):
        explain_rank(result, 999)


def test_acceptability_is_reproducible_and_sums_to_one(result):
    marks, weights = candidate_marks(result), np.array([j.rubric.weight for j in result.judges])
    drawn = [weighted_means(marks[None], drawn_weights(weights, 50.0, 200, 1)) for _ in range(2)]
    one, two = (acceptability(scores)[0] for scores in drawn)
    assert np.array_equal(one, two) and one.sum(axis=0) == pytest.approx(1) and one.sum(axis=1) == pytest.approx(1)
    _, mean_rank = acceptability(weighted_means(marks[None], drawn_weights(weights, 1e9, 50, 1)))
    assert mean_rank.tolist() == list(range(1, len(result.choices) + 1))


def test_acceptability_of_two_equal_rivals_is_half():
    shares, _ = acceptability(weighted_means(np.eye(2)[None], drawn_weights(np.ones(2), 5, 20_000, 1)))
    assert shares[:, 0] == pytest.approx([0.5, 0.5], abs=0.015)  # 4 standard errors of 20 000 draws


def test_equal_scores_share_their_ranks_and_what_is_out_takes_none():
    shares, mean_rank = acceptability(np.array([[0.7, 0.9, 0.7, -np.inf]]))
    assert shares.tolist() == [[0, 0.5, 0.5, 0], [1, 0, 0, 0], [0, 0.5, 0.5, 0], [0, 0, 0, 0]]
    assert mean_rank[:3].tolist() == [2.5, 1.0, 2.5] and np.isnan(mean_rank[3])


@pytest.mark.parametrize("range_m", [0.0, 4.0])
def test_slope_error_against_simulated_fields_through_the_kernel(range_m):
    rng, sizes, found = np.random.default_rng(2), (14.5, 7.2), []
    for _ in range(12):
        field = rng.normal(size=(300, 300))
        if range_m:  # filtering by a Gaussian of s gives the correlation exp(-d^2 / (4 s^2)): s = range / 2
            field = gaussian_filter(field, range_m / 2, mode="wrap", truncate=6) * np.sqrt(np.pi) * range_m
        planes = rectangle_planes((0.1 * field).astype(np.float32), *sizes, 1.0, rows=(0, 300))
        found.append([np.nanvar(planes.slope_along), np.nanvar(planes.slope_across)])
    assert np.sqrt(np.mean(found, axis=0)) == pytest.approx(slope_error(*sizes, 1.0, 0.1, range_m), rel=0.06)


def test_chances(result):
    assert chance_within(0.0, 0.0) == 1 and chance_within(1.0, 0.0) == 0
    assert chance_within(0.0, 1 / 192) == pytest.approx(0.6827, abs=1e-4)  # one standard deviation
    chances = [both_within(row, error.both) for row, error in zip(result.rows, pitch_errors(result), strict=True)]
    assert len(chances) == len(result.choices) and all(0 <= chance <= 1 for chance in chances)
    assert np.isnan(both_within(result.rows[0], (np.nan, 0.01)))


def test_combinations_and_front():
    marks = np.array([[1.0, 0.0, np.nan, np.nan], [0.25, 1.0, 0.5, np.nan]])
    assert combined(marks, [1, 1])[:3] == pytest.approx([0.625, 0.5, 0.5])
    assert combined([[np.nan], [1.0], [0.2]], [2, 1, 1])[0] == pytest.approx(0.55)  # half marks where nothing is known
    assert combined([[np.nan], [1.0]], [1, 1], "lowest")[0] == 0.5
    assert combined(marks, [1, 1], "geometric")[:3] == pytest.approx([0.5, 0, 0.5])
    assert combined(marks, [1, 1], "lowest")[:3] == pytest.approx([0.25, 0, 0.5])
    assert all(np.isnan(combined(marks, [1, 1], way)[3]) for way in ("mean", "geometric", "lowest"))
    assert dominance(np.array([[1, 0, 0.5, 0.4], [0, 1, 0.5, 0.5]])).tolist() == [True, True, True, False]
    half_known = np.array([[0.5, 0.6, 0.6, 0.7], [1.0, np.nan, 0.9, np.nan]])
    assert dominance(half_known).tolist() == [True, False, True, True]  # only what is known of both alike is beaten
