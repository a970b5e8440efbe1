"""Pictures under the map: the tile of a place shows that place, from MBTiles and from a picture in any system."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from tunnelsite.core.errors import InputRefused, TunnelsiteError
from tunnelsite.io.read.background import background_of, background_tile
from tunnelsite.io.write.picture_png import png_bytes

# Zoom 17, column 36941, row 48116: the tile at 43.01 N, 78.54 W, by the slippy-map formulas of Web Mercator (x = (lon + 180) / 360 2^z,
# y = (1 - asinh(tan lat) / pi) / 2 2^z).
LON, LAT, ZOOM = -78.54, 43.01, 17


def tile_at(lon: float, lat: float, zoom: int = ZOOM) -> tuple[int, int]:
    return (int((lon + 180) / 360 * 2**zoom), int((1 - np.arcsinh(np.tan(np.radians(lat))) / np.pi) / 2 * 2**zoom))


def png(red: int = 200) -> bytes:
    return png_bytes(np.full((3, 256, 256), red, np.uint8))


def mbtiles(path: Path, tiles: dict[tuple[int, int, int], bytes], **metadata: str) -> Path:
    """A file by MBTiles 1.3: tiles of {(zoom, column, row from the south): content}, kept behind a view, as many writers do."""
    with sqlite3.connect(path) as database:
        database.execute("CREATE TABLE metadata (name text, value text)")
        database.execute("CREATE TABLE kept (z integer, c integer, r integer, content blob)")
        database.execute(
            "CREATE VIEW tiles AS SELECT z AS zoom_level, c AS tile_column, r AS tile_row, content AS tile_data FROM kept"
        )
        database.executemany("INSERT INTO metadata VALUES (?, ?)", list(metadata.items()))
        database.executemany(
            "INSERT INTO kept VALUES (?, ?, ?, ?)", [(*place, content) for place, content in tiles.items()]
        )
    database.close()
    return path


def picture(path: Path, bands: np.ndarray, crs: str = "EPSG:32617", cell: float = 0.5) -> Path:
    """A picture whose middle lies at LON, LAT."""
    from tunnelsite.core.grid import transformer

    east, north = transformer("EPSG:4326", crs).transform(LON, LAT)
    count, rows, cols = bands.shape
    place = from_origin(east - cols * cell / 2, north + rows * cell / 2, cell, cell)
    with rasterio.open(
        path, "w", driver="GTiff", width=cols, height=rows, count=count, dtype=bands.dtype, crs=crs, transform=place
    ) as file:
        file.write(bands)
    return path


def pixels(content: bytes) -> np.ndarray:
    with rasterio.MemoryFile(content) as memory, memory.open() as file:
        return file.read()


def test_stored_tile_is_that_of_the_place(tmp_path: Path) -> None:
    column, row = tile_at(LON, LAT)
    south = 2**ZOOM - 1 - row
    path = mbtiles(tmp_path / 'farm;tiles "1".mbtiles', {(ZOOM, column, south): png(7), (ZOOM - 1, column // 2, south // 2): b"no picture"},
                   bounds="-79,42,-78,44", format="png", attribution="Flown by us")  # fmt: skip
    about = background_of(path)
    assert (about.bounds_deg, about.least_zoom, about.most_zoom, about.credit) == (
        (-79, 42, -78, 44),
        16,
        17,
        "Flown by us",
    )
    tile = background_tile(path, ZOOM, column, row)
    assert (tile.content, tile.kind) == (png(7), "image/png")
    assert background_tile(path, ZOOM, column, row + 1) is None
    assert background_tile(path, ZOOM - 1, column // 2, row // 2) is None  # it is no picture
    assert background_tile(path, 99, 0, 0) is None and background_tile(path, ZOOM, -1, 0) is None
    assert not list(tmp_path.glob("*-*"))  # nothing is written beside it


def test_picture_is_cut_to_the_tile_of_the_place(tmp_path: Path) -> None:
    bands = np.zeros((3, 900, 900), np.uint8)
    bands[0, :450] = bands[1, 450:] = bands[2, :, 450:] = 250  # red in the north, green in the south, blue in the east
    path = picture(tmp_path / "aerial.tif", bands)
    about = background_of(path)
    assert about.most_zoom == 18  # 0.5 m at 43 N are 0.68 m of the map; a pixel of zoom 18 is 0.60 m of it
    assert about.bounds_deg[0] < LON < about.bounds_deg[2]
    column, row = tile_at(LON, LAT, 18)
    place = (LON + 180) / 360 * 2**18 - column, (1 - np.arcsinh(np.tan(np.radians(LAT))) / np.pi) / 2 * 2**18 - row
    found = pixels(background_tile(path, 18, column, row).content)
    middle = int(256 * place[1]), int(256 * place[0])
    for down, right, colour in (
        (-9, -9, (250, 0, 0)),
        (-9, 9, (250, 0, 250)),
        (9, -9, (0, 250, 0)),
        (9, 9, (0, 250, 250)),
    ):
        at = middle[0] + down, middle[1] + right
        if 0 <= at[0] < 256 and 0 <= at[1] < 256:
            assert tuple(found[:3, *at]) == colour and found[3, *at] == 255
    assert background_tile(path, 18, column + 50, row) is None  # beyond it


def test_own_alpha_is_kept(tmp_path: Path) -> None:
    bands = np.full((4, 300, 300), 255, np.uint8)
    bands[3] = 0
    bands[3, 100:200, 100:200] = 255
    found = pixels(background_tile(picture(tmp_path / "a.tif", bands), 17, *tile_at(LON, LAT)).content)
    assert set(np.unique(found[3])) >= {0, 255} and (found[3] > 0).mean() < 0.6


@pytest.mark.parametrize(
    "bands", [np.ones((1, 30, 30), np.float32), np.ones((3, 30, 30), np.uint16), np.ones((2, 30, 30), np.uint8)]
)
def test_heights_are_no_picture(tmp_path: Path, bands: np.ndarray) -> None:
    with pytest.raises(InputRefused, match="band"):
        background_of(picture(tmp_path / "dem.tif", bands))


def test_other_files_are_refused_in_words(tmp_path: Path) -> None:
    cases = {
        "text": b"no database at all, only words",
        "vector": mbtiles(tmp_path / "v.mbtiles", {(1, 0, 0): b"x"}, format="pbf").read_bytes(),
        "empty": mbtiles(tmp_path / "e.mbtiles", {}).read_bytes(),
        "bounds": mbtiles(tmp_path / "b.mbtiles", {(1, 0, 0): png()}, bounds="everywhere").read_bytes(),
        "cut off": mbtiles(tmp_path / "c.mbtiles", {(1, 0, 0): png()}).read_bytes()[:2500],
    }
    for name, content in cases.items():
        path = tmp_path / "tiles.mbtiles"
        path.write_bytes(content)
        with pytest.raises(TunnelsiteError, match=r"tiles\.mbtiles"):
            background_of(path), name


def test_query_that_never_ends_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tunnelsite.io.read.vector_files._LOOKING_S", 0.3)
    path = tmp_path / "endless.mbtiles"
    with sqlite3.connect(path) as database:
        database.execute("CREATE TABLE metadata (name text, value text)")
        database.execute(
            "CREATE VIEW tiles AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
            "SELECT i AS zoom_level, i AS tile_column, i AS tile_row, x'00' AS tile_data FROM n"
        )
    database.close()
    with pytest.raises(InputRefused, match="interrupted"):
        background_of(path)
