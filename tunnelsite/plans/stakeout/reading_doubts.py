"""Doubts about levels read at stakes: a blunder in one reading, and a slip of the unit or the decimal point in all."""

from __future__ import annotations

import numpy as np

from tunnelsite.core import amounts
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.stakeout.measured_plan import MeasuredStakes, fitted_plane

# Common practice, no source: natural ground seldom stands off its plane like this at one stake of a pad alone.
BLUNDER_M = 0.15
TIMES = 5.0  # the scatter of all other stakes
MOST = 3  # blunders looked for: with more of them the book is to be read again anyway
DECIMAL = "a slip of the decimal point"
SLIPS = {1 / FOOT_M: "feet taken for metres", FOOT_M: "metres taken for feet", 10.0: DECIMAL, 0.1: DECIMAL}
LIKE = 0.2  # a ratio within this of a slip's is taken for it
LEAST_RELIEF_M = 0.3  # of the elevation model over the stakes: less is too near its own error to compare with


def doubted_readings(measured: MeasuredStakes, *, feet: bool) -> list[str]:
    """Stakes whose height stands far off the plane of all the others, in words, the worst first.

    Each stake is held against the plane of those left (deleted residual), so that its own blunder does not tilt what judges it.
    """
    u, v = (np.array([getattr(stake, name) for stake in measured.stakes]) for name in ("u_m", "v_m"))
    left = np.arange(len(u))
    found: list[str] = []
    while len(found) < MOST and left.size > 5:
        off = np.array([_off(u, v, measured.height_m, np.delete(left, k), int(left[k])) for k in range(left.size)])
        if np.isnan(off).any():
            break
        worst = int(np.argmax(abs(off[:, 0])))
        miss, scatter = off[worst]
        if abs(miss) <= max(BLUNDER_M, TIMES * scatter):
            break
        stake = left[worst]
        reads, expects = (
            amounts.level(z, feet=feet) for z in (measured.height_m[stake], measured.height_m[stake] - miss)
        )
        found.append(
            f"{measured.stakes[stake].label} comes out at {reads}; the plane of the other stakes expects {expects}, "
            f"{amounts.depth(abs(miss), feet=feet)} {'less' if miss > 0 else 'more'}: read it again, or say what stands there"
        )
        left = np.delete(left, worst)
    return found


def _off(u: np.ndarray, v: np.ndarray, z: np.ndarray, others: np.ndarray, one: int) -> tuple[float, float]:
    """How far one height stands off the plane of others [m], and their scatter round it."""
    try:
        plane = fitted_plane(u[others], v[others], z[others])
    except InputRefused:  # what is left fixes no plane: nothing can be judged
        return np.nan, np.nan
    return float(z[one] - plane.level_m - plane.slope_along * u[one] - plane.slope_across * v[one]), plane.rms_m


def doubted_unit(height_m: np.ndarray, model_m: np.ndarray) -> str | None:
    """Whether heights read rise and fall by a multiple of the elevation model's that a slip would explain, in words.

    Arguments: height_m, model_m, read and of the model at the same stakes [n] [m], NaN = not known.
    """
    known = np.isfinite(height_m) & np.isfinite(model_m)
    if known.sum() < 4 or np.ptp(model_m[known]) < LEAST_RELIEF_M:
        return None
    read, model = (part[known] - part[known].mean() for part in (height_m, model_m))
    if np.ptp(read) == 0 or abs(np.corrcoef(read, model)[0, 1]) < 0.8:
        return None
    times = float(np.sqrt((read @ read) / (model @ model)))
    for ratio, words in SLIPS.items():
        if abs(times / ratio - 1) <= LIKE:
            return (
                f"the heights read rise and fall {times:.2g} times as much as the elevation model's at the same stakes: {words}? "
                "Check --level-unit and the readings"
            )
    return None
