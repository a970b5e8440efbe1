"""Every kernel of a screening called once on little ground, which compiles it and leaves it on disk."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

_SIDE = 60  # cells of the grid that the kernels are called with


def compile_screening(done: Callable[[str], None] = lambda name: None, *, from_the_start: bool = False) -> None:
    """Call every kernel of a screening once as a screening calls it; done(name of the step) after each.

    The last step's come first, or else the first step's, and then those of maps and plans: two processes, one each way, meet in the
    middle.
    """
    steps = (
        _reading,
        _cells,
        _drainage,
        _light,
        _lamps,
        _windows,
        _wind_and_water,
        _planes,
        _beside,
        _judge,
        _grade,
    )
    for step in (*steps, _maps_and_plans) if from_the_start else reversed(steps):
        step(_ground())
        done(step.__name__)


def _ground() -> np.ndarray:
    across = np.arange(_SIDE, dtype=np.float32)
    return np.float32(0.3) * np.sin(across[:, None] * 1.7) * np.cos(across * 1.3) + across * np.float32(0.05)


def _reading(ground: np.ndarray) -> None:
    from tunnelsite.kernels.polygon_mask import polygon_mask
    from tunnelsite.kernels.resample import bilinear_at, bilinear_samples, raise_to_crests, standing_tops

    at = np.arange(0.0, _SIDE, 10.0)
    lattice = (np.repeat(at[:, None], at.size, 1), np.repeat(at[None], at.size, 0), 10)
    bilinear_at(ground, at, at)
    bilinear_samples(ground, *lattice, 50, 50, 1)
    standing_tops(ground, lattice, ground, lattice, np.float32(0.0), (50, 50))
    raise_to_crests(ground[:50, :50].copy(), ground[:50, :50].copy(), ground, lattice)
    polygon_mask(
        np.array([[5.0, 5.0, 9.0, 5.0], [9.0, 5.0, 9.0, 9.0], [9.0, 9.0, 5.0, 5.0]]), 0.0, 60.0, 1.0, ground.shape
    )


def _cells(ground: np.ndarray) -> None:
    from tunnelsite.kernels.terrain.level_patches import level_cells
    from tunnelsite.kernels.terrain.steep_steps import steep_steps

    level_cells(ground, np.float32(0.001))
    steep_steps(ground, np.float32(1.0), np.float32(1.0))


def _drainage(ground: np.ndarray) -> None:
    from tunnelsite.kernels.water.fill import filled
    from tunnelsite.kernels.water.flow import flow_direction
    from tunnelsite.kernels.water.upslope import upslope_cells, upslope_sum

    direction = flow_direction(filled(ground), 1.0)
    upslope_cells(direction)
    upslope_sum(direction, ground)


def _light(ground: np.ndarray) -> None:
    from tunnelsite.kernels.air.wind_shelter import wind_shelter
    from tunnelsite.kernels.light.horizon import Rays
    from tunnelsite.kernels.light.horizon_share import NODES, Scene, add_folded, no_losses

    wall = np.array([[20.0, 20.0, 20.0, 30.0, 9.0, 9.0]])
    scene, tables = Scene(ground, ground, 1.0, Rays(lift_m=1.0), edges=wall), np.full((1, 2, NODES), 0.5)
    add_folded(scene, np.array([80.0, 170.0]), tables, no_losses(ground.shape, 1))
    wind_shelter(ground, np.abs(ground) * 10, 1.0, np.array([100.0]), np.array([1.0]))


def _lamps(ground: np.ndarray) -> None:
    from tunnelsite.kernels.light.horizon_share import darkest, no_losses
    from tunnelsite.kernels.light.illuminance import Lamps, lamp_light

    darkest(no_losses(ground.shape, 1), np.ones(1), np.zeros(1, np.int64))
    lamp_light(ground, ground, 1.0, Lamps(*np.array([[30.0], [30.0], [9.0], [900.0]]), np.array([True])))


def _grade(ground: np.ndarray) -> None:
    from tunnelsite.kernels.terrain.grading import graded_pads

    ground[30, 30] += 3.0  # a lone thing
    graded_pads(ground, np.array([30, 30]), np.array([30, 31]), 29.3, 9.1, 1.0, ripple_m=0.05, lone_sd_m=0.05)


def _planes(ground: np.ndarray) -> None:
    from tunnelsite.kernels.terrain.planes import rectangle_planes
    from tunnelsite.kernels.terrain.second_differences import mean_square_second_differences

    rectangle_planes(ground, 29.3, 9.1, 1.0)
    mean_square_second_differences(ground, 1, 5)


def _judge(ground: np.ndarray) -> None:
    from tunnelsite.kernels.disc_mean import disc_means
    from tunnelsite.kernels.expected import expected_excess, expected_marks, steeper_slope
    from tunnelsite.kernels.reach import rectangle_distances

    values = ground.ravel().astype(np.float64)
    steeper_slope(values, values, values, values)
    expected_excess(values, np.abs(values), 0.1)
    expected_marks(values, np.abs(values), 0.0, 1.0)
    disc_means(ground.astype(np.float64), np.zeros(ground.shape, int), np.arange(9), 3.0)
    rectangle_distances(values, values, 14.6, 4.5, values[:8].reshape(2, 4))


def _beside(ground: np.ndarray) -> None:
    from tunnelsite.kernels.clear_centres import Lattice, blocked_centres, overlapping_centres
    from tunnelsite.kernels.water.flow_beside import Water, flow_beside
    from tunnelsite.kernels.windows import rectangle_max

    lattice = Lattice(0.0, float(_SIDE), 1.0, _SIDE, _SIDE)
    blocked_centres(np.array([[20.0, 20.0, 30.0, 30.0]]), 3.0, 2.0, lattice)
    overlapping_centres(np.array([[20.0, 20.0], [30.0, 20.0], [30.0, 30.0]]), 3.0, 2.0, lattice)
    flow_beside(Water(ground, np.abs(ground) * 1e4, 1000.0, 0.5), ground[10:20], (10, 20), (29.3, 9.1), 5.0)
    rectangle_max(ground, 29.3, 9.1)


def _wind_and_water(ground: np.ndarray) -> None:
    from tunnelsite.kernels.air.topographic_factor import greatest_factor
    from tunnelsite.kernels.blocks import block_means, spread
    from tunnelsite.kernels.water.drainage_lines import distance_from_drainage, height_above_drainage

    spread(greatest_factor(block_means(ground, 5), 5.0), 5, ground)
    outlets = np.zeros(ground.shape, np.uint8)
    line = np.abs(ground) > 1.0
    height_above_drainage(ground, np.zeros_like(ground), outlets, line, 0.5)
    distance_from_drainage(line, np.isfinite(ground), (1.0, 1.0), 50.0, 10.0)


def _windows(ground: np.ndarray) -> None:
    from tunnelsite.kernels.windows import rectangle_mean

    rectangle_mean(ground, 29.3, 9.1)


def _maps_and_plans(ground: np.ndarray) -> None:
    from tunnelsite.kernels.terrain.slope import hillshade, slope, slope_aspect
    from tunnelsite.kernels.water.fill import filled
    from tunnelsite.kernels.water.flow import flow_direction

    hillshade(ground, 1.0, 315.0, 45.0, 2.0)
    slope(ground, 1.0)
    slope_aspect(ground, 1.0)
    flow_direction(filled(ground.astype(np.float64)), 1.0)  # of a graded pad, whose heights are finer
