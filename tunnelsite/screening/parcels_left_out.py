"""Parcels in which no option of the list lies: what the best place there scores, or that none passes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result


@dataclass(frozen=True)
class ParcelLeftOut:
    """One of them. passed, placements there that pass every limit; best, the steady score of the best, None where none passes."""

    parcel: str
    passed: int
    best: float | None


def parcels_left_out(result: Result) -> list[ParcelLeftOut]:
    """Those of a finished screening, in the order of the parcels."""
    names = result.frame.parcel_names
    best, passed = np.full(len(names), -np.inf), np.zeros(len(names), np.int64)
    for scan, scored in zip(result.scans, result.scored, strict=True):
        for part in scan.frame.store.pieces(len(scan.index)):
            owner = scan.owner[part]
            np.fmax.at(best, owner, scored[part])
            passed += np.bincount(owner, minlength=len(names))
            scan.frame.store.rest()
    listed = {int(result.scans[choice.scan].owner[choice.item]) for choice in result.choices}
    return [
        ParcelLeftOut(name, int(passed[k]), float(best[k]) if np.isfinite(best[k]) else None)
        for k, name in enumerate(names)
        if k not in listed
    ]
