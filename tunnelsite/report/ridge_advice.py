"""What the choice of the ridge's bearing costs in light at a latitude, and how far parallel houses have to stand apart."""

from __future__ import annotations

from typing import Any

from tunnelsite.core.house import House
from tunnelsite.core.shade_gap import SOLSTICE_DECLINATION_DEG, Roof, midwinter_gap_m
from tunnelsite.light.film import LABEL, east_west_gain

GAP_LABEL = (
    "derived, not published: level ground, midwinter, edge of the shadow at the foot of the next house; "
    "a shade gap, not one for snow or machines"
)
HOURS = (("noon", 0.0), ("10_to_14_h_solar", 2.0))


def ridge_bearing_cost(lat_deg: float, bearing_deg: float) -> dict[str, Any]:
    """How much more beam an E-W ridge passes on a day than a N-S one and than one of this bearing: 0.07 = 7 % more.

    Arguments: lat_deg, + = north; bearing_deg of the ridge from true north. None in polar night.
    """
    winter = -SOLSTICE_DECLINATION_DEG if lat_deg >= 0 else SOLSTICE_DECLINATION_DEG
    days = (("midwinter", winter), ("equinox", 0.0), ("midsummer", -winter))
    return {
        "bearing_deg": bearing_deg,
        "east_west_over_north_south": {name: _rounded(east_west_gain(lat_deg, decl, 0.0)) for name, decl in days},
        "east_west_over_this_bearing": {
            name: _rounded(east_west_gain(lat_deg, decl, bearing_deg)) for name, decl in days
        },
        "source": LABEL,
    }


def house_gaps(lat_deg: float, bearing_deg: float, houses: list[House]) -> list[dict[str, Any]]:
    """Clear ground [m] between two parallel houses that keeps the midwinter shadow of one off the other's foot, by shape of the roof.

    None where the sun is not up at those hours. The houses have no side walls here; upright walls under an arch need more, at most
    their height times the shadow's length per height.
    """
    return [
        {
            "house": house.name,
            "ridge_m": house.ridge_m,
            **{
                f"{shape}_{name}_m": _rounded(
                    midwinter_gap_m(Roof(house.ridge_m, house.width_m, shape), lat_deg, hours, bearing_deg)
                )
                for shape in ("arch", "gable")
                for name, hours in HOURS
            },
            "source": GAP_LABEL,
        }
        for house in houses
    ]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
