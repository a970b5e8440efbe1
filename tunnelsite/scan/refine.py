"""The chosen placements again: checked exactly as vectors and described in full. Arrays, float64 [n], are in the order of `items`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.freeboard import FREEBOARD_M
from tunnelsite.core.grid import true_bearing
from tunnelsite.core.height_step import LOUD_STEP_M, step_words
from tunnelsite.core.house import House, Pad
from tunnelsite.core.reproject import to_wgs84
from tunnelsite.core.units import MONTHS
from tunnelsite.kernels.terrain.blade import blade_step
from tunnelsite.kernels.terrain.grading import Grading, graded_pads
from tunnelsite.kernels.terrain.lone_things import lone_reach
from tunnelsite.kernels.terrain.planes import rectangle_planes
from tunnelsite.kernels.windows import rectangle_max, rectangle_min
from tunnelsite.scan.cutouts import Cutouts, cutouts
from tunnelsite.scan.doubts import SURFACE_LIKE
from tunnelsite.scan.embankment import embankment_words
from tunnelsite.scan.engine import Scan
from tunnelsite.scan.open_ground import Bar, bars
from tunnelsite.scan.pitch_error import counted_share, lone_error, ripple_of, stated_error
from tunnelsite.scan.tight_ground import FIT_M

HOLLOW_M = 0.10  # shallower ones are the noise of the elevation model
SHOWS_M = 0.5  # what a surface model shows above this may be brush as well as grass, a crop or noise; see the source of `standing`
POOL_M = 0.3  # deeper ones are no longer the noise of the elevation model; common practice, no source
DARK_SHARE = 0.6  # of the sun in the darkest crop month: none of the marks are left
LOW_M = 2.5  # half way to no marks
BUFFER_M = 35 * 0.3048  # no room for a buffer along the water [@riparian-buffer]
BED = "may be a river's bed, open water or flood plain"
WINDY = 1.3  # a warning below a third more pressure would stand on every rise; common practice, no source
NIGHT_LUX = 1.0  # likely to disturb sensitive crops (derived; no agreed threshold)
UNSURE_SE_PCT = 100 / 192 / 2  # a standard error of half the tolerance leaves the pitch undecided


def placement(scan: Scan, item: int) -> tuple[int, int, float, float]:
    """(row, col, along, across) of a packed placement."""
    row, col = divmod(int(scan.index[item]), scan.frame.grid.cols)
    along, across = scan.centre(scan.index[item])
    return row, col, float(along), float(across)


def rectangle(along_m: float, across_m: float, length_m: float, width_m: float) -> shapely.Polygon:
    """A rectangle in along/across metres, counter-clockwise from the corner at its start and right-hand side."""
    u, v = length_m / 2, width_m / 2
    return shapely.box(along_m - u, across_m - v, along_m + u, across_m + v)


def broken_rules(scan: Scan, item: int, setback_m: float, clearance_m: float) -> list[str]:
    """Rules that the pad of a placement breaks when tested exactly against the vectors; empty = sound."""
    _, _, along, across = placement(scan, item)
    pad = rectangle(along, across, scan.pad.length_m, scan.pad.width_m)
    parcel = scan.frame.parcels[scan.owner[item]]
    broken = []
    if shapely.area(shapely.difference(shrunk(pad), parcel)) > 0 or (
        setback_m > 0 and shapely.distance(pad, shapely.boundary(parcel)) < setback_m - FIT_M
    ):
        broken.append("boundary")
    return broken + [bar.rule for bar in bars(scan.frame, clearance_m) if too_near(pad, bar)]


def shrunk(pad: shapely.Geometry) -> shapely.Geometry:
    """A pad less what it may be over by: touching is allowed, and a millimetre."""
    return shapely.buffer(pad, -FIT_M, join_style="mitre")


def too_near(pad: shapely.Geometry, bar: Bar) -> bool:
    """Whether a pad is nearer to a bar than it may be."""
    if bar.distance_m > 0:
        return bool(shapely.distance(pad, bar.source).min() < bar.distance_m - FIT_M)
    return bool(shapely.intersects(shrunk(pad), bar.source).any())


def centres(scan: Scan, items: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Along and across [m] of the houses' centres."""
    return scan.centre(scan.index[items])


