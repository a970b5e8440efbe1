"""Distance from rectangles to line segments."""

from __future__ import annotations

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared

_BATCH = 256  # of rectangles that one thread takes in a row


@njit(**INNER, forceinline=True)
def _to_rectangle(e, n, half_length, half_width):
    """Squared distance from a point to the rectangle centred on the origin."""
    de = max(abs(e) - half_length, 0.0)
    dn = max(abs(n) - half_width, 0.0)
    return de * de + dn * dn


@njit(**INNER, forceinline=True)
def _to_segment(e, n, e0, n0, de, dn, length2):
    """Squared distance from a point to a segment."""
    t = 0.0
    if length2 > 0.0:
        t = min(max(((e - e0) * de + (n - n0) * dn) / length2, 0.0), 1.0)
    ge, gn = e - (e0 + t * de), n - (n0 + t * dn)
    return ge * ge + gn * gn


@njit(**INNER)
def _meets(e0, n0, e1, n1, half_length, half_width):
    """Whether a segment meets the rectangle centred on the origin (Liang & Barsky 1984, clipping against four sides)."""
    low, high = 0.0, 1.0
    for start, run, half in ((e0, e1 - e0, half_length), (n0, n1 - n0, half_width)):
        if run == 0.0:
            if abs(start) > half:
                return False
            continue
        a, b = (-half - start) / run, (half - start) / run
        low, high = max(low, min(a, b)), min(high, max(a, b))
        if low > high:
            return False
    return True


@njit(**INNER)
def _distance2(e0, n0, e1, n1, half_length, half_width):
    if _meets(e0, n0, e1, n1, half_length, half_width):
        return 0.0
    de, dn = e1 - e0, n1 - n0
    length2 = de * de + dn * dn
    best = min(_to_rectangle(e0, n0, half_length, half_width), _to_rectangle(e1, n1, half_length, half_width))
    for corner in range(4):
        e = half_length if corner & 1 else -half_length
        n = half_width if corner & 2 else -half_width
        best = min(best, _to_segment(e, n, e0, n0, de, dn, length2))
    return best


def rectangle_distances(along, across, half_length, half_width, segments):
    """Distance from each rectangle to the nearest of the segments; 0 where they meet.

    Arguments:
        along, across: float64 [n], centres [m], neighbours in the array best near each other. half_length, half_width [m].
        segments: float64 [m, 4] (along, across, along, across) of both ends [m]; a point is a segment of no length.
    Return: float32 [n] [m]; infinity without segments.
    """
    out = np.empty(along.size, np.float32)
    _nearest(-(-along.size // _BATCH), along, across, (float(half_length), float(half_width)), segments, out)
    return out


@shared
def _nearest(mine, along, across, half, segments, out):
    count, (half_length, half_width) = along.size, half
    reach = np.hypot(half_length, half_width)
    for block in range(mine[0], mine[1]):
        nearest = (
            0  # the segment nearest to the placement before: a good first guess, so that most others are passed over
        )
        for k in range(block * _BATCH, min(count, (block + 1) * _BATCH)):
            best = np.inf
            found = nearest
            for step in range(-1, segments.shape[0]):
                s = nearest if step < 0 else step
                if segments.shape[0] == 0:
                    break
                e0, n0 = segments[s, 0] - along[k], segments[s, 1] - across[k]
                e1, n1 = segments[s, 2] - along[k], segments[s, 3] - across[k]
                far = max(max(min(e0, e1), -max(e0, e1)), max(min(n0, n1), -max(n0, n1)))
                if far > reach and (far - reach) * (far - reach) >= best:
                    continue
                d = _distance2(e0, n0, e1, n1, half_length, half_width)
                if d < best:
                    best, found = d, s
            nearest = found
            out[k] = np.sqrt(best)
