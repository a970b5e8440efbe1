"""From the settings of a grading plan and its screening to the rules of earthwork and water, and to the error of the heights."""

from __future__ import annotations

from tunnelsite.core import amounts
from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.plans.candidate import Candidate
from tunnelsite.plans.drainage.channels import Section
from tunnelsite.plans.drainage.level_spreader import SpreaderRule
from tunnelsite.plans.drainage.plan import DrainageSettings
from tunnelsite.plans.drainage.storm import Storm
from tunnelsite.plans.drainage.swale import SwaleRule
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.settings import GradingSettings
from tunnelsite.plans.grading.side_slopes import SlopeRule
from tunnelsite.scan.pitch_error import counted_error, stated_error


def earth_rule(asked: GradingSettings, max_slope: float, shrink: float) -> EarthRule:
    """The rule of the earthwork. Arguments: asked; max_slope [fraction] of the finished pad and shrink factor, of the screening."""
    return EarthRule(
        max_slope=max_slope,
        shrink=shrink,
        balance=asked.balance,
        deepest_cut_m=asked.deepest_cut_m,
        rule=SlopeRule(asked.cut_slope, asked.fill_slope),
        topsoil_m=asked.topsoil_m,
        base_m=asked.base_m,
        base_loose=asked.base_loose,
        crown=asked.crown,
        apron_fall=asked.apron_fall,
    )


def drainage_settings(asked: GradingSettings) -> DrainageSettings:
    """The rules of the drainage."""
    section = Section(asked.swale_bottom_m, asked.swale_side)
    swale = SwaleRule(fall=asked.swale_fall, depth_m=asked.swale_depth_m, section=section)
    spreader = SpreaderRule(longest_m=asked.spreader_m) if asked.spreader_m > 0 else None
    depth_m, seconds = asked.burst or (None, None)
    storm = Storm(
        coefficient=asked.runoff_share,
        intensity_mm_h=asked.rain,
        curve_number=asked.curve_number,
        burst_m=depth_m,
        burst_s=seconds,
        two_year_rain_m=asked.two_year_rain_m,
        roof_mm_h=asked.roof_rain,
    )
    return DrainageSettings(swale=None if asked.no_swale else swale, spreader=spreader, storm=storm)


def elevation_error(found: Candidate) -> tuple[ErrorModel, tuple[str, ...]]:
    """The error of the elevations round a place, as its settings state it or assumed; and what was assumed, in words."""
    sd, length = found.settings.error
    error = counted_error(found.frame, (found.place.row, found.place.col), stated_error(found.frame, sd, length))
    assumed, feet = [], found.place.house.feet
    if error.measured:
        return error, ()
    if sd is None:
        assumed.append(
            f"heights are taken to be off by {amounts.depth(error.sd_m, feet=feet)} (standard error), as is usual for such a model and no "
            "more than it is rough there: see its metadata and give --elevation-error"
        )
    if length is None:
        far = amounts.away(error.range_m, feet=feet)
        assumed.append(f"a correlation length of {far} is assumed for these errors (no source): --error-range")
    return error, tuple(assumed)
