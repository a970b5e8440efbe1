"""Columns of a candidate as people read them: what each is, and its value in the reader's own units."""

from __future__ import annotations

from tunnelsite.core import amounts
from tunnelsite.core.units import MONTHS
from tunnelsite.screening.candidate_rows import CANDIDATE_COLUMNS

LABELS = {
    "pitch_along_pct": "slope along the ridge",
    "pitch_across_pct": "slope across the ridge",
    "pitch_se_pct": "standard error of the slope",
    "cut_m3": "earth to cut",
    "fill_m3": "earth to fill",
    "max_cut_m": "deepest cut",
    "max_fill_m": "highest fill",
    "upslope_m2": "land that feeds the largest run of water",
    "ponding_m": "standing water",
    "beam_share": "sun of the crop months",
    "beam_share_worst": "sun of the darkest month",
    "worst_month": "darkest crop month",
    "noon_clear_dec": "noon sun in midwinter",
    "drainage_height_m": "height above drainage",
    "drainage_distance_m": "distance from drainage",
    "flow_beside_m2": "land that drains past it",
    "room_m": "room to shift",
    "assessed_pct": "weight assessed",
    "wind_shelter": "shelter from the wind",
    "topographic_factor": "wind pressure, times that of open ground",
    "cold_pool_m": "depth of the cold-air pool",
    "valley_depth_m": "against the land round it",
    "night_lux": "night light",
    "clearance_m": "nearest structure",
    "water_head_m": "water source, against the floor",
    "way_in_m": "way in, straight",
    "way_in_pct": "slope of the way in",
    "way_in_steepest_pct": "its steepest stretch",
    "door_room_m": "room to turn",
    "beside_free_m": "free ground beside",
    "end_free_m": "free ground at the end",
    "upwind_m": "what stands upwind",
    "upwind_heights": "the same in its own heights",
}
BOTH_WAYS = {"valley_depth_m": ("lower", "higher"), "water_head_m": ("higher", "lower")}  # above 0, below 0
NONE_UPWIND = 29.95  # heights: the measure ends at 30
SUFFIXES = {"_m": "m", "_m2": "m2", "_m3": "m3", "_pct": "%", "_lux": "lx"}


def label(name: str) -> str:
    """What a column is."""
    if name.startswith("reach_"):
        return f"distance to {name.removeprefix('reach_').removesuffix('_m')}"
    return LABELS.get(name, _bare(name).replace("_", " "))


def words(name: str, value: float | None, *, feet: bool) -> str:
    """A value of a column. Arguments: name; value, None = not assessed; feet, whether they come first."""
    if value is None:
        return "-"
    if name == "worst_month":
        return MONTHS[int(value) - 1].capitalize()
    if name in BOTH_WAYS:
        return f"{amounts.measured(abs(value), 'm', feet=feet)} {BOTH_WAYS[name][value < 0]}"
    if name == "upwind_heights" and value >= NONE_UPWIND:
        return "none near"
    known = CANDIDATE_COLUMNS.get(name)
    unit = known.unit if known is not None else next((SUFFIXES[end] for end in SUFFIXES if name.endswith(end)), None)
    return amounts.measured(value, unit, feet=feet)


def _bare(name: str) -> str:
    return next((name.removesuffix(end) for end in SUFFIXES if name.endswith(end)), name)
