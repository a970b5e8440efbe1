"""Vector files may name what is elsewhere: GDAL is kept from going there."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pyogrio

from tunnelsite.core.errors import InputRefused

# GDAL's own settings, above the user's environment. The proxy is a port of this machine where nothing listens: should a
# driver fetch in spite of all, nothing leaves the machine.
_ALONE = {
    "GML_SKIP_RESOLVE_ELEMS": "ALL",
    "LIBKML_RESOLVE_STYLE": "NO",
    "OSR_SET_FROM_USER_INPUT_ALLOW_NETWORK_ACCESS": "NO",
    "OSR_SET_FROM_USER_INPUT_ALLOW_FILE_ACCESS": "NO",
    "GDAL_HTTP_PROXY": "http://127.0.0.1:9",
    "GDAL_HTTP_MAX_RETRY": "0",
}
_ADDRESS = re.compile(rb"https?:|\\", re.IGNORECASE)
_PIECE = 1 << 22
_NAMED = (
    "",
    "name",
    "epsg",
    "ogc",
)  # kinds of a GeoJSON `crs` that say which system it is; `link` says where to fetch it


def keep_to_the_file() -> None:
    """Settles, for the rest of the process, that GDAL as pyogrio carries it follows no reference out of a file."""
    pyogrio.set_gdal_config_options(_ALONE)


def refuse_linked_system(path: Path, where: str) -> None:
    """Errors: InputRefused for a GeoJSON whose coordinate system is to be fetched, or that only looks like JSON.

    GDAL's parser takes comments and single quotes, in which a `crs` could hide; so wherever there could be an address (or
    an escape that spells one) the file has to be JSON by RFC 8259.
    """
    if not _may_hold_an_address(path):
        return
    text = path.read_bytes().decode("utf-8-sig", "replace")
    try:
        json.loads(text, strict=False, object_pairs_hook=_refuse_link)
    except _Linked:
        raise InputRefused(
            f"{where} says its coordinate system by an address",
            "GeoJSON in longitude and latitude, or with a named system; nothing is fetched",
            "remove its member crs, or export it as a GeoPackage",
        ) from None
    except (ValueError, RecursionError) as problem:
        raise InputRefused(
            f"{where} is no JSON ({str(problem)[:100]})", "GeoJSON (RFC 7946)", "export it again"
        ) from None


def _may_hold_an_address(path: Path) -> bool:
    """Searched piece by piece: one search through a large file would keep Ctrl-C waiting for seconds."""
    end = b""
    with open(path, "rb") as file:
        while piece := file.read(_PIECE):
            if _ADDRESS.search(end + piece):
                return True
            end = piece[-8:]  # longer than what is looked for
    return False


class _Linked(Exception):
    """A coordinate system that would have to be fetched."""


class _ObjectType(str):
    """What an object of the file was: its member `type`, in lower case."""


def _refuse_link(pairs: list[tuple[str, object]]) -> _ObjectType:
    """Called for every object, innermost first; what it returns takes the object's place."""
    for name, value in pairs:
        if name.lower() == "crs" and isinstance(value, _ObjectType) and value not in _NAMED:
            raise _Linked
    return _ObjectType(str(dict(pairs).get("type", "")).lower())
