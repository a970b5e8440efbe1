"""Coarser copies of a layer: how each is made, and those that GDAL has no way for: the largest of the cells."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import rasterio
import rasterio.shutil
from rasterio.io import MemoryFile
from rasterio.windows import Window

WAYS = ("average", "nearest", "mode", "max")
# A mean of directions points nowhere, a yes or no has none, and a stream one cell wide would be thinned away to nothing.
WAY_OF = {
    "aspect": "nearest",
    "cast_shadow": "mode",
    "drainage_class": "mode",
    "drainage_least": "mode",
    "flow_direction": "nearest",
    "hydrologic_group": "mode",
    "hydrologic_least": "mode",
    "noon_sun": "mode",
    "open_edge": "mode",
    "raised": "mode",
    "river_bed": "mode",
    "water_like": "mode",
    "worst_month": "mode",
    "upslope_m2": "max",
}


def way_of(layer: str) -> str:
    """How coarser copies of a layer are made, by its id: `average` unless that would say something false."""
    return WAY_OF.get(layer, "average")


def halves(values: np.ndarray, tile: int) -> Iterator[np.ndarray]:
    """Copies of half, a quarter ... the cells each way, down to one tile, each cell the largest of four; NaN = no data."""
    while max(values.shape) > tile:
        values = _halved(values)
        yield values


def _halved(values: np.ndarray) -> np.ndarray:
    rows, cols = (size + size % 2 for size in values.shape)
    whole = np.full((rows, cols), np.nan, values.dtype)
    whole[: values.shape[0], : values.shape[1]] = values
    return np.fmax(np.fmax(whole[::2, ::2], whole[1::2, ::2]), np.fmax(whole[::2, 1::2], whole[1::2, 1::2]))


def copied_with_levels(source: str, levels: list[str], target: str, options: dict[str, str | int]) -> None:
    """A raster as a COG with overviews of our own.

    Arguments: source, name of a GeoTIFF with its one band, tags and place; levels, names of its overviews, the finest first;
    target, name of what is written; options of the driver.
    """
    with rasterio.open(source, driver="GTiff") as file:
        text = _virtual(file, source, levels)
    rasterio.shutil.copy(text, target, driver="COG", OVERVIEWS="FORCE_USE_EXISTING", **options)


@contextlib.contextmanager
def levels_in_memory(levels: Iterator[np.ndarray]) -> Iterator[list[str]]:
    """Names of rasters in memory that hold the levels."""
    with contextlib.ExitStack() as held:
        names = []
        for values in levels:
            memory = held.enter_context(MemoryFile(ext=".tif"))
            with memory.open(**_level_profile(values.shape)) as file:
                file.write(values, 1)
            names.append(memory.name)
        yield names


def levels_beside(source: Path, tile: int) -> list[str]:
    """Write the levels of `halves` of a raster, some rows at a time, into files beside it; return their names.

    Arguments: source, a GeoTIFF of one band; its name begins those of the levels.
    """
    names: list[str] = []
    before = source
    while True:
        with rasterio.open(before, driver="GTiff") as finer:
            if max(finer.shape) <= tile:
                return names
            shape = tuple((size + 1) // 2 for size in finer.shape)
            here = source.with_name(f"{source.name}.{len(names) + 1}.tif")
            blocks = {"tiled": True, "blockxsize": tile, "blockysize": tile, "bigtiff": "IF_SAFER"}
            with rasterio.open(here, "w", **_level_profile(shape), **blocks) as file:
                for row in range(0, shape[0], tile):
                    rows = min(tile, shape[0] - row)
                    found = finer.read(1, window=Window(0, 2 * row, finer.width, min(2 * rows, finer.height - 2 * row)))
                    file.write(_halved(found), 1, window=Window(0, row, shape[1], rows))
        names.append(str(here))
        before = here


def _level_profile(shape: tuple[int, int]) -> dict[str, Any]:
    size = {"height": shape[0], "width": shape[1], "count": 1, "dtype": "float32"}
    return size | {"driver": "GTiff", "nodata": float("nan"), "transform": rasterio.Affine.scale(2.0)}


def _virtual(file: rasterio.DatasetReader, name: str, names: list[str]) -> str:
    """A GDAL virtual raster of one band (its documented XML): the cells of one file, overviews from others, all tags."""
    size = {"rasterXSize": str(file.width), "rasterYSize": str(file.height)}
    root = ElementTree.Element("VRTDataset", size)
    _add(root, "SRS", file.crs.to_wkt())
    _add(root, "GeoTransform", ", ".join(repr(value) for value in file.transform.to_gdal()))
    _metadata(root, {key: value for key, value in file.tags().items() if key != "AREA_OR_POINT"})
    band = ElementTree.SubElement(root, "VRTRasterBand", {"dataType": "Float32", "band": "1"})
    _metadata(band, file.tags(1))
    _add(band, "Description", file.descriptions[0] or "")
    _add(band, "UnitType", file.units[0] or "")
    _add(band, "NoDataValue", "nan")
    for kind, one in (("SimpleSource", name), *(("Overview", other) for other in names)):
        part = ElementTree.SubElement(band, kind)
        _add(part, "SourceFilename", one)
        _add(part, "SourceBand", "1")
    return ElementTree.tostring(root, "unicode")


def _add(parent: ElementTree.Element, name: str, text: str) -> None:
    ElementTree.SubElement(parent, name).text = text


def _metadata(parent: ElementTree.Element, tags: dict[str, str]) -> None:
    found = ElementTree.SubElement(parent, "Metadata")
    for key, value in tags.items():
        ElementTree.SubElement(found, "MDI", {"key": key}).text = value
