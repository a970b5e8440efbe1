"""The grading plan in numbers and words: what goes into the JSON summary and onto the screen."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from tunnelsite.core.reproject import to_wgs84
from tunnelsite.core.units import FOOT_M

YARD3_M3 = (3 * FOOT_M) ** 3


def grading_summary(plan, spread) -> dict[str, Any]:
    """Earthwork of a grading plan.

    Arguments: plan; spread, from `grading_error.earthwork_error`.
    """
    rule, sides = plan.settings.rule, plan.sides
    cut = sides.is_cut & (sides.toe_m > 0)
    return {
        "level_m": plan.plane.level_m,
        "slope_along": plan.plane.slope_along,
        "slope_across": plan.plane.slope_across,
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
        "topsoil": {
            "depth_m": plan.settings.topsoil_m,
            "stripped_m3": plan.topsoil_stripped_m3,
            "put_back_m3": plan.topsoil_back_m3,
        },
        "base": {"compacted_m3": plan.base_m3, "to_order_m3": plan.base_order_m3, "fabric_m2": plan.fabric_m2},
        "uncertainty": _uncertainty(spread),
    }


def _uncertainty(spread) -> dict[str, Any]:
    found = {
        name: {"low": s.low, "high": s.high, "sd": s.sd, "apparent_from_error_alone": s.inflation}
        for name, s in (
            (name, getattr(spread, name)) for name in ("cut_m3", "fill_m3", "net_m3", "max_cut_m", "max_fill_m")
        )
    }
    return {"interval": "90 %", "draws": spread.draws, "no_daylight_share": spread.no_daylight, **found}


def drainage_summary(found, place, storm) -> dict[str, Any]:
    """Water of a drainage plan; None = not assessed. Arguments: found, a drainage plan; place; storm."""
    return {
        "entering_before_m2": sum(one.area_m2 for one in found.inflows_before),
        "entering_after_m2": sum(one.area_m2 for one in found.inflows_after),
        "water_entering_before": [_inflow(one, place) for one in found.inflows_before[:5]],
        "water_entering_after": [_inflow(one, place) for one in found.inflows_after[:5]],
        "swale": [_arm(arm, flow, place) for arm, flow in zip(found.arms, found.outlets, strict=True)],
        "spreaders": [_spreader(one, place) for one in found.spreaders],
        "swale_drains_m2": found.intercepted_m2,
        "said": list(found.said),
        "roof_peak_m3_s": found.roof_peak_m3_s,
        "rain": {name: value for name, value in vars(storm).items() if value is not None},
        "drain_length_m": float(found.drain.length),
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


def _inflow(one, place) -> dict[str, Any]:
    return {**_spot(place, one.row, one.col), "from_m2": one.area_m2, "at_least": one.at_least}


def _spot(place, row: int, col: int) -> dict[str, Any]:
    along, across = place.grid.centre(row, col)
    lon, lat = to_wgs84(place.grid, along, across)
    return {"lon": round(float(lon), 7), "lat": round(float(lat), 7), "where": place.spot_words(along, across)}


def _arm(arm, flow, place) -> dict[str, Any]:
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


def _spreader(one, place) -> dict[str, Any]:
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
    }


def grading_lines(summary: dict[str, Any], *, feet: bool) -> list[str]:
    """The summary on the screen, a line a fact."""
    grading, lines = summary["grading"], [f"{summary['title']} ({summary['lon']:.6f}, {summary['lat']:.6f})"]
    sure = grading["uncertainty"]
    for name in ("cut", "fill"):
        span = sure[f"{name}_m3"]
        lines.append(
            f"{name} {_volume(grading[f'{name}_m3'], feet)}, 90 % between {span['low']:.0f} and {span['high']:.0f} m3; "
            f"{'deepest' if name == 'cut' else 'highest'} {grading[f'max_{name}_m']:.2f} m"
        )
    lines.append(
        f"finished pad {grading['level_m']:.3f} m at its centre, rises {100 * grading['slope_along']:+.3f} % along, "
        f"{100 * grading['slope_across']:+.3f} % across"
    )
    slopes = grading["side_slopes"]
    lines.append(
        f"side slopes {slopes['cut_run_per_rise']:g}:1 in cut, {slopes['fill_run_per_rise']:g}:1 in fill, up to "
        f"{slopes['widest_m']:.1f} m wide; {grading['disturbed_m2']:.0f} m2 disturbed"
    )
    soil = grading["topsoil"]
    lines.append(f"topsoil: strip {_volume(soil['stripped_m3'], feet)}, put back {_volume(soil['put_back_m3'], feet)}")
    if grading["base"]["to_order_m3"] > 0:
        lines.append(f"base: order {_volume(grading['base']['to_order_m3'], feet)} loose")
    lines += _water_lines(summary["drainage"])
    return lines


def _water_lines(water: dict[str, Any] | None) -> list[str]:
    if water is None:
        return ["drainage: not assessed"]
    before, after = water["entering_before_m2"], water["entering_after_m2"]
    lines = [f"water from {before:.0f} m2 uphill enters as the land lies, from {after:.0f} m2 after grading"]
    for arm in water["swale"]:
        peak = "peak flow not assessed (no rain given)"
        if arm["peak_m3_s"] is not None:
            peak = f"peak {1000 * arm['peak_m3_s']:.0f} l/s, {arm['depth_m']:.2f} m deep, {arm['velocity_m_s']:.1f} m/s"
        end = "comes to daylight" if arm["reaches_daylight"] else "does NOT come to daylight"
        lines.append(
            f"swale {arm['length_m']:.0f} m long, dug {arm['dug_m3']:.0f} m3, drains {arm['drains_m2']:.0f} m2, {end} "
            f"{arm['outlet']['where']}; {peak}"
        )
    for one in water["spreaders"]:
        lines.append(
            f"level spreader {one['length_m']:.0f} m long, {one['where']}, lip at {one['level_m']:.2f} m, dug {one['dug_m3']:.0f} m3, "
            f"{one['grass_below_m']:.0f} m of grass below it"
        )
    if water["roof_peak_m3_s"] is not None:
        lines.append(f"roof: {1000 * water['roof_peak_m3_s']:.1f} l/s at its peak, half to each side")
    lines += [
        f"more water leaves {one['where']}: from {one['after_m2']:.0f} m2 instead of {one['before_m2']:.0f} m2"
        for one in water["neighbours"]["more_water_at"]
    ]
    return lines


def _volume(value_m3: float, feet: bool) -> str:
    return f"{value_m3:.1f} m3" + (f" ({value_m3 / YARD3_M3:.1f} yd3)" if feet else "")


def profile_rows(plan) -> list[dict[str, Any]]:
    """Both profiles, a row a point: direction, distance from the middle, natural and finished ground, cut [m]."""
    rows = []
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
    return rows
