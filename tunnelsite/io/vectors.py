"""Reading parcels and other features: one layer of one file, its geometry made valid, everything changed noted."""

from __future__ import annotations

import re
import warnings

import numpy as np
import pyogrio
import pyproj
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, GeometryError
from pyproj.exceptions import CRSError

from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.core.layers import Features
from tunnelsite.io.files import checked_file, file_stamp, layer_of, require_memory, same_file, sha256
from tunnelsite.io.formats import vector_driver
from tunnelsite.io.geometries import tidy
from tunnelsite.io.reproject import reprojected

__all__ = ["FEATURE_ID", "read_features", "reprojected"]

FEATURE_ID = "feature_id"  # column with the number the file gives each feature
RESERVED = ("id", "fid", "geom", "geometry", FEATURE_ID)  # a GeoPackage is written with these
_RENAMED = "source_{}"
# Memory for reading, in times the file's size: measured with one polygon of 10 million vertices.
_MEMORY = {"GPKG": 8, "ESRI Shapefile": 8, "FlatGeobuf": 8, "GeoJSON": 16, "GML": 16, "LIBKML": 24, "GPX": 16}
_OPEN_OPTIONS = {"GML": {"DOWNLOAD_SCHEMA": "NO", "WRITE_GFS": "NO"}}  # no network, nothing written beside the input
_ERRORS = (
    DataSourceError,
    DataLayerError,
    FeatureError,
    GeometryError,
    ValueError,
    shapely.errors.GEOSException,
)


def read_features(
    path,
    option: str,
    *,
    kinds: tuple[str, ...] = ("polygon",),
    layer: str | None = None,
    may_be_empty: bool = False,
) -> Features:
    """The features of one layer.

    Arguments:
        path: a file, or `FILE#LAYER`. option [words]: where it was given, for messages. kinds: geometry accepted, of `polygon`,
        `line` and `point`. layer: its name, above the one in `path`. may_be_empty: whether a layer without features will do.
    Returns: valid two-dimensional geometry of these kinds and the file's columns, of which those named id, fid, geom, geometry
        or feature_id (in any case) come as source_id, source_fid ..., and those that differ in case only with _2, _3 ...;
        the column `feature_id` holds the file's own feature numbers.
    Errors: UsageError for a layer that must be chosen or does not exist; InputRefused for a damaged file, a wrong kind of
        geometry, no coordinate system, no feature; ResourceShortage where it would not fit in memory.
    """
    name, named_layer = layer_of(path)
    found = checked_file(name, option)
    where = f"{option}: {found.name!r}"
    driver, target = vector_driver(found, option)
    stamp, digest = file_stamp(found), sha256(found)
    need = _MEMORY[driver] * stamp.bytes if driver else 0
    require_memory(need, f"{where}, {stamp.bytes} bytes of {driver},", "cut it to the farm, or simplify it")
    chosen = _chosen_layer(target, driver, where, (layer or named_layer, kinds))
    meta, numbers, geometry, columns, notes = _read(target, driver, where, chosen)
    if not same_file(found, stamp, digest):
        raise InputRefused(f"{where} has changed while it was read", "a file at rest", "run again once it is written")
    crs = _crs(meta["crs"], where)
    kept, geometry, tidy_notes = tidy(geometry, numbers, kinds, where, crs)
    notes += tidy_notes
    if not len(geometry):
        if not may_be_empty:
            raise InputRefused(
                f"{where}, layer {chosen!r}, has no features",
                f"at least one {_words(kinds)}",
                "draw or export some",
            )
        notes.append("no features")
    table = {FEATURE_ID: numbers[kept]}
    for title, values in _renamed(meta["fields"], columns, notes):
        table[title] = values[kept]
    return Features(geometry, table, crs, found.name, digest, tuple(notes))


def _chosen_layer(target: str, driver: str, where: str, wanted: tuple[str | None, tuple[str, ...]]) -> str:
    """The layer asked for, or the only one whose geometry fits."""
    name, kinds = wanted
    with _refusing(where):
        listed = [(str(title), kind) for title, kind in pyogrio.list_layers(target)]
    every = ", ".join(title for title, _ in listed) or "none"
    if name is not None:
        if name not in [title for title, _ in listed]:
            raise UsageError(
                f"{where} has no layer {name!r}", f"one of its layers: {every}", "correct the layer's name"
            )
        return name
    fitting = [title for title, kind in listed if kind is not None and _fits(str(kind), kinds)]
    if len(fitting) > 1 and driver == "GPX":  # always lists all its five layers
        fitting = [title for title in fitting if not title.endswith("_points") and _holds_any(target, title)]
    if len(fitting) == 1:
        return fitting[0]
    if len(listed) == 1 and listed[0][1] is not None:
        return listed[0][0]  # its geometry is judged feature by feature
    if not fitting:
        raise InputRefused(
            f"{where} has no layer of {_words(kinds)}s; its layers: {every}",
            f"a layer of {_words(kinds)}s",
            "give one",
        )
    raise UsageError(
        f"{where} has several layers: {', '.join(fitting)}",
        "one layer",
        f"add its name after the file's, such as FILE#{fitting[0]}",
    )


