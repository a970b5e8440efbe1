"""The placements of a task, parcel by parcel: the best of each, and counts and distributions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from tunnelsite.region.covered_area import covered_cells
from tunnelsite.scan.engine import Scan
from tunnelsite.scan.known_ground import known_share, may_hold_more
from tunnelsite.scan.pitch_error import shows_pitch
from tunnelsite.scan.ranking import RankedPlacement, RankRules, ranked
from tunnelsite.scan.refine import broken_rules
from tunnelsite.screening.result import Result

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
MEASURES = (("pitch", "pitch_pct"), ("season_sun", "beam_share"), ("sun", "beam_share_worst"))


class ByParcel:
    """The placements of every parcel of a result, found once. Arguments: result, of a screening."""

    def __init__(self, result: Result) -> None:
        self._result = result
        self._found: dict[tuple[int, int, str | None], list[RankedPlacement]] = {}
        self._count = len(result.frame.parcel_names)
        count = np.arange(self._count + 1)
        self._orders = [np.argsort(scan.owner, kind="stable") for scan in result.scans]
        self._bounds = [
            np.searchsorted(scan.owner[order], count) for scan, order in zip(result.scans, self._orders, strict=True)
        ]

    def items(self, parcel: int) -> list[np.ndarray]:
        """The stored placements of a parcel, by scan: int64 [n], rising."""
        return [
            order[slice(*bounds[parcel : parcel + 2])] for order, bounds in zip(self._orders, self._bounds, strict=True)
        ]

    def best(self, parcel: int, top: int, house: str | None = None) -> list[RankedPlacement]:
        """The best placements of one parcel that do not overlap one another; house, of one size only."""
        sizes = {scan.house.name for scan in self._result.scans}
        key = parcel, top, None if sizes == {house} else house  # of one size alone they are the same
        if key not in self._found:
            self._found[key] = self._best(*key)
        return self._found[key]

    def _best(self, parcel: int, top: int, house: str | None) -> list[RankedPlacement]:
        result, settings, items = self._result, self._result.settings, self.items(parcel)
        if house is not None:
            items = [
                mine if scan.house.name == house else mine[:0] for scan, mine in zip(result.scans, items, strict=True)
            ]
        scans = [
            replace(scan, index=scan.index[mine], owner=scan.owner[mine], measures={}, truths={})
            for scan, mine in zip(result.scans, items, strict=True)
        ]
        scored = [values[mine] for values, mine in zip(result.scored, items, strict=True)]

        def sound(scan: Scan, item: int) -> bool:
            return not broken_rules(scan, item, settings.setback_m, settings.clearance_m)

        found = ranked(scans, scored, RankRules(top, result.apart_m), sound)
        return [replace(choice, item=int(items[choice.scan][choice.item])) for choice in found]

    def row(self, parcel: int) -> dict[str, Any]:
        """Counts and distributions of one parcel over all houses and bearings."""
        result, items = self._result, self.items(parcel)
        score = np.concatenate([values[mine] for values, mine in zip(result.scored, items, strict=True)])
        cell = result.frame.grid.cell_m
        centres = [scan.index[mine] for scan, mine in zip(result.scans, items, strict=True)]
        one_grid = len(centres) > 1 and len({id(scan.frame) for scan in result.scans}) == 1
        feasible = len(np.unique(np.concatenate(centres))) if one_grid else max(map(len, centres), default=0)
        known = known_share(result.frame, result.frame.parcels[parcel])
        unknown = not len(score) and any(self._may_hold_more(parcel, scan.house.name) for scan in result.scans)
        row: dict[str, Any] = {
            "parcel": result.frame.parcel_names[parcel],
            "known_pct": round(100 * known, 1),
            "tried": sum(int(scan.ground.inside[parcel]) for scan in result.scans),
            "passed": len(score),
            "centres_m2": None if unknown else round(feasible * cell**2, 3),
            "best_score": _plain(score.max()) if np.isfinite(score).any() else None,
        }
        for name, found in self._quantiles.items():
            row |= {
                quantile_name(name, share): _plain(value)
                for share, value in zip(QUANTILES, found[parcel].tolist(), strict=True)
            }
        if not len(score) and known == 0:
            none = f"{result.site.dem.name} holds no height in this parcel"
            return {"parcel": row["parcel"], "state": "no data", "reason": none}
        return row

    def house_row(self, parcel: int, house: str, top: int) -> dict[str, Any]:
        """What one house size finds in a parcel, by the names of `parcel_columns.HOUSE_COLUMNS`; nothing where it finds no place and
        might stand on what is not known. Arguments: as `best`."""
        result, areas, best = self._result, [(0.0, 0.0)], [-np.inf]
        for scan, scored, mine in zip(result.scans, result.scored, self.items(parcel), strict=True):
            if scan.house.name == house and len(mine):
                cell = scan.frame.grid.cell_m
                rows, cols = np.divmod(scan.index[mine], scan.frame.grid.cols)
                house_m2, pad_m2 = (
                    covered_cells(rows, cols, what.length_m / cell, what.width_m / cell) * cell**2
                    for what in (scan.house, scan.pad)
                )
                areas.append((house_m2, pad_m2))
                best.append(np.max(scored[mine], where=np.isfinite(scored[mine]), initial=-np.inf))
        passes = len(areas) > 1
        if not passes and self._may_hold_more(parcel, house):
            return {}  # no place in the part that is known: what the whole parcel holds is not
        footprints, pads = np.max(areas, axis=0)  # of several bearings that with most
        return {
            "feasible": int(passes),
            "best_score": _plain(max(best)),
            "footprints_m2": round(float(footprints), 3),
            "pads_m2": round(float(pads), 3),
            "options": len(self.best(parcel, top, house)) if passes else 0,
        }

    def _may_hold_more(self, parcel: int, house: str) -> bool:
        """Whether a house of a size might stand where the heights are not known."""
        setback_m = self._result.settings.setback_m
        mine = (scan for scan in self._result.scans if scan.house.name == house)
        return any(may_hold_more(scan, parcel, setback_m) for scan in mine)

    @cached_property
    def _quantiles(self) -> dict[str, np.ndarray]:
        """Quantiles of the steady score and of the measures of every parcel, by name, float64 [parcels, QUANTILES]."""
        scans = self._result.scans
        owner = np.concatenate([scan.owner for scan in scans])
        columns = {"score": np.concatenate([np.asarray(values) for values in self._result.scored])}
        for name, title in MEASURES:
            if all(name in scan.measures for scan in scans):
                columns[title] = np.concatenate([_shown(scan, name) for scan in scans])
        return {name: grouped_quantiles(values, owner, self._count, QUANTILES) for name, values in columns.items()}


def _shown(scan: Scan, name: str) -> np.ndarray:
    """A measure of every placement, float [n]; NaN for the pitch where the model's cells are too wide, as in `candidates`."""
    values = scan.measures[name]
    return np.full_like(values, np.nan) if name == "pitch" and not shows_pitch(scan.frame, scan.house) else values


def grouped_quantiles(values: np.ndarray, group: np.ndarray, count: int, shares: Sequence[float]) -> np.ndarray:
    """Quantiles of the finite values of each group, straight between the two nearest: float64 [count, shares]; NaN where it has none.

    Arguments: values, float [n]; group, int [n], 0 to count - 1; shares, 0 to 1.
    """
    known = np.isfinite(values)
    values, group = values[known].astype(np.float64), group[known]
    values = values[np.lexsort((values, group))]
    size = np.bincount(group, minlength=count)
    some = size > 0
    start, last = (np.cumsum(size) - size)[some, None], size[some, None] - 1
    at = last * np.asarray(shares)
    low = np.floor(at).astype(np.int64)
    part = at - low
    below, above = values[start + low], values[start + np.minimum(low + 1, last)]
    found = np.full((count, len(shares)), np.nan)
    found[some] = np.where(part < 0.5, below + (above - below) * part, above - (above - below) * (1 - part))
    return found


def quantile_name(name: str, share: float) -> str:
    """The column of a quantile."""
    return f"{name}_q{round(100 * share):02d}"


def _plain(value: float) -> float | None:
    return float(round(float(value), 9)) if np.isfinite(value) else None
