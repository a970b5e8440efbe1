"""Inputs that are in memory already: a GeoDataFrame in place of a vector file, a DataArray in place of a raster."""

from __future__ import annotations

import hashlib
import math
import os
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

import numpy as np
import pyproj
import shapely
from pyproj.exceptions import CRSError

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.grid import horizontal
from tunnelsite.core.layers import Affine, Features, SourceRaster
from tunnelsite.core.units import VERTICAL_UNITS_M
from tunnelsite.io.read.geometries import tidy
from tunnelsite.io.read.georeferencing import unit_used, vertical_unit
from tunnelsite.io.read.heights import StoredHeights, heights
from tunnelsite.io.read.rasters import north_up_affine
from tunnelsite.io.read.vectors import FEATURE_ID, read_features, renamed

if TYPE_CHECKING:
    import geopandas
    import rasterio
    import xarray

    Vector: TypeAlias = str | os.PathLike[str] | geopandas.GeoDataFrame | geopandas.GeoSeries
    Raster: TypeAlias = str | os.PathLike[str] | xarray.DataArray | rasterio.DatasetReader

_UNEVEN = 1e-4  # of a cell: coordinates are often float32


def is_path(given: object) -> bool:
    """Whether an input is named rather than given."""
    return isinstance(given, str | os.PathLike)


def features_of(given: Vector, option: str, *, kinds: tuple[str, ...], may_be_empty: bool = False) -> Features:
    """Features from a file, a GeoDataFrame or a GeoSeries. Arguments and errors: as `read_features`; UsageError for anything else."""
    if isinstance(given, str | os.PathLike):
        return read_features(os.fspath(given), option, kinds=kinds, may_be_empty=may_be_empty)
    if not hasattr(given, "geometry") or not hasattr(given, "crs"):
        raise UsageError(f"{option} is a {type(given).__name__}", "a path or a GeoDataFrame", "give one of these")
    if not hasattr(given, "columns"):
        given = given.to_frame("geometry")
    if given.crs is None:
        raise InputRefused(f"{option}: the GeoDataFrame has no CRS", "one with a CRS", "set it: frame.set_crs(...)")
    geometry = np.asarray(given.geometry.values, dtype=object)
    numbers = np.arange(1, len(geometry) + 1)
    crs = pyproj.CRS.from_user_input(given.crs)
    kept, tidied, notes = tidy(geometry, numbers, kinds, f"{option}: the GeoDataFrame", crs)
    if not len(tidied) and not may_be_empty:
        raise InputRefused(f"{option}: the GeoDataFrame is empty", f"at least one {' or '.join(kinds)}", "add some")
    names = [name for name in given.columns if name != given.geometry.name]
    columns: dict[str, np.ndarray] = {FEATURE_ID: numbers[kept]}
    for title, values in renamed(names, [given[name].to_numpy() for name in names], notes):
        columns[title] = values[kept]
    told = repr([(name, list(values)) for name, values in columns.items()]) + crs.to_wkt()
    digest = hashlib.sha256(b"".join(shapely.to_wkb(tidied)) + told.encode()).hexdigest()
    return Features(tidied, columns, crs, f"{option} (in memory)", digest, tuple(notes))


def from_file_or_memory(given: Raster) -> str | os.PathLike[str] | xarray.DataArray:
    """A raster as the readers take it: an open dataset is read from its file, or from memory where it has none."""
    import rasterio

    if not isinstance(given, rasterio.DatasetReader):
        return given
    if os.path.isfile(given.name):
        return str(given.name)
    import xarray  # half a second, and few give an open dataset that lies in memory

    scales, offsets = (np.reshape(one, (-1, 1, 1)) for one in (given.scales, given.offsets))
    cells = given.read(masked=True).astype(np.float64).filled(np.nan) * scales + offsets
    a, b, c, d, e, f = tuple(given.transform)[:6]
    place = {"crs_wkt": given.crs.to_wkt() if given.crs else "", "GeoTransform": f"{c!r} {a!r} {b!r} {f!r} {d!r} {e!r}"}
    units = {"units": given.units[0] or ""}
    return xarray.DataArray(cells, {"spatial_ref": ((), 0, place)}, ("band", "rows", "columns"), attrs=units)


def heights_given(array: xarray.DataArray, option: str, unit: str | None, zero_is_nodata: bool | None) -> SourceRaster:
    """Heights from a DataArray with a CRS: rows and columns evenly spaced, or a GeoTransform in its `spatial_ref`.

    Arguments: array, two-dimensional (one band may lead); option, where it was given; unit, stated by the user; zero_is_nodata, as of
    a file. Errors: UsageError for something else or an unknown unit; InputRefused without CRS or even spacing, or on a map in feet
    without a unit.
    """
    placed = _placed(array, option)
    used, note = _unit(array, placed.crs, unit, option)
    rules = StoredHeights(_nodata(array), 1.0, 0.0, VERTICAL_UNITS_M[used], zero_is_nodata)
    values, datum_m, notes = heights(placed.stored, rules)
    name = f"{option} (in memory)"
    return SourceRaster(
        values, placed.affine, horizontal(placed.crs), datum_m, name, placed.sha256, used, (note, *notes)
    )


