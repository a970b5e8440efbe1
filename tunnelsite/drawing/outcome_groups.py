"""All placements in the few groups that a map can show: passed by score, and rejected by kind of reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.io.formats.styles import colour
from tunnelsite.scan.outcomes import PASSED, Outcomes
from tunnelsite.screening.rejection_words import rule_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

WATER_RULES = ("water_like", "river_bed", "drainage", "ponding")
GROUND_RULES = ("pitch", "roughness", "crown", "deepest_cut", "earthwork")
SCORE_CLASSES = 5
LOWEST_SHADE = 0.3


@dataclass(frozen=True)
class OutcomeGroup:
    """One group on the map.

    Attributes: key; title; mask [rows, cols], its cells; counts, placements by reason in words; pattern, what it is filled with
        (a name for rejected ones, a colour for passed ones).
    """

    key: str
    title: str
    mask: np.ndarray
    counts: tuple[tuple[str, int], ...]
    pattern: str


def shown_scan(result: Result) -> int:
    """Which scan the map shows: the best candidate's house and bearing, so that it stands on ground of its colour."""
    return result.choices[0].scan if result.choices else 0


def rejected_groups(found: Outcomes, titles: dict[str, str]) -> list[OutcomeGroup]:
    """The groups of rejected placements that hold any.

    Arguments: found; titles of the criteria by id.
    """
    titled = (
        ("edge", "Pad would cross the parcel's edge or setback"),
        ("keep", "Too near something to keep clear of"),
        ("stand", "Trees or buildings on the pad"),
        ("water", "Water: ponds, hollows, flow"),
        ("ground", "Ground: too steep, too much to dig"),
        ("other", "Another limit"),
        ("unknown", "Heights not known"),
    )
    groups = []
    for key, title in titled:
        rules = [(k, rule) for k, rule in enumerate(found.rules) if group_of(rule) == key and found.count(rule)]
        if rules:
            counts = tuple((rule_words(rule, titles), found.count(rule)) for _, rule in rules)
            mask = np.isin(found.code, [2 + k for k, _ in rules])
            groups.append(OutcomeGroup(key, title, mask, counts, key))
    return groups


def group_of(rule: str) -> str:
    """The group of a rule on the map."""
    if rule == "boundary":
        return "edge"
    if rule == "structures" or rule.startswith("keep_out:"):
        return "keep"
    known = {"standing": "stand", "obstacles": "stand", "raised": "stand", "no_data": "unknown"}
    known |= dict.fromkeys(WATER_RULES, "water") | dict.fromkeys(GROUND_RULES, "ground")
    return known.get(rule, "other")


def passed_groups(code: np.ndarray, scores: np.ndarray, edges: Sequence[float]) -> list[OutcomeGroup]:
    """The groups of passed placements by score, the best last.

    Arguments: code, of the outcomes; scores of the packed placements in the order of the cells, NaN = not assessed; edges of the
    classes, rising. Colours: the upper part of cividis, grey for low, bright for high scores; its blue end would be taken for water.
    """
    spread = np.full(code.shape, np.nan)
    spread[code == PASSED] = scores
    groups = []
    for k in range(len(edges) - 1):
        top = spread <= edges[k + 1] if k == len(edges) - 2 else spread < edges[k + 1]
        mask = (spread >= edges[k]) & top
        if mask.any():
            title = f"{edges[k]:g} to {edges[k + 1]:g} points"
            shade = colour("cividis", LOWEST_SHADE + (1 - LOWEST_SHADE) * (k + 0.5) / (len(edges) - 1))
            groups.append(OutcomeGroup(f"score{k}", title, mask, (("passed", int(mask.sum())),), shade))
    unscored = (code == PASSED) & np.isnan(spread)
    if unscored.any():
        groups.append(
            OutcomeGroup("unscored", "passed, not scored", unscored, (("passed", int(unscored.sum())),), "#ffffff")
        )
    return groups


def score_edges(scores: np.ndarray) -> list[float]:
    """Class edges on round numbers, such that the upper classes tell good ground apart: from the 10 % point to the best."""
    known = scores[np.isfinite(scores)]
    if not len(known):
        return [0.0, 100.0]
    best = float(np.ceil(known.max()))
    low = float(np.floor(np.quantile(known, 0.10)))
    step = max(1.0, np.ceil((best - low) / SCORE_CLASSES))
    rising = [best - step * k for k in range(SCORE_CLASSES, -1, -1)]
    rising[0] = min(rising[0], float(np.floor(known.min())))
    return [max(edge, 0.0) for edge in rising]
