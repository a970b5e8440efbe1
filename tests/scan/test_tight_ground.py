"""Places where a pad fits with less than a cell to spare are found, exactly, and stand where they were tested."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import affinity

from tests.scan.grounds import UTM17, features, site
from tunnelsite import House, screen
from tunnelsite.core.grid import Grid, local_crs
from tunnelsite.core.house import Pad
from tunnelsite.core.site import Frame
from tunnelsite.decisions.explain import explain_everywhere, explain_rank
from tunnelsite.scan.open_ground import bars, open_ground
from tunnelsite.scan.outcomes import outcomes
from tunnelsite.scan.refine import broken_rules, placement
from tunnelsite.scan.tight_ground import FIT_M
from tunnelsite.screening.kept_run import keep_run, kept_run
from tunnelsite.settings.model import settings_from

PAD = Pad(4.0, 9.0)


def a_frame(parcels, cell_m: float = 1.0, side_m: float = 60.0, keep_outs=(), structures=None) -> Frame:
    """A bare frame of `side_m` square metres whose corner is (0, 0); shapes in along/across metres."""
    side = round(side_m / cell_m)
    grid = Grid(local_crs(UTM17, -81.0, 42.0).to_wkt(), cell_m, side, side, 0.0, side * cell_m)
    shapes = np.empty(len(parcels), object)
    shapes[:] = parcels
    layers = {"ground": np.zeros((side, side), np.float32)}
    names = [f"p{k}" for k in range(len(parcels))]
    return Frame(grid, 0.0, layers, {}, shapes, names, -81.0, 42.0, keep_outs=keep_outs, structures=structures)


def box_of(ground, frame: Frame, index: int, pad: Pad = PAD):
    """The pad of a placement, less the tolerance."""
    along, across = (float(values) for values in ground.nudged.centre(frame.grid, index))
    u, v = pad.length_m / 2 - FIT_M, pad.width_m / 2 - FIT_M
    return shapely.box(along - u, across - v, along + u, across + v)


@pytest.mark.parametrize("spare_m", [0.0, -0.0005, 0.001, 0.02, 0.4, 0.99])
@pytest.mark.parametrize("start_m", np.linspace(20, 21, 11).tolist())
def test_a_strip_with_less_than_a_cell_to_spare_is_found_wherever_it_lies(spare_m: float, start_m: float) -> None:
    strip = shapely.box(5.0, start_m, 50.0, start_m + PAD.width_m + spare_m)
    frame = a_frame([strip])
    found = open_ground(frame, PAD, 0.0, [])
    assert np.count_nonzero(found.owner == 0) >= 36  # 45 m less a pad of 9 m
    assert found.inside[0] - found.rejected["boundary"][0] == np.count_nonzero(found.owner == 0)
    for index in np.flatnonzero(found.owner == 0):
        assert shapely.buffer(strip, 1e-9).covers(box_of(found, frame, index))


@pytest.mark.parametrize("start_m", [20.0, 20.3, 20.55])
def test_a_strip_that_is_too_narrow_stays_so(start_m: float) -> None:
    frame = a_frame([shapely.box(5.0, start_m, 50.0, start_m + PAD.width_m - 2 * FIT_M)])
    assert not np.any(open_ground(frame, PAD, 0.0, []).owner >= 0)


@pytest.mark.parametrize("setback_m", [1.5, 7.0])
def test_exactly_the_pad_its_setback_and_its_clearance_fit(setback_m: float) -> None:
    """Coarse arcs are 0.03 % too wide, which is more than a millimetre here: tight places are tested with fine ones."""
    parcel = shapely.box(3.0, 10.3, 57.0, 10.3 + PAD.width_m + 2 * setback_m)
    frame = a_frame([parcel])
    assert np.any(open_ground(frame, PAD, setback_m, []).owner == 0)
    barn = shapely.box(3.0, 10.3 + PAD.width_m + 2 * setback_m, 57.0, 58.0)
    frame = a_frame([shapely.box(3.0, 10.3, 57.0, 58.0)], structures=features([barn]))
    found = open_ground(frame, PAD, 0.0, bars(frame, 2 * setback_m))
    assert np.any(found.owner == 0)
    for index in np.flatnonzero(found.owner == 0):
        assert shapely.distance(box_of(found, frame, index), barn) >= 2 * setback_m - 1e-9


def a_case(seed: int):
    """Crooked parcels that are hardly wide enough, a pond, a line and a post."""
    rng = np.random.default_rng(seed)
    strip = shapely.box(-26.0, -2.05 - 0.4 * rng.random(), 26.0, 2.05 + 0.4 * rng.random())
    parcels = [affinity.translate(affinity.rotate(strip, rng.uniform(-2, 2)), 30.0, 12.0 + rng.random())]
    corner = shapely.union(shapely.box(6, 22, 24, 46), shapely.box(20, 22 + rng.random(), 52, 26.3 + rng.random()))
    parcels.append(affinity.rotate(corner, rng.uniform(-3, 3)))
    parcels.append(shapely.Polygon(rng.uniform(28, 56, (3, 2))).buffer(2.5))
    pond = shapely.Point(rng.uniform(6, 20), rng.uniform(28, 44)).buffer(2.0)
    line = shapely.LineString(rng.uniform(2, 58, (3, 2)))
    keep_outs = (features([pond], name="pond"), features([line], name="line", distance_m=0.7))
    return parcels, keep_outs, features([shapely.Point(rng.uniform(2, 58, 2))])


@pytest.mark.parametrize("cell_m", [1.0, 2.5])
@pytest.mark.parametrize("seed", range(6))
def test_no_cell_is_missed_and_none_is_given_too_much(seed: int, cell_m: float) -> None:
    """Against points tried one by one with shapely: a cell with a point that will do is open, or a neighbour's centre is."""
    parcels, keep_outs, post = a_case(seed)
    frame = a_frame(parcels, cell_m, keep_outs=keep_outs, structures=post)
    setback_m, clearance_m = 0.0, 1.3
    found = open_ground(frame, PAD, setback_m, bars(frame, clearance_m))
    grid, owner = frame.grid, found.owner
    barred = [(pond, 0.0) for pond in keep_outs[0].geometry]
    barred += [(line, 0.7) for line in keep_outs[1].geometry] + [(one, clearance_m) for one in post.geometry]

    def fits(along, across, land):
        u, v = PAD.length_m / 2, PAD.width_m / 2
        pads = shapely.box(along - u, across - v, along + u, across + v)
        good = shapely.covers(land, pads)
        for shape, distance in barred:
            near = shapely.distance(pads, shape) < distance if distance else shapely.intersects(pads, shape)
            good &= ~near
        return good

    inner = (np.arange(12) + 0.5) / 12 - 0.5
    for row, col in np.argwhere(owner < 0):
        along, across = grid.centre(row, col)
        home = next((k for k, land in enumerate(parcels) if shapely.contains_xy(land, along, across)), None)
        if home is None:
            continue
        beside = owner[max(row - 1, 0) : row + 2, max(col - 1, 0) : col + 2]
        if (beside == home).any():
            continue
        u, v = (values.ravel() for values in np.meshgrid(along + inner * cell_m, across + inner * cell_m))
        assert not fits(u, v, shapely.buffer(parcels[home], -1e-3)).any(), (row, col)
    assert len(found.nudged.index) or seed > 1
    for index, along, across in zip(found.nudged.index, found.nudged.along_m, found.nudged.across_m, strict=True):
        cell = np.array(grid.centre(*divmod(index, grid.cols)))
        assert (np.abs(cell - (along, across)) <= cell_m / 2 + 1e-9).all()
        box, land = box_of(found, frame, index), parcels[owner.flat[index]]
        assert shapely.area(shapely.difference(box, land)) < 1e-9
        assert all(shapely.distance(box, shape) > distance - 1e-9 for shape, distance in barred)


