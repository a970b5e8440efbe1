"""How far apart houses have to stand so that one does not shade the other in midwinter: closed form."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tunnelsite.core.errors import UsageError

SOLSTICE_DECLINATION_DEG = 23.44  # obliquity of the ecliptic
ROOFS = ("arch", "gable")


class SunDown(UsageError):
    """The midwinter sun is not up at the hours asked about."""


@dataclass(frozen=True)
class Roof:
    """The cross-section that casts the shadow: ridge and eave height and width [m]; `arch` (half ellipse standing on side
    walls up to the eave) or `gable`."""

    ridge_m: float
    width_m: float
    shape: str = "arch"
    eave_m: float = 0.0

    def __post_init__(self) -> None:
        sound = 0 <= self.eave_m <= self.ridge_m < 50 and self.ridge_m > 0 and 0 < self.width_m < 1000
        if self.shape not in ROOFS or not sound:
            raise UsageError(
                f"roof {self.shape!r}, {self.width_m} m wide, ridge {self.ridge_m} m, eave {self.eave_m} m",
                f"{' or '.join(ROOFS)}, positive sizes, eave no higher than ridge",
                "correct the roof",
            )


def shade_reach(
    lat_deg: float, hours_from_noon: float, bearing_deg: float = 90.0, declination_deg: float | None = None
) -> tuple[float, float]:
    """Largest horizontal reach of a shadow square to the ridge, per unit of height, while the sun is within some hours
    of solar noon.

    Arguments: lat_deg, + = north; hours_from_noon [h], before and after; bearing_deg, ridge from true north;
    declination_deg, of the sun on the day, None = midwinter.
    Returns: reach to the left and to the right of the ridge's direction (north and south for a bearing of 90), 0
    where no
    shadow falls that way.
    Errors: UsageError where the sun is not up all that time.
    Source: spherical astronomy of the sun's position (geometric, no refraction); the turning points between the two
    hours
    are solved exactly. For a bearing of 90 this is cos(azimuth from the meridian) / tan(altitude).
    """
    lat, turn = math.radians(lat_deg), math.radians(bearing_deg)
    midwinter = -SOLSTICE_DECLINATION_DEG if lat_deg >= 0 else SOLSTICE_DECLINATION_DEG
    declination = math.radians(midwinter if declination_deg is None else declination_deg)
    end = math.radians(15.0 * hours_from_noon)
    if not (-90 <= lat_deg <= 90 and 0 <= hours_from_noon < 12 and math.isfinite(bearing_deg)):
        raise UsageError(f"latitude {lat_deg}, {hours_from_noon} h from noon", "-90 to 90, 0 to 12 h", "correct them")
    # Sun: east -cos d sin h, north sin d cos p - cos d cos h sin p, up sin d sin p + cos d cos h cos p.
    left_east, left_north = -math.cos(turn), math.sin(turn)  # unit vector to the left of the ridge
    a = left_north * math.sin(declination) * math.cos(lat)
    b = -left_north * math.cos(declination) * math.sin(lat)
    c = -left_east * math.cos(declination)
    d, e = math.sin(declination) * math.sin(lat), math.cos(declination) * math.cos(lat)
    if d + e * math.cos(end) <= 1e-9:
        raise SunDown(
            f"the sun is not up {hours_from_noon:g} h from noon at latitude {lat_deg:g}",
            "an hour at which it is",
            "take fewer hours from noon",
        )
    # Shadow to the left = -(a + b cos h + c sin h) / (d + e cos h); its derivative vanishes where
    # (a e - b d) sin h + c d cos h + c e = 0.
    hours = [-end, end]
    p, q, r = a * e - b * d, c * d, c * e
    size = math.hypot(p, q)
    if size > 0 and abs(r) <= size:
        middle, half = math.atan2(p, q), math.acos(-r / size)
        for angle in (middle + half, middle - half):
            angle = math.remainder(angle, 2 * math.pi)
            if abs(angle) < end:
                hours.append(angle)
    reach = [-(a + b * math.cos(h) + c * math.sin(h)) / (d + e * math.cos(h)) for h in hours]
    return max(0.0, *reach), max(0.0, *(-value for value in reach))


def clear_gap_m(roof: Roof, reach: float) -> float:
    """Gap from the wall of a house beyond which the ground is not shaded by it.

    Arguments: roof; reach, shadow length square to the ridge per unit of height.
    Returns: gap [m], never negative.
    Source: gable: the higher of the shadows of ridge and eave, reach x ridge - width/2 and reach x eave. Arch: the
    ray that touches the half ellipse, reach x eave + sqrt((width/2)^2 + (reach x (ridge - eave))^2) - width/2; it exceeds
    the gable's, since an arch is fuller at the shoulders. Both derived here.
    """
    if roof.shape == "gable":
        return max(0.0, reach * roof.ridge_m - roof.width_m / 2, reach * roof.eave_m)
    return reach * roof.eave_m + math.hypot(roof.width_m / 2, reach * (roof.ridge_m - roof.eave_m)) - roof.width_m / 2


def midwinter_gap_m(roof: Roof, lat_deg: float, hours_from_noon: float, bearing_deg: float = 90.0) -> float | None:
    """Gap to the house on the side to which the midwinter shadow falls farther [m]; None where the sun is not up all that time.

    Arguments: roof; lat_deg, + = north; hours_from_noon [h], before and after; bearing_deg, ridge from true north.
    Errors: UsageError for a latitude or hours that do not exist.
    """
    try:
        reach = max(shade_reach(lat_deg, hours_from_noon, bearing_deg))
    except SunDown:
        return None
    return clear_gap_m(roof, reach)
