"""Open ground: where a pad may lie. Worked out as vectors; every placement is tested exactly against them."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.grid import Grid
from tunnelsite.core.house import House, Pad
from tunnelsite.core.site import Frame, segments_of, segments_of_each
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.clear_centres import Lattice, blocked_centres
from tunnelsite.kernels.polygon_mask import polygon_mask
from tunnelsite.scan.tight_ground import FIT_M, Nudged, clear_points, least_half_m

# A buffer's arc is a chain of chords; 32 to the quarter circle and 0.03 % more radius keep all of it outside the true
# distance, so no placement is let through that the final exact check would have to refuse.
QUARTER_SEGMENTS = 32
OUTSIDE = 1.0 / np.cos(np.pi / (4 * QUARTER_SEGMENTS))
LEAST_DISTANCE_M = 1e-3  # points and lines without a distance still may not run through a pad


@dataclass(frozen=True)
class Bar:
    """Something a pad may not touch, or come nearer to than a distance [m]: the id of the rule and the shapes."""

    rule: str
    source: np.ndarray
    distance_m: float = 0.0

    @cached_property
    def geometry(self) -> shapely.Geometry:
        """The shapes widened by the distance, as one."""
        return widened(self.source, self.distance_m)

    @cached_property
    def tree(self) -> shapely.STRtree:
        """The shapes by where they lie."""
        return shapely.STRtree(self.source)


def widened(geometry: shapely.Geometry | np.ndarray, distance_m: float) -> shapely.Geometry:
    """All of `geometry` and everything nearer to it than `distance_m`, as one geometry, at most 0.03 % too wide."""
    parts = np.asarray(geometry, object)
    distance = distance_m * OUTSIDE
    if distance <= 0 and np.any(shapely.get_dimensions(parts) < 2):
        distance = LEAST_DISTANCE_M
    if distance > 0:
        parts = shapely.buffer(parts, distance, quad_segs=QUARTER_SEGMENTS)
    return shapely.union_all(parts)


def inset(parcel: shapely.Geometry, setback_m: float) -> shapely.Geometry:
    """The part of a parcel farther than `setback_m` from its own boundary, at most 0.03 % too small."""
    if setback_m <= 0:
        return parcel
    return shapely.buffer(parcel, -setback_m * OUTSIDE, quad_segs=QUARTER_SEGMENTS)


def bars(frame: Frame, clearance_m: float) -> list[Bar]:
    """Keep-outs, structures and drawn obstacles of a frame in the order in which they are tried.

    What is drawn as an obstacle stands there, however low: a hedge of half a metre bars a pad as a tree does.
    """
    found = [
        Bar(f"keep_out:{item.name}", _array(item.geometry), item.distance_m) for item in frame.keep_outs if len(item)
    ]
    if frame.structures is not None and len(frame.structures):
        found.append(Bar("structures", _array(frame.structures.geometry), clearance_m))
    if len(frame.outlines):
        found.append(Bar("obstacles", _array(frame.outlines)))
    return found


def _array(shapes: np.ndarray) -> np.ndarray:
    return np.asarray(shapes, object)


@dataclass
class OpenGround:
    """Feasible placements so far.

    Attributes:
        owner: integer [rows, cols]; index of the parcel whose open ground holds the whole pad; below 0 = none: -1 = the centre
            lies in no parcel or the pad crosses a boundary, -2 - k = bar k took it. Where parcels overlap the first in the
            file owns the place.
        inside: int64 [parcels]; placements tried: cells whose centre lies in the parcel (and in no earlier one).
        rejected: by rule, int64 [parcels].
        room: by parcel, the ground left inside its setback (for the reason why a parcel is too narrow).
        nudged: placements of cells that let the pad in at another point than their centre. A cell counts as such only where
            neither its own centre nor a neighbour's will do: in tight places.
    """

    owner: np.ndarray
    inside: np.ndarray
    rejected: dict[str, np.ndarray]
    room: list[shapely.Geometry]
    nudged: Nudged = field(default_factory=Nudged.none)


@dataclass(frozen=True)
class _Cells:
    """Cell by cell while the rules are tried: owner and inside as in `OpenGround`; home, parcel of the centre; near: some point
    of the cell may do. half_m, least_m: half length and width of the pad, and of what lies under it wherever it stands in the cell."""

    owner: np.ndarray
    home: np.ndarray
    near: np.ndarray
    half_m: tuple[float, float]
    least_m: tuple[float, float]


def open_ground(frame: Frame, pad: Pad, setback_m: float, barred: list[Bar]) -> OpenGround:
    """Every placement whose pad lies wholly in one parcel's setback and touches none of the bars.

    Arguments: frame; pad [m]; setback_m [m], inward from each parcel's own boundary; barred, from `bars`.
    """
    count, shape = len(frame.parcels), frame.grid.shape
    owner, home = (_nobody(frame, max(count, len(barred) + 2)) for _ in range(2))
    near = frame.store.empty(shape, np.bool_)
    near[:] = False
    farthest = max([setback_m, *(bar.distance_m for bar in barred)])
    least = least_half_m(pad, frame.grid.cell_m, farthest)
    cells = _Cells(owner, home, near, (pad.length_m / 2, pad.width_m / 2), least)
    room = list(inset(np.asarray(frame.parcels, object), setback_m))
    inside = _within_parcels(frame, cells, room)
    counted = [inside - _counts(owner, count)]
    for number, bar in enumerate(barred):
        counted.append(_take_bar(frame.grid, cells, bar, number, count))
    nudged, was = _nudged(frame, cells, pad, setback_m, barred)
    rejected: dict[str, np.ndarray] = {}
    for number, (rule, lost) in enumerate(zip(["boundary", *(bar.rule for bar in barred)], counted, strict=True)):
        back = home.flat[nudged.index[was == -1 - number]]
        rejected[rule] = rejected.get(rule, 0) + lost - np.bincount(back, minlength=count)
    frame.store.rest()
    return OpenGround(owner, inside, rejected, room, nudged)


def _within_parcels(frame: Frame, cells: _Cells, room: list[shapely.Geometry]) -> np.ndarray:
    """Give each cell to the parcel whose setback holds the pad; by parcel, how many centres it holds."""
    grid = frame.grid
    inside = np.zeros(len(frame.parcels), np.int64)
    outlines, rooms = (segments_of_each(np.array(shapes, object)) for shapes in (frame.parcels, room))
    bounds, empty = shapely.bounds(frame.parcels), shapely.is_empty(room).tolist()
    for index, (outline, edges) in enumerate(zip(outlines, rooms, strict=True)):
        rows, cols = _window(grid, bounds[index])
        if rows.start >= rows.stop or cols.start >= cols.stop:
            continue
        part = grid.window(rows.start, cols.start, rows.stop - rows.start, cols.stop - cols.start)
        place = Lattice(part.west_m, part.north_m, part.cell_m, *part.shape)
        for band in bands(part.shape):
            here = (slice(rows.start + band.start, rows.start + band.stop), cols)
            mine = _inside(outline, place, band) & (cells.home[here] < 0)
            cells.home[here][mine] = index
            inside[index] += np.count_nonzero(mine)
            if empty[index]:
                continue
            mine &= _inside(edges, place, band)
            cells.owner[here][mine & ~_blocked(edges, cells.half_m, place, band)] = index
            cells.near[here] |= mine & ~_blocked(edges, cells.least_m, place, band)
    return inside


def _take_bar(grid: Grid, cells: _Cells, bar: Bar, number: int, count: int) -> np.ndarray:
    """Take away what a bar takes; by parcel, how many placements that were still open."""
    place = Lattice(grid.west_m, grid.north_m, grid.cell_m, *grid.shape)
    edges, lost = segments_of(bar.geometry), np.zeros(count, np.int64)
    for band in bands(grid.shape):
        mine, within = cells.owner[band], _inside(edges, place, band)
        hit = (within | _blocked(edges, cells.half_m, place, band)) & (mine >= 0)
        lost += np.bincount(mine[hit], minlength=count)
        mine[hit] = -2 - number
        cells.near[band] &= ~(within | _blocked(edges, cells.least_m, place, band))
    return lost


def _counts(owner: np.ndarray, count: int) -> np.ndarray:
    """By parcel, how many cells it owns."""
    found = np.zeros(count, np.int64)
    for band in bands(owner.shape):
        mine = owner[band]
        found += np.bincount(mine[mine >= 0], minlength=count)
    return found


def _nudged(frame: Frame, cells: _Cells, pad: Pad, setback_m: float, barred: list[Bar]) -> tuple[Nudged, np.ndarray]:
    """Give the cells of tight places to their parcels. Return: where the houses stand, and what `owner` held there before."""
    index = np.concatenate([_tight(cells, band) for band in bands(cells.owner.shape)] or [np.empty(0, np.int64)])
    parcel = cells.home.flat[index]
    found, points = [np.empty(0, np.int64)], [np.empty((0, 2))]
    for number in np.unique(parcel):
        some = index[parcel == number]
        along, across = frame.grid.centre(*np.divmod(some, frame.grid.cols))
        half = frame.grid.cell_m / 2
        boxes = shapely.box(along - half, across - half, along + half, across + half)
        clear, there = clear_points(boxes, frame.parcels[number], setback_m, pad, barred)
        found.append(some[clear])
        points.append(there)
    index, (along, across) = np.concatenate(found), np.concatenate(points).T
    order = np.argsort(index)
    index = index[order]
    was = cells.owner.flat[index]
    cells.owner.flat[index] = cells.home.flat[index]
    return Nudged(index, along[order], across[order]), was


def _tight(cells: _Cells, band: slice) -> np.ndarray:
    """Cells of a band of rows that may let the pad in though their own centre and all neighbours' do not: int64, rising."""
    rows, cols = np.nonzero(cells.near[band] & (cells.owner[band] < 0))
    rows += band.start
    settled, last = np.zeros(len(rows), bool), np.array(cells.owner.shape) - 1
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            beside = np.clip(rows + down, 0, last[0]), np.clip(cols + right, 0, last[1])
            settled |= cells.owner[beside] == cells.home[rows, cols]
    return (rows * np.int64(cells.owner.shape[1]) + cols)[~settled]


