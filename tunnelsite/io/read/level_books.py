"""Reads small text files that a user brings along: a level book (CSV), and the numbers of a grading plan (JSON)."""

from __future__ import annotations

import json
import os
from pathlib import Path

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.planned_pad import PlannedPad

MOST_BYTES = 5_000_000  # a level book of ten thousand rows is far smaller


def read_level_book_text(path: str | os.PathLike) -> str:
    """The text of a level book, for `plans.stakeout.level_book.parse_level_book`.

    Errors: InputRefused for a missing, empty or huge file, or one that is not UTF-8 text.
    """
    return _text(Path(path), "level book", "a CSV file of readings", "CSV saved as UTF-8")


def read_planned_pad(path: str | os.PathLike) -> PlannedPad:
    """The finished pad of a grading plan, from the JSON summary that `grading` wrote.

    Errors: InputRefused for a file that cannot be read, is no such summary or holds what is no number.
    """
    name, wanted = Path(path), "the NAME.json that `tunnelsite grading` wrote"
    try:
        return PlannedPad.of(json.loads(_text(name, "grading plan", wanted, wanted)), str(path))
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        given = f"{name}: {error}" if type(error) is ValueError else f"{name} is no grading plan"
        raise InputRefused(given, wanted, "name that file, or run `tunnelsite grading` again") from error


def _text(name: Path, what: str, wanted: str, encoding: str) -> str:
    try:
        with open(name, "rb") as handle:
            data = handle.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputRefused(f"{what} {name} cannot be read ({error.strerror})", wanted, "check the path") from error
    if not data.strip() or len(data) > MOST_BYTES:
        size = "empty" if not data.strip() else f"larger than {MOST_BYTES} bytes"
        raise InputRefused(f"{what} {name} is {size}", wanted, "check the file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputRefused(
            f"{what} {name} is not UTF-8 text (byte {error.start})", encoding, "save it again as UTF-8"
        ) from error
    if "\0" in text:
        raise InputRefused(f"{what} {name} holds null bytes", wanted, "save it again as UTF-8")
    return text
