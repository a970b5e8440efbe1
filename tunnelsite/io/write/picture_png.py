"""Small rasters as PNG in memory, for pictures that carry them (GDAL's PNG driver through rasterio)."""

from __future__ import annotations

import base64
import warnings

import numpy as np


def png_bytes(bands: np.ndarray, level: int = 9) -> bytes:
    """A PNG of 8-bit bands.

    Arguments: bands uint8 [bands, rows, cols]: 1 grey, 2 grey + alpha, 3 red green blue, 4 with alpha; level, of the
    compression: 9 is small, 1 is ten times as quick.
    Errors: ValueError for another shape or type.
    """
    import rasterio.shutil
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import MemoryFile

    if bands.dtype != np.uint8 or bands.ndim != 3 or bands.shape[0] not in (1, 2, 3, 4):
        raise ValueError(f"{bands.dtype} {bands.shape}: 1 to 4 bands of 8 bits are expected")
    size = {"count": bands.shape[0], "height": bands.shape[1], "width": bands.shape[2]}
    with rasterio.Env(GDAL_PAM_ENABLED="NO"), warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # the picture around it places it
        with MemoryFile() as plain, MemoryFile() as memory:
            with plain.open(driver="MEM", dtype="uint8", **size) as target:
                target.write(bands)
                rasterio.shutil.copy(target, memory.name, driver="PNG", zlevel=level)  # as in `cog`: Ctrl-C is heard
            return bytes(memory.getbuffer())


def data_address(content: bytes, kind: str) -> str:
    """Content as a `data:` address (RFC 2397) of a media type, so that a page needs no second file."""
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"
