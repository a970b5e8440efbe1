"""Where everything comes from that a criterion or process may declare it needs (`core.needs`): one provider a name, for all alike."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from tunnelsite.core.criterion import Criterion
from tunnelsite.core.house import Pad
from tunnelsite.core.layers import Features, Layer
from tunnelsite.core.needs import LAYERS as SPECS
from tunnelsite.core.rubric import Rubric
from tunnelsite.core.site import Frame, Site
from tunnelsite.scan.far_ground import far_ground
from tunnelsite.scan.frame_facts import FRAME_FACTS
from tunnelsite.scan.soils import has_groups
from tunnelsite.scan.surface import outline_edges
from tunnelsite.scan.water_from_beyond import beyond_layers
from tunnelsite.screening.crop_sun import sun_table
from tunnelsite.settings.model import Settings

PARCEL_MARGIN_M = 10.0  # of land beyond the parcels; nothing that describes a candidate looks farther

Run = tuple[Site, Frame, Settings]


def _some(features: Features | None) -> bool:
    return features is not None and len(features) > 0


# By name, whether a condition is met. `asked` depends on the criterion, see `unmet`.
CONDITIONS: dict[str, Callable[[Site, Settings], bool]] = {
    "asked": lambda site, settings: False,
    "bearings": lambda site, settings: len(settings.bearings) > 1,
    "wind": lambda site, settings: site.wind is not None,
    "standing": lambda site, settings: site.surface is not None or _some(site.obstacles),
    "soils": lambda site, settings: _some(site.soils),
    "soil_groups": lambda site, settings: has_groups(site.soils),
    "lamps": lambda site, settings: _some(site.lamps),
    "obstacles": lambda site, settings: _some(site.obstacles),
    "structures": lambda site, settings: _some(site.structures),
}
NAMED: dict[str, Callable[[Site, str], bool]] = {
    "service": lambda site, name: _some(site.services.get(name)),
    "layer": lambda site, name: name in site.own_rasters or _some(site.own_features.get(name)),
}

# By name, the facts that site and settings tell, None = not known; each frame supplies the others.
SETTING_FACTS: dict[str, Callable[[Site, Settings], Any]] = {
    "crop_months": lambda site, settings: settings.crop_months,
    "winds": lambda site, settings: None if site.wind is None else site.wind.text(),
    "azimuths": lambda site, settings: settings.azimuths,
    "light_height_m": lambda site, settings: settings.light_height_m,
    "shrink": lambda site, settings: settings.shrink,
    "wanted_deg": lambda site, settings: settings.bearing_deg,
    "engine": lambda site, settings: settings.engine,
}
FACTS: Mapping[str, Callable[..., Any]] = {**FRAME_FACTS, **SETTING_FACTS}

# By name, how a setting moves the limit of a rubric.
LIMITS: dict[str, Callable[[Settings, float | None], float | None]] = {
    "standing_limit": lambda settings, limit: settings.standing_limit_m,
    "keep_water_like": lambda settings, limit: None if settings.keep_water_like else limit,
}


def _sun(site: Site, frame: Frame, settings: Settings) -> dict[str, Layer]:
    return {"sun": Layer(sun_table(site, frame, settings), SPECS["sun"].unit, "sun of the crop months")}


def _outlines(site: Site, frame: Frame, settings: Settings) -> dict[str, Layer]:
    spec = SPECS["outlines"]
    return {"outlines": Layer(outline_edges(frame), spec.unit, spec.title)}


def _far_ground(site: Site, frame: Frame, settings: Settings) -> dict[str, Layer]:
    if site.far_dem is None:
        return {}
    far = far_ground(site.far_dem, frame, settings.far_reach_m)
    frame.notes += [note for note in far.notes if note not in frame.notes]
    cell = far.grid.cell_m
    return {"far_ground": Layer(far.heights, "m", "far ground", (cell, cell), far.corner_m(frame.grid))}


def _windows(site: Site, frame: Frame, settings: Settings) -> dict[str, Layer]:
    """Each parcel and as much land round it as `loose_run.cropped` keeps."""
    if not site.parcels_alone:
        return {}
    spec, longest = SPECS["windows"], max(Pad.around(one, settings.apron_m).length_m for one in settings.houses)
    boxes = [frame.cells_round(one, PARCEL_MARGIN_M + longest) for one in frame.parcels]
    found = np.array([[rows.start, rows.stop, cols.start, cols.stop] for rows, cols in boxes], np.float64)
    found = found[(found[:, 0] < found[:, 1]) & (found[:, 2] < found[:, 3])]  # a parcel may lie off the elevation model
    return {"windows": Layer(found, spec.unit, spec.title)} if len(found) else {}


def _water_beyond(site: Site, frame: Frame, settings: Settings) -> dict[str, Layer]:
    return {} if site.drained is None else beyond_layers(site.drained(), frame)


# By name, what makes a layer that no process makes; those that one call makes share it.
LAYERS: dict[str, Callable[[Site, Frame, Settings], dict[str, Layer]]] = {
    "sun": _sun,
    "outlines": _outlines,
    "windows": _windows,
    "far_ground": _far_ground,
    "upslope_beyond_m2": _water_beyond,
    "open_beyond": _water_beyond,
    "filled_edge": _water_beyond,
}


def is_met(need: str, site: Site, settings: Settings) -> bool:
    """Whether a condition is met, and the input that it asks for holds something."""
    kind, colon, name = need.partition(":")
    return NAMED[kind](site, name) if colon else CONDITIONS[need](site, settings)


def unmet(criterion: Criterion, site: Site, settings: Settings) -> list[str]:
    """The conditions of a criterion that are not met."""
    asked = settings.weight.get(criterion.id, 0) > 0 or criterion.id in settings.rubric
    return [need for need in criterion.needs if not (need == "asked" and asked) and not is_met(need, site, settings)]


def unknown_facts(names: Collection[str], site: Site, settings: Settings) -> list[str]:
    """Which of these names are facts that nothing tells in this run."""
    return [name for name, tell in SETTING_FACTS.items() if name in names and tell(site, settings) is None]


def setting_facts(names: Collection[str], site: Site, settings: Settings) -> dict[str, Any]:
    """The facts among these names that site and settings tell."""
    told = {name: tell(site, settings) for name, tell in SETTING_FACTS.items() if name in names}
    return {name: value for name, value in told.items() if value is not None}


def given_layers(names: Collection[str], site: Site, frame: Frame, settings: Settings) -> dict[str, Layer]:
    """The layers among these names that no process makes, as far as the run has them."""
    found: dict[str, Layer] = {}
    for make in dict.fromkeys(LAYERS[name] for name in LAYERS if name in names):
        found |= make(site, frame, settings)
    return found


def limited(criterion: Criterion, rubric: Rubric, settings: Settings) -> Rubric:
    """A rubric with the limit that a setting gives it."""
    if not criterion.limit_by:
        return rubric
    return replace(rubric, limit=LIMITS[criterion.limit_by](settings, rubric.limit))
