"""Where everything on the invented farm stands: outlines in metres from the rasters' south-west corner.

All geometry here is in the local frame (easting offset, northing offset) of a 1000 m square; `make_farm.py`
moves it to the projected CRS. `terrain_shapes.py` builds the heights from the same outlines, so they agree.
"""

import math

import numpy as np
from pyproj import Proj, Transformer
from shapely import LineString, MultiPolygon, Point, Polygon, box, get_parts
from shapely.affinity import rotate, translate
from shapely.ops import substring

EPSG = 32617
ORIGIN = (732_000.0, 4_765_000.0)
"""South-west corner of the rasters [m]: far from the central meridian, so grid north is 1.95 degrees off."""
SIDE_M = 1000

TERRACE_CENTRE = (300.0, 590.0)
TERRACE_SIZE_M = (68.0, 34.0)
TERRACE_RISE_PCT = (0.10, 0.30)
"""Planted plane of the bench: rise to the true east and to the true north [%]."""
HOLLOW_CENTRE = (165.0, 885.0)
KNOLL_CENTRE = (790.0, 875.0)
POND_CENTRE = (800.0, 515.0)
CULVERT = (608.0, 687.0)
RIBBON_WIDTH_M = 6.5


def valley_axis(easting):
    """Northing of the valley's centre line at an easting offset [m]."""
    return 290 + 22 * np.sin(np.asarray(easting) / 170 + 0.4)


def floor_half_width(easting):
    """Half the width of the valley floor at an easting offset [m]."""
    return 38 + 8 * np.sin(np.asarray(easting) / 120)


def lon_lat(point):
    """Longitude and latitude [deg] of a point in the local frame."""
    to_lonlat = Transformer.from_crs(EPSG, 4326, always_xy=True)
    return to_lonlat.transform(point[0] + ORIGIN[0], point[1] + ORIGIN[1])


def convergence_deg(point):
    """Grid north clockwise from true north [deg] at a point in the local frame."""
    return Proj(f"EPSG:{EPSG}").get_factors(*lon_lat(point)).meridian_convergence


def terrace_outline():
    """Level part of the bench: a rectangle whose long side runs true east-west."""
    (easting, northing), (length, width) = TERRACE_CENTRE, TERRACE_SIZE_M
    level = box(easting - length / 2, northing - width / 2, easting + length / 2, northing + width / 2)
    return rotate(level, convergence_deg(TERRACE_CENTRE), origin=TERRACE_CENTRE)


def stream_line():
    """Meandering channel along the valley axis: its direction swings as a sine of the distance travelled."""
    distance = np.arange(-60, 1700, 1.0)
    swing = 0.95 + 0.3 * np.sin(distance / 210 + 1)
    phase = 2 * math.pi * distance / 122 + 1.4 * np.sin(distance / 170) + 1.1 * np.sin(distance / 59)
    easting = -40 + np.cumsum(np.cos(swing * np.sin(phase)))
    sideways = np.cumsum(np.sin(swing * np.sin(phase)))
    drift = np.convolve(np.pad(sideways, 128, mode="edge"), np.ones(257) / 257, mode="valid")
    keep = easting < SIDE_M + 40
    return LineString(np.column_stack([easting, valley_axis(easting) + sideways - drift])[keep])


def rill_line():
    """Tributary from the north edge, under the road, down the valley side to the stream."""
    northing = np.arange(1030, 235, -2.0)
    easting = 608 + 14 * np.sin((northing - 687) / 75) + 5 * np.sin((northing - 687) / 31)
    return until_stream(LineString(np.column_stack([easting, northing])))


def until_stream(line):
    """The part of `line` from its start to where it meets the stream."""
    meeting = line.intersection(stream_line())
    return substring(line, 0, min(line.project(point) for point in get_parts(meeting)))


def dells():
    """Dry side valleys as (line from its head down to the valley floor, depth [m], spread [m])."""
    return [
        (LineString([(178, 730), (170, 620), (192, 520), (206, 430), (214, 368)]), 1.5, 15),
        (LineString([(452, 560), (470, 480), (462, 410), (470, 350)]), 1.8, 13),
        (LineString([(905, 640), (880, 560), (868, 470), (886, 400), (894, 345)]), 1.6, 16),
        (LineString([(60, 560), (84, 470), (78, 380)]), 1.6, 12),
        (LineString([(180, 20), (222, 110), (236, 190), (232, 262)]), 1.4, 15),
        (LineString([(560, 30), (520, 120), (505, 180), (512, 240)]), 1.7, 14),
        (LineString([(770, 10), (745, 90), (758, 170), (752, 215)]), 1.5, 17),
    ]


def road_line():
    """Centre line of the public road, west to east."""
    easting = np.arange(-20, 1021, 10.0)
    return LineString(np.column_stack([easting, 692 + 10 * np.sin(easting / 150 - 0.6)]))


def pond_outline():
    """Shore of the farm pond."""
    bearing = np.linspace(0, 2 * math.pi, 73)[:-1]
    reach = 1 + 0.10 * np.sin(2 * bearing + 0.5) + 0.06 * np.sin(3 * bearing)
    return Polygon(
        np.column_stack([POND_CENTRE[0] + 27 * reach * np.cos(bearing), POND_CENTRE[1] + 18 * reach * np.sin(bearing)])
    )


def pond_outlet_line():
    """Overflow from the pond's south shore to the stream."""
    northing = np.arange(POND_CENTRE[1] - 10, 235, -2.0)
    return until_stream(LineString(np.column_stack([800 + 8 * np.sin((northing - 500) / 45), northing])))


