"""A window of a frame turned to another ridge bearing, so that a house can be tried at any bearing without a new frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from tunnelsite.core.grid import Grid
from tunnelsite.core.layers import Features
from tunnelsite.core.site import Frame
from tunnelsite.kernels.resample import bilinear_at


def turned(frame: Frame, bearing_deg: float, centre: tuple[float, float], reach_m: float) -> Frame:
    """The land round one place on a grid of another bearing.

    Arguments: frame; bearing_deg of the new grid; centre, along and across [m] on the frame's grid: the middle of a cell of the
    new one; reach_m, how far the window goes in each direction [m].
    Return: a frame of the same cells. Its ground is bilinear. Every other layer has the nearest cell's value, so that a narrow
    drainage line or a thin wall keeps its height.
    """
    old = frame.grid
    blank = replace(old, bearing_deg=float(bearing_deg))
    along, across = blank.from_map(*old.to_map(*centre))
    reach = round(reach_m / old.cell_m)
    side = (reach + 0.5) * old.cell_m
    grid = replace(blank, rows=2 * reach + 1, cols=2 * reach + 1, west_m=along - side, north_m=across + side)
    down, right = np.mgrid[: grid.rows, : grid.cols]
    there = old.from_map(*grid.to_map(*grid.centre(down, right)))
    row, col = (old.north_m - there[1]) / old.cell_m - 0.5, (there[0] - old.west_m) / old.cell_m - 0.5
    return replace(
        frame,
        grid=grid,
        layers=_nearest(frame, row, col) | {"ground": _bilinear(frame.ground, row, col)},
        parcels=_turned_shapes(frame.parcels, old, grid),
        outlines=_turned_shapes(frame.outlines, old, grid),
        keep_outs=tuple(_turned_features(item, old, grid) for item in frame.keep_outs),
        services={name: _turned_features(item, old, grid) for name, item in frame.services.items()},
        own_features={name: _turned_features(item, old, grid) for name, item in frame.own_features.items()},
        obstacles=_turned_if(frame.obstacles, old, grid),
        structures=_turned_if(frame.structures, old, grid),
        lamps=_turned_if(frame.lamps, old, grid),
        soils=_turned_if(frame.soils, old, grid),
        whole=frame.whole or frame,
    )


def _nearest(frame: Frame, row: np.ndarray, col: np.ndarray) -> dict[str, np.ndarray]:
    """Layers at the nearest cells; beyond the frame what stands for no data."""
    shape = frame.grid.shape
    rows, cols = np.rint(row).astype(int), np.rint(col).astype(int)
    outside = (rows < 0) | (rows >= shape[0]) | (cols < 0) | (cols >= shape[1])
    rows[outside] = cols[outside] = 0
    found = {}
    for name, values in frame.layers.items():
        found[name] = values[rows, cols]
        found[name][outside] = frame.nothing(name)
    return found


def _bilinear(values: np.ndarray, row: np.ndarray, col: np.ndarray) -> np.ndarray:
    top, left = max(int(row.min()) - 1, 0), max(int(col.min()) - 1, 0)
    part = np.ascontiguousarray(values[top : int(row.max()) + 3, left : int(col.max()) + 3], np.float32)
    found: np.ndarray = bilinear_at(part, row.ravel() - top, col.ravel() - left).reshape(row.shape).astype(np.float32)
    return found


def _turned_if(item: Features | None, old: Grid, new: Grid) -> Features | None:
    return None if item is None else _turned_features(item, old, new)


def _turned_features(item: Features, old: Grid, new: Grid) -> Features:
    return replace(item, geometry=_turned_shapes(item.geometry, old, new))


def _turned_shapes(shapes: np.ndarray, old: Grid, new: Grid) -> np.ndarray:
    """Shapes in the along and across of another bearing."""

    def moved(points: np.ndarray) -> np.ndarray:
        return np.column_stack(new.from_map(*old.to_map(points[:, 0], points[:, 1])))

    found: np.ndarray = shapely.transform(np.asarray(shapes, object), moved)
    return found
