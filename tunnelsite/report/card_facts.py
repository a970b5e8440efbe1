"""What a card says of a candidate: for it, against it, how firm its rank is, and how far away things are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from tunnelsite.core.grid import transformer
from tunnelsite.decisions.criterion_words import criterion_words
from tunnelsite.report.chosen import PageOption
from tunnelsite.report.plain_words import file_words
from tunnelsite.scan.firmness.other_weights import candidates_over_shifts
from tunnelsite.scan.ranking import RankedPlacement
from tunnelsite.scan.refine import placement, rectangle
from tunnelsite.scan.steady import SteadyMarks
from tunnelsite.screening.not_assessed import unseen_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

GOOD, POOR = 0.8, 0.5
NO_OPTION = PageOption("")


@dataclass(frozen=True)
class Judged:
    """One criterion at one candidate.

    Attributes: id, title; words, a plain sentence; marks 0..1 or None where not assessed; weight; points of the score it
        brings, and lost by it, None unless marks are combined by the weighted mean.
    """

    id: str
    title: str
    words: str
    marks: float | None
    weight: float
    points: float | None
    lost: float | None


@dataclass(frozen=True)
class Firmness:
    """How firm the rank is, shares of the run's draws of weights and heights: first, among the first three, out (a limit rejects
    it); mean, of its scores on the drawn grounds; chance, that both slopes of the natural ground are within 1/192 by the pitch's
    standard error, NaN = not known; error, of the elevations, in words."""

    first: float
    top_3: float
    out: float
    mean: float
    chance: float
    error: str


@dataclass(frozen=True)
class Facts:
    """A candidate in words. rank, among the options shown; judged: every criterion with a weight; distances: (to what, metres);
    option, as the page shows it."""

    rank: int
    row: Mapping[str, Any]
    judged: tuple[Judged, ...]
    firmness: Firmness
    distances: tuple[tuple[str, float], ...]
    feet: bool
    option: PageOption = NO_OPTION

    @property
    def label(self) -> str:
        """Its letter, or else its rank."""
        return self.option.label or str(self.rank)

    def good(self) -> list[Judged]:
        """What speaks for it, the weightiest first."""
        found = [item for item in self.judged if item.marks is not None and item.marks >= GOOD and item.weight > 0]
        return sorted(found, key=lambda item: -item.weight * (item.marks or 0.0))

    def against(self) -> list[Judged]:
        """What speaks against it, the costliest first."""
        found = [item for item in self.judged if item.marks is not None and item.marks < GOOD and item.weight > 0]
        return sorted(found, key=lambda item: -item.weight * (1 - (item.marks or 0.0)))

    def unknown(self) -> list[Judged]:
        """What was not assessed."""
        return [item for item in self.judged if item.marks is None and item.weight > 0]


def all_facts(result: Result, options: Sequence[PageOption] = ()) -> list[Facts]:
    """The facts of every candidate of a result, best first. Arguments: result; options, as the page shows them."""
    if not result.choices:
        return []
    marks, draws = candidates_over_shifts(result), result.rank_shares
    found = []
    for k, (choice, row) in enumerate(zip(result.choices, result.rows, strict=True)):
        scan = result.scans[choice.scan]
        shares = (draws.first, draws.top, draws.out, draws.score_mean, draws.within_exact)
        first, top, out, mean, within = (float(part[k]) for part in shares)
        firmness = Firmness(first, top, out, mean, within, draws.errors[k].counted.plain_words(feet=scan.house.feet))
        judged = _judged(result, choice, marks.of(k), row)
        option = options[k] if options else PageOption(str(k + 1), rank=k + 1)
        found.append(Facts(k + 1, row, judged, firmness, _distances(result, choice, row), scan.house.feet, option))
    return found


def _judged(result: Result, choice: RankedPlacement, marks: SteadyMarks, row: Mapping[str, Any]) -> tuple[Judged, ...]:
    scan = result.scans[choice.scan]
    weights = np.array([judge.rubric.weight for judge in result.judges])
    total = float(weights.sum())
    found = []
    for judge, counted, assessed in zip(result.judges, marks.counted.tolist(), marks.assessed, strict=True):
        value = float(scan.measures[judge.id][choice.item])
        known = value if assessed and np.isfinite(value) else None
        share = 100 * judge.rubric.weight / total if total > 0 and result.settings.combine == "mean" else None
        unseen = unseen_words(judge.criterion, result.gaps)
        words = criterion_words(judge.criterion, judge.rubric, known, row, feet=scan.house.feet, unseen=unseen)
        points, lost = (None, None) if share is None else (share * counted, share * (1 - counted))
        title = judge.criterion.description.title
        found.append(Judged(judge.id, title, words, counted if assessed else None, judge.rubric.weight, points, lost))
    return tuple(found)


def _distances(result: Result, choice: RankedPlacement, row: Mapping[str, Any]) -> tuple[tuple[str, float], ...]:
    """How far the footprint is from services, the parcel's edge, what to keep clear of and structures [m]."""
    scan = result.scans[choice.scan]
    frame, house = scan.frame, scan.house
    _, _, along, across = placement(scan, choice.item)
    footprint = rectangle(along, across, house.length_m, house.width_m)
    found = [(name, float(row[f"reach_{name}_m"])) for name in result.site.services if _known(row, f"reach_{name}_m")]
    edge = shapely.boundary(frame.parcels[scan.owner[choice.item]])
    found.append(("edge of the parcel", float(shapely.distance(footprint, edge))))
    found += [
        (file_words(item.name), float(shapely.distance(footprint, item.geometry).min()))
        for item in frame.keep_outs
        if len(item)
    ]
    if row["clearance_m"] is not None:
        found.append(("nearest structure", float(row["clearance_m"])))
    return tuple(found)


def _known(row: Mapping[str, Any], name: str) -> bool:
    value = row.get(name)
    return value is not None and bool(np.isfinite(value))


def corners_on_map(result: Result, rank: int) -> np.ndarray:
    """The footprint's corners [4, 2] as easting and northing [m] of the first scan's local projection."""
    choice = result.choices[rank - 1]
    scan = result.scans[choice.scan]
    _, _, along, across = placement(scan, choice.item)
    ring = shapely.get_coordinates(rectangle(along, across, scan.house.length_m, scan.house.width_m))[:4]
    east, north = scan.frame.grid.to_map(ring[:, 0], ring[:, 1])
    if scan.frame.grid.crs_wkt != result.frame.grid.crs_wkt:
        east, north = transformer(scan.frame.grid.crs_wkt, result.frame.grid.crs_wkt).transform(east, north)
    return np.column_stack((east, north))
