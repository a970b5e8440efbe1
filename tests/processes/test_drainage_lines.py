"""Lines that gather water, as a process: water from beyond the raster, and a farm beside a stream."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from tests.scan.grounds import site
from tunnelsite import explain, screen
from tunnelsite.core.house import House
from tunnelsite.core.layers import Layer
from tunnelsite.core.placement import Placement
from tunnelsite.processes.drainage_lines import PROCESS
from tunnelsite.scan.refine import BED, stream_from_beyond, water_words
from tunnelsite.screening.may_be import bed_left_out_words
from tunnelsite.settings.model import settings_from

R, C = np.mgrid[0:160, 0:160].astype(np.float32)
VALLEY = 0.004 * (160 - R) + 0.02 * np.abs(C - 80)  # 2.6 ha: too little for a line of its own


def made(**more):
    units = {spec.id: spec.unit for spec in PROCESS.description.reads}
    inputs = {
        name: Layer(np.asarray(values, np.float32), units[name], name)
        for name, values in {"ground": VALLEY, **more}.items()
    }
    return {name: layer.values for name, layer in PROCESS(inputs).items()}


def test_a_stream_from_beyond_the_raster_is_a_line():
    hill = VALLEY + 0.06 * np.minimum(R, 20)  # nothing enters from the north
    alone = made(ground=hill)
    assert not (alone["drainage_height_m"] < 0.5).any()  # nothing is known to be near water
    beyond = np.full(VALLEY.shape, np.nan)
    beyond[:, 80] = 2.92e6
    fed = made(ground=hill, upslope_beyond_m2=beyond)
    assert (fed["drainage_height_m"][40:, 80] == 0).all() and fed["drainage_distance_m"][80, 60] == 20
    assert fed["drainage_height_m"][80, 60] == pytest.approx(0.4, abs=0.1)


def test_a_valley_that_enters_the_data_may_carry_a_stream():
    found = made()
    assert (found["drainage_height_m"][20:, 80] == 0).all() and found["drainage_distance_m"][80, 60] == 20
    known = made(upslope_beyond_m2=np.full(VALLEY.shape, 1.0), open_beyond=np.zeros(VALLEY.shape))
    assert not (known["drainage_height_m"] < 0.5).any()  # no more comes from there: 2.6 ha are all


def test_a_channel_is_a_line_whatever_drains_through_it():
    """A road dams a stream that is 3 m deep: below it hardly anything drains through the bed, and the bank is as near as ever."""
    bed = np.where(np.abs(C - 80) <= 3, np.float32(3.0), 0) * (np.abs(R - 60) > 4)
    ground = 10 - 0.002 * R + 0.02 * C - bed
    found = made(ground=ground.astype(np.float32))
    assert found["drainage_distance_m"][120, 100] == pytest.approx(17, abs=1.5)  # to the bank, not to the middle
    assert found["drainage_height_m"][120, 100] == pytest.approx(3.3, abs=0.3)  # above the bed


def test_beside_a_stream_a_house_loses_the_marks_that_water_gives_and_it_is_said():
    """292 ha pass 7 m from the pad and a few centimetres below it: 0.91 for water, no flag, was the answer before."""
    ground = 100 + 0.001 * (300 - np.mgrid[0:300, 0:300][0]) + 0.008 * np.abs(np.mgrid[0:300, 0:300][1] - 150)
    given = {"halo": "50m", "crop_months": "06-10:06-20", "kind": "container", "azimuths": 8, "top": 3, "shift": "0m",
             "parameter": {"flow_beside": {"least_m2": 10_000}}}  # fmt: skip
    result = screen(site(ground), House(6.0, 12.0, kind="container"), settings=settings_from(given))
    scan = result.scans[0]
    row, col = np.divmod(scan.index, scan.frame.grid.cols)
    low = (row > 220) & (row < 250)
    near, far = low & (np.abs(np.abs(col - 150) - 15) <= 1), low & (np.abs(col - 150) > 60) & (np.abs(col - 150) < 100)
    marks = {judge.id: judge.rubric.marks(scan.measures[judge.id]) for judge in result.judges}
    assert (scan.measures["flow_beside"][near] > 40_000).all() and (scan.measures["flow_beside"][far] == 0).all()
    assert marks["flow_beside"][near].max() < 0.3 and marks["drainage_height"][near].max() < 0.2
    assert marks["flow_beside"][far].min() == 1 and marks["drainage_distance"][far].min() == 1
    assert np.nanmax(result.here[0][near]) < np.nanmin(result.here[0][far]) - 5


RIVER = np.where(R < 70, 125.0 + 0.0005 * C, 129.0 + 0.002 * R).astype(
    np.float32
)  # 70 m of it, under a bank, run off the data


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_a_river_that_the_end_of_the_data_cuts_off_is_a_line(turn):
    found = {name: np.rot90(layer, -turn) for name, layer in made(ground=np.rot90(RIVER, turn)).items()}
    bed = np.s_[:40, 30:130]
    assert (found["drainage_height_m"][bed] == 0).all() and (found["drainage_distance_m"][bed] == 0).all()
    assert (found["river_bed"][bed] == 1).all() and not found["river_bed"][80:].any()
    above = np.s_[92:120, 30:130]
    assert not (found["drainage_height_m"][above] < 1.5).any() and (found["drainage_distance_m"][above] > 20).all()


def test_no_house_is_offered_in_what_may_be_a_river_until_the_user_says_that_it_is_dry():
    """A river along the end of the data looks like the most level ground there is; the terrace over it is where a house would be put."""
    given = {"halo": "0m", "apron": "0", "top": 60, "apart": "25m", "azimuths": 8, "kind": "container"}
    rough = RIVER + np.random.default_rng(5).normal(0, 0.01, R.shape).astype(np.float32)
    result, dry = (
        screen(site(rough), House(6.0, 12.0, kind="container"), settings=settings_from(given | more))
        for more in ({}, {"keep_water_like": True})
    )
    assert _south_of_the_bank(result).all() and not any("river" in one["flags"] for one in result.rows)
    lost = [one["rejected"] for one in result.tables["rejections"].rows if one["rule"] == "river_bed"]
    assert sum(lost) == sum(len(scan.index) for scan in dry.scans) - len(result.scans[0].index) > 4000
    words = bed_left_out_words(result.tables["rejections"].rows)
    assert len(words) == 1 and f"{sum(lost):,} places" in words[0] and "--keep-water-like" in words[0]
    assert _south_of_the_bank(result.rescore(weights={"sun": 1.0})).all()
    lon, lat = dry.frame.grid.lonlat(*dry.frame.grid.centre(40, 80))
    found = explain(result, Placement(float(lon), float(lat), 90.0, House(6.0, 12.0, kind="container")))
    assert [check.rule for check in found.broken] == ["river_bed"]

    assert not bed_left_out_words(dry.tables["rejections"].rows)
    wet = ~_south_of_the_bank(dry)
    assert wet.any() and not wet[:3].any() and wet.tolist() == [BED in one["flags"] for one in dry.rows]
    scan = result.scans[0]
    same = scan.index // scan.frame.grid.cols > 90  # farther from the river than a house is shifted
    np.testing.assert_array_equal(result.scored[0][same], dry.scored[0][np.isin(dry.scans[0].index, scan.index[same])])


def _south_of_the_bank(result):
    row = np.array(
        [result.scans[one.scan].index[one.item] // result.scans[one.scan].frame.grid.cols for one in result.choices]
    )
    return row > 70


@pytest.mark.parametrize(
    ("height", "away", "beside", "said"),
    [
        (3.0, 60.0, 0.0, []),
        (3.0, 6.0, 0.0, ["cutting runs 6.0 m (20 ft) from the pad"]),
        (
            0.05,
            7.0,
            2.92e6,
            ["292.0 ha (720 acres) passes beside", "runs 7.0 m (23 ft) from", "only 5 cm (2 in) above"],
        ),
        (-0.2, 90.0, 0.0, ["only 0 cm (0 in) above"]),
        (None, None, None, []),
    ],
)
def test_what_is_near_water_is_flagged(height, away, beside, said):
    words = water_words(
        {"drainage_height_m": height, "drainage_distance_m": away, "flow_beside_m2": beside}, feet=False
    )
    assert len(words) == len(said) and all(part in text for part, text in zip(said, words, strict=True))


@pytest.mark.parametrize(
    ("away_m", "col", "said"), [(6.0, 85, True), (6.0, 110, False), (40.0, 85, False), (None, 85, False)]
)
def test_a_line_beside_the_pad_that_comes_from_beyond_the_data_is_told(away_m, col, said):
    """A pad of 20 x 10 m in the middle of 120 x 160 cells of 1 m; water whose area is a lower bound runs down one column."""
    open_edge = np.zeros((120, 160), bool)
    open_edge[:, col] = True
    frame = SimpleNamespace(grid=SimpleNamespace(cell_m=1.0), layers={"open_edge": open_edge})
    scan = SimpleNamespace(frame=frame, pad=SimpleNamespace(length_m=20.0, width_m=10.0))
    assert stream_from_beyond(scan, {"drainage_distance_m": away_m}, 60, 70) == said
