"""Readings of a horizon with compass and clinometer, as they were written down."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class FieldReadings:
    """One reading a direction.

    Attributes:
        azimuth_deg: from the north of the compass. elevation_deg: above level.
        name: where they come from, for messages. lines: of the file, for messages; () = from no file.
    """

    azimuth_deg: tuple[float, ...] = ()
    elevation_deg: tuple[float, ...] = ()
    name: str = "field horizon"
    lines: tuple[int, ...] = ()
