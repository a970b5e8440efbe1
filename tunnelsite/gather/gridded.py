"""Points of a cloud as rasters: ground, surface, and how many ground points stand behind each cell and how they scatter."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import cKDTree

from tunnelsite.core.errors import InputRefused

REACH_CELLS = 5.0  # a cell farther than this from any ground point is a void: canopy, roof, water
LEAST_GROUND = 50
MOST_CELLS = 100_000_000


@dataclass(frozen=True)
class Lattice:
    """Square cells: west and north edge and cell side [map units], rows, cols."""

    west: float
    north: float
    side: float
    rows: int
    cols: int

    @classmethod
    def over(cls, easting: np.ndarray, northing: np.ndarray, side: float) -> Lattice:
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
        scatter: float32, rms of the ground points of 3 x 3 cells off their own plane, NaN where fewer than 8 points are.
    """

    height: np.ndarray
    count: np.ndarray
    scatter: np.ndarray

    @property
    def error(self) -> float:
        """Standard error of a cell's height by its points: root mean square of scatter / sqrt(count), NaN where unknown.

        It holds what differs from cell to cell. What whole flight lines are off by is not in it.
        """
        known = np.isfinite(self.scatter) & (self.count > 0)
        if not known.any():
            return math.nan
        return float(np.sqrt(np.mean(self.scatter[known] ** 2 / self.count[known])))


def ground_cells(easting: np.ndarray, northing: np.ndarray, height: np.ndarray, lattice: Lattice) -> GroundCells:
    """Ground points as cells: their means, triangulated (linear between them, so a plane comes through exactly).

    Arguments: ground points [points] in map units; lattice. Errors: InputRefused for fewer than 50 points.
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
    east, north = lattice.centres()
    at = np.column_stack([east - lattice.west, north - lattice.north])
    spots = np.column_stack(means[:2])
    found = LinearNDInterpolator(spots, means[2])(at) + float(height.mean())
    far = cKDTree(spots).query(at, distance_upper_bound=REACH_CELLS * lattice.side)[0]
    found[~np.isfinite(far)] = np.nan
    shape = lattice.rows, lattice.cols
    scatter = _scatter(cell, local, count, lattice)
    return GroundCells(found.reshape(shape), count.reshape(shape).astype(np.int32), scatter)


def _scatter(cell: np.ndarray, local: tuple[np.ndarray, ...], count: np.ndarray, lattice: Lattice) -> np.ndarray:
    """Residual rms of the points of each 3 x 3 block off the block's least-squares plane, from moment sums about the cell."""
    shape = lattice.rows, lattice.cols
    east, north = lattice.centres()
    u = local[0] - (east[cell] - lattice.west)
    v = local[1] - (north[cell] - lattice.north)
    z = local[2]
    floor = np.zeros(len(count))
    np.divide(np.bincount(cell, z, len(count)), count, out=floor, where=count > 0)
    sums = _block_moments(cell, (u, v, z), count.size, shape, lattice.side)
    normal = np.empty((*shape, 3, 3))
    for (i, j), name in {(0, 0): "n", (0, 1): "u", (0, 2): "v", (1, 1): "uu", (1, 2): "uv", (2, 2): "vv"}.items():
        normal[..., i, j] = normal[..., j, i] = sums[name]
    right = np.stack([sums["z"], sums["uz"], sums["vz"]], axis=-1)
    enough = sums["n"] >= 8
    determinate = enough & (np.linalg.cond(np.where(enough[..., None, None], normal, np.eye(3))) < 1e10)
    safe = np.where(determinate[..., None, None], normal, np.eye(3))
    fitted = np.linalg.solve(safe, right[..., None])[..., 0]
    rest = sums["zz"] - (fitted * right).sum(axis=-1)
    free = np.maximum(sums["n"] - 3, 1)
    found = np.sqrt(np.maximum(rest, 0.0) / free)
    return np.where(determinate, found, np.nan).astype(np.float32)


def _block_moments(cell, parts, size: int, shape: tuple[int, int], side: float) -> dict[str, np.ndarray]:
    """Moment sums over 3 x 3 cells about the middle cell's centre: those of each cell, shifted and added."""
    u, v, z = parts
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
    own = {name: np.bincount(cell, values, size).reshape(shape) for name, values in terms.items()}
    total = {name: np.zeros(shape) for name in own}
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            m = {name: _moved(values, down, right) for name, values in own.items()}
            a, b = right * side, -down * side
            total["n"] += m["n"]
            total["u"] += m["u"] + a * m["n"]
            total["v"] += m["v"] + b * m["n"]
            total["z"] += m["z"]
            total["uu"] += m["uu"] + 2 * a * m["u"] + a * a * m["n"]
            total["vv"] += m["vv"] + 2 * b * m["v"] + b * b * m["n"]
            total["uv"] += m["uv"] + a * m["v"] + b * m["u"] + a * b * m["n"]
            total["uz"] += m["uz"] + a * m["z"]
            total["vz"] += m["vz"] + b * m["z"]
            total["zz"] += m["zz"]
    return total


def _moved(values: np.ndarray, down: int, right: int) -> np.ndarray:
    """The value of the neighbour `down` rows below and `right` columns on; 0 beyond the edge."""
    return ndimage.shift(values, (-down, -right), order=0, cval=0.0)


def surface_cells(easting: np.ndarray, northing: np.ndarray, height: np.ndarray, lattice: Lattice) -> np.ndarray:
    """The highest point of each cell [rows, cols]; a cell without any takes the highest of its neighbours, else NaN."""
    found = np.full(lattice.rows * lattice.cols, -np.inf)
    np.maximum.at(found, lattice.cell_of(easting, northing), height)
    found = found.reshape(lattice.rows, lattice.cols)
    near = ndimage.maximum_filter(found, 3, mode="constant", cval=-np.inf)
    found = np.where(np.isneginf(found), near, found)
    return np.where(np.isneginf(found), np.nan, found)
