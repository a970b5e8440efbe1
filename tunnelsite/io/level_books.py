"""Reads a level book from a CSV file."""

from __future__ import annotations

import os
from pathlib import Path

from tunnelsite.core.errors import InputRefused

MOST_BYTES = 5_000_000  # a level book of ten thousand rows is far smaller


def read_level_book_text(path: str | os.PathLike) -> str:
    """The text of a level book, for `siteplan.level_book.parse_level_book`.

    Errors: InputRefused for a missing, empty or huge file, or one that is not UTF-8 text.
    """
    name = Path(path)
    try:
        with open(name, "rb") as handle:
            data = handle.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputRefused(
            f"level book {name} cannot be read ({error.strerror})", "a CSV file", "check the path"
        ) from error
    if not data.strip() or len(data) > MOST_BYTES:
        size = "empty" if not data.strip() else f"larger than {MOST_BYTES} bytes"
        raise InputRefused(f"level book {name} is {size}", "a CSV file of readings", "check the file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputRefused(
            f"level book {name} is not UTF-8 text (byte {error.start})",
            "CSV saved as UTF-8",
            "save it again as CSV UTF-8",
        ) from error
    if "\0" in text:
        raise InputRefused(f"level book {name} holds null bytes", "CSV text", "save it again as CSV UTF-8")
    return text