def rectangles(scan: Scan, items: np.ndarray, what: House | Pad) -> np.ndarray:
    """Houses or pads of placements as polygons [n] in along/across metres, as `rectangle`."""
    along, across = centres(scan, items)
    u, v = what.length_m / 2, what.width_m / 2
    found: np.ndarray = shapely.box(along - u, across - v, along + u, across + v)
    return found


def natural_ground(scan: Scan, items: np.ndarray) -> dict[str, np.ndarray]:
    """Plane, relief, roughness and crown [m, %] of the natural ground under the footprints."""
    cell, house = scan.frame.grid.cell_m, scan.house
    size = (house.length_m / cell, house.width_m / cell)
    found = np.empty((6, len(items)))
    for one in _cutouts(scan, items, size):
        at = (one.rows, one.col)
        mean, along, across, rms, crown = (layer[at] for layer in rectangle_planes(one.ground, *size, cell))
        relief = rectangle_max(one.ground, *size)[at] - rectangle_min(one.ground, *size)[at]
        found[:, one.part] = mean + one.middle_m, along, across, relief, rms, crown
    return {
        "ground_m": found[0] + scan.frame.datum_m,
        "pitch_along_pct": 100 * found[1],
        "pitch_across_pct": 100 * found[2],
        "relief_m": found[3],
        "roughness_m": found[4],
        "crown_m": found[5],
    }


def graded(scan: Scan, items: np.ndarray, pad_pitch: float, shrink: float) -> dict[str, np.ndarray]:
    """Earthwork of the pads and their design planes (level at the centre [m], slopes as fractions)."""
    grid, pad = scan.frame.grid, scan.pad
    size = (pad.length_m / grid.cell_m, pad.width_m / grid.cell_m)
    stated = scan.frame.error or stated_error(scan.frame, None, None)
    at = np.divmod(scan.index[items], grid.cols)
    ripple = ripple_of(stated, pad, grid.cell_m).counted * stated.sd_m * counted_share(scan.frame, at, stated)
    lone_m, found = lone_error(stated, grid.cell_m), np.empty((len(Grading._fields), len(items)))
    for one in _cutouts(scan, items, size):
        cols = np.full(len(one.rows), one.col)
        found[:, one.part] = graded_pads(
            one.ground, one.rows, cols, *size, grid.cell_m, pad_pitch, shrink, ripple[one.part], lone_m
        )
        found[Grading._fields.index("level_m"), one.part] += one.middle_m
    values = dict(zip(Grading._fields, found, strict=True))
    del values["kept"]
    along, across = centres(scan, items)
    middle = grid.centre(*at)  # the plane was laid there; told is its height where the house's centre is
    tilt = values["slope_along"] * (along - middle[0]) + values["slope_across"] * (across - middle[1])
    values["level_m"] += scan.frame.datum_m + tilt
    return values | {"pad_m2": np.full(len(items), pad.area_m2)}


def _cutouts(scan: Scan, items: np.ndarray, size: tuple[float, float]) -> Iterator[Cutouts]:
    """The ground round placements, as far as anything under a rectangle depends on it."""
    cell = scan.frame.grid.cell_m
    spare = 2 + 2 * blade_step(cell) + lone_reach(cell)
    at = np.divmod(scan.index[items], scan.frame.grid.cols)
    return cutouts(scan.frame.ground, at, (int(size[1] / 2) + spare, int(size[0] / 2) + spare))


def where(scan: Scan, items: np.ndarray) -> dict[str, np.ndarray]:
    """Longitude and latitude (WGS 84) of the centres and the true bearing of the ridge there."""
    grid = scan.frame.grid
    along, across = centres(scan, items)
    lon, lat = to_wgs84(grid, along, across)
    bearing = np.round(true_bearing(grid, along, across), 4)
    # a ridge has two ends: told as the one nearest to what was asked, so that 0 does not jump to 359.9998
    bearing = (bearing - grid.bearing_deg + 90.0) % 180.0 - 90.0 + grid.bearing_deg
    return {"bearing_deg": np.round(bearing, 4), "lon": lon, "lat": lat}


