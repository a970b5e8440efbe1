"""Whether a diverting swale is worth offering, and down which side: least digging among those that do no harm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.core.site import segments_of
from tunnelsite.kernels.polygon_mask import polygon_mask
from tunnelsite.siteplan.flow_paths import Flow, ending_in, flow_over, inflows, path_down, receivers
from tunnelsite.siteplan.grading_plan import GradingPlan
from tunnelsite.siteplan.place import Place
from tunnelsite.siteplan.swale import SwaleArm, ring, swale_layouts, with_swale

if TYPE_CHECKING:
    from tunnelsite.siteplan.drainage_plan import DrainageSettings


@dataclass(frozen=True)
class SwaleChoice:
    """The swale offered, if any. Attributes: arms; surface, finished ground with it [rows, cols] [m]; after, flow over that;
    said, why there is none or what was left open, in plain words."""

    arms: list[SwaleArm]
    surface: np.ndarray
    after: Flow
    said: tuple[str, ...]


@dataclass(frozen=True)
class _Parcel:
    """The owner's land: outline on the grid, its cells, and reach [cells] and tolerance [m2] for what counts as more water."""

    outline: shapely.Geometry
    cells: np.ndarray
    reach: int
    tolerance_m2: float


def chosen_swale(
    plan: GradingPlan, before: Flow, settings: DrainageSettings, parcel: shapely.Geometry | None
) -> SwaleChoice:
    """The swale that digs least among those that come to daylight, stay on the parcel, let less water onto the pad than no swale
    would, and send no neighbour more.

    Arguments: plan; before, flow over the natural ground; settings; parcel, the owner's land on the grid, None = not known.
    Errors: InputRefused where a swale would run over ground without data.
    Source: common practice, no source; water as in `kernels.flow` (D8), right to a cell or two at best.
    """
    place, cell = plan.place, plan.place.grid.cell_m
    graded = flow_over(plan.finished, cell)
    none = SwaleChoice([], plan.finished, graded, ())
    if settings.swale is None:
        return none
    layouts = _layouts(plan, before, graded, settings)
    if not layouts:
        why = f"No swale is planned: less than {settings.worth_m2:.0f} m2 of land sheds water to any one spot of the pad from uphill."
        return replace(none, said=(why,))
    own = None
    if parcel is not None:
        reach = round(settings.same_water_m / cell)
        own = _Parcel(parcel, mask_of(place, parcel), reach, settings.tolerance_m2)
    disturbed = mask_of(place, plan.outline)
    entering = sum(one.area_m2 for one in inflows(graded, disturbed))
    refused = []
    for arms in sorted(layouts, key=lambda arms: sum(arm.volume_m3 for arm in arms)):
        why = _not_buildable(place, arms, own)
        if why is None:
            surface = with_swale(plan.finished, place, arms, settings.swale.section)
            after = flow_over(surface, cell)
            still = sum(one.area_m2 for one in inflows(after, disturbed))
            if still >= entering:
                why = f"water from {still:.0f} m2 would still enter the pad, against {entering:.0f} m2 without it"
            else:
                why = None if own is None else _more_below(place, arms, before, after, own)
            if why is None:
                return SwaleChoice(arms, surface, after, ())
        refused.append(f"{_words(arms)}: {why}")
    advice = "Move the pad, lead the water off in a pipe, or agree on an outlet with the neighbour below."
    return replace(none, said=("No swale is offered. " + "; ".join(refused) + ". " + advice,))


def _layouts(plan: GradingPlan, before: Flow, graded: Flow, settings: DrainageSettings) -> list[list[SwaleArm]]:
    """Layouts of the swale; where arms leave the ring, their water stays off the disturbed ground."""
    place, rule = plan.place, settings.swale
    around = ring(plan.outline, rule)
    inside, disturbed = mask_of(place, around), mask_of(place, plan.outline)
    once = ending_in(before, inside, place.grid.cell_m)
    coming = inflows(replace(before, area_m2=once.area_m2), inside, settings.worth_m2)

    def tail(along_m: float, across_m: float) -> np.ndarray | None:
        cells = path_down(graded.direction, *cell_at(place, along_m, across_m))
        if disturbed[tuple(cells.T)].any() or inside[tuple(cells[2:].T)].any():
            return None
        return np.column_stack(place.grid.centre(*cells.T))

    spots = [place.grid.centre(one.row, one.col) for one in coming]
    return swale_layouts(place, plan.natural, around, rule, spots, tail)


