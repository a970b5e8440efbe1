"""What may be asked of a grading plan: earthwork, water and pictures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.kinds import Burst, RainRate, RunPerRise
from tunnelsite.settings.kinds import Choice, Flag, Length, Number, Share, Slope, Whole

EARTH, SWALE, RAIN, ANSWER = "Earth", "Swale and spreaders", "Rain", "The answer"
SHORTEST_SPREADER_M = 10 * FOOT_M


@dataclass(frozen=True)
class GradingSettings:
    """Settings of a grading plan. Apron, finished pitch, shrink factor and the error of the heights come with the placement.

    Defaults without a source named where they are used are common practice, no source.
    Errors: UsageError for a curve number, a burst and a 2-year rain that do not go together, and a spreader too short to be one.
    """

    balance: Annotated[
        Literal["pad", "whole", "none"],
        Choice("Balance", "What the cut makes fill for: the pad, pad and side slopes, or nothing.", EARTH),
    ] = "pad"
    deepest_cut_m: Annotated[
        float | None,
        Length("Deepest cut", "The pad is cut no deeper than this anywhere.", EARTH, 0.0, 50.0, without="no limit"),
    ] = None
    cut_slope: Annotated[float, RunPerRise("Cut slope", "Side slopes in cut, run for each unit of rise.", EARTH)] = 3.0
    fill_slope: Annotated[float, RunPerRise("Fill slope", "Side slopes in fill, run for each unit of rise.", EARTH)] = (
        3.0
    )
    topsoil_m: Annotated[
        float, Length("Topsoil", "Depth of topsoil stripped from all disturbed ground.", EARTH, 0.0, 1.0)
    ] = 0.15
    base_m: Annotated[float, Length("Base", "Compacted base over the pad of a container house.", EARTH, 0.0, 1.0)] = 0.0
    base_loose: Annotated[
        float, Number("Loose base", "Loose cubic metres to order for one compacted one of base.", EARTH, 1.0, 2.0)
    ] = 1.0
    crown: Annotated[
        float, Slope("Crown", "Fall from the ridge line to each side, container houses.", EARTH, 0.0, 0.1)
    ] = 0.0
    apron_fall: Annotated[float, Slope("Apron fall", "Fall of the apron away from the house.", EARTH, 0.0, 0.25)] = 0.0
    no_swale: Annotated[bool, Flag("No swale", "Plan without a swale.", SWALE)] = False
    swale_depth_m: Annotated[float, Length("Swale depth", "Least depth of the swale.", SWALE, 0.01, 2.99)] = 0.3
    swale_fall: Annotated[float, Slope("Swale fall", "Least fall of its bottom.", SWALE, 0.0001, 0.199)] = 0.005
    swale_bottom_m: Annotated[float, Length("Swale bottom", "Width of its bottom.", SWALE, 0.0, 10.0)] = 0.6
    swale_side: Annotated[float, RunPerRise("Swale side", "Its side slopes, run for each unit of rise.", SWALE)] = 3.0
    spreader_m: Annotated[
        float,
        Length("Level spreader", "Longest level spreader at the swale's outlets, 0 = none.", SWALE, 0.0, 500.0),
    ] = 100 * FOOT_M
    rain: Annotated[
        float | None,
        RainRate(
            "Rain",
            "Rain intensity over about the time of concentration, as 4in/h or 100mm/h.",
            RAIN,
            without="not assessed",
        ),
    ] = None
    runoff_share: Annotated[float, Share("Runoff share", "Share of that rain which runs off.", RAIN)] = 0.35
    roof_rain: Annotated[
        float | None,
        RainRate("Rain on the roof", "10-year 5-minute rain intensity, for the roof.", RAIN, without="not assessed"),
    ] = None
    curve_number: Annotated[
        float | None,
        Number("Curve number", "Curve number of the land uphill, with --burst and --two-year-rain.", RAIN, 0.01, 100.0,
               without="not used"),
    ] = None  # fmt: skip
    burst: Annotated[
        tuple[float, float] | None,
        Burst("Burst", "One burst of rain, depth and duration, as 1.2in/30min.", RAIN, without="not used"),
    ] = None
    two_year_rain_m: Annotated[
        float | None,
        Length("2-year rain", "2-year 24-hour rain, for the time of concentration.", RAIN, 0.001, 3.0,
               without="not used"),
    ] = None  # fmt: skip
    contours_m: Annotated[
        float | None,
        Length("Contours", "Contour interval.", ANSWER, 0.01, 100.0, without="chosen by the relief"),
    ] = None
    draws: Annotated[
        int, Whole("Draws", "Draws of the heights' error for the intervals of the volumes.", ANSWER, 20, 10_000)
    ] = 200

    def __post_init__(self) -> None:
        if 0 < self.spreader_m < SHORTEST_SPREADER_M:
            raise UsageError(f"spreader is {self.spreader_m:g} m", "10 ft to 500 m, or 0 for none", "correct it")
        if (self.curve_number is None) != (self.burst is None):
            raise UsageError("only one of --curve-number and --burst is given", "both", "add what is missing")
        if self.curve_number is not None and self.two_year_rain_m is None:
            raise UsageError("--curve-number without --two-year-rain", "both, for the time of concentration", "add it")
