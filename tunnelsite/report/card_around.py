"""What lies round a candidate, in words: water and its head, the way in, room at the door, the next house, snow drifts.

The head of water: [@head-of-water]. How far a drift reaches: [@drift-tabler], [@windbreak-nrcs].
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tunnelsite.core import amounts
from tunnelsite.core.units import FOOT_M
from tunnelsite.scan.free_ground import FREE_M, TURN_M
from tunnelsite.scan.lee import DRIFT_HEIGHTS

PSI_M = 0.703  # height of water that is a pressure of 1 psi
KPA_PER_PSI = 6.895
LEVEL_M = 0.15  # about the error of a height difference in lidar, 0.1 m times the root of 2
WINDWARD_M = 100 * FOOT_M  # least distance from the windward row in snow country

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Around:
    """One line: key, that of the checklist line which it answers; title; words."""

    key: str
    title: str
    words: str


def around(row: Row, *, feet: bool, short: bool = False) -> list[Around]:
    """What is known of the surroundings of a candidate.

    Arguments: row, its columns; feet, whether the user works in feet; short, without the room beside a house that fits.
    """
    found = (
        Around("water", "Water source", _head(row, feet)),
        Around("way_in", "Way in", _way_in(row, feet)),
        Around("turning", "To turn", _door(row, feet)),
        Around("next_house", "Next house", _next(row, feet, short)),
        Around("drift", "Snow drifts", _drift(row, feet)),
    )
    return [one for one in found if one.words]


def _head(row: Row, feet: bool) -> str:
    head = row.get("water_head_m")
    if head is None:
        return ""
    if abs(head) < LEVEL_M:
        return "about as high as the house"
    high = amounts.away(abs(head), feet=feet)
    if head < 0:
        return f"{high} lower than the house: pump it"
    psi = head / PSI_M
    pressure = (
        f"{psi:.1f} psi ({psi * KPA_PER_PSI:.0f} kPa)" if feet else f"{psi * KPA_PER_PSI:.0f} kPa ({psi:.1f} psi)"
    )
    return f"{high} higher than the house: {pressure}, less what the pipe takes"


def _way_in(row: Row, feet: bool) -> str:
    long, mean, steepest = (row.get(f"way_in_{name}") for name in ("m", "pct", "steepest_pct"))
    if long is None:
        return ""
    words = f"{amounts.away(long, feet=feet)} straight from the road"
    if mean is None or steepest is None:
        return words + ", slope not known"
    run = "33 ft (10 m)" if feet else "10 m (33 ft)"
    return f"{words}; {'climbs' if mean > 0 else 'falls'} {abs(mean):.1f} %, at most {steepest:.1f} % over {run}"


def _door(row: Row, feet: bool) -> str:
    room = row.get("door_room_m")
    if room is None:
        return ""
    end = "the roomier end" if row.get("way_in_m") is None else "the nearer end"
    return f"{amounts.away(room, feet=feet)}{' or more' if room >= TURN_M - 0.05 else ''} free before {end}"


def _next(row: Row, feet: bool, short: bool) -> str:
    where, beside, end = (row.get(name) for name in ("next_house", "beside_free_m", "end_free_m"))
    if where is None or beside is None or end is None:
        return ""
    fits = (
        "no room for one of this size"
        if where == "none"
        else f"one of this size fits {where.replace('beside', 'beside it')}"
    )
    if short and where != "none":
        return fits
    return f"{fits}; free ground {_free(beside, feet)} to the side, {_free(end, feet)} beyond the end"


def _free(room_m: float, feet: bool) -> str:
    return amounts.away(room_m, feet=feet) + (" or more" if room_m >= FREE_M - 0.05 else "")


def _drift(row: Row, feet: bool) -> str:
    away, heights = row.get("upwind_m"), row.get("upwind_heights")
    if heights is None:
        return ""
    if away is None:
        return f"nothing upwind within {DRIFT_HEIGHTS:.0f} times its own height"
    words = (
        f"trees or buildings {amounts.away(away, feet=feet)} upwind, {heights:.0f} times their height; a full drift can reach "
        f"{DRIFT_HEIGHTS:.0f} times"
    )
    least = amounts.away(WINDWARD_M, feet=feet)
    return words + (f". In snow country keep at least {least} away" if away < WINDWARD_M else "")