def why_not_tried(scan: Scan, parcel: int, dem_name: str) -> str:
    """Why a parcel holds not one cell of the grid, in words."""
    if shapely.box(*scan.frame.grid.bounds).intersects(scan.frame.parcels[parcel]):
        return "the parcel holds no cell's centre that no other parcel holds: it is smaller than a cell, or lies under another"
    return f"the parcel lies outside {dem_name}: nothing is known there"


def clearances(scan: Scan, items: np.ndarray) -> np.ndarray:
    """Distance [m] from each footprint (the house, not the pad) to the nearest structure; NaN where no structures were given."""
    structures = scan.frame.structures
    found = np.full(len(items), np.nan)
    if structures is not None and len(structures):
        tree = shapely.STRtree(structures.geometry)
        near = tree.query_nearest(rectangles(scan, items, scan.house), return_distance=True, all_matches=False)
        found[near[0][0]] = near[1]
    return found


def flags(scan: Scan, item: int, values: dict[str, Any], worst_se_pct: float, soil: str) -> str:
    """Words a reader should not miss, joined by `; `. Arguments: values, its row so far; worst_se_pct, the larger standard error
    of its two slopes [%], NaN = not known: the slope that is less sure decides as well whether the ground is within the tolerance;
    soil, what `soil_words` says of its pad."""
    words, feet = [], scan.house.feet
    row, col, _, _ = placement(scan, item)
    resolved = values["shows_ground"]  # else the model has not seen this ground, however smooth it is
    if not resolved:
        words.append("pitch not resolved by the elevation model")
    elif not worst_se_pct <= UNSURE_SE_PCT:
        words.append("pitch uncertain")
    if scan.frame.surface_like:
        words.append(SURFACE_LIKE)
    if scan.frame.step_m >= LOUD_STEP_M:
        words.append(f"heights in steps of {step_words(scan.frame.step_m)}")
    if np.isnan(scan.measures["water_like"][item]) if "water_like" in scan.measures else False:
        words.append("may be open water: heights are rounded")
    bed = bed_words(scan, item)
    words += [bed, embankment_words(scan, row, col)]
    if bed:  # says what the height and the distance say
        values = values | {"drainage_height_m": None, "drainage_distance_m": None}
    steepest = max(abs(values["pitch_along_pct"]), abs(values["pitch_across_pct"]))
    if resolved and scan.frame.step_m < LOUD_STEP_M and steepest <= 100 / 192:
        words.append("within 3/4 in per 12 ft as it lies")
    open_edge = scan.frame.layers.get("open_edge")
    if open_edge is not None and _pad_any(scan, open_edge, row, col):
        words.append("water may come from beyond the data")
    elif stream_from_beyond(scan, values, row, col):
        words.append("a watercourse may come past it from beyond the data")
    standing = float(scan.measures["standing"][item]) if "standing" in scan.measures else 0.0
    if standing > SHOWS_M:
        words.append(f"something {amounts.away(standing, feet=feet)} tall shows on the pad")
    if values["max_cut_m"] > 0.15:
        words.append(f"cut deeper than {amounts.depth(0.15, feet=feet)}")
    if values.get("ponding_m") is not None and values["ponding_m"] > HOLLOW_M:
        words.append("lies in a hollow")
    if "beam_share" in values and values["beam_share"] is None:
        words.append("sun not assessed")
    words.append(dark_words(values))
    words += [*_site_words(values, feet), f"soil: {soil}" if soil else ""]
    return "; ".join(text for text in words if text)


