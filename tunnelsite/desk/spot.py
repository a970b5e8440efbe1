"""A small piece of a farm round one spot, turned with the ridge of the house in the hand: what its measures look at and no more."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import replace
from functools import lru_cache

import numpy as np
import shapely

from tunnelsite.core.grid import Grid, transformer
from tunnelsite.core.layers import Features
from tunnelsite.core.reproject import WGS84
from tunnelsite.core.site import Frame, Site
from tunnelsite.core.store import Store
from tunnelsite.scan.localise import warped
from tunnelsite.scan.spot import cell_at

NEAR_M = 60.0  # features farther from the house than this and their distance bar nothing within a shift
BEARINGS_KEPT = 16


class Spots:
    """Cuts pieces out of one frame.

    Arguments: site and frame, as screened: the frame holds every layer that the criteria read.
    """

    def __init__(self, site: Site, frame: Frame) -> None:
        self.site, self.frame = site, frame
        self._turned = lru_cache(maxsize=BEARINGS_KEPT)(self._turned_now)

    def map_place(self, lon: float, lat: float) -> tuple[float, float]:
        """Easting and northing [m] of a place in the local projection."""
        return transformer(WGS84, self.frame.grid.crs_wkt).transform(lon, lat)

    def piece(
        self, lon: float, lat: float, bearing_deg: float, reach_m: float, only: Container[str] | None = None
    ) -> Frame:
        """The land within `reach_m` of a place along and across a ridge: the middle cell's centre lies on the place.

        The ground is warped exactly from the elevation model; every other layer is that of the nearest cell; `only`: those
        that are wanted, None = all.
        Errors: UsageError for a place off the data.
        """
        cell_at(self.frame, lon, lat)  # refuses a place off the data
        cell = self.frame.grid.cell_m
        turned = self._turned(float(bearing_deg))
        along, across = turned.grid.from_map(*self.map_place(lon, lat))
        count = int(np.ceil(reach_m / cell))
        grid = replace(turned.grid, rows=2 * count + 1, cols=2 * count + 1,
                       west_m=float(along) - (count + 0.5) * cell, north_m=float(across) + (count + 0.5) * cell)  # fmt: skip
        layers = self._layers(grid, only)
        middle = shapely.Point(along, across)
        near = NEAR_M + reach_m
        parcels = np.asarray(turned.parcels, object)
        mine = _near(parcels, middle, near)
        return replace(
            turned,
            grid=grid,
            layers=layers,
            parcels=parcels[mine],
            parcel_names=[name for name, kept in zip(turned.parcel_names, mine, strict=True) if kept],
            structures=None if turned.structures is None else _close(turned.structures, middle, near),
            keep_outs=tuple(_close(item, middle, near + item.distance_m) for item in turned.keep_outs),
            services={name: _close(item, middle, near) for name, item in turned.services.items()},
            own_features={name: _close(item, middle, near) for name, item in turned.own_features.items()},
            soils=None if turned.soils is None else _close(turned.soils, middle, near),
            outlines=turned.outlines[_near(turned.outlines, middle, near)] if len(turned.outlines) else turned.outlines,
            units=dict(self.frame.units),
            notes=[],
            store=Store(),
            whole=self.frame,
        )

    def _layers(self, grid: Grid, only: Container[str] | None) -> dict[str, np.ndarray]:
        base = self.frame.grid
        along, across = grid.centre(*np.mgrid[0 : grid.rows, 0 : grid.cols])
        there = base.from_map(*grid.to_map(along, across))
        rows = np.floor((base.north_m - there[1]) / base.cell_m + 1e-6).astype(int)
        cols = np.floor((there[0] - base.west_m) / base.cell_m + 1e-6).astype(int)
        inside = (rows >= 0) & (cols >= 0) & (rows < base.rows) & (cols < base.cols)
        rows, cols = np.where(inside, rows, 0), np.where(inside, cols, 0)
        layers = {"ground": warped(self.site.dem, grid)}
        for name, values in self.frame.layers.items():
            if name in layers or (only is not None and name not in only):
                continue
            layers[name] = values[rows, cols]
            layers[name][~inside] = self.frame.nothing(name)
        return layers

    def _turned_now(self, bearing_deg: float) -> Frame:
        """The frame with its features along another ridge."""
        base = self.frame.grid
        grid = replace(base, bearing_deg=bearing_deg)
        if bearing_deg == base.bearing_deg:
            return self.frame

        def turned(points: np.ndarray) -> np.ndarray:
            return np.column_stack(grid.from_map(*base.to_map(points[:, 0], points[:, 1])))

        def carried(item: Features) -> Features:
            return replace(item, geometry=shapely.transform(item.geometry, turned))

        frame = self.frame
        return replace(
            frame,
            grid=grid,
            parcels=shapely.transform(np.asarray(frame.parcels, object), turned),
            structures=None if frame.structures is None else carried(frame.structures),
            keep_outs=tuple(carried(item) for item in frame.keep_outs),
            services={name: carried(item) for name, item in frame.services.items()},
            own_features={name: carried(item) for name, item in frame.own_features.items()},
            soils=None if frame.soils is None else carried(frame.soils),
            outlines=shapely.transform(np.asarray(frame.outlines, object), turned),
        )


def _near(shapes: np.ndarray, middle: shapely.Point, distance_m: float) -> np.ndarray:
    """Which shapes lie within a distance, and the nearest one in any case: bool [n]."""
    shapes = np.asarray(shapes, object)
    if not len(shapes):
        return np.zeros(0, bool)
    away = shapely.distance(shapes, middle)
    return np.asarray((away <= distance_m) | (away == np.nanmin(away)))


def _close(item: Features, middle: shapely.Point, distance_m: float) -> Features:
    if not len(item):
        return item
    kept = _near(item.geometry, middle, distance_m)
    return replace(
        item, geometry=item.geometry[kept], columns={name: values[kept] for name, values in item.columns.items()}
    )
