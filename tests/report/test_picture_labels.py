"""Numbers on the pictures can be read: none is drawn over another."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tunnelsite.drawing.contours import label_spots
from tunnelsite.drawing.farm_map import PIN_AWAY, PIN_R, _pins
from tunnelsite.report.page_opening import share_words
from tunnelsite.report.page_record import _three


def box(x: float, y: float) -> np.ndarray:
    return np.array([(x - 20.0, y - 6.0), (x + 20.0, y - 6.0), (x + 20.0, y + 6.0), (x - 20.0, y + 6.0)])


def test_heights_of_close_contours_do_not_meet() -> None:
    along = np.linspace(0.0, 400.0, 41)
    lines = {float(k): [(9.0 * k, y) for y in along] for k in range(8)}
    found = label_spots(lines)
    assert set(found) == set(lines)
    places = list(found.values())
    for k, one in enumerate(places):
        assert all((np.abs(np.subtract(one, other)) > (38, 13)).any() for other in places[:k])
    assert label_spots({1.0: [(0.0, 0.0)], 2.0: [(1.0, 1.0)], 3.0: []}).keys() == {1.0}


def test_a_pin_that_another_box_would_hide_goes_elsewhere() -> None:
    boxes = [box(100, 100), box(102, 124), box(300, 100)]
    assert [pin.tolist() for pin in _pins(boxes)] == [[0, -PIN_AWAY], [0, PIN_AWAY], [0, -PIN_AWAY]]
    crowd = [box(100, 100), box(100, 124), box(100, 148)]
    discs = [shapely.Point(one.mean(axis=0) + pin).buffer(PIN_R) for one, pin in zip(crowd, _pins(crowd), strict=True)]
    for k, disc in enumerate(discs):
        assert not any(disc.intersects(shapely.Polygon(one)) for n, one in enumerate(crowd) if n != k)
        assert not any(disc.intersects(other) for other in discs[:k])


@pytest.mark.parametrize(
    ("part", "whole", "words"),
    [
        (0, 9, "0 %"),
        (0, 0, "0 %"),
        (219, 108_213, "0.2 %"),
        (1, 9_000, "under 0.1 %"),
        (8_999, 9_000, "over 99.9 %"),
        (9, 9, "100 %"),
        (1, 3, "33 %"),
        (995, 1_000, "99.5 %"),
    ],
)
def test_a_share_never_rounds_to_none_or_all(part: int, whole: int, words: str) -> None:
    assert share_words(part, whole) == words


@pytest.mark.parametrize(
    ("value", "words"),
    [(285_130.0, "285,000"), (56_312.0, "56,300"), (0.1534, "0.153"), (10.0001, "10"), (2.6e6, "2,600,000")],
)
def test_figures_are_no_powers_of_ten(value: float, words: str) -> None:
    assert _three(value) == words
