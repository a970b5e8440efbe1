"""Invented ground for the tests of `gather`: GeoTIFFs, a STAC item, a survey cloud, all in memory."""

from __future__ import annotations

import io
import struct
from typing import Any

import numpy as np
import pyproj
from rasterio.io import MemoryFile
from rasterio.transform import Affine

UTM = "EPSG:32618"
EAST, NORTH = 500_000.0, 4_762_000.0  # the middle of the land, UTM 18N
LON, LAT = -75.0, 43.0100


def middle_deg() -> tuple[float, float]:
    """Longitude and latitude of the middle of the land."""
    return pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True).transform(EAST, NORTH)


def plane(easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    """Heights of a tilted plane [m]."""
    return 200.0 + 0.02 * (easting - EAST) - 0.03 * (northing - NORTH)


def tiff(
    west: float, north: float, size: int, *, cell: float = 1.0, nodata: float | None = -9999.0, unit: str = "metre"
) -> bytes:
    """A tiled GeoTIFF of the plane."""
    east = west + (np.arange(size) + 0.5) * cell
    up = north - (np.arange(size) + 0.5) * cell
    values = plane(*np.meshgrid(east, up)).astype(np.float32)
    profile = {
        "driver": "GTiff", "height": size, "width": size, "count": 1, "dtype": "float32", "crs": UTM, "nodata": nodata,
        "transform": Affine(cell, 0, west, 0, -cell, north), "tiled": True, "blockxsize": 128, "blockysize": 128,
    }  # fmt: skip
    with MemoryFile() as memory:
        with memory.open(**profile) as file:
            file.write(values, 1)
            file.set_band_unit(1, unit)
        return memory.read()


def box_deg(west: float, south: float, east: float, north: float) -> list[float]:
    """A box of the UTM zone in degrees."""
    return list(
        pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True).transform_bounds(west, south, east, north)
    )


def item(name: str, href: str, box: list[float], **properties: Any) -> dict[str, Any]:
    """A STAC 1.0 item with one asset."""
    west, south, east, north = box
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    asset = {"href": href, "type": "image/tiff; application=geotiff; profile=cloud-optimized", "roles": ["data"]}
    return {
        "type": "Feature", "stac_version": "1.0.0", "id": name, "bbox": box, "links": [], "collection": "relief",
        "geometry": {"type": "Polygon", "coordinates": [ring]}, "assets": {"dtm": asset},
        "properties": {"datetime": "2020-05-01T00:00:00Z"} | properties,
    }  # fmt: skip


def cloud(*, classified: bool = True, noise_m: float = 0.03, seed: int = 1) -> bytes:
    """A LAZ of 60 x 60 m: the plane with noise, a flat roof of 10 x 8 m at 5 m over it with no ground below."""
    import laspy

    random = np.random.default_rng(seed)
    east, north = EAST + random.uniform(-30, 30, 40_000), NORTH + random.uniform(-30, 30, 40_000)
    roof = (np.abs(east - EAST - 10) < 5) & (np.abs(north - NORTH) < 4)
    height = plane(east, north) + random.normal(0, noise_m, east.size)
    height[roof] = plane(EAST + 10, NORTH) + 5.0
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, 0.001), np.array([EAST, NORTH, 200.0])
    header.add_crs(pyproj.CRS(UTM))
    las = laspy.LasData(header)
    las.x, las.y, las.z = east, north, height
    las.classification = np.where(roof, 6, 2) if classified else np.zeros(east.size, np.uint8)
    out = io.BytesIO()
    las.write(out, do_compress=True)
    return out.getvalue()


def copc(*, levels: int = 3, noise_m: float = 0.03, side_m: float = 320.0, per_m2: float = 2.0) -> bytes:
    """A COPC file (COPC 1.0, https://copc.io) of the plane with noise: an octree that is flat, each node a chunk of its own.

    Every level holds its share of the points, as a thinned copy of the land does.
    """
    import laspy
    import lazrs

    random = np.random.default_rng(3)
    count = int(per_m2 * side_m**2)
    east, north = EAST + random.uniform(-0.5, 0.5, count) * side_m, NORTH + random.uniform(-0.5, 0.5, count) * side_m
    level = random.integers(0, levels, count)
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, 0.001), np.array([EAST, NORTH, 200.0])
    las = laspy.LasData(header)
    las.x, las.y, las.z = east, north, plane(east, north) + random.normal(0, noise_m, count)
    las.classification = np.full(count, 2, np.uint8)
    las.update_header()
    corner = np.array([EAST, NORTH, 200.0]) - side_m / 2
    cells = side_m / 2.0**level
    keys = np.column_stack(
        [level, (east - corner[0]) // cells, (north - corner[1]) // cells, (np.asarray(las.z) - corner[2]) // cells]
    ).astype(int)
    laz = lazrs.LazVlr.new_for_compression(6, 0, True)
    info = struct.pack("<5d2Q2d88x", *(corner + side_m / 2), side_m / 2, side_m / 128, 0, 0, 0.0, 0.0)
    header.add_crs(pyproj.CRS(UTM))
    header.vlrs[:0] = [laspy.VLR("copc", 1, "", info), laspy.VLR("laszip encoded", 22204, "", bytes(laz.record_data()))]
    header.are_points_compressed = True
    out = io.BytesIO()
    header.write_to(out)
    entries = _copc_nodes(out, las, keys, laz)
    place = out.tell() + 60  # behind the head of the extended record that holds it
    out.write(struct.pack("<H16sHQ32s", 0, b"copc", 1000, len(entries), b"") + entries)
    content = bytearray(out.getvalue())
    struct.pack_into("<2Q", content, 375 + 54 + 40, place, len(entries))
    struct.pack_into(
        "<QI", content, 235, place - 60, 1
    )  # LAS 1.4 R15, table 3: start and number of the extended records
    return bytes(content)


def _copc_nodes(out: io.BytesIO, las: Any, keys: np.ndarray, laz: Any) -> bytes:
    """Write the points node by node. Return: the page of the hierarchy, 32 bytes an entry."""
    import lazrs

    writer = lazrs.LasZipCompressor(out, laz)
    nodes, which = np.unique(keys, axis=0, return_inverse=True)
    writer.reserve_offset_to_chunk_table()
    page = b""
    for number, key in enumerate(nodes):
        mine = np.flatnonzero(which.ravel() == number)
        before = out.tell()
        writer.compress_many(np.ascontiguousarray(las.points.array[mine]).view(np.uint8).ravel())
        writer.finish_current_chunk()
        page += struct.pack("<4iQ2i", *(int(value) for value in key), before, out.tell() - before, len(mine))
    writer.done()
    out.seek(0, io.SEEK_END)
    return page
