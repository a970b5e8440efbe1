"""What differs between two answers: settings, and where the options went."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pyproj

from tunnelsite.desk.measures import Units
from tunnelsite.desk.runs import differences

SAME_PLACE_M = 15.0  # about half a usual house: nearer than this it is the same choice


def compared(answers: Sequence[dict[str, Any]], settings: Sequence[dict[str, Any]], units: Units) -> dict[str, Any]:
    """The messages of two answers side by side. Arguments: answers and settings, the first and the second; units of the words."""
    first, second = (answer["options"] for answer in answers)
    changes = differences(settings[0], settings[1])
    moved = [_nearest(one, second, units) for one in first]
    words = [f"{one['name']}: {one['a']} -> {one['b']}" for one in changes]
    words.append(_counts(first, second))
    words += [one["words"] for one in moved[:3]]
    return {"words": words, "settings": changes, "moved": moved}


def _counts(first: Sequence[dict[str, Any]], second: Sequence[dict[str, Any]]) -> str:
    def best(options: Sequence[dict[str, Any]]) -> str:
        return f"{len(options)} options" + (f", best {options[0]['score']:.1f}" if options else "")

    return f"before: {best(first)}; after: {best(second)}"


def _nearest(one: dict[str, Any], others: Sequence[dict[str, Any]], units: Units) -> dict[str, Any]:
    """Where an option is in the other list: the nearest of it, if that is the same place."""
    geod = pyproj.Geod(ellps="WGS84")
    place = one["place"]
    away = [geod.inv(place["lon"], place["lat"], other["place"]["lon"], other["place"]["lat"])[2] for other in others]
    if not away or min(away) > SAME_PLACE_M:
        return {
            "a_rank": one["rank"],
            "b_rank": None,
            "moved_m": None,
            "words": f"option {one['rank']} is no longer in the list",
        }
    other = others[away.index(min(away))]
    told = "stays" if other["rank"] == one["rank"] else f"is now option {other['rank']}"
    shift = f", {units.away(min(away))} from where it was" if min(away) > 0.5 else ""
    score = f" ({one['score']:.1f} -> {other['score']:.1f})"
    return {
        "a_rank": one["rank"],
        "b_rank": other["rank"],
        "moved_m": min(away),
        "words": f"option {one['rank']} {told}{shift}{score}",
    }
