"""What is drawn on the map: checked, written at once to drawn.gpkg, read again when the desk starts."""

from __future__ import annotations

import math
from typing import Any

import shapely
from shapely.errors import ShapelyError
from shapely.geometry import mapping, shape

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import length_m, number
from tunnelsite.desk.answers import Missing
from tunnelsite.desk.project import DRAWN, Project
from tunnelsite.io.read.drawn import LENGTHS, drawn_features
from tunnelsite.io.write.drawn import write_drawn

MOST_FEATURES, MOST_POINTS, MOST_LETTERS = 5000, 200_000, 200
# what: (geometries, lengths it must have, lengths it may have)
KINDS: dict[str, tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]] = {
    "field": (("Polygon",), (), ()),
    "keep_out": (("Polygon", "LineString", "Point"), (), ("distance_m",)),
    "building": (("Polygon",), (), ("height_m",)),
    "tree": (("Point",), ("height_m",), ("crown_m",)),
    "tree_line": (("LineString",), ("height_m",), ("width_m",)),
    "wall": (("LineString",), ("height_m",), ("width_m",)),
    "service": (("Point", "LineString"), (), ()),
    "road": (("LineString",), (), ("distance_m", "width_m")),
    "lamp": (("Point",), ("lumens", "height_m"), ()),
}
MOST_M = {"height_m": 150.0, "crown_m": 60.0, "width_m": 100.0, "distance_m": 10_000.0}
TITLES = {"height_m": "height", "crown_m": "crown", "width_m": "width", "distance_m": "distance", "lumens": "lumens"}


class MapDrawing:
    """The features of one project's drawing by their id. Attributes: version, counts every change."""

    def __init__(self, project: Project) -> None:
        self.project, self.version = project, 0
        self._features: dict[str, dict[str, Any]] = {}

    def read(self) -> None:
        """Read drawn.gpkg, where there is one. Errors: those of the reader; nothing is changed on disk."""
        self._features = {}
        if self.project.drawn.is_file():
            found = drawn_features(str(self.project.drawn))
            for number_, geometry in enumerate(found.geometry):
                about = {name: values[number_] for name, values in found.columns.items()}
                name = about.pop("drawn_id") or f"drawn-{number_}"
                self._features[name] = _feature(name, geometry, _filled(about))
        self.version += 1

    def collection(self) -> dict[str, Any]:
        """All of it as GeoJSON."""
        return {"version": self.version, "type": "FeatureCollection", "features": self.features}

    @property
    def features(self) -> list[dict[str, Any]]:
        """All of it."""
        return list(self._features.values())

    @property
    def kinds(self) -> set[str]:
        """What kinds of things were drawn."""
        return {str(one["properties"]["what"]) for one in self._features.values()}

    def put(self, name: str, given: dict[str, Any]) -> int:
        """Add or change a feature. Return: the new version. Errors: UsageError for what cannot be drawn; OutputFailed."""
        if len(self._features) >= MOST_FEATURES and name not in self._features:
            raise UsageError(
                f"{len(self._features):,} things are drawn", f"at most {MOST_FEATURES:,}", "give the rest as a file"
            )
        return self._write(self._features | {name: checked(name, given)})

    def remove(self, name: str) -> int:
        """Take a feature out. Return: the new version. Errors: Missing, OutputFailed."""
        if name not in self._features:
            raise Missing(f"nothing {name[:40]!r} is drawn", "something on the map", "load the page again")
        return self._write({key: value for key, value in self._features.items() if key != name})

    def _write(self, features: dict[str, dict[str, Any]]) -> int:
        drawn = [(shape(one["geometry"]), one["properties"] | {"drawn_id": key}) for key, one in features.items()]
        write_drawn(self.project.drawn, drawn)
        if self.project.begun and self.project.raw().get("drawn") != DRAWN:
            self.project.change({"drawn": DRAWN})
        self._features = features
        self.version += 1
        return self.version


def checked(name: str, given: dict[str, Any]) -> dict[str, Any]:
    """A feature as it is kept, lengths in metres. Errors: UsageError in words of what was drawn."""
    said = given.get("properties")
    about: dict[str, Any] = said if isinstance(said, dict) else {}
    what = about.get("what")
    if what not in KINDS:
        raise UsageError(f"what was drawn is {str(what)[:40]!r}", ", ".join(KINDS), "choose one of them")
    kinds, needed, optional = KINDS[what]
    geometry = _geometry(given.get("geometry"), what, kinds)
    kept: dict[str, Any] = {"what": what}
    for key in ("name", "note", "service", "kind"):
        kept[key] = str(about.get(key) or "")[:MOST_LETTERS]
    for key in (*needed, *optional):
        value = about.get(key)
        if value in (None, ""):
            if key in needed:
                raise UsageError(
                    f"the {what.replace('_', ' ')} has no {TITLES[key]}", f"its {TITLES[key]}", "fill it in"
                )
            continue
        kept[key] = _length(key, value)
    if what == "service" and not kept["service"].replace("-", "_").isidentifier():
        raise UsageError(f"the service is {kept['service'][:40]!r}", "a word such as water, power or fuel", "name it")
    return _feature(name, geometry, kept)


def _length(key: str, value: Any) -> float:
    if key == "lumens":
        found = number(value, "lumens")
        if not 0 < found <= 1e6:
            raise UsageError(f"lumens is {value!r}", "more than 0, up to 1,000,000", "correct it")
        return found
    least = 0.0 if key == "distance_m" else 0.01
    return length_m(value, TITLES[key], least_m=least, most_m=MOST_M[key])


def _geometry(given: Any, what: str, kinds: tuple[str, ...]) -> shapely.Geometry:
    try:
        found = shapely.force_2d(shape(given))
    except (ShapelyError, ValueError, TypeError, KeyError, AttributeError, IndexError):
        raise UsageError("what was drawn has no shape", "a GeoJSON geometry", "draw it again") from None
    if found.geom_type not in kinds:
        raise UsageError(
            f"a {what.replace('_', ' ')} was drawn as a {found.geom_type}", " or ".join(kinds), "draw it again"
        )
    points = shapely.get_coordinates(found)
    if found.is_empty or len(points) > MOST_POINTS or not ((abs(points) <= (180.0, 90.0)).all()):  # false for NaN too
        raise UsageError(
            f"the shape has {len(points):,} points", "longitudes and latitudes, at most 200,000", "draw it again"
        )
    if found.geom_type == "Polygon" and not found.is_valid:
        mended = shapely.make_valid(found)
        areas = [part for part in shapely.get_parts(mended) if part.geom_type == "Polygon"]
        if not areas:
            raise UsageError("the area has no inside", "three corners or more", "draw it again")
        found = max(areas, key=lambda part: part.area)
    return found


def _filled(about: dict[str, Any]) -> dict[str, Any]:
    """Values that are there."""
    return {key: value for key, value in about.items() if not (key in LENGTHS and (value is None or math.isnan(value)))}


def _feature(name: str, geometry: shapely.Geometry, about: dict[str, Any]) -> dict[str, Any]:
    about = {key: float(value) if key in LENGTHS else value for key, value in about.items()}
    return {"type": "Feature", "id": name, "geometry": mapping(geometry), "properties": about}
