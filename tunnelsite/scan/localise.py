"""From the site as read to a frame: the DEM warped once to a grid whose columns run along the ridge."""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np
import pyproj
import shapely

from tunnelsite.core.errors import InputRefused, NoHeights
from tunnelsite.core.grid import Grid, covering_grid, geographic_wkt, horizontal, local_crs, transformer, true_scale
from tunnelsite.core.height_step import height_step, step_notes
from tunnelsite.core.layers import Affine, Drained, Features, SourceRaster, cells_at
from tunnelsite.core.reproject import lonlat_bounds, to_grid
from tunnelsite.core.site import Frame, Site
from tunnelsite.kernels.resample import bilinear_samples, raise_to_crests, standing_tops
from tunnelsite.scan.parcel_names import parcel_names

WIDEST_FARM_M = 30_000.0  # at 15 km from the centre grid east is off true east by 0.1 deg at 45 deg N
LATTICE_TOLERANCE_CELLS = 1e-4


class RasterCells(Protocol):
    """Where the cells of a raster lie."""

    @property
    def affine(self) -> Affine:
        """Columns and rows to map coordinates."""

    @property
    def crs(self) -> pyproj.CRS:
        """Their coordinate system."""


def native_cell_m(raster: RasterCells, lon_deg: float, lat_deg: float) -> float:
    """The raster's own cell side [m] on the ground at a place: the finer of its two sides.

    The nominal side of a projected raster, unless its projection is more than 2 % off scale there (web Mercator is).
    """
    a, b, _, d, e, _ = raster.affine
    sides = np.array([math.hypot(a, d), math.hypot(b, e)])
    geod = raster.crs.get_geod()
    if raster.crs.is_geographic and geod is not None:
        east = geod.inv(lon_deg, lat_deg, lon_deg + sides[0], lat_deg)[2]
        north = geod.inv(lon_deg, lat_deg, lon_deg, lat_deg + sides[1])[2]
        return float(f"{min(east, north):.3g}")  # 26.4183... says more than a degree grid knows
    nominal = float(sides.min() * raster.crs.axis_info[0].unit_conversion_factor)
    there = transformer(geographic_wkt(raster.crs.to_wkt()), raster.crs.to_wkt())
    scale = true_scale(raster.crs, *there.transform(lon_deg, lat_deg))
    return nominal if abs(scale - 1) <= 0.02 else float(f"{nominal * scale:.3g}")


def centre_lonlat(site: Site) -> tuple[float, float]:
    """Longitude and latitude [deg, DEM's datum] of the middle of the parcels."""
    west, south, east, north = lonlat_bounds(site.parcels)
    crs = horizontal(site.parcels.crs)
    source = crs.to_wkt() if crs.is_geographic else geographic_wkt(crs.to_wkt())
    target = horizontal(site.dem.crs)
    if target.geodetic_crs is None:
        local_crs(target, 0.0, 0.0)  # raises with the reason: no link to the earth
    return transformer(source, geographic_wkt(target.to_wkt())).transform((west + east) / 2, (south + north) / 2)


def cell_corner(raster: SourceRaster, lon_deg: float, lat_deg: float) -> tuple[float, float]:
    """Longitude and latitude [deg, raster's datum] of the corner of its cells nearest to a place; the place where there is none.

    A grid that starts there has its cells on those of the raster, as nearly as north allows. One that starts at the
    middle of the parcels is moved by parts of a cell whenever a parcel changes, and what small hollows and steps it sees with it.
    """
    crs = horizontal(raster.crs)
    place = np.array(transformer(geographic_wkt(crs.to_wkt()), crs.to_wkt()).transform(lon_deg, lat_deg))
    a, b, c, d, e, f = raster.affine
    cells = np.array([[a, b], [d, e]])
    if not np.isfinite(place).all():
        return lon_deg, lat_deg
    corner = cells @ np.floor(np.linalg.solve(cells, place - (c, f)) + 0.5) + (c, f)
    found = transformer(crs.to_wkt(), geographic_wkt(crs.to_wkt())).transform(*corner)
    return found if np.isfinite(found).all() else (lon_deg, lat_deg)


