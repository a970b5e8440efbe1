"""What differs between two answers: settings, and where the options went."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyproj
import shapely.geometry

from tunnelsite.decisions.compare import Pair, paired
from tunnelsite.desk.measures import Units
from tunnelsite.desk.runs import change_words, differences
from tunnelsite.report.plain_words import house_words

TOLD = 3  # options in words
STAYS_M, TURNED_DEG = 0.5, 0.5  # less is no move and no turn that anyone would see


def compared(answers: Sequence[dict[str, Any]], settings: Sequence[dict[str, Any]], units: Units) -> dict[str, Any]:
    """The messages of two answers side by side. Arguments: answers and settings, the first and the second; units of the words."""
    first, second = (answer["options"] for answer in answers)
    changes = differences(settings[0], settings[1])
    shapes = [[shapely.geometry.shape(one["footprint"]) for one in options] for options in (first, second)]
    scores = [[float(one["score"]) for one in options] for options in (first, second)]
    # degrees do for shares of areas: a few houses apart a map in degrees is one in metres, stretched alike everywhere
    found = paired(shapes[0], scores[0], shapes[1], scores[1])
    moved = [_moved(pair, first, second, units) for pair in found if pair.rank_a is not None]
    words = change_words(changes)
    words.append(_counts(first, second))
    words += [one["words"] for one in moved[:TOLD]]
    return {"words": words, "settings": changes, "moved": moved}


def _counts(first: Sequence[dict[str, Any]], second: Sequence[dict[str, Any]]) -> str:
    def best(options: Sequence[dict[str, Any]]) -> str:
        return f"{len(options)} options" + (f", best {options[0]['score']:.1f}" if options else "")

    return f"before: {best(first)}; after: {best(second)}"


def _moved(
    pair: Pair, first: Sequence[dict[str, Any]], second: Sequence[dict[str, Any]], units: Units
) -> dict[str, Any]:
    """Where an option of the first answer is in the second."""
    one = first[(pair.rank_a or 0) - 1]
    if pair.rank_b is None:
        words = f"option {one['rank']} is no longer in the list"
        return {"a_rank": one["rank"], "b_rank": None, "moved_m": None, "words": words}
    other = second[pair.rank_b - 1]
    places = one["place"], other["place"]
    away = pyproj.Geod(ellps="WGS84").inv(*(place[name] for place in places for name in ("lon", "lat")))[2]
    told = "stays" if other["rank"] == one["rank"] else f"is now option {other['rank']}"
    shift = f", {units.away(away)} from where it was" if away > STAYS_M else ""
    words = f"option {one['rank']} {told}{shift}{_changed(*places)} ({one['score']:.1f} -> {other['score']:.1f})"
    return {"a_rank": one["rank"], "b_rank": other["rank"], "moved_m": away, "words": words}


def _changed(before: dict[str, Any], after: dict[str, Any]) -> str:
    """What else is not as it was: the size of the house, the bearing of its ridge."""
    size = f", now {house_words(after['house'])}" if after["house"] != before["house"] else ""
    turn = abs(np.mod(after["bearing_deg"] - before["bearing_deg"] + 90.0, 180.0) - 90.0)
    return size + (f", its ridge turned by {turn:.0f}°" if turn > TURNED_DEG else "")
