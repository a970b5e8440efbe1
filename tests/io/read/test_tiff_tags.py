"""The orientation tag (TIFF 6.0, section 8), which GDAL reads over."""

from __future__ import annotations

import struct

import pytest

from tests.io.rasters_made import hill, write
from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.raster_header import raster_header
from tunnelsite.io.read.tiff_tags import orientation


def tagged(path, value: int):
    """The file with the orientation tag in place of one that says nothing new: SamplesPerPixel (277), 1 where it is missing."""
    data = bytearray(path.read_bytes())
    order, big = {b"II": "<", b"MM": ">"}[bytes(data[:2])], data[2:4] in (b"+\0", b"\0+")
    at = struct.unpack_from(order + ("Q" if big else "I"), data, 8 if big else 4)[0]
    count = struct.unpack_from(order + ("Q" if big else "H"), data, at)[0]
    start, size = at + (8 if big else 2), 20 if big else 12
    entries = [bytes(data[start + k * size : start + (k + 1) * size]) for k in range(count)]
    new = struct.pack(order + ("HHQHHI" if big else "HHIHH"), 274, 3, 1, value, 0, *([0] if big else []))
    kept = [e for e in entries if struct.unpack(order + "H", e[:2])[0] != 277]
    entries = sorted([*kept, new], key=lambda e: struct.unpack(order + "H", e[:2])[0])
    data[start : start + count * size] = b"".join(entries)
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    "kind", [{}, {"BIGTIFF": "YES"}, {"ENDIANNESS": "BIG"}, {"BIGTIFF": "YES", "ENDIANNESS": "BIG"}]
)
def test_a_turned_tiff_is_refused(tmp_path, kind) -> None:
    path = write(tmp_path / "d.tif", hill(), **kind)
    assert orientation(path) == 1
    raster_header(path)
    for value in (2, 3, 4, 6, 8):
        with pytest.raises(InputRefused, match=f"orientation tag {value}.*export it again"):
            raster_header(tagged(write(tmp_path / "t.tif", hill(), **kind), value))
    assert raster_header(tagged(write(tmp_path / "o.tif", hill(), **kind), 1)).shape == hill().shape


def test_what_cannot_be_read_is_left_to_the_reader(tmp_path) -> None:
    for text in (b"", b"II*\0", b"II*\0\xff\xff\xff\xff", b"MM\0+\0\x08\0\0" + b"\xff" * 8, b"PK"):
        (tmp_path / "x.tif").write_bytes(text)
        assert orientation(tmp_path / "x.tif") == 1
