"""Level spreaders: on planes where widths and water follow by hand, and where none may be offered."""

from __future__ import annotations

import re

import numpy as np
import pytest
import shapely

from tests.siteplan.places import place, tilted
from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M
from tunnelsite.siteplan.drainage_plan import DrainageSettings, drainage_plan
from tunnelsite.siteplan.flow_paths import path_down
from tunnelsite.siteplan.grading_plan import grading_plan
from tunnelsite.siteplan.level_spreader import LIP_PER_FLOW, SpreaderRule
from tunnelsite.siteplan.outlets import leaving
from tunnelsite.siteplan.storm import Storm

SLOPE = 0.05
PARCEL = shapely.box(-1, 30, 142, 142)  # its lower edge 40 m below the pad


@pytest.fixture(scope="module")
def hillside():
    """A pad on a plane that falls 5 % to the south."""
    where = place(rows=141, cols=141)
    return grading_plan(tilted(where, 0.0, SLOPE), where)


@pytest.fixture(scope="module")
def spread(hillside):
    return drainage_plan(hillside, None, PARCEL)


def test_a_hillside_near_the_boundary_gets_a_swale_with_level_spreaders(hillside, spread) -> None:
    assert len(spread.arms) == len(spread.spreaders) == 2
    assert not spread.inflows_after
    for arm, one in zip(spread.arms, spread.spreaders, strict=True):
        ends = shapely.get_coordinates(one.line)
        assert np.ptp(ends[:, 1]) < 0.5  # along the contour
        assert shapely.distance(one.line, shapely.points(arm.along_m[-1], arm.across_m[-1])) < 1e-6
        assert shapely.covers(PARCEL, one.line) and shapely.distance(one.line, hillside.outline) > 0
        assert one.line.length <= 100 * FOOT_M + 1e-6 and one.strip_m >= 30 * FOOT_M
        assert one.steepest == pytest.approx(SLOPE, abs=0.002)
        # all of the lip is cut to its lowest ground; 6 in deep at least (derived: b d + z d^2, b 0.6, z 3)
        least = one.line.length * (0.6 * 0.1524 + 3 * 0.1524**2)
        assert least <= one.volume_m3 < 2 * least


def test_water_is_kept_and_set_down_evenly(hillside, spread) -> None:
    """No water is lost, and each metre of a lip lets go the same share of what its arm brings; by following every cell."""
    left = [float(flow.area_m2[-1].sum()) for flow in (spread.before, spread.after)]
    assert left[1] == pytest.approx(left[0])  # over the lower edge of the data
    for one in spread.spreaders:
        for row, col in one.cells:
            own = spread.after.area_m2[row, col]
            column = np.arange(row + 1)
            above = [path_down(spread.after.direction, int(r), int(col)) for r in column]
            natural = sum(bool((way == (row, col)).all(axis=1).any()) for way in above)
            assert own == pytest.approx(natural + one.area_m2 / len(one.cells), abs=2.0)


def test_times_at_the_parcel_s_edge_by_hand(hillside, spread) -> None:
    """What leaves within 5 m of every spot of the edge, before and after, cell by cell."""
    rows, cols = np.mgrid[0:141, 0:141]
    inside = shapely.contains_xy(PARCEL, cols.ravel() + 0.5, 141 - rows.ravel() - 0.5).reshape(141, 141)
    was, now = (leaving(flow, inside) for flow in (spread.before, spread.after))
    edge = int(np.flatnonzero(was.any(axis=1))[-1])
    sums = [np.convolve(part[edge], np.ones(11), mode="same") for part in (was, now)]
    worst = (sums[1] / np.maximum(sums[0], 1e-9))[10:-10].max()
    assert max(one.times for one in spread.spreaders) == pytest.approx(worst, rel=0.02)
    assert 1.2 < worst <= SpreaderRule().most_times
    # as a stream, the same water would be several times as much where it arrives
    harm = drainage_plan(hillside, DrainageSettings(spreader=None))
    stream = np.convolve(leaving(harm.after, inside)[edge], np.ones(11), mode="same")
    assert (stream / np.maximum(sums[0], 1e-9))[10:-10].max() > worst + 0.3


def test_what_is_said(spread) -> None:
    text = " ".join(spread.said)
    for words in (
        "level lip",
        "sheet flow",
        "times the water of now",
        "quarter of an inch",
        "Local stormwater rules",
        "below",
    ):
        assert words in text
    assert not any("Lead it to where it went before" in said for said in spread.warnings)


@pytest.mark.parametrize(
    ("slope", "parcel", "rule", "reason"),
    [
        (0.12, PARCEL, SpreaderRule(), "too steep"),
        (0.05, shapely.box(-1, 64, 142, 142), SpreaderRule(), "too little grass"),
        (0.05, shapely.box(52, 30, 90, 142), SpreaderRule(), "no straight level line|leave the parcel"),
        (0.05, PARCEL, SpreaderRule(most_times=1.1), "times as much as now would leave"),
    ],
)
def test_honest_refusals(slope: float, parcel, rule: SpreaderRule, reason: str) -> None:
    where = place(rows=141, cols=141)
    found = drainage_plan(grading_plan(tilted(where, 0.0, slope), where), DrainageSettings(spreader=rule), parcel)
    assert found.arms == [] and found.spreaders == []
    [said] = [said for said in found.warnings if "No swale is offered" in said]
    assert re.search(reason, said) and "level spreader" in said


def test_lips_are_as_long_as_the_peak_flow_asks(hillside) -> None:
    """10 ft for each cubic foot a second (15A NCAC 02H .1059, seen): 107.6 m for each m3/s (derived)."""
    assert pytest.approx(107.64, abs=0.01) == LIP_PER_FLOW
    storm = Storm(coefficient=0.35, intensity_mm_h=100)
    found = drainage_plan(hillside, DrainageSettings(storm=storm), PARCEL)
    for flow, one in zip(found.outlets, found.spreaders, strict=True):
        assert one.line.length >= LIP_PER_FLOW * flow.peak_m3_s
    torrent = drainage_plan(hillside, DrainageSettings(storm=Storm(coefficient=1.0, intensity_mm_h=3000)), PARCEL)
    assert torrent.arms == [] and any("the peak flow needs a lip of" in said for said in torrent.said)
    with pytest.raises(UsageError, match="level spreader"):
        SpreaderRule(longest_m=1.0)


def test_what_runs_off_the_data_is_said_also_where_water_is_spread_out(hillside) -> None:
    """West of the western outlet the parcel's lower edge lies beyond the data: a part of what is spread there is not followed."""
    parcel = shapely.union(PARCEL, shapely.box(-1, -50, 50, 142))
    found = drainage_plan(hillside, None, parcel)
    assert [one.beyond for one in sorted(found.spreaders, key=lambda one: one.line.centroid.x)] == [True, False]
    assert sum("runs off the elevation data before it leaves the parcel" in said for said in found.said) == 1