def numbers_given(array: xarray.DataArray, option: str) -> SourceRaster:
    """Numbers that are no heights, in the `units` of a DataArray. Arguments and errors: as `heights_given`."""
    placed = _placed(array, option)
    nodata, unit = _nodata(array), str(array.attrs.get("units") or "")
    values = placed.stored.astype(np.float32)
    values[~np.isfinite(values) | (placed.stored == nodata)] = np.nan
    crs = horizontal(placed.crs)
    return SourceRaster(values, placed.affine, crs, 0.0, f"{option} (in memory)", placed.sha256, unit)


class _Placed(NamedTuple):
    """Cells float64 [rows, cols] from the north-west, where they lie, and their hash."""

    stored: np.ndarray
    affine: Affine
    crs: pyproj.CRS
    sha256: str


def _placed(array: xarray.DataArray, option: str) -> _Placed:
    if not hasattr(array, "dims") or not hasattr(array, "coords"):
        raise UsageError(
            f"{option} is a {type(array).__name__}",
            "a path, an open dataset or an xarray.DataArray",
            "give one of these",
        )
    flat = array.squeeze(drop=False)
    if flat.ndim != 2 or min(flat.shape) < 3:
        raise InputRefused(
            f"{option}: the array has the shape {array.shape}", "[rows, cols], 3 or more of each", "choose a band"
        )
    crs = _crs(array, option)
    affine, over, along = north_up_affine((flat.shape[0], flat.shape[1]), _affine(flat, option))
    stored = np.array(flat.values, dtype=np.float64)[:: -1 if over else 1, :: -1 if along else 1]
    digest = hashlib.sha256(np.ascontiguousarray(stored).tobytes() + repr((affine, crs.to_wkt())).encode()).hexdigest()
    return _Placed(np.ascontiguousarray(stored), affine, crs, digest)


def _crs(array: Any, option: str) -> pyproj.CRS:
    reference = array.coords["spatial_ref"].attrs if "spatial_ref" in array.coords else {}
    text = reference.get("crs_wkt") or reference.get("spatial_ref") or array.attrs.get("crs")
    if not text:
        raise InputRefused(
            f"{option}: the array names no coordinate system",
            "`spatial_ref` as rioxarray writes it, or attrs['crs']",
            "set it",
        )
    try:
        return pyproj.CRS.from_user_input(text)
    except CRSError:
        raise InputRefused(
            f"{option}: the array's coordinate system is {str(text)[:100]!r}", "WKT or an EPSG code", "correct it"
        ) from None


def _affine(flat: Any, option: str) -> Affine:
    reference = flat.coords["spatial_ref"].attrs if "spatial_ref" in flat.coords else {}
    text = reference.get("GeoTransform")
    if text:
        west, a, b, north, d, e = (float(part) for part in str(text).split())
        return a, b, west, d, e, north
    down, right = (_axis(flat, name, option) for name in flat.dims)
    return right.step, 0.0, right.edge, 0.0, down.step, down.edge


class _Axis(NamedTuple):
    """Where the first cell begins, and from one cell to the next."""

    edge: float
    step: float


def _axis(flat: Any, name: Any, option: str) -> _Axis:
    if name not in flat.coords:
        raise InputRefused(f"{option}: the array has no coordinates for {name!r}", "cell centres", "assign them")
    places = np.asarray(flat.coords[name].values, float)
    step = (places[-1] - places[0]) / (len(places) - 1)
    if step == 0 or np.abs(np.diff(places) - step).max() > _UNEVEN * abs(step):
        raise InputRefused(f"{option}: {name!r} is not evenly spaced", "square or even cells", "resample the array")
    return _Axis(places[0] - step / 2, step)


def _unit(array: Any, crs: pyproj.CRS, stated: str | None, option: str) -> tuple[str, str]:
    said = str(array.attrs.get("units") or "").strip()
    in_crs = vertical_unit(crs, "the array", option)
    if stated or in_crs or said:
        return unit_used(in_crs, said, stated, option, "its units")
    if crs.is_geographic or math.isclose(crs.axis_info[0].unit_conversion_factor, 1.0):
        return "m", "heights assumed to be in m: the array does not say"
    raise InputRefused(
        f"{option}: the array lies on a map in {crs.axis_info[0].unit_name} and does not say what its heights are in",
        "attrs['units'] of m, ft or us-ft",
        "set it, or state elevation_unit",
    )


def _nodata(array: Any) -> float | None:
    value = array.attrs.get("_FillValue", array.encoding.get("_FillValue"))
    return None if value is None else float(value)
