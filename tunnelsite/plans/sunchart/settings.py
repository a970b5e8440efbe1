"""What may be asked of a sun chart."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Annotated, Literal

from tunnelsite.core.errors import UsageError
from tunnelsite.core.field_readings import FieldReadings
from tunnelsite.plans.kinds import Day, Days, Hours, Readings
from tunnelsite.settings.kinds import Choice, Flag, Share, Turn

CHART, LIGHT, FIELD = "Chart", "Light", "Horizon measured in the field"
MONTHLY = tuple((month, 21) for month in range(1, 13))


@dataclass(frozen=True)
class SunChartSettings:
    """Settings of a sun chart. The crop months and where the light is wanted come with the placement.

    Errors: UsageError for north, declination and date that do not go together.
    """

    utc_offset_h: Annotated[
        float | None,
        Hours("Clock", "Tell the time by a clock so many hours ahead of UTC all year.", CHART, -15.0, 15.0,
              without="solar time"),
    ] = None  # fmt: skip
    days: Annotated[
        tuple[tuple[int, int], ...], Days("Days", "Days to draw, as 12-21,06-21: the sun's path and its hours.", CHART)
    ] = MONTHLY
    cover_transmission: Annotated[
        float | None,
        Share("Cover", "Share of the light that reaches the crops through cover, frame and dirt.", LIGHT, 0.001, 1.0,
              without="a single film with frame and dirt"),
    ] = None  # fmt: skip
    field_horizon: Annotated[
        FieldReadings | None,
        Readings(
            "Field horizon", "CSV of azimuth_deg, elevation_deg from compass and clinometer, to compare with.", FIELD
        ),
    ] = None
    north: Annotated[
        Literal["true", "magnetic"] | None,
        Choice("North", "What the azimuths of the field horizon were read from.", FIELD),
    ] = None
    declination_deg: Annotated[
        float | None,
        Turn("Declination", "Declination of the compass, east positive, for magnetic north.", FIELD, -180.0, 180.0),
    ] = None
    date: Annotated[
        datetime.date | None,
        Day(
            "Day of the readings",
            "Day of the compass readings: gives the declination by the World Magnetic Model 2025.",
            FIELD,
        ),
    ] = None
    use_field: Annotated[
        bool, Flag("Use the field horizon", "Draw and count with the field horizon, not the computed one.", FIELD)
    ] = False

    def __post_init__(self) -> None:
        compass = (self.north, self.declination_deg, self.date)
        if self.field_horizon is None and any(one is not None for one in compass):
            raise UsageError(
                "north, declination or date without a field horizon (--field-horizon)",
                "both together",
                "name the field horizon",
            )
        if self.field_horizon is not None and self.north is None:
            raise UsageError(
                "a field horizon without north (--north)",
                "true or magnetic",
                "say what the compass was set to",
            )
        if self.north == "magnetic" and (self.declination_deg is None) == (self.date is None):
            raise UsageError(
                "magnetic north with neither or both of --declination and --date",
                "the declination, or the day of the readings, from which the World Magnetic Model gives it",
                "give one of them",
            )
        if self.date is not None and self.north != "magnetic":
            raise UsageError(
                "a date without magnetic north (--north magnetic)",
                "both together",
                "the day only serves the declination",
            )
