"""Points of a cloud as rasters: ground, surface, and how many ground points stand behind each cell and how they scatter."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage, sparse
from scipy.spatial import Delaunay, QhullError, cKDTree

from tunnelsite.core.errors import InputRefused

REACH_CELLS = 5.0  # a cell farther than this from any ground point is a void: canopy, roof, water
LEAST_GROUND = 50
LEAST_SCATTER = 8  # points from which a plane and a scatter are given
SCATTER_REACH = (1, 2, 4)  # cells round one: 3 x 3, and more where these hold too few points
MOST_CELLS = 100_000_000
_SLACK = 1e-9  # cells: a centre on a side belongs to either triangle, to none never


@dataclass(frozen=True)
class CellGrid:
    """Square cells: west and north edge and cell side [map units], rows, cols."""

    west: float
    north: float
    side: float
    rows: int
    cols: int

    @classmethod
    def over(cls, easting: np.ndarray, northing: np.ndarray, side: float) -> CellGrid:
        """The cells over all points, their edges on whole multiples of the side. Errors: InputRefused for too many."""
        west, south = (math.floor(float(values.min()) / side) * side for values in (easting, northing))
        east, north = (math.ceil(float(values.max()) / side) * side for values in (easting, northing))
        rows, cols = max(1, round((north - south) / side)), max(1, round((east - west) / side))
        if rows * cols > MOST_CELLS:
            raise InputRefused(
                f"the points fill {rows} x {cols} cells",
                f"at most {MOST_CELLS:,}",
                "take a smaller circle or larger cells",
            )
        return cls(west, north, side, rows, cols)

    @property
    def affine(self) -> tuple[float, float, float, float, float, float]:
        """(a, b, c, d, e, f) for outer corners of cells."""
        return self.side, 0.0, self.west, 0.0, -self.side, self.north

    def cell_of(self, easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
        """Flat index of the cell that holds each point."""
        col = np.clip(((easting - self.west) / self.side).astype(np.int64), 0, self.cols - 1)
        row = np.clip(((self.north - northing) / self.side).astype(np.int64), 0, self.rows - 1)
        return row * self.cols + col

    def centres(self) -> tuple[np.ndarray, np.ndarray]:
        """Easting and northing of all cell centres [rows * cols]."""
        east = self.west + (np.arange(self.cols) + 0.5) * self.side
        north = self.north - (np.arange(self.rows) + 0.5) * self.side
        return np.tile(east, self.rows), np.repeat(north, self.cols)


@dataclass(frozen=True)
class GroundCells:
    """Ground from points.

    Attributes:
        height: float64 [rows, cols], at the cell's centre, NaN = void. count: int32, ground points in the cell.
        scatter: float32, rms of the ground points of 3 x 3 cells (5 x 5 or 9 x 9 where they are few) off their own plane, NaN
        where fewer than 8 points are. error: float32, standard error of the height, NaN = void or not known.

    The errors count as independent from cell to cell. A height between two points leans on both, so its neighbours err with it;
    each cell is given as much as lets the error of a sum or a plane over many cells come out right. What a whole flight line is
    off by is not in it.
    """

    height: np.ndarray
    count: np.ndarray
    scatter: np.ndarray
    error: np.ndarray

    @property
    def usual_error(self) -> float:
        """Root mean square of the cells' errors, NaN where none is known."""
        known = np.isfinite(self.error)
        return float(np.sqrt(np.mean(self.error[known].astype(float) ** 2))) if known.any() else math.nan


