"""Water on drawn grounds: with no error it is the run's own, and windows route what the whole ground would."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.ndimage import distance_transform_edt

from tests.scan.grounds import site
from tunnelsite import Settings, screen
from tunnelsite.core import catalogue
from tunnelsite.core.elevation_error import ErrorModel, drawn_waves, field_on
from tunnelsite.core.house import House
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.upslope import upslope_cells
from tunnelsite.scan.firmness import drawn_water as drawn_water_module
from tunnelsite.scan.firmness.drawn_ground import reading_only
from tunnelsite.scan.firmness.drawn_water import FLOW, _basins, _unstacked, drawn_water, drawn_windows, water_layers
from tunnelsite.scan.firmness.other_weights import candidate_marks
from tunnelsite.scan.pitch_error import PitchError

WEST, NORTH = 499_900.0, 4_700_100.0


@pytest.fixture(scope="module")
def result():
    """A slope of 2 % to the south with a swale that bends through it; parcels beside the swale."""
    r, c = np.mgrid[0:160, 0:170].astype(float)
    swale = 85 + 12 * np.sin(r / 25)
    rng = np.random.default_rng(2)
    ground = 120 - 0.02 * r + 0.012 * np.abs(c - swale) + rng.normal(0, 0.002, r.shape)
    parcels = [
        shapely.box(WEST + x, NORTH - y - 22, WEST + x + 26, NORTH - y) for x, y in ((75, 60), (64, 100), (20, 50))
    ]
    settings = Settings(halo_m=60, top=5, azimuths=8, per_parcel=2, apart_m=4.0, kind="container")
    return screen(site(ground, parcels), House(6, 12, kind="container"), settings=settings)


def wet_of(result, errors, draws=3):
    chosen = [(result.scans[choice.scan], choice.item) for choice in result.choices]
    judges = [j for j in reading_only(result.judges, catalogue.criteria(), FLOW[:3])
              if [spec.id for spec in j.criterion.description.reads] != ["ground"]]  # fmt: skip
    assert {"drainage", "ponding"} <= {judge.id for judge in judges}
    found = [PitchError(errors, (0.0, 0.0), (0.0, 0.0)) for _ in chosen]
    return judges, drawn_water(chosen, found, judges, (draws, 1), result.settings)


@pytest.mark.parametrize("range_m", [0.0, 5.0])
def test_without_error_water_is_the_screenings(result, range_m):
    judges, found = wet_of(result, ErrorModel(0.0, range_m))
    marks = dict(zip([judge.id for judge in result.judges], candidate_marks(result), strict=True))
    assert np.ptp(marks["drainage"]) > 0.05  # some stand near the swale
    for judge in judges:
        stored = [result.scans[choice.scan].measures[judge.id][choice.item] for choice in result.choices]
        assert found[judge.id].measure == pytest.approx(np.array([stored] * 3), rel=1e-4, abs=1e-4), judge.id
        assert found[judge.id].mark == pytest.approx(np.array([marks[judge.id]] * 3), abs=1e-4), judge.id


def test_windows_route_water_as_the_whole_ground_does(result):
    """Areas and depths on each pad, by its window and by the whole ground with the same errors in that window (none where water
    enters)."""
    scan = result.scans[0]
    frame = scan.frame
    ((basin, _),) = _basins([(scan, choice.item) for choice in result.choices], result.settings.shift_m)
    down, right = basin.ring.shape
    pad = (slice(down // 2 - 4, down // 2 + 5), slice(right // 2 - 7, right // 2 + 8))
    same, turned = [], 0
    inwards = distance_transform_edt(np.pad(~basin.ring[1:-1, 1:-1], 1))
    taper = np.clip((inwards - 2) / 5, 0.0, 1.0)
    for draw in range(20):
        field = field_on(
            drawn_waves(np.random.default_rng(draw), 5.0), frame.grid, basin.row, basin.col, basin.ring.shape
        )
        grounds = (basin.ground - 0.06 * taper * field).astype(np.float32)
        layers = water_layers(basin, grounds[None])
        found = {name: _unstacked(layers[name], (1, *grounds.shape))[0] for name in ("upslope_m2", "ponding_m")}
        for k, (r, c) in enumerate(zip(basin.row, basin.col, strict=True)):
            whole = frame.ground.copy()
            whole[r : r + down, c : c + right] = grounds[k]
            full = filled(whole)
            cells, _ = upslope_cells(flow_direction(full, frame.grid.cell_m))
            area = cells[r : r + down, c : c + right][pad] * frame.grid.cell_m**2
            depth = (full - whole)[r : r + down, c : c + right][pad]
            same.append(
                np.allclose(found["upslope_m2"][k][pad], area) and np.allclose(found["ponding_m"][k][pad], depth)
            )
            own = frame.layers["upslope_m2"][r : r + down, c : c + right][pad]
            turned += abs(area.max() - own.max()) > 200
    assert np.mean(same) > 0.9, np.mean(same)  # water may leave a window and come back
    assert turned > 10  # errors did turn water


def test_a_drawn_ground_is_as_rough_as_the_model_and_keeps_the_lie_of_the_land(result):
    scan = result.scans[0]
    ((basin, _),) = _basins([(scan, choice.item) for choice in result.choices], 3.0)
    numbers = np.random.default_rng(5)
    errors = np.stack(
        [
            0.05 * field_on(drawn_waves(numbers, 5.0), scan.frame.grid, basin.row, basin.col, basin.ring.shape)
            for _ in range(40)
        ]
    )
    drawn = drawn_windows(basin, errors, 5.0)
    assert np.abs(drawn.mean(axis=0) - basin.ground).mean() < 0.02
    assert (drawn - basin.ground).std() == pytest.approx(0.05, rel=0.3)


def test_draws_are_the_same_whatever_the_memory_and_their_number(result, monkeypatch):
    _, many = wet_of(result, ErrorModel(0.05, 5.0), 6)
    monkeypatch.setattr(drawn_water_module, "CELLS_AT_ONCE", 20_000)
    _, few = wet_of(result, ErrorModel(0.05, 5.0), 4)
    for name, wet in few.items():
        assert np.array_equal(wet.measure, many[name].measure[:4]), name
        np.testing.assert_allclose(
            wet.mark, many[name].mark[:4], rtol=1e-12
        )  # a product of another shape rounds otherwise
    assert np.ptp(many["drainage"].measure, axis=0).max() > 0
