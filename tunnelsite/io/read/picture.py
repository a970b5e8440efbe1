"""Photos and logos as `data:` addresses of a page: read by GDAL, made small, and written anew, so that no position or camera data stays."""

from __future__ import annotations

import warnings

import numpy as np

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.files import checked_file
from tunnelsite.io.write.picture_png import data_address, png_bytes

MOST_BYTES = 60_000_000
MOST_DRAWING_BYTES = 20_000_000
# The first bytes of a file (JPEG: ISO/IEC 10918-1, B.1.1.3; PNG: W3C PNG, 5.2) and the GDAL driver that reads it.
KINDS = ((b"\xff\xd8\xff", "JPEG"), (b"\x89PNG\r\n\x1a\n", "PNG"))
QUALITY = 82
# How an image is turned to stand upright, by its EXIF orientation (CIPA DC-008, 4.6.4): quarter turns counterclockwise, then mirrored.
UPRIGHT = {
    "2": (0, True),
    "3": (2, False),
    "4": (2, True),
    "5": (3, True),
    "6": (3, False),
    "7": (1, True),
    "8": (1, False),
}


def picture_address(path: str, option: str, widest: int) -> str:
    """A JPEG or PNG file as a `data:` address.

    Arguments: path; option, named in messages; widest, pixels of the longer side at most.
    Errors: InputRefused for another kind of file or one that cannot be read.
    """
    file = checked_file(path, option)
    with open(file, "rb") as source:
        content = source.read(MOST_BYTES + 1)
    driver = next((name for start, name in KINDS if content.startswith(start)), None)
    if driver is None or len(content) > MOST_BYTES:
        raise _refused(option, file.name)
    bands, turned = _pixels(content, driver, widest, (option, file.name))
    quarters, mirrored = UPRIGHT.get(turned, (0, False))
    bands = np.rot90(bands, quarters, axes=(1, 2))
    bands = np.ascontiguousarray(bands[:, :, ::-1] if mirrored else bands)
    if driver == "JPEG" and len(bands) in (1, 3):
        return data_address(_jpeg(bands), "image/jpeg")
    return data_address(png_bytes(bands[:4]), "image/png")


def drawing_text(path: str, option: str) -> str:
    """A picture of the program's own, an SVG file, as text to be shown as an image, in which nothing can run or fetch.

    Errors: InputRefused for another kind of file.
    """
    file = checked_file(path, option)
    with open(file, "rb") as source:
        content = source.read(MOST_DRAWING_BYTES + 1)
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError:
        text = ""
    if len(content) > MOST_DRAWING_BYTES or not text.lstrip().startswith(("<?xml", "<svg")) or "</svg>" not in text:
        raise InputRefused(
            f"{option}: {file.name} is no SVG picture", "the .svg that `tunnelsite layout` wrote", "name that file"
        )
    return text


def _pixels(content: bytes, driver: str, widest: int, where: tuple[str, str]) -> tuple[np.ndarray, str]:
    """(uint8 [bands, rows, cols], EXIF orientation). Errors: InputRefused."""
    from rasterio.enums import Resampling
    from rasterio.errors import NotGeoreferencedWarning, RasterioError
    from rasterio.io import MemoryFile

    try:
        with warnings.catch_warnings(), MemoryFile(content) as memory:
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with memory.open(driver=driver) as source:
                if source.dtypes[0] != "uint8" or source.count > 4:
                    raise _refused(*where)
                shrink = max(1.0, max(source.width, source.height) / widest)
                size = (max(1, round(source.height / shrink)), max(1, round(source.width / shrink)))
                bands = source.read(out_shape=(source.count, *size), resampling=Resampling.average)
                return bands, source.tags().get("EXIF_Orientation", "1")
    except (RasterioError, ValueError) as problem:
        raise _refused(*where) from problem


def _jpeg(bands: np.ndarray) -> bytes:
    import rasterio.shutil
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import MemoryFile

    size = {"count": bands.shape[0], "height": bands.shape[1], "width": bands.shape[2]}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with MemoryFile() as plain, MemoryFile() as memory:
            with plain.open(driver="MEM", dtype="uint8", **size) as target:
                target.write(bands)
                rasterio.shutil.copy(target, memory.name, driver="JPEG", quality=QUALITY)
            return bytes(memory.getbuffer())


def _refused(option: str, name: str) -> InputRefused:
    return InputRefused(
        f"{option}: {name} is no picture that a page can show",
        f"a JPEG or PNG file of 8 bits, at most {MOST_BYTES // 1_000_000} MB",
        "export it as JPEG",
    )