def _nobody(frame: Frame, count: int) -> np.ndarray:
    """-1 everywhere, in the smallest type that holds the parcels' numbers."""
    owner = frame.store.empty(frame.grid.shape, np.min_scalar_type(-max(count, 1)).type)
    owner[:] = -1
    return owner


def _inside(edges: np.ndarray, place: Lattice, band: slice) -> np.ndarray:
    shape, rows = (place.rows, place.cols), (band.start, band.stop)
    return polygon_mask(edges, place.west_m, place.north_m, place.cell_m, shape, rows)


def _blocked(edges: np.ndarray, half_m: tuple[float, float], place: Lattice, band: slice) -> np.ndarray:
    return blocked_centres(edges, *half_m, place, (band.start, band.stop))


def _window(grid: Grid, bounds: np.ndarray) -> tuple[slice, slice]:
    """Rows and columns of the grid that can have their centre inside `bounds`."""
    if not np.isfinite(bounds).all():
        return slice(0, 0), slice(0, 0)
    west, south, east, north = bounds
    top, bottom = np.floor([(grid.north_m - north) / grid.cell_m, (grid.north_m - south) / grid.cell_m + 1]).astype(int)
    left, right = np.floor([(west - grid.west_m) / grid.cell_m, (east - grid.west_m) / grid.cell_m + 1]).astype(int)
    return (
        slice(max(top, 0), min(bottom, grid.rows)),
        slice(max(left, 0), min(right, grid.cols)),
    )


