"""Coarser copies of a layer: how each is made, and those that GDAL has no way for: the largest of the cells."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from xml.etree import ElementTree

import numpy as np
import rasterio
import rasterio.shutil
from rasterio.io import MemoryFile

WAYS = ("average", "nearest", "mode", "max")
# A mean of directions points nowhere, a yes or no has none, and a stream one cell wide would be thinned away to nothing.
WAY_OF = {
    "aspect": "nearest",
    "cast_shadow": "mode",
    "noon_sun": "mode",
    "open_edge": "mode",
    "water_like": "mode",
    "upslope_m2": "max",
}


def way_of(layer: str) -> str:
    """How coarser copies of a layer are made, by its id: `average` unless that would say something false."""
    return WAY_OF.get(layer, "average")


def halves(values: np.ndarray, tile: int) -> Iterator[np.ndarray]:
    """Copies of half, a quarter ... the cells each way, down to one tile, each cell the largest of four; NaN = no data."""
    while max(values.shape) > tile:
        rows, cols = (size + size % 2 for size in values.shape)
        whole = np.full((rows, cols), np.nan, values.dtype)
        whole[: values.shape[0], : values.shape[1]] = values
        values = np.fmax(np.fmax(whole[::2, ::2], whole[1::2, ::2]), np.fmax(whole[::2, 1::2], whole[1::2, 1::2]))
        yield values


def copied_with_levels(source: MemoryFile, levels: Iterator[np.ndarray], options: dict[str, str]) -> MemoryFile:
    """A raster in memory as a COG with overviews of our own.

    Arguments: source, a GeoTIFF with its one band, tags and place; levels, its overviews, the finest first; options of the driver.
    """
    with contextlib.ExitStack() as held:
        names = [_in_memory(held, level) for level in levels]
        with source.open() as file:
            text = _virtual(file, source.name, names)
        memory = MemoryFile(ext=".tif")
        rasterio.shutil.copy(text, memory.name, driver="COG", OVERVIEWS="FORCE_USE_EXISTING", **options)
    return memory


def _in_memory(held: contextlib.ExitStack, values: np.ndarray) -> str:
    memory = held.enter_context(MemoryFile(ext=".tif"))
    size = {"height": values.shape[0], "width": values.shape[1], "count": 1, "dtype": values.dtype.name}
    with memory.open(driver="GTiff", nodata=float("nan"), transform=rasterio.Affine.scale(2.0), **size) as file:
        file.write(values, 1)
    return memory.name


def _virtual(file, name: str, names: list[str]) -> str:
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
