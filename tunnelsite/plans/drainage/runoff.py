"""Runoff from small areas: curve number, time of concentration, rational method, roofs.

The formulas are those of USDA TR-55, Urban Hydrology for Small Watersheds (1986) [@tr-55], in US customary units as
printed; arguments and results are SI, converted in plain sight. Checked against the examples TR-55 prints.
"""

from __future__ import annotations

import math

from tunnelsite.core.units import FOOT_M, INCH_M

SHEET_LIMIT_M = 100.0 * FOOT_M  # [@sheet-flow-limit]; TR-55 of 1986 allowed 300 ft
HOUR_S = 3600.0


def retention_m(curve_number: float) -> float:
    """Potential maximum retention S [m] of a curve number, S = 1000 / CN - 10 inches.

    Errors: ValueError for a curve number outside 0 (excluded) to 100. Source: TR-55 eq. 2-4.
    """
    if not 0 < curve_number <= 100:
        raise ValueError(f"curve number is {curve_number}; expected above 0 and up to 100")
    return (1000.0 / curve_number - 10.0) * INCH_M


def runoff_depth_m(rain_m: float, curve_number: float) -> float:
    """Runoff Q [m] of a storm's rain P [m], Q = (P - 0.2 S)^2 / (P + 0.8 S), 0 up to P = 0.2 S.

    Errors: ValueError for negative rain or a curve number out of range. Source: TR-55 eq. 2-3 (with Ia = 0.2 S, eq. 2-2).
    """
    if not (rain_m >= 0 and math.isfinite(rain_m)):
        raise ValueError(f"rain is {rain_m} m; expected 0 or more")
    retained = retention_m(curve_number)
    over = rain_m - 0.2 * retained
    return over**2 / (rain_m + 0.8 * retained) if over > 0 else 0.0


def sheet_flow_time_s(length_m: float, slope: float, roughness: float, two_year_rain_m: float) -> float:
    """Travel time of sheet flow [s], T = 0.007 (n L)^0.8 / (P2^0.5 s^0.4) hours, L in feet, P2 in inches.

    Arguments: length_m; slope [fraction]; roughness, Manning's n of sheet flow (short grass 0.15, dense grass 0.24, woods
    0.40-0.80: TR-55 table 3-1); two_year_rain_m, 2-year 24-hour rain [m].
    Errors: ValueError for amounts that are not positive. Source: TR-55 eq. 3-3; keep length to `SHEET_LIMIT_M`.
    """
    _positive(length_m=length_m, slope=slope, roughness=roughness, two_year_rain_m=two_year_rain_m)
    feet, inches = length_m / FOOT_M, two_year_rain_m / INCH_M
    return 0.007 * math.pow(roughness * feet, 0.8) / (math.sqrt(inches) * math.pow(slope, 0.4)) * HOUR_S


def shallow_flow_velocity_m_s(slope: float, *, paved: bool = False) -> float:
    """Velocity [m/s] of shallow concentrated flow, V = 16.1345 s^0.5 ft/s unpaved, 20.3282 s^0.5 paved.

    Errors: ValueError for a slope that is not positive. Source: TR-55 figure 3-1 and appendix F.
    """
    _positive(slope=slope)
    return (20.3282 if paved else 16.1345) * math.sqrt(slope) * FOOT_M


def shallow_flow_time_s(length_m: float, slope: float, *, paved: bool = False) -> float:
    """Travel time [s] of shallow concentrated flow over a length [m]. Source: TR-55 eq. 3-1 and figure 3-1."""
    _positive(length_m=length_m)
    return length_m / shallow_flow_velocity_m_s(slope, paved=paved)


def concentration_time_s(length_m: float, slope: float, roughness: float, two_year_rain_m: float) -> float:
    """Time of concentration [s] of a flow path without a channel: sheet flow first, then shallow concentrated flow.

    Arguments: as `sheet_flow_time_s`; the whole path's length and mean slope stand for both parts.
    Source: TR-55 eq. 3-2, T = sum of travel times. Channels, where there are any, are added by the caller.
    """
    sheet = min(length_m, SHEET_LIMIT_M)
    time = sheet_flow_time_s(sheet, slope, roughness, two_year_rain_m)
    return time + (shallow_flow_time_s(length_m - sheet, slope) if length_m > sheet else 0.0)


def rational_peak_m3_s(coefficient: float, intensity_mm_h: float, area_m2: float) -> float:
    """Peak flow [m3/s] of the rational method, Q = C i A.

    Arguments: coefficient, share that runs off 0..1; intensity_mm_h, mean rain intensity over the time of concentration
    [mm/h]; area_m2 [m2].
    Errors: ValueError out of range. Source: [@rational-method]. In cfs, in/h and acres the exact factor is 1.0083,
    which texts drop: this keeps it, and so stands 0.83 % above them.
    """
    if not (0 <= coefficient <= 1 and intensity_mm_h >= 0 and area_m2 >= 0):
        raise ValueError(
            f"coefficient {coefficient}, intensity {intensity_mm_h} mm/h, area {area_m2} m2; expected C 0..1, none negative"
        )
    return coefficient * intensity_mm_h / 1000.0 / HOUR_S * area_m2


def curve_number_peak_m3_s(runoff_m: float, area_m2: float, storm_s: float, concentration_s: float) -> float:
    """Peak flow [m3/s] of one burst of rain by the triangular unit hydrograph, q = 0.75 Q A / Tp.

    Arguments: runoff_m, depth that runs off in the burst [m]; area_m2 [m2]; storm_s, duration of the burst [s];
    concentration_s [s].
    Errors: ValueError for times that are not positive.
    Source: NEH 630 ch. 16 [@unit-hydrograph]: Tp = D / 2 + 0.6 Tc and q = 484 A Q / Tp in cfs, square miles, inches and hours, of
    which 484 is 645.33 x 0.75. One burst no longer than about Tc; a day's rain in one burst gives far too little.
    """
    _positive(storm_s=storm_s, concentration_s=concentration_s)
    if not (runoff_m >= 0 and area_m2 >= 0):
        raise ValueError(f"runoff {runoff_m} m from {area_m2} m2; expected none negative")
    return 0.75 * runoff_m * area_m2 / (0.5 * storm_s + 0.6 * concentration_s)


def roof_peak_m3_s(plan_area_m2: float, intensity_mm_h: float) -> float:
    """Peak flow [m3/s] off a roof for a 5-minute intensity [mm/h]: C = 1.

    Source: [@roof-558]: design for the 10-year 5-minute rain, which the user supplies for the place.
    """
    return rational_peak_m3_s(1.0, intensity_mm_h, plan_area_m2)


def _positive(**amounts: float) -> None:
    for name, value in amounts.items():
        if not (value > 0 and math.isfinite(value)):
            raise ValueError(f"{name} is {value}; expected a number above 0")
