"""Light that lamps throw on the ground, with what stands in between."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared


class Lamps(NamedTuple):
    """Lamps on a grid: arrays [n]. `row`, `col`: fractional cells, whole at centres. `height_m`: elevation of the light
    above the datum of the surface [m]. `lumens` [lm]. `downward`: True for a flat lamp that shines down only."""

    row: np.ndarray
    col: np.ndarray
    height_m: np.ndarray
    lumens: np.ndarray
    downward: np.ndarray


def reach_m(lamps: Lamps, least_lux: float) -> np.ndarray:
    """Distance [m] beyond which each lamp gives less than `least_lux` whatever the angle: float64 [n]."""
    strongest = np.asarray(lamps.lumens) / np.where(lamps.downward, math.pi, 4.0 * math.pi)
    return np.sqrt(strongest / least_lux)


@njit(**INNER)
def _hidden(surface, row, col, eye, lamp):
    """Whether the surface rises above the sight from (row, col, eye) to lamp = (row, col, height, free cells).

    The surface is sampled where the sight crosses rows (or columns, whichever it crosses oftener), between the two cells
    there in proportion; unknown cells hide nothing; nothing within `free` cells of the lamp or in the two end cells does.
    """
    down, right = lamp[0] - row, lamp[1] - col
    steep = abs(down) >= abs(right)
    run = abs(down) if steep else abs(right)
    count = math.ceil(run)
    away = math.hypot(down, right)
    for k in range(1, count):
        t = k / run
        if (1.0 - t) * away <= lamp[3]:
            return False
        r, c = row + t * down, col + t * right
        if steep:
            i, j = round(r), math.floor(c)
            f = c - j
            a, b = surface[i, j], surface[i, min(j + 1, surface.shape[1] - 1)]
        else:
            i, j = math.floor(r), round(c)
            f = r - i
            a, b = surface[i, j], surface[min(i + 1, surface.shape[0] - 1), j]
        z = a if f < 1e-9 else a + f * (b - a)
        if z > eye + t * (lamp[2] - eye):
            return True
    return False


@shared
def _lit(mine, surface, eye, cell, lamps, horizontal, lux):
    """Add every lamp's light; each row is one thread's, lamps in their order, so that sums never depend on threads."""
    cols = surface.shape[1]
    for r in range(mine[0], mine[1]):
        for q in range(lamps.shape[0]):
            row, col, height, lumens, flat, reach, free = lamps[q]
            dr = (r - row) * cell
            if abs(dr) > reach:
                continue
            half = math.sqrt(reach * reach - dr * dr) / cell
            for c in range(max(math.ceil(col - half), 0), min(math.floor(col + half), cols - 1) + 1):
                z = eye[r, c]
                if np.isnan(z):
                    continue
                up = height - z
                d2 = max(dr * dr + ((c - col) * cell) ** 2 + up * up, 0.01)  # no crop grows within 10 cm of a lamp
                cos_down = up / math.sqrt(d2)
                candela = max(cos_down, 0.0) * lumens / math.pi if flat > 0 else lumens / (4.0 * math.pi)
                light = candela * (max(cos_down, 0.0) if horizontal else 1.0) / d2
                if light > 0 and not _hidden(surface, r, c, z, (row, col, height, free)):
                    lux[r, c] += light


def lamp_light(surface, eye, cell_m, lamps: Lamps, least_lux=0.01, free_m=2.0, horizontal=False):
    """Illuminance [lx] from lamps at every cell, with line of sight over the surface.

    Arguments:
        surface: float32 [rows, cols] [m], what hides light (NaN hides none). eye: float32 [rows, cols] [m], the height at
            which light is judged, same datum; NaN = not assessed. cell_m [m].
        lamps: inside the grid. least_lux: a lamp is left out where it gives less than this even unhindered [lx].
        free_m: the surface this near to a lamp does not hide it [m]: the wall or post it hangs on.
        horizontal: False: on a plane that faces each lamp, the most that a leaf or a wall can get, added up; True: on a
            level plane, I cos(i) / d^2.
    Return: float32 [rows, cols], NaN where `eye` is. Sky glow, the moon and light thrown back by walls are not in it.
    Errors: ValueError if a lamp lies outside the grid or shapes differ.
    """
    if np.shape(surface) != np.shape(eye):
        raise ValueError(f"surface has shape {np.shape(surface)} and eye {np.shape(eye)}; expected one shape")
    table = np.column_stack(
        [
            *(np.asarray(item, np.float64) for item in lamps),
            reach_m(lamps, least_lux),
            np.full(len(lamps.row), free_m / cell_m),
        ]
    ).reshape(-1, 7)
    rows, cols = np.shape(surface)
    inside = (table[:, 0] >= -0.5) & (table[:, 0] <= rows - 0.5) & (table[:, 1] >= -0.5) & (table[:, 1] <= cols - 0.5)
    if not inside.all():
        raise ValueError(f"{int((~inside).sum())} lamps lie outside the grid")
    table[:, 0], table[:, 1] = table[:, 0].clip(0, rows - 1), table[:, 1].clip(0, cols - 1)
    lux = np.zeros((rows, cols), np.float64)
    eye = np.ascontiguousarray(eye, np.float32)
    _lit(rows, np.ascontiguousarray(surface, np.float32), eye, float(cell_m), table, bool(horizontal), lux)
    return np.where(np.isnan(eye), np.nan, lux).astype(np.float32)
