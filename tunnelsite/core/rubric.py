"""A rubric judges a measure: full marks at, no marks at, limit, weight, source. Data, not code."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tunnelsite.core.errors import UsageError


@dataclass(frozen=True)
class Rubric:
    """How a measure becomes marks from 0 to 1, by a straight line between `none_at` and `full_at`.

    Attributes:
        full_at, none_at: measure with full marks and with none; either may be the larger.
        limit: reject beyond it (on the side of `none_at`); None = never reject.
        weight: 0 or more. source: keys of `sources.toml`, separated by commas; a text that is no key is shown as it is.
    """

    full_at: float
    none_at: float
    limit: float | None = None
    weight: float = 1.0
    source: str = "common practice, no source"

    def __post_init__(self) -> None:
        numbers = (self.full_at, self.none_at, self.weight) + (() if self.limit is None else (self.limit,))
        if not all(math.isfinite(value) for value in numbers):
            raise UsageError(f"a rubric holds {numbers}", "finite numbers", "correct the rubric")
        if self.full_at == self.none_at:
            raise UsageError(
                f"full_at and none_at are both {self.full_at:g}", "two different values", "correct the rubric"
            )
        if self.limit is not None and (self.limit > self.full_at if self.rises else self.limit < self.full_at):
            raise UsageError(
                f"the limit is {self.limit:g}, and full marks are given at {self.full_at:g} already",
                f"a limit {'up to' if self.rises else 'from'} {self.full_at:g}"
                f"{'' if self.rises else ' on'}: else what earns full marks is rejected",
                "correct the limit or the curve",
            )
        if self.weight < 0:
            raise UsageError(f"weight is {self.weight:g}", "0 or more", "correct the weight")

    @property
    def rises(self) -> bool:
        """True where more of the measure is better."""
        return self.full_at > self.none_at

    def marks(self, measure: np.ndarray) -> np.ndarray:
        """Marks 0..1 of `measure` (any shape), NaN where it is NaN (not assessed)."""
        return np.clip((measure - self.none_at) / (self.full_at - self.none_at), 0.0, 1.0)

    def beyond(self, measure: np.ndarray) -> np.ndarray:
        """True where the limit rejects. What was not assessed is not rejected."""
        if self.limit is None:
            return np.zeros(np.shape(measure), bool)
        return measure < self.limit if self.rises else measure > self.limit
