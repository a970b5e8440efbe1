"""COPC by address: the window's points and no others are fetched, and a broken index is refused, not followed."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest

from tests.gather.made import EAST, NORTH, copc, middle_deg, plane
from tests.io.fetch.servers import Site, serving
from tunnelsite.core.errors import InputRefused, TunnelsiteError
from tunnelsite.gather.data_sources import DataSource
from tunnelsite.gather.request import GatherRequest, area_around, gather
from tunnelsite.io.fetch.door import Door
from tunnelsite.io.fetch.ranged import BLOCK, RangedFile
from tunnelsite.io.read import points
from tunnelsite.io.read.points import read_cloud
from tunnelsite.io.read.rasters import raster_header, read_raster

laspy = pytest.importorskip("laspy")
INFO = 375 + 54  # where the info record begins: behind the header and the head of the first record (COPC 1.0)


@pytest.fixture(scope="module")
def content() -> bytes:
    return copc()


def box_deg(half_m: float, away_deg: float = 0.0) -> tuple[float, float, float, float]:
    """A box round the middle of the land, or to the north-east of it."""
    lon, lat = middle_deg()
    lon, lat = lon + away_deg, lat + away_deg
    return area_around(f"{lat},{lon}:{half_m}m", 0.0).bounds


def ordered(east: np.ndarray, north: np.ndarray, height: np.ndarray) -> np.ndarray:
    """Points in an order of their own [mm]."""
    rows = np.round(1000 * np.column_stack([east - EAST, north - NORTH, height])).astype(int)
    return rows[np.lexsort(rows.T)]


def test_points_by_address_are_those_of_the_whole_file_and_only_their_part_is_fetched(content: bytes) -> None:
    whole = laspy.read(io.BytesIO(content))  # an ordinary reader of LAZ, which knows no octree
    with serving(Site({"/a.copc.laz": content})) as site:
        address = f"{site.address}/a.copc.laz"
        with RangedFile(Door.to([address]), address) as file:
            found = read_cloud(file, "a.copc.laz", box_deg(20, -0.001))
        fetched = sum(int(part.split("-")[1]) - int(part.split("-")[0][6:]) + 1 for _, part in site.parts)
    east, north, height = (np.asarray(getattr(whole, name)) for name in "xyz")
    inside = (
        (east >= found.easting.min())
        & (east <= found.easting.max())
        & (north >= found.northing.min())
        & (north <= found.northing.max())
    )
    assert np.array_equal(
        ordered(found.easting, found.northing, found.height), ordered(east[inside], north[inside], height[inside])
    )
    assert abs(np.ptp(found.easting) - 40) < 2 and found.ground.all() and found.crs.to_epsg() == 32618
    assert len(content) > 8 * BLOCK and fetched < 0.8 * len(content)


def test_cloud_by_address_becomes_the_ground(content: bytes, tmp_path: Path) -> None:
    lon, lat = middle_deg()
    with serving(Site({"/a.copc.laz": content}, breaks=1, broken_after=1000)) as site:
        address = f"{site.address}/a.copc.laz"
        gather(
            GatherRequest(
                area_around(f"{lat},{lon}:25m", 0.0), points=((DataSource("a", "points", address), address),)
            ),
            tmp_path,
        )
    ground = read_raster(raster_header(tmp_path / "ground.tif"))
    rows, cols = np.indices(ground.shape)
    a, _, c, _, e, f = ground.affine
    off = ground.values + ground.datum_m - plane(a * (cols + 0.5) + c, e * (rows + 0.5) + f)
    assert np.sqrt(np.nanmean(off**2)) < 0.03 and abs(a * ground.shape[1] - 50) < 5


def test_place_beside_the_cloud_has_no_point(content: bytes) -> None:
    west, south, east, north = box_deg(30)
    with pytest.raises(InputRefused, match="no point in the area"):
        read_cloud(io.BytesIO(content), "a.copc.laz", (west + 1, south, east + 1, north))


def broken(content: bytes, how: str) -> bytes:
    made = bytearray(content)
    (page,) = struct.unpack_from("<Q", made, INFO + 40)
    if how == "leads back to itself":  # the root's entry names its own page
        struct.pack_into("<4iQ2i", made, page, 0, 0, 0, 0, page, 32, -1)
        struct.pack_into("<Q", made, INFO + 48, 32)
    if how == "claims too much":
        struct.pack_into("<i", made, page + 24, 2**31 - 1)
    if how == "claims too many points":
        struct.pack_into("<i", made, page + 28, 2**31 - 1)
    if how == "points beyond the end":
        struct.pack_into("<Q", made, INFO + 40, 2**40)
    return bytes(made[:page]) if how == "is cut off" else bytes(made)


@pytest.mark.parametrize(
    "how", ["leads back to itself", "claims too much", "claims too many points", "points beyond the end", "is cut off"]
)
def test_broken_index_is_refused_before_points_are_fetched(
    content: bytes, how: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(points, "MOST_READS", 5000)
    with pytest.raises(TunnelsiteError, match=r"a\.copc\.laz"):
        read_cloud(io.BytesIO(broken(content, how)), "a.copc.laz", box_deg(30))
