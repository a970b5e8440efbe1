"""From compass and clinometer readings to a horizon by true north."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.field_readings import FieldReadings
from tunnelsite.core.horizon import Horizon

NORTHS = ("true", "magnetic")
WIDEST_GAP_DEG = 45.0


@dataclass(frozen=True)
class FieldHorizon:
    """A measured horizon with true azimuths. notes: what was assumed, and gaps between readings that are wide."""

    horizon: Horizon
    name: str
    notes: tuple[str, ...]


def measured_horizon(readings: FieldReadings, *, north: str, declination_deg: float | None = None) -> FieldHorizon:
    """A horizon from compass and clinometer readings.

    Arguments: readings; north, `true` or `magnetic`, what the azimuths were read from; declination_deg, how far magnetic north lies
    east of true north, for magnetic readings.
    Errors: UsageError for `north` or a missing or idle declination; InputRefused for a direction that is there twice.
    """
    shift = _declination(north, declination_deg)
    given = np.array(readings.azimuth_deg, float)
    azimuth = (given + shift) % 360.0
    order = np.argsort(azimuth, kind="stable")
    azimuth, elevation = azimuth[order], np.array(readings.elevation_deg, float)[order]
    same = np.flatnonzero(np.diff(azimuth) < 1e-9)
    if len(same):
        line = f", line {readings.lines[order[same[0] + 1]]}" if readings.lines else ""
        raise InputRefused(
            f"{readings.name}{line}: the direction {given[order[same[0]]]:g} is there twice (360 is 0)",
            "each direction once",
            "delete the reading that is wrong",
        )
    notes = [
        f"{len(azimuth)} readings; azimuths from {north} north"
        + (f", declination {shift:+g} deg added" if north == "magnetic" else "")
    ]
    gaps = np.diff(azimuth, append=azimuth[0] + 360.0)
    if gaps.max() > WIDEST_GAP_DEG:
        k = int(np.argmax(gaps))
        notes.append(
            f"no reading between {azimuth[k]:.0f} and {(azimuth[k] + gaps[k]) % 360:.0f} deg: a straight line was drawn"
        )
    return FieldHorizon(Horizon(azimuth, elevation), readings.name, tuple(notes))


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