def ground_cells(easting: np.ndarray, northing: np.ndarray, height: np.ndarray, lattice: CellGrid) -> GroundCells:
    """Ground points as cells: their means, triangulated (linear between them, so a plane comes through exactly).

    Arguments: ground points [points] in map units; lattice. Errors: InputRefused for fewer than 50 points, or all in a line.
    Source of the errors: a mean of n points is off by scatter / sqrt(n), and the heights are weighted sums of such means (derived).
    """
    if len(height) < LEAST_GROUND:
        raise InputRefused(
            f"{len(height)} ground points lie in the area",
            f"at least {LEAST_GROUND}",
            "another cloud, or a larger circle",
        )
    cell = lattice.cell_of(easting, northing)
    size = lattice.rows * lattice.cols
    count = np.bincount(cell, minlength=size)
    held = np.flatnonzero(count)
    local = easting - lattice.west, northing - lattice.north, height - float(height.mean())
    means = [np.bincount(cell, values, size)[held] / count[held] for values in local]
    weights, known = _leaning(np.column_stack(means[:2]), lattice)
    scatter = _scatter(cell, local, count, lattice)
    variance = scatter.ravel()[held].astype(float) ** 2 / count[held]
    leaning = np.asarray(weights.sum(axis=0)).ravel()  # how many cells' worth rests on each mean
    found, error = np.full((2, size), np.nan)
    found[known] = weights @ means[2] + float(height.mean())
    error[known] = np.sqrt(weights @ (leaning * variance))
    shape = lattice.rows, lattice.cols
    return GroundCells(
        found.reshape(shape),
        count.reshape(shape).astype(np.int32),
        scatter,
        error.reshape(shape).astype(np.float32),
    )


