"""Pinned places side by side: what each has that the others lack, in words and numbers."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from tunnelsite.decisions.side_by_side import side_by_side
from tunnelsite.desk.hand import InHand
from tunnelsite.desk.hand_measures import measured, with_surroundings
from tunnelsite.desk.measures import NOT_KNOWN
from tunnelsite.desk.plain import plain_title

# What is shown of each: column, title, kind of amount, which way is better (0 = neither).
SHOWN = (
    ("score", "Score", "points", 1),
    ("pitch_along_pct", "Pitch along the ridge", "pitch", -1),
    ("pitch_across_pct", "Pitch across", "pitch", -1),
    ("max_cut_m", "Deepest cut", "depth", -1),
    ("cut_m3", "Cut", "volume", -1),
    ("fill_m3", "Fill", "volume", -1),
    ("upslope_m2", "Land that drains through", "land", -1),
    ("drainage_height_m", "Above the stream or swale", "height", 1),
    ("beam_share_worst", "Light of the darkest crop month", "share", 1),
    ("reach_water_m", "To water", "away", -1),
    ("reach_power_m", "To power", "away", -1),
    ("reach_road_m", "To a road", "away", -1),
    ("clearance_m", "To the nearest building", "away", 0),
    ("water_head_m", "Water source, against the floor", "against", 1),
    ("way_in_pct", "Slope of the way in", "pitch", -1),
    ("door_room_m", "Room to turn at the door", "away", 1),
    ("room_m", "Room to shift", "away", 1),
)
LEAST_DIFFERENCE = 1e-6
NOT_OFFERED = "not offered"


def pins_compared(in_hand: InHand, pins: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """The message of two or three pins side by side. Errors: UsageError for a place off the data."""
    letters, rows, broken = [pin["letter"] for pin in pins], [], []
    titles = {judge.id: judge.criterion.description.title for judge in in_hand.result.judges}
    for pin in pins:
        place = pin["place"]
        spot, house = (place["lon"], place["lat"], place["bearing_deg"] % 180.0), in_hand.house(place["house"])
        found = measured(in_hand.result, in_hand.spots, spot, house)
        room = {"score": found.steady, "room_m": in_hand.room(found, spot, house)}
        rows.append(with_surroundings(in_hand.result, in_hand.spots, found) | room)
        broken.append([plain_title(rule.rule, titles) for rule in found.explained.broken])
    told = [
        _row(in_hand, letters, rows, shown) for shown in SHOWN if any(row.get(shown[0]) is not None for row in rows)
    ]
    for row in told:
        if row["id"] == "score":
            row["values"] |= {letter: NOT_OFFERED for letter, rules in zip(letters, broken, strict=True) if rules}
    said = [
        f"{letter} is not offered. Rules that it breaks: {'; '.join(rules)}."
        for letter, rules in zip(letters, broken, strict=True)
        if rules
    ]
    return {"letters": letters, "rows": told, "words": [*said, *_words(in_hand, letters, rows)]}


def _row(
    in_hand: InHand, letters: Sequence[str], rows: Sequence[Mapping[str, Any]], shown: tuple[str, str, str, int]
) -> dict[str, Any]:
    column, title, kind, way = shown
    values = [row.get(column) for row in rows]
    weighed = [way * abs(value) if kind == "pitch" else way * value for value in values if value is not None]
    better = None
    if way and len(weighed) == len(values) and len(values) > 1 and max(weighed) - min(weighed) > LEAST_DIFFERENCE:
        best = max(weighed)
        better = letters[weighed.index(best)] if weighed.count(best) == 1 else None
    words = {
        letter: NOT_KNOWN if value is None else _amount(in_hand, kind, value)
        for letter, value in zip(letters, values, strict=True)
    }
    if better is not None and list(words.values()).count(words[better]) > 1:
        better = None  # what is shown does not differ
    return {"id": column, "title": title, "unit": "", "values": words, "better": better}


def _amount(in_hand: InHand, kind: str, value: float) -> str:
    if kind == "points":
        return f"{value:.1f}"
    if kind == "against":
        return f"{in_hand.units.height(abs(value))} {'lower' if value < 0 else 'higher'}"
    if kind == "share":
        return f"{100 * value:.0f} %"
    return str(getattr(in_hand.units, kind)(value))


def _words(in_hand: InHand, letters: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """What sets them apart, by criterion. What has no row, or breaks a rule, is left out."""
    whole = [(letter, row) for letter, row in zip(letters, rows, strict=True) if row["score"] is not None]
    if len(whole) < 2:
        return []
    names = dict.fromkeys(name for _, row in whole for name in row)
    columns = {name: [row.get(name) for _, row in whole] for name in names}
    ranks = list(range(1, len(whole) + 1))
    columns["rank"] = list(ranks)
    columns["parcel"] = [row.get("parcel") or "" for _, row in whole]
    criteria = [
        {"criterion": judge.id, "title": judge.criterion.description.title, "weight": judge.rubric.weight}
        for judge in in_hand.result.judges
    ]
    found = side_by_side(columns, criteria, ranks, in_hand.result.settings.combine)
    return [re.sub(r"rank (\d)", lambda one: whole[int(one[1]) - 1][0], words) for words in found.reasons()]
