"""Raw grids with a header beside them are read as the same heights as a GeoTIFF; what does not fit its header is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.rasters import raster_header, read_raster

KINDS = (("EHdr", "bil", "hdr"), ("SAGA", "sdat", "sgrd"))
HEIGHTS = np.random.default_rng(3).uniform(190, 210, (9, 12)).astype(np.float32)
HEIGHTS[2, 3] = -9999


def _made(folder: Path, driver: str, ending: str, dtype: str = "float32") -> Path:
    path = folder / f"dem.{ending}"
    profile = {
        "width": 12, "height": 9, "count": 1, "dtype": dtype, "crs": "EPSG:32618", "nodata": -9999,
        "transform": Affine(2, 0, 500_000, 0, -2, 4_700_000),
    }  # fmt: skip
    with rasterio.open(path, "w", driver=driver, **profile) as file:
        file.write(HEIGHTS.astype(dtype), 1)
    return path


@pytest.mark.parametrize("dtype", ["float32", "int16"])
@pytest.mark.parametrize(("driver", "ending", "header"), KINDS)
def test_the_heights_are_those_of_a_geotiff(tmp_path: Path, driver: str, ending: str, header: str, dtype: str) -> None:
    wanted = read_raster(raster_header(_made(tmp_path, "GTiff", "tif", dtype)), vertical_unit="m")
    found = read_raster(raster_header(_made(tmp_path, driver, ending, dtype)), vertical_unit="m")
    np.testing.assert_array_equal(found.values + found.datum_m, wanted.values + wanted.datum_m)
    assert np.isnan(found.values[2, 3]) and found.affine == wanted.affine
    assert found.crs.to_epsg() == 32618 or found.crs.name == "WGS_1984_UTM_Zone_18N"
    notes = raster_header(tmp_path / f"dem.{ending}").notes
    assert any(f"dem.{header}" in note and "SHA-256" in note for note in notes)


@pytest.mark.parametrize(("driver", "ending", "header"), KINDS)
def test_without_its_header_or_with_another_it_is_refused(
    tmp_path: Path, driver: str, ending: str, header: str
) -> None:
    path, beside = _made(tmp_path, driver, ending), tmp_path / f"dem.{header}"
    text = beside.read_text()
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(InputRefused, match="bytes"):
        raster_header(path)
    beside.write_text("hello")
    with pytest.raises(InputRefused, match="rows, columns"):
        raster_header(path)
    beside.write_text(text.replace("12", "1000000000"))
    with pytest.raises(InputRefused):
        raster_header(path)
    beside.unlink()
    with pytest.raises(InputRefused, match=rf"lacks dem\.{header}"):
        raster_header(path)


def test_another_format_under_that_name_is_still_itself(tmp_path: Path) -> None:
    _made(tmp_path, "GTiff", "tif").rename(tmp_path / "dem.bil")
    assert raster_header(tmp_path / "dem.bil").driver == "GTiff"
