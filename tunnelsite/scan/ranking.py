"""The ranking: the best places that stand apart from one another, the best of every house size among them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely

from tunnelsite.core.store import Store
from tunnelsite.kernels.clear_centres import TOLERANCE_M, Lattice, overlapping_centres
from tunnelsite.scan.engine import Scan
from tunnelsite.scan.steady import roomiest

FEW = 10_000  # placements, as of a small parcel: looked at one and all they are found sooner than by spans of cells


@dataclass(frozen=True)
class RankedPlacement:
    """One ranked placement: which scan, which of its packed placements, and its steady score."""

    scan: int
    item: int
    score: float


@dataclass(frozen=True)
class RankRules:
    """What makes a list of options: `top`, how many; `apart_m`, least distance between their centres [m]; `per_parcel`, most
    options in one parcel, None = any number."""

    top: int
    apart_m: float = 0.0
    per_parcel: int | None = None


Sound = Callable[[Scan, int], bool]


def ranked(
    scans: Sequence[Scan], scored: Sequence[np.ndarray], rules: RankRules, sound: Sound = lambda scan, item: True
) -> list[RankedPlacement]:
    """The best options over all scans, best first.

    Arguments: scans; scored, steady score of each stored placement by scan, NaN = not to be had; rules; sound, the exact
    vector test: a placement that fails it is passed over.
    Greedy: the best placement left is taken and every placement that overlaps it or stands nearer than `apart_m` is put
    aside. Equal scores go to the earlier scan (houses and bearings in the order given), then to the placement with more
    room to shift, then farther north, then farther west. Where several house sizes compete the best place of each size is in
    the list, near to another size's or not, in the place of the last ones where there is no room for it.
    """
    left = [Remaining(values, scan.frame.store) for scan, values in zip(scans, scored, strict=True)]
    pick_from = partial(_best, scans, scored, left)
    firsts = _best_of_sizes(scans, left, pick_from, sound)
    chosen: list[RankedPlacement] = []
    taken: dict[int, int] = {}
    while len(chosen) < rules.top:
        pick = pick_from(range(len(scans)))
        if pick is None:
            break
        if not sound(scans[pick.scan], pick.item):
            left[pick.scan].drop(np.array([pick.item]))
            continue
        chosen.append(pick)
        if len(chosen) == rules.top:
            break
        owner = int(scans[pick.scan].owner[pick.item])
        taken[owner] = taken.get(owner, 0) + 1
        full = owner if taken[owner] == rules.per_parcel else None
        for k, (scan, one) in enumerate(zip(scans, left, strict=True)):
            gone = near_placements(scan, scans[pick.scan], pick.item, rules.apart_m)
            if full is not None:
                gone = np.union1d(gone, np.flatnonzero(scan.owner == full))
            spared = [first.item for first in firsts if first.scan == k and first != pick]
            one.drop(gone[~np.isin(gone, spared)] if spared else gone)
            scan.frame.store.rest()
    missing = [first for first in firsts if first not in chosen]
    for first in missing:
        spare = [choice for choice in chosen if choice not in firsts]
        if len(chosen) >= rules.top and spare:
            chosen.remove(spare[-1])
        chosen.append(first)
    return sorted(chosen, key=lambda choice: -choice.score) if missing else chosen


def _best(
    scans: Sequence[Scan], scored: Sequence[np.ndarray], left: Sequence[Remaining], which: Sequence[int]
) -> RankedPlacement | None:
    """The best placement left in some scans, of equal ones that with most room; None where there is none."""
    found = [(k, *left[k].best()) for k in which]
    k, item, score = max(found, key=lambda one: one[2], default=(-1, -1, -np.inf))
    if score == -np.inf:
        return None
    equal = left[k].equal_to(score)
    return RankedPlacement(k, roomiest(scans[k], scored[k], equal) if len(equal) > 1 else item, float(score))


def _best_of_sizes(
    scans: Sequence[Scan],
    left: Sequence[Remaining],
    pick_from: Callable[[Sequence[int]], RankedPlacement | None],
    sound: Sound,
) -> list[RankedPlacement]:
    """The best sound placement of each house size, where there are several."""
    names = list(dict.fromkeys(scan.house.name for scan in scans))
    found = []
    for name in names if len(names) > 1 else []:
        which = [k for k, scan in enumerate(scans) if scan.house.name == name]
        while (pick := pick_from(which)) is not None:
            if sound(scans[pick.scan], pick.item):
                found.append(pick)
                break
            left[pick.scan].drop(np.array([pick.item]))
    return found


class Remaining:
    """Scores of the placements still to be had: only pieces that lost one are copied, and only they are searched again.

    Arguments: scored, float64 [n], NaN = not to be had; left as it is. store, where it lives.
    """

    def __init__(self, scored: np.ndarray, store: Store) -> None:
        self._scored, self._piece = scored, store.piece
        self._changed: dict[int, np.ndarray] = {}
        self._best = np.full((-(-len(scored) // self._piece), 2), -np.inf)  # score and place of each piece's first best
        for piece, part in enumerate(store.pieces(len(scored))):
            self._search(piece, scored[part])

    def _search(self, piece: int, values: np.ndarray) -> None:
        known = np.where(np.isnan(values), -np.inf, values)
        first = int(np.argmax(known))
        self._best[piece] = known[first], piece * self._piece + first

    def best(self) -> tuple[int, float]:
        """(place, score) of the first best placement left; (-1, -inf) where there is none."""
        if not len(self._best):
            return -1, -np.inf
        score, item = self._best[int(np.argmax(self._best[:, 0]))]
        return int(item), float(score)

    def equal_to(self, best: float) -> np.ndarray:
        """All placements left with the best score: int64, rising."""
        found = [
            np.flatnonzero(self._values(piece) == best) + piece * self._piece
            for piece in np.flatnonzero(self._best[:, 0] == best).tolist()
        ]
        return np.concatenate(found)

    def _values(self, piece: int) -> np.ndarray:
        kept = self._changed.get(piece)
        return self._scored[piece * self._piece : (piece + 1) * self._piece] if kept is None else kept

    def drop(self, items: np.ndarray) -> None:
        """Put placements aside; items: int64, rising."""
        bounds = np.searchsorted(items, np.arange(len(self._best) + 1) * self._piece)
        for piece in np.flatnonzero(np.diff(bounds)).tolist():
            if piece not in self._changed:
                self._changed[piece] = self._values(piece).copy()
            values = self._changed[piece]
            values[items[bounds[piece] : bounds[piece + 1]] - piece * self._piece] = -np.inf
            self._search(piece, values)


def footprint_corners(scan: Scan, item: int) -> np.ndarray:
    """Easting and northing [m, local projection] of the footprint's corners: float64 [4, 2], counter-clockwise from
    the west (start) end's right-hand corner."""
    grid = scan.frame.grid
    along, across = scan.centre(scan.index[item])
    u = np.array([-0.5, 0.5, 0.5, -0.5]) * scan.house.length_m
    v = np.array([-0.5, -0.5, 0.5, 0.5]) * scan.house.width_m
    return np.column_stack(grid.to_map(along + u, across + v))


