"""A VRT that only lists local tiles is read as those tiles: the same cells as GDAL shows. One that is more is refused."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.mosaic import mosaic, read_mosaic


def _tile(path: Path, west: float, north: float, level: float, size: int = 40) -> None:
    profile = {
        "driver": "GTiff", "height": size, "width": size, "count": 1, "dtype": "float32", "nodata": -9999.0,
        "crs": "EPSG:32618", "transform": Affine(1, 0, west, 0, -1, north),
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as file:
        file.write(np.arange(size * size, dtype=np.float32).reshape(size, size) / 100 + level, 1)


def _source(path: Path | str, col: int, row: int, size: int = 40, relative: int = 0) -> str:
    rectangle = f'xSize="{size}" ySize="{size}"'
    return (
        f'<SimpleSource><SourceFilename relativeToVRT="{relative}">{path}</SourceFilename><SourceBand>1</SourceBand>'
        f'<SrcRect xOff="0" yOff="0" {rectangle}/><DstRect xOff="{col}" yOff="{row}" {rectangle}/></SimpleSource>'
    )


def _vrt(folder: Path, sources: str, band: str = "") -> Path:
    path = folder / "all.vrt"
    path.write_text(
        '<VRTDataset rasterXSize="80" rasterYSize="40"><SRS>EPSG:32618</SRS><GeoTransform>500000,1,0,4700040,0,-1</GeoTransform>'
        f'<VRTRasterBand dataType="Float32" band="1"{band}><NoDataValue>-9999</NoDataValue>{sources}</VRTRasterBand></VRTDataset>'
    )
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    _tile(tmp_path / "west.tif", 500_000, 4_700_040, 100)
    _tile(tmp_path / "east.tif", 500_030, 4_700_040, 200)  # they overlap by 10 columns: the one named last lies on top
    return tmp_path


def test_the_cells_are_those_that_the_vrt_shows(folder: Path) -> None:
    path = _vrt(folder, _source("west.tif", 0, 0, relative=1) + _source(folder / "east.tif", 30, 0))
    tiles = mosaic(str(path))
    found = read_mosaic(tiles, None)
    with rasterio.open(path) as shown:
        wanted = shown.read(1)[:, :70]
    assert np.allclose(found.values + found.datum_m, wanted, atol=1e-4)
    assert any("tiles" in note for note in found.notes)


def test_what_a_common_tool_writes_is_read(folder: Path) -> None:
    tool = shutil.which("gdalbuildvrt")
    if tool is None:
        pytest.skip("gdalbuildvrt is not installed")
    subprocess.run([tool, "-q", "built.vrt", "west.tif", "east.tif"], cwd=folder, check=True)
    assert len(mosaic(str(folder / "built.vrt")).tiles) == 2


@pytest.mark.parametrize(
    ("sources", "band", "words"),
    [
        ("", ' subClass="VRTDerivedRasterBand"', "computes"),
        ("<PixelFunctionType>harm</PixelFunctionType>", "", "PixelFunctionType"),
        (_source("http://127.0.0.1/x.tif", 0, 0), "", "names"),
        (_source("/vsicurl/http://127.0.0.1/x.tif", 0, 0), "", "names"),
        (_source("other.vrt", 0, 0, relative=1), "", "names"),
        (_source("/etc/passwd", 0, 0), "", "names"),
        (_source("west.tif", 5, 0, relative=1) + _source("east.tif", 30, 0, relative=1), "", "elsewhere"),
        (_source("west.tif", 0, 0, relative=1, size=30), "", "another size"),
        (_source("missing.tif", 0, 0, relative=1), "", "missing.tif"),
        (_source("west.tif", 0, 0, relative=1).replace("<SourceBand>1", "<SourceBand>mask,1"), "", "band"),
        (_source("west.tif", 0, 0, relative=1).replace('<DstRect xOff="0" yOff="0" xSize="40"', '<DstRect xOff="0" yOff="0" xSize="80"'), "", "scales"),
        ("<SimpleSource></SimpleSource>", "", "without its file"),
        ("", "", "no file"),
    ],
)  # fmt: skip
def test_anything_more_than_a_list_is_refused(folder: Path, sources: str, band: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        mosaic(str(_vrt(folder, sources, band)))


def test_a_document_type_and_damage_are_refused(folder: Path) -> None:
    path = folder / "x.vrt"
    path.write_text('<!DOCTYPE x [<!ENTITY a "b">]><VRTDataset/>')
    with pytest.raises(InputRefused, match="document type"):
        mosaic(str(path))
    path.write_text("<VRTDataset><VRTRasterBand>")
    with pytest.raises(InputRefused, match="damaged"):
        mosaic(str(path))
