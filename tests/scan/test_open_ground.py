"""Outlines widened by a distance and parcels inside their setback: never on the wrong side of the true distance, by 0.03 % at most."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tunnelsite.scan.open_ground import _widest, inset, widened

ROUND = np.linspace(0.0, 2 * np.pi, 3601)


@pytest.mark.parametrize(
    "shape", [shapely.Point(10, 20), shapely.LineString([(0, 0), (30, 7)]), shapely.box(0, 0, 8, 5)]
)
@pytest.mark.parametrize("distance_m", [0.5, 12.0])
def test_widened_holds_the_true_distance_and_little_more(shape, distance_m: float) -> None:
    found = widened([shape], distance_m)
    corners = shapely.get_coordinates(shape)
    nearest = corners[None] + distance_m * (1 - 1e-9) * np.stack([np.cos(ROUND), np.sin(ROUND)], axis=1)[:, None]
    assert shapely.covers(found, shapely.multipoints(nearest.reshape(-1, 2)))
    rim = shapely.get_coordinates(shapely.segmentize(shapely.boundary(found), distance_m / 50))
    away = shapely.distance(shapely.points(rim), shape)
    assert away.min() >= distance_m * (1 - 1e-9) and away.max() <= distance_m * 1.000303


def test_inset_keeps_the_setback_and_little_more() -> None:
    parcel = shapely.Polygon([(0, 0), (60, 0), (60, 20), (30, 20), (30, 50), (0, 50)])  # with a corner that juts in
    found = inset(parcel, 6.0)
    away = shapely.distance(shapely.points(shapely.get_coordinates(found)), shapely.boundary(parcel))
    assert away.min() >= 6.0 * (1 - 1e-9) and away.max() <= 6.0 * 1.000303
    assert inset(parcel, 0.0) is parcel


def test_the_widest_place_is_the_largest_circle_of_any_part() -> None:
    line = shapely.LineString([(90, 0), (90, 99)])
    parts = shapely.GeometryCollection(
        [shapely.box(0, 0, 8, 30), shapely.box(20, 0, 80, 11.5), line, shapely.Point(5, 5)]
    )
    assert _widest(parts) == pytest.approx(11.5, abs=2e-3)
    assert _widest(line) == 0.0 and _widest(shapely.Polygon()) == 0.0
