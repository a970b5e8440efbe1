"""Values of a raster at the cells of another grid: means such that a plane comes through exactly, tops such that none is lost."""

from __future__ import annotations

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER, PLAIN
from tunnelsite.kernels.shared import shared

_EDGE = 0.5 + 1e-4  # target cells: a source centre on the border of two belongs to both rather than to none
_LEAST_M = 1e-3  # rises lower than this are rounding
_SNAP = 1e-6  # cells: closer to a centre than this is on it, so that a missing neighbour of no weight does not matter


@njit(**INNER, forceinline=True)
def _bilinear(source, row, col):
    """Value at fractional (row, col), where whole numbers are cell centres; NaN unless every neighbour with weight is known."""
    rows, cols = source.shape
    top, left = int(np.floor(row + _SNAP)), int(np.floor(col + _SNAP))
    down, right = row - top, col - left
    if down < _SNAP:
        down = 0.0
    if right < _SNAP:
        right = 0.0
    bottom, east = top + (down > 0.0), left + (right > 0.0)
    if top < 0 or left < 0 or bottom >= rows or east >= cols:
        return np.nan
    upper = source[top, left] + right * (np.float64(source[top, east]) - source[top, left])
    lower = source[bottom, left] + right * (np.float64(source[bottom, east]) - source[bottom, left])
    return upper + down * (lower - upper)


@njit(**PLAIN)
def bilinear_at(source, row, col):
    """Values of a raster at fractional rows and columns [n] (whole numbers are cell centres), NaN where a neighbour with weight is
    missing."""
    out = np.empty(row.size)
    for k in range(row.size):
        out[k] = _bilinear(source, row[k], col[k])
    return out


def bilinear_samples(source, lattice_row, lattice_col, step, rows, cols, subsamples):
    """Bilinear samples of `source` at the centres of a target grid.

    Arguments:
        source: float32/float64 [R, C], NaN = no data.
        lattice_row, lattice_col: float64; source position (cells; whole numbers are source cell centres) of the target's
            cell corners at every `step`-th row and column, starting with corner (0, 0); between them it is bilinear.
        step: [target cells]. rows, cols: target shape.
        subsamples: n >= 1; the mean of n x n samples spread over the target cell, for a target coarser than its source.
    Return: float32 [rows, cols]; NaN wherever a source neighbour with any weight is missing: nothing is extrapolated.
    """
    out = np.empty((rows, cols), np.float32)
    _samples(rows, source, (lattice_row, lattice_col), step, subsamples, out)
    return out


@shared
def _samples(mine, source, lattice, step, subsamples, out):
    (lattice_row, lattice_col), cols = lattice, out.shape[1]
    for r in range(mine[0], mine[1]):
        for c in range(cols):
            total = 0.0
            for i in range(subsamples):
                y = (r + (i + 0.5) / subsamples) / step
                iy = int(y)
                fy = y - iy
                for j in range(subsamples):
                    x = (c + (j + 0.5) / subsamples) / step
                    ix = int(x)
                    fx = x - ix
                    a = lattice_row[iy, ix] + fx * (lattice_row[iy, ix + 1] - lattice_row[iy, ix])
                    b = lattice_row[iy + 1, ix] + fx * (lattice_row[iy + 1, ix + 1] - lattice_row[iy + 1, ix])
                    d = lattice_col[iy, ix] + fx * (lattice_col[iy, ix + 1] - lattice_col[iy, ix])
                    e = lattice_col[iy + 1, ix] + fx * (lattice_col[iy + 1, ix + 1] - lattice_col[iy + 1, ix])
                    total += _bilinear(source, a + fy * (b - a), d + fy * (e - d))
            out[r, c] = total / (subsamples * subsamples)


@njit(**INNER, forceinline=True)
def _between(lattice, y, x):
    """Value of a lattice at fractional (y, x), bilinear."""
    i, j = min(int(y), lattice.shape[0] - 2), min(int(x), lattice.shape[1] - 2)
    fy, fx = y - i, x - j
    upper = lattice[i, j] + fx * (lattice[i, j + 1] - lattice[i, j])
    lower = lattice[i + 1, j] + fx * (lattice[i + 1, j + 1] - lattice[i + 1, j])
    return upper + fy * (lower - upper)


@njit(**INNER, forceinline=True)
def _steps(lattice_row, lattice_col, step, i, j):
    """(row by row, row by column, column by row, column by column): source cells a target cell, within one lattice square."""
    a, b = lattice_row, lattice_col
    down, across = 0.5 / step, 0.5 / step
    return (
        (a[i + 1, j] + a[i + 1, j + 1] - a[i, j] - a[i, j + 1]) * down,
        (a[i, j + 1] + a[i + 1, j + 1] - a[i, j] - a[i + 1, j]) * across,
        (b[i + 1, j] + b[i + 1, j + 1] - b[i, j] - b[i, j + 1]) * down,
        (b[i, j + 1] + b[i + 1, j + 1] - b[i, j] - b[i + 1, j]) * across,
    )


def standing_tops(model, at_model, ground, at_ground, raised, shape):
    """Height of the tallest thing within each cell of a target grid: a surface model less the ground under it, source cell by cell.

    A cell of the model stands over all of its square, so a target cell takes the source cell its centre lies in, and any other whose
    centre lies in it: nothing that the model holds is lost, and nothing is spread farther than the target's cells make it.

    Arguments: model, ground: float32 [R, C] each on cells of its own, NaN = no data; at_model, at_ground: (lattice_row,
        lattice_col, step) of each as in `bilinear_samples`; raised: added to the model [m]; shape of the target.
    Return: float32 [rows, cols] [m], below 0 where the model dips; NaN where the model or the ground under it is unknown.
    """
    out = np.full(shape, np.nan, np.float32)
    _tops(len(at_model[0]) - 1, model, at_model, ground, at_ground, raised, out)
    return out


