"""Is the staked house square? Sides, both diagonals, and what unequal diagonals mean."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import INCH_M

TOLERANCE_M = INCH_M / 4  # how exactly two lengths of the stake-out have to agree; common practice, no source


@dataclass(frozen=True)
class Squareness:
    """What six tape measurements say about a staked house.

    Attributes:
        corner_deg: angle at each corner [deg], in the order measured.
        out_of_square_m: how far the worst corner lies off square across the width of the house [m].
        misclosure_m: measured second diagonal less the one that the other five lengths give [m].
        sides_equal, diagonals_equal, consistent, right_size: each within the tolerance.
        square: all four of them hold.
        verdict: the same in words.
    """

    corner_deg: tuple[float, float, float, float]
    out_of_square_m: float
    misclosure_m: float
    sides_equal: bool
    diagonals_equal: bool
    consistent: bool
    right_size: bool
    square: bool
    verdict: str


def diagonal_m(length_m: float, width_m: float) -> float:
    """Diagonal of a rectangle [m]. Source: Pythagoras."""
    return math.hypot(length_m, width_m)


def skew_deg(length_m: float, width_m: float, difference_m: float) -> float:
    """How far the corners of a parallelogram are off 90 degrees when its diagonals differ.

    Arguments: length_m, width_m, its sides [m]; difference_m, first diagonal less the second [m].
    Returns: angle [deg], with the sign of the difference. The far end of a side of length s is off by s sin(angle).
    Errors: UsageError for lengths that no parallelogram has.
    Source: law of cosines, d1^2 - d2^2 = 4 a b sin e, with d1^2 + d2^2 = 2 (a^2 + b^2); derived here, exact.
    """
    given = (length_m, width_m, difference_m)
    if not all(map(math.isfinite, given)) or min(length_m, width_m) <= 0 or abs(difference_m) > 2 * min(given[:2]):
        raise UsageError(
            f"sides {length_m} and {width_m} m with diagonals {difference_m} m apart",
            "positive sides, and diagonals that differ by at most twice the shorter side",
            "measure again",
        )
    total = math.sqrt(4 * (length_m**2 + width_m**2) - difference_m**2)
    return math.degrees(math.asin(max(-1.0, min(1.0, difference_m * total / (4 * length_m * width_m)))))


def check_square(
    sides_m: Sequence[float],
    diagonals_m: Sequence[float],
    wanted_m: tuple[float, float],
    tolerance_m: float = TOLERANCE_M,
) -> Squareness:
    """Judge a staked house by its four sides and BOTH diagonals.

    Equal diagonals alone prove nothing: a symmetric trapezoid has them too. Equal opposite sides with equal diagonals
    do.

    Arguments: sides_m, A-B, B-C, C-D, D-A [m], the long side A-B first; diagonals_m, A-C and B-D [m]; wanted_m,
    (length, width) of the house [m]; tolerance_m [m].
    Errors: UsageError for lengths that do not close to two triangles.
    """
    a, b, c, d = (float(side) for side in sides_m)
    first, second = (float(diagonal) for diagonal in diagonals_m)
    points = _corner_points(a, b, c, d, first)
    angles = tuple(_angle(points[i - 1], points[i], points[(i + 1) % 4]) for i in range(4))
    misclosure = second - float(np.hypot(*(points[1] - points[3])))
    sides_equal = max(abs(a - c), abs(b - d)) <= tolerance_m
    diagonals_equal = abs(first - second) <= tolerance_m
    # Five lengths fix the shape; an error of each shows in the sixth about as much as in itself.
    consistent = abs(misclosure) <= 3 * tolerance_m
    off_size = max(abs(a - wanted_m[0]), abs(c - wanted_m[0]), abs(b - wanted_m[1]), abs(d - wanted_m[1]))
    right_size = off_size <= tolerance_m
    worst = max(abs(math.sin(math.radians(angle - 90))) for angle in angles) * min(wanted_m)
    found = (sides_equal, diagonals_equal, consistent, right_size)
    return Squareness(angles, worst, misclosure, *found, all(found), _verdict(*found, first, second, misclosure))


def _corner_points(a: float, b: float, c: float, d: float, diagonal: float) -> list[np.ndarray]:
    """A, B, C, D from the sides and the diagonal A-C; B and D lie on either side of it."""
    for one, other in ((a, b), (d, c)):
        lengths = (one, other, diagonal)
        if not all(math.isfinite(length) and length > 0 for length in lengths) or 2 * max(lengths) >= sum(lengths):
            shown = ", ".join(f"{length:g}" for length in lengths)
            raise UsageError(
                f"lengths of {shown} m do not form a triangle",
                "positive sides, each two together longer than the diagonal",
                "measure again, or check the order A-B, B-C, C-D, D-A and A-C, B-D",
            )

    def off(one: float, other: float, sign: int) -> np.ndarray:
        foot = (one**2 - other**2 + diagonal**2) / (2 * diagonal)
        return np.array([foot, sign * math.sqrt(max(one**2 - foot**2, 0.0))])

    return [np.zeros(2), off(a, b, -1), np.array([diagonal, 0.0]), off(d, c, 1)]


def _angle(before: np.ndarray, at: np.ndarray, after: np.ndarray) -> float:
    one, other = before - at, after - at
    cross = one[0] * other[1] - one[1] * other[0]
    return math.degrees(math.atan2(abs(cross), float(one @ other)))


def _verdict(sides_equal, diagonals_equal, consistent, right_size, first, second, misclosure) -> str:
    if not consistent:
        return f"The measurements contradict one another by {abs(misclosure):.3f} m: measure all six again."
    if sides_equal and diagonals_equal:
        return "Square." if right_size else "Square, but not of the size wanted."
    if diagonals_equal:
        return "Not a rectangle: the diagonals are equal but opposite sides are not. Mend the sides first."
    if not sides_equal:
        return "Not a rectangle: opposite sides differ. Mend the sides, then the diagonals."
    longer = "A-C" if first > second else "B-D"
    words = f"Out of square: {longer} is longer by {abs(first - second):.3f} m."
    return f"{words} Shift the far long side along itself, by half of that, so that {longer} shortens."
