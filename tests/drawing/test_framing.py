"""One far parcel of which nothing is known shrinks no map."""

from __future__ import annotations

import numpy as np
import shapely

from tunnelsite.drawing.framing import framed, outside_words


def test_a_map_frames_what_is_known_and_what_lies_near_it() -> None:
    shapes = np.array([shapely.box(x, 0, x + 90, 90) for x in (0, 100, 200, 5000)], object)
    assert framed(shapes, np.array([True, True, False, False])).tolist() == [True, True, True, False]
    assert framed(shapes, np.array([True, False, False, True])).all(), "what is known is on the map, however far"
    assert framed(shapes, np.zeros(4, bool)).all(), "where nothing is known, all of them are"


def test_what_lies_beyond_a_map_is_named() -> None:
    assert outside_words([]) == ""
    assert outside_words(["F07"]) == "Beyond this map, of which nothing is known: F07."
    assert outside_words(["A", "B", "C"]) == "Beyond this map, of which nothing is known: A, B and C."
    assert outside_words(["A", "B", "C", "D"]) == "Beyond this map, of which nothing is known: A, B and 2 more."
