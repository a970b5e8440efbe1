"""Words on a map that keep clear of each other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

LETTER = 0.64  # width of a bold letter by its size, in the widest of the fonts
GAP = 3.0


class Box(NamedTuple):
    """What something covers of a picture."""

    left: float
    top: float
    right: float
    bottom: float


def square(x: float, y: float, half: float) -> Box:
    """A square round a point. Arguments: x, y; half, half its side."""
    return Box(x - half, y - half, x + half, y + half)


def name_box(words: str, size: float, x: float, y: float) -> Box:
    """What words cover. Arguments: words; size, of the letters; x, y, the middle of their base line."""
    half = size * LETTER * len(words) / 2 + GAP
    return Box(x - half, y - size, x + half, y + GAP)


@dataclass
class Labels:
    """Where words stand already. Attributes: wide, tall, of the picture; taken, what each of them covers."""

    wide: float
    tall: float
    taken: list[Box] = field(default_factory=list)

    def keep(self, x: float, y: float, half: float) -> None:
        """Keep a square round a point clear. Arguments: x, y; half, half its side."""
        self.taken.append(square(x, y, half))

    def clear(self, x: float, y: float, half_wide: float, half_tall: float) -> bool:
        """Whether a box round a point covers nothing that stands already."""
        box = Box(x - half_wide, y - half_tall, x + half_wide, y + half_tall)
        return not any(overlap(box, other) for other in self.taken)

    def free(self, words: str, size: float, spots: Iterable[tuple[float, float]]) -> tuple[float, float] | None:
        """The first of some spots where words cover nothing, None where they cover something at each. Arguments: as `place`."""
        places = self._within(words, size, spots)
        for box, spot in ((name_box(words, size, *spot), spot) for spot in places):
            if not any(overlap(box, other) for other in self.taken):
                self.taken.append(box)
                return spot
        return None

    def place(self, words: str, size: float, spots: Iterable[tuple[float, float]]) -> tuple[float, float]:
        """The first of some spots where words, written round their middle, cover nothing; else the one where they cover least.

        Arguments: words; size, of the letters; spots, (x, y) of the middle of the base line, the best first, one at least.
        """
        places = self._within(words, size, spots)
        boxes = [name_box(words, size, x, y) for x, y in places]
        covered = [sum(overlap(box, other) for other in self.taken) for box in boxes]
        best = int(np.argmin(covered))
        self.taken.append(boxes[best])
        return places[best]

    def _within(self, words: str, size: float, spots: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
        """The spots moved so that the words stay within the picture."""
        half = name_box(words, size, 0.0, 0.0).right
        wide = min(half, self.wide / 2), max(self.wide - half, self.wide / 2)
        tall = size + GAP, self.tall - GAP
        return [(float(np.clip(x, *wide)), float(np.clip(y, *tall))) for x, y in spots]


def overlap(one: Box, other: Box) -> float:
    """Area that two boxes share."""
    wide = min(one.right, other.right) - max(one.left, other.left)
    tall = min(one.bottom, other.bottom) - max(one.top, other.top)
    return max(wide, 0.0) * max(tall, 0.0)
