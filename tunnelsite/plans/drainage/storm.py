"""Peak flows at a swale's outlets and off the roof for the rain a user gives, and how the channel carries them."""

from __future__ import annotations

from dataclasses import dataclass

from tunnelsite.core.errors import UsageError
from tunnelsite.plans.drainage import runoff
from tunnelsite.plans.drainage.channels import manning_velocity_m_s, normal_depth_m
from tunnelsite.plans.drainage.swale import SwaleArm, SwaleRule

LEAST_SLOPE = 0.001  # of a flow path; level reaches would take for ever


@dataclass(frozen=True)
class Storm:
    """Rain and cover of the place, from the user; what is None is not assessed.

    Attributes:
        coefficient: share of rain that runs off (rational method). intensity_mm_h: rain intensity over about the time of
            concentration; farm diversions: 10-year storm, more where buildings stand below (10-year 24-hour;
            25-year for buildings [@diversion-362]).
        curve_number: of the land uphill. burst_m, burst_s: one burst of rain, its depth [m] and duration [s].
        two_year_rain_m: 2-year 24-hour rain [m]. sheet_roughness: Manning's n of sheet flow.
        roof_mm_h: 10-year 5-minute rain intensity [mm/h] [@roof-558].
    """

    coefficient: float = 0.35
    intensity_mm_h: float | None = None
    curve_number: float | None = None
    burst_m: float | None = None
    burst_s: float | None = None
    two_year_rain_m: float | None = None
    sheet_roughness: float = 0.24
    roof_mm_h: float | None = None

    def __post_init__(self) -> None:
        given = (self.curve_number is None, self.burst_m is None, self.burst_s is None)
        if any(given) and not all(given):
            raise UsageError(
                "only part of curve_number, burst_m and burst_s is given", "all three or none", "add what is missing"
            )
        for name in ("intensity_mm_h", "burst_s", "two_year_rain_m", "sheet_roughness", "roof_mm_h"):
            value = getattr(self, name)
            if value is not None and not 0 < value < 1e6:
                raise UsageError(f"{name} is {value}", "a number above 0", "correct it or leave it out")
        if not 0 <= self.coefficient <= 1:
            raise UsageError(f"runoff coefficient is {self.coefficient}", "0 to 1", "correct it")


@dataclass(frozen=True)
class OutletFlow:
    """Peak flow at one outlet of the swale; None = not assessed.

    Attributes:
        area_m2: land it drains. at_least: whether more may come from beyond the data.
        concentration_s: time of concentration [s]. rational_m3_s, curve_number_m3_s: peaks. peak_m3_s: the larger one.
        depth_m: normal depth at the least fall. velocity_m_s, steep_velocity_m_s: at the least and the steepest fall.
    """

    area_m2: float
    at_least: bool
    concentration_s: float | None = None
    rational_m3_s: float | None = None
    curve_number_m3_s: float | None = None
    peak_m3_s: float | None = None
    depth_m: float | None = None
    velocity_m_s: float | None = None
    steep_velocity_m_s: float | None = None


def outlet_flow(
    arm: SwaleArm, rule: SwaleRule, storm: Storm, drained: tuple[float, bool], way: tuple[float, float]
) -> OutletFlow:
    """Peak flow at an arm's outlet and how the channel carries it.

    Arguments: arm; rule; storm; drained, (area [m2], whether a lower bound); way, (length [m], drop [m]) of the longest path
    over land to the swale.
    Source: TR-55 ch. 3 for times; the channel's own time at its velocity; see `runoff` and `channels`.
    """
    area, at_least = drained
    rational = None
    if storm.intensity_mm_h is not None:
        rational = runoff.rational_peak_m3_s(storm.coefficient, storm.intensity_mm_h, area)
    # The channel's time needs a flow: the rational one, else a metre a second, which is near enough for a short swale.
    speed = _velocity(rule, rational, rule.fall)[1] if rational else 1.0
    time = None
    if storm.two_year_rain_m is not None and way[0] > 0:
        slope = max(way[1] / way[0], LEAST_SLOPE)
        land = runoff.concentration_time_s(way[0], slope, storm.sheet_roughness, storm.two_year_rain_m)
        time = land + float(arm.distance_m[-1]) / speed
    by_number, number = None, storm.curve_number
    if number is not None and storm.burst_m is not None and storm.burst_s is not None and time is not None:
        depth = runoff.runoff_depth_m(storm.burst_m, number)
        by_number = runoff.curve_number_peak_m3_s(depth, area, storm.burst_s, time)
    peaks = [peak for peak in (rational, by_number) if peak is not None]
    if not peaks:
        return OutletFlow(area, at_least, time)
    peak = max(peaks)
    depth, velocity = _velocity(rule, peak, rule.fall)
    _, fast = _velocity(rule, peak, max(arm.steepest, rule.fall))
    return OutletFlow(area, at_least, time, rational, by_number, peak, depth, velocity, fast)


def _velocity(rule: SwaleRule, flow_m3_s: float, slope: float) -> tuple[float, float]:
    """Normal depth [m] and velocity [m/s] in the swale's section."""
    depth = normal_depth_m(rule.section, flow_m3_s, slope, rule.roughness)
    if depth == 0:
        return 0.0, 0.0
    section = rule.section
    return depth, manning_velocity_m_s(section.area_m2(depth), section.wetted_perimeter_m(depth), slope, rule.roughness)
