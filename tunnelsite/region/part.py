"""What one task found, as bytes: the same task gives the same bytes, wherever and whenever it runs."""

from __future__ import annotations

import gzip
import io
import json
import zlib
from collections.abc import Iterable, Mapping
from typing import Any

import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading, Table

FORMAT = "tunnelsite region part 3"
KINDS: dict[str, type | tuple[type, ...]] = {TEXT: str, INTEGER: int, REAL: (int, float)}
LARGEST_BYTES = 2_000_000_000


def packed(part: Mapping[str, Any]) -> bytes:
    """A part as compressed JSON with its keys in order. NaN and infinity are refused (ValueError): unknown is null."""
    text = json.dumps({"format": FORMAT, **part}, sort_keys=True, allow_nan=False, separators=(",", ":"))
    return gzip.compress(text.encode(), compresslevel=6, mtime=0)


def unpacked(data: bytes, key: str) -> dict[str, Any]:
    """The part again. Errors: InputRefused for anything but a whole part of the task with this key."""
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:  # never unpacked beyond what a part can be
            text = stream.read(LARGEST_BYTES + 1)
        if len(text) > LARGEST_BYTES:
            raise ValueError("too large")
        part: dict[str, Any] = json.loads(text)
        if part["format"] != FORMAT or part["key"] != key:
            raise ValueError("another task's part")
    except (ValueError, KeyError, TypeError, OSError, EOFError, RecursionError, zlib.error) as problem:
        raise InputRefused(f"a part is not whole ({problem})", "a part of this region run", "run again") from None
    return part


def table_out(table: Table) -> dict[str, Any]:
    """A table as plain values: columns with their description, rows, geometry as hexadecimal WKB."""
    return {
        "title": table.title,
        "columns": [[name, column.kind, column.title, column.unit] for name, column in table.columns.items()],
        "values": {name: table.values(name) for name in table.columns},
        "geometry_type": table.geometry_kind,
        "geometry": [] if table.geometry is None else shapely.to_wkb(table.geometry, hex=True).tolist(),
    }


def check_values(name: str, kind: str, values: Iterable[Any]) -> None:
    """Errors: ValueError for a value that is not of its column's kind; None always is."""
    for value in values:
        if value is not None and (not isinstance(value, KINDS[kind]) or isinstance(value, bool)):
            raise ValueError(f"{name} is {value!r}")


def columns_of(stored: list[dict[str, Any]]) -> dict[str, Heading]:
    """The columns of several stored tables together: those of the first, others put in after their neighbour on the left."""
    order: list[str] = []
    found: dict[str, Heading] = {}
    for table in stored:
        before = -1
        for name, kind, title, unit in table["columns"]:
            if name not in found:
                found[name] = Heading(kind, title, unit)
                order.insert(before + 1, name)
            before = order.index(name)
    return {name: found[name] for name in order}
