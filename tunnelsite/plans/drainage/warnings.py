"""What the reader of a drainage plan has to know, in plain words and in both systems of units."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.drainage.channels import MATTING_ABOVE_M_S, VELOCITY_LIMIT_M_S
from tunnelsite.plans.drainage.flow_paths import path_down
from tunnelsite.plans.drainage.outlets import end_words
from tunnelsite.plans.drainage.storm import OutletFlow
from tunnelsite.plans.grading.plan import GradingPlan
from tunnelsite.plans.site_limits import SiteLimits

if TYPE_CHECKING:
    from tunnelsite.plans.drainage.plan import DrainagePlan, DrainageSettings

FREEBOARD_M = 0.3 * FOOT_M  # of a diversion [@diversion-362]
SPOTS_NAMED = 3  # where water comes on a broad front there are dozens


def on_the_way(found: DrainagePlan, plan: GradingPlan, limits: SiteLimits, settings: DrainageSettings) -> list[str]:
    """Services that are dug across, and barred ground that diverted water runs over on its way down the parcel."""
    if not found.arms:
        return []
    place, cell = plan.place, plan.place.grid.cell_m
    dug = shapely.union_all(
        [arm.footprint(settings.rule.section) for arm in found.arms] + [one.line for one in found.spreaders]
    )
    said = [
        f"The swale is dug across {name}: have it located and exposed by hand before machines come, keep its cover, and lower "
        "it or move the swale if need be."
        for name, _ in limits.services_on(dug)
    ]
    starts = [(f"spread {place.middle_words(one.line)}", one.cells) for one in found.spreaders]
    if not starts:
        for arm in found.arms:
            starts.append(
                (f"let go {end_words(place, arm)}", np.array([place.cell_at(arm.along_m[-1], arm.across_m[-1])]))
            )
    for words, cells in starts:
        ways = [shapely.points(*place.grid.centre(*path_down(found.after.direction, *map(int, at)).T)) for at in cells]
        wet = shapely.union_all([shapely.buffer(shapely.multipoints(way), cell / 2) for way in ways])
        wet = wet if limits.parcel is None else shapely.intersection(wet, limits.parcel)
        said += [
            f"The water {words} runs over {name}: see that it does no harm there, or lead it past."
            for name in limits.barred_by(wet)
        ]
    return said


def drainage_warnings(found: DrainagePlan, plan: GradingPlan, settings: DrainageSettings) -> list[str]:
    """What the plan's reader has to know, in plain words."""
    said, place, feet = [], plan.place, plan.place.house.feet
    if found.arms:
        said.append(
            "A swale redirects drainage: in some places that alone ends a permit exemption for hoop houses "
            "(Michigan HB 5130 of 2016, as introduced). Ask the local authority first."
        )
    for arm, flow in zip(found.arms, found.outlets, strict=True):
        name = f"Swale arm ending {place.spot_words(float(arm.along_m[-1]), float(arm.across_m[-1]))}"
        if flow.at_least:
            said.append(f"{name}: water may come from beyond the elevation data; its area is a lower bound.")
        said += channel_warnings(name, flow, settings, feet=feet)
    below = "Lead it to where it went before, or get the consent of the owners below."
    if found.spreaders:
        below = "It is spread out as sheet flow; tell the owners below."
    for gain in found.gains:
        spot = place.spot_words(*place.grid.centre(gain.row, gain.col))
        grown = amounts.more_land(gain.after_m2, gain.before_m2, feet=feet)
        said.append(f"More water leaves the ground round the pad {spot}: from {grown}. {below}")
    spots = [place.spot_words(*place.grid.centre(one.row, one.col)) for one in found.inflows_after]
    if len(spots) > SPOTS_NAMED:
        total = amounts.land(sum(one.area_m2 for one in found.inflows_after), feet=feet)
        said.append(f"Water from {total} in all still enters the pad at {len(spots)} spots, most of it {spots[0]}.")
    else:
        said += [
            f"Water from {amounts.land(one.area_m2, feet=feet)} still enters the pad {spot}."
            for one, spot in zip(found.inflows_after, spots, strict=True)
        ]
    if found.roof_peak_m3_s is None:
        said.append("No 10-year 5-minute rain was given: the roof's runoff is not assessed.")
    said.append("Drains and swales need a stable outlet; buried utilities must be marked before digging.")
    return said


def channel_warnings(name: str, flow: OutletFlow, settings: DrainageSettings, *, feet: bool) -> list[str]:
    """What the peak flow means for the channel, in plain words."""
    rule, said = settings.rule, []
    if flow.depth_m is None or flow.steep_velocity_m_s is None:
        return [f"{name}: no rain was given, so the channel's size and speed are not checked."]
    stands, deep = (amounts.size(one, feet=feet) for one in (flow.depth_m, rule.depth_m))
    if flow.depth_m > rule.depth_m:
        said.append(f"{name}: the peak flow stands {stands} deep in a swale {deep} deep: make it larger.")
    elif flow.depth_m + FREEBOARD_M > rule.depth_m:
        said.append(
            f"{name}: the peak flow stands {stands} deep in a swale {deep} deep, which leaves less than "
            f"{amounts.depth(FREEBOARD_M, feet=feet)} of freeboard: make it deeper."
        )
    fast = amounts.speed(flow.steep_velocity_m_s, feet=feet)
    if flow.steep_velocity_m_s > VELOCITY_LIMIT_M_S:
        limit = amounts.speed(VELOCITY_LIMIT_M_S, feet=feet)
        said.append(f"{name}: water runs at {fast}, above {limit}: flatten it or line it.")
    elif flow.steep_velocity_m_s > MATTING_ABOVE_M_S:
        limit = amounts.speed(MATTING_ABOVE_M_S, feet=feet)
        said.append(f"{name}: water runs at {fast}, above {limit}: lay erosion matting.")
    burst = settings.storm.burst_s
    takes = None if flow.curve_number_m3_s is None else flow.concentration_s
    if burst is not None and takes is not None and burst > 2 * takes:
        said.append(
            f"{name}: the burst lasts {burst / 60:.0f} min, far longer than the time of concentration of "
            f"{takes / 60:.0f} min: its peak is too low, give a shorter and harder burst."
        )
    return said
