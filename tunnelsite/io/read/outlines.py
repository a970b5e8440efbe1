"""Outlines whose checking or repair would not end in any time: found by counting, before the work is begun."""

from __future__ import annotations

import numpy as np
import shapely

from tunnelsite.core.errors import ResourceShortage

# Edges of a layer times how often their outline runs to and fro over its own extent: GEOS compares about so many pairs to tell
# whether it is valid. Measured: 6e8 takes 9 s; a coastline of ten million corners has 4e7.
MOST_PAIRS = 1e9
# Crossings of the edges of a layer: repair makes a corner of each. Measured: 60,000 take 2 s, 230,000 take 7 s.
MOST_CROSSINGS = 100_000
_FEW_PAIRS = 7e5  # to and fro times edges: these cannot cross often enough to take more than some 15 s
_TOGETHER = 500


def refuse_endless(geometry: np.ndarray, numbers: np.ndarray, where: str) -> None:
    """Errors: ResourceShortage for a feature whose validity cannot be checked within about 15 s.

    Arguments: geometry, 1-D object array; numbers of the features; where [words].
    """
    counts = shapely.get_num_coordinates(geometry)
    for index in np.flatnonzero(counts > np.sqrt(MOST_PAIRS)):
        over = _to_and_fro(geometry[index])
        if over * counts[index] > MOST_PAIRS:
            raise ResourceShortage(
                f"{where}: feature {numbers[index]} has {counts[index]:,} corners and runs to and fro {over:,.0f} times over its extent",
                "outlines that can be checked in seconds",
                "simplify it, or draw it anew",
            )


def refuse_tangled(geometry: np.ndarray, numbers: np.ndarray, where: str) -> None:
    """Errors: ResourceShortage for features that cross themselves so often that their repair would take more than seconds.

    Arguments: invalid geometry, 1-D object array; numbers of the features; where [words].
    """
    crossings = 0
    counts = shapely.get_num_coordinates(geometry)
    for index in np.flatnonzero(counts > np.sqrt(_FEW_PAIRS)):
        if _to_and_fro(geometry[index]) * counts[index] < _FEW_PAIRS:
            continue
        edges = _edges(geometry[index])
        tree = shapely.STRtree(edges)
        for first in range(0, len(edges), _TOGETHER):
            some = edges[first : first + _TOGETHER]
            pairs = tree.query(some, predicate="crosses")
            crossings += int((pairs[0] + first < pairs[1]).sum())
            if crossings > MOST_CROSSINGS:
                raise ResourceShortage(
                    f"{where}: feature {numbers[index]} crosses itself too often to be repaired",
                    f"at most {MOST_CROSSINGS:,} crossings in a layer",
                    "simplify it, or draw it anew",
                )


def _to_and_fro(shape: shapely.Geometry) -> float:
    """How often an outline runs over its own extent, the way in which it does so less."""
    points = shapely.get_coordinates(shape)
    size = np.maximum(np.ptp(points, axis=0), 1e-300)
    return float(np.min(np.abs(np.diff(points, axis=0)).sum(axis=0) / size))


def _edges(shape: shapely.Geometry) -> np.ndarray:
    lines = shapely.get_parts(shapely.boundary(shape))
    points, owner = shapely.get_coordinates(lines, return_index=True)
    same = owner[1:] == owner[:-1]
    return np.asarray(shapely.linestrings(np.stack([points[:-1][same], points[1:][same]], axis=1)))
