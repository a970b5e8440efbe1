"""The design plane that moves the least earth, as a linear programme."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, sparse

from tunnelsite.core.errors import UsageError
from tunnelsite.core.stakes import DesignPlane
from tunnelsite.kernels.terrain.grading import FINISHED_SLOPE

SETTLED_M = 1e-6  # a plane is known to a micrometre; HiGHS works to 1e-7


@dataclass(frozen=True)
class PlaneLimits:
    """What the finished plane must keep to.

    Attributes:
        slope_along, slope_across: largest finished slopes [fraction].
        shrink: cubic metres of cut that make one of compacted fill.
        surplus_m3: what cut - shrink x fill has to be; 0 balances the pad, None leaves it free.
        deepest_cut_m: largest cut at any cell centre [m], or None.
    """

    slope_along: float = FINISHED_SLOPE
    slope_across: float = FINISHED_SLOPE
    shrink: float = 1.0
    surplus_m3: float | None = 0.0
    deepest_cut_m: float | None = None

    def __post_init__(self) -> None:
        if not (0 <= self.slope_along < 1 and 0 <= self.slope_across < 1):
            raise UsageError(
                f"finished slopes of {self.slope_along} and {self.slope_across}",
                "fractions from 0 to 1, such as 1/192",
                "correct them",
            )
        if not 0.5 <= self.shrink < 3.0:  # at 3 the programme below stops being exact; soils lie between 0.7 and 1.5
            raise UsageError(f"shrink is {self.shrink}", "0.5 up to 3 m3 of cut per m3 of fill", "correct it")
        if self.deepest_cut_m is not None and not self.deepest_cut_m >= 0:
            raise UsageError(f"deepest cut is {self.deepest_cut_m} m", "0 or more", "correct it")


def least_volume_plane(
    heights_m: ArrayLike, areas_m2: ArrayLike, u_m: ArrayLike, v_m: ArrayLike, limits: PlaneLimits
) -> DesignPlane:
    """The plane with the least cut + fill within the limits.

    Arguments: heights_m, ground less any fixed shape laid on the plane (crown, apron) [n] [m]; areas_m2, area each height
    stands for [n]; u_m, v_m, distances along and across from the centre [n] [m]; limits.
    Return: DesignPlane, in the heights' own datum.
    Errors: UsageError where no plane keeps the cut limit and the balance together.
    Source: least absolute deviations as a linear programme [@charnes-1955], solved by HiGHS:
    minimise sum a (c + f) with z - plane = c - f; c, f >= 0; slopes bounded; sum a c - shrink sum a f = surplus.
    With shrink != 1 the balance is not convex and c, f could both be padded to meet it, at 2 / |shrink - 1| of volume for
    each m3 of balance; moving the level costs at most 1 / min(1, shrink), so below shrink 3 padding never pays while the
    level is free. Where a cut limit holds the level back it could, which is checked and refused. The least volume is
    unique, the plane may not be (ground that steps has many medians).
    """
    z, area = np.asarray(heights_m, float), np.asarray(areas_m2, float)
    used = area > 0
    z, area, u, v = z[used], area[used], np.asarray(u_m, float)[used], np.asarray(v_m, float)[used]
    if z.size == 0 or not np.isfinite(z).all():
        raise ValueError("heights must be finite and at least one area positive")
    datum, scale = float(np.median(z)), (max(abs(u).max(), 1e-9), max(abs(v).max(), 1e-9))
    level, along, across = _solved((z - datum, area, u / scale[0], v / scale[1]), scale, limits)
    return DesignPlane(float(datum + level), float(along / scale[0]), float(across / scale[1]))


def surplus_m3(heights_m: ArrayLike, areas_m2: ArrayLike, shrink: float) -> float:
    """Cut - shrink x fill [m3] of heights over the plane [m] and their areas [m2]."""
    heights = np.asarray(heights_m, float)
    return float((np.asarray(areas_m2) * np.where(heights > 0, heights, shrink * heights)).sum())


def _solved(cells: tuple[np.ndarray, ...], scale: tuple[float, float], limits: PlaneLimits) -> np.ndarray:
    """Level and slopes of the plane of cells (heights, areas, u, v; distances as shares of `scale`)."""
    z, area, u, v = cells
    n, total = z.size, area.sum()
    share = area / total
    one = sparse.identity(n, format="csr")
    plane = sparse.csr_matrix(np.column_stack([np.ones(n), u, v]))
    equal, right = [sparse.hstack([plane, one, -one])], [z]
    if limits.surplus_m3 is not None:
        equal.append(sparse.csr_matrix(np.concatenate([np.zeros(3), share, -limits.shrink * share])))
        right.append(np.array([limits.surplus_m3 / total]))
    flat = (np.ptp(u) == 0, np.ptp(v) == 0)  # a pad one cell wide has no slope that way
    slopes = [0.0 if flat[k] else side * scale[k] for k, side in enumerate((limits.slope_along, limits.slope_across))]
    bounds = [(None, None), *((-s, s) for s in slopes), *[(0, limits.deepest_cut_m)] * n, *[(0, None)] * n]
    cost = np.concatenate([np.zeros(3), share, share])
    found = optimize.linprog(
        cost, A_eq=sparse.vstack(equal, format="csc"), b_eq=np.concatenate(right), bounds=bounds, method="highs"
    )
    if found.status == 2:
        raise _no_plane(limits)
    if found.status != 0:
        raise RuntimeError(f"the linear programme ended without a plane: {found.message}")
    solution: np.ndarray = found.x[:3]
    level, along, across = solution
    off = z - level - along * u - across * v
    if limits.surplus_m3 is not None:
        gap = abs(surplus_m3(off, share, limits.shrink) - limits.surplus_m3 / total)
        if gap > SETTLED_M * max(1.0, float(np.ptp(z))):
            raise _no_plane(limits)
    return solution


def _no_plane(limits: PlaneLimits) -> UsageError:
    return UsageError(
        f"no plane within the finished slopes cuts at most {limits.deepest_cut_m} m deep and makes enough earth for its fill",
        "a cut limit that leaves enough earth",
        "allow a deeper cut, or set the balance to none and bring in fill",
    )
