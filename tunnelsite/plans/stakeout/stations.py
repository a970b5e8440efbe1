"""Where a grading plan is staked beyond the pad: stations of the swale, lips of its spreaders, feet of the side slopes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from tunnelsite.core.stakes import GRID_M
from tunnelsite.plans.drainage.plan import DrainagePlan
from tunnelsite.plans.grading.plan import GradingPlan

LEAST_TOE_M = 0.1  # nearer to the pad its own edge is the stake
KINDS = ("swale", "level spreader", "slope stake")


@dataclass(frozen=True)
class Station:
    """One stake of what is dug round a pad.

    Attributes:
        kind: swale, level spreader or slope stake. label: its name on the stake.
        along_m, across_m: on the grid [m]. station_m: from the upper end of the arm or from the lip's end [m]; of a slope stake
            its distance from the edge of the pad.
        ground_m: natural ground there. finish_m: bottom of the swale, level of the lip; of a slope stake the finished edge of
            the pad beside it. cut_m: ground less finish, cut (+) or fill (-) [m].
    """

    kind: str
    label: str
    along_m: float
    across_m: float
    station_m: float
    ground_m: float
    finish_m: float

    @property
    def cut_m(self) -> float:
        return self.ground_m - self.finish_m


def stations(plan: GradingPlan, drainage: DrainagePlan | None, spacing_m: float = GRID_M) -> list[Station]:
    """All stations of a plan, no farther apart than a spacing [m], ends included. Common practice, no source."""
    found = []
    for k, arm in enumerate(drainage.arms if drainage is not None else (), 1):
        at = _spaced(float(arm.distance_m[-1]), spacing_m)
        places, ground, bottom = (
            np.interp(at, arm.distance_m, part)
            for part in (np.arange(len(arm.distance_m), dtype=float), arm.ground_m, arm.bottom_m)
        )
        along, across = (np.interp(places, np.arange(len(part)), part) for part in (arm.along_m, arm.across_m))
        rows = zip(along, across, at, ground, bottom, strict=True)
        found += [Station("swale", f"swale {k}-{n}", *map(float, row)) for n, row in enumerate(rows, 1)]
    for k, one in enumerate(drainage.spreaders if drainage is not None else (), 1):
        at = _spaced(float(one.line.length), spacing_m)
        along, across = shapely.get_coordinates(shapely.line_interpolate_point(one.line, at)).T
        ground = plan.natural_at(along - plan.place.centre[0], across - plan.place.centre[1])
        level = np.full(len(at), one.level_m)
        rows = zip(along, across, at, ground, level, strict=True)
        found += [Station("level spreader", f"lip {k}-{n}", *map(float, row)) for n, row in enumerate(rows, 1)]
    return found + _slope_stakes(plan, spacing_m)


def _spaced(length_m: float, spacing_m: float) -> np.ndarray:
    return np.linspace(0.0, length_m, max(2, int(np.ceil(length_m / spacing_m - 1e-9)) + 1))


def _slope_stakes(plan: GradingPlan, spacing_m: float) -> list[Station]:
    """Feet of the side slopes, square to the pad's edge and out from its corners."""
    sides, place = plan.sides, plan.place
    run = np.cumsum(np.concatenate([[0.0], np.hypot(np.diff(sides.edge_u_m), np.diff(sides.edge_v_m))]))
    straight = (np.abs(sides.out_u) < 1e-9) | (np.abs(sides.out_v) < 1e-9)
    off_middle = np.abs(np.abs(sides.out_u) - np.abs(sides.out_v))  # 0 for a ray that halves a corner
    middle = off_middle == off_middle[~straight].min()
    wanted = np.unique([int(np.argmin(np.abs(run - at))) for at in _spaced(float(run[-1]), spacing_m)])
    chosen = np.unique(np.concatenate([wanted[straight[wanted]], np.flatnonzero(middle & ~straight)]))
    chosen = chosen[sides.toe_m[chosen] >= LEAST_TOE_M]
    u = sides.edge_u_m[chosen] + sides.toe_m[chosen] * sides.out_u[chosen]
    v = sides.edge_v_m[chosen] + sides.toe_m[chosen] * sides.out_v[chosen]
    edge = plan.finished_height(sides.edge_u_m[chosen], sides.edge_v_m[chosen])
    ground, (east, north) = plan.natural_at(u, v), place.centre
    rows = zip(u + east, v + north, sides.toe_m[chosen], ground, edge, strict=True)
    return [Station("slope stake", f"toe {n}", *map(float, row)) for n, row in enumerate(rows, 1)]
