"""How many cells a GeoTIFF claims to hold, read from its first directory by hand (TIFF 6.0; BigTIFF).

No library is let near the bytes in the server itself: a damaged file can only hurt a job.
"""

from __future__ import annotations

import struct

MOST_ENTRIES = 4096
_WIDTH, _LENGTH, _SAMPLES = 256, 257, 277
_FORMATS = {3: "H", 4: "I", 16: "Q"}  # SHORT, LONG, LONG8


def tiff_cells(content: bytes) -> int:
    """Columns times rows times bands. Errors: ValueError, in a few words, for what is no TIFF or is cut off."""
    try:
        return _cells(content)
    except struct.error:
        raise ValueError("a TIFF that is cut off") from None


def _cells(content: bytes) -> int:
    order = {b"II": "<", b"MM": ">"}.get(content[:2], "")
    version = struct.unpack_from(order + "H", content, 2)[0] if order else 0
    if version not in (42, 43):
        raise ValueError("no TIFF")
    big = version == 43
    start = struct.unpack_from(order + ("Q" if big else "I"), content, 8 if big else 4)[0]
    count = struct.unpack_from(order + ("Q" if big else "H"), content, start)[0]
    if not 0 < count <= MOST_ENTRIES:
        raise ValueError(f"a TIFF whose directory claims {count} entries")
    first, step, place = (start + 8, 20, 12) if big else (start + 2, 12, 8)
    found = {_SAMPLES: 1}
    for entry in range(count):
        at = first + entry * step
        tag, kind = struct.unpack_from(order + "HH", content, at)
        if tag in (_WIDTH, _LENGTH, _SAMPLES) and kind in _FORMATS:
            found[tag] = struct.unpack_from(order + _FORMATS[kind], content, at + place)[0]
    if not {_WIDTH, _LENGTH} <= found.keys():
        raise ValueError("a TIFF without a size")
    return found[_WIDTH] * found[_LENGTH] * found[_SAMPLES]
