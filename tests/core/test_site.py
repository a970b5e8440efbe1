"""Edges of shapes."""

from __future__ import annotations

import numpy as np
import shapely

from tunnelsite.core.site import segments_of, segments_of_each


def test_edges_of_many_shapes_are_those_of_each() -> None:
    holed = shapely.Polygon([(0, 0), (9, 0), (9, 9), (0, 9)], [[(2, 2), (4, 2), (3, 4)]])
    two = shapely.MultiPolygon([shapely.box(20, 0, 21, 1), shapely.box(30, 0, 31, 2)])
    mixed = shapely.GeometryCollection([shapely.Point(5, 5), two, shapely.LineString([(0, 0), (1, 3), (2, 0)])])
    shapes = np.array(
        [shapely.Polygon(), holed, mixed, shapely.Point(7, 8), None, two, shapely.box(1, 1, 2, 2)], object
    )
    each = segments_of_each(shapes)
    assert [len(one) for one in each] == [0, 7, 11, 1, 0, 8, 4]
    for one, shape in zip(each, shapes, strict=True):
        np.testing.assert_array_equal(one, segments_of(shape) if shape is not None else np.empty((0, 4)))
    assert each[1].tolist()[0] == [0, 0, 9, 0] and each[3].tolist() == [[7, 8, 7, 8]]
    assert segments_of_each(np.empty(0, object)) == []
