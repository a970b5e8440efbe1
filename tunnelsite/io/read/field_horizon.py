"""Reads a horizon measured in the field with compass and clinometer (CSV: azimuth_deg, elevation_deg)."""

from __future__ import annotations

import csv
import io
import math
import os
from pathlib import Path

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.field_readings import FieldReadings
from tunnelsite.io.read.files import file_name

COLUMNS = ("azimuth_deg", "elevation_deg")
LARGEST_BYTES = 1_000_000
FEWEST_ROWS = 3
ANGLES = "a compass bearing from 0 to 360 degrees and an angle from -10 to 90 degrees above level"


def read_field_readings(path: str | os.PathLike[str]) -> FieldReadings:
    """Compass and clinometer readings from a CSV with the columns azimuth_deg and elevation_deg.

    Other columns are left alone; `#` lines are comments. Errors: InputRefused, naming the line.
    """
    file = Path(path)
    azimuths, elevations, lines = zip(*_rows(file), strict=True)
    return FieldReadings(azimuths, elevations, file_name(file), lines)


def _rows(file: Path) -> list[tuple[float, float, int]]:
    try:
        if file.stat().st_size > LARGEST_BYTES:
            raise InputRefused(
                f"{file} is {file.stat().st_size} bytes", "a field horizon below 1 MB", "name the right file"
            )
        text = file.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError, ValueError) as problem:
        raise InputRefused(
            f"field horizon {file} cannot be read ({problem})",
            "a CSV file in UTF-8",
            "correct the path or save it as UTF-8",
        ) from None
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise InputRefused(f"{file.name} is empty", "a CSV with the columns " + ", ".join(COLUMNS), "fill it in")
    comma = ";" if ";" in lines[0][1] and "," not in lines[0][1] else ","
    names = [name.strip().lower() for name in next(csv.reader(io.StringIO(lines[0][1]), delimiter=comma))]
    missing = [name for name in COLUMNS if names.count(name) != 1]
    if missing:
        raise InputRefused(
            f"{file.name} has the columns {', '.join(names)}",
            "one column each of " + ", ".join(COLUMNS),
            "name them in the first line",
        )
    places = [names.index(name) for name in COLUMNS]
    found = [
        _reading(file.name, number, next(csv.reader([line], delimiter=comma)), places) for number, line in lines[1:]
    ]
    if len(found) < FEWEST_ROWS:
        raise InputRefused(
            f"{file.name} holds {len(found)} readings", f"at least {FEWEST_ROWS}, all the way round", "add readings"
        )
    return found


def _reading(name: str, line: int, cells: list[str], places: list[int]) -> tuple[float, float, int]:
    try:
        azimuth, elevation = (float(cells[place].strip()) for place in places)
    except (IndexError, ValueError):
        raise InputRefused(
            f"{name}, line {line}: {', '.join(cells)[:80]!r}", ANGLES + ", with a decimal point", "correct the line"
        ) from None
    if not (math.isfinite(azimuth) and 0 <= azimuth <= 360 and -10 <= elevation <= 90):
        raise InputRefused(
            f"{name}, line {line}: azimuth {azimuth:g}, elevation {elevation:g}", ANGLES, "correct the line"
        )
    return azimuth, max(elevation, 0.0), line
