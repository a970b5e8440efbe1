"""What criteria and processes may declare that they need, by name: the one list. A run gives it to whatever declares it.

Three kinds. A *condition* is listed in a criterion's `needs`: without that input it is left out of a run. A *fact* is a parameter with
the name and unit that stand here (`supplied`): a run sets it where the user did not. A *layer* is one that no process makes: whatever
reads it (`LAYERS[...]` among its `reads`) is given it. `screening.providers` says where each comes from.
"""

from __future__ import annotations

import math
from dataclasses import replace

from tunnelsite.core.describe import LayerSpec, Parameter, nearest
from tunnelsite.core.errors import UsageError

# Name of a condition, and the note on a run in which it is not met.
CONDITIONS = {
    "asked": "it has no weight and no rubric in the project",
    "bearings": "one bearing only is tried",
    "wind": "no wind direction or weather file was given",
    "standing": "no surface model, trees or buildings were given",
    "soils": "no soil map was given",
    "soil_groups": "no soil map with hydrologic groups was given",
    "lamps": "no lamps were given",
    "obstacles": "no obstacles were given",
    "structures": "no structures were given",
}
NAMED_CONDITIONS = ("service", "layer")  # of one file among several: `service:water`, `layer:soil_ph`

_FACTS = (
    Parameter(
        "bearing_deg",
        "true bearing of the raster's rows, west to east",
        90.0,
        "deg",
        -360.0,
        360.0,
        was="north_deg",
        now="bearing_deg = north_deg + 90",
    ),
    Parameter("latitude_deg", "latitude", math.nan, "deg", -90.0, 90.0),
    Parameter("longitude_deg", "longitude", math.nan, "deg", -180.0, 180.0),
    Parameter("datum_m", "height above the sea from which the heights of the layers count", 0.0, "m"),
    Parameter(
        "height_step_m",
        "step that the heights were rounded to, 0 = none",
        0.0,
        "m",
        0.0,
        1000.0,
        was="step_m",
        now="height_step_m",
    ),
    Parameter("elevation_error_m", "standard error of the heights", 0.1, "m", 0.0, 50.0),
    Parameter("error_range_m", "distance over which these errors are alike", 5.0, "m", 0.0, 10_000.0),
    Parameter("crs_wkt", "coordinate system of the grid before it is turned to the bearing, as WKT", ""),
    Parameter("west_m", "where the raster's outer first corner lies along the bearing", 0.0, "m"),
    Parameter("north_m", "where the raster's outer first corner lies across the bearing", 0.0, "m"),
    Parameter("crop_months", "part of the year with crops, as 10-01:04-30", "01-01:12-31"),
    Parameter("winds", "where wind comes from, true directions and their shares", "270"),
    Parameter("azimuths", "directions of the horizon", 36, "", 8, 720),
    Parameter("light_height_m", "height above the ground at which light is judged", 1.0, "m", 0.0, 30.0),
    Parameter("shrink", "cut needed for each m3 of compacted fill", 1.0, "m3/m3", 1.0, 2.0),
    Parameter("wanted_deg", "wanted bearing of the ridge", 90.0, "deg", -360.0, 360.0),
    Parameter("engine", "what computes it", "built-in", choices=("built-in", "richdem")),
)
FACTS = {fact.id: fact for fact in _FACTS}

_LAYERS = (
    LayerSpec(
        "sun",
        "deg, deg, Wh/m2, 1, 1",
        "azimuth, elevation, beam energy, month it counts for, share passed by each kind of crown; a row a step",
    ),
    LayerSpec(
        "outlines",
        "1, 1, 1, 1, m, m, 1",
        "row and column of both ends of each edge of what stands (whole numbers are cell centres), its top at either, "
        "kind of crown (0 solid)",
        optional=True,
    ),
    LayerSpec(
        "windows",
        "1, 1, 1, 1",
        "first row, row past the last, first column, column past the last of each window of cells that are wanted; all where none is given",
        optional=True,
    ),
    LayerSpec("far_ground", "m", "coarser heights of land round the raster, no data where it knows", optional=True),
    LayerSpec(
        "upslope_beyond_m2",
        "m2",
        "contributing area, from a drainage of more land, of the cells that water from beyond the raster runs through; no data elsewhere",
        optional=True,
    ),
    LayerSpec("open_beyond", "1", "1 where even that drainage knows only a lower bound", optional=True),
    LayerSpec("filled_edge", "m", "water level at the raster's edge in hollows that go on beyond it", optional=True),
)
LAYERS = {spec.id: spec for spec in _LAYERS}

# Settings that move the limit of a criterion which names them as `limit_by`.
LIMITS = {
    "standing_limit": "height above which something stands on the pad",
    "keep_water_like": "whether ground that looks like open water, or may be a river's bed, may hold a house",
}


def supplied(name: str, default: float | int | str | None = None) -> Parameter:
    """The parameter by which a tool declares that it needs a fact of the site.

    Arguments: name, of a fact; default, where nothing tells it, None = the usual one. Errors: UsageError for a name that is no fact.
    """
    if name not in FACTS:
        raise UsageError(f"{name!r} is needed, which no run tells", ", ".join(FACTS), nearest(name, FACTS))
    return FACTS[name] if default is None else replace(FACTS[name], default=default)


def is_condition(need: object) -> bool:
    """Whether a criterion may need this."""
    if not isinstance(need, str):
        return False
    kind, colon, name = need.partition(":")
    return need in CONDITIONS or bool(colon and name and kind in NAMED_CONDITIONS)


def unmet_words(need: str) -> str:
    """Why a criterion that needs this was not assessed."""
    kind, colon, name = need.partition(":")
    if not colon:
        return CONDITIONS[need]
    return f"no {name} was given" if kind == "service" else f"no layer {name} was given: --layer {name}=FILE"


def fact_faults(parameter: Parameter) -> list[str]:
    """What is wrong with a parameter that bears the name of a fact but could not take it; empty = nothing."""
    fact = FACTS.get(parameter.id)
    if fact is None:
        return []
    same = type(parameter.default) is type(fact.default) and parameter.unit == fact.unit
    if same and parameter.choices in ((), fact.choices):
        return []
    kind = f"{type(fact.default).__name__} [{fact.unit or '-'}]"
    return [
        f"its parameter {parameter.id} bears the name of what a run tells ({fact.title}, {kind}): give it another name, or `supplied`"
    ]
