"""Trenches from a house to its services: the cheapest way over a grid, round keep-outs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError

# How much longer than a straight line a way over open ground can be with these steps: 1 / cos of half the widest angle
# between neighbouring steps (45 deg; 26.57 deg with knight's moves). Derived; tested against all directions.
ELONGATION = {8: 1.0 / math.cos(math.radians(22.5)), 16: 1.0 / math.cos(math.atan(0.5) / 2)}
_STEPS = {8: ((0, 1), (1, 0), (1, 1), (1, -1)), 16: ((1, 2), (2, 1), (2, -1), (1, -2))}
MOST_CELLS = 4_000_000  # about 3 GB with 16 steps


@dataclass(frozen=True)
class TrenchGround:
    """Where a trench may run.

    Attributes:
        free: bool [rows, cols], False = keep-out or unknown.
        cell_m: side of a cell [m].
        burden: what a metre costs, as a multiple of plain ground, float [rows, cols], at least 1; None = plain
        everywhere.
        steps: 8 or 16 directions.
    """

    free: np.ndarray
    cell_m: float
    burden: np.ndarray | None = None
    steps: int = 16

    def __post_init__(self) -> None:
        if self.free.ndim != 2 or self.free.dtype != bool or not self.free.size:
            raise UsageError(f"ground of {self.free.shape} {self.free.dtype}", "a grid of true and false", "correct it")
        if not 0 < self.cell_m < 1000 or self.steps not in ELONGATION:
            raise UsageError(
                f"cells of {self.cell_m} m, {self.steps} steps", "a positive size, 8 or 16", "correct them"
            )
        if self.burden is not None and (
            self.burden.shape != self.free.shape or not (self.burden[self.free] >= 1).all()
        ):
            raise UsageError("the burden of the ground", "1 or more in every free cell", "correct it")
        if self.free.size > MOST_CELLS:
            raise ResourceShortage(
                f"{self.free.size} cells", f"at most {MOST_CELLS}", "take larger cells or a smaller area"
            )


def way_words(service: str, *, several: bool = False) -> str:
    """What leads to a service: a trench; to the road no trench but the way in."""
    if service == "road":
        return "ways to the road" if several else "way to the road"
    return f"{'trenches' if several else 'trench'} to {service}"


@dataclass(frozen=True)
class Trench:
    """The cheapest trench to one service.

    Attributes:
        service: its name. rows, cols: cells of the way, from the house to the service (corners of a polyline).
        length_m: of the way drawn. shortest_m: what the best way between the same ends can be at least: the straight
        line, or
        the raw way less its elongation less 1.4 cells a bend (an allowance, tested but not proven) [m].
        burdened_m: length with every metre counted as often as its burden says; equal to length_m on plain ground.
        bends: changes of direction. cost: burdened length times the user's price of a metre, None without one.
        note: why there is none, or what to know.
    """

    service: str
    rows: np.ndarray
    cols: np.ndarray
    length_m: float
    shortest_m: float
    burdened_m: float
    bends: int
    cost: float | None
    note: str = ""


def trenches(
    ground: TrenchGround,
    house: np.ndarray,
    services: Mapping[str, np.ndarray],
    cost_per_m: Mapping[str, float] | None = None,
    graph: sparse.csr_array | None = None,
) -> list[Trench]:
    """The cheapest trench from the wall of a house to each service.

    A step is allowed only where all cells it crosses are free; a line of sight over plain free ground replaces a
    staircase.
    On open ground the raw way is at most 8.2 % (8 steps) or 2.8 % (16 steps) longer than the straight line; each end
    lies up
    to 0.71 of a cell off, and each bend round a keep-out adds up to about a cell.

    Arguments: ground; house, bool [rows, cols], cells at its wall; services, by name, bool [rows, cols], cells they
    can be
    tapped at; cost_per_m, by service, the user's own price of a metre of plain trench (none is assumed); graph, from
    `step_graph(ground)`, where many trenches are sought on one ground.
    Returns: one trench a service, in the order given; length NaN with a note where there is no way.
    Errors: InputRefused if the house has no free cell; UsageError for a price that is not a positive number.
    Source: Dijkstra (1959) by scipy.sparse.csgraph; elongation of 8 and 16 steps derived, as in `ELONGATION`.
    """
    for name, price in (cost_per_m or {}).items():
        if name not in services or not (math.isfinite(price) and price > 0):
            raise UsageError(
                f"a metre of trench to {name!r} costs {price}", f"a price for {', '.join(services)}", "correct it"
            )
    starts = np.flatnonzero(house & ground.free)
    if not len(starts):
        raise InputRefused("no wall cell of the house is free", "a wall that a trench can reach", "check the keep-outs")
    graph = step_graph(ground) if graph is None else graph
    cost, before, _ = csgraph.dijkstra(graph, indices=starts, min_only=True, return_predecessors=True)
    found = []
    for name, cells in services.items():
        per_m = (cost_per_m or {}).get(name)
        found.append(_trench(name, np.flatnonzero(cells & ground.free), ground, (cost, before), per_m))
    return found


def _trench(
    name: str, ends: np.ndarray, ground: TrenchGround, tree: tuple[np.ndarray, np.ndarray], price: float | None
) -> Trench:
    cost, before = tree
    if not len(ends) or not np.isfinite(cost[ends]).any():
        why = "the service lies on no free cell" if not len(ends) else "keep-outs or unknown ground shut it off"
        none = np.empty(0, int)
        return Trench(name, none, none, math.nan, math.nan, math.nan, 0, None, f"no way to it: {why}")
    end = int(ends[np.argmin(cost[ends])])
    raw = float(cost[end])
    back = [end]
    while before[back[-1]] >= 0:
        back.append(int(before[back[-1]]))
    way = np.array(back[::-1])
    rows, cols = np.divmod(way, ground.free.shape[1])
    corners = _pulled_straight(rows, cols, cost[way], ground)
    rows, cols = rows[corners], cols[corners]
    sides = np.hypot(np.diff(rows), np.diff(cols)) * ground.cell_m
    length, bends = float(sides.sum()), max(len(rows) - 2, 0)
    burdened = length if ground.burden is None else _burdened_m(corners, sides, (way, cost), ground.burden)
    straight = math.hypot(float(rows[-1] - rows[0]), float(cols[-1] - cols[0])) * ground.cell_m
    # A metre is never cheaper than plain, so the raw cost bounds lengths on plain ground only.
    bent = raw / ELONGATION[ground.steps] - math.sqrt(2) * ground.cell_m * bends if ground.burden is None else 0.0
    price = None if price is None else burdened * price
    return Trench(name, rows, cols, length, min(max(straight, bent), length), burdened, bends, price)


def burdened_lengths(graph: sparse.csr_array, tapped: np.ndarray) -> np.ndarray:
    """Burdened length [m] of the cheapest way from each cell to a service, float64 like `tapped`; inf where there is none.

    Arguments: graph, from `step_graph`; tapped, bool [rows, cols], free cells of the service.
    """
    starts = np.flatnonzero(tapped)
    if not len(starts):
        return np.full(tapped.shape, np.inf)
    found: np.ndarray = csgraph.dijkstra(graph, indices=starts, min_only=True).reshape(tapped.shape)
    return found


def step_graph(ground: TrenchGround) -> sparse.csr_array:
    """All allowed steps with their burdened lengths, as an undirected graph over the cells."""
    free, shape = ground.free, ground.free.shape
    burden = np.ones(shape) if ground.burden is None else np.where(free, ground.burden, 1.0)
    number = np.arange(free.size, dtype=np.int32).reshape(shape)
    parts = []
    for down, right in _STEPS[8] + (_STEPS[16] if ground.steps == 16 else ()):
        crossed = _crossed(down, right)
        allowed = np.logical_and.reduce([_shifted(free, at, (down, right)) for at in crossed])
        # A straight or diagonal step runs half in each end cell, a knight's move a quarter in each of its four.
        inside = crossed if abs(down) != abs(right) else [crossed[0], crossed[-1]]
        mean = np.mean([_shifted(burden, at, (down, right)) for at in inside], axis=0)
        length = math.hypot(down, right) * ground.cell_m
        parts.append(
            (
                _shifted(number, (0, 0), (down, right))[allowed],
                _shifted(number, (down, right), (down, right))[allowed],
                (mean * length)[allowed],
            )
        )
    first, second, weight = (np.concatenate(column) for column in zip(*parts, strict=True))
    one_way = sparse.coo_array((weight, (first, second)), shape=(free.size, free.size))
    return (one_way + one_way.T).tocsr()


def _crossed(down: int, right: int) -> list[tuple[int, int]]:
    """Cells whose inside or corner a step touches, start first and end last."""
    if down == 0 or right == 0:
        return [(0, 0), (down, right)]
    side = 1 if right > 0 else -1
    if abs(down) == abs(right):
        return [(0, 0), (0, side), (1, 0), (down, right)]
    between = [(0, side), (1, side)] if abs(right) == 2 else [(1, 0), (1, side)]
    return [(0, 0), *between, (down, right)]


def _shifted(array: np.ndarray, at: tuple[int, int], step: tuple[int, int]) -> np.ndarray:
    """The array seen from every cell that can make the step, shifted by `at`."""
    rows, cols = array.shape
    left = max(0, -step[1])
    height, width = max(rows - step[0], 0), max(cols - abs(step[1]), 0)
    return array[at[0] : at[0] + height, left + at[1] : left + at[1] + width]


def _pulled_straight(rows: np.ndarray, cols: np.ndarray, cost: np.ndarray, ground: TrenchGround) -> list[int]:
    """Indices of the corners left when each stretch that can see its end over free ground is drawn straight, if that
    costs no more."""
    corners, at = [0], 0
    while at < len(rows) - 1:
        seen = at + 1
        for to in range(len(rows) - 1, at + 1, -1):
            cells = _line_cells(rows[at], cols[at], rows[to], cols[to])
            if not ground.free[cells].all():
                continue
            worst = 1.0 if ground.burden is None else float(ground.burden[cells].max())
            line = worst * math.hypot(rows[to] - rows[at], cols[to] - cols[at]) * ground.cell_m
            if line <= cost[to] - cost[at] + 1e-9:
                seen = to
                break
        corners.append(seen)
        at = seen
    return corners


def _burdened_m(
    corners: list[int], sides: np.ndarray, tree: tuple[np.ndarray, np.ndarray], burden: np.ndarray
) -> float:
    """Length with every metre counted as often as its burden says; a straightened stretch by the worst cell it
    touches."""
    way, cost = tree
    total = 0.0
    for k, (at, to) in enumerate(itertools.pairwise(corners)):
        ends = [*np.divmod(way[at], burden.shape[1]), *np.divmod(way[to], burden.shape[1])]
        pulled = to > at + 1
        total += sides[k] * burden[_line_cells(*ends)].max() if pulled else cost[way[to]] - cost[way[at]]
    return float(total)


def _line_cells(row: int, col: int, to_row: int, to_col: int) -> tuple[np.ndarray, np.ndarray]:
    """Every cell that the line between two cell centres touches, corners included."""
    steps = max(abs(to_row - row), abs(to_col - col))
    # Between whole columns (or rows) the line stays within neighbouring cells: its places at whole and half steps
    # name them all.
    share = np.linspace(0.0, 1.0, 2 * steps + 1)
    r, c = row + share * (to_row - row), col + share * (to_col - col)
    near = 1e-9
    rows = np.concatenate([np.ceil(r - 0.5 - near), np.floor(r + 0.5 + near)] * 2).astype(int)
    low, high = np.ceil(c - 0.5 - near), np.floor(c + 0.5 + near)
    cols = np.concatenate([low, high, high, low]).astype(int)
    return rows, cols
