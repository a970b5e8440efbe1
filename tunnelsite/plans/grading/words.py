"""The grading plan in numbers and words: what goes into the JSON summary and onto the screen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.reproject import to_wgs84
from tunnelsite.core.units import also_in_feet
from tunnelsite.core.wording import place_words
from tunnelsite.plans.drainage.flow_paths import Inflow
from tunnelsite.plans.drainage.level_spreader import Spreader
from tunnelsite.plans.drainage.plan import DrainagePlan
from tunnelsite.plans.drainage.storm import OutletFlow, Storm
from tunnelsite.plans.drainage.swale import SwaleArm
from tunnelsite.plans.grading.error import EarthworkError
from tunnelsite.plans.grading.plan import GradingPlan
from tunnelsite.plans.place import PlacedHouse

TIERS = {
    "smooth": "topsoil: smooth it in place; nothing is stripped",
    "shape": "topsoil: shape the pad within it; nothing is stripped, half of it is left at least",
}


def grading_summary(plan: GradingPlan, spread: EarthworkError) -> dict[str, Any]:
    """Earthwork of a grading plan.

    Arguments: plan; spread, from `grading_error.earthwork_error`.
    """
    rule, sides = plan.settings.rule, plan.sides
    cut = sides.is_cut & (sides.toe_m > 0)
    return {
        "level_m": plan.plane.level_m,
        "slope_along": plan.plane.slope_along,
        "slope_across": plan.plane.slope_across,
        "crown": plan.settings.crown,
        "apron_fall": plan.settings.apron_fall,
        "base_m": plan.settings.base_m,
        "cut_m3": plan.cut_m3,
        "fill_m3": plan.fill_m3,
        "surplus_m3": plan.surplus_m3,
        "pad_cut_m3": plan.pad.cut_m3,
        "pad_fill_m3": plan.pad.fill_m3,
        "side_slope_cut_m3": plan.slopes.cut_m3,
        "side_slope_fill_m3": plan.slopes.fill_m3,
        "max_cut_m": plan.pad.max_cut_m,
        "max_fill_m": plan.pad.max_fill_m,
        "saved_over_least_squares_m3": plan.saved_m3,
        "pad_m2": plan.place.pad.area_m2,
        "disturbed_m2": float(plan.outline.area),
        "beyond_open_ground_m2": plan.over_parcel_m2,
        "side_slopes": {
            "cut_run_per_rise": rule.cut,
            "fill_run_per_rise": rule.fill,
            "widest_m": float(sides.toe_m.max()),
            "share_in_cut": float(cut.mean()),
        },
        "tier": plan.tier,
        "topsoil": {
            "depth_m": plan.settings.topsoil_m,
            "stripped_m3": plan.materials.topsoil_stripped_m3,
            "put_back_m3": plan.materials.topsoil_back_m3,
        },
        "base": {
            "compacted_m3": plan.materials.base_m3,
            "to_order_m3": plan.materials.base_order_m3,
            "fabric_m2": plan.materials.fabric_m2,
        },
        "conflicts": list(plan.conflicts),
        "uncertainty": _uncertainty(spread),
    }


def _uncertainty(spread: EarthworkError) -> dict[str, Any]:
    found = {
        name: {"low": s.low, "high": s.high, "sd": s.sd, "apparent_from_error_alone": s.inflation}
        for name, s in (
            (name, getattr(spread, name)) for name in ("cut_m3", "fill_m3", "net_m3", "max_cut_m", "max_fill_m")
        )
    }
    return {"interval": "90 %", "draws": spread.draws, "no_daylight_share": spread.no_daylight, **found}


def drainage_summary(found: DrainagePlan, place: PlacedHouse, storm: Storm) -> dict[str, Any]:
    """Water of a drainage plan; None = not assessed. Arguments: found, a drainage plan; place; storm."""
    return {
        "entering_before_m2": sum(one.area_m2 for one in found.inflows_before),
        "entering_after_m2": sum(one.area_m2 for one in found.inflows_after),
        "water_entering_before": [_inflow(one, place) for one in found.inflows_before[:5]],
        "water_entering_after": [_inflow(one, place) for one in found.inflows_after[:5]],
        "swale": [_arm(arm, flow, place) for arm, flow in zip(found.arms, found.outlets, strict=True)],
        "spreaders": [_spreader(one, place) for one in found.spreaders],
        "swale_drains_m2": found.intercepted_m2,
        "dug_m3": found.dug_m3,
        "said": list(found.said),
        "roof_peak_m3_s": found.roof_peak_m3_s,
        "rain": {name: value for name, value in vars(storm).items() if value is not None},
        "drain_length_m": 0.0 if found.drain is None else float(found.drain.length),
        "neighbours": {
            "left_before_m2": float(found.border_before.area_m2.sum()),
            "left_after_m2": float(found.border_after.area_m2.sum()),
            "more_water_at": [
                {
                    **_spot(place, one.row, one.col),
                    "before_m2": one.before_m2,
                    "after_m2": one.after_m2,
                    "gain_m2": one.gain_m2,
                }
                for one in found.gains
            ],
        },
    }


def _inflow(one: Inflow, place: PlacedHouse) -> dict[str, Any]:
    return {**_spot(place, one.row, one.col), "from_m2": one.area_m2, "at_least": one.at_least}


def _spot(place: PlacedHouse, row: int, col: int) -> dict[str, Any]:
    along, across = place.grid.centre(row, col)
    lon, lat = to_wgs84(place.grid, along, across)
    return {"lon": round(float(lon), 7), "lat": round(float(lat), 7), "where": place.spot_words(along, across)}


def _arm(arm: SwaleArm, flow: OutletFlow, place: PlacedHouse) -> dict[str, Any]:
    lon, lat = to_wgs84(place.grid, float(arm.along_m[-1]), float(arm.across_m[-1]))
    return {
        "length_m": float(arm.distance_m[-1]),
        "falls_m": float(arm.bottom_m[0] - arm.bottom_m[-1]),
        "deepest_m": float((arm.ground_m - arm.bottom_m).max()),
        "dug_m3": arm.volume_m3,
        "reaches_daylight": arm.daylight,
        "outlet": {
            "lon": round(float(lon), 7),
            "lat": round(float(lat), 7),
            "where": place.spot_words(float(arm.along_m[-1]), float(arm.across_m[-1])),
            "bottom_m": float(arm.bottom_m[-1]),
        },
        "drains_m2": flow.area_m2,
        "drains_at_least": flow.at_least,
        "peak_m3_s": flow.peak_m3_s,
        "depth_m": flow.depth_m,
        "velocity_m_s": flow.velocity_m_s,
        "steepest_velocity_m_s": flow.steep_velocity_m_s,
        "concentration_s": flow.concentration_s,
    }


def _spreader(one: Spreader, place: PlacedHouse) -> dict[str, Any]:
    middle = shapely.get_coordinates(shapely.centroid(one.line))[0]
    lon, lat = to_wgs84(place.grid, *middle)
    return {
        "length_m": float(one.line.length),
        "level_m": one.level_m,
        "dug_m3": one.volume_m3,
        "lon": round(float(lon), 7),
        "lat": round(float(lat), 7),
        "where": place.spot_words(*middle),
        "spreads_m2": one.area_m2,
        "grass_below_m": one.strip_m,
        "steepest_below": one.steepest,
        "times_as_much_at_the_edge": one.times,
        "runs_off_the_data_m2": one.beyond_m2,
    }


def grading_lines(summary: dict[str, Any], *, feet: bool) -> list[str]:
    """The summary on the screen, a line a fact, in both systems of units."""
    grading, lines = summary["grading"], [f"{summary['title']} ({place_words(summary['lon'], summary['lat'])})"]
    sure = grading["uncertainty"]
    for name, most in (("cut", "deepest"), ("fill", "highest")):
        amount, low, high = (
            amounts.volume(value, feet=feet)
            for value in (grading[f"{name}_m3"], sure[f"{name}_m3"]["low"], sure[f"{name}_m3"]["high"])
        )
        deep = amounts.depth(grading[f"max_{name}_m"], feet=feet)
        lines.append(f"{name} {amount}, 90 % between {low} and {high}; {most} {deep}{_from_where(grading)}")
    if sure["no_daylight_share"] > 0:
        lines.append(
            f"in {sure['no_daylight_share']:.0%} of the draws of height error a side slope does not meet the ground: level the way out "
            "to its foot before digging"
        )
    lines.append(surplus_words(grading, feet=feet))
    lines.append(
        f"finished pad {amounts.level(grading['level_m'], feet=feet)} at its centre, rises {100 * grading['slope_along']:+.3f} % "
        f"along, {100 * grading['slope_across']:+.3f} % across"
    )
    slopes = grading["side_slopes"]
    lines.append(
        f"side slopes {slopes['cut_run_per_rise']:g}:1 in cut, {slopes['fill_run_per_rise']:g}:1 in fill, up to "
        f"{amounts.away(slopes['widest_m'], feet=feet)} wide; {amounts.land(grading['disturbed_m2'], feet=feet)} disturbed"
    )
    soil = grading["topsoil"]
    strip, back = (amounts.volume(soil[name], feet=feet) for name in ("stripped_m3", "put_back_m3"))
    lines.append(TIERS.get(grading["tier"], f"topsoil: strip {strip}, put back {back}"))
    if grading["base"]["to_order_m3"] > 0:
        lines.append(f"base: order {amounts.volume(grading['base']['to_order_m3'], feet=feet)} loose")
    return lines + _water_lines(summary["drainage"], feet)


def _from_where(grading: Mapping[str, Any]) -> str:
    """Between which surfaces earth is counted, where they are not the ground and the finished pad."""
    bare = "once the topsoil is off" if grading["topsoil"]["stripped_m3"] > 0 else ""
    under = "to the underside of the base" if grading["base_m"] > 0 else ""
    return "".join(f", {words}" for words in (bare, under) if words)


def surplus_words(grading: Mapping[str, Any], *, feet: bool) -> str:
    """What earth is left over or missing, measured in the cut, before it swells on a lorry."""
    surplus = grading["surplus_m3"]
    amount = amounts.volume(abs(surplus), feet=feet)
    if abs(surplus) < 0.05:
        return "earth of pad and side slopes: balanced"
    if surplus > 0:
        return f"earth of pad and side slopes: {amount} left over, measured in the cut (spoil)"
    return f"earth of pad and side slopes: {amount} missing, measured in the cut (borrow)"


def _water_lines(water: dict[str, Any] | None, feet: bool) -> list[str]:
    if water is None:
        return ["drainage: not assessed"]
    before, after = (amounts.land(water[f"entering_{when}_m2"], feet=feet) for when in ("before", "after"))
    lines = [f"water from {before} uphill enters as the land lies, from {after} after grading"]
    if water["drain_length_m"] > 0:
        lines.append(f"French drain round the house, off its posts: {amounts.away(water['drain_length_m'], feet=feet)}")
    for arm in water["swale"]:
        peak = "peak flow not assessed (no rain given)"
        if arm["peak_m3_s"] is not None:
            peak = (
                f"peak {amounts.flow(arm['peak_m3_s'], feet=feet)}, {amounts.size(arm['depth_m'], feet=feet)} deep, "
                f"{amounts.speed(arm['velocity_m_s'], feet=feet)}"
            )
        end = "comes to daylight" if arm["reaches_daylight"] else "does NOT come to daylight"
        lines.append(
            f"swale {amounts.away(arm['length_m'], feet=feet)} long, dug {amounts.volume(arm['dug_m3'], feet=feet)}, drains "
            f"{amounts.land(arm['drains_m2'], feet=feet)}, {end} {arm['outlet']['where']}; {peak}"
        )
    for one in water["spreaders"]:
        lines.append(
            f"level spreader {amounts.away(one['length_m'], feet=feet)} long, {one['where']}, lip at "
            f"{amounts.level(one['level_m'], feet=feet)}, dug {amounts.volume(one['dug_m3'], feet=feet)}, "
            f"{amounts.away(one['grass_below_m'], feet=feet)} of grass below it"
        )
    if water["dug_m3"] > 0:
        lines.append(f"{spoil_words(water, feet=feet)}")
    if water["roof_peak_m3_s"] is not None:
        lines.append(f"roof: {amounts.flow(water['roof_peak_m3_s'], feet=feet)} at its peak, half to each side")
    for one in water["neighbours"]["more_water_at"]:
        grown = amounts.more_land(one["after_m2"], one["before_m2"], feet=feet)
        lines.append(f"more water leaves the ground round the pad {one['where']}: from {grown}")
    return lines


def spoil_words(water: Mapping[str, Any], *, feet: bool) -> str:
    """What is dug for water and where it may go: it is no part of the pad's balance."""
    dug = amounts.volume(water["dug_m3"], feet=feet)
    return (
        f"dug for swale and spreaders: {dug} of spoil as well, not part of the pad's balance: lay its topsoil back, and the "
        "rest as a low ridge on the downhill side of the swale or away from water"
    )


def profile_rows(plan: GradingPlan) -> list[dict[str, Any]]:
    """Both profiles, a row a point: direction, distance from the middle, natural and finished ground, cut [m]; in feet too
    where the user works in them."""
    rows: list[dict[str, Any]] = []
    for across, name in ((False, "along"), (True, "across")):
        profile = plan.profile(across=across)
        for at, natural, finished in zip(profile.distance_m, profile.natural_m, profile.finished_m, strict=True):
            known = bool(np.isfinite(natural))
            rows.append(
                {
                    "profile": name,
                    "distance_m": round(float(at), 4),
                    "natural_m": round(float(natural), 4) if known else None,
                    "finished_m": round(float(finished), 4) if known else None,
                    "cut_m": round(float(natural - finished), 4) + 0.0 if known else None,
                }
            )
    if plan.place.house.feet:
        for row in rows:
            row |= also_in_feet({name: value for name, value in row.items() if name.endswith("_m")})
    return rows
