"""Ground and surface models round a place: windows of GeoTIFFs on servers, put together and written as ordinary files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tunnelsite.core.errors import InputRefused
from tunnelsite.gather.choice import chosen_items
from tunnelsite.gather.data_sources import DataSource
from tunnelsite.gather.record import Entry, entry_of
from tunnelsite.io.fetch.door import Door
from tunnelsite.io.fetch.ranged import RangedFile
from tunnelsite.io.fetch.window import Area, Fetched, fetched_window, moved, put_through, window_bytes, write_window

Progress = Callable[[str, float], None]
MOST_FILES = 200


@dataclass(frozen=True)
class PlannedFetch:
    """What would be fetched: files, open at their headers, about how many bytes, and why these."""

    source: DataSource
    files: tuple[RangedFile, ...]
    size: int
    reason: str


def planned_elevation(door: Door, source: DataSource, area: Area, *, surface: bool) -> PlannedFetch:
    """Which files, and about how large the windows are; only headers and the catalogue are read. Errors: InputRefused."""
    if source.kind == "stac":
        chosen = chosen_items(door, source, area, surface=surface)
        addresses, reason = chosen.addresses, chosen.reason
    else:
        addresses, reason = (source.address,), "the file that was named"
    if len(addresses) > MOST_FILES:
        raise InputRefused(f"{len(addresses)} files meet the area", f"at most {MOST_FILES}", "take a smaller circle")
    files = tuple(RangedFile(door, address, f"source {source.name!r}") for address in addresses)
    size = sum(window_bytes(file, area) for file in files)
    if size == 0:
        raise InputRefused(
            f"source {source.name!r} does not reach the area", "a file that covers it", "check the place and the source"
        )
    return PlannedFetch(source, files, size, reason)


def gather_elevation(
    planned: PlannedFetch, area: Area, folder: Path, *, what: str, progress: Progress, overwrite: bool
) -> list[Entry]:
    """Fetch what was planned into `WHAT.tif` (`WHAT-2.tif` ... for windows that share no lattice). Return: entries for the record.

    Arguments: what, `ground` or `surface`. Errors: InputRefused, OutputFailed; a window that breaks off is not written.
    """
    windows = []
    for k, file in enumerate(planned.files):
        progress(f"fetching {what}", k / len(planned.files))
        found = fetched_window(file, area)
        if found is not None:
            windows.append(_with_unit(found, planned.source))
    entries = []
    for k, group in enumerate(_groups(windows)):
        path = folder / (f"{what}.tif" if k == 0 else f"{what}-{k + 1}.tif")
        put = put_together(group)
        write_window(path, put, tags=_tags(planned.source, group), overwrite=overwrite)
        notes = () if k == 0 else (f"it shares no lattice of cells with {what}.tif: screen one of them",)
        entries.append(entry_of(path, what, planned.source, [one.address for one in group], planned.reason, notes))
    progress(f"fetching {what}", 1.0)
    return entries


def _with_unit(found: Fetched, source: DataSource) -> Fetched:
    """With the unit that the user states of a source, where the file has none."""
    return replace(found, units=tuple(unit or source.unit for unit in found.units)) if source.unit else found


def _tags(source: DataSource, group: list[Fetched]) -> dict[str, str]:
    found = {"SOURCE": " ".join(one.address for one in group)[:2000], "SOURCE_NAME": source.name}
    found |= {"LICENCE": source.licence} if source.licence else {}
    return found | ({"VERTICAL_DATUM": source.datum} if source.datum else {})


def _groups(windows: list[Fetched]) -> list[list[Fetched]]:
    """Windows that can be put together without moving a cell: one lattice each, in the order of the best."""
    groups: list[list[Fetched]] = []
    for one in windows:
        home = next((group for group in groups if _same_lattice(group[0], one)), None)
        if home is None:
            groups.append([one])
        else:
            home.append(one)
    return groups


def _same_lattice(a: Fetched, b: Fetched) -> bool:
    if repr(a.lattice) != repr(b.lattice):
        return False
    one, other = a.profile["transform"], b.profile["transform"]
    if not all(abs(one[k] - other[k]) < 1e-9 * abs(one[0]) for k in (0, 1, 3, 4)):
        return False
    off = put_through(~one, other.c, other.f)
    return all(abs(value - round(value)) < 1e-3 for value in off)


def put_together(group: list[Fetched]) -> Fetched:
    """Windows of one lattice as one: where they overlap the first that has data rules. Cells in none are no data.

    Errors: InputRefused where there is a gap and the files have no value for no data.
    """
    first = group[0]
    if len(group) == 1:
        return first
    base = first.profile["transform"]
    places = []
    for one in group:
        corner = one.profile["transform"]
        col, row = (round(value) for value in put_through(~base, corner.c, corner.f))
        places.append((row, col, *one.cells.shape[1:]))
    top, left = min(place[0] for place in places), min(place[1] for place in places)
    rows, cols = max(p[0] + p[2] for p in places) - top, max(p[1] + p[3] for p in places) - left
    filled = np.zeros((rows, cols), bool)
    empty = first.profile["nodata"]
    cells = np.full((len(first.cells), rows, cols), 0 if empty is None else empty, first.cells.dtype)
    for one, (row, col, height, width) in zip(group, places, strict=True):
        part = np.s_[row - top : row - top + height, col - left : col - left + width]
        known = ~filled[part] & ~_empty(one.cells[0], empty)
        cells[(slice(None), *part)][:, known] = one.cells[:, known]
        filled[part] |= known
    if empty is None and not filled.all():
        raise InputRefused(
            f"the files of {first.address.rpartition('/')[0]!r} leave a gap and have no value for no data",
            "files that cover the area",
            "take a smaller circle or another source",
        )
    profile = first.profile | {"height": rows, "width": cols, "transform": moved(base, left, top)}
    return replace(first, cells=cells, profile=profile)


def _empty(cells: np.ndarray, empty: float | None) -> np.ndarray:
    if cells.dtype.kind == "f":
        return ~np.isfinite(cells) if empty is None else np.asarray(~np.isfinite(cells) | (cells == empty))
    return np.zeros(cells.shape, bool) if empty is None else cells == empty
