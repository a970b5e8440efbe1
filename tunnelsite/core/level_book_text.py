"""A level book as it was written down, before anything is reckoned from it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass


@dataclass(frozen=True)
class LevelBookText:
    """text: rows of a CSV as `plans.stakeout.level_book` takes them. name: where it is from, for messages. sha256: of
    the file, that of the text where there is none."""

    text: str = ""
    name: str = "level book"
    sha256: str = ""

    def __post_init__(self) -> None:
        if self.text and not self.sha256:
            object.__setattr__(self, "sha256", hashlib.sha256(self.text.encode()).hexdigest())
