"""What firmness has to know of a ranked run: any object with these attributes will do."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.ranking import RankedPlacement


class RankSettings(Protocol):
    """How a run was scored: way to combine marks, shift of the house [m], slope that a pad may keep [fraction], what is drawn."""

    @property
    def combine(self) -> str: ...

    @property
    def shift_m(self) -> float: ...

    @property
    def pad_pitch(self) -> float: ...

    @property
    def draws(self) -> int: ...

    @property
    def seed(self) -> int: ...


class RankedRun(Protocol):
    """A run with its ranking.

    Attributes: scans, one for each house and bearing; judges; scored, steady scores by scan, float64 [n]; choices, the ranking;
    settings; rows, columns of each candidate, best first; apart_m, least distance between the centres of two options.
    """

    scans: list[Scan]
    judges: list[Judge]
    scored: list[np.ndarray]
    choices: list[RankedPlacement]

    @property
    def settings(self) -> RankSettings: ...

    @property
    def rows(self) -> Sequence[dict[str, Any]]: ...

    @property
    def apart_m(self) -> float: ...

    def error_of(self, scan: Scan) -> ErrorModel:
        """What the errors of the elevations of a scan are taken to be."""