def _holds_any(target: str, layer: str) -> bool:
    return pyogrio.read_info(target, layer=layer, force_feature_count=True)["features"] > 0


def _fits(kind: str, kinds: tuple[str, ...]) -> bool:
    words = kind.lower()
    if "polygon" in words or "surface" in words or "tin" in words:
        return "polygon" in kinds
    if "line" in words or "curve" in words or "circularstring" in words:
        return "line" in kinds
    return "point" in kinds if "point" in words else True  # Unknown and Geometry may hold anything


def _read(target: str, driver: str, where: str, layer: str):
    """(meta, feature numbers, geometry, columns, notes) as stored, linear and without a third dimension."""
    with _refusing(where), warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        options = _OPEN_OPTIONS.get(driver, {})
        stated = pyogrio.read_info(target, layer=layer, force_feature_count=True, **options)
        if stated["driver"] != driver:  # pragma: no cover: the first bytes already decided
            raise InputRefused(
                f"{where} was taken for {driver} but opens as {stated['driver']}", driver, "export it again"
            )
        meta, numbers, wkb, columns = pyogrio.raw.read(target, layer=layer, return_fids=True, **options)
        geometry = shapely.from_wkb(wkb) if wkb is not None else np.empty(0, object)
    if len(geometry) != stated["features"]:
        raise InputRefused(
            f"{where} says it has {stated['features']} features but only {len(geometry)} could be read",
            "a whole file",
            "copy it again",
        )
    return meta, numbers, geometry, columns, _notes_of(said, layer, where)


def _notes_of(said: list[warnings.WarningMessage], layer: str, where: str) -> list[str]:
    """Notes for what the reader warned of. Errors: InputRefused for warnings that mean damage."""
    notes, other = [], []
    for text in dict.fromkeys(str(message.message) for message in said):
        if "Non closed ring" in text or "corrupt" in text.lower():
            raise InputRefused(f"{where} is damaged ({text.split('. ')[0]})", "closed rings", "copy or export it again")
        if "Measured (M)" in text:
            notes.append("M values of the coordinates were dropped")
        elif "not consistent with type" not in text:
            other.append(text)
    return [*notes, *(f"layer {layer}: {text[:200]}" for text in other[:5])]


class _refusing:  # noqa: N801 (reads as a verb)
    """Turns what the reader raises into a refusal in the user's words."""

    def __init__(self, where: str) -> None:
        self.where = where

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind, error, trace) -> None:
        if isinstance(error, MemoryError) or "MAX_OBJ_SIZE" in str(error):
            raise ResourceShortage(
                f"{self.where} holds a feature too large to read",
                "features of up to about 200 MB of text",
                "save it as a GeoPackage",
            ) from None
        if isinstance(error, _ERRORS):
            text = re.sub(r"; It might help to specify.*", "", str(error)).replace("\n", " ")[:300]
            raise InputRefused(
                f"{self.where} cannot be read ({text})", "a whole file", "copy or export it again"
            ) from None


def _crs(text: str | None, where: str) -> pyproj.CRS:
    try:
        crs = pyproj.CRS.from_user_input(text) if text else None
    except CRSError as error:
        raise InputRefused(
            f"{where}: its coordinate system cannot be understood ({error})",
            "one PROJ knows",
            "assign another",
        ) from None
    if crs is None or crs.name.lower().startswith("undefined"):  # how a GeoPackage says "none"
        raise InputRefused(
            f"{where} has no coordinate system", "one in the file, or in the .prj beside a Shapefile; it is never guessed",
            "assign the right one and save it again",
        )  # fmt: skip
    return crs


def _renamed(titles, columns, notes: list[str]):
    """(name, values) for each column, none of them reserved and no two alike but for upper and lower case."""
    taken = {FEATURE_ID}
    for title, values in zip(titles, columns, strict=True):
        plain = str(title)
        name = _RENAMED.format(plain) if plain.lower() in RESERVED else plain
        number = 2
        stem = name
        while name.lower() in taken:
            name, number = f"{stem}_{number}", number + 1
        if name != plain:
            notes.append(f"column {plain!r} is kept as {name!r}")
        taken.add(name.lower())
        yield name, values


def _words(kinds: tuple[str, ...]) -> str:
    return " or ".join(kinds)
