"""Options that may stand on what is no ground at all, as in a river: none of the table's numbers shows that."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