def _site_words(values: dict[str, Any], feet: bool) -> list[str]:
    """What the surroundings of the placement say: hilltop, frost, night light."""
    words = water_words(values, feet)
    if (values.get("topographic_factor") or 0.0) >= WINDY:
        words.append(
            f"hilltop: wind pressure up to about {values['topographic_factor']:.1f} times (screening of ASCE 7 Kzt), have wind loads "
            "confirmed"
        )
    if (values.get("cold_pool_m") or 0.0) > POOL_M:
        words.append("frost pocket")
    if (values.get("valley_depth_m") or 0.0) > LOW_M:
        low = amounts.away(values["valley_depth_m"], feet=feet)
        words.append(f"low ground, {low} below the land within {amounts.away(250, feet=feet)}: cold air")
    if (values.get("night_lux") or 0.0) > NIGHT_LUX:
        words.append(f"night light {values['night_lux']:.2g} lx: not for short-day crops")
    return words


def worst_month(scan: Scan, item: int) -> int | None:
    """The darkest crop month of most of the footprint, 1 to 12; None where nothing is lost, or it is not known."""
    months = scan.frame.layers.get("worst_month")
    if months is None:
        return None
    row, col, _, _ = placement(scan, item)
    cell = scan.frame.grid.cell_m
    down, right = int(scan.house.width_m / cell / 2), int(scan.house.length_m / cell / 2)
    part = months[max(row - down, 0) : row + down + 1, max(col - right, 0) : col + right + 1]
    count = np.bincount(part.ravel(), minlength=13)[1:13]
    return int(np.argmax(count)) + 1 if count.any() else None


def dark_words(values: dict[str, Any]) -> str:
    """A crop month that keeps too little sun to be worth a house, in words; empty where none does. Arguments: values, a row so far."""
    share, month = values.get("beam_share_worst"), values.get("worst_month")
    if share is None or month is None or share >= DARK_SHARE:
        return ""
    return f"dark: {100 * share:.0f} % of the sun in {MONTHS[month - 1].capitalize()}"


def water_words(values: dict[str, Any], feet: bool) -> list[str]:
    """A stream or swale beside the pad, near it, or hardly below it. Arguments: values, a candidate's row so far."""
    words, height, beside = [], values.get("drainage_height_m"), values.get("flow_beside_m2") or 0.0
    away = values.get("drainage_distance_m")
    if beside > 0:
        words.append(f"water from {amounts.land(beside, feet=feet)} passes beside the pad")
    if away is not None and away < BUFFER_M:
        words.append(f"a stream, ditch, swale or cutting runs {amounts.away(away, feet=feet)} from the pad")
    if height is not None and height < FREEBOARD_M:
        words.append(f"only {amounts.depth(max(height, 0.0), feet=feet)} above the stream, ditch or swale it drains to")
    return words


def stream_from_beyond(scan: Scan, values: dict[str, Any], row: int, col: int) -> bool:
    """Whether a line that gathers water runs close to the pad and what it brings is known in part only."""
    away, open_edge = values.get("drainage_distance_m"), scan.frame.layers.get("open_edge")
    return (
        away is not None and away < BUFFER_M and open_edge is not None and _pad_any(scan, open_edge, row, col, BUFFER_M)
    )


def bed_words(scan: Scan, item: int) -> str:
    """Whether a pad touches ground that may be a river's bed or its flood plain, in words, empty where not (`processes.cut_off_beds`);
    only a run that is told to offer such ground has it."""
    if "river_bed" not in scan.measures or not scan.measures["river_bed"][item] > 0:
        return ""
    return f"{BED}: level, low ground at the foot of a bank, and where its water goes lies beyond the data"


def _pad_any(scan: Scan, layer: np.ndarray, row: int, col: int, beyond_m: float = 0.0) -> bool:
    """Whether a layer holds anything under the pad and as far beyond it. Arguments: row, col, of its middle; beyond_m [m]."""
    cell = scan.frame.grid.cell_m
    down, right = (int((side / 2 + beyond_m) / cell + 0.5) for side in (scan.pad.width_m, scan.pad.length_m))
    return bool(layer[max(row - down, 0) : row + down + 1, max(col - right, 0) : col + right + 1].any())
