"""A level book as it was written down, before anything is reckoned from it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LevelBookText:
    """text: rows of a CSV as `plans.stakeout.level_book` takes them. name: where it is from, for messages."""

    text: str = ""
    name: str = "level book"
