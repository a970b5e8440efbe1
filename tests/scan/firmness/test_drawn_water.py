"""Water on drawn grounds: with no error it is the run's own, and windows route what the whole ground would."""

from __future__ import annotations

from dataclasses import replace

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
from tunnelsite.scan.strip import Strip

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
    drawn = drawn_windows(basin, errors, np.full(len(errors[0]), 0.05), 5.0)
    assert np.abs(drawn.mean(axis=0) - basin.ground).mean() < 0.02
    assert (drawn - basin.ground).std() == pytest.approx(0.05, rel=0.3)


def test_more_water_comes_than_is_told_about_one_time_in_ten():
    """Known land with errors as stated; of the places on which the model shows least water, how often more comes than on nine drawn
    grounds of ten. Ponds come out rather too deep."""
    more: dict[str, list[np.ndarray]] = {}
    for seed in (3, 4):
        rng = np.random.default_rng(seed)
        r, c = np.mgrid[0:220, 0:220].astype(float)
        waves = zip(rng.uniform(0.05, 0.2, 8), rng.uniform(40, 110, 8), rng.uniform(0, 6.3, (8, 2)), strict=True)
        land = (
            150
            - 0.012 * r
            + sum(a * np.sin(2 * np.pi * (r * np.cos(t) + c * np.sin(t)) / L + p) for a, L, (t, p) in waves)
        )
        parcel = shapely.box(WEST + 40, NORTH - 180, WEST + 180, NORTH - 40)
        settings = Settings(halo_m=38, top=1, azimuths=8, shift_m=0.0, kind="container")
        known = screen(site(land.astype(np.float32), [parcel]), House(6, 12, kind="container"), settings=settings)
        scan, judges = known.scans[0], _wet_judges(known)
        model = _with_errors(scan, 0.06, rng)
        shown = _measured(model, judges, settings.pad_pitch)["drainage"]
        items: list[int] = []
        at = np.column_stack(np.divmod(scan.index, scan.frame.grid.cols))
        for item in np.argsort(shown, kind="stable").tolist():
            if len(items) < 40 and np.hypot(*(at[item] - at[items]).T).min(initial=np.inf) >= 14:
                items.append(item)
        errors = [PitchError(ErrorModel(0.06, 5.0), (0.0, 0.0), (0.0, 0.0))] * len(items)
        for name, wet in drawn_water([(model, item) for item in items], errors, judges, (40, 1), settings).items():
            high = np.quantile(wet.measure, 0.9, axis=0)
            more.setdefault(name, []).append(scan.measures[name][items] > high * 1.0001 + 1e-6)
    found = {name: float(np.mean(parts)) for name, parts in more.items()}
    assert 0.05 <= found["drainage"] <= 0.15 and found["flow_beside"] <= 0.15 and found["ponding"] <= 0.15, found


def _wet_judges(result):
    judges = reading_only(result.judges, catalogue.criteria(), FLOW[:3])
    return [judge for judge in judges if [spec.id for spec in judge.criterion.description.reads] != ["ground"]]


def _with_errors(scan, sd_m: float, rng):
    """The scan on its ground plus drawn errors, drained again."""
    grid = scan.frame.grid
    at = np.zeros(1, np.int64)
    error = sd_m * field_on(drawn_waves(rng, 5.0), grid, at, at, grid.shape)[0]
    ground = (scan.frame.ground + error).astype(np.float32)
    full = filled(ground)
    direction = flow_direction(full, grid.cell_m)
    cells, _ = upslope_cells(direction)
    layers = {"ground": ground, "ponding_m": full - ground, "flow_direction": direction,
              "upslope_m2": (cells * grid.cell_m**2).astype(np.float32)}  # fmt: skip
    return replace(scan, frame=replace(scan.frame, layers={**scan.frame.layers, **layers}))


def _measured(scan, judges, pad_pitch: float):
    """What criteria measure at every placement of a scan."""
    mask = np.zeros(scan.frame.grid.shape, bool)
    mask.flat[scan.index] = True
    strip = Strip(scan.frame, scan.house, scan.pad, (0, scan.frame.grid.rows), mask, pad_pitch)
    return {judge.id: judge.measure(strip).ravel()[scan.index] for judge in judges}


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
