"""Sentences on the options as a whole: which may stand on no ground, as in a river, which are far behind, and what is not offered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from tunnelsite.core.counting import listed


def may_be_words(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """A sentence for each such doubt, with the options that have it. Arguments: rows, of candidates."""
    found: dict[str, list[str]] = {}
    for row in rows:
        for text in str(row["flags"]).split("; "):
            if text.startswith("may be "):
                found.setdefault(text.partition(":")[0], []).append(str(row["rank"]))
    return [
        f"Option{'s' * (len(ranks) > 1)} {listed(ranks)} {words}: look there before anything else."
        for words, ranks in found.items()
    ]


def far_behind_words(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """A sentence on options that score less than half of what the best does; empty where there is none.

    They are listed because so many were wanted. Arguments: rows, of candidates; a score may be None where it is not known.
    """
    scores = {str(row["rank"]): row["score"] for row in rows if row["score"] is not None}
    best = max(scores, key=scores.__getitem__, default="")
    behind = [rank for rank, score in scores.items() if 2.0 * score < scores[best]]
    if not behind:
        return []
    many = len(behind) > 1
    return [
        f"Option{'s' * many} {listed(behind)} score{'s' * (not many)} less than half as much as option {best}: "
        f"{'they pass' if many else 'it passes'} the limits, and little more."
    ]


def bed_left_out_words(rows: Iterable[Mapping[str, Any]], allowed_by: str = "--keep-water-like") -> list[str]:
    """A sentence on places that were not offered since they may lie in a river, with the way to have them; empty where there is none.

    Arguments: rows, of the table `rejections`; allowed_by, the setting, as the reader knows it.
    """
    count = sum(row["rejected"] for row in rows if row["rule"] == "river_bed")
    if not count:
        return []
    return [
        f"Not offered: {count:,} place{'s' * (count > 1)} on level, low ground at the foot of a bank, over whose end water leaves the "
        f"data, which may be a river's bed, open water or flood plain. If you know that this ground is dry, {allowed_by} offers it."
    ]
