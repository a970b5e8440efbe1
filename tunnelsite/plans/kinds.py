"""Kinds of settings that only plans have: days, hours, readings taken in the field, gradients and rain."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from tunnelsite.core.errors import UsageError
from tunnelsite.core.field_readings import FieldReadings
from tunnelsite.core.level_book_text import LevelBookText
from tunnelsite.core.planned_pad import PlannedPad
from tunnelsite.core.units import length_m, month_day, number
from tunnelsite.settings.kinds import MOST_WORDS, Number, Setting, Several, _metavar

MOST_DAYS, MOST_READINGS, FEWEST_READINGS, MOST_LETTERS = 400, 10_000, 3, 5_000_000


@dataclass(frozen=True)
class Contents(Setting):
    """What a file holds: its path on the command line, the contents themselves in JSON."""

    metavar: str = _metavar("FILE")

    def unread(self, name: str) -> Any:
        """The value while only the file is known."""
        raise NotImplementedError


@dataclass(frozen=True)
class Hours(Number):
    """A number of hours."""

    metavar: str = _metavar("HOURS")
    unit: ClassVar[str] = "h"


@dataclass(frozen=True)
class Day(Setting):
    """A day of a year in which the magnetic model is alive, as 2027-03-15."""

    metavar: str = _metavar("YYYY-MM-DD")

    def read(self, value: Any, what: str) -> datetime.date:
        """The day, from ISO 8601 or a date."""
        from tunnelsite.plans.stakeout.bearings import check_day

        try:
            day = value if isinstance(value, datetime.date) else datetime.date.fromisoformat(str(value))
        except ValueError:
            raise UsageError(
                f"{what} is {value!r}", "a day as YYYY-MM-DD, such as 2027-03-15", "write it like that"
            ) from None
        check_day(day)
        return day

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "date"}


@dataclass(frozen=True)
class Days(Setting):
    """Days of any year, as 12-21,06-21 or a list."""

    metavar: str = _metavar("MM-DD,...")

    def read(self, value: Any, what: str) -> tuple[tuple[int, int], ...]:
        """((month, day), ...), from words or from such pairs."""
        parts = value.split(",") if isinstance(value, str) else list(value)
        if not 0 < len(parts) <= MOST_DAYS:
            raise UsageError(f"{what} holds {len(parts)} days", f"1 to {MOST_DAYS}", "leave some out")
        words = [part if isinstance(part, str) else "-".join(map(str, part)) for part in parts]
        return tuple(month_day(word, what) for word in words)

    def schema(self) -> dict[str, Any]:
        day = {"type": "string", "maxLength": 20}
        return {"type": "array", "items": day, "minItems": 1, "maxItems": MOST_DAYS}

    def shown(self, value: Any) -> str:
        days = {day for _, day in value}
        if len(days) == 1 and [month for month, _ in value] == list(range(1, 13)):
            return f"day {days.pop()} of every month"
        return ", ".join(f"{month:02d}-{day:02d}" for month, day in value)


@dataclass(frozen=True)
class Readings(Contents):
    """Readings of a horizon with compass and clinometer: a CSV file on the command line, pairs of degrees in JSON."""

    def unread(self, name: str) -> FieldReadings:
        return FieldReadings(name=name)

    def read(self, value: Any, what: str) -> FieldReadings:
        """The readings, from pairs (azimuth, elevation)."""
        if isinstance(value, FieldReadings):
            return value
        pairs: Any = value.get("readings") if isinstance(value, Mapping) else value
        try:
            numbers = [(number(azimuth, what), number(elevation, what)) for azimuth, elevation in pairs]
        except (TypeError, ValueError):
            raise UsageError(
                f"{what} is {str(value)[:60]!r}", "pairs of azimuth and elevation in degrees", "write [[0, 12], ...]"
            ) from None
        wrong = [pair for pair in numbers if not (0 <= pair[0] <= 360 and -10 <= pair[1] <= 90)]
        if wrong or not FEWEST_READINGS <= len(numbers) <= MOST_READINGS:
            given = f"{what} holds {wrong[0]}" if wrong else f"{what} holds {len(numbers)} readings"
            expected = f"{FEWEST_READINGS} or more of azimuth 0 to 360 and elevation -10 to 90 degrees"
            raise UsageError(given, expected, "correct them")
        return FieldReadings(tuple(azimuth for azimuth, _ in numbers), tuple(elevation for _, elevation in numbers))

    def schema(self) -> dict[str, Any]:
        pair = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
        return {"type": "array", "items": pair, "minItems": FEWEST_READINGS, "maxItems": MOST_READINGS}

    def shown(self, value: Any) -> str:
        return f"{len(value.azimuth_deg)} readings"


@dataclass(frozen=True)
class RunPerRise(Number):
    """A gradient as run for each unit of rise."""

    least: float = 0.01
    most: float = 99.9

    def _range(self) -> str:
        return "run per rise above 0 and below 100"


@dataclass(frozen=True)
class RainRate(Setting):
    """A rain intensity [mm/h], from words such as 4in/h or from a number."""

    metavar: str = _metavar("RATE")
    unit: ClassVar[str] = "mm/h"

    def read(self, value: Any, what: str) -> float:
        """The intensity [mm/h]."""
        if isinstance(value, int | float) and not isinstance(value, bool):
            found = float(value)
            if not 0 < found < 3000:
                raise UsageError(f"{what} is {value!r}", "above 0 and below 3000 mm/h", "correct it")
            return found
        depth, slash, per = str(value).strip().rpartition("/")
        if not slash or per.strip().lower() not in ("h", "hr", "hour") or not depth.strip()[-1:].isalpha():
            raise UsageError(f"{what} is {value!r}", "a rain intensity such as 4in/h or 100mm/h", "give depth and /h")
        return 1000.0 * length_m(depth, what, least_m=1e-5, most_m=3.0)

    def schema(self) -> dict[str, Any]:
        words = {"type": "string", "maxLength": MOST_WORDS}
        return {"anyOf": [{"type": "number", "minimum": 0, "maximum": 3000}, words]}


@dataclass(frozen=True)
class Burst(Setting):
    """One burst of rain: (depth [m], duration [s]), from words such as 1.2in/30min or from the pair."""

    metavar: str = _metavar("DEPTH/MINUTES")
    unit: ClassVar[str] = "m, s"

    def read(self, value: Any, what: str) -> tuple[float, float]:
        """Depth [m] and duration [s]."""
        if isinstance(value, list | tuple) and len(value) == 2:
            depth_m, seconds = (number(part, what) for part in value)
        else:
            depth, slash, minutes = str(value).partition("/")
            if not slash or not minutes.strip().endswith("min"):
                raise UsageError(f"{what} is {value!r}", "DEPTH/MINUTES, such as 1.2in/30min", "correct it")
            depth_m = length_m(depth, what, least_m=0.0001, most_m=3.0)
            seconds = 60.0 * number(minutes.strip().removesuffix("min"), what)
        if not (0 < depth_m <= 3 and 0 < seconds < 1e6):
            raise UsageError(f"{what} is {value!r}", "a depth up to 3 m and a duration above 0", "correct it")
        return depth_m, seconds

    def schema(self) -> dict[str, Any]:
        pair = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
        return {"anyOf": [pair, {"type": "string", "maxLength": MOST_WORDS}]}


@dataclass(frozen=True)
class Book(Contents):
    """A level book: a CSV file on the command line, its text in JSON."""

    def unread(self, name: str) -> LevelBookText:
        return LevelBookText(name=name)

    def read(self, value: Any, what: str) -> LevelBookText:
        """The book, from its text."""
        return value if isinstance(value, LevelBookText) else LevelBookText(str(value))

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "maxLength": MOST_LETTERS}

    def shown(self, value: Any) -> str:
        return str(value.name)


@dataclass(frozen=True)
class PadOfPlan(Contents):
    """The pad of a grading plan: the summary's file on the command line, the summary itself in JSON."""

    def unread(self, name: str) -> PlannedPad:
        return PlannedPad.unread(name)

    def read(self, value: Any, what: str) -> PlannedPad:
        """The pad, from a grading plan or its summary."""
        if isinstance(value, PlannedPad):
            return value
        name, value = (value.title, value.summary) if hasattr(value, "summary") else (what, value)
        try:
            return PlannedPad.of(value, name)
        except (KeyError, TypeError, ValueError) as problem:
            raise UsageError(f"{what} is no grading plan ({problem})", "the summary of one", "make it again") from None

    def schema(self) -> dict[str, Any]:
        return {"type": "object", "required": ["lon", "lat", "grading"]}

    def shown(self, value: Any) -> str:
        return str(value.name)


@dataclass(frozen=True)
class Marks(Several):
    """Known marks, as STATION=HEIGHT."""

    metavar: str = _metavar("STATION=HEIGHT")

    def read(self, value: Any, what: str) -> tuple[str, ...]:
        """The marks, from a list or from one."""
        return tuple(str(one) for one in super().read(value, what))

    def schema(self) -> dict[str, Any]:
        return {"type": "array", "items": {"type": "string", "maxLength": MOST_WORDS}, "maxItems": 100}
