"""Sources of data under names of the user's own: `sources.toml`, or an address on the command line."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from pathlib import Path

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.units import VERTICAL_UNITS_M
from tunnelsite.io.fetch.door import host_of

KINDS = ("raster", "stac", "features", "points", "file")
LOCAL = "local"  # made from files that lie here; it has no address
MOST_BYTES = 1 << 20


@dataclass(frozen=True)
class DataSource:
    """Where data come from.

    Attributes:
        name; kind: `raster` (a GeoTIFF by address), `stac` (a STAC API or static catalogue), `features` (OGC API - Features),
        `points` (LAS, LAZ or COPC by address), `file` (a GeoPackage, FlatGeobuf or GeoJSON by address).
        address; collection, of a STAC API or Features service; asset, the key of a STAC asset.
        hosts: further hosts it may lead to. unit: of heights, where the files do not say. datum: vertical datum, in words.
        licence: in words. note: anything a reader of the report should know.
    """

    name: str
    kind: str
    address: str
    collection: str = ""
    asset: str = ""
    hosts: tuple[str, ...] = ()
    unit: str = ""
    datum: str = ""
    licence: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.kind == LOCAL:
            return
        if self.kind not in KINDS:
            raise UsageError(
                f"source {self.name!r} is of kind {self.kind!r}", ", ".join(KINDS), nearest(self.kind, KINDS)
            )
        host_of(self.address, f"the address of source {self.name!r}")
        if self.unit and self.unit not in VERTICAL_UNITS_M:
            raise UsageError(
                f"source {self.name!r} has heights in {self.unit!r}", ", ".join(VERTICAL_UNITS_M), "correct the unit"
            )


def read_sources(path: Path) -> dict[str, DataSource]:
    """Sources by name from a TOML file with one table per source. Errors: InputRefused, UsageError."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputRefused(f"{path.name} is larger than 1 MB", "a short list of sources", "name another file")
        found = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise InputRefused(f"sources file {path.name} cannot be read ({problem})", "TOML", "correct the file") from None
    return {name: _source(name, values, path.name) for name, values in found.items()}


def _source(name: str, values: object, file: str) -> DataSource:
    known = [field.name for field in fields(DataSource) if field.name != "name"]
    if not isinstance(values, dict):
        raise UsageError(f"{file}: {name} is no table", f"[{name}] with kind and address", "give it a heading")
    for word in values:
        if word not in known:
            raise UsageError(f"{file}: source {name!r} has {word!r}", ", ".join(known), nearest(word, known))
    if "address" not in values or "kind" not in values:
        raise UsageError(f"{file}: source {name!r} lacks its kind or address", "both", "add them")
    if not all(isinstance(item, str) for word, item in values.items() if word != "hosts"):
        raise UsageError(f"{file}: source {name!r} holds something that is no text", "texts in quotes", "correct it")
    hosts = values.get("hosts", [])
    if not isinstance(hosts, list) or not all(isinstance(item, str) for item in hosts):
        raise UsageError(
            f"{file}: hosts of {name!r} are {hosts!r}", 'a list such as ["data.example.org"]', "correct it"
        )
    return DataSource(name, **(values | {"hosts": tuple(hosts)}))


def source_named(text: str, known: dict[str, DataSource], usual: str, option: str) -> DataSource:
    """A source by its name in the sources file, or by an address (`usual` is then its kind). Arguments: option, where it was given.

    Errors: UsageError.
    """
    if text in known:
        return known[text]
    if "://" in text:
        return DataSource(text.rpartition("/")[2] or text, kind_of(text, usual), text)
    raise UsageError(
        f"{option} names {text!r}, which is no source",
        f"an address, or one of: {', '.join(known) or 'none, as no sources file was given'}",
        nearest(text, known) if known else "give --sources FILE, or an address",
    )


def kind_of(address: str, usual: str) -> str:
    """The kind of source that an address is by its ending, else `usual`."""
    path = address.partition("?")[0].lower()
    endings = {"raster": (".tif", ".tiff"), "points": (".las", ".laz"), "file": (".gpkg", ".fgb", ".geojson")}
    return next((kind for kind, names in endings.items() if path.endswith(names)), usual)
