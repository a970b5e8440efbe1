"""Is the staked house square? Its diagonal, and what unequal diagonals mean."""

from __future__ import annotations

import math

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import INCH_M

TOLERANCE_M = INCH_M / 4  # how exactly two lengths of the stake-out have to agree; common practice, no source


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
