"""Geometry as it comes out of files made fit for use: flat, valid, of the kind wanted, in one piece across
the antimeridian."""

from __future__ import annotations

import numpy as np
import pyproj
import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.reproject import unwrapped
from tunnelsite.io.read.outlines import refuse_endless, refuse_tangled

_KINDS = {
    0: "point",
    1: "line",
    2: "line",
    3: "polygon",
    4: "point",
    5: "line",
    6: "polygon",
    7: "collection",
}
_DIMENSION = {"point": 0, "line": 1, "polygon": 2}
FARTHEST = 1e9  # map units; the largest earthly grid is 4e7 m wide, 1.3e8 ft
_SHOWN = 5  # feature numbers listed in a note


def tidy(
    geometry: np.ndarray, numbers: np.ndarray, kinds: tuple[str, ...], where: str, crs: pyproj.CRS
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Usable geometry and what was done to it.

    Arguments: geometry, 1-D object array; numbers, the feature numbers; kinds wanted; where [words] for
        messages; crs.
    Returns: indices of the features kept; their geometry; notes.
    Errors: InputRefused for another kind of geometry, coordinates that are not finite or outside longitude
        and latitude; ResourceShortage for outlines that cannot be checked or repaired in seconds.
    """
    notes: list[str] = []
    kept = np.flatnonzero(~(shapely.is_missing(geometry) | shapely.is_empty(geometry)))
    if len(kept) < len(geometry):
        gone = np.setdiff1d(np.arange(len(geometry)), kept)
        notes.append(f"{len(gone)} features without geometry were dropped ({_listed(numbers[gone])})")
    geometry = geometry[kept]
    if (deep := shapely.has_z(geometry)).any():
        geometry = shapely.force_2d(geometry)
        notes.append(f"Z values of {int(deep.sum())} features were dropped")
    _check_kinds(geometry, numbers[kept], kinds, where)
    _check_coordinates(geometry, numbers[kept], where, crs)
    if crs.is_geographic:
        geometry = _unbroken(geometry, numbers[kept], notes)
    refuse_endless(geometry, numbers[kept], where)
    geometry = _repaired(geometry, numbers[kept], where, notes)
    usable = ~shapely.is_empty(geometry)
    if not usable.all():
        notes.append(f"{int((~usable).sum())} features without area were dropped ({_listed(numbers[kept][~usable])})")
    return kept[usable], geometry[usable], notes


def _check_kinds(geometry: np.ndarray, numbers: np.ndarray, kinds: tuple[str, ...], where: str) -> None:
    found = np.array([_KINDS.get(int(kind), "other") for kind in shapely.get_type_id(geometry)], dtype=object)
    for index in np.flatnonzero(found == "collection"):  # GML and KML wrap single shapes in collections
        inside = {
            _KINDS.get(int(kind), "other")
            for kind in shapely.get_type_id(shapely.get_parts(geometry[index : index + 1]))
        }
        if len(inside) == 1:
            geometry[index] = _gathered(shapely.get_parts(geometry[index : index + 1]))
            found[index] = inside.pop()
    wrong = ~np.isin(found, kinds)
    if wrong.any():
        counts = ", ".join(f"{int((found == kind).sum())} {kind}" for kind in dict.fromkeys(found[wrong]))
        raise InputRefused(
            f"{where} holds {counts} among {len(found)} features (feature {_listed(numbers[wrong])})",
            " or ".join(f"{kind}s" for kind in kinds),
            "give a layer of these only" + ("; close the lines into polygons" if "line" in found[wrong] else ""),
        )


def _check_coordinates(geometry: np.ndarray, numbers: np.ndarray, where: str, crs: pyproj.CRS) -> None:
    points, owner = shapely.get_coordinates(geometry, return_index=True)
    good = np.isfinite(points).all(axis=1)
    if not good.all():
        bad = numbers[np.unique(owner[~good])]
        raise InputRefused(
            f"{where} has coordinates that are no numbers (feature {_listed(bad)})",
            "numbers",
            "export it again",
        )
    far = np.abs(points).max(axis=1, initial=0.0) > FARTHEST
    if far.any():
        east, north = points[np.argmax(far)]
        raise InputRefused(
            f"{where} has the coordinate {east:g}, {north:g} (feature {_listed(numbers[np.unique(owner[far])])})",
            f"coordinates of places on earth, none beyond {FARTHEST:g} in any unit",
            "correct or remove the feature",
        )
    if crs.is_geographic and len(points) and crs.axis_info and "degree" in crs.axis_info[0].unit_name:
        outside = (np.abs(points[:, 0]) > 360.0) | (np.abs(points[:, 1]) > 90.0)
        if outside.any():
            east, north = points[np.argmax(outside)]
            raise InputRefused(
                f"{where} has the coordinate {east:g}, {north:g} although it is in degrees ({crs.name})",
                "longitude and latitude (GeoJSON always is, RFC 7946)",
                "state the coordinate system it is really in; convert GeoJSON to longitude and latitude",
            )


def _unbroken(geometry: np.ndarray, numbers: np.ndarray, notes: list[str]) -> np.ndarray:
    result = unwrapped(geometry)
    moved = np.array([before is not after for before, after in zip(geometry, result, strict=True)], dtype=bool)
    if moved.any():
        notes.append(f"features across the antimeridian have longitudes from 0 to 360 ({_listed(numbers[moved])})")
    return result


def _repaired(geometry: np.ndarray, numbers: np.ndarray, where: str, notes: list[str]) -> np.ndarray:
    invalid = np.flatnonzero(~shapely.is_valid(geometry))
    if not len(invalid):
        return geometry
    refuse_tangled(geometry[invalid], numbers[invalid], where)
    result = geometry.copy()
    for index in invalid:
        before = geometry[index]
        if shapely.get_dimensions(before) < 2:  # a line may cross itself; what is invalid has no length
            result[index] = shapely.make_valid(before)
            continue
        result[index] = _valid_polygon(before)
        areas = f"area {before.area:.6g} before, {result[index].area:.6g} after, in its own map units"
        if len(notes) < 50:
            notes.append(f"feature {numbers[index]} was repaired: {shapely.is_valid_reason(before)}; {areas}")
    if len(invalid) > 50:
        notes.append(f"{len(invalid)} features were repaired in all")
    return result


def _valid_polygon(polygon: shapely.Geometry) -> shapely.Geometry:
    """The polygons of a repaired shape: every ring made valid, shells joined, holes taken out.

    GEOS's other method is 30 times slower, and loses ground where parts of a multipolygon overlap.
    """
    repaired = shapely.make_valid(polygon, method="structure", keep_collapsed=False)
    pieces = shapely.get_parts(shapely.get_parts(repaired))  # a multipolygon may sit inside a collection
    areal = pieces[shapely.get_dimensions(pieces) == 2]
    return shapely.multipolygons(areal) if len(areal) > 1 else areal[0] if len(areal) else shapely.Polygon()


def _gathered(parts: np.ndarray) -> shapely.Geometry:
    if shapely.get_dimensions(parts[0]) == 2:
        return shapely.multipolygons(shapely.get_parts(parts))
    make = shapely.multilinestrings if shapely.get_dimensions(parts[0]) == 1 else shapely.multipoints
    return make(shapely.get_parts(parts))


def _listed(numbers: np.ndarray) -> str:
    shown = ", ".join(str(number) for number in numbers[:_SHOWN])
    return shown if len(numbers) <= _SHOWN else f"{shown} and {len(numbers) - _SHOWN} more"
