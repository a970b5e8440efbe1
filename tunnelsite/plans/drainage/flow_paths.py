"""Where water runs on one surface: flow over it, what drains into an area, paths up and down."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import NO_DATA, OUTLET, flow_direction
from tunnelsite.kernels.water.upslope import upslope_area

# D8 codes of `kernels.water.flow` (row step, col step); bit k of a code stands for entry k.
_STEPS = ((0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1))


@dataclass(frozen=True)
class Flow:
    """Flow over one surface, arrays [rows, cols]: D8 direction (codes of `kernels.water.flow`), contributing area [m2] and whether
    that area is only a lower bound because water comes over the edge of the data."""

    direction: np.ndarray
    area_m2: np.ndarray
    open_edge: np.ndarray


@dataclass(frozen=True)
class Inflow:
    """Water that enters an area at one cell outside it: row, col, contributing area [m2], whether that is a lower bound."""

    row: int
    col: int
    area_m2: float
    at_least: bool


def flow_over(ground: np.ndarray, cell_m: float) -> Flow:
    """Flow over a surface [m] once its hollows are full. Source: `kernels.water.fill`, `kernels.water.flow` (D8)."""
    direction = flow_direction(filled(ground), cell_m)
    return Flow(direction, *upslope_area(direction, cell_m))


def ending_in(flow: Flow, mask: np.ndarray, cell_m: float) -> Flow:
    """The same flow, but water that reaches a cell of a mask [rows, cols] ends there: areas count land not yet drained."""
    direction = np.where(mask & (flow.direction != NO_DATA), OUTLET, flow.direction)
    return Flow(direction, *upslope_area(direction, cell_m))


def receivers(direction: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Row and column each cell drains to; its own where it drains nowhere. Steps off the data keep their true index."""
    down, right = np.zeros(256, int), np.zeros(256, int)
    for k, (dr, dc) in enumerate(_STEPS):
        down[1 << k], right[1 << k] = dr, dc
    codes = direction[rows, cols]
    return rows + down[codes], cols + right[codes]


def inflows(flow: Flow, inside: np.ndarray, cell_m: float, least_m2: float = 0.0) -> list[Inflow]:
    """Cells outside an area that drain into it, the largest first. Water counts where it first comes in: what leaves the area
    and enters it again is the same water.

    Arguments: flow; inside [rows, cols] bool; cell_m [m]; least_m2, smallest contributing area worth listing [m2].
    """
    flow = replace(ending_in(flow, inside, cell_m), direction=flow.direction)
    rows, cols = np.nonzero(_rim(inside) & (flow.direction != NO_DATA))
    to_row, to_col = receivers(flow.direction, rows, cols)
    ok = (to_row >= 0) & (to_row < inside.shape[0]) & (to_col >= 0) & (to_col < inside.shape[1])
    enters = ok & inside[np.where(ok, to_row, 0), np.where(ok, to_col, 0)] & (flow.area_m2[rows, cols] >= least_m2)
    found = [
        Inflow(int(r), int(c), float(flow.area_m2[r, c]), bool(flow.open_edge[r, c]))
        for r, c in zip(rows[enters], cols[enters], strict=True)
    ]
    return sorted(found, key=lambda one: (-one.area_m2, one.row, one.col))


def path_down(direction: np.ndarray, row: int, col: int, most: int = 100_000) -> np.ndarray:
    """Cells [n, 2] (row, col) from a cell down to where its water leaves the data, itself first, at most `most`."""
    path, (rows, cols), code_at = [(row, col)], direction.shape, direction.item  # plain numbers: thousands of steps
    unknown, ends = int(NO_DATA), (int(OUTLET), int(NO_DATA))
    while len(path) < most:
        code = code_at(row, col)
        if code in ends:
            break
        dr, dc = _STEPS[code.bit_length() - 1]
        row, col = row + dr, col + dc
        if not (0 <= row < rows and 0 <= col < cols) or code_at(row, col) == unknown:
            break
        path.append((row, col))
    return np.array(path).reshape(-1, 2)


def path_up(flow: Flow, row: int, col: int) -> np.ndarray:
    """Cells [n, 2] (row, col) up the main stem, at each fork the larger contributing area, from a cell to its divide."""
    path = [(row, col)]
    rows, cols = flow.direction.shape
    while True:
        best, area = None, 0.0
        for k, (dr, dc) in enumerate(_STEPS):
            r, c = row - dr, col - dc
            flows_here = 0 <= r < rows and 0 <= c < cols and flow.direction[r, c] == 1 << k
            if flows_here and flow.area_m2[r, c] > area:
                best, area = (r, c), float(flow.area_m2[r, c])
        if best is None:
            return np.array(path)
        row, col = best
        path.append(best)


def path_length_m(path: np.ndarray, cell_m: float) -> float:
    """Length [m] of a path of cells [n, 2]."""
    return float(np.hypot(*np.diff(path, axis=0).T).sum() * cell_m) if len(path) > 1 else 0.0


def _rim(inside: np.ndarray) -> np.ndarray:
    """Cells outside an area that touch it, diagonals included."""
    grown = np.pad(inside, 1)
    touch = np.zeros(inside.shape, bool)
    for dr, dc in _STEPS:
        touch |= grown[1 + dr : 1 + dr + inside.shape[0], 1 + dc : 1 + dc + inside.shape[1]]
    return np.asarray(touch & ~inside)