def valley_floor(extra_m=0.0):
    """Valley floor widened by `extra_m` on both sides, cut to the farm's square."""
    easting = np.arange(-20, SIDE_M + 21, 10.0)
    half = floor_half_width(easting) + extra_m
    north, south = valley_axis(easting) + half, valley_axis(easting) - half
    ring = np.vstack([np.column_stack([easting, north]), np.column_stack([easting, south])[::-1]])
    return Polygon(ring).intersection(box(0, 0, SIDE_M, SIDE_M))


def buildings():
    """Farm buildings as (what, outline, ridge height [m], eaves height [m])."""

    def turned(easting, northing, length, width):
        outline = box(easting - length / 2, northing - width / 2, easting + length / 2, northing + width / 2)
        return rotate(outline, 11, origin="center")

    return [
        ("barn", turned(452, 622, 30, 14), 9.0, 5.5),
        ("house", turned(500, 630, 13, 9), 7.0, 5.0),
        ("shed", turned(458, 590, 12, 7), 4.0, 3.0),
    ]


def single_trees():
    """Single trees as (easting, northing, height_m, crown_radius_m, crown_base_m, kind)."""
    return [
        (512, 612, 14.0, 4.5, 3.0, "deciduous"),
        (488, 648, 17.0, 5.5, 4.0, "deciduous"),
        (432, 648, 12.0, 3.0, 1.0, "evergreen"),
        (522, 644, 15.0, 3.5, 1.5, "evergreen"),
        (215, 540, 13.0, 4.5, 2.5, "deciduous"),
        (395, 520, 16.0, 5.5, 3.5, "deciduous"),
        (330, 742, 18.0, 6.0, 4.0, "deciduous"),
        (128, 760, 11.0, 3.0, 1.0, "evergreen"),
        (700, 735, 15.0, 5.0, 3.0, "deciduous"),
        (905, 470, 19.0, 6.5, 4.0, "deciduous"),
    ]


def hedge():
    """Hedgerow as (centre line, height [m], width [m])."""
    return LineString([(545, 724), (551, 800), (547, 880), (553, 955)]), 6.0, 4.0


def woods():
    """Outlines of the closed woods; the stream's own trees are set along the channel."""
    easting = np.arange(0, SIDE_M + 1, 20.0)
    edge = valley_axis(easting) - 95 - 22 * np.sin(easting / 110 + 1)
    south = Polygon([*zip(easting, edge, strict=True), (SIDE_M, 0), (0, 0)])
    clearing = Polygon([(262, 60), (300, 118), (352, 131), (398, 92), (371, 38), (310, 22)])
    north_east = Polygon([(930, 1000), (918, 860), (940, 740), (925, 715), (1000, 712), (1000, 1000)])
    west = Polygon([(0, 1000), (42, 1000), (50, 880), (36, 760), (44, 715), (0, 712)])
    return [south.difference(clearing), north_east, west]


def _beside_road(west, east, far, side):
    """Field between the road's verge (9 m off its middle) and the northing `far`; side +1 north, -1 south."""
    road = np.array(road_line().coords)
    edge = np.interp([west, *np.arange(west + 20, east, 20.0), east], road[:, 0], road[:, 1]) + 9 * side
    easting = [west, *np.arange(west + 20, east, 20.0), east]
    return Polygon([*zip(easting, edge, strict=True), (east, far), (west, far)])


def farmyard():
    """The yard: a hole in the parcel Home Ring."""
    return Polygon([(425, 572), (530, 578), (528, 662), (428, 660)])


def parcels():
    """Parcels as (name, use, outline)."""
    strip = Polygon([(574, 508), (574 + RIBBON_WIDTH_M, 508), (574 + RIBBON_WIDTH_M, 672), (574, 672)])
    split = MultiPolygon([_beside_road(645, 890, 935, 1), _beside_road(645, 890, 598, -1)])
    steep = Polygon([(110, 366), (250, 368), (400, 346), (555, 326), (555, 410), (400, 414), (250, 458), (110, 466)])
    return [
        ("Upper Reach", "hay", _beside_road(60, 535, 965, 1)),
        ("Lark Bench", "vegetables", _beside_road(150, 372, 500, -1)),
        ("Home Ring", "pasture", _beside_road(378, 566, 505, -1).difference(farmyard())),
        ("Split Acre", "grain", split),
        ("Steepside", "rough grazing", steep),
        ("Pond Piece", "pasture", Polygon([(646, 236), (668, 582), (944, 590), (962, 240)])),
        ("Ribbon", "headland", strip),
    ]


def soils():
    """Soil units covering the whole square: (drainage class or None, hydrologic group or None, outline)."""
    square = box(0, 0, SIDE_M, SIDE_M)
    road = np.array(road_line().coords)
    north = Polygon([*road, (SIDE_M + 20, SIDE_M), (-20, SIDE_M)])
    order = [
        (None, None, pond_outline()),
        ("poorly drained", "C/D", valley_floor(8)),
        ("poorly drained", "D", Point(HOLLOW_CENTRE).buffer(38)),
        ("somewhat poorly drained", "C", rill_line().buffer(28)),
        ("well drained", "A", Point(KNOLL_CENTRE).buffer(85)),
        ("moderately well drained", "B", north),
        ("moderately well drained", "C", box(0, 0, SIDE_M, 250)),
        ("well drained", "B", square),
    ]
    left, units = square, []
    for drainage, group, outline in order:
        units.append((drainage, group, left.intersection(outline)))
        left = left.difference(outline)
    return units


def to_crs_frame(geometry):
    """The same geometry in the projected CRS."""
    return translate(geometry, *ORIGIN)
