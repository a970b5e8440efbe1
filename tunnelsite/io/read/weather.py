"""Reads a year of solar radiation from a weather file (EPW or TMY3) of the user."""

from __future__ import annotations

import io
import os
from pathlib import Path

import numpy as np
import pandas as pd

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.units import MONTH_DAYS
from tunnelsite.core.weather import Weather
from tunnelsite.io.read.files import checked_file, file_name, head, sha256

SUN_YEAR = 2025  # the project's 365-day sun year (light.sun.YEAR)
HOURS = 8760
MOST_WH = 1500.0  # more than the sun gives outside the atmosphere: such a number is a missing-value mark such as 9999
MOST_MISSING = 0.05  # of the hours of a year
LARGEST_BYTES = 50_000_000
EXPECTED = "an EPW or TMY3 file of one year, hour by hour"


def read_weather(path: str | os.PathLike[str]) -> Weather:
    """Beam, diffuse and global radiation of a typical year.

    Both formats stamp an hour with its END in local standard time (hour 1 = 00:00 to 01:00; EnergyPlus Auxiliary
    Programs, and NREL/TP-581-43156). Here it is the start, and the sun is taken inside the hour. Years differ
    from month to month in typical years, so only month, day and hour are used; 29 February is left out.

    Arguments: path of a `.epw` or a TMY3 `.csv`. Errors: InputRefused with the reason.
    """
    file, kind = kind_of(path)
    try:
        table, place = (_epw if kind == "EPW" else _tmy3)(text_of(file))
    except (KeyError, ValueError, TypeError, IndexError, OverflowError) as problem:
        raise InputRefused(
            f"{file.name} cannot be read as {kind} ({problem})", EXPECTED, "get the file again, or convert it"
        ) from None
    month, date, hour = (table[name] for name in ("month", "date", "hour"))
    _check_stamps(file, month, date, hour)
    keep = ~((month == 2) & (date == 29))
    notes = [
        f"{kind}: stamps are ends of hours in local standard time (UTC{place[3]:+g} h); the sun is taken inside the hour"
    ]
    if not keep.all():
        notes.append("29 February left out")
    of_year = (np.concatenate([[0], np.cumsum(MONTH_DAYS)])[month - 1] + date - 1) * 24 + hour - 1
    light = {name: table[name][keep] for name in ("ghi", "dni", "dhi")}
    return _checked(file, of_year[keep], light, place, notes)


def text_of(file: Path) -> str:
    """The text of a weather file; names of places outside Unicode are in the older Western alphabet."""
    content = file.read_bytes()
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _epw(text: str) -> tuple[dict[str, np.ndarray], list[float]]:
    """Stamps and radiation, and (latitude, longitude, altitude, UTC offset), of the text of an EPW [@epw]."""
    import pandas as pd

    columns = {1: "month", 2: "date", 3: "hour", 13: "ghi", 14: "dni", 15: "dhi"}
    data = pd.read_csv(io.StringIO(text), skiprows=8, header=None, usecols=list(columns)).rename(columns=columns)
    place = [float(cell) for cell in text.split("\n", 1)[0].split(",")[6:10]]
    return _numbers(data), [place[0], place[1], place[3], place[2]]


def _tmy3(text: str) -> tuple[dict[str, np.ndarray], list[float]]:
    """As `_epw`, of the text of a TMY3."""
    import pandas as pd

    data = pd.read_csv(io.StringIO(text), skiprows=1)
    days, times = (
        data[name].str.split(mark, expand=True) for name, mark in (("Date (MM/DD/YYYY)", "/"), ("Time (HH:MM)", ":"))
    )
    if (times[1].astype(int) != 0).any():
        raise ValueError("its stamps lie within the hour")
    light = {name: data[f"{name.upper()} (W/m^2)"] for name in ("ghi", "dni", "dhi")}
    data = pd.DataFrame({"month": days[0], "date": days[1], "hour": times[0], **light})
    place = [float(cell) for cell in text.split("\n", 1)[0].split(",")[3:7]]
    return _numbers(data), [*place[1:], place[0]]


def _numbers(data: pd.DataFrame) -> dict[str, np.ndarray]:
    """Stamps as whole numbers, the rest as floats."""
    stamps = ("month", "date", "hour")
    return {name: data[name].to_numpy(int if name in stamps else float) for name in data.columns}


