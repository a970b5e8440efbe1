"""What lies round each candidate: height of the water source, the way in, room at the door and for the next house, lee."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.table import REAL, TEXT, Heading
from tunnelsite.scan import refine
from tunnelsite.scan.free_ground import Land, door_rooms_m, next_houses
from tunnelsite.scan.lee import Wind, lee
from tunnelsite.scan.open_ground import bars, inset
from tunnelsite.scan.way_in import water_head_m, way_in
from tunnelsite.screening.providers import is_met

if TYPE_CHECKING:
    from tunnelsite.scan.engine import Scan
    from tunnelsite.screening.result import Result

SURROUNDINGS_COLUMNS: Mapping[str, Heading] = {
    "water_head_m": Heading(
        REAL, "ground at the nearest water source above the mean ground of the house, + = water runs to it by itself", "m"
    ),
    "way_in_m": Heading(REAL, "straight distance from the nearest road to the middle of the nearer end", "m"),
    "way_in_pct": Heading(REAL, "mean slope of that straight line, + climbs to the house", "%"),
    "way_in_steepest_pct": Heading(REAL, "slope of its steepest 10 m, up or down", "%"),
    "door_room_m": Heading(
        REAL, "free ground before that end (without a road: the roomier one), as wide as the house, up to 30 m", "m"
    ),
    "next_house": Heading(TEXT, "where a second pad of this size fits, parallel: beside, end to end, none; slope not looked at"),
    "beside_free_m": Heading(REAL, "free ground from the wall to the wider side, along the whole pad, up to 100 m", "m"),
    "end_free_m": Heading(REAL, "free ground from the longer end, across the whole pad, up to 100 m", "m"),
    "upwind_m": Heading(REAL, "distance along the main wind to what stands upwind, where that is within 30 of its own heights", "m"),
    "upwind_heights": Heading(REAL, "the same in its own heights; 30 where nothing is nearer in the data", "heights"),
}  # fmt: skip


def surroundings(
    result: Result, scan: Scan, items: np.ndarray, ground_m: np.ndarray
) -> list[dict[str, float | str | None]]:
    """The columns of `SURROUNDINGS_COLUMNS` for placements of one scan; None = not known.

    Arguments: result, for its settings and inputs; scan; items, int64 [n]; ground_m, float64 [n], mean ground of the footprints.
    """
    settings, frame = result.settings, scan.frame
    pad_bars = bars(frame, settings.clearance_m)
    bare_bars = [replace(bar, distance_m=0.0) for bar in pad_bars]
    tall_m, wind = settings.standing_limit_m, _wind(result, scan)
    centres = np.column_stack(refine.centres(scan, items))
    houses = refine.rectangles(scan, items, scan.house)
    ways = [way_in(frame, house) for house in houses]
    parcels, of = np.unique(scan.owner[items], return_inverse=True)
    whole = np.array([frame.parcels[owner] for owner in parcels.tolist()], object)
    bare, open_land = (
        Land(frame, area[of], barred, tall_m)
        for area, barred in ((whole, bare_bars), (inset(whole, settings.setback_m), pad_bars))
    )
    doors_m = door_rooms_m(bare, centres, scan.house, [None if way is None else way.east_end for way in ways])
    rooms = next_houses(open_land, centres, (scan.house, scan.pad), settings.clearance_m)
    found = []
    for k, (way, room) in enumerate(zip(ways, rooms, strict=True)):
        row: dict[str, float | str | None] = {
            "water_head_m": water_head_m(frame, houses[k], float(ground_m[k]) - frame.datum_m),
            "door_room_m": float(doors_m[k]),
        }
        if way is not None:
            row |= {"way_in_m": way.length_m, "way_in_pct": way.mean_pct, "way_in_steepest_pct": way.steepest_pct}
        row |= {"next_house": room.words, "beside_free_m": room.beside_m, "end_free_m": room.end_m}
        if wind is not None:
            away = lee(frame, scan.house, (float(centres[k, 0]), float(centres[k, 1])), wind)
            row |= {"upwind_m": away.away_m, "upwind_heights": away.heights}
        found.append({name: _known(row.get(name)) for name in SURROUNDINGS_COLUMNS})
    return found


def _wind(result: Result, scan: Scan) -> Wind | None:
    """The wind that blows most; None where no wind, or nothing that stands, was given."""
    rose, layers = result.site.wind, (scan.frame.whole or scan.frame).layers
    if rose is None or not is_met("standing", result.site, result.settings) or "standing_m" not in layers:
        return None
    return Wind(rose.main_deg, float(np.nanmax(layers["standing_m"], initial=0.0)))


def _known(value: float | str | None) -> float | str | None:
    return None if isinstance(value, float) and not np.isfinite(value) else value