def why_nothing_fits(room: shapely.Geometry, parcel: shapely.Geometry, pad: Pad, house: House, setback_m: float) -> str:
    """The reason, in words, why not one pad fits a parcel: too narrow, too short or no such rectangle anywhere."""
    whole, inner, fit = _widest(parcel), _widest(room), pad.width_m - FIT_M

    def told(value_m: float) -> str:
        return amounts.size(value_m, feet=house.feet)

    need = f"the pad is {told(pad.width_m)} by {told(pad.length_m)}: the house and an apron of {told((pad.width_m - house.width_m) / 2)}"
    if whole < house.width_m - FIT_M:
        return f"too narrow: {_unlike(whole, house.width_m, 'house', house.feet)} ({need})"
    if whole < fit:
        return f"too narrow: {_unlike(whole, pad.width_m, 'pad', house.feet)} ({need})"
    if inner < fit:
        return f"too narrow inside the setback of {told(setback_m)}: {_unlike(inner, pad.width_m, 'pad', house.feet)} ({need})"
    return f"no room for the pad at this bearing, though {told(inner)} wide ({need}): try a shorter house or another bearing"


def _unlike(have_m: float, need_m: float, what: str, feet: bool) -> str:
    """What there is and what is needed; to a tenth of a millimetre where they are written alike."""
    have, need = (amounts.size(value, feet=feet) for value in (have_m, need_m))
    if have == need:
        have, need = f"{have_m:.4f} m", f"{need_m:.4f} m"
    return f"{have} at its widest, and the {what} needs {need}"


def _widest(area: shapely.Geometry) -> float:
    """Diameter [m] of the largest circle inside, to a millimetre."""
    parts = [part for part in shapely.get_parts(area) if shapely.get_dimensions(part) == 2 and not part.is_empty]
    circles = [shapely.maximum_inscribed_circle(part, tolerance=FIT_M / 4) for part in parts]
    return max((2 * shapely.length(circle) for circle in circles), default=0.0)
