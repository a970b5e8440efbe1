"""A tap on the map: why a house is not offered here, or what the place loses against the best."""

from __future__ import annotations

from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.placement import Placement
from tunnelsite.core.wording import inside
from tunnelsite.decisions.explain import explain_at, explain_rank
from tunnelsite.decisions.explanation import Explanation, RuleCheck
from tunnelsite.desk.hand import InHand
from tunnelsite.desk.hand_messages import NOT_SEARCHED
from tunnelsite.desk.no_score import TAP
from tunnelsite.desk.page_words import message_of
from tunnelsite.desk.plain import plain, plain_title
from tunnelsite.drawing.outcome_groups import group_of, shown_scan
from tunnelsite.scan.engine import Scan

MOST_LOSSES = 5
LEAST_LOSS = 0.1  # points
HEADS = {"water": "Water", "edge": "Edge of the field", "keep": "Keep clear", "stand": "Obstruction on the pad", "ground": "Ground",
         "unknown": "Heights", "other": "Rule"}  # fmt: skip


def tapped(in_hand: InHand, lon: float, lat: float) -> dict[str, Any]:
    """The message of a tap, for the house and ridge of the first option."""
    result = in_hand.result
    scan = result.scans[shown_scan(result)]
    place = _place(scan, lon, lat)
    try:
        found = explain_at(in_hand.prepared, Placement(lon, lat, scan.frame.grid.bearing_deg, scan.house))
    except UsageError as problem:
        return {
            "place": place,
            "state": "outside",
            "words": [message_of(problem)],
            "reasons": [],
            "losses": [],
            "rank": None,
            "score": None,
        }
    titles = {judge.id: judge.criterion.description.title for judge in result.judges}
    reasons = [_reason(in_hand, found, rule, titles) for rule in found.broken]
    losses = [] if reasons else _losses(in_hand, found)
    if reasons:
        state, words = "not offered", [f"{reasons[0]['words']} Not offered.", *(one["words"] for one in reasons[1:])]
    else:
        state = "listed" if found.rank else "offered"
        words = [_verdict(in_hand, found), *(one["words"] for one in losses)]
    return {"place": place, "state": state, "words": words, "reasons": reasons, "losses": losses, "rank": found.rank,
            "score": plain(found.score)}  # fmt: skip


def not_searched(in_hand: InHand, lon: float, lat: float) -> dict[str, Any]:
    """The message of a tap before any search: the house can be put there and measured all the same."""
    words = f"Find places first: {TAP}"
    return {"place": _place(in_hand.result.scans[0], lon, lat), "state": NOT_SEARCHED, "words": [words], "reasons": [], "losses": [],
            "rank": None, "score": None}  # fmt: skip


def _place(scan: Scan, lon: float, lat: float) -> dict[str, Any]:
    """A house of a scan, ridge and all, at a place."""
    return {"lon": lon, "lat": lat, "bearing_deg": scan.frame.grid.bearing_deg, "house": scan.house.name}


def _reason(in_hand: InHand, found: Explanation, rule: RuleCheck, titles: dict[str, str]) -> dict[str, Any]:
    """A broken rule in a sentence of the trade."""
    head, title = HEADS[group_of(rule.rule)], plain_title(rule.rule, titles)
    told = in_hand.rule_words(rule)
    said = _water(in_hand, found, rule) or (
        f"{told}." if rule.rule == "boundary" or head == title else f"{title}: {told}."
    )
    return {
        "rule": rule.rule,
        "title": titles.get(rule.rule, rule.title),
        "words": f"{head}: {said}",
    }


def _water(in_hand: InHand, found: Explanation, rule: RuleCheck) -> str:
    """How much drains through and how deep it stands, for every rule on water."""
    if rule.rule not in ("drainage", "ponding"):
        return ""
    values = {one.rule: one.value for one in found.rules}
    parts = []
    area, depth = values.get("drainage"), values.get("ponding")
    if area is not None:
        parts.append(f"{in_hand.units.land(area)} drain through here")
    if depth is not None and depth >= 0.01:
        parts.append(f"it stands {in_hand.units.depth(depth)} deep before it leaves")
    return "; ".join(parts) + "." if parts else ""


def _verdict(in_hand: InHand, found: Explanation) -> str:
    if found.rank:
        return f"This is option {found.rank}, {found.score:.1f} of 100."
    if found.score is None:
        return "Nothing that has a weight could be assessed here."
    best = in_hand.result.choices[0].score if in_hand.result.choices else None
    less = "" if best is None else f", {best - found.score:.1f} less than option 1"
    return f"Every rule is kept here: {found.score:.1f} of 100{less}." + (
        f" It is not in the list: {found.not_listed}." if found.not_listed else ""
    )


def _losses(in_hand: InHand, found: Explanation) -> list[dict[str, Any]]:
    """What the place loses against option 1, the most first; against full marks where there is no option."""
    best = _best_points(in_hand)
    told: list[dict[str, Any]] = []
    for rule in found.rules:
        if rule.points is None:
            continue
        lost = (best[rule.rule] - rule.points) if rule.rule in best else (rule.could_gain or 0.0)
        if lost >= LEAST_LOSS:
            why = inside(rule.words) or "not known here, which counts half"
            words = f"{rule.title} costs {lost:.1f} points: {why}."
            told.append({"id": rule.rule, "title": rule.title, "points": lost, "words": words})
    return sorted(told, key=lambda one: -one["points"])[:MOST_LOSSES]


def _best_points(in_hand: InHand) -> dict[str, float]:
    result = in_hand.result
    if not result.choices:
        return {}
    rules = explain_rank(result, 1).rules
    return {rule.rule: rule.points for rule in rules if rule.points is not None}
