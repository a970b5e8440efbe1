"""What `grading` was asked for: options turned into the settings of the grading and the drainage plan."""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import length_m, number, slope_fraction, whole_number
from tunnelsite.plans.drainage.channels import Section
from tunnelsite.plans.drainage.level_spreader import SpreaderRule
from tunnelsite.plans.drainage.plan import DrainageSettings
from tunnelsite.plans.drainage.storm import Storm
from tunnelsite.plans.drainage.swale import SwaleRule
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.side_slopes import SlopeRule
from tunnelsite.scan.pitch_error import counted_error, stated_error

if TYPE_CHECKING:
    from tunnelsite.plans.candidate import Candidate

DRAWS = 200


@dataclass(frozen=True)
class ErrorAsked:
    """Error of the elevations as given on the command line: standard error and correlation length [m], None = not given; draws."""

    sd_m: float | None
    range_m: float | None
    draws: int


def error_asked(given: argparse.Namespace) -> ErrorAsked:
    """What was given of the error of the elevations. Errors: UsageError."""
    return ErrorAsked(
        None if given.height_error is None else length_m(given.height_error, "--height-error", most_m=9.9),
        None if given.error_length is None else length_m(given.error_length, "--error-length", most_m=9_000.0),
        DRAWS if given.draws is None else whole_number(given.draws, "--draws", 20, 10_000),
    )


def elevation_error(asked: ErrorAsked, found: Candidate) -> tuple[ErrorModel, list[str]]:
    """The error of the elevations round a candidate, as given, as stated in its settings, or assumed; and what was assumed, in
    words."""
    stated = found.settings.error
    sd, length = (
        one if one is not None else other for one, other in zip((asked.sd_m, asked.range_m), stated, strict=True)
    )
    error = counted_error(found.frame, (found.place.row, found.place.col), stated_error(found.frame, sd, length))
    assumed = []
    if sd is None:
        assumed.append(
            f"heights are taken to be off by {error.sd_m:.2g} m (standard error), as is usual for such a model and no more than it "
            "is rough there: see its metadata and give --height-error"
        )
    if length is None:
        assumed.append(f"these errors are taken to be alike over {error.range_m:g} m (no source): --error-length")
    return error, assumed


def grading_settings(given: argparse.Namespace, max_slope: float, shrink: float) -> EarthRule:
    """Earthwork settings. Arguments: given; max_slope and shrink, of the screening. Errors: UsageError."""
    default, rule = EarthRule(), SlopeRule()
    return EarthRule(
        max_slope=max_slope,
        shrink=shrink,
        balance=given.balance,
        deepest_cut_m=None if given.deepest_cut is None else length_m(given.deepest_cut, "--deepest-cut", most_m=50.0),
        rule=SlopeRule(
            _run_per_rise(given.cut_slope, "--cut-slope", rule.cut),
            _run_per_rise(given.fill_slope, "--fill-slope", rule.fill),
        ),
        topsoil_m=_length(given.topsoil, "--topsoil", default.topsoil_m, 1.0),
        base_m=_length(given.base, "--base", default.base_m, 1.0),
        base_loose=_number(given.base_loose, "--base-loose", default.base_loose),
        crown=_slope(given.crown, "--crown", default.crown),
        apron_fall=_slope(given.apron_fall, "--apron-fall", default.apron_fall),
    )


def drainage_settings(given: argparse.Namespace) -> DrainageSettings:
    """Drainage settings. Errors: UsageError."""
    rule = SwaleRule()
    swale = SwaleRule(
        fall=_slope(given.swale_fall, "--swale-fall", rule.fall),
        depth_m=_length(given.swale_depth, "--swale-depth", rule.depth_m, 3.0),
        section=Section(
            _length(given.swale_bottom, "--swale-bottom", rule.section.bottom_m, 10.0),
            _run_per_rise(given.swale_side, "--swale-side", rule.section.run_per_rise),
        ),
    )
    longest = _length(given.spreader, "--spreader", SpreaderRule().longest_m, 500.0)
    spreader = SpreaderRule(longest_m=longest) if longest > 0 else None
    return DrainageSettings(swale=None if given.no_swale else swale, spreader=spreader, storm=_storm(given))


def _storm(given: argparse.Namespace) -> Storm:
    values: dict[str, Any] = {}
    if given.rain is not None:
        values["intensity_mm_h"] = rain_rate_mm_h(given.rain, "--rain")
    if given.roof_rain is not None:
        values["roof_mm_h"] = rain_rate_mm_h(given.roof_rain, "--roof-rain")
    if given.runoff_share is not None:
        values["coefficient"] = _number(given.runoff_share, "--runoff-share", 0.0, 0.0, 1.0)
    if given.two_year_rain is not None:
        values["two_year_rain_m"] = length_m(given.two_year_rain, "--two-year-rain", least_m=0.001, most_m=3.0)
    if given.curve_number is not None:
        values["curve_number"] = number(given.curve_number, "--curve-number")
        if not 0 < values["curve_number"] <= 100:
            raise UsageError(f"--curve-number is {given.curve_number}", "above 0 and up to 100", "correct it")
    if given.burst is not None:
        depth, slash, minutes = given.burst.partition("/")
        if not slash or not minutes.strip().endswith("min"):
            raise UsageError(f"--burst is {given.burst!r}", "DEPTH/MINUTES, such as 1.2in/30min", "correct it")
        values["burst_m"] = length_m(depth, "--burst", least_m=0.0001, most_m=3.0)
        values["burst_s"] = 60.0 * number(minutes.strip().removesuffix("min"), "--burst")
    if ("curve_number" in values) != ("burst_m" in values):
        raise UsageError("only one of --curve-number and --burst is given", "both", "add what is missing")
    if "curve_number" in values and "two_year_rain_m" not in values:
        raise UsageError("--curve-number without --two-year-rain", "both, for the time of concentration", "add it")
    return Storm(**values)


def rain_rate_mm_h(text: str, what: str) -> float:
    """A rain intensity [mm/h] from `4in/h` or `100 mm/h`. Errors: UsageError."""
    depth, slash, per = str(text).strip().rpartition("/")
    if not slash or per.strip().lower() not in ("h", "hr", "hour") or not depth.strip()[-1:].isalpha():
        raise UsageError(f"{what} is {text!r}", "a rain intensity such as 4in/h or 100mm/h", "give depth and /h")
    return 1000.0 * length_m(depth, what, least_m=1e-5, most_m=3.0)


def _run_per_rise(text: str | None, option: str, preset: float) -> float:
    value = _number(text, option, preset)
    if not 0 < value < 100:
        raise UsageError(f"{option} is {text}", "run per rise above 0 and below 100", "correct it")
    return value


def _length(text: str | None, option: str, preset: float, most_m: float) -> float:
    return preset if text is None else length_m(text, option, most_m=most_m)


def _number(text: str | None, option: str, preset: float, least: float = -math.inf, most: float = math.inf) -> float:
    value = preset if text is None else number(text, option)
    if not least <= value <= most:
        raise UsageError(f"{option} is {text!r}", f"{least:g} to {most:g}", "correct it")
    return value


def _slope(text: str | None, option: str, preset: float) -> float:
    return preset if text is None else slope_fraction(text, option)
