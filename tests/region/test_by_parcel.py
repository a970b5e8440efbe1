"""Counts and distributions of the placements of a task, parcel by parcel."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, gentle, write_dem, write_parcels
from tunnelsite import House, Settings, read_site, screen
from tunnelsite.region.by_parcel import QUANTILES, ByParcel, grouped_quantiles


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


def test_a_parcel_says_how_much_of_it_is_known(tmp_path) -> None:
    """Whole, a quarter beside a hole in the data, half beyond the DEM's end, and across its corner; where no place is found and the
    rest might hold one, nobody knows whether the parcel has room."""
    heights = gentle(120, 160)
    heights[40:80, 60:80] = -9999
    heights[90:118, :] += 0.2 * np.arange(160)  # 20 %: no place passes there
    heights[100:104, 100:104] = -9999
    dem = write_dem(tmp_path / "dem.tif", heights, Affine(1, 0, WEST, 0, -1, NORTH), UTM17, nodata=-9999)
    boxes = [(10, 10, 40, 40), (40, 40, 80, 80), (140, 20, 180, 60), (-30, -20, 30, 20)]
    boxes += [(10, 92, 60, 116), (90, 92, 150, 116), (120, 92, 190, 116)]  # steep: whole, with a hole, beyond the end
    boxes += [(80, 102, 99.5, 116), (20.2, 30.2, 20.6, 30.6)]  # just short of the hole, smaller than a cell
    shapes = [shapely.box(WEST + left, NORTH - low, WEST + right, NORTH - top) for left, top, right, low in boxes]
    site = read_site(str(dem), str(write_parcels(tmp_path / "p.gpkg", shapes, UTM17)))
    settings = Settings(keep_water_like=True)  # the level land lies below a bank, as a river's would
    counts = ByParcel(screen(site, House(5.0, 12.0), settings=settings))
    rows = [counts.row(k) for k in range(len(boxes))]
    known = [100, 50, 50, 25, 100, 98.9, 57.1, 100, 100]
    assert [row["known_pct"] for row in rows] == pytest.approx(known, abs=3) and rows[5]["known_pct"] < 99.5
    houses = [counts.house_row(k, "5x12m", 3) for k in range(len(boxes))]
    assert [one.get("feasible") for one in houses] == [1, 1, 1, 1, 0, None, None, 0, 0]
    assert [one.get("pads_m2") for one in houses[4:]] == [0, None, None, 0, 0]
    assert [row["centres_m2"] for row in rows[4:]] == [0, None, None, 0, 0]


def test_no_pitch_is_told_of_ground_that_the_cells_do_not_show(tmp_path) -> None:
    """The candidates of such a model have none: quantiles of the interpolation's would make the parcel's ground look known."""
    plane = (200 + 0.03 * np.arange(30)[None, :] + np.zeros((25, 1))).astype(np.float32)
    dem = write_dem(tmp_path / "dem.tif", plane, Affine(10, 0, WEST, 0, -10, NORTH), UTM17)
    field = [shapely.box(WEST + 100, NORTH - 160, WEST + 180, NORTH - 100)]
    site = read_site(str(dem), str(write_parcels(tmp_path / "p.gpkg", field, UTM17)))
    settings = Settings(cell="2m", kind="container")
    for house, seen in ((House(8.0, 20.0), False), (House(16.0, 20.0), True)):
        row = ByParcel(screen(site, house, settings=settings)).row(0)
        assert row["passed"] > 0 and row["score_q50"] is not None
        assert (row["pitch_pct_q50"] is not None) == seen
