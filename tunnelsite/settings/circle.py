"""A circle round a place, as `43.0124,-78.1502:400m`: in place of parcels, and for what is gathered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import length_m, number
from tunnelsite.settings.kinds import Text

LEAST_RADIUS_M, MOST_RADIUS_M = 10.0, 25_000.0


@dataclass(frozen=True)
class Circle:
    """Centre (WGS 84) and radius [m]."""

    lat_deg: float
    lon_deg: float
    radius_m: float


def circle(text: str, what: str = "--around") -> Circle:
    """A circle from `LAT,LON:RADIUS`. Errors: UsageError naming `what`."""
    place, colon, radius = str(text).partition(":")
    lat, comma, lon = place.partition(",")
    if not colon or not comma:
        raise UsageError(f"{what} is {text!r}", "LAT,LON:RADIUS such as 43.0124,-78.1502:400m", "correct it")
    lat_deg, lon_deg = number(lat, f"{what}, latitude"), number(lon, f"{what}, longitude")
    if not (-85 <= lat_deg <= 85 and -180 <= lon_deg <= 180):  # false for NaN too
        raise UsageError(
            f"{what} lies at latitude {lat_deg:g}, longitude {lon_deg:g}",
            "latitude -85 to 85 first, then longitude -180 to 180",
            "swap them?",
        )
    radius_m = length_m(radius, f"{what}, radius", least_m=LEAST_RADIUS_M, most_m=MOST_RADIUS_M)
    return Circle(lat_deg, lon_deg, radius_m)


@dataclass(frozen=True)
class CircleWords(Text):
    """A circle, kept as it was written."""

    def read(self, value: Any, what: str) -> str:
        """The same words, once they are those of a circle."""
        circle(value, what)
        return str(value)
