"""Counts and distributions of the placements of a task, parcel by parcel."""

from __future__ import annotations

import numpy as np

from tunnelsite.region.by_parcel import QUANTILES, grouped_quantiles


def test_quantiles_of_groups_are_those_of_each_alone_and_what_is_not_known_does_not_count() -> None:
    """Against numpy's own, which is straight between the two nearest of the sorted values."""
    rng = np.random.default_rng(3)
    group = rng.integers(0, 40, 3000).astype(np.int32)
    group[group == 7] = 8  # one group has none
    group[:5] = 39
    values = np.round(rng.normal(50, 20, 3000), 1).astype(np.float32)
    values[rng.random(3000) < 0.1] = np.nan
    values[group == 11] = np.nan
    found = grouped_quantiles(values, group, 41, QUANTILES)
    for k in range(41):
        mine = values[(group == k) & np.isfinite(values)].astype(np.float64)
        expected = np.quantile(mine, QUANTILES) if len(mine) else np.full(len(QUANTILES), np.nan)
        np.testing.assert_array_equal(found[k], expected)
    assert np.isnan(found[[7, 11, 40]]).all() and np.isfinite(found[39]).all()
    assert np.isnan(grouped_quantiles(np.empty(0), np.empty(0, np.int32), 2, QUANTILES)).all()
