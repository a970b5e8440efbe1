"""Rules in the trade's words: no id, no number of a yes or no, and a miss that rounds to its limit said to lie beyond it."""

from __future__ import annotations

from functools import partial

import pytest

from tunnelsite.core.amounts import yes_or_no
from tunnelsite.screening.rejection_words import MeasureStyle, rejection_words, rule_words

STYLES = {
    "pitch": MeasureStyle("%"),
    "deepest_cut": MeasureStyle("m", feet=True),
    "water_like": MeasureStyle("1", yes_or_no),
    "soils": MeasureStyle("1", partial("class {:.0f}".format)),
}


@pytest.mark.parametrize(
    ("rule", "reason", "limit", "nearest", "words"),
    [
        ("pitch", "Pitch of the natural ground", 10.0, 12.345, "pitch of the natural ground (limit 10 %, the nearest 12.35 %)"),
        ("pitch", "Pitch", 10.0, 10.0001, "pitch (limit 10 %, the nearest just beyond it)"),
        ("deepest_cut", "Deepest cut", 0.1524, None, "deepest cut (limit 6 in (0.1524 m))"),
        ("water_like", "Looks like open water", 0.5, 1.0, "looks like open water"),
        ("soils", "Soil drainage", 3.0, 2.0, "soil drainage (limit class 3, the nearest class 2)"),
        ("boundary", "the pad would cross it", None, None, "the pad would cross it"),
        ("keep_out:lines.gpkg", "too near: lines.gpkg", None, None, "too near: lines.gpkg"),
    ],
)  # fmt: skip
def test_a_rejection_is_told_in_words(
    rule: str, reason: str, limit: float | None, nearest: float | None, words: str
) -> None:
    row = {"rule": rule, "reason": reason, "limit_value": limit, "nearest_miss": nearest}
    assert rejection_words(row, STYLES) == words


def test_a_rule_has_a_name() -> None:
    titles = {"pitch": "Pitch"}
    rules = ("boundary", "keep_out:lines.gpkg", "pitch", "own")
    assert [rule_words(rule, titles) for rule in rules] == [
        "edge of the parcel or setback",
        "lines.gpkg",
        "Pitch",
        "own",
    ]
