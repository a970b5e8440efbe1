"""The ranking against its rules written out, one placement after another: several sizes, bearings and parcels, with ties."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.scan.test_ranking import COLS, ROWS, scan
from tunnelsite.core.house import House
from tunnelsite.scan.ranking import RankRules, footprint_corners, ranked

SIZES = (House(3.0, 6.0, name="small"), House(4.5, 10.0, name="large"))


def by_the_rules(scans, scored, rules: RankRules, sound) -> list[tuple[int, int]]:
    """Best first; none that overlaps a chosen one, stands nearer than asked or lies in a full parcel; ties to the earlier scan, then
    north, then west; the best of each size is kept, in the place of the last others where there is no room."""
    order = sorted(
        ((k, int(i)) for k, values in enumerate(scored) for i in np.flatnonzero(np.isfinite(values))),
        key=lambda one: (-scored[one[0]][one[1]], one),
    )
    order = [one for one in order if sound(scans[one[0]], one[1])]
    names = {one.house.name for one in scans}
    firsts = []
    for name in names if len(names) > 1 else ():
        firsts += [one for one in order if scans[one[0]].house.name == name][:1]
    shape = {one: shapely.polygons(footprint_corners(scans[one[0]], one[1])) for one in order}
    chosen, taken = [], {}
    for one in order:
        if len(chosen) == rules.top:
            break
        owner = int(scans[one[0]].owner[one[1]])
        clear = all(
            shapely.area(shapely.intersection(shape[one], shape[other])) < 1e-9
            and shapely.distance(shape[one].centroid, shape[other].centroid) > rules.apart_m - 1e-9
            for other in chosen
        )
        if one in firsts or (clear and taken.get(owner, 0) != (rules.per_parcel or -1)):
            chosen.append(one)
            taken[owner] = taken.get(owner, 0) + 1
    for first in [one for one in firsts if one not in chosen]:
        if len(chosen) >= rules.top:
            chosen.remove([one for one in chosen if one not in firsts][-1])
        chosen.append(first)
    return chosen


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "rules", [RankRules(7), RankRules(6, 11.0), RankRules(6, 8.0, per_parcel=2), RankRules(3, 30.0)]
)
def test_the_ranking_follows_its_rules(seed: int, rules: RankRules) -> None:
    rng = np.random.default_rng(seed)
    owner = (3 * (np.arange(ROWS * COLS) % COLS) // COLS).astype(np.int32)
    scans = [scan(house, bearing, owner) for house in SIZES for bearing in (90.0, 70.0)]
    scored = [np.round(rng.random(ROWS * COLS) * 40 + 10 * k) for k in (2, 1, 0, 1)]  # whole numbers: many ties
    for values in scored:
        values[rng.random(ROWS * COLS) < 0.9] = np.nan
    unsound = {(k, int(i)) for k in range(4) for i in np.argsort(-np.nan_to_num(scored[k]))[:2]}

    def sound(one, item: int) -> bool:
        return (next(k for k, other in enumerate(scans) if other is one), item) not in unsound

    found = [(choice.scan, choice.item) for choice in ranked(scans, scored, rules, sound)]
    expected = by_the_rules(scans, scored, rules, sound)
    assert sorted(found) == sorted(expected)
    score = [scored[k][i] for k, i in found]
    assert score == sorted(score, reverse=True) and not set(found) & unsound
    assert found[0] == expected[0]
    assert {scans[k].house.name for k, _ in found} == {"small", "large"}


def test_the_best_house_and_bearing_win_wherever_they_stand_in_the_list() -> None:
    for best in range(3):
        scans = [scan(SIZES[0], bearing) for bearing in (90.0, 80.0, 70.0)]
        scored = [np.full(ROWS * COLS, 90.0 if k == best else 40.0 + k) for k in range(3)]
        assert ranked(scans, scored, RankRules(1))[0].scan == best


def test_equal_scores_go_to_the_first_house_then_to_the_north_west() -> None:
    scans = [scan(SIZES[0]), scan(SIZES[0], 70.0)]
    scored = [np.full(ROWS * COLS, np.nan) for _ in scans]
    for k, row, col in ((1, 3, 3), (0, 30, 10), (0, 12, 40), (0, 12, 8)):
        scored[k][row * COLS + col] = 70.0
    found = ranked(scans, scored, RankRules(4))
    assert [(one.scan, *divmod(one.item, COLS)) for one in found] == [(0, 12, 8), (0, 12, 40), (0, 30, 10), (1, 3, 3)]