def near_placements(scan: Scan, other: Scan, item: int, apart_m: float) -> np.ndarray:
    """Packed positions, rising, of a scan's placements that overlap a placement of another or stand nearer than `apart_m`."""
    if other.frame is scan.frame and len(scan.index) <= FEW:
        return _near_of_few(scan, other, item, apart_m)
    grid, house = scan.frame.grid, scan.house
    corners = footprint_corners(other, item)
    outline = np.column_stack(grid.from_map(corners[:, 0], corners[:, 1]))
    place = Lattice(grid.west_m, grid.north_m, grid.cell_m, *grid.shape)
    over = overlapping_centres(outline, house.length_m / 2, house.width_m / 2, place)
    along, across = outline.mean(axis=0)
    found = _stored(scan, over)
    if apart_m > 0:
        found = np.union1d(found, _stored(scan, _disc_spans(scan, along, across, apart_m)))
    return _nudged_as_they_stand(scan, outline, apart_m, found)


def _near_of_few(scan: Scan, other: Scan, item: int, apart_m: float) -> np.ndarray:
    """The same for placements on one grid, each of them looked at."""
    place = other.centre(other.index[item])
    along, across = (np.abs(all_m - one_m) for all_m, one_m in zip(scan.centre(scan.index), place, strict=True))
    length, width = (scan.house.length_m + other.house.length_m) / 2, (scan.house.width_m + other.house.width_m) / 2
    over = (along < length - TOLERANCE_M) & (across < width - TOLERANCE_M)
    return np.flatnonzero(over | (np.hypot(along, across) < apart_m - TOLERANCE_M))


def _nudged_as_they_stand(scan: Scan, outline: np.ndarray, apart_m: float, found: np.ndarray) -> np.ndarray:
    """`found`, rising, with placements that are not in the middle of their cell judged by where they are."""
    nudged, house = scan.ground.nudged, scan.house
    if not len(nudged.index) or not len(scan.index):
        return found
    at = np.minimum(np.searchsorted(scan.index, nudged.index), len(scan.index) - 1)
    there = np.flatnonzero(scan.index[at] == nudged.index)
    half = (house.length_m / 2 - TOLERANCE_M, house.width_m / 2 - TOLERANCE_M)
    along, across = nudged.along_m[there], nudged.across_m[there]
    boxes = shapely.box(along - half[0], across - half[1], along + half[0], across + half[1])
    middle = outline.mean(axis=0)
    near = np.hypot(along - middle[0], across - middle[1]) < apart_m - TOLERANCE_M
    hit = at[there][near | shapely.intersects(boxes, shapely.polygons(outline))]
    return np.union1d(np.setdiff1d(found, at[there]), hit)


def _disc_spans(scan: Scan, along_m: float, across_m: float, radius_m: float) -> np.ndarray:
    """Cell centres nearer to a point than a radius: int64 [n, 3], row, first and past-the-last column."""
    grid = scan.frame.grid
    reach = int(radius_m / grid.cell_m) + 1
    row = int((grid.north_m - across_m) / grid.cell_m)
    rows = np.arange(max(row - reach, 0), min(row + reach + 1, grid.rows))
    half = np.sqrt(np.maximum(radius_m**2 - (grid.centre(rows, 0)[1] - across_m) ** 2, 0.0))
    middle = (along_m - grid.west_m) / grid.cell_m - 0.5
    first = (
        np.floor(middle - half / grid.cell_m + 1e-9).astype(np.int64) + 1
    )  # a centre right at the radius is far enough
    stop = np.ceil(middle + half / grid.cell_m - 1e-9).astype(np.int64)
    spans = np.column_stack([rows, np.clip(first, 0, grid.cols), np.clip(stop, 0, grid.cols)])
    return spans[spans[:, 1] < spans[:, 2]]


def _stored(scan: Scan, spans: np.ndarray) -> np.ndarray:
    """Packed positions of the stored placements in spans of columns."""
    grid = scan.frame.grid
    start = np.searchsorted(scan.index, spans[:, 0] * grid.cols + spans[:, 1])
    stop = np.searchsorted(scan.index, spans[:, 0] * grid.cols + spans[:, 2])
    length = stop - start
    return np.repeat(start - (np.cumsum(length) - length), length) + np.arange(length.sum())
