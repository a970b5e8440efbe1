"""A project file (TOML): settings under the names of the options, its paths seen from where it lies."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.settings.model import settings_from
from tunnelsite.settings.paths import anchored

LARGEST_BYTES = 1_000_000
MOST_DOTS = 200  # in one line: the time a dotted key takes grows with the square of its parts
# A file from a colleague may say what is read and how it is judged, never what is written or replaced.
COMMAND_LINE_ALONE = ("out", "rasters", "keep", "overwrite")


def project_settings(path: str | Path) -> tuple[dict[str, Any], dict[str, int]]:
    """The raw settings of a project file, its paths made relative to the file's folder, and the line of each.

    Errors: UsageError for a missing file, broken TOML, doubled or unknown names, and for what is for the command line alone.
    """
    file = Path(path)
    text = _text(file)
    try:
        given = tomllib.loads(text)
    except (ValueError, RecursionError) as problem:  # ValueError: also a number of thousands of digits
        raise UsageError(f"{file}: {problem}", "TOML, each name once", "correct that line") from None
    lines = {
        match[1]: text.count("\n", 0, match.start()) + 1
        for match in re.finditer(r"^[ \t]*\[?[ \t]*([A-Za-z0-9_-]+)", text, re.MULTILINE)
    }
    for name in COMMAND_LINE_ALONE:
        if name in given:
            raise UsageError(
                f"{file}:{lines.get(name, 1)}: {name} is set in a project file",
                "settings of what is read and how it is judged; outputs are for the command line alone",
                f"remove the line and give --{name} where it is wanted",
            )
    settings_from(given, lines=lines, file=str(file))
    return anchored(given, file.parent), lines


def _text(file: Path) -> str:
    try:
        if file.exists() and not file.is_file():  # a pipe would never end
            raise UsageError(f"project file {file} is a folder or no plain file", "a TOML file", "correct the path")
        if file.stat().st_size > LARGEST_BYTES:
            raise UsageError(
                f"{file} is {file.stat().st_size} bytes", "a project file below 1 MB", "name a project file"
            )
        text = file.read_text("utf-8")
    except (OSError, ValueError) as problem:  # no path, no UTF-8
        reason = getattr(problem, "strerror", None) or problem
        raise UsageError(f"project file {file} cannot be read ({reason})", "a TOML file", "correct it") from None
    for number, line in enumerate(text.splitlines(), 1):
        if line.count(".") > MOST_DOTS:
            raise UsageError(
                f"{file}:{number}: {line.count('.'):,} dots in one line, as of names nested so deep",
                f"at most {MOST_DOTS}",
                "name one file a line; no setting is nested more than three deep",
            )
    return text
