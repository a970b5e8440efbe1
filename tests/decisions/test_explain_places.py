"""`explain` at places chosen by hand, one for each way in which a place may be refused; values to within half a cell's diagonal."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Transformer

from tests.scan.grounds import features, site
from tests.scan.test_exhaustive import farm
from tunnelsite import Settings, screen
from tunnelsite.core import amounts
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.placement import Placement
from tunnelsite.decisions.explain import PreparedGround, explain_at, explain_everywhere, explain_rank

WEST, NORTH = 499_900.0, 4_700_100.0
OFF = 0.75  # the placement explained is the one centred on the nearest cell
HOUSE = House(6.0, 12.0, kind="container")
APRON = 1.0  # so the pad is 8 m by 14 m


def at(east: float, south: float) -> tuple[float, float]:
    """Longitude and latitude of a place given in metres from the corner of the ground."""
    return Transformer.from_crs(32617, 4326, always_xy=True).transform(WEST + east, NORTH - south)


def box(west, north, east, south):
    return shapely.box(WEST + west, NORTH - south, WEST + east, NORTH - north)


@pytest.fixture(scope="module")
def result():
    """120 m by 160 m: level ground, a 15 % ramp in the south, a hole without data, a strip beyond the data in the east."""
    r, c = np.mgrid[0:120, 0:160]
    ground = 100 + 0.15 * np.clip(r - 90, 0, None) + 0.00005 * c**2  # ever steeper to the east, so that scores differ
    ground[20:24, 100:104] = np.nan
    ground[:, 150:] = np.nan
    parcels = features(
        [box(10, 20, 140, 118), box(142, 5, 159, 60), box(2, 40, 9.5, 90)],
        name="parcels",
        parcel=["Big", "Edge", "Strip"],
    )
    farm = site(
        ground,
        keep_outs=(features([box(40, 30, 50, 40)], name="pond"), features([shapely.LineString([(WEST + 70, NORTH - 5), (WEST + 70, NORTH - 60)])], name="line", distance_m=5.0)),
        structures=features([box(80, 60, 90, 70)], name="barn"),
    )  # fmt: skip
    settings = Settings(halo_m=12, setback_m=3, clearance_m=4, apron_m=APRON, top=4, azimuths=8, kind="container",
                        bearing_tolerance_deg=90, bearing_step_deg=90)  # fmt: skip
    object.__setattr__(farm, "parcels", parcels)
    return screen(farm, HOUSE, settings=settings)


def explained(result, lon, lat, scan=0):
    """What is said of the placement of one house and bearing that is nearest to a place."""
    one = result.scans[scan]
    return explain_at(PreparedGround.of(result), Placement(lon, lat, one.frame.grid.bearing_deg, one.house))


def rule(told, name):
    return next(check for check in told.rules if check.rule == name)


def test_outside_every_parcel(result):
    told = explained(result, *at(70, 20 - 8))  # 8 m north of the boundary of Big
    boundary = rule(told, "boundary")
    assert told.parcel is None and told.rank is None
    assert boundary.passed is False and boundary.value == pytest.approx(-(8 + 4), abs=OFF)  # the pad's far edge
    assert f"{3 - boundary.value:.2f} m (" in boundary.change and "farther in" in boundary.change
    assert "in no parcel" in told.words() and "REJECTS  Pad inside the parcel's setback" in told.words()
    assert f"setback: reaches {amounts.size(-boundary.value, feet=False)} beyond the parcel (limit" in told.words()


def test_in_the_setback(result):
    told = explained(result, *at(120, 20 + 1 + 4))  # the pad's edge 1 m inside
    boundary = rule(told, "boundary")
    assert told.parcel == "Big" and [check.rule for check in told.broken] == ["boundary"]
    assert boundary.value == pytest.approx(1.0, abs=OFF) and boundary.limit == 3
    assert boundary.change.startswith(f"the pad has to lie {3 - boundary.value:.2f} m (")


def test_on_a_keep_out_and_too_near_one(result):
    pond = rule(explained(result, *at(45, 35)), "keep_out:pond")
    assert pond.passed is False and pond.value == 0 and pond.change == "the pad must not touch it"
    told = explained(result, *at(70 + 7 + 2, 40))  # the pad's end 2 m from the line
    line = rule(told, "keep_out:line")
    assert line.passed is False and line.value == pytest.approx(2.0, abs=OFF) and line.limit == 5
    assert line.change == f"{amounts.size(5 - line.value, feet=False)} more distance"
    assert rule(told, "keep_out:pond").passed and rule(told, "structures").passed


def test_near_a_structure(result):
    told = explained(result, *at(90 + 7 + 1, 65))
    barn = rule(told, "structures")
    assert [check.rule for check in told.broken] == ["structures"]
    assert barn.value == pytest.approx(1.0, abs=OFF)
    assert barn.change == f"{amounts.size(4 - barn.value, feet=False)} more distance"


def test_too_steep(result):
    told = explained(result, *at(100, 105))
    pitch = rule(told, "pitch")
    assert pitch.passed is False and pitch.value == pytest.approx(15, abs=0.1) and pitch.limit == 10
    assert pitch.change == f"at most 10 %, now {pitch.value:.2f} %" and pitch.marks == 0
    assert "is not offered (pitch of the natural ground" in told.words()
    both = explained(result, *at(100, 118 - 5))  # every rule is told, not the first alone
    assert [check.rule for check in both.broken] == ["boundary", "pitch"]


@pytest.mark.parametrize("place", [(102, 22), (148.5, 30)])  # a hole in the data; a pad that hangs over their edge
def test_without_heights_nothing_is_made_up(result, place):
    told = explained(result, *at(*place))
    known = rule(told, "no_data")
    assert known.passed is False and known.change == "get a DEM that covers this place"
    pitch = rule(told, "pitch")
    assert pitch.value is None and pitch.marks is None and pitch.points == pitch.could_gain and pitch.passed is None
    assert "unknown  Pitch of the natural ground: not assessed" in told.words()
    assert told.rank is None


def test_a_limit_that_is_the_measure_itself_rejects_it_nowhere(result):
    """A decimal is seldom a float32: what the scan keeps at its very limit, `explain` must not say it rejects."""
    scan = result.scans[0]
    pitch = scan.measures["pitch"].astype(float)
    decimal = np.array([float(f"{value:.8g}") for value in pitch])
    item = int(np.flatnonzero((decimal < pitch) & (decimal.astype(np.float32) == scan.measures["pitch"]))[0])
    found = result.rescore(rubrics={"pitch": {"full_at": 0.0, "limit": decimal[item].item()}})
    assert scan.index[item] in found.scans[0].index
    row, col = divmod(int(scan.index[item]), scan.frame.grid.cols)
    lonlat = (float(value) for value in scan.frame.grid.lonlat(*scan.frame.grid.centre(row, col)))
    told = explained(found, *lonlat)
    assert rule(told, "pitch").value == pitch[item] and rule(told, "pitch").passed and not told.broken


def test_off_the_data(result):
    with pytest.raises(UsageError, match="outside the data"):
        explained(result, *at(5000, 50))


def test_a_strip_holds_the_house_along_it_only():
    """8 m of pad in a strip of 11 m by 60 m running north: not across it, but along it."""
    ground = 100 + 0.001 * np.mgrid[0:90, 0:60][0]
    settings = Settings(halo_m=5, setback_m=1, apron_m=APRON, top=2, azimuths=8, kind="container",
                        bearing_tolerance_deg=90, bearing_step_deg=90)  # fmt: skip
    run = screen(site(ground, [box(20, 10, 31, 80)]), HOUSE, settings=settings)
    assert [scan.frame.grid.bearing_deg for scan in run.scans] == [90.0, 0.0]
    across, along = (explained(run, *at(25.5, 45), scan) for scan in (0, 1))
    assert [check.rule for check in across.broken] == ["boundary"] and across.bearing_deg == 90
    assert not along.broken and along.bearing_deg == 0
    assert rule(along, "boundary").value == pytest.approx((11 - 8) / 2, abs=0.51)
    # "bearing" is told off the wanted one, with the marks it costs
    assert (
        rule(along, "bearing").value == 90 and rule(along, "bearing").marks == 0 and rule(across, "bearing").value == 0
    )


def test_a_place_that_passes_but_is_not_listed(result):
    first = explain_rank(result, 1)
    scan = result.scans[result.choices[0].scan]
    row, col = divmod(int(scan.index[result.choices[0].item]), scan.frame.grid.cols)
    number = result.choices[0].scan
    around = [(row + down, col + right) for down in (-2, 0, 2) for right in (-2, 2)]
    told = [
        explained(result, *map(float, scan.frame.grid.lonlat(*scan.frame.grid.centre(*cell))), number)
        for cell in around
    ]
    beside = next(one for one in told if not one.broken)
    assert "it overlaps candidate 1" in beside.not_listed and beside.not_listed in beside.words()
    assert not first.not_listed
    last = result.choices[-1].score
    free = [
        told
        for east in range(20, 140, 30)
        for south in range(28, 88, 20)
        if not (told := explained(result, *at(east, south))).broken and told.rank is None and told.score < last - 0.1
    ]
    below = [told for told in free if "list ends" in told.not_listed]
    assert below
    for told in below:
        assert f"{last - told.score:.1f} points are missing" in told.not_listed


@pytest.mark.parametrize("seed", [1])
def test_explanations_agree_with_the_scan_on_a_farm_with_everything(seed):
    """Holes, keep-outs, a line, a structure, gaps in the data, three bearings: what passes the scan passes here, and only that."""
    settings = Settings(setback_m=1.5, clearance_m=3, apron_m=0.6, halo_m=30, top=5, azimuths=8, kind="container",
                        bearing_tolerance_deg=20, bearing_step_deg=20)  # fmt: skip
    run = screen(farm(seed), House(4.3, 9.7, kind="container"), settings=settings)
    rng, refused = np.random.default_rng(seed), set()
    for number, scan in enumerate(run.scans):
        grid, passing = scan.frame.grid, set(scan.index.tolist())
        some = rng.choice(scan.index, min(4, len(scan.index)), replace=False)
        places = [
            *zip(rng.integers(0, grid.rows, 6), rng.integers(0, grid.cols, 6), strict=True),
            *(divmod(i, grid.cols) for i in some),
        ]
        for row, col in places:
            told = explained(run, *map(float, grid.lonlat(*grid.centre(int(row), int(col)))), number)
            assert (not told.broken) == (int(row) * grid.cols + int(col) in passing), told.words()
            refused |= {check.rule.partition(":")[0] for check in told.broken}
            assert all(check.change for check in told.broken)
    assert {"boundary", "no_data"} <= refused


def test_flags_stand_in_the_explanation(result) -> None:
    """What keeps every rule may be doubtful all the same, as a place that may be a river's bed: a candidate is told as in its row, any
    other place that passes as it would be; a place that a rule rejects has its rules."""
    for rank, row in enumerate(result.rows, 1):
        assert explain_rank(result, rank).flags == row["flags"]
        found = explain_everywhere(result, row["lon"], row["lat"])
        assert any(one.flags == row["flags"] and one.rank == rank for one in found)
    assert result.rows[0]["flags"] and f"flags: {result.rows[0]['flags']}" in explain_rank(result, 1).words()
    passing = next(one for one in explain_everywhere(result, *at(30.5, 60.5)) if one.score is not None)
    assert passing.rank is None and passing.flags
    assert not any(one.flags for one in explain_everywhere(result, *at(45, 35)))  # on the pond
