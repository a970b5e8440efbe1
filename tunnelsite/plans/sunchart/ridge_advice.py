"""What the choice of the ridge's bearing costs in light at a place, and how far parallel houses have to stand apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tunnelsite.core.house import House
from tunnelsite.core.shade_gap import Roof, midwinter_gap_m
from tunnelsite.core.sources import sources
from tunnelsite.sun.film import LABEL, WINTER_NORTH, WINTER_SOUTH, FilmLight

GAP_LABEL = (
    "derived, not published: level ground, midwinter, edge of the shadow at the foot of the next house; "
    "a shade gap, not one for snow or machines"
)
HOURS = (("noon", 0.0), ("10_to_14_h_solar", 2.0))
RULE_LATITUDE_DEG = 40.0  # [@ridge-eorganic]


def ridge_light(
    lat_deg: float, bearing_deg: float, ridges: Sequence[FilmLight], crop_days: tuple[tuple[int, int], tuple[int, int]]
) -> dict[str, Any]:
    """Share of the light of open ground that a film-covered arch passes, by season: ridge E-W, N-S and as asked.

    Arguments: lat_deg, + = north; bearing_deg of the ridge from true north; ridges, what film passes with the ridge E-W, N-S and at
    that bearing; crop_days, first and last day of the crop. A share is None in polar night.
    """
    winter, summer = (WINTER_NORTH, WINTER_SOUTH) if lat_deg >= 0 else (WINTER_SOUTH, WINTER_NORTH)
    seasons = {"winter_half_year": winter, "summer_half_year": summer, "crop_months": crop_days}
    found = []
    for name, period in (seasons | {"year": ((1, 1), (12, 31))}).items():
        east_west, north_south, this = (ridge.share(period) for ridge in ridges)
        gain = None if east_west is None or north_south is None else east_west / north_south - 1
        shares = {"east_west": east_west, "north_south": north_south, "this_bearing": this}
        row = {key: _rounded(value) for key, value in (shares | {"east_west_over_north_south": gain}).items()}
        found.append({"season": name} | row)
    return {
        "bearing_deg": bearing_deg,
        "seasons": found,
        "source": f"{LABEL}; {ridges[0].steps.source}",
        "published_advice": published_advice(lat_deg),
    }


def season_words(ridge: dict[str, Any]) -> list[str]:
    """What `ridge_light` found, a line a season; seasons without sun are left out."""
    return [
        f"light through film, {row['season'].replace('_', ' ')}: ridge east-west {100 * row['east_west']:.1f} % of open ground, "
        f"north-south {100 * row['north_south']:.1f} %"
        for row in ridge["seasons"]
        if row["east_west_over_north_south"] is not None
    ]


def published_advice(lat_deg: float) -> str:
    """What published texts say of the ridge at this latitude ([@ridge-eorganic], [@ridge-iowa], [@ridge-missouri], [@ridge-nsw]): they
    disagree."""
    known = sources()
    far = abs(lat_deg) > RULE_LATITUDE_DEG
    rule = (
        f"here that is {'east-west' if far else 'north-south'}"
        if lat_deg >= 0
        else "written for the northern hemisphere"
    )
    texts = [f"{known['ridge-eorganic'].words}: {rule}"]
    texts += [known[key].words for key in ("ridge-iowa", "ridge-missouri", "ridge-nsw")]
    return "sources disagree, and the light computed for the place counts for more: " + "; ".join(texts)


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