def frame_grid(site: Site, *, bearing_deg: float, cell_m: float | None, halo_m: float) -> Grid:
    """The grid of a frame: the parcels and `halo_m` of land around them, as far as the DEM reaches.

    Errors: InputRefused where the parcels do not lie on the DEM or the farm is too wide for one local grid.
    """
    lon, lat = cell_corner(site.dem, *centre_lonlat(site))
    crs = local_crs(site.dem.crs, lon, lat)
    cell = cell_m or native_cell_m(site.dem, lon, lat)
    blank = Grid(crs.to_wkt(), cell, 1, 1, 0.0, 0.0, float(bearing_deg))
    parcels = shapely.total_bounds(to_grid(site.parcels, blank).geometry)
    if max(parcels[2] - parcels[0], parcels[3] - parcels[1]) > WIDEST_FARM_M:
        raise InputRefused(
            f"the parcels of {site.parcels.name} reach over {(parcels[2] - parcels[0]) / 1000:.0f} km x "
            f"{(parcels[3] - parcels[1]) / 1000:.0f} km",
            f"at most {WIDEST_FARM_M / 1000:.0f} km for one run, so that grid east stays true east",
            "screen the farms one by one",
        )
    dem = dem_bounds(site.dem, blank)
    around = (parcels[0] - halo_m, parcels[1] - halo_m, parcels[2] + halo_m, parcels[3] + halo_m)
    common = (*np.maximum(around[:2], dem[:2]), *np.minimum(around[2:], dem[2:]))
    meets = np.all(np.maximum(parcels[:2], dem[:2]) < np.minimum(parcels[2:], dem[2:]))
    if not meets:
        raise apart(site, parcels, dem)
    return covering_grid(crs, common, cell, bearing_deg)


def apart(site: Site, parcels: np.ndarray, dem: np.ndarray) -> InputRefused:
    """The refusal for parcels and a DEM that do not meet, with both extents in one system and the distance."""
    gap = math.hypot(
        max(parcels[0] - dem[2], dem[0] - parcels[2], 0.0), max(parcels[1] - dem[3], dem[1] - parcels[3], 0.0)
    )
    spans = [f"{low:.0f}..{high:.0f}" for low, high in ((parcels[0], parcels[2]), (parcels[1], parcels[3]))]
    reach = [f"{low:.0f}..{high:.0f}" for low, high in ((dem[0], dem[2]), (dem[1], dem[3]))]
    return NoHeights(
        f"{site.parcels.name} and {site.dem.name} do not meet: in local metres east, north the parcels span "
        f"{spans[0]}, {spans[1]} and the DEM {reach[0]}, {reach[1]}; they are {gap / 1000:.1f} km apart",
        "parcels that lie on the DEM",
        "check that each file carries the right coordinate system",
    )


def dem_bounds(raster: SourceRaster, grid: Grid) -> np.ndarray:
    """(west, south, east, north) of a raster in along/across metres, from points all along its rim."""
    rows, cols = raster.values.shape
    rim = np.linspace(0.0, 1.0, 33)
    col = np.concatenate([rim, rim, np.zeros(33), np.ones(33)]) * cols
    row = np.concatenate([np.zeros(33), np.ones(33), rim, rim]) * rows
    a, b, c, d, e, f = raster.affine
    change = transformer(horizontal(raster.crs).to_wkt(), grid.crs_wkt)
    along, across = grid.from_map(*change.transform(a * col + b * row + c, d * col + e * row + f))
    known = np.isfinite(along) & np.isfinite(across)
    if not known.any():
        return np.full(4, np.nan)
    return np.array([along[known].min(), across[known].min(), along[known].max(), across[known].max()])


def warped(raster: SourceRaster, grid: Grid) -> np.ndarray:
    """The raster on `grid` by bilinear interpolation (mean of sub-samples where the grid is coarser), float32.

    A plane comes through exactly; a cell is no data unless every source cell it needs is known.
    """
    source_cell = native_cell_m(raster, *(float(value) for value in grid.lonlat(0.0, 0.0)))
    subsamples = max(1, math.ceil(grid.cell_m / source_cell - 0.25))
    found: np.ndarray = bilinear_samples(raster.values, *close_lattice(raster, grid), grid.rows, grid.cols, subsamples)
    return found


def nearest(raster: SourceRaster, grid: Grid) -> np.ndarray:
    """The raster's cell at each cell centre of `grid`, float32, NaN beyond it: for numbers of classes."""
    row, col, step = close_lattice(raster, grid)
    out = np.full(grid.shape, np.nan, np.float32)
    across = (np.arange(grid.cols) + 0.5) / step
    for down in range(grid.rows):
        there = [np.interp(across, np.arange(one.shape[1]), _row_of(one, (down + 0.5) / step)) for one in (row, col)]
        place = np.floor(np.array(there) + 0.5).astype(int)
        inside = (place[0] >= 0) & (place[0] < raster.rows) & (place[1] >= 0) & (place[1] < raster.cols)
        out[down, inside] = raster.values[place[0][inside], place[1][inside]]
    return out


def _row_of(values: np.ndarray, at: float) -> np.ndarray:
    """A row of a lattice at a fractional number of rows."""
    top = min(int(at), len(values) - 2)
    found: np.ndarray = values[top] + (at - top) * (values[top + 1] - values[top])
    return found


