"""Files that the parameters of criteria name, such as the raster of a plug-in: inputs of the run like any other."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tunnelsite.core.layers import Features
from tunnelsite.core.site import Site
from tunnelsite.io.read.files import file_name, file_stamp, layer_of, sha256
from tunnelsite.io.read.vector_files import content_of


def with_named_files(site: Site, parameters: Mapping[str, Mapping[str, Any]]) -> Site:
    """The site with every file that the parameters name, its digest, and its stamp to be looked at once more at the end.

    Arguments: site; parameters by criterion id, as in the settings.
    """
    if site.named or not parameters:
        return site
    stamps = tuple((str(path), file_stamp(path)) for _, path in _named(parameters) if path.is_file())
    return replace(site, named=named_files(parameters), files=(*site.files, *stamps))


def named_files(parameters: Mapping[str, Mapping[str, Any]]) -> tuple[Features, ...]:
    """Name and SHA-256 of every file that a parameter names, without its content; of a folder the digest of all its files.

    A text counts as the name of a file where there is such a file or folder; `FILE#LAYER` and lists separated by commas or
    semicolons do too.
    """
    nothing = np.empty(0, object)
    return tuple(
        Features(nothing, name=file_name(path), sha256=_digest(path), notes=(f"named by the parameter {where}",))
        for where, path in _named(parameters)
    )


def paths_named(parameters: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Paths of the files and folders that the parameters name."""
    return [str(path) for _, path in _named(parameters)]


def _named(parameters: Mapping[str, Mapping[str, Any]]) -> Iterator[tuple[str, Path]]:
    seen = set()
    for owner, values in sorted(parameters.items()):
        for name, value in sorted(values.items()):
            for text in _texts(value):
                path = _existing(text)
                if path is not None and (owner, name, path) not in seen:
                    seen.add((owner, name, path))
                    yield f"{owner}.{name}", path


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield from dict.fromkeys([value, *(part.strip() for part in re.split("[,;]", value))])
    elif isinstance(value, Mapping):
        yield from (text for item in value.values() for text in _texts(item))
    elif isinstance(value, list | tuple):
        yield from (text for item in value for text in _texts(item))


def _existing(text: str) -> Path | None:
    for name in (text, layer_of(text)[0]) if text and "\0" not in text else ():
        try:
            path = Path(name).absolute()
            if path.is_file() or (
                path.is_dir() and os.sep in name
            ):  # a plain word is no folder that happens to be there
                return path
        except OSError:  # longer than a name can be
            return None
    return None


def _digest(path: Path) -> str:
    if path.is_file():
        return content_of(path, "ESRI Shapefile").sha256 if path.suffix.lower() == ".shp" else sha256(path)
    whole = hashlib.sha256()
    for file in sorted(path.rglob("*")):
        if file.is_file():
            whole.update(os.fsencode(file.relative_to(path)) + f"\0{sha256(file)}\n".encode())
    return whole.hexdigest()
