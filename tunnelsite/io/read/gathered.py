"""Where a file came from, if `gather` brought it: from the record beside it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

RECORD = "gathered.json"
_MOST_BYTES = 4 << 20


def gathered_entries(folder: Path) -> list[dict[str, Any]]:
    """Entries of a folder's record. Errors: ValueError for a record that is none."""
    path = folder / RECORD
    if path.stat().st_size > _MOST_BYTES:
        raise ValueError("too large")
    found = json.loads(path.read_text("utf-8"))
    entries = found.get("gathered") if isinstance(found, dict) else None
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise ValueError("no list of what was gathered")
    return entries


def entry_of_content(folder: Path, sha256: str) -> dict[str, Any] | None:
    """The entry of this very content in a folder's record, or None."""
    try:
        entries = gathered_entries(folder)
    except (OSError, ValueError):
        return None
    return next((one for one in entries if sha256 and one.get("sha256") == sha256), None)


def gathered_words(path: Path, sha256: str) -> str:
    """A sentence on where a file came from, or `` where no record beside it names this very content."""
    entry = entry_of_content(path.parent, sha256)
    if entry is None:
        return ""
    addresses = entry.get("addresses")
    addresses = list(map(str, addresses)) if isinstance(addresses, list) else []
    words = [f"gathered {str(entry.get('fetched'))[:10]} from {', '.join(addresses[:3])}"]
    words += [f"and {len(addresses) - 3} more"] if len(addresses) > 3 else []
    words += [f"licence: {entry.get('licence')}"]
    words += [f"vertical datum: {entry['datum']}"] if entry.get("datum") else []
    return "; ".join(words)[:600]
