"""Small grounds and places for the tests of plans: no projection is needed, a grid is only its numbers."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.grid import Grid
from tunnelsite.core.house import House, Pad
from tunnelsite.plans.place import PlacedHouse


def place(
    rows=121,
    cols=141,
    *,
    length_m=29.0,
    width_m=9.0,
    cell_m=1.0,
    apron_m=0.0,
    kind="in-ground",
    turned=False,
    feet=False,
) -> PlacedHouse:
    """A house in the middle of a grid; `turned` swaps length and width of the pad (the house keeps its own); `feet`, whether
    its user works in them."""
    grid = Grid("", cell_m, rows, cols, 0.0, rows * cell_m)
    house = House(width_m=width_m, length_m=length_m, kind=kind, feet=feet)
    pad = Pad.around(house, apron_m)
    if turned:
        pad = Pad(pad.length_m, pad.width_m)
    return PlacedHouse(grid, rows // 2, cols // 2, house, pad)


def tilted(where: PlacedHouse, along: float, across: float, level_m: float = 100.0) -> np.ndarray:
    """A plane: level at the place's centre [m], rises along and across as fractions."""
    u, v = distances(where)
    return level_m + along * u + across * v


def distances(where: PlacedHouse):
    """Distances of every cell from the centre, along and across [m]."""
    return where.distances(*np.mgrid[0 : where.grid.rows, 0 : where.grid.cols])


def rough(where: PlacedHouse, seed: int, relief_m: float = 0.3) -> np.ndarray:
    """Smooth random ground."""
    numbers = np.random.default_rng(seed)
    u, v = distances(where)
    ground = 50.0 + numbers.uniform(-0.02, 0.02) * u + numbers.uniform(-0.02, 0.02) * v
    for _ in range(4):
        k, m, phase = numbers.uniform(-0.15, 0.15), numbers.uniform(-0.15, 0.15), numbers.uniform(0, 6)
        ground += relief_m / 4 * np.sin(k * u + m * v + phase)
    return ground
