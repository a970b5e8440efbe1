"""The engine against the slow reference, at every second placement of a small random farm, and at every third of another."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from tests.kernels import reference as kernels
from tests.scan import slow_reference as slow
from tests.scan.grounds import features, hills, site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_900.0, 4_700_100.0


def farm(seed: int, rows: int = 60, cols: int = 80):
    """A farm with two parcels (one with a hole), a keep-out, a line, a structure and a patch without data."""
    ground = hills(rows, cols, seed)
    rng = np.random.default_rng(seed)
    ground[40:43, 60:64] = np.nan
    left = shapely.Polygon(
        [(WEST + 2, NORTH - 3), (WEST + 44, NORTH - 2), (WEST + 41, NORTH - 57), (WEST + 3, NORTH - 55)],
        [[(WEST + 18, NORTH - 30), (WEST + 22, NORTH - 30), (WEST + 22, NORTH - 34), (WEST + 18, NORTH - 33)]],
    )
    right = shapely.box(WEST + 44.5, NORTH - 58, WEST + 78.5, NORTH - 2)
    wet = shapely.Point(WEST + rng.uniform(50, 75), NORTH - rng.uniform(5, 20)).buffer(4)
    line = shapely.LineString([(WEST + 5, NORTH - 8), (WEST + 30, NORTH - 12)])
    barn = shapely.box(WEST + 60, NORTH - 55, WEST + 66, NORTH - 49)
    return site(
        ground,
        [left, right],
        keep_outs=(features([wet], name="wet"), features([line], name="line", distance_m=2.5)),
        structures=features([barn], name="barn"),
    )


SETTINGS = settings_from(
    {
        "setback": "1.5m",
        "clearance": "3m",
        "apron": "0.6m",
        "halo": "30m",
        "top": 5,
        "shrink": 1.15,
        "crop_months": "03-01:09-30",
    }
)


@pytest.mark.parametrize(("seed", "size", "step"), [(1, (4.3, 9.7), 2), (2, (5.0, 12.0), 3)])
def test_placements_agree(seed: int, size: tuple[float, float], step: int) -> None:
    house = House(*size, kind="container")
    # nothing to take off the depths: tests/kernels/terrain/test_grading.py does that
    exact = SETTINGS.model_copy(update={"elevation_error_m": 0.0})
    result = screen(farm(seed), house, settings=exact)
    scan = result.scans[0]
    frame, grid = scan.frame, scan.frame.grid
    barred = [(g, item.distance_m) for item in frame.keep_outs for g in item.geometry]
    barred += [(g, SETTINGS.clearance_m) for g in frame.structures.geometry]
    pad = (house.length_m + 2 * SETTINGS.apron_m, house.width_m + 2 * SETTINGS.apron_m)
    expected = {}
    for row in range(grid.rows):
        for col in range(row % step, grid.cols, step):
            along, across = grid.centre(row, col)
            shape = shapely.box(along - pad[0] / 2, across - pad[1] / 2, along + pad[0] / 2, across + pad[1] / 2)
            owner = next(
                (k for k, p in enumerate(frame.parcels) if slow.fits(shape, p, SETTINGS.setback_m, barred)), None
            )
            if owner is not None:
                expected[row * grid.cols + col] = owner
    limits = {judge.id: judge.rubric for judge in result.judges}
    nudged = set(scan.ground.nudged.index.tolist())  # those are tried in tests/scan/test_tight_ground.py
    passed, checked = set(), 0
    for index, owner in expected.items():
        row, col = divmod(index, grid.cols)
        measures = _measures(frame, house, pad, row, col)
        if measures is None or any(limits[name].beyond(np.float32(value)) for name, value in measures.items()):
            assert index not in set(scan.index.tolist())
            continue
        passed.add(index)
        item = int(np.searchsorted(scan.index, index))
        if item >= len(scan.index) or scan.index[item] != index:
            continue  # compared as sets below
        assert scan.owner[item] == owner
        for name, value in measures.items():
            assert scan.measures[name][item] == pytest.approx(value, rel=2e-4, abs=2e-5), name
        checked += 1
    assert checked > 100
    # buffers are chains of chords kept outside the true arc by at most 0.03 %: a sliver of placements may differ
    row, col = np.divmod(scan.index, grid.cols)
    centred = set(scan.index[col % step == row % step].tolist()) - nudged
    differ = passed ^ centred
    assert not centred - passed
    assert len(differ) <= 0.01 * len(passed)


def _measures(frame, house: House, pad, row: int, col: int) -> dict[str, float] | None:
    cell = frame.grid.cell_m
    under = slow.covered(frame.ground, row, col, (house.length_m, house.width_m), cell)
    graded = slow.covered(frame.ground, row, col, pad, cell)
    if under is None or graded is None:
        return None
    _, along, across, rms = slow.plane(under)
    cut, *_ = slow.earthwork(graded, cell, SETTINGS.pad_pitch, SETTINGS.shrink)
    reach = int(max(pad) / cell / 2) + 3
    window = frame.ground[max(row - reach, 0) : row + reach + 1, max(col - reach, 0) : col + reach + 1].astype(float)
    sizes = (pad[0] / cell, pad[1] / cell)
    at = min(row, reach), min(col, reach)
    deepest = kernels.grading(window, *sizes, cell, SETTINGS.pad_pitch, SETTINGS.shrink, at=at)[2]
    found = {
        "pitch": 100 * max(abs(along), abs(across)),
        "roughness": rms,
        "deepest_cut": deepest,
        "earthwork": cut / (pad[0] * pad[1]),
    }
    for name, layer in (("drainage", "upslope_m2"), ("ponding", "ponding_m"), ("standing", "standing_m")):
        found[name] = slow.covered(frame.layers[layer], row, col, pad, cell)[:, 0].max()
    for name, layer in (("sun", "beam_share_worst"), ("season_sun", "beam_share")):
        light = slow.covered(frame.layers[layer], row, col, (house.length_m, house.width_m), cell)
        found[name] = (light[:, 0] * light[:, 1]).sum() / light[:, 1].sum()
    return found


def test_scores_agree_with_the_slow_way() -> None:
    """Expected marks of what has an error, by simulation of the error; plain marks of what has none."""
    result = screen(farm(3), House(4.3, 9.7, kind="container"), settings=SETTINGS)
    scan = result.scans[0]
    normal = np.random.default_rng(1).standard_normal(4000)[:, None]
    some = slice(0, None, max(1, len(scan.index) // 150))
    total, weight = np.zeros(len(scan.index[some])), 0.0
    for judge in result.judges:
        if judge.rubric.weight:
            truth = scan.truths.get(judge.id)
            value = scan.measures[judge.id][some].astype(float)
            if truth is not None:
                value = truth.mean[some] + truth.se[some] * normal
            marks = np.atleast_2d(judge.rubric.marks(value)).mean(axis=0)
            total += judge.rubric.weight * np.nan_to_num(marks, nan=0.5)  # what is not assessed counts half
            weight += judge.rubric.weight
    assert result.here[0][some] == pytest.approx(100 * total / weight, abs=0.3)


def test_several_houses_and_bearings_compete_without_overlap() -> None:
    settings = SETTINGS.model_copy(update={"bearing_tolerance_deg": 20.0, "bearing_step_deg": 20.0, "top": 12})
    houses = [House(4.3, 9.7, kind="container"), House(3.0, 6.0, kind="container")]
    result = screen(farm(4), houses, settings=settings)
    assert len(result.scans) == 6
    shapes = result.tables["candidates"].geometry
    assert len(shapes) == 12 and len({row["house"] for row in result.rows}) == 2
    sizes = [row["house"] for row in result.rows]
    firsts = {sizes.index(size) for size in sizes}  # the best of each size is shown, whatever it stands on
    for k, one in enumerate(shapes):
        for other in range(k + 1, len(shapes)):
            if sizes[k] == sizes[other] or not {k, other} & firsts:
                assert shapely.area(shapely.intersection(one, shapes[other])) < 1e-3
    found = [row["score"] for row in result.rows]
    assert found == sorted(found, reverse=True)
    assert {round(row["bearing_deg"]) for row in result.rows} <= {70, 90, 110}
    for row, shape in zip(result.rows, shapes, strict=True):
        assert shapely.area(shape) == pytest.approx(row["width_m"] * row["length_m"], rel=2e-3)
        corner = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))
        assert math.isfinite(corner.sum())


def test_an_empty_ranking_is_a_result_with_reasons() -> None:
    steep = 100 + 0.3 * np.mgrid[0:60, 0:80][1]
    result = screen(site(steep), House(4.0, 9.0), settings=Settings())
    assert not result.choices
    rejected = {row["rule"]: row for row in result.tables["rejections"].rows}
    assert rejected["pitch"]["rejected"] == rejected["pitch"]["tried"] > 0
    assert rejected["pitch"]["nearest_miss"] == pytest.approx(30 * 0.9996, abs=0.001)  # UTM metres are 0.04 % short
    assert len(result.candidates) == 0