def close_lattice(raster: SourceRaster | Drained, grid: Grid) -> tuple[np.ndarray, np.ndarray, int]:
    """(row, col, step) of `lattice`, so close that what lies between is right to `LATTICE_TOLERANCE_CELLS`."""
    step = 32
    while True:
        row, col = lattice(raster, grid, step)
        if step == 1 or _lattice_error(raster, grid, step, row, col) <= LATTICE_TOLERANCE_CELLS:
            return row, col, step
        step //= 2


def lattice(raster: SourceRaster | Drained, grid: Grid, step: int, shift: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Source (row, col), whole at cell centres, of the grid's cell corners at every `step` cells plus `shift` steps."""
    rows = (np.arange(-(-grid.rows // step) + 1) + shift) * step
    cols = (np.arange(-(-grid.cols // step) + 1) + shift) * step
    across, along = np.meshgrid(grid.north_m - rows * grid.cell_m, grid.west_m + cols * grid.cell_m, indexing="ij")
    change = transformer(grid.crs_wkt, horizontal(raster.crs).to_wkt())
    east, north = change.transform(*grid.to_map(along, across))
    col, row = cells_at(raster.affine, east, north)
    return row - 0.5, col - 0.5


def _lattice_error(raster: SourceRaster | Drained, grid: Grid, step: int, row: np.ndarray, col: np.ndarray) -> float:
    """Largest error [source cells] of bilinear interpolation at the middle of the lattice squares."""
    worst = 0.0
    for exact, corner in zip(lattice(raster, grid, step, 0.5), (row, col), strict=True):
        middle = (corner[:-1, :-1] + corner[1:, :-1] + corner[:-1, 1:] + corner[1:, 1:]) / 4
        worst = max(worst, float(np.abs(exact[:-1, :-1] - middle).max()))
    return worst


def localised(site: Site, grid: Grid) -> Frame:
    """The frame of `site` on `grid`: rasters warped, features carried over. Errors: InputRefused."""
    layers = _heights(site, grid)
    step = height_step(site.dem.values, site.dem.datum_m)
    doubts, notes = step_notes(site.dem.name, step)

    def carried(features: Features) -> Features:
        moved = to_grid(features, grid)
        notes.extend(f"{features.name}: {text}" for text in moved.notes if text not in features.notes)
        return moved

    parcels = carried(site.parcels)
    lon, lat = (float(value) for value in grid.lonlat(0.0, 0.0))

    def carried_if(features: Features | None) -> Features | None:
        return None if features is None else carried(features)

    return Frame(
        grid=grid,
        datum_m=site.dem.datum_m,
        layers=layers,
        units=dict.fromkeys(layers, "m"),
        parcels=parcels.geometry,
        parcel_names=parcel_names(site),
        lon_deg=lon,
        lat_deg=lat,
        keep_outs=tuple(carried(item) for item in site.keep_outs),
        services={name: carried(item) for name, item in site.services.items()},
        own_features={name: carried(item) for name, item in site.own_features.items()},
        notes=notes,
        dem_cell_m=native_cell_m(site.dem, lon, lat),
        step_m=step,
        doubts=doubts,
        store=site.store,
        obstacles=carried_if(site.obstacles),
        structures=carried_if(site.structures),
        lamps=carried_if(site.lamps),
        soils=carried_if(site.soils),
    )


def _heights(site: Site, grid: Grid) -> dict[str, np.ndarray]:
    """`ground`; `surface`, the ground with the tops of its crests; `standing_m`, what the surface model holds above the ground."""
    ground = site.store.kept(warped(site.dem, grid))
    layers = {"ground": ground}
    site.store.rest()
    beneath = close_lattice(site.dem, grid)
    if site.surface is not None:
        raised = np.float32(site.surface.datum_m - site.dem.datum_m)
        model = site.surface.values, close_lattice(site.surface, grid)
        layers["standing_m"] = site.store.kept(standing_tops(*model, site.dem.values, beneath, raised, grid.shape))
        site.store.rest()
    surface = ground.copy()
    raise_to_crests(surface, ground, site.dem.values, beneath)
    layers["surface"] = site.store.kept(surface)
    site.store.rest()
    return layers


def utm_name(raster: SourceRaster) -> str:
    """The UTM zone (WGS 84) of a geographic raster's middle, as EPSG:326xx or EPSG:327xx."""
    rows, cols = raster.values.shape
    a, b, c, d, e, f = raster.affine
    lon, lat = a * cols / 2 + b * rows / 2 + c, d * cols / 2 + e * rows / 2 + f
    zone = int((lon + 180) // 6) % 60 + 1
    return f"EPSG:{(32600 if lat >= 0 else 32700) + zone}"
