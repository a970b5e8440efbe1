"""Horizons close to walls in closed form, turned and shifted by parts of a cell."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tunnelsite.core.site import segments_of
from tunnelsite.kernels.light.horizon import Rays, horizon_tangent
from tunnelsite.kernels.light.horizon_share import Scene, add_folded, folded_share, no_losses, sector_tables
from tunnelsite.kernels.light.outlines import REACH, outlines
from tunnelsite.kernels.polygon_mask import polygon_mask

SIDE = 60  # cells of 1 m, row 0 in the north
TALL = 6.0
GROUND = np.zeros((SIDE, SIDE), np.float32)
EYES = Rays(lift_m=1.0)


def house(length: float, width: float, turn_deg: float, off: tuple[float, float]):
    box = shapely.affinity.rotate(shapely.box(-length / 2, -width / 2, length / 2, width / 2), turn_deg)
    return shapely.affinity.translate(box, SIDE / 2 + off[0], SIDE / 2 + off[1])


def edges_of(shape, top: float = TALL) -> np.ndarray:
    west, south, east, north = segments_of(shape).T
    ends = [SIDE - south - 0.5, west - 0.5, SIDE - north - 0.5, east - 0.5]
    return np.column_stack([*ends, np.full(len(west), top), np.full(len(west), top)])


def burnt(shape) -> np.ndarray:
    return np.where(polygon_mask(segments_of(shape), 0.0, float(SIDE), 1.0, GROUND.shape), TALL, 0.0).astype(np.float32)


def closed_form(shape, cells: np.ndarray, azimuth_deg: float) -> np.ndarray:
    """Tangent of the wall's top at cells [n, 2] (row, column) by the distance to the outline along the ray."""
    places = np.column_stack([cells[:, 1] + 0.5, SIDE - cells[:, 0] - 0.5])
    way = 200 * np.array([np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))])
    met = shapely.intersection(shapely.linestrings(np.stack([places, places + way], axis=1)), shape)
    away = shapely.distance(shapely.points(places), met)
    return np.where(np.isfinite(away), (TALL - 1.0) / np.where(np.isfinite(away), away, 1.0), 0.0)


def test_where_the_wall_is_in_sight_its_distance_is_exact():
    """Forty houses of any size, turn and place. Beside a corner a ray may meet the wall that it just misses: some cells in a thousand."""
    rng = np.random.default_rng(3)
    high, low, beside = [], [], 0.0
    for _ in range(40):
        shape = house(rng.uniform(8, 25), rng.uniform(4, 12), rng.uniform(0, 180), tuple(rng.uniform(-1, 1, 2)))
        azimuth = rng.uniform(0, 360)
        cells = np.argwhere(np.ones(GROUND.shape, bool))
        away = shapely.distance(shape, shapely.points(cells[:, 1] + 0.5, SIDE - cells[:, 0] - 0.5))
        cells = cells[away > 0.01]
        truth = closed_form(shape, cells, azimuth)
        found = horizon_tangent(burnt(shape), GROUND, 1.0, azimuth, EYES, edges_of(shape))[tuple(cells.T)]
        cells_alone = horizon_tangent(burnt(shape), GROUND, 1.0, azimuth, EYES)[tuple(cells.T)]
        hit = truth > 0
        high.append(found[hit] > 1.02 * truth[hit] + 0.02)
        low.append(found[hit] < truth[hit] * (1 - 1e-4))
        beside = max(beside, float((found[~hit] - cells_alone[~hit]).max()))
    assert np.concatenate(high).mean() < 0.004 and np.concatenate(low).mean() < 0.0005
    assert beside < 1e-4  # where the ray passes the house the outline adds nothing


SUN = [(a, h, np.sin(np.radians(h))) for a in np.arange(120.0, 241.0, 2.0) for h in (8.0, 14.0, 20.0, 26.0, 32.0)]
AZIMUTHS = np.arange(36) * 10.0
TABLES = sector_tables(*np.array(SUN).T, AZIMUTHS)


def places_before(shape) -> np.ndarray:
    """Cells [n, 2] within 8 m of a house, on its northern side."""
    cells = np.argwhere(np.ones(GROUND.shape, bool))
    away = shapely.distance(shape, shapely.points(cells[:, 1] + 0.5, SIDE - cells[:, 0] - 0.5))
    return cells[(away > 0.05) & (away < 8) & (cells[:, 0] < SIDE / 2 - 4)]


def true_share(shape, cells: np.ndarray) -> np.ndarray:
    """Share of the beam at cells [n, 2] in closed form."""
    horizons = np.array([closed_form(shape, cells, azimuth) for azimuth in AZIMUTHS])
    nodes = np.linspace(0.0, 1.0, TABLES.shape[2])
    left = [np.interp(h / np.hypot(1, h), nodes, table) for h, table in zip(horizons, TABLES[0], strict=True)]
    return sum(left) / TABLES[0, :, 0].sum()


def share_by_cells(surface: np.ndarray, cells: np.ndarray) -> np.ndarray:
    """The same at cells [n, 2] where only a raster knows the house."""
    return folded_share(surface, GROUND, 1.0, AZIMUTHS, TABLES, EYES)[0][tuple(cells.T)]


