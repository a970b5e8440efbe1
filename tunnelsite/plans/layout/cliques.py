"""Which axis-parallel rectangles overlap, as all the largest sets that share a point."""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from tunnelsite.core.errors import ResourceShortage

STEP_M = 1e-6  # edges are compared in whole micrometres, so that rounding makes no two touching rectangles overlap
MOST_CELLS = 10_000_000  # of the arrangement of edges: about 1 GB while it is searched
MOST_ENTRIES = 60_000_000  # members over all sets: about 1 GB


def maximal_cliques(low: np.ndarray, high: np.ndarray) -> sparse.csr_array:
    """Every largest set of rectangles that have a point in common, a row each, a column for each rectangle.

    Rectangles are open: touching is no overlap. Axis-parallel rectangles that overlap in pairs all share a point
    (Helly), so
    these rows are exactly the maximal cliques of the conflict graph: no clique inequality is stronger.

    Arguments: low, high [n, 2], smallest and largest along and across [m], high > low.
    Returns: 0/1 matrix [sets, n].
    Errors: ResourceShortage if the edges have too many different positions; ValueError for empty rectangles.
    Source: Helly's theorem in one dimension, taken axis by axis; the sweep over the arrangement is written for this
    project.
    """
    starts, stops = np.rint(low / STEP_M).astype(np.int64), np.rint(high / STEP_M).astype(np.int64)
    if starts.ndim != 2 or starts.shape != stops.shape or (stops <= starts).any():
        raise ValueError(f"rectangles of shape {starts.shape} and {stops.shape}; expected [n, 2] with high > low")
    if not len(starts):
        return sparse.csr_array((0, 0))
    # A maximal set's common part starts at the largest start of its members: only starts need to be looked at.
    axes = [np.unique(starts[:, k]) for k in (0, 1)]
    first = np.column_stack([np.searchsorted(axes[k], starts[:, k]) for k in (0, 1)])
    last = np.column_stack([np.searchsorted(axes[k], stops[:, k]) for k in (0, 1)])  # one past
    shape = (len(axes[0]), len(axes[1]))
    if (shape[0] + 1) * (shape[1] + 1) > MOST_CELLS:
        raise ResourceShortage(
            f"{len(starts)} candidates with {shape[0]} x {shape[1]} different positions",
            f"at most {MOST_CELLS} combinations",
            "put the candidates on a lattice, or give fewer",
        )
    wanted = _maximal(first, last, shape)
    inside = np.cumsum(np.cumsum(np.pad(wanted.astype(np.int64), ((1, 0), (1, 0))), 0), 1)
    (a, b), (c, d) = first.T, last.T
    entries = int((inside[c, d] - inside[a, d] - inside[c, b] + inside[a, b]).sum())
    if entries > MOST_ENTRIES:
        raise ResourceShortage(
            f"{len(starts)} candidates that overlap in {entries} ways",
            f"at most {MOST_ENTRIES}",
            "give fewer candidates",
        )
    return _members(wanted, first, last)


def _covering(first: np.ndarray, last: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """How many blocks of ranks cover each point, by differences."""
    count = np.zeros((shape[0] + 1, shape[1] + 1), np.int32)
    for rows, columns, sign in (
        (first[:, 0], first[:, 1], 1),
        (last[:, 0], last[:, 1], 1),
        (first[:, 0], last[:, 1], -1),
        (last[:, 0], first[:, 1], -1),
    ):
        np.add.at(count, (rows, columns), sign)
    np.cumsum(count, 0, out=count)
    np.cumsum(count, 1, out=count)
    return count[:-1, :-1]


def _maximal(first: np.ndarray, last: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """One point for each set that is no part of another.

    If one set is part of another, all its members cover the way between the two points, so it is also part of the set
    of
    each point on that way: looking at neighbours is enough, once neighbours with equal sets are joined.
    """
    count = _covering(first, last, shape)
    number = np.arange(count.size, dtype=np.int32).reshape(shape)
    part_of_more = np.zeros(shape, bool)
    equal: list[tuple[np.ndarray, np.ndarray]] = []
    for axis in (0, 1):
        shorter = last.copy()
        shorter[:, axis] -= 1  # covers both a point and its next
        some = shorter[:, axis] > first[:, axis]
        both = _covering(first[some], shorter[some], shape)
        here = tuple(slice(None, -1) if k == axis else slice(None) for k in (0, 1))
        following = tuple(slice(1, None) if k == axis else slice(None) for k in (0, 1))
        shared, one, other = both[here], count[here], count[following]
        part_of_more[here] |= (shared == one) & (one < other)
        part_of_more[following] |= (shared == other) & (other < one)
        same = (shared == one) & (one == other) & (one > 0)
        equal.append((number[here][same], number[following][same]))
    ends = [np.concatenate(side) for side in zip(*equal, strict=True)]
    graph = sparse.coo_array((np.ones(len(ends[0]), bool), tuple(ends)), shape=(count.size, count.size))
    _, group = csgraph.connected_components(graph, directed=False)
    lost = np.zeros(group.max() + 1, bool)
    lost[group[part_of_more.ravel()]] = True
    _, places = np.unique(group, return_index=True)
    keep = np.zeros(count.size, bool)
    keep[places] = ~lost & (count.ravel()[places] > 0)
    return keep.reshape(shape)


def _members(wanted: np.ndarray, first: np.ndarray, last: np.ndarray) -> sparse.csr_array:
    number = np.full(wanted.shape, -1, np.int32)
    number[wanted] = np.arange(int(wanted.sum()))
    found = []
    for (a, b), (c, d) in zip(first, last, strict=True):
        block = number[a:c, b:d]
        found.append(block[block >= 0])
    columns = np.repeat(np.arange(len(first)), [len(part) for part in found])
    rows = np.concatenate(found)
    shape = (int(wanted.sum()), len(first))
    return sparse.csr_array((np.ones(len(rows)), (rows, columns)), shape=shape)
