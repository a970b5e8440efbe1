"""Words on a map cover nothing that stands already, where any of their spots will do."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from tunnelsite.drawing.labels import Labels


def _apart(one, other) -> bool:
    return one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]


@pytest.mark.parametrize("seed", range(5))
def test_names_with_room_never_overlap_and_stay_on_the_map(seed: int) -> None:
    rng, labels = np.random.default_rng(seed), Labels(600, 400)
    labels.keep(560, 40, 28)
    for number in range(8):
        column, row = number % 4, number // 4
        spots = [
            (float(x), float(y)) for x, y in rng.uniform(0, 1, (40, 2)) * (140, 180) + (150 * column, 20 + 190 * row)
        ]
        labels.place("Parcel " + "x" * int(rng.integers(0, 6)), 15, spots)
    assert all(_apart(one, other) for one, other in itertools.combinations(labels.taken, 2))
    assert all(left >= 0 and right <= 600 and top >= 0 and bottom <= 400 for left, top, right, bottom in labels.taken)


def test_the_first_free_spot_is_taken_else_the_one_that_covers_least() -> None:
    labels = Labels(400, 300)
    first = labels.place("Home Ring", 17, [(200, 100), (200, 200)])
    assert first == (200, 100) and labels.place("Ribbon", 17, [(210, 104), (200, 200)]) == (200, 200)
    crowded = labels.place("North", 17, [(200, 100), (270, 112)])
    assert crowded == (270, 112)
    assert not labels.clear(200, 95, 5, 5) and labels.clear(50, 280, 5, 5)