@pytest.mark.parametrize(
    ("turn", "off"), [(0.0, (0.0, 0.0)), (0.0, (0.37, -0.21)), (17.0, (0.37, -0.21)), (45.0, (0.1, 0.4))]
)
def test_light_in_front_of_a_wall_against_the_closed_form(turn, off):
    """A house of 20 x 8 m and 6 m: cells alone give up to 0.08 too much of the beam close to it; outlines are right to 0.005."""
    shape = house(20.0, 8.0, turn, off)
    cells = places_before(shape)
    truth = true_share(shape, cells)
    losses = no_losses(GROUND.shape, 1)
    scene = Scene(burnt(shape), GROUND, 1.0, EYES, edges=edges_of(shape))
    add_folded(scene, AZIMUTHS, TABLES / TABLES[0, :, 0].sum(), losses)
    found = 1.0 - losses[..., 0][tuple(cells.T)] / 65_000
    before = share_by_cells(burnt(shape), cells)
    assert abs((found - truth).mean()) < 0.005 and np.sqrt(np.mean((found - truth) ** 2)) < 0.02
    assert (before - truth).mean() > 3 * abs((found - truth).mean())


def test_what_only_a_surface_model_knows_errs_half_a_cell_to_the_side_of_how_it_was_made():
    """Cells that hold the height at their middles make a house half a cell too small, the highest in each cell half a cell too large:
    met at middles of cells, the first is seen a little too far away and the second a little too near. No place of a wall suits both."""
    errors = {"at middles": [], "highest": []}
    rows, cols = np.mgrid[0:SIDE, 0:SIDE]
    squares = shapely.box(cols, SIDE - rows - 1, cols + 1, SIDE - rows)
    for turn in (0.0, 17.0, 45.0):
        for off in ((0.05, 0.05), (0.3, 0.55), (0.55, 0.3), (0.8, 0.8)):
            shape = house(20.0, 8.0, turn, off)
            highest = np.where(shapely.area(shapely.intersection(squares, shape)) > 0, TALL, 0.0).astype(np.float32)
            cells = places_before(shape)
            cells = cells[highest[tuple(cells.T)] == 0]
            truth = true_share(shape, cells)
            errors["at middles"].append(share_by_cells(burnt(shape), cells) - truth)
            errors["highest"].append(share_by_cells(highest, cells) - truth)
    means = {name: np.concatenate(found).mean() for name, found in errors.items()}
    assert 0.02 < means["at middles"] < 0.045 and -0.035 < means["highest"] < -0.01, means


def test_turned_and_mirrored_grids_see_the_same():
    shape, azimuth = house(14.0, 5.0, 23.0, (0.3, 0.2)), 151.0
    edges = edges_of(shape)
    one = horizon_tangent(burnt(shape), GROUND, 1.0, azimuth, EYES, edges)
    mirrored = edges.copy()
    mirrored[:, [1, 3]] = SIDE - 1 - edges[:, [1, 3]]
    other = horizon_tangent(burnt(shape)[:, ::-1].copy(), GROUND, 1.0, 360 - azimuth, EYES, mirrored)
    np.testing.assert_allclose(one, other[:, ::-1], atol=1e-5)
    swapped = edges[:, [1, 0, 3, 2, 4, 5]]
    third = horizon_tangent(burnt(shape).T.copy(), GROUND, 1.0, (270 - azimuth) % 360, EYES, swapped)
    np.testing.assert_allclose(one, third.T, atol=1e-5)


def test_a_sloping_top_and_ground():
    """A wall that follows a slope: at every place the tangent of the top above the eye, where the ray meets it."""
    r, c = np.mgrid[0:SIDE, 0:SIDE]
    ground = (0.1 * c - 0.05 * r).astype(np.float32)
    ends = np.array([[40.3, 10.0, 40.3, 50.0]])
    tops = [0.1 * 10.0 - 0.05 * 40.3 + 5, 0.1 * 50.0 - 0.05 * 40.3 + 5]
    found = horizon_tangent(ground, ground, 1.0, 180.0, EYES, np.column_stack([ends, [tops]]))
    for row, col in ((39, 20), (30, 12), (22, 48)):
        top = 0.1 * col - 0.05 * 40.3 + 5
        assert found[row, col] == pytest.approx((top - ground[row, col] - 1) / (40.3 - row), rel=1e-4)
    assert found[45, 20] == 0 and found[30, 55] < 0.01


def test_unknown_tops_and_cells_out_of_reach_are_left_out():
    edges = np.array([[10.0, 5.0, 10.0, 20.0, np.nan, 6.0], [200.0, 200.0, 201.0, 230.0, 6.0, 6.0]])
    drawn = outlines(edges, (40, 300))
    assert len(drawn.edges) == 1 and drawn.floor.values.size == 0
    drawn = outlines(edges, (170, 300))
    assert 0 < drawn.floor.values.size <= (2 * REACH + 3) * (2 * REACH + 34)