@shared
def _tops(mine, model, at_model, ground, at_ground, raised, out):
    (model_row, model_col, step), (ground_row, ground_col, ground_step) = at_model, at_ground
    rows, cols = out.shape
    for square in range(mine[0], mine[1]):
        for r in range(square * step, min(square * step + step, rows)):
            for c in range(cols):
                across = c // step
                a, b, d, e = _steps(model_row, model_col, step, square, across)
                y, x = (
                    _between(model_row, (r + 0.5) / step, (c + 0.5) / step),
                    _between(model_col, (r + 0.5) / step, (c + 0.5) / step),
                )
                whole, best = a * e - b * d, np.nan
                middle_y, middle_x = int(np.floor(y + 0.5)), int(np.floor(x + 0.5))
                reach_y, reach_x = 0.5 * (abs(a) + abs(b)), 0.5 * (abs(d) + abs(e))
                for i in range(min(middle_y, int(np.ceil(y - reach_y))), max(middle_y, int(np.floor(y + reach_y))) + 1):
                    for j in range(
                        min(middle_x, int(np.ceil(x - reach_x))), max(middle_x, int(np.floor(x + reach_x))) + 1
                    ):
                        if i < 0 or j < 0 or i >= model.shape[0] or j >= model.shape[1]:
                            continue
                        u, v = (e * (i - y) - b * (j - x)) / whole, (a * (j - x) - d * (i - y)) / whole
                        if (abs(u) > _EDGE or abs(v) > _EDGE) and (i != middle_y or j != middle_x):
                            continue
                        place_y, place_x = max(r + 0.5 + u, 0.0) / ground_step, max(c + 0.5 + v, 0.0) / ground_step
                        under = _bilinear(
                            ground, _between(ground_row, place_y, place_x), _between(ground_col, place_y, place_x)
                        )
                        tall = model[i, j] + raised - under
                        best = tall if (tall > best) | (best != best) else best
                out[r, c] = best


def raise_to_crests(surface, ground, source, lattice):
    """Raise a surface to the tops of its own source that interpolation cut: crests, brows, banks. A plane stays as it is.

    A source centre that stands above the interpolated ground raises the cells it lies between by as much, though none above itself: a
    crest askew to the cells stays whole, too.

    Arguments: surface, ground: float32 [rows, cols], the surface is raised in place; source: float32 [R, C] that the ground was
        interpolated from, NaN = no data; lattice: (lattice_row, lattice_col, step) as in `bilinear_samples`.
    """
    squares = len(lattice[0]) - 1
    for phase in range(
        2
    ):  # a cell raises its neighbours too: two bands of rows side by side are never in work together
        _raise_bands((squares + 1 - phase) // 2, phase, surface, ground, source, lattice)


@shared
def _raise_bands(mine, phase, surface, ground, source, lattice):
    lattice_row, lattice_col, step = lattice
    rows, cols = ground.shape
    for half in range(mine[0], mine[1]):
        square = 2 * half + phase
        for r in range(square * step, min(square * step + step, rows)):
            down = (r + 0.5) / step
            for across in range(lattice_row.shape[1] - 1):
                a, b, d, e = _steps(lattice_row, lattice_col, step, square, across)
                whole = a * e - b * d
                reach_y, reach_x = 0.5 * (abs(a) + abs(b)), 0.5 * (abs(d) + abs(e))
                first, last = across * step, min(across * step + step, cols)
                y0, x0 = _between(lattice_row, down, across), _between(lattice_col, down, across)
                y1, x1 = _between(lattice_row, down, across + 1), _between(lattice_col, down, across + 1)
                inverse = 1.0 / whole
                for c in range(first, last):
                    part = (c + 0.5 - first) / step
                    y, x = y0 + part * (y1 - y0), x0 + part * (x1 - x0)
                    low_i, high_i = int(np.ceil(y - reach_y)), int(np.floor(y + reach_y))
                    low_j, high_j = int(np.ceil(x - reach_x)), int(np.floor(x + reach_x))
                    for i in range(max(low_i, 0), min(high_i + 1, source.shape[0])):
                        for j in range(max(low_j, 0), min(high_j + 1, source.shape[1])):
                            u, v = (e * (i - y) - b * (j - x)) * inverse, (a * (j - x) - d * (i - y)) * inverse
                            if (abs(u) <= _EDGE) & (abs(v) <= _EDGE):
                                _raise(surface, ground, source[i, j], r + u, c + v)


@njit(**INNER, forceinline=True)
def _raise(surface, ground, top, row, col):
    """Raise the cells between which a point (row, col) of height `top` lies."""
    rise = top - _bilinear(ground, row, col)
    if not rise > _LEAST_M:
        return
    upper, left = int(np.floor(row)), int(np.floor(col))
    top_row, bottom_row = max(upper, 0), min(upper + 1, ground.shape[0] - 1)
    for k in range(4):  # no branch: half of all cells are raised
        r = top_row if k < 2 else bottom_row
        c = max(left, 0) if k % 2 == 0 else min(left + 1, ground.shape[1] - 1)
        raised, before = min(ground[r, c] + rise, top), surface[r, c]
        surface[r, c] = raised if raised > before else before
