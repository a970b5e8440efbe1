"""Soils, night light, room and bearing as criteria of whole screenings."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from tests.criteria.doubles import measured
from tests.scan.grounds import features, hills, site
from tunnelsite import screen
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.house import House
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.scan.soils import CLASSES, class_number
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_900.0, 4_700_100.0
HOUSE = House(6.0, 12.0, kind="container")
MIDDLE = (WEST + 60, NORTH - 40)


def settings(**more):
    return settings_from(
        {"halo": "30m", "crop_months": "06-10:06-20", "kind": "container", "top": 3, "azimuths": 8} | more
    )


def box(west, north, east, south):
    return shapely.box(WEST + west, NORTH - south, WEST + east, NORTH - north)


def by_place(result, name):
    """(metres east of WEST, metres south of NORTH, measure) of every placement."""
    from pyproj import Transformer

    scan = result.scans[0]
    grid = scan.frame.grid
    lon, lat = grid.lonlat(*grid.centre(*np.divmod(scan.index, grid.cols)))
    east, north = Transformer.from_crs(4326, 32617, always_xy=True).transform(lon, lat)
    return east - WEST, NORTH - north, scan.measures[name]


def test_words_of_drainage_classes() -> None:
    assert [class_number(word) for word in CLASSES] == list(range(7))
    assert class_number("Well Drained ") == class_number("well") == class_number("WELL-DRAINED") == 2
    assert class_number("Somewhat poorly") == 4 and class_number("very_poorly_drained") == 6
    for unknown in (None, "", "nan", "drained", "not rated", "poor", 3):
        assert math.isnan(class_number(unknown))


def test_worst_class_under_the_pad_and_blank_ones() -> None:
    """layers-01: blank is unknown, neither best nor worst, and counted. A strip of poor soil spoils every pad that meets it."""
    soils = features(
        [box(-10, -10, 40, 90), box(40, -10, 50, 90), box(50, -10, 90, 90), box(90, -10, 130, 90)],
        name="soils",
        drainage_class=["Well drained", "Poorly drained", "moderately well drained", ""],
    )
    result = screen(site(np.full((80, 120), 100.0), soils=soils), HOUSE, settings=settings(apron="1m"))
    east, _, worst = by_place(result, "soils")
    half = 7.0  # half of the pad's length
    sure = 1.0  # a cell
    assert (worst[east + half < 40 - sure] == 2).all()
    assert (worst[(east + half > 40 + sure) & (east - half < 50 - sure)] == 5).all()
    assert (worst[(east - half > 50 + sure) & (east + half < 90 - sure)] == 3).all()
    assert np.isnan(worst[east + half > 90 + sure]).all()
    notes = " ".join(result.scans[0].frame.notes)
    assert "1 of 4 polygons of soils has no known drainage class (1 x blank)" in notes
    assert result.rows[0]["score_soils"] == 1.0
    best = float(result.scans[0].measures["soils"][result.choices[0].item])
    assert f"soil: {['well drained', 'moderately well drained'][int(best) - 2]}" in result.rows[0]["flags"]


def test_words_of_no_known_class_are_told_and_blank_ones_counted() -> None:
    from types import SimpleNamespace

    from tests.scan.grounds import features
    from tunnelsite.scan.soils import _note

    frame = SimpleNamespace(notes=[])
    words = ["well drained", None, "", "nan", "b", "b", "c", "d", "e"]
    soils = features([box(k, 0, k + 1, 1) for k in range(9)], name="soils", drainage_class=words)
    _note(frame, soils, np.array([2.0, *[np.nan] * 8]))
    told = "8 of 9 polygons of soils have no known drainage class (3 x blank, 2 x 'b', 1 x 'c', 1 x 'd')"
    assert told in frame.notes[0]  # the four most common


def test_unknown_soil_beside_poor_soil_is_still_poor() -> None:
    soils = features([box(-10, -10, 60, 90)], name="soils", drainage_class=["very poorly drained"])
    result = measured(site(np.full((80, 120), 100.0), soils=soils), HOUSE, settings(apron="0m"), "soils")
    east, _, worst = by_place(result, "soils")
    assert (worst[east < 64] == 6).all() and np.isnan(worst[east > 68]).all()
    only = measured(
        site(np.full((80, 120), 100.0), soils=soils),
        HOUSE,
        settings(rubric={"soils": {"limit": 5.5}}, apron="0m"),
        "soils",
    )
    assert by_place(only, "soils")[0].min() > 64


def test_overlaps_take_the_wetter_class_and_columns_are_asked_for() -> None:
    both = features([box(-10, -10, 130, 90)] * 3, name="soils", DrainageCl=["well", "poorly drained", "?"])
    result = measured(site(np.full((50, 60), 100.0), soils=both), HOUSE, settings(), "soils")
    assert (by_place(result, "soils")[2] == 5).all()
    wrong = features([box(-10, -10, 130, 90)], name="soils", name_of=["loam"])
    with pytest.raises(InputRefused, match="drainage_class"):
        measured(site(np.full((50, 60), 100.0), soils=wrong), HOUSE, settings(), "soils")


def lamp(lumens=4 * math.pi * 1000, height=11.0, **more):
    return features([shapely.Point(MIDDLE)], name="lamps", lumens=[lumens], height_m=[height], **more)


def test_night_light_at_the_worst_point() -> None:
    """1000 cd all round, 10 m above the leaves: 1000 / (10^2 + d^2) lx at the nearest point of the footprint (by hand)."""
    result = screen(site(np.full((80, 120), 100.0), lamps=lamp()), HOUSE, settings=settings())
    east, south, lux = by_place(result, "night_light")
    off = np.maximum(np.abs(east - 60) - 6, 0), np.maximum(np.abs(south - 40) - 3, 0)
    expected = 1000 / (100 + np.hypot(*off) ** 2)
    assert (
        np.abs(lux / expected - 1).max() < 0.12
    )  # cells of 1 m: the nearest middle is up to 0.7 m from the nearest point
    assert np.argmax(lux) in np.flatnonzero(np.hypot(*off) < 1)
    assert result.rows[0]["night_lux"] > 0 and "score_night_light" not in result.rows[0]
    near = screen(site(np.full((80, 120), 100.0), [box(50, 30, 75, 50)], lamps=lamp()), HOUSE, settings=settings())
    assert near.rows[0]["night_lux"] > 1 and "not for short-day crops" in near.rows[0]["flags"]
    strict = screen(
        site(np.full((80, 120), 100.0), lamps=lamp()),
        HOUSE,
        settings=settings(weight={"night_light": 1}, rubric={"night_light": {"limit": 1.5}}),
    )
    assert by_place(strict, "night_light")[2].max() <= 1.5 and "score_night_light" in strict.rows[0]


def test_a_lamp_that_shines_down_and_one_in_a_tree() -> None:
    down = measured(site(np.full((80, 120), 100.0), lamps=lamp(light=["downward"])), HOUSE, settings(), "night_light")
    assert by_place(down, "night_light")[2].max() == pytest.approx(4000 / 100, rel=0.02)  # lumens / pi straight below
    tree = features([shapely.Point(MIDDLE).buffer(2)], name="tree", height_m=[15.0])
    hidden = measured(site(np.full((80, 120), 100.0), lamps=lamp(), obstacles=tree), HOUSE, settings(), "night_light")
    assert "inside a tree or building" in " ".join(hidden.scans[0].frame.notes)
    assert by_place(hidden, "night_light")[2].min() > 0  # taken to the top: never darker by a guess


@pytest.mark.parametrize(
    ("columns", "words"), [({"watts": [9]}, "column lumens"), ({"lumens": [None]}, "0 to"), ({"lumens": [-5]}, "0 to")]
)
def test_lamps_without_lumens_are_refused(columns, words) -> None:
    bad = features([shapely.Point(MIDDLE)], name="lamps", **columns)
    with pytest.raises(InputRefused, match=words):
        measured(site(np.full((50, 90), 100.0), lamps=bad), HOUSE, settings(), "night_light")


def test_where_a_lamp_stops_to_count_is_said() -> None:
    """500 lm give 0.01 lx at sqrt(500 / 4 pi / 0.01) = 63.1 m (inverse square law): nearer it counts, beyond it is nothing."""
    lamp = features([shapely.Point(MIDDLE[0] - 50, MIDDLE[1])], name="lamps", lumens=[500], height_m=[1.0])
    scan = measured(site(np.full((80, 160), 100.0), lamps=lamp), HOUSE, settings(), "night_light").scans[0]
    assert any("each where it gives 0.01 lx or more" in note for note in scan.frame.notes)
    lux = scan.frame.layers["night_lux"]
    assert lux[lux > 0].min() == pytest.approx(0.01, rel=0.05) and (lux == 0).any()


def test_lamps_without_height_and_off_the_data_are_noted() -> None:
    two = features([shapely.Point(MIDDLE), shapely.Point(WEST + 9000, NORTH)], name="lamps", lumens=[500, 500])
    result = measured(site(np.full((80, 120), 100.0), lamps=two), HOUSE, settings(), "night_light")
    notes = " ".join(result.scans[0].frame.notes)
    assert "2 lamps of lamps have no height_m" in notes and "1 lamp of lamps lies off the data" in notes


def test_empty_layers_are_not_assessed() -> None:
    none = features([], name="empty")
    result = screen(site(np.full((50, 60), 100.0), lamps=none, soils=none), HOUSE, settings=settings())
    assert result.rows[0].get("night_lux") is None
    assert not {"soils", "night_light", "wind", "snow_room", "bearing"} & {judge.id for judge in result.judges}


def test_room_for_snow() -> None:
    """The distance from the footprint to a shed, to within a cell (diagonally 1.5)."""
    shed = features([box(50, 30, 60, 40)], name="shed", height_m=[4.0])
    result = measured(site(np.full((80, 120), 100.0), obstacles=shed), HOUSE, settings(apron="0m"), "snow_room")
    east, south, room = by_place(result, "snow_room")
    off = np.maximum(np.abs(east - 55) - 5 - 6, 0), np.maximum(np.abs(south - 35) - 5 - 3, 0)
    assert np.abs(room - np.hypot(*off)).max() < 1.5
    nothing = measured(
        site(np.full((80, 120), 100.0), obstacles=features([box(500, 0, 501, 1)], height_m=[3.0])),
        HOUSE,
        settings(),
        "snow_room",
    )
    assert (by_place(nothing, "snow_room")[2] == 100).all()


def test_ridges_off_the_wanted_bearing() -> None:
    result = screen(
        site(100 + 0.001 * np.mgrid[0:60, 0:70][1]),
        HOUSE,
        settings=settings(bearing=175, bearing_tolerance=20, bearing_step=20),
    )
    found = {scan.frame.grid.bearing_deg: set(scan.measures["bearing"].tolist()) for scan in result.scans}
    assert found == {175.0: {0.0}, 155.0: {20.0}, 15.0: {20.0}}
    marks = result.judges[[judge.id for judge in result.judges].index("bearing")].rubric.marks(
        np.array([0, 10, 27.5, 45, 90])
    )
    assert marks == pytest.approx([1, 1, 0.5, 0, 0])
    assert result.rows[0]["score_bearing"] == 1.0


def test_other_measures_never_change_when_a_layer_is_added() -> None:
    """Lamps (weight 0) leave every score as it is; soils and wind leave every other measure as it is."""
    ground, tree = hills(80, 100, 5, 0.2), features([box(20, 10, 24, 60)], height_m=[5.0])
    plain = screen(site(ground, obstacles=tree), HOUSE, settings=settings())
    lit = screen(site(ground, obstacles=tree, lamps=lamp()), HOUSE, settings=settings())
    assert np.array_equal(plain.scored[0], lit.scored[0]) and len(plain.scored[0]) > 500
    soils = features([box(-10, -10, 60, 90)], drainage_class=["well drained"])
    more = screen(site(ground, obstacles=tree, soils=soils, wind=WindRose.prevailing(300)), HOUSE, settings=settings())
    assert np.array_equal(plain.scans[0].index, more.scans[0].index)
    for name, values in plain.scans[0].measures.items():
        assert np.array_equal(values, more.scans[0].measures[name], equal_nan=True), name
