"""`explain` of any placement on ground in memory: any size and bearing, with no word of ranks that it cannot know."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely

from tests.scan.grounds import features, site
from tests.scan.test_exhaustive import farm
from tunnelsite import Settings, screen
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.placement import Placement
from tunnelsite.core.plug_ins import PlugInFailed
from tunnelsite.decisions.explain import PreparedGround, explain, explain_at
from tunnelsite.kernels.one_thread import one_thread
from tunnelsite.screening import run as screening_run

WEST, NORTH = 499_900.0, 4_700_100.0
HOUSE, SMALL = House(6.0, 12.0, kind="container"), House(4.0, 8.0, kind="container")
SETTINGS = Settings(halo_m=20, setback_m=2, clearance_m=4, apron_m=1.0, top=4, azimuths=8, kind="container")


def ground_site():
    """120 m by 160 m that falls ever more steeply to the east and south, with a barn and a ditch."""
    r, c = np.mgrid[0:120, 0:160].astype(float)
    heights = 100 - 0.0001 * c**2 - 0.0002 * r**2 - 0.4 * np.exp(-(((r - 60 - 0.2 * c) / 3) ** 2))
    box = shapely.box(WEST + 20, NORTH - 100, WEST + 140, NORTH - 20)
    barn = features([shapely.box(WEST + 80, NORTH - 50, WEST + 90, NORTH - 40)], name="barn")
    return site(heights, [box], structures=barn)


@pytest.fixture(scope="module")
def result():
    return screen(ground_site(), HOUSE, settings=SETTINGS)


def place_of(result, index, bearing_deg=90.0, house=HOUSE):
    """The placement at a cell of the first frame."""
    grid = result.frame.grid
    lon, lat = (float(v) for v in grid.lonlat(*grid.centre(*divmod(int(index), grid.cols))))
    return Placement(lon, lat, bearing_deg, house)


def test_a_candidate_is_found_by_rank_and_by_its_placement(result):
    by_rank, by_place = explain(result, 2), explain(result, result.option(2))
    assert by_rank.rank == by_place.rank == 2
    assert by_rank == replace(by_place, moved_m=by_rank.moved_m)
    assert by_rank.standing.first_share == result.rank_shares.first[1]
    sure = replace(by_rank.standing, first_share=0.998, top_3_share=1.0, chance_pitch_within_1_192=0.002).words()
    assert [words for words in sure if "over 99 %" in words or "100 %" in words or "under 1 %" in words] == sure[:3]
    told = json.loads(json.dumps(by_rank.summary))
    assert told["places"][0]["rank"] == 2 and told["verdict"]["sentence"] == result.verdict.sentence
    assert list(by_rank.table["rule"]) == [rule.rule for rule in by_rank.rules]
    assert "candidate 2" in repr(by_rank) and len(repr(by_rank)) < 120


def test_a_house_that_was_not_screened_is_measured_as_if_it_had_been(result):
    """The rules and marks are those of a screening of that house; ranks and steady scores are not made up."""
    own = screen(ground_site(), SMALL, settings=SETTINGS)
    for item in np.linspace(0, len(own.scans[0].index) - 1, 7).astype(int):
        place = place_of(own, own.scans[0].index[item], house=SMALL)
        told, wanted = explain_at(PreparedGround.of(result), place), explain_at(PreparedGround.of(own), place)
        assert told.rules == wanted.rules and told.score_here == wanted.score_here
        assert told.rank is None and told.score is None and not told.not_listed
        assert any("no rank" in note for note in told.notes) and not wanted.notes


def test_another_bearing_comes_near_to_a_screening_at_that_bearing(result):
    own = screen(ground_site(), HOUSE, settings=SETTINGS.model_copy(update={"bearing_deg": 55.0}))
    prepared, apart = PreparedGround.of(result), {"pitch": [], "ponding": []}
    picked = np.linspace(0, len(own.scans[0].index) - 1, 9).astype(int)
    for item in picked:
        place = place_of(own, own.scans[0].index[item], 55.0)
        told, wanted = explain_at(prepared, place), explain_at(PreparedGround.of(own), place)
        one, other = ({rule.rule: rule for rule in found.rules} for found in (told, wanted))
        assert list(one) == list(other) and told.moved_m < 1e-6 and told.bearing_deg == 55.0
        for exact in ("boundary", "structures"):
            assert one[exact].value == pytest.approx(other[exact].value, abs=1e-6)
        for name in apart:
            apart[name].append(abs(one[name].value - other[name].value))
        assert told.parcel == wanted.parcel and abs(told.score_here - wanted.score_here) < 2
        assert any("turned" in note for note in told.notes)
    assert max(apart["pitch"]) < 0.05 and max(apart["ponding"]) < 0.05  # two warps of the same ground


def test_both_ends_of_a_ridge_are_one_bearing(result):
    place = place_of(result, result.scans[0].index[7])
    assert (
        explain_at(PreparedGround.of(result), replace(place, bearing_deg=270.0)).rules
        == explain_at(PreparedGround.of(result), place).rules
    )


def test_ground_without_a_run_says_nothing_of_ranks(result):
    """Frames that hold no layer but the ground: what reads others is not assessed, and nothing fails."""
    bare = replace(result.frame, layers={"ground": result.frame.ground})
    told = explain_at(PreparedGround(result.settings, result.judges, [bare]), result.option(1))
    known = explain(result, 1)
    found, full = ({rule.rule: rule for rule in one.rules} for one in (told, known))
    assert told.rank is None and told.scored == 0 and not told.not_listed
    assert found["pitch"] == replace(full["pitch"], points=found["pitch"].points, could_gain=found["pitch"].could_gain)
    assert found["sun"].value is None and found["sun"].points == found["sun"].could_gain > 0  # half of its points


def test_a_site_is_screened_for_the_placement(result):
    told = explain(
        ground_site(),
        result.option(1).with_settings(
            dict(SETTINGS.model_dump(by_alias=True, mode="json", exclude_none=True, include={"top", "azimuths"}))
        ),
    )
    assert told.rank == 1 and told.score == pytest.approx(explain(result, 1).score)


def test_another_kind_of_house_is_refused(result):
    with pytest.raises(UsageError, match="in-ground"):
        explain(result, Placement(-81.0, 42.45, 90.0, House(6.0, 12.0)))


def test_a_criterion_that_was_left_out_is_named(monkeypatch, result):
    """A plug-in whose file is missing: the ranking is another one, so every explanation says so."""
    scanned = screening_run.scanned

    def failing(frame, sizes, ground, judges, *more):
        if any(judge.id == "crown" for judge in judges):
            raise PlugInFailed("crown", "no file crown.tif")
        return scanned(frame, sizes, ground, judges, *more)

    monkeypatch.setattr(screening_run, "scanned", failing)
    found = screen(ground_site(), HOUSE, settings=SETTINGS)
    for told in (explain(found, 1), explain(found.rescore(weights={"pitch": 3}), 1)):
        assert len(told.left_out) == 1 and "crown" in told.left_out[0] and "crown.tif" in told.left_out[0]
        assert told.summary["left_out"] == list(told.left_out)
    assert explain(result, 1).left_out == ()


def test_one_thread_is_given_back():
    import numba

    before = numba.get_num_threads()
    with pytest.raises(ZeroDivisionError), one_thread():
        assert numba.get_num_threads() == 1
        1 / 0  # noqa: B018
    assert numba.get_num_threads() == before


def test_turned_windows_reach_over_the_edge_of_the_data():
    """A place at the very edge: what lies beyond is unknown, not 0."""
    run = screen(farm(1), House(4.3, 9.7, kind="container"), settings=SETTINGS.model_copy(update={"halo_m": 5.0}))
    told = explain_at(PreparedGround.of(run), place_of(run, run.frame.grid.cols + 1, 30.0, run.scans[0].house))
    known = {rule.rule: rule for rule in told.rules}
    assert known["no_data"].passed is False and known["pitch"].value is None
