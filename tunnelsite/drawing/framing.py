"""What a map frames: what something is known of, and what lies near it, so that one far parcel does not shrink all others."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from tunnelsite.core.counting import listed

NEAR = 0.5  # of the longer side of what is known: what lies so near is still on the map (ours)
MOST_NAMED = 3


def framed(shapes: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Which shapes belong on a map, bool [n]: all where nothing is known.

    Arguments: shapes, polygons in one projected system [n]; known, bool [n], whether something is known of them.
    """
    if not known.any():
        return np.ones(len(shapes), bool)
    west, south, east, north = shapely.total_bounds(shapes[known])
    reach = NEAR * max(east - west, north - south)
    found: np.ndarray = known | shapely.intersects(
        shapes, shapely.box(west - reach, south - reach, east + reach, north + reach)
    )
    return found


def outside_words(names: Sequence[str]) -> str:
    """What lies beyond a map, in words; empty where nothing does. Arguments: names, of parcels."""
    if not names:
        return ""
    told = (
        list(names) if len(names) <= MOST_NAMED else [*names[: MOST_NAMED - 1], f"{len(names) - MOST_NAMED + 1:,} more"]
    )
    return f"Beyond this map, of which nothing is known: {listed(told)}."
