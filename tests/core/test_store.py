"""Columns that grow piece by piece: what comes out is what went in, and values that are all alike take no room."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.core.store import GrowingArray

NAN = np.nan


@pytest.mark.parametrize(
    "pieces",
    [
        [],
        [[]],
        [[1.0, 2.0], [], [3.0]],
        [[5.0], [5.0, 5.0], [5.0, 6.0]],
        [[], [NAN, NAN], [NAN]],
        [[NAN], [1.0], [NAN]],
        [[0.0] * 40, list(range(100))],
    ],
)
@pytest.mark.parametrize("most", [0, 3, 1000])
def test_a_column_holds_its_pieces_in_order(pieces: list[list[float]], most: int) -> None:
    column = GrowingArray(np.float32, most)
    for piece in pieces:
        column.append(np.array(piece, np.float32))
    found = column.whole()
    assert found.dtype == np.float32
    assert np.array_equal(found, np.array([value for piece in pieces for value in piece], np.float32), equal_nan=True)
    assert len(column.whole()) == 0


@pytest.mark.parametrize(("value", "dtype"), [(0.0, np.float32), (NAN, np.float32), (7, np.int8)])
def test_one_value_is_kept_where_all_are_alike(value: float, dtype: type) -> None:
    column = GrowingArray(dtype, 10_000)
    for _ in range(2):
        column.append(np.full(5000, value, dtype))
    found = column.whole()
    assert found.shape == (10_000,) and found.strides == (0,)
    assert np.array_equal(found, np.full(10_000, value, dtype), equal_nan=True)
