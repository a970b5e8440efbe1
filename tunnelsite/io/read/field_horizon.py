"""Reads a horizon measured in the field with compass and clinometer (CSV: azimuth_deg, elevation_deg)."""

from __future__ import annotations

import csv
import io
import math
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.horizon import Horizon
from tunnelsite.io.read.files import file_name

COLUMNS = ("azimuth_deg", "elevation_deg")
NORTHS = ("true", "magnetic")
LARGEST_BYTES = 1_000_000
FEWEST_ROWS = 3
WIDEST_GAP_DEG = 45.0
ANGLES = "a compass bearing from 0 to 360 degrees and an angle from -10 to 90 degrees above level"


@dataclass(frozen=True)
class FieldHorizon:
    """A measured horizon with true azimuths. notes: what was assumed, and gaps between readings that are wide."""

    horizon: Horizon
    name: str
    notes: tuple[str, ...]


def read_field_horizon(path: str | os.PathLike, *, north: str, declination_deg: float | None = None) -> FieldHorizon:
    """A horizon from compass and clinometer readings.

    Arguments: path of a CSV with the columns azimuth_deg and elevation_deg (others are left alone; `#` lines are
    comments); north, `true` or
    `magnetic`, what the azimuths were read from; declination_deg, how far magnetic north lies east of true north, for magnetic readings.
    Errors: UsageError for `north` or a missing or idle declination; InputRefused, naming the line, for the file.
    """
    shift = _declination(north, declination_deg)
    file = Path(path)
    rows = _rows(file)
    azimuth = np.array([row[0] for row in rows]) + shift
    azimuth %= 360.0
    order = np.argsort(azimuth, kind="stable")
    azimuth, elevation = azimuth[order], np.array([row[1] for row in rows])[order]
    same = np.flatnonzero(np.diff(azimuth) < 1e-9)
    if len(same):
        line = rows[order[same[0] + 1]][2]
        raise InputRefused(
            f"{file.name}, line {line}: the direction {rows[order[same[0]]][0]:g} is there twice (360 is 0)",
            "each direction once",
            "delete the reading that is wrong",
        )
    notes = [
        f"{len(rows)} readings; azimuths from {north} north"
        + (f", declination {shift:+g} deg added" if north == "magnetic" else "")
    ]
    gaps = np.diff(azimuth, append=azimuth[0] + 360.0)
    if gaps.max() > WIDEST_GAP_DEG:
        k = int(np.argmax(gaps))
        notes.append(
            f"no reading between {azimuth[k]:.0f} and {(azimuth[k] + gaps[k]) % 360:.0f} deg: a straight line was drawn"
        )
    return FieldHorizon(Horizon(azimuth, elevation), file_name(file), tuple(notes))


def _declination(north: str, declination_deg: float | None) -> float:
    if north not in NORTHS:
        raise UsageError(
            f"north of the field horizon is {north!r}", " or ".join(NORTHS), "say what the compass was set to"
        )
    if north == "true":
        if declination_deg is not None:
            raise UsageError(
                "a declination was given for azimuths from true north",
                "one or the other",
                "leave the declination out, or say magnetic",
            )
        return 0.0
    if declination_deg is None:
        raise UsageError(
            "the azimuths are from magnetic north and no declination was given",
            "the declination of place and year in degrees, east positive",
            "look it up for the day of the readings; near Boston it is about -14",
        )
    if not -180.0 <= declination_deg <= 180.0:
        raise UsageError(f"the declination is {declination_deg}", "-180 to 180 degrees, east positive", "correct it")
    return float(declination_deg)


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
