"""Wetness, hydrologic groups and distance from windbreaks, against cases worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from tests.criteria.doubles import criteria_of, measured
from tests.scan.grounds import features, site
from tunnelsite import screen
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.layers import Layer
from tunnelsite.processes import standing_heights
from tunnelsite.scan.soils import group_number
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_900.0, 4_700_100.0
HOUSE = House(6.0, 12.0, kind="container")


def settings(**more):
    return settings_from({"halo": "30m", "kind": "container", "top": 2, "azimuths": 8, "apron": "0m"} | more)


def box(west, north, east, south):
    return shapely.box(WEST + west, NORTH - south, WEST + east, NORTH - north)


def places(result):
    """(metres east of WEST, metres south of NORTH) of every placement, to a few millimetres."""
    from pyproj import Transformer

    scan = result.scans[0]
    lon, lat = scan.frame.grid.lonlat(*scan.frame.grid.centre(*np.divmod(scan.index, scan.frame.grid.cols)))
    east, north = Transformer.from_crs(4326, 32617, always_xy=True).transform(lon, lat)
    return east - WEST, NORTH - north


def test_wetness_of_a_plane_by_hand() -> None:
    """Fall of 4 % to the south: k cells uphill and its own give a = (k + 1) m2 per metre, so ln(a / tan b) = ln((k + 1) / 0.04)."""
    ground = 110 - 0.04 * np.mgrid[0:80, 0:100][0]
    run = measured(site(ground), HOUSE, settings(weight={"wetness": 1}), "wetness")
    _, south = places(run)
    found = run.scans[0].measures["wetness"]
    middle = np.isfinite(found) & (south > 20) & (south < 60)
    rows = np.round(
        south[middle][:, None] - 0.5 + np.arange(-3, 4)
    )  # the house covers seven rows, the outer two by halves
    expected = np.average(np.log((rows + 1) / 0.04), axis=1, weights=[0.5, 1, 1, 1, 1, 1, 0.5])
    assert (
        middle.sum() > 500 and np.abs(found[middle] - expected).max() < 0.06
    )  # flow starts at the first whole 3 x 3 window
    order = np.argsort(south[middle])
    assert found[middle][order][-1] > found[middle][order][0]  # wetter downhill


def test_wetness_is_measured_only_where_it_is_asked_for() -> None:
    ground = 110 - 0.01 * np.mgrid[0:50, 0:60][0]
    assert "wetness" not in criteria_of(site(ground), settings())
    limited = screen(site(ground), HOUSE, settings=settings(rubric={"wetness": {"limit": 8.0}}))
    assert np.nanmax(limited.scans[0].measures["wetness"]) <= 8.0
    assert "score_wetness" not in limited.rows[0]


def test_words_of_hydrologic_groups() -> None:
    assert [group_number(word) for word in ("A", "b", " C ", "D", "A/D", "b / d", "C/D")] == [1, 2, 3, 4, 4, 4, 4]
    assert all(math.isnan(group_number(word)) for word in (None, "", "E", "AD", "D/A", "A/B", "nan", 3, "unknown"))


def test_slowest_group_under_the_pad_and_unknown_ones() -> None:
    """A, then unknown, then B/D (undrained: D): a pad that meets D is D, one that meets the unknown alone is not assessed."""
    soils = features(
        [box(-10, -10, 40, 90), box(40, -10, 80, 90), box(80, -10, 130, 90)],
        name="soils",
        drainage_class=["well drained"] * 3,
        hydrologic_group=["A", "", "B/D"],
    )
    run = measured(
        site(np.full((60, 120), 100.0), soils=soils), HOUSE, settings(weight={"soil_group": 1}), "soil_group"
    )
    east, _ = places(run)
    group = run.scans[0].measures["soil_group"]
    half, sure = 6.0, 1.0
    assert (group[east + half < 40 - sure] == 1).all() and (group[east + half > 80 + sure] == 4).all()
    unknown = (east + half > 40 + sure) & (east + half < 80 - sure)
    assert unknown.any() and np.isnan(group[unknown]).all()
    rubric = next(judge.rubric for judge in run.judges if judge.id == "soil_group")
    assert rubric.marks(np.array([1.0, 2, 3, 4])) == pytest.approx([1, 1, 0.5, 0])


def test_soils_without_groups_and_weights_without_soils() -> None:
    soils = features([box(-10, -10, 90, 90)], name="soils", drainage_class=["well drained"])
    assert "soil_group" not in criteria_of(site(np.full((40, 60), 100.0), soils=soils), settings())
    with pytest.raises(UsageError, match="soil_group has a weight"):
        criteria_of(site(np.full((40, 60), 100.0), soils=soils), settings(weight={"soil_group": 1}))


def test_distance_from_a_hedge_in_its_heights_by_hand() -> None:
    """A hedge 8 m high: 16 m from the footprint's near end are 2 heights and full marks, 8 m are 1 and half marks (to a cell)."""
    hedge = features([box(10, -10, 14, 90)], name="hedge", height_m=[8.0])
    shrub = features([box(60, 40, 61, 41)], name="shrub", height_m=[2.0])
    both = features([*hedge.geometry, *shrub.geometry], name="green", height_m=[8.0, 2.0])
    run = measured(
        site(np.full((60, 120), 100.0), obstacles=both), HOUSE, settings(weight={"windbreak": 0.5}), "windbreak"
    )
    east, _ = places(run)
    away = run.scans[0].measures["windbreak"]
    right = (east - 6 > 14) & (east < 110)
    assert np.abs(away[right] * 8 - (east[right] - 6 - 14)).max() <= 1.0  # the shrub is too low to count
    assert (away[right] < 30).all()
    rubric = next(judge.rubric for judge in run.judges if judge.id == "windbreak")
    assert rubric.marks(np.array([0.0, 1.0, 2.0, 5.0])) == pytest.approx([0, 0.5, 1, 1]) and rubric.limit is None
    assert "windbreak" not in criteria_of(site(np.full((40, 60), 100.0), obstacles=both), settings())  # nobody asked
    with pytest.raises(UsageError, match="needs standing"):  # nothing known of what stands: cannot be assessed
        criteria_of(site(np.full((40, 60), 100.0)), settings(weight={"windbreak": 0.5}))


@given(st.integers(0, 10_000), st.floats(3.0, 40.0))
def test_mixed_heights_are_never_too_near_and_at_most_a_quarter_too_far(seed: int, tallest: float) -> None:
    rng = np.random.default_rng(seed)
    standing = np.where(rng.random((14, 17)) < 0.06, rng.uniform(0, tallest, (14, 17)), 0).astype(np.float32)
    layer = Layer(standing, "m", "", (2.0, 2.0))
    found = standing_heights.PROCESS({"standing_m": layer})["standing_heights"].values
    rows, cols = np.nonzero(standing >= 3.0)
    r, c = np.mgrid[0:14, 0:17]
    ways = [2 * np.hypot(r - i, c - j) / standing[i, j] for i, j in zip(rows, cols, strict=True)]
    true = np.minimum(np.min(ways, axis=0), 30.0) if ways else np.full(standing.shape, 30.0)
    assert (found >= true * (1 - 1e-5)).all() and (found <= true * 1.25 + 1e-5).all()
