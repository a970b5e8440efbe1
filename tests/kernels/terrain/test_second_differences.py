"""Mean square second differences in windows, against a plain loop."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.kernels.terrain.second_differences import mean_square_second_differences


def _slow(ground: np.ndarray, at: tuple[int, int], lag: int, reach: int) -> float:
    rows, cols = ground.shape
    squares = []
    for row in range(max(at[0] - reach, 0), min(at[0] + reach + 1, rows)):
        for col in range(max(at[1] - reach, 0), min(at[1] + reach + 1, cols)):
            if lag <= row < rows - lag:
                squares.append((ground[row - lag, col] - 2 * ground[row, col] + ground[row + lag, col]) ** 2)
            if lag <= col < cols - lag:
                squares.append((ground[row, col - lag] - 2 * ground[row, col] + ground[row, col + lag]) ** 2)
    known = [value for value in squares if np.isfinite(value)]
    return float(np.mean(known)) if len(known) >= 8 else np.nan


def _ground(rows: int = 300, cols: int = 60) -> np.ndarray:
    ground = np.random.default_rng(3).normal(size=(rows, cols)).cumsum(axis=0)
    ground[12, 5:20] = np.nan
    ground[140:170, 30:] = np.nan
    return ground


@pytest.mark.parametrize(("lag", "reach"), [(1, 0), (1, 3), (3, 4), (7, 11)])
def test_every_window_is_that_of_a_plain_loop(lag: int, reach: int) -> None:
    ground = _ground()
    found = mean_square_second_differences(ground, lag, reach)
    for at in [(0, 0), (9, 3), (12, 12), (127, 59), (128, 0), (155, 45), (299, 59), *zip(range(0, 300, 37), range(9))]:  # noqa: B905
        assert found[at] == pytest.approx(_slow(ground, at, lag, reach), rel=1e-9, nan_ok=True)


def test_rows_asked_for_change_no_bit() -> None:
    ground = _ground().astype(np.float32)
    whole = mean_square_second_differences(ground, 2, 6)
    for rows in [(0, 1), (127, 131), (255, 300), (200, 200)]:
        assert np.array_equal(mean_square_second_differences(ground, 2, 6, rows), whole[slice(*rows)], equal_nan=True)


def test_a_plane_has_none_and_a_window_without_room_is_not_known() -> None:
    slope = np.add.outer(0.03 * np.arange(200.0), 0.05 * np.arange(300.0))
    assert np.nanmax(mean_square_second_differences(slope, 7, 60)) == pytest.approx(0.0, abs=1e-20)
    assert np.isnan(mean_square_second_differences(_ground(40, 40), 25, 4)).all()


@pytest.mark.parametrize(("lag", "reach"), [(0, 3), (1, -1)])
def test_senseless_windows_are_refused(lag: int, reach: int) -> None:
    with pytest.raises(ValueError, match="are expected"):
        mean_square_second_differences(_ground(), lag, reach)
