"""Why a place is ranked where it is, or why it is not offered: every rule in order, with value, limit and remedy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from tunnelsite.core.errors import UsageError, refuse_other
from tunnelsite.core.house import House
from tunnelsite.core.placement import Placement
from tunnelsite.core.site import Frame, Site
from tunnelsite.decisions.explanation import Explanation, Standing
from tunnelsite.decisions.rule_checks import criterion_checks, ground_checks, heights_check
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.firmness.other_weights import both_within, pitch_errors
from tunnelsite.scan.firmness.verdict import Verdict
from tunnelsite.scan.open_ground import Bar, bars
from tunnelsite.scan.ranking import RankedPlacement
from tunnelsite.scan.refine import placement
from tunnelsite.scan.spot import Spot, cell_at, look_m, measured, spot_at
from tunnelsite.scan.steady import SCORE_STEP
from tunnelsite.scan.tight_ground import FIT_M
from tunnelsite.screening.candidate_rows import measured_rows
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import Settings, settings_from


@dataclass(frozen=True)
class PreparedGround:
    """Ground in memory, on which any place can be explained in milliseconds.

    Attributes: settings; judges; frames, one a ridge bearing; result, the screening they come from, None = there is none, and nothing
    is stated about ranks.
    """

    settings: Settings
    judges: Sequence[Judge]
    frames: Sequence[Frame]
    result: Result | None = None

    @classmethod
    def of(cls, result: Result) -> PreparedGround:
        """The ground of a screening."""
        frames = {id(scan.frame): scan.frame for scan in result.scans}
        return cls(result.settings, result.judges, tuple(frames.values()), result)

    @cached_property
    def barred(self) -> dict[int, list[Bar]]:
        """What bars a pad, by frame."""
        return {id(frame): bars(frame, self.settings.clearance_m) for frame in self.frames}

    @cached_property
    def scored(self) -> list[np.ndarray]:
        """Steady scores of all placements that passed, rising, by scan."""
        return [] if self.result is None else [np.sort(one[np.isfinite(one)]) for one in self.result.scored]


def explain(of: Result | Site, place: Placement | int = 1) -> Explanation:
    """Why a place is ranked where it is, or why it is not offered.

    Args:
        of: a finished screening; or a site, which is screened first for the place's house and bearing with its settings.
        place: any placement, or the rank of a candidate.

    Returns:
        Explanation; `standing` is filled in for a candidate.

    Raises:
        UsageError: for a rank that is not there or a place outside the data; for a site those of `screen`.
    """
    refuse_other(of, "of", Result, Site)
    refuse_other(place, "place", Placement, int)
    result = _screened(of, place) if isinstance(of, Site) else of
    if isinstance(place, Placement):
        found = explain_at(PreparedGround.of(result), place)
    else:
        found = explain_rank(result, place)
    verdict = result.verdict if found.rank else None
    if found.rank is None or verdict is None:
        return found
    return replace(found, standing=_standing(result, found.rank, verdict))


def _screened(site: Site, place: Placement | int) -> Result:
    from tunnelsite.screening.run import screen

    if not isinstance(place, Placement):
        return screen(site)
    asked = dict(place.settings) | {"bearing": place.grid_bearing_deg}
    return screen(site, place.house, settings=settings_from(asked))


def explain_rank(result: Result, rank: int) -> Explanation:
    """A ranked candidate. Errors: UsageError where there is no such rank."""
    if not 1 <= rank <= len(result.choices):
        raise UsageError(f"rank is {rank}", f"1 to {len(result.choices)}", "choose a candidate of this run")
    choice = result.choices[rank - 1]
    scan = result.scans[choice.scan]
    found = _explained(PreparedGround.of(result), Spot.of_scan(scan, scan.index[choice.item]))
    return replace(found, flags=_flags(result, choice))


def check_degrees(lon: float, lat: float) -> None:
    """Errors: UsageError for a place that is none on the earth."""
    if not (abs(lon) <= 180 and abs(lat) <= 90):
        raise UsageError(f"place is {lon}, {lat}", "longitude -180 to 180, then latitude -90 to 90", "swap or correct")


def explain_everywhere(result: Result, lon: float, lat: float) -> list[Explanation]:
    """The placement nearest to a place (WGS 84 degrees), in a parcel or not, for every house and bearing of a screening.

    Errors: UsageError for a place outside the grid or the earth.
    """
    check_degrees(lon, lat)
    prepared, found = PreparedGround.of(result), []
    for number, scan in enumerate(result.scans):
        row, col, along_m, across_m = cell_at(scan.frame, lon, lat)
        spot = Spot.of_scan(scan, row * scan.frame.grid.cols + col, (along_m, across_m))
        one, item = _explained(prepared, spot), _item_of(scan, spot.index)
        if item is not None and one.score is not None:
            one = replace(one, flags=_flags(result, RankedPlacement(number, item, one.score)))
        found.append(one)
    return found


def _flags(result: Result, choice: RankedPlacement) -> str:
    """What a reader should not miss at a stored placement, a candidate or not."""
    return str(measured_rows(replace(result, choices=[choice]))[0]["flags"])


def explain_at(prepared: PreparedGround, place: Placement) -> Explanation:
    """Any placement on ground in memory, quickly enough for every step of a drag.

    Arguments: prepared; place: of any size and bearing. On the bearing of a frame the nearest cell's placement is explained, as the
    screening saw it; at another bearing the exact place, on a window of that frame turned.
    Errors: UsageError for a place outside the data, or a house of another kind than the criteria judge.
    """
    if place.house.kind != prepared.settings.kind:
        raise UsageError(
            f"the house is {place.house.kind}, the criteria are those of {prepared.settings.kind} houses",
            "one kind of house",
            "screen that kind, then explain it",
        )
    spot = spot_at(prepared.frames, place, prepared.settings.apron_m, look_m(prepared.judges))
    scan = _scan_of(prepared, spot)
    if scan is not None:
        spot = Spot.of_scan(scan, spot.index, spot.wanted_m)
    return _explained(prepared, spot)


def _scan_of(prepared: PreparedGround, spot: Spot) -> Scan | None:
    """The scan that holds a spot; None where the screening had no such house or bearing."""

    def sides(house: House) -> tuple[float, float]:
        return round(house.width_m, 6), round(house.length_m, 6)

    scans = [] if prepared.result is None else prepared.result.scans
    return next((one for one in scans if one.frame is spot.frame and sides(one.house) == sides(spot.house)), None)


def _explained(prepared: PreparedGround, spot: Spot) -> Explanation:
    frame, result, settings = spot.frame, prepared.result, prepared.settings
    inside = np.flatnonzero(shapely.intersects_xy(frame.parcels, *spot.centre))
    home = int(inside[0]) if len(inside) else None
    barred = prepared.barred.get(id(frame)) or bars(frame, settings.clearance_m)
    found_here, gaps = measured(spot, prepared.judges, settings.pad_pitch), () if result is None else tuple(result.gaps)
    checks, here = criterion_checks(prepared.judges, found_here, settings.combine, feet=spot.house.feet, gaps=gaps)
    rules = (*ground_checks(spot, home, settings.setback_m, barred), heights_check(spot, settings.pad_pitch), *checks)
    name = None if home is None else frame.parcel_names[home]
    scan = _scan_of(prepared, spot)
    item = None if scan is None else _item_of(scan, spot.index)
    score = None if result is None or scan is None or item is None else _score(result, scan, item)
    above = (
        0 if score is None else sum(len(v) - int(np.searchsorted(v, score + 5e-7, "right")) for v in prepared.scored)
    )
    found = Explanation(
        spot.house.name, frame.grid.bearing_deg, name, spot.moved_m, rules, score, here, _rank(result, scan, spot.index),
        above, sum(map(len, prepared.scored)), notes=_notes(prepared, spot, scan),
        doubts=tuple(frame.doubts) if result is None else tuple(result.doubts),
        left_out=() if result is None else tuple(result.left_out),
    )  # fmt: skip
    if found.rank or found.broken or result is None or scan is None:
        return found
    return replace(found, not_listed=_not_listed(result, scan, spot, score))


def _notes(prepared: PreparedGround, spot: Spot, scan: Scan | None) -> tuple[str, ...]:
    """How the place was measured, where that is not as in a screening."""
    notes = []
    if spot.turned:
        known = " and ".join(f"{frame.grid.bearing_deg:g}" for frame in prepared.frames)
        notes.append(
            f"measured on ground that was read at ridge bearing {known} and turned: a screening at "
            f"{spot.frame.grid.bearing_deg:g} degrees follows the water anew, cell by cell on its own grid, so what drains to the pad "
            "or past it, its height above drainage and its distance from it can differ; all else differs a little"
        )
    if scan is None and prepared.result is not None:
        notes.append(
            "the screening did not try this house at this bearing: the place has no rank and no score over small shifts"
        )
    return tuple(notes)


def _item_of(scan: Scan, index: int) -> int | None:
    """Where a placement is stored; None where a rule rejected it."""
    item = int(np.searchsorted(scan.index, index))
    return item if item < len(scan.index) and int(scan.index[item]) == index else None


def _score(result: Result, scan: Scan, item: int) -> float | None:
    number = next(k for k, one in enumerate(result.scans) if one is scan)
    value = float(result.scored[number][item])
    return value if np.isfinite(value) else None


def _rank(result: Result | None, scan: Scan | None, index: int) -> int | None:
    if result is None or scan is None:
        return None
    ranks = (
        rank
        for rank, choice in enumerate(result.choices, 1)
        if result.scans[choice.scan] is scan and int(scan.index[choice.item]) == index
    )
    return next(ranks, None)


def _not_listed(result: Result, scan: Scan, spot: Spot, score: float | None) -> str:
    """Why a placement that passes every rule is no candidate: candidates that overlap it, or too low a score."""
    if score is None:
        return "nothing that has a weight could be assessed there"
    own = _outline(scan, spot.row, spot.col)
    for rank, choice in enumerate(result.choices, 1):
        other = result.scans[choice.scan]
        over = shapely.area(shapely.intersection(own, _outline(other, *placement(other, choice.item)[:2])))
        if over > FIT_M and choice.score >= score - SCORE_STEP:
            return f"it overlaps candidate {rank}, which scores {choice.score:.1f}"
    if len(result.choices) < result.settings.top:
        return "the exact test against the vectors refused it, or it overlaps what was tried before it"
    last = result.choices[-1].score
    if last - score < SCORE_STEP:
        return f"the list ends with candidate {len(result.choices)}, which scores as much"
    return f"the list ends with candidate {len(result.choices)} at {last:.1f}: {last - score:.1f} points are missing"


def _outline(scan: Scan, row: int, col: int) -> shapely.Polygon:
    """A footprint in the map coordinates that every bearing shares."""
    corners = shapely.get_coordinates(
        Spot(scan.frame, row, col, scan.house, scan.pad, nudged=scan.ground.nudged).outline(scan.house)
    )
    return shapely.polygons(np.column_stack(scan.frame.grid.to_map(corners[:, 0], corners[:, 1])))


def _standing(result: Result, rank: int, verdict: Verdict) -> Standing:
    """How firmly a candidate stands."""
    shares, at = result.rank_shares, rank - 1
    chance = both_within(result.rows[at], pitch_errors(result)[at].both)
    known = chance if np.isfinite(chance) else None
    return Standing(float(shares.first[at]), float(shares.top[at]), known, verdict)
