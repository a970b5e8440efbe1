"""Open ground: where a pad may lie. Worked out as vectors; every placement is tested exactly against them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from tunnelsite.core.house import Pad
from tunnelsite.core.site import Frame, segments_of
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.clear_centres import Lattice, blocked_centres
from tunnelsite.kernels.polygon_mask import polygon_mask

# A buffer's arc is a chain of chords; 32 to the quarter circle and 0.03 % more radius keep all of it outside the true
# distance, so no placement is let through that the final exact check would have to refuse.
QUARTER_SEGMENTS = 32
OUTSIDE = 1.0 / np.cos(np.pi / (4 * QUARTER_SEGMENTS))
LEAST_DISTANCE_M = 1e-3  # points and lines without a distance still may not run through a pad


@dataclass(frozen=True)
class Bar:
    """Something a pad may not touch: a rule's id and the geometry, already widened by its distance."""

    rule: str
    geometry: shapely.Geometry


def widened(geometry, distance_m: float):
    """All of `geometry` and everything nearer to it than `distance_m`, as one geometry, at most 0.03 % too wide."""
    parts = np.asarray(geometry, object)
    distance = distance_m * OUTSIDE
    if distance <= 0 and np.any(shapely.get_dimensions(parts) < 2):
        distance = LEAST_DISTANCE_M
    if distance > 0:
        parts = shapely.buffer(parts, distance, quad_segs=QUARTER_SEGMENTS)
    return shapely.union_all(parts)


def inset(parcel, setback_m: float):
    """The part of a parcel farther than `setback_m` from its own boundary, at most 0.03 % too small."""
    if setback_m <= 0:
        return parcel
    return shapely.buffer(parcel, -setback_m * OUTSIDE, quad_segs=QUARTER_SEGMENTS)


def bars(frame: Frame, clearance_m: float) -> list[Bar]:
    """Keep-outs and structures of a frame in the order in which they are tried."""
    found = [
        Bar(f"keep_out:{item.name}", widened(item.geometry, item.distance_m)) for item in frame.keep_outs if len(item)
    ]
    if frame.structures is not None and len(frame.structures):
        found.append(Bar("structures", widened(frame.structures.geometry, clearance_m)))
    return found


@dataclass
class OpenGround:
    """Feasible placements so far.

    Attributes:
        owner: integer [rows, cols]; index of the parcel whose open ground holds the whole pad, -1 = none. Where parcels
            overlap the first in the file owns the place.
        inside: int64 [parcels]; placements tried: cells whose centre lies in the parcel (and in no earlier one).
        rejected: by rule, int64 [parcels].
        room: by parcel, the ground left inside its setback (for the reason why a parcel is too narrow).
    """

    owner: np.ndarray
    inside: np.ndarray
    rejected: dict[str, np.ndarray]
    room: list


def open_ground(frame: Frame, pad: Pad, setback_m: float, barred: list[Bar]) -> OpenGround:
    """Every placement whose pad lies wholly in one parcel's setback and touches none of the bars.

    Arguments: frame; pad [m]; setback_m [m], inward from each parcel's own boundary; barred, from `bars`.
    """
    grid, count = frame.grid, len(frame.parcels)
    owner, centres = (_nobody(frame, count) for _ in range(2))  # centres: the parcel, whether or not the pad fits
    room = [inset(parcel, setback_m) for parcel in frame.parcels]
    half_length, half_width = pad.length_m / 2, pad.width_m / 2
    inside, fitting = np.zeros(count, np.int64), np.zeros(count, np.int64)
    for index, (parcel, left) in enumerate(zip(frame.parcels, room, strict=True)):
        rows, cols = _window(grid, shapely.bounds(parcel))
        if rows.start >= rows.stop or cols.start >= cols.stop:
            continue
        part = grid.window(rows.start, cols.start, rows.stop - rows.start, cols.stop - cols.start)
        place = Lattice(part.west_m, part.north_m, part.cell_m, *part.shape)
        outline, edges = segments_of(parcel), segments_of(left)
        for band in bands(part.shape):
            here = (slice(rows.start + band.start, rows.start + band.stop), cols)
            mine = _inside(outline, place, band) & (centres[here] < 0)
            centres[here][mine] = index
            inside[index] += np.count_nonzero(mine)
            if left.is_empty:
                continue
            fits = mine & _inside(edges, place, band) & ~_blocked(edges, half_length, half_width, place, band)
            owner[here][fits] = index
            fitting[index] += np.count_nonzero(fits)
    rejected = {"boundary": inside - fitting}
    place = Lattice(grid.west_m, grid.north_m, grid.cell_m, *grid.shape)
    for bar in barred:
        edges = segments_of(bar.geometry)
        lost = rejected.setdefault(bar.rule, np.zeros(count, np.int64))
        for band in bands(grid.shape):
            mine = owner[band]
            hit = _inside(edges, place, band) | _blocked(edges, half_length, half_width, place, band)
            hit &= mine >= 0
            lost += np.bincount(mine[hit], minlength=count)
            mine[hit] = -1
    frame.store.rest()
    return OpenGround(owner, inside, rejected, room)


def _nobody(frame: Frame, count: int) -> np.ndarray:
    """-1 everywhere, in the smallest type that holds the parcels' numbers."""
    owner = frame.store.empty(frame.grid.shape, np.min_scalar_type(-max(count, 1)).type)
    owner[:] = -1
    return owner


def _inside(edges: np.ndarray, place: Lattice, band: slice) -> np.ndarray:
    shape, rows = (place.rows, place.cols), (band.start, band.stop)
    return polygon_mask(edges, place.west_m, place.north_m, place.cell_m, shape, rows)


def _blocked(edges: np.ndarray, half_length_m: float, half_width_m: float, place: Lattice, band: slice) -> np.ndarray:
    return blocked_centres(edges, half_length_m, half_width_m, place, (band.start, band.stop))


def _window(grid, bounds) -> tuple[slice, slice]:
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


def why_nothing_fits(room, parcel, pad: Pad, house, setback_m: float) -> str:
    """The reason, in words, why not one pad fits a parcel: too narrow, too short or no such rectangle anywhere."""
    whole, inner = _widest(parcel), _widest(room)
    need = (
        f"the pad is {pad.width_m:.1f} m x {pad.length_m:.1f} m: house {house.width_m:.1f} m x {house.length_m:.1f} m"
    )
    need += f" plus apron {(pad.width_m - house.width_m) / 2:.1f} m all round"
    if whole < house.width_m:
        return f"too narrow: {whole:.1f} m < {house.width_m:.1f} m ({need})"
    if whole < pad.width_m:
        return f"too narrow: {whole:.1f} m < {pad.width_m:.1f} m ({need})"
    if inner < pad.width_m:
        return f"too narrow: {inner:.1f} m inside the setback of {setback_m:.1f} m < {pad.width_m:.1f} m ({need})"
    return f"no room for the pad at this bearing, though {inner:.1f} m wide ({need})"


def _widest(area) -> float:
    """Diameter [m] of the largest circle inside."""
    parts = [part for part in shapely.get_parts(area) if shapely.get_dimensions(part) == 2 and not part.is_empty]
    return max((2 * shapely.length(shapely.maximum_inscribed_circle(part)) for part in parts), default=0.0)
