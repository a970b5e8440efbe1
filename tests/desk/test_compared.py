"""Where the options of one answer are in another: the same house on the same ground, not merely a near one."""

from __future__ import annotations

import shapely.geometry
from pyproj import Transformer
from shapely import affinity

from tunnelsite.desk.compared import compared
from tunnelsite.desk.measures import Units

LON, LAT = -78.15, 43.01
TO_MAP = Transformer.from_crs(f"+proj=tmerc +lon_0={LON} +lat_0={LAT}", 4326, always_xy=True)


def option(rank, east_m, score, house="30x96ft", bearing=90.0, sides=(29.3, 9.1)):
    """An option of an answer, its centre so far east of the middle of the farm."""
    long, wide = sides
    shape = affinity.rotate(shapely.box(-long / 2, -wide / 2, long / 2, wide / 2), 90.0 - bearing)
    shape = affinity.translate(shape, east_m)
    lon, lat = TO_MAP.transform(east_m, 0.0)
    return {
        "rank": rank,
        "score": score,
        "place": {"lon": lon, "lat": lat, "bearing_deg": bearing, "house": house},
        "footprint": shapely.geometry.mapping(shapely.transform(shape, TO_MAP.transform, interleaved=False)),
    }


def told(first, second):
    return compared([{"options": first}, {"options": second}], [{}, {}], Units(feet=True))


def test_an_option_is_found_by_the_ground_it_covers():
    found = told([option(1, 0, 80), option(2, 100, 70)], [option(1, 103, 75), option(2, 0, 74)])
    assert [(one["a_rank"], one["b_rank"]) for one in found["moved"]] == [(1, 2), (2, 1)]
    assert found["words"][1:] == [
        "option 1 is now option 2 (80.0 -> 74.0)",
        "option 2 is now option 1, 9.8 ft from where it was (70.0 -> 75.0)",
    ]
    gone = told([option(1, 0, 80)], [option(1, 25, 79)])
    assert gone["moved"][0]["b_rank"] is None and "no longer in the list" in gone["words"][-1]


def test_two_houses_at_one_spot_are_two_options():
    """Each finds itself, in whatever order the two lists hold them, and none is found twice."""
    small = {"house": "20x48ft", "sides": (14.6, 6.1)}
    found = told([option(1, 0, 80), option(2, 0, 78, **small)], [option(1, 0, 81, **small), option(2, 2, 79)])
    assert [(one["a_rank"], one["b_rank"]) for one in found["moved"]] == [(1, 2), (2, 1)]
    alone = told([option(1, 0, 80), option(2, 0, 78, **small)], [option(1, 0, 81, **small)])
    assert [(one["a_rank"], one["b_rank"]) for one in alone["moved"]] == [(1, None), (2, 1)]


def test_another_size_or_ridge_on_the_same_ground_is_said():
    shorter = told([option(1, 0, 80)], [option(1, 0, 83, house="30x72ft", sides=(21.9, 9.1))])
    assert "option 1 stays, now 30 × 72 ft (80.0 -> 83.0)" in shorter["words"]
    turned = told([option(1, 0, 80)], [option(1, 0, 83, bearing=75.0)])
    assert "option 1 stays, its ridge turned by 15° (80.0 -> 83.0)" in turned["words"]
    across = told([option(1, 0, 80)], [option(1, 0, 83, bearing=0.0)])
    assert across["moved"][0]["b_rank"] is None
