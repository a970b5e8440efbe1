"""Files that the operator offers by a plain id, so that a client need not send them."""

from __future__ import annotations

import os
import re
from pathlib import Path

from tunnelsite.core.errors import UsageError

ENDINGS = {
    "raster": (".tif", ".tiff", ".asc"),
    "features": (".gpkg", ".geojson", ".json", ".fgb"),
    "text": (".epw", ".csv"),
}
PLAIN_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}")


def datasets_in(folder: Path | None) -> dict[str, dict[str, str]]:
    """Paths by kind (`raster`, `features`, `text`) and id, the file's name without its ending.

    Only plain files that lie in the folder itself are offered: no link that leads out of it, nothing below it.
    Arguments: folder, or None for none. Errors: UsageError for a folder that is none, or two files of one id.
    """
    found: dict[str, dict[str, str]] = {kind: {} for kind in ENDINGS}
    if folder is None:
        return found
    if not os.path.isdir(folder):  # false for a name too long as well
        raise UsageError(f"--data is {str(folder)[:80]}", "a folder that exists", "correct it")
    inside = folder.resolve()
    for path in sorted(inside.iterdir()):
        kind = next((kind for kind, endings in ENDINGS.items() if path.suffix.lower() in endings), None)
        plain = path.is_file() and path.resolve().parent == inside and PLAIN_ID.fullmatch(path.stem)
        if kind is None or not plain:
            continue
        if path.stem in found[kind]:
            raise UsageError(
                f"--data {folder} holds {path.name} and {Path(found[kind][path.stem]).name}",
                "one file of each name",
                "rename one of them",
            )
        found[kind][path.stem] = str(path)
    return found
