"""Whether grading sends more water to a neighbour: contributing areas over the border of a box, before and after."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.plans.drainage.flow_paths import Flow, path_down, receivers


@dataclass(frozen=True)
class BorderFlow:
    """Water leaving a box for good, cell by cell round its border from the top left, rightwards: row, col, contributing
    area [m2] of the cells whose water leaves there (0 for others, and where it comes back in farther down)."""

    row: np.ndarray
    col: np.ndarray
    area_m2: np.ndarray


@dataclass(frozen=True)
class Gain:
    """A stretch of border that gets more water than before.

    Attributes: row, col, the cell that gains most; stretch_cells, length of the stretch; before_m2, after_m2, contributing
    area leaving over the stretch and `reach` to either side [m2]; gain_m2, what comes from farther along the border [m2].
    """

    row: int
    col: int
    stretch_cells: int
    before_m2: float
    after_m2: float
    gain_m2: float


def border_flow(flow: Flow, rows: slice, cols: slice) -> BorderFlow:
    """Contributing area leaving a box of cells, at every cell of its border.

    Arguments: flow; rows, cols, slices with start and stop inside the arrays, at least 2 x 2 cells.
    Errors: ValueError for a box that is not.
    """
    top, bottom, left, right = rows.start, rows.stop - 1, cols.start, cols.stop - 1
    if not (0 <= top < bottom < flow.direction.shape[0] and 0 <= left < right < flow.direction.shape[1]):
        raise ValueError(
            f"box of rows {rows}, columns {cols} in {flow.direction.shape}; expected 2 x 2 cells or more inside"
        )
    across, down = np.arange(left, right), np.arange(top, bottom)
    row = np.concatenate([np.full(across.size, top), down, np.full(across.size, bottom), down[::-1] + 1])
    col = np.concatenate([across, np.full(down.size, right), across[::-1] + 1, np.full(down.size, left)])
    to_row, to_col = receivers(flow.direction, row, col)
    leaves = (to_row < top) | (to_row > bottom) | (to_col < left) | (to_col > right)
    at_edge = (row == 0) | (row == flow.direction.shape[0] - 1) | (col == 0) | (col == flow.direction.shape[1] - 1)
    leaves |= at_edge & (flow.direction[row, col] == 0)  # an outlet of the data
    for k in np.flatnonzero(leaves):  # else the same water would count at each of its ways out
        path = path_down(flow.direction, int(row[k]), int(col[k]))[1:]
        inside = (path[:, 0] >= top) & (path[:, 0] <= bottom) & (path[:, 1] >= left) & (path[:, 1] <= right)
        leaves[k] = not inside.any()
    return BorderFlow(row, col, np.where(leaves, np.nan_to_num(flow.area_m2[row, col]), 0.0))


def gains(before: BorderFlow, after: BorderFlow, tolerance_m2: float, reach_cells: int) -> list[Gain]:
    """Stretches of border that get more water than before, the largest gain first.

    Arguments: before, after, of the same box; tolerance_m2, gains up to this are not listed [m2]; reach_cells, water that
    leaves within so many cells of where it left before is the same water (D8 paths jump a cell for millimetres).
    Errors: ValueError for different boxes.
    """
    if before.row.shape != after.row.shape or (before.row != after.row).any() or (before.col != after.col).any():
        raise ValueError("before and after are of different boxes; expected the same rows and columns")
    n = before.row.size
    left_over = _netted(after.area_m2 - before.area_m2, reach_cells)
    found = []
    for stretch in _stretches(np.flatnonzero(left_over > 0), n, reach_cells):
        gain = float(left_over[stretch].sum())
        if gain <= tolerance_m2:
            continue
        wide = np.unique((stretch[:, None] + np.arange(-reach_cells, reach_cells + 1)).ravel() % n)
        most = stretch[np.argmax(left_over[stretch])]
        old, new = (float(one.area_m2[wide].sum()) for one in (before, after))
        found.append(Gain(int(before.row[most]), int(before.col[most]), len(stretch), old, new, gain))
    return sorted(found, key=lambda one: -one.gain_m2)


def _netted(change: np.ndarray, reach: int) -> np.ndarray:
    """Gains left when as much as can be is taken up by losses within reach along the border.

    Going round, each gain takes the losses that fall out of reach first: on a line, with one reach for all, nothing takes
    up more. The round is cut where the longest stretch without change ends. Gains are set against losses, not what leaves
    now against all that left before: in sheet flow the latter would pass a new outlet on from neighbour to neighbour.
    """
    n, still = change.size, np.flatnonzero(change)
    if still.size == 0:
        return np.zeros(n)
    gap = np.diff(np.concatenate([still, still[:1] + n]))
    start = still[(int(np.argmax(gap)) + 1) % still.size]
    change, reach = np.roll(change, -start), min(reach, n // 2)
    for here in np.flatnonzero(change > 0).tolist():
        for there in range(max(here - reach, 0), min(here + reach + 1, n)):
            if change[there] < 0 and change[here] > 0:
                same = min(change[here], -change[there])
                change[here] -= same
                change[there] += same
    return np.roll(np.maximum(change, 0.0), start)


def _stretches(cells: np.ndarray, n: int, reach: int) -> list[np.ndarray]:
    """Groups of border cells no farther than `reach` from one to the next, going round."""
    if cells.size == 0:
        return []
    groups = np.split(cells, np.flatnonzero(np.diff(cells) > reach) + 1)
    if len(groups) > 1 and cells[0] + n - cells[-1] <= reach:
        groups[0] = np.concatenate([groups.pop(), groups[0]])
    return groups