def test_wide_ground_is_as_it_was() -> None:
    """Where a cell's centre lets the pad in, its neighbours are not nudged: no placement more than there are centres."""
    frame = a_frame([shapely.box(5.2, 5.7, 55.1, 52.9)])
    found = open_ground(frame, PAD, 2.0, [])
    assert not len(found.nudged.index)


SETTINGS = {"halo": "10m", "azimuths": 8, "top": 4, "apron": "0.6m", "crop_months": "03-01:09-30"}
HOUSE = House(4.0, 9.0, kind="container")
WEST, NORTH = 499_960.0, 4_700_060.0


@pytest.fixture(scope="module")
def narrow():
    """A parcel 5.5 m deep for a pad of 5.2 m, with a barn just clear of it; the ground falls 1 % to the south-east."""
    r, c = np.mgrid[0:60, 0:80]
    ground = 100 - 0.008 * c - 0.006 * r
    parcel = shapely.box(WEST + 8, NORTH - 36.02, WEST + 70, NORTH - 30.52)
    barn = features([shapely.box(WEST + 8, NORTH - 30.3, WEST + 70, NORTH - 25)], name="barn")
    farm = site(ground, [parcel], west=WEST, north=NORTH, structures=barn)
    return screen(farm, HOUSE, settings=settings_from({**SETTINGS, "clearance": "0.2m"}))


