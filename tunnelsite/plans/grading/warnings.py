"""What the reader of a grading plan has to know, in plain words and in both systems of units."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.plans.site_limits import LEAST_M2, SiteLimits, points_along

if TYPE_CHECKING:
    from tunnelsite.plans.grading.plan import GradingPlan

FAR_M = 5.0
LEAST_CELLS = 4  # across the pad; with fewer its prisms are off by 5 % and more (tests against scipy's integral)
DEPTH_M = 0.01  # depths of the plan and of the screening that are nearer than that are one number
WORTH_M2 = 0.5  # less ground than this beyond a setback or clearance is not worth a word
WORTH_M3 = 1.0  # less earth than this is lost or found in the grading
NOT_BUILDABLE = "NOT BUILDABLE AS DRAWN: "
FIX = "Move the pad, steepen the side slopes as far as the soil stands, or have a retaining wall designed by licensed practice"


def plan_conflicts(plan: GradingPlan, limits: SiteLimits) -> tuple[str, ...]:
    """What lies in the way of the earthwork, the gravest first. Arguments: plan; limits, of the earthwork."""
    return (*_over_limits(plan, limits), *_on_services(plan, limits))


def plan_warnings(plan: GradingPlan) -> tuple[str, ...]:
    """Warnings of a plan whose conflicts are known: these first."""
    return (*plan.conflicts, *_earth(plan), *_surface(plan), *ALWAYS)


ALWAYS = (
    "Heights are from an elevation model: confirm them with a level before ordering earthwork.",
    "Have buried utilities located and marked before any digging.",
)


def _over_limits(plan: GradingPlan, limits: SiteLimits) -> list[str]:
    said, feet, graver = [], plan.place.house.feet, 0.0
    if limits.parcel is not None:
        over = shapely.difference(plan.outline, limits.parcel)
        graver = over.area
        if over.area > LEAST_M2:
            far = max(shapely.distance(shapely.points(shapely.get_coordinates(over)), limits.parcel))
            said.append(
                f"{NOT_BUILDABLE}the earthwork reaches up to {amounts.away(far, feet=feet)} over the parcel's edge, onto "
                f"{amounts.land(over.area, feet=feet)} of other land. {FIX}; nothing is dug there without the neighbour's "
                "written consent."
            )
    for name in limits.barred_by(plan.outline):
        said.append(f"{NOT_BUILDABLE}the earthwork runs into {name}. {FIX}.")
    if plan.over_parcel_m2 is not None and plan.over_parcel_m2 > graver + WORTH_M2:
        said.append(
            f"The side slopes disturb {amounts.land(plan.over_parcel_m2, feet=feet)} beyond the open ground of the parcel (its "
            "setback, keep-outs and clearances): ask whether earth may be moved there."
        )
    return said


def _on_services(plan: GradingPlan, limits: SiteLimits) -> list[str]:
    """Services under or over the earthwork, and how much ground is taken off or laid on them."""
    said, place, feet = [], plan.place, plan.place.house.feet
    for name, part in limits.services_on(plan.outline):
        u, v = (points_along(part, place.grid.cell_m / 8) - np.array(place.centre)).T
        natural = plan.natural_at(u, v)
        depth = natural - plan.surface(u, v, natural)
        cut, fill = (amounts.depth(max(float(np.nanmax(sign * depth)), 0.0), feet=feet) for sign in (1, -1))
        said.append(
            f"The earthwork lies across {name}: there the ground is cut up to {cut} and filled up to {fill}. What is buried "
            "loses or gains that much cover, what hangs loses that much clearance: ask its owner, have it located and exposed "
            "by hand before machines come, and move it if need be."
        )
    return said


def _other_depth(plan: GradingPlan) -> list[str]:
    """The plan's deepest cut where it is not the one that the screening judged."""
    depths = plan.pad.max_cut_m, plan.quick_pad.max_cut_m
    if abs(depths[0] - depths[1]) < DEPTH_M:
        return []
    planned, judged = (amounts.depth(one, feet=plan.place.house.feet) for one in depths)
    less = amounts.volume(max(plan.saved_m3, 0.0), feet=plan.place.house.feet)
    return [
        f"This plan cuts up to {planned} deep; the screening judged {judged}, of the least-squares plane. The plan's plane moves {less} "
        "less earth. Where the depth matters more, limit the deepest cut of the plan."
    ]


def _earth(plan: GradingPlan) -> list[str]:
    said, feet = _other_depth(plan), plan.place.house.feet
    reach = float(plan.sides.toe_m.max())
    if reach > FAR_M:
        said.append(
            f"Side slopes reach up to {amounts.away(reach, feet=feet)} beyond the pad: check what stands there."
        )
    if plan.place.house.kind == "in-ground" and plan.pad.max_cut_m > plan.settings.topsoil_m:
        said.append(
            f"The pad is cut up to {amounts.depth(plan.pad.max_cut_m, feet=feet)} deep, below the topsoil: strip the topsoil "
            "first, grade the subsoil, then put the topsoil back."
        )
    cell = plan.place.grid.cell_m
    if min(plan.place.pad.width_m, plan.place.pad.length_m) < LEAST_CELLS * cell:
        said.append(
            f"Cells of {amounts.away(cell, feet=feet)} are coarse for this pad: its volumes are rough, and the balance with "
            "them. Level a grid on the pad and plan from that."
        )
    amount = amounts.volume(abs(plan.surplus_m3), feet=feet)
    if plan.surplus_m3 < -WORTH_M3:
        said.append(f"{amount} of earth are missing (measured in the cut): bring fill in or lower the pad.")
    elif plan.surplus_m3 > WORTH_M3:
        said.append(f"{amount} of earth are left over (measured in the cut): say where they go, off any flow path.")
    return said


def _surface(plan: GradingPlan) -> list[str]:
    said, settings, feet = [], plan.settings, plan.place.house.feet
    steepest = max(abs(plan.plane.slope_along), abs(plan.plane.slope_across))
    if steepest < 0.001 and settings.crown == 0:
        said.append(
            f"The finished pad is almost level ({100 * steepest:.2f} %): water will stand unless it is drained."
        )
    sunk = settings.topsoil_m - settings.base_m
    if plan.place.house.kind == "container" and sunk > 0.01:
        said.append(
            f"The topsoil of the pad is not put back and the base is thinner than it: the finished pad lies "
            f"{amounts.depth(sunk, feet=feet)} lower than the ground would balance at, and water runs in. Give --base, or a "
            "thinner --topsoil."
        )
    return said
