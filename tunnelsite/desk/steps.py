"""How far a run is: its steps in order with the share of the time that each usually takes, and how long is left."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any

# Step of the screening: (share of the time of a usual farm, words). Measured on the sample farm, one bearing and house.
FRAME_STEPS = {
    "local grid": (14.0, "Laying the ground out along the ridge"),
    "drainage": (4.0, "Letting the water run"),
    "level patches": (1.0, "Looking for ponds"),
    "raised ground": (2.0, "Looking for roofs and tree crowns"),
    "light": (36.0, "Light of the crop months"),
    "noon sun": (1.0, "Noon sun in midwinter"),
    "wind shelter": (4.0, "Shelter from the wind"),
    "cold air": (1.0, "Where cold air gathers"),
    "room": (1.0, "Room round the house"),
    "drainage lines": (1.0, "Streams, ditches and swales"),
    "hilltops": (1.0, "Hilltops"),
    "low ground": (1.0, "Low ground"),
}
PLACEMENTS = (18.0, "Trying every place for the")
ENDING = {
    "ranking": (6.0, "Ranking what is left"),
    "how firm": (35.0, "How firm the lead is"),
    "writing": (8.0, "Writing the run into the folder"),
}
EVERY_S = 0.2  # a page needs no more


class ProgressMessages:
    """Turns the progress of a screening into messages.

    Arguments: told, called with a message; bearings, how many; houses, their names; what the message says besides.
    """

    def __init__(
        self, told: Callable[[dict[str, Any]], None], bearings: int, houses: Sequence[str], start: dict[str, Any]
    ) -> None:
        frame = [(name, *step) for name, step in FRAME_STEPS.items()]
        tries = [(f"placements of {house}", PLACEMENTS[0], f"{PLACEMENTS[1]} {house}") for house in houses]
        self._plan = [*(frame + tries) * bearings, *((name, *step) for name, step in ENDING.items())]
        self._whole = sum(weight for _, weight, _ in self._plan)
        self._told, self._start, self._at, self._begun, self._last = told, start, 0, time.monotonic(), 0.0

    def __call__(self, what: str, share: float) -> None:
        """Take one call of the screening's progress."""
        later = next((k for k in range(self._at, len(self._plan)) if self._plan[k][0] == what), None)
        if later is not None:
            self._at = later
        now = time.monotonic()
        if now - self._last < EVERY_S and share < 1.0:
            return
        self._last = now
        name, weight, words = self._plan[self._at]
        done = (sum(one[1] for one in self._plan[: self._at]) + weight * share) / self._whole
        spent = now - self._begun
        left = spent * (1 - done) / done if done > 0.03 else None
        said = words if left is None else f"{words}; about {_seconds(left)} left"
        self._told(
            self._start | {"step": name, "step_words": words, "share": round(done, 4), "left_s": left, "words": said}
        )


def _seconds(left_s: float) -> str:
    return f"{left_s:.0f} s" if left_s < 90 else f"{left_s / 60:.0f} min"
