"""The ground a plan rests on: as a blade meets it, less what errors of the elevations alone would show under the pad."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.stakes import heights_at
from tunnelsite.kernels.terrain.blade import blade_ground
from tunnelsite.kernels.terrain.lone_things import lone_reach, lone_things
from tunnelsite.kernels.terrain.pads_abreast import kept_share
from tunnelsite.plans.place import PlacedHouse, box
from tunnelsite.scan.pitch_error import lone_error, ripple_of

NO_ERROR = ErrorModel(0.0, 0.0)


@dataclass(frozen=True)
class PadRipple:
    """The ground of a pad off its least-squares plane. Attributes: u, v, weight of its cells [n]; q, heights off the plane [m];
    square, their weighted mean square [m2]."""

    u: np.ndarray
    v: np.ndarray
    weight: np.ndarray
    q: np.ndarray
    square: float

    def plane_of(self, heights: np.ndarray) -> np.ndarray:
        """Level and two slopes of the weighted least-squares plane of heights at the same cells."""
        root = np.sqrt(self.weight)
        terms = np.column_stack([np.ones(self.u.size), self.u, self.v]) * root[:, None]
        plane: np.ndarray = np.linalg.lstsq(terms, heights * root, rcond=None)[0]
        return plane


def pad_ripple(place: PlacedHouse, ground: np.ndarray) -> PadRipple:
    """The ground of a pad off its plane. Errors: InputRefused as `Place.known_pad`."""
    rows, cols, weights = place.pad_cells()
    heights = place.known_pad(ground).ravel()
    u, v = (at.ravel() for at in place.distances(*np.mgrid[rows, cols]))
    bare = PadRipple(u, v, weights.ravel(), heights, 0.0)
    level, along, across = bare.plane_of(heights - heights.mean())
    q = heights - heights.mean() - level - along * u - across * v
    return PadRipple(u, v, bare.weight, q, float((bare.weight * q * q).sum() / bare.weight.sum()))


@dataclass(frozen=True)
class Shown:
    """What errors of the elevations alone show under a pad. Attributes: square, mean square off the plane [m2]; counted, as much of
    it as is taken for error; freedom, as in `kernels.terrain.blade.Ripple`."""

    square: float
    counted: float
    freedom: float

    @classmethod
    def under(cls, place: PlacedHouse, error: ErrorModel) -> Shown:
        """Under the pad of a place."""
        ripple = ripple_of(error, place.pad, place.grid.cell_m)
        square, counted = ((error.sd_m * rms) ** 2 for rms in (ripple.rms, ripple.counted))
        return cls(square, counted, ripple.freedom)


def standing_alone(felt: np.ndarray, place: PlacedHouse, error: ErrorModel) -> np.ndarray:
    """Lone things on and round the pad [m], else 0, as felt: whatever is taken for error, they are there to be graded
    (`kernels.terrain.lone_things`). Arguments: felt, of `felt_ground`; place; error."""
    cell, out = place.grid.cell_m, np.zeros(felt.shape)
    if error.sd_m <= 0:
        return out
    around, near = (
        place.window(place.on_grid(box(place.pad.length_m / 2 + spare, place.pad.width_m / 2 + spare)).bounds)
        for spare in (cell * (2 + lone_reach(cell)), cell)
    )
    found = np.zeros(felt.shape)
    near_level = (felt[around] - felt[place.row, place.col]).astype(np.float32)
    found[around] = lone_things(near_level, cell, lone_error(error, cell))
    out[near] = found[near]
    return out


def felt_ground(ground: np.ndarray, place: PlacedHouse, reach_m: float) -> np.ndarray:
    """The ground as a blade meets it, in a window round the pad; the rest as it was. float64."""
    out = np.array(ground, float)
    reach = (max(place.pad.length_m, place.pad.width_m) / 2 + reach_m) / place.grid.cell_m + 2
    rows = slice(max(int(place.row - reach), 0), min(int(place.row + reach) + 1, out.shape[0]))
    cols = slice(max(int(place.col - reach), 0), min(int(place.col + reach) + 1, out.shape[1]))
    datum = np.nanmedian(out[rows, cols]) if np.isfinite(out[rows, cols]).any() else 0.0
    out[rows, cols] = blade_ground(out[rows, cols] - datum, place.grid.cell_m) + datum
    return out


def judged_ground(felt: np.ndarray, place: PlacedHouse, error: ErrorModel) -> np.ndarray:
    """Felt ground less what errors alone would show: the numbers of a plan and of the screening's limits are the same.

    Arguments: felt, of `felt_ground`; place; error. What was taken off at the pad's edge fades beyond it as errors do.
    """
    shown = Shown.under(place, error)
    if shown.counted <= 0:
        return felt
    lone = standing_alone(felt, place, error)
    ground = felt - lone
    ripple = pad_ripple(place, ground)
    rows, cols, _ = place.pad_cells()
    ring = (
        slice(max(rows.start - 1, 0), min(rows.stop + 1, felt.shape[0])),
        slice(max(cols.start - 1, 0), min(cols.stop + 1, felt.shape[1])),
    )  # the pad's edges lie between its cells and the next ones
    u, v = place.distances(*np.mgrid[ring])
    datum = ground[place.row, place.col]
    level, along, across = ripple.plane_of(ground[rows, cols].ravel() - datum)
    q = ground[ring] - datum - level - along * u - across * v
    kept = kept_share(ripple.square, np.sqrt(shown.counted))
    return np.asarray(less_error(ground, place, np.nan_to_num((1.0 - kept) * q), ring, error) + lone)


def less_error(
    ground: np.ndarray, place: PlacedHouse, off: np.ndarray, block: tuple[slice, slice], error: ErrorModel
) -> np.ndarray:
    """Ground less an error known at a block of cells; beyond it that of the nearest cell, fading with the distance."""
    wide, cell = error.seen[1], place.grid.cell_m
    spare = int(np.ceil(2.5 * wide / cell))
    rows, cols = (
        np.arange(max(part.start - spare, 0), min(part.stop + spare, size))
        for part, size in zip(block, ground.shape, strict=True)
    )
    near = [np.clip(at, part.start, part.stop - 1) for at, part in zip((rows, cols), block, strict=True)]
    away = cell * np.hypot((rows - near[0])[:, None], cols - near[1])
    fade = np.exp(-((away / wide) ** 2)) if wide > 0 else (away == 0).astype(float)
    out = ground.copy()
    out[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1] -= (
        fade * off[np.ix_(near[0] - block[0].start, near[1] - block[1].start)]
    )
    return out


def rim_points(place: PlacedHouse) -> tuple[np.ndarray, np.ndarray]:
    """Where lines of cell middles meet the pad's edges, and its corners: distances u, v from the centre [m]."""
    sides = []
    for size in (place.pad.length_m, place.pad.width_m):
        most = int(size / 2 / place.grid.cell_m + 1e-9)
        sides.append(np.concatenate([np.arange(-most, most + 1) * place.grid.cell_m, [-size / 2, size / 2]]))
    u, v = (at.ravel() for at in np.meshgrid(*sides))
    edge = (abs(u) >= place.pad.length_m / 2 - 1e-9) | (abs(v) >= place.pad.width_m / 2 - 1e-9)
    return u[edge], v[edge]


def rim_heights(place: PlacedHouse, ground: np.ndarray, u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Ground [m] at points of the rim, NaN where a neighbour is not known."""
    return heights_at(ground, *place.cells(u, v))
