"""Reading parcels and other features: one layer of one file, its geometry made valid, everything changed
noted."""

from __future__ import annotations

import mmap
import os
import re
import warnings
from collections.abc import Iterable, Iterator
from types import TracebackType
from typing import Any

import numpy as np
import pyogrio
import pyproj
import shapely
from pyogrio.errors import DataLayerError
from pyproj.exceptions import CRSError

from tunnelsite.core.errors import InputRefused, ResourceShortage, TunnelsiteError, UsageError
from tunnelsite.core.layers import Features
from tunnelsite.io.plain_names import without_link
from tunnelsite.io.read.files import checked_file, file_name, layer_of
from tunnelsite.io.read.gathered import gathered_words
from tunnelsite.io.read.geometries import tidy
from tunnelsite.io.read.vector_files import VectorFile, opened_vector, refuse_stored_queries

FEATURE_ID = "feature_id"  # column with the number the file gives each feature
RESERVED = ("id", "fid", "geom", "geometry", FEATURE_ID)  # a GeoPackage is written with these
_RENAMED = "source_{}"
# no network, nothing written beside the input
_OPEN_OPTIONS = {"GML": {"DOWNLOAD_SCHEMA": "NO", "WRITE_GFS": "NO"}}
_ARC_DEGREES = 4  # GDAL's default (OGR_ARC_STEPSIZE): off by 0.06 % of the radius at most


def read_features(
    path: str | os.PathLike[str],
    option: str,
    *,
    kinds: tuple[str, ...] = ("polygon",),
    layer: str | None = None,
    may_be_empty: bool = False,
) -> Features:
    """The features of one layer.

    Arguments:
        path: a file, or `FILE#LAYER`. option [words]: where it was given, for messages. kinds: geometry
            accepted, of `polygon`, `line` and `point`. layer: its name, above the one in `path`.
            may_be_empty: whether a layer without features will do.
    Returns: valid two-dimensional geometry of these kinds and the file's columns, of which those named id,
        fid, geom, geometry or feature_id (in any case) come as source_id, source_fid ..., and those that
        differ in case only with _2, _3 ...; the column `feature_id` holds the file's own feature numbers.
    Errors: UsageError for a layer that must be chosen or does not exist; InputRefused for a damaged file,
        a wrong kind of geometry, no coordinate system, no feature; ResourceShortage where it would not fit
        in memory.
    """
    name, named_layer = layer_of(path)
    found = checked_file(name, option)
    where = f"{option}: {found.name!r}"
    with opened_vector(found, option) as file:
        refuse_stored_queries(file, None, where)
        chosen = _chosen_layer(file.target, file.driver, where, (layer or named_layer, kinds))
        refuse_stored_queries(file, chosen, where)
        meta, numbers, geometry, columns, notes = _read(file, where, chosen)
    crs = _crs(meta["crs"], where)
    notes += file.content.notes
    came_from = gathered_words(found, file.content.sha256)
    notes += [came_from] if came_from else []
    kept, geometry, tidy_notes = tidy(geometry, numbers, kinds, where, crs)
    notes += tidy_notes
    if not len(geometry):
        if not may_be_empty:
            raise InputRefused(
                f"{where}{(chosen and f', layer {chosen!r},') or ''} has no features",
                f"at least one {_words(kinds)}",
                "draw or export some",
            )
        notes.append("no features")
    table = {FEATURE_ID: numbers[kept]}
    for title, values in renamed(meta["fields"], columns, notes):
        table[title] = values[kept]
    return Features(geometry, table, crs, file_name(found), file.content.sha256, tuple(notes))


def read_columns(path: str | os.PathLike[str], option: str, layer: str) -> dict[str, np.ndarray]:
    """The columns of one table, without its geometry.

    Arguments: path, option, as `read_features`; layer, its name. Errors: LookupError where the table is missing; else as `read_features`.
    """
    found = checked_file(layer_of(path)[0], option)
    where = f"{option}: {found.name!r}"
    with opened_vector(found, option) as file:
        refuse_stored_queries(file, layer, where)
        with _refusing(where):
            if layer not in [title for title, _ in _layers(file.target, file.driver)]:
                raise _NoLayer(layer)
            meta, _, _, values = pyogrio.raw.read(file.target, layer=layer, read_geometry=False)
    return dict(zip(meta["fields"], values, strict=True))


class NoSuchLayer(UsageError):
    """A layer was asked for by name and the file has none of that name."""


class _NoLayer(LookupError):
    """A table that is not in the file."""


def _chosen_layer(target: str, driver: str, where: str, wanted: tuple[str | None, tuple[str, ...]]) -> str | None:
    """The layer asked for, or the only one whose geometry fits; None for the only one there can be."""
    name, kinds = wanted
    if driver == "GeoJSON" and name is None:
        return None  # it holds one layer, and listing would parse the whole file
    with _refusing(where):
        listed = _layers(target, driver)
        empty = driver == "GPX" and [title for title, _ in listed if not _holds_any(target, title)]
    every = ", ".join(title for title, _ in listed) or "none"
    if name is not None:
        if name not in [title for title, _ in listed]:
            raise NoSuchLayer(
                f"{where} has no layer {name!r}", f"one of its layers: {every}", "correct the layer's name"
            )
        return name
    fitting = [title for title, kind in listed if kind is not None and _fits(str(kind), kinds)]
    if empty:  # a GPX always lists all five layers, two of them the vertices of the others
        fitting = [title for title in fitting if title not in empty and not title.endswith("_points")]
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


