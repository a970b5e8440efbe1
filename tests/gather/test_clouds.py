"""Ground, surface and scatter from survey points: a plane comes through exactly, noise is measured, voids stay voids."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.gather.made import EAST, NORTH, cloud, middle_deg, plane
from tests.io.fetch.servers import Site, serving
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.gather.data_sources import LOCAL, DataSource
from tunnelsite.gather.gridded import CellGrid, ground_cells, surface_cells
from tunnelsite.gather.request import GatherRequest, area_around, gather
from tunnelsite.gather.standing import standing_pieces
from tunnelsite.io.read.rasters import raster_header, read_raster

pytest.importorskip("laspy")


@pytest.fixture
def site() -> Iterator[Site]:
    with serving(Site({"/a.laz": cloud()})) as found:
        yield found


def _points(count: int, noise_m: float, seed: int = 2):
    random = np.random.default_rng(seed)
    east, north = EAST + random.uniform(-20, 20, count), NORTH + random.uniform(-20, 20, count)
    return east, north, plane(east, north) + random.normal(0, noise_m, count)


def test_a_plane_comes_through_exactly() -> None:
    east, north, height = _points(3000, 0.0)
    lattice = CellGrid.over(east, north, 1.0)
    ground = ground_cells(east, north, height, lattice)
    wanted = plane(*lattice.centres()).reshape(ground.height.shape)
    inner = np.s_[2:-2, 2:-2]
    assert np.nanmax(np.abs(ground.height - wanted)[inner]) < 1e-6
    assert np.nanmax(ground.scatter) < 1e-5
    assert ground.count.sum() == 3000


def test_the_error_of_cells_is_that_of_their_points() -> None:
    errors, scatters = [], []
    for seed in range(4):
        east, north, height = _points(16_000, 0.06, seed)
        lattice = CellGrid.over(east, north, 1.0)
        ground = ground_cells(east, north, height, lattice)
        scatters.append(np.sqrt(np.nanmean(ground.scatter**2)))
        off = ground.height - plane(*lattice.centres()).reshape(ground.height.shape)
        errors.append((ground.usual_error, np.sqrt(np.nanmean(off[2:-2, 2:-2] ** 2))))
    assert np.mean(scatters) == pytest.approx(0.06, rel=0.03)
    said, true = np.mean(errors, axis=0)
    assert said == pytest.approx(true, rel=0.25)


def test_scatter_equals_a_plain_fit() -> None:
    east, north, height = _points(2000, 0.1)
    lattice = CellGrid.over(east, north, 2.0)
    found = ground_cells(east, north, height, lattice).scatter
    row, col = 7, 11
    centre = lattice.west + (col + 0.5) * 2, lattice.north - (row + 0.5) * 2
    near = (np.abs(east - centre[0]) <= 3) & (np.abs(north - centre[1]) <= 3)
    matrix = np.column_stack([np.ones(near.sum()), east[near] - centre[0], north[near] - centre[1]])
    left = height[near] - matrix @ np.linalg.lstsq(matrix, height[near], rcond=None)[0]
    assert found[row, col] == pytest.approx(np.sqrt((left**2).sum() / (near.sum() - 3)), rel=1e-4)


def test_surface_is_the_highest_point_and_its_neighbour_where_there_is_none() -> None:
    lattice = CellGrid(0.0, 3.0, 1.0, 3, 3)
    found = surface_cells(np.array([0.5, 0.6]), np.array([2.5, 2.4]), np.array([4.0, 9.0]), lattice)
    assert found[0, 0] == 9.0 and found[1, 1] == 9.0 and np.isnan(found[2, 2])


def test_a_cloud_by_address_becomes_rasters(site: Site, tmp_path: Path) -> None:
    lon, lat = middle_deg()
    request = GatherRequest(
        area_around(f"{lat},{lon}:50m", 0.0),
        points=((DataSource("a", "points", f"{site.address}/a.laz"), f"{site.address}/a.laz"),),
        standing=True,
    )
    done = gather(request, tmp_path)
    assert [entry.file for entry in done.entries] == [
        "ground.tif", "surface.tif", "ground-points.tif", "ground-scatter.tif", "ground-error.tif", "standing.geojson",
    ]  # fmt: skip
    assert "ground-error.tif" in done.entries[0].notes[-1]
    ground = read_raster(raster_header(tmp_path / "ground.tif"))
    rows, cols = np.indices(ground.shape)
    a, _, c, _, e, f = ground.affine
    wanted = plane(a * (cols + 0.5) + c, e * (rows + 0.5) + f)
    off = ground.values + ground.datum_m - wanted
    assert np.sqrt(np.nanmean(off**2)) < 0.03
    assert "1 taken for buildings, 0 for trees" in done.entries[-1].chosen


def test_under_a_wide_roof_the_ground_stays_unknown() -> None:
    random = np.random.default_rng(4)
    east, north = EAST + random.uniform(-20, 20, 8000), NORTH + random.uniform(-20, 20, 8000)
    there = (np.abs(east - EAST) > 8) | (np.abs(north - NORTH) > 8)
    lattice = CellGrid.over(east, north, 1.0)
    ground = ground_cells(east[there], north[there], plane(east, north)[there], lattice)
    middle = lattice.rows // 2, lattice.cols // 2
    assert np.isnan(ground.height[middle]) and np.isnan(ground.scatter[middle]) and ground.count[middle] == 0


def test_a_local_file_needs_no_network(tmp_path: Path) -> None:
    path = tmp_path / "a b;c.laz"
    path.write_bytes(cloud())
    lon, lat = middle_deg()
    where = area_around(f"{lat},{lon}:50m", 0.0)
    done = gather(GatherRequest(where, points=((DataSource("a", LOCAL, ""), str(path)),)), tmp_path / "out")
    assert done.fetched_bytes == 0


@pytest.mark.parametrize("content", [b"LASF" + bytes(300), b"no cloud", b""])
def test_what_is_no_cloud_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.laz"
    path.write_bytes(content)
    request = GatherRequest(area_around("43.01,-75:50m", 0.0), points=((DataSource("a", LOCAL, ""), str(path)),))
    with pytest.raises(InputRefused):
        gather(request, tmp_path / "out")


def test_an_unclassified_cloud_is_filtered_or_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.laz"
    path.write_bytes(cloud(classified=False))
    lon, lat = middle_deg()
    request = GatherRequest(area_around(f"{lat},{lon}:50m", 0.0), points=((DataSource("a", LOCAL, ""), str(path)),))
    try:
        import CSF  # noqa: F401
    except ImportError:
        with pytest.raises(UsageError, match="classified"):
            gather(request, tmp_path / "out")
        return
    done = gather(request, tmp_path / "out")
    assert any("cloth filter" in note for note in done.entries[0].notes)


def test_rough_crowns_are_no_roof() -> None:
    from tunnelsite.core.layers import SourceRaster

    random = np.random.default_rng(6)
    ground = np.zeros((60, 60), np.float32)
    surface = ground.copy()
    surface[10:22, 10:26] = 5.0
    surface[35:50, 30:45] = 6.0 + random.uniform(-2, 2, (15, 15))
    pieces = standing_pieces(SourceRaster(ground, (1.0, 0.0, 0.0, 0.0, -1.0, 60.0), None), surface, 1.0)  # type: ignore[arg-type]
    assert [(piece.roof, round(piece.outline.area, -1)) for piece in pieces] == [(False, 220), (True, 190)] or {
        piece.roof for piece in pieces
    } == {True, False}


def test_ground_and_its_weights_are_those_of_linear_interpolation() -> None:
    from scipy.interpolate import LinearNDInterpolator

    random = np.random.default_rng(8)
    east, north = EAST + random.uniform(-12, 12, 200), NORTH + random.uniform(-12, 12, 200)
    height = random.normal(0, 1, 200)
    lattice = CellGrid.over(east, north, 1.0)
    found = ground_cells(east, north, height, lattice)
    cell = lattice.cell_of(east, north)
    held = np.unique(cell)
    means = [np.array([values[cell == one].mean() for one in held]) for values in (east - EAST, north - NORTH, height)]
    at = np.column_stack(lattice.centres()) - (EAST, NORTH)  # triangles of map coordinates would be rounded
    wanted = LinearNDInterpolator(np.column_stack(means[:2]), means[2])(at)
    assert np.isnan(found.height).sum() == np.isnan(wanted).sum() > 0
    assert np.nanmax(np.abs(found.height.ravel() - wanted)) < 1e-6
