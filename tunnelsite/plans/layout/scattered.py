"""From a screening to the best block of houses: every placement that passed with its score, gaps, shade, trenches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.shade_gap import Roof, clear_gap_m, shade_reach
from tunnelsite.plans.layout.packing import LayoutRules, ScoredPlacements
from tunnelsite.plans.layout.thinned import ThinnedLayout, thinned_layout
from tunnelsite.scan.engine import Scan
from tunnelsite.scan.ranking import RankedPlacement
from tunnelsite.scan.refine import broken_rules, placement, rectangle
from tunnelsite.screening.result import Result

RETRIES = 5  # open ground lets nothing through that the exact test refuses, but for rounding


@dataclass(frozen=True)
class ShadeRule:
    """When no house may shade the next one: hours before and after solar noon, the sun's declination [deg] (None =
    midwinter), and what casts the shade: `arch` or `gable`, eave height [m]."""

    hours_from_noon: float
    declination_deg: float | None = None
    roof: str = "arch"
    eave_m: float = 0.0


@dataclass(frozen=True)
class Block:
    """A block of houses of one screening.

    Attributes:
        choices: which placements, best first. found: the layout and its bounds over all bearings.
        bearing_deg: nominal ridge bearing of the block. gaps_m: by size, (left, right) gap that shade asks for [m].
        unproven_bearings: other bearings whose bound lies above the block, so that a better block may lie there.
    """

    choices: list[RankedPlacement]
    found: ThinnedLayout
    bearing_deg: float
    gaps_m: dict[str, tuple[float, float]]
    unproven_bearings: tuple[float, ...]


def best_block(
    result: Result, rules: LayoutRules, shade: ShadeRule | None = None, parcels: Sequence[str] = ()
) -> Block:
    """The best block of houses among all placements of a screening that passed every limit.

    All houses of a block share one ridge bearing; every bearing of the screening is tried.

    Arguments: result; rules, sizes in the order of the screening's houses; shade, or None;
    parcels, names of those to which the block is held, none = all.
    Errors: as `thinned_layout`; UsageError where the sun is not up at the hour of the shade rule, or for other parcels.
    """
    known_parcels(result, parcels)
    bearings: dict[int, list[int]] = {}
    for k, scan in enumerate(result.scans):
        bearings.setdefault(id(scan.frame), []).append(k)
    blocks = [_block(result, scans, rules, shade, parcels) for scans in bearings.values()]
    best = max(blocks, key=lambda block: _worth(block, rules))
    others = tuple(
        block.bearing_deg
        for block in blocks
        if block is not best
        and (block.found.layout.score_bound > best.found.layout.score + 1e-6)
        and not block.found.layout.proven
    )
    return replace(best, unproven_bearings=others)


def known_parcels(result: Result, parcels: Sequence[str]) -> None:
    """Errors: UsageError for a parcel that the screening does not know."""
    for name in parcels:
        if name not in result.frame.parcel_names:
            raise UsageError(
                f"there is no parcel {name!r}", ", ".join(result.frame.parcel_names), "choose one of these"
            )


def _worth(block: Block, rules: LayoutRules) -> tuple[float, float]:
    houses = float(len(block.choices)) if rules.way == "houses" else 0.0
    return houses, block.found.layout.score


def _block(
    result: Result, scans: Sequence[int], rules: LayoutRules, shade: ShadeRule | None, parcels: Sequence[str]
) -> Block:
    frame = result.scans[scans[0]].frame
    gaps = {result.scans[k].house.name: shade_gaps(result.scans[k], shade) for k in scans}
    off = [k for k, name in enumerate(frame.parcel_names) if parcels and name not in parcels]
    able = {k: np.isfinite(result.scored[k]) & ~np.isin(result.scans[k].owner, off) for k in scans}
    for _ in range(RETRIES):
        given, which = _placements(result, able, gaps)
        found = thinned_layout(given, rules, frame.grid.cell_m)
        choices = [
            RankedPlacement(int(which[one, 0]), int(which[one, 1]), float(given.score[one]))
            for one in found.layout.chosen
        ]
        settings = result.settings
        broken = [
            choice
            for choice in choices
            if broken_rules(result.scans[choice.scan], choice.item, settings.setback_m, settings.clearance_m)
        ]
        if not broken:
            choices.sort(key=lambda choice: -choice.score)
            return Block(choices, found, frame.grid.bearing_deg, gaps, ())
        for choice in broken:  # open ground lets nothing through that the exact test refuses, but for rounding
            able[choice.scan][choice.item] = False
    raise ArithmeticError("the block still breaks the rules of the ground after several tries")


def shade_gaps(scan: Scan, shade: ShadeRule | None) -> tuple[float, float]:
    """Gaps [m] that a house needs on the left and right of its ridge so as to shade no other house; 0 without a rule."""
    if shade is None:
        return 0.0, 0.0
    house = scan.house
    roof = Roof(house.ridge_m, house.width_m, shade.roof, shade.eave_m)
    bearing = scan.frame.grid.bearing_deg
    reach = shade_reach(scan.frame.lat_deg, shade.hours_from_noon, bearing, shade.declination_deg)
    left, right = (clear_gap_m(roof, one) for one in reach)
    return left, right


def _placements(
    result: Result, able: Mapping[int, np.ndarray], gaps: Mapping[str, tuple[float, float]]
) -> tuple[ScoredPlacements, np.ndarray]:
    """All scored placements of one bearing, and (scan, item) of each."""
    columns: dict[str, list[np.ndarray]] = {name: [] for name in ScoredPlacements.__dataclass_fields__}
    which = []
    for size, (k, keep) in enumerate(able.items()):
        scan, score = result.scans[k], result.scored[k]
        items = np.flatnonzero(keep)
        along, across = scan.centre(scan.index[items])
        left, right = gaps[scan.house.name]
        values = (along, across, scan.house.length_m, scan.house.width_m, score[items], size, left, right)
        for name, value in zip(columns, values, strict=True):
            columns[name].append(np.broadcast_to(np.asarray(value, float), items.shape))
        which.append(np.column_stack([np.full(items.shape, k), items]))
    parts = {name: np.concatenate(found) for name, found in columns.items()}
    return ScoredPlacements(**parts), np.concatenate(which)


def footprints(result: Result, choices: Sequence[RankedPlacement]) -> list[shapely.Polygon]:
    """Footprints of chosen placements in the grid's along and across [m]."""
    found = []
    for choice in choices:
        scan = result.scans[choice.scan]
        _, _, along, across = placement(scan, choice.item)
        found.append(rectangle(along, across, scan.house.length_m, scan.house.width_m))
    return found
