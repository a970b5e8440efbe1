"""A placement: one house at one spot with one ridge bearing, wherever it comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.notebook import notebook_table

SAME_BEARING_DEG = 0.25  # grid north is off true north by less within a farm


@dataclass(frozen=True, repr=False)
class Placement:
    """Where a house is to stand: a ranked candidate or any other place.

    Attributes:
        lon_deg, lat_deg: its centre (WGS 84). bearing_deg: of the ridge, clockwise from true north.
        house: the house. title: in words, made from the centre where it is empty. parcel: name of the parcel, "" = not known.
        rank: of a candidate, from 1; None for any other place.
        settings: (name, value) as in a project file, of the screening it comes from; what is missing has its default. A mapping will do.
        sources: (name, SHA-256) of the file it was read from, if any.

    Errors: UsageError for a spot or a bearing that cannot be.
    """

    lon_deg: float
    lat_deg: float
    bearing_deg: float
    house: House
    title: str = ""
    parcel: str = ""
    rank: int | None = None
    settings: tuple[tuple[str, Any], ...] = ()
    sources: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not isinstance(self.house, House):
            raise UsageError(f"house is {self.house!r}", "a House", "make one with House.parse('30x96ft')")
        if not (-180 <= self.lon_deg <= 180 and -90 < self.lat_deg < 90):  # false for NaN too
            raise UsageError(
                f"the placement is at longitude {self.lon_deg}, latitude {self.lat_deg}",
                "longitude -180 to 180, latitude -90 to 90",
                "longitude comes first",
            )
        if not -360 <= self.bearing_deg <= 360:
            raise UsageError(f"bearing is {self.bearing_deg}", "-360 to 360 degrees from true north", "correct it")
        if isinstance(self.settings, Mapping):
            object.__setattr__(self, "settings", tuple(self.settings.items()))
        if not self.title:
            object.__setattr__(self, "title", f"Place {self.lon_deg:.5f}, {self.lat_deg:.5f}, {self.house.name}")

    def __repr__(self) -> str:
        where = f"{self.lon_deg:.6f}, {self.lat_deg:.6f}"
        return f"<Placement: {self.title}; centre {where}, ridge {self.bearing_deg:g} deg>"

    def _repr_html_(self) -> str:
        given = {"longitude": f"{self.lon_deg:.7f}", "latitude": f"{self.lat_deg:.7f}", "parcel": self.parcel}
        own = {"house": self.house.name, "ridge from true north [deg]": f"{self.bearing_deg:g}"}
        return notebook_table(self.title, own | given | dict(self.settings))

    @property
    def grid_bearing_deg(self) -> float:
        """The nominal bearing [deg]: that of the screening where this is the same ridge, else its own."""
        asked = dict(self.settings).get("bearing")
        if asked is None or abs((float(asked) - self.bearing_deg + 90.0) % 180.0 - 90.0) > SAME_BEARING_DEG:
            return self.bearing_deg
        return float(asked)

    def with_settings(self, given: Mapping[str, Any]) -> Placement:
        """The same placement with other settings. Arguments: given, names and values that go before those it has."""
        return replace(self, settings=tuple((dict(self.settings) | dict(given)).items()))
