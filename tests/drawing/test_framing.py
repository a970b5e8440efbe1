"""One far parcel of which nothing is known shrinks no map."""

from __future__ import annotations

import numpy as np
import pyproj
import shapely

from tunnelsite.core.grid import covering_grid, local_crs
from tunnelsite.core.site import Frame
from tunnelsite.drawing.farm_map import framed_parcels
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


def test_the_map_of_a_farm_leaves_out_a_far_parcel_without_heights_alone() -> None:
    """Ground is known in the west; a parcel beside it without heights stays, one far in the east goes."""
    grid = covering_grid(local_crs(pyproj.CRS("EPSG:4326"), -78.0, 43.0), (0.0, 0.0, 2000.0, 200.0), 10.0, 90.0)
    ground = np.full(grid.shape, np.nan)
    ground[:, :30] = 100.0
    parcels = np.array([shapely.box(x, 20, x + 90, 180) for x in (20, 150, 310, 1800)], object)
    frame = Frame(grid, 0.0, {"ground": ground}, {}, parcels, ["A", "B", "Near", "Far"], -78.0, 43.0)
    assert framed_parcels(frame).tolist() == [True, True, True, False]
