"""Whether a diverting swale is worth offering, and down which side: least digging among those that do no harm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.siteplan.flow_paths import Flow, ending_in, flow_over, inflows, path_down
from tunnelsite.siteplan.grading_plan import GradingPlan
from tunnelsite.siteplan.level_spreader import Land, Spreader, spread_out
from tunnelsite.siteplan.outlets import Parcel, beyond_the_data, end_words, more_below, outlet_cell, outlet_of
from tunnelsite.siteplan.place import Place
from tunnelsite.siteplan.swale import SwaleArm, ring, swale_layouts, with_swale

if TYPE_CHECKING:
    from tunnelsite.siteplan.drainage_plan import DrainageSettings


@dataclass(frozen=True)
class SwaleChoice:
    """The swale offered, if any. Attributes: arms; surface, finished ground with it [rows, cols] [m]; after, flow over that;
    said, why there is none or what was left open, in plain words; spreaders, at the arms' outlets, none where their water
    harms nobody as it is."""

    arms: list[SwaleArm]
    surface: np.ndarray
    after: Flow
    said: tuple[str, ...]
    spreaders: tuple[Spreader, ...] = ()


@dataclass(frozen=True)
class _Dug:
    """A layout that keeps water off the pad: its arms, ground with it, flow over that."""

    arms: list[SwaleArm]
    surface: np.ndarray
    after: Flow


def chosen_swale(
    plan: GradingPlan, before: Flow, settings: DrainageSettings, parcel: shapely.Geometry | None
) -> SwaleChoice:
    """The swale that digs least among those that come to daylight, stay on the parcel, let less water onto the pad than no swale
    would, and send no neighbour more; else one whose water is spread out (`level_spreader`).

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
        own = Parcel(parcel, place.mask_of(parcel), round(settings.same_water_m / cell), settings.tolerance_m2)
    refused, harmful = [], []
    for arms in sorted(layouts, key=lambda arms: sum(arm.volume_m3 for arm in arms)):
        found = _not_buildable(place, arms, own) or _dug(plan, arms, graded, settings)
        if isinstance(found, str):
            refused.append(f"{_words(arms)}: {found}")
            continue
        if own is None:
            return SwaleChoice(arms, found.surface, found.after, (NO_PARCEL,))
        why, unknown = more_below(place, arms, before, found.after, own)
        if why is None:
            return SwaleChoice(arms, found.surface, found.after, tuple(unknown))
        refused.append(f"{_words(arms)}: {why}")
        harmful.append(found)
    return _spread(plan, (before, harmful, refused), settings, own) or replace(none, said=(_refusal(refused),))


NO_PARCEL = "No parcel is known here: where the water of the swale leaves the land, and to whom, was not checked."


def _refusal(refused: list[str]) -> str:
    advice = "Move the pad, lead the water off in a pipe, or agree on an outlet with the neighbour below."
    return "No swale is offered. " + "; ".join(refused) + ". " + advice


def _dug(plan: GradingPlan, arms: list[SwaleArm], graded: Flow, settings: DrainageSettings) -> _Dug | str:
    """A layout dug, or why it is of no use."""
    disturbed = plan.place.mask_of(plan.outline)
    entering, surface = (
        _entering(graded, disturbed),
        with_swale(plan.finished, plan.place, arms, settings.swale.section),
    )
    after = flow_over(surface, plan.place.grid.cell_m)
    still = _entering(after, disturbed)
    if still >= entering:
        return f"water from {still:.0f} m2 would still enter the pad, against {entering:.0f} m2 without it"
    return _Dug(arms, surface, after)


def _entering(flow: Flow, disturbed: np.ndarray) -> float:
    return sum(one.area_m2 for one in inflows(flow, disturbed))


