"""The one tag of a TIFF that GDAL reads over: which way its rows and columns run."""

from __future__ import annotations

import struct
from pathlib import Path

from tunnelsite.core.errors import InputRefused

ORIENTATION = 274  # TIFF 6.0 (Adobe, 1992), section 8: 1 = row 0 on top, column 0 on the left
MOST_TAGS = 4096
_UPRIGHT = 1


def check_upright(path: Path, option: str) -> None:
    """Refuse a TIFF whose orientation tag turns or mirrors it: GDAL does not, other programs do, and where its north is then is a guess.

    Errors: InputRefused. A header that cannot be read is left to the reader of the file.
    """
    found = orientation(path)
    if found != _UPRIGHT:
        raise InputRefused(
            f"{option}: {path.name!r} has the orientation tag {found}, so its rows and columns do not run from the top left",
            "orientation 1, rows from the top and columns from the left, as its georeferencing takes them",
            "export it again with rows from the north, without the tag",
        )


def orientation(path: Path) -> int:
    """The orientation tag of the first image of a TIFF or BigTIFF; 1 where it has none or cannot be read."""
    try:
        with open(path, "rb") as file:
            start = file.read(16)
            order = {b"II": "<", b"MM": ">"}[start[:2]]
            big = struct.unpack(order + "H", start[2:4])[0] == 43
            at = struct.unpack(order + ("Q" if big else "I"), start[8:16] if big else start[4:8])[0]
            count_form, size = ("Q", 20) if big else ("H", 12)
            file.seek(at)
            count = struct.unpack(order + count_form, file.read(struct.calcsize(order + count_form)))[0]
            tags = file.read(size * min(count, MOST_TAGS))
    except (KeyError, struct.error, OSError, OverflowError, ValueError):
        return _UPRIGHT
    value = 12 if big else 8
    for first in range(0, len(tags) - size + 1, size):
        if struct.unpack(order + "H", tags[first : first + 2])[0] == ORIENTATION:
            return int(struct.unpack(order + "H", tags[first + value : first + value + 2])[0])
    return _UPRIGHT
