"""Names that come from data, made safe: as file names, and as columns of a GeoPackage."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterable

_MOST_BYTES = 80  # leaves room for a prefix and a suffix within the 255 bytes of common file systems
# Device names on Windows, whatever suffix follows [@device-names].
_DEVICES = frozenset(
    ["CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"]
    + [f"{port}{number}" for port in ("COM", "LPT") for number in "0123456789¹²³"]
)
# key, geometry, and SQLite's own names for the row
RESERVED_COLUMNS = ("fid", "geom", "rowid", "oid", "_rowid_")


def safe_name(text: str, taken: Collection[str] = ()) -> str:
    """A file name (without suffix) made from any text, such as a parcel's name, that stays inside its folder.

    Letters and digits of any script, `_`, `-` and inner dots are kept; everything else becomes `_`. Device
    names of Windows get a `_`; a name in `taken` (letter case and Unicode composition aside) gets `-2`, `-3`
    and so on.

    Arguments: text; taken, names given out before. Returns: at most about 80 bytes of UTF-8, never empty.
    """
    composed = unicodedata.normalize("NFC", str(text))
    kept = "".join(
        letter if unicodedata.category(letter)[0] in "LNM" or letter in "._-" else "_" for letter in composed
    )
    name = _cut(re.sub(r"_+", "_", kept).strip("._-"), _MOST_BYTES).strip("._-") or "unnamed"
    if name.split(".")[0].upper() in _DEVICES:
        name = f"{name.split('.')[0]}_{name[len(name.split('.')[0]) :]}"
    used = {_key(other) for other in taken}
    unique, count = name, 1
    while _key(unique) in used:
        count += 1
        unique = f"{_cut(name, _MOST_BYTES - 8)}-{count}"
    return unique


def safe_names(texts: Iterable[str]) -> list[str]:
    """`safe_name` of every text, all different."""
    names: list[str] = []
    for text in texts:
        names.append(safe_name(text, names))
    return names


def column_names(names: Iterable[str]) -> dict[str, str]:
    """The column each name gets in a GeoPackage, where names differing in case only, or equal to the table's
    key, would collide.

    `fid`, `geom`, `rowid`, `oid`, `_rowid_` (in any case) and the second of two names that differ in case
    only get `_1`, `_2` and so on; control characters become `_`; an empty name becomes `column`. Returns:
    {given name: column}, in order.
    """
    given = list(names)
    used = {name.casefold() for name in RESERVED_COLUMNS}
    # Names that need no change come first: a `fid_1` in the data stays what it is even where `fid` stands
    # before it.
    plain, seen = {}, set(used)
    for name in given:
        if name and name.isprintable() and name.casefold() not in seen:
            seen.add(name.casefold())
            plain[name] = name
    used = set(seen)
    result = {}
    for name in given:
        column = plain.get(name)
        if column is None:
            base = "".join(letter if letter.isprintable() else "_" for letter in name) or "column"
            column, count = base, 0
            while column.casefold() in used:
                count += 1
                column = f"{base}_{count}"
            used.add(column.casefold())
        result[name] = column
    return result


def _cut(text: str, most_bytes: int) -> str:
    return text.encode("utf-8", "replace")[:most_bytes].decode("utf-8", "ignore")


def _key(name: str) -> str:
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())
