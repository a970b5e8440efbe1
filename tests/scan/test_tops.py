"""What casts shade keeps its height on the local grid: tops of a surface model and crests of the ground, turned and shifted by parts of a cell."""

from __future__ import annotations

import numpy as np
import pytest

from tests.kernels.reference import profile_share
from tests.scan.grounds import hills, raster, site
from tunnelsite.core.grid import transformer
from tunnelsite.kernels.light.horizon import Rays, horizon_profile
from tunnelsite.kernels.light.horizon_share import folded_share, sector_tables
from tunnelsite.kernels.resample import standing_tops
from tunnelsite.scan.localise import frame_grid, lattice, localised, warped
from tunnelsite.scan.surface import add_surface
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer
from tunnelsite.sun.season import season_sun

WEST, NORTH = 499_900.0, 4_700_100.0
AZIMUTHS = np.arange(36) * 10.0


def framed(farm, bearing_deg: float, cell_m: float | None = None):
    frame = localised(farm, frame_grid(farm, bearing_deg=bearing_deg, cell_m=cell_m, halo_m=1000.0))
    add_surface(frame)
    return frame


def wooded(seed: int, side: int = 90, cell: float = 2.0):
    """(site with a surface model on cells of 2 m, ground, heights above it): single trees, crowns of a few cells, sheds."""
    rng = np.random.default_rng(seed)
    ground, standing = hills(side, side, seed, rise=1.0), np.zeros((side, side))
    north, east = np.mgrid[0:side, 0:side] * cell
    for _ in range(45):
        a, b = rng.uniform(0, side * cell, 2)
        away = np.hypot(north - a, east - b) / rng.uniform(1.0, 5.0)
        standing = np.maximum(standing, np.where(away < 1, rng.uniform(6, 20) * (1 - 0.4 * away**2), 0))
    for _ in range(6):
        r, c = rng.integers(10, side - 20, 2)
        standing[r : r + rng.integers(3, 8), c : c + rng.integers(3, 12)] = rng.uniform(3, 9)
    return site(ground, cell=cell, surface=raster(ground + standing, WEST, NORTH, cell)), ground, standing


@pytest.mark.parametrize(("bearing", "cell"), [(90.0, None), (63.0, None), (77.0, 1.3), (90.0, 4.0)])
def test_a_plane_stays_a_plane(bearing, cell):
    r, c = np.mgrid[0:60, 0:70]
    plane = 200 + 0.31 * r - 0.47 * c
    frame = framed(site(plane, surface=raster(plane, WEST, NORTH)), bearing, cell)
    known = np.isfinite(frame.ground)
    assert np.abs(frame.layers["standing_m"][known]).max() < 1e-3
    assert (frame.layers["surface"][known] - frame.ground[known]).max() < 1e-3


@pytest.mark.parametrize("bearing", [90.0, 68.0, 45.0])
@pytest.mark.parametrize("cell", [None, 1.0, 5.0])
def test_no_top_is_lost_and_none_is_made(bearing, cell):
    """Every source cell stands at its whole height in the target cell that holds its centre; nothing stands where nothing is near."""
    farm, _ground, standing = wooded(3)
    frame = framed(farm, bearing, cell)
    row, col = lattice(farm.surface, frame.grid, 1, 0.5)  # source places of the cells' centres
    row, col = row[: frame.grid.rows, : frame.grid.cols], col[: frame.grid.rows, : frame.grid.cols]
    found = frame.layers["standing_m"]
    for i, j in np.argwhere(standing[12:-12, 12:-12] > 0) + 12:
        away = np.hypot(row - i, col - j)
        nearest = np.unravel_index(np.argmin(away), away.shape)
        around = found[max(nearest[0] - 1, 0) : nearest[0] + 2, max(nearest[1] - 1, 0) : nearest[1] + 2]
        assert np.nanmax(around) >= standing[i, j] - 1e-3
    reach = 0.5 + 0.75 * frame.grid.cell_m / 2.0
    tallest = np.zeros(found.shape)
    for i, j in np.argwhere(standing > 0):
        near = np.maximum(np.abs(row - i), np.abs(col - j)) <= reach
        tallest[near] = np.maximum(tallest[near], standing[i, j])
    known = np.isfinite(found)
    assert (found[known] <= tallest[known] + 1e-3).all()


def test_models_on_cells_of_their_own():
    """The surface model on a lattice turned and shifted against the ground's still gives the heights of what stands."""
    r, c = np.mgrid[0:80, 0:80]
    ground = (0.2 * r + 0.1 * c).astype(np.float32)
    model = (
        0.2 * (r + 0.37) + 0.1 * (c - 0.21) + np.where((r > 30) & (r < 36) & (c > 20) & (c < 50), 7.0, 0.0)
    ).astype(np.float32)
    at = np.mgrid[0:81, 0:81].astype(float) - 0.5
    shifted = at[0] - 0.37, at[1] + 0.21
    tops = standing_tops(model, (*shifted, 1), ground, (*at, 1), np.float32(0.0), (80, 80))
    inside = np.s_[5:-5, 5:-5]
    assert set(np.round(np.unique(tops[inside]), 3)) == {0.0, 7.0}
    assert np.abs((tops[inside] > 1).sum() - 5 * 29) <= 29