def _not_buildable(place: Place, arms: list[SwaleArm], own: _Parcel | None) -> str | None:
    """Why a layout cannot be built where it lies, None if it can."""
    for arm in arms:
        if own is not None and not shapely.covers(own.outline, arm.line):
            return f"the arm ending {_end(place, arm)} would leave the parcel, which needs the neighbour's consent"
        if not arm.daylight:
            left = float(arm.ground_m[-1] - arm.bottom_m[-1])
            return f"the arm ending {_end(place, arm)} does not come to daylight, it is still {left:.2f} m below the ground there"
    return None


def _more_below(place: Place, arms: list[SwaleArm], before: Flow, after: Flow, own: _Parcel) -> str | None:
    """Why a layout would harm the land below, None if each outlet's water leaves the parcel where as much left before.

    Water is followed from each outlet to the cell where it leaves the parcel; what leaves within reach of that cell is
    compared. Where it leaves over the edge of the data inside the parcel, nothing is known of the neighbour.
    """
    was, now = (_leaving(flow, own.cells) for flow in (before, after))
    for arm in arms:
        way = path_down(after.direction, *cell_at(place, arm.along_m[-1], arm.across_m[-1]))
        outside = np.flatnonzero(~own.cells[tuple(way.T)])
        if outside.size == 0:
            continue
        r, c = way[max(int(outside[0]) - 1, 0)]
        near = np.s_[max(r - own.reach, 0) : r + own.reach + 1, max(c - own.reach, 0) : c + own.reach + 1]
        old, new = float(was[near].sum()), float(now[near].sum())
        if new - old > own.tolerance_m2:
            spot = place.spot_words(*place.grid.centre(r, c))
            return (
                f"the land below the parcel's edge {spot} would get the water of {new:.0f} m2 instead of {old:.0f} m2, "
                "more than it gets now"
            )
    return None


def _leaving(flow: Flow, inside: np.ndarray) -> np.ndarray:
    """Contributing area [m2] of cells inside an area whose water leaves it, 0 elsewhere."""
    rows, cols = np.nonzero(inside)
    to_row, to_col = receivers(flow.direction, rows, cols)
    on = (to_row >= 0) & (to_row < inside.shape[0]) & (to_col >= 0) & (to_col < inside.shape[1])
    out = on & ~inside[np.where(on, to_row, 0), np.where(on, to_col, 0)]
    leaving = np.zeros(inside.shape)
    leaving[rows[out], cols[out]] = np.nan_to_num(flow.area_m2[rows[out], cols[out]])
    return leaving


def _words(arms: list[SwaleArm]) -> str:
    dug = sum(arm.volume_m3 for arm in arms)
    return f"A swale of {len(arms)} arm{'s' * (len(arms) > 1)} ({dug:.0f} m3 to dig)"


def _end(place: Place, arm: SwaleArm) -> str:
    return place.spot_words(float(arm.along_m[-1]), float(arm.across_m[-1]))


def mask_of(place: Place, outline: shapely.Geometry) -> np.ndarray:
    """Cells [rows, cols] whose centre lies in an outline on the grid."""
    grid = place.grid
    return polygon_mask(segments_of(outline), grid.west_m, grid.north_m, grid.cell_m, grid.shape)


def cell_at(place: Place, along_m, across_m):
    """Row and column of the cell at a spot on the grid, or of the cells at arrays of spots."""
    grid = place.grid
    row = np.floor((grid.north_m - np.asarray(across_m)) / grid.cell_m).astype(int)
    col = np.floor((np.asarray(along_m) - grid.west_m) / grid.cell_m).astype(int)
    return (int(row), int(col)) if row.ndim == 0 else (row, col)
