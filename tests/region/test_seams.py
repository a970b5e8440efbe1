"""Heights beyond the tiles of one coordinate system, from those of another."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from rasterio.transform import Affine

from tests.region.test_zones import UTM18, corner
from tests.whole_run.files import UTM17
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import SourceRaster
from tunnelsite.region.seams import with_neighbours

SIDE = 80
CENTRE = -78.0


def east_north(system: str, rows: int = SIDE, cols: int = SIDE) -> tuple[np.ndarray, np.ndarray, tuple[float, ...]]:
    """Degrees east and north of the seam's middle of every cell of a raster round it, and its affine."""
    west, north = corner(system, CENTRE)
    place = Affine(1, 0, west - cols // 2, 0, -1, north + rows // 2)
    col, row = np.meshgrid(np.arange(cols) + 0.5, np.arange(rows) + 0.5)
    x, y = place.c + col, place.f - row
    lon, lat = pyproj.Transformer.from_crs(system, "EPSG:4326", always_xy=True).transform(x, y)
    return (lon - CENTRE) * 82_000.0, (lat - 42.4) * 111_000.0, tuple(place)[:6]


def raster(system: str, heights, keep, datum_m: float = 0.0) -> SourceRaster:
    """The heights of a ground (a function of metres east and north) where `keep` of the metres east is true."""
    east, north, affine = east_north(system)
    values = np.where(keep(east), heights(east, north) - datum_m, np.nan).astype(np.float32)
    return SourceRaster(values, affine, pyproj.CRS(system), datum_m)


def plane(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return 200 + 0.03 * east - 0.02 * north


def bounds(one: SourceRaster, by: float = 0.0) -> tuple[float, float, float, float]:
    a, _, west, _, e, north = one.affine
    return west - by, north + e * one.rows - by, west + a * one.cols + by, north + by


@pytest.mark.parametrize("overlap_m", [0.0, 7.0])
@pytest.mark.parametrize("datum_m", [0.0, 180.0])
def test_a_plane_goes_on_across_the_seam(overlap_m: float, datum_m: float) -> None:
    west = raster(UTM17, plane, lambda east: east <= overlap_m, datum_m)
    east = raster(UTM18, plane, lambda east: east >= -overlap_m)
    found = with_neighbours(west, [east], bounds(west))
    at_east, north, _ = east_north(UTM17)
    inside = (np.abs(at_east) < 30) & (np.abs(north) < 30)  # of both
    assert found.affine == west.affine
    assert np.isfinite(found.values[inside]).all()
    assert np.abs(found.values + datum_m - plane(at_east, north))[inside].max() < 2e-4
    own = np.isfinite(west.values)
    assert np.array_equal(found.values[own], west.values[own])
    assert found.notes == ()


def test_what_neither_holds_stays_unknown_and_no_rim_is_added_for_it() -> None:
    west = raster(UTM17, plane, lambda east: east <= 0)
    east = raster(UTM18, plane, lambda east: east >= 12)
    found = with_neighbours(west, [east], bounds(west, 500.0))
    at_east, north, _ = east_north(UTM17)
    gap = (at_east > 1) & (at_east < 11) & (np.abs(north) < 30)
    row = round(found.affine[5] - west.affine[5])
    col = round(west.affine[2] - found.affine[2])
    there = found.values[row : row + SIDE, col : col + SIDE]
    assert gap.any() and np.isnan(there[gap]).all()
    assert max(found.shape) < SIDE + 20


def test_a_step_between_two_systems_is_told_and_small_ones_are_not() -> None:
    def lower(east: np.ndarray, north: np.ndarray) -> np.ndarray:
        return plane(east, north) - 0.3

    west = raster(UTM17, plane, lambda east: east <= 10)
    for ground, expected in ((lower, 1), (plane, 0)):
        east = raster(UTM18, ground, lambda east: east >= -10)
        notes = with_neighbours(west, [east], bounds(west)).notes
        assert len(notes) == expected
    notes = with_neighbours(west, [raster(UTM18, lower, lambda east: east >= -10)], bounds(west)).notes
    assert "0.30 m below" in notes[0] and "zone 18N" in notes[0]


def test_heights_that_cannot_be_of_one_unit_are_refused() -> None:
    west = raster(UTM17, plane, lambda east: east <= 10)
    feet = raster(UTM18, lambda east, north: plane(east, north) / 0.3048, lambda east: east >= -10)
    with pytest.raises(InputRefused, match="one unit"):
        with_neighbours(west, [feet], bounds(west))


def test_neighbours_are_not_read_where_nothing_is_unknown() -> None:
    def never():
        raise AssertionError("read")
        yield

    whole = raster(UTM17, plane, lambda east: east <= 1e9)
    assert with_neighbours(whole, never(), bounds(whole)) is whole
