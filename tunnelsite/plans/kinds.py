"""Kinds of settings that only plans have: days, hours, and readings taken in the field."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from tunnelsite.core.errors import UsageError
from tunnelsite.core.field_readings import FieldReadings
from tunnelsite.core.units import month_day, number
from tunnelsite.settings.kinds import Number, Setting, _metavar

MOST_DAYS, MOST_READINGS, FEWEST_READINGS = 400, 10_000, 3


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
            raise UsageError(f"{what} is {value!r}", "a day as 2027-03-15", "write it like that") from None
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
class Readings(Setting):
    """Readings of a horizon with compass and clinometer: a CSV file on the command line, pairs of degrees in JSON."""

    metavar: str = _metavar("FILE")

    def read(self, value: Any, what: str) -> FieldReadings:
        """The readings, from pairs (azimuth, elevation)."""
        if isinstance(value, FieldReadings):
            return value
        pairs = value.get("readings") if isinstance(value, Mapping) else value
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
        return FieldReadings(*zip(*numbers, strict=True))

    def schema(self) -> dict[str, Any]:
        pair = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
        return {"type": "array", "items": pair, "minItems": FEWEST_READINGS, "maxItems": MOST_READINGS}

    def shown(self, value: Any) -> str:
        return f"{len(value.azimuth_deg)} readings"