def test_a_screening_of_a_narrow_parcel(narrow) -> None:
    assert len(narrow.choices) == 4
    scan = narrow.scans[0]
    assert len(scan.ground.nudged.index)
    parcel = scan.frame.parcels[0]
    for choice, row in zip(narrow.choices, narrow.rows, strict=True):
        assert not broken_rules(scan, choice.item, 0.0, 0.2)
        _, _, along, across = placement(scan, choice.item)
        pad = shapely.box(along - 5.1, across - 2.6, along + 5.1, across + 2.6)
        assert shapely.area(shapely.difference(pad, parcel)) < 0.02
        footprint = shapely.box(along - 4.5, across - 2, along + 4.5, across + 2)
        barn = scan.frame.structures.geometry[0]
        assert row["clearance_m"] == pytest.approx(shapely.distance(footprint, barn), abs=1e-6)
        lon, lat = scan.frame.grid.lonlat(along, across)
        assert (row["lon"], row["lat"]) == pytest.approx((float(lon), float(lat)), abs=1e-9)
    shapes = narrow.tables["candidates"].geometry
    for k, one in enumerate(shapes):
        assert all(shapely.area(shapely.intersection(one, other)) < 1e-3 for other in shapes[k + 1 :])


def test_stakes_and_plane_of_a_nudged_place_are_those_of_the_ground(narrow) -> None:
    """On a plane, ground and finish must be the same to a millimetre wherever the house was moved to."""
    stakes = narrow.tables["stakes"]
    cuts = [row["cut_m"] for row in stakes.rows if row["kind"] in ("corner", "apron")]
    tilt = max(abs(row["slope_along"] - 0.01 * row["pitch_along_pct"]) for row in narrow.rows)
    assert max(map(abs, cuts)) <= tilt * 5.2 + 0.0021 * 2.6 + 0.002
    for pad, row in zip(narrow.tables["pads"].rows, narrow.rows, strict=True):
        middle = [s for s in stakes.rows if s["rank"] == row["rank"] and s["kind"] == "corner"]
        assert pad["level_m"] == pytest.approx(np.mean([s["finish_m"] for s in middle]), abs=1e-6)
        assert pad["level_m"] == pytest.approx(np.mean([s["ground_m"] for s in middle]), abs=0.002)


def test_explaining_and_keeping_agree_with_the_screening(narrow, tmp_path: Path) -> None:
    found = explain_rank(narrow, 1)
    assert not found.broken and found.rank == 1
    row = narrow.rows[0]
    there = explain_everywhere(narrow, row["lon"], row["lat"])[0]
    assert there.rank == 1 and there.moved_m < 1e-3
    keep_run(narrow, tmp_path / "run.npz", overwrite=False)
    again = kept_run(tmp_path / "run.npz")
    assert [one["lon"] for one in again.rows] == [one["lon"] for one in narrow.rows]
    assert explain_rank(narrow, 2).rules[0].passed


def test_books_and_fates_agree_with_nudged_places(narrow) -> None:
    scan = narrow.scans[0]
    found = outcomes(scan, narrow.judges, (0.0, 0.2), narrow.settings.pad_pitch)
    for rule, counts in scan.ground.rejected.items():
        assert found.count(rule) == counts.sum()
    tried = scan.ground.inside.sum() - sum(counts.sum() for counts in scan.ground.rejected.values())
    assert tried == scan.tallies["no_data"][0].tried > 0
