"""The steady score, room to shift and marks over shifts, against a plain loop over the places a house may move to."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.scan.grounds import features, hills, site
from tunnelsite import screen
from tunnelsite.core.house import House
from tunnelsite.kernels.disc_mean import disc_weights
from tunnelsite.scan.steady import rooms_to_shift, steady_marks
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_900.0, 4_700_100.0


@pytest.fixture(scope="module")
def result():
    """Two parcels whose centres nearly meet, a keep-out, a hole in the data and limits that reject a part."""
    ground = hills(70, 90, 11, rise=1.0)
    ground[30:33, 20:23] = np.nan
    left, right = (
        shapely.box(WEST + 1, NORTH - 68, WEST + 45, NORTH - 1),
        shapely.box(WEST + 45, NORTH - 68, WEST + 89, NORTH - 1),
    )
    wet = shapely.Point(WEST + 60, NORTH - 30).buffer(5)
    given = {"apron": "0", "halo": "20m", "top": 6, "shift": "3m", "rubric": {"pitch": {"limit": 6.0}}}
    farm = site(ground, [left, right], keep_outs=(features([wet], name="wet"),))
    return screen(farm, House(2.0, 4.0, kind="container"), settings=settings_from(given))


def _around(result, item: int):
    """(place in the pack or None, area) of every open place of the same parcel within the shift."""
    scan = result.scans[0]
    grid = scan.frame.grid
    weights = disc_weights(result.settings.shift_m / grid.cell_m)
    reach = len(weights) // 2
    row, col = divmod(int(scan.index[item]), grid.cols)
    place = {int(index): k for k, index in enumerate(scan.index)}
    for down, right in np.ndindex(weights.shape):
        r, c = row + down - reach, col + right - reach
        inside = 0 <= r < grid.rows and 0 <= c < grid.cols
        if inside and scan.ground.owner[r, c] == scan.owner[item] and weights[down, right] > 0:
            yield place.get(r * grid.cols + c), weights[down, right]


def test_a_steady_score_is_the_mean_over_the_shifts_on_open_ground(result) -> None:
    here, steady = result.here[0], result.scored[0]
    checked = lowered = 0
    for item in range(0, len(here), 37):
        near = list(_around(result, item))
        total = sum(area * (0.0 if k is None else here[k]) for k, area in near)
        assert steady[item] == pytest.approx(total / sum(area for _, area in near), abs=2e-6)
        checked += 1
        lowered += any(k is None for k, _ in near)
    assert checked > 50 and lowered > 5


def test_no_shift_is_the_exact_place(result) -> None:
    still = screen(result.site, result.scans[0].house, settings=result.settings.model_copy(update={"shift_m": 0.0}))
    assert np.array_equal(still.scored[0], still.here[0]) and np.array_equal(still.here[0], result.here[0])
    row = still.rows[0]
    assert row["score"] == row["score_here"] == row["score_lowest"]


def test_columns_of_a_candidate_say_how_steady_it_is(result) -> None:
    for row, choice in zip(result.rows, result.choices, strict=True):
        near = list(_around(result, choice.item))
        lowest = 0.0 if any(k is None for k, _ in near) else min(result.here[0][k] for k, _ in near)
        assert row["score_lowest"] == pytest.approx(lowest, abs=1e-4) and row["score_lowest"] <= row["score"]
        assert row["score_here"] == pytest.approx(result.here[0][choice.item], abs=1e-4)


def test_marks_over_the_shifts_add_up_to_the_score(result) -> None:
    weights = np.array([judge.rubric.weight for judge in result.judges])
    items = np.array([choice.item for choice in result.choices])
    together = steady_marks(result.scans[0], items, result.judges, result.settings.shift_m)
    for choice, marks, counted in zip(result.choices, together.known, together.counted, strict=True):
        assert 100 * (counted * weights).sum() / weights.sum() == pytest.approx(choice.score, abs=1e-4)
        row = result.rows[result.choices.index(choice)]
        for judge, mark in zip(result.judges, marks, strict=True):
            if judge.rubric.weight > 0:
                assert row[f"score_{judge.id}"] == pytest.approx(mark, nan_ok=True)


def test_room_to_shift_ends_at_the_nearest_place_that_will_not_do(result) -> None:
    scan, here = result.scans[0], result.here[0][:]
    grid = scan.frame.grid
    good = np.zeros(grid.shape, bool)
    items = np.arange(0, len(here), 101)
    rooms = rooms_to_shift(scan, here, items, result.scored[0][items])
    for item, room in zip(items.tolist(), rooms.tolist(), strict=True):
        score = float(result.scored[0][item])
        good[:] = False
        fine = (here >= 0.95 * score) & (scan.owner == scan.owner[item])
        good.flat[scan.index[fine]] = True
        row, col = divmod(int(scan.index[item]), grid.cols)
        away = np.hypot(
            *(axis - at for axis, at in zip(np.mgrid[0 : grid.rows, 0 : grid.cols], (row, col), strict=True))
        )
        edge = min(row + 1, col + 1, grid.rows - row, grid.cols - col)
        nearest = min(away[~good].min(initial=np.inf), edge)
        expected = np.clip((nearest - 0.5) * grid.cell_m, 0, 30)
        assert room == pytest.approx(expected)