def _check_stamps(file: Path, month: np.ndarray, date: np.ndarray, hour: np.ndarray) -> None:
    if len(hour) and (hour == 0).any():
        raise InputRefused(
            f"{file.name} counts the hours of a day from {hour.min()} to {hour.max()}",
            "hours 1 to 24, each stamped with its end, as the format has them",
            "convert it: whether 0 is the first hour or the end of the last one is not clear from the file",
        )
    days = np.array(MONTH_DAYS) + (np.arange(12) == 1)
    wrong = (hour < 1) | (hour > 24) | (month < 1) | (month > 12) | (date < 1)
    wrong |= date > days[np.clip(month, 1, 12) - 1]
    if wrong.any():
        k = int(np.argmax(wrong))
        raise InputRefused(
            f"{file.name} has an hour {hour[k]} on day {date[k]} of month {month[k]}", EXPECTED, "get the file again"
        )


def _checked(
    file: Path, of_year: np.ndarray, table: dict[str, np.ndarray], place: list[float], notes: list[str]
) -> Weather:
    if len(of_year) != HOURS or len(np.unique(of_year)) != HOURS:
        found = f"{len(np.unique(of_year))} different hours of the year in {len(of_year)} rows"
        raise InputRefused(f"{file.name} holds {found}", EXPECTED, "get the whole file")
    if not (-90 <= place[0] <= 90 and -180 <= place[1] <= 180 and -15 <= place[3] <= 15):
        raise InputRefused(
            f"{file.name} names a station at {place[0]:g}, {place[1]:g}, UTC{place[3]:+g} h",
            "a place on earth",
            "correct its first line",
        )
    missing = np.zeros(HOURS, bool)
    for name, values in table.items():
        bad = ~np.isfinite(values) | (values < 0) | (values > MOST_WH)
        if bad.mean() > MOST_MISSING:
            row = int(np.argmax(bad))
            where = f"day {of_year[row] // 24 + 1} at hour {of_year[row] % 24 + 1} ({values[row]:g})"
            raise InputRefused(
                f"{file.name} has {int(bad.sum())} hours ({bad.mean():.1%}) without {name}, the first on {where}",
                f"radiation in all hours but {MOST_MISSING:.0%}",
                "choose another station; holes are not filled by guesses",
            )
        missing |= bad
    if missing.any():
        table = {name: np.where(missing, 0.0, values) for name, values in table.items()}
        notes = [
            *notes,
            f"{int(missing.sum())} hours ({missing.mean():.1%}) without radiation are left out: they weigh nothing",
        ]
    order = np.argsort(of_year)
    first = np.datetime64(f"{SUN_YEAR}-01-01", "s").astype(np.int64)
    start_s = first + np.arange(HOURS) * 3600 - round(place[3] * 3600)
    day = np.arange(HOURS) // 24 + 1
    month = np.searchsorted(np.cumsum(MONTH_DAYS), day) + 1
    beam, diffuse, whole = (table[name][order] for name in ("dni", "dhi", "ghi"))
    return Weather(
        start_s, month, day, beam, diffuse, whole, place[0], place[1], place[2], place[3],
        name=file_name(file), sha256=sha256(file), notes=tuple(notes),
    )  # fmt: skip


def kind_of(path: str | os.PathLike[str], option: str = "--weather") -> tuple[Path, str]:
    """(File, which kind of weather file it is: EPW or TMY3). Errors: InputRefused for anything else; UsageError for what is no
    path of a plain file."""
    file = checked_file(path, option)
    if file.stat().st_size > LARGEST_BYTES:
        raise InputRefused(
            f"{option}: {file.name} is {file.stat().st_size} bytes", "less than 50 MB", "name the right file"
        )
    lines = head(file, option, 1000).decode("utf-8", "replace").splitlines()
    if lines and lines[0].upper().startswith("LOCATION,"):
        return file, "EPW"
    if lines[1:] and lines[1].lower().startswith("date (mm/dd/yyyy)"):
        return file, "TMY3"
    raise InputRefused(
        f"{option}: {file.name} is neither EPW (first word LOCATION) nor TMY3 (second line begins with Date)",
        EXPECTED,
        "convert it",
    )
