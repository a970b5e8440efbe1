"""The site as it was read, and the frame: the site on the local grid of one ridge bearing."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from tunnelsite.core.counting import counted
from tunnelsite.core.crowns import CrownKinds
from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.layers import Drained, Features, SourceRaster
from tunnelsite.core.notebook import notebook_table
from tunnelsite.core.store import Store
from tunnelsite.core.weather import Weather

if TYPE_CHECKING:
    from tunnelsite.core.grid import Grid
    from tunnelsite.core.wind_rose import WindRose


@dataclass(frozen=True, repr=False)
class Site:
    """Everything that was read for one screening, in the coordinate systems of the files.

    Attributes:
        dem: bare ground. parcels: polygons where a house may stand.
        surface: ground plus what stands on it, or None.
        obstacles: points, lines, polygons with `height_m`. structures: polygons to stay clear of.
        keep_outs: features with their distance. services: by name (water, power, road ...).
        lamps, soils: as in the contract. weather: a year whose beam weighs the light, or None for a clear sky.
        wind: where it comes from, or None.
        dem_error: standard error of the DEM's cells [m], each for itself, or None.
        drained: gives the same land as it drains with all the land round it, or None where no more than the land read is known.
        notes: what was found, assumed or repaired.
        own_rasters, own_features: layers of the user's own, by name.
        named: files that parameters name, by name and digest alone.
        files: what to ask at the end of a run whether it still is as it was read (kept for the reader).
        store: where large arrays of the run live.
        parcels_alone: whether light is wanted on the parcels alone, as for a task of a region; else on all the land.
    """

    dem: SourceRaster
    parcels: Features
    surface: SourceRaster | None = None
    obstacles: Features | None = None
    structures: Features | None = None
    keep_outs: tuple[Features, ...] = ()
    services: dict[str, Features] = field(default_factory=dict)
    lamps: Features | None = None
    soils: Features | None = None
    weather: Weather | None = None
    wind: WindRose | None = None
    far_dem: SourceRaster | None = None
    dem_error: SourceRaster | None = None
    drained: Callable[[], Drained] | None = None
    notes: tuple[str, ...] = ()
    files: tuple[Any, ...] = ()
    own_rasters: dict[str, SourceRaster] = field(default_factory=dict)
    own_features: dict[str, Features] = field(default_factory=dict)
    named: tuple[Features, ...] = ()
    store: Store = field(default_factory=Store)
    parcels_alone: bool = False

    def __repr__(self) -> str:
        rows, cols = self.dem.shape
        return f"<Site: {self.dem.name}, {rows} x {cols} cells; {len(self.parcels)} parcels of {self.parcels.name}>"

    def _repr_html_(self) -> str:
        notes = [f"{one.name}: {note}" for one in self.inputs for note in one.notes]
        return notebook_table(repr(self), {one.name: _size_words(one) for one in self.inputs}, notes)

    @property
    def inputs(self) -> list[SourceRaster | Features]:
        """Every input in a fixed order, for the run table."""
        optional = [
            self.dem_error,
            self.far_dem,
            self.surface,
            self.obstacles,
            self.structures,
            *self.keep_outs,
            *self.services.values(),
        ]
        return [
            self.dem,
            self.parcels,
            *(item for item in [*optional, self.lamps, self.soils] if item is not None),
            *self.own_rasters.values(),
            *self.own_features.values(),
            *self.named,
        ]


def _size_words(one: SourceRaster | Features) -> str:
    return counted(len(one), "feature") if isinstance(one, Features) else f"{one.rows} x {one.cols} cells"


@dataclass(repr=False)
class Frame:
    """The site on one local grid: rasters share its shape, features are in its along/across metres.

    Attributes:
        grid: the local grid. datum_m: subtracted from `ground` and `surface`.
        layers: rasters by id; `ground` [m above datum] is always there, others are added as they are computed.
        units: unit of each layer. no_data: what stands for no data in those of whole numbers that have such a code.
        parcels, parcel_names: one (multi)polygon and name a parcel.
        lon_deg, lat_deg: origin of the local projection.
        own_features: features of the user's own, by name.
        outlines: polygons of the drawn obstacles: crowns of trees, hedges with their width.
        crowns: which obstacles pass a part of the beam, once the surface was made.
        dem_cell_m: the elevation model's own cell side [m], which a finer working cell does not better; 0 = not known.
        error: what the errors of the elevations are taken to be; None = assumed by the model's cells.
        step_m: the step [m] that its heights were rounded to; 0 = none.
        surface_like: whether they look like those of a surface model.
        doubts: what makes its heights doubtful; said before anything else.
        store: where layers and measures live.
        whole: the frame that this one is a window of, at its own bearing; None = it is whole.
    """

    grid: Grid
    datum_m: float
    layers: dict[str, np.ndarray]
    units: dict[str, str]
    parcels: np.ndarray
    parcel_names: list[str]
    lon_deg: float
    lat_deg: float
    obstacles: Features | None = None
    structures: Features | None = None
    keep_outs: tuple[Features, ...] = ()
    services: dict[str, Features] = field(default_factory=dict)
    own_features: dict[str, Features] = field(default_factory=dict)
    lamps: Features | None = None
    soils: Features | None = None
    outlines: np.ndarray = field(default_factory=lambda: np.empty(0, object))
    crowns: CrownKinds | None = None
    dem_cell_m: float = 0.0
    error: ErrorModel | None = None
    step_m: float = 0.0
    surface_like: bool = False
    doubts: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    store: Store = field(default_factory=Store)
    whole: Frame | None = None
    no_data: dict[str, int] = field(default_factory=dict)

    def __repr__(self) -> str:
        grid = self.grid
        size = f"{grid.rows} x {grid.cols} cells of {grid.cell_m:g} m"
        return f"<Frame: {size}, ridge at {grid.bearing_deg:g} deg; {len(self.layers)} layers>"

    def keep(self, name: str, values: np.ndarray, unit: str, no_data: int | None = None) -> None:
        """Add a layer."""
        self.layers[name] = self.store.kept(values)
        self.units[name] = unit
        if no_data is not None:
            self.no_data[name] = no_data
        self.store.rest()

    def nothing(self, name: str) -> float:
        """What a layer holds where there are no data: NaN; in whole numbers their code for it, else 0."""
        return math.nan if self.layers[name].dtype.kind == "f" else self.no_data.get(name, 0)

    def cells_round(self, places: np.ndarray, spare_m: float) -> tuple[slice, slice]:
        """(rows, cols) of the box that holds geometries and so much land round them, as far as the grid reaches."""
        grid = self.grid
        west, south, east, north = shapely.total_bounds(places)
        first, last = (grid.north_m - north - spare_m) / grid.cell_m, (grid.north_m - south + spare_m) / grid.cell_m
        left, right = (west - grid.west_m - spare_m) / grid.cell_m, (east - grid.west_m + spare_m) / grid.cell_m
        rows = slice(max(math.floor(first), 0), min(math.ceil(last), grid.rows))
        return rows, slice(max(math.floor(left), 0), min(math.ceil(right), grid.cols))

    @property
    def ground(self) -> np.ndarray:
        """Bare ground, float32 [rows, cols], metres above `datum_m`."""
        return self.layers["ground"]


def segments_of(geometry: Any) -> np.ndarray:
    """All edges of shapely geometries as float64 [n, 4]; a point counts as an edge of no length."""
    return _segments(np.atleast_1d(np.asarray(geometry, object)).ravel())[0]


def segments_of_each(geometries: np.ndarray) -> list[np.ndarray]:
    """`segments_of` of each geometry, found together."""
    edges, owner = _segments(geometries)
    order = np.argsort(owner, kind="stable")
    return np.split(edges[order], np.searchsorted(owner[order], np.arange(1, len(geometries))))[: len(geometries)]


def _segments(geometries: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(edges, float64 [n, 4]; position of the geometry that each belongs to, int [n])."""
    parts, of = shapely.get_parts(geometries, return_index=True)
    known = ~shapely.is_empty(parts)
    parts, within = shapely.get_parts(parts[known], return_index=True)
    of = of[known][within]
    polygons = shapely.get_type_id(parts) == 3
    rings, ring_of = shapely.get_rings(parts[polygons], return_index=True)
    lines, of = np.concatenate([parts[~polygons], rings]), np.concatenate([of[~polygons], of[polygons][ring_of]])
    coordinates, line = shapely.get_coordinates(lines, return_index=True)
    start = np.flatnonzero(line[:-1] == line[1:]) if len(line) else np.empty(0, int)
    points = np.flatnonzero(np.isin(line, np.flatnonzero(shapely.get_num_coordinates(lines) == 1)))
    edges = np.hstack([coordinates[np.append(start, points)], coordinates[np.append(start + 1, points)]])
    return edges, of[line[np.append(start, points)]]