def _spread(plan: GradingPlan, tried, settings: DrainageSettings, own: Parcel | None) -> SwaleChoice | None:
    """The first layout whose water can be let go as sheet flow; None where there is none, which `refused` then tells."""
    before, harmful, refused = tried
    if settings.spreader is None:
        return None
    place, rule = plan.place, settings.swale
    reasons = {}
    for found in harmful:
        dug = (found.after, found.surface)
        outlets = [
            (outlet_cell(place, arm, found.after), outlet_of(place, arm, dug, rule, settings.storm).peak_m3_s or np.nan)
            for arm in found.arms
        ]
        ends = [shapely.points(arm.along_m[-1], arm.across_m[-1]).buffer(2 * place.grid.cell_m) for arm in found.arms]
        lines = [shapely.difference(arm.line, end) for arm, end in zip(found.arms, ends, strict=True)]
        taken = shapely.union_all([plan.outline.buffer(rule.clearance_m), *lines])
        land = Land(place, found.surface, place.mask_of(plan.outline), taken, own)
        spread = spread_out(land, found.arms, outlets, (before, found.after), (settings.spreader, rule.section))
        if isinstance(spread, str):
            reasons[spread] = None
            continue
        said = [spread_words(place, one) for one in spread[0]]
        said += [beyond_the_data(place, arm) for arm, one in zip(found.arms, spread[0], strict=True) if one.beyond]
        return SwaleChoice(found.arms, found.surface, spread[1], (*said, SPREADER_CARE), tuple(spread[0]))
    if reasons:
        refused.append("nor can its water be let go as sheet flow over a level spreader: " + "; ".join(reasons))
    return None


SPREADER_CARE = (
    "A level spreader works only if its lip is level to a quarter of an inch (15A NCAC 02H .1059), the grass below is dense before water "
    "comes, nothing drives there, and both are looked at after hard rain; else water gathers again and cuts a gully. Local "
    "stormwater rules, NRCS standards (diversion 362, filter strip 393) and licensed practice rule; tell whoever lies below."
)


def spread_words(place: Place, one: Spreader) -> str:
    """A level spreader in plain words."""
    spot = place.spot_words(*shapely.get_coordinates(shapely.centroid(one.line))[0])
    more = ""
    if one.times is not None:
        more = " No stretch of the parcel's edge below gets notably more water than now."
        if one.times > 1:
            more = f" Stretches of the parcel's edge below get up to {one.times:.1f} times the water of now, spread out, not as a stream."
    return (
        f"The water of {one.area_m2:.0f} m2 is let go over a level lip {one.line.length:.0f} m long, {spot}, as sheet flow over "
        f"{one.strip_m:.0f} m of grass or more inside the parcel, falling {100 * one.steepest:.1f} % at most.{more}"
    )


def _layouts(plan: GradingPlan, before: Flow, graded: Flow, settings: DrainageSettings) -> list[list[SwaleArm]]:
    """Layouts of the swale; where arms leave the ring, their water stays off the disturbed ground."""
    place, rule = plan.place, settings.swale
    around = ring(plan.outline, rule)
    inside, disturbed = place.mask_of(around), place.mask_of(plan.outline)
    once = ending_in(before, inside, place.grid.cell_m)
    coming = inflows(replace(before, area_m2=once.area_m2), inside, settings.worth_m2)

    def tail(along_m: float, across_m: float) -> np.ndarray | None:
        cells = path_down(graded.direction, *place.cell_at(along_m, across_m))
        if disturbed[tuple(cells.T)].any() or inside[tuple(cells[2:].T)].any():
            return None
        return np.column_stack(place.grid.centre(*cells.T))

    spots = [place.grid.centre(one.row, one.col) for one in coming]
    return swale_layouts(place, plan.natural, around, rule, spots, tail)


def _not_buildable(place: Place, arms: list[SwaleArm], own: Parcel | None) -> str | None:
    """Why a layout cannot be built where it lies, None if it can."""
    for arm in arms:
        if own is not None and not shapely.covers(own.outline, arm.line):
            return f"the arm ending {end_words(place, arm)} would leave the parcel, which needs the neighbour's consent"
        if not arm.daylight:
            left = float(arm.ground_m[-1] - arm.bottom_m[-1])
            return f"the arm ending {end_words(place, arm)} does not come to daylight, it is still {left:.2f} m below the ground there"
    return None


def _words(arms: list[SwaleArm]) -> str:
    dug = sum(arm.volume_m3 for arm in arms)
    return f"A swale of {len(arms)} arm{'s' * (len(arms) > 1)} ({dug:.0f} m3 to dig)"
