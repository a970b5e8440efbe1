"""Contour lines and bands of a surface, through contourpy."""

from __future__ import annotations

import itertools
import math
from typing import TypeVar

import numpy as np

STEPS = (1.0, 2.0, 2.5, 5.0)
MOST_LINES = 12
Level = TypeVar("Level", float, str)  # a height, or its words


def nice_step(span: float, most: int, steps: tuple[float, ...] = STEPS) -> float:
    """The smallest round step (1, 2, 2.5 or 5 times a power of ten) that divides a span into at most `most` parts."""
    if not span > 0:
        return 1.0
    power = math.floor(math.log10(span / most))
    return next(
        step * 10.0**k for k in (power, power + 1) for step in steps if span / (step * 10.0**k) <= most * (1 + 1e-9)
    )


def contour_interval(heights: np.ndarray, least_m: float, unit_m: float = 1.0) -> float:
    """A contour interval [m] for heights [m] that is round in the user's unit, none below `least_m`: finer lines would draw the noise
    of the data. Arguments: heights; least_m; unit_m, metres of the unit."""
    known = heights[np.isfinite(heights)]
    span = float(np.ptp(known)) if known.size else 0.0
    return unit_m * max(nice_step(span / unit_m, MOST_LINES), nice_step(least_m / unit_m * (1 - 1e-9), 1))


def contour_lines(
    along_m: np.ndarray, across_m: np.ndarray, heights: np.ndarray, interval_m: float
) -> list[tuple[float, np.ndarray]]:
    """Contours of a surface.

    Arguments: along_m [cols], across_m [rows]; heights [rows, cols] [m], NaN = no data; interval_m.
    Return: list of (level [m], points float64 [n, 2]), lowest first.
    """
    import contourpy

    known = heights[np.isfinite(heights)]
    if not known.size or min(heights.shape) < 2:
        return []
    made = contourpy.contour_generator(along_m, across_m, np.ma.masked_invalid(heights))
    first, last = math.ceil(known.min() / interval_m), math.floor(known.max() / interval_m)
    return [
        (k * interval_m, np.asarray(line))
        for k in range(first, last + 1)
        for line in made.lines(k * interval_m)
        if len(line) > 1
    ]


def bands(
    along_m: np.ndarray, across_m: np.ndarray, values: np.ndarray, edges: np.ndarray
) -> list[tuple[int, list[np.ndarray]]]:
    """Areas between neighbouring edges.

    Arguments: along_m [cols], across_m [rows]; values [rows, cols], NaN = none; edges, rising [n].
    Return: list of (which pair of edges, list of rings [m, 2]); holes are rings too (even-odd).
    """
    import contourpy

    made = contourpy.contour_generator(
        along_m, across_m, np.ma.masked_invalid(values), fill_type=contourpy.FillType.OuterOffset
    )
    found = []
    for k in range(len(edges) - 1):
        outlines, starts = made.filled(float(edges[k]), float(edges[k + 1]))[:2]
        rings = [
            outline[first:end]
            for outline, of_rings in zip(outlines, starts, strict=True)
            if outline is not None and of_rings is not None
            for first, end in itertools.pairwise(of_rings)
        ]
        if rings:
            found.append((k, rings))
    return found


def label_spots(
    spots: dict[Level, list[tuple[float, float]]], apart: tuple[float, float] = (38.0, 13.0)
) -> dict[Level, tuple[float, float]]:
    """Where each line's height is written: at the middle one of its spots that are clear of the heights written before.

    Arguments: spots, by level, points on its line, along it; apart, width and height of a label, in the points' unit.
    Return: by level, the point; a line without a clear spot has none.
    """
    found: dict[Level, tuple[float, float]] = {}
    for level, points in spots.items():
        clear = [p for p in points if all((np.abs(np.subtract(p, other)) > apart).any() for other in found.values())]
        if clear:
            found[level] = clear[len(clear) // 2]
    return found
