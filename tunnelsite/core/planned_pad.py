"""The finished pad of a grading plan as it is handed on to the stake-out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

MOST_AMOUNT = 1e5


class SummarisedPlan(Protocol):
    """A plan of which the summary is asked, such as `grade` gives back."""

    @property
    def title(self) -> str:
        """What it plans, in words."""

    @property
    def summary(self) -> dict[str, Any]:
        """What it found, ready for JSON."""


@dataclass(frozen=True)
class PlannedPad:
    """What a grading plan says of its pad.

    Attributes:
        lon, lat: of its centre (WGS 84). pad_m2: its area.
        level_m: finished height at the centre [m]. slope_along, slope_across: of its plane. crown, apron_fall: what falls off
            that plane, as in `plans.grading.earth_rule` [fractions]. base_m: laid over the subgrade [m].
        pad_cut_m3, pad_fill_m3, max_cut_m, max_fill_m: its earthwork. name, sha256: of the file.
    """

    lon: float
    lat: float
    pad_m2: float
    level_m: float
    slope_along: float
    slope_across: float
    crown: float
    apron_fall: float
    base_m: float
    pad_cut_m3: float
    pad_fill_m3: float
    max_cut_m: float
    max_fill_m: float
    name: str
    sha256: str = ""

    @classmethod
    def of(cls, summary: Mapping[str, Any], name: str, sha256: str = "") -> PlannedPad:
        """The pad of a grading plan's summary. Errors: KeyError, TypeError, ValueError for another kind of summary."""
        part = summary["grading"]
        found = {key: part[key] for key in cls.__dataclass_fields__ if key not in ("lon", "lat", "name", "sha256")}
        found |= {"lon": summary["lon"], "lat": summary["lat"]}
        for key, value in found.items():
            if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < MOST_AMOUNT:
                raise ValueError(f"{key} is {str(value)[:40]!r}")
        return cls(**{key: float(value) for key, value in found.items()}, name=name, sha256=sha256)

    @classmethod
    def unread(cls, name: str) -> PlannedPad:
        """A pad of which only the file is known."""
        unknown: dict[str, Any] = dict.fromkeys(
            (key for key in cls.__dataclass_fields__ if key not in ("name", "sha256")), math.nan
        )
        return cls(**unknown, name=name)
