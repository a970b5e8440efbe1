"""One task of a region: its land is read, its parcels are screened, what was found is handed back as bytes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tunnelsite.core.site import Site
from tunnelsite.region.part import packed, table_out
from tunnelsite.region.suitability import Lattice, block_scores
from tunnelsite.scan.ranking import Choice, RankRules, ranked
from tunnelsite.scan.refine import broken_rules
from tunnelsite.screening import tables
from tunnelsite.screening.result import Result
from tunnelsite.screening.run import screen
from tunnelsite.screening.run_table import DOUBT, run_table
from tunnelsite.settings.model import Settings

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


@dataclass(frozen=True)
class Wanted:
    """What is wanted of every task: candidates a parcel, and the lattice of the suitability raster or None."""

    top: int
    lattice: Lattice | None


def screened_part(site: Site, settings: Settings, key: str, wanted: Wanted) -> bytes:
    """The answer of one task.

    Arguments: site, with the parcels of the task only, named in a column `parcel`; settings; key of the task; wanted.
    Errors: as `screening.screen`.
    """
    result = screen(site, settings=settings.model_copy(update={"top": 1}))
    names = result.frame.parcel_names
    choices = [choice for k in range(len(names)) for choice in _best_of_parcel(result, k, wanted.top)]
    result = replace(result, choices=choices)
    notes = [f"DOUBT: {text}" for text in result.doubts]
    notes += [row["value"] for row in run_table(result).rows if row["kind"] == "note" and row["name"] != DOUBT]
    part = {
        "key": key,
        "parcels": [_of_parcel(result, k) for k in range(len(names))],
        "candidates": table_out(tables.candidates_table(result)),
        "pads": table_out(tables.pads_table(result)),
        "rejections": table_out(tables.rejections_table(result)),
        "criteria": table_out(tables.criteria_table(result)),
        "notes": notes,
        "cell_m": result.frame.grid.cell_m,
        "suitability": None if wanted.lattice is None else block_scores(result, wanted.lattice),
    }
    return packed(part)


def _best_of_parcel(result: Result, parcel: int, top: int) -> list[Choice]:
    """The best placements of one parcel that do not overlap one another."""
    settings = result.settings
    mine = [
        np.where(scan.owner == parcel, values, np.nan) for scan, values in zip(result.scans, result.scored, strict=True)
    ]

    def sound(scan, item: int) -> bool:
        return not broken_rules(scan, item, settings.setback_m, settings.clearance_m)

    rules = RankRules(top, result.apart_m)
    return ranked(result.scans, mine, rules, sound)


def _of_parcel(result: Result, parcel: int) -> dict[str, Any]:
    """Counts and distributions of one parcel over all houses and bearings."""
    tried = sum(int(scan.ground.inside[parcel]) for scan in result.scans)
    masks = [scan.owner == parcel for scan in result.scans]
    score = np.concatenate([v[m] for v, m in zip(result.scored, masks, strict=True)])
    cell = result.frame.grid.cell_m
    centres = [scan.index[mask] for scan, mask in zip(result.scans, masks, strict=True)]
    first = len({id(scan.frame) for scan in result.scans}) == 1
    feasible = len(np.unique(np.concatenate(centres))) if first else max(map(len, centres), default=0)
    row: dict[str, Any] = {
        "parcel": result.frame.parcel_names[parcel],
        "tried": tried,
        "passed": len(score),
        "centres_m2": round(feasible * cell**2, 3),
        "best_score": _plain(score.max()) if np.isfinite(score).any() else None,
    }
    for name, values in {"score": score, **_measures(result, masks)}.items():
        known = values[np.isfinite(values)]
        for share in QUANTILES:
            row[f"{name}_q{round(100 * share):02d}"] = _plain(np.quantile(known, share)) if len(known) else None
    return row


def _measures(result: Result, masks: list[np.ndarray]) -> Mapping[str, np.ndarray]:
    found = {}
    for name, title in (("pitch", "pitch_pct"), ("season_sun", "beam_share"), ("sun", "beam_share_worst")):
        if all(name in scan.measures for scan in result.scans):
            found[title] = np.concatenate(
                [scan.measures[name][mask] for scan, mask in zip(result.scans, masks, strict=True)]
            ).astype(np.float64)
    return found


def _plain(value) -> float:
    return float(round(float(value), 9))