@pytest.mark.parametrize("bearing", [90.0, 81.0, 55.0])
def test_a_crest_keeps_its_height(bearing):
    """A ridge of 31 degrees on either side, seen from 60 m in closed form: interpolation cut a quarter of a degree off it."""
    r, _ = np.mgrid[0:260, 0:260]
    frame = framed(site(np.where(r > 140, 82.0, 100 - 0.6 * np.abs(r - 110.0))), bearing)
    grid, azimuths = frame.grid, np.arange(-40.0, 41.0, 5.0)
    to_utm = transformer(grid.crs_wkt, "EPSG:32617")
    along, across = grid.from_map(*transformer("EPSG:32617", grid.crs_wkt).transform(WEST + 130.0, NORTH - 170.5))
    row, col = int(grid.north_m - across), int(along - grid.west_m)
    eye = float(frame.ground[row, col]) + 1.0
    away = (NORTH - 110.5 - to_utm.transform(*grid.to_map(*grid.centre(row, col)))[1]) / np.cos(np.radians(azimuths))
    truth = np.degrees(np.arctan((100.0 - frame.datum_m - eye) / away))
    before, now = (
        horizon_profile(frame.layers[name], row, col, eye, 1.0, azimuths - (bearing - 90.0)).horizon_deg - truth
        for name in ("ground", "surface")
    )
    assert before.min() < (0.01 if bearing == 90.0 else -0.1)
    assert np.abs(now).max() < 0.12 and abs(now.mean()) < 0.05


@pytest.mark.parametrize(("bearing", "cell"), [(90.0, None), (70.0, None), (70.0, 1.0)])
def test_light_beside_what_stands_against_the_native_cells(bearing, cell):
    """Mean share of the beam near what stands, against rays of 5 cm steps through the native cells, as blocks and as points joined by
    straight lines: between the two, and closer to either than interpolation was."""
    farm, ground, standing = wooded(5)
    frame = framed(farm, bearing, cell)
    sun = season_sun(clear_sky_steps(Observer(frame.lat_deg, frame.lon_deg, 100.0), 30), ((10, 1), (4, 30)))
    tables = sector_tables((sun[:, 0] - (bearing - 90.0)) % 360.0, sun[:, 1], sun[:, 2], AZIMUTHS)
    rays = Rays(lift_m=1.0)
    cut = np.fmax(warped(farm.surface, frame.grid), frame.ground)
    ours, before = (
        folded_share(top, frame.ground, frame.grid.cell_m, AZIMUTHS, tables, rays)[0]
        for top in (frame.layers["surface"], cut)
    )
    row, col = lattice(farm.dem, frame.grid, 1, 0.5)
    rows, cols = frame.grid.shape
    middle = np.zeros((rows, cols), bool)
    middle[rows // 4 : -rows // 4, cols // 4 : -cols // 4] = True
    chosen = np.argwhere(middle & (frame.layers["standing_m"] < 0.1) & (ours < 0.97))
    chosen = chosen[np.random.default_rng(1).permutation(len(chosen))[:70]]
    places = np.array([(row[r, c], col[r, c]) for r, c in chosen])
    eyes = np.array([frame.ground[r, c] for r, c in chosen]) + 1.0
    turn = bearing - 90.0
    blocks, points = (
        np.array(
            [
                profile_share(h, tables)[0]
                for h in _dense(ground - farm.dem.datum_m, standing, places, eyes, AZIMUTHS + turn, b)
            ]
        )
        for b in (True, False)
    )
    new, old = (np.array([a[r, c] for r, c in chosen]) for a in (ours, before))
    assert blocks.mean() - 0.005 < new.mean() <= old.mean() - (0.0 if bearing == 90.0 else 0.02)
    middle = (blocks.mean() + points.mean()) / 2
    assert abs(new.mean() - middle) < abs(old.mean() - middle)


def _dense(ground, standing, places, eyes, azimuths_deg, blocks: bool) -> np.ndarray:
    """Horizons [places, azimuths] [deg] over cells of 2 m, whose rows run south, by a plain march."""
    away = np.arange(0.05, 120.0, 0.05)
    found = np.zeros((len(places), len(azimuths_deg)))
    for k, azimuth in enumerate(np.radians(azimuths_deg)):
        y = places[:, :1] - np.cos(azimuth) * away / 2.0
        x = places[:, 1:] + np.sin(azimuth) * away / 2.0
        inside = (y >= 0) & (x >= 0) & (y < ground.shape[0] - 1) & (x < ground.shape[1] - 1)
        y, x = np.where(inside, y, 0.0), np.where(inside, x, 0.0)
        top = _straight(ground, y, x) + (
            standing[np.floor(y + 0.5).astype(int), np.floor(x + 0.5).astype(int)]
            if blocks
            else _straight(standing, y, x)
        )
        tangent = np.where(inside, (top - eyes[:, None]) / away, -1.0)
        found[:, k] = np.degrees(np.arctan(np.maximum(tangent.max(axis=1), 0.0)))
    return found


def _straight(values, y, x):
    i, j = y.astype(int), x.astype(int)
    fy, fx = y - i, x - j
    upper = values[i, j] * (1 - fx) + values[i, j + 1] * fx
    lower = values[i + 1, j] * (1 - fx) + values[i + 1, j + 1] * fx
    return upper * (1 - fy) + lower * fy
