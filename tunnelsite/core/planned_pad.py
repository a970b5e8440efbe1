"""The finished pad of a grading plan as it is handed on to the stake-out."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PlannedPad:
    """What a grading plan says of its pad.

    Attributes:
        lon, lat: of its centre (WGS 84). pad_m2: its area.
        level_m: finished height at the centre [m]. slope_along, slope_across: of its plane. crown, apron_fall: what falls off
            that plane, as in `plans.grading.earth_rule` [fractions]. base_m: laid over the subgrade [m].
        pad_cut_m3, pad_fill_m3, max_cut_m, max_fill_m: its earthwork. name: of the file.
    """

    lon: float
    lat: float
    pad_m2: float
    level_m: float
    slope_along: float
    slope_across: float
    crown: float
    apron_fall: float
    base_m: float
    pad_cut_m3: float
    pad_fill_m3: float
    max_cut_m: float
    max_fill_m: float
    name: str
