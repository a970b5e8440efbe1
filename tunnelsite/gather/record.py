"""What was gathered, from where, when, under which licence: `gathered.json` beside the files."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.moment import run_moment
from tunnelsite.gather.data_sources import DataSource
from tunnelsite.io.read.files import sha256
from tunnelsite.io.read.gathered import RECORD, gathered_entries
from tunnelsite.io.write.staging import write_whole


@dataclass(frozen=True)
class Entry:
    """One file that was gathered.

    Attributes:
        file: its name. what: `ground`, `surface`, `parcels` ... sha256: of the file. source: its name. addresses: what was
        read. fetched: when (UTC). licence, datum: in words. chosen: why these and no others. notes: what to know.
    """

    file: str
    what: str
    sha256: str
    source: str
    addresses: tuple[str, ...]
    fetched: str
    licence: str
    datum: str
    chosen: str
    notes: tuple[str, ...] = ()


def entry_of(
    path: Path, what: str, source: DataSource, addresses: Iterable[str], chosen: str = "", notes: Iterable[str] = ()
) -> Entry:
    """The entry of a file that was just written."""
    when = f"{run_moment():%Y-%m-%dT%H:%M:%SZ}"
    licence = source.licence or "not stated by the source"
    return Entry(
        path.name, what, sha256(path), source.name, tuple(addresses), when, licence, source.datum, chosen, tuple(notes)
    )


def add_to_record(folder: Path, entries: list[Entry]) -> Path:
    """Add entries to the folder's record; an older entry of the same file gives way. Errors: InputRefused, OutputFailed."""
    path = folder / RECORD
    try:
        before = gathered_entries(folder) if path.exists() else []
    except ValueError:
        raise InputRefused(
            f"{RECORD} cannot be read", "the record that `gather` wrote", "move it away and gather again"
        ) from None
    names = {entry.file for entry in entries}
    kept = [one for one in before if one.get("file") not in names]
    text = json.dumps({"gathered": [*kept, *map(asdict, entries)]}, indent=2, ensure_ascii=False)
    write_whole(path, f"{text}\n", overwrite=True)
    return path
