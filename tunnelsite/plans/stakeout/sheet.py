"""Puts the stake-out sheet of one house together: stakes, places, heights, bearings and checks."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pyproj

from tunnelsite.core import stakes as staking
from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import Grid, horizontal, transformer, true_bearing
from tunnelsite.core.house import House, Pad
from tunnelsite.core.reproject import to_wgs84
from tunnelsite.core.stake_distances import BENCH_M, BOARD_M, OFFSET_FT_M, OFFSET_M, POST_M
from tunnelsite.core.stake_sheet import StakePoint, StakeSheet, Tie, TriangleLine
from tunnelsite.core.units import FOOT_M, INCH_M, feet_inches
from tunnelsite.plans.grading.pad_plane import FinishedPad
from tunnelsite.plans.stakeout.bearings import RidgeBearings, ridge_bearings
from tunnelsite.plans.stakeout.squareness import diagonal_m, skew_deg

STAKING_CAUTIONS = (
    "Before any stake or post is driven: have buried lines located and marked by the one-call service (811 in "
    "the United States; "
    "elsewhere ask the utilities), some working days ahead. It marks public lines only: look for the farm's own "
    "pipes and cables too.",
    "Look up: keep people, rods, posts and machines clear of overhead lines, and ask the utility for the "
    "distance that holds.",
    "Heights from elevation data can be off by a hand's width or more: level every stake in the field before "
    "earth is moved.",
    "Positions from a phone or hand-held receiver are good to some metres only: find the first corner with it, "
    "then go by tape, "
    "string and diagonals.",
    "Local codes, permits, setbacks and the maker's drawings rule over this sheet. Have wind and snow loads, "
    "anchoring and grading "
    "confirmed by licensed practice.",
)
# Finished ground is asked for where the pad ends or inside it; offset stakes, boards and the bench mark stand on
# natural ground.
FARTHEST_TIE_M = 2000.0
FINISHED_KINDS = ("corner", "apron", "grid", "post", "square")


@dataclass(frozen=True)
class HouseToStake:
    """A house where it shall stand: local grid, centre along and across [m], and how the ground lies.

    Attributes:
        ground_at: heights [m] of natural ground at along/across [m] (arrays), NaN where unknown.
        heights_words: where these heights are from.
    """

    grid: Grid
    along_m: float
    across_m: float
    ground_at: Callable[[np.ndarray, np.ndarray], np.ndarray]
    heights_words: str


@dataclass(frozen=True)
class FixedPoint:
    """A point that can be found again: name; longitude, latitude [deg, WGS 84]."""

    name: str
    lon_deg: float
    lat_deg: float


@dataclass(frozen=True)
class StakingOptions:
    """What the user may change: post spacing, batter boards and bench mark beyond the pad [m], the day in the field; offset stakes
    beyond the pad [m], None = a round distance; fixed points as (name, longitude, latitude)."""

    post_spacing_m: float = POST_M
    boards_beyond_m: float = BOARD_M
    bench_beyond_m: float = BENCH_M
    date: datetime.date | None = None
    offset_m: float | None = None
    fixed_points: tuple[FixedPoint, ...] = ()


def stake_sheet(
    title: str, house: House, pad: Pad, placed: HouseToStake, plane: staking.DesignPlane | FinishedPad, crs: pyproj.CRS,
    options: StakingOptions = StakingOptions(),
) -> StakeSheet:  # fmt: skip
    """The stake-out sheet of one house.

    Arguments: title, in the user's words; house; pad, what is graded; placed, where; plane, the finished pad (a plane, or
    what else knows its `height`); crs, the map's system; options.
    Errors: UsageError for a spacing or distance that cannot be meant, or a day outside the magnetic model.
    """
    sizes = (house.length_m, house.width_m), (pad.length_m, pad.width_m)
    ends = staking.end_words(placed.grid.bearing_deg)
    posts, spacing = staking.posts(sizes[0], ends, options.post_spacing_m)
    triangle = staking.right_angle(sizes[0], ends, FOOT_M if house.feet else 1.0)
    found = [
        *staking.stakes(*sizes, ends, options.offset_m or (OFFSET_FT_M if house.feet else OFFSET_M)),
        *posts,
        *staking.batter_boards(*sizes, ends, options.boards_beyond_m),
        *triangle.stakes,
        staking.bench_mark(sizes[1], options.bench_beyond_m),
    ]
    points = _points(found, placed, plane, crs)
    bench = points[-1]
    true_deg = float(true_bearing(placed.grid, placed.along_m, placed.across_m))
    bearings = ridge_bearings(true_deg, (bench.lon_deg, bench.lat_deg), bench.ground_m or 0.0, crs, options.date)
    missing = sum(point.ground_m is None for point in points)
    notes = [f"the ground is not known at {missing} stakes"] if missing else []
    return StakeSheet(
        title=title, house=house.name, feet=house.feet, length_m=house.length_m, width_m=house.width_m,
        pad_length_m=pad.length_m, pad_width_m=pad.width_m, diagonal_m=diagonal_m(house.length_m, house.width_m),
        true_deg=true_deg, bearings=_bearing_words(bearings),
        triangle=TriangleLine(triangle.corner, triangle.along_m, triangle.across_m, triangle.hypotenuse_m),
        post_spacing_m=spacing, skew_words=_skew_words(house), crs=horizontal(crs), heights_words=placed.heights_words,
        points=tuple(points), cautions=STAKING_CAUTIONS, notes=(*notes, *bearings.notes), ties=_ties(options.fixed_points, points, placed),
    )  # fmt: skip


def _ties(fixed: tuple[FixedPoint, ...], points: list[StakePoint], placed: HouseToStake) -> tuple[Tie, ...]:
    """How far each corner is from each fixed point, level distance. Errors: UsageError for one farther off than any tape reaches."""
    found = []
    for point in fixed:
        east, north = transformer("EPSG:4326", placed.grid.crs_wkt).transform(point.lon_deg, point.lat_deg)
        along, across = placed.grid.from_map(east, north)
        for corner in (one for one in points if one.kind == "corner"):
            away = float(np.hypot(placed.along_m + corner.along_m - along, placed.across_m + corner.across_m - across))
            if not away <= FARTHEST_TIE_M:  # also NaN
                raise UsageError(f"tie {point.name} is {away:,.0f} m away", f"at most {FARTHEST_TIE_M:.0f} m",
                                 "name a point near the house; longitude comes first")  # fmt: skip
            found.append(Tie(point.name, corner.label, away))
    return tuple(found)


def _points(
    found: list[staking.Stake], placed: HouseToStake, plane: staking.DesignPlane | FinishedPad, crs: pyproj.CRS
) -> list[StakePoint]:
    u, v = np.array([stake.u_m for stake in found]), np.array([stake.v_m for stake in found])
    along, across = placed.along_m + u, placed.across_m + v
    local = placed.grid.to_map(along, across)
    easting, northing = transformer(placed.grid.crs_wkt, horizontal(crs).to_wkt()).transform(*local)
    lon, lat = to_wgs84(placed.grid, along, across)
    ground, finish = np.asarray(placed.ground_at(along, across), float), plane.height(u, v)
    points = []
    for k, stake in enumerate(found):
        height = float(ground[k]) if np.isfinite(ground[k]) else None
        done = float(finish[k]) if stake.kind in FINISHED_KINDS else None
        cut = None if height is None or done is None else height - done
        place = (float(easting[k]), float(northing[k]), float(lon[k]), float(lat[k]))
        points.append(StakePoint(stake.kind, stake.label, stake.u_m, stake.v_m, *place, height, done, cut))
    return points


def _bearing_words(found: RidgeBearings) -> tuple[tuple[str, str], ...]:
    rows = [("from true north", f"{found.true_deg:.2f} deg (back {(found.true_deg + 180) % 360:.2f} deg)")]
    if found.grid_deg is not None and found.convergence_deg is not None:
        side = "east" if found.convergence_deg >= 0 else "west"
        turn = f"grid north lies {abs(found.convergence_deg):.3f} deg {side} of true north here"
        rows.append((f"from grid north ({found.grid_name})", f"{found.grid_deg:.2f} deg; {turn}"))
    if found.magnetic_deg is not None and found.declination is not None:
        words = f"{found.magnetic_deg:.1f} deg; magnetic north lies {found.declination.words}"
        rows.append(("on a compass", f"{words}; moves {found.declination.change_deg_per_year:+.2f} deg a year"))
    return tuple(rows)


def _skew_words(house: House) -> str:
    """What diagonals that differ by an inch (10 mm) do to the end wall."""
    step, step_words = (INCH_M, "1 in") if house.feet else (0.01, "10 mm")
    skew = skew_deg(house.length_m, house.width_m, step)
    off = house.width_m * np.sin(np.radians(skew))
    off_words = feet_inches(off, 8) if house.feet else f"{1000 * off:.0f} mm"
    return f"diagonals {step_words} apart: corners {skew:.3f} deg off square, {off_words} across the end"