def _leaning(spots: np.ndarray, lattice: CellGrid) -> tuple[sparse.csr_array, np.ndarray]:
    """How each cell's height leans on the means at spots [means, 2] from the lattice's corner: weights [known cells, means]; and
    the flat indices of the known cells, those inside the triangles and not too far from every spot."""
    try:
        triangles = Delaunay(spots)
    except QhullError:
        raise InputRefused("all ground points lie in one line", "points of an area", "name another cloud") from None
    cells, of = _cells_inside(spots[triangles.simplices] / lattice.side, lattice)
    at = np.column_stack([cells % lattice.cols + 0.5, -(cells // lattice.cols) - 0.5]) * lattice.side
    near = np.isfinite(cKDTree(spots).query(at, distance_upper_bound=REACH_CELLS * lattice.side)[0])
    known, corners = cells[near], triangles.simplices[of[near]]
    away = spots[corners] - at[near][:, None]
    twice = [
        _cross(away[:, k - 2], away[:, k - 1]) for k in range(3)
    ]  # area between the cell's centre and the side opposite
    share = np.column_stack(twice)
    share /= share.sum(axis=1, keepdims=True)
    rows = np.repeat(np.arange(known.size), 3)
    weights = sparse.csr_array((share.ravel(), (rows, corners.ravel())), shape=(known.size, len(spots)))
    return weights, known


def _cross(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.asarray(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])


def _cells_inside(corners: np.ndarray, lattice: CellGrid) -> tuple[np.ndarray, np.ndarray]:
    """Flat indices of the cells whose centres lie in a triangle, each once, and the number of that triangle.

    Arguments: corners [triangles, 3, (east, north)] in cells from the lattice's corner. Row by row, since a search for each centre costs
    far more.
    """
    east, down = corners[..., 0], -corners[..., 1]
    first = np.ceil(down.min(axis=1) - 0.5 - _SLACK).astype(int).clip(0)
    last = np.floor(down.max(axis=1) - 0.5 + _SLACK).astype(int).clip(None, lattice.rows - 1)
    of, row = _runs(first, last)
    left, right = np.full((2, of.size), np.inf)
    right *= -1
    for k in range(3):  # where each side meets the row
        here, there = ((east[of, j], down[of, j]) for j in (k - 1, k))
        run, drop = there[0] - here[0], there[1] - here[1]
        part = np.divide(row + 0.5 - here[1], drop, out=np.full(of.size, np.nan), where=drop != 0)
        meets = np.where((part >= -_SLACK) & (part <= 1 + _SLACK), here[0] + part * run, np.nan)
        left, right = np.fmin(left, meets), np.fmax(right, meets)
    some = np.isfinite(left)
    first = np.ceil(left[some] - 0.5 - _SLACK).astype(int).clip(0)
    last = np.floor(right[some] - 0.5 + _SLACK).astype(int).clip(None, lattice.cols - 1)
    which, col = _runs(first, last)
    cells, at = np.unique(row[some][which] * lattice.cols + col, return_index=True)
    return cells, of[some][which][at]


def _runs(first: np.ndarray, last: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whole numbers from first to last of each run, and the number of the run before each."""
    count = (last - first + 1).clip(0)
    of = np.repeat(np.arange(count.size), count)
    return of, first[of] + np.arange(of.size) - np.repeat(np.cumsum(count) - count, count)


def _scatter(cell: np.ndarray, local: tuple[np.ndarray, ...], count: np.ndarray, lattice: CellGrid) -> np.ndarray:
    """Residual rms of the points of a block of cells off the block's least-squares plane; see `GroundCells`."""
    east, north = lattice.centres()
    u, v, z = local[0] - (east[cell] - lattice.west), local[1] - (north[cell] - lattice.north), local[2]
    terms = {
        "n": None,
        "u": u,
        "v": v,
        "z": z,
        "uu": u * u,
        "uv": u * v,
        "vv": v * v,
        "uz": u * z,
        "vz": v * z,
        "zz": z * z,
    }
    shape = lattice.rows, lattice.cols
    own = {name: np.bincount(cell, values, count.size).astype(float).reshape(shape) for name, values in terms.items()}
    found = np.full(shape, np.nan, np.float32)
    for reach in SCATTER_REACH:
        missing = np.isnan(found)
        if not (missing & (own["n"] > 0)).any():  # only cells that hold points need theirs
            break
        sums = _block_moments(own, reach, lattice.side)
        missing &= sums["n"] >= LEAST_SCATTER
        found[missing] = _off_plane({name: values[missing] for name, values in sums.items()})
    return found


def _off_plane(sums: dict[str, np.ndarray]) -> np.ndarray:
    """Rms off the least-squares plane [n] from moment sums [n], NaN where the points tell no plane. By Cramer's rule."""
    n = sums["n"]
    uu, uv, vv, uz, vz, zz = (sums[a + b] - sums[a] * sums[b] / n for a, b in ("uu", "uv", "vv", "uz", "vz", "zz"))
    area = uu * vv - uv**2
    spread = area > 1e-6 * uu * vv  # else they lie in a line
    explained = np.divide(uz**2 * vv - 2 * uz * vz * uv + vz**2 * uu, area, out=np.zeros_like(area), where=spread)
    return np.where(spread, np.sqrt(np.maximum(zz - explained, 0.0) / (n - 3)), np.nan)


def _block_moments(own: dict[str, np.ndarray], reach: int, side: float) -> dict[str, np.ndarray]:
    """Moment sums over blocks of cells about the middle cell's centre: those of each cell, shifted and added."""
    away = np.arange(-reach, reach + 1) * side

    def total(name: str, east: int = 0, north: int = 0) -> np.ndarray:
        along = ndimage.correlate1d(own[name], away**east, axis=1, mode="constant")
        across: np.ndarray = ndimage.correlate1d(along, (-away) ** north, axis=0, mode="constant")  # rows run south
        return across

    return {
        "n": total("n"),
        "z": total("z"),
        "zz": total("zz"),
        "u": total("u") + total("n", 1),
        "v": total("v") + total("n", 0, 1),
        "uu": total("uu") + 2 * total("u", 1) + total("n", 2),
        "vv": total("vv") + 2 * total("v", 0, 1) + total("n", 0, 2),
        "uv": total("uv") + total("v", 1) + total("u", 0, 1) + total("n", 1, 1),
        "uz": total("uz") + total("z", 1),
        "vz": total("vz") + total("z", 0, 1),
    }


def surface_cells(easting: np.ndarray, northing: np.ndarray, height: np.ndarray, lattice: CellGrid) -> np.ndarray:
    """The highest point of each cell [rows, cols]; a cell without any takes the highest of its neighbours, else NaN."""
    cells = np.full(lattice.rows * lattice.cols, -np.inf)
    np.maximum.at(cells, lattice.cell_of(easting, northing), height)
    found = cells.reshape(lattice.rows, lattice.cols)
    near = ndimage.maximum_filter(found, 3, mode="constant", cval=-np.inf)
    found = np.where(np.isneginf(found), near, found)
    return np.where(np.isneginf(found), np.nan, found)