def _layers(target: str, driver: str) -> list[tuple[str, str | None]]:
    """(name, geometry type or None) of every layer."""
    if driver != "GML":
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the layer that is read says it again
            return [(str(title), kind) for title, kind in pyogrio.list_layers(target)]
    listed: list[
        tuple[str, str | None]
    ] = []  # listing the layers of a GML without these options would write a .gfs beside it
    while True:
        try:
            found = pyogrio.read_info(target, layer=len(listed), **_OPEN_OPTIONS[driver])
        except DataLayerError:
            return listed
        listed.append((found["layer_name"], found["geometry_type"]))


def _holds_any(target: str, layer: str) -> bool:
    return bool(pyogrio.read_info(target, layer=layer, force_feature_count=True)["features"] > 0)


def _fits(kind: str, kinds: tuple[str, ...]) -> bool:
    words = kind.lower()
    if "polygon" in words or "surface" in words or "tin" in words:
        return "polygon" in kinds
    if "line" in words or "curve" in words or "circularstring" in words:
        return "line" in kinds
    return "point" in kinds if "point" in words else True  # Unknown and Geometry may hold anything


def _read(
    file: VectorFile, where: str, layer: str | None
) -> tuple[dict[str, Any], np.ndarray, np.ndarray, list[np.ndarray], list[str]]:
    """(meta, feature numbers, geometry, columns, notes) as stored, but linear."""
    target, driver = file.target, file.driver
    options = _OPEN_OPTIONS.get(driver, {})
    with _refusing(where), warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        # a GeoJSON is parsed whole or refused; other files may state more features than can be read
        stated = driver != "GeoJSON" and pyogrio.read_info(target, layer=layer, force_feature_count=True, **options)
        meta, numbers, wkb, columns = pyogrio.raw.read(target, layer=layer, return_fids=True, **options)
        geometry = shapely.from_wkb(wkb) if wkb is not None else np.empty(0, object)
        curves = stated and _has_curves(file, (layer, stated["geometry_name"]))
    if stated and (len(geometry), driver) != (stated["features"], stated["driver"]):
        raise InputRefused(
            f"{where} states {stated['features']} features, but {len(geometry)} could be read",
            "a whole file",
            "copy or export it again",
        )
    notes = _notes_of(said, where)
    if curves:
        notes.append(f"curves were replaced by straight edges, {_ARC_DEGREES} degrees of arc each")
    return meta, numbers, geometry, columns, notes


def _has_curves(file: VectorFile, names: tuple[str | None, str]) -> bool:
    """Whether the layer holds curves, which the reader replaces without a word."""
    if file.driver == "GML":
        with open(file.path, "rb") as raw, mmap.mmap(raw.fileno(), 0, access=mmap.ACCESS_READ) as content:
            return re.search(rb"<(\w+:)?(Arc|Circle|Geodesic|Clothoid|BSpline|Bezier|CubicSpline)", content) is not None
    if file.driver != "GPKG":
        return False
    layer, column = ('"' + (name or "").replace('"', '""') + '"' for name in names)
    kinds = pyogrio.raw.read(file.target, sql=f"SELECT DISTINCT ST_GeometryType({column}) FROM {layer}")[3][0]
    return any(re.search("CURVE|CIRCULAR|SURFACE", str(kind)) for kind in kinds)


def _notes_of(said: list[warnings.WarningMessage], where: str) -> list[str]:
    """Notes for what the reader warned of. Errors: InputRefused for warnings that mean damage."""
    notes, other = [], []
    for text in dict.fromkeys(without_link(str(message.message)) for message in said):
        if "Non closed ring" in text or "corrupt" in text.lower():
            raise InputRefused(f"{where} is damaged ({text.split('. ')[0]})", "closed rings", "copy or export it again")
        if "Measured (M)" in text:
            notes.append("M values of the coordinates were dropped")
        elif "not consistent with type" not in text:
            other.append(text)
    return [*notes, *(f"reader: {text[:200]}" for text in other[:5])]


class _refusing:  # noqa: N801 (reads as a verb)
    """Turns what the reader raises into a refusal in the user's words."""

    def __init__(self, where: str) -> None:
        self.where = where

    def __enter__(self) -> None:
        return None

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if isinstance(error, MemoryError) or "MAX_OBJ_SIZE" in str(error):
            raise ResourceShortage(
                f"{self.where} holds a feature too large to read",
                "features of up to about 200 MB of text",
                "save it as a GeoPackage",
            ) from None
        if isinstance(error, Exception) and not isinstance(
            error, TunnelsiteError | _NoLayer
        ):  # damage can raise anything
            text = re.sub(r"; It might help to specify.*", "", without_link(str(error))).replace("\n", " ")[:300]
            raise InputRefused(
                f"{self.where} cannot be read ({text})", "a whole file", "copy or export it again"
            ) from error


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
            f"{where} has no coordinate system",
            "one in the file, or in the .prj beside a Shapefile; it is never guessed",
            "assign the right one and save it again",
        )
    return crs


def renamed(
    titles: Iterable[object], columns: Iterable[np.ndarray], notes: list[str]
) -> Iterator[tuple[str, np.ndarray]]:
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
