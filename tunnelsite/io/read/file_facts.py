"""What a file is, by its head alone: raster or features, in short facts for people; nothing is judged here."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import pyogrio
import pyproj

from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.core.units import FOOT_M
from tunnelsite.io.read.background import is_picture
from tunnelsite.io.read.raster_header import raster_header
from tunnelsite.io.read.vector_files import opened_vector

RASTERS, VECTORS = (
    (".tif", ".tiff", ".asc", ".bil", ".sdat", ".vrt"),
    (".gpkg", ".geojson", ".json", ".shp", ".fgb", ".gml", ".kml", ".gpx"),
)
WEATHER, LISTS = (".epw", ".tm3"), (".csv",)
MOST_LAYERS = 20


@dataclass(frozen=True)
class FileFacts:
    """What a file is.

    Attributes: kind, `raster`, `features`, `table`, `weather` or `other`; facts in words; geometry, `point`, `line`, `polygon` of its
    first layer, or ``; columns of it; problems; picture, whether a raster is one in colours.
    """

    kind: Literal["raster", "features", "table", "weather", "other"]
    facts: tuple[str, ...] = ()
    geometry: str = ""
    columns: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    picture: bool = False


def file_facts(path: Path) -> FileFacts:
    """What a file is; what is wrong with it is reported, not raised."""
    ending = path.suffix.lower()
    try:
        if ending in RASTERS:
            return _raster(path)
        if ending in VECTORS:
            return _features(path)
    except TunnelsiteError as problem:
        return FileFacts("raster" if ending in RASTERS else "features", problems=(str(problem),))
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError, OSError):
        return FileFacts("features", problems=("it cannot be read: it is damaged, cut off or not what its name says",))
    return FileFacts("weather" if ending in WEATHER else "table" if ending in LISTS else "other")


def _raster(path: Path) -> FileFacts:
    header = raster_header(str(path), "file")
    a, b, _, d, e, _ = header.affine
    side = min((a * a + d * d) ** 0.5, (b * b + e * e) ** 0.5)
    size = f"{side:.3g} degree cells"
    if not header.crs.is_geographic:
        side_m = side * header.crs.axis_info[0].unit_conversion_factor
        size = f"{side_m:.3g} m ({side_m / FOOT_M:.3g} ft) cells"
    if is_picture(header):
        seen = "a picture: it can lie under the map (Layers)"
        return FileFacts(
            "raster", (f"{header.cols:,} x {header.rows:,} pixels", size, seen, header.crs.name), picture=True
        )
    unit = header.vertical_unit or header.bands[0].unit
    heights = f"heights in {unit}" if unit else "unit of the heights not in the file"
    bands = "one band" if len(header.bands) == 1 else f"{len(header.bands)} bands"
    return FileFacts("raster", (bands, f"{header.cols:,} x {header.rows:,} cells", size, heights, header.crs.name))


def _features(path: Path) -> FileFacts:
    with opened_vector(path, "file") as file:
        layers = [str(name) for name, _ in pyogrio.list_layers(file.target)][:MOST_LAYERS]
        about = pyogrio.read_info(file.target, layer=layers[0] if layers else None)
    kind = str(about["geometry_type"] or "").lower()
    geometry = next((one for one in ("polygon", "line", "point") if one in kind), "")
    crs = pyproj.CRS(about["crs"]).name if about["crs"] else "no coordinate system"
    count, kind = about["features"], geometry or "feature"
    facts = [f"{count:,} {kind}{'' if count == 1 else 's'}" if count >= 0 else "features", crs]
    if len(layers) > 1:
        facts.append(f"{len(layers)} layers: {', '.join(layers)}")
    return FileFacts("features", tuple(facts), geometry, tuple(str(name) for name in about["fields"]))
