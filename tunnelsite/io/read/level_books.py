"""Reads small text files that a user brings along: a level book (CSV), and the numbers of a grading plan (JSON)."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.level_book_text import LevelBookText
from tunnelsite.core.planned_pad import PlannedPad

MOST_BYTES = 5_000_000  # a level book of ten thousand rows is far smaller


def read_level_book(path: str | os.PathLike[str]) -> LevelBookText:
    """A level book as written in its file, for `plans.stakeout.level_book.parse_level_book`.

    Errors: InputRefused for a missing, empty or huge file, or one that is not UTF-8 text.
    """
    data = _bytes(Path(path), "level book", "a CSV file of readings")
    text = _text(Path(path), data, "level book", "CSV saved as UTF-8")
    return LevelBookText(text, str(path), hashlib.sha256(data).hexdigest())


def read_planned_pad(path: str | os.PathLike[str]) -> PlannedPad:
    """The finished pad of a grading plan, from the JSON summary that `grading` wrote.

    Errors: InputRefused for a file that cannot be read, is no such summary or holds what is no number.
    """
    name, wanted = Path(path), "the NAME.json that `tunnelsite grading` wrote"
    if name.suffix.lower() != ".json" and name.with_suffix(".json").is_file():
        raise InputRefused(f"grading plan {name}", wanted, f"give {name.with_suffix('.json')}")
    data = _bytes(name, "grading plan", wanted)
    text = _text(name, data, "grading plan", wanted)
    try:
        return PlannedPad.of(json.loads(text), str(path), hashlib.sha256(data).hexdigest())
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        given = f"{name}: {error}" if type(error) is ValueError else f"{name} is no grading plan"
        raise InputRefused(given, wanted, "name that file, or run `tunnelsite grading` again") from error


def _bytes(name: Path, what: str, wanted: str) -> bytes:
    try:
        with open(name, "rb") as handle:
            data = handle.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputRefused(f"{what} {name} cannot be read ({error.strerror})", wanted, "check the path") from error
    if not data.strip() or len(data) > MOST_BYTES:
        size = "empty" if not data.strip() else f"larger than {MOST_BYTES} bytes"
        raise InputRefused(f"{what} {name} is {size}", wanted, "check the file")
    return data


def _text(name: Path, data: bytes, what: str, wanted: str) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputRefused(
            f"{what} {name} is not UTF-8 text (byte {error.start})", wanted, "save it again as UTF-8"
        ) from error
    if "\0" in text:
        raise InputRefused(f"{what} {name} holds null bytes", wanted, "save it again as UTF-8")
    return text
