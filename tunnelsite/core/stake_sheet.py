"""The stake-out sheet: everything a crew takes to the field for one house, ready to be written in any format."""

from __future__ import annotations

from dataclasses import dataclass

import pyproj

from tunnelsite.core.units import INCH_M

# For tables, which have no room for the cautions in full.
CARE = "buried lines located and marked first; look up for overhead lines; confirm heights with a level"


@dataclass(frozen=True)
class StakePoint:
    """One stake with its places and heights; None = not assessed, or (finish, cut) no finished ground at this stake.

    Attributes:
        kind, label: as in `core.stakes`.
        along_m, across_m: from the centre of the house [m].
        easting, northing: in the map's system, in the map's own unit.
        lon_deg, lat_deg: WGS 84 [deg].
        ground_m, finish_m: heights [m]. cut_m: cut (+) or fill (-) [m].
    """

    kind: str
    label: str
    along_m: float
    across_m: float
    easting: float
    northing: float
    lon_deg: float
    lat_deg: float
    ground_m: float | None = None
    finish_m: float | None = None
    cut_m: float | None = None


def on_grade(cut_m: float, *, feet: bool) -> bool:
    """Whether a cut or fill rounds to nothing as a crew is told it: to the eighth of an inch, or to the millimetre."""
    return abs(cut_m) < (INCH_M / 16 if feet else 0.0005)


@dataclass(frozen=True)
class TriangleLine:
    """The 3-4-5 triangle: corner it stands at, legs along and across, and the line between their ends [m]."""

    corner: str
    along_m: float
    across_m: float
    hypotenuse_m: float


@dataclass(frozen=True)
class Tie:
    """A tape from a fixed point: name of the point, corner of the house, distance [m]."""

    name: str
    corner: str
    distance_m: float


@dataclass(frozen=True)
class StakeSheet:
    """The stake-out of one house.

    Attributes:
        title: whose and which, in the user's words. house: size as given. feet: whether the user works in feet.
        length_m, width_m, pad_length_m, pad_width_m, diagonal_m: [m].
        bearings: (name, words) such as true, grid and compass bearing. triangle: the 3-4-5 line.
        post_spacing_m: the equal space between ground posts [m]. skew_words: what unequal diagonals mean.
        true_deg: ridge from true north [deg], for the north arrow.
        crs: the map's system. heights_words: where the heights are from.
        points: all stakes. ties: tapes from fixed points. cautions: what must be shown. notes: what was found or assumed.
    """

    title: str
    house: str
    feet: bool
    length_m: float
    width_m: float
    pad_length_m: float
    pad_width_m: float
    diagonal_m: float
    true_deg: float
    bearings: tuple[tuple[str, str], ...]
    triangle: TriangleLine
    post_spacing_m: float
    skew_words: str
    crs: pyproj.CRS
    heights_words: str
    points: tuple[StakePoint, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...] = ()
    ties: tuple[Tie, ...] = ()

    def of_kind(self, *kinds: str) -> list[StakePoint]:
        """The stakes of these kinds, in order."""
        return [point for point in self.points if point.kind in kinds]
