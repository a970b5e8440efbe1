"""Flow in a small open channel: cross section, Manning's velocity, normal depth."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import optimize

from tunnelsite.core.units import FOOT_M

VELOCITY_LIMIT_M_S = 5.0 * FOOT_M  # of a grassed waterway [@waterway-velocity]
MATTING_ABOVE_M_S = 3.0 * FOOT_M  # erosion matting above it [@waterway-velocity]
_DEEPEST_M = 50.0


@dataclass(frozen=True)
class Section:
    """A trapezoid: flat bottom [m] (0 = V-shaped) and side slopes as run per rise."""

    bottom_m: float
    run_per_rise: float

    def __post_init__(self) -> None:
        if not (0 <= self.bottom_m < 100 and 0 <= self.run_per_rise < 100 and self.bottom_m + self.run_per_rise > 0):
            raise ValueError(
                f"bottom {self.bottom_m} m and side slopes {self.run_per_rise}:1; expected 0 or more and not both 0"
            )

    def area_m2(self, depth_m: float) -> float:
        """Flow area [m2] at a depth [m]."""
        return depth_m * (self.bottom_m + self.run_per_rise * depth_m)

    def wetted_perimeter_m(self, depth_m: float) -> float:
        """Wetted perimeter [m] at a depth [m]."""
        return self.bottom_m + 2.0 * depth_m * math.hypot(1.0, self.run_per_rise)


def manning_velocity_m_s(area_m2: float, wetted_perimeter_m: float, slope: float, roughness: float) -> float:
    """Mean velocity [m/s] of uniform flow, V = R^(2/3) s^(1/2) / n.

    Arguments: area_m2; wetted_perimeter_m; slope [fraction]; roughness, Manning's n.
    Errors: ValueError for amounts that are not positive (slope may be 0).
    Source: TR-55 (1986) eq. 3-4 writes 1.49 in US units; the SI form has 1 exactly (1.49 rounds 1.4859, 0.3 % more).
    """
    if not (area_m2 > 0 and wetted_perimeter_m > 0 and slope >= 0 and roughness > 0):
        raise ValueError(
            f"area {area_m2} m2, wetted perimeter {wetted_perimeter_m} m, slope {slope}, n {roughness}; expected above 0"
        )
    return math.pow(area_m2 / wetted_perimeter_m, 2.0 / 3.0) * math.sqrt(slope) / roughness


def normal_depth_m(section: Section, flow_m3_s: float, slope: float, roughness: float) -> float:
    """Depth [m] at which a channel carries a flow uniformly; 0 for no flow.

    Arguments: section; flow_m3_s [m3/s]; slope [fraction], above 0; roughness, Manning's n.
    Errors: ValueError for a slope or flow out of range, or a flow no such channel can carry.
    Source: Manning's equation, solved by bracketing (the carried flow rises with depth).
    """
    if not (flow_m3_s >= 0 and slope > 0 and roughness > 0):
        raise ValueError(f"flow {flow_m3_s} m3/s, slope {slope}, n {roughness}; expected a flow and a slope above 0")
    if flow_m3_s == 0:
        return 0.0

    def missing(depth_m: float) -> float:
        area = section.area_m2(depth_m)
        return area * manning_velocity_m_s(area, section.wetted_perimeter_m(depth_m), slope, roughness) - flow_m3_s

    if missing(_DEEPEST_M) < 0:
        raise ValueError(f"{flow_m3_s} m3/s do not fit a channel {_DEEPEST_M} m deep; check the flow")
    return float(optimize.brentq(missing, 1e-9, _DEEPEST_M, xtol=1e-9))
