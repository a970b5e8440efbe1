"""From a screening to the best compact block of houses: one parcel, rows along an aisle, one trunk of trenches."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from tunnelsite.core.house import Pad
from tunnelsite.core.site import Frame
from tunnelsite.plans.layout.compact_block import BlockGround, BlockRules, FoundBlock, best_compact
from tunnelsite.plans.layout.packing import Layout
from tunnelsite.plans.layout.scattered import RETRIES, Block, ShadeRule, known_parcels, shade_gaps
from tunnelsite.plans.layout.service_trenches import trench_costs
from tunnelsite.plans.layout.thinned import ThinnedLayout
from tunnelsite.scan.open_ground import Bar, bars, open_ground
from tunnelsite.scan.ranking import RankedPlacement
from tunnelsite.scan.refine import broken_rules
from tunnelsite.screening.result import Result


def compact_block(
    result: Result,
    rules: BlockRules,
    shade: ShadeRule | None = None,
    parcels: Sequence[str] = (),
    prices: Mapping[str, float] | None = None,
) -> Block:
    """The best compact block of a screening: houses of one size and bearing in rows on one parcel.

    Every bearing, size, parcel, arrangement and position is tried. Most houses first; then the highest total score, or, with prices
    of a metre of trench, the cheapest trunk among the blocks within `rules.give` points a house of it.

    Arguments: result; rules; shade, or None; parcels, names of those it is held to, none = all; prices, by service.
    Errors: UsageError as `best_block`.
    """
    known_parcels(result, parcels)
    gaps = {scan.house.name: shade_gaps(scan, shade) for scan in result.scans}
    frames = {id(scan.frame): scan.frame for scan in result.scans}
    costs = {key: trench_costs(one, list(one.parcels), prices) for key, one in frames.items()} if prices else {}
    asked = _BlockAsked(tuple(parcels), costs, set())
    for _ in range(RETRIES):
        found: list[_Found] = []
        for number, scan in enumerate(result.scans):
            side = max(rules.side_gap_m, *gaps[scan.house.name])
            found += _compact(result, number, replace(rules, side_gap_m=side), asked)
        if not found:
            return Block([], _layout_of(None, rules, result), result.frame.grid.bearing_deg, gaps, ())
        best = _cheapest(found, rules, priced=bool(prices))
        broken = {(best.scan, item) for item in best.items if _breaks(result, best.scan, item)}
        if not broken:
            scan, score = result.scans[best.scan], result.scored[best.scan]
            choices = [RankedPlacement(best.scan, item, float(score[item])) for item in best.items]
            choices.sort(key=lambda choice: -choice.score)
            return Block(choices, _layout_of(best, rules, result), scan.frame.grid.bearing_deg, gaps, ())
        asked.barred.update(broken)
    raise ArithmeticError("the block still breaks the rules of the ground after several tries")


@dataclass(frozen=True)
class _BlockAsked:
    """parcels, names of those wanted, none = all; costs, of trenches by frame; barred, (scan, item) that the exact test refused."""

    parcels: tuple[str, ...]
    costs: dict[int, np.ndarray]
    barred: set[tuple[int, int]]


@dataclass(frozen=True)
class _Found:
    """The best block of one scan on one parcel: items, stored placements of its houses; best_score over all parcels and scans."""

    scan: int
    items: list[int]
    block: FoundBlock
    best_score: float


def _cheapest(found: Sequence[_Found], rules: BlockRules, *, priced: bool) -> _Found:
    """Most houses, then the highest score; with prices the cheapest of those that give up no more than they may."""
    most = max(len(one.items) for one in found)
    found = [one for one in found if len(one.items) == most]
    top = max(one.block.best_score for one in found)
    give = rules.give * most if priced else 0.0
    able = [one for one in found if one.block.score >= top - give - 1e-9]
    best = min(able, key=lambda one: (one.block.cost, -one.block.score))
    return replace(best, best_score=top)


def _compact(result: Result, number: int, rules: BlockRules, asked: _BlockAsked) -> list[_Found]:
    """The best block of one scan on each parcel."""
    scan, score = result.scans[number], result.scored[number]
    grid, house, frame = scan.frame.grid, scan.house, scan.frame
    # a house may stand half a cell beside its cell's middle in tight places
    more = 1 if len(scan.ground.nudged.index) else 0
    apart = (house.width_m + rules.side_gap_m, house.length_m + rules.aisle_m)
    pitch = _cells(apart[0], grid.cell_m) + more, _cells(apart[1], grid.cell_m) + more
    size = _cells(house.width_m, grid.cell_m), _cells(house.length_m, grid.cell_m)
    strips, found = _Strips(frame), []
    # no house over a tap or a line: no trench could reach it
    taps = [Bar(name, np.asarray(item.geometry, object)) for name, item in frame.services.items() if len(item)]
    off_taps = open_ground(frame, scan.pad, 0.0, taps).owner.flat[scan.index] >= 0 if taps else True
    for parcel in np.unique(scan.owner):
        able = (scan.owner == parcel) & np.isfinite(score) & off_taps
        if asked.parcels and frame.parcel_names[parcel] not in asked.parcels:
            continue
        able[[item for scan_, item in asked.barred if scan_ == number]] = False
        items = np.flatnonzero(able)
        if not len(items):
            continue
        rows, cols = np.divmod(scan.index[items], grid.cols)
        window = (slice(rows.min(), rows.max() + 1), slice(cols.min(), cols.max() + 1))
        at = np.full((window[0].stop - window[0].start, window[1].stop - window[1].start), -1)
        at[rows - window[0].start, cols - window[1].start] = items
        costs = asked.costs.get(id(frame))
        cost = None if costs is None else costs[window]
        worth, aisle = np.where(at >= 0, score[at], np.nan), partial(strips.clear, window, int(parcel))
        block = best_compact(BlockGround(worth, cost, aisle, pitch, size), rules)
        if block is not None:
            found.append(_Found(number, [int(item) for item in at[tuple(block.cells.T)]], block, block.best_score))
    return found


def _cells(length_m: float, cell_m: float) -> int:
    return math.ceil(length_m / cell_m - 1e-9)


class _Strips:
    """Where strips of ground for an aisle are clear, each size worked out once.

    Arguments: frame. A strip keeps off keep-outs, structures and obstacles themselves and lies on one parcel.
    """

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._bars = [replace(bar, distance_m=0.0) for bar in bars(frame, 0.0)]
        self._owner: dict[tuple[int, int], np.ndarray] = {}

    def clear(self, window: tuple[slice, slice], parcel: int, deep: int, wide: int) -> np.ndarray:
        """bool over a window: the middle of a clear strip of the parcel, `deep` cells across and `wide` along."""
        if (deep, wide) not in self._owner:
            cell = self._frame.grid.cell_m
            strip = Pad(deep * cell, max(wide, 1) * cell)
            self._owner[deep, wide] = open_ground(self._frame, strip, 0.0, self._bars).owner
        found: np.ndarray = self._owner[deep, wide][window] == parcel
        return found


def _breaks(result: Result, scan: int, item: int) -> bool:
    settings = result.settings
    return bool(broken_rules(result.scans[scan], item, settings.setback_m, settings.clearance_m))


def _layout_of(best: _Found | None, rules: BlockRules, result: Result) -> ThinnedLayout:
    """The block as a layout: its score, bound and verdict."""
    given = sum(len(scan.index) for scan in result.scans)
    if best is None:
        return ThinnedLayout(Layout(np.empty(0, int), 0.0, 0, 0.0, True, 0.0, "No room for a house."), given, given, 1)
    block, count = best.block, len(best.items)
    shape = (
        f"{block.across} side by side"
        if block.along == 1
        else f"{block.along} rows of up to {block.across} along an aisle"
    )
    words = (
        f"{count} house{'s' if count != 1 else ''}{f', {shape}' if count > 1 else ''}, total score {block.score:.2f}: "
    )
    if block.score >= best.best_score - 1e-6:
        words += "the best of all such blocks on one parcel (every position was tried)."
    else:
        words += (
            f"the cheapest trunk of trenches among all such blocks within {rules.give:g} points a house of the best, "
            f"{best.best_score:.2f} (every position was tried)."
        )
    return ThinnedLayout(
        Layout(np.arange(count), block.score, count, best.best_score, True, 0.0, words), given, given, 1
    )
